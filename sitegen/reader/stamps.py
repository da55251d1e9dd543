"""Stamps of a log as instruments write them, to seconds.

Whole columns are read at once: stamps of one form (the same signs at the same places) are cut into their digits
together, so that a million stamps take a second and not a minute.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Cells = npt.NDArray[np.object_]

_DATE = (
    r"(?:(?P<y>\d{4})(?P<s>[-/.])(?P<m>\d{1,2})(?P=s)(?P<d>\d{1,2})"
    r"|(?P<a>\d{1,2})(?P<t>[-/.])\s?(?P<b>\d{1,2})(?P=t)\s?(?P<z>\d{4}|\d{2}))"
)
_TIME = r"(?P<h>\d{1,5}):(?P<n>\d{2})(?::(?P<c>\d{2})(?:[.,:](?P<f>\d{1,9}))?)?(?:\s?(?P<p>[AaPp])\.?[Mm]\.?)?"
_ZONE = r"(?:\s?(?:Z|(?P<sign>[+-])(?P<oh>\d{2}):?(?P<on>\d{2})))?"
_STAMP = re.compile(rf"{_DATE}(?:(?:[T,]\s?|\s+){_TIME}{_ZONE})?", re.ASCII)
_CLOCK = re.compile(_TIME, re.ASCII)
_LONGEST = 64  # characters of a stamp
_FORMS = 60  # forms read as whole columns; stamps of any further form are faults
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)

FAULTS: Mapping[str, str] = MappingProxyType(
    {
        "not-a-stamp": "is no stamp",
        "date-order-unstated": "has its day and month in an order nobody stated",
        "no-such-time": "is no day of the calendar or no time of day",
        "time-not-possible": "is no possible time of a log",
        "stamp-undated": "says a time without a date, unlike the others",
    }
)
"""Why a stamp cannot be read, as what can follow it in a sentence."""


@dataclass(frozen=True)
class Instants:
    """Stamps of one piece. Arrays have one entry a stamp."""

    seconds: Floats  # since 1970 in universal time, or since midnight where undated; nan where empty or faulty
    faults: Cells  # "" or a key of `FAULTS`
    dated: bool  # the stamps bear dates
    zone: float = 0.0  # s, what local time of the first stamp is ahead of universal time


def is_stamp(text: str) -> bool:
    """Whether a text is a date and a time of day, as `instants` knows them, in whatever order."""
    return len(text) <= _LONGEST and bool(_STAMP.fullmatch(text))


def is_clock(text: str) -> bool:
    """Whether a text is a time of day."""
    return len(text) <= _LONGEST and bool(_CLOCK.fullmatch(text))


def instants(cells: Cells, order: str = "", dated: bool | None = None) -> Instants:
    """Seconds of a column of stamps; `dated` says what earlier pieces of it were, None for the first.

    Dates may stand year first, or as the stated `order` ("day first", "month first") says; a year of two digits after
    day and month is of this century. A date alone is its
    midnight, as workbooks write it. Hours of an undated stamp may run on past 24.

    >>> instants(np.array(["14.5.2026 08:30:00,5", ""], dtype=object), "day first").seconds.tolist()
    [1778747400.5, nan]
    """
    # An array of texts has room for its longest in every row, so what is too long for a stamp does not enter it.
    stripped = (cell.strip() for cell in cells.tolist())
    texts = np.array([text if len(text) <= _LONGEST else "?" for text in stripped], dtype=np.str_)
    seconds = np.full(len(texts), np.nan)
    faults = np.full(len(texts), "", dtype=object)
    zone: float | None = None
    if len(texts) == 0 or texts.dtype.itemsize == 0:
        return Instants(seconds, faults, bool(dated))
    codes = texts.view(np.uint32).reshape(len(texts), -1)
    digit = (codes >= 48) & (codes <= 57)
    form = np.where(digit, 48, codes)
    left = codes[:, 0] != 0
    for _ in range(_FORMS):
        if not left.any():
            break
        first = int(left.argmax())
        mine = left & (form == form[first]).all(axis=1)
        left &= ~mine
        text = str(texts[first])
        match = _STAMP.fullmatch(text) or _CLOCK.fullmatch(text)
        if match is None:
            faults[mine] = "not-a-stamp"
            continue
        has_date = match.re is _STAMP
        dated = has_date if dated is None else dated
        if has_date != dated:
            faults[mine] = "stamp-undated" if dated else "not-a-stamp"
            continue
        if has_date and match["a"] and not order:
            faults[mine] = "date-order-unstated"
            continue
        found, good, ahead = _read(codes[mine], match, order)
        zone = ahead if zone is None else zone
        seconds[mine] = np.where(good, found, np.nan)
        faults[mine] = np.where(good, "", "no-such-time")
    faults[left] = "not-a-stamp"
    return Instants(seconds, faults, bool(dated), zone or 0.0)


def _read(codes: np.ndarray, match: re.Match[str], order: str) -> tuple[Floats, npt.NDArray[np.bool_], float]:
    """Seconds of stamps of one form, whether each exists, and the zone of the first."""
    groups = match.groupdict()

    def whole(name: str) -> np.ndarray:
        if not groups.get(name):
            return np.zeros(len(codes), dtype=np.int64)
        begin, end = match.span(name)
        value = np.zeros(len(codes), dtype=np.int64)
        for at in range(begin, end):
            value = value * 10 + (codes[:, at].astype(np.int64) - 48)
        return value

    hour, minute, second = whole("h"), whole("n"), whole("c")
    good = (minute < 60) & (second < 61)
    if groups.get("p"):
        good &= (hour >= 1) & (hour <= 12)
        hour = hour % 12 + (12 if groups["p"] in "Pp" else 0)
    places = len(groups.get("f") or "")
    micro = whole("f") * 10**6 // 10**places
    days = np.zeros(len(codes), dtype=np.int64)
    ahead = np.zeros(len(codes), dtype=np.int64)
    if "d" in groups:
        good &= (hour < 24) | ((hour == 24) & (minute == 0) & (second == 0))
        if groups["y"]:
            year, month, day = whole("y"), whole("m"), whole("d")
        else:
            year = whole("z") + (2000 if len(groups["z"]) == len("26") else 0)
            day, month = (whole("a"), whole("b")) if order == "day first" else (whole("b"), whole("a"))
        good &= (month >= 1) & (month <= 12) & (day >= 1) & (year >= 2) & (year <= 9998)
        months = (year - 1970) * 12 + np.clip(month, 1, 12) - 1
        begin = months.astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)
        after = (months + 1).astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)
        days = begin + day - 1
        good &= days < after
        if groups.get("sign"):
            ahead = (whole("oh") * 60 + whole("on")) * (60 if groups["sign"] == "+" else -60)
    seconds = days * 86400 + hour * 3600 + minute * 60 + second - ahead
    return (seconds * 10**6 + micro) / 1e6, good, float(ahead[0]) if len(ahead) else 0.0


def iso(seconds: float, zone: float = 0.0) -> str:
    """Local stamp of an instant in seconds since 1970; `zone` [s] is what local time is ahead.

    >>> iso(1778747400.5)
    '2026-05-14T08:30:00.5'
    """
    moment = _EPOCH + timedelta(microseconds=round((seconds + zone) * 1e6))
    text = moment.replace(tzinfo=None).isoformat()
    return text.rstrip("0") if "." in text else text


def together(dates: Cells, times: Cells) -> Cells:
    """Stamps from a column of dates and a column of times of day.

    What workbooks add of their own goes: midnight after a date, the day before their first before a time.

    >>> together(np.array(["2026-05-14", ""], dtype=object), np.array(["8:30:00", ""], dtype=object)).tolist()
    ['2026-05-14 8:30:00', '']
    """
    made = []
    for date, time in zip(dates.tolist(), times.tolist(), strict=True):
        day, hour = date.strip(), time.strip()
        if ":" in day:
            day = re.split(r"[T ]", day, maxsplit=1)[0]
        if "-" in hour:
            hour = re.split(r"[T ]", hour, maxsplit=1)[-1]
        made.append(f"{day or '?'} {hour or '?'}" if day or hour else "")
    return np.array(made, dtype=object)
