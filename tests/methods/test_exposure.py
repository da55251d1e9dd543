"""Exposure against a textbook exercise and exact unit factors."""

from __future__ import annotations

import math

import pytest

from sitegen.methods import exposure

RPM = 2 * math.pi / 60  # rad/s


def test_mean_effective_pressure_of_a_textbook_engine() -> None:
    # textbook exercise on mean effective pressure: four cylinders, stroke 97 mm, bore 85 mm, four-stroke, 230 N m
    volume = exposure.displacement(85e-3, 97e-3, 4)
    assert exposure.brake_mean_pressure(230.0, volume) == pytest.approx(1_312_738.6, abs=0.05)
    assert exposure.brake_mean_pressure(230.0, volume, strokes=2) == pytest.approx(1_312_738.6 / 2, abs=0.05)


def test_mean_piston_speed() -> None:
    # same exercise: 97 mm at 6000 rpm
    assert exposure.mean_piston_speed(6000 * RPM, 97e-3) == pytest.approx(19.40)


def test_power_in_the_trades_units() -> None:
    # exact: kW = N m x rpm/9549.297; hp = lb ft x rpm/5252.113
    assert exposure.power(100.0, 3000 * RPM) / 1e3 == pytest.approx(100 * 3000 / 9549.297, rel=1e-7)
    foot_pound, horsepower = 1.3558179483, 745.69987158  # N m, W: NIST SP 811
    assert exposure.power(80 * foot_pound, 2500 * RPM) / horsepower == pytest.approx(80 * 2500 / 5252.113, rel=1e-7)


def test_sliding_is_two_strokes_a_turn() -> None:
    # by hand: 15 minutes at 1300 rpm are 19500 turns of 0.2 m
    turns = exposure.revolutions(1300 * RPM, 900.0)
    assert turns == pytest.approx(19_500)
    assert exposure.sliding_distance(turns, 0.100) == pytest.approx(3_900)
