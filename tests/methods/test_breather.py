"""Crankcase pressure against blow-by: the curve of an orifice and of a mat, and what is refused."""

from __future__ import annotations

import numpy as np
import pytest

from sitegen.methods import breather, long_run
from sitegen.vocabulary import Refused

CYCLES = 130  # h, of two points each


def made(n: float, *, narrower: float = 0.0, more: float = 0.0, apart: float = 2.0, noise: float = 0.0, seed: int = 1):  # type: ignore[no-untyped-def]
    """Flow and pressure of two points a cycle; breather and blow-by drift by shares in 100 h.

    By the law of an orifice for n = 2: 0.5 mm2 more or less of it, density 1.1 kg/m3, coefficient 0.6.
    """
    rng = np.random.default_rng(seed)
    cycle = np.repeat(np.arange(CYCLES), 2)
    point = np.tile([1.0, 1 / apart], CYCLES)
    flow = 4e-4 * point * (1 + more * cycle / 100) * (1 + noise * rng.standard_normal(2 * CYCLES))
    area = 2e-5
    scale = 0.5 * 1.1 * (4e-4 / (0.6 * area)) ** 2
    pressure = scale * (flow / 4e-4) ** n * (1 + narrower * cycle / 100)
    return flow, pressure * (1 + noise * rng.standard_normal(2 * CYCLES)), cycle


@pytest.mark.parametrize("n", [1.0, 1.5, 2.0])
def test_the_power_is_found_whatever_drifts(n: float) -> None:
    found = breather.curve(*made(n, narrower=0.2, more=0.3))
    assert found.exponent == pytest.approx(n, rel=1e-9)
    assert np.ptp(found.restriction) == pytest.approx(np.log(1 + 0.2 * (CYCLES - 1) / 100), rel=1e-9)
    assert np.ptp(found.flow) == pytest.approx(np.log(1 + 0.3 * (CYCLES - 1) / 100), rel=1e-9)


def test_an_orifice_half_as_wide_asks_for_four_times_the_pressure() -> None:
    """ln k rises by ln 4 where the area halves at cycle 65: the law of an orifice, exact."""
    flow, pressure, cycle = made(2.0)
    found = breather.curve(flow, np.where(cycle >= 65, 4.0, 1.0) * pressure, cycle)
    assert found.restriction[65] - found.restriction[64] == pytest.approx(np.log(4), rel=1e-9)
    assert found.exponent == pytest.approx(2.0, rel=1e-9)


@pytest.mark.parametrize(
    ("how", "code"),
    [
        ({"apart": 1.1}, "flow-does-not-vary"),
        ({"n": 3.0}, "pressure-not-of-flow"),
    ],
)
def test_what_cannot_be_told_is_refused(how: dict[str, float], code: str) -> None:
    with pytest.raises(Refused) as told:
        breather.curve(*made(**{"n": 2.0, **how}))  # type: ignore[arg-type] # all others have defaults
    assert told.value.code == code


def test_a_crankcase_below_the_room_is_refused() -> None:
    flow, pressure, cycle = made(2.0)
    with pytest.raises(Refused, match="pressure-not-above-ambient"):
        breather.curve(flow, -pressure, cycle)


def test_few_cycles_are_refused() -> None:
    flow, pressure, cycle = made(2.0)
    with pytest.raises(Refused, match="few-windows"):
        breather.curve(flow[:18], pressure[:18], cycle[:18])


def test_an_interval_of_the_slope_holds_what_the_breather_did() -> None:
    """8 % in 100 h, rings rising by 10 %, noise of 1 %: the interval holds it in 91 of 100 at least (95 ± 6)."""
    held = 0
    hours = np.arange(CYCLES, dtype=float)
    truth = 100 * np.log1p(0.08 * (CYCLES - 1) / 100) / (CYCLES - 1) * 100
    for seed in range(100):
        found = breather.curve(*made(2.0, narrower=0.08, more=0.1, noise=0.01, seed=seed))
        levels = long_run.Levels(hours, hours, 100 * found.restriction, np.zeros(CYCLES, dtype=np.int64))
        line = long_run.slope(levels, 0.0)
        half = np.hypot((line.high - line.low) / 2, 3.18 * found.exponent_se * 10)
        held += bool(abs(line.value - truth) <= half)
    assert held >= 91
