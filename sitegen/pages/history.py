"""Every build of a coating over all programs, one drawing a measure, and where the next build may lie."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from sitegen.page import words
from sitegen.page.blocks import Block, Cell, ChartRow, Column, Figure, Panel, Row, Table, number_of
from sitegen.page.view import View
from sitegen.pages.criteria import SENSES
from sitegen.pages.differences import place_words
from sitegen.program.model import Program

if TYPE_CHECKING:
    from sitegen.crossing.history import History, Point

FAR = 3.0  # times the largest number of a panel: a limit beyond is named, not drawn
ANCHOR, TITLE = "over-programs", "Where the next build may lie"
# shares held in simulated programs: `tests/methods/test_prediction.py`
LONG_TAILS = (
    "That holds where builds scatter evenly about their mean; where now and then one lies far off, the interval holds "
    "the next in 91 to 95 of 100 cases (simulated, two to twelve builds)."
)
NEW_PROGRAM = (
    "A build of a new program brings a tester, an oil and a schedule of its own, which are not in the interval: where "
    "programs differ as much as builds of one do, it holds such a build in 82 to 93 of 100 cases, where they differ "
    "twice as much in 60 to 89 (simulated, two to twelve builds of one to three programs)."
)


def blocks(view: View, coating: str, found: Sequence[History]) -> list[Block]:
    """One figure with a panel a measure, above a table with the provenance of each point."""
    if not found:
        return []
    programs = {program.id: program for program in view.folder.programs}
    panels = [_panel(view, coating, each, programs) for each in found]
    rows = [_row(view, each, point, programs) for each in found for point in (*each.points, *each.apart)]
    columns = (
        Column("Measure"), Column("Program"), Column("Build"), Column("Value", numeric=True),
        Column("Unit"), Column("Cylinders", numeric=True), Column("Results"), Column("Read with care"),
    )  # fmt: skip
    table = Table("points-of-the-history", columns, rows)
    caption = "Filled: a build, the mean of its cylinders. "
    if any(each.apart for each in found):
        caption += "Open: a build that ran another distance, by which nothing is judged. "
    if any(point.mixed for each in found for point in each.points):
        caption += "Open: a build whose engine held other coatings too. "
    caption += "Open with its interval: the next build, probability 95\N{NO-BREAK SPACE}%."
    if any(panel.data["limits"] for panel in panels):
        of = {each.title for each in programs.values() if any(_limits(one, coating, {each.id: each}) for one in found)}
        caption += f" Upright dots: the limit of a criterion of {words.listed(sorted(of))}"
        each_one = any("a cylinder" in str(row["label"]) for panel in panels for row in panel.data["limits"])
        caption += "; “a cylinder”: it is asked of each, not of these means." if each_one else "."
    note = (
        "Means are geometric where coatings are compared as a ratio. The next build lies in its interval with a "
        "probability of 95\N{NO-BREAK SPACE}%, all these builds taken as drawn from one lot. "
        f"{LONG_TAILS} {NEW_PROGRAM}"
    )
    table = replace(table, note=note)
    return [Figure("history-of-builds", "dots", panels, _reading(view, found), caption, table, one_scale=False)]


def _title(view: View, each: History) -> str:
    title = words.sentence(view.measures[each.subject.measure].title)
    place = place_words(each.subject.at)
    return f"{title}, {place}" if place else title


def _phase(each: History, programs: dict[str, Program]) -> str:
    """Title of the phase in the first program that has it; "" for a measure of a whole curve."""
    if not each.subject.phase:
        return ""
    return programs[each.points[0].program].phase(each.subject.phase).title


def _panel(view: View, coating: str, each: History, programs: dict[str, Program]) -> Panel:
    lines: list[ChartRow] = []
    means: list[ChartRow] = []
    unit = view.measures[each.subject.measure].unit
    every = (*each.points, *each.apart)
    for y, point in enumerate(every):
        apart = point in each.apart
        mixed = ", mixed engine" if point.mixed else ""
        mixed += f", {_ran(point)}" if apart else ""
        lines.append({"y": y, "label": point.build, "under": programs[point.program].title})
        tip = (
            f"{programs[point.program].title}, {point.build}{mixed}: {words.with_unit(words.number(point.value), unit)}"
        )
        means.append({"y": y, "value": point.value, "coating": coating, "open": point.mixed or apart, "tip": tip})
    if each.low is not None and each.high is not None and each.mean is not None:
        y = len(every)
        lines.append({"y": y, "label": "next build", "under": "95\N{NO-BREAK SPACE}% prediction"})
        tip = f"next build: {words.with_unit(words.span(each.low, each.high), unit)}"
        value, low, high = _drawn(each.mean, each.low, each.high)
        means.append({"y": y, "value": value, "low": low, "high": high, "coating": coating, "open": True, "tip": tip})
    phase = _phase(each, programs)
    limits = _limits(each, coating, programs)
    most = max(number_of(row.get("high", row["value"])) for row in means)
    far = [str(row["label"]) for row in limits if number_of(row["value"]) > FAR * most]  # it would flatten the rest
    limits = [row for row in limits if row["label"] not in far]
    beyond = f"{words.listed(far)} {words.plural(len(far), 'lies', 'lie')} off the axis" if far else ""
    note = "; ".join(filter(None, (phase, _left_out(each), beyond)))
    return Panel(
        _title(view, each), {"lines": lines, "dots": [], "means": means, "limits": limits}, coating=coating, note=note,
        axis=words.sentence(view.measures[each.subject.measure].title) + ("" if unit == "1" else f", {unit}"),
    )  # fmt: skip


def _limits(each: History, coating: str, programs: dict[str, Program]) -> list[ChartRow]:
    """Limits that criteria of the programs set to this measure, each once."""
    wanted = (each.subject.measure, each.subject.phase, each.subject.at)
    found: dict[float, str] = {}
    for program in programs.values():
        for criterion in program.criteria:
            own = (criterion.measure, criterion.phase, criterion.at) == wanted and coating in criterion.coatings
            if own and criterion.limit is not None and criterion.sense in SENSES:
                of = " a cylinder" if criterion.scope == "every-cylinder" else ""
                found[criterion.limit] = f"limit {words.stated(criterion.limit)}{of}"
    return [{"value": value, "label": label} for value, label in found.items()]


def _ran(point: Point) -> str:
    return f"ran {words.with_unit(words.number(point.km or 0.0, 0), 'km')}"


def _left_out(each: History) -> str:
    """Builds nothing is judged by, and cylinders not in their build's value: "without B6, which ran 22 km"."""
    parts = [f"{point.build} cylinder {number}" for point in each.points for number in point.without]
    parts += [f"{build}, where a cylinder has no value" for _, build in each.lacking]
    parts += [f"{point.build}, which {_ran(point)}" for point in each.apart]
    return f"without {words.listed(parts)}" if parts else ""


def _drawn(mean: float, low: float, high: float) -> tuple[float, float, float]:
    """The three, cut well below what can be seen: quantiles of one library and another differ in last digits."""
    half = min(mean - low, high - mean)
    at = 3 - math.floor(math.log10(half)) if half > 0 else 15
    return round(mean, at), round(low, at), round(high, at)


def _row(view: View, each: History, point: Point, programs: dict[str, Program]) -> Row:
    unit = view.measures[each.subject.measure].unit
    program = programs[point.program]
    page = view.addresses.engines[program.id, point.build]
    care = [view.why(flag) for flag in sorted(point.flags)] + (["the engine held other coatings too"] * point.mixed)
    if point.without:
        noun, own = words.plural(len(point.without), "cylinder"), "its" if len(point.without) == 1 else "their"
        care.insert(0, f"without {noun} {words.numbers_listed(point.without)}, on a distance of {own} own")
    if point in each.apart:
        care.insert(0, f"{_ran(point)}, so that nothing is judged by it")
    return Row(
        (
            Cell(_title(view, each), href=view.href_methods(each.subject.measure), note=_phase(each, programs)),
            Cell(program.title, href=view.href_program(program)),
            Cell(point.build, href=view.href(page)),
            Cell(words.number(point.value)),
            Cell("" if unit == "1" else unit),
            Cell(str(point.cylinders or words.DASH)),
            Cell(point.results),
            Cell(words.sentence("; ".join(care)) or words.DASH),
        )
    )


def _reading(view: View, found: Sequence[History]) -> str:
    """The next build in the first measure that has a prediction, with what it rests on."""
    for each in found:
        if each.low is None or each.high is None:
            continue
        unit = view.measures[each.subject.measure].unit
        count = len(each.points)
        programs = len({point.program for point in each.points})
        where = f"{words.counted(count, 'build')} of {words.counted(programs, 'program')}"
        span = words.with_unit(words.span(each.low, each.high), unit)
        of = "of this program" if programs == 1 else "of these programs"
        rests = ", ".join(filter(None, (where, _left_out(each))))
        text = f"{_title(view, each)}: the next build {of} may lie at {span}, judged by {rests}."
        return f"{text} A build of a new program lies outside more often."
    return "One build alone gives no range for the next."
