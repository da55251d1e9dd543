"""Friction and wear of ring and liner specimens on a reciprocating rig.

Forces are read both ways, so that a force cell's zero cancels; running-in is fitted on blocks of strokes; the specimen
is the unit between coatings, since its strokes share its surfaces, its alignment and its oil.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import fmean, variance

import numpy as np
from numpy.typing import NDArray

from sitegen.methods import power, settling, steady
from sitegen.methods.design import EACH_OWN
from sitegen.methods.intervals import NORMAL_95, student_95
from sitegen.methods.repeats import difference
from sitegen.vocabulary import Refused

Floats = NDArray[np.float64]

BLOCK = 10  # noise time constants in a block, so that blocks scatter as good as independently
MOST_BLOCKS = 60  # of a run: more tell nothing more of its e-fold
RUN_INS = 4  # declared e-folds after which 2 % of the drop are left
SPANS = 2  # upper limits of its e-fold that a record has to reach: a shorter one tells an end only where it misleads
STILL = 0.02  # share of its mean by which a steady part may still change and be told
BANDS = 6  # of a map at most
_SAID = {"few-visits": "run-in-few-blocks", "settling-open-below": "run-in-within-a-block"}
_DIGITS = 1e-9  # share within which two numbers are equal
# Coatings -> chance that their ranks show a true correlation of 0.9 at 5 % by `ties.rank_agreement`; of fewer coatings
# not even the same order does. Simulated: tests/methods/rig_rates.py.
CHANCE: Mapping[int, float] = {5: 0.24, 6: 0.39, 7: 0.65, 8: 0.77}
CORRELATION = 0.9


# ---- coefficient ----------------------------------------------------------------------------------------------------


def coefficient(forward: Floats, back: Floats, load: Floats | float) -> Floats:
    """Signed coefficient of friction [-] of strokes: (F forward - F back)/(2 N), in which a zero of the cell cancels.

    Parameters: forces [N] of the stroke forward and of that back, with their signs; load [N], above zero.

    >>> coefficient(np.array([8.0]), np.array([-4.0]), 50.0).tolist()
    [0.12]
    """
    return np.asarray((np.asarray(forward) - np.asarray(back)) / (2 * np.asarray(load)), dtype=float)


def zero(forward: Floats, back: Floats) -> Floats:
    """Offset [N] of the force cell: half the sum of both ways; one way alone would read wrong by offset/load."""
    return np.asarray((np.asarray(forward) + np.asarray(back)) / 2, dtype=float)


def from_magnitude(force: Floats, load: Floats | float, offset: float | None) -> Floats:
    """Coefficient [-] from the mean magnitude [N] over both ways, which is exact while |offset| < mu N.

    The mean of |mu N + o| and |-mu N + o| is the larger of mu N and |o|: what lies at the offset may be anything below.

    Refuses: `offset-not-known` where no offset [N] was read; `offset-above-friction` where it reaches the magnitude.
    """
    if offset is None:
        raise Refused("offset-not-known")
    if float(np.nanmin(force)) <= abs(offset) * (1 + _DIGITS):
        raise Refused("offset-above-friction")
    return np.asarray(np.asarray(force) / np.asarray(load), dtype=float)


# ---- one run --------------------------------------------------------------------------------------------------------


def evenly(time: Floats, values: Floats) -> tuple[Floats, float]:
    """A record on an even grid of its median step, nan where nothing fell, and that step [unit of time].

    Refuses `record-short` below two samples, `times-not-rising` where the time does not go on.
    """
    if len(time) < 2:
        raise Refused("record-short")
    steps = np.diff(time)
    if not (steps > 0).all():
        raise Refused("times-not-rising")
    dt = float(np.median(steps))
    places = np.rint((time - time[0]) / dt).astype(int)
    if places[-1] > 50 * len(time):  # mostly gaps: no record of one run
        raise Refused("record-gaps")
    sums = np.bincount(places, weights=values)
    counts = np.bincount(places)
    return np.where(counts > 0, sums / np.maximum(counts, 1), np.nan), dt


@dataclass(frozen=True)
class RunIn:
    """An e-fold of running-in: mu_s + D exp(-t/t_s), times from the start of the record."""

    fold: float  # t_s [s], with its 95 % interval
    low: float  # 0 where open below
    high: float
    level: float  # mu_s [-]
    drop: float  # D [-]

    def tail(self, time: Floats) -> Floats:
        """What is left of the drop [-] at times [s] from the start of the record."""
        return np.asarray(self.drop * np.exp(-time / self.fold), dtype=float)


def run_in(values: Floats, dt: float) -> RunIn:
    """E-fold of running-in on blocks of at least ten time constants of the noise.

    Parameters: even record of mu [-], above zero; dt [s].

    Notes: a first fit on as many blocks as are ever used is taken off the record, and what is left tells how long the
    noise remembers. A block's mean of an exponential is the exponential at its middle times a constant, which goes into
    D. Intervals are what keeps the sum of squares below its cut (`settling.settle_time`).

    Refuses: `run-in-few-blocks` where fewer than six blocks fit; `run-in-within-a-block` where t_s is below a block;
    `settling-open-above` where the record does not reach twice the upper limit of t_s, or as
    `settling.settle_time`; `level-not-positive`, `no-change-beyond-scatter`.
    """
    size = max(math.ceil(len(values) / MOST_BLOCKS), 1)
    rest = values - _fitted(values, dt, size).tail(np.arange(len(values), dtype=np.float64) * dt)
    needed = math.ceil(BLOCK * steady.correlation_time(rest, dt) / dt)
    found = _fitted(values, dt, max(size, needed))
    if found.fold < max(size, needed) * dt:
        raise Refused("run-in-within-a-block")
    if SPANS * found.high > len(values) * dt:
        raise Refused("settling-open-above")
    return found


def _fitted(values: Floats, dt: float, size: int) -> RunIn:
    count = len(values) // size
    if count < settling.FEWEST:
        raise Refused("run-in-few-blocks")
    parts = values[: count * size].reshape(count, size)
    there = np.isfinite(parts)
    full = 2 * there.sum(axis=1) >= size
    means = np.where(there, parts, 0.0).sum(axis=1) / np.maximum(there.sum(axis=1), 1)
    middles = (np.arange(count, dtype=np.float64) + 0.5) * size * dt
    try:
        fit = settling.settle_time(middles, np.where(full, means, np.nan), 0.02)
    except Refused as why:
        raise Refused(_SAID.get(why.code, why.code)) from None
    level = fit.levels[0].value
    half = min(size * dt / (2 * fit.scale), 500.0)
    drop = level * (fit.start - 1) * half / math.sinh(half)  # `start` is that of the middles drawn back to nought
    return RunIn(fit.scale, fit.scale_low, fit.scale_high, level, drop)


@dataclass(frozen=True)
class Still:
    """Mean of what lies past running-in."""

    value: float  # [-], with its 95 % interval
    low: float
    high: float
    se: float
    n: int  # strokes
    moves: bool = False  # it still changes, by less than `STILL` of itself


def steady_value(values: Floats, dt: float, declared: float, known: RunIn | None = None) -> Still:
    """Mean past four declared e-folds, by five batches on four degrees of freedom.

    Parameters: even record of mu [-]; dt [s]; declared e-fold [s]; the e-fold found: what is left of it is taken off.

    Notes: `steady.batch_mean`; where a change shows, but not that it is more than 2 % of the mean, which four e-folds
    leave of the drop, five batches that hold it in their scatter.

    Refuses: `record-short`, `record-gaps`, `channel-flat`, and `still-running-in` where the change is shown to be more.
    """
    begin = math.ceil(RUN_INS * declared / dt)
    part = values[begin:]
    if known is not None:
        part = part - known.tail((begin + np.arange(len(part), dtype=np.float64)) * dt)
    try:
        mean = steady.batch_mean(part, dt)
    except Refused as why:
        middle = float(np.nanmean(part)) if np.isfinite(part).any() else math.nan
        change, error = (float(why.facts.get(name, math.inf)) for name in ("change", "se"))
        if why.code != "still-running-in" or abs(change) - NORMAL_95 * error > STILL * abs(middle):
            raise
        means = [float(np.nanmean(each)) for each in np.array_split(part, steady.BATCHES)]
        se = math.sqrt(variance(means) / len(means))
        half = student_95(len(means) - 1) * se
        return Still(fmean(means), fmean(means) - half, fmean(means) + half, se, int(np.isfinite(part).sum()), True)
    return Still(mean.value, mean.low, mean.high, mean.se, mean.n)


# ---- wear, map ------------------------------------------------------------------------------------------------------


def wear_rate(volume: float, load: float, distance: float) -> float:
    """Specific wear [m3/(N m)]: volume [m3] over load [N] and sliding distance [m] (ASTM G206, ASTM G133)."""
    return volume / (load * distance)


def lubrication(viscosity: float, speed: float, pressure: float) -> float:
    """Dynamic viscosity [Pa s] times speed [m/s] over pressure [Pa], in m."""
    return viscosity * speed / pressure


def bands(numbers: Sequence[float]) -> list[tuple[float, float]]:
    """At most six bands of equal width on a logarithmic scale, whose ends do not hang on the data.

    A quarter of a decade wide, or twice that and so on until at most six hold anything; the least first.

    >>> [(f"{low:.2g}", f"{high:.2g}") for low, high in bands([1.2e-8, 1.5e-8, 9e-8])]
    [('1e-08', '1.8e-08'), ('5.6e-08', '1e-07')]
    """
    parts = 4.0
    while True:
        filled = sorted({math.floor(parts * math.log10(each) + _DIGITS) for each in numbers})
        if len(filled) <= BANDS:
            return [(10 ** (each / parts), 10 ** ((each + 1) / parts)) for each in filled]
        parts /= 2


# ---- specimens and coatings -----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Mean:
    """A mean of specimens or a ratio of two, in their unit."""

    value: float
    low: float | None = None  # 95 % interval; None: one specimen tells no scatter
    high: float | None = None
    df: float | None = None


def level(values: Sequence[float]) -> Mean:
    """Geometric mean of the specimens of a coating, t on its own scatter. Values above zero, in one unit."""
    logs = [math.log(each) for each in values]
    middle = fmean(logs)
    if len(logs) < 2:
        return Mean(math.exp(middle))
    half = student_95(len(logs) - 1) * math.sqrt(variance(logs) / len(logs))
    return Mean(math.exp(middle), math.exp(middle - half), math.exp(middle + half), len(logs) - 1.0)


def ratio(candidate: Sequence[float], reference: Sequence[float]) -> Mean:
    """Candidate over reference by the logarithms of their specimens: scatter pooled, from four a side on Welch's.

    One specimen of either coating gives the ratio without an interval: with the other's scatter it would hold only
    where both scatter alike. Simulated coverage: tests/methods/rig_rates.py.
    """
    own, other = ([math.log(each) for each in of] for of in (candidate, reference))
    apart = fmean(own) - fmean(other)
    if min(len(own), len(other)) < 2:
        return Mean(math.exp(apart))
    if min(len(own), len(other)) >= EACH_OWN:
        found = difference(other, own)
        se, df = found.se, found.df
    else:
        df = len(own) + len(other) - 2.0
        pooled = ((len(own) - 1) * variance(own) + (len(other) - 1) * variance(other)) / df
        se = math.sqrt(pooled * (1 / len(own) + 1 / len(other)))
    half = student_95(df) * se
    return Mean(math.exp(apart), math.exp(apart - half), math.exp(apart + half), df)


def scatter(groups: Sequence[Sequence[float]]) -> tuple[float, int] | None:
    """Standard deviation of ln(value) between specimens of one coating [-], pooled, and its df; None of no repeat."""
    logs = [[math.log(each) for each in group] for group in groups if len(group) > 1]
    df = sum(len(group) - 1 for group in logs)
    if not df:
        return None
    return math.sqrt(sum((len(group) - 1) * variance(group) for group in logs) / df), df


def smallest_ratio(scatter: float, own: int, other: int) -> float:
    """Least ratio [-] of two coatings that so many specimens find in four of five series, by the test of `ratio`.

    Parameters: scatter, sd of ln(value) between specimens [-], taken as known.

    Refuses `one-specimen` below two a side.

    >>> round(smallest_ratio(0.10, 3, 3), 2), round(smallest_ratio(0.40, 3, 3), 1)
    (1.36, 3.4)
    """
    test = power.whole_builds([own], other, 0) if min(own, other) > 1 else None
    if test is None:
        raise Refused("one-specimen")
    return math.exp(test.shift() * scatter * math.sqrt(1 / own + 1 / other))
