"""From a checked place of a document to a frozen class of the model, by the types and notes of its fields.

A field says what it is once, in `model`: a text, a whole number, a flag, one of some words, a quantity of a kind, a
range of it, a list or a mapping of these, a class of the model. It is looked for under its own name. What the schema
has reported already (a missing key, a wrong type) stands for the default of the field, or for "", 0 or the first word,
so that everything else in the file can still be checked in the same run.
"""

from __future__ import annotations

import types
from collections.abc import Callable, Mapping
from dataclasses import MISSING, fields, is_dataclass
from functools import cache, partial
from typing import Annotated, Any, Literal, NamedTuple, TypeVar, Union, get_args, get_origin, get_type_hints

from sitegen.methods import elements
from sitegen.problems import listed, nearest, shown
from sitegen.program.model import DAY, ELEMENTS, Quantity, Under, Where, Window
from sitegen.program.node import Node

Made = TypeVar("Made")
_Take = Callable[[Node], Any]  # the value of a place; None where nothing usable is there


class _Part(NamedTuple):
    """One field: where it stands, how it is taken, and what stands for it where it is missing."""

    name: str
    path: tuple[str, ...]
    take: _Take
    missing: Callable[[], Any]


def instance(cls: type[Made], node: Node, **given: Any) -> Made:
    """An instance of a class of the model from the keys of a mapping; fields that are `given` are not looked for."""
    values = dict(given)
    for part in _parts(cls):  # type: ignore[arg-type] # a class is hashable
        if part.name not in given:
            place = node
            for step in part.path:
                place = place.get(step)
            found = part.take(place) if place.value is not None else None
            values[part.name] = part.missing() if found is None else found
    return cls(**values)


@cache
def _parts(cls: Any) -> tuple[_Part, ...]:
    hints = get_type_hints(cls, include_extras=True)
    found = []
    for each in fields(cls):
        kind, notes = _bare(hints[each.name])
        own = () if kind is Where else (each.name,)
        path = next((note.path for note in notes if isinstance(note, Under)), own)
        missing = each.default_factory
        if missing is MISSING:
            missing = partial(_same, _nothing(kind) if each.default is MISSING else each.default)
        found.append(_Part(each.name, path, _taker(kind, notes), missing))
    return tuple(found)


def _bare(hint: Any) -> tuple[Any, tuple[Any, ...]]:
    """A type without None, and its notes."""
    notes: tuple[Any, ...] = ()
    while True:
        if get_origin(hint) is Annotated:
            hint, *more = get_args(hint)
            notes += tuple(more)
        elif get_origin(hint) in {Union, types.UnionType}:
            hint = next(each for each in get_args(hint) if each is not types.NoneType)
        else:
            return hint, notes


def _same(value: Any) -> Any:
    return value


def _nothing(kind: Any) -> Any:
    """What stands for a value that must be there and is not, or is wrong."""
    if get_origin(kind) is Literal:
        return get_args(kind)[0]
    if get_origin(kind) is Mapping:
        return types.MappingProxyType({})
    return {str: "", float: 0.0, int: 0, bool: False}.get(kind)


def _taker(kind: Any, notes: tuple[Any, ...]) -> _Take:
    origin, inside = get_origin(kind), get_args(kind)
    quantity = next((note for note in notes if isinstance(note, Quantity)), None)
    if quantity is not None and kind is float:
        return partial(_quantity, quantity)
    if quantity is not None:
        return partial(_range, kind, quantity)
    if DAY in notes:
        return Node.own_date
    if kind is Where:
        return lambda node: node.where
    if origin is Literal:
        return partial(_word, {_spelled(str(word)): word for word in inside})
    if origin is tuple:
        return partial(_items, _taker(*_bare(inside[0])))
    if origin is not None and issubclass(origin, Mapping):
        return partial(_entries, _taker(*_bare(inside[1])), ELEMENTS in notes)
    if isinstance(kind, type) and is_dataclass(kind):
        return partial(instance, kind)
    return {str: _text, bool: _flag, int: Node.own_whole}.get(kind, _unsaid)


def _quantity(what: Quantity, node: Node) -> float | None:
    number = node.own_quantity(what.dimension, zero=what.zero)
    if number is not None and what.share and number > 1:
        node.add("out-of-range", f"{node.subject} is above 100 %", expected="at most 100 %")
    return number


def _range(kind: Any, what: Quantity, node: Node) -> Any:
    """From one quantity to another: a `Window`, which may have one end only, or a pair; None where it has none."""
    low, high = _quantity(what, node.get("from")), _quantity(what, node.get("to"))
    if low is not None and high is not None and low >= high:
        expected = f"`from` {'below' if what.share else 'before'} `to`"
        node.add("range-reversed", f"{node.subject} ends before its beginning", expected=expected)
    if kind is Window:
        return None if low is None and high is None else Window(low, high)
    return None if low is None or high is None else (low, high)


def _spelled(word: str) -> str:
    """A word as it is compared: the files and the model differ in capitals, and in blanks and hyphens."""
    return word.casefold().replace(" ", "-")


def _word(words: Mapping[str, Any], node: Node) -> Any:
    return words.get(_spelled(node.own_text()))


def _items(take: _Take, node: Node) -> tuple[Any, ...]:
    return tuple(found for each in node.own_items() if (found := take(each)) is not None)


def _entries(take: _Take, of_elements: bool, node: Node) -> dict[str, Any]:
    named = known_elements(node) if of_elements else node.own_entries()
    return {name: found for name, each in named if (found := take(each)) is not None}


def known_elements(node: Node) -> list[tuple[str, Node]]:
    """Entries under the symbols of elements; a symbol we do not know becomes a problem."""
    known = []
    for symbol, inner in node.own_entries():
        if symbol in elements.ALL:
            known.append((symbol, inner))
            continue
        inner.problems.add(
            inner.key_at,
            "unknown-element",
            f'"{shown(symbol)}"{node.within} is no element an oil report is read for',
            expected=listed(elements.ALL),
            nearest=nearest(symbol, elements.ALL),
        )
    return known


def _text(node: Node) -> str | None:
    return node.own_text() or None


def _flag(node: Node) -> bool | None:
    return node.value if isinstance(node.value, bool) else None


def _unsaid(node: Node) -> Any:
    raise TypeError(f"what stands at {node.subject} must be given: its type does not say how it is read")
