"""What a weighing tells: limit of error of a mean of readings of a balance, and what buoyancy of air does to them."""

from __future__ import annotations

import math
from collections.abc import Sequence
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


def limit_of_mean(readings: Sequence[float], limit: float, readability: float = 0.0) -> float:
    """Limit of error of the mean of repeated readings, all in one unit: that of the balance, and their 95 % scatter.

    The limit of the balance does not average out. What repeats scatter, drying and handling, comes on top (t interval
    of the mean); repeats that read alike still scatter by the rounding of the display, which is even over a step of
    `readability` (JCGM 100:2008, F.2.2.1: 0.29 of a step). A single reading tells no scatter.
    """
    count = len(readings)
    if count < 2:
        return limit
    scatter = max(stdev(readings), readability / math.sqrt(12))
    return limit + student_95(count - 1) * scatter / math.sqrt(count)
