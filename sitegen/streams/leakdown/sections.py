"""What leak-down and seating say on each kind of page. Formats what the steps concluded; computes nothing."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Literal

import pandas as pd

from sitegen.streams.leakdown.fields import PATHS
from sitegen.streams.leakdown.history import (
    DOUBTFUL,
    Point,
    checked_phases,
    distance,
    last,
    limit_row,
    line,
    mean_line,
    mean_row,
    mm2,
    phase_rows,
    range_of,
    thin_row,
    with_labels,
)
from sitegen.streams.leakdown.measures import (
    AREA,
    CHANGE,
    CRANKCASE,
    OCCASION,
    PLATEAU,
    REFERENCE,
    REPEAT,
    SCALE,
    SUPPLY_RATIO,
    TO_LOSE,
    UNEXPLAINED,
)
from sitegen.streams.leakdown.seating import EARLIER, FALL_RULE, LEVEL_RULE, STATE_RULE, TO_LOSE_RULE
from sitegen.vocabulary import (
    Block,
    Cell,
    Column,
    Disc,
    Figure,
    Panel,
    Plan,
    Plans,
    Row,
    Section,
    Table,
    Text,
    Value,
)

FLOOR = "gaps.floor"
STATE_ORDER = ("seated", "still seating", "not seated", "cannot tell")
CURVE_CAPTION = (
    "Effective leak area to the crankcase in mm², by phase, with the sliding distance at its end. Phases evenly spaced, not "
    "to scale of distance. Dashed from the cold build: assembly oil seals there, and the first fired check starts the curve."
)


# ---- program --------------------------------------------------------------------------------------------------------


def answer(view: Any) -> Sequence[Block]:
    """The opening of the program page: where each coating stands, who stands out, what cannot be said."""
    words, program = view.words, view.program
    phase = program.phase(program.primary_phase)
    clauses = []
    for coating in program.coatings:
        means = _means_at(view, coating, phase.id)
        if means:
            count = words.counted(len(means), "build")
            clauses.append(f"{view.coating_title(coating)} {range_of(view, means)} mm² ({count})")
    blocks: list[Block] = []
    if clauses:
        lead = f"After {_the(phase.title)} the mean leak to the crankcase is: {words.listed(clauses)}."
        blocks.append(Text((Cell(lead),), role="lead"))
    blocks.append(Text(_state_sentence(view)))
    single = [c for c in program.coatings if sum(c in build.coatings for build in program.builds) == 1]
    mixed = [build.id for build in program.builds if len(build.coatings) > 1]
    for coating in single:
        text = f"{view.words.sentence(view.coating_title(coating))} was built once: nothing here separates the coating from that build."
        blocks.append(Text((Cell(text),)))
    if mixed:
        text = (
            f"{words.listed(mixed)} {'mix' if len(mixed) > 1 else 'mixes'} coatings within the engine, so coatings are seen "
            "under the same build, operator and tune, and in the same few engines."
        )
        blocks.append(Text((Cell(text),)))
    note = (
        "Ranges of build means, not a test: whether a difference is more than the scatter between builds is not decided here. "
        "Cylinders of one engine share its build and count once."
    )
    blocks.append(Text((Cell(note),), role="note"))
    return blocks


def _state_sentence(view: Any) -> list[Cell]:
    """Counts of states, and by name every cylinder that is neither seated nor merely undecided."""
    words = view.words
    states = [(b, p.cylinder, view.state(b, p.cylinder)) for b in view.program.builds for p in b.places]
    counted = Counter(state.word for _, _, state in states if state is not None)
    total = len(states)
    cells = [
        Cell(
            f"{view.words.sentence(words.share(counted['seated'], total, 'cylinder'))} {_is(counted['seated'])} seated"
        )
    ]
    if counted["cannot tell"]:
        cells.append(Cell(f"; {words.count(counted['cannot tell'])} cannot be told yet"))
    cells.append(Cell(". "))
    for word in ("not seated", "still seating"):
        named = [(build, number) for build, number, state in states if state is not None and state.word == word]
        if named:
            cells.append(Cell(f"{view.words.sentence(word)}: "))
            for i, (build, number) in enumerate(named):
                if i:
                    cells.append(Cell(", " if i < len(named) - 1 else " and "))
                cells.append(Cell(f"{build.id} cylinder {number}", href=view.href_cylinder(build, number)))
            cells.append(Cell(". "))
    return cells


def _means_at(view: Any, coating: str, phase: str) -> list[float]:
    values = (
        view.value("leakdown.build", phase, engine=build, cylinder=0, coating=coating) for build in view.program.builds
    )
    return [value.value for value in values if value is not None and value.value is not None]


def by_coating(view: Any) -> Sequence[Block]:
    """Leak area by phase: a panel a coating, a strong line a build, thin lines cylinders, grey the other coatings."""
    program = view.program
    panels, rows = [], []
    for coating in program.coatings:
        builds = [build for build in program.builds if coating in build.coatings]
        if not builds:
            continue
        means: list[dict[str, Any]] = []
        thin: list[dict[str, Any]] = []
        for build in program.builds:
            for other in build.coatings:
                points = mean_line(view, build, other)
                if other == coating:
                    drawn = [mean_row(view, point, build.id, coating) for point in points]
                    means += with_labels(drawn, build.id)
                    rows += [_mean_table_row(view, build, coating, point) for point in points]
                else:
                    name = f"{build.id}, {view.coating_title(other)}"
                    thin += [thin_row(view, point, name) for point in points]
            for place in build.places:
                if place.coating == coating:
                    thin += _cylinder_line(view, build, place.cylinder, coating)
        note = view.words.counted(len(builds), "build")
        data = {"phases": phase_rows(view, builds), "means": means, "thin": thin, "limits": [limit_row(view)]}
        label = f"Leak area to the crankcase by phase, {view.coating_title(coating)}"
        panels.append(Panel(view.coating_title(coating), data, coating=coating, note=note, label=label))
    table = Table(
        name="leak-area-by-phase",
        columns=(
            Column("Coating"), Column("Build"), Column("Phase"), Column("Distance"),
            Column("Mean leak area", "mm²", numeric=True), Column("Cylinders", numeric=True),
        ),
        rows=rows,
    )  # fmt: skip
    caption = f"{CURVE_CAPTION} Heavy lines: mean of a build. Thin: its cylinders. Grey: builds of the other coatings."
    return (Figure("leak-area-by-phase", "slope", panels, _coating_reading(view), caption, table),)


def _cylinder_line(view: Any, build: Any, cylinder: int, coating: str) -> list[dict[str, Any]]:
    """Thin line of one cylinder; named where it is not seated, so that the eye finds the exception."""
    points = line(view, build, cylinder)
    state = view.state(build, cylinder)
    drawn = [thin_row(view, point, f"{build.id} cylinder {cylinder}", coating) for point in points]
    named = state is not None and state.word in {"not seated", "still seating"}
    return with_labels(drawn, f"{build.id} cyl. {cylinder}") if named else drawn


def _mean_table_row(view: Any, build: Any, coating: str, point: Point) -> Row:
    phase = view.program.phase(point.phase)
    return Row(
        (
            view.coating_cell(coating),
            Cell(build.id, href=view.href_engine(build)),
            Cell(phase.title),
            Cell(distance(view, build, phase)),
            Cell(view.words.number(point.value.value, 3)),
            Cell(str(point.value.n)),
        )
    )


def _coating_reading(view: Any) -> str:
    """Where each coating stands at the end of the run-in, and the cylinder that leaks most there."""
    program = view.program
    run_in = [phase for phase in checked_phases(view) if phase.kind == "run"]
    if not run_in:
        return ""
    phase = run_in[-1]
    clauses = []
    worst: Value | None = None
    for coating in program.coatings:
        own = [v for v in view.values(CRANKCASE.id, phase=phase.id, at="", coating=coating) if v.value is not None]
        if own:
            top = max(own, key=lambda value: value.value)
            worst = top if worst is None or (top.value or 0) > (worst.value or 0) else worst
            clauses.append(f"{view.coating_title(coating)} cylinders {range_of(view, [v.value for v in own])} mm²")
    if not clauses or worst is None:
        return f"No check was taken at {_the(phase.title)} yet."
    return (
        f"At {_the(phase.title)} mark: {view.words.listed(clauses)}. The largest is {worst.key.engine} cylinder "
        f"{worst.key.cylinder}."
    )


def plans(view: Any) -> Sequence[Block]:
    """A block plan of every build, with the latest leak area and the state of each cylinder."""
    drawn = [_plan(view, build) for build in view.program.builds]
    caption = "Number: latest leak area to the crankcase. Ring: its coating. Mark and word: state. Each circle leads to its cylinder."
    return (Plans(drawn, _plans_reading(view), caption),)


def _plans_reading(view: Any) -> str:
    """Builds whose cylinders are all seated, and why it cannot be told of others."""
    whole: list[str] = []
    open_: dict[str, list[str]] = {}
    for build in view.program.builds:
        states = [state for place in build.places if (state := view.state(build, place.cylinder)) is not None]
        words = {state.word for state in states}
        if words == {"seated"}:
            whole.append(build.id)
        if words == {"cannot tell"}:
            open_.setdefault(states[0].reason, []).append(build.id)
    parts = []
    if whole:
        parts.append(f"All cylinders of {view.words.listed(whole)} are seated.")
    clauses = [f"of {view.words.listed(builds)}, because {view.why(reason)}" for reason, builds in open_.items()]
    if clauses:
        parts.append(f"No cylinder can be told {'; '.join(clauses)}.")
    return " ".join(parts)


def _plan(view: Any, build: Any, me: int = 0) -> Plan:
    discs = []
    for place in build.places:
        point = last(line(view, build, place.cylinder))
        state = view.state(build, place.cylinder)
        word = state.word if state is not None else ""
        number = mm2(view, point.value.value or 0.0) if point else ""
        said = f"{number} mm²" if point else "no reading"
        discs.append(
            Disc(
                place.cylinder,
                number,
                "mm²" if point else "",
                place.coating,
                word,
                href=view.href_cylinder(build, place.cylinder),
                label=f"{build.id} cylinder {place.cylinder}: {said}{', ' + word if word else ''}",
            )  # fmt: skip
        )
    one = build.coatings[0] if len(build.coatings) == 1 else ""
    note = "" if one else view.words.listed([view.coating_title(coating) for coating in build.coatings])
    return Plan(build.id, discs, view.href_engine(build), note, one, me, _flywheel(build))


def seating_table(view: Any) -> Sequence[Block]:
    """Seating distance by build and coating, and what the cylinders still had to lose when the run-in ended."""
    program, words = view.program, view.words
    run_in = [phase for phase in checked_phases(view) if phase.kind == "run"]
    end = run_in[-1] if run_in else None
    rows = []
    known: dict[str, list[float]] = {}
    unknown = 0
    for coating in program.coatings:
        for build in program.builds:
            if coating not in build.coatings:
                continue
            scale = next(iter(view.values(SCALE.id, engine=build, at=build.assemblies[0].id, coating=coating)), None)
            if scale is not None and scale.value is not None:
                known.setdefault(coating, []).append(scale.value)
            why = view.why(scale.reason) if scale is not None and scale.status == "refused" else ""
            unknown += bool(why)
            lose = view.values(TO_LOSE.id, engine=build, phase=end.id, coating=coating) if end else []
            lose = [value for value in lose if value.value is not None]
            most = max(lose, key=lambda value: value.value) if lose else None
            rows.append(
                Row(
                    (
                        view.coating_cell(coating),
                        Cell(build.id, href=view.href_engine(build)),
                        Cell(view.text(scale), note=why),
                        Cell(
                            view.text(most) if most else words.DASH,
                            note=f"cylinder {most.key.cylinder}" if most else "",
                        ),
                        Cell(_tally(view, build, coating), note=_before_refit(view, build, coating)),
                    )
                )
            )
    clauses = [f"{_km_range(view, found)} {view.coating_title(coating)}" for coating, found in known.items()]
    reading = f"Seating distances found: {words.listed(clauses)}." if clauses else ""
    if unknown:
        reading += f" In {words.counted(unknown, 'case')} the checks do not fix it, and no number is given."
    columns = (
        Column("Coating"), Column("Build"), Column("Seating distance", "km", numeric=True),
        Column(f"Most still to lose at {end.title if end else 'the end'}", "mm²", numeric=True), Column("Cylinders now"),
    )  # fmt: skip
    note = (
        "Seating distance: sliding over which the leak still to lose falls to 37 %, fitted to the fired checks of the cylinders "
        "of one coating in a build together. 95 % intervals."
    )
    return (Table("seating-by-build", columns, rows, reading.strip(), note=note),)


def _km_range(view: Any, found: Sequence[float]) -> str:
    low, high = view.words.number(min(found), 1), view.words.number(max(found), 1)
    return f"{low} km" if low == high else f"{low} to {high} km"


def _tally(view: Any, build: Any, coating: str) -> str:
    """How many cylinders of a coating are in which state."""
    states = [view.state(build, place.cylinder) for place in build.places if place.coating == coating]
    counted = Counter(state.word for state in states if state is not None)
    return str(view.words.listed([f"{counted[word]} {word}" for word in STATE_ORDER if counted[word]]))


def _before_refit(view: Any, build: Any, coating: str) -> str:
    """What the cylinders were before their rings were last disturbed."""
    if len(build.assemblies) < 2:
        return ""
    before = [_state_after(view, build, p.cylinder, build.assemblies[-2]) for p in build.places if p.coating == coating]
    counted = Counter(state.word for state in before if state is not None)
    told = view.words.listed([f"{counted[word]} {word}" for word in STATE_ORDER if counted[word]])
    return f"{told} before the rings were disturbed" if told else ""


# ---- engine ---------------------------------------------------------------------------------------------------------


def engine_plan(view: Any) -> Sequence[Block]:
    """The build's block plan, and how the leak of its cylinders went from phase to phase."""
    build = view.the_build
    top = max((p.value.value or 0 for place in build.places for p in line(view, build, place.cylinder)), default=0)
    strip = [_strip_plan(view, build, phase, top) for phase in checked_phases(view)]
    strip = [plan for plan in strip if any(disc.share is not None for disc in plan.discs)]
    small = Plans(
        strip, caption="Area of each disc: leak area. Values in mm², cylinders as they sit in the block.", small=True
    )
    return (Plans((_plan(view, build),), _engine_reading(view)), small)


def _engine_reading(view: Any) -> str:
    build = view.the_build
    counted = Counter(state.word for p in build.places if (state := view.state(build, p.cylinder)) is not None)
    if not counted:
        return ""
    told = [
        f"{view.words.count(counted[word])} {word}" for word in STATE_ORDER if counted[word] and word != "cannot tell"
    ]
    sentence = f"Of {view.words.counted(len(build.places), 'cylinder')}: {view.words.listed(told)}." if told else ""
    if counted["cannot tell"]:
        reasons = sorted(
            {s.reason for p in build.places if (s := view.state(build, p.cylinder)) and s.word == "cannot tell"}
        )
        why = view.words.listed([view.why(code) for code in reasons])
        number = counted["cannot tell"]
        whom = "no cylinder" if number == len(build.places) else view.words.counted(number, "cylinder")
        sentence += (
            f" No cylinder can be told, because {why}."
            if whom == "no cylinder"
            else f" Of {whom} it cannot be told, because {why}."
        )
    return sentence.strip()


def _strip_plan(view: Any, build: Any, phase: Any, top: float, me: int = 0) -> Plan:
    discs = []
    for place in build.places:
        value = view.value(CRANKCASE.id, phase.id, engine=build, cylinder=place.cylinder)
        known = value is not None and value.status == "ok" and value.value is not None
        text = mm2(view, value.value) if known else ""
        discs.append(
            Disc(
                place.cylinder,
                text,
                "mm²",
                place.coating,
                href=view.href_cylinder(build, place.cylinder),
                share=max(value.value, 0.0) / top if known and top > 0 else None,
                label=f"{phase.title}, cylinder {place.cylinder}: {text + ' mm²' if known else 'no value'}",
            )  # fmt: skip
        )
    return Plan(phase.title, discs, me=me, flywheel=_flywheel(build))


def _flywheel(build: Any) -> Literal["right", "left"]:
    return "left" if build.engine_type.flywheel == "at the first cylinder" else "right"


def engine_curves(view: Any) -> Sequence[Block]:
    """All cylinders of a build over its phases, and the same as a table."""
    build = view.the_build
    means: list[dict[str, Any]] = []
    for place in build.places:
        points = line(view, build, place.cylinder)
        drawn = [mean_row(view, point, f"cylinder {place.cylinder}", place.coating) for point in points]
        means += with_labels(drawn, f"cyl. {place.cylinder}")
    data = {"phases": phase_rows(view, (build,)), "means": means, "limits": [limit_row(view)]}
    panel = Panel(build.id, data, coating=build.coatings[0], label=f"Leak area of the cylinders of {build.id} by phase")
    caption = f"{CURVE_CAPTION} Bars: 95 % intervals. Open marks: not yet to rely on."
    table = _by_cylinder(view, build)
    return (Figure(f"leak-area-{build.id}", "slope", (panel,), _curves_reading(view), caption), table)


def _curves_reading(view: Any) -> str:
    build = view.the_build
    lines = {place.cylinder: line(view, build, place.cylinder) for place in build.places}
    fired = {number: [point for point in points if not point.cold] for number, points in lines.items()}
    fired = {number: points for number, points in fired.items() if points}
    if not fired:
        return "No check after the first start yet."
    ends = {number: points[-1] for number, points in fired.items()}
    title = view.program.phase(next(iter(ends.values())).phase).title
    largest = max(ends, key=lambda number: ends[number].value.value or 0)
    values = [point.value.value or 0.0 for point in ends.values()]
    sentence = (
        f"At the last check, {title}, the cylinders leak {range_of(view, values)} mm²; cylinder {largest} leaks most."
    )
    doubts = sorted({flag for points in lines.values() for point in points for flag in point.value.flags & DOUBTFUL})
    if doubts:
        sentence += f" Open marks: {view.words.listed([view.why(flag) for flag in doubts])}."
    return sentence


def _by_cylinder(view: Any, build: Any) -> Table:
    phases = checked_phases(view)
    rows = []
    for place in build.places:
        cells = [
            Cell(f"cylinder {place.cylinder}", href=view.href_cylinder(build, place.cylinder), coating=place.coating)
        ]
        for phase in phases:
            value = view.value(CRANKCASE.id, phase.id, engine=build, cylinder=place.cylinder)
            cells.append(Cell(view.text(value), note=_change_note(view, build, place.cylinder, phase.id)))
        rows.append(Row(cells))
    columns = (Column("Cylinder"), *(Column(phase.title, "mm²", numeric=True) for phase in phases))
    note = (
        "Leak area to the crankcase with its 95 % interval. Second line: change since the check before, where the condition is "
        "the same; “within scatter” where it is no more than occasions differ by."
    )
    return Table(f"leak-area-{build.id}-by-cylinder", columns, rows, note=note, wide=True)


def _change_note(view: Any, build: Any, cylinder: int, phase: str) -> str:
    changes = view.values(CHANGE.id, engine=build, cylinder=cylinder, phase=phase)
    if not changes or changes[0].status != "ok" or changes[0].value is None:
        return ""
    change = changes[0]
    if change.low is not None and change.high is not None and change.low <= 0 <= change.high:
        return "within scatter"
    return str(view.words.signed(change.value, 2))


def engine_seating(view: Any) -> Sequence[Block]:
    """The seating curves of each assembly: distance, leak when seated, leak still to lose, state."""
    build, words = view.the_build, view.words
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
            lose = _to_lose(view, build, place.cylinder, assembly)
            latest = max(lose, key=lambda v: view.program.phase(v.key.phase).order) if lose else None
            state = _state_after(view, build, place.cylinder, assembly)
            rows.append(
                Row(
                    (
                        Cell(
                            f"cylinder {place.cylinder}",
                            href=view.href_cylinder(build, place.cylinder),
                            coating=place.coating,
                        ),
                        Cell(view.text(plateau[0]) if plateau else words.DASH),
                        Cell(
                            _lose_text(view, latest), note=view.program.phase(latest.key.phase).title if latest else ""
                        ),
                        Cell(view.text(_floor(view, build, place.cylinder))),
                        Cell(view.text(last_value(view, UNEXPLAINED.id, build, place.cylinder, assembly))),
                        Cell(state.word if state else "", word=True),
                    )
                )
            )
        columns = (
            Column("Cylinder"), Column("Leak when seated", "mm²", numeric=True), Column("Still to lose", "mm²", numeric=True),
            Column("Gaps alone", "mm²", numeric=True), Column("Gaps do not explain", "mm²", numeric=True), Column("State"),
        )  # fmt: skip
        blocks.append(Table(f"seating-{build.id}-{assembly.id}", columns, rows, wide=True))
    return blocks


def _state_after(view: Any, build: Any, cylinder: int, assembly: Any) -> Any:
    """State of a cylinder at the last fired check of an assembly."""
    rule = STATE_RULE if assembly is build.assemblies[-1] else STATE_RULE + EARLIER
    for verdict in view.verdicts(rule, engine=build, cylinder=cylinder):
        phase = verdict.key.phase
        if verdict.key.at == assembly.id or (
            phase and build.assembly_of(view.program.phase(phase), view.program) is assembly
        ):
            return verdict
    return None


def _to_lose(view: Any, build: Any, cylinder: int, assembly: Any) -> list[Value]:
    """Leak still to lose of a cylinder at the checks of one assembly."""
    return [
        value
        for value in view.values(TO_LOSE.id, engine=build, cylinder=cylinder)
        if build.assembly_of(view.program.phase(value.key.phase), view.program) is assembly
    ]


def _scale_sentence(view: Any, build: Any, assembly: Any, scale: Value) -> str:
    first, end = view.program.phase(assembly.first).title, view.program.phase(assembly.last).title
    of = f" of the {view.coating_title(scale.key.coating)} rings" if len(build.coatings) > 1 else ""
    when = f", {first} to {end}" if len(build.assemblies) > 1 else ""
    if scale.status != "ok":
        return f"No seating distance{of}{when}, because {view.why(scale.reason)}."
    sentence = f"The leak still to lose{of} falls to 37 % over {view.text(scale, unit=True)} of sliding{when}"
    sentence += ", by the planned schedule." if "from-schedule" in scale.flags else "."
    plateaus = view.values(PLATEAU.id, engine=build, at=assembly.id, coating=scale.key.coating)
    apart = [value.key.cylinder for value in plateaus if value.reason == "own-scale"]
    if apart:
        named = view.words.numbers_listed(apart)
        one = len(apart) == 1
        sentence += (
            f" {view.words.plural(len(apart), 'Cylinder')} {named} {'does' if one else 'do'} not share that distance and "
            f"{'was' if one else 'were'} left out of the common curve."
        )
    return sentence


def last_value(view: Any, measure: str, build: Any, cylinder: int, assembly: Any) -> Value | None:
    """The value of a cylinder at the latest phase of an assembly that has one."""
    values = [
        v
        for v in view.values(measure, engine=build, cylinder=cylinder, at="")
        if v.value is not None and build.assembly_of(view.program.phase(v.key.phase), view.program) is assembly
    ]
    return max(values, key=lambda v: view.program.phase(v.key.phase).order) if values else None


def _floor(view: Any, build: Any, cylinder: int) -> Value | None:
    values = view.values(FLOOR, engine=build, cylinder=cylinder)
    return min(values, key=lambda v: view.program.phase(v.key.phase).order) if values else None


def engine_tester(view: Any) -> Sequence[Block]:
    """What the testers of the program were worth."""
    rows = []
    for tester in sorted(set(view.readings("leakdown")["tester"].dropna())):
        scale, occasion = (view.value(m, at=tester, engine="", cylinder=0) for m in (REFERENCE.id, OCCASION.id))
        facts = view.program.definitions.testers[tester]
        note = view.why(scale.reason) if scale is not None and scale.status == "refused" else ""
        rows.append(
            Row(
                (
                    Cell(tester, note=facts.title),
                    Cell(view.words.number(1000 * facts.orifice, 3)),
                    Cell(view.text(scale), note=note),
                    Cell(view.text(occasion)),
                    Cell(str(occasion.n) if occasion is not None and occasion.n else view.words.DASH),
                )
            )
        )
    repeat = view.value(REPEAT.id, engine="", cylinder=0)
    reading = ""
    if repeat is not None and repeat.value is not None:
        reading = f"Repeats of one check differ by {view.text(repeat, unit=True)} (standard deviation, whole program)."
    columns = (
        Column("Tester"), Column("Orifice", "mm", numeric=True), Column("Scale from the reference orifice", numeric=True),
        Column("Scatter between occasions", "%", numeric=True), Column("Occasions", numeric=True),
    )  # fmt: skip
    return (Table("testers", columns, rows, reading),)


# ---- cylinder -------------------------------------------------------------------------------------------------------


def cylinder_history(view: Any) -> Sequence[Block]:
    """The history of one cylinder with every reading, its neighbours in grey, the gap floor and the limit."""
    build, number = view.the_build, view.cylinder
    coating = build.coating_of(number)
    points = line(view, build, number)
    strong = [mean_row(view, p, f"cylinder {number}", coating, text=mm2(view, p.value.value or 0.0)) for p in points]
    others = [place.cylinder for place in build.places if place.cylinder != number]
    thin: list[dict[str, Any]] = []
    for other in others:
        drawn = [thin_row(view, p, f"cylinder {other}") for p in line(view, build, other)]
        thin += drawn
    if thin:
        label = f"cyl. {', '.join(str(each) for each in others)}"
        ends = [rows for rows in ([r for r in thin if r["line"] == f"cylinder {o}"] for o in others) if rows]
        middle = sorted(ends, key=lambda rows: rows[-1]["value"])[len(ends) // 2][-1]
        thin = [{**row, "label": label} if row is middle else row for row in thin]
    floor = _floor(view, build, number)
    band = []
    if floor is not None and floor.low is not None and floor.high is not None:
        band = [{"low": floor.low, "high": floor.high, "label": "end gaps alone"}]
    data = {
        "phases": phase_rows(view, (build,)),
        "means": strong,
        "thin": thin,
        "readings": _reading_rows(view, coating),
        "limits": [limit_row(view)],
        "band": band,
    }
    panel = Panel("", data, coating=coating, label=f"Leak area of {build.id} cylinder {number} by phase")
    caption = (
        f"{CURVE_CAPTION} Bars: 95 % intervals. Small rings: single readings. Crossed: left out, at the value the check would "
        "have had with it. Grey: the other cylinders. Band: what the end gaps alone would leak."
    )
    table = Table(
        name=f"history-{build.id}-{number}",
        columns=(
            Column("Phase"),
            Column("Distance"),
            Column("Leak area", "mm²", numeric=True),
            Column("Readings", numeric=True),
        ),
        rows=[
            Row(
                (
                    Cell(view.program.phase(p.phase).title),
                    Cell(distance(view, build, view.program.phase(p.phase))),
                    Cell(view.text(p.value)),
                    Cell(str(p.value.n)),
                )
            )
            for p in points
        ],
    )
    reading = _history_reading(view, points, others)
    return (Figure(f"history-{build.id}-cylinder-{number}", "history", (panel,), reading, caption, table),)


def _reading_rows(view: Any, coating: str) -> list[dict[str, Any]]:
    """Single readings as areas in proportion to the check's mean per cent; those left out where the check would lie."""
    places = {phase.id: x for x, phase in enumerate(checked_phases(view))}
    rows = []
    for series in view.series("leakdown.readings"):
        for row in series.frame.itertuples(index=False):
            if row.phase in places:
                tip = f"reading {row.reading}: {mm2(view, row.area)} mm²"
                rows.append({"x": places[row.phase], "value": row.area, "coating": coating, "tip": tip})
    for value in view.values(CRANKCASE.id, engine=view.the_build, cylinder=view.cylinder):
        if value.status == "excluded" and value.value is not None and value.key.phase in places:
            reading = value.key.at.removeprefix("with:")
            tip = f"{reading}, left out: {view.why(value.reason)}. With it the check would read {mm2(view, value.value)} mm²"
            rows.append(
                {
                    "x": places[value.key.phase],
                    "value": value.value,
                    "crossed": True,
                    "coating": coating,
                    "label": "left out",
                    "tip": tip,
                }
            )
    return rows


def _history_reading(view: Any, points: Sequence[Point], others: Sequence[int]) -> str:
    fired = [point for point in points if not point.cold]
    if len(fired) < 2:
        return "Too few checks after the first start to tell a history."
    first, end = fired[0], fired[-1]
    a, b = first.value.value or 0.0, end.value.value or 0.0
    start, finish = (view.program.phase(point.phase).title for point in (first, end))
    went = "fell" if b < a else "rose"
    sentence = f"Leak area {went} from {mm2(view, a)} mm² at {start} to {mm2(view, b)} mm² at {finish}."
    ends = [last(line(view, view.the_build, other)) for other in others]
    level = [point.value.value or 0.0 for point in ends if point is not None and point.phase == end.phase]
    if level:
        sentence += f" Its neighbours end at {range_of(view, level)} mm²."
    change = next(iter(view.values(CHANGE.id, engine=view.the_build, cylinder=view.cylinder, phase=end.phase)), None)
    if change is not None and change.status == "ok" and change.low is not None and change.high is not None:
        if change.low <= 0 <= change.high:
            sentence += " The last change is within the scatter between occasions."
        else:
            sentence += (
                f" The last change, {view.words.signed(change.value, 2)} mm², is beyond the scatter between occasions."
            )
    return sentence


def cylinder_place(view: Any) -> Sequence[Block]:
    """Where the cylinder sits, and why it has its state."""
    build, number = view.the_build, view.cylinder
    blocks: list[Block] = [Plans((_plan(view, build, me=number),))]
    state = view.state()
    if state is None:
        return blocks
    found = {rule.rule: rule for rule in view.verdicts(engine=build, cylinder=number)}
    rows = [_rule_row(view, found[rule]) for rule in _RULES if rule in found]
    columns = (Column("Rule of the program"), Column("Limit", numeric=True), Column("Found", numeric=True), Column(""))
    blocks.append(
        Table(f"why-{build.id}-{number}", columns, rows, caption=f"Why “{state.word}”", note=_why_note(view, state))
    )
    return blocks


_RULES = {
    LEVEL_RULE: "Leak area, mm²",
    TO_LOSE_RULE: "Leak still to lose, mm²",
    FALL_RULE: "Fall since the check before, mm²",
}


def _rule_row(view: Any, rule: Any) -> Row:
    seating = view.program.seating
    limit = {LEVEL_RULE: mm2(view, seating.level), TO_LOSE_RULE: mm2(view, seating.to_lose), FALL_RULE: "0"}[rule.rule]
    measure, _, at = rule.deciding.partition("@")
    value = view.value(measure, rule.key.phase, at, engine=rule.key.engine, cylinder=rule.key.cylinder)
    if rule.rule == FALL_RULE and value is not None and value.value is not None:
        value = replace(value, value=-value.value, low=_negative(value.high), high=_negative(value.low))
    found = _lose_text(view, value) if value is not None else view.words.DASH
    return Row((Cell(_RULES[rule.rule]), Cell(f"≤ {limit}"), Cell(found), Cell(rule.word, word=True)))


def _lose_text(view: Any, value: Value | None) -> str:
    """Leak still to lose; where all of its interval is as good as nothing, only that is said."""
    if (
        value is not None
        and value.status == "ok"
        and value.high is not None
        and abs(value.low or 0.0) < value.high < 0.0005
    ):
        return "below 0.001"
    return str(view.text(value))


def _negative(end: float | None) -> float | None:
    return None if end is None else -end


def _why_note(view: Any, state: Any) -> str:
    phase = view.program.phase(state.key.phase).title
    reason = (
        f" It {'is' if state.word == 'cannot tell' else 'counts as'} “{state.word}” because {view.why(state.reason)}."
        if state.reason
        else ""
    )
    return f"Judged at {phase}.{reason}"


def cylinder_neighbours(view: Any) -> Sequence[Block]:
    """The strip of block plans by phase with this cylinder ringed."""
    build, number = view.the_build, view.cylinder
    top = max((p.value.value or 0 for place in build.places for p in line(view, build, place.cylinder)), default=0)
    strip = [_strip_plan(view, build, phase, top, number) for phase in checked_phases(view)]
    strip = [plan for plan in strip if any(disc.share is not None for disc in plan.discs)]
    return (Plans(strip, _rank_sentence(view), "Area of each disc: leak area. Values in mm².", small=True),)


def _rank_sentence(view: Any) -> str:
    """In how many phases this cylinder leaked most of its engine."""
    build, number = view.the_build, view.cylinder
    most = least = seen = 0
    for phase in checked_phases(view):
        values = {
            p.cylinder: view.value(CRANKCASE.id, phase.id, engine=build, cylinder=p.cylinder) for p in build.places
        }
        known = {c: v.value for c, v in values.items() if v is not None and v.status == "ok" and v.value is not None}
        if number not in known or len(known) < 2:
            continue
        seen += 1
        most += known[number] == max(known.values())
        least += known[number] == min(known.values())
    if not seen:
        return ""
    word = view.words.count
    if most == least == 0:
        return f"Cylinder {number} was neither the largest nor the smallest leak of {build.id} at any of {word(seen)} checks."
    return (
        f"Of {word(seen)} checks, cylinder {number} had the largest leak of {build.id} at {_number_of(view, most)} and the smallest at "
        f"{_number_of(view, least)}."
    )


def _number_of(view: Any, count: int) -> str:
    return "none" if count == 0 else str(view.words.count(count))


def cylinder_paths(view: Any) -> Sequence[Block]:
    """Where the air went: a table where other paths than the rings took a tenth or more, else one sentence."""
    build, number = view.the_build, view.cylinder
    rows: list[Row] = []
    told: list[tuple[Any, Value, Value, float | None]] = []
    for phase in checked_phases(view):
        area, ring = view.value(AREA.id, phase.id), view.value(CRANKCASE.id, phase.id)
        if area is None or ring is None or not area.value or ring.value is None:
            continue
        readings = view.readings("leakdown", phase=phase.id, used=True)
        shares = [f"{path} {told_share}" for path in PATHS if (told_share := _mean_share(view, readings, path))]
        unknown = "path-unknown" in ring.flags
        share = None if unknown else ring.value / area.value
        told.append((phase, area, ring, share))
        where = (
            "not recorded" if unknown else view.words.listed(shares) if shares else "from the flow out of the crankcase"
        )
        rows.append(Row((Cell(phase.title), Cell(view.text(area)), Cell(view.text(ring)), Cell(where))))
    blocks: list[Block] = []
    known = [(phase, area, ring, share) for phase, area, ring, share in told if share is not None]
    if told and not known:
        blocks.append(
            Text(
                (
                    Cell(
                        f"Where the air went was not recorded for {build.id}: valves or gasket may share in these areas."
                    ),
                )
            )
        )
    elif known:
        worst = min(known, key=lambda each: each[3])
        if worst[3] >= 0.9 and len(known) == len(told):
            percent = view.words.percent(min(each[3] for each in known), 1.0)
            blocks.append(
                Text((Cell(f"At every check at least {percent} of the air went past the rings to the crankcase."),))
            )
        else:
            columns = (
                Column("Phase"), Column("Leak area, all paths", "mm²", numeric=True), Column("To the crankcase", "mm²", numeric=True),
                Column("Share of the air"),
            )  # fmt: skip
            unknown_at = [phase.title for phase, _, _, share in told if share is None]
            reading = _path_reading(view, *worst, unknown_at)
            blocks.append(Table(f"paths-{build.id}-{number}", columns, rows, reading, wide=True))
    for kind in view.verdicts("kind of leak", engine=build, cylinder=number):
        ratio = view.value(SUPPLY_RATIO.id, kind.key.phase, kind.key.at)
        says = {
            "slit": "That is how a slit leaks, such as a ring face.",
            "hole": "That is how a hole leaks, not a ring face.",
            "cannot tell": "Neither a slit alone nor a hole alone explains that." if ratio and ratio.low and ratio.low > 1 else
            "Slit and hole both fit that.",
        }[kind.word]  # fmt: skip
        blocks.append(
            Text((Cell(f"At {view.program.phase(kind.key.phase).title} the leak area at the higher supply pressure was "
                       f"{view.text(ratio)} times that at the lower. {says}"),))
        )  # fmt: skip
    return blocks


def _path_reading(view: Any, phase: Any, area: Value, ring: Value, share: float, unknown: Sequence[str]) -> str:
    gap = f" At {view.words.listed(unknown)} it was not recorded." if unknown else ""
    if share >= 0.9:
        return f"Where the path was recorded, nearly all of the air went past the rings.{gap}"
    return (
        f"Not all of this leak is the rings': at {phase.title} it was {mm2(view, area.value or 0.0)} mm² in all, of which "
        f"{mm2(view, ring.value or 0.0)} mm² went to the crankcase. A valve, a gasket or a plug wants looking at.{gap and ' The path' + gap[3:]}"
    )


def _mean_share(view: Any, readings: pd.DataFrame, path: str) -> str:
    shares = readings[f"to_{path}"].dropna()
    return f"{view.words.number(float(shares.mean()), 0)} %" if len(shares) and float(shares.mean()) > 0 else ""


def cylinder_readings(view: Any) -> Sequence[Block]:
    """Every reading of the cylinder, used or not, with where it stands in the record."""
    build, number = view.the_build, view.cylinder
    frame = view.readings("leakdown")
    order = {phase.id: phase.order for phase in view.program.phases}
    frame = frame.assign(_order=frame["phase"].map(order)).sort_values(["_order", "file", "row"], kind="stable")
    rows = []
    for row in frame.itertuples(index=False):
        out = row.use != ""
        with_it = view.value(CRANKCASE.id, row.phase, f"with:{row.reading}") if out else None
        state = _why_out(view, row) if out else "used"
        if with_it is not None and with_it.value is not None:
            state += f" With it: {mm2(view, with_it.value)} mm²."
        repeat = "" if pd.isna(row.repeat) else f", {int(row.repeat)}"
        rows.append(
            Row(
                (
                    Cell(f"{view.program.phase(row.phase).title}{repeat}"),
                    Cell(_number(view, row.supply, 1e3)),
                    Cell(_number(view, row.pressure, 1e3)),
                    Cell(_percent(view, row)),
                    Cell(
                        "" if pd.isna(row.metal_temperature) else view.words.number(row.metal_temperature - 273.15, 0)
                    ),
                    Cell("" if pd.isna(row.oil) else row.oil),
                    Cell(row.tester),
                    Cell("left out" if out else "used", word=out, note=state if out else ""),
                    Cell(f"{row.file.rpartition('/')[2]}, line {row.row}"),
                ),
                here=out,
                anchor=f"reading-{row.reading}",
            )
        )
    columns = (
        Column("Phase, repeat"), Column("Supply", "kPa gauge", numeric=True), Column("Cylinder", "kPa gauge", numeric=True),
        Column("Leak", "%", numeric=True), Column("Metal", "°C", numeric=True), Column("Oil"), Column("Tester"), Column("Use"),
        Column("From"),
    )  # fmt: skip
    left = sum(row.here for row in rows)
    total = view.words.counted(len(rows), "reading")
    reading = (
        f"{view.words.sentence(total)}, all used."
        if not left
        else f"{view.words.sentence(total)}; {view.words.count(left)} left out, with the reason beside it."
    )
    note = "To object to a reading, name its file and line under “exclusions” in the program file, with why, by whom and when; it stays visible here."
    return (Table(f"readings-{build.id}-{number}", columns, rows, reading, note=note, wide=True),)


def _why_out(view: Any, row: Any) -> str:
    """Why a reading is left out, in the words of the objection where there is one."""
    for objection in view.program.exclusions:
        if objection.reading == row.reading and row.use == "excluded":
            when = f", {view.words.day(objection.on)}" if objection.on else ""
            by = f" ({objection.by}{when})" if objection.by else ""
            return f"{view.words.sentence(objection.why)}{by}."
    return f"{view.words.sentence(view.why(row.use))}."


def _number(view: Any, value: float, scale: float) -> str:
    return "" if pd.isna(value) else str(view.words.number(value / scale, 1))


def _percent(view: Any, row: Any) -> str:
    if not pd.isna(row.percent):
        return str(view.words.number(row.percent, 1))
    if pd.isna(row.supply) or pd.isna(row.pressure) or not row.supply:
        return ""
    return str(view.words.number(100 * (row.supply - row.pressure) / row.supply, 1))


# ---- coating --------------------------------------------------------------------------------------------------------


def coating_builds(view: Any) -> Sequence[Block]:
    """All builds of a program with this coating: leak by phase as a table; the page gathers the programs."""
    coating = view.coating.id
    phases = [phase for phase in view.program.phases if "leakdown" in phase.records]
    rows = []
    for build in view.builds:
        cells = [Cell(build.id, href=view.href_engine(build), note="" if len(build.coatings) == 1 else "mixed engine")]
        for phase in phases:
            value = view.value("leakdown.build", phase.id, engine=build, cylinder=0, coating=coating)
            cells.append(
                Cell(mm2(view, value.value) if value is not None and value.value is not None else view.words.DASH)
            )
        scale = next(iter(view.values(SCALE.id, engine=build, at=build.assemblies[0].id, coating=coating)), None)
        cells += [Cell(view.text(scale)), Cell(_tally(view, build, coating))]
        rows.append(Row(cells))
    columns = (
        Column("Build"), *(Column(phase.title, "mm²", numeric=True) for phase in phases),
        Column("Seating distance", "km", numeric=True), Column("Cylinders now"),
    )  # fmt: skip
    note = "Mean leak area to the crankcase over the cylinders of the build that hold this coating."
    return (Table(f"{view.program.id}-builds", columns, rows, note=note, wide=True),)


# ---- words ----------------------------------------------------------------------------------------------------------


def _the(title: str) -> str:
    return f"the {title}"


def _is(count: int) -> str:
    return "is" if count == 1 else "are"


SECTIONS = (
    Section("answer", "Where it stands", 0, "program", answer),
    Section("leak", "Leak area by phase", 10, "program", by_coating),
    Section("engines", "Engines", 20, "program", plans),
    Section("seating", "How far they had to run to seat", 30, "program", seating_table),
    Section("plan", "Where it stands", 0, "engine", engine_plan),
    Section("leak", "Leak area by phase", 10, "engine", engine_curves),
    Section("seating", "Seating", 20, "engine", engine_seating),
    Section("testers", "Testers", 60, "engine", engine_tester),
    Section("history", "History", 0, "cylinder", cylinder_history),
    Section("place", "Where it sits", 1, "cylinder", cylinder_place, place="side"),
    Section("neighbours", "Among its neighbours", 10, "cylinder", cylinder_neighbours),
    Section("paths", "Where the air went", 20, "cylinder", cylinder_paths),
    Section("readings", "Every reading", 30, "cylinder", cylinder_readings),
    Section("leak", "Leak area and seating", 10, "coating", coating_builds),
)
