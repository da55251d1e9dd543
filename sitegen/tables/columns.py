"""Which column of a table holds which field of a stream, and in which unit."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from difflib import SequenceMatcher
from typing import Any

from sitegen import units
from sitegen.problems import nearest, shown
from sitegen.program.model import Address, RecordSource, Where, Words
from sitegen.reader.blocked import Blocked
from sitegen.reader.headers import known_in, parted, plain
from sitegen.reader.numbers import dates
from sitegen.reader.place import Misplaced, ending, labels, place
from sitegen.reader.table import Table
from sitegen.vocabulary import Field, Problem

_ALIKE = 0.8  # a header this like a field's name is taken for a slip of the pen
YES_NO: Mapping[str, str] = {
    "yes": "yes",
    "y": "yes",
    "true": "yes",
    "1": "yes",
    "no": "no",
    "n": "no",
    "false": "no",
    "0": "no",
}


@dataclass(frozen=True)
class Use:
    """A field that is taken from a column."""

    field: Field
    at: int  # position of the column
    header: str  # as it stands in the file, with the letter of its column in a workbook
    unit: str = ""  # as written
    scale: float = 1.0  # number · scale + offset is in the field's unit
    offset: float = 0.0
    words: Mapping[str, str] | None = None  # word of the file, as compared -> the text it stands for


def own_words(what: Field, levels: Sequence[Words]) -> Mapping[str, str]:
    """What words of files stand for in a field, by the word as compared: text of ours, "" for nothing.

    Those of later levels count before earlier ones, those for the field itself before those it shares.
    """
    found: dict[str, str] = {}
    for words in levels:
        for name in (what.shared_words, what.name):
            found |= words.get(name, {})
    if what.shared_words != "mark":
        return found
    marks = MARKS if what.kind == "bounded" else {"not-measured": ""}
    return {word: marks[means] for word, means in found.items() if means in marks}


MARKS: Mapping[str, str] = {"not-detected": "ND", "not-measured": "-"}
"""What words may say in place of a number, and the mark it is in a field of bounds."""


@dataclass(frozen=True)
class Plan:
    """Where every field of a table comes from."""

    uses: tuple[Use, ...]
    cells: tuple[tuple[Use, str], ...]  # sheet form: column and phase
    constants: Mapping[str, Any]  # field -> value in the field's unit
    columns: Mapping[str, str] = field(default_factory=dict)  # header -> field, "" where it is not used


def known_headers(source: RecordSource, fields: Sequence[Field]) -> Callable[[Sequence[str]], int]:
    """A count of the names among some headers that the record entry can use."""
    wanted = {plain(use.at.header) for use in source.columns.values()} | {plain(name) for name in source.sheet_phases}
    if not source.columns:
        wanted |= {each.name for each in fields}
    return known_in(wanted)


class Planner:
    """Finds the columns of one table; collects what does not fit."""

    def __init__(self, source: RecordSource, fields: Sequence[Field], table: Table, file: str) -> None:
        self._source = source
        self._fields = {each.name: each for each in fields}
        self._table = table
        self._file = file
        self._problems: list[Problem] = []
        self._taken: dict[int, str] = {}

    def plan(self) -> Plan:
        """Raises `Blocked` with everything that is missing, unknown or contradictory."""
        uses = [self._worded(use) for use in (self._stated() if self._source.columns else self._by_name())]
        cells = [(self._worded(use), phase) for use, phase in self._cells()] if self._source.form == "sheet" else []
        constants = {name: self._constant(name, value) for name, value in self._source.constants.items()}
        given = {use.field.name for use in uses} | set(constants) | {use.field.name for use, _ in cells}
        given |= {"phase"} if cells else set()
        twice = [use.field.name for use in uses if use.field.name in constants]
        for name in twice:
            self._entry(
                self._source.where, "field-twice", f"{name} is a constant and a column at once", "one of the two"
            )
        for each in self._fields.values():
            if each.required and each.name not in given and not self._complained_of(each.name):
                self._entry(
                    self._source.where,
                    "field-missing",
                    f"nothing in {shown(self._file)} says {each.name} ({each.title})",
                    "a column or a constant for it",
                    next_step=f"add `{each.name}` to `columns` or `constants`, or a header `{each.name}` to the table",
                )
        if self._problems:
            raise Blocked(*self._problems)
        return Plan(
            tuple(uses),
            tuple(cells),
            constants,
            {name: self._taken.get(at, "") for at, name in enumerate(labels(self._table.header))},
        )

    def _worded(self, use: Use) -> Use:
        return replace(use, words=own_words(use.field, self._source.words) or None)

    # ---- problems ---------------------------------------------------------------------------------------------------

    def _entry(self, where: Where, code: str, what: str, expected: str, near: str = "", next_step: str = "") -> None:
        self._problems.append(Problem(where.file, where.line, where.column, code, what, expected, near, next_step))

    def _in_table(self, at: int, code: str, what: str, expected: str, near: str = "", next_step: str = "") -> None:
        line, column = self._table.header_line, self._table.label(at)
        self._problems.append(Problem(self._file, line, 0, code, what, expected, near, next_step, column))

    def _complained_of(self, name: str) -> bool:
        tried = name in self._source.columns or name in self._taken.values()
        return tried or any(problem.nearest == name for problem in self._problems)

    # ---- columns ----------------------------------------------------------------------------------------------------

    def _stated(self) -> list[Use]:
        uses = []
        for name, column in self._source.columns.items():
            where = column.where if column.where.file else self._source.where
            if name not in self._fields:
                self._entry(
                    where,
                    "field-unknown",
                    f'a record of {self._source.stream} has no field "{shown(name)}"',
                    "a field of the stream",
                    nearest(name, self._fields),
                )
                continue
            at = self._position(column.at, where)
            if at is not None:
                uses.append(self._use(self._fields[name], at, column.unit, where))
        return [use for use in uses if use is not None]

    def _by_name(self) -> list[Use]:
        uses = []
        phases = {plain(name) for name in self._source.sheet_phases}
        for at, header in enumerate(self._table.header):
            name, _ = parted(header)
            if not header or header in phases:
                continue
            if name in self._fields:
                if name in self._taken.values():
                    step = f"state `columns` in the record entry, with `{name}: {{number: {at + 1}}}` for this one"
                    what = f'more than one column is "{name}"'
                    self._in_table(at, "header-twice", what, "one column a field", next_step=step)
                    continue
                uses.append(self._use(self._fields[name], at, "", self._source.where))
            elif near := _slip(name, self._fields):
                self._in_table(
                    at,
                    "header-unknown",
                    f'the header "{shown(name)}" is no field of {self._source.stream}',
                    "`field [unit]` over each column",
                    near,
                    f'write "{near}", or state `columns` in the record entry',
                )
        return [use for use in uses if use is not None]

    def _cells(self) -> list[tuple[Use, str]]:
        source = self._source
        if source.sheet_field not in self._fields:
            self._entry(
                source.where,
                "field-unknown",
                f'a record of {source.stream} has no field "{shown(source.sheet_field)}"',
                "a field of the stream",
                nearest(source.sheet_field, self._fields),
            )
            return []
        cells = []
        for header, phase in source.sheet_phases.items():
            at = self._position(Address(header), source.where)
            if at is None:
                continue
            use = self._use(self._fields[source.sheet_field], at, source.sheet_unit, source.where)
            if use is not None:
                cells.append((use, phase))
        odd = next(
            (use for use, _ in cells if (use.scale, use.offset) != (cells[0][0].scale, cells[0][0].offset)), None
        )
        if odd is not None:
            self._in_table(
                odd.at,
                "unit-contradicted",
                f'the cells are in "{shown(odd.unit)}" here, but in '
                f'"{shown(cells[0][0].unit)}" under "{shown(cells[0][0].header)}"',
                "one unit for all cells of a sheet",
            )
        return cells

    def _position(self, address: Address, where: Where) -> int | None:
        """Position of the column an address means; each column serves once."""
        try:
            at = place(self._table.header, address, self._file, "the table")
        except Misplaced as fault:
            self._entry(where, fault.code, str(fault), fault.expected, fault.nearest, fault.next_step)
            return None
        if at in self._taken:
            self._entry(
                where,
                "column-twice",
                f'the column "{shown(labels(self._table.header)[at])}" of {shown(self._file)} is used twice',
                "one use a column",
            )
            return None
        self._taken[at] = ""
        return at

    # ---- units ------------------------------------------------------------------------------------------------------

    def _use(self, what: Field, at: int, stated: str, where: Where) -> Use | None:
        header = self._table.header[at]
        self._taken[at] = what.name
        bracket, below = parted(header)[1], self._table.units[at]
        written = stated or bracket or below
        if (
            at in self._table.percent
            and what.kind in {"number", "bounded", "integer"}
            and written != "%"
            and (written or not what.dimension)
        ):
            self._in_table(
                at,
                "unit-contradicted",
                f'{what.name} is in "{shown(written or "1")}" here, but cells of the column are shown as per cent',
                "per cent in both, or cells in a plain number format",
            )
            return None
        label = self._table.label(at)
        if what.kind not in {"number", "bounded"} or not what.dimension:
            if what.kind in {"number", "bounded"} and written not in {"", "1", "-"}:
                self._in_table(
                    at,
                    "unit-unwanted",
                    f'{what.name} is a count, but its unit is said to be "{shown(written)}"',
                    "no unit",
                )
            return Use(what, at, label)
        try:
            scale, offset = _converter(written, what)
        except ValueError as error:
            expected, near = getattr(error, "expected", ""), getattr(error, "nearest", "")
            if stated:
                self._entry(where, "unit-wrong", f"{what.name}: {error}", expected, near)
            else:
                missing = "" if written else f"no unit is stated for {what.name}"
                self._in_table(
                    at,
                    "unit-wrong" if written else "unit-missing",
                    missing or str(error),
                    expected,
                    near,
                    "" if written else f"write it in the header, `{what.name} [unit]`, or in the record entry",
                )
            return None
        difference = what.dimension == "temperature difference"
        for other, stands in ((ending(header), "header"), (below, "row of units")):
            if other and not units.agree(other, written, difference=difference):
                self._entry(
                    where,
                    "unit-contradicted",
                    f'{what.name} is in "{shown(written)}" here, but in "{shown(other)}" '
                    f"in the {stands} of {shown(self._file)}",
                    "the same unit in both",
                )
        return Use(what, at, label, written, scale, offset)

    def _constant(self, name: str, value: Any) -> Any:
        what = self._fields.get(name)
        where = self._source.where
        if what is None:
            self._entry(
                where,
                "field-unknown",
                f'a record of {self._source.stream} has no field "{shown(name)}"',
                "a field of the stream",
                nearest(name, self._fields),
            )
            return None
        text = ("yes" if value else "no") if isinstance(value, bool) else str(value).strip()
        try:
            return constant(what, text)
        except ValueError as error:
            self._entry(
                where,
                "constant-wrong",
                f"the constant {name}: {error}",
                getattr(error, "expected", "") or expected(what),
                getattr(error, "nearest", ""),
            )
            return None


def constant(what: Field, text: str) -> Any:
    """Value of a text that holds for every row, in the unit of its field. Raises ValueError."""
    if not text:
        raise ValueError("nothing is stated")
    if what.kind in {"number", "bounded"}:
        if not what.dimension:
            return float(text)
        scale = 100.0 if what.unit == "%" else 1.0
        value = units.parse(text, what.dimension) * scale
    elif what.kind == "integer":
        if not text.strip().isdecimal():
            raise ValueError(f'"{shown(text)}" is no whole number')
        value = float(text)
    elif what.kind == "word":
        return word(what, text)
    elif what.kind == "yes-no":
        if text.casefold() not in YES_NO:
            raise ValueError(f'"{shown(text)}" is neither yes nor no')
        return YES_NO[text.casefold()]
    elif what.kind == "date":
        import numpy as np

        read = dates(np.array([text], dtype=object))
        if not read.values[0]:
            raise ValueError(f'"{shown(text)}" is no date')
        return read.values[0]
    else:
        return text
    if (what.low is not None and value < what.low) or (what.high is not None and value > what.high):
        raise ValueError(f'"{shown(text)}" is not within its limits')
    return value


def word(what: Field, text: str) -> str:
    """The allowed word a text stands for, whatever its capitals and hyphens. Raises ValueError."""
    found = "-".join(text.casefold().replace("_", " ").replace("-", " ").split())
    known = {each.casefold(): each for each in what.words}
    if found not in known:
        raise ValueError(f'"{shown(text)}" is not one of its words')
    return known[found]


def is_word(what: Field, text: str) -> bool:
    """Whether a text is one of a field's words."""
    try:
        word(what, text)
    except ValueError:
        return False
    return True


def expected(what: Field) -> str:
    """What may stand in a field, for messages."""
    if what.words:
        return ", ".join(what.words)
    kinds = {"integer": "a whole number", "yes-no": "yes or no", "date": "a date, as 2026-05-14", "number": "a number"}
    kinds["bounded"] = "a number, <1 for below 1, ND for not detected, or - for not measured"
    return kinds.get(what.kind, "a text")


def _converter(written: str, what: Field) -> tuple[float, float]:
    scale, offset = units.converter(written, what.dimension)
    return (scale * 100, offset * 100) if what.unit == "%" else (scale, offset)


def _slip(name: str, fields: Mapping[str, Field]) -> str:
    near = nearest(name, fields)
    return near if near and SequenceMatcher(None, name.casefold(), near).ratio() >= _ALIKE else ""
