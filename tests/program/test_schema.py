"""The published schemas: valid as JSON Schema 2020-12, described throughout, and equal to what the code knows."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from program.cases import ACCEPTED, REFUSED, TESTS, files_of, read

from sitegen import places, units
from sitegen.declarations import Stream
from sitegen.problems import Collector
from sitegen.program import described, schema
from sitegen.program.definitions import MOST_CYLINDERS, SECTIONS, TOOL_READS
from sitegen.program.yamlfile import parse
from sitegen.registry import STREAMS

FILES = sorted(places.schemas().glob("*.schema.json"))


def content(name: str) -> Any:
    return json.loads((places.schemas() / f"{name}.schema.json").read_text(encoding="utf-8"))


def parts(rule: Any, path: str = "") -> Iterator[tuple[str, Any]]:
    if isinstance(rule, dict):
        yield path, rule
        for key, inner in rule.items():
            yield from parts(inner, f"{path}/{key}")
    elif isinstance(rule, list):
        for number, inner in enumerate(rule):
            yield from parts(inner, f"{path}/{number}")


@pytest.mark.parametrize("path", FILES, ids=lambda each: each.name)
def test_schema_is_valid_and_named(path: Path) -> None:
    from jsonschema import Draft202012Validator

    rules = json.loads(path.read_text(encoding="utf-8"))
    Draft202012Validator.check_schema(rules)
    assert rules["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert rules["$id"] == path.name


@pytest.mark.parametrize("path", FILES, ids=lambda each: each.name)
def test_every_key_is_described_and_no_object_is_open(path: Path) -> None:
    for where, rule in parts(json.loads(path.read_text(encoding="utf-8"))):
        inside_condition = "/allOf/" in where or where.startswith(("/if", "/then", "/else"))
        if isinstance(rule.get("properties"), dict) and "type" in rule and not inside_condition:
            assert rule["additionalProperties"] is False, where
        if where.endswith("/properties") and not inside_condition:
            for key, value in rule.items():
                assert value.get("description") or "#/$defs/" in value["$ref"], f"{where}/{key}"
                assert value.get("title") or "#/$defs/" in value.get("$ref", ""), f"{where}/{key}"


def test_every_shared_part_is_described() -> None:
    for name, rule in content("common")["$defs"].items():
        assert rule["title"], name
        assert rule["description"], name


def test_every_dimension_exists() -> None:
    named = {
        rule["dimension"] for path in FILES for _, rule in parts(json.loads(path.read_text())) if "dimension" in rule
    }
    assert named
    assert {each for each in named if isinstance(each, str)} <= set(units.DIMENSIONS)


def test_every_example_of_a_quantity_is_one() -> None:
    for path in FILES:
        for where, rule in parts(json.loads(path.read_text(encoding="utf-8"))):
            if isinstance(rule.get("dimension"), str):
                for example in rule["examples"]:
                    assert units.parse(example, rule["dimension"]) > 0, where


@pytest.mark.parametrize("stream", STREAMS, ids=lambda stream: stream.name)
def test_a_schema_says_what_its_stream_is_in_the_program_file(stream: Stream) -> None:
    """It is all that is known of a stream that was taken out."""
    kind = described.kinds()[stream.name]
    given = {measure.id.partition(".")[0] for step in stream.steps for measure in step.gives}
    assert kind.measures == given
    assert kind.fields == tuple(field.name for field in stream.fields)
    assert set(kind.keys) <= set(content("program")["properties"])


def test_every_key_of_a_stream_is_that_of_one_alone() -> None:
    keys = [key for kind in described.kinds().values() for key in kind.keys]
    assert len(keys) == len(set(keys))
    assert list(described.absent([])) == list(described.kinds())
    assert described.absent(described.kinds()) == {}


def test_the_only_stream_without_fields_is_that_of_run_logs() -> None:
    """Its columns are channels, held against the schema in tests/logs."""
    assert [each.name for each in STREAMS if not each.fields] == ["runlog"]


def test_encodings_and_separators_are_those_of_the_table_reader() -> None:
    from sitegen.reader.decode import ENCODINGS
    from sitegen.reader.records import SEPARATORS

    shared = content("common")["$defs"]
    assert shared["encoding"]["enum"] == list(ENCODINGS)
    assert set(shared["separator"]["enum"]) >= set(SEPARATORS)


def test_words_of_the_code_and_of_the_schema() -> None:
    definitions = content("definitions")["properties"]
    assert list(definitions)[1:] == [*SECTIONS, "mappings", "words"]
    assert definitions["tools"]["additionalProperties"]["properties"]["kind"]["enum"] == list(TOOL_READS)
    cylinders = definitions["engine_types"]["additionalProperties"]["properties"]["cylinders"]
    assert cylinders["maximum"] == MOST_CYLINDERS


def test_references_are_followed_as_the_standard_says() -> None:
    """The library's own resolution of `$ref` finds the same in every example file as ours does."""
    from jsonschema import Draft202012Validator
    from referencing import Registry, Resource

    registry: Registry[Any] = Registry().with_resources(
        (path.name, Resource.from_contents(json.loads(path.read_text(encoding="utf-8")))) for path in FILES
    )
    compared = found = 0
    folders = {("accepted", each.name): files_of(each) for each in ACCEPTED}
    folders |= {("refused", each.stem): read(each).files for each in REFUSED}
    kinds = {f"{name}.yaml": name for name in ("program", "definitions")}
    rules_of = {
        name: (
            Draft202012Validator(registry.contents(f"{name}.schema.json"), registry=registry),
            schema.validator(name),
        )
        for name in kinds.values()
    }
    for (whole, folder), files in folders.items():
        for name, content in files.items():
            kind = kinds.get(name.rpartition("/")[2])
            document = parse(content, Collector(name)) if kind else None
            if document is None or kind is None:
                continue
            told = [
                sorted((list(map(str, each.absolute_path)), each.message) for each in rules.iter_errors(document.data))
                for rules in rules_of[kind]
            ]
            assert told[0] == told[1], (folder, name)
            compared += 1
            found += len(told[0])
            if whole == "accepted":
                assert told[0] == []  # what we accept, any editor accepts
    assert compared > 100
    assert found > 20


def test_the_accepted_folders_use_every_key() -> None:
    """So that each key is known to be read without complaint."""
    used: set[str] = set()
    for file in (TESTS / "accepted").glob("**/*.yaml"):
        document = parse(file.read_bytes(), Collector(file.name))
        assert document is not None
        used |= {str(step) for path in document.keys for step in path}
    for name in ("program", "definitions"):
        for where, rule in parts(content(name)):
            if where.endswith("/properties"):
                assert set(rule) <= used, where


@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_not_a_number_cannot_reach_the_schema(value: float) -> None:
    """JSON Schema takes NaN for a number; no text of a file becomes one."""
    for text in (str(value), f".{value}", f"-.{value}", "1e400", "1" * 400 + ".0"):
        document = parse(f"key: {text}\n".encode(), Collector("p"))
        assert document is not None
        assert isinstance(document.data["key"], str)


def test_a_message_shows_an_example_as_it_is_written() -> None:
    problems = Collector("p")
    document = parse(b"compare:\n  primary: 3\n  planned_builds: two\n", problems)
    assert document is not None
    schema.check(document, "program", problems)
    said = {each.line: each.expected for each in problems.found if each.code == "wrong-type"}
    assert said[2] == "keys with values, such as {measure: leakdown.crankcase, phase: pulls}"
    assert said[3] == "a whole number, such as 8"
