"""One of several beside the lowest of them: cylinders of an engine that are told apart by repeats only.

The lowest reading of several is low by chance, too. So the ratio of one to the lowest is taken as the largest of its
ratios to every one, and each of these has its interval, widened for their number (Bonferroni): the largest of the lower
ends and the largest of the upper ends then hold the largest true ratio at least as often as they say.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from sitegen.methods.intervals import student
from sitegen.vocabulary import Refused


@dataclass(frozen=True)
class Scatter:
    """Standard deviation of the logarithm of one reading between repeats [-], with its degrees of freedom."""

    sd: float
    df: float


@dataclass(frozen=True)
class Ratio:
    """A ratio [-] with its 95 % interval; None where no scatter of repeats is known."""

    value: float
    low: float | None = None
    high: float | None = None

    def inverse(self) -> Ratio:
        """The ratio the other way round."""
        return Ratio(1 / self.value, self.high and 1 / self.high, self.low and 1 / self.low)


def pooled(groups: Sequence[Sequence[float]]) -> Scatter:
    """Scatter of repeats about the mean of their group, over all groups of two and more.

    Parameters: logarithms of the readings [-], a group for each state that was read again.

    Refuses: `not-repeated` where nothing was.
    """
    again = [group for group in groups if len(group) > 1]
    df = sum(len(group) - 1 for group in again)
    if df == 0:
        raise Refused("not-repeated")
    squares = math.fsum((each - math.fsum(group) / len(group)) ** 2 for group in again for each in group)
    return Scatter(math.sqrt(squares / df), df)


def half(scatter: Scatter, counts: Sequence[int], error: float = 0.05) -> float:
    """Half-width of a mean, or of a difference of means, of so many repeats each [-] on the logarithm.

    Student's t on the degrees of freedom of the scatter, and never less than 2: 2·√2·s between two single readings.
    """
    return max(2.0, student(scatter.df, error)) * scatter.sd * math.sqrt(sum(1 / count for count in counts))


def over_lowest(logs: Sequence[float], counts: Sequence[int], scatter: Scatter | None) -> list[Ratio]:
    """Ratio of each to the lowest [-], from means of logarithms and how many repeats are in each. Never below one."""
    every = range(len(logs))
    error = 0.05 / max(1, len(logs) - 1)
    found = []
    for mine in every:
        value = math.exp(max(logs[mine] - logs[other] for other in every))
        if scatter is None or len(logs) < 2:
            found.append(Ratio(value))
            continue
        ends = [(logs[mine] - logs[n], half(scatter, (counts[mine], counts[n]), error)) for n in every if n != mine]
        low = max(0.0, max(gap - reach for gap, reach in ends))
        high = max(0.0, max(gap + reach for gap, reach in ends))
        found.append(Ratio(value, math.exp(low), math.exp(high)))
    return found


def highest_over_lowest(logs: Sequence[float], counts: Sequence[int], scatter: Scatter | None) -> Ratio:
    """Highest over lowest of several [-]: the largest ratio of any two, widened for all pairs."""
    every = range(len(logs))
    value = math.exp(max(logs) - min(logs))
    if scatter is None or len(logs) < 2:
        return Ratio(value)
    error = 0.05 / (len(logs) * (len(logs) - 1) / 2)
    pairs = [(logs[a] - logs[b], half(scatter, (counts[a], counts[b]), error)) for a in every for b in every if a != b]
    low = max(0.0, max(gap - reach for gap, reach in pairs))
    return Ratio(value, math.exp(low), math.exp(max(gap + reach for gap, reach in pairs)))
