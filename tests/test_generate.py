"""What is written from declarations is what is committed, and follows a change of a declaration."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from sitegen import generate, places
from sitegen.declarations import Stream
from sitegen.registry import STREAMS

SAY = "run `python -m sitegen.generate` and commit what it writes"


@pytest.mark.parametrize("stream", STREAMS, ids=lambda each: each.name)
def test_the_committed_schema_of_a_stream_is_what_its_declaration_says(stream: Stream) -> None:
    assert (places.schemas() / f"{stream.name}.schema.json").read_bytes() == generate.schema(stream).encode(), SAY


@pytest.mark.parametrize("stream", [each for each in STREAMS if each.fields], ids=lambda each: each.name)
def test_a_changed_field_changes_the_schema(stream: Stream) -> None:
    first, *others = stream.fields
    other = replace(first, name="fresh", title="Fresh", kind="number", help="Never said before.")
    rule = json.loads(generate.schema(replace(stream, fields=(other, *others))))["properties"]
    before = json.loads(generate.schema(stream))["properties"]
    assert rule["columns"]["properties"]["fresh"]["description"].startswith("Never said before.")
    assert list(rule["constants"]["properties"]) == ["fresh", *(each.name for each in others)]
    assert rule["cells"]["properties"]["field"]["enum"] == ["fresh", *before["cells"]["properties"]["field"]["enum"]]


def test_a_stream_that_says_nothing_of_its_entries_has_no_schema() -> None:
    with pytest.raises(ValueError, match="oil does not say"):
        generate.schema(replace(next(each for each in STREAMS if each.name == "oil"), entry=None))


def test_only_what_differs_is_written(tmp_path: Path) -> None:
    assert generate.write(tmp_path) == list(generate.files())
    assert generate.write(tmp_path) == []
    (tmp_path / "oil.schema.json").write_text("{}\n")
    assert generate.write(tmp_path) == ["oil.schema.json"]
    assert (tmp_path / "oil.schema.json").read_bytes() == (places.schemas() / "oil.schema.json").read_bytes()
