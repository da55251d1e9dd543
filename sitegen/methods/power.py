"""How large a difference a number of builds finds, and how many builds find a difference."""

from __future__ import annotations

import math

from sitegen.methods.intervals import student

POWER = 0.8
LIMIT = 0.8  # share of programs in which the true scatter lies below its upper limit
NODES = 300  # of the quadrature over the scatter
END = 0.9  # the same for each end of a range, so that both ends hold in 80 of 100 programs


def power(n_one: int, n_other: int, d: float, df: float | None = None, error: float = 0.05) -> float:
    """Probability [-] that a two-sided t test finds a difference of `d` standard deviations of a unit [-].

    n_one, n_other units in the two groups; df of the scatter, n_one + n_other - 2 when not given. Noncentral t:
    J. Cohen, Statistical power analysis for the behavioral sciences (2nd ed., 1988), ch. 2.
    """
    free = float(n_one + n_other - 2 if df is None else df)
    return found(abs(d) / math.sqrt(1 / n_one + 1 / n_other), free, error)


def found(shift: float, df: float, error: float) -> float:
    """Probability [-] that |t| passes its cut when the difference is `shift` standard errors."""
    cut = student(df, error)
    return passed(cut, df, shift) + passed(cut, df, -shift)


def passed(cut: float, df: float, shift: float) -> float:
    """Probability [-] that a noncentral t on df passes `cut`, when what it tests is `shift` standard errors off.

    Normal probabilities over the distribution of the scatter, on fixed nodes: right to 1e-6 for cuts up to 20 and any
    shift (a series in the shift, as libraries have it, gives no number at some shifts from 3 on). cut and shift [-].
    """
    from scipy.special import ndtr

    from sitegen.methods.dunnett import scatter_nodes

    s, weights = scatter_nodes(df, NODES)
    return float(ndtr(shift - cut * s) @ weights)


def group_size(d: float, power: float = POWER, error: float = 0.05, most: int = 10_000) -> int:
    """Units in each of two groups [-] that find `d` standard deviations [-]; `most` + 1 where more are needed."""
    low, high = 1, 2
    while _reaches(high, d, error) < power:
        low, high = high, 2 * high
        if low > most:
            return most + 1
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if _reaches(middle, d, error) >= power else (middle, high)
    return high


def _reaches(n: int, d: float, error: float) -> float:
    return power(n, n, d, None, error) if n > 1 else 0.0


def shift(df: float, power: float = POWER, error: float = 0.05) -> float:
    """Difference over its standard error [-] that a two-sided t test on df finds with this power.

    >>> round(shift(4), 3), round(shift(float("inf")), 3)
    (3.761, 2.802)
    """
    from scipy.optimize import brentq

    def lacking(shift: float) -> float:
        return found(shift, df, error) - power

    high = 4.0
    while lacking(high) < 0:
        high *= 2
    return float(brentq(lacking, 0.0, high, xtol=1e-9))


def detectable(n_one: int, n_other: int, df: float | None = None, power: float = POWER, error: float = 0.05) -> float:
    """Difference in standard deviations of a unit [-] that is found with this power.

    >>> round(detectable(3, 3), 2), round(detectable(6, 6), 2)
    (3.07, 1.8)
    """
    return shift(float(n_one + n_other - 2 if df is None else df), power, error) * math.sqrt(1 / n_one + 1 / n_other)


def scatter_limits(sd: float, df: float, share: float = LIMIT) -> tuple[float, float]:
    """One-sided limits of a standard deviation, each passed with probability 1 - `share`, in the unit of `sd`.

    sd·sqrt(df/chi²): with a share of 0.8 the true scatter lies below the upper limit in 80 of 100 programs and above
    the lower in 80, but between them in 60 only; a share of 0.9 gives the two-sided 80 % limits (`END`).

    >>> [round(each, 2) for each in scatter_limits(1.0, 2, END)]
    [0.66, 3.08]
    """
    from scipy.special import chdtri

    low, high = float(chdtri(df, 1 - share)), float(chdtri(df, share))
    return sd * math.sqrt(df / low), sd * math.sqrt(df / high)


def builds_range(
    sd: float, df: float, difference: float, power: float = POWER, most: int = 60, error: float = 0.05
) -> tuple[int, int | None]:
    """Builds of each of two coatings that find a difference, as a range from the two-sided 80 % limits of the scatter.

    sd between builds of one coating on df degrees of freedom (infinite: taken as known), difference in the unit of
    sd. The number truly needed lies in the range in 80 of 100 programs. The upper end is None beyond `most`; a lower
    end beyond it is `most` + 1. Two builds of each are the least, and no number of builds finds no difference.
    """
    limits = (sd, sd) if math.isinf(df) else scatter_limits(sd, df, END)
    least, last = (group_size(abs(difference) / each, power, error, most) if each > 0 else 2 for each in limits)
    return min(least, most + 1), None if last > most else last
