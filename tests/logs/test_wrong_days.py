"""A run log whose meter was not calibrated, or not there, on the day it begins: told, and used."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from house import ROOT

from sitegen import registry, workflow
from sitegen.logs.join import Log
from sitegen.results.run import gather

TIME = "time: {column: Time, unit: s}"
SPEED = "speed: {header: n, unit: rpm}"
FLOW = "blowby: {header: Q, unit: L/min actual, meter: M1}"
METER = "calibrations: [{on: 2026-01-10, due: 2027-01-10}]"


@pytest.mark.parametrize(
    ("instead", "told"),
    [
        (METER, None),
        ("calibrations: [{on: 2027-01-10, due: 2028-01-10}]", "no calibration of M1 was in force"),
        ("until: 2026-01-20", "M1 was not there: withdrawn after 2026-01-20"),
        ("from: 2027-01-20", "M1 was not there: first there on 2027-01-20"),
    ],
)
def test_a_log_of_a_wrong_day(instead: str, told: str | None, tmp_path: Path) -> None:
    folder = Path(shutil.copytree(ROOT / "tests" / "accepted" / "one-log", tmp_path / "programs"))
    file = folder / "definitions.yaml"
    text = file.read_text("utf-8")
    assert METER in text
    file.write_text(text.replace(METER, instead), "utf-8")
    program, log = folder / "pump" / "program.yaml", folder / "pump" / "logs" / "b1-pulls.csv"
    entry = program.read_text("utf-8")
    assert entry.count(TIME) == 1
    entry = entry.replace(TIME, "time: {clock: Time}").replace(SPEED, f"{SPEED}\n        {FLOW}")
    program.write_text(entry, "utf-8")
    rows = [f"2026-05-14 10:00:{second:02},1800,140,18,500" for second in range(30)]
    log.write_text("\n".join(["Time,n,Md,Q,T1", *rows, ""]), "utf-8")
    made, problems = workflow.programs(folder)
    assert made is not None, problems
    found = gather(made.programs[0], [each for each in registry.STREAMS if each.name == "runlog"])
    readings = found.readings["runlog"]
    days = {log.start[:10] for log in readings.logs.values() if isinstance(log, Log)}
    assert days == {"2026-05-14"}
    warned = [each for each in readings.problems if each.code in {"past-calibration", "instrument-not-there"}]
    assert [each.what for each in warned] == ([f"on 2026-05-14 {told}"] if told else [])
    assert set(readings.frame["use"]) == {""}
