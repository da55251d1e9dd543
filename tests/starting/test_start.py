"""A new program from nothing: it passes the check, publishes with every planned record missing, overwrites nothing."""

from __future__ import annotations

import json
import os
import pty
import re
import subprocess
import sys
from pathlib import Path

import pytest
import yaml
from house import rows_of
from hypothesis import given, settings
from hypothesis import strategies as st

from sitegen import places, registry, workflow
from sitegen.cli import main
from sitegen.crossing.allocation import SCHEMES
from sitegen.problems import Collector
from sitegen.program import yamlfile
from sitegen.program.yamltext import scalar
from sitegen.starting import texts
from sitegen.starting.answers import QUESTIONS

ANSWERS = {
    "question": "Does it seat sooner?",
    "engine_type": "inline four",
    "cylinders": "4",
    "bore": "87.5 mm",
    "stroke": "100 mm",
    "reference": "nitrided",
    "candidates": "graded chromium nitride, hard-crn",
    "builds": "3",
    "testers": "T1, 0.040 in, 0.25 psi; T2, 1.00 mm, 0.5 psi",
}


def options(**more: str) -> list[str]:
    said = {**ANSWERS, **more}
    return [part for key, text in said.items() if text for part in (f"--{key.replace('_', '-')}", text)]


def everything(folder: Path) -> dict[str, bytes]:
    return {str(each.relative_to(folder)): each.read_bytes() for each in sorted(folder.rglob("*")) if each.is_file()}


@pytest.fixture
def programs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / ".git").mkdir()
    monkeypatch.chdir(tmp_path)
    return tmp_path / "programs"


def test_every_planned_record_is_missing_at_once(programs: Path, tmp_path: Path) -> None:
    assert main(["start", "programs/pump", *options()]) == 0
    assert main(["check", "--strict", "programs"]) == 0
    assert main(["publish", "programs", "--to", "site"]) == 0
    rows = rows_of(programs / "pump/results/measures.csv")
    known = {row["measure"] for row in rows if row["status"] not in {"missing", "refused"}}
    assert all(each.startswith("exposure.") for each in known)  # nothing was run before the first check
    missing = {(row["engine"], row["cylinder"], row["phase"]) for row in rows if row["measure"] == "leakdown.percent"}
    checks = ["cold-build", "run-in-10", "run-in-25", "run-in-60", "pulls", "durability"]
    assert missing == {(f"B{b}", str(c), phase) for b in (1, 2, 3) for c in (1, 2, 3, 4) for phase in checks}
    page = (tmp_path / "site/programs/pump/index.html").read_text(encoding="utf-8")
    assert "Does it seat sooner?" in page


def test_the_program_says_what_was_answered(programs: Path) -> None:
    assert main(["start", "programs/pump", *options(builds="K1,K2,K7", scheme="whole builds", seed="7")]) == 0
    folder, problems = workflow.programs(programs)
    assert (problems, folder is None) == ([], False)
    assert folder is not None
    (program,) = folder.programs
    assert (program.reference, program.candidates) == ("nitrided", ("graded-chromium-nitride", "hard-crn"))
    assert program.definitions.coatings["graded-chromium-nitride"].title == "graded chromium nitride"
    assert [build.id for build in program.builds] == ["K1", "K2", "K7"]
    assert program.definitions.testers["T1"].orifice == pytest.approx(1.016e-3)  # 0.040 in of 25.4 mm
    assert program.definitions.testers["T2"].orifice == pytest.approx(1e-3)
    assert program.allocation_seed == 7
    assert [phase.kind for phase in program.phases] == [
        "static-check", "run", "run", "run", "pulls", "durability", "teardown",
    ]  # fmt: skip


@pytest.mark.parametrize("scheme", SCHEMES)
def test_the_lots_are_those_of_the_seed(scheme: str, programs: Path) -> None:
    """What is written as drawn must follow from its seed: else no randomisation test would be made on it."""
    from sitegen.crossing import allocation

    assert main(["start", "programs/pump", *options(scheme=scheme, builds="6")]) == 0
    folder, _ = workflow.programs(programs)
    assert folder is not None
    assert allocation.follows(folder.programs[0])


def test_every_stream_of_the_registry_can_be_chosen(programs: Path) -> None:
    names = [each.name for each in registry.STREAMS]
    for system in ("metric", "us"):
        folder = programs / f"all-{system}"
        assert main(["start", str(folder), *(options() if system == "metric" else _again()), "--units", system,
                     "--records", ",".join(names)]) == 0  # fmt: skip
        for each in registry.STREAMS:
            assert (folder / texts.table_name(each.name)).exists() == bool(each.fields)
    assert main(["check", "--strict", str(programs)]) == 0


def test_the_entry_of_logs_that_is_left_as_a_comment_reads_them(programs: Path) -> None:
    assert main(["start", "programs/pump", *options(records="leakdown,runlog")]) == 0
    path = programs / "pump" / "program.yaml"
    before, _, after = path.read_text(encoding="utf-8").partition("  # runlog:\n")
    entry, _, rest = after.partition("torque: {header: Torque, unit: N m}\n")
    commented = f"  # runlog:\n{entry}torque: {{header: Torque, unit: N m}}\n"
    taken = re.sub("^  # ", "  ", commented, flags=re.MULTILINE)
    path.write_text(f"{before}{taken}{rest}", encoding="utf-8")
    logs = programs / "pump" / "logs"
    logs.mkdir(exist_ok=True)
    named = taken.partition("such as logs/")[2].partition("\n")[0]
    for name in (named, named.replace("B1", "B2")):
        (logs / name).write_text(f"Time,Speed,Torque\n0,900,20\n1,900,{20 if name == named else 21}\n")
    examination = workflow.examine(programs)
    assert not examination.blocked, examination.problems
    (program,) = examination.evidence
    assert sorted(engine for engine, _ in program.readings["runlog"].logs) == ["B1", "B2"]


def _again() -> list[str]:
    known = dict.fromkeys(("cylinders", "bore", "stroke"), "")
    return options(**known, engine_type="inline-four", candidates="graded-chromium-nitride", testers="T1")


def test_notes_begin_with_a_caution(programs: Path) -> None:
    assert main(["start", "programs/pump", *options()]) == 0
    told = " ".join((programs / "pump/notes.md").read_text().split("## Caution")[1].split())
    for words in ("Local codes, licensed practice, the site's rules and a competent person come first", "lock out fuel",
                  "the crankshaft can turn under the air", "what ends a run"):  # fmt: skip
        assert words in told


def test_a_second_program_uses_the_definitions_there(programs: Path) -> None:
    assert main(["start", "programs/one", *options()]) == 0
    before = everything(programs)
    assert main(["start", "programs/two", *_again()]) == 0
    after = everything(programs)
    assert {name: after[name] for name in before} == before
    assert {name.split("/")[0] for name in set(after) - set(before)} == {"two"}
    assert main(["check", "--strict", "programs"]) == 0


def test_what_definitions_lack_is_said_and_nothing_written(programs: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["start", "programs/one", *options()]) == 0
    before = everything(programs.parent)
    known = dict.fromkeys(("cylinders", "bore", "stroke"), "")
    capsys.readouterr()
    assert main(["start", "programs/two", *options(**known, engine_type="inline-four", candidates="soft x",
                                                   testers="T1; T9, 1 mm, 0.5 psi")]) == 1  # fmt: skip
    said = capsys.readouterr().err
    assert "coatings:\n  soft-x:\n    title: soft x\n" in said
    assert "testers:\n  T9:\n" in said
    assert "Nothing was written." in said
    assert everything(programs.parent) == before
    block = said[said.index("coatings:") : said.index("\n\nNothing")]
    assert set(yaml.safe_load(block)) == {"coatings", "testers"}


def test_nothing_is_overwritten(programs: Path, capsys: pytest.CaptureFixture[str]) -> None:
    own = {
        ".gitattributes": "* text\n", "schemas/program.schema.json": "{}\n", "pump/notes.md": "mine\n",
    }  # fmt: skip
    for name, content in own.items():
        (programs / name).parent.mkdir(parents=True, exist_ok=True)
        (programs / name).write_text(content)
    assert main(["start", "programs/pump", *options()]) == 1
    assert "programs/pump/notes.md: already there" in capsys.readouterr().err
    assert set(everything(programs)) == set(own)
    (programs / "pump/notes.md").unlink()
    (programs.parent / ".pre-commit-config.yaml").write_text("repos: []\n")
    assert main(["start", "programs/pump", *options()]) == 0
    said = capsys.readouterr().out
    assert (programs / ".gitattributes").read_text() == "* text\n"
    assert (programs / "schemas/program.schema.json").read_text() == "{}\n"
    assert (programs.parent / ".pre-commit-config.yaml").read_text() == "repos: []\n"
    for told in ("*/records/** -text", "entry: sitegen check programs", "schemas/program.schema.json is of another"):
        assert told in said
    assert main(["start", "programs/pump", *options()]) == 1
    assert "there is a program.yaml in it already" in capsys.readouterr().err


def test_copies_of_the_schemas_are_brought_up_to_date(programs: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["start", "programs/pump", *options()]) == 0
    path = programs / "schemas/program.schema.json"
    path.write_text(path.read_text().replace('"Program"', '"Older"'))
    assert main(["start", "--schemas", "programs"]) == 0
    assert path.read_bytes() == (places.schemas() / "program.schema.json").read_bytes()
    path.write_text("{}")
    capsys.readouterr()
    assert main(["start", "--schemas", "programs"]) == 1
    assert "no file of sitegen" in capsys.readouterr().err
    assert path.read_text() == "{}"


def test_the_page_of_every_key_is_copied_and_one_of_the_users_is_left(
    programs: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["start", "programs/pump", *options()]) == 0
    page = programs / "schemas/README.md"
    whole = (places.schemas() / "README.md").read_bytes()
    assert page.read_bytes() == whole
    page.write_bytes(whole[:500])
    assert main(["start", "--schemas", "programs"]) == 0
    assert page.read_bytes() == whole
    page.write_text("# Mine\n")
    capsys.readouterr()
    assert main(["start", "--schemas", "programs"]) == 1
    assert "no file of sitegen" in capsys.readouterr().err
    assert page.read_text() == "# Mine\n"


def test_editors_find_the_schemas_from_the_first_line(programs: Path) -> None:
    """The first line leads to a file that is there, and whose own references are there too."""
    assert main(["start", "programs/pump", *options()]) == 0
    for name in ("definitions.yaml", "pump/program.yaml"):
        first = (programs / name).read_text(encoding="utf-8").splitlines()[0]
        mark = "# yaml-language-server: $schema="
        assert first.startswith(mark)
        schema = (programs / name).parent / first.removeprefix(mark)
        assert json.loads(schema.read_text(encoding="utf-8"))["$id"] == schema.name
        for reference in _references(json.loads(schema.read_text(encoding="utf-8"))):
            assert (schema.parent / reference.partition("#")[0]).is_file() or reference.startswith("#")


def _references(node: object) -> list[str]:
    if isinstance(node, dict):
        own = [node["$ref"]] if isinstance(node.get("$ref"), str) else []
        return own + [each for value in node.values() for each in _references(value)]
    return [each for value in node for each in _references(value)] if isinstance(node, list) else []


def test_git_and_pre_commit_know_what_the_files_are(programs: Path) -> None:
    """Asked of git itself: evidence keeps its bytes, results have LF; the hook runs the check of this folder."""
    assert main(["start", "programs/pump", *options()]) == 0
    (programs.parent / ".git").rmdir()
    subprocess.run(["git", "init", "-q", "."], check=True)
    names = ["programs/pump/records/leakdown.csv", "programs/pump/logs/b1.csv", "programs/pump/results/measures.csv"]
    done = subprocess.run(
        ["git", "check-attr", "text", "eol", "--", *names], check=True, capture_output=True, text=True
    )
    told = dict(line.rsplit(": ", 1) for line in done.stdout.splitlines())
    assert [told[f"{name}: text"] for name in names] == ["unset", "unset", "set"]
    assert told[f"{names[2]}: eol"] == "lf"
    (hook,) = yaml.safe_load((programs.parent / ".pre-commit-config.yaml").read_text())["repos"][0]["hooks"]
    assert hook["entry"] == "sitegen check programs"
    assert (hook["files"], hook["pass_filenames"]) == ("^programs/", False)


def test_a_file_of_answers(programs: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = programs.parent / "answers.yaml"
    lines = {**ANSWERS, "candidates": ["graded-crn", "hard-crn"], "testers": ["T1, 0.040 in, 0.25 psi"], "cylinders": 4}
    file.write_text(yaml.safe_dump(lines))
    assert main(["start", "programs/pump", "--answers", "answers.yaml", "--builds", "5"]) == 0
    folder, _ = workflow.programs(programs)
    assert folder is not None
    assert len(folder.programs[0].builds) == 5
    file.write_text("bore: 87.5\nbilds: 3\nquestion: [a, b]\n")
    capsys.readouterr()
    assert main(["start", "programs/other", "--answers", "answers.yaml"]) == 1
    said = capsys.readouterr().err
    assert 'answers.yaml:2:1: "bilds" is asked nowhere.' in said
    assert "Nearest: builds." in said
    assert 'answers.yaml:3:11: "question" has several answers. Expected one.' in said
    assert not (programs / "other").exists()
    assert main(["start", "programs/other", "--answers", "nowhere.yaml"]) == 1
    assert "nowhere.yaml" in capsys.readouterr().err


UNFIT = {
    "bare number": ({"bore": "87.5"}, '--bore: "87.5" has no unit.'),
    "wrong kind of unit": ({"stroke": "100 psi"}, '"psi" is a unit of pressure, not of length'),
    "gauge unstated": ({"supply": "80 psi"}, '"psi" does not say gauge or absolute'),
    "not above zero": ({"bore": "0 mm"}, '"0 mm" is not above zero'),
    "cylinders": ({"cylinders": "many"}, '"many" is not a whole number from 1 to 24'),
    "builds": ({"builds": "0"}, '"0" is not a whole number from 1 to 200'),
    "ids of builds": ({"builds": "B1, b1"}, 'the build "b1" is named twice'),
    "reference is candidate": ({"candidates": "nitrided"}, 'the coating "nitrided" is named twice'),
    "ids across kinds": ({"testers": "nitrided, 1 mm, 1 psi"}, '"nitrided" would share its id with the coating'),
    "phase": ({"phases": "cold build, run in 10 min"}, "Nearest: run-in."),
    "no run": ({"phases": "cold build, teardown"}, "the engine runs in none of these phases"),
    "time of a check": ({"phases": "cold build 10 min, pulls"}, "says how long, but no engine runs in it"),
    "phases twice": ({"phases": "run-in 10 min, run-in 10 min"}, 'the phase "run-in-10" is named twice'),
    "tester": ({"testers": "T1, 0.040 in"}, "such as T1, 0.040 in, 0.25 psi"),
    "records": ({"records": "leakdwn"}, "Nearest: leakdown."),
    "without leak-down": ({"records": "buildsheet"}, "leakdown is not among the records"),
    "units": ({"units": "imperial"}, "Expected metric or us."),
    "fewer builds than coatings": ({"builds": "2"}, "2 builds cannot hold 3 coatings"),
    "scheme": ({"scheme": "mixed in engine", "cylinders": "2"}, "an engine of 2 cylinders cannot hold 3 coatings"),
    "missing": ({"question": ""}, "--question is missing"),
    "text of many lines": ({"question": "a\nb"}, "is not one line of text"),
}  # fmt: skip


@pytest.mark.parametrize("case", UNFIT)
def test_an_answer_that_does_not_fit_is_told(case: str, programs: Path, capsys: pytest.CaptureFixture[str]) -> None:
    changed, said = UNFIT[case]
    assert main(["start", "programs/pump", *options(**changed)]) == 1
    told = capsys.readouterr().err
    assert said in told
    assert "Traceback" not in told
    assert not programs.exists()


@pytest.mark.parametrize("name", ["Pump", "con", "pump_rings", "a" * 41])
def test_a_folder_name_that_can_be_no_id(name: str, programs: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["start", f"programs/{name}", *options()]) == 1
    assert "the id of the program" in capsys.readouterr().err
    assert not programs.exists()


def test_without_a_terminal_and_answers_it_is_wrong_use(programs: Path) -> None:
    command = [str(Path(sys.executable).parent / "sitegen"), "start", "programs/pump"]
    done = subprocess.run(command, stdin=subprocess.DEVNULL, capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert "--answers FILE" in done.stderr
    assert not programs.exists()


def test_on_a_terminal_it_asks_and_asks_again(programs: Path) -> None:
    """A real terminal: an answer that does not fit is asked for again, an empty line takes what is offered."""
    lines = [
        "", "Does it seat sooner?", "", "inline four", "4", "87.5", "87.5 mm", "100 mm", "nitrided", "graded-crn", "2",
        "", "", "", "1500 rpm", "", "T1, 0.040 in, 0.25 psi", "", "",
    ]  # fmt: skip
    parent, child = pty.openpty()
    command = [str(Path(sys.executable).parent / "sitegen"), "start", "programs/pump"]
    os.write(parent, "".join(f"{line}\n" for line in lines).encode())
    done = subprocess.run(command, stdin=child, capture_output=True, text=True, check=False, timeout=600)
    os.close(parent)
    os.close(child)
    assert done.returncode == 0, done.stderr
    assert "nothing is said." in done.stdout
    assert '"87.5" has no unit.' in done.stdout
    assert main(["check", "--strict", str(programs)]) == 0


def test_stopping_half_way_writes_nothing(programs: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def stopped(_: str) -> str:
        raise KeyboardInterrupt

    monkeypatch.setattr("builtins.input", stopped)
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    assert main(["start", "programs/pump"]) == 2
    assert not programs.exists()


@given(st.text(min_size=1, max_size=40).filter(lambda text: text.isprintable() and text == text.strip() and text))
@settings(max_examples=300, deadline=None)
def test_any_text_comes_back_from_the_program_file(text: str) -> None:
    problems = Collector("x")
    document = yamlfile.parse(f"title: {scalar(text)}\n".encode(), problems)
    if document is None:  # characters no program file may hold
        assert problems.found
        return
    assert document.data["title"] == text


def test_every_key_of_a_file_of_answers_is_an_option() -> None:
    assert [each.option for each in QUESTIONS] == [f"--{each.key.replace('_', '-')}" for each in QUESTIONS]
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    for each in QUESTIONS:
        assert each.option in readme, each.option


README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")


def block(name: str) -> str:
    """A block of the README as it stands there."""
    return README.split(f"<!-- {name} -->")[1].split("```")[1].partition("\n")[2]


def test_the_path_of_the_readme_from_nothing_to_a_page(programs: Path) -> None:
    """The commands, the answers and the rows as the README prints them lead to a page that shows the reading."""
    (programs.parent / "answers.yaml").write_text(block("answers"), encoding="utf-8")
    commands = [line.split()[1:] for line in block("start").splitlines()]
    assert main([*commands[0], "--answers", "answers.yaml"]) == 0
    assert main(commands[1]) == 0
    assert main(commands[2]) == 0
    record = programs / "rings-2027/records/leakdown.csv"
    header = set(record.read_text(encoding="utf-8").strip().split(","))
    rows = block("rows")
    assert set(rows.splitlines()[0].split(",")) <= header
    record.write_text(rows, encoding="utf-8")
    assert workflow.examine(programs).problems == ()
    assert main(commands[2]) == 0
    read = [
        row for row in rows_of(programs / "rings-2027/results/measures.csv") if row["measure"] == "leakdown.percent"
    ]
    # per cent of the supply pressure lost: FAA AC 43.13-1B, chapter 8
    found = {row["cylinder"]: float(row["value"]) for row in read if row["status"] == "ok"}
    assert found == pytest.approx({"1": 100 * 8.5 / 80, "2": 100 * 10 / 80}, abs=0.006)


def test_a_comma_is_found_and_an_open_order_of_dates_announced_as_the_readme_says(programs: Path) -> None:
    assert main(["start", "programs/rings-2027", *options()]) == 0
    file = programs / "rings-2027/program.yaml"
    entry = "{file: records/leakdown.csv, date_order: day first}"
    assert entry in README
    rows = block("rows").replace(",", ";").replace("71.5", "71,5").replace("2026-01-19", "09.01.2026")
    (programs / "rings-2027/records/leakdown.csv").write_text(rows, encoding="utf-8")
    assert main(["check", "--strict", "programs"]) == 1
    file.write_text(file.read_text(encoding="utf-8").replace("file: records/leakdown.csv", entry), encoding="utf-8")
    assert main(["check", "--strict", "programs"]) == 0


def test_checks_that_are_still_planned_are_no_end_of_the_run(programs: Path) -> None:
    """One check after the first start of four that are planned: more are to come, though no day is stated."""
    assert main(["start", "programs/rings-2027", *options()]) == 0
    rows = block("rows")
    fired = rows.splitlines()[1].replace("cold-build", "run-in-10").replace("71.5", "76") + "\n"  # within the level
    (programs / "rings-2027/records/leakdown.csv").write_text(rows + fired, encoding="utf-8")
    assert main(["publish", "programs", "--to", "site"]) == 0
    page = (programs.parent / "site/programs/rings-2027/index.html").read_text(encoding="utf-8")
    text = " ".join(re.sub("<[^>]+>", "", page).split())
    assert "one still lacks planned checks" in text
    assert "no run to come" not in text
