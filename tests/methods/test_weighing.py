"""Weighing: buoyancy held against printed tables, rounding against the guide to uncertainty."""

from __future__ import annotations

import math

import pytest

from sitegen.methods.weighing import AIR, LIGHTEST, WEIGHTS, buoyancy, limit_of_mean


@pytest.mark.parametrize(("density", "milligrams"), [(500, 2.26), (1000, 1.06), (2000, 0.46), (8000, 0.01)])
def test_reduction_of_weighings_in_air_to_vacuum(density: float, milligrams: float) -> None:
    # handbook table "reduction of weighings in air to vacuo", brass weights of 8.4 g/cm3, mg a gram; from memory
    assert 1e6 * buoyancy(density, weights=8400.0) / 1000 == pytest.approx(milligrams, abs=0.005)


def test_a_body_as_dense_as_the_weights_needs_no_correction() -> None:
    # conventional mass is the mass of what balances a body of 8000 kg/m3 in air of 1.2 kg/m3 (OIML R 111-1)
    assert (AIR, WEIGHTS) == (1.2, 8000.0)
    assert buoyancy(8000.0) == 0.0


def test_of_an_iron_ring_air_bears_less_than_a_fiftieth_of_a_per_cent() -> None:
    # by hand: 1.2/7800 = 0.0154 %, 1.2/7000 = 0.0171 %; what it lost in air alike is borne by the same share
    assert 100 * buoyancy(7800.0, weights=math.inf) == pytest.approx(0.0154, abs=5e-5)
    assert 100 * buoyancy(LIGHTEST, weights=math.inf) == pytest.approx(0.0171, abs=1e-4)
    before, after = 7.6631, 7.6598
    lost = (before - after) * (1 + buoyancy(7800.0, weights=math.inf))
    assert lost - (before - after) < 1e-6  # g, of 3.3 mg: a five-hundredth of the 0.5 mg of an analytical balance


def test_limit_of_a_single_reading_is_that_of_the_balance() -> None:
    assert limit_of_mean([7.6631], 5e-4, 1e-4) == 5e-4


def test_scatter_of_repeats_comes_on_top_and_does_not_vanish_when_they_read_alike() -> None:
    # t of two degrees of freedom 4.303 (any table); u of rounding 0.29 of a step, JCGM 100:2008, F.2.2.1
    assert limit_of_mean([1.0, 2.0, 3.0], 0.5) == pytest.approx(0.5 + 4.303 / math.sqrt(3), abs=1e-3)
    alike = limit_of_mean([7.6631] * 3, 5e-4, 1e-4)
    assert alike == pytest.approx(5e-4 + 4.303 * 0.29e-4 / math.sqrt(3), rel=1e-2)
    assert limit_of_mean([7.0, 7.0], 0.5) == 0.5  # readability not stated
