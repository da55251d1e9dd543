"""Empty tables as files: text and workbook, the same bytes on any day and machine."""

from __future__ import annotations

import csv
import io
import re
import zipfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sitegen import units
from sitegen.reader.neutral import neutral
from sitegen.reader.records import SEPARATORS
from sitegen.sheets.columns import Columns, Heading, is_text
from sitegen.vocabulary import Field

if TYPE_CHECKING:
    from openpyxl.worksheet.worksheet import Worksheet

_NEVER = (1980, 1, 1, 0, 0, 0)  # the earliest date a zip archive can hold
_STAMP = re.compile(rb"(<dcterms:(?:created|modified)[^>]*>)[^<]*(<)")
_LONGEST_LIST = 255  # characters of a list of words inside a validation (ECMA-376 part 1, 18.3.1.32: a formula's text)
_ROWS_MORE = 200  # rows below the prepared ones that have the same lists


@dataclass(frozen=True)
class EmptyTable:
    """One table to be filled in."""

    name: str  # file name without its ending
    stream: str
    columns: Columns
    rows: Sequence[Mapping[str, str]]  # text known beforehand, by field
    fields: Mapping[str, Field]
    known_ids: Mapping[str, Sequence[str]]  # ids of the program by what a field refers to


def as_text(table: EmptyTable) -> bytes:
    """The table as text, with separator, marks and encoding of the record entry its columns are from."""
    source = table.columns.source
    same = is_text(source)
    separator = SEPARATORS.get(table.columns.separator if same else "", ",")
    written = io.StringIO(newline="")
    if separator == " ":  # columns parted by any blanks: nothing could be left empty
        separator = ","
    writer = csv.writer(written, delimiter=separator, lineterminator="\r\n")
    lines: list[Sequence[str]] = [[heading.header for heading in table.columns.headings]]
    if table.columns.below:
        lines.append(table.columns.below)
    lines += [[row.get(heading.field, "") for heading in table.columns.headings] for row in table.rows]
    writer.writerows([neutral(cell) for cell in line] for line in lines)
    encoding = source.encoding if source and same and source.encoding else "utf-8"
    if encoding == "utf-8":
        encoding = "utf-8-sig"  # office programs take a text without the mark for another encoding
    if encoding == "utf-16":
        return b"\xff\xfe" + written.getvalue().encode("utf-16-le")
    return written.getvalue().encode(encoding)


def as_workbook(table: EmptyTable) -> bytes:
    """The table as a workbook: typed cells, a header that stays in view, and lists of the words allowed."""
    from openpyxl import Workbook
    from openpyxl.styles import Alignment, Font
    from openpyxl.utils import get_column_letter
    from openpyxl.worksheet.properties import PageSetupProperties
    from openpyxl.writer.excel import ExcelWriter

    book = Workbook()
    book.remove(book.worksheets[0])
    sheet = book.create_sheet(table.stream)
    heads = [[heading.header for heading in table.columns.headings]]
    if table.columns.below:
        heads.append(list(table.columns.below))
    for head in heads:
        sheet.append(head)
    for row in table.rows:
        sheet.append([_typed(row.get(h.field, ""), table.fields.get(h.field)) for h in table.columns.headings])
    for cell in (cell for row in sheet.iter_rows() for cell in row):
        if isinstance(cell.value, str):
            cell.data_type = "s"  # what begins with "=" is a text, no formula
    last = len(heads) + len(table.rows) + _ROWS_MORE
    for at, heading in enumerate(table.columns.headings, start=1):
        letter = get_column_letter(at)
        sheet.column_dimensions[letter].width = max(9, min(len(heading.header) + 2, 26))
        sheet.cell(1, at).font = Font(bold=True)
        sheet.cell(1, at).alignment = Alignment(wrap_text=True, vertical="top")
        _prepared(sheet, table, heading, f"{letter}{len(heads) + 1}:{letter}{last}")
    sheet.freeze_panes = f"A{len(heads) + 1}"
    sheet.print_title_rows = f"1:{len(heads)}"
    sheet.page_setup.orientation = "landscape"
    sheet.page_setup.fitToHeight = 0
    sheet.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)
    book.properties.modified = book.properties.created
    out = io.BytesIO()
    ExcelWriter(book, _Timeless(out, "w")).save()
    return _without_clock(out.getvalue())


def _typed(text: str, what: Field | None) -> int | str | None:
    if not text:
        return None
    return int(text) if what is not None and what.kind == "integer" else text


def _prepared(sheet: Worksheet, table: EmptyTable, heading: Heading, cells: str) -> None:
    """What a column's cells may hold: number format, list of words, limits."""
    from openpyxl.worksheet.datavalidation import DataValidation

    what = table.fields.get(heading.field)
    if what is None:
        return
    if what.kind == "date":
        for row in sheet[cells]:
            row[0].number_format = "yyyy-mm-dd"
        return
    words = what.words or (("yes", "no") if what.kind == "yes-no" else tuple(table.known_ids.get(what.refers, ())))
    if words:
        listed = ",".join(words)
        if len(listed) > _LONGEST_LIST or any("," in word or '"' in word for word in words):
            return
        rule = DataValidation("list", formula1=f'"{listed}"', allow_blank=True)
    elif what.kind in {"number", "integer"} and what.low is not None and what.high is not None:
        try:
            low, high = (_in_unit(end, what, heading.unit) for end in (what.low, what.high))
        except units.UnitError:  # of a header of the user's, which `check` refuses
            return
        rule = DataValidation(
            "whole" if what.kind == "integer" else "decimal",
            operator="between",
            formula1=f"{low:.6g}",
            formula2=f"{high:.6g}",
            allow_blank=True,
        )
        rule.error = f"{what.title}: from {low:.6g} to {high:.6g} {heading.unit}".strip()
    else:
        return
    rule.errorStyle = "warning"  # who types something else may keep it: `check` judges
    rule.showErrorMessage = True
    sheet.add_data_validation(rule)
    rule.add(cells)


def _in_unit(value: float, what: Field, unit: str) -> float:
    if not what.dimension:
        return value
    scale = 0.01 if what.unit == "%" else 1.0
    return units.from_si(value * scale, unit, what.dimension)


class _Timeless(zipfile.ZipFile):
    """An archive that does not ask the clock, which may be before 1980: no archive knows such a day."""

    def writestr(self, zinfo_or_arcname: Any, data: Any, *_: Any, **__: Any) -> None:
        super().writestr(zipfile.ZipInfo(zinfo_or_arcname, _NEVER), data)

    def write(self, filename: Any, arcname: Any = None, *_: Any, **__: Any) -> None:
        self.writestr(arcname, Path(filename).read_bytes())


def _without_clock(book: bytes) -> bytes:
    """The same workbook without the day it was made."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(book)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name in sorted(old.namelist(), key=lambda each: (each != "[Content_Types].xml", each)):
            content = old.read(name)
            if name == "docProps/core.xml":
                content = _STAMP.sub(rb"\g<1>1980-01-01T00:00:00Z\g<2>", content)
            part = zipfile.ZipInfo(name, _NEVER)
            part.compress_type = zipfile.ZIP_DEFLATED
            part.external_attr = 0o600 << 16
            part.create_system = 0
            new.writestr(part, content)
    return out.getvalue()
