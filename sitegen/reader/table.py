"""From text to a table: header, units row, and rows that keep their line in the file.

A row with more fields than the header is never made to fit: it could shift every column to its right. A row with too
few is kept and marked. Blank rows and a header repeated in the middle are skipped and noted. A table nobody has filled
in yet, a header and nothing below it, is a table of no rows.
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from sitegen.problems import shown
from sitegen.program.model import Address, LogSource, RecordSource, Where
from sitegen.reader.blocked import Blocked, entry_refusal, refusal
from sitegen.reader.find import find, find_cells
from sitegen.reader.grid import CELL_LIMIT, COLUMN_LIMIT, Grid, Odd, letters
from sitegen.reader.headers import bare, plain
from sitegen.reader.layout import Layout, Stated
from sitegen.reader.numbers import LONGEST, PLAIN
from sitegen.reader.records import SEPARATORS, UNIT, Records, records

Known = Callable[[Sequence[str]], int]
"""Counts how many of some header names a record entry can use."""

_FEW = 4_000  # cells of a table that are cut and read as fast one by one
_SHORT_AT_MOST = 0.5  # share of short rows above which the header does not describe the table
_QUOTE = "put in quotes a text that holds the separator"
_APART = {
    "": "clear what stands beside the table",
    "comma": "put in quotes a text or a number that holds a comma",
}  # by separator, how a row keeps to its columns
_NUMERIC = re.compile(r"[+-]?\d+([.,]\d+)*([eE][+-]?\d+)?", re.ASCII)


@dataclass(frozen=True)
class Table:
    """Header, units and rows as written. Arrays have one entry a data row."""

    separator: str  # a word of `records.SEPARATORS`
    layout: Layout
    header: tuple[str, ...]
    units: tuple[str, ...]  # of the units row; "" where it says none
    header_line: int
    lines: npt.NDArray[np.int64]  # line in the file
    short: npt.NDArray[np.bool_]  # rows with fewer fields than the header
    notes: tuple[str, ...]
    _rows: list[str] = field(repr=False)
    _mark: str = field(repr=False)
    cells: bool = False  # of a workbook or a column file: number marks and encodings do not apply
    letters: tuple[str, ...] = ()  # of the columns; empty where they have none
    percent: frozenset[int] = frozenset()  # columns with cells shown as per cent
    odd: Mapping[int, Mapping[int, Odd]] = field(default_factory=dict)  # column -> row -> why it holds no value

    def label(self, at: int) -> str:
        """The header of a column as it is told, with the letter of its column where it has one."""
        header = self.header[at]
        if not self.letters:
            return header or f"column {at + 1}"
        return f"{self.letters[at]}: {header}" if header else self.letters[at]

    def __len__(self) -> int:
        return len(self._rows)

    def columns(
        self, wanted: Collection[int], numeric: Collection[int] = (), decimal: str = "."
    ) -> dict[int, np.ndarray]:
        """Columns by position: text, or float64 (nan where empty) where asked for and every cell is a plain number.

        Text cells come as they stand in the file, blanks at their ends included.
        """
        if not self._rows:
            return {at: np.zeros(0, dtype=np.float64 if at in numeric else object) for at in wanted}
        if len(self._rows) * len(self.header) <= _FEW:
            return self._few(wanted, frozenset(numeric), decimal)
        try:
            found = self._parsed(wanted, frozenset(numeric), decimal)
        except (ValueError, OverflowError):  # some cell is no plain number; its reader finds out which, and why
            return self._parsed(wanted, frozenset(), decimal)
        odd = any(np.isinf(found[at]).any() or self._says_true_or_false(at, found[at]) for at in numeric)
        return self._parsed(wanted, frozenset(), decimal) if odd else found

    def _few(self, wanted: Collection[int], numeric: frozenset[int], decimal: str) -> dict[int, np.ndarray]:
        """The same of a table so small that its reader would take longer to begin than to read."""
        columns = [*zip(*(row.split(self._mark) for row in self._rows), strict=True)]
        figures = {at: _plain_numbers(columns[at], decimal) for at in numeric}
        found: dict[int, np.ndarray] = {at: each for at, each in figures.items() if each is not None}
        if len(found) < len(numeric):
            found = {}
        for at in set(wanted) - found.keys():
            found[at] = np.empty(len(self._rows), dtype=object)
            found[at][:] = columns[at]
        return found

    def _says_true_or_false(self, at: int, values: npt.NDArray[np.float64]) -> bool:
        """Whether the reader took a column of nothing but "true" and "false" for ones and zeros."""
        first = int(np.argmin(np.isnan(values)))
        return self._rows[first].split(self._mark)[at].strip().casefold() in {"true", "false"}

    def _parsed(self, wanted: Collection[int], numeric: frozenset[int], decimal: str) -> dict[int, np.ndarray]:
        import pandas as pd

        kinds: dict[Any, Any] = {at: "float64" if at in numeric else object for at in wanted}
        empty: dict[Any, Any] = {at: [""] for at in numeric}
        frame = pd.read_csv(
            io.StringIO("\n".join(self._rows) + "\n"),
            sep=self._mark,
            header=None,
            names=tuple(range(len(self.header))),
            usecols=np.array(sorted(wanted)),
            dtype=kinds,
            na_values=empty,
            keep_default_na=False,
            decimal=decimal,
            quoting=csv.QUOTE_NONE,
            skip_blank_lines=False,
            low_memory=False,
            engine="c",
        )
        if len(frame) != len(self._rows):
            raise AssertionError(f"{len(self._rows)} rows became {len(frame)}")
        return {at: frame[at].to_numpy() for at in wanted}


def _plain_numbers(cells: Sequence[str], decimal: str) -> npt.NDArray[np.float64] | None:
    """Numbers, nan where a cell is empty; None where one is no plain number."""
    read = {"": math.nan}
    for cell in {*cells} - {""}:
        text = cell.strip(" \t")
        if decimal == ",":
            text = "" if "." in text else text.replace(",", ".")
        if len(text) > LONGEST or not PLAIN.fullmatch(text):
            return None
        read[cell] = float(text)
    values = np.array([read[cell] for cell in cells])
    return None if np.isinf(values).any() else values


def settled(source: RecordSource, layout: Layout) -> RecordSource:
    """The entry with what it leaves to be found: marks of figures and the order of day and month."""
    marks = layout.marks.value
    return replace(source, decimal=marks.decimal, thousands=marks.thousands, date_order=layout.date_order.value)


def stated_of(source: RecordSource | LogSource, known: Known) -> Stated:
    """What an entry says of how its file is written. Raises `Blocked` where its separator is not known."""
    words = {mark: word for word, mark in SEPARATORS.items()} | {r"\t": "tab", "blank": "blanks", "": ""}
    separator = words.get(source.separator, source.separator)
    if separator and separator not in SEPARATORS:
        raise entry_refusal(
            source.where, "separator-unknown", f'the separator "{shown(source.separator)}" is not known',
            "comma, semicolon, tab, bar or blanks", "state one of these, or none",
        )  # fmt: skip
    stated = Stated(separator, source.decimal, skip_rows=source.skip_rows, units_row=source.units_row, known=known)
    if isinstance(source, LogSource):
        return replace(stated, header_rows=source.header_rows)
    return replace(stated, thousands=source.thousands or None, date_order=source.date_order)


def lay_out(text: str, file: str, source: RecordSource, known: Known) -> Table:
    """The table in a text whose lines end with LF.

    Raises `Blocked` where rows and header do not fit together.
    """
    lines = text.split("\n")
    if lines[-1] == "":
        lines.pop()
    layout = find(lines, stated_of(source, known))
    bare_rows = headless(layout, [use.at for use in source.columns.values()])
    at = _first_head(layout, [i + 1 for i, line in enumerate(lines) if line.strip()], file, source)
    separator_sure(layout, file, source.where)
    separator = layout.separator.value
    return _table(records(lines, at - 1, separator, file), layout, separator, file, source, known, bare_rows)


def headless(layout: Layout, named: Sequence[Address]) -> bool:
    """Whether the first row is one of readings: no headers are found, and an entry names columns by place alone."""
    return not layout.heads.value and bool(named) and all(each.by_place for each in named)


def _first_head(layout: Layout, filled: Sequence[int], file: str, source: RecordSource) -> int:
    """Line of the header: the last of its rows, or the first filled row where none is found. Raises `Blocked`."""
    if layout.heads.value:
        return layout.heads.value[-1]
    first = next((line for line in filled if line > (source.skip_rows or 0)), 0)
    if not first:
        raise _nothing(file, source, not filled)
    return first


def separator_sure(layout: Layout, file: str, where: Where) -> None:
    """Raises `Blocked` where the entry contradicts the file, or more than one separator would do."""
    separator = layout.separator
    if not separator.rivals:
        return
    if separator.by == "entry":
        raise entry_refusal(
            where, "separator-contradicted",
            f'"{separator.value}" is to stand between the fields of {shown(file)}, which has {separator.rivals[0]}',
            "the same separator in both", "correct `separator`, or take it out of the record entry",
        )  # fmt: skip
    raise refusal(
        file, 0, "separator-open", f"{' and '.join((separator.value, *separator.rivals))} part its lines equally well",
        "one separator", f"write `separator: {separator.value}` or another in the record entry",
    )  # fmt: skip


def lay_out_cells(grid: Grid, file: str, source: RecordSource, known: Known) -> Table:
    """The table in a grid of cells.

    Raises `Blocked` where rows and header do not fit together.
    """
    layout = find_cells(grid.rows, grid.numbers, stated_of(source, known))
    bare_rows = headless(layout, [use.at for use in source.columns.values()])
    named = grid.numbers[:1] == [0]  # a column file: its names are no row of it
    begin = 0 if named else grid.numbers.index(_first_head(layout, grid.numbers, file, source))
    below = grid.rows[begin:] if bare_rows else grid.rows[begin : begin + 1]
    width = max(len(_without_empty_end(row)) for row in below)
    if not width:  # a Parquet file without columns, or without a name over any
        raise _nothing(file, source, empty=True)
    kept = range(begin, len(grid.rows))
    if width > COLUMN_LIMIT or width * len(kept) > CELL_LIMIT:
        raise refusal(
            file,
            grid.numbers[begin],
            code="file-too-big",
            what=f"the table has {len(kept)} rows below a header of {width} fields",
            expected=f"at most {CELL_LIMIT} cells in {COLUMN_LIMIT} columns",
            next_step="split the table into several files",
        )
    rows = [UNIT.join([*grid.rows[i], *[""] * (width - len(grid.rows[i]))]) for i in kept]
    found = Records(rows, [grid.numbers[i] for i in kept], UNIT, [], "row")
    table = _table(found, layout, "", file, source, known, bare_rows)
    places = {number: i for i, number in enumerate(table.lines.tolist())}
    odd: dict[int, dict[int, Odd]] = {}
    for (number, at), each in grid.odd.items():
        if at < width and number in places:
            odd.setdefault(at, {})[places[number]] = each
    return replace(
        table,
        notes=(*grid.notes_below(table.header_line, width), *table.notes),
        cells=True,
        letters=tuple(letters(at) for at in range(width)) if grid.letters else (),
        percent=frozenset(at for at, last in grid.percent.items() if last > table.header_line),
        odd=odd,
    )


def _nothing(file: str, source: RecordSource, empty: bool) -> Blocked:
    what = "the file is empty" if empty else f"nothing is left after the {source.skip_rows or 0} rows to skip"
    return refusal(
        file,
        0,
        code="table-empty",
        what=what,
        expected="a header and rows",
        next_step="see whether this is the right file",
    )


def _header(found: Records, layout: Layout, file: str, known: Known) -> list[str]:
    """The header that the first record is. Raises `Blocked` where it is none."""
    header = [plain(name) for name in found.fields(0)]
    if len(layout.heads.value) > 1:
        header = [*layout.headers, *[""] * (len(header) - len(layout.columns))]
    if layout.heads.against and not known(header):
        line = layout.heads.against[0].line
        raise refusal(
            file,
            found.lines[0],
            code="header-elsewhere",
            what=f'the row "{shown(", ".join(header))}" is not the header: that is in {found.word} {line}',
            expected="the header after the rows to skip",
            next_step=f"write `skip_rows: {line - 1}` in the record entry, or take it out",
        )
    return header


def _table(
    found: Records, layout: Layout, separator: str, file: str, source: RecordSource, known: Known, bare_rows: bool
) -> Table:
    """The table of these records; `bare_rows`: the first of them is a row of readings, and there are no headers."""
    counts, blank = found.counts(), found.blanks()
    header = [""] * max(counts) if bare_rows else _header(found, layout, file, known)
    width = len(header)
    below = layout.units_row
    first = int(not bare_rows) + (found.lines.index(below.value) if below.value in found.lines else 0)
    stated = below.value or source.units_row
    cells = found.fields(first - 1) if first > 1 else []
    units = units_of(cells, width, file, found.lines[max(first - 1, 0)]) if stated else [""] * width
    repeated = _repeated(found, first)
    kept = [i for i in range(first, len(counts)) if not blank[i] and i not in repeated]
    notes = [*layout.found, *found.notes]
    if repeated:
        notes.append(f"header repeated in {_lines(found, sorted(repeated))}: skipped")
    if separators := [i for i in range(first, len(counts)) if blank[i] and counts[i] > 1]:
        notes.append(f"nothing but separators in {_lines(found, separators)}: skipped")
    if not kept:
        notes.append("no row below the header yet")
    if below.against and below.by == "entry":
        raise refusal(
            file,
            below.against[0].line,
            code="units-row-unannounced",
            what="this row looks like a row of units",
            expected="rows of readings below the header, as the entry says",
            next_step="take `units_row` out of the record entry",
        )
    longer = [i for i in kept if counts[i] > width]
    _nothing_past_header(found, longer, header, separator, file)
    if longer:
        notes.append(f"an empty field after the last column in {_lines(found, longer)}")
    named = len(_without_empty_end(header))
    shorter = {i for i in kept if counts[i] < width}
    short = np.array([counts[i] < named for i in kept], dtype=bool)
    if short.sum() > max(_SHORT_AT_MOST * len(kept), 1):
        i = kept[int(short.argmax())]
        raise refusal(
            file,
            found.lines[i],
            code="rows-too-short",
            what=f"{short.sum()} of {len(kept)} rows have fewer fields than the header; this one has {counts[i]}",
            expected=f"{width} fields: {shown(', '.join(header), 200)}",
            next_step="see whether the separator is right, and fill up the rows",
        )
    odd = shorter.union(longer)
    return Table(
        separator=separator,
        layout=layout,
        header=tuple(header),
        units=tuple(units),
        header_line=found.lines[0] - bare_rows,
        lines=np.array([found.lines[i] for i in kept], dtype=np.int64),
        short=short,
        notes=tuple(notes),
        _rows=[found.fitted(i, width) if i in odd else found.rows[i] for i in kept],
        _mark=found.mark,
    )


def units_of(row: Sequence[str], width: int, file: str, line: int) -> list[str]:
    """Units of `width` columns from the row that says them. Raises `Blocked` where it holds numbers, or nothing."""
    cells = [plain(cell) for cell in row]
    number = next((cell for cell in cells if _NUMERIC.fullmatch(cell) and cell != "1"), "")
    if number or not cells:
        raise refusal(
            file,
            line,
            code="units-row-missing",
            what=f'this row holds the number "{shown(number)}", not units' if number else "there is no row of units",
            expected="a row of units below the header, as announced",
            next_step="take `units_row` out of the record entry",
        )
    if len(_without_empty_end(cells)) > width:
        raise refusal(
            file,
            line,
            code="more-fields-than-header",
            what=f"the row of units has {len(cells)} fields, the header has {width}",
            expected=f"at most {width} fields",
            next_step="give every column a header",
        )
    cells = [bare(cell) for cell in cells[:width]]
    return cells + [""] * (width - len(cells))


def _repeated(found: Records, first: int) -> set[int]:
    """Positions of records below the header that say the same as it; the row of units counts right below one only."""
    heads = [_without_empty_end([plain(cell) for cell in found.fields(i)]) for i in range(first)]
    starts = [name.split(" ")[0] for head in heads for name in head[:1]]
    same: set[int] = set()
    for i in found.begins(starts) if starts else []:
        if i < first:
            continue
        cells = _without_empty_end([plain(cell) for cell in found.fields(i)])
        if cells == heads[0] or (cells in heads and i - 1 in same):
            same.add(i)
    return same


def _nothing_past_header(
    found: Records, longer: Sequence[int], header: Sequence[str], separator: str, file: str
) -> None:
    width = len(header)
    over = [i for i in longer if any(cell.strip() for cell in found.fields(i)[width:])]
    if not over:
        return
    cells = found.fields(over[0])
    others = f", and {len(over) - 1} further rows have too many" if len(over) > 1 else ""
    raise refusal(
        file,
        found.lines[over[0]],
        code="more-fields-than-header",
        what=f"this row has {len(cells)} fields, the header in {found.word} {found.lines[0]} has {width}{others}",
        expected=f"{width} fields: {shown(', '.join(header), 200)}",
        next_step=f"give every column a header, and {_APART.get(separator, _QUOTE)}",
    )


def _without_empty_end(cells: Sequence[str]) -> list[str]:
    kept = list(cells)
    while kept and not kept[-1].strip():
        kept.pop()
    return kept


def _lines(found: Records, positions: Sequence[int]) -> str:
    numbers = [str(found.lines[i]) for i in positions]
    more = f" and {len(numbers) - 8} more" if len(numbers) > 8 else ""
    return found.word + (" " if len(numbers) == 1 else "s ") + ", ".join(numbers[:8]) + more
