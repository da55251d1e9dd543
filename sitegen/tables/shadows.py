"""Readings of an instrument that was found off: which they are, and what they would be with all of its error in them.

A reading in doubt stays what was read. Beside it stands what it would be if the whole error had been there already.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
import numpy.typing as npt

from sitegen.program.calibrated import Doubt
from sitegen.tables.rows import given
from sitegen.vocabulary import Field, Readings

Floats = npt.NDArray[np.float64]


def read_with(fields: Iterable[Field], readings: Readings, instrument: str) -> list[tuple[int, str]]:
    """Rows in which something was read with an instrument, each with its day; "" where none is written."""
    rows: set[int] = set()
    named: dict[str, list[int]] = {}
    for each in fields:
        if each.by and each.by not in named:
            named[each.by] = [n for n, name in enumerate(readings.cells(each.by)) if name == instrument]
        if each.by and named[each.by]:
            cells = readings.cells(each.name)
            rows |= {n for n in named[each.by] if given(cells[n])}
    days = readings.cells("date") if rows else ()
    return [(n, str(days[n])[:10] if days and given(days[n]) else "") for n in sorted(rows)]


def shifted(fields: Iterable[Field], readings: Readings, doubt: Doubt, rows: Sequence[int]) -> Readings:
    """The same readings with the numbers of these rows that the instrument read less what it showed too much.

    A row that then holds what cannot be is not used.
    """
    frame = readings.frame.copy()
    use = frame["use"].to_numpy(dtype=object, copy=True)
    among = np.zeros(len(frame), dtype=bool)
    among[list(rows)] = True
    for each in fields:
        if not each.by or each.kind != "number" or doubt.gauge not in {"", each.gauge}:
            continue
        own = among & (frame[each.by] == doubt.instrument).to_numpy()
        column = frame[each.name].to_numpy(dtype=float, copy=True)
        column[own] = as_true(doubt, column[own], 100.0 if each.unit == "%" else 1.0)
        frame[each.name] = column
        low, high = (np.nan if end is None else end for end in (each.low, each.high))
        use[own & ((column < low) | (column > high)) & (use == "")] = "outside-limits"
    frame["use"] = use
    return readings.but(frame=frame, rows=None, columns=None)


def as_true(doubt: Doubt, shown: Floats, scale: float = 1.0) -> Floats:
    """What was there where an instrument showed this, if it was off by the whole error; `scale` units in one of SI.

    >>> as_true(Doubt("", "", "G", ((100.0, 2.0), (200.0, 4.0))), np.array([50.0, 150.0])).tolist()
    [48.0, 147.0]
    """
    at, error = np.array(doubt.errors, dtype=float).T
    less: Floats = shown - scale * np.interp(shown / scale, at, error)
    return less


def gain(doubt: Doubt) -> float:
    """How many times too high an instrument shows heights: of its standards, the one shown furthest off; 1 none."""
    shares = [error / at for at, error in doubt.errors if at > 0]
    return 1 + max(shares, key=abs, default=0.0)
