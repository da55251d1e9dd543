"""Two flow meters in series: how far apart they read, and how far that scatters, at a named averaging time.

Means over a minute have other limits of agreement than single samples: the averaging time belongs to the answer. The
second meter's back-pressure lowers the flow of both and does not show here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sitegen.methods import wander
from sitegen.methods.intervals import NORMAL_95, student_95
from sitegen.methods.steady import trimmed
from sitegen.vocabulary import Refused

Floats = NDArray[np.float64]

FEWEST_BLOCKS = 10
TIME_CONSTANTS = 3.5  # a block holds at least so many of the difference's


@dataclass(frozen=True)
class Interval:
    """A number with its 95 % interval, in the unit of the readings."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class Agreement:
    """First meter less second, at one averaging time."""

    bias: Interval
    sd: float  # of differences of block means
    lower: Interval  # limits of agreement: 95 % of differences to come lie between, mean -+ 1.96 sd
    upper: Interval
    n: int  # blocks
    averaging: float  # [s]; 0 where the pairs were given as they are
    correlation_time: float  # of the difference [s]
    level: float  # mean of both meters
    slope: Interval | None = None  # change of the difference with level [-]; None where the level hardly moves


def limits(differences: Floats, widening: float = 1.0) -> tuple[Interval, float, Interval, Interval]:
    """Bias, standard deviation, lower and upper limit of agreement of independent differences [any one unit].

    The bias has Student's interval on n - 1 degrees of freedom; a limit, mean +- 1.96 sd, the exact one: its pivot is
    noncentral t. `widening`: variance of their mean over what their scatter makes it [-], where they are not quite
    independent.

    References: J. M. Bland and D. G. Altman, Lancet 327 (1986) 307; exact intervals of a normal quantile: G. J.
    Resnikoff and G. J. Lieberman, Tables of the non-central t-distribution (1957); A. Carkeet, Optometry and Vision
    Science 92 (2015) e71.
    """
    values = np.asarray(differences, dtype=float)
    count = len(values)
    mean, sd = float(values.mean()), float(values.std(ddof=1))
    effective = count / widening
    half = student_95(count - 1) * sd / math.sqrt(effective)
    near, far = quantile_factors(effective, count - 1)
    lower = Interval(mean - NORMAL_95 * sd, mean - far * sd, mean - near * sd)
    upper = Interval(mean + NORMAL_95 * sd, mean + near * sd, mean + far * sd)
    return Interval(mean, mean - half, mean + half), sd, lower, upper


def quantile_factors(n: float, df: int, share: float = 0.975, error: float = 0.05) -> tuple[float, float]:
    """Factors k [-] between which mean + k sd holds the `share` quantile of a normal population, but for `error`.

    Parameters: n, the population's variance over that of the mean [-]; df of sd; `error` both ends together. The two
    ends of the noncentral t over sqrt(n).
    """
    from scipy.special import nctdtrit, ndtri

    shift = float(ndtri(share)) * math.sqrt(n)
    return (
        float(nctdtrit(df, shift, error / 2)) / math.sqrt(n),
        float(nctdtrit(df, shift, 1 - error / 2)) / math.sqrt(n),
    )


def agreement(a: Floats, b: Floats, dt: float, averaging: float) -> Agreement:
    """Bias and limits of agreement of two meters, first less second, over block means of `averaging` [s].

    Parameters: a, b [one unit] evenly spaced at the same instants, at one set of reference conditions, NaN where
    absent; dt [s] from sample to sample. Blocks of which half is missing from either are left out.

    Notes: the time constant is that of the difference, so what both meters see of the engine does not count. What
    neighbouring blocks still share widens the intervals as for `steady.batch_mean`.

    Refuses: `few-blocks` below ten blocks; `channel-flat` where the difference never changes; `averaging-short` where
    a block holds fewer than 3.5 time constants of the difference.
    """
    first, second = np.asarray(a, dtype=float), np.asarray(b, dtype=float)
    if first.shape != second.shape:
        raise ValueError("both meters have as many samples")
    both = np.where(np.isfinite(first) & np.isfinite(second), (first + second) / 2, np.nan)
    apart = trimmed(first - second)
    if len(apart) == 0:
        raise Refused("few-blocks", found=0, needed=FEWEST_BLOCKS)
    start = int(np.flatnonzero(np.isfinite(first - second))[0])
    both = both[start : start + len(apart)]
    size = max(round(averaging / dt), 1)
    means, levels = (wander.block_means(each, size) for each in (apart, both))
    kept = np.isfinite(means)
    means, levels = means[kept], levels[kept]
    if len(means) < FEWEST_BLOCKS or np.isfinite(apart).sum() < wander.FEWEST:
        raise Refused("few-blocks", found=len(means), needed=FEWEST_BLOCKS)
    if not np.ptp(apart[np.isfinite(apart)]) > 0:
        raise Refused("channel-flat")
    found = wander.look(apart, dt)
    if size * dt < TIME_CONSTANTS * found.time:
        raise Refused("averaging-short", seconds=size * dt, needed=TIME_CONSTANTS * found.time)
    bias, sd, lower, upper = limits(means, found.widening(len(means), size * dt))
    return Agreement(
        bias, sd, lower, upper, len(means), size * dt, found.time, float(levels.mean()), _slope(levels, means)
    )


def _slope(levels: Floats, means: Floats) -> Interval | None:
    """Change of the difference with the mean of both; where it excludes zero, one bias does not serve all levels."""
    centred = levels - levels.mean()
    spread = float(centred @ centred)
    if math.sqrt(spread / len(levels)) < 0.05 * abs(float(levels.mean())):
        return None
    slope = float(centred @ means) / spread
    rest = means - means.mean() - slope * centred
    half = student_95(len(means) - 2) * math.sqrt(float(rest @ rest) / (len(means) - 2) / spread)
    return Interval(slope, slope - half, slope + half)
