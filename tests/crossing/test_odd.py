"""Which measures, phases and engines enter the score of a cylinder, and the word that follows."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import pytest

from crossing.factory import AREA, LOSS, PHASE, C, R, Rows, below, program, rows
from sitegen.crossing import odd
from sitegen.program.model import Program
from sitegen.vocabulary import Book, Measure, Value, Verdict

LEAK = replace(AREA, odd="more")
MASS = replace(LOSS, odd="less", only_at="ring")
MEASURES: dict[str, Measure] = {measure.id: measure for measure in (LEAK, MASS)}
WHOLE = {"B1": (R,) * 4, "B2": (C,) * 4, "B3": (R,) * 4}
LEAKS: Mapping[str, Sequence[float | None]] = {
    "B1": (0.31, 0.32, 0.30, 0.33), "B2": (0.24, 0.40, 0.25, 0.23), "B3": (0.29, 0.30, 0.32, 0.31),
}  # fmt: skip
MASSES = {"B1": (3.1, 2.9, 3.2, 3.0), "B2": (2.4, 0.3, 2.2, 2.5), "B3": (3.3, 3.0, 2.9, 3.1)}


def found(of: Program, values: Rows) -> tuple[dict[tuple[str, int], Verdict], dict[tuple[str, int], dict[str, Value]]]:
    """Words, and deviations by measure, of each cylinder."""
    told = list(odd.found(of, MEASURES, Book(values, MEASURES)))
    verdicts = {each.key[:2]: each for each in told if isinstance(each, Verdict)}
    deviations: dict[tuple[str, int], dict[str, Value]] = {}
    for each in told:
        if isinstance(each, Value) and each.measure == odd.DEVIATION.id:
            deviations.setdefault(each.key[:2], {})[each.key.at] = each
    return verdicts, deviations


def test_off_in_both_senses_at_once_is_odd() -> None:
    of = program(WHOLE)
    values = {**rows(of, LEAK, LEAKS), **rows(of, MASS, MASSES, at="top")}
    verdicts, deviations = found(of, values)
    assert [key for key, each in verdicts.items() if each.word == "odd"] == [("B2", 2)]
    assert len(verdicts) == 12
    for each in verdicts.values():
        assert each.found is not None
        assert (each.word == "odd") == (each.found <= 0.05)
        assert (each.limit, each.adjusted_over, each.route) == (0.05, 12, "number-at-most")
    assert {measure: value.value is not None and value.value > 2 for measure, value in deviations["B2", 2].items()} == {
        LEAK.id: True, MASS.id: True,
    }  # fmt: skip
    gained = {**MASSES, "B2": (2.4, 4.5, 2.2, 2.5)}  # more mass lost is not the declared sense: it speaks against
    verdicts, deviations = found(of, {**rows(of, LEAK, LEAKS), **rows(of, MASS, gained, at="top")})
    assert deviations["B2", 2][MASS.id].value == pytest.approx(-2.5, abs=0.5)
    assert verdicts["B2", 2].word == "not odd"


def test_an_engine_with_less_is_held_against_those_that_have_as_much() -> None:
    of = program(WHOLE)
    part = {build: MASSES[build] for build in ("B1", "B2")}
    verdicts, deviations = found(of, {**rows(of, LEAK, LEAKS), **rows(of, MASS, part, at="top")})
    assert set(deviations["B3", 1]) == {LEAK.id}
    assert deviations["B3", 1][LEAK.id].n == 12  # all engines have a leak
    assert deviations["B1", 1][LEAK.id].n == 8
    assert {each.adjusted_over for each in verdicts.values()} == {12}


def test_the_primary_phase_else_the_last() -> None:
    of = program({"B1": (R,) * 4, "B2": (C,) * 4}, due=("B2",))
    cold = {"B1": (0.7, 0.72, 0.71, 0.73), "B2": (0.7, 0.74, 0.71, 0.9)}
    values = {**rows(of, LEAK, cold, phase="cold"), **rows(of, LEAK, {"B1": LEAKS["B1"]})}
    _, deviations = found(of, values)
    assert deviations["B1", 1][LEAK.id].key.phase == PHASE
    assert deviations["B2", 1][LEAK.id].key.phase == "cold"
    assert deviations["B2", 1][LEAK.id].n == 8
    elsewhere = rows(of, LEAK, {"B1": LEAKS["B1"]}, at="wet")
    assert found(of, elsewhere) == ({}, {})


def test_a_cylinder_without_a_value_cannot_be_told() -> None:
    of = program(WHOLE)
    verdicts, _ = found(of, rows(of, LEAK, {**LEAKS, "B1": (0.31, None, 0.30, 0.33)}))
    assert (verdicts["B1", 2].word, verdicts["B1", 2].reason) == ("cannot tell", "reading-missing")
    assert verdicts["B1", 1].adjusted_over == 11
    half = rows(of, LEAK, {**LEAKS, "B1": (0.31, None, None, 0.33)})
    assert {key[0] for key in found(of, half)[0]} == {"B2", "B3"}  # two of four leave neither the odd one


def test_below_a_limit_it_stands_at_the_limit() -> None:
    of = program(WHOLE)
    values = {**rows(of, LEAK, {**LEAKS, "B1": (0.31, None, 0.30, 0.33)}), **below(of, LEAK, "B1", 2, 0.1, 0.0)}
    _, deviations = found(of, values)
    scatter = deviations["B1", 2][LEAK.id].value
    assert scatter is not None
    assert scatter < -1


def test_one_value_among_limits_is_not_held_against_them() -> None:
    """Fewer than three in four known: the engine is not looked at in that measure, as without any value."""
    of = program(WHOLE)
    values = rows(of, LEAK, {**LEAKS, "B1": (0.31, None, None, 0.33)})
    for cylinder in (2, 3):
        values |= below(of, LEAK, "B1", cylinder, 0.1, 0.0)
    verdicts, deviations = found(of, values)
    assert {key[0] for key in verdicts} == {"B2", "B3"}
    assert {key[0] for key in deviations} == {"B2", "B3"}


def test_one_engine_of_two_measures_alike_cannot_be_told() -> None:
    of = program({"B1": (R,) * 4})
    verdicts, _ = found(of, rows(of, LEAK, {"B1": (0.3,) * 4}))
    assert {each.reason for each in verdicts.values()} == {"no-scatter-at-all"}
    assert all(math.isclose(each.limit or 0, 0.05) for each in verdicts.values())
    assert found(of, {}) == ({}, {})


def test_a_coating_is_not_odd_beside_another() -> None:
    """Mixed engines, every soft ring leaking more: none is odd; one that leaks more than the soft ones is."""
    of = program({name: (R, C, C, R) if n % 2 else (C, R, R, C) for n, name in enumerate(("B1", "B2", "B3"))})
    leaks = {"B1": (0.40, 0.30, 0.31, 0.41), "B2": (0.30, 0.42, 0.40, 0.31), "B3": (0.41, 0.31, 0.30, 0.39)}
    verdicts, _ = found(of, rows(of, LEAK, leaks))
    assert {each.word for each in verdicts.values()} == {"not odd"}
    verdicts, _ = found(of, rows(of, LEAK, {**leaks, "B2": (0.30, 0.80, 0.40, 0.31)}))
    assert [key for key, each in verdicts.items() if each.word == "odd"] == [("B2", 2)]
