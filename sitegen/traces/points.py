"""What every form of a trace file comes to before it is metres: rows of numbers, and what is said of them above."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from sitegen import units

Floats = npt.NDArray[np.float64]

LEAST_POINTS = 3  # fewer are no trace
STATED = ("ra", "rq", "rz", "rt", "rk", "rpk", "rvk")  # results an instrument may write beside its points
COUNT = ("points", "numpoints", "number of points", "count", "samples", "number of samples")
HEIGHTS = ("z", "y", "height", "raw", "profile", "deflection", "amplitude")  # what a column of them is called
SPACING = ("spacing", "step", "x step", "dx", "resolution", "sampling interval")
_MARKS = re.compile(r"[:=;\t,]")  # after the key of a line above the points
_UNIT = re.compile(r"\[([^\[\]]*)\]|\(([^()]*)\)|\bin\s+(\S+)$|\s(\S+)$")
_SPELT = {"micrometer": "um", "micrometre": "um", "micron": "um", "millimeter": "mm", "millimetre": "mm",
          "nanometer": "nm", "nanometre": "nm"}  # fmt: skip


@dataclass(frozen=True)
class Asked:
    """What the record says of a trace file; "" and None: to be found in the file itself."""

    x: str = ""  # header of the column, or name of the element
    z: str = ""
    valid: str = ""
    x_unit: str = ""
    z_unit: str = ""
    step: float | None = None  # m, between points of a file with heights only
    sheet: str = ""  # of a workbook
    section: int | None = None  # which trace of a file that holds several, from 1
    encoding: str = ""


@dataclass(frozen=True)
class Points:
    """Rows of numbers that belong together, as the file writes them."""

    columns: Sequence[Floats]  # nan where a cell is no number
    lines: Sequence[int]  # of each row
    headers: Sequence[str]  # "" where there are none
    units: Sequence[str]
    above: int  # line above the first row
    facts: Mapping[str, str] = field(default_factory=dict)  # key -> value, of what stands above
    count: str = ""  # of points, as announced for these rows
    stated: Mapping[str, float] = field(default_factory=dict)  # "ra" ... -> m
    over: Sequence[tuple[int, int]] = ()  # rows with too many cells, from 0, and the first column too many
    goes_on: bool = False  # nothing but the headers of the rows before stands above them, once more


def metres(text: str) -> float | None:
    """Metres a unit of length has; None where it is none."""
    plain = text.strip().strip("[]()")
    try:
        return units.converter(_SPELT.get(plain.casefold().removesuffix("s"), plain), "length")[0]
    except units.UnitError:
        return None


def unit_of(header: str, cell: str = "") -> str:
    """Unit beside a header, or in the row of units below it."""
    if cell:
        return cell
    match = _UNIT.search(header.strip())
    return next((group for group in match.groups() if group is not None), "") if match else ""


def stated_in(rows: Sequence[Sequence[str]]) -> dict[str, float]:
    """Results the instrument wrote: the last field of a line named Ra, Rz ... that is a length."""
    found: dict[str, float] = {}
    for cells in rows:
        key = cells[0].strip(" #%").casefold() if cells else ""
        if key not in STATED or key in found:
            continue
        values = [cell.strip() for cell in cells[1:]]  # a unit may have a field of its own
        for value in [*reversed(values), *reversed([" ".join(pair) for pair in pairwise(values)])]:
            try:
                found[key] = units.parse(value, "length")
                break
            except units.UnitError:
                continue
    return found


def fields_of(line: str, cells: Sequence[str], blanks: bool) -> Sequence[str]:
    """Fields of a line above the points; `cells` are what the separator of the points makes of it, perhaps `blanks`."""
    return cells if not blanks and len(cells) > 1 else _MARKS.split(line)


def announced(facts: Mapping[str, str]) -> str:
    """The number of points a file announces, "" where it does not."""
    return next((text for key in COUNT if (text := facts.get(key, "")).isascii() and text.isdigit()), "")
