"""What a record file is: name and content must say the same before it is read as text, workbook or Parquet."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from sitegen.program.files import WORKBOOKS
from sitegen.program.model import RecordSource
from sitegen.program.records import PARQUET
from sitegen.reader.blocked import Blocked, refusal
from sitegen.reader.decode import FILE_LIMIT, Decoded, read_text, taken
from sitegen.reader.grid import RECORD_ROWS, ROW_BYTES, Grid

HEADED = 1000  # lines above the rows
PACKED_LIMIT = 1 << 27  # bytes of a workbook or a Parquet file

_ZIP, _OLD, _PARQUET, _LOCKED_PARQUET = b"PK\x03\x04", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", b"PAR1", b"PARE"
_LOCKED = "EncryptedPackage".encode("utf-16-le")
_NOT_READ = {  # endings of spreadsheets in forms that are not read
    ".xls": "the old form .xls",
    ".xlsb": "the binary form .xlsb",
    ".ods": "the form .ods",
}
_SAID = {
    "workbook": "a workbook",
    "old": "a workbook in the old form .xls",
    "binary": "a workbook in the binary form .xlsb",
    "ods": "a spreadsheet in the form .ods",
    "zip": "a zip archive that holds no workbook",
    "parquet": "a Parquet file",
    "text": "no workbook and no Parquet file; it looks like text",
    "other": "neither a workbook nor a Parquet file nor text",
}
_SAVE = "open it in an office program and save it as .xlsx, or the table as CSV"


def load(path: Path, file: str, source: RecordSource, most: int = RECORD_ROWS) -> Decoded | Grid:
    """The text or the cells of the file at `path`; `file` is its name in messages, `most` the rows it may have.

    Raises `Blocked` where the file cannot be read, is too large, or is not what its name says.
    """
    ending = path.suffix.lower()
    wanted = "workbook" if ending in WORKBOOKS else "parquet" if ending == PARQUET else "text"
    head = taken(path, file, lambda stream: stream.read(8), limit=1 << 62)
    plain = not head.startswith((_ZIP, _OLD, _PARQUET, _LOCKED_PARQUET))
    if wanted == "text" and plain and ending not in _NOT_READ:
        return _short_enough(path, file, source, most)
    data = taken(path, file, lambda stream: stream.read(), PACKED_LIMIT)
    kind = _kind(data)
    if ending in _NOT_READ:
        raise _unread(file, ending, kind)
    if kind == wanted == "workbook":
        from sitegen.reader.workbook import read_workbook

        return read_workbook(data, file, source, most)
    if kind == wanted == "parquet":
        from sitegen.reader.parquet import read_parquet

        return read_parquet(data, file, most)
    if wanted == "text" and kind not in {"workbook", "parquet"}:
        return _short_enough(path, file, source, most)  # which says what else it is
    raise _misnamed(file, ending, wanted, kind, data)


def _short_enough(path: Path, file: str, source: RecordSource, most: int) -> Decoded:
    """A text without the blank lines below it. Raises `Blocked` where it has too many lines."""
    found = read_text(path, file, source.encoding, min(most * ROW_BYTES, FILE_LIMIT))
    text = found.text.rstrip("\n")
    lines = text.count("\n") + 1
    if lines > most + HEADED:
        raise refusal(
            file,
            0,
            code="file-too-big",
            what=f"the file has {lines} lines",
            expected=f"a table of at most {most} rows",
            next_step="delete empty lines, or split it into several files",
        )
    return replace(found, text=text)


def _kind(data: bytes) -> str:
    if data.startswith(_ZIP):
        from sitegen.reader.workbook import parts_of

        names = set(parts_of(data))
        if "xl/workbook.bin" in names:
            return "binary"
        if "[Content_Types].xml" in names:
            return "workbook"
        return "ods" if {"mimetype", "content.xml"} <= names else "zip"
    if data.startswith(_OLD):
        return "old"
    if data[:4] in {_PARQUET, _LOCKED_PARQUET} and data[-4:] == data[:4]:
        return "parquet"
    return "text" if data and b"\0" not in data[:4096] else "other"


def _unread(file: str, ending: str, kind: str) -> Blocked:
    renamed = {"text": "its name end in .csv or .tsv", "workbook": "its name end in .xlsx"}
    what = f"workbooks in {_NOT_READ[ending]} are not read"
    if kind in renamed:
        what += f"; this file is {'a text' if kind == 'text' else 'a workbook in the newer form'} under that name"
    return refusal(
        file,
        0,
        code="workbook-form",
        what=what,
        expected="a workbook (.xlsx), a Parquet file (.parquet), or a text table",
        next_step=f"let {renamed[kind]}" if kind in renamed else _SAVE,
    )


def _misnamed(file: str, ending: str, wanted: str, kind: str, data: bytes) -> Blocked:
    if kind == "old" and _LOCKED in data:
        return refusal(
            file,
            0,
            code="workbook-locked",
            what="the workbook is locked with a password",
            expected="a workbook that opens without one",
            next_step="take the password away, and save it as .xlsx",
        )
    ends = {"workbook": ".xlsx", "parquet": ".parquet", "text": ".csv or .tsv"}
    said = f'this is {_SAID[kind]}, though its name ends in "{ending}"' if data else "the file is empty"
    return refusal(
        file,
        0,
        code="name-and-content",
        what=said,
        expected={"workbook": "a workbook", "parquet": "a Parquet file", "text": "a text table"}[wanted],
        next_step=f"let its name end in {ends[kind]}"
        if kind in ends and data
        else "see whether this is the right file",
    )
