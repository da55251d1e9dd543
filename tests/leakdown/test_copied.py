"""A table copied from one build to another is noticed; tables that agree by chance are not taken for copies."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from house import fewer
from tables.house import Folder

from sitegen import cli
from sitegen.cli import main
from sitegen.vocabulary import Problem

HEAD = "engine,cylinder,phase,repeat,tester,supply [psig],pressure [psig],crank\n"
PHASES = ("cold-build", "run-in-15")


def rows(engine: str, figures: list[float], phases: tuple[str, ...] = PHASES, cylinders: int = 4) -> str:
    places = [(phase, n) for phase in phases for n in range(1, cylinders + 1)]
    return "".join(
        f"{engine},{n},{phase},1,T1,80,{figure:.1f},tdc\n" for (phase, n), figure in zip(places, figures, strict=True)
    )


FIGURES = [72.5, 71.0, 73.5, 70.5, 75.0, 74.5, 76.0, 75.5]


def copied(folder: Folder, text: str) -> list[Problem]:
    found = folder.leak(HEAD + text)
    assert len(found.frame) == 16
    assert (found.frame["use"] == "").all()  # a warning; the readings stay in use
    return [each for each in found.problems if each.code == "copied-readings"]


def test_a_copied_table_is_told_once_with_both_places(tmp_path: Path) -> None:
    (found,) = copied(Folder(tmp_path), rows("B1", FIGURES) + rows("B6", FIGURES))
    assert found.level == "warning"
    assert found.line == 10
    assert found.what.startswith("B6 reads what B1 reads, figure by figure, at cold-build, run-in-15; B1 is in ")
    assert found.what.endswith(":2")


@pytest.mark.parametrize(
    "other",
    [
        [72.5, 71.0, 73.5, 70.5, 75.0, 74.5, 76.0, 75.0],  # the last cylinder reads otherwise: one check agrees
        [71.0, 72.5, 73.5, 70.5, 75.0, 74.5, 76.0, 75.5],  # the same figures in another order
    ],
)
def test_what_is_no_whole_copy_is_not_told(tmp_path: Path, other: list[float]) -> None:
    assert copied(Folder(tmp_path), rows("B1", FIGURES) + rows("B6", other)) == []


def test_gauges_that_read_alike_everywhere_are_no_copies(tmp_path: Path) -> None:
    """A stuck or coarse gauge is another fault."""
    assert copied(Folder(tmp_path), rows("B1", [72.5] * 8) + rows("B6", [72.5] * 8)) == []


def test_programs_without_a_copy_are_left_alone(tmp_path: Path) -> None:
    """200 simulated pairs of builds on a gauge of half a psi, cylinders scattering by 1 psi: none looks copied."""
    draws = np.random.default_rng(20261129)
    folder = Folder(tmp_path)
    told = 0
    for _ in range(200):
        two = [np.round(2 * draws.normal(73, 1, 8)) / 2 for _ in range(2)]
        told += len(copied(folder, rows("B1", two[0].tolist()) + rows("B6", two[1].tolist())))
    assert told == 0


def test_days_after_today_are_told_a_line_a_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    programs = fewer(tmp_path)
    monkeypatch.setattr(cli, "_today", lambda: "2025-03-10")
    main(["check", str(programs)])
    assert "dated after today" not in capsys.readouterr().out  # invented data have invented days
    path = programs / "pump-rings-2025" / "program.yaml"
    path.write_text(path.read_text("utf-8").replace("invented: true", "invented: false"), encoding="utf-8")
    assert main(["check", str(programs)]) == 0
    lines = [line for line in capsys.readouterr().out.splitlines() if "dated after today, 2025-03-10" in line]
    files = [line.partition(":")[0] for line in lines]
    assert len(files) == len(set(files)) >= 3
    assert "pump-rings-2025/records/leakdown-a3.csv" in files
    monkeypatch.setattr(cli, "_today", lambda: "2031-01-01")
    main(["check", str(programs)])
    assert "dated after today" not in capsys.readouterr().out
