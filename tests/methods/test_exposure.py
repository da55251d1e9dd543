"""Exposure by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest

from sitegen.crossing import exposure as planned
from sitegen.methods import exposure
from sitegen.program.model import Phase, ScheduleStep

RPM = 2 * math.pi / 60  # rad/s


def test_sliding_is_two_strokes_a_turn() -> None:
    # by hand: 15 minutes at 1300 rpm are 19500 turns of 0.2 m
    turns = exposure.revolutions(1300 * RPM, 900.0)
    assert turns == pytest.approx(19_500)
    assert exposure.sliding_distance(turns, 0.100) == pytest.approx(3_900)


def test_energy_of_a_ramp_is_that_of_many_small_steps() -> None:
    ramp = ScheduleStep(30.0, 1200 * RPM, 2200 * RPM, 50.0, torque_to=150.0)
    small = (np.arange(30_000) + 0.5) / 30_000
    power = (50 + 100 * small) * (1200 + 1000 * small) * RPM
    phase = Phase("pulls", "pulls", "pulls", 0, repeat=4, schedule=(ramp,))
    assert planned.phase_energy(phase) == pytest.approx(4 * 30.0 * power.mean(), rel=1e-8)
    steady = Phase("run", "run", "run", 0, schedule=(ScheduleStep(60.0, 1500 * RPM, 1500 * RPM, 80.0),))
    assert planned.phase_energy(steady) == pytest.approx(80 * 1500 * RPM * 60)
