"""Two meters against the published example, tables of tolerance factors, and simulated coverage."""

from __future__ import annotations

from contextlib import suppress
from operator import attrgetter

import numpy as np
import pytest
from house import one_of
from methods import steady_coverage as cover

from sitegen.methods import twometers
from sitegen.vocabulary import Refused

# Peak expiratory flow of 17 subjects [L/min], first reading with each of two meters: J. M. Bland and D. G. Altman,
# Statistical methods for assessing agreement between two methods of clinical measurement, Lancet 327 (1986) 307, table.
LARGE = (494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427)
SMALL = (512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451)


def test_published_peak_flow() -> None:
    bias, sd, lower, upper = twometers.limits(np.subtract(LARGE, SMALL).astype(float))
    assert [bias.value, sd] == pytest.approx([-2.118, 38.765], abs=5e-4)
    assert [lower.value, upper.value] == pytest.approx([-78.10, 73.86], abs=5e-3)
    # the paper rounds: 2 sd of 38.8 about -2.1, and its interval of the bias
    assert [bias.value - 2 * sd, bias.value + 2 * sd] == pytest.approx([-79.7, 75.5], abs=0.1)
    assert [bias.low, bias.high] == pytest.approx([-22.0, 17.8], abs=0.1)
    # the paper's approximate intervals of the limits, -114.3 to -45.1 and 40.9 to 110.1 (se sqrt(3 sd^2/n)), are
    # symmetrical; the exact ones reach further outwards and less far inwards
    assert lower.low < -114.3
    assert lower.high > -79.7
    assert upper.high > 110.1
    assert upper.value - upper.low < upper.high - upper.value


@pytest.mark.parametrize(
    # one-sided tolerance factors at 95 % confidence: M. G. Natrella, Experimental Statistics, NBS Handbook 91 (1963),
    # table A-7 (also in MIL-HDBK-17); retyped from memory
    ("n", "share", "factor"),
    [(5, 0.90, 3.407), (10, 0.95, 2.911), (20, 0.95, 2.396)],
)
def test_tolerance_factors_of_the_tables(n: int, share: float, factor: float) -> None:
    assert twometers.quantile_factors(n, n - 1, share, 0.10)[1] == pytest.approx(factor, abs=1e-3)


def test_factors_agree_with_the_distribution_of_scipy() -> None:
    from scipy.stats import nct

    for n in (10, 17, 200):
        exact = [float(nct.ppf(q, n - 1, 1.959963984540054 * n**0.5)) / n**0.5 for q in (0.025, 0.975)]
        assert list(twometers.quantile_factors(n, n - 1)) == pytest.approx(exact, rel=1e-9)


@pytest.mark.parametrize("case", one_of(cover.PAIRS, lambda case: case == cover.Pair(10, 5.0, 2.0), attrgetter("name")))
def test_printed_intervals_hold(case: cover.Pair) -> None:
    tally = cover.pair_of(case, 300)
    for what in ("bias", "lower limit", "upper limit"):
        # at the gate itself those that pass are the lucky ones: there only the share of wrong ones is claimed
        assert tally.wrong(what) <= 1 - cover.NOMINAL + 3 * (0.056 * 0.944 / tally.records) ** 0.5
        if case.constants > 3.5:
            assert tally.share(what) >= cover.NOMINAL - tally.tolerance(what, cover.NOMINAL), what


def test_the_averaging_time_belongs_to_the_answer() -> None:
    # independent samples: means of 60 scatter 60^-1/2 as much, any text
    rng = np.random.default_rng(12)
    a = 30 + rng.standard_normal(36_000)
    single = twometers.agreement(a, a - 0.5 - 2 * rng.standard_normal(36_000), 1.0, 1.0)
    rng = np.random.default_rng(12)
    a = 30 + rng.standard_normal(36_000)
    minute = twometers.agreement(a, a - 0.5 - 2 * rng.standard_normal(36_000), 1.0, 60.0)
    assert single.sd / minute.sd == pytest.approx(60**0.5, rel=0.1)
    assert single.bias.value == pytest.approx(minute.bias.value, abs=1e-9)
    assert minute.bias.low < 0.5 < minute.bias.high
    assert (minute.n, minute.averaging) == (600, 60.0)
    assert minute.level == pytest.approx(29.75, abs=0.1)
    assert minute.slope is None  # the level hardly moves


def test_a_difference_that_grows_with_the_flow_shows() -> None:
    rng = np.random.default_rng(13)
    level = 20 + 8 * cover.wander(rng, 1, 6000, 4.0)[0]  # a flow that changes faster than the averaging
    found = twometers.agreement(level * 1.02 + rng.standard_normal(6000), level * 0.98, 1.0, 20.0)
    assert found.slope is not None
    assert found.slope.low < 0.04 < found.slope.high
    assert found.slope.low > 0


def test_what_the_engine_does_is_in_neither() -> None:
    rng = np.random.default_rng(14)
    engine = 20 + 5 * cover.wander(rng, 1, 3600, 900.0)[0]
    found = twometers.agreement(engine + rng.standard_normal(3600) * 0.1, engine, 1.0, 60.0)
    assert found.sd == pytest.approx(0.1 / 60**0.5, rel=0.3)


def test_what_cannot_be_told() -> None:
    rng = np.random.default_rng(15)
    x = 20 + rng.standard_normal(1200)
    slow = cover.wander(rng, 1, 1200, 60.0)[0]
    for a, b, averaging, code in (
        (x, x + rng.standard_normal(1200), 150.0, "few-blocks"),
        (x, x + 0.25, 60.0, "channel-flat"),
        (x, np.full(1200, np.nan), 60.0, "few-blocks"),
        (x, x + slow, 60.0, "averaging-short"),
    ):
        with pytest.raises(Refused) as told:
            twometers.agreement(a, b, 1.0, averaging)
        assert told.value.code == code, code
    with pytest.raises(ValueError, match="as many"):
        twometers.agreement(x, x[:-1], 1.0, 60.0)


def test_gaps_of_either_meter() -> None:
    rng = np.random.default_rng(16)
    a = 20 + rng.standard_normal(3600)
    b = a - 1 + 0.2 * rng.standard_normal(3600)
    a[600:720], b[1800:1860] = np.nan, np.nan
    found = twometers.agreement(a, b, 1.0, 60.0)
    assert found.n == 57
    assert found.bias.low < 1 < found.bias.high


def test_too_short_an_averaging_time_is_mostly_refused() -> None:
    tally = cover.pair_of(cover.Pair(20, 2.0), 100)
    assert tally.refused["averaging-short"] >= 85


def test_blocks_that_wander_together_widen_the_interval() -> None:
    # theory of time series: at five time constants a block neighbours share 0.12; the mean of 40 scatters 11 % more
    x = cover.wander(np.random.default_rng(23), 40, 2400, 12.0)
    wider = []
    for row in x:
        with suppress(Refused):
            found = twometers.agreement(row, np.zeros(2400), 1.0, 60.0)
            wider.append((found.bias.high - found.bias.value) / (2.0227 * found.sd / 40**0.5))  # t on 39 df, any table
    assert len(wider) > 20
    assert np.median(wider) == pytest.approx(1.11, abs=0.05)
