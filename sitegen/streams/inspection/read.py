"""Inspection records to readings."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from sitegen.problems import listed
from sitegen.program.model import Program, RecordSource
from sitegen.streams.inspection.fields import FIELDS, FINDINGS, NUMBERS, RINGS
from sitegen.streams.inspection.images import check_images
from sitegen.tables.checks import same_again
from sitegen.tables.reading import Sheet, read_stream
from sitegen.vocabulary import Readings

_SAID = (*NUMBERS, *FINDINGS)


def read(program: Program, sources: Sequence[RecordSource]) -> Readings:
    """Readings of all inspections; see `tables.reading.read_stream`.

    An image that cannot be shown is taken out of its row with a warning; the rest of the row stays.
    """
    return read_stream(program, sources, FIELDS, (_something, _bands, _grades, _repeats, check_images))


def _something(program: Program, sheet: Sheet) -> None:
    del program
    said = sheet.frame[[*_SAID, "image", "remark"]].notna().any(axis=1)
    sheet.set_aside(~said, "no-figure", "", "nothing was seen in this row", "a number, a finding, an image or a remark")


def _bands(program: Program, sheet: Sheet) -> None:
    """A contact band belongs to the face of a ring."""
    del program
    band = sheet.frame[["band_share", "band_width"]].notna().any(axis=1)
    sheet.set_aside(
        band & ~sheet.frame["part"].isin(RINGS),
        "band-not-of-ring",
        "part",
        "a contact band is entered for a part that has no ring face",
        listed(RINGS),
    )


def _grades(program: Program, sheet: Sheet) -> None:
    """Grades are those of the program's scale; without a scale they mean nothing, and the rest of the row stays."""
    grade = sheet.frame["grade"]
    scale = program.inspection
    if scale is not None:
        wrong = grade.notna() & ~grade.isin(list(scale.grades))
        stated = listed(f"{each:g}" for each in scale.grades)

        def what(at: int) -> str:
            return f"{grade.iat[at]:g} is no grade of the program's scale"

        sheet.set_aside(wrong, "grade-not-on-scale", "grade", what, stated)
        return
    told: set[str] = set()
    for at in np.flatnonzero(grade.notna().to_numpy() & sheet.open).tolist():
        file, _ = sheet.place(at)
        if file not in told:
            told.add(file)
            why = "grades are entered, but the program file states no scale of grades, so that none of them is used"
            sheet.tell(at, "no-grade-scale", "grade", why, "inspection: grades and best, in program.yaml")


def _repeats(program: Program, sheet: Sheet) -> None:
    """One inspector's looks at one place are numbered; rows that only add an image or a remark may be many."""
    del program
    filled = sheet.frame[list(_SAID)].notna()
    state = sheet.frame[["engine", "cylinder", "phase", "part", "place", "inspector", "repeat"]].join(filled)
    why = "the same inspector judged the same place, without another repeat number, in"
    same_again(sheet, state, sheet.open & filled.any(axis=1).to_numpy(), "repeat", why)
