"""Settle time against a published fit, another fit of ours checked by NIST, known curves and simulated coverage."""

from __future__ import annotations

import math
from operator import attrgetter

import numpy as np
import pytest
from house import one_of
from methods import steady_coverage as cover
from methods.one_curve import exponential_approach

from sitegen.methods import settling
from sitegen.vocabulary import Refused

T = np.arange(2.0, 122.0, 5.0)


def curve(scale: float, size: float = 0.6, level: float = 30.0) -> cover.Floats:
    return np.asarray(level * (1 + size * np.exp(-T / scale)))


def refused(t: cover.Floats, flow: cover.Floats, step: list[int] | None = None) -> str:
    with pytest.raises(Refused) as told:
        settling.settle_time(t, flow, 0.05, step)
    return told.value.code


def test_published_asymptotic_regression() -> None:
    # R's own example output of SSasymp on the Loblolly pines, seed 329: asymptote 94.1282, response at zero -8.2508,
    # ln rate -3.2176, residual standard deviation 0.7493 on 3 df
    found = settling.settle_time(
        np.array([3.0, 5, 10, 15, 20, 25]), np.array([3.93, 9.34, 26.08, 37.79, 48.31, 56.43]), 0.05
    )
    assert found.levels[0].value == pytest.approx(94.1282, abs=5e-5)
    assert found.start * found.levels[0].value == pytest.approx(-8.2508, abs=5e-5)
    assert -math.log(found.scale) == pytest.approx(-3.2176, abs=5e-5)
    assert found.residual_sd == pytest.approx(0.7493, abs=5e-5)
    assert found.df == 3
    # its standard errors, 8.4030 and 0.1386, are those of straight lines; three df bend the interval outwards
    assert found.levels[0].high - found.levels[0].value > 3.182 * 8.4030
    assert found.scale_low < 24.97 * math.exp(-0.1386) < 24.97 * math.exp(0.1386) < found.scale_high


@pytest.mark.parametrize("scale", [5.0, 10.0, 15.0, 40.0])
def test_same_curve_as_the_fit_checked_by_nist(scale: float) -> None:
    flow = curve(scale) + 0.02 * np.random.default_rng(3).standard_normal(len(T))
    other = exponential_approach(list(T), list(flow))
    found = settling.settle_time(T, flow, 0.05)
    assert found.scale == pytest.approx(other.scale, rel=1e-5)
    assert found.levels[0].value == pytest.approx(other.plateau, rel=1e-6)
    assert found.start == pytest.approx(other.start / other.plateau, rel=1e-5)
    assert found.residual_sd == pytest.approx(other.residual_sd, rel=1e-6)
    # where scatter is small the profile is the straight-line interval: t(21) = 2.080 standard errors (any table)
    half = 2.080 * other.log_scale_se
    assert math.log(found.scale_high / found.scale_low) / 2 == pytest.approx(half, rel=0.05)
    assert (found.levels[0].high - found.levels[0].low) / 2 == pytest.approx(2.080 * other.plateau_se, rel=0.05)


@pytest.mark.parametrize("scale", [5.0, 15.0, 40.0])
@pytest.mark.parametrize("size", [0.6, 0.05, -0.4])
@pytest.mark.parametrize("steps", [1, 3])
def test_the_best_is_where_the_slope_is_nothing(scale: float, size: float, steps: int) -> None:
    step = [n % steps for n in range(len(T))]
    flow = curve(scale, size) * (1 + 0.3 * np.array(step))
    flow += 0.1 * np.random.default_rng(8).standard_normal(len(T))
    found = settling.settle_time(T, flow, 0.05, step)
    level = np.array([each.value for each in found.levels])[step]
    decay = np.exp(-T / found.scale)
    drop = found.start - 1
    residual = flow - level * (1 + drop * decay)
    for slope in (level * drop * decay * T, level * decay, (1 + drop * decay) * (np.array(step) == 0)):
        assert abs(residual @ slope) <= 1e-10 * float(np.abs(residual) @ np.abs(slope))


@pytest.mark.parametrize("scale", [5.0, 15.0, 40.0])
@pytest.mark.parametrize("size", [0.6, 0.05, -0.4])
def test_rounding_of_the_flow_moves_nothing(scale: float, size: float) -> None:
    # another processor adds up in another order: what it finds may differ in the last bits only
    flow = curve(scale, size) + 0.1 * np.random.default_rng(8).standard_normal(len(T))
    nudged = flow * (1 + 1e-15 * np.where(np.arange(len(T)) % 3, 1, -1))
    one, other = settling.settle_time(T, flow, 0.05), settling.settle_time(T, nudged, 0.05)
    for name in ("scale", "start", "residual_sd"):
        assert getattr(other, name) == pytest.approx(getattr(one, name), rel=1e-11, abs=0)
    for name in ("time", "low", "high", "scale_low", "scale_high"):
        assert getattr(other, name) == pytest.approx(getattr(one, name), rel=1e-8, abs=1e-8)


@pytest.mark.parametrize("scale", [2.0, 5.0, 10.0, 15.0])
@pytest.mark.parametrize("size", [0.6, -0.4])
def test_known_time(scale: float, size: float) -> None:
    # exact: |size| exp(-t/scale) = 0.05
    found = settling.settle_time(T, curve(scale, size) + 1e-3 * np.sin(9 * T), 0.05)
    assert found.time == pytest.approx(scale * math.log(abs(size) / 0.05), rel=1e-3)
    assert found.scale == pytest.approx(scale, rel=1e-3)
    assert found.low < found.time < found.high
    assert found.start == pytest.approx(1 + size, rel=1e-3)


def test_a_schedule_of_steps_hides_the_settling_and_visits_show_it() -> None:
    """One minute at the reference point every ten; between, steps of load, the last and highest from 80 minutes on."""
    seconds = np.arange(0, 7200.0)
    minute = seconds / 60
    there = minute % 10 < 1
    load = np.select([minute < 20, minute < 50, minute < 80], [0.5, 0.7, 0.85], 1.0)
    load[there] = 0.5
    raw, seen = [], []
    for scale in (5.0, 10.0, 15.0):
        flow = 30 * load * (1 + 0.5 * np.exp(-minute / scale))
        flow += 0.1 * np.random.default_rng(17).standard_normal(len(flow))
        away = ~there & (np.abs(flow / flow[~there][-600:].mean() - 1) > 0.05)
        raw.append(float(minute[away].max()))
        points = settling.visits(minute, flow, there, settle=0.2)
        assert len(points.time) == 12
        assert list(points.n) == [48] * 12
        found = settling.settle_time(points.time, points.mean, 0.05)
        seen.append(found.time)
        assert found.low <= scale * math.log(10) <= found.high
    assert raw == pytest.approx([80.0] * 3, abs=0.1)  # the schedule, whatever the ring does
    assert seen == pytest.approx([11.5, 23.0, 34.5], rel=0.1)  # exact: scale x ln(0.5/0.05)


def test_steps_with_levels_of_their_own_share_the_approach() -> None:
    step = [k % 3 for k in range(len(T))]
    level = np.array([20.0, 32.0, 44.0])[step]
    flow = level * (1 + 0.6 * np.exp(-T / 10)) + 0.2 * np.random.default_rng(18).standard_normal(len(T))
    found = settling.settle_time(T, flow, 0.05, step)
    assert found.low <= 10 * math.log(12) <= found.high
    assert found.scale == pytest.approx(10, rel=0.1)
    for one, true in zip(found.levels, (20, 32, 44), strict=True):
        assert one.low <= true <= one.high
    assert found.df == len(T) - 5
    with pytest.raises(Refused):  # taken as one point it is a saw
        settling.settle_time(T, flow, 0.05)


def test_steps_make_no_difference_where_there_is_one() -> None:
    flow = curve(10.0) + 0.2 * np.random.default_rng(19).standard_normal(len(T))
    assert settling.settle_time(T, flow, 0.05, ["a"] * len(T)) == settling.settle_time(T, flow, 0.05)


@pytest.mark.parametrize(
    "case", one_of(cover.APPROACHES, lambda case: case == cover.Approach(10.0, 0.03), attrgetter("name"))
)
def test_printed_intervals_hold(case: cover.Approach) -> None:
    tally = cover.settling_of(case, 150)
    assert tally.printed() > 0.5
    for what in ("time", "scale", "level"):
        assert tally.share(what) >= cover.NOMINAL - tally.tolerance(what, cover.NOMINAL), what


def test_what_cannot_be_told() -> None:
    noise = 0.3 * np.random.default_rng(20).standard_normal(len(T))
    assert refused(T, 30 + noise) == "no-change-beyond-scatter"
    assert refused(T, 60 - 0.1 * T + noise) == "settling-open-above"
    assert refused(T, curve(2000.0, 3.0) + noise) == "settling-open-above"
    at_once = 30 + noise
    at_once[0] += 12
    open_below = settling.settle_time(T, at_once, 0.05)
    assert (open_below.scale_low, open_below.low) == (0.0, 0.0)
    assert 2 < open_below.high < 12
    at_once[1] -= 1
    assert refused(T, at_once) == "settling-open-below"
    assert refused(T[:5], curve(10.0)[:5]) == "few-visits"
    assert refused(T[:6], curve(10.0)[:6], [0, 1, 0, 1, 0, 1]) == "few-visits"
    assert refused(T, curve(10.0) - 31) == "level-not-positive"


def test_missing_visits_and_flows_within_the_band_from_the_start() -> None:
    flow = curve(10.0) + 0.2 * np.random.default_rng(21).standard_normal(len(T))
    holed = flow.copy()
    holed[4] = np.nan
    assert settling.settle_time(T, holed, 0.05) == settling.settle_time(np.delete(T, 4), np.delete(flow, 4), 0.05)
    within = settling.settle_time(T, flow, 0.9)
    assert (within.time, within.low) == (0.0, 0.0)


def test_visits_leave_out_the_short_and_the_unsettled() -> None:
    t = np.arange(100.0)
    there = np.zeros(100, dtype=bool)
    there[:20], there[50:55], there[80:] = True, True, True
    x = np.where(t < 5, 99.0, 7.0)
    x[85] = np.nan
    found = settling.visits(t, x, there, settle=5.0)
    assert found.mean == pytest.approx([7.0, 7.0])
    assert list(found.n) == [15, 14]
    assert found.time == pytest.approx([12.0, np.delete(t[85:], 0).mean()])
    assert len(settling.visits(t, x, np.zeros(100, dtype=bool)).time) == 0
