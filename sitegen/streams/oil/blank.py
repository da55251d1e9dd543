"""What an oil record asks for at the engine before anything was drawn."""

from __future__ import annotations

from sitegen.declarations import Blank, PaperTable
from sitegen.program.model import Build, Phase, Program
from sitegen.streams.oil.fields import DRAIN, FILL, FILTER, SAMPLE, TOP_UP

_LINES = 5  # prepared for what is done to the oil of a phase
# Protocol of a sample (common practice, no source): flowing oil, soon after the engine stopped, always from one place.
STEPS = (
    "Draw about 3 minutes after shutdown, always at the same place, after letting the first oil run off.",
    "Weigh what is drawn and what is topped up, and write both into the event log.",
    "Keep the second bottle: all samples can then be analysed in one batch.",
)


def blank(program: Program, build: Build, phase: Phase) -> Blank:
    """The empty record of the oil of one build and phase: the sample drawn at its end, and what is done to the oil.

    What a laboratory finds is not asked for at the engine.
    """
    del program
    sample = f"{build.id}-{phase.id}"
    rows = [{"sample": sample, "what": SAMPLE}]
    asked = ("hours", "on_fill", "since_shutdown", "draw_point", "mass", "remark")
    done = ("what", "hours", "mass", "volume", "remark", "by")
    return Blank(
        rows=rows,
        once=("date", "by", "laboratory", "batch"),
        tables=(
            PaperTable("Sample drawn", ("sample",), asked, rows),
            PaperTable(
                "Oil filled, topped up, drained",
                (),
                done,
                [{} for _ in range(_LINES)],
                {"what": (FILL, TOP_UP, DRAIN, FILTER)},
            ),
        ),
        units={"hours": "h", "on_fill": "h", "since_shutdown": "min", "mass": "g", "density": "kg/L"},
        steps=STEPS,
        labels=(sample,),
    )
