"""What is seen in files as people and instruments write them: the quirks of real ones, by hand.

Every expectation is what the writer of the file meant (invented contents, quirks met in real files of this trade);
where a form of number or date leaves two readings, none is taken.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import openpyxl
import pytest
import yaml
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sitegen import registry
from sitegen.looking import propose, seen, told
from sitegen.reader.blocked import Blocked

LEAKDOWN = next(each for each in registry.STREAMS if each.name == "leakdown")
HEADS = ["Build", "Cyl", "Stage", "Supply [psig]", "Cylinder gauge [psig]", "Date"]
ROWS = [["B1", "1", "cold", "80.0", "72.5", "2026-05-14"], ["B1", "2", "cold", "79.5", "68.0", "2026-05-15"]] * 3


def table(separator: str = ",", end: str = "\n", above: str = "", rows: list[list[str]] | None = None) -> str:
    return above + "".join(separator.join(row) + end for row in [HEADS, *(rows or ROWS)])


def commas() -> list[list[str]]:
    return [[cell.replace(".", ",") for cell in row] for row in ROWS]


def look(content: str | bytes, tmp_path: Path, name: str = "table.csv", sheet: str = "") -> seen.Seen:
    path = tmp_path / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return seen.look(path, name, sheet)


@dataclass(frozen=True)
class Case:
    content: str | bytes
    expected: dict[str, Any]


def facts(found: seen.Seen) -> dict[str, Any]:
    """How a file is written, in plain values."""
    layout = found.layout
    return {
        "encoding": layout.encoding.value, "separator": layout.separator.value, "decimal": layout.marks.value.decimal,
        "thousands": layout.marks.value.thousands, "header_line": layout.heads.value[0] if layout.heads.value else 0,
        "header_rows": len(layout.heads.value), "units_row": layout.units_row.value > 0, "skip_rows": found.skip_rows,
        "rows": found.rows, "date_order": found.date_order, "refused": found.refused,
    }  # fmt: skip


PLAIN: dict[str, Any] = {"separator": "comma", "decimal": ".", "thousands": "", "header_line": 1, "skip_rows": 0,
                         "header_rows": 1, "units_row": False, "rows": 6, "date_order": "", "refused": ()}  # fmt: skip
DAYS = [[*row[:5], day] for row, day in zip(ROWS, ["14.05.2026", "15.05.2026"] * 3, strict=True)]
EARLY = [[*row[:5], day] for row, day in zip(ROWS, ["04.05.2026", "05.06.2026"] * 3, strict=True)]
US = [[*row[:5], day] for row, day in zip(ROWS, ["05/14/2026", "05/15/2026"] * 3, strict=True)]
UNITS = "Build,Cyl,Stage,Supply,Cylinder gauge,Date\n,,,psig,psig,\n" + table().split("\n", 1)[1]
BRACKETS = UNITS.replace("psig", "[psig]")
GROUPS = "Build,Build,Check,Supply,Cylinder,When\nname,no,name,gauge,gauge,day\n" + table().split("\n", 1)[1]
CASES = {
    "plain": Case(table(), {}),
    "utf-8 with mark": Case(b"\xef\xbb\xbf" + table().encode(), {"encoding": "utf-8"}),
    "utf-16": Case(table().encode("utf-16"), {"encoding": "utf-16"}),
    "latin-1": Case(table().replace("Stage", "Prüfung").encode("latin-1"), {"encoding": "iso-8859-1"}),
    "cr lf": Case(table(end="\r\n"), {}),
    "cr": Case(table(end="\r"), {}),
    "cr cr lf": Case(table(end="\r\r\n"), {}),
    "semicolon": Case(table(";"), {"separator": "semicolon"}),
    "tab": Case(table("\t"), {"separator": "tab"}),
    "decimal comma": Case(table(";", rows=commas()), {"separator": "semicolon", "decimal": ","}),
    "decimal comma in quotes": Case(
        table(rows=[[f'"{cell}"' if "," in cell else cell for cell in row] for row in commas()]), {"decimal": ","}
    ),
    "two title rows": Case(
        table(above="Leak-down of the pump engines\nby M. A.\n"), {"skip_rows": 2, "header_line": 3}
    ),
    "title with the separator in it": Case(
        table(above="Leak-down, pump engines\n\n"), {"skip_rows": 2, "header_line": 3}
    ),
    "blank lines above": Case(table(above="\n\n"), {"header_line": 3}),
    "row of units": Case(UNITS, {"units_row": True}),
    "row of units in brackets": Case(BRACKETS, {"units_row": True}),
    "group row": Case(GROUPS, {"header_rows": 2}),
    "header repeated in the middle": Case(table() + table(), {"rows": 12}),
    "trailing separator in some rows": Case(table().replace("2026-05-14\n", "2026-05-14,\n"), {}),
    "day first": Case(table(rows=DAYS), {"date_order": "day first"}),
    "month first": Case(table(rows=US), {"date_order": "month first"}),
    "day or month": Case(table(rows=EARLY), {"date_order": "?"}),
    "overflow and not measured": Case(table() + "B1,3,cold,*.*,NaN,\n", {"rows": 7}),
    "short row": Case(table() + "B1,3,cold\n", {"rows": 7}),
    "first rows without a figure": Case(
        table(rows=[["B1", "", "cold", "", "", ""], ["B2", "", "warm", "", "", ""], *ROWS]), {"rows": 8}
    ),
    "a title parted like the rows": Case(table(above="Leak-down,,,,,\n"), {"skip_rows": 1, "header_line": 2}),
    "end-of-file mark": Case(table() + "\x1a", {}),
}


@pytest.mark.parametrize("case", CASES)
def test_how_a_file_is_written(case: str, tmp_path: Path) -> None:
    found = look(CASES[case].content, tmp_path)
    expected = {**PLAIN, **CASES[case].expected}
    assert {key: facts(found)[key] for key in expected} == expected
    assert [column.kind for column in found.columns][3:] == ["number", "number", "date"]
    assert (found.columns[3].low, found.columns[3].high) == (79.5, 80.0)


def numbers(*cells: str) -> str:
    return "name;figure\n" + "".join(f"a;{cell}\n" for cell in cells)


MARKS = {
    "point": (("0.5", "12.25"), (".", "")),
    "comma": (("0,5", "12,25"), (",", "")),
    "comma between thousands": (("1,234.5", "0.5"), (".", ",")),
    "point between thousands": (("1.234,5", "0,5"), (",", ".")),
    "blank between thousands": (("1 234,5", "0,5"), (",", " ")),
    "apostrophe between thousands": (("1'234.5", "0.5"), (".", "'")),
    "far down a figure shows what the points are": ((*["1.234"] * 3000, "1.234,5"), (",", ".")),
    "far down a figure shows what the commas are": ((*["1,234"] * 3000, "1,234.5"), (".", ",")),
    "zero before the comma is no thousand": (("0,250", "0,500"), (",", "")),
    "exponents": (("1e3", "2.5E-4"), (".", "")),
}


@pytest.mark.parametrize("case", MARKS)
def test_marks_are_judged_on_the_whole_column(case: str, tmp_path: Path) -> None:
    cells, marks = MARKS[case]
    found = look(numbers(*cells), tmp_path)
    assert found.layout.marks.value == marks
    assert (found.doubt, found.refused) == ("", ())
    assert f"judged on all {len(cells)} figures" in found.numbers


@pytest.mark.parametrize(
    ("cells", "said"),
    [(("1,234", "5,678"), "comma"), (("1.234", "5.678"), "point"), (("1.234", *["5.678"] * 3000, "0,5"), "point")],
)
def test_a_mark_that_may_be_either_is_left_open(cells: tuple[str, ...], said: str, tmp_path: Path) -> None:
    found = look("Cyl;Supply\n" + "".join(f"1;{cell}\n" for cell in cells), tmp_path)
    assert found.doubt == f'"{cells[0]}" in line 2: a decimal {said}, or a thousands mark?'
    made = propose.table(found, "leakdown", LEAKDOWN.fields, None, "t.csv")
    assert yaml.safe_load(made.text())[0]["decimal"] == "?"


def test_a_point_that_parts_thousands_and_decimals_is_told(tmp_path: Path) -> None:
    """Invented rows whose head looks harmless, a point for thousands and decimals alike: ms; V; bar."""
    head = "0.000;4.125;3.750\n250.000;4.126;3.750\n500.000;4.125;3.752\n875.000;4.126;3.750\n"
    rows = head * 200 + "1.125.000;4.125;3.750\n1.375.000;4.125;3.751\n"
    found = look("ms;V;bar\n" + rows, tmp_path)
    (why,) = found.refused
    assert '"1.125.000" in line 802' in why
    assert "the same mark cannot part thousands and decimals" in why
    assert why in told.as_text(found, None, "leakdown").replace("\n", " ")


REFUSED = {
    "no header": ("1,2,3\n4,5,6\n7,8,9\n", "there is no row of headers"),
    "a field more than the header": ("a,b\n1,2,3\n4,5,6\n7,8,9\n", "line 2 has 3 fields, the header has 2"),
    "decimal commas between commas": ("a,b\n1,5,2,5\n1,6,2,6\n", "decimal commas between commas would do that"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_what_no_entry_can_read_is_told_why(case: str, tmp_path: Path) -> None:
    content, said = REFUSED[case]
    found = look(content, tmp_path)
    assert any(said in why for why in found.refused), found.refused
    assert "No entry can be proposed:" in told.as_text(found, None, "leakdown")


HEADERS = {
    "Supply [psig]": ("Supply", "psig"),
    "Supply (kPa gauge)": ("Supply", "kPa gauge"),
    "Supply_psig": ("Supply", "psig"),
    "Oil °C": ("Oil", "°C"),
    "Torque N m": ("Torque", "N m"),
    "Torque, lb-ft": ("Torque", "lb-ft"),
    "Speed rpm": ("Speed", "rpm"),
    "Exhaust 1 °C": ("Exhaust 1", "°C"),
    "Prüfdruck [bar Ü]": ("Prüfdruck", "bar Ü"),
    "Prüfdruck (bar ü)": ("Prüfdruck", "bar ü"),
    "Prüfdruck [bar(ü)]": ("Prüfdruck", "bar(ü)"),
    "Prüfdruck bar (ü)": ("Prüfdruck", "bar (ü)"),
    "Prüfdruck bar(g)": ("Prüfdruck", "bar(g)"),
    "Prüfdruck bar Ü": ("Prüfdruck", "bar Ü"),
    "Umgebung bar abs": ("Umgebung", "bar abs"),
    "Probe (g)": ("Probe", "g"),
    "Oxidation A/cm": ("Oxidation", "A/cm"),
    "Oxidation [A/cm]": ("Oxidation", "A/cm"),
    "Nitration Abs/0,1 mm": ("Nitration", "Abs/0,1 mm"),
    "Druck/bar": ("Druck", "bar"),
    "Second meter": ("Second meter", ""),
    "Cylinder (read twice)": ("Cylinder (read twice)", ""),
    "10 min": ("10 min", ""),
    "Supply ()": ("Supply ()", ""),
}


@pytest.mark.parametrize("header", HEADERS)
def test_units_in_names(header: str, tmp_path: Path) -> None:
    found = look(f"{header};b\n1;2\n3;4\n", tmp_path)
    assert (found.columns[0].name, found.columns[0].unit) == HEADERS[header]


def test_a_unit_that_leaves_gauge_or_absolute_open_is_asked_about(tmp_path: Path) -> None:
    found = look("Build,Cyl,Phase,Tester,Supply [psi],Cylinder gauge [psi]\nB1,1,x,T1,80,72\n", tmp_path)
    made = propose.table(found, "leakdown", LEAKDOWN.fields, None, "t.csv")
    assert 'the file says "psi": is it gauge?' in made.text()
    assert yaml.safe_load(made.text())[0]["columns"]["supply"] == {"header": "Supply", "unit": "psi gauge"}


def test_two_columns_that_fit_alike_are_both_left_open(tmp_path: Path) -> None:
    found = look("Build,Cyl,Supply pressure [psig],Pressure supply [psig]\nB1,1,80,72\nB1,2,80,71\n", tmp_path)
    made = propose.table(found, "leakdown", LEAKDOWN.fields, None, "t.csv")
    assert yaml.safe_load(made.text())[0]["columns"]["supply"] == "?"
    (asked,) = [each for each in made.open if each.startswith("supply: ")]
    assert '"Supply pressure [psig]" or "Pressure supply [psig]"? (both say it)' in asked


@pytest.mark.parametrize("name", ["Time", "Zeit", "Temps", "t"])
def test_a_time_beside_each_channel_is_the_one_to_its_left(name: str, tmp_path: Path) -> None:
    """As benches write it, all under one header, also where the slower channels end sooner."""
    rows = "".join(f"{at};{900 + at % 3};" + (f"{2 * at};{20 + at % 5}\n" if at < 15 else ";\n") for at in range(30))
    found = look(f"{name} [s];n [rpm];{name} [s];Md [N m]\n" + rows, tmp_path)
    assert found.refused == ()
    made = propose.log(found, None, "t.csv")
    entry = yaml.safe_load(made.text())[0]
    assert (entry["time"], made.unused) == ({"left": True, "unit": "s"}, [])
    assert entry["channels"] == {"speed": {"header": "n", "unit": "rpm"}, "torque": {"header": "Md", "unit": "N m"}}


def test_a_channel_that_rises_as_an_engine_warms_up_has_a_time_beside_it_too(tmp_path: Path) -> None:
    rows = "".join(f"{at};{900 + at % 3};{at};{40 + at}\n" for at in range(30))
    entry = yaml.safe_load(
        propose.log(look("Zeit [s];n [rpm];Zeit [s];T_Oel [°C]\n" + rows, tmp_path), None, "t").text()
    )[0]
    assert entry["time"] == {"left": True, "unit": "s"}


def test_times_beside_channels_are_named_one_by_one_where_their_units_differ(tmp_path: Path) -> None:
    rows = "".join(f"{at};{900 + at % 3};{1000 * at};{20 + at % 5}\n" for at in range(30))
    found = look("Zeit [s];n [rpm];Zeit [ms];Md [N m]\n" + rows, tmp_path)
    entry = yaml.safe_load(propose.log(found, None, "t.csv").text())[0]
    assert "time" not in entry
    assert entry["channels"] == {
        "speed": {"header": "n", "unit": "rpm", "time": {"column": "Zeit [s]", "unit": "s"}},
        "torque": {"header": "Md", "unit": "N m", "time": {"column": "Zeit [ms]", "unit": "ms"}},
    }


def test_a_channel_without_a_time_to_its_left_among_others_is_asked_about(tmp_path: Path) -> None:
    rows = "".join(f"{at};{900 + at % 3};{20 + at % 5};{2 * at};{80 + at % 4}\n" for at in range(30))
    found = look("Zeit [s];n [rpm];Md [N m];Zeit [s];T_Oel [°C]\n" + rows, tmp_path)
    made = propose.log(found, None, "t.csv")
    entry = yaml.safe_load(made.text())[0]
    assert entry["time"] == {"column": "?", "unit": "s"}
    assert "time: which column is that of Md [N m]? none stands directly to the left" in made.open
    assert entry["channels"]["oil_temperature"]["time"]["column"] == {"header": "Zeit [s]", "which": 2}


def test_a_workbook(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.append(["Leak-down of the pump engines"])
    sheet.append(HEADS)
    for row in ROWS:
        sheet.append([float(cell) if "." in cell else cell for cell in row])
    file = io.BytesIO()
    book.save(file)
    found = look(file.getvalue(), tmp_path, "table.xlsx")
    assert (found.skip_rows, found.rows, found.layout.separator.value, found.refused) == (1, 6, "", ())
    made = propose.table(found, "leakdown", LEAKDOWN.fields, None, "table.xlsx")
    assert not {"separator", "decimal", "encoding"} & set(yaml.safe_load(made.text())[0])


def test_a_workbook_whose_last_columns_are_empty_but_for_their_headers(tmp_path: Path) -> None:
    """As a column for remarks that nobody had; the readers take it, so an entry is proposed."""
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    for row in [[*HEADS, "Tester", "Remark"], *ROWS]:
        sheet.append(row)
    file = io.BytesIO()
    book.save(file)
    found = look(file.getvalue(), tmp_path, "table.xlsx")
    assert (found.refused, found.rows, found.columns[-1].kind) == ((), 6, "empty")
    made = propose.table(found, "leakdown", LEAKDOWN.fields, None, "table.xlsx")
    assert yaml.safe_load(made.text())[0]["columns"]["remark"] == "Remark"


def test_dates_with_years_of_two_digits_are_dates_and_ask_for_their_order(tmp_path: Path) -> None:
    """17.03.26 may be a day of 2026 or of 2017: nothing is taken before somebody says the order."""
    found = look("Build;Cyl;Date\nB1;1;17.03.26\nB1;2;18.03.26\n", tmp_path)
    assert (found.columns[2].kind, found.date_order) == ("date", "?")
    made = propose.table(found, "leakdown", LEAKDOWN.fields, None, "t.csv")
    entry = yaml.safe_load(made.text())[0]
    assert (entry["columns"]["date"], entry["date_order"]) == ("Date", "?")
    said = told.as_text(found, made, "leakdown")
    assert "nan" not in said
    asked = '"17.03.26" in line 2 has its year in two digits, which is 20xx once the order is written'
    assert said.count(asked) == 2
    stamps = look("Stamp;n\n17.03.26 08:30:00;1\n17.03.26 08:30:01;2\n", tmp_path)
    made = propose.log(stamps, None, "t.csv")
    assert yaml.safe_load(made.text())[0]["time"] == {"clock": "Stamp", "date_order": "?"}
    assert any("20xx" in each for each in made.open)


def test_a_column_file(tmp_path: Path) -> None:
    pa = pytest.importorskip("pyarrow")
    import pyarrow.parquet

    file = io.BytesIO()
    pyarrow.parquet.write_table(pa.table({"Build": ["B1", "B1"], "Supply [psig]": [80.0, 79.5]}), file)
    found = look(file.getvalue(), tmp_path, "table.parquet")
    assert (found.rows, found.skip_rows, [column.kind for column in found.columns]) == (2, 0, ["text", "number"])


TIMES = {
    "elapsed": ("Time [s];n\n0;1\n1;2\n2;2\n3;1\n", {"column": "Time", "unit": "s"}),
    "elapsed, unit open": ("Time;n\n0;1\n1;2\n2;2\n3;1\n", {"column": "Time", "unit": "?"}),
    "minutes by name": ("Minutes;n\n0;1\n1;2\n2;2\n3;1\n", {"column": "Minutes", "unit": "min"}),
    "stamps": ("Stamp;n\n14.05.2026 08:30:00,5;1\n14.05.2026 08:30:01,5;2\n",
               {"clock": "Stamp"}),
    "stamps, order open": ("Stamp;n\n04.05.2026 08:30:00;1\n04.05.2026 08:30:01;2\n",
                           {"clock": "Stamp", "date_order": "?"}),
    "iso stamps": ("Stamp;n\n2026-05-14T08:30:00;1\n2026-05-14T08:30:01;2\n", {"clock": "Stamp"}),
    "time of day": ("Clock;n\n23:59:59;1\n00:00:00;2\n", {"clock": "Clock"}),
    "date and time of day": ("Date;Clock;n\n2026-05-14;08:30:00;1\n2026-05-14;08:30:01;2\n",
                             {"date": "Date", "time_of_day": "Clock"}),
    "restarts at 0": ("Time [s];n\n" + "".join(f"{i};{i % 7}\n" for i in [*range(200), *range(200)]),
                      {"column": "Time", "unit": "s"}),
    "none": ("n;Md\n3;1\n1;2\n2;2\n", {"column": "?", "unit": "s"}),
}  # fmt: skip


@pytest.mark.parametrize("case", TIMES)
def test_times_of_logs(case: str, tmp_path: Path) -> None:
    content, expected = TIMES[case]
    entry = yaml.safe_load(propose.log(look(content, tmp_path), None, "t.csv").text())[0]
    assert entry["time"] == expected
    assert (entry["engine"], entry["phase"]) == ("?", "?")


def test_no_line_of_a_proposal_ends_in_blanks(tmp_path: Path) -> None:
    found = look(TIMES["elapsed"][0], tmp_path)
    lines = propose.log(found, None, "t.csv").lines
    assert '      engine: "?"' in lines
    assert [line for line in lines if line != line.rstrip()] == []


SOME = st.sampled_from([b"", b"a,b\n1,2\n", b";;;\n", b"\xef\xbb\xbf", b"1,5;2\n", b'"', b"\n\n", b"Time [s],n\n0,1\n"])


@given(head=SOME, content=st.binary(max_size=200), tail=SOME)
@settings(
    max_examples=200, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_whatever_stands_in_a_file_is_told_or_refused(head: bytes, content: bytes, tail: bytes, tmp_path: Path) -> None:
    try:
        found = look(head + content + tail, tmp_path)
    except Blocked:  # anything else is a fault
        return
    for made in (propose.table(found, "leakdown", LEAKDOWN.fields, None, "t.csv"), propose.log(found, None, "t.csv")):
        assert isinstance(yaml.safe_load(made.text()), list)
        assert told.as_text(found, made, "leakdown", "here")
