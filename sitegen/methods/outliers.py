"""Whether the largest or smallest of a few values lies further out than chance puts one.

F. E. Grubbs, Technometrics 11 (1969) 1; ASTM E178. The test says that a value asks for an explanation, never that it
may be left out: only an objection with a reason does that.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean, stdev

from sitegen.methods.intervals import student
from sitegen.vocabulary import Refused


@dataclass(frozen=True)
class Extreme:
    """The value furthest out on one side, and how far that is."""

    place: int  # among the values given, from 0
    statistic: float  # distance from the mean over the standard deviation, both of all values [-]
    critical: float  # passed with probability `error` where all values are drawn alike [-]
    p: float  # Bonferroni over the values: exact where small, never too small [-]

    @property
    def stands_out(self) -> bool:
        return self.statistic > self.critical


def critical(n: int, error: float = 0.05) -> float:
    """One-sided critical value [-] of Grubbs' statistic for n normal values.

    (n - 1)/sqrt(n) · sqrt(t²/(n - 2 + t²)), t of n - 2 degrees of freedom passed with probability error/n. Raises
    Refused "few-values" below three.

    >>> [round(critical(n), 2) for n in (8, 10, 20)]
    [2.03, 2.18, 2.56]
    """
    if n < 3:
        raise Refused("few-values")
    t = student(n - 2, 2 * error / n)
    return (n - 1) / math.sqrt(n) * math.sqrt(t**2 / (n - 2 + t**2))


def largest(values: Sequence[float], error: float = 0.05) -> Extreme:
    """The largest of at least three values, in any unit. Raises Refused "few-values"."""
    return _extreme(values, 1.0, error)


def smallest(values: Sequence[float], error: float = 0.05) -> Extreme:
    """The smallest of at least three values, in any unit. Raises Refused "few-values"."""
    return _extreme(values, -1.0, error)


def _extreme(values: Sequence[float], sign: float, error: float) -> Extreme:
    from scipy.special import stdtr

    n, cut = len(values), critical(len(values), error)
    place = max(range(n), key=lambda each: sign * values[each])
    scatter = stdev(values)
    if scatter == 0:  # all alike: none stands out
        return Extreme(place, 0.0, cut, 1.0)
    found = sign * (values[place] - fmean(values)) / scatter
    rest = (n - 1) ** 2 / n - found**2  # of the scatter once this value is gone, times n - 1 over the whole
    t = math.inf if rest <= 1e-12 * n else found * math.sqrt((n - 2) / rest)
    return Extreme(place, found, cut, min(1.0, n * float(stdtr(n - 2, -t))))
