"""Forward physics of the two-gauge leak-down test, written apart from the package under test.

Air goes from a regulated supply through the tester's master orifice into the cylinder and leaves it through leaks.
Each opening passes what an ideal nozzle of its area would pass; the cylinder pressure is where both flows are equal.

References: any text on one-dimensional gas dynamics gives the mass flow parameter as a function of the Mach number,
A p0 sqrt(gamma / (R T0)) M (1 + (gamma - 1)/2 M^2)^(-(gamma + 1)/(2 (gamma - 1))).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from scipy.optimize import brentq

GAMMA = 1.4  # dry air
R_AIR = 287.0  # J/(kg K)
STANDARD_ATMOSPHERE = 101_325.0  # Pa
PSI = 6894.757293168361  # Pa: 0.45359237 kg x 9.80665 m/s2 over 0.0254 m squared
INCH = 0.0254  # m


def circle(diameter: float) -> float:
    """Area [m2] of a round hole of this diameter [m]."""
    return math.pi / 4 * diameter**2


def mass_flow(area: float, upstream: float, downstream: float, temperature: float) -> float:
    """Mass flow [kg/s] of air through an ideal nozzle of `area` [m2].

    Pressures are absolute [Pa], `temperature` [K] is that of the air at rest before it.
    Zero where there is no pressure drop. The Mach number in the throat stays at one once the flow is choked.
    """
    if upstream <= downstream:
        return 0.0
    half = (GAMMA - 1) / 2
    mach = min(1.0, math.sqrt((float((upstream / downstream) ** ((GAMMA - 1) / GAMMA)) - 1) / half))
    thinning = float((1 + half * mach**2) ** (-(GAMMA + 1) / (2 * (GAMMA - 1))))
    return area * upstream * math.sqrt(GAMMA / (R_AIR * temperature)) * mach * thinning


def cylinder_pressure(
    master: float,
    leak: Callable[[float], float],
    supply: float,
    ambient: float,
    supply_temperature: float = 293.15,
    leak_temperature: float | None = None,
) -> float:
    """Absolute pressure [Pa] between a master orifice [m2] and a leak whose area [m2] may depend on that pressure.

    `supply` and `ambient` are absolute [Pa]. `leak_temperature` [K] is that of the air before the leak; the supply's if
    left out.
    """
    warm = supply_temperature if leak_temperature is None else leak_temperature

    def surplus(pressure: float) -> float:
        return mass_flow(master, supply, pressure, supply_temperature) - mass_flow(
            leak(pressure), pressure, ambient, warm
        )

    return float(brentq(surplus, ambient, supply, xtol=1e-6, rtol=1e-14))


def in_series(first: float, second: float, upstream: float, ambient: float) -> float:
    """Area [m2] of the one opening that passes what two behind each other pass; absolute pressures [Pa]."""
    between = cylinder_pressure(first, lambda _: second, upstream, ambient)
    return mass_flow(first, upstream, between, 293.15) / mass_flow(1.0, upstream, ambient, 293.15)


@dataclass(frozen=True)
class Leak:
    """What a cylinder leaks through at 80 psig: holes keep their area, slits do not.

    A slit a few micrometres wide is laminar: its flow goes with p^2 - p_ambient^2, so that its area as an ideal nozzle
    goes with (p^2 - p_ambient^2)/p. `slit` [m2] is its area at the cylinder pressure `at` [Pa, absolute].
    """

    hole: float
    slit: float = 0.0
    at: float = STANDARD_ATMOSPHERE + 76 * PSI

    def area(self, pressure: float) -> float:
        """Area [m2] of both at a cylinder pressure [Pa, absolute]."""
        if self.slit == 0 or pressure <= STANDARD_ATMOSPHERE:
            return self.hole
        return self.hole + self.slit * _laminar(pressure) / _laminar(self.at)


def _laminar(pressure: float) -> float:
    return (pressure**2 - STANDARD_ATMOSPHERE**2) / pressure


def leak_at_80_psig(
    hole: float,
    slit: float,
    supply_temperature: float = 293.15,
    leak_temperature: float = 293.15,
    ambient: float = STANDARD_ATMOSPHERE,
) -> Leak:
    """The leak whose whole area [m2] is `hole` + `slit` on a nominal 0.040 in tester at 80 psig in these conditions."""
    supply = ambient + 80 * PSI
    master = circle(0.040 * INCH)
    at = cylinder_pressure(master, lambda _: hole + slit, supply, ambient, supply_temperature, leak_temperature)
    return Leak(hole, slit, at)
