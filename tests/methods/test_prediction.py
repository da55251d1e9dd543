"""Prediction intervals against published examples and simulated coverage."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from sitegen.methods.prediction import next_value
from sitegen.vocabulary import Refused


def sample(n: int, mean: float, sd: float) -> list[float]:
    """n values with exactly this mean and standard deviation."""
    shape = np.arange(n) - (n - 1) / 2
    return list((mean + sd * shape / shape.std(ddof=1)).tolist())


def test_fat_of_hot_dogs() -> None:
    """J. L. Devore, Probability and statistics for engineering and the sciences, example 7.13 (from memory).

    Ten values with mean 21.90 and s 4.134: the next lies in (12.09, 31.71) with 95 %.
    """
    fat = [25.2, 21.3, 22.8, 17.0, 29.8, 21.0, 25.5, 16.0, 20.9, 19.5]
    assert next_value(fat) == pytest.approx((21.90, 12.09, 31.71), abs=0.006)


def test_load_of_an_alloy() -> None:
    """D. C. Montgomery and G. C. Runger, Applied statistics and probability for engineers, example 8-8.

    22 specimens of mean 13.71 and s 3.55: the load of the next lies between 6.16 and 21.26.
    """
    assert next_value(sample(22, 13.71, 3.55)) == pytest.approx((13.71, 6.16, 21.26), abs=0.006)


def test_strength_of_concrete() -> None:
    """From memory, no source; by hand: ten of mean 1312 and s 25 give 2.262 x 25 x sqrt 1.1 = 59 for the next."""
    mean, low, high = next_value(sample(10, 1312, 25))
    assert (round(mean), round(mean - low), round(high - mean)) == (1312, 59, 59)


@pytest.mark.parametrize(
    ("n", "factor"), [(4, 3.56), (5, 3.04), (6, 2.78), (7, 2.62), (8, 2.51), (10, 2.37), (20, 2.14)]
)
def test_published_factors(n: int, factor: float) -> None:
    """G. J. Hahn and W. Q. Meeker, Statistical intervals (1991), table A.13 for one future value (from memory)."""
    mean, low, _ = next_value(sample(n, 50.0, 1.0))
    assert mean - low == pytest.approx(factor, abs=0.006)


@pytest.mark.parametrize("n", [2, 3, 5, 10])
def test_simulated_coverage(n: int) -> None:
    """10 000 programs of n builds and one more: 95 % within three standard errors of 0.65 points."""
    draws = np.random.default_rng([1970, n]).standard_normal((10_000, n + 1))
    ends = np.array([next_value(row)[1:] for row in draws[:, :-1].tolist()])
    inside = (ends[:, 0] <= draws[:, -1]) & (draws[:, -1] <= ends[:, 1])
    assert inside.mean() == pytest.approx(0.95, abs=0.0065)


TAILS: dict[str, Callable[[np.random.Generator, tuple[int, int]], np.ndarray]] = {
    "t4": lambda rng, shape: rng.standard_t(4, shape),
    "exponential": lambda rng, shape: rng.exponential(1.0, shape),
    "lognormal, 0.5": lambda rng, shape: rng.lognormal(0.0, 0.5, shape),
    "lognormal, 0.8": lambda rng, shape: rng.lognormal(0.0, 0.8, shape),
}


@pytest.mark.parametrize("n", [2, 4, 12])
@pytest.mark.parametrize("tails", TAILS)
def test_long_tails_are_held_as_often_as_the_coating_page_says(tails: str, n: int) -> None:
    """200 000 programs a case gave 91.5 (four builds, lognormal 0.8) to 94.9 %; here 10 000, of error 0.28 points."""
    draws = TAILS[tails](np.random.default_rng([1991, n]), (10_000, n + 1))
    ends = np.array([next_value(row)[1:] for row in draws[:, :-1].tolist()])
    held = ((ends[:, 0] <= draws[:, -1]) & (draws[:, -1] <= ends[:, 1])).mean()
    assert 0.91 - 0.003 <= held <= 0.95 + 0.003


def test_builds_without_scatter_predict_themselves() -> None:
    assert next_value([2.0, 2.0]) == (2.0, 2.0, 2.0)


@pytest.mark.parametrize("means", [[], [3.0]])
def test_one_build_predicts_nothing(means: list[float]) -> None:
    with pytest.raises(Refused) as told:
        next_value(means)
    assert told.value.code == "one-build"


def test_unit_free() -> None:
    """Another unit, another level: the interval goes along."""
    metres, inches = next_value([1.0, 1.2, 1.5]), next_value([each / 0.0254 for each in (1.0, 1.2, 1.5)])
    assert all(math.isclose(one / 0.0254, other) for one, other in zip(metres, inches, strict=True))


@pytest.mark.parametrize(
    ("sizes", "ratio", "held", "held_here"),
    [((6,), 1.0, 0.82, 0.95), ((2, 2, 2), 1.0, 0.926, 0.966), ((6,), 2.0, 0.60, 0.95), ((2, 2, 2), 2.0, 0.89, 0.98)],
)
def test_a_build_of_a_new_program_is_held_less_often(
    sizes: tuple[int, ...], ratio: float, held: float, held_here: float
) -> None:
    """What the coating page says of new programs: the ends of the ranges it names.

    Programs scatter normally, `ratio` times as much as builds of one. 40 000 draws a design (seed 20261129) gave, over
    (2), (3), (6), (2, 2), (3, 2), (3, 3), (2, 2, 2), (4, 4, 4) and (6, 6) builds by program, 81.9 to 92.6 % at a ratio
    of 1 and 60.1 to 89.0 % at 2; the next build of the last of these programs was held in 94.8 to 98.1 %.
    """
    draws = np.random.default_rng(7)
    new = here = 0
    times = 3000
    for _ in range(times):
        own = draws.normal(0, ratio, len(sizes))
        builds = [float(draws.normal(each, 1)) for each, size in zip(own, sizes, strict=True) for _ in range(size)]
        _, low, high = next_value(builds)
        new += low <= draws.normal(draws.normal(0, ratio), 1) <= high
        here += low <= draws.normal(own[-1], 1) <= high
    assert new / times == pytest.approx(held, abs=0.025)
    assert here / times == pytest.approx(held_here, abs=0.015)
