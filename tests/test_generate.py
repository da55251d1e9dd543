"""What is written from declarations is what is committed, and follows a change of a declaration."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from math import inf
from pathlib import Path

import pytest

from sitegen import generate, places, units
from sitegen.declarations import Stream
from sitegen.program import keys
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


def test_the_committed_page_of_every_key_is_what_the_schemas_say() -> None:
    assert (places.schemas() / "README.md").read_text(encoding="utf-8") == generate.readme(), SAY


def test_every_key_stands_on_the_page_once() -> None:
    """Fields once a stream; what entries of tables share, and what channels share, once."""
    page = generate.readme()
    table, fields = page.split("## Entries of tables")
    for section in re.split(r"^#+ ", table, flags=re.M)[1:] + re.split(r"^#+ ", fields, flags=re.M)[1:]:
        rows = re.findall(r"^\| `([^`]+)`", section, flags=re.M)
        assert len(rows) == len(set(rows)), section
    for stream in STREAMS:
        for field in stream.fields:
            section = page.split(f"### Fields of {stream.name}\n")[1].split("\n#")[0]
            assert section.count(f"\n| `{field.name}` |") == 1, (stream.name, field.name)
    for place in keys.places():
        if place.path[0] != "records" and place.keys and place.path[-1] == place.keys[-1]:
            assert f"`{' > '.join(step for step in place.path[1:] or place.path if step != '-')}`" in table, place


@pytest.mark.parametrize("stream", STREAMS, ids=lambda each: each.name)
def test_examples_of_constants_lie_within_the_limits_of_their_fields(stream: Stream) -> None:
    for field in stream.fields:
        text = str(generate.constant(field))
        if field.kind in {"number", "bounded", "integer"}:
            number = units.parse(text, field.dimension) if field.dimension else float(text)
            number *= 100 if field.unit == "%" else 1
            low, high = (limit if limit is not None else end for limit, end in ((field.low, -inf), (field.high, inf)))
            assert low <= number <= high, (field.name, text)
        assert not field.words or text in field.words


def test_limits_are_told_as_they_are() -> None:
    """Read back from the sentence, they are the limits of the field: to the digits that are printed."""
    read = 0
    for field in (field for stream in STREAMS for field in stream.fields):
        found = re.search(r" from (-?[0-9]\S*)( [^ .]+( [^ .]+)?)? to (\S+)\2\.", generate.told(field))
        if found is None or not field.dimension:
            continue
        low, high = (units.parse(f"{found[n]}{found[2]}", field.dimension) for n in (1, 4))
        scale = 100 if field.unit == "%" else 1
        assert (low * scale, high * scale) == pytest.approx((field.low, field.high), rel=1e-5, abs=1e-12), field.name
        read += 1
    assert read > 50


def test_only_what_differs_is_written(tmp_path: Path) -> None:
    every = sorted([*(f"{each.name}.schema.json" for each in STREAMS), "README.md"])
    assert sorted(generate.write(tmp_path)) == every
    assert generate.write(tmp_path) == []
    (tmp_path / "oil.schema.json").write_text("{}\n")
    assert generate.write(tmp_path) == ["oil.schema.json"]
    assert (tmp_path / "oil.schema.json").read_bytes() == (places.schemas() / "oil.schema.json").read_bytes()
