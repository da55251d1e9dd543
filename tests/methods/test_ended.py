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
        (ranks[:4], ranks[4:]), lambda a, b: abs(a.sum() - 18.0), permutation_type="independent", alternative="greater"
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
Figures = tuple[np.ndarray, np.ndarray]


def runs(random: np.random.Generator, builds: int, *, early: float) -> tuple[np.ndarray, np.ndarray]:
    """Levels by hour of one coating [%], (builds, 100), and the hour each ended. Rises of 6 +- 2 % in 100 h, builds
    apart by 3 %, wander 1 % that forgets by the hour, scatter of an hour 0.5 %; a share ends early, at any hour.
    """
    hour = np.arange(1, 101)
    wander = np.zeros((builds, 100))
    wander[:, 0] = random.normal(0, 1, builds)
    for at in range(1, 100):
        wander[:, at] = math.exp(-1) * wander[:, at - 1] + random.normal(0, math.sqrt(1 - math.exp(-2)), builds)
    slope = random.normal(0.06, 0.02, (builds, 1))
    level = 100 + random.normal(0, 3, (builds, 1)) + slope * hour + wander + random.normal(0, 0.5, (builds, 100))
    end = np.where(random.random(builds) < early, random.integers(30, 96, builds), 100)
    return level, end


def t_test(first: list[float], second: list[float]) -> bool:
    return bool(stats.ttest_ind(first, second).pvalue < 0.05)


def by_level(level: np.ndarray, end: np.ndarray, last: int) -> list[float]:
    del end
    hours = list(range(1, 101))
    return [ended.level_at(hours, own.tolist(), last) for own in level]


def by_slope(level: np.ndarray, end: np.ndarray, last: int) -> list[float]:
    del last
    return [float(np.polyfit(np.arange(1, to + 1), own[:to], 1)[0]) for own, to in zip(level, end, strict=True)]


def by_last(level: np.ndarray, end: np.ndarray, last: int) -> list[float]:
    del last
    return [float(own[to - 5 : to].mean()) for own, to in zip(level, end, strict=True)]


Figure = Callable[[np.ndarray, np.ndarray, int], list[float]]


def alarms(figure: Figure, builds: int, seed: int) -> float:
    """Share of programs [%] in which coatings that are alike differ; one of them ends early four times as often."""
    random = np.random.default_rng(seed)
    found = 0
    for _ in range(DRAWS):
        (first, end), (second, other) = (runs(random, builds, early=share) for share in (0.8, 0.2))
        last = int(min(end.min(), other.min()))
        found += t_test(figure(first, end, last), figure(second, other, last))
    return 100 * found / DRAWS


@pytest.mark.parametrize("figure", [by_slope, by_level], ids=["slope to its own end", "level at the last common hour"])
@pytest.mark.parametrize("builds", [3, 4])
def test_figures_of_builds_that_ended_early_raise_no_more_false_alarms(figure: Figure, builds: int) -> None:
    assert alarms(figure, builds, seed=builds) <= 5.6


def test_what_was_read_last_would_raise_them() -> None:
    assert alarms(by_last, 4, seed=9) > 6.5


def test_ranks_raise_few_false_alarms_where_builds_end_by_the_measure() -> None:
    """Coatings alike; a build whose blow-by passes a limit is ended by it."""
    random, found = np.random.default_rng(5), 0
    for _ in range(DRAWS):
        groups = []
        for _ in range(2):
            level, _ = runs(random, 4, early=0.0)
            groups.append([WORST if own.max() > 110 else float(own[-5:].mean()) for own in level])
        found += ended.ranked(*groups).p <= 0.05
    assert 100 * found / DRAWS <= 5.6
