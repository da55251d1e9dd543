"""What several record entries share: named once under `mappings`, and taken into each entry that names it.

An entry reads as if what it takes were written in it, but each place keeps the line it is written in.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from sitegen.problems import Collector, Elsewhere, listed, nearest, shown
from sitegen.program.yamlfile import Document, Path

JOINED = frozenset(
    {"columns", "constants", "channels", "drawn", "words"}
)  # of these the entry's own stand beside those taken
Home = tuple[Document, Path]
_TOP = "mappings"


def expanded(document: Document, problems: Collector, shared: Document | None = None) -> Document:
    """The document with what its record entries take from mappings, its own or those of the `shared` definitions.

    What an entry says itself counts before what it takes. A mapping that is not known, or that leads back to itself, is
    a problem; what is no mapping at all is left to the schema check.
    """
    records = document.data.get("records")
    if not isinstance(records, dict):
        return document
    taking = _Taking(document, problems, shared)
    made = {}
    for stream, entries in records.items():
        made[stream] = entries
        if isinstance(entries, list):
            made[stream] = [taking.entry(entry, ("records", stream, at)) for at, entry in enumerate(entries)]
    return replace(document, data={**document.data, "records": made}, lent=taking.lent) if taking.lent else document


class _Taking:
    """Entries with what they take, and where each part of it is written."""

    def __init__(self, document: Document, problems: Collector, shared: Document | None) -> None:
        self._problems = problems
        self._known: dict[str, tuple[Home, Mapping[str, Any]]] = {}
        for home in filter(None, (shared, document)):  # the program's own counts
            named = home.data.get(_TOP)
            for name, content in named.items() if isinstance(named, dict) else ():
                if isinstance(content, dict):
                    self._known[name] = (home, (_TOP, name)), content
        self._document = document
        self.lent: dict[Path, Home] = {}

    def entry(self, entry: Any, path: Path) -> Any:
        """An entry with what the mapping it names says, where it names one."""
        if not isinstance(entry, dict) or not isinstance(entry.get("mapping"), str):
            return entry
        homes: dict[Path, Home] = {}
        taken = self._taken(entry, (self._document, path), homes, ())
        for inner, home in homes.items():
            if home != (self._document, (*path, *inner)):
                self.lent[*path, *inner] = home
        return taken

    def _taken(self, content: Mapping[str, Any], at: Home, homes: dict[Path, Home], way: tuple[str, ...]) -> Any:
        """The content with what its mapping says below it; `homes`: where each key is written, from its top."""
        name = content.get("mapping")
        below: Mapping[str, Any] = {}
        if isinstance(name, str):
            below = self._named(name, at, homes, way)
        made: dict[str, Any] = {key: value for key, value in below.items() if key != "mapping"}
        for key, value in content.items():
            other = made.get(key)
            home, path = at
            if key in JOINED and isinstance(value, dict) and isinstance(other, dict):
                made[key] = {**other, **value}
                homes.update({(key, inner): (home, (*path, key, inner)) for inner in value})
                below_at = homes.pop((key,), None)  # the whole is written in no one place
                if below_at is not None:
                    lender, begin = below_at
                    for inner in other:  # some may be taken from further down already
                        homes.setdefault((key, inner), (lender, (*begin, inner)))
                homes[key,] = (home, (*path, key))
            else:
                for inner in [each for each in homes if each[0] == key]:
                    del homes[inner]
                made[key] = value
                homes[key,] = (home, (*path, key))
        return made

    def _named(self, name: str, at: Home, homes: dict[Path, Home], way: tuple[str, ...]) -> Mapping[str, Any]:
        home, path = at
        place = home.at((*path, "mapping"))
        place = place if home is self._document else Elsewhere.of(home.file, place)
        if name in way:
            circle = " > ".join(map(shown, (*way[way.index(name) :], name)))
            self._problems.add(
                place,
                "mapping-circular",
                f'the mapping "{shown(name)}" takes from itself: {circle}',
                next_step="remove one of these `mapping`",
            )
            return {}
        if name not in self._known:
            self._problems.add(
                place,
                "mapping-unknown",
                f'there is no mapping "{shown(name)}"',
                expected=listed(self._known) if self._known else "a name under `mappings`, but there is none",
                nearest=nearest(name, self._known),
            )
            return {}
        where, content = self._known[name]
        made: Mapping[str, Any] = self._taken(content, where, homes, (*way, name))
        return made
