"""Traces written in lines, of a text or of a worksheet: blocks of rows of numbers, with what stands above each.

How the rows are written is found as for any file (`reader.find`). Rows spoilt neither end nor move a block. Words
between rows part it where they say something: a key and its value, a unit, or once more what stood above the first
points; then a section begins, and what stands above it is found for itself.
"""

from __future__ import annotations

import io
import re
from bisect import bisect_left
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from sitegen.reader.blocked import refusal
from sitegen.reader.find import find, find_cells, kind_of, pairs
from sitegen.reader.headers import says_units
from sitegen.reader.layout import Layout, Stated
from sitegen.reader.numbers import LONGEST, PLAIN
from sitegen.reader.records import NOTHING, SEPARATORS, UNIT, cut
from sitegen.traces.points import (
    HEIGHTS,
    LEAST_POINTS,
    Floats,
    Points,
    announced,
    fields_of,
    metres,
    stated_in,
    unit_of,
)

_BLANKS = re.compile(r"[ \t]+")  # not the hard space, which keeps a header and its unit together
_BEFORE_UNIT = re.compile(r"(?<!\s)\s+(?=[\[(])")
_DIGITS = re.compile(r"[0-9]+")
_SAYS = re.compile(r"[^\s:=]\s*[:=]|\[[^\[\]]+\]|\([^()]+\)")  # key and mark, or a unit
_KEY = re.compile(r"[^\s:=]\s*[:=]")
MOST_BLANK = 0.05  # share of blank lines among heights alone that are heights missing; a convention of ours
_LOOKED_AT = 200  # lines that say how rows are written
_MEASURED = 60  # rows that say how wide they are
_STATED = Stated(thousands="")  # no instrument writes them
_HEADED = Stated(thousands="", skip_rows=0)


@dataclass(frozen=True)
class _How:
    """How the rows of a block are written."""

    word: str  # the separator, of `SEPARATORS`; "" between cells of a worksheet
    decimal: str
    width: int
    headers: Sequence[str]
    units: Sequence[str]
    heads: Sequence[str]  # the lines of the headers


@dataclass(frozen=True)
class _Span:
    """Positions of the lines above a block, and of its rows."""

    above: Sequence[int]
    rows: Sequence[int]


def blocks_of(lines: Sequence[str], file: str) -> list[Points]:
    """The blocks of rows in the lines of a text. Raises `Blocked` where there are none."""
    return _blocks(lines, range(1, len(lines) + 1), file, lambda most: find(lines[:most], _STATED))


def blocks_in(rows: Sequence[Sequence[str]], numbers: Sequence[int], file: str) -> list[Points]:
    """The same of a worksheet, whose rows have these numbers."""
    lines = [UNIT.join(row) for row in rows]
    return _blocks(lines, numbers, file, lambda most: _in_cells(rows[:most], _STATED))


def _in_cells(rows: Sequence[Sequence[str]], stated: Stated) -> Layout:
    return find_cells(rows, range(1, len(rows) + 1), stated)


def _blocks(lines: Sequence[str], numbers: Sequence[int], file: str, look: Callable[[int], Layout]) -> list[Points]:
    filled = _filled(lines, range(len(lines)))
    for most in (_LOOKED_AT, len(lines)):  # most traces show soon how their rows are written
        layout = look(most)
        below = bisect_left(filled, layout.begin.value - 1)
        how = _how(lines, {*filled[below : below + _MEASURED], *filled[-_MEASURED:]}, layout)
        if how.width:
            break
    else:
        raise refusal(
            file, 1, "trace-no-points", "no rows of numbers are found in it", "rows of x and z",
            "see whether this is a trace saved as text",
        )  # fmt: skip
    begin, whole = _begin([lines[at] for at in filled], below, how)
    spans = [_Span(filled[:begin], filled[begin:])]
    table = _table([lines[at] for at in _with_blanks(filled[begin:], how)], how)
    if table is None and not whole:
        spans = _split(lines, how, spans[0])
    found: list[Points] = []
    heads: set[str] = set()
    for span in spans:
        places = _with_blanks(span.rows, how)
        above, rows = ([lines[at] for at in each] for each in (span.above, places))
        if found or len(above) != below or not any(how.headers):
            how = _headed(above, rows, how)
        columns, over = (table, []) if table is not None else _columns(rows, how)
        own = _said(above)
        facts = {**found[0].facts, **own} if found else own  # what is said once holds for all, but results and counts
        goes_on = bool(heads) and {line.strip() for line in above} <= heads
        heads = heads or set(how.heads)
        stated = stated_in([fields_of(line, _cells(line, how.word), how.word == "blanks") for line in above])
        at = [numbers[place] for place in places]
        found.append(
            Points(columns, at, how.headers, how.units, at[0] - 1, facts, announced(own), stated, over, goes_on)
        )
    return found


def _with_blanks(rows: Sequence[int], how: _How) -> Sequence[int]:
    """Rows with the blank lines among them: where heights stand alone, a few of those are heights that are missing."""
    every = range(rows[0], rows[-1] + 1)
    return every if how.width == 1 and how.word and len(every) - len(rows) <= MOST_BLANK * len(rows) else rows


def _begin(lines: Sequence[str], below: int, how: _How) -> tuple[int, bool]:
    """Where the rows begin, of lines none of which is blank, and whether they are one block as announced.

    `below`: where they begin below the last headers found. Rows above those are rows, and so is, of heights alone, a
    word in the place of the first, as a count or the headers above it show.
    """
    early = [at for at, line in enumerate(lines[:below]) if _is_row(line, how)]
    begin = early[0] if len(early) >= LEAST_POINTS else below
    count = announced(_said(lines[:begin]))
    missing = int(count) - len(lines) + begin if count and len(count) < LONGEST else -1
    if not count and how.width == 1 and begin > 1 and _is_titled(lines[begin - 2]):
        missing = 1
    if missing == 1 and begin and _is_word(lines[begin - 1]):
        return begin - 1, bool(count)
    return begin, missing == 0


def _said(above: Sequence[str]) -> dict[str, str]:
    return pairs([line.replace(UNIT, ";", 1).replace(UNIT, " ") for line in above])


# ---- how rows are written, and where blocks begin -------------------------------------------------------------------


def _how(lines: Sequence[str], rows: Iterable[int], layout: Layout) -> _How:
    """How these rows are written; of no width where they hold no numbers."""
    word = layout.separator.value
    widths = Counter(len(cells) for at in rows if _holds_numbers(cells := _cells(lines[at], word)))
    width, count = max(widths.items(), key=lambda each: each[::-1], default=(0, 0))
    heads = [lines[at - 1] for at in (*layout.heads.value, layout.units_row.value) if at]
    if count < LEAST_POINTS:
        width = 0
    headers, units = [column.header for column in layout.columns], [""] * width
    if layout.units_row.value:
        units = [column.unit if column.unit_place == "in the row of units" else "" for column in layout.columns]
    if word == "blanks" and len(layout.heads.value) == 1:  # a blank may also part a header from its unit
        headers = _cells(_BEFORE_UNIT.sub("\xa0", heads[0]), word)
    while len(headers) > width and not headers[-1]:
        headers.pop()
    if len(headers) != width or (width == 1 and not _is_header(headers[0])):
        headers, units = [""] * width, [""] * width
    return _How(word, layout.marks.value.decimal, width, headers, units[:width], [line.strip() for line in heads])


def _headed(above: Sequence[str], rows: Sequence[str], before: _How) -> _How:
    """How a block is written of which is known where it begins: by the headers above it, else by those before."""
    heads = list(above[-2:])
    if len(heads) > 1 and not says_units(_cells(heads[-1], before.word)):
        heads = heads[1:]
    lines = [*heads, *rows[:_MEASURED]]
    layout = find(lines, _HEADED) if before.word else _in_cells([line.split(UNIT) for line in lines], _HEADED)
    how = _how(lines, range(len(heads), len(lines)), layout)
    if not heads or how.width != before.width or not any(how.headers):
        return before
    return replace(before, headers=how.headers, units=how.units, heads=how.heads)


def _is_header(line: str) -> bool:
    """Whether a line above heights alone is their header: not a key and its value, and with a unit."""
    unit = unit_of(line)
    return not _KEY.search(line) and bool(unit) and (metres(unit) is not None or line.rstrip()[-1:] in {")", "]"})


def _is_titled(line: str) -> bool:
    return _is_header(line) or line.strip().casefold() in HEIGHTS


def _is_word(line: str) -> bool:
    return len(line.split()) == 1 and not _SAYS.search(line) and not _is_titled(line)


def _split(lines: Sequence[str], how: _How, whole: _Span) -> list[_Span]:
    """A block in pieces, where lines between its rows say something; other words are cells of a row spoilt."""
    shapes = {_shape(lines[at]) for at in _filled(lines, whole.above)}
    begins: list[tuple[int, int]] = []  # positions in the rows: of the words, and of the first row below them
    group: list[int] = []
    for place in [*(n for n, at in enumerate(whole.rows) if _is_words(lines[at], how)), len(whole.rows)]:
        if group and place - group[-1] > LEAST_POINTS:  # so many rows between them
            texts = [lines[whole.rows[n]] for n in group]
            if any(_SAYS.search(text) or (_shape(text) in shapes and not _is_word(text)) for text in texts):
                begins.append((group[0], group[-1] + 1))
            group = []
        group.append(place)
    pieces = []
    start, above = 0, [*whole.above]
    for words, row in begins:
        if words - start >= LEAST_POINTS:
            pieces.append(_Span(above, whole.rows[start:words]))
            start, above = row, [*whole.rows[words:row]]
        elif not start:  # these few are no rows yet
            start, above = row, [*above, *whole.rows[:row]]
    pieces.append(_Span(above, whole.rows[start:]))
    return pieces


def _filled(lines: Sequence[str], places: Sequence[int]) -> list[int]:
    return [at for at in places if lines[at].strip(NOTHING)]


def _shape(line: str) -> str:
    return " ".join(_DIGITS.sub("0", line).casefold().split())


def _is_words(line: str, how: _How) -> bool:
    return kind_of((_cells(line, how.word) or [""])[0]) not in {"number", "empty"}


# ---- rows and cells -------------------------------------------------------------------------------------------------


def _holds_numbers(cells: Sequence[str]) -> bool:
    kinds = {kind_of(cell) for cell in cells}
    return "number" in kinds and kinds <= {"number", "empty"}


def _is_row(line: str, how: _How) -> bool:
    cells = _cells(line, how.word)
    return len(cells) == how.width and _holds_numbers(cells)


def _cells(line: str, word: str) -> list[str]:
    """Fields of a line, without empty ones at its end."""
    cells = [cell.strip() for cell in (cut(line, word) if word else line.split(UNIT))]
    while cells and not cells[-1]:
        cells.pop()
    return cells


def _number(cell: str, decimal: str) -> float | None:
    text = cell.strip().replace("\u2212", "-")
    if decimal == ",":
        if "." in text:
            return None
        text = text.replace(",", ".")
    return float(text) if len(text) <= LONGEST and PLAIN.fullmatch(text) else None


def _table(rows: Sequence[str], how: _How) -> list[Floats] | None:
    """Columns of rows that hold nothing but numbers, quickly; None: they hold something else."""
    mark = SEPARATORS[how.word] if how.word else UNIT
    if mark == " ":
        clean = "\n".join(_BLANKS.sub(" ", line.strip()) for line in rows)
    else:
        clean = "\n".join(line.rstrip(" \t,;|\x1f") for line in rows)
    try:
        source = io.StringIO(clean.replace(",", ".") if how.decimal == "," else clean)
        table = np.loadtxt(source, delimiter=mark, ndmin=2, comments=None)
    except ValueError:
        return None
    if table.shape != (len(rows), how.width):
        return None
    return [np.ascontiguousarray(table[:, at]) for at in range(how.width)]


def _columns(rows: Sequence[str], how: _How) -> tuple[list[Floats], list[tuple[int, int]]]:
    """Columns of rows, nan where a cell is no number; rows with too many cells, as `Points.over`."""
    values = np.full((len(rows), how.width), np.nan)
    over = []
    for place, row in enumerate(rows):
        cells = _cells(row, how.word)
        for at, cell in enumerate(cells[: how.width]):
            found = _number(cell, how.decimal)
            values[place, at] = np.nan if found is None else found
        if len(cells) > how.width:  # which of them is which is not known
            over.append((place, how.width))
            values[place] = np.nan
    return [values[:, at] for at in range(how.width)], over
