"""Rows that say what they are to be a reading of, and nothing more: planned and not yet taken, in every stream.

What counts is what the writer of the row meant. A row that says anything of what was found, or says it so that it
cannot be understood, is a reading and is never passed over.
"""

from __future__ import annotations

from pathlib import Path

import pytest
import yaml
from house import fewer

from sitegen.cli import main
from sitegen.program.model import Exclusion
from sitegen.vocabulary import Readings
from tables.forms import parquet, text, workbook
from tables.house import PLAIN, Folder, column, told

LEAKDOWN = "engine,cylinder,phase,repeat,tester,crank,condition,supply [psig],pressure [psig],date,operator,remark\n"
INSPECTION = "engine,phase,cylinder,part,place,inspector,scuffing,date,remark\n"
EVENTS = "engine,phase,at [min],what,by,date,remark\n"


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    return Folder(tmp_path)


def rows(*lines: str) -> str:
    return "".join(line + "\n" for line in lines)


def counted(found: Readings) -> tuple[int, int, int, int]:
    (facts,) = found.files.values()
    return facts["rows"], facts["used"], facts["set_aside"], facts["not_taken"]


def test_a_row_without_a_reading_is_no_reading(folder: Folder) -> None:
    found = folder.leak(
        LEAKDOWN
        + rows(
            "B1,1,run-in-15,1,T1,tdc,warm,80,72,2026-03-01,M. A.,",
            "B1,1,run-in-15,2,T1,,,,,,,",
            "B1,2,run-in-15,1,T1,tdc,warm,,,2026-03-01,M. A.,",
            "B1,2,run-in-15,2,,,,,,,,",
        )
    )
    assert column(found, "use") == [""]
    assert column(found, "row") == [2]
    assert counted(found) == (1, 1, 0, 3)
    assert told(found) == []


@pytest.mark.parametrize("blank", ["\u00a0", "\u2009", "\u202f", "\u3000", " \u00a0 "])
@pytest.mark.parametrize("form", ["comma", "semicolon", "tab", "workbook", "parquet"])
def test_a_row_of_white_space_is_no_row(folder: Folder, blank: str, form: str) -> None:
    """It is blank in any spreadsheet, whichever of its cells hold a hard space."""
    full = ["B1", "1", "run-in-15", "T1", "80", "72", "tdc"]
    cells = [PLAIN.strip().split(","), [""] * 6 + [blank], full, [blank] * 7, [blank] + [""] * 6]
    if form in {"workbook", "parquet"}:
        content, name = (workbook(cells), "leak.xlsx") if form == "workbook" else (parquet(cells), "leak.parquet")
        found = folder.leak(content, name=name)
    else:
        found = folder.leak(text(cells, {"comma": ",", "semicolon": ";", "tab": "\t"}[form]))
    assert column(found, "use") == [""]
    assert column(found, "row") == [2 if form == "parquet" else 3]
    assert counted(found) == (1, 1, 0, 0)
    assert told(found) == []


@pytest.mark.parametrize(
    ("row", "use"),
    [
        ("B1,2,run-in-15,1,T1,tdc,warm,,72,,,", "required-empty"),
        ("B1,2,run-in-15,1,T1,tdc,warm,80,,,,", "no-figure"),
        ("B1,2,run-in-15,1,T1,,,,,,,hose split", "required-empty"),
        ("B1,2,run-in-15,1,T1,,,n/m,,,,", "not-a-number"),
        ("B1,2,run-in-15,one,T1,,,,,,,", "not-a-number"),
        ("B1,2,run-in-15,1,T1,,,,,2026-13-01,,", "no-such-date"),
        ("B1,2,run-in-15,1,T1,,,", "short-row"),
    ],
)
def test_whatever_was_written_is_not_passed_over(folder: Folder, row: str, use: str) -> None:
    found = folder.leak(LEAKDOWN + rows("B1,1,run-in-15,1,T1,tdc,warm,80,72,2026-03-01,M. A.,", row))
    assert column(found, "use") == ["", use]
    assert counted(found) == (2, 1, 1, 0)


def test_an_accepted_objection_stays_visible(folder: Folder) -> None:
    folder.exclusions = (Exclusion("leak:3", "needle stuck", "K. L.", "2026-03-02"),)
    found = folder.leak(
        LEAKDOWN + rows("B1,1,run-in-15,1,T1,tdc,warm,80,72,,,", "B1,1,run-in-15,2,T1,tdc,warm,81,72,,,")
    )
    assert column(found, "use") == ["", "excluded"]
    assert counted(found) == (2, 1, 1, 0)


def test_it_is_alike_in_every_stream(folder: Folder) -> None:
    sheet = folder.sheet("engine,cylinder,phase,ring,mass [g]\nB1,1,cold-build,top,14.2\nB1,1,cold-build,second,\n")
    seen = folder.read(
        folder.source(
            INSPECTION
            + rows(
                "B1,teardown,1,top-ring,gap,A. B.,none,2026-03-01,",
                "B1,teardown,1,bore,,A. B.,,2026-03-01,",
                "B1,teardown,1,piston,,,,,",
            ),
            name="seen.csv",
            stream="inspection",
        )
    )
    happened = folder.read(
        folder.source(
            EVENTS + rows("B1,run-in-15,5,stop,M. A.,,", "B1,run-in-15,,,,,"), name="happened.csv", stream="events"
        )
    )
    assert [counted(each) for each in (sheet, seen, happened)] == [(1, 1, 0, 1), (1, 1, 0, 2), (1, 1, 0, 1)]
    assert [told(each) for each in (sheet, seen, happened)] == [[], [], []]


def test_an_event_that_says_what_happened_is_one(folder: Folder) -> None:
    found = folder.read(folder.source(EVENTS + rows("B1,run-in-15,,stop,,,"), name="happened.csv", stream="events"))
    assert counted(found) == (1, 1, 0, 0)


def test_check_and_publish_say_how_many(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    program = fewer(tmp_path) / "pump-rings-2025"
    path = program / "program.yaml"
    text = path.read_text(encoding="utf-8")
    first = "    - file: records/leakdown-a1.csv\n"
    assert text.count(first) == 1
    path.write_text(text.replace(first, f"    - file: records/prepared.csv\n{first}"), encoding="utf-8")
    table = "engine,cylinder,phase,tester,supply [psig],pressure [psig]\nA3,1,durability,T1,,\nA3,2,durability,T1,,\n"
    (program / "records" / "prepared.csv").write_text(table, encoding="utf-8")
    assert yaml.safe_load(path.read_text(encoding="utf-8"))["records"]["leakdown"][0]["file"] == "records/prepared.csv"
    assert main(["check", str(program)]) == 0
    said = capsys.readouterr().out
    assert "2 prepared rows are not filled in yet.\n" in said
    assert "prepared.csv:" not in said
    assert main(["publish", str(program), "--to", str(tmp_path / "site")]) == 0
    assert "; 2 prepared rows are not filled in yet, see the data pages. Open" in capsys.readouterr().out
    page = next((tmp_path / "site").rglob("data*.html")).read_text(encoding="utf-8")
    assert "0 of 0" in page
    assert "2 more prepared, not filled in yet" in page
