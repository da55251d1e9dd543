"""Power of an engine at the reference air of a standard: vapour in the air, correction factors, where they hold.

Pressures [Pa absolute], temperatures [K], humidity as a share of saturation [-]. A factor times what was observed is
what the engine would have given in the reference air.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

from sitegen.vocabulary import Refused

Standard = Literal["SAE J1349", "SAE J607", "ISO 1585", "ISO 3046-1"]
STANDARDS: Final[tuple[Standard, ...]] = ("SAE J1349", "SAE J607", "ISO 1585", "ISO 3046-1")
Ignition = Literal["spark", "compression"]
Charging = Literal["none", "boosted", "charge-cooled"]

# ISO 3046-1, table of exponents a, m, n, s. Diesel: as an exercise of a university prints them; gas: from memory.
_EXPONENTS: Final = {
    ("compression", "none"): (1.0, 1.0, 0.75, 0.0),
    ("compression", "charge-cooled"): (0.0, 0.7, 1.2, 1.0),
    ("spark", "none"): (1.0, 0.86, 0.55, 0.0),
}
_KELVIN = 273.15


@dataclass(frozen=True)
class Air:
    """What the engine breathed."""

    temperature: float  # K, at the inlet
    pressure: float  # Pa absolute, of the station, not reduced to the level of the sea
    humidity: float  # share of saturation [-] ...
    humidity_at: float | None = None  # ... at this temperature [K]; None: at that of the inlet

    @property
    def vapour(self) -> float:
        """Partial pressure of water [Pa]."""
        return self.humidity * saturation(self.temperature if self.humidity_at is None else self.humidity_at)

    @property
    def dry(self) -> float:
        """Pressure of the air without its vapour [Pa absolute]."""
        return self.pressure - self.vapour


@dataclass(frozen=True)
class Rule:
    """Which standard, and what it asks of the engine."""

    standard: Standard
    ignition: Ignition = "spark"
    charging: Charging = "none"
    efficiency: float = 0.8  # mechanical [-]; ISO 3046-1, whose usual value this is (from memory)
    fuel: float | None = None  # kg per m3 displaced and cycle; of ISO 1585, compression ignition
    coolant: float | None = None  # K, of the charge cooler; of ISO 3046-1


def saturation(temperature: float) -> float:
    """Saturation pressure of water [Pa] at a temperature [K], 273.15 to 647 K.

    IAPWS R7-97 (2012), region 4, equation 30.

    >>> round(saturation(300.0), 5)
    3536.58941
    """
    n1, n2, n3, n4, n5 = 1167.0521452767, -724213.16703206, -17.073846940092, 12020.824702470, -3232555.0322333
    n6, n7, n8, n9, n10 = 14.915108613530, -4823.2657361591, 405113.40542057, -0.23855557567849, 650.17534844798
    theta = temperature + n9 / (temperature - n10)
    a, b = theta**2 + n1 * theta + n2, n3 * theta**2 + n4 * theta + n5
    c = n6 * theta**2 + n7 * theta + n8
    return float(1e6 * (2 * c / (-b + math.sqrt(b**2 - 4 * a * c))) ** 4)


def factor(rule: Rule, air: Air) -> float:
    """Factor [-] that brings an observed torque or power to the reference air of the standard.

    Refuses: `air-out-of-range` where the standard's correction does not hold, `correction-not-known` where it has none
    for such an engine or something it asks for is not stated.
    """
    if air.dry <= 0 or not 0 <= air.humidity <= 1:
        raise Refused("air-out-of-range")
    return _OF[rule.standard](rule, air)


def _j1349(rule: Rule, air: Air) -> float:
    """SAE J1349 (form of 1990): 1.180 (990 hPa/p)·((t + 273)/298)^0.5 − 0.18, p dry.

    Holds from 15 to 35 °C and from 90 to 105 kPa (from memory).
    """
    if rule.ignition != "spark" or rule.charging != "none":
        raise Refused("correction-not-known")
    celsius = air.temperature - _KELVIN
    if not (15 <= celsius <= 35 and 90e3 <= air.dry <= 105e3):
        raise Refused("air-out-of-range")
    return 1.180 * (99e3 / air.dry) * math.sqrt((celsius + 273) / 298) - 0.18


def _j607(rule: Rule, air: Air) -> float:
    """SAE J607: (29.92 inHg/p)·((F + 460)/520)^0.5, p dry, in inches of mercury at 32 °F."""
    if rule.ignition != "spark" or rule.charging != "none":
        raise Refused("correction-not-known")
    fahrenheit = 1.8 * (air.temperature - _KELVIN) + 32
    return 29.92 / (air.dry / 3386.389) * math.sqrt((fahrenheit + 460) / 520)


def _iso_1585(rule: Rule, air: Air) -> float:
    """ISO 1585: spark ignition (99 kPa/p)^1.2·(T/298)^0.6, in 0.93 to 1.07; compression ignition fa^fm, in 0.9 to 1.1.

    fm = 0.036 qc − 1.14 between 37.2 and 65 mg/(L·cycle), else 0.2 and 1.2; limits from memory.
    """
    pressure, heat = 99e3 / air.dry, air.temperature / 298
    found: float
    if rule.ignition == "spark":
        if rule.charging != "none":
            raise Refused("correction-not-known")
        found, low, high = pressure**1.2 * heat**0.6, 0.93, 1.07
    else:
        if rule.fuel is None:
            raise Refused("correction-not-known")
        q = 1e3 * rule.fuel  # g/m3 displaced is mg/L
        fm = 0.2 if q < 37.2 else 1.2 if q > 65 else 0.036 * q - 1.14
        fa = pressure * heat**0.7 if rule.charging == "none" else pressure**0.7 * heat**1.5
        found, low, high = math.pow(fa, fm), 0.9, 1.1
    if not low <= found <= high:
        raise Refused("air-out-of-range")
    return found


def _iso_3046(rule: Rule, air: Air) -> float:
    """ISO 3046-1, to which ISO 15550 refers: 1/α, α = K − 0.7(1 − K)(1/η − 1).

    Reference 100 kPa, 298 K, 30 %, coolant 298 K.
    """
    if (rule.ignition, rule.charging) not in _EXPONENTS or not 0 < rule.efficiency <= 1:
        raise Refused("correction-not-known")
    a, m, n, s = _EXPONENTS[rule.ignition, rule.charging]
    if s and rule.coolant is None:
        raise Refused("correction-not-known")
    pressure = (air.pressure - a * air.vapour) / (100e3 - a * 0.3 * saturation(298.0))
    k = math.pow(pressure, m) * math.pow(298 / air.temperature, n) * math.pow(298 / (rule.coolant or 298), s)
    alpha = k - 0.7 * (1 - k) * (1 / rule.efficiency - 1)
    if alpha <= 0:
        raise Refused("air-out-of-range")
    return 1 / alpha


_OF: Final = {"SAE J1349": _j1349, "SAE J607": _j607, "ISO 1585": _iso_1585, "ISO 3046-1": _iso_3046}
