"""Sheets for calibrations: what they ask for, and that what is pasted from them reads back."""

from __future__ import annotations

from pathlib import Path

import pytest
import yaml
from house import ROOT, plain

from sitegen import workflow
from sitegen.cli import main
from sitegen.problems import Collector
from sitegen.program import definitions
from sitegen.program.node import Node
from sitegen.program.yamlfile import parse
from sitegen.sheets import calibrating


@pytest.fixture(scope="module")
def sheets(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Those of the larger example."""
    to = tmp_path_factory.mktemp("sheets")
    assert main(["sheets", str(ROOT / "programs" / "pump-rings-2026"), "--to", str(to)]) == 0
    return to


def test_a_page_an_instrument_with_the_points_of_its_last_calibration(sheets: Path) -> None:
    page = (sheets / "calibrations" / "t1.html").read_text("utf-8")
    assert page.count("<td>80 psig</td>") == 2  # of either gauge
    assert page.count("±0.25 psig") == 4
    assert "Compressed air" in page
    assert "Local codes" in page
    assert (sheets / "calibrations" / "m2.html").read_text("utf-8").count("±2.5 %") == 0  # in its own unit
    listed = (sheets / "index.html").read_text("utf-8")
    made, _ = workflow.programs(ROOT / "programs" / "pump-rings-2026")
    assert made is not None
    for one in calibrating.there(made.definitions):
        assert f'href="calibrations/{one.id.lower()}.html"' in listed, one.id


def test_each_calibration_is_pasted_filled_in_and_read_back(sheets: Path) -> None:
    """With as found and as left at each of its points, of every instrument that has points."""
    text = (ROOT / "programs" / "definitions.yaml").read_text("utf-8")
    pasted = (sheets / "calibrations" / "entries.yaml").read_text("utf-8")
    blocks = {part.split("\n", 1)[0]: part.split("\n", 1)[1] for part in pasted.split("# ")[2:]}
    found = yaml.safe_load(text)
    for section in ("testers", "meters", "tools"):
        for name, entry in found[section].items():
            (own,) = yaml.safe_load(blocks[name])
            own |= {"on": "2027-01-10", "due": "2028-01-10"}
            if "tolerance" in own:
                own["tolerance"] = "2 %"
            points = [point for point in own["checks"] if point["at"] != "?"]
            own["checks"] = [{**point, "found": point["at"], "left": point["at"]} for point in points]
            entry["calibrations"] = [own]
    problems = Collector("definitions.yaml")
    made = definitions.build(_node(yaml.safe_dump(found, sort_keys=False), problems))
    assert problems.found == []
    (tester,) = made.testers["T1"].calibrations
    assert [(point.gauge, point.said) for point in tester.checks] == [
        ("cylinder", "60 psig"), ("cylinder", "80 psig"), ("supply", "60 psig"), ("supply", "80 psig"),
    ]  # fmt: skip
    assert all(point.found == point.left == point.at for point in tester.checks)


def _node(text: str, problems: Collector) -> Node:
    document = parse(text.encode(), problems)
    assert document is not None
    return Node.root(document, problems)


def test_of_one_build_no_instrument_is_calibrated(tmp_path: Path) -> None:
    programs, to = plain(tmp_path), tmp_path / "sheets"
    assert main(["sheets", str(programs / "pump"), "--to", str(to), "--build", "B1"]) == 0
    assert not (to / "calibrations").exists()
    assert main(["sheets", str(programs / "pump"), "--to", str(to)]) == 0
    page = (to / "calibrations" / "balance-1.html").read_text("utf-8")
    assert "no calibration on record" in page
    assert page.count("<tr") == 2 + 5  # its head, and five points nobody has named
