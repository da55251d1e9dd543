"""How large a difference a number of builds finds, and how many builds find a difference."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from sitegen.methods.design import EACH_OWN
from sitegen.methods.intervals import student
from sitegen.methods.roots import root

POWER = 0.8
LIMIT = 0.8  # share of programs in which the true scatter lies below its upper limit
NODES = 300  # of the quadrature over the scatter
WELCH_NODES = 32  # the same of each of two scatters
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


@dataclass(frozen=True, eq=False)
class Test:
    """A two-sided test of a difference: where it cuts [true standard errors], over what the scatter may read."""

    cuts: np.ndarray  # (nodes,)
    weights: np.ndarray  # (nodes,), their probabilities [-]

    @classmethod
    def student(cls, df: float, error: float) -> Test:
        """Student's t on df."""
        from sitegen.methods.dunnett import scatter_nodes

        s, weights = scatter_nodes(df, NODES)
        return cls(student(df, error) * s, weights)

    def found(self, shift: float) -> float:
        """Probability [-] that a difference of `shift` standard errors is found."""
        from scipy.special import ndtr

        return float((ndtr(shift - self.cuts) + ndtr(-shift - self.cuts)) @ self.weights)

    def shift(self, power: float = POWER) -> float:
        """Difference over its standard error [-] that is found with this power."""
        high = 4.0
        while self.found(high) < power:
            high *= 2
        return root(lambda shift: self.found(shift) - power, 0.0, high, 1e-9)


def whole_builds(builds: Sequence[int], reference: int, place: int, error: float = 0.05) -> Test | None:
    """The test of one of several candidates, in whole builds, against a reference; None: without scatter to test by.

    builds of each candidate, compared is the one at `place`; `error` is that of all candidates together. As the
    comparison does: the scatter of all coatings pooled and Dunnett's cut while there are few builds of any of them;
    from `EACH_OWN` on Welch's test and Bonferroni's cut. Its degrees of freedom come out below those of pooled scatter
    even where all coatings scatter alike: on those, 4 and 4 builds would be told to find what they find in 69 to 76 %.
    """
    own, there = builds[place], [n for n in (*builds, reference) if n]
    df = float(sum(there) - len(there))
    if df <= 0 or not own or not reference:
        return None
    if min(there) >= EACH_OWN:
        return _welch(own, reference, error / len(builds))
    if len(builds) == 1 or not all(builds):
        return Test.student(df, error / len(builds))
    order = own, *builds[:place], *builds[place + 1 :]
    return Test.student(df, _of_family(tuple(math.sqrt(n / (n + reference)) for n in order), df, error))


@lru_cache(maxsize=256)
def _welch(own: int, other: int, error: float) -> Test:
    """Welch's test where both groups scatter alike."""
    if own == other:  # mean of 1/df over the beta distribution of the shares: (1 + 1/n)/(2n - 2)
        return Test.student(2 * (own - 1) * own / (own + 1), error)
    from sitegen.methods.dunnett import scatter_nodes

    (s, u), (t, v) = (scatter_nodes(n - 1.0, WELCH_NODES) for n in (own, other))
    first, second = s[:, None] ** 2 / own, t[None, :] ** 2 / other
    df = (first + second) ** 2 / (first**2 / (own - 1) + second**2 / (other - 1))
    cut = np.vectorize(lambda each: student(each, error))(df)
    se = np.sqrt((first + second) / (1 / own + 1 / other))
    return Test((cut * se).ravel(), (u[:, None] * v[None, :]).ravel())


@lru_cache(maxsize=1024)
def _of_family(b: tuple[float, ...], df: float, error: float) -> float:
    from sitegen.methods import dunnett

    return dunnett.alone(b, df, error)


def group_size(d: float, power: float = POWER, error: float = 0.05, most: int = 10_000, family: int = 0) -> int:
    """Units in each of two groups [-] that find `d` standard deviations [-]; `most` + 1 where more are needed.

    By Student's t of two groups; `family` candidates compared with one reference: by the test of `whole_builds`, all
    with as many builds, at `error` for all together.
    """
    low, high = 1, 2
    while _reaches(high, d, error, family) < power:
        low, high = high, 2 * high
        if low > most:
            return most + 1
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if _reaches(middle, d, error, family) >= power else (middle, high)
    return high


def _reaches(n: int, d: float, error: float, family: int) -> float:
    if n < 2:
        return 0.0
    test = whole_builds([n] * family, n, 0, error) if family else None
    return power(n, n, d, None, error) if test is None else test.found(abs(d) / math.sqrt(2 / n))


def shift(df: float, power: float = POWER, error: float = 0.05) -> float:
    """Difference over its standard error [-] that a two-sided t test on df finds with this power.

    >>> round(shift(4), 3), round(shift(float("inf")), 3)
    (3.761, 2.802)
    """

    def lacking(shift: float) -> float:
        return found(shift, df, error) - power

    high = 4.0
    while lacking(high) < 0:
        high *= 2
    return root(lacking, 0.0, high, 1e-9)


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
    sd: float,
    df: float,
    difference: float,
    power: float = POWER,
    most: int = 60,
    error: float = 0.05,
    family: int = 0,
) -> tuple[int, int | None]:
    """Builds of each of two coatings that find a difference, as a range from the two-sided 80 % limits of the scatter.

    sd between builds of one coating on df degrees of freedom (infinite: taken as known), difference in the unit of
    sd. The number truly needed lies in the range in 80 of 100 programs. The upper end is None beyond `most`; a lower
    end beyond it is `most` + 1. Two builds of each are the least, and no number of builds finds no difference.
    `family`: candidates compared with one reference, see `group_size`.
    """
    limits = (sd, sd) if math.isinf(df) else scatter_limits(sd, df, END)
    least, last = (group_size(abs(difference) / each, power, error, most, family) if each > 0 else 2 for each in limits)
    return min(least, most + 1), None if last > most else last
