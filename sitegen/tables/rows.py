"""Readings row by row: as tuples with the columns as attributes, many times faster than the frame's own."""

from __future__ import annotations

import math
from collections import namedtuple
from collections.abc import Callable, Sequence
from functools import lru_cache
from typing import TYPE_CHECKING, TypeVar, get_type_hints

if TYPE_CHECKING:
    import pandas as pd

    from sitegen.vocabulary import Readings

R = TypeVar("R")
Written = str | float  # a cell of text: nan where nothing was written


class Recorded:
    """What every reading has; the class of a stream adds its fields: numbers (nan where missing) and text."""

    __slots__ = ()
    reading: str
    file: str
    row: int  # line in the file
    use: str  # "", or the code of the reason why it is not used
    engine: str
    phase: str


def rows_of(frame: pd.DataFrame, kind: type[R]) -> list[R]:
    """Every row of a frame whose column names are identifiers; a missing cell is nan.

    `kind` is a class that declares the columns asked for, with their types and nothing else. Raises LookupError for
    one the frame does not have.
    """
    declared: type = kind
    row: Callable[..., R] = _row(declared, tuple(frame.columns))
    return list(map(row, *(_cells(frame[name]) for name in frame.columns)))


def rows_in(readings: Readings, kind: type[R]) -> Sequence[R]:
    """The same of a stream's readings; of one build those of the whole table, which are made once for all builds."""
    return rows_of(readings.frame, kind) if readings.rows is None else readings.rows(kind)


def _cells(column: pd.Series) -> list[object]:
    """Cells as numbers and texts of Python. A column nobody filled in, as most are, is not looked at cell by cell."""
    if column.dtype.kind != "f" and column.isna().all():
        return [math.nan] * len(column)
    cells: list[object] = column.tolist()
    return cells


def given(cell: object) -> bool:
    """Whether a cell holds something; a missing one is nan, which alone does not equal itself, or None."""
    return cell is not None and cell == cell


@lru_cache(maxsize=64)  # making a class takes longer than filling it with the rows of one engine
def _row(kind: type, names: tuple[str, ...]) -> type:
    """The class that declares the columns, with the columns in it."""
    absent = [name for name in get_type_hints(kind) if name not in names]
    if absent:
        raise LookupError(f"{kind.__name__}: no column {', '.join(absent)} among {', '.join(names)}")
    return type(kind.__name__, (namedtuple("Row", names), kind), {"__slots__": ()})
