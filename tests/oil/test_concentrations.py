"""A laboratory's table alone, without ids of samples, fills or masses: what the samples hold over the running time."""

from __future__ import annotations

import csv
import html
import re
import shutil
from pathlib import Path

import pytest
from house import plain

from sitegen.cli import main

TABLE = """Unit;Sampled;Oil hours;Iron;Chromium;Copper;V100;TBN
M1;03.02.2026;120;13,8;<1;2,1;13,9;8,1
M1;03.03.2026;240;22,4;1,2;2,8;14,0;7,6
M1;14.04.2026;360;30,9;n.d.;3,1;14,2;7,0
M1;14.05.2026;60;11,2;2,1;1,9;14,3;6,6
M1;15.06.2026;180;49,0;2,6;4,4;14,6;6,1
"""
ENTRY = """  oil:
    - file: records/oil.csv
      date_order: day first
      decimal: ","
      constants: {engine: B1, phase: pulls, what: sample}
      columns:
        on_fill: {header: "Oil hours", unit: h}
        Fe: {header: Iron, unit: mg/kg}
        Cr: {header: Chromium, unit: mg/kg}
        Cu: {header: Copper, unit: mg/kg}
        viscosity_100: {header: V100, unit: mm2/s}
        base_number: TBN
        date: Sampled
"""


@pytest.fixture(scope="module")
def published(tmp_path_factory: pytest.TempPathFactory) -> Path:
    home = tmp_path_factory.mktemp("table")
    pump = plain(home) / "pump"
    (pump / "records" / "oil.csv").write_text(TABLE, encoding="utf-8")
    with (pump / "program.yaml").open("a", encoding="utf-8") as file:
        file.write(ENTRY)
    assert main(["publish", str(home / "programs"), "--to", str(home / "site")]) == 0
    return home


def test_every_sample_is_used_with_one_warning(published: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(published / "programs")]) == 0
    said = [line for line in capsys.readouterr().out.splitlines() if "records/oil.csv" in line]
    assert len(said) == 1
    assert "no fill of B1 with oil is on record before: concentrations are used, a balance is not made" in said[0]
    with (published / "programs" / "pump" / "results" / "measures.csv").open(encoding="utf-8") as file:
        rows = [row for row in csv.DictReader(file) if row["measure"] in {"oil.iron", "oil.chromium"}]
    iron = [row["value"] for row in rows if row["measure"] == "oil.iron"]
    assert sorted(map(float, iron)) == [11.2, 13.8, 22.4, 30.9, 49.0]
    assert sorted(row["status"] for row in rows if row["measure"] == "oil.chromium") == [
        "below", "ok", "ok", "ok", "refused",
    ]  # fmt: skip


def test_the_page_draws_them_over_the_running_time_and_makes_no_balance(published: Path) -> None:
    page = (published / "site" / "programs" / "pump" / "b1" / "index.html").read_text(encoding="utf-8")
    text = re.sub(r"\s+", " ", html.unescape(re.sub("<[^>]+>", " ", page))).replace("\u00a0", " ")
    assert "no fill of the engine with oil is on record before it. The samples hold up to 49 mg/kg of iron" in text
    assert "Concentration alone misleads" in text
    assert 'id="oil-over-hours-b1' in page.lower()
    assert "Metal made since the first fill" not in text


def test_two_samples_make_no_course(tmp_path: Path, published: Path) -> None:
    home = Path(shutil.copytree(published / "programs", tmp_path / "programs"))
    table = home / "pump" / "records" / "oil.csv"
    table.write_text("\n".join(TABLE.splitlines()[:3]) + "\n", encoding="utf-8")
    assert main(["publish", str(home), "--to", str(tmp_path / "site")]) == 0
    page = (tmp_path / "site" / "programs" / "pump" / "b1" / "index.html").read_text(encoding="utf-8")
    assert "oil-over-hours" not in page
