"""Exposure by hand."""

from __future__ import annotations

import math

import pytest

from sitegen.methods import exposure

RPM = 2 * math.pi / 60  # rad/s


def test_sliding_is_two_strokes_a_turn() -> None:
    # by hand: 15 minutes at 1300 rpm are 19500 turns of 0.2 m
    turns = exposure.revolutions(1300 * RPM, 900.0)
    assert turns == pytest.approx(19_500)
    assert exposure.sliding_distance(turns, 0.100) == pytest.approx(3_900)
