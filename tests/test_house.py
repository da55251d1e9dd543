"""Documentation that says what is there. Style, types and the import contract are steps of `.ci/run` of their own."""

from __future__ import annotations

import json
import re

import pytest
import yaml
from house import ROOT

from sitegen import registry
from sitegen.cli import _parser

README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("command", ["ruff check", "ruff format --check", "mypy", "lint-imports"])
def test_style_types_and_imports_are_checked_before_each_commit_and_each_merge(command: str) -> None:
    """By `.ci/run`, ahead of the tests, and by pre-commit; the documentation says so."""
    steps = (ROOT / ".ci" / "run").read_text(encoding="utf-8").splitlines()
    own = [line for line in steps if re.fullmatch(rf'run "\.venv/bin/{command}( \.)?"', line)]
    assert len(own) == 1
    assert steps.index(own[0]) < len(steps) - 1
    assert steps[-1] == """run "$(printf '%s\\n' "$command" | tail -n 1)\""""
    hooks = yaml.safe_load((ROOT / ".pre-commit-config.yaml").read_text(encoding="utf-8"))["repos"][0]["hooks"]
    assert f".venv/bin/{command}" in {hook["entry"] for hook in hooks}
    assert command.split()[0] in DEVELOPERS
    assert ".ci/run" in README


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
        ("tests", ".venv/bin/pytest --numprocesses auto --dist worksteal"),
    ):
        block = README.split(f"<!-- {name} -->")[1].split("```")[1]
        assert block.strip().splitlines()[-1] == last
