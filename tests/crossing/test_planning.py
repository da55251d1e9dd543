"""What a program can find and how many builds it takes, against scipy's noncentral t and published sizes of groups."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy import stats
from scipy.optimize import brentq

from crossing.factory import AREA, LOSS, MEASURES, C, D, R, case, program
from sitegen.crossing import allocation, planning
from sitegen.declarations import Smallest, Stream
from sitegen.methods.contrasts import contrast
from sitegen.methods.design import Spot, recognise
from sitegen.pages import plan as told
from sitegen.vocabulary import Comparison

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
    """Noncentral t, power 0.8: 3.07 and 1.80 standard deviations (J. Cohen 1988, ch. 2; R's power.t.test)."""
    three = planned(typed={LOSS.id: 1.0}, builds=6).reaches[0]
    six = planned(typed={LOSS.id: 1.0}, builds=12).reaches[0]
    assert three.found == pytest.approx(3.07, abs=0.005)
    assert six.found == pytest.approx(1.80, abs=0.005)
    assert three.found == pytest.approx(found_at(4, math.sqrt(2 / 3)), rel=1e-6)
    assert three.found_at_worst == three.found  # typed in: taken as known


def test_a_ratio_is_found_on_the_logarithms() -> None:
    reach = planned(typed={AREA.id: 0.08}).reaches[0]
    assert reach.found == pytest.approx(math.expm1(0.08 * found_at(4, math.sqrt(2 / 3))), rel=1e-6)


def test_the_scatter_of_a_third_coating_gives_degrees_of_freedom() -> None:
    """And the error is shared between the two candidates."""
    held = {**EVEN, "B6": (D,) * 4, "B7": (D,) * 4}
    reach = planned(program(held, candidates=(C, D)), typed={LOSS.id: 1.0}).reaches
    assert [each.candidate for each in reach] == [C, D]
    assert reach[0].found == pytest.approx(found_at(5, math.sqrt(2 / 3), 0.025), rel=1e-6)
    assert reach[1].found == pytest.approx(found_at(5, math.sqrt(1 / 2 + 1 / 3), 0.025), rel=1e-6)


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


def test_with_another_seed_typed_in_they_are_not() -> None:
    found = planned(recorded(), seed=10)
    assert found.seed == 10
    assert not found.follows
    assert "is not the one that seed 10 draws" in told.lots(found).reading


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


def test_an_instrument_is_held_against_the_level_or_the_difference_worth_finding() -> None:
    assert with_instrument(Smallest(AREA.id, "leak", 0.2, "T1")).startswith("yes: the reference lies at")
    assert with_instrument(Smallest(AREA.id, "leak", 0.4, "T1")).startswith("no: the reference lies at")
    difference = Smallest(AREA.id, "part", 0.04, "T1", "difference")
    assert with_instrument(difference) == "–"
    assert with_instrument(difference, worth_finding=0.15).startswith("yes: the difference worth finding is 0.045")
    assert with_instrument(difference, worth_finding=0.10).startswith("no: the difference worth finding is 0.030")
    assert with_instrument(Smallest(LOSS.id, "mass", 1.0, "balance")) == "–"


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
