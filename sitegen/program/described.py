"""Kinds of record that the format of a program file describes, whether or not this version has their streams.

What a stream is in the program file stands in its schema, which stays where the stream is taken out: so what a file
says of it is told from a name that was written wrong.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from sitegen import places


@dataclass(frozen=True)
class Kind:
    """One kind of record, as `schemas/` describes it."""

    name: str
    title: str  # "oil records"
    fields: tuple[str, ...]  # of its tables; none of a log, which has channels
    measures: frozenset[str]  # what stands before the first dot of the ids of its measures
    keys: tuple[str, ...]  # of the program file, that are there for it alone
    words: Mapping[str, tuple[str, ...]]  # field, or what several share -> what words of one's own may mean


MARKS = ("not-detected", "not-measured")  # what words may mean in place of a number


def _allowed(columns: Mapping[str, Any]) -> Mapping[str, tuple[str, ...]]:
    own = {name: tuple(rule["words"]) for name, rule in columns.items() if "words" in rule}
    shared = {rule["words_as"]: own.get(name, MARKS) for name, rule in columns.items() if "words_as" in rule}
    return {**own, **shared}


def _content(name: str) -> Any:
    return json.loads((places.schemas() / f"{name}.schema.json").read_text(encoding="utf-8"))


@cache
def kinds() -> Mapping[str, Kind]:
    """Every kind of record of the format by its name, as listed under `records`."""
    made = {}
    for name, entry in _content("program")["properties"]["records"]["properties"].items():
        rule = _content(name)
        columns = rule["properties"].get("columns", {}).get("properties", {})
        made[name] = Kind(
            name,
            entry["title"],
            tuple(columns),
            frozenset(rule.get("measures", ())),
            tuple(rule.get("program_keys", ())),
            _allowed(columns) or dict.fromkeys(("engine", "phase"), ()),
        )
    return made


@cache
def words(name: str = "") -> Mapping[str, tuple[str, ...]]:
    """What words of one's own may mean, by field or by what several share: in one kind of record, else in any.

    No words: any id or text.
    """
    if name in kinds():
        return kinds()[name].words
    found: dict[str, tuple[str, ...]] = {}
    for kind in kinds().values():
        for key, allowed in kind.words.items():
            both = tuple(dict.fromkeys((*found.get(key, allowed), *allowed)))
            found[key] = both if allowed and found.get(key, allowed) else ()
    return found


def absent(streams: Collection[str]) -> dict[str, Kind]:
    """Those that none of these streams reads."""
    return {name: kind for name, kind in kinds().items() if name not in streams}


def of_absent(measure: str, streams: Collection[str]) -> bool:
    """Whether a measure that no stream gives is one of a stream that is not among these.

    Only what stands before the first dot is compared: the rest of the name went with the stream.
    """
    return any(measure.partition(".")[0] in kind.measures for kind in absent(streams).values())
