"""What an event log asks for before anything has happened."""

from __future__ import annotations

from sitegen.declarations import Blank, PaperTable
from sitegen.program.model import Build, Phase, Program
from sitegen.streams.events.fields import CHECK, HAPPENED, SEEN, TIGHT

_EVENTS, _METERS = 4, 2  # lines prepared: one page with its cautions
_WITHOUT_METERS = 2  # of the steps
_STEPS = (
    "Every stop and every start gets a line, planned or not: the log of the run has to agree with it.",
    "Of a stop write the cause and what was done before the restart; oil added goes onto the oil sheet, weighed.",
    "A meter check: engine stopped, fuel and ignition locked out, meter parted from the breather; apply a flow of "
    "clean air to it and say whether it moved. While the engine runs only by a line laid for that, from outside the "
    "cell, with a flame arrester between it and the engine, where the site's competent person has released it.",
    "A crankcase check: engine stopped and locked out, breather closed off, air from a regulator with a relief valve, "
    "no more than the engine maker allows and no longer than it takes; say whether seals, covers and dipstick are "
    "tight. Then let the air out and open the breather: write down that it is open before the engine starts.",
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
        needed=("what", "at", *(("meter", "moved", "tight") if metered else ())),
        steps=_STEPS if metered else _STEPS[:_WITHOUT_METERS],
    )
