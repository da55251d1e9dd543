"""Findings as data frames: equal to the files, light to import, every problem listed."""

from __future__ import annotations

import csv
import io
import math
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest
from house import PROGRAMS, ROOT, Analysed, copied, fewer

import sitegen
from sitegen import Findings, InputError, findings, workflow
from sitegen.results import files

NAMES = ("pump-rings-2025", "pump-rings-2026", "pump-rings-hours")
TABLES = {"measures": "measures.csv", "comparisons": "comparisons.csv", "verdicts": "verdicts.csv"}


@pytest.fixture(scope="module")
def fresh(analysed: Analysed) -> Findings:
    """From the examples as the run read and analysed them; what it makes of a folder itself is tried further down."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(workflow, "examine", lambda path: analysed.examination if path == PROGRAMS else None)
        patch.setattr(workflow, "conclude", lambda _: tuple(each.analysis for each in analysed.conclusions))
        return findings(PROGRAMS)


@pytest.fixture(scope="module")
def stored() -> Findings:
    return findings(PROGRAMS, committed=True)


def as_text(value: object) -> str:
    """A cell of a frame as the files have it: empty where there is nothing."""
    if isinstance(value, str):
        return value
    return "" if pd.isna(value) else repr(float(value))  # type: ignore[call-overload,arg-type]


def same(cell: str, stored: str) -> bool:
    if cell == stored:
        return True
    return bool(cell) and bool(stored) and float(cell) == float(stored)


@pytest.mark.parametrize("table", TABLES)
def test_frames_hold_what_the_committed_files_hold(fresh: Findings, stored: Findings, table: str) -> None:
    """Read with the csv module, row by row and cell by cell."""
    rows = []
    for name in NAMES:
        text = (PROGRAMS / name / "results" / TABLES[table]).read_text(encoding="utf-8")
        rows += [{"program": name, **row} for row in csv.DictReader(io.StringIO(text))]
    for found in (getattr(fresh, table), getattr(stored, table)):
        assert list(found.columns) == list(rows[0])
        assert len(found) == len(rows)
        for cells, row in zip(found.itertuples(index=False), rows, strict=True):
            wrong = [
                (name, cell, row[name])
                for name, cell in zip(found.columns, cells, strict=True)
                if not same(as_text(cell), row[name])
            ]
            assert wrong == []


def test_fresh_and_committed_agree(fresh: Findings, stored: Findings) -> None:
    for table in TABLES:
        pd.testing.assert_frame_equal(getattr(fresh, table), getattr(stored, table))


def test_numbers_are_numbers_and_counts_are_whole(fresh: Findings) -> None:
    for frame in (fresh.measures, fresh.comparisons, fresh.verdicts):
        for column, kind in frame.dtypes.items():
            assert str(kind) in {"float64", "Int64", "str"}, (column, kind)
    assert str(fresh.comparisons["builds"].dtype) == "Int64"
    assert str(fresh.measures["cylinder"].dtype) == "Int64"
    assert str(fresh.measures["value"].dtype) == "float64"
    primary = fresh.comparisons.query("role == 'primary' and program == 'pump-rings-2025'").iloc[0]
    assert primary["estimate"] == pytest.approx(1.248, abs=0.001)
    assert math.isnan(primary["icc"])
    assert primary["reason"] == ""
    whole = fresh.measures.query("measure == 'seating.scale'")
    assert whole["cylinder"].isna().all()


def test_an_unbounded_end_stays_unbounded(fresh: Findings) -> None:
    text = (PROGRAMS / "pump-rings-2026" / "results" / "measures.csv").read_text(encoding="utf-8")
    count = sum(row["high"] == "inf" for row in csv.DictReader(io.StringIO(text)))
    of = fresh.measures.query("program == 'pump-rings-2026'")
    assert (of["high"] == math.inf).sum() == count


def test_one_program_alone() -> None:
    found = findings(PROGRAMS / "pump-rings-2025")
    assert set(found.measures["program"]) == {"pump-rings-2025"}
    assert found.invented == {"pump-rings-2025"}
    assert findings(str(PROGRAMS / "pump-rings-2025")).measures.equals(found.measures)


def test_readings_set_aside_are_told(fresh: Findings) -> None:
    assert [(problem.file, problem.line, problem.level) for problem in fresh.problems] == [
        ("pump-rings-2026/records/leakdown-b6.csv", 58, "warning")
    ]


def test_committed_findings_read_no_record(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Records that cannot be read do not matter, and nothing tries to."""
    programs = copied(tmp_path)
    for path in (programs / "pump-rings-2026" / "records").iterdir():
        path.write_bytes(b"\x00 not a table")

    def never(*_: object) -> None:
        raise AssertionError("a record was read")

    monkeypatch.setattr(workflow, "gather", never)
    found = findings(programs, committed=True)
    assert len(found.measures) == len(findings(PROGRAMS, committed=True).measures)
    assert found.problems == ()


def test_committed_findings_of_a_program_never_published(tmp_path: Path) -> None:
    programs = fewer(tmp_path)
    (programs / "pump-rings-2025" / "results" / "comparisons.csv").unlink()
    with pytest.raises(FileNotFoundError, match=r"comparisons\.csv"):
        findings(programs, committed=True)


def test_broken_input_lists_every_problem(tmp_path: Path) -> None:
    programs = fewer(tmp_path)
    for name in ("leakdown-a1.csv", "leakdown-a3.csv"):
        path = programs / "pump-rings-2025" / "records" / name
        path.write_text(path.read_text(encoding="utf-8").replace("run-in-60", "run-in-61"), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        findings(programs)
    assert {problem.file.rpartition("/")[2] for problem in caught.value.problems if problem.level == "error"} == {
        "leakdown-a1.csv", "leakdown-a3.csv",
    }  # fmt: skip
    for problem in caught.value.problems:
        assert problem.what in str(caught.value)


@pytest.mark.parametrize("committed", [True, False])
def test_a_broken_program_file_and_no_folder(committed: bool, tmp_path: Path) -> None:
    programs = fewer(tmp_path)
    path = programs / "pump-rings-2025" / "program.yaml"
    path.write_text(path.read_text(encoding="utf-8").replace("question:", "qestion:"), encoding="utf-8")
    with pytest.raises(InputError, match="qestion"):
        findings(programs, committed=committed)
    with pytest.raises(InputError, match="no such folder"):
        findings(tmp_path / "nowhere", committed=committed)


def test_the_package_says_what_it_offers() -> None:
    assert set(sitegen.__all__) == {"Findings", "InputError", "findings"}


def test_importing_is_light() -> None:
    """In a fresh interpreter: what is heavy comes with the first call."""
    heavy = "pandas numpy scipy altair vl_convert jsonschema yaml jinja2 PIL openpyxl"
    code = f"import sys, sitegen; print([name for name in {heavy.split()!r} if name in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT)
    assert done.stdout.strip() == "[]"


def test_results_of_format_1_are_told_as_older(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Before comparisons.csv: the files of format 1 as they lay there."""
    import json

    from sitegen.cli import main

    programs = fewer(tmp_path)
    folder = programs / "pump-rings-2025" / "results"
    (folder / "comparisons.csv").unlink()
    provenance = json.loads((folder / "provenance.json").read_text(encoding="utf-8"))
    provenance["format"] = 1
    del provenance["results"]["comparisons.csv"]
    (folder / "provenance.json").write_text(json.dumps(provenance), encoding="utf-8")
    assert files.FORMAT == 3
    assert main(["check", str(programs)]) == 0
    assert "written in the older format 1; this version writes format 3" in capsys.readouterr().out
    assert main(["check", "--recompute", str(programs)]) == 1
    assert "comparisons.csv is not there" in capsys.readouterr().out
