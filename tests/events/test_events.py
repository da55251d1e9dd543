"""The event log: what is read, what is set aside and why, and what a meter check changes."""

from __future__ import annotations

from pathlib import Path

import pytest
from house import PROGRAMS, copied
from tables.house import Folder, column, told

from sitegen import workflow
from sitegen.reasons import CATALOGUE
from sitegen.results.run import Analysis
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


def blowby(folder: Path, engine: str = "B7") -> dict[str, Value]:
    analysis: Analysis = next(
        a for a in workflow.conclude(workflow.examine(folder)) if a.program.id == "pump-rings-2026"
    )
    return {
        key.phase: value
        for (measure, key), value in analysis.values.items()
        if measure == "blowby.last" and key.engine == engine
    }


def test_a_meter_that_never_moves_is_unverified_until_it_is_checked(tmp_path: Path) -> None:
    as_is = blowby(PROGRAMS)
    assert as_is["run-in-60"].flags == {"unverified"}
    assert (as_is["pulls"].status, as_is["pulls"].reason) == ("refused", "meter-check-failed")
    folder = copied(tmp_path)
    events = folder / "pump-rings-2026" / "records" / "events.csv"
    text = events.read_text(encoding="utf-8").replace(
        "B7,pulls,4,meter-check,,,M1,no", "B7,run-in-60,4,meter-check,,,M1,yes"
    )
    events.write_text(text, encoding="utf-8")
    checked = blowby(folder)
    assert checked["run-in-60"].flags == frozenset()  # it answered: the rings let nothing past
    assert checked["run-in-25"].flags == {"unverified"}  # of this phase the check says nothing
    assert "pulls" not in checked  # no reference point in it


def test_blow_by_of_a_leaking_crankcase_is_read_with_care(tmp_path: Path) -> None:
    folder = copied(tmp_path)
    events = folder / "pump-rings-2026" / "records" / "events.csv"
    text = events.read_text(encoding="utf-8")
    line = "B5,cold-build,,crankcase-check,,,,,,,yes"
    assert line in text
    events.write_text(
        text.replace(line, line.replace("cold-build", "run-in-25").replace("yes", "no")), encoding="utf-8"
    )
    found = blowby(folder, "B5")
    assert {phase: value.flags for phase, value in found.items()} == {
        "run-in-10": frozenset(),
        "run-in-25": {"crankcase-leaks"},
        "run-in-60": {"crankcase-leaks"},
    }
