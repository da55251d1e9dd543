"""From the first rows of a log to its columns: which holds which channel or stamp, and where the rows begin."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from sitegen import units
from sitegen.problems import nearest, shown
from sitegen.program import channels
from sitegen.program.model import LogChannel, LogSource, LogTime, Where
from sitegen.reader.blocked import Blocked, refusal
from sitegen.reader.headers import parted, plain
from sitegen.vocabulary import Problem

LOOKED_AT = 60  # rows below the headers that are looked at before any is read
_SEARCHED = 40  # rows searched for headers that are not where they were announced
_NUMERIC = re.compile(r"[+-]?\d+([.,]\d+)*([eE][+-]?\d+)?", re.ASCII)


@dataclass(frozen=True)
class Column:
    """A channel and the column it is read from: number · scale + offset is in SI."""

    name: str
    title: str
    at: int
    header: str
    scale: float
    offset: float
    low: float  # limits of what is possible, in the unit of the column
    high: float


@dataclass(frozen=True)
class Axis:
    """Channels that share a time, and the columns it stands in."""

    time: LogTime
    at: tuple[int, ...]
    header: str
    scale: float  # s a unit, of elapsed time
    columns: tuple[Column, ...]


@dataclass(frozen=True)
class Layout:
    """Where everything stands in the rows of a log."""

    header: tuple[str, ...]
    heads: tuple[tuple[str, ...], ...]  # rows of headers and of units, which may be repeated further down
    line: int  # of the last row of headers
    begin: int  # first row below headers and units, counted from the first row given
    axes: tuple[Axis, ...]

    @property
    def width(self) -> int:
        return len(self.header)

    @property
    def named(self) -> int:
        """Columns up to the last with a header: a row with fewer fields is short."""
        return max((at + 1 for at, name in enumerate(self.header) if name), default=0)

    @property
    def numeric(self) -> tuple[int, ...]:
        """Columns read as numbers."""
        found = {column.at for axis in self.axes for column in axis.columns}
        found |= {at for axis in self.axes if axis.time.kind == "elapsed" for at in axis.at}
        return tuple(sorted(found))

    @property
    def textual(self) -> tuple[int, ...]:
        """Columns read as texts: stamps."""
        return tuple(sorted({at for axis in self.axes if axis.time.kind != "elapsed" for at in axis.at}))

    @property
    def unused(self) -> tuple[str, ...]:
        """Headers of the columns that are read for nothing."""
        used = {*self.numeric, *self.textual}
        return tuple(name for at, name in enumerate(self.header) if name and at not in used)

    def label(self, at: int) -> str:
        """Header of a column as it is told."""
        return self.header[at] or f"column {at + 1}"


def wanted(source: LogSource) -> set[str]:
    """Headers a log has to have."""
    times = [source.time, *(channel.time for channel in source.channels)]
    found = {plain(channel.header) for channel in source.channels}
    return found | {plain(name) for time in times if time is not None for name in time.headers}


def known_headers(source: LogSource) -> Callable[[Sequence[str]], int]:
    """A count of the cells of a row that are headers of the log, or the end of one where headers have several rows."""
    names = wanted(source)
    if source.header_rows > 1:
        names |= {name.rpartition(" ")[2] for name in names}

    def count(cells: Sequence[str]) -> int:
        return sum(1 for cell in cells if plain(cell) in names or parted(cell)[0] in names)

    return count


def lay_out(rows: Sequence[Sequence[str]], lines: Sequence[int], source: LogSource, file: str, word: str) -> Layout:
    """The layout of a log whose first rows, from that of the headers on, are given as cells with their lines.

    Raises `Blocked` with everything that does not fit.
    """
    count = source.header_rows
    if len(rows) < count:
        raise refusal(file, 0, "log-empty", f"the file ends within its {count} rows of headers", "headers and samples")
    line = lines[count - 1]
    width = max(len(row) for row in rows[:count])
    heads = [tuple(plain(cell) for cell in [*row, *[""] * (width - len(row))]) for row in rows[:count]]
    joined, carried = _joined(heads)
    begin = count
    below = [""] * width
    if source.units_row:
        below = _units(rows, lines, count, width, file)
        heads.append(tuple(below))
        begin += 1
    names = _Names(joined, carried, below, line, source, file)
    axes = names.axes()
    layout = Layout(tuple(joined), tuple(heads), line, begin, tuple(axes))
    _first_rows(layout, rows[begin:], lines[begin:], source, file, word)
    return layout


def _joined(heads: Sequence[Sequence[str]]) -> tuple[list[str], list[str]]:
    """Headers of several rows joined by a blank: as they stand, and with a group's name over all of its columns."""
    carried = []
    for row, cells in enumerate(heads):
        kept, last = [], ""
        for cell in cells:
            last = cell or (last if row + 1 < len(heads) else "")
            kept.append(last)
        carried.append(kept)
    return (
        [" ".join(filter(None, parts)) for parts in zip(*heads, strict=True)],
        [" ".join(filter(None, parts)) for parts in zip(*carried, strict=True)],
    )


def _units(rows: Sequence[Sequence[str]], lines: Sequence[int], at: int, width: int, file: str) -> list[str]:
    cells = [plain(cell) for cell in rows[at]] if at < len(rows) else []
    number = next((cell for cell in cells if _NUMERIC.fullmatch(cell) and cell != "1"), "")
    if number or not cells:
        raise refusal(
            file,
            lines[min(at, len(lines) - 1)],
            "units-row-missing",
            f'this row holds the number "{shown(number)}", not units' if number else "there is no row of units",
            "a row of units below the headers, as announced",
            "take `units_row` out of the record entry",
        )
    cells = [cell[1:-1].strip() if cell[:1] + cell[-1:] in {"[]", "()"} else cell for cell in cells[:width]]
    return cells + [""] * (width - len(cells))


class _Names:
    """Finds columns by their headers, and collects what does not fit."""

    def __init__(
        self, joined: list[str], carried: list[str], below: list[str], line: int, source: LogSource, file: str
    ) -> None:
        self._joined, self._carried, self._below = joined, carried, below
        self._line, self._source, self._file = line, source, file
        self._problems: list[Problem] = []
        self._taken: dict[int, str] = {}

    def axes(self) -> list[Axis]:
        """Axes with their columns. Raises `Blocked`."""
        times: dict[LogTime, list[LogChannel]] = {}
        for channel in self._source.channels:
            time = channel.time or self._source.time
            if time is not None:
                times.setdefault(time, []).append(channel)
        made = []
        for time, own in times.items():
            at = tuple(self._column(header, "time", self._source.where) for header in time.headers)
            columns = [self._channel(channel) for channel in own]
            header = " and ".join(time.headers)
            if None not in at:
                self._unit(at[0], "time", time.unit if time.kind == "elapsed" else "", ("time",), self._source.where)
                scale = units.converter(time.unit, "time")[0] if time.kind == "elapsed" else 1.0
                made.append(
                    Axis(
                        time,
                        tuple(each for each in at if each is not None),
                        header,
                        scale,
                        tuple(filter(None, columns)),
                    )
                )
        if len({axis.time.kind == "elapsed" for axis in made}) > 1:
            self._entry(
                self._source.where,
                "times-of-two-kinds",
                f"{shown(self._file)} has channels with elapsed time and channels with stamps, "
                "and nothing says how the two lie together",
                "one of the two for all channels",
            )
        if not self._problems and not made:
            self._entry(self._source.where, "log-without-channels", "the log has no channel", "one or more")
        if self._problems:
            raise Blocked(*sorted(set(self._problems)))
        return made

    def _channel(self, channel: LogChannel) -> Column | None:
        at = self._column(channel.header, channel.name, channel.where)
        what = channels.of(channel)
        try:
            scale, offset = channels.converter(what, channel.unit)
        except units.UnitError as error:
            self._entry(channel.where, error.code, f"{channel.name}: {error.what}", error.expected, error.nearest)
            return None
        if at is None:
            return None
        self._unit(at, channel.name, channel.unit, what.dimensions, channel.where)
        low, high = (what.low - offset) / scale, (what.high - offset) / scale
        return Column(channel.name, what.title, at, self._joined[at] or channel.header, scale, offset, low, high)

    def _column(self, header: str, use: str, where: Where) -> int | None:
        """Position of a header, with or without its bracketed unit."""
        name = plain(header)
        found: list[int] = []
        for each in (self._joined, self._carried):
            found = found or [i for i, cell in enumerate(each) if cell == name]
        for each in (self._joined, self._carried):
            found = found or [i for i, cell in enumerate(each) if parted(cell)[0] == name]
        where = where if where.file else self._source.where
        if not found:
            self._entry(
                where,
                "column-missing",
                f'{shown(self._file)} has no column "{shown(header)}"',
                f"a header of line {self._line}",
                nearest(name, filter(None, [*self._joined, *self._carried])),
            )
            return None
        if len(found) > 1:
            self._entry(
                where,
                "column-ambiguous",
                f'"{shown(header)}" stands over {len(found)} columns of {shown(self._file)}',
                "a header of its own over each column",
            )
            return None
        before = self._taken.setdefault(found[0], use)
        if before != use:
            self._entry(
                where,
                "column-twice",
                f'the column "{shown(header)}" of {shown(self._file)} is {before} and {use}',
                "one use a column",
            )
            return None
        return found[0]

    def _unit(self, at: int | None, use: str, stated: str, dimensions: Sequence[str], where: Where) -> None:
        """Complains where the file itself names another unit than the record entry."""
        if at is None or not stated:
            return
        for written, place in ((parted(self._joined[at])[1], "header"), (self._below[at], "row of units")):
            if written and not _agree(written, stated, dimensions):
                self._entry(
                    where,
                    "unit-contradicted",
                    f'{use} is in "{shown(stated)}" here, but in "{shown(written)}" '
                    f"in the {place} of {shown(self._file)}",
                    "the same unit in both",
                )

    def _entry(self, where: Where, code: str, what: str, expected: str, near: str = "") -> None:
        where = where if where.file else self._source.where
        self._problems.append(
            Problem(where.file, where.line, where.column, code, what, expected, near, "correct the record entry")
        )


def _agree(written: str, stated: str, dimensions: Sequence[str]) -> bool:
    """Whether two units are one; a remark that is no unit says nothing against it."""
    try:
        mine, theirs = units.unit(stated), units.unit(written)
    except units.UnitError:
        return True
    if mine.vector != theirs.vector:
        return False
    if theirs.nature and mine.nature and theirs.nature != mine.nature:
        return False
    plain_scale = (theirs.scale, theirs.offset) == (mine.scale, mine.offset)
    return plain_scale or bool("flow" in " ".join(dimensions) and theirs.reference != mine.reference)


def _first_rows(
    layout: Layout, rows: Sequence[Sequence[str]], lines: Sequence[int], source: LogSource, file: str, word: str
) -> None:
    """Refuses what the first rows show: no rows, units nobody announced, a field more than headers in every row."""
    if not rows:
        raise refusal(
            file, layout.line, "log-empty", "there are headers but no row below them", "one row or more of samples"
        )
    cells = [plain(cell) for cell in rows[0]]
    used = [cells[at] for at in {*layout.numeric, *layout.textual} if at < len(cells) and cells[at]]
    if not source.units_row and used and not any(re.search(r"\d", cell) for cell in used):
        said = shown(", ".join(filter(None, cells)), 100)
        raise refusal(
            file,
            lines[0],
            "units-row-unannounced",
            f'this row holds no number: "{said}"',
            "rows of samples below the headers",
            "if it is a row of units, write `units_row: true` in the record entry",
        )
    filled = [row for row in rows if any(cell.strip() for cell in row)]
    longer = [len(row) > layout.width and any(cell.strip() for cell in row[layout.width :]) for row in filled]
    if filled and all(longer):
        raise refusal(
            file,
            lines[0],
            "more-fields-than-header",
            f"every row has {len(filled[0])} fields, the header in {word} {layout.line} has {layout.width}: which "
            "column each header belongs to cannot be told, and to take the first for the first might shift them all",
            "a header over every column",
            "write the missing header, or take the column without one out",
        )


def header_elsewhere(
    rows: Iterator[tuple[int, Sequence[str]]], at: int, source: LogSource, file: str, word: str
) -> Blocked | None:
    """A refusal that says where the headers are, when they are not in the row `at` but further on or before."""
    known = known_headers(source)
    for number, (line, cells) in enumerate(rows):
        if number >= _SEARCHED:
            break
        if line != at and known([plain(cell) for cell in cells]) > 0:
            return refusal(
                file,
                at,
                "header-elsewhere",
                f"this is not the row of headers: that is {word} {line}",
                "the headers after the rows to skip",
                f"write `skip_rows: {line - source.header_rows}` in the record entry",
            )
    return None
