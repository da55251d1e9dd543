"""Program folders of engines that run: logs of blow-by that wanders; oil filled, drawn, topped up, lost and drained.

Imports nothing of the package under test, nor of `simulate`. The flow loses what it stands above its level with the
distance slid, times a slow wander and the noise of a second; a log has a hole in which the engine ran on, and the
endurance run is logged once a minute. Oil is lost evenly, part of it as droplets that take their metal along, in steps
of a minute; what a drain leaves is of the engine.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

STROKE = 0.1  # m
POINT, BETWEEN = (90, 1300.0, 60.0), (290, 1800.0, 140.0)  # s, rpm, N m
CYCLES = {"first": 5, "second": 5, "third": 6}
ENDURANCE = 20.0  # h
ROOM, GAS = 100.4, 315.0  # kPa, K at the meter
REFERENCE_PRESSURE, REFERENCE_TEMPERATURE = 100.0, 293.15  # kPa, K: what flows are printed at
CHARGE, LEFT, FRESH = 5.2, 0.08, 1.0  # kg, share, mg/kg
AT_ZERO, SHARE, MASSES = 0.2, 0.03, 0.003  # of the laboratory [mg/kg, -]; of a mass [-]


@dataclass(frozen=True)
class Scenario:
    """A kind of program of four engines."""

    name: str
    wander: float = 5.0  # s, its time constant
    wanders: float = 0.02  # its scatter, a share of the flow
    drop: float = 0.6  # of the level, to lose at the start
    hole: int = 150  # s of the second log that were not recorded
    droplets: bool = True  # any share of the lost oil leaves as droplets; else none
    second: float = CHARGE  # kg filled after the drain that ends the run-in; 0: to the mark


@dataclass
class Engine:
    """What is so of one engine."""

    level: float  # L/min at the printed conditions
    scale: float  # km
    points: dict[tuple[str, str], float] = field(default_factory=dict)  # (phase, point) -> flow without its wander
    lost: list[float] = field(default_factory=list)  # by fill [g/h]
    metal: dict[str, float] = field(default_factory=dict)  # sample -> iron made up to it [mg]


def wandering(count: int, step: float, scenario: Scenario, rng: np.random.Generator) -> Floats:
    """x[k] = a x[k-1] + sqrt(1 - a²) z[k], a = exp(-step/time)."""
    keep = math.exp(-step / scenario.wander)
    found = np.empty(count)
    now = rng.standard_normal()
    for at, kick in enumerate(rng.standard_normal(count)):
        now = keep * now + math.sqrt(1 - keep**2) * kick
        found[at] = now
    return scenario.wanders * found


def logs(engine: Engine, scenario: Scenario, rng: np.random.Generator) -> dict[str, str]:
    """The logs of one engine by phase; its points are told."""
    made, slid = {}, 0.0
    for phase, cycles in {**CYCLES, "endurance": 0}.items():
        steps = [POINT, BETWEEN] * cycles or [(round(3600 * ENDURANCE), *BETWEEN[1:])]
        every = 1 if cycles else 60
        long = sum(step[0] for step in steps)
        seconds = np.arange(0, long, every)
        ends = np.cumsum([step[0] for step in steps])
        speed, torque = (np.array([s[n] for s in steps])[np.searchsorted(ends, seconds, "right")] for n in (1, 2))
        km = slid + np.cumsum(speed / 60 * 2 * STROKE * every) / 1000
        slid = float(km[-1])
        load = np.where(speed == POINT[1], 1.0, 1.5)
        settling = engine.level * load * (1 + scenario.drop * np.exp(-km / engine.scale))
        unrest = wandering(len(seconds), every, scenario, rng) + 0.01 * rng.standard_normal(len(seconds))
        shown = settling * (1 + unrest) * (REFERENCE_PRESSURE / ROOM) * (GAS / REFERENCE_TEMPERATURE)
        for turn in range(cycles):
            later = slice(turn * 380 + 45, turn * 380 + 90)
            engine.points[phase, f"ref-{turn + 1}"] = float(settling[later].mean())
        kept = np.ones(len(seconds), dtype=bool)
        if phase == "second":
            kept[1000 : 1000 + scenario.hole] = False
        table = io.StringIO(newline="")
        table.write("t,n,M,Q,oil,p,T\n")
        for at in np.flatnonzero(kept):
            table.write(
                f"{seconds[at]},{speed[at] + rng.normal(0, 2):.0f},{torque[at] + rng.normal(0, 0.5):.1f},"
                f"{shown[at]:.2f},{88 + rng.normal(0, 0.3):.1f},{ROOM:.1f},{GAS - 273.15:.1f}\n"
            )
        made[phase] = table.getvalue()
    return made


def oil(name: str, engine: Engine, scenario: Scenario, rng: np.random.Generator) -> list[dict[str, object]]:
    """Rows of the oil table of one engine; what it lost and made is told."""
    ends = np.cumsum([cycles * 380 / 3600 for cycles in CYCLES.values()])
    run_in, until = float(ends[-1]), float(ends[-1]) + ENDURANCE
    share = LEFT * (1 + rng.uniform(-0.5, 0.5))
    flying = rng.uniform() if scenario.droplets else 0.0
    rates = [rng.uniform(0.01, 0.03), rng.uniform(0.01, 0.03)]  # kg/h
    rows: list[dict[str, object]] = []
    inside, iron, made, now = 0.0, 0.0, 0.0, 0.0

    def told(what: str, phase: str, mass: float, **more: object) -> None:
        weighed = f"{mass * (1 + MASSES * rng.standard_normal()):.4f}"
        rows.append(
            {"engine": name, "what": what, "phase": phase, "hours [h]": f"{now:.5f}", "mass [kg]": weighed, **more}
        )

    def fill(phase: str, mass: float) -> None:
        nonlocal inside, iron
        told("fill" if phase in {"first", "endurance"} and mass > 1 else "top-up", phase, mass)
        inside, iron = inside + mass, iron + mass * FRESH

    def run(to: float, rate: float) -> None:
        nonlocal inside, iron, made, now
        for hours in np.diff(np.append(np.arange(now, to, 1 / 60), to)):
            worn = hours * (12.0 if now < run_in else 1.5)
            made, now = made + worn, now + hours
            iron += worn - flying * rate * hours * iron / inside
            inside -= rate * hours

    def sample(phase: str, number: int) -> None:
        nonlocal inside, iron
        held = iron / inside
        read = held + math.hypot(AT_ZERO, SHARE * held) * rng.standard_normal()
        told("sample", phase, 0.1, sample=f"{name}-{number}", **{"Fe [mg/kg]": f"{max(read, 0.0):.2f}"})
        engine.metal[f"{name}-{number}"] = made
        inside, iron = inside - 0.1, iron - 0.1 * held

    def drain(phase: str) -> None:
        nonlocal inside, iron
        stays = share * CHARGE * (1 + 0.1 * rng.standard_normal())
        told("drain", phase, inside - stays)
        inside, iron = stays, iron * stays / inside

    fill("first", CHARGE)
    run(run_in, rates[0])
    sample("third", 1)
    drain("third")
    fill("endurance", scenario.second or CHARGE - inside)
    run(run_in + ENDURANCE / 2, rates[1])
    sample("endurance", 2)
    fill("endurance-top", 0.3)
    rows[-1]["phase"] = "endurance"
    run(until, rates[1])
    sample("endurance", 3)
    drain("endurance")
    engine.lost = [1000 * rate for rate in rates]
    return rows


DEFINITIONS = f"""\
format: 1
coatings: {{plain: {{title: plain}}, layered: {{title: layered}}}}
engine_types:
  pump: {{title: pump engine, cylinders: 4, bore: 87.5 mm, stroke: {STROKE * 1000:.0f} mm}}
meters: {{M1: {{title: pistons, principle: positive-displacement, scale: actual}}}}
oils: {{sae: {{title: oil, fresh: {{Fe: {FRESH} mg/kg}}, fresh_error: {{Fe: 0 mg/kg}}}}}}
laboratories:
  lab: {{title: laboratory, method: ICP, precision: {{Fe: {{at_zero: {AT_ZERO} mg/kg, share: {100 * SHARE} %}}}}}}
"""


def program_file(names: Sequence[str]) -> str:
    """The program file."""
    point, between = (f"time: {s} s, speed: {n:.0f} rpm, torque: {m:.0f} N m" for s, n, m in (POINT, BETWEEN))
    load = f"speed: {BETWEEN[1]:.0f} rpm, torque: {BETWEEN[2]:.0f} N m"
    lines = [
        "format: 1", "title: Run", "question: Which settles sooner?", "invented: true", "compare:",
        "  reference: plain", "  candidates: [layered]", "  primary: {measure: blowby.last, phase: third}",
        "  planned_builds: 4", "seating: {to_lose: 0.03 mm2, level: 0.35 mm2}",
        "leakdown: {supply: 80 psig, supply_band: 2 psi}",
        f"oil: {{mass_error: {100 * MASSES} %, left_after_drain: {100 * LEFT} %}}",
        "run: {speed_band: 50 rpm, torque_band: 10 N m, held: 90 %}",
        "phases:", "  - {id: cold, title: cold, kind: static check}",
    ]  # fmt: skip
    for phase, cycles in CYCLES.items():
        lines += [
            f"  - {{id: {phase}, title: {phase}, kind: run, repeat: {cycles}, records: [runlog, oil],",
            f"     schedule: [{{{point}, reference_point: true}}, {{{between}}}]}}",
        ]
    lines += [
        "  - {id: endurance, title: endurance, kind: durability, records: [runlog, oil],",
        f"     schedule: [{{time: {ENDURANCE} h, {load}}}]}}",
        "builds:",
    ]
    for number, name in enumerate(names):
        coating = ("plain", "layered")[number % 2]
        lines.append(f"  - {{id: {name}, block: K{number}, number: 1, engine_type: pump, oil: sae, "
                     f"rings: {{all: {{coating: {coating}, lot: L{number}}}}}}}")  # fmt: skip
    lines += ["records:", "  oil: [{file: records/oil.csv, constants: {laboratory: lab}}]", "  runlog:"]
    for name in names:
        for phase in (*CYCLES, "endurance"):
            lines.append(
                f"    - {{file: logs/{name}-{phase}.csv, engine: {name}, phase: {phase}, time: {{column: t, unit: s}}, "
                "channels: {speed: {header: n, unit: rpm}, torque: {header: M, unit: N m}, "
                "blowby: {header: Q, unit: L/min actual, meter: M1}, oil_temperature: {header: oil, unit: degC}, "
                "blowby_pressure: {header: p, unit: kPa absolute}, blowby_temperature: {header: T, unit: degC}}}"
            )
    return "\n".join([*lines, ""])


def write(folder: Path, scenario: Scenario, rng: np.random.Generator) -> dict[str, Engine]:
    """Make a programs folder and give what is so in it, by build."""
    engines = {f"E{n + 1}": Engine(rng.uniform(8, 14), 7.0 * math.exp(0.2 * rng.standard_normal())) for n in range(4)}
    texts, rows = {"definitions.yaml": DEFINITIONS, "made/program.yaml": program_file(list(engines))}, []
    for name, engine in engines.items():
        texts |= {f"made/logs/{name}-{phase}.csv": text for phase, text in logs(engine, scenario, rng).items()}
        rows += oil(name, engine, scenario, rng)
    table = io.StringIO(newline="")
    writer = csv.DictWriter(table, list(dict.fromkeys(key for row in rows for key in row)), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    for path, text in {**texts, "made/records/oil.csv": table.getvalue()}.items():
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / path).write_text(text, encoding="utf-8", newline="\n")
    return engines
