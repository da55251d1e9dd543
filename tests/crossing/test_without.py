"""The primary comparison with something left out: against means worked out by hand, and what is usual."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import pytest

from crossing.factory import AREA, LOSS, MEASURES, PHASE, C, Case, D, R, build_means, case
from sitegen.crossing import without
from sitegen.crossing.history import OWN_SCALE
from sitegen.results.files import COMPARISON_COLUMNS, MEASURE_COLUMNS, comparison_rows, measure_rows
from sitegen.results.run import Analysis
from sitegen.vocabulary import Book, Measure, Value

HELD = {"B1": (R,) * 4, "B2": (C,) * 4, "B3": (R,) * 4, "B4": (C,) * 4, "B5": (C,) * 4, "B6": (R,) * 4}
NUMBERS: Mapping[str, Sequence[float]] = {
    "B1": (0.33, 0.31, 0.36, 0.30), "B2": (0.25, 0.27, 0.22, 0.26), "B3": (0.30, 0.29, 0.33, 0.35),
    "B4": (0.28, 0.30, 0.27, 0.24), "B5": (0.24, 0.21, 0.26, 0.33), "B6": (0.35, 0.38, 0.31, 0.37),
}  # fmt: skip


def told(of: Case, measure: str = without.WITHOUT.id) -> list[Value]:
    return [value for value in without.answers(of.program, MEASURES, of.book) if value.measure == measure]


def test_each_build_is_left_out_once() -> None:
    of = case(HELD, NUMBERS)
    means = build_means(NUMBERS, ratio=True)
    found = {value.key.engine: value for value in told(of)}
    assert list(found) == list(HELD)
    moves = []
    whole = of.of()
    assert whole.estimate is not None
    assert whole.se is not None
    for out, value in found.items():
        kept = {name: mean for name, mean in means.items() if name != out}
        own = [mean for name, mean in kept.items() if HELD[name][0] == C]
        other = [mean for name, mean in kept.items() if HELD[name][0] == R]
        expected = sum(own) / len(own) - sum(other) / len(other)
        assert value.value == pytest.approx(math.exp(expected))
        assert (value.low or 9.0) < math.exp(expected) < (value.high or 0.0)
        assert (value.n, value.key.coating, value.key.phase) == (5, C, PHASE)
        moves.append(abs(expected - math.log(whole.estimate)) / whole.se)
    (largest,) = told(of, without.LARGEST.id)
    assert largest.value == pytest.approx(max(moves))


@pytest.mark.parametrize(("builds", "usual"), [(3, 0.83), (4, 0.73), (6, 0.61)])
def test_the_usual_move_of_builds_alike(builds: int, usual: float) -> None:
    """Build means made here, 20 000 programs of each: the median of the largest move in standard errors."""
    rng = np.random.default_rng(5)
    one, other = rng.normal(size=(2, 20_000, builds))
    se = np.sqrt((one.var(axis=1, ddof=1) + other.var(axis=1, ddof=1)) / builds)
    away = [np.abs(each - each.mean(axis=1, keepdims=True)).max(axis=1) / (builds - 1) for each in (one, other)]
    expected = float(np.median(np.maximum(*away) / se))
    assert expected == pytest.approx(usual, abs=0.01)
    held = {f"B{n}": ((R, C)[n % 2],) * 4 for n in range(2 * builds)}
    numbers = {name: tuple(np.exp(rng.normal(-1, 0.1, 4))) for name in held}
    (found,) = told(case(held, numbers), without.USUAL.id)
    assert found.value == pytest.approx(expected, abs=0.05)


@pytest.mark.parametrize(("measure", "unit"), [(AREA, "1"), (LOSS, "mg")])
def test_the_files_give_the_unit_of_what_is_compared(measure: Measure, unit: str) -> None:
    of = case(HELD, NUMBERS, measure)
    again = {(value.measure, value.key): value for value in without.answers(of.program, MEASURES, of.book)}
    analysis = Analysis(of.program, {}, {**of.rows, **again}, (), tuple(of.every()), (), (), (), {})
    known = {**MEASURES, **{each.id: each for each in without.GIVES}}
    named = [dict(zip(MEASURE_COLUMNS, row, strict=True)) for row in measure_rows(analysis, known)]
    units = {each["measure"]: each["unit"] for each in named}
    assert units == {measure.id: measure.unit, without.WITHOUT.id: unit, without.LARGEST.id: "1", without.USUAL.id: "1"}
    assert {row[COMPARISON_COLUMNS.index("unit")] for row in comparison_rows(analysis, MEASURES)} == {unit}


def test_a_coating_built_once_cannot_be_left_out() -> None:
    held = {**HELD, "B7": (D,) * 4}
    of = case(held, {**NUMBERS, "B7": (0.4, 0.41, 0.39, 0.42)}, candidates=(C, D))
    once = {value.key.engine: value for value in told(of) if value.key.coating == D}
    assert set(once) == {"B1", "B3", "B6", "B7"}  # builds of other candidates are none of its comparison
    assert (once["B7"].status, once["B7"].reason) == ("refused", "coating-without-value")
    assert once["B1"].value is not None


def test_cylinders_that_a_fit_leaves_out() -> None:
    fitted = replace(AREA, id="probe.scale", fit="curve")
    of = case(HELD, NUMBERS)
    key = of.program.build("B5").key(4, at="a1")
    apart = Value(fitted.id, key, status="refused", reason=OWN_SCALE)
    measures = {**MEASURES, fitted.id: fitted}
    found = [
        value
        for value in without.answers(of.program, measures, Book({**of.rows, (fitted.id, key): apart}, measures))
        if value.measure == without.WITHOUT.id and not value.key.engine
    ]
    assert [value.key.at for value in found] == [without.IN_FIT]
    fewer = {**NUMBERS, "B5": NUMBERS["B5"][:3]}
    means = {name: float(np.log(numbers).mean()) for name, numbers in fewer.items()}
    expected = np.mean([means[n] for n in ("B2", "B4", "B5")]) - np.mean([means[n] for n in ("B1", "B3", "B6")])
    assert found[0].value == pytest.approx(math.exp(float(expected)))
    assert not [value for value in told(of) if not value.key.engine]


def test_nothing_to_compare_tells_nothing() -> None:
    assert told(case({"B1": (R,) * 4, "B2": (C,) * 4}, {name: NUMBERS[name] for name in ("B1", "B2")})) == []
    assert told(case(HELD, {})) == []
