"""Pulls through the whole chain: folders of the second generator to results, verdicts and pages."""

from __future__ import annotations

import csv
import re
from pathlib import Path

import numpy as np
import pytest
from second.pulling import LAYERED, PLAIN, Scenario, lets_through, write
from second.pulling_rates import SCENARIOS, run

from sitegen import cli


def published(tmp_path: Path, *scenarios: Scenario) -> Path:
    folder = tmp_path / "programs"
    for number, scenario in enumerate(scenarios):
        own = tmp_path / f"made-{number}"
        write(own, scenario, np.random.default_rng(number + 1))
        folder.mkdir(exist_ok=True)
        (own / "definitions.yaml").replace(folder / "definitions.yaml")
        (own / "made").rename(folder / f"pulls-{number}")
    assert cli.main(["publish", str(folder), "--to", str(tmp_path / "site"), "--no-cache"]) == 0
    return tmp_path / "site"


def text_of(path: Path) -> str:
    text = re.sub(r"<(script|style).*?</\1>", " ", path.read_text(encoding="utf-8"), flags=re.S)
    return " ".join(re.sub(r"<[^>]+>", " ", text).replace("\u00a0", " ").split())


def rows(tmp_path: Path, name: str, program: str = "pulls-0") -> list[dict[str, str]]:
    with (tmp_path / "programs" / program / "results" / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_the_generators_air_is_that_of_its_standard() -> None:
    """SAE J1349 (1990): 990 hPa dry at 25 °C needs no correction, 950 hPa at 35 °C 1.07015."""
    assert lets_through((99.0, 25.0, 0.0)) == pytest.approx(1, abs=1e-9)
    assert lets_through((95.0, 35.0, 0.0)) == pytest.approx(1 / 1.07015, rel=1e-5)


@pytest.mark.parametrize("scenario", SCENARIOS[:3], ids=lambda each: each.name)
def test_no_gain_is_told_where_there_is_none(scenario: Scenario) -> None:
    """`python -m second.pulling_rates` measures the rate; more than two of twelve at 5 % would happen once in fifty."""
    found = run(scenario, 2)
    assert found["gain of oils told from none", "yes"] <= 2
    assert found["gain told in any band", "yes"] <= 2
    assert not [word for (what, word), _ in found.items() if what.startswith("criterion:more") and word == "fails"]


def test_a_known_gain_comes_back() -> None:
    found = run(SCENARIOS[3], 1)
    assert found["gain of oils", "holds"] >= 5
    assert found["gain of oils told from none", "yes"] >= 4


def test_a_mixed_engine_says_nothing_about_a_coating(tmp_path: Path) -> None:
    """Two coatings in every engine: torque and gain stay with the engines; each page that asks says why."""
    site = published(tmp_path, Scenario("mixed", ("both",) * 4, days="KLKLKL", gain=0.012))
    values = [row for row in rows(tmp_path, "measures.csv") if row["measure"].startswith("power.")]
    assert {row["engine"] for row in values if row["status"] == "ok"} >= {"E1", "E2", "E3", "E4"}
    assert not [row for row in values if row["coating"]]
    compared = [row for row in rows(tmp_path, "comparisons.csv") if row["measure"].startswith("power.")]
    assert [(row["estimate"], row["reason"]) for row in compared] == [("", "whole-engine-in-mixed")]
    words = {row["rule"]: (row["word"], row["reason"]) for row in rows(tmp_path, "verdicts.csv")
             if row["rule"].startswith("criterion")}  # fmt: skip
    assert words == {f"criterion:{name}": ("cannot tell yet", "whole-engine-in-mixed") for name in ("more", "harder")}
    program = text_of(site / "programs" / "pulls-0" / "index.html")
    assert "it belongs to the whole engine, which held more than one coating, and so to no coating" in program
    engine = text_of(site / "programs" / "pulls-0" / "e1" / "index.html")
    assert "Torque belongs to the whole engine: where it holds several coatings, it says nothing about any." in engine
    plan = text_of(site / "programs" / "pulls-0" / "plan.html")
    assert "no number of such builds sets a coating against the reference in it" in plan
    assert "look again" not in plan
    for coating in (PLAIN, LAYERED):
        told = text_of(site / "coatings" / f"{coating}.html")
        assert "N·m" not in told


def test_a_coating_has_its_pulls_over_programs(tmp_path: Path) -> None:
    one = Scenario("first", days="KKK", better=0.02)
    site = published(tmp_path, one, Scenario("second", days="KKK", better=0.02, german=True))
    told = text_of(site / "coatings" / f"{LAYERED}.html")
    assert "full-load torque" in told.lower()
    assert "N·m" in told
    for program in ("pulls-0", "pulls-1"):
        row = next(row for row in rows(tmp_path, "comparisons.csv", program) if row["at"] == "")
        assert float(row["low"]) - 0.01 < 1.02 < float(row["high"]) + 0.01  # two intervals of 95 %: not each need hold
        assert float(row["low"]) > 1
