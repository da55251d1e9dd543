"""Logs of any steady step are judged by their own samples: made-up channels whose state is known."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logs.house import Folder
from sitegen.logs.join import Log, join
from sitegen.methods.health import health
from sitegen.streams.runlog.judged import NOT_RUN, channel_word, samples

HOURS = 10.0
RPM = math.pi / 30  # rad/s: exact


def log_of(folder: Path, step: float, flow: np.ndarray, speed: np.ndarray | None = None, oil: float = 90.0) -> Log:
    """A run logged every `step` s: speed [rpm] steady if not given, flow [L/min] as read, to a tenth."""
    revs = np.full(len(flow), 1800.0) if speed is None else speed
    rows = zip((step * np.arange(len(flow))).tolist(), revs.tolist(), flow.tolist(), strict=True)
    text = "Time,n,Q,T oil\n" + "".join(f"{t:g},{n:.0f},{q:.1f},{oil:g}\n" for t, n, q in rows)
    found, problems = join([Folder(folder).read(text, "speed", "blowby", "oil_temperature")])
    assert found is not None
    assert problems == []
    return found


def flow_of(seed: int, count: int) -> np.ndarray:
    """Blow-by [L/min] that scatters by 0.5 about a level that falls a little."""
    return np.asarray(50 - 4 * np.arange(count) / count + 0.5 * np.random.default_rng(seed).standard_normal(count))


@settings(max_examples=25, deadline=None)
@given(
    step=st.sampled_from([1, 2, 3, 5, 7, 10, 15, 20, 30, 45, 60, 90, 120]),
    seed=st.integers(0, 2**16),
    scatter=st.sampled_from([0.05, 0.2, 0.5]),
)
def test_a_channel_whose_samples_differ_is_not_stuck(
    tmp_path_factory: pytest.TempPathFactory, step: int, seed: int, scatter: float
) -> None:
    count = min(round(3600 * HOURS / step), 4000)
    flow = 50 + (flow_of(seed, count) - 50) * scatter / 0.5
    log = log_of(tmp_path_factory.mktemp("log"), step, flow)
    assert channel_word(log, "blowby") == "sound"
    own = samples(log, "blowby")
    assert own.step == pytest.approx(step)
    assert own.value * 60e3 == pytest.approx(np.round(flow, 1))  # the samples and nothing between them
    facts = log.facts["blowby"]
    assert (facts.low * 60e3, facts.high * 60e3) == pytest.approx((np.round(flow, 1).min(), np.round(flow, 1).max()))


@pytest.mark.parametrize("step", [1, 5, 20, 60, 120])
def test_a_channel_that_stands_still_is_stuck_at_any_step(tmp_path: Path, step: int) -> None:
    flow = flow_of(3, 400)
    flow[150:250] = flow[150]
    assert channel_word(log_of(tmp_path, step, flow), "blowby") == "stuck"
    flow = flow_of(3, 400)
    flow[150:156] = flow[150]  # of six samples nothing is said, whatever time they take
    assert channel_word(log_of(tmp_path, step, flow), "blowby") == "sound"
    assert channel_word(log_of(tmp_path, step, np.full(400, 48.0)), "blowby") == "flat"


def test_healthy_slow_logs_are_hardly_ever_named() -> None:
    """500 logs of 1000 rows a minute apart, to whole L/min, so that every third step or so changes nothing."""
    named = 0
    for seed in range(500):
        flow = np.round(flow_of(seed, 1000))
        named += "stuck" in health(flow, 60.0, 1.0, moving=np.ones(1000, dtype=bool)).words
    assert named == 0


def test_means_of_seconds_hide_no_extreme(tmp_path: Path) -> None:
    """Ten rows a second: the bin's mean is in the middle, least and most are those of the rows."""
    flow = flow_of(1, 600)
    flow[305] = 90.0
    log = log_of(tmp_path, 0.1, flow)
    assert log.facts["blowby"].high * 60e3 == pytest.approx(90.0)
    assert log.bins["blowby"].max() * 60e3 < 60.0


def test_nothing_is_judged_where_the_engine_never_ran(tmp_path: Path) -> None:
    log = log_of(tmp_path, 1, flow_of(1, 400), speed=np.full(400, 12.0))
    assert {channel_word(log, channel) for channel in log.channels} == {NOT_RUN}


@pytest.mark.parametrize("step", [1, 30])
def test_an_oil_pressure_that_does_not_follow_the_speed(tmp_path: Path, step: int) -> None:
    """3.201 bar from 800 to 1300 rpm, to a millibar, is no oil pressure; one that rises by a tenth is."""
    speed = np.repeat([800.0, 1000.0, 1300.0], 200)
    for rise, word in ((0.0, "flat"), (0.1, "sound")):
        bar = 3.2 + 0.001 * (np.arange(600) % 2) + rise * 3.2 * (speed - 800) / 500
        rows = zip((step * np.arange(600)).tolist(), speed.tolist(), bar.tolist(), strict=True)
        text = "Time,n,p oil\n" + "".join(f"{t:g},{n:.0f},{p:.3f}\n" for t, n, p in rows)
        found, _ = join([Folder(tmp_path).read(text, "speed", ("oil_pressure", "p oil", "bar gauge"))])
        assert found is not None
        assert channel_word(found, "oil_pressure") == word
