"""A long run watched for channels that turn for the worse together, from the log to the words."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from logs.long_run import HEADERS, STEP, Columns, concluded, laid, values, words

RULE = "channels that turn together"
AT = 30.0  # h


Change = Callable[[Columns], None]


def jump(header: str, share: float, at: float = AT) -> Change:
    def change(columns: Columns) -> None:
        columns[header][round(at * 3600 / STEP) :] *= 1 + share

    return change


def both(*changes: Change) -> Change:
    def change(columns: Columns) -> None:
        for each in changes:
            each(columns)

    return change


def test_nothing_happens_and_nothing_is_said(tmp_path: Path) -> None:
    found = concluded(laid(tmp_path), "watch")
    assert words(found, RULE) == {"": "nothing"}
    hours = values(found, "watch.hours")[""]
    assert isinstance(hours, float)
    assert 33 <= hours <= 34.5  # of 40 h, the first six not


def test_channels_that_move_alike_are_said_to(tmp_path: Path) -> None:
    """The room moves two of them over half an hour or so, to the worse and back."""
    size = round(1800 / STEP)
    slow = np.convolve(np.random.default_rng(4).standard_normal(round(40 * 3600 / STEP)), np.ones(size), "same")
    slow *= 0.02 / slow.std()

    def change(columns: Columns) -> None:
        columns["Blow-by"] *= 1 + slow
        columns["Oil pressure"] *= 1 - slow

    found = concluded(laid(tmp_path, change), "watch")
    told = [value.flags for (name, key), value in found.values.items() if name == "watch.hours" and key.engine == "A1"]
    assert any("moved-alike" in each for each in told)


@pytest.mark.parametrize(
    ("other", "signal", "cylinder"),
    [("Oil pressure", "oil_pressure", 0), ("Exhaust 3", "spread", 3)],
)
def test_blow_by_and_one_more_are_an_alarm(tmp_path: Path, other: str, signal: str, cylinder: int) -> None:
    """Blow-by up by a tenth, oil pressure down or one exhaust hotter by as much: within minutes, in the right place."""
    down = -0.1 if other == "Oil pressure" else 0.1
    found = concluded(laid(tmp_path, both(jump("Blow-by", 0.1), jump(other, down))), "watch")
    said = words(found, RULE)
    alarm = next(at for at in said if at)
    minute = int(alarm.removeprefix("minute-").partition(":")[0])
    assert 60 * AT <= minute <= 60 * AT + 5
    assert alarm.endswith(f":{cylinder}" if cylinder else f"-{minute}")
    assert said[""] == said[alarm] == "possible scuffing"
    sizes = values(found, "watch.size")
    assert set(sizes) == {f"minute-{minute}:blowby", f"minute-{minute}:{signal}"}
    assert all(isinstance(size, float) and size > 4 for size in sizes.values())


@pytest.mark.parametrize("share", [0.1, -0.1])
def test_one_signal_alone_is_looked_at_and_only_in_the_harmful_direction(tmp_path: Path, share: float) -> None:
    """A turn for the better is no signal, nor is what it does to the usual level some hours later."""
    found = concluded(laid(tmp_path, jump("Blow-by", share)), "watch")
    assert words(found, RULE) == {"": "look here" if share > 0 else "nothing"}


def test_what_was_not_held_is_not_watched(tmp_path: Path) -> None:
    """Ten minutes at half load, with more blow-by and less oil pressure: an excursion, no alarm."""

    def excursion(columns: Columns) -> None:
        part = slice(round(AT * 360), round(AT * 360) + 60)
        columns["Brake torque"][part] *= 0.5
        columns["Blow-by"][part] *= 1.3
        columns["Oil pressure"][part] *= 0.7

    assert words(concluded(laid(tmp_path, excursion), "watch"), RULE) == {"": "nothing"}


@pytest.mark.parametrize(
    ("dead", "reason"),
    [
        (["Blow-by"], "few-live-channels"),
        (["Oil pressure", "Exhaust 1", "Exhaust 2"], "few-live-channels"),
        (["Oil pressure"], ""),
    ],
)
def test_a_dead_channel_does_not_watch(tmp_path: Path, dead: list[str], reason: str) -> None:
    """Under two live channels: not watched; with three, or two exhaust temperatures, nothing is wrong."""

    def change(columns: Columns) -> None:
        for each in dead:
            columns[each][:] = columns[each][0]

    found = concluded(laid(tmp_path, change), "watch")
    assert words(found, RULE) == {"": "not watched" if reason else "nothing"}
    if reason:
        assert values(found, "watch.hours") == {"": reason}


def test_a_channel_that_falls_asleep_stops_watching(tmp_path: Path) -> None:
    """Blow-by stands still for the last ten hours: they are not watched."""

    def change(columns: Columns) -> None:
        columns["Blow-by"][round(AT * 360) :] = 24.0

    hours = values(concluded(laid(tmp_path, change), "watch"), "watch.hours")[""]
    assert isinstance(hours, float)
    assert 23 <= hours <= 24.5


def test_a_run_of_five_hours_is_not_asked(tmp_path: Path) -> None:
    assert words(concluded(laid(tmp_path, hours=5.0), "watch"), RULE) == {}


def test_a_month_without_a_sample_is_not_watched_and_ends_nothing(tmp_path: Path) -> None:
    """Twenty hours, thirty days of nothing, twenty hours: the second part is watched as the first."""

    def change(columns: Columns) -> None:
        columns["Time"][(20 * 360) :] += 30 * 86400

    found = concluded(laid(tmp_path, change), "watch")
    assert words(found, RULE) == {"": "nothing"}
    hours = values(found, "watch.hours")[""]
    assert isinstance(hours, float)
    assert 20 <= hours <= 34


@pytest.mark.parametrize(("demanded", "word"), [(1.0, "possible scuffing"), (0.9, "look here")])
def test_torque_watches_where_the_demand_is_the_same(tmp_path: Path, demanded: float, word: str) -> None:
    """Less torque at the same demand is a signal; with less demand it is none."""
    headers = HEADERS | {"demand": ("Demand", "%", 60.0)}
    change = both(jump("Blow-by", 0.1), jump("Brake torque", -0.05), jump("Demand", demanded - 1))
    assert words(concluded(laid(tmp_path, change, headers=headers), "watch"), RULE)[""] == word


def test_a_stop_begins_the_watch_anew(tmp_path: Path) -> None:
    """An oil change at 30 h: other blow-by and oil pressure from then on are no turn; six hours are not watched."""

    def stopped(columns: Columns) -> None:
        part = slice(round(AT * 360), round(AT * 360) + 120)
        for header in ("Speed", "Brake torque", "Blow-by", "Oil pressure"):
            columns[header][part] = 0.0

    after = AT + 1 / 3
    found = concluded(
        laid(tmp_path, both(jump("Blow-by", 0.1, after), jump("Oil pressure", -0.1, after), stopped)), "watch"
    )
    assert words(found, RULE) == {"": "nothing"}
    hours = values(found, "watch.hours")[""]
    assert isinstance(hours, float)
    assert 25 <= hours <= 28  # of 40 h, six before and six after the stop not
