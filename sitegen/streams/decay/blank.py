"""What the sheet of pressure decays asks for: the samples themselves are logged, not written by hand."""

from __future__ import annotations

from sitegen.declarations import Blank, PaperTable
from sitegen.program.model import Build, Phase, Program

REPEATS = 2
_STEPS = (  # common practice, no source
    "Piston at top dead centre, crankshaft locked; charge to the supply pressure of the leak-down, wait, close the "
    "valve nearest to the cylinder: that is time zero.",
    "Log at least 35 samples in a time constant: 100 a second or more for a chamber of 50 mL, until half of the gauge "
    "pressure is left.",
    "Volumes of the closed cylinder and of the hose up to the valve, each by filling them or from drawings, with what "
    "they may be off by.",
    "A repeat: vented, engine turned over twice, dead centre found again, charged anew.",
)


def blank(program: Program, build: Build, phase: Phase) -> Blank:
    """The empty record: each cylinder with its repeats; a row a sample is pasted in from the log."""
    del program, phase
    rows = [{"cylinder": str(place.cylinder), "repeat": str(n + 1)} for place in build.places for n in range(REPEATS)]
    asked = ("time", "pressure", "metal_temperature", "locked", "remark")
    return Blank(
        rows=rows,
        once=("date", "operator", "instrument", "ambient", "air_temperature", "volume", "hose_volume", "volume_limit"),
        tables=(PaperTable("Decays: one sample of each, to find it in the log", ("cylinder", "repeat"), asked, rows),),
        units={
            "time": "s", "pressure": "kPa gauge", "volume": "mL", "hose_volume": "mL", "volume_limit": "mL",
            "metal_temperature": "degC", "air_temperature": "degC", "ambient": "kPa absolute",
        },
        steps=_STEPS,
        needed=("cylinder", "time", "pressure", "volume", "hose_volume"),
    )  # fmt: skip
