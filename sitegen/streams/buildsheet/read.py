"""Build-sheet records to readings."""

from __future__ import annotations

from collections.abc import Sequence

from sitegen.program.model import Program, RecordSource
from sitegen.streams.buildsheet.fields import FIELDS
from sitegen.tables.checks import fitting, in_force, same_again
from sitegen.tables.reading import Sheet, read_stream
from sitegen.vocabulary import Readings

OF_RING = (
    "gap_gauge",
    "gap_bore",
    "gap_angle",
    "chamfer",
    "mass",
    "tension",
    "radial_thickness",
    "land_diameter",
    "groove_width",
)
OF_BORE = ("bore",)
# What each number may be read with: a limit of error is in the unit of its tool.
_TOOLS = {
    "tool_gap": ("feeler", "ring-gauge"),
    "tool_mass": ("balance",),
    "tool_bore": ("bore-gauge", "micrometer"),
    "tool_tension": ("tension-gauge",),
}


def read(program: Program, sources: Sequence[RecordSource]) -> Readings:
    """Readings of all build sheets; see `tables.reading.read_stream`."""
    return read_stream(program, sources, FIELDS, (_subject, _tools, _calibrated, _repeats))


def _subject(program: Program, sheet: Sheet) -> None:
    """A row holds a number, and a number of a ring says of which ring."""
    del program
    ring = sheet.frame[list(OF_RING)].notna().any(axis=1)
    bore = sheet.frame[list(OF_BORE)].notna().any(axis=1)
    text = sheet.frame[["honing", "joint"]].notna().any(axis=1)
    sheet.set_aside(
        ~ring & ~bore & ~text, "no-figure", "", "nothing was measured in this row", "a number of a ring or of the bore"
    )
    sheet.set_aside(
        ring & sheet.frame["ring"].isna(),
        "ring-missing",
        "ring",
        "nothing says which ring was measured",
        "top, second or oil",
    )


def _tools(program: Program, sheet: Sheet) -> None:
    """A balance reads no gap."""
    for field, kinds in _TOOLS.items():
        fitting(sheet, field, program.definitions.tools, kinds)


def _calibrated(program: Program, sheet: Sheet) -> None:
    for field in _TOOLS:
        in_force(sheet, field, program.definitions.tools)


def _repeats(program: Program, sheet: Sheet) -> None:
    """The same numbers of the same part need repeat numbers; other numbers of it may stand in a row of their own."""
    del program
    filled = sheet.frame[[*OF_RING, *OF_BORE, "honing", "joint"]].notna()
    part = ["engine", "cylinder", "phase", "ring", "bore_height", "bore_angle", "repeat"]
    state = sheet.frame[part].join(filled)
    why = "the same was measured on the same part, without another repeat number, in"
    same_again(sheet, state, sheet.open, "repeat", why)
