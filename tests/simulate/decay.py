"""Pressure decays with a known leak: mass and energy of the air in a closed cylinder, step by step.

The walls warm the gas as it expands, so that it is neither isothermal nor adiabatic; the leak may be a slit, whose area
falls with the pressure. Nothing of the package under test is used.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from simulate import flow
from simulate.engine import KELVIN, MM2, Chance, Check, CylinderTruth

CHAMBER, HOSE = 63e-6, 12e-6  # m3, as written down
OFF = 1.5e-6  # m3, sd of the chamber: chambers are known to 3e-6
WALLS = 0.4  # W/K: 0.018 m2 at some 20 W/(m2 K), of the size of free convection under pressure; from memory
SUPPLY = 80.0  # psig
RATE = 100  # samples a second
NOISE, STEP = 0.25, 0.1  # kPa
REPEAT = 0.015  # sd of ln(area): pressure off, turned over, dead centre found again
CELSIUS, AMBIENT = 58.0, 100.6  # of metal and gas; kPa


@dataclass(frozen=True)
class Closed:
    """A cylinder that was charged and closed. SI."""

    leak: flow.Leak
    volume: float
    start: float  # Pa abs
    ambient: float = flow.STANDARD_ATMOSPHERE
    wall: float = 293.15
    walls: float = WALLS  # W/K; 0 adiabatic, very large isothermal


def pressures(closed: Closed, times: Sequence[float], longest: float = 5e-4) -> Iterator[float]:
    """Absolute pressures [Pa] at these times [s], in order: fourth-order steps no longer than `longest` [s]."""
    gas, heat_capacity = flow.R_AIR, flow.R_AIR / (flow.GAMMA - 1)
    mass, energy = closed.start * closed.volume / (gas * closed.wall), closed.start * closed.volume / (flow.GAMMA - 1)

    def rates(state: tuple[float, float]) -> tuple[float, float]:
        kept, inner = state
        warm = inner / (kept * heat_capacity)
        pressure = kept * gas * warm / closed.volume
        lost = flow.mass_flow(closed.leak.area(pressure), pressure, closed.ambient, warm)
        return -lost, -lost * (heat_capacity + gas) * warm + closed.walls * (closed.wall - warm)

    now = 0.0
    for time in times:
        steps = max(1, round((time - now) / longest + 0.5)) if time > now else 0
        for _ in range(steps):
            by = (time - now) / steps
            state = mass, energy
            first = rates(state)
            second = rates((state[0] + by / 2 * first[0], state[1] + by / 2 * first[1]))
            third = rates((state[0] + by / 2 * second[0], state[1] + by / 2 * second[1]))
            last = rates((state[0] + by * third[0], state[1] + by * third[1]))
            mass, energy = (
                state[at] + by / 6 * (first[at] + 2 * second[at] + 2 * third[at] + last[at]) for at in (0, 1)
            )
        now = time
        yield energy * (flow.GAMMA - 1) / closed.volume


# ---- the records of the 2026 example --------------------------------------------------------------------------------


def leak_of(cylinder: CylinderTruth, check: Check) -> flow.Leak:
    """Gaps and valves as holes, contact of the faces as a slit, as the leak-down of the same check finds them [m2]."""
    gaps = min(cylinder.floor, cylinder.ring_area(check))
    holes = gaps + cylinder.exhaust_area(check.phase) + cylinder.intake
    warm = CELSIUS + KELVIN
    return flow.leak_at_80_psig(holes * MM2, (cylinder.ring_area(check) - gaps) * MM2, warm, warm, AMBIENT * 1e3)


def record(seed: int, build: str, check: Check, cylinders: Sequence[CylinderTruth], day: str) -> bytes:
    """Two decays of each cylinder at one check, down to some 45 % of the pressure, a row a sample."""
    lines = ["cylinder,repeat,time [s],pressure [kPa gauge],date"]
    for cylinder in cylinders:
        usual = leak_of(cylinder, check)
        volume = CHAMBER + HOSE + Chance(seed, build, cylinder.cylinder, "chamber, closed").normal(OFF)
        for repeat in (1, 2):
            chance = Chance(seed, build, cylinder.cylinder, repeat, "decay")
            shaken = chance.spread(REPEAT)
            leak = flow.Leak(usual.hole * shaken, usual.slit * shaken, usual.at)
            start = AMBIENT * 1e3 + (SUPPLY + chance.normal(0.2)) * flow.PSI
            closed = Closed(leak, volume, start, AMBIENT * 1e3, CELSIUS + KELVIN)
            times = [n / RATE for n in range(400)]
            for time, pressure in zip(times, pressures(closed, times, 2e-3), strict=True):
                gauge = pressure / 1e3 - AMBIENT + chance.normal(NOISE)
                if gauge < 0.45 * SUPPLY * flow.PSI / 1e3:
                    break
                lines.append(f"{cylinder.cylinder},{repeat},{time:g},{STEP * round(gauge / STEP):.1f},{day}")
    return ("\n".join(lines) + "\n").encode()
