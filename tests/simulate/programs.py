"""The records of the two example programs, and of large ones for benchmarks.

>>> truth, files = example()
>>> truth.engines["B6"].cylinder(2).scale
14.0
>>> sorted(files)[0]
'pump-rings-2025/records/buildsheet-a1.csv'
"""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from statistics import fmean

from simulate import (
    compression,
    decay,
    eventlog,
    friction,
    gaugestudy,
    inspection,
    layers,
    logfiles,
    logs,
    oil,
    pulls,
    rig,
    sheets,
    surfaces,
    tables,
)
from simulate.engine import (
    GRADED,
    HARD,
    NITRIDED,
    Behaviour,
    Chance,
    Check,
    CylinderTruth,
    EngineTruth,
    Oddity,
    Reading,
    Scatter,
    Tester,
    Truth,
    cylinders_of,
    occasions_of,
    reference,
    take,
)
from simulate.logplans import LOGS_2025, LOGS_2026, Logged
from simulate.oil import OilPlan

SEED = 7  # picked so that the story can be told: no evidence about methods, tests of recovery use many seeds
BEHAVIOURS: Mapping[str, Behaviour] = {"nitrided": NITRIDED, "hard-crn": HARD, "graded-crn": GRADED}
FLOOR = 0.148  # mm2, gap floor of nominal rings: plateaus are stated for these

# Metres slid a revolution, and the running before each check, as in the schedules of the program files.
STROKE_KM = 2 * 0.1 / 1000
RUNNING: Mapping[str, float] = {  # phase -> revolutions
    "run-in-10": 4 * 900 + 6 * 1100,
    "run-in-25": 5 * 1300 + 10 * 1400,
    "run-in-60": 5 * 1300 + 20 * 1700 + 10 * 1800,
    "pulls": 4 * (3 * 1500 + 0.5 * (1200 + 2200) / 2),
    "durability": 40 * 60 * 1800,
}
ORIFICE = 0.70  # mm, R1

# What the testers are in truth: within their class and tolerance in the definitions file.
T1_2025 = Tester("T1", 1.016, factor=1.012, supply_offset=0.04, cylinder_offset=-0.02)
T1_2026 = Tester("T1", 1.016, factor=1.015, supply_offset=-0.03, cylinder_offset=0.05)
T2 = Tester("T2", 1.00, factor=0.985, cylinder_offset=-0.12, resolution=0.5, percent=True)

RUN_IN = ("cold-build", "run-in-10", "run-in-25", "run-in-60", "pulls")
DAYS = {"cold-build": 0, "run-in-10": 1, "run-in-25": 1, "run-in-60": 1, "pulls": 2, "durability": 9, "teardown": 11}


@dataclass(frozen=True)
class Plan:
    """One build as it was run and recorded."""

    name: str
    start: str  # date of the cold build
    rings: Mapping[int, str]  # cylinder -> coating
    operator: str
    file: str
    form: tables.Form
    sheet: tables.Form
    phases: Sequence[str] = (*RUN_IN, "durability", "teardown")
    days: Mapping[str, int] = field(default_factory=lambda: DAYS)
    tester: Tester = T1_2026
    testers: Mapping[str, Tester] = field(default_factory=dict)  # phase -> another one
    refit_after: str = ""
    refit: str = "refit"  # the phase in which it is
    turned: Mapping[str, float] = field(default_factory=dict)  # phase -> revolutions, where not as in `RUNNING`
    lasted: Mapping[str, float] = field(default_factory=lambda: {"durability": 40.0})  # phase -> h of durability
    sheets: Sequence[str] = ("cold-build", "teardown")  # phases in which rings were measured
    sheet_phases: Mapping[str, Mapping[str, str]] = field(default_factory=dict)  # sheet form: file -> header -> phase
    ambient: float = 0.0  # kPa, where one value stands for the whole build; the room is then at 21 degC
    metal: float = 60.0  # degC of the cylinders 16 min after shutdown
    exhaust: Mapping[int, Mapping[str, float]] = field(default_factory=dict)  # cylinder -> phase -> mm2
    slow: Mapping[int, tuple[float, float, float]] = field(default_factory=dict)  # cylinder -> start, plateau, scale
    quiet: Sequence[str] = ()  # phases without a word on where the air went
    inspected: inspection.Inspected | None = None  # None: nobody looked at the parts
    inspection: tables.Form | None = None  # of that record; None: the plain one

    def date(self, phase: str) -> str:
        """ISO date of a phase."""
        return (datetime.date.fromisoformat(self.start) + datetime.timedelta(days=self.days[phase])).isoformat()


# ---- the tables' forms ----------------------------------------------------------------------------------------------

SHORT = (
    ("Build", "engine"), ("Check", "phase"), ("Cyl", "cylinder"), ("Rep", "repeat"), ("Tester", "tester"),
    ("Orifice", "reference"), ("Supply", "supply"), ("Cylinder gauge", "pressure"), ("Crank", "crank"),
    ("Approach", "approached"), ("Locked", "locked"), ("Metal", "metal_temperature"), ("Since stop", "since_shutdown"),
    ("Oil", "oil"), ("Barometer", "ambient"), ("Air", "air_temperature"), ("Crankcase", "to_crankcase"),
    ("Exhaust", "to_exhaust"), ("Intake", "to_intake"), ("Date", "date"), ("By", "operator"), ("Remark", "remark"),
)  # fmt: skip
LONG = tuple((f"{'Loss' if name == 'percent' else header}", name) for header, name in (
    *SHORT[:8], ("Loss", "percent"), *SHORT[8:]
))  # fmt: skip
UNITS = {
    "supply": "psig", "pressure": "psig", "percent": "%", "metal_temperature": "degC", "since_shutdown": "min",
    "ambient": "kPa absolute", "air_temperature": "degC", "to_crankcase": "%", "to_exhaust": "%", "to_intake": "%",
}  # fmt: skip
B4_HEADERS = {
    "Metal": "Metal °C", "Air": "Room °C", "Cylinder gauge": "Gauge 2", "Supply": "Gauge 1", "By": "Read by",
    "Crankcase": "Oil filler %", "Exhaust": "Tail pipe %", "Intake": "Air filter %",
}  # fmt: skip
OWN = {
    "engine": "", "phase": "", "cylinder": "", "repeat": "", "tester": "", "reference": "", "supply": "psig",
    "pressure": "psig", "percent": "%", "crank": "", "approached": "", "locked": "", "turns": "", "condition": "",
    "metal_temperature": "degC", "since_shutdown": "min", "oil": "", "wait": "s", "ambient": "kPa absolute",
    "air_temperature": "degC", "to_crankcase": "%", "to_exhaust": "%", "to_intake": "%",
    "crankcase_flow": "actual L/min",
    "date": "", "operator": "", "remark": "",
}  # fmt: skip
OWN_2025 = {name: unit for name, unit in OWN.items() if name not in {"percent", "crankcase_flow", "wait"}}
SHEET = {
    "engine": "", "phase": "", "cylinder": "", "ring": "", "repeat": "", "gap_gauge": "mm", "gap_bore": "mm",
    "gap_angle": "deg", "joint": "", "chamfer": "mm", "mass": "g", "tension": "N", "radial_thickness": "mm",
    "land_diameter": "mm", "groove_width": "mm", "bore": "mm", "bore_height": "mm", "bore_angle": "deg", "honing": "",
    "tool_gap": "", "tool_mass": "", "tool_bore": "", "tool_tension": "", "date": "", "operator": "", "remark": "",
}  # fmt: skip
SEEN = {
    "engine": "", "phase": "", "cylinder": "", "part": "", "place": "", "inspector": "", "band_share": "%",
    "band_width": "mm", "grade": "", "scuffing": "", "spalling": "", "sticking": "", "deposits": "", "image": "",
    "image_width": "mm", "caption": "", "date": "", "remark": "",
}  # fmt: skip
SHEET_HEADERS = (
    ("Build", "engine"), ("Stage", "phase"), ("Cyl", "cylinder"), ("Ring", "ring"), ("Gap in gauge", "gap_gauge"),
    ("Gap in bore", "gap_bore"), ("Gap at", "gap_angle"), ("Joint", "joint"), ("Chamfer", "chamfer"), ("Mass", "mass"),
    ("Tension", "tension"), ("Thickness", "radial_thickness"), ("Land below", "land_diameter"),
    ("Groove", "groove_width"), ("Bore", "bore"), ("Depth", "bore_height"), ("Direction", "bore_angle"),
    ("Honing", "honing"), ("Feeler", "tool_gap"), ("Balance", "tool_mass"), ("Bore gauge", "tool_bore"),
    ("Tension gauge", "tool_tension"), ("Date", "date"), ("By", "operator"),
)  # fmt: skip

SEEN_FORM = tables.Form(tables.own_names(SEEN))
SEMICOLON_SEEN = tables.Form(tables.own_names(SEEN), separator=";", decimal=",", day_first=True)
OWN_FORM = tables.Form(tables.own_names(OWN))
OWN_2025_FORM = tables.Form(tables.own_names(OWN_2025))
SHORT_FORM = tables.Form(SHORT)
SEMICOLON_FORM = tables.Form(SHORT, separator=";", decimal=",", day_first=True)
UNITS_ROW_FORM = tables.Form(LONG, units=[UNITS.get(name, "") for _, name in LONG])
LATIN_FORM = tables.Form(
    [(B4_HEADERS.get(header, header), name) for header, name in SHORT], encoding="latin-1", line_end="\r\n"
)
SHEET_TSV_FORM = tables.Form((), separator="\t", decimal=",")
FAHRENHEIT_FORM = tables.Form(
    SHORT, convert={"metal_temperature": tables.fahrenheit, "air_temperature": tables.fahrenheit}
)
OWN_SHEET = tables.Form(tables.own_names(SHEET))
SEMICOLON_SHEET = tables.Form(SHEET_HEADERS, separator=";", decimal=",", day_first=True)
MAPPED_SHEET = tables.Form(SHEET_HEADERS)


def _all(coating: str) -> dict[int, str]:
    return dict.fromkeys((1, 2, 3, 4), coating)


PLANS_2025 = tuple(
    Plan(
        name,
        start,
        dict(enumerate(rings, start=1)),
        operator,
        f"leakdown-{name.lower()}.csv",
        OWN_2025_FORM,
        OWN_SHEET,
        tester=T1_2025,
        exhaust=exhaust,
        inspected=inspection.Inspected(("M. A.", "K. L."), 5, {1: ("jpg",), 2: ("jpg", "jpg")} if name == "A1" else {}),
    )
    for name, start, operator, rings, exhaust in (
        ("A1", "2025-03-10", "M. A.", ("nitrided", "hard-crn", "nitrided", "hard-crn"), {}),
        ("A2", "2025-05-12", "K. L.", ("hard-crn", "nitrided", "hard-crn", "nitrided"), {3: {
            "cold-build": 0.13, "run-in-10": 0.11, "run-in-25": 0.08, "run-in-60": 0.04, "pulls": 0.03,
            "durability": 0.015,
        }}),
        ("A3", "2025-09-15", "M. A.", ("nitrided", "hard-crn", "hard-crn", "nitrided"), {}),
    )
)  # fmt: skip

PLANS_2026 = (
    Plan("B1", "2026-02-09", _all("nitrided"), "M. A.", "leakdown-b1.csv", SHORT_FORM, OWN_SHEET,
         quiet=("cold-build",), inspected=inspection.Inspected(("M. A.", "K. L."), pictures={
             1: ("jpg", "jpg"), 3: ("png",)
         }, before={(1, inspection.BORE_PLACES[0]): 2.4})),
    Plan("B2", "2026-03-16", _all("nitrided"), "K. L.", "leakdown-b2.csv", SEMICOLON_FORM, SEMICOLON_SHEET,
         inspection=SEMICOLON_SEEN, inspected=inspection.Inspected(("K. L.", "M. A."), pictures={
             1: ("jpg", "jpg"), 2: ("jpg",)
         }, scuffed={(1, inspection.BORE_PLACES[0]): "light"})),
    Plan(
        "B3", "2026-11-16", _all("nitrided"), "R. S.", "leakdown-b3.csv", UNITS_ROW_FORM, OWN_SHEET,
        phases=RUN_IN, testers={"run-in-60": T2},
    ),
    Plan(
        "B4", "2026-02-23", _all("graded-crn"), "J. Ö.", "leakdown-b4.csv", LATIN_FORM, MAPPED_SHEET,
        exhaust={3: {
            "cold-build": 0.012, "run-in-10": 0.012, "run-in-25": 0.014, "run-in-60": 0.07, "pulls": 0.15,
            "durability": 0.17,
        }},
        inspected=inspection.Inspected(("J. Ö.", "K. L."), pictures={1: ("tif",), 2: ("jpg",)}),
    ),
    Plan(
        "B5", "2026-04-13", _all("graded-crn"), "M. A.", "leakdown-b5.tsv", SHEET_TSV_FORM, OWN_SHEET,
        phases=(*RUN_IN, "refit", "durability", "teardown"),
        days={**DAYS, "refit": 7, "durability": 14, "teardown": 16},
        inspected=inspection.Inspected(("M. A.", "K. L."), pictures={1: ("jpg", "jpg"), 4: ("jpg",)}),
        refit_after="pulls", ambient=100.4, sheet_phases={
            "orifice-b5.tsv": {
                "Cold": "cold-build", "10 min": "run-in-10", "25 min": "run-in-25", "60 min": "run-in-60",
                "Pulls": "pulls", "Refit": "refit", "40 h": "durability",
            },
            "leakdown-b5-cold.tsv": {"Cold": "cold-build", "Refit": "refit"},
            "leakdown-b5.tsv": {
                "10 min": "run-in-10", "25 min": "run-in-25", "60 min": "run-in-60", "Pulls": "pulls",
                "40 h": "durability",
            },
        },
    ),
    Plan(
        "B6", "2026-07-06", _all("graded-crn"), "K. L.", "leakdown-b6.csv", OWN_FORM, OWN_SHEET,
        phases=(*RUN_IN, "teardown"), days={**DAYS, "teardown": 4}, slow={2: (0.90, 0.26, 14.0)},
        inspected=inspection.Inspected(("K. L.", "M. A."), pictures={
            1: ("jpg", "jpg"), 2: ("jpg", "jpg", "jpg"), 3: ("jpg",), 4: ("jpg",)
        }, before={(2, inspection.BORE_PLACES[1]): None}),
    ),
    Plan("B7", "2026-11-02", _all("hard-crn"), "R. S.", "leakdown-b7.csv", FAHRENHEIT_FORM, OWN_SHEET, phases=RUN_IN),
)  # fmt: skip


# ---- from a plan to readings ----------------------------------------------------------------------------------------


def checks_of(plan: Plan) -> tuple[Check, ...]:
    """The leak-down checks of a build, with what it slid before each since its rings were fitted."""
    checks, km, hours, assembly = [], 0.0, 0.0, 1
    for phase in plan.phases:
        if phase == "teardown":
            continue
        if phase == plan.refit:
            km, assembly = 0.0, 2
        km += plan.turned.get(phase, RUNNING.get(phase, 0.0)) * STROKE_KM
        hours += plan.lasted.get(phase, 0.0)
        fired = phase not in {"cold-build", plan.refit}
        checks.append(Check(phase, km, fired, hours, assembly, plan.testers.get(phase, plan.tester)))
    return tuple(checks)


def truth_of(seed: int, plan: Plan, scatter: Scatter) -> tuple[EngineTruth, dict[int, tuple[sheets.RingTruth, ...]]]:
    """One build as it is, and its rings as fitted. Their gaps are part of the plateau."""
    fitted = {number: sheets.rings_of(seed, plan.name, number) for number in plan.rings}
    cylinders = []
    for drawn in cylinders_of(seed, plan.name, {n: (c, BEHAVIOURS[c]) for n, c in plan.rings.items()}, scatter):
        floor = sheets.gap_floor({ring.ring: ring for ring in fitted[drawn.cylinder]})
        shift = floor - FLOOR
        cylinder = replace(
            drawn,
            floor=floor,
            start=drawn.start + shift,
            plateau=drawn.plateau + shift,
            refitted_start=drawn.refitted_start + shift,
            exhaust=plan.exhaust.get(drawn.cylinder, drawn.exhaust),
        )
        if drawn.cylinder in plan.slow:
            start, plateau, scale = plan.slow[drawn.cylinder]
            cylinder = replace(cylinder, start=start, plateau=plateau, scale=scale, face_wear=0.3)
        cylinders.append(cylinder)
    return EngineTruth(plan.name, tuple(cylinders), occasions_of(seed, plan.name, checks_of(plan), scatter)), fitted


def _shares(chance: Chance, cylinder: CylinderTruth, check: Check) -> dict[str, int]:
    """Where the air goes [%], as an operator with a flow stick at the openings gets it."""
    exhaust, ring = cylinder.exhaust_area(check.phase), cylinder.ring_area(check)
    total = ring + exhaust + cylinder.intake
    out = round(100 * exhaust / total + chance.normal(0.8))
    into = round(100 * cylinder.intake / total + chance.normal(0.5))
    out, into = max(out, 0), max(into, 0)
    return {"crankcase": 100 - out - into, "exhaust": out, "intake": into}


def _room(chance: Chance, plan: Plan) -> tuple[float, float]:
    """Barometer [kPa] and room temperature [degC] of one check."""
    pressure, air = round(100.6 + chance.normal(0.7), 1), round(21 + chance.normal(1.3))
    return (plan.ambient, 21.0) if plan.ambient else (pressure, float(air))


@dataclass(frozen=True)
class Session:
    """One check being taken: each reading finds the engine a little cooler."""

    chance: Chance
    beside: Chance  # for what is written beside a reading, so that it does not move the readings
    plan: Plan
    truth: EngineTruth
    check: Check
    scatter: Scatter
    ambient: float  # kPa
    air: float  # degC

    def hole(self, repeat: int) -> Reading:
        """The reference orifice in the cylinder's place."""
        row = reference(self.chance, self.truth, self.check, repeat, self.scatter, ORIFICE, self.ambient, self.air)
        return replace(row, date=self.plan.date(self.check.phase), operator=self.plan.operator)

    def take(self, ask: Ask, minutes: float) -> Reading:
        """One reading of a cylinder so many minutes after shutdown."""
        cold = not self.check.fired
        metal = self.air if cold else float(round(self.plan.metal + 8 - 0.5 * minutes + self.beside.normal(0.8)))
        check = replace(self.check, tester=ask.tester or self.check.tester)
        row = take(
            self.chance, self.truth, ask.cylinder, check, ask.repeat, self.scatter,
            supply=ask.supply, wet=ask.wet, ambient=self.ambient, air=self.air, metal=metal,
        )  # fmt: skip
        cylinder = self.truth.cylinder(ask.cylinder)
        return replace(
            row,
            shares=None if check.phase in self.plan.quiet else _shares(self.beside, cylinder, check),
            crankcase_flow=(row.crankcase_flow or 0.0) * self.beside.spread(0.01),  # the blow-by meter
            since_shutdown=None if cold else float(round(minutes)),
            condition="cold" if cold else "warm",
            crank="tdc",
            approached="turned-back-half-turn" if self.beside.between(0, 1) < 0.08 else "running-direction",
            locked="yes",
            turns=2,
            wait=30.0,
            date=self.plan.date(check.phase),
            operator=self.plan.operator,
            remark=ask.remark,
        )


@dataclass(frozen=True)
class Ask:
    """A reading to be taken."""

    cylinder: int
    repeat: int
    supply: float | None = None
    wet: bool = False
    tester: Tester | None = None
    remark: str = ""


def readings_of(seed: int, plan: Plan, truth: EngineTruth, scatter: Scatter) -> list[Reading]:
    """All readings of a build in the order they were taken: the reference orifice before and after the cylinders."""
    chance, beside = Chance(seed, plan.name, "readings"), Chance(seed, plan.name, "beside")
    rows: list[Reading] = []
    for check in checks_of(plan):
        ambient, air = _room(beside, plan)
        session = Session(chance, beside, plan, truth, check, scatter, ambient, air)
        repeats = 3 if check.phase == "pulls" and not plan.sheet_phases else 2
        asked = [Ask(number, repeat) for number in plan.rings for repeat in range(1, repeats + 1)]
        asked += EXTRA.get((plan.name, check.phase), ())
        rows.append(session.hole(1))
        rows += [session.take(ask, 8.0 + 1.5 * place) for place, ask in enumerate(asked, start=1)]
        rows.append(session.hole(2))
    return rows


EXTRA: Mapping[tuple[str, str], Sequence[Ask]] = {
    ("B1", "run-in-10"): (Ask(2, 3, remark="once more, the needle had stuck at the first"),),
    ("B2", "run-in-25"): (Ask(4, 3, remark="third taken, the first two apart"),),
    ("B6", "pulls"): (
        Ask(2, 4, supply=40.0, remark="at 40 psig: slit or hole?"),
        Ask(2, 5, supply=40.0, remark="at 40 psig: slit or hole?"),
        Ask(2, 6, wet=True, remark="10 mL of oil through the plug hole"),
        Ask(4, 4, tester=T2, remark="for comparison, workshop tester"),
    ),
}


def _spoil(plan: Plan, rows: list[Reading]) -> list[Reading]:
    """What went wrong at the tester."""

    def is_at(row: Reading, cylinder: int, phase: str, repeat: int) -> bool:
        return (row.cylinder, row.phase, row.repeat) == (cylinder, phase, repeat)

    spoiled = []
    for row in rows:
        if plan.name == "B1" and is_at(row, 2, "run-in-10", 1):
            row = replace(row, pressure=79.6)
        if plan.name == "B2" and is_at(row, 4, "run-in-25", 2):
            row = replace(row, pressure=round((row.pressure or 0.0) - 3.4, 1))
        spoiled.append(row)
    return spoiled


def sheet_rows(
    seed: int, plan: Plan, truth: EngineTruth, fitted: Mapping[int, Sequence[sheets.RingTruth]]
) -> list[sheets.SheetRow]:
    """Build-sheet lines of the cold build and, where it was taken apart, of the teardown."""
    chance = Chance(seed, plan.name, "tools")
    hours = 0.0
    rows = []
    for phase in plan.phases:
        hours += plan.lasted.get(phase, 0.0)
        if phase not in plan.sheets:
            continue
        for number, rings in fitted.items():
            wear = sheets.wear_of(truth.cylinder(number), hours)
            for ring, share in zip(rings, (1.0, 0.6, 0.3), strict=True):
                density = BEHAVIOURS[plan.rings[number]].density if ring.ring == "top" else sheets.STEEL
                now = ring if phase == "cold-build" else sheets.worn(
                    ring, wear[ring.ring], density, share * (0.4 + 0.02 * hours)
                )  # fmt: skip
                rows.append(sheets.measured(chance, now, plan.name, phase, number, plan.date(phase), plan.operator))
    return rows


def inspected(seed: int, plan: Plan, truth: EngineTruth) -> list[inspection.Seen]:
    """What was seen on the parts of a build at teardown, and the pictures of its bores before it ran."""
    if plan.inspected is None:
        return []
    hours = max(check.hours for check in checks_of(plan))
    torn_down = inspection.rows_of(seed, plan.name, truth.cylinders, hours, plan.date("teardown"), plan.inspected)
    return [*torn_down, *inspection.before_running(plan.name, plan.date("cold-build"), plan.inspected)]


# ---- from readings to tables ----------------------------------------------------------------------------------------


def _written(plan: Plan, rows: list[Reading]) -> tuple[dict[str, bytes], Callable[[Reading], str]]:
    """The tables of a build, and the id the reader will give each of its readings."""
    if not plan.sheet_phases:
        where = {id(row): number for number, row in enumerate(rows, start=plan.form.first_line)}
        return {plan.file: tables.long(rows, plan.form)}, lambda row: f"{Path(plan.file).stem}:{where[id(row)]}"
    files, ids = {}, {}
    for file, phases in plan.sheet_phases.items():
        hole = file.startswith("orifice")  # a sheet of its own: it is as cool as the room, whatever the engine is
        own = [row for row in rows if row.phase in phases.values() and bool(row.reference) == hole]
        files[file], lines = tables.sheet(own, phases, plan.form)
        ids.update({key: f"{Path(file).stem}:{line}:{key[-1]}" for key, line in lines.items()})
    return files, lambda row: ids[row.cylinder, row.reference, row.repeat, row.phase]


def _oddities(plan: Plan, rows: list[Reading], name: Callable[[Reading], str], truth: EngineTruth) -> list[Oddity]:
    def one(cylinder: int, phase: str, repeat: int) -> str:
        return next(name(row) for row in rows if (row.cylinder, row.phase, row.repeat) == (cylinder, phase, repeat))

    odd: list[Oddity] = []

    def note(kind: str, cylinder: int, phase: str, what: str, reading: str = "") -> None:
        odd.append(Oddity(kind, plan.name, cylinder, phase, what, reading))

    note("off-curve", 0, "cold-build", "assembly oil seals: a quarter below the curve")
    for number in plan.slow:
        note("slow cylinder", number, "", f"scale {truth.cylinder(number).scale} km: not seated after the pulls")
    for number in plan.exhaust:
        note("valve leak", number, "", "exhaust valve leaks in part of the checks")
    for phase, tester in plan.testers.items():
        note("other tester", 0, phase, f"whole check on {tester.id}, percent scale")
    if plan.sheet_phases:
        note("path unknown", 0, "", "the sheet has no room for where the air went")
    if plan.refit_after:
        note("refit", 0, "refit", "opened after the pulls, same rings: new curve")
    if plan.name == "B1":
        note("excluded", 2, "run-in-10", "needle stuck near supply", one(2, "run-in-10", 1))
    if plan.name == "B2":
        note("repeat disagrees", 4, "run-in-25", "3.4 psi below its neighbours", one(4, "run-in-25", 2))
    if plan.name == "B6":
        note("past calibration", 4, "pulls", "T2 was due on 2026-06-02", one(4, "pulls", 4))
        note("second supply", 2, "pulls", "40 psig", one(2, "pulls", 4))
        note("second supply", 2, "pulls", "40 psig", one(2, "pulls", 5))
        note("wet", 2, "pulls", "oil through the plug hole", one(2, "pulls", 6))
    return odd


def _program(seed: int, folder: str, plans: Sequence[Plan], scatter: Scatter) -> tuple[Truth, dict[str, bytes]]:
    engines, checks, odd, files = {}, {}, [], {}
    for plan in plans:
        truth, fitted = truth_of(seed, plan, scatter)
        rows = _spoil(plan, readings_of(seed, plan, truth, scatter))
        written, name = _written(plan, rows)
        files.update({f"{folder}/records/{file}": data for file, data in written.items()})
        sheet = tables.long(sheet_rows(seed, plan, truth, fitted), plan.sheet)
        files[f"{folder}/records/buildsheet-{plan.name.lower()}.csv"] = sheet
        if plan.inspected is not None:
            seen = tables.long(inspected(seed, plan, truth), plan.inspection or SEEN_FORM)
            files[f"{folder}/records/inspection-{plan.name.lower()}.csv"] = seen
        if plan.name in TRACED:
            index = f"{folder}/records/traces-{plan.name.lower()}.csv"
            files[index] = surfaces.index_of(plan.name, _trace_dates(plan), TRACED[plan.name])
        engines[plan.name], checks[plan.name] = truth, checks_of(plan)
        odd += _oddities(plan, rows, name, truth)
    return Truth(seed, engines, checks, tuple(odd)), files


def example(seed: int = SEED, scatter: Scatter = Scatter()) -> tuple[Truth, dict[str, bytes]]:  # noqa: B008 - frozen
    """Truth and record tables of both example programs, by path below the programs folder."""
    earlier, files = _program(seed, "pump-rings-2025", PLANS_2025, scatter)
    later, more = _program(seed, "pump-rings-2026", PLANS_2026, scatter)
    truth = Truth(
        seed,
        {**earlier.engines, **later.engines},
        {**earlier.checks, **later.checks},
        earlier.oddities + later.oddities,
    )
    written_down = {
        "pump-rings-2026/records/events.csv": eventlog.EVENTS_2026.encode(),
        "pump-rings-2026/records/layers.csv": layers.record(seed),
        "pump-rings-2026/records/gauge-study.csv": _gauge_study(seed),
        "pump-rings-2026/records/pulls.csv": pulls.record(seed),
        "pump-rings-2026/records/friction.csv": friction.record(seed),
        **{f"pump-rings-2026/{name}": content for name, content in rig.records(seed).items()},
        **_beside_leakdown(seed),
    }
    return truth, {**files, **more, **written_down, **oil_tables(seed)}


def _gauge_study(seed: int) -> bytes:
    """Three cylinders of B2 before it ran, read beside holes by the operators of the program."""
    plan = next(each for each in PLANS_2026 if each.name == "B2")
    truth, _ = truth_of(seed, plan, Scatter())
    check = next(each for each in checks_of(plan) if each.phase == "cold-build")
    return gaugestudy.record(seed, gaugestudy.Setup("B2", check, truth.cylinders[:3], check.tester, "2026-03-17"))


BESIDE = ("B1", "B4")  # builds with compression tests and pressure decays


def compression_tests(seed: int = SEED) -> list[compression.Tested]:
    """Before the first start and after the pulls; of B4 cold nobody wrote down how fast it was cranked."""
    found = []
    for plan in PLANS_2026:
        if plan.name in BESIDE:
            truth, _ = truth_of(seed, plan, Scatter())
            for check in checks_of(plan):
                if check.phase in {"cold-build", "pulls"}:
                    warm = 60.0 if check.fired else 21.0
                    found.append(compression.Tested(
                        plan.name, check, truth.cylinders, plan.date(check.phase), warm,
                        speeds=check.fired or plan.name != "B4", wet=check.fired and plan.name == "B1",
                    ))  # fmt: skip
    return found


def _beside_leakdown(seed: int) -> dict[str, bytes]:
    """Compression tests and pressure decays, by path below the programs folder."""
    tests = compression_tests(seed)
    files = {"pump-rings-2026/records/compression.csv": compression.record(seed, tests)}
    for each in tests:
        if each.check.fired:
            name = f"pump-rings-2026/records/decay-{each.build.lower()}.csv"
            files[name] = decay.record(seed, each.build, each.check, each.cylinders, each.day)
    return files


def oil_records(seed: int = SEED) -> dict[str, oil.Record]:
    """Samples, what was done to the oil, and the truth of every build of both example programs."""
    made = {}
    for plan in (*PLANS_2025, *PLANS_2026):
        engine, _ = truth_of(seed, plan, Scatter())
        phases = [phase for phase in plan.phases if phase in oil.HOURS]
        own = replace(OIL.get(plan.name, OilPlan((), f"{plan.name}-1")), phases=phases)
        made[plan.name] = oil.run(seed, engine, own, {phase: plan.date(phase) for phase in phases})
    return made


def oil_tables(seed: int = SEED) -> dict[str, bytes]:
    """The oil records of both example programs, by path below the programs folder."""
    found = oil_records(seed)
    early, wide, long = (
        [found[name] for name in names] for names in (("A1", "A2", "A3"), ("B1", "B2", "B3", "B4"), ("B5", "B6", "B7"))
    )
    folder, later = "pump-rings-2025/records", "pump-rings-2026/records"
    return {
        f"{folder}/oil-samples.csv": oil.wide([s for each in early for s in each.samples]),
        f"{folder}/oil-events.csv": oil.events(early, litres=0.885),
        f"{later}/oil-samples.csv": oil.wide([s for each in wide for s in each.samples]),
        f"{later}/oil-samples-b5-b7.csv": oil.long([s for each in long for s in each.samples]),
        f"{later}/oil-events.csv": oil.events([*wide, *long]),
    }


OIL: Mapping[str, OilPlan] = {
    "B1": OilPlan((), "B1-1", kept="oil store, shelf 1"),
    "B2": OilPlan((), "B2-1", late={"run-in-25": 26.0}, kept="oil store, shelf 1", unsealed=("run-in-60",)),
    "B4": OilPlan((), "B4-1", places={"pulls": "drain-plug"}, not_detected=("Pb", "Sn"), kept="oil store, shelf 2"),
    "B5": OilPlan((), "B5-1", missing=("run-in-25",), not_measured=("Al",)),
}


def pictures(seed: int = SEED) -> dict[str, bytes]:
    """The pictures the inspection records of both example programs name, by path below the programs folder."""
    files = {}
    for folder, plans in (("pump-rings-2025", PLANS_2025), ("pump-rings-2026", PLANS_2026)):
        for plan in plans:
            truth, _ = truth_of(seed, plan, Scatter())
            hours = max(check.hours for check in checks_of(plan))
            wear = {each.cylinder: sheets.wear_of(each, hours)["top"] for each in truth.cylinders}
            drawn = inspection.pictures_of(seed, inspected(seed, plan, truth), wear)
            files.update({f"{folder}/{name}": data for name, data in drawn.items()})
    return files


TRACED: Mapping[str, surfaces.Traced] = {
    "B1": surfaces.Traced((1, 3), "keyed"),
    "B4": surfaces.Traced((1, 2), "titled"),
}


def _trace_dates(plan: Plan) -> dict[str, str]:
    return {phase: plan.date(phase) for phase in ("cold-build", "teardown")}


def traces(seed: int = SEED, builds: Sequence[str] = ()) -> dict[str, bytes]:
    """The traces of the named builds (none: of all that were traced), by path below the programs folder."""
    files = {}
    for plan in PLANS_2026:
        if plan.name not in TRACED or (builds and plan.name not in builds):
            continue
        truth, _ = truth_of(seed, plan, Scatter())
        hours = max(check.hours for check in checks_of(plan))
        made = surfaces.files_of(seed, plan.name, truth.cylinders, hours, _trace_dates(plan), TRACED[plan.name])
        files.update({f"pump-rings-2026/{name}": data for name, data in made.items()})
    return files


def surface_truth(seed: int = SEED) -> dict[tuple[str, int], surfaces.SurfaceTruth]:
    """What is known of the surfaces of every traced cylinder, by build and cylinder."""
    known = {}
    for plan in PLANS_2026:
        if plan.name in TRACED:
            truth, _ = truth_of(seed, plan, Scatter())
            hours = max(check.hours for check in checks_of(plan))
            for number in TRACED[plan.name].cylinders:
                known[plan.name, number] = surfaces.truth_of(seed, plan.name, truth.cylinder(number), hours)
    return known


def _logged(seed: int, plan: Plan, logged: Logged) -> Iterator[tuple[str, logs.Run]]:
    """The logged phases of a build, each run after the one before."""
    engine, _ = truth_of(seed, plan, Scatter())
    chance = Chance(seed, plan.name, "log", "room")
    km = 0.0
    for phase in logged.phases:
        day = datetime.date.fromisoformat(plan.date(phase)) - datetime.timedelta(days=2 * (phase == "durability"))
        ambient = (plan.ambient or 100.6) + chance.normal(0.3)
        ran = logs.run(
            seed,
            logs.Setup(
                engine,
                phase,
                f"{day}T{logged.clocks[phase]}:00",
                km=km,
                ambient=ambient,
                second=logged.second,
                departures=logged.departures.get(phase, ()),
                dead=logged.dead,
                stuck=logged.stuck.get(phase, {}),
            ),
        )
        km = ran.truth.km[1]
        yield phase, ran


def log_runs(seed: int = SEED, builds: Sequence[str] = ()) -> Iterator[tuple[str, logs.Run, logfiles.LogForm]]:
    """Every logged phase of the named builds (none: of all): file below the programs folder, the run, its form."""
    for folder, plans, logged in (
        ("pump-rings-2025", PLANS_2025, LOGS_2025),
        ("pump-rings-2026", PLANS_2026, LOGS_2026),
    ):
        for plan in plans:
            if builds and plan.name not in builds:
                continue
            for phase, ran in _logged(seed, plan, logged[plan.name]):
                form = logged[plan.name].form_of(phase)
                yield f"{folder}/logs/{plan.name.lower()}-{phase}.{form.suffix}", ran, form


def log_truth(seed: int = SEED, builds: Sequence[str] = ()) -> dict[tuple[str, str], logs.RunTruth]:
    """What is known of every logged phase, by build and phase: revolutions, energy, reference points, stops."""
    return {(ran.truth.engine, ran.truth.phase): ran.truth for _, ran, _ in log_runs(seed, builds)}


def run_logs(seed: int = SEED) -> dict[str, bytes]:
    """The run logs of both example programs, by path below the programs folder."""
    return {name: logfiles.written(ran, form) for name, ran, form in log_runs(seed)}


def save(folder: Path, files: Mapping[str, bytes | str]) -> None:
    """Write files below a folder."""
    for name, data in sorted(files.items()):
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data.encode() if isinstance(data, str) else data)


def write(folder: Path, seed: int = SEED) -> Truth:
    """Write what both example programs record below `folder`; the program files stay as they are."""
    truth, files = example(seed)
    save(folder, {**files, **pictures(seed), **run_logs(seed), **traces(seed)})
    return truth


# ---- large folders for benchmarks -----------------------------------------------------------------------------------

LARGE_DEFINITIONS = """\
format: 1
coatings:
  nitrided: {{title: nitrided}}
  graded-crn: {{title: graded chromium nitride}}
engine_types:
  large:
    title: engine with {cylinders} cylinders
    cylinders: {cylinders}
    bore: 87.5 mm
    stroke: 100.0 mm
testers:
  T1:
    title: cell tester, 0.040 in
    orifice: 0.040 in
    orifice_tolerance: 0.0005 in
    gauge_class: 0.25 psi
    scale: pressure
    calibrations:
      - {{on: 2026-01-12, due: 2027-01-12}}
reference_orifices:
  R1: {{title: reference orifice 0.70 mm, diameter: 0.70 mm, tolerance: 0.003 mm}}
tools:
  balance-1: {{title: analytical balance, kind: balance, limit: 0.5 mg}}
  feeler-1: {{title: feeler gauges, kind: feeler, limit: 0.02 mm}}
  bore-gauge-1: {{title: three-point bore gauge, kind: bore-gauge, limit: 2 um}}
  tension-1: {{title: tape tension gauge, kind: tension-gauge, limit: 0.4 N}}
"""

LARGE_PROGRAM = """\
format: 1
title: Large
question: Does a graded layer let chromium nitride rings seat sooner?
invented: true
compare:
  reference: nitrided
  candidates: [graded-crn]
  primary: {{measure: leakdown.crankcase, phase: pulls}}
  planned_builds: {builds}
  allocation: {{scheme: whole builds, seed: 1}}
criteria:
  stated: 2026-01-12
  list:
    - id: level-after-pulls
      title: Leak area after the pulls, every graded cylinder
      measure: leakdown.crankcase
      phase: pulls
      at_most: 0.35 mm2
      scope: every cylinder
      coatings: [graded-crn]
seating: {{to_lose: 0.03 mm2, level: 0.35 mm2, fit_through: durability}}
leakdown: {{supply: 80 psig, supply_band: 2 psi, oil: dry}}
phases:
  - {{id: cold-build, title: cold build, kind: static check, condition: cold, records: [buildsheet, leakdown]}}
  - id: run-in-10
    title: run-in, 10 min
    kind: run
    stage: run-in
    condition: warm
    records: [leakdown]
    schedule:
      - {{time: 4 min, speed: 900 rpm, torque: 20 N m}}
      - {{time: 6 min, speed: 1100 rpm, torque: 40 N m}}
  - id: run-in-25
    title: run-in, 25 min
    kind: run
    stage: run-in
    condition: warm
    records: [leakdown]
    schedule:
      - {{time: 5 min, speed: 1300 rpm, torque: 60 N m, reference_point: true}}
      - {{time: 10 min, speed: 1400 rpm, torque: 80 N m}}
  - id: run-in-60
    title: run-in, 60 min
    kind: run
    stage: run-in
    condition: warm
    records: [leakdown]
    schedule:
      - {{time: 5 min, speed: 1300 rpm, torque: 60 N m, reference_point: true}}
      - {{time: 20 min, speed: 1700 rpm, torque: 120 N m}}
      - {{time: 10 min, speed: 1800 rpm, torque: 140 N m}}
  - id: pulls
    title: four pulls
    kind: pulls
    condition: warm
    records: [leakdown]
    repeat: 4
    schedule:
      - {{time: 3 min, speed: 1500 rpm, torque: 80 N m}}
      - {{time: 30 s, speed: {{from: 1200 rpm, to: 2200 rpm}}, torque: 150 N m}}
  - id: durability
    title: 40 h
    kind: durability
    condition: warm
    records: [leakdown]
    schedule:
      - {{time: 40 h, speed: 1800 rpm, torque: 140 N m}}
  - {{id: teardown, title: teardown, kind: teardown, records: [buildsheet]}}
builds:
{entries}
records:
  leakdown:
{leakdown}
  buildsheet:
{buildsheet}
"""


def write_large(folder: Path, builds: int, cylinders: int, seed: int = SEED) -> Truth:
    """Write a whole programs folder with one program `large` of so many builds, half nitrided and half graded."""
    plans = [
        Plan(
            f"L{number:03d}",
            (datetime.date(2026, 1, 12) + datetime.timedelta(days=5 * (number % 60))).isoformat(),
            dict.fromkeys(range(1, cylinders + 1), "graded-crn" if number % 2 else "nitrided"),
            "M. A.",
            f"leakdown-l{number:03d}.csv",
            OWN_FORM,
            OWN_SHEET,
        )
        for number in range(1, builds + 1)
    ]
    truth, files = _program(seed, "large", plans, Scatter())
    entry = "  - {{id: {0}, block: {0}, number: 1, engine_type: large, rings: {{all: {{coating: {1}, lot: X-1}}}}}}"
    program = LARGE_PROGRAM.format(
        builds=builds,
        entries="\n".join(entry.format(plan.name, plan.rings[1]) for plan in plans),
        leakdown="\n".join(f"    - file: records/{plan.file}" for plan in plans),
        buildsheet="\n".join(f"    - file: records/buildsheet-{plan.name.lower()}.csv" for plan in plans),
    )
    texts = {"definitions.yaml": LARGE_DEFINITIONS.format(cylinders=cylinders), "large/program.yaml": program}
    save(folder, {**files, **texts})
    return truth


def table_of(truth: Truth) -> str:
    """The truth as a table: areas in mm2 to the crankcase after the pulls and at the last check, scale in km."""
    lines = ["build cyl coating      start plateau scale   floor exhaust@pulls ring@pulls to-lose@pulls ring@last last"]
    for engine in truth.engines.values():
        pulls = next(check for check in truth.checks[engine.engine] if check.phase == "pulls")
        last = truth.checks[engine.engine][-1]
        lines += [
            f"{engine.engine:5} {c.cylinder:3} {c.coating:11} {c.start:6.3f} {c.plateau:7.3f} {c.scale:6.2f}"
            f" {c.floor:6.3f}"
            f" {c.exhaust_area('pulls'):13.3f} {c.ring_area(pulls):10.3f} {c.to_lose(pulls):13.4f}"
            f" {c.ring_area(last):9.3f} {last.phase}"
            for c in engine.cylinders
        ]
        mean = fmean(c.ring_area(pulls) for c in engine.cylinders)
        lines.append(f"{engine.engine:5} mean{'':56} {mean:10.3f}")
    lines.append("")
    for odd in truth.oddities:
        where = f"{odd.engine} cylinder {odd.cylinder or '-'} {odd.phase or 'all'}"
        lines.append(f"{odd.kind:17} {where:28} {odd.reading or '-':18} {odd.what}")
    return "\n".join(lines)
