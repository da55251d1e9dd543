"""Stored digits follow the interval; noise below it moves nothing."""

from __future__ import annotations

import math

import pytest

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
