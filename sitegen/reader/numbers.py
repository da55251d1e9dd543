"""Numbers and dates as people and instruments write them.

Cells are judged column by column: a decimal comma nobody announced shows in the whole column, not in one cell.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from math import isfinite, nan
from typing import Literal

import numpy as np
import numpy.typing as npt

Cells = npt.NDArray[np.object_]
Floats = npt.NDArray[np.float64]

Complaint = Literal[
    "",
    "comma-decimal",
    "comma-thousands",
    "comma-either",
    "dot-decimal",
    "dot-twice",
    "groups-broken",
    "blank-thousands",
]
_NOT_FINITE = re.compile(
    r"[+-]?(nan|inf|infinity|1\.#(inf|qnan|snan|ind)0*)|#(n/a|num!|div/0!|value!|ref!)", re.IGNORECASE
)
LONGEST = 500  # characters of a cell that may be a number or a date
# These are met by any text: each finds out in a time in proportion to the length, `tests/fuzz` holds that.
PLAIN = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)
_DECIMAL_COMMA = re.compile(r"[+-]?\d*,\d+(?:[eE][+-]?\d+)?", re.ASCII)
_COMMA_GROUPS = re.compile(r"[+-]?\d{1,3}(?:,\d{3})+(?:\.\d*)?", re.ASCII)
_DOT_GROUPS = re.compile(r"[+-]?\d{1,3}(?:\.\d{3}){2,}(?:,\d*)?|[+-]?\d{1,3}(?:\.\d{3})+,\d*", re.ASCII)
_THREE_BEHIND = re.compile(r"[+-]?\d{1,3}[.,]\d{3}", re.ASCII)
_DOTS = re.compile(r"[+-]?\d+(?:\.\d*){2,}", re.ASCII)
_BLANK_GROUPS = re.compile("[+-]?\\d{1,3}(?:[ \u00a0\u2009\u202f']\\d{3})+(?:[.,]\\d*)?", re.ASCII)
_BLANKS = str.maketrans({"\u00a0": " ", "\u2009": " ", "\u202f": " ", "\u2019": "'"})


@dataclass(frozen=True)
class Numbers:
    """A column of numbers as written, not yet in SI."""

    values: Floats  # nan where empty or faulty
    faults: Cells  # "" or the reason's code
    complaint: Complaint = ""  # why the whole column cannot be trusted
    at: int = 0  # position of the first cell the complaint is about


SURE = 3  # figures of other columns with the announced mark, by which a single cell with another is a slip


def bearing(column: np.ndarray, decimal: str) -> int:
    """How many figures of a column show which mark stands before their decimals.

    >>> bearing(np.array(["72,4", "80", "tdc"], dtype=object), ","), bearing(np.array([72.4, 80.0]), ",")
    (1, 1)
    """
    if column.dtype == object:
        return sum(decimal in cell and not _number(cell, decimal, "")[1] for cell in column.tolist())
    return int(np.count_nonzero(np.isfinite(column) & (column != np.floor(column))))


def other_mark(cell: str, decimal: str) -> bool:
    """Whether a cell is a number with the decimal mark that is not the announced one.

    >>> other_mark("72.4", ","), other_mark("72,4", "."), other_mark("72", ",")
    (True, True, False)
    """
    pattern, mark = (_DECIMAL_COMMA, ",") if decimal == "." else (PLAIN, ".")
    text = cell.strip().replace("\u2212", "-")
    return len(text) <= LONGEST and mark in text and bool(pattern.fullmatch(text))


def numbers(cells: Cells, decimal: str = ".", thousands: str = "", elsewhere: int = 0) -> Numbers:
    """Values of a column of text.

    Empty cells give nan without a fault. Overflow stars, infinities and what is no number give nan and a fault. The
    whole column is complained of where its marks contradict what was announced; `elsewhere`: figures of other columns
    that bear the announced mark, beside which a single cell is no more than a slip.

    >>> numbers(np.array(["1.5", "", "*.***"], dtype=object)).faults.tolist()
    ['', '', 'overflow']
    >>> numbers(np.array(["12,5", "7"], dtype=object)).complaint
    'comma-decimal'
    """
    read = {cell: _number(cell, decimal, thousands) for cell in dict.fromkeys(cells.tolist())}
    listed = cells.tolist()
    values = np.array([read[cell][0] for cell in listed], dtype=float)
    faults = np.array([read[cell][1] for cell in listed], dtype=object)
    odd = [cell for cell, (_, fault) in read.items() if fault == "not-a-number"]
    good = [cell for cell, (_, fault) in read.items() if not fault]
    complaint, culprit = _complaint(odd, good, decimal, thousands, listed, elsewhere) if odd else ("", "")
    return Numbers(values, faults, complaint, listed.index(culprit) if complaint else 0)


def _number(cell: str, decimal: str, thousands: str) -> tuple[float, str]:
    text = cell.strip().replace("\u2212", "-")
    if not text:
        return nan, ""
    if len(text) > LONGEST:
        return nan, "not-a-number"
    if thousands:
        mark = thousands.translate(_BLANKS)
        text = text.translate(_BLANKS)
        whole, comma, rest = text.partition(decimal)
        if mark in whole:
            if not re.fullmatch(rf"[+-]?[1-9]\d{{0,2}}(?:{re.escape(mark)}\d{{3}})+", whole, re.ASCII) or mark in rest:
                return nan, _kind(text)
            text = whole.replace(mark, "") + comma + rest
    if decimal == ",":
        if "." in text:
            return nan, _kind(text)
        text = text.replace(",", ".")
    if not PLAIN.fullmatch(text):
        return nan, _kind(cell.strip())
    value = float(text)
    return (value, "") if isfinite(value) else (nan, "not-finite")


def _kind(text: str) -> str:
    if _NOT_FINITE.fullmatch(text):
        return "not-finite"
    if set(text) <= set("*#.,+-") and set(text) & set("*#"):
        return "overflow"
    return "not-a-number"


def _complaint(
    odd: Sequence[str], good: Sequence[str], decimal: str, thousands: str, cells: Sequence[str], elsewhere: int
) -> tuple[Complaint, str]:
    """What the unreadable cells of a column have in common, and the first of them."""
    texts = {
        cell: cell.strip().replace("\u2212", "-") for cell in odd if len(cell) <= LONGEST and not is_date(cell.strip())
    }

    def first(pattern: re.Pattern[str]) -> str:
        return next((cell for cell, text in texts.items() if pattern.fullmatch(text)), "")

    marked = {cell for cell in good if decimal in cell}
    if decimal == ".":
        if not thousands and (culprit := first(_DOT_GROUPS) or first(_DOTS)):
            return "dot-twice", culprit
        if thousands == "." or thousands == ",":
            if culprit := first(_DECIMAL_COMMA) or first(_DOTS):
                return "groups-broken", culprit
        else:
            if culprit := next((c for c, t in texts.items() if _COMMA_GROUPS.fullmatch(t) and "." in t), ""):
                return "comma-thousands", culprit
            commas = {cell for cell, text in texts.items() if _DECIMAL_COMMA.fullmatch(text)}
            grouped = {cell for cell, text in texts.items() if _COMMA_GROUPS.fullmatch(text)}
            if commas | grouped and _outweighs(commas | grouped, marked, cells, elsewhere):
                culprit = next(cell for cell in texts if cell in commas | grouped)
                if grouped - commas:
                    return "comma-thousands", culprit
                return ("comma-decimal" if commas - grouped else "comma-either"), culprit
    else:
        dots = {cell for cell, text in texts.items() if PLAIN.fullmatch(text) or _DOT_GROUPS.fullmatch(text)}
        if thousands == ".":
            if culprit := next((c for c, t in texts.items() if PLAIN.fullmatch(t) or _DOTS.fullmatch(t)), ""):
                return "groups-broken", culprit
        elif culprit := first(_DOT_GROUPS):
            return "dot-twice", culprit
        elif dots and _outweighs(dots, marked, cells, elsewhere):
            return "dot-decimal", next(cell for cell in texts if cell in dots)
    if not thousands and (culprit := first(_BLANK_GROUPS)):
        return "blank-thousands", culprit
    return "", ""


def _outweighs(other: set[str], announced: set[str], cells: Sequence[str], elsewhere: int) -> bool:
    """True where at least as many cells bear the other mark as bear the announced one: no slip of one hand. In a column
    of few figures a single cell is one where the rest of the file bears the announced mark, unless its mark may part
    thousands.
    """
    count = sum(cell in other for cell in cells)
    if count == 1 and elsewhere >= SURE and not any(_THREE_BEHIND.fullmatch(cell.strip()) for cell in other):
        return False
    return count >= sum(cell in announced for cell in cells)


_YEAR_FIRST = re.compile(r"(\d{4})([-./])(\d{1,2})\2(\d{1,2})(?:[T ]\d{1,2}:\d{2}.*)?", re.ASCII)
_THREE = re.compile(r"(\d{1,2})([./-])\s?(\d{1,2})\2\s?(\d{4}|\d{2})(?:[T ,]\s?\d{1,2}:\d{2}.*)?", re.ASCII)


@dataclass(frozen=True)
class Dates:
    """A column of dates as ISO text, "" where empty or faulty. A time of day beside the date is not kept."""

    values: Cells
    faults: Cells
    unannounced: bool = False  # day and month in an order nobody stated
    at: int = 0


def dates(cells: Cells, order: str = "") -> Dates:
    """ISO dates of a column: ISO as written, else in the stated `order` ("day first" or "month first").

    A year of two digits after day and month is of this century.

    >>> dates(np.array(["14.5.2026", "2026-05-15", "31.02.2026"], dtype=object), "day first").values.tolist()
    ['2026-05-14', '2026-05-15', '']
    """
    read = {cell: _date(cell.strip(), order) for cell in dict.fromkeys(cells.tolist())}
    if any(value for value, _ in read.values()):  # beside dates with whole years one without is a slip of one hand
        slips = [each for each, (_, fault) in read.items() if fault == "unannounced" and has_short_year(each.strip())]
        read |= dict.fromkeys(slips, ("", "not-a-date"))
    listed = cells.tolist()
    unannounced = [cell for cell, (_, fault) in read.items() if fault == "unannounced"]
    return Dates(
        np.array([read[cell][0] for cell in listed], dtype=object),
        np.array([read[cell][1] for cell in listed], dtype=object),
        bool(unannounced),
        listed.index(unannounced[0]) if unannounced else 0,
    )


def is_date(text: str) -> bool:
    """Whether a text is a date as `dates` knows it, in whatever order."""
    return bool(_YEAR_FIRST.fullmatch(text) or _THREE.fullmatch(text))


def day_and_month(text: str) -> tuple[int, int] | None:
    """The two figures before the year of a date, in the order written; None where its year comes first.

    >>> day_and_month("14.05.2026"), day_and_month("2026-05-14"), day_and_month("14.05.26")
    ((14, 5), None, None)
    """
    found = _THREE.match(text)
    return (int(found[1]), int(found[3])) if found and not has_short_year(text) else None


def has_short_year(text: str) -> bool:
    """Whether a date has three figures of two digits at most: any of them may be the year.

    >>> has_short_year("14.05.26"), has_short_year("14.05.2026")
    (True, False)
    """
    found = _THREE.fullmatch(text)
    return found is not None and len(found[4]) == len("26")


def _date(text: str, order: str) -> tuple[str, str]:
    if not text:
        return "", ""
    if len(text) > LONGEST:
        return "", "not-a-date"
    if known := _YEAR_FIRST.fullmatch(text):  # as ISO 8601, or with points or strokes: nobody writes year, day, month
        year, month, day = int(known[1]), int(known[3]), int(known[4])
    elif three := _THREE.fullmatch(text):
        if not order:
            return "", "unannounced"
        day, month, year = int(three[1]), int(three[3]), int(three[4]) + (2000 if has_short_year(text) else 0)
        if order == "month first":
            day, month = month, day
    else:
        return "", "not-a-date"
    try:
        return date(year, month, day).isoformat(), ""
    except ValueError:
        return "", "no-such-date"
