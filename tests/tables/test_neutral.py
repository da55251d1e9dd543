"""Texts a spreadsheet would run, in every file for spreadsheets, and back."""

from __future__ import annotations

import csv
import io
import json
import shutil
import subprocess
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from openpyxl import load_workbook

from sitegen.reader.neutral import meant, neutral
from sitegen.results.alike import rows
from sitegen.results.files import _csv
from sitegen.sheets.columns import Columns, Heading
from sitegen.sheets.tables import EmptyTable, as_text, as_workbook

RUN = ["=1+1", '=HYPERLINK("a","b")', "+1+1", "-1+1", "-2E", "@SUM(A1)", "\t=1", "\r=1", "=\n1", "+5 kPa", "-5\n"]
STAY = ["", "-", "=", "-5", "+5.25", "-1.5e-07", "-0,5", "B1", "'tis", "a=b", "\u22125"]


@pytest.mark.parametrize("text", RUN)
def test_what_would_run_is_marked_and_comes_back(text: str) -> None:
    assert neutral(text) == f"'{text}"
    assert meant(neutral(text)) == text


@pytest.mark.parametrize("text", STAY)
def test_numbers_and_other_texts_stay(text: str) -> None:
    assert neutral(text) == text == meant(text)


@given(st.text(alphabet="=+-@\t\r'1.eE,a ", max_size=6))
def test_nothing_we_write_begins_as_a_formula(text: str) -> None:
    written = neutral(text)
    assert written == text or (written[0] == "'" and meant(written) == text)
    first, rest = written[:1], written[1:]
    assert not rest or first not in set("=@\t\r")
    assert not rest or first not in set("+-") or set(rest) <= set("0123456789.,eE+-")


def test_results_come_back() -> None:
    found = _csv(["of", "value"], [[text, "-5"] for text in RUN if "\r" not in text])
    assert [row["of"] for row in rows(found)] == [text for text in RUN if "\r" not in text]
    assert {row["value"] for row in rows(found)} == {"-5"}


def test_empty_tables_hold_no_formula() -> None:
    columns = Columns((Heading("=1+1", "position", ""), Heading("+cmd", "remark", "")))
    table = EmptyTable("t", "inspection", columns, [{"position": "=1+1", "remark": "@x"}, {"position": "-5"}], {}, {})
    assert [*csv.reader(io.StringIO(as_text(table).decode("utf-8-sig")))] == [
        ["'=1+1", "'+cmd"], ["'=1+1", "'@x"], ["-5", ""],
    ]  # fmt: skip
    book = load_workbook(io.BytesIO(as_workbook(table)))
    cells = [cell for row in book.worksheets[0].iter_rows() for cell in row if cell.value is not None]
    assert [cell.value for cell in cells] == ["=1+1", "+cmd", "=1+1", "@x", "-5"]
    assert {cell.data_type for cell in cells} == {"s"}


@pytest.mark.skipif(shutil.which("node") is None, reason="runs the script of the pages outside a browser")
def test_tables_saved_from_pages_do_the_same() -> None:
    script = (Path(__file__).parents[2] / "theme" / "report.js").read_text(encoding="utf-8")
    begin = script.index("function field(text)")
    code = script[begin : script.index("\n  }", begin) + 4]
    said = subprocess.run(
        ["node", "-e", f"{code};process.stdout.write(JSON.stringify({[*RUN, *STAY]!r}.map(field)))"],
        capture_output=True, check=True, text=True,
    ).stdout  # fmt: skip
    written = [next(csv.reader([cell], quotechar='"'), [""])[0] if '"' in cell else cell for cell in json.loads(said)]
    assert written == [neutral(text) for text in [*RUN, *STAY]]
