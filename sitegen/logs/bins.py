"""Samples of a channel gathered into bins of a second, and the integrals that exposure is made of."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
MOST = 200_000  # bins of a log; a longer one has wider bins
SLOW = 3.0  # steps of a slow channel over which its samples are joined by a line
GAP = 10.0  # usual steps without a sample that are a gap: nothing is integrated across it


def width(seconds: float) -> float:
    """Width of a bin [s]: one second, doubled until there are no more than `MOST`."""
    wide = 1.0
    while seconds / wide > MOST:
        wide *= 2
    return wide


def gathered(t: Floats, x: Floats, wide: float, count: int) -> tuple[Floats, Floats, Floats]:
    """Mean, least and most of the samples in each bin, NaN where there is none; each (count,).

    t [s], which must not fall, and x of one channel. Between samples of a channel slower than a bin a line is drawn.
    """
    good = np.isfinite(t) & np.isfinite(x)
    t, x = t[good], x[good]
    mean, low, high = (np.full(count, np.nan) for _ in range(3))
    if len(t) == 0:
        return mean, low, high
    place = np.clip((t / wide).astype(int), 0, count - 1)
    number = np.bincount(place, minlength=count)
    held = number > 0
    mean[held] = np.bincount(place, weights=x, minlength=count)[held] / number[held]
    starts = np.flatnonzero(np.diff(place, prepend=-1))
    low[held] = np.minimum.reduceat(x, starts)
    high[held] = np.maximum.reduceat(x, starts)
    step = float(np.median(np.diff(t))) if len(t) > 1 else 0.0
    if step > wide:
        middle = (np.arange(count) + 0.5) * wide
        after = np.searchsorted(t, middle)
        inside = ~held & (after > 0) & (after < len(t))
        inside[inside] &= (t[after[inside]] - t[after[inside] - 1]) <= SLOW * step
        for each in (mean, low, high):
            each[inside] = np.interp(middle[inside], t, x)
    return mean, low, high


def integral(t: Floats, x: Floats) -> float:
    """Integral of x over t by the trapezoid rule, gaps and missing samples left out; not a number without a sample."""
    good = np.isfinite(t) & np.isfinite(x)
    t, x = t[good], x[good]
    if len(t) < 2:
        return math.nan
    steps = np.diff(t)
    inside = steps <= GAP * np.median(steps)
    return float(((x[1:] + x[:-1]) / 2 * steps)[inside].sum())


def time_above(t: Floats, x: Floats, limit: float) -> float:
    """Time [s] for which x lay above a limit, gaps left out."""
    good = np.isfinite(t) & np.isfinite(x)
    t, x = t[good], x[good]
    if len(t) < 2:
        return 0.0
    steps = np.diff(t)
    inside = steps <= GAP * np.median(steps)
    return float(steps[inside & (x[1:] > limit)].sum())
