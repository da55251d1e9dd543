"""Limits stated before the data: when a value holds or fails, how many must, what would decide.

A word is given where a 95 % interval lies on one side of the limit, so each is wrong with at most 2.5 %. That every
unit holds needs no correction (R. L. Berger, Technometrics 24 (1982) 295: intersection-union); that some unit fails is
held against the number looked at (Bonferroni).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

from sitegen.methods import power as planning
from sitegen.methods.intervals import NORMAL_95, student

HOLDS, FAILS, CANNOT = "holds", "fails", "cannot tell yet"
ERROR = 0.05  # of an interval, both sides

Sense = Literal["at-most", "at-least"]


def adjusted_end(value: float, end: float, df: float | None, over: int) -> float:
    """End of a 95 % interval widened to hold for `over` units together, in the unit of the value.

    The half-width on that side is multiplied with t(0.05/over)/t(0.05) on df (None: known scatter).
    """
    free = math.inf if df is None else df
    return value + (end - value) * student(free, ERROR / over) / student(free, ERROR)


def deciding(
    value: float, low: float | None, high: float | None, sense: Sense, df: float | None, over: int
) -> tuple[float | None, float | None]:
    """Ends of the interval that decides about one cylinder or build among `over`, in the unit of the value.

    The end on the side of failing is widened for their number, the other stands: that all hold needs no correction.
    """
    if sense == "at-most":
        return None if low is None else adjusted_end(value, low, df, over), high
    return low, None if high is None else adjusted_end(value, high, df, over)


def on_any_occasion(
    value: float, low: float | None, high: float | None, moved: float
) -> tuple[float | None, float | None]:
    """Ends of a 95 % interval that holds what the occasion of its check did, half-width `moved`, all in one unit.

    In quadrature at each end. A limit is not meant for one day and one set-up: where occasions scatter as much as a
    reading does, an interval without them holds wrongly in 8 % and fails wrongly in 13 to 25 %.
    """
    return (
        None if low is None else value - math.hypot(value - low, moved),
        None if high is None else value + math.hypot(high - value, moved),
    )


def typical_ends(low: float, high: float, plain_low: float, plain_high: float, sense: Sense) -> tuple[float, float]:
    """Ends of the interval that decides about a typical build, in the unit of the value.

    low, high of the geometric mean, plain_low, plain_high of the arithmetic mean of the same builds. Those of the
    geometric one decide, but on the side of failing the farther of both: with builds that scatter normally the
    geometric mean alone fails in up to 3 % at the limit.
    """
    if sense == "at-most":
        return min(low, max(plain_low, 0.0)), high
    return low, max(high, plain_high)


def word(low: float | None, high: float | None, limit: float, sense: Sense) -> str:
    """holds, fails or cannot tell yet, by the interval that decides. A number at the limit holds; one end may lack."""
    if sense == "at-least":
        low, high, limit = (None if high is None else -high), (None if low is None else -low), -limit
    if high is not None and high <= limit:
        return HOLDS
    return FAILS if low is not None and low > limit else CANNOT


def every(words: Sequence[str], missing: int) -> str:
    """The answer of "every cylinder" or "every build" from the words of those looked at; `missing` have no value."""
    if FAILS in words:
        return FAILS
    return HOLDS if words and not missing and all(word == HOLDS for word in words) else CANNOT


def repeats_needed(
    value: float, end: float, limit: float, n: int, se_common: float, most: int = 1_000_000, df: float | None = None
) -> int | None:
    """Readings in all [-] at which the interval would clear the limit, if the value stays; None where none would do.

    value, end of its 95 % interval towards the limit, limit, se_common of what more readings do not lessen, all in
    the measure's unit; n readings taken. The independent part of the half-width goes with 1/sqrt(n) and is added to
    the common part in quadrature. df of the scatter in that interval (None: known): each reading more adds one, so
    that t shrinks too; from two readings t is 12.7, and 1/sqrt(n) alone would ask for ten times what it takes. At
    that number 47 to 90 % of simulated cylinders are decided: the value does not quite stay. None where the common
    part alone reaches the limit, or so nearly that `most` readings would not clear it.
    """
    half, distance, common = abs(end - value), abs(limit - value), NORMAL_95 * se_common
    own = math.sqrt(max(half**2 - common**2, 0.0))
    room = distance**2 - common**2
    if room <= 0:
        return None
    free = math.inf if df is None else df

    def clears(readings: int) -> bool:
        shrunk = student(free + readings - n, ERROR) / student(free, ERROR)
        return n * (own * shrunk) ** 2 <= room * readings

    low, high = n, max(n + 1, most)
    if not clears(high):
        return None
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if clears(middle) else (middle, high)
    return high


def builds_needed(
    estimate: float, sd: float, df: float, limit: float, most: int = 60, error: float = ERROR
) -> tuple[int, int | None]:
    """Builds at which a mean would clear its limit with a power of 80 %, if the estimate is what it truly is.

    A range from the two-sided 80 % limits of the scatter. estimate of the mean, sd between builds on df, limit, in one
    unit. One-sample t with this two-sided error [-], half of it on the side of the limit. The upper end is None beyond
    `most`; a lower end beyond it is `most` + 1.
    """
    distance = abs(limit - estimate)
    if distance == 0:
        return most + 1, None
    ends = planning.scatter_limits(sd, df, planning.END) if math.isfinite(df) else (sd, sd)
    least, last = (_one_sample(distance / each if each > 0 else math.inf, most, error) for each in ends)
    return least, None if last > most else last


def _one_sample(d: float, most: int, error: float) -> int:
    """Builds that find a mean `d` standard deviations from its limit; `most` + 1 where more are needed."""
    if math.isinf(d):
        return 2
    for n in range(2, most + 1):
        if planning.passed(student(n - 1, error), n - 1, d * math.sqrt(n)) >= planning.POWER:
            return n
    return most + 1


def worst(values: Sequence[float], ses: Sequence[float], dfs: Sequence[float | None]) -> tuple[int, tuple[int, ...]]:
    """Place of the largest value, and of those not clearly below it.

    Not clearly: the 95 % interval of the difference to the largest, widened over all others, includes nought.
    """
    first = max(range(len(values)), key=lambda place: values[place])
    others = [place for place in range(len(values)) if place != first]
    near = []
    for place in others:
        se = math.hypot(ses[first], ses[place])
        dfs_two = [dfs[first], dfs[place]]
        parts = [each**4 / df for each, df in zip((ses[first], ses[place]), dfs_two, strict=True) if df is not None]
        free = se**4 / math.fsum(parts) if parts and math.fsum(parts) > 0 else math.inf
        if values[first] - values[place] <= student(free, ERROR / len(others)) * se:
            near.append(place)
    return first, tuple(near)
