"""The channels a run log may have: a closed list, so that a name means one quantity in one unit everywhere."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from sitegen.program.model import LogChannel

_NUMBERED = re.compile(r"(?P<name>.+)_(?P<cylinder>[1-9][0-9]?)")
_REFERENCE = re.compile(r"\([^(),]*,[^()]*\)")  # of a standard flow: (0 degC, 101.325 kPa)
KELVIN = 273.15
ATMOSPHERE = 101325.0  # Pa, standard


@dataclass(frozen=True)
class Channel:
    """One quantity of a log. Samples outside its limits are taken for faults of the sensor and count as missing.

    The limits are common practice, no source: wide enough for any engine with pistons that may be met here.
    """

    name: str
    title: str
    dimensions: tuple[str, ...]  # keys of `units.DIMENSIONS`
    si: str  # unit its samples are kept in
    low: float  # in that unit
    high: float
    each_cylinder: bool = False  # named with the number of its cylinder: `name_3`
    metered: bool = False  # read on a meter of definitions.yaml
    help: str = ""


_FLOW = ("actual flow", "standard flow")
CHANNELS: Mapping[str, Channel] = MappingProxyType(
    {
        each.name: each
        for each in (
            Channel("speed", "Engine speed", ("speed",), "rad/s", -2.0, 1600.0, help="Speed of the crankshaft."),
            Channel("torque", "Torque", ("torque",), "N m", -2e5, 2e5, help="Brake torque; negative while motored."),
            Channel("blowby", "Blow-by", _FLOW, "m3/s", -0.02, 2.0, metered=True,
                    help="Blow-by as its meter shows it, on the meter's own scale."),
            Channel("blowby_2", "Blow-by, second meter", _FLOW, "m3/s", -0.02, 2.0, metered=True,
                    help="Blow-by on a second meter in series."),
            Channel("crankcase_pressure", "Crankcase pressure", ("gauge pressure",), "Pa", -1e5, 2e5,
                    help="Gauge pressure in the crankcase."),
            Channel("oil_pressure", "Oil pressure", ("gauge pressure",), "Pa", -1e5, 3e6,
                    help="Gauge pressure in the main gallery."),
            Channel("oil_temperature", "Oil temperature", ("temperature",), "K", 213.15, 523.15,
                    help="Oil in the sump or the gallery."),
            Channel("coolant_temperature", "Coolant temperature", ("temperature",), "K", 213.15, 473.15,
                    help="Coolant leaving the engine."),
            Channel("intake_temperature", "Intake temperature", ("temperature",), "K", 213.15, 573.15,
                    help="Air or mixture before the intake valves."),
            Channel("ambient_pressure", "Ambient pressure", ("absolute pressure",), "Pa", 5e4, 1.1e5,
                    help="Absolute pressure of the air in the room."),
            Channel("air_temperature", "Air temperature", ("temperature",), "K", 213.15, 343.15,
                    help="Air that the engine breathes, ahead of filter and compressor: full-load pulls are brought to "
                    "reference air by it."),
            Channel("air_humidity", "Air humidity", ("ratio",), "1", 0.0, 1.05,
                    help="Relative, of that air."),
            Channel("blowby_temperature", "Blow-by temperature", ("temperature",), "K", 213.15, 523.15,
                    help="Gas at the blow-by meter."),
            Channel("blowby_pressure", "Blow-by pressure", ("absolute pressure",), "Pa", 5e4, 3e5,
                    help="Absolute pressure at the blow-by meter."),
            Channel("exhaust_temperature", "Exhaust temperature", ("temperature",), "K", 213.15, 1573.15, True,
                    help="Exhaust gas of one cylinder."),
            Channel("peak_pressure", "Peak pressure", ("absolute pressure", "gauge pressure"), "Pa", 0.0, 5e7, True,
                    help="Highest pressure of the cycle in one cylinder, absolute or gauge as its unit says; kept "
                    "absolute, a gauge reading as if made at 101.325 kPa."),
            Channel("demand", "Demand", ("ratio",), "1", -0.05, 1.2,
                    help="What the engine is asked for, as a share of all: throttle, rack or fuelling."),
            Channel("hours", "Engine hours", ("time",), "s", 0.0, 3.6e9,
                    help="Running time as the engine's own counter shows it."),
        )
    }
)  # fmt: skip

# what may be stated for a whole log where it was not logged: conditions that change little through a run
STATED = (
    "ambient_pressure",
    "air_temperature",
    "air_humidity",
    "intake_temperature",
    "blowby_temperature",
    "blowby_pressure",
)
MOST_DRAWN = 40  # channels of one's own in a log


def known(name: str) -> tuple[Channel, int] | None:
    """The channel of a name and its cylinder, 0 where it belongs to the whole engine; None where there is none.

    >>> known("exhaust_temperature_3")[1], known("blowby_2")[1], known("exhaust_temperature"), known("speed_1")
    (3, 0, None, None)
    """
    whole = CHANNELS.get(name)
    if whole is not None:
        return None if whole.each_cylinder else (whole, 0)
    match = _NUMBERED.fullmatch(name)
    one = CHANNELS.get(match["name"]) if match else None
    return (one, int(match["cylinder"])) if match and one is not None and one.each_cylinder else None


def names(cylinders: int) -> list[str]:
    """Every name a log of an engine with that many cylinders may use."""
    made = []
    for each in CHANNELS.values():
        made += [f"{each.name}_{n}" for n in range(1, cylinders + 1)] if each.each_cylinder else [each.name]
    return made


def converter(channel: Channel, unit: str) -> tuple[float, float]:
    """Scale and offset that bring samples written in `unit` to the channel's own: `scale * number + offset`.

    A standard flow is kept as its meter counts it: m3/s at the meter's reference conditions, whichever they are. Where
    a channel is kept absolute and may be written in gauge, one standard atmosphere is added. Raises `units.UnitError`.

    >>> converter(CHANNELS["torque"], "kgf m"), converter(CHANNELS["blowby"], "standard m3/s (20 degC, 1 bar)")
    ((9.80665, 0.0), (1.0, 0.0))
    """
    from sitegen import units

    if not channel.dimensions:  # drawn as written
        return 1.0, 0.0
    if channel.metered:
        text = unit if _REFERENCE.search(unit) is None else _REFERENCE.sub("", unit).strip()
        meant = units.unit(text)
        if "standard" in {meant.nature, units.unit(unit).nature} and meant.vector == units.unit("m3/s").vector:
            return meant.scale, 0.0
        return units.converter(unit, "actual flow")
    fault: units.UnitError | None = None
    for dimension in channel.dimensions:
        try:
            scale, offset = units.converter(unit, dimension)
            above = dimension == "gauge pressure" and "absolute pressure" in channel.dimensions
            return scale, offset + (ATMOSPHERE if above else 0.0)
        except units.UnitError as error:
            fault = fault or error
    raise fault if fault is not None else ValueError(channel.name)


def same_conditions(unit: str, pressure: float, temperature: float) -> bool:
    """Whether the reference conditions a flow unit states are these [Pa], [K]; true where it states none."""
    from sitegen import units

    meant = units.unit(unit)
    if not meant.reference:
        return True
    plain = units.unit(_REFERENCE.sub("", unit).strip()).scale
    own = plain * KELVIN / temperature * pressure / ATMOSPHERE
    return abs(meant.scale / own - 1) < 1e-6


def of(channel: LogChannel) -> Channel:
    """What a channel of a log is. Raises LookupError for a name that `known` does not know."""
    if channel.drawn:
        return Channel(channel.name, channel.drawn, (), channel.unit, -math.inf, math.inf)
    found = known(channel.name)
    if found is None:
        raise LookupError(f"there is no channel {channel.name}")
    return found[0]
