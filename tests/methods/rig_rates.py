"""Rates of the methods for the rig, simulated: `PYTHONPATH=tests python -m methods.rig_rates` (minutes).

Claims. Running-in 92 to 94 %, steady friction 93 to 95 %, ratios 95 % where both scatter alike.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from sitegen.methods import rig, ties
from sitegen.vocabulary import Refused

Floats = NDArray[np.float64]
LEVEL, DROP, FOLD = 0.12, 0.05, 300.0  # mu, mu, s


def noisy(
    rng: np.random.Generator, seconds: int, memory: float, sd: float = 0.004, drop: float = DROP, fold: float = FOLD
) -> Floats:
    """One run of a stroke a second: an e-fold and noise with a memory [s]."""
    keep = math.exp(-1 / memory) if memory else 0.0
    from scipy.signal import lfilter

    shocks = rng.normal(0, sd * math.sqrt(1 - keep**2), seconds)
    shocks[0] = rng.normal(0, sd)
    t = np.arange(seconds)
    return np.asarray(LEVEL + drop * np.exp(-t / fold) + lfilter([1.0], [1.0, -keep], shocks), dtype=float)


def of_run_in(
    runs: int, seconds: int = 3600, memory: float = 4.0, fold: float = FOLD, seed: int = 1
) -> tuple[float, float]:
    """Share of runs whose interval holds t_s, and share not found."""
    rng = np.random.default_rng(seed)
    held = found = 0
    for _ in range(runs):
        try:
            fit = rig.run_in(noisy(rng, seconds, memory, fold=fold), 1.0)
        except Refused:
            continue
        found += 1
        held += fit.low <= fold <= fit.high
    return held / found, 1 - found / runs


def found_in(values: Floats) -> rig.RunIn | None:
    """The e-fold, where one is found."""
    try:
        return rig.run_in(values, 1.0)
    except Refused:
        return None


def of_steady(
    runs: int, seconds: int = 3600, memory: float = 4.0, fold: float = FOLD, seed: int = 2
) -> tuple[float, float]:
    """Share of runs whose interval holds the level past the declared running-in, and share refused."""
    rng = np.random.default_rng(seed)
    held = found = 0
    for _ in range(runs):
        try:
            values = noisy(rng, seconds, memory, fold=fold)
            mean = rig.steady_value(values, 1.0, fold, found_in(values))
        except Refused:
            continue
        found += 1
        held += mean.low <= LEVEL <= mean.high
    return held / found, 1 - found / runs


def of_ratio(runs: int, n: int, own: float, other: float, seed: int = 3) -> float:
    """Share of series whose interval holds a true ratio of one, scatter [-] of either side."""
    rng = np.random.default_rng(seed)
    held = 0
    for _ in range(runs):
        found = rig.ratio(np.exp(rng.normal(0, own, n)).tolist(), np.exp(rng.normal(0, other, n)).tolist())
        held += (found.low or 0.0) <= 1 <= (found.high or 0.0)
    return held / runs


def of_smallest(runs: int, n: int, scatter: float, seed: int = 4) -> float:
    """Share of series that find the smallest ratio."""
    rng = np.random.default_rng(seed)
    true = math.log(rig.smallest_ratio(scatter, n, n))
    found = 0
    for _ in range(runs):
        own = np.exp(rng.normal(true, scatter, n)).tolist()
        ratio = rig.ratio(own, np.exp(rng.normal(0, scatter, n)).tolist())
        found += (ratio.low or 0.0) > 1 or (ratio.high or 2.0) < 1
    return found / runs


def of_strokes_as_units(runs: int, n: int = 3, seed: int = 6) -> float:
    """Share of series whose interval holds where strokes of all specimens are pooled as if they were independent."""
    rng = np.random.default_rng(seed)
    held = 0
    for _ in range(runs):
        own, other = (rng.normal(rng.normal(0, 0.1, (n, 1)), 0.03, (n, 200)).ravel() for _ in range(2))
        half = 1.96 * math.sqrt(own.var() / own.size + other.var() / other.size)
        held += abs(own.mean() - other.mean()) <= half
    return held / runs


def of_agreement(runs: int, n: int, seed: int = 5) -> float:
    """Share of series in which so many coatings show a true correlation of 0.9 at 5 %."""
    rng = np.random.default_rng(seed)
    shown = 0
    for _ in range(runs):
        x = rng.normal(size=n)
        y = rig.CORRELATION * x + math.sqrt(1 - rig.CORRELATION**2) * rng.normal(size=n)
        shown += ties.rank_agreement(x.tolist(), y.tolist(), [""] * n).p <= 0.05
    return shown / runs


def figures(runs: int) -> Iterator[str]:
    """All rates, a line each."""
    for memory in (0.0, 4.0, 15.0):
        held, lost = of_run_in(runs, memory=memory)
        yield f"run-in, noise remembers {memory:g} s: {held:.3f}; not found {lost:.3f}"
        held, lost = of_steady(runs, memory=memory)
        yield f"steady, noise remembers {memory:g} s: {held:.3f}; refused {lost:.3f}"
    for n, own, other in ((3, 0.1, 0.1), (3, 0.1, 0.3), (4, 0.1, 0.1), (4, 0.1, 0.3), (5, 0.4, 0.4)):
        yield f"ratio, {n} a side, scatter {own:g} and {other:g}: {of_ratio(4 * runs, n, own, other):.3f}"
    yield f"ratio with strokes as units: {of_strokes_as_units(runs):.3f}"
    for n, scatter in ((3, 0.1), (5, 0.1), (3, 0.4), (5, 0.4)):
        yield f"smallest ratio, {n} a side, scatter {scatter:g}: found in {of_smallest(4 * runs, n, scatter):.3f}"
    for n in rig.CHANCE:
        yield f"agreement of {n} coatings at correlation 0.9: shown in {of_agreement(4 * runs, n):.3f}"


if __name__ == "__main__":
    parser = argparse.ArgumentParser(
        prog="python -m methods.rig_rates", description="Rates of the methods for the rig."
    )
    parser.add_argument("--draws", default=1000, type=int, help="runs of each case (%(default)s)")
    for line in figures(parser.parse_args().draws):
        print(line, flush=True)
