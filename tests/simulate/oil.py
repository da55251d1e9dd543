"""Oil of an engine as it is: metal worn into it, oil lost, what is drawn and filled, and what a laboratory reports.

Its own physics and its own draws: nothing of the package under test, and no draw of the other records. Metal of the top
rings follows from the wear of their faces, as their masses do.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

from simulate import sheets
from simulate.engine import Chance, EngineTruth

HOURS = {"run-in-10": 10 / 60, "run-in-25": 15 / 60, "run-in-60": 35 / 60, "pulls": 14 / 60, "durability": 40.0}
CHARGE = 5.2  # kg
LEFT = 0.08  # share of the charge that a drain leaves
FACE = math.pi * 87.5e-3 * 1.2e-3  # m2, running face of a top ring 1.2 mm high
COATINGS: Mapping[str, tuple[float, Mapping[str, float]]] = {  # density kg/m3, shares of the mass
    "nitrided": (7800.0, {"Fe": 0.80, "Cr": 0.18}),
    "hard-crn": (6100.0, {"Cr": 0.77}),
    "graded-crn": (6100.0, {"Cr": 0.77}),
}
# Other parts: mg while running in (by 1/e in half an hour), mg/h for ever.
PARTS: Mapping[str, tuple[float, float]] = {"Fe": (15.0, 0.45), "Al": (5.0, 0.10), "Cu": (4.0, 0.06), "Pb": (2.0, 0.03),
                                            "Sn": (0.6, 0.01)}  # fmt: skip
SEALANT = 9.0  # mg of silicon, leached while running in
PASTE = 7.0  # mg of molybdenum of the assembly paste, in the oil from the first turn
FRESH = {
    "gas-40": {"Fe": 1.0, "Cr": 0.2, "Al": 0.4, "Cu": 0.3, "Pb": 0.3, "Sn": 0.1, "Si": 4.0, "Mo": 62.0, "Ca": 1850.0,
               "Zn": 320.0, "P": 290.0},
}  # fmt: skip
METALS = ("Fe", "Cr", "Al", "Cu", "Pb", "Sn", "Si", "Mo", "Ca", "Zn", "P")
LOST = {"run-in": 16.0, "durability": 15.0}  # g/h
FADE = 0.5  # h, of the running-in of the other parts
FADE_RING = 0.25  # h, of the ring faces


@dataclass(frozen=True)
class OilPlan:
    """What was done to the oil of one build."""

    phases: Sequence[str]  # run, in order
    batch: str
    late: Mapping[str, float] = field(default_factory=dict)  # phase -> minutes after shutdown
    places: Mapping[str, str] = field(default_factory=dict)  # phase -> draw point
    missing: Sequence[str] = ()  # phases without a sample
    not_detected: Sequence[str] = ()  # elements entered as ND where below the limit, else <
    not_measured: Sequence[str] = ()
    kept: str = ""  # where the second bottles are kept; "": custody was not written down
    unsealed: Sequence[str] = ()  # phases whose sample nobody says was sealed


@dataclass
class Drawn:
    """One sample as the laboratory reports it."""

    engine: str
    phase: str
    name: str
    minutes: float
    place: str
    batch: str
    date: str
    mass: float  # kg
    reported: Mapping[str, str]  # element -> cell
    condition: Mapping[str, float]
    hours: float | None = None  # since the cold build; None: at the end of its phase
    custody: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class OilTruth:
    """What is known of the oil of one build."""

    made: Mapping[str, Mapping[str, float]]  # phase of a sample -> element -> mg made in all up to it
    consumed: Sequence[tuple[str, float]]  # phase of the drain, g/h on that fill


@dataclass(frozen=True)
class Record:
    """What was written down of one build."""

    samples: Sequence[Drawn]
    events: Sequence[tuple[str, str, str, float | None, float]]  # engine, phase, what, hours, kg
    truth: OilTruth


DETECTION = {"Sn": 1.0, "Pb": 0.5, "Cr": 0.1, "Fe": 0.2, "Al": 0.3, "Cu": 0.1, "Si": 0.5, "Mo": 0.5}


def run(seed: int, engine: EngineTruth, plan: OilPlan, dates: Mapping[str, str]) -> Record:
    """Run one build in steps of a second or a minute, drawing a sample at the end of each phase."""
    chance = Chance(seed, engine.engine, "oil")
    spread = {symbol: chance.spread(0.12) for symbol in (*PARTS, "lost")}
    bias = {symbol: chance.spread(0.015) for symbol in METALS}  # of the batch
    fresh = FRESH["gas-40"]
    oil, metal = 0.0, dict.fromkeys(METALS, 0.0)  # kg, mg
    made = dict.fromkeys(METALS, 0.0)
    events: list[tuple[str, str, str, float | None, float]] = []
    samples: list[Drawn] = []
    truth: dict[str, dict[str, float]] = {}
    consumed: list[tuple[str, float]] = []
    hours = lost = since = 0.0

    def fill(kind: str, phase: str, mass: float, at: float | None) -> None:
        nonlocal oil
        oil += mass
        for symbol in METALS:
            metal[symbol] += mass * fresh[symbol]
        events.append((engine.engine, phase, kind, at, weighed(chance, mass)))

    def take(mass: float) -> None:
        nonlocal oil
        share = mass / oil
        oil -= mass
        for symbol in METALS:
            metal[symbol] *= 1 - share

    def drain(phase: str) -> None:
        nonlocal lost, since
        mass = oil - LEFT * chance.spread(0.03) * CHARGE
        take(mass)
        events.append((engine.engine, phase, "drain", None, weighed(chance, mass)))
        consumed.append((phase, 1000 * lost / (hours - since)))
        lost, since = 0.0, hours

    fill("fill", "cold-build", CHARGE, None)
    metal["Mo"] += PASTE
    made["Mo"] += PASTE
    for phase in plan.phases:
        if phase == "durability":
            fill("fill", phase, CHARGE * (1 - LEFT), None)
        rate = LOST["durability" if phase == "durability" else "run-in"] * spread["lost"] / 1000  # kg/h
        steps = round(HOURS[phase] * 120)
        step = HOURS[phase] / steps
        for number in range(steps):
            for symbol, mass in worn(engine, phase, hours, hours + step, spread).items():
                metal[symbol] += mass
                made[symbol] += mass
            gone = rate * step
            for symbol in METALS:  # droplets: the metal goes with the oil
                metal[symbol] *= 1 - gone / oil
            oil, lost, hours = oil - gone, lost + gone, hours + step
            if phase == "durability" and number + 1 == round(steps * 0.55):
                fill("top-up", phase, 0.35, hours)
        mass = round(0.1 * chance.spread(0.05), 3)
        readings = {symbol: metal[symbol] / oil for symbol in METALS}
        cells = reported(chance, readings, bias, plan)
        name = f"{engine.engine}-{phase}"
        minutes = plan.late.get(phase, round(chance.between(2.2, 4.8), 1))
        condition = condition_of(hours - since)
        truth[phase] = dict(made)
        if phase not in plan.missing:
            place = plan.places.get(phase, "dipstick")
            samples.append(
                Drawn(
                    engine.engine,
                    phase,
                    name,
                    minutes,
                    place,
                    plan.batch,
                    dates[phase],
                    mass,
                    cells,
                    condition,
                    custody=_custody(plan, phase, dates),
                )
            )
            take(mass)
        if phase in {"pulls", "durability"}:
            drain(phase)
    return Record(samples, events, OilTruth(truth, consumed))


def condition_of(on_fill: float) -> dict[str, float]:
    """What a laboratory finds of oil that was in use for so many hours."""
    thick = 14.3 * (1 + 0.0012 * max(on_fill, 0.0))
    return {
        "viscosity_40": round(132.0 * (thick / 14.3) ** 1.35, 1), "viscosity_100": round(thick, 2),
        "acid_number": round(1.1 + 0.012 * on_fill, 2), "base_number": round(5.4 - 0.018 * on_fill, 1),
        "oxidation": round(1.0 + 0.09 * on_fill, 0), "nitration": round(1.0 + 0.11 * on_fill, 0),
    }  # fmt: skip


def _custody(plan: OilPlan, phase: str, dates: Mapping[str, str]) -> dict[str, str]:
    """From the sump to the laboratory: all bottles of a build are sent two days after its last sample."""
    if not plan.kept:
        return {}
    last = date.fromisoformat(max(dates[each] for each in plan.phases))
    days = {"sent": 2, "received": 5, "analysed": 8}
    until = date.fromisoformat(dates[phase]) + timedelta(days=270)
    return {
        "sealed": "" if phase in plan.unsealed else "yes",
        **{name: (last + timedelta(days=after)).isoformat() for name, after in days.items()},
        "retained_until": until.isoformat(), "kept": plan.kept,
    }  # fmt: skip


def worn(engine: EngineTruth, phase: str, begin: float, end: float, spread: Mapping[str, float]) -> dict[str, float]:
    """Metal worn off between two running times [mg]."""

    def fades(scale: float) -> float:
        return math.exp(-begin / scale) - math.exp(-end / scale)

    lost = {
        symbol: spread[symbol] * (first * fades(FADE) + rate * (end - begin)) for symbol, (first, rate) in PARTS.items()
    }
    lost["Si"] = SEALANT * fades(FADE)
    lost["Mo"] = 0.0
    for cylinder in engine.cylinders:
        density, shares = COATINGS[cylinder.coating]
        early = sheets.wear_of(cylinder, 0.0)["top"]  # um by the end of the pulls
        later = sheets.wear_of(cylinder, 40.0)["top"] - early
        depth = early * fades(FADE_RING) + (later * (end - begin) / 40.0 if phase == "durability" else 0.0)
        for symbol, share in shares.items():
            lost[symbol] = lost.get(symbol, 0.0) + depth * 1e-6 * FACE * density * share * 1e6
    return lost


def weighed(chance: Chance, mass: float) -> float:
    """A mass as the scales show it [kg]."""
    return round(mass * (1 + chance.normal(0.002)), 3)


def reported(chance: Chance, readings: Mapping[str, float], bias: Mapping[str, float], plan: OilPlan) -> dict[str, str]:
    """What the report says of each element [mg/kg]."""
    cells = {}
    for symbol, true in readings.items():
        read = true * bias[symbol] + chance.normal(0.05 + 0.01 * true)
        limit = DETECTION.get(symbol, 0.1)
        if symbol in plan.not_measured:
            cells[symbol] = "-"
        elif read < limit:
            cells[symbol] = "ND" if symbol in plan.not_detected else f"<{limit:g}"
        else:
            cells[symbol] = f"{read:.1f}"
    return cells


# ---- tables ---------------------------------------------------------------------------------------------------------

CONDITION = {
    "viscosity_40": "cSt", "viscosity_100": "cSt", "acid_number": "", "base_number": "", "oxidation": "",
    "nitration": "",
}  # fmt: skip


def wide(samples: Sequence[Drawn]) -> bytes:
    """A table with a column for each element."""
    condition = [f"{name} [{unit}]" if unit else name for name, unit in CONDITION.items()]
    custody = dict.fromkeys(name for s in samples for name in s.custody)
    head = ["sample", "engine", "phase", "date", "since_shutdown [min]", "draw_point", "batch", "mass [g]",
            *(f"{symbol} [mg/kg]" for symbol in METALS), *condition, *custody]  # fmt: skip
    rows = [
        [s.name, s.engine, s.phase, s.date, f"{s.minutes:g}", s.place, s.batch, f"{1000 * s.mass:.0f}",
         *(s.reported[symbol] for symbol in METALS), *(f"{s.condition[name]:g}" for name in CONDITION),
         *(s.custody.get(name, "") for name in custody)]
        for s in samples
    ]  # fmt: skip
    if any(s.hours is not None for s in samples):
        head.append("hours [h]")
        rows = [[*row, "" if s.hours is None else f"{s.hours:.2f}"] for row, s in zip(rows, samples, strict=True)]
    return _bytes([head, *rows])


def long(samples: Sequence[Drawn]) -> bytes:
    """A table with a row for each element, as some laboratories deliver it."""
    head = ["Sample", "Build", "Drawn in", "Date", "After stop", "Drawn at", "Batch", "Taken", "Element", "Result"]
    rows = [
        [s.name, s.engine, s.phase, s.date, f"{s.minutes:g}", s.place, s.batch, f"{1000 * s.mass:.0f}", symbol, cell]
        for s in samples
        for symbol, cell in s.reported.items()
    ]
    return _bytes([head, *rows])


def events(records: Sequence[Record], *, litres: float = 0.0) -> bytes:
    """What was filled, topped up and drained; by volume where a density [kg/L] is given."""
    head = ["engine", "phase", "what", "hours [h]", "volume [L]" if litres else "mass [kg]"]
    rows = [
        [engine, phase, what, "" if at is None else f"{at:.2f}", f"{mass / litres:.2f}" if litres else f"{mass:.3f}"]
        for record in records
        for engine, phase, what, at, mass in record.events
    ]
    return _bytes([head, *rows])


def _bytes(rows: Sequence[Sequence[str]]) -> bytes:
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(rows)
    return out.getvalue().encode()
