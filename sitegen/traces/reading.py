"""One trace file to its points.

A file holds one trace or several: rows of numbers in a text or a worksheet (`lines`), or numbers in an element of XML
(`markup`). Which column is what is taken from the record, else from the headers, else from the order (x, then z). Units
are never guessed, and of several traces none is taken that the record does not name.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path, PurePosixPath

import numpy as np

from sitegen import units
from sitegen.problems import listed, nearest, shown
from sitegen.program.files import WORKBOOKS
from sitegen.reader.blocked import Blocked, refusal
from sitegen.reader.decode import decode, read_text, taken
from sitegen.reader.kinds import PACKED_LIMIT
from sitegen.reader.numbers import LONGEST
from sitegen.traces.lines import blocks_in, blocks_of
from sitegen.traces.markup import elements_of, is_xml
from sitegen.traces.points import HEIGHTS, LEAST_POINTS, SPACING, Asked, Floats, Points, metres, unit_of
from sitegen.vocabulary import Problem

MOST_ROWS = 200_000  # of a worksheet
MOST_BAD = 0.2  # share of its rows a trace may lack a number in; a convention of ours
MOST_BACK = 0.05  # share of its length a trace may go back and still be one trace; a convention of ours
MOST_ALIKE = 0.2  # share of its points that may stand at one height in a row; a convention of ours
MOST_LISTED = 20  # beginnings of traces that a message names
SAME_STEP = 1e-3  # share two statements of a step may differ by
_X = ("x", "lateral", "distance", "position", "length", "travel")
_VALID = ("valid", "validity", "flag", "ok")
_INDEX = ("index", "no", "no.", "n", "nr", "number", "point")


@dataclass(frozen=True)
class Trace:
    """One trace as the instrument wrote it."""

    x: Floats  # m, in the order of the file
    z: Floats  # m; nan where the point is marked as not valid, or is no number
    invalid: int
    facts: Mapping[str, str] = field(default_factory=dict)  # key -> value, of what stands above the points
    stated: Mapping[str, float] = field(default_factory=dict)  # "ra" ... -> m
    encoding: str = ""
    digest: str = ""  # sha256 of the bytes
    part: tuple[str, int, str] = ("", 1, "")  # of the file: worksheet, section, column of heights
    notes: tuple[str, ...] = ()
    doubts: tuple[Problem, ...] = ()  # warnings: rows without a number, places that step back, heights that stand still

    @property
    def length(self) -> float:
        """Distance from the first to the last point [m]."""
        return float(self.x.max() - self.x.min()) if len(self.x) else 0.0

    @property
    def step(self) -> float:
        """Median distance of neighbouring points [m]."""
        return float(np.median(np.abs(np.diff(self.x)))) if len(self.x) > 1 else math.nan


@dataclass(frozen=True)
class _Held:
    """What a file holds before one trace of it is chosen."""

    blocks: Sequence[Points]
    encoding: str
    digest: str
    notes: tuple[str, ...]
    sheet: str = ""


@dataclass(frozen=True)
class _Run:
    """Rows of a block along which x runs one way, in metres; nan where a row says none."""

    points: Points
    at_z: int
    x: Floats
    z: Floats
    valid: np.ndarray
    used: tuple[int, ...]  # columns that were read
    begin: int  # of the rows of the block
    end: int
    stepped: bool = False  # whether its places follow from a step
    back: float = 0.0  # m, that x goes back where this begins


def read_trace(path: Path, file: str, asked: Asked) -> Trace:
    """The trace in the file at `path`; `file` is its name in messages. Raises `Blocked` where it cannot be trusted."""
    if PurePosixPath(file).suffix.lower() in WORKBOOKS:
        return _trace(_in_workbook(path, file, asked), file, asked)
    content = read_text(path, file, asked.encoding)
    return _trace(_in_text(content.text, file, asked, content.encoding, content.digest, content.notes), file, asked)


def trace_of(data: bytes, file: str, asked: Asked) -> Trace:
    """The trace in these bytes of a text. Raises `Blocked`; see `read_trace`."""
    content = decode(data, file, asked.encoding)
    return _trace(_in_text(content.text, file, asked, content.encoding, content.digest, content.notes), file, asked)


def _in_text(text: str, file: str, asked: Asked, encoding: str, digest: str, notes: tuple[str, ...]) -> _Held:
    if is_xml(text):
        return _Held(elements_of(text, file, asked), encoding, digest, notes)
    return _Held(blocks_of(text.split("\n"), file), encoding, digest, notes)


def _in_workbook(path: Path, file: str, asked: Asked) -> _Held:
    """The blocks of the worksheet asked for, else of the only one that holds some."""
    from sitegen.reader.workbook import read_worksheets

    data = taken(path, file, lambda stream: stream.read(), PACKED_LIMIT)
    names: list[str] = []
    found: dict[str, _Held] = {}
    for name, grid in read_worksheets(data, file, asked.sheet, MOST_ROWS):
        names.append(name)
        if grid is None:
            continue
        try:
            blocks = blocks_in(grid.rows, grid.numbers, file)
        except Blocked:
            if asked.sheet:
                raise
            continue
        found[name] = _Held(blocks, grid.encoding, grid.digest, tuple(grid.notes), name)
    if asked.sheet and asked.sheet not in names:
        raise refusal(
            file, 0, "worksheet-unknown", f'it has no worksheet "{shown(asked.sheet)}"', listed(names),
            "correct `sheet` in the record", nearest=nearest(asked.sheet, names),
        )  # fmt: skip
    if len(found) == 1:
        return next(iter(found.values()))
    if found:
        raise refusal(
            file, 0, "worksheet-unstated", f"{len(found)} of its worksheets hold rows of numbers",
            f"the name of one: {listed(found)}", "write `sheet` in the record",
        )  # fmt: skip
    raise refusal(
        file, 0, "trace-no-points", "none of its worksheets holds rows of numbers", "rows of x and z",
        "see whether this is the right file",
    )  # fmt: skip


# ---- which trace of the file ----------------------------------------------------------------------------------------


def _trace(held: _Held, file: str, asked: Asked) -> Trace:
    section, run = _chosen(held, file, asked)
    points, rows = run.points, slice(run.begin, run.end)
    lines = points.lines[rows]
    bad = [(row - run.begin, at) for row, at in points.over if run.begin <= row < run.end]
    bad += [(row, at) for at in run.used for row in np.flatnonzero(np.isnan(points.columns[at][rows])).tolist()]
    doubts = _not_numbers(bad, lines, points.headers, file)
    _counted(points, len(lines), file)
    valid = run.valid[rows]
    if int(valid.sum()) < LEAST_POINTS:
        raise refusal(
            file, lines[0], "trace-too-few-points", f"{int(valid.sum())} of its {len(lines)} points are valid",
            f"at least {LEAST_POINTS}", "see whether this is the right file",
        )  # fmt: skip
    known = np.isfinite(run.x[rows])
    x, z = run.x[rows][known], np.where(valid, run.z[rows], np.nan)[known]
    at = [lines[place] for place in np.flatnonzero(known).tolist()]
    if float(x.max() - x.min()) <= 0:
        raise refusal(
            file, lines[0], "trace-no-length", "all its points stand at the same place",
            "places that differ", "see whether x and z are the right columns",
        )  # fmt: skip
    doubts += [*_onwards(x, at, file), *_moving(z, at, file)]
    return Trace(
        x, z, len(lines) - int(valid.sum()), points.facts, points.stated, held.encoding, held.digest,
        (held.sheet, section, points.headers[run.at_z] or str(run.at_z)), held.notes, tuple(doubts),
    )  # fmt: skip


def _chosen(held: _Held, file: str, asked: Asked) -> tuple[int, _Run]:
    """The trace asked for, and which it is; else the only one. Raises `Blocked` where that is not clear."""
    blocks = held.blocks
    runs: list[_Run | tuple[Points, Blocked]] = []
    for points in blocks:
        try:
            made = _metres(points, file, asked)
        except Blocked as why:
            if len(blocks) == 1:
                raise
            runs.append((points, why))  # counts as one, and is told where it is the one asked for
            continue
        before = runs[-1] if runs else None
        if points.goes_on and isinstance(before, _Run) and _ahead(before, made):
            made = _joined(before, made)
            runs.pop()
        runs += _one_way(made)
    section = 1 if asked.section is None and len(runs) == 1 else asked.section
    if section is None or section > len(runs):
        raise _not_chosen(runs, section, len(blocks), "rows" if held.sheet else "lines", file)
    run = runs[section - 1]
    if not isinstance(run, _Run):
        raise run[1]
    return section, run


def _not_chosen(
    runs: Sequence[_Run | tuple[Points, Blocked]], section: int | None, blocks: int, word: str, file: str
) -> Blocked:
    """What is told where none of several traces is asked for, or one that is not there."""
    begins = [(each.points.lines[each.begin] if isinstance(each, _Run) else each[0].lines[0]) for each in runs]
    back = next((each.back for each in runs if isinstance(each, _Run) and each.back), 0.0)
    if section is not None:
        holds = f"{len(runs)} traces" if len(runs) > 1 else "one trace"
        code, what = "trace-section-unknown", f"section {section} is asked for, and the file holds {holds}"
    else:
        first, last = ", ".join(str(line) for line in begins[:-1][:MOST_LISTED]), begins[-1]
        more = ", ..." if len(begins) > MOST_LISTED + 1 else ""
        code, what = (
            "trace-sections",
            f"the file holds {len(runs)} traces, which begin in {word} {first}{more} and {last}",
        )
        if back and blocks == 1:
            code, what = "trace-goes-back", f"x goes back here, by {1e3 * back:.4g} mm in all, so that {what}"
    return refusal(
        file, begins[min(1, len(begins) - 1)], code, what,
        f"the number of one of them, 1 to {len(runs)}" if len(runs) > 1 else "no section, or 1",
        "write `section` in the record, or see which column is x",
    )  # fmt: skip


def _metres(points: Points, file: str, asked: Asked) -> _Run:
    """All rows of a block in metres. Raises `Blocked` where columns, units or the step are not known."""
    at_x, at_z, at_valid = _places(points, file, asked)
    x: Floats
    z = points.columns[at_z] * _scale(points, at_z, asked.z_unit, file, "z")
    if at_x is None:
        x = np.arange(len(z), dtype=np.float64) * _step(points, file, asked)
    else:
        x = points.columns[at_x] * _scale(points, at_x, asked.x_unit, file, "x")
    valid = np.isfinite(x) & np.isfinite(z)
    if at_valid is not None:
        valid &= points.columns[at_valid] > 0
    used = tuple(sorted({at for at in (at_x, at_z, at_valid) if at is not None}))
    return _Run(points, at_z, x, z, valid, used, 0, len(z), stepped=at_x is None)


def _ahead(before: _Run, made: _Run) -> bool:
    """Whether the places of a block go on from those of the rows before, whose headers it repeats."""
    first, last = (run.x[run.begin : run.end][np.isfinite(run.x[run.begin : run.end])] for run in (before, made))
    if before.stepped or len(first) < LEAST_POINTS or len(last) < LEAST_POINTS:
        return False
    return bool((first[-1] - first[0]) * (last[0] - first[-1]) > 0 and (last[-1] - last[0]) * (last[0] - first[-1]) > 0)


def _joined(before: _Run, made: _Run) -> _Run:
    one, other, begin = before.points, made.points, before.begin
    over = [*one.over, *((len(one.lines) + row, at) for row, at in other.over)]
    points = replace(
        one, lines=[*one.lines, *other.lines], over=over,
        columns=[np.concatenate(pair) for pair in zip(one.columns, other.columns, strict=True)],
    )  # fmt: skip
    x, z, valid = (
        np.concatenate(pair) for pair in ((before.x, made.x), (before.z, made.z), (before.valid, made.valid))
    )
    return replace(before, points=points, x=x, z=z, valid=valid, begin=begin, end=len(x))


def _one_way(run: _Run) -> list[_Run]:
    """Rows in as many pieces as x runs along: a new one begins where x has gone back by more than a slip."""
    places = run.begin + np.flatnonzero(np.isfinite(run.x[run.begin : run.end]))
    x = run.x[places]
    least = MOST_BACK * float(np.ptp(x)) if len(x) else 0.0
    if not len(x) or max(_back(x)) <= least:
        return [run]
    starts, backs = [0], [0.0]
    way = 0
    low = high = 0  # positions of the least and the most since the last start
    for at, here in enumerate(x.tolist()):
        high, low = (at if here >= x[high] else high), (at if here <= x[low] else low)
        if not way and x[high] - x[low] > least:
            way = 1 if high > low else -1
        far = high if way > 0 else low
        if way and way * (x[far] - here) > least:
            starts.append(far + 1)
            backs.append(abs(float(x[far] - here)))
            back = x[far + 1 : at + 1]
            high, low = far + 1 + int(np.argmax(back)), far + 1 + int(np.argmin(back))
            way = (1 if high > low else -1) if x[high] - x[low] > least else 0
    begins = [run.begin, *(int(places[at]) for at in starts[1:])]
    return [replace(run, begin=begin, end=end, back=back)
            for begin, end, back in zip(begins, [*begins[1:], run.end], backs, strict=True)]  # fmt: skip


def _back(x: Floats) -> Floats:
    """How far each place lies behind the farthest before it [m]."""
    way = -1.0 if float(np.sum(np.sign(np.diff(x)))) < 0 else 1.0
    return np.asarray(np.maximum.accumulate(way * x) - way * x)


# ---- what is told of it ---------------------------------------------------------------------------------------------


def _not_numbers(
    bad: Sequence[tuple[int, int]], lines: Sequence[int], headers: Sequence[str], file: str
) -> list[Problem]:
    """What is told of cells (row, column) without a number. Raises `Blocked` where there are too many."""
    if not bad:
        return []
    row, at = min(bad)
    line, rows = lines[row], len(lines)
    many = len({row for row, _ in bad})
    header = headers[at] if at < len(headers) else ""
    said = f"{many} of its {rows} rows {'holds' if many == 1 else 'hold'} no number where one belongs"
    if many > MOST_BAD * rows:
        raise refusal(
            file, line, "trace-not-numbers", said, "rows of numbers", "see whether the file is whole",
            column_name=header,
        )  # fmt: skip
    what = f"{said}, first in column {at + 1}: not used"
    return [_doubt(file, line, "trace-rows-not-used", what, "numbers", header)]


def _onwards(x: Floats, lines: Sequence[int], file: str) -> list[Problem]:
    """What is told of places that do not run one way. Raises `Blocked` where they go back too far."""
    steps = np.diff(x)
    way = -1.0 if float(np.sum(np.sign(steps))) < 0 else 1.0
    back = _back(x)
    turns, same = (np.flatnonzero(each) for each in (way * steps < 0, steps == 0))
    if float(back.max(initial=0.0)) > MOST_BACK * float(np.ptp(x)):
        upto = int(np.argmax(back))
        turn = upto - int(np.argmax((way * x[: upto + 1])[::-1])) + 1
        raise refusal(
            file, lines[turn], "trace-goes-back", f"x goes back here, by {1e3 * float(back.max()):.4g} mm in all",
            "places that run one way", "write each run to a file of its own, or see which column is x",
        )  # fmt: skip
    found = []
    if len(turns):
        what = f"x steps back at {len(turns)} of its {len(x)} points: they are taken in order of x"
        found.append(_doubt(file, lines[int(turns[0]) + 1], "trace-steps-back", what, "places that run one way"))
    if len(same):
        what = f"{len(same)} of its {len(x)} points stand where the one before stands: of such the first is used"
        found.append(_doubt(file, lines[int(same[0]) + 1], "trace-places-repeat", what, "a place of its own each"))
    return found


def _moving(z: Floats, lines: Sequence[int], file: str) -> list[Problem]:
    """What is told of a height that stands still. Raises `Blocked` where it does all along."""
    known = np.flatnonzero(np.isfinite(z))
    height = z[known]
    if float(np.ptp(height)) == 0:
        raise refusal(
            file, lines[int(known[0])], "trace-constant", f"all its {len(known)} points have the same height",
            "heights that differ", "see whether the instrument had contact, and which column holds the heights",
        )  # fmt: skip
    turns = np.concatenate([[0], np.flatnonzero(np.diff(height)) + 1, [len(height)]])
    longest = int(np.argmax(np.diff(turns)))
    begin, end = int(turns[longest]), int(turns[longest + 1])
    if end - begin <= max(MOST_ALIKE * len(height), LEAST_POINTS):
        return []
    what = (
        f"{end - begin} of its {len(height)} points in a row have the same height, up to line "
        f"{lines[int(known[end - 1])]}: they are used"
    )
    return [_doubt(file, lines[int(known[begin])], "trace-stands-still", what, "heights that differ")]


def _doubt(file: str, line: int, code: str, what: str, expected: str, column: str = "") -> Problem:
    return Problem(file, line, 0, code, what, expected, "", "see whether the file is whole", column, "warning")


def _counted(points: Points, rows: int, file: str) -> None:
    """The number of points the file announces, where it does: of the trace, or of the block it is a run of."""
    text = points.count
    if text and (len(text) > LONGEST or int(text) not in {rows, len(points.lines)}):
        raise refusal(
            file, 0, "trace-cut-short", f"the file announces {shown(text)} points and holds {rows}",
            "as many points as announced", "save the trace again",
        )  # fmt: skip


# ---- what the columns are -------------------------------------------------------------------------------------------


def _name(header: str) -> str:
    return re.split(r"[\s\[(]", header.strip().casefold(), maxsplit=1)[0] if header.strip() else ""


def _places(points: Points, file: str, asked: Asked) -> tuple[int | None, int, int | None]:
    """Columns of x, z and the validity flag."""
    headers, width = points.headers, len(points.columns)

    def stated(header: str) -> int:
        plain = [" ".join(each.split()) for each in headers]
        wanted = " ".join(header.split())
        if wanted in plain:
            return plain.index(wanted)
        names = [each for each in plain if each]
        raise refusal(
            file, points.above, "trace-column-missing", f'no column is headed "{shown(header)}"',
            shown(", ".join(names), 200) if names else "a row of headers above the points",
        )  # fmt: skip

    def among(names: Sequence[str]) -> int | None:
        return next((at for at, each in enumerate(headers) if _name(each) in names), None)

    valid = stated(asked.valid) if asked.valid else among(_VALID)
    x = stated(asked.x) if asked.x else None if asked.step is not None else among(_X)
    z = stated(asked.z) if asked.z else among(HEIGHTS)
    left = [at for at in range(width) if at not in {x, z, valid} and _name(headers[at]) not in _INDEX]
    if x is None and asked.step is None and width - (valid is not None) > 1:
        if not left:
            left = [at for at in range(width) if at not in {z, valid}]
        x = left.pop(0)
    if z is None:
        if len(left) != 1:
            raise refusal(
                file, points.above, "trace-columns-unclear",
                f"{width} columns, and nothing says which of them are x and z",
                "headers x and z, or `x` and `z` in the record",
            )  # fmt: skip
        z = left[0]
    return x, z, valid


def _scale(points: Points, at: int, stated: str, file: str, what: str) -> float:
    """Metres a unit of a column."""
    facts = points.facts
    written = unit_of(points.headers[at], points.units[at]) or facts.get(f"{what} unit", "") or facts.get("units", "")
    if stated and written and metres(stated) != metres(written):
        raise refusal(
            file, points.above, "trace-unit-contradicted",
            f'{what} is in "{shown(written)}" by the file and in "{shown(stated)}" by the record', "one of the two",
        )  # fmt: skip
    scale = metres(written or stated)
    if scale is None:
        said = (
            f'"{shown((written or stated).strip("[]()"))}" is no unit of length'
            if written or stated
            else "nothing says its unit"
        )
        raise refusal(
            file, points.above, "trace-unit-missing", f"{what}: {said}", "nm, um or mm",
            f"write `{what}_unit` in the record, or the unit beside the header",
        )  # fmt: skip
    return scale


def _step(points: Points, file: str, asked: Asked) -> float:
    """Distance of neighbouring points [m]."""
    written = math.nan
    for key in SPACING:
        try:
            written = units.parse(points.facts.get(key, "").replace("/sample", ""), "length")
            break
        except units.UnitError:
            continue
    if asked.step is None and not written > 0:
        raise refusal(
            file, points.above, "trace-step-missing",
            "there are heights only, and nothing says how far they stand apart",
            "`step` in the record, or a line `spacing` above the points",
        )  # fmt: skip
    if asked.step is not None and written > 0 and abs(asked.step - written) > SAME_STEP * written:
        raise refusal(
            file, points.above, "trace-step-contradicted",
            f"points stand {1e6 * written:.6g} um apart by the file and {1e6 * asked.step:.6g} um by the record",
            "one of the two", "take `step` out of the record, or correct it",
        )  # fmt: skip
    return written if asked.step is None else asked.step
