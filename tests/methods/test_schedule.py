"""A run against its schedule: made-up records with stops, strays and missing samples whose answer is known."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from sitegen.methods.schedule import SETTLING, Bands, Held, Part, held
from sitegen.vocabulary import Refused

RPM = math.pi / 30  # rad/s in a revolution a minute: exact
PLAN = (Part(120, 1300 * RPM, 1300 * RPM, 60.0, reference=True), Part(240, 1700 * RPM, 1700 * RPM, 120.0))
BANDS = Bands(50 * RPM, 10.0)
IDLE = 100 * RPM


def record(stop_at: int = 0, stop_for: int = 0) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The plan run to the letter at 1 Hz, with a stop put in after so many seconds."""
    speed = np.repeat([1300 * RPM, 1700 * RPM], [120, 240])
    torque = np.repeat([60.0, 120.0], [120, 240])
    if stop_for:
        speed = np.insert(speed, stop_at, np.zeros(stop_for))
        torque = np.insert(torque, stop_at, np.zeros(stop_for))
    return np.arange(len(speed), dtype=float), speed, torque


def test_a_run_to_the_letter_is_held() -> None:
    found = run(*record())
    assert (found.share, found.by_part) == (1.0, (1.0, 1.0))
    assert (found.run, found.planned, found.stops, found.strays) == (360.0, 360.0, (), ())
    assert found.windows == ((0, 0.0, 120.0), (1, 120.0, 360.0))


def test_a_stop_moves_what_follows_and_is_told() -> None:
    found = run(*record(200, 90))
    assert found.share == 1.0
    assert found.stops == ((200.0, 290.0),)
    assert found.windows[1] == (1, 120.0, 450.0)


def test_running_down_to_a_stop_is_no_excursion() -> None:
    t, speed, torque = record(200, 90)
    torque[192:200] = 0.0
    assert run(t, speed, torque).strays == ()


def test_a_stop_shorter_than_ten_seconds_is_a_gap_of_the_record() -> None:
    assert run(*record(200, 9)).stops == ()


def test_an_excursion_is_found_with_its_size() -> None:
    t, speed, torque = record()
    speed[250:270] += 80 * RPM
    found = run(t, speed, torque)
    assert [(each.begin, each.end, each.part, each.channel) for each in found.strays] == [(250.0, 270.0, 1, "speed")]
    assert found.strays[0].most == pytest.approx(80 * RPM)
    assert found.by_part[1] == pytest.approx(1 - 20 / (240 - SETTLING))


def test_the_way_into_a_step_counts_neither_way() -> None:
    t, speed, torque = record()
    speed[120:134] = 1300 * RPM  # fourteen seconds late
    assert run(t, speed, torque).share == 1.0


def test_a_run_cut_short_is_not_held() -> None:
    t, speed, torque = record()
    found = run(t[:240], speed[:240], torque[:240])
    assert found.by_part[0] == 1.0
    assert found.by_part[1] == pytest.approx((120 - SETTLING) / (240 - SETTLING))
    assert found.share == pytest.approx((105 + 105) / (105 + 225))


def test_missing_samples_are_not_held() -> None:
    t, speed, torque = record()
    torque[300:330] = np.nan
    assert run(t, speed, torque).by_part[1] == pytest.approx(1 - 30 / (240 - SETTLING))


def test_a_ramp_is_held_against_its_line() -> None:
    plan = (Part(100, 1200 * RPM, 2200 * RPM, 150.0),)
    t = np.arange(100.0)
    line = (1200 + 1000 * (t + 0.5) / 100) * RPM
    assert held(t, 1.0, line, np.full(100, 150.0), plan, BANDS, IDLE).share == 1.0
    assert held(t, 1.0, line + 60 * RPM, np.full(100, 150.0), plan, BANDS, IDLE).share == 0.0


def test_a_ramp_of_torque_is_held_against_its_line() -> None:
    plan = (Part(100, 1500 * RPM, 1500 * RPM, 50.0, torque_to=150.0),)
    t, speed = np.arange(100.0), np.full(100, 1500 * RPM)
    line = 50 + (t + 0.5)
    assert held(t, 1.0, speed, line, plan, BANDS, IDLE).share == 1.0
    steady = held(t, 1.0, speed, np.full(100, 100.0), plan, BANDS, IDLE)  # within 5 N m of the line for 10 of 85 s
    assert steady.share == pytest.approx(BANDS.torque * 2 / (100 - SETTLING), abs=0.02)
    assert [stray.channel for stray in steady.strays] == ["torque", "torque"]
    assert steady.strays[0].most == pytest.approx(100 - line[int(SETTLING)])


def test_wider_bins_give_the_same_share() -> None:
    t, speed, torque = record(200, 90)
    fast, hard = (each.reshape(-1, 2).mean(axis=1) for each in (speed, torque))
    found = held(t[::2], 2.0, fast, hard, PLAN, BANDS, IDLE)
    assert found.share == pytest.approx(1.0, abs=0.01)
    assert found.run == 360.0


def test_without_torque_speed_alone_is_held() -> None:
    t, speed, _ = record()
    assert held(t, 1.0, speed, None, PLAN, BANDS, IDLE).share == 1.0


@pytest.mark.parametrize(
    ("speed", "plan", "code"), [(np.full(5, np.nan), PLAN, "no-speed"), (np.ones(5), (), "no-schedule")]
)
def test_refused(speed: np.ndarray, plan: tuple[Part, ...], code: str) -> None:
    with pytest.raises(Refused) as why:
        held(np.arange(5.0), 1.0, speed, None, plan, BANDS, IDLE)
    assert why.value.code == code


def run(t: np.ndarray, speed: np.ndarray, torque: np.ndarray) -> Held:
    return held(t, 1.0, speed, torque, PLAN, BANDS, IDLE)


def test_a_hole_in_the_record_is_no_stop() -> None:
    """A hundred seconds without samples, running before and after: told apart, and not held."""
    t, speed, torque = record()
    speed[200:300] = torque[200:300] = np.nan
    found = run(t, speed, torque)
    assert (found.stops, found.holes) == ((), ((200.0, 300.0),))
    assert found.windows == ((0, 0.0, 120.0), (1, 120.0, 360.0))  # it went on: the plan is followed through the hole
    assert found.by_part == pytest.approx((1.0, 125 / 225))


def test_a_hole_in_which_the_engine_stood_moves_what_follows() -> None:
    t, speed, torque = record(60, 90)
    speed[60:150] = torque[60:150] = np.nan  # the recorder was off while it stood
    found = run(t, speed, torque)
    assert (found.stops, found.holes) == ((), ((60.0, 150.0),))
    assert found.windows == ((0, 0.0, 210.0), (1, 210.0, 450.0))
    assert found.share == 1.0


def test_samples_missing_while_the_engine_stands_are_part_of_the_stop() -> None:
    t, speed, torque = record(200, 90)
    speed[230:260] = np.nan
    found = run(t, speed, torque)
    assert (found.stops, found.holes) == (((200.0, 290.0),), ())


def test_windows_of_temperatures_are_asked_where_they_were_logged() -> None:
    t, speed, torque = record()
    plan = (PLAN[0], replace(PLAN[1], windows={"oil_temperature": (353.15, 363.15)}))
    oil = np.full(len(t), 358.15)
    oil[200:250] = 365.15
    found = held(t, 1.0, speed, torque, plan, BANDS, IDLE, {"oil_temperature": oil})
    assert found.by_part == pytest.approx((1.0, 1 - 50 / (240 - SETTLING)))
    assert [(s.begin, s.end, s.channel) for s in found.strays] == [(200.0, 250.0, "oil_temperature")]
    assert found.strays[0].most == pytest.approx(2.0)
    assert held(t, 1.0, speed, torque, plan, BANDS, IDLE).share == 1.0
    oil[:] = np.nan
    assert held(t, 1.0, speed, torque, plan, BANDS, IDLE, {"oil_temperature": oil}).by_part[1] == 0.0
