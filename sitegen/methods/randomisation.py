"""Randomisation tests at the level of assignment: how often would the lots alone have done as much.

R. A. Fisher, The design of experiments (1935), section 21; E. S. Edgington and P. Onghena, Randomization tests (2007).
Exact only where the lots were drawn as the scheme says.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations, product

import numpy as np

from sitegen.vocabulary import Refused

MOST = 200_000  # arrangements that are tried one by one
_TIE = 1e-9  # relative difference below which two arrangements tie


@dataclass(frozen=True)
class Randomisation:
    """A two-sided randomisation test."""

    p: float  # [-]
    least_p: float  # smallest p these arrangements can reach [-]
    arrangements: int


def whole_builds(values: Sequence[float], labels: Sequence[str], candidate: str, reference: str) -> Randomisation:
    """All relabellings of builds that keep the number of each coating; values one a build, in any unit."""
    y, own = _checked(values, labels, candidate, reference)
    count = math.comb(len(y), int(own.sum()))
    _few(count)
    chosen = np.zeros((count, len(y)), dtype=bool)
    for row, places in zip(chosen, combinations(range(len(y)), int(own.sum())), strict=True):
        row[list(places)] = True
    return _test(y, own, chosen)


def in_rounds(
    values: Sequence[float], labels: Sequence[str], rounds: Sequence[int], candidate: str, reference: str
) -> Randomisation:
    """The two coatings exchanged within rounds that hold both; other rounds stay as they are."""
    return _within(values, labels, rounds, candidate, reference, centred=False)


def within_builds(
    values: Sequence[float], labels: Sequence[str], builds: Sequence[str], candidate: str, reference: str
) -> Randomisation:
    """Cylinders relabelled within each build, the number of each coating kept; build means are taken out first."""
    return _within(values, labels, builds, candidate, reference, centred=True)


def _within(
    values: Sequence[float], labels: Sequence[str], groups: Sequence[object], candidate: str, reference: str,
    *, centred: bool,
) -> Randomisation:  # fmt: skip
    y, own = _checked(values, labels, candidate, reference)
    members = {group: [i for i, each in enumerate(groups) if each == group] for group in dict.fromkeys(groups)}
    if centred:
        for places in members.values():
            y[places] -= y[places].mean()
    sets: list[list[tuple[int, ...]]] = [
        list(combinations(places, int(own[places].sum()))) for places in members.values()
    ]
    count = math.prod(map(len, sets))
    _few(count)
    chosen = np.zeros((count, len(y)), dtype=bool)
    for row, parts in zip(chosen, product(*sets), strict=True):
        for part in parts:
            row[list(part)] = True
    return _test(y, own, chosen)


def _checked(
    values: Sequence[float], labels: Sequence[str], candidate: str, reference: str
) -> tuple[np.ndarray, np.ndarray]:
    if set(labels) != {candidate, reference}:
        raise Refused("coating-without-value")
    return np.array(values, dtype=float), np.array([label == candidate for label in labels])


def _few(count: int) -> None:
    if count > MOST:
        raise Refused("too-many-arrangements")


def _test(y: np.ndarray, own: np.ndarray, chosen: np.ndarray) -> Randomisation:
    """Differences of means over all arrangements against the one that was."""
    n = int(own.sum())
    sums = chosen @ y
    differences = np.abs(sums / n - (y.sum() - sums) / (len(y) - n))
    seen = abs(y[own].mean() - y[~own].mean())
    p = float((differences >= seen - _TIE * max(seen, 1e-300)).mean())
    return Randomisation(p, least(chosen), len(chosen))


def least(chosen: Iterable[np.ndarray] | np.ndarray) -> float:
    """Smallest p: the most extreme arrangement, and its mirror where the exchange of the coatings is among them."""
    rows = np.asarray(chosen)
    mirrored = 2 * int(rows[0].sum()) == rows.shape[1] and (rows == ~rows[0]).all(axis=1).any()
    return (2 if mirrored else 1) / len(rows)
