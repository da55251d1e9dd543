"""Style, types, the import contract, and documentation that says what is there."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest
from house import ROOT

from sitegen import registry
from sitegen.cli import _parser

BIN = Path(sys.executable).parent
MOST_LINES = 42425  # of the package; raised only by a commit that names the capability and what was deleted for it
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    "command",
    [("ruff", "check", "."), ("ruff", "format", "--check", "."), ("mypy",), ("lint-imports",)],
    ids=lambda command: " ".join(command),
)
def test_the_house_is_in_order(command: tuple[str, ...]) -> None:
    done = subprocess.run([BIN / command[0], *command[1:]], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def test_the_package_does_not_grow_by_itself() -> None:
    files = sorted((ROOT / "sitegen").rglob("*.py"))
    lines = sum(len(path.read_text(encoding="utf-8").splitlines()) for path in files)
    assert lines <= MOST_LINES, f"{lines} lines in {len(files)} files"


def test_the_readme_names_every_verb_and_option() -> None:
    actions = _parser()._subparsers
    assert actions is not None
    (verbs,) = (action.choices for action in actions._group_actions)
    assert verbs is not None
    for verb, parser in dict(verbs).items():
        assert f"sitegen {verb}" in README, verb
        options = {option for action in parser._actions for option in action.option_strings if option.startswith("--")}
        for option in options - {"--help"}:
            assert option in README, f"{verb} {option}"


def test_the_readme_explains_every_part_of_a_program_file() -> None:
    schema = json.loads((ROOT / "schemas" / "program.schema.json").read_text(encoding="utf-8"))
    for key in schema["properties"]:
        assert f"`{key}`" in README, key


def test_every_schema_key_has_a_description() -> None:
    bare = []
    for path in sorted((ROOT / "schemas").glob("*.json")):
        schema = json.loads(path.read_text(encoding="utf-8"))
        assert schema["$id"], path.name
        for where, node in _properties(schema):
            if not isinstance(node, dict) or not {"description", "$ref"} & set(node):
                bare.append(f"{path.name}: {where}")
    assert bare == []


def _properties(node: object, where: str = "") -> list[tuple[str, object]]:
    found: list[tuple[str, object]] = []
    if isinstance(node, dict):
        for key, value in node.items():
            only_referred_to = re.search(r"/(if|then|else|allOf)(/|$)", where)
            if key == "properties" and isinstance(value, dict) and not only_referred_to:
                found += [(f"{where}/{name}", each) for name, each in value.items()]
            found += _properties(value, f"{where}/{key}")
    if isinstance(node, list):
        for index, value in enumerate(node):
            found += _properties(value, f"{where}/{index}")
    return found


def test_every_stream_has_its_schema() -> None:
    for stream in registry.STREAMS:
        assert (ROOT / "schemas" / f"{stream.name}.schema.json").is_file()


def test_every_dependency_has_its_reason() -> None:
    import tomllib

    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = [*project["dependencies"], *project["optional-dependencies"]["test"]]
    for requirement in wanted:
        name = re.split(r"[><=]", requirement)[0]
        if "stubs" in name or name.startswith("types-"):
            continue
        assert name in DEVELOPERS.lower(), name
        assert not re.search(r"[<~]|==", requirement), f"{requirement}: lower bounds only"


def test_what_the_readme_says_in_commands_is_what_runs() -> None:
    for name, last in (
        ("publish", ".venv/bin/sitegen publish programs --to site"),
        ("tests", ".venv/bin/pytest --numprocesses auto --dist loadfile"),
    ):
        block = README.split(f"<!-- {name} -->")[1].split("```")[1]
        assert block.strip().splitlines()[-1] == last
