"""Pulls: torque by band, days as units, gains. Figures of the tables are simulated or exact; none is our own result."""

from __future__ import annotations

import math

import numpy as np
import pytest

from sitegen.methods import pulls
from sitegen.methods.pulls import Day
from sitegen.vocabulary import Refused


def test_what_speeds_the_masses_up_is_added_where_the_bench_did_not() -> None:
    """Newton: 0.5 kg m² at 300 rpm/s is 15.7 N m."""
    rate = 300 * math.pi / 30
    assert pulls.engine_torque(200, 0.5, rate, compensated=False) == pytest.approx(215.708, abs=1e-3)
    assert pulls.engine_torque(200, 0.5, rate, compensated=True) == 200
    assert pulls.engine_torque(200, None, 0.0, compensated=None) == 200
    for inertia, compensated in ((None, False), (0.5, None)):
        with pytest.raises(Refused, match="sweep-without-inertia"):
            pulls.engine_torque(200, inertia, rate, compensated)


def test_the_mean_over_a_band_is_that_of_the_integral() -> None:
    speeds = np.linspace(100, 220, 61)
    torques = 200 + 30 * np.sin(speeds / 40)  # integral known
    wanted = 200 + 30 * 40 * (math.cos(120 / 40) - math.cos(200 / 40)) / 80
    assert pulls.over_band(list(speeds), list(torques), 120, 200) == pytest.approx(wanted, abs=0.02)
    assert pulls.over_band(list(speeds[::-1]), list(torques[::-1]), 120, 200) == pytest.approx(wanted, abs=0.02)
    for low, high in ((90, 200), (120, 240)):
        with pytest.raises(Refused, match="band-not-covered"):
            pulls.over_band(list(speeds), list(torques), low, high)


@pytest.mark.parametrize(
    ("each", "scatter", "wanted", "band"),
    [(3, 0.2, 1.1, 2.0), (3, 0.3, 1.3, 2.5), (4, 0.2, 0.8, 1.2), (4, 0.3, 0.9, 1.4), (6, 0.2, 0.56, 0.8),
     (6, 0.3, 0.69, 0.95)],
)  # fmt: skip
def test_the_smallest_gain_is_that_of_a_table_made_by_others(
    each: int, scatter: float, wanted: float, band: float
) -> None:
    """Three kept pulls at 0.4 %, scatter of days in per cent; simulated by others, given to one or two digits."""
    of_day = pulls.of_a_day(scatter, 0.4, 3)
    variants = ("ABBA" * each)[: 2 * each]
    assert pulls.smallest_gain(variants, of_day) == pytest.approx(wanted, abs=0.05)
    assert pulls.smallest_gain(variants, of_day, 6) == pytest.approx(band, abs=0.1)


def _days(chance: np.random.Generator, variants: str, gain: float, drift: float, scatter: float) -> list[Day]:
    found = []
    for order, variant in enumerate(variants):
        middle = math.log(200) + drift * order + chance.normal(0, scatter) + (gain if variant == "B" else 0)
        torques = np.exp(middle + chance.normal(0, 0.004, 4))
        torques[0] *= 0.985  # the first pull is cold
        found.append(Day(variant, tuple(torques)))
    return found


@pytest.mark.parametrize("scatter", [0.0, 0.003])
@pytest.mark.parametrize(("variants", "drift"), [("ABABAB", 0.003), ("ABBAABBA", -0.003), ("ABABAB", 0.0)])
def test_no_gain_is_found_where_there_is_none(variants: str, drift: float, scatter: float) -> None:
    """5 % of false gains at most, with and without scatter between days, at any drift from day to day."""
    chance = np.random.default_rng(11)
    found = [pulls.gain(_days(chance, variants, 0.0, drift, scatter), "B") for _ in range(4000)]
    false = np.mean([one.low > 0 or one.high < 0 for one in found])
    assert 0.04 < false < 0.06


def test_a_known_gain_is_found_as_often_as_promised() -> None:
    chance = np.random.default_rng(5)
    wanted = pulls.smallest_gain("ABABABAB", pulls.of_a_day(0.003, 0.004, 3))
    found = [pulls.gain(_days(chance, "ABABABAB", wanted, 0.002, 0.003), "B") for _ in range(3000)]
    assert np.mean([one.low > 0 for one in found]) == pytest.approx(0.8, abs=0.025)
    assert np.mean([one.value for one in found]) == pytest.approx(math.expm1(wanted), rel=0.03)
    assert 0.944 < np.mean([one.low < math.expm1(wanted) < one.high for one in found]) < 0.96


@pytest.mark.parametrize(
    ("variants", "code"),
    [
        ("AAABBB", "not-alternated"),
        ("ABAB", "few-pull-days"),
        ("ABCABC", "two-variants-only"),
        ("AA", "two-variants-only"),
    ],
)
def test_what_tells_no_gain_is_refused(variants: str, code: str) -> None:
    chance = np.random.default_rng(1)
    with pytest.raises(Refused, match=code):
        pulls.gain(_days(chance, variants, 0, 0, 0.003), "B")


def test_levels_spreads_and_drift_by_hand() -> None:
    days = [Day("A", (190.0, 200.0, 202.0, 204.0)), Day("A", (190.0, 206.0, 208.0, 210.0))]
    value, low, high = pulls.level(days, pulls.of_days(days))
    logs = [np.log([200, 202, 204]).mean(), np.log([206, 208, 210]).mean()]
    half = 12.7062 * np.std(logs, ddof=1) / math.sqrt(2)  # t, 1 df: printed tables
    assert value == pytest.approx(math.exp(np.mean(logs)))
    assert math.log(high or 0) - math.log(value) == pytest.approx(half, rel=1e-4)
    assert math.log(value) - math.log(low or 0) == pytest.approx(half, rel=1e-4)
    assert pulls.of_days(days).sd == pytest.approx(np.std(logs, ddof=1))
    assert pulls.repeatability(days).df == 4
    assert pulls.level(days[:1], None)[1:] == (None, None)
    rising = [Day("A", (1.0, *(100 * 1.01**n for n in range(4)))) for _ in range(3)]
    assert pulls.drift(rising).value == pytest.approx(math.log(1.01))
    for few in (pulls.drift, pulls.of_days, lambda none: pulls.level(none, None)):
        with pytest.raises(Refused, match="few-pull"):
            few([])
    with pytest.raises(Refused, match="few-pulls"):
        pulls.repeatability([Day("A", (1.0, 2.0))])
