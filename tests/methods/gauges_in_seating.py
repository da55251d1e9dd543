"""Coverage of the seating intervals where gauges err alike at every check: from areas to pressures and back.

    python tests/methods/gauges_in_seating.py --draws 1000

A program of six builds, four cylinders and five fired checks on one tester; gauge offsets drawn once a program within
the class, occasions of 2 %, repeats of 1.5 % read twice. Prints how often each interval of the first build holds.
"""

from __future__ import annotations

import argparse
import math
from collections import defaultdict

import numpy as np
from numpy.typing import NDArray

from sitegen.methods import leakdown, seating
from sitegen.vocabulary import Refused

KM = np.array([2.0, 6.1, 17.8, 22.1, 886.1])
PSI = 6894.757
SUPPLY, AMBIENT = 80 * PSI, 101_325.0
MASTER = leakdown.orifice_area(1.016e-3) * 1e6  # mm2
BUILDS, CYLINDERS = 6, 4
Floats = NDArray[np.float64]


def program(rng: np.random.Generator, limit: float, plateau: float, scale: float) -> dict[str, list[bool]]:
    """One program: whether each printed interval of its first build holds the truth."""
    off = rng.uniform(-limit, limit, 2)
    starts = rng.normal(0.85, 0.03, (BUILDS, CYLINDERS, 1))
    levels = plateau * np.exp(rng.normal(0.0, 0.04, (BUILDS, CYLINDERS, 1)))
    truth = levels + (starts - levels) * np.exp(-KM / scale)
    shaken = truth * np.exp(rng.normal(0.0, 0.02, (BUILDS, 1, len(KM))))
    shaken = shaken * np.exp(rng.normal(0.0, 0.015 / math.sqrt(2), truth.shape))
    cylinder = leakdown.cylinder_for(shaken / MASTER, SUPPLY, AMBIENT)
    areas = MASTER * leakdown.area_ratio(SUPPLY + off[0], cylinder + off[1], AMBIENT)
    reach = (1 - math.sqrt(0.05)) * 2 * limit
    wide = MASTER * (
        leakdown.area_ratio(SUPPLY, SUPPLY - np.clip(SUPPLY - cylinder - off[1] + off[0] + reach, 0, None), AMBIENT)
        - leakdown.area_ratio(SUPPLY, SUPPLY - np.clip(SUPPLY - cylinder - off[1] + off[0] - reach, 0, None), AMBIENT)
    )
    shares = wide / 2 / np.maximum(areas, 1e-9)
    held: dict[str, list[bool]] = defaultdict(list)
    try:
        means = seating.pooled([seating.mean_residual(list(KM), areas[b].tolist()) for b in range(1, BUILDS)])
        owns = seating.pooled([seating.own_residual(list(KM), areas[b].tolist()) for b in range(1, BUILDS)])
        fit = seating.fit(list(KM), areas[0].tolist(), elsewhere=means, own_elsewhere=owns)
    except Refused:
        return held
    _judge(held, fit, areas[0], shares[0], (levels[0, :, 0], starts[0, :, 0], truth[0], scale))
    return held


def _judge(
    held: dict[str, list[bool]],
    fit: seating.Seating,
    areas: Floats,
    shares: Floats,
    truth: tuple[Floats, Floats, Floats, float],
) -> None:
    levels, starts, curve, scale = truth

    def holds(name: str, found: seating.Estimate, share: float, true: float) -> None:
        wide = seating.widened(found, share)
        held[name].append(wide.low <= true <= wide.high)
        held[f"{name}, gauges left out"].append(found.low <= true <= found.high)

    bend = 0.0
    for i, row in enumerate(fit.rows):
        gauges = seating.gauge_shares(fit, i, list(KM), list(areas[row]), list(shares[row]))
        bend = max(bend, gauges.scale)
        if fit.plateau:
            holds("plateau", fit.plateau[i], gauges.plateau, levels[row])
        if fit.start:
            holds("start", fit.start[i], gauges.start, starts[row])
        for check in (0, 2, 3):
            lose = float(curve[row, check] - levels[row])
            holds(f"to lose at {KM[check]:g} km", fit.to_lose[i][check], gauges.to_lose[check], lose)
    if fit.scale is not None:
        holds("scale", fit.scale, bend, scale)


def coverage(draws: int, limit: float, plateau: float, scale: float, seed: int = 20260112) -> dict[str, float]:
    """Share of intervals that hold the truth, by what they are of. `limit` of each gauge in psi."""
    rng = np.random.default_rng(seed)
    found: dict[str, list[bool]] = defaultdict(list)
    for _ in range(draws):
        for name, held in program(rng, limit * PSI, plateau, scale).items():
            found[name] += held
    return {name: sum(held) / len(held) for name, held in sorted(found.items())}


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("--draws", type=int, default=300)
    options = parser.parse_args()
    for limit in (0.0, 0.25, 0.5):
        for plateau in (0.25, 0.15):
            print(f"class {limit} psi, plateau {plateau} mm2")
            for name, share in coverage(options.draws, limit, plateau, 4.0).items():
                print(f"  {name:40s} {100 * share:5.1f} %")
