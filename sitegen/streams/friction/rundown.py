"""The file of one run down: speed over time, as loggers export it in text."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from sitegen import units
from sitegen.methods.friction import Floats
from sitegen.problems import listed, shown
from sitegen.reader.blocked import Blocked, refusal
from sitegen.reader.decode import read_text
from sitegen.reader.place import TIMES
from sitegen.streams.friction.fields import Reading
from sitegen.tables.rows import Written
from sitegen.traces.lines import blocks_of
from sitegen.traces.points import Points, unit_of

# words for speed in headers; common practice, no source
_SPEEDS = frozenset({"n", "speed", "rpm", "revs", "engine", "drehzahl", "motordrehzahl", "régime", "régimen"})
_MOST_BAD = 0.2  # share of its rows that may lack a number; a convention of ours
_LEAST = 3


@dataclass(frozen=True)
class RunDown:
    """One run down as it was sampled."""

    time: Floats  # s, ascending
    speed: Floats  # rad/s
    digest: str  # sha256 of the file


def read_run_down(path: Path, file: str, row: Reading) -> RunDown:
    """The run down in the text file at `path`; `file` is its name in messages. Raises `Blocked`."""
    content = read_text(path, file)
    try:
        blocks = blocks_of(content.text.split("\n"), file)
    except Blocked as why:
        told = (
            replace(each, expected="rows of time and speed", next_step="export it as text") for each in why.problems
        )
        raise Blocked(*told) from None
    if len(blocks) > 1:
        raise refusal(
            file, blocks[1].above, "run-down-parted", f"{len(blocks)} blocks of numbers stand in it",
            "one run down in a file", "write each to a file of its own",
        )  # fmt: skip
    points = blocks[0]
    at_time, at_speed = _columns(points, file, row)
    time = _in_si(points, at_time, _text(row.time_unit), "time", file)
    speed = np.abs(_in_si(points, at_speed, _text(row.speed_unit), "speed", file))
    good = np.isfinite(time) & np.isfinite(speed)
    if good.sum() < max(_LEAST, (1 - _MOST_BAD) * len(time)):
        at = int(np.argmin(good))
        raise refusal(
            file, int(points.lines[at]), "trace-not-numbers",
            f"{int((~good).sum())} of its {len(good)} rows lack time or speed", "rows of time and speed",
            "see whether the file is whole",
        )  # fmt: skip
    time, speed = time[good], speed[good]
    back = np.flatnonzero(np.diff(time) <= 0)
    if len(back):
        line = int(np.asarray(points.lines)[good][back[0] + 1])
        raise refusal(
            file, line, "time-goes-back", "time does not go on here", "time that grows from row to row",
            "see which column is the time, and whether it is written with enough digits",
        )  # fmt: skip
    return RunDown(time, speed, content.digest)


def _columns(points: Points, file: str, row: Reading) -> tuple[int, int]:
    """Columns of time and speed: as the record says, else by their headers, else the only two."""
    headers = [" ".join(each.split()) for each in points.headers]
    found: list[int | None] = []
    for named, known in ((_text(row.time_column), TIMES), (_text(row.speed_column), _SPEEDS)):
        wanted = " ".join(named.split())
        if wanted and wanted not in headers:
            names = [each for each in headers if each]
            raise refusal(
                file, points.above, "trace-column-missing", f'no column is headed "{shown(named)}"',
                shown(listed(names, 8), 200) if names else "a row of headers above the numbers",
            )  # fmt: skip
        own = [at for at, each in enumerate(headers) if each == wanted or (not wanted and _name(each) in known)]
        found.append(own[0] if len(own) == 1 else None)
    time, speed = found
    if time is None and speed is None and len(headers) == 2:
        return 0, 1
    if len(headers) == 2 and (time is None) != (speed is None):
        return (1 - speed, speed) if speed is not None else (time or 0, 1 - (time or 0))
    if time is None or speed is None:
        raise refusal(
            file, points.above, "trace-columns-unclear",
            f"{len(headers)} columns, and nothing says which of them are time and speed",
            "headers such as Time and Speed, or `time_column` and `speed_column` in the record",
        )  # fmt: skip
    return time, speed


def _in_si(points: Points, at: int, stated: str, what: str, file: str) -> Floats:
    """A column in s or rad/s."""
    written = unit_of(points.headers[at], points.units[at]).strip().strip("[]()")
    for text in (written, stated):
        try:
            scale, offset = units.converter(text, what)
        except units.UnitError:
            continue
        return np.asarray(points.columns[at]) * scale + offset
    text = written or stated
    said = f'"{shown(text)}" is no unit of {what}' if text else f"nothing says the unit of {what}"
    spellings = listed(units.DIMENSIONS[what].spellings)
    raise refusal(
        file, points.above, "trace-unit-missing", said, spellings,
        f"write `{what}_unit` in the record, or the unit beside the header",
    )  # fmt: skip


def _name(header: str) -> str:
    """First word of a header, without its unit."""
    words: Sequence[str] = header.casefold().replace("[", " ").replace("(", " ").replace(",", " ").split()
    return words[0] if words else ""


def _text(cell: Written) -> str:
    return cell if isinstance(cell, str) else ""
