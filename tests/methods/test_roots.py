"""The root finder, held against roots known in closed form and against the usual library's."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from sitegen.methods.roots import root

# The first four after Alefeld, Potra and Shi, ACM Trans. Math. Software 21 (1995) 327-344, from memory; one a step.
FUNCTIONS: list[tuple[Callable[[float], float], float, float]] = [
    (lambda x: math.sin(x) - x / 2, math.pi / 2, math.pi),
    (lambda x: (1 + (1 - 5) ** 2) * x - (1 - 5 * x) ** 2, 0.0, 1.0),
    (lambda x: (5 * x - 1) / (4 * x), 0.01, 1.0),
    (lambda x: x * math.exp(-20) - 1 + math.exp(-20 * x) * 2, 0.0, 1.0),
    (lambda x: -1.0 if x < 1 / 3 else 1.0, 0.0, 1.0),
]


@pytest.mark.parametrize(("function", "low", "high"), FUNCTIONS)
def test_same_root_as_the_usual_library(function: Callable[[float], float], low: float, high: float) -> None:
    usual = float(brentq(function, low, high, xtol=1e-15))
    assert root(function, low, high, 1e-14) == pytest.approx(usual, rel=1e-12, abs=1e-14)


def test_closed_forms() -> None:
    assert root(lambda x: x * x - 2, 0, 2) == pytest.approx(math.sqrt(2), rel=1e-15)
    assert root(lambda x: math.cos(x), 0, 3) == pytest.approx(math.pi / 2, rel=1e-15)
    assert root(lambda x: x - 1, 1, 5) == 1  # an end that is the root


def test_few_calls() -> None:
    calls = []

    def function(x: float) -> float:
        calls.append(x)
        return math.exp(x) - 2

    assert root(function, 0, 1) == pytest.approx(math.log(2), rel=1e-15)
    assert len(calls) <= 12  # halving takes 53


def test_no_change_of_sign() -> None:
    with pytest.raises(ValueError, match="same sign"):
        root(lambda x: x * x + 1, -1, 1)


@given(st.floats(-50, 50), st.floats(0.01, 100), st.floats(0.01, 5))
def test_monotone_functions(at: float, reach: float, power: float) -> None:
    def function(x: float) -> float:
        return math.copysign(abs(x - at) ** power, x - at)

    assert root(function, at - reach, at + 1.7 * reach) == pytest.approx(at, abs=1e-12, rel=1e-12)
