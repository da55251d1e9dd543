"""Correction of power, against what standards, textbooks and makers print."""

from __future__ import annotations

import pytest

from sitegen.methods.reference_air import Air, Rule, factor, saturation
from sitegen.vocabulary import Refused

ZERO = 273.15


def dry(kilopascal: float, celsius: float) -> Air:
    return Air(celsius + ZERO, 1000 * kilopascal, 0.0)


@pytest.mark.parametrize(("kelvin", "pascal"), [(300.0, 3536.58941), (500.0, 2.63889776e6), (600.0, 1.23443146e7)])
def test_saturation_is_that_of_the_published_table(kelvin: float, pascal: float) -> None:
    """IAPWS R7-97(2012), table 35."""
    assert saturation(kelvin) == pytest.approx(pascal, rel=5e-9)


@pytest.mark.parametrize("celsius", [0.01, 10, 20, 30, 40, 50])
def test_saturation_agrees_with_another_formula(celsius: float) -> None:
    """A. L. Buck, J. Applied Meteorology 20 (1981) 1527, as revised in 1996: within 0.04 % between 0 and 50 °C."""
    from math import exp

    buck = 611.21 * exp((18.678 - celsius / 234.5) * celsius / (257.14 + celsius))
    assert saturation(celsius + ZERO) == pytest.approx(buck, rel=6e-4)


@pytest.mark.parametrize(
    ("air", "wanted"), [(dry(99.0, 25), 1.0), (dry(101.325, 15), 0.95341), (dry(95.0, 35), 1.07015)]
)
def test_j1349(air: Air, wanted: float) -> None:
    """SAE J1349 (1990): the reference air gives 1; the others by hand from its formula."""
    assert factor(Rule("SAE J1349"), air) == pytest.approx(wanted, abs=1e-5)


def test_j607_as_a_worked_example_prints_it() -> None:
    """85 °F, 85 % relative humidity, 28.85 inHg: 1.1005 (published example; its vapour table moves digit four)."""
    air = Air((85 - 32) / 1.8 + ZERO, 28.85 * 3386.389, 0.85)
    assert factor(Rule("SAE J607"), air) == pytest.approx(1.1005, abs=1e-3)


def test_iso_1585_and_what_is_forgotten_with_the_vapour() -> None:
    """ISO 1585, spark ignition: 1 at 99 kPa and 298 K; 100.5 kPa, 30 °C, 60 %: 1.0233, and 0.9923 without vapour."""
    rule = Rule("ISO 1585")
    assert factor(rule, Air(298.0, 99e3, 0.0)) == 1
    assert factor(rule, Air(30 + ZERO, 100.5e3, 0.6)) == pytest.approx(1.0233, abs=2e-4)
    assert factor(rule, Air(30 + ZERO, 100.5e3, 0.0)) == pytest.approx(0.9923, abs=2e-4)
    with pytest.raises(Refused, match="air-out-of-range"):
        factor(rule, Air(308.0, 95e3, 0.0))  # 1.07175


@pytest.mark.parametrize(("q", "power"), [(30, 0.2), (50, 0.66), (70, 1.2)])
def test_iso_1585_of_a_diesel(q: float, power: float) -> None:
    """fm by the fuel of a cycle; at its ends 0.2 and 1.2 (limits from memory)."""
    air = dry(95.0, 30)
    rule = Rule("ISO 1585", "compression", fuel=q / 1e3)
    assert factor(rule, air) == pytest.approx((99 / 95 * ((30 + ZERO) / 298) ** 0.7) ** power)
    boosted = Rule("ISO 1585", "compression", "boosted", fuel=q / 1e3)
    assert factor(boosted, air) == pytest.approx(((99 / 95) ** 0.7 * ((30 + ZERO) / 298) ** 1.5) ** power)


def test_iso_3046_as_a_university_exercise_has_it() -> None:
    """96.60 kPa, 45 °C, 80 %, mechanical efficiency 0.85, unboosted diesel: α 0.8368."""
    rule = Rule("ISO 3046-1", "compression", efficiency=0.85)
    assert 1 / factor(rule, Air(45 + ZERO, 96.60e3, 0.8)) == pytest.approx(0.8368, abs=1e-3)
    assert factor(rule, Air(298.0, 100e3, 0.3)) == pytest.approx(1.0, abs=1e-12)


@pytest.mark.parametrize(
    "rule",
    [
        Rule("SAE J1349", "compression"),
        Rule("SAE J607", charging="boosted"),
        Rule("ISO 1585", charging="boosted"),
        Rule("ISO 1585", "compression"),  # the fuel of a cycle is not stated
        Rule("ISO 3046-1", "spark", "boosted"),
        Rule("ISO 3046-1", "compression", "charge-cooled"),  # temperature of the coolant is not stated
    ],
)
def test_what_a_standard_does_not_correct_is_refused(rule: Rule) -> None:
    with pytest.raises(Refused, match="correction-not-known"):
        factor(rule, dry(99.0, 25))


@pytest.mark.parametrize("air", [dry(85.0, 25), dry(99.0, 5), Air(298.0, 3e3, 1.0), Air(298.0, 99e3, 1.2)])
def test_air_out_of_range_is_refused(air: Air) -> None:
    with pytest.raises(Refused, match="air-out-of-range"):
        factor(Rule("SAE J1349"), air)
