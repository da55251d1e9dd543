"""Compression test: cranking pressures of the cylinders of one engine beside each other.

What a gauge with a check valve holds after some strokes depends on how fast the engine was cranked, on the throttle, on
the air and on the oil in the cylinder as well as on the rings and valves. So pressures are set beside each other only
where these were alike. It never tells seating.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import fmean

import numpy as np

from sitegen.vocabulary import Refused

# Largest over least mean cranking speed at which cylinders are set beside each other [-]. By the simulated cylinder of
# tests/simulate/compression.py a twentieth of speed moves the pressure by 0.7 to 1.6 %, half of equal ones' scatter.
SPEED_APART = 1.05
FILLED = 6  # strokes from which one more raises the pressure by less than 1 %, by the same cylinder
WARMTH_APART = 15.0  # K between two checks; common practice, no source
EQUAL = 0.03  # scatter of equal cylinders of one engine [-]; common practice, no source
WORN = 0.90  # lowest over highest below which false alarms are told [-]


@dataclass(frozen=True)
class Cranked:
    """How an engine was cranked for one reading; nan or "" where it was not recorded."""

    speed: float  # rad/s
    throttle: str = ""
    strokes: float = math.nan
    oil: float = math.nan  # temperature [K]


def alike(groups: Iterable[Sequence[Cranked]]) -> None:
    """Whether the readings of cylinders or checks, a group each, may be set beside each other.

    Refuses: `cranking-not-recorded`, `cranking-differs`, `throttle-differs`, `strokes-differ`, `warmth-differs`.
    """
    groups = list(groups)
    every = [each for group in groups for each in group]
    speeds = [fmean(each.speed for each in group) for group in groups]
    if any(math.isnan(speed) for speed in speeds):
        raise Refused("cranking-not-recorded")
    if max(speeds) > SPEED_APART * min(speeds):
        raise Refused("cranking-differs")
    if len({each.throttle for each in every if each.throttle}) > 1:
        raise Refused("throttle-differs")
    strokes = [each.strokes for each in every if not math.isnan(each.strokes)]
    if strokes and min(strokes) < FILLED and max(strokes) != min(strokes):
        raise Refused("strokes-differ")
    warm = [each.oil for each in every if not math.isnan(each.oil)]
    if warm and max(warm) - min(warm) > WARMTH_APART:
        raise Refused("warmth-differs")


def equal_cylinders_below(ratio: float, cylinders: int, scatter: float = EQUAL) -> float:
    """Share [-] of engines with equal cylinders whose lowest over highest lies below a ratio [-] by scatter alone.

    Parameters: `scatter` is the standard deviation of the logarithm of a cylinder's pressure [-].

    References: distribution of the range of a normal sample, P(W > w) = 1 - n ∫ φ(x) [Φ(x + w) - Φ(x)]^(n-1) dx
    (H. A. David and H. N. Nagaraja, Order statistics, 2003, sec. 2.3, from memory).
    """
    from scipy.special import ndtr

    width = -math.log(ratio) / scatter
    x = np.linspace(-9.0, 9.0, 3601)
    density = np.exp(-(x**2) / 2) / math.sqrt(2 * math.pi)
    held = cylinders * np.trapezoid(density * (ndtr(x + width) - ndtr(x)) ** (cylinders - 1), x)
    return float(min(1.0, max(0.0, 1.0 - held)))


def in_standard_air(gauge: float, ambient: float, standard: float) -> float:
    """Gauge pressure [Pa] as it would have been read in air of standard pressure [Pa abs], room equally warm.

    The engine squeezes the air it finds: absolute and gauge pressure go with the ambient pressure.
    """
    return gauge * standard / ambient


def least_allowed(highest: float, share: float) -> float:
    """Least pressure a maker allows beside the highest of an engine, in the unit of the highest; `share` [-]."""
    return share * highest


def mean_log(pressures: Sequence[float]) -> float:
    """Mean of the logarithms of pressures [unit of the pressures]."""
    return math.fsum(map(math.log, pressures)) / len(pressures)
