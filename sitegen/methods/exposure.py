"""Exposure: how far the rings have slid and how hard they were driven. SI: m, s, rad/s, N m, Pa, W."""

from __future__ import annotations

import math


def revolutions(speed: float, time: float) -> float:
    """Crankshaft revolutions [-] at a speed [rad/s] held for a time [s]."""
    return speed * time / (2 * math.pi)


def sliding_distance(turns: float, stroke: float) -> float:
    """Distance a ring slides [m] in so many revolutions [-]: two strokes [m] each."""
    return 2 * stroke * turns


def mean_piston_speed(speed: float, stroke: float) -> float:
    """Mean piston speed [m/s] at a crankshaft speed [rad/s] and a stroke [m]."""
    return 2 * stroke * speed / (2 * math.pi)


def displacement(bore: float, stroke: float, cylinders: int) -> float:
    """Displaced volume [m3] of an engine, bore and stroke in [m]."""
    return math.pi / 4 * bore**2 * stroke * cylinders


def brake_mean_pressure(torque: float, displaced: float, strokes: int = 4) -> float:
    """Brake mean effective pressure [Pa] of a torque [N m] on a displaced volume [m3], two or four strokes a cycle."""
    return 2 * math.pi * (strokes / 2) * torque / displaced


def power(torque: float, speed: float) -> float:
    """Brake power [W] of a torque [N m] at a speed [rad/s]."""
    return torque * speed
