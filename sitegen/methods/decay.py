"""Pressure decay: a cylinder at rest is charged and closed, and how fast it empties tells the area it leaks through.

The gas of a volume V changes its state by p ~ rho^n with n between 1 (walls keep it as warm as they are) and 1.4 (no
heat comes from them), of which nothing is known: both are worked out. Then A t / V = ∫ dp / (n R T f(p)) from the
pressure now to that at the start, f the mass flow through a unit of area (`leakdown.mass_flux`), and a constant area
gives a straight line over time. All SI: Pa absolute, K, s, m, m2, m3.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from sitegen.methods.leakdown import CRITICAL_RATIO, GAMMA, GAS_CONSTANT, mass_flux
from sitegen.vocabulary import Refused

Floats = NDArray[np.float64]

ISOTHERMAL, ADIABATIC = 1.0, GAMMA
LEAST_SAMPLES = 20  # of the part that is used
# Samples in one time constant as found, at least: 50 in an isothermal one (100 Hz for the 0.5 s of 50 cm3 behind
# 0.5 mm2), and a gas that its walls do not warm falls up to 1.4 times as fast.
A_TIME_CONSTANT = 35
LEFT = 0.5  # of the gauge pressure at the start at which the part that is used ends
# What an isothermal area is to be raised by [-]: walls that warm the gas a little late make it up to 0.4 % too small,
# by the simulated cylinder of tests/simulate/decay.py.
LATE = 1.005
_RISEN = 5.0  # standard errors by which a pressure has to rise, or to fall, to be told
_BLOCKS = 6
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(20)
_CHOKED = float(mass_flux(1.0, 0.1, 1.0))  # flow per p/sqrt(T): 0.0404184 sqrt(kg K/J)


def onset(ambient: float) -> float:
    """Least pressure [Pa abs] at which the flow into ambient air [Pa abs] is choked: 13.1 psig into standard air."""
    return ambient / float(CRITICAL_RATIO)


def fall(pressures: Floats, start: float, ambient: float, temperature: float, exponent: float) -> Floats:
    """A t / V [s/m] after which a closed volume has fallen from `start` to each of `pressures` [Pa abs].

    Parameters: `temperature` [K] of the gas at `start`, `exponent` n [-]. Choked in closed form,
    (exp(b x) - 1)/b / (n R C √T), x = ln(start/p), b = (n - 1)/2n; below the onset Gauss-Legendre over the root of the
    gauge pressure, in which the integrand is smooth down to ambient pressure.

    References: any text on gas dynamics ("discharge of a pressure vessel").
    """
    p = np.asarray(pressures, dtype=float)
    limit = onset(ambient)
    b = (exponent - 1) / (2 * exponent)
    x = np.log(start / np.maximum(p, min(limit, start)))
    choked = (np.expm1(b * x) / b if b else x) / (exponent * GAS_CONSTANT * _CHOKED * math.sqrt(temperature))
    top = min(limit, start)
    low, high = (np.sqrt(np.maximum(each - ambient, 0.0)) for each in (np.minimum(p, top), np.asarray(top)))
    middle, half = (high + low) / 2, (high - low) / 2
    root = middle[..., None] + half[..., None] * _NODES
    at = ambient + root**2
    slower = 2 * root / _speed(at, start, ambient, temperature, exponent)
    return np.asarray(choked + half * (slower @ _WEIGHTS))


def _speed(p: Floats, start: float, ambient: float, temperature: float, exponent: float) -> Floats:
    """-dp/d(A t / V) [Pa m/s]."""
    warm = temperature * (p / start) ** ((exponent - 1) / exponent)
    return np.asarray(exponent * GAS_CONSTANT * warm * mass_flux(p, ambient, warm))


@dataclass(frozen=True)
class Curve:
    """The part of a record that is used."""

    times: Floats  # s
    pressures: Floats  # Pa abs
    ambient: float  # Pa abs
    time_constant: float  # s, over which the absolute pressure falls to 1/e
    scatter: float  # of one sample [Pa]


def curve(times: Floats, gauge: Floats, ambient: float) -> Curve:
    """What is used of a record: from time zero, when the cylinder was closed, down to half of its gauge pressure.

    Parameters: times [s] in order, gauge pressures [Pa], ambient pressure [Pa abs].

    Refuses: `decay-short` without two samples, `pressure-rises`, `pressure-holds` where it does not fall beyond its
    scatter, `sampled-too-coarsely` for the time constant found, `few-samples`.
    """
    t, p = (np.asarray(each, dtype=float) for each in (times, gauge))
    t, p = t[t >= 0], p[t >= 0]
    if len(t) < 2 or p[0] <= 0:
        raise Refused("decay-short")
    below = np.flatnonzero(p < LEFT * p[0])
    end = max(2, int(below[0])) if len(below) else len(p)
    t, p = t[:end], p[:end]
    scatter = _scatter(p)
    absolute = p + ambient
    if len(p) >= LEAST_SAMPLES:
        _falls(p, scatter)
        some = max(1, len(p) // _BLOCKS)
        first, last = float(np.mean(absolute[:some])), float(np.mean(absolute[-some:]))
        span = float(np.mean(t[-some:]) - np.mean(t[:some]))
    else:
        first, last, span = float(absolute[0]), float(absolute[-1]), float(t[-1] - t[0])
        if last >= first:
            raise Refused("pressure-rises" if last > first else "pressure-holds")
    constant = span / math.log(first / last)
    if float(np.median(np.diff(t))) > constant / A_TIME_CONSTANT * (1 + 1e-6):
        raise Refused("sampled-too-coarsely")
    if len(t) < LEAST_SAMPLES:
        raise Refused("few-samples")
    return Curve(t, absolute, ambient, constant, scatter)


def _scatter(p: Floats) -> float:
    """Scatter of one sample [unit of p] by second differences, which a fall hardly moves and a jump moves twice.

    Not less than the step the samples are written in.
    """
    if len(p) < 4:
        return 0.0
    steps = np.abs(np.diff(p))
    step = float(np.min(steps[steps > 0], initial=math.inf)) if np.any(steps > 0) else 0.0
    return max(1.4826 * float(np.median(np.abs(np.diff(p, 2)))) / math.sqrt(6), step / math.sqrt(12))


def _falls(p: Floats, scatter: float) -> None:
    """Refuses: `pressure-rises` where a sample, or a block of them, stands above the one before; `pressure-holds`."""
    if float(np.max(np.diff(p))) > _RISEN * math.sqrt(2) * scatter:
        raise Refused("pressure-rises")
    blocks = np.array_split(p, _BLOCKS)
    error = scatter * math.sqrt(2 / min(map(len, blocks)))
    means = [float(np.mean(block)) for block in blocks]
    if any(after - before > _RISEN * error for before, after in pairwise(means)):
        raise Refused("pressure-rises")
    if means[0] - means[-1] <= _RISEN * error:
        raise Refused("pressure-holds")


@dataclass(frozen=True)
class Rate:
    """Leak area over the volume it empties [1/m], for one exponent, with the standard error of the line."""

    value: float
    se: float
    bend: float  # slope of the last half over that of the first [-]: one where area and exponent hold


def rate(found: Curve, temperature: float, exponent: float) -> Rate:
    """A / V [1/m] by a weighted line of `fall` over time; `temperature` [K] of the gas when it was closed.

    Refuses: `pressure-holds` where the line does not rise.
    """
    start = float(found.pressures.max())
    u = fall(found.pressures, start, found.ambient, temperature, exponent)
    weights = _speed(found.pressures, start, found.ambient, temperature, exponent) ** 2  # samples scatter alike in p
    slope, se = _line(found.times, u, weights)
    if slope <= 0:
        raise Refused("pressure-holds")
    middle = len(u) // 2
    halves = [_line(found.times[part], u[part], weights[part])[0] for part in (slice(middle), slice(middle, None))]
    return Rate(slope, se, halves[1] / halves[0] if halves[0] > 0 else math.nan)


def _line(x: Floats, y: Floats, weights: Floats) -> tuple[float, float]:
    """Weighted slope with its standard error."""
    share = weights / weights.sum()
    dx, dy = x - share @ x, y - share @ y
    squares = float(share @ dx**2)
    slope = float(share @ (dx * dy)) / squares
    left = dy - slope * dx
    return slope, math.sqrt(float(share @ left**2) / squares / max(1, len(x) - 2))
