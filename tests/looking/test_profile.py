"""A trace of a profilometer is told as one, with the row a table of traces needs; other files are not."""

from __future__ import annotations

from pathlib import Path

import pytest
from house import ROOT

from sitegen.cli import main

FILES = ROOT / "tests/surfaces/files"


def said(capsys: pytest.CaptureFixture[str], path: Path, *more: str) -> tuple[int, str]:
    status = main(["look", str(path), *more])
    return status, capsys.readouterr().out


def points(unit: str = "", count: int = 50) -> str:
    head = f"x [{unit}];z [{unit}]\n" if unit else ""
    return head + "".join(f"{at / 1000:.3f};{at % 7 / 10000:.4f}\n" for at in range(count))


def test_the_open_xml_form(capsys: pytest.CaptureFixture[str]) -> None:
    """The reference sine of the folder: 8000 points, 1 um high (see files/README.md)."""
    status, text = said(capsys, FILES / "profile_sine_nist.xml")
    assert status == 0
    assert "points    8000, 0 of them without a height" in text
    assert "trace,engine,cylinder,phase,part\n  profile_sine_nist.xml,?,?,?,?" in text


def test_a_trace_whose_unit_nothing_says(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "a.txt"
    path.write_text(points(), encoding="utf-8")
    status, text = said(capsys, path, "--as", "surfaces")
    assert status == 0
    assert "trace,engine,cylinder,phase,part,z_unit,x_unit\n  a.txt,?,?,?,?,?,?" in text
    assert "z_unit: z: nothing says its unit; expected nm, um or mm" in text
    path.write_text(points("mm"), encoding="utf-8")
    status, text = said(capsys, path)
    assert "x         over 0.049 mm, a point every 1 um" in text
    assert "part,z_unit" not in text
    assert "trace,engine,cylinder,phase,part\n" in text


@pytest.mark.parametrize("kind", ["", "surfaces"])
def test_other_files_are_no_traces(kind: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "a.csv"
    asked = ["--as", kind] if kind else []
    path.write_text("trace,engine,cylinder,phase,part\nt/a.txt,B1,1,cold,ring-face\n", encoding="utf-8")
    assert "It is a trace" not in said(capsys, path, *asked)[1]
    path.write_text("no figure\nstands here\n", encoding="utf-8")
    assert "It is a trace" not in said(capsys, path, *asked)[1]
    path.write_text("Time [s],n [rpm]\n" + "".join(f"{at},900\n" for at in range(50)), encoding="utf-8")
    if not kind:
        assert "It is a trace" not in said(capsys, path)[1]
