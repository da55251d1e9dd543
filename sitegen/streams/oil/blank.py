"""What an oil record asks for at the engine before anything was drawn."""

from __future__ import annotations

from sitegen.declarations import Blank, PaperTable
from sitegen.program.model import Build, Phase, Program
from sitegen.streams.oil.fields import CUSTODY, DRAIN, FILL, FILTER, SAMPLE, TOP_UP

_LINES = 5  # prepared for what is done to the oil of a phase
# Protocol of a sample (common practice, no source): flowing oil, soon after the engine stopped, always from one place.
STEPS = (
    "Draw about 3 minutes after shutdown, always at the same place, after letting the first oil run off.",
    "Weigh all oil that is filled, topped up, drawn and drained, and write it here with the running hours: what the "
    "engine consumed and the metal it made follow from these masses.",
    "Keep the second bottle: all samples can then be analysed in one batch. Seal both; the label says until "
    "when it is kept.",
)


def blank(program: Program, build: Build, phase: Phase) -> Blank:
    """The empty record of the oil of one build and phase: the sample drawn at its end, and what is done to the oil.

    No sample where none is planned. What a laboratory finds is not asked for at the engine.
    """
    del program
    sample = f"{build.id}-{phase.id}"
    rows = [{"sample": sample, "what": SAMPLE}] if "oil" in phase.records else []
    asked = ("hours", "on_fill", "since_shutdown", "draw_point", "mass", "remark")
    custody = tuple(name for name in CUSTODY if name not in {"received", "analysed"})  # those the laboratory tells
    done = ("what", "hours", "mass", "volume", "remark", "by")
    return Blank(
        rows=[*rows, *({} for _ in range(_LINES))],
        once=("date", "by", "laboratory", "batch") if rows else ("date", "by"),
        tables=(
            *((PaperTable("Sample drawn", ("sample",), asked, rows),) if rows else ()),
            *((PaperTable("Its custody", ("sample",), custody, rows),) if rows else ()),
            PaperTable(
                "Oil filled, topped up, drained",
                (),
                done,
                [{} for _ in range(_LINES)],
                {"what": (FILL, TOP_UP, DRAIN, FILTER)},
            ),
        ),
        units={"hours": "h", "on_fill": "h", "since_shutdown": "min", "mass": "g", "density": "kg/L"},
        steps=STEPS if rows else STEPS[1:2],
        labels=(sample,) if rows else (),
        needed=("what", "hours", "mass"),
    )
