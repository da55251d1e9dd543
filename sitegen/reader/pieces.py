"""A text log in pieces of whole lines: its encoding and line ends are settled here, and memory stays flat."""

from __future__ import annotations

import codecs
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from sitegen.reader.blocked import refusal
from sitegen.reader.decode import LINE_LIMIT, decode, folder_of, taken
from sitegen.regular import open_regular

STEP = 1 << 22  # bytes read at a time
HEAD = 1 << 19  # bytes looked at for headers, separator and encoding
_ANY_SIZE = 1 << 62


@dataclass(frozen=True)
class Opening:
    """The beginning of a text log."""

    lines: list[str]  # whole lines only, unless the file ends here
    encoding: str
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Piece:
    """Lines in UTF-8, each ended by LF or CR LF."""

    data: bytes
    cut: bool = False  # the file ended without ending its last line


def opening(path: Path, file: str, stated: str) -> Opening:
    """The first lines of the file at `path`. Raises `Blocked` where there is none, or where it is no text."""
    data = taken(path, file, lambda stream: stream.read(HEAD + 4), _ANY_SIZE)
    if len(data) > HEAD:
        data = _whole_lines(data[:HEAD])
    decoded = decode(data, file, stated)
    lines = decoded.text.split("\n")
    if len(lines) > 1:
        lines.pop()  # empty after the last line end, or cut where the piece ends
    if max(map(len, lines)) > LINE_LIMIT // 4 and len(lines) == 1:
        raise _too_long(file)
    return Opening(lines, decoded.encoding, decoded.notes)


def pieces(path: Path, file: str, encoding: str, after: int) -> Iterator[Piece]:
    """All lines after the first `after`, in order. Raises `Blocked` where a line is no line of text."""
    with open_regular(path, folder_of(path, file)) as stream:
        for piece in _blocks(stream, encoding, file):
            data = piece.data
            if after:
                at = 0
                while after and at < len(data):
                    at = data.index(b"\n", at) + 1
                    after -= 1
                data = data[at:]
            if data:
                yield Piece(data, piece.cut)


def _whole_lines(data: bytes) -> bytes:
    """Without what follows the last line end, where there is one; of wide characters an even number of bytes."""
    wide = data[:2] in {codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE} or data[:4096].count(0) * 3 > len(data[:4096])
    if wide:
        return data[: len(data) // 4 * 4]
    end = max(data.rfind(b"\n"), data.rfind(b"\r")) + 1
    return data[:end] if end else data


def _blocks(stream: BinaryIO, encoding: str, file: str) -> Iterator[Piece]:
    wide = encoding in {"utf-16", "utf-32"}
    decoder = codecs.getincrementaldecoder(encoding)("replace") if wide else None
    carry, first, lines = b"", True, not wide
    while True:
        raw = stream.read(STEP + (_rest_of_line(stream) if lines else 0))
        lines = lines and b"\n" in raw
        if first and not wide:
            raw = raw.removeprefix(codecs.BOM_UTF8)
        first, last = False, not raw
        data = decoder.decode(raw, last).removeprefix("\ufeff").encode("utf-8", "replace") if decoder else raw
        data = carry + data if carry else data
        held = b""
        if not last and data.endswith(b"\r"):  # may belong to a line end that is not whole yet
            body = data.rstrip(b"\r")
            held, data = data[len(body) :], body
        data = _with_lf(data)
        end = data.rfind(b"\n") + 1
        carry = data[end:] + held
        if not last and len(carry) > LINE_LIMIT:
            raise _too_long(file)
        if end:
            whole = data if end == len(data) else data[:end]
            yield Piece(_in_utf8(whole, encoding))
        if last:
            carry = carry.rstrip(b"\x1a")  # end-of-file mark of old recorders
            if carry.strip():
                yield Piece(_in_utf8(carry, encoding) + b"\n", cut=True)
            return


def _rest_of_line(stream: BinaryIO) -> int:
    """Bytes from a step on to the end of the line there: a piece of whole lines spares the copies of parting."""
    here = stream.tell()
    stream.seek(here + STEP)
    rest = len(stream.readline(LINE_LIMIT))
    stream.seek(here)
    return rest


def _with_lf(data: bytes) -> bytes:
    """Lines ended by LF; CR LF throughout may stay, for the reader of numbers knows it."""
    if b"\r" not in data:
        return data
    singles = data.count(b"\r")
    if singles == data.count(b"\r\n") == data.count(b"\n"):
        return data
    return data.replace(b"\r\r\n", b"\n").replace(b"\r\n", b"\n").replace(b"\r", b"\n")


def _in_utf8(data: bytes, encoding: str) -> bytes:
    if encoding in {"utf-8", "utf-16", "utf-32"} or data.isascii():
        return data
    return data.decode(encoding, "replace").encode("utf-8")


def blanks_to_tabs(data: bytes) -> bytes:
    """Fields parted by runs of blanks as fields parted by tabs.

    >>> blanks_to_tabs(b"  1   2\\n3\\t4 \\n")
    b'1\\t2\\n3\\t4\\n'
    """
    parted = re.sub(rb"[ \t]+", b"\t", data.replace(b"\r\n", b"\n"))
    return parted.replace(b"\n\t", b"\n").replace(b"\t\n", b"\n").removeprefix(b"\t").removesuffix(b"\t")


def _too_long(file: str) -> Exception:
    return refusal(
        file,
        0,
        "line-too-long",
        f"a line is longer than {LINE_LIMIT} bytes",
        "one row of a table a line",
        "see whether this is the right file",
    )
