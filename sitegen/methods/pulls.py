"""Full-load pulls: the engine's torque over bands of speed, days as units, the gain of one variant over another.

Pulls of one day share its air, its fuel and its warm-up, so a day's mean is one number; its first pull is not in it.
Torques [N m] are worked with as natural logarithms; scatters and gains are relative [-]. Speeds [rad/s].
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import fmean
from typing import Protocol

import numpy as np

from sitegen.methods import power
from sitegen.methods.intervals import student, student_95
from sitegen.vocabulary import Refused

MOST_BANDS = 6  # more of them, and Bonferroni's share leaves none a chance
LEAST_DAYS = 3  # of each variant
COVERED = 0.02  # share of a band that may be missing at either end
IN_A_ROW = 2  # days of one variant: ABAB or ABBA, so that a drift does not pass for a gain


class OfDay(Protocol):
    """What one day gave of one variant: its days are compared, whatever was measured on them."""

    @property
    def variant(self) -> str: ...
    @property
    def log_mean(self) -> float: ...  # natural logarithm of the mean of the day


@dataclass(frozen=True)
class Day:
    """Pulls of one variant on one day, by their order; the first is not in the mean."""

    variant: str
    torques: tuple[float, ...]  # N m, of every pull

    @property
    def kept(self) -> tuple[float, ...]:
        return self.torques[1:]

    @property
    def log_mean(self) -> float:
        return fmean(math.log(each) for each in self.kept)


@dataclass(frozen=True)
class Spread:
    """A relative scatter [-] on its degrees of freedom."""

    sd: float
    df: float


@dataclass(frozen=True)
class Change:
    """One variant over another: relative [-], with its interval."""

    value: float
    low: float
    high: float
    df: float


def engine_torque(read: float, inertia: float | None, rate: float, compensated: bool | None) -> float:
    """Torque of the engine [N m] in a sweep: what is read, and what speeds the turning masses up.

    inertia [kg m2] of engine and brake as one, rate [rad/s2]. A bench that compensates has added it. Refuses
    `sweep-without-inertia`. Newton's second law.

    >>> round(engine_torque(200.0, 0.5, 300 * math.pi / 30, False) - 200, 1)
    15.7
    """
    if not rate or compensated:
        return read
    if compensated is None or inertia is None:
        raise Refused("sweep-without-inertia")
    return read + inertia * rate


def covers(speeds: Sequence[float], low: float, high: float) -> bool:
    """Whether a pull with these speeds runs through a band, with some room at both ends.

    >>> covers([120.0, 150.0, 181.0], 120.0, 180.0), covers([120.0, 150.0, 170.0], 120.0, 180.0)
    (True, False)
    """
    x, room = np.sort(np.asarray(speeds, dtype=float)), COVERED * (high - low)
    inside = (x >= low - room) & (x <= high + room)
    return bool(len(x) > 1 and x[0] <= low + room and x[-1] >= high - room and inside.any())


def over_band(speeds: Sequence[float], torques: Sequence[float], low: float, high: float) -> float:
    """Mean torque [N m] over a band of speed, by trapezoids. Refuses `band-not-covered`."""
    if not covers(speeds, low, high):
        raise Refused("band-not-covered")
    at = np.argsort(np.asarray(speeds, dtype=float), kind="stable")
    x, y = np.asarray(speeds, dtype=float)[at], np.asarray(torques, dtype=float)[at]
    ends = np.clip(np.array([low, high]), x[0], x[-1])
    grid = np.union1d(x[(x > ends[0]) & (x < ends[1])], ends)
    level = np.interp(grid, x, y)
    return float(np.sum((level[1:] + level[:-1]) / 2 * np.diff(grid)) / (grid[-1] - grid[0]))


def repeatability(days: Sequence[Day]) -> Spread:
    """Scatter of the kept pulls of a day, pooled over days. Refuses `few-pulls`."""
    groups = [[math.log(each) for each in day.kept] for day in days if len(day.kept) > 1]
    df = sum(len(group) - 1 for group in groups)
    if not df:
        raise Refused("few-pulls")
    return Spread(math.sqrt(sum((each - fmean(group)) ** 2 for group in groups for each in group) / df), df)


def of_days(days: Sequence[OfDay]) -> Spread:
    """Scatter of the means of days of one variant, pooled over variants. Refuses `few-pull-days`."""
    variants: dict[str, list[float]] = {}
    for day in days:
        variants.setdefault(day.variant, []).append(day.log_mean)
    df = sum(len(group) - 1 for group in variants.values())
    if not df:
        raise Refused("few-pull-days")
    squares = sum((each - fmean(group)) ** 2 for group in variants.values() for each in group)
    return Spread(math.sqrt(squares / df), df)


def level(days: Sequence[Day], scatter: Spread | None) -> tuple[float, float | None, float | None]:
    """Torque [N m] of one variant over its days, and its interval. Refuses `few-pull-days`.

    scatter of days, pooled over the builds of a program: two days of one build know theirs on one degree of freedom.
    None: no interval.
    """
    if not days:
        raise Refused("few-pull-days")
    middle = fmean(day.log_mean for day in days)
    if scatter is None:
        return math.exp(middle), None, None
    half = student_95(scatter.df) * scatter.sd / math.sqrt(len(days))
    return math.exp(middle), math.exp(middle - half), math.exp(middle + half)


def drift(days: Sequence[Day]) -> Change:
    """Relative change of torque from one kept pull to the next, days as units. Refuses `few-pull-days`, `few-pulls`."""
    slopes = []
    for day in days:
        n = len(day.kept)
        if n < 2:
            raise Refused("few-pulls")
        at = np.arange(n) - (n - 1) / 2
        slopes.append(float(at @ np.log(np.asarray(day.kept)) / (at @ at)))
    if len(slopes) < LEAST_DAYS:
        raise Refused("few-pull-days")
    df = len(slopes) - 1
    middle = fmean(slopes)
    half = student_95(df) * math.sqrt(sum((each - middle) ** 2 for each in slopes) / df / len(slopes))
    return Change(middle, middle - half, middle + half, df)


def alternated(variants: Sequence[str]) -> None:
    """Refuses a sequence of days that tells no gain: `few-pull-days`, `two-variants-only`, `not-alternated`."""
    own = list(dict.fromkeys(variants))
    if len(own) != 2:
        raise Refused("two-variants-only")
    if min(variants.count(each) for each in own) < LEAST_DAYS:
        raise Refused("few-pull-days")
    runs = 1
    for before, after in pairwise(variants):
        runs = runs + 1 if before == after else 1
        if runs > IN_A_ROW:
            raise Refused("not-alternated")


def _design(variants: Sequence[str], other: str) -> np.ndarray:
    n = len(variants)
    x = np.ones((n, 3))
    x[:, 1] = [1.0 if each == other else 0.0 for each in variants]
    x[:, 2] = np.arange(n) - (n - 1) / 2
    return x


def gain(days: Sequence[OfDay], other: str, bands: int = 1) -> Change:
    """Torque of the variant `other` over that of the one it alternates with: ratio less one [-]; days in their order.

    Means of days on a level, a step and a straight line in their order; t on days − 3; Bonferroni over `bands`. False
    gains of 5 % held at 4.6 to 5.6 % in simulations at any drift. Refuses as `alternated`.
    """
    variants = [day.variant for day in days]
    alternated(variants)
    x = _design(variants, other)
    y = np.array([day.log_mean for day in days])
    inverse = np.linalg.inv(x.T @ x)
    found = inverse @ x.T @ y
    df = len(days) - 3
    left = y - x @ found
    half = student(df, 0.05 / bands) * math.sqrt(float(left @ left) / df * inverse[1, 1])
    value, low, high = (math.expm1(found[1] + each) for each in (0.0, -half, half))
    return Change(value, low, high, df)


def smallest_gain(variants: Sequence[str], day_mean: float, bands: int = 1) -> float:
    """Relative gain [-] that such a sequence of days finds four times in five, before any pull: noncentral t.

    day_mean: scatter [-] of the mean of a day, of days and pulls together: sqrt(days² + pulls²/kept). Refuses as
    `alternated`.
    """
    alternated(variants)
    x = _design(variants, variants[0])
    share = float(np.linalg.inv(x.T @ x)[1, 1])
    return power.shift(len(variants) - 3, error=0.05 / bands) * day_mean * math.sqrt(share)


def of_a_day(days: float, pulls: float, kept: int) -> float:
    """Scatter [-] of the mean of a day from that between days and that of its kept pulls [-]."""
    return math.hypot(days, pulls / math.sqrt(kept))
