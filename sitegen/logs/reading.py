"""One log file: its text laid out, its columns found, its instants and channels read, its faults told."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sitegen.logs.stamps import Instants, instants
from sitegen.problems import nearest, shown
from sitegen.program import channels
from sitegen.program.model import LogChannel, LogSource, LogTime
from sitegen.tables import decode
from sitegen.tables.blocked import Blocked
from sitegen.vocabulary import Problem

Floats = NDArray[np.float64]
OVERFLOW = ("*.*******", "********", "OVER", "OVERFLOW", "OL", "---", "--", "-", "n/a", "N/A", "NaN", "nan")
MOST_UNREADABLE = 0.5  # share of a column's cells that cannot be numbers before the column is not trusted


@dataclass(frozen=True)
class LogFile:
    """What was read of one log file: samples of each channel over time, in SI."""

    source: LogSource
    file: str  # relative to the programs folder
    rows: int = 0
    used: int = 0
    encoding: str = ""
    start: str = ""  # ISO stamp where the log has one
    seconds: float = 0.0  # from its first to its last instant
    step: float = 1.0  # usual time between rows [s]
    repeated: int = 0  # rows with the instant of the row before
    samples: Mapping[str, tuple[Floats, Floats]] = field(default_factory=dict)  # channel -> seconds, values
    problems: tuple[Problem, ...] = ()

    @property
    def usable(self) -> bool:
        """False where its time axis or its columns cannot be trusted."""
        return all(problem.level != "error" for problem in self.problems)


class _Faults:
    """Problems of one file."""

    def __init__(self, file: str) -> None:
        self._file = file
        self.found: list[Problem] = []

    def add(self, line: int, code: str, what: str, *, expected: str = "", near: str = "", step: str = "",
            column: str = "", level: Any = "error") -> None:  # fmt: skip
        self.found.append(
            Problem(
                self._file, line, 0, code, what, expected=expected, nearest=near, next_step=step, column_name=column,
                level=level,
            )
        )  # fmt: skip


@dataclass(frozen=True)
class _Grid:
    """Columns of a log by header, and the line of the file its first row stands in."""

    frame: Any
    first_line: int
    encoding: str
    units: Mapping[str, str] = field(default_factory=dict)


def read_log(source: LogSource, path: Path, file: str) -> LogFile:
    """The samples of one log file; what is wrong with it is among its problems."""
    faults = _Faults(file)
    try:
        if path.suffix == ".parquet":
            grid = _parquet(path, faults)
        else:
            grid = _plain(source, path) or _text(source, path, file, faults)
    except Blocked as blocked:
        return LogFile(source, file, problems=tuple(blocked.problems))
    if grid is None:
        return LogFile(source, file, problems=tuple(faults.found))
    headers = [str(each) for each in grid.frame.columns]
    _known_headers(source, headers, faults)
    if faults.found:
        return LogFile(source, file, len(grid.frame), encoding=grid.encoding, problems=tuple(faults.found))
    shared = _instants(source.time, grid, source, faults) if source.time is not None else None
    samples: dict[str, tuple[Floats, Floats]] = {}
    for channel in source.channels:
        at = shared if channel.time is None else _instants(channel.time, grid, source, faults)
        values = _values(channel, grid, source, faults)
        if at is None or values is None:
            continue
        known = np.isfinite(at.seconds)
        samples[channel.name] = at.seconds[known], values[known]
    own = [t for t, _ in samples.values() if len(t)]
    rows = len(grid.frame)
    seconds = max((float(t[-1]) for t in own), default=0.0)
    base = shared.seconds[np.isfinite(shared.seconds)] if shared is not None else own[0] if own else np.zeros(0)
    steps = np.diff(base)
    return LogFile(
        source,
        file,
        rows,
        rows if not any(problem.level == "error" for problem in faults.found) else 0,
        grid.encoding,
        shared.start if shared is not None else "",
        seconds,
        float(np.median(steps[steps > 0])) if (steps > 0).any() else 1.0,
        int((steps == 0).sum()),
        samples,
        tuple(faults.found),
    )


# ---- laying out -----------------------------------------------------------------------------------------------------


def _plain(source: LogSource, path: Path) -> _Grid | None:
    """A log without surprises, straight from the file: ASCII, LF or CRLF, no quotes, every row as long as the headers.

    None for any other, which is then read with care. Counting separators and line ends tells it at a fraction of the
    time a reading takes; each count is of the whole file.
    """
    if source.header_rows != 1 or source.units_row or source.encoding not in {"", "utf-8"} or not path.is_file():
        return None
    data = path.read_bytes()
    if not data.isascii() or b'"' in data or b"\0" in data or data.count(b"\r") != data.count(b"\r\n"):
        return None
    at = 0
    for _ in range(source.skip_rows):
        at = data.find(b"\n", at) + 1
        if at == 0:
            return None
    end = data.find(b"\n", at)
    head = data[at : end if end >= 0 else None].decode().strip()
    if not head or end < 0 or data.count(head.encode(), at) > 1:
        return None
    separator = {"tab": "\t"}.get(source.separator, source.separator) or _separator(source, head)
    names = _cut(head, separator)
    rows = data.count(b"\n", end + 1) + (not data.endswith(b"\n"))
    even = data.count(separator.encode(), end) == rows * (len(names) - 1) and b"\n\n" not in data[end:]
    if not even or not rows or len(set(names)) < len(names) or "" in names:
        return None
    del data
    frame = pd.read_csv(
        path, sep=separator, header=None, names=names, index_col=False, decimal=source.decimal, encoding="utf-8",
        na_values=list(OVERFLOW), skiprows=source.skip_rows + 1, skipinitialspace=True, skip_blank_lines=False,
    )  # fmt: skip
    return _Grid(frame, source.skip_rows + 2, "utf-8") if len(frame) == rows else None


def _text(source: LogSource, path: Path, file: str, faults: _Faults) -> _Grid | None:
    decoded = decode.read_text(path, file, source.encoding)
    lines = decoded.text.split("\n")
    at = source.skip_rows
    while at < len(lines) and not lines[at].strip():
        at += 1
    if at >= len(lines):
        faults.add(0, "log-empty", "the file holds no row", expected="headers and samples below them")
        return None
    separator = {"tab": "\t"}.get(source.separator, source.separator) or _separator(source, lines[at])
    tops = [_cut(lines[at + row], separator) for row in range(source.header_rows) if at + row < len(lines)]
    headers = [" ".join(part for part in parts if part) for parts in zip(*_even(tops), strict=True)]
    at += source.header_rows
    stated: dict[str, str] = {}
    if source.units_row and at < len(lines):
        stated = dict(zip(headers, _cut(lines[at], separator), strict=False))
        at += 1
    body = lines[at:]
    while body and not body[-1].strip():
        body.pop()
    if not _even_rows(body, at, headers, separator, faults):
        return None
    repeated = {lines[source.skip_rows]}
    kept = [line for line in body if line and line not in repeated]  # a header written again in mid-file
    names = [name or f"column {place}" for place, name in enumerate(headers, start=1)]
    doubles = sorted({name for name in names if names.count(name) > 1})
    if doubles:
        faults.add(
            at, "log-header-twice", f'the header "{shown(doubles[0])}" stands over two columns', step="rename one"
        )
        return None
    frame = pd.read_csv(
        io.StringIO("\n".join(kept)), sep=separator, header=None, names=names, index_col=False, decimal=source.decimal,
        na_values=list(OVERFLOW), low_memory=False, skipinitialspace=True, usecols=range(len(names)),
    )  # fmt: skip
    return _Grid(frame, at + 1, decoded.encoding, stated)


def _separator(source: LogSource, line: str) -> str:
    """The separator that splits the headers into the most columns that are asked for."""
    wanted = _wanted(source)
    scored = [(len(wanted & set(_cut(line, each))), each) for each in (",", ";", "\t")]
    return max(scored, key=lambda each: each[0])[1]


def _cut(line: str, separator: str) -> list[str]:
    import csv

    return [cell.strip() for cell in next(csv.reader([line], delimiter=separator), [])]


def _even(rows: Sequence[list[str]]) -> list[list[str]]:
    width = max(map(len, rows), default=0)
    return [row + [""] * (width - len(row)) for row in rows]


def _even_rows(body: Sequence[str], at: int, headers: list[str], separator: str, faults: _Faults) -> bool:
    """Rows with one field more than the headers would shift every column: refused. A trailing separator is no field."""
    counts = np.fromiter((line.count(separator) for line in body), dtype=int, count=len(body)) + 1
    wide = np.flatnonzero(counts > len(headers)).tolist()
    full = [
        place
        for place in wide
        if '"' not in body[place] and body[place].rstrip().rstrip(separator).count(separator) + 1 > len(headers)
    ]
    if full:
        faults.add(
            at + full[0] + 1, "log-row-long", f"the row has {counts[full[0]]} fields, the headers {len(headers)}",
            expected="a header over every column", step="name the column without a header, or take it out",
        )  # fmt: skip
        return False
    if len(body) > 1 and counts[-1] < len(headers) and counts[:-1].min(initial=len(headers)) == len(headers):
        faults.add(
            at + len(body), "log-cut", f"the last row ends after {counts[-1]} of {len(headers)} fields",
            expected="a whole row", step="copy the file again, or leave it: the row's missing fields are not used",
            level="warning",
        )  # fmt: skip
    return True


def _parquet(path: Path, faults: _Faults) -> _Grid | None:
    try:
        frame = pd.read_parquet(path)
    except ImportError:
        faults.add(
            0, "log-parquet", "a Parquet file needs the extra of that name", step="pip install 'sitegen[parquet]'"
        )
        return None
    except (OSError, ValueError) as fault:
        faults.add(0, "log-parquet", f"the Parquet file cannot be read: {shown(str(fault).splitlines()[0])}")
        return None
    return _Grid(frame, 1, "parquet")


# ---- columns --------------------------------------------------------------------------------------------------------


def _wanted(source: LogSource) -> set[str]:
    times = [source.time, *(channel.time for channel in source.channels)]
    return {channel.header for channel in source.channels} | {h for time in times if time for h in time.headers}


def _known_headers(source: LogSource, headers: Sequence[str], faults: _Faults) -> None:
    for name in sorted(_wanted(source) - set(headers)):
        faults.add(
            source.skip_rows + 1, "log-no-column", f'there is no column "{shown(name)}"',
            expected="one of the headers of the file", near=nearest(name, headers),
        )  # fmt: skip


def _instants(time: LogTime, grid: _Grid, source: LogSource, faults: _Faults) -> Instants | None:
    """The instants of a time column, checked to run forwards."""
    name = " and ".join(time.headers)
    found = instants([grid.frame[header] for header in time.headers], time, source.decimal)
    if found is None or not np.isfinite(found.seconds).any():
        faults.add(
            grid.first_line, "log-time-unread", "the instants cannot be read", column=name,
            expected=f"{time.kind.replace('-', ' ')}{f', {time.date_order}' if time.date_order else ''}",
        )  # fmt: skip
        return None
    known = np.flatnonzero(np.isfinite(found.seconds))
    back = np.flatnonzero(np.diff(found.seconds[known]) < 0)
    if len(back):
        row = int(known[back[0] + 1])
        faults.add(
            grid.first_line + row, "log-time-backwards", "time runs backwards here", column=name,
            expected="instants in order; an elapsed time may start again at nought",
        )  # fmt: skip
        return None
    return found


def _values(channel: LogChannel, grid: _Grid, source: LogSource, faults: _Faults) -> Floats | None:
    """Samples of a channel in SI; cells that are no number, or no possible one, are missing and counted."""
    column = grid.frame[channel.header]
    what = channels.of(channel)
    numbers = pd.to_numeric(column, errors="coerce").to_numpy(dtype=float)
    filled = column.notna().to_numpy()
    unread = filled & ~np.isfinite(numbers)
    if unread.sum() > MOST_UNREADABLE * max(1, filled.sum()):
        row = int(np.flatnonzero(unread)[0])
        faults.add(
            grid.first_line + row, "log-column-unread", f'"{shown(column.iloc[row])}" is no number',
            column=channel.header, expected=f"numbers with the decimal mark {source.decimal!r}",
        )  # fmt: skip
        return None
    scale, offset = channels.converter(what, channel.unit)
    values: Floats = numbers * scale + offset
    impossible = np.isfinite(values) & ((values < what.low) | (values > what.high))
    values[impossible] = np.nan
    for bad, code, told in (
        (unread, "log-cell-unread", "no number"),
        (impossible, "log-cell-impossible", "not possible"),
    ):
        if bad.any():
            row = int(np.flatnonzero(bad)[0])
            faults.add(
                grid.first_line + row, code, f'"{shown(column.iloc[row])}" is {told}; so are {int(bad.sum())} in all',
                column=channel.header, level="warning",
            )  # fmt: skip
    return values
