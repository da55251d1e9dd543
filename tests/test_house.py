"""Documentation that says what is there. Style, types and the import contract are steps of `.ci/run` of their own."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from importlib import import_module
from pathlib import Path
from typing import get_type_hints

import pytest
import yaml
from house import ROOT
from lowest import lowest

from sitegen import registry
from sitegen.cli import _parser
from sitegen.methods import elements
from sitegen.tables.rows import Written

BIN = Path(sys.executable).parent
MOST_LINES = 83_900  # of the package; raised only by a commit that names the capability and what was deleted for it
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


# ---- content is type-checked -----------------------------------------------------------------------------------------

CONTENT = """
from collections.abc import Iterable, Mapping, Sequence

from sitegen.declarations import Blank, Section, Step, Stream
from sitegen.page import words
from sitegen.page.blocks import Block, Cell, Text
from sitegen.page.view import View
from sitegen.program.model import Build, Phase, Program, RecordSource
from sitegen.streams.oil.fields import Reading
from sitegen.vocabulary import Book, Readings, Result, Value


def oil(view: View) -> Sequence[Block]:
    named = view.program.definitions.oils.get(view.the_build.oil)
    drawn = [row.sample for row in view.records("oil", Reading) if row.what == "sample"]
    return [Text([Cell(words.counted(len(drawn), "sample")), Cell(named.title if named else words.DASH)])]


def run(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    build = program.build(engine)
    yield Value("oil.drawn", build.key(phase=program.primary_phase), float(len(readings["oil"].frame)))


def read(program: Program, sources: Sequence[RecordSource]) -> Readings:
    raise LookupError(f"{program.id}: {[source.file for source in sources]}")


def blank(program: Program, build: Build, phase: Phase) -> Blank:
    return Blank([{"sample": f"{build.id}-{phase.id}"}], labels=(program.title,))


STEPS = (Step("oil", (), run, reads=("oil",)),)
SECTIONS = (Section("oil", "Oil", 48, "engine", oil),)
STREAM = Stream("oil", "oil sample", 50, (), read, STEPS, SECTIONS, blank=blank)
"""
SLIPS = {  # what is right, the slip, what is said of it
    "subject_of_a_view": ("view.program.def", "view.progam.def", '"View" has no attribute "progam"'),
    "build_of_a_view": ("the_build.oil", "the_bild.oil", '"View" has no attribute "the_bild"'),
    "coating_that_may_be_none": ("view.the_build.oil", "view.coating.id", '"Coating | None" has no attribute "id"'),
    "field_of_a_reading": ("row.sample for", "row.smaple for", '"Reading" has no attribute "smaple"'),
    "word": ("words.counted", "words.conted", 'Module has no attribute "conted"'),
    "text_of_a_cell": ("named.title if", "named.density if", 'Argument 1 to "Cell" has incompatible type'),
    "model_in_a_step": ("build.key(phase", "build.kee(phase", '"Build" has no attribute "kee"'),
    "value_of_a_step": ("float(len(", "str(len(", 'Argument 3 to "Value" has incompatible type'),
    "source_in_a_read": ("source.file for", "source.fille for", '"RecordSource" has no attribute "fille"'),
    "phase_of_a_blank": ("{phase.id}", "{phase.ident}", '"Phase" has no attribute "ident"'),
    "content_of_a_section": ('"engine", oil)', '"engine", read)', 'Argument 5 to "Section" has incompatible type'),
}


def test_a_slip_in_content_is_caught_where_it_is_written(tmp_path: Path) -> None:
    (tmp_path / "right.py").write_text(CONTENT, encoding="utf-8")
    for name, (right, slip, _) in SLIPS.items():
        assert CONTENT.count(right) == 1, name
        (tmp_path / f"{name}.py").write_text(CONTENT.replace(right, slip), encoding="utf-8")
    modules = sorted(tmp_path.glob("*.py"))
    # The cache is that of the check above: the package itself is not read again.
    done = subprocess.run([BIN / "mypy", *modules], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 1, done.stdout + done.stderr
    said = {path.stem: [line for line in done.stdout.splitlines() if f"{path.stem}.py:" in line] for path in modules}
    assert said.pop("right") == []
    for name, (_, _, wanted) in SLIPS.items():
        assert any(wanted in line for line in said[name]), f"{name}: {said[name]}"


def test_no_stream_says_any() -> None:
    streams = sorted((ROOT / "sitegen" / "streams").rglob("*.py"))
    assert len(streams) > 50
    assert [path.name for path in streams if re.search(r"\bAny\b", path.read_text(encoding="utf-8"))] == []


def test_a_row_of_readings_declares_the_fields_of_its_stream() -> None:
    typed = {"number": float, "integer": float, "bounded": float}
    rowed = [stream for stream in registry.STREAMS if stream.fields]
    assert len(rowed) > 5
    for stream in rowed:
        declared = get_type_hints(import_module(f"sitegen.streams.{stream.name}.fields").Reading)
        for each in stream.fields:
            if stream.name == "oil" and each.name in elements.ALL:
                continue  # read by their symbol
            text = str if each.required or each.name == "reading" else Written
            assert declared.pop(each.name) == typed.get(each.kind, text), f"{stream.name}: {each.name}"
            if each.kind == "bounded":
                assert declared.pop(f"{each.name}_mark") is str
        without = {"engine", "phase"} - {each.name for each in stream.fields}  # columns all the same, with nothing in
        assert set(declared) == {"file", "row", "use"} | without, stream.name


# ---- documentation ---------------------------------------------------------------------------------------------------


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


def test_every_dependency_states_its_lower_bound() -> None:
    """What DEVELOPERS.md says of the lowest versions rests on it: a bound each, the same wherever it is stated."""
    import tomllib

    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    constraints = lowest(project)
    assert {line.partition("==")[0] for line in constraints} >= {"numpy", "pandas", "pyarrow", "pytest"}
    assert "python tests/lowest.py" in DEVELOPERS
    extras = project["optional-dependencies"]
    for wrong, said in (
        ("numpy", "numpy: a lower bound"),
        ("numpy>=2.0,<3", "numpy>=2.0,<3: a lower bound"),
        ("numpy~=2.0", "numpy~=2.0: a lower bound"),
        ("pyarrow>=16.0", "16.0 elsewhere"),
    ):
        with pytest.raises(ValueError, match=re.escape(said)):
            lowest({"dependencies": [*project["dependencies"], wrong], "optional-dependencies": extras})


def test_what_the_readme_says_in_commands_is_what_runs() -> None:
    for name, last in (
        ("publish", ".venv/bin/sitegen publish programs --to site"),
        ("tests", ".venv/bin/pytest --numprocesses auto --dist worksteal"),
    ):
        block = README.split(f"<!-- {name} -->")[1].split("```")[1]
        assert block.strip().splitlines()[-1] == last


def test_pandas_is_loaded_where_a_table_is_looked_at() -> None:
    """It takes longer than all else a publish loads; one that finds nearly everything on the shelves needs none."""
    asked = "import sys, sitegen.workflow, sitegen.pages.site; print('pandas' in sys.modules)"
    run = subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True, check=True, cwd=ROOT)
    assert run.stdout == "False\n"
