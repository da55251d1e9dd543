"""Oil lost and metal made over the fills of a long run: one rate, and whether it changes.

References: total over total, t over equal intervals (neighbours share a weighing, which makes the interval wide, never
narrow); N. R. Draper and H. Smith, Applied Regression Analysis (1998), 1.4 (line and its error). Simulated coverage:
tests/methods/test_oil_hours.py.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sitegen.methods.intervals import NORMAL_95, student_95
from sitegen.vocabulary import Refused

EQUAL = 4  # intervals about as long as each other from which on their own scatter is taken
ALIKE = 1.25  # longest over shortest of intervals that count as equal; common practice, no source
TREND = 5  # intervals of oil lost from which on a trend is drawn
METAL = 3  # later fills from which on a change of the metal made is drawn


@dataclass(frozen=True)
class Found:
    """A figure with its 95 % interval."""

    value: float
    low: float
    high: float
    df: float  # infinite: by the weighings alone
    n: int

    @property
    def these_only(self) -> bool:
        """The interval holds how well these hours are known, and not how hours differ."""
        return math.isinf(self.df)


def rate(lost: Sequence[float], lost_se: Sequence[float], hours: Sequence[float]) -> Found:
    """Rate over all intervals: mass lost by hours, in their units.

    Parameters: mass lost in each interval with its standard error, hours of each. A mean of the rates would give short
    intervals as much weight as long ones, and twice the scatter. From four about equal intervals on by Student's t on
    their rates; else the weighings alone tell how well it is known. Refuses `no-hours`.

    >>> found = rate([0.30, 0.34, 0.31, 0.33], [0.01] * 4, [25.0] * 4)
    >>> round(1e3 * found.value, 2), round(1e3 * (found.high - found.value), 2), found.these_only
    (12.8, 1.16, False)
    """
    total = math.fsum(hours)
    if not hours or min(hours) <= 0:
        raise Refused("no-hours")
    value = math.fsum(lost) / total
    if len(hours) >= EQUAL and max(hours) <= ALIKE * min(hours):
        rates = np.asarray(lost) / np.asarray(hours)
        df = float(len(hours) - 1)
        half = student_95(df) * float(rates.std(ddof=1)) / math.sqrt(len(hours))
        return Found(value, value - half, value + half, df, len(hours))
    half = NORMAL_95 * math.hypot(*lost_se) / total
    return Found(value, value - half, value + half, math.inf, len(hours))


def trend(rates: Sequence[float], at: Sequence[float], se: Sequence[float], fewest: int) -> Found:
    """Change of a rate by the hour of a line through it, by Student's t on its scatter, never less than `se` gives.

    Parameters: rates, the hour at the middle of each, the standard error each is known to [unit of the rate]; fewest
    that are asked for. Where few scatter little by luck, what the errors of the rates alone give is wider, and stands.
    Refuses `few-intervals`.
    """
    if len(rates) < max(fewest, 3):
        raise Refused("few-intervals", found=len(rates))
    x, y = np.asarray(at, dtype=float) - np.mean(at), np.asarray(rates, dtype=float)
    square = float(x @ x)
    value = float(x @ y) / square
    left = y - y.mean() - value * x
    df = float(len(y) - 2)
    scattered = student_95(df) * math.sqrt(float(left @ left) / df / square)
    known = NORMAL_95 * math.sqrt(float(x**2 @ np.asarray(se) ** 2)) / square
    half = max(scattered, known)
    return Found(value, value - half, value + half, df, len(y))
