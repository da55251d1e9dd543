"""One log file, of any size: to bins of a second, facts of each channel, and the sums exposure is made of.

A file is taken in pieces. What makes its time or its columns untrustworthy blocks it; a single bad cell is missing,
counted, and told once a channel.
"""

from __future__ import annotations

import math
import os
from collections import Counter, deque
from collections.abc import Callable, Iterable, Iterator, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from pathlib import Path, PurePosixPath
from types import MappingProxyType
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from sitegen.logs.axis import Clock, Fed
from sitegen.logs.bins import NARROWEST, Bins, Shares
from sitegen.logs.cells import Block, Odd, Parser
from sitegen.logs.facts import ChannelFacts, Tally
from sitegen.logs.layout import LOOKED_AT, Column, Layout, either, known_headers, lay_out, refusals, settled
from sitegen.logs.packed import read_parquet, read_workbook
from sitegen.logs.sums import Sums
from sitegen.problems import shown
from sitegen.program.files import WORKBOOKS
from sitegen.program.model import LogSource
from sitegen.program.records import PARQUET
from sitegen.reader.blocked import Blocked, refusal
from sitegen.reader.find import find
from sitegen.reader.numbers import Complaint, numbers
from sitegen.reader.pieces import STEP, Piece, opening, pieces
from sitegen.reader.records import cut
from sitegen.reader.stamps import FAULTS, iso
from sitegen.reader.table import stated_of
from sitegen.reasons import READING
from sitegen.tables.ids import counted as counts
from sitegen.vocabulary import Problem

Floats = npt.NDArray[np.float64]
_AHEAD = 4  # pieces read ahead; the same on every machine, so that of two faults the same one is told
_THREADS = 4
_MOST_ODD = 0.5  # share of cells without a number above which the column is not trusted
_MOST_SHORT = 0.5  # share of short rows above which the header does not describe the rows
_JUDGED = 2000  # cells a column's marks are judged by
_MARKS: Mapping[Complaint, tuple[str, str, str]] = MappingProxyType(
    {
        "comma-decimal": (
            'the numbers have a decimal comma ("{cell}")',
            "the decimal mark that is announced, a point",
            'write `decimal: ","` in the record entry',
        ),
        "comma-thousands": (
            'a comma stands between groups of digits ("{cell}")',
            "numbers without thousands marks",
            "export the log again without thousands marks",
        ),
        "comma-either": (
            '"{cell}" may have a decimal comma or a thousands mark',
            "the decimal mark that is announced, a point",
            'if it is the decimal mark, write `decimal: ","` in the record entry; else export without thousands marks',
        ),
        "dot-decimal": (
            'the numbers have a decimal point ("{cell}")',
            "the decimal mark that is announced, a comma",
            'correct this cell; or, where they are all so, take `decimal: ","` out of the record entry',
        ),
        "dot-twice": (
            'the dot stands between groups of digits ("{cell}"), so the same sign in other numbers of the column may '
            "be either mark",
            "one mark for one purpose",
            "export the log again without thousands marks",
        ),
        "groups-broken": (
            'a mark stands where none can ("{cell}")',
            "one mark for one purpose",
            "export the log again without thousands marks",
        ),
        "blank-thousands": (
            'a blank or an apostrophe stands between groups of digits ("{cell}")',
            "numbers without thousands marks",
            "export the log again without thousands marks",
        ),
    }
)


@dataclass(frozen=True)
class LogFile:
    """What one log file holds. Flows are in m3/s on the scale of their meter, all else in SI."""

    file: str  # relative to the programs folder
    engine: str
    phase: str
    rows: int = 0  # rows of samples in the file
    used: int = 0  # of them with an instant
    idle: int = 0  # further rows, with nothing in the columns that are read
    start: str = ""  # ISO stamp of the first row, local; "" where the time is elapsed or has no date
    first: float = 0.0  # s as written, of the first row: elapsed time, or seconds since midnight or since 1970
    seconds: float = 0.0  # s from the first instant to the last
    step: float = math.nan  # s, usual (median) time between rows
    gaps: tuple[tuple[float, float], ...] = ()  # s since the start of the file
    repeated: int = 0  # rows with the instant of the row before
    restarts: int = 0  # times an elapsed time started again at zero
    facts: Mapping[str, ChannelFacts] = field(default_factory=dict)
    bins: Any = None  # DataFrame: t (s, start of the bin), then "<channel>", "<channel>.low", "<channel>.high"
    width: float = NARROWEST  # s, of a bin
    revolutions: float = math.nan  # [-]; nan without a speed
    running_seconds: float = math.nan  # s with the speed above `sums.RUNNING`; nan without a speed
    energy: float = math.nan  # J; nan without speed and torque
    problems: tuple[Problem, ...] = ()
    usable: bool = False
    encoding: str = ""
    separator: str = ""  # a word of `records.SEPARATORS`; "" for a workbook and Parquet
    notes: tuple[str, ...] = ()
    unused: tuple[str, ...] = ()  # headers of columns the entry does not name
    meters: Mapping[str, str] = field(default_factory=dict)  # flow channel -> id of its meter
    stated: Mapping[str, float] = field(
        default_factory=dict
    )  # in the bins as well: what the entry states for all of it
    drawn: Mapping[str, tuple[str, str]] = field(default_factory=dict)  # channel of one's own -> title, unit

    @property
    def channels(self) -> tuple[str, ...]:
        return tuple(self.facts)


Tap = Callable[
    [Mapping[str, tuple[Floats, Floats]]], None
]  # gets instants [s] and samples in SI of each block, by channel


def read_log(source: LogSource, path: Path, file: str = "", tap: Tap | None = None) -> LogFile:
    """The log at `path`; `file` is its name in messages, left out: from the programs folder, as the entry says.

    `tap` is handed all samples as they are read: bins are too coarse for some.

    Never raises for what the file holds: what is wrong is among the problems, and where its time or its columns cannot
    be trusted `usable` is false and there are no bins.
    """
    name = file or (PurePosixPath(source.where.file).parent / source.file).as_posix()
    reader = _Reader(source, name, tap)
    try:
        reader.read(path)
        return reader.result()
    except Blocked as blocked:
        return reader.refused(blocked.problems)


class _Reader:
    """Takes the blocks of one file and keeps what is to be kept of them."""

    def __init__(self, source: LogSource, file: str, tap: Tap | None = None) -> None:
        self._source, self._file, self._tap = source, file, tap
        self._decimal = "."  # of a text: as found, or as the entry says
        self._layout: Layout | None = None
        self._clocks: list[Clock] = []
        self._tallies: dict[str, Tally] = {}
        self._bins = Bins()
        names = {channel.name for channel in source.channels}
        self._sums = Sums({"speed", "torque"} <= names)
        self._odd: dict[int, Odd] = {}
        self._decimals: Counter[int] = Counter()
        self._outside: dict[str, tuple[int, int, float]] = {}  # count, line and number of the first
        self._short = self._heads = self._above = self._idle = (0, 0)
        self._ended = self._rows = self._used = 0
        self._origin: float | None = None
        self._end = 0.0
        self._encoding = self._separator = ""
        self._notes: list[str] = []

    # ---- the file ---------------------------------------------------------------------------------------------------

    def read(self, path: Path) -> None:
        """All of the file. Raises `Blocked`."""
        ending = PurePosixPath(self._file).suffix.lower()
        if ending in WORKBOOKS:
            self._encoding, notes = read_workbook(path, self._file, self._source, self.take)
            self._notes += notes
        elif ending == PARQUET:
            self._encoding = read_parquet(path, self._file, self._source, self.take)
        else:
            self._text(path)

    def _text(self, path: Path) -> None:
        source, file = self._source, self._file
        begin = opening(path, file, source.encoding)
        self._encoding, self._notes = begin.encoding, list(begin.notes)
        lines = begin.lines
        written = find(lines, stated_of(source, known_headers(source)), begin.encoding)
        filled = [at for at, line in enumerate(lines, 1) if line.strip()]
        head = refusals(written, filled, source, file)
        self._source = source = settled(source, written)
        self._separator, self._decimal = written.separator.value, source.decimal
        self._notes += written.found
        numbers = [at for at in filled if at >= head][: (source.header_rows or 0) + 1 + LOOKED_AT]
        rows = [cut(lines[at - 1], self._separator) for at in numbers]
        layout = lay_out(rows, numbers, source, file, "line")
        if wrong := either(written, layout, file):
            raise Blocked(*wrong)
        parser = Parser(layout, self._separator, source.decimal, file, _has_arrow())
        size = path.stat().st_size
        threads = 1 if size <= 2 * STEP else 0
        self._bins.ahead = 1.1 * max(size / STEP, 1.0)
        first = numbers[layout.begin] if layout.begin < len(numbers) else len(lines) + 1
        for block in _in_order(parser, pieces(path, file, begin.encoding, first - 1), threads, first):
            self.take(layout, block)

    # ---- blocks -----------------------------------------------------------------------------------------------------

    def take(self, layout: Layout, block: Block) -> None:
        """One block, in the order of the file. Raises `Blocked`."""
        first = self._layout is None
        if first:
            self._begin(layout)
        self._count(block, first)
        if not block.rows:
            return
        written = [clock.written(block) for clock in self._clocks]
        if self._origin is None:
            begins = [raw[~np.isnan(raw)][0] for raw in written if not np.isnan(raw).all()]
            self._origin = float(min(begins)) if begins else None
        used = np.zeros(block.rows, dtype=bool)
        speed = torque = None
        tapped: dict[str, tuple[Floats, Floats]] = {}
        for clock, raw in zip(self._clocks, written, strict=True):
            clock.origin = self._origin
            columns = clock.axis.columns

            def sampled(columns: tuple[Column, ...] = columns) -> npt.NDArray[np.bool_]:
                found = np.zeros(block.rows, dtype=bool)
                for column in columns:
                    found |= ~np.isnan(block.numbers[column.at])
                return found

            fed = clock.feed(block, raw, sampled)
            if fed is None:
                continue
            if fed.t[0] < 0:
                self._before_start(clock, block)
            used[slice(None) if fed.kept is None else fed.kept] = True
            self._end = max(self._end, float(fed.t[-1]))
            shares = self._bins.shares(fed.t)
            for column in columns:
                samples = self._samples(column, block, fed, shares)
                if samples is None:
                    continue
                t, x, breaks = samples
                if self._tap is not None or column.name in {"speed", "torque"}:
                    si = x * column.scale + column.offset
                    tapped[column.name] = t, si
                    if column.name == "speed":
                        speed = t, si, breaks
                    elif column.name == "torque":
                        torque = t, si, breaks
        if self._tap is not None:
            self._tap(tapped)
        self._used += int(np.count_nonzero(used))
        self._sums.feed(speed, torque, speed is not None and torque is not None and speed[0] is torque[0])

    def _begin(self, layout: Layout) -> None:
        self._layout = layout
        self._clocks = [Clock(axis, self._file) for axis in layout.axes]
        self._tallies = {channel.name: Tally() for channel in self._source.channels}

    def _count(self, block: Block, first: bool) -> None:
        self._rows += block.rows + bool(block.ended)
        self._ended = block.ended or self._ended
        self._short = self._short[0] + block.short[0], self._short[1] or block.short[1]
        self._heads = self._heads[0] + block.heads[0], self._heads[1] or block.heads[1]
        self._above = self._above[0] + block.above[0], self._above[1] or block.above[1]
        self._idle = self._idle[0] + block.idle[0], self._idle[1] or block.idle[1]
        for at, odd in block.odd.items():
            own = self._odd.setdefault(at, Odd())
            own.counts.update(odd.counts)
            if len(own.cells) < _JUDGED:
                own.cells.update(odd.cells)
            for code, place in odd.first.items():
                own.first.setdefault(code, place)
        self._decimals.update(block.decimals)
        if first and (problems := self._marks()):
            raise Blocked(*problems)

    def _before_start(self, clock: Clock, block: Block) -> None:
        raise refusal(
            self._file,
            block.line(0),
            "time-backwards",
            f'the time of "{shown(clock.axis.header)}" begins before that of the channels above',
            "time columns that begin together",
            column_name=clock.axis.header,
        )

    def _samples(
        self, column: Column, block: Block, fed: Fed, shares: Shares
    ) -> tuple[Floats, Floats, npt.NDArray[np.int64]] | None:
        """Instants, samples and gaps of one channel; what is not possible is missing. None where nothing is left."""
        x: Floats = block.numbers[column.at]
        if fed.kept is not None:
            x = x[fed.kept]
        t, breaks, widest, tally = fed.t, fed.breaks, fed.widest, self._tallies[column.name]
        part = shares.of(x)
        low, high, total = part.low, part.high, part.total
        if not (low >= column.low and high <= column.high):  # also where one is nan
            with np.errstate(invalid="ignore"):
                good = (x >= column.low) & (x <= column.high)
            self._note_outside(column, block, fed, x, good)
            tally.missing += len(x) - int(np.count_nonzero(good))
            kept = np.flatnonzero(good)
            if not len(kept):
                return None
            t, x = t[kept], x[kept]
            breaks = np.unique(np.searchsorted(kept, breaks))
            breaks, widest = breaks[breaks < len(kept)], float(np.diff(t).max(initial=0.0))
            part = self._bins.shares(t).of(x)
            low, high, total = part.low, part.high, part.total
        self._bins.add(column.name, part, t, x)
        tally.feed(t, x, breaks, widest, low, high, total)
        return t, x, breaks

    def _note_outside(self, column: Column, block: Block, fed: Fed, x: Floats, good: npt.NDArray[np.bool_]) -> None:
        """Counts the samples that are there but not possible."""
        out = ~good & ~np.isnan(x)
        if not out.any():
            return
        at = int(out.argmax())
        row = at if fed.kept is None else int(fed.kept[at])
        count, line, number = self._outside.get(column.name, (0, block.line(row), float(x[at])))
        self._outside[column.name] = count + int(np.count_nonzero(out)), line, number

    # ---- the end ----------------------------------------------------------------------------------------------------

    def refused(self, problems: Iterable[Problem]) -> LogFile:
        """A file that cannot be trusted."""
        own = list(problems)
        columns = {each.column_name for each in own if each.column_name}
        own += [each for each in self._warnings() if each.column_name not in columns]
        return LogFile(
            self._file,
            self._source.engine,
            self._source.phase,
            rows=self._rows,
            problems=tuple(sorted(set(own))),
            encoding=self._encoding,
            separator=self._separator,
            notes=tuple(self._notes),
        )

    def result(self) -> LogFile:
        """All that was read. Raises `Blocked` where it cannot be trusted as a whole."""
        layout = self._layout
        if layout is None:
            raise refusal(self._file, 0, "log-empty", "there are headers but no row below them", "rows of samples")
        if wrong := [*self._marks(), *self._untrusted(layout)]:
            raise Blocked(*wrong)
        if not self._used:
            raise refusal(self._file, layout.line, "log-empty", "no row has an instant", "rows with a time and samples")
        main = self._main()
        columns = {column.name: column for axis in layout.axes for column in axis.columns}
        order = [channel.name for channel in self._source.channels]
        linear = {name: (columns[name].scale, columns[name].offset) for name in order}
        facts = {name: self._tallies[name].facts(*linear[name]) for name in order}
        turned = self._sums.turning
        if main.midnights:
            self._notes.append(f"times of day pass midnight {main.midnights} times")
        if self._idle[0]:
            rows = "row" if self._idle[0] == 1 else "rows"
            where = f"{counts(self._file)} {self._idle[1]}"
            self._notes.append(f"{self._idle[0]} {rows} with nothing in the columns that are read, first in {where}")
        bins = self._bins.frame(linear)
        for name, value in self._source.constants.items():
            bins[name] = bins[f"{name}.low"] = bins[f"{name}.high"] = value
        return LogFile(
            self._file,
            self._source.engine,
            self._source.phase,
            rows=self._rows,
            used=self._used,
            idle=self._idle[0],
            start=min((clock.start for clock in self._clocks if clock.start), default=""),
            first=self._origin or 0.0,
            seconds=self._end,
            step=round(main.track.step, 6) or math.nan,
            gaps=tuple(main.gaps),
            repeated=main.repeated[0],
            restarts=main.restarts[0],
            facts=facts,
            bins=bins,
            width=self._bins.width,
            revolutions=turned.revolutions if turned.samples else math.nan,
            running_seconds=turned.seconds if turned.samples else math.nan,
            energy=self._sums.work.joules if self._sums.work.steps else math.nan,
            problems=tuple(sorted(self._warnings())),
            usable=True,
            encoding=self._encoding,
            separator=self._separator,
            notes=tuple(self._notes),
            unused=layout.unused,
            meters={channel.name: channel.meter for channel in self._source.channels if channel.meter},
            stated=self._source.constants,
            drawn={each.name: (each.drawn, each.unit) for each in self._source.channels if each.drawn},
        )

    def _main(self) -> Clock:
        """The clock that speaks for the file: that of the whole file, else of the speed, else of the first channel."""
        for clock in self._clocks:
            if self._source.time is not None and self._source.time.at and clock.axis.time.at == self._source.time.at:
                return clock
        return next(
            (clock for clock in self._clocks if any(c.name == "speed" for c in clock.axis.columns)), self._clocks[0]
        )

    # ---- problems ---------------------------------------------------------------------------------------------------

    def _problem(
        self,
        line: int,
        code: str,
        what: str,
        expected: str = "",
        step: str = "",
        column: str = "",
        level: Literal["error", "warning"] = "error",
    ) -> Problem:
        return Problem(self._file, line, 0, code, what, expected, next_step=step, column_name=column, level=level)

    def _marks(self) -> list[Problem]:
        """Columns whose numbers bear other marks than announced, judged over all that was read of them."""
        found = []
        for at, odd in sorted(self._odd.items()):
            if not odd.cells or self._layout is None:
                continue
            marked = float(self._decimals[at])
            share = min(1.0, _JUDGED / (sum(odd.cells.values()) + marked))
            cells = [cell for cell, count in odd.cells.items() for _ in range(max(1, round(count * share)))]
            cells += [f"0{self._decimal}5"] * round(marked * share)
            others = int(sum(count for column, count in self._decimals.items() if column != at))
            read = numbers(np.array(cells, dtype=object), self._decimal, elsewhere=others)
            if read.complaint:
                what, expected, step = _MARKS[read.complaint]
                line = odd.first["not-a-number"][0]
                told = what.format(cell=shown(cells[read.at]))
                found.append(self._problem(line, read.complaint, told, expected, step, self._layout.label(at)))
        return found

    def _untrusted(self, layout: Layout) -> Iterator[Problem]:
        """What is wrong with more than half of a column or of the rows."""
        for at, odd in sorted(self._odd.items()):
            count = odd.counts["not-a-number"]
            samples = self._filled(at)
            if count > max(_MOST_ODD * (samples + odd.counts.total()), 1):
                line, cell = odd.first["not-a-number"]
                step = "see whether the entry names the right column"
                if ":" in cell:
                    step = "if it is a time of day, or hours, minutes and seconds run, write `clock` for its `column`"
                yield self._problem(
                    line,
                    "column-not-numbers",
                    f'"{shown(cell)}" is no number, nor are {count} cells of the column',
                    "numbers",
                    step,
                    layout.label(at),
                )
        count, line = self._short
        if count > max(_MOST_SHORT * self._rows, 1):
            yield self._problem(
                line,
                "rows-too-short",
                f"{count} of {self._rows} rows have fewer fields than the header",
                f"{layout.named} fields: {shown(', '.join(layout.header), 200)}",
                "see whether the separator is right, and fill up the rows",
            )

    def _filled(self, at: int) -> int:
        """Cells of a column that were numbers."""
        for clock in self._clocks:
            if at in clock.axis.at:
                return clock.rows
            for column in clock.axis.columns:
                if column.at == at:
                    return self._tallies[column.name].n + self._outside.get(column.name, (0, 0, 0.0))[0]
        return 0

    def _warnings(self) -> list[Problem]:
        """What was left out, once a kind and channel."""
        layout = self._layout
        if layout is None:
            return []
        found: list[Problem] = [*layout.warnings]

        def tell(
            line: int, code: str, what: str, expected: str, column: str = "",
            step: str = "correct the log, or leave them missing",
        ) -> None:  # fmt: skip
            found.append(self._problem(line, code, what, expected, step, column, "warning"))

        for at, odd in self._odd.items():
            for code, count in odd.counts.items():
                line, cell = odd.first[code]
                if count:
                    said = f'"{shown(cell)}": {READING[code].replace("something in it", "it")}'
                    tell(line, code, said + _alike(count, "cell"), "a number", layout.label(at))
        for clock in self._clocks:
            for code, (count, line, cell) in clock.faults.items():
                said = f'"{shown(cell)}" {FAULTS[code]}; its row is not used'
                tell(line, code, said + _alike(count, "row"), "a stamp like the others", clock.axis.header)
            if clock.untimed[0]:
                said = "the row holds samples but no time, so it is not used"
                tell(clock.untimed[1], "time-missing", said + _alike(clock.untimed[0], "row"), "a time in every row",
                     clock.axis.header)  # fmt: skip
            if clock.restarts[0]:
                said = "the elapsed time starts again at zero; it goes on from here, and the pause is not known"
                tell(clock.restarts[1], "time-restarts", said + _alike(clock.restarts[0], "place"),
                     "a file of its own for each run", clock.axis.header)  # fmt: skip
            if clock.set_back[0]:
                said = "the time goes back by an hour: the clock was set back there, and the record goes on"
                tell(clock.set_back[1], "clock-set-back", said + _alike(clock.set_back[0], "place"),
                     "a clock that is not set during a run", clock.axis.header,
                     "see whether it is so, or leave out what was logged before")  # fmt: skip
            for instant in clock.set_forward():
                said = f"just an hour is missing after {iso(instant)}: a clock set forward, or an hour not recorded"
                tell(0, "clock-set-forward", f"{said}; it counts as not recorded",
                     "a clock that is not set during a run", clock.axis.header,
                     "where the clock was set, log elapsed time, or stamps with their zone")  # fmt: skip
            if clock.repeated[0]:
                said = f"the time is that of the {counts(self._file)} before, and both count"
                tell(clock.repeated[1], "time-repeated", said + _alike(clock.repeated[0], counts(self._file)),
                     "a time of its own in each", clock.axis.header)  # fmt: skip
        if self._above[0]:
            lines = counts(self._file) + "s" * (self._above[0] > 1)
            said = (
                f"another preamble stands above the headers again ({self._above[0]} {lines} in all): a section of "
                "its own begins, and its rows are read on as those of one log"
            )
            step = "if they are runs of their own, make a file of each"
            tell(self._above[1], "section-begins", said, "one preamble and one row of headers, at the top", step=step)
        elif self._heads[0]:
            said = "the headers stand here again, and are skipped"
            tell(self._heads[1], "header-repeated", said + _alike(self._heads[0], "place"), "headers once")
        columns = {column.name: column for axis in layout.axes for column in axis.columns}
        for name, (count, line, number) in self._outside.items():
            column = columns[name]
            said = f"{number:.6g} is not possible for {column.title.lower()}"
            tell(line, "outside-limits", said + _alike(count, "cell"), f"{column.low:.6g} to {column.high:.6g}",
                 column.header)  # fmt: skip
        if self._short[0]:
            said = "the row has fewer fields than the header; what it lacks is missing"
            tell(self._short[1], "short-row", said + _alike(self._short[0], "row"), f"{layout.named} fields")
        if self._ended:
            said = f"the file ends in the middle of this {counts(self._file)}, which is not used"
            tell(self._ended, "file-cut", said, f"{layout.named} fields and the end of the line")
        return sorted(set(found))


def _has_arrow() -> bool:
    """Whether the reader of pyarrow can be loaded: it is optional, and one that fails to load is as good as none."""
    try:
        import pyarrow.csv  # noqa: F401
    except Exception:  # a compiled package fails to load in ways of its own
        return False
    return True


def _alike(count: int, noun: str) -> str:
    return "" if count == 1 else f" (this {noun} and {count - 1} more)"


def _in_order(parser: Parser, found: Iterator[Piece], threads: int, line: int) -> Iterator[Block]:
    """Pieces read by several threads, in order, from `line` on. What goes wrong in a piece is raised in its turn."""
    affinity = getattr(os, "sched_getaffinity", None)
    threads = threads or min(_THREADS, len(affinity(0)) if affinity else os.cpu_count() or 1)
    for block in map(_told(parser), found) if threads == 1 else _side_by_side(_told(parser), found, threads):
        if isinstance(block, Blocked):
            raise Blocked(*(replace(each, line=each.line + line - 1) for each in block.problems))
        count = block.count
        yield block.moved(line - 1)
        line += count


def _told(parser: Parser) -> Callable[[Piece], Block | Blocked]:
    """A refusal handed back rather than raised: its lines are still to be counted from the beginning of the file."""

    def read(piece: Piece) -> Block | Blocked:
        try:
            return parser(piece)
        except Blocked as blocked:
            return blocked

    return read


def _side_by_side(
    read: Callable[[Piece], Block | Blocked], found: Iterator[Piece], threads: int
) -> Iterator[Block | Blocked]:
    with ThreadPoolExecutor(threads) as pool:
        waiting: deque[Future[Block | Blocked]] = deque()
        for piece in found:
            waiting.append(pool.submit(read, piece))
            if len(waiting) > _AHEAD:
                yield waiting.popleft().result()
        while waiting:
            yield waiting.popleft().result()
