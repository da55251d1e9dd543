"""What leak-down and seating say on the program page. Formats what the steps concluded; computes nothing."""

from __future__ import annotations

import math
from collections.abc import Sequence

from sitegen.page import words
from sitegen.page.blocks import Beside, Block, Cell, ChartRow, Column, Figure, Panel, Row, Table, Text, number_of
from sitegen.page.counts import MANY
from sitegen.page.view import View
from sitegen.program.model import Build, Phase
from sitegen.streams.leakdown.fields import Reading
from sitegen.streams.leakdown.history import (
    DOUBTFUL,
    Point,
    area,
    bare_range,
    below_text,
    checked_phases,
    distance,
    limit_row,
    line,
    mean_line,
    mean_row,
    phase_rows,
    range_of,
    stands_out,
    thin_row,
    with_labels,
)
from sitegen.streams.leakdown.measures import BUILD, CRANKCASE, SCALE, TO_LOSE
from sitegen.streams.leakdown.sections.shared import (
    ABOVE,
    TALLY,
    apart,
    before_refit,
    checks_of,
    lose_text,
    scale_of,
    standing,
    tally,
)
from sitegen.vocabulary import Value, numbers

# ---- seating in sentences -------------------------------------------------------------------------------------------


def _distance_sentence(view: View) -> str:
    """Seating distances by coating, or why there is none."""
    clauses = []
    for coating in view.program.coatings:
        known = [scale.value for scale in _scales(view, coating) if scale.value is not None]
        if known:
            least, most = words.number(min(known), 1), words.number(max(known), 1)
            clauses.append(f"{view.coating_title(coating)} {words.from_to(least, most)}")
    if clauses:
        return f"{words.sentence(words.with_unit(words.listed(clauses), 'km'))}."
    scales = [scale for coating in view.program.coatings for scale in _scales(view, coating)]
    why = dict.fromkeys(_scale_note(view, scale, ()) for scale in scales)
    return f"No distance can be told: {words.listed(why)}." if why else ""


def _state_sentence(view: View) -> list[Cell]:
    """Seated cylinders by coating, and by name every cylinder that is neither seated nor merely undecided."""
    program = view.program
    states = [(b, p, view.state(b, p.cylinder)) for b in program.builds for p in b.places]
    clauses = []
    for coating in program.coatings:
        own = [standing(view, b, p.cylinder) for b, p, state in states if p.coating == coating and state is not None]
        told = [word for word in own if word != "cannot tell"]
        if told:
            clauses.append(f"{view.coating_title(coating)} {_of(told.count('seated'), len(told))}")
        elif own:
            clauses.append(f"of {view.coating_title(coating)} none can be told")
    limits = program.seating
    rule = f" (at most {area(limits.to_lose)} still to lose and at most {area(limits.level)} in all)"
    known = any(standing(view, b, p.cylinder) != "cannot tell" for b, p, state in states if state is not None)
    said = (
        f"of the cylinders that could be told: {words.listed(clauses)}"
        if known
        else "it cannot be told of any cylinder yet"
    )
    cells = [Cell(f"Seated{rule}, {said}. ")] if clauses else []
    for word in ("not seated", "still seating"):
        named = [(b, p.cylinder) for b, p, state in states if state is not None and state.word == word]
        if named:
            cells += [Cell(f"{words.sentence(word)}: "), *_named(view, named), Cell(". ")]
    above = [(b, p.cylinder) for b, p, _ in states if standing(view, b, p.cylinder) == ABOVE]
    for ended, more in ((True, ", and not known whether the leak still falls"), (False, " so far")):
        if named := [each for each in above if _ended(view, each[0]) == ended]:
            cells += [Cell(f"Above the limit{more}: "), *_named(view, named), Cell(". ")]
    return cells


def _of(n: int, of: int) -> str:
    return f"{words.count(n) if n else 'none'} of {words.count(of)}"


def _named(view: View, cylinders: Sequence[tuple[Build, int]]) -> list[Cell]:
    """Cylinders with links, as in a sentence."""
    cells = []
    for i, (build, number) in enumerate(cylinders):
        if i:
            cells.append(Cell(", " if i < len(cylinders) - 1 else " and "))
        cells.append(Cell(f"{build.id} cylinder {number}", href=view.href_cylinder(build, number)))
    return cells


def _waiting_sentence(view: View) -> str:
    """Of how many cylinders it cannot be told: how many wait for a run, and how many have none to come."""
    found = [
        (build, state.reason)
        for build in view.program.builds
        for place in build.places
        if (state := view.state(build, place.cylinder)) is not None and state.word == "cannot tell"
    ]
    if not found:
        return ""
    open_ = [build for build, _ in found]
    waits = {
        build.id: phase
        for build in view.program.builds
        for phase in view.program.phases_of(build)
        if phase.fires and build.is_due(phase.id)
    }
    waiting = [build for build in open_ if build.id in waits]
    dates = words.listed(
        f"{waits[build.id].title} of {build.id} ({_day(build, waits[build.id])})" for build in dict.fromkeys(waiting)
    )
    parts = [f"Of {words.counted(len(open_), 'cylinder')} it cannot be told"]
    if waiting:
        who = f"{_who(waiting, open_)}{' of them' if len(waiting) < len(open_) else ''}"
        parts.append(f"{who} {'waits' if len(waiting) == 1 else 'wait'} for {dates}")
    fresh = [build for build, reason in found if build.id not in waits and reason == "no-fired-check"]
    if fresh:
        parts.append(f"{_who(fresh, open_)} {'has' if len(fresh) == 1 else 'have'} no check after a start yet")
    lack = [build for build, reason in found if build.id not in waits and reason != "no-fired-check"]
    lack = [build for build in lack if _lacks_checks(view, build)]
    if lack:
        parts.append(f"{_who(lack, open_)} still {'lacks' if len(lack) == 1 else 'lack'} planned checks")
    if rest := len(open_) - len(waiting) - len(fresh) - len(lack):
        who = words.count(rest) if rest < len(open_) else _who(open_, open_)
        text = f"{who} {'has' if rest == 1 else 'have'} no run to come"
        left = {
            clause
            for build, reason in found
            if build.id not in waits and reason in {"few-checks", "one-check"}
            for clause in checks_of(view, build, build.assemblies[-1], build.coatings[0]).left
        }
        parts.append(f"{text} ({words.listed(sorted(left))})" if left else text)
    text = f"{parts[0]}: {words.listed(parts[1:])}."
    before = [f"of {build.id}, {told}" for build in dict.fromkeys(open_) if (told := before_refit(view, build))]
    return f"{text} {words.sentence('; '.join(before))}." if before else text


def _ended(view: View, build: Build) -> bool:
    """Whether no check after a start is to come."""
    due = any(phase.fires and build.is_due(phase.id) for phase in view.program.phases_of(build))
    return not due and not _lacks_checks(view, build)


def _who(some: Sequence[Build], every: Sequence[Build]) -> str:
    """How many of those that were counted before: "three", "all", "it"."""
    return words.count(len(some)) if len(some) < len(every) else "it" if len(every) == 1 else "all"


def _lacks_checks(view: View, build: Build) -> bool:
    """Whether a check that is planned after a start of this build has not been made at all."""
    made = {str(row.phase) for row in view.of_build(build).records("leakdown", Reading)}
    planned = [phase.id for phase in view.program.phases_of(build) if phase.fires and "leakdown" in phase.records]
    return any(phase not in made for phase in planned)


def _day(build: Build, phase: Phase) -> str:
    due = next((each.due for each in build.departures if each.phase == phase.id and each.kind == "due"), "")
    return words.day(due, year=False) if due else "no date"


MANY_CAPTION = (
    "Phases evenly spaced, not to scale of distance; assembly oil seals before the first start, so cold checks lie on "
    "another curve. A mark: the mean of a build; those of a coating stand side by side in the order of the program."
)


# ---- leak by phase --------------------------------------------------------------------------------------------------


def by_coating(view: View) -> Sequence[Block]:
    """Leak area by phase: a line a build in its coating's colour, and by name the cylinders that stand out."""
    program = view.program
    means: list[ChartRow] = []
    thin: list[ChartRow] = []
    rows = []
    many = len(program.builds) > MANY
    for coating in program.coatings:
        for build in program.builds:
            if coating not in build.coatings:
                continue
            points = mean_line(view, build, coating)
            drawn = [mean_row(view, point, build.id, coating) for point in points]
            means += [_dot(row, build.id) for row in drawn] if many else with_labels(drawn, build.id)
            rows += [_mean_table_row(view, build, coating, point) for point in points]
            for place in build.places:
                if place.coating == coating and not many:
                    thin += _standing_out(view, build, place.cylinder, coating, points)
    if not means:
        return ()
    data = {"phases": phase_rows(view, program.builds), "means": means, "thin": thin, "limits": [limit_row(view)]}
    label = "Leak area to the crankcase by phase, mean of each build"
    panels = [Panel("", data, {"unit": "mm²"}, label=label, axis="Leak area, mm²")]
    table = Table(
        name="leak-area-by-phase",
        columns=(
            Column("Coating"), Column("Build"), Column("Phase"), Column("Distance"),
            Column("Mean leak area", "mm²", numeric=True, measure=BUILD.id), Column("Cylinders", numeric=True),
        ),
        rows=rows,
    )  # fmt: skip
    thin_ones = "; thin: a cylinder not seated, or above the limit" if thin else ""
    caption = (
        f"{_phases_add_up(view)}Lines: means of builds{thin_ones}. "
        "Dotted: assembly oil still seals. Open: not yet to rely on."
    )
    caption = MANY_CAPTION if many else caption
    whole = Figure("leak-area-by-phase", "slope", panels, "", caption, table)
    near = _each_cylinder(view)
    said = [Text((Cell(reading),), "reading")] if (reading := _coating_reading(view)) else []
    return (*said, Beside("leak", (whole, near), halves=True)) if near else (*said, whole)


def _dot(row: ChartRow, name: str) -> ChartRow:
    """A mark among many: its place and its name, no more."""
    bare: ChartRow = {field: None if field in {"low", "high"} else datum for field, datum in row.items()}
    return {**bare, "value": float(f"{number_of(row['value']):.3g}"), "label": "", "tip": name, "series": ""}


def _phases_add_up(view: View) -> str:
    """That each phase goes on from the one before, by the second run of the program; "" where fewer run."""
    ran = [phase for phase in checked_phases(view) if phase.kind == "run" and phase.schedule]
    if len(ran) < 2:
        return "Not to scale; km from the first start. "
    second = ran[1]
    minutes = second.repeat * math.fsum(step.time for step in second.schedule) / 60
    adds = f"{second.title} adds {words.with_unit(words.number(minutes, 0), 'min')}"
    return f"Not to scale; {adds}; km from the first start. "


def _each_cylinder(view: View) -> Figure | None:
    """Every cylinder at the phase the answer rests on, by build, on an axis that holds them; none read: None."""
    phase = _told_phase(view)
    groups: list[ChartRow] = []
    points: list[ChartRow] = []
    told: list[Value] = []
    for build in view.program.builds if phase else ():
        values = view.values(CRANKCASE.id, engine=build, phase=phase.id, at="") if phase else []
        values = [each for each in values if each.key.cylinder and each.value is not None]
        if not values:
            continue
        groups.append({"x": len(groups), "label": build.id})
        odd = stands_out(values)
        told += values
        many = len(view.program.builds) > MANY
        for each in sorted(values, key=lambda value: value.key.cylinder):
            cylinder = f"cylinder {each.key.cylinder}"
            tip = f"{build.id} {cylinder}: {view.text(each, unit=True)}"
            row: ChartRow = {
                "x": len(groups) - 1, "value": each.value, "low": each.low, "high": each.high,
                "open": bool(each.flags & DOUBTFUL), "coating": each.key.coating,
                "label": cylinder if each is odd else "", "tip": tip, "series": build.id,
            }  # fmt: skip
            points.append(_dot(row, f"{build.id}, {each.key.cylinder}") if many else row)
    if not points or phase is None:
        return None
    title = f"Leak area {'after' if phase.kind == 'run' else 'at'} {phase.title}, mm²"
    data = {"groups": groups, "points": points, "limits": [limit_row(view)]}
    panel = Panel("", data, {"unit": "mm²"}, label=title, axis=title)
    many = len(view.program.builds) > MANY
    caption = "The page of a build has the intervals." if many else "95\u00a0% intervals."
    caption += " Open, dashed: not yet to rely on." if any(each.flags & DOUBTFUL for each in told) else ""
    columns = (
        Column("Build"), Column("Cylinder", numeric=True), Column("Coating"),
        Column("Leak area", "mm²", numeric=True, measure=CRANKCASE.id),
    )  # fmt: skip
    rows = [
        Row((Cell(each.key.engine), Cell(str(each.key.cylinder)), Cell(view.coating_title(each.key.coating)),
             view.cell(each)))
        for each in told
    ]  # fmt: skip
    table = Table("leak-area-of-cylinders-values", columns, rows)
    return Figure("leak-area-of-cylinders", "upright", (panel,), "", caption, table)


def _standing_out(view: View, build: Build, cylinder: int, coating: str, means: Sequence[Point]) -> list[ChartRow]:
    """Thin line of one cylinder that is not seated, named where it stands furthest from its build; else nothing."""
    points = line(view, build, cylinder)
    drawn = [thin_row(view, point, f"{build.id} cylinder {cylinder}", coating) for point in points]
    state = view.state(build, cylinder)
    if state is None or state.word not in {"not seated", "still seating", ABOVE} or not drawn:
        return []
    mean = {point.x: point.value.value or 0.0 for point in means}
    off = [(point.value.value or 0.0) - mean.get(point.x, point.value.value or 0.0) for point in points]
    furthest = off.index(max(off))
    return [{**row, "label": f"{build.id} cyl. {cylinder}"} if n == furthest else row for n, row in enumerate(drawn)]


def _mean_table_row(view: View, build: Build, coating: str, point: Point) -> Row:
    phase = view.program.phase(point.phase)
    return Row(
        (
            view.coating_cell(coating),
            Cell(build.id, href=view.href_engine(build)),
            Cell(phase.title),
            Cell(distance(view, build, phase)),
            Cell(words.number(point.value.value, 3)),
            Cell(str(point.value.n)),
        )
    )


def _told_phase(view: View) -> Phase | None:
    """The checked phase the answer rests on, else the last of the run-in."""
    checked = checked_phases(view)
    told = [each for each in checked if each.id == view.program.primary_phase]
    told = told or [each for each in checked if each.kind == "run"]
    return told[-1] if told else None


def _coating_reading(view: View) -> str:
    """Where the cylinders of each coating stand at the phase the answer rests on, else when the run-in ends."""
    phase = _told_phase(view)
    if phase is None:
        return ""
    clauses: list[str] = []
    odd = None
    found = {coating: [v for v in view.values(CRANKCASE.id, phase=phase.id, at="", coating=coating)
                       if v.value is not None or (v.status == "below" and v.high is not None)]
             for coating in view.program.coatings}  # fmt: skip
    bounded = any(each.value is None for own in found.values() for each in own)
    for coating, own in found.items():
        if own:
            leak = "" if clauses else " cylinders leak"
            told = _known_and_below(view, own) if bounded else bare_range(numbers(own))
            clauses.append(f"{view.coating_title(coating)}{leak} {told}")
            odd = odd or stands_out(own)
    if not clauses:
        return f"No check was taken at {phase.title} yet."
    where = "; ".join(clauses) if bounded else words.with_unit(words.listed(clauses), "mm²")
    where = f"{words.sentence(phase.title)}: {where}."
    if odd is not None:
        where += f" {odd.key.engine} cylinder {odd.key.cylinder} stands out."
    return where


def _known_and_below(view: View, own: Sequence[Value]) -> str:
    """Leak areas of some cylinders, and of how many only a limit is known: "0.46 mm² in one of twelve, ..."."""
    known, bounds = [v for v in own if v.value is not None], [v for v in own if v.value is None]
    if not bounds:
        return range_of(numbers(known))
    if not known:
        return below_text(view, bounds)
    of = f"in {words.count(len(known))} of {words.count(len(own))}"
    rest = "the other" if len(bounds) == 1 else "the others"
    return f"{range_of(numbers(known))} {of}, {rest} {below_text(view, bounds)}"


# ---- builds ---------------------------------------------------------------------------------------------------------


def seating_of_build(view: View) -> Cell:
    """The seating distance of a build, of each of its coatings where it holds several."""
    build = view.the_build
    found = [_scale(view, build, coating) for coating in build.coatings]
    known = [view.text(scale, interval=False) for scale in found if scale is not None and scale.value is not None]
    return Cell(" / ".join(known) or words.DASH)


def seating_table(view: View) -> Sequence[Block]:
    """Seating distance by coating and build, and what the cylinders still had to lose when the run-in ended."""
    program = view.program
    run_in = [phase for phase in checked_phases(view) if phase.kind == "run"]
    end = run_in[-1] if run_in else None
    rows = []
    for coating in program.coatings:
        for build in program.builds:
            if coating not in build.coatings:
                continue
            scale = _scale(view, build, coating)
            lose = view.values(TO_LOSE.id, engine=build, phase=end.id, coating=coating) if end else []
            known = [(value.value, value) for value in lose if value.value is not None]
            most = max(known, key=lambda pair: pair[0])[1] if known else None
            odd = apart(view, build, build.assemblies[0], coating)
            rows.append(
                Row(
                    (
                        view.coating_cell(coating),
                        Cell(build.id, href=view.href_engine(build)),
                        Cell(view.text(scale), note=_scale_note(view, scale, odd)),
                        Cell(
                            lose_text(view, most) if most else words.DASH,
                            note=f"cylinder {most.key.cylinder}" if most else "",
                        ),
                        tally(view, build, coating),
                    )
                )
            )
    columns = (
        Column("Coating"), Column("Build"), Column("Seating distance", "km", numeric=True, measure=SCALE.id),
        Column(f"Most still to lose at {end.title if end else 'the end'}", "mm²", numeric=True, measure=TO_LOSE.id),
        Column(TALLY),
    )  # fmt: skip
    note = (
        "Seating distance: sliding over which the leak still to lose falls to 37\u00a0%, fitted to the fired checks of "
        "the cylinders of one coating in a build together. 95\u00a0% intervals."
    )
    said = [Text(_state_sentence(view)), *([Text((Cell(text),))] if (text := _waiting_sentence(view)) else [])]
    return (Table("seating-by-build", columns, rows, _distance_sentence(view), note=note), *said)


def _scale(view: View, build: Build, coating: str) -> Value | None:
    return scale_of(view, build, build.assemblies[0], coating)


def _scales(view: View, coating: str) -> list[Value]:
    builds = [build for build in view.program.builds if coating in build.coatings]
    return [scale for build in builds if (scale := _scale(view, build, coating)) is not None]


def _scale_note(view: View, scale: Value | None, odd: Sequence[int]) -> str:
    """What a distance is without, or why there is none."""
    if scale is None or scale.status == "refused":
        why = scale.reason if scale is not None else "no-reading"
        if why == "few-checks":
            return f"{words.counted(scale.n if scale is not None else 0, 'check')} where four are needed"
        return view.why(why)
    if "not-as-planned" in scale.flags:
        return "a run before it was not run as planned"
    if odd:
        noun = words.plural(len(odd), "cylinder")
        own = "over a distance of its own" if len(odd) == 1 else "over distances of their own"
        return f"without {noun} {words.numbers_listed(odd)}, {own}"
    return ""
