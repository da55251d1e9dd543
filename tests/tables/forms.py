"""The same cells as text, workbook and Parquet, and workbooks with parts made by hand."""

from __future__ import annotations

import csv
import io
import zipfile
from collections.abc import Mapping, Sequence
from typing import Any

import openpyxl
import pyarrow as pa
import pyarrow.parquet as pq

Cells = Sequence[Sequence[Any]]

MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
PACKAGE = "http://schemas.openxmlformats.org/package/2006"
MEDIA = "application/vnd.openxmlformats-officedocument.spreadsheetml"


def text(rows: Cells, separator: str = ",") -> bytes:
    """A text table; yes and no, ISO dates."""
    out = io.StringIO()
    said = {True: "yes", False: "no", None: ""}
    csv.writer(out, delimiter=separator, lineterminator="\n").writerows(
        [said[cell] if cell is None or isinstance(cell, bool) else cell for cell in row] for row in rows
    )
    return out.getvalue().encode()


def workbook(rows: Cells, name: str = "Leak-down", **others: Cells) -> bytes:
    """A workbook written by openpyxl, with further worksheets by name."""
    book = openpyxl.Workbook()
    assert book.active is not None
    book.remove(book.active)
    for title, cells in {name: rows, **others}.items():
        sheet = book.create_sheet(title)
        for row in cells:
            sheet.append(list(row))
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def parquet(rows: Cells) -> bytes:
    """A Parquet file; the first row names the columns."""
    header, *body = rows
    width = len(header)
    columns = [pa.array([row[at] if at < len(row) else None for row in body]) for at in range(width)]
    return packed(pa.table(columns, names=[str(name) for name in header]))


def packed(table: pa.Table) -> bytes:
    """The bytes of a Parquet file."""
    out = io.BytesIO()
    pq.write_table(table, out)
    return out.getvalue()


def by_hand(
    rows: str,
    texts: Sequence[str] = (),
    formats: Sequence[tuple[int, str]] = (),
    before: str = "",
    after: str = "",
    parts: Mapping[str, str | bytes | None] | None = None,
    workbook_properties: str = "",
) -> bytes:
    """A workbook of one worksheet from its XML: `rows` inside sheetData, `formats` a number format for each style.

    `parts` replaces, adds or (None) removes parts of the archive.
    """
    own = "".join(f'<numFmt numFmtId="{number}" formatCode="{code}"/>' for number, code in formats if code)
    used = "".join(f'<xf numFmtId="{number}"/>' for number, _ in formats)
    shared = "".join(f"<si>{text if text.startswith('<') else f'<t>{text}</t>'}</si>" for text in texts)
    head = '<?xml version="1.0" encoding="UTF-8"?>'
    made: dict[str, str | bytes | None] = {
        "[Content_Types].xml": f'{head}<Types xmlns="{PACKAGE}/content-types"><Override PartName="/xl/workbook.xml" '
        f'ContentType="{MEDIA}.sheet.main+xml"/></Types>',
        "_rels/.rels": f'{head}<Relationships xmlns="{PACKAGE}/relationships">'
        f'<Relationship Id="rId1" Type="{OFFICE}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'{head}<workbook xmlns="{MAIN}" xmlns:r="{OFFICE}"><workbookPr {workbook_properties}/>'
        '<sheets><sheet name="Leak-down" sheetId="1" r:id="rId1"/></sheets></workbook>',
        "xl/_rels/workbook.xml.rels": f'{head}<Relationships xmlns="{PACKAGE}/relationships">'
        f'<Relationship Id="rId1" Type="{OFFICE}/worksheet" Target="worksheets/sheet1.xml"/>'
        f'<Relationship Id="rId2" Type="{OFFICE}/sharedStrings" Target="/xl/sharedStrings.xml"/>'
        f'<Relationship Id="rId3" Type="{OFFICE}/styles" Target="styles.xml"/></Relationships>',
        "xl/worksheets/sheet1.xml": f'{head}<worksheet xmlns="{MAIN}">{before}<sheetData>{rows}</sheetData>{after}'
        "</worksheet>",
        "xl/sharedStrings.xml": f'{head}<sst xmlns="{MAIN}">{shared}</sst>',
        "xl/styles.xml": f'{head}<styleSheet xmlns="{MAIN}"><numFmts>{own}</numFmts>'
        f'<cellStyleXfs><xf numFmtId="14"/></cellStyleXfs><cellXfs><xf numFmtId="0"/>{used}</cellXfs></styleSheet>',
        **(parts or {}),
    }
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in made.items():
            if content is not None:
                archive.writestr(name, content)
    return out.getvalue()


def row(number: int, *cells: object, more: str = "") -> str:
    """XML of one row: texts inline, numbers as they are written; a text that begins with < stands as it is."""
    made = []
    for at, cell in enumerate(cells):
        reference = f'r="{chr(65 + at)}{number}"'
        if cell is None:
            continue
        if isinstance(cell, str) and cell.startswith("<"):
            made.append(cell.replace("<c", f"<c {reference}", 1))
        elif isinstance(cell, str):
            made.append(f'<c {reference} t="inlineStr"><is><t>{cell}</t></is></c>')
        else:
            made.append(f"<c {reference}><v>{cell}</v></c>")
    return f'<row r="{number}" {more}>{"".join(made)}</row>'
