"""Friction, running-in and wear on the rig against exact cases, other libraries, and simulated rates."""

from __future__ import annotations

import math
from itertools import permutations

import numpy as np
import pytest
from methods import rig_rates as rates
from scipy import stats

from sitegen.methods import rig, ties
from sitegen.methods.viscosity import at_temperature
from sitegen.vocabulary import Refused


def test_a_zero_of_the_cell_cancels_both_ways_and_misleads_one_way() -> None:
    # exact: mu N + o forward, -mu N + o back
    mu, load, offset = 0.11, 60.0, 2.4
    forward, back = np.array([mu * load + offset]), np.array([-mu * load + offset])
    assert rig.coefficient(forward, back, load)[0] == pytest.approx(mu, abs=1e-15)
    assert forward[0] / load - mu == pytest.approx(offset / load)
    mean = (np.abs(forward) + np.abs(back)) / 2  # right while the offset is below the friction
    assert rig.from_magnitude(mean, load, offset)[0] == pytest.approx(mu, abs=1e-15)
    root = math.sqrt((forward[0] ** 2 + back[0] ** 2) / 2) / load  # a root mean square is not
    assert root == pytest.approx(math.hypot(mu, offset / load))


def test_signs_exchanged_give_a_negative_coefficient() -> None:
    assert rig.coefficient(np.array([-6.0]), np.array([6.0]), 60.0)[0] == pytest.approx(-0.1)


def test_a_mean_magnitude_does_not_know_a_zero_beyond_the_friction() -> None:
    mu, load, offset = 0.03, 60.0, 2.4  # the mean of |mu N + o| and |-mu N + o| is o itself
    mean = np.array([(abs(mu * load + offset) + abs(-mu * load + offset)) / 2])
    assert mean[0] == pytest.approx(offset)
    with pytest.raises(Refused, match="offset-above-friction"):
        rig.from_magnitude(mean, load, offset)
    with pytest.raises(Refused, match="offset-not-known"):
        rig.from_magnitude(mean, load, None)


def test_viscosity_at_a_temperature() -> None:
    # a public worksheet on ASTM D341: 32 cSt at 40 degC and 5.4 at 100 give 8.5 at 80 degC; it leaves out the term for
    # thin oils and takes 273 for the zero of temperature
    assert at_temperature(32.0, 5.4, 353.15) == pytest.approx(8.5, abs=0.05)
    for nu_40, nu_100 in ((132.0, 14.3), (32.0, 5.4), (3.0, 1.2)):
        assert at_temperature(nu_40, nu_100, 313.15) == pytest.approx(nu_40, rel=1e-4)
        assert at_temperature(nu_40, nu_100, 373.15) == pytest.approx(nu_100, rel=2e-3)
    # the same line drawn by scipy through the two points
    line = stats.linregress(np.log10([313.15, 373.15]), [math.log10(math.log10(n + 0.7)) for n in (132.0, 14.3)])
    wanted = 10**10 ** (line.intercept + line.slope * math.log10(383.15)) - 0.7
    assert at_temperature(132.0, 14.3, 383.15) == pytest.approx(wanted, rel=1e-6)
    with pytest.raises(Refused, match="viscosities-reversed"):
        at_temperature(5.0, 6.0, 350.0)


def test_bands_do_not_hang_on_the_data_and_are_six_at_most() -> None:
    few = rig.bands([2e-8, 3e-8, 9e-8])
    assert set(few) <= set(rig.bands([2e-8, 3e-8, 9e-8, 4e-8]))
    many = rig.bands(np.geomspace(1e-10, 1e-6, 40).tolist())
    assert len(many) <= 6
    assert many[0][0] <= 1e-10
    assert many[-1][1] > 1e-6


def test_specific_wear_by_hand() -> None:
    # 0.02 mm3 under 100 N over 1 km: 2e-7 mm3/(N m)
    assert rig.wear_rate(0.02e-9, 100.0, 1000.0) * 1e9 == pytest.approx(2e-7)


def test_ratio_is_the_t_of_logarithms() -> None:
    chance = np.random.default_rng(5)
    for n, equal in ((3, True), (5, False)):
        own, other = np.exp(chance.normal(0.2, 0.1, n)), np.exp(chance.normal(0, 0.1, n))
        found = rig.ratio(own.tolist(), other.tolist())
        test = stats.ttest_ind(np.log(own), np.log(other), equal_var=equal)
        low, high = test.confidence_interval(0.95)
        assert (found.low, found.high) == pytest.approx((math.exp(low), math.exp(high)), rel=1e-9)


def test_one_specimen_has_a_ratio_and_no_interval() -> None:
    found = rig.ratio([0.09], [0.1, 0.11, 0.12])
    assert found.value < 1
    assert (found.low, found.high) == (None, None)
    assert rig.level([0.1]).low is None
    with pytest.raises(Refused, match="one-specimen"):
        rig.smallest_ratio(0.1, 1, 3)


def test_smallest_ratio_by_the_noncentral_t() -> None:
    # scipy's noncentral t, two-sided at 5 % with power 0.8; pooled at three a side
    for scatter, wanted in ((0.10, 1.36), (0.40, 3.4)):
        least = rig.smallest_ratio(scatter, 3, 3)
        assert least == pytest.approx(wanted, abs=0.03)
        shift = math.log(least) / (scatter * math.sqrt(2 / 3))
        cut = stats.t.ppf(0.975, 4)
        assert stats.nct.sf(cut, 4, shift) + stats.nct.cdf(-cut, 4, shift) == pytest.approx(0.8, abs=1e-4)
    # five a side by Welch, the test that is made: a little more than the 1.22 and 2.2 of pooled scatter
    assert rig.smallest_ratio(0.10, 5, 5) == pytest.approx(1.23, abs=0.005)
    assert rig.smallest_ratio(0.40, 5, 5) == pytest.approx(2.30, abs=0.01)


@pytest.mark.parametrize(
    ("n", "perfect", "one_swap"),
    [(3, 0.333, 1.0), (4, 0.083, 0.333), (5, 0.017, 0.083), (6, 0.003, 0.017)],
)
def test_what_the_order_of_few_coatings_can_show(n: int, perfect: float, one_swap: float) -> None:
    """Against scipy: Kendall's exact p, and every order of Spearman's."""
    order = [float(each) for each in range(n)]
    swapped = [order[1], order[0], *order[2:]]
    for other, wanted in ((order, perfect), (swapped, one_swap)):
        found = ties.rank_agreement(order, other, ["all"] * n)
        exact = stats.kendalltau(order, other, method="exact")
        assert (found.tau, found.p) == pytest.approx((exact.statistic, exact.pvalue), abs=1e-12)
        rho = stats.spearmanr(order, other).statistic
        every = [stats.spearmanr(order, each).statistic for each in permutations(order)]
        share = float(np.mean(np.abs(every) >= abs(rho) - 1e-9))
        assert found.p == pytest.approx(wanted, abs=5e-4)
        assert share == pytest.approx(wanted, abs=5e-4)
        assert (found.least_p <= 0.05) == (n >= 5)


def test_run_in_is_not_found_where_there_is_none_to_find() -> None:
    chance = np.random.default_rng(2)
    flat = rates.noisy(chance, 3600, 4.0, drop=0.0)
    with pytest.raises(Refused, match=r"no-change-beyond-scatter|settling-open-above"):
        rig.run_in(flat, 1.0)
    with pytest.raises(Refused, match="run-in-few-blocks"):
        rig.run_in(flat[:5], 1.0)
    early = [rates.noisy(chance, 3600, 0.0, sd=0.001)[:60] for _ in range(20)]  # a fifth of a time constant
    assert sum(rates.found_in(values) is not None for values in early) <= 1


def test_a_steady_part_that_moves_by_more_than_two_per_cent_is_refused() -> None:
    values = np.random.default_rng(1).normal(0.12, 0.001, 3600) + np.linspace(0, 0.02, 3600)
    with pytest.raises(Refused, match="still-running-in"):
        rig.steady_value(values, 1.0, 300.0)


def test_an_uneven_record_is_laid_on_a_grid() -> None:
    time = np.array([0.0, 1, 2, 3, 5, 6, 7])
    even, dt = rig.evenly(time, np.arange(7.0))
    assert dt == 1.0
    assert np.isnan(even[4])
    assert even[5] == 4.0
    with pytest.raises(Refused, match="times-not-rising"):
        rig.evenly(np.array([0.0, 2, 1]), np.zeros(3))
    with pytest.raises(Refused, match="record-short"):
        rig.evenly(np.array([0.0]), np.zeros(1))


def test_intervals_hold_in_simulation() -> None:
    """Small, of fixed draws; the large one: `PYTHONPATH=tests python -m methods.rig_rates`."""
    held, lost = rates.of_steady(60, seconds=1800, memory=3.0, fold=150.0)
    assert held >= 0.86
    assert lost <= 0.1
    found, missing = rates.of_run_in(60, seconds=1800, memory=3.0, fold=150.0)
    assert found >= 0.86
    assert missing <= 0.1
    nothing = sum(rates.found_in(rates.noisy(np.random.default_rng(n), 1800, 3.0, drop=0.0)) is None for n in range(40))
    assert nothing >= 36
    assert 0.935 <= rates.of_ratio(2000, 3, 0.1, 0.1) <= 0.965
    assert 0.89 <= rates.of_ratio(2000, 3, 0.1, 0.3) <= 0.945
    assert 0.935 <= rates.of_ratio(2000, 4, 0.1, 0.3) <= 0.97
    assert rates.of_strokes_as_units(300) < 0.3  # strokes as units
    assert 0.77 <= rates.of_smallest(2000, 3, 0.4) <= 0.84
    for n, wanted in ((5, 0.24), (6, 0.39)):
        assert rig.CHANCE[n] == wanted
        assert rates.of_agreement(2500, n) == pytest.approx(wanted, abs=0.03)
