"""What leak-down and seating say on the page of a coating. Formats what the steps concluded; computes nothing."""

from __future__ import annotations

from collections.abc import Sequence

from sitegen.page import words
from sitegen.page.blocks import Block, Cell, Column, Row, Table
from sitegen.page.view import View
from sitegen.program.model import Build, Phase
from sitegen.streams.leakdown.history import mm2, range_of
from sitegen.streams.leakdown.measures import (
    BUILD,
    SCALE,
)
from sitegen.streams.leakdown.sections.shared import (
    apart,
    none_because,
)
from sitegen.vocabulary import numbers


def _absent(view: View, build: Build, phase: Phase) -> str:
    """Why a build has no mean at a phase, where none was worked out."""
    if build.is_due(phase.id):
        return "to come"
    return "not taken" if phase in view.program.phases_of(build) else "not planned"


def coating_builds(view: View) -> Sequence[Block]:
    """All builds of a program with this coating: leak by phase as a table; the page gathers the programs."""
    coating = view.the_coating.id
    phases = [phase for phase in view.program.phases if "leakdown" in phase.records]
    rows = []
    for build in view.builds:
        cells = [Cell(build.id, href=view.href_engine(build), note="" if len(build.coatings) == 1 else "mixed engine")]
        for phase in phases:
            value = view.value(BUILD.id, phase.id, engine=build, cylinder=0, coating=coating)
            if value is not None and value.value is not None:
                cells.append(Cell(mm2(value.value)))
            else:
                cells.append(Cell(words.DASH, note=none_because(view, value) or _absent(view, build, phase)))
        scale = next(iter(view.values(SCALE.id, engine=build, at=build.assemblies[0].id, coating=coating)), None)
        odd = apart(view, build, build.assemblies[0], coating)
        noun = words.plural(len(odd), "cylinder")
        without = f"without {noun} {words.numbers_listed(odd)}" if odd else ""
        cells.append(view.cell(scale, without))
        rows.append(Row(cells))
    columns = (
        Column("Build"), *(Column(phase.title, "mm²", numeric=True) for phase in phases),
        Column("Seating distance", "km", numeric=True, measure=SCALE.id),
    )  # fmt: skip
    note = "Mean leak area to the crankcase over the cylinders of the build that hold this coating."
    return (Table(f"{view.program.id}-builds", columns, rows, _reading(view), note=note, wide=True, measure=BUILD.id),)


def _reading(view: View) -> str:
    """From the least to the most of the builds after the primary phase."""
    program = view.program
    phase = next((each for each in program.phases if each.id == program.primary_phase), None)
    found = numbers(view.values(BUILD.id, phase=phase.id, coating=view.the_coating.id)) if phase is not None else []
    if phase is None or not found:
        return "No build has a mean leak area at the phase that is compared."
    of = words.counted(len(found), "build")
    return f"Mean leak area {range_of(found)} at {phase.title}, {of}."
