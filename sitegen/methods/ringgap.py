"""Ring gap: the leak a perfectly seated ring still has, and what a wider gap says about face wear. SI: m, m2, Pa."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from sitegen.methods.intervals import NORMAL_95
from sitegen.methods.leakdown import GAMMA, GAS_CONSTANT, REFERENCE_TEMPERATURE, mass_flux
from sitegen.methods.roots import root

DISCHARGE = 0.86  # of a ring gap, against the ideal nozzle [-]; from memory
PLACE = 0.20  # share of the floor that gap position and piston tilt move it by, 95 % [-]; from memory (15 to 20 %)


@dataclass(frozen=True)
class RingGap:
    """What gas sees of one ring whose gap is open: with the ring on its lower flank, the land below sets the height.

    All in [m]. `clearance` is the radial clearance of the land below this ring, cold; not that of the skirt.
    Limits are limits of error (rectangular).
    """

    end_gap: float
    clearance: float
    chamfer: float = 0.0  # leg of the 45 degree chamfer at each of the two ends
    end_gap_limit: float = 0.0
    clearance_limit: float = 0.0
    chamfer_limit: float = 0.0


@dataclass(frozen=True)
class Floor:
    """Effective leak area of the end gaps [m2], as that of an ideal nozzle, with its 95 % interval."""

    value: float
    low: float
    high: float


def gap_area(ring: RingGap) -> float:
    """Open area of one ring gap [m2]: end gap times radial clearance, and two end chamfers of half a square each."""
    return ring.end_gap * ring.clearance + 2 * ring.chamfer**2 / 2


def in_series(areas: Sequence[float], upstream: float, downstream: float) -> float:
    """Effective area [m2] of orifices in series, upstream to downstream [Pa abs].

    The one area that would pass the same flow over the whole drop; each orifice obeys `leakdown.mass_flux`, and the
    speed behind each is lost. For a small drop this is 1/sqrt(sum 1/A^2); with the last orifice choked it is larger.
    """
    if any(area <= 0 for area in areas):
        return 0.0
    if len(areas) == 1:
        return areas[0]

    whole = _flux(upstream, downstream)
    low, high = 0.0, min(areas) * whole

    def too_much(flow: float) -> float:
        needed = downstream
        for area in reversed(areas):
            needed = _upstream_for(flow / area, needed)
        return needed - upstream

    return root(too_much, low, high) / whole  # the pressure needed grows with the flow: there is one root


def _upstream_for(flux: float, downstream: float) -> float:
    """Upstream pressure that drives this flux [kg/(s m2)] out to `downstream`: the inverse of `mass_flux`.

    By the exit's Mach number M: flux = p2 sqrt(g/(R T)) M sqrt(1 + (g-1)/2 M^2), a quadratic in M^2.
    """
    k = (GAMMA - 1) / 2
    scaled = (flux / downstream) ** 2 * GAS_CONSTANT * REFERENCE_TEMPERATURE / GAMMA
    mach2 = (math.sqrt(1 + 4 * k * scaled) - 1) / (2 * k)
    if mach2 < 1:
        return float(downstream * (1 + k * mach2) ** (GAMMA / (GAMMA - 1)))
    return flux / _flux(1.0, 0.0)  # choked: only upstream pressure counts


@lru_cache(maxsize=64)
def _flux(upstream: float, downstream: float) -> float:
    """One number of `mass_flux`, kept: the halving asks for the same one thousands of times."""
    return float(mass_flux(upstream, downstream, REFERENCE_TEMPERATURE))


def floor(
    rings: Sequence[RingGap],
    *,
    cylinder: float,
    ambient: float,
    discharge: float = DISCHARGE,
    discharge_limit: float = 0.05,
    place: float = PLACE,
) -> Floor:
    """Leak area that the end gaps alone explain [m2], the compression rings from the top down in series.

    Parameters: cylinder [Pa gauge] and ambient [Pa abs] of the test, discharge coefficient [-] with its limit of error,
    place [-]: relative 95 % half-width for gap position and piston tilt. The result is the area of an ideal nozzle, as
    `leakdown.leak_area` gives once the tester's factor is in it; only then may one be taken from the other.

    Notes: limits of error count as rectangular; parts combine in quadrature. The plain rule takes the rings as
    incompressible orifices, 1/sqrt(sum 1/A^2). Here they are the same compressible orifices as the rest of the test,
    which makes the floor of two like rings about 15 % larger at 72 psi (0.105 to 0.135 instead of 0.09 to 0.12 mm2 for
    gaps of 0.40 and 0.45 mm on lands of 0.3 to 0.4 mm): the second gap is choked there.
    """

    def series(of: Sequence[RingGap]) -> float:
        return in_series([gap_area(ring) for ring in of], cylinder + ambient, ambient)

    ideal = series(rings)
    value = discharge * ideal
    parts = [place * value]
    to_95 = NORMAL_95 / math.sqrt(3)
    if discharge_limit:
        parts.append(to_95 * abs((discharge + discharge_limit) * ideal - value))
    for index, ring in enumerate(rings):
        for name in ("end_gap", "clearance", "chamfer"):
            limit = getattr(ring, f"{name}_limit")
            if limit:
                moved = list(rings)
                moved[index] = replace(ring, **{name: getattr(ring, name) + limit})
                parts.append(to_95 * abs(discharge * series(moved) - value))
    half = float(np.sqrt(np.sum(np.square(parts))))
    return Floor(value, max(value - half, 0.0), value + half)


def face_wear(opening: float, bore: float, thickness: float) -> float:
    """Radial face wear [m] that opened the gap by so much [m] in a ring gauge; ring of radial thickness [m].

    opening = 2 pi wear R/(R - t/2): the neutral fibre keeps its length. In the bore the gap opens by the bore's wear as
    well. A feeler of +-0.02 mm is blind below +-3 um of wear.
    """
    radius = bore / 2
    return opening * (radius - thickness / 2) / (2 * math.pi * radius)
