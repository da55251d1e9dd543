"""Simulated coverage on few draws; `python tests/methods/coverage.py --draws 10000` is the full check.

With 300 engines a case a share of 94.4 % is known to three standard errors of 4.0 points, so an interval that really
holds in less than 86 % of engines fails here nearly always. A run tries a case of each claim, `--tables` all of them.
The seed is fixed: the result does not vary from run to run.
"""

from __future__ import annotations

from operator import attrgetter

import pytest
from house import one_of
from methods import coverage
from methods.coverage import CASES, NOMINAL, Case

DRAWS = 300
TRIED = "run-in checks only, 6 builds, own pooled"
QUANTITIES = ("scale or its limit", "plateau", "start", "to lose, first check", "to lose, 21 km")


@pytest.mark.parametrize(
    "case", one_of((c for c in CASES if c.claim == "coverage"), lambda case: case.name == TRIED, attrgetter("name"))
)
def test_printed_intervals_hold(case: Case) -> None:
    tally = coverage.run(case, DRAWS)
    assert tally.printed("to lose, 21 km") > 0.3
    for what in QUANTITIES:
        assert tally.share(what) >= NOMINAL - tally.tolerance, what


@pytest.mark.parametrize(
    "case", one_of((c for c in CASES if c.claim == "refusal"), lambda case: case.builds == 6, attrgetter("name"))
)
def test_no_drop_gives_no_number(case: Case) -> None:
    tally = coverage.run(case, DRAWS)
    assert sum(tally.refused.values()) / tally.engines >= NOMINAL - tally.tolerance
    for what in QUANTITIES:
        assert tally.wrong(what) <= 1 - NOMINAL + tally.tolerance, what


def test_a_cold_build_reading_would_ruin_the_scale() -> None:
    # why the fit takes fired checks only: the interval of x_s misses in most engines, and the simulation can see it
    case = next(c for c in CASES if c.cold)
    assert coverage.run(case, DRAWS).share("scale") < 0.5


def test_a_slow_cylinder_is_found() -> None:
    case = next(c for c in CASES if c.slow != 1 and c.builds == 1)
    tally = coverage.run(case, DRAWS)
    assert tally.left_out["slow"] + tally.refused["no-common-scale"] >= 0.95 * tally.engines
    assert tally.left_out["like the others"] <= 0.05 * tally.engines


@pytest.mark.parametrize("name", sorted(coverage.OTHERS))
def test_areas_changes_and_kinds_of_leak(name: str) -> None:
    tally = coverage.OTHERS[name](400)
    checked = [what for what in tally.held if not what.endswith("word right")]
    assert checked
    for what in checked:
        assert tally.share(what) >= NOMINAL - tally.tolerance, what
