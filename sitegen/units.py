"""Quantities with units at the border of the program: text in, SI out.

The spellings are a closed table, so that a unit means one thing, a slip gets a nearest name, and nothing heavy is
imported. Factors follow from definitions that are exact (inch, pound, standard gravity, see `_SIMPLE`); the tests
hold every spelling against NIST SP 811 and a units library.

Gauge and absolute pressure, and actual and standard flow, are different quantities here: where it matters and the
unit does not say which, it is an error.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from types import MappingProxyType
from typing import NamedTuple

from sitegen.problems import listed, nearest, shown

LONGEST_UNIT = 60  # characters


class Vector(NamedTuple):
    """Exponents of length, mass, time, temperature, angle, Vickers hardness and electric current.

    Angle counts as a dimension of its own: it tells speed (rad/s) from frequency and torque (J/rad) from energy.
    """

    length: int = 0
    mass: int = 0
    time: int = 0
    temperature: int = 0
    angle: int = 0
    hardness: int = 0
    current: int = 0

    def times(self, other: Vector, power: int = 1) -> Vector:
        return Vector(*(mine + power * theirs for mine, theirs in zip(self, other, strict=True)))


@dataclass(frozen=True)
class Unit:
    """What a unit's text means: value in SI = scale * number + offset."""

    text: str
    vector: Vector
    scale: float
    offset: float = 0.0
    nature: str = ""  # "gauge", "absolute", "difference", "actual", "standard"; "" not said
    reference: bool = False  # a standard flow that states its reference conditions


@dataclass(frozen=True)
class Dimension:
    """A kind of quantity a program file or a table may ask for."""

    name: str
    si: str  # unit of the numbers `parse` returns
    vector: Vector
    spellings: tuple[str, ...]  # what to write, most usual first
    natures: tuple[str, ...] = ("",)  # natures accepted


class UnitError(ValueError):
    """A text that is no quantity of the kind asked for.

    `code` is `bare-number`, `not-a-quantity`, `unknown-unit`, `wrong-kind-of-unit`, `gauge-or-absolute-unstated`,
    `actual-or-standard-unstated` or `reference-conditions-unstated`.
    """

    def __init__(self, code: str, what: str, expected: str = "", near: str = "") -> None:
        super().__init__(what)
        self.code = code
        self.what = what
        self.expected = expected
        self.nearest = near


_NONE = Vector()
_LENGTH = Vector(length=1)
_MASS = Vector(mass=1)
_TIME = Vector(time=1)
_FORCE = Vector(1, 1, -2)
_PRESSURE = Vector(-1, 1, -2)
_ENERGY = Vector(2, 1, -2)
_POWER = Vector(2, 1, -3)
_TORQUE = Vector(2, 1, -2, angle=-1)
_VOLUME = Vector(length=3)
_FLOW = Vector(length=3, time=-1)
_SPEED = Vector(time=-1, angle=1)
_VOLTAGE = Vector(2, 1, -3, current=-1)

_GAUGE = ("psig", "kPa gauge", "bar gauge", "inH2O gauge")
_ABSOLUTE = ("psia", "kPa absolute", "bar absolute", "inHg absolute")
_ACTUAL = ("ACFM", "actual L/min", "actual m3/h")
_STANDARD = ("standard L/min (0 degC, 101.325 kPa)", "SCFM (60 degF, 14.696 psi)")

DIMENSIONS: Mapping[str, Dimension] = MappingProxyType(
    {
        each.name: each
        for each in (
            Dimension("gauge pressure", "Pa", _PRESSURE, _GAUGE, ("gauge",)),
            Dimension("absolute pressure", "Pa", _PRESSURE, _ABSOLUTE, ("absolute",)),
            Dimension("pressure difference", "Pa", _PRESSURE, ("psi", "kPa", "bar", "inH2O"), ("", "difference")),
            Dimension("length", "m", _LENGTH, ("mm", "um", "m", "km", "in", "thou")),
            Dimension("area", "m2", Vector(length=2), ("mm2", "cm2", "in2")),
            Dimension("mass", "kg", _MASS, ("kg", "g", "mg", "lb")),
            Dimension("temperature", "K", Vector(temperature=1), ("degC", "degF", "K")),
            Dimension("temperature difference", "K", Vector(temperature=1), ("K", "degC", "degF")),
            Dimension("time", "s", _TIME, ("s", "min", "h", "d")),
            Dimension("speed", "rad/s", _SPEED, ("rpm", "rev/s", "rad/s")),
            Dimension("frequency", "Hz", Vector(time=-1), ("Hz",)),
            Dimension("torque", "N m", _TORQUE, ("N m", "lb-ft", "lb-in")),
            Dimension("angular acceleration", "rad/s2", _SPEED.times(_TIME, -1), ("rpm/s", "rad/s2")),
            Dimension("moment of inertia", "kg m2", Vector(length=2, mass=1), ("kg m2",)),
            Dimension("power", "W", _POWER, ("kW", "hp", "PS")),
            Dimension("volume", "m3", _VOLUME, ("L", "mL", "cm3", "qt")),
            Dimension("actual flow", "m3/s", _FLOW, _ACTUAL, ("actual",)),
            Dimension("standard flow", "m3/s at 0 degC, 101.325 kPa", _FLOW, _STANDARD, ("standard",)),
            Dimension("force", "N", _FORCE, ("N", "lbf", "kgf")),
            Dimension("energy", "J", _ENERGY, ("kJ", "MJ", "kWh")),
            Dimension("density", "kg/m3", Vector(length=-3, mass=1), ("kg/L", "kg/m3", "g/cm3")),
            Dimension("hardness", "HV", Vector(hardness=1), ("HV",)),
            Dimension("voltage", "V", _VOLTAGE, ("V",)),
            Dimension("angle", "rad", Vector(angle=1), ("deg", "rad", "turn")),
            Dimension("ratio", "1", _NONE, ("%", "1", "ppm")),
            Dimension("mass fraction", "1", _NONE, ("mg/kg", "ppm", "%")),
            Dimension("kinematic viscosity", "m2/s", Vector(length=2, time=-1), ("cSt", "mm2/s")),
        )
    }
)

# Exact by definition: international yard and pound (1959), standard gravity (CGPM 1901), litre (CGPM 1964), US
# gallon of 231 in3. Columns of mercury and water are the conventional ones of NIST SP 811, appendix B.
_INCH = 0.0254
_POUND = 0.45359237
_GRAVITY = 9.80665
_LBF = _POUND * _GRAVITY
_PSI = _LBF / _INCH**2
_MERCURY = 13595.1 * _GRAVITY  # Pa/m, conventional density of mercury
_WATER = 1000.0 * _GRAVITY  # Pa/m, conventional density of water
_GALLON = 231 * _INCH**3
_BTU = 1055.05585262  # International Table

_CELSIUS = ("degC", "deg C", "C", "deg. C", "degrees C", "Cel", "Celsius", "Grad C", "grad C", "Grad Celsius", "grdC")
_FAHRENHEIT = ("degF", "deg F", "F", "deg. F", "degrees F", "Fahrenheit", "[degF]")

_SIMPLE: Mapping[str, tuple[Vector, float]] = MappingProxyType(
    {
        **dict.fromkeys(("m", "metre", "meter"), (_LENGTH, 1.0)),
        "km": (_LENGTH, 1e3),
        "cm": (_LENGTH, 1e-2),
        "mm": (_LENGTH, 1e-3),
        **dict.fromkeys(("um", "micron"), (_LENGTH, 1e-6)),
        "nm": (_LENGTH, 1e-9),
        **dict.fromkeys(("in", "inch", "inches"), (_LENGTH, _INCH)),
        **dict.fromkeys(("thou", "mil"), (_LENGTH, _INCH / 1000)),
        **dict.fromkeys(("ft", "foot", "feet"), (_LENGTH, 12 * _INCH)),
        **dict.fromkeys(("mi", "mile"), (_LENGTH, 63360 * _INCH)),
        "kg": (_MASS, 1.0),
        "g": (_MASS, 1e-3),
        "mg": (_MASS, 1e-6),
        "ug": (_MASS, 1e-9),
        **dict.fromkeys(("lb", "lbs"), (_MASS, _POUND)),
        "oz": (_MASS, _POUND / 16),
        **dict.fromkeys(("s", "sec", "sec.", "secs", "second", "seconds", "Sek", "Sek."), (_TIME, 1.0)),
        **dict.fromkeys(("ms", "msec"), (_TIME, 1e-3)),
        "us": (_TIME, 1e-6),
        **dict.fromkeys(("min", "min.", "mins", "minute", "minutes", "Min", "Min."), (_TIME, 60.0)),
        **dict.fromkeys(("h", "hr", "hr.", "hrs", "hour", "hours", "Std", "Std."), (_TIME, 3600.0)),
        **dict.fromkeys(("d", "day", "days"), (_TIME, 86400.0)),
        "Hz": (Vector(time=-1), 1.0),
        "K": (Vector(temperature=1), 1.0),
        **dict.fromkeys(_CELSIUS, (Vector(temperature=1), 1.0)),  # the zero point: `_OFFSETS`
        **dict.fromkeys(_FAHRENHEIT, (Vector(temperature=1), 1 / 1.8)),
        **dict.fromkeys(("deg", "degree", "degrees"), (Vector(angle=1), math.pi / 180)),
        "rad": (Vector(angle=1), 1.0),
        **dict.fromkeys(("turn", "turns", "rev"), (Vector(angle=1), 2 * math.pi)),
        **dict.fromkeys(("rpm", "RPM", "r.p.m.", "r/min", "1/min", "min-1", "/min"), (_SPEED, math.pi / 30)),
        **dict.fromkeys(("U/min", "Umdr/min", "Upm", "tr/min"), (_SPEED, math.pi / 30)),
        "U/s": (_SPEED, 2 * math.pi),
        "Pa": (_PRESSURE, 1.0),
        "hPa": (_PRESSURE, 1e2),
        "kPa": (_PRESSURE, 1e3),
        "MPa": (_PRESSURE, 1e6),
        "mbar": (_PRESSURE, 1e2),
        "bar": (_PRESSURE, 1e5),
        "atm": (_PRESSURE, 101325.0),
        "Torr": (_PRESSURE, 101325.0 / 760),
        "psi": (_PRESSURE, _PSI),
        "mmHg": (_PRESSURE, _MERCURY / 1000),
        "inHg": (_PRESSURE, _MERCURY * _INCH),
        **dict.fromkeys(("mmH2O", "mmWS"), (_PRESSURE, _WATER / 1000)),
        "inH2O": (_PRESSURE, _WATER * _INCH),
        "N": (_FORCE, 1.0),
        "kN": (_FORCE, 1e3),
        "mN": (_FORCE, 1e-3),
        "lbf": (_FORCE, _LBF),
        "ozf": (_FORCE, _LBF / 16),
        **dict.fromkeys(("kgf", "kp"), (_FORCE, _GRAVITY)),
        **dict.fromkeys(("N m", "Nm", "N-m", "N.m"), (_TORQUE, 1.0)),
        **dict.fromkeys(
            ("lb-ft", "lb ft", "lbf-ft", "lbf ft", "ft-lb", "ft lb", "ft-lbf", "ft lbf"), (_TORQUE, 12 * _LBF * _INCH)
        ),
        **dict.fromkeys(
            ("lb-in", "lb in", "lbf-in", "lbf in", "in-lb", "in lb", "in-lbf", "in lbf"), (_TORQUE, _LBF * _INCH)
        ),
        **dict.fromkeys(("kgf m", "kgf-m"), (_TORQUE, _GRAVITY)),
        "J": (_ENERGY, 1.0),
        "kJ": (_ENERGY, 1e3),
        "MJ": (_ENERGY, 1e6),
        "GJ": (_ENERGY, 1e9),
        "Wh": (_ENERGY, 3.6e3),
        "kWh": (_ENERGY, 3.6e6),
        "BTU": (_ENERGY, _BTU),
        "W": (_POWER, 1.0),
        "kW": (_POWER, 1e3),
        "MW": (_POWER, 1e6),
        "hp": (_POWER, 550 * 12 * _INCH * _LBF),  # mechanical: 550 ft lbf/s
        "PS": (_POWER, 75 * _GRAVITY),  # metric: 75 kgf m/s
        **dict.fromkeys(("L", "l", "litre", "liter", "ltr"), (_VOLUME, 1e-3)),
        "dL": (_VOLUME, 1e-4),
        **dict.fromkeys(("mL", "ml", "cc", "ccm"), (_VOLUME, 1e-6)),
        "qt": (_VOLUME, _GALLON / 4),  # US liquid
        "gal": (_VOLUME, _GALLON),
        "cfm": (_FLOW, (12 * _INCH) ** 3 / 60),
        "HV": (Vector(hardness=1), 1.0),
        "V": (_VOLTAGE, 1.0),
        "cSt": (Vector(length=2, time=-1), 1e-6),
        **dict.fromkeys(("%", "percent"), (_NONE, 1e-2)),
        "1": (_NONE, 1.0),
        "ppm": (_NONE, 1e-6),
    }
)
_OFFSETS: Mapping[str, float] = MappingProxyType(
    {
        **dict.fromkeys(_CELSIUS, 273.15),
        **dict.fromkeys(_FAHRENHEIT, 459.67 / 1.8),
    }
)
_MARKED: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        "psig": ("psi", "gauge"),
        "psia": ("psi", "absolute"),
        "psid": ("psi", "difference"),
        "barg": ("bar", "gauge"),
        **dict.fromkeys(("barü", "barÜ"), ("bar", "gauge")),
        **dict.fromkeys(("mbarü", "mbarÜ"), ("mbar", "gauge")),
        "mbarg": ("mbar", "gauge"),
        "mbara": ("mbar", "absolute"),
        "bara": ("bar", "absolute"),
        "kPag": ("kPa", "gauge"),
        "kPaa": ("kPa", "absolute"),
        "ACFM": ("cfm", "actual"),
        "acfm": ("cfm", "actual"),
        "SCFM": ("cfm", "standard"),
        "scfm": ("cfm", "standard"),
        "SLPM": ("L/min", "standard"),
        "slpm": ("L/min", "standard"),
    }
)
_NATURES: Mapping[str, tuple[str, Vector]] = MappingProxyType(
    {
        **dict.fromkeys(("g", "gauge", "ü", "Ü"), ("gauge", _PRESSURE)),  # ü: Überdruck
        **dict.fromkeys(("a", "abs", "absolute"), ("absolute", _PRESSURE)),
        "difference": ("difference", _PRESSURE),
        "actual": ("actual", _FLOW),
        "standard": ("standard", _FLOW),
    }
)
_SAME_SIGN = str.maketrans(
    {
        "²": "2",
        "³": "3",
        "·": " ",
        "⋅": " ",
        "*": " ",
        "µ": "u",
        "μ": "u",
        "−": "-",
        "⁻": "-",
        "¹": "1",
        "\u00a0": " ",
        "^": None,
        "º": "°",  # the ordinal sign, often typed for the degree
        "℃": "degC",
        "℉": "degF",
    }
)
# Units of other things, some of them near in writing to one of ours: no slip of the pen is made of them, and no remark.
_FOREIGN: Mapping[str, str] = MappingProxyType(
    {
        **dict.fromkeys(("degdH", "degd", "degDH", "degfH", "dGH"), "the hardness of water"),
        "degE": "viscosity by Engler",
        **dict.fromkeys(("degBe", "degBé", "degAPI"), "density by a hydrometer"),
        **dict.fromkeys(("degBx", "degBrix", "degOe"), "sugar in water"),
        **dict.fromkeys(("kHz", "MHz"), "frequency"),
        **dict.fromkeys(("mV", "kV"), "voltage"),  # "(V)" and "(A)" may be a bank or a side
        **dict.fromkeys(("mA", "Ah"), "electric current"),
        **dict.fromkeys(("Ohm", "kOhm", "Ω"), "electric resistance"),
        **dict.fromkeys(("dB", "dBA", "dB(A)"), "sound"),
        **dict.fromkeys(("%RH", "%rH", "% RH", "% rH"), "humidity of air"),
        **dict.fromkeys(("HRC", "HRB", "HB", "HBW"), "hardness by Rockwell or Brinell"),
        **dict.fromkeys(("HK", "Shore"), "hardness by Knoop or Shore"),
        "pH": "acidity",
    }
)
# What a word at the end of a header, without brackets, cannot mean but a unit: "min", "in" or "C" can.
_ALONE = frozenset(
    (
        "degC", "degF", "rpm", "RPM", "r/min", "rev/min", "1/min", "min-1", "U/min", "tr/min", "bar", "mbar", "hPa",
        "kPa", "MPa", "psi", "psig", "psia", "barg", "bara", "kPag", "kPaa", "mmHg", "inHg", "mmH2O", "inH2O", "mmWS",
        "Nm", "N-m", "kW", "sec", "secs", "ms", "msec", "L/min", "l/min", "m3/h", "mm", "um", "mg/kg", "ppm", "cSt",
    )
)  # fmt: skip
_SUFFIX = re.compile(
    r"(?P<unit>.*\S)"
    r"(?:\s*\((?P<bracket>gauge|absolute|abs|g|a|ü|Ü)\)| (?P<word>gauge|absolute|abs|ü|Ü|actual|standard|difference))"
)
_PREFIX = re.compile(r"(?P<word>actual|standard|gauge|absolute) (?P<unit>.+)")
_REFERENCE = re.compile(r"(?P<unit>[^()]+?) ?\((?P<first>[^(),]+),(?P<second>[^(),]+)\)")
_LOADED = re.compile(r"HV ?[0-9]+(\.[0-9]+)?")  # Vickers with its test load, ISO 6507-1: 640 HV 30
_FACTOR = re.compile(r"(?P<name>[A-Za-z%]+)(?P<power>-?[1-3])?")
_NUMBER = re.compile(r"[-+]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][-+]?[0-9]{1,3})?")


def _plain(text: str) -> str:
    return " ".join(text.translate(_SAME_SIGN).replace("°", "deg").split())


def _product(text: str) -> tuple[Vector, float] | None:
    """Vector and scale of a product of simple units, such as `kg/m3` or `mg/km`; None if it is none."""
    if text in _SIMPLE:
        return _SIMPLE[text]
    over, *under = text.split("/")
    vector, scale = _NONE, 1.0
    for part, sign in [(over, 1), *((each, -1) for each in under)]:
        part = part.strip()
        if part in _SIMPLE:
            vector, scale = vector.times(_SIMPLE[part][0], sign), scale * _SIMPLE[part][1] ** sign
            continue
        if not part:
            return None
        for factor in part.split(" "):
            match = _FACTOR.fullmatch(factor)
            name, power = (factor, 1) if factor in _SIMPLE or not match else (match["name"], int(match["power"] or 1))
            if name not in _SIMPLE:
                return None
            vector = vector.times(_SIMPLE[name][0], sign * power)
            scale *= _SIMPLE[name][1] ** (sign * power)
    return (vector, scale) if math.isfinite(scale) and scale > 0 else None


def _standard(unit: Unit, first: str, second: str) -> Unit:
    """Standard flow brought from its stated reference conditions to 0 degC and 101.325 kPa (ideal gas)."""
    try:
        try:
            temperature, pressure = parse(first, "temperature"), _reference_pressure(second)
        except UnitError:
            temperature, pressure = parse(second, "temperature"), _reference_pressure(first)
    except UnitError:
        temperature = pressure = 0.0
    if temperature <= 0 or pressure <= 0:
        raise UnitError(
            "reference-conditions-unstated",
            f'the reference conditions "({shown(first.strip())}, {shown(second.strip())})" are not understood',
            "a temperature and a pressure, such as (0 degC, 101.325 kPa)",
        )
    return replace(
        unit, scale=unit.scale * 273.15 / temperature * pressure / 101325.0, nature="standard", reference=True
    )


def _reference_pressure(text: str) -> float:
    try:
        return parse(text, "absolute pressure")
    except UnitError as error:
        if error.code != "gauge-or-absolute-unstated":
            raise
        return parse(text, "pressure difference")  # reference conditions are absolute by custom


@lru_cache(maxsize=1024)
def unit(text: str) -> Unit:
    """What a unit's text means.

    Raises UnitError when it is not known.
    """
    found = _known(text)
    plain = _plain(text[: LONGEST_UNIT + 1])
    if not plain:
        raise UnitError("bare-number", "there is no unit")
    if found is None and (kind := foreign(text)):
        raise UnitError("unknown-unit", f'"{shown(text.strip())}" is a unit of {kind}')
    if found is None:
        raise UnitError(
            "unknown-unit", f'"{shown(text.strip())}" is not a known unit', near=nearest(plain, spellings())
        )
    return found


def _known(text: str) -> Unit | None:
    plain = _plain(text[: LONGEST_UNIT + 1])
    found = _understood(plain) if plain and len(text) <= LONGEST_UNIT else None
    return found and replace(found, text=text)


def _understood(plain: str) -> Unit | None:
    if plain in _MARKED:
        base, nature = _MARKED[plain]
        found = _understood(base)
        return found and replace(found, nature=nature)
    if _LOADED.fullmatch(plain):
        plain = "HV"
    product = _product(plain)
    if product:
        return Unit(plain, *product, offset=_OFFSETS.get(plain, 0.0))
    match = _REFERENCE.fullmatch(plain)
    if match:
        found = _understood(match["unit"])
        if found and found.vector == _FLOW and found.nature in {"", "standard"}:
            return _standard(found, match["first"], match["second"])
        return None
    match = _SUFFIX.fullmatch(plain) or _PREFIX.fullmatch(plain)
    if match:
        said = match.groupdict()
        nature, vector = _NATURES[said.get("word") or said["bracket"]]
        found = _understood(said["unit"])
        if found and found.vector == vector and not found.nature:
            return replace(found, nature=nature)
    return None


def spellings() -> tuple[str, ...]:
    """Every simple spelling, and those the kinds of quantity propose."""
    proposed = (each for dimension in DIMENSIONS.values() for each in dimension.spellings)
    return tuple(sorted({*_SIMPLE, *_MARKED, *proposed}))


def kind_of(known: Unit) -> str:
    """Name of the kind of quantity a unit belongs to; "" where it has none."""
    if known.vector == _PRESSURE and not known.nature:
        return "pressure"
    for dimension in DIMENSIONS.values():
        if dimension.vector == known.vector and known.nature in dimension.natures:
            return dimension.name
    if known.vector == _FLOW:
        return "flow"
    return ""


def _fitting(known: Unit, dimension: Dimension) -> Unit:
    written = shown(known.text.strip())
    expected = f"a unit of {dimension.name}, such as {listed(dimension.spellings)}"
    if known.vector != dimension.vector:
        kind = kind_of(known) or "something else"
        raise UnitError("wrong-kind-of-unit", f'"{written}" is a unit of {kind}, not of {dimension.name}', expected)
    if known.nature not in dimension.natures:
        if known.nature:
            said = f"{known.nature} {'pressure' if known.vector == _PRESSURE else 'flow'}"
            if known.nature == "difference":
                said = "pressure difference"
            raise UnitError("wrong-kind-of-unit", f'"{written}" is a unit of {said}, not of {dimension.name}', expected)
        if known.vector == _PRESSURE:
            code, pair = "gauge-or-absolute-unstated", "gauge or absolute"
        else:
            code, pair = "actual-or-standard-unstated", "actual or standard"
        raise UnitError(code, f'"{written}" does not say {pair}', expected)
    if known.nature == "standard" and not known.reference:
        raise UnitError(
            "reference-conditions-unstated", f'"{written}" does not state its reference conditions', expected
        )
    if dimension.name == "temperature difference":
        return replace(known, offset=0.0)
    return known


@lru_cache(maxsize=1024)  # asked for every number that is shown
def converter(unit_text: str, dimension: str) -> tuple[float, float]:
    """Scale and offset that bring numbers in a unit to SI: `scale * numbers + offset`, also for whole columns.

    Raises UnitError when the unit is missing, unknown or of another kind, KeyError for an unknown dimension.

    >>> converter("degC", "temperature")
    (1.0, 273.15)
    """
    kind = DIMENSIONS[dimension]
    try:
        known = _fitting(unit(unit_text), kind)
    except UnitError as error:
        if error.code in {"bare-number", "unknown-unit"}:
            expected = f"a unit of {kind.name}, such as {listed(kind.spellings)}"
            raise UnitError(error.code, error.what, expected, error.nearest) from None
        raise
    return known.scale, known.offset


def split(text: str) -> tuple[float, str]:
    """Number and unit text of a quantity; the unit is "" for a bare number.

    Raises UnitError when it does not start with a number.

    >>> split("0.018 in")
    (0.018, 'in')
    """
    stripped = text.strip()
    match = _NUMBER.match(stripped)
    if not match:
        raise UnitError("not-a-quantity", f'"{shown(stripped)}" does not start with a number', "a number and its unit")
    rest = stripped[match.end() :]
    if rest[:1] in {",", ".", "/"} and rest[1:2].isdigit():
        raise UnitError(
            "not-a-quantity",
            f'"{shown(stripped)}" is not a plain number',
            "a decimal point and no fraction, such as 0.5",
        )
    number = float(match[0])
    if not math.isfinite(number):
        raise UnitError("not-a-quantity", f'"{shown(stripped)}" is too large a number', "a finite number")
    return number, rest.strip()


def parse(text: str, dimension: str) -> float:
    """The quantity in SI (see `DIMENSIONS[dimension].si`).

    Raises UnitError when the text is no quantity of that dimension, KeyError for an unknown dimension.

    >>> round(parse("0.040 in", "length"), 9)
    0.001016
    """
    kind = DIMENSIONS[dimension]
    example = f"a number with a unit of {kind.name}: {listed(kind.spellings)}"
    try:
        number, unit_text = split(text)
    except UnitError as error:
        raise UnitError(error.code, error.what, error.expected if "point" in error.expected else example) from None
    if not unit_text:
        raise UnitError("bare-number", f'"{shown(text.strip())}" has no unit', example)
    scale, offset = converter(unit_text, dimension)
    value = number * scale + offset
    if not math.isfinite(value):
        raise UnitError("not-a-quantity", f'"{shown(text.strip())}" is too large a number', "a finite number")
    return value


def convert(text: str, unit_text: str) -> float:
    """The quantity as a number in another unit of the same kind; a bare number only where that unit is `1`.

    Raises UnitError when the kinds differ or either unit is not known.

    >>> round(convert("0.0005 in2", "mm2"), 6)
    0.32258
    """
    wanted = unit(unit_text)
    number, written = split(text)
    if not written and wanted.vector == _NONE and wanted.scale == 1:
        return number
    if not written:
        raise UnitError(
            "bare-number", f'"{shown(text.strip())}" has no unit', f"a number with its unit, such as {unit_text}"
        )
    given = unit(written)
    if (given.vector, given.nature) != (wanted.vector, wanted.nature):
        mine = kind_of(given) or "something else"
        theirs = kind_of(wanted) or "the kind measured here"
        raise UnitError(
            "wrong-kind-of-unit",
            f'"{shown(written)}" is a unit of {mine}, not of {theirs}',
            f"a unit such as {unit_text}",
        )
    if (given.scale, given.offset) == (wanted.scale, wanted.offset):
        return number
    value = (number * given.scale + given.offset - wanted.offset) / wanted.scale
    if not math.isfinite(value):
        raise UnitError("not-a-quantity", f'"{shown(text.strip())}" is too large a number', "a finite number")
    return value


def foreign(text: str) -> str:
    """What a text is a unit of, where that is nothing any field is given in; "" of all else.

    >>> foreign("°dH"), foreign("°C"), foreign("sensor 3")
    ('the hardness of water', '', '')
    """
    return _FOREIGN.get(_plain(text[: LONGEST_UNIT + 1]), "")


def alone(text: str) -> bool:
    """Whether a word that ends a header, without brackets, can be nothing but a unit.

    >>> alone("°C"), alone("min")
    (True, False)
    """
    return _plain(text[: LONGEST_UNIT + 1]) in _ALONE


def agree(written: str, stated: str, *, difference: bool = False, flow: bool = False) -> bool:
    """Whether a unit that a file names is the one stated for it; a remark that is no unit says nothing against it.

    Of a `difference` of temperatures the zero does not count; of a `flow` the reference conditions may stand in one
    of the two alone.

    >>> agree("°C", "degC"), agree("kPa", "kPa gauge"), agree("mm", "g"), agree("sump", "degC"), agree("°dH", "degC")
    (True, True, False, True, False)
    >>> agree("g", "kPa gauge"), agree("g", "mm"), agree("1", "degC"), agree("1", "%")
    (True, False, True, False)
    """
    try:
        mine = unit(stated)
    except UnitError:
        return True  # told where it is stated
    if mine.vector == _PRESSURE and written in _NATURES:  # "Druck (g)"
        return not mine.nature or mine.nature == _NATURES[written][0]
    if written.isdecimal() and mine.vector != _NONE:
        return True  # the number of a sensor
    try:
        theirs = unit(written)
    except UnitError:
        return not foreign(written)
    if mine.vector != theirs.vector or (theirs.nature and mine.nature and theirs.nature != mine.nature):
        return False
    same = theirs.scale == mine.scale and (difference or theirs.offset == mine.offset)
    return same or (flow and theirs.reference != mine.reference)


@lru_cache(maxsize=4096)  # every header is asked; saying what is near to one that is none takes most of the time
def is_unit(text: str) -> bool:
    """Whether a text is a unit known here.

    >>> is_unit("kPa"), is_unit("kPo")
    (True, False)
    """
    try:
        return _known(text) is not None
    except UnitError:
        return False


def from_si(value: float, unit_text: str, dimension: str = "") -> float:
    """An SI number in a unit, for printing.

    The dimension matters only for a temperature difference, whose zero is not the unit's. Raises UnitError.

    >>> round(from_si(551581, "psig"), 3)
    80.0
    """
    known = unit(unit_text)
    offset = 0.0 if dimension == "temperature difference" else known.offset
    return (value - offset) / known.scale
