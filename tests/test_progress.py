"""What is being done is told on a terminal, and nowhere else."""

from __future__ import annotations

import io
import os
import pty
import subprocess
import sys
from pathlib import Path

import pytest
from house import ROOT, plain

from sitegen.progress import Line


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_a_line_is_written_over_and_cleared(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "20")
    out = Terminal()
    with Line(out) as tell:
        tell("Reading a-long-program-id (1 of 2)")
        tell("Writing")
    shown = screen(out.getvalue())
    assert shown == ""
    assert "Reading a-long-prog" in out.getvalue()
    assert "a-long-program-id" not in out.getvalue()  # cut to the width: a line that wraps cannot be written over


def screen(text: str) -> str:
    """What stands on the line at the end."""
    line: list[str] = []
    at = 0
    for letter in text:
        if letter == "\r":
            at = 0
            continue
        line[at : at + 1] = [letter]
        at += 1
    return "".join(line).rstrip()


def test_nothing_is_said_where_nobody_watches() -> None:
    out = io.StringIO()
    with Line(out) as tell:
        tell("Reading")
    assert out.getvalue() == ""


def test_a_publish_tells_a_terminal_and_not_a_pipe(tmp_path: Path) -> None:
    folder = plain(tmp_path) / "pump"
    command = [str(Path(sys.executable).parent / "sitegen"), "publish", str(folder), "--to", str(tmp_path / "site")]
    piped = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True)
    assert "\r" not in piped.stderr + piped.stdout
    assert "Working out" not in piped.stderr
    title = (folder / "program.yaml").read_text(encoding="utf-8")
    (folder / "program.yaml").write_text(title.replace("title: Pump rings", "title: Changed"), encoding="utf-8")
    master, slave = pty.openpty()
    done = subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, stderr=slave, text=True)
    os.close(slave)
    told = b""
    try:
        while piece := os.read(master, 4096):
            told += piece
    except OSError:  # the other end is closed
        pass
    finally:
        os.close(master)
    out, _ = done.communicate()
    assert done.returncode == 0
    said = told.decode()
    for words in (
        "Reading the records of 1 program",
        "Working out pump (1 of 1)",
        "Making the pages",
        "Writing",
    ):
        assert words in said
    assert "\r" not in out
    assert screen(said.rpartition("\n")[2]) == ""
