"""The next step: the cheapest that is likely to end what the rule leaves open, and that its chance is what it says."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy import stats

from crossing.factory import AREA, PHASE, C, Case, R, program, rows
from sitegen.crossing import next_step, ruling
from sitegen.methods import outlook
from sitegen.methods.outlook import Unit
from sitegen.program.model import Criterion, DecisionRule, Phase, Program, ScheduleStep, Where
from sitegen.reasons import ANSWER
from sitegen.vocabulary import Refused, Value, Verdict

HELD = {"B1": (C, C), "B2": (C, C), "B3": (C, C), "R1": (R, R), "R2": (R, R), "R3": (R, R)}
GOOD = {"B1": 0.20, "B2": 0.21, "B3": 0.20, "R1": 0.30, "R2": 0.31, "R3": 0.30}
MEAN = Criterion("mean", "mean", AREA.id, PHASE, "at-most", "mean-of-builds", (C,), 0.25)
EACH = Criterion("each", "each", AREA.id, PHASE, "at-most", "every-cylinder", (C,), 0.25, end_rule=True)
LESS = Criterion("less", "less", AREA.id, PHASE, "below-reference", "mean-of-builds", (C,), None)
HOURS = {"builds": 0.0, "builds_reference": 0.0, "checks": 0.0}


def step(
    levels: Mapping[str, float | None], *criteria: Criterion, se: float = 0.004, looks: Sequence[int] = (), **more: Any
) -> tuple[str, str, str, dict[str, float]]:
    """Word, criterion and reason of the next step, and what it takes."""
    held = more.pop("held", {name: HELD[name] for name in levels})
    rule = DecisionRule(Where("p"), "2026-01-12", tuple(each.id for each in criteria), ("each",), tuple(looks))
    later = more.pop("later", ())
    of = program(held, decide=rule, criteria=criteria, **more)
    run = replace(of.phases[1], schedule=(ScheduleStep(1800.0, 150.0, 150.0),), repeat=3)
    of = replace(of, phases=(of.phases[0], run, *later))
    return _of(of, levels, se)


def _of(of: Program, levels: Mapping[str, float | None], se: float) -> tuple[str, str, str, dict[str, float]]:
    told = {n: (v, v * 1.01) for n, v in levels.items() if v is not None and not of.build(n).is_due(PHASE)}
    read = rows(of, AREA, told, se=se, n=2)
    made = {key: _with_ends(value, se) for key, value in read.items()}
    case = Case(of, made)
    verdicts = [each for each in case.decided() if isinstance(each, Verdict)]
    verdicts += ruling.ruled(of, verdicts)
    found = list(next_step.steps(of, verdicts, case.facts()))
    (word,) = (each for each in found if isinstance(each, Verdict))
    takes = {each.measure.removeprefix("next."): each.value or 0.0 for each in found if isinstance(each, Value)}
    return word.word, word.deciding, word.reason, takes


def _with_ends(value: Value, se: float) -> Value:
    level = value.value or 0.0
    return replace(value, low=level - 1.96 * se, high=level + 1.96 * se)


def test_a_rule_that_has_decided_needs_nothing() -> None:
    assert step(GOOD, MEAN, EACH, LESS) == ("none needed", "", "", {})
    assert step({**GOOD, "B3": 0.35}, MEAN, EACH, LESS)[0] == "none needed"  # stopped


def test_what_fails_without_stopping_asks_for_its_cause() -> None:
    found = step({**GOOD, "B1": 0.40, "B2": 0.41, "B3": 0.40}, MEAN)
    assert found[:3] == ("find the cause", "criterion:mean", "criterion-fails")


def test_hours_that_are_due_come_before_builds() -> None:
    word, rule, reason, takes = step(GOOD, MEAN, LESS, due=("B3",))
    assert (word, rule, reason) == ("run what is due", "criterion:mean", "")
    assert {name: takes[name] for name in HOURS} == HOURS
    assert takes["hours"] == 1.5  # three times half an hour
    assert 80 <= takes["chance"] <= 100


def test_builds_that_were_planned_are_the_fewest_there_can_be() -> None:
    word, _, _, takes = step(GOOD, MEAN, planned_builds=8)
    assert (word, takes["builds"] + takes["builds_reference"]) == ("build", 2.0)


def test_readings_of_an_open_cylinder_are_cheaper_than_builds() -> None:
    word, rule, _, takes = step({**GOOD, "B3": 0.239}, EACH, se=0.005)
    assert (word, rule, takes["builds"], takes["hours"]) == ("check", "criterion:each", 0.0, 0.0)
    assert takes["checks"] >= 1
    assert takes["chance"] >= 80


def test_a_build_that_was_run_on_or_taken_apart_cannot_be_read_again() -> None:
    for kind in ("teardown", "durability"):
        later = (Phase("later", "later", kind, 2),)
        found = step({**GOOD, "B3": 0.248}, EACH, se=0.005, later=later)
        assert found == ("none within twelve builds", "criterion:each", "cannot-be-read-again", {})


def test_a_missing_check_is_made_up_for_by_a_check() -> None:
    word, _, _, takes = step({**GOOD, "B3": None}, EACH)
    assert (word, takes["checks"], takes["builds"]) == ("check", 1.0, 0.0)
    later = (Phase("later", "teardown", "teardown", 2),)
    assert step({**GOOD, "B3": None}, EACH, later=later)[:3] == (
        "none within twelve builds", "criterion:each", "cannot-be-read-again",
    )  # fmt: skip


def test_a_lone_build_asks_for_more_with_a_chance_where_scatter_is_known() -> None:
    lone = {name: GOOD[name] for name in ("B1", "R1", "R2", "R3")}
    word, _, reason, takes = step(lone, LESS)
    assert (word, reason) == ("build", "")
    assert takes["builds"] >= 1
    assert takes["chance"] >= 80
    alone = step({name: GOOD[name] for name in ("B1", "R1")}, LESS)
    assert (alone[0], alone[3]["builds"], "chance" in alone[3]) == ("build", 1.0, False)


def test_none_within_twelve() -> None:
    wide = {"B1": 0.20, "B2": 0.32, "B3": 0.25, "R1": 0.21, "R2": 0.31, "R3": 0.26}
    found = step(wide, LESS)
    assert found == ("none within twelve builds", "criterion:less", "none-within-twelve", {})


def test_all_hold_and_the_look_is_still_to_come() -> None:
    word, _, _, takes = step(GOOD, MEAN, looks=(5, 9), planned_builds=9)
    assert (word, takes["builds"] + takes["builds_reference"]) == ("build", 3.0)
    assert step(GOOD, MEAN, looks=(5,)) == ("none within twelve builds", "", "look-not-reached", {})


def test_several_open_criteria_share_what_may_stay_open() -> None:
    levels = {"B1": 0.20, "B2": 0.24, "B3": 0.22, "R1": 0.27, "R2": 0.34, "R3": 0.29}
    easy = replace(MEAN, limit=0.26)
    one, both = (step(levels, *criteria)[3] for criteria in ((easy,), (easy, replace(easy, id="again"))))
    assert both["builds"] > one["builds"]  # each may stay open in one of ten, not in two
    assert min(one["chance"], both["chance"]) >= 80


# ---- the chances ----------------------------------------------------------------------------------------------------


def test_the_chance_is_that_of_a_simulation_with_a_library() -> None:
    """Two and two builds more on three and three, 1.5 sd apart: drawn build by build, tested with scipy's t-test."""
    rng = np.random.default_rng(3)
    own = np.array([-1.0, 0.0, 1.0]) + 1.5
    other = np.array([-1.0, 0.0, 1.0])
    hits, draws = 0, 3000
    for _ in range(draws):
        sd = math.sqrt(4 / rng.chisquare(4))
        mean, mean_other = 1.5 + sd / math.sqrt(3) * rng.normal(), sd / math.sqrt(3) * rng.normal()
        x = np.concatenate([own, mean + sd * rng.normal(size=2)])
        y = np.concatenate([other, mean_other + sd * rng.normal(size=2)])
        hits += stats.ttest_ind(x, y).pvalue < 0.05
    assert outlook.between_means(1.5, 1.0, 4, 3, 3, 2, 2, 0.05) == pytest.approx(hits / draws, abs=0.04)


def test_checks_of_one_cylinder_are_told_as_often_as_the_normal_law_says() -> None:
    """One value d standard errors below its limit, c further checks as exact (exact, from the normal distribution).

    The mean of 1 + c has error 1/√(1+c); today's error in the truth leaves it normal about d with variance c/(1+c).
    """
    for d, checks in ((0.5, 1), (1.0, 3), (1.5, 8)):
        found = outlook.of_units([Unit(-d, 1.0, math.inf, open=True)], 0.0, "at-most", 1, checks)
        edge, sd = 1.959964 / math.sqrt(1 + checks), math.sqrt(checks / (1 + checks))
        exact = stats.norm.cdf((-edge + d) / sd) + stats.norm.sf((edge + d) / sd)
        assert found == pytest.approx(exact, abs=0.03)


def test_a_new_cylinder_is_drawn_from_students_prediction() -> None:
    """Eight known: without error of reading the next always lies on one side, with some it is often not told."""
    known = [Unit(v, 1e-6, math.inf, open=False) for v in (0.9, 1.0, 1.1, 0.95, 1.05, 1.02, 0.98, 1.0)]
    assert outlook.of_units(known, 1.2, "at-most", 8, new=1) == pytest.approx(1.0, abs=0.001)
    coarse = [replace(unit, se=0.05) for unit in known]
    assert 0.3 < outlook.of_units(coarse, 1.1, "at-most", 8, new=1) < 0.7
    with pytest.raises(Refused, match="scatter-unknown"):
        outlook.of_units(known[:2], 1.2, "at-most", 8, new=1)


def test_every_reason_has_its_words() -> None:
    assert {"none-within-twelve", "scatter-unknown", next_step.GONE, *next_step.LONE} <= set(ANSWER)
