"""What an event may say: a row is one thing that happened, was checked or was read by eye during a run."""

from __future__ import annotations

from sitegen.tables.rows import Recorded, Written
from sitegen.vocabulary import Field

CHECK, SEEN, TIGHT = "meter-check", "meter-reading", "crankcase-check"
HAPPENED = (
    "stop", "restart", "knock", "overheat", "low-oil", "top-up", "oil-change", "meter-change", "leak", "smoke",
    "adjusted", "other",
)  # fmt: skip
BEHAVIOUR = ("steady", "moving", "bouncing")
OF_METERS = ("meter", "moved", "flow", "behaviour")

FIELDS: tuple[Field, ...] = (
    Field("reading", "Reading", "id", help="An id of its own; left out, the name of the file and the line make it."),
    Field("engine", "Build", "id", refers="engine", required=True, help="Id of the build."),
    Field("phase", "Phase", "id", refers="phase", required=True, help="The phase it happened in."),
    Field(
        "at",
        "At",
        "number",
        "s",
        "time",
        low=0,
        high=3.6e7,
        help="Time since the run of this phase began, stops counted in; left out where it was not noted.",
    ),
    Field("what", "What", "word", words=(*HAPPENED, CHECK, SEEN, TIGHT), required=True, help="What happened."),
    Field("cylinder", "Cylinder", "integer", refers="cylinder", help="Where it concerns one cylinder."),
    Field("lasted", "Lasted", "number", "s", "time", low=0, high=3.6e7, help="How long it lasted."),
    Field("meter", "Meter", "id", refers="meter", help="Of a meter check or a reading by eye: id of the meter."),
    Field(
        "moved",
        "Moved",
        "yes-no",
        help="Of a meter check: did the meter answer to a flow applied while the engine ran?",
    ),
    Field(
        "flow",
        "Flow",
        "number",
        "m3/s",
        "actual flow",
        low=0,
        high=0.1,
        help="Of a reading by eye: as the meter's scale shows it, converted to nothing.",
        by="meter",
    ),
    Field("behaviour", "Behaviour", "word", words=BEHAVIOUR, help="Of a reading by eye: how float or ball stood."),
    Field(
        "tight",
        "Tight",
        "yes-no",
        help="Of a crankcase check: with the breather closed off, did nothing leak at seals, covers and dipstick?",
    ),
    Field("by", "By", "text", help="Who wrote it down.", beforehand=True),
    Field("date", "Date", "date"),
    Field("remark", "Remark", "text"),
)


class Reading(Recorded):
    """One reading, with the fields above as attributes."""

    __slots__ = ()
    at: float
    what: str
    cylinder: float
    lasted: float
    meter: Written
    moved: Written
    flow: float
    behaviour: Written
    tight: Written
    by: Written
    date: Written
    remark: Written
