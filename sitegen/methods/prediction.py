"""Where the next build may lie, from the builds there are."""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import fmean

from sitegen.methods.intervals import student_95
from sitegen.vocabulary import Refused


def next_value(means: Sequence[float]) -> tuple[float, float, float]:
    """Mean of build means and the ends of the 95 % prediction interval for one more build, in their unit.

    mean ± t(n - 1)·s·sqrt(1 + 1/n): G. J. Hahn and W. Q. Meeker, Statistical intervals (1991), section 4.7, and
    ISO 16269-8. Supposes that builds scatter normally and the next is drawn like those before. Where they scatter with
    long tails, two to twelve builds hold the next in 91 to 95 % (`tests/methods/test_prediction.py`).

    Raises Refused "one-build" below two builds.

    >>> [round(each, 2) for each in next_value([51.4, 49.5, 48.7, 49.3, 51.6])]
    [50.1, 46.11, 54.09]
    """
    if len(means) < 2:
        raise Refused("one-build")
    n, mean = len(means), fmean(means)
    scatter = math.sqrt(math.fsum((each - mean) ** 2 for each in means) / (n - 1))
    half = student_95(n - 1) * scatter * math.sqrt(1 + 1 / n)
    return mean, mean - half, mean + half
