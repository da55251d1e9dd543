"""A compression test from first principles: a starter, a leaking cylinder that its walls cool, a gauge behind a valve.

Each stroke starts full of room air as the intake valve closes; crank step by crank step the gas is squeezed, leaks
through a constant area, gives heat to the walls and fills the gauge while it stands above it. What the gauge holds
after the strokes is read. Nothing of the package under test is used.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from simulate import flow
from simulate.engine import KELVIN, MM2, Chance, Check, CylinderTruth

BORE, STROKE, ROD = 0.0875, 0.100, 0.165  # m
RATIO = 10.5  # swept and chamber over chamber
GAUGE = 25e-6  # m3 behind the check valve, hose and gauge
CLOSES = 55.0  # degrees after the bottom at which the intake valve closes
HEAT = 110.0  # W/(m2 K) while cranking; of the size textbooks give for motored engines, from memory
REPEAT = 0.008  # sd of ln p between repeats
CHAMBER = 0.008  # sd of ln(chamber volume) from cylinder to cylinder
STEP = 10.0  # kPa, of the gauge


@dataclass(frozen=True)
class Cranking:
    """How a cylinder is cranked."""

    rpm: float = 210.0
    strokes: int = 7
    ambient: float = 100.6e3  # Pa
    wall: float = 294.0  # K
    oil: float = 0.0  # m3 in the chamber
    filled: float = 0.98  # of the ambient pressure at the bottom; a closed throttle fills less


def held(area: float, crank: Cranking, chamber: float = 1.0) -> float:
    """Gauge pressure [Pa] held after the strokes; `area` of the leak [m2], `chamber` over the nominal one [-]."""
    clearance = math.pi / 4 * BORE**2 * STROKE / (RATIO - 1) * chamber - crank.oil
    gauge, gas, steps = crank.ambient, flow.R_AIR, 240
    heat_capacity = gas / (flow.GAMMA - 1)
    span = math.radians(180 - CLOSES)
    time = span / (crank.rpm * math.pi / 30) / steps
    for _ in range(crank.strokes):
        volume, warm = clearance + _travel(-span) * math.pi / 4 * BORE**2, 0.5 * (crank.wall + 294.0)
        mass = crank.filled * crank.ambient * volume / (gas * warm)
        for step in range(1, steps + 1):
            after = clearance + _travel(span * (step / steps - 1)) * math.pi / 4 * BORE**2
            pressure = mass * gas * warm / volume
            surface = math.pi / 2 * BORE**2 + 4 * volume / BORE
            lost = flow.mass_flow(area, pressure, crank.ambient, warm) * time
            work = pressure * (after - volume) + lost * gas * warm
            warm += (HEAT * surface * (crank.wall - warm) * time - work) / (mass * heat_capacity)
            mass, volume = mass - lost, after
            pressure = mass * gas * warm / volume
            if pressure > gauge:
                moved = (pressure - gauge) / (gas * (warm / volume + crank.wall / GAUGE))
                mass, gauge = mass - moved, gauge + moved * gas * crank.wall / GAUGE
    return gauge - crank.ambient


def _travel(angle: float) -> float:
    """Distance of the piston from dead centre [m] at a crank angle [rad]."""
    crank = STROKE / 2
    return crank + ROD - crank * math.cos(angle) - math.sqrt(ROD**2 - (crank * math.sin(angle)) ** 2)


# ---- the record of the 2026 example ---------------------------------------------------------------------------------

HEAD = (
    "engine", "phase", "cylinder", "repeat", "pressure [kPa gauge]", "strokes", "cranking_speed [rpm]", "throttle",
    "battery [V]", "oil_temperature [degC]", "oil", "oil_added [mL]", "ambient [kPa absolute]", "instrument", "date",
)  # fmt: skip
WET = 5.0  # mL


@dataclass(frozen=True)
class Tested:
    """One test of a build: when, how warm, and whether cranking speeds were written down."""

    build: str
    check: Check
    cylinders: Sequence[CylinderTruth]
    day: str
    warm: float  # degC
    speeds: bool = True
    wet: bool = False


def leak_of(cylinder: CylinderTruth, check: Check) -> float:
    """All of its leak [m2]; at cranking speed the rings are no tighter than at rest."""
    return (cylinder.ring_area(check) + cylinder.exhaust_area(check.phase) + cylinder.intake) * MM2


def truth(seed: int, tested: Tested, number: int) -> float:
    """Pressure [kPa] of a dry cylinder at 210 rpm without any scatter of repeats."""
    cylinder = next(each for each in tested.cylinders if each.cylinder == number)
    area = leak_of(cylinder, tested.check)
    return held(area, Cranking(wall=tested.warm + KELVIN), _chamber(seed, tested.build, number)) / 1e3


def _chamber(seed: int, build: str, number: int) -> float:
    return Chance(seed, build, number, "chamber").spread(CHAMBER)


def record(seed: int, tests: Sequence[Tested]) -> bytes:
    """The table, a row a reading."""
    lines = [",".join(HEAD)]
    for tested in tests:
        lines += [",".join(str(row[name]) for name in HEAD) for row in _rows(seed, tested)]
    return ("\n".join(lines) + "\n").encode()


def _rows(seed: int, tested: Tested) -> Iterator[Mapping[str, object]]:
    chance = Chance(seed, tested.build, tested.check.phase, "compression")
    asked = [(each, n, 0.0) for each in tested.cylinders for n in (1, 2)]
    asked += [(each, 1, WET) for each in tested.cylinders] if tested.wet else []
    for cylinder, repeat, oil in asked:
        rpm = 210.0 + chance.normal(3.0)
        crank = Cranking(rpm=rpm, wall=tested.warm + KELVIN, oil=oil * 1e-6)
        sealed = 0.7 if oil else 1.0  # what a few mL leave open
        chamber = _chamber(seed, tested.build, cylinder.cylinder)
        pressure = held(sealed * leak_of(cylinder, tested.check), crank, chamber) / 1e3 * chance.spread(REPEAT)
        yield dict(zip(HEAD, (
            tested.build, tested.check.phase, cylinder.cylinder, repeat, f"{STEP * round(pressure / STEP):.0f}",
            crank.strokes, f"{rpm:.0f}" if tested.speeds else "", "open", f"{11.1 + chance.normal(0.1):.1f}",
            f"{tested.warm:.0f}", "wet" if oil else "dry", f"{oil:g}" if oil else "", f"{crank.ambient / 1e3:.1f}",
            "gauge-1", tested.day,
        ), strict=True))  # fmt: skip


def slower(crank: Cranking, share: float) -> Cranking:
    """The same, cranked at a share of its speed."""
    return replace(crank, rpm=share * crank.rpm)
