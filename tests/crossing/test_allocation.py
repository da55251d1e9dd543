"""Lots: the same from the same seed for ever, fair, and recognised when an allocation follows from them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from random import Random

import pytest
from scipy import stats

from crossing.factory import C, D, R, program
from sitegen import workflow
from sitegen.crossing import allocation
from sitegen.program.model import Place, Program

SEEDS = range(6000)


def letters(lots: allocation.Lots) -> str:
    """Coatings by their first letters, a word a build."""
    return " ".join("".join(coating[0] for coating in build) for build in lots)


def test_a_seed_gives_the_lots_it_gave_when_they_were_first_drawn() -> None:
    """Pinned: a program file records its seed, and its lots must come out again in every later version."""
    whole = allocation.whole_builds([R, R, R, C, C, C, D], [1] * 7, 20260159)
    rounds = allocation.in_rounds([R, C, D], [1] * 8, 7)
    mixed = allocation.mixed([R, C], [4, 4, 4, 4], 1)
    odd = allocation.mixed([R, C, D], [4, 4, 4], 3)
    assert [letters(each) for each in (whole, rounds, mixed, odd)] == PINNED


PINNED = ["s p s p h p s", "s h p s h p p s", "sspp psps psps spps", "hpsp pssh phhs"]


def test_the_shuffle_is_that_of_the_generator_and_draws_as_many_bits_as_it_needs() -> None:
    """The draws of a Fisher-Yates shuffle from the last item down, written out for one seed."""
    chance = Random(42)  # noqa: S311 - lots, not secrets
    expected = list("abcdef")
    for last in range(5, 0, -1):
        while True:
            other = chance.getrandbits((last + 1).bit_length())
            if other <= last:
                break
        expected[last], expected[other] = expected[other], expected[last]
    assert allocation.shuffled("abcdef", Random(42)) == expected  # noqa: S311


def test_the_order_the_coatings_are_written_in_does_not_matter() -> None:
    for seed in range(20):
        assert allocation.whole_builds([R, C, C, R], [2] * 4, seed) == allocation.whole_builds(
            [C, R, R, C], [2] * 4, seed
        )
        assert allocation.mixed([R, C], [4], seed) == allocation.mixed([C, R], [4], seed)


@pytest.mark.parametrize("scheme", allocation.SCHEMES)
def test_every_arrangement_is_alike_likely(scheme: str) -> None:
    """Pearson's chi-square over 6000 seeds; fails by chance once in a thousand, and the seeds are fixed."""
    wanted, cylinders, arrangements = {
        "whole builds": ([R, R, C, C], [1] * 4, 6),
        "whole builds in rounds": ([R, C, D], [1] * 3, 6),
        "mixed in engine": ([R, C], [4], 6),
    }[scheme]
    found = Counter(allocation.drawn(scheme, wanted, cylinders, seed) for seed in SEEDS)
    assert len(found) == arrangements
    assert stats.chisquare(list(found.values())).pvalue > 1e-3


def test_every_permutation_of_four_is_alike_likely_and_no_seed_repeats_its_neighbour() -> None:
    found = Counter(tuple(allocation.shuffled("abcd", Random(seed))) for seed in SEEDS)  # noqa: S311
    assert len(found) == 24
    assert stats.chisquare(list(found.values())).pvalue > 1e-3
    after = Counter(
        (allocation.shuffled("ab", Random(seed))[0], allocation.shuffled("ab", Random(seed + 1))[0])  # noqa: S311
        for seed in SEEDS
    )
    assert stats.chisquare(list(after.values())).pvalue > 1e-3


def test_whole_builds_keep_the_number_of_each_coating() -> None:
    for seed in range(50):
        lots = allocation.whole_builds([R, R, R, C, C, D], [4, 4, 4, 4, 6, 6], seed)
        assert Counter(build[0] for build in lots) == {R: 3, C: 2, D: 1}
        assert [len(build) for build in lots] == [4, 4, 4, 4, 6, 6]
        assert all(len(set(build)) == 1 for build in lots)


def test_each_round_holds_every_coating_once() -> None:
    for seed in range(50):
        lots = [build[0] for build in allocation.in_rounds([R, C, D], [4] * 11, seed)]
        for start in (0, 3, 6):
            assert set(lots[start : start + 3]) == {R, C, D}
        assert len(set(lots[9:])) == 2


def test_fewer_builds_in_rounds_or_mixed_are_the_first_of_more() -> None:
    """What is drawn later does not change what was drawn before: a program may be built as it goes."""
    for seed in range(20):
        for scheme in ("whole builds in rounds", "mixed in engine"):
            longer = allocation.drawn(scheme, [R, C, D], [4] * 9, seed)
            shorter = allocation.drawn(scheme, [R, C, D], [4] * 5, seed)
            assert longer is not None
            assert shorter == longer[:5]


@pytest.mark.parametrize(("coatings", "cylinders"), [((R, C), 4), ((R, C), 3), ((R, C, D), 4), ((R, C, D), 8)])
def test_mixed_engines_are_as_even_as_they_can_be(coatings: Sequence[str], cylinders: int) -> None:
    for seed in range(50):
        lots = allocation.mixed(coatings, [cylinders] * 6, seed)
        for build in lots:
            counts = Counter(build)
            assert set(counts) == set(coatings)
            assert max(counts.values()) - min(counts.values()) <= 1
        total = Counter(coating for build in lots for coating in build)
        assert max(total.values()) - min(total.values()) <= 1  # those that get one more take turns


def test_an_unknown_scheme_is_not_drawn() -> None:
    assert allocation.drawn("as they came", [R, C], [1, 1], 3) is None


# ---- does an allocation follow ---------------------------------------------------------------------------------------


def examples() -> dict[str, Program]:
    folder, problems = workflow.programs(Path(__file__).parents[2] / "programs")
    assert folder is not None, problems
    return {each.id: each for each in folder.programs}


@pytest.mark.parametrize("name", ["pump-rings-2025", "pump-rings-2026"])
def test_the_example_programs_follow_from_their_seeds_until_one_pair_is_exchanged(name: str) -> None:
    found = examples()[name]
    assert allocation.follows(found)
    assert not allocation.follows(replace(found, allocation_seed=(found.allocation_seed or 0) + 1))
    assert not allocation.follows(replace(found, allocation_seed=None))
    assert not allocation.follows(replace(found, allocation_scheme="not recorded"))
    assert not allocation.follows(_exchanged(found))


def _exchanged(found: Program) -> Program:
    """The same with two neighbours exchanged: two builds of other coatings, or two cylinders of a mixed engine."""
    builds = list(found.builds)
    if len(builds[0].coatings) > 1:
        one, other, *rest = builds[0].places
        turned = (Place(one.cylinder, other.coating), Place(other.cylinder, one.coating), *rest)
        builds[0] = replace(builds[0], places=turned)
    else:
        places = {coating: n for n, build in enumerate(builds) for coating in build.coatings}
        one_, other_ = (places[coating] for coating in found.coatings[:2])
        builds[one_], builds[other_] = (
            replace(builds[one_], places=builds[other_].places),
            replace(builds[other_], places=builds[one_].places),
        )
    return replace(found, builds=tuple(builds))


def test_the_order_of_building_counts_not_that_of_the_file() -> None:
    lots = allocation.whole_builds([R, C] * 4, [2] * 8, 9)
    of = program({f"B{n}": build for n, build in enumerate(lots)}, allocation_scheme="whole builds", allocation_seed=9)
    assert allocation.follows(of)
    assert allocation.follows(replace(of, builds=of.builds[::-1]))
    later = [replace(build, built=len(lots) + 1 - build.built) for build in of.builds]
    assert not allocation.follows(replace(of, builds=tuple(later)))
