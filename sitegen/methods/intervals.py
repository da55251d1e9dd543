"""Quantiles behind 95 % intervals."""

from __future__ import annotations

import math
from functools import lru_cache

NORMAL_95 = 1.959963984540054  # two-sided 95 % point of the normal distribution [-]


@lru_cache(maxsize=1024)  # the same few degrees of freedom come back at every check
def student_95(df: float) -> float:
    """Two-sided 95 % point of Student's t on `df` degrees of freedom [-]; infinite df is the normal distribution.

    >>> round(student_95(2), 4), round(student_95(10), 4), student_95(float("inf")) == NORMAL_95
    (4.3027, 2.2281, True)
    """
    from scipy.special import stdtrit  # 0.3 s to import, so only where an interval is made

    return NORMAL_95 if math.isinf(df) else float(stdtrit(df, 0.975))


@lru_cache(maxsize=4096)
def student(df: float, error: float) -> float:
    """Two-sided point of Student's t on `df` degrees of freedom that is exceeded with probability `error` [-].

    >>> round(student(10, 0.01), 4), round(student(float("inf"), 0.05), 6)
    (3.1693, 1.959964)
    """
    from scipy.special import stdtrit

    return normal_two_sided(error) if math.isinf(df) else float(stdtrit(df, 1 - error / 2))


def normal_two_sided(error: float) -> float:
    """Two-sided point of the normal distribution that is exceeded with probability `error` [-].

    >>> round(normal_two_sided(0.05), 6)
    1.959964
    """
    from statistics import NormalDist

    return NormalDist().inv_cdf(1 - error / 2)
