"""Brake work against a worked example on the web, exact unit factors and sums by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest

from sitegen.methods import brake

RPM = 2 * math.pi / 60  # rad/s


def test_mean_effective_pressure_of_a_worked_example() -> None:
    # "Mean effective pressure (MEP)", worked example (x-engineer.org, the name from memory; no author, undated): four
    # cylinders, stroke 97 mm, bore 85 mm, four-stroke, 230 N m effective torque, 1312738.6 Pa
    volume = brake.displacement(85e-3, 97e-3, 4)
    assert float(brake.brake_mean_pressure(230.0, volume)) == pytest.approx(1_312_738.6, abs=0.05)
    # a two-stroke engine of that size does the work twice as often, so half the pressure gives the torque
    assert float(brake.brake_mean_pressure(230.0, volume, strokes=2)) == pytest.approx(656_369.3, abs=0.05)


def test_mean_piston_speed() -> None:
    # by hand: 2 x 0.097 m x 100 turns a second
    assert float(brake.mean_piston_speed(6000 * RPM, 97e-3)) == pytest.approx(19.40)


def test_power_in_the_trades_units() -> None:
    # exact: kW = N m x rpm/9549.297; hp = lb ft x rpm/5252.113
    assert float(brake.power(100.0, 3000 * RPM)) / 1e3 == pytest.approx(100 * 3000 / 9549.297, rel=1e-7)
    foot_pound, horsepower = 1.3558179483, 745.69987158  # N m, W: NIST SP 811
    found = float(brake.power(80 * foot_pound, 2500 * RPM)) / horsepower
    assert found == pytest.approx(80 * 2500 / 5252.113, rel=1e-7)
    metric = 735.49875  # W: 75 kgf m/s, NIST SP 811; another unit, 1.4 % smaller
    assert float(brake.power(80 * foot_pound, 2500 * RPM)) / metric == pytest.approx(
        38.608, abs=1e-3
    )  # 38.080 x 1.013870


def test_power_is_what_the_mean_pressure_does() -> None:
    # exact, another way: pressure times swept volume, once in two turns of a four-stroke engine
    volume = brake.displacement(85e-3, 97e-3, 4)
    work_a_cycle = float(brake.brake_mean_pressure(230.0, volume)) * volume
    assert float(brake.power(230.0, 3000 * RPM)) == pytest.approx(work_a_cycle * 3000 / 60 / 2)


def test_energy_by_hand() -> None:
    # 100 N m at 955 rpm is 10.0007 kW: an hour of it is 10.0007 kWh = 36.0026 MJ
    joules, seconds = brake.energy(np.full(3600, 100.0), np.full(3600, 955 * RPM), 1.0)
    assert joules == pytest.approx(36.0026e6, rel=1e-5)
    assert seconds == 3600


def test_energy_leaves_gaps_out_and_says_so() -> None:
    torque = np.array([10.0, np.nan, 10.0, -10.0])
    joules, seconds = brake.energy(torque, np.array([1.0, 1.0, np.nan, 1.0]), 2.0)
    assert (joules, seconds) == (0.0, 4.0)  # by hand: 10 W and -10 W, two seconds each
