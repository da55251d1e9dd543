# ruff: noqa: E501 - whole messages stay on one line
"""Workbooks and Parquet files: the same readings as from text, every fault named, nothing raised.

ECMA-376 part 1 is the standard of workbooks; its clauses are named beside the checks. openpyxl and pyarrow, which
share no code with the reader of cells, write what is read here.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import io
import shutil
import sys
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import openpyxl
import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pandas.testing import assert_frame_equal

from sitegen.program.folder import load
from sitegen.reader import grid, workbook
from sitegen.reasons import READING
from sitegen.registry import STREAMS
from sitegen.results.run import gather
from sitegen.streams.buildsheet import STREAM as BUILDSHEET
from sitegen.streams.leakdown import STREAM as LEAKDOWN
from sitegen.vocabulary import Readings
from tables import forms
from tables.forms import by_hand, row
from tables.house import PLAIN, PSI, Folder, column, told
from tables.test_readings import ALWAYS, HOW, SHEET

HEADER: list[Any] = PLAIN.strip().split(",")
BAR = [*HEADER, "date", "locked", "repeat", "remark"]
LEAK = [
    ["B1", 1, "cold-build", "T1", 80.1, 72.3, "tdc", dt.date(2026, 5, 14), True, 1, None],
    ["B1", 2, "cold-build", "T1", 79.9, 68.0, "bdc", None, None, 1, "tapped, again"],
    ["B1", 3, "cold-build", "T1", 80.0, None, "tdc", dt.date(2026, 5, 15), False, 1, None],
    ["B1", 4, "run-in-15", "T1", 80, 99.5, "tdc", dt.date(2028, 5, 15), False, 2, "42"],
]
RINGS_HEADER = ["engine", "cylinder", "phase", "ring", "mass [g]", "gap_bore [mm]", "tool_mass", "date"]
RINGS = [
    ["B1", 1, "cold-build", "top", 14.2001, 0.35, "balance-1", dt.date(2026, 3, 1)],
    ["B1", 1, "cold-build", "second", 13.9, None, "balance-1", dt.date(2026, 3, 1)],
    ["B1", 2, "cold-build", None, 14.2, None, None, None],
    ["B1", 2, "cold-build", "oil", 0.0, None, None, None],
]
CELLS: list[list[Any]] = [["Cylinder", "Cold", "15 min"], [1, 70.5, 71], [2, None, 71.25], [3, 69, 85]]


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    return Folder(tmp_path)


def frames(folder: Folder, stream: str, rows: list[list[Any]], **how: Any) -> dict[str, Readings]:
    """The same rows from every form of file."""
    files = {
        "leak.csv": forms.text(rows),
        "leak.tsv": forms.text(rows, "\t"),
        "leak.xlsx": forms.workbook(rows),
        "leak.parquet": forms.parquet(rows[how.get("skip_rows", 0) :]),
    }
    found = {}
    for name, content in files.items():
        used = {**how, "skip_rows": 0} if name.endswith("parquet") else how
        found[name] = folder.read(folder.source(content, name, stream, **used))
    return found


def same(found: dict[str, Readings], first_row: int) -> None:
    """Equal frames; a Parquet file counts its rows from 1, the others from the first line of the file."""
    text = found["leak.csv"].frame.drop(columns="file")
    assert len(text) > 0
    assert text["row"].iloc[0] == first_row
    for name in ("leak.tsv", "leak.xlsx", "leak.parquet"):
        other = found[name].frame.drop(columns="file")
        if name == "leak.parquet":
            assert (text["row"] - other["row"]).nunique() == 1
            assert_frame_equal(
                other.drop(columns=["row", "reading"]), text.drop(columns=["row", "reading"]), check_exact=True
            )
        else:
            assert_frame_equal(other, text, check_exact=True)
        assert {problem.code for problem in found[name].problems} == {each.code for each in found["leak.csv"].problems}
    assert not any(problem.level == "error" for problem in found["leak.csv"].problems)


TITLES: list[list[Any]] = [["Leak-down, cell north"], ["sheet 3", None, "K."]]


def texts(rows: list[list[Any]]) -> list[list[Any]]:
    """Numbers as text: what stands below a row of units in a column of one type."""
    return [[None if cell is None else {True: "yes", False: "no"}.get(cell, str(cell)) if isinstance(cell, bool) else str(cell)
             for cell in row] for row in rows]  # fmt: skip


def test_long_tables_are_the_same_in_every_form(folder: Folder) -> None:
    found = frames(folder, "leakdown", [BAR, *LEAK])
    same(found, 2)
    assert column(found["leak.csv"], "use") == ["", "", "no-figure", "above-supply"]
    assert column(found["leak.xlsx"], "date") == ["2026-05-14", None, "2026-05-15", "2028-05-15"]
    assert column(found["leak.xlsx"], "locked") == ["yes", None, "no", "no"]
    assert column(found["leak.parquet"], "reading") == ["leak:1", "leak:2", "leak:3", "leak:4"]
    assert [facts["encoding"] for each in found.values() for facts in each.files.values()] == [
        "utf-8", "utf-8", 'worksheet "Leak-down"', "Parquet"]  # fmt: skip


def test_build_sheets_are_the_same_in_every_form(folder: Folder) -> None:
    found = frames(folder, "buildsheet", [RINGS_HEADER, *RINGS])
    same(found, 2)
    assert column(found["leak.xlsx"], "use") == ["", "", "ring-missing", "outside-limits"]
    assert column(found["leak.xlsx"], "mass")[0] == pytest.approx(14.2001e-3, rel=1e-12)


@pytest.mark.parametrize("stream", ["leakdown", "buildsheet"])
def test_title_rows_and_a_row_of_units(stream: str, folder: Folder) -> None:
    header, rows = (BAR, LEAK) if stream == "leakdown" else (RINGS_HEADER, RINGS)
    names = [name.partition(" [")[0] for name in header]
    units = [f"[{name.partition('[')[2].rstrip(']')}]" if "[" in name else None for name in header]
    found = frames(folder, stream, [*TITLES, names, units, *texts(rows)], skip_rows=2, units_row=True)
    same(found, 5)
    typed = folder.read(
        folder.source(forms.workbook([*TITLES, names, units, *rows]), "leak.xlsx", stream, skip_rows=2, units_row=True)
    )
    assert_frame_equal(typed.frame, found["leak.xlsx"].frame, check_exact=True)


@pytest.mark.parametrize("titles", [False, True])
def test_sheets_are_the_same_in_every_form(titles: bool, folder: Folder) -> None:
    rows: list[list[Any]] = [*TITLES, CELLS[0], [None, "[psig]", "[psig]"], *texts(CELLS[1:])] if titles else CELLS
    how = {**SHEET, "skip_rows": 2, "units_row": True} if titles else SHEET
    found = frames(folder, "leakdown", rows, **how)
    same(found, 5 if titles else 2)
    assert column(found["leak.xlsx"], "use") == ["", "", "", "", "above-supply"]
    assert column(found["leak.xlsx"], "reading")[0] == f"leak:{5 if titles else 2}:cold-build"
    assert "1 empty cells: no reading was entered" in found["leak.parquet"].files["pump/leak.parquet"]["notes"]


# ---- values ---------------------------------------------------------------------------------------------------------

NUMBER = st.floats(3.0, 280.0)


@ALWAYS
@given(supplies=st.lists(NUMBER, min_size=1, max_size=6), form=st.sampled_from(["xlsx", "parquet"]))
def test_numbers_stay_exact(supplies: list[float], form: str, tmp_path: Path) -> None:
    """To the last bit: the unit of the column is the field's own, so the scale is one.

    openpyxl writes sixteen digits, so a workbook is compared with what it reads itself.
    """
    rows = [[*HEADER[:4], "supply [Pa gauge]", "pressure [psig]", "crank"], *(
        ["B1", 1, "cold-build", "T1", 1e4 * each, 1, "tdc"] for each in supplies)]  # fmt: skip
    content = forms.workbook(rows) if form == "xlsx" else forms.parquet(rows)
    folder = Folder(tmp_path)
    found = folder.read(folder.source(content, f"leak.{form}"))
    wanted: list[Any] = [1e4 * each for each in supplies]
    if form == "xlsx":
        sheet = openpyxl.load_workbook(io.BytesIO(content)).worksheets[0]
        wanted = [row[0] for row in sheet.iter_rows(2, None, 5, 5, values_only=True)]
        assert wanted == pytest.approx([1e4 * each for each in supplies], rel=1e-15)
    assert column(found, "supply") == wanted


@ALWAYS
@given(supply=st.floats(2e4, 2e6))
def test_seventeen_digits_stay_exact(supply: float, tmp_path: Path) -> None:
    """Office programs write as many digits as the number needs."""
    header = [*HEADER[:4], "supply [Pa gauge]", "percent [%]", "crank"]
    folder = Folder(tmp_path)
    content = by_hand(row(1, *header) + reading(2, supply=f"<c><v>{supply!r}</v></c>", pressure=1))
    assert column(folder.read(folder.source(content, "leak.xlsx")), "supply") == [supply]


@ALWAYS
@given(day=st.dates(dt.date(1900, 3, 1), dt.date(9999, 12, 31)), form=st.sampled_from(["xlsx", "parquet"]))
def test_dates_of_other_writers(day: dt.date, form: str, tmp_path: Path) -> None:
    moment = dt.datetime.combine(day, dt.time(8, 31, 7))
    rows = [
        [*HEADER, "date"],
        ["B1", 1, "cold-build", "T1", 80, 72, "tdc", day],
        ["B1", 2, "cold-build", "T1", 80, 72, "tdc", moment],
    ]
    content = forms.workbook(rows) if form == "xlsx" else None
    if content is None:
        table = pa.table(
            [pa.array([1, 2]), pa.array([moment, moment], pa.timestamp("ns" if 1700 < day.year < 2200 else "ms"))],
            names=["c", "date"],
        )
        content = forms.packed(table)
        rows = []
    folder = Folder(tmp_path)
    how: dict[str, Any] = {} if rows else {
        "columns": {"cylinder": "c", "date": "date"},
        "constants": {"engine": "B1", "phase": "cold-build", "tester": "T1", "supply": "80 psig", "pressure": "72 psig", "crank": "tdc"}}  # fmt: skip
    assert column(folder.read(folder.source(content, f"leak.{form}", **how)), "date") == [day.isoformat()] * 2


BY_HAND = [*HEADER, "date", "remark"]


def reading(
    number: int, *last: object, supply: object = 80, pressure: object = 72, more: str = "", cylinder: object = None
) -> str:
    return row(number, "B1", cylinder or number - 1, "cold-build", "T1", supply, pressure, "tdc", *last, more=more)


@pytest.mark.parametrize(
    ("serial", "properties", "day"),
    [  # ECMA-376 part 1, 18.17.4.1 (from memory): the last day of either date system, and the first of each
        ("2958465", "", "9999-12-31"),
        ("2957003", 'date1904="1"', "9999-12-31"),
        ("0", 'date1904="1"', "00:00:00"),
        ("1", 'date1904="1"', "1904-01-02"),
        ("1", "", "1900-01-01"),
        ("61", "", "1900-03-01"),
        ("46156.5", 'date1904="0"', "2026-05-14T12:00:00"),
    ],
)
def test_serial_dates(serial: str, properties: str, day: str, folder: Folder) -> None:
    sheet = row(1, *BY_HAND) + reading(2, None, f'<c s="1"><v>{serial}</v></c>')
    found = folder.read(folder.source(by_hand(sheet, formats=[(14, "")], workbook_properties=properties), "leak.xlsx"))
    assert column(found, "remark") == [day]


@pytest.mark.parametrize(
    ("number", "code", "shown"),
    [  # the formats without a code are those of ECMA-376 part 1, 18.8.30
        (0, "", "46156.25"), (1, "", "46156.25"), (2, "", "46156.25"), (4, "", "46156.25"), (11, "", "46156.25"), (49, "", "46156.25"),
        (9, "", "4615625"), (10, "", "4615625"), (14, "", "2026-05-14T06:00:00"), (22, "", "2026-05-14T06:00:00"), (46, "", "1107750:00:00"),
        (30, "", "2026-05-14T06:00:00"), (164, "yyyy\\-mm\\-dd", "2026-05-14T06:00:00"), (164, "[$-407]d. mmmm yyyy", "2026-05-14T06:00:00"),
        (164, "[h]:mm", "1107750:00:00"), (164, "General", "46156.25"), (164, "0.00&quot;mm&quot;", "46156.25"), (164, "#,##0.0 [Red]", "46156.25"),
        (164, "0.0\\%", "46156.25"), (164, "0.0%", "4615625"), (164, "0.0 &quot;%&quot;", "46156.25"),
    ],
)  # fmt: skip
def test_number_formats(number: int, code: str, shown: str, folder: Folder) -> None:
    sheet = row(1, *BY_HAND) + reading(2, None, '<c s="1"><v>46156.25</v></c>')
    found = folder.read(folder.source(by_hand(sheet, formats=[(number, code)]), "leak.xlsx"))
    assert column(found, "remark") == [shown]


@pytest.mark.parametrize(
    ("cell", "said"),
    [
        ('<c t="s"><v>0</v></c>', "plain"),
        ('<c t="s"><v>1</v></c>', "two runs"),
        ('<c t="inlineStr"><is><r><t>in</t></r><r><t>line</t></r><rPh><t>x</t></rPh></is></c>', "inline"),
        ('<c t="str"><f>A1&amp;"x"</f><v>engine x</v></c>', "engine x"),
        ('<c t="str"><f>""</f><v></v></c>', None),
        ('<c t="b"><v>1</v></c>', "yes"),
        ('<c t="b"><f>1=2</f><v>0</v></c>', "no"),
        ('<c t="d"><v>2026-05-14T00:00:00</v></c>', "2026-05-14T00:00:00"),
        ("<c><v>1.0E2</v></c>", "100"),
        ("<c><v>-0.30000000000000004</v></c>", "-0.30000000000000004"),
        ("<c/>", None),
        ('<c t="inlineStr"><is><t>a_x000D_&#10;b</t></is></c>', "a b"),  # ECMA-376 part 1, 22.9.2.19
        ('<c t="inlineStr"><is><t>_x005F_x000D_ &#x2028;</t></is></c>', "_x000D_"),
    ],
)
def test_cells(cell: str, said: str | None, folder: Folder) -> None:
    content = by_hand(
        row(1, *BY_HAND) + reading(2, None, cell), ["plain", "<r><t>two </t></r><r><t>runs</t></r><rPh><t>no</t></rPh>"]
    )
    assert column(folder.read(folder.source(content, "leak.xlsx")), "remark") == [said]


def test_prefixed_names_and_rows_without_numbers(folder: Folder) -> None:
    """Some writers put a prefix before every name, and leave out what follows from the order."""
    cells = "".join(f'<x:c t="inlineStr"><x:is><x:t>{name}</x:t></x:is></x:c>' for name in HEADER)
    values = "".join(
        f'<x:c t="{"str" if isinstance(v, str) else "n"}"><x:v>{v}</x:v></x:c>'
        for v in ["B1", 1, "cold-build", "T1", 80, 72, "tdc"]
    )
    sheet = f'<x:worksheet xmlns:x="{forms.MAIN}"><x:sheetData><x:row>{cells}</x:row><x:row>{values}</x:row></x:sheetData></x:worksheet>'
    found = folder.read(folder.source(by_hand("", parts={"xl/worksheets/sheet1.xml": sheet}), "leak.xlsx"))
    assert told(found) == []
    assert column(found, "reading") == ["leak:2"]


def test_percent_formats_are_read_as_shown(folder: Folder) -> None:
    header = [*HEADER[:5], "percent [%]", "crank"]
    cells = ['<c s="1"><v>0.105</v></c>', '<c s="1"><v>0.07</v></c>', 10.5]
    sheet = "".join(reading(i + 2, pressure=cell) for i, cell in enumerate(cells))
    found = folder.read(folder.source(by_hand(row(1, *header) + sheet, formats=[(10, "")]), "leak.xlsx"))
    assert column(found, "percent") == [10.5, 7.0, 10.5]
    assert found.files["pump/leak.xlsx"]["notes"] == ["per cent format in column F: read as the per cent shown"]
    header[5] = "percent [1]"
    assert told(folder.read(folder.source(by_hand(row(1, *header) + sheet, formats=[(10, "")]), "leak.xlsx"))) == [
        'pump/leak.xlsx:1: column "F: percent [1]": percent is in "1" here, but cells of the column are shown as per cent. '
        "Expected per cent in both, or cells in a plain number format."
    ]


# ---- cells that hold no value ---------------------------------------------------------------------------------------

MEND = "Next: correct the record, or leave it set aside."
CALCULATE = "Expected a value: open the workbook in an office program, let it calculate, and save it."
NO_VALUE: dict[str, tuple[str, str, str]] = {
    "error": ('<c t="e"><v>#N/A</v></c>', "cell-error", "the cell F2 holds the error #N/A. Expected a value."),
    "error of a formula": ('<c t="e"><f>1/0</f><v>#DIV/0!</v></c>', "cell-error", "the cell F2 holds the error #DIV/0! Expected a value."),
    "formula without value": ("<c><f>E2-1</f></c>", "formula-not-calculated", f"the cell F2 holds a formula that was never calculated. {CALCULATE}"),
    "formula with an empty value": ("<c><f>E2-1</f><v/></c>", "formula-not-calculated", f"the cell F2 holds a formula that was never calculated. {CALCULATE}"),
    "no date": ('<c s="1"><v>99999999</v></c>', "cell-error", 'the cell F2 holds "99999999", which is no date. Expected a value.'),
    "no number": ("<c><v>1,5</v></c>", "cell-error", 'the cell F2 holds "1,5", which is no number. Expected a value.'),
    "a date": ('<c s="1"><v>46156</v></c>', "not-a-number", '"2026-05-14" is not a number. Expected a number.'),
    "yes": ('<c t="b"><v>1</v></c>', "not-a-number", '"yes" is not a number. Expected a number.'),
    "endless": ("<c><v>1e999</v></c>", "not-finite", '"1e999" is not a finite number. Expected a number.'),
}  # fmt: skip


@pytest.mark.parametrize("case", NO_VALUE)
def test_a_cell_without_a_value_sets_its_reading_aside(case: str, folder: Folder) -> None:
    cell, code, message = NO_VALUE[case]
    content = by_hand(row(1, *BY_HAND) + reading(2, pressure=cell) + reading(3), formats=[(14, "")])
    found = folder.read(folder.source(content, "leak.xlsx"))
    assert column(found, "use") == [code, ""]
    assert told(found)[0] == f'pump/leak.xlsx:2: warning: column "F: pressure [psig]": {message} {MEND}'
    assert column(found, "pressure") == [None, pytest.approx(72 * PSI)]
    assert code in READING


@pytest.mark.parametrize("at", [0, 1, 2, 7, 8])
def test_an_error_in_any_column_sets_aside_and_does_not_block(at: int, folder: Folder) -> None:
    cells: list[object] = ["B1", 1, "cold-build", "T1", 80, 72, "tdc", None, None]
    cells[at] = '<c t="e"><v>#REF!</v></c>'
    found = folder.read(folder.source(by_hand(row(1, *BY_HAND) + row(2, *cells) + reading(3)), "leak.xlsx"))
    assert column(found, "use") == ["cell-error", ""]
    assert f"the cell {'ABCDEFGHI'[at]}2 holds the error #REF!" in told(found)[0]


def test_an_error_in_a_column_not_used_does_not_matter(folder: Folder) -> None:
    found = folder.read(
        folder.source(by_hand(row(1, *HEADER, "weather") + reading(2, '<c t="e"><v>#REF!</v></c>')), "leak.xlsx")
    )
    assert column(found, "use") == [""]


def test_errors_in_a_sheet_hit_only_their_cell(folder: Folder) -> None:
    error, formula = '<c t="e"><v>#VALUE!</v></c>', "<c><f>B2</f></c>"
    rows = (
        row(1, *CELLS[0])
        + row(2, 1, error, 71)
        + row(3, 2, 70, formula)
        + row(4, error, 70, 71)
        + row(5, 3, None, "<c><f>B2</f><v>72</v></c>")
    )
    found = folder.read(folder.source(by_hand(rows), "leak.xlsx", **SHEET))
    assert column(found, "use") == ["cell-error", "", "", "formula-not-calculated", "cell-error", "cell-error", ""]
    assert column(found, "reading") == [
        "leak:2:cold-build", "leak:2:run-in-15", "leak:3:cold-build", "leak:3:run-in-15", "leak:4:cold-build", "leak:4:run-in-15", "leak:5:run-in-15"]  # fmt: skip
    assert (
        told(found)[0]
        == f'pump/leak.xlsx:2: warning: column "B: Cold": the cell B2 holds the error #VALUE! Expected a value. {MEND}'
    )
    assert found.files["pump/leak.xlsx"]["notes"] == [
        "formulas in column C (2 cells): the values last calculated are read",
        "1 empty cells: no reading was entered",
    ]


def test_what_openpyxl_saves_as_a_formula_was_never_calculated(folder: Folder) -> None:
    found = folder.read(
        folder.source(forms.workbook([BAR, [*LEAK[0][:5], "=E2-8", *LEAK[0][6:]], LEAK[1]]), "leak.xlsx")
    )
    assert column(found, "use") == ["formula-not-calculated", ""]


def test_numbers_as_text_with_a_comma_are_told_what_to_do_in_a_workbook(folder: Folder) -> None:
    found = folder.read(folder.source(by_hand(row(1, *BY_HAND) + reading(2, pressure="72,5")), "leak.xlsx"))
    assert told(found) == [
        'pump/leak.xlsx:2: column "F: pressure [psig]": the numbers have a decimal comma ("72,5"). Expected numbers entered as numbers. '
        "Next: enter them as numbers, not as text."
    ]


# ---- what is noted --------------------------------------------------------------------------------------------------


def test_notes_of_a_worksheet(folder: Folder) -> None:
    """Merged titles and formulas above the header say nothing of the readings."""
    above = row(1, '<c t="str"><f>A9</f><v>Leak-down</v></c>', more='hidden="1"')
    rows = (
        above
        + row(3, *BY_HAND)
        + row(4, "B1", 1, "cold-build", "T1", "<c><f>40*2</f><v>80</v></c>", 72, "tdc", more='hidden="1"')
    )
    rows += row(7, "B1", 2, "cold-build", "T1", 80, 72, "tdc") + row(9, *BY_HAND)
    after = '<mergeCells count="2"><mergeCell ref="A1:F1"/><mergeCell ref="E7:E8"/></mergeCells>'
    before = '<cols><col min="2" max="2"/><col min="9" max="40" hidden="1"/></cols>'
    found = folder.read(folder.source(by_hand(rows, before=before, after=after), "leak.xlsx", skip_rows=1))
    assert told(found) == []
    assert column(found, "row") == [4, 7]
    assert found.files["pump/leak.xlsx"]["notes"] == [
        "formulas in column E (1 cell): the values last calculated are read",
        "merged cells E7:E8: only the first cell of each holds something",
        "hidden row 4: read like the others",
        "hidden column I: read like the others",
        "header repeated in row 9: skipped",
    ]


BESIDE = "Expected 9 fields: engine, cylinder, phase, tester, supply [psig], pressure [psig], crank, date, remark. Next: give every column a header, and clear what stands beside the table."


@pytest.mark.parametrize(
    ("cells", "fields"),
    [
        (("B1", 2, "cold-build", "T1", 80, 72, "tdc", None, None, "beside", "the table"), 11),
        ((*[None] * 9, 5), 10),
        ('<row r="7"><c r="XFD7"><v>5</v></c></row>', 16_384),
    ],
    ids=["beside a row", "alone in its row", "in the last column there is"],
)
def test_no_cell_is_lost_that_a_text_would_keep(folder: Folder, cells: tuple[object, ...] | str, fields: int) -> None:
    """What stands beyond the header blocks in a workbook as it does in a text."""
    rows = row(3, *BY_HAND) + row(4, "B1", 1, "cold-build", "T1", 80, 72, "tdc")
    rows += cells if isinstance(cells, str) else row(7, *cells)
    found = folder.read(folder.source(by_hand(rows), "leak.xlsx", skip_rows=1))
    assert told(found) == [f"pump/leak.xlsx:7: this row has {fields} fields, the header in row 3 has 9. {BESIDE}"]


def test_places_are_told_by_row(folder: Folder) -> None:
    found = folder.read(folder.source(forms.workbook([HEADER, LEAK[0][:7], LEAK[0][:7]]), "leak.xlsx"))
    assert told(found) == [
        'pump/leak.xlsx:3: warning: column "repeat": the same cylinder was read in the same state, without another repeat number, in row 2. '
        f"Expected a repeat number of its own for each repeat. {MEND}"
    ]


# ---- which worksheet ------------------------------------------------------------------------------------------------


def test_the_worksheet_that_is_meant(folder: Folder) -> None:
    one = forms.workbook([HEADER, LEAK[0][:7]], Notes=[], Chart=[[None]])
    assert column(folder.read(folder.source(one, "leak.xlsx")), "reading") == ["leak:2"]
    two = forms.workbook([["ambient", 99]], "Cell", **{"Leak 2": [HEADER, LEAK[0][:7]], "Empty": []})
    entry = "pump/program.yaml:90:7: pump/leak.xlsx"
    assert told(folder.read(folder.source(two, "leak.xlsx"))) == [
        f'{entry} has 2 worksheets with something in them. Expected the name of one: Cell or Leak 2. Next: write `sheet` in the record entry; of tables "{{engine}}" means each named after a build.'
    ]
    assert column(folder.read(folder.source(two, "leak.xlsx", sheet="Leak 2")), "reading") == ["leak:2"]
    assert told(folder.read(folder.source(two, "leak.xlsx", sheet="leak 2"))) == [
        f'{entry} has no worksheet "leak 2". Expected Cell, Leak 2 or Empty. Nearest: Leak 2. Next: correct `sheet` in the record entry.'
    ]
    assert told(folder.read(folder.source(two, "leak.xlsx", sheet="Empty"))) == [
        "pump/leak.xlsx: the file is empty. Expected a header and rows. Next: see whether this is the right file."
    ]
    none = forms.workbook([], Notes=[])
    assert "has no worksheet with something in it" in told(folder.read(folder.source(none, "leak.xlsx")))[0]


def test_a_hidden_worksheet_is_read_and_said_to_be_hidden(folder: Folder) -> None:
    book = openpyxl.load_workbook(io.BytesIO(forms.workbook([], "Shown", Hidden=[HEADER, LEAK[0][:7]])))
    book["Hidden"].sheet_state = "hidden"
    out = io.BytesIO()
    book.save(out)
    found = folder.read(folder.source(out.getvalue(), "leak.xlsx"))
    assert found.files["pump/leak.xlsx"]["notes"] == ["the worksheet is hidden"]
    assert column(found, "use") == [""]


def test_macros_and_links_are_left_alone(folder: Folder) -> None:
    """A workbook with macros is read for its cells; a relation that leads out of the archive is not followed."""
    relations = f"""<Relationships xmlns="{forms.PACKAGE}/relationships">
        <Relationship Id="x" Type="{forms.OFFICE}/sharedStrings" Target="file:///etc/passwd" TargetMode="External"/>
        <Relationship Id="y" Type="{forms.OFFICE}/externalLink" Target="externalLinks/externalLink1.xml"/>
        <Relationship Id="rId1" Type="{forms.OFFICE}/worksheet" Target="worksheets/sheet1.xml"/></Relationships>"""
    parts: dict[str, str | bytes | None] = {
        "xl/_rels/workbook.xml.rels": relations,
        "xl/vbaProject.bin": b"\xd0\xcf\x11\xe0",
        "xl/externalLinks/externalLink1.xml": "<",
    }
    found = folder.read(folder.source(by_hand(row(1, *HEADER) + reading(2), parts=parts), "leak.xlsm"))
    assert told(found) == []
    assert column(found, "use") == [""]


def test_a_header_that_is_elsewhere(folder: Folder) -> None:
    content = forms.workbook([*TITLES, HEADER, LEAK[0][:7]])
    assert told(folder.read(folder.source(content, "leak.xlsx"))) == []
    assert told(folder.read(folder.source(content, "leak.xlsx", skip_rows=0))) == [
        'pump/leak.xlsx:1: the row "Leak-down, cell north" is not the header: that is in row 3. Expected the header after the rows to skip. '
        "Next: write `skip_rows: 2` in the record entry, or take it out."
    ]


# ---- files that are not what they say -------------------------------------------------------------------------------

GOOD = by_hand(row(1, *HEADER) + reading(2))
OLD = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 504  # head of a compound file
READABLE = "Expected a workbook (.xlsx), a Parquet file (.parquet), or a text table. "
OFFICE = "Next: open it in an office program and save it as .xlsx, or the table as CSV."
AGAIN = "Expected a workbook as an office program saves it. Next: open the workbook in an office program and save it again as .xlsx."
TYPE = "the workbook cannot be read: its XML declares a document type, which no workbook has. "
LAUGHS = '<!DOCTYPE l [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;"><!ENTITY c "&b;&b;&b;&b;&b;&b;&b;&b;&b;&b;">]>'


def zipped(**parts: bytes) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, content in parts.items():
            archive.writestr(name.replace("__", "/").replace("_", "."), content)
    return out.getvalue()


def locked() -> bytes:
    """The archive with the mark of locked parts set on every entry."""
    data = bytearray(GOOD)
    for mark, flag in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        at = data.find(mark)
        while at >= 0:
            data[at + flag] |= 1
            at = data.find(mark, at + 4)
    return bytes(data)


def part(**changed: str | bytes | None) -> bytes:
    names = {"sheet": "xl/worksheets/sheet1.xml", "book": "xl/workbook.xml", "styles": "xl/styles.xml", "texts": "xl/sharedStrings.xml",
             "main": "_rels/.rels", "links": "xl/_rels/workbook.xml.rels"}  # fmt: skip
    return by_hand(row(1, *HEADER) + reading(2), parts={names[key]: value for key, value in changed.items()})


def rows_of(inner: str) -> bytes:
    return by_hand(row(1, *HEADER) + inner)


NAMED: dict[str, tuple[str, bytes, str]] = {
    "text as workbook": ("leak.xlsx", PLAIN.encode(), 'this is no workbook and no Parquet file; it looks like text, though its name ends in ".xlsx". Expected a workbook. Next: let its name end in .csv or .tsv.'),
    "workbook as text": ("leak.csv", GOOD, 'this is a workbook, though its name ends in ".csv". Expected a text table. Next: let its name end in .xlsx.'),
    "workbook as Parquet": ("leak.parquet", GOOD, 'this is a workbook, though its name ends in ".parquet". Expected a Parquet file. Next: let its name end in .xlsx.'),
    "Parquet as workbook": ("leak.xlsx", forms.parquet([["a"], [1]]), 'this is a Parquet file, though its name ends in ".xlsx". Expected a workbook. Next: let its name end in .parquet.'),
    "Parquet as text": ("leak.tsv", forms.parquet([["a"], [1]]), 'this is a Parquet file, though its name ends in ".tsv". Expected a text table. Next: let its name end in .parquet.'),
    "text as Parquet": ("leak.parquet", PLAIN.encode(), 'this is no workbook and no Parquet file; it looks like text, though its name ends in ".parquet". Expected a Parquet file. Next: let its name end in .csv or .tsv.'),
    "old workbook": ("leak.xls", OLD, f"workbooks in the old form .xls are not read. {READABLE}{OFFICE}"),
    "old workbook under a new name": ("leak.xlsx", OLD, 'this is a workbook in the old form .xls, though its name ends in ".xlsx". Expected a workbook. Next: see whether this is the right file.'),
    "text under the name of an old workbook": ("leak.xls", PLAIN.encode(), f"workbooks in the old form .xls are not read; this file is a text under that name. {READABLE}Next: let its name end in .csv or .tsv."),
    "workbook under the name of an old one": ("leak.XLS", GOOD, f"workbooks in the old form .xls are not read; this file is a workbook in the newer form under that name. {READABLE}Next: let its name end in .xlsx."),
    "binary workbook": ("leak.xlsx", zipped(xl__workbook_bin=b"\x83"), 'this is a workbook in the binary form .xlsb, though its name ends in ".xlsx". Expected a workbook. Next: see whether this is the right file.'),
    "binary workbook under its name": ("leak.xlsb", zipped(xl__workbook_bin=b"\x83"), f"workbooks in the binary form .xlsb are not read. {READABLE}{OFFICE}"),
    "other spreadsheet": ("leak.xlsx", zipped(mimetype=b"", content_xml=b""), 'this is a spreadsheet in the form .ods, though its name ends in ".xlsx". Expected a workbook. Next: see whether this is the right file.'),
    "archive": ("leak.xlsx", zipped(leak_csv=PLAIN.encode()), 'this is a zip archive that holds no workbook, though its name ends in ".xlsx". Expected a workbook. Next: see whether this is the right file.'),
    "empty": ("leak.xlsx", b"", "the file is empty. Expected a workbook. Next: see whether this is the right file."),
    "bytes": ("leak.parquet", b"\0\1\2", 'this is neither a workbook nor a Parquet file nor text, though its name ends in ".parquet". Expected a Parquet file. Next: see whether this is the right file.'),
    "locked": ("leak.xlsx", OLD + "EncryptedPackage".encode("utf-16-le"), "the workbook is locked with a password. Expected a workbook that opens without one. Next: take the password away, and save it as .xlsx."),
    "locked parts": ("leak.xlsx", locked(), f"the workbook cannot be read: it is locked with a password. {AGAIN}"),
    "cut short": ("leak.xlsx", GOOD[:-40], 'this is a zip archive that holds no workbook, though its name ends in ".xlsx". Expected a workbook. Next: see whether this is the right file.'),
    "damaged": ("leak.xlsx", GOOD.replace(b"PK\x03\x04", b"PK\x03\x05").replace(b"PK\x03\x05", b"PK\x03\x04", 1), f"the workbook cannot be read: its archive is damaged. {AGAIN}"),
    "no workbook part": ("leak.xlsx", part(main=None), f"the workbook cannot be read: it names no workbook part. {AGAIN}"),
    "missing part": ("leak.xlsx", part(sheet=None), f"the workbook cannot be read: the part xl/worksheets/sheet1.xml is missing. {AGAIN}"),
    "no worksheet": ("leak.xlsx", part(links=None), "the workbook has no worksheet with something in it. Expected a header and rows. Next: see whether this is the right file."),
    "broken XML": ("leak.xlsx", part(sheet="<worksheet><sheetData>"), f"the workbook cannot be read: its XML is broken (no element found). {AGAIN}"),
    "unknown encoding": ("leak.xlsx", part(book='<?xml version="1.0" encoding="klingon"?><a/>'), f"the workbook cannot be read: one of its parts does not say what it should. {AGAIN}"),
    "entities in the worksheet": ("leak.xlsx", part(sheet=LAUGHS + "<worksheet>&c;</worksheet>"), TYPE + AGAIN),
    "entities in the texts": ("leak.xlsx", part(texts=LAUGHS + "<sst><si><t>&c;</t></si></sst>"), TYPE + AGAIN),
    "entities in the styles": ("leak.xlsx", part(styles=LAUGHS + "<styleSheet>&c;</styleSheet>"), TYPE + AGAIN),
    "entities in the list of worksheets": ("leak.xlsx", part(book=LAUGHS + "<workbook>&c;</workbook>"), TYPE + AGAIN),
    "entity in a file": ("leak.xlsx", part(sheet='<!DOCTYPE w [<!ENTITY x SYSTEM "file:///etc/passwd">]><worksheet>&x;</worksheet>'), TYPE + AGAIN),
    "rows out of order": ("leak.xlsx", rows_of(reading(3) + reading(2)), f"the workbook cannot be read: row 2 of the worksheet follows row 3. {AGAIN}"),
    "a row too far": ("leak.xlsx", rows_of(reading(2_000_000)), f"the workbook cannot be read: row 2000000 of the worksheet follows row 1. {AGAIN}"),
    "a cell of another row": ("leak.xlsx", rows_of('<row r="2"><c r="A3"/></row>'), f"the workbook cannot be read: row 2 of the worksheet holds a cell A3. {AGAIN}"),
    "cells out of order": ("leak.xlsx", rows_of('<row r="2"><c r="B2"/><c r="A2"/></row>'), f"the workbook cannot be read: the cells of row 2 of the worksheet are not in order. {AGAIN}"),
    "a column too far": ("leak.xlsx", rows_of('<row r="2"><c r="XFE2"/></row>'), f"the workbook cannot be read: the worksheet has a column XFE. {AGAIN}"),
    "a text that is not there": ("leak.xlsx", rows_of('<row r="2"><c r="A2" t="s"><v>7</v></c></row>'), f"the workbook cannot be read: the cell A2 refers to a text that is not there. {AGAIN}"),
    "a text that is no number": ("leak.xlsx", rows_of('<row r="2"><c r="A2" t="s"><v>x</v></c></row>'), f"the workbook cannot be read: one of its parts does not say what it should. {AGAIN}"),
    "a huge text": ("leak.xlsx", rows_of(f'<row r="2"><c r="A2" t="str"><v>{"x" * 40_000}</v></c></row>'), "the workbook is too large: the cell A2 holds 40000 characters. Expected a record table. Next: keep the table alone in a workbook, or save it as CSV."),
}  # fmt: skip


@pytest.mark.parametrize("case", NAMED)
def test_a_file_that_cannot_be_read_is_named(case: str, folder: Folder) -> None:
    name, content, message = NAMED[case]
    found = folder.read(folder.source(content, name))
    assert told(found) == [f"pump/{name}: {message}"]
    assert found.frame.empty


def test_a_bomb_is_refused_by_the_size_it_states(folder: Folder) -> None:
    """A gigabyte of blanks packs to one megabyte. Nothing of it is unpacked."""
    out = io.BytesIO(GOOD)
    with (
        zipfile.ZipFile(out, "a", zipfile.ZIP_DEFLATED) as archive,
        archive.open("xl/media/bomb.xml", "w", force_zip64=True) as stream,
    ):
        for _ in range(300):
            stream.write(b" " * (1 << 20))
    assert len(out.getvalue()) < 1 << 20
    (message,) = told(folder.read(folder.source(out.getvalue(), "leak.xlsx")))
    assert message.startswith("pump/leak.xlsx: the workbook is too large: unpacked it has 31")
    assert message.endswith(
        f"more than {workbook.UNPACKED_LIMIT}. Expected a record table. Next: keep the table alone in a workbook, or save it as CSV."
    )


def test_a_size_that_is_a_lie_unpacks_no_more_than_it_says(folder: Folder) -> None:
    data = bytearray(GOOD)
    at = data.find(b"PK\x01\x02")
    while at >= 0:  # uncompressed size in the directory
        if b"sheet1.xml" in data[at : at + 80]:
            data[at + 24 : at + 28] = (50).to_bytes(4, "little")
        at = data.find(b"PK\x01\x02", at + 4)
    (message,) = told(folder.read(folder.source(bytes(data), "leak.xlsx")))
    assert message.startswith("pump/leak.xlsx: the workbook cannot be read: ")


def test_too_many_parts(folder: Folder) -> None:
    out = io.BytesIO(GOOD)
    with zipfile.ZipFile(out, "a") as archive:
        for number in range(workbook.PARTS_LIMIT):
            archive.writestr(f"x{number}", b"")
    assert (
        "the workbook is too large: it has 10007 parts, more than 10000."
        in told(folder.read(folder.source(out.getvalue(), "leak.xlsx")))[0]
    )


def test_too_many_cells(folder: Folder, monkeypatch: pytest.MonkeyPatch) -> None:
    """Few cells far to the right count as all the cells before them."""
    monkeypatch.setattr(workbook, "CELL_LIMIT", 40_000)
    far = "".join(f'<row r="{n}"><c r="XFD{n}"><v>1</v></c></row>' for n in range(2, 6))
    assert (
        "too large: it has more cells up to row 4 than a record table"
        in told(folder.read(folder.source(rows_of(far), "leak.xlsx")))[0]
    )


def test_a_header_too_wide(folder: Folder) -> None:
    wide = [[*HEADER, *(f"c{i}" for i in range(grid.COLUMN_LIMIT))], LEAK[0][:7]]
    assert told(folder.read(folder.source(forms.workbook(wide), "leak.xlsx"))) == [
        "pump/leak.xlsx:1: the table has 2 rows below a header of 2007 fields. Expected at most 4000000 cells in 2000 columns. "
        "Next: split the table into several files."
    ]


def test_a_huge_file_is_refused_before_it_is_read(folder: Folder) -> None:
    source = folder.source(GOOD, "leak.xlsx")
    with (folder.path / "leak.xlsx").open("r+b") as stream:
        stream.truncate(3_000_000_000)  # sparse on the disk
    assert told(folder.read(source)) == [
        "pump/leak.xlsx: the file has 3000000000 bytes. Expected at most 134217728 bytes. Next: split the table into several files."
    ]


# ---- Parquet --------------------------------------------------------------------------------------------------------


def columns_of(**more: pa.Array) -> bytes:
    header, rows = HEADER, [LEAK[0][:7], LEAK[1][:7]]
    columns = {name: pa.array([each[at] for each in rows]) for at, name in enumerate(header)}
    return forms.packed(pa.table({**columns, **more}))


@pytest.mark.parametrize(
    ("array", "said"),
    [
        (pa.array(["a\nb", None]).dictionary_encode(), ["a b", None]),
        (pa.array([7, None], pa.uint8()), ["7", None]),
        (pa.array([7.0, 0.1]), ["7", "0.1"]),
        (pa.array([np.float16(0.5), None], pa.float16()), ["0.5", None]),
        (pa.array(["1.50", None]).cast(pa.decimal128(6, 2)), ["1.50", None]),
        (pa.array([True, False]), ["yes", "no"]),
        (pa.array([dt.date(2026, 5, 14), None]), ["2026-05-14", None]),
        (
            pa.array([1778745600, None], pa.int64()).cast(pa.timestamp("s")).cast(pa.timestamp("ns")),
            ["2026-05-14T08:00:00", None],
        ),
        (
            pa.array([1778745600 + 15 * 3600, None], pa.int64()).cast(pa.timestamp("s", "Europe/Berlin")),
            ["2026-05-15T01:00:00+02:00", None],
        ),
        (pa.array([dt.time(8, 30), None]), ["08:30:00", None]),
        (pa.array([dt.timedelta(minutes=90), None]), ["1:30:00", None]),
        (pa.array([None, None]), [None, None]),
        (pa.array(["x", "y"], pa.large_string()), ["x", "y"]),
    ],
    ids=lambda each: str(each.type) if isinstance(each, pa.Array) else "",
)
def test_types_of_columns(array: pa.Array, said: list[str | None], folder: Folder) -> None:
    found = folder.read(folder.source(columns_of(remark=array), "leak.parquet"))
    assert told(found) == []
    assert column(found, "remark") == said


def test_what_is_no_number_in_a_parquet_file(folder: Folder) -> None:
    found = folder.read(
        folder.source(columns_of(**{"wait [s]": pa.array([float("nan"), float("inf")])}), "leak.parquet")
    )
    assert column(found, "use") == ["not-finite", "not-finite"]
    assert (
        told(found)[1]
        == f'pump/leak.parquet:2: warning: column "wait [s]": "inf" is not a finite number. Expected a number. {MEND}'
    )


WHOLE = "Expected a whole Parquet file. Next: write the file again."
NESTED = "Expected numbers, texts, dates, times, or yes and no. Next: write the file again with plain columns."
PARQUET: dict[str, tuple[bytes, list[str]]] = {
    "nested": (columns_of(remark=pa.array([[1], None]), place=pa.array([{"a": 1}, None]), raw=pa.array([b"x", None])), [
        f'column "raw": the column holds binary, not one value a row. {NESTED}',
        f'column "remark": the column holds list<element: int64>, not one value a row. {NESTED}',
        f'column "place": the column holds struct<a: int64>, not one value a row. {NESTED}']),
    "no columns": (forms.packed(pa.table({})), ["the file is empty. Expected a header and rows. Next: see whether this is the right file."]),
    "no name over any column": (forms.packed(pa.table([pa.array(["B1"])], names=[" "])), [
        "the file is empty. Expected a header and rows. Next: see whether this is the right file."]),
    "names twice": (
        forms.packed(pa.table([pa.array(["x"])] * (len(HEADER) + 1), names=[*HEADER, "engine"])), [
            f'column "engine": more than one column is "engine". Expected one column a field. Next: state `columns` in the record entry, '
            f"with `engine: {{number: {len(HEADER) + 1}}}` for this one."]),
}  # fmt: skip


def test_a_parquet_file_without_rows(folder: Folder) -> None:
    empty = forms.packed(pa.table({name: pa.array([], pa.string()) for name in HEADER}))
    found = folder.read(folder.source(empty, "leak.parquet"))
    assert (told(found), len(found.frame)) == ([], 0)
    assert found.files["pump/leak.parquet"]["notes"] == ["no row below the header yet"]


@pytest.mark.parametrize("case", PARQUET)
def test_refused_parquet(case: str, folder: Folder) -> None:
    content, messages = PARQUET[case]
    assert told(folder.read(folder.source(content, "leak.parquet"))) == [
        f"pump/leak.parquet: {message}" for message in messages
    ]


def test_broken_parquet(folder: Folder) -> None:
    good = columns_of()
    for content in (
        b"PAR1PAR1",
        b"PARE" + good[4:-4] + b"PARE",
        good[:60] + good[-60:],
        good[:20] + bytes(40) + good[60:],
    ):
        (message,) = told(folder.read(folder.source(content, "leak.parquet")))
        assert message.startswith("pump/leak.parquet: the Parquet file cannot be read: ")
        assert message.endswith(WHOLE)


def test_huge_parquet(folder: Folder) -> None:
    """Repeated values pack to next to nothing; what the file states is believed before it is read."""
    many = forms.packed(pa.table({"engine": pa.repeat(pa.scalar("B1"), 21_000_000).dictionary_encode()}))
    assert len(many) < 1 << 20
    (message,) = told(folder.read(folder.source(many, "leak.parquet")))
    assert message.startswith("pump/leak.parquet: the table has 21000000 rows, 1 columns and ")


def test_without_pyarrow_there_is_a_way_out(folder: Folder, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    monkeypatch.setitem(sys.modules, "pyarrow.parquet", None)
    assert told(folder.read(folder.source(columns_of(), "leak.parquet"))) == [
        "pump/leak.parquet: reading Parquet needs the package pyarrow, which is not installed. Expected the optional extra `parquet`. "
        "Next: run: pip install 'sitegen[parquet]'."
    ]


# ---- whatever comes -------------------------------------------------------------------------------------------------

NAMES = st.sampled_from(["leak.xlsx", "leak.xlsm", "leak.parquet", "leak.xls", "leak.csv"])
HEADS = st.sampled_from([b"", b"PK\x03\x04", b"PAR1", OLD[:8]])


def keeps(folder: Folder, content: bytes, name: str, how: dict[str, Any]) -> None:
    """Nothing raises, and what was not read is told."""
    found = folder.read(folder.source(content, name, **how))
    facts = found.files[f"pump/{name}"]
    unfilled = "no row below the header yet" in facts["notes"] or facts["not_taken"]  # or rows that await a reading
    assert any(each.level == "error" for each in found.problems) or len(found.frame) or unfilled
    assert all(each.file and each.what for each in found.problems)


@ALWAYS
@given(content=st.binary(max_size=300), head=HEADS, tail=st.sampled_from([b"", b"PAR1"]), name=NAMES, how=HOW)
def test_random_bytes_never_raise(
    content: bytes, head: bytes, tail: bytes, name: str, how: dict[str, Any], tmp_path: Path
) -> None:
    keeps(Folder(tmp_path), head + content + tail, name, how)


WRITTEN = {"leak.xlsx": forms.workbook([BAR, *LEAK]), "leak.parquet": forms.parquet([BAR, *LEAK])}


@ALWAYS
@given(
    name=st.sampled_from(sorted(WRITTEN)),
    changes=st.lists(st.tuples(st.floats(0, 0.9999), st.integers(0, 255)), min_size=1, max_size=8),
)
def test_a_file_with_bytes_changed_never_raises(name: str, changes: list[tuple[float, int]], tmp_path: Path) -> None:
    data = bytearray(WRITTEN[name])
    for place, byte in changes:
        data[int(place * len(data))] = byte
    keeps(Folder(tmp_path), bytes(data), name, {})


PIECES = st.sampled_from(
    ["<c>", "</c>", "<v>", "</v>", "<v/>", "1", "-1", "x", "1e400", 'r="A1"', "<row>", '<row r="3">', "</row>", '<c r="B1">', '<c t="s">', '<c t="e">', "<f>",
     '<c s="9">', '<c s="-1">', '<c t="b">', '<c t="inlineStr">', "<is>", "<t>", "</t>", "</is>", "_xD800_", "&amp;", "&x;", "</f>", '<c t="d">', "</sheetData>"]
)  # fmt: skip


@ALWAYS
@given(
    pieces=st.lists(PIECES, max_size=14),
    which=st.sampled_from(["rows", "sheet", "book", "styles", "texts", "links", "main"]),
)
def test_random_parts_never_raise(pieces: list[str], which: str, tmp_path: Path) -> None:
    content = (
        by_hand(row(1, *HEADER) + "".join(pieces))
        if which == "rows"
        else part(**{which: "".join(["<x>", *pieces, "</x>"])})
    )
    keeps(Folder(tmp_path), content, "leak.xlsx", {})


TYPED = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-(10**18), 10**18),
    st.floats(),
    st.text(max_size=5).filter(lambda t: t.isprintable()),
    st.dates(),
    st.times(),
)


@ALWAYS
@given(rows=st.lists(st.lists(TYPED, min_size=7, max_size=8), min_size=1, max_size=5))
def test_random_typed_cells_never_raise(rows: list[list[Any]], tmp_path: Path) -> None:
    keeps(Folder(tmp_path), forms.workbook([HEADER, *rows]), "leak.xlsx", {})


# ---- the house ------------------------------------------------------------------------------------------------------

FORMS = Path(__file__).parent.parent / "accepted" / "table-forms"


def test_the_accepted_folder_is_read_and_its_files_are_hashed(tmp_path: Path) -> None:
    """Workbook, Parquet and a table parted by blanks: every reading used, every file in the provenance."""
    programs = Path(shutil.copytree(FORMS, tmp_path / "programs"))
    made, problems = load(programs, measures={"leakdown.crankcase": "mm2"}, streams=("buildsheet", "leakdown"))
    assert problems == []
    assert made is not None
    evidence = gather(made.programs[0], [LEAKDOWN, BUILDSHEET])
    assert told(list(evidence.problems)) == []
    assert {name: (facts["rows"], facts["used"]) for each in evidence.readings.values() for name, facts in each.files.items()} == {
        "pump/records/leakdown.xlsx": (2, 2), "pump/records/blanks.txt": (2, 2), "pump/records/buildsheet.parquet": (2, 2)}  # fmt: skip
    for name in ("leakdown.xlsx", "buildsheet.parquet"):
        data = (programs / "pump/records" / name).read_bytes()
        assert evidence.inputs[f"pump/records/{name}"] == hashlib.sha256(data).hexdigest()


def test_every_separator_of_the_schema_is_read(folder: Folder) -> None:
    """And the reader knows no word that the schema withholds."""
    import json

    from sitegen.places import schemas
    from sitegen.reader.records import SEPARATORS

    rule = json.loads((schemas() / "common.schema.json").read_text(encoding="utf-8"))["$defs"]["separator"]
    assert {word for word in rule["enum"] if word.isalpha()} == set(SEPARATORS)
    for word in rule["enum"]:
        mark = SEPARATORS.get(word, word)
        header = [name.replace(" ", "") for name in HEADER]
        content = mark.join(header) + "\n" + mark.join(map(str, LEAK[0][:7])) + "\n"
        found = folder.leak(content, separator=word)
        assert column(found, "use") == [""], word
        assert SEPARATORS[found.files["pump/leak.csv"]["separator"]] == mark


def test_sheet_is_in_the_schema_of_every_stream() -> None:
    import json

    from sitegen.places import schemas

    for stream in STREAMS:
        assert (
            "sheet" in json.loads((schemas() / f"{stream.name}.schema.json").read_text(encoding="utf-8"))["properties"]
        )
