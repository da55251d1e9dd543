"""What was recorded over the hours of long runs, on one axis; and how a build ended."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from sitegen.declarations import Unusual
from sitegen.page import words
from sitegen.page.blocks import Block, Cell, ChartRow, Column, Figure, Panel, Row, Table
from sitegen.page.view import View
from sitegen.program.model import Build, Phase
from sitegen.rounding import interval
from sitegen.tables.rows import rows_of
from sitegen.vocabulary import Key, Value

ANCHOR, TITLE = "hours", "All streams over the hours"
HOURS, KM, ENERGY = "exposure.hours", "exposure.km", "exposure.energy"
SLOPE, LEAST, LEVEL, LAST = "hours.whole_slope", "hours.whole_least", "hours.level", "hours.last_common"
RATE, TREND, METAL = "oil.hours_rate", "oil.hours_trend", "oil.hours_metal_trend"
LEAK, MASS, GAP = "leakdown.crankcase", "buildsheet.mass", "buildsheet.gap"
LEVELS, FILLS = "hours.whole_levels", "oil-fills"  # series
NAMES = {"Fe": "iron", "Cr": "chromium"}
TOP = "top"
SAME = 0.3  # h within which two ends of stretches are one
MOST_POINTS = 25  # of blow-by in its chart, means of neighbouring windows
FEWEST = 2  # stretches, below which there is no course to show


class Window:
    """A window of blow-by."""

    hour: float
    level: float


class Fill:
    """A rate over a fill: oil lost, or a metal made."""

    what: str
    begin: float
    end: float
    rate: float
    low: float
    high: float


@dataclass(frozen=True)
class Course:
    """What is known of one build over its long hours, counted from their beginning."""

    windows: Sequence[Window]
    fills: Sequence[Fill]
    ends: Sequence[tuple[float, Phase]]  # hours at the end of each long phase
    edges: Sequence[float]  # ends of the stretches


def _course(view: View) -> Course | None:
    """None where fewer than two stretches are known."""
    long = [phase for phase in view.program.phases_of(view.the_build) if phase.kind == "durability"]
    ran = [(value.value, phase) for phase in view.program.phases_of(view.the_build)
           if (value := view.value(HOURS, phase.id, cylinder=0)) is not None and value.value is not None]  # fmt: skip
    begun = max((hours for hours, phase in ran if long and phase.order < long[0].order), default=0.0)
    ends = [(hours - begun, phase) for hours, phase in ran if phase in long]
    windows = [row for each in view.series(LEVELS) for row in rows_of(each.frame, Window)]
    frames = [each.frame.assign(begin=each.frame["begin"] - begun, end=each.frame["end"] - begun)
              for each in view.series(FILLS)]  # fmt: skip
    fills = [row for frame in frames for row in rows_of(frame, Fill)]
    edges: list[float] = []
    for edge in sorted([*(hours for hours, _ in ends), *(row.end for row in fills)]):
        if edge > SAME and not (edges and edge - edges[-1] < SAME):
            edges.append(edge)
    return Course(windows, fills, ends, edges) if len(edges) >= FEWEST else None


# ---- the page of a build --------------------------------------------------------------------------------------------


def engine(view: View) -> list[Block]:
    """A table by stretch and small charts; nothing without long runs."""
    course = _course(view)
    if course is None:
        return []
    columns = (
        Column("To", "h", numeric=True), Column("Slid", "km", numeric=True, measure=KM),
        Column("Energy", "kWh", numeric=True, measure=ENERGY),
        Column("Blow-by", "L/min", numeric=True, measure=LEVEL), Column("Oil lost", "g/h", numeric=True, measure=RATE),
        Column("Iron", "mg/h", numeric=True, measure="oil.hours_metal"),
        Column("Chromium", "mg/h", numeric=True, measure="oil.hours_metal"),
        Column("Leak area", "mm²", numeric=True, measure=LEAK), Column("Top rings lighter", "mg", numeric=True),
        Column("Top ring gaps", "mm", numeric=True, measure=GAP),
    )  # fmt: skip
    cells = [[Cell(words.number(edge, 1)), *_stretch(view, course, edge)] for edge in course.edges]
    used = [n for n in range(len(columns)) if any(row[n].text != words.DASH for row in cells)]
    note = "Each row from the one before: blow-by as mean of its windows, oil and metal by the fill that ended there, "
    note += "leak and rings as mean of the cylinders after it. Hours of the long runs, without the run-in."
    name = f"streams-over-the-hours-{view.the_build.id}"
    table = Table(
        f"{name}-table", [columns[n] for n in used], [Row([row[n] for n in used]) for row in cells], _reading(view),
        note=note, stack=True,
    )  # fmt: skip
    panels = [panel for panel in _panels(view, course) if panel is not None]
    figure = Figure(
        name,
        "curves",
        panels,
        caption="All along the hours; blow-by as means of neighbouring windows.",
        one_scale=False,
        layout="row",
    )
    return [table, *([figure] if panels else [])]


def _stretch(view: View, course: Course, edge: float) -> Iterator[Cell]:
    """The cells of one stretch behind its end."""
    before = max((each for each in course.edges if each < edge), default=0.0)
    phase = next((phase for hours, phase in course.ends if abs(hours - edge) < SAME), None)
    for measure in (KM, ENERGY):
        found = view.value(measure, phase.id, cylinder=0) if phase is not None else None
        yield Cell(words.DASH if found is None or found.value is None else words.number(found.value, 0))
    own = [row.level for row in course.windows if before < row.hour <= edge + SAME]
    yield Cell(words.number(sum(own) / len(own), 1) if own else words.DASH)
    for what in ("lost", *NAMES):
        fill = next((row for row in course.fills if row.what == what and abs(row.end - edge) < SAME), None)
        yield Cell(words.DASH if fill is None else words.value_text(_value(fill)))
    leak = None if phase is None else _mean(view, LEAK, phase.id, "")
    yield Cell(words.DASH if leak is None else words.number(leak, 3))
    after = None if phase is None else _sheet(view, phase)
    first = _mean(view, MASS, view.program.phases[0].id, TOP)
    mass, gap = (None if after is None else _mean(view, measure, after.id, TOP) for measure in (MASS, GAP))
    yield Cell(words.DASH if mass is None or first is None else words.number(1e3 * (first - mass), 1))
    yield Cell(words.DASH if gap is None else words.number(gap, 2))


def _value(fill: Fill) -> Value:
    known = fill.low == fill.low
    value, low, high = interval(fill.rate, fill.low if known else None, fill.high if known else None)
    return Value(RATE, Key(), value, low, high)


def _mean(view: View, measure: str, phase: str, at: str) -> float | None:
    """Mean over the cylinders that have a value; None where none has."""
    found = [value.value for value in view.values(measure, engine=view.the_build, phase=phase, at=at)
             if value.value is not None and value.key.cylinder]  # fmt: skip
    return sum(found) / len(found) if found else None


def _sheet(view: View, phase: Phase) -> Phase | None:
    """The phase between this long run and the next in which rings were measured."""
    for each in view.program.phases_of(view.the_build):
        if each.order > phase.order:
            if each.fires:
                return None
            if view.values(MASS, engine=view.the_build, phase=each.id):
                return each
    return None


def _panels(view: View, course: Course) -> Iterator[Panel | None]:
    coating = view.the_build.coatings[0] if len(view.the_build.coatings) == 1 else ""
    end = course.edges[-1]

    def panel(title: str, unit: str, points: Sequence[tuple[float, float, float | None, float | None]]) -> Panel | None:
        if len(points) < FEWEST:
            return None
        rows: list[ChartRow] = [
            {"at": round(at, 2), "value": float(f"{value:.4g}"), "low": low, "high": high, "coating": coating}
            for at, value, low, high in points
        ]
        lows = [low if low is not None else value for _, value, low, _ in points]
        signals: ChartRow = {
            "from": 0.0,
            "to": end,
            "least": min(0.0, *lows) if min(lows) < 0 else min(lows),
            "along": "h",
        }
        label = f"{title} over the hours"
        return Panel(title, {"points": rows, "path": [], "bands": []}, signals, coating=coating, label=label,
                     axis=f"{title}, {unit}", along="Hours run")  # fmt: skip

    def by_fill(what: str) -> list[tuple[float, float, float | None, float | None]]:
        return [((row.begin + row.end) / 2, row.rate, row.low if row.low == row.low else None,
                 row.high if row.high == row.high else None) for row in course.fills if row.what == what]  # fmt: skip

    size = -(-len(course.windows) // MOST_POINTS)
    parts = [course.windows[at : at + size] for at in range(0, len(course.windows), size)] if size else []
    means = [tuple(sum(getattr(row, name) for row in part) / len(part) for name in ("hour", "level")) for part in parts]
    yield panel("Blow-by", "L/min", [(hour, level, None, None) for hour, level in means])
    yield panel("Oil lost", "g/h", by_fill("lost"))
    yield panel("Iron made", "mg/h", by_fill("Fe"))
    leaks = [(hours, _mean(view, LEAK, phase.id, "")) for hours, phase in course.ends]
    yield panel("Leak area", "mm²", [(hours, leak, None, None) for hours, leak in leaks if leak is not None])


def _reading(view: View) -> str:
    """What changed over the hours, and what cannot be told."""
    build = view.the_build
    told = [how_ended(view, build)] if build.ended is not None else []
    slope, least = (view.value(each, cylinder=0) for each in (SLOPE, LEAST))
    if slope is not None and slope.value is not None and slope.low is not None and slope.high is not None:
        told.append(f"Blow-by {_changed(slope)}")
    elif slope is not None:
        can = f"; the least it could show is {view.text(least, unit=True)}" if least and least.value else ""
        told.append(f"Whether blow-by changes cannot be told: {view.why(slope.reason)}{can}")
    rate, trend = (view.value(each, cylinder=0) for each in (RATE, TREND))
    if rate is not None and rate.value is not None:
        only = ", these hours only" if "these-hours-only" in rate.flags else ""
        lost = f"{view.text(rate, unit=True)} of oil {'were' if rate.value != 1 else 'was'} lost{only}"
        if trend is not None and trend.value is None:
            lost += f"; whether that changes cannot be told: {view.why(trend.reason)}"
        elif trend is not None:
            lost += f"; that changes by {view.text(trend, unit=True)}"
        told.append(words.sentence(lost))
    for symbol, name in NAMES.items():
        metal = view.value(METAL, at=symbol, cylinder=0)
        if metal is not None and metal.low is not None and metal.high is not None and not metal.low < 0 < metal.high:
            told.append(f"{words.sentence(name)} made by the hour changes by {view.text(metal, unit=True)}")
    return " ".join(f"{each.rstrip('.')}." for each in told)


def _changed(slope: Value) -> str:
    """ "rose by 5.4 % per 100 h (1.9 to 8.9)"; "may have fallen or risen" where the interval holds both."""
    value, low, high = slope.value or 0.0, slope.low or 0.0, slope.high or 0.0
    places = words.apart((value, low, high), 0.0, words.decimals_for((high - low) / 2))
    if low < 0 < high:
        return (
            f"neither clearly rises nor falls: {words.number(low, places)} to {words.number(high, places)} % per 100 h"
        )
    near, far = sorted((abs(low), abs(high)))
    told = f"{words.number(abs(value), places)}\N{NO-BREAK SPACE}% per 100\N{NO-BREAK SPACE}h"
    return (
        f"{'rises' if value > 0 else 'falls'} by {told} ({words.number(near, places)} to {words.number(far, places)})"
    )


def how_ended(view: View, build: Build) -> str:
    """When a build ended early and why, as a sentence; "" where it did not."""
    if build.ended is None:
        return ""
    at, planned = build.ended.at / 3600, view.program.planned_hours(build) / 3600
    hours = f"at {words.with_unit(f'{at:g}', 'h')} of {words.with_unit(f'{planned:g}', 'h')}"
    why = f": {build.ended.cause}" if build.ended.cause else ", for no stated cause"
    return f"{build.id} ended {hours}{why}."


def unusual(view: View) -> Iterator[Unusual]:
    """A build that ended early."""
    told = how_ended(view, view.the_build)
    if told:
        head, _, why = told.rstrip(".").partition(": ")
        yield Unusual(head, ANCHOR, 12, f": {why}" if why else "")


# ---- the page of a program ------------------------------------------------------------------------------------------


def program(view: View) -> list[Block]:
    """A row a build that ran long phases: how far, how it ended, one figure of each stream."""
    rows = [
        Row(tuple(_of_build(view.of_build(build)))) for build in view.program.builds if _course(view.of_build(build))
    ]
    if not rows:
        return []
    columns = (
        Column("Build"), Column("Run", "h", numeric=True), Column("How it ended"),
        Column("Blow-by changes by", "% per 100 h", numeric=True, measure=SLOPE),
        Column("Blow-by where all have been", "L/min", numeric=True, measure=LEVEL),
        Column("Oil lost", "g/h", numeric=True, measure=RATE),
    )  # fmt: skip
    note = "A build that ended early is compared by the slope to its own end or at the last hour all builds reached; "
    note += "one ended by what is compared ranks behind all that ran on; none is left out but for want of a cause."
    return [Table("builds-over-the-hours", columns, rows, _of_program(view), note=note, stack=True)]


def _of_build(view: View) -> Iterator[Cell]:
    build = view.the_build
    yield Cell(build.id, href=view.href_engine(build, ANCHOR), coating=build.coatings[0])
    course = _course(view)
    yield Cell(words.number(course.edges[-1], 1) if course else words.DASH)
    if build.ended is None:
        yield Cell("ran on")
    else:
        what = (
            "by what is compared"
            if build.ended.by_measure
            else "for another cause"
            if build.ended.cause
            else "no cause stated"
        )
        yield Cell(what, note=build.ended.cause)
    slope = view.value(SLOPE, cylinder=0)
    refused = slope is not None and slope.value is None
    yield Cell(
        "cannot tell" if refused else view.text(slope),
        word=refused,
        note=view.why(slope.reason) if slope and refused else "",
    )
    yield Cell(view.text(view.value(LEVEL, cylinder=0)))
    rate = view.value(RATE, cylinder=0)
    yield Cell(
        view.text(rate), note="these hours only" if rate is not None and "these-hours-only" in rate.flags else ""
    )


def _of_program(view: View) -> str:
    last = view.value(LAST, engine="")
    told = []
    if last is not None and last.value is not None:
        hours = words.with_unit(words.number(last.value, 1), "h")
        ended_by_it = [build for build in view.program.builds if build.ended is not None and build.ended.by_measure]
        before = [each.id for each in ended_by_it if each.ended is not None and each.ended.at / 3600 < last.value]
        told.append(f"The last hour all builds{f' but {words.listed(before)}' if before else ''} reached is {hours}.")
    ended = [build for build in view.program.builds if build.ended is not None]
    told += [how_ended(view, build) for build in ended]
    return " ".join(told)
