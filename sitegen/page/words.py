"""Numbers, lists, counts and dates as they are printed.

A number carries as many decimals as its interval justifies: the half-width keeps one significant digit, two when the
first of them is 1 (the habit of JCGM 100:2008, 7.2.6: one or two digits of an uncertainty are enough).
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from decimal import ROUND_HALF_EVEN, Decimal
from functools import lru_cache

from sitegen.vocabulary import Value

MINUS = "\N{MINUS SIGN}"
THIN = "\N{NARROW NO-BREAK SPACE}"
DASH = "\N{EN DASH}"

_COUNTS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")
_MONTHS = (
    "January", "February", "March", "April", "May", "June", "July",
    "August", "September", "October", "November", "December",
)  # fmt: skip


# ---- numbers ----------------------------------------------------------------------------------------------------


def decimals_for(half_width: float) -> int:
    """Decimals [-] a number is printed with when its half-width is `half_width`; negative: tens, hundreds.

    >>> decimals_for(0.031), decimals_for(0.12), decimals_for(25), decimals_for(0.0096)
    (2, 2, 0, 3)
    """
    if not half_width > 0 or math.isinf(half_width):
        return 2
    power = math.floor(math.log10(half_width))
    if half_width / 10**power >= 9.5:  # 0.0096 is printed as 0.010, so it has the digits of 0.010
        power, first = power + 1, 1.0
    else:
        first = half_width / 10**power
    return -power + (1 if first < 2.95 else 0)


def decimals_alone(number: float, significant: int = 3) -> int:
    """Decimals [-] of a number without an interval: `significant` digits, never less than whole units.

    >>> decimals_alone(0.3812), decimals_alone(25.5), decimals_alone(2610)
    (3, 1, 0)
    """
    if number == 0 or not math.isfinite(number):
        return 0
    return max(0, significant - 1 - math.floor(math.log10(abs(number))))


_BEYOND = 1e15  # from here on a number is printed with a power of ten
_RAISED = str.maketrans("0123456789", "⁰¹²³⁴⁵⁶⁷⁸⁹")


@lru_cache(maxsize=16384)  # the same numbers stand on the pages of a cylinder, its engine, its coating, its program
def number(value: float, decimals: int | None = None) -> str:
    """A number with a proper minus sign and narrow spaces between thousands.

    >>> number(-0.094, 2), number(2610), number(12345.6, 1)
    ('−0.09', '2\\u202f610', '12\\u202f345.6')
    >>> number(0.38123), number(-0.001, 2), number(437, -1)
    ('0.381', '0.00', '440')

    A slip of the pen may be any number, and is printed too:

    >>> number(-1.5e300, 2)
    '−1.50\u202f×\u202f10³⁰⁰'
    """
    if math.isinf(value):
        return MINUS + "∞" if value < 0 else "∞"
    if abs(value) >= _BEYOND:
        digits, _, power = f"{abs(value):.2e}".partition("e+")
        return f"{MINUS if value < 0 else ''}{digits}{THIN}×{THIN}10{power.translate(_RAISED)}"
    places = decimals_alone(value) if decimals is None else decimals
    text = f"{_cut(value, places):f}"
    sign, digits = ("-", text[1:]) if text.startswith("-") else ("", text)
    whole, _, fraction = digits.partition(".")
    if sign and not (whole + fraction).strip("0"):
        sign = ""
    if len(whole) > 3:
        head = len(whole) % 3 or 3
        whole = THIN.join([whole[:head], *(whole[i : i + 3] for i in range(head, len(whole), 3))])
    return (MINUS if sign else "") + whole + (f".{fraction}" if fraction else "")


def _cut(value: float, places: int) -> Decimal:
    return Decimal(repr(float(value))).quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_EVEN)


def signed(value: float, decimals: int | None = None) -> str:
    """A difference: with its sign, plus as well as minus.

    >>> signed(0.07, 2), signed(-0.09, 2), signed(0.001, 2)
    ('+0.07', '−0.09', '0.00')
    """
    text = number(value, decimals)
    return f"+{text}" if value > 0 and text.strip("0.") else text


def from_to(least: str, most: str) -> str:
    """A range of numbers already in words; one of them where they read alike.

    >>> from_to("0.28", "0.31"), from_to("80", "80")
    ('0.28 to 0.31', '80')
    """
    return least if least == most else f"{least} to {most}"


def span(low: float | None, high: float | None, decimals: int | None = None) -> str:
    """An interval in words; an end that is unbounded or unknown is not invented.

    >>> span(0.25, 0.41), span(-math.inf, 0.3), span(0.2, math.inf), span(None, None)
    ('0.25 to 0.41', 'at most 0.3', 'at least 0.2', 'no interval')
    """
    lower = None if low is None or math.isinf(low) else low
    upper = None if high is None or math.isinf(high) else high
    if lower is None and upper is None:
        return "no interval"
    if lower is None or upper is None:
        end = upper if lower is None else lower
        assert end is not None  # noqa: S101 - one of the two is known here
        text = number(end, decimals) if decimals is not None else _trimmed(end)
        return f"{'at most' if lower is None else 'at least'} {text}"
    places = decimals_for((upper - lower) / 2) if decimals is None else decimals
    return f"{number(lower, places)} to {number(upper, places)}"


@lru_cache(maxsize=16384)
def with_interval(value: float, low: float | None, high: float | None) -> str:
    """A number with its interval: symmetric as ±, lopsided as its two ends.

    >>> with_interval(0.3812, 0.35, 0.4124), with_interval(0.38, 0.25, 0.41)
    ('0.38 ± 0.03', '0.38 (0.25 to 0.41)')
    >>> with_interval(0.3812, None, None), with_interval(0.38, -math.inf, 0.5)
    ('0.381', '0.380 (at most 0.5)')
    """
    if low is None or high is None or math.isinf(low) or math.isinf(high):
        text = number(value, None)
        ends = span(low, high)
        return text if ends == "no interval" else f"{text} ({ends})"
    half = (high - low) / 2
    if half <= 0:
        return number(value)
    places = decimals_for(half)
    if abs((high - value) - (value - low)) <= 0.1 * half:
        return f"{number(value, places)} ± {number(half, places)}"
    return f"{number(value, places)} ({span(low, high, places)})"


def within(value: float, low: float | None, high: float | None) -> str:
    """The number alone, with the decimals its interval justifies.

    >>> within(0.3812, 0.35, 0.4124), within(2611.7, 2500, 2720), within(0.3812, None, None)
    ('0.38', '2\\u202f610', '0.381')
    """
    if low is None or high is None or math.isinf(low) or math.isinf(high) or high <= low:
        return number(value)
    return number(value, decimals_for((high - low) / 2))


def apart(ends: Iterable[float | None], limit: float, decimals: int) -> int:
    """Decimals at which every end is printed on the side of a limit where it lies: those given, or more.

    >>> apart((0.303, 0.348), 0.35, 2), apart((0.303, 0.348), 0.4, 2), apart((None, 0.35), 0.35, 2)
    (3, 2, 2)
    """
    known = [end for end in ends if end is not None and math.isfinite(end)]

    def stands(end: float, places: int) -> bool:
        printed = float(_cut(end, places))
        return (printed > limit, printed < limit) == (end > limit, end < limit)

    return next((n for n in range(decimals, decimals + 9) if all(stands(end, n) for end in known)), decimals)


def judged(found: float | None, low: float | None, high: float | None, limit: float) -> str:
    """A number held against a limit, with the interval that decides, in as many digits as show on which side it lies.

    >>> judged(0.3261, 0.3032, 0.3483, 0.35), judged(None, None, 0.04, 0.35), judged(98.2, None, None, 95)
    ('0.326 (0.303 to 0.348)', 'at most 0.0400', '98.2')
    """
    ends = [end for end in (low, high) if end is not None and math.isfinite(end)]
    if not ends:
        return DASH if found is None else number(found, apart((found,), limit, decimals_alone(found)))
    half = (ends[-1] - ends[0]) / 2 if len(ends) == 2 else abs(ends[0] - found) if found is not None else 0.0
    places = apart(ends, limit, decimals_for(half) if half > 0 else decimals_alone(ends[0]))
    span_ = span(low, high, places)
    return span_ if found is None else f"{number(found, places)} ({span_})"


def stated(limit: float) -> str:
    """A limit as it was stated: no digits added.

    >>> stated(0.35), stated(12.0), stated(-0.03)
    ('0.35', '12', '−0.03')
    """
    return number(limit, max(0, -int(Decimal(repr(float(limit))).normalize().as_tuple().exponent)))


def below(limit: float) -> str:
    """A censored value: only its limit is known.

    >>> below(0.04)
    'below 0.04'
    """
    return f"below {_trimmed(limit)}"


def value_text(value: Value | None, *, interval: bool = True) -> str:
    """How a value is printed in a table or a sentence, without its unit.

    >>> from sitegen.vocabulary import Key
    >>> value_text(Value("m", Key(), 0.3812, 0.35, 0.4124)), value_text(Value("m", Key(), high=0.04, status="below"))
    ('0.38 ± 0.03', 'below 0.04')
    >>> value_text(Value("m", Key(), status="refused")), value_text(None)
    ('no answer', '–')
    """
    if value is None:
        return DASH
    if value.status == "below" and value.high is not None:
        return below(value.high)
    if value.status == "missing":
        return "to come" if value.reason == "to-come" else "missing"
    if value.status == "refused":
        return "no answer"
    if value.value is None:
        return DASH if value.low is None or value.high is None else span(value.low, value.high)
    if interval:
        return with_interval(value.value, value.low, value.high)
    return within(value.value, value.low, value.high)


def with_unit(text: str, unit: str) -> str:
    """A number and its unit, never parted at a line end; a pure ratio has no unit to print.

    >>> with_unit("0.38", "mm²"), with_unit("1.2", "1")
    ('0.38\\xa0mm²', '1.2')
    """
    return text if unit in {"", "1"} else f"{text}\N{NO-BREAK SPACE}{unit}"


def tied(text: str) -> str:
    """Text as it was written down, with no line end between a number and its per cent.

    >>> tied("held in 94 to 99 % of lots")
    'held in 94 to 99\\xa0% of lots'
    """
    return re.sub(r"(?<=\d) %", "\N{NO-BREAK SPACE}%", text)


def percent(part: float, whole: float) -> str:
    """A share in whole per cent.

    >>> percent(71, 84)
    '85\\xa0%'
    """
    return with_unit(number(100 * part / whole, 0), "%")


def _trimmed(number_: float) -> str:
    text = number(number_)
    return text.rstrip("0").rstrip(".") if "." in text else text


# ---- lists and counts -------------------------------------------------------------------------------------------


def listed(names: Iterable[str], last: str = "and") -> str:
    """Names as a list in a sentence.

    >>> listed(["B1"]), listed(["B1", "B2"]), listed(["B1", "B2", "B5"]), listed([])
    ('B1', 'B1 and B2', 'B1, B2 and B5', '')
    """
    every = list(names)
    if len(every) < 2:
        return "".join(every)
    return f"{', '.join(every[:-1])} {last} {every[-1]}"


def numbers_listed(numbers: Sequence[int]) -> str:
    """Cylinder numbers; three or more in a row as a range.

    >>> numbers_listed([1, 2, 3, 4]), numbers_listed([1, 3, 4]), numbers_listed([2]), numbers_listed([6, 1, 2, 3, 4])
    ('1 to 4', '1, 3 and 4', '2', '1 to 4 and 6')
    """
    ranges: list[list[int]] = []
    for number_ in sorted(numbers):
        if ranges and number_ == ranges[-1][-1] + 1:
            ranges[-1].append(number_)
        else:
            ranges.append([number_])
    told = [[f"{each[0]} to {each[-1]}"] if len(each) > 2 else map(str, each) for each in ranges]
    return listed(text for each in told for text in each)


def count(n: int) -> str:
    """A count in a sentence: words up to twelve.

    >>> count(0), count(3), count(16)
    ('no', 'three', '16')
    """
    return _COUNTS[n] if 0 <= n < len(_COUNTS) else number(n, 0)


def plural(n: int, one: str, many: str = "") -> str:
    """The noun in the number of `n`.

    >>> plural(1, "build"), plural(0, "build"), plural(2, "assembly", "assemblies")
    ('build', 'builds', 'assemblies')
    """
    return one if n == 1 else many or f"{one}s"


def counted(n: int, one: str, many: str = "") -> str:
    """A count with its noun.

    >>> counted(3, "cylinder"), counted(1, "build"), counted(0, "reading")
    ('three cylinders', 'one build', 'no readings')
    """
    return f"{count(n)} {plural(n, one, many)}"


def share(n: int, of: int, one: str, many: str = "") -> str:
    """How many of how many.

    >>> share(3, 4, "cylinder"), share(4, 4, "cylinder"), share(2, 2, "build"), share(0, 4, "cylinder")
    ('three of four cylinders', 'all four cylinders', 'both builds', 'none of four cylinders')
    """
    if of == 0:
        return counted(0, one, many)
    if n == of:
        if of == 1:
            return f"the {one}"
        return f"both {plural(2, one, many)}" if of == 2 else f"all {counted(of, one, many)}"
    return f"{'none' if n == 0 else count(n)} of {counted(of, one, many)}"


def are(n: int, of: int) -> str:
    """The verb after a `share`.

    >>> are(1, 4), are(1, 1), are(0, 4), are(0, 1), are(2, 2)
    ('is', 'is', 'are', 'is', 'are')
    """
    return "is" if 1 in {n, of} else "are"


def has(n: int, of: int) -> str:
    """The same of having.

    >>> has(1, 4), has(3, 4)
    ('has', 'have')
    """
    return "has" if 1 in {n, of} else "have"


def sentence(text: str) -> str:
    """The first letter as a capital, nothing else touched.

    >>> sentence("three of four cylinders hold.")
    'Three of four cylinders hold.'
    """
    return text[:1].upper() + text[1:]


# ---- dates ------------------------------------------------------------------------------------------------------


def day(iso: str, *, year: bool = True) -> str:
    """A date as it is read aloud; what is no ISO date stays as written.

    >>> day("2026-05-14"), day("2026-12-07", year=False), day("spring")
    ('14 May 2026', '7 December', 'spring')
    """
    parts = iso.split("-")
    if len(parts) != 3 or not all(part.isdigit() for part in parts) or not 1 <= int(parts[1]) <= 12:
        return iso
    text = f"{int(parts[2])} {_MONTHS[int(parts[1]) - 1]}"
    return f"{text} {int(parts[0])}" if year else text


def days(first: str, last: str) -> str:
    """From one day to another, the year once where it is the same.

    >>> days("2026-02-09", "2026-11-18"), days("2025-02-09", "2026-02-09"), days("2026-02-09", "2026-02-09")
    ('9 February to 18 November 2026', '9 February 2025 to 9 February 2026', '9 February 2026')
    """
    return from_to(day(first, year=first[:4] != last[:4] or first == last), day(last))
