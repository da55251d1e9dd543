"""What a record of pulls asks for before anything was pulled."""

from __future__ import annotations

from sitegen.declarations import Blank, PaperTable
from sitegen.program.model import Build, Phase, Program
from sitegen.streams.pulls.fields import RPM

_ONCE = ("date", "log", "variant", "barometer", "inlet_at", "fuel_lot", "ramp", "compensated")
_STEPS = (
    "Warm up to the same oil and coolant temperature; the first pull of a day warms the rest and is in no mean.",
    "Barometer, inlet temperature and humidity at each pull, read at the cell: a weather report is reduced to the "
    "level of the sea. Write down where the inlet temperature was taken.",
    "Variants take turns by day (ABAB or ABBA): two blocks of days one after the other take a drift for a gain.",
    "Keep every pull. The best one says how many were tried.",
)


def blank(program: Program, build: Build, phase: Phase) -> Blank:
    """The empty table of a day of pulls: a row for each pull and end of a band."""
    del build, phase
    bands = program.power.bands
    speeds = [
        str(speed) for speed in sorted({round(end / RPM) for band in bands for end in (band.low, band.high)})
    ] or [""]
    rows = [{"pull": str(n), "speed": speed} for n in range(1, program.power.pulls + 1) for speed in speeds]
    air = PaperTable(
        "Air and temperatures of each pull",
        ("pull",),
        ("inlet", "humidity", "oil", "coolant", "remark"),
        [{"pull": str(number)} for number in range(1, program.power.pulls + 1)],
    )
    torque = PaperTable("Torque at full load", ("pull", "speed"), ("torque",), rows)
    return Blank(
        rows=rows,
        once=_ONCE,
        tables=(air, torque),
        units={
            "speed": "rpm", "torque": "N m", "barometer": "kPa absolute", "inlet": "degC", "humidity": "%",
            "oil": "degC", "coolant": "degC", "ramp": "rpm/s",
        },
        steps=_STEPS,
        needed=("barometer", "inlet", "humidity"),
    )  # fmt: skip
