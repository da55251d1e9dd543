"""The simulated run logs say what the engines did, and the committed ones are the simulator's.

Held against arithmetic apart from the simulator: published conversions, a worked example, the leak areas the
leak-down readings are made from, and the files read back.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml
from simulate import engine as sim
from simulate import logfiles, logplans, logs, programs

PROGRAMS = Path(__file__).parent.parent / "programs"
PHASES = ("run-in-10", "run-in-25", "run-in-60", "pulls")


def setup(phase: str, seed: int = 3, **changes: Any) -> logs.Setup:
    truth, _ = sim.engine(seed, scatter=sim.NONE)
    return replace(logs.Setup(truth, phase, "2026-02-10T08:00:00"), **changes)


def run_in(seed: int = 3) -> list[logs.Run]:
    """The three phases of the run-in, one after the other."""
    km, found = 0.0, []
    for phase in PHASES[:3]:
        found.append(logs.run(seed, setup(phase, km=km)))
        km = found[-1].truth.km[1]
    return found


# ---- the engine -----------------------------------------------------------------------------------------------------


def test_brake_pressure_of_a_worked_example() -> None:
    # "Mean effective pressure (MEP)", worked example (x-engineer.org, the name from memory; no author, undated): 85 mm
    # bore, 97 mm stroke, four cylinders, 230 N m effective torque, 1312738.6 Pa
    displaced = math.pi / 4 * 0.085**2 * 0.097 * 4
    found = logs.brake_pressure(np.array([230.0]))[0] * logs.DISPLACEMENT / displaced
    assert found == pytest.approx(1312.7386, abs=0.001)


@pytest.mark.parametrize(("stated", "factor"), [((101.325e3, 273.15), 0.83038), ((100e3, 293.15), 0.90299)])
def test_volumes_at_other_conditions(stated: tuple[float, float], factor: float) -> None:
    # by hand from the gas law: 98.0 kPa and 45 degC brought to 0 degC, 101.325 kPa and to 20 degC, 100 kPa
    mass = np.array([1e-3])
    assert logs.volume(mass, *stated)[0] / logs.volume(mass, 98e3, 318.15)[0] == pytest.approx(factor, abs=5e-6)


def test_logs_and_leak_down_share_their_leak_areas() -> None:
    truth, _ = sim.engine(5)
    for check in sim.CHECKS[1:]:
        whole = logs.leak_area(truth, np.array([check.km]), np.array([check.hours]))[0]
        assert whole == pytest.approx(sum(each.ring_area(check) for each in truth.cylinders))


def test_flow_at_the_reference_point_loses_63_percent_in_one_scale() -> None:
    # areas halfway between start and plateau on the curve known beforehand: 0.92 to 0.30 mm2 over 6.0 km, no scatter
    points = [point for each in run_in() for point in each.truth.reference_points]
    assert len(points) == 8
    area = np.array([4 * (0.30 + 0.62 * math.exp(-point.km / 6.0)) for point in points])
    per_area = np.array([point.level for point in points]) / area
    assert np.ptp(per_area) / per_area.mean() < 0.02  # controllers hold speed and load no better
    again = np.array([point.flow for point in points]) / area
    assert again.std() / again.mean() < 0.02  # what slow wander leaves in 55 s
    assert again.std() > np.ptp(per_area) / 4


def test_flow_rises_with_load_and_speed_and_stops_with_the_engine() -> None:
    area = np.full(4, 1.2)
    idle, load, fast, rest = logs.gas_past_rings(
        area, np.array([1300.0, 1300.0, 2000.0, 0.0]), np.array([60.0, 140.0, 60.0, 0.0])
    )
    assert 1.3 * idle < load < 2 * idle
    assert idle < fast < 1.2 * idle
    assert rest == 0.0
    # seated rings: 0.5 to 2 % of the gas drawn in are usual, by an encyclopaedia
    litres = logs.volume(np.array([load]), *logs.STATED)[0]
    assert 0.005 < litres / (2.405 / 2 * 1300) < 0.02


def test_wander_has_the_stated_size_and_forgets_in_its_time() -> None:
    # 40 000 s of a 20 s wander are worth 1000 draws: the sd is known to 2.2 %, the correlation to 0.03; three of them
    drawn = logs.Draws("wander").wander(40_000, 0.02, 20.0)
    assert drawn.std() == pytest.approx(0.02, rel=0.07)
    assert np.corrcoef(drawn[:-20], drawn[20:])[0, 1] == pytest.approx(math.exp(-1), abs=0.09)


def test_a_lag_follows_63_percent_of_a_step_in_its_time() -> None:
    step = logs.lagged(np.ones(100), 20.0, 0.0)
    assert step[19] == pytest.approx(1 - math.exp(-1), abs=1e-9)  # the first sample is a second after the step
    assert logs.lagged(np.full(10, 3.0), 5.0) == pytest.approx([3.0] * 10)


def test_a_run_turns_and_works_as_its_schedule_says() -> None:
    # by hand: 300 s at 1300 rpm and 600 s at 1400 rpm; kW = N m x rpm / 9549.297
    found = logs.run(1, setup("run-in-25")).truth
    assert found.revolutions == pytest.approx(5 * 1300 + 10 * 1400, rel=0.003)
    worked = 1000 * (300 * 60 * 1300 + 600 * 80 * 1400) / 9549.297
    assert found.energy == pytest.approx(worked, rel=0.01)  # ramps between its steps
    assert found.km[1] - found.km[0] == pytest.approx(found.revolutions * 0.2e-3)  # twice 100 mm a revolution
    assert found.running == pytest.approx(900, abs=10)
    assert found.seconds > 910  # it begins and ends at rest
    assert found.stops == ()


def test_departures_are_run() -> None:
    plan = logs.SCHEDULES["run-in-60"]
    length = sum(step.seconds for step in plan)
    stopped = logs.departed(plan, logs.Departure("stop", at=1005, seconds=240))
    assert sum(step.seconds for step in stopped) == length + 240
    faster = logs.departed(plan, logs.Departure("excursion", at=1110, seconds=20, speed=2300, torque=40))
    assert sum(step.seconds for step in faster) == length
    pulls = logs.departed(logs.SCHEDULES["pulls"], logs.Departure("no sweep", at=600, seconds=30))
    assert [step.end for step in pulls].count(2200) == 3
    assert sum(step.seconds for step in pulls) == 840
    found = logs.run(1, setup("run-in-60", departures=(logs.Departure("stop", at=1005, seconds=240),))).truth
    ((begin, end),) = found.stops
    assert end - begin == pytest.approx(240, abs=12)  # it runs down first
    assert found.revolutions == pytest.approx(programs.RUNNING["run-in-60"], rel=0.003)


def test_the_same_seed_runs_the_same_and_a_channel_more_moves_no_other() -> None:
    first, again = logs.run(7, setup("run-in-10")), logs.run(7, setup("run-in-10"))
    alone = logs.run(7, setup("run-in-10", second=False, dead=("oil_temperature",)))
    other = logs.run(8, setup("run-in-10"))
    assert np.array_equal(first.shown["blowby"], again.shown["blowby"])
    assert np.array_equal(first.shown["torque"], alone.shown["torque"])
    assert np.array_equal(first.flow, alone.flow)
    assert "blowby_2" not in alone.shown
    assert not alone.shown["oil_temperature"].any()
    assert len(first.flow) != len(other.flow) or not np.array_equal(first.flow, other.flow)


# ---- the example programs -------------------------------------------------------------------------------------------


Logs = Mapping[str, tuple[logs.Run, logfiles.LogForm, bytes]]


@pytest.fixture(scope="module")
def made() -> Logs:
    return {name: (ran, form, logfiles.written(ran, form)) for name, ran, form in programs.log_runs()}


def document(path: Path) -> Any:
    """Everything as text."""
    return yaml.load(path.read_text("utf-8"), yaml.BaseLoader)  # noqa: S506 - the base loader makes text only


def test_committed_logs_are_the_simulator_s(made: Logs) -> None:
    committed = {path.relative_to(PROGRAMS).as_posix(): path for path in PROGRAMS.glob("pump-rings-20*/logs/*")}
    assert set(committed) == set(made)
    assert sum(len(data) for _, _, data in made.values()) < 20_000_000
    for name, (_, _, data) in made.items():
        assert committed[name].read_bytes() == data, f"{name}: run `python -m simulate` from the tests folder"


SECONDS = {"s": 1, "min": 60, "h": 3600}


def planned(step: Mapping[str, Any]) -> logs.Step:
    """A step of a program file as the simulator has it."""
    number, unit = step["time"].split()
    seconds, torque = float(number) * SECONDS[unit], float(step["torque"].removesuffix(" N m"))
    assert seconds == int(seconds)
    speed = step["speed"] if isinstance(step["speed"], dict) else {"from": step["speed"], "to": ""}
    begin, end = (float(speed[each].removesuffix(" rpm") or -1) for each in ("from", "to"))
    return logs.Step(int(seconds), begin, torque, end, step.get("reference_point") == "true")


@pytest.mark.parametrize("program", ["pump-rings-2025", "pump-rings-2026"])
def test_program_files_say_what_was_logged_and_how(program: str, made: Logs) -> None:
    said = document(PROGRAMS / program / "program.yaml")
    for phase in said["phases"]:
        if "schedule" in phase:
            steps = tuple(planned(step) for step in phase["schedule"]) * int(phase.get("repeat", 1))
            assert steps == logs.SCHEDULES[phase["id"]]
    entries = {f"{program}/{entry['file']}": entry for entry in said["records"]["runlog"]}
    assert set(entries) == {name for name in made if name.startswith(program)}
    meters = document(PROGRAMS / "definitions.yaml")["meters"]
    for name, entry in entries.items():
        ran, form, _ = made[name]
        assert (entry["engine"], entry["phase"]) == (ran.truth.engine, ran.truth.phase)
        assert entry.get("separator", ",") == {"\t": "tab"}.get(form.separator, form.separator)
        assert entry.get("decimal", ".") == form.decimal
        assert int(entry.get("skip_rows", 0)) == len(form.preamble)
        assert int(entry.get("header_rows", 1)) == form.header_rows
        assert (entry.get("units_row") == "true") is form.units_row
        assert ("time" in entry) is (form.kind != "mixed")
        assert list(entry["channels"]) == [column.channel for column in form.columns]
        for column in form.columns:
            channel = entry["channels"][column.channel]
            assert (channel["header"], channel["unit"]) == (column.header.replace("|", " "), column.unit)
            assert channel.get("meter") == logplans.METERS.get(column.channel)
            if form.kind == "mixed":
                assert channel["time"] == {"column": logfiles.time_header(column), "unit": "s"}
            if "meter" in channel:
                assert (
                    float(meters[channel["meter"]]["time_constant"].split()[0]) == logs.TIME_CONSTANT[channel["meter"]]
                )
                days = [(each["on"], each["due"]) for each in meters[channel["meter"]]["calibrations"]]
                assert any(on <= ran.truth.start[:10] <= due for on, due in days)


def table(data: bytes, form: logfiles.LogForm) -> dict[str, Any]:
    """A file read back with nothing but the standard library: header, joined with a blank -> texts."""
    lines = data.decode(form.encoding).split(form.line_end)[len(form.preamble) :]
    rows = list(csv.reader(lines, delimiter=form.separator))[:-1]
    assert {len(row) for row in rows} == {len(rows[0])}
    headers = [" ".join(parts) for parts in zip(*rows[: form.header_rows], strict=True)]
    assert len(set(headers)) == len(headers)
    body = rows[form.header_rows + form.units_row :]
    return dict(zip(headers, zip(*body, strict=True), strict=True))


def numbers(found: Mapping[str, Any], form: logfiles.LogForm, channel: str) -> np.ndarray[Any, np.dtype[np.float64]]:
    header = next(each.header for each in form.columns if each.channel == channel).replace("|", " ")
    return np.array([float(each.replace(",", ".")) for each in found[header] if each != ""])


def test_files_carry_the_truth(made: Logs) -> None:
    seen = set()
    for name, (ran, form, data) in made.items():
        if ran.truth.phase == "durability":
            continue
        seen.add(ran.truth.engine)
        found = table(data, form)
        speed, torque = numbers(found, form, "speed"), numbers(found, form, "torque")
        per_kw = 5252.113 * 1.341022 if ran.truth.engine == "B7" else 9549.297  # lb-ft; 1.341022 hp in a kW
        turned = float((speed[1:] + speed[:-1]).sum() / 2 / 60)
        work = float((speed[1:] * torque[1:] + speed[:-1] * torque[:-1]).sum() / 2) / per_kw * 1000
        assert turned == pytest.approx(ran.truth.revolutions, rel=1e-3), name
        assert work == pytest.approx(ran.truth.energy, rel=2e-3), name
        assert len(speed) == ran.truth.seconds + 1
    assert seen == {*logplans.LOGS_2025, *logplans.LOGS_2026}


def test_both_meters_count_the_gas_that_passed(made: Logs) -> None:
    # by the gas law from what the file says beside the flow: 20 degC and 100 kPa
    ran, form, data = made["pump-rings-2026/logs/b1-run-in-60.csv"]
    found = table(data, form)
    kelvin, pressure = numbers(found, form, "blowby_temperature") + 273.15, numbers(found, form, "ambient_pressure")
    first = numbers(found, form, "blowby") * pressure / 100 * 293.15 / kelvin
    second = numbers(found, form, "blowby_2") * 101.325 / 100 * 293.15 / 273.15
    assert first.mean() == pytest.approx(ran.truth.flow, rel=0.004)
    assert second.mean() / first.mean() == pytest.approx(1.018 + 0.1 / first.mean(), abs=0.005)
    for point in ran.truth.reference_points:
        inside = slice(int(point.begin) + 20, int(point.end))
        assert first[inside].mean() == pytest.approx(point.flow, rel=0.01)


def test_what_went_wrong_shows_in_the_files(made: Logs) -> None:
    def of(name: str, channel: str) -> np.ndarray[Any, np.dtype[np.float64]]:
        _, form, data = made[f"pump-rings-2026/logs/{name}"]
        return numbers(table(data, form), form, channel)

    stop = of("b2-run-in-60.csv", "speed")
    at_rest = np.flatnonzero(stop[30:-30] < 60)
    assert len(at_rest) == pytest.approx(240, abs=12)
    assert np.ptp(at_rest) == len(at_rest) - 1
    excursion = of("b6-run-in-60.csv", "speed")
    assert 12 < (excursion > 2200).sum() < 22
    others = [of(f"b{n}-run-in-60.csv", "speed").max() for n in (1, 2, 3, 4, 7)]
    assert max(others) < 1850
    for n, sweeps in ((1, 4), (4, 4), (6, 4)):
        assert np.diff(of(f"b{n}-pulls.csv", "speed") > 2000).sum() == 2 * sweeps
    assert np.diff(of("b5-pulls.tsv", "speed") > 2000).sum() == 2 * 3
    coolant = of("b3-run-in-60.csv", "coolant_temperature")
    assert len(set(coolant[540:].tolist())) == 1
    assert len(set(coolant[:540].tolist())) > 50
    for phase in PHASES:
        assert not of(f"b7-{phase}.csv", "blowby").any()
        assert of(f"b7-{phase}.csv", "crankcase_pressure").max() > 0.1  # gas does pass


def test_forms_are_as_their_recorders_leave_them(made: Logs) -> None:
    def lines(name: str, encoding: str = "utf-8") -> list[str]:
        return made[f"pump-rings-{name}"][2].decode(encoding).splitlines()

    assert lines("2025/logs/a2-pulls.csv")[2].startswith("0,0167;0;")
    assert lines("2025/logs/a3-pulls.csv")[:2][1].startswith("time,speed,torque")
    assert lines("2026/logs/b2-pulls.csv")[1].startswith("18.03.2026 09:20:00;0;")
    assert lines("2026/logs/b3-pulls.csv")[1].startswith("s,rpm,N m,")
    night = lines("2026/logs/b4-run-in-60.csv", "latin-1")
    assert night[1].startswith("24.02.2026,23:41:00,")
    assert night[1 + 19 * 60 - 1].startswith("24.02.2026,23:59:59,")
    assert night[1 + 19 * 60].startswith("25.02.2026,00:00:00,")
    assert b"\xb0C" in made["pump-rings-2026/logs/b4-run-in-60.csv"][2]
    assert lines("2026/logs/b5-pulls.tsv")[4].startswith("t\tn\tMd")
    assert lines("2026/logs/b6-pulls.csv")[1].startswith("2026-07-08T09:20:00;0;")
    mixed = lines("2026/logs/b6-run-in-10.csv")
    assert mixed[0].startswith("t n;n;t Md;Md;t Blow-by;Blow-by;")
    assert mixed[2].split(";")[:5] == ["1", "0", "1", mixed[2].split(";")[3], "2"]
    assert mixed[-1].split(";")[4:6] == ["", ""]
    assert len({line.count(";") for line in mixed}) == 1


def test_the_log_with_a_row_every_five_seconds_holds_the_same_run(made: Logs) -> None:
    ran, form, data = made["pump-rings-2026/logs/b4-durability.csv"]
    speed = numbers(table(data, form), form, "speed")
    assert len(speed) == ran.truth.seconds // 5 + 1 > 8 * 3600
    assert float((speed[1:] + speed[:-1]).sum() / 2 * 5 / 60) == pytest.approx(ran.truth.revolutions, rel=1e-3)
    assert ran.truth.revolutions == pytest.approx(40 * 60 * 1800, rel=1e-3)
