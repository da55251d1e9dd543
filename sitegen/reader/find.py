"""How a file is written, found once for whoever reads it or tells of it.

Looked at are the first filled rows, as many spread over the rest, and the last ones. A cell becomes its form, 9 for
each digit but 0, and each form is judged once: rows of one instrument have few. Nothing here raises: what does not fit
is told by who reads on, and what the file leaves open by `Layout`.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache
from itertools import zip_longest
from typing import TypeVar

from sitegen.problems import counted
from sitegen.reader.headers import bare, joined, plain, says_units, with_unit
from sitegen.reader.layout import NOTHING_STATED, By, Column, Fact, Kind, Layout, Marks, Spot, Stated
from sitegen.reader.numbers import LONGEST, day_and_month, has_short_year, is_date
from sitegen.reader.records import NOTHING, SEPARATORS, cut
from sitegen.reader.stamps import is_clock, is_stamp

T = TypeVar("T")
HEAD, SPREAD, TAIL = 400, 400, 20  # rows looked at
_SEARCHED = 60  # rows searched for headers the entry names
_BLANK_LINES = 100_000  # lines searched for the first rows
_NEAR = 0.03  # two separators whose merits are this close are both possible
_MOST = 0.6  # share of cells, or of columns, that decides
_LONGEST_KEY = 60
_WORDS = ("tab", "semicolon", "comma", "bar", "blanks")  # of equals the first: blanks are part of texts
_FIRM = ("tab", "semicolon", "bar")  # stand in no figure and between no words: as many in each line, they part it
MARK_NAMES = {".": "point", ",": "comma", " ": "blank", "'": "apostrophe"}
FORM = str.maketrans("123456789\u2212", "999999999-")
_FIGURE = re.compile(
    "[<>~]?[ ]?[+-]?(?:[0-9][0-9.,'\u2019 \u00a0\u2009\u202f]*|[.,][0-9]+)(?:[eE][+-]?[0-9]+)?%?", re.ASCII
)
_NOTHING = re.compile(
    r"[+-]?(?:nan|inf(?:inity)?)|1\.#(?:inf|qnan|snan|ind)0*|n/?a|n\.?d\.?|not detected|#[A-Z/0!?]+|[*#][*#.,+-]*|[.-]+"
    "|\u2013|\u2014|null|none",
    re.IGNORECASE,
)
_KEY = re.compile(r"[:=;\t,]")  # after the key of a line above the headers


def _figures(decimal: str, thousands: str) -> re.Pattern[str]:
    point = re.escape(decimal)
    body = rf"[0-9]+(?:{point}[0-9]*)?|{point}[0-9]+"
    if thousands:
        sign = {" ": "[ \u00a0\u2009\u202f]", "'": "['\u2019]"}.get(thousands, re.escape(thousands))
        body = rf"[1-9][0-9]{{0,2}}(?:{sign}[0-9]{{3}})+(?:{point}[0-9]*)?|{body}"
    return re.compile(rf"[<>~]?[ ]?[+-]?(?:{body})(?:[eE][+-]?[0-9]+)?%?")


_FITS: Mapping[Marks, re.Pattern[str]] = {
    Marks(decimal, thousands): _figures(decimal, thousands)
    for thousands in ("", ",", ".", " ", "'")
    for decimal in (".", ",")
    if decimal != thousands
}  # most usual first


@lru_cache(maxsize=1 << 14)
def _kind(form: str) -> Kind:
    if not form:
        return "empty"
    if len(form) > LONGEST:
        return "text"
    if is_date(form):
        return "stamp" if ":" in form else "date"
    if is_stamp(form):
        return "stamp"
    if is_clock(form):
        return "time of day"
    if _FIGURE.fullmatch(form):
        return "number"
    return "empty" if _NOTHING.fullmatch(form) else "text"


def kind_of(cell: str) -> Kind:
    """What one cell holds; a mark of overflow, or a word for nothing, is "empty".

    >>> kind_of("13,8"), kind_of("2025.02.03"), kind_of("8:30"), kind_of("*.**"), kind_of("tdc")
    ('number', 'date', 'time of day', 'empty', 'text')
    """
    return _kind(cell.strip().translate(FORM))


def find(lines: Sequence[str], stated: Stated = NOTHING_STATED, encoding: str = "") -> Layout:
    """How a text is written. Of its lines some 800 are looked at."""
    sample = _sample(len(lines), lambda at: bool(lines[at].strip(NOTHING)))
    named = [stated.separator] if stated.separator else [word for word in _WORDS if _occurs(word, lines, sample)]
    forms = {at: lines[at].translate(FORM) for at in sample}
    ways = {
        word: _Rows(_cells(lines, word), sample, {at: cut(forms[at], word) for at in sample}, stated.known)
        for word in named
    }
    known = {word: way.most_known[0] for word, way in ways.items()}
    first = max(ways, key=lambda word: (known[word], ways[word].merit), default="")
    firm = [
        word for word in ways
        if word in _FIRM and first not in {*_FIRM, ""} and known[word] == known[first] and ways[word].width > 1
        and ways[word].steady > (1 if first == "blanks" else ways[first].steady)
        and ways[word].steady >= ways[first].steady
    ]  # fmt: skip
    if firm and not stated.separator:
        ways = {word: ways[word] for word in firm}
        first = max(ways, key=lambda word: ways[word].merit)
    if first and (stated.separator or ways[first].width > 1):
        close = [
            word for word in ways
            if known[word] == known[first] and ways[first].merit - ways[word].merit < _NEAR and ways[word].width > 1
        ]  # fmt: skip
        close = [word for word in close if word != "blanks"] or close or [first]  # blanks are part of texts
        best = max(close, key=lambda word: ways[word].alike)  # headers too have as many fields as the rows
        near = [word for word in close if word != best and ways[word].alike == ways[best].alike]
        rows = ways[best]
        if stated.separator and rows.width < 2:  # it parts nothing: does another?
            other = find(lines, replace(stated, separator="")).separator
            near = [other.value] if other.value != stated.separator and other.agree else []
    else:  # one column
        best, near = "comma", []
        rows = _Rows(_cells(lines, ""), sample, {at: [forms[at]] for at in sample}, stated.known)
    separator = Fact(
        best,
        "entry" if stated.separator else "open" if near else "file",
        rows.alike,
        len(sample),
        tuple(near),
        why=f"{best} between fields: {counted(rows.width, 'field')} in {rows.alike} of {len(sample)} lines looked at",
    )
    found = _Finder(rows, stated, separator, lambda at: at + 1, len(lines), encoding).layout()
    again = _again(lines, found)
    said = pairs([lines[at] for at in range(min(_first(found) - 1, HEAD))]) if found.heads.value else {}
    return replace(found, sections=again, said=said)


def find_cells(
    rows: Sequence[Sequence[str]], numbers: Sequence[int], stated: Stated = NOTHING_STATED, encoding: str = ""
) -> Layout:
    """The same of rows of cells, each with its number in the file. A row 0 holds the names of a column file."""
    sample = _sample(len(rows), lambda at: any(map(str.strip, rows[at])))
    if numbers and numbers[0] == 0:
        stated = replace(stated, skip_rows=-1, header_rows=1)
    forms = {at: [cell.translate(FORM) for cell in rows[at]] for at in sample}
    seen = _Rows(dict(enumerate(rows)), sample, forms, stated.known)
    separator = Fact("", "file", seen.alike, len(sample))
    last = numbers[-1] if numbers else 0
    return _Finder(seen, stated, separator, lambda at: numbers[at], last, encoding, "row").layout()


def pairs(above: Sequence[str]) -> dict[str, str]:
    """Pairs of key and value among lines: a line with one of : = ; tab or comma after its key.

    >>> pairs(["# Points: 8000", "title"])
    {'points': '8000'}
    """
    found: dict[str, str] = {}
    for line in above:
        text = line.strip()
        text = text[1:].lstrip() if text.startswith(("#", "%", ";")) else text
        key = _KEY.split(text, maxsplit=1)[0]
        rest = text[len(key) :].lstrip()  # a tab is a mark, or stands before one
        value = (rest[1:] if rest.startswith((":", "=", ";", ",")) else rest).strip().rstrip("; ,\t")
        if value and 0 < len(key.strip()) <= _LONGEST_KEY:
            found.setdefault(key.strip().casefold(), value)
    return found


# ---- what is looked at ----------------------------------------------------------------------------------------------


def _sample(count: int, filled: Callable[[int], bool]) -> list[int]:
    """Positions looked at, in order."""
    head: list[int] = []
    at = 0
    while at < min(count, _BLANK_LINES) and len(head) < HEAD:
        if filled(at):
            head.append(at)
        at += 1
    spread = range(at, count, max((count - at) // SPREAD, 1))
    return [*head, *(each for each in sorted({*spread, *range(max(count - TAIL, at), count)}) if filled(each))]


def _occurs(word: str, lines: Sequence[str], sample: Sequence[int]) -> bool:
    """Whether a separator stands in most of the lower lines: only then are all of them cut at it."""
    half = sample[len(sample) // 2 :]
    sign = SEPARATORS[word]
    return 2 * sum(sign in lines[at].strip() for at in half) > len(half)


def _again(lines: Sequence[str], found: Layout) -> tuple[int, ...]:
    """Lines in which the last row of headers stands again."""
    if not found.heads.value:
        return ()
    head, at = lines[found.heads.value[-1] - 1], found.heads.value[-1]
    places: list[int] = []
    while len(places) < HEAD:
        try:
            at = lines.index(head, at) + 1
        except ValueError:
            break
        places.append(at)
    return tuple(places)


def _first(found: Layout) -> int:
    return found.heads.value[0] if found.heads.value else found.begin.value


class _Asked(dict[int, Sequence[T]]):
    """Something of lines by position, made when it is asked for."""

    def __init__(self, make: Callable[[int], Sequence[T]]) -> None:
        super().__init__()
        self._make = make

    def __missing__(self, at: int) -> Sequence[T]:
        self[at] = self._make(at)
        return self[at]


def _cells(lines: Sequence[str], separator: str) -> _Asked[str]:
    return _Asked(lambda at: cut(lines[at], separator) if separator else [lines[at]])


@dataclass
class _Rows:
    """Rows looked at, cut one way, by their positions."""

    cells: Mapping[int, Sequence[str]]
    sample: Sequence[int]
    forms: dict[int, list[str]]
    known: Callable[[Sequence[str]], int] | None  # counts the headers among some cells that the entry names
    width: int = 0  # fields of most of the lower rows
    alike: int = 0  # rows that have as many
    steady: int = 0  # of the last rows, those in a row that are cut into as many fields, empty ones at the end too
    merit: float = 0.0  # how well this way of cutting makes rows alike and columns of one kind
    ends: dict[int, int] = field(default_factory=dict)  # fields of each row, but for empty ones at its end
    kinds: Mapping[int, Sequence[Kind]] = field(default_factory=dict)
    figures: list[int] = field(default_factory=list)  # columns of figures and moments, by their lower half

    def __post_init__(self) -> None:
        half = self.half
        for row in self.forms.values():
            row[:] = map(str.strip, row)
        self.ends = {at: _end(row) for at, row in self.forms.items()}
        self.kinds = _Asked(lambda at: [*map(_kind, self.forms[at])])
        widths = Counter(self.ends[at] or 1 for at in half)
        self.width = max(widths.items(), key=lambda each: (each[1], each[0]))[0] if widths else 0
        self.alike = sum(end == self.width for end in self.ends.values())
        lengths = [len(self.forms[at]) for at in reversed(self.sample)]
        self.steady = next((at for at, own in enumerate(lengths) if own != lengths[0]), len(lengths))
        kept = 0.0
        alike = [self.forms[at][: self.width] for at in half if len(self.forms[at]) >= self.width]
        for at, column in enumerate(zip(*alike, strict=True)):
            tally = _tally(Counter(column))
            blank, total = tally.pop("empty", 0), tally.total()
            top: Kind = max(tally, key=tally.__getitem__, default="text")
            kept += tally[top] / total * (0.4 if top == "text" else 1.0) if total else 0.4
            good = total - tally["text"]
            if good and good + blank >= _MOST * (total + blank) and good >= _MOST * total:
                self.figures.append(at)
        whole = Counter(len(self.forms[at]) for at in half)  # where last cells are empty in some rows, these are alike
        share = max([*widths.values(), *whole.values()], default=0) / max(len(half), 1)
        self.merit = share * (0.4 + 0.6 * kept / self.width) if self.width > 1 else 0.0

    @property
    def half(self) -> Sequence[int]:
        """The lower rows: of these most are body, whatever stands above."""
        return self.sample[len(self.sample) // 2 :]

    @cached_property
    def most_known(self) -> tuple[int, int]:
        """The most headers of the entry among the cells of one row, and the position of the first such row."""
        if self.known is None:
            return 0, -1
        most, at = max(((self.known(self.cells[at]), -at) for at in self.sample[:_SEARCHED]), default=(0, 1))
        return most, -at

    def cell(self, at: int, column: int) -> str:
        row = self.cells[at]
        return row[column].strip() if column < len(row) else ""


def _end(row: Sequence[str]) -> int:
    """Fields of a row but for the empty ones at its end."""
    end = len(row)
    while end and not row[end - 1]:
        end -= 1
    return end


def _tally(forms: Mapping[str, int]) -> Counter[Kind]:
    """How many cells of a column are of each kind, the first met first; `forms`: how many have each form."""
    found: Counter[Kind] = Counter()
    for form, count in forms.items():
        found[_kind(form)] += count
    return found


# ---- where the table begins -----------------------------------------------------------------------------------------


@dataclass
class _Finder:
    """Facts of one file, its rows being cut."""

    rows: _Rows
    stated: Stated
    separator: Fact[str]
    line: Callable[[int], int]  # of a position
    last: int  # line of the file
    encoding: str
    word: str = "line"

    def layout(self) -> Layout:
        """Everything that is to be known."""
        heads = self._heads()
        unit_row = self._unit_row(heads)
        head_rows = [self.rows.cells[at] for at in heads]
        headers = joined(head_rows) if heads else [""] * self.rows.width
        begin = self._begin(heads, unit_row)
        body = self.rows.sample[self.rows.sample.index(begin) :] if begin is not None else []
        below_heads = _Body(self.rows.forms, body)
        kinds = [below_heads.kind(at) for at in range(len(headers))]
        marks, either = self._marks(below_heads, [at for at, kind in enumerate(kinds) if kind == "number"])
        below = [plain(cell) for cell in self.rows.cells[unit_row]] if unit_row is not None else []
        columns = []
        for at, header in enumerate(headers):
            named = with_unit(header, below[at] if at < len(below) else "")
            columns.append(Column(at, header, *named, kinds[at], either.get(at)))
        return Layout(
            Fact(self.encoding),
            self.separator,
            marks,
            self._date_order(below_heads, [at for at, kind in enumerate(kinds) if kind in {"date", "stamp"}]),
            self._missing(below_heads, [at for at, kind in enumerate(kinds) if kind not in {"text", "empty"}]),
            self._said_of_heads(heads),
            self._said_of_units(heads, unit_row),
            Fact(self.last + 1 if begin is None else self.line(begin)),
            tuple(columns),
            word=self.word,
        )

    def _said_of_heads(self, heads: Sequence[int]) -> Fact[tuple[int, ...]]:
        lines = tuple(self.line(at) for at in heads)
        by: By = "file" if self.stated.skip_rows is None and self.stated.header_rows is None else "entry"
        where = (
            f"{self.word}s {lines[0]} to {lines[-1]}" if len(lines) > 1 else f"{self.word} {lines[0]}" if lines else ""
        )
        most, at = self.rows.most_known
        elsewhere: tuple[Spot, ...] = ()
        if heads and most and at not in heads and not self._knows(heads):
            elsewhere = (Spot(self.line(at), 0, ""),)
        why = f"headers in {where}" if lines else "there is no row of headers"
        return Fact(lines, by, against=elsewhere, why=why)

    def _said_of_units(self, heads: Sequence[int], unit_row: int | None) -> Fact[int]:
        if unit_row is not None:
            line = self.line(unit_row)
            return Fact(line, "entry" if self.stated.units_row else "file", why=f"a row of units in {self.word} {line}")
        if self.stated.units_row is None:
            return Fact(0)
        below = self._below(heads)
        denied = below is not None and not self.stated.units_row and self._is_unit_row(below)
        return Fact(0, "entry", against=(Spot(self.line(below), 0, ""),) if denied and below is not None else ())

    def _knows(self, heads: Sequence[int]) -> bool:
        """Whether the entry names a header of these rows."""
        known = self.stated.known
        return known is not None and bool(known(self.rows.cells[heads[-1]]))

    def _heads(self) -> list[int]:
        sample, stated = self.rows.sample, self.stated
        count = stated.header_rows
        if stated.skip_rows is not None:
            below = [at for at in sample if self.line(at) > stated.skip_rows]
            if count is None and len(below) > 1 and self._groups(below[0], below[1]):
                count = 2
            return [*below[: count or 1]]
        most, at = self.rows.most_known
        last = at if most else self._last_head()
        if last is None:
            return []
        place = sample.index(last)
        if count is not None:
            return [*sample[max(place + 1 - count, 0) : place + 1]]
        above = sample[place - 1] if place else None
        if above is not None and self.line(above) == self.line(last) - 1 and self._groups(above, last):
            return [above, last]
        return [last]

    def _groups(self, above: int, row: int) -> bool:
        """Whether a row names groups of the columns that the row below it names: some of those repeat."""
        names = [plain(cell) for cell in self.rows.cells[row] if cell.strip()]
        groups = [
            kind for kind, cell in zip(self.rows.kinds[above], self.rows.cells[above], strict=True) if cell.strip()
        ]
        whole = joined([self.rows.cells[above], self.rows.cells[row]])
        return (
            len(set(names)) < len(names)
            and len(groups) > 1
            and set(groups) == {"text"}
            and len(set(filter(None, whole))) == len([each for each in whole if each])
            and 2 * self.rows.kinds[row].count("text") > len(names)
            and not self._is_unit_row(row)
        )

    def _last_head(self) -> int | None:
        """Position of the last row of headers; None where the first row is one of figures."""
        rows, sample = self.rows, self.rows.sample
        if not sample:
            return None
        if not rows.figures:  # nothing but texts: the first row that is as wide as the others
            return next((at for at in sample if rows.ends[at] >= _MOST * rows.width), sample[0])
        sample = sample[: HEAD + 5]
        begin = next((at for n, at in enumerate(sample) if self._mostly_body(sample[n : n + 5])), None)
        above = [at for at in sample if begin is None or at < begin]
        named = [at for at in above if self._is_head(at)]
        if len(named) > 1 and self._is_unit_row(named[-1]):
            return named[-2]
        full = [
            at for at in named
            if sum(bool(rows.cell(at, each)) for each in rows.figures) >= _MOST * len(rows.figures)
        ]  # fmt: skip
        return full[-1] if full else named[-1] if named else None  # rows below it without a figure are body

    def _mostly_body(self, part: Sequence[int]) -> bool:
        """Whether a row is one of the body, and most of the few below it are."""
        if not self._is_body(part[0]):
            return False
        return len(part) < 5 or sum(map(self._is_body, part)) >= 0.8 * len(part)

    def _is_body(self, at: int) -> bool:
        """Whether a row holds figures where most rows do."""
        rows = self.rows
        row, end, kinds = rows.forms[at], rows.ends[at], rows.kinds[at]
        filled = [each for each in rows.figures if each < end and row[each]]
        if end == 2 == rows.width and kinds[0] == "text":  # a key and its value
            return False
        good = sum(kinds[each] != "text" for each in filled)
        return good >= max(1.0, 0.5 * len(filled)) and abs(end - rows.width) <= max(1, 0.4 * rows.width)

    def _is_head(self, at: int) -> bool:
        """Whether a row has words above columns of figures, and is about as wide as the rows."""
        rows = self.rows
        filled = [cell.strip() for cell in rows.cells[at] if cell.strip()]
        if len(filled) < max(min(2, rows.width), 0.3 * rows.width):
            return False
        if len(filled) == 2 and filled[1].lstrip("+-.")[:1].isdigit():  # a key and its value
            return False
        own = [rows.cell(at, each) for each in rows.figures if rows.cell(at, each)]
        words = sum(kind_of(cell) in {"text", "empty"} or cell == "1" for cell in own)
        return bool(own) and words >= _MOST * len(own) and not self._recurs(at)

    def _recurs(self, at: int) -> bool:
        """Whether a text of a row stands in its column below, too: ids and words of rows do, headers do not."""
        rows = self.rows
        row = rows.forms[at]
        texts = [each for each, kind in enumerate(rows.kinds[at]) if kind == "text"]
        half = [rows.forms[each] for each in rows.half]
        return any(each < len(other) and other[each] == row[each] for other in half if other != row for each in texts)

    def _is_unit_row(self, at: int) -> bool:
        """Whether a row says units: in brackets, or above columns of figures; a figure other than 1 is none."""
        rows = self.rows
        cells = [(each, plain(cell)) for each, cell in enumerate(rows.cells[at]) if cell.strip()]
        if any(kind_of(cell) not in {"text", "empty"} and cell != "1" for _, cell in cells):
            return False
        below = [rows.kinds[each] for each in rows.sample[rows.sample.index(at) + 1 :][:TAIL]]

        def of_figures(column: int) -> bool:
            kinds = [row[column] for row in below if column < len(row) and row[column] != "empty"]
            return 2 * kinds.count("text") < len(kinds)

        own = any(bare(cell) != cell or of_figures(each) for each, cell in cells)
        return own and says_units([cell for _, cell in cells])

    def _unit_row(self, heads: Sequence[int]) -> int | None:
        """Position of the row of units, right below the headers."""
        if not heads or self.stated.units_row is False:
            return None
        below = self._below(heads)
        if below is not None and (self.stated.units_row or self._is_unit_row(below)):
            return below
        return None

    def _below(self, heads: Sequence[int]) -> int | None:
        return next((at for at in self.rows.sample if at > heads[-1]), None) if heads else None

    def _begin(self, heads: Sequence[int], unit_row: int | None) -> int | None:
        """Position of the first row below headers and units."""
        if heads:
            return next((at for at in self.rows.sample if at > (heads[-1] if unit_row is None else unit_row)), None)
        return next((at for at in self.rows.sample if self._is_body(at)), next(iter(self.rows.sample), None))

    # ---- what stands in the rows ------------------------------------------------------------------------------------

    def _marks(self, body: _Body, columns: Sequence[int]) -> tuple[Fact[Marks], dict[int, Spot]]:
        """Marks of figures, and by column the first figure that rival marks read as another number."""
        forms: Counter[str] = Counter()
        for column in columns if self.separator.value else ():
            forms.update({form: count for form, count in body.forms(column).items() if _kind(form) == "number"})
        stated = self.stated
        ways = [
            marks for marks in _FITS
            if stated.decimal in {"", marks.decimal} and stated.thousands in {None, marks.thousands}
        ] or [Marks(stated.decimal or ".", stated.thousands or "")]  # fmt: skip
        wrong = {marks: [form for form in forms if not _fits(marks, form)] for marks in ways}
        cost = {marks: sum(forms[form] for form in wrong[marks]) for marks in ways}
        sure = [
            marks for marks in ways
            if not marks.thousands or stated.thousands is not None or any(_shows(marks, form) for form in forms)
        ]  # fmt: skip
        best = min(sure or ways, key=lambda marks: cost[marks])
        commas = any("," in form for form in forms)
        rivals = {
            marks: [form for form in forms if _fits(marks, form) and _fits(best, form) and _differ(best, marks, form)]
            for marks in ways
            if marks != best
            and cost[marks] <= cost[best]
            # a comma between fields goes with a point for decimals, unless figures with commas stand in quotes
            and (self.separator.value != "comma" or commas or marks != Marks(",", "."))
        }
        rivals = {marks: found for marks, found in rivals.items() if found}
        doubtful = {form for found in rivals.values() for form in found}
        either = {
            column: self._first(body, column, doubtful) for column in columns if doubtful & body.forms(column).keys()
        }
        total = forms.total()
        misfits = [(column, {form}) for column in columns for form in wrong[best] if form in body.forms(column)]
        against = sorted(self._first(body, *each) for each in misfits)[:3]
        by: By = "entry" if stated.decimal else "open" if rivals else "file"
        why = f"{said_of(best, forms)}, in {total - cost[best]} of {counted(total, 'figure')} looked at"
        fact = Fact(best, by, total - cost[best], total, tuple(rivals), tuple(against), why if total else "no figures")
        return fact, either

    def _first(self, body: _Body, column: int, forms: Collection[str]) -> Spot:
        """The first cell of a column with one of these forms."""
        at = body.first(column, forms)
        return Spot(self.line(at), column, self.rows.cell(at, column))

    def _date_order(self, body: _Body, columns: Sequence[int]) -> Fact[str]:
        found: dict[tuple[int, int], Spot] = {}
        short: list[Spot] = []  # dates of which any figure may be the year
        telling = {
            form
            for column in columns for form in body.forms(column)
            if _kind(form) in {"date", "stamp"} and (day_and_month(form) or has_short_year(form))
        }  # fmt: skip
        for at, column in body.places(columns, telling):
            cell = self.rows.cell(at, column)
            if pair := day_and_month(cell):
                found.setdefault(pair, Spot(self.line(at), column, cell))
            elif has_short_year(cell):
                short.append(Spot(self.line(at), column, cell))
        if short and not found and not self.stated.date_order:
            return Fact("", "open", rivals=("day first", "month first"), against=tuple(short[:1]))
        if self.stated.date_order or not found:
            return Fact(self.stated.date_order, "entry" if self.stated.date_order else "file")
        day = [spot for (first, _), spot in found.items() if first > 12]
        month = [spot for (_, second), spot in found.items() if second > 12]
        if bool(day) == bool(month):
            rivals, of = ("day first", "month first"), len(day) + len(month)
            return Fact("", "open", len(day), of, rivals, (*day[:1], *month[:1]))
        word, shown = ("day first", day) if day else ("month first", month)
        why = f'dates with the {word}, as "{shown[0].text}" in {self.word} {shown[0].line} shows'
        return Fact(word, "file", len(shown), len(found), why=why)

    def _missing(self, body: _Body, columns: Sequence[int]) -> Fact[frozenset[str]]:
        marks = {form for column in columns for form in body.forms(column) if form and _kind(form) == "empty"}
        return Fact(frozenset(self.rows.cell(*place) for place in body.places(columns, marks)))


class _Body:
    """Forms of the cells below the headers, by column: each of them is judged once."""

    def __init__(self, forms: Mapping[int, Sequence[str]], body: Sequence[int]) -> None:
        self._at = body
        self._columns = [*zip_longest(*(forms[at] for at in body), fillvalue="")]
        self._forms: dict[int, Counter[str]] = {}

    def forms(self, column: int) -> Counter[str]:
        """How many cells of a column have each form, the first met first."""
        if column not in self._forms:
            self._forms[column] = Counter(self._columns[column] if column < len(self._columns) else ())
        return self._forms[column]

    def kind(self, column: int) -> Kind:
        """Of most of its cells."""
        tally = _tally(self.forms(column))
        tally.pop("empty", 0)
        if not tally:
            return "empty"
        top = max(tally, key=tally.__getitem__)
        return top if tally[top] >= _MOST * tally.total() else "text"

    def first(self, column: int, forms: Collection[str]) -> int:
        """Position of the first row that has one of these forms in a column."""
        return next(at for at, form in zip(self._at, self._columns[column], strict=True) if form in forms)

    def places(self, columns: Sequence[int], forms: Collection[str]) -> Iterator[tuple[int, int]]:
        """Rows and columns with one of these forms, row by row."""
        some = [column for column in columns if not self.forms(column).keys().isdisjoint(forms)]
        for n, at in enumerate(self._at if some else ()):
            yield from ((at, column) for column in some if self._columns[column][n] in forms)


@lru_cache(maxsize=1 << 14)
def _fits(marks: Marks, form: str) -> bool:
    return bool(_FITS[marks].fullmatch(form)) if marks in _FITS else False


def _shows(marks: Marks, form: str) -> bool:
    """Whether a form that fits can only have been written with a thousands mark: "1.234,5", "1,234,567", "1 234"."""
    count = form.count(marks.thousands)
    if marks.thousands in {" ", "'"}:
        return _fits(marks, form) and not _fits(Marks(marks.decimal), form)
    return _fits(marks, form) and (count > 1 or (count == 1 and marks.decimal in form))


def _differ(one: Marks, other: Marks, form: str) -> bool:
    """Whether two marks that fit a form make two numbers of it."""
    return any(a.decimal in form and a.decimal == b.thousands for a, b in ((one, other), (other, one)))


def said_of(marks: Marks, forms: Collection[str]) -> str:
    """Marks in words, of figures in these forms."""
    decimals = any(marks.decimal in form for form in forms)
    said = f"a decimal {MARK_NAMES[marks.decimal]}" if decimals else "whole numbers"
    return said + (f", a {MARK_NAMES[marks.thousands]} between thousands" if marks.thousands else "")
