"""Builds that ended early: the exact test by ranks against a library and by hand, and simulated false alarms."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from scipy import stats

from sitegen.methods import ended
from sitegen.vocabulary import Refused

WORST = math.inf


def test_three_and_three_cannot_reach_five_per_cent_and_four_and_four_can() -> None:
    # by hand: of the C(6, 3) = 20 ways to deal three ranks two are as far out as possible, of C(8, 4) = 70 two
    assert ended.ranked([1, 2, 3], [4, 5, 6]).p == ended.ranked([1, 2, 3], [4, 5, 6]).least == pytest.approx(0.1)
    assert ended.ranked([5, 6, 7, 8], [1, 2, 3, 4]).p == pytest.approx(2 / 70)
    assert ended.ranked([5, 6, 7, 8], [1, 2, 3, 4]).larger
    assert ended.ranked([1.0], [2.0]).least == 1.0


@pytest.mark.parametrize("sizes", [(4, 4), (5, 3), (6, 6), (2, 9)])
def test_without_ties_it_is_the_exact_test_of_a_library(sizes: tuple[int, int]) -> None:
    # scipy.stats.mannwhitneyu, method "exact"
    random = np.random.default_rng(sum(sizes))
    for _ in range(20):
        first, second = (random.normal(size=size).tolist() for size in sizes)
        theirs = stats.mannwhitneyu(first, second, alternative="two-sided", method="exact")
        assert ended.ranked(first, second).p == pytest.approx(float(theirs.pvalue), rel=1e-9)


def test_with_builds_that_ended_by_the_measure_it_is_a_library_s_over_all_permutations() -> None:
    # scipy.stats.permutation_test deals the mean ranks in every possible way
    first, second = [1.0, 3.0, 2.0, 5.0], [4.0, WORST, WORST, 6.0]
    ranks = stats.rankdata([*first, *second])
    theirs = stats.permutation_test(
        (ranks[:4], ranks[4:]), lambda a, _: abs(a.sum() - 18.0), permutation_type="independent", alternative="greater"
    )
    assert ended.ranked(first, second).p == pytest.approx(float(theirs.pvalue), rel=1e-9)


def test_what_ends_at_the_worst_is_worse_by_no_known_amount() -> None:
    kept = ended.ranked([1.0, 2.0, 3.0, 4.0], [5.0, 6.0, 7.0, WORST])
    assert kept == ended.ranked([1.0, 2.0, 3.0, 4.0], [5.0, 6.0, 7.0, 1e9])
    assert kept.p == pytest.approx(2 / 70)
    with pytest.raises(Refused) as why:
        ended.ranked([], [1.0])
    assert why.value.code == "coating-without-value"


def test_a_level_is_the_mean_of_the_last_windows_up_to_an_hour() -> None:
    hours = [float(hour) for hour in range(1, 11)]
    assert ended.level_at(hours, hours, 7.5) == pytest.approx((3 + 4 + 5 + 6 + 7) / 5)
    with pytest.raises(Refused) as why:
        ended.level_at(hours, hours, 4.9)
    assert why.value.code == "few-windows"


# ---- false alarms where coatings are alike --------------------------------------------------------------------------

DRAWS = 4000
HOURS = np.arange(1, 101)
Runs = tuple[np.ndarray, np.ndarray]  # levels by hour [%], (draws, builds, 100); hour at which each ended


def runs(random: np.random.Generator, builds: int, *, early: float) -> Runs:
    """One coating over and over: rises of 6 +- 2 % in 100 h, builds apart by 3 %, wander 1 % that forgets by the hour,
    scatter of an hour 0.5 %; a share of the builds ends early, at any hour from 30 on.
    """
    shape = (DRAWS, builds)
    wander = np.zeros((*shape, 100))
    wander[..., 0] = random.normal(0, 1, shape)
    for at in range(1, 100):
        wander[..., at] = math.exp(-1) * wander[..., at - 1] + random.normal(0, math.sqrt(1 - math.exp(-2)), shape)
    rising = random.normal(0.06, 0.02, (*shape, 1)) * HOURS
    level = 100 + random.normal(0, 3, (*shape, 1)) + rising + wander + random.normal(0, 0.5, (*shape, 100))
    return level, np.where(random.random(shape) < early, random.integers(30, 96, shape), 100)


def by_level(level: np.ndarray, end: np.ndarray, last: np.ndarray) -> np.ndarray:
    """As the method has it, on each build."""
    del end
    figures = [[ended.level_at(HOURS.tolist(), own.tolist(), hour) for own in draw]
               for draw, hour in zip(level, last.tolist(), strict=True)]  # fmt: skip
    return np.array(figures)


def by_slope(level: np.ndarray, end: np.ndarray, last: np.ndarray) -> np.ndarray:
    del last
    run = end[..., None] >= HOURS
    away = np.where(run, HOURS - (run * HOURS).sum(-1, keepdims=True) / end[..., None], 0.0)
    return np.asarray((away * level).sum(-1) / (away**2).sum(-1))


def by_last(level: np.ndarray, end: np.ndarray, last: np.ndarray) -> np.ndarray:
    del last
    read = (end[..., None] >= HOURS) & (end[..., None] - ended.WINDOWS < HOURS)
    return np.asarray((read * level).sum(-1) / ended.WINDOWS)


Figure = Callable[[np.ndarray, np.ndarray, np.ndarray], np.ndarray]


def alarms(figure: Figure, builds: int, seed: int) -> float:
    """Share of programs [%] in which coatings that are alike differ; one of them ends early four times as often."""
    random = np.random.default_rng(seed)
    (first, end), (second, other) = (runs(random, builds, early=share) for share in (0.8, 0.2))
    last = np.minimum(end.min(axis=1), other.min(axis=1))
    found = stats.ttest_ind(figure(first, end, last), figure(second, other, last), axis=1).pvalue < 0.05
    return 100 * float(found.mean())


@pytest.mark.parametrize("figure", [by_slope, by_level], ids=["slope to its own end", "level at the last common hour"])
@pytest.mark.parametrize("builds", [3, 4])
def test_figures_of_builds_that_ended_early_raise_no_more_false_alarms(figure: Figure, builds: int) -> None:
    assert alarms(figure, builds, seed=builds) <= 5.6


def test_what_was_read_last_would_raise_them() -> None:
    assert alarms(by_last, 4, seed=9) > 6.5


def test_ranks_raise_few_false_alarms_where_builds_end_by_the_measure() -> None:
    """Coatings alike; a build whose blow-by passes a limit is ended by it."""
    random, found = np.random.default_rng(5), 0
    groups = [runs(random, 4, early=0.0)[0] for _ in range(2)]
    figures = [np.where(level.max(-1) > 110, WORST, level[..., -5:].mean(-1)).tolist() for level in groups]
    for first, second in zip(*figures, strict=True):
        found += ended.ranked(first, second).p <= 0.05
    assert 100 * found / DRAWS <= 5.6
