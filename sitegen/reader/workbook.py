"""A worksheet of a workbook (.xlsx: Office Open XML, ECMA-376 part 1) to a grid of cells.

The worksheet is read as a stream of our own rather than through openpyxl, because its read-only mode tells either the
formula or the value of a cell, not both, and neither merged nor hidden cells, and because it expands entities. What
number formats and serial dates mean is openpyxl's to say. Nothing in a workbook is run, calculated or followed.
"""

from __future__ import annotations

import hashlib
import io
import posixpath
import re
import struct
import zipfile
import zlib
from collections.abc import Callable, Iterator, Mapping, Sized
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from lzma import LZMAError
from xml.parsers import expat

from sitegen.problems import listed, nearest, shown
from sitegen.program.model import RecordSource
from sitegen.reader.blocked import refusal
from sitegen.reader.grid import CELL_LIMIT, RECORD_ROWS, ROW_LIMIT, TEXT_LIMIT, Grid, Odd, letters
from sitegen.reader.numbers import LONGEST, PLAIN

UNPACKED_LIMIT = 1 << 28  # bytes of all parts together, as the directory of the archive states them
PARTS_LIMIT = 10_000
TEXTS_LIMIT = 1_000_000  # texts that cells share
_FEW = 10_000  # of anything else a workbook lists
_TOKEN = 1 << 22  # bytes of one tag or remark
CELL_TEXT_LIMIT = 32_767  # characters of one cell: the limit office programs keep
_STEP = 1 << 16
_KNOWN = 1 << 16  # numbers remembered with the text they become
_REFERENCE = re.compile(r"([A-Z]{1,3})([1-9][0-9]{0,6})")
_ESCAPE = re.compile(r"_x([0-9A-Fa-f]{4})_")  # ECMA-376 part 1, 22.9.2.19
_CONTROL = re.compile("[\x00-\x1f\x7f]+")
_QUOTED = re.compile(r'"[^"]*"|\\.')
_DATES = frozenset({*range(14, 23), *range(27, 37), *range(45, 48), *range(50, 59)})  # 18.8.30
_CALCULATE = "a value: open the workbook in an office program, let it calculate, and save it"
_SAVE_AGAIN = "open the workbook in an office program and save it again as .xlsx"


class _BrokenError(Exception):
    """The archive or one of its parts is not what the standard says."""


class _TooBigError(Exception):
    """The worksheet is larger than any record table."""


class _Enough(Exception):  # noqa: N818 - no fault: what was looked for is found
    """Ends the reading of a part early."""


def parts_of(data: bytes) -> list[str]:
    """Names in a zip archive; empty where its directory cannot be read."""
    try:
        with _told(), zipfile.ZipFile(io.BytesIO(data)) as archive:
            return archive.namelist()
    except _BrokenError:
        return []


def read_workbook(data: bytes, file: str, source: RecordSource, most: int = RECORD_ROWS) -> Grid:
    """The worksheet a record entry names, or the only one with something in it.

    Raises `Blocked` where the workbook is broken, locked or too large, or where it is not clear which worksheet is
    meant.
    """
    with _refused(file), _told(), zipfile.ZipFile(io.BytesIO(data)) as archive:
        return _Workbook(archive, file).grid(source, hashlib.sha256(data).hexdigest(), most=most)


def worksheets(data: bytes, file: str) -> list[tuple[str, bool]]:
    """Names of the worksheets in their order, and whether something is in them. Raises as `read_workbook`."""
    with _refused(file), _told(), zipfile.ZipFile(io.BytesIO(data)) as archive:
        return _Workbook(archive, file).listed()


def scan_workbook(data: bytes, file: str, source: RecordSource, take: Callable[[int, list[str]], None]) -> str:
    """Give every row with something in it to `take`, with its number, while the worksheet is read; its name in words.

    Rows are not kept, so a worksheet of a million rows needs no more memory than its file. Raises as `read_workbook`;
    what `take` raises must be no fault this module has a sentence for.
    """
    with _refused(file), _told(), zipfile.ZipFile(io.BytesIO(data)) as archive:
        return _Workbook(archive, file).grid(source, "", take).encoding


def read_worksheets(
    data: bytes, file: str, wanted: str = "", most: int = RECORD_ROWS
) -> Iterator[tuple[str, Grid | None]]:
    """Name and cells of each worksheet, one after the other; None instead of cells where another is wanted.

    Raises `Blocked` where the workbook is broken, locked or too large.
    """
    with _refused(file), _told(), zipfile.ZipFile(io.BytesIO(data)) as archive:
        yield from _Workbook(archive, file).grids(hashlib.sha256(data).hexdigest(), wanted, most)


@contextmanager
def _refused(file: str) -> Iterator[None]:
    """A broken or too large workbook as a refusal."""
    try:
        yield
    except _BrokenError as fault:
        raise refusal(
            file,
            0,
            code="workbook-broken",
            what=f"the workbook cannot be read: {fault}",
            expected="a workbook as an office program saves it",
            next_step=_SAVE_AGAIN,
        ) from None
    except _TooBigError as fault:
        raise refusal(
            file,
            0,
            code="file-too-big",
            what=f"the workbook is too large: {fault}",
            expected="a record table",
            next_step="keep the table alone in a workbook, or save it as CSV",
        ) from None


@contextmanager
def _told() -> Iterator[None]:
    """Whatever the archive or its XML breaks, told as one kind of fault."""
    try:
        yield
    except expat.ExpatError as fault:
        raise _BrokenError(f"its XML is broken ({expat.ErrorString(fault.code)})") from None
    except RuntimeError as fault:  # also NotImplementedError: a kind of packing nobody uses here
        locked = "password" in str(fault) or "encrypted" in str(fault)
        raise _BrokenError(
            "it is locked with a password" if locked else "its archive is packed in an unknown way"
        ) from None
    except (zipfile.BadZipFile, zlib.error, LZMAError, EOFError, OSError, struct.error, IndexError) as fault:
        del fault
        raise _BrokenError("its archive is damaged") from None
    except (ValueError, LookupError):  # encodings no XML parser knows, numbers that are none
        raise _BrokenError("one of its parts does not say what it should") from None


@dataclass
class _Listed:
    """A worksheet as the workbook lists it."""

    name: str
    part: str
    hidden: bool


class _Workbook:
    """Parts of a workbook: the list of worksheets, shared texts, and which styles show a date or per cent."""

    def __init__(self, archive: zipfile.ZipFile, file: str) -> None:
        self._archive = archive
        self._file = file
        self._names = set(archive.namelist())
        size = sum(info.file_size for info in archive.infolist())
        if size > UNPACKED_LIMIT:
            raise _TooBigError(f"unpacked it has {size} bytes, more than {UNPACKED_LIMIT}")
        if len(self._names) > PARTS_LIMIT:
            raise _TooBigError(f"it has {len(self._names)} parts, more than {PARTS_LIMIT}")

    def grid(
        self,
        source: RecordSource,
        digest: str,
        take: Callable[[int, list[str]], None] | None = None,
        most: int = ROW_LIMIT,
    ) -> Grid:
        """The worksheet meant, as a grid; its rows go to `take` instead where that is given."""
        sheets, texts, formats = self._opened()
        return self._read(self._meant(source, sheets, texts, formats), texts, formats, digest, take, most)

    def listed(self) -> list[tuple[str, bool]]:
        """Names of the worksheets, and whether something is in them."""
        sheets, texts, formats = self._opened()
        return [(sheet.name, self._filled(sheet.part, texts, formats)) for sheet in sheets]

    def grids(self, digest: str, wanted: str, most: int) -> Iterator[tuple[str, Grid | None]]:
        """Each worksheet, as `read_worksheets` gives it; a part that several name once."""
        sheets, texts, formats = self._opened()
        read: set[str] = set()
        for sheet in sheets:
            meant = wanted in {"", sheet.name} and sheet.part not in read
            if meant:
                read.add(sheet.part)
            yield sheet.name, self._read(sheet, texts, formats, digest, None, most) if meant else None

    def _opened(self) -> tuple[list[_Listed], list[str], _Formats]:
        main = self._related("", "officeDocument")
        if not main:
            raise _BrokenError("it names no workbook part")
        sheets, mac = self._sheets(main[0])
        texts = [text for part in self._related(main[0], "sharedStrings")[:1] for text in self._texts(part)]
        formats = _Formats(mac, {})
        for part in self._related(main[0], "styles")[:1]:
            formats = _Formats(mac, self._styles(part))
        return sheets, texts, formats

    def _read(
        self,
        sheet: _Listed,
        texts: list[str],
        formats: _Formats,
        digest: str,
        take: Callable[[int, list[str]], None] | None,
        most: int,
    ) -> Grid:
        read = _Cells(texts, formats, take=take, most=most)
        self.scan(sheet.part, read.start, read.end, read.text)
        return read.grid(digest, sheet.name, ("the worksheet is hidden",) if sheet.hidden else ())

    def scan(
        self,
        part: str,
        start: Callable[[str, dict[str, str]], None],
        end: Callable[[str], None] | None = None,
        text: Callable[[str], None] | None = None,
    ) -> None:
        """Stream one part through handlers; a document type, which may hold entities, is refused."""
        if part not in self._names:
            raise _BrokenError(f"the part {shown(part)} is missing")
        parser = expat.ParserCreate()
        parser.buffer_text = True

        def no_type(*_: object) -> None:
            raise _BrokenError("its XML declares a document type, which no workbook has")

        parser.StartDoctypeDeclHandler = no_type
        parser.StartElementHandler = start
        parser.EndElementHandler = end
        parser.CharacterDataHandler = text
        try:
            with self._archive.open(part) as stream:
                fed = 0
                while piece := stream.read(_STEP):
                    parser.Parse(piece, False)
                    fed += len(piece)
                    if fed - parser.CurrentByteIndex > _TOKEN:
                        raise _BrokenError("its XML is broken (a tag without an end)")
                parser.Parse(b"", True)
        except _Enough:
            return

    def _related(self, part: str, kind: str) -> list[str]:
        return [target for target, what in self._relations(part).values() if what == kind]

    def _relations(self, part: str) -> dict[str, tuple[str, str]]:
        """Id -> part and kind; relations that lead out of the archive are left out."""
        folder, _, name = part.rpartition("/")
        beside = posixpath.join(folder, "_rels", f"{name}.rels")
        found: dict[str, tuple[str, str]] = {}
        if beside not in self._names:
            return found

        def start(element: str, given: dict[str, str]) -> None:
            if _local(element) == "Relationship" and given.get("TargetMode") != "External":
                target = posixpath.normpath(posixpath.join("/", folder, given.get("Target", ""))).lstrip("/")
                found[given.get("Id", "")] = (target, given.get("Type", "").rpartition("/")[2])

        self.scan(beside, start)
        return found

    def _sheets(self, part: str) -> tuple[list[_Listed], bool]:
        relations = self._relations(part)
        sheets: list[_Listed] = []
        mac = False

        def start(element: str, given: dict[str, str]) -> None:
            nonlocal mac
            name = _local(element)
            if name == "workbookPr":
                mac = given.get("date1904", "0") in {"1", "true"}
            elif name == "sheet":
                key = next((value for at, value in given.items() if at.endswith(":id")), "")
                target, kind = relations.get(key, ("", ""))
                if kind == "worksheet":
                    _few(sheets, "worksheets")
                    sheets.append(_Listed(given.get("name", ""), target, given.get("state", "visible") != "visible"))

        self.scan(part, start)
        return sheets, mac

    def _meant(self, source: RecordSource, sheets: list[_Listed], texts: list[str], formats: _Formats) -> _Listed:
        where, wanted = source.where, source.sheet
        names = [sheet.name for sheet in sheets]
        if wanted:
            found = next((sheet for sheet in sheets if sheet.name == wanted), None)
            if found is None:
                raise refusal(
                    where.file,
                    where.line,
                    code="worksheet-unknown",
                    what=f'{shown(self._file)} has no worksheet "{shown(wanted)}"',
                    expected=listed(names),
                    next_step="correct `sheet` in the record entry",
                    column=where.column,
                    nearest=nearest(wanted, names),
                )
            return found
        parts = {sheet.part for sheet in sheets}  # each is looked into once, however many sheets name it
        known = {part: len(sheets) == 1 or self._filled(part, texts, formats) for part in sorted(parts)}
        filled = [sheet for sheet in sheets if known[sheet.part]]
        if len(filled) > 1:
            raise refusal(
                where.file,
                where.line,
                code="worksheet-unstated",
                what=f"{shown(self._file)} has {len(filled)} worksheets with something in them",
                expected=f"the name of one: {listed(sheet.name for sheet in filled)}",
                next_step='write `sheet` in the record entry; of tables "{engine}" means each named after a build',
                column=where.column,
            )
        if not filled:
            raise refusal(
                self._file,
                0,
                code="table-empty",
                what="the workbook has no worksheet with something in it",
                expected="a header and rows",
                next_step="see whether this is the right file",
            )
        return filled[0]

    def _filled(self, part: str, texts: list[str], formats: _Formats) -> bool:
        read = _Cells(texts, formats, enough=True)
        self.scan(part, read.start, read.end, read.text)
        return bool(read.rows)

    def _texts(self, part: str) -> Iterator[str]:
        """Shared texts in order, without what a phonetic run adds."""
        texts: list[str] = []
        pieces: list[str] = []
        inside = phonetic = False
        size = 0

        def start(element: str, given: dict[str, str]) -> None:
            nonlocal inside, phonetic
            del given
            name = _local(element)
            if name == "si":
                pieces.clear()
            phonetic = phonetic or name == "rPh"
            inside = name == "t" and not phonetic

        def end(element: str) -> None:
            nonlocal inside, phonetic
            name = _local(element)
            inside = False
            if name == "rPh":
                phonetic = False
            elif name == "si":
                texts.append(clean("".join(pieces)))
                if len(texts) > TEXTS_LIMIT:
                    raise _TooBigError(f"it has more than {TEXTS_LIMIT} texts")

        def text(piece: str) -> None:
            nonlocal size
            if inside:
                pieces.append(piece)
                size += len(piece)
                if size > TEXT_LIMIT:
                    raise _TooBigError(f"its texts have more than {TEXT_LIMIT} characters")

        self.scan(part, start, end, text)
        yield from texts

    def _styles(self, part: str) -> dict[int, str]:
        """Style -> "date", "elapsed" or "percent"; styles of plain numbers and texts are left out."""
        own: dict[int, str] = {}
        formats: list[int] = []
        inside = False

        def start(element: str, given: dict[str, str]) -> None:
            nonlocal inside
            name = _local(element)
            if name == "numFmt":
                _few(own, "number formats")
                own[int(given.get("numFmtId", "0"))] = given.get("formatCode", "")
            elif name == "cellXfs":
                inside = True
            elif name == "xf" and inside:
                _few(formats, "styles")
                formats.append(int(given.get("numFmtId", "0")))

        def end(element: str) -> None:
            nonlocal inside
            inside = inside and _local(element) != "cellXfs"

        self.scan(part, start, end)
        kinds = {number: _kind_of(number, own.get(number)) for number in set(formats)}
        return {style: kinds[number] for style, number in enumerate(formats) if kinds[number]}


def _kind_of(number: int, own: str | None) -> str:
    """What a number format shows: "date", "elapsed", "percent" or "" for a number as it stands."""
    from openpyxl.styles.numbers import is_date_format, is_timedelta_format

    if own is None:
        if number == 46:
            return "elapsed"
        return "date" if number in _DATES else "percent" if number in {9, 10} else ""
    if is_timedelta_format(own):
        return "elapsed"
    if own.strip().casefold() != "general" and is_date_format(own):
        return "date"
    return "percent" if "%" in _QUOTED.sub("", own) else ""


@dataclass(frozen=True)
class _Formats:
    """How numbers are shown."""

    mac: bool  # days count from 1904
    kinds: Mapping[int, str]

    def shown(self, number: str, kind: str) -> str:
        """A number as the date, time or per cent it is shown as. Raises ValueError and OverflowError."""
        from openpyxl.utils.datetime import MAC_EPOCH, WINDOWS_EPOCH, from_excel

        if kind == "percent":
            return format((Decimal(number) * 100).normalize(), "f")
        value = from_excel(float(number), MAC_EPOCH if self.mac else WINDOWS_EPOCH, timedelta=kind == "elapsed")
        return iso(value)


def iso(value: object) -> str:
    """A date, a time or both in ISO; midnight is no time of day; a length of time in hours, minutes and seconds.

    >>> iso(datetime(2026, 5, 14)), iso(datetime(2026, 5, 14, 8, 30)), iso(timedelta(hours=40, seconds=5))
    ('2026-05-14', '2026-05-14T08:30:00', '40:00:05')
    """
    if isinstance(value, datetime):
        return (value.date() if value.time() == time(0) and value.tzinfo is None else value).isoformat()
    if isinstance(value, timedelta):
        seconds = value.total_seconds()
        minutes, rest = divmod(abs(seconds), 60)
        return f"{'-' if seconds < 0 else ''}{int(minutes) // 60}:{int(minutes) % 60:02d}:{rest:02.0f}"
    if isinstance(value, date | time):
        return value.isoformat()
    raise ValueError(f"{type(value).__name__} is no date")


def clean(text: str) -> str:
    """A text of a cell on one line: the standard's escapes taken back, control characters turned into blanks.

    >>> clean("a_x000D_\\nb_x005F_x000D_")
    'a b_x000D_'
    """
    if "_x" in text:
        text = _ESCAPE.sub(_character, text)
    return _CONTROL.sub(" ", text) if not text.isprintable() else text


def _character(match: re.Match[str]) -> str:
    code = int(match[1], 16)
    return match[0] if 0xD800 <= code <= 0xDFFF else chr(code)


def number_text(number: str) -> str:
    """A number in the text that gives it again: whole numbers without point and exponent. Raises ValueError.

    >>> number_text("72.5"), number_text("1.0"), number_text("1.4E1")
    ('72.5', '1', '14')
    """
    if number.isdigit() and number.isascii() and len(number) <= LONGEST:
        return number
    if len(number) > LONGEST or not PLAIN.fullmatch(number):
        raise ValueError(number)
    value = float(number)
    return str(int(value)) if value.is_integer() and abs(value) < 1e15 else number


def _few(listed: Sized, what: str) -> None:
    if len(listed) >= _FEW:
        raise _TooBigError(f"it has more than {_FEW} {what}")


def _local(name: str) -> str:
    return name.rpartition(":")[2]


@dataclass
class _Cells:
    """Handlers for the stream of one worksheet."""

    texts: list[str]
    formats: _Formats
    enough: bool = False  # stop at the first cell that holds something
    most: int = ROW_LIMIT  # rows with something in them
    take: Callable[[int, list[str]], None] | None = None  # gets the rows, which are not kept then
    rows: list[list[str]] = field(default_factory=list)
    numbers: list[int] = field(default_factory=list)
    odd: dict[tuple[int, int], Odd] = field(default_factory=dict)
    percent: dict[int, int] = field(default_factory=dict)
    formulas: dict[int, list[int]] = field(default_factory=dict)
    merged: list[tuple[str, int]] = field(default_factory=list)
    hidden_rows: list[int] = field(default_factory=list)
    hidden_columns: list[tuple[int, int]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._inside = self._taking = self._phonetic = self._hidden = False
        self._row = self._column = 0  # of the last cell, from 1
        self._cells: list[str] = []
        self._columns: dict[str, int] = {}
        self._known: dict[tuple[str, str], str] = {}  # number and style -> text
        self._count = self._size = 0

    def start(self, element: str, given: dict[str, str]) -> None:
        """A tag begins."""
        name = _local(element) if ":" in element else element
        if not self._inside:
            self._around(name, given)
        elif name == "v":
            self._value, self._taking = [], True
        elif name == "c":
            self._cell(given)
        elif name == "t":
            self._taking = not self._phonetic
        elif name == "rPh":
            self._phonetic = True
        elif name == "is":
            self._value = []
        elif name == "f":
            self._formula = True
        elif name == "row":
            row = int(given["r"]) if "r" in given else self._row + 1
            if not self._row < row <= ROW_LIMIT:
                raise _BrokenError(f"row {row} of the worksheet follows row {self._row}")
            self._row, self._column, self._cells, self._written = row, 0, [], str(row)
            self._hidden = given.get("hidden", "0") in {"1", "true"}

    def end(self, element: str) -> None:
        """A tag ends."""
        if not self._inside:
            return
        name = _local(element) if ":" in element else element
        if name in {"v", "t"}:
            self._taking = False
        elif name == "c":
            self._put()
        elif name == "rPh":
            self._phonetic = False
        elif name == "row":
            if any(cell.strip() for cell in self._cells):
                if self.take is not None:
                    self.take(self._row, self._cells)
                    return
                if len(self.rows) >= self.most:
                    raise _TooBigError(f"it has more than {self.most} rows with something in them")
                self.rows.append(self._cells)
                self.numbers.append(self._row)
                if self._hidden:
                    self.hidden_rows.append(self._row)
        elif name == "sheetData":
            self._inside = False

    def text(self, piece: str) -> None:
        """Text between two tags."""
        if self._taking and self._value is not None:
            self._value.append(piece)
            self._length += len(piece)
            if self._length > CELL_TEXT_LIMIT * 8:  # before escapes are taken back
                raise _TooBigError(f"the cell {letters(self._column - 1)}{self._row} holds {self._length} characters")

    def _around(self, name: str, given: dict[str, str]) -> None:
        if name == "sheetData":
            self._inside = True
        elif name == "col" and given.get("hidden", "0") in {"1", "true"}:
            _few(self.hidden_columns, "groups of hidden columns")
            self.hidden_columns.append((int(given["min"]) - 1, int(given["max"]) - 1))
        elif name == "mergeCell":
            reference = given.get("ref", "")
            match = _REFERENCE.fullmatch(reference.rpartition(":")[2])
            if match:
                _few(self.merged, "merged ranges")
                self.merged.append((reference, int(match[2])))

    def _cell(self, given: dict[str, str]) -> None:
        reference = given.get("r")
        if reference is None:
            column = self._column + 1
        else:
            name = reference.removesuffix(self._written)
            column = self._columns.get(name, 0) or self._named(reference)
        if column <= self._column:
            raise _BrokenError(f"the cells of row {self._row} of the worksheet are not in order")
        self._column = column
        self._kind, self._style = given.get("t", "n"), given.get("s", "0")
        self._formula, self._value, self._phonetic, self._length = False, None, False, 0

    _kind = _style = _written = ""
    _formula = False
    _length = 0  # characters of the cell so far
    _value: list[str] | None = None

    def _named(self, reference: str) -> int:
        """Column of a cell, from 1, whose letters are met for the first time."""
        match = _REFERENCE.fullmatch(reference)
        if match is None or match[2] != self._written:
            raise _BrokenError(f"row {self._row} of the worksheet holds a cell {shown(reference)}")
        return self._columns.setdefault(match[1], _number_of(match[1]))

    def _put(self) -> None:
        """The cell that ends here goes to its row."""
        at = self._column - 1
        written = None if self._value is None else "".join(self._value)
        if self._formula:
            self.formulas.setdefault(at, []).append(self._row)
            if written is None or (not written and self._kind != "str"):
                self._set_aside(at, "=", "formula-not-calculated", "a formula that was never calculated", _CALCULATE)
                return
        if not written:
            return
        if self._kind == "n":
            self._number(at, written)
            return
        if self._kind == "s":
            place = int(written)
            if not 0 <= place < len(self.texts):
                raise _BrokenError(f"the cell {letters(at)}{self._row} refers to a text that is not there")
            self._add(at, self.texts[place])
        elif self._kind == "b":
            self._add(at, "yes" if written.strip() in {"1", "true"} else "no")
        elif self._kind == "e":
            self._set_aside(at, clean(written), "cell-error", f"the error {shown(written)}", "a value")
        else:
            self._add(at, clean(written))

    def _number(self, at: int, written: str) -> None:
        known = self._known.get((written, self._style))
        if known is not None:
            self._add(at, known)
            return
        kind = self.formats.kinds.get(int(self._style), "")
        try:
            text = number_text(written)
            if kind:
                text = self.formats.shown(text, kind)
            if kind == "percent":
                self.percent[at] = self._row
            elif len(self._known) < _KNOWN:
                self._known[written, self._style] = text
        except (ValueError, OverflowError, ArithmeticError):
            what = f'"{shown(written)}", which is no {"date" if kind in {"date", "elapsed"} else "number"}'
            self._set_aside(at, clean(written), "cell-error", what, "a value")
            return
        self._add(at, text)

    def _set_aside(self, at: int, text: str, code: str, what: str, expected: str) -> None:
        self.odd[self._row, at] = Odd(code, f"the cell {letters(at)}{self._row} holds {what}", expected)
        self._add(at, text or "?")

    def _add(self, at: int, text: str) -> None:
        if self.enough and text.strip():
            self.rows.append([text])
            raise _Enough
        if len(text) > CELL_TEXT_LIMIT:
            raise _TooBigError(f"the cell {letters(at)}{self._row} holds {len(text)} characters")
        gap = at - len(self._cells)
        if self.take is None or len(text) > LONGEST:  # rows handed on are not kept, but for a few thousand
            self._count += gap + 1
            self._size += len(text)
        if self._count > CELL_LIMIT or self._size > TEXT_LIMIT:
            raise _TooBigError(f"it has more cells up to row {self._row} than a record table")
        if gap:
            self._cells += [""] * gap
        self._cells.append(text)

    def grid(self, digest: str, name: str, notes: tuple[str, ...]) -> Grid:
        """All that was found."""
        return Grid(
            digest,
            f'worksheet "{shown(name)}"',
            self.rows,
            self.numbers,
            True,
            self.odd,
            self.percent,
            self.formulas,
            self.merged,
            self.hidden_rows,
            self.hidden_columns,
            notes,
        )


def _number_of(name: str) -> int:
    from openpyxl.utils import column_index_from_string

    number = int(column_index_from_string(name))
    if number > 16_384:
        raise _BrokenError(f"the worksheet has a column {name}")
    return number
