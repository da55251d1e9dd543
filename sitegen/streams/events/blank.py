"""What an event log asks for before anything has happened."""

from __future__ import annotations

from sitegen.declarations import Blank, PaperTable
from sitegen.program.model import Build, Phase, Program
from sitegen.streams.events.fields import CHECK, HAPPENED, SEEN, TIGHT

_EVENTS, _METERS = 6, 3  # lines prepared: one page
_STEPS = (
    "Every stop and every start gets a line, planned or not: the log of the run has to agree with it.",
    "Of oil added write the weight, of a stop the cause and what was done before the restart.",
    "A meter check: apply a flow to the meter while the engine runs, and say whether it moved. A crankcase check: "
    "close the breather off, and say whether seals, covers and dipstick are tight.",
)


def blank(program: Program, build: Build, phase: Phase) -> Blank:
    """The empty event log of one build in one phase: lines for what happens, and for its meters."""
    del build, phase
    metered = bool(program.definitions.meters)
    happened = PaperTable(
        "What happened",
        (),
        ("at", "what", "cylinder", "lasted", "remark", "by"),
        [{} for _ in range(_EVENTS)],
        {"what": HAPPENED},
    )
    meters = PaperTable(
        "Meters and crankcase: checked, or read by eye",
        (),
        ("at", "what", "meter", "moved", "tight", "flow", "behaviour", "remark", "by"),
        [{} for _ in range(_METERS)],
        {"what": (CHECK, SEEN, TIGHT)},
    )
    return Blank(
        rows=[{} for _ in range(_EVENTS)],
        once=("date",),
        tables=(happened, meters) if metered else (happened,),
        units={"at": "min", "lasted": "min", "flow": "actual L/min"},
        steps=_STEPS if metered else _STEPS[:2],
    )
