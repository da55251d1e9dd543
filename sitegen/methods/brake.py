"""Brake work: power, mean effective pressure, mean piston speed, energy. SI: m, s, rad/s, N m, Pa, W, J.

Numbers or arrays of samples alike.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def displacement(bore: float, stroke: float, cylinders: int) -> float:
    """Displaced volume [m3] of an engine, bore and stroke in [m]."""
    return math.pi / 4 * bore**2 * stroke * cylinders


def mean_piston_speed(speed: float | Floats, stroke: float) -> Floats:
    """Mean piston speed [m/s], two strokes a turn, at a crankshaft speed [rad/s] and a stroke [m]."""
    return np.asarray(2 * stroke * np.asarray(speed, dtype=float) / (2 * math.pi))


def power(torque: float | Floats, speed: float | Floats) -> Floats:
    """Brake power [W] of a torque [N m] at a speed [rad/s]; negative where the engine is driven."""
    return np.asarray(np.asarray(torque, dtype=float) * np.asarray(speed, dtype=float))


def brake_mean_pressure(torque: float | Floats, displaced: float, strokes: int = 4) -> Floats:
    """Brake mean effective pressure [Pa] of a torque [N m] on a displaced volume [m3], two or four strokes a cycle."""
    return np.asarray(2 * math.pi * (strokes / 2) * np.asarray(torque, dtype=float) / displaced)


def energy(torque: Floats, speed: Floats, dt: float) -> tuple[float, float]:
    """Brake energy [J] of samples dt [s] apart, and the time [s] it was taken over.

    Torque [N m] and speed [rad/s], NaN where absent: such samples count for nothing and their time is not in the
    second number, so that nobody takes the energy of half a run for that of all of it. Driven stretches count
    negative. Samples are means over dt, so that no trapezoid is needed.
    """
    watts = power(torque, speed)
    there = np.isfinite(watts)
    return float(np.sum(watts[there])) * dt, int(np.count_nonzero(there)) * dt
