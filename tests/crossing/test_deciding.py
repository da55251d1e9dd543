"""Criteria: holds, fails or cannot tell yet, from intervals made by hand; what would decide, and whether it does."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy import stats

from crossing.factory import (
    AREA,
    GRADE,
    LOSS,
    MEASURES,
    PHASE,
    C,
    Case,
    D,
    R,
    below,
    case,
    judged,
    level_values,
    program,
    rows,
)
from sitegen.crossing import deciding
from sitegen.program.model import Criterion
from sitegen.reasons import ANSWER
from sitegen.vocabulary import Book, Measure, Result, Value, Verdict

LIMIT = 0.35
EIGHT = {"B1": (C,) * 4, "B2": (C,) * 4}
CELLS = [(build, n) for build in EIGHT for n in range(1, 5)]
Cells = Mapping[tuple[str, int], tuple[float, float]]


def criterion(sense: str = "at-most", scope: str = "every-cylinder", measure: Measure = AREA, **more: Any) -> Criterion:
    limit = more.pop("limit", None if sense.endswith("reference") else LIMIT)
    coatings = more.pop("coatings", (C,))
    return Criterion("c", "c", measure.id, PHASE, sense, scope, coatings, limit, **more)  # type: ignore[arg-type]


def over(cells: Cells, asked: Criterion, held: Mapping[str, tuple[str, ...]] = EIGHT, **more: Any) -> Case:
    """A program with cylinders of these values and standard errors."""
    fields = {each: more.pop(each) for each in ("df", "n", "se_common", "common") if each in more}
    values = level_values(program(held), C, cells, **fields)
    return judged(held, values, asked, **more)


def far(value: float = 0.25, se: float = 0.01) -> dict[tuple[str, int], tuple[float, float]]:
    return dict.fromkeys(CELLS, (value, se))


# ---- every cylinder -------------------------------------------------------------------------------------------------


def test_every_cylinder_within_holds() -> None:
    found = over(far(), criterion())
    assert (found.answer().word, found.answer().reason, found.answer().error_rate) == ("holds", "", 0.025)
    assert {each.word for each in found.units().values()} == {"holds"}
    assert len(found.units()) == 8


def test_one_cylinder_beyond_fails_all_and_is_named() -> None:
    found = over({**far(), ("B2", 3): (0.60, 0.01)}, criterion())
    assert (found.answer().word, found.answer().deciding) == ("fails", "probe.area@B2/3")
    assert {where: each.word for where, each in found.units().items() if each.word != "holds"} == {("B2", 3): "fails"}


@pytest.mark.parametrize(
    ("sense", "milder", "worst", "word"),
    [
        ("at-most", (0.60, 0.01), (0.70, 0.01), "fails"),
        ("at-most", (0.36, 0.02), (0.37, 0.02), "cannot tell yet"),
        ("at-least", (0.20, 0.01), (0.10, 0.01), "fails"),
        ("at-least", (0.34, 0.02), (0.33, 0.02), "cannot tell yet"),
    ],
)
def test_the_worst_of_those_that_decide_is_named(
    sense: str, milder: tuple[float, float], worst: tuple[float, float], word: str
) -> None:
    """Not the first of them: its number stands in the column "Worst", beside the worst seen."""
    well = far() if sense == "at-most" else far(0.5)
    found = over({**well, ("B1", 1): milder, ("B2", 3): worst, ("B2", 4): milder}, criterion(sense))
    assert (found.answer().word, found.answer().deciding) == (word, "probe.area@B2/3")
    assert found.answer().found == worst[0]


def test_an_interval_across_the_limit_cannot_tell() -> None:
    found = over({**far(), ("B1", 2): (0.34, 0.02)}, criterion())
    assert (found.answer().word, found.answer().reason) == ("cannot tell yet", "limit-in-interval")
    assert found.answer().deciding == "probe.area@B1/2"
    assert found.answer().error_rate is None


def test_holding_is_not_corrected_and_failing_is() -> None:
    """2.5 % of error a side: 1.97 errors below the limit hold, 2.7 above do not fail among eight.

    Bonferroni over eight: normal point at 5 %/8 two-sided, 2.7344 (scipy)."""
    holds = over({**far(), ("B1", 1): (LIMIT - 1.97 * 0.01, 0.01)}, criterion())
    assert holds.answer().word == "holds"
    bare = over({**far(), ("B1", 1): (LIMIT + 2.7 * 0.01, 0.01)}, criterion())
    assert bare.answer().word == "cannot tell yet"
    cut = stats.norm.ppf(1 - 0.025 / 8)
    assert cut == pytest.approx(2.7344, abs=1e-4)
    fails = over({**far(), ("B1", 1): (LIMIT + 1.01 * cut * 0.01, 0.01)}, criterion())
    assert fails.answer().word == "fails"


def test_it_is_held_against_the_cylinders_asked_for_not_only_those_read() -> None:
    """Three of eight read: one of them that would fail among three does not among eight."""
    cut = stats.norm.ppf(1 - 0.025 / 3)
    read = {("B1", 1): (LIMIT + (cut + 0.1) * 0.01, 0.01), ("B1", 2): (0.2, 0.01), ("B1", 3): (0.2, 0.01)}
    found = over(read, criterion())
    assert {each.adjusted_over for each in found.units().values()} == {8}
    assert found.answer().word == "cannot tell yet"


def test_few_degrees_of_freedom_widen_the_correction() -> None:
    """Student's t on 3 df: 3.18 at 5 % (table), 6.40 at 5 %/8 (scipy)."""
    cut = stats.t.ppf(1 - 0.025 / 8, 3)
    almost = over({**far(), ("B1", 1): (LIMIT + 0.99 * cut * 0.01, 0.01)}, criterion(), df=3)
    beyond = over({**far(), ("B1", 1): (LIMIT + 1.01 * cut * 0.01, 0.01)}, criterion(), df=3)
    assert (almost.answer().word, beyond.answer().word) == ("cannot tell yet", "fails")


def test_a_missing_cylinder_keeps_it_open_and_a_failing_one_decides_all_the_same() -> None:
    cells = far()
    del cells["B2", 4]
    found = over(cells, criterion())
    assert (found.answer().word, found.answer().reason) == ("cannot tell yet", "cylinders-missing")
    failing = over({**cells, ("B1", 1): (0.9, 0.01)}, criterion())
    assert failing.answer().word == "fails"


def test_a_build_to_come_is_told_from_one_that_lacks_a_value() -> None:
    half = {where: cell for where, cell in far().items() if where[0] == "B1"}
    assert over(half, criterion(), due=("B2",)).answer().reason == "to-come"
    assert over(half, criterion()).answer().reason == "cylinders-missing"
    del half["B1", 3]
    assert over(half, criterion(), due=("B2",)).answer().reason == "cylinders-missing"


def test_with_no_value_at_all() -> None:
    assert over({}, criterion(), due=("B1", "B2")).answer().reason == "to-come"
    assert over({}, criterion()).answer().reason == "cylinders-missing"
    absent = over({}, criterion(coatings=(D,)))
    assert (absent.answer(coating=D).word, absent.answer(coating=D).reason) == ("cannot tell yet", "no-reading")


def test_other_coatings_do_not_enter() -> None:
    held = {"B1": (C, R, C, R), "B2": (R, C, R, C)}
    of = program(held)
    cells = {where: (0.25 if of.build(where[0]).coating_of(where[1]) == C else 0.9, 0.01) for where in CELLS}
    values = [*level_values(of, C, cells), *level_values(of, R, cells)]
    found = judged(held, values, criterion())
    assert found.answer().word == "holds"
    assert len(found.units()) == 4


def test_at_least_is_the_mirror_of_at_most() -> None:
    cut = stats.norm.ppf(1 - 0.025 / 8)
    assert over(far(0.45), criterion("at-least")).answer().word == "holds"
    near = over({**far(0.45), ("B1", 1): (LIMIT - 2.7 * 0.01, 0.01)}, criterion("at-least"))
    # a ratio is widened on its logarithm: v·(high/v)^(cut/1.96) has to stay below the limit
    low, high = 0.25, LIMIT
    for _ in range(60):
        v = (low + high) / 2
        reached = v * ((v + 1.959963984540054 * 0.01) / v) ** (cut / 1.959963984540054) >= LIMIT
        low, high = (low, v) if reached else (v, high)
    beyond = over({**far(0.45), ("B1", 1): (low - 1e-4, 0.01)}, criterion("at-least"))
    almost = over({**far(0.45), ("B1", 1): (low + 1e-4, 0.01)}, criterion("at-least"))
    assert low < LIMIT - cut * 0.01  # further off than on the plain scale
    words = [each.answer().word for each in (near, almost, beyond)]
    assert words == ["cannot tell yet", "cannot tell yet", "fails"]


@pytest.mark.parametrize(
    ("sense", "limit", "word"),
    [
        ("at-most", 0.35, "holds"), ("at-most", 0.30, "holds"), ("at-most", 0.25, "cannot tell yet"),
        ("at-least", 0.35, "fails"), ("at-least", 0.30, "cannot tell yet"), ("at-least", 0.25, "cannot tell yet"),
    ],
)  # fmt: skip
def test_a_value_below_detection_says_what_its_limit_says(sense: str, limit: float, word: str) -> None:
    """Known only to lie below 0.30: within every limit from there on, and below every higher one."""
    asked = criterion(sense, limit=limit)
    of = program({"B1": (C,)}, criteria=(asked,))
    assert Case(of, below(of, AREA, "B1", 1, 0.30, 0.0)).answer().word == word


def test_a_measure_without_intervals_decides_nothing() -> None:
    of = program(EIGHT, criteria=(criterion(measure=GRADE, limit=2.0),))
    found = Case(of, rows(of, GRADE, {"B1": (1, 1, 1, 1), "B2": (1, 1, 1, 1)}))
    assert (found.answer().word, found.answer().reason) == ("cannot tell yet", "no-interval")


def test_one_cylinder_without_an_interval_does_not_hide_another_that_fails() -> None:
    values = level_values(program(EIGHT), C, {**far(), ("B2", 3): (0.9, 0.01)})
    values[0] = replace(values[0], low=None, high=None, se=None)
    found = judged(EIGHT, values, criterion())
    assert (found.answer().word, found.answer().deciding) == ("fails", "probe.area@B2/3")
    open_ = judged(EIGHT, values, criterion(limit=1.2))
    assert (open_.answer().word, open_.answer().reason) == ("cannot tell yet", "no-interval")
    assert open_.units()["B1", 1].reason == "no-interval"


def test_an_unbounded_end_decides_nothing_on_its_side() -> None:
    values = level_values(program(EIGHT), C, far())
    values[0] = replace(values[0], high=math.inf)
    assert judged(EIGHT, values, criterion()).answer().word == "cannot tell yet"
    values[0] = replace(values[0], value=0.9, low=0.8)
    assert judged(EIGHT, values, criterion()).answer().word == "fails"


def test_a_criterion_at_a_place_looks_there_only() -> None:
    values = level_values(program(EIGHT), C, far(0.9))
    elsewhere = [replace(value, key=value.key._replace(at="top")) for value in level_values(program(EIGHT), C, far())]
    assert judged(EIGHT, [*values, *elsewhere], criterion(at="top")).answer().word == "holds"


# ---- how often the word is wrong ------------------------------------------------------------------------------------


def test_how_often_a_word_is_wrong_is_what_it_says() -> None:
    """A thousand programs of four cylinders, all just at the limit: that one fails may be said in 2.5 of 100.

    Binomial: 40 of 1000 would be three standard deviations above. That all hold is hardly ever said."""
    chance = np.random.default_rng(3)
    held = {"B1": (C,) * 4}
    said = {"holds": 0, "fails": 0, "cannot tell yet": 0}
    for draw in chance.normal(LIMIT, 0.01, (1000, 4)):
        cells = {("B1", n): (float(value), 0.01) for n, value in enumerate(draw, start=1)}
        said[over(cells, criterion(), held).answer().word] += 1
    assert 10 <= said["fails"] <= 40  # and it is said at all
    assert said["holds"] == 0  # 0.025 to the power of four


# ---- what would decide ----------------------------------------------------------------------------------------------


def needed(found: Case) -> dict[tuple[str, int], Value]:
    return {value.key[:2]: value for value in found.given("criterion.readings_needed")}


def read(value: float, n: int, se_common: float, spread: float = 0.03) -> Case:
    """One cylinder, n readings: its own error goes with the root of their number, the tester's stays."""
    own = spread / math.sqrt(n)
    half = stats.norm.ppf(0.975) * math.hypot(own, se_common)
    key = program({"B1": (C,)}).build("B1").key(1, PHASE)
    made = Value(AREA.id, key, value, value - half, value + half, own, None, se_common, "tester:T1", n, "repeat")
    return judged({"B1": (C,)}, [made], criterion())


@pytest.mark.parametrize(("value", "word"), [(0.335, "holds"), (0.37, "fails"), (0.343, "holds")])
def test_as_many_readings_as_are_asked_for_do_decide(value: float, word: str) -> None:
    start = read(value, 4, 0.002)
    assert start.answer().word == "cannot tell yet"
    (asked,) = (int(each.value or 0) for each in needed(start).values())
    # what is decided is what is stored: an end that just clears the limit may be written as the limit itself
    assert word in {read(value, more, 0.002).answer().word for more in (asked, asked + 1)}
    assert read(value, asked + 1, 0.002).answer().word == word
    assert read(value, asked - 1, 0.002).answer().word == "cannot tell yet"
    assert asked > 4


def test_readings_that_would_make_a_cylinder_fail_are_enough_for_the_number_looked_at() -> None:
    """One of eight above the limit: what is asked for must pass the correction that "fails" is held against."""

    def with_readings(n: int) -> Case:
        return over({**far(), ("B1", 1): (0.36, 0.03 / math.sqrt(n))}, criterion(), n=n)

    (asked,) = (int(each.value or 0) for each in needed(with_readings(4)).values())
    assert with_readings(asked).answer().word == "fails"


def test_no_number_of_readings_helps_against_the_tester() -> None:
    (told,) = needed(read(0.345, 4, 0.03)).values()
    assert (told.status, told.reason) == ("refused", "common-error-reaches")
    assert "by itself" in ANSWER[told.reason]


def test_only_open_cylinders_are_told_how_many_readings_they_need() -> None:
    found = over({**far(), ("B1", 2): (0.34, 0.02), ("B2", 1): (0.9, 0.01)}, criterion())
    assert set(needed(found)) == {("B1", 2)}


# ---- worst seen -----------------------------------------------------------------------------------------------------


def worst(found: Case) -> dict[tuple[str, int], str]:
    return {
        each.key[:2]: each.word for each in found.decided() if isinstance(each, Verdict) and each.rule == "worst-seen:c"
    }


def test_the_worst_seen_comes_with_those_not_clearly_better() -> None:
    found = over({**far(), ("B1", 3): (0.30, 0.01), ("B2", 2): (0.29, 0.01)}, criterion())
    assert worst(found) == {("B1", 3): "worst seen", ("B2", 2): "not clearly better"}


def test_the_worst_of_an_at_least_criterion_is_the_lowest() -> None:
    found = over({**far(0.5), ("B1", 3): (0.40, 0.01)}, criterion("at-least"))
    assert worst(found) == {("B1", 3): "worst seen"}


def test_where_one_lies_below_detection_no_other_is_named_worst_of_an_at_least_criterion() -> None:
    of = program(EIGHT, criteria=(criterion("at-least", limit=0.1),))
    values = {(value.measure, value.key): value for value in level_values(of, C, far())}
    found = Case(of, {**values, **below(of, AREA, "B1", 1, 0.05, 0.0)})
    assert found.answer().word == "fails"
    assert worst(found) == {}


# ---- every build ----------------------------------------------------------------------------------------------------


def test_every_build_takes_means_of_cylinders_with_their_common_error() -> None:
    """Mean of four with standard error s/2 of its own; what the tester shares stays whole."""
    se, shared = 0.02, 0.015
    half = stats.norm.ppf(0.975) * math.hypot(se / 2, shared)
    for distance, word in ((1.01, "holds"), (0.99, "cannot tell yet")):
        cells = dict.fromkeys(CELLS, (LIMIT - distance * half, se))
        found = over(cells, criterion(scope="every-build"), se_common=shared, common="tester:T1")
        assert found.answer().word == word
    assert set(found.units()) == {("B1", 0), ("B2", 0)}
    assert {each.adjusted_over for each in found.units().values()} == {2}


def test_cylinders_read_with_two_testers_share_less() -> None:
    """Two of four with each: the common error of the mean is less by the root of two."""
    values = level_values(program(EIGHT), C, far(0.30, 0.001), se_common=0.03)
    two = [replace(value, common=f"tester:T{value.key.cylinder % 2}") for value in values]
    one = [replace(value, common="tester:T1") for value in values]
    asked = criterion(scope="every-build", limit=0.30 + 1.96 * 0.025)
    assert judged(EIGHT, one, asked).answer().word == "cannot tell yet"
    assert judged(EIGHT, two, asked).answer().word == "holds"


def test_a_build_may_hold_though_one_of_its_cylinders_does_not() -> None:
    cells = {**far(), ("B1", 1): (0.45, 0.01)}
    assert over(cells, criterion(scope="every-build")).answer().word == "holds"
    assert over(cells, criterion()).answer().word == "fails"


def test_a_build_below_detection_counts_with_its_limits_and_the_upper_ends_of_the_rest() -> None:
    """Three cylinders at 0.40 and one below 0.10: a mean of at most (3 · upper end + 0.10)/4."""
    of = program({"B1": (C,) * 4}, criteria=(criterion(scope="every-build"),))

    def found(se: float) -> Case:
        values = level_values(of, C, {("B1", n): (0.40, se) for n in (2, 3, 4)})
        made = {(value.measure, value.key): value for value in values}
        return Case(of, {**made, **below(of, AREA, "B1", 1, 0.10, 0.0)})

    assert found(0.01).answer().word == "holds"
    assert found(0.05).answer().word == "cannot tell yet"  # (3 · 0.498 + 0.1)/4 = 0.398


def test_a_build_with_a_cylinder_missing_is_not_decided() -> None:
    cells = far()
    del cells["B1", 2]
    found = over(cells, criterion(scope="every-build"))
    assert (found.answer().word, found.answer().reason) == ("cannot tell yet", "cylinders-missing")


MOVING = replace(AREA, occasion="probe.moved")
MOVED = replace(AREA, id="probe.moved", compare="", shared="")


def on_an_occasion(cells: Mapping[tuple[str, int], tuple[float, float]], moved: float, scope: str) -> Case:
    """Values with what their occasion may have moved them, half-width."""
    of = program(EIGHT, criteria=(criterion(scope=scope),))
    values = level_values(of, C, cells, MOVING)
    halves = [Value(MOVED.id, value.key, moved) for value in values]
    return Case(of, {(value.measure, value.key): value for value in (*values, *halves)})


def all_of(made: Case) -> list[Result]:
    measures = {**MEASURES, AREA.id: MOVING, MOVED.id: MOVED}
    found = deciding.decided(made.program, measures, Book(made.rows, measures), ())
    return [each for each in found if not isinstance(each, deciding.Means | deciding.Units)]


def answered(made: Case) -> dict[tuple[str, int], Verdict]:
    return {each.key[:2]: each for each in all_of(made) if isinstance(each, Verdict) and each.rule == "criterion:c"}


@pytest.mark.parametrize(("scope", "own"), [("every-cylinder", 1.0), ("every-build", 0.5)])
def test_what_an_occasion_does_widens_what_decides(scope: str, own: float) -> None:
    """In quadrature with the error of a cylinder, or with that of a mean of four; the occasion moves all four alike."""
    se, moved = 0.01, 0.03
    half = math.hypot(own * stats.norm.ppf(0.975) * se, moved)
    for distance, word in ((1.01, "holds"), (0.99, "cannot tell yet")):
        made = on_an_occasion(dict.fromkeys(CELLS, (LIMIT - distance * half, se)), moved, scope)
        assert answered(made)["", 0].word == word
    made = on_an_occasion(dict.fromkeys(CELLS, (LIMIT - 0.5 * half, se)), 0.0, scope)
    assert answered(made)["", 0].high == pytest.approx(LIMIT - 0.5 * half + own * 1.96 * se, abs=1e-4)


def test_readings_of_the_same_check_do_not_lessen_what_its_occasion_did() -> None:
    made = on_an_occasion(dict.fromkeys(CELLS, (LIMIT - 0.02, 0.01)), 0.03, "every-cylinder")
    needed = [each for each in all_of(made) if isinstance(each, Value)]
    assert {each.reason for each in needed} == {"common-error-reaches"}


@pytest.mark.parametrize("scope", ["every-cylinder", "every-build", "mean-of-builds"])
def test_nothing_holds_while_planned_builds_are_not_listed(scope: str) -> None:
    made = case(HELD, LEVELS, criteria=(criterion(scope=scope, limit=5.0),), se=0.01, low=0.2, high=0.4)
    assert made.answer().word == "holds"
    found = made.with_(planned_builds=5).answer()
    assert (found.word, found.reason) == ("cannot tell yet", "builds-to-come")


def test_what_fails_fails_though_builds_are_to_come() -> None:
    made = case(HELD, LEVELS, criteria=(criterion(limit=0.1),), se=0.01, low=0.2, high=0.4, planned_builds=5)
    assert made.answer().word == "fails"


# ---- the mean of builds ---------------------------------------------------------------------------------------------

LEVELS = {"B1": (0.28, 0.30), "B2": (0.25, 0.27), "B3": (0.30, 0.33)}
HELD = dict.fromkeys(LEVELS, (C, C))


def mean_of(limit: float, sense: str = "at-most", **more: Any) -> Case:
    of = program(HELD, criteria=(criterion(sense, "mean-of-builds", limit=limit),), **more)
    return Case(of, rows(of, AREA, {b: v for b, v in LEVELS.items() if b not in more.get("due", ())}))


def ends(values: Sequence[float]) -> tuple[float, float]:
    """95 % interval of a mean by one-sample t (scipy)."""
    half = float(stats.t.ppf(0.975, len(values) - 1) * stats.sem(values))
    return float(np.mean(values)) - half, float(np.mean(values)) + half


def test_the_typical_build_has_the_scatter_between_builds_on_the_logarithms() -> None:
    """It holds by the geometric mean, and fails where the arithmetic one fails too."""
    low, high = np.exp(ends([float(np.mean(np.log(values))) for values in LEVELS.values()]))
    least, most = ends([float(np.mean(values)) for values in LEVELS.values()])
    assert least < low < high
    assert most < high
    assert mean_of(high * 1.002).answer().word == "holds"
    assert mean_of(high * 0.998).answer().word == "cannot tell yet"
    assert mean_of(least * 1.002).answer().word == "cannot tell yet"
    assert mean_of(least * 0.998).answer().word == "fails"
    assert mean_of(low * 0.998, "at-least").answer().word == "holds"
    assert mean_of(high * 0.998, "at-least").answer().word == "cannot tell yet"
    assert mean_of(high * 1.002, "at-least").answer().word == "fails"
    found = mean_of(high).answer()
    assert found.route == "typical-at-most"
    assert found.found == pytest.approx(float(np.exp(np.mean(np.log(list(LEVELS.values()))))), abs=1e-3)


def test_the_arithmetic_end_stands_where_it_lies_farther_on_the_side_of_failing() -> None:
    """One build far above: the logarithms put an end above to "at least" nearer than the plain mean does."""
    levels = {"B1": (0.9, 0.9), "B2": (1.0, 1.0), "B3": (0.2, 0.2)}
    plain, logs = ends([0.9, 1.0, 0.2]), np.exp(ends(np.log([0.9, 1.0, 0.2]).tolist()))
    assert max(plain[0], 0.0) < logs[0]
    of = program(HELD, criteria=(criterion("at-most", "mean-of-builds", limit=logs[0] / 2),))
    found = Case(of, rows(of, AREA, levels)).answer()
    assert (found.word, found.low) == ("cannot tell yet", 0.0)
    assert found.high == pytest.approx(logs[1], rel=0.01)


def test_the_mean_of_what_is_no_ratio_or_not_positive_stays_the_plain_one() -> None:
    low, high = ends([float(np.mean(values)) for values in LEVELS.values()])
    for limit, word in ((high * 1.002, "holds"), (high * 0.998, "cannot tell yet"), (low * 0.998, "fails")):
        of = program(HELD, criteria=(criterion(scope="mean-of-builds", limit=limit, measure=LOSS),))
        found = Case(of, rows(of, LOSS, LEVELS)).answer()
        assert (found.word, found.route) == (word, "at-most")
    of = program(HELD, criteria=(criterion(scope="mean-of-builds", limit=1.0),))
    found = Case(of, rows(of, AREA, {**LEVELS, "B1": (0.0, 0.3)})).answer()
    assert (found.word, found.route) == ("holds", "at-most")


def test_the_mean_waits_for_the_builds_that_were_asked_for() -> None:
    found = mean_of(5.0, due=("B3",))
    assert (found.answer().word, found.answer().reason) == ("cannot tell yet", "to-come")


def test_the_mean_of_one_build_says_nothing() -> None:
    of = program({"B1": (C, C)}, criteria=(criterion(scope="mean-of-builds"),))
    found = Case(of, rows(of, AREA, {"B1": (0.1, 0.1)}))
    assert (found.answer().word, found.answer().reason) == ("cannot tell yet", "one-build")


def test_the_mean_of_builds_that_all_came_out_alike_says_nothing() -> None:
    of = program(HELD, criteria=(criterion(scope="mean-of-builds"),))
    found = Case(of, rows(of, AREA, dict.fromkeys(HELD, (0.3, 0.3))))
    assert (found.answer().word, found.answer().reason) == ("cannot tell yet", "no-scatter-at-all")


def test_the_mean_does_not_borrow_scatter_from_what_cannot_be_read() -> None:
    """Another coating, all below detection, would stand at its limit and lend a scatter of nought on 2 df more.

    3.5 standard errors from the limit do not decide on 2 df (4.30), but would on 4 with half the scatter."""
    held = {**HELD, "R1": (R, R), "R2": (R, R), "R3": (R, R)}
    means = [float(np.mean(values)) for values in LEVELS.values()]
    limit = float(np.mean(means) + 3.5 * stats.sem(means))
    of = program(held, criteria=(criterion(scope="mean-of-builds", limit=limit, measure=LOSS),))
    made = rows(of, LOSS, LEVELS)
    for build in ("R1", "R2", "R3"):
        for n in (1, 2):
            made |= below(of, LOSS, build, n, 0.5, 0.0)
    assert Case(of, made).answer().word == "cannot tell yet"


def test_a_mean_with_values_below_detection_is_refused() -> None:
    of = program(HELD, criteria=(criterion(scope="mean-of-builds"),))
    found = Case(of, {**rows(of, AREA, LEVELS), **below(of, AREA, "B1", 1, 0.1)})
    assert found.answer().reason == "below-detection-in-mean"


def test_builds_needed_is_a_range_about_what_a_simulation_finds() -> None:
    """With the scatter taken as true, a number inside the range decides four times in five (10 000 draws)."""
    limit = 0.34
    found = mean_of(limit)
    assert found.answer().reason == "limit-in-interval"
    (value,) = found.given("criterion.builds_needed")
    assert value.low is not None
    assert value.high is not None
    means = np.array([np.mean(np.log(values)) for values in LEVELS.values()])
    sd, distance = float(means.std(ddof=1)), math.log(limit) - float(means.mean())
    chance = np.random.default_rng(8)
    enough = 0
    for n in range(2, 40):
        draws = chance.normal(-distance, sd, (10_000, n))
        high = draws.mean(axis=1) + stats.t.ppf(0.975, n - 1) * draws.std(axis=1, ddof=1) / math.sqrt(n)
        if (high <= 0).mean() >= 0.8:
            enough = n
            break
    assert enough > 3
    assert value.low <= enough <= value.high
    ends = [sd * math.sqrt(2 / stats.chi2.ppf(share, 2)) for share in (0.9, 0.1)]  # two-sided 80 % limits
    assert (value.low, value.high) == tuple(_builds(distance / end) for end in ends)
    assert value.n == 3


def _builds(d: float) -> float:
    """Builds that find a mean d standard deviations from its limit: noncentral t (scipy); unbounded beyond sixty."""
    for n in range(2, 61):
        if stats.nct.sf(stats.t.ppf(0.975, n - 1), n - 1, d * math.sqrt(n)) >= 0.8:
            return float(n)
    return math.inf


def test_no_builds_are_asked_for_where_it_is_decided() -> None:
    assert mean_of(5.0).given("criterion.builds_needed") == []


# ---- against the reference ------------------------------------------------------------------------------------------

SIX = {"B1": (R, R), "B2": (C, C), "B3": (R, R), "B4": (C, C), "B5": (C, C), "B6": (R, R)}
APART = {
    "B1": (0.33, 0.34), "B2": (0.25, 0.26), "B3": (0.30, 0.31), "B4": (0.27, 0.28), "B5": (0.24, 0.25),
    "B6": (0.35, 0.36),
}  # fmt: skip


def against(sense: str, numbers: Mapping[str, tuple[float, ...]] = APART, **more: Any) -> Case:
    held = more.pop("held", SIX)
    return case(held, numbers, criteria=(criterion(sense, "mean-of-builds"),), **more)


def test_below_the_reference_holds_where_the_interval_lies_below() -> None:
    assert against("below-reference").answer().word == "holds"
    assert against("above-reference").answer().word == "fails"
    assert against("below-reference").answer().adjusted_over == 1


def test_an_interval_across_no_difference_cannot_tell_and_says_what_it_would_take() -> None:
    close = {**APART, "B2": (0.33, 0.34), "B4": (0.30, 0.31), "B5": (0.29, 0.28)}
    found = against("below-reference", close)
    assert (found.answer().word, found.answer().reason) == ("cannot tell yet", "no-difference-in-interval")
    (value,) = found.given("criterion.builds_needed")
    assert value.low is not None
    assert value.high is not None
    assert 3 < value.low < value.high  # three of each did not tell


def test_before_all_builds_are_in_it_does_not_hold() -> None:
    early = against("below-reference", planned_builds=8)
    assert (early.answer().word, early.answer().reason) == ("cannot tell yet", "builds-to-come")
    waiting = against("below-reference", {b: v for b, v in APART.items() if b != "B6"}, due=("B6",))
    assert (waiting.answer().word, waiting.answer().reason) == ("cannot tell yet", "to-come")


def test_a_borrowed_scatter_does_not_decide() -> None:
    held = {"B1": (R, R), "B2": (C, C), "B3": (R, R)}
    found = against("below-reference", {"B1": (0.9, 0.9), "B2": (0.01, 0.01), "B3": (0.91, 0.9)}, held=held)
    assert (found.answer().word, found.answer().reason) == ("cannot tell yet", "one-build")


def test_a_refused_comparison_hands_its_reason_on() -> None:
    held = {"B1": (R, R), "B2": (C, C)}
    found = against("below-reference", {"B1": (0.9, 0.9), "B2": (0.01, 0.01)}, held=held)
    assert (found.answer().word, found.answer().reason) == ("cannot tell yet", "build-and-coating")


def test_a_decision_against_the_reference_is_that_of_the_comparison() -> None:
    """Two candidates: the word uses the interval widened for both, and says so."""
    held = {**SIX, "B7": (D, D), "B8": (D, D)}
    numbers = {**APART, "B7": (0.36, 0.37), "B8": (0.39, 0.38)}
    made = case(
        held, numbers, candidates=(C, D), criteria=(criterion("below-reference", "mean-of-builds", coatings=(C, D)),)
    )
    for coating in (C, D):
        row, answer = made.of(coating), made.answer(coating=coating)
        expected = {"better": "holds", "worse": "fails", "cannot tell": "cannot tell yet"}[row.verdict]
        assert (answer.word, answer.adjusted_over) == (expected, 2)


def test_an_end_rule_changes_nothing_in_the_decision() -> None:
    cells = {**far(), ("B2", 3): (0.60, 0.01)}
    one, other = (over(cells, criterion(end_rule=rule)).answer() for rule in (True, False))
    assert one == other


def test_every_reason_has_its_wording() -> None:
    found = [over(far(0.34, 0.02), criterion()), mean_of(0.34), against("below-reference", planned_builds=9)]
    reasons = {
        each.reason for made in found for each in made.decided() if isinstance(each, Verdict | Value) and each.reason
    }
    assert len(reasons) >= 2
    assert reasons <= set(ANSWER)
