"""Logs that are no text: worksheets row by row, Parquet files batch by batch. Neither is ever held whole."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from sitegen.logs.cells import Block, Columns, Odd, Parser, as_numbers
from sitegen.logs.layout import Layout, known_headers, lay_out, refusals, settled
from sitegen.problems import shown
from sitegen.program.model import LogSource, RecordSource
from sitegen.reader.blocked import Blocked, refusal
from sitegen.reader.decode import folder_of, taken
from sitegen.reader.find import find_cells
from sitegen.reader.kinds import PACKED_LIMIT
from sitegen.reader.parquet import open_parquet, pyarrow_for, unpacked
from sitegen.reader.table import stated_of
from sitegen.regular import open_regular

if TYPE_CHECKING:
    import pyarrow as pa
    import pyarrow.parquet as pq

ROWS = 8192  # taken at a time
_HEADED = 200  # rows kept to find headers in
Take = Callable[[Layout, Block], None]


class _Fault(Exception):  # noqa: N818
    """Carries a fault of ours past those who look for faults of the workbook."""


def read_workbook(path: Path, file: str, source: LogSource, take: Take) -> tuple[str, tuple[str, ...]]:
    """Every row of a worksheet in blocks, in order, with the layout; what was read, in words, and notes.

    Raises `Blocked`.
    """
    from sitegen.reader.workbook import scan_workbook

    data = taken(path, file, lambda stream: stream.read(), PACKED_LIMIT)
    if not data.startswith(b"PK"):
        raise _misnamed(file, "a workbook", ".xlsx")
    rows = _Rows(source, file, take)

    def row(number: int, cells: list[str]) -> None:
        try:
            rows.add(number, cells)
        except Blocked:
            raise
        except Exception as fault:
            raise _Fault from fault

    asked = RecordSource("runlog", source.file, source.where, sheet=source.sheet)
    try:
        said = scan_workbook(data, file, asked, row)
    except _Fault as fault:
        raise fault.__cause__ or fault from None
    rows.end()
    return said, rows.notes


class _Rows:
    """Rows as they come: first gathered until the headers are known, then handed on in blocks."""

    def __init__(self, source: LogSource, file: str, take: Take) -> None:
        self._source, self._file, self._take = source, file, take
        self._rows: list[list[str]] = []
        self._lines: list[int] = []
        self._layout: Layout | None = None
        self.notes: tuple[str, ...] = ()  # what was found of how the worksheet is written

    def add(self, number: int, cells: list[str]) -> None:
        """One row with something in it."""
        if self._layout is None and number <= (self._source.skip_rows or 0):
            return
        self._rows.append(cells)
        self._lines.append(number)
        if len(self._rows) >= (_HEADED if self._layout is None else ROWS):
            self._flush()

    def end(self) -> None:
        """All rows have come."""
        if self._rows or self._layout is None:
            self._flush()

    def _flush(self) -> None:
        if self._layout is None:
            if not self._rows:
                raise refusal(self._file, 0, "log-empty", "nothing is left after the rows to skip", "headers and rows")
            written = find_cells(self._rows, self._lines, stated_of(self._source, known_headers(self._source)))
            head = self._lines.index(refusals(written, self._lines, self._source, self._file))
            self._source, self.notes = settled(self._source, written), written.found
            self._layout = lay_out(self._rows[head:], self._lines[head:], self._source, self._file, "row")
            begin = head + self._layout.begin
            self._rows, self._lines = self._rows[begin:], self._lines[begin:]
        width = self._layout.width
        block = Parser(self._layout, "comma", ".", self._file).of_rows(
            [[*row, *[""] * (width - len(row))] for row in self._rows], np.array(self._lines, dtype=np.int64)
        )
        self._take(self._layout, block)
        self._rows, self._lines = [], []


def read_parquet(path: Path, file: str, source: LogSource, take: Take) -> str:
    """Every row of a Parquet file in blocks, in order, with the layout. Raises `Blocked`; see `read_workbook`."""
    pa, pq = pyarrow_for(file)
    if taken(path, file, lambda stream: stream.read(4), 1 << 62) != b"PAR1":
        raise _misnamed(file, "a Parquet file", ".parquet")
    try:
        with (
            open_regular(path, folder_of(path, file)) as stream,
            open_parquet(pq, stream) as opened,
        ):
            header = [str(name) for name in opened.schema_arrow.names]
            layout = _of_names(header, opened.schema_arrow, source, file)
            names = list(dict.fromkeys(header[at] for at in sorted({*layout.numeric, *layout.textual})))
            line = 1
            for batch in _batches(opened, names):
                take(layout, _block(batch, header, layout, line))
                line += batch.num_rows
    except (pa.ArrowException, OSError, OverflowError, UnicodeDecodeError) as fault:  # names of columns too
        raise refusal(
            file,
            0,
            "parquet-broken",
            f"the Parquet file cannot be read: {shown(str(fault).partition(chr(10))[0])}",
            "a whole Parquet file",
            "write the file again",
        ) from None
    return "Parquet"


def _batches(opened: pq.ParquetFile, names: list[str]) -> Iterator[pa.RecordBatch]:
    yield from opened.iter_batches(batch_size=8 * ROWS, columns=names, use_threads=False)


def _of_names(header: list[str], schema: pa.Schema, source: LogSource, file: str) -> Layout:
    import pyarrow as pa

    source = replace(source, header_rows=1, units_row=False)
    layout = lay_out([header, ["0"] * len(header)], [0, 1], source, file, "row")
    for at in layout.numeric:
        kind = schema.field(at).type
        if pa.types.is_dictionary(kind):
            kind = kind.value_type
        if not _is_number(kind) and not pa.types.is_string(kind) and not pa.types.is_large_string(kind):
            raise refusal(
                file,
                0,
                "column-not-numbers",
                f"the column holds {shown(kind)}, not numbers",
                "numbers",
                column_name=layout.label(at),
            )
    return layout


def _is_number(kind: pa.DataType) -> bool:
    import pyarrow as pa

    types = pa.types
    return bool(types.is_integer(kind) or types.is_floating(kind) or types.is_decimal(kind) or types.is_null(kind))


def _block(batch: pa.RecordBatch, header: Sequence[str], layout: Layout, line: int) -> Block:
    """Columns of a batch, which has all of a repeated name; texts are read as in any other log.

    Stamps with a type of their own become texts.
    """
    import pyarrow as pa

    lines = np.arange(line, line + batch.num_rows, dtype=np.int64)
    made: Columns = {}
    texts: Columns = {}
    odd: dict[int, Odd] = {}
    filled = np.zeros(batch.num_rows, dtype=bool)  # by what is written, whether or not it is a number
    for at in sorted({*layout.numeric, *layout.textual}):
        alike = [place for place, name in enumerate(batch.schema.names) if name == header[at]]
        column = batch.column(alike[header[:at].count(header[at])])
        if pa.types.is_dictionary(column.type) and not pa.types.is_string(column.type.value_type):
            column = column.cast(column.type.value_type)
        if at in layout.textual:
            texts[at] = _texts(column)
            filled |= _written(texts[at])
        elif _is_number(column.type):
            values = column.cast(pa.float64(), safe=False).to_numpy(zero_copy_only=False).astype(float)
            filled |= ~np.isnan(values)
            made[at], told = _finite(values, lines)
            if told.counts:
                odd[at] = told
        else:
            cells = _texts(column)
            filled |= _written(cells)
            made[at], told = as_numbers(cells, lines, ".")
            if told.counts:
                odd[at] = told
    if filled.all():
        return Block(line, batch.num_rows, batch.num_rows, made, texts, odd)
    return Block(
        lines[filled],
        int(filled.sum()),
        batch.num_rows,
        {at: values[filled] for at, values in made.items()},
        {at: cells[filled] for at, cells in texts.items()},
        odd,
        idle=(int((~filled).sum()), int(lines[~filled][0])),
    )


def _finite(values: np.ndarray, lines: np.ndarray) -> tuple[np.ndarray, Odd]:
    told = Odd()
    endless = np.flatnonzero(np.isinf(values))
    if len(endless):
        told.counts["not-finite"] = len(endless)
        told.first["not-finite"] = int(lines[endless[0]]), str(values[endless[0]])
        values = np.where(np.isinf(values), np.nan, values)
    return values, told


def _texts(column: pa.Array) -> np.ndarray:
    """Cells as text: instants in ISO, to the microsecond."""
    import pyarrow as pa

    kind = column.type
    if pa.types.is_timestamp(kind):
        column = column.cast(pa.timestamp("us", kind.tz), safe=False)
    elif pa.types.is_time(kind):
        column = column.cast(pa.time64("us"), safe=False)
    made = ["" if value is None else value if isinstance(value, str) else _iso(value) for value in unpacked(column)]
    return np.array(made, dtype=object)


def _written(cells: np.ndarray) -> np.ndarray:
    return np.array([bool(cell.strip()) for cell in cells], dtype=bool)


def _iso(value: object) -> str:
    return str(value.isoformat()) if hasattr(value, "isoformat") else str(value)


def _misnamed(file: str, what: str, ending: str) -> Blocked:
    return refusal(
        file,
        0,
        "name-and-content",
        f"this is not {what}, though its name ends in {ending}",
        what,
        "see whether this is the right file",
    )
