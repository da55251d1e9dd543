"""A newcomer's folder is read as it lies: no file altered, no row lost, few lines of the program file."""

from __future__ import annotations

import csv
from pathlib import Path

import openpyxl
import pandas as pd
import pytest
from house import rows_of

from newcomer.folder import (
    BUILDS,
    COATINGS,
    CYLINDERS,
    OPENED,
    RUNS,
    STATIC,
    hashes,
    program,
    write,
)
from sitegen import unchanged, workflow
from sitegen.cli import main
from sitegen.preview.watching import stamp
from sitegen.problems import as_text
from sitegen.shelves import of_user

_IDS = ("cold-build", "run-in-1", "run-in-2", "run-in-3", "durability", "teardown")
PHASES = dict(zip((STATIC, *RUNS, OPENED), _IDS, strict=True))
BAR = 1e5  # Pa
LOGS, RINGS = "files: pruefstand/{engine}_{phase}_*.csv", "file: Kolbenringe.xlsx"
LINES = 100  # of the program file


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("newcomer")


@pytest.fixture(scope="module")
def given(folder: Path) -> dict[str, str]:
    return write(folder / "programs")


@pytest.fixture(scope="module")
def examination(folder: Path, given: dict[str, str]) -> workflow.Examination:
    assert given
    return workflow.examine(folder / "programs")


def test_all_of_it_is_read_and_nothing_is_altered(
    folder: Path, given: dict[str, str], examination: workflow.Examination
) -> None:
    (evidence,) = examination.evidence
    assert [each.code for each in examination.problems] == ["oil-not-filled"]  # no oil was weighed in, which is told
    assert {name.removeprefix("pumpensatz/") for name in evidence.inputs} >= set(given)
    tallies = [tally for readings in evidence.readings.values() for tally in readings.tally.values()]
    assert len(tallies) == len(given) == 57
    assert all(tally["used"] == tally["rows"] > 0 for tally in tallies)
    assert hashes(folder / "programs" / "pumpensatz") == given


def test_five_entries_say_it() -> None:
    text = program()
    entries = text[text.index("records:\n") :].count("    - file")
    assert entries == 5
    assert len(text.splitlines()) <= LINES


def test_leak_down_readings_are_those_of_the_files(folder: Path, examination: workflow.Examination) -> None:
    """Read once more with the standard library alone, in the words of the files."""
    frame = examination.evidence[0].readings["leakdown"].frame
    got = {(row.engine, row.phase, row.cylinder, row.repeat): row for row in frame.itertuples()}
    home = folder / "programs" / "pumpensatz" / "druckverlust"
    for name in BUILDS:
        for phase in (STATIC, *RUNS):
            with (home / name / f"{phase}.csv").open(encoding="windows-1252", newline="") as file:
                for line, row in enumerate(csv.DictReader(file, delimiter=";"), start=2):
                    found = got.pop((name, PHASES[phase], float(row["Zyl."]), float(row["Lauf"])))
                    assert found.pressure == pytest.approx(float(row["p2"].replace(",", ".")) * BAR, rel=1e-12)
                    day, month, year = row["Datum"].split(".")
                    assert found.date == f"{year}-{month}-{day}"
                    assert (found.tester, found.crank, found.oil, found.locked) == ("P1", "tdc", "dry", "yes")
                    assert found.condition == ("cold" if phase == STATIC else "warm")
                    assert found.reading == f"{name}/{phase}:{line}"
    assert got == {}


def test_ring_masses_are_those_of_the_worksheets(folder: Path, examination: workflow.Examination) -> None:
    """Read once more with openpyxl."""
    readings = examination.evidence[0].readings["buildsheet"]
    got = {row.reading: row for row in readings.frame.itertuples()}
    book = openpyxl.load_workbook(folder / "programs" / "pumpensatz" / "Kolbenringe.xlsx", read_only=True)
    rings = {"1. Ring": "top", "Minutenring": "second"}
    for name in BUILDS:
        for line, row in enumerate(book[name].iter_rows(values_only=True), start=1):
            if line > 1:
                cylinder, occasion, ring, mass, _, _ = row
                found = got.pop(f"Kolbenringe:{name}:{line}")
                assert (found.engine, found.cylinder, found.phase) == (name, cylinder, PHASES[str(occasion)])
                assert (found.ring, found.tool_mass) == (rings[str(ring)], "balance-1")
                assert found.mass == pytest.approx(float(str(mass)) * 1e-3, rel=1e-12)
                assert (found.file, found.row) == (f"pumpensatz/Kolbenringe.xlsx:{name}", line)
    assert got == {}
    notes = [note for facts in readings.files.values() for note in facts["notes"]]
    assert notes == ["worksheets not read: Legende"]


def test_oil_and_findings_in_the_words_of_others(examination: workflow.Examination) -> None:
    oil = examination.evidence[0].readings["oil"].frame
    bare = oil[oil["engine"].map(COATINGS.get) == "nitrided"]
    assert set(bare["Cr_mark"]) == {"ND"}  # n.n.: not detected
    assert bare["Cr"].isna().all()
    assert (oil["Fe_mark"] == "-").sum() == oil["Fe"].isna().sum() == 1  # k.A.: not measured
    assert set(oil["laboratory"]) == {"lab-1"}
    seen = examination.evidence[0].readings["inspection"].frame
    assert len(seen) == len(BUILDS) * len(CYLINDERS)
    assert set(seen.loc[seen["cylinder"] == 2, "scuffing"]) == {"light"}
    assert set(seen.loc[seen["engine"] == "M4", "deposits"]) == {"marked"}
    assert set(seen["part"]) == {"top-ring"}


def test_logs_belong_to_the_builds_of_their_names(examination: workflow.Examination) -> None:
    logs = examination.evidence[0].readings["runlog"].logs
    assert set(logs) == {(name, PHASES[phase]) for name in BUILDS for phase in RUNS}


def test_a_new_file_is_taken_by_the_next_publish(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """With all that is kept from before: readings, steps, pages and the note that nothing has changed."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    write(tmp_path / "programs")
    home = tmp_path / "programs" / "pumpensatz"
    arriving = sorted((home / "druckverlust").glob("*/Dauerlauf.csv"))
    waiting = {path: path.read_bytes() for path in arriving}
    for path in arriving:
        path.unlink()
    told = ["publish", str(tmp_path / "programs"), "--to", str(tmp_path / "site")]
    assert main(told) == 0
    capsys.readouterr()
    assert main(told) == 0
    assert "nothing has changed" in capsys.readouterr().out
    assert not last_areas(home)
    before = stamp(tmp_path / "programs", None), unchanged.stamps(tmp_path / "programs", tmp_path / "site")
    first, *others = arriving
    first.write_bytes(waiting[first])
    now = stamp(tmp_path / "programs", None), unchanged.stamps(tmp_path / "programs", tmp_path / "site")
    assert all(one != other for one, other in zip(before, now, strict=True))  # a preview sees it too
    assert main(told) == 0
    assert last_areas(home) == {"M1": 6}
    for path in others:
        path.write_bytes(waiting[path])
    assert main(told) == 0
    assert last_areas(home) == dict.fromkeys(BUILDS, 6)
    # what was kept says the same as what is worked out anew
    examination = workflow.examine(tmp_path / "programs", shelves=of_user())
    anew = workflow.examine(tmp_path / "programs")
    kept, fresh = (each.evidence[0].readings["leakdown"].frame for each in (examination, anew))
    pd.testing.assert_frame_equal(kept, fresh, check_dtype=False)


def last_areas(home: Path) -> dict[str, int]:
    """Leak areas after the last run that are published, by build."""
    found: dict[str, int] = {}
    for row in rows_of(home / "results" / "measures.csv"):
        if (row["measure"], row["phase"], row["status"]) == ("leakdown.crankcase", "durability", "ok"):
            found[row["engine"]] = found.get(row["engine"], 0) + 1
    return found


def test_what_lies_beside_is_told_and_what_nearly_fits_is_an_error(tmp_path: Path) -> None:
    write(tmp_path / "programs")
    bench = tmp_path / "programs" / "pumpensatz" / "pruefstand"
    (bench / "liesmich.txt").write_text("Zeitschritt 10 s\n", encoding="utf-8")
    (bench / ".gesperrt.csv").write_text("", encoding="utf-8")
    found = workflow.examine(tmp_path / "programs")
    lines = program().splitlines()
    logs, rings = (lines.index(f"    - {line}") + 1 for line in (LOGS, RINGS))
    assert found.not_read == [
        f"pumpensatz/program.yaml:{logs}: pruefstand/liesmich.txt does not fit `files` and is not read.",
        f"pumpensatz/program.yaml:{rings}: worksheets not read: Legende.",
    ]
    (bench / "M2_Dauerlauf_202702.csv").rename(bench / "M2_Dauerlaufe_202702.csv")
    said = as_text(workflow.examine(tmp_path / "programs").problems)
    assert "fits pruefstand/M2_Dauerlaufe_202702.csv" in said
    assert '"Dauerlaufe" is no phase of this program' in said
    assert "Nearest: durability." in said
