"""What a record of a compression test may say. Limits catch slips of unit and of pen; they judge no engine."""

from __future__ import annotations

from sitegen.tables.rows import Recorded, Written, given
from sitegen.vocabulary import Field

FIELDS: tuple[Field, ...] = (
    Field("reading", "Reading", "id", help="An id of its own; left out, the name of the file and the line make it."),
    Field("engine", "Build", "id", refers="engine", required=True, help="Id of the build."),
    Field("cylinder", "Cylinder", "integer", refers="cylinder", required=True),
    Field("phase", "Phase", "id", refers="phase", required=True, help="Id of the phase the reading belongs to."),
    Field("repeat", "Repeat", "integer", low=1, high=99, beforehand=True,
          help="Gauge vented and the engine cranked anew. Reading the gauge again is none."),
    Field("pressure", "Pressure", "number", "Pa", "gauge pressure", low=50e3, high=10e6, required=True,
          help="What the gauge holds after the strokes.", by="instrument"),
    Field("strokes", "Strokes", "integer", low=1, high=60, beforehand=True,
          help="Compression strokes of this cylinder that were cranked."),
    Field("cranking_speed", "Cranking speed", "number", "rad/s", "speed", low=3, high=120,
          help="Without it the reading is set beside no other."),
    Field("throttle", "Throttle", "word", words=("open", "closed", "none"), beforehand=True,
          help="none: an engine without one."),
    Field("battery", "Battery", "number", "V", "voltage", low=4, high=60, help="While cranking."),
    Field("oil_temperature", "Oil temperature", "number", "K", "temperature", low=220, high=450),
    Field("oil", "Oil", "word", words=("dry", "wet"), beforehand=True,
          help="Wet: oil was put into the cylinder first. Empty is dry."),
    Field("oil_added", "Oil put in", "number", "m3", "volume", low=0, high=1e-4,
          help="Of a wet reading: how much. It takes room in the chamber, which alone raises the pressure."),
    Field("ambient", "Ambient pressure", "number", "Pa", "absolute pressure", low=50e3, high=115e3, beforehand=True),
    Field("instrument", "Gauge", "id", refers="tool", help="Id of the pressure gauge.", example="gauge-1"),
    Field("date", "Date", "date", help="Day of the reading; decides whether the gauge's calibration was in force."),
    Field("operator", "Operator", "text", beforehand=True),
    Field("remark", "Remark", "text"),
)  # fmt: skip


class Reading(Recorded):
    """One reading, with the fields above as attributes."""

    __slots__ = ()
    cylinder: float
    repeat: float
    pressure: float
    strokes: float
    cranking_speed: float
    throttle: Written
    battery: float
    oil_temperature: float
    oil: Written
    oil_added: float
    ambient: float
    instrument: Written
    date: Written
    operator: Written
    remark: Written


def state(row: Reading) -> str:
    """Place of a reading inside its phase: "" dry, "wet" after oil was put in."""
    return "wet" if row.oil == "wet" or (given(row.oil_added) and row.oil_added > 0) else ""
