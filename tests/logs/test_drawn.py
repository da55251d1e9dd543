"""What of a long log is drawn: means of stretches in their order, the least and the most of each kept."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import cast

import numpy as np
import pandas as pd
import pytest

from sitegen.logs.join import Log
from sitegen.streams.runlog.drawing import HIDDEN, line, pieces, thinned


def log_of(value: np.ndarray, width: float = 2.0, gaps: tuple[tuple[float, float], ...] = ()) -> Log:
    spread = np.abs(np.sin(np.arange(len(value))))
    bins = {
        "t": width * np.arange(len(value)),
        "speed": value,
        "speed.low": value - spread,
        "speed.high": value + spread,
    }
    known = {"speed": None}  # that it was logged is all that is asked
    return cast(
        Log,
        SimpleNamespace(
            bins=pd.DataFrame(bins), width=width, gaps=gaps, seconds=width * len(value), facts=known, drawn={}
        ),
    )


@pytest.mark.parametrize("count", [1, 2, 39, 40, 41, 79, 80, 1000, 1039])
@pytest.mark.parametrize("most", [1, 40])
def test_stretches_are_even_and_lose_no_extreme(count: int, most: int) -> None:
    """As numpy parts an array into pieces that differ by one at most, the longer first."""
    value = 150 + 20 * np.cos(np.arange(2.0 * count) ** 2)
    value[::2] = np.nan  # bins without a sample
    log = log_of(value)
    points = thinned(log, "speed", most)
    parts = np.array_split(np.arange(1, 2 * count, 2), min(most, count))
    assert len(points.t) == len(parts)
    for t, mean, low, high, part in zip(*points, parts, strict=True):
        assert t == pytest.approx(2.0 * part.mean() + 1.0, rel=1e-14)  # the middle of the bins
        assert mean == pytest.approx(math.fsum(value[part]) / len(part), rel=1e-14)
        assert low == min(log.bins["speed.low"].to_numpy()[part])
        assert high == max(log.bins["speed.high"].to_numpy()[part])


def test_a_line_breaks_where_the_record_does() -> None:
    """No stretch lies across a gap wider than points lie apart, and what lies on its two sides are two pieces."""
    value = np.full(400, 150.0)
    value[100:200] = np.nan
    log = log_of(value, gaps=((200.0, 400.0), (500.0, 504.0)))
    points = thinned(log, "speed", 40)
    assert [t for t in points.t if 200 < t < 400] == []
    assert pieces(log, points).tolist() == [0] * sum(points.t < 200) + [1] * sum(points.t > 400)


def test_a_channel_without_a_sample_draws_nothing() -> None:
    assert all(len(each) == 0 for each in thinned(log_of(np.full(7, np.nan)), "speed", 40))


def test_values_travel_as_whole_grains_and_what_the_eye_cannot_tell_is_left_out() -> None:
    """Read back, each lies within half of the fourth digit of what its run spans, whatever the runs beside it are."""
    slow = 150 + 0.4 * np.cos(np.arange(600.0) / 40)
    logs = [log_of(slow), log_of(20 * slow)]
    path, finer, paces = line(logs, "speed", 300)
    values = np.cumsum(path.steps) / path.grains
    expected = [thinned(log, "speed", 150) for log in logs]
    for run, (log, points) in enumerate(zip(logs, expected, strict=True)):
        own = np.flatnonzero(np.array(path.run) == run)
        rpm = [each * 30 / math.pi for each in points[1:]]
        wide = rpm[2].max() - rpm[1].min()
        half = 0.5 * 10.0 ** (math.floor(math.log10(wide)) - 3)
        assert np.abs(values[own] - rpm[0]).max() <= half * 1.0001
        low, high = (np.array(each)[own] / path.grains for each in (path.below, path.above))
        apart = rpm[2] - rpm[1]
        seen = low + high > 0
        assert (apart[seen] > HIDDEN * wide - 2 * half).all()
        assert (apart[~seen] <= HIDDEN * wide + 2 * half).all()
        assert np.abs(values[own] - low - rpm[1])[seen].max() <= half * 1.0001
        assert np.diff(np.array(path.at)[own]) == pytest.approx(log.seconds / 60 / len(own), abs=2e-4)
    assert (path.least, path.most) == (min(values - np.array(path.below) / path.grains),
                                       max(values + np.array(path.above) / path.grains))  # fmt: skip
    assert paces == [1200 / 150] * 2
    assert finer is None


def test_a_long_run_has_a_line_to_look_closer_at_and_grains_are_no_finer_than_the_values() -> None:
    told, finer, _ = line([log_of(np.tile([100.0, 130.0], 60_000))], "torque", 40)
    assert told.at == []  # the log has no such channel
    log = log_of(np.repeat([100.0, 130.0], 60_000) * math.pi / 30)
    log.bins["speed.low"] = log.bins["speed.high"] = log.bins["speed"]
    told, finer, paces = line([log], "speed", 40)
    assert told.grains == 1  # four digits of 30 rpm are hundredths, but all are whole
    assert len(told.at) == 40
    assert paces == [6000.0]
    assert finer is not None
    assert len(finer.at) == 4000
    assert np.cumsum(finer.steps).min() == 100
