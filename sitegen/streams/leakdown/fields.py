"""What a leak-down record may say. Limits catch slips of unit and of pen; they are wide and judge no engine."""

from __future__ import annotations

from math import pi

from sitegen.tables.rows import Recorded, Written
from sitegen.vocabulary import Field

PATHS = ("crankcase", "exhaust", "intake", "coolant", "neighbour", "plug")

_TOLD = {
    "crankcase": "past the rings, heard or felt at the breather or filler",
    "exhaust": "past the exhaust valves",
    "intake": "past the intake valves",
    "coolant": "into the coolant, past the head gasket or through a crack",
    "neighbour": "into the next cylinder, past the head gasket",
    "plug": "past the seal of the adapter or plug",
}

FIELDS: tuple[Field, ...] = (
    Field("reading", "Reading", "id", help="An id of its own; left out, the name of the file and the line make it."),
    Field("engine", "Build", "id", refers="engine", required=True, help="Id of the build."),
    Field(
        "cylinder", "Cylinder", "integer", refers="cylinder", help="Empty where a reference orifice was read instead."
    ),
    Field("phase", "Phase", "id", refers="phase", required=True, help="Id of the phase the reading belongs to."),
    Field(
        "repeat",
        "Repeat",
        "integer",
        low=1,
        high=99,
        help="Pressure off, engine turned over twice, dead centre found again. Reading the gauge again is none.",
        beforehand=True,
    ),
    Field("tester", "Tester", "id", refers="tester", required=True, help="Id of the two-gauge tester."),
    Field(
        "reference",
        "Reference orifice",
        "id",
        refers="reference",
        help="Id of the reference orifice read in the cylinder's place: calibrates the tester that day.",
    ),
    Field(
        "supply",
        "Supply pressure",
        "number",
        "Pa",
        "gauge pressure",
        required=True,
        low=20e3,
        high=2e6,
        help="Upstream gauge while air flows, not before the hose is coupled.",
        by="tester",
        gauge="supply",
    ),
    Field(
        "pressure",
        "Cylinder gauge",
        "number",
        "Pa",
        "gauge pressure",
        low=0,
        high=2e6,
        help="Downstream gauge.",
        by="tester",
        gauge="cylinder",
    ),
    Field(
        "percent",
        "Leak as read",
        "number",
        "%",
        "ratio",
        low=0,
        high=100,
        help="Of a tester with a percent scale, as read: 0 is no leak.",
        by="tester",
        gauge="cylinder",
    ),
    Field(
        "crank",
        "Crank",
        "word",
        words=("tdc", "before-tdc", "after-tdc", "bdc"),
        help="Where the piston stood: the ring sees another part of the bore in each. Needed for every cylinder.",
        beforehand=True,
    ),
    Field(
        "crank_angle", "Crank angle", "number", "rad", "angle", low=-4 * pi, high=4 * pi, help="After top dead centre."
    ),
    Field(
        "approached",
        "Approached",
        "word",
        words=("running-direction", "turned-back-half-turn", "other"),
        help="How the position was reached: it decides on which flank the rings lie.",
    ),
    Field("locked", "Locked", "yes-no", help="Whether the crankshaft was held against the pressure."),
    Field(
        "turns",
        "Turns since the last test",
        "number",
        low=0,
        high=1e9,
        help="Turns of the crankshaft.",
        beforehand=True,
    ),
    Field(
        "condition",
        "Condition",
        "word",
        words=("cold", "warm"),
        help="Temperature state of the metal.",
        beforehand=True,
    ),
    Field("metal_temperature", "Metal temperature", "number", "K", "temperature", low=220, high=600),
    Field("since_shutdown", "Time since shutdown", "number", "s", "time", low=0, high=3e7),
    Field(
        "oil",
        "Oil",
        "word",
        words=("dry", "wet"),
        help="Wet: oil was put into the cylinder first. Empty is dry.",
        beforehand=True,
    ),
    Field("wait", "Wait", "number", "s", "time", low=0, high=86400, help="Time from opening the supply to reading."),
    Field("ambient", "Ambient pressure", "number", "Pa", "absolute pressure", low=50e3, high=115e3, beforehand=True),
    Field("air_temperature", "Air temperature", "number", "K", "temperature", low=220, high=350, beforehand=True),
    *(
        Field(
            f"to_{path}",
            f"Share to {path}",
            "number",
            "%",
            "ratio",
            low=0,
            high=100,
            help=f"Part of the leak that went {_TOLD[path]}.",
        )
        for path in PATHS
    ),
    Field(
        "crankcase_flow",
        "Crankcase flow",
        "number",
        "m3/s",
        "actual flow",
        low=0,
        high=0.1,
        help="Out of the sealed crankcase through the blow-by meter during the test, at ambient conditions.",
    ),
    Field("date", "Date", "date", help="Day of the reading; decides whether the tester's calibration was in force."),
    Field("operator", "Operator", "text", beforehand=True),
    Field("remark", "Remark", "text"),
)


class Reading(Recorded):
    """One reading, with the fields above as attributes."""

    __slots__ = ()
    cylinder: float
    repeat: float
    tester: str
    reference: Written
    supply: float
    pressure: float
    percent: float
    crank: Written
    crank_angle: float
    approached: Written
    locked: Written
    turns: float
    condition: Written
    metal_temperature: float
    since_shutdown: float
    oil: Written
    wait: float
    ambient: float
    air_temperature: float
    to_crankcase: float
    to_exhaust: float
    to_intake: float
    to_coolant: float
    to_neighbour: float
    to_plug: float
    crankcase_flow: float
    date: Written
    operator: Written
    remark: Written
