"""What is wrong with traces is named with file, row and column, or beside the number; the others go on."""

from __future__ import annotations

import numpy as np
import pytest
from simulate import surfaces
from surfaces.test_stream import AT, bore, drawn, read, ring, text, uses, values
from tables.house import Folder

from sitegen.streams.surfaces.steps import run_faces


@pytest.fixture
def folder(tmp_path: object) -> Folder:
    return Folder(tmp_path)  # type: ignore[arg-type]


def told(found: object) -> set[tuple[str, int, str, str]]:
    return {(p.file, p.line, p.column_name, p.code) for p in found.problems}  # type: ignore[attr-defined]


def five(phase: str, wear: float, seed: int) -> tuple[str, dict[str, bytes]]:
    names = [f"{phase}{n}" for n in range(1, 6)]
    rows = "".join(bore(name, phase, n) for n, name in enumerate(names, start=1))
    return rows, {name: drawn(seed + n, wear) for n, name in enumerate(names)}


def test_a_short_trace_is_told_by_file_row_and_column_and_the_other_four_count(folder: Folder) -> None:
    rows, made = five("cold-build", 0.0, 1)
    made["cold-build3"] = drawn(3, 0.0, length=3.0)  # five cutoffs of 0.8 mm are 4 mm
    found = read(folder, rows, made)
    assert uses(found) == [""] * 5
    assert told(found) == {("pump/traces.csv", 4, "trace", "trace-short")}
    (problem,) = found.problems
    assert "3 mm" in problem.what
    assert "4 mm" in problem.what
    rk = values(folder, found)["bore.rk", "cold-build", AT]
    assert (rk.n, rk.status) == (4, "ok")
    assert "trace-left-out" in rk.flags


def test_a_missing_cutoff_is_told_by_column_and_the_other_four_count(folder: Folder) -> None:
    rows, made = five("cold-build", 0.0, 1)
    rows = rows.replace(bore("cold-build2", "cold-build", 2), bore("cold-build2", "cold-build", 2, cutoff=""))
    found = read(folder, rows, made)
    assert told(found) == {("pump/traces.csv", 3, "cutoff [mm]", "cutoff-missing")}
    assert values(folder, found)["bore.rk", "cold-build", AT].n == 4


def test_a_missing_width_of_the_flanks_is_told_by_column(folder: Folder) -> None:
    random = np.random.RandomState(5)
    made = {name: text(surfaces.face(random, 0.0)[1]) for name in ("a", "b")}
    found = read(folder, ring("a", "cold-build", 20, flank="") + ring("b", "cold-build", 90), made)
    assert told(found) == {("pump/traces.csv", 2, "flank [mm]", "flank-missing")}


def test_how_badly_faces_do_not_lie_on_each_other_is_a_number(folder: Folder) -> None:
    """A wave of amplitude 3 um on one of two flat faces: its standard deviation is 3/sqrt(2) um, 2.1 um."""
    count = 600
    wave = 3 * np.sin(2 * np.pi * np.arange(count) / 25)  # three periods on each flank of 75 points
    noise = np.random.RandomState(1).normal(0, 0.01, count)
    rows = ring("a", "cold-build", 20) + ring("b", "teardown", 20) + ring("c", "cold-build", 90)
    rows += ring("d", "teardown", 90)
    made = {"a": text(noise), "b": text(wave), "c": text(noise + 1), "d": text(noise[::-1] + 2)}
    found = values(folder, read(folder, rows, made), run_faces)
    assert found["ring.face_wear", "teardown", "top/20-deg"].reason == "not-aligned"
    assert found["ring.flank_misfit", "teardown", "top/20-deg"].value == pytest.approx(3 / np.sqrt(2), rel=0.05)
    flat = found["ring.flank_misfit", "teardown", "top/90-deg"]
    assert flat.value == pytest.approx(0.01 * np.sqrt(2), rel=0.3)
    assert found["ring.face_wear", "teardown", "top/90-deg"].status in {"ok", "below"}


def test_dust_on_one_trace_of_five_is_named_and_the_mean_keeps_all_five(folder: Folder) -> None:
    rows, made = five("cold-build", 0.0, 1)
    z = surfaces.bore(np.random.RandomState(3), 4.8, 0.0, reversal=False)
    z[900:903] += 60
    made["cold-build3"] = text(z)
    ra = values(folder, read(folder, rows, made))["bore.ra", "cold-build", AT]
    assert ra.n == 5
    assert "spikes-taken-out" in ra.flags


def test_fewer_than_five_traces_give_roughness_and_no_wear(folder: Folder) -> None:
    rows = "".join(bore(f"{p}{n}", p, n) for p in ("cold-build", "teardown") for n in range(1, 5))
    made = {f"{p}{n}": drawn(10 * k + n, 0.5 * k) for k, p in enumerate(("cold-build", "teardown"))
            for n in range(1, 5)}  # fmt: skip
    found = values(folder, read(folder, rows, made))
    assert found["bore.wear_valleys", "teardown", AT].reason == "few-traces"
    assert found["bore.rk", "teardown", AT].n == 4
    assert found["bore.rk", "teardown", AT].low is not None
