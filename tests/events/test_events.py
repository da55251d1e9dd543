"""The event log: what is read, what is set aside and why, and what a meter check changes."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from pathlib import Path

import pytest
from house import copied
from tables.house import Folder, column, told

from sitegen import registry, workflow
from sitegen.declarations import Step
from sitegen.reasons import CATALOGUE
from sitegen.results.run import Analysis, analyse, gather
from sitegen.vocabulary import Readings, Value

HEAD = "engine,phase,at [min],what,cylinder,lasted [min],meter,moved,flow [L/min actual],behaviour,by,remark,tight\n"
STOP = "B1,run-in-15,7.5,stop,,4,,,,,M. A.,gas alarm,\n"


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Folder:
    monkeypatch.setenv("SITEGEN_CACHE", str(tmp_path / "cache"))
    return Folder(tmp_path)


def read(folder: Folder, rows: str) -> Readings:
    filled = "".join(f"{row}{',' * (HEAD.count(',') - row.count(','))}\n" for row in rows.splitlines())
    return folder.read(folder.source(HEAD + filled, name="events.csv", stream="events"))


def test_rows_in_si(folder: Folder) -> None:
    rows = STOP + "B1,run-in-15,9,meter-reading,,,M1,,30,bouncing,,\nB1,run-in-15,,meter-check,,,M1,no,,,,\n"
    found = read(folder, rows + "B6,teardown,,other,2,,,,,,,carbon in the groove\n")
    assert not found.problems
    assert column(found, "use") == ["", "", "", ""]
    assert column(found, "at")[:2] == [450.0, 540.0]
    assert column(found, "lasted")[0] == 240.0
    assert column(found, "flow")[1] == pytest.approx(30e-3 / 60)
    assert column(found, "moved")[2] == "no"


@pytest.mark.parametrize(
    ("row", "code", "name"),
    [
        ("B1,run-in-15,9,meter-check,,,M1,,,,,", "event-not-whole", "moved"),
        ("B1,run-in-15,9,meter-check,,,,yes,,,,", "event-not-whole", "meter"),
        ("B1,run-in-15,9,meter-reading,,,M1,,,,,", "event-not-whole", "flow [L/min actual]"),
        ("B1,run-in-15,9,stop,,,M1,,,,,", "event-of-no-meter", "meter"),
        ("B1,run-in-15,9,stop,,,,,30,,,", "event-of-no-meter", "flow [L/min actual]"),
        ("B1,cold-build,,crankcase-check,,,,,,,,,", "event-not-whole", "tight"),
        ("B1,run-in-15,9,stop,,,,,,,,,yes", "event-of-no-meter", "tight"),
        ("B1,cold-build,9,stop,,,,,,,,", "event-not-in-run", "at [min]"),
        ("B1,run-in-15,-2,stop,,,,,,,,", "outside-limits", "at [min]"),
    ],
)
def test_a_row_that_cannot_be_is_set_aside_and_named(folder: Folder, row: str, code: str, name: str) -> None:
    found = read(folder, f"{STOP}{row}\n")
    assert column(found, "use") == ["", code]
    assert code in CATALOGUE
    (said,) = told(found)
    assert said.startswith(f'pump/events.csv:3: warning: column "{name}":')


def test_an_unknown_meter_is_an_error_with_the_nearest_name(folder: Folder) -> None:
    found = read(folder, "B1,run-in-15,9,meter-check,,,M2,yes,,,,\n")
    (said,) = told(found)
    assert 'there is no meter "M2"' in said
    assert "Expected M1" in said


# ---- what a check of a meter changes --------------------------------------------------------------------------------


PROGRAM = "pump-rings-2026"
LINE = "B7,pulls,4,meter-check,,,M1,no"


def blowby(analysis: Analysis, engine: str) -> dict[str, Value]:
    return {
        key.phase: value
        for (measure, key), value in analysis.values.items()
        if measure == "blowby.last" and key.engine == engine
    }


def needed(steps: Sequence[Step], step: Step) -> list[Step]:
    """A step and those its measures rest on."""
    owner = {measure.id: each for each in steps for measure in each.gives}
    found, waiting = {step.name: step}, [step]
    while waiting:
        for each in (owner[need] for need in waiting.pop().needs):
            if each.name not in found:
                found[each.name] = each
                waiting.append(each)
    return list(found.values())


def changed(tmp_path: Path, old: str, new: str) -> Analysis:
    """The example with a line of its event log changed; only what blow-by rests on is read and worked out."""
    folder = copied(tmp_path)
    events = folder / PROGRAM / "records" / "events.csv"
    text = events.read_text(encoding="utf-8")
    assert text.count(old) == 1
    events.write_text(text.replace(old, new), encoding="utf-8")
    made, _ = workflow.programs(folder / PROGRAM)
    assert made is not None
    steps = needed(registry.steps(), next(each for each in registry.steps() if each.name == "blow-by"))
    reads = {name for step in steps for name in step.reads}
    streams = [each for each in registry.STREAMS if each.name in reads]
    return analyse(gather(made.programs[0], streams), streams, steps)


def test_a_meter_that_never_moves_is_unverified_until_it_is_checked(
    tmp_path: Path, concluded: dict[str, workflow.Conclusion]
) -> None:
    as_is = blowby(concluded[PROGRAM].analysis, "B7")
    assert (as_is["run-in-60"].status, as_is["run-in-60"].reason) == ("refused", "meter-never-moved")
    assert (as_is["pulls"].status, as_is["pulls"].reason) == ("refused", "meter-check-failed")
    checked = blowby(changed(tmp_path, LINE, "B7,run-in-60,4,meter-check,,,M1,yes"), "B7")
    assert checked["run-in-60"].flags == frozenset()  # it answered: the rings let nothing past
    assert checked["run-in-25"].reason == "meter-never-moved"  # of this phase the check says nothing
    assert "pulls" not in checked  # no reference point in it


def test_blow_by_of_a_leaking_crankcase_is_read_with_care(tmp_path: Path) -> None:
    line = "B5,cold-build,,crankcase-check,,,,,,,yes"
    found = blowby(changed(tmp_path, line, line.replace("cold-build", "run-in-25").replace("yes", "no")), "B5")
    assert {phase: value.flags for phase, value in found.items()} == {
        "run-in-10": frozenset(),
        "run-in-25": {"crankcase-leaks"},
        "run-in-60": {"crankcase-leaks"},
    }


def noted(tmp_path: Path, day: str, *rows: str) -> list[str]:
    """What is told of events in a run of 50.5 h that began on 11 August 2026 at 7:00, with the day they bear."""
    folder = copied(tmp_path) / "pump-rings-hours"
    shutil.rmtree(folder.parent / "pump-rings-2026")
    shutil.rmtree(folder.parent / "pump-rings-2025")
    text = (folder / "program.yaml").read_text(encoding="utf-8")
    for log in (folder / "logs").iterdir():
        if log.name != "c1-hours-100.csv":
            log.unlink()
    lines = [line for line in text.splitlines() if '"logs/c2-' not in line and '"logs/c3-' not in line]
    (folder / "program.yaml").write_text("\n".join(lines) + "\n", encoding="utf-8")
    events = "engine,phase,at [min],what,date\n" + "".join(f"{row},{day}\n" for row in rows)
    (folder / "records" / "events.csv").write_text(events, encoding="utf-8")
    found, problems = workflow.programs(folder)
    assert found is not None, problems
    assert found.programs, problems
    streams = [each for each in registry.STREAMS if each.name in {"runlog", "events"}]
    evidence = gather(found.programs[0], streams)
    assert set(evidence.readings["events"].cells("use")) == {""}  # told, and in use
    return [each.partition("records/")[2] for each in told(list(evidence.problems)) if "events.csv" in each]


def test_an_event_after_the_end_of_its_run_is_told(tmp_path: Path) -> None:
    rows = ("C1,hours-100,3030,stop", "C1,hours-100,3600,stop", "C1,cold-build,,other")
    assert noted(tmp_path, "", *rows) == [
        'events.csv:3: warning: column "at [min]": the stop is at 60.00 h, and the log of hours-100 ends at 50.51 h. '
        "Expected a time within the run. Next: correct the time or the phase, or see whether a log is missing.",
    ]


def test_an_event_whose_day_is_not_that_of_its_time_is_told(tmp_path: Path) -> None:
    """1020 min after 7:00 is midnight: by a clock an hour off it is one day or the other."""
    rows = ("C1,hours-100,900,stop", "C1,hours-100,1010,stop", "C1,hours-100,1090,stop", "C1,hours-100,,top-up")
    assert noted(tmp_path, "2026-08-11", *rows) == [
        'events.csv:4: warning: column "date": the stop is dated 2026-08-11; by the log, which begins on 2026-08-11 at '
        "07:00, 18.17 h of its run are on 2026-08-12. Expected 2026-08-12, or another time. Next: correct the date, "
        "the time or the phase.",
    ]
