"""What a record of pressure decays may say: a row is one sample of one decay of one cylinder.

Limits catch slips of unit and of pen.
"""

from __future__ import annotations

from sitegen.tables.rows import Recorded, Written
from sitegen.vocabulary import Field


def _volume(name: str, title: str, told: str) -> Field:
    return Field(name, title, "number", "m3", "volume", low=0, high=0.1, help=told)


FIELDS: tuple[Field, ...] = (
    Field("reading", "Reading", "id", help="An id of its own; left out, the name of the file and the line make it."),
    Field("engine", "Build", "id", refers="engine", required=True, help="Id of the build."),
    Field("cylinder", "Cylinder", "integer", refers="cylinder", required=True),
    Field("phase", "Phase", "id", refers="phase", required=True, help="Id of the phase the decay belongs to."),
    Field("repeat", "Repeat", "integer", low=1, high=99, beforehand=True,
          help="Number of the decay: vented, engine turned over twice, dead centre found again, charged anew."),
    Field("time", "Time", "number", "s", "time", low=-3600, high=86400, required=True,
          help="Since the supply was closed; samples before, below zero, are not used."),
    Field("pressure", "Pressure", "number", "Pa", "gauge pressure", low=-20e3, high=3e6, required=True,
          help="In the cylinder.", by="instrument"),
    _volume("volume", "Volume", "Of the closed cylinder where the piston stands, chamber and all. Without it cylinders "
            "are set beside each other only."),
    _volume("hose_volume", "Volume of the hose", "Of hose, fitting and sensor, up to the closed valve; 0 where there "
            "is none. It empties too."),
    _volume("volume_limit", "Limit of error of the volume", "Of both together."),
    Field("oil", "Oil", "word", words=("dry", "wet"), beforehand=True,
          help="Wet: oil was put into the cylinder first. Empty is dry."),
    Field("crank", "Crank", "word", words=("tdc", "before-tdc", "after-tdc", "bdc"), beforehand=True,
          help="Where the piston stood. Only dead centre at the top (or empty) is set beside the leak-down area."),
    Field("locked", "Locked", "yes-no", help="Whether the crankshaft was held against the pressure."),
    Field("metal_temperature", "Metal temperature", "number", "K", "temperature", low=220, high=600,
          help="The gas is taken to be as warm."),
    Field("ambient", "Ambient pressure", "number", "Pa", "absolute pressure", low=50e3, high=115e3, beforehand=True),
    Field("air_temperature", "Air temperature", "number", "K", "temperature", low=220, high=350, beforehand=True),
    Field("instrument", "Sensor", "id", refers="tool", help="Id of the pressure gauge.", example="gauge-1"),
    Field("date", "Date", "date", help="Day of the decay; decides whether the sensor's calibration was in force."),
    Field("operator", "Operator", "text", beforehand=True),
    Field("remark", "Remark", "text"),
)  # fmt: skip


class Reading(Recorded):
    """One reading, with the fields above as attributes."""

    __slots__ = ()
    cylinder: float
    repeat: float
    time: float
    pressure: float
    volume: float
    hose_volume: float
    volume_limit: float
    oil: Written
    crank: Written
    locked: Written
    metal_temperature: float
    ambient: float
    air_temperature: float
    instrument: Written
    date: Written
    operator: Written
    remark: Written
