"""Every build of a coating over programs, and the interval of the next one."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import fmean

import numpy as np
import pytest
from scipy import stats

from crossing.factory import AREA, FLOW, LOSS, MEASURES, C, Case, R, below, case, program, whole
from sitegen.crossing.history import History, histories
from sitegen.crossing.subjects import ALIKE, alike
from sitegen.program.model import Program
from sitegen.vocabulary import Comparison, Key, Value


@dataclass(frozen=True)
class Analysed:
    program: Program
    values: Mapping[tuple[str, Key], Value]
    comparisons: Sequence[Comparison]
    results_id: str
    stand: str = ""


def analysed(made: Case, name: str = "probe", results: str = "abc1234") -> Analysed:
    return Analysed(replace(made.program, id=name), made.rows, made.every(), results)


HELD = {"B1": (R, R), "B2": (C, C), "B3": (R, R), "B4": (C, C)}
NUMBERS = {"B1": (0.30, 0.32), "B2": (0.24, 0.25), "B3": (0.33, 0.35), "B4": (0.27, 0.22)}


def of(coating: str, *every: Analysed) -> History:
    (found,) = (each for each in histories(every, MEASURES)[coating] if each.subject.measure == AREA.id)
    return found


def test_each_build_is_a_point_with_where_it_comes_from() -> None:
    later = {"N1": (C, C), "N2": (R, R)}
    found = of(
        C,
        analysed(case(HELD, NUMBERS, flags=frozenset({"path-unknown"})), "first", "1111111"),
        analysed(case(later, {"N1": (0.26, 0.28), "N2": (0.30, 0.34)}), "second", "2222222"),
    )
    assert [(p.program, p.build, p.results, p.cylinders, p.mixed) for p in found.points] == [
        ("first", "B2", "1111111", 2, False),
        ("first", "B4", "1111111", 2, False),
        ("second", "N1", "2222222", 2, False),
    ]  # fmt: skip
    assert [p.value for p in found.points] == pytest.approx(
        [math.sqrt(0.24 * 0.25), math.sqrt(0.27 * 0.22), math.sqrt(0.26 * 0.28)]  # as in comparisons
    )
    assert found.points[0].flags == {"path-unknown"}
    assert found.points[2].flags == frozenset()


def test_the_next_build_by_hand() -> None:
    """Mean and t(n - 1)·s·sqrt(1 + 1/n) of logarithms.

    G. J. Hahn and W. Q. Meeker, Statistical intervals (1991), section 4.7."""
    held = {f"B{n}": (C, C) if n else (R, R) for n in range(5)}
    numbers = {f"B{n}": (v, v) for n, v in enumerate((0.31, 0.24, 0.29, 0.26, 0.22))}
    found = of(C, analysed(case(held, numbers)))
    logs = np.log([0.24, 0.29, 0.26, 0.22])
    half = stats.t.ppf(0.975, 3) * logs.std(ddof=1) * math.sqrt(1 + 1 / 4)
    assert (found.low, found.mean, found.high) == pytest.approx(
        tuple(np.exp([logs.mean() - half, logs.mean(), logs.mean() + half]))
    )


def test_a_difference_measure_is_predicted_in_its_unit() -> None:
    made = case(HELD, {b: tuple(10 * v for v in values) for b, values in NUMBERS.items()}, LOSS)
    (found,) = histories([analysed(made)], MEASURES)[R]
    means = [fmean((3.0, 3.2)), fmean((3.3, 3.5))]
    half = stats.t.ppf(0.975, 1) * np.std(means, ddof=1) * math.sqrt(1.5)
    assert (found.low, found.high) == pytest.approx((np.mean(means) - half, np.mean(means) + half))


def test_one_build_gives_no_range() -> None:
    found = of(C, analysed(case({"B1": (R, R), "B2": (C, C)}, {"B1": (0.3, 0.3), "B2": (0.2, 0.2)})))
    assert len(found.points) == 1
    assert (found.mean, found.low, found.high, found.reason) == (None, None, None, "one-build")


def test_a_build_with_a_cylinder_missing_is_left_out() -> None:
    """The mean over other cylinders is another quantity."""
    found = of(C, analysed(case(HELD, {**NUMBERS, "B4": (0.27, None)})))
    assert [point.build for point in found.points] == ["B2"]
    made = case(HELD, NUMBERS)
    censored = Case(made.program, {**made.rows, **below(made.program, AREA, "B4", 2, 0.1)})
    assert [point.build for point in of(C, analysed(censored)).points] == ["B2"]


def test_mixed_engines_are_marked_and_whole_when_their_own_cylinders_are() -> None:
    held = {"B1": (R, C, R, C), "B2": (C, R, C, R), "B3": (R, C, C, R)}
    numbers = dict.fromkeys(held, (0.3, 0.25, 0.31, 0.26))
    found = of(C, analysed(case(held, {**numbers, "B2": (0.2, None, 0.3, 0.31)})))
    assert [(point.build, point.mixed, point.cylinders) for point in found.points] == [
        ("B1", True, 2), ("B2", True, 2), ("B3", True, 2),
    ]  # fmt: skip
    assert found.points[0].value == pytest.approx(math.sqrt(0.25 * 0.26))


def test_a_measure_of_whole_engines_has_no_cylinders() -> None:
    flows = {"B1": 14.0, "B2": 11.0, "B3": 15.5, "B4": 12.5}
    of_engines = program(HELD, primary_measure=FLOW.id)
    (found,) = histories([analysed(Case(of_engines, whole(of_engines, FLOW, flows)))], MEASURES)[C]
    assert [(point.value, point.cylinders) for point in found.points] == [(11.0, 0), (12.5, 0)]


def test_points_come_in_the_order_of_building() -> None:
    held = {"Z9": (C, C), "B1": (R, R), "M5": (C, C), "A1": (C, C), "B2": (R, R)}
    made = case(held, dict.fromkeys(held, (0.25, 0.3)))
    builds = tuple(replace(build, order=9 - build.order) for build in made.program.builds[::-1])
    turned = replace(made.program, builds=builds)
    assert [point.build for point in of(C, analysed(Case(turned, made.rows))).points] == ["Z9", "M5", "A1"]


def test_values_in_other_phases_or_left_out_ones_are_no_points() -> None:
    made = case(HELD, NUMBERS)
    extra = {}
    for (measure, key), value in made.rows.items():
        excluded = key._replace(at="with:a:1")
        extra[measure, excluded] = replace(value, key=excluded, status="excluded", value=9.0)
        cold = key._replace(phase="cold")
        extra[measure, cold] = replace(value, key=cold, value=9.0)
    found = of(C, analysed(Case(made.program, {**extra, **made.rows})))
    assert max(point.value for point in found.points) < 1


def test_what_one_program_compares_is_looked_up_in_all() -> None:
    """A measure that only the second program compares gives points of the first too."""
    first, second = case(HELD, NUMBERS), case(HELD, NUMBERS, LOSS)
    losses = {(LOSS.id, key): replace(value, measure=LOSS.id) for (_, key), value in first.rows.items()}
    both = Case(replace(first.program, also=()), {**first.rows, **losses})
    found = histories([analysed(both, "first"), analysed(second, "second")], MEASURES)[C]
    of_loss = next(each for each in found if each.subject.measure == LOSS.id)
    assert {point.program for point in of_loss.points} == {"first", "second"}


def km(made: Case, **ran: float) -> Case:
    """How far each build ran until the phase its values are of."""
    phase = next(key.phase for _, key in made.rows)
    rows = {}
    for build, distance in ran.items():
        key = made.program.build(build).key(phase=phase)
        rows["exposure.km", key] = Value("exposure.km", key, distance)
    return Case(made.program, {**made.rows, **rows})


GROWS = {**MEASURES, AREA.id: replace(AREA, grows=True)}


def test_builds_that_ran_another_distance_are_shown_and_not_judged_by() -> None:
    held = {f"B{n}": (C, C) if n else (R, R) for n in range(5)}
    numbers = {f"B{n}": (v, v) for n, v in enumerate((0.31, 0.24, 0.29, 0.26, 0.11))}
    made = km(case(held, numbers), B0=880, B1=886, B2=886, B3=860, B4=22)
    (found,) = (each for each in histories([analysed(made)], GROWS)[C] if each.subject.measure == AREA.id)
    assert [(point.build, point.km) for point in found.points] == [("B1", 886), ("B2", 886), ("B3", 860)]
    assert [(point.build, point.km) for point in found.apart] == [("B4", 22)]
    logs = np.log([0.24, 0.29, 0.26])
    half = stats.t.ppf(0.975, 2) * logs.std(ddof=1) * math.sqrt(1 + 1 / 3)
    assert (found.low, found.high) == pytest.approx(tuple(np.exp([logs.mean() - half, logs.mean() + half])))
    whatever = of(C, analysed(made))  # of a measure that does not grow with the distance all builds are judged by
    assert (len(whatever.points), whatever.apart) == (4, ())


def test_builds_that_lack_a_cylinder_are_named() -> None:
    found = of(C, analysed(case(HELD, {**NUMBERS, "B4": (0.27, None)}), "first"))
    assert found.lacking == (("first", "B4"),)
    assert of(C, analysed(case(HELD, NUMBERS))).lacking == ()


def test_builds_that_ran_alike_are_the_largest_group_of_all() -> None:
    """Against trying every group, as it is defined; whole numbers, so that groups are as large as others."""
    draws = np.random.default_rng(4)
    for count in range(40):
        ran = {f"B{n}": float(km) for n, km in enumerate(draws.integers(5, 14, count % 9))}
        groups = [[name for name, km in ran.items() if least <= km <= ALIKE * least] for least in ran.values()]
        every = max(groups, key=lambda group: (len(group), sum(ran[name] for name in group)), default=[])
        assert alike(ran) == every
