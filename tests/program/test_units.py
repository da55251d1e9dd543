"""Units against NIST Special Publication 811 (2008), appendix B, and against the `pint` library."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitegen import units

# NIST SP 811 (2008), appendix B.8 (alphabetical) and B.9 (by kind): "to convert from ... to ... multiply by". Printed
# to seven significant digits; those in bold type there are exact. Typed from memory of that table; the comparison
# with pint below is the second leg.
NIST = [
    ("psi", "pressure difference", 6.894757e3),  # pound-force per square inch
    ("inHg", "pressure difference", 3.386389e3),  # inch of mercury, conventional
    ("mmHg", "pressure difference", 1.333224e2),  # millimeter of mercury, conventional
    ("inH2O", "pressure difference", 2.490889e2),  # inch of water, conventional
    ("mmH2O", "pressure difference", 9.80665),  # millimeter of water, conventional
    ("bar", "pressure difference", 1.0e5),
    ("atm", "pressure difference", 1.01325e5),
    ("in", "length", 2.54e-2),
    ("ft", "length", 3.048e-1),
    ("mil", "length", 2.54e-5),
    ("thou", "length", 2.54e-5),
    ("in2", "area", 6.4516e-4),
    ("in3", "volume", 1.638706e-5),
    ("ft3", "volume", 2.831685e-2),
    ("qt", "volume", 9.463529e-4),  # quart (U.S. liquid)
    ("gal", "volume", 3.785412e-3),  # gallon (U.S.)
    ("lb", "mass", 4.535924e-1),  # avoirdupois
    ("oz", "mass", 2.834952e-2),  # avoirdupois
    ("lbf", "force", 4.448222),
    ("ozf", "force", 2.780139e-1),
    ("kgf", "force", 9.80665),
    ("lb-ft", "torque", 1.355818),  # pound-force foot
    ("lb-in", "torque", 1.129848e-1),  # pound-force inch
    ("kgf m", "torque", 9.80665),
    ("hp", "power", 7.456999e2),  # horsepower (550 ft lbf/s)
    ("PS", "power", 7.354988e2),  # horsepower (metric)
    ("BTU", "energy", 1.055056e3),  # International Table
    ("kWh", "energy", 3.6e6),
    ("rpm", "speed", 1.047198e-1),  # revolution per minute
    ("deg", "angle", 1.745329e-2),
    ("lb/ft3", "density", 1.601846e1),
    ("lb/gal", "density", 1.198264e2),
    ("ACFM", "actual flow", 4.719474e-4),  # cubic foot per minute
]


@pytest.mark.parametrize(("unit", "dimension", "factor"), NIST)
def test_factor_of_nist_sp_811(unit: str, dimension: str, factor: float) -> None:
    scale, offset = units.converter(unit, dimension)
    assert scale == pytest.approx(factor, rel=5e-7)  # seven digits printed
    assert offset == 0.0


def test_temperatures() -> None:
    """Fixed points: ITS-90 triple point of water 0.01 degC = 273.16 K; NIST SP 811 B.8, T/K = (t/degF + 459.67)/1.8."""
    assert units.parse("0.01 degC", "temperature") == pytest.approx(273.16)
    assert units.parse("-40 degF", "temperature") == pytest.approx(units.parse("-40 degC", "temperature"))
    assert units.parse("212 °F", "temperature") == pytest.approx(373.15)
    assert units.parse("9 degF", "temperature difference") == pytest.approx(5.0)
    assert units.parse("5 degC", "temperature difference") == 5.0


def test_spellings_against_pint() -> None:
    """Every simple spelling agrees with a general-purpose units library."""
    import pint

    registry: pint.UnitRegistry[float] = pint.UnitRegistry()
    names = {
        "um": "micrometer", "micron": "micrometer", "thou": "thou", "mil": "thou",
        "rpm": "rpm", "RPM": "rpm", "r/min": "rpm", "1/min": "rpm", "min-1": "rpm", "h": "hour", "d": "day",
        "rev": "turn", "turns": "turn", "inHg": "inch_Hg", "mmHg": "mmHg", "inH2O": "conventional_water * inch * g_0",
        "mmH2O": "conventional_water * millimeter * g_0", "N m": "newton * meter", "Nm": "newton * meter",
        "N-m": "newton * meter", "kgf m": "kgf * meter", "kgf-m": "kgf * meter", "hp": "horsepower",
        "PS": "metric_horsepower", "BTU": "Btu_it", "qt": "quart", "gal": "gallon", "cfm": "foot ** 3 / minute",
        "percent": "percent", "%": "percent", "1": "dimensionless", "ozf": "ounce_force", "lbs": "pound",
        "inches": "inch", "cc": "milliliter", "conventional_water": "", "hr": "hour", "hr.": "hour", "hrs": "hour",
        "sec.": "second", "secs": "second", "Sek": "second", "Sek.": "second", "us": "microsecond", "Min": "minute",
        "Min.": "minute", "Std": "hour", "Std.": "hour", "r.p.m.": "rpm", "/min": "rpm", "U/min": "rpm", "Upm": "rpm",
        "Umdr/min": "rpm", "tr/min": "rpm", "U/s": "turn / second", "Torr": "torr", "kp": "kgf",
        "N.m": "newton * meter", "ltr": "liter", "ccm": "milliliter", "mmWS": "conventional_water * millimeter * g_0",
        **dict.fromkeys(units._CELSIUS, "delta_degC"), **dict.fromkeys(units._FAHRENHEIT, "delta_degF"),
        "min.": "minute", "mins": "minute", "msec": "millisecond",
    }  # fmt: skip
    feet = {"lb-ft", "lb ft", "lbf-ft", "lbf ft", "ft-lb", "ft lb", "ft-lbf", "ft lbf"}
    inches = {"lb-in", "lb in", "lbf-in", "lbf in", "in-lb", "in lb", "in-lbf", "in lbf"}
    compared = 0
    for spelling in units._SIMPLE:
        if spelling == "HV":  # a number on a scale, not a unit any library knows
            continue
        name = (
            "lbf * foot" if spelling in feet else "lbf * inch" if spelling in inches else names.get(spelling, spelling)
        )
        if "conventional_water" in name:
            name = name.replace("conventional_water", "1000 * kilogram / meter ** 3")  # its density by convention
        theirs = registry.Quantity(1, name) if not name.startswith("1000") else registry.parse_expression(name)
        assert units.unit(spelling).scale == pytest.approx(theirs.to_base_units().magnitude, rel=1e-6), spelling
        compared += 1
    assert compared > 100


@pytest.mark.parametrize(
    ("text", "dimension", "expected"),
    [
        ("80 psig", "gauge pressure", 551580.6),  # 80 psi, NIST SP 811
        ("80psig", "gauge pressure", 551580.6),
        ("551.5806 kPa gauge", "gauge pressure", 551580.6),
        ("5.515806 bar(g)", "gauge pressure", 551580.6),
        ("14.695949 psia", "absolute pressure", 101325.0),  # standard atmosphere
        ("29.92126 inHg absolute", "absolute pressure", 101325.0),
        ("1013.25 mbar abs", "absolute pressure", 101325.0),
        ("0.040 in", "length", 1.016e-3),
        ("40 thou", "length", 1.016e-3),
        ("20 µm", "length", 2e-5),  # micro sign
        ("20 μm", "length", 2e-5),  # Greek letter
        ("0.35 mm²", "area", 3.5e-7),
        ("0.35 mm^2", "area", 3.5e-7),
        ("1800 rpm", "speed", 60 * math.pi),
        ("1800 1/min", "speed", 60 * math.pi),
        ("30 N·m", "torque", 30.0),
        ("0.885 kg/L", "density", 885.0),
        ("885 kg/m³", "density", 885.0),
        ("640 HV 30", "hardness", 640.0),  # designation of ISO 6507-1, subclause on test results
        ("1100 HV0.1", "hardness", 1100.0),
        ("12 %", "ratio", 0.12),
        ("250 ppm", "ratio", 2.5e-4),
        ("1e3 mm", "length", 1.0),
        ("180 deg", "angle", math.pi),
        ("36 actual L/min", "actual flow", 6e-4),
        ("36 L/min actual", "actual flow", 6e-4),
        ("60 standard L/min (0 degC, 101.325 kPa)", "standard flow", 1e-3),
        ("60 standard L/min (101.325 kPa, 0 degC)", "standard flow", 1e-3),
        # ideal gas: 20 degC and 100 kPa of reference hold 273.15/293.15*100/101.325 of the gas
        ("60 L/min (20 degC, 100 kPa absolute)", "standard flow", 1e-3 * 0.931774 * 0.986923),
        ("1 SCFM (60 degF, 14.696 psi)", "standard flow", 4.719474e-4 * 491.67 / 519.67 * 14.696 * 6894.757 / 101325),
    ],
)  # fmt: skip
def test_parse(text: str, dimension: str, expected: float) -> None:
    assert units.parse(text, dimension) == pytest.approx(expected, rel=2e-6)


@pytest.mark.parametrize(
    ("text", "dimension", "code", "said"),
    [
        ("80 psi", "gauge pressure", "gauge-or-absolute-unstated", "psig"),
        ("30 inHg", "absolute pressure", "gauge-or-absolute-unstated", "inHg absolute"),
        ("80 psia", "gauge pressure", "wrong-kind-of-unit", "psig"),
        ("2 psig", "pressure difference", "wrong-kind-of-unit", "psi"),
        ("36 L/min", "actual flow", "actual-or-standard-unstated", "ACFM"),
        ("36 cfm", "standard flow", "actual-or-standard-unstated", "SCFM"),
        ("36 SCFM", "standard flow", "reference-conditions-unstated", "0 degC"),
        ("36 ACFM", "standard flow", "wrong-kind-of-unit", "standard"),
        ("36 SCFM (60 degF)", "standard flow", "unknown-unit", "standard"),
        ("36 SCFM (60 mm, 3 kPa)", "standard flow", "reference-conditions-unstated", "101.325 kPa"),
        ("87.5", "length", "bare-number", "mm"),
        ("87.5 kg", "length", "wrong-kind-of-unit", "mm"),
        ("80 nm", "torque", "wrong-kind-of-unit", "N m"),
        ("80 kJ", "torque", "wrong-kind-of-unit", "N m"),
        ("80 N m", "energy", "wrong-kind-of-unit", "kJ"),
        ("2 furlongs", "length", "unknown-unit", "mm"),
        ("nan mm", "length", "not-a-quantity", "mm"),
        ("inf mm", "length", "not-a-quantity", "mm"),
        ("1e999 mm", "length", "not-a-quantity", ""),
        ("1 GJ3/nm3", "length", "wrong-kind-of-unit", "mm"),
        ("٣ mm", "length", "not-a-quantity", "mm"),
        ("1/2 in", "length", "not-a-quantity", "decimal point"),
        ("1,5 mm", "length", "not-a-quantity", "decimal point"),
        ("", "length", "not-a-quantity", "mm"),
        ("5 " + "m" * 1000, "length", "unknown-unit", "mm"),
    ],
)
def test_refused(text: str, dimension: str, code: str, said: str) -> None:
    with pytest.raises(units.UnitError) as caught:
        units.parse(text, dimension)
    assert caught.value.code == code
    assert said in caught.value.expected


def test_wrong_kind_names_both_kinds() -> None:
    with pytest.raises(units.UnitError, match='"kg" is a unit of mass, not of length'):
        units.converter("kg", "length")


def test_nearest_unit() -> None:
    with pytest.raises(units.UnitError) as caught:
        units.converter("rmp", "speed")
    assert caught.value.nearest == "rpm"


@pytest.mark.parametrize("name", units.DIMENSIONS)
def test_what_a_dimension_proposes_is_accepted(name: str) -> None:
    for spelling in units.DIMENSIONS[name].spellings:
        scale, _ = units.converter(spelling, name)
        assert scale > 0
        assert units.kind_of(units.unit(spelling)) in {name, "pressure", "temperature", "length", "ratio"}


def test_columns_convert_at_once() -> None:
    import numpy

    scale, offset = units.converter("degF", "temperature")
    assert (scale * numpy.array([32.0, 212.0]) + offset).tolist() == pytest.approx([273.15, 373.15])


@given(st.floats(-1e6, 1e6), st.sampled_from([row[0] for row in NIST] + ["degC", "degF"]))
def test_there_and_back(value: float, unit: str) -> None:
    known = units.unit(unit)
    assert units.from_si(value * known.scale + known.offset, unit) == pytest.approx(value, abs=1e-6)


def test_from_si_of_a_difference() -> None:
    assert units.from_si(5.0, "degF", "temperature difference") == pytest.approx(9.0)
    assert units.from_si(273.15, "degC") == 0.0


def test_convert() -> None:
    assert units.convert("0.35 mm2", "mm²") == 0.35  # same unit: the number as written
    assert units.convert("2.5 %", "%") == 2.5
    assert units.convert("0.8", "1") == 0.8
    assert units.convert("80 %", "1") == pytest.approx(0.8)
    assert units.convert("2 mg/km", "g/km") == pytest.approx(0.002)
    for text, unit in (("0.35 mm", "mm2"), ("0.35", "mm2"), ("5 psig", "psia"), ("5 %", "mm2"), ("x", "mm2")):
        with pytest.raises(units.UnitError):
            units.convert(text, unit)


@given(st.text(max_size=80), st.sampled_from(sorted(units.DIMENSIONS)))
def test_any_text_is_a_number_or_a_unit_error(text: str, dimension: str) -> None:
    for spoken in (text, f"1 {text}"):
        try:
            value = units.parse(spoken, dimension)
        except units.UnitError:
            continue
        assert math.isfinite(value)
