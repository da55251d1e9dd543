"""What the build sheet says on engine and cylinder pages. Formats what the steps concluded; computes nothing."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sitegen.streams.buildsheet.measures import (
    BORE,
    CLEARANCE,
    FACE_WEAR,
    FLOOR,
    GAP,
    GAP_GAUGE,
    MASS,
    MASS_LOSS,
    TENSION,
)
from sitegen.vocabulary import Block, Cell, Column, Row, Section, Table, Value

RINGS = ("top", "second", "oil")
_BY_RING = (GAP, GAP_GAUGE, CLEARANCE, MASS, TENSION)


def engine_sheet(view: Any) -> Sequence[Block]:
    """Gaps, clearances and the floor of every cylinder; what the top rings lost."""
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
                    *(Cell(view.text(value)) for value in (gap, bore, clearance, mass)),
                    Cell(view.text(floor), note=view.why(floor.reason) if floor is not None and floor.reason else ""),
                )
            )
        )
    columns = (
        Column("Cylinder"), Column("Ring lot"), Column("Top ring gap", "mm", numeric=True),
        Column("Bore", "mm", numeric=True),
        Column("Land clearance", "mm", numeric=True), Column("Top ring mass", "g", numeric=True),
        Column("Gaps alone leak", "mm²", numeric=True),
    )  # fmt: skip
    reading = _gap_reading(view, first)
    note = "As measured, with the limit of error of the tool. Gaps alone: what perfectly seated rings would still leak."
    blocks: list[Block] = [Table(f"build-sheet-{build.id}", columns, rows, reading, note=note, wide=True)]
    worn = _wear_table(view)
    return [*blocks, worn] if worn is not None else blocks


def _gap_reading(view: Any, phase: str) -> str:
    """How far apart the top ring gaps of one engine are: a difference that is not the coating's."""
    gaps = [v for v in view.values(GAP.id, engine=view.the_build, phase=phase, at="top") if v.value is not None]
    if len(gaps) < 2:
        return ""
    low, high = min(gaps, key=lambda v: v.value), max(gaps, key=lambda v: v.value)
    number = view.words.number
    if number(low.value, 2) == number(high.value, 2):
        return f"Top ring gaps are alike, {number(low.value, 2)} mm."
    return (
        f"Top ring gaps run from {number(low.value, 2)} mm (cylinder {low.key.cylinder}) to {number(high.value, 2)} mm "
        f"(cylinder {high.key.cylinder}); a wider gap leaks more whatever the coating."
    )


def _wear_table(view: Any) -> Table | None:
    build = view.the_build
    rows = []
    worst: Value | None = None
    for place in build.places:
        lost = _only(view.values(MASS_LOSS.id, engine=build, cylinder=place.cylinder, at="top"))
        worn = _only(view.values(FACE_WEAR.id, engine=build, cylinder=place.cylinder, at="top"))
        if lost is None and worn is None:
            continue
        if lost is not None and lost.value is not None and (worst is None or lost.value > (worst.value or 0)):
            worst = lost
        cylinder = Cell(
            f"cylinder {place.cylinder}", href=view.href_cylinder(build, place.cylinder), coating=place.coating
        )
        rows.append(Row((cylinder, Cell(view.text(lost)), Cell(view.text(worn)))))
    if not rows:
        return None
    columns = (
        Column("Cylinder"), Column("Top ring mass lost", "mg", numeric=True),
        Column("Face wear from the gap opening", "µm", numeric=True),
    )  # fmt: skip
    reading = ""
    if worst is not None:
        reading = f"The top ring of cylinder {worst.key.cylinder} lost most: {view.text(worst, unit=True)}."
    note = (
        "Bounds from the limits of error of balance and feelers. Feelers are blind below about 3 µm of face wear; "
        "the balance is not."
    )
    return Table(f"ring-wear-{build.id}", columns, rows, reading, note=note)


def cylinder_sheet(view: Any) -> Sequence[Block]:
    """Every number of the build sheet for one cylinder, before and after."""
    build, number = view.the_build, view.cylinder
    phases = [phase for phase in view.phases if "buildsheet" in phase.records]
    rows = []
    for measure in _BY_RING:
        for ring in RINGS:
            values = [view.value(measure.id, phase.id, ring) for phase in phases]
            if any(value is not None for value in values):
                title = f"{view.words.sentence(measure.title)}, {ring} ring"
                rows.append(Row((Cell(f"{title}, {measure.unit}"), *(Cell(view.text(value)) for value in values))))
    for measure in (BORE, FLOOR):
        values = [view.value(measure.id, phase.id) for phase in phases]
        if any(value is not None for value in values):
            cells = (Cell(view.text(value)) for value in values)
            rows.append(Row((Cell(f"{view.words.sentence(measure.title)}, {measure.unit}"), *cells)))
    if not rows:
        return ()
    columns = (Column("Measured"), *(Column(phase.title, numeric=True) for phase in phases))
    lost = _only(view.values(MASS_LOSS.id, engine=build, cylinder=number, at="top"))
    reading = f"The top ring lost {view.text(lost, unit=True)}." if lost is not None and lost.value is not None else ""
    return (Table(f"build-sheet-{build.id}-{number}", columns, rows, reading),)


def _only(values: Sequence[Value]) -> Value | None:
    return values[0] if values else None


def _first_phase(view: Any) -> str | None:
    for phase in view.phases:
        if "buildsheet" in phase.records and view.values(GAP.id, engine=view.the_build, phase=phase.id):
            return str(phase.id)
    return None


SECTIONS = (
    Section("build-sheet", "Build sheet", 40, "engine", engine_sheet),
    Section("build-sheet", "Build sheet", 25, "cylinder", cylinder_sheet),
)
