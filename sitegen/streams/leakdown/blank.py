"""What a leak-down sheet asks for before anything is read: methods and protocol of the two-gauge test."""

from __future__ import annotations

from sitegen.declarations import Blank, PaperTable
from sitegen.program.model import Build, Phase, Program
from sitegen.streams.leakdown.fields import PATHS
from sitegen.units import from_si

REPEATS = 2  # rows prepared for each cylinder
_STEPS = (
    "Turn the engine in its running direction up to dead centre. Gone past it: back half a turn, and come again.",
    "Read the supply gauge while air flows, then the cylinder gauge; listen at filler, exhaust, intake, radiator and "
    "the next cylinder.",
    "A repeat: pressure off, engine turned over twice, dead centre found again. Reading the gauge again is none.",
    "A path nobody listened at stays empty; 0 says that somebody did and heard nothing.",
)
_UNITS = {
    "supply": "kPa gauge",
    "pressure": "kPa gauge",
    "metal_temperature": "degC",
    "air_temperature": "degC",
    "ambient": "kPa absolute",
    "since_shutdown": "min",
    "wait": "s",
    "crank_angle": "deg",
    "crankcase_flow": "actual L/min",
}


def blank(program: Program, build: Build, phase: Phase) -> Blank:
    """The empty record of one check: the reference orifices before and after, each cylinder with its repeats."""
    del phase
    orifices = list(program.definitions.reference_orifices)
    cylinders = [place.cylinder for place in build.places]
    before = [{"reference": each, "repeat": "1"} for each in orifices]
    after = [{"reference": each, "repeat": "2"} for each in orifices]
    readings = [{"cylinder": str(each), "repeat": str(n + 1)} for each in cylinders for n in range(REPEATS)]
    percent = any(tester.scale == "percent" for tester in program.definitions.testers.values())
    gauges = ("supply", "pressure", *(("percent",) if percent else ()))
    position = ("approached", "locked", "metal_temperature", "since_shutdown", "wait")
    none = dict.fromkeys(position, "–")  # a reference orifice has no crank
    on_paper = [*({**row, **none} for row in before), *readings, *({**row, **none} for row in after), {}]
    return Blank(
        rows=[*before, *readings, *after],
        once=("date", "operator", "tester", "condition", "crank", "oil", "ambient", "air_temperature", "turns"),
        tables=(
            PaperTable("Readings", ("reference", "cylinder", "repeat"), (*gauges, *position, "remark"), on_paper),
            PaperTable(
                "Where the air goes: share of the leak, or flow out of the sealed crankcase",
                ("cylinder",),
                (*(f"to_{path}" for path in PATHS), "crankcase_flow"),
                [{"cylinder": str(each)} for each in cylinders],
            ),
        ),
        units=_UNITS,
        steps=(_held(program), *_STEPS),
    )


def _held(program: Program) -> str:
    """What the program's curve holds: readings in other conditions are kept apart."""
    rule = program.leakdown
    supply, band = (f"{pressure / 1000:.0f} kPa" for pressure in (rule.supply, rule.supply_band))
    psi, psi_band = (f"{from_si(pressure, 'psi'):.3g} psi" for pressure in (rule.supply, rule.supply_band))
    return (
        f"Supply {supply} ± {band} gauge ({psi} ± {psi_band}) while air flows, cylinder {rule.oil}, crank at top dead "
        "centre: a reading in another condition is kept apart, so say which in its remark."
    )
