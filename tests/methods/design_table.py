"""Simulated programs: how often each design's procedure raises a false alarm, and how often its interval holds.

    python -m tests.methods.design_table --draws 100000

draws that many programs for every row, at an intraclass correlation of 0 and of 0.3, in some rows of 0.6, and prints
the table (a minute or so). The test run does the same with 20 000 draws (test_design.py). Beside each rate stands what
counting every cylinder as an independent test would give.

The truth is built here, without the code under test: block, build, build x coating, position and cylinder effects are
drawn from the normal distribution and added up. The total variance of a cylinder is 1, of which the correlation lies
between builds.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from sitegen.methods.contrasts import contrast
from sitegen.methods.design import Design, Spot, recognise

Floats = NDArray[np.float64]
CORRELATIONS = (0.0, 0.3)
DIFFERENCE = 1.5  # true difference behind the coverage, in standard deviations of a cylinder
POSITION = (0.6, -0.3, 0.2, -0.5)  # what a cylinder's place does, where a row has it
ALONG = (0.6, 0.3, -0.2, -0.5)  # the same, falling along the engine
SEED = 20260112


@dataclass(frozen=True)
class Row:
    """One allocation of coatings and the world it is run in. Letters are coatings by cylinder; A against B."""

    name: str
    builds: Sequence[str]
    blocks: Sequence[int] = ()  # block of each build; none: one each
    between_blocks: float = 0.0  # variance
    interaction: float = 0.0  # variance of build x coating
    position: Sequence[float] = ()  # effect of each cylinder's place
    correlations: Sequence[float] = CORRELATIONS
    second: float = 0.0  # what a block's second build has more than its first, in either coating
    ratio: float = 1.0  # standard deviations of B over those of A
    forced: str = ""  # procedure in place of the one the design asks for
    claim: str = "exact"  # "conservative", "refused", or "shown" where nothing is claimed

    @property
    def spots(self) -> list[Spot]:
        blocks = self.blocks or range(len(self.builds))
        return [
            Spot(f"B{order}", f"K{block}", order, position, coating)
            for order, (block, letters) in enumerate(zip(blocks, self.builds, strict=True), start=1)
            for position, coating in enumerate(letters, start=1)
        ]

    @property
    def design(self) -> Design:
        found = recognise(self.spots, "A", "B")
        return replace(found, procedure=self.forced) if self.forced else found


A, B, C = "AAAA", "BBBB", "CCCC"
EVERY = (*CORRELATIONS, 0.6)
SWAPPED = ("AABB", "BBAA", "ABAB", "BABA", "ABBA", "BAAB")

ROWS = (
    Row("whole builds 2+2", (A, B, B, A)),
    Row("whole builds 3+3", (A, B, B, A, B, A)),
    Row("whole builds 4+4, Welch", (A, B, B, A, B, A, A, B), claim="conservative"),
    Row("whole builds 3+3+1", (A, B, C, B, A, B, A)),
    Row("whole builds 2+2+3", (A, B, C, B, C, A, C)),
    Row("whole builds 3+3, two cylinders missing", (A, "BB", B, A, B, A), claim="shown"),
    Row("scatter 1:3, 5+5, Welch", (A, B) * 5, ratio=3.0, claim="conservative"),
    Row("scatter 1:3, 5+5, pooled instead", (A, B) * 5, ratio=3.0, forced="pooled", claim="shown"),
    Row("scatter 1:3, 8+4, Welch", (A, B, A) * 4, ratio=3.0, claim="shown"),
    Row("scatter 1:3, 8+4, pooled instead", (A, B, A) * 4, ratio=3.0, forced="pooled", claim="shown"),
    Row("mixed, 4 builds", SWAPPED[:4]),
    Row("mixed, 6 builds", SWAPPED),
    Row("mixed, 4 builds, interaction", SWAPPED[:4], interaction=0.3),
    Row("mixed, 6 builds, interaction", SWAPPED, interaction=0.3),
    Row("mixed, 4 builds, positions differ", SWAPPED[:4], position=POSITION, claim="conservative"),
    Row("mixed, 2 builds, positions differ", SWAPPED[:2], position=POSITION),
    Row("mixed, 3 builds, positions differ", SWAPPED[:3], position=POSITION),
    Row("mixed, 2 builds, interaction", SWAPPED[:2], position=POSITION, interaction=0.3, claim="shown"),
    Row("mixed, 3 builds, interaction", SWAPPED[:3], position=POSITION, interaction=0.3, claim="shown"),
    Row("mixed 4 and pure 2+2", (*SWAPPED[:2], A, B, *SWAPPED[2:4], B, A), interaction=0.3),
    Row("by block, 2 builds each, 3+3 blocks", (A, B) * 6, (1, 2, 3, 4, 5, 6) * 2, between_blocks=1.0),
    Row("in order on 4 blocks", (A, B, A, B, B, A, B, A), (1, 2, 3, 4) * 2, between_blocks=1.0),
    Row("in order on 6 blocks", (A, B) * 6, (1, 2, 3, 4, 5, 6, 2, 1, 4, 3, 6, 5), between_blocks=1.0),
    Row("in order on 6 blocks, second differs", (A, B, A, B, A, B, B, A, B, A, B, A), (1, 2, 3, 4, 5, 6) * 2,
        between_blocks=1.0, second=0.8, claim="conservative"),
    Row("in order on 6 blocks, B always second", (A,) * 6 + (B,) * 6, (1, 2, 3, 4, 5, 6) * 2,
        between_blocks=1.0, second=0.8, claim="shown"),
    Row("one build each", (A, B), claim="refused"),
    Row("same cylinders in every engine", ("AABB",) * 5, claim="refused"),
    Row("mixed, 7 AABB and 1 BBAA", (*("AABB",) * 7, "BBAA"), position=ALONG, correlations=EVERY),
    Row("mixed, 5 AABB and 1 BBAA", (*("AABB",) * 5, "BBAA"), position=ALONG, correlations=EVERY),
    Row("mixed, 6 AABB and 2 BBAA", (*("AABB",) * 6, *("BBAA",) * 2), position=ALONG, correlations=EVERY),
    Row("mixed, 7 AABB and 1 BBAA, interaction", (*("AABB",) * 7, "BBAA"), interaction=0.3, position=ALONG),
    Row("mixed, 7 ABAB and 1 BAAB", (*("ABAB",) * 7, "BAAB"), position=ALONG, claim="refused"),
    Row("mixed, 4 builds, unbalanced", ("ABBA", *SWAPPED[:3]), position=ALONG, correlations=EVERY,
        claim="conservative"),
    Row("mixed, 6 builds, unbalanced", (*SWAPPED[:4], "AABB", "ABAB"), position=ALONG, correlations=EVERY,
        claim="conservative"),
    Row("mixed, 5 builds, a cylinder missing", ("AABB", "BBA.", *SWAPPED[2:4], "ABBA"), position=ALONG,
        claim="shown"),
)  # fmt: skip


@dataclass(frozen=True)
class Rates:
    """Shares of the programs drawn [-]."""

    false_alarms: float
    coverage: float
    independent: float  # false alarms if every cylinder counted
    df: float  # mean over the draws

    def line(self) -> str:
        shares = "  ".join(f"{100 * share:6.2f}" for share in (self.false_alarms, self.coverage, self.independent))
        return f"{self.df:6.1f}  {shares}"


def drawn(row: Row, correlation: float, draws: int, rng: np.random.Generator) -> Floats:
    """Values of every spot, no coating different from another; (spots, draws)."""
    spots = row.spots

    def effect(labels: Sequence[object], variance: float) -> Floats:
        levels = list(dict.fromkeys(labels))
        found = np.sqrt(variance) * rng.standard_normal((len(levels), draws))
        return np.asarray(found[[levels.index(label) for label in labels]])

    y = effect([spot.build for spot in spots], correlation)
    y = y + effect(range(len(spots)), 1 - correlation)
    y = y * np.array([row.ratio if spot.coating == "B" else 1.0 for spot in spots])[:, None]
    if row.between_blocks:
        y = y + effect([spot.block for spot in spots], row.between_blocks)
    if row.interaction:
        y = y + effect([(spot.build, spot.coating) for spot in spots], row.interaction)
    if row.second:
        first = {spot.block: min(other.order for other in spots if other.block == spot.block) for spot in spots}
        y = y + np.array([row.second * (spot.order > first[spot.block]) for spot in spots])[:, None]
    if row.position:
        y = y + np.array([row.position[spot.position - 1] for spot in spots])[:, None]
    return np.asarray(y)


def run(row: Row, correlation: float, draws: int, chunk: int = 10_000) -> Rates:
    """Rates of one row; Refused where its design allows no comparison."""
    spots, design = row.spots, row.design
    lone = [replace(spot, build=f"{spot.build}-{spot.position}", block="") for spot in spots]
    counted = replace(recognise(lone, "A", "B"), procedure="pooled")
    shift = np.array([DIFFERENCE * (spot.coating == "A") for spot in spots])[:, None]
    rng = np.random.default_rng([SEED, ROWS.index(row), round(100 * correlation)])
    alarms = held = naive = 0
    freedom = 0.0
    for size in _chunks(draws, chunk):
        y = drawn(row, correlation, size, rng)
        found = contrast(design, spots, y, "A", "B")
        half = stdtrit(found.df, 0.975) * found.se
        alarms += int((abs(found.estimate) > half).sum())
        freedom += float(np.broadcast_to(found.df, size).sum())
        other = contrast(design, spots, drawn(row, correlation, size, rng) + shift, "A", "B")
        half = stdtrit(other.df, 0.975) * other.se
        held += int((abs(other.estimate - DIFFERENCE) <= half).sum())
        every = contrast(counted, lone, y, "A", "B")
        naive += int((abs(every.estimate) > stdtrit(every.df, 0.975) * every.se).sum())
    return Rates(alarms / draws, held / draws, naive / draws, freedom / draws)


def _chunks(draws: int, chunk: int) -> Iterator[int]:
    while draws > 0:
        yield min(draws, chunk)
        draws -= chunk


def table(draws: int) -> Iterator[str]:
    """The lines of the table."""
    yield f"{draws} programs a row; shares in per cent, nominal 5 and 95"
    yield f"{'design':42}{'procedure':13}{'ICC':>4}{'df':>8}{'alarms':>8}{'held':>8}{'cylinders':>10}  claimed"
    for row in ROWS:
        design = row.design
        for correlation in row.correlations if not design.reason else ():
            rates = run(row, correlation, draws)
            yield f"{row.name:42}{design.procedure:13}{correlation:4.1f}{rates.line():>34}  {row.claim}"
        if design.reason:
            yield f"{row.name:42}refused: {design.reason}"


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", maxsplit=1)[0])
    parser.add_argument("--draws", type=int, default=100_000, help="programs a row")
    for line in table(parser.parse_args().draws):
        print(line, flush=True)


if __name__ == "__main__":
    main()
