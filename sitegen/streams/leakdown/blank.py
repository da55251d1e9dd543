"""What a leak-down sheet asks for before anything is read: methods and protocol of the two-gauge test."""

from __future__ import annotations

import math

from sitegen.declarations import Blank, PaperTable
from sitegen.methods.leakdown import crank_torque
from sitegen.page.words import number
from sitegen.program.model import Build, EngineType, Phase, Program
from sitegen.streams.leakdown.fields import PATHS
from sitegen.streams.leakdown.protocol import asked_beside, asked_for
from sitegen.units import from_si

# Protocol of a check: common practice, no source, but for what the cautions name.
REPEATS = 2  # rows prepared for each cylinder
_SHORT_ROD = 1.5  # strokes, where the rod is not stated: a short one, since shorter turns harder; from memory
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
    orifices = list(program.definitions.reference_orifices)
    cylinders = [place.cylinder for place in build.places]
    before = [{"reference": each, "repeat": "1"} for each in orifices]
    after = [{"reference": each, "repeat": "2"} for each in orifices]
    readings = [{"cylinder": str(each), "repeat": str(n + 1)} for each in cylinders for n in range(REPEATS)]
    scales = {tester.scale for tester in program.definitions.testers.values()}
    percent = "percent" in scales
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
        beside=asked_beside(program.leakdown, phase.condition),
        steps=(_held(program), *_STEPS),
        needed=("cylinder", "supply", "percent" if scales == {"percent"} else "pressure"),
        cautions=(_turns(program, build.engine_type),),
    )


def _turns(program: Program, engine: EngineType) -> str:
    """How hard the air turns this engine's crankshaft."""
    supply = program.leakdown.supply
    stated = engine.rod is not None and engine.rod > engine.stroke / 2
    rod = engine.rod if engine.rod is not None and stated else _SHORT_ROD * engine.stroke
    at = {degrees: crank_torque(supply, engine.bore, engine.stroke, rod, math.radians(degrees)) for degrees in (5, 10)}
    five, ten = (number(torque, 0) for torque in at.values())
    bore, stroke, long = (f"{1000 * length:.4g} mm" for length in (engine.bore, engine.stroke, rod))
    taken = "" if stated else ", taken since none that fits is stated"
    return (
        f"At {number(supply / 1000, 0)} kPa ({from_si(supply, 'psi'):.3g} psi) one piston of this engine makes {five} "
        f"N m at 5° and {ten} N m at 10° past top dead centre (bore {bore}, stroke {stroke}, rod {long}{taken})."
    )


def _held(program: Program) -> str:
    """What the program's curve holds: readings in other conditions are kept apart."""
    rule = program.leakdown
    supply, band = (f"{pressure / 1000:.0f} kPa" for pressure in (rule.supply, rule.supply_band))
    psi, psi_band = (f"{from_si(pressure, 'psi'):.3g} psi" for pressure in (rule.supply, rule.supply_band))
    held = "".join(f"; {each}" for each in asked_for(rule))
    return (
        f"Supply {supply} ± {band} gauge ({psi} ± {psi_band}) while air flows, cylinder {rule.oil}, crank at top dead "
        f"centre{held}: a reading in another condition is kept apart, so say which in its remark."
    )
