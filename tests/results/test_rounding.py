"""Stored digits follow the interval; noise below it moves nothing."""

from __future__ import annotations

import math

import pytest

from sitegen.methods.intervals import NORMAL_95, student_95
from sitegen.results.rounding import place, plain, rounded
from sitegen.vocabulary import Key, Value


def value(number: float, low: float | None = None, high: float | None = None, se: float | None = None) -> Value:
    return Value("m", Key(), number, low, high, se)


@pytest.mark.parametrize(
    ("given", "digits"),
    [
        (value(0.38123, 0.35, 0.41), 5),  # half-width 0.03: three digits below its hundredths
        (value(0.38123), 4),  # four significant digits without an interval
        (value(12345.6), -1),
        (value(12345.6, 12000.0, 13000.0), 1),
        (value(0.0), 0),
        (value(0.5, -math.inf, 0.6), 4),  # the finite side decides
        (value(0.5, -math.inf, math.inf), 4),
    ],
)
def test_place(given: Value, digits: int) -> None:
    assert place(given) == digits


def test_rounding_keeps_unbounded_and_unknown_ends() -> None:
    kept = rounded(value(0.123456789, -math.inf, None))
    assert (kept.value, kept.low, kept.high) == (0.1235, -math.inf, None)


def test_optimiser_noise_moves_no_digit() -> None:
    quiet = rounded(value(0.38123, 0.35, 0.41, 0.015))
    noisy = rounded(value(0.38123 + 1e-9, 0.35 - 1e-9, 0.41 + 1e-9, 0.015 + 1e-9))
    assert quiet == noisy


def test_no_negative_zero_is_stored() -> None:
    assert plain(rounded(value(-1e-9, -0.1, 0.1)).value, 2) == "0.00"


def test_many_degrees_of_freedom_are_stored_as_known() -> None:
    """On 1000 degrees of freedom the 95 % point of t is 1.962 in any table, that of the normal 1.960: 0.1 % apart."""
    assert student_95(1000) == pytest.approx(1.962, abs=5e-4)
    assert student_95(1000) / NORMAL_95 == pytest.approx(1, abs=1.3e-3)
    given = (12.34, 1000.0, 1000.1, 69632.8, math.inf, None)
    stored = [rounded(Value("m", Key(), 1.0, se=0.1, df=df)).df for df in given]
    assert stored == [12.3, 1000.0, None, None, None, None]
