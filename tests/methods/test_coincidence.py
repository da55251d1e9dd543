"""The coincidence alarm: each part of its rule on series made for it, and its rates where a few runs can show them."""

from __future__ import annotations

import numpy as np
import pytest
from house import one_of
from methods.coincidence_rates import JUMPS, QUIET, Case, tally

from sitegen.methods.coincidence import FIRST, FLAG, LONG, SHORT, STATED, size, usual, watch

N = 30 * 60  # min
AT = np.arange(N)
MINUTE, CYCLE = AT % 60, AT // 60
HELD = np.ones(N, dtype=bool)
HARMFUL = {FIRST: 1, "oil_pressure": -1, "spread": 1}


def noise(seed: int) -> np.ndarray:
    return np.random.default_rng(seed).standard_normal(N)


def seen(
    changes: dict[str, tuple[int, float]], held: np.ndarray = HELD, *, scale: float = 1.0
) -> list[tuple[int, bool]]:
    """Minute and kind of what comes up where channels jump at a minute by so much of their noise."""
    channels = {name: noise(number) for number, name in enumerate(HARMFUL)}
    for name, (at, by) in changes.items():
        channels[name][at:] += by
    found = watch({name: scale * each for name, each in channels.items()}, HARMFUL, MINUTE, CYCLE, held)
    return [(event.minute, event.alarm) for event in found.events]


def test_the_usual_value_is_the_median_of_the_cycles_before() -> None:
    """By numpy's median of the same minute, five hours back; not told before there are four of them."""
    x = noise(3)
    found = usual(x, MINUTE, CYCLE, 5)
    assert np.isnan(found[:240]).all()
    for minute in (300, 777, 1799):
        assert found[minute] == np.median(x[minute - 300 : minute : 60])
    x[480] = np.nan  # one of five may lack
    assert usual(x, MINUTE, CYCLE, 5)[600] == np.median(x[[300, 360, 420, 540]])


@pytest.mark.parametrize("form", [LONG, SHORT])
def test_the_size_is_that_of_the_definition(form: object) -> None:
    """z = d/s, each by its words, at one minute."""
    x, now = noise(4), 1700
    e = x - usual(x, MINUTE, CYCLE, form.cycles)  # type: ignore[attr-defined]

    def d(minute: int) -> float:
        end = minute - 6
        return float(e[minute - 2 : minute + 1].mean() - e[end - form.before + 1 : end + 1].mean())  # type: ignore[attr-defined]

    before = np.array([d(minute) for minute in range(now - form.scatter + 1, now + 1)])  # type: ignore[attr-defined]
    s = 1.4826 * np.median(np.abs(before - np.median(before)))
    found = size(x, MINUTE, CYCLE, form, HELD)  # type: ignore[arg-type]
    assert found[now] == pytest.approx(d(now) / s, rel=1e-9)


def test_blow_by_and_one_more_within_ten_minutes() -> None:
    at = 1500
    ((minute, alarm),) = seen({FIRST: (at, 8), "oil_pressure": (at + 5, -8)})
    assert alarm
    assert minute == pytest.approx(at + 6, abs=2)
    assert [alarm for _, alarm in seen({FIRST: (at, 8), "oil_pressure": (at + 200, -8)})] == [False, False]
    assert [alarm for _, alarm in seen({"spread": (at, 8), "oil_pressure": (at, -8)})] == [False]  # without blow-by


def test_the_harmful_direction_only_and_no_echo_of_the_other() -> None:
    """What goes down lies in the cycles before some hours later; what is usual then is no turn for the worse."""
    assert seen({FIRST: (1000, -8), "oil_pressure": (1000, 8)}) == []


def test_any_unit_gives_the_same_sizes() -> None:
    changes = {FIRST: (1500, 8.0), "oil_pressure": (1500, -8.0)}
    assert seen(changes) == seen(changes, scale=1e5)


def test_armed_from_hour_six_and_from_hour_seventeen() -> None:
    """6 h and 17 h of running: earlier nothing is watched; of a run of 30 h the short form watches eleven."""
    channels = {name: noise(number) for number, name in enumerate(HARMFUL)}
    found = watch(channels, HARMFUL, MINUTE, CYCLE, HELD)
    assert found.hours == pytest.approx(24, abs=0.1)
    assert found.short == pytest.approx(11, abs=0.1)
    assert np.isnan(found.sizes[FIRST][:359]).all()


def test_where_one_cause_moves_the_channels_alike_both_have_to_go_further() -> None:
    """Without it two signals of 4.2 are the alarm; with a wander that all share, only those beyond 4.5."""
    common = np.convolve(noise(9), np.ones(30) / 30**0.5, "same")
    channels = {name: noise(number) for number, name in enumerate(HARMFUL)}
    assert not watch(channels, HARMFUL, MINUTE, CYCLE, HELD).alike
    shared = {name: each + 2 * HARMFUL[name] * common for name, each in channels.items()}
    quiet = watch(shared, HARMFUL, MINUTE, CYCLE, HELD)
    assert quiet.alike
    alarms: list[tuple[float, bool]] = []
    for by in np.arange(4, 60, 1.0):
        moved = {name: each + by * sign * (AT >= 1500) * (name != "spread")
                 for (name, each), sign in zip(shared.items(), HARMFUL.values(), strict=True)}  # fmt: skip
        found = watch(moved, HARMFUL, MINUTE, CYCLE, HELD)
        for event in found.events:
            least = min(
                max((event.sizes.get(name, 0.0) for name in found.alike), default=9.0), event.sizes.get(FIRST, 0.0)
            )
            assert least > LONG.alarm or not event.alarm or "spread" not in found.alike
            alarms.append((least, event.alarm))
    assert any(alarm for _, alarm in alarms)
    assert any(4.0 < least <= LONG.alarm for least, _ in alarms)


def test_minutes_not_held_are_not_watched() -> None:
    held = HELD.copy()
    held[1500:1530] = False
    channels = {name: noise(number) for number, name in enumerate(HARMFUL)}
    for name, sign in HARMFUL.items():
        channels[name][1500:1530] += 20 * sign
    found = watch(channels, HARMFUL, MINUTE, CYCLE, held)
    assert found.events == ()
    assert found.hours < 23.6


def test_one_live_channel_watches_nothing() -> None:
    lacking = np.full(N, np.nan)
    found = watch({FIRST: noise(0), "oil_pressure": lacking}, HARMFUL, MINUTE, CYCLE, HELD)
    assert found.hours == 0


@pytest.mark.parametrize("case", one_of(QUIET, lambda case: case == QUIET[3], lambda case: case.name))
def test_false_alarms_stay_below_what_is_stated(case: Case) -> None:
    """In few hours no more than chance lets through at the stated rate: Poisson, one run of a thousand."""
    found = tally(case, 1000)
    most = STATED * found.hours / 100
    assert found.alarms <= most + 3.3 * most**0.5 + 1


@pytest.mark.parametrize("case", one_of(JUMPS, lambda case: case == JUMPS[1], lambda case: case.name))
def test_jumps_are_found_within_minutes(case: Case) -> None:
    """Shares stated for z 3.3, 4.2, 5, 6.5 are 46, 80 to 88, 95, 99.9 %; with 24 jumps three standard errors below."""
    stated = {3.3: 0.46, 4.2: 0.80, 5.0: 0.95, 6.5: 0.999}[case.jump]
    found = tally(case, 24 * 104)
    share = len(found.delays) / found.jumps
    assert share >= stated - 3 * (stated * (1 - stated) / found.jumps) ** 0.5
    assert np.median(found.delays) <= 8
    assert FLAG == 4.0
