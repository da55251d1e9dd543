"""How often wear that closes is told not to, and how often what is missing is found. Engines are made here, of nothing
of the package: true masses, a balance with a limit of error of each day and cleaning that scatters, traces and oil with
errors estimated on few degrees of freedom, feelers in steps. Only the word is the package's.

`PYTHONPATH=tests python -m methods.closure_coverage --draws 4000` prints the table.
"""

from __future__ import annotations

import argparse
from collections import Counter
from dataclasses import dataclass

import numpy as np
from scipy import stats

from sitegen.methods import closure
from sitegen.methods.closure import NOT, Amount

RINGS = 4


@dataclass(frozen=True)
class Shop:
    """How an engine is measured."""

    limit: float = 0.5  # mg, of the balance
    cleaning: float = 0.3  # mg, standard deviation of a weighing
    known: int = 8  # degrees of freedom of that
    trace: float = 0.06  # relative standard error of a worn volume
    traced: int = 6  # degrees of freedom of that
    flanks: float = 0.5  # mg, the most of a ring
    flanks_at: float | None = None  # share of it that each truly lost; None: anything between
    oil: float = 0.1  # relative standard error of the metal of the faces in the oil
    held: tuple[float, float] = (0.6, 1.0)
    held_at: float | None = None  # true share; None: anything between
    missing: float = 0.0  # metal of another part, as a share of that of the faces
    surplus: float = 0.0  # mg more that each ring lost than is stated
    feeler: float = 0.02  # mm


def weighed(shop: Shop, true: np.ndarray, chance: np.random.Generator) -> tuple[np.ndarray, float]:
    """Mass lost by each ring [mg] and the half-width told: limits added, and the scatter as estimated."""
    offset = chance.uniform(-shop.limit, shop.limit, 2)  # of the day before and the day after: all rings alike
    error = chance.normal(0.0, shop.cleaning, (2, RINGS))
    estimated = shop.cleaning * np.sqrt(chance.chisquare(shop.known) / shop.known)
    half = 2 * (shop.limit + float(stats.t.ppf(0.975, shop.known)) * estimated)
    return true + offset[0] - offset[1] + error[0] - error[1], half


def engine(shop: Shop, chance: np.random.Generator) -> list[tuple[str, str]]:
    """Kind of pair and its word, of one engine whose truth is known."""
    face = chance.uniform(0.4, 4.0, RINGS)  # mg
    share = chance.uniform(0.0, 1.0, RINGS) if shop.flanks_at is None else np.full(RINGS, shop.flanks_at)
    ring = face + share * shop.flanks + shop.surplus
    masses, half = weighed(shop, ring, chance)
    t = float(stats.t.ppf(0.975, shop.traced))
    se = shop.trace * face
    traces = face + chance.normal(0.0, se)
    told = t * se * np.sqrt(chance.chisquare(shop.traced, RINGS) / shop.traced)
    depth = face / 0.9  # um a mg of this face
    gap = np.round(0.35 / shop.feeler + chance.normal(0, 1, RINGS)) * shop.feeler
    opened = np.round((gap + 2 * np.pi * depth * 1e-3) / shop.feeler) * shop.feeler - gap  # mm, in steps of a feeler
    by_gap, gap_half = opened / (2 * np.pi) * 1e3, 2 * shop.feeler / (2 * np.pi) * 1e3
    holds = chance.uniform(*shop.held) if shop.held_at is None else shop.held_at
    metal = holds * face.sum() * (1 + shop.missing)
    oil_se = shop.oil * face.sum()
    oil = metal + chance.normal(0.0, oil_se)
    count = 2 * RINGS + 1
    words = []
    balance = [Amount(m, m - half, m + half) for m in masses]
    for at in range(RINGS):
        by_traces = Amount(traces[at], max(traces[at] - told[at], 0.0), traces[at] + told[at])
        rest = closure.less(balance[at], by_traces, count)
        words.append(("ring", closure.judge(rest, shop.flanks, max(masses[at], traces[at]))[0]))
        deep = Amount(*(end / 0.9 for end in (by_traces.value, by_traces.low, by_traces.high)))
        other = Amount(by_gap[at], by_gap[at] - gap_half, by_gap[at] + gap_half)
        apart = closure.less(other, deep, count)
        words.append(("gap", closure.judge(apart, 0.0, max(other.value, deep.value))[0]))
    parts = closure.together(balance)
    found = Amount(oil, oil - 1.96 * oil_se, oil + 1.96 * oil_se)
    least = Amount(*(max(end - RINGS * shop.flanks, 0.0) for end in (parts.value, parts.low, parts.high)))
    more = closure.less(found, parts.times(shop.held[1]), count)
    short = closure.less(found, least.times(shop.held[0]), count)
    gap_ = closure.less(found, parts, count)
    words.append(("oil", closure.judge_oil(more, short, gap_, max(oil, parts.value))[0]))
    return words


def rates(shop: Shop, draws: int, seed: int = 7) -> dict[str, float]:
    """Share of engines in which some pair of a kind, or of any, is told not to close; and of pairs that agree."""
    chance = np.random.default_rng(seed)
    apart: Counter[str] = Counter()
    agree = 0
    for _ in range(draws):
        words = engine(shop, chance)
        kinds = {kind for kind, word in words if word == NOT}
        apart.update(kinds)
        apart["any"] += bool(kinds)
        agree += sum(word == closure.AGREE for kind, word in words if kind == "ring")
    return {kind: apart[kind] / draws for kind in ("ring", "gap", "oil", "any")} | {"agree": agree / draws / RINGS}


CLOSES = {
    "as usual": Shop(),
    "flanks lost nothing": Shop(flanks_at=0.0),
    "flanks lost all that is stated": Shop(flanks_at=1.0),
    "balance without error of its own": Shop(limit=0.0),
    "the same, flanks nothing": Shop(limit=0.0, flanks_at=0.0),
    "the same, flanks all": Shop(limit=0.0, flanks_at=1.0),
    "the same, scatter of two further weighings": Shop(limit=0.0, known=2, flanks_at=1.0),
    "cleaning 0.8 mg": Shop(limit=0.1, cleaning=0.8, flanks_at=1.0),
    "exact balance": Shop(limit=0.0, cleaning=0.01, known=30, flanks_at=1.0),
    "exact balance, traces of 2 degrees": Shop(limit=0.0, cleaning=0.01, known=30, traced=2, flanks_at=0.0),
    "oil holds the most": Shop(held_at=1.0, flanks_at=0.0),
    "oil holds the least": Shop(held_at=0.6, flanks_at=1.0),
    "oil holds the least, exact balance": Shop(held_at=0.6, flanks_at=1.0, limit=0.0, cleaning=0.01, known=30),
    "oil holds the most, exact balance": Shop(held_at=1.0, flanks_at=0.0, limit=0.0, cleaning=0.01, known=30),
}
APART = {
    "each ring 2 mg more than stated": Shop(surplus=2.0),
    "each ring 4 mg more": Shop(surplus=4.0),
    "2 mg more, balance 0.1 mg": Shop(surplus=2.0, limit=0.1, cleaning=0.1),
    "half as much metal again": Shop(missing=0.5, held_at=1.0),
    "as much metal again": Shop(missing=1.0, held_at=1.0),
    "as much again, balance 0.1 mg": Shop(missing=1.0, held_at=1.0, limit=0.1, cleaning=0.1),
    "as much again, oil 30 %": Shop(missing=1.0, held_at=1.0, oil=0.3),
    "oil holds a tenth": Shop(held_at=0.1),
}


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--draws", type=int, default=4000)
    draws = parser.parse_args().draws
    for title, shops in (("closes", CLOSES), ("does not", APART)):
        for name, shop in shops.items():
            found = rates(shop, draws)
            print(f"{title:9} {name:45} " + "  ".join(f"{kind} {100 * rate:5.1f}" for kind, rate in found.items()))


if __name__ == "__main__":
    main()
