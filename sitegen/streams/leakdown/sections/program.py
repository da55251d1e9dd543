"""What leak-down and seating say on the program page. Formats what the steps concluded; computes nothing."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Any

from sitegen.streams.leakdown.history import (
    Point,
    checked_phases,
    distance,
    limit_row,
    line,
    mean_line,
    mean_row,
    phase_rows,
    range_of,
    thin_row,
    with_labels,
)
from sitegen.streams.leakdown.measures import (
    CRANKCASE,
    SCALE,
    TO_LOSE,
)
from sitegen.streams.leakdown.sections.shared import (
    CURVE_CAPTION,
    before_refit,
    is_or_are,
    plan_of,
    tally,
    the,
)
from sitegen.vocabulary import (
    Block,
    Cell,
    Column,
    Figure,
    Panel,
    Plans,
    Row,
    Table,
    Text,
    Value,
)


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
        lead = f"After {the(phase.title)} the mean leak to the crankcase is: {words.listed(clauses)}."
        blocks.append(Text((Cell(lead),), role="lead"))
    blocks.append(Text(_state_sentence(view)))
    single = [c for c in program.coatings if sum(c in build.coatings for build in program.builds) == 1]
    mixed = [build.id for build in program.builds if len(build.coatings) > 1]
    for coating in single:
        text = (
            f"{view.words.sentence(view.coating_title(coating))} was built once: nothing here separates the coating "
            f"from that build."
        )
        blocks.append(Text((Cell(text),)))
    if mixed:
        text = (
            f"{words.listed(mixed)} {'mix' if len(mixed) > 1 else 'mixes'} coatings within the engine, so coatings "
            f"are seen "
            "under the same build, operator and tune, and in the same few engines."
        )
        blocks.append(Text((Cell(text),)))
    note = (
        "Ranges of build means, not a test: whether a difference is more than the scatter between builds is not "
        "decided here. "
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
    seated = counted["seated"]
    cells = [Cell(f"{words.sentence(words.share(seated, total, 'cylinder'))} {is_or_are(seated)} seated")]
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
        return f"No check was taken at {the(phase.title)} yet."
    return (
        f"At {the(phase.title)} mark: {view.words.listed(clauses)}. The largest is {worst.key.engine} cylinder "
        f"{worst.key.cylinder}."
    )


def plans(view: Any) -> Sequence[Block]:
    """A block plan of every build, with the latest leak area and the state of each cylinder."""
    drawn = [plan_of(view, build) for build in view.program.builds]
    caption = (
        "Number: latest leak area to the crankcase. Ring: its coating. Mark and word: state. Each circle leads to "
        "its cylinder."
    )
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
                        Cell(tally(view, build, coating), note=before_refit(view, build, coating)),
                    )
                )
            )
    clauses = [f"{_km_range(view, found)} {view.coating_title(coating)}" for coating, found in known.items()]
    reading = f"Seating distances found: {words.listed(clauses)}." if clauses else ""
    if unknown:
        reading += f" In {words.counted(unknown, 'case')} the checks do not fix it, and no number is given."
    columns = (
        Column("Coating"), Column("Build"), Column("Seating distance", "km", numeric=True),
        Column(f"Most still to lose at {end.title if end else 'the end'}", "mm²", numeric=True),
        Column("Cylinders now"),
    )  # fmt: skip
    note = (
        "Seating distance: sliding over which the leak still to lose falls to 37 %, fitted to the fired checks of the "
        "cylinders "
        "of one coating in a build together. 95 % intervals."
    )
    return (Table("seating-by-build", columns, rows, reading.strip(), note=note),)


def _km_range(view: Any, found: Sequence[float]) -> str:
    low, high = view.words.number(min(found), 1), view.words.number(max(found), 1)
    return f"{low} km" if low == high else f"{low} to {high} km"
