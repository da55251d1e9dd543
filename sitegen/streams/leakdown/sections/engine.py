"""What leak-down and seating say on the page of a build. Formats what the steps concluded; computes nothing."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from sitegen.declarations import Unusual
from sitegen.page import words
from sitegen.page.blocks import MARKS, Block, Cell, ChartRow, Column, Figure, Panel, Plans, Row, Table, Text
from sitegen.page.view import View
from sitegen.program.model import Assembly, Build
from sitegen.streams.leakdown.fields import Reading
from sitegen.streams.leakdown.history import (
    DOUBTFUL,
    Point,
    area_text,
    below_text,
    checked_phases,
    distance,
    limit_row,
    line,
    mean_row,
    mm2,
    phase_rows,
    range_of,
    stands_out,
    with_labels,
)
from sitegen.streams.leakdown.measures import (
    AREA,
    CHANGE,
    CRANKCASE,
    FLOOR,
    OCCASION,
    PLATEAU,
    REFERENCE,
    REPEAT,
    SCALE,
    TO_LOSE,
    TO_LOSE_MOST,
    UNEXPLAINED,
)
from sitegen.streams.leakdown.seating import BLOWBY, FROM_BLOWBY
from sitegen.streams.leakdown.sections.shared import (
    ABOVE,
    apart,
    before_refit,
    checks_of,
    floor_of,
    last_value,
    lose_text,
    none_because,
    plan_of,
    state_after,
    strips_of,
    to_lose_of,
    why_open,
)
from sitegen.streams.leakdown.states import LEVEL_RULE
from sitegen.vocabulary import Value


def engine_plan(view: View) -> Sequence[Block]:
    """The build's block plan, and how the leak of its cylinders went from phase to phase."""
    plan = replace(plan_of(view, view.the_build), title="", href="", coating="")
    caption = f"Latest leak area, cylinders as they sit. {MARKS}"
    return (Plans((plan,), _engine_reading(view), caption),)


def engine_checks(view: View) -> Sequence[Block]:
    """Every check of every cylinder with its change, and drawn as the cylinders sit."""
    build = view.the_build
    lines = [line(view, build, place.cylinder) for place in build.places]
    strip = strips_of(view, build)
    refused = _refused(view)
    if not strip and not refused:
        return ()
    values = f"{words.counted(sum(map(len, lines)), 'value')} with interval and change" if strip else ""
    without = f"{words.count(len(refused))} without a leak area, with the reason" if refused else ""
    reading = Text((Cell(f"{words.sentence('; '.join(filter(None, (values, without))))}."),), "reading")
    plans = [Plans(strip, caption="Area of each disc: leak area, mm².", small=True)] if strip else []
    return (reading, _by_cylinder(view, build), *plans)


def _refused(view: View) -> list[Value]:
    """Checks of the build, by cylinder, that give no leak area."""
    return [each for each in view.values(CRANKCASE.id, engine=view.the_build, at="") if each.status == "refused"]


def unusual(view: View) -> Iterator[Unusual]:
    """Cylinders that seat on a distance of their own, or leak more than all others."""
    build = view.the_build
    own = [number for each in build.assemblies for coating in build.coatings
           for number in apart(view, build, each, coating)]  # fmt: skip
    if own:
        noun, their = ("Cylinder", "its") if len(own) == 1 else ("Cylinders", "their")
        seats = "seats" if len(own) == 1 else "seat"
        yield Unusual(f"{noun} {words.numbers_listed(own)} {seats} over a distance of {their} own", "seating", 10)
    ends = _ends(view)
    bounds = _bounds(view, next(iter(ends.values())).phase) if ends else []
    odd = stands_out([*(point.value for point in ends.values()), *bounds])
    if odd is not None and odd.key.cylinder not in own:
        yield Unusual(f"Cylinder {odd.key.cylinder} leaks more than the others", "leak", 10)
    apart_: dict[int, dict[str, None]] = {}
    for value in view.values(AREA.id, engine=build):
        if "repeats-disagree" in value.flags and value.status == "ok":
            apart_.setdefault(value.key.cylinder, {})[view.program.phase(value.key.phase).title] = None
    for number, phases in apart_.items():
        yield Unusual(f"Repeats of cylinder {number} disagree", "leak", 15, f": {words.listed(phases)}")


def _ends(view: View) -> dict[int, Point]:
    """The last check after a start that gave a leak area, by cylinder: of those that have one at that check."""
    lines = {place.cylinder: line(view, view.the_build, place.cylinder) for place in view.the_build.places}
    fired = [(point, number) for number, points in lines.items() for point in points if not point.cold]
    order = {phase.id: phase.order for phase in view.program.phases}
    end = max((order[point.phase] for point, _ in fired), default=None)
    return {number: point for point, number in fired if order[point.phase] == end}


def _bounds(view: View, phase: str) -> list[Value]:
    """Leak areas of the build at a check that are known only to lie below a limit."""
    found = view.values(CRANKCASE.id, engine=view.the_build, phase=phase, at="")
    return [each for each in found if each.value is None and each.status == "below" and each.high is not None]


def _later(view: View, phase: str) -> str:
    """What checks after this one say, where no cylinder has a leak area at them; "" nothing."""
    order = {each.id: each.order for each in view.program.phases}
    later = [(each, found) for each in checked_phases(view)
             if order[each.id] > order[phase] and (found := _bounds(view, each.id))]  # fmt: skip
    told = [f"{below_text(view, found)} at {each.title}" for each, found in later]
    return f" Later the leak is only known to lie {words.listed(told)}." if told else ""


def _leaks(view: View) -> str:
    """What the cylinders leak at the last check, the one that stands out apart, with the interval that decides."""
    build, ends = view.the_build, _ends(view)
    if not ends:
        why = words.listed(dict.fromkeys(view.why(each.reason) for each in _refused(view)))
        none = not any(line(view, build, place.cylinder) for place in build.places)
        return f"No check gave a leak area: {why}." if none and why else "No check after the first start yet."
    phase = next(iter(ends.values())).phase
    km = distance(view, build, view.program.phase(phase))
    when = (
        f"at {view.program.phase(phase).title}"
        if km in {"", "0 km"}
        else f"after {km}".replace(" km", "\N{NO-BREAK SPACE}km")
    )
    values = {number: point.value.value or 0.0 for number, point in ends.items()}
    bounds = _bounds(view, phase)
    odd = stands_out([*(point.value for point in ends.values()), *bounds])
    later = _later(view, phase)
    if odd is None and len(values) < len(build.places):
        every, number = words.counted(len(build.places), "cylinder"), next(iter(ends))
        who = f"only cylinder {number} gives" if len(values) == 1 else f"{words.count(len(values))} give"
        known = f"Of {every} {who} a leak area:"
        beside = f", {words.count(len(bounds))} {below_text(view, bounds)}" if bounds else ""
        return f"{known} {range_of(list(values.values()))} {when}{beside}.{later}"
    if odd is None:
        apart_ = "none stands out beyond its interval" if len(ends) > 1 else ""
        noun = "The cylinders leak" if len(ends) > 1 else f"Cylinder {next(iter(ends))} leaks"
        return f"{noun} {range_of(list(values.values()))} {when}{'; ' * bool(apart_)}{apart_}.{later}"
    number = odd.key.cylinder
    rule = next(iter(view.verdicts(LEVEL_RULE, engine=build, cylinder=number)), None)
    leak = words.with_unit(area_text(view, odd), "mm²")
    if rule is not None and rule.limit is not None and rule.key.phase == phase:
        leak = words.with_unit(words.judged(rule.found, rule.low, rule.high, rule.limit), "mm²")
    others = [value for other, value in values.items() if other != number]
    noun = words.plural(len(others) + len(bounds), "other")
    rest = " and ".join([*([range_of(others)] if others else []), *([below_text(view, bounds)] if bounds else [])])
    limit = mm2(view.program.seating.level)
    return f"Cylinder {number} leaks {leak} {when}, where a seated one leaks at most {limit}; the {noun} {rest}.{later}"


def _engine_reading(view: View) -> str:
    """What the cylinders leak, and cylinder by cylinder why a state cannot be told."""
    build = view.the_build
    states = {place.cylinder: view.state(build, place.cylinder) for place in build.places}
    parts = [_leaks(view)]
    by_reason: dict[str, dict[str, list[int]]] = {}
    for number, state in states.items():
        if state is not None and state.word in {"cannot tell", ABOVE} and state.reason != "no-fired-check":
            by_reason.setdefault(state.reason, {}).setdefault(state.word, []).append(number)
    for reason, by_word in by_reason.items():
        what = []
        for word, numbers in by_word.items():
            whom = f"{words.plural(len(numbers), 'cylinder')} {words.numbers_listed(numbers)}"
            seated = f"{whom} {words.plural(len(numbers), 'is', 'are')} seated"
            what.append(f"whether {f'the leak of {whom} still falls' if word == ABOVE else seated}")
        why = why_open(view, build, reason, [number for numbers in by_word.values() for number in numbers])
        parts.append(f"{words.sentence(words.listed(what))} cannot be told: {why}.")
    if before := before_refit(view, build):
        parts.append(f"{words.sentence(before)}.")
    return " ".join(parts)


def engine_curves(view: View) -> Sequence[Block]:
    """All cylinders of a build over its phases, and the same as a table."""
    build = view.the_build
    lines = {place.cylinder: line(view, build, place.cylinder) for place in build.places}
    if not any(lines.values()):
        return ()
    means: list[ChartRow] = []
    for place in build.places:
        name = str(place.cylinder)
        points = lines[place.cylinder]
        drawn = [mean_row(view, point, f"cylinder {name}", place.coating) for point in points]
        beside = len(build.places) <= NAMED
        means += [{**row, "name": name} for row in drawn] if beside else with_labels(drawn, name)
    data = {"phases": phase_rows(view, (build,)), "means": means, "limits": [limit_row(view)]}
    coating = build.coatings[0] if len(build.coatings) == 1 else ""
    label, axis = f"Leak area of the cylinders of {build.id} by phase", "Leak area, mm²; the numbers are the cylinders"
    panel = Panel("", data, {"unit": CRANKCASE.unit}, coating=coating, label=label, axis=axis)
    caption = "Upright strokes: 95\u00a0% intervals. Dotted up to the first check after a start."
    doubts = sorted({flag for points in lines.values() for point in points for flag in point.value.flags & DOUBTFUL})
    if doubts:
        caption += f" Open: {words.listed([view.why(flag) for flag in doubts])}."
    return (Figure(f"leak-area-{build.id}", "slope", (panel,), "", caption, measure=CRANKCASE.id),)


NAMED = 6  # cylinders that have their number beside every mark; of more only where their lines end


def _by_cylinder(view: View, build: Build) -> Table:
    phases = checked_phases(view)
    rows = []
    for place in build.places:
        cells = [
            Cell(f"cylinder {place.cylinder}", href=view.href_cylinder(build, place.cylinder), coating=place.coating)
        ]
        for phase in phases:
            value = view.value(CRANKCASE.id, phase.id, engine=build, cylinder=place.cylinder)
            note = none_because(view, value) or _change_note(view, build, place.cylinder, phase.id)
            cells.append(Cell(area_text(view, value), note=note))
        rows.append(Row(cells))
    columns = (Column("Cylinder"), *(Column(phase.title, "mm²", numeric=True) for phase in phases))
    note = (
        "Leak area to the crankcase with its 95\u00a0% interval. Second line: change since the check before, where the "
        "condition is the same; “within scatter” where it is no more than occasions differ by."
    )
    return Table(f"leak-area-{build.id}-by-cylinder", columns, rows, note=note, wide=True, measure=CHANGE.id)


def _change_note(view: View, build: Build, cylinder: int, phase: str) -> str:
    changes = view.values(CHANGE.id, engine=build, cylinder=cylinder, phase=phase)
    change = changes[0] if changes else None
    if change is None or change.status != "ok" or change.value is None:
        return ""
    if change.low is not None and change.high is not None and change.low <= 0 <= change.high:
        return "within scatter"
    return words.signed(change.value, 2)


def engine_seating(view: View) -> Sequence[Block]:
    """The seating curves of each assembly: distance, leak when seated, leak still to lose, state."""
    build = view.the_build
    blocks: list[Block] = []
    for assembly in build.assemblies:
        scales = view.values(SCALE.id, engine=build, at=assembly.id)
        if not scales:
            continue
        sentences = " ".join(_scale_sentence(view, build, assembly, scale) for scale in scales)
        blocks.append(Text((Cell(sentences),), role="reading"))
        rows = []
        for place in build.places:
            plateau = view.values(PLATEAU.id, engine=build, cylinder=place.cylinder, at=assembly.id)
            lose = to_lose_of(view, build, place.cylinder, assembly)
            latest = max(lose, key=lambda v: view.program.phase(v.key.phase).order) if lose else None
            state = state_after(view, build, place.cylinder, assembly)
            if latest is not None and latest.status != "ok":
                most = to_lose_of(view, build, place.cylinder, assembly, TO_LOSE_MOST.id)
                latest = next((value for value in most if value.status == "below"), latest)
            rows.append(
                Row(
                    (
                        Cell(
                            f"cylinder {place.cylinder}",
                            href=view.href_cylinder(build, place.cylinder),
                            coating=place.coating,
                        ),
                        _area_cell(view, plateau[0] if plateau else None, "no curve"),
                        Cell(
                            lose_text(view, latest),
                            note=none_because(view, latest)
                            or (view.program.phase(latest.key.phase).title if latest else "no curve")
                            + (", by two checks" if latest and latest.measure == TO_LOSE_MOST.id else ""),
                        ),
                        _area_cell(view, floor_of(view, build, place.cylinder), view.why("no-gap")),
                        _area_cell(
                            view,
                            last_value(view, UNEXPLAINED.id, build, place.cylinder, assembly),
                            "no leak area or no gap to set against each other",
                        ),
                        Cell(state.word if state else "", word=True),
                    )
                )
            )
        columns = (
            Column("Cylinder"), Column("Leak when seated", "mm²", numeric=True, measure=PLATEAU.id),
            Column("Still to lose", "mm²", numeric=True, measure=TO_LOSE.id),
            Column("Leak of the end gaps alone", "mm²", numeric=True, measure=FLOOR),
            Column("Leak they do not explain", "mm²", numeric=True, measure=UNEXPLAINED.id),
            Column("State"),
        )  # fmt: skip
        blocks.append(Table(f"seating-{build.id}-{assembly.id}", columns, rows, wide=True))
    return blocks


def _area_cell(view: View, value: Value | None, otherwise: str) -> Cell:
    """A leak area, or why there is none; `otherwise` where nothing was asked of a method at all."""
    return Cell(area_text(view, value), note=otherwise if value is None else none_because(view, value))


def _scale_sentence(view: View, build: Build, assembly: Assembly, scale: Value) -> str:
    """Seating distance of one assembly and coating, what it is without, or why there is none."""
    coating = scale.key.coating
    first, end = view.program.phase(assembly.first).title, view.program.phase(assembly.last).title
    of = f" of the {view.coating_title(coating)} rings" if len(build.coatings) > 1 else ""
    when = f", {first} to {end}" if len(build.assemblies) > 1 else ""
    checks = checks_of(view, build, assembly, coating)
    if scale.status == "refused":
        because = view.why(scale.reason)
        if scale.reason == "few-checks":
            because = (
                f"a curve needs four checks and there {'is' if checks.count == 1 else 'are'} "
                f"{words.count(checks.count) if checks.count else 'none'}"
            )
        sentence = f"No seating distance of the leak{of}{when}: {because}"
        lose = view.values(TO_LOSE.id, engine=build)
        own = [v for v in lose if assembly is build.assembly_of(view.program.phase(v.key.phase), view.program)]
        if any(FROM_BLOWBY in v.flags for v in own):
            blowby = view.value(BLOWBY, at=assembly.id, engine=build, cylinder=0)
            sentence += f"; that of the blow-by stands in for it, {view.text(blowby, unit=True)}"
    else:
        over = "less than " if scale.status == "below" else ""
        length = words.with_unit(words.number(scale.high, 1), "km") if over else view.text(scale, unit=True)
        sentence = f"The leak still to lose{of} falls to 37\u00a0% over {over}{length} of sliding{when}"
        sentence += ", by the planned schedule" if "from-schedule" in scale.flags else ""
        sentence += "; a run before it was not run as planned" if "not-as-planned" in scale.flags else ""
    sentence += f". Not counted: {words.listed(checks.left)}." if checks.left else "."
    odd = apart(view, build, assembly, coating)
    if odd:
        does, was = ("does", "was") if len(odd) == 1 else ("do", "were")
        sentence += (
            f" {words.plural(len(odd), 'Cylinder')} {words.numbers_listed(odd)} {does} not share that distance and "
            f"{was} "
            "left out of the common curve, by a test that errs for one engine in twenty."
        )
    return sentence


def engine_tester(view: View) -> Sequence[Block]:
    """What the testers of the program were worth."""
    rows = []
    for tester in sorted({row.tester for row in view.records("leakdown", Reading) if isinstance(row.tester, str)}):
        scale, occasion = (view.value(m, at=tester, engine="", cylinder=0) for m in (REFERENCE.id, OCCASION.id))
        facts = view.program.definitions.testers[tester]
        rows.append(
            Row(
                (
                    Cell(tester, note=facts.title),
                    Cell(words.number(1000 * facts.orifice, 3)),
                    view.cell(scale),
                    view.cell(occasion),
                    Cell(str(occasion.n) if occasion is not None and occasion.n else words.DASH),
                )
            )
        )
    repeat = view.value(REPEAT.id, engine="", cylinder=0)
    reading = ""
    if repeat is not None and repeat.value is not None:
        reading = f"Repeats of one check differ by {view.text(repeat, unit=True)} (standard deviation, whole program)."
    columns = (
        Column("Tester"), Column("Orifice", "mm", numeric=True),
        Column("Scale from the reference orifice", numeric=True, measure=REFERENCE.id),
        Column("Scatter between occasions", "%", numeric=True, measure=OCCASION.id),
        Column("Occasions", numeric=True),
    )  # fmt: skip
    return (Table("testers", columns, rows, reading),)
