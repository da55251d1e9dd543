"""Masses of rings from sheet to loss: scatter of repeats, buoyancy treated alike or not."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import pytest
from tables.house import Folder, program

from sitegen.streams.buildsheet.steps import run_measured, run_scatter, run_wear
from sitegen.vocabulary import Book, Value

HEAD = "engine,phase,cylinder,ring,repeat,mass [g],buoyancy,tool_mass,date\n"
TAIL = "balance-1,2026-02-09\n"
T_2 = 4.303  # Student, 2 degrees of freedom, two-sided 95 %: any table


def found(path: Path, rows: str) -> dict[tuple[str, str], Value]:
    folder = Folder(path)
    readings = {"buildsheet": folder.sheet(HEAD + rows)}
    plan: Any = program(folder.path)
    needs = ("buildsheet.mass", "buildsheet.gap_gauge", "buildsheet.thickness", "buildsheet.weighing_scatter")
    pool = [each for each in run_scatter(plan, "", readings, Book({}, ())) if isinstance(each, Value)]
    book = Book({(each.measure, each.key): each for each in pool}, needs)
    masses = [each for each in run_measured(plan, "B1", readings, book) if isinstance(each, Value)]
    book = Book({(each.measure, each.key): each for each in (*pool, *masses)}, needs)
    lost = [each for each in run_wear(plan, "B1", readings, book) if isinstance(each, Value)]
    return {(each.measure, each.key.phase): each for each in (*masses, *lost)}


def row(phase: str, repeat: int, mass: float, buoyancy: str = "") -> str:
    return f"B1,{phase},1,top,{repeat},{mass:.4f},{buoyancy},{TAIL}"


def test_weighed_once_the_bounds_are_those_of_the_balance(tmp_path: Path) -> None:
    loss = found(tmp_path, row("cold-build", 1, 7.6631) + row("teardown", 1, 7.6598))["wear.mass_loss", "teardown"]
    assert loss.value == pytest.approx(3.3)
    assert loss.low == pytest.approx(3.3 - 1.0)  # twice 0.5 mg
    assert loss.flags == {"balance-alone"}


def test_scatter_of_repeats_widens_the_bounds(tmp_path: Path) -> None:
    """7.662, 7.663, 7.664 g: standard deviation 1 mg, so 0.5 mg + 4.303 mg / sqrt(3) for the mean of three.

    The weighing at teardown scatters as much: 0.5 mg + 4.303 mg.
    """
    rows = "".join(row("cold-build", n, 7.661 + n / 1000) for n in (1, 2, 3)) + row("teardown", 1, 7.650)
    values = found(tmp_path, rows)
    half = 0.5 + T_2 / math.sqrt(3)
    mass = values["buildsheet.mass", "cold-build"]
    assert mass.n == 3
    assert mass.value == pytest.approx(7.663)
    assert mass.high == pytest.approx(7.663 + half / 1000, abs=2e-6)
    loss = values["wear.mass_loss", "teardown"]
    assert loss.high == pytest.approx(13.0 + half + 0.5 + T_2, abs=2e-3)
    assert loss.flags == frozenset()


@pytest.mark.parametrize("alike", ["ignored", "corrected", ""])
def test_buoyancy_treated_alike_changes_nothing(tmp_path: Path, alike: str) -> None:
    rows = row("cold-build", 1, 7.6631, alike) + row("teardown", 1, 7.6598, alike)
    assert "buoyancy-differs" not in found(tmp_path, rows)["wear.mass_loss", "teardown"].flags


def test_buoyancy_corrected_once_only_is_flagged_and_bounds_take_in_what_air_bears(tmp_path: Path) -> None:
    """Air of 1.2 kg/m3 bears at most 1.2/7000 of a ring of iron or steel: 1.314 mg of 7.6631 g."""
    rows = row("cold-build", 1, 7.6631, "corrected") + row("teardown", 1, 7.6598, "ignored")
    loss = found(tmp_path, rows)["wear.mass_loss", "teardown"]
    assert "buoyancy-differs" in loss.flags
    assert loss.high is not None
    assert loss.high - 3.3 == pytest.approx(1.0 + 1.314, abs=2e-3)
