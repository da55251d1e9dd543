"""Printed numbers against the rules of the ISO 80000-1 and JCGM 100 style guides."""

from __future__ import annotations

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitegen.page import words
from sitegen.vocabulary import Key, Value


@pytest.mark.parametrize(
    ("value", "half", "printed"),
    [
        # JCGM 100:2008, 7.2.6: m_s = 100.021 47 g with u = 0.35 mg may be given to two digits of u; 10.057 62 ohm with
        # u = 27 mohm is to be given as 10.058 ohm.
        (10.05762, 0.027, "10.058 ± 0.027"),
        (2611.0, 120.0, "2\u202f610 ± 120"),
        (-0.0941, 0.0512, "−0.09 ± 0.05"),
    ],
)
def test_digits_follow_the_interval(value: float, half: float, printed: str) -> None:
    assert words.with_interval(value, value - half, value + half) == printed


@given(st.floats(-1e9, 1e9), st.floats(1e-6, 1e6))
def test_printed_number_lies_within_its_interval(value: float, half: float) -> None:
    text = words.within(value, value - half, value + half)
    back = float(text.replace(words.MINUS, "-").replace(words.THIN, ""))
    assert abs(back - value) <= half * 0.51 + 1e-9


@given(st.floats(allow_nan=False, allow_infinity=False, min_value=-1e12, max_value=1e12), st.integers(-3, 6))
def test_groups_of_three_and_a_proper_minus(value: float, decimals: int) -> None:
    text = words.number(value, decimals)
    assert re.fullmatch(r"−?\d{1,3}(\u202f\d{3})*(\.\d+)?", text)
    assert "-" not in text


def test_statuses_are_words() -> None:
    assert words.value_text(Value("m", Key(), status="missing", reason="to-come")) == "to come"
    assert words.value_text(Value("m", Key(), status="missing", reason="no-reading")) == "missing"
    assert words.value_text(Value("m", Key(), high=0.04, status="below")) == "below 0.04"
    assert words.value_text(Value("m", Key(), 1.0, -math.inf, math.inf)) == "1.00"
