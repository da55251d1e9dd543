"""Channels that no running engine gives are told, and those of cold, idle, slow and sparse logs are not.

What is planted, and what is usual of an engine, are common practice, no source; the data are made here.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from house import Analysed

from logs.house import Folder
from sitegen.logs.join import Log, join
from sitegen.program.model import Address, EngineType, LogTime
from sitegen.streams.runlog.judged import strange
from sitegen.streams.runlog.steps import CHANNEL

KIND = EngineType("pump-24-gas", "2.4-litre inline four", 4, 0.0875, 0.1, firing_order=(1, 3, 4, 2))
UNITS = {
    "speed": "rpm", "torque": "N m", "blowby": "L/min actual", "oil_pressure": "bar gauge",
    "crankcase_pressure": "mbar gauge", "oil_temperature": "degC", "coolant_temperature": "degC",
    "intake_temperature": "degC", "exhaust_temperature_1": "degC", "exhaust_temperature_2": "degC",
    "peak_pressure_1": "bar absolute", "ambient_pressure": "mbar absolute", "blowby_pressure": "mbar absolute",
}  # fmt: skip
DIGITS = {"speed": 0, "oil_pressure": 5, "blowby": 1, "exhaust_temperature_1": 0, "exhaust_temperature_2": 0}
Made = dict[str, np.ndarray]


def engine(seed: int = 1, step: float = 1.0, minutes: float = 20.0, room: float = 20.0, idle: bool = False) -> Made:
    """An engine that is started, runs in steps of speed or idles, and warms up, logged every `step` s."""
    draw = np.random.default_rng(seed)
    t = np.arange(0.0, minutes * 60, step)
    noise = {name: draw.normal(size=len(t)) for name in UNITS}
    speed = np.where(t < 20, 0.0, 850.0 if idle else 900 + 300 * (np.floor(t / 240) % 4))
    torque = np.where(t < 20, 0.0, 0.0 if idle else 40 + 20 * (np.floor(t / 240) % 3)) + noise["torque"]
    ran = t >= 20
    warm = 1 - np.exp(-np.maximum(t - 20, 0) / 400)
    exhaust = room + ran * (150 + 0.3 * speed + 2 * torque)
    return {
        "Time": t,
        "speed": speed + ran * 4 * noise["speed"],
        "torque": torque,
        "blowby": np.maximum(ran * (speed / 60 + 0.5 * noise["blowby"]), 0),
        "oil_pressure": ran * (1.0 + speed / 600 - 0.4 * warm) + 0.01 * noise["oil_pressure"],
        "crankcase_pressure": ran * 0.6 + 0.05 * noise["crankcase_pressure"],
        "oil_temperature": room + 70 * warm + 0.1 * noise["oil_temperature"],
        "coolant_temperature": room + 60 * warm + 0.1 * noise["coolant_temperature"],
        "intake_temperature": room + 0.2 * noise["intake_temperature"],
        "exhaust_temperature_1": exhaust + noise["exhaust_temperature_1"],
        "exhaust_temperature_2": exhaust + noise["exhaust_temperature_2"],
        "peak_pressure_1": 1.013 + ran * (20 + 0.2 * np.abs(torque) + 0.4 * noise["peak_pressure_1"]),
        "ambient_pressure": 1003 + 0.1 * noise["ambient_pressure"],
        "blowby_pressure": 1003 + 0.1 * noise["ambient_pressure"],
    }


def log_of(folder: Path, made: Made, **how: Any) -> Log:
    names = list(made)
    columns = [[f"{value:.{DIGITS.get(name, 2)}f}" for value in made[name].tolist()] for name in names]
    text = "\n".join([",".join(names), *(",".join(row) for row in zip(*columns, strict=True))]) + "\n"
    wanted = [(name, name, UNITS[name]) for name in names if name != "Time"]
    found, problems = join([Folder(folder).read(text, *wanted, **how)])
    assert found is not None, problems
    return found


def words(log: Log) -> dict[str, str]:
    return {channel: found.word or "flat" for channel, found in strange(log, KIND).items()}


def other(made: Made, **columns: np.ndarray) -> Made:
    return {**made, **columns}


def test_a_plausible_run_has_nothing_to_tell(tmp_path: Path) -> None:
    assert words(log_of(tmp_path, engine())) == {}


PLANTED: dict[str, tuple[Callable[[Made], Made], dict[str, str]]] = {
    "a copy": (lambda e: other(e, coolant_temperature=e["oil_temperature"]),
               {"oil_temperature": "copy", "coolant_temperature": "copy"}),
    "a sensor that is not there": (lambda e: other(e, oil_temperature=np.full_like(e["Time"], -40.0)
                                                   + 0.1 * np.sin(e["Time"])), {"oil_temperature": "never-warm"}),
    "an exhaust that stays below freezing": (lambda e: other(e, exhaust_temperature_1=np.full_like(e["Time"], -1.0)),
                                             {"exhaust_temperature_1": "never-warm"}),
    "oil pressure constant over speed": (lambda e: other(e, oil_pressure=np.full_like(e["Time"], 3.2)),
                                         {"oil_pressure": "flat"}),
    "oil pressure a thousandth of what it is": (
        lambda e: other(e, oil_pressure=e["oil_pressure"] / 1e3), {"oil_pressure": "far-off"}),
    "oil pressure of half a hydraulic system": (
        lambda e: other(e, oil_pressure=e["oil_pressure"] * 8), {"oil_pressure": "far-off"}),
    "crankcase in bar called mbar, times thousand": (
        lambda e: other(e, crankcase_pressure=e["crankcase_pressure"] * 1e3), {"crankcase_pressure": "far-off"}),
    "peak pressure in MPa called bar": (
        lambda e: other(e, peak_pressure_1=e["peak_pressure_1"] / 100), {"peak_pressure_1": "far-off"}),
    "blow-by in m3/min called L/min": (lambda e: other(e, blowby=e["blowby"] * 1e3), {"blowby": "far-off"}),
    "blow-by in a thousandth": (lambda e: other(e, blowby=e["blowby"] / 1e3), {}),  # one decimal of L/min: all zero
    "torque in N mm called N m": (lambda e: other(e, torque=e["torque"] * 1e3), {"torque": "far-off"}),
}  # fmt: skip


@pytest.mark.parametrize("case", PLANTED)
def test_what_no_engine_gives_is_told(case: str, tmp_path: Path) -> None:
    plant, expected = PLANTED[case]
    assert words(log_of(tmp_path, plant(engine()))) == expected


def test_a_copy_is_one_in_another_unit_too(tmp_path: Path) -> None:
    """The same numbers, once called rpm and once N m."""
    made = engine()
    assert words(log_of(tmp_path, other(made, torque=np.round(made["speed"])))) == {"speed": "copy", "torque": "copy"}


def test_one_sensor_for_the_room_and_an_open_meter_is_no_copy(tmp_path: Path) -> None:
    made = engine()
    both = [np.round(made[name], 2) for name in ("ambient_pressure", "blowby_pressure")]
    assert (both[0] == both[1]).all()
    assert words(log_of(tmp_path, made)) == {}


def test_the_sentence_names_the_size_and_the_way_out(tmp_path: Path) -> None:
    made = engine()
    found = strange(log_of(tmp_path, other(made, torque=made["torque"] * 1e3)), KIND)["torque"]
    assert "a thousandth of it would be usual, as in another unit" in found.what
    volume = 4 * math.pi / 4 * 0.0875**2 * 0.1  # Vd; torque = bmep * Vd / (4 pi) of four strokes a cycle
    assert found.expected == f"0 to {1e7 * volume / (4 * math.pi):.3g} N m"


def test_an_engine_that_never_ran_has_a_word_of_its_own(tmp_path: Path) -> None:
    made = engine()
    still = other(made, speed=np.zeros_like(made["Time"]), oil_temperature=np.full_like(made["Time"], -40.0))
    assert words(log_of(tmp_path, still)) == {}


def test_a_pressure_that_keeps_its_value_at_one_speed_is_no_wonder(tmp_path: Path) -> None:
    made = engine(idle=True)
    assert "oil_pressure" not in words(log_of(tmp_path, other(made, oil_pressure=np.full_like(made["Time"], 2.0))))


KINDS: dict[str, dict[str, Any]] = {
    "ten a second": {"step": 0.1, "minutes": 6.0},
    "one a second": {},
    "one a minute for ten hours": {"step": 60.0, "minutes": 600.0},
    "idle only": {"idle": True},
    "a start at twenty below": {"room": -20.0},
    "two minutes in the cold": {"room": -20.0, "minutes": 2.0},
    "idle in the cold, one in ten seconds": {"room": -20.0, "idle": True, "step": 10.0},
}


@pytest.mark.parametrize("kind", KINDS)
def test_no_false_alarm(kind: str, tmp_path: Path) -> None:
    """Six draws of each kind of log, and of each a worn and a tight engine and coarse sensors."""
    for seed in range(6):
        made = engine(seed, **KINDS[kind])
        ran = made["Time"] >= 20
        worn = other(made, blowby=made["blowby"] * 12)
        tight = other(made, blowby=ran * (1.5 + 0.1 * np.sin(made["Time"])))
        coarse = {name: values if name in {"Time", "speed"} else np.round(values) for name, values in made.items()}
        for number, each in enumerate((made, worn, tight, coarse)):
            assert words(log_of(tmp_path, each)) == {}, (seed, number)


def test_no_false_alarm_where_channels_have_their_own_rates(tmp_path: Path) -> None:
    """Temperatures once in 30 s, in columns of their own that are padded."""
    made, slow = engine(3), engine(3, step=30.0)
    rows = []
    for i in range(len(made["Time"])):
        cells = [f"{made['Time'][i]:g}", f"{made['speed'][i]:.0f}"]
        at = i < len(slow["Time"])
        cells += [f"{slow['Time'][i]:g}" if at else "", f"{slow['oil_temperature'][i]:.1f}" if at else ""]
        rows.append(",".join(cells))
    text = "t [s],n,t [s],T\n" + "\n".join(rows) + "\n"
    wanted = [("speed", "n", "rpm"), ("oil_temperature", Address("T"), "degC")]
    found, problems = join([Folder(tmp_path).read(text, *wanted, time=LogTime("elapsed", (), "s"))])
    assert found is not None, problems
    assert (problems, words(found)) == ([], {})


def test_no_false_alarm_on_the_examples(analysed: Analysed) -> None:
    told = {each.code for each in analysed.examination.problems}
    judged = {
        verdict.word for one in analysed.conclusions for verdict in one.analysis.verdicts if verdict.rule == CHANNEL
    }
    assert not [code for code in told if code.startswith("channel-")]
    assert not {"copy", "never-warm", "far-off"} & {part for word in judged for part in word.split(", ")}
    assert "sound" in judged
