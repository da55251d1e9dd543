"""What a weighing tells: limit of error of a mean of readings of a balance, and what buoyancy of air does to them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import stdev

from sitegen.methods.intervals import student_95

AIR = 1.2  # kg/m3, of conventional mass (OIML R 111-1, from memory)
WEIGHTS = 8000.0  # kg/m3, of the weights of conventional mass (the same)
LIGHTEST = 7000.0  # kg/m3, grey cast iron: of ring materials the one that air bears most (handbook value, from memory)


def buoyancy(density: float, air: float = AIR, weights: float = WEIGHTS) -> float:
    """Share [-] by which the mass of a body exceeds its reading in air, on a balance adjusted by weights.

    m (1 - air/density) = reading (1 - air/weights), all densities [kg/m3]; weights of infinite density stand for a
    scale that takes no account of air at all. A difference of two readings of one body in air alike has the same share.

    >>> round(100 * buoyancy(7800.0, weights=math.inf), 4)  # steel: 0.0154 % of what is weighed, and of what was lost
    0.0154
    """
    return (1 - air / weights) / (1 - air / density) - 1


@dataclass(frozen=True)
class Scatter:
    """Standard deviation of one weighing, in the unit of its readings, with degrees of freedom."""

    deviation: float
    df: int


def pooled(groups: Iterable[Sequence[float]], readability: float = 0.0) -> Scatter | None:
    """Scatter of one weighing from bodies weighed more than once, as they agree with themselves; None without any.

    What rounds to the same digit still scatters by the rounding of the display, which is even over a step of
    `readability` (JCGM 100:2008, F.2.2.1: 0.29 of a step).
    """
    repeated = [group for group in groups if len(group) > 1]
    df = sum(len(group) - 1 for group in repeated)
    if not df:
        return None
    square = sum((len(group) - 1) * stdev(group) ** 2 for group in repeated) / df
    return Scatter(max(math.sqrt(square), readability / math.sqrt(12)), df)


def limit_of_mean(readings: Sequence[float], limit: float, scatter: Scatter | None = None) -> float:
    """Limit of error of the mean of readings of one body, all in one unit: that of the balance, and 95 % scatter (t).

    The limit of the balance does not average out. `scatter` is that of weighings of this and other bodies; where these
    readings scatter more, theirs counts. Without it the limit is that of the balance alone.
    """
    if scatter is None:
        return limit
    count = len(readings)
    own = stdev(readings) if count > 1 else 0.0
    return limit + student_95(scatter.df) * max(scatter.deviation, own) / math.sqrt(count)
