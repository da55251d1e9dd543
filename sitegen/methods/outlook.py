"""How likely further builds are to decide what today's builds leave open."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from sitegen.methods.intervals import student
from sitegen.vocabulary import Refused

DRAWS = 4000  # a chance of 0.8 is known to 0.013
ENOUGH = 0.8  # chance that a step is to have
MOST = 12  # builds looked ahead
SEED = 20260112


@dataclass(frozen=True)
class Outlook:
    """The fewest further builds that decide with a chance of at least `ENOUGH`."""

    own: int  # of the candidate
    other: int  # of the reference; 0 where it is a limit
    chance: float  # [-]


def fewest(
    difference: float, sd: float, df: float, own: int, other: int = 0, error: float = 0.05, common: float = 0.0
) -> Outlook:
    """Fewest further builds after which the interval of a difference between two means would leave nought out.

    Parameters: difference of the means as found and scatter between builds, on one scale; degrees of freedom of that
    scatter; builds in the two means (`other` 0: the second is a limit, known); two-sided error of the interval [-];
    half-width of what no further build lessens, on the same scale.

    Notes: the true difference and scatter are drawn from what today's builds leave possible (normal builds, flat
    prior), then builds to come, then the interval is worked out anew from all builds together. So the chance holds
    that today's difference may be chance itself, which a power worked out at the estimate leaves out.

    Refuses: `scatter-unknown` where the scatter is not above zero or not known, `none-within-twelve`.
    """
    if not (sd > 0 and df > 0 and own > 0):
        raise Refused("scatter-unknown")
    for total in range(1, MOST + 1):
        found = [
            Outlook(more, total - more, _chance(difference, sd, df, own, other, more, total - more, error, common))
            for more in _shares(total, other)
        ]
        best = max(found, key=lambda each: each.chance)
        if best.chance >= ENOUGH:
            return best
    raise Refused("none-within-twelve")


def _shares(total: int, other: int) -> Iterator[int]:
    """How many of the further builds are the candidate's: all, none or half, where both sides can be built."""
    yield total
    if other:
        yield from {0, total // 2, total - total // 2} - {total}


def _chance(
    difference: float,
    sd: float,
    df: float,
    own: int,
    other: int,
    more: int,
    more_other: int,
    error: float,
    common: float,
) -> float:
    rng = np.random.default_rng([SEED, more, more_other])
    true_sd = sd * np.sqrt(df / rng.chisquare(df, DRAWS))
    squares = np.full(DRAWS, df * sd**2)
    means = []
    for have, come, middle in ((own, more, difference), (other, more_other, 0.0)):
        if not have:
            means.append(np.zeros(DRAWS))
            continue
        truth = middle + true_sd / np.sqrt(have) * rng.normal(size=DRAWS)
        if come:
            mean = truth + true_sd / np.sqrt(come) * rng.normal(size=DRAWS)
            squares += true_sd**2 * (rng.chisquare(come - 1, DRAWS) if come > 1 else 0.0)
            squares += (mean - middle) ** 2 * have * come / (have + come)  # of the new mean about the old one
            means.append((have * middle + come * mean) / (have + come))
        else:
            means.append(np.full(DRAWS, middle))
    free = df + more + more_other
    spread = 1 / (own + more) + (1 / (other + more_other) if other else 0.0)
    half = np.hypot(student(free, error) * np.sqrt(squares / free * spread), common)
    return float(np.mean(np.abs(means[0] - means[1]) > half))
