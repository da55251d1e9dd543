"""Randomisation tests against published worked examples, a reference library and plain counting."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

from sitegen.methods import randomisation
from sitegen.methods.randomisation import Randomisation, in_rounds, least_p, whole_builds, within_builds
from sitegen.vocabulary import Refused

Floats = NDArray[np.float64]
MANY = 100_000  # more than there are, so that the library tries them all


def both(one: Sequence[float], other: Sequence[float]) -> Randomisation:
    return whole_builds([*one, *other], ["A"] * len(one) + ["B"] * len(other), "A", "B")


def pairs(one: Sequence[float], other: Sequence[float]) -> Randomisation:
    labels = ["A"] * len(one) + ["B"] * len(other)
    return in_rounds([*one, *other], labels, [*range(len(one)), *range(len(other))], "A", "B")


# ---- published ------------------------------------------------------------------------------------------------------


def test_two_and_two() -> None:
    """Iowa State University, Statistics 401, randomisation test by hand: 7, 5 against 3, 1: 2 of 6 arrangements."""
    assert both([7, 5], [3, 1]) == Randomisation(2 / 6, 2 / 6, 6)


def test_four_and_four() -> None:
    """D. M. Lane, HyperStat, randomisation tests: 3 of 70 on one side, two-tailed 6/70 = 0.0857; means 10 and 4."""
    found = both([11, 14, 7, 8], [2, 9, 0, 5])
    assert (round(found.p, 4), found.arrangements) == (0.0857, 70)


def test_cups_of_tea() -> None:
    """R. A. Fisher, The design of experiments (1935), sections 5-6: 70 ways, all eight right in one of them."""
    found = both([1, 1, 1, 1], [0, 0, 0, 0])
    assert (round(found.p * 70, 9), found.arrangements) == (2, 70)


def test_darwins_maize() -> None:
    """Fisher (1935), section 21: of 32 768 arrangements 863 on one side reach the sum of 314 eighths of an inch.

    R data set HistData ZeaMays; differences crossed less self-fertilised.
    """
    eighths = [49, -67, 8, 16, 6, 23, 28, 41, 14, 29, 56, 24, 75, 60, -48]
    assert sum(eighths) == 314
    found = pairs(eighths, [0] * 15)
    assert (round(found.p * found.arrangements), found.arrangements) == (2 * 863, 32_768)


def test_boys_shoes() -> None:
    """G. E. P. Box, J. S. Hunter and W. G. Hunter, Statistics for experimenters (2005), p. 81-84 (from memory).

    Of 1024 arrangements 3 give more than the mean difference of 0.41 and 4 the same: ties are counted.
    """
    one = [13.2, 8.2, 10.9, 14.3, 10.7, 6.6, 9.5, 10.8, 8.8, 13.3]
    other = [14.0, 8.8, 11.2, 14.2, 11.8, 6.4, 9.8, 11.3, 9.3, 13.6]
    found = pairs(one, other)
    assert (round(found.p * found.arrangements), found.arrangements) == (2 * (3 + 4), 1024)


# ---- a library ------------------------------------------------------------------------------------------------------


def difference(one: Floats, other: Floats, axis: int = -1) -> Floats:
    return np.asarray(np.abs(one.mean(axis=axis) - other.mean(axis=axis)))


@pytest.mark.parametrize("seed", range(8))
def test_library_whole_builds(seed: int) -> None:
    rng = np.random.default_rng(seed)
    one, other = rng.normal(0.8, 1, 3 + seed % 3), rng.normal(0, 1, 4)
    if seed % 2:  # coarse readings, many ties
        one, other = one.round(), other.round()
    expected = stats.permutation_test((one, other), difference, alternative="greater", n_resamples=MANY)
    found = both(one.tolist(), other.tolist())
    assert found.arrangements == len(expected.null_distribution)
    assert found.p == pytest.approx(float(expected.pvalue))


@pytest.mark.parametrize("seed", range(4))
def test_library_in_rounds(seed: int) -> None:
    rng = np.random.default_rng(seed)
    one, other = rng.normal(0.5, 1, 7), rng.normal(0, 1, 7)
    expected = stats.permutation_test(
        (one, other), difference, permutation_type="samples", alternative="greater", n_resamples=MANY
    )
    assert pairs(one.tolist(), other.tolist()).p == pytest.approx(float(expected.pvalue))


# ---- plain counting -------------------------------------------------------------------------------------------------


def counted(values: Sequence[float], labels: Sequence[str], builds: Sequence[str]) -> float:
    """Share of arrangements within builds with a difference as large, one by one and by the definition."""
    y = np.array(values)
    for build in set(builds):
        inside = np.array([each == build for each in builds])
        y[inside] -= y[inside].mean()
    seen, found = None, []
    names = list(dict.fromkeys(builds))
    choices = [
        set(itertools.permutations([x for x, b in zip(labels, builds, strict=True) if b == name])) for name in names
    ]
    for arrangement in itertools.product(*choices):
        turn = {name: list(part) for name, part in zip(names, arrangement, strict=True)}
        given = [turn[build].pop(0) for build in builds]
        own = np.array([label == "A" for label in given])
        found.append(abs(y[own].mean() - y[~own].mean()))
        if list(given) == list(labels):
            seen = found[-1]
    assert seen is not None
    return float(np.mean([each >= seen - 1e-9 for each in found]))


@pytest.mark.parametrize(
    "letters", [("AABB", "ABBA"), ("AABB", "ABAB", "BBAA"), ("AAAB", "AABB"), ("AB", "AAB", "ABB")]
)
def test_within_builds_by_plain_counting(letters: Sequence[str]) -> None:
    labels = list("".join(letters))
    builds = [f"B{number}" for number, part in enumerate(letters) for _ in part]
    rng = np.random.default_rng(len(labels))
    for _ in range(5):
        values = (rng.normal(0, 1, len(labels)) + [5.0 * int(build[1:]) for build in builds]).tolist()
        assert within_builds(values, labels, builds, "A", "B").p == pytest.approx(counted(values, labels, builds))


def test_what_says_nothing_is_left_out() -> None:
    """A third coating, a round with one of the two, a pure build: the answer is that of the rest."""
    plain = in_rounds([1, 2, 3, 5], ["A", "B", "A", "B"], [1, 1, 2, 2], "A", "B")
    more = in_rounds([1, 9, 2, 3, 5, 40], ["A", "C", "B", "A", "B", "A"], [1, 1, 1, 2, 2, 3], "A", "B")
    assert more == plain
    mixed = within_builds([1, 2, 4, 7], list("ABAB"), list("kkll"), "A", "B")
    assert within_builds([1, 2, 4, 7, 8, 9, 3], list("ABABAAC"), list("kkllmmk"), "A", "B") == mixed


# ---- the least p ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("each", "least"), [(2, 1 / 3), (3, 1 / 10), (4, 1 / 35)])
def test_least_p_of_whole_builds(each: int, least: float) -> None:
    """2 in C(2n, n) arrangements."""
    found = both([10.0] * each, [0.0] * each)
    assert found.p == pytest.approx(least)
    assert found.least_p == pytest.approx(least)
    assert least_p([(each, each)]) == pytest.approx(least)


@pytest.mark.parametrize(
    "groups",
    [[(3, 2)], [(1, 4)], [(1, 1)] * 5, [(2, 2), (2, 2)], [(3, 1), (1, 3)], [(2, 2), (1, 2)], [(2, 1), (2, 1), (2, 1)]],
)
def test_least_p_is_reached_and_never_passed(groups: list[tuple[int, int]]) -> None:
    """The least p over 300 sets of wildly scattered values, the largest given to the candidate in half of them."""
    labels = [label for own, other in groups for label in "A" * own + "B" * other]
    places = [str(number) for number, pair in enumerate(groups) for _ in range(sum(pair))]
    rng = np.random.default_rng(len(labels))
    found = []
    for draw in range(300):
        values = np.exp(3 * rng.standard_normal(len(labels)))
        if draw % 2:
            for place in set(places):
                inside = [i for i, each in enumerate(places) if each == place]
                values[inside] = np.sort(values[inside])[::-1]
        found.append(within_builds(values.tolist(), labels, places, "A", "B").p)
    assert min(found) == pytest.approx(least_p(groups))


def test_a_group_with_one_of_the_two_has_no_say_in_the_least_p() -> None:
    """Two rounds with both and one with the candidate alone: 4 arrangements, in mirrored pairs."""
    found = in_rounds([5, 1, 6, 2, 9], list("ABABA"), [1, 1, 2, 2, 3], "A", "B")
    assert found.least_p == least_p([(1, 1), (1, 1), (1, 0)]) == least_p([(0, 3), (1, 1), (1, 1)]) == 0.5
    assert found.p == pytest.approx(0.5)


def test_a_plan_without_a_choice_cannot_speak() -> None:
    assert least_p([(3, 0), (0, 2)]) == 1.0


# ---- ties, size, refusals -------------------------------------------------------------------------------------------


def test_a_high_level_makes_no_ties() -> None:
    """Thousandths about a million: arrangements stay apart that differ by less than a millionth of the level."""
    for level in (0.0, 1e6):
        found = both([level + each for each in (0.004, 0.009, 0.005)], [level + each for each in (0.001, 0.002, 0.003)])
        assert found.p == pytest.approx(2 / 20)


def test_rounding_makes_no_difference_of_a_tie() -> None:
    """Sums of tenths are not exact: whatever the level, no difference at all is reached by every arrangement."""
    for level in (0.0, 0.3, 1e6):
        assert both([level + 0.1, level + 0.2, level + 0.3], [level + 0.3, level + 0.2, level + 0.1]).p == 1.0
    assert both([5.0, 5.0], [5.0, 5.0]).p == 1.0
    assert pairs([0.1, 0.7, 0.3], [0.3, 0.1, 0.7]).p == 1.0


@pytest.mark.parametrize("shape", ["whole", "rounds", "within"])
def test_false_alarms_never_pass_their_level(shape: str) -> None:
    """1000 programs drawn by lot from the same values: p reaches 5 % in at most 5 % (three standard errors: 2.1)."""
    rng = np.random.default_rng(35)
    alarms = 0
    for _ in range(1000):
        values = rng.exponential(1, 12).tolist()
        if shape == "whole":
            found = whole_builds(values[:9], list(rng.permutation(list("AAAAABBBB"))), "A", "B")
        elif shape == "rounds":
            labels = [x for _ in range(6) for x in rng.permutation(["A", "B"])]
            found = in_rounds(values, labels, [i // 2 for i in range(12)], "A", "B")
        else:
            labels = [x for _ in range(3) for x in rng.permutation(list("AABB"))]
            found = within_builds(values, labels, [str(i // 4) for i in range(12)], "A", "B")
        alarms += found.p <= 0.05
    assert 0.01 < alarms / 1000 < 0.071


def test_too_many_are_refused_before_they_are_tried() -> None:
    with pytest.raises(Refused) as told:
        whole_builds(list(range(40)), ["A", "B"] * 20, "A", "B")
    assert told.value.code == "too-many-arrangements"
    with pytest.raises(Refused):
        pairs([1.0] * 18, [2.0] * 18)
    assert pairs([1.0] * 17, [2.0] * 17).arrangements == 2**17 < randomisation.MOST


@pytest.mark.parametrize("labels", [["A", "A", "A"], ["B", "C", "B"], []])
def test_a_coating_without_a_value_is_refused(labels: list[str]) -> None:
    values = [1.0] * len(labels)
    with pytest.raises(Refused) as whole:
        whole_builds(values, labels, "A", "B")
    with pytest.raises(Refused) as rounds:
        in_rounds(values, labels, [1] * len(labels), "A", "B")
    assert whole.value.code == rounds.value.code == "coating-without-value"


def test_builds_that_hold_one_coating_each_have_nothing_to_relabel() -> None:
    with pytest.raises(Refused) as told:
        within_builds([1.0, 2.0], ["A", "B"], ["k", "l"], "A", "B")
    assert told.value.code == "coating-without-value"
