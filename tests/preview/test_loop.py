"""What the people at terminal and browser are told of a site that could not be made."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from house import ROOT

from sitegen import workflow
from sitegen.preview import loop
from sitegen.preview.server import Board
from sitegen.preview.watching import stamp


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return Path(shutil.copytree(ROOT / "tests" / "accepted" / "plain", tmp_path / "programs"))


def test_a_good_site_then_a_mistake_then_none(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    board = Board()
    loop._make(folder, None, board)
    good = board.shown
    assert "index.html" in good.site
    assert good.heading == ""
    assert "Made " in capsys.readouterr().out
    path = folder / "pump" / "records" / "leakdown.csv"
    path.write_text("Build,Check,Cyl,Supply,Gauge\nB1,cold-bild,1,80,72.5\n", encoding="utf-8")
    loop._make(folder, None, board)
    assert board.shown.site.keys() == good.site.keys()
    assert b"pump has one error. Until it is mended its pages stay" in board.shown.site["programs/pump/index.html"]
    assert board.shown.heading == "1 error in the files; pump is as it last was"
    assert "pump/records/leakdown.csv:2" in board.shown.problems
    assert "cold-build" in board.shown.problems  # the nearest name
    assert "pump/records/leakdown.csv:2" in capsys.readouterr().err
    path.write_text("Build,Check,Cyl,Supply,Gauge\nB1,cold-build,1,80,72.5\n", encoding="utf-8")
    loop._make(folder, None, board)
    assert (board.shown.heading, board.shown.hash) == ("", good.hash)


def test_a_theme_with_a_mistake(folder: Path, tmp_path: Path) -> None:
    (tmp_path / "theme" / "templates").mkdir(parents=True)
    (tmp_path / "theme" / "templates" / "parts.html").write_text("a\nb {{ page.nothing }}")
    board = Board()
    loop._make(folder, tmp_path / "theme", board)
    assert board.shown.heading == "The theme has a mistake"
    assert "parts.html:2: " in board.shown.problems


def test_a_fault_of_ours_is_called_one_and_the_preview_goes_on(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def broken(*_: object) -> workflow.Examination:
        raise ZeroDivisionError("by nothing")

    board = Board()
    monkeypatch.setattr(workflow, "examine", broken)
    loop._make(folder, None, board)
    assert board.shown.heading == "This is a fault in sitegen, not in your files"
    assert board.shown.problems == "ZeroDivisionError: by nothing"
    assert "Traceback" in capsys.readouterr().err


def test_a_file_still_being_written_is_waited_for(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Somebody writes another row during each of eight pauses: so long it is not taken for whole."""
    path = folder / "pump" / "records" / "leakdown.csv"
    pauses: list[float] = []

    def pause(seconds: float) -> None:
        pauses.append(seconds)
        if len(pauses) <= 8:
            with path.open("a") as file:
                file.write("B1,pulls,1,80,75\n")

    monkeypatch.setattr("sitegen.preview.loop.time.sleep", pause)
    settled = loop._settled(folder, None)
    assert settled == stamp(folder, None)
    assert path.read_text().count("pulls") == 8
    assert pauses == [loop._SETTLE] * 9  # and once it held still, that was enough
