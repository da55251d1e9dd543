"""Agreement in rank of two measures within engines, and how often chance alone agrees as much.

M. G. Kendall, A new measure of rank correlation, Biometrika 30 (1938) 81; pairs are formed within an engine only, and
the permutation test exchanges within engines only, so that what differs from engine to engine has no part in it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import permutations

import numpy as np
from numpy.typing import NDArray

from sitegen.vocabulary import Refused

Floats = NDArray[np.float64]

MOST_TRIED = 8  # cylinders of an engine with ties up to which every order is tried


@dataclass(frozen=True)
class Agreement:
    """Kendall's tau-b within strata, its two-sided permutation p and the least p it could have reached [-]."""

    tau: float
    p: float
    least_p: float
    arrangements: int


def rank_agreement(first: Sequence[float], second: Sequence[float], strata: Sequence[str]) -> Agreement:
    """Agreement of two measures of the same cylinders, in any units; `strata` names the engine of each.

    Raises Refused "all-alike" where one of the two has the same value for all cylinders of every engine, and
    "too-many-arrangements" where an engine of more than `MOST_TRIED` cylinders has ties.
    """
    groups = [[at for at, each in enumerate(strata) if each == name] for name in dict.fromkeys(strata)]
    groups = [group for group in groups if len(group) > 1]
    signs = [(_signs([first[at] for at in group]), _signs([second[at] for at in group])) for group in groups]
    untied = math.sqrt(sum(float(np.abs(a).sum()) for a, _ in signs) * sum(float(np.abs(b).sum()) for _, b in signs))
    if untied == 0:
        raise Refused("all-alike")
    seen = sum(float((a * b).sum()) for a, b in signs)
    scores = {0: 1}  # concordant less discordant pairs -> number of arrangements, over the engines so far
    for a, b in signs:
        own = _scores(a, b)
        scores = _summed(scores, own)
    count = sum(scores.values())
    most = max(abs(score) for score in scores)
    return Agreement(
        seen / untied,
        sum(times for score, times in scores.items() if abs(score) >= abs(round(seen / 2))) / count,
        sum(times for score, times in scores.items() if abs(score) == most) / count,
        count,
    )


def _summed(one: Mapping[int, int], other: Mapping[int, int]) -> dict[int, int]:
    found: dict[int, int] = {}
    for a, times in one.items():
        for b, more in other.items():
            found[a + b] = found.get(a + b, 0) + times * more
    return found


def _scores(a: Floats, b: Floats) -> dict[int, int]:
    """Concordant less discordant pairs over all orders of the second measure, with how many orders give each."""
    n = len(a)
    tied = int((a == 0).sum()) > n or int((b == 0).sum()) > n  # the diagonal is zero anyway
    found: dict[int, int] = {}
    if not tied:  # orders of n by their number of inversions, one more place at a time
        inversions = [1]
        for places in range(2, n + 1):
            inversions = [
                int(each) for each in np.convolve(np.array(inversions, dtype=object), np.ones(places, dtype=int))
            ]
        pairs = n * (n - 1) // 2
        return {pairs - 2 * k: times for k, times in enumerate(inversions)}
    if n > MOST_TRIED:
        raise Refused("too-many-arrangements")
    for order in permutations(range(n)):
        score = round(float((a * b[np.ix_(order, order)]).sum()) / 2)
        found[score] = found.get(score, 0) + 1
    return found


def _signs(values: Sequence[float]) -> Floats:
    array = np.asarray(values, dtype=float)
    return np.asarray(np.sign(array[:, None] - array[None, :]))
