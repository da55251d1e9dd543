"""Entries that mean several worksheets of a workbook, and several entries of one workbook."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest
from house import ROOT

from sitegen import workflow
from sitegen.problems import line_of
from sitegen.vocabulary import Readings
from tables.forms import workbook

HEADER = ["Zyl", "p1", "p2", "Stellung"]
COLUMNS = "{cylinder: Zyl, supply: {header: p1, unit: psig}, pressure: {header: p2, unit: psig}, crank: Stellung}"
WORDS = "words: {engine: {Motor 1: B1}, phase: {Einbau: cold-build}, crank: {OT: tdc}}"


class Home:
    """A small program with a workbook, and what is said of it."""

    def __init__(self, programs: Path) -> None:
        self.programs = programs
        self.program = programs / "pump" / "program.yaml"
        text = self.program.read_text(encoding="utf-8")
        self.begin = text[: text.index("records:\n")].replace("records: [buildsheet, leakdown]", "records: [leakdown]")
        self.line = self.begin.count("\n") + 3  # of the first entry

    def read(self, *entries: str, **sheets: Any) -> workflow.Examination:
        (self.program.parent / "book.xlsx").write_bytes(workbook(**{"rows": [], "name": "Leer", **sheets}))
        listed = "".join(f"    - {{file: book.xlsx, {entry}, columns: {COLUMNS}}}\n" for entry in entries)
        self.program.write_text(f"{self.begin}records:\n  leakdown:\n{listed}{WORDS}\n", encoding="utf-8")
        return workflow.examine(self.programs)


@pytest.fixture
def home(tmp_path: Path) -> Home:
    return Home(Path(shutil.copytree(ROOT / "tests" / "accepted" / "plain", tmp_path / "programs")))


def leakdown(found: workflow.Examination) -> Readings:
    assert [line_of(each) for each in found.problems if each.level == "error"] == []
    return found.evidence[0].readings["leakdown"]


def rows(*pressures: float) -> list[list[Any]]:
    return [HEADER, *([number, 80, pressure, "OT"] for number, pressure in enumerate(pressures, start=1))]


BUILDS = 'sheet: "{engine}", constants: {tester: T1, phase: cold-build}'


def test_every_worksheet_named_after_a_build(home: Home) -> None:
    sheets = {"motor  1": rows(72, 73), "B2": rows(74), "Legende": [["nothing"], ["of a table"]]}
    readings = leakdown(home.read(BUILDS, **sheets))
    frame = readings.frame
    assert frame["reading"].tolist() == ["book:motor  1:2", "book:motor  1:3", "book:B2:2"]
    assert frame["engine"].tolist() == ["B1", "B1", "B2"]
    assert frame["file"].tolist() == ["pump/book.xlsx:motor  1"] * 2 + ["pump/book.xlsx:B2"]
    assert frame["row"].tolist() == [2, 3, 2]
    assert frame["crank"].tolist() == ["tdc"] * 3
    assert readings.tally == {"pump/book.xlsx": {"rows": 3, "used": 3, "set_aside": 0, "not_taken": 0}}
    assert [facts["notes"] for facts in readings.files.values()] == [["worksheets not read: Leer, Legende"], []]


def test_worksheets_named_after_phases_in_a_longer_name(home: Home) -> None:
    sheets = {"Prüfung Einbau": rows(72), "Prüfung pulls": rows(74), "Prüfung": rows(70)}
    entry = 'sheet: "Prüfung {phase}", constants: {tester: T1, engine: B1}'
    assert leakdown(home.read(entry, **sheets)).frame["phase"].tolist() == ["cold-build", "pulls"]


def test_two_entries_of_one_workbook(home: Home) -> None:
    """Alike byte by byte below their names, they are still two records; an objection names one of them."""
    one, other = (f"sheet: {name}, constants: {{tester: T1, engine: {name}, phase: pulls}}" for name in ("B1", "B2"))
    frame = leakdown(home.read(one, other, B1=rows(72), B2=rows(72))).frame
    assert frame["reading"].tolist() == ["book:B1:2", "book:B2:2"]
    assert frame["use"].tolist() == ["", ""]
    with home.program.open("a", encoding="utf-8") as program:
        program.write('exclusions: [{reading: "book:B2:2", why: needle stuck}]\n')
    assert leakdown(workflow.examine(home.programs)).frame["use"].tolist() == ["", "excluded"]


def test_of_one_worksheet_ids_are_as_ever(home: Home) -> None:
    entry = "sheet: B1, constants: {tester: T1, engine: B1, phase: pulls}"
    frame = leakdown(home.read(entry, B1=rows(72), B2=rows(72))).frame
    assert frame["reading"].tolist() == ["book:2"]
    assert frame["file"].tolist() == ["pump/book.xlsx"]


def test_a_fault_in_a_worksheet_names_it(home: Home) -> None:
    found = home.read(BUILDS, B1=rows(72), B2=[*rows(74), [2, 80, 90, "OT"]])
    (told,) = [each for each in found.problems if each.code == "above-supply"]
    assert line_of(told).startswith('pump/book.xlsx:B2:3: warning: column "C: p2": the cylinder gauge is ')


def test_refused(home: Home) -> None:
    def told(*entries: str, **sheets: Any) -> list[str]:
        found = home.read(*entries, **sheets)
        assert found.folder is not None
        assert [each.id for each in found.folder.left] == ["pump"]
        return [line_of(each) for each in found.problems if each.level == "error"]

    named = "sheet: B1, constants: {tester: T1, engine: B1, phase: pulls}"
    first, second = (f"pump/program.yaml:{home.line + number}" for number in (0, 1))
    assert told(BUILDS, Mx=rows(72)) == [
        f'{first}:7: no worksheet of book.xlsx fits "{{engine}}": it has Leer or Mx. Expected one named after B1 or B2.'
    ]
    assert told(BUILDS, named, B1=rows(72)) == [
        f'{second}:7: the worksheet "B1" of book.xlsx is taken by the entry of line {home.line} already. Expected one '
        "entry a worksheet. Next: remove one of the two."
    ]
    assert told(named, named, B1=rows(72)) == [
        f'{second}:14: "file" in records > leakdown > 2 is the worksheet "B1" of "book.xlsx", which line {home.line} '
        "names already. Next: remove one of the entries."
    ]
    assert told(named, "constants: {tester: T1, engine: B2, phase: pulls}", B1=rows(72)) == [
        f'{second}:14: "file" in records > leakdown > 2 is "book.xlsx", which line {home.line} names already. Next: '
        "remove one of the entries, or name the worksheet of each."
    ]
    assert told('sheet: "{engine}", constants: {engine: B1, phase: pulls, tester: T1}', B1=rows(72)) == [
        f'{first}:56: "engine" is said in braces and by the constants in records > leakdown > 1. Expected one of the '
        "two."
    ]
    assert told('sheet: "{engne}", constants: {phase: pulls, tester: T1}', B1=rows(72)) == [
        f'{first}:32: "sheet" in records > leakdown > 1 is "{{engne}}", which has {{engne}}, which no name says. '
        "Expected {engine} or {phase}. Nearest: {engine}."
    ]
