"""Custody of oil samples: days that contradict each other, late analyses, gaps, and bottles past their day."""

from __future__ import annotations

import csv
import html
import re
import shutil
from pathlib import Path

import pytest
from house import ROOT

from sitegen.cli import main
from sitegen.streams.oil.custody import Custody

HEAD = "engine,phase,what,sample,mass [kg],Fe [mg/kg],date,by,sealed,sent,received,analysed,retained_until,kept\n"
FILL = "B1,cold-build,fill,,5.2,,,,,,,,,\n"
WHOLE = "2026-02-10,K. L.,yes,2026-02-11,2026-02-13,2026-02-20,2027-02-10,shelf 2"


def row(custody: str, sample: str = "s1") -> str:
    return f"B1,pulls,sample,{sample},0.1,6.2,{custody}\n"


def folder(home: Path, table: str, rule: str = "") -> Path:
    made = Path(shutil.copytree(ROOT / "tests" / "accepted" / "oil", home / "programs"))
    path = made / "pump" / "program.yaml"
    text = path.read_text(encoding="utf-8").replace("  mass_error: 0.3 %\n", f"  mass_error: 0.3 %\n{rule}")
    text = re.sub(r"  oil:\n    - file.*?\n\n", "  oil:\n    - {file: records/oil.csv}\n\n", text, flags=re.DOTALL)
    path.write_text(text, encoding="utf-8")
    (made / "pump" / "records" / "oil.csv").write_text(HEAD + FILL + table, encoding="utf-8")
    return made


def told(made: Path, capsys: pytest.CaptureFixture[str]) -> list[str]:
    assert main(["check", str(made)]) == 0
    return [line for line in capsys.readouterr().out.splitlines() if "records/oil.csv" in line]


def flags(made: Path) -> set[str]:
    with (made / "pump" / "results" / "measures.csv").open(encoding="utf-8") as file:
        rows = [
            each for each in csv.DictReader(file) if each["measure"] == "oil.iron" and each["value"].startswith("6.2")
        ]
    assert rows  # the reading is used whatever its days say
    return {flag for each in rows for flag in re.split("[ ,;]+", each["flags"])} & {"custody-order", "analysed-late"}


def text(made: Path, page: str) -> str:
    (path,) = (made.parent / "site").rglob(page)
    return re.sub(r"\s+", " ", html.unescape(re.sub("<[^>]+>", " ", path.read_text("utf-8"))).replace("\u00a0", " "))


def published(home: Path, table: str, rule: str = "") -> Path:
    made = folder(home, table, rule)
    assert main(["publish", str(made), "--to", str(home / "site")]) == 0
    return made


@pytest.mark.parametrize(
    ("custody", "column", "said"),
    [
        ("2026-02-10,,,,2026-02-09,,,", "received", "was received on 2026-02-09, before it was drawn on 2026-02-10"),
        ("2026-02-10,,,2026-02-08,,,,", "sent", "was sent on 2026-02-08, before it was drawn on 2026-02-10"),
        ("2026-02-10,,,,2026-02-15,2026-02-14,,", "analysed", "on 2026-02-14, before it was received on 2026-02-15"),
        ("2026-02-10,,,2026-02-12,2026-02-11,,,", "received", "on 2026-02-11, before it was sent on 2026-02-12"),
        ("2026-02-10,,,,,2026-02-14,2026-02-13,", "retained_until", "kept until 2026-02-13, before it was analysed"),
    ],
)
def test_days_that_contradict_each_other_are_told_in_place(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], custody: str, column: str, said: str
) -> None:
    made = folder(tmp_path, row(custody))
    (line,) = told(made, capsys)
    assert f'records/oil.csv:3: warning: column "{column}": sample s1 was' in line
    assert said in line
    assert "used as it stands" in line
    assert main(["publish", str(made), "--to", str(tmp_path / "site")]) == 0
    assert flags(made) == {"custody-order"}
    assert "Days of an oil sample contradict each other : four pulls" in text(made, "b1/index.html")
    data = text(made, "pump/data.html")
    assert "custody order" in data
    assert ", before it was" in data


def test_a_whole_record_is_no_fault(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    made = published(tmp_path, row(WHOLE), "  analysed_within: 10 d\n")
    capsys.readouterr()
    assert told(made, capsys) == []
    assert flags(made) == set()
    page = text(made, "b1/index.html")
    assert "The sample was analysed ten days after drawing." in page
    assert "Not recorded" not in page
    assert "past their day" not in text(made, "pump/data.html")


@pytest.mark.parametrize(("rule", "late"), [("  analysed_within: 9 d\n", True), ("", False)])
def test_late_only_where_the_program_says_what_is_late(tmp_path: Path, rule: str, late: bool) -> None:
    made = published(tmp_path, row(WHOLE), rule)
    assert flags(made) == ({"analysed-late"} if late else set())
    page = text(made, "b1/index.html")
    assert ("Later than the 9 d planned: four pulls." in page) is late
    assert ("Oil sample analysed late : four pulls" in page) is late


def test_gaps_are_counted_and_not_judged(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    made = published(tmp_path, row(WHOLE) + row("2026-02-10,,,,2026-02-14,,,", "s2"))
    capsys.readouterr()
    assert told(made, capsys) == []
    assert flags(made) == set()
    page = text(made, "b1/index.html")
    assert "One of two samples was analysed ten days after drawing." in page
    assert "Not recorded: of one sample whether it was sealed, of one sample the day it was sent" in page


def test_a_bottle_past_its_day_is_on_the_data_page(tmp_path: Path) -> None:
    """As of the newest record, 20 February; the day until which it is kept is none."""
    made = published(tmp_path, row(WHOLE.replace("2027-02-10", "2026-02-20")) + row(WHOLE, "s2"))
    assert "past their day" not in text(made, "pump/data.html")  # that very day it is not over
    over = row("2026-01-10,,,,,2026-01-12,2026-02-19,shelf 9", "s3")
    made = published(tmp_path / "over", row(WHOLE) + over)
    page = text(made, "pump/data.html")
    assert "One bottle of oil was to be kept until a day that is over as of 20 February 2026." in page
    assert "shelf 9" in page


def test_rows_of_engine_and_laboratory_are_one_sample(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Either may say what the other does not; the day is told where it stands."""
    engine = "B1,pulls,sample,s1,0.1,,2026-02-10,K. L.,yes,2026-02-11,,,,\n"
    made = folder(tmp_path, engine + "B1,pulls,sample,s1,,6.2,,,,,2026-02-09,,,\n")
    (line,) = told(made, capsys)
    assert "records/oil.csv:4: " in line
    assert "before it was sent on 2026-02-11" in line


def test_custody_belongs_to_samples(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    made = folder(tmp_path, row(WHOLE) + "B1,pulls,drain,,4.7,,,,,2026-02-11,,,,\n")
    (line,) = told(made, capsys)
    assert '"sent" is entered for what is no sample' in line


def test_the_latest_day_before_is_named() -> None:
    found = Custody(date="2026-02-10", sent="2026-02-12", received="2026-02-13", analysed="2026-02-11")
    assert list(found.disorder()) == [("analysed", "received")]
    assert Custody(date="2026-02-10", analysed="2026-02-10").days == 0
