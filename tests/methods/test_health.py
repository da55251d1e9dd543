"""Channel health on signals that are ill on purpose, and on healthy ones."""

from __future__ import annotations

import numpy as np
import pytest
from methods.steady_coverage import Floats, wander
from scipy.signal import lfilter

from sitegen.methods.health import WORDS, Health, health

N = 3600


def blowby(seed: int = 1) -> tuple[Floats, np.ndarray[tuple[int], np.dtype[np.bool_]]]:
    """An hour of a healthy blow-by channel [L/min], two stops of a minute, and where the engine turns."""
    rng = np.random.default_rng(seed)
    moving = np.ones(N, dtype=bool)
    moving[1200:1260] = moving[2400:2460] = False
    load = np.select([np.arange(N) < 900, np.arange(N) < 2000], [20.0, 26.0], 32.0)
    flow = load + wander(rng, 1, N, 30.0)[0] + 0.5 * rng.standard_normal(N)
    return np.where(moving, flow, 0.0), moving


def spans(found: Health, word: str) -> list[tuple[float, float]]:
    return [(span.start, span.end) for span in found.spans if span.word == word]


@pytest.mark.parametrize("resolution", [None, 0.01, 0.5])
def test_healthy_channels_are_left_alone(resolution: float | None) -> None:
    named = 0
    for seed in range(100):
        flow, moving = blowby(seed)
        if resolution:
            flow = np.round(flow / resolution) * resolution
        named += bool(health(flow, 1.0, resolution, 2.0, 60.0, moving).words)
    assert named <= 1


def test_a_slow_coarse_temperature_may_stand_still() -> None:
    degrees = np.round(90 + 3 * np.sin(np.arange(N) / 900) + 0.05 * np.random.default_rng(1).standard_normal(N))
    assert health(degrees, 1.0, resolution=1.0).words == ()


def test_flat_is_not_zero() -> None:
    _, moving = blowby()
    assert health(np.full(N, 21.5), 1.0, moving=moving).words == ("flat",)
    assert spans(health(np.full(N, 21.5), 0.5), "flat") == [(0.0, N / 2)]
    assert health(np.where(np.arange(N) % 2, 21.5, 21.6), 1.0, resolution=0.1).words == ("flat",)
    assert health(np.zeros(N), 1.0, moving=moving).words == ("zero",)
    assert health(np.zeros(N), 1.0).words == ("flat",)  # of a channel that need not move


def test_zero_while_the_engine_turns() -> None:
    flow, moving = blowby()
    flow[300:360] = 0
    found = health(flow, 1.0, 0.01, moving=moving)
    assert found.words == ("zero",)
    assert spans(found, "zero") == [(300.0, 360.0)]  # and not the stops


@pytest.mark.parametrize("resolution", [None, 0.1])
def test_stuck_stretch(resolution: float | None) -> None:
    flow, moving = blowby()
    if resolution:
        flow = np.round(flow / resolution) * resolution
    flow[500:620] = flow[500]
    found = health(flow, 1.0, resolution, moving=moving)
    assert found.words == ("stuck",)
    ((start, end),) = spans(found, "stuck")
    assert start == pytest.approx(500, abs=2)
    assert end == pytest.approx(620, abs=2)
    flow[500:620] = blowby()[0][500:620]
    flow[500:515] = flow[500]  # fifteen seconds are not named
    assert health(flow, 1.0, resolution, moving=moving).words == ()


def test_clipped_at_its_own_largest_and_at_the_end_of_the_range() -> None:
    flow, moving = blowby()
    cut = np.minimum(flow, 32.0)
    found = health(cut, 1.0, moving=moving)
    assert found.words == ("clipped",)
    assert sum(b - a for a, b in spans(found, "clipped")) > 0.5 * float(np.sum(flow > 32.0))
    assert all(a >= 2000 for a, _ in spans(found, "clipped"))
    over = np.minimum(flow, 33.5)
    assert "clipped" in health(over, 1.0, high=33.5, moving=moving).words
    assert health(flow, 1.0, high=60.0, moving=moving).words == ()


def test_clipped_from_below() -> None:
    flow, moving = blowby()
    cut = np.where(moving, np.maximum(flow, 20.0), 0.0)
    assert health(cut[:1200], 1.0).words == ("clipped",)


def test_below_the_range_while_it_turns() -> None:
    flow, moving = blowby()
    found = health(flow, 1.0, low=19.0, moving=moving)
    assert found.words == ("below-range",)
    under = sum(b - a for a, b in spans(found, "below-range"))
    assert under == float(np.sum((flow < 19.0) & moving))  # the stops do not count
    assert health(flow, 1.0, low=10.0, moving=moving).words == ()


def test_zero_that_drifts_between_stops() -> None:
    flow, moving = blowby()
    flow[2400:2460] += 2.0
    flow += 0.01 * np.random.default_rng(3).standard_normal(N)
    found = health(flow, 1.0, moving=moving)
    assert found.words == ("drifting-zero",)
    assert spans(found, "drifting-zero") == [(1200.0, 1260.0), (2400.0, 2460.0)]
    flow[2400:2460] -= 1.7  # 0.3 of some 26 L/min is less than 2 %
    assert health(flow, 1.0, moving=moving).words == ()


def test_jumps_there_and_back_but_no_steps_of_load() -> None:
    flow, moving = blowby()
    for at in (400, 1500, 3000):
        flow[at : at + 2] += 60
    found = health(flow, 1.0, moving=moving)
    assert found.words == ("jumps",)
    assert spans(found, "jumps") == [(400.0, 402.0), (1500.0, 1502.0), (3000.0, 3002.0)]
    flow, moving = blowby()
    flow[400:402] += 60  # one alone is a stray sample
    assert health(flow, 1.0, moving=moving).words == ()


def test_several_at_once_in_fixed_order_and_gaps_are_none_of_them() -> None:
    flow, moving = blowby()
    flow[300:360], flow[2600:2800] = 0, flow[2600]
    flow[700:800] = np.nan
    found = health(flow, 1.0, 0.01, moving=moving)
    assert found.words == ("stuck", "zero")
    assert [word for word in WORDS if word in found.words] == list(found.words)
    assert list(found.spans) == sorted(found.spans)
    assert health(np.full(50, np.nan), 1.0) == Health((), ())


def test_zero_and_standstill_are_not_below_the_range() -> None:
    flow, moving = blowby()
    flow[300:360] = 0
    assert health(flow, 1.0, 0.01, low=2.0, moving=moving).words == ("zero",)
    flow, moving = blowby()
    flow[~moving] = 0.5  # the same at both stops
    assert health(flow, 1.0, 0.01, low=2.0, moving=moving).words == ()


def _wandering(chance: np.random.Generator, count: int, sd: float, kept: float) -> np.ndarray:
    fresh = chance.normal(0, sd * np.sqrt(1 - kept**2), count)
    return np.asarray(lfilter([1.0], [1.0, -kept], fresh))


@pytest.mark.parametrize("kept", [0.0, 0.5, 0.8])
def test_a_display_of_few_digits_is_not_called_stuck(kept: float) -> None:
    """A held torque shown in whole newton metres, a row in ten seconds, for 25 h: fewer than one log in a hundred."""
    chance = np.random.default_rng(17)
    called = 0
    for _ in range(200):
        count = 9000
        held = np.where(np.arange(count) % 360 < 330, 140.0, 60.0)
        shown = np.round(held + _wandering(chance, count, 0.45, kept))
        called += "stuck" in health(shown, 10.0, 1.0, moving=np.ones(count, dtype=bool)).words
    assert called <= 2


def test_one_that_stuck_among_few_digits_is_found() -> None:
    chance = np.random.default_rng(3)
    shown = np.round(140 + _wandering(chance, 9000, 0.45, 0.5))
    shown[4000:4400] = shown[4000]
    found = health(shown, 10.0, 1.0, moving=np.ones(9000, dtype=bool))
    (span,) = [each for each in found.spans if each.word == "stuck"]
    assert span.start <= 40_000
    assert span.end >= 43_990


def test_a_temperature_that_comes_to_rest_is_not_stuck() -> None:
    """First-order lag to 43.1 °C shown in whole degrees, a row in ten seconds."""
    at = np.arange(0, 3600, 10.0)
    shown = np.round(43.1 - 13 * np.exp(-at / 300))
    assert health(shown, 10.0, 1.0).words == ()
