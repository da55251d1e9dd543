"""Channels against the limits a program states, and starts from cold, from the log to the words."""

from __future__ import annotations

from pathlib import Path

import pytest

from logs.long_run import STEP, Columns, concluded, laid, values, words

RULE = "channel within its limits"
LIMITS = "limits: {oil_pressure: {low: 200 kPa gauge}, exhaust_temperature: {high: 600 degC}}\n"
COLD = "  cold_start: {below: 40 degC, apart: 10 min}\n"
BETWEEN = slice(3600 // STEP, 3600 // STEP + 30)  # five minutes from minute 60 on


def low_pressure(columns: Columns) -> None:
    columns["Oil pressure"][BETWEEN] = 150.0


def with_cold_starts(text: str) -> str:
    return text.replace("  held: 90 %\n", f"  held: 90 %\n{COLD}", 1)


def test_limits_that_hold(tmp_path: Path) -> None:
    found = concluded(laid(tmp_path, hours=3.0, rules=LIMITS), "run-limits")
    assert set(words(found, RULE).items()) == {
        ("oil_pressure", "holds"), *((f"exhaust_temperature:{n}", "holds") for n in range(1, 5)),
    }  # fmt: skip
    assert set(values(found, "limit.beyond").values()) == {0.0}
    assert values(found, "limit.first") == {}


def test_time_beyond_the_longest_and_the_first(tmp_path: Path) -> None:
    """Five minutes of three hours, less the 15 s after the start: 2.79 %, from minute 60 on."""
    found = concluded(laid(tmp_path, low_pressure, 3.0, rules=LIMITS), "run-limits")
    assert words(found, RULE)["oil_pressure"] == "fails"
    assert values(found, "limit.beyond")["oil_pressure"] == pytest.approx(100 * 300 / (3 * 3600 - 15), rel=0.02)
    assert values(found, "limit.longest")["oil_pressure"] == pytest.approx(300, abs=STEP)
    assert values(found, "limit.first")["oil_pressure"] == pytest.approx(60, abs=0.2)


def test_a_single_sample_beyond_breaks_the_limit(tmp_path: Path) -> None:
    def spike(columns: Columns) -> None:
        columns["Exhaust 2"][500] = 640.0

    said = words(concluded(laid(tmp_path, spike, 3.0, rules=LIMITS), "run-limits"), RULE)
    assert {at for at, word in said.items() if word == "fails"} == {"exhaust_temperature:2"}


@pytest.mark.parametrize(("dead", "reason"), [(True, "channel-not-sound"), (False, "not-recorded")])
def test_what_was_not_recorded_cannot_be_told(tmp_path: Path, dead: bool, reason: str) -> None:
    """A sensor that never moves, and a hole of ten minutes in one channel."""

    def change(columns: Columns) -> None:
        columns["Oil pressure"][slice(None) if dead else slice(500, 560)] = 330.0 if dead else float("nan")

    found = concluded(laid(tmp_path, change, 3.0, rules=LIMITS), "run-limits")
    verdict = next(v for v in found.verdicts if v.rule == RULE and v.key.at == "oil_pressure")
    assert (verdict.word, verdict.reason) == ("cannot tell", reason)


def test_a_channel_that_was_not_logged_cannot_be_told(tmp_path: Path) -> None:
    rules = "limits: {intake_temperature: {high: 40 degC}}\n"
    found = concluded(laid(tmp_path, hours=3.0, rules=rules), "run-limits")
    assert words(found, RULE) == {"intake_temperature": "cannot tell"}
    assert values(found, "limit.beyond") == {"intake_temperature": "no-channel"}


def test_a_phase_has_limits_of_its_own(tmp_path: Path) -> None:
    """In place of those of the program for the same channel; the others stay."""
    phase = "    limits: {oil_pressure: {low: 100 kPa gauge}}\n"
    said = words(concluded(laid(tmp_path, low_pressure, 3.0, rules=LIMITS, phase=phase), "run-limits"), RULE)
    assert said["oil_pressure"] == "holds"
    assert "exhaust_temperature:1" in said


def started(columns: Columns) -> None:
    """It stands for ten minutes from minute 60 on, cold at the end, and for ten minutes from minute 120 on, warm."""
    for begin in (360, 720):
        for each in ("Speed", "Brake torque", "Blow-by"):
            columns[each][begin : begin + 60] = 0.0
    columns["Oil"][360:450] = 20.0
    columns["Oil pressure"][420:450] = 150.0  # low as long as it is cold: five minutes


def test_cold_starts_are_counted_and_the_minutes_after_them_set_apart(tmp_path: Path) -> None:
    folder = laid(tmp_path, started, 3.0, rules=LIMITS, edit=with_cold_starts)
    found = concluded(folder, "run-limits", "run-starts")
    assert values(found, "run.starts") == {"": 2.0}
    assert values(found, "run.cold_starts") == {"": 1.0}
    assert words(found, RULE)["oil_pressure"] == "holds"


def test_without_that_rule_all_that_follows_a_start_counts_but_its_first_seconds(tmp_path: Path) -> None:
    found = concluded(laid(tmp_path, started, 3.0, rules=LIMITS), "run-limits", "run-starts")
    assert values(found, "run.starts") == {}
    assert words(found, RULE)["oil_pressure"] == "fails"
    assert values(found, "limit.first")["oil_pressure"] == pytest.approx(70.2, abs=0.2)
