"""What moved since the last commit of the results."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest
from house import fewer, git, rows_of

from sitegen import unchanged, workflow
from sitegen.cli import main
from sitegen.results import committed, files


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


def test_the_page_says_which_version_wrote_what_is_committed(versioned: Path, tmp_path: Path) -> None:
    results = versioned / "pump-rings-2025" / "results"
    stored = json.loads((results / "provenance.json").read_text(encoding="utf-8"))
    stored = {**stored, "version": "0.0.9", "methods": {**stored["methods"], "leak-areas": 2}}
    (results / "provenance.json").write_text(json.dumps(stored), encoding="utf-8")
    verdicts = (results / "verdicts.csv").read_bytes()
    (results / "verdicts.csv").write_bytes(verdicts.replace(b",seated,", b",cannot tell,", 1))
    git(tmp_path, "commit", "-qam", "by another version")
    assert main(["publish", str(versioned), "--to", str(tmp_path / "site")]) == 0
    page = (tmp_path / "site" / "programs" / "pump-rings-2025" / "index.html").read_text(encoding="utf-8")
    assert "What is committed was written by sitegen 0.0.9, this is" in page
    assert "changed since: leak areas and blow-by levels hold the limits" in page
    assert (results / "verdicts.csv").read_bytes() == verdicts


def test_outside_a_repository_nothing_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("GIT_CEILING_DIRECTORIES", str(tmp_path))
    programs = fewer(tmp_path)
    conclusions = workflow.with_files(workflow.conclude(workflow.examine(programs)))
    assert [each.analysis.changes for each in conclusions] == [None]


def test_without_git_nothing_is_said(versioned: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("shutil.which", lambda _: None)
    conclusions = workflow.with_files(workflow.conclude(workflow.examine(versioned)))
    assert [each.analysis.changes for each in conclusions] == [None]


# ---- how often it was looked at -------------------------------------------------------------------------------------


def looked_at(programs: Path) -> int | None:
    folder, _ = workflow.programs(programs)
    assert folder is not None
    program = folder.programs[-1]
    return committed.looks(program, files.lying(program))


def with_more_builds(programs: Path) -> None:
    """The same comparison as it might be later: a state of the builds that was not seen before."""
    path = programs / "pump-rings-2025" / "results" / "comparisons.csv"
    rows = rows_of(path)
    rows[0]["builds"] = str(int(rows[0]["builds"]) + 1)
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def test_looks_are_counted_by_what_was_seen(versioned: Path, tmp_path: Path) -> None:
    assert looked_at(versioned) == 1
    with_more_builds(versioned)
    assert looked_at(versioned) == 2
    git(tmp_path, "commit", "-qam", "more")
    assert looked_at(versioned) == 2


def test_a_history_that_was_cut_off_or_is_not_there_is_not_known(versioned: Path, tmp_path: Path) -> None:
    with_more_builds(versioned)
    git(tmp_path, "commit", "-qam", "more")
    git(tmp_path, "clone", "-q", "--depth", "1", tmp_path.as_uri(), str(tmp_path / "cut"))
    assert looked_at(tmp_path / "cut" / "programs") is None
    assert looked_at(versioned) == 2


def test_a_new_commit_is_asked_about_anew(versioned: Path, tmp_path: Path) -> None:
    """The pages rest on the history: a publish that changed nothing else is made again."""
    before = unchanged.question(versioned, tmp_path / "site", None)
    with_more_builds(versioned)
    git(tmp_path, "commit", "-qam", "more")
    git(tmp_path, "revert", "--no-edit", "HEAD")
    after = unchanged.question(versioned, tmp_path / "site", None)
    assert before is not None
    assert after is not None
    assert before.depends_on != after.depends_on
