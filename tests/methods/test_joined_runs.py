"""Slopes over long runs put one behind the other, with checks and oil changes between: simulated coverage."""

from __future__ import annotations

import math

import numpy as np
import pytest

from sitegen.methods import long_run
from sitegen.methods.intervals import student_95
from sitegen.methods.long_run import Levels
from sitegen.streams.runlog.hours.whole import free
from sitegen.vocabulary import Refused

DRAWS = 1000
RISE = 6.0  # % in 100 h


def run(random: np.random.Generator, *, parts: int, hours: int, pause: float, daily: float) -> Levels:
    """Windows of an hour in runs of so many hours, each after a pause: wander 1 % that forgets by the hour and begins
    anew with each run, scatter of a window 0.5 %, a daily cycle; each change of oil moves the level by 0.5 %.
    """
    rows: list[tuple[float, float, float, int]] = []
    day = random.uniform(0, 24)
    for part in range(parts):
        wander, shift = random.normal(0, 1), random.normal(0, 0.5)
        for at in range(hours):
            wander = math.exp(-1) * wander + random.normal(0, math.sqrt(1 - math.exp(-2)))
            run_, clock = part * hours + at + 0.5, part * (hours + pause) + at + 0.5
            level = 100 + RISE / 100 * run_ + wander + shift + random.normal(0, 0.5)
            level += daily * math.sin(2 * math.pi * (clock - day) / 24)
            rows.append((run_, clock, level, part))
    hour, clocks, levels, sides = (np.array(each) for each in zip(*rows, strict=True))
    return Levels(hour, clocks, levels, sides.astype(np.int64))


@pytest.mark.parametrize(
    ("parts", "hours", "pause", "daily"), [(4, 25, 23.0, 0.8), (2, 50, 12.0, 0.8), (4, 25, 1.0, 2.0)]
)
def test_the_slope_lies_in_its_interval(parts: int, hours: int, pause: float, daily: float) -> None:
    random = np.random.default_rng(parts * hours + int(pause))
    told: list[bool] = []
    for _ in range(DRAWS):
        try:
            found = long_run.slope(run(random, parts=parts, hours=hours, pause=pause, daily=daily), 1.0)
        except Refused as why:
            if why.code != "level-jumps":  # a wander is taken for a jump now and then
                raise
            continue
        told.append(abs(found.value - RISE) <= student_95(free(found, parts)) * found.se)
    assert len(told) > 0.9 * DRAWS
    assert sum(told) / len(told) >= 0.944
