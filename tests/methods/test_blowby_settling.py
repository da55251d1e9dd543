"""What blow-by that wanders lets be said of its settling: simulated run-ins (blowby_coverage.py), few of each."""

from __future__ import annotations

import math
from operator import attrgetter

import numpy as np
import pytest
from house import one_of
from methods import blowby_coverage as cover
from methods.steady_coverage import NOMINAL, wander

from sitegen.methods.wander import shared


@pytest.mark.parametrize("case", one_of(cover.CASES, lambda case: case == cover.RunIn(20.0), attrgetter("name")))
def test_printed_intervals_hold(case: cover.RunIn) -> None:
    tally = cover.coverage(case, 40)
    if case.drop and tally.held:
        assert tally.share("distance") >= NOMINAL - tally.tolerance("distance", NOMINAL)
    if case.time >= 300.0:
        assert tally.printed() < 0.1
    if case.time <= 20.0 and case.drop:
        assert tally.printed() > 0.8


@pytest.mark.parametrize(("time", "least", "most"), [(5.0, 0.0, 0.01), (900.0, 0.05, 1.0)])
def test_what_steady_records_allow(time: float, least: float, most: float) -> None:
    rng = np.random.default_rng(4)
    records = [1 + 0.02 * each + 0.01 * rng.standard_normal(600) for each in wander(rng, 3, 600, time)]
    found = shared(records, 1.0, 45.0, 380.0)
    assert found is not None
    assert least <= found <= most


def test_the_correlation_of_a_wander_that_is_known() -> None:
    """Ten hours tell a wander of 300 s; means over 45 s that are 600 s apart correlate by about exp(-2)."""
    rng = np.random.default_rng(6)
    found = shared([1 + 0.02 * wander(rng, 1, 144_000, 300.0)[0]], 1.0, 225.0, 600.0)
    assert found is not None
    assert math.exp(-600 / 300) < found < 2.5 * math.exp(-600 / 300)


def test_nothing_is_known_without_a_steady_record() -> None:
    assert shared([], 1.0, 45.0, 380.0) is None
    assert shared([np.ones(59)], 1.0, 45.0, 380.0) is None  # fewer than sixty samples
    assert shared([np.ones(600)], 1.0, 45.0, 380.0) is None  # and none that moves
