"""Exposure: how far the rings have slid. SI: m, s, rad/s. What drives them is in `brake`."""

from __future__ import annotations

import math


def revolutions(speed: float, time: float) -> float:
    """Crankshaft revolutions [-] at a speed [rad/s] held for a time [s]."""
    return speed * time / (2 * math.pi)


def sliding_distance(turns: float, stroke: float) -> float:
    """Distance a ring slides [m] in so many revolutions [-]: two strokes [m] each."""
    return 2 * stroke * turns
