"""Each design through the comparison, against the textbook's test on numbers reduced by hand.

Outside checks: scipy's ttest_ind (pooled and Welch), ttest_rel, ttest_1samp and dunnett on build means, numpy's
least squares on a written-out matrix, and Dunnett's published two-sided table.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
import pytest
from scipy import stats

from crossing.factory import (
    AREA,
    FLOW,
    GAP,
    LOSS,
    C,
    Case,
    D,
    R,
    build_means,
    case,
    program,
    rows,
    subject,
    whole,
)
from sitegen.reasons import ANSWER
from sitegen.vocabulary import Comparison

WHOLE = {"B1": R, "B2": C, "B3": R, "B4": C, "B5": C, "B6": R}
NUMBERS = {
    "B1": (0.33, 0.31, 0.36, 0.30), "B2": (0.25, 0.27, 0.22, 0.26), "B3": (0.30, 0.29, 0.33, 0.35),
    "B4": (0.28, 0.30, 0.27, 0.24), "B5": (0.24, 0.21, 0.26, 0.23), "B6": (0.35, 0.38, 0.31, 0.37),
    "B7": (0.41, 0.39, 0.36, 0.45), "B8": (0.39, 0.47, 0.40, 0.44), "B9": (0.43, 0.38, 0.42, 0.49),
}  # fmt: skip


def fours(coatings: Mapping[str, str]) -> dict[str, Sequence[str]]:
    return {build: (coating,) * 4 for build, coating in coatings.items()}


def of(numbers: Mapping[str, Sequence[float]], builds: Sequence[str], *, ratio: bool = True) -> list[float]:
    means = build_means(numbers, ratio=ratio)
    return [means[build] for build in builds]


def numbers_for(builds: Mapping[str, object]) -> dict[str, Sequence[float]]:
    return {build: NUMBERS[build] for build in builds}


def interval(row: Comparison) -> tuple[float, float]:
    assert row.low is not None
    assert row.high is not None
    return row.low, row.high


# ---- whole builds ---------------------------------------------------------------------------------------------------


def test_whole_builds_are_students_t_on_the_logarithms_of_build_means() -> None:
    row = case(fours(WHOLE), numbers_for(WHOLE)).of()
    expected = stats.ttest_ind(of(NUMBERS, ["B2", "B4", "B5"]), of(NUMBERS, ["B1", "B3", "B6"]))
    ends = expected.confidence_interval(0.95)
    assert (row.design, row.procedure, row.scope) == ("whole builds", "pooled", "engines-to-come")
    assert row.p == pytest.approx(expected.pvalue, rel=1e-9)
    assert row.df == expected.df == 4
    assert interval(row) == pytest.approx((math.exp(ends.low), math.exp(ends.high)), rel=1e-9)
    own = stats.gmean([stats.gmean(NUMBERS[build]) for build in ("B2", "B4", "B5")])
    other = stats.gmean([stats.gmean(NUMBERS[build]) for build in ("B1", "B3", "B6")])
    assert row.estimate == pytest.approx(own / other, rel=1e-12)
    assert (row.level, row.level_reference) == pytest.approx((own, other), rel=1e-12)
    assert (row.builds, row.builds_reference, row.cylinders, row.cylinders_reference) == (3, 3, 12, 12)
    assert row.verdict == "better"


def test_cylinders_are_not_counted_as_independent() -> None:
    row = case(fours(WHOLE), numbers_for(WHOLE)).of()
    naive = stats.ttest_ind(
        np.log([v for b in ("B2", "B4", "B5") for v in NUMBERS[b]]),
        np.log([v for b in ("B1", "B3", "B6") for v in NUMBERS[b]]),
    )
    assert row.p is not None
    assert row.p > 50 * naive.pvalue


def test_on_the_difference_scale_the_same_numbers_are_subtracted() -> None:
    row = case(fours(WHOLE), numbers_for(WHOLE), LOSS).of(measure=LOSS)
    own, other = (of(NUMBERS, each, ratio=False) for each in (["B2", "B4", "B5"], ["B1", "B3", "B6"]))
    expected = stats.ttest_ind(own, other)
    ends = expected.confidence_interval(0.95)
    assert row.scale == "difference"
    assert row.estimate == pytest.approx(np.mean(own) - np.mean(other), rel=1e-12)
    assert interval(row) == pytest.approx((ends.low, ends.high), rel=1e-9)
    assert row.level == pytest.approx(np.mean(own))
    assert row.p == pytest.approx(expected.pvalue, rel=1e-9)


def test_builds_with_fewer_cylinders_weigh_as_much_as_others() -> None:
    """A build is the unit: its mean counts once, whatever the number of cylinders that were read."""
    few = {**numbers_for(WHOLE), "B1": (0.33, None, None, 0.30)}
    row = case(fours(WHOLE), few).of()
    expected = stats.ttest_ind(
        of(NUMBERS, ["B2", "B4", "B5"]), [np.log([0.33, 0.30]).mean(), *of(NUMBERS, ["B3", "B6"])]
    )
    assert row.p == pytest.approx(expected.pvalue, rel=1e-9)
    assert "mean-of-fewer" in row.flags
    assert row.cylinders_reference == 10


def test_four_builds_of_each_are_welch() -> None:
    held = {f"B{n}": C if n % 2 else R for n in range(1, 10)}  # five against four
    row = case(fours(held), numbers_for(held)).of()
    own = of(NUMBERS, [b for b, c in held.items() if c == C])
    other = of(NUMBERS, [b for b, c in held.items() if c == R])
    expected = stats.ttest_ind(own, other, equal_var=False)
    ends = expected.confidence_interval(0.95)
    assert row.procedure == "welch"
    assert row.df == pytest.approx(expected.df, rel=1e-9)
    assert row.p == pytest.approx(expected.pvalue, rel=1e-9)
    assert interval(row) == pytest.approx((math.exp(ends.low), math.exp(ends.high)), rel=1e-9)


THREE = {"B1": R, "B2": C, "B3": R, "B4": C, "B5": C, "B6": R, "B7": D, "B8": D, "B9": D}


def test_two_candidates_share_the_reference_by_dunnett() -> None:
    """scipy's own Dunnett test integrates by random points, to some 1e-3."""
    found = case(fours(THREE), numbers_for(THREE), candidates=(C, D))
    groups = [of(NUMBERS, [b for b, held in THREE.items() if held == c]) for c in (C, D, R)]
    expected = stats.dunnett(groups[0], groups[1], control=groups[2], rng=np.random.default_rng(1))
    ends = expected.confidence_interval(0.95)
    low, high = np.atleast_1d(ends.low), np.atleast_1d(ends.high)
    for place, coating in enumerate((C, D)):
        row = found.of(coating)
        assert (row.procedure, row.df, row.adjusted_over) == ("pooled", 6, 2)
        assert row.p == pytest.approx(np.atleast_1d(expected.pvalue)[place], abs=1e-3)
        assert np.log(interval(row)) == pytest.approx((low[place], high[place]), rel=5e-3)
        alone = stats.ttest_ind(groups[place], groups[2])
        assert row.p is not None
        assert row.p != pytest.approx(alone.pvalue, rel=0.05)


def test_the_cut_of_two_candidates_is_that_of_dunnetts_table() -> None:
    """C. W. Dunnett, Biometrics 20 (1964) 482, two-sided 5 %, two treatments, 6 degrees of freedom: 2.86 (from
    memory). Bonferroni would take 2.97, one comparison 2.45 (Student's table)."""
    row = case(fours(THREE), numbers_for(THREE), candidates=(C, D)).of()
    low, high = np.log(interval(row))
    assert row.se is not None
    assert (high - low) / 2 / row.se == pytest.approx(2.86, abs=0.005)


def test_the_scatter_is_pooled_over_all_coatings() -> None:
    """Pooled over three coatings: mean square within, as a one-way analysis of variance has it."""
    row = case(fours(THREE), numbers_for(THREE), candidates=(C, D)).of()
    groups = [of(NUMBERS, [b for b, held in THREE.items() if held == c]) for c in (C, D, R)]
    within = sum(np.var(group, ddof=1) * 2 for group in groups) / 6
    assert row.se == pytest.approx(math.sqrt(within * 2 / 3), rel=1e-12)


# ---- built once -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("once", [C, R])
def test_borrowed_scatter_gives_neither_p_nor_a_verdict(once: str) -> None:
    """However large the difference: two builds of the one, one of the other."""
    twice = R if once == C else C
    held = {"B1": twice, "B2": once, "B3": twice}
    numbers = {"B1": (1.0, 1.01), "B2": (0.001, 0.0011), "B3": (1.02, 1.0)}
    row = case({b: (c, c) for b, c in held.items()}, numbers).of()
    assert (row.procedure, row.scope, row.p, row.p_randomised) == ("borrowed", "", None, None)
    assert (row.verdict, row.reason) == ("cannot tell", "one-build")
    means = build_means(numbers, ratio=True)
    sd = np.std([means["B1"], means["B3"]], ddof=1)
    assert row.df == 1
    half = stats.t.ppf(0.975, 1) * sd * math.sqrt(1.5)
    sign = 1 if once == C else -1
    middle = sign * (means["B2"] - (means["B1"] + means["B3"]) / 2)
    assert np.log(interval(row)) == pytest.approx((middle - half, middle + half), rel=1e-9)


def test_scatter_borrowed_from_a_third_coating_when_neither_was_built_again() -> None:
    held = {"B1": R, "B2": C, "B3": D, "B4": D, "B5": D}
    row = case(fours(held), numbers_for(held), candidates=(C, D)).of(C)
    means = build_means(NUMBERS, ratio=True)
    sd = np.std([means[b] for b in ("B3", "B4", "B5")], ddof=1)
    assert (row.procedure, row.df, row.p) == ("borrowed", 2, None)
    assert row.se == pytest.approx(sd * math.sqrt(2), rel=1e-9)


def test_one_build_each_is_refused_in_words() -> None:
    row = case({"B1": (R,) * 4, "B2": (C,) * 4}, {"B1": NUMBERS["B1"], "B2": NUMBERS["B2"]}).of()
    assert (row.design, row.verdict, row.reason) == ("one build each", "refused", "build-and-coating")
    assert (row.estimate, row.low, row.high, row.p) == (None, None, None, None)
    assert "build and coating cannot be told apart" in ANSWER[row.reason]
    assert row.level_reference == pytest.approx(stats.gmean(NUMBERS["B1"]))  # what was found is still told


@pytest.mark.parametrize(
    ("held", "blocks", "reason"),
    [
        ({"B1": (R, R), "B2": (R, R)}, {}, "coating-without-value"),
        ({"B1": (R, R), "B2": (R, R), "B3": (C, C), "B4": (C, C)}, {"B1": "K", "B2": "K", "B3": "L", "B4": "L"},
         "block-and-coating"),
        ({"B1": (R, C), "B2": (R, C), "B3": (R, C), "B4": (R, C), "B5": (R, C)}, {}, "position-and-coating"),
        ({"B1": (R, C)}, {}, "position-and-coating"),
        ({"B1": (R, C), "B2": (C, R)}, {}, "few-cylinders-mixed"),
        ({"B1": (R, R), "B2": (C, C)}, {"B1": "K", "B2": "K"}, "one-block"),
    ],
)  # fmt: skip
def test_what_an_allocation_cannot_tell_apart_is_refused(
    held: dict[str, tuple[str, str]], blocks: dict[str, str], reason: str
) -> None:
    numbers = {build: (0.3 + 0.01 * n, 0.37 + 0.02 * n * n) for n, build in enumerate(held)}
    row = case(held, numbers, blocks=blocks).of()
    assert (row.verdict, row.reason) == ("refused", reason)
    assert (row.estimate, row.p) == (None, None)
    assert reason in ANSWER


# ---- mixed engines --------------------------------------------------------------------------------------------------

MIXED = {"B1": (R, C, R, C), "B2": (C, R, C, R), "B3": (R, C, C, R), "B4": (C, C, R, R), "B5": (R, R, C, C)}


def test_four_mixed_builds_take_one_difference_a_build() -> None:
    four = {build: held for build, held in MIXED.items() if build != "B3"}  # two arrangements and their mirrors
    row = case(four, numbers_for(four)).of()
    differences = [
        np.mean([math.log(v) for v, c in zip(NUMBERS[b], held, strict=True) if c == C])
        - np.mean([math.log(v) for v, c in zip(NUMBERS[b], held, strict=True) if c == R])
        for b, held in four.items()
    ]
    expected = stats.ttest_1samp(differences, 0.0)
    ends = expected.confidence_interval(0.95)
    assert (row.design, row.procedure, row.scope) == ("mixed in engine", "differences", "engines-to-come")
    assert row.df == 3
    assert row.p == pytest.approx(expected.pvalue, rel=1e-9)
    assert interval(row) == pytest.approx((math.exp(ends.low), math.exp(ends.high)), rel=1e-9)
    assert (row.builds, row.builds_reference, row.cylinders) == (4, 4, 8)
    assert "position-taken-out" not in row.flags


def test_a_mixed_build_without_its_mirror_has_position_taken_out() -> None:
    row = case(MIXED, numbers_for(MIXED)).of()
    signs = np.array([[0.5 if coating == C else -0.5 for coating in held] for held in MIXED.values()])
    differences = (signs * np.log([NUMBERS[build] for build in MIXED])).sum(axis=1)
    found, *_ = np.linalg.lstsq(np.column_stack([np.ones(5), signs]), differences, rcond=None)
    assert row.estimate == pytest.approx(math.exp(found[0]), rel=1e-9)
    assert (row.procedure, row.scope, row.df) == ("differences", "engines-to-come", 3)
    assert (row.builds, row.builds_reference, row.cylinders) == (5, 5, 10)
    assert "position-taken-out" in row.flags
    # cylinders that differ by their place in every engine alike do not move the estimate
    moved = {b: tuple(v * f for v, f in zip(NUMBERS[b], (0.8, 0.9, 1.2, 1.3), strict=True)) for b in MIXED}
    assert case(MIXED, moved).of().estimate == pytest.approx(row.estimate, rel=1e-9)


def test_mixed_builds_whose_places_hardly_changed_are_refused_in_words() -> None:
    held = {"B1": (R, C, R, C), "B2": (R, C, R, C), "B3": (R, C, R, C), "B4": (C, R, R, C)}
    row = case(held, numbers_for(held)).of()
    assert (row.design, row.verdict, row.reason) == ("mixed in engine", "refused", "positions-not-exchanged")
    assert (row.estimate, row.low, row.high, row.p) == (None, None, None, None)
    assert "changed places too little" in ANSWER[row.reason]


def by_least_squares(held: Mapping[str, Sequence[str]], numbers: Mapping[str, Sequence[float]]) -> tuple[float, float]:
    """Coating effect and its standard error in y = build + position + coating, with a matrix written out."""
    y, lines = [], []
    builds = list(held)
    cylinders = len(next(iter(held.values())))
    for build in builds:
        for place in range(cylinders):
            line = [float(held[build][place] == C), *(float(build == each) for each in builds)]
            line += [float(place == each) for each in range(1, cylinders)]
            lines.append(line)
            y.append(math.log(numbers[build][place]))
    matrix, observed = np.array(lines), np.array(y)
    found, residual, rank, _ = np.linalg.lstsq(matrix, observed, rcond=None)
    df = len(y) - rank
    covariance = np.linalg.inv(matrix.T @ matrix) * residual[0] / df
    return float(found[0]), math.sqrt(covariance[0, 0])


def test_three_mixed_builds_speak_of_these_engines_only() -> None:
    held = {b: MIXED[b] for b in ("B1", "B2", "B3")}
    row = case(held, numbers_for(held)).of()
    estimate, se = by_least_squares(held, NUMBERS)
    assert (row.procedure, row.scope, row.df) == ("fixed", "these-engines", 5)
    assert row.estimate == pytest.approx(math.exp(estimate), rel=1e-9)
    assert row.se == pytest.approx(se, rel=1e-9)
    assert row.p == pytest.approx(2 * stats.t.sf(abs(estimate) / se, 5), rel=1e-9)


def test_whole_builds_beside_mixed_ones_are_left_out_and_said_to_be() -> None:
    held = {**MIXED, "B6": (R,) * 4, "B7": (C,) * 4}
    with_them = case(held, numbers_for(held)).of()
    without = case(MIXED, numbers_for(MIXED)).of()
    assert with_them.design == "mixed and pure builds"
    assert "whole-builds-left-out" in with_them.flags
    assert (with_them.estimate, with_them.low, with_them.p) == (without.estimate, without.low, without.p)
    assert (with_them.builds, with_them.cylinders) == (without.builds, without.cylinders)


def test_a_measure_of_whole_engines_says_nothing_in_a_mixed_engine() -> None:
    of_engines = program(MIXED, primary_measure=FLOW.id)
    found = Case(of_engines, whole(of_engines, FLOW, dict.fromkeys(MIXED, 12.0)))
    row = found.of(measure=FLOW)
    assert (row.verdict, row.reason, row.estimate) == ("refused", "whole-engine-in-mixed", None)
    assert "to no coating" in ANSWER[row.reason]


def test_a_measure_of_whole_engines_compares_where_engines_hold_one_coating() -> None:
    flows = {"B1": 14.0, "B2": 11.0, "B3": 15.5, "B4": 12.5, "B5": 11.5, "B6": 13.5}
    of_engines = program(fours(WHOLE), primary_measure=FLOW.id)
    row = Case(of_engines, whole(of_engines, FLOW, flows)).of(measure=FLOW)
    expected = stats.ttest_ind(np.log([11.0, 12.5, 11.5]), np.log([14.0, 15.5, 13.5]))
    assert row.p == pytest.approx(expected.pvalue, rel=1e-9)
    assert (row.cylinders, row.icc) == (0, None)


def test_one_mixed_engine_spoils_a_measure_of_whole_engines_only_where_it_has_a_value() -> None:
    held = {**fours(WHOLE), "M": (R, C, R, C)}
    flows = {"B1": 14.0, "B2": 11.0, "B3": 15.5, "B4": 12.5, "B5": 11.5, "B6": 13.5}
    of_engines = program(held, primary_measure=FLOW.id)
    assert Case(of_engines, whole(of_engines, FLOW, flows)).of(measure=FLOW).verdict != "refused"
    spoilt = Case(of_engines, whole(of_engines, FLOW, {**flows, "M": 12.0})).of(measure=FLOW)
    assert spoilt.reason == "whole-engine-in-mixed"


# ---- blocks ---------------------------------------------------------------------------------------------------------

PAIRS = {"B1": R, "B2": C, "B3": C, "B4": R, "B5": R, "B6": C}
ON = {"B1": "K1", "B2": "K1", "B3": "K2", "B4": "K2", "B5": "K3", "B6": "K3"}


def test_blocks_that_ran_both_are_paired() -> None:
    row = case(fours(PAIRS), numbers_for(PAIRS), blocks=ON).of()
    expected = stats.ttest_rel(of(NUMBERS, ["B2", "B3", "B6"]), of(NUMBERS, ["B1", "B4", "B5"]))
    ends = expected.confidence_interval(0.95)
    assert (row.design, row.procedure, row.df) == ("in order on blocks", "paired", 2)
    assert row.p == pytest.approx(expected.pvalue, rel=1e-9)
    assert interval(row) == pytest.approx((math.exp(ends.low), math.exp(ends.high)), rel=1e-9)


def test_where_one_coating_always_came_first_no_test_is_made() -> None:
    held = {"B1": R, "B2": C, "B3": R, "B4": C, "B5": R, "B6": C}
    row = case(fours(held), numbers_for(held), blocks=ON).of()
    assert (row.verdict, row.reason, row.p) == ("cannot tell", "order-and-coating", None)
    assert "order-one-sided" in row.flags
    assert row.estimate is not None


def test_blocks_built_again_with_the_same_coating_are_the_unit() -> None:
    blocks = {f"B{n}": f"K{(n - 1) // 2}" for n in range(1, 9)}
    held = {f"B{n}": (R, C, C, R)[(n - 1) // 2] for n in range(1, 9)}
    row = case(fours(held), numbers_for(held), blocks=blocks).of()
    means = build_means(NUMBERS, ratio=True)
    of_block = [(means[f"B{n}"] + means[f"B{n + 1}"]) / 2 for n in (1, 3, 5, 7)]
    expected = stats.ttest_ind([of_block[1], of_block[2]], [of_block[0], of_block[3]])
    assert (row.design, row.procedure, row.df) == ("by block", "pooled", 2)
    assert row.p == pytest.approx(expected.pvalue, rel=1e-9)
    assert row.least_p is None  # coatings were not given out build by build


def test_two_candidates_by_block_take_dunnett_over_blocks() -> None:
    """Six blocks, two builds each: two-sided 5 %, two treatments, 3 df: 3.87 (Dunnett 1964, from memory)."""
    blocks = {f"B{n}": f"K{(n - 1) // 2}" for n in range(1, 13)}
    held = {f"B{n}": (R, C, D, D, C, R)[(n - 1) // 2] for n in range(1, 13)}
    numbers = {b: [0.3 + 0.013 * ((7 * n + 3 * m) % 11) for m in range(2)] for n, b in enumerate(held)}
    row = case({b: (c, c) for b, c in held.items()}, numbers, blocks=blocks, candidates=(C, D)).of()
    low, high = np.log(interval(row))
    assert row.df == 3
    assert row.se is not None
    assert (high - low) / 2 / row.se == pytest.approx(3.87, abs=0.006)


# ---- covariates -----------------------------------------------------------------------------------------------------


def with_gaps(gaps: Mapping[str, Sequence[float | None]]) -> Case:
    of_all = program(fours(WHOLE), covariates=(subject(GAP, phase="cold"),))
    return Case(of_all, {**rows(of_all, AREA, numbers_for(WHOLE)), **rows(of_all, GAP, gaps, "cold")})


GAPS = {
    "B1": (0.40, 0.42, 0.41, 0.43), "B2": (0.36, 0.38, 0.35, 0.37), "B3": (0.44, 0.43, 0.45, 0.42),
    "B4": (0.41, 0.40, 0.42, 0.43), "B5": (0.39, 0.37, 0.38, 0.36), "B6": (0.45, 0.47, 0.44, 0.46),
}  # fmt: skip


def test_a_covariate_of_before_the_start_adjusts() -> None:
    """Analysis of covariance on build means, its matrix written out."""
    row = with_gaps(GAPS).of()
    means, gaps = build_means(NUMBERS, ratio=True), build_means(GAPS, ratio=False)
    builds = list(WHOLE)
    matrix = np.array([[1.0, float(WHOLE[b] == C), gaps[b]] for b in builds])
    y = np.array([means[b] for b in builds])
    found, residual, _, _ = np.linalg.lstsq(matrix, y, rcond=None)
    se = math.sqrt(np.linalg.inv(matrix.T @ matrix)[1, 1] * residual[0] / 3)
    assert row.df == 3
    assert row.estimate == pytest.approx(math.exp(found[1]), rel=1e-9)
    assert row.se == pytest.approx(se, rel=1e-9)
    assert row.p == pytest.approx(2 * stats.t.sf(abs(found[1]) / se, 3), rel=1e-7)
    plain = case(fours(WHOLE), numbers_for(WHOLE)).of()
    assert row.estimate != pytest.approx(plain.estimate, rel=1e-3)


def test_a_covariate_missing_for_one_cylinder_refuses() -> None:
    row = with_gaps({**GAPS, "B4": (0.41, None, 0.42, 0.43)}).of()
    assert (row.verdict, row.reason) == ("refused", "covariate-missing")


def test_a_covariate_that_runs_along_with_the_coating_refuses() -> None:
    row = with_gaps({b: (0.4 if WHOLE[b] == C else 0.5,) * 4 for b in WHOLE}).of()
    assert (row.verdict, row.reason) == ("refused", "covariate-and-coating")


# ---- no scatter -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("held", [fours(WHOLE), MIXED, {b: MIXED[b] for b in ("B1", "B2", "B3")}])
def test_values_that_do_not_scatter_at_all_prove_nothing(held: dict[str, Sequence[str]]) -> None:
    """Coarse readings that all come out alike have no scatter to judge a difference by: no interval of no width."""
    numbers = {b: [0.3 if coating == R else 0.2 for coating in coatings] for b, coatings in held.items()}
    row = case(held, numbers).of()
    assert (row.verdict, row.reason, row.p) == ("refused", "no-scatter-at-all", None)
