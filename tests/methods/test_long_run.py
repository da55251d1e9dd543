"""Slopes over long runs, held against a library, closed forms and simulated runs (long_run_coverage.py)."""

from __future__ import annotations

import math
from operator import attrgetter

import numpy as np
import pytest
from house import one_of
from methods import long_run_coverage as cover
from methods.steady_coverage import NOMINAL
from scipy import stats

from sitegen.methods import long_run
from sitegen.methods.long_run import Levels
from sitegen.vocabulary import Refused


def levels(hours: int, seed: int = 1, rise: float = 0.0, pause: float = 0.0) -> Levels:
    hour = np.arange(hours) + 0.5
    noise = np.random.default_rng(seed).standard_normal(hours)
    level = np.asarray(50 + rise / 100 * hour + noise, dtype=np.float64)
    clock = np.asarray(hour + pause * (hour // 8), dtype=np.float64)
    return Levels(np.asarray(hour, dtype=np.float64), clock, level, np.zeros(hours, dtype=np.int64))


@pytest.mark.parametrize("case", one_of(cover.CASES, lambda case: case == cover.Run(300, 10.0), attrgetter("name")))
def test_printed_intervals_hold(case: cover.Run) -> None:
    tally = cover.coverage(case, 60)
    assert tally.wrong("slope") <= 1 - NOMINAL + 3 * math.sqrt(NOMINAL * (1 - NOMINAL) / tally.records)
    if case.long_enough and tally.held:
        for what in ("slope", "ahead"):
            assert tally.share(what) >= NOMINAL - tally.tolerance(what, NOMINAL), what
    if case.time >= 30.0 and case.others == 3:
        assert tally.printed() < 0.1


@pytest.mark.parametrize(
    ("hours", "time", "told"),
    [(40, 1, 8.6), (100, 1, 2.2), (300, 1, 0.4), (100, 3, 3.6), (300, 3, 0.7), (300, 10, 1.3)],
)
def test_least_slope(hours: float, time: float, told: float) -> None:
    """Wander of 1 % and 0.5 % from hour to hour: the variances of a line, and scipy's noncentral t for the power."""
    found = long_run.least_slope(hours, long_run.stated_memory(time, 1.0, 0.5))
    assert found == pytest.approx(told, abs=0.051)  # as it is printed in the house's methods, 10.5
    of_line = 100 * math.sqrt((24 * time + 12 * 0.25) / hours**3)  # long-run variance 2 s² tau; 12 σ²/T³ of a line
    five = math.sqrt(25 / 24)  # five block means know a slope so much worse than a whole line
    shift = found / (of_line * five)
    cut = stats.t.ppf(0.975, 3)
    power = stats.nct.sf(cut, 3, shift) + stats.nct.cdf(-cut, 3, shift)
    assert power == pytest.approx(0.8, abs=0.03)


@pytest.mark.parametrize(("hours", "time"), [(40, 3), (40, 10), (100, 10)])
def test_too_short_for_any_slope(hours: float, time: float) -> None:
    with pytest.raises(Refused, match="run-short"):
        long_run.least_slope(hours, long_run.stated_memory(time, 1.0, 0.5))


def test_without_wander_it_is_the_line_of_a_library() -> None:
    """scipy.stats.linregress through the means of ten days of eight hours, of which no daily cycle is taken off."""
    found = long_run.slope(levels(80, rise=8.0, pause=16.0), 0.0)
    hour, mean, _ = zip(*found.block, strict=True)
    line = stats.linregress(hour, mean)
    assert found.value == pytest.approx(100 * line.slope, rel=1e-9)
    assert found.se == pytest.approx(100 * line.stderr, rel=1e-6)
    assert found.high - found.value == pytest.approx(stats.t.ppf(0.975, 8) * found.se, rel=1e-9)
    assert found.end_se == pytest.approx(
        line.stderr * math.sqrt(np.var(hour) + (found.hour - np.mean(hour)) ** 2), rel=1e-6
    )  # textbook error of a line: s² (1/n + (x - mean)²/Sxx)


def test_a_daily_cycle_is_taken_off_and_its_cost_is_counted() -> None:
    """The same run with a sine of a day on it has the same line; its error is wider than of the block means alone."""
    run = levels(100, rise=8.0)
    turned = Levels(run.hour, run.clock, run.level + 4 * np.sin(2 * math.pi * run.clock / 24 + 1), run.side)
    plain, daily = long_run.slope(run, 0.0), long_run.slope(turned, 0.0)
    assert daily.value == pytest.approx(plain.value, rel=1e-9)
    assert daily.se == pytest.approx(plain.se, rel=1e-9)
    hour, mean, _ = zip(*plain.block, strict=True)
    assert plain.se > 100.01 * stats.linregress(hour, mean).stderr


@pytest.mark.parametrize(
    ("run", "time", "code"),
    [
        (levels(9), 1.0, "few-windows"),
        (levels(40), 1.0, "daily-cycle"),  # round the clock, less than four days
        (levels(32, pause=16.0), 1.0, "few-days"),  # four days of a bench that stands still at night
        (levels(120), None, "bench-not-known"),
        (levels(120), 4.1, "run-short"),  # a block of 24 h, 24.6 h asked
    ],
)
def test_refusals(run: Levels, time: float | None, code: str) -> None:
    with pytest.raises(Refused, match=code):
        long_run.slope(run, time)


def test_days_of_a_bench_that_stands_at_night_are_the_units() -> None:
    found = long_run.slope(levels(40, pause=16.0), 1.0)
    assert (found.blocks, found.df, found.by_day) == (5, 3, True)


def test_five_days_of_eight_hours_show_little() -> None:
    """Half-width 6.8 % per 100 h at a scatter of 0.5 % from day to day, of the house's methods, 10.5."""
    tally = cover.coverage(cover.Run(40, 0.0, noise=0.5, night=16, day_sd=0.5), 300)
    assert np.mean(tally.held["half"]) == pytest.approx(6.8, rel=0.15)


def test_windows_missing_and_pauses_not_known() -> None:
    run = levels(120)
    with pytest.raises(Refused, match="windows-missing"):
        long_run.slope(run.kept((run.hour < 50) | (run.hour > 66)), 1.0)
    unknown = Levels(run.hour, np.full(120, np.nan), run.level, run.side)
    with pytest.raises(Refused, match="pauses-not-known"):
        long_run.slope(unknown, 1.0)


def test_a_jump_that_nobody_wrote_down() -> None:
    run = levels(200)
    jumped = Levels(run.hour, run.clock, run.level + 5.0 * (run.hour > 120), run.side)
    assert long_run.jump(run) is None
    assert long_run.jump(jumped) == pytest.approx(120, abs=2)
    with pytest.raises(Refused, match="level-jumps"):
        long_run.slope(jumped, 1.0)
    recorded = Levels(run.hour, run.clock, jumped.level, (run.hour > 120).astype(np.int64))
    assert abs(long_run.slope(recorded, 1.0).value) < 3
    assert long_run.slope(recorded, 1.0).blocks == 8


def test_a_level_beforehand_is_told_to_twice_the_hours_only() -> None:
    found = long_run.slope(levels(120, rise=8.0), 0.0)
    level, low, high = long_run.at_hours(found, 200.0)
    assert low < 50 + 0.08 * 200 < high
    assert level == pytest.approx((low + high) / 2)
    assert high - low > long_run.at_hours(found, 130.0)[2] - long_run.at_hours(found, 130.0)[1]
    with pytest.raises(Refused, match="too-far-ahead"):
        long_run.at_hours(found, 241.0)


def test_the_memory_of_a_run() -> None:
    """A wander of a time constant of 5 h over 3 000 h, one of none, and one too short to tell."""
    rng = np.random.default_rng(3)
    found = [long_run.memory(cover.made(cover.Run(3000, 5.0, noise=0.2), rng)) for _ in range(9)]
    stated = long_run.stated_memory(5.0, 1.0, 0.2)
    assert np.median([each.time for each in found]) == pytest.approx(5.0, rel=0.25)
    assert np.median([each.least for each in found]) == pytest.approx(stated.least, rel=0.2)
    white = [long_run.memory(levels(300, seed)) for seed in range(9)]
    assert np.median([each.time for each in white]) == 0.0
    plain = long_run.stated_memory(0.0, 0.0, 1.0)
    assert np.median([each.least for each in white]) == pytest.approx(plain.least, rel=0.12)
    with pytest.raises(Refused, match="few-windows"):
        long_run.memory(levels(29))
