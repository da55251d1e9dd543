"""Rows of cells with an address: what a worksheet and a column file hold before header and rows are told apart."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

# What is held in memory at once: with these no table takes more than some 250 MB, whatever it is packed into.
ROW_LIMIT = 1 << 20  # rows of a worksheet: ECMA-376 part 1, 18.3.1.73, as office programs hold it
RECORD_ROWS = 50_000  # rows of a table of records, which people take; logs have no such limit
ROW_BYTES = 640  # bytes of a text a row, on the average
COLUMN_LIMIT = 2000  # columns below one header
CELL_LIMIT = 4_000_000  # cells of one table
TEXT_LIMIT = 1 << 25  # characters of one table


@dataclass(frozen=True)
class Odd:
    """A cell that holds no value: its reading is set aside."""

    code: str
    what: str
    expected: str = ""


@dataclass(frozen=True)
class Grid:
    """Cells as text: numbers in the shortest form that gives the same number again, dates in ISO, yes and no."""

    digest: str  # sha256 of the file
    encoding: str  # what it was read from, in words
    rows: Sequence[Sequence[str]]  # each as far as its last cell with something in it; none is blank
    numbers: Sequence[int]  # row number of each in the file
    letters: bool = True  # columns are named by letters too
    odd: Mapping[tuple[int, int], Odd] = field(default_factory=dict)  # row number and column from 0
    percent: Mapping[int, int] = field(default_factory=dict)  # column -> last row with a per cent format
    formulas: Mapping[int, Sequence[int]] = field(default_factory=dict)  # column -> row numbers
    merged: Sequence[tuple[str, int]] = ()  # range and its last row
    hidden_rows: Sequence[int] = ()
    hidden_columns: Sequence[tuple[int, int]] = ()  # first and last
    notes: Sequence[str] = ()

    def notes_below(self, header: int, width: int) -> list[str]:
        """What a reader of the table has to know of the rows below the header and its `width` columns."""
        said = list(self.notes)
        counts = {at: sum(row > header for row in rows) for at, rows in sorted(self.formulas.items()) if at < width}
        if counts := {at: count for at, count in counts.items() if count}:
            told = _listed(
                [f"{letters(at)} ({count} {'cell' if count == 1 else 'cells'})" for at, count in counts.items()]
            )
            said.append(f"formulas in {_columns(len(counts))} {told}: the values last calculated are read")
        percent = [letters(at) for at, row in sorted(self.percent.items()) if at < width and row > header]
        if percent:
            said.append(f"per cent format in {_columns(len(percent))} {_listed(percent)}: read as the per cent shown")
        merged = [name for name, last in self.merged if last > header]
        if merged:
            said.append(f"merged cells {_listed(merged)}: only the first cell of each holds something")
        rows = [str(row) for row in self.hidden_rows if row > header]
        if rows:
            said.append(f"hidden {'row' if len(rows) == 1 else 'rows'} {_listed(rows)}: read like the others")
        columns = [
            letters(at) for first, last in self.hidden_columns for at in range(max(first, 0), min(last + 1, width))
        ]
        if columns:
            said.append(f"hidden {_columns(len(columns))} {_listed(columns)}: read like the others")
        return said


def letters(column: int) -> str:
    """Letters of a column counted from 0.

    >>> letters(0), letters(27)
    ('A', 'AB')
    """
    from openpyxl.utils import get_column_letter

    return str(get_column_letter(column + 1))


def _columns(count: int) -> str:
    return "column" if count == 1 else "columns"


def _listed(names: Sequence[str]) -> str:
    more = f" and {len(names) - 8} more" if len(names) > 8 else ""
    return ", ".join(names[:8]) + more
