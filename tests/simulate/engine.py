"""A seeded engine with known truth: how its rings seat, and what a leak-down tester reads on it.

Everything random comes from `random.Random.random`, whose sequence for a seed Python guarantees, so that tables
written years apart are the same to the byte. Areas are in mm2, distances in km, pressures in psi (gauge) as shown.
"""

from __future__ import annotations

import math
import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import NormalDist
from typing import Literal

from simulate import flow

MM2 = 1e-6  # m2
KELVIN = 273.15  # K at 0 degC


class Chance:
    """Normal deviates that are the same on every machine and version."""

    def __init__(self, *names: object) -> None:
        self._random = random.Random("/".join(map(str, names)))  # noqa: S311 - a simulator, no secret

    def normal(self, sd: float = 1.0) -> float:
        """A normal deviate of mean zero."""
        return NormalDist().inv_cdf(max(self._random.random(), 1e-12)) * sd

    def spread(self, sd: float) -> float:
        """A factor around one, log-normal."""
        return math.exp(self.normal(sd))

    def between(self, low: float, high: float) -> float:
        """A number spread evenly between two."""
        return low + (high - low) * self._random.random()


# ---- truth ----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Behaviour:
    """How a coating seats, on the average of all engines to come."""

    start: float  # mm2, ring leak when first fired
    plateau: float  # mm2, ring leak once seated
    scale: float  # km of sliding after which 1/e of the difference is left
    growth: float  # mm2/h of durability running
    face_wear: float  # um of radial face wear up to the pulls
    face_wear_rate: float  # um/h of durability running
    density: float  # g/cm3 of what wears off


NITRIDED = Behaviour(0.92, 0.30, 6.0, 1.0e-4, 0.7, 0.012, 7.8)
HARD = Behaviour(0.90, 0.34, 9.0, 4.0e-5, 0.2, 0.004, 6.1)
GRADED = Behaviour(0.88, 0.24, 2.5, 6.0e-5, 1.1, 0.005, 6.1)


@dataclass(frozen=True)
class Tester:
    """A tester as it really is; what is known of it stands in the definitions file."""

    id: str
    nominal: float  # mm, diameter of the master orifice
    factor: float = 1.0  # true over nominal master area, discharge included
    supply_offset: float = 0.0  # psi, what the supply gauge shows too much
    cylinder_offset: float = 0.0  # psi
    resolution: float = 0.1  # psi, or % of a percent scale
    percent: bool = False


PERFECT = Tester("T0", 1.016, resolution=0.0)


@dataclass(frozen=True)
class Scatter:
    """Relative standard deviations of what differs."""

    build_level: float = 0.04  # start and plateau, build to build
    build_scale: float = 0.08  # seating scale, build to build
    cylinder_level: float = 0.04  # start and plateau, cylinder to cylinder
    occasion_tester: float = 0.012  # a check, in the tester: the reference orifice shows it too
    occasion_engine: float = 0.016  # a check, in the engine: shared by all its cylinders
    repeat: float = 0.015  # pressure off, turned over, dead centre found again
    reference_repeat: float = 0.005


NONE = Scatter(0, 0, 0, 0, 0, 0, 0)


@dataclass(frozen=True)
class Check:
    """When leak-down is measured: what the engine has run since its rings were fitted."""

    phase: str
    km: float
    fired: bool = True
    hours: float = 0.0  # of durability running
    assembly: int = 1
    tester: Tester = PERFECT
    supply: float = 80.0  # psi, gauge


CHECKS = (
    Check("cold-build", 0.0, fired=False),
    Check("run-in-10", 2.04),
    Check("run-in-25", 6.14),
    Check("run-in-60", 17.84),
    Check("pulls", 22.12),
    Check("durability", 886.12, hours=40.0),
)


@dataclass(frozen=True)
class CylinderTruth:
    """What the rings and valves of one cylinder are."""

    cylinder: int
    coating: str
    start: float  # mm2
    plateau: float  # mm2
    scale: float  # km
    growth: float = 0.0  # mm2/h
    floor: float = 0.0  # mm2 of the plateau that goes through the ring gaps
    exhaust: Mapping[str, float] | float = 0.0  # mm2 past the exhaust valve, or by phase
    intake: float = 0.0  # mm2
    refitted_start: float = 0.0  # mm2, at the start of a second assembly
    face_wear: float = 0.0  # um up to the pulls
    face_wear_rate: float = 0.0  # um/h
    off_curve: float = 0.75  # of the curve, before the engine was ever fired: assembly oil seals
    onset: float = math.inf  # h of durability running at which it scuffs
    jump: float = 0.0  # mm2 it leaks more from then on

    def ring_area(self, check: Check) -> float:
        """Leak area to the crankcase [mm2] at a check, without any scatter."""
        start = self.start if check.assembly == 1 else self.refitted_start
        area = self.plateau + (start - self.plateau) * math.exp(-check.km / self.scale) + self.growth * check.hours
        area += self.jump * (check.hours > self.onset)
        return area if check.fired else area * self.off_curve

    def to_lose(self, check: Check) -> float:
        """Leak still to lose [mm2] after a check."""
        start = self.start if check.assembly == 1 else self.refitted_start
        return (start - self.plateau) * math.exp(-check.km / self.scale)

    def exhaust_area(self, phase: str) -> float:
        """Leak area past the exhaust valve [mm2]."""
        return self.exhaust.get(phase, 0.0) if isinstance(self.exhaust, Mapping) else self.exhaust


@dataclass(frozen=True)
class Occasion:
    """What one check had that no other had, as factors on the leak area."""

    phase: str
    tester: float
    engine: float


@dataclass(frozen=True)
class EngineTruth:
    """One build as it is."""

    engine: str
    cylinders: tuple[CylinderTruth, ...]
    occasions: tuple[Occasion, ...] = ()

    def cylinder(self, number: int) -> CylinderTruth:
        return next(each for each in self.cylinders if each.cylinder == number)

    def occasion(self, phase: str) -> Occasion:
        return next(each for each in self.occasions if each.phase == phase)


@dataclass(frozen=True)
class Oddity:
    """Something put into the tables on purpose. `reading` is the id the reader gives it; empty: a whole check."""

    kind: str
    engine: str
    cylinder: int
    phase: str
    what: str
    reading: str = ""


@dataclass(frozen=True)
class Truth:
    """All that is known beforehand of a set of tables."""

    seed: int
    engines: Mapping[str, EngineTruth]
    checks: Mapping[str, tuple[Check, ...]]
    oddities: tuple[Oddity, ...] = ()


# ---- what is read ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Reading:
    """One reading of a leak-down tester, with what a careful operator writes beside it."""

    engine: str
    phase: str
    cylinder: int  # 0: the reference orifice in the cylinder's place
    repeat: int
    tester: str
    supply: float  # psi, gauge
    pressure: float | None  # psi, gauge, in the cylinder; None on a percent scale
    percent: float | None  # %
    area: float  # mm2, what a faultless tester would have shown: scatter in, gauges out
    reference: str = ""
    oil: Literal["dry", "wet", ""] = ""
    shares: Mapping[str, int] | None = None  # % to crankcase, exhaust, intake
    crankcase_flow: float | None = None  # L/min of air as it leaves, at room pressure and temperature
    ambient: float = 101.325  # kPa
    air_temperature: float = 20.0  # degC
    metal_temperature: float | None = None  # degC
    since_shutdown: float | None = None  # min
    condition: str = ""
    crank: str = ""
    approached: str = ""
    locked: str = ""
    turns: int | None = None
    wait: float | None = None  # s
    date: str = ""
    operator: str = ""
    remark: str = ""


def steps(value: float, resolution: float) -> float:
    """The value as a gauge of this resolution shows it."""
    return value if resolution == 0 else round(value / resolution) * resolution


def read(
    tester: Tester,
    leak: flow.Leak,
    supply: float,
    ambient: float = 101.325,
    tester_factor: float = 1.0,
    air: float = 20.0,
    metal: float | None = None,
) -> tuple[float, float | None, float | None]:
    """Supply [psi gauge], cylinder [psi gauge] or percent [%] as a tester shows them; the other of the two is None.

    `tester_factor` multiplies the area an untroubled tester would seem to see: a master that passes less that day makes
    every leak look larger. `ambient` is in kPa; `air` and `metal` in degC, metal being that of the cylinder, whose
    temperature the air has taken before it leaves (the supply's if left out).
    """
    outside, cool = ambient * 1000, air + KELVIN
    warm = cool if metal is None else metal + KELVIN
    master = flow.circle(tester.nominal / 1000) * tester.factor / tester_factor
    inside = flow.cylinder_pressure(master, leak.area, supply * flow.PSI + outside, outside, cool, warm)
    cylinder = (inside - outside) / flow.PSI + tester.cylinder_offset
    shown = supply + tester.supply_offset
    if tester.percent:
        return round(supply, 1), None, steps(100 * (shown - cylinder) / shown, tester.resolution)
    return steps(shown, tester.resolution), steps(cylinder, tester.resolution), None


# ---- an engine ------------------------------------------------------------------------------------------------------


def cylinders_of(
    seed: int, name: str, coatings: Mapping[int, tuple[str, Behaviour]], scatter: Scatter = Scatter()
) -> tuple[CylinderTruth, ...]:
    """Cylinders of one build, drawn around their coatings: level shared in part by the build, scale wholly."""
    chance = Chance(seed, name, "rings")
    level, scale = chance.spread(scatter.build_level), chance.spread(scatter.build_scale)
    cylinders = []
    for number, (coating, usual) in sorted(coatings.items()):
        own = chance.spread(scatter.cylinder_level)
        cylinders.append(
            CylinderTruth(
                number,
                coating,
                start=usual.start * level * own * chance.spread(scatter.cylinder_level),
                plateau=usual.plateau * level * own,
                scale=usual.scale * scale,
                growth=usual.growth,
                floor=0.5 * usual.plateau * level * own,
                exhaust=chance.between(0.008, 0.018) if scatter.repeat else 0.0,
                intake=chance.between(0.003, 0.008) if scatter.repeat else 0.0,
                refitted_start=0.6 * usual.start * level * own,
                face_wear=usual.face_wear * chance.spread(2 * scatter.cylinder_level),
                face_wear_rate=usual.face_wear_rate * chance.spread(2 * scatter.cylinder_level),
            )
        )
    return tuple(cylinders)


def take(
    chance: Chance,
    truth: EngineTruth,
    number: int,
    check: Check,
    repeat: int,
    scatter: Scatter,
    *,
    supply: float | None = None,
    wet: bool = False,
    ambient: float = 101.325,
    air: float = 20.0,
    metal: float | None = None,
) -> Reading:
    """One reading of one cylinder at a check; `ambient` in kPa, temperatures in degC."""
    cylinder, occasion = truth.cylinder(number), truth.occasion(check.phase)
    gaps = min(cylinder.floor, cylinder.ring_area(check))
    face = cylinder.ring_area(check) - gaps
    valves = cylinder.exhaust_area(check.phase) + cylinder.intake
    outside, cool = ambient * 1000, air + KELVIN
    warm = cool if metal is None else metal + KELVIN
    usual = flow.leak_at_80_psig((gaps + valves) * MM2, face * MM2, cool, warm, outside)
    if wet:  # oil fills most of the face contact and part of the gaps, for as long as it stays there
        gaps, face = 0.85 * gaps, 0.45 * face
    shaken = occasion.engine * chance.spread(scatter.repeat) * MM2
    rings = flow.Leak(gaps * shaken, face * shaken, usual.at)
    leak = replace(rings, hole=rings.hole + valves * shaken)
    nominal = check.supply if supply is None else supply
    shown, pressure, percent = read(check.tester, leak, nominal, ambient, occasion.tester, air, metal)
    inside = outside + flow.PSI * (nominal * (1 - (percent or 0.0) / 100) if pressure is None else pressure)
    past = flow.mass_flow(rings.area(inside), inside, outside, warm)
    return Reading(
        truth.engine,
        check.phase,
        number,
        repeat,
        check.tester.id,
        shown,
        pressure,
        percent,
        area=(leak.hole + leak.slit) / MM2 * occasion.tester,
        oil="wet" if wet else "dry",
        crankcase_flow=past / (outside / (flow.R_AIR * cool)) * 60_000,
        ambient=ambient,
        air_temperature=air,
        metal_temperature=metal,
    )


def reference(
    chance: Chance,
    truth: EngineTruth,
    check: Check,
    repeat: int,
    scatter: Scatter,
    diameter: float,
    ambient: float = 101.325,
    air: float = 20.0,
) -> Reading:
    """One reading with a known hole [mm] in the cylinder's place; `ambient` in kPa, `air` in degC."""
    factor = truth.occasion(check.phase).tester
    area = flow.circle(diameter / 1000) * chance.spread(scatter.reference_repeat)
    shown, pressure, percent = read(check.tester, flow.Leak(area), check.supply, ambient, factor, air)
    return Reading(
        truth.engine, check.phase, 0, repeat, check.tester.id, shown, pressure, percent, area / MM2 * factor,
        reference="R1", ambient=ambient, air_temperature=air,
    )  # fmt: skip


def occasions_of(seed: int, name: str, checks: Sequence[Check], scatter: Scatter) -> tuple[Occasion, ...]:
    """What each check has of its own."""
    chance = Chance(seed, name, "occasions")
    return tuple(
        Occasion(each.phase, chance.spread(scatter.occasion_tester), chance.spread(scatter.occasion_engine))
        for each in checks
    )


def engine(
    seed: int,
    cylinders: int = 4,
    checks: Sequence[Check] = CHECKS,
    *,
    coating: str = "nitrided",
    behaviour: Behaviour = NITRIDED,
    scatter: Scatter = Scatter(),
    repeats: int = 2,
    name: str = "E1",
) -> tuple[EngineTruth, list[Reading]]:
    """One engine of one coating and its readings, the reference orifice's among them.

    Any number of engines comes from any number of seeds. `scatter=NONE` with the faultless tester of `CHECKS` reads the
    truth itself.
    """
    every = dict.fromkeys(range(1, cylinders + 1), (coating, behaviour))
    truth = EngineTruth(name, cylinders_of(seed, name, every, scatter), occasions_of(seed, name, checks, scatter))
    chance = Chance(seed, name, "readings")
    readings = []
    for check in checks:
        readings += [
            take(chance, truth, number, check, repeat, scatter)
            for number in range(1, cylinders + 1)
            for repeat in range(1, repeats + 1)
        ]
        readings += [reference(chance, truth, check, repeat, scatter, 0.70) for repeat in (1, 2)]
    return truth, readings
