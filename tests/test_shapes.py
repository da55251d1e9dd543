"""Programs of many shapes go all the way to a site: what a schema accepts may not break a page."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from house import ROOT, fewer

from sitegen.cli import main

ACCEPTED = sorted(path for path in (ROOT / "tests" / "accepted").iterdir() if path.is_dir())


def published(programs: Path, to: Path, capsys: pytest.CaptureFixture[str]) -> str:
    """Publish and return the text of all pages; a traceback or an error of ours fails here."""
    assert main(["publish", str(programs), "--to", str(to)]) == 0, capsys.readouterr().err
    assert main(["check", "--recompute", str(programs)]) == 0, capsys.readouterr().out
    return "\n".join(path.read_text(encoding="utf-8") for path in sorted(to.rglob("*.html")))


@pytest.mark.parametrize("folder", ACCEPTED, ids=lambda path: path.name)
def test_no_accepted_folder_is_a_fault_of_ours(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Some of them hold tables that are not meant to be read; those are told, not raised."""
    programs = Path(shutil.copytree(folder, tmp_path / "programs"))
    status = main(["publish", str(programs), "--to", str(tmp_path / "site")])
    assert status in {0, 1}
    home = tmp_path / "site" / "index.html"
    assert home.exists() if status == 0 else not home.exists() or "error" in home.read_text(encoding="utf-8")
    assert "Traceback" not in capsys.readouterr().err


def only(*words: str) -> Callable[[str], str]:
    """Header and the rows that hold one of some words."""

    def change(text: str) -> str:
        rows = text.splitlines()
        return "\n".join([rows[0], *(row for row in rows[1:] if any(word in row for word in words))]) + "\n"

    return change


def first_repeats(text: str) -> str:
    rows = text.splitlines()
    return "\n".join([rows[0], *(row for row in rows[1:] if row.split(",")[3] == "1")]) + "\n"


TABLE = "pump-rings-2025/records/leakdown-a1.csv"
SHEET = "pump-rings-2025/records/buildsheet-a1.csv"
PROGRAM = "pump-rings-2025/program.yaml"
SHAPES: dict[str, tuple[str, Callable[[str], str], str]] = {
    "only the cold build": (TABLE, only("cold-build"), "no check was taken after the first start"),
    "one repeat each": (TABLE, first_repeats, "in the values above"),
    "no reference orifice": (TABLE, only(",T1,,"), "in the values above"),
    "no tool named": (SHEET, lambda text: text.replace("feeler-1", "").replace("balance-1", ""), "there are no bounds"),
    "a wrong tool": (SHEET, lambda text: text.replace("feeler-1", "balance-1"), "the tool named cannot have read"),
}


@pytest.mark.parametrize("shape", SHAPES)
def test_a_thin_record_is_published_and_says_what_it_lacks(
    shape: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    name, change, said = SHAPES[shape]
    programs = fewer(tmp_path)
    path = programs / name
    path.write_text(change(path.read_text(encoding="utf-8")), encoding="utf-8")
    assert said in published(programs, tmp_path / "site", capsys)


def test_a_broken_results_file_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    programs = fewer(tmp_path)
    path = programs / "pump-rings-2025" / "results" / "measures.csv"
    path.write_bytes(b"\xff\xfe" + path.read_bytes())
    assert main(["check", "--recompute", str(programs)]) == 1
    said = capsys.readouterr().out
    assert "measures.csv cannot be read" in said
    assert "Traceback" not in said


def test_results_that_cannot_be_written_leave_the_old_site(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    programs = fewer(tmp_path)
    results = programs / "pump-rings-2025" / "results"
    shutil.rmtree(results)
    results.write_text("in the way")
    assert main(["publish", str(programs), "--to", str(tmp_path / "site")]) == 1
    assert "results" in capsys.readouterr().err
    assert not (tmp_path / "site").exists()
