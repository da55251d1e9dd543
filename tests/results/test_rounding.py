"""Stored digits follow the uncertainty; what moves less than the last of them moves nothing."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from sitegen import rounding
from sitegen.methods.intervals import NORMAL_95, student_95
from sitegen.rounding import aligned, place, rounded, short
from sitegen.vocabulary import Key, Series, Value


def value(number: float, low: float | None = None, high: float | None = None, se: float | None = None) -> Value:
    return Value("m", Key(), number, low, high, se)


@pytest.mark.parametrize(
    ("given", "digits"),
    [
        ((0.38123, 0.3511, 0.41), 4),  # half-width 0.029: three significant digits
        ((0.38123, None, None), 4),  # four significant digits without an interval
        ((12345.6, None, None), -1),
        ((12345.6, 12000.0, 13000.0), 0),
        ((0.0, None, None), 0),
        ((0.5, -math.inf, 0.6), 3),  # the finite side decides
        ((0.5, -math.inf, math.inf), 4),
        ((None, None, 0.041288), 4),  # a limit without a value: three
    ],
)
def test_place(given: tuple[float | None, float | None, float | None], digits: int) -> None:
    assert place(*given) == digits


@pytest.mark.parametrize("number", [0.38123, 0.0, -0.0, 2.0])
def test_what_is_stored_is_no_number_of_numpy(number: float) -> None:
    """Its text is another; whether a library gives a step one changes with its version."""
    own = rounded(value(np.float64(number), np.float64(number), np.float64(math.inf), np.float64(number)))
    assert own == rounded(value(number, number, math.inf, number))
    assert {type(each) for each in (own.value, own.low, own.high, own.se)} == {float}


@pytest.mark.parametrize(("df", "percent"), [(1, 76), (2, 52), (3, 42), (4, 36), (9, 24), (19, 16), (29, 13), (49, 10)])
def test_a_scatter_keeps_the_digits_it_is_known_to(df: int, percent: int) -> None:
    """Table E.1 of JCGM 100:2008 (n = df + 1): the standard deviation of the standard deviation of a mean, per cent."""
    about = 100 / math.sqrt(2 * df)  # the approximation its note gives; good to two per cent from n = 10 on
    assert about == pytest.approx(percent, abs=max(0.02 * percent, 0.6) if df >= 9 else 10)
    step = 10.0 ** -place(1.0, None, None, df)
    assert 0.1 <= NORMAL_95 * about / 100 / step / 10 < 10  # two digits of its own uncertainty


def test_rounding_keeps_unbounded_and_unknown_ends() -> None:
    kept = rounded(value(0.123456789, -math.inf, None))
    assert (kept.value, kept.low, kept.high) == (0.1235, -math.inf, None)


def test_optimiser_noise_moves_no_digit() -> None:
    quiet = rounded(value(0.38123, 0.35, 0.41, 0.015))
    noisy = rounded(value(0.38123 + 1e-9, 0.35 - 1e-9, 0.41 + 1e-9, 0.015 + 1e-9))
    assert quiet == noisy


@pytest.mark.parametrize("bits", [-3, 0, 3])
def test_a_mean_that_ends_in_a_five_goes_one_way(bits: int) -> None:
    """A tie in decimals lies on either side of it in binary, as the bits of what was added up fell."""
    number = -0.2625 * (1 + bits * 2**-52)
    assert rounded(value(number, -1.253, 0.728, 0.0905 * (1 + bits * 2**-52))) == value(-0.263, -1.253, 0.728, 0.0905)


def test_no_negative_zero_is_stored() -> None:
    assert aligned(rounded(value(-1e-9, -0.1, 0.1)).value, 0.1) == ["0.0", "0.1"]


def test_many_degrees_of_freedom_are_stored_as_known() -> None:
    """On 1000 degrees of freedom the 95 % point of t is 1.962 in any table, that of the normal 1.960: 0.1 % apart."""
    assert student_95(1000) == pytest.approx(1.962, abs=5e-4)
    assert student_95(1000) / NORMAL_95 == pytest.approx(1, abs=1.3e-3)
    given = (12.34, 1000.0, 1000.1, 69632.8, math.inf, None)
    stored = [rounded(Value("m", Key(), 1.0, se=0.1, df=df)).df for df in given]
    assert stored == [12.3, 1000.0, None, None, None, None]


def test_a_half_width_is_kept_to_a_hundredth_and_values_do_not_drift() -> None:
    """What others are worked out from loses nothing that counts: at most a half of a last digit at each number."""
    rng = np.random.default_rng(12)
    lost = []
    for _ in range(2000):
        half = 10.0 ** rng.uniform(-6, 6)
        number = half * rng.normal(0, 30)
        kept = rounded(value(number, number - half, number + half, half / 2))
        assert kept.value is not None
        assert kept.low is not None
        assert kept.se == pytest.approx(half / 2, rel=0.0051)
        assert abs(kept.value - number) <= half / 200 * 1.0001
        lost.append((kept.value - number) / half)
    assert abs(np.mean(lost)) < 0.0002


def test_a_curve_keeps_five_digits_and_what_is_no_number() -> None:
    frame = pd.DataFrame({"t": [0.0, 123456.789, math.nan], "area": [0.000123456789, -math.inf, 1 / 3], "n": [1, 2, 3]})
    kept = rounding.stored(Series("s", Key(), {}, frame))
    assert isinstance(kept, Series)
    assert kept.frame["t"].tolist()[:2] == [0.0, 123460.0]
    assert math.isnan(kept.frame["t"].iloc[2])
    assert kept.frame["area"].tolist() == [0.00012346, -math.inf, 0.33333]
    assert kept.frame["n"].tolist() == [1, 2, 3]
    assert frame["t"].iloc[1] == 123456.789  # what the step holds is left alone


@pytest.mark.parametrize("number", [0.1, 1e-7, 123400.0, -2.5, 0.0, math.inf])
def test_text_reads_back_as_the_same_number(number: float) -> None:
    assert float(short(number)) == number
    assert "e" not in short(number)
