"""The intraclass correlation against published examples, exact expectations and simulated programs."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from sitegen.methods.intraclass import Intraclass, design_effect, effective, intraclass
from sitegen.vocabulary import Refused

# NIST StRD, one-way analysis of variance, SiRstv (resistance by instrument; Ehrstein and Croarkin), with the certified
# F statistic. US Government work.
SIRSTV = (
    (196.3052, 196.1240, 196.1890, 196.2569, 196.3403),
    (196.3042, 196.3825, 196.1669, 196.3257, 196.0422),
    (196.1303, 196.2005, 196.2889, 196.0343, 196.1811),
    (196.2795, 196.1748, 196.1494, 196.1485, 195.9885),
    (196.2119, 196.1051, 196.1850, 196.0052, 196.2090),
)
# P. E. Shrout and J. L. Fleiss, Psychological Bulletin 86 (1979) 420, table 2: six targets, four judges.
RATINGS = ((9, 2, 5, 8), (6, 1, 3, 2), (8, 4, 6, 8), (7, 1, 2, 6), (10, 5, 6, 9), (6, 2, 4, 7))
# D. C. Montgomery, Design and analysis of experiments, strength of fabric by loom (random effects model).
LOOMS = ((98, 97, 99, 96), (91, 90, 93, 92), (96, 95, 97, 95), (95, 96, 99, 98))


def of(groups: tuple[tuple[float, ...], ...]) -> Intraclass:
    y = [value for group in groups for value in group]
    builds = [f"B{number}" for number, group in enumerate(groups) for _ in group]
    return intraclass(y, builds, ["one"] * len(y))


def test_f_of_nist_sirstv() -> None:
    found = of(SIRSTV)
    assert found.f == pytest.approx(1.18046237440255, rel=1e-10)
    assert (found.df_between, found.df_within, found.size, found.tests) == (4, 20, 5.0, 25)


def test_shrout_and_fleiss() -> None:
    # ICC(1,1) 0.17 (their table 4), F 1.79 on 5 and 18 degrees of freedom; interval -0.13 to 0.72 as the manual of the
    # R package psych prints it for the same data
    found = of(RATINGS)
    assert (round(found.icc, 2), round(found.f, 2)) == (0.17, 1.79)
    assert (found.df_between, found.df_within) == (5, 18)
    assert (round(found.low, 2), round(found.high, 2)) == (-0.13, 0.72)


def test_looms() -> None:
    # F 15.681 on 3 and 12 degrees of freedom (course notes on the same data, D. Wiens, University of Alberta). Interval
    # with the tabled points F(0.025; 3, 12) = 4.47 and F(0.025; 12, 3) = 14.34 (any F table), L/(1 + L) to U/(1 + U)
    found = of(LOOMS)
    assert found.f == pytest.approx(15.681, abs=5e-4)
    low, high = (15.681 / 4.47 - 1) / 4, (15.681 * 14.34 - 1) / 4
    assert found.low == pytest.approx(low / (1 + low), abs=5e-4)
    assert found.high == pytest.approx(high / (1 + high), abs=5e-4)


def test_design_effect_of_kish() -> None:
    # L. Kish, Survey sampling (1965), section 5.4: clusters of 20 with a correlation of 0.05 count 1.95 times less
    assert design_effect(20, 0.05) == pytest.approx(1.95)
    assert effective(390, 20, 0.05) == pytest.approx(200)
    # alike cylinders are worth one test a build, and no number of them is worth more than itself
    assert effective(16, 4, 1.2) == 4
    assert effective(16, 4, -0.2) == 16


def test_m0_makes_the_mean_square_between_builds_right() -> None:
    # exact: E(MSB) = var_within + m0 var_between, with E(MSB) from projections, not from sums of squares
    sizes = {"B1": 4, "B2": 3, "B3": 4, "B4": 2, "B5": 4, "B6": 1}
    coating = {"B1": "a", "B2": "b", "B3": "a", "B4": "b", "B5": "c", "B6": "a"}
    builds = [build for build, size in sizes.items() for _ in range(size)]
    z = np.array([[build == each for each in sizes] for build in builds], dtype=float)
    x = np.array([[coating[build] == each for each in "abc"] for build in builds], dtype=float)
    between = z @ np.linalg.pinv(z) - x @ np.linalg.pinv(x)
    found = intraclass(np.arange(18.0) ** 2 % 7, builds, [coating[build] for build in builds])
    assert found.df_between == round(np.trace(between)) == 3
    assert found.size == pytest.approx(np.trace(between @ z @ z.T) / 3)


def test_coatings_leave_no_trace() -> None:
    # what a coating adds to all its builds is no likeness of cylinders
    y = np.array([value for group in LOOMS for value in group], dtype=float)
    builds = [f"B{number}" for number in range(4) for _ in range(4)]
    coatings = ["x"] * 8 + ["y"] * 8
    found = intraclass(y, builds, coatings)
    moved = intraclass(y + np.array([100.0] * 8 + [-30.0] * 8), builds, coatings)
    assert (moved.icc, moved.low, moved.high) == pytest.approx((found.icc, found.low, found.high))


@pytest.mark.parametrize(
    ("y", "builds", "coatings", "code"),
    [
        ([1, 2, 3, 4], ["B1", "B1", "B2", "B2"], ["a", "a", "b", "b"], "one-build"),
        ([1, 2, 3], ["B1", "B2", "B3"], ["a", "a", "a"], "one-cylinder-a-build"),
        ([1, 2, 3, 4], ["B1", "B1", "B2", "B2"], ["a", "b", "a", "b"], "mixed-in-engine"),
        ([1, 1, 2, 2], ["B1", "B1", "B2", "B2"], ["a", "a", "a", "a"], "no-scatter"),
    ],
)
def test_refused(y: list[float], builds: list[str], coatings: list[str], code: str) -> None:
    with pytest.raises(Refused) as why:
        intraclass(y, builds, coatings)
    assert why.value.code == code


def programs(
    sizes: tuple[int, ...], coatings: str, icc: float, draws: int
) -> tuple[list[str], list[str], NDArray[np.float64]]:
    """Builds of given numbers of cylinders, and values of variance 1 (draws, cylinders)."""
    rng = np.random.default_rng([20260112, round(100 * icc), *sizes])
    builds = [f"B{number}" for number, size in enumerate(sizes) for _ in range(size)]
    held = [coating for coating, size in zip(coatings, sizes, strict=True) for _ in range(size)]
    shared = np.repeat(rng.standard_normal((draws, len(sizes))), sizes, axis=1)
    own = rng.standard_normal((draws, len(builds)))
    return builds, held, np.sqrt(icc) * shared + np.sqrt(1 - icc) * own


@pytest.mark.parametrize(
    ("sizes", "coatings", "icc"),
    [
        ((4,) * 6, "ababab", 0.0),
        ((4,) * 6, "ababab", 0.3),
        ((4,) * 6, "ababab", 0.7),
        ((4, 3, 4, 4, 2, 4), "ababab", 0.3),  # cylinders missing: an approximation that has to hold as well
    ],
)
def test_interval_holds_in_simulated_programs(sizes: tuple[int, ...], coatings: str, icc: float) -> None:
    builds, held, values = programs(sizes, coatings, icc, 10_000)
    found = [intraclass(y, builds, held) for y in values]
    share = np.mean([each.low <= icc <= each.high for each in found])
    assert 0.944 <= share <= 0.956
    true = effective(sum(sizes), found[0].size, icc)
    assert np.mean([each.effective_low <= true <= each.effective_high for each in found]) >= 0.944


def test_the_plug_in_alone_misleads() -> None:
    # why the number of tests has an interval: where 8 of 16 is true, the plug-in says that all 16 are independent in
    # more than a quarter of the programs. Exact: P(F(2, 12) < 1/3) = 0.277 for four builds of two coatings.
    builds, held, values = programs((4, 4, 4, 4), "abab", 1 / 3, 10_000)
    found = [intraclass(y, builds, held) for y in values]
    assert effective(16, 4, 1 / 3) == pytest.approx(8)
    assert np.mean([each.effective == 16 for each in found]) == pytest.approx(0.277, abs=0.014)
