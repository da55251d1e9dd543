"""The example of long runs from its records to its pages, against the truth of its simulator."""

from __future__ import annotations

import html
import re
import shutil
import sys
from collections.abc import Mapping
from pathlib import Path

import pandas as pd
import pytest
from house import PROGRAMS, once
from simulate import hours, programs

from sitegen import findings, workflow
from sitegen.cli import main
from sitegen.shelves import Shelves

BUILDS = {build.name: build for build in hours.LONG}


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The program published alone; the coatings stand in the definitions beside it."""

    def make(folder: Path) -> None:
        programs = folder / "programs"
        shutil.copytree(PROGRAMS / hours.FOLDER, programs / hours.FOLDER, ignore=shutil.ignore_patterns("results"))
        shutil.copy(PROGRAMS / "definitions.yaml", programs)
        assert main(["publish", str(programs), "--to", str(folder / "site"), "--workers", "1"]) == 0

    return once(tmp_path_factory, "hours", make)


@pytest.fixture(scope="module")
def measures(home: Path) -> pd.DataFrame:
    return findings(home / "programs", committed=True).measures


def one(measures: pd.DataFrame, measure: str, engine: str, at: str = "", phase: str = "") -> Mapping[str, object]:
    own = measures[(measures["measure"] == measure) & (measures["engine"] == engine) & (measures["at"] == at)]
    (row,) = own[own["phase"] == phase].to_dict("records")
    return {str(name): value for name, value in row.items()}


def number(row: Mapping[str, object], name: str) -> float:
    return float(str(row[name]))


def text(page: Path) -> str:
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", page.read_text(encoding="utf-8"))))


def test_the_slow_rise_of_blow_by_lies_in_its_interval(measures: pd.DataFrame) -> None:
    found = one(measures, "hours.whole_slope", "C1")
    assert number(found, "low") < 100 * 100 * BUILDS["C1"].drift < number(found, "high")
    assert number(found, "value") > 2  # four changes of oil and wander leave it wide: whether it rises is not sure
    assert number(one(measures, "hours.last_common", ""), "value") == pytest.approx(46.2, abs=0.02)


def test_hours_run_are_those_of_the_truth(measures: pd.DataFrame) -> None:
    for name, build in BUILDS.items():
        assert number(one(measures, "hours.run", name), "value") == pytest.approx(build.ended, abs=0.03)


@pytest.mark.parametrize("name", ["C1", "C2", "C3"])
def test_oil_lost_and_iron_made_lie_in_their_intervals(measures: pd.DataFrame, name: str) -> None:
    found = one(measures, "oil.hours_rate", name)
    assert number(found, "low") < hours.LOST[name] < number(found, "high")
    assert ("these-hours-only" in str(found["flags"])) is (name != "C1")  # it alone has four equal fills
    engine, _ = hours.truth_of(programs.SEED, BUILDS[name])
    made = hours.oil_of(programs.SEED, BUILDS[name], engine).truth.made
    rows = measures[(measures["measure"] == "oil.hours_metal") & (measures["engine"] == name)]
    rows = rows[rows["at"].str.startswith("Fe")]
    assert len(rows) == len(made) - 1
    places = {
        "hours-25": "25",
        "hours-50": "46" if name == "C3" else "50",
        "hours-100": "68" if name == "C2" else "100",
    }
    for row in rows.to_dict("records"):
        last = "75" if ":" in str(row["at"]) else places[str(row["phase"])]
        names = list(made)
        before = names[names.index(last) - 1]
        begin, end = (
            1.0 if each == "run-in" else 1.0 + min(float(each), BUILDS[name].ended) for each in (before, last)
        )
        if last in {"46", "68"}:
            end = 1.0 + BUILDS[name].ended
        rate = (made[last]["Fe"] - made[before]["Fe"]) / (end - begin)
        assert float(row["low"]) < rate < float(row["high"]), (name, last)


def test_ends_are_told_and_compared_as_such(home: Path) -> None:
    rows = findings(home / "programs", committed=True).comparisons
    level = rows[(rows["measure"] == "hours.level") & (rows["coating"] == "hard-crn")].to_dict("records")[0]
    assert "ended-by-measure" in str(level["flags"])
    assert level["reason"] == "build-and-coating"
    site = home / "site" / "programs" / hours.FOLDER
    page = text(site / "index.html")
    assert "C2 ended at 68.5 h of 100 h: blow-by rose and torque fell unasked; cylinder 3 was found scuffed." in page
    assert "C3 ended at 46.2 h of 100 h: water pump leaked at its bearing." in page
    assert "The last hour all builds reached is 46.2 h." in page


def test_all_streams_stand_on_one_axis(home: Path) -> None:
    site = home / "site" / "programs" / hours.FOLDER
    page = text(site / "c1" / "index.html")
    section = page[page.index("All streams over the hours") :]
    assert "Blow-by neither clearly rises nor falls: −" in section
    assert "whether that changes cannot be told: too few fills were weighed" in section
    for end in ("25.0", "50.0", "75.0", "100.0"):
        assert f" {end} " in section
    assert "Ended early" not in page
    page = text(site / "c3" / "index.html")
    assert "these hours only" in page
    assert page.index("C3 ended at 46.2 h of 100 h") < page.index("All streams over the hours")  # out of the ordinary


def test_a_sample_more_or_less_reads_no_log_again(home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Steps over the hours see when the sump was filled, and nothing else of the oil; pages take what is drawn."""
    programs, shelves = tmp_path / "programs", Shelves(tmp_path / "shelf")
    shutil.copytree(home / "programs", programs)
    before = workflow.render(workflow.examine(programs, shelves=shelves), None)
    samples = programs / hours.FOLDER / "records/oil-samples.csv"
    changed = samples.read_text().replace(",3.9,1.5,", ",3.8,1.5,", 1)
    assert changed != samples.read_text()
    samples.write_text(changed)

    def never(*_: object) -> None:
        raise AssertionError("a log was read")

    with monkeypatch.context() as patched:
        patched.setattr(sys.modules["sitegen.streams.runlog.read"], "read_log", never)
        after = workflow.render(workflow.examine(programs, shelves=shelves), None)
    assert len(after.told.made) > 1
    (anew,) = workflow.conclude(workflow.examine(programs))
    assert after.conclusions[0].files == anew.files
    assert before.conclusions[0].files["measures.csv"] != anew.files["measures.csv"]
