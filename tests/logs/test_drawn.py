"""What of a long log is drawn: means of stretches in their order, the least and the most of each kept."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import cast

import numpy as np
import pandas as pd
import pytest

from sitegen.logs.join import Log
from sitegen.streams.runlog.sections import pieces, thinned


def log_of(value: np.ndarray, width: float = 2.0, gaps: tuple[tuple[float, float], ...] = ()) -> Log:
    spread = np.abs(np.sin(np.arange(len(value))))
    bins = {
        "t": width * np.arange(len(value)),
        "speed": value,
        "speed.low": value - spread,
        "speed.high": value + spread,
    }
    return cast(Log, SimpleNamespace(bins=pd.DataFrame(bins), width=width, gaps=gaps, seconds=width * len(value)))


@pytest.mark.parametrize("count", [1, 2, 39, 40, 41, 79, 80, 1000, 1039])
@pytest.mark.parametrize("most", [1, 40])
def test_stretches_are_even_and_lose_no_extreme(count: int, most: int) -> None:
    """As numpy parts an array into pieces that differ by one at most, the longer first."""
    value = 150 + 20 * np.cos(np.arange(2.0 * count) ** 2)
    value[::2] = np.nan  # bins without a sample
    log = log_of(value)
    points = thinned(log, "speed", most)
    parts = np.array_split(np.arange(1, 2 * count, 2), min(most, count))
    assert len(points) == len(parts)
    for (t, mean, low, high), part in zip(points, parts, strict=True):
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
    assert [t for t, *_ in points if 200 < t < 400] == []
    assert pieces(log, points) == [0] * sum(t < 200 for t, *_ in points) + [1] * sum(t > 400 for t, *_ in points)


def test_a_channel_without_a_sample_draws_nothing() -> None:
    assert thinned(log_of(np.full(7, np.nan)), "speed", 40) == []
