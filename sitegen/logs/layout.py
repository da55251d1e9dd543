"""From the first rows of a log to its columns: which holds which channel or stamp, and where the rows begin."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from sitegen import units
from sitegen.problems import shown
from sitegen.program import channels
from sitegen.program.model import Address, LogChannel, LogSource, LogTime, Where
from sitegen.reader.blocked import Blocked, refusal
from sitegen.reader.find import MARK_NAMES
from sitegen.reader.headers import joined, known_in, parted, plain
from sitegen.reader.layout import Layout as Written
from sitegen.reader.numbers import numbers
from sitegen.reader.place import TIMES, Misplaced, ending, labels, place
from sitegen.reader.table import headless, separator_sure, units_of
from sitegen.vocabulary import Problem

_MOST_TOLD = 4  # channels named one by one
LOOKED_AT = 60  # rows below the headers that are looked at before any is read


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
    warnings: tuple[Problem, ...] = ()

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
        return tuple(name for at, name in enumerate(labels(self.header)) if self.header[at] and at not in used)

    def label(self, at: int) -> str:
        """Header of a column as it is told."""
        return labels(self.header)[at]


def wanted(source: LogSource) -> set[str]:
    """Headers a log has to have."""
    times = [source.time, *(channel.time for channel in source.channels)]
    found = [channel.at for channel in source.channels]
    found += [each for time in times if time is not None for each in time.at]
    found += [each.left_of for each in found if each.left_of is not None]
    return {plain(each.header) for each in found if each.header}


def known_headers(source: LogSource) -> Callable[[Sequence[str]], int]:
    """A count of the cells of a row that are headers of the log, or the end of one where headers have several rows."""
    names = wanted(source)
    if source.header_rows != 1:
        names |= {name.rpartition(" ")[2] for name in names}
    return known_in(names)


def settled(source: LogSource, written: Written) -> LogSource:
    """The entry with what it leaves to be found in the file."""
    order = written.date_order.value

    def dated(time: LogTime | None) -> LogTime | None:
        unsaid = time is not None and time.kind != "elapsed" and not time.date_order
        return replace(time, date_order=order) if time is not None and unsaid else time

    return replace(
        source,
        decimal=written.marks.value.decimal,
        header_rows=0 if headless(written, _addresses(source)) else max(len(written.heads.value), 1),
        units_row=bool(written.units_row.value or source.units_row),
        time=dated(source.time),
        channels=tuple(replace(channel, time=dated(channel.time)) for channel in source.channels),
    )


def _addresses(source: LogSource) -> list[Address]:
    """Of all columns that the entry names."""
    times = [source.time, *(channel.time for channel in source.channels)]
    return [*(channel.at for channel in source.channels), *(at for time in times if time is not None for at in time.at)]


def refusals(written: Written, filled: Sequence[int], source: LogSource, file: str) -> int:
    """Line of the first row of headers. Raises `Blocked` where the file and its entry do not fit together."""
    skipped = source.skip_rows or 0
    first = next((line for line in filled if line > skipped), 0)
    if not first:
        what = f"nothing is left after the {skipped} rows to skip" if filled else "the file is empty"
        raise refusal(file, 0, "log-empty", what, "headers and samples", "see whether this is the right file")
    separator_sure(written, file, source.where)
    heads, word = written.heads.value, written.word
    if written.heads.against:
        line = written.heads.against[0].line
        raise refusal(
            file, heads[0], "header-elsewhere", f"this is not the row of headers: that is {word} {line}",
            "the headers after the rows to skip",
            f"write `skip_rows: {line - (source.header_rows or 1)}` in the record entry, or take it out",
        )  # fmt: skip
    if written.units_row.against:
        raise refusal(
            file, written.units_row.against[0].line, "units-row-unannounced", "this row looks like a row of units",
            "rows of samples below the headers, as the entry says", "take `units_row` out of the record entry",
        )  # fmt: skip
    return heads[0] if heads else first


def either(written: Written, layout: Layout, file: str) -> list[Problem]:
    """Columns whose figures read as two numbers, where nothing in the file tells which."""
    found = []
    for at in layout.numeric if written.marks.by == "open" else ():
        spot = written.columns[at].either if at < len(written.columns) else None
        if spot is not None:
            mark = written.marks.value.decimal
            found.append(
                Problem(
                    file, spot.line, 0, "mark-either",
                    f'"{shown(spot.text)}" may have a decimal {MARK_NAMES[mark]} or a thousands mark',
                    "figures that read one way", "",
                    f'write `decimal: "{mark}"` in the record entry; if it parts thousands, export the log without',
                    layout.label(at),
                )
            )  # fmt: skip
    return found


def lay_out(rows: Sequence[Sequence[str]], lines: Sequence[int], source: LogSource, file: str, word: str) -> Layout:
    """The layout of a log whose first rows, from that of the headers on, are given as cells with their lines.

    Of the entry nothing is left to be found. Raises `Blocked` with everything that does not fit.
    """
    count = 1 if source.header_rows is None else source.header_rows
    if len(rows) < max(count, 1):
        raise refusal(file, 0, "log-empty", f"the file ends within its {count} rows of headers", "headers and samples")
    line = lines[max(count - 1, 0)]
    width = max(len(row) for row in (rows[:count] or rows))
    heads = [tuple(plain(cell) for cell in [*row, *[""] * (width - len(row))]) for row in rows[:count]]
    whole, carried = (joined(heads, carried=each) if heads else [""] * width for each in (False, True))
    begin = count
    below = [""] * width
    if source.units_row:
        below = units_of(rows[count] if count < len(rows) else [], width, file, lines[min(count, len(lines) - 1)])
        heads.append(tuple(below))
        begin += 1
    names = _Names(whole, carried, below, rows[begin:], line, source, file)
    axes = names.axes()
    layout = Layout(tuple(whole), tuple(heads), line, begin, tuple(axes), names.passed_over(axes))
    _first_rows(layout, rows[begin:], lines[begin:], source, file, word)
    return layout


class _Names:
    """Finds the columns that an entry names, and collects what does not fit."""

    def __init__(
        self,
        joined: list[str],
        carried: list[str],
        below: list[str],
        rows: Sequence[Sequence[str]],
        line: int,
        source: LogSource,
        file: str,
    ) -> None:
        self._joined, self._carried, self._below, self._rows = joined, carried, below, rows
        self._line, self._source, self._file = line, source, file
        self._labels = labels(joined)
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
        beside: list[tuple[LogTime, LogChannel, Column]] = []
        for time, own in times.items():
            at = tuple(self._column(each, "time", self._source.where) for each in time.at)
            columns = [self._channel(channel) for channel in own]
            if not time.at:
                both = zip(own, columns, strict=True)
                beside += [(time, channel, column) for channel, column in both if column is not None]
            elif None not in at:
                found = tuple(each for each in at if each is not None)
                header = " and ".join(self._name(*each) for each in zip(time.at, found, strict=True))
                made.append(self._axis(time, found, header, tuple(filter(None, columns)), self._source.where))
        made += self._to_the_left(beside)
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

    def _axis(self, time: LogTime, at: tuple[int, ...], header: str, columns: tuple[Column, ...], where: Where) -> Axis:
        elapsed = time.kind == "elapsed"
        self._unit(at[0], "time", time.unit if elapsed else "", ("time",), where)
        return Axis(time, at, header, units.converter(time.unit, "time")[0] if elapsed else 1.0, columns)

    def _to_the_left(self, beside: Sequence[tuple[LogTime, LogChannel, Column]]) -> list[Axis]:
        """An axis for each channel whose time stands directly to its left."""
        left = {self._joined[column.at - 1] for _, _, column in beside if column.at}
        alike = len(beside) > 1 and len(left) == 1  # one name left of every channel
        made = []
        for time, channel, column in beside:
            at = column.at - 1
            header = self._labels[at] if at >= 0 else ""
            why = self._no_time(at, alike)
            if why:
                self._entry(
                    channel.where,
                    "time-not-left",
                    f'left of "{shown(column.header)}" in {shown(self._file)} {why}',
                    "the time of the channel in the column directly to its left, rising from row to row",
                    step=f"name the time of {channel.name} by itself, as in `time: {{column: {{number: 1}}, unit: s}}`",
                )
                continue
            self._taken[at] = "time"
            made.append(self._axis(time, (at,), header, (column,), channel.where))
        return made

    def _no_time(self, at: int, alike: bool) -> str:
        """What stands in a column that is to be a time and does not read as one; "" where it does."""
        if at < 0:
            return "stands nothing"
        header = self._labels[at]
        if at in self._taken:
            return f'stands "{shown(header)}", which is {self._taken[at]}'
        written = [(plain(row[at]) if at < len(row) else "") for row in self._rows]
        cells = [cell for cell in written if cell]
        stands = f'stands "{shown(header)}"' + (f" with {shown(', '.join(cells[:3]))}" if cells else "")
        said = self._units_at(at)
        of_time = [units.unit(unit).vector == units.unit("s").vector for unit in said]
        if not all(of_time):
            return f'{stands} in "{shown(said[of_time.index(False)])}"'
        if not (of_time or alike or self._words(at) & TIMES):
            return f"{stands}, and nothing says that it is a time"
        read = numbers(np.array(cells, dtype=object), self._source.decimal)
        values = read.values[~np.isnan(read.values)]
        if 2 * len(values) < len(cells) or not cells:
            return f"{stands}: these are no numbers" if cells else f"{stands} without a number"
        steps = np.diff(values)
        if (steps < 0).any() or (len(steps) and not (steps > 0).any()):
            return f"{stands}, which does not rise"
        return ""

    def _units_at(self, at: int) -> list[str]:
        """The units that stand over a column."""
        return [unit for unit in (ending(self._joined[at]), self._below[at]) if units.is_unit(unit)]

    def _words(self, at: int) -> set[str]:
        return set(re.split(r"[^a-zà-ž]+", parted(self._joined[at])[0].casefold()))

    def passed_over(self, axes: Sequence[Axis]) -> tuple[Problem, ...]:
        """A warning where channels read by another time have a time of their own to the left that nothing reads."""
        mine: list[tuple[Column, int, str]] = []  # channel, column of the time, its unit
        read = [(axis, column) for axis in axes for column in axis.columns]
        clocks = {at for axis in axes for at in axis.at}
        for axis, column in read:
            at = column.at - 1
            # right of another time it is the same one in another unit rather than one of a channel
            if at < 0 or at in self._taken or at - 1 in clocks or self._no_time(at, alike=True):
                continue
            said = self._units_at(at)
            if self._joined[at] in {self._joined[each] for each in axis.at} or (said and self._words(at) & TIMES):
                mine.append((column, at, next(iter(said), axis.time.unit or "s")))
        if not mine:
            return ()
        shows = mine[:_MOST_TOLD]
        more = f" and {len(mine) - len(shows)} more" if len(mine) > len(shows) else ""
        named = ", ".join(f'"{shown(self._labels[at])}" left of {column.name}' for column, at, _ in shows) + more
        beside = {column.at for column, _, _ in mine} | {column.at for axis, column in read if column.at - 1 in axis.at}
        unit = mine[0][2]
        if len(beside) == len(read) and {each for _, _, each in mine} == {unit}:
            step = f"if each channel has its own, write `time: {{left: true, unit: {unit}}}` in the record entry"
        else:
            told = [f"`time: {{column: {{number: {at + 1}}}, unit: {own}}}` in {each.name}" for each, at, own in shows]
            step = f"if it is the time of that channel, write {', '.join(told)}{more}"
        source = self._source.where
        return (
            Problem(
                source.file, source.line, source.column, "time-passed-over",
                f"{shown(self._file)} has a time that is not read: {named}; by another time the samples may lie wrong",
                "each channel by the time it was recorded with", "", step, level="warning",
            ),
        )  # fmt: skip

    def _name(self, address: Address, at: int) -> str:
        """A column as the entry calls it, where it does so by a header of its own; else by its place."""
        alone = address.header and not address.which
        return address.header if alone else self._labels[at]

    def _channel(self, channel: LogChannel) -> Column | None:
        at = self._column(channel.at, channel.name, channel.where)
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
        header = self._labels[at] if self._joined[at] else channel.at.header or self._labels[at]
        return Column(channel.name, what.title, at, header, scale, offset, low, high)

    def _column(self, address: Address, use: str, where: Where) -> int | None:
        """Position of the column an address means; each has one use."""
        try:
            at = place(self._joined, address, self._file, f"line {self._line}", self._carried)
        except Misplaced as fault:
            self._entry(where, fault.code, str(fault), fault.expected, fault.nearest, fault.next_step)
            return None
        before = self._taken.setdefault(at, use)
        if before != use:
            name = shown(self._name(address, at))
            self._entry(
                where,
                "column-twice",
                f'the column "{name}" of {shown(self._file)} is {before} and {use}',
                "one use a column",
            )
            return None
        return at

    def _unit(self, at: int | None, use: str, stated: str, dimensions: Sequence[str], where: Where) -> None:
        """Complains where the file itself names another unit than the record entry."""
        if at is None or not stated:
            return
        for written, stands in ((ending(self._joined[at]), "header"), (self._below[at], "row of units")):
            if written and not units.agree(written, stated, flow="flow" in " ".join(dimensions)):
                self._entry(
                    where,
                    "unit-contradicted",
                    f'{use} is in "{shown(stated)}" here, but in "{shown(written)}" '
                    f"in the {stands} of {shown(self._file)}",
                    "the same unit in both",
                )

    def _entry(self, where: Where, code: str, what: str, expected: str, near: str = "", step: str = "") -> None:
        where = where if where.file else self._source.where
        step = step or "correct the record entry"
        self._problems.append(Problem(where.file, where.line, where.column, code, what, expected, near, step))


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
