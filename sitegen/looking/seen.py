"""What is in a file: where its table begins, how it is written, and what each column holds, judged on every row."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

import numpy as np

from sitegen import units
from sitegen.program.model import RecordSource, Where
from sitegen.reader.blocked import refusal
from sitegen.reader.decode import Decoded
from sitegen.reader.grid import ROW_LIMIT, letters
from sitegen.reader.headers import parted, plain
from sitegen.reader.kinds import load
from sitegen.reader.numbers import LONGEST, dates, numbers
from sitegen.reader.records import cut
from sitegen.tables.mapping import is_mark

Kind = Literal["number", "date", "stamp", "time of day", "text", "empty"]

_LOOKED_AT = 400  # lines that decide about the separator and where the table begins
_MOST_FORMS = 4000  # different forms of figures kept of one column
_MOST_TEXTS = 60  # different texts kept of one column
_SAMPLES = 3
_STORED_LONG = 17  # characters from which a stored number may be one that was rounded to binary
_HEADLESS = 0.5  # what a separator is worth by which a row of figures would be the header
_SHORT_AT_MOST = 0.5  # share of rows with fewer fields than the header; the readers' own limit is as large or larger
_FIGURE = re.compile("[+-]?(?:[0-9][0-9.,' \u00a0\u2009\u202f]*|[.,][0-9]+)(?:[eE][+-]?[0-9]+)?", re.ASCII)
_CLOCK = re.compile(r"\d{1,2}:\d{2}(?::\d{2}(?:[.,]\d+)?)?(?:\s?[AaPp]\.?[Mm]\.?)?", re.ASCII)
_DAY = re.compile(r"\d{1,2}\.\d{1,2}\.\d{4}|\d{4}\.\d{1,2}\.\d{1,2}", re.ASCII)
_NOTHING = re.compile(r"[+-]?(?:nan|inf|infinity|n/?a|#[A-Z/0!?]+|[*#][*#.,]*|-+)", re.IGNORECASE)
_FORM = str.maketrans("123456789", "999999999")
_FORMATS = (  # decimal mark and thousands mark, most usual first
    (".", ""), (",", ""), (".", ","), (",", "."), (".", " "), (",", " "), (".", "'"), (",", "'"),
)  # fmt: skip


@dataclass(frozen=True)
class SeenColumn:
    """One column of a table."""

    at: int
    header: str  # as the reader knows it: rows of headers joined by a blank
    name: str  # without its unit
    unit: str  # as the file writes it; "" where it does not
    unit_place: str  # "in its header", "in the row of units", "at the end of its header"; "" nowhere
    kind: Kind
    filled: int  # cells with something in them
    samples: tuple[str, ...]
    texts: tuple[str, ...] = ()  # its different cells, where they are few
    many: bool = False  # it has more different cells than `texts` holds
    low: float = np.nan  # of its numbers, as written
    high: float = np.nan
    whole: bool = False  # its numbers are whole
    rises: bool = False  # its numbers never fall but to start again, and rise all along
    odd: tuple[int, str] = (0, "")  # line and text of the first cell that is not what the others are


@dataclass(frozen=True)
class Seen:
    """What is in one file."""

    file: str
    encoding: str
    separator: str  # a word of `SEPARATORS`; "" where cells have addresses
    decimal: str
    thousands: str
    numbers: str  # how the marks of numbers were judged, as a sentence without its stop
    doubt: str  # what the marks leave open: to be said by whoever knows; "" nothing
    skip_rows: int
    header_rows: int
    header_line: int
    units_row: bool
    date_order: str  # "", "day first", "month first", or "?" where nothing in the file tells
    rows: int
    columns: tuple[SeenColumn, ...]
    notes: tuple[str, ...] = ()
    sheet: str = ""
    word: str = "line"
    refused: tuple[str, ...] = ()  # why no entry can be proposed
    text: bool = True  # a text table, not a workbook or a column file


@dataclass
class _Rows:
    """Rows of a file, each with its number in it."""

    cells: list[list[str]]
    numbers: list[int]
    separator: str = ""
    word: str = "line"
    widths: Counter[int] = field(default_factory=Counter)


def look(path: Path, file: str, sheet: str = "") -> Seen:
    """What is in the file at `path`, whose name in messages is `file`.

    Raises `Blocked` where it is missing or neither text nor a workbook nor a column file.
    """
    source = RecordSource("", file, Where(file), sheet=sheet)
    content = load(path, file, source, ROW_LIMIT)
    if isinstance(content, Decoded):
        rows = _parted_lines(content.text.split("\n"), file)
        return _seen(rows, file, content.encoding, content.notes, sheet, text=True)
    rows = _Rows([[_as_shown(cell) for cell in row] for row in content.rows], list(content.numbers), word="row")
    if content.numbers and content.numbers[0] == 0:  # a column file: its names are no row
        rows.numbers = [0, *range(1, len(rows.cells))]
    return _seen(rows, file, content.encoding, tuple(content.notes), sheet, text=False)


def _as_shown(cell: str) -> str:
    """A number of a workbook as it is read and shown: 1.684, which it may store as 1.6839999999999999."""
    if len(cell) < _STORED_LONG or not _is_figure(cell):
        return cell
    try:
        return f"{float(cell):.15g}"
    except ValueError:
        return cell


# ---- rows -----------------------------------------------------------------------------------------------------------


def _parted_lines(lines: Sequence[str], file: str) -> _Rows:
    """Lines cut at the separator that makes most of them alike, and most of their cells figures."""
    filled = [(n, line) for n, line in enumerate(lines, start=1) if line.strip()]
    if not filled:
        raise refusal(
            file, 0, "table-empty", "the file is empty", "a header and rows", "see whether it is the right file"
        )
    step = max(len(filled) // _LOOKED_AT, 1)
    sample = [line for _, line in (*filled[:_LOOKED_AT], *filled[::step])]

    def merit(word: str) -> tuple[float, float]:
        cut_rows = [cut(line, word) for line in sample]
        width, alike = Counter(len(row) for row in cut_rows).most_common(1)[0]
        if width < 2:
            return 0.0, 0.0
        body = [cell.strip() for row in cut_rows if len(row) == width for cell in row if cell.strip()]
        clean = sum(_is_figure(cell) or _is_moment(cell) or is_mark(cell) for cell in body) / max(len(body), 1)
        share = alike / len(sample)
        head = next(cells for line in sample if len(cells := cut(line, word)) == width)
        headed = 1.0 if not any(_is_figure(cell.strip()) for cell in head) else _HEADLESS
        return round(share * (0.3 + clean) * headed, 3), float(width)

    best = max(("tab", "semicolon", "comma", "bar", "blanks"), key=merit)
    if merit(best)[0] == 0.0:
        best = "comma"
    return _Rows([cut(line, best) for _, line in filled], [n for n, _ in filled], best)


def _is_figure(cell: str) -> bool:
    return len(cell) <= LONGEST and bool(_FIGURE.fullmatch(cell))


def _is_moment(cell: str) -> bool:
    return bool(_CLOCK.fullmatch(cell)) or _date_fault(cell, "day first") != "not-a-date"


def _date_fault(cell: str, order: str) -> str:
    return str(dates(np.array([cell], dtype=object), order).faults[0])


# ---- where the table begins -----------------------------------------------------------------------------------------


def _seen(rows: _Rows, file: str, encoding: str, notes: tuple[str, ...], sheet: str, *, text: bool) -> Seen:
    if not rows.cells:
        raise refusal(
            file, 0, "table-empty", "the file is empty", "a header and rows", "see whether it is the right file"
        )
    rows.widths.update(len(row) for row in rows.cells[-_LOOKED_AT * 4 :])
    width = rows.widths.most_common(1)[0][0]
    begin = _first_of_body(rows, width)
    heads, units_row = _heads(rows, begin, width)
    refused = [] if heads else ["there is no row of headers: the first row holds figures. Write one above it"]
    base: dict[str, Any] = {
        "file": file, "encoding": encoding, "separator": rows.separator, "notes": notes, "sheet": sheet,
        "word": rows.word, "text": text, "units_row": units_row is not None,
    }  # fmt: skip
    said = [rows.cells[at] for at in heads]
    headers = _joined(said) if said else [""] * width
    below = [plain(cell) for cell in rows.cells[units_row]] if units_row is not None else []
    body = _body(rows, begin, said, rows.cells[units_row] if units_row is not None else [])
    wide = next((i for i in body if any(cell.strip() for cell in rows.cells[i][len(headers) :])), None)
    if wide is not None and heads:
        refused.append(
            f"{rows.word} {rows.numbers[wide]} has {len(rows.cells[wide])} fields, the header has {len(headers)}: "
            "which column each header belongs to cannot be told"
            + ("; decimal commas between commas would do that" if rows.separator == "comma" else "")
        )
    named = max((at for at, header in enumerate(headers, start=1) if header), default=0)
    short = [i for i in body if len(rows.cells[i]) < named]
    if len(short) > max(_SHORT_AT_MOST * len(body), 1):
        refused.append(
            f"{len(short)} of {len(body)} rows have fewer fields than the header, which has {named}; the first is "
            f"{rows.word} {rows.numbers[short[0]]}: end the table where its rows end, or fill them up"
        )
    twice = [name for name in dict.fromkeys(headers) if name and headers.count(name) > 1]
    if twice:
        refused.append(f'the header "{twice[0]}" stands over more than one column: rename one of them')
    cells = [[rows.cells[i][at].strip() if at < len(rows.cells[i]) else "" for i in body] for at in range(len(headers))]
    lines = [rows.numbers[i] for i in body]
    forms = [_forms(column, lines) for column in cells]
    decimal, thousands, judged, doubt, unfit = _marks([f for f in forms if f.kind == "number"], text=text)
    if unfit:
        refused.append(unfit)
    columns = tuple(
        _column(at, header, below[at] if at < len(below) else "", cells[at], forms[at], decimal, thousands)
        for at, header in enumerate(headers)
    )
    moments = [cell for form in forms if form.kind in {"date", "stamp"} for cell in form.examples]
    return Seen(
        **base, decimal=decimal, thousands=thousands, numbers=judged, doubt=doubt,
        skip_rows=rows.numbers[heads[0]] - 1 if heads and heads[0] > 0 else 0, header_rows=len(heads),
        header_line=rows.numbers[heads[0]] if heads else 0, date_order=_order(moments), rows=len(body),
        columns=columns, refused=tuple(refused),
    )  # fmt: skip


def _first_of_body(rows: _Rows, width: int) -> int:
    """Position of the first row below the headers; the number of rows where there is none."""
    half = rows.cells[len(rows.cells) // 2 :]
    tail = [row for row in half[-_LOOKED_AT:] if len(row) == width] or half[-1:]
    figures = []
    for at in range(width):
        column = [row[at].strip() for row in tail if at < len(row) and row[at].strip()]
        if column and sum(_is_figure(c) or _is_moment(c) for c in column) >= 0.6 * len(column):
            figures.append(at)
    if not figures or len(rows.cells) == 1:
        return min(1, len(rows.cells)) if len(rows.cells) == 1 or not figures else len(rows.cells)
    head = -1  # last row with words in the columns of figures
    for i, row in enumerate(rows.cells[:_LOOKED_AT]):
        if len(row) < 0.6 * width:
            continue
        own = [row[at].strip() for at in figures if at < len(row) and row[at].strip()]
        if own and sum(_is_figure(c) or _is_moment(c) for c in own) > 0.5 * len(own):
            return _without_figures(rows, head + 1, i) if head >= 0 else i
        head = i if own else head
    return len(rows.cells)


def _without_figures(rows: _Rows, begin: int, first: int) -> int:
    """Position of the first row below the headers that holds something, though figures only begin with `first`."""
    return next((i for i in range(begin, first) if any(cell.strip() for cell in rows.cells[i])), first)


def _heads(rows: _Rows, begin: int, width: int) -> tuple[list[int], int | None]:
    """Positions of the rows of headers, none where there are none, and of the row of units."""
    above = [i for i in range(begin) if sum(bool(c.strip()) for c in rows.cells[i]) >= min(2, width)]
    if not above:
        return [], None
    units_row = None
    if len(above) > 1 and _says_units(rows.cells[above[-1]]):
        units_row = above.pop()
    heads = [above[-1]]
    names = [plain(cell) for cell in rows.cells[heads[0]]]
    filled = [name for name in names if name]
    group = above[-2] if len(above) > 1 else None
    if group is not None and group == heads[0] - 1 and len(set(filled)) < len(filled):
        heads = [group, *heads]
    return heads, units_row


def _says_units(row: Sequence[str]) -> bool:
    cells = [plain(cell) for cell in row if cell.strip()]
    known = 0
    for cell in cells:
        bare = cell[1:-1].strip() if cell[:1] + cell[-1:] in {"[]", "()"} else cell
        known += units.is_unit(bare) or bare in {"", "-", "1"} or bare != cell
    return known >= 0.6 * len(cells)


def _joined(heads: Sequence[Sequence[str]]) -> list[str]:
    """Headers; of several rows joined by a blank, a group's name over all of its columns."""
    width = max(len(row) for row in heads)
    rows = [[plain(cell) for cell in [*row, *[""] * (width - len(row))]] for row in heads]
    for row in rows[:-1]:
        for at in range(1, width):
            row[at] = row[at] or row[at - 1]
    return [" ".join(filter(None, parts)) for parts in zip(*rows, strict=True)]


def _body(rows: _Rows, begin: int, heads: Sequence[Sequence[str]], below: Sequence[str]) -> list[int]:
    """Positions of the rows of figures: blank ones and headers repeated further down are none."""
    known = {tuple(plain(cell) for cell in row) for row in (*heads, below) if row}
    firsts = {row[0] for row in known}

    def again(row: Sequence[str]) -> bool:
        return plain(row[0]) in firsts and tuple(plain(cell) for cell in row) in known

    found = range(begin, len(rows.cells))
    return [i for i in found if not again(rows.cells[i]) and any(cell.strip() for cell in rows.cells[i])]


# ---- what a column holds --------------------------------------------------------------------------------------------


@dataclass
class _Forms:
    """Cells of a column by their form: 9 for each digit but zero."""

    kind: Kind
    counts: Counter[str]
    examples: dict[str, tuple[int, str]]  # cell of each form -> line, form
    odd: tuple[int, str] = (0, "")


def _forms(cells: Sequence[str], lines: Sequence[int]) -> _Forms:
    first: dict[str, tuple[int, str]] = {}
    counts: Counter[str] = Counter()
    for cell, line in zip(cells, lines, strict=True):
        if not cell:
            continue
        form = cell.translate(_FORM)
        counts[form] += 1
        if counts[form] == 1 and len(first) < _MOST_FORMS:
            first[form] = (line, cell)
    examples = {cell: (line, form) for form, (line, cell) in first.items()}
    kinds: dict[str, Kind] = {cell: _kind(cell) for cell in examples}
    if "number" in kinds.values():  # beside numbers a mark of an oil report says of one how small it is
        kinds |= dict.fromkeys((cell for cell in examples if is_mark(cell)), "number")
    tally: Counter[Kind] = Counter()
    for cell, (_, form) in examples.items():
        tally[kinds[cell]] += counts[form]
    tally.pop("empty", None)
    if not tally:
        return _Forms("empty", counts, examples)
    kind, most = tally.most_common(1)[0]
    if most < 0.6 * sum(tally.values()):
        kind = "text"
    others = [(line, cell) for cell, (line, _) in examples.items() if kinds[cell] not in {kind, "empty"}]
    return _Forms(kind, counts, examples, min(others) if others and kind != "text" else (0, ""))


def _kind(cell: str) -> Kind:
    if _is_figure(cell) and not _DAY.fullmatch(cell):
        return "number"
    if _CLOCK.fullmatch(cell):
        return "time of day"
    if "not-a-date" not in (_date_fault(cell, "day first"), _date_fault(cell, "month first")):
        return "stamp" if ":" in cell else "date"
    return "empty" if _NOTHING.fullmatch(cell) else "text"


def _marks(forms: Sequence[_Forms], *, text: bool) -> tuple[str, str, str, str, str]:
    """Decimal and thousands mark, how that was judged, what stays open, and why none fits."""
    if not text:
        return ".", "", "numbers as the cells hold them", "", ""
    cells: list[str] = []
    where: list[int] = []
    counts: list[int] = []
    for form in forms:
        for cell, (line, name) in form.examples.items():
            if _is_figure(cell):
                cells.append(cell)
                where.append(line)
                counts.append(form.counts[name])
    if not cells:
        return ".", "", "no figures", "", ""
    figures = f"judged on all {sum(counts)} figures of {len(forms)} column{'s' * (len(forms) != 1)}"
    array = np.array(cells, dtype=object)
    wrong = {marks: [i for i, fault in enumerate(numbers(array, *marks).faults) if fault] for marks in _FORMATS}
    fitting = [marks for marks in _FORMATS if not wrong[marks]]
    if not fitting:
        best = min(_FORMATS, key=lambda marks: sum(counts[i] for i in wrong[marks]))
        at = wrong[best][0]
        good = next((i for i in range(len(cells)) if i not in wrong[best] and best[0] in cells[i]), None)
        beside = f', "{cells[good]}" in line {where[good]}' if good is not None else ""
        return (
            *best, f"no one way of writing numbers fits, {figures}", "",
            f'"{cells[at]}" in line {where[at]}{beside}: the same mark cannot part thousands and decimals. Export the '
            "table again without thousands marks",
        )  # fmt: skip
    decimal, thousands = fitting[0]
    used = any(decimal in cell for cell in cells)
    grouped = any(thousands in cell for cell in cells) if thousands else False
    names = {".": "point", ",": "comma", " ": "blank", "'": "apostrophe"}
    said = f"decimal {names[decimal]}" if used else "whole numbers"
    if grouped:
        said += f", {names[thousands]} between thousands"
    doubt = ""
    others = [each for each in fitting[1:] if each[1] in {".", ","} and any(each[1] in cell for cell in cells)]
    if (decimal, thousands) == (",", "") and (".", ",") in others:
        doubt = "every comma stands before three figures: a decimal comma, or a thousands mark?"
    if (decimal, thousands) == (".", "") and (",", ".") in others:
        doubt = "every point stands before three figures: a decimal point, or a thousands mark?"
    return decimal, thousands, f"{said}, {figures}", doubt, ""


def _order(cells: Iterable[str]) -> str:
    """Order of day and month; "?" where nothing tells, "" where the year comes first."""
    listed = list(cells)
    if not listed:
        return ""
    array = np.array(listed, dtype=object)
    if not any(dates(array).faults):
        return ""
    day, month = (not any(dates(array, order).faults) for order in ("day first", "month first"))
    if day and month:
        return "?"
    return "day first" if day else "month first" if month else "?"


def _column(
    at: int, header: str, below: str, cells: Sequence[str], forms: _Forms, decimal: str, thousands: str
) -> SeenColumn:
    name, unit, place = _unit(header, below)
    distinct = list(dict.fromkeys(cell for cell in cells if cell))
    seen: dict[str, Any] = {
        "at": at, "header": header or f"(column {letters(at)})", "name": name, "unit": unit, "unit_place": place,
        "kind": forms.kind, "filled": sum(1 for cell in cells if cell), "samples": tuple(distinct[:_SAMPLES]),
        "texts": tuple(distinct[:_MOST_TEXTS]), "many": len(distinct) > _MOST_TEXTS, "odd": forms.odd,
    }  # fmt: skip
    if forms.kind != "number":
        return SeenColumn(**seen)
    values = numbers(np.array(cells, dtype=object), decimal, thousands).values
    known = values[~np.isnan(values)]
    if not len(known):
        return SeenColumn(**seen)
    steps = np.diff(known)
    rises = len(known) > 2 and float((steps >= 0).mean()) > 0.98 and float((steps > 0).mean()) > 0.5
    return SeenColumn(
        **seen, low=float(known.min()), high=float(known.max()), whole=bool((known == np.round(known)).all()),
        rises=rises,
    )  # fmt: skip


def _unit(header: str, below: str) -> tuple[str, str, str]:
    """Name of a column without its unit, the unit, and where it stands."""
    if below:
        bare = below[1:-1].strip() if below[:1] + below[-1:] in {"[]", "()"} else below
        return parted(header)[0], bare, "in the row of units" if bare else ""
    name, bracket = parted(header)
    if bracket and units.is_unit(bracket):
        return name, bracket, "in its header"
    if bracket:
        return header, "", ""
    for mark in (r"[\s,/]+", r"_"):
        parts = re.split(f"({mark})", header)
        for begin in range(2, len(parts), 2):
            tail = "".join(parts[begin:]).replace("_", " ").strip()
            rest = "".join(parts[: begin - 1]).strip(" _,/")
            if (
                re.search("[A-Za-z]", rest)
                and tail[:1] not in "0123456789"
                and units.is_unit(tail)
                and not _is_word(tail)
            ):
                return rest, tail, "at the end of its header"
    return header, "", ""


_WORDS = frozenset(
    ("metre", "meter", "micron", "inch", "inches", "mil", "foot", "feet", "mile", "hour", "hours", "day", "days",
     "degree", "degrees", "turn", "turns", "rev", "litre", "liter", "percent", "in", "d")
)  # fmt: skip


def _is_word(tail: str) -> bool:
    """Whether a unit at the end of a header is rather a word of it: Second meter, x in um."""
    return tail.split(" ")[0] in _WORDS
