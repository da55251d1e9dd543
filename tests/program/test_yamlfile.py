"""The restricted reading of YAML, against the YAML 1.2 core schema and the marks of the PyYAML composer."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
import yaml

from sitegen.problems import Collector
from sitegen.program import yamlfile

GOOD = (Path(__file__).parent.parent / "accepted/every-key/pump/program.yaml").read_bytes()


def parsed(raw: bytes | str) -> tuple[yamlfile.Document | None, list[str]]:
    problems = Collector("program.yaml")
    document = yamlfile.parse(raw.encode() if isinstance(raw, str) else raw, problems)
    return document, [each.code for each in problems.found]


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("12", 12),
        ("-3", -3),
        ("0", 0),
        ("1.50", 1.5),
        ("-.5", -0.5),
        ("true", True),
        ("false", False),
        ("null", None),
        ("~", None),
        ("", None),
        # YAML 1.1 makes something else of each of these
        ("yes", "yes"),
        ("no", "no"),
        ("on", "on"),
        ("Off", "Off"),
        ("y", "y"),
        ("True", "True"),
        ("2026-01-31", "2026-01-31"),
        ("2026-01-31 10:00:00", "2026-01-31 10:00:00"),
        ("12:30", "12:30"),
        ("12:30:45.5", "12:30:45.5"),
        ("1e3", "1e3"),
        ("1.5e3", "1.5e3"),
        ("007", "007"),
        ("0x1F", "0x1F"),
        ("0o17", "0o17"),
        ("1_000", "1_000"),
        (".nan", ".nan"),
        (".inf", ".inf"),
        ("-.inf", "-.inf"),
        ("1.", "1."),
        ("9" * 5000, "9" * 5000),
        ("9" * 400 + ".5", "9" * 400 + ".5"),
        ('"12"', "12"),
        ("'true'", "true"),
        ("87.5 mm", "87.5 mm"),
    ],
)
def test_values(text: str, value: object) -> None:
    document, codes = parsed(f"key: {text}\n")
    assert codes == []
    assert document is not None
    assert document.data == {"key": value}
    assert type(document.data["key"]) is type(value)


@pytest.mark.parametrize(
    ("text", "codes"),
    [
        ("a: 1\na: 2\n", ["duplicate-key"]),
        ("a: {b: 1, 'b': [2, {c: 3}], d: 4}\n", ["duplicate-key"]),
        ("1: a\n'1': b\n", ["duplicate-key"]),
        ("a: &x 1\n", ["anchor"]),
        ("a: &x 1\nb: *x\n", ["anchor", "alias"]),
        ("*x : 1\n", ["alias"]),
        ("a: !!int '3'\n", ["tag"]),
        ("a: !own {b: 1}\n", ["tag"]),
        ("? [a, b]\n: {c: [1]}\nd: 2\n", ["key-not-plain"]),
        ("? {a: {b: 1}}\nd: 2\n", ["key-not-plain"]),
        ("a: 1\n--- \nb: 2\n", ["second-document"]),
        ("a:\n\tb: 1\n", ["tab"]),
        ("a: [1\nb: 2\n", ["not-yaml"]),
        ('a: "\\ud800"\n', ["not-yaml"]),
        ("", ["empty-file"]),
        (" \n\n", ["empty-file"]),
        ("# nothing\n", ["not-a-mapping"]),
        ("text\n", ["not-a-mapping"]),
        ("[" * 100_000, ["too-deep"]),
        ("{a: " * 100_000, ["too-deep"]),
        ("\n".join(" " * n + "a:" for n in range(60)), ["too-deep"]),
        ("\n".join(" " * n + "- " for n in range(60)), ["too-deep"]),
        ("a: 1\na: 2\nb: [\n", ["duplicate-key", "not-yaml"]),
        ("a: \x07\n", ["control-character"]),
        ("a: \ufeffb\n", ["control-character"]),
    ],
)
def test_refused(text: str, codes: list[str]) -> None:
    document, found = parsed(text)
    assert found == codes
    if document is not None:
        assert isinstance(document.data, dict)


def test_first_of_two_equal_keys_stays_and_the_rest_goes_on() -> None:
    document, _ = parsed("a: 1\na: {x: [1, {y: 2}]}\nb: 3\n")
    assert document is not None
    assert document.data == {"a": 1, "b": 3}


def test_both_parsers_read_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where PyYAML was built without its C parser the slower one takes its place."""
    fast, _ = parsed(GOOD)
    monkeypatch.delattr(yaml, "CSafeLoader", raising=False)
    slow, codes = parsed(GOOD)
    assert codes == []
    assert fast == slow
    assert parsed('a: "\\U00110000"\n')[0] is None


def test_positions_are_those_of_the_composer() -> None:
    """Every value's line and column against the marks PyYAML's own composer gives."""
    document, _ = parsed(GOOD)
    assert document is not None
    compared = 0

    def walk(node: Any, path: tuple[str | int, ...]) -> None:
        nonlocal compared
        mark = node.start_mark
        assert document is not None
        assert document.values[path] == (mark.line + 1, mark.column + 1)
        compared += 1
        if isinstance(node, yaml.MappingNode):
            for key, value in node.value:
                assert document.keys[(*path, key.value)] == (key.start_mark.line + 1, key.start_mark.column + 1)
                walk(value, (*path, key.value))
        elif isinstance(node, yaml.SequenceNode):
            for number, each in enumerate(node.value):
                walk(each, (*path, number))

    walk(yaml.compose(GOOD.decode(), Loader=yaml.SafeLoader), ())
    assert compared == len(document.values) > 150


def test_position_of_a_wrong_byte() -> None:
    problems = Collector("p")
    assert yamlfile.parse(b"a: 1\nb: \xc3\xa9\xe9", problems) is None
    assert (problems.found[0].line, problems.found[0].column) == (2, 5)


def test_too_many_bytes() -> None:
    assert parsed(b"a: " + b"x" * yamlfile.MOST_BYTES)[1] == ["too-large"]


def test_a_large_file_is_read_in_time() -> None:
    """Nothing in the reader grows faster than the file: twenty thousand rows of phases are read, not hung on."""
    text = "phases:\n" + "".join(f"  - {{id: p{n}, title: x}}\n" for n in range(20_000))
    document, codes = parsed(text)
    assert codes == []
    assert document is not None
    assert len(document.data["phases"]) == 20_000


@pytest.mark.parametrize("word", ["on", "On", "ON", "off", "yes", "no", "y", "n", "true", "null", "12"])
def test_a_key_is_the_word_it_is_written_as(word: str) -> None:
    """`on` is a key of ours; YAML 1.1, which PyYAML loads by, makes a truth value of it where it is not in quotes."""
    for written in (word, f'"{word}"', f"'{word}'"):
        document, codes = parsed(f"{written}: 2026-01-31\n")
        assert codes == []
        assert document is not None
        assert document.data == {word: "2026-01-31"}
        assert document.key_at((word,)) == (1, 1)
    if word in {"on", "On", "ON"}:
        assert list(yaml.safe_load(f"{word}: 1")) == [True]
        assert list(yaml.safe_load(f'"{word}": 1')) == [word]


def test_on_and_quoted_on_are_one_key() -> None:
    _, codes = parsed('on: 2026-01-31\n"on": 2026-02-01\n')
    assert codes == ["duplicate-key"]
