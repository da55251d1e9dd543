"""Words of state and the ink mark that repeats each of them. The mark never replaces the word."""

from __future__ import annotations

from typing import Literal

from sitegen.page.blocks import Cell

Mark = Literal["full", "half", "cross", "gap", "ring", "bar", ""]

# full: it is so; half: partly or not yet; cross: it is not so; gap: cannot be told; ring: to come; bar: put aside.
MARKS: dict[str, Mark] = {
    "seated": "full",
    "still seating": "half",
    "not seated": "cross",
    "above the limit": "cross",
    "cannot tell": "gap",
    "holds": "full",
    "fails": "cross",
    "cannot tell yet": "half",
    "unverified": "gap",
    "not decided here": "ring",
    "met": "full",
    "not met": "cross",
    "in": "full",
    "partly in": "half",
    "missing": "cross",
    "to come": "ring",
    "set aside": "bar",
    "left out": "bar",
}
STRONG = frozenset({"cross"})  # printed bold: what a reader must not miss


def mark(cell: Cell) -> Mark:
    """Mark of a word of state in a cell; "" for any other cell."""
    return mark_of(cell.state or cell.text) if cell.word else ""


def mark_of(word: str) -> Mark:
    """Mark of a word of state, also of one that goes on ("to come, 7 December"); "" where there is none.

    >>> mark_of("seated"), mark_of("to come, 7 December"), mark_of("3 of 4 cylinders"), mark_of("grey")
    ('full', 'ring', '', '')
    """
    if word in MARKS:
        return MARKS[word]
    head = word.partition(",")[0]
    return MARKS.get(head, "")
