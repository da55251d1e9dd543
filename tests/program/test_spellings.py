"""Every spelling of a unit that is known, by where it is from. What is added to the table gets its source here.

SI: SI Brochure, 9th edition (2019), tables 2, 4 and 8, and the prefixes of table 7; bar and mmHg as in table 8 of the
8th edition (2006). UCUM: The Unified Code for Units of Measure, version 2.1, its case-sensitive codes. NIST: SP 811
(2008), appendix B. All three from memory. Practice: common practice of the trade, no source.
"""

from __future__ import annotations

import math

import pytest

from sitegen import units


def of(text: str) -> list[str]:
    return [each.strip() for each in text.split(",")]


SI = of("""m, km, cm, mm, um, nm, metre, kg, g, mg, ug, s, ms, us, min, h, d, second, minute, hour, day, K, degC, deg C,
    rad, deg, degree, N, kN, mN, Pa, hPa, kPa, MPa, bar, mbar, mmHg, J, kJ, MJ, GJ, W, kW, MW, L, l, dL, mL, ml, litre,
    N m, V, %, 1, min-1, 1/min, Hz""")
UCUM = of("Cel, [degF], /min")
NIST = of("""meter, liter, atm, psi, inHg, inH2O, mmH2O, lbf, ozf, kgf, in, inch, ft, foot, mi, mile, mil, lb, oz, qt,
    gal, hp, BTU, Wh, kWh, cSt, Torr, ppm, rev, turn, degF, deg F, lbf ft, lbf in, kgf m""")
PRACTICE = of("""sec, sec., secs, seconds, msec, Sek, Sek., min., mins, minutes, Min, Min., hr, hr., hrs, hours, Std,
    Std., days, inches, feet, micron, thou, lbs, degrees, turns, rpm, RPM, r.p.m., r/min, U/min, Umdr/min, Upm, tr/min,
    U/s, C, F, Celsius, Fahrenheit, grdC, deg. C, degrees C, Grad C, grad C, Grad Celsius, deg. F, degrees F, kp, Nm,
    N-m, N.m, lb-ft, lb ft, lbf-ft, ft-lb, ft lb, ft-lbf, ft lbf, lb-in, lb in, lbf-in, in-lb, in lb, in-lbf, in lbf,
    kgf-m, PS, cc, ccm, ltr, cfm, mmWS, HV, percent""")
MARKED = {  # of which kind, and one of it in SI; practice throughout
    "psig": ("gauge pressure", 6894.757293), "psia": ("absolute pressure", 6894.757293),
    "psid": ("pressure difference", 6894.757293), "barg": ("gauge pressure", 1e5), "barü": ("gauge pressure", 1e5),
    "barÜ": ("gauge pressure", 1e5), "mbarü": ("gauge pressure", 100.0), "mbarÜ": ("gauge pressure", 100.0),
    "bara": ("absolute pressure", 1e5), "mbarg": ("gauge pressure", 100.0), "mbara": ("absolute pressure", 100.0),
    "kPag": ("gauge pressure", 1e3), "kPaa": ("absolute pressure", 1e3), "ACFM": ("actual flow", 4.719474432e-4),
    "acfm": ("actual flow", 4.719474432e-4),
}  # fmt: skip
WITHOUT_CONDITIONS = {"SCFM", "scfm", "SLPM", "slpm"}  # standard flow: 1 cubic foot or litre a minute of it


def test_every_spelling_has_its_source() -> None:
    listed = [*SI, *UCUM, *NIST, *PRACTICE]
    assert len(listed) == len(set(listed))
    assert set(listed) == set(units._SIMPLE)
    assert {*MARKED, *WITHOUT_CONDITIONS} == set(units._MARKED)


@pytest.mark.parametrize("spelling", MARKED)
def test_a_mark_of_gauge_or_absolute_is_part_of_the_unit(spelling: str) -> None:
    dimension, size = MARKED[spelling]
    scale, offset = units.converter(spelling, dimension)
    assert scale == pytest.approx(size, rel=1e-9)
    assert offset == 0.0


@pytest.mark.parametrize("spelling", sorted(WITHOUT_CONDITIONS))
def test_a_standard_flow_asks_for_its_conditions(spelling: str) -> None:
    with pytest.raises(units.UnitError) as told:
        units.converter(spelling, "standard flow")
    assert told.value.code == "reference-conditions-unstated"


SAME = {  # written in ways of signs and letters that look alike, and what they are
    "temperature": ("°C", "º C", "℃", "° C", "degC", "Cel", "Grad C"),
    "speed": ("1/min", "min-1", "min⁻¹", "min^-1", "min−1", "U/min", "rev/min", "r/min", "/min", "rpm"),
    "torque": ("N m", "N·m", "N⋅m", "N*m", "Nm", "N.m"),
    "time": ("sec", "secs", "Sek.", "s"),
    "kinematic viscosity": ("mm²/s", "mm^2/s", "mm2/s", "cSt"),
    "gauge pressure": (
        "bar(g)",
        "bar (g)",
        "bar gauge",
        "barg",
        "barü",
        "gauge bar",
        "bar ü",
        "bar Ü",
        "bar(ü)",
        "bar (ü)",
        "bar(Ü)",
        "bar (Ü)",
        "barÜ",
    ),
    "absolute pressure": ("hPa abs", "hPa(a)", "hPa (a)", "hPa (abs)", "mbar absolute", "mbara"),
    "length": ("µm", "μm", "um"),  # U+00B5 and U+03BC
}


@pytest.mark.parametrize("dimension", SAME)
def test_one_unit_however_it_is_typed(dimension: str) -> None:
    first, *rest = (units.converter(text, dimension) for text in SAME[dimension])
    assert all(each == pytest.approx(first, rel=1e-12) for each in rest)


def test_rpm_by_its_definition() -> None:
    assert units.converter("U/min", "speed")[0] == pytest.approx(2 * math.pi / 60, rel=1e-15)


FOREIGN = {
    "°dH": "water", "°fH": "water", "°E": "Engler", "°API": "hydrometer", "°Bx": "sugar", "kHz": "frequency",
    "mV": "voltage", "dB(A)": "sound", "% RH": "humidity", "HRC": "Rockwell", "pH": "acidity",
}  # fmt: skip


@pytest.mark.parametrize("text", FOREIGN)
def test_a_neighbour_in_writing_is_refused_by_name(text: str) -> None:
    """German degrees of water hardness are no temperature, HRC is no Vickers; nothing near is offered for them."""
    for dimension in units.DIMENSIONS:
        with pytest.raises(units.UnitError) as told:
            units.converter(text, dimension)
        assert FOREIGN[text] in told.value.what
        assert (told.value.code, told.value.nearest) == ("unknown-unit", "")


@pytest.mark.parametrize(
    "text", ["°", "°X", "Grad", "Bar", "PSI", "Kpa", "secc", "1/mn", "degK", "lpm", "kg/cm2 gauge", "bar g a"]
)
def test_what_is_no_unit_of_ours_is_refused(text: str) -> None:
    """ "Grad" is an angle of 0.9 degrees or the word for degree; "lpm" does not say actual or standard."""
    for dimension in ("temperature", "gauge pressure", "time", "speed", "actual flow"):
        with pytest.raises(units.UnitError):
            units.converter(text, dimension)


def test_no_word_a_header_may_end_in_is_taken_for_its_unit() -> None:
    """ "Druck min" is the least of a pressure, "Temp. in" that at the inlet, "Temp. C" that of sensor C."""
    for word in (
        "min",
        "in",
        "C",
        "F",
        "K",
        "g",
        "m",
        "s",
        "h",
        "d",
        "1",
        "%",
        "max",
        "a",
        "l",
        "N",
        "rev",
        "deg",
        "PS",
        "F",
    ):
        assert not units.alone(word), word
    assert all(units.is_unit(each) for each in units._ALONE)
