"""Files of ours that somebody damaged, or that changed while they were read: told, and made anew; never a traceback."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from house import fewer, git, plain

from sitegen import workflow
from sitegen.cli import main
from sitegen.library import InputError, findings
from sitegen.publish import JOURNAL, MANIFEST
from sitegen.results.files import MEASURE_COLUMNS, TABLES

MERGED = b"<<<<<<< HEAD\n{ours}\n=======\n{theirs}\n>>>>>>> other\n"
DEEP = b"[" * 100_000
OTHER = b'{"format": 3, "inputs": {"a\\u0000b": {"sha256": ""}}, "results": {"../x\\u0000": ""}}'


@pytest.fixture
def work(tmp_path: Path) -> Path:
    """A small program, published."""
    programs = plain(tmp_path)
    assert main(["publish", str(programs), "--to", str(tmp_path / "site")]) == 0
    return tmp_path


def results(work: Path) -> Path:
    return next((work / "programs").glob("*/results"))


def again(work: Path) -> int:
    return main(["publish", str(work / "programs"), "--to", str(work / "site")])


@pytest.mark.parametrize(
    ("name", "content"),
    [(name, MERGED) for name in (*TABLES, "provenance.json")]
    + [("provenance.json", content) for content in (DEEP, b"\xff\0", OTHER, b"[1]", b'{"format": 3, "inputs": []}')]
    + [("measures.csv", DEEP), ("verdicts.csv", b"")],
)
def test_damaged_results_are_told_and_made_anew(
    work: Path, name: str, content: bytes, capsys: pytest.CaptureFixture[str]
) -> None:
    path = results(work) / name
    before = path.read_bytes()
    path.write_bytes(content)
    capsys.readouterr()
    assert main(["check", str(work / "programs")]) == 0
    said = capsys.readouterr().out
    assert "the committed results are stale" in said
    assert name in said or content == OTHER
    assert ("conflict markers" in said) == (content == MERGED)
    assert main(["check", str(work / "programs"), "--recompute"]) in {0, 1}
    capsys.readouterr()
    assert again(work) == 0
    assert path.read_bytes() == before
    said = capsys.readouterr().err
    assert ("made anew" in said) == (content == MERGED or (name == "provenance.json" and content in {DEEP, b"\xff\0"}))
    assert again(work) == 0
    assert "made anew" not in capsys.readouterr().err


def test_a_damaged_list_of_files_is_told_once(work: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (work / "site" / MANIFEST).write_bytes(DEEP)
    capsys.readouterr()
    assert again(work) == 0
    assert "the list of its files was damaged and is made anew" in capsys.readouterr().err
    assert again(work) == 0
    assert "damaged" not in capsys.readouterr().err


IN_THE_WAY = ["programs/fifo", "programs/zero", "program/fifo", "program/zero"]


@pytest.mark.skipif(os.name == "nt", reason="this system has no such files")
@pytest.mark.parametrize(
    "place",
    ["results/provenance.json", "results/measures.csv", "site/.sitegen-manifest.json", "site/index.html", *IN_THE_WAY],
)
def test_nobody_waits_for_a_pipe_or_a_device(work: Path, place: str) -> None:
    where, _, name = place.partition("/")
    folder = {"results": results(work), "program": results(work).parent}.get(where, work / where)
    (folder / name).unlink(missing_ok=True)
    if name == "zero":
        (folder / name).symlink_to("/dev/zero")
    else:
        os.mkfifo(folder / name)
    for verb in (["check", str(work / "programs")], ["publish", str(work / "programs"), "--to", str(work / "site")]):
        command = [sys.executable, "-m", "sitegen", *verb]
        done = subprocess.run(command, capture_output=True, text=True, timeout=300, check=False)
        refused = where in {"results", "site"} and verb[0] == "publish"
        assert done.returncode == (1 if refused else 0), done.stderr
        assert not refused or ("named pipe" in done.stderr and "othing was written" in done.stderr)
        assert where != "results" or "named pipe" in done.stdout + done.stderr


def test_results_that_were_damaged_and_committed(tmp_path: Path) -> None:
    programs = fewer(tmp_path)
    for each in ("init -q", "add -A", "commit -qm one"):
        git(tmp_path, *each.split())
    for name in ("measures.csv", "comparisons.csv", "verdicts.csv", "provenance.json"):
        path = programs / "pump-rings-2025" / "results" / name
        path.write_bytes(path.read_bytes().replace(b"\n", b"\n<<<<<<< HEAD\n", 2) + b'>>>>>>> x\n"')
    git(tmp_path, "commit", "-qam", "two")
    (found,) = workflow.with_files(workflow.conclude(workflow.examine(programs)))
    assert found.analysis.changes is None
    with pytest.raises(InputError, match="conflict markers"):
        findings(programs, committed=True)


def test_damaged_results_of_a_program_that_lends_its_scatter_block(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    programs = plain(tmp_path)
    shutil.copytree(programs / "pump", programs / "lender")
    program, lent = programs / "pump" / "program.yaml", programs / "lender" / "results" / "measures.csv"
    text = program.read_text(encoding="utf-8")
    assert text.count("\ncompare:\n") == 1
    program.write_text(text.replace("\ncompare:\n", "\ncompare:\n  scatter_from: [lender]\n"), encoding="utf-8")
    lent.parent.mkdir()
    for content in (MERGED, b",".join(column.encode() for column in MEASURE_COLUMNS) + b"\nx,y\nx,z,,,,,many\n"):
        lent.write_bytes(content)
        capsys.readouterr()
        assert main(["check", str(programs / "pump")]) == 1
        said = capsys.readouterr().out
        assert '"lender" has results that are damaged: it ' in said
        assert ("conflict markers" in said) == (content == MERGED)
        assert "publish lender first" in said


def test_an_input_that_changes_while_it_is_read(
    work: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nothing is written that was not made from one state of the inputs; what nobody reads may change."""
    table = next((work / "programs").glob("*/records/*.csv"))
    site, stored = work / "site" / "index.html", results(work) / "provenance.json"
    before = site.read_bytes(), stored.read_bytes()
    text = table.read_text(encoding="utf-8")
    table.write_text(text + "\n", encoding="utf-8")
    real = workflow.examine

    def changing(*given: object) -> workflow.Examination:
        found = real(*given)  # type: ignore[arg-type]
        table.write_text(text + "\n\n", encoding="utf-8")
        return found

    monkeypatch.setattr(workflow, "examine", changing)
    capsys.readouterr()
    assert again(work) == 1
    said = capsys.readouterr().err
    assert (
        f"{table.parent.parent.name}/records/{table.name}: changed while it was read. Publish again. Nothing was"
        in said
    )
    assert (site.read_bytes(), stored.read_bytes()) == before

    def beside(*given: object) -> workflow.Examination:
        found = real(*given)  # type: ignore[arg-type]
        (work / "programs" / "being-logged.csv").write_text("1\n")
        return found

    monkeypatch.setattr(workflow, "examine", beside)
    assert again(work) == 0


def test_a_publish_cut_short_is_told_by_check(work: Path, capsys: pytest.CaptureFixture[str]) -> None:
    note = {
        "site": "../../../site",
        "manifest": "0" * 64,
        "before": {"measures.csv": None},
        "after": {"measures.csv": "0"},
    }
    (results(work) / JOURNAL).write_text(json.dumps(note))
    capsys.readouterr()
    assert main(["check", str(work / "programs")]) == 0
    said = capsys.readouterr().out
    assert "a publish was cut short: they are new in part, and the site in ../../../site is as it was" in said
    assert again(work) == 0
    assert not (results(work) / JOURNAL).exists()
    capsys.readouterr()
    assert main(["check", str(work / "programs")]) == 0
    assert "cut short" not in capsys.readouterr().out


def test_a_target_that_cannot_be_taken_is_found_before_results_are_written(
    work: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    methods = work / "site" / "methods.html"
    methods.unlink()
    methods.mkdir()
    table = next((work / "programs").glob("*/records/*.csv"))
    table.write_text(table.read_text(encoding="utf-8") + "\n", encoding="utf-8")
    before = {path.name: path.read_bytes() for path in results(work).iterdir()}
    assert again(work) == 1
    assert "nothing was written" in capsys.readouterr().err
    assert {path.name: path.read_bytes() for path in results(work).iterdir()} == before
    shutil.rmtree(results(work))
    assert main(["publish", str(work / "programs"), "--to", str(work / "programs" / "pump" / "results")]) == 1
    assert not (work / "programs" / "pump" / "results").exists()


def test_a_clock_before_1980(work: Path, tmp_path: Path) -> None:
    """As of a machine whose battery is empty: sheets, check and publish all the same."""
    early = (
        "import sys, time\nreal = time.localtime\ntime.time = lambda: 86400.0\n"
        "time.localtime = lambda s=None: real(86400.0 if s is None else s)\n"
        "from sitegen.cli import main\nsys.exit(main(sys.argv[1:]))"
    )
    program = str(results(work).parent)
    publish = ["publish", str(work / "programs"), "--to", str(tmp_path / "other")]
    for verb in (["sheets", program, "--to", str(tmp_path / "early")], publish):
        done = subprocess.run([sys.executable, "-c", early, *verb], capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stderr
    assert main(["sheets", program, "--to", str(tmp_path / "now")]) == 0
    files = [path.relative_to(tmp_path / "now") for path in (tmp_path / "now").rglob("*") if path.is_file()]
    assert files
    assert all((tmp_path / "now" / each).read_bytes() == (tmp_path / "early" / each).read_bytes() for each in files)
