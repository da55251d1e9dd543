"""Means of steady records: known records, theory of time series, simulated coverage on few draws.

`PYTHONPATH=tests python -m methods.steady_coverage --draws 10000` is the full check; a run
tries a case of each claim, `--tables` all of them. Seeds are fixed.
"""

from __future__ import annotations

import math
from contextlib import suppress
from operator import attrgetter

import numpy as np
import pytest
from house import one_of
from methods import steady_coverage as cover

from sitegen.methods import steady
from sitegen.methods import wander as method
from sitegen.vocabulary import Refused

DRAWS = 300
AT_OR_BEYOND = [case for case in cover.RECORDS if case.constants >= 15 and not case.drop]


def refusal(x: cover.Floats) -> str:
    with pytest.raises(Refused) as told:
        steady.batch_mean(x, 1.0)
    return told.value.code


@pytest.mark.parametrize(
    "case", one_of(AT_OR_BEYOND, lambda case: case == cover.Record(15.0, noise=1.0), attrgetter("name"))
)
def test_printed_means_hold(case: cover.Record) -> None:
    tally = cover.mean_of(case, DRAWS)
    assert tally.printed() > 0.3
    assert tally.share("mean") >= cover.AT_THE_GATE - tally.tolerance("mean", cover.AT_THE_GATE)


@pytest.mark.parametrize(
    "case",
    one_of(
        (c for c in cover.RECORDS if c.constants < 15),
        lambda case: case == cover.Record(8.0, noise=1.0),
        attrgetter("name"),
    ),
)
def test_short_records_are_mostly_refused_and_seldom_wrong(case: cover.Record) -> None:
    tally = cover.mean_of(case, DRAWS)
    assert tally.refused["record-short"] >= 0.5 * tally.records
    assert tally.wrong("mean") <= 1 - cover.NOMINAL + 3 * math.sqrt(0.056 * 0.944 / DRAWS)


def test_an_effective_number_from_lag_one_would_fail() -> None:
    # why it is not used: noise beside the wander hides it from neighbouring samples
    x = cover.wander(np.random.default_rng(4), 300, 1800, 60.0)
    x += 3 * np.random.default_rng(5).standard_normal(x.shape)
    held = []
    for row in x:
        off = row - row.mean()
        r = float(off[1:] @ off[:-1] / (off @ off))
        effective = len(row) * (1 - r) / (1 + r)
        held.append(abs(row.mean()) <= 1.96 * row.std(ddof=1) / math.sqrt(effective))
    assert np.mean(held) < 0.72
    tally = cover.mean_of(cover.Record(30.0, noise=3.0), DRAWS)
    assert tally.share("mean") > 0.88


@pytest.mark.parametrize(("noise", "accuracy"), [(0.0, 0.25), (1.0, 0.25), (3.0, 0.35)])
def test_known_time_constant(noise: float, accuracy: float) -> None:
    # median over records of 100 time constants; each is good to some 20 %
    rng = np.random.default_rng(8)
    x = cover.wander(rng, 40, 10_000, 100.0) + noise * rng.standard_normal((40, 10_000))
    found = float(np.median([steady.correlation_time(row, 0.5) for row in x]))
    assert found == pytest.approx(50.0, rel=accuracy)  # 100 samples of half a second


def test_a_fast_time_constant_is_found_in_a_long_record() -> None:
    x = cover.wander(np.random.default_rng(2), 5, 150_000, 6.0)
    assert float(np.median([steady.correlation_time(row, 1.0) for row in x])) == pytest.approx(6.0, rel=0.15)


def test_white_noise_has_no_time_constant_and_the_error_of_theory() -> None:
    # any text: the variance of a mean of n independent samples is sigma^2/n
    x = 7 + 2 * np.random.default_rng(3).standard_normal((200, 600))
    found = []
    for row in x:
        with suppress(Refused):
            found.append(steady.batch_mean(row, 1.0))
    assert len(found) > 170
    assert np.mean([each.correlation_time == 0 for each in found]) > 0.8
    plain = [each.se**2 for each in found if each.correlation_time == 0]
    assert np.mean(plain) == pytest.approx(4 / 600, rel=0.2)  # chi-squared on 4 df over some 170 records: 5 %
    one = found[0]
    assert (one.high - one.value) / one.se == pytest.approx(2.776, abs=5e-4)  # Student's t on 4 df, any table
    assert (one.n, one.df) == (600, 4)


def test_widening_is_what_the_covariances_make_it() -> None:
    # by direct summing of exp(-|i-j|/time) over all pairs of fine steps, one time constant, no noise
    times, shares = method._TIMES, method._SHARES
    likelihood = np.zeros((len(times), len(shares)))
    likelihood[17, -1] = 1.0
    time = float(times[17])
    found = method.Wander(time, 0.0, 1.0, 1.0, likelihood).widening(5, 12.0)
    fine = np.arange(1200) / 20  # sixty blocks, twenty steps each
    table = np.exp(-np.abs(fine[:, None] - fine) / time).reshape(5, 240, 5, 240).mean(axis=(1, 3))
    of_mean = table.mean()
    of_scatter = (np.trace(table) / 5 - of_mean) / 4
    assert found == pytest.approx(of_mean / of_scatter, rel=2e-3)


def test_a_trend_says_still_running_in() -> None:
    x = np.random.default_rng(6).standard_normal(1800) + np.linspace(2, 0, 1800)
    assert refusal(x) == "still-running-in"
    run_in = 30 * (1 + 0.3 * np.exp(-np.arange(3600) / 900)) + np.random.default_rng(7).standard_normal(3600)
    assert refusal(run_in) in {"still-running-in", "record-short"}


def test_steady_records_are_seldom_called_running_in() -> None:
    tally = cover.mean_of(cover.Record(30.0, noise=1.0), 300)
    assert tally.refused["still-running-in"] <= 300 * (0.05 + 3 * math.sqrt(0.05 * 0.95 / 300))


def test_what_cannot_be_averaged() -> None:
    rng = np.random.default_rng(1)
    assert refusal(np.ones(29)) == "record-short"
    assert refusal(np.full(500, 12.5)) == "channel-flat"
    assert refusal(np.full(500, np.nan)) == "record-short"
    holes = rng.standard_normal(500)
    holes[210:290] = np.nan
    assert refusal(holes) == "record-gaps"
    with pytest.raises(Refused) as told:
        steady.correlation_time(np.full(100, 3.0), 1.0)
    assert told.value.code == "channel-flat"


def test_missing_samples_and_the_edges_of_a_record() -> None:
    x = 5 + np.random.default_rng(9).standard_normal(3000)
    holed = x.copy()
    holed[1000:1010] = np.nan
    padded = np.r_[np.full(700, np.nan), holed, np.full(300, np.nan)]
    found = steady.batch_mean(padded, 1.0)
    assert found.n == 2990
    assert found.value == pytest.approx(np.nanmean(holed), abs=0.01)
    whole = steady.batch_mean(x, 1.0)
    assert whole.value == pytest.approx(x.mean(), rel=1e-12)
    shifted = steady.batch_mean(1000 + 10 * x, 1.0)  # another unit: the same statement
    assert (shifted.value - 1000) / 10 == pytest.approx(whole.value)
    assert shifted.se / 10 == pytest.approx(whole.se)
    assert shifted.correlation_time == pytest.approx(whole.correlation_time)


def test_unsteadiness_of_known_signals() -> None:
    rng = np.random.default_rng(10)
    noise = 0.8 * rng.standard_normal(20_000)
    # normal noise: 1.4826 MAD is its standard deviation; a running median, being one of the 61 samples, takes some 2 %
    assert steady.unsteadiness(noise, 61) == pytest.approx(0.8, rel=0.03)
    slow = 30 + 5 * np.sin(np.arange(20_000) / 3000)
    assert steady.unsteadiness(slow + noise, 61) == pytest.approx(0.8, rel=0.03)
    spiked = slow + noise
    spiked[::50] += 40
    assert steady.unsteadiness(spiked, 61) == pytest.approx(0.8, rel=0.05)
    spiked[::7] = np.nan
    assert steady.unsteadiness(spiked, 61) == pytest.approx(0.8, rel=0.05)
    assert steady.unsteadiness(np.full(500, 3.0), 61) == 0
    assert math.isnan(steady.unsteadiness(np.ones(20), 61))


def test_seconds_or_minutes_make_no_difference() -> None:
    x = cover.wander(np.random.default_rng(22), 1, 6000, 100.0)[0]
    one, other = steady.batch_mean(x, 1.0), steady.batch_mean(x, 1 / 60)
    assert other.se == pytest.approx(one.se, rel=1e-12)
    assert other.correlation_time * 60 == pytest.approx(one.correlation_time)
