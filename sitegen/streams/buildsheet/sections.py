"""What the build sheet says on engine and cylinder pages. Formats what the steps concluded; computes nothing."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from sitegen.declarations import OfBuild, OfCylinder, Section, Unusual
from sitegen.page import words
from sitegen.page.blocks import Axis, Block, Cell, Column, Row, Strip, Table, Text
from sitegen.page.view import View
from sitegen.program.model import Build
from sitegen.streams.buildsheet.fields import Reading
from sitegen.streams.buildsheet.measures import (
    BORE,
    CLEARANCE,
    FACE_WEAR,
    FLOOR,
    GAP,
    GAP_GAUGE,
    MASS,
    MASS_LOSS,
    SCATTER,
    TENSION,
    TENSION_LOSS,
)
from sitegen.tables.rows import Written
from sitegen.vocabulary import Value, numbers

RINGS = ("top", "second", "oil")
RATES = ("wear.mass_per_km", "wear.mass_per_hour")  # measures of what crosses streams
_BY_RING = (GAP, GAP_GAUGE, CLEARANCE, MASS, TENSION, TENSION_LOSS)


def engine_sheet(view: View) -> Sequence[Block]:
    """Gaps, clearances and the floor of every cylinder."""
    build = view.the_build
    first = _first_phase(view)
    if first is None:
        return ()
    rows = []
    for place in build.places:
        gap, clearance, mass = (view.value(m.id, first, "top", cylinder=place.cylinder) for m in (GAP, CLEARANCE, MASS))
        bore, floor = (view.value(m.id, first, cylinder=place.cylinder) for m in (BORE, FLOOR))
        rows.append(
            Row(
                (
                    Cell(
                        f"cylinder {place.cylinder}",
                        href=view.href_cylinder(build, place.cylinder),
                        coating=place.coating,
                    ),
                    Cell(place.lot),
                    *(view.cell(value) for value in (gap, bore, clearance, mass, floor)),
                )
            )
        )
    columns = (
        Column("Cylinder"), Column("Ring lot"), Column("Top ring gap", "mm", numeric=True, measure=GAP.id),
        Column("Bore", "mm", numeric=True, measure=BORE.id),
        Column("Land clearance", "mm", numeric=True, measure=CLEARANCE.id),
        Column("Top ring mass", "g", numeric=True, measure=MASS.id),
        Column("Leak of the end gaps alone", "mm²", numeric=True, measure=FLOOR.id),
    )  # fmt: skip
    reading = _gap_reading(view, first)
    note = "As measured, with the limit of error of the tool. End gaps alone: what perfectly seated rings would leak."
    return (Table(f"build-sheet-{build.id}", columns, rows, reading, note=note, wide=True),)


def unusual(view: View) -> Iterator[Unusual]:
    """A top ring gap, or a mass lost, whose bounds clear those of all other cylinders."""
    first = _first_phase(view)
    gaps = [v for v in view.values(GAP.id, engine=view.the_build, phase=first, at="top") if v.value is not None]
    lost = [v for v in view.values(MASS_LOSS.id, engine=view.the_build, at="top") if v.value is not None]
    for values, anchor, what in ((gaps, "build-sheet", "gap"), (lost, "ring-mass", "loss of mass")):
        odd = _clear_of_the_rest(values) if len(values) > 2 else None
        if odd is not None:
            widest = all((odd.value or 0.0) >= (other.value or 0.0) for other in values)
            which = {"gap": ("narrowest", "widest"), "loss of mass": ("least", "largest")}[what][widest]
            yield Unusual(f"Cylinder {odd.key.cylinder} has the {which} {what}", anchor, 30,
                          f", {view.text(odd, unit=True)}")  # fmt: skip


def _gap_reading(view: View, phase: str) -> str:
    """How far apart the top ring gaps of one engine are: a difference that is not the coating's."""
    values = view.values(GAP.id, engine=view.the_build, phase=phase, at="top")
    gaps = [(v.value, v) for v in values if v.value is not None]
    if len(gaps) < 2:
        return ""
    (narrow, low), (wide, high) = min(gaps, key=lambda gap: gap[0]), max(gaps, key=lambda gap: gap[0])
    least, most = words.number(narrow, 2), words.number(wide, 2)
    if low.high is None or high.low is None or low.high >= high.low:
        told = words.with_unit(least if narrow == wide else f"{least} to {most}", "mm")
        return f"Top ring gaps are alike within the feelers' error: {told}."
    return (
        f"Top ring gaps run from {least} (cylinder {low.key.cylinder}) to "
        f"{words.with_unit(most, 'mm')} (cylinder {high.key.cylinder}); a wider gap leaks more "
        "whatever the coating."
    )


def ring_mass(view: View) -> Sequence[Block]:
    """What the top rings lost, a row a cylinder on one axis."""
    build = view.the_build
    rows = []
    losses: list[Value] = []
    wears: list[Value] = []
    for place in build.places:
        lost = _only(view.values(MASS_LOSS.id, engine=build, cylinder=place.cylinder, at="top"))
        worn = _only(view.values(FACE_WEAR.id, engine=build, cylinder=place.cylinder, at="top"))
        if lost is None and worn is None:
            continue
        losses += [lost] if lost is not None and lost.value is not None else []
        wears += [worn] if worn is not None and worn.value is not None else []
        href = view.href_cylinder(build, place.cylinder)
        cylinder = Cell(f"cylinder {place.cylinder}", href=href, coating=place.coating)
        rows.append(Row((cylinder, view.cell(lost), view.cell(worn))))
    if not rows:
        return ()
    columns: tuple[Column, ...] = (
        Column("Cylinder"), Column("Top ring mass lost", "mg", numeric=True, measure=MASS_LOSS.id),
        Column("Face wear from the gap opening", "µm", numeric=True, measure=FACE_WEAR.id),
    )  # fmt: skip
    bounded = all(value.low is not None for value in (*losses, *wears))
    note = (
        "Bounds from the limits of error of balance and feelers."
        if bounded
        else "Where the tool was not recorded there are no bounds."
    )
    note = f"{note} {_weighed(view)}".strip()
    if wears and all(worn.low is not None and worn.low <= 0 for worn in wears):  # nothing seen: not worth a column
        rows, columns = [Row(row.cells[:2]) for row in rows], columns[:2]
        note += (
            " The feelers see no face wear at any cylinder; they are blind below some micrometres, the balance is not."
        )
    reading = ""
    if losses:
        masses = words.span(min(v.value or 0.0 for v in losses), max(v.value or 0.0 for v in losses), 1)
        reading = f"The top rings lost {words.with_unit(masses, 'mg')}{_over(view, build)}."
        odd = _clear_of_the_rest(losses)
        reading += f" Cylinder {odd.key.cylinder} stands apart." if odd is not None else ""
    table = f"ring-wear-{build.id}"
    if len(losses) < 2:
        return (Table(table, columns, rows, reading, note=note),)
    return (Text((Cell(reading),), "reading"), _drawn(losses), Table(table, columns, rows, note=note))


def _drawn(losses: Sequence[Value]) -> Table:
    ends = [end for v in losses for end in (v.low, v.value, v.high) if end is not None and math.isfinite(end)]
    axis = Axis.over(1, ends)
    rows = []
    for v in losses:
        middle = axis.place(v.value or 0.0)
        low, high = (middle if end is None or math.isinf(end) else axis.place(end) for end in (v.low, v.high))
        label = f"cylinder {v.key.cylinder}: {words.value_text(v)} mg"
        strip = Strip(low, middle, high, False, v.key.coating, label)
        rows.append(Row((Cell(f"cylinder {v.key.cylinder}"), Cell("", strip=strip), Cell(words.value_text(v)))))
    columns = (Column("Cylinder"), Column("Top ring mass lost"), Column("mg", numeric=True))
    return Table(f"ring-mass-{losses[0].key.engine}", columns, rows, stack=True, axis=axis)


def ring_tension(view: View) -> Sequence[Block]:
    """What rings lost of their tension, a row a cylinder, where it was measured twice."""
    build = view.the_build
    lost = [value for value in view.values(TENSION_LOSS.id, engine=build) if value.value is not None]
    if not lost:
        return ()
    rings = [ring for ring in RINGS if any(value.key.at == ring for value in lost)]
    by_place = {(value.key.cylinder, value.key.at): value for value in lost}
    rows = [
        Row((Cell(f"cylinder {place.cylinder}", href=view.href_cylinder(build, place.cylinder), coating=place.coating),
             *(view.cell(by_place.get((place.cylinder, ring))) for ring in rings)))
        for place in build.places
    ]  # fmt: skip
    columns = [Column("Cylinder")]
    columns += [Column(f"{words.sentence(ring)} ring", "%", numeric=True, measure=TENSION_LOSS.id) for ring in rings]
    note = (
        "Share of the tangential force before the first start; bounds by the limits of error of both readings. Each "
        "ring by itself: of a dozen that lost nothing, one passes its bounds by chance in about half of the builds."
    )
    return (Table(f"ring-tension-{build.id}", columns, rows, _tension_reading(lost), note=note),)


def _tension_reading(lost: Sequence[Value]) -> str:
    """Which rings are seen to have lost tension, and how little is not seen."""
    bounded = [value for value in lost if value.low is not None and value.high is not None]
    if not bounded:
        return "No tension gauge was recorded, so that nothing tells how small a loss would be seen."
    halves = [((value.high or 0.0) - (value.low or 0.0)) / 2 for value in bounded]
    limit = words.with_unit(words.span(min(halves), max(halves), 1), "%")
    seen = [value for value in bounded if (value.low or 0.0) > 0 or (value.high or 0.0) < 0]
    if not seen:
        return f"No loss of tension is seen; one of less than {limit} would not be."
    said = [f"cylinder {value.key.cylinder} {value.key.at} ring" for value in seen]
    named = (
        words.listed(said) if len(said) < 4 else f"{words.count(len(said))} of {words.counted(len(bounded), 'ring')}"
    )
    rest = f"; at the others none is, below {limit}" if len(seen) < len(bounded) else ""
    return f"A change of tension is seen at {named}{rest}."


def _weighed(view: View) -> str:
    """How the rings were weighed: how often, how cleaned, and whether buoyancy of air was corrected."""
    rows = [row for row in view.records("buildsheet", Reading, used=True) if row.mass == row.mass]
    if not rows:
        return ""
    times: dict[tuple[float, Written, str], int] = {}
    for row in rows:
        ring = (row.cylinder, row.ring, row.phase)
        times[ring] = times.get(ring, 0) + 1
    least, most = min(times.values()), max(times.values())
    often = words.from_to(str(least), str(most))
    told = [
        "Each ring was weighed once a state"
        if most == 1
        else f"Each ring was weighed {often} times a state; the scatter is in the bounds."
    ]
    if most == 1:
        pool = next(iter(view.values(SCATTER.id)), None)
        told[0] += (
            f"; the bounds hold the scatter of a weighing, {view.text(pool, unit=True)} by rings weighed again."
            if pool is not None
            else ": the bounds are those of the balance alone, without what cleaning and drying scatter."
        )
    cleaned = sorted({row.cleaning for row in rows if isinstance(row.cleaning, str)})
    if len(cleaned) > 1:
        told.append(f"Rings were not all cleaned alike before weighing: {words.listed(cleaned)}.")
    elif cleaned:
        told.append(f"Before weighing: {cleaned[0]}.")
    else:
        told.append("How rings were cleaned before weighing was not recorded.")
    ways = sorted({row.buoyancy for row in rows if isinstance(row.buoyancy, str)})
    told.append(_BUOYANCY[tuple(ways)])
    return " ".join(told)


_SMALL = "of an iron or steel ring that is less than 0.02\N{NO-BREAK SPACE}% of what it lost"
_BUOYANCY = {
    (): f"Whether buoyancy of air was corrected was not recorded; {_SMALL}.",
    ("ignored",): f"Buoyancy of air was ignored: {_SMALL}.",
    ("corrected",): "Buoyancy of air was corrected.",
    (
        "corrected",
        "ignored",
    ): "Buoyancy of air was corrected in some weighings only; where a loss is of two unlike ones, "
    "its bounds are wider by what air bears of the ring.",
}


def _over(view: View, build: Build) -> str:
    """Distance a build has run, as the end of a sentence."""
    run = [value.value for value in view.values("exposure.km", engine=build, cylinder=0) if value.value is not None]
    return f" in {words.with_unit(words.number(max(run), 0), 'km')}" if run else ""


def _clear_of_the_rest(values: Sequence[Value]) -> Value | None:
    """The one value whose bounds clear those of all others; None where there is none."""
    for each in values:
        others = [other for other in values if other is not each]
        if not others or each.low is None or each.high is None:
            continue
        if all(other.low is not None and each.high < other.low for other in others):
            return each
        if all(other.high is not None and each.low > other.high for other in others):
            return each
    return None


def _least_most(values: Sequence[float], decimals: int | None) -> str:
    """From the least to the most of some values; one number where they read alike."""
    least, most = min(values), max(values)
    places = words.decimals_for((most - least) / 2) if decimals is None and most > least else decimals
    return words.from_to(words.number(least, places), words.number(most, places))


def wear_by_coating(view: View) -> Sequence[Block]:
    """What the top rings of every build that was taken apart have lost, by coating."""
    rows = []
    lost_over: dict[str, dict[str, list[float]]] = {}  # distance -> coating -> masses: only these compare
    coatings = [view.coating.id] if view.coating is not None else view.program.coatings
    for coating in coatings:
        for build in view.builds:
            lost = view.values(MASS_LOSS.id, engine=build, at="top", coating=coating)
            known = [value.value for value in lost if value.value is not None]
            if known:
                distance = _over(view, build).removeprefix(" in ")
                lost_over.setdefault(distance, {}).setdefault(coating, []).extend(known)
                masses = _least_most(known, 1)
                engine = Cell(build.id, href=view.href_engine(build))
                rates = [numbers(view.values(rate, engine=build, at="top", coating=coating)) for rate in RATES]
                shown = (Cell(_least_most(each, None) if each else words.DASH) for each in rates)
                rows.append(
                    Row((view.coating_cell(coating), engine, Cell(masses), *shown, Cell(str(len(known))),
                         Cell(distance)))
                )  # fmt: skip
    if not rows:
        return ()
    told = []
    for distance, by_coating in lost_over.items():
        named = len(coatings) > 1
        clauses = [
            f"{view.coating_title(coating) + ' ' if named else ''}{_least_most(masses, 1)}"
            for coating, masses in by_coating.items()
        ]
        over = f" in {distance}" if distance else ""
        told.append(f"{words.with_unit(words.listed(clauses), 'mg')}{over}")
    reading = f"Top rings: {'; '.join(told)}."
    columns = (
        Column("Coating"), Column("Build"), Column("Top ring mass lost", "mg", numeric=True, measure=MASS_LOSS.id),
        *(Column("As a rate", view.measures[rate].unit, numeric=True, measure=rate) for rate in RATES),
        Column("Rings", numeric=True), Column("Run"),
    )  # fmt: skip
    note = (
        "From the least to the most of the cylinders of a build; bounds stand on the page of the build. Builds that "
        "ran different distances do not compare, nor do their rates: rings wear fastest at first."
    )
    name = "ring-mass-lost" if view.coating is None else f"{view.program.id}-ring-mass-lost"
    return (Table(name, columns, rows, reading, note=note),)


def cylinder_sheet(view: View) -> Sequence[Block]:
    """Every number of the build sheet for one cylinder, before and after."""
    build, number = view.the_build, view.cylinder
    phases = [phase for phase in view.phases if "buildsheet" in phase.records]
    rows = []
    for measure in _BY_RING:
        for ring in RINGS:
            values = [view.value(measure.id, phase.id, ring) for phase in phases]
            if any(value is not None for value in values):
                title = f"{words.sentence(measure.title)}, {ring} ring"
                rows.append(Row((Cell(f"{title}, {measure.unit}"), *(view.cell(value) for value in values))))
    for measure in (BORE, FLOOR):
        values = [view.value(measure.id, phase.id) for phase in phases]
        if any(value is not None for value in values):
            cells = (view.cell(value) for value in values)
            rows.append(Row((Cell(f"{words.sentence(measure.title)}, {measure.unit}"), *cells)))
    if not rows:
        return ()
    columns = (Column("Measured"), *(Column(phase.title, numeric=True) for phase in phases))
    lost = _only(view.values(MASS_LOSS.id, engine=build, cylinder=number, at="top"))
    reading = (
        f"The top ring lost {view.text(lost, unit=True)}{_over(view, build)}."
        if lost is not None and lost.value is not None
        else ""
    )
    note = _weighed(view) if reading else ""
    return (Table(f"build-sheet-{build.id}-{number}", columns, rows, reading, note=note),)


def _only(values: Sequence[Value]) -> Value | None:
    return values[0] if values else None


def _first_phase(view: View) -> str | None:
    for phase in view.phases:
        if "buildsheet" in phase.records and view.values(GAP.id, engine=view.the_build, phase=phase.id):
            return phase.id
    return None


def lost_of_build(view: View) -> Cell:
    """What the top rings of a build lost, least to most."""
    found = numbers(view.values(MASS_LOSS.id, engine=view.the_build, at="top"))
    return Cell(words.span(min(found), max(found), 1) if found else words.DASH)


def gap_of_cylinder(view: View) -> Cell | None:
    """Its top ring gap as built, beside those of the others."""
    first = _first_phase(view)
    return view.among(view.value(GAP.id, first, "top")) if first is not None else None


def lost_of_cylinder(view: View) -> Cell | None:
    """What its top ring lost, beside what the others lost."""
    return view.among(_only(view.values(MASS_LOSS.id, engine=view.the_build, cylinder=view.cylinder, at="top")))


OF_CYLINDER = (
    OfCylinder("Top ring gap", 10, gap_of_cylinder),
    OfCylinder("Top ring lost", 40, lost_of_cylinder),
)
SECTIONS = (
    Section("build-sheet", "Build sheet", 40, "engine", engine_sheet, place="rest"),
    Section("ring-mass", "Ring mass", 48, "engine", ring_mass, "half", "Bounds, weighing and cleaning"),
    Section("ring-tension", "Ring tension", 41, "engine", ring_tension, place="rest"),
    Section("build-sheet", "Build sheet", 25, "cylinder", cylinder_sheet, place="rest"),
    Section("wear", "Ring mass lost", 40, "program", wear_by_coating, place="rest"),
    Section("wear", "Ring mass lost", 20, "coating", wear_by_coating, place="rest"),
)
OF_BUILD = (OfBuild("Top ring lost", "mg", 20, lost_of_build, MASS_LOSS.id),)
