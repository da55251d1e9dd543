"""Every key of the two program files, for people: where it stands, what it means, what may stand there, an example.

All of it is read from the schemas, so that it holds for what they describe and nothing has to be written twice.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

from sitegen.problems import listed, nearest, shown
from sitegen.program import schema
from sitegen.program.yamltext import flow, key
from sitegen.units import DIMENSIONS

FILES = ("program", "definitions")
MOST_EXPLAINED = 5  # keys of one name that are explained; of more the places alone are listed
MOST_LISTED = 16  # places of keys that are alike
_ITEM = "-"  # step of a path: one entry of a list
_WORDS = {
    "id": "an id: letters, digits and hyphens",
    "date": "a day, as year-month-day",
    "file": "a file inside the program's folder",
    "measure": "the id of a measure; the methods page lists them",
    "limit": "a number with the unit of the measure",
    "header": "the header of its column, as it stands in the file",
    "cell": "a value as the table would hold it, a quantity with its unit",
}


@dataclass(frozen=True)
class KeyPlace:
    """A place in one of the files that may hold something."""

    file: str  # "program.yaml"
    path: tuple[str, ...]  # keys; "<coating>" a name of the user's own, "-" an entry of a list
    sample: tuple[str, ...]  # the same with an example of such a name
    rule: Any  # of the schema
    required: bool = False
    pattern: str = ""  # of the last step, where any name that fits may stand

    @property
    def keys(self) -> tuple[str, ...]:
        """The path without names of the user's own and entries of lists."""
        return tuple(step for step in self.path if step != _ITEM and not step.startswith("<"))

    @property
    def shown(self) -> str:
        return " > ".join(step for step in self.path if step != _ITEM)

    @property
    def meaning(self) -> str:
        return str(self.rule["description"])

    @property
    def allowed(self) -> str:
        """What may stand there, in words."""
        return allowed(self.rule)

    @property
    def units(self) -> str:
        """Units its number may have, the most usual first; "" where it is no quantity of one kind."""
        dimension = self.rule.get("dimension")
        return ", ".join(DIMENSIONS[dimension].spellings) if isinstance(dimension, str) else ""

    @property
    def left_out(self) -> str:
        """What holds where the key is left out; "" where the meaning says it, or nothing does."""
        return "no, it must be there" if self.required else flow(self.rule["default"]) if "default" in self.rule else ""

    @property
    def example(self) -> Any:
        return schema.example(self.rule)

    def fits(self, wanted: Sequence[str]) -> bool:
        """Whether it is a key of that name below the keys before it, of which some may be left out."""
        *above, name = wanted
        if not self.keys or self.path[-1] in {_ITEM, f"<{self.rule.get('title')}>"}:
            return False
        if name != self.path[-1] and not (self.pattern and re.search(self.pattern, name)):
            return False
        rest = iter(self.keys[:-1])
        return all(each in rest for each in above)

    def as_yaml(self) -> list[str]:
        """Lines that show the key where it stands."""
        lines: list[str] = []
        indent, dash = 0, ""
        for number, step in enumerate(self.sample):
            last = number + 1 == len(self.sample)
            if step == _ITEM:
                dash = "- "
                continue
            lines.append(f"{' ' * indent}{dash}{key(step)}:{' ' + flow(self.example) if last else ''}")
            indent, dash = indent + len(dash) + 2, ""
        return lines


@cache
def places() -> tuple[KeyPlace, ...]:
    """Every place of both files, in the order of the schemas."""
    found = []
    for name in FILES:
        found += list(_below(KeyPlace(f"{name}.yaml", (), (), schema.resolved(name))))
    return tuple(found)


def _below(place: KeyPlace) -> Iterator[KeyPlace]:
    def at(step: str, rule: Any, required: bool = False, sample: str = "", pattern: str = "") -> Iterator[KeyPlace]:
        path, samples = (*place.path, step), (*place.sample, sample or step)
        inner = KeyPlace(place.file, path, samples, rule, required, pattern)
        yield inner
        yield from _below(inner)

    rule = place.rule
    for name, each in rule.get("properties", {}).items():
        yield from at(name, each, name in rule.get("required", ()))
    for pattern, each in rule.get("patternProperties", {}).items():
        yield from at(each["title"], each, sample=each["title"].replace("_N", "_1"), pattern=pattern)
    if isinstance(rule.get("additionalProperties"), dict):
        each = rule["additionalProperties"]
        yield from at(f"<{each['title']}>", each, sample=schema.own_name(rule))
    if "items" in rule:
        yield from at(_ITEM, rule["items"])


def allowed(rule: Any) -> str:
    """What a rule lets stand, in words."""
    if "enum" in rule:
        return listed((flow(each) for each in rule["enum"]), 40)
    if "const" in rule:
        return flow(rule["const"])
    kinds = [rule["type"]] if isinstance(rule["type"], str) else rule["type"]
    said = []
    if rule.get("format") == "quantity":
        dimension = rule.get("dimension")
        what = "share" if dimension == "ratio" else dimension or "number"
        said.append(f"{'an' if what.startswith('a') else 'a'} {what} with its unit")
    elif "format" in rule:
        said.append(_WORDS[rule["format"]])
    elif "string" in kinds:
        said.append("text")
    elif "integer" in kinds or "number" in kinds:
        said.append(("a whole number" if "integer" in kinds else "a number") + _bounds(rule))
    elif "boolean" in kinds:
        said.append("true or false")
    if "array" in kinds:
        said.append(f"a list; of each entry {allowed(rule['items'])}")
    if "object" in kinds:
        named = [*rule.get("properties", {}), *(each["title"] for each in rule.get("patternProperties", {}).values())]
        free = rule.get("additionalProperties")
        said.append(f"an entry for each {free['title']}" if isinstance(free, dict) else f"keys: {', '.join(named)}")
    return ", or ".join(said)


def _bounds(rule: Any) -> str:
    low, high = rule.get("minimum"), rule.get("maximum")
    if low is None or high is None:
        return f", at least {low}" if low is not None else ""
    return f" from {low} to {high}"


class UnknownKeyError(LookupError):
    """No such key; the message says what is nearest."""


def explain(name: str) -> str:
    """All that is known of the keys of a name: `percent_linear`, or with keys above it: `testers.percent_linear`.

    Raises UnknownKeyError.
    """
    wanted = [step.strip() for step in re.split(r"[.>]", name) if step.strip()]
    named = [place for place in places() if wanted and place.fits(wanted[-1:])]
    found = [place for place in named if place.fits(wanted)]
    if not found:
        raise UnknownKeyError(_unknown(name, named))
    groups: dict[tuple[str, ...], list[KeyPlace]] = {}
    for place in found:
        alike = (place.meaning, place.allowed, place.left_out, str(place.example))
        groups.setdefault(alike, []).append(place)
    if len(groups) > MOST_EXPLAINED:
        above = ".".join(max((place.keys for place in found), key=len)[-2:])
        lines = [f"There are {len(found)} keys of this name. With what stands above it one is explained, as {above}:"]
        return "\n".join([*lines, *(f"  {_titled(each)}\n    {each.meaning}" for each in found)])
    return "\n\n".join(_explained(places) for places in groups.values())


def _titled(place: KeyPlace) -> str:
    return f"{place.file}: {place.shown}"


def _explained(places: Sequence[KeyPlace]) -> str:
    first = places[0]
    told = {"allowed": first.allowed, "units": first.units, "left out": first.left_out}
    stand = [*map(_titled, places[:MOST_LISTED])]
    if len(places) > MOST_LISTED:
        stand.append(f"and in {len(places) - MOST_LISTED} more places")
    lines = [*stand, textwrap.fill(first.meaning, 98, initial_indent="  ", subsequent_indent="  ")]
    lines += [f"  {name}: {said}" for name, said in told.items() if said]
    return "\n".join([*lines, "  example:", *(f"    {line}" for line in first.as_yaml())])


def _unknown(name: str, named: Sequence[KeyPlace]) -> str:
    if named:
        return f'there is no key "{shown(name)}"; of that name are {listed(_titled(place) for place in named)}'
    names = {place.path[-1] for place in places() if place.keys and place.path[-1] == place.keys[-1]}
    near = nearest(re.split(r"[.>]", name)[-1].strip(), names)
    return f'no file of a program has a key "{shown(name)}".' + (f" Nearest: {near}." if near else "")
