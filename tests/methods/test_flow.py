"""Flow at reference conditions against published and exact figures."""

from __future__ import annotations

import math

import fluids
import numpy as np
import pytest

from sitegen.methods import flow
from sitegen.methods.flow import Design
from sitegen.vocabulary import Refused

ZERO = 273.15  # K
NORMAL = (101_325.0, ZERO)
TWENTY = (100e3, ZERO + 20)


# exact, from the gas law, worked by hand: 98.0 kPa, 45 degC
@pytest.mark.parametrize(("reference", "expected"), [(NORMAL, 0.83038), (TWENTY, 0.90299)])
def test_actual_volume_to_reference(reference: tuple[float, float], expected: float) -> None:
    assert float(flow.to_reference(1.0, 98e3, ZERO + 45, *reference)) == pytest.approx(expected, abs=5e-6)


def test_amount_of_gas_is_kept() -> None:
    # ideal gas at the meter and at the reference: as many moles a second
    found = float(flow.to_reference(2.0, 98e3, ZERO + 45, *TWENTY))
    molar = [fluids.constants.R * t / p for p, t in ((98e3, ZERO + 45), TWENTY)]
    assert 2.0 / molar[0] == pytest.approx(found / molar[1], rel=1e-12)


def test_reference_conditions_of_thermal_meters_are_apart() -> None:
    # exact, by hand: 0 to 20 degC is 293.15/273.15, 7.3 %; to 25 degC 298.15/273.15, 9.2 %
    assert float(flow.between_references(1.0, *NORMAL, 101_325.0, ZERO + 20)) == pytest.approx(1.07322, abs=5e-6)
    assert float(flow.between_references(1.0, *NORMAL, 101_325.0, ZERO + 25)) == pytest.approx(1.09152, abs=5e-6)


def test_float_meter_on_another_gas() -> None:
    # from memory, no source; by hand sqrt(1.293/1.977 x 501.325/301.325 x 293.15/323.15) = 0.9935:
    # air scale, 0.2 MPa gauge, 20 degC; carbon dioxide at 0.4 MPa gauge, 50 degC
    k = float(flow.float_correction("standard", 1.293, 1.977, 0.301325e6, 0.501325e6, ZERO + 20, ZERO + 50))
    assert k == pytest.approx(0.994, abs=5e-4)
    assert 5 * k == pytest.approx(4.97, abs=5e-3)


def test_float_on_actual_volume_goes_with_the_root_of_density() -> None:
    # any text on variable-area meters: velocity past the float sqrt(2 m g / (rho A C)), so volume goes as rho^-1/2
    design = 1.293 * (0.301325e6 / NORMAL[0]) * (ZERO / (ZERO + 20))
    actual = 1.977 * (0.501325e6 / NORMAL[0]) * (ZERO / (ZERO + 50))
    k = float(flow.float_correction("actual", 1.293, 1.977, 0.301325e6, 0.501325e6, ZERO + 20, ZERO + 50))
    assert k == pytest.approx(math.sqrt(design / actual), rel=1e-12)


def test_orifice_agrees_with_fluids() -> None:
    # PyPI fluids, ISO 5167 orifice: the same pressure drop at two densities, mass flow over density is actual volume
    def volume(density: float) -> float:
        mass = fluids.flow_meter.differential_pressure_meter_solver(
            D=0.05, D2=0.03, P1=101e3, P2=100e3, rho=density, mu=1.8e-5, k=1.4, meter_type="ISO 5167 orifice",
            taps="corner",
        )  # fmt: skip
        return float(mass) / density

    air = 1.293 * ZERO / (ZERO + 20)
    warm = 1.293 * ZERO / (ZERO + 60)
    k = float(flow.float_correction("actual", 1.293, 1.293, 101e3, 101e3, ZERO + 20, ZERO + 60))
    assert k == pytest.approx(volume(warm) / volume(air), rel=2e-3)  # its discharge coefficient moves a little


ROOTED = Design(pressure=100e3, temperature=ZERO + 20, density=1.293)
STANDARD = Design(*NORMAL, pressure=100e3, temperature=ZERO + 20, density=1.293)
CASES = [
    # by hand: the gas law; a standard scale of its own; the root of 1/density and then the gas law
    ("positive-displacement", "actual", Design(), 0.90299),
    ("positive-displacement", "standard", Design(*NORMAL), 1.08744),  # 1.01325 x 293.15/273.15
    ("thermal-mass", "standard", Design(*NORMAL), 1.08744),
    ("float", "actual", ROOTED, 0.950258),  # sqrt((100/98)(318.15/293.15)) 0.90299
    ("orifice", "actual", ROOTED, 0.950258),
    ("float", "standard", STANDARD, 1.033360),  # sqrt((98/100)(293.15/318.15)) 1.08744
]


@pytest.mark.parametrize(("principle", "scale", "design", "expected"), CASES)
def test_every_principle_by_hand(principle: flow.Principle, scale: flow.Scale, design: Design, expected: float) -> None:
    found = flow.corrected(
        principle, scale, np.array([1.0, 2.0]), design, reference_pressure=100e3, reference_temperature=ZERO + 20,
        pressure=98e3, temperature=ZERO + 45,
    )  # fmt: skip
    assert list(found) == pytest.approx([expected, 2 * expected], rel=2e-5)


def test_a_float_meter_says_the_same_on_both_scales() -> None:
    # exact: its actual scale times the density of its design is its standard scale
    given = {"reference_pressure": 100e3, "reference_temperature": ZERO + 20, "pressure": 98e3, "temperature": 318.15}
    actual = flow.corrected("float", "actual", 1.0, ROOTED, **given)
    as_standard = float(flow.to_reference(1.0, 100e3, ZERO + 20, *NORMAL))
    assert float(flow.corrected("float", "standard", as_standard, STANDARD, **given)) == pytest.approx(float(actual))


@pytest.mark.parametrize(
    ("principle", "scale", "design", "pressure", "temperature", "code"),
    [
        ("positive-displacement", "actual", Design(), None, 318.0, "flow-pressure-missing"),
        ("positive-displacement", "actual", Design(), 98e3, None, "flow-temperature-missing"),
        ("positive-displacement", "actual", Design(), 98e3, np.full(3, np.nan), "flow-temperature-missing"),
        ("positive-displacement", "standard", Design(reference_pressure=1e5), 98e3, 318.0, "scale-reference-missing"),
        ("thermal-mass", "actual", Design(*NORMAL), 98e3, 318.0, "thermal-on-actual"),
        ("thermal-mass", "standard", Design(), None, None, "scale-reference-missing"),
        ("float", "actual", Design(pressure=1e5, temperature=293.0), 98e3, 318.0, "scale-design-missing"),
        ("orifice", "standard", Design(1e5, 293.0, 1e5, 293.0, 1.29), None, 318.0, "flow-pressure-missing"),
        ("float", "standard", ROOTED, 98e3, 318.0, "scale-reference-missing"),
    ],
)
def test_what_is_missing_is_said(
    principle: flow.Principle,
    scale: flow.Scale,
    design: Design,
    pressure: float | None,
    temperature: flow.Some | None,
    code: str,
) -> None:
    with pytest.raises(Refused) as told:
        flow.corrected(
            principle, scale, np.ones(3), design, reference_pressure=100e3, reference_temperature=293.15,
            pressure=pressure, temperature=temperature,
        )  # fmt: skip
    assert told.value.code == code


def test_share_of_the_volume_swept_by_hand() -> None:
    # 2.0 L four-stroke at 3000 rpm takes in 50 L/s = 3000 L/min; 30 L/min of blow-by is 1 %
    volume, speed = 2e-3, 3000 * 2 * math.pi / 60
    blowby = 30e-3 / 60
    assert float(flow.per_displacement(blowby, volume, speed)) == pytest.approx(0.01)
    assert float(flow.per_displacement(blowby, volume, speed, 2)) == pytest.approx(0.005)
    assert np.isnan(flow.per_displacement(blowby, volume, np.array([0.0])))[0]
