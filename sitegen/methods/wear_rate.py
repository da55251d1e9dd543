"""Specific wear rate of a ring face: worn volume over radial load and distance."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class Load:
    """Mean radial load of a ring, all round [N]."""

    tension: float
    gas: float

    @property
    def whole(self) -> float:
        """Both [N]."""
        return self.tension + self.gas

    @property
    def gas_share(self) -> float:
        """Share of the gas [-]."""
        return self.gas / self.whole if self.whole > 0 else 0.0


def load(tangential: float, gas_pressure: float, balance: float, bore: float, width: float) -> Load:
    """Load of a ring of tangential force [N] under a mean gas pressure [Pa], a share of it balanced [-].

    The tension presses 2 pi Ft in all, from the hoop force of a thin ring (exact); gas acts on pi D b of the back and,
    on the balanced share of the face, the other way. Bore and axial width [m].

    >>> round(load(15.0, 0.0, 0.0, 0.086, 0.0012).whole)
    94
    """
    return Load(2 * math.pi * tangential, gas_pressure * (1 - balance) * math.pi * bore * width)


def specific(volume: float, force: float, distance: float) -> float:
    """k = V / (F s) [mm3/(N m)] of a volume [mm3], a force [N] and a distance [m]."""
    return volume / (force * distance)
