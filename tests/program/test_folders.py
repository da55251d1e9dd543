"""Complete small folders: each accepted one loads, each refused one gives exactly the report it holds."""

from __future__ import annotations

import dataclasses
import json
import math
import os
import shutil
from pathlib import Path
from typing import Any

import pytest
from program.cases import ACCEPTED, REFUSED, TESTS, changed, read

from sitegen.problems import as_json, as_text, errors
from sitegen.program.folder import load

MEASURES = {"leakdown.crankcase": "mm2", "leakdown.percent": "%", "seating.to_lose": "mm2"}
STREAMS = ("buildsheet", "events", "gaugestudy", "inspection", "layers", "leakdown", "oil", "runlog", "surfaces")


def report(folder: Path) -> str:
    made, problems = load(folder, measures=MEASURES, streams=STREAMS)
    assert (made is None or bool(made.left)) == bool(errors(problems))
    assert json.loads(as_json(problems))["counts"]["errors"] == len(errors(problems))
    return as_text(problems)


def numbers(thing: Any) -> list[float]:
    if dataclasses.is_dataclass(thing):
        return [each for f in dataclasses.fields(thing) for each in numbers(getattr(thing, f.name))]
    if isinstance(thing, dict):
        return [each for value in thing.values() for each in numbers(value)]
    if isinstance(thing, tuple | list):
        return [each for value in thing for each in numbers(value)]
    return [thing] if isinstance(thing, float) else []


@pytest.mark.parametrize("folder", ACCEPTED, ids=lambda each: each.name)
def test_accepted(folder: Path) -> None:
    made, problems = load(folder, measures=MEASURES, streams=STREAMS)
    assert as_text(problems) == "No problems."
    assert made is not None
    found = numbers(made)
    assert found
    assert all(math.isfinite(each) for each in found)


@pytest.mark.parametrize("path", REFUSED, ids=lambda each: each.stem)
def test_refused(path: Path, tmp_path: Path) -> None:
    case = read(path)
    said = report(case.laid(tmp_path))
    assert said + "\n" == case.report
    assert str(tmp_path) not in said  # a message means the same on every machine


def test_every_refused_folder_is_there() -> None:
    assert len(REFUSED) >= 112
    assert [each.name for each in (TESTS / "refused").iterdir() if each not in REFUSED] == []


@pytest.mark.parametrize(
    ("edits", "says"),
    [
        ("@@ 2\n-line 2\n+other", "line 2 is 'line two', not 'line 2'"),
        ("@@ 1\n line 1\n+more", "line 1 is 'line one', not 'line 1'"),
        ("@@ 2\n-line two\n@@ 1\n-line one", "line 1 comes too late"),
        ("@@ 2\n line two", "nothing is changed"),
        ("-line one", "begins with @@"),
        ("@@ 1\nline one\n+more", "line one"),
    ],
)
def test_a_case_whose_base_moved_is_no_case(edits: str, says: str) -> None:
    with pytest.raises(AssertionError, match=says):
        changed("line one\nline two\n", edits)


def test_edits_of_a_case() -> None:
    assert changed("a\nb\n\nc\nd", "@@ 1\n a\n-b\n+B\n+\n\n@@ 5\n-d\n+D\n") == "a\nB\n\n\nc\nD"
    assert changed("a\nb\n", "@@ 2\n b\n+c\n") == "a\nb\nc\n"


@pytest.fixture
def plain(tmp_path: Path) -> Path:
    """A good folder to spoil."""
    return Path(shutil.copytree(TESTS / "accepted" / "plain", tmp_path / "programs"))


def test_one_program_alone(plain: Path) -> None:
    made, problems = load(plain / "pump", measures=MEASURES, streams=STREAMS)
    assert problems == []
    assert made is not None
    assert [each.id for each in made.programs] == ["pump"]


def test_symlink_leaves_folder(plain: Path) -> None:
    (plain.parent / "elsewhere.csv").write_text("Build\nB1\n", encoding="utf-8")
    (plain / "pump/records/leakdown.csv").unlink()
    (plain / "pump/records/leakdown.csv").symlink_to(plain.parent / "elsewhere.csv")
    assert report(plain) == (
        'pump/program.yaml:63:13: "file" in records > leakdown > 1 is "records/leakdown.csv", which leaves the '
        "program's folder through a link. Expected a file inside the program's folder. Next: copy the file into the "
        "program's folder.\n1 error, 0 warnings."
    )


def test_symlinked_folder_leaves_folder(plain: Path) -> None:
    shutil.move(plain / "pump/records", plain.parent / "records")
    (plain / "pump/records").symlink_to(plain.parent / "records")
    assert "leaves the program's folder through a link" in report(plain)


def test_symlink_inside_is_fine_but_names_the_file_twice(plain: Path) -> None:
    (plain / "pump/records/again.csv").symlink_to(plain / "pump/records/leakdown.csv")
    program = plain / "pump/program.yaml"
    text = program.read_text(encoding="utf-8")
    program.write_text(text.replace("records/leakdown.csv", "records/again.csv"), encoding="utf-8")
    assert report(plain) == "No problems."
    both = text.replace("  leakdown:\n    - file", "  leakdown:\n    - file: records/again.csv\n    - file")
    program.write_text(both, encoding="utf-8")
    assert "which line 63 names already" in report(plain)


def test_a_file_with_an_entry_of_its_own_is_taken_out_of_patterns(tmp_path: Path) -> None:
    """One file written in a way of its own among many alike: no pattern has to be spelled out for it."""
    shutil.copytree(TESTS / "accepted" / "own-words", tmp_path / "programs")
    program = tmp_path / "programs/pump/program.yaml"
    text = program.read_text(encoding="utf-8")
    alone = text.replace("file: records/Einbau.csv", "file: records/B1/Einbau.csv")
    assert alone != text
    program.write_text(alone, encoding="utf-8")
    made, problems = load(tmp_path / "programs", measures=MEASURES, streams=STREAMS)
    assert problems == []
    assert made is not None
    (found,) = made.programs
    read = {source.file: source.where.line for source in found.records}
    assert read == {"records/B1/Einbau.csv": 50, "records/B1/vier Züge.csv": 46, "records/B2/cold-build.csv": 46}
    note = "`files` fits records/B1/Einbau.csv, which line 50 names by itself: read as said there, not by `files`"
    assert [note in source.notes for source in found.records if source.where.line == 46] == [True, False]


def test_loop_of_links(plain: Path) -> None:
    (plain / "pump/records/leakdown.csv").unlink()
    (plain / "pump/records/leakdown.csv").symlink_to("leakdown.csv")
    assert report(plain).endswith("1 error, 0 warnings.")


def test_huge_line(plain: Path) -> None:
    """A line of 200 MB is refused by the size of its file, before it is read."""
    with (plain / "pump/program.yaml").open("ab") as program:
        program.write(b"notes: ")
        program.truncate(200_000_000)
    assert report(plain) == (
        "pump/program.yaml: the file is too large for a program file. Expected at most 2 MB. "
        "Next: move measured data into record tables.\n1 error, 0 warnings."
    )


def test_program_file_is_no_file(plain: Path) -> None:
    (plain / "pump/program.yaml").unlink()
    (plain / "pump/program.yaml").mkdir()
    assert report(plain) == (
        "pump/program.yaml: this is not a plain file: it is a folder. Expected a text file.\n1 error, 0 warnings."
    )


def test_program_file_is_a_pipe(plain: Path) -> None:
    """Reading it would wait for ever."""
    (plain / "pump/program.yaml").unlink()
    os.mkfifo(plain / "pump/program.yaml")
    assert "not a plain file" in report(plain)


def test_record_is_a_pipe(plain: Path) -> None:
    (plain / "pump/records/leakdown.csv").unlink()
    os.mkfifo(plain / "pump/records/leakdown.csv")
    assert "not a plain file" in report(plain)


@pytest.mark.parametrize("name", ["\\0", "\\x1b[31m", "a" * 5000, "\\uFFFF", "nul/\\n", ".", "records/.", "records/"])
def test_strange_file_names(plain: Path, name: str) -> None:
    program = plain / "pump/program.yaml"
    text = program.read_text(encoding="utf-8").replace("records/leakdown.csv", f'"{name}"')
    program.write_text(text, encoding="utf-8")
    said = report(plain)
    assert said.endswith(("errors, 0 warnings.", "1 error, 0 warnings."))
    assert "\x1b" not in said


@pytest.mark.parametrize("name", ["./records/leakdown.csv", "records//leakdown.csv", "records/./leakdown.csv"])
def test_a_file_has_one_spelling(plain: Path, name: str) -> None:
    program = plain / "pump/program.yaml"
    text = program.read_text(encoding="utf-8").replace("records/leakdown.csv", name)
    program.write_text(text, encoding="utf-8")
    made, _ = load(plain, measures=MEASURES, streams=STREAMS)
    assert made is not None
    assert made.programs[0].records[0].file == "records/leakdown.csv"


def test_no_way_leads_upwards(plain: Path) -> None:
    program = plain / "pump/program.yaml"
    text = program.read_text(encoding="utf-8").replace("records/leakdown.csv", "records/../records/leakdown.csv")
    program.write_text(text, encoding="utf-8")
    assert "which leaves the program's folder. Expected" in report(plain)


def test_no_folder(tmp_path: Path) -> None:
    assert "there is no such folder" in report(tmp_path / "none")
    (tmp_path / "file").write_text("x", encoding="utf-8")
    assert "this is not a folder" in report(tmp_path / "file")
    (tmp_path / "empty").mkdir()
    assert "there is no program in this folder" in report(tmp_path / "empty")


def test_one_bad_program_hides_no_other(plain: Path) -> None:
    shutil.copytree(plain / "pump", plain / "second")
    (plain / "pump/program.yaml").write_text("format: [", encoding="utf-8")
    (plain / "second/records/leakdown.csv").write_text("", encoding="utf-8")
    said = report(plain)
    assert "pump/program.yaml:2:1: the file is not YAML" in said
    assert "second/program.yaml:63:13" in said


def test_programs_in_order_of_their_ids(plain: Path) -> None:
    for name in ("zinc", "alpha"):
        shutil.copytree(plain / "pump", plain / name)
    made, _ = load(plain, measures=MEASURES, streams=STREAMS)
    assert made is not None
    assert [each.id for each in made.programs] == ["alpha", "pump", "zinc"]


def test_too_many_entries_are_not_followed(plain: Path) -> None:
    """A file of the largest size with a hundred thousand entries is answered, not worked through."""
    text = (plain / "pump/program.yaml").read_text(encoding="utf-8")
    many = "".join(f"  - {{id: p{n}}}\n" for n in range(100_000))
    (plain / "pump/program.yaml").write_text(text.replace("phases:\n", "phases:\n" + many), encoding="utf-8")
    assert report(plain) == (
        'pump/program.yaml:28:3: "phases" has 100003 entries, so the rest of the file was not checked. '
        "Expected at most 500.\n1 error, 0 warnings."
    )


def test_too_many_problems_are_not_all_looked_for(plain: Path) -> None:
    text = (plain / "pump/program.yaml").read_text(encoding="utf-8")
    many = "".join(f"key{n}: 1\n" for n in range(100_000))
    (plain / "pump/program.yaml").write_text(text + many, encoding="utf-8")
    said = report(plain)
    assert "pump/program.yaml: more than 500 things are wrong, so the rest of the file was not checked" in said
    assert "pump/program.yaml: and 402 further errors." in said
