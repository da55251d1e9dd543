"""Friction of a whole engine, driven or running down: mean effective pressure, deceleration at a speed, days as units.

Torques [N m], speeds [rad/s], volumes [m3], pressures [Pa]; scatters and changes are relative [-].
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from sitegen.methods import power
from sitegen.methods.intervals import NORMAL_95, student_95
from sitegen.methods.pulls import Spread
from sitegen.vocabulary import Refused

Floats = npt.NDArray[np.float64]

LEAST_RATE = 50.0  # samples/s of a run down
_SLACK = 0.98  # of that rate: a logger's clock
LEAST_SAMPLES = 10  # within the window: three numbers are fitted to them
_DISTINCT = 60  # different speeds in a window that are enough whatever the rate: a heavy flywheel read to 1 rpm
_RISE = 0.2  # share of the window by which a speed may come back: more is a pull, and less the ripple of a cycle
MOST_SPEEDS = 6  # more of them, and Bonferroni's share leaves none a chance
PER_KELVIN = 0.0115  # change of hydrodynamic friction [1/K]: half of viscosity's 2.3 % per K at 90 degC; from memory


@dataclass(frozen=True)
class Day:
    """Friction of one variant on one day, at one speed or over several: the mean of its runs."""

    variant: str
    log_mean: float  # natural logarithm of FMEP [Pa]


@dataclass(frozen=True)
class Level:
    """Friction [Pa] over days, with its interval; `share` is what `common` makes of the half-width [-]."""

    value: float
    low: float | None
    high: float | None
    se: float | None  # of the days alone, Pa


def mean_effective_pressure(torque: float, volume: float, strokes: int = 4) -> float:
    """Work [J] of a cycle over the swept volume [m3], as a pressure [Pa]: 2π · strokes/2 · T/V; 4πT/V of four strokes.

    J. B. Heywood, Internal combustion engine fundamentals (1988), eq. 2.20: mep [kPa] = 6.28 n_R T [N m] / V [dm3].

    >>> round(mean_effective_pressure(20.0, 0.002405) / 1e3, 1)
    104.5
    """
    return 2 * math.pi * strokes / 2 * torque / volume


def deceleration(time: Floats, speed: Floats, at: float, window: float) -> float:
    """Rate [rad/s2] at which the speed falls where it passes `at`: of a parabola over `at` ± `window` [rad/s].

    time [s] ascending, speed [rad/s]; of several run downs in them the first that passes the whole window. Friction
    that grows with speed bends the curve, so that a straight line reads too little. Refuses `speed-not-bracketed`,
    `sampled-too-slowly` (`LEAST_RATE`; a value that a logger holds is no new sample) and `speed-rises`.
    """
    above = np.flatnonzero(speed >= at + window)
    below = np.flatnonzero(speed <= at - window)
    if not len(above) or not len(below[below > above[0]]):
        raise Refused("speed-not-bracketed")
    end = int(below[below > above[0]][0])
    begin = int(above[above < end][-1])
    x, y = time[begin : end + 1], speed[begin : end + 1]
    lasts = float(x[-1] - x[0])
    different = int(np.count_nonzero(np.diff(y))) + 1
    every = float(np.median(np.diff(x)))
    rate = min(1 / every, (len(x) - 1) / lasts)  # holes count
    if different < _DISTINCT:
        rate = min(rate, different / lasts)
    if rate < _SLACK * LEAST_RATE or different < LEAST_SAMPLES:
        raise Refused("sampled-too-slowly")
    steady = np.median([y[:-2], y[1:-1], y[2:]], axis=0)  # one odd sample is no rise
    if float(np.max(steady - np.minimum.accumulate(steady))) > _RISE * window:
        raise Refused("speed-rises")
    u = (x - x.mean()) / lasts
    c, b, a = np.linalg.lstsq(np.vander(u, 3, increasing=True), y - at, rcond=None)[0]
    root = b * b - 4 * a * c
    if root <= 0 or b >= 0:
        raise Refused("speed-rises")
    place = 2 * c / (-b + math.sqrt(root))  # where the parabola passes `at`: the root beside the middle
    return -float(b + 2 * a * place) / lasts


def of_days(days: Sequence[Day], scatter: Spread | None, common: float = 0.0) -> Level:
    """Friction of one variant over its days. One day, or a scatter that is not known, has no interval.

    scatter of days, pooled over the builds of a program; common: half-width [-] of what is alike on all days, such as
    the inertia: independent and common half-widths in quadrature.
    """
    if not days:
        raise Refused("few-pull-days")
    value = math.exp(math.fsum(day.log_mean for day in days) / len(days))
    if scatter is None or len(days) < 2:
        return Level(value, None, None, None)
    se = scatter.sd / math.sqrt(len(days))
    half = math.hypot(student_95(scatter.df) * se, common)
    return Level(value, value * math.exp(-half), value * math.exp(half), value * se)


def of_a_day(days: float, runs: float, count: int, oil: float = 0.0) -> float:
    """Scatter [-] of the mean of a day: between days, of `count` runs [-], and of the oil's temperature [K].

    >>> round(100 * of_a_day(0.003, 0.003, 3), 2), round(100 * of_a_day(0.003, 0.003, 3, 1.0), 2)
    (0.35, 1.2)
    """
    return math.hypot(days, runs / math.sqrt(count), PER_KELVIN * oil)


def half_width(each: int, day: float) -> float:
    """Half-width [-] of the ratio of two means of `each` days that scatter by `day` [-]. Refuses `few-pull-days`."""
    if each < 2:
        raise Refused("few-pull-days")
    return student_95(2 * each - 2) * day * math.sqrt(2 / each)


def smallest(each: int, day: float) -> float:
    """Relative difference [-] between two means of `each` days that is found four times in five.

    Refuses `few-pull-days`.
    """
    if each < 2:
        raise Refused("few-pull-days")
    return power.shift(2 * each - 2) * day * math.sqrt(2 / each)


def common_of_inertia(inertia: float, error: float) -> float:
    """Half-width [-] of what an inertia [kg m2] of standard uncertainty `error` does to every run down alike."""
    return NORMAL_95 * error / inertia
