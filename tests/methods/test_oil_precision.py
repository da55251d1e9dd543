"""Precision of oil laboratories: published values of ASTM D5185, ISO 5725, and what a difference can show."""

from __future__ import annotations

import math

import numpy as np
import pytest

from sitegen.methods import oil_precision as method
from sitegen.methods.oil_precision import Scatter
from sitegen.vocabulary import Refused


def refusal(element: str, x: float, **given: str) -> str:
    with pytest.raises(Refused) as told:
        method.scatter(element, x, **given)  # type: ignore[arg-type]
    return told.value.code


@pytest.mark.parametrize(("element", "r", "large"), [("Cu", 1.0, 2.4), ("Pb", 3.3, 6.9)])
def test_published_at_ten(element: str, r: float, large: float) -> None:
    # ASTM D5185, precision at 10 mg/kg, to the digits published with it
    assert round(method.repeatability(element, 10.0), 1) == r
    assert round(method.reproducibility(element, 10.0), 1) == large


def test_what_is_from_memory_says_so() -> None:
    assert {name for name, found in method.D5185.items() if not found.from_memory} == {"Cu", "Pb"}


def test_r_is_less_than_R_within_every_range() -> None:
    # true of any method (ISO 5725-1: reproducibility contains repeatability); extrapolated it fails, for tin below 10
    for element, found in method.D5185.items():
        for x in (found.low, (found.low * found.high) ** 0.5, found.high):
            assert method.repeatability(element, x) < method.reproducibility(element, x), (element, x)
    tin = method.D5185["Sn"]
    assert tin.a * 1.0**tin.b > tin.c * 1.0**tin.d


def test_factor_of_a_limit() -> None:
    # ISO 5725-6, 4.1.4: 1.96 x sqrt(2) = 2.77
    assert pytest.approx(1.96 * math.sqrt(2), abs=0.005) == method.FACTOR


@pytest.mark.parametrize(("element", "x"), [("Cr", 0.5), ("Fe", 141.0), ("W", 10.0)])
def test_outside_its_range_none_is_stated(element: str, x: float) -> None:
    assert refusal(element, x) == "no-stated-precision"


def test_the_standard_is_of_one_method() -> None:
    assert refusal("Fe", 20.0, method="rotating-disc") == "no-stated-precision"


def test_which_precision_applies() -> None:
    alone = method.scatter("Cu", 10.0)
    assert (alone.own, alone.shared) == pytest.approx((2.4 / 2.77, 0.0), abs=0.001)
    batch = method.scatter("Cu", 10.0, in_batch=True)
    assert batch.own == pytest.approx(0.352, abs=0.002)  # 0.12 x 10^0.91 / 2.77, a difference within the batch
    assert math.hypot(batch.own, batch.shared) == pytest.approx(2.4 / 2.77, abs=0.001)  # the whole stays what it is
    own = method.scatter("Cu", 10.0, laboratory=(0.3, 0.04))  # sqrt(0.3^2 + 0.4^2)
    assert own.own == pytest.approx(0.5)
    assert (own.shared, own.because) == (0.0, "laboratory")
    assert method.scatter("W", 10.0, laboratory=(0.3, 0.04)).own == pytest.approx(0.5)


def test_rounding_is_a_uniform_term() -> None:
    # GUM, JCGM 100:2008, F.2.2.1: a step of 1 adds 0.29
    assert method.scatter("W", 0.0, laboratory=(0.0, 0.0), step=1.0).own == pytest.approx(0.29, abs=0.002)


def test_a_rise_smaller_than_the_least_is_seen_in_one_of_twenty() -> None:
    rng = np.random.default_rng(63)
    first, second = Scatter(0.3, 2.0, ""), Scatter(0.4, 2.0, "")
    bias = 2.0 * rng.standard_normal(40_000)
    rise = 4.0 * ((bias + 0.4 * rng.standard_normal(40_000)) - (bias + 0.3 * rng.standard_normal(40_000)))
    beyond = float(np.mean(np.abs(rise) > method.smallest_metal(4.0, first, second)))
    assert beyond == pytest.approx(0.05, abs=0.004)


def test_worked_ring_faces() -> None:
    # 1 um off four rings 1.2 mm high at 86 mm bore. Chromium in CrN by atomic weights (IUPAC): 51.996/66.003. Density
    # 6.1 g/cm3 from memory (5.9 to 6.2 are given for films). By hand: 1.2969 mm3, 7.91 mg, 6.23 mg of chromium
    surface = 4 * math.pi * 0.086 * 0.0012
    metal = method.metal_of_wear(1e-6, surface, 6100.0, 51.996 / 66.003)
    assert metal == pytest.approx(6.2, abs=0.05)
    assert metal / 4.0 == pytest.approx(1.6, abs=0.05)  # mg/kg in 4 kg of oil
    assert method.metal_of_wear(1e-6, surface / 4, 6100.0) == pytest.approx(2.0, abs=0.05)  # one ring on a balance


def test_one_micrometre_against_the_laboratory() -> None:
    # at 1.6 mg/kg r is 0.24 and R 1.1 (coefficients from memory): seen within one batch, not between laboratories
    assert method.repeatability("Cr", 1.6) == pytest.approx(0.24, abs=0.005)
    assert method.reproducibility("Cr", 1.6) == pytest.approx(1.1, abs=0.05)
    within = Scatter(method.repeatability("Cr", 1.6) / method.FACTOR, 1.0, "")
    # by the definition of r (ISO 5725-1): two results of one day differ by more in one case of twenty
    assert method.smallest_metal(4.0, within, within) == pytest.approx(4.0 * 0.242, abs=0.005)
