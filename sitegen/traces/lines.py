"""Traces written in lines, of a text or of a worksheet: blocks of rows of numbers, with what stands above each.

A block is found by itself: separator, decimal mark and width are those of the longest run of rows alike. Rows spoilt
neither end nor move it. Words between rows part them where they say something: a key and its value, a unit, or once
more what stood above the first points; then a section begins.
"""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sitegen.reader.blocked import refusal
from sitegen.reader.numbers import LONGEST, PLAIN
from sitegen.traces.points import (
    LEAST_POINTS,
    Floats,
    Points,
    announced,
    facts_of,
    fields_of,
    is_unit,
    metres,
    stated_in,
    unit_of,
)

MOST_ABOVE = 400  # lines above the points that are looked at
CELLS = "\x1f"  # between the cells of a row of a worksheet
_SEPARATORS = (";", "\t", ",", " ")
_BLANKS = re.compile(r"[ \t]+")  # not the hard space, which keeps a header and its unit together
_DIGITS = re.compile(r"[0-9]+")
_SAYS = re.compile(r"[^\s:=]\s*[:=]|\[[^\[\]]+\]|\([^()]+\)")  # key and mark, or a unit
# what instruments and tables write where there is no height; longer words are words
_VOID = {"nan", "inf", "-inf", "+inf", "n/a", "na", "null", "none", "void", "lost", "bad", "invalid", "error", "err",
         "over", "overflow", "1.#qnan", "-1.#ind", "1.#inf", "#n/a"}  # fmt: skip


@dataclass(frozen=True)
class _How:
    """How the rows of a block are written."""

    separator: str
    decimal: str
    width: int


@dataclass(frozen=True)
class _Span:
    """Positions of the lines above a block, and of its rows."""

    above: Sequence[int]
    rows: Sequence[int]


def blocks_of(lines: Sequence[str], numbers: Sequence[int], file: str) -> list[Points]:
    """The blocks of rows in these lines, whose numbers in the file are given. Raises `Blocked` where there are none."""
    how, best = _found(lines, file)
    begin = _first_row(lines, how, best)
    spans = _above(lines, how, begin)
    here = _Span(range(spans[-1].rows[-1] + 1 if spans else 0, begin), _filled(lines, range(begin, len(lines))))
    whole = _table([lines[at] for at in here.rows], how)
    top = [lines[at] for at in _filled(lines, (spans or [here])[0].above)]
    spans += [here] if whole is not None else _split(lines, how, here, {_shape(line) for line in top})
    found: list[Points] = []
    heads: Sequence[str] = ()  # lines of headers above the first block
    for span in spans:
        columns, over = (whole, []) if whole is not None and span is here else _columns(lines, span.rows, how)
        above = [lines[at] for at in _filled(lines, span.above)]
        headers, unit_cells, count = _headers(above, how)
        own = facts_of([line.replace(CELLS, ";", 1).replace(CELLS, " ") for line in above])
        # what is said once holds for all blocks, but for results and counts
        facts = {**found[0].facts, **own} if found else own
        goes_on = bool(found) and bool(heads) and {line.strip() for line in above} <= set(heads)
        if not found:
            heads = [line.strip() for line in above[len(above) - count :]]
        elif not count:
            headers, unit_cells = list(found[-1].headers), list(found[-1].units)
        stated = stated_in([fields_of(line, how.separator, _cells(line, how.separator)) for line in above])
        found.append(
            Points(
                columns,
                [numbers[at] for at in span.rows],
                headers,
                unit_cells,
                numbers[span.rows[0]] - 1,
                facts,
                announced(own),
                stated,
                over,
                goes_on,
            )
        )
    return found


# ---- where blocks begin ---------------------------------------------------------------------------------------------


def _filled(lines: Sequence[str], places: Sequence[int]) -> list[int]:
    return [at for at in places if lines[at].strip(" \t,;\x1f")]


def _shape(line: str) -> str:
    return " ".join(_DIGITS.sub("0", line).casefold().split())


def _found(lines: Sequence[str], file: str) -> tuple[_How, int]:
    """How the rows are written, and where the longest run of rows alike begins."""
    best, how, begin = 0, _How("", ".", 0), 0  # more columns before fewer
    # Whether a line is a row does not hang on its digits, and most rows of a file are alike but for them.
    shapes = [(at, _DIGITS.sub("0", lines[at])) for at in _filled(lines, range(min(MOST_ABOVE, len(lines))))]
    for separator in (CELLS,) if any(CELLS in shape for _, shape in shapes) else _SEPARATORS:
        for decimal in (".", ",") if separator != "," else (".",):
            widths = {shape: _width(shape, separator, decimal) for shape in {shape for _, shape in shapes}}
            run, start, width = 0, 0, 0
            for at, shape in shapes:
                own = widths[shape]
                if not own:
                    run = 0
                    continue
                if run == 0 or own != width:
                    run, start, width = 0, at, own
                run += 1
                score = run * (1 + min(width, 3))
                if score > best:
                    best, how, begin = score, _How(separator, decimal, width), start
    if not best:
        raise refusal(
            file, 1, "trace-no-points", f"no rows of numbers are found in the first {MOST_ABOVE} lines",
            "rows of x and z", "see whether this is a trace saved as text",
        )  # fmt: skip
    return how, begin


def _first_row(lines: Sequence[str], how: _How, begin: int) -> int:
    """Where the block begins that has a whole run of rows at `begin`: rows above belong to it across rows spoilt."""
    first = last = begin  # of the rows that are sure, and of all that may be some if headers stand above them
    run = LEAST_POINTS  # rows since a word stood in one: so many above it make that a row spoilt, too
    for at in range(begin - 1, -1, -1):
        cells = _cells(lines[at], how.separator)
        if not any(cells):
            continue
        numbers = [_number(cell, how.decimal) is not None for cell in cells]
        known = [number or _is_void(cell) for number, cell in zip(numbers, cells, strict=True)]
        if any(numbers) and not known[0]:  # a key and its number
            break
        if not any(numbers) and not all(known):
            return last if len(cells) == how.width else first
        last = at
        if not all(known) or len(cells) > how.width:
            run = 0
        elif len(cells) == how.width and any(numbers):  # with a cell missing it may be a count above the points
            run += 1
            first = at if run >= LEAST_POINTS else first
    return first


def _above(lines: Sequence[str], how: _How, begin: int) -> list[_Span]:
    """The blocks above the one that begins there: whole runs of rows as wide, which words part from it."""
    found: list[_Span] = []
    while True:
        at = begin - 1
        while at >= 0 and not _is_row(lines[at], how):
            at -= 1
        start = at
        while start > 0 and (_is_row(lines[start - 1], how) or not _filled(lines, [start - 1])):
            start -= 1
        rows = _filled(lines, range(start, at + 1))
        if len(rows) < LEAST_POINTS:
            break
        begin = _first_row(lines, how, rows[0])
        found.insert(0, _Span((), _filled(lines, range(begin, at + 1))))
    ends = [0, *(span.rows[-1] + 1 for span in found)]
    return [_Span(range(end, span.rows[0]), span.rows) for end, span in zip(ends, found, strict=False)]


def _is_row(line: str, how: _How) -> bool:
    cells = _cells(line, how.separator)
    return len(cells) == how.width and all(_number(cell, how.decimal) is not None for cell in cells)


def _split(lines: Sequence[str], how: _How, whole: _Span, shapes: set[str]) -> list[_Span]:
    """A block in pieces, where lines between its rows say something; other words are cells of a row spoilt."""
    begins: list[tuple[int, int]] = []  # positions in the rows: of the words, and of the first row below them
    group: list[int] = []
    for place in [*(n for n, at in enumerate(whole.rows) if _is_words(lines[whole.rows[n]], how)), len(whole.rows)]:
        if group and place - group[-1] > LEAST_POINTS:  # so many rows between them
            texts = [lines[whole.rows[n]] for n in group]
            if any(_SAYS.search(text) or _shape(text) in shapes for text in texts):
                begins.append((group[0], group[-1] + 1))
            group = []
        group.append(place)
    pieces = []
    start, above = 0, whole.above
    for words, row in begins:
        if words - start >= LEAST_POINTS:
            pieces.append(_Span(above, whole.rows[start:words]))
            start, above = row, whole.rows[words:row]
    pieces.append(_Span(above, whole.rows[start:]))
    return pieces


def _is_words(line: str, how: _How) -> bool:
    first = (_cells(line, how.separator) or [""])[0]
    return _number(first, how.decimal) is None and not _is_void(first)


# ---- rows and cells -------------------------------------------------------------------------------------------------


def _is_void(cell: str) -> bool:
    return set(cell) <= set("*#-. ") or cell.casefold() in _VOID


def _width(line: str, separator: str, decimal: str) -> int:
    """How many cells a row of numbers has, marks of overflow between them; 0: it is none."""
    cells = _cells(line, separator)
    known = [_number(cell, decimal) is not None for cell in cells]
    alike = any(known) and all(number or set(cell) <= set("*#-. ") for number, cell in zip(known, cells, strict=True))
    return len(cells) if alike else 0


def _cells(line: str, separator: str) -> list[str]:
    """Fields of a line, without empty ones at its end."""
    cells = _BLANKS.split(line.strip()) if separator == " " else [cell.strip() for cell in line.split(separator)]
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
    if how.separator == " ":
        clean = "\n".join(_BLANKS.sub(" ", line.strip()) for line in rows)
    else:
        clean = "\n".join(line.rstrip(" \t,;\x1f") for line in rows)
    try:
        source = io.StringIO(clean.replace(",", ".") if how.decimal == "," else clean)
        table = np.loadtxt(source, delimiter=how.separator, ndmin=2, comments=None)
    except ValueError:
        return None
    if table.shape != (len(rows), how.width):
        return None
    return [np.ascontiguousarray(table[:, at]) for at in range(how.width)]


def _columns(lines: Sequence[str], rows: Sequence[int], how: _How) -> tuple[list[Floats], list[tuple[int, int]]]:
    """Columns of rows, nan where a cell is no number; rows with too many cells, as `Points.over`."""
    values = np.full((len(rows), how.width), np.nan)
    over = []
    for place, row in enumerate(rows):
        cells = _cells(lines[row], how.separator)
        for at, cell in enumerate(cells[: how.width]):
            found = _number(cell, how.decimal)
            values[place, at] = np.nan if found is None else found
        if len(cells) > how.width:  # which of them is which is not known
            over.append((place, how.width))
            values[place] = np.nan
    return [values[:, at] for at in range(how.width)], over


def _is_headed(line: str) -> bool:
    """Whether a line above heights alone is their header: it has a unit of length, or one of whatever in brackets."""
    unit = unit_of(line)
    return bool(unit) and (metres(unit) is not None or line.rstrip()[-1:] in {")", "]"})


def _headers(above: Sequence[str], how: _How) -> tuple[list[str], list[str], int]:
    """Headers, units and count of their lines, from right above the points; "" where there are none."""
    found: list[list[str]] = []
    for line in reversed(above[-2:]):
        cells = _cells(re.sub(r"(?<!\s)\s+(?=[\[(])", "\xa0", line) if how.separator == " " else line, how.separator)
        if len(cells) != how.width or (how.width < 2 and not _is_headed(line)):
            break
        found.insert(0, cells)
    if not found:
        return [""] * how.width, [""] * how.width, 0
    last = found[-1]
    if len(found) == 2 and all(is_unit(cell.strip("[]()")) or not cell.strip("[]()") or "/" in cell for cell in last):
        return found[0], [cell.strip("[]()") for cell in last], 2
    return last, [""] * how.width, 1
