"""Torque is judged while the engine is loaded: standing, coasting and idling are no faults, a dead cell is one."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from logs.test_implausible import Made, engine, log_of, other
from sitegen.streams.runlog.judged import channel_word

STANDS = ((0, 60), (1800, 1920), (3480, 3600))  # s


def stopped(level: tuple[float, float, float] = (0.0, 0.0, 0.0)) -> Made:
    """An hour with three standstills, and the torque at each."""
    made = engine(minutes=60.0)
    t = made["Time"]
    still = [(t >= begin) & (t < end) for begin, end in STANDS]
    anywhere = np.any(still, axis=0)
    torque = np.select(still, level, made["torque"])
    found = {name: np.where(anywhere, 0.0, made[name]) for name in ("speed", "blowby")}
    return other(made, torque=torque, **found)


def during(made: Made, begin: float, end: float, **values: float) -> Made:
    there = (made["Time"] >= begin) & (made["Time"] < end)
    return other(made, **{name: np.where(there, value, made[name]) for name, value in values.items()})


def word(tmp_path: Path, made: Made, channel: str = "torque") -> str:
    return channel_word(log_of(tmp_path, made), channel)


def test_an_engine_that_stands_has_no_torque_and_a_brake_may_hold_it(tmp_path: Path) -> None:
    (tmp_path / "held").mkdir()
    assert word(tmp_path, stopped()) == "sound"
    assert word(tmp_path / "held", stopped((0.0, 9.0, -6.0))) == "sound"


def test_warming_up_cooling_down_and_idling_without_load(tmp_path: Path) -> None:
    made = during(during(stopped(), 60, 180, torque=0.0), 1700, 1800, torque=0.0)  # at the speed of the load
    assert word(tmp_path, during(made, 2400, 3000, torque=0.0, speed=700.0)) == "sound"


def test_coasting_to_a_standstill(tmp_path: Path) -> None:
    made = stopped()
    t = made["Time"]
    there = (t >= 1800) & (t < 1840)
    speed = made["speed"].copy()
    speed[there] = np.linspace(1500, 0, int(there.sum()))
    assert word(tmp_path, other(made, speed=speed)) == "sound"


def test_a_speed_read_once_a_minute_does_not_turn_an_engine_that_stands(tmp_path: Path) -> None:
    """Nor is an engine whose speed is not known at a standstill."""
    made = stopped()
    rare = np.where(np.arange(len(made["Time"])) % 60 == 0, made["speed"], np.nan)
    for name, speed in {"rare": rare, "lost": during(made, 600, 720, speed=np.nan)["speed"]}.items():
        (tmp_path / name).mkdir()
        log = log_of(tmp_path / name, other(made, speed=speed))
        assert [channel_word(log, channel) for channel in ("torque", "blowby")] == ["sound", "sound"], name


@pytest.mark.parametrize(("begin", "end"), [(600, 700), (2900, 3480), (60, 3480)])
def test_a_cell_that_dies_under_load_is_told(begin: float, end: float, tmp_path: Path) -> None:
    """In between, to the last stop, and throughout."""
    assert word(tmp_path, during(stopped(), begin, end, torque=0.0)) == "zero"
