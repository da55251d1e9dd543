"""What a record of engine friction asks for before anything was driven."""

from __future__ import annotations

from sitegen.declarations import Blank, PaperTable
from sitegen.page import words
from sitegen.program.model import Build, Phase, Program
from sitegen.streams.friction.fields import MOTORED, RPM

_ONCE = ("date", "variant", "method", "plugs", "throttle", "instrument", "operator")


def blank(program: Program, build: Build, phase: Phase) -> Blank:
    """The empty table of one day: a row for each run and speed."""
    del build, phase
    rule = program.friction
    speeds = [f"{speed / RPM:.0f}" for speed in rule.speeds] or [""]
    rows = [
        {"run": str(run), "speed": speed, "method": MOTORED, "plugs": rule.plugs, "throttle": rule.throttle}
        for run in range(1, rule.runs + 1)
        for speed in speeds
    ]
    rows = [{name: text for name, text in row.items() if text} for row in rows]
    driven = PaperTable(
        "Torque that drives the engine", ("run", "speed"),
        ("torque", "oil_temperature", "coolant_temperature", "remark"), rows,
    )  # fmt: skip
    at = ""
    if rule.oil_temperature is not None:
        low, high = (rule.oil_temperature - 273.15 + side * rule.oil_band for side in (-1, 1))
        at = f"{words.number(low, 1)} to {words.number(high, 1)} °C"
    return Blank(
        rows=rows,
        once=_ONCE,
        tables=(driven,),
        units={
            "speed": "rpm", "torque": "N m", "oil_temperature": "degC", "coolant_temperature": "degC",
            "inertia": "kg m2", "inertia_error": "kg m2",
        },
        beside={"oil_temperature": at} if at else {},
        steps=(
            "Warm up until the oil in the gallery stands at its temperature, and read it at every speed: off by 1 K a "
            "reading is left out.",
            "Ignition off, fuel shut and locked out before anything turns the engine; plugs and throttle the same on "
            "all days.",
            f"At least three days a build: the runs of one day share it, {words.count(rule.runs)} of them or thirty.",
            "A run down: couple the same masses each time, begin 300 rpm above the fastest speed, log the speed 50 "
            "times a second or more, and write the name of its file into the row.",
        ),
        needed=("run", "speed", "torque", "oil_temperature"),
    )  # fmt: skip
