# ruff: noqa: E501 - whole messages stay on one line
"""Files as instruments and people write them: read right to the same values, or refused with the whole message.

The quirks are those met in real record files of this trade (common practice, no source); the contents are invented.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tables.house import PLAIN, PSI, Folder, column, told

ROWS = [["B1", "1", "cold-build", "T1", "80.0", "72.5", "tdc"], ["B1", "2", "cold-build", "T1", "80.0", "68.0", "tdc"]]
HEADER = PLAIN.strip().split(",")
FOUR = [*ROWS, *(["B1", str(n), *row[2:]] for n, row in zip((3, 4), ROWS, strict=True))]
SUPPLY = [80 * PSI, 80 * PSI]
PRESSURE = [72.5 * PSI, 68 * PSI]


def table(
    separator: str = ",", end: str = "\n", rows: list[list[str]] | None = None, header: list[str] | None = None
) -> str:
    """The same two readings, written otherwise."""
    return "".join(separator.join(row) + end for row in [header or HEADER, *(rows or ROWS)])


def commas(rows: list[list[str]]) -> list[list[str]]:
    return [[cell.replace(".", ",") for cell in row] for row in rows]


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    return Folder(tmp_path)


READ: dict[str, tuple[str | bytes, dict[str, Any], dict[str, Any]]] = {
    "plain": (table(), {}, {"encoding": "utf-8", "separator": "comma"}),
    "utf-8 with mark": (b"\xef\xbb\xbf" + table().encode(), {}, {"encoding": "utf-8"}),
    "utf-16 with mark": (table().encode("utf-16"), {}, {"encoding": "utf-16"}),
    "utf-16 of the other order": (b"\xfe\xff" + table().encode("utf-16-be"), {}, {"encoding": "utf-16"}),
    "utf-16 announced": (table().encode("utf-16-le"), {"encoding": "utf-16"}, {"encoding": "utf-16"}),
    "cr lf": (table(end="\r\n"), {}, {"notes": []}),
    "cr": (table(end="\r"), {}, {"notes": ["line ends: CR; each counts as one line"]}),
    "cr cr lf": (table(end="\r\r\n"), {}, {"notes": ["line ends: CR CR LF; each counts as one line"]}),
    "no last line end": (table().rstrip("\n"), {}, {}),
    "old end-of-file mark": (table() + "\x1a", {}, {}),
    "semicolon": (table(";"), {}, {"separator": "semicolon"}),
    "tab": (table("\t"), {}, {"separator": "tab"}),
    "bar": (table("|"), {}, {"separator": "bar"}),
    "separator stated as in the schema": (table("\t"), {"separator": "tab"}, {"separator": "tab"}),
    "blank runs": (
        table("   ", header=["engine", "cylinder", "phase", "tester", "supply[psig]", "pressure[psig]", "crank"]),
        {},
        {"separator": "blanks"},
    ),
    "decimal comma bare": (table(";", rows=commas(ROWS)), {"decimal": ","}, {"decimal": ","}),
    "decimal comma found": (
        table(";", rows=commas(ROWS)),
        {},
        {"decimal": ",", "notes": ["a decimal comma, in 6 of 6 figures looked at"]},
    ),
    "title row found": ("Leak-down\n\n" + table(), {}, {"notes": ["headers in line 3"]}),
    "units row found": (
        table(rows=[["[]", "[]", "", "", "[psig]", "[psig]", "[]"], *ROWS], header=[name.split(" ")[0] for name in HEADER]),
        {},
        {"notes": ["a row of units in line 2"]},
    ),
    "decimal comma quoted": (
        table(rows=[[f'"{cell}"' if "," in cell else cell for cell in row] for row in commas(ROWS)]),
        {"decimal": ","},
        {"separator": "comma"},
    ),
    "all quoted": (table(rows=[[f'"{cell}"' for cell in row] for row in ROWS], header=[f'"{h}"' for h in HEADER]), {}, {}),
    "two title rows": ("Leak-down, cell north\nsheet 3\n" + table(), {"skip_rows": 2}, {}),
    "title row and a blank row": ("Leak-down\n\n" + table(), {"skip_rows": 1}, {}),
    "group row, names, units": (
        ";where;;;gauges;;\n" + table(";", rows=[["", "[]", "", "()", "[psig]", "(psig)", ""], *ROWS],
                                      header=[name.split(" ")[0] for name in HEADER]),
        {"skip_rows": 1, "units_row": True},
        {},
    ),
    "units row without brackets": (
        table(rows=[["", "", "", "", "psig", "psig", ""], *ROWS], header=[name.split(" ")[0] for name in HEADER]),
        {"units_row": True},
        {},
    ),
    "empty brackets in the header": (table(header=["engine ()", "cylinder []", *HEADER[2:]]), {}, {}),
    "header repeated": (
        table(rows=[ROWS[0], HEADER, ROWS[1]]), {}, {"notes": ["header repeated in line 3: skipped"]},
    ),
    "header and units repeated": (
        table(rows=[["", "", "", "", "psig", "psig", ""], ROWS[0], HEADER, ["", "", "", "", "psig", "psig", ""], ROWS[1]]),
        {"units_row": True},
        {"notes": ["header repeated in lines 4, 5: skipped"]},
    ),
    "separator at the end of some rows": (
        table(rows=[[*ROWS[0], ""], ROWS[1]]), {}, {"notes": ["an empty field after the last column in line 2"]},
    ),
    "separator at the end of the header only": (table(header=[*HEADER, ""]), {}, {}),
    "separator at the end of every line": (table(end=",\n"), {}, {}),
    "blank rows and rows of separators": (
        table(rows=[ROWS[0], [""], [""] * 7, ROWS[1]]), {}, {"notes": ["nothing but separators in line 4: skipped"]},
    ),
    "blanks around every field": (table(" , "), {}, {}),
    "kPa instead of psi": (
        table(header=[name.replace("psig", "kPa gauge") for name in HEADER],
              rows=[[*row[:4], f"{float(row[4]) * PSI / 1e3:.9f}", f"{float(row[5]) * PSI / 1e3:.9f}", row[6]] for row in ROWS]),
        {},
        {},
    ),
    "bar in the next year": (
        table(header=[name.replace("psig", "barg") for name in HEADER],
              rows=[[*row[:4], f"{float(row[4]) * PSI / 1e5:.10f}", f"{float(row[5]) * PSI / 1e5:.10f}", row[6]] for row in ROWS]),
        {},
        {},
    ),
    "a column that says whether a row is valid": (  # not ours: it stands among the columns not used
        table(header=[*HEADER, "valid"], rows=[[*row, "1"] for row in ROWS]), {},
        {"columns": {**{name: name.split(" ")[0] for name in HEADER}, "valid": ""}},
    ),
    "no end of line, a mark of the end, carriage returns": (table(end="\r").rstrip("\r") + "\x1a", {}, {}),
    "minus, plus, exponent": (table(rows=[[*r[:4], "+8.0E1", r[5], r[6]] for r in ROWS]), {}, {}),
    "capitals in words": (table(rows=[[*r[:6], "TDC"] for r in ROWS]), {}, {}),
    "cylinder as 1.0": (table(rows=[[r[0], r[1] + ".0", *r[2:]] for r in ROWS]), {}, {}),
    "thousands mark announced": (
        table(";", header=[h.replace("psig", "Pa gauge") for h in HEADER],
              rows=[[*r[:4], "551.580,583453", p, r[6]] for r, p in zip(ROWS, ["499.869,903755", "468.843,495936"], strict=True)]),
        {"decimal": ",", "thousands": "."},
        {},
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", READ)
def test_read(case: str, folder: Folder) -> None:
    content, how, facts = READ[case]
    found = folder.leak(content, **how)
    assert told(found) == []
    assert column(found, "engine") == ["B1", "B1"]
    assert column(found, "cylinder") == [1.0, 2.0]
    assert column(found, "crank") == ["tdc", "tdc"]
    assert column(found, "supply") == pytest.approx(SUPPLY, rel=1e-9)
    assert column(found, "pressure") == pytest.approx(PRESSURE, rel=1e-9)
    told_of = found.files["pump/leak.csv"]
    assert {name: told_of[name] for name in facts} == facts


CONTRADICTED = {
    "fits": ("9.4", []),  # 100 * (80 - 72.5) / 80 = 9.375 %, FAA AC 43.13-1B chapter 8: loss of the supply pressure
    "rounded to whole ones": ("9", []),
    "of another reading": ("15", ["figures-contradict"]),
    "share instead of per cent": ("0.094", ["figures-contradict"]),
}


@pytest.mark.parametrize("case", CONTRADICTED)
def test_a_stated_result_that_does_not_fit_its_gauges(case: str, folder: Folder) -> None:
    percent, found = CONTRADICTED[case]
    read = folder.leak(table(header=[*HEADER, "percent [%]"], rows=[[*ROWS[0], percent], [*ROWS[1], ""]]))
    assert [problem.code for problem in read.problems] == found
    assert column(read, "use") == [found[0] if found else "", ""]


def test_zero_entered_for_not_measured(folder: Folder) -> None:
    """A gauge not read, entered as 0, is set aside; an empty field is none; a percent of 0 is a reading."""
    rows = [[*ROWS[0][:5], "0", "tdc", ""], [*ROWS[1][:5], "", "tdc", "0"], ["B1", "3", *ROWS[1][2:5], "", "tdc", ""]]
    read = folder.leak(table(header=[*HEADER, "percent [%]"], rows=rows))
    assert column(read, "use") == ["zero-pressure", "", "no-figure"]


def test_grams_for_a_force(folder: Folder) -> None:
    """A tension read on a scale in grams is no force until it says so: gram-force, 9.80665e-3 N (CGPM 1901)."""
    text = "engine,cylinder,phase,ring,tension [g]\nB1,1,cold-build,top,1600\n"
    (problem,) = told(folder.read(folder.source(text, "sheet.csv", stream="buildsheet")))
    assert '"g" is a unit of mass, not of force' in problem
    read = folder.read(
        folder.source(text.replace("[g]", "[kgf]").replace("1600", "1.6"), "sheet.csv", stream="buildsheet")
    )
    assert column(read, "tension") == pytest.approx([15.69064])


def test_lines_are_those_of_the_file(folder: Folder) -> None:
    found = folder.leak("title\n\n" + table(end="\n\n"), skip_rows=1)
    assert column(found, "row") == [5, 7]
    assert column(found, "reading") == ["leak:5", "leak:7"]


def test_a_text_with_line_breaks_keeps_the_lines_after_it_right(folder: Folder) -> None:
    header = [*HEADER, "remark"]
    found = folder.leak(table(header=header, rows=[[*ROWS[0], '"tapped\nthe hose"'], [*ROWS[1], ""]]))
    assert told(found) == []
    assert column(found, "remark") == ["tapped the hose", None]
    assert column(found, "row") == [2, 4]
    assert found.files["pump/leak.csv"]["notes"] == ["lines 2 to 3 are one row: a text in it holds line breaks"]


def test_latin_1_and_windows_1252_are_told(folder: Folder) -> None:
    header = [*HEADER, "metal_temperature [°C]", "remark"]
    text = table(";", header=header, rows=[[*ROWS[0], "21.5", "größer"], [*ROWS[1], "22", "– none"]])
    found = folder.leak(text.encode("windows-1252"))
    assert told(found) == []
    assert found.files["pump/leak.csv"]["notes"] == ["not UTF-8: taken as windows-1252"]
    assert column(found, "remark") == ["größer", "– none"]
    assert column(found, "metal_temperature") == pytest.approx([294.65, 295.15])
    found = folder.leak(text.replace("– ", "").encode("latin-1"))
    assert found.files["pump/leak.csv"]["notes"] == ["not UTF-8: taken as iso-8859-1"]


ENTRY = "pump/program.yaml:90:7: "
FILE = "pump/leak.csv"
SEVEN = "Expected 7 fields: engine, cylinder, phase, tester, supply [psig], pressure [psig], crank. "
TEXT = "Expected a text table. Next: save the table as plain text with one separator between fields."
ROWLESS = "Expected a header and rows. Next: see whether this is the right file."

REFUSED: dict[str, tuple[str | bytes, dict[str, Any], list[str]]] = {
    "empty file": (b"", {}, [f"{FILE}: the file is empty. {ROWLESS}"]),
    "only blank lines": ("\n \n", {}, [f"{FILE}: the file is empty. {ROWLESS}"]),
    "everything skipped": (table(), {"skip_rows": 9}, [f"{FILE}: nothing is left after the 9 rows to skip. {ROWLESS}"]),
    "zero byte": (table().encode() + b"a\0b", {}, [f"{FILE}:4: the control character U+0000 is no part of a text table. {TEXT}"]),
    "workbook": (b"PK\x03\x04...", {}, [f"{FILE}: this is a workbook or another zip archive, not a text table. {TEXT}"]),
    "utf-16 without mark": (table().encode("utf-16-le"), {}, [
        f"{FILE}: every other byte is zero, as in UTF-16 without its mark. Expected text. "
        "Next: if it is text, save it in UTF-8, or write `encoding: utf-16` in the record entry."]),
    "not the encoding stated": (table().encode() + b"\xfc", {"encoding": "utf-8"}, [
        f"{FILE}:4: the bytes are not utf-8. Expected text in utf-8, as the record entry says. "
        "Next: save the file again, or state the encoding it is in."]),
    "two encodings": ("# äöü\n".encode() + b"\xfc\n", {}, [
        f"{FILE}:2: a byte here is not UTF-8, though other characters of the file are. Expected one encoding throughout. "
        "Next: save the file again in UTF-8, or state its encoding."]),
    "more fields than the header": (table(rows=[ROWS[0], [*ROWS[1], "x"]]), {}, [
        f"{FILE}:3: this row has 8 fields, the header in line 1 has 7. {SEVEN}"
        "Next: give every column a header, and put in quotes a text or a number that holds a comma."]),
    "more fields than the header in every row": (table(";", rows=[["1", *r] for r in ROWS]), {}, [
        f"{FILE}:2: this row has 8 fields, the header in line 1 has 7, and 1 further rows have too many. {SEVEN}"
        "Next: give every column a header, and put in quotes a text that holds the separator."]),
    "decimal comma bare between commas": (table(rows=commas(ROWS)), {"decimal": ","}, [
        f"{FILE}:2: this row has 9 fields, the header in line 1 has 7, and 1 further rows have too many. {SEVEN}"
        "Next: give every column a header, and put in quotes a text or a number that holds a comma."]),
    "most rows short": (table(rows=[r[:6] for r in ROWS]), {}, [
        f"{FILE}:2: 2 of 2 rows have fewer fields than the header; this one has 6. {SEVEN}"
        "Next: see whether the separator is right, and fill up the rows."]),
    "decimal point though a comma is announced": (table(";"), {"decimal": ","}, [
        f'{FILE}:2: column "{name}": the numbers have a decimal point ("{cell}"). Expected the decimal mark that is announced, a comma. '
        'Next: correct this cell; or, where they are all so, take `decimal: ","` out of the record entry.' for name, cell in (("pressure [psig]", "72.5"), ("supply [psig]", "80.0"))]),
    "no header": (table(header=ROWS[0]), {}, [
        f"{ENTRY}nothing in {FILE} says {name} ({title}). Expected a column or a constant for it. "
        f"Next: add `{name}` to `columns` or `constants`, or a header `{name}` to the table."
        for name, title in (("engine", "Build"), ("phase", "Phase"), ("supply", "Supply pressure"), ("tester", "Tester"))]),
    "units row announced but not there": (table(), {"units_row": True}, [
        f'{FILE}:2: this row holds the number "80.0", not units. Expected a row of units below the header, as announced. '
        "Next: take `units_row` out of the record entry."]),
    "header over two columns": (table(header=[*HEADER[:6], "phase"]), {}, [
        f'{FILE}:1: column "phase": more than one column is "phase". Expected one column a field. '
        "Next: state `columns` in the record entry, with `phase: {number: 7}` for this one."]),
    "header misspelt": (table(header=[*HEADER[:6], "crnk"]), {}, [
        f'{FILE}:1: column "crnk": the header "crnk" is no field of leakdown. Expected `field [unit]` over each column. Nearest: crank. '
        'Next: write "crank", or state `columns` in the record entry.']),
    "no unit": (table(header=[*HEADER[:5], "pressure", "crank"]), {}, [
        f'{FILE}:1: column "pressure": no unit is stated for pressure. Expected a unit of gauge pressure, such as psig, kPa gauge, '
        "bar gauge or inH2O gauge. Next: write it in the header, `pressure [unit]`, or in the record entry."]),
    "gauge or absolute not said": (table(header=[*HEADER[:5], "pressure [kPa]", "crank"]), {}, [
        f'{FILE}:1: column "pressure [kPa]": "kPa" does not say gauge or absolute. Expected a unit of gauge pressure, such as psig, kPa gauge, '
        "bar gauge or inH2O gauge."]),
    "quote never closed": (table(rows=[[*ROWS[0][:6], '"tdc'], ROWS[1]]), {}, [
        f"{FILE}:2: the quotes of this row do not match: a quote is not closed. Expected a field in quotes from its first to its last "
        'character, quotes inside it doubled (""). Next: close the quote, or take it away.']),
    "quote closed rows later": (table(rows=[[*ROWS[0][:6], '"tdc'], ROWS[1], [*ROWS[1][:6], 'tdc"']]), {}, [
        f"{FILE}:2: the quotes of this row do not match: a quote is not closed. Expected a field in quotes from its first to its last "
        'character, quotes inside it doubled (""). Next: close the quote, or take it away.']),
    "date of unknown order": (table(header=[*HEADER, "date"], rows=[[*r, "04.05.2026"] for r in ROWS]), {}, [
        f'{FILE}:2: column "date": "04.05.2026" is written in an order of day and month that is not announced. Expected a date as 2026-05-14, or an '
        "order that is announced. Next: write `date_order: day first` or `date_order: month first` in the record entry."]),
    "dates with years of two digits": (table(header=[*HEADER, "date"], rows=[[*r, "17.03.26"] for r in ROWS]), {}, [
        f'{FILE}:2: column "date": "17.03.26" is written in an order of day and month that is not announced. Expected a date as 2026-05-14, or an '
        "order that is announced. Next: write `date_order: day first` or `date_order: month first` in the record entry, by which its year is 20xx."]),
    "unknown separator": (table(), {"separator": "#"}, [
        f'{ENTRY}the separator "#" is not known. Expected comma, semicolon, tab, bar or blanks. Next: state one of these, or none.']),
    "unknown encoding": (table(), {"encoding": "utf-7"}, [
        f'{FILE}: the encoding "utf-7" is not known. Expected one of utf-8, utf-16, windows-1252, windows-1250, iso-8859-1, '
        "iso-8859-15. Nearest: utf-8. Next: state another encoding, or none."]),
    "one mark for two things": (table(), {"decimal": ".", "thousands": "."}, [
        f'{ENTRY}"." is announced as decimal mark and as thousands mark. Expected two different marks.']),
}  # fmt: skip


@pytest.mark.parametrize("case", REFUSED)
def test_refused(case: str, folder: Folder) -> None:
    content, how, messages = REFUSED[case]
    found = folder.leak(content, **how)
    assert told(found) == messages
    assert found.frame.empty
    assert found.files[FILE]["notes"][-1] == "not read: see the errors"


def test_the_dot_as_thousands_mark_and_decimal_mark(folder: Folder) -> None:
    # a point for thousands and decimals alike, in a column whose first rows look harmless; all figures are invented
    header = [*HEADER, "wait [s]"]
    waits = ["0.000", "250.000", "875.000", "1.125.000"]
    rows = [[*ROWS[0][:1], str(i + 1), *ROWS[0][2:], wait] for i, wait in enumerate(waits)]
    message = f'{FILE}:5: column "wait [s]": the dot stands between groups of digits ("1.125.000"). Expected one mark for one purpose. '
    assert told(folder.leak(table(";", header=header, rows=rows))) == [
        f'{message}Next: if it is only a thousands mark, write `thousands: "."` and `decimal: ","` in the record entry; if it is also the '
        "decimal mark, export the table again without thousands marks."
    ]
    # announcing it as a thousands mark does not help: 0.000 is no group of digits
    how = {"decimal": ",", "thousands": "."}
    rows = [[*row[:4], "80", "72,5", *row[6:]] for row in rows]
    assert told(folder.leak(table(";", header=header, rows=rows), **how)) == [
        f'{FILE}:2: column "wait [s]": the thousands mark does not stand before groups of three digits ("0.000"). Expected one mark for '
        "one purpose. Next: see which mark is the decimal one, and export the table again without thousands marks."
    ]


@pytest.mark.parametrize(
    ("cell", "seconds", "mark"),
    [("1,234.5", 1234.5, "comma"), ("1 234", 1234.0, "blank"), ("1'234.5", 1234.5, "apostrophe")],
)
def test_thousands_marks_that_say_so_themselves(cell: str, seconds: float, mark: str, folder: Folder) -> None:
    rows = [[*row, wait] for row, wait in zip(ROWS, [cell, "2"], strict=True)]
    found = folder.leak(table(";", header=[*HEADER, "wait [s]"], rows=rows))
    assert (told(found), column(found, "wait")) == ([], [seconds, 2.0])
    assert found.files[FILE]["notes"] == [f"a decimal point, a {mark} between thousands, in 8 of 8 figures looked at"]


def test_a_comma_before_three_figures_may_be_either(folder: Folder) -> None:
    rows = [[*row, wait] for row, wait in zip(ROWS, ["1,234", "2"], strict=True)]
    (message,) = told(folder.leak(table(";", header=[*HEADER, "wait [s]"], rows=rows)))
    assert message.startswith(f'{FILE}:2: column "wait [s]": "1,234" may have a decimal comma or a thousands mark.')
    assert 'Next: write `decimal: ","` or `thousands: ","` in the record entry.' in message


def test_points_before_three_figures_alone_may_be_either(folder: Folder) -> None:
    """Nothing else in the file tells; a column that is not used asks nothing."""
    rows = [[*row[:4], "80", "72", row[6], wait] for row, wait in zip(ROWS, ["1.234", "2.345"], strict=True)]
    text = table(";", header=[*HEADER, "wait [s]"], rows=rows)
    assert told(folder.leak(text)) == [
        f'{FILE}:2: column "wait [s]": "1.234" may have a decimal point or a thousands mark. Expected figures that read one way. '
        'Next: write `decimal: "."` or `thousands: "."` in the record entry.'
    ]
    assert column(folder.leak(text, decimal="."), "wait") == [1.234, 2.345]
    assert column(folder.leak(text, thousands="."), "wait") == [1234.0, 2345.0]
    assert (
        told(folder.leak(text.replace("wait [s]", "other"), columns={name.split(" ")[0]: name for name in HEADER}))
        == []
    )


CONTRADICTED_BY_THE_FILE: dict[str, tuple[str, dict[str, Any], list[str]]] = {
    "separator": (table(";"), {"separator": "tab"}, [
        f'{ENTRY}"tab" is to stand between the fields of {FILE}, which has semicolon. Expected the same separator in both. '
        "Next: correct `separator`, or take it out of the record entry."]),
    "rows to skip": ("Leak-down\n\n" + table(), {"skip_rows": 0}, [
        f'{FILE}:1: the row "Leak-down" is not the header: that is in line 3. Expected the header after the rows to skip. '
        "Next: write `skip_rows: 2` in the record entry, or take it out."]),
    "row of units": (table(rows=[["[]", "[]", "", "", "[psig]", "[psig]", "[]"], *ROWS]), {"units_row": False}, [
        f"{FILE}:2: this row looks like a row of units. Expected rows of readings below the header, as the entry says. "
        "Next: take `units_row` out of the record entry."]),
}  # fmt: skip


@pytest.mark.parametrize("case", CONTRADICTED_BY_THE_FILE)
def test_what_the_entry_says_against_the_file(case: str, folder: Folder) -> None:
    content, how, messages = CONTRADICTED_BY_THE_FILE[case]
    assert told(folder.leak(content, **how)) == messages


def test_one_slip_of_the_pen_does_not_block_the_column(folder: Folder) -> None:
    rows = [*ROWS, ["B1", "3", "cold-build", "T1", "80.0", "71,5", "tdc"]]
    found = folder.leak(table(";", rows=rows))
    assert column(found, "use") == ["", "", "not-a-number"]
    assert told(found) == [
        f'{FILE}:4: warning: column "pressure [psig]": "71,5" has a decimal comma, the file a point. Expected a number with a '
        "decimal point. Next: correct the record, or leave it set aside."
    ]


@pytest.mark.parametrize("how", [{}, {"decimal": ","}], ids=["found", "announced"])
def test_a_single_cell_with_the_other_mark_sets_its_row_aside(how: dict[str, str], folder: Folder) -> None:
    """In a column of few figures too, where as many cells have one mark as the other: the rest of the file tells."""
    few = [*HEADER, "to_crankcase [%]"]
    rows = [[*row, share] for row, share in zip(commas(FOUR), ("62.5", "", "", ""), strict=True)]
    found = folder.leak(table(";", header=few, rows=rows), **how)
    assert told(found) == [
        f'{FILE}:2: warning: column "to_crankcase [%]": "62.5" has a decimal point, the file a comma. Expected a number '
        "with a decimal comma. Next: correct the record, or leave it set aside."
    ]
    assert column(found, "use") == ["not-a-number", "", "", ""]
    assert column(found, "pressure")[0] is not None  # the rest of the row is kept as read


def test_several_cells_with_the_other_mark_are_no_slips(folder: Folder) -> None:
    few = [*HEADER, "to_crankcase [%]"]
    rows = [[*row, share] for row, share in zip(commas(FOUR), ("62.5", "61.5", "", ""), strict=True)]
    (message,) = told(folder.leak(table(";", header=few, rows=rows), decimal=","))
    assert message.startswith(f'{FILE}:2: column "to_crankcase [%]": the numbers have a decimal point ("62.5").')


def test_dates_in_two_orders_are_both_named(folder: Folder) -> None:
    days = ["14.05.2026", "15.05.2026", "05.17.2026", "04.05.2026"]
    rows = [[*row, day] for row, day in zip(FOUR, days, strict=True)]
    assert told(folder.leak(table(header=[*HEADER, "date"], rows=rows))) == [
        f'{FILE}:4: column "date": "05.17.2026" can only have the month first, "14.05.2026" in line 2 only the day. '
        "Expected dates in one order. Next: correct the wrong ones, or write `date_order: day first` or `date_order: "
        "month first` in the record entry: what does not fit is then set aside."
    ]
    found = folder.leak(table(header=[*HEADER, "date"], rows=rows), date_order="day first")
    assert column(found, "use") == ["", "", "no-such-date", ""]


def test_true_and_false_are_no_numbers(folder: Folder) -> None:
    found = folder.leak(table(header=[*HEADER, "turns"], rows=[[*ROWS[0], ""], [*ROWS[1], "True"]]))
    assert column(found, "use") == ["", "not-a-number"]


def test_dates_in_the_order_announced(folder: Folder) -> None:
    header = [*HEADER, "date"]
    rows = [[*r, d] for r, d in zip(ROWS, ["4.5.2026", "2026-05-14"], strict=True)]
    assert column(folder.leak(table(header=header, rows=rows), date_order="day first"), "date") == [
        "2026-05-04",
        "2026-05-14",
    ]
    rows = [[*r, d] for r, d in zip(ROWS, ["05/04/2026 10:31", "2026-05-14T08:00"], strict=True)]
    assert column(folder.leak(table(header=header, rows=rows), date_order="month first"), "date") == [
        "2026-05-04",
        "2026-05-14",
    ]


def test_a_huge_line_is_refused_before_it_is_read(folder: Folder) -> None:
    source = folder.source(PLAIN)
    with (folder.path / "leak.csv").open("r+b") as stream:
        stream.seek(0, 2)
        stream.truncate(30_000_000)  # one line of 30 MB, sparse on the disk
    assert told(folder.read(source)) == [
        f"{FILE}:2: line 2 is longer than 1048576 bytes. Expected one row of a table a line. Next: see whether this is the right file."
    ]


def test_missing_file_names_the_nearest(folder: Folder) -> None:
    source = folder.source(PLAIN, name="leak-b1.csv")
    (folder.path / "leak-b1.csv").rename(folder.path / "leak-b2.csv")
    assert told(folder.read(source)) == [
        "pump/leak-b1.csv: there is no such file. Expected a record table. Nearest: leak-b2.csv. "
        "Next: correct `file` in the record entry, or put the file there."
    ]
