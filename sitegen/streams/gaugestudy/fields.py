"""What a record of a gauge study may say: a row is one reading of one object by one operator, set up anew.

Limits catch slips of unit and of pen, as those of leak-down records do.
"""

from __future__ import annotations

from sitegen.tables.rows import Recorded, Written
from sitegen.vocabulary import Field

FIELDS: tuple[Field, ...] = (
    Field("reading", "Reading", "id", help="An id of its own; left out, the name of the file and the line make it."),
    Field("study", "Study", "text", required=True, beforehand=True, example="G1",
          help="Name of the study: its readings are analysed together."),
    Field("operator", "Operator", "text", required=True, beforehand=True, help="Who read it."),
    Field("tester", "Tester", "id", refers="tester", required=True, help="Id of the two-gauge tester."),
    Field("engine", "Build", "id", refers="engine", help="Of a cylinder: id of its build."),
    Field("phase", "Phase", "id", refers="phase", help="Check at which the study was made."),
    Field("cylinder", "Cylinder", "integer", refers="cylinder", help="Where a cylinder was read."),
    Field("reference", "Reference orifice", "id", refers="reference", help="Where a reference orifice was read."),
    Field("standard", "Leak standard", "text", beforehand=True, example="L2",
          help="Where a leak standard was read: its name. A hole that stays as it is; its size need not be known."),
    Field("label", "Label", "text", beforehand=True, example="7",
          help="What the operator saw in place of the object's name, where the study was blind."),
    Field("repeat", "Repeat", "integer", low=1, high=99, required=True, beforehand=True,
          help="Number of this operator's readings of this object."),
    Field("anew", "Set up anew", "yes-no",
          help="Pressure off, hose off, engine turned over twice, dead centre found again. No: it is no repeat."),
    Field("order", "Order", "integer", low=1, high=9999, beforehand=True,
          help="Place of the reading among those of its operator, as they were taken."),
    Field("blind", "Blind", "yes-no", beforehand=True,
          help="Whether the operator knew neither which object it was nor what was read before."),
    Field("supply", "Supply pressure", "number", "Pa", "gauge pressure", required=True, low=20e3, high=2e6,
          help="Upstream gauge while air flows."),
    Field("pressure", "Cylinder gauge", "number", "Pa", "gauge pressure", low=0, high=2e6, help="Downstream gauge."),
    Field("percent", "Leak as read", "number", "%", "ratio", low=0, high=100,
          help="Of a tester with a percent scale, as read: 0 is no leak."),
    Field("ambient", "Ambient pressure", "number", "Pa", "absolute pressure", low=50e3, high=115e3, beforehand=True),
    Field("date", "Date", "date"),
    Field("remark", "Remark", "text"),
)  # fmt: skip


class Reading(Recorded):
    """One reading, with the fields above as attributes."""

    __slots__ = ()
    study: str
    operator: str
    tester: str
    engine: Written  # type: ignore[assignment] # a leak standard is in none
    phase: Written  # type: ignore[assignment]
    cylinder: float
    reference: Written
    standard: Written
    label: Written
    repeat: float
    anew: Written
    order: float
    blind: Written
    supply: float
    pressure: float
    percent: float
    ambient: float
    date: Written
    remark: Written
