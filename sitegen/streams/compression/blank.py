"""What the sheet of a compression test asks for before anything is cranked."""

from __future__ import annotations

from sitegen.declarations import Blank, PaperTable
from sitegen.program.model import Build, Phase, Program

REPEATS = 2  # rows prepared for each cylinder
_STEPS = (  # common practice, no source
    "All plugs out, battery charged, the throttle the same for all. As many strokes for every cylinder, six or more, "
    "until the gauge no longer rises.",
    "Write down the cranking speed of each reading: without it no cylinder is set beside another.",
    "A repeat: gauge vented, engine cranked anew. Reading the gauge again is none.",
    "Dry first, all cylinders. Then, if at all, with a few mL of oil, measured: write down how much.",
)


def blank(program: Program, build: Build, phase: Phase) -> Blank:
    """The empty record of one test: each cylinder with its repeats."""
    del program, phase
    rows = [{"cylinder": str(place.cylinder), "repeat": str(n + 1)} for place in build.places for n in range(REPEATS)]
    asked = ("pressure", "strokes", "cranking_speed", "battery", "oil", "oil_added", "remark")
    return Blank(
        rows=rows,
        once=("date", "operator", "instrument", "throttle", "oil_temperature", "ambient"),
        tables=(PaperTable("Cranking pressures", ("cylinder", "repeat"), asked, rows),),
        units={
            "pressure": "kPa gauge", "cranking_speed": "rpm", "battery": "V", "oil_added": "mL",
            "oil_temperature": "degC", "ambient": "kPa absolute",
        },
        steps=_STEPS,
        needed=("cylinder", "pressure", "cranking_speed", "strokes", "throttle", "oil_added"),
    )  # fmt: skip
