"""From the bytes of a record file to text with LF line ends, with the encoding stated rather than assumed."""

from __future__ import annotations

import codecs
import hashlib
import os
import re
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import BinaryIO

from sitegen.problems import nearest, shown
from sitegen.reader.blocked import Blocked, refusal
from sitegen.regular import open_regular

LINE_LIMIT = 1 << 20  # bytes: a line longer than this is no row of a table
FILE_LIMIT = 1 << 27  # bytes

_MARKS = (  # longest first: the mark of UTF-32 begins with that of UTF-16
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
ENCODINGS = ("utf-8", "utf-16", "windows-1252", "windows-1250", "iso-8859-1", "iso-8859-15")
"""Encodings a record entry may state."""

_CONTROL = bytes(byte for byte in range(32) if byte not in b"\t\n\r") + b"\x7f"
_CONTROL_TEXT = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")
_CONTAINERS = (
    (b"PK\x03\x04", "a workbook or another zip archive"),
    (b"\xd0\xcf\x11\xe0", "a workbook or document of an office program"),
    (b"%PDF", "a PDF document"),
    (b"\x1f\x8b", "a compressed file"),
)
_SAVE_AS_TEXT = "save the table as plain text with one separator between fields"


@dataclass(frozen=True)
class Decoded:
    """Text of a record file; every line ends with LF."""

    text: str
    encoding: str
    digest: str  # sha256 of the bytes
    notes: tuple[str, ...] = ()


def read_text(path: Path, file: str, stated: str = "", limit: int = FILE_LIMIT) -> Decoded:
    """Text of the file at `path`; `file` is its name in messages, `stated` an encoding from the record entry.

    Raises `Blocked` where there is no such file, where it is no text, or where it is not in the stated encoding.
    """
    return decode(taken(path, file, lambda stream: _in_lines(stream, file), limit), file, stated)


def taken(path: Path, file: str, take: Callable[[BinaryIO], bytes], limit: int = FILE_LIMIT) -> bytes:
    """What `take` takes of the file at `path`. Raises `Blocked` where it is missing or has more than `limit` bytes."""
    try:
        with open_regular(path, folder_of(path, file)) as stream:
            size = os.fstat(stream.fileno()).st_size
            if size > limit:
                raise refusal(
                    file,
                    0,
                    code="file-too-big",
                    what=f"the file has {size} bytes",
                    expected=f"at most {limit} bytes",
                    next_step="split the table into several files",
                )
            return take(stream)
    except (FileNotFoundError, IsADirectoryError, NotADirectoryError):
        raise _missing(path, file) from None
    except (OSError, ValueError) as fault:  # ValueError: a name no file can have
        what = getattr(fault, "strerror", None) or "the name is not one a file can have"
        raise refusal(
            file,
            0,
            code="file-unreadable",
            what=f"the file cannot be read: {what}",
            next_step="see to its name and rights",
        ) from None


def folder_of(path: Path, file: str) -> Path:
    """The folder a link of the file at `path` may not lead out of: the program's, from which `file` names it.

    >>> folder_of(Path("/home/programs/pump/records/a.csv"), "pump/records/a.csv").as_posix()
    '/home/programs/pump'
    """
    within = PurePosixPath(file).parts[1:]
    return path.parents[len(within) - 1] if within and path.parts[-len(within) :] == within else path.parent


def decode(data: bytes, file: str, stated: str = "") -> Decoded:
    """Text of these bytes. Raises `Blocked`; see `read_text`."""
    for head, kind in _CONTAINERS:
        if data.startswith(head):
            raise _binary(file, f"this is {kind}, not a text table")
    if stated and stated.lower().replace("_", "-") not in ENCODINGS:
        raise refusal(
            file,
            0,
            code="encoding-unknown",
            what=f'the encoding "{shown(stated)}" is not known',
            expected=f"one of {', '.join(ENCODINGS)}",
            nearest=nearest(stated, ENCODINGS),
            next_step="state another encoding, or none",
        )
    text, encoding, notes = _decoded(data, file, stated)
    single = encoding not in {"utf-16", "utf-32"}
    if not single or len(data.translate(None, _CONTROL)) != len(data):
        text = text.removesuffix("\x1a")  # end-of-file mark of old recorders
        control = _CONTROL_TEXT.search(text)
        if control:
            line = _line_of(text, control.start())
            raise _binary(file, f"the control character U+{ord(control[0]):04X} is no part of a text table", line)
    text, line_ends = _with_lf(text)
    if line_ends:
        notes = (*notes, line_ends)
    return Decoded(text, encoding, hashlib.sha256(data).hexdigest(), notes)


def _in_lines(stream: BinaryIO, file: str) -> bytes:
    """All bytes, unless a line is longer than any row can be: then nothing more of it is read."""
    pieces: list[bytes] = []
    running, line = 0, 1
    while piece := stream.read(LINE_LIMIT):
        ends = [at for at in (piece.find(b"\n"), piece.find(b"\r")) if at >= 0]
        if running + (min(ends) if ends else len(piece)) > LINE_LIMIT:
            raise refusal(
                file,
                line,
                code="line-too-long",
                what=f"line {line} is longer than {LINE_LIMIT} bytes",
                expected="one row of a table a line",
                next_step="see whether this is the right file",
            )
        running = len(piece) - 1 - max(piece.rfind(b"\n"), piece.rfind(b"\r")) if ends else running + len(piece)
        line += piece.count(b"\n") or piece.count(b"\r")
        pieces.append(piece)
    return b"".join(pieces)


def _decoded(data: bytes, file: str, stated: str) -> tuple[str, str, tuple[str, ...]]:
    mark = next((name for head, name in _MARKS if data.startswith(head)), "")
    if mark or stated:
        asked = stated.lower().replace("_", "-")
        encoding = mark or asked
        name = encoding.removesuffix("-sig")
        notes = (
            ()
            if asked.startswith(name) or not stated
            else (f"begins with the mark of {name}: taken as that, not as {stated}",)
        )
        try:
            return data.decode(encoding), name, notes
        except UnicodeDecodeError as fault:
            line = 0 if "16" in name or "32" in name else _line_of_byte(data, fault.start)
            raise refusal(
                file,
                line,
                code="encoding-wrong",
                what=f"the bytes are not {name}",
                expected=f"text in {name}, as {'its first bytes say' if mark else 'the record entry says'}",
                next_step="save the file again, or state the encoding it is in",
            ) from None
    if data[:4096].count(0) * 3 > len(data[:4096]):
        raise refusal(
            file,
            0,
            code="encoding-wrong",
            what="every other byte is zero, as in UTF-16 without its mark",
            expected="text",
            next_step="if it is text, save it in UTF-8, or write `encoding: utf-16` in the record entry",
        )
    try:
        return data.decode("utf-8"), "utf-8", ()
    except UnicodeDecodeError as fault:
        replaced = data.decode("utf-8", "replace")
        damaged = replaced.count("\ufffd")
        whole = sum(1 for character in replaced if character > "\x7f") - damaged
        if whole > damaged:
            raise refusal(
                file,
                _line_of_byte(data, fault.start),
                code="encoding-mixed",
                what="a byte here is not UTF-8, though other characters of the file are",
                expected="one encoding throughout",
                next_step="save the file again in UTF-8, or state its encoding",
            ) from None
    encoding = "windows-1252" if any(0x80 <= byte <= 0x9F for byte in set(data)) else "iso-8859-1"
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError as fault:
        raise refusal(
            file,
            _line_of_byte(data, fault.start),
            code="encoding-unknown",
            what=f"the byte 0x{data[fault.start]:02X} is neither UTF-8 nor Windows-1252",
            expected="text",
            next_step="state the encoding in the record entry, or save the file in UTF-8",
        ) from None
    return text, encoding, (f"not UTF-8: taken as {encoding}",)


def _with_lf(text: str) -> tuple[str, str]:
    """Text with LF line ends, and a note where they were none of the two usual kinds."""
    if "\r" not in text:
        return text, ""
    doubled, pairs = text.count("\r\r\n"), text.count("\r\n")
    single = text.count("\r") - pairs - doubled
    bare = text.count("\n") - pairs
    kinds = [(doubled, "CR CR LF"), (pairs - doubled, "CR LF"), (single, "CR"), (bare, "LF")]
    found = [name for count, name in kinds if count > 0]
    text = text.replace("\r\r\n", "\n").replace("\r\n", "\n").replace("\r", "\n")
    return text, "" if found == ["CR LF"] else f"line ends: {', '.join(found)}; each counts as one line"


def _line_of(text: str, at: int) -> int:
    before, _ = _with_lf(text[:at])
    return before.count("\n") + 1


def _line_of_byte(data: bytes, at: int) -> int:
    return _line_of(data[:at].decode("latin-1"), at)


def _binary(file: str, what: str, line: int = 0) -> Blocked:
    return refusal(file, line, code="not-text", what=what, expected="a text table", next_step=_SAVE_AS_TEXT)


def _missing(path: Path, file: str) -> Blocked:
    beside: list[str] = []
    with suppress(OSError):
        beside = sorted(each.name for each in path.parent.iterdir() if each.is_file())
    what = "this is a folder, not a file" if path.is_dir() else "there is no such file"
    return refusal(
        file,
        0,
        code="file-missing",
        what=what,
        expected="a record table",
        nearest=nearest(path.name, beside),
        next_step="correct `file` in the record entry, or put the file there",
    )
