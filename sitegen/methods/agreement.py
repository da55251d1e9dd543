"""How far two inspectors agree who graded the same places on one ordered scale."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from sitegen.methods.intervals import NORMAL_95
from sitegen.vocabulary import Refused

FEWEST = 8  # places both graded: common practice, no source; with fewer one place moves kappa by a fifth


@dataclass(frozen=True)
class Agreement:
    """Weighted kappa [-] with its large-sample standard error, and what it is made of."""

    kappa: float
    low: float | None  # 95 % interval, within [-1, 1]; None where every pair agreed
    high: float | None
    se: float | None
    n: int  # places graded by both
    equal: int  # of them graded alike


def weighted_kappa(pairs: Sequence[tuple[float, float]], low: float, high: float) -> Agreement:
    """Cohen's weighted kappa with linear weights of pairs of grades on a scale from `low` to `high`.

    kappa = (p_o − p_e) / (1 − p_e), p_o and p_e the observed and the chance share of agreement, each pair weighted by
    1 − |difference| / (high − low). J. Cohen, Psychological Bulletin 70 (1968) 213; linear weights: D. V. Cicchetti and
    T. Allison, American Journal of EEG Technology 11 (1971) 101. Standard error: J. L. Fleiss, J. Cohen and
    B. S. Everitt, Psychological Bulletin 72 (1969) 323.

    Raises Refused `few-common-places` below `FEWEST` pairs and `one-grade-only` where both gave everything one grade,
    so that chance alone already agrees.

    >>> round(weighted_kappa([(1, 1), (2, 2), (3, 2), (1, 2)] * 3, 1, 3).kappa, 4)
    0.3333
    """
    count = len(pairs)
    if count < FEWEST:
        raise Refused("few-common-places", count=count)
    grades = sorted({grade for pair in pairs for grade in pair})
    if len(grades) < 2:
        raise Refused("one-grade-only")

    def weight(one: float, other: float) -> float:
        return 1 - abs(one - other) / (high - low)

    first = {grade: sum(one == grade for one, _ in pairs) / count for grade in grades}
    second = {grade: sum(other == grade for _, other in pairs) / count for grade in grades}
    observed = math.fsum(weight(*pair) for pair in pairs) / count
    chance = math.fsum(first[a] * second[b] * weight(a, b) for a in grades for b in grades)
    kappa = (observed - chance) / (1 - chance)
    equal = sum(one == other for one, other in pairs)
    if equal == count:
        return Agreement(kappa, None, None, None, count, equal)
    of_first = {a: math.fsum(second[b] * weight(a, b) for b in grades) for a in grades}
    of_second = {b: math.fsum(first[a] * weight(a, b) for a in grades) for b in grades}
    spread = math.fsum((weight(a, b) - (of_first[a] + of_second[b]) * (1 - kappa)) ** 2 for a, b in pairs) / count
    variance = (spread - (kappa - chance * (1 - kappa)) ** 2) / (count * (1 - chance) ** 2)
    se = math.sqrt(max(variance, 0.0))
    half = NORMAL_95 * se
    return Agreement(kappa, max(kappa - half, -1.0), min(kappa + half, 1.0), se, count, equal)
