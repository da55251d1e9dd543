"""The closed list of channels, in the program file and in its schema."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from sitegen import places, units
from sitegen.problems import as_text
from sitegen.program import channels
from sitegen.program.folder import load
from sitegen.program.model import Address, LogTime

FOLDER = Path(__file__).parents[1] / "accepted" / "run-logs"


def test_the_schema_has_the_channels_of_the_code() -> None:
    rules = json.loads((places.schemas() / "runlog.schema.json").read_text(encoding="utf-8"))
    found = rules["properties"]["channels"]
    whole = {name: each for name, each in channels.CHANNELS.items() if not each.each_cylinder}
    assert list(found["properties"]) == list(whole)
    for name, each in whole.items():
        rule = found["properties"][name]
        assert (rule["title"], rule["description"]) == (each.title, each.help)
        assert rule["$ref"].endswith("/flow_channel" if each.metered else "/channel")
    cylinders = [name for name, each in channels.CHANNELS.items() if each.each_cylinder]
    assert [rule["title"] for rule in found["patternProperties"].values()] == [f"{name}_N" for name in cylinders]
    for pattern, name in zip(found["patternProperties"], cylinders, strict=True):
        fits = {n for n in range(40) if re.search(pattern, f"{name}_{n}")}
        assert fits == set(range(1, 25)) == {n for n in range(1, 25) if channels.known(f"{name}_{n}")}


@pytest.mark.parametrize("each", channels.CHANNELS.values(), ids=channels.CHANNELS)
def test_every_channel_has_units_and_limits(each: channels.Channel) -> None:
    assert each.low < each.high
    for dimension in each.dimensions:
        assert units.DIMENSIONS[dimension].si.split(" at ")[0] == each.si


@pytest.mark.parametrize(
    ("name", "unit", "number", "si"),
    [
        ("speed", "rpm", 955.0, 100.0),  # 9549.297 / 100: kW = N m x rpm / 9549.297
        ("torque", "lb-ft", 1.0, 1.355818),  # NIST SP 811, table B.8: foot pound-force to joule
        ("torque", "kgf m", 1.0, 9.80665),  # the same
        ("oil_pressure", "bar gauge", 3.2, 3.2e5),
        ("ambient_pressure", "inHg absolute", 1.0, 3386.389),  # the same: conventional inch of mercury
        ("peak_pressure", "bar absolute", 60.0, 6.0e6),
        ("peak_pressure", "bar gauge", 60.0, 6.0e6 + 101325),  # the same, table B.8: standard atmosphere
        ("oil_temperature", "degF", 212.0, 373.15),
        ("blowby", "ACFM", 1.0, 4.719474e-4),  # the same: cubic foot per minute
        ("blowby", "L/min actual", 60.0, 1e-3),
        # a standard flow stays as its meter counts it, whatever the conditions beside its unit
        ("blowby", "standard L/min (20 degC, 100 kPa)", 60.0, 1e-3),
        ("blowby", "SLPM", 60.0, 1e-3),
    ],
)
def test_samples_in_si(name: str, unit: str, number: float, si: float) -> None:
    scale, offset = channels.converter(channels.CHANNELS[name], unit)
    assert scale * number + offset == pytest.approx(si, rel=1e-4)


@pytest.mark.parametrize(
    ("name", "unit", "code"),
    [
        ("torque", "J", "wrong-kind-of-unit"),
        ("torque", "kWh", "wrong-kind-of-unit"),
        ("blowby", "L/min", "actual-or-standard-unstated"),
        ("blowby", "standard rpm", "unknown-unit"),
        ("crankcase_pressure", "mbar", "gauge-or-absolute-unstated"),
        ("crankcase_pressure", "mbar absolute", "wrong-kind-of-unit"),
        ("peak_pressure", "bar", "gauge-or-absolute-unstated"),
        ("speed", "1/s", "wrong-kind-of-unit"),
    ],
)
def test_units_that_do_not_fit(name: str, unit: str, code: str) -> None:
    with pytest.raises(units.UnitError) as found:
        channels.converter(channels.CHANNELS[name], unit)
    assert found.value.code == code


def test_logs_and_meters_of_a_program() -> None:
    made, problems = load(FOLDER)
    assert made is not None, as_text(problems)
    first, second, third, fourth = made.programs[0].logs
    assert (first.file, first.engine, first.phase, first.header_rows) == ("logs/b1-pulls.csv", "B1", "pulls", 2)
    assert (first.separator, first.decimal, first.skip_rows, first.units_row) == ("semicolon", ",", 3, True)
    assert first.time is not None
    assert (first.time.kind, first.time.at, first.time.unit) == ("elapsed", (Address("Time"),), "s")
    own = {channel.name: channel for channel in first.channels}
    assert own["blowby"].meter == "M1"
    assert own["exhaust_temperature_4"].time is not None
    assert own["exhaust_temperature_4"].time.unit == "ms"
    assert second.time is not None
    assert (second.time.kind, second.time.at) == ("date-and-time", (Address("Date"), Address("Time")))
    assert third.time is None
    assert fourth.time == LogTime("elapsed", (), "ms")
    assert {channel.name: (channel.at, channel.drawn) for channel in fourth.channels} == {
        "speed": (Address("n", number=2), ""),
        "oil_temperature": (Address("T", which=1), ""),
        "coolant_temperature": (Address(number=6), ""),
        "torque": (Address(left_of=Address("Rest")), ""),
        "mixture": (Address("Lambda"), "Mixture"),
    }
    assert fourth.constants == pytest.approx({"ambient_pressure": 100300.0, "intake_temperature": 294.15})
    meters = made.definitions.meters
    assert meters["M1"].low == pytest.approx(2e-3 / 60)
    assert meters["M1"].time_constant == 1.5
    assert meters["M2"].reference_temperature == pytest.approx(293.15)
    assert (meters["M3"].design_pressure, meters["M3"].design_density) == pytest.approx((3e5, 1.293))
