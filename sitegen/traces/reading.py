"""One trace file to its points.

A trace is a block of rows of numbers, with or without something above it: pairs of key and value, titles, a row of
headers, a row of units, a count of points. The block is found by itself; which column is what is taken from the record,
else from the headers, else from the order (x, then z). Units are never guessed.
"""

from __future__ import annotations

import io
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import numpy.typing as npt

from sitegen import units
from sitegen.problems import shown
from sitegen.reader.blocked import refusal
from sitegen.reader.decode import decode, read_text
from sitegen.reader.numbers import LONGEST, PLAIN
from sitegen.vocabulary import Problem

Floats = npt.NDArray[np.float64]

LEAST_POINTS = 3  # fewer are no trace
MOST_ABOVE = 400  # lines above the points that are looked at
MOST_BAD = 0.2  # share of its rows a trace may lack a number in; a convention of ours
MOST_BACK = 0.05  # share of its length a trace may go back and still be one trace; a convention of ours
_SEPARATORS = (";", "\t", ",", " ")
_BLANKS = re.compile(r"[ \t]+")  # not the hard space, which keeps a header and its unit together
_MARKS = re.compile(r"[:=;\t,]")  # after the key of a line above the points
_LONGEST_KEY = 60
_DIGITS = re.compile(r"[0-9]+")
_XML = re.compile(r"\s*<[?!A-Za-z]")
# what instruments and tables write where there is no height; longer words are words
_VOID = {"nan", "inf", "-inf", "+inf", "n/a", "na", "null", "none", "void", "lost", "bad", "invalid", "error", "err",
         "over", "overflow", "1.#qnan", "-1.#ind", "1.#inf", "#n/a"}  # fmt: skip
_UNIT = re.compile(r"\[([^\[\]]*)\]|\(([^()]*)\)|\bin\s+(\S+)$|\s(\S+)$")
_SPELT = {"micrometer": "um", "micrometre": "um", "micron": "um", "millimeter": "mm", "millimetre": "mm",
          "nanometer": "nm", "nanometre": "nm"}  # fmt: skip
_X = ("x", "lateral", "distance", "position", "length", "travel")
_Z = ("z", "y", "height", "raw", "profile", "deflection", "amplitude")
_VALID = ("valid", "validity", "flag", "ok")
_INDEX = ("index", "no", "no.", "n", "nr", "number", "point")
_COUNT = ("points", "numpoints", "number of points", "count", "samples", "number of samples")
_SPACING = ("spacing", "step", "x step", "dx", "resolution", "sampling interval")
STATED = ("ra", "rq", "rz", "rt", "rk", "rpk", "rvk")  # results an instrument may write above its points


@dataclass(frozen=True)
class Layout:
    """What the record says of a trace file; "" and None: to be found in the file itself."""

    x: str = ""  # header of the column
    z: str = ""
    valid: str = ""
    x_unit: str = ""
    z_unit: str = ""
    step: float | None = None  # m, between points of a file with heights only
    encoding: str = ""


@dataclass(frozen=True)
class Trace:
    """One trace as the instrument wrote it."""

    x: Floats  # m, in the order of the file
    z: Floats  # m; nan where the point is marked as not valid, or is no number
    invalid: int
    facts: Mapping[str, str] = field(default_factory=dict)  # key -> value, of the lines above the points
    stated: Mapping[str, float] = field(default_factory=dict)  # "ra" ... -> m
    encoding: str = ""
    digest: str = ""  # sha256 of the bytes
    notes: tuple[str, ...] = ()
    doubts: tuple[Problem, ...] = ()  # warnings: rows without a number, places that step back

    @property
    def length(self) -> float:
        """Distance from the first to the last point [m]."""
        return float(self.x.max() - self.x.min()) if len(self.x) else 0.0

    @property
    def step(self) -> float:
        """Median distance of neighbouring points [m]."""
        return float(np.median(np.abs(np.diff(self.x)))) if len(self.x) > 1 else math.nan


def read_trace(path: Path, file: str, how: Layout) -> Trace:
    """The trace in the file at `path`; `file` is its name in messages. Raises `Blocked` where it cannot be trusted."""
    return _trace(read_text(path, file, how.encoding), file, how)


def trace_of(data: bytes, file: str, how: Layout) -> Trace:
    """The trace in these bytes. Raises `Blocked`; see `read_trace`."""
    return _trace(decode(data, file, how.encoding), file, how)


def _trace(content: object, file: str, how: Layout) -> Trace:
    text = content.text  # type: ignore[attr-defined] # Decoded
    lines = text.split("\n")
    if _XML.match(text):
        raise refusal(
            file, 1, "trace-xml", "this is XML: its numbers stand between tags, and are not read from there",
            "rows of x and z as text", "save the profile as a table of text",
        )  # fmt: skip
    separator, decimal, width, begin = _block(lines, file)
    above = [line for line in lines[:begin] if line.strip(" \t,;")]
    rows = [(at, line) for at, line in enumerate(lines[begin:], begin + 1) if line.strip(" \t,;")]
    facts = _facts(above)
    columns, bad = _columns(rows, separator, decimal, width)
    headers, unit_cells = _headers(above, separator, width)
    at_x, at_z, at_valid = _places(headers, width, file, begin, how)
    used = sorted({at for at in (at_x, at_z, at_valid) if at is not None})
    bad += [(rows[place][0], at) for at in used for place in np.flatnonzero(np.isnan(columns[at])).tolist()]
    doubts = _not_numbers(bad, len(rows), headers, file)
    if (more := _rows_above(lines[: max(begin - 1, 0)], separator, decimal, width)) >= LEAST_POINTS:
        what = f"{more} rows of numbers above this line are not used: words part them from those below"
        doubts.append(_doubt(file, begin, "trace-rows-above", what, "one block of rows"))
    scale_z = _scale(headers, unit_cells, at_z, how.z_unit, facts, file, begin, "z")
    z = columns[at_z] * scale_z
    if at_x is None:
        x = np.arange(len(z)) * _step(how, facts, file, begin)
    else:
        x = columns[at_x] * _scale(headers, unit_cells, at_x, how.x_unit, facts, file, begin, "x")
    valid = np.isfinite(x) & np.isfinite(z)
    if at_valid is not None:
        valid &= columns[at_valid] > 0
    _counted(facts, len(rows), file)
    if int(valid.sum()) < LEAST_POINTS:
        raise refusal(
            file, begin + 1, "trace-too-few-points", f"{int(valid.sum())} of its {len(rows)} points are valid",
            f"at least {LEAST_POINTS}", "see whether this is the right file",
        )  # fmt: skip
    known = np.isfinite(x)
    z = np.where(valid, z, np.nan)[known]
    x = x[known]
    if len(x) > 1 and float(x.max() - x.min()) <= 0:
        raise refusal(
            file, begin + 1, "trace-no-length", "all its points stand at the same place",
            "places that differ", "see whether x and z are the right columns",
        )  # fmt: skip
    doubts += _onwards(x, [rows[place][0] for place in np.flatnonzero(known).tolist()], file)
    return Trace(
        x, z, len(rows) - int(valid.sum()), facts, _stated(above, separator),
        content.encoding, content.digest, content.notes, tuple(doubts),  # type: ignore[attr-defined]
    )  # fmt: skip


def _not_numbers(bad: Sequence[tuple[int, int]], rows: int, headers: Sequence[str], file: str) -> list[Problem]:
    """What is told of cells (line, column) without a number. Raises `Blocked` where there are too many."""
    if not bad:
        return []
    line, at = min(bad)
    many = len({line for line, _ in bad})
    header = headers[at] if at < len(headers) else ""
    if many > MOST_BAD * rows:
        raise refusal(
            file, line, "trace-not-numbers", f"{many} of its {rows} rows hold no number where one belongs",
            "rows of numbers", "see whether the file is whole", column_name=header,
        )  # fmt: skip
    what = f"{many} of its {rows} rows hold no number where one belongs, first in column {at + 1}: not used"
    return [_doubt(file, line, "trace-rows-not-used", what, "numbers", header)]


def _onwards(x: Floats, lines: Sequence[int], file: str) -> list[Problem]:
    """What is told of places that do not run one way. Raises `Blocked` where they begin anew."""
    steps = np.diff(x)
    way = -1.0 if float(np.sum(np.sign(steps))) < 0 else 1.0
    back = np.maximum.accumulate(way * x) - way * x
    turns, same = (np.flatnonzero(each) for each in (way * steps < 0, steps == 0))
    farthest = 1e3 * float(back.max(initial=0.0))
    if farthest > MOST_BACK * 1e3 * float(np.ptp(x)):
        upto = int(np.argmax(back))
        turn = upto - int(np.argmax((way * x[: upto + 1])[::-1])) + 1
        raise refusal(
            file, lines[turn], "trace-goes-back", f"x goes back here, by {farthest:.4g} mm in all",
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


def _doubt(file: str, line: int, code: str, what: str, expected: str, column: str = "") -> Problem:
    return Problem(file, line, 0, code, what, expected, "", "see whether the file is whole", column, "warning")


# ---- the block of numbers -------------------------------------------------------------------------------------------


def _block(lines: Sequence[str], file: str) -> tuple[str, str, int, int]:
    """Separator, decimal mark, count of columns and the position of the first row of the block of numbers."""
    best: tuple[int, str, str, int, int] = (
        0,
        "",
        ".",
        0,
        0,
    )  # the longest run of rows alike, more columns before fewer
    # Whether a line is a row does not hang on its digits, and most rows of a file are alike but for them.
    shapes = [(at, _DIGITS.sub("0", line)) for at, line in enumerate(lines[:MOST_ABOVE]) if line.strip(" \t,;")]
    for separator in _SEPARATORS:
        for decimal in (".", ",") if separator != "," else (".",):
            widths = {shape: _width(shape, separator, decimal) for shape in {shape for _, shape in shapes}}
            run, begin, width = 0, 0, 0
            for at, shape in shapes:
                own = widths[shape]
                if not own:
                    run = 0
                    continue
                if run == 0 or own != width:
                    run, begin, width = 0, at, own
                run += 1
                score = run * (1 + min(width, 3))
                if score > best[0]:
                    best = (score, separator, decimal, width, begin)
    if not best[0]:
        raise refusal(
            file, 1, "trace-no-points", f"no rows of numbers are found in the first {MOST_ABOVE} lines",
            "rows of x and z", "see whether this is a trace saved as text",
        )  # fmt: skip
    _, separator, decimal, width, begin = best
    return separator, decimal, width, _first_row(lines, separator, decimal, width, begin)


def _first_row(lines: Sequence[str], separator: str, decimal: str, width: int, begin: int) -> int:
    """Where the block begins that has a whole run of rows at `begin`: rows above belong to it across rows spoilt."""
    first = last = begin  # of the rows that are sure, and of all that may be some if headers stand above them
    run = LEAST_POINTS  # rows since a word stood in one: so many above it make that a row spoilt, too
    for at in range(begin - 1, -1, -1):
        cells = _cells(lines[at], separator)
        if not any(cells):
            continue
        numbers = [_number(cell, decimal) is not None for cell in cells]
        known = [number or _is_void(cell) for number, cell in zip(numbers, cells, strict=True)]
        if len(cells) > width or (any(numbers) and not known[0]):  # a key and its number
            break
        if not any(numbers) and not all(known):
            return last if len(cells) == width else first
        last = at
        if not all(known):
            run = 0
        elif len(cells) == width and any(numbers):  # with a cell missing it may be a count above the points
            run += 1
            first = at if run >= LEAST_POINTS else first
    return first


def _rows_above(lines: Sequence[str], separator: str, decimal: str, width: int) -> int:
    """How many rows of so many numbers end these lines."""
    count = 0
    for line in reversed(lines):
        cells = _cells(line, separator)
        if any(cells) and (len(cells) != width or any(_number(cell, decimal) is None for cell in cells)):
            break
        count += any(cells)
    return count


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


def _columns(
    rows: Sequence[tuple[int, str]], separator: str, decimal: str, width: int
) -> tuple[list[Floats], list[tuple[int, int]]]:
    """Columns of the block, nan where a cell is no number; line and column of rows with too many cells."""
    clean = "\n".join(line.rstrip(" \t,;") for _, line in rows)
    if separator == " ":
        clean = "\n".join(_BLANKS.sub(" ", line.strip()) for _, line in rows)
    try:
        source = io.StringIO(clean.replace(",", ".") if decimal == "," else clean)
        table = np.loadtxt(source, delimiter=separator, ndmin=2, comments=None)
        if table.shape == (len(rows), width):
            return [np.ascontiguousarray(table[:, at]) for at in range(width)], []
    except ValueError:
        pass
    values = np.full((len(rows), width), np.nan)
    bad = []
    for place, (number, line) in enumerate(rows):
        cells = _cells(line, separator)
        for at, cell in enumerate(cells[:width]):
            found = _number(cell, decimal)
            values[place, at] = np.nan if found is None else found
        if len(cells) > width:  # which of them is which is not known
            bad.append((number, width))
            values[place] = np.nan
    return [values[:, at] for at in range(width)], bad


# ---- what the columns are -------------------------------------------------------------------------------------------


def _headers(above: Sequence[str], separator: str, width: int) -> tuple[list[str], list[str]]:
    """Headers and units of the columns, from the one or two lines right above the points; "" where there are none."""
    found: list[list[str]] = []
    for line in reversed(above[-2:]):
        cells = _cells(re.sub(r"(?<!\s)\s+(?=[\[(])", "\xa0", line) if separator == " " else line, separator)
        if len(cells) != width or (width < 2 and not _UNIT.search(line)):
            break
        found.insert(0, cells)
    if not found:
        return [""] * width, [""] * width
    last = found[-1]
    if len(found) == 2 and all(_is_unit(cell.strip("[]()")) or not cell.strip("[]()") or "/" in cell for cell in last):
        return found[0], [cell.strip("[]()") for cell in last]
    return last, [""] * width


def _is_unit(text: str) -> bool:
    return units.is_unit(_SPELT.get(text.casefold(), text))


def _name(header: str) -> str:
    return re.split(r"[\s\[(]", header.strip().casefold(), maxsplit=1)[0] if header.strip() else ""


def _places(
    headers: Sequence[str], width: int, file: str, begin: int, how: Layout
) -> tuple[int | None, int, int | None]:
    """Columns of x, z and the validity flag."""

    def stated(header: str) -> int:
        plain = [" ".join(each.split()) for each in headers]
        wanted = " ".join(header.split())
        if wanted in plain:
            return plain.index(wanted)
        names = [each for each in plain if each]
        raise refusal(
            file, begin, "trace-column-missing", f'no column is headed "{shown(header)}"',
            shown(", ".join(names), 200) if names else "a row of headers above the points",
        )  # fmt: skip

    def among(names: Sequence[str]) -> int | None:
        return next((at for at, each in enumerate(headers) if _name(each) in names), None)

    valid = stated(how.valid) if how.valid else among(_VALID)
    x = stated(how.x) if how.x else None if how.step is not None else among(_X)
    z = stated(how.z) if how.z else among(_Z)
    left = [at for at in range(width) if at not in {x, z, valid} and _name(headers[at]) not in _INDEX]
    if x is None and how.step is None and width - (valid is not None) > 1:
        if not left:
            left = [at for at in range(width) if at not in {z, valid}]
        x = left.pop(0)
    if z is None:
        if len(left) != 1:
            raise refusal(
                file, begin, "trace-columns-unclear", f"{width} columns, and nothing says which of them are x and z",
                "headers x and z, or `x` and `z` in the record",
            )  # fmt: skip
        z = left[0]
    return x, z, valid


def _scale(
    headers: Sequence[str], unit_cells: Sequence[str], at: int, stated: str, facts: Mapping[str, str], file: str,
    begin: int, what: str,
) -> float:  # fmt: skip
    """Metres a unit of a column."""
    written = _unit_of(headers[at], unit_cells[at]) or facts.get(f"{what} unit", "") or facts.get("units", "")
    if stated and written and _length(stated) != _length(written):
        raise refusal(
            file, begin, "trace-unit-contradicted",
            f'{what} is in "{shown(written)}" by the file and in "{shown(stated)}" by the record', "one of the two",
        )  # fmt: skip
    scale = _length(written or stated)
    if scale is None:
        said = (
            f'"{shown((written or stated).strip("[]()"))}" is no unit of length'
            if written or stated
            else "nothing says its unit"
        )
        raise refusal(
            file, begin, "trace-unit-missing", f"{what}: {said}", "nm, um or mm",
            f"write `{what}_unit` in the record, or the unit beside the header",
        )  # fmt: skip
    return scale


def _unit_of(header: str, cell: str) -> str:
    if cell:
        return cell
    match = _UNIT.search(header.strip())
    if not match:
        return ""
    return next(group for group in match.groups() if group is not None)


def _length(text: str) -> float | None:
    plain = text.strip().strip("[]()")
    try:
        return units.converter(_SPELT.get(plain.casefold().removesuffix("s"), plain), "length")[0]
    except units.UnitError:
        return None


def _step(how: Layout, facts: Mapping[str, str], file: str, begin: int) -> float:
    if how.step is not None:
        return how.step
    for key in _SPACING:
        if key in facts:
            try:
                return units.parse(facts[key].replace("/sample", ""), "length")
            except units.UnitError:
                continue
    raise refusal(
        file, begin, "trace-step-missing", "there are heights only, and nothing says how far they stand apart",
        "`step` in the record, or a line `spacing` above the points",
    )  # fmt: skip


# ---- what stands above the points -----------------------------------------------------------------------------------


def _facts(above: Sequence[str]) -> dict[str, str]:
    """Pairs of key and value: a line with one of : = ; tab or comma after its key."""
    found: dict[str, str] = {}
    for line in above:
        text = line.strip()
        text = text[1:].lstrip() if text.startswith(("#", "%", ";")) else text
        key = _MARKS.split(text, maxsplit=1)[0]
        rest = text[len(key) :].lstrip()  # a tab is a mark, or stands before one
        value = (rest[1:] if rest.startswith((":", "=", ";", ",")) else rest).strip().rstrip("; ,\t")
        if value and 0 < len(key.strip()) <= _LONGEST_KEY:
            found.setdefault(key.strip().casefold(), value)
    return found


def _stated(above: Sequence[str], separator: str) -> dict[str, float]:
    """Results the instrument wrote above its points: the last field of a line named Ra, Rz ... that is a length."""
    found: dict[str, float] = {}
    for line in above:
        cells = _MARKS.split(line) if separator == " " else _cells(line, separator)
        if len(cells) < 2:
            cells = _MARKS.split(line)
        key = cells[0].strip(" #%").casefold() if cells else ""
        if key not in STATED or key in found:
            continue
        for cell in reversed(cells[1:]):
            try:
                found[key] = units.parse(cell.strip(), "length")
                break
            except units.UnitError:
                continue
    return found


def _counted(facts: Mapping[str, str], rows: int, file: str) -> None:
    """The number of points the file announces, where it does."""
    for key in _COUNT:
        text = facts.get(key, "")
        if text.isascii() and text.isdigit() and (len(text) > LONGEST or int(text) != rows):
            raise refusal(
                file, 0, "trace-cut-short", f"the file announces {shown(text)} points and holds {rows}",
                "as many points as announced", "save the trace again",
            )  # fmt: skip
