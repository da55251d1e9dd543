"""Traces written as XML: the numbers of a profile as text in one element, with unit, spacing and count beside it.

So the profiles that go with the roughness standards are written. What a document type outside the file would say is
never fetched, entities are refused, and depth, elements and numbers are bounded.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import islice
from xml.parsers import expat

import numpy as np

from sitegen.problems import listed, shown
from sitegen.reader.blocked import Blocked, refusal
from sitegen.reader.numbers import LONGEST, PLAIN
from sitegen.traces.points import COUNT, LEAST_POINTS, SPACING, STATED, Asked, Points, metres, stated_in

DEPTH = 64  # of elements inside each other
ELEMENTS = 100_000
POINTS = 1 << 20  # in one element
CHARACTERS = 1 << 24
PROFILES = 1000  # in one file
_SHORT = 200  # characters of what is said beside numbers
_MOSTLY = 0.5  # share of its words that are numbers, in an element of numbers
_XML = re.compile(r"\ufeff?\s*<[?!A-Za-z]")
_WORD = re.compile(r"\S+")
_ROUGHLY = re.compile(r"[^0-9a-z]+")


@dataclass
class _Element:
    name: str
    line: int
    text: list[str] = field(default_factory=list)
    beside: dict[str, str] = field(default_factory=dict)  # of its children without children: name -> text


@dataclass(frozen=True)
class _Numbers:
    """An element that holds numbers."""

    name: str
    line: int
    text: str
    beside: tuple[Mapping[str, str], ...]  # its attributes, and the elements that stand beside it


def is_xml(text: str) -> bool:
    """Whether a text begins as XML does."""
    return bool(_XML.match(text))


def elements_of(text: str, file: str, asked: Asked) -> list[Points]:
    """The profiles in an XML text: those of the element asked for, else of the only one that holds numbers.

    Raises `Blocked` where the XML is broken, declares entities, holds no numbers, or several elements of them of which
    nothing says which is meant.
    """
    if len(text) > CHARACTERS:
        raise refusal(file, 0, "file-too-big", f"it has {len(text)} characters", f"XML of at most {CHARACTERS}")
    found, stated = _read(text, file)
    heights = [each for each in found if not asked.z or each.name == asked.z]
    names = list(dict.fromkeys(each.name for each in heights))
    if not heights:
        known = listed(dict.fromkeys(each.name for each in found))
        what = f'no element "{shown(asked.z)}" holds numbers' if found else "none of its elements holds numbers"
        raise refusal(
            file, 1, "trace-column-missing" if found else "trace-no-points", what,
            known or "an element with the heights of a profile", "see whether this is a profile saved as XML",
        )  # fmt: skip
    if len(names) > 1:
        told = "; ".join(f"{shown(each.name)} in line {each.line}" for each in heights)
        raise refusal(
            file, heights[0].line, "trace-columns-unclear",
            f"{len(names)} elements hold numbers, and nothing says which of them are the heights: {shown(told, 300)}",
            "the name of one of them", "write `z` in the record: the name of the element",
        )  # fmt: skip
    return [_points(each, found, stated, file, asked) for each in heights]


def _points(heights: _Numbers, found: list[_Numbers], stated: Mapping[str, float], file: str, asked: Asked) -> Points:
    z, lines = _values(heights, file)
    facts = _facts(heights)
    columns, headers = [z], [heights.name]
    if asked.x:
        along = [each for each in found if each.name == asked.x]
        x = _values(along[0], file)[0] if len(along) == 1 else None
        if x is None or len(x) != len(z):
            raise refusal(
                file, heights.line, "trace-column-missing", f'no element "{shown(asked.x)}" holds as many numbers as '
                f"{shown(heights.name)}", f"{len(z)} places, or `step` in the record",
            )  # fmt: skip
        columns, headers = [x, z], [asked.x, heights.name]
    count = next((facts[key] for key in COUNT if facts.get(key, "").isdigit()), "")
    return Points(columns, lines, headers, [""] * len(columns), heights.line, facts, count, stated)


def _facts(heights: _Numbers) -> dict[str, str]:
    """What is said of these numbers by what stands beside them, names without case and marks.

    Nothing is taken from farther out: the unit there may be that of a cutoff.
    """
    facts: dict[str, str] = {}
    own = _plain(heights.name).split()
    for beside in heights.beside:
        for name, value in beside.items():
            words = _plain(name).split()
            while words and own and len(words) > 1 and words[0] == own[0]:  # ROUGHNESS_NUMPOINTS of ROUGHNESS_...
                words = words[1:]
            facts.setdefault(" ".join(words), value)
    facts.setdefault("units", facts.get("unit", ""))
    for key in SPACING:  # without a unit of its own it is in that of the heights
        if PLAIN.fullmatch(facts.get(key, "")[:LONGEST]) and metres(facts["units"]) is not None:
            facts[key] = f"{facts[key]} {facts['units']}"
    return facts


def _plain(name: str) -> str:
    return _ROUGHLY.sub(" ", name.rpartition(":")[2].casefold()).strip()


def _values(element: _Numbers, file: str) -> tuple[np.ndarray, list[int]]:
    """Numbers of an element, nan where a word is none, and the line of each. Raises `Blocked` beyond `POINTS`."""
    values: list[float] = []
    lines: list[int] = []
    line, at = element.line, 0
    for word in _WORD.finditer(element.text):
        line += element.text.count("\n", at, word.start())
        at = word.start()
        if len(values) >= POINTS:
            raise refusal(
                file, line, "file-too-big", f"{shown(element.name)} holds more than {POINTS} numbers", "one profile"
            )
        values.append(float(word[0]) if _is_number(word[0]) else np.nan)
        lines.append(line)
    return np.array(values), lines


def _is_number(word: str) -> bool:
    return len(word) <= LONGEST and PLAIN.fullmatch(word) is not None


def _holds_numbers(text: str) -> bool:
    """Whether most words of a text are numbers, as far as numbers are read."""
    words = known = 0
    for word in islice(_WORD.finditer(text), POINTS):
        words += 1
        known += _is_number(word[0])
    return known >= LEAST_POINTS and known > _MOSTLY * words


def _read(text: str, file: str) -> tuple[list[_Numbers], dict[str, float]]:
    """Elements that hold numbers, in order, and results stated, each beside its unit [m]."""
    parser = expat.ParserCreate()
    parser.buffer_text = True
    stack: list[_Element] = []
    found: list[_Numbers] = []
    stated: dict[str, float] = {}
    count = 0

    def refused(what: str) -> Blocked:
        return refusal(
            file, parser.CurrentLineNumber, "trace-xml", what, "a profile as XML, without entities",
            "save the profile again, or as a table of text",
        )  # fmt: skip

    def entity(*_: object) -> None:
        raise refused("its XML declares or names an entity, which is not followed")

    def start(name: str, given: dict[str, str]) -> None:
        nonlocal count
        count += 1
        if len(stack) >= DEPTH or count > ELEMENTS:
            raise refused(f"its XML has more than {DEPTH} elements inside each other, or more than {ELEMENTS} in all")
        stack.append(_Element(name.rpartition(":")[2], parser.CurrentLineNumber))
        stack[-1].beside.update({key.rpartition(":")[2]: value.strip()[:_SHORT] for key, value in given.items()})

    def end(name: str) -> None:
        del name
        element = stack.pop()
        said = "".join(element.text)
        if _holds_numbers(said):
            if len(found) >= PROFILES:
                raise refused(f"more than {PROFILES} of its elements hold numbers")
            found.append(
                _Numbers(element.name, element.line, said, (element.beside, stack[-1].beside if stack else {}))
            )
        elif stack and len(said) <= _SHORT:
            stack[-1].beside.setdefault(element.name, said.strip())
        unit = next((value for key, value in element.beside.items() if _plain(key) in {"units", "unit"}), "")
        rows = [(key, f"{value} {unit}") for key, value in element.beside.items() if key.casefold() in STATED]
        stated.update({key: value for key, value in stated_in(rows).items() if key not in stated})

    def words(piece: str) -> None:
        if stack:
            stack[-1].text.append(piece)

    parser.EntityDeclHandler = entity
    parser.SkippedEntityHandler = entity
    parser.StartElementHandler = start
    parser.EndElementHandler = end
    parser.CharacterDataHandler = words
    try:
        parser.Parse(text.removeprefix("\ufeff"), True)
    except expat.ExpatError as fault:
        raise refusal(
            file, fault.lineno, "trace-xml", f"its XML is broken ({expat.ErrorString(fault.code)})",
            "a profile as XML", "see whether the file is whole",
        ) from None  # fmt: skip
    return [each for each in found if len(each.text) > _SHORT] or found, stated
