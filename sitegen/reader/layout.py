"""How a file is written: facts, what each of them rests on, and what an entry says of them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Generic, Literal, NamedTuple, TypeVar

T = TypeVar("T")
Kind = Literal["number", "date", "stamp", "time of day", "text", "empty"]
By = Literal["file", "entry", "open"]


class Spot(NamedTuple):
    """A cell of a file."""

    line: int
    at: int  # column from 0
    text: str


class Marks(NamedTuple):
    """Signs in figures."""

    decimal: str = "."
    thousands: str = ""


@dataclass(frozen=True)
class Fact(Generic[T]):
    """One thing about how a file is written."""

    value: T
    by: By = "file"  # found in the file, stated by the record entry, or open: the file leaves several readings
    agree: int = 0  # rows or figures that bear it out ...
    of: int = 0  # ... of those that could
    rivals: tuple[T, ...] = ()  # other readings that fit as well and give other results
    against: tuple[Spot, ...] = ()  # the first places that do not fit
    why: str = ""  # a sentence without its stop


@dataclass(frozen=True)
class Column:
    """A column of a table."""

    at: int
    header: str  # rows of headers joined by a blank, a group's name over all of its columns
    name: str  # the header without its unit
    unit: str = ""  # as the file writes it
    unit_place: str = ""  # "in its header", "in the row of units", "at the end of its header"; "" nowhere
    kind: Kind = "empty"  # of most of its cells looked at
    either: Spot | None = None  # the first figure that the rivals of `Layout.marks` read as another number


@dataclass(frozen=True)
class Layout:
    """How one file is written. Lines count from 1; of a column file the names stand in line 0."""

    encoding: Fact[str]
    separator: Fact[str]  # a word of `records.SEPARATORS`; "" where cells have addresses
    marks: Fact[Marks]
    date_order: Fact[str]  # "day first", "month first", or "": the year comes first, or there is no date
    missing: Fact[frozenset[str]]  # what stands where a figure is missing
    heads: Fact[tuple[int, ...]]  # lines of the headers; empty where there are none
    units_row: Fact[int]  # line; 0 where there is none
    begin: Fact[int]  # line of the first row; past the last line where there is none
    columns: tuple[Column, ...] = ()
    sections: tuple[int, ...] = ()  # lines in which the headers stand again
    said: Mapping[str, str] = field(default_factory=dict)  # key -> value, of the lines above the headers
    width: int = 0  # fields of most rows
    word: str = "line"  # what its lines are called

    @property
    def headers(self) -> tuple[str, ...]:
        return tuple(column.header for column in self.columns)

    @property
    def found(self) -> tuple[str, ...]:
        """What was found and stands in few tables, as sentences without their stops; the separator is told apart."""
        first = self.heads.value[0] if self.heads.value else 0
        notable: tuple[tuple[Fact[Any], bool], ...] = (
            (self.marks, self.marks.value != Marks()),
            (self.date_order, bool(self.date_order.value)),
            (self.heads, first > 1 or len(self.heads.value) > 1),
            (self.units_row, self.units_row.value > 0),
        )
        return tuple(fact.why for fact, told in notable if told and fact.by == "file" and fact.why)


@dataclass(frozen=True)
class Stated:
    """What a record entry says of how its file is written; what it leaves out is found."""

    separator: str = ""  # a word of `records.SEPARATORS`
    decimal: str = ""
    thousands: str | None = None
    date_order: str = ""
    skip_rows: int | None = None
    header_rows: int | None = None
    units_row: bool | None = None
    known: Callable[[Sequence[str]], int] | None = None  # counts the headers among some cells that the entry names


NOTHING_STATED = Stated()
