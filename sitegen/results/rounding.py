"""Rounding of what is stored: by the interval, so that optimiser noise moves no committed digit."""

from __future__ import annotations

import math
from dataclasses import replace

from sitegen.vocabulary import Comparison, Key, Value

BELOW_HALF_WIDTH = 3  # decimal digits kept below the leading digit of the half-width
SIGNIFICANT = 4  # digits kept where there is no interval
# Degrees of freedom above this count as known: the 95 % point of Student's t is then within 0.13 % of the normal's.
MOST_DF = 1000


def place(value: Value) -> int:
    """Decimal place to which the numbers of a value are rounded (2: hundredths, -1: tens)."""
    ends = [abs(end - value.value) for end in (value.low, value.high) if end is not None and value.value is not None]
    widths = [width for width in ends if math.isfinite(width) and width > 0]
    if widths:
        return BELOW_HALF_WIDTH - math.floor(math.log10(min(widths)))
    numbers = [
        abs(n) for n in (value.value, value.low, value.high, value.se) if n is not None and math.isfinite(n) and n != 0
    ]
    return SIGNIFICANT - 1 - math.floor(math.log10(max(numbers))) if numbers else 0


def rounded(value: Value) -> Value:
    """The value as it is stored and shown."""
    at = place(value)

    def cut(number: float | None) -> float | None:
        if number is None or not math.isfinite(number):
            return number
        return round(number, at) + 0.0  # no negative zero

    df = None if value.df is None or value.df > MOST_DF else round(value.df, 1)
    # field by field: `replace` takes four times as long, and there are tens of thousands
    return Value(
        value.measure, value.key, cut(value.value), cut(value.low), cut(value.high), cut(value.se), df,
        cut(value.se_common), value.common, value.n, value.of, value.status, value.flags, value.reason,
    )  # fmt: skip


def comparison_place(row: Comparison) -> int:
    """Decimal place of the estimate and the ends of a comparison."""
    return place(Value(row.measure, Key(), row.estimate, row.low, row.high))


def settled(row: Comparison) -> Comparison:
    """The comparison as it is stored and shown: the estimate by its interval, the rest to 4 significant digits."""
    at = comparison_place(row)

    def cut(number: float | None) -> float | None:
        return None if number is None else round(number, at) + 0.0

    def short(number: float | None) -> float | None:
        return None if number is None else float(f"{number:.{SIGNIFICANT}g}")

    return replace(
        row,
        estimate=cut(row.estimate), low=cut(row.low), high=cut(row.high), df=short(row.df), se=short(row.se),
        p=short(row.p), p_randomised=short(row.p_randomised), least_p=short(row.least_p), level=short(row.level),
        level_reference=short(row.level_reference), icc=short(row.icc), icc_low=short(row.icc_low),
        icc_high=short(row.icc_high), effective=short(row.effective), effective_low=short(row.effective_low),
        effective_high=short(row.effective_high),
    )  # fmt: skip


def plain(number: float | None, at: int) -> str:
    """A number as stored: plain decimals, `inf` unbounded, empty unknown.

    >>> plain(0.381, 4), plain(float("-inf"), 2), plain(None, 2), plain(1234567.0, -2)
    ('0.3810', '-inf', '', '1234567')
    """
    if number is None:
        return ""
    if math.isinf(number):
        return "inf" if number > 0 else "-inf"
    return f"{number:.{max(at, 0)}f}"
