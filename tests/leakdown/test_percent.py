"""A tester that shows per cent alone, from `start` to the page and back. Rows made here, with a nozzle of our own."""

from __future__ import annotations

import csv
import html
import math
import re
from pathlib import Path

import numpy as np
import pytest
import yaml
from house import rows_of

from sitegen.cli import main

ANSWERS = {
    "question": "Does it seat sooner?", "engine_type": "two cylinders", "cylinders": "2", "bore": "86 mm",
    "stroke": "90 mm", "reference": "plain", "candidates": "new", "builds": "2", "supply": "600 kPa gauge",
    "phases": "cold build, run-in 20 min, run-in 60 min, run-in 2 h, pulls, durability 40 h", "speed": "1500 rpm",
    "records": "leakdown",
}  # fmt: skip
PHASES = ("cold-build", "run-in-20", "run-in-60", "run-in-2", "pulls", "durability")
AREAS = (0.60, 0.52, 0.40, 0.30, 0.27, 0.26)  # mm2, true, of the first cylinder
SUPPLY, AMBIENT, ORIFICE = 700e3, 100e3, 1.0  # Pa abs, Pa abs, mm
SEED = 5


def begin(home: Path, monkeypatch: pytest.MonkeyPatch, tester: str) -> Path:
    """A new program with one tester; its folder."""
    (home / ".git").mkdir()
    monkeypatch.chdir(home)
    options = [part for key, text in ANSWERS.items() for part in (f"--{key.replace('_', '-')}", text)]
    assert main(["start", "programs/pump", *options, "--testers", tester]) == 0
    return home / "programs" / "pump"


def psi(ratio: float) -> float:
    """Flow function of an ideal gas, gamma 1.4: Shapiro, Dynamics and Thermodynamics of Compressible Flow (1953)."""
    ratio = max(ratio, (2 / 2.4) ** 3.5)
    return math.sqrt(7 * (ratio ** (2 / 1.4) - ratio ** (2.4 / 1.4)))


def percent(area: float, air: float, metal: float) -> float:
    """What a linear scale shows [%] of a leak of this area [mm2] behind the tester's orifice; temperatures in K."""
    low, high = AMBIENT, SUPPLY
    own = math.pi / 4 * ORIFICE**2
    for _ in range(60):
        middle = (low + high) / 2
        arrives = own * SUPPLY * psi(middle / SUPPLY) / math.sqrt(air)
        leaves = area * middle * psi(AMBIENT / middle) / math.sqrt(metal)
        low, high = (middle, high) if arrives > leaves else (low, middle)
    return 100 * (SUPPLY - low) / (SUPPLY - AMBIENT)


def fill(folder: Path) -> dict[tuple[str, str, str], float]:
    """Two readings of every cylinder at every check, to half a per cent; the true areas [mm2]."""
    noise = np.random.default_rng(SEED)
    table = folder / "records" / "leakdown.csv"
    with table.open(encoding="utf-8", newline="") as file:
        header = next(csv.reader(file))
    truth = {}
    with table.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, header)
        writer.writeheader()
        for engine, more in (("B1", 1.0), ("B2", 0.85)):
            for cylinder in ("1", "2"):
                for phase, area in zip(PHASES, AREAS, strict=True):
                    true = area * more * noise.uniform(0.9, 1.1)
                    truth[engine, cylinder, phase] = true
                    metal = 20 if phase == "cold-build" else 60
                    for repeat in ("1", "2"):
                        shown = percent(true, 293.15, metal + 273.15) + noise.normal(0, 0.3)
                        writer.writerow({
                            "engine": engine, "cylinder": cylinder, "phase": phase, "repeat": repeat, "tester": "L1",
                            "supply [kPa gauge]": "600", "percent [%]": f"{round(2 * shown) / 2}", "crank": "tdc",
                            "metal_temperature [degC]": f"{metal}", "ambient [kPa absolute]": "100",
                            "air_temperature [degC]": "20", "to_crankcase [%]": "100", "date": "2026-05-04",
                        })  # fmt: skip
    return truth


def text_of(path: Path) -> str:
    """What a page says."""
    page = re.sub(r"<(script|style|svg)\b.*?</\1>", " ", path.read_text(encoding="utf-8"), flags=re.DOTALL)
    return " ".join(html.unescape(re.sub("<[^>]+>", " ", page)).split())


def test_a_linear_scale_gives_leak_areas_that_hold_the_truth(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = begin(tmp_path, monkeypatch, "L1, 1.0 mm, 2 %, percent linear")
    tester = yaml.safe_load((folder.parent / "definitions.yaml").read_text())["testers"]["L1"]
    assert (tester["scale"], tester["percent_linear"], tester["gauge_class"]) == ("percent", True, "12 kPa")
    truth = fill(folder)
    assert main(["check", "--strict", "programs"]) == 0
    assert main(["publish", "programs", "--to", "site"]) == 0
    rows = [row for row in rows_of(folder / "results/measures.csv") if row["measure"] == "leakdown.area"]
    found = {(row["engine"], row["cylinder"], row["phase"]): row for row in rows}
    assert set(found) == set(truth)
    held = [float(found[key]["low"] or 0) <= area <= float(found[key]["high"]) for key, area in truth.items()]
    assert sum(held) == 24  # the class of the gauges makes these intervals wide
    known = {key: row for key, row in found.items() if row["status"] == "ok"}
    assert {row["status"] for row in found.values()} == {"ok", "below"}  # 2 % of the scale hide the smallest leaks
    assert len(known) >= 20
    ratios = [float(row["value"]) / truth[key] for key, row in known.items()]
    assert sum(ratios) / len(ratios) == pytest.approx(1, abs=0.02)
    assert min(float(row["high"]) / float(row["value"]) for row in known.values()) < 1.4  # and yet not without end
    page = text_of(tmp_path / "site/programs/pump/b1/cylinder-1.html")
    assert "Twelve readings: all in the values above" in page
    assert "in another condition" not in page


def test_a_scale_that_is_not_linear_gives_per_cent_and_says_why_no_area(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = begin(tmp_path, monkeypatch, "L1, 1.0 mm, 2 %, percent not linear")
    fill(folder)
    assert main(["check", "--strict", "programs"]) == 0
    assert main(["publish", "programs", "--to", "site"]) == 0
    rows = rows_of(folder / "results/measures.csv")
    assert sum(row["measure"] == "leakdown.percent" and row["status"] == "ok" for row in rows) == 24
    assert {row["reason"] for row in rows if row["measure"] == "leakdown.area"} == {"percent-scale-unknown"}
    why = "the tester shows per cent only and its scale is not stated to be linear in pressure"
    site = tmp_path / "site/programs/pump"
    program, engine, cylinder = (text_of(site / f"{name}.html") for name in ("index", "b1/index", "b1/cylinder-1"))
    assert f"Of twelve there is no leak area: {why}." in program
    assert "in, no leak area" in program
    assert f"No check gave a leak area: {why}." in engine
    assert engine.count(f"no answer {why}") >= 12  # two cylinders, six checks
    assert "twelve without a leak area, with the reason beside it" in cylinder
    assert cylinder.lower().count(why) >= 12
    assert "in another condition" not in cylinder


@pytest.mark.parametrize("lost", ["    scale: percent\n    percent_linear: true", "    percent_linear: true"])
def test_a_scale_nobody_stated_is_refused_with_the_cure(
    lost: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = begin(tmp_path, monkeypatch, "L1, 1.0 mm, 2 %, percent linear")
    fill(folder)
    file = folder.parent / "definitions.yaml"
    before = re.sub(r" +# 0 % is.*", "", file.read_text())
    assert lost in before
    file.write_text(before.replace(lost, "    # not stated"))
    capsys.readouterr()
    assert main(["publish", "programs", "--to", "site"]) == 1
    said = capsys.readouterr().err
    assert 'pump/records/leakdown.csv:2: column "percent [%]": the tester L1 shows per cent alone here' in said
    assert "`scale: percent`, and `percent_linear: true` where its marks stand evenly from 0 %" in said
    assert "1 error, 0 warnings" in said  # once, not a line a row
    assert not (tmp_path / "site").exists()


@pytest.mark.parametrize(
    ("tester", "said"),
    [
        ("L1", '"L1" does not describe a tester'),
        ("L1, 1.0 mm, 2 %", 'the class of "L1" is in per cent, and nothing says what its scale means'),
        ("L1, 1.0 mm, 2 %, percent", '"percent" says of no scale what it means'),
        ("L1, 1.0 mm, 2 %, pressure", 'the class of "L1" is in per cent'),
    ],
)
def test_start_asks_what_the_scale_means(
    tester: str, said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    options = [part for key, text in ANSWERS.items() for part in (f"--{key.replace('_', '-')}", text)]
    assert main(["start", "programs/pump", *options, "--testers", tester]) == 1
    told = capsys.readouterr().err
    assert said in told
    assert "percent linear" in told
    assert not (tmp_path / "programs").exists()
