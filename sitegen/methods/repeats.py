"""Two sets of repeats against each other, each with its own scatter."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean, stdev

from sitegen.vocabulary import Refused


@dataclass(frozen=True)
class Difference:
    """A difference of two means, in the unit of the repeats."""

    value: float
    se: float
    df: float  # [-]


def difference(before: Sequence[float], after: Sequence[float]) -> Difference:
    """Mean after less mean before, with Welch's degrees of freedom. At least two repeats each.

    The degrees of freedom are at most twice those of the smaller set: where two repeats stand against five and happen
    to agree, Welch's number is far too large and his interval holds 89 to 93 % instead of 95.

    Raises Refused "repeats-all-alike" where neither set scatters: nothing then tells how well the means are known.

    References: B. L. Welch, Biometrika 34 (1947) 28.

    >>> found = difference([1.0, 2.0, 3.0], [4.0, 6.0])  # parts 1/3 and 1: se^2 4/3, df (4/3)^2 / (1/18 + 1)
    >>> round(found.value, 6), round(found.se, 6), round(found.df, 6)
    (3.0, 1.154701, 1.684211)
    """
    parts = [stdev(each) ** 2 / len(each) for each in (before, after)]
    total = sum(parts)
    if total == 0:
        raise Refused("repeats-all-alike")
    free = sum(part**2 / (len(each) - 1) for part, each in zip(parts, (before, after), strict=True))
    most = 2.0 * (min(len(before), len(after)) - 1)
    return Difference(fmean(after) - fmean(before), math.sqrt(total), min(total**2 / free, most))
