"""Engines whose oil is changed: what is weighed, and what was truly lost. Imports nothing of the package.

What a drain leaves is held by galleries, cooler and films. Three worlds: a mass fixed by the engine; a share of the oil
that was in it at the drain; a share of the fresh oil filled before. In each the share is one of the engine, within half
of what is stated (rectangular), and scatters by a tenth of itself from drain to drain (normal).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

CHARGE = 5.2  # kg, into the dry engine
STATED = 0.08  # share of it that a drain leaves, as a program states it
World = Literal["fixed by the engine", "share of what was in", "share of the fresh oil"]
WORLDS: tuple[World, ...] = ("fixed by the engine", "share of what was in", "share of the fresh oil")
SECOND = {"to the mark": 0.0, "the same again": CHARGE, "less": 4.8}  # kg filled after the first drain; 0: up to CHARGE


@dataclass(frozen=True)
class Weighed:
    """What is entered of one fill: (kind, kg, running time in h) each, and the oil truly lost [kg]."""

    moves: tuple[tuple[str, float, float], ...]
    lost: float


def engine(rng: np.random.Generator, world: World, second: str, scale: float) -> list[Weighed]:
    """Two fills of 60 h. `scale`: standard uncertainty of a mass, as a share of it."""
    share = STATED * (1 + rng.uniform(-0.5, 0.5))
    inside, now, made = 0.0, 0.0, []

    def entered(kind: str, mass: float) -> tuple[str, float, float]:
        return kind, mass * (1 + scale * rng.standard_normal()), now

    for number in range(2):
        fresh = CHARGE - inside if number and not SECOND[second] else SECOND[second] if number else CHARGE
        inside += fresh
        moves = [entered("fill", fresh)]
        lost = rng.uniform(0.1, 0.5)
        now += 30.0
        moves += [entered("sample", 0.1), entered("top-up", 0.3)]
        inside += 0.3 - 0.1 - lost
        now += 30.0
        of = {"fixed by the engine": CHARGE, "share of what was in": inside, "share of the fresh oil": fresh}[world]
        stays = share * of * (1 + 0.1 * rng.standard_normal())
        moves.append(entered("drain", inside - stays))
        inside = stays
        made.append(Weighed(tuple(moves), lost))
    return made
