"""A piece of a log to columns of numbers and of stamps, with everything in it that does not fit.

The common case, a piece of plain numbers, is left to the reader of pandas. It takes rows with a field too many or too
few without a word, so fields are counted beside it, and whatever it refuses is read again column by column and, at
last, cell by cell.
"""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from sitegen.logs.layout import Layout
from sitegen.problems import shown
from sitegen.reader.blocked import refusal
from sitegen.reader.headers import plain
from sitegen.reader.numbers import numbers
from sitegen.reader.pieces import Piece, blanks_to_tabs
from sitegen.reader.records import SEPARATORS, cut, records

if TYPE_CHECKING:
    import pandas as pd

Floats = npt.NDArray[np.float64]
Cells = npt.NDArray[np.object_]
_QUOTED = re.compile(rb'"[^"\n]*"')
_LOOKED_AT = 500  # numbers of a piece that are looked at for decimals
_MOST = 400  # different odd cells of a column kept to judge it by


Columns = dict[int, np.ndarray]  # float64 or object, by column


@dataclass
class Odd:
    """Cells of a column that are no numbers."""

    counts: Counter[str] = field(default_factory=Counter)  # code -> cells
    first: dict[str, tuple[int, str]] = field(default_factory=dict)  # code -> line and cell
    cells: Counter[str] = field(default_factory=Counter)  # those that may be numbers in other marks


@dataclass
class Block:
    """Rows of a piece. Arrays have one entry a row."""

    lines: int | npt.NDArray[np.int64]  # line of each row, or of the first where they follow each other
    rows: int
    count: int  # lines of the piece, rows or not
    numbers: Columns  # column -> float64, nan where nothing is said
    texts: Columns  # column -> object, "" where nothing is said
    odd: dict[int, Odd] = field(default_factory=dict)
    decimals: dict[int, float] = field(default_factory=dict)  # column -> about how many cells have decimals
    short: tuple[int, int] = (0, 0)  # count, line of the first
    heads: tuple[int, int] = (0, 0)  # headers repeated: count, line of the first
    above: tuple[int, int] = (0, 0)  # lines of preambles above repeated headers, which are no rows: count, the first
    idle: tuple[int, int] = (0, 0)  # rows with something in them, but not where it is read: count, line of the first
    ended: int = 0  # line in whose middle the file ends

    def line(self, at: int) -> int:
        """Line of a row."""
        return self.lines + at if isinstance(self.lines, int) else int(self.lines[at])

    def moved(self, by: int) -> Block:
        """The block with its lines counted from the beginning of the file, not of the piece."""
        self.lines = self.lines + by
        for odd in self.odd.values():
            odd.first = {code: (line + by, cell) for code, (line, cell) in odd.first.items()}
        self.short = self.short[0], self.short[1] + by if self.short[0] else 0
        self.heads = self.heads[0], self.heads[1] + by if self.heads[0] else 0
        self.above = self.above[0], self.above[1] + by if self.above[0] else 0
        self.idle = self.idle[0], self.idle[1] + by if self.idle[0] else 0
        self.ended = self.ended + by if self.ended else 0
        return self


@dataclass(frozen=True)
class Parser:
    """Reads pieces of one log. Has no state, so pieces may be read side by side."""

    layout: Layout
    separator: str  # a word of `SEPARATORS`
    decimal: str
    file: str
    arrow: bool = False  # pyarrow is there to read plain pieces faster

    @property
    def word(self) -> str:
        """The separator once runs of blanks are tabs."""
        return "tab" if self.separator == "blanks" else self.separator

    @property
    def mark(self) -> str:
        return SEPARATORS[self.word]

    def __call__(self, piece: Piece) -> Block:
        """The rows of a piece, lines counted from its first as 1.

        Raises `Blocked` where a row has a field too many, where quotes do not match, or where it is no text.
        """
        data = piece.data
        if b"\0" in data:
            line = data.count(b"\n", 0, data.index(b"\0")) + 1
            what = "the control character U+0000 is no part of a text table"
            raise refusal(self.file, line, "not-text", what, "a text table", "see whether the file was copied whole")
        if self.separator == "blanks":
            data = blanks_to_tabs(data)
        if data.endswith((b"\n\n", b"\n\r\n")):  # blank lines, as at the end of a file
            data = data.rstrip(b"\r\n") + b"\n"
        if data.isspace():
            return Block(1, 0, piece.data.count(b"\n"), {}, {})
        if self.arrow and b'"' not in data and (quick := self._by_arrow(data)) is not None:
            rows = len(next(iter(quick[0].values()), next(iter(quick[1].values()), ())))
            blanks = piece.data.count(b"\n") - rows if len(data) != len(piece.data) else 0
            return Block(1, rows, rows + blanks, *quick, decimals=_decimals(quick[0]))
        lines, count = data.count(b"\n"), piece.data.count(b"\n")
        bare = _QUOTED.sub(b"", data) if b'"' in data else data
        plain_rows = b'"' not in bare and bare.count(self.mark.encode()) == lines * (self.layout.width - 1)
        if plain_rows and (found := self._at_once(data, lines)) is not None:
            return Block(1, lines, count, *found, decimals=_decimals(found[0]))
        counts = None if b'"' in bare else _fields(bare, self.mark)
        cells = None if counts is None else self._by_column(data, len(counts))
        if counts is None or cells is None:
            return self._by_cell(data, piece.cut, count)
        split: list[bytes] = []

        def row(i: int) -> Sequence[str]:
            if not split:
                split.extend(data.split(b"\n"))
            return cut(split[i].decode("utf-8", "replace"), self.word)

        return self._sorted(*cells, counts, np.arange(1, len(counts) + 1, dtype=np.int64), piece.cut, count, row)

    # ---- numbers only -----------------------------------------------------------------------------------------------

    def _read(self, data: bytes, **how: Any) -> pd.DataFrame:
        import pandas as pd

        read: pd.DataFrame = pd.read_csv(
            io.BytesIO(data),
            sep=self.mark,
            header=None,
            names=range(self.layout.width),
            decimal=self.decimal,
            quoting=csv.QUOTE_MINIMAL if b'"' in data else csv.QUOTE_NONE,
            keep_default_na=False,
            skip_blank_lines=False,
            low_memory=False,
            encoding_errors="replace",
            engine="c",
            **how,
        )
        return read

    def _at_once(self, data: bytes, lines: int) -> tuple[Columns, Columns] | None:
        """Columns of a piece in which every cell of interest is a number; None where one is not."""
        numeric, textual = self.layout.numeric, self.layout.textual
        begins = [cell.strip(b' \t"')[:1] for cell in data[: data.index(b"\n")].split(self.mark.encode())]
        simple = len(begins) == self.layout.width and b'"' not in data
        if simple and not all(begins[at] in b"+-.,0123456789" for at in numeric):
            return None  # "true" over a whole column would be read as 1
        number = np.dtype(np.float64)
        kinds: dict[int, object] = {**dict.fromkeys(numeric, number), **dict.fromkeys(textual, object)}
        last = self.layout.named - 1
        if last not in kinds:
            kinds[last] = object  # a cell in the last column of every row: no row is short
        try:
            frame = self._read(
                data, usecols=sorted(kinds), dtype=kinds if object in kinds.values() else number, na_filter=False
            )
        except (ValueError, OverflowError):
            return None
        if len(frame) != lines or (last not in {*numeric, *textual} and not frame[last].astype(bool).all()):
            return None
        found = {at: frame[at].to_numpy() for at in numeric}
        if not all(np.isfinite(values.sum()) for values in found.values()):
            return None
        return found, {at: frame[at].to_numpy() for at in textual}

    def _by_arrow(self, data: bytes) -> tuple[Columns, Columns] | None:
        """The same by the reader of pyarrow, with empty cells: it is faster and counts fields itself."""
        import pyarrow as pa
        from pyarrow import csv as reader

        layout = self.layout
        names = [str(at) for at in range(layout.width)]
        wanted = [*layout.numeric, *layout.textual]
        kinds = {
            **{names[at]: pa.float64() for at in layout.numeric},
            **{names[at]: pa.string() for at in layout.textual},
        }
        try:
            table = reader.read_csv(
                pa.py_buffer(data),
                reader.ReadOptions(use_threads=False, block_size=len(data) + 1, column_names=names),
                reader.ParseOptions(delimiter=self.mark, quote_char=False, ignore_empty_lines=False),
                reader.ConvertOptions(
                    column_types=kinds,
                    include_columns=[names[at] for at in wanted],
                    null_values=[""],
                    decimal_point=self.decimal,
                    check_utf8=True,
                ),
            )
        except (pa.ArrowInvalid, pa.ArrowNotImplementedError):
            return None
        columns = dict(zip(wanted, table.columns, strict=True))
        found = {at: columns[at].to_numpy() for at in layout.numeric}
        empty = np.ones(len(table), dtype=bool)
        for at, values in found.items():
            total, nulls = values.sum(), columns[at].null_count
            if np.isinf(total) or (np.isnan(total) and int(np.count_nonzero(np.isnan(values))) != nulls):
                return None  # infinities, and texts that say "not a number", are told cell by cell
            empty = empty & np.isnan(values) if nulls and empty.any() else np.zeros(0, dtype=bool)
        if empty.any():
            return None  # blank lines are no rows
        return found, {at: columns[at].to_numpy() for at in layout.textual}

    # ---- column by column -------------------------------------------------------------------------------------------

    def _by_column(self, data: bytes, lines: int) -> tuple[Columns, Columns] | None:
        """Columns of numbers, and the cells of the others; None where rows and lines are not the same."""
        numeric, textual = self.layout.numeric, self.layout.textual
        wanted = sorted({*numeric, *textual})
        kinds: dict[int, object] = dict.fromkeys(textual, object)
        try:
            frame = self._read(data, usecols=wanted, dtype=kinds, na_values=[""])
            if len(frame) != lines:
                return None
            clean = {at: frame[at].to_numpy(dtype=float) for at in numeric if frame[at].dtype.kind in "fiu"}
            clean = {at: each for at, each in clean.items() if not np.isinf(each).any()}
            rest = sorted({*wanted} - {*clean})
            if not rest:
                return clean, {}
            texts = self._read(data, usecols=rest, dtype=object, na_filter=False)
            return clean, {at: texts[at].to_numpy() for at in rest}
        except (ValueError, OverflowError):
            return None

    # ---- cell by cell -----------------------------------------------------------------------------------------------

    def _by_cell(self, data: bytes, ended: bool, count: int) -> Block:
        lines = data.decode("utf-8", "replace").replace("\r\n", "\n").split("\n")[:-1]
        found = records(lines, 0, self.word, self.file)
        at = np.array(found.lines, dtype=np.int64)
        return self.of_rows([found.fields(i) for i in range(len(found.rows))], at, ended, count)

    def of_rows(
        self, rows: Sequence[Sequence[str]], lines: npt.NDArray[np.int64], ended: bool = False, count: int = 0
    ) -> Block:
        """Rows of cells, each with its line."""
        wanted = sorted({*self.layout.numeric, *self.layout.textual})
        cells = {at: np.array([row[at] if at < len(row) else "" for row in rows], dtype=object) for at in wanted}
        counts = np.array([len(row) for row in rows], dtype=np.int64)
        return self._sorted({}, cells, counts, lines, ended, count, lambda i: rows[i])

    # ---- what the rows are ------------------------------------------------------------------------------------------

    def _sorted(
        self,
        clean: Mapping[int, np.ndarray],
        cells: Mapping[int, np.ndarray],
        counts: np.ndarray,
        lines: np.ndarray,
        cut_off: bool,
        count: int,
        row: Callable[[int], Sequence[str]],
    ) -> Block:
        """A block from columns of numbers, cells of the other columns and the number of fields of each row."""
        layout = self.layout
        filled = np.zeros(len(counts), dtype=bool)
        for values in clean.values():
            filled |= ~np.isnan(values)
        for texts in cells.values():
            filled |= np.fromiter((bool(cell.strip()) for cell in texts), bool, len(texts))
        heads = self._heads(clean, cells, len(counts))
        self._no_longer(np.flatnonzero((counts > layout.width) & ~heads), counts, lines, row)
        above = self._above(clean, cells, heads, filled, counts) if heads.any() else heads
        kept = filled & ~heads & ~above
        short = (counts < layout.named) & (filled | (counts > 1)) & ~heads & ~above
        ended = 0
        if cut_off and len(counts) and short[-1] and not heads[-1]:
            ended, kept[-1], short[-1] = int(lines[-1]), False, False
        odd: dict[int, Odd] = {}
        made: Columns = {at: values[kept] for at, values in clean.items()}
        own = lines[kept]
        for at, texts in cells.items():
            if at in layout.numeric:
                made[at], odd[at] = as_numbers(texts[kept], own, self.decimal)
        self._same_order(made, {at: texts[kept] for at, texts in cells.items()}, own)
        unread = np.flatnonzero(~filled & ~heads & ~above & (counts > 1) & (lines != ended)).tolist()
        other = [i for i in unread if any(map(str.strip, row(i)))]
        at_short, at_heads, at_above = (np.flatnonzero(each) for each in (short, heads, above))
        return Block(
            own,
            len(own),
            count,
            made,
            {at: texts[kept] for at, texts in cells.items() if at in layout.textual},
            {at: each for at, each in odd.items() if each.counts},
            _decimals(made),
            (len(at_short), int(lines[at_short[0]])) if len(at_short) else (0, 0),
            (len(at_heads), int(lines[at_heads[0]])) if len(at_heads) else (0, 0),
            (len(at_above), int(lines[at_above[0]])) if len(at_above) else (0, 0),
            (len(other), int(lines[other[0]])) if other else (0, 0),
            ended,
        )

    def _above(
        self,
        clean: Mapping[int, np.ndarray],
        cells: Mapping[int, np.ndarray],
        heads: npt.NDArray[np.bool_],
        filled: npt.NDArray[np.bool_],
        counts: np.ndarray,
    ) -> npt.NDArray[np.bool_]:
        """Rows without a time right above repeated headers: the preamble of another section."""
        axes = self.layout.axes
        elapsed = [axis.at[0] for axis in axes if axis.time.kind == "elapsed"]
        timeless = np.ones(len(counts), dtype=bool) if elapsed else counts < self.layout.named
        for at in elapsed:
            timeless &= np.isnan(clean[at] if at in clean else numbers(cells[at], self.decimal).values)
        found = np.zeros(len(counts), dtype=bool)
        for head in np.flatnonzero(heads & ~np.r_[False, heads[:-1]]).tolist():
            first = head
            while first and timeless[first - 1] and not heads[first - 1]:
                first -= 1
            found[first:head] = filled[first:head]
        return found

    def _same_order(self, made: Columns, cells: Mapping[int, np.ndarray], lines: np.ndarray) -> None:
        """Blocks where further headers stand over other columns than the first: rows below them would be mistaken."""
        if not cells or len(cells) < len(made):
            return
        nothing = np.ones(len(lines), dtype=bool)
        for values in made.values():
            nothing &= np.isnan(values)
        names = {name for head in self.layout.heads for name in head if name}
        for i in np.flatnonzero(nothing).tolist():
            said = [plain(str(texts[i])) for texts in cells.values()]
            if sum(cell in names for cell in said) > 1:
                raise refusal(
                    self.file,
                    int(lines[i]),
                    "headers-moved",
                    f"another row of headers stands here, with {shown(', '.join(said))} where the first, in line "
                    f"{self.layout.line}, has {shown(', '.join(self.layout.header[at] for at in cells))}",
                    "the same columns in the same order all through the file",
                    "make a file of each section, each with a record entry of its own",
                )

    def _heads(
        self, clean: Mapping[int, np.ndarray], cells: Mapping[int, np.ndarray], count: int
    ) -> npt.NDArray[np.bool_]:
        """Rows that say the same as a row of headers or of units."""
        found = np.zeros(count, dtype=bool)
        if not cells:
            return found
        for head in self.layout.heads:
            if not any(head[at] for at in cells) or any(head[at] for at in clean):
                continue
            same = np.ones(count, dtype=bool)
            for at, texts in cells.items():
                name = head[at]
                same &= np.fromiter((_says(cell, name) for cell in texts), bool, count)
            for values in clean.values():
                same &= np.isnan(values)
            found |= same
        return found

    def _no_longer(
        self, longer: np.ndarray, counts: np.ndarray, lines: np.ndarray, row: Callable[[int], Sequence[str]]
    ) -> None:
        """Blocks where a row has something past the last header: which column it belongs to cannot be told."""
        for i in longer.tolist():
            if any(cell.strip() for cell in row(i)[self.layout.width :]):
                raise refusal(
                    self.file,
                    int(lines[i]),
                    "more-fields-than-header",
                    f"this row has {counts[i]} fields, the header in line {self.layout.line} has {self.layout.width}",
                    f"{self.layout.width} fields: {shown(', '.join(self.layout.header), 200)}",
                    "give every column a header, and put in quotes a text or a number that holds the separator",
                )


def _says(cell: str, name: str) -> bool:
    text = cell.strip()
    return text == name or (bool(text) and text[0] in "[( " and text[1:-1].strip() == name) or plain(text) == name


def _fields(data: bytes, mark: str) -> npt.NDArray[np.int64]:
    """Number of fields of each line of text without quotes."""
    codes = np.frombuffer(data, dtype=np.uint8)
    ends = np.flatnonzero(codes == 10)
    marks = np.flatnonzero(codes == ord(mark))
    counts = np.diff(np.searchsorted(marks, ends), prepend=0) + 1
    return counts.astype(np.int64)


def _decimals(columns: Mapping[int, np.ndarray]) -> dict[int, float]:
    """About how many numbers of each column have decimals, from the first of them."""
    found = {}
    for at, values in columns.items():
        part = values[:_LOOKED_AT]
        share = int(np.count_nonzero(part != np.floor(part))) - int(np.count_nonzero(np.isnan(part)))
        found[at] = float(max(share, 0)) * len(values) / max(len(part), 1)
    return found


def as_numbers(cells: Cells, lines: npt.NDArray[np.int64], decimal: str) -> tuple[Floats, Odd]:
    """Numbers of a column of text, and what in it is none."""
    read = numbers(cells, decimal)
    odd = Odd()
    at = np.flatnonzero(read.faults != "")
    for i in at.tolist():
        code, cell = str(read.faults[i]), str(cells[i])
        odd.counts[code] += 1
        odd.first.setdefault(code, (int(lines[i]), cell))
        if code == "not-a-number" and (cell in odd.cells or len(odd.cells) < _MOST):
            odd.cells[cell] += 1
    return read.values, odd
