"""Rates over fills: against a library and by hand, and simulated coverage."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from sitegen.methods import oil_hours
from sitegen.vocabulary import Refused

DRAWS = 4000


def test_total_over_total_and_not_the_mean_of_the_rates() -> None:
    # by hand: 0.1 kg in 5 h and 0.8 kg in 95 h are 9 g/h, the mean of 20 and 8.4 g/h is not
    found = oil_hours.rate([0.1, 0.8], [0.01, 0.01], [5.0, 95.0])
    assert found.value == pytest.approx(0.009)
    assert found.these_only
    assert found.high - found.value == pytest.approx(1.959964 * math.sqrt(2) * 0.01 / 100, rel=1e-6)


def test_equal_intervals_are_the_t_interval_of_a_library() -> None:
    lost, hours = [0.30, 0.34, 0.31, 0.33, 0.29], [25.0, 25.0, 25.0, 25.0, 25.0]
    rates = np.array(lost) / 25
    low, high = stats.t.interval(0.95, 4, loc=rates.mean(), scale=stats.sem(rates))  # scipy
    found = oil_hours.rate(lost, [0.001] * 5, hours)
    assert (found.low, found.high) == pytest.approx((low, high))
    assert not found.these_only


def test_a_trend_is_the_line_of_a_library() -> None:
    at, rates = [12.5, 37.5, 62.5, 87.5, 112.5], [14.0, 14.6, 14.2, 15.5, 15.1]
    line = stats.linregress(at, rates)  # scipy
    found = oil_hours.trend(rates, at, [0.0] * 5, oil_hours.TREND)
    half = stats.t.ppf(0.975, 3) * line.stderr
    assert (found.value, found.high - found.value) == pytest.approx((line.slope, half))


def test_what_is_too_few_is_refused() -> None:
    for count, fewest in ((4, oil_hours.TREND), (2, oil_hours.METAL), (0, oil_hours.METAL)):
        with pytest.raises(Refused) as why:
            oil_hours.trend([1.0] * count, list(range(count)), [0.1] * count, fewest)
        assert why.value.code == "few-intervals"
    for hours in ([], [0.0, 1.0]):
        with pytest.raises(Refused) as why:
            oil_hours.rate([0.1] * len(hours), [0.01] * len(hours), hours)
        assert why.value.code == "no-hours"


def weighed(random: np.random.Generator, count: int) -> tuple[np.ndarray, np.ndarray]:
    """Oil lost by interval of 25 h: 14 g/h, 10 % of its own scatter, a weighing of 5 % of it shared by neighbours."""
    true = 0.35 * (1 + random.normal(0, 0.10, (DRAWS, count)))
    weighing = random.normal(0, 0.05 * 0.35, (DRAWS, count + 1))
    return true, true + np.diff(weighing, axis=1)


@pytest.mark.parametrize("count", [4, 6])
def test_the_rate_to_come_lies_in_the_interval_of_equal_intervals(count: int) -> None:
    _, lost = weighed(np.random.default_rng(count), count)
    found = [oil_hours.rate(each, [0.0175] * count, [25.0] * count) for each in lost]
    assert np.mean([each.low <= 0.014 <= each.high for each in found]) >= 0.944


@pytest.mark.parametrize("count", [1, 3])
def test_of_fewer_the_rate_of_these_very_hours_does(count: int) -> None:
    true, lost = weighed(np.random.default_rng(count), count)
    se = 0.0175 * math.sqrt(2 / count)  # of a sum of differences the ends alone remain
    held = 0
    for each, own in zip(lost, true, strict=True):
        found = oil_hours.rate(each, [se] * count, [25.0] * count)
        held += found.low <= own.sum() / (25 * count) <= found.high
    assert held / DRAWS >= 0.944


@pytest.mark.parametrize(("count", "own"), [(3, 0.0), (3, 0.05), (5, 0.0), (5, 0.1)])
def test_a_change_lies_in_its_interval(count: int, own: float) -> None:
    """A rate of 2 mg/h that rises by 0.3 mg/h in 100 h, read to 0.08 mg/h, with or without a scatter of its own."""
    random = np.random.default_rng(count)
    at = 25.0 * np.arange(count) + 12.5
    rates = 2 + 0.003 * at + random.normal(0, 0.08, (DRAWS, count)) + random.normal(0, own, (DRAWS, count))
    found = [oil_hours.trend(each.tolist(), at.tolist(), [0.08] * count, oil_hours.METAL) for each in rates]
    assert np.mean([each.low <= 0.003 <= each.high for each in found]) >= 0.944
