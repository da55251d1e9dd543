"""Layers of simulated lots of rings: what a ring carries at each place, and what craters and sections of others read.

Rings of a lot lie about the lot's mean, places about their ring. A crater is ground around the ring with a ball,
through all layers; its edges lie where cap of ball and cap of ring together are as deep as the layers above.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from simulate.engine import Chance

BALL, FACE_RADIUS = 10.0, 43.75  # mm
OF_RING, OF_PLACE = 0.045, 0.02  # share of a layer, scatter between rings of a lot and between places of a ring
READ = 0.8  # um, of one diameter or thickness
MEANS: Mapping[str, Mapping[str, float]] = {  # um, of each lot
    "G-017": {"running-in": 6.2, "hard": 15.4, "bond": 0.9},
    "G-018": {"running-in": 5.7, "hard": 15.1, "bond": 1.0},
    "H-031": {"hard": 19.4, "bond": 1.0},
}


@dataclass(frozen=True)
class Cut:
    """How rings of a lot were measured."""

    lot: str
    rings: int
    method: str
    date: str


CUT_2026: Sequence[Cut] = (
    Cut("G-017", 5, "crater", "2026-02-03"),
    Cut("G-018", 3, "section", "2026-03-10"),
    Cut("H-031", 3, "crater", "2026-04-14"),
)
PLACES = (90, 270)  # degrees from the gap


def carried(seed: int, lot: str, ring: str, place: int) -> dict[str, float]:
    """Thickness of each layer [um] of one ring of a lot at one place."""
    found = {}
    for layer, mean in MEANS[lot].items():
        whole = Chance(seed, lot, ring, layer).normal(OF_RING)
        found[layer] = mean * (1 + whole + Chance(seed, lot, ring, layer, place).normal(OF_PLACE))
    return found


def ring_of(build: str, cylinder: int) -> str:
    """Name of the ring that runs there, as the truth knows it."""
    return f"{build}/{cylinder}"


def across(depth: float) -> float:
    """Diameter [mm] at which caps of ball and ring together are so deep [um]."""
    return math.sqrt(8 * depth / 1000 / (2 / BALL + 1 / FACE_RADIUS))


def record(seed: int, cuts: Sequence[Cut] = CUT_2026) -> bytes:
    """The record of the rings cut, in millimetres."""
    head = "lot,ring,layer,method,angle [deg],ball [mm],face_radius [mm],outer [mm],inner [mm],thickness [um],"
    lines = [head + "instrument,date,operator"]
    for cut in cuts:
        for number in range(1, cut.rings + 1):
            for place in PLACES:
                chance = Chance(seed, cut.lot, number, place, "read")
                layers = carried(seed, cut.lot, str(number), place)
                depth = sum(layers.values()) + 1.5  # um, ground into the body
                edge = across(depth) + chance.normal(READ / 1000)
                for layer, thick in layers.items():
                    depth -= thick
                    inner = across(depth) + chance.normal(READ / 1000)
                    read: tuple[str, ...]
                    if cut.method == "crater":
                        read = (f"{BALL:g}", f"{FACE_RADIUS:g}", f"{edge:.4f}", f"{inner:.4f}", "")
                    else:
                        read = ("", "", "", "", f"{thick + chance.normal(READ / 8):.2f}")
                    edge = inner
                    tool, by = ("micro-1", "K. L.") if cut.method == "crater" else ("micro-2", "M. A.")
                    cells = (cut.lot, str(number), layer, cut.method, str(place), *read, tool, cut.date, by)
                    lines.append(",".join(cells))
    return ("\n".join(lines) + "\n").encode()
