"""How likely further builds are to decide what today's builds leave open."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sitegen.methods import criteria
from sitegen.methods.intervals import student, student_95
from sitegen.vocabulary import Refused

DRAWS = 4000  # a chance of 0.8 is known to 0.013
ENOUGH = 0.8  # chance that a step is to have
MOST = 12  # builds looked ahead, and checks of a build
FEWEST = 3  # values that say where the next may lie
ONE_SIDE = 0.025
LARGEST = 300.0  # logarithm beyond which a value drawn is cut
SEED = 20260112


@dataclass(frozen=True)
class Unit:
    """A cylinder or build as known: all in one unit."""

    value: float
    se: float  # of its interval, with all that is in it
    df: float  # of that; infinite where it is known
    open: bool  # whether it cannot be told yet
    readable: bool = True  # whether it can be checked again


def shares(total: int, *, both: bool) -> list[int]:
    """How many of some further builds are the candidate's: all, none or half, where both sides can be built."""
    return list(dict.fromkeys([total, total - total // 2, total // 2, 0])) if both else [total]


def between_means(
    difference: float,
    sd: float,
    df: float,
    own: int,
    other: int,
    more: int,
    more_other: int,
    error: float,
) -> float:
    """Chance [-] that the interval of a difference between two means leaves nought out once these builds are in too.

    Parameters: difference of the means as found and scatter between builds, on one scale; degrees of freedom of that
    scatter; builds in the two means (`other` 0: the second is a limit, known) and builds to come of each; two-sided
    error of the interval [-].

    Notes: the true difference and scatter are drawn from what today's builds leave possible (normal builds, flat
    prior), then builds to come, then the interval is worked out anew from all builds together. So the chance holds
    that today's difference may be chance itself, which a power worked out at the estimate leaves out.
    """
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
    half = student(free, error) * np.sqrt(squares / free * spread)
    return float(np.mean(np.abs(means[0] - means[1]) > half))


def of_units(
    told: Sequence[Unit], limit: float, sense: criteria.Sense, over: int, checks: int = 0, new: int = 0
) -> float:
    """Chance [-] that "every one of them" is told, either way, once further checks and new ones are in.

    Parameters: those known and their limit, in one unit; how many are looked at together; further checks of each that
    is open and can be read again; how many new ones there are to be.

    Notes: the truth of an open one is drawn from its own error; a further check errs anew by as much, and counts like
    the first. A new one is drawn as the next of those known (Student, on one degree of freedom less than their number,
    on logarithms where all are above zero) and errs like the median of them. All are taken as independent.

    Refuses: `scatter-unknown` where new ones are to be drawn from fewer than three.
    """
    rng = np.random.default_rng([SEED, checks, new, len(told)])
    fails, holds = np.zeros(DRAWS, dtype=bool), np.ones(DRAWS, dtype=bool)
    for values, se, df in (
        *(_read_again(unit, checks if unit.readable else 0, rng) for unit in told if unit.open),
        *(_next_one(told, rng) for _ in range(new)),
    ):
        beyond = (values - limit) * (1.0 if sense == "at-most" else -1.0)
        fails |= beyond > student(df, 2 * ONE_SIDE / over) * se
        holds &= beyond <= -student_95(df) * se
    return float(np.mean(fails | holds))


def _read_again(unit: Unit, checks: int, rng: np.random.Generator) -> tuple[np.ndarray, float, float]:
    """Means of one after further checks, with their error."""
    truth = unit.value + unit.se * rng.normal(size=DRAWS)
    errors = unit.se * rng.normal(size=(checks, DRAWS)).sum(axis=0)
    return (unit.value + checks * truth + errors) / (1 + checks), unit.se / math.sqrt(1 + checks), unit.df


def _next_one(told: Sequence[Unit], rng: np.random.Generator) -> tuple[np.ndarray, float, float]:
    """Values read of a new one, with their error."""
    if len(told) < FEWEST:
        raise Refused("scatter-unknown")
    known = np.array([unit.value for unit in told])
    log = bool((known > 0).all())
    scaled = np.log(known) if log else known
    far = scaled.std(ddof=1) * math.sqrt(1 + 1 / len(known))
    truth = scaled.mean() + far * rng.standard_t(len(known) - 1, DRAWS)
    like = sorted(told, key=lambda unit: unit.se)[len(told) // 2]
    values = np.exp(np.minimum(truth, LARGEST)) if log else truth
    return values + like.se * rng.normal(size=DRAWS), like.se, like.df
