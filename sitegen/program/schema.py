"""The published schemas applied to a document: each finding with the position of what it is about.

The schemas are the contract of the files and what editors check. Texts with a `format` (quantities, ids, dates, files)
are checked in full by `program.build`, so their patterns are passed over here.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Sequence
from functools import cache
from typing import TYPE_CHECKING, Any

from sitegen import places
from sitegen.problems import Collector, listed, nearest, shown
from sitegen.program.yamlfile import Document, Path
from sitegen.program.yamltext import flow
from sitegen.shelves import NONE, Shelves, key_of
from sitegen.units import DIMENSIONS

if TYPE_CHECKING:
    from jsonschema import Draft202012Validator, ValidationError

MOST_FINDINGS = 500  # in one file; further ones are not looked for
FORMAT = 1  # of definitions.yaml and program.yaml
_KINDS = {
    "string": "text",
    "integer": "a whole number",
    "number": "a number",
    "boolean": "true or false",
    "object": "keys with values",
    "array": "a list",
    "null": "nothing",
}


@cache
def validator(name: str) -> Draft202012Validator:
    """Validator of one schema of the house: `program`, `definitions`, or the name of a stream."""
    from jsonschema import Draft202012Validator

    return Draft202012Validator(resolved(name))


def resolved(name: str) -> Any:
    """A schema with what it refers to put in place: looking references up took half the time of a check.

    What is referred to in several places is one object in all of them.
    """

    @cache
    def content(file: str) -> Any:
        return json.loads((places.schemas() / file).read_text(encoding="utf-8"))

    @cache
    def meant(file: str, pointer: str) -> Any:
        found = content(file)
        for step in filter(None, pointer.split("/")):
            found = found[step]
        return put(found, file)

    def put(rule: Any, file: str) -> Any:
        if isinstance(rule, list):
            return [put(each, file) for each in rule]
        if not isinstance(rule, dict):
            return rule
        made = {key: put(each, file) for key, each in rule.items() if key not in {"$ref", "$defs", "$id"}}
        if "$ref" not in rule:
            return made
        target, _, pointer = rule["$ref"].partition("#")
        return {**meant(target or file, pointer), **made}

    return put(content(f"{name}.schema.json"), f"{name}.schema.json")


def own_name(rule: Any) -> str:
    """A name of the user's own, as an example."""
    return str(rule["propertyNames"]["examples"][0])


def example(rule: Any) -> Any:
    """Something that may stand there: what the rule gives for it, else what follows from it."""
    if "examples" in rule:
        return rule["examples"][0]
    if "const" in rule:
        return rule["const"]
    if "enum" in rule:
        return next(each for each in rule["enum"] if each != rule.get("default"))
    if rule["type"] == "boolean":
        return not rule.get("default", False)
    if rule["type"] in {"integer", "number"}:
        return max(rule.get("minimum", 1), 1)
    if rule["type"] == "array":
        return [example(rule["items"])]
    properties = rule.get("properties", {})
    if properties:
        names = rule.get("required") or list(properties)[:1]
        return {name: example(properties[name]) for name in names}
    return {own_name(rule): example(rule["additionalProperties"])}


def check(document: Document, name: str, problems: Collector, shelves: Shelves = NONE) -> bool:
    """Add what a schema finds in a document; False where there is too much of it to go on checking.

    That nothing was found is kept: schemas and their library take as long to load as a document to check.
    """
    before = len(problems.found)
    key = key_of("read", "schema", name, document.data) if shelves.open else ""
    if key and shelves.find(key, json.loads):
        return True
    for error in validator(name).iter_errors(document.data):
        _tell(document, error, problems)
        if error.validator in {"maxItems", "maxProperties"}:
            return False
        if len(problems.found) - before > MOST_FINDINGS:
            problems.add(
                (0, 0),
                "too-many-problems",
                f"more than {MOST_FINDINGS} things are wrong, so the rest of the file was not checked",
                next_step="mend these first",
            )
            return False
    if key and len(problems.found) == before:
        shelves.put(key, True, lambda _: b"true")
    return True


def words(document: Document, path: Path) -> str:
    """A path as it is spoken of: keys and ids, list items without an id by number from 1; "" for the whole file.

    >>> from sitegen.program.yamlfile import parse
    >>> words(parse(b"phases: [{id: pulls, schedule: [{}]}]", Collector("p")), ("phases", 0, "schedule", 0))
    'phases > pulls > schedule > 1'
    """
    said: list[str] = []
    home, path = document.home(path)
    here: Any = home.data
    for step in path:
        try:
            here = here[step]
        except (KeyError, IndexError, TypeError):
            here = None
        if isinstance(step, int):
            name = here.get("id") if isinstance(here, dict) else None
            said.append(shown(name, 40) if isinstance(name, str | int) and name != "" else str(step + 1))
        else:
            said.append(shown(step, 40))
    return " > ".join(said)


def within(document: Document, path: Path) -> str:
    """A clause that places a key: ` in phases > pulls`, or nothing at the top of the file."""
    place = words(document, path)
    return f" in {place}" if place else ""


def subject(document: Document, path: Path) -> str:
    """A value as the subject of a sentence: `"kind" in phases > pulls`, `phases > 1` for an item of a list."""
    document, path = document.home(path)
    if not path:
        return "the file"
    if isinstance(path[-1], int):
        return words(document, path)
    return f'"{shown(path[-1])}"{within(document, path[:-1])}'


def _tell(document: Document, error: ValidationError, problems: Collector) -> None:
    path: Path = tuple(error.absolute_path)
    rule: Any = error.schema
    said = str(error.validator)
    at, about = document.at(path), subject(document, path)
    if said == "additionalProperties":
        _unknown_keys(document, error, problems)
    elif said == "required":
        for key in _missing(error):
            inner = rule.get("properties", {}).get(key, {})
            such = f", such as {flow({key: example(inner)})[1:-1]}" if "description" in inner else ""
            told = f'the key "{key}" is missing{within(document, path)}'
            problems.add(at, "missing-key", told, next_step=f'add "{key}"{such}')
    elif error.instance is None and said in {"type", "enum", "const"}:
        problems.add(document.key_at(path), "empty-value", f"{about} has no value", expected=_wanted(rule))
    elif said == "type":
        _wrong_type(document, error, problems)
    elif said == "const" and path == ("format",):
        _format(document, error.instance, problems)
    elif said in {"enum", "const"}:
        allowed = [_literal(each) for each in (rule["enum"] if said == "enum" else [rule["const"]])]
        found = _literal(error.instance)
        problems.add(
            at,
            "unknown-word",
            f'{about} is "{shown(found)}"'
            if isinstance(error.instance, str | int | float)
            else f"{about} is not a word",
            expected=listed(allowed),
            nearest=nearest(found, allowed),
        )
    elif said == "pattern" and "format" in rule:
        return  # checked in full when the model is built
    elif said in {"minLength", "minItems", "minProperties"}:
        problems.add(at, "empty-value", f"{about} is empty", expected=_wanted(rule))
    elif said in {"maxItems", "maxProperties"}:
        problems.add(
            at,
            "too-many",
            f"{about} has {len(error.instance)} entries, so the rest of the file was not checked",  # type: ignore[arg-type]
            expected=f"at most {rule[said]}",
        )
    elif said in {"minimum", "maximum"}:
        low, high = rule.get("minimum"), rule.get("maximum")
        expected = f"at least {low}" if high is None else f"{low} to {high}"
        problems.add(at, "out-of-range", f"{about} is {shown(error.instance)}", expected=expected)
    elif said == "not":  # a key a `then` or `else` rules out
        problems.add(
            document.key_at(path), "key-not-here", f"{about} does not go with the rest here", next_step="remove it"
        )
    elif said == "uniqueItems":
        problems.add(at, "named-twice", f"{about} names something twice", next_step="remove one of them")
    else:
        problems.add(at, "not-as-described", f"{about} is not as described", expected=_wanted(rule))


def _missing(error: ValidationError) -> Iterator[str]:
    """The key a `required` finding is about; the library gives one finding a key and names it first in its message."""
    instance: Any = error.instance
    rule: Any = error.schema
    wanted = [key for key in rule["required"] if key not in instance]
    yield from (key for key in wanted if error.message.startswith(f"{key!r} is"))


def _unknown_keys(document: Document, error: ValidationError, problems: Collector) -> None:
    path: Path = tuple(error.absolute_path)
    rule: Any = error.schema
    instance: Any = error.instance
    allowed = list(rule.get("properties", {}))
    patterns = rule.get("patternProperties", {})
    unknown = [key for key in instance if key not in allowed and not any(re.search(each, key) for each in patterns)]
    allowed += [each["title"] for each in patterns.values()]
    for key in unknown[: MOST_FINDINGS + 1]:
        free = [each for each in allowed if each not in instance]
        problems.add(
            document.key_at((*path, key)),
            "unknown-key",
            f'the key "{shown(key)}" is not known{within(document, path)}',
            expected=listed(allowed),
            nearest=nearest(key, free) or nearest(key, allowed),
        )


def _wrong_type(document: Document, error: ValidationError, problems: Collector) -> None:
    path: Path = tuple(error.absolute_path)
    rule: Any = error.schema
    value = error.instance
    at, about = document.at(path), subject(document, path)
    number = isinstance(value, int | float) and not isinstance(value, bool)
    if rule.get("format") == "quantity" and number:
        dimension = rule.get("dimension")
        spellings = listed(DIMENSIONS[dimension].spellings) if dimension else "for example " + listed(rule["examples"])
        problems.add(
            at,
            "bare-number",
            f"{about} is {shown(_as_written(document, path, value))}, a number without a unit",
            expected=f"a number with a unit{' of ' + dimension if dimension else ''}: {spellings}",
        )
        return
    found = "a list" if isinstance(value, list) else "keys with values" if isinstance(value, dict) else ""
    if not found:
        found = f'"{shown(_as_written(document, path, value))}"' if isinstance(value, str) else _literal(value)
    next_step = ""
    if _accepts(rule, "string") and not isinstance(value, list | dict):
        next_step = f'put it in quotes: "{shown(_as_written(document, path, value))}"'
    problems.add(at, "wrong-type", f"{about} is {found}", expected=_wanted(rule), next_step=next_step)


def _as_written(document: Document, path: Path, value: object) -> object:
    written = document.text(path)
    return value if written is None else written


def _format(document: Document, value: object, problems: Collector) -> None:
    at = document.at(("format",))
    if isinstance(value, int) and not isinstance(value, bool) and value > FORMAT:
        problems.add(
            at,
            "format-newer",
            f"the file is written in format {value}, which is newer than this program",
            expected=f"format {FORMAT}",
            next_step="install a newer version",
        )
    else:
        problems.add(at, "format-unknown", f"there is no format {shown(value)}", expected=f"format: {FORMAT}")


def _types(rule: Any) -> Sequence[str]:
    kinds = rule.get("type", ())
    return [kinds] if isinstance(kinds, str) else list(kinds)


def _accepts(rule: Any, kind: str) -> bool:
    return kind in _types(rule)


def _literal(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    return "nothing" if value is None else str(value)


def _wanted(rule: Any) -> str:
    """What a rule asks for, in words."""
    if "enum" in rule:
        return listed(_literal(each) for each in rule["enum"])
    if "const" in rule:
        return _literal(rule["const"])
    kinds = _types(rule)
    if rule.get("format") == "quantity":
        wanted = "a number with its unit"
    elif "string" in kinds:
        wanted = "text" + (" or keys with values" if "object" in kinds else "")
    else:
        wanted = " or ".join(_KINDS[kind] for kind in kinds)
    examples = rule.get("examples")
    shown_as = [each if isinstance(each, str) else flow(each) for each in examples or ()]
    return f"{wanted}, such as {listed(shown_as)}" if examples else wanted
