"""What must not matter to an answer: the order of the rows, the names of the coatings, the unit."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from crossing.factory import AREA, LOSS, PHASE, C, Case, D, R, case
from sitegen.program.model import Coating
from sitegen.vocabulary import Comparison, Key, Value

NUMBERS = (
    "estimate", "low", "high", "df", "se", "p", "p_randomised", "least_p", "level", "level_reference", "icc", "icc_low",
    "icc_high", "effective", "effective_low", "effective_high",
)  # fmt: skip
COUNTS = ("builds", "builds_reference", "cylinders", "cylinders_reference", "adjusted_over")
WORDS = ("design", "procedure", "scope", "role", "scale", "verdict", "flags", "reason")


def assert_same(one: Comparison, other: Comparison, times: float = 1.0) -> None:
    """Same words and counts, numbers within rounding; `times`: the unit of the other is that much smaller."""
    for name in (*WORDS, *COUNTS):
        assert getattr(one, name) == getattr(other, name), name
    for name in NUMBERS:
        a, b = getattr(one, name), getattr(other, name)
        if a is None or b is None:
            assert a is b, name
            continue
        in_unit = name.startswith("level") or (one.scale == "difference" and name in {"estimate", "low", "high", "se"})
        assert b == pytest.approx(a * (times if in_unit else 1.0), rel=1e-6, abs=1e-9 * times), name


level = st.integers(40, 999).map(lambda n: n / 1000)


@st.composite
def cases(draw: st.DrawFn) -> Case:
    """Any allocation of three coatings to two to seven builds of two to four cylinders, some without a value."""
    mixed = draw(st.booleans())
    allocation: dict[str, list[str]] = {}
    for n in range(draw(st.integers(2, 7))):
        size = draw(st.integers(2, 4))
        if mixed:
            allocation[f"B{n}"] = draw(st.lists(st.sampled_from((R, C, D)), min_size=size, max_size=size))
        else:
            allocation[f"B{n}"] = [draw(st.sampled_from((R, C, D)))] * size
    numbers = {b: [draw(level) for _ in held] for b, held in allocation.items()}
    if draw(st.booleans()):
        numbers["B0"][0] = None  # type: ignore[call-overload]
    blocks = {b: f"K{draw(st.integers(0, 4))}" for b in allocation} if draw(st.booleans()) else {}
    measure = draw(st.sampled_from((AREA, LOSS)))
    return case(allocation, numbers, measure, candidates=(C, D), blocks=blocks)


many = settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True)


@many
@given(made=cases(), data=st.data())
def test_the_order_of_rows_builds_and_cylinders_does_not_matter(made: Case, data: st.DataObject) -> None:
    builds = data.draw(st.permutations(made.program.builds))
    builds = [replace(build, places=tuple(data.draw(st.permutations(build.places)))) for build in builds]
    rows = dict(data.draw(st.permutations(list(made.rows.items()))))
    turned = Case(replace(made.program, builds=tuple(builds)), rows)
    for one, other in zip(made.every(), turned.every(), strict=True):
        assert_same(one, other)


@many
@given(made=cases(), data=st.data())
def test_the_names_of_the_coatings_do_not_matter(made: Case, data: st.DataObject) -> None:
    names = dict(zip((R, C, D), data.draw(st.permutations(("alpha", "mid", "zeta"))), strict=True))
    program = replace(
        made.program,
        definitions=replace(
            made.program.definitions, coatings={new: Coating(new, new, n) for n, new in enumerate(names.values())}
        ),
        reference=names[R],
        candidates=(names[C], names[D]),
        builds=tuple(
            replace(build, places=tuple(replace(place, coating=names[place.coating]) for place in build.places))
            for build in made.program.builds
        ),
    )
    rows: dict[tuple[str, Key], Value] = {}
    for (measure, key), value in made.rows.items():
        renamed = key._replace(coating=names.get(key.coating, ""))
        rows[measure, renamed] = replace(value, key=renamed)
    for one, other in zip(made.every(), Case(program, rows).every(), strict=True):
        assert names[one.coating] == other.coating
        assert_same(one, other)


@many
@given(made=cases(), times=st.sampled_from((1e-3, 25.4, 645.16, 1e6)))
def test_the_unit_does_not_matter_to_a_ratio_and_scales_a_difference(made: Case, times: float) -> None:
    rows = {where: replace(value, value=(value.value or 0.0) * times) for where, value in made.rows.items()}
    for one, other in zip(made.every(), Case(made.program, rows).every(), strict=True):
        assert_same(one, other, times)


@many
@given(made=cases())
def test_an_answer_is_consistent_with_itself(made: Case) -> None:
    for row in made.every():
        if row.verdict == "refused":
            assert row.reason
            assert (row.estimate, row.low, row.high, row.p) == (None, None, None, None)
            continue
        assert row.estimate is not None
        assert row.low is not None
        assert row.high is not None
        assert row.low <= row.estimate <= row.high
        none = 1.0 if row.scale == "ratio" else 0.0
        if row.p is not None:
            assert 0.0 <= row.p <= 1.0
            assert (row.p < 0.05) == (not row.low <= none <= row.high)
            assert (row.verdict in {"better", "worse"}) == (row.p < 0.05)
        else:
            assert row.verdict == "cannot tell"
            assert row.reason in {"one-build", "order-and-coating"}
        if row.icc is not None:
            assert row.effective is not None
            assert row.effective <= row.cylinders + row.cylinders_reference + 1e-9


@many
@given(made=cases())
def test_turning_the_coatings_round_turns_the_answer_round(made: Case) -> None:
    """The reference as candidate: reciprocal ratio or negative difference, the same p value."""
    there = made.with_(candidates=(C,)).of(C, None)
    back = made.with_(reference=C, candidates=(R,)).of(R, None)
    assert (there.procedure, there.reason) == (back.procedure, back.reason)
    if there.estimate is None:
        return
    assert back.estimate is not None
    turned = 1 / back.estimate if there.scale == "ratio" else -back.estimate
    assert there.estimate == pytest.approx(turned, rel=1e-9, abs=1e-12)
    assert there.p is None or there.p == pytest.approx(back.p, rel=1e-6, abs=1e-12)
    swapped = {"better": "worse", "worse": "better"}
    assert swapped.get(there.verdict, there.verdict) == back.verdict


def test_more_builds_alike_make_the_interval_narrower() -> None:
    """The same two values over and over: three, six, twelve builds of each."""
    widths = []
    for count in (3, 6, 12):
        held = {f"B{n}": (R if n % 2 else C,) * 2 for n in range(2 * count)}
        numbers = {b: [(0.25 if held[b][0] == C else 0.3) + 0.02 * (n // 2 % 3)] * 2 for n, b in enumerate(held)}
        row = case(held, numbers).of()
        assert row.low is not None
        assert row.high is not None
        widths.append(math.log(row.high / row.low))
    assert all(one > other for one, other in pairwise(widths))


def test_a_value_in_another_phase_or_place_is_not_mixed_in() -> None:
    held = {"B1": (R, R), "B2": (C, C), "B3": (R, R), "B4": (C, C)}
    numbers = {"B1": (0.3, 0.31), "B2": (0.2, 0.22), "B3": (0.33, 0.35), "B4": (0.21, 0.25)}
    made = case(held, numbers)
    strange = {}
    for (measure, key), value in made.rows.items():
        for other in (key._replace(phase="cold"), key._replace(at="supply:276-kpa"), key._replace(at="with:x:1")):
            strange[measure, other] = replace(value, key=other, value=99.0)
    assert_same(made.of(), Case(made.program, {**strange, **made.rows}).of())
    assert PHASE != "cold"
