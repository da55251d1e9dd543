"""Long runs by their windows: levels, slopes and what refuses them, in programs made for it."""

from __future__ import annotations

import datetime
import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from events.test_events import needed
from house import plain
from methods.steady_coverage import wander

from sitegen import registry, workflow
from sitegen.declarations import Step
from sitegen.results.run import Analysis, analyse, gather
from sitegen.streams.runlog.hours.smallest import smallest
from sitegen.vocabulary import Problem, Value

START = datetime.datetime(2026, 3, 2, 6, tzinfo=datetime.UTC)
EVERY = 120  # s, a row
PHASE = """
  - id: long
    title: long run
    kind: durability
    records: [runlog]
    schedule:
      - {time: HOURS h, speed: 1800 rpm, torque: 140 N m}
"""
METERS = """
meters:
  M1: {title: gas meter, principle: positive-displacement, scale: actual}
  M2: {title: other gas meter, principle: positive-displacement, scale: actual}
"""
CHANNELS = """
      time: {clock: Stamp}
      constants: {ambient_pressure: 100 kPa absolute, blowby_temperature: 20 degC}
      channels:
        speed: {header: n, unit: rpm}
        torque: {header: Md, unit: N m}
        blowby: {header: Q, unit: L/min actual, meter: METER}
        oil_temperature: {header: T oil, unit: degC}
        oil_pressure: {header: p oil, unit: kPa gauge}
"""


@dataclass(frozen=True)
class Made:
    """A long run as logged: levels by row, wander of 1 % with a time constant of half an hour."""

    hours: float = 150.0
    slope: float = 4.0  # % per 100 h, of blow-by
    oil_slope: float = 0.0  # K per 100 h, of oil temperature
    swap: float = 0.0  # h at which the meter reads 5 % more
    seed: int = 1
    night: float = 0.0  # h of standing still after each ten hours
    daily: float = 0.5  # %
    restless: bool = False  # oil temperature rises through every hour


def rows(made: Made) -> list[str]:
    rng = np.random.default_rng(made.seed)
    count = int(made.hours * 3600 / EVERY)
    hour = np.arange(count) * EVERY / 3600
    clock = hour + made.night * np.floor(hour / 10)
    unrest = wander(rng, 1, count, 1800 / EVERY)[0] + 0.5 * rng.standard_normal(count)
    share = unrest + made.daily * np.sin(2 * math.pi * clock / 24) + made.slope * hour / 100
    flow = 30 * (1 + share / 100) * np.where((hour > made.swap) & bool(made.swap), 1.05, 1.0)
    oil = 90 + made.oil_slope * hour / 100 + rng.standard_normal(count) * 0.3
    oil += 12 * ((hour - 1 / 6) % 1) * made.restless  # windows begin after ten minutes
    pressure = 400 + rng.standard_normal(count)
    speed, torque = 1800 + 3 * rng.standard_normal(count), 140 + rng.standard_normal(count)
    told = []
    last = -1.0
    for at, values in zip(clock.tolist(), zip(speed, torque, flow, oil, pressure, strict=True), strict=True):
        if at - last > 1 and last >= 0:  # the engine stands still, and the log says so
            told += [f"{_stamp(still)},0,0,0,40,0" for still in (last + 0.04, at - 0.04)]
        told.append(f"{_stamp(at)},{','.join(f'{float(value):.3f}' for value in values)}")
        last = at
    return told


def _stamp(hours: float) -> str:
    return (START + datetime.timedelta(seconds=round(3600 * hours))).strftime("%Y-%m-%d %H:%M:%S")


def program(to: Path, logs: dict[str, list[list[str]]], planned: float = 150.0, **more: str) -> Path:
    """The plain program with a long run of such logs by build, several of them one after the other."""
    folder = plain(to)
    (own,) = (each.parent for each in folder.glob("*/program.yaml"))
    text = (own / "program.yaml").read_text(encoding="utf-8")
    text = text.replace(
        "  - id: teardown", f"{PHASE.replace('HOURS', f'{planned:g}').lstrip(chr(10))}  - id: teardown", 1
    )
    text = text.replace("      3: {coating: nitrided}\n      4: {coating: nitrided}", "      3: {coating: graded-crn}\n"
                        "      4: {coating: graded-crn}")  # fmt: skip
    text += "  runlog:\n"
    (own / "logs").mkdir()
    for build, parts in logs.items():
        for number, part in enumerate(parts, 1):
            name = f"logs/{build.lower()}-{number}.csv"
            (own / name).write_text("\n".join(["Stamp,n,Md,Q,T oil,p oil", *part]) + "\n", encoding="utf-8")
            meter = "M2" if number > 1 and more.get("meter") else "M1"
            text += f"    - file: {name}\n      engine: {build}\n      phase: long" + CHANNELS.replace("METER", meter)
    if events := more.get("events"):
        (own / "records" / "events.csv").write_text(f"engine,phase,at [h],what\n{events}\n", encoding="utf-8")
        text += "  events:\n    - file: records/events.csv\n"
    if run := more.get("run"):
        text = text.replace(
            "phases:\n", f"run:\n  speed_band: 30 rpm\n  torque_band: 5 N m\n  held: 90 %\n{run}\nphases:\n", 1
        )
    text = text.replace("  list:\n", f"  list:\n{more.get('criterion', '')}", 1)
    (own / "program.yaml").write_text(text, encoding="utf-8")
    definitions = folder / "definitions.yaml"
    definitions.write_text(definitions.read_text(encoding="utf-8") + METERS, encoding="utf-8")
    return own


def found(own: Path) -> tuple[Analysis, list[Problem]]:
    read, problems = workflow.programs(own)
    assert read is not None, problems
    assert read.programs, problems
    last = [each for each in registry.steps() if each.name == "hours-slopes"]
    steps: list[Step] = needed(registry.steps(), last[0])
    reads = {name for step in steps for name in step.reads}
    evidence = gather(read.programs[0], [each for each in registry.STREAMS if each.name in reads])
    streams = [each for each in registry.STREAMS if each.name in reads]
    return analyse(evidence, streams, steps), list(evidence.problems)


def value(analysis: Analysis, measure: str, build: str = "B1", at: str = "") -> Value:
    (one,) = (
        each
        for (name, key), each in analysis.values.items()
        if name == measure and key.engine == build and key.at == at and key.phase == "long"
    )
    return one


def ends(of: Value) -> tuple[float, float]:
    """Of its interval."""
    assert of.low is not None, of
    assert of.high is not None, of
    return of.low, of.high


def test_a_slope_that_is_there_is_found_and_one_that_is_not_is_not_told(tmp_path: Path) -> None:
    made = {"B1": [rows(Made())], "B2": [rows(Made(slope=0.0, seed=2))]}
    analysis, problems = found(program(tmp_path, made))
    assert not [each for each in problems if each.level == "error"]
    assert value(analysis, "hours.windows").value == 150
    assert value(analysis, "hours.lost").value == 0
    low, high = ends(value(analysis, "hours.blowby_slope"))
    assert 0 < low < 4.0 / 1.03 < high  # per cent of the mean level, 3 % above the first
    low, high = ends(value(analysis, "hours.blowby_slope", "B2"))
    assert low < 0 < high
    least = value(analysis, "hours.blowby_least").value
    assert least is not None
    assert 0.3 < least < 2.5
    low, high = ends(value(analysis, "hours.oil_pressure_slope"))
    assert low < 0 < high
    ahead = value(analysis, "hours.blowby_planned")
    low, high = ends(ahead)
    assert low < 30 * 1.06 < high
    assert "extrapolated" not in ahead.flags


def test_forty_hours_tell_no_slope(tmp_path: Path) -> None:
    made = {"B1": [rows(Made(40))], "B2": [rows(Made(40, seed=2))]}
    analysis, _ = found(program(tmp_path, made, planned=40))
    assert value(analysis, "hours.blowby_slope").reason == "daily-cycle"
    assert value(analysis, "hours.blowby_planned").reason == "daily-cycle"
    assert value(analysis, "hours.windows").value == 40


def test_nothing_is_told_where_no_other_log_and_no_statement_tells_the_wander(tmp_path: Path) -> None:
    analysis, _ = found(program(tmp_path, {"B1": [rows(Made())]}))
    assert value(analysis, "hours.bench", at="blowby").reason == "bench-not-known"
    assert value(analysis, "hours.blowby_slope").reason == "bench-not-known"
    assert value(analysis, "hours.blowby_least").value is not None


@pytest.mark.parametrize(("time", "reason"), [("1 h", ""), ("6 h", "run-short")])
def test_a_wander_that_is_stated(tmp_path: Path, time: str, reason: str) -> None:
    run = f"  wander: {{time_constant: {time}, blowby: 1 %, hourly: 0.5 %}}"
    analysis, _ = found(program(tmp_path, {"B1": [rows(Made())]}, run=run))
    slope = value(analysis, "hours.blowby_slope")
    assert slope.reason == reason
    if not reason:
        assert "wander-stated" in slope.flags
        least = value(analysis, "hours.blowby_least").value
        assert least == pytest.approx(420 * math.sqrt((24 + 3) / 150**3), rel=0.5)  # no less than stated


def test_a_meter_that_was_changed(tmp_path: Path) -> None:
    """On record by the event log, by another meter in the entry, and on none."""
    every, other = rows(Made(swap=70.0)), {"B2": [rows(Made(seed=2))]}
    cut = 70 * 3600 // EVERY + 1
    for name, logs, more in (
        ("event", [every], {"events": "B1,long,70,meter-change"}),
        ("twice", [every], {"events": "B1,long,70,meter-change\nB1,long,70.4,meter-change"}),
        ("entry", [every[:cut], every[cut:]], {"meter": "M2"}),
    ):
        analysis, _ = found(program(tmp_path / name, {"B1": logs, **other}, **more))  # type: ignore[arg-type] # texts alone
        slope = value(analysis, "hours.blowby_slope")
        low, high = ends(slope)
        assert low < 4.0 / 1.06 < high, name
        assert slope.n == 8
    analysis, _ = found(program(tmp_path / "none", {"B1": [every], **other}))
    assert value(analysis, "hours.blowby_slope").reason == "level-jumps"
    assert value(analysis, "hours.oil_pressure_slope").value is not None  # what does not need it goes on


def test_shifts_are_told_by_their_days(tmp_path: Path) -> None:
    made = {"B1": [rows(Made(80, night=14.0, daily=0.0))], "B2": [rows(Made(80, night=14.0, seed=2))]}
    analysis, _ = found(program(tmp_path, made, planned=80))
    slope = value(analysis, "hours.blowby_slope")
    assert (slope.n, slope.df) == (8, 6)
    assert "by-day" in slope.flags


def test_windows_that_never_settle_are_lost(tmp_path: Path) -> None:
    made = {"B1": [rows(Made(restless=True))], "B2": [rows(Made(seed=2))]}
    analysis, _ = found(program(tmp_path, made))
    assert value(analysis, "hours.windows").value == 0
    assert value(analysis, "hours.lost").value == 150
    assert value(analysis, "hours.blowby_slope").reason == "few-windows"
    assert value(analysis, "hours.blowby_slope", "B2").reason == "bench-not-known"


def test_a_run_that_ended_early_is_drawn_on_and_said_so(tmp_path: Path) -> None:
    made = {"B1": [rows(Made())], "B2": [rows(Made(seed=2))]}
    analysis, _ = found(program(tmp_path, made, planned=200))
    ahead = value(analysis, "hours.blowby_planned")
    assert "extrapolated" in ahead.flags
    low, high = ends(ahead)
    assert low < 30 * 1.08 < high
    assert value(analysis, "hours.lost").value == 50
    analysis, _ = found(program(tmp_path / "far", made, planned=310))
    assert value(analysis, "hours.blowby_planned").reason == "too-far-ahead"


def test_meters_of_two_loggers_are_laid_side_by_side(tmp_path: Path) -> None:
    """Speed and load each two minutes from one, blow-by and oil each ten from the other."""
    made = rows(Made())
    own = program(tmp_path, {"B1": [made], "B2": [rows(Made(seed=2))]})
    log, slow = own / "logs" / "b1-1.csv", own / "logs" / "b1-slow.csv"
    cells = [row.split(",") for row in made]
    log.write_text("\n".join(["Stamp,n,Md", *(",".join(row[:3]) for row in cells)]) + "\n")
    slow.write_text("\n".join(["Stamp,Q,T oil,p oil", *(",".join([row[0], *row[3:]]) for row in cells[::5])]) + "\n")
    path = own / "program.yaml"
    text = path.read_text(encoding="utf-8")
    entry = text[text.index("    - file: logs/b1-1.csv") : text.index("    - file: logs/b2-1.csv")]
    lines = entry.splitlines(keepends=True)
    fast = "".join(line for line in lines if not any(f" {name}: " in line for name in ("blowby", "oil_temperature", "oil_pressure", "constants")))  # fmt: skip  # noqa: E501
    other = "".join(line for line in lines if not any(f" {name}: " in line for name in ("speed", "torque")))
    path.write_text(text.replace(entry, fast + other.replace("b1-1.csv", "b1-slow.csv")), encoding="utf-8")
    analysis, problems = found(own)
    assert [(each.code, each.level) for each in problems if each.code.startswith("log")] == [
        ("loggers-side-by-side", "warning")
    ]
    assert value(analysis, "hours.windows").value == 150
    low, high = ends(value(analysis, "hours.blowby_slope"))
    assert low < 4.0 / 1.03 < high


def shifted(told: list[str], begin: float, by: float) -> list[str]:
    """The rows from an hour on with their stamps moved [h]."""
    made = []
    for number, row in enumerate(told):
        hour = number * EVERY / 3600
        made.append(f"{_stamp(hour + by)},{row.partition(',')[2]}" if hour >= begin else row)
    return made


@pytest.mark.parametrize(("by", "code"), [(-1.0, "clock-set-back"), (1.0, "clock-set-forward")])
def test_a_clock_that_was_set_during_the_run(tmp_path: Path, by: float, code: str) -> None:
    own = program(tmp_path, {"B1": [shifted(rows(Made(daily=0.0)), 75.0, by)], "B2": [rows(Made(seed=2))]})
    analysis, problems = found(own)
    assert [(each.code, each.level) for each in problems if each.code.startswith("clock")] == [(code, "warning")]
    assert value(analysis, "hours.windows").value == pytest.approx(150, abs=1)
    slope = value(analysis, "hours.blowby_slope")
    assert slope.n == 5
    low, high = ends(slope)
    assert low < 4.0 / 1.03 < high


@pytest.mark.parametrize("stood", [True, False])
def test_a_month_without_data(tmp_path: Path, stood: bool) -> None:
    """Where the engine stood before and after, its hours are known; else nothing says how long it ran."""
    made = shifted(rows(Made(daily=0.0)), 75.0, 720.0)
    if stood:
        at = 75 * 3600 // EVERY
        made[at:at] = [f"{_stamp(hour)},0,0,0,40,0" for hour in (75.01, 794.99)]
    analysis, problems = found(program(tmp_path, {"B1": [made], "B2": [rows(Made(seed=2))]}))
    assert [each.code for each in problems if each.level == "error"] == []
    assert "log-pause" in [each.code for each in problems]
    assert value(analysis, "hours.windows").value == pytest.approx(150, abs=1)
    slope = value(analysis, "hours.blowby_slope")
    assert (slope.n, slope.reason) == ((8, "") if stood else (0, "hours-not-known"))


@pytest.mark.parametrize(("pace", "told"), [(1.0, False), (1.1, True)])
def test_a_counter_of_the_engine(tmp_path: Path, pace: float, told: bool) -> None:
    own = program(tmp_path, {"B1": [rows(Made())], "B2": [rows(Made(seed=2))]})
    log = own / "logs" / "b1-1.csv"
    head, *made = log.read_text(encoding="utf-8").splitlines()
    counted = [f"{row},{1234 + pace * EVERY / 3600 * number:.1f}" for number, row in enumerate(made)]
    log.write_text("\n".join([f"{head},Hours", *counted]) + "\n", encoding="utf-8")
    path = own / "program.yaml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("      channels:\n", "      channels:\n        hours: {header: Hours, unit: h}\n", 1),
                    encoding="utf-8")  # fmt: skip
    analysis, problems = found(own)
    assert ("hours-disagree" in [each.code for each in problems]) == told
    low, high = ends(value(analysis, "hours.blowby_slope"))
    assert low < 4.0 / 1.03 / pace < high


@pytest.mark.parametrize(
    ("planned", "time", "least", "because"),
    [
        (40.0, "1 h", math.inf, "less than four days round the clock cannot tell a slope from a daily cycle; by itself "
         "a wander of 1 % over 1 h, as stated, hides those below 8.6 % per 100 h"),
        (100.0, "1 h", 2.2, "a wander of 1 % over 1 h, as stated"),
        (300.0, "3 h", 0.7, "a wander of 1 % over 3 h, as stated"),
        (100.0, "10 h", math.inf, "a wander of 1 % over 10 h, as stated, which asks for 300 h at least"),
    ],
)  # fmt: skip
def test_the_least_slope_is_told_before_the_run(
    tmp_path: Path, planned: float, time: str, least: float, because: str
) -> None:
    """Figures of the house's methods, 10.5."""
    run = f"  wander: {{time_constant: {time}, blowby: 1 %, hourly: 0.5 %}}"
    read, _ = workflow.programs(program(tmp_path, {"B1": [rows(Made(1))]}, planned, run=run))
    assert read is not None
    (told,) = smallest(read.programs[0])
    assert told.value == pytest.approx(least, abs=0.051)
    assert told.because.replace("\N{NO-BREAK SPACE}", " ") == because


def test_a_criterion_may_name_a_slope_and_a_level_at_the_planned_hours(tmp_path: Path) -> None:
    """Both as an end rule: the slope of B1 is 4 % per 100 h, that of B2 none."""
    criterion = "".join(
        f"    - {{id: {name}, title: {name}, measure: {measure}, phase: long, at_most: {limit}, scope: every build, "
        "coatings: [nitrided, graded-crn], end_rule: true}\n"
        for name, measure, limit in (
            ("steep", "hours.blowby_slope", "2 % per 100 h"), ("high", "hours.blowby_planned", "33 L/min")
        )
    )  # fmt: skip
    made = {"B1": [rows(Made(slope=6.0))], "B2": [rows(Made(slope=0.0, seed=2))]}
    own = program(tmp_path, made, criterion=criterion)
    read, problems = workflow.programs(own)
    assert read is not None
    assert read.programs, problems
    analysis = analyse(gather(read.programs[0], registry.STREAMS), registry.STREAMS, registry.steps())
    words = {
        (each.rule, each.key.coating): each.word for each in analysis.verdicts if each.rule.startswith("criterion")
    }
    assert words["criterion:steep", "nitrided"] == "fails"
    assert words["criterion:steep", "graded-crn"] == "holds"
    assert words["criterion:high", "graded-crn"] == "holds"
