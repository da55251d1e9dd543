"""Fuel in the oil, from the record to the page: taken off the oil lost, and flagged where it is not known.

The masses are those of the worked example: 4.0 kg filled, 0.30 topped up, 0.10 drawn with 3 % of fuel, 3.9 with 4 % in
the end: 0.459 kg lost, by weight alone 0.30.
"""

from __future__ import annotations

import csv
import html
import math
import re
import shutil
from pathlib import Path

import pytest
from house import ROOT

from sitegen.cli import main

Rows = dict[tuple[str, str], dict[str, str]]
PRECISION = "fuel_precision: {at_zero: 0.1 %, share: 5 %}"
HEAD = "Build,Phase,What,Sample,Hours,Mass,Iron,V40,Fuel,Found by,Lab\n"
TABLE = """B1,cold-build,fill,,0,4.0,,,,,
B1,pulls,sample,s1,20,0.1,12,118,3.0,chromatography,lab-1
B1,pulls,top-up,,20,0.3,,,,,
B1,pulls,sample,s2,40,0.1,20,112,4.0,chromatography,lab-1
B1,pulls,drain,,40,3.8,,,,,
"""
ENTRY = """  oil:
    - file: records/oil.csv
      columns:
        engine: Build
        phase: Phase
        what: What
        sample: Sample
        hours: {header: Hours, unit: h}
        mass: {header: Mass, unit: kg}
        Fe: {header: Iron, unit: mg/kg}
        viscosity_40: {header: V40, unit: cSt}
        fuel: {header: Fuel, unit: "%"}
        fuel_method: Found by
        laboratory: Lab

"""


def folder(home: Path, table: str, precision: str = PRECISION) -> Path:
    """The accepted example of oil as a diesel engine, nothing left by its drain."""
    made = Path(shutil.copytree(ROOT / "tests" / "accepted" / "oil", home / "programs"))
    path = made / "definitions.yaml"
    text = path.read_text(encoding="utf-8").replace("    cylinders: 4", "    cylinders: 4\n    fuel_viscosity: 3 cSt")
    path.write_text(text.replace("    method: ICP", f"    method: ICP\n    {precision}"), encoding="utf-8")
    path = made / "pump" / "program.yaml"
    text = path.read_text(encoding="utf-8").replace("  left_after_drain: 8 %\n", "")
    text = re.sub(r"  oil:\n    - file.*?\n\n", ENTRY, text, flags=re.DOTALL)
    path.write_text(text, encoding="utf-8")
    (made / "pump" / "records" / "oil.csv").write_text(HEAD + table, encoding="utf-8")
    return made


def published(home: Path, table: str, precision: str = PRECISION) -> tuple[Rows, str]:
    """Rows of the results by measure and place, and the text of the page of the build."""
    programs = folder(home, table, precision)
    assert main(["publish", str(programs), "--to", str(home / "site")]) == 0
    with (programs / "pump" / "results" / "measures.csv").open(encoding="utf-8") as file:
        rows = {(row["measure"], row["at"]): row for row in csv.DictReader(file) if row["phase"] == "pulls"}
    page = (home / "site" / "programs" / "pump" / "b1" / "index.html").read_text(encoding="utf-8")
    return rows, re.sub(r"\s+", " ", html.unescape(re.sub("<[^>]+>", " ", page)).replace("\u00a0", " "))


def test_the_worked_example_from_record_to_page(tmp_path: Path) -> None:
    rows, page = published(tmp_path, TABLE)
    lost = rows["oil.consumption", ""]
    assert float(lost["value"]) == pytest.approx(459 / 40, abs=0.01)
    assert float(rows["oil.consumption_apparent", ""]["value"]) == pytest.approx(300 / 40, abs=0.01)
    assert lost["flags"] == ""
    # by hand: masses to 0.3 % of 4, 0.3, 0.1, 0.1 and 3.8 kg, fuel to hypot(0.1, 5 % of it) %: 0.1 kg and 3.9 kg alike
    masses = 0.003 * math.sqrt(4.0**2 + 0.3**2 + 0.1**2 + 0.1**2 + 3.8**2)
    fuel = 0.1 * math.hypot(0.001, 0.0015) + 3.9 * math.hypot(0.001, 0.002)
    half = 1.96e3 * math.hypot(masses, fuel) / 40
    assert float(lost["high"]) - float(lost["low"]) == pytest.approx(2 * half, rel=0.01)
    assert "The oil held up to 4.0 ± 0.4 % of fuel (four pulls)." in page
    assert "7.50 with fuel taken for oil" in page
    assert "Its viscosity hints of about 2.6 % (four pulls), if nothing else thinned it." in page
    # the metal leaves with the mixture: mg of the case of droplets, more than 3.9 kg at 20 hold
    assert float(rows["wear.iron_mass", "total"]["high"]) > float(rows["wear.iron_mass", "total"]["value"]) > 74.0


def test_a_limit_of_fuel_is_judged(tmp_path: Path) -> None:
    folder_ = tmp_path / "programs"
    published(tmp_path, TABLE)
    with (folder_ / "pump" / "results" / "verdicts.csv").open(encoding="utf-8") as file:
        words = {row["at"]: row["word"] for row in csv.DictReader(file) if row["rule"] == "oil-condition"}
    assert words["fuel"] == "fails"
    assert words["fuel:sample-1"] == "holds"


@pytest.mark.parametrize("method", ["viscosity", ""])
def test_only_chromatography_enters_the_balance(tmp_path: Path, method: str) -> None:
    rows, page = published(tmp_path, TABLE.replace("chromatography", method))
    assert float(rows["oil.consumption", ""]["value"]) == pytest.approx(300 / 40, abs=0.01)
    assert rows["oil.consumption", ""]["flags"] == "fuel-unknown"
    assert rows["oil.fuel", ""]["flags"] == "fuel-hint"
    assert ("oil.consumption_apparent", "") not in rows
    assert "it is taken for oil there, and the engine seems to use too little" in page
    assert "no chromatography" in page


def test_fuel_of_one_sample_alone_is_not_guessed_for_the_other(tmp_path: Path) -> None:
    rows, page = published(tmp_path, TABLE.replace(",4.0,chromatography", ",,"))
    assert float(rows["oil.consumption", ""]["value"]) == pytest.approx(300 / 40, abs=0.01)
    assert rows["oil.consumption", ""]["flags"] == "fuel-unknown"
    assert "fuel-unknown" in rows["wear.iron_mass", "total"]["flags"]
    assert "chromatography did not tell the fuel of every sample" in page


def test_a_hint_alone_says_that_fuel_is_not_known(tmp_path: Path) -> None:
    bare = re.sub(r",[34]\.0,chromatography", ",,", TABLE)
    rows, _ = published(tmp_path, bare)
    assert rows["oil.consumption", ""]["flags"] == "fuel-unknown"
    thick = bare.replace(",118,", ",132.5,").replace(",112,", ",131.9,")
    rows, page = published(tmp_path / "thick", thick)
    assert rows["oil.consumption", ""]["flags"] == ""
    assert "hints of about" not in page


def test_without_a_stated_precision_there_is_no_interval(tmp_path: Path) -> None:
    rows, page = published(tmp_path, TABLE, "")
    lost = rows["oil.consumption", ""]
    assert float(lost["value"]) == pytest.approx(11.475, abs=0.01)
    assert (lost["low"], lost["flags"]) == ("", "fuel-error-unknown")
    assert rows["wear.iron_mass", "total"]["low"] == ""
    assert "no interval: how well fuel is found is not stated" in page
    assert "Oil consumption is too small to tell from none" not in page


def test_less_than_a_limit_leaves_bounds(tmp_path: Path) -> None:
    rows, _ = published(tmp_path, TABLE.replace(",3.0,", ",<0.5,").replace(",4.0,chr", ",<0.5,chr"))
    lost = rows["oil.consumption", ""]
    assert (lost["value"], lost["flags"]) == ("", "bound-in-it")
    assert float(lost["low"]) < 300 / 40 < (300 + 0.005 * 4000) / 40 < float(lost["high"])
    assert rows["oil.fuel", ""]["status"] == "below"


def test_more_drained_than_filled_is_fuel_and_no_slip(tmp_path: Path) -> None:
    """4.5 kg from 4.3: with 9 % of fuel 0.1 kg of oil were lost, without a figure of it nothing can be told."""
    many = TABLE.replace(",3.8,", ",4.4,").replace(",4.0,chr", ",9.0,chr")
    rows, _ = published(tmp_path, many)
    assert float(rows["oil.consumption", ""]["value"]) == pytest.approx((4300 - 97 - 4500 * 0.91) / 40, abs=0.01)
    rows, page = published(tmp_path / "other", many.replace("chromatography", "flash-point"))
    assert (rows["oil.consumption", ""]["status"], rows["oil.consumption", ""]["reason"]) == (
        "refused",
        "fuel-not-known",
    )
    assert "more left the engine than oil came in" in page


def test_fuel_that_boiled_off_is_told(tmp_path: Path) -> None:
    _, page = published(tmp_path, TABLE.replace(",3.0,chr", ",6.0,chr").replace(",4.0,chr", ",1.0,chr"))
    said = re.search(
        r"fuel fell from 6\.0 to 1\.0 %: at least (\d+) g boiled off, which is not counted as oil lost", page
    )
    assert said is not None
    # by hand: 0.3645 kg of oil lost in 40 h, half of it by the first sample, where 3.818 kg of oil hold 6 % of fuel:
    # 0.2437 kg of it, 6 g drawn; 0.039 kg in 3.9 kg at the end
    assert int(said.group(1)) == pytest.approx(1e3 * (0.06 / 0.94 * (4.0 - 0.3450 / 2) - 0.006 - 0.039), abs=1.5)


def test_no_column_of_fuel_is_no_fault(tmp_path: Path) -> None:
    bare = "\n".join(line for line in TABLE.replace("chromatography", "").splitlines())
    rows, page = published(tmp_path, re.sub(r",(118|112),[34]\.0,", ",,,", bare) + "\n")
    assert rows["oil.consumption", ""]["flags"] == ""
    assert "Fuel in the oil" not in page
