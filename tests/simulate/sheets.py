"""Build sheets of simulated rings: gaps, masses and diameters before and after, as the tools read them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from simulate import flow
from simulate.engine import MM2, Chance, CylinderTruth, steps

BORE = 87.5  # mm
RINGS = ("top", "second", "oil")
HEIGHT = {"top": 1.2, "second": 1.5, "oil": 2.5}  # mm, axial
THICKNESS = {"top": 3.1, "second": 3.4, "oil": 2.6}  # mm, radial
GAP = {"top": 0.40, "second": 0.45, "oil": 0.35}  # mm
TENSION = {"top": 16.0, "second": 13.0, "oil": 32.0}  # N
LAND = {"top": 86.80, "second": 86.74}  # mm, diameter of the land below the ring
PLACE = {"top": 12.0, "second": 20.0, "oil": 32.0}  # mm below the deck, ring at top dead centre
STEEL = 7.8  # g/cm3
CHAMFER = 0.15  # mm


@dataclass(frozen=True)
class RingTruth:
    """One ring in its cylinder, cold."""

    ring: str
    gap: float  # mm, in a gauge of the nominal bore
    bore: float  # mm, where the ring stands at top dead centre
    land: float  # mm, diameter of the land below; 0: not asked for
    mass: float  # g
    tension: float  # N, tangential
    thickness: float  # mm, radial
    groove: float  # mm
    angle: int  # degrees from the crankshaft's axis, of the gap

    @property
    def gap_in_bore(self) -> float:
        """End gap [mm]: a wider bore opens it by pi times the difference of the diameters."""
        return self.gap + math.pi * (self.bore - BORE)

    @property
    def opening(self) -> float:
        """Area [mm2] gas finds at the gap: gap times clearance of the land below, and the two end chamfers."""
        return self.gap_in_bore * (self.bore - self.land) / 2 + CHAMFER**2


def rings_of(seed: int, build: str, cylinder: int) -> tuple[RingTruth, ...]:
    """The three rings of one cylinder as they were fitted."""
    chance = Chance(seed, build, cylinder, "build sheet")
    bore = BORE + 0.004 + chance.normal(0.004)
    angles = {"top": 30, "second": 210, "oil": 120}
    return tuple(
        RingTruth(
            ring,
            gap=GAP[ring] + chance.normal(0.025),
            bore=bore + chance.normal(0.0015),
            land=LAND[ring] + chance.normal(0.012) if ring in LAND else 0.0,
            mass=math.pi
            * (BORE - THICKNESS[ring])
            * THICKNESS[ring]
            * HEIGHT[ring]
            * STEEL
            / 1000
            * chance.spread(0.004),
            tension=TENSION[ring] * chance.spread(0.02),
            thickness=THICKNESS[ring] + chance.normal(0.008),
            groove=HEIGHT[ring] + 0.045 + chance.normal(0.003),
            angle=(angles[ring] + 90 * (cylinder - 1)) % 360,
        )
        for ring in RINGS
    )


def gap_floor(rings: Mapping[str, RingTruth]) -> float:
    """Leak area [mm2] of both compression-ring gaps behind each other at 76 psig, as one opening."""
    upstream = flow.STANDARD_ATMOSPHERE + 76 * flow.PSI
    top, second = (rings[ring].opening * MM2 for ring in ("top", "second"))
    return flow.in_series(top, second, upstream, flow.STANDARD_ATMOSPHERE) / MM2


def worn(ring: RingTruth, face_wear: float, density: float, bore_wear: float) -> RingTruth:
    """The ring after losing `face_wear` [um] of its running face of `density` [g/cm3], in a worn bore [um all round].

    The gap opens by 2 pi w R/(R - t/2), as the neutral fibre keeps its length.
    """
    radius = BORE / 2
    wear = face_wear / 1000
    return RingTruth(
        ring.ring,
        gap=ring.gap + 2 * math.pi * wear * radius / (radius - ring.thickness / 2),
        bore=ring.bore + 2 * bore_wear / 1000,
        land=ring.land,
        mass=ring.mass - math.pi * BORE * HEIGHT[ring.ring] * wear * density / 1000,
        tension=ring.tension * 0.985,
        thickness=ring.thickness - wear,
        groove=ring.groove + 0.001,
        angle=ring.angle,
    )


def wear_of(truth: CylinderTruth, hours: float) -> dict[str, float]:
    """Radial face wear [um] of the three rings after the pulls and `hours` of durability."""
    top = truth.face_wear + truth.face_wear_rate * hours
    return {"top": top, "second": 0.4 + 0.008 * hours, "oil": 0.5 + 0.012 * hours}


@dataclass(frozen=True)
class SheetRow:
    """One line of a build sheet, as read."""

    engine: str
    phase: str
    cylinder: int
    ring: str
    gap_gauge: float  # mm
    gap_bore: float  # mm
    gap_angle: int  # degrees from the crankshaft's axis
    mass: float  # g
    tension: float  # N
    radial_thickness: float  # mm
    land_diameter: float | None  # mm
    groove_width: float  # mm
    bore: float  # mm
    bore_height: float  # mm below the deck
    date: str
    operator: str
    joint: str = "straight"
    chamfer: float = CHAMFER  # mm
    repeat: int = 1
    bore_angle: int = 90  # degrees from the crankshaft's axis: thrust direction
    honing: str = "plateau"
    tool_gap: str = "feeler-1"
    tool_mass: str = "balance-1"
    tool_bore: str = "bore-gauge-1"
    tool_tension: str = "tension-1"
    remark: str = ""


def measured(
    chance: Chance, ring: RingTruth, engine: str, phase: str, cylinder: int, date: str, operator: str
) -> SheetRow:
    """The ring as a feeler gauge, a balance, a bore gauge and a tension gauge read it."""
    return SheetRow(
        engine,
        phase,
        cylinder,
        ring.ring,
        gap_gauge=steps(ring.gap + chance.normal(0.006), 0.01),
        gap_bore=steps(ring.gap_in_bore + chance.normal(0.006), 0.01),
        gap_angle=ring.angle,
        mass=steps(ring.mass + chance.normal(0.00012), 0.0001),
        tension=steps(ring.tension + chance.normal(0.12), 0.1),
        radial_thickness=steps(ring.thickness + chance.normal(0.001), 0.001),
        land_diameter=steps(ring.land + chance.normal(0.001), 0.001) if ring.land else None,
        groove_width=steps(ring.groove + chance.normal(0.001), 0.001),
        bore=steps(ring.bore + chance.normal(0.0005), 0.001),
        bore_height=PLACE[ring.ring],
        date=date,
        operator=operator,
    )
