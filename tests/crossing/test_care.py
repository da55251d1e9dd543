"""What a comparison has to be careful about: shared errors, limits of detection, many looks, lots, lots drawn."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from random import Random
from typing import Any

import numpy as np
import pytest
from scipy import stats

from crossing.factory import AREA, GAIN, GAUGE, LOSS, PHASE, WIDTH, C, Case, D, R, below, case, program, rows, subject
from sitegen.crossing import allocation, subjects
from sitegen.methods import intraclass
from sitegen.program.model import Criterion
from sitegen.rounding import settled
from sitegen.vocabulary import Comparison, Value

HELD = {"B1": R, "B2": C, "B3": R, "B4": C, "B5": C, "B6": R}
NUMBERS = {"B1": 0.33, "B2": 0.25, "B3": 0.30, "B4": 0.28, "B5": 0.24, "B6": 0.36}


def pairs(held: Mapping[str, str]) -> dict[str, Sequence[str]]:
    return {build: (coating, coating) for build, coating in held.items()}


def twice(numbers: Mapping[str, float]) -> dict[str, Sequence[float]]:
    return {build: (number * 1.02, number / 1.02) for build, number in numbers.items()}


def read(testers: Mapping[str, str], *, share: float, gauge: float = 0.0, ratio: bool = True) -> Case:
    """Areas read with testers that are wrong by a share of each reading (standard error), gauges by an amount."""
    measure = AREA if ratio else LOSS
    made = case(pairs(HELD), twice(NUMBERS), measure)
    values = {
        where: replace(value, se_common=share * (value.value or 0.0), common=f"tester:{testers[value.key.engine]}")
        for where, value in made.rows.items()
    }
    halves = {
        (GAUGE.id, value.key): Value(GAUGE.id, value.key, gauge * (value.value or 0.0))
        for value in made.rows.values()
        if gauge
    }
    return Case(made.program, {**values, **halves})


def half(row: Comparison) -> float:
    assert row.low is not None
    assert row.high is not None
    if row.scale == "ratio":
        return math.log(row.high / row.low) / 2
    return (row.high - row.low) / 2


# ---- errors that readings share -------------------------------------------------------------------------------------

ONE = dict.fromkeys(HELD, "T1")
BY_COATING = {build: "T1" if coating == R else "T2" for build, coating in HELD.items()}
ACROSS = dict(zip(HELD, ("T1", "T1", "T2", "T2", "T1", "T2"), strict=True))


def test_one_tester_on_both_sides_of_a_ratio_cancels_exactly() -> None:
    sure, unsure = (read(ONE, share=share).of() for share in (0.0, 0.2))
    assert (unsure.low, unsure.high, unsure.p) == pytest.approx((sure.low, sure.high, sure.p), rel=1e-12)


def test_testers_that_go_along_with_the_coatings_widen_in_quadrature() -> None:
    """Each tester 3 % out: the ratio of two is out by 3 % times the root of two, by propagation of errors."""
    sure, unsure = (read(BY_COATING, share=share).of() for share in (0.0, 0.03))
    common = stats.norm.ppf(0.975) * 0.03 * math.sqrt(2)
    assert half(unsure) == pytest.approx(math.hypot(half(sure), common), rel=1e-9)
    assert unsure.estimate == sure.estimate
    assert sure.p is not None
    assert unsure.p is not None
    assert unsure.p > sure.p


def test_a_p_value_is_five_per_cent_where_the_interval_touches_no_difference() -> None:
    """With shared errors too, so that interval, p value and verdict contradict each other by no more than a digit.

    The verdict is that of the stored end: here it reads 1.000 from half a thousandth below no difference on.
    """
    low, high = 0.0, 0.5
    for _ in range(60):
        middle = (low + high) / 2
        row = read(BY_COATING, share=middle).of()
        low, high = (middle, high) if row.verdict == "better" else (low, middle)
    row = read(BY_COATING, share=low).of()
    assert row.p == pytest.approx(0.05, abs=5e-4)
    assert row.high == pytest.approx(1.0, abs=5.1e-4)


def test_testers_spread_over_both_coatings_widen_by_what_does_not_cancel() -> None:
    """T1 read one plain and two soft builds: weights -1/3 and 2/3 leave 1/3 of its error, and likewise of T2."""
    sure, unsure = (read(ACROSS, share=share).of() for share in (0.0, 0.03))
    left = stats.norm.ppf(0.975) * 0.03 * math.sqrt(2) / 3
    assert half(unsure) == pytest.approx(math.hypot(half(sure), left), rel=1e-9)


def test_on_the_difference_scale_a_share_does_not_cancel() -> None:
    """A tester 20 % out is wrong by more at the larger level: 20 % of the difference is left."""
    sure, unsure = (read(ONE, share=share, ratio=False).of(measure=LOSS) for share in (0.0, 0.2))
    assert sure.estimate is not None
    left = stats.norm.ppf(0.975) * 0.2 * abs(sure.estimate)
    assert half(unsure) == pytest.approx(math.hypot(half(sure), left), rel=1e-9)


def test_half_widths_of_gauges_enter_as_they_are() -> None:
    """Limits of error at 95 % are not multiplied again: a gauge 5 % out on one side only, of each of two testers."""
    sure, unsure = (read(BY_COATING, share=0.0, gauge=gauge).of() for gauge in (0.0, 0.05))
    assert half(unsure) == pytest.approx(math.hypot(half(sure), 0.05 * math.sqrt(2)), rel=1e-9)
    alike = read(ONE, share=0.0, gauge=0.05).of()
    assert half(alike) == pytest.approx(half(sure), rel=1e-9)


def test_for_two_candidates_shared_errors_are_widened_as_well() -> None:
    """Each of two intervals at 97.5 %: the normal point 2.2414 (tables) in place of 1.9600."""
    held = {**HELD, "B7": D, "B8": D, "B9": D}
    numbers = {**NUMBERS, "B7": 0.41, "B8": 0.38, "B9": 0.43}
    plain = case(pairs(held), twice(numbers), candidates=(C, D))
    values = {
        where: replace(value, se_common=0.03 * (value.value or 0.0), common=f"tester:{value.key.coating}")
        for where, value in plain.rows.items()
    }
    widened = Case(plain.program, values).of()
    assert half(widened) == pytest.approx(math.hypot(half(plain.of()), 2.2414 * 0.03 * math.sqrt(2)), rel=1e-5)


# ---- below detection ------------------------------------------------------------------------------------------------


def censored(held: Mapping[str, Sequence[str]], numbers: Mapping[str, Sequence[float]], *places: tuple[str, int, float],
             **more: object) -> Case:  # fmt: skip
    """Mass losses, some of them known only to lie below a limit."""
    made = case(held, numbers, LOSS, **more)
    out = dict(made.rows)
    for build, cylinder, limit in places:
        out |= below(made.program, LOSS, build, cylinder, limit, 0.0)
    return Case(made.program, out)


def brute_force(
    held: Mapping[str, Sequence[str]], numbers: Mapping[str, Sequence[float]], *places: tuple[str, int, float],
    **more: object,
) -> tuple[float, float]:  # fmt: skip
    """The outermost ends when every value below its limit is set to each of 13 numbers in turn."""
    ends = []
    for tried in itertools.product(*(np.linspace(0.0, limit, 13) for _, _, limit in places)):
        filled = {build: list(values) for build, values in numbers.items()}
        for (build, cylinder, _), number in zip(places, tried, strict=True):
            filled[build][cylinder - 1] = float(number)
        row = case(held, filled, LOSS, **more).of(measure=LOSS)
        assert row.low is not None
        assert row.high is not None
        ends.append((row.low, row.high))
    return min(low for low, _ in ends), max(high for _, high in ends)


LOSSES = {
    "B1": (3.1, 2.9), "B2": (1.2, 1.0), "B3": (2.7, 3.3), "B4": (1.5, 1.1), "B5": (0.9, 1.3), "B6": (3.4, 2.6),
    "B7": (2.2, 2.0), "B8": (1.9, 2.1),
}  # fmt: skip


@pytest.mark.parametrize(
    "places",
    [(("B2", 1, 1.0),), (("B2", 1, 1.0), ("B4", 2, 1.0)), (("B2", 1, 2.0), ("B5", 1, 2.0), ("B3", 2, 4.0))],
    ids=len,
)
def test_values_below_detection_give_the_hull_of_all_they_could_be(places: tuple[tuple[str, int, float], ...]) -> None:
    losses = {b: LOSSES[b] for b in HELD}
    row = censored(pairs(HELD), losses, *places).of(measure=LOSS)
    low, high = brute_force(pairs(HELD), losses, *places)
    assert (row.low, row.high) == pytest.approx((low, high), rel=1e-9)
    assert (row.estimate, row.p) == (None, None)
    assert row.level is None


def test_half_the_limit_is_not_what_is_entered() -> None:
    """The habit of taking half of a limit gives one interval inside; the hull is wider than it at both ends."""
    losses = {b: LOSSES[b] for b in HELD}
    row = censored(pairs(HELD), losses, ("B2", 1, 2.0), ("B4", 1, 2.0)).of(measure=LOSS)
    filled = {**losses, "B2": (1.0, 1.0), "B4": (1.0, 1.1)}
    inside = case(pairs(HELD), filled, LOSS).of(measure=LOSS)
    assert row.low is not None
    assert row.high is not None
    assert inside.low is not None
    assert inside.high is not None
    assert row.low < inside.low
    assert row.high > inside.high


def test_a_hull_on_one_side_of_nothing_is_a_verdict() -> None:
    losses = {b: LOSSES[b] for b in HELD}
    row = censored(pairs(HELD), losses, ("B2", 1, 1.0)).of(measure=LOSS)
    assert row.verdict == "better"
    assert row.high is not None
    assert row.high < 0


def test_the_hull_holds_where_each_coating_scatters_for_itself() -> None:
    """Welch's degrees of freedom move with the values below the limit, so no corner is the worst case."""
    losses = {"B1": 2.9, "B2": 3.7, "B3": 2.4, "B4": 3.1, "B5": 3.8, "B6": 2.6, "B7": 3.2, "B8": 3.2}
    held = {f"B{n}": R if n % 2 else C for n in range(1, 9)}
    both = {build: (loss, loss) for build, loss in losses.items()}
    places = (("B3", 1, 5.9), ("B3", 2, 2.7))
    row = censored(pairs(held), both, *places).of(measure=LOSS)
    low, high = brute_force(pairs(held), both, *places)
    assert row.procedure == "welch"
    assert row.low is not None
    assert row.high is not None
    assert row.low <= low
    assert row.high >= high
    assert row.df == 3  # the fewest they can be with four builds of each


def test_what_is_below_detection_in_a_third_coating_widens_the_scatter_it_lends() -> None:
    held = {**HELD, "B7": D, "B8": D}
    places = (("B7", 1, 2.0), ("B7", 2, 2.0))
    row = censored(pairs(held), LOSSES, *places, candidates=(C, D)).of(C, LOSS)
    low, high = brute_force(pairs(held), LOSSES, *places, candidates=(C, D))
    assert (row.low, row.high) == pytest.approx((low, high), rel=1e-9)
    assert row.estimate == pytest.approx(np.mean([1.1, 1.3, 1.1]) - np.mean([3.0, 3.0, 3.0]))
    assert row.p is None  # it would depend on what cannot be read


def test_a_ratio_of_what_is_below_detection_is_refused() -> None:
    made = case(pairs(HELD), twice(NUMBERS))
    row = Case(made.program, {**made.rows, **below(made.program, AREA, "B2", 1, 0.2)}).of()
    assert (row.verdict, row.reason) == ("refused", "below-detection-in-mean")


@pytest.mark.parametrize("wrong", [0.0, -0.01])
def test_a_ratio_of_what_is_not_above_zero_is_refused(wrong: float) -> None:
    made = case(pairs(HELD), {**twice(NUMBERS), "B2": (wrong, 0.25)})
    assert (made.of().verdict, made.of().reason) == ("refused", "not-positive")


def test_too_many_values_below_detection_are_refused_and_not_tried_for_ever() -> None:
    losses = {b: LOSSES[b] for b in HELD}
    places = [(b, n, 4.0) for b in HELD for n in (1, 2)][:9]
    row = censored(pairs(HELD), losses, *places).of(measure=LOSS)
    assert (row.verdict, row.reason) == ("refused", "below-detection-in-mean")


# ---- which way, and how many ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("measure", "word", "other"), [(LOSS, "better", "worse"), (GAIN, "worse", "better"), (WIDTH, "less", "more")]
)
def test_the_word_follows_from_what_is_better(measure: object, word: str, other: str) -> None:
    numbers = {b: (v * 10, v * 10.1) for b, v in NUMBERS.items()}
    fewer = case(pairs(HELD), numbers, measure)  # type: ignore[arg-type]
    assert fewer.of().verdict == word
    turned = {b: C if coating == R else R for b, coating in HELD.items()}
    assert case(pairs(turned), numbers, measure).of().verdict == other  # type: ignore[arg-type]


def exploring(*also: str) -> Case:
    of = program(pairs(HELD), also=tuple(subject(LOSS, at) for at in also))
    values = rows(of, AREA, twice(NUMBERS))
    for n, at in enumerate(also):
        values |= rows(of, LOSS, {b: (v + n / 10, v + 0.1) for b, v in NUMBERS.items()}, at=at)
    return Case(of, values)


def test_exploratory_comparisons_are_widened_for_their_number_and_the_primary_is_not() -> None:
    """Bonferroni: four of them take Student's point at 1.25 % for each, 4 df: 4.3147 (scipy's t)."""
    found = exploring("one", "two", "three", "four")
    assert [row.role for row in found.every()] == ["primary", *["exploratory"] * 4]
    assert found.of().adjusted_over == 1
    row = found.of(measure=LOSS, at="one")
    assert row.adjusted_over == 4
    assert row.se is not None
    assert half(row) / row.se == pytest.approx(stats.t.ppf(1 - 0.0125 / 2, 4), rel=1e-9)
    alone = exploring("one").of(measure=LOSS, at="one")
    assert alone.p is not None
    assert row.p == pytest.approx(min(1.0, 4 * alone.p), rel=1e-9)


def test_what_the_program_names_is_compared_once_and_the_primary_comes_first() -> None:
    found = exploring("one").with_(
        also=(subject(LOSS, "one"), subject(AREA)),
        criteria=(Criterion("c", "c", LOSS.id, PHASE, "below-reference", "mean-of-builds", (C,), at="one"),),
    )
    assert [(row.measure, row.role) for row in found.every()] == [(AREA.id, "primary"), (LOSS.id, "criterion")]
    assert found.of(measure=LOSS, at="one").adjusted_over == 1


def test_without_a_list_what_is_offered_is_compared_where_two_coatings_have_it() -> None:
    of = program(pairs(HELD))
    values = {
        **rows(of, AREA, twice(NUMBERS)),
        **rows(of, LOSS, twice(NUMBERS), at="top"),
        **rows(of, LOSS, {"B1": (1.0, 1.0)}, at="only-plain"),
        **rows(of, LOSS, twice(NUMBERS), at="with:something"),
        **rows(of, WIDTH, twice(NUMBERS)),  # not offered
    }
    found = Case(of, values).every()
    assert [(row.measure, row.at) for row in found] == [(AREA.id, ""), (LOSS.id, "top")]


# ---- what is still missing ------------------------------------------------------------------------------------------


def test_a_build_to_come_makes_it_provisional() -> None:
    numbers = twice(NUMBERS)
    waiting = case(pairs(HELD), {b: v for b, v in numbers.items() if b != "B6"}, due=("B6",)).of()
    assert "provisional" in waiting.flags
    assert "mean-of-fewer" not in waiting.flags
    assert (waiting.builds, waiting.builds_reference) == (3, 2)


def test_builds_planned_but_not_listed_make_it_provisional() -> None:
    assert "provisional" in case(pairs(HELD), twice(NUMBERS), planned_builds=7).of().flags
    assert "provisional" not in case(pairs(HELD), twice(NUMBERS)).of().flags


def test_a_build_of_another_coating_to_come_does_not() -> None:
    held = {**HELD, "B7": D, "B8": D}
    numbers = {**twice(NUMBERS), "B8": (0.4, 0.41)}
    found = case(pairs(held), numbers, due=("B7",), candidates=(C, D))
    assert "provisional" not in found.of(C).flags
    assert "provisional" in found.of(D).flags


def test_a_cylinder_without_a_value_is_said() -> None:
    numbers = {**twice(NUMBERS), "B2": (0.25, None)}
    assert "mean-of-fewer" in case(pairs(HELD), numbers).of().flags


def test_a_build_without_any_value_is_said_apart_from_a_cylinder_without_one() -> None:
    numbers = {**twice(NUMBERS), "B6": (None, None)}
    row = case(pairs(HELD), numbers).of()
    assert "build-without-value" in row.flags
    assert "mean-of-fewer" not in row.flags
    assert (row.builds, row.builds_reference) == (3, 2)


def test_what_a_third_coating_lacks_is_not_said_of_the_other_two() -> None:
    held = {"B1": (R, C, D), "B2": (C, R, D), "B3": (D, R, C), "B4": (R, D, C)}
    numbers = {b: [0.3 + 0.01 * ((5 * n + 3 * m) % 7) for m in range(3)] for n, b in enumerate(held)}
    lacking: dict[str, Sequence[float | None]] = {**numbers, "B1": [*numbers["B1"][:2], None]}
    found = case(held, lacking, candidates=(C, D))
    assert not {"mean-of-fewer", "build-without-value"} & found.of(C).flags
    assert "build-without-value" in found.of(D).flags


def test_rings_of_one_lot_are_said() -> None:
    lots = {b: "L1" for b, coating in HELD.items() if coating == C}
    assert "one-lot" in case(pairs(HELD), twice(NUMBERS), lots=lots).of().flags
    lots["B5"] = "L2"
    assert "one-lot" not in case(pairs(HELD), twice(NUMBERS), lots=lots).of().flags
    of_reference = {b: "L1" for b, coating in HELD.items() if coating == R}
    assert "one-lot" not in case(pairs(HELD), twice(NUMBERS), lots=of_reference).of().flags


def test_a_coating_that_always_came_first_is_said() -> None:
    held = {"B1": R, "B2": R, "B3": R, "B4": C, "B5": C, "B6": C}
    assert "order-one-sided" in case(pairs(held), twice(NUMBERS)).of().flags
    assert "order-one-sided" not in case(pairs(HELD), twice(NUMBERS)).of().flags


def test_flags_of_the_values_come_along() -> None:
    assert "path-unknown" in case(pairs(HELD), twice(NUMBERS), flags=frozenset({"path-unknown"})).of().flags


def test_a_refused_value_is_no_value() -> None:
    made = case(pairs(HELD), twice(NUMBERS))
    where = (AREA.id, made.program.build("B2").key(1, PHASE))
    refused = Value(AREA.id, where[1], status="refused", reason="few-checks")
    row = Case(made.program, {**made.rows, where: refused}).of()
    assert row.cylinders == 5
    assert "mean-of-fewer" in row.flags


# ---- lots -----------------------------------------------------------------------------------------------------------


def drawn(seed: int, count: int = 8) -> dict[str, Sequence[str]]:
    lots = allocation.whole_builds([R, C] * (count // 2), [2] * count, seed)
    return {f"B{n}": coatings for n, coatings in enumerate(lots, start=1)}


def levels(held: Mapping[str, Sequence[str]], seed: int = 5) -> dict[str, Sequence[float]]:
    chance = Random(seed)  # noqa: S311 - made-up readings
    return {
        b: [round((0.24 if coatings[0] == C else 0.33) * math.exp(chance.gauss(0, 0.12)), 4) for _ in coatings]
        for b, coatings in held.items()
    }


def test_the_randomisation_test_is_made_where_the_seed_gives_the_allocation() -> None:
    """scipy's permutation test over all 70 relabellings of four and four builds."""
    held = drawn(11)
    numbers = levels(held)
    row = case(held, numbers, allocation_scheme="whole builds", allocation_seed=11).of()
    means = {b: float(np.log(v).mean()) for b, v in numbers.items()}
    own = [means[b] for b, coatings in held.items() if coatings[0] == C]
    other = [means[b] for b, coatings in held.items() if coatings[0] == R]
    expected = stats.permutation_test(
        (own, other), lambda a, b: abs(np.mean(a) - np.mean(b)), alternative="greater", n_resamples=10**6
    )
    assert row.p_randomised == pytest.approx(expected.pvalue, rel=1e-9)
    assert row.least_p == pytest.approx(2 / math.comb(8, 4))


@pytest.mark.parametrize("more", [{"allocation_seed": 12}, {"allocation_seed": None}, {"allocation_scheme": "by hand"}])
def test_otherwise_the_least_it_could_reach_is_told_and_no_p(more: dict[str, Any]) -> None:
    held = drawn(11)
    row = case(held, levels(held), **{"allocation_scheme": "whole builds", "allocation_seed": 11, **more}).of()
    assert row.p_randomised is None
    assert row.least_p == pytest.approx(1 / 35)


def test_six_builds_cannot_speak_and_say_so() -> None:
    """Three and three: no arrangement is rarer than 1/10."""
    held = drawn(3, 6)
    row = case(held, levels(held), allocation_scheme="whole builds", allocation_seed=3).of()
    assert row.p_randomised is None
    assert row.least_p == pytest.approx(0.1)


def test_in_rounds_only_exchanges_within_rounds_count() -> None:
    """Six rounds: 2 of 64 arrangements are the most extreme."""
    lots = allocation.in_rounds([R, C], [2] * 12, 4)
    held = {f"B{n}": coatings for n, coatings in enumerate(lots, start=1)}
    numbers = levels(held)
    row = case(held, numbers, allocation_scheme="whole builds in rounds", allocation_seed=4).of()
    means = [float(np.log(numbers[b]).mean()) for b in held]
    signs = [1 if coatings[0] == C else -1 for coatings in held.values()]
    differences = [means[i] * signs[i] + means[i + 1] * signs[i + 1] for i in range(0, 12, 2)]
    every = [abs(np.dot(turn, differences)) for turn in itertools.product((1, -1), repeat=6)]
    seen = abs(sum(differences))
    assert row.least_p == pytest.approx(2 / 64)
    assert row.p_randomised == pytest.approx(np.mean([each >= seen - 1e-12 for each in every]))


# ---- what cylinders are worth ---------------------------------------------------------------------------------------


def test_cylinders_alike_within_builds_are_worth_few_tests() -> None:
    """Kish's design effect 1 + (m - 1)·icc at an icc of nearly one: as many tests as builds."""
    numbers = {b: (v, v * 1.0001, v * 0.9999, v) for b, v in NUMBERS.items()}
    row = case({b: (c,) * 4 for b, c in HELD.items()}, numbers).of()
    assert row.icc == pytest.approx(1.0, abs=1e-3)
    assert row.effective == pytest.approx(6, abs=0.01)
    assert row.cylinders + row.cylinders_reference == 24


def test_the_number_of_tests_is_that_of_the_two_coatings_while_the_likeness_is_that_of_all() -> None:
    held = {**HELD, "B7": D, "B8": D}
    numbers = {**NUMBERS, "B7": 0.4, "B8": 0.45}
    chance = Random(2)  # noqa: S311 - made-up readings
    spread = {b: [v * math.exp(chance.gauss(0, 0.1)) for _ in range(3)] for b, v in numbers.items()}
    row = case({b: (c,) * 3 for b, c in held.items()}, spread, candidates=(C, D)).of(C)
    found = intraclass.intraclass(
        np.log([v for values in spread.values() for v in values]),
        [b for b in spread for _ in range(3)],
        [held[b] for b in spread for _ in range(3)],
    )
    assert (row.icc, row.icc_low, row.icc_high) == pytest.approx((found.icc, found.low, found.high))
    assert row.effective == pytest.approx(18 / (1 + 2 * min(max(found.icc, 0), 1)))
    assert row.effective_low is not None
    assert row.effective_high is not None
    assert row.effective is not None
    assert row.effective_low <= row.effective <= row.effective_high <= 18


def test_of_mixed_engines_no_number_of_tests_is_given() -> None:
    held = {"B1": (R, C, R, C), "B2": (C, R, C, R), "B3": (R, C, C, R)}
    numbers = {b: [0.3 + 0.01 * ((5 * n + 3 * m) % 7) for m in range(4)] for n, b in enumerate(held)}
    row = case(held, numbers).of()
    assert row.procedure == "fixed"
    assert (row.icc, row.effective) == (None, None)


# ---- far out --------------------------------------------------------------------------------------------------------


def test_an_interval_without_an_end_in_reach_is_unbounded_and_no_fault() -> None:
    """One degree of freedom, a scatter of ten decades, widened for forty: a ratio beyond all numbers."""
    held = {"B1": R, "B2": C, "B3": R}
    wild = {"B1": (1e-5, 1e-5), "B2": (1.0, 1.0), "B3": (1e5, 1e5)}
    ats = tuple(f"p{n}" for n in range(40))
    of = program(pairs(held), also=tuple(subject(AREA, at) for at in ats))
    values = rows(of, AREA, wild)
    for at in ats:
        values |= rows(of, AREA, wild, at=at)
    row = settled(Case(of, values).of(at="p3"))
    assert (row.low, row.high) == (0.0, math.inf)
    assert row.estimate == pytest.approx(1.0)
    assert row.verdict == "cannot tell"


def test_a_p_value_is_never_below_nothing() -> None:
    """Two candidates a million scatters away: the quadrature behind the p value ends at rounding."""
    held = {**HELD, "B7": D, "B8": D, "B9": D}
    numbers = {b: (v, v * (1 + 1e-9 * n)) for n, (b, v) in enumerate({**dict.fromkeys(held, 1.0)}.items())}
    for b, coating in held.items():
        numbers[b] = tuple(v * {R: 1.0, C: 2.0, D: 3.0}[coating] for v in numbers[b])  # type: ignore[assignment]
    row = case(pairs(held), numbers, candidates=(C, D)).of()
    assert row.p is not None
    assert 0.0 <= row.p < 1e-6


# ---- entries --------------------------------------------------------------------------------------------------------


def test_entries_name_what_is_awaited_and_what_is_lacking() -> None:
    made = case(pairs(HELD), {**twice(NUMBERS), "B2": (0.25, None), "B6": (None, None)}, due=("B6",))
    laid = subjects.entries(made.program, AREA, subject(AREA), made.book)
    assert (laid.awaited, laid.lacking) == (("B6",), ("B2",))
    assert len(laid.spots) == 9


def test_a_build_that_never_runs_the_phase_is_neither_awaited_nor_lacking() -> None:
    made = case(pairs(HELD), twice(NUMBERS))
    phases = tuple(
        replace(phase, only=tuple(b for b in HELD if b != "B6")) if phase.id == PHASE else phase
        for phase in made.program.phases
    )
    found = made.with_(phases=phases)
    laid = subjects.entries(found.program, AREA, subject(AREA), found.book)
    assert "B6" not in {spot.build for spot in laid.spots}
    assert (laid.awaited, laid.lacking) == ((), ())
    assert found.of().builds_reference == 2
