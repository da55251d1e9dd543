"""How alike the cylinders of one build are: the share of the scatter that lies between builds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from sitegen.methods.design import indicators, once
from sitegen.vocabulary import Refused


@dataclass(frozen=True)
class Intraclass:
    """The intraclass correlation of builds with its 95 % interval, and what it does to the number of tests."""

    icc: float  # [-]
    low: float  # [-]
    high: float  # [-]
    f: float  # mean square between builds of a coating over that within builds [-]
    df_between: int  # [-]
    df_within: int  # [-]
    size: float  # cylinders a build [-]
    tests: int  # cylinders in all [-]
    effective: float  # independent tests they are worth [-]
    effective_low: float  # [-]
    effective_high: float  # [-]


def intraclass(y: npt.ArrayLike, builds: Sequence[str], coatings: Sequence[str]) -> Intraclass:
    """Intraclass correlation within coatings, from one value a cylinder; y (n,) in any unit. Whole builds only.

    F = MSB/MSW, builds nested in coatings; icc = (F - 1)/(F + m - 1), not cut, so that it may lie below nought down to
    -1/(m - 1). Interval: the same with F divided by the upper and by the lower 2.5 % point of the F distribution.
    With m cylinders in every build it is exact (P. E. Shrout and J. L. Fleiss, Psychological Bulletin 86 (1979) 420;
    S. R. Searle, Linear models, 1971, ch. 9). With unequal numbers m is m0 = (n - sum over coatings of
    sum(n_b²)/n_c)/(builds - coatings), at which the expectation of MSB is right (S. R. Searle, G. Casella and C. E.
    McCulloch, Variance components, 1992, ch. 3, for one coating; the sum over coatings is our own step, recalled from
    memory), and the interval is an approximation (A. Donner, International Statistical Review 54 (1986) 67, from
    memory).

    Effective number of tests n/(1 + (m - 1)·icc) (L. Kish, Survey sampling, 1965, section 5.4) at the correlation and
    at the ends of its interval, these cut to 0..1.

    Raises Refused "mixed-in-engine", "one-build" (no coating in two builds), "one-cylinder-a-build" or "no-scatter".
    """
    values = np.asarray(y, dtype=float)
    nested: dict[str, str] = {}
    for build, coating in zip(builds, coatings, strict=True):
        if nested.setdefault(build, coating) != coating:
            raise Refused("mixed-in-engine")
    n, df_between = len(values), len(nested) - len(set(nested.values()))
    df_within = n - len(nested)
    if df_between < 1:
        raise Refused("one-build")
    if df_within < 1:
        raise Refused("one-cylinder-a-build")
    own = indicators(builds, list(nested))
    shared = indicators(coatings, once(nested.values()))
    number, of_coating = own.sum(axis=0), shared.sum(axis=0)
    middle = values.mean()
    of_build = own.T @ (values - middle) / number
    levels = shared.T @ (values - middle) / of_coating
    within = float((((values - middle) - own @ of_build) ** 2).sum()) / df_within
    between = float(((own @ of_build - shared @ levels) ** 2).sum()) / df_between
    if within <= 0:
        raise Refused("no-scatter")
    size = float((n - (shared.T @ own @ number / of_coating).sum()) / df_between)
    f = between / within
    lower, upper = _quantile(df_between, df_within, 0.025), _quantile(df_between, df_within, 0.975)
    icc, low, high = (_correlation(ratio, size) for ratio in (f, f / upper, f / lower))
    return Intraclass(
        icc, low, high, f, df_between, df_within, size, n,
        effective(n, size, icc), effective(n, size, high), effective(n, size, low),
    )  # fmt: skip


def effective(tests: float, size: float, icc: float) -> float:
    """Independent tests [-] that `tests` cylinders [-], `size` a build [-], are worth; icc [-] is cut to 0..1."""
    return float(tests / design_effect(size, min(max(icc, 0.0), 1.0)))


def design_effect(size: float, icc: float) -> float:
    """Factor [-] by which groups of `size` [-] alike by `icc` [-] widen the variance of a mean.

    >>> round(design_effect(20, 0.05), 9)
    1.95
    """
    return 1 + (size - 1) * icc


def _correlation(f: float, size: float) -> float:
    return (f - 1) / (f + size - 1)


def _quantile(df_between: int, df_within: int, share: float) -> float:
    from scipy.special import fdtri  # imports scipy

    return float(fdtri(df_between, df_within, share))
