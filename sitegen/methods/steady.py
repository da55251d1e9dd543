"""The mean of a steady record whose samples remember each other, and how unsteady it is.

No start of the steady part is chosen here from the data: an interval on a part chosen so holds in 66 to 95 % of records
only. The record handed in is the part to be used.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from sitegen.methods import wander
from sitegen.methods.intervals import student_95
from sitegen.vocabulary import Refused

Floats = NDArray[np.float64]

BATCHES = 5
TIME_CONSTANTS = 15  # a record holds at least so many of its slow time constant
_TREND_DF = 20  # of the change's standard error: about what a record of that length tells of its wander
_MAD_SIGMA = 1.4826  # standard deviation of a normal distribution over its median absolute deviation


@dataclass(frozen=True)
class Mean:
    """Level of a steady record, in its unit."""

    value: float
    low: float  # 95 % interval
    high: float
    se: float
    df: int
    n: int  # samples
    correlation_time: float  # slow time constant [s]; 0 where samples are as good as independent
    change: float  # of a straight line through the record, end less start: within its wander, but it may be there
    change_half: float  # half-width of its 95 % interval


def batch_mean(x: Floats, dt: float) -> Mean:
    """Mean of a record by five batches, with a 95 % interval on four degrees of freedom.

    Parameters: x [any unit] evenly spaced, NaN where absent; dt [s] from sample to sample.

    Notes: the scatter of the five batch means is widened by what batches that wander together hide, averaged over how
    well the record tells its wander (`wander.Wander.widening`). Simulated coverage: tests/methods/steady_coverage.py:
    93 to 97 % from 15 slow time constants on. A change of ten standard errors of the mean along the record is noticed
    in half of records only, so the change and its interval are given too.

    References: B. Schmeiser, Operations Research 30 (1982) 556 (few large batches).

    Refuses, in this order: `record-short` below 30 samples; `channel-flat` where nothing moves; `record-gaps` where a
    fifth of the record lacks more than half of its samples; `still-running-in` where the change along the record is
    more than its wander explains (also in 1 to 7 % of steady records); `record-short` where it holds fewer than 15 of
    its slow time constants.
    """
    values = trimmed(x)
    count = int(np.isfinite(values).sum())
    if count < wander.FEWEST:
        raise Refused("record-short", samples=count, needed=wander.FEWEST)
    known = values[np.isfinite(values)]
    if not np.ptp(known) > 0:
        raise Refused("channel-flat")
    edges = np.linspace(0, len(values), BATCHES + 1).round().astype(int)
    parts = [values[start:end] for start, end in pairwise(edges)]
    if any(2 * np.isfinite(part).sum() < len(part) for part in parts):
        raise Refused("record-gaps")
    found = wander.look(values, dt)
    change_half = student_95(_TREND_DF) * found.change_se
    if abs(found.change) > change_half:
        raise Refused("still-running-in", change=found.change, se=found.change_se)
    length = len(values) * dt
    if length < TIME_CONSTANTS * found.time:
        raise Refused("record-short", seconds=length, needed=TIME_CONSTANTS * found.time)
    means = np.array([float(np.mean(part[np.isfinite(part)])) for part in parts])
    value = float(means.mean())
    se = math.sqrt(float(means.var(ddof=1)) / BATCHES * found.widening(BATCHES, length / BATCHES))
    half = student_95(BATCHES - 1) * se
    return Mean(value, value - half, value + half, se, BATCHES - 1, count, found.time, found.change, change_half)


def trimmed(x: Floats) -> Floats:
    """A record from its first to its last sample that is there."""
    values = np.asarray(x, dtype=float)
    there = np.flatnonzero(np.isfinite(values))
    return values[there[0] : there[-1] + 1] if len(there) else values[:0]


def correlation_time(x: Floats, dt: float) -> float:
    """Slow time constant [s] of a record: its wander's covariance falls as exp(-lag/time); 0 where none shows.

    Parameters as for `batch_mean`. Slower than the record it cannot be told from a trend: longer than a third of the
    record it is a lower limit at best.

    Refuses: `record-short` below 30 samples, `channel-flat` where nothing moves.
    """
    values = trimmed(x)
    known = values[np.isfinite(values)]
    if len(known) < wander.FEWEST:
        raise Refused("record-short", samples=len(known), needed=wander.FEWEST)
    if not np.ptp(known) > 0:
        raise Refused("channel-flat")
    return wander.look(values, dt).time


def unsteadiness(x: Floats, window: int) -> float:
    """Robust spread about the running median [unit of x]: 1.4826 times the median absolute deviation.

    Parameters: x evenly spaced, NaN where absent (gaps are closed up); window [samples], made odd. To be read with the
    meter's time constant: a slow meter shows a steady flow. NaN of fewer samples than a window.
    """
    from scipy.ndimage import median_filter

    values = np.asarray(x, dtype=float)
    values = values[np.isfinite(values)]
    size = max(int(window) | 1, 3)
    if len(values) < size:
        return math.nan
    about = values - median_filter(values, size, mode="nearest")
    return _MAD_SIGMA * float(np.median(np.abs(about - np.median(about))))
