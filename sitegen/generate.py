"""Files that are written from declarations: the schema of the record entries of each stream.

`python -m sitegen.generate` writes them into `schemas/`, where they are committed for editors.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from sitegen import places, registry
from sitegen.declarations import Stream
from sitegen.program.channels import CHANNELS, Channel

Rule = dict[str, Any]  # what a schema says of one place
_SHARED = ("separator", "decimal", "thousands", "encoding", "date_order", "skip_rows", "units_row", "sheet")
_SHARED_BY_LOGS = ("separator", "decimal", "encoding", "skip_rows", "header_rows", "units_row", "sheet")
_NUMBERS = frozenset({"number", "bounded"})


def files() -> Mapping[str, str]:
    """What stands in each file of the folder of schemas that is written from declarations, by its name."""
    return {f"{each.name}.schema.json": schema(each) for each in registry.STREAMS}


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
        return {each.name: _ref(kind, each.title, each.help or f"{each.title}.") for each in stream.fields}

    phases = {
        "title": "phases",
        "description": "Header of each column of cells, and the id of its phase.",
        "type": "object",
        "minProperties": 1,
        "maxProperties": 500,
        "additionalProperties": _ref("reference", "phase", "Id of a phase."),
    }
    cells = {
        "field": {
            "title": "field",
            "description": "The field the cells hold.",
            "enum": [each.name for each in stream.fields if each.kind in _NUMBERS],
        },
        "unit": {"title": "unit", "description": "Unit of the cells.", "type": "string", "minLength": 1},
        "phases": phases,
    }
    told = "The table, inside the program's folder: CSV, TSV, a workbook (.xlsx) or Parquet."
    properties = {
        "file": _ref("file", "file", told),
        "form": {
            "title": "form",
            "description": "long: a row is a reading. sheet: a row is a cylinder, a column a phase.",
            "enum": ["long", "sheet"],
            "default": "long",
        },
        "columns": _keys("columns", "Which column holds what: field and header.", fields("column")),
        "constants": _keys("constants", "What holds for every row of the table and has no column.", fields("constant")),
        "cells": _keys("cells", "What the cells of a sheet hold.", cells, required=("field", "phases")),
    }
    return {
        **_entry(properties, ("file",), _SHARED),
        "if": {"properties": {"form": {"const": "sheet"}}, "required": ["form"]},
        "then": {"required": ["cells", "columns"]},
        "else": {"properties": {"cells": {"not": {}, "description": "Not here: it does not go with the rest."}}},
    }


def _log() -> Rule:
    def channel(each: Channel, title: str, told: str) -> Rule:
        return _ref("flow_channel" if each.metered else "channel", title, told)

    each_cylinder = {
        f"^{name}_([1-9]|1[0-9]|2[0-4])$": channel(each, f"{name}_N", f"{each.help} N is the number of the cylinder.")
        for name, each in CHANNELS.items()
        if each.each_cylinder
    }
    whole = {name: channel(each, each.title, each.help) for name, each in CHANNELS.items() if not each.each_cylinder}
    told = "The log, inside the program's folder: a text table, a workbook (.xlsx) or Parquet."
    instants = "How the instant of a row is written, for every channel without a time column of its own."
    logged = _keys("channels", "What was logged, by channel; columns not named are not read.", whole)
    properties = {
        "file": _ref("file", "file", told),
        "engine": _ref("reference", "build", "Id of the build that ran."),
        "phase": _ref("reference", "phase", "Id of the phase it ran in."),
        "time": _ref("log_time", "time", instants),
        "channels": {**logged, "minProperties": 1, "patternProperties": each_cylinder},
    }
    return _entry(properties, ("file", "engine", "phase", "channels"), _SHARED_BY_LOGS)


def _entry(properties: Rule, required: Iterable[str], shared: Iterable[str]) -> Rule:
    """An entry with what it shares with entries of other streams, which is described in the common parts."""
    return {
        "type": "object",
        "additionalProperties": False,
        "required": list(required),
        "properties": {**properties, **{name: {"$ref": _common(name)} for name in shared}},
    }


def _keys(title: str, told: str, properties: Rule, *, required: Iterable[str] = ()) -> Rule:
    asked = {"required": list(required)} if required else {}
    made = {"title": title, "description": told, "type": "object", "additionalProperties": False}
    return {**made, **asked, "properties": properties}


def _ref(kind: str, title: str, told: str) -> Rule:
    return {"$ref": _common(kind), "title": title, "description": told}


def _common(name: str) -> str:
    return f"common.schema.json#/$defs/{name}"


def write(folder: Path) -> list[str]:
    """Write what differs; the names of what was written."""
    changed = []
    for name, text in files().items():
        path = folder / name
        if not path.is_file() or path.read_bytes() != text.encode():
            path.write_bytes(text.encode())
            changed.append(name)
    return changed


if __name__ == "__main__":
    print("\n".join(write(places.schemas())) or "Nothing has changed.")
