"""A build with two checks only is told by how far apart they are. Rows made by hand."""

from __future__ import annotations

import csv
import math
from collections.abc import Mapping
from pathlib import Path

import pytest
from house import rows_of
from leakdown.test_counts import OPTIONS
from leakdown.test_percent import text_of

from sitegen.cli import main

PHASES = "cold build, run-in 20 min, run-in 60 min, run-in 2 h, run-in 4 h, durability 100 h"
# fall over 15 km to a level of 78 psi; the builds differ by a tenth of a psi here and there
CURVE = {"run-in-20": 75.4, "run-in-60": 77.3, "run-in-2": 77.9, "run-in-4": 78.0}
OFF = {
    "B1": (0.1, -0.1, 0.0, 0.0), "B2": (-0.1, 0.1, 0.0, 0.1), "B3": (0.0, -0.1, 0.1, 0.0),
}  # fmt: skip


def published(
    home: Path,
    monkeypatch: pytest.MonkeyPatch,
    last: Mapping[str, tuple[float, float]],
    shares: Mapping[str, int] | None = None,
    apart: Mapping[str, float] | None = None,
) -> Path:
    """Three builds with a curve, and B4, of two cylinders, with the checks given: phase -> psi by cylinder.

    `shares` of the air to the crankcase [%] by phase, all of it where none is given; `apart` by how much the second
    repeat of B4 lies below the first [psi].
    """
    (home / ".git").mkdir()
    monkeypatch.chdir(home)
    options = {**OPTIONS, "builds": "B1,B2,B3,B4", "phases": PHASES}
    parts = [part for key, text in options.items() for part in (f"--{key.replace('_', '-')}", text)]
    assert main(["start", "programs/pump", *parts]) == 0
    file = home / "programs/pump/program.yaml"
    text = file.read_text(encoding="utf-8")
    assert "level: 0.35 mm2" in text
    text = text.replace("level: 0.35 mm2", "level: 0.40 mm2").replace("{coating: new}", "{coating: plain}", 2)
    file.write_text(text, encoding="utf-8")
    read = {build: {phase: (psi + off, psi + off) for (phase, psi), off in zip(CURVE.items(), offs, strict=True)}
            for build, offs in OFF.items()}  # fmt: skip
    table = home / "programs/pump/records/leakdown.csv"
    with table.open(encoding="utf-8", newline="") as old:
        header = next(csv.reader(old))
    with table.open("w", encoding="utf-8", newline="") as new:
        writer = csv.DictWriter(new, header)
        writer.writeheader()
        for build, checks in {**read, "B4": last}.items():
            for phase, gauges in checks.items():
                for cylinder, gauge in enumerate(gauges, start=1):
                    for repeat in (1, 2):
                        lower = (apart or {}).get(phase, 0.0) if (build, repeat) == ("B4", 2) else 0.0
                        writer.writerow({
                            "engine": build, "cylinder": cylinder, "phase": phase, "repeat": repeat, "tester": "T1",
                            "supply [psig]": 80, "pressure [psig]": round(gauge + 0.02 * repeat * cylinder - lower, 2),
                            "crank": "tdc", "to_crankcase [%]": (shares or {}).get(phase, 100),
                            "metal_temperature [degC]": 60,
                        })  # fmt: skip
    assert main(["publish", "programs", "--to", "site"]) == 0
    return home


def told(home: Path, cylinder: int = 1) -> Mapping[str, Mapping[str, str]]:
    rows = rows_of(home / "programs/pump/results/verdicts.csv")
    return {row["rule"]: row for row in rows if (row["engine"], row["cylinder"]) == ("B4", str(cylinder))}


def test_far_apart_and_still_is_seated(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    home = published(tmp_path, monkeypatch, {"run-in-4": (78.0, 78.0), "durability": (78.0, 76.8)})
    rules = told(home)
    assert (rules["seating"]["word"], rules["seating"]["route"]) == ("seated", "two-checks")
    rows = [row for row in rows_of(home / "programs/pump/results/measures.csv") if row["engine"] == "B4"]
    (reach,) = [row for row in rows if row["measure"] == "seating.scale_most"]
    km = {row["phase"]: float(row["value"]) for row in rows if row["measure"] == "exposure.km"}
    between = km["durability"] - km["run-in-4"]
    assert reach["flags"] == "scale-of-builds"
    assert 15 < float(reach["high"]) < 60
    assert float(rules["seating.apart"]["found"]) == pytest.approx(between / float(reach["high"]), rel=0.01)
    assert math.isclose(float(rules["seating.to_lose"]["high"]), 1e-6)
    page = text_of(home / "site/programs/pump/b4/cylinder-1.html")
    assert "No curve tells its leak still to lose, but two checks do: since run-in 4 h" in page
    grown = told(home, 2)["seating"]
    assert (grown["word"], grown["reason"]) in {("cannot tell", "grew-between"), ("not seated", "leak-grew")}


def test_close_checks_tell_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    home = published(tmp_path, monkeypatch, {"run-in-2": (78.0, 78.0), "run-in-4": (78.0, 78.0)})
    rules = told(home)
    assert (rules["seating"]["word"], rules["seating"]["reason"]) == ("cannot tell", "checks-close")
    apart = float(rules["seating.apart"]["found"])
    assert apart < 6
    page = text_of(home / "site/programs/pump/b4/index.html")
    assert f"checks {apart:.1f} times the longest seating distance to reckon with apart; without a curve six" in page


def test_a_fall_between_tells_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    home = published(tmp_path, monkeypatch, {"run-in-4": (76.5, 76.5), "durability": (78.2, 78.2)})
    rules = told(home)
    assert (rules["seating"]["word"], rules["seating"]["reason"]) == ("cannot tell", "fell-between")
    assert "the leak area fell by 0." in text_of(home / "site/programs/pump/b4/cylinder-1.html")


def test_one_check_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    home = published(tmp_path, monkeypatch, {"durability": (78.0, 78.0)})
    assert told(home)["seating"]["reason"] == "one-check"
    assert "Whether cylinders 1 and 2 are seated cannot be told: " in text_of(home / "site/programs/pump/b4/index.html")


@pytest.mark.parametrize("where", ["run-in-4", "durability"])
def test_repeats_that_disagree_are_told_as_the_reason(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, where: str
) -> None:
    """Both checks were read alike, with one tester in one condition."""
    last = {"run-in-4": (78.0, 78.0), "durability": (78.0, 78.0)}
    home = published(tmp_path, monkeypatch, last, apart={where: 3.0})
    assert told(home)["seating"]["reason"] == "check-disagrees"
    page = text_of(home / "site/programs/pump/b4/cylinder-1.html")
    assert "differ by more than repeats do" in page
    assert "read like the last one" not in page
