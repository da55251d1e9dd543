"""One table of a stream to one frame of readings in SI, with everything in it that does not fit."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

from sitegen.problems import nearest, shown
from sitegen.program.model import RecordSource
from sitegen.program.words import compared, line
from sitegen.reader.blocked import Blocked
from sitegen.reader.find import MARK_NAMES
from sitegen.reader.grid import Odd
from sitegen.reader.headers import plain
from sitegen.reader.layout import Fact
from sitegen.reader.neutral import meant
from sitegen.reader.numbers import Cells, Complaint, bearing, dates, has_short_year, numbers, other_mark
from sitegen.reader.table import Table
from sitegen.tables.columns import YES_NO, Plan, Use, expected, word
from sitegen.vocabulary import Problem

_ANNOUNCE: Mapping[Complaint, tuple[str, str, str]] = {
    "comma-decimal": (
        'the numbers have a decimal comma ("{cell}")',
        "the decimal mark that is announced, a point",
        'write `decimal: ","` in the record entry',
    ),
    "comma-thousands": (
        'a comma stands between groups of digits ("{cell}")',
        "numbers without thousands marks, as none is announced",
        'write `thousands: ","` in the record entry',
    ),
    "comma-either": (
        '"{cell}" may have a decimal comma or a thousands mark',
        "marks that are announced",
        'write `decimal: ","` or `thousands: ","` in the record entry',
    ),
    "dot-decimal": (
        'the numbers have a decimal point ("{cell}")',
        "the decimal mark that is announced, a comma",
        'correct this cell; or, where they are all so, take `decimal: ","` out of the record entry',
    ),
    "dot-twice": (
        'the dot stands between groups of digits ("{cell}")',
        "one mark for one purpose",
        'if it is only a thousands mark, write `thousands: "."` and `decimal: ","` in the record entry; if it is '
        "also the decimal mark, export the table again without thousands marks",
    ),
    "groups-broken": (
        'the thousands mark does not stand before groups of three digits ("{cell}")',
        "one mark for one purpose",
        "see which mark is the decimal one, and export the table again without thousands marks",
    ),
    "blank-thousands": (
        'a blank or an apostrophe stands between groups of digits ("{cell}")',
        "numbers without thousands marks, as none is announced",
        "write that mark as `thousands` in the record entry",
    ),
}


_NO_ORDER = Fact("")
ASIDE = "correct the record, or leave it set aside"
SAY = "or say in the record entry what it stands for"


@dataclass(frozen=True)
class Fault:
    """A cell that sets its reading aside."""

    at: int  # position of the reading
    code: str
    field: str
    what: str
    expected: str = ""
    nearest: str = ""
    next_step: str = ""  # "" the usual
    told: bool = True  # False: what is wrong is told once, with another reading


@dataclass(frozen=True)
class Part:
    """Readings of one table: arrays of one entry a reading, None or nan where nothing is said."""

    lines: npt.NDArray[np.int64]
    phases: Sequence[str]  # sheet form: phase of each reading, for its id; else empty
    arrays: Mapping[str, np.ndarray]  # field -> float64, or object of str and None
    faults: Sequence[Fault]
    empty_cells: int = 0  # of a sheet: no reading was entered
    headers: Mapping[str, str] = field(default_factory=dict)  # field -> header, for messages
    cell_field: str = ""  # sheet form: field its cells hold ...
    cell_headers: Sequence[str] = ()  # ... and the header of each reading
    marks: Mapping[str, np.ndarray] = field(default_factory=dict)  # bounded field -> object of "", "<", "ND" and "-"
    said: Mapping[str, Mapping[str, str]] = field(default_factory=dict)  # field -> id -> word of the file meaning it

    def header(self, name: str, at: int) -> str:
        """Header over what a reading says of a field; the field's name where it is stated once for all."""
        return self.cell_headers[at] if name and name == self.cell_field else self.headers.get(name, name)


def readings(table: Table, plan: Plan, source: RecordSource, file: str) -> Part:
    """Every reading of the table. Raises `Blocked` where a whole column cannot be trusted."""
    if table.cells:
        source = replace(source, decimal=".", thousands="")
    figures = [use.at for use in plan.uses if use.field.kind in {"number", "integer"} and not use.words]
    numeric = () if source.thousands else figures
    wanted = [*(use.at for use in plan.uses), *(use.at for use, _ in plan.cells)]
    columns = table.columns(wanted, numeric, source.decimal)
    lines, short = table.lines, table.short
    if plan.cells:
        return _sure(_of_sheet(table, plan, source, file, columns), table, plan, file)
    bear = {at: bearing(columns[at], source.decimal) for at in figures}
    convert = _Converter(source, file, lines, short, table.cells, bear, table.layout.date_order)
    arrays = {use.field.name: convert(use, columns[use.at], table.odd.get(use.at, {})) for use in plan.uses}
    return _sure(_part(table, plan, convert, arrays, lines, short), table, plan, file)


def _sure(part: Part, table: Table, plan: Plan, file: str) -> Part:
    """The part. Raises `Blocked` where figures it rests on read as two numbers, and nothing in the file tells which."""
    marks = table.layout.marks
    if marks.by != "open":
        return part
    problems = []
    for use in (*plan.uses, *(use for use, _ in plan.cells)):
        spot = table.layout.columns[use.at].either
        if spot is None or use.field.kind not in {"number", "bounded", "integer"}:
            continue
        mark = marks.value.decimal
        problems.append(
            Problem(
                file, spot.line, 0, "number-format",
                f'"{shown(spot.text)}" may have a decimal {MARK_NAMES[mark]} or a thousands mark',
                "figures that read one way", "",
                f'write `decimal: "{mark}"` or `thousands: "{mark}"` in the record entry', use.header,
            )
        )  # fmt: skip
    if problems:
        raise Blocked(*problems)
    return part


def _of_sheet(table: Table, plan: Plan, source: RecordSource, file: str, columns: Mapping[int, np.ndarray]) -> Part:
    """One reading for each cell with something in it, row by row."""
    across = len(plan.cells)
    cells = np.stack([columns[use.at] for use, _ in plan.cells], axis=1).reshape(-1)
    entered = np.array([bool(cell.strip()) for cell in cells.tolist()], dtype=bool)
    lines, short = (np.repeat(each, across)[entered] for each in (table.lines, table.short))
    phases = _objects([phase for _, phase in plan.cells] * len(table))[entered]
    headers = _objects([use.header for use, _ in plan.cells] * len(table))[entered].tolist()
    what = plan.cells[0][0]
    convert = _Converter(source, file, lines, short, table.cells, order=table.layout.date_order)
    rows = np.repeat(np.arange(len(table)), across)[entered].tolist()
    at_cells = np.array([use.at for use, _ in plan.cells] * len(table))[entered].tolist()

    def odd(columns_of: Sequence[int]) -> dict[int, Odd]:
        places = enumerate(zip(columns_of, rows, strict=True)) if table.odd else ()
        return {i: table.odd[at][row] for i, (at, row) in places if row in table.odd.get(at, {})}

    arrays = {
        use.field.name: convert(use, np.repeat(columns[use.at], across)[entered], odd([use.at] * len(rows)))
        for use in plan.uses
    }
    arrays[what.field.name] = convert(what, cells[entered], odd(at_cells))
    arrays["phase"] = phases
    part = _part(table, plan, convert, arrays, lines, short)
    return replace(
        part,
        phases=phases.tolist(),
        cell_field=what.field.name,
        cell_headers=headers,
        empty_cells=int((~entered).sum()),
    )


def _part(
    table: Table,
    plan: Plan,
    convert: _Converter,
    arrays: dict[str, np.ndarray],
    lines: npt.NDArray[np.int64],
    short: npt.NDArray[np.bool_],
) -> Part:
    for name, value in plan.constants.items():
        arrays[name] = np.full(len(lines), value, dtype=float if isinstance(value, float) else object)
    if convert.problems:
        raise Blocked(*convert.problems)
    faults = convert.faults
    for at in np.flatnonzero(short):
        what = f"this row has fewer fields than the header, which has {len(table.header)}"
        faults.append(Fault(int(at), "short-row", "", what, "a field under every header"))
    for array in arrays.values():  # a row that is too short may say anything anywhere
        array[short] = np.nan if array.dtype.kind == "f" else None
    headers = {use.field.name: use.header for use in plan.uses}
    return Part(lines, (), arrays, faults, headers=headers, marks=convert.marks, said=convert.said)


class _Converter:
    """Text of a column to values; what is wrong with single cells and with whole columns is collected."""

    def __init__(
        self,
        source: RecordSource,
        file: str,
        lines: npt.NDArray[np.int64],
        short: npt.NDArray[np.bool_],
        cells: bool = False,  # numbers stand in cells of a workbook or a column file
        bear: Mapping[int, int] = MappingProxyType({}),  # by column, figures that bear the announced mark
        order: Fact[str] = _NO_ORDER,  # of day and month, as the file shows it
    ) -> None:
        self._bear, self._order = bear, order
        self._source = source
        self._cells = cells
        self._file = file
        self._lines = lines
        self._short = short
        self.faults: list[Fault] = []
        self.problems: list[Problem] = []
        self.marks: dict[str, Cells] = {}
        self.said: dict[str, dict[str, str]] = {}

    def __call__(self, use: Use, column: np.ndarray, odd: Mapping[int, Odd]) -> np.ndarray:
        if odd:
            column = column.copy()
            column[list(odd)] = "" if column.dtype == object else np.nan
            self.faults += [Fault(at, each.code, use.field.name, each.what, each.expected) for at, each in odd.items()]
        if column.dtype == object and self._short.any():
            column = column.copy()
            column[self._short] = ""
        if use.words:
            column = self._meant(use.field.name, use.words, column)
        kind = use.field.kind
        if kind == "bounded":
            column, self.marks[use.field.name] = _parted(column)
        if kind in {"number", "bounded", "integer"}:
            return self._numbers(use, column)
        if kind == "date":
            return self._dates(use, column)
        if kind == "word":
            return self._each(use, column, lambda text: word(use.field, text), "unknown-word")
        if kind == "yes-no":
            return self._each(use, column, lambda text: YES_NO[text.casefold()], "unknown-word")
        return self._each(use, column, str, "")

    def _meant(self, name: str, words: Mapping[str, str], column: np.ndarray) -> Cells:
        """The column with what its words stand for."""
        means: dict[str, str] = {}
        for cell in dict.fromkeys(column.tolist()):
            own = words.get(compared(plain(cell)))
            if own is not None:
                means[cell] = own
                self.said.setdefault(name, {}).setdefault(own, cell.strip())
        return _objects([means.get(cell, cell) for cell in column.tolist()])

    def _blocks(self, use: Use, at: int, code: str, what: str, expected: str, next_step: str) -> None:
        line = int(self._lines[at])
        self.problems.append(Problem(self._file, line, 0, code, what, expected, "", next_step, use.header))

    def _numbers(self, use: Use, column: np.ndarray) -> np.ndarray:
        what = use.field
        if column.dtype == object:
            others = sum(self._bear.values()) - self._bear.get(use.at, 0)
            read = numbers(column, self._source.decimal, self._source.thousands, others)
            if read.complaint:
                said, wanted, next_step = _ANNOUNCE[read.complaint]
                if self._cells:
                    wanted, next_step = "numbers entered as numbers", "enter them as numbers, not as text"
                cell = shown(column[read.at].strip())
                self._blocks(use, read.at, "number-format", said.format(cell=cell), wanted, next_step)
                return read.values
            raw, odd = read.values, {int(at): str(read.faults[at]) for at in np.flatnonzero(read.faults != "")}
        else:
            raw, odd = column, {}
        words = [at for at, code in odd.items() if code == "not-a-number" and (what.refers or what.kind == "bounded")]
        self._unknown(use, column, words, f"is {_FAULTS['not-a-number']}", "not-a-number")
        for at, code in odd.items():
            if at not in words:
                said, wanted = f"{self._cell(column, at)} is {_FAULTS[code]}", expected(what)
                decimal = self._source.decimal
                if code == "not-a-number" and not self._cells and other_mark(column[at], decimal):
                    mark, other = MARK_NAMES[decimal], MARK_NAMES["," if decimal == "." else "."]
                    said = f"{self._cell(column, at)} has a decimal {other}, the file a {mark}"
                    wanted = f"a number with a decimal {mark}"
                self.faults.append(Fault(at, code, what.name, said, wanted))
        with np.errstate(over="ignore", invalid="ignore"):
            values = raw * use.scale + use.offset
        for at in np.flatnonzero(np.isinf(values)).tolist():
            self.faults.append(
                Fault(int(at), "not-finite", what.name, f"{self._cell(column, at)} is too large", expected(what))
            )
        values[np.isinf(values)] = np.nan
        if what.kind == "integer":
            self._aside(values != np.floor(values), values, use, column, "not-whole", "is not a whole number")
        if what.low is not None or what.high is not None:
            out = (values < (-np.inf if what.low is None else what.low)) | (
                values > (np.inf if what.high is None else what.high)
            )
            self._aside(out, values, use, column, "outside-limits", "is outside its limits")
        return values

    def _aside(self, mask: np.ndarray, values: np.ndarray, use: Use, column: np.ndarray, code: str, what: str) -> None:
        for at in np.flatnonzero(mask & ~np.isnan(values)).tolist():
            allowed = within(use) if code == "outside-limits" else expected(use.field)
            self.faults.append(Fault(int(at), code, use.field.name, f"{self._cell(column, at)} {what}", allowed))
        if code == "not-whole":
            values[mask & ~np.isnan(values)] = np.nan

    def _dates(self, use: Use, column: Cells) -> Cells:
        read = dates(column, self._source.date_order)
        if read.unannounced and (told := _two_orders(self._order, use.at)) is not None:
            self.problems.append(Problem(self._file, told[0], 0, "date-order", *told[1:], use.header))
        elif read.unannounced:
            self._blocks(
                use,
                read.at,
                "date-order",
                f"{self._cell(column, read.at)} is written in an order of day and month that is not announced",
                "a date as 2026-05-14, or an order that is announced",
                "write `date_order: day first` or `date_order: month first` in the record entry"
                + (", by which its year is 20xx" if has_short_year(column[read.at].strip()) else ""),
            )
        for at in np.flatnonzero(read.faults != "").tolist() if not read.unannounced else ():
            code = str(read.faults[at])
            self.faults.append(
                Fault(
                    int(at), code, use.field.name, f"{self._cell(column, at)} is {_FAULTS[code]}", expected(use.field)
                )
            )
        return _objects([value or None for value in read.values.tolist()])

    def _each(self, use: Use, column: Cells, understand: Callable[[str], str], code: str) -> Cells:
        known: dict[str, str | None] = {}
        wrong = set()
        for cell in dict.fromkeys(column.tolist()):
            text = meant(" ".join(cell.split()))
            try:
                known[cell] = understand(text) if text else None
            except (ValueError, KeyError):
                known[cell] = None
                wrong.add(cell)
        listed = column.tolist()
        if wrong:
            places = [i for i, cell in enumerate(listed) if cell in wrong]
            self._unknown(use, column, places, "is none of its words", code)
        return _objects([known[cell] for cell in listed])

    def _unknown(self, use: Use, column: Cells, places: Sequence[int], what: str, code: str) -> None:
        """Faults of words that are not known: each is told once, with the rows it stands in."""
        rows: dict[str, list[int]] = {}
        for at in places:
            rows.setdefault(compared(plain(column[at])), []).append(at)
        name = "mark" if use.field.kind == "bounded" else use.field.name
        for first, *further in rows.values():
            cell = column[first].strip()
            ours = use.field.words or (("yes", "no") if use.field.kind == "yes-no" else ())
            said = f"{self._cell(column, first)} {what}{in_rows(self._lines, [first, *further])}"
            step = f"{ASIDE}, {SAY}: `{line(name, [cell])}`"
            near = nearest(cell, ours) if ours else ""
            self.faults.append(Fault(first, code, use.field.name, said, expected(use.field), near, step))
            self.faults += [Fault(at, code, use.field.name, said, told=False) for at in further]

    def _cell(self, column: np.ndarray, at: int) -> str:
        cell = column[at]
        return f'"{shown(cell.strip())}"' if isinstance(cell, str) else f'"{cell:.12g}"'


def _two_orders(found: Fact[str], column: int) -> tuple[int, str, str, str, str] | None:
    """Where dates of a column can only have the day first and others only the month: line of the rarer kind, what is
    said, expected and nearest, and the next step. Which of them is the slip is for a person to say.
    """
    if found.by != "open" or len(found.against) < len(found.rivals) or {spot.at for spot in found.against} != {column}:
        return None
    day, month = found.against
    rare, usual = (day, month) if 2 * found.agree < found.of else (month, day)
    orders = {day: "the day", month: "the month"}
    what = (
        f'"{shown(rare.text)}" can only have {orders[rare]} first, "{shown(usual.text)}" in line {usual.line} only '
        f"{orders[usual]}"
    )
    step = "correct the wrong ones, or write `date_order: day first` or `date_order: month first` in the record entry: "
    return rare.line, what, "dates in one order", "", f"{step}what does not fit is then set aside"


def in_rows(lines: npt.NDArray[np.int64], places: Sequence[int]) -> str:
    """How many rows say the same, and the first of them; "" of one.

    >>> in_rows(np.array([2, 3, 4, 5, 6]), [0, 2, 3, 4])
    ', in 4 rows: 2, 4, 5 and 1 more'
    """
    if len(places) == 1:
        return ""
    named = [str(int(lines[at])) for at in places]
    more = f" and {len(named) - _FIRST} more" if len(named) > _FIRST else ""
    return f", in {len(named)} rows: {', '.join(named[:_FIRST])}{more}"


_FIRST = 3  # rows named


def _parted(column: Cells) -> tuple[Cells, Cells]:
    """Numbers of a bounded column as they are without their marks, and the marks."""
    if column.dtype != object:
        return column, np.full(len(column), "", dtype=object)
    cells, marks = [], []
    for cell in column.tolist():
        text = cell.strip()
        mark = _mark(text)
        marks.append(mark)
        cells.append(text[1:].strip() if mark == "<" else "" if mark else cell)
    return _objects(cells), _objects(marks)


def _mark(text: str) -> str:
    return "<" if text.startswith("<") and text[1:].strip() else _WORDS.get(text.casefold(), "")


def is_mark(text: str) -> bool:
    """True of a cell that stands as a bound, or says that there is no number: "<1", "ND", "-"."""
    return bool(_mark(text.strip()))


# Blank is not among them: nothing was given, and nothing is said.
_WORDS = {"nd": "ND", "n.d.": "ND", "n.d": "ND", "not detected": "ND", **dict.fromkeys("-\u2212\u2013\u2014", "-")}

_FAULTS = {
    "not-a-number": "not a number",
    "not-finite": "not a finite number",
    "overflow": "an overflow mark, not a number",
    "not-a-date": "not a date with its year in four digits",
    "no-such-date": "not a day of the calendar",
}


def within(use: Use) -> str:
    """Limits of a field in the unit its column is written in, for messages."""
    what = use.field

    def told(limit: float) -> str:
        return f"{(limit - use.offset) / use.scale:.4g}"

    unit = f" {use.unit}" if use.unit else ""
    if what.low is None:
        return f"at most {told(what.high or 0.0)}{unit}"
    if what.high is None:
        return f"at least {told(what.low)}{unit}"
    return f"{told(what.low)} to {told(what.high)}{unit}"


def _objects(values: Sequence[object]) -> Cells:
    array = np.empty(len(values), dtype=object)
    array[:] = values
    return array
