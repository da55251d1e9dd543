"""How long a steady record remembers: slow wander beside fast noise, told apart on sixty block means.

Model of the block means of a record: level + trend + wander + noise, the wander with covariance exp(-lag/time), the
noise independent from block to block. Time constant and share of the wander are found by restricted maximum likelihood,
which allows for the level and the trend taken out first; everything that depends on them is averaged over their
likelihood and so knows how badly a short record tells them. A correlation at lag one would see the noise only.

References: Patterson and Thompson, Biometrika 58 (1971) 545 (restricted likelihood); Uhlenbeck and Ornstein, Physical
Review 36 (1930) 823 (the wander).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

BLOCKS = 60  # of a record: its wander may be told up to a fifteenth of its length, four blocks
FEWEST = 30  # samples
_TIMES = np.exp(np.linspace(math.log(0.3), math.log(60.0), 28))  # time constants tried, in blocks
_SLOWER = np.exp(np.linspace(math.log(0.3), math.log(6000.0), 42))  # for `shared`, which is to miss no slow one
_SHARES = np.array([0.02, 0.05, 0.1, 0.15, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 0.98, 1.0])  # of the variance
_SIGNIFICANT = 3.841  # twice the gain in log likelihood: white noise exceeds it in about one look of twenty
_RESOLVED = 1.0  # blocks: a shorter time constant is looked for on finer blocks
_SIGNIFICANT_FINER = 10.83  # one in a thousand: several looks are made, and what is there shows on so many blocks
_FINER = 8  # times finer at each look
_SEGMENTS = 64  # of sixty blocks at most, spread evenly over the record
_PARTS = 4  # blocks in a visit whose mean is taken
_ALLOWED = 6.6  # in twice the log likelihood: one slow wander of two hundred is missed


@dataclass(frozen=True)
class Wander:
    """What a record's slow part looks like."""

    time: float  # time constant [s]; 0 where the record is as good as white
    change: float  # of the straight line through the record, from its start to its end [unit of the record]
    change_se: float  # its standard error, wander allowed for
    block: float  # of the look that found it [s]
    likelihood: Floats  # of [time constant in blocks, share] there; sums to 1

    def widening(self, batches: int, length: float) -> float:
        """Variance of the mean of so many batches of a `length` [s] over what their own scatter makes it [-].

        One where batches are independent. Neighbouring batches that wander together scatter less beside each other
        than they all do about the true mean.
        """
        if self.time == 0.0:
            return 1.0
        ratio = length / self.block
        own, later = _covariance(_TIMES * self.block / length, batches)  # of means of whole batches, wander alone
        block_own, _ = _covariance(_TIMES, 1)
        share = _SHARES[None, :]
        noise = (1 - share) / ratio
        batch = noise + share * (own / block_own)[:, None]
        shared = share * (later / block_own)[:, None]  # 2 sum (1 - k/n) c_k
        of_mean = (batch + shared) / batches
        of_scatter = (batch - of_mean) / (batches - 1)  # expected s^2/n
        return float(np.sum(self.likelihood * of_mean / of_scatter))


def _covariance(times: Floats, batches: int) -> tuple[Floats, Floats]:
    """Variance of the mean of one unit of time of a wander of unit variance, and 2 sum (1 - k/n) c_k over n of them."""
    step = 1 / times
    own = 2 * times**2 * (step + np.expm1(-step))
    after = (times * np.expm1(-step)) ** 2  # covariance of neighbours
    lag = np.arange(1, batches)
    decay = np.exp(-np.minimum((lag - 1)[None, :] * step[:, None], 700.0))
    return own, 2 * after * (decay @ (1 - lag / batches))


@dataclass(frozen=True)
class _Basis:
    """Block means less level and trend, turned so that the wander of each time constant has independent parts."""

    times: Floats  # time constants [block]
    turn: Floats  # [time constant, block, part]
    power: Floats  # [time constant, part] variance of the wander in it
    slope: Floats  # [block] weights of the least-squares slope, as change over all blocks
    slope_wander: Floats  # [time constant] variance of the slope from wander of unit variance
    slope_noise: float  # from noise of unit variance


@lru_cache(maxsize=16)  # 0.04 s each; nearly all records have sixty blocks without a gap
def _basis(blocks: int, missing: tuple[int, ...], slower: bool = False) -> _Basis:
    times = _SLOWER if slower else _TIMES
    present = np.delete(np.arange(blocks), missing)
    centred = present - present.mean()
    slope = blocks * centred / float(centred @ centred)
    orthogonal, _ = np.linalg.qr(np.column_stack([np.ones(len(present)), centred]), mode="complete")
    rest = orthogonal[:, 2:]
    turn, power, of_slope = [], [], []
    for time in times:
        lags = np.arange(blocks)
        own, _ = _covariance(np.array([time]), 1)
        row = (time * math.expm1(-1 / time)) ** 2 * np.exp(-(np.maximum(lags, 1) - 1) / time) / own[0]
        row[0] = 1.0
        covariance = row[np.abs(present[:, None] - present)]
        values, vectors = np.linalg.eigh(rest.T @ covariance @ rest)
        turn.append(rest @ vectors)
        power.append(np.maximum(values, 0.0))
        of_slope.append(float(slope @ covariance @ slope))
    return _Basis(times, np.array(turn), np.array(power), slope, np.array(of_slope), float(slope @ slope))


@dataclass(frozen=True)
class _Fit:
    likelihood: Floats  # [time constant, share]
    gain: float  # twice the log likelihood over that of white noise
    time: float  # best, in blocks
    variance: Floats  # [time constant, share] of a block mean
    white: float  # the same where blocks are independent


def _fit(means: Floats, basis: _Basis) -> _Fit:
    """Restricted likelihood of segments [segment, block] that share time constant, share and variance."""
    parts = np.square(means @ basis.turn).sum(axis=1)  # [time constant, part]
    count, total = len(means), len(means) * parts.shape[1]
    scale = (1 - _SHARES)[None, :, None] + _SHARES[None, :, None] * basis.power[:, None, :]
    scale = np.maximum(scale, 1e-12)
    variance = (parts[:, None, :] / scale).sum(axis=2) / total
    log = -0.5 * (total * np.log(variance) + count * np.log(scale).sum(axis=2))
    white = float(parts[0].sum()) / total
    row, column = divmod(int(np.argmax(log)), len(_SHARES))
    relative = np.exp(log - log[row, column])
    time = math.log(basis.times[row])
    if 0 < row < len(basis.times) - 1:  # the top of a parabola through the best and its neighbours
        left, middle, right = log[row - 1 : row + 2].max(axis=1)
        bend = float(left - 2 * middle + right)
        if bend < 0:
            time += 0.5 * float(left - right) / bend * math.log(basis.times[1] / basis.times[0])
    gain = 2 * float(log[row, column]) + total * math.log(white)
    return _Fit(relative / relative.sum(), gain, math.exp(time), variance, white)


def block_means(values: Floats, size: int) -> Floats:
    """Means of blocks of so many samples, the last ones of the record; NaN where most of a block is missing."""
    blocks = len(values) // size
    table = values[len(values) - blocks * size :].reshape(blocks, size)
    there = np.isfinite(table)
    if there.all():
        return np.asarray(table.mean(axis=1))
    count = there.sum(axis=1)
    total = np.where(there, table, 0.0).sum(axis=1)
    return np.where(2 * count >= size, total / np.maximum(count, 1), np.nan)


def look(x: Floats, dt: float) -> Wander:
    """Slow wander and trend of a record of evenly spaced samples.

    Parameters: x [any unit], NaN where absent, at least `FEWEST` samples of which not all are equal (ValueError);
    dt [s] from sample to sample.

    Notes: looked for on sixty blocks of the whole record first, then on blocks eight times finer, down to the samples;
    the coarsest look that finds a time constant of a block or more is believed, since it alone decides how the
    mean scatters. Up to 64 stretches of sixty blocks share one fit at the finer looks.
    """
    values = np.asarray(x, dtype=float)
    size = len(values) // BLOCKS if len(values) >= BLOCKS**2 else -(-len(values) // BLOCKS)
    means = block_means(values, size)
    missing = tuple(int(each) for each in np.flatnonzero(~np.isfinite(means)))
    known = means[np.isfinite(means)]
    if len(known) < FEWEST / 2 or not np.ptp(known) > 0:
        raise ValueError("too few samples, or all alike")
    basis = _basis(len(means), missing)
    known = known - known.mean()
    fit = _fit(known[None], basis)
    shows = fit.gain > _SIGNIFICANT
    if shows:
        spread = fit.variance * ((1 - _SHARES) * basis.slope_noise + _SHARES * basis.slope_wander[:, None])
        change_var = float(np.sum(fit.likelihood * spread))
    else:
        change_var = fit.white * basis.slope_noise
    time, block, likelihood = (fit.time * size if shows else 0.0), size, fit.likelihood
    if size > 1 and (not shows or fit.time < _RESOLVED):
        finer = _finer(values, size)
        if finer is not None:
            time, block, likelihood = finer
    return Wander(
        time=time * dt,
        change=float(basis.slope @ known),
        change_se=math.sqrt(change_var),
        block=block * dt,
        likelihood=likelihood,
    )


def _finer(values: Floats, size: int) -> tuple[float, int, Floats] | None:
    """Time constant [samples], block [samples] and likelihood on the coarsest blocks below `size` that resolve one."""
    found: tuple[float, int, Floats] | None = None
    while size > 1:
        size = -(-size // _FINER)
        stretch = size * BLOCKS
        count = len(values) // stretch
        starts = np.unique(np.linspace(0, len(values) - stretch, min(count, _SEGMENTS)).astype(int))
        table = np.stack([block_means(values[start : start + stretch], size) for start in starts])
        table = table[np.isfinite(table).all(axis=1)]
        table = table[np.ptp(table, axis=1) > 0]
        if len(table) == 0:
            continue
        fit = _fit(table - table.mean(axis=1, keepdims=True), _basis(BLOCKS, ()))
        if fit.gain > _SIGNIFICANT_FINER:
            found = fit.time * size, size, fit.likelihood
            if fit.time >= _RESOLVED:
                break
    return found


def shared(records: Sequence[Floats], dt: float, averaged: float, apart: float) -> float | None:
    """Largest correlation between the means of two visits that steady records of the same channel allow [-].

    Parameters: records, each of evenly spaced samples dt [s] apart, NaN where absent, over their own levels; averaged
    [s] over which a visit's mean is taken, apart [s] from one visit to the next. None where no record has sixty
    samples.

    Notes: of every time constant and share of a wander beside noise that the records do not speak against (twice the
    log restricted likelihood within `_ALLOWED` of the best), the largest correlation. A wander slower than the records
    looks like a level and a trend in each of them, so that they speak against no slow one, and the answer is large.
    """
    longest = max((len(each) for each in records), default=0)
    size = min(max(round(averaged / dt / _PARTS), 1), longest // BLOCKS)
    if size < 1:
        return None
    stretch = BLOCKS * size
    cuts = [each[at : at + stretch] for each in records for at in range(0, len(each) - stretch + 1, stretch)]
    kept = np.unique(np.linspace(0, len(cuts) - 1, min(len(cuts), _SEGMENTS)).astype(int))
    table = np.stack([block_means(cuts[each], size) for each in kept])
    table = table[np.isfinite(table).all(axis=1)]
    table = table[np.ptp(table, axis=1) > 0]
    if len(table) == 0:
        return None
    fit = _fit(table - table.mean(axis=1, keepdims=True), _basis(BLOCKS, (), slower=True))
    allowed = fit.likelihood >= fit.likelihood.max() * math.exp(-_ALLOWED / 2)
    blocks, lag = averaged / (size * dt), apart / (size * dt)
    block, _ = _covariance(_SLOWER, 1)
    visit, _ = _covariance(_SLOWER / blocks, 1)
    step = blocks / _SLOWER
    decay = np.exp(-np.maximum(lag - blocks, 0.0) / _SLOWER)
    later = (np.expm1(-step) / step) ** 2 * decay  # of two means as far apart
    share = _SHARES[None, :]
    noise = (1 - share) / blocks
    found = share * (later / block)[:, None] / (noise + share * (visit / block)[:, None])
    return float(found[allowed].max())
