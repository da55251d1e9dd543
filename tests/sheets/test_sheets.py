"""What is on field sheets and in empty tables, and what happens to files that are there already."""

from __future__ import annotations

import csv
import io
import re
import shutil
import zipfile
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import openpyxl
import pytest
import yaml
from house import PROGRAMS, ROOT, fewer

from sitegen import registry, units, workflow
from sitegen.cli import main
from sitegen.declarations import Blank, Stream
from sitegen.program.model import Program
from sitegen.sheets.build import Sheets, make
from sitegen.sheets.columns import choose, written
from sitegen.vocabulary import Field


@pytest.fixture(scope="module")
def program() -> Program:
    """Without its traces, which nothing here asks for and which take longest to read."""
    folder, _ = workflow.programs(PROGRAMS / "pump-rings-2026")
    assert folder is not None
    (found,) = folder.programs
    return replace(found, records=tuple(each for each in found.records if each.stream != "surfaces"))


@pytest.fixture(scope="module")
def made(program: Program) -> Sheets:
    return make(program, registry.STREAMS, ["B3", "B6"])


class _Rows(HTMLParser):
    """Texts of the cells of every table, a list a row."""

    def __init__(self) -> None:
        super().__init__()
        self.rows: list[list[str]] = []
        self._in = False

    def handle_starttag(self, tag: str, _attrs: object) -> None:
        if tag == "tr":
            self.rows.append([])
        if tag in {"td", "th"}:
            self.rows[-1].append("")
            self._in = True

    def handle_endtag(self, tag: str) -> None:
        if tag in {"td", "th"}:
            self._in = False

    def handle_data(self, data: str) -> None:
        if self._in:
            self.rows[-1][-1] += data


def rows_of(page: bytes) -> list[list[str]]:
    parser = _Rows()
    parser.feed(page.decode())
    return parser.rows


def section(page: bytes, anchor: str) -> str:
    return page.decode().split(f'id="{anchor}"')[1].split("</section>")[0]


# ---- the schedule ----------------------------------------------------------------------------------------------------


def test_the_schedule_gives_time_speed_torque_and_power(made: Sheets) -> None:
    """Run-in of ten minutes as the program file states it; power kW = N m * rpm / 9549.297 (exact)."""
    lines = [row[1:7] for row in rows_of(made.pages["b3/run-in-10.html"]) if len(row) == 13 and row[1].isdigit()]
    assert lines == [
        ["1", "0:00:00", "0:05:15", "900", "20", "1.9"],  # 18 000 / 9549.297 = 1.885
        ["2", "0:05:15", "0:08:45", "1\u202f100", "40", "4.6"],  # 44 000 / 9549.297 = 4.608
        ["3", "0:08:45", "0:10:00", "1\u202f300", "60", "8.2"],  # 78 000 / 9549.297 = 8.168
    ]
    sheet = section(made.pages["b3/run-in-10.html"], "schedule")
    assert sheet.count("reference point<") == 1
    assert "10 min in all" in sheet
    assert sheet.count('class="box"') == 3  # one to tick a line


def test_a_repeated_schedule_is_written_out_and_a_long_step_is_parted(made: Sheets) -> None:
    pulls = [
        row
        for row in rows_of(section(made.pages["b3/pulls.html"], "schedule").encode())
        if len(row) == 14 and row[1].isdigit()
    ]
    assert [row[2] for row in pulls] == ["1", "1", "2", "2", "3", "3", "4", "4"]
    assert pulls[1][3:8] == ["0:03:00", "0:03:30", "1\u202f200 to 2\u202f200", "150", "18.8 to 34.6"]
    long = rows_of(section(made.pages["b3/durability.html"], "schedule").encode())
    hours = [row[2:4] for row in long if len(row) == 13 and row[1].isdigit()]
    assert hours[0] == ["0:00:00", "4:00:00"]
    assert hours[-1] == ["36:00:00", "40:00:00"]


# ---- cautions --------------------------------------------------------------------------------------------------------

# What each kind of work has to say (OSHA 29 CFR 1910.147 and 1910.95, FAA AC 43.13-1B ch. 8, HSE on used oil).
CAUTIONS = {
    "leakdown": ("lock them out", "1910.147", "crankshaft can turn", "slowly", "hot", "eye protection"),
    "schedule": ("Guards", "over-speed", "plane of rotating parts", "carbon monoxide", "outdoors", "1910.95"),
    "events": ("hearing protection", "guards", "outdoors"),
    "labels": ("Hot oil", "skin cancer", "gloves"),
    "buildsheet": ("skin cancer", "gloves", "sharp", "eye protection", "tackle"),
    "inspection": ("skin cancer", "gloves", "ventilation", "eye protection", "wipe wet"),
}
# What has hurt people where it was left out (common practice, no source): a sentence each, whole.
HURTS = {
    "leakdown": (
        "Under pressure no bar, wrench or hand is on it and nobody is at fan, belt or flywheel",
        "Lock it only with what the engine&#39;s maker provides for that, fitted before the pressure and taken out",
        "a bar held by hand or wedged is no lock.",
        "A wet test comes last: oil spoils later dry readings. A few mL, measured: too much locks the piston on oil",
        "Turn the engine over by hand, twice, plugs out, before the starter does",
        "The mass is a top-up in the oil log.",
    ),
    "schedule": (
        "write down at which exhaust and coolant temperature, oil pressure and speed the run ends",
        "at knock, or where torque falls or blow-by jumps unasked: load off, stop, then ask. A pull too",
    ),
    "events": (
        "The breather of a running engine is never closed off",
        "No air into the breather line of a running gas engine",
        "A meter check: engine stopped, fuel and ignition locked out, meter parted from the breather",
        "from outside the cell, with a flame arrester between it and the engine",
        "A crankcase check: engine stopped and locked out, breather closed off, air from a regulator with a relief",
        "no more than the engine maker allows",
        "Then let the air out and open the breather",
    ),
}


def test_every_sheet_begins_with_its_cautions(made: Sheets) -> None:
    pages = [content for path, content in made.pages.items() if path.startswith(("b3/", "b6/"))]
    seen = set()
    for page in pages:
        for anchor in re.findall(r'<section class="sheet" id="([a-z]+)">', page.decode()):
            sheet = section(page, anchor)
            cautions = sheet.split('<div class="cautions">')[1].split("</div>")[0]
            assert (
                '<li class="first">Local codes, licensed practice, the site&#39;s rules and its competent person come '
                "first." in cautions
            )
            assert cautions.count("Local codes") == 1
            for words in CAUTIONS.get(anchor, ()):
                assert words in cautions, (anchor, words)
            for words in HURTS.get(anchor, ()):
                assert words in sheet, (anchor, words)
            first = min(place for place in (sheet.find("<table"), sheet.find('class="label"')) if place > 0)
            assert sheet.index("cautions") < first
            seen.add(anchor)
    assert seen >= set(CAUTIONS)


def test_the_crank_turns_by_the_bore_stroke_and_rod_of_the_engine_on_the_sheet(program: Program) -> None:
    def said(**other: float | None) -> str:
        builds = [replace(b, engine_type=replace(b.engine_type, **other)) for b in program.builds if b.id == "B3"]  # type: ignore[arg-type]
        page = make(replace(program, builds=tuple(builds)), registry.STREAMS, ["B3"], ["cold-build"]).pages
        return section(page["b3/cold-build.html"], "leakdown")

    # slider-crank by hand: 86 x 103 mm, rod 160 mm, 551.6 kPa: 3204 N, arms of 5.93 and 11.78 mm: 19 and 38 N m
    assert "makes 19 N m at 5° and 38 N m at 10° past top dead centre (bore 86 mm, stroke 103 mm, rod 160 mm)" in said(
        bore=0.086, stroke=0.103, rod=0.160
    )
    # 87.5 x 100 mm, rod 1.5 strokes: 3317 N, arms of 5.81 and 11.54 mm: 19.3 and 38.3 N m
    for rod in (None, 0.04):  # none stated, and one that cannot be
        found = said(bore=0.0875, stroke=0.1, rod=rod)
        assert "makes 19 N m at 5° and 38 N m at 10° past top dead centre (bore 87.5 mm, stroke 100 mm" in found
        assert "rod 150 mm, taken since none that fits is stated)" in found
    twice = said(bore=2 * 0.086, stroke=0.103, rod=0.160)
    assert "makes 76 N m at 5° and 151 N m at 10°" in twice  # four times the area


def test_the_limits_that_end_a_run_are_asked_for_before_it(made: Sheets) -> None:
    for path in ("b3/durability.html", "b3/pulls.html"):
        asked = section(made.pages[path], "schedule").split('<div class="once">')[1].split("<table")[0]
        for words in (
            "Breather open, seen by",
            "Run ends above: exhaust",
            "coolant",
            "speed",
            "or below: oil pressure",
        ):
            assert words in asked, (path, words)


def test_readme_and_every_kind_of_work_say_what_can_hurt() -> None:
    readme = " ".join((ROOT / "README.md").read_text(encoding="utf-8").split("## Cautions")[1].split())
    for words in (
        "Local codes, licensed practice, the site's rules and a competent person come first",
        "(103 mm stroke, 160 mm rod)",
        "No bar, wrench or hand on the crank; a lock only if the engine's maker provides it",
        "Wet test: last, a few measured mL, then turned over by hand with the plugs out",
        "The limits that end a run, a pull too, are written down before the start",
        "closed off, or given a flow, only with the engine stopped; air regulated and relieved",
        "Teardown: ring edges are sharp and stretch, so gloves, eye protection and a ring tool",
        "rated tackle, a block on its side wedged; solvents burn",
        "deposits and abraded metal are harmful dust",
    ):
        assert words in readme, words
    told = {stream.name: " ".join(stream.cautions) for stream in registry.STREAMS}
    for name in ("leakdown", "buildsheet", "inspection", "surfaces"):
        assert "eye protection" in told[name], name
    assert all(told.values())


# ---- leak-down and labels --------------------------------------------------------------------------------------------


def test_the_leakdown_sheet_asks_for_the_protocol_and_names_no_coating(made: Sheets) -> None:
    sheet = section(made.pages["b6/cold-build.html"], "leakdown")
    asked = ("Supply pressure", "Cylinder gauge", "Crank", "Approached", "turned back half turn", "Locked", "Condition",
             "Metal temperature", "Time since shutdown", "Oil", "Wait", "Turns since the last test", "Ambient pressure",
             "Air temperature", "Repeat", "Share to crankcase", "Share to exhaust", "Share to intake", "Crankcase flow",
             "while air flows", "engine turned over twice")  # fmt: skip
    for words in asked:
        assert words in sheet, words
    for known in ("B6", "cold build", "T1", "R1", "K16", "to be done cold", "552 kPa", "80 psi"):
        assert known in sheet, known
    assert "chromium" not in sheet  # who reads a gauge does not know what runs behind it
    assert "graded chromium nitride, lot G-018" in section(made.pages["b6/cold-build.html"], "buildsheet")


def test_the_windows_of_the_protocol_stand_at_their_columns(made: Sheets) -> None:
    """As the program file of the example states them; a phase that is read cold is not told the warm ones."""
    heads = {
        phase: [cell for row in rows_of(made.pages[f"b6/{phase}.html"]) for cell in row if cell.startswith("Metal")]
        for phase in ("cold-build", "pulls")
    }
    assert set(heads["cold-build"]) == {"Metal temperature°C10 to 35 °C"}
    assert set(heads["pulls"]) == {"Metal temperature°C50 to 70 °C"}
    warm, cold = (section(made.pages[f"b6/{phase}.html"], "leakdown") for phase in ("pulls", "cold-build"))
    for text in ("5 to 45 min after the stop", "running direction or turned back half turn"):
        assert f"<small>{text}</small>" in warm
    assert '<th scope="col" class="usual">Locked<small>yes</small></th>' in warm
    assert "5 to 45 min after the stop</small>" not in cold


def test_what_the_programs_table_has_no_column_for_is_told_to_its_author(made: Sheets) -> None:
    listed = made.pages["index.html"].decode()
    assert (
        "This program's tables have no column for it. leak-down: condition, turns since the last test, wait" in listed
    )
    sheet = section(made.pages["b3/durability.html"], "leakdown")
    assert "no column for it" not in sheet
    assert "turns since the last test" not in sheet.lower()


def test_where_the_air_goes_stands_beside_the_readings_where_there_is_room(made: Sheets) -> None:
    """Three columns of the 2026 tables; the build without a table of its own asks for all, in a table of their own."""
    assert section(made.pages["b3/durability.html"], "leakdown").count('<table class="grid') == 1
    rows = {row[0] + row[1] + row[2]: row for row in rows_of(made.pages["b3/durability.html"]) if len(row) == 14}
    assert rows["R11"][10:13] == ["–", "–", "–"]  # an orifice has one path
    assert rows["11"][10:13] == ["", "", ""]
    assert section(made.pages["b6/cold-build.html"], "leakdown").count('<table class="grid') == 2


def test_labels_of_all_phases_stand_together(made: Sheets) -> None:
    sheet = section(made.pages["b3/labels.html"], "labels")
    labels = re.findall(r"<b>([^<]+)</b><span>([a-z]+)", sheet)
    phases = ("run-in-10", "run-in-25", "run-in-60", "pulls", "durability")
    assert labels == [(f"B3-{phase}", what) for phase in phases for what in ("sample", "retain")]
    for words in ("K13", "run-in, 25 min", "gas engine oil, SAE 40", "Drawn on, at", "After shutdown", "3 minutes"):
        assert words in sheet, words
    assert not any(b'id="labels"' in page for path, page in made.pages.items() if not path.endswith("labels.html"))


def test_all_sheets_of_a_build_are_one_file(made: Sheets) -> None:
    own = [path for path in made.pages if path.startswith("b3/") and path != "b3/all.html"]
    each = [re.findall(r'<section class="sheet" id="([^"]+)"', made.pages[path].decode()) for path in own]
    whole = re.findall(r'<section class="sheet" id="([^"]+)"', made.pages["b3/all.html"].decode())
    assert whole == [f"{path[3:-5]}-{name}" for path, names in zip(own, each, strict=True) for name in names]
    assert len(set(whole)) == len(whole) > 20
    assert "B3, run-in, 25 min" in section(made.pages["b3/all.html"], "run-in-25-leakdown")
    assert 'href="b3/all.html"' in made.pages["index.html"].decode()


def test_labels_come_where_the_program_plans_samples(program: Program) -> None:
    bare = [replace(p, records=tuple(name for name in p.records if name != "oil")) for p in program.phases]
    phases = tuple(replace(p, records=(*p.records, "oil")) if p.id == "durability" else p for p in bare)
    sheet = section(make(replace(program, phases=phases), registry.STREAMS, ["B3"]).pages["b3/labels.html"], "labels")
    assert re.findall(r"<b>([^<]+)</b>", sheet) == ["B3-durability"] * 2


def test_a_stream_that_says_nothing_of_paper_gets_a_sheet_from_its_fields(program: Program) -> None:
    fields = (
        Field("engine", "Build", "id", refers="engine", required=True),
        Field("phase", "Phase", "id", refers="phase", required=True),
        Field("cylinder", "Cylinder", "integer", refers="cylinder"),
        Field("lustre", "Lustre", "number", "Pa", "gauge pressure"),
        Field("tint", "Tint", "word", words=("dull", "bright")),
        Field("date", "Date", "date"),
    )

    def unread(*_: object) -> object:
        raise AssertionError("a program without tables of a stream has none to read")

    plain = Stream("polish", "polish", 90, fields, unread, (), cautions=("Mind the dust.",))  # type: ignore[arg-type]
    phases = tuple(replace(p, records=("polish",)) if p.id == "teardown" else p for p in program.phases)
    made = make(replace(program, phases=phases, records=()), (plain,), ["B3"], ["teardown"])
    sheet = section(made.pages["b3/teardown.html"], "polish")
    assert "Mind the dust." in sheet
    assert [row[0] for row in rows_of(made.pages["b3/teardown.html"]) if row[0].isdigit()] == ["1", "2", "3", "4"]
    assert sheet.count("bright") == 4
    header = "engine,phase,cylinder,lustre [kPa gauge],tint,date"
    assert made.tables["tables/polish-b3-teardown.csv"].decode("utf-8-sig").splitlines()[0] == header


def test_oil_is_asked_for_at_the_engine_and_its_bottles_are_labelled(program: Program) -> None:
    """The sample and what was done to the oil, not what a laboratory finds."""
    oil = next(stream for stream in registry.STREAMS if stream.name == "oil")
    phases = tuple(replace(p, records=("oil",) if p.id == "durability" else ()) for p in program.phases)
    made = make(replace(program, phases=phases, records=()), (oil,), ["B3"])
    sheet = section(made.pages["b3/durability.html"], "oil")
    assert "Used oil irritates the skin" in sheet
    assert "Molybdenum" not in sheet
    assert ">Mo<" not in sheet
    assert sheet.count("top up") == 5
    assert "B3-durability" in sheet
    assert made.pages["b3/labels.html"].count(b"<b>B3-durability</b>") == 2
    row, *free = csv.DictReader(io.StringIO(made.tables["tables/oil-b3-durability.csv"].decode("utf-8-sig")))
    assert [(each["what"], each["engine"], each["phase"]) for each in free] == [("", "B3", "durability")] * 5
    assert (row["sample"], row["what"], row["engine"], row["mass [g]"]) == ("B3-durability", "sample", "B3", "")
    assert b"B3-pulls" not in made.pages["b3/labels.html"]  # planned in one phase only


# ---- tables ----------------------------------------------------------------------------------------------------------


def test_columns_are_the_programs_own(program: Program) -> None:
    tables = make(program, registry.STREAMS, (), ["run-in-25"]).tables

    def header(build: str, encoding: str = "utf-8-sig") -> str:
        return tables[f"tables/leakdown-{build}-run-in-25.csv"].decode(encoding).split("\r\n")[0]

    for build, encoding in (("b1", "utf-8"), ("b2", "utf-8"), ("b3", "utf-8"), ("b4", "iso-8859-1"), ("b6", "utf-8")):
        records = PROGRAMS / "pump-rings-2026" / "records"
        own = (records / f"leakdown-{build}.csv").read_text(encoding=encoding).split("\n")[0]
        assert header(build, "iso-8859-1" if encoding != "utf-8" else "utf-8-sig") == own.rstrip("\r")
    # B5 has sheets with a column a phase: no table to copy, so `field [unit]` in the units the others use
    assert "supply [psig],pressure [psig]" in header("b5")
    assert "metal_temperature [degC]" in header("b5")


def test_every_unit_proposed_fits_its_field(program: Program) -> None:
    count = 0
    for stream in registry.STREAMS:
        if not stream.fields:
            continue
        blank = stream.blank(program, program.builds[0], program.phases[0]) if stream.blank else Blank(())
        assert set(blank.once) | {name for row in blank.rows for name in row} <= {each.name for each in stream.fields}
        for heading in choose(stream, (), program.builds[0], program.phases[0], blank).headings:
            what = next(each for each in stream.fields if each.name == heading.field)
            if what.dimension:
                units.converter(heading.unit, what.dimension)  # raises where it does not fit
                count += 1
    assert count > 30


def test_ids_are_filled_in_beforehand(made: Sheets) -> None:
    rows = list(csv.DictReader(io.StringIO(made.tables["tables/leakdown-b6-cold-build.csv"].decode("utf-8-sig"))))
    assert [(row["cylinder"], row["repeat"], row["reference"]) for row in rows] == [
        ("", "1", "R1"), ("1", "1", ""), ("1", "2", ""), ("2", "1", ""), ("2", "2", ""), ("3", "1", ""), ("3", "2", ""),
        ("4", "1", ""), ("4", "2", ""), ("", "2", "R1"),
    ]  # fmt: skip
    assert {(row["engine"], row["phase"], row["tester"]) for row in rows} == {("B6", "cold-build", "T1")}
    assert {row["pressure [psig]"] for row in rows} == {""}
    sheet = list(csv.DictReader(io.StringIO(made.tables["tables/buildsheet-b6-cold-build.csv"].decode("utf-8-sig"))))
    assert [row["ring"] for row in sheet[:4]] == ["top", "second", "oil", "top"]
    assert sheet[0]["tool_mass"] == "balance-1"


def test_a_table_without_repeats_has_no_two_rows_alike() -> None:
    """Columns for build, check, cylinder and two gauges only: no repeat to number, no orifice to name."""
    found, _ = workflow.programs(ROOT / "tests" / "accepted" / "plain" / "pump")
    assert found is not None
    made = make(found.programs[0], registry.STREAMS, ["B1"], ["pulls"])
    table = made.tables["tables/leakdown-b1-pulls.csv"].decode("utf-8-sig").split()
    assert table == ["Build,Check,Cyl,Supply,Gauge", *(f"B1,pulls,{cylinder},," for cylinder in (1, 2, 3, 4))]
    sheet = section(made.pages["b1/pulls.html"], "leakdown")
    assert "Repeat" not in sheet
    assert '<span class="answer line">T1</span>' in sheet  # stated once for the whole file


def test_oil_is_weighed_whatever_the_table_of_samples_has(made: Sheets) -> None:
    """The table of the samples has neither hours nor a word for what was done; both are asked for, and read back."""
    sheet = section(made.pages["b3/durability.html"], "oil")
    assert "Oil filled, topped up, drained" in sheet
    assert sheet.count("top up") == 5
    header = made.tables["tables/oil-b3-durability.csv"].decode("utf-8-sig").splitlines()[0].split(",")
    assert {"Fe [mg/kg]", "what", "mass [g]", "hours [h]"} <= set(header)
    pasted = yaml.safe_load(made.pages["tables/entries-csv.yaml"])["records"]["oil"]
    (entry,) = [each for each in pasted if each["file"] == "records/oil-b3-durability.csv"]
    assert entry["constants"] == {"laboratory": "lab-1"}  # no longer that every row is a sample
    first = section(made.pages["b3/cold-build.html"], "oil")  # where the engine is filled before its first start
    assert "Sample drawn" not in first
    assert "Oil filled, topped up, drained" in first
    assert b'id="oil"' not in made.pages["b3/teardown.html"]


def test_an_entry_may_name_a_column_without_its_unit(tmp_path: Path) -> None:
    """`pressure: Gauge` where the header is `Gauge [psig]`: the sheet has the column."""
    shutil.copytree(ROOT / "tests" / "accepted" / "plain", tmp_path / "plain")
    folder = tmp_path / "plain" / "pump"
    for path, old, new in (
        ("records/leakdown.csv", "Supply,Gauge", "Supply [psig],Gauge [psig]"),
        ("program.yaml", "{header: Gauge, unit: psig}", "Gauge"),
    ):
        text = (folder / path).read_text(encoding="utf-8")
        assert old in text
        (folder / path).write_text(text.replace(old, new), encoding="utf-8")
    found, _ = workflow.programs(folder)
    assert found is not None
    made = make(found.programs[0], registry.STREAMS, ["B1"], ["pulls"])
    sheet = section(made.pages["b1/pulls.html"], "leakdown")
    assert "Cylinder gauge" in sheet
    assert (
        made.tables["tables/leakdown-b1-pulls.csv"]
        .decode("utf-8-sig")
        .startswith("Build,Check,Cyl,Supply [psig],Gauge [psig]\r\n")
    )


def test_the_workbook_has_typed_cells_lists_and_a_header_that_stays(made: Sheets) -> None:
    book = openpyxl.load_workbook(io.BytesIO(made.tables["tables/leakdown-b6-cold-build.xlsx"]))
    (sheet,) = book.worksheets
    headers = [cell.value for cell in sheet[1]]
    assert sheet.freeze_panes == "A2"
    assert sheet.cell(3, headers.index("cylinder") + 1).value == 1  # a number, not a text
    assert sheet.cell(3, headers.index("engine") + 1).value == "B6"
    assert sheet.cell(3, headers.index("date") + 1).number_format == "yyyy-mm-dd"
    rules = {str(rule.sqref): rule for rule in sheet.data_validations.dataValidation}
    lists = {rule.formula1 for rule in rules.values() if rule.type == "list"}
    assert {'"tdc,before-tdc,after-tdc,bdc"', '"yes,no"', '"dry,wet"', '"T1,T2"', '"R1"'} <= lists
    (supply,) = [rule for where, rule in rules.items() if where.startswith("G2:")]
    assert headers[6] == "supply [psig]"
    assert float(supply.formula1) == pytest.approx(20e3 / 6894.757, rel=1e-4)  # psi: NIST SP 811, table B.8
    assert float(supply.formula2) == pytest.approx(2e6 / 6894.757, rel=1e-4)


def test_a_header_is_never_a_formula(tmp_path: Path) -> None:
    folder = fewer(tmp_path) / "pump-rings-2025"
    path = folder / "records" / "leakdown-a1.csv"
    path.write_text(path.read_text(encoding="utf-8").replace("remark", "=1+1", 1), encoding="utf-8")
    found, _ = workflow.programs(folder)
    assert found is not None
    tables = make(found.programs[0], registry.STREAMS, ["A1"], ["pulls"]).tables
    (sheet,) = openpyxl.load_workbook(io.BytesIO(tables["tables/leakdown-a1-pulls.xlsx"])).worksheets
    last = [cell for cell in sheet[1] if cell.value == "=1+1"]
    assert [cell.data_type for cell in last] == ["s"]


def test_the_same_bytes_on_any_day(program: Program, made: Sheets, monkeypatch: pytest.MonkeyPatch) -> None:
    import time

    real = time.localtime
    monkeypatch.setattr(time, "localtime", lambda *_: real(1_900_000_000))  # a day in 2030
    again = make(program, registry.STREAMS, ["B3", "B6"])
    assert again == made
    for name, content in made.tables.items():
        if name.endswith(".xlsx"):
            with zipfile.ZipFile(io.BytesIO(content)) as book:
                assert {each.date_time for each in book.infolist()} == {(1980, 1, 1, 0, 0, 0)}
                core = book.read("docProps/core.xml").decode()
                assert re.findall(r">(\d{4})-", core) == ["1980", "1980"], core


# ---- on disk ---------------------------------------------------------------------------------------------------------


def test_a_filled_table_is_never_written_over(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    to = tmp_path / "sheets"
    asked = ["sheets", str(PROGRAMS / "pump-rings-2025"), "--to", str(to), "--build", "A3", "--phase", "durability"]
    assert main(asked) == 0
    said = capsys.readouterr().out
    assert re.fullmatch(r"\d sheets to print and \d+ empty tables\. Open .+index\.html\n", said), said
    table = to / "tables" / "leakdown-a3-durability.csv"
    filled = table.read_bytes() + b"mine\r\n"
    table.write_bytes(filled)
    page = to / "a3" / "durability.html"
    page.write_bytes(page.read_bytes().replace(b"Leak-down", b"Leek-down"))
    (to / "index.html").write_bytes(b"<p>somebody's own</p>")
    assert main(asked) == 0
    assert "2 files were there and left alone: index.html, tables/leakdown-a3-durability.csv" in capsys.readouterr().out
    assert table.read_bytes() == filled
    assert b"Leek" not in page.read_bytes()
    assert (to / "index.html").read_bytes() == b"<p>somebody's own</p>"


def test_a_table_whose_name_is_taken_gets_another(tmp_path: Path) -> None:
    folder = fewer(tmp_path) / "pump-rings-2025"
    path = folder / "program.yaml"
    shutil.copy(folder / "records" / "leakdown-a3.csv", folder / "records" / "leakdown-a3-durability.csv")
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("records/leakdown-a3.csv", "records/leakdown-a3-durability.csv"), encoding="utf-8")
    found, _ = workflow.programs(folder)
    assert found is not None
    names = make(found.programs[0], registry.STREAMS, ["A3"], ["durability"]).tables
    assert "tables/leakdown-a3-durability-2.csv" in names
    assert "tables/leakdown-a3-durability.csv" not in names


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["pump-rings-2026", "--build", "B33"], '--build: the program has no build B33. Did you mean "B3"?'),
        (["pump-rings-2026", "--phase", "pull"], '--phase: the program has no phase pull. Did you mean "pulls"?'),
        (["."], "Give the folder of one: pump-rings-2025, pump-rings-2026, pump-rings-hours."),
    ],
)
def test_wrong_use(arguments: list[str], said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    program, *options = arguments
    assert main(["sheets", str(PROGRAMS / program), "--to", str(tmp_path / "none"), *options]) == 2
    assert said in capsys.readouterr().err
    assert not (tmp_path / "none").exists()


def test_a_broken_program_file_makes_no_sheet(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = fewer(tmp_path) / "pump-rings-2025"
    path = folder / "program.yaml"
    path.write_text(path.read_text(encoding="utf-8").replace("question:", "qestion:", 1), encoding="utf-8")
    assert main(["sheets", str(folder), "--to", str(tmp_path / "none")]) == 1
    assert "program.yaml:4" in capsys.readouterr().err
    assert not (tmp_path / "none").exists()


def test_a_damaged_table_does_not_keep_the_sheets_back(tmp_path: Path) -> None:
    folder = fewer(tmp_path) / "pump-rings-2025"
    (folder / "records" / "leakdown-a3.csv").write_bytes(b"a\x00b")
    found, _ = workflow.programs(folder)
    assert found is not None
    stream = next(each for each in registry.STREAMS if each.name == "leakdown")
    assert len(written(found.programs[0], stream)) == 2  # of three, the damaged one aside
    made = make(found.programs[0], registry.STREAMS, ["A3"], ["durability"])
    like = (folder / "records" / "leakdown-a1.csv").read_text(encoding="utf-8").splitlines()[0]  # of another build
    assert made.tables["tables/leakdown-a3-durability.csv"].decode("utf-8-sig").splitlines()[0] == like


def test_a_theme_of_ones_own(tmp_path: Path, program: Program, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "sheets.css").write_text("body { color: teal }\n")
    page = make(program, registry.STREAMS, ["B3"], ["durability"], tmp_path).pages["b3/durability.html"]
    assert b"color: teal" in page
    (tmp_path / "templates").mkdir()
    (tmp_path / "templates" / "sheets.html").write_text("a\n{{ page.nothing }}")
    asked = ["sheets", str(PROGRAMS / "pump-rings-2025"), "--to", str(tmp_path / "none"), "--theme", str(tmp_path)]
    assert main(asked) == 1
    assert "sheets.html:2: " in capsys.readouterr().err
    assert main([*asked[:-1], str(tmp_path / "nowhere")]) == 1
    assert "there is no such folder. Expected a theme folder." in capsys.readouterr().err
    assert not (tmp_path / "none").exists()
