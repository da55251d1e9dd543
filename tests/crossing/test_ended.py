"""Builds that ended early, through the comparison: none dropped in silence, none compared at another hour."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import pytest

from crossing.factory import FLOW, MEASURES, C, Case, R, program
from sitegen.crossing import comparing, ended
from sitegen.methods.ended import ranked
from sitegen.program.model import Ended, Phase, Program, ScheduleStep, Subject
from sitegen.vocabulary import Comparison, Value

SLOPE = replace(FLOW, id="probe.slope", title="probe slope", compare="difference", to_the_end=True)
HOUR = 3600.0
PHASES = (
    Phase("cold", "cold build", "static-check", 0),
    Phase("first", "0 to 25 h", "durability", 1, schedule=(ScheduleStep(25 * HOUR, 188.0, 188.0),)),
    Phase("second", "25 to 100 h", "durability", 2, schedule=(ScheduleStep(75 * HOUR, 188.0, 188.0),)),
)
FOUR = {f"B{n}": (R if n % 2 else C,) for n in range(1, 9)}
FIGURES = dict(zip(FOUR, (6.0, 3.0, 7.0, 4.0, 8.0, 2.0, 9.0, 3.5), strict=True))
BY_PUMP, BY_LEAK = Ended(60 * HOUR, "pump"), Ended(60 * HOUR, "blow-by jumped", by_measure=True)


def of(ended_: Mapping[str, Ended], builds: Mapping[str, Any] = FOUR) -> Program:
    made = program(builds, phases=PHASES)
    return replace(made, builds=tuple(replace(build, ended=ended_.get(build.id)) for build in made.builds))


def compared(of_: Program, figures: Mapping[str, float], phase: str = "") -> Comparison:
    measure = SLOPE if not phase else FLOW
    keys = {name: of_.build(name).key(0, phase) for name in figures}
    values = {(measure.id, key): Value(measure.id, key, figures[name]) for name, key in keys.items()}
    known = {**MEASURES, SLOPE.id: SLOPE}
    found = Case(replace(of_, also=(Subject(measure.id, phase),)), values)
    book = type(found.book)({**values}, known)
    (row,) = (each for each in comparing.compared(found.program, known, book) if each.measure == measure.id)
    return row


def test_a_build_that_ended_for_another_cause_counts_by_the_slope_to_its_own_end() -> None:
    whole, early = compared(of({}), FIGURES), compared(of({"B1": BY_PUMP}), FIGURES)
    assert early == whole
    assert (early.procedure, early.builds, early.builds_reference) == ("welch", 4, 4)


def test_what_is_compared_ended_a_build_which_ranks_behind_all_that_ran_on() -> None:
    row = compared(of({"B1": BY_LEAK}), FIGURES)
    by_hand = ranked([3.0, 4.0, 2.0, 3.5], [float("inf"), 7.0, 8.0, 9.0])
    assert (row.procedure, row.p, row.least_p) == ("ranks", by_hand.p, by_hand.least)
    assert row.p == pytest.approx(2 / 70)
    assert row.verdict == "better"
    assert row.estimate is row.low is row.high is None
    assert "ended-by-measure" in row.flags
    # an end in the group with the smaller figures is no help to it
    assert compared(of({"B2": BY_LEAK}), FIGURES).verdict == "cannot tell"


def test_a_build_that_never_had_a_figure_still_ranks() -> None:
    without = {name: figure for name, figure in FIGURES.items() if name != "B1"}
    row, full = (compared(of({"B1": BY_LEAK}), figures) for figures in (without, FIGURES))
    assert (row.p, row.verdict, row.builds_reference) == (full.p, full.verdict, 4)
    assert row.flags == {"build-without-value", "ended-by-measure"}


def test_three_and_three_are_told_that_they_cannot_speak() -> None:
    six = {name: FOUR[name] for name in list(FOUR)[:6]}
    row = compared(of({"B1": BY_LEAK}, six), {name: FIGURES[name] for name in six})
    assert (row.verdict, row.reason) == ("cannot tell", "ranks-cannot-speak")
    assert row.least_p == pytest.approx(0.1)


def test_an_end_without_a_cause_is_not_compared_and_said() -> None:
    row = compared(of({"B1": Ended(60 * HOUR)}), FIGURES)
    assert (row.builds, row.builds_reference) == (4, 3)
    assert "ended-without-cause" in row.flags


def test_one_build_each_stays_what_it_is() -> None:
    two = {name: FOUR[name] for name in ("B1", "B2")}
    row = compared(of({"B1": BY_LEAK}, two), {"B1": 6.0, "B2": 3.0})
    assert (row.verdict, row.reason) == ("refused", "build-and-coating")


def test_engines_with_both_coatings_are_not_ranked() -> None:
    mixed = {f"B{n}": (R, C) for n in range(1, 6)}
    row = compared(of({"B1": BY_LEAK}, mixed), {})
    assert (row.verdict, row.reason) == ("refused", ended.NOT_WHOLE)


@pytest.mark.parametrize(
    ("phase", "at", "flag"),
    [
        ("first", 60.0, ""),
        ("second", 60.0, "ended-in-phase"),
        ("second", 20.0, "ended-before-phase"),
        ("cold", 9.0, ""),
    ],
)
def test_a_figure_of_a_phase_says_whose_hours_are_others(phase: str, at: float, flag: str) -> None:
    row = compared(of({"B1": Ended(at * HOUR, "pump")}), FIGURES, phase)
    assert {each for each in row.flags if each.startswith("ended")} == ({flag} if flag else set())


def test_before_the_phase_in_which_the_measure_ended_a_build_nothing_is_ranked() -> None:
    assert compared(of({"B1": BY_LEAK}), FIGURES, "first").procedure == "welch"
    assert compared(of({"B1": BY_LEAK}), FIGURES, "second").procedure == "ranks"
