"""Logs that speak against the build or the phase they are named for."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from tables.house import program

from logs.house import Folder
from sitegen.program.model import Address, LogTime, Program
from sitegen.streams.runlog.read import read

CLOCK = LogTime("clock", (Address("Stamp"),))
HEAD = "Stamp,n\n"


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    (tmp_path / "pump").mkdir()
    return Folder(tmp_path / "pump")


def rows(hour: int, extra: int = 0) -> str:
    return HEAD + "".join(f"2026-02-12 {hour:02d}:{m:02d}:00,{900 + m % 7 + extra}\n" for m in range(60))


def told(folder: Folder, *logs: tuple[str, str, str, str], cell: str = "") -> list[tuple[str, str, str, str]]:
    """Code, level, file and what of all that is told of logs, each (name, build, phase, content)."""
    made: Program = program(folder.path)
    made = replace(
        made,
        builds=tuple(replace(build, cell=cell) for build in made.builds),
        logs=tuple(
            replace(folder.source(text, name=name, time=CLOCK), engine=engine, phase=phase)
            for name, engine, phase, text in logs
        ),
    )
    return [(p.code, p.level, p.file, p.what) for p in read(made, ()).problems]


def test_what_is_in_order_is_not_told(folder: Folder) -> None:
    logs = ("b1-a.csv", "B1", "run-in-15", rows(8)), ("b1-b.csv", "B1", "durability", rows(10))
    assert told(folder, *logs, ("b6-a.csv", "B6", "run-in-15", rows(12)), cell="north") == []


def test_one_log_for_two_runs(folder: Folder) -> None:
    found = told(folder, ("x.csv", "B1", "run-in-15", rows(8)), ("y.csv", "B6", "run-in-15", rows(8)))
    (only,) = found
    assert only[:3] == ("log-twice", "error", "pump/y.csv")
    assert only[3] == "it is the same, byte by byte, as pump/x.csv, the log of B1 in run-in-15"


def test_a_file_named_after_another_build(folder: Folder) -> None:
    (only,) = told(folder, ("run_B6_am.csv", "B1", "run-in-15", rows(8)))
    assert only == (
        "log-of-another-build", "warning", "pump/run_B6_am.csv", "it is named for B1, its file after B6"
    )  # fmt: skip
    assert told(folder, ("b1-after-b6.csv", "B1", "run-in-15", rows(8))) == []


def test_a_later_phase_that_begins_before_an_earlier_ends(folder: Folder) -> None:
    (only,) = told(folder, ("a.csv", "B1", "run-in-15", rows(8)), ("b.csv", "B1", "durability", rows(7, 1)))
    assert only[:3] == ("phases-overlap", "warning", "pump/b.csv")
    assert "begins at 2026-02-12 07:00:00, before that of run-in-15 ends at 2026-02-12 08:59:00" in only[3]


def test_two_builds_in_one_cell_at_once(folder: Folder) -> None:
    logs = ("a.csv", "B1", "run-in-15", rows(8)), ("b.csv", "B6", "run-in-15", rows(8, 1))
    assert told(folder, *logs) == []  # nothing says that they share a cell
    (only,) = told(folder, *logs, cell="north")
    assert only[:3] == ("builds-at-once", "warning", "pump/b.csv")
