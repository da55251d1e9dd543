"""Contrasts of coatings against published analyses and against scipy."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest
from numpy.typing import NDArray
from scipy import stats

from sitegen.methods.contrasts import Contrast, contrast, level
from sitegen.methods.design import Spot, recognise
from sitegen.vocabulary import Refused

# NIST StRD, one-way analysis of variance, SiRstv: resistance by instrument, certified residual standard deviation below
SIRSTV = (
    (196.3052, 196.1240, 196.1890, 196.2569, 196.3403),
    (196.3042, 196.3825, 196.1669, 196.3257, 196.0422),
    (196.1303, 196.2005, 196.2889, 196.0343, 196.1811),
    (196.2795, 196.1748, 196.1494, 196.1485, 195.9885),
    (196.2119, 196.1051, 196.1850, 196.0052, 196.2090),
)
# Student, Biometrika 6 (1908) 20, after Cushny and Peebles: sleep gained by ten patients on two drugs; R data set sleep
SLEEP = (
    (0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0),
    (1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4),
)
# Snedecor and Cochran, Statistical methods (6th ed., 1967) p. 422: scores before and after treatment A, D, F, as the
# manual of SAS/STAT (GLM, analysis of covariance) lists and analyses them
LEPROSY = {
    "A": ((11, 6), (8, 0), (5, 2), (14, 8), (19, 11), (6, 4), (10, 13), (6, 1), (11, 8), (3, 0)),
    "D": ((6, 0), (6, 2), (7, 3), (8, 1), (18, 18), (8, 4), (19, 14), (8, 9), (5, 1), (15, 9)),
    "F": ((16, 13), (13, 10), (11, 18), (9, 5), (21, 23), (16, 12), (12, 5), (12, 16), (7, 1), (12, 20)),
}
# Iowa State University, STAT 402, tyres as a 4 x 4 Latin square: (truck, day, brand, miles per gallon)
TYRES = (
    (1, 1, 2, 6.63), (1, 2, 1, 6.26), (1, 3, 4, 7.31), (1, 4, 3, 6.57),
    (2, 1, 4, 7.06), (2, 2, 2, 6.59), (2, 3, 3, 6.64), (2, 4, 1, 6.71),
    (3, 1, 1, 6.31), (3, 2, 3, 6.73), (3, 3, 2, 7.00), (3, 4, 4, 7.38),
    (4, 1, 3, 6.55), (4, 2, 4, 7.13), (4, 3, 1, 6.54), (4, 4, 2, 7.11),
)  # fmt: skip
# D. C. Montgomery, Design and analysis of experiments, balanced incomplete blocks: reaction time by (catalyst, batch)
CATALYSTS = {
    ("1", 1): 73, ("1", 2): 74, ("1", 4): 71, ("2", 2): 75, ("2", 3): 67, ("2", 4): 72,
    ("3", 1): 73, ("3", 2): 75, ("3", 3): 68, ("4", 1): 75, ("4", 3): 72, ("4", 4): 75,
}  # fmt: skip


def program(*builds: str, blocks: str = "") -> list[Spot]:
    """Spots of builds written as coatings by cylinder; "." has no value."""
    return [
        Spot(f"B{order}", blocks[order - 1] if blocks else f"K{order}", order, position, coating)
        for order, letters in enumerate(builds, start=1)
        for position, coating in enumerate(letters, start=1)
        if coating != "."
    ]


def values(spots: list[Spot], seed: int = 7) -> NDArray[np.float64]:
    return np.asarray(np.random.default_rng(seed).normal(10, 2, len(spots)))


def compared(spots: list[Spot], y: npt.ArrayLike, procedure: str, covariates: npt.ArrayLike | None = None) -> Contrast:
    design = recognise(spots, "A", "B")
    assert (design.procedure, design.reason) == (procedure, "")
    found = contrast(design, spots, y, "A", "B", covariates)
    assert float(found.weights @ np.asarray(y)) == pytest.approx(found.estimate)
    return found


def by_build(spots: list[Spot], y: NDArray[np.float64], coating: str) -> list[float]:
    builds = dict.fromkeys(spot.build for spot in spots if spot.coating == coating)
    return [
        float(np.mean([v for spot, v in zip(spots, y, strict=True) if (spot.build, spot.coating) == (build, coating)]))
        for build in builds
    ]


def differences(spots: list[Spot], y: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(np.subtract(by_build(spots, y, "A"), by_build(spots, y, "B")))


# ---- published ------------------------------------------------------------------------------------------------------


def test_pooled_scatter_of_nist_sirstv() -> None:
    spots = [Spot(f"B{c}{n}", "", 10 * c + n, 0, "ABCDE"[c]) for c in range(5) for n in range(5)]
    y = [value for group in SIRSTV for value in group]
    design = replace(recognise(spots, "A", "B"), procedure="pooled")
    found = contrast(design, spots, y, "A", "B")
    # certified residual standard deviation 1.04076068334656E-01 on 20 degrees of freedom; a mean of five on each side
    assert found.se == pytest.approx(0.104076068334656 * np.sqrt(2 / 5), rel=1e-10)
    assert found.df == 20


def test_welch_and_paired_t_of_student_s_sleep_data() -> None:
    # as R's help on t.test prints them for this data set: t = -1.8608 on df = 17.776, paired t = -4.0621 on 9 (memory)
    y = [*SLEEP[0], *SLEEP[1]]
    apart = [Spot(f"B{n}", "", n, 0, "A" if n < 10 else "B") for n in range(20)]
    found = compared(apart, y, "welch")
    assert found.estimate / found.se == pytest.approx(-1.8608, abs=5e-5)
    assert found.df == pytest.approx(17.776, abs=5e-4)
    in_blocks = [Spot(f"B{n}", f"K{n % 10}", n, 0, "A" if n < 10 else "B") for n in range(20)]
    found = compared(in_blocks, y, "paired")
    assert found.estimate == pytest.approx(-1.58)  # Student's own figure
    assert found.estimate / found.se == pytest.approx(-4.0621, abs=5e-5)
    assert found.df == 9


def test_analysis_of_covariance_of_snedecor_and_cochran() -> None:
    # the manual gives an error mean square of 16.046254 on 26 degrees of freedom; the estimates against F, -3.446138
    # (standard error 1.886781) for A and -3.337167 (1.853866) for D, are its parameter table, retyped from memory
    spots: list[Spot] = []
    before, after = [], []
    for drug, patients in LEPROSY.items():
        for score in patients:
            spots.append(Spot(f"B{len(spots)}", "", len(spots), 0, drug))
            before.append(score[0])
            after.append(score[1])
    for drug, estimate, se in (("A", -3.446138280, 1.88678065), ("D", -3.337166948, 1.85386642)):
        design = recognise(spots, drug, "F")
        assert design.procedure == "welch"  # ten units each; with a covariate the scatter is pooled
        found = contrast(design, spots, after, drug, "F", covariates=np.array(before))
        assert found.procedure == "pooled"
        assert (found.estimate, found.se, found.df) == pytest.approx((estimate, se, 26), rel=1e-6)


def test_latin_square_of_tyres() -> None:
    # published: brand means 7.22000 (4), 6.83250 (2), 6.62250 (3), 6.45500 (1); error mean square 0.01546667 on 6; the
    # least significant difference of 0.3397 there is 3.86 (Bonferroni's t) times the standard error
    spots = [Spot(f"B{truck}", "", truck, day, str(brand)) for truck, day, brand, _ in TYRES]
    y = [mpg for *_, mpg in TYRES]
    means = {"4": 7.22000, "2": 6.83250, "3": 6.62250, "1": 6.45500}
    for one, other in (("4", "1"), ("2", "3"), ("4", "3")):
        design = replace(recognise(spots, one, other), procedure="fixed")
        found = contrast(design, spots, y, one, other)
        assert found.estimate == pytest.approx(means[one] - means[other], abs=1e-9)
        assert found.se**2 == pytest.approx(2 * 0.01546667 / 4, rel=1e-6)
        assert 3.86 * found.se == pytest.approx(0.3397, abs=5e-4)
        assert found.df == 6


def test_incomplete_blocks_of_catalysts() -> None:
    # data as N. Ravishanker and D. Dey list them from Montgomery; the answers, adjusted effects -9/8, -7/8, -4/8, 20/8
    # and an error mean square of 0.65 on 5 degrees of freedom, are Montgomery's (from memory). Every difference has the
    # standard error sqrt(2 k MSE / (lambda a)) with k 3, lambda 2, a 4.
    spots = [Spot(f"B{batch}", "", batch, 0, catalyst) for catalyst, batch in CATALYSTS]
    effects = {"1": -9 / 8, "2": -7 / 8, "3": -4 / 8, "4": 20 / 8}
    for one, other in (("1", "4"), ("2", "3"), ("1", "2")):
        design = recognise(spots, one, other)
        assert (design.procedure, len(design.builds)) == ("fixed", 2)
        design = replace(design, builds=("B1", "B2", "B3", "B4"))
        found = contrast(design, spots, list(CATALYSTS.values()), one, other)
        assert found.estimate == pytest.approx(effects[one] - effects[other])
        assert found.se**2 == pytest.approx(2 * 3 * 0.65 / (2 * 4))
        assert found.df == 5


# ---- scipy ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("builds", [("AAAA", "BBBB", "BBBB", "AAAA", "AAAA"), ("AAA.", "BB.B", "BBBB", "..AA", "AAAA")])
def test_pooled_is_the_t_test_on_build_means(builds: tuple[str, ...]) -> None:
    spots = program(*builds)
    y = values(spots)
    found = compared(spots, y, "pooled")
    wanted = stats.ttest_ind(by_build(spots, y, "A"), by_build(spots, y, "B"))
    assert found.estimate / found.se == pytest.approx(wanted.statistic)
    assert found.df == wanted.df == 3


def test_welch_is_the_unequal_variance_t_test_on_build_means() -> None:
    spots = program(*["AAAA", "BBBB"] * 4, "AAAA")
    y = values(spots)
    found = compared(spots, y, "welch")
    wanted = stats.ttest_ind(by_build(spots, y, "A"), by_build(spots, y, "B"), equal_var=False)
    assert found.estimate / found.se == pytest.approx(wanted.statistic)
    assert found.df == pytest.approx(wanted.df)
    many = contrast(recognise(spots, "A", "B"), spots, np.column_stack([y, values(spots, 8)]), "A", "B")
    assert (many.estimate[0], many.se[0], many.df[0]) == pytest.approx((found.estimate, found.se, found.df))
    assert many.df[1] != many.df[0]  # its own for each draw


def test_differences_are_the_paired_t_test_on_builds_and_pure_builds_do_not_enter() -> None:
    # every cylinder holds both coatings equally often: position is left where it is
    spots = program("AABB", "BBBB", "BBAA", "ABC.", "AAAA", "CAB.", "BCA.")
    y = values(spots)
    found = compared(spots, y, "differences")
    mixed = [place for place, spot in enumerate(spots) if spot.build not in {"B2", "B5"}]
    inside = [spots[place] for place in mixed]
    wanted = stats.ttest_rel(by_build(inside, y[mixed], "A"), by_build(inside, y[mixed], "B"))
    assert found.estimate / found.se == pytest.approx(wanted.statistic)
    assert found.df == wanted.df == 4
    assert all(found.weights[place] == 0 for place in range(len(spots)) if place not in mixed)


def test_paired_is_the_paired_t_test_on_blocks() -> None:
    # block k has two builds of A: one mean
    spots = program("AAAA", "BBBB", "BBBB", "AAAA", "AAAA", "BBBB", "AAAA", blocks="klmlmkk")
    y = values(spots)
    found = compared(spots, y, "paired")
    a, b = by_build(spots, y, "A"), by_build(spots, y, "B")
    wanted = stats.ttest_rel([(a[0] + a[3]) / 2, a[1], a[2]], [b[2], b[0], b[1]])
    assert found.estimate / found.se == pytest.approx(wanted.statistic)
    assert found.df == wanted.df == 2


def test_by_block_is_the_t_test_on_block_means() -> None:
    # a missing cylinder does not lessen its build in the mean of the block
    spots = program("AAAA", "BBBB", "A..A", "BBBB", ".BBB", "AAAA", "AAAA", blocks="klknlmm")
    y = values(spots)
    found = compared(spots, y, "pooled")
    a, b = by_build(spots, y, "A"), by_build(spots, y, "B")
    wanted = stats.ttest_ind([(a[0] + a[1]) / 2, (a[2] + a[3]) / 2], [(b[0] + b[2]) / 2, b[1]])
    assert found.estimate / found.se == pytest.approx(wanted.statistic)
    assert found.df == wanted.df == 2


def test_fixed_is_least_squares_with_builds_and_positions() -> None:
    # three coatings, a cylinder missing; against numpy's lstsq on dummy columns of full rank
    spots = program("AABC", "BCAA", "CA.B")
    y, bore = values(spots), values(spots, 9)
    columns = [np.ones(len(spots)), np.array([spot.coating == "A" for spot in spots])]
    columns += [np.array([spot.coating == "C" for spot in spots])]
    columns += [np.array([spot.build == build for spot in spots]) for build in ("B2", "B3")]
    columns += [np.array([spot.position == position for spot in spots]) for position in (2, 3, 4)]
    for covariate, added in ((None, []), (bore, [bore])):
        x = np.column_stack([*columns, *added]).astype(float)
        beta, rss, rank, _ = np.linalg.lstsq(x, y, rcond=None)
        found = compared(spots, y, "fixed", covariate)
        assert found.estimate == pytest.approx(beta[1])
        assert found.df == len(spots) - rank
        assert found.se**2 == pytest.approx(rss[0] / found.df * np.linalg.inv(x.T @ x)[1, 1])


def test_covariate_of_differences_is_a_line_through_them() -> None:
    # the difference at equal covariates: intercept of the line (scipy's linregress)
    spots = program("AABB", "BBAA", "ABC.", "CAB.", "BCA.")
    # covariates alike among the engines that balance each other: the line does not lean on a position
    y = values(spots)
    gap = np.array([0.3 * (spot.coating == "A") * (2 + (spot.order > 2)) for spot in spots])
    found = compared(spots, y, "differences", gap)
    line = stats.linregress(differences(spots, gap), differences(spots, y))
    assert (found.estimate, found.se) == pytest.approx((line.intercept, line.intercept_stderr))
    assert found.df == 3


@pytest.mark.parametrize("often", [3, 4, 7])
def test_differences_of_two_arrangements_weigh_alike_however_often_each_was_built(often: int) -> None:
    # by hand: coating + place in the one, coating - place in the other, so half the sum of their means is the coating;
    # its t is that of scipy's test of the one against the other with its sign turned
    spots = program(*("AABB",) * often, "BBAA", *("BBAA",) * (often == 4))
    y = values(spots)
    each = differences(spots, y)
    turned = np.array([spot.coating == "A" for spot in spots if spot.position == 1])
    found = compared(spots, y, "differences")
    assert found.estimate == pytest.approx((each[turned].mean() + each[~turned].mean()) / 2)
    wanted = stats.ttest_ind(each[turned], -each[~turned])
    assert found.estimate / found.se == pytest.approx(wanted.statistic)
    assert found.df == wanted.df == len(each) - 2


@pytest.mark.parametrize(
    "builds",
    [
        ("AABB", "BBAA", "ABAB", "BABA", "ABBA", "AABB"),
        ("AABB", "BBA.", "ABAB", "BABA", "ABBA", "ABAB"),
        ("AABC", "BCAA", "CABB", "ABBC", "BABA", "BAAC"),
    ],
)
@pytest.mark.parametrize("with_gap", [False, True])
def test_positions_that_are_not_balanced_have_no_say(builds: tuple[str, ...], with_gap: bool) -> None:
    # the estimate of numpy's least squares with a column for every position; positions may do what they like
    spots = program(*builds)
    y, gap = values(spots), values(spots, 9)
    found = compared(spots, y, "differences", gap if with_gap else None)
    places = [differences(spots, np.array([float(spot.position == place) for spot in spots])) for place in (1, 2, 3, 4)]
    matrix = np.column_stack([np.ones(len(builds)), *places, *([differences(spots, gap)] if with_gap else [])])
    beta, *_ = np.linalg.lstsq(matrix, differences(spots, y), rcond=None)
    assert found.estimate == pytest.approx(beta[0])
    moved = y + np.array([(6.0, 3.0, -2.0, -5.0)[spot.position - 1] for spot in spots])
    again = compared(spots, moved, "differences", gap if with_gap else None)
    assert again.estimate == pytest.approx(found.estimate)
    assert again.estimate != pytest.approx(float(differences(spots, moved).mean()), abs=0.05)
    assert found.df == len(builds) - (3 if with_gap else 2)
    plain = differences(spots, y) - found.estimate  # no more is taken out than what leans on the mean
    shortest = np.linalg.lstsq(matrix[:, 1:], np.ones(len(builds)), rcond=None)[0]
    one = np.column_stack([matrix[:, 1:] @ shortest, *([differences(spots, gap)] if with_gap else [])])
    left = plain - one @ np.linalg.lstsq(one, plain, rcond=None)[0]
    weights = [float(found.weights[[s.build == f"B{n}" and s.coating == "A" for s in spots]].sum())
               for n in range(1, len(builds) + 1)]  # fmt: skip
    assert found.se == pytest.approx(np.sqrt(left @ left / found.df) * np.linalg.norm(weights))


def test_a_line_in_a_covariate_does_not_lean_on_positions_that_balance() -> None:
    # their mean is free of positions, its value at equal covariates is not: numpy's least squares with every position
    spots = program("AABB", "BBAA", "ABAB", "BABA", "ABBA", "BAAB")
    y, gap = values(spots), values(spots, 9)
    found = compared(spots, y, "differences", gap)
    places = [differences(spots, np.array([float(spot.position == place) for spot in spots])) for place in (1, 2, 3, 4)]
    matrix = np.column_stack([np.ones(6), *places, differences(spots, gap)])
    assert found.estimate == pytest.approx(np.linalg.lstsq(matrix, differences(spots, y), rcond=None)[0][0])
    assert found.df == 3


# ---- what follows from the design -----------------------------------------------------------------------------------


def test_scatter_is_borrowed_from_a_replicated_coating() -> None:
    # by hand: builds of C 1, 2, 3 have variance 1 on 2 degrees of freedom; a difference of two builds has twice that
    spots = [Spot(f"B{n}", "", n, 0, coating) for n, coating in enumerate("ACBCC")]
    found = compared(spots, [5.0, 1.0, 3.0, 2.0, 3.0], "borrowed")
    assert (found.estimate, found.se, found.df) == pytest.approx((2.0, np.sqrt(2), 2))


def test_mixed_third_coatings_lend_no_scatter_twice() -> None:
    # C shares engines with A and B, so its builds rise and fall with theirs: only the pure builds of C may lend theirs
    spots = program("AACC", "BBCC", "AACC", "BBCC", "CCCC", "CCCC")
    design = recognise(spots, "A", "B")
    assert (design.procedure, design.scatter) == ("pooled", ("B1", "B2", "B3", "B4", "B5", "B6"))
    y = values(spots)
    found = contrast(design, spots, y, "A", "B")
    assert found.df == 3  # two builds each of A, of B and of pure C
    changed = y + np.array([9.0 * (spot.build == "B1" and spot.coating == "C") for spot in spots])
    assert contrast(design, spots, changed, "A", "B").se == pytest.approx(found.se)


@pytest.mark.parametrize("builds", [("AABB", "BBAA"), ("AABB", "BBAA", "ABAB", "BABA")])
def test_what_a_build_does_to_all_its_cylinders_cancels(builds: tuple[str, ...]) -> None:
    spots = program(*builds)
    y = values(spots)
    design = recognise(spots, "A", "B")
    found = contrast(design, spots, y, "A", "B")
    moved = contrast(design, spots, y + np.array([100.0 * spot.order**2 for spot in spots]), "A", "B")
    assert (moved.estimate, moved.se) == pytest.approx((found.estimate, found.se))


def test_positions_cancel_where_they_are_fixed() -> None:
    spots = program("AABB", "BBAA", "ABAB")
    y = values(spots)
    design = recognise(spots, "A", "B")
    found = contrast(design, spots, y, "A", "B")
    moved = contrast(design, spots, y + np.array([5.0 * spot.position**2 for spot in spots]), "A", "B")
    assert (moved.estimate, moved.se) == pytest.approx((found.estimate, found.se))


@pytest.mark.parametrize("offset", [0.0, 1e6])
def test_a_large_offset_costs_no_digits(offset: float) -> None:
    spots = program("AAAA", "BBBB", "BBBB", "AAAA")
    y = np.round(values(spots), 3)
    found, moved = (compared(spots, each, "pooled") for each in (y, y + offset))
    assert (moved.estimate, moved.se) == pytest.approx((found.estimate, found.se), rel=1e-8)


def test_covariates_that_say_nothing_cost_nothing() -> None:
    spots = program("AAAB", "BAAA", "ABAA", "AABA", "ABBB")
    y = values(spots)
    found = compared(spots, y, "differences")
    bore = np.array([86.0 + 0.0173 * spot.order for spot in spots])  # the same for all cylinders of a build
    same = compared(spots, y, "differences", bore)
    assert (same.estimate, same.se, same.df) == pytest.approx((found.estimate, found.se, found.df))
    whole = program("AAA.", "BBBB", "BB.B", "AAAA", "AA..")
    found = compared(whole, values(whole), "pooled")
    same = compared(whole, values(whole), "pooled", np.full((len(whole), 1), 0.1))
    assert (same.estimate, same.se, same.df) == pytest.approx((found.estimate, found.se, found.df))


def test_covariates_are_brought_to_one_size() -> None:
    # micrometres or metres: the same answer
    spots = program("AAAA", "BBBB", "BBBB", "AAAA", "AAAA", "BBBB", "CCCC")
    y, gap = values(spots), 3e-4 + 1e-6 * values(spots, 9)
    found, moved = (compared(spots, y, "pooled", each) for each in (gap, 1e6 * gap))
    assert (moved.estimate, moved.se, moved.df) == pytest.approx((found.estimate, found.se, 3))


@pytest.mark.parametrize(
    ("builds", "covariates", "code"),
    [
        (
            ("AAAA", "BBBB", "BBBB", "AAAA"),
            [[float(spot == "A")] for spot in "AAAABBBBBBBBAAAA"],
            "covariate-and-coating",
        ),
        (("AAAA", "BBBB", "BBBB", "AAAA"), np.random.default_rng(1).normal(size=(16, 2)), "covariates-take-all"),
        (("AABB", "BBAA", "ABAB", "BABA"), np.random.default_rng(1).normal(size=(16, 3)), "covariates-take-all"),
        (("AABB", "BBAA"), np.random.default_rng(1).normal(size=(8, 2)), "covariates-take-all"),
        (("AABB", "AABB"), None, "position-and-coating"),
        (("AAAA", "BBBB"), None, "build-and-coating"),
    ],
)
def test_refused(builds: tuple[str, ...], covariates: npt.ArrayLike | None, code: str) -> None:
    spots = program(*builds)
    with pytest.raises(Refused) as why:
        contrast(recognise(spots, "A", "B"), spots, values(spots), "A", "B", covariates)
    assert why.value.code == code


def test_a_value_too_few_is_a_fault_not_an_answer() -> None:
    spots = program("AAAA", "BBBB", "BBBB", "AAAA")
    with pytest.raises(ValueError, match="16 spots"):
        contrast(recognise(spots, "A", "B"), spots, [1.0] * 15, "A", "B")


# ---- levels ---------------------------------------------------------------------------------------------------------


def test_level_with_the_coating_s_own_scatter() -> None:
    # four builds of every coating: one-sample t (scipy)
    spots = program(*["AAAA", "BBBB"] * 4)
    y = values(spots)
    found = level(spots, y, "A")
    wanted = stats.ttest_1samp(by_build(spots, y, "A"), 0.0)
    assert (found.estimate / found.se, found.df) == pytest.approx((wanted.statistic, wanted.df))


def test_level_with_the_pooled_scatter() -> None:
    # by hand: A 1, 3 (variance 2), B 5, 6, 7 (variance 1), C once: pooled 4/3 on 3
    spots = [Spot(f"B{n}", "", n, 0, coating) for n, coating in enumerate("ABABBC")]
    y = [1.0, 5.0, 3.0, 6.0, 7.0, 40.0]
    found = level(spots, y, "A")
    assert (found.estimate, found.se, found.df) == pytest.approx((2.0, np.sqrt(4 / 3 / 2), 3))
    single = level(spots, y, "C")
    assert (single.estimate, single.se, single.df) == pytest.approx((40.0, np.sqrt(4 / 3), 3))


def test_level_in_mixed_engines_counts_each_engine_once() -> None:
    spots = program("AABB", "BBAA", "ABAB")
    y = values(spots)
    found = level(spots, y, "A")
    wanted = stats.ttest_1samp(by_build(spots, y, "A"), 0.0)
    assert (found.estimate / found.se, found.df) == pytest.approx((wanted.statistic, 2))


def test_level_by_block() -> None:
    spots = program("AAAA", "AAAA", "AAAA", blocks="kkl")
    found = level(spots, [1.0] * 4 + [3.0] * 4 + [5.0] * 4, "A")
    assert (found.estimate, found.se, found.df) == pytest.approx((3.5, 1.5, 1))


@pytest.mark.parametrize(("coating", "code"), [("A", "one-build"), ("C", "coating-without-value")])
def test_level_refused(coating: str, code: str) -> None:
    spots = program("AAAA", "BBBB")
    with pytest.raises(Refused) as why:
        level(spots, values(spots), coating)
    assert why.value.code == code
