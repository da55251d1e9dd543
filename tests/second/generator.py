"""Whole program folders with a known truth, made from formulas and distributions that the package does not use.

Imports nothing of the package under test, nor of `simulate`, so that a slip of theirs is not made here again.

Flow: energy of a gas expanding without loss through an opening (any text on gas dynamics; here from memory): speed from
the drop in enthalpy, density behind it, the pressure in the opening never below that at which the speed is that of
sound. A tester's orifice and a leak in series pass the same mass.

What is not as the methods suppose: reading errors with heavy tails, builds that do not scatter normally, gauges that
err alike through a whole program, cylinders that leak by their place, occasions that shift a tester or an engine.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

PSI = 6894.757293168361  # Pa
ROOM = 101_000.0  # Pa
COOL, WARM = 294.15, 333.15  # K: supply air, and the air inside a warm cylinder
CP, R = 1004.5, 287.0  # J/(kg K), dry air
ISENTROPIC = R / CP  # exponent of temperature over pressure
SUPPLY = 80.0  # psi above the room
STEP = 0.1  # psi: what a gauge is read to
MASTER, MASTER_TOLERANCE = 1.016, 0.0127  # mm: bore of the tester's orifice
ORIFICE_TOLERANCE = 0.003  # mm, of the reference orifice
STROKE = 0.1  # m
REFERENCE, CANDIDATE, THIRD = "plain", "layered", "hard"


def mass_flux(upstream: Floats, downstream: Floats, temperature: float | Floats) -> Floats:
    """Mass flow over the area of an opening [kg/(s m²)]: absolute pressures [Pa], temperature [K] of air at rest."""
    gamma = 1 / (1 - ISENTROPIC)
    sonic = upstream * (2 / (gamma + 1)) ** (1 / ISENTROPIC)
    throat = np.minimum(np.maximum(downstream, sonic), upstream)
    cooled = temperature * (throat / upstream) ** ISENTROPIC
    speed = np.sqrt(2 * CP * (temperature - cooled))
    return np.asarray(speed * throat / (R * cooled), dtype=float)


def between(master: Floats, leak: Floats, supply: Floats, warm: Floats) -> Floats:
    """Absolute pressure [Pa] between master orifices and leaks into the room; areas in one unit, warm [K] of the leak.

    Halved until both pass the same mass.
    """
    low, high = np.full_like(leak, ROOM), np.array(supply, dtype=float)
    for _ in range(50):
        middle = (low + high) / 2
        more = master * mass_flux(supply, middle, COOL) > leak * mass_flux(middle, np.full_like(middle, ROOM), warm)
        low, high = np.where(more, middle, low), np.where(more, high, middle)
    return np.asarray((low + high) / 2, dtype=float)


# ---- what is drawn --------------------------------------------------------------------------------------------------


def errors(kind: str, shape: Sequence[int], rng: np.random.Generator) -> Floats:
    """Errors of readings with a standard deviation of one (of t3 too, its tails being what they are)."""
    if kind == "t3":
        return np.asarray(rng.standard_t(3, tuple(shape)) / math.sqrt(3), dtype=float)
    if kind == "laplace":
        return np.asarray(rng.laplace(0, 1 / math.sqrt(2), shape))
    found = rng.standard_normal(shape)
    if kind == "outliers":
        wild = rng.random(shape) < 0.05
        return np.asarray(np.where(wild, 5 * found, found) / math.sqrt(0.95 + 0.05 * 25))
    return np.asarray(found)


SKEW = 0.5  # of the logarithm of a lognormal effect


def effects(kind: str, shape: Sequence[int], rng: np.random.Generator) -> Floats:
    """What makes one build unlike the next, mean nought and standard deviation one, on the logarithm of the leak."""
    if kind == "t4":
        return np.asarray(rng.standard_t(4, shape) / math.sqrt(2))
    if kind == "exponential":
        return np.asarray(rng.exponential(1.0, shape) - 1)
    if kind == "lognormal":
        square = math.exp(SKEW**2)
        return np.asarray((rng.lognormal(0, SKEW, shape) - math.sqrt(square)) / math.sqrt(square * (square - 1)))
    return np.asarray(rng.standard_normal(shape))


@lru_cache
def mean_of_exponential(kind: str, sd: float) -> float:
    """Mean of exp(sd · effect): what a long run of builds averages to over what is typical of them."""
    rng = np.random.default_rng(1)
    return float(np.exp(sd * effects(kind, (1_000_000,), rng)).mean())


# ---- a scenario -----------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Scenario:
    """A kind of program. Relative standard deviations are of natural logarithms."""

    name: str
    design: str = "3+3"  # builds of each coating, else a name in `allocation`
    cylinders: int = 4
    level: float = 0.30  # mm², typical leak area of a seated cylinder
    levels: Mapping[str, float] = field(default_factory=dict)  # coating -> its level over that of the reference
    builds: str = "normal"  # distribution of what builds do
    between_builds: float = 0.08
    within_builds: float = 0.08
    positions: float = 0.0  # relative size of what places in the engine do
    scale: float = 7.0  # km, seating distance
    scale_scatter: float = 0.15  # of it, from engine to engine
    start: float = 1.0  # mm², typical leak area before the first start
    noise: str = "normal"
    noise_psi: float = 0.1
    repeats: int = 2
    gauges: bool = True  # whether the gauges err; their class is stated as 0.25 psi in any case
    reference: bool = True  # whether a reference orifice is read at every check
    orifice: float = 0.70  # mm, of that
    discharge: float = 0.03  # what the tester's orifice passes more or less than its bore says, at most
    tester_occasion: float = 0.01  # of all readings of a tester at a check of a build
    engine_occasion: float = 0.0  # of all cylinders of an engine at a check, its reference orifice apart
    late: bool = True  # whether the last check stands many seating distances on


GAUGE_CLASS = 0.25  # psi
MINUTES = {"first": 10.0, "second": 15.0, "third": 30.0, "fourth": 60.0, "last": 90.0}
LATE = 600.0  # minutes of the last phase, where it is late
SPEED = 1500.0  # rpm


def allocation(scenario: Scenario) -> list[list[str]]:
    """Coatings by build and cylinder, in the order of building."""
    n, both = scenario.cylinders, [REFERENCE, CANDIDATE]
    turned = both[::-1]
    if scenario.design == "mixed balanced":
        return [(both if build % 2 else turned) * (n // 2) for build in range(6)]
    if scenario.design == "mixed 6+2":
        return [(turned if build in {3, 6} else both) * (n // 2) for build in range(8)]
    if scenario.design == "mixed 3":
        return [(both if build % 2 else turned) * (n // 2) for build in range(3)]
    numbers = [int(part) for part in scenario.design.split("+")]
    names = [REFERENCE, CANDIDATE, THIRD][: len(numbers)]
    listed = []
    for turn in range(max(numbers)):
        listed += [[name] * n for name, number in zip(names, numbers, strict=True) if turn < number]
    return listed


@dataclass(frozen=True)
class Truth:
    """What is so in a program that was made. Areas in mm², [build, cylinder] and [build, cylinder, check]."""

    scenario: Scenario
    coatings: list[list[str]]
    km: Floats  # (checks,)
    phases: list[str]
    start: Floats
    plateau: Floats
    scale: Floats  # (builds,), km
    curve: Floats  # leak area by the seating curve
    area: Floats  # the same at that check: with what the occasion did to the engine
    to_lose: Floats
    typical: dict[str, float]  # of builds to come, geometric mean at the last check
    average: dict[str, float]  # of builds to come, arithmetic mean
    next_build: dict[str, float]  # geometric mean over the cylinders of one more build at the last check
    ratio: dict[str, float]  # coating over the reference

    @property
    def builds(self) -> list[str]:
        return [f"E{place + 1}" for place in range(len(self.coatings))]


def drawn(scenario: Scenario, rng: np.random.Generator) -> Truth:
    """The engines of one program."""
    coatings = allocation(scenario)
    shape = (len(coatings) + 1, scenario.cylinders)  # one more than is built: the next
    build = scenario.between_builds * effects(scenario.builds, (shape[0], 1), rng)
    own = scenario.within_builds * rng.standard_normal(shape)
    place = scenario.positions * np.linspace(1.0, -1.0, scenario.cylinders) * np.ones((shape[0], 1))
    place -= place.mean()
    seated = scenario.level * np.exp(build + own + place)
    over = np.array([[scenario.levels.get(name, 1.0) for name in names] for names in coatings])
    plateau = seated[:-1] * over
    start = scenario.start * np.exp(0.05 * rng.standard_normal(plateau.shape)) + plateau - scenario.level
    scale = scenario.scale * np.exp(scenario.scale_scatter * rng.standard_normal(len(coatings)))
    minutes = np.array([*list(MINUTES.values())[:-1], LATE if scenario.late else MINUTES["last"]])
    km = np.cumsum(minutes * SPEED) * 2 * STROKE / 1000
    left = np.exp(-km[None, :] / scale[:, None])[:, None, :]
    to_lose = (start - plateau)[:, :, None] * left
    curve = plateau[:, :, None] + to_lose
    shaken = np.exp(scenario.engine_occasion * rng.standard_normal((len(coatings), 1, len(km))))
    names = list(dict.fromkeys(name for row in coatings for name in row))
    typical, average = {}, {}
    # what is left to lose at the last check is part of the level compared, and negligible where that is late
    rest = scenario.start - scenario.level
    tail = rest * float(np.exp(-km[-1] / (scenario.scale * np.exp(scenario.scale_scatter * _GRID))).mean())
    for name in names:
        level = scenario.level * scenario.levels.get(name, 1.0)
        spread = mean_of_exponential(scenario.builds, scenario.between_builds)
        typical[name] = level + tail
        average[name] = level * spread * math.exp(scenario.within_builds**2 / 2) + tail
    return Truth(
        scenario, coatings, km, list(MINUTES), start, plateau, scale, curve, curve * shaken, to_lose, typical, average,
        {name: float(np.exp(np.log(seated[-1]).mean())) * scenario.levels.get(name, 1.0) + tail for name in names},
        {name: typical[name] / typical[REFERENCE] for name in names},
    )  # fmt: skip


_GRID = np.random.default_rng(2).standard_normal(4000)


def readings(truth: Truth, rng: np.random.Generator) -> list[dict[str, object]]:
    """The rows of the leak-down table."""
    scenario = truth.scenario
    off = rng.uniform(-GAUGE_CLASS, GAUGE_CLASS, 2) * scenario.gauges
    bore = MASTER + rng.uniform(-MASTER_TOLERANCE, MASTER_TOLERANCE)
    passes = rng.uniform(-scenario.discharge, scenario.discharge) if scenario.reference else 0.0
    master = math.pi / 4 * bore**2 * (1 + passes)
    hole = math.pi / 4 * (scenario.orifice + rng.uniform(-ORIFICE_TOLERANCE, ORIFICE_TOLERANCE)) ** 2
    shape = (len(truth.builds), len(truth.phases), scenario.cylinders + scenario.reference, scenario.repeats)
    leaks = np.moveaxis(truth.area, 2, 1)
    if scenario.reference:  # read first, in the place of a cylinder
        leaks = np.concatenate([np.full((*shape[:2], 1), hole), leaks], axis=2)
    leaks = np.repeat(leaks[..., None], scenario.repeats, axis=3)
    warm = np.full(shape[2], WARM)
    warm[: int(scenario.reference)] = COOL
    moved = np.exp(scenario.tester_occasion * rng.standard_normal((*shape[:2], 1, 1)))
    supply = SUPPLY + 0.15 * rng.standard_normal(shape)
    inside = between(master * moved, leaks, ROOM + supply * PSI, warm[:, None])
    shown = (inside - ROOM) / PSI + off[1] + scenario.noise_psi * errors(scenario.noise, shape, rng)
    found: list[dict[str, object]] = []
    for build, check, slot, turn in np.ndindex(shape):
        cylinder = slot + 1 - scenario.reference
        found.append(
            {
                "engine": truth.builds[build], "cylinder": cylinder or "", "phase": truth.phases[check],
                "repeat": turn + 1, "tester": "T1", "reference": "" if cylinder else "R1",
                "supply [psig]": _read(supply[build, check, slot, turn] + off[0]),
                "pressure [psig]": _read(shown[build, check, slot, turn]), "crank": "tdc" if cylinder else "",
                "oil": "dry" if cylinder else "", "ambient [kPa absolute]": f"{ROOM / 1000:.0f}",
                "air_temperature [degC]": f"{COOL - 273.15:.0f}",
                "metal_temperature [degC]": f"{WARM - 273.15:.0f}" if cylinder else "",
                "to_crankcase [%]": "100" if cylinder else "", "date": f"2031-{1 + build:02d}-{10 + check}",
            }
        )  # fmt: skip
    return found


def _read(pressure: float) -> str:
    return f"{round(pressure / STEP) * STEP:.1f}"


# ---- the folder -----------------------------------------------------------------------------------------------------

DEFINITIONS = f"""\
format: 1
coatings:
  {REFERENCE}: {{title: plain}}
  {CANDIDATE}: {{title: layered}}
  {THIRD}: {{title: hard}}
engine_types:
  pump: {{title: pump engine, cylinders: CYLINDERS, bore: 87.5 mm, stroke: {STROKE * 1000:.0f} mm}}
testers:
  T1:
    title: cell tester
    orifice: {MASTER} mm
    orifice_tolerance: {MASTER_TOLERANCE} mm
    gauge_class: {GAUGE_CLASS} psi
    calibrations: [{{on: 2031-01-01, due: 2032-12-31}}]
reference_orifices:
  R1: {{title: reference, diameter: ORIFICE mm, tolerance: {ORIFICE_TOLERANCE} mm}}
"""

LEAK, LOST = "leakdown.crankcase", "seating.to_lose"
LEVEL, STILL = 1.15, 0.03  # of the rule for a seated cylinder: of the typical level, and mm²
HAIR = 1e-4  # relative distance of a limit from the worst: by a hair it is broken, or kept


def criteria(truth: Truth) -> dict[str, tuple[str, float, bool | None]]:
    """Scope, limit [mm²] and what is so: each limit a hair from the truth, or at it (None: neither).

    The worst cylinder and the worst build of the candidate by their seating curves at the last check; for "typical"
    and "average" the means over builds to come.
    """
    mine = np.array([[name == CANDIDATE for name in row] for row in truth.coatings])
    last = truth.curve[:, :, -1]
    cylinder = float(last[mine].max())
    build = max(float(row[own].mean()) for row, own in zip(last, mine, strict=True) if own.any())
    return {
        "cylinder-broken": ("every cylinder", cylinder * (1 - HAIR), False),
        "cylinder-kept": ("every cylinder", cylinder * (1 + HAIR), True),
        "build-broken": ("every build", build * (1 - HAIR), False),
        "build-kept": ("every build", build * (1 + HAIR), True),
        "typical": ("mean of builds", truth.typical[CANDIDATE], None),
        "average": ("mean of builds", truth.average[CANDIDATE], None),
    }


def program_file(truth: Truth, upto: int = 0, rule: str = "") -> str:
    """The program file; with `upto` of the first so many builds only, with `rule` what stands under decide."""
    names = list(dict.fromkeys(name for row in truth.coatings for name in row if name != REFERENCE))
    last = truth.phases[-1]
    lines = [
        "format: 1", "title: Made", "question: Which seals better?", "invented: true", "compare:",
        f"  reference: {REFERENCE}", f"  candidates: [{', '.join(names)}]",
        f"  primary: {{measure: {LEAK}, phase: {last}}}", "  also:", "    - {measure: seating.scale, at: a1}",
        f"    - {{measure: {LOST}, phase: second}}", f"  planned_builds: {len(truth.coatings)}",
        "criteria:", "  stated: 2031-01-01", "  list:",
    ]  # fmt: skip
    for key, (scope, limit, _) in criteria(truth).items():
        lines += [
            f"    - {{id: {key}, title: {key}, measure: {LEAK}, phase: {last}, at_most: {limit:.9f} mm2, "
            f"scope: {scope}, coatings: [{CANDIDATE}]}}"
        ]
    lines += [
        f"    - {{id: below, title: below, measure: {LEAK}, phase: {last}, below_reference: true, "
        f"scope: mean of builds, coatings: [{CANDIDATE}]}}",
        f"seating: {{to_lose: {STILL} mm2, level: {LEVEL * truth.scenario.level:.6f} mm2}}",
        "leakdown: {supply: 80 psig, supply_band: 2 psi, oil: dry}",
        "phases:",
    ]
    before = 0.0
    for phase, km in zip(truth.phases, truth.km, strict=True):
        minutes = (km - before) * 1000 / (2 * STROKE * SPEED)
        before = km
        lines += [
            f"  - {{id: {phase}, title: {phase}, kind: run, condition: warm, records: [leakdown], schedule: "
            f"[{{time: {minutes:.6f} min, speed: {SPEED:.0f} rpm}}]}}"
        ]
    lines += [f"decide: {rule}"] if rule else []
    lines += ["builds:"]
    listed = list(zip(truth.builds, truth.coatings, strict=True))[: upto or None]
    for number, (name, row) in enumerate(listed, start=1):
        rings = ", ".join(f"{place}: {{coating: {coating}, lot: L{number}}}" for place, coating in enumerate(row, 1))
        lines += [f"  - {{id: {name}, block: K{number}, number: 1, engine_type: pump, rings: {{{rings}}}}}"]
    lines += ["records:", "  leakdown:", "    - {file: records/leakdown.csv}", ""]
    return "\n".join(lines)


def files(truth: Truth, rng: np.random.Generator, upto: int = 0, rule: str = "") -> dict[str, str]:
    """The texts of a programs folder, by path."""
    there = {"", *truth.builds[: upto or None]}
    rows = [row for row in readings(truth, rng) if row["engine"] in there]
    table = io.StringIO(newline="")
    writer = csv.DictWriter(table, fieldnames=list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    scenario = truth.scenario
    defined = DEFINITIONS.replace("CYLINDERS", str(scenario.cylinders)).replace("ORIFICE", str(scenario.orifice))
    return {
        "definitions.yaml": defined,
        "made/program.yaml": program_file(truth, upto, rule),
        "made/records/leakdown.csv": table.getvalue(),
    }


def write(folder: Path, scenario: Scenario, rng: np.random.Generator, upto: int = 0, rule: str = "") -> Truth:
    """Make a programs folder and give what is so in it; `upto` as it stood when so many builds were in."""
    truth = drawn(scenario, rng)
    for path, text in files(truth, rng, upto, rule).items():
        target = folder / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_text(text, encoding="utf-8", newline="\n")
    return truth
