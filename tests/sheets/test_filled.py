"""Empty tables filled in as people fill them in read back to what was written.

Expected SI values are worked out here from the units' definitions: 1 psi is 6894.757 Pa (NIST SP 811, table B.8),
0 °C is 273.15 K and 140 °F is 60 °C (ITS-90, and the definition of the degree Fahrenheit), 1 min is 60 s.
"""

from __future__ import annotations

import csv
import datetime
import io
import shutil
from itertools import takewhile
from pathlib import Path
from typing import Any

import openpyxl
import pytest
import yaml
from house import PROGRAMS, copied, once, plain

from sitegen import workflow
from sitegen.cli import main
from sitegen.reader.records import SEPARATORS
from sitegen.results.run import Evidence

PSI = 6894.757
PHASE = "run-in-25"  # every build runs it
BUILDS = ("B1", "B2", "B3", "B4", "B5", "B6", "B7")
# What is written down, by field: (number, unit as the sheet may ask for it) or a text.
WRITTEN: dict[str, dict[str, float] | str] = {
    "supply": {"psig": 80.0},
    "pressure": {"psig": 72.5},
    "metal_temperature": {"degC": 60.0, "degF": 140.0},
    "air_temperature": {"degC": 20.0, "degF": 68.0},
    "since_shutdown": {"min": 20.5},
    "to_crankcase": {"%": 95.0},
    "crank": "tdc",
    "approached": "turned-back-half-turn",
    "locked": "yes",
    "oil": "dry",
    "operator": "J. Ö.",
    "remark": "",
}
READ = {
    "supply": 80 * PSI,
    "pressure": 72.5 * PSI,
    "metal_temperature": 333.15,
    "air_temperature": 293.15,
    "since_shutdown": 1230.0,
    "to_crankcase": 95.0,
}


@pytest.fixture(scope="module")
def sheets(tmp_path_factory: pytest.TempPathFactory) -> Path:
    def make(to: Path) -> None:
        assert main(["sheets", str(PROGRAMS / "pump-rings-2026"), "--to", str(to), "--phase", PHASE]) == 0

    return once(tmp_path_factory, "sheets-of-a-phase", make) / "tables"


def entries_of(sheets: Path, ending: str) -> dict[str, dict[str, Any]]:
    """Entries of the leak-down tables by build."""
    pasted = yaml.safe_load((sheets / f"entries-{ending}.yaml").read_text(encoding="utf-8"))["records"]["leakdown"]
    return {entry["file"].split("-")[1].upper(): entry for entry in pasted}


def home(tmp_path: Path, entries: list[dict[str, Any]], stream: str = "leakdown") -> Path:
    """The example program with no records but these."""
    folder = tmp_path / "programs" / "pump-rings-2026"
    (folder / "records").mkdir(parents=True)
    shutil.copy(PROGRAMS / "definitions.yaml", tmp_path / "programs")
    text = (PROGRAMS / "pump-rings-2026" / "program.yaml").read_text(encoding="utf-8")
    text = text[: text.index("\nrecords:\n")]
    text += "\n" + yaml.safe_dump({"records": {stream: entries}}, allow_unicode=True, sort_keys=False)
    (folder / "program.yaml").write_text(text, encoding="utf-8")
    return folder


def examined(folder: Path) -> tuple[Evidence, list[str]]:
    examination = workflow.examine(folder)
    said = [f"{each.level} {each.file}:{each.line} {each.code}: {each.what}" for each in examination.problems]
    assert not examination.blocked, said
    return examination.evidence[0], said


def written_in(entry: dict[str, Any], headers: list[str], units_row: list[str]) -> dict[str, tuple[str, str]]:
    """Field and unit of each header, as the entry and the table say them: a second reading of the same convention."""
    by_header = {}
    for name, column in entry.get("columns", {}).items():
        header, unit = (column["header"], column["unit"]) if isinstance(column, dict) else (column, "")
        by_header[header] = (name, unit)
    found = {}
    for at, header in enumerate(headers):
        name, _, bracket = header.partition(" [")
        otherwise = ("", "") if entry.get("columns") else (name, bracket.rstrip("]"))
        found[header] = by_header.get(header, otherwise)
        if units_row and not found[header][1]:
            found[header] = (found[header][0], units_row[at])
    return found


def value_for(name: str, unit: str) -> float | str:
    said = WRITTEN.get(name, "")
    return said if isinstance(said, str) else said[unit]


def fill_text(data: bytes, entry: dict[str, Any]) -> bytes:
    encoding = {"utf-8": "utf-8-sig"}.get(entry.get("encoding", "utf-8"), entry.get("encoding", ""))
    named = entry.get("separator", ",")
    separator = SEPARATORS.get(named, named)
    rows = list(csv.reader(io.StringIO(data.decode(encoding), newline=""), delimiter=separator))
    heads = 2 if entry.get("units_row") else 1
    meaning = written_in(entry, rows[0], rows[1] if heads == 2 else [])
    day = {"day first": "01.12.2026", "month first": "12/01/2026"}.get(entry.get("date_order", ""), "2026-12-01")
    for row in rows[heads:]:
        for at, header in enumerate(rows[0]):
            name, unit = meaning[header]
            if row[at] or not name:
                continue
            value = day if name == "date" else value_for(name, unit)
            row[at] = value if isinstance(value, str) else f"{value}".replace(".", entry.get("decimal", "."))
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=separator, lineterminator="\r\n").writerows(rows)
    return out.getvalue().encode(encoding)


def fill_workbook(path: Path, to: Path, entry: dict[str, Any]) -> None:
    book = openpyxl.load_workbook(path)
    sheet = book.active
    assert sheet is not None
    rows = list(sheet.iter_rows())
    headers = [str(cell.value) for cell in rows[0]]
    heads = 2 if entry.get("units_row") else 1
    below = [str(cell.value or "") for cell in rows[1]] if heads == 2 else []
    meaning = written_in(entry, headers, below)
    for row in rows[heads:]:
        if all(cell.value is None for cell in row):
            continue
        for cell, header in zip(row, headers, strict=True):
            name, unit = meaning[header]
            if cell.value is None and name:
                cell.value = datetime.date(2026, 12, 1) if name == "date" else value_for(name, unit) or None
    book.save(to)


def held(evidence: Evidence, build: str) -> None:
    frame = evidence.readings["leakdown"].frame
    own = frame[frame["engine"] == build]
    cylinders = own[own["cylinder"].notna()]
    assert cylinders["cylinder"].tolist() == [1, 1, 2, 2, 3, 3, 4, 4]
    assert cylinders["repeat"].tolist() == [1, 2] * 4
    assert own[own["reference"].notna()]["reference"].tolist() == ["R1", "R1"]
    assert set(own["phase"]) == {PHASE}
    assert set(own["tester"]) == {"T1"}
    for name, expected in READ.items():
        if own[name].notna().any():
            assert own[name].to_numpy() == pytest.approx(expected, rel=1e-6), name
    for name in ("supply", "pressure", "metal_temperature"):
        assert own[name].notna().all(), name
    assert set(own["approached"].dropna()) <= {"turned-back-half-turn"}
    if own["date"].notna().any():
        assert set(own["date"]) == {"2026-12-01"}


@pytest.mark.parametrize("build", BUILDS)
def test_a_filled_text_table_reads_back(sheets: Path, tmp_path: Path, build: str) -> None:
    entry = entries_of(sheets, "csv")[build]
    folder = home(tmp_path, [entry])
    name = Path(entry["file"]).name
    (folder / "records" / name).write_bytes(fill_text((sheets / name).read_bytes(), entry))
    evidence, said = examined(folder)
    held(evidence, build)
    assert said == []


@pytest.mark.parametrize("build", BUILDS)
def test_a_filled_workbook_reads_back(sheets: Path, tmp_path: Path, build: str) -> None:
    entry = entries_of(sheets, "xlsx")[build]
    folder = home(tmp_path, [entry])
    name = Path(entry["file"]).name
    fill_workbook(sheets / name, folder / "records" / name, entry)
    evidence, said = examined(folder)
    held(evidence, build)
    assert said == []


# Streams that ask for more than an id: a row with nothing else in it says nothing.
ASKING = {"leakdown", "buildsheet", "inspection", "events", "surfaces", "oil", "pulls"}
WAYS = {
    "semicolons and decimal commas": ({"separator": ";", "decimal": ","}, "utf-8-sig"),
    "UTF-8 without a mark": ({}, "utf-8"),
    "UTF-16": ({}, "utf-16"),
    "Latin-1": ({"encoding": "iso-8859-1"}, "iso-8859-1"),
    "Windows-1252, not announced": ({}, "windows-1252"),
    "tabs": ({"separator": "tab"}, "utf-8"),
    "day first": ({"date_order": "day first"}, "utf-8-sig"),
}


@pytest.mark.parametrize("way", WAYS)
def test_saved_in_another_way_it_reads_back_the_same(sheets: Path, tmp_path: Path, way: str) -> None:
    keys, encoding = WAYS[way]
    plain = entries_of(sheets, "csv")["B6"]
    name = Path(plain["file"]).name
    entry = {**plain, **{key: value for key, value in keys.items() if key != "encoding"}}
    rows = csv.reader(io.StringIO((sheets / name).read_bytes().decode("utf-8-sig"), newline=""))
    again = io.StringIO(newline="")
    separator = {"tab": "\t"}.get(keys.get("separator", ""), keys.get("separator", ","))
    csv.writer(again, delimiter=separator, lineterminator="\n").writerows(rows)
    filled = fill_text(again.getvalue().encode("utf-8-sig"), {**entry, "separator": separator})
    folder = home(tmp_path, [{**entry, **keys}])
    (folder / "records" / name).write_bytes(filled.decode("utf-8-sig").encode(encoding))
    evidence, said = examined(folder)
    held(evidence, "B6")
    assert evidence.readings["leakdown"].frame["operator"].dropna().unique().tolist() == ["J. Ö."]
    assert said == []


def block_of(pasted: str, stream: str) -> str:
    """The entries of one stream as they are pasted: the lines below its name."""
    lines = pasted.split(f"\n  {stream}:\n")[1].split("\n")
    return "".join(f"{line}\n" for line in takewhile(lambda line: line.startswith("    "), lines))


@pytest.fixture(scope="module")
def of_two_builds(tmp_path_factory: pytest.TempPathFactory) -> Path:
    def make(to: Path) -> None:
        asked = ["sheets", str(PROGRAMS / "pump-rings-2026"), "--to", str(to), "--build", "B3", "--build", "B4"]
        assert main(asked) == 0

    return once(tmp_path_factory, "sheets-of-two-builds", make)


@pytest.mark.parametrize("ending", ["csv", "xlsx"])
def test_nobody_filled_it_in(of_two_builds: Path, tmp_path: Path, ending: str) -> None:
    """Every empty table pasted beside those of the program: no error, no warning, every row not yet taken."""
    to = of_two_builds
    folder = copied(tmp_path) / "pump-rings-2026"
    text = (folder / "program.yaml").read_text(encoding="utf-8")
    pasted = (to / "tables" / f"entries-{ending}.yaml").read_text(encoding="utf-8")
    streams = list(yaml.safe_load(pasted)["records"])
    assert set(streams) >= ASKING
    for stream in streams:
        assert text.count(f"\n  {stream}:\n") == 1
        text = text.replace(f"\n  {stream}:\n", f"\n  {stream}:\n{block_of(pasted, stream)}")
    (folder / "program.yaml").write_text(text, encoding="utf-8")
    empty = {f"pump-rings-2026/records/{path.name}" for path in (to / "tables").glob(f"*.{ending}")}
    for name in empty:
        shutil.copy(to / "tables" / Path(name).name, folder / "records")
    evidence, said = examined(folder)
    facts = {name: each for readings in evidence.readings.values() for name, each in readings.files.items()}
    assert len(empty) > 20
    assert empty <= set(facts)
    assert [line for line in said if any(f" {name}:" in line for name in empty)] == []
    for name in sorted(empty):
        if Path(name).name.split("-")[0] not in ASKING:
            assert facts[name]["rows"] > 0, name
            continue
        assert facts[name]["not_taken"] > 0, name
        assert (facts[name]["rows"], facts[name]["used"], facts[name]["set_aside"]) == (0, 0, 0), name


def test_entries_keep_the_words_of_the_record_they_are_from(tmp_path: Path) -> None:
    """What people write in their own words is read from the filled table, too; general words are not repeated."""
    programs = plain(tmp_path)
    path = programs / "pump" / "program.yaml"
    text = path.read_text(encoding="utf-8").replace(
        "constants: {tester: T1}", "constants: {tester: T1}\n      words: {phase: {Einbau: cold-build}}"
    )
    path.write_text(text + "\nwords: {phase: {Dauerlauf: pulls}}\n", encoding="utf-8")
    assert main(["sheets", str(programs / "pump"), "--to", str(tmp_path / "sheets")]) == 0
    made = yaml.safe_load((tmp_path / "sheets" / "tables" / "entries-csv.yaml").read_text(encoding="utf-8"))
    (words,) = {str(entry["words"]) for entry in made["records"]["leakdown"]}
    assert words == "{'phase': {'einbau': 'cold-build'}}"


def test_a_unit_that_says_neither_gauge_nor_absolute_leaves_its_column_empty(tmp_path: Path) -> None:
    """The supply is known beforehand, but not what it is in "bar", which the check refuses."""
    programs = plain(tmp_path)
    path = programs / "pump" / "program.yaml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("{header: Supply, unit: psig}", "{header: Supply, unit: bar}"), encoding="utf-8")
    assert main(["sheets", str(programs / "pump"), "--to", str(tmp_path / "sheets")]) == 0
    (table, *_) = sorted((tmp_path / "sheets" / "tables").glob("leakdown-*.csv"))
    rows = list(csv.DictReader(io.StringIO(table.read_text(encoding="utf-8-sig"))))
    assert rows
    assert {row["Supply"] for row in rows} == {""}
