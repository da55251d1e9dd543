"""One place in a document, and how values are taken from it without trusting them.

What the schema check has reported already (a missing key, a wrong type) is passed over in silence here and stands for
"" or None, so that everything else in the file can still be checked in the same run.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from typing import Any

from sitegen import units
from sitegen.problems import Collector, listed, nearest, shown
from sitegen.program import schema
from sitegen.program.model import Where
from sitegen.program.yamlfile import Document, Path, Position

LONGEST_ID = 40
_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9-]*")
_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_DEVICES = frozenset(
    ["con", "prn", "aux", "nul", *(f"{port}{number}" for port in ("com", "lpt") for number in range(10))]
)


def id_fault(text: str) -> str:
    """Why a text cannot be an id; "" where it can."""
    if not _ID.fullmatch(text):
        return "is not made of letters, digits and hyphens, a letter or a digit first"
    if len(text) > LONGEST_ID:
        return f"is longer than {LONGEST_ID} characters"
    if text.casefold() in _DEVICES:
        return "is a reserved device name on some systems and cannot name a file there"
    return ""


@dataclass
class Ids:
    """Ids seen so far, to tell doubles and those that differ in upper and lower case only."""

    scope: str  # "in this file"
    seen: dict[str, tuple[str, int]] = field(default_factory=dict)

    def add(self, name: str, at: Position, problems: Collector) -> None:
        """Note an id; a fault in it, or a clash, becomes a problem."""
        fault = id_fault(name)
        if fault:
            code = "reserved-name" if "reserved" in fault else "not-an-id"
            problems.add(at, code, f'the id "{shown(name)}" {fault}', next_step="choose another id")
            return
        first = self.seen.setdefault(name.casefold(), (name, at[0]))
        if first == (name, at[0]):
            return
        if first[0] == name:
            what, code = f'the id "{name}" is used a second time {self.scope}; first in line {first[1]}', "duplicate-id"
        else:
            what = f'the ids "{name}" and "{first[0]}" (line {first[1]}) differ in upper and lower case only'
            code = "case-clash"
        problems.add(at, code, what, expected=f"ids that are unique {self.scope}", next_step="rename one of them")


@dataclass(frozen=True)
class Node:
    """A mapping, list or single value at a path of a document."""

    document: Document
    path: Path
    value: Any
    problems: Collector

    @classmethod
    def root(cls, document: Document, problems: Collector) -> Node:
        return cls(document, (), document.data, problems)

    def has(self, key: str) -> bool:
        return isinstance(self.value, dict) and self.value.get(key) is not None

    def get(self, key: str) -> Node:
        inner = self.value.get(key) if isinstance(self.value, dict) else None
        return Node(self.document, (*self.path, key), inner, self.problems)

    def items(self, key: str) -> list[Node]:
        """Entries of a list."""
        return self.get(key).own_items()

    def own_items(self) -> list[Node]:
        if not isinstance(self.value, list):
            return []
        return [Node(self.document, (*self.path, n), each, self.problems) for n, each in enumerate(self.value)]

    def entries(self, key: str) -> list[tuple[str, Node]]:
        """Keys and values of a mapping, in the order written."""
        return self.get(key).own_entries()

    def own_entries(self) -> list[tuple[str, Node]]:
        return [(name, self.get(name)) for name in self.value] if isinstance(self.value, dict) else []

    @property
    def at(self) -> Position:
        return self.document.at(self.path)

    @property
    def key_at(self) -> Position:
        return self.document.key_at(self.path)

    @property
    def where(self) -> Where:
        return Where(self.document.home(self.path)[0].file, *self.at)

    @property
    def subject(self) -> str:
        return schema.subject(self.document, self.path)

    @property
    def within(self) -> str:
        return schema.within(self.document, self.path)

    def own_text(self) -> str:
        """Text of a single value; "" where it is none. A whole number counts as its digits, 2.0 as 2: so do schemas."""
        if isinstance(self.value, float) and self.value.is_integer():
            return str(int(self.value))
        if isinstance(self.value, bool) or not isinstance(self.value, str | int):
            return ""
        return str(self.value)

    def as_written(self) -> str:
        """Text of a single value exactly as in the file."""
        return self.document.text(self.path) or ""

    def text(self, key: str) -> str:
        return self.get(key).own_text()

    def texts(self, key: str) -> tuple[str, ...]:
        return tuple(filter(None, (each.own_text() for each in self.items(key))))

    def flag(self, key: str) -> bool:
        return self.get(key).value is True

    def whole(self, key: str) -> int | None:
        return self.get(key).own_whole()

    def own_whole(self) -> int | None:
        number = self.value
        if isinstance(number, bool) or not isinstance(number, int | float) or number != int(number):
            return None
        return int(number)

    def quantity(self, key: str, dimension: str, *, zero: bool = False) -> float | None:
        """A quantity in SI; None where it is missing or wrong. It must be above zero, or not below with `zero`."""
        return self.get(key).own_quantity(dimension, zero=zero)

    def own_quantity(self, dimension: str, *, zero: bool = False, signed: bool = False) -> float | None:
        if not isinstance(self.value, str):
            return None
        try:
            number = units.parse(self.value, dimension)
        except units.UnitError as error:
            self.problems.add(
                self.at, error.code, f"{self.subject}: {error.what}", expected=error.expected, nearest=error.nearest
            )
            return None
        if not signed and (number < 0 or (number == 0 and not zero)):
            self.problems.add(
                self.at,
                "out-of-range",
                f'{self.subject} is "{shown(self.value)}"',
                expected="zero or more" if zero else "more than zero",
            )
            return None
        return number

    def date(self, key: str) -> str:
        """A real day as an ISO date; "" where it is missing or wrong."""
        return self.get(key).own_date()

    def own_date(self) -> str:
        if not isinstance(self.value, str):
            return ""
        if _DATE.fullmatch(self.value):
            try:
                return datetime.date.fromisoformat(self.value).isoformat()
            except ValueError:
                what = "which is not a day of the calendar"
        else:
            what = "which is not a date"
        told = f'{self.subject} is "{shown(self.value)}", {what}'
        self.add("not-a-date", told, expected="year-month-day, such as 2026-01-31")
        return ""

    def reference(self, key: str, allowed: Collection[str] | None, kind: str, home: str) -> str:
        """An id that must be among those allowed; "" where it is missing or unknown. None allows every id."""
        return self.get(key).own_reference(allowed, kind, home)

    def own_reference(self, allowed: Collection[str] | None, kind: str, home: str) -> str:
        name = self.own_text()
        missing = not name and self.value != ""  # told where the schema asks for it
        if missing or allowed is None or name in allowed:
            return name
        names = list(allowed)
        self.problems.add(
            self.at,
            f"unknown-{kind.replace(' ', '-')}",
            f'{self.subject} is "{shown(name)}", which is no {kind} of {home}',
            expected=listed(names) if names else f"a {kind}, but none is defined",
            nearest=nearest(name, names),
        )
        return ""

    def references(self, key: str, allowed: Collection[str] | None, kind: str, home: str) -> tuple[str, ...]:
        """Ids of a list that are known; each may stand in it once."""
        found: list[str] = []
        for each in self.items(key):
            name = each.own_reference(allowed, kind, home)
            if name and name in found:
                each.problems.add(
                    each.at,
                    "named-twice",
                    f'"{shown(name)}" is named twice{self.get(key).within}',
                    next_step="remove one",
                )
            elif name:
                found.append(name)
        return tuple(found)

    def ids(self, key: str, scope: str) -> dict[str, Node]:
        """Entries of a list by their ids, each checked; entries without a usable id are left out."""
        seen = Ids(scope)
        found: dict[str, Node] = {}
        for each in self.items(key):
            name = each.text("id")
            if name:
                seen.add(name, each.get("id").at, self.problems)
                found.setdefault(name, each)
        return found

    def add(self, code: str, what: str, *, expected: str = "", near: str = "", next_step: str = "") -> None:
        """A problem about this place."""
        self.problems.add(self.at, code, what, expected=expected, nearest=near, next_step=next_step)


Names = Mapping[str, Collection[str]]
