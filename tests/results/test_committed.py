"""What moved since the last commit of the results."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest
from house import fewer, rows_of

from sitegen import workflow
from sitegen.cli import main


def git(folder: Path, *words: str) -> None:
    who = ("-c", "user.name=N", "-c", "user.email=n@example.invalid", "-c", "core.autocrlf=false")
    subprocess.run(["git", "-C", str(folder), *who, *words], check=True, capture_output=True)


@pytest.fixture
def versioned(tmp_path: Path) -> Path:
    programs = fewer(tmp_path)
    git(tmp_path, "init", "-q")
    git(tmp_path, "add", "-A")
    git(tmp_path, "commit", "-q", "-m", "results")
    return programs


def moved(programs: Path) -> list[str]:
    conclusions = workflow.with_files(workflow.conclude(workflow.examine(programs)))
    return [f"{c.what} {c.key.engine}/{c.key.cylinder}" for each in conclusions for c in each.analysis.changes or ()]


def test_nothing_moved_where_results_are_as_committed(versioned: Path) -> None:
    assert moved(versioned) == []


def test_a_reading_left_out_moves_its_values_and_the_page_says_so(versioned: Path, tmp_path: Path) -> None:
    program = versioned / "pump-rings-2025" / "program.yaml"
    text = program.read_text(encoding="utf-8")
    assert "\nexclusions:" not in text
    line = '  - {reading: "leakdown-a2:46", why: hose not tight, by: K. L., on: 2025-07-09}\n'
    program.write_text(text.replace("\nnotes:", f"\nexclusions:\n{line}\nnotes:"), encoding="utf-8")
    found = moved(versioned)
    cylinder = rows_of(versioned / "pump-rings-2025" / "records" / "leakdown-a2.csv")[44]["cylinder"]
    assert f"leakdown.crankcase A2/{cylinder}" in found
    assert {each for each in found if each.startswith("leakdown.crankcase ")} == {f"leakdown.crankcase A2/{cylinder}"}
    assert main(["publish", str(versioned), "--to", str(tmp_path / "site")]) == 0
    page = (tmp_path / "site" / "programs" / "pump-rings-2025" / "index.html").read_text(encoding="utf-8")
    assert "Changed since the last commit" in page
    home = (tmp_path / "site" / "index.html").read_text(encoding="utf-8")
    assert "changed since the last commit" in home


def test_outside_a_repository_nothing_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("GIT_CEILING_DIRECTORIES", str(tmp_path))
    programs = fewer(tmp_path)
    conclusions = workflow.with_files(workflow.conclude(workflow.examine(programs)))
    assert [each.analysis.changes for each in conclusions] == [None]


def test_without_git_nothing_is_said(versioned: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("shutil.which", lambda _: None)
    conclusions = workflow.with_files(workflow.conclude(workflow.examine(versioned)))
    assert [each.analysis.changes for each in conclusions] == [None]
