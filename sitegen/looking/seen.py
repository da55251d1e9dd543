"""What is in a file: how it is written, as the readers find it, and what each column holds, judged on every row."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from sitegen.problems import shown
from sitegen.program.model import RecordSource, Where
from sitegen.reader.blocked import refusal
from sitegen.reader.decode import Decoded
from sitegen.reader.find import FORM, MARK_NAMES, find, find_cells, kind_of, said_of
from sitegen.reader.grid import ROW_LIMIT, letters
from sitegen.reader.headers import plain
from sitegen.reader.kinds import load
from sitegen.reader.layout import Column, Kind, Layout
from sitegen.reader.numbers import Complaint, has_short_year, numbers
from sitegen.reader.records import cut
from sitegen.tables.mapping import is_mark

_MOST_FORMS = 4000  # different forms of figures kept of one column
_MOST_TEXTS = 60  # different texts kept of one column
_SAMPLES = 3
_STORED_LONG = 17  # characters from which a stored number may be one that was rounded to binary
_SHORT_AT_MOST = 0.5  # share of rows with fewer fields than the header; the readers' own limit is as large or larger

_Body = Sequence[tuple[int, Sequence[str]]]  # rows below the headers, each with its number in the file


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
    layout: Layout  # how it is written, as its readers find it
    numbers: str  # how the marks of numbers were judged, as a sentence without its stop
    doubt: str  # what the marks leave open: to be said by whoever knows; "" nothing
    date_order: str  # "", "day first", "month first", or "?" where nothing in the file tells
    rows: int
    columns: tuple[SeenColumn, ...]
    notes: tuple[str, ...] = ()
    sheet: str = ""
    skip_rows: int = 0  # above the headers, where something stands there
    refused: tuple[str, ...] = ()  # why no entry can be proposed
    text: bool = True  # a text table, not a workbook or a column file

    @property
    def short_year(self) -> str:
        """Of dates left open, what one with a year of two digits asks for, as a clause; "" where there is none."""
        spot = next((each for each in self.layout.date_order.against if has_short_year(each.text)), None)
        if self.date_order != "?" or spot is None:
            return ""
        said = f'"{shown(spot.text)}" in {self.layout.word} {spot.line} has its year in two digits'
        return f"{said}, which is 20xx once the order is written"


def look(path: Path, file: str, sheet: str = "") -> Seen:
    """What is in the file at `path`, whose name in messages is `file`.

    Raises `Blocked` where it is missing, empty, or neither text nor a workbook nor a column file.
    """
    content = load(path, file, RecordSource("", file, Where(file), sheet=sheet), ROW_LIMIT)
    if isinstance(content, Decoded):
        lines = content.text.split("\n")
        layout = find(lines, encoding=content.encoding)
        stand = (*layout.heads.value, layout.units_row.value)
        filled = [at for at, line in enumerate(lines) if line.strip()]
        rows = [(at + 1, cut(lines[at], layout.separator.value)) for at in filled if at + 1 >= layout.begin.value]
        heads = [cut(lines[at - 1], layout.separator.value) for at in stand if at]
    else:
        filled = list(content.numbers)
        layout = find_cells(content.rows, filled, encoding=content.encoding)
        cells = [(at, [_as_shown(cell) for cell in row]) for at, row in zip(filled, content.rows, strict=True)]
        rows = [(at, row) for at, row in cells if at >= layout.begin.value]
        stand = (*layout.heads.value, layout.units_row.value)
        heads = [row for at, row in cells if at in stand]
    if not filled:
        raise refusal(
            file, 0, "table-empty", "the file is empty", "a header and rows", "see whether it is the right file"
        )
    known = {tuple(map(plain, row)) for row in heads}
    body = [(at, row) for at, row in rows if any(map(str.strip, row)) and tuple(map(plain, row)) not in known]
    above = sum(at + isinstance(content, Decoded) < min(layout.heads.value, default=0) for at in filled)
    skipped = max(layout.heads.value[0] - 1, 0) if above else 0
    found = _seen(layout, body, file, sheet, text=isinstance(content, Decoded))
    return replace(found, notes=tuple(content.notes), skip_rows=skipped)


def _as_shown(cell: str) -> str:
    """A number of a workbook as it is read and shown: 1.684, which it may store as 1.6839999999999999."""
    if len(cell) < _STORED_LONG or kind_of(cell) != "number":
        return cell
    try:
        return f"{float(cell):.15g}"
    except ValueError:
        return cell


def _seen(layout: Layout, body: _Body, file: str, sheet: str, *, text: bool) -> Seen:
    width = len(layout.columns)
    lines = [at for at, _ in body]
    cells = [[row[at].strip() if at < len(row) else "" for _, row in body] for at in range(width)]
    forms = [_forms(column, lines) for column in cells]
    refused = [*_misfits(layout, body, text=text)]
    made = []
    for column, own, form in zip(layout.columns, cells, forms, strict=True):
        found, complaint = _column(column, own, form, layout)
        made.append(found)
        if complaint:
            refused.append(f'column "{shown(found.header)}": {complaint}')
    figures = [form for form in forms if form.kind == "number"]
    count = sum(form.figures for form in figures)
    judged = "numbers as the cells hold them"
    if text:
        marks = said_of(layout.marks.value, [key for form in figures for key in form.counts])
        judged = f"{marks}, judged on all {count} figures of {len(figures)} column{'s' * (len(figures) != 1)}"
        judged = judged if count else "no figures"
    order = layout.date_order
    return Seen(
        layout=layout, file=file, sheet=sheet, text=text, numbers=judged, doubt=_doubt(layout),
        date_order="?" if order.by == "open" else order.value, rows=len(body), columns=tuple(made),
        refused=tuple(refused),
    )  # fmt: skip


def _doubt(layout: Layout) -> str:
    """What the marks of figures leave open: to be said by whoever knows; "" nothing."""
    spot = next((column.either for column in layout.columns if column.either is not None), None)
    if layout.marks.by != "open" or spot is None:
        return ""
    mark = MARK_NAMES[layout.marks.value.decimal]
    return f'"{shown(spot.text)}" in {layout.word} {spot.line}: a decimal {mark}, or a thousands mark?'


def _misfits(layout: Layout, body: _Body, *, text: bool) -> list[str]:
    """Why rows and headers do not fit together."""
    if not layout.heads.value:
        return [
            "there is no row of headers: the first row holds figures. Name its columns in the "
            "entry by their numbers, such as cylinder: {number: 2}"
        ]
    found = []
    width, word = len(layout.columns), layout.word
    if layout.separator.by == "open":
        both = " and ".join((layout.separator.value, *layout.separator.rivals))
        found.append(f"{both} part its lines equally well: say which by `separator`")
    wide = next(((at, row) for at, row in body if any(cell.strip() for cell in row[width:])), None)
    if wide is not None:
        found.append(
            f"{word} {wide[0]} has {len(wide[1])} fields, the header has {width}: "
            "which column each header belongs to cannot be told"
            + ("; decimal commas between commas would do that" if layout.separator.value == "comma" else "")
        )
    named = max((at for at, header in enumerate(layout.headers, start=1) if header), default=0)
    short = [at for at, row in body if len(row) < named] if text else []  # rows of cells end with their last one
    if len(short) > max(_SHORT_AT_MOST * len(body), 1):
        found.append(
            f"{len(short)} of {len(body)} rows have fewer fields than the header, which has {named}; the first is "
            f"{word} {short[0]}: end the table where its rows end, or fill them up"
        )
    return found


# ---- what a column holds --------------------------------------------------------------------------------------------


@dataclass
class _Forms:
    """Cells of a column by their form: 9 for each digit but zero."""

    kind: Kind
    counts: Counter[str]
    examples: dict[str, tuple[int, str]]  # cell of each form -> line, form
    lines: Sequence[int]  # of its cells
    figures: int = 0  # cells that are figures
    odd: tuple[int, str] = (0, "")


def _forms(cells: Sequence[str], lines: Sequence[int]) -> _Forms:
    first: dict[str, tuple[int, str]] = {}
    counts: Counter[str] = Counter()
    for cell, line in zip(cells, lines, strict=True):
        if not cell:
            continue
        form = cell.translate(FORM)
        counts[form] += 1
        if counts[form] == 1 and len(first) < _MOST_FORMS:
            first[form] = (line, cell)
    examples = {cell: (line, form) for form, (line, cell) in first.items()}
    kinds: dict[str, Kind] = {cell: kind_of(cell) for cell in examples}
    if "number" in kinds.values():  # beside numbers a mark of an oil report says of one how small it is
        kinds |= dict.fromkeys((cell for cell in examples if is_mark(cell)), "number")
    tally: Counter[Kind] = Counter()
    for cell, (_, form) in examples.items():
        tally[kinds[cell]] += counts[form]
    tally.pop("empty", None)
    if not tally:
        return _Forms("empty", counts, examples, lines)
    kind, most = tally.most_common(1)[0]
    if most < 0.6 * sum(tally.values()):
        kind = "text"
    others = [(line, cell) for cell, (line, _) in examples.items() if kinds[cell] not in {kind, "empty"}]
    figures = sum(counts[form] for cell, (_, form) in examples.items() if kinds[cell] == "number" and not is_mark(cell))
    return _Forms(kind, counts, examples, lines, figures, min(others) if others and kind != "text" else (0, ""))


_WRONG: dict[Complaint, str] = {
    "comma-decimal": "the numbers have a decimal comma, others of the file a point",
    "comma-thousands": "a comma stands between groups of digits, but not as a thousands mark does",
    "comma-either": "the comma may be a decimal or a thousands mark",
    "dot-decimal": "the numbers have a decimal point, others of the file a comma",
    "dot-twice": "the same mark cannot part thousands and decimals. Export the table again without thousands marks",
    "groups-broken": "the thousands mark does not stand before groups of three digits",
    "blank-thousands": "a blank or an apostrophe stands between groups of digits, but not as a thousands mark does",
}


def _column(column: Column, cells: Sequence[str], forms: _Forms, layout: Layout) -> tuple[SeenColumn, str]:
    """What a column holds, and why its numbers cannot be read: "" they can."""
    distinct = list(dict.fromkeys(cell for cell in cells if cell))
    seen = SeenColumn(
        column.at, column.header or f"(column {letters(column.at)})", column.name, column.unit, column.unit_place,
        forms.kind, sum(1 for cell in cells if cell), tuple(distinct[:_SAMPLES]), tuple(distinct[:_MOST_TEXTS]),
        len(distinct) > _MOST_TEXTS, odd=forms.odd,
    )  # fmt: skip
    if forms.kind != "number":
        return seen, ""
    read = numbers(np.array(cells, dtype=object), *layout.marks.value)
    known = read.values[~np.isnan(read.values)]
    wrong = ""
    if read.complaint and layout.marks.by != "open":
        wrong = f'"{shown(cells[read.at])}" in {layout.word} {forms.lines[read.at]}: {_WRONG[read.complaint]}'
    if not len(known):
        return seen, wrong
    steps = np.diff(known)
    rises = len(known) > 2 and float((steps >= 0).mean()) > 0.98 and float((steps > 0).mean()) > 0.5
    low, high, whole = float(known.min()), float(known.max()), bool((known == np.round(known)).all())
    return replace(seen, low=low, high=high, whole=whole, rises=rises), wrong
