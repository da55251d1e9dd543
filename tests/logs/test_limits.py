"""Channels against the limits a program states, and starts from cold, from the log to the words."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

from logs.long_run import PHASE, STEP, Columns, concluded, laid, values, words
from sitegen.cli import main
from sitegen.results.run import Analysis
from sitegen.streams.runlog.alarms.limits import BY_WINDOW

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


def test_the_pages_of_who_decides_name_a_failed_limit(tmp_path: Path) -> None:
    """With the way to where it is shown; the decision sheet, which leads nowhere, names it too."""
    limits, site = f"    {LIMITS}", tmp_path / "site"
    folder = laid(tmp_path, low_pressure, 3.0, phase=limits)
    assert main(["publish", str(folder), "--to", str(site)]) == 0
    (home,) = (site / "programs").glob("*/index.html")
    told = [" ".join((home.parent / name).read_text("utf-8").replace("\N{NO-BREAK SPACE}", " ").split())
            for name in ("index.html", "decision.html")]  # fmt: skip
    page, sheet = told
    link = re.search(r'Beyond a limit of its run: <a href="([^"]+)">(\w+)</a>, [^<]*: oil pressure\.', page)
    assert link is not None
    path, _, anchor = link[1].partition("#")
    assert f'id="{anchor}"' in (home.parent / path).read_text("utf-8")
    assert re.search(rf"Beyond a limit of its run: {link[2]}, [^<]*: oil pressure\.", sheet)
    shutil.rmtree(folder)

    def hot(columns: Columns) -> None:
        low_pressure(columns)
        for n in (1, 3):
            columns[f"Exhaust {n}"][500] = 640.0

    assert main(["publish", str(laid(tmp_path, hot, 3.0, phase=limits)), "--to", str(site)]) == 0
    both = " ".join(home.read_text("utf-8").replace("\N{NO-BREAK SPACE}", " ").split())
    assert "oil pressure and exhaust temperature, cylinders 1 and 3." in both
    shutil.rmtree(folder)
    assert main(["publish", str(laid(tmp_path, low_pressure, 3.0, rules=LIMITS)), "--to", str(site)]) == 0
    several = " ".join(home.read_text("utf-8").replace("\N{NO-BREAK SPACE}", " ").split())
    assert "Beyond limits of their runs: " in several
    assert re.search(r'Beyond limits of their runs: <a href="[^"]+">A1</a> in five runs; ', several)
    shutil.rmtree(folder)
    assert main(["publish", str(laid(tmp_path, hours=3.0, phase=limits)), "--to", str(site)]) == 0
    assert "Beyond" not in home.read_text("utf-8")


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


def by_window(found: Analysis, channel: str) -> tuple[list[tuple[float, float, str]], str]:
    frame = next(each.frame for each in found.series if each.id == BY_WINDOW and each.key.phase == PHASE)
    own = frame[frame["channel"] == channel]
    windows = own[own["begin"].notna()]
    rows = list(zip(windows["begin"], windows["end"], windows["word"], strict=True))
    return rows, own[own["begin"].isna()]["word"].iloc[0]


def test_each_window_of_a_long_run_answers_for_itself(tmp_path: Path) -> None:
    """Oil pressure dips in hour 10, one cylinder is too hot from hour 31 on, and the sensor of another is off in 20."""

    def change(columns: Columns) -> None:
        hour = 3600 // STEP
        columns["Oil pressure"][round(10.4 * hour) : round(10.5 * hour)] = 150.0
        columns["Exhaust 2"][31 * hour :] += 100.0
        columns["Exhaust 3"][20 * hour : 21 * hour] = float("nan")

    found = concluded(laid(tmp_path, change, rules=LIMITS), "run-limits")
    rows, outside = by_window(found, "oil_pressure")
    assert len(rows) == 40
    assert [word for _, _, word in rows].count("fails") == 1
    (at,) = ((begin, end) for begin, end, word in rows if word == "fails")
    assert at[0] <= 10.4 < at[1]
    assert outside == "holds"
    assert values(found, "limit.windows")["oil_pressure"] == 1.0
    hot, _ = by_window(found, "exhaust_temperature_2")
    assert {word for begin, _, word in hot if begin >= 31} == {"fails"}
    assert {word for _, end, word in hot if end <= 31} == {"holds"}
    assert values(found, "limit.since")["exhaust_temperature:2"] == pytest.approx(31, abs=1.01)
    assert "oil_pressure" not in values(found, "limit.since")
    lost, _ = by_window(found, "exhaust_temperature_3")
    assert 1 <= [word for _, _, word in lost].count("cannot tell") <= 2


def test_what_is_run_outside_of_windows_answers_too(tmp_path: Path) -> None:
    """Settling after the start belongs to no window: a dip in it fails there, and the phase as a whole."""

    def change(columns: Columns) -> None:
        columns["Oil pressure"][20:30] = 150.0

    found = concluded(laid(tmp_path, change, rules=LIMITS), "run-limits")
    rows, outside = by_window(found, "oil_pressure")
    assert outside == "fails"
    assert {word for _, _, word in rows} == {"holds"}
    assert words(found, RULE)["oil_pressure"] == "fails"


def test_a_stop_in_a_log_of_a_row_a_minute_breaks_no_limit(tmp_path: Path) -> None:
    """The line to the first row of standing is nothing that was read; a row of running beyond the limit is."""

    def slow(columns: Columns) -> None:
        for name in columns:
            columns[name] = columns[name][::6]
        columns["Speed"][90:100] = columns["Oil pressure"][90:100] = 0.0

    def low_too(columns: Columns) -> None:
        slow(columns)
        columns["Oil pressure"][89] = 150.0

    said = words(concluded(laid(tmp_path / "stop", slow, 3.0, rules=LIMITS), "run-limits"), RULE)
    assert said["oil_pressure"] == "holds"
    said = words(concluded(laid(tmp_path / "low", low_too, 3.0, rules=LIMITS), "run-limits"), RULE)
    assert said["oil_pressure"] == "fails"
