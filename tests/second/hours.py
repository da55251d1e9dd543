"""Program folders of long runs: logs of a row a minute with the time of day, over blow-by that drifts as is known.

Imports nothing of the package under test, nor of `simulate`. The wander of the bench holds a level until, after a while
drawn from an exponential distribution, another is drawn: it is remembered as long as one that creeps, and is of another
shape. Its levels may have heavy tails. The hall warms by day as a saw does, not as a sine.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from second.running import DEFINITIONS

Floats = NDArray[np.float64]

LOAD, POINT = (50, 1800.0, 140.0), (10, 1300.0, 60.0)  # min, rpm, N m of a cycle
BEGIN = datetime(2031, 3, 3, 6, tzinfo=UTC)  # a Monday
PHASE = "long"


@dataclass(frozen=True)
class Scenario:
    """A kind of program of four engines."""

    name: str
    hours: int = 120
    holds: tuple[float, ...] = (1.0,)  # h a level of the wander holds, of each of its parts
    wanders: float = 0.01  # scatter of the wander, a share of the flow
    tails: str = "normal"  # of its levels
    daily: float = 0.01  # from the coldest to the warmest of the hall, a share of the flow
    night: int = 0  # h at a standstill after every sixteen
    swapped: float = 0.0  # share of the run at which the oil is changed, and with it the level by 2 %
    odd: float = 0.0  # share of rows that are a quarter off
    lost: float = 0.0  # share of the rows that were not recorded, in stretches of two hours


@dataclass
class Engine:
    """What is so of one engine."""

    level: float  # L/min at the printed conditions, in the middle of the hours
    drift: float  # % per 100 h
    swapped: float = 0.0  # h run
    clock: list[float] = field(default_factory=list)  # h by the clock of each row


def levels(scenario: Scenario, clock: Floats, rng: np.random.Generator) -> Floats:
    """The wander at each row, a share."""
    found = np.zeros(len(clock))
    for hold in scenario.holds:
        ends = np.cumsum(rng.exponential(hold, int(4 * clock[-1] / hold) + 20))
        drawn = (
            rng.standard_t(4, len(ends)) / math.sqrt(2) if scenario.tails == "t4" else rng.standard_normal(len(ends))
        )
        found += drawn[np.searchsorted(ends, clock)]
    return scenario.wanders / math.sqrt(len(scenario.holds)) * found


def log(engine: Engine, scenario: Scenario, rng: np.random.Generator) -> str:
    """The log of the long run."""
    minutes = np.arange(60 * scenario.hours)
    hour = minutes / 60
    clock = hour + scenario.night * np.floor(hour / 16) if scenario.night else hour
    at_point = minutes % 60 >= LOAD[0]
    speed, torque = (np.where(at_point, POINT[n], LOAD[n]) for n in (1, 2))
    of_day = (clock + 6) % 24
    hall = np.where(of_day < 15, of_day / 15, (24 - of_day) / 9) - 0.5
    line = 1 + engine.drift / 100 * (hour - scenario.hours / 2) / 100
    step = np.where(hour >= engine.swapped, 1.02, 1.0) if engine.swapped else 1.0
    flow = (
        engine.level
        * np.where(at_point, 1.0, 1.5)
        * line
        * step
        * (1 + levels(scenario, clock, rng) + scenario.daily * hall)
    )
    flow = flow * (1 + 0.01 * rng.laplace(size=len(flow)) / math.sqrt(2))
    flow = np.where(rng.uniform(size=len(flow)) < scenario.odd, flow * rng.choice([0.75, 1.25], len(flow)), flow)
    kept = np.ones(len(flow), dtype=bool)
    for _ in range(round(scenario.lost * scenario.hours / 2)):
        begin = rng.integers(len(flow) - 120)
        kept[begin : begin + 120] = False
    engine.clock = clock.tolist()
    rows = ["Stamp,n,M,Q,oil,p,T"]
    for at in np.flatnonzero(kept):
        stamp = BEGIN + timedelta(minutes=round(60 * float(clock[at])))
        rows.append(
            f"{stamp:%Y-%m-%dT%H:%M:%S},{speed[at] + rng.normal(0, 2):.0f},{torque[at] + rng.normal(0, 0.5):.1f},"
            f"{flow[at]:.2f},{88 + rng.normal(0, 0.3):.1f},100.0,20.0"
        )
    return "\n".join([*rows, ""])


def program_file(engines: dict[str, Engine], scenario: Scenario) -> str:
    """The program file."""
    load, point = (f"time: {t} min, speed: {n:.0f} rpm, torque: {m:.0f} N m" for t, n, m in (LOAD, POINT))
    lines = [
        "format: 1", "title: Long", "question: Which lasts?", "invented: true", "compare:",
        "  reference: plain", "  candidates: [layered]", f"  primary: {{measure: blowby.last, phase: {PHASE}}}",
        "  planned_builds: 4", "seating: {to_lose: 0.03 mm2, level: 0.35 mm2}",
        "leakdown: {supply: 80 psig, supply_band: 2 psi}",
        "run: {speed_band: 50 rpm, torque_band: 10 N m, held: 90 %}",
        "phases:", "  - {id: cold, title: cold, kind: static check}",
        f"  - {{id: {PHASE}, title: long, kind: durability, records: [runlog], repeat: {scenario.hours},",
        f"     schedule: [{{{load}}}, {{{point}, reference_point: true}}]}}",
        "builds:",
    ]  # fmt: skip
    for number, name in enumerate(engines):
        lines.append(f"  - {{id: {name}, block: K{number}, number: 1, engine_type: pump, oil: sae, "
                     f"rings: {{all: {{coating: {('plain', 'layered')[number % 2]}, lot: L{number}}}}}}}")  # fmt: skip
    lines += ["records:", "  runlog:"]
    lines += [
        f"    - {{file: logs/{name}.csv, engine: {name}, phase: {PHASE}, time: {{clock: Stamp}}, "
        "channels: {speed: {header: n, unit: rpm}, torque: {header: M, unit: N m}, "
        "blowby: {header: Q, unit: L/min actual, meter: M1}, oil_temperature: {header: oil, unit: degC}, "
        "blowby_pressure: {header: p, unit: kPa absolute}, blowby_temperature: {header: T, unit: degC}}}"
        for name in engines
    ]
    if scenario.swapped or scenario.night:
        lines.append("  events: [{file: records/events.csv}]")
    return "\n".join([*lines, ""])


def write(folder: Path, scenario: Scenario, rng: np.random.Generator) -> dict[str, Engine]:
    """Make a programs folder and give what is so in it, by build."""
    swapped = round(scenario.swapped * scenario.hours)
    engines = {
        f"E{n + 1}": Engine(rng.uniform(8, 14), rng.uniform(-12, 12), swapped) for n in range(4)
    }  # fmt: skip
    texts = {"definitions.yaml": DEFINITIONS, "made/program.yaml": program_file(engines, scenario)}
    texts |= {f"made/logs/{name}.csv": log(engine, scenario, rng) for name, engine in engines.items()}
    rows = [
        f"{name},{PHASE},{60 * engine.clock[60 * swapped]:.0f},oil-change,"
        for name, engine in engines.items() if swapped
    ] + [
        f"{name},{PHASE},{60 * (16 * day + 8 * (day - 1)):.0f},stop,{scenario.night}"
        for name in engines for day in range(1, scenario.hours // 16) if scenario.night
    ]  # fmt: skip
    if rows:
        texts["made/records/events.csv"] = "\n".join(["engine,phase,at [min],what,lasted [h]", *rows, ""])
    for path, text in texts.items():
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / path).write_text(text, encoding="utf-8", newline="\n")
    return engines
