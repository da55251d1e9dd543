"""What a program can find and how many builds it takes, against scipy's noncentral t and published sizes of groups."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy import stats
from scipy.optimize import brentq

from crossing.factory import AREA, GAIN, LOSS, MEASURES, C, D, R, case, program
from sitegen.crossing import allocation, planning
from sitegen.declarations import Smallest, Stream
from sitegen.methods import power
from sitegen.methods.contrasts import contrast
from sitegen.methods.design import Spot, recognise
from sitegen.page import words
from sitegen.pages import plan as told
from sitegen.vocabulary import Comparison, Key, Value

EVEN = {f"B{n}": (R, C)[n % 2 :][:1] * 4 for n in range(6)}


def power_of(shift: float, df: float, error: float = 0.05) -> float:
    """On the side of the difference; on the other it is below one in a million at a power of 80 %."""
    return float(stats.nct.sf(stats.t.ppf(1 - error / 2, df), df, shift))


def found_at(df: float, factor: float, error: float = 0.05) -> float:
    """Difference in standard deviations that a two-sided t test finds with a power of 80 %."""
    return factor * float(brentq(lambda shift: power_of(shift, df, error) - 0.8, 0.5, 15, xtol=1e-10))


def planned(of: Any = None, comparisons: tuple[Comparison, ...] = (), **more: Any) -> planning.Planning:
    return planning.plan(program(EVEN) if of is None else of, (), MEASURES, comparisons, **more)


def row(se: float, df: float, **more: Any) -> Comparison:
    given = {"design": "whole builds", "procedure": "pooled", "builds": 3, "builds_reference": 3, **more}
    return Comparison(AREA.id, "pulls", "", C, R, "primary", "ratio", estimate=0.8, se=se, df=df, **given)


# ---- what is found --------------------------------------------------------------------------------------------------


def test_three_and_three_builds_find_three_scatters_and_six_and_six_less_than_two() -> None:
    """Noncentral t, power 0.8: 3.07 standard deviations (J. Cohen 1988, ch. 2; R's power.t.test).

    Six and six: 1.80 by Student's t; the comparison makes Welch's, whose degrees of freedom come out at 10·6/7.
    """
    three = planned(typed={LOSS.id: 1.0}, builds=6).reaches[0]
    six = planned(typed={LOSS.id: 1.0}, builds=12).reaches[0]
    assert three.found == pytest.approx(3.07, abs=0.005)
    assert six.found == pytest.approx(found_at(60 / 7, math.sqrt(1 / 3)), rel=1e-6)
    assert six.found == pytest.approx(1.83, abs=0.005)
    assert three.found == pytest.approx(found_at(4, math.sqrt(2 / 3)), rel=1e-6)
    assert three.found_at_worst == three.found  # typed in: taken as known


def test_a_ratio_is_found_on_the_logarithms() -> None:
    reach = planned(typed={AREA.id: 0.08}).reaches[0]
    assert reach.found == pytest.approx(math.expm1(0.08 * found_at(4, math.sqrt(2 / 3))), rel=1e-6)


def two(count: int, *counts: int, **more: Any) -> planning.Planning:
    """A plan for so many builds of the reference and of two candidates, with a scatter of one."""
    number = dict(zip((R, C, D), (count, *counts), strict=True))
    held = {f"{coating}{n}": (coating,) for coating, builds in number.items() for n in range(builds)}
    return planned(program(held, candidates=(C, D), **more), typed={LOSS.id: 1.0})


def test_two_candidates_share_the_error_as_dunnett_does() -> None:
    """C. W. Dunnett, Biometrics 20 (1964) 482: two treatments on 6 df, two-sided 5 %: 2.86."""
    reach = two(3, 3, 3, primary_measure=LOSS.id).reaches
    assert [each.candidate for each in reach] == [C, D]
    error = 2 * stats.t.sf(2.86, 6)
    assert [each.found for each in reach] == pytest.approx([found_at(6, math.sqrt(2 / 3), error)] * 2, rel=2e-3)


@pytest.mark.parametrize("counts", [(3, 3, 3), (3, 3, 2), (5, 5, 5), (4, 8, 4)])
def test_what_two_candidates_are_told_to_find_they_find_four_times_in_five(counts: tuple[int, int, int]) -> None:
    """40 000 programs; the cut is that of the largest |t| of both without a difference, else Welch's and Bonferroni's.

    On the degrees of freedom of the pooled scatter five of each find it in 76 %, four and eight in 68 %.
    """
    reach = two(*counts, primary_measure=LOSS.id).reaches
    names = [coating for coating, count in zip((R, C, D), counts, strict=True) for _ in range(count)]
    spots = [Spot(f"B{n}", f"B{n}", n, 1, coating) for n, coating in enumerate(names)]
    noise = np.random.default_rng(20260112).standard_normal((len(spots), 40_000))
    without = {each: contrast(recognise(spots, each, R), spots, noise, each, R) for each in (C, D)}
    largest = np.max([np.abs(each.estimate / each.se) for each in without.values()], axis=0)
    for each in reach:
        assert each.found is not None
        y = noise + each.found * np.array([[float(name == each.candidate)] for name in names])
        made = contrast(recognise(spots, each.candidate, R), spots, y, each.candidate, R)
        pooled = made.procedure == "pooled"
        cut = np.quantile(largest, 0.95) if pooled else stats.t.ppf(1 - 0.025 / 2, made.df)
        assert pooled == (min(counts) < 4)
        power = (np.abs(made.estimate) > cut * made.se).mean()
        assert power == pytest.approx(0.8, abs=0.015)


def test_exploratory_measures_share_the_error_once_more() -> None:
    """Two looked at besides the primary; those to be offered count where nothing was compared yet."""
    rows = [
        replace(row(0.05, 4), measure=LOSS.id, scale="difference", role="exploratory", at=ring)
        for ring in ("top", "second")
    ]
    found = {(each.measure.id, each.at): each for each in planned(comparisons=(row(0.05, 4), *rows)).reaches}
    step = {share: found_at(4, math.sqrt(2 / 3), 0.05 / share) for share in (1, 2)}
    sd = 0.05 / math.sqrt(2 / 3)
    assert found[AREA.id, ""].found == pytest.approx(math.expm1(sd * step[1]), rel=1e-6)
    assert [found[LOSS.id, ring].found for ring in ("top", "second")] == pytest.approx([sd * step[2]] * 2, rel=1e-6)
    (first,) = planned(program(EVEN, primary_measure=GAIN.id), typed={LOSS.id: 1.0}).reaches
    assert first.found == pytest.approx(step[2], rel=1e-6)  # area and loss are offered


def test_rings_are_planned_apart_and_named() -> None:
    """Each ring with its own scatter; one typed in holds for all of them."""
    known = [
        replace(row(se, 4), measure=LOSS.id, scale="difference", role="exploratory", at=ring)
        for ring, se in (("top", 0.5), ("second", 0.1))
    ]
    plan = planned(comparisons=(row(0.05, 4), *known))
    sds = {each.at: each.scatter.sd for each in plan.reaches if each.measure is LOSS}
    assert sds == pytest.approx({"top": 0.5 / math.sqrt(2 / 3), "second": 0.1 / math.sqrt(2 / 3)})
    notes = [line.cells[0].note for line in told.reach(plan).rows]
    assert notes == ["after four pulls, primary", "top, after four pulls", "second, after four pulls"]
    typed = planned(comparisons=(row(0.05, 4), *known), typed={LOSS.id: 0.7})
    assert {each.at: each.scatter.sd for each in typed.reaches if each.measure is LOSS} == {"top": 0.7, "second": 0.7}


# ---- builds against the difference found ----------------------------------------------------------------------------


def test_the_curve_tells_what_more_builds_would_find() -> None:
    """Noncentral t (scipy): two coatings, n of each, 2n - 2 degrees of freedom; from four on n/(n + 1) of these."""
    plan = planned(typed={AREA.id: 0.1})
    (curve,) = plan.curves
    assert [point.builds for point in curve.points] == list(planning.STEPS)
    for point in curve.points:
        n = point.builds
        df = (2 * n - 2) * (n / (n + 1) if n > 3 else 1)
        assert point.found == pytest.approx(math.expm1(0.1 * found_at(df, math.sqrt(2 / n))), rel=1e-5)
        assert point.found_at_worst == point.found
    table = told.curves(plan)
    assert table is not None
    assert len(table.rows) == len(planning.STEPS)
    assert table.reading.startswith("From 2 to 20 builds the difference found in the probe area falls from ")
    assert told.curves(planned()) is None


def test_the_curve_is_drawn_above_its_data() -> None:
    plan = planned(program(EVEN, worth_finding=0.15), (row(0.05, 4),))
    figure = told.drawn(plan)
    assert figure is not None
    assert figure.table is not None
    (panel,) = figure.panels
    points = plan.curves[0].points
    marks = panel.data["points"]
    assert [each["at"] for each in marks] == [point.builds for point in points]
    assert [each["value"] for each in marks] == [float(f"{100 * (point.found or 0.0):.4g}") for point in points]
    worst = [each["value"] for each in panel.data["path"] if each["grey"]]
    assert worst == [float(f"{100 * (point.found_at_worst or 0.0):.4g}") for point in points]
    assert panel.data["levels"] == [{"value": 15.0}]
    assert (panel.axis, panel.along) == ("Difference found, %", "Builds of each coating")
    assert len(figure.table.rows) == len(points)
    known = told.drawn(planned(typed={AREA.id: 0.1}))
    assert known is not None
    assert not [each for each in known.panels[0].data["path"] if each["grey"]]
    assert "Grey" not in known.caption
    assert told.drawn(planned()) is None


def test_a_plan_that_finds_another_difference_than_as_many_builds_of_every_coating_says_why() -> None:
    held = {"B1": (R, R), "B2": (R, R), "B3": (R, R), "B4": (C, C), "B5": (C, C), "B6": (C, C), "B7": (D, D)}
    plan = planned(program(held, candidates=(C, D)), (row(0.05, 4),))
    table, reach = told.curves(plan), plan.reaches[0]
    assert table is not None
    found, asked = (told.amount(reach, each or 0.0) for each in (plan.curves[0].points[1].found, reach.found))
    assert found != asked
    assert table.reading.endswith(
        f" Three builds of every coating would find {found}, the plan {asked}: the more builds of any coating, the "
        "better the scatter is known."
    )
    even = told.curves(planned(comparisons=(row(0.05, 4),)))
    assert even is not None
    assert "the plan" not in even.reading


def test_builds_it_takes_have_their_middle() -> None:
    """At the scatter found itself, by the same search as both ends."""
    reach = planned(program(EVEN, worth_finding=0.15), (row(0.05, 4),)).reaches[0]
    assert reach.needed is not None
    assert reach.middle == power.builds_range(reach.scatter.sd, math.inf, math.log1p(0.15), most=60, family=1)[0]
    least, most = reach.needed
    assert least < (reach.middle or 0) < (most or 61)
    assert told._needed(reach) == f"{reach.middle} ({least} to {most})"
    assert told._needed(replace(reach, needed=(4, None), middle=None)) == "more than 60 (4 to more than 60)"
    assert told._needed(replace(reach, needed=(4, 4), middle=4)) == "4"


def test_what_cannot_be_tested_is_said_once() -> None:
    held = {"B1": (R, R), "B2": (R, R), "B3": (R, R), "B4": (C, C), "B5": (C, C), "B6": (C, C), "B7": (D, D)}
    plan = planned(program(held, candidates=(C, D)), (row(0.05, 4),))
    table = told.reach(plan)
    assert [each.cells[1].text for each in table.rows] == ["soft nitride"]
    assert table.reading.endswith("With one build against three no difference of hard nitride and plain nitride rings "
                                  "can be tested.")  # fmt: skip


def test_the_instruments_are_folded_behind_how_many_show_enough() -> None:
    def stream(*given: Smallest) -> Stream:
        return Stream("probe", "probe", 1, (), lambda *_: None, (), smallest=lambda _: given)  # type: ignore[arg-type]

    fine, coarse = Smallest(AREA.id, "leak", 0.2, "T1"), Smallest(AREA.id, "large leak", 0.4, "T2")
    unknown = Smallest(LOSS.id, "mass", 1.0, "balance")
    known = (replace(row(0.05, 4), level_reference=0.30),)
    plan = planning.plan(program(EVEN), (stream(fine, coarse, unknown),), MEASURES, known)
    assert told._shown(plan) == "One of three readings is fine enough; not: large leak; of one it is not known."
    assert told._shown(planning.plan(program(EVEN), (stream(fine),), MEASURES, known)) == "The reading is fine enough."


def test_the_curve_inside_engines_says_which_speak_of_these_engines_only() -> None:
    plan = planned(program(TURNED, allocation_scheme="mixed in engine"), typed={LOSS.id: 1.0})
    points = {point.builds: point for point in plan.curves[0].points}
    assert [n for n, point in points.items() if point.these_engines] == [2, 3]
    assert points[6].found == pytest.approx(found_at(5, math.sqrt(1 / 6)), rel=1e-6)
    table = told.curves(plan)
    assert table is not None
    assert table.columns[0].title == "Builds holding both"
    assert table.rows[0].cells[1].note == "these engines only"


TURNED = {f"B{n}": ((R, C), (C, R))[n % 2] * 2 for n in range(6)}
LEANING = {f"B{n}": (C, R, C, R) if n in {1, 4} else (R, C, R, C) for n in range(6)}
FEW = {"B0": (R, C, R, C), "B1": (C, R, C, R), "B2": (R, C, C, R)}


def inside(held: Any, **more: Any) -> planning.Reach:
    of = program(held, allocation_scheme="mixed in engine")
    return planned(of, typed={LOSS.id: 1.0}, **more).reaches[0]


def test_mixed_engines_are_planned_by_the_scatter_of_a_difference() -> None:
    """One-sample t on six differences, where positions are balanced over the engines."""
    reach = inside(TURNED)
    assert (reach.builds, reach.scatter.within) == (6, True)
    assert reach.found == pytest.approx(found_at(5, math.sqrt(1 / 6)), rel=1e-6)


def test_positions_taken_out_cost_a_degree_of_freedom_and_width() -> None:
    """Four engines one way and two the other: the mean of both ways, on a line through six differences (by hand)."""
    reach = inside(LEANING)
    assert reach.found == pytest.approx(found_at(4, math.sqrt(1 / 4 + 1 / 2) / 2), rel=1e-6)


@pytest.mark.parametrize("held", [TURNED, LEANING, FEW], ids=["turned", "leaning", "few"])
def test_what_mixed_engines_are_told_to_find_they_find_four_times_in_five(held: Any) -> None:
    """20 000 programs: cylinders that scatter so that a difference inside a build has a standard deviation of one."""
    reach = inside(held)
    assert reach.found is not None
    assert reach.these_engines == (held is FEW)
    spots = [Spot(b, b, n, place, k) for n, (b, row) in enumerate(held.items()) for place, k in enumerate(row, start=1)]
    made = recognise(spots, C, R)
    y = np.random.default_rng(31).standard_normal((len(spots), 20_000))  # two cylinders against two: variance 1/2 + 1/2
    y += reach.found * np.array([[float(spot.coating == C)] for spot in spots])
    found = contrast(made, spots, y, C, R)
    power = (np.abs(found.estimate) > stats.t.ppf(0.975, found.df) * found.se).mean()
    assert power == pytest.approx(0.8, abs=0.01)


def test_mixed_engines_that_cannot_be_told_apart_from_positions_find_nothing() -> None:
    reach = inside({f"B{n}": (R, C, R, C) for n in range(6)})
    assert (reach.builds, reach.found) == (6, None)


def test_builds_it_takes_inside_engines_are_those_of_their_own_design() -> None:
    """An even number turned half and half: one-sample t (scipy); an odd one takes a column out and needs more."""
    of = replace(program(TURNED, allocation_scheme="mixed in engine"), worth_finding=math.expm1(0.1))
    (reach,) = planned(of, typed={AREA.id: 0.1}).reaches
    (wider,) = planned(of, typed={AREA.id: 0.13}).reaches

    def power(n: int, sd: float) -> float:
        if n % 2 == 0:
            return power_of(0.1 / sd * math.sqrt(n), n - 1)
        more, less = n // 2 + 1, n // 2
        return power_of(0.1 / sd * 2 / math.sqrt(1 / more + 1 / less), n - 2)

    for found, sd in ((reach, 0.1), (wider, 0.13)):
        first = next(n for n in range(4, 61) if power(n, sd) >= 0.8)
        assert found.needed == (first, first)


def test_one_build_of_a_coating_finds_nothing() -> None:
    reach = planned(typed={LOSS.id: 1.0}, builds=3).reaches[0]
    assert (reach.builds_reference, reach.builds) == (2, 1)
    assert (reach.found, reach.found_at_worst) == (None, None)


def test_a_scatter_beyond_all_numbers_is_no_fault() -> None:
    reach = planned(typed={AREA.id: 1e9}).reaches[0]
    assert reach.found == math.inf
    (found,) = told.as_json(planned(typed={AREA.id: 1e9}))["finds"]
    assert found["finds"] is None


# ---- how many it takes ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("d", "n"), [(0.8, 26), (1.0, 17)])
def test_builds_it_takes_when_the_scatter_is_known(d: float, n: int) -> None:
    """J. Cohen (1988), table 2.4.1, power 0.8, two-sided 5 %: 26 a group for d 0.8, 17 for d 1."""
    reach = planned(replace(program(EVEN), worth_finding=math.expm1(d * 0.1)), typed={AREA.id: 0.1}).reaches[0]
    assert reach.needed == (n, n)


def test_more_than_sixty_are_not_counted() -> None:
    """d 0.5 takes 64 of each (Cohen, the same table)."""
    reach = planned(replace(program(EVEN), worth_finding=math.expm1(0.05)), typed={AREA.id: 0.1}).reaches[0]
    assert reach.needed is not None
    assert reach.needed[1] is None
    assert told.as_json(planned(replace(program(EVEN), worth_finding=math.expm1(0.05)), typed={AREA.id: 0.1}))["finds"][
        0
    ]["builds_needed"] == [61, None]


def test_without_a_difference_worth_finding_no_number_of_builds_is_given() -> None:
    assert planned(typed={AREA.id: 0.1}).reaches[0].needed is None


def test_a_difference_in_a_unit_needs_the_level_of_the_reference() -> None:
    """15 % of 4 mg is 0.6 mg: six tenths of the scatter; of a level unknown it is nothing."""
    of = replace(program(EVEN), worth_finding=0.15)
    assert planned(of, typed={LOSS.id: 1.0}).reaches[0].needed is None
    known = Comparison(
        LOSS.id, "pulls", "", C, R, "primary", "difference", level_reference=4.0, builds=3, builds_reference=3
    )
    (reach,) = planned(of, (known,), typed={LOSS.id: 0.75}).reaches
    assert reach.needed == (26, 26)  # d 0.8


# ---- the program's own scatter --------------------------------------------------------------------------------------


def test_the_scatter_is_taken_apart_from_the_error_of_a_difference() -> None:
    """And at worst is at the upper 80 % limit of the scatter, by chi-square (scipy)."""
    reach = planned(comparisons=(row(0.05, 4),)).reaches[0]
    assert reach.scatter.sd == pytest.approx(0.05 / math.sqrt(2 / 3))
    worst = reach.scatter.sd * math.sqrt(4 / stats.chi2.ppf(0.2, 4))
    step = found_at(4, math.sqrt(2 / 3))
    assert reach.found == pytest.approx(math.expm1(step * reach.scatter.sd), rel=1e-6)
    assert reach.found_at_worst == pytest.approx(math.expm1(step * worst), rel=1e-6)


def test_the_scatter_of_real_builds_comes_back() -> None:
    """From values through the comparison to the plan: the pooled standard deviation of build means."""
    levels = (0.30, 0.24, 0.33, 0.27, 0.36, 0.25)
    made = case(EVEN, {b: (v,) * 4 for b, v in zip(EVEN, levels, strict=True)})
    reach = planned(made.program, tuple(made.every())).reaches[0]
    groups = [[math.log(v) for v in levels[place::2]] for place in (0, 1)]
    pooled = math.sqrt(sum(stats.tvar(group) for group in groups) / 2)
    assert reach.scatter.sd == pytest.approx(pooled)
    assert reach.scatter.df == 4


def test_what_is_typed_in_stands_for_what_was_found() -> None:
    reach = planned(comparisons=(row(0.05, 4),), typed={AREA.id: 0.2}).reaches[0]
    assert (reach.scatter.sd, reach.scatter.df) == (0.2, None)


def test_a_scatter_inside_engines_is_not_taken_for_one_between_them() -> None:
    inside = row(0.05, 5, procedure="fixed", design="mixed in engine")
    assert planned(comparisons=(inside,)).reaches == ()
    assert planned(comparisons=(inside,)).without == (AREA.id,)
    mixed = planned(comparisons=(inside,), scheme="mixed in engine", seed=1).reaches[0]
    assert mixed.scatter.sd == pytest.approx(0.05 * math.sqrt(3))
    assert planned(comparisons=(row(0.05, 4),), scheme="mixed in engine", seed=1).reaches == ()


def test_a_comparison_without_an_error_lends_no_scatter() -> None:
    assert planned(comparisons=(replace(row(0.05, 4), se=None, df=None, verdict="refused"),)).reaches == ()


# ---- lots -----------------------------------------------------------------------------------------------------------


def recorded(seed: int = 9, listed: int = 8, **more: Any) -> Any:
    lots = allocation.in_rounds([R, C], [4] * 8, seed)
    held = {f"B{n}": build for n, build in enumerate(lots[:listed])}
    return program(held, allocation_scheme="whole builds in rounds", allocation_seed=seed, planned_builds=8, **more)


def test_the_lots_drawn_are_those_listed() -> None:
    found = planned(recorded())
    assert found.drawn == found.actual == allocation.in_rounds([R, C], [4] * 8, 9)
    assert found.follows
    assert "is the one that seed 9 draws" in told.lots(found).reading
    assert [column.title for column in told.lots(found).columns] == ["Order", "Build", "Coating"]
    first = found.program.builds[0].id
    table = told.lots(found, {first: ["2026-03-02", "2026-02-27"]})
    assert {row.cells[3].text for row in table.rows if row.cells[1].text == first} == {
        "27 February 2026 to 2 March 2026"
    }
    assert {row.cells[3].text for row in table.rows if row.cells[1].text != first} == {"none dated yet"}
    assert table.reading.endswith(f"One of {words.count(len(table.rows))} builds has records.")


def test_with_another_seed_typed_in_they_are_not() -> None:
    found = planned(recorded(), seed=10)
    assert found.seed == 10
    assert not found.follows
    assert "is not the one that seed 10 draws" in told.lots(found).reading
    assert any(row.cells[2].note.startswith("drawn: ") for row in told.lots(found).rows)


def test_a_program_half_built_follows_as_far_as_it_goes() -> None:
    found = planned(recorded(listed=4))
    assert found.follows
    assert found.drawn is not None
    assert len(found.drawn) == 8
    whole = allocation.whole_builds([R, C] * 4, [4] * 8, 3)
    part = program(
        {f"B{n}": build for n, build in enumerate(whole[:5])}, allocation_scheme="whole builds", allocation_seed=3,
        planned_builds=8,
    )  # fmt: skip
    assert planned(part).follows
    assert not planned(part, seed=4).follows


def test_a_program_with_nothing_built_yet() -> None:
    of = program({"B1": (R,) * 4})
    nothing = replace(of, builds=(), planned_builds=6, allocation_scheme="whole builds", allocation_seed=2)
    found = planned(nothing, typed={AREA.id: 0.08})
    assert found.drawn is not None
    assert [len(build) for build in found.drawn] == [4] * 6
    assert (found.actual, found.follows) == ((), False)
    assert told.lots(found).reading == "Drawn from seed 2."
    assert found.reaches[0].builds == 3


def test_without_a_seed_or_a_scheme_nothing_is_drawn() -> None:
    no_seed = planned(program(EVEN, allocation_scheme="whole builds"))
    assert (no_seed.drawn, no_seed.follows) == (None, False)
    assert "No seed is recorded" in told.lots(no_seed).reading
    by_hand = planned(program(EVEN, allocation_scheme="by hand", allocation_seed=4))
    assert by_hand.drawn is None
    assert "cannot be drawn for the scheme “by hand”" in told.lots(by_hand).reading


# ---- instruments, words ---------------------------------------------------------------------------------------------


def with_instrument(smallest: Smallest, **more: Any) -> str:
    stream = Stream("probe", "probe", 1, (), lambda *_: None, (), smallest=lambda _: (smallest,))  # type: ignore[arg-type]
    known = replace(row(0.05, 4), level_reference=0.30)
    of = replace(program(EVEN), **more)
    plan = planning.plan(of, (stream,), MEASURES, (known,))
    ((*_, enough),) = (line.cells for line in told.smallest(plan).rows)
    return enough.text


def test_what_is_said_alike_of_several_stands_in_one_row() -> None:
    def alike(_: object) -> tuple[Smallest, ...]:
        first = Smallest(AREA.id, "step of one gauge", 0.02, "the gauge")
        return (first, replace(first, what="step of the other"), replace(first, what="scatter", value=0.03))

    stream = Stream("probe", "probe", 1, (), lambda *_: None, (), smallest=alike)  # type: ignore[arg-type]
    plan = planning.plan(program(EVEN), (stream,), MEASURES, (replace(row(0.05, 4), level_reference=0.30),))
    assert [line.cells[0].text for line in told.smallest(plan).rows] == [
        "Step of one gauge; step of the other",
        "Scatter",
    ]


def test_an_instrument_is_held_against_the_level_or_the_difference_worth_finding() -> None:
    assert with_instrument(Smallest(AREA.id, "leak", 0.2, "T1")).startswith("yes: the reference lies at")
    assert with_instrument(Smallest(AREA.id, "leak", 0.4, "T1")).startswith("no: the reference lies at")
    difference = Smallest(AREA.id, "part", 0.04, "T1", "difference")
    assert with_instrument(difference) == "not known: no difference worth finding is stated"
    assert with_instrument(difference, worth_finding=0.15).startswith("yes: the difference worth finding is 0.045")
    assert with_instrument(difference, worth_finding=0.10).startswith("no: the difference worth finding is 0.030")
    unknown = with_instrument(Smallest(LOSS.id, "mass", 1.0, "balance"))
    assert unknown == "not known: nothing is expected or found yet to hold it against"


@pytest.mark.parametrize(
    ("least", "expected", "said"),
    [
        (6.4, (0.4, 1.3), "no: 0.40 to 1.3\N{NO-BREAK SPACE}mg are expected"),
        (0.5, (0.4, 1.3), "in part: 0.40 to 1.3\N{NO-BREAK SPACE}mg are expected"),
        (0.5, (1.3, 1.3), "yes: 1.3\N{NO-BREAK SPACE}mg is expected"),
    ],
)
def test_an_instrument_is_held_against_what_is_expected(least: float, expected: tuple[float, float], said: str) -> None:
    assert with_instrument(Smallest(LOSS.id, "wear", least, "feeler", expected=expected)) == said


def test_else_against_what_was_found_on_the_reference() -> None:
    """The middle of what the reference showed, signs apart; not the candidate's, and not in another condition."""
    stream = Stream(
        "probe", "probe", 1, (), lambda *_: None, (),  # type: ignore[arg-type]
        smallest=lambda _: (Smallest(LOSS.id, "wear", 1.0, "probe"),),
    )  # fmt: skip
    keys = [Key("B0", n, R, "pulls", at) for n, at in ((1, "top"), (2, "top"), (3, "top"), (4, "supply:200-kpa"))]
    values = [Value(LOSS.id, key, number) for key, number in zip(keys, (-0.5, 2.0, 1.5, 90.0), strict=True)]
    values.append(Value(LOSS.id, Key("B1", 1, C, "pulls", "top"), 50.0))
    plan = planning.plan(program(EVEN), (stream,), MEASURES, (), values=values)
    ((*_, enough),) = (line.cells for line in told.smallest(plan).rows)
    assert enough.text == "yes: 1.5\N{NO-BREAK SPACE}mg found on the reference so far, middle of three values"


def test_the_reading_tells_the_builds_asked_for() -> None:
    assert told.reading(planned(builds=12)).startswith(
        "Twelve builds planned for plain nitride rings and soft nitride rings;"
    )
    one = planned(builds=1, typed={AREA.id: 0.1})
    assert told.reading(one).startswith("One build planned")
    assert told.reach(one).reading == "With so many builds no coating can be set against the reference."


def test_what_is_found_is_told_in_a_sentence() -> None:
    known = planned(typed={AREA.id: 0.05})
    assert told.reach(known).reading == (
        "Three builds of each find a difference of 17\N{NO-BREAK SPACE}% in the probe area of soft nitride and plain "
        "nitride rings four times in five."
    )
    unknown = planned()
    assert told.reach(unknown).reading.startswith("How far builds scatter is not known yet: type it in")
    uncertain = told.reach(planned(comparisons=(row(0.05, 1),))).reading
    assert "at the upper limit of the scatter" in uncertain
    assert told.reach(planned(comparisons=(row(0.05, 1),))).rows[0].cells[2].note.endswith("1 degree of freedom")
