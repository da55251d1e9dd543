"""Ring gaps against textbook limits and hand-worked figures."""

from __future__ import annotations

import math

import pytest

from sitegen.methods import leakdown, ringgap
from sitegen.methods.ringgap import RingGap

ATM = 101_325.0
READING = 72 * 6894.757293168  # Pa


def test_chamfers_add_two_half_squares() -> None:
    # by hand: 0.40 x 0.30 = 0.12 mm2, two chamfers of 0.15 mm add 0.0225 mm2
    assert ringgap.gap_area(RingGap(0.40e-3, 0.30e-3, 0.15e-3)) * 1e6 == pytest.approx(0.1425)


@pytest.mark.parametrize("areas", [[1e-6, 1e-6], [1e-6, 2e-6, 3e-6]])
def test_series_at_a_small_drop(areas: list[float]) -> None:
    # textbook: orifices in series pass like 1/sqrt(sum 1/A^2) while the density hardly changes
    expected = 1 / math.sqrt(sum(area**-2 for area in areas))
    assert ringgap.in_series(areas, 1.001 * ATM, ATM) == pytest.approx(expected, rel=5e-4)


def test_series_agrees_with_the_two_gauge_test() -> None:
    # two equal orifices, 80 psig: 61.77 psig between them (see test_leakdown), the second choked: 76.47/94.696
    found = ringgap.in_series([1e-6, 1e-6], (80 + 14.696) * 6894.757, 14.696 * 6894.757)
    assert found / 1e-6 == pytest.approx((61.767 + 14.696) / (80 + 14.696), rel=1e-5)


def test_flow_through_a_series_is_the_same_everywhere() -> None:
    # exact: continuity; narrowest last, so only that one chokes and the pressures between follow from the top down
    areas, up = [2.0e-6, 1.4e-6, 0.9e-6], 5e5
    flow = ringgap.in_series(areas, up, ATM) * float(leakdown.mass_flux(up, ATM, 293.15))
    pressure = up
    for area in areas[:-1]:
        low, high = 0.53 * pressure, pressure
        for _ in range(60):
            middle = (low + high) / 2
            more = area * float(leakdown.mass_flux(pressure, middle, 293.15)) > flow
            low, high = (middle, high) if more else (low, middle)
        pressure = low
    assert areas[-1] * float(leakdown.mass_flux(pressure, ATM, 293.15)) == pytest.approx(flow, rel=1e-6)


def test_one_ring_is_its_own_area() -> None:
    found = ringgap.floor([RingGap(0.4e-3, 0.3e-3)], cylinder=READING, ambient=ATM, discharge=1.0, discharge_limit=0)
    assert found.value * 1e6 == pytest.approx(0.12)
    assert (found.high - found.value) / found.value == pytest.approx(0.20)  # gap position and tilt alone (from memory)


def test_floor_of_two_rings() -> None:
    # incompressible by hand: 0.091 and 0.117 mm2 at Cd 0.86; compressible, the second gap choked, about 15 % more
    for clearance, plain in ((0.3e-3, 0.0909), (0.4e-3, 0.1166)):
        rings = [RingGap(0.40e-3, clearance, 0.15e-3), RingGap(0.45e-3, clearance, 0.15e-3)]
        found = ringgap.floor(rings, cylinder=READING, ambient=ATM)
        assert 1.10 < found.value * 1e6 / plain < 1.20
        assert found.low < plain * 1e-6 < found.high


def test_limits_of_error_widen_the_floor() -> None:
    exact = ringgap.floor([RingGap(0.4e-3, 0.3e-3)], cylinder=READING, ambient=ATM, place=0.0, discharge_limit=0.0)
    felt = ringgap.floor(
        [RingGap(0.4e-3, 0.3e-3, clearance_limit=0.03e-3)],
        cylinder=READING,
        ambient=ATM,
        place=0.0,
        discharge_limit=0.0,
    )
    assert exact.high == exact.low
    # 10 % limit, rectangular: 1.96/sqrt(3) of it (GUM 4.3.7)
    assert (felt.high - felt.value) / felt.value == pytest.approx(0.1 * 1.96 / math.sqrt(3), rel=1e-3)


def test_gap_opens_by_the_circumference() -> None:
    # by hand: 86 mm bore, 3.1 mm thick: 43/(43 - 1.55) = 1.0374, so 1 um of wear opens 6.518 um
    assert ringgap.face_wear(6.518e-6, 86e-3, 3.1e-3) * 1e6 == pytest.approx(1.0, abs=2e-4)
    # a feeler of +-0.02 mm is blind below 3 um
    assert ringgap.face_wear(0.02e-3, 86e-3, 3.1e-3) * 1e6 == pytest.approx(3.07, abs=0.01)


def test_a_choked_middle_sets_the_flow() -> None:
    # exact: a hole much narrower than the rest passes what it passes choked, nearly as if alone
    found = ringgap.in_series([50e-6, 0.5e-6, 50e-6], 6e5, ATM)
    assert found == pytest.approx(0.5e-6, rel=1e-4)
