"""Randomisation tests at the level of assignment: how often would the lots alone have done as much.

R. A. Fisher, The design of experiments (1935), section 21; E. S. Edgington and P. Onghena, Randomization tests (2007).
Exact only where the lots were drawn as the scheme says.

Every scheme here relabels units inside groups and keeps the number of each coating in every group: one group of all
builds, one group a round, or one group of cylinders a build. Groups that hold one of the two coatings only say nothing
and are left out.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import chain, combinations

import numpy as np
from numpy.typing import NDArray

from sitegen.vocabulary import Refused

MOST = 200_000  # arrangements that are tried one by one
_TIE = 1e-9  # of the largest deviation: differences nearer than that tie

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Randomisation:
    """A two-sided randomisation test on the difference of means."""

    p: float  # share of arrangements with a difference at least as large as the one seen [-]
    least_p: float  # smallest p these arrangements can reach [-]
    arrangements: int


def least_p(groups: Iterable[tuple[int, int]]) -> float:
    """Smallest p [-] of relabelling units inside groups that hold so many of the candidate and of the reference.

    Where every group holds as many of both, each arrangement has a mirror with the opposite difference.

    >>> [round(1 / least_p([pair])) for pair in [(2, 2), (3, 3), (4, 4)]]
    [3, 10, 35]
    """
    pairs = [(own, other) for own, other in groups if own and other]
    mirrored = bool(pairs) and all(own == other for own, other in pairs)
    return (2 if mirrored else 1) / math.prod(math.comb(own + other, own) for own, other in pairs)


def whole_builds(values: Sequence[float], labels: Sequence[str], candidate: str, reference: str) -> Randomisation:
    """All relabellings of the two coatings' builds that keep the number of each; values one a build, in any unit.

    Raises Refused "coating-without-value", and "too-many-arrangements" above `MOST`, as all three do.
    """
    return _within(values, labels, [0] * len(labels), candidate, reference, centred=False)


def in_rounds(
    values: Sequence[float], labels: Sequence[str], rounds: Sequence[int], candidate: str, reference: str
) -> Randomisation:
    """The two coatings exchanged within rounds that hold both; values one a build, in any unit."""
    return _within(values, labels, rounds, candidate, reference, centred=False)


def within_builds(
    values: Sequence[float], labels: Sequence[str], builds: Sequence[str], candidate: str, reference: str
) -> Randomisation:
    """Cylinders relabelled within each build that holds both, the number of each coating kept; values in any unit.

    The statistic is the difference of means after the mean of each build over these cylinders is taken out.
    """
    return _within(values, labels, builds, candidate, reference, centred=True)


def _within(
    values: Sequence[float], labels: Sequence[str], groups: Sequence[object], candidate: str, reference: str,
    *, centred: bool,
) -> Randomisation:  # fmt: skip
    pair = {candidate, reference}
    members: dict[object, list[tuple[float, bool]]] = {}
    for value, label, group in zip(values, labels, groups, strict=True):
        if label in pair:
            members.setdefault(group, []).append((float(value), label == candidate))
    held = [each for each in members.values() if len({own for _, own in each}) == 2]
    if not held:
        raise Refused("coating-without-value")
    y = [np.array([value for value, _ in each]) for each in held]
    own = [np.array([mark for _, mark in each]) for each in held]
    middle = float(np.concatenate(y).mean())  # taken out first, so that ties are judged by the scatter, not the level
    y = [each - (each.mean() if centred else middle) for each in y]
    counts = [(int(mark.sum()), int((~mark).sum())) for mark in own]
    arrangements = math.prod(math.comb(sum(count), count[0]) for count in counts)
    if arrangements > MOST:
        raise Refused("too-many-arrangements")

    sums = np.zeros(1)  # of the candidate's values, over every arrangement
    for each, (number, _) in zip(y, counts, strict=True):
        sums = np.add.outer(sums, _sums(each, number)).ravel()
    n, m = (sum(part) for part in zip(*counts, strict=True))
    total = math.fsum(float(each.sum()) for each in y)
    differences = np.abs(sums / n - (total - sums) / m)
    seen = math.fsum(float(each[mark].sum()) for each, mark in zip(y, own, strict=True))
    tie = _TIE * max(float(np.abs(each).max()) for each in y)
    p = float((differences >= abs(seen / n - (total - seen) / m) - tie).mean())
    return Randomisation(p, least_p(counts), arrangements)


def _sums(y: Floats, number: int) -> Floats:
    """Sums of `number` of the values, over all choices."""
    count = math.comb(len(y), number)
    chosen = np.fromiter(chain.from_iterable(combinations(range(len(y)), number)), dtype=np.intp, count=count * number)
    return np.asarray(y[chosen.reshape(count, number)].sum(axis=1))
