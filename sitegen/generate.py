"""Files that are written from declarations: the schema of the record entries of each stream, and every key for people.

`python -m sitegen.generate` writes them into `schemas/`, where they are committed for editors and readers.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any

from sitegen import places, registry, units
from sitegen.declarations import Stream
from sitegen.problems import listed
from sitegen.program import keys
from sitegen.program.channels import CHANNELS, MOST_DRAWN, STATED, Channel
from sitegen.program.keys import KeyPlace
from sitegen.program.yamltext import flow
from sitegen.vocabulary import Field

Rule = dict[str, Any]  # what a schema says of one place
_SHARED = ("separator", "decimal", "thousands", "encoding", "date_order", "skip_rows", "units_row", "sheet", "words")
_SHARED_BY_LOGS = ("separator", "decimal", "encoding", "skip_rows", "header_rows", "units_row", "sheet", "words")
_NUMBERS = frozenset({"number", "bounded"})
_ADDRESS = ("which", "number", "letter", "left_of")
_COLUMNS_OF_TIME = ("column", "clock", "date", "time_of_day", "left_of")
_IDS = {
    "engine": "B1",
    "phase": "cold-build",
    "tester": "T1",
    "reference": "R1",
    "tool": "balance-1",
    "meter": "M1",
    "laboratory": "lab-1",
}
_CALLED = {"engine": "build", "reference": "reference orifice", "ratio": "share"}
_NO_LIMIT = 1e9
_OF_ANY_SIZE = frozenset({"length", "mass", "force"})  # quantities of which none is usual
_OTHERS = {"id": "r-0001", "yes-no": "yes", "date": "2026-01-31", "text": "in words of your own"}


def schema(stream: Stream) -> str:
    """The schema of one entry under `records` of a stream, as committed. Raises ValueError where it declares none."""
    if stream.entry is None:
        raise ValueError(f"the stream {stream.name} does not say what an entry of it is")
    rule = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": f"{stream.name}.schema.json",
        "title": stream.entry.title,
        "description": stream.entry.about,
        "measures": sorted({measure.id.partition(".")[0] for step in stream.steps for measure in step.gives}),
        "program_keys": stream.entry.program_keys,
        **(_table(stream) if stream.fields else _log()),
    }
    return json.dumps(rule, indent=2, ensure_ascii=False) + "\n"


def _table(stream: Stream) -> Rule:
    def fields(kind: str) -> Rule:
        said = {each.name: {**_ref(kind, each.title, told(each)), **_shown(each, kind)} for each in stream.fields}
        return {each.name: said[each.name] | (_wordy(each) if kind == "column" else {}) for each in stream.fields}

    cells = {
        "field": {
            "title": "field",
            "description": "The field the cells hold.",
            "enum": [each.name for each in stream.fields if each.kind in _NUMBERS],
        },
        "unit": {"$ref": _common("unit_of_cells")},
        "phases": {"$ref": _common("phases_of_cells")},
    }
    file = "The table, inside the program's folder: CSV, TSV, a workbook (.xlsx) or Parquet."
    properties = {
        "file": {**_ref("file", "file", file), "examples": [f"records/{stream.name}.csv"]},
        "form": {"$ref": _common("form")},
        "columns": _keys("columns", "Which column holds what: field and header.", fields("column")),
        "constants": _keys("constants", "What holds for every row of the table and has no column.", fields("constant")),
        "cells": _keys("cells", "What the cells of a sheet hold.", cells, required=("field", "phases")),
    }
    return {
        **_entry(properties, _SHARED),
        "if": {"properties": {"form": {"const": "sheet"}}, "required": ["form"]},
        "then": {"required": ["cells", "columns"]},
        "else": {"properties": {"cells": {"not": {}, "description": "Not here: it does not go with the rest."}}},
    }


def told(field: Field) -> str:
    """What a field is, and what may stand in it."""
    said, known = [field.help], field.help.casefold()
    if field.words:
        said.append("" if all(each in field.help for each in field.words) else f"Allowed: {listed(field.words, 40)}.")
    elif field.kind == "yes-no":
        said.append("Yes or no.")
    elif field.refers == "cylinder":
        said.append("Number of a cylinder.")
    elif field.refers and "id of" not in known:
        said.append(f"Id of a {_CALLED.get(field.refers, field.refers)}.")
    elif field.kind in {"integer", *_NUMBERS}:
        what = (
            "whole number" if field.kind == "integer" else _CALLED.get(field.dimension) or field.dimension or "number"
        )
        within = _between(field)
        if within or what not in f"{field.title} {known}".casefold():
            said.append(f"{'An' if what.startswith('a') else 'A'} {what}{within}.")
        if field.kind == "bounded":
            said.append("Also <1 (below 1), ND (not detected) or - (not measured).")
    if not any(said):
        said.append(f"{field.title}.")
    return " ".join(filter(None, [*said, "Every record has it." if field.required else ""]))


def _between(field: Field) -> str:
    """The limits of a field in the unit that says them shortest; none of those whose scale has another zero."""
    if field.low is None or field.high is None or field.high >= _NO_LIMIT or field.dimension == "temperature":
        return ""
    spellings = units.DIMENSIONS[field.dimension].spellings if field.dimension else ("",)
    said = [[f"{_in(unit, limit, field):.6g}" for limit in (field.low, field.high)] for unit in spellings]
    number = min(
        range(len(said)), key=lambda n: (float(said[n][1]) > 1e5, len("".join(said[n])), float(said[n][1]) > 1e4)
    )
    low, high = (f"{limit} {spellings[number]}".strip() for limit in said[number])
    return f" from {low} to {high}"


def _in(unit: str, value: float, field: Field) -> float:
    """An SI number of a field in a unit; what is kept in per cent is in per cent already."""
    if field.unit == "%":
        return value if unit == "%" else math.inf
    return units.from_si(value, unit, field.dimension) if unit else value


def _shown(field: Field, kind: str) -> Rule:
    """An example of the column of a field, or of a constant."""
    value = constant(field)
    if kind == "constant":
        return {"examples": [value]}
    unit = units.split(str(value))[1] if field.dimension else ""
    return {"examples": [{"header": field.title, "unit": unit} if unit else field.title]}


def constant(field: Field) -> str | int:
    """A constant that a field takes: of quantities a usual one where its limits allow it, else one in their middle."""
    if field.example or field.words:
        return field.example or field.words[0]
    if field.kind == "integer":
        return 1
    if field.kind not in _NUMBERS:
        return _IDS.get(field.refers) or _OTHERS[field.kind]
    low, high = field.low or 0.0, math.inf if field.high is None else field.high
    for usual in () if field.dimension in _OF_ANY_SIZE else _usual().get(field.dimension, ()):
        if low <= units.parse(usual, field.dimension) * (100 if field.unit == "%" else 1) <= high:
            return usual
    middle = min(math.sqrt(low * high) if low > 0 else high / 10, 1.0 if not field.dimension else math.inf)
    spellings = units.DIMENSIONS[field.dimension].spellings if field.dimension else ("",)
    unit = next((each for each in spellings if 0.1 <= abs(_in(each, middle, field)) < 1000), spellings[0])
    text = f"{float(f'{_in(unit, middle, field):.1g}'):g}"
    return f"{text} {unit}" if unit else int(text)


@cache
def _usual() -> Mapping[str, list[str]]:
    """Examples of each kind of quantity, as the common parts of the schemas give them."""
    common = json.loads((places.schemas() / "common.schema.json").read_text(encoding="utf-8"))["$defs"]
    return {rule["dimension"]: rule["examples"] for rule in common.values() if "dimension" in rule}


def _log() -> Rule:
    def channel(each: Channel, title: str, told: str) -> Rule:
        shown = {"header": each.title, "unit": units.DIMENSIONS[each.dimensions[0]].spellings[0]}
        rule = _ref("flow_channel" if each.metered else "channel", title, told)
        return {**rule, "examples": [shown | ({"meter": "M1"} if each.metered else {})]}

    each_cylinder = {
        f"^{name}_([1-9]|1[0-9]|2[0-4])$": channel(each, f"{name}_N", f"{each.help} N is the number of the cylinder.")
        for name, each in CHANNELS.items()
        if each.each_cylinder
    }
    whole = {name: channel(each, each.title, each.help) for name, each in CHANNELS.items() if not each.each_cylinder}
    stated = {
        name: _ref(CHANNELS[name].dimensions[0].replace(" ", "_"), CHANNELS[name].title, CHANNELS[name].help)
        for name in STATED
    }
    file = "The log, inside the program's folder: a text table, a workbook (.xlsx) or Parquet."
    instants = "How the instant of a row is written, for every channel without a time column of its own."
    logged = _keys("channels", "What was logged, by channel; columns not named are not read.", whole)
    properties = {
        "file": {**_ref("file", "file", file), "examples": ["logs/b1-pulls.csv"]},
        "engine": {**_ref("reference", "build", "Id of the build that ran."), "examples": ["B1"]},
        "phase": {**_ref("reference", "phase", "Id of the phase it ran in."), "examples": ["pulls"]},
        "time": _ref("log_time", "time", instants),
        "channels": {**logged, "minProperties": 1, "patternProperties": each_cylinder},
        "constants": {**_keys("constants", "What was not logged, by channel, one value for the whole log.", stated),
                      "minProperties": 1},
        "drawn": {
            "title": "drawn",
            "description": "Channels of your own, by a name of small letters, digits and underscores: drawn over the "
            "run, and nothing else is made of them.",
            "type": "object",
            "minProperties": 1,
            "maxProperties": MOST_DRAWN,
            "propertyNames": {"examples": ["mixture"]},
            "additionalProperties": _ref("drawn_channel", "drawn channel", "Where it stands, and how it is printed."),
        },
    }  # fmt: skip
    usual = {"file": "logs/b1-pulls.csv", "engine": "B1", "phase": "pulls", "time": {"column": "Time", "unit": "s"}}
    usual["channels"] = {"speed": {"header": "Speed", "unit": "rpm"}}
    return {**_entry(properties, _SHARED_BY_LOGS), "examples": [usual]}


def _wordy(field: Field) -> Rule:
    """What words of one's own may mean in a field: its words, else any id or text; and what it shares them as."""
    allowed = field.words or (("yes", "no") if field.kind == "yes-no" else ())
    own: Rule = {"words": list(allowed)} if field.wordy else {}
    return own | ({"words_as": field.shared_words} if field.shared_words else {})


def _entry(properties: Rule, shared: Iterable[str]) -> Rule:
    """An entry with what it shares with entries of other streams, which is described in the common parts."""
    first = {
        "file": properties.pop("file"),
        "files": {"$ref": _common("files")},
        "mapping": {"$ref": _common("mapping")},
    }
    one = {"file": {"not": {}, "description": "Not here: `files` says which."}}
    return {
        "type": "object",
        "additionalProperties": False,
        "properties": {**first, **properties, **{name: {"$ref": _common(name)} for name in shared}},
        "allOf": [{"if": {"required": ["files"]}, "then": {"properties": one}, "else": {"required": ["file"]}}],
    }


def _keys(title: str, told: str, properties: Rule, *, required: Iterable[str] = ()) -> Rule:
    asked = {"required": list(required)} if required else {}
    made = {"title": title, "description": told, "type": "object", "additionalProperties": False}
    return {**made, **asked, "properties": properties}


def _ref(kind: str, title: str, told: str) -> Rule:
    return {"$ref": _common(kind), "title": title, "description": told}


def _common(name: str) -> str:
    return f"common.schema.json#/$defs/{name}"


_READ = """# Every key

Of the two files that describe programs, `program.yaml` and `definitions.yaml`; the JSON Schemas beside this page say
the same to editors. `sitegen key NAME` shows one key at the terminal, with the lines that write it.

A key marked * must be there. `<coating>` stands for a name of your own. A quantity is written with its unit, `87.5 mm`;
a pressure says gauge or absolute. `on` is a key in three places: `on:` and `"on":` are both read as that word here,
while an editor or a script that reads YAML 1.1 takes a bare `on` for true.

Written by `python -m sitegen.generate` from the schemas and from what streams declare; a change belongs there.
"""
_LONG = 200  # characters of a list of keys that is not repeated in a row
_HEAD = ("| key | meaning | may be | left out | example |", "|---|---|---|---|---|")


def readme() -> str:
    """Every key once, for people. It is made from the committed schemas, so it is written after them."""
    tables = [each.name for each in registry.STREAMS if each.fields]
    sections: dict[tuple[str, str], dict[str, str]] = {}
    of_entry: dict[tuple[str, ...], str] = {}
    fields: dict[str, list[str]] = {}
    of_column: dict[str, str] = {}
    for place in keys.places():
        kind, entry = "".join(place.path[1:2]), place.path[3:]  # of records: the path inside an entry
        if place.path[-1] == "-" or (place.path[-1].startswith("<") and "object" in place.rule["type"]):
            continue  # the row of what it stands in says the same
        if _of_address(place.path):  # the same of every column, said once
            of_column.setdefault(place.path[-1], _row(place, place.path[-1:]))
            continue
        if place.path[0] != "records" or kind not in tables:
            path = place.path[1:] or place.path
            if entry[:1] == ("channels",) and len(entry) > 2:  # of every channel alike
                path = (*path[:3], "<channel>", *entry[2:])
            sections.setdefault((place.file, place.path[0]), {}).setdefault(_key(path), _row(place, path))
        elif len(entry) > 1 and entry[0] == "constants":
            row = (f"`{entry[1]}`", _cell(place.meaning), f"`{_cell(flow(place.example))}`")
            fields.setdefault(kind, []).append(f"| {' | '.join(row)} |")
        elif entry and (len(entry) == 1 or entry[0] != "columns"):
            said = "a field that is a number" if entry == ("cells", "field") else place.allowed
            of_entry.setdefault(entry, _row(place, entry, said))
    lines = [_READ]
    for file in ("definitions.yaml", "program.yaml"):
        lines += [f"## {file}", ""]
        for (name, top), rows in sections.items():
            lines += [f"### {top}", "", *_HEAD, *rows.values(), ""] if name == file else []
    lines += ["## Entries of tables", "", "Under `records`, of every kind but `runlog`.", ""]
    lines += [*_HEAD, *of_entry.values(), "", "## Where a column stands", ""]
    lines += ["Wherever a column is named, in a table or a log: its header alone, or these in its place.", ""]
    lines += [*_HEAD, *of_column.values(), "", "## Fields of tables", ""]
    lines += ["Under `columns` with the header of their column, or under `constants` as in the example.", ""]
    for kind, of_kind in fields.items():
        lines += [f"### Fields of {kind}", "", "| field | meaning | example |", "|---|---|---|", *of_kind, ""]
    return "\n".join(lines).rstrip("\n") + "\n"


def _of_address(path: Sequence[str]) -> bool:
    """Whether a key says where a column stands, other than the header of a channel, which has a row beside its unit."""
    if path[0] != "records":
        return False
    if path[-1] == "header":
        return path[-2] in _COLUMNS_OF_TIME or path[3:4] == ("columns",)
    return path[-1] in _ADDRESS


def _key(path: Sequence[str]) -> str:
    return " > ".join(step for step in path if step != "-")


def _row(place: KeyPlace, path: Sequence[str], allowed: str = "") -> str:
    said = (allowed or place.allowed).replace("its unit", f"its unit ({place.units})" if place.units else "its unit")
    cells = (
        f"`{_key(path)}`{' *' if place.required else ''}",
        _cell(place.meaning),
        "keys, in rows of their own" if said.startswith("keys: ") and len(said) > _LONG else _cell(said),
        "" if place.required else _cell(place.left_out),
        f"`{_cell(flow(place.example))}`",
    )
    return f"| {' | '.join(cells)} |"


def _cell(text: str) -> str:
    return text.replace("|", "\\|")


def write(folder: Path) -> list[str]:
    """Write what differs; the names of what was written. Every key for people last, since it is read from the rest."""
    changed = [name for each in registry.STREAMS if _put(folder / (name := f"{each.name}.schema.json"), schema(each))]
    keys.places.cache_clear()
    return changed + ["README.md"] * _put(folder / "README.md", readme())


def _put(path: Path, text: str) -> bool:
    if path.is_file() and path.read_bytes() == text.encode():
        return False
    path.write_bytes(text.encode())
    return True


if __name__ == "__main__":
    print("\n".join(write(places.schemas())) or "Nothing has changed.")
