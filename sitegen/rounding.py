"""What a digit of a result is worth. A result is rounded the moment a step gives it, once and for everybody.

The steps after it, the words of criteria and states, the pages and git all see that one number: what is committed is
what was worked with, and what moves less than its last digit moves nothing behind it.

An interval keeps three significant digits of its half-width, and the value as many decimals: two are enough for a
reader, and one more where others are worked out from it (Evaluation of measurement data, Guide to the expression of
uncertainty in measurement, JCGM 100:2008, 7.2.6). A scatter is known to one part in the root of twice its degrees of
freedom (same guide, E.4.3): two digits of that. It enters every interval of a program, so that its digits beyond would
move all of them with every reading. Standard errors and degrees of freedom keep three, what has no uncertainty four.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal
from types import MappingProxyType
from typing import TYPE_CHECKING

from sitegen.vocabulary import Comparison, Result, Series, Value, Verdict

if TYPE_CHECKING:
    import pandas as pd

OF_HALF_WIDTH = 3  # significant digits of the half-width of an interval
OF_SCATTER = 2  # of the half-width of a scatter
OF_ERROR = 3  # of standard errors, degrees of freedom, ends without a value
OF_VALUE = 4  # of what carries no uncertainty
OF_CURVE = 5  # of what is drawn
# Degrees of freedom above this count as known: the 95 % point of Student's t is then within 0.13 % of the normal's.
MOST_DF = 1000
_NORMAL_95 = 1.959964
# Of a last digit. Means of numbers with few digits often end in a five: it goes up, however the last bits fell.
_OFF_EDGE = 1e-6

Interval = tuple[float | None, float | None, float | None]  # value, low, high


def place(
    value: float | None, low: float | None, high: float | None, df: float | None = None, se: float | None = None,
    digits: int = OF_VALUE,
) -> int:  # fmt: skip
    """Decimal place to which a value and the ends of its interval are rounded (2: hundredths, -1: tens).

    Where the independent part `se` of the error is less than the interval shows, it decides: what all readings share
    cancels in differences, and they must not be left with rounding.

    >>> place(0.3812, 0.3514, 0.4124), place(2611.7, 2503.0, 2720.0), place(1.234567, None, None)
    (4, 0, 3)
    >>> place(0.3812, 0.3514, 0.4124, se=0.0021), place(1.2345, None, None, df=8)  # a scatter known to a half
    (5, 2)
    """
    least = math.inf  # half-width that decides
    if value is not None:
        for end in (low, high):
            if end is not None and 0 < abs(end - value) < least:
                least = abs(end - value)
    if se is not None and 0 < _NORMAL_95 * se < least:
        least = _NORMAL_95 * se
    if least < math.inf:
        return OF_HALF_WIDTH - 1 - _leading(least)
    if value and df:
        return OF_SCATTER - 1 - _leading(_NORMAL_95 * abs(value) / math.sqrt(2 * df))
    numbers = [abs(n) for n in (value, low, high) if n is not None and math.isfinite(n) and n != 0]
    return (digits if value else OF_ERROR) - 1 - _leading(max(numbers)) if numbers else 0


def _leading(number: float) -> int:
    """Decimal exponent of the first digit."""
    return math.floor(math.log10(number))


def interval(value: float | None, low: float | None, high: float | None) -> Interval:
    """A value with its ends as they are stored: what a word is decided on.

    >>> interval(0.38123, 0.35144, 0.41241), interval(None, None, 0.041288)
    ((0.3812, 0.3514, 0.4124), (None, None, 0.0413))
    """
    at = place(value, low, high)
    return _cut(value, at), _cut(low, at), _cut(high, at)


def _cut(number: float | None, at: int) -> float | None:
    if number is None or not math.isfinite(number):
        return None if number is None else float(number)
    number = float(number)  # of numpy's own, which steps may be given by an older scipy, the text is another
    return round(number + math.copysign(_OFF_EDGE * 10.0**-at, number), at) + 0.0  # no negative zero


def _digits(number: float | None, significant: int = OF_ERROR) -> float | None:
    """A number with its first significant digits.

    >>> _digits(0.0123456), _digits(98765.0), _digits(0.0), _digits(None)
    (0.0123, 98800.0, 0.0, None)
    """
    if number is None:
        return None
    if number == 0 or not math.isfinite(number):
        return _cut(number, 0)
    return _cut(number, significant - 1 - _leading(abs(number)))


def _df(df: float | None) -> float | None:
    return None if df is None or df > MOST_DF else _digits(df)


def stored(result: Result, digits: Mapping[str, int] = MappingProxyType({})) -> Result:
    """What a step gave, as everybody sees it from here on; `digits` of measures that keep more than others.

    >>> from sitegen.vocabulary import Key
    >>> mass = Value("mass", Key("B1"), 41.25164)
    >>> stored(mass).value, stored(mass, {"mass": 7}).value
    (41.25, 41.25164)
    """
    if isinstance(result, Value):
        return rounded(result, digits.get(result.measure, OF_VALUE))
    if isinstance(result, Comparison):
        return settled(result)
    if isinstance(result, Series):
        return replace(result, frame=_drawn(result.frame))
    return decided(result)


def rounded(value: Value, digits: int = OF_VALUE) -> Value:
    """The value as it is stored and shown."""
    at = place(value.value, value.low, value.high, value.df, value.se, digits)
    made = Value.__new__(Value)  # `replace` takes five times as long, and there are tens of thousands
    vars(made).update(
        vars(value),
        value=_cut(value.value, at), low=_cut(value.low, at), high=_cut(value.high, at),
        se=_digits(value.se), df=_df(value.df), se_common=_digits(value.se_common),
    )  # fmt: skip
    return made


def settled(row: Comparison) -> Comparison:
    """The comparison as it is stored and shown."""
    estimate, low, high = interval(row.estimate, row.low, row.high)
    return replace(
        row,
        estimate=estimate, low=low, high=high, df=_df(row.df), se=_digits(row.se), p=_digits(row.p),
        p_randomised=_digits(row.p_randomised), least_p=_digits(row.least_p), level=_digits(row.level, OF_VALUE),
        level_reference=_digits(row.level_reference, OF_VALUE), icc=_digits(row.icc), icc_low=_digits(row.icc_low),
        icc_high=_digits(row.icc_high), effective=_digits(row.effective), effective_low=_digits(row.effective_low),
        effective_high=_digits(row.effective_high),
    )  # fmt: skip


def decided(verdict: Verdict) -> Verdict:
    """The verdict with the numbers it was decided on; whoever decided has rounded them already."""
    found, low, high = interval(verdict.found, verdict.low, verdict.high)
    return replace(verdict, found=found, low=low, high=high)


def _drawn(frame: pd.DataFrame) -> pd.DataFrame:
    """A curve with as many digits as a drawing can show."""
    import numpy as np

    out = frame.copy(deep=False)
    for name in frame.columns[frame.dtypes == np.float64]:
        numbers = frame[name].to_numpy()
        with np.errstate(divide="ignore", invalid="ignore"):
            scale = 10.0 ** (OF_CURVE - 1 - np.floor(np.log10(np.abs(numbers))))
            cut = np.round(numbers * scale) / scale
        out[name] = np.where(np.isfinite(cut), cut, numbers)
    return out


def aligned(*numbers: float | None) -> list[str]:
    """Numbers of one quantity as stored: plain decimals, as many for each as the finest of them has.

    >>> aligned(0.38, 0.351, math.inf, None), aligned(2610.0, 2500.0), aligned(0.00001)
    (['0.380', '0.351', 'inf', ''], ['2610', '2500'], ['0.00001'])
    """
    told = [short(number) for number in numbers]
    decimals = [len(text.partition(".")[2]) for text in told]
    most = max(decimals, default=0)
    return [
        text if has == most or number is None or not math.isfinite(number) else f"{number:.{most}f}"
        for number, text, has in zip(numbers, told, decimals, strict=True)
    ]


def short(number: float | None) -> str:
    """A number as stored: plain decimals, none more than it has.

    >>> short(0.0000123), short(98800.0), short(0.5), short(None), short(-math.inf)
    ('0.0000123', '98800', '0.5', '', '-inf')
    """
    if number is None:
        return ""
    text = repr(float(number))  # as many digits as it takes, of one without a fraction ".0"
    if "e" in text:
        return f"{number:.{max(0, -int(Decimal(text).normalize().as_tuple().exponent))}f}"
    return text.removesuffix(".0")
