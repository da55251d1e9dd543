"""Where the next build may lie, from the builds there are."""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import fmean, stdev

from sitegen.methods.intervals import student_95
from sitegen.vocabulary import Refused


def next_value(means: Sequence[float]) -> tuple[float, float, float]:
    """Mean of build means and the ends of the 95 % prediction interval for one more build, in their unit.

    mean ± t(n - 1)·s·sqrt(1 + 1/n): G. J. Hahn and W. Q. Meeker, Statistical intervals (1991), section 4.7. Supposes
    that builds scatter normally and the next is drawn like those before.

    Raises Refused "one-build" below two builds.

    >>> [round(each, 2) for each in next_value([51.4, 49.5, 48.7, 49.3, 51.6])]
    [50.1, 46.19, 54.01]
    """
    if len(means) < 2:
        raise Refused("one-build")
    mean, half = fmean(means), student_95(len(means) - 1) * stdev(means) * math.sqrt(1 + 1 / len(means))
    return mean, mean - half, mean + half
