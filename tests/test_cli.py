"""The command: exit statuses, what it prints, and that nothing is written where it must not be."""

from __future__ import annotations

import argparse
import errno
import json
import re
import shlex
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest
from house import PROGRAMS, Published, fewer, plain, spoiled

from sitegen import cli
from sitegen.cli import _parser, main

PROGRAM = Path("pump-rings-2025") / "program.yaml"
TABLE = Path("pump-rings-2025") / "records" / "leakdown-a1.csv"


def everything(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


def replaced(old: str, new: str) -> Callable[[str], str]:
    def change(text: str) -> str:
        assert old in text, old
        return text.replace(old, new, 1)

    return change


def one_field_more(text: str) -> str:
    rows = text.split("\n")
    rows[7] += ",9"
    return "\n".join(rows)


@dataclass(frozen=True)
class Broken:
    """A break of the structure: where, how, and what the message must name."""

    where: Path
    change: Callable[[str], str]
    named: tuple[str, ...]


SUPPLY = "supply: 80 psig"
FILE = "records/leakdown-a1.csv"
STRUCTURE = {
    "misspelt key": Broken(PROGRAM, replaced("question:", "qestion:"), ("program.yaml:", "qestion", "question")),
    "missing unit": Broken(PROGRAM, replaced(SUPPLY, "supply: 80"), ("program.yaml:", "80")),
    "wrong kind of unit": Broken(PROGRAM, replaced(SUPPLY, "supply: 80 mm"), ("program.yaml:", "mm")),
    "gauge or absolute unstated": Broken(PROGRAM, replaced(SUPPLY, "supply: 80 psi"), ("program.yaml:", "gauge")),
    "unknown coating": Broken(PROGRAM, replaced("reference: nitrided", "reference: nitrded"), ("nitrded", "nitrided")),
    "missing file": Broken(PROGRAM, replaced(FILE, "records/leakdwn-a1.csv"), ("leakdwn-a1.csv",)),
    "path leaving the folder": Broken(PROGRAM, replaced(FILE, "../../x.csv"), ("program.yaml:", "../../x.csv")),
    "empty file": Broken(TABLE, lambda _: "", ("leakdown-a1.csv",)),
    "not text": Broken(TABLE, lambda _: "a\x00b\n", ("leakdown-a1.csv",)),
    "more fields than the header": Broken(TABLE, one_field_more, ("leakdown-a1.csv:8",)),
    "unknown phase": Broken(TABLE, replaced("run-in-10", "run-in-11"), ("leakdown-a1.csv:", "run-in-11", "run-in-10")),
    "unknown tester": Broken(TABLE, replaced(",T1,", ",T9,"), ("leakdown-a1.csv:", "T9")),
}


@pytest.mark.parametrize("case", STRUCTURE)
def test_a_broken_structure_blocks_and_leaves_everything_as_it_was(
    case: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    broken = STRUCTURE[case]
    programs, site = fewer(tmp_path), tmp_path / "site"
    site.mkdir()
    (site / "index.html").write_text("the old site")
    path = programs / broken.where
    path.write_text(broken.change(path.read_text(encoding="utf-8")), encoding="utf-8")
    before = everything(tmp_path)
    assert main(["publish", str(programs), "--to", str(site)]) == 1
    said = capsys.readouterr()
    for word in broken.named:
        assert word in said.err, said.err
    assert "Traceback" not in said.err
    assert "Nothing was written." in said.err
    assert everything(tmp_path) == before


def test_all_problems_come_in_one_run(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    programs = fewer(tmp_path)
    first, second = programs / TABLE, programs / "pump-rings-2025" / "records" / "leakdown-a3.csv"
    for path in (first, second):
        path.write_text(path.read_text(encoding="utf-8").replace("run-in-60", "run-in-61"), encoding="utf-8")
    assert main(["check", str(programs)]) == 1
    said = capsys.readouterr().out
    assert "leakdown-a1.csv" in said
    assert "leakdown-a3.csv" in said


def test_what_is_not_used_is_counted_by_one_word_everywhere(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One reading above the supply, one left out on objection: in the check, after a publish and on both pages."""
    programs, site = fewer(tmp_path), tmp_path / "site"
    spoiled(programs)
    program = programs / "pump-rings-2025" / "program.yaml"
    text = program.read_text(encoding="utf-8")
    line = '  - {reading: "leakdown-a2:46", why: hose not tight, by: K. L., on: 2025-07-09}\n'
    program.write_text(text.replace("\nnotes:", f"\nexclusions:\n{line}\nnotes:"), encoding="utf-8")
    said = "ne reading set aside, one left out on objection"
    assert main(["check", str(programs)]) == 0
    assert f"O{said}.\n" in capsys.readouterr().out
    assert main(["publish", str(programs), "--to", str(site)]) == 0
    assert f"; o{said}, see the data pages" in capsys.readouterr().out
    assert f"; o{said}" in (site / "index.html").read_text(encoding="utf-8")
    assert f"O{said}, of " in (site / "programs/pump-rings-2025/data.html").read_text(encoding="utf-8")


def test_a_bad_reading_is_set_aside_and_fails_only_strict(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    programs, site = fewer(tmp_path), tmp_path / "site"
    where = spoiled(programs)
    assert main(["publish", str(programs), "--to", str(site)]) == 0
    said = capsys.readouterr()
    assert "; one reading set aside, see the data pages" in said.out
    assert f"{where}: warning" in said.err
    assert main(["publish", "--strict", str(programs), "--to", str(tmp_path / "other")]) == 1
    assert not (tmp_path / "other").exists()


def test_json_lists_the_problems(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    programs = fewer(tmp_path)
    where = spoiled(programs)
    assert main(["check", "--format", "json", str(programs)]) == 0
    listed = json.loads(capsys.readouterr().out)
    told = [(f"{each['file']}:{each['line']}", each["level"]) for each in listed["problems"]]
    assert told == [(where, "warning"), ("pump-rings-2025/results:0", "warning")]  # and the results are stale


@pytest.mark.parametrize(
    ("arguments", "status"),
    [
        ([], 2),
        (["bake"], 2),
        (["publish", "programs"], 2),
        (["check", "nowhere"], 1),
        (["--help"], 0),
        (["check", "-h"], 0),
    ],
)
def test_exit_status(arguments: list[str], status: int, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(arguments) == status
    said = capsys.readouterr()
    assert "Traceback" not in said.out + said.err


def test_a_fault_of_ours_is_a_traceback_and_another_status(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError("ours")

    monkeypatch.setattr("sitegen.workflow.examine", broken)
    assert main(["check", "programs"]) == 3
    said = capsys.readouterr().err
    assert "ZeroDivisionError: ours" in said
    assert "a fault in sitegen" in said


def test_a_folder_of_somebody_else_is_not_written_into(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    programs, site = plain(tmp_path), tmp_path / "photos"
    site.mkdir()
    (site / "holiday.jpg").write_bytes(b"x")
    assert main(["publish", str(programs), "--to", str(site)]) == 1
    assert "photos" in capsys.readouterr().err
    assert [each.name for each in site.iterdir()] == ["holiday.jpg"]


@pytest.mark.parametrize(
    ("files", "said"),
    [
        (None, "no such folder"),
        ({"readme.txt": ""}, "nothing in it replaces the theme"),
        ({"templates/hom.html": "x"}, "hom.html: no page uses this template"),
        ({"templates/parts.html": "{% if %}"}, "parts.html:1: "),
        ({"templates/parts.html": "a\nb {{ page.nothing }}"}, "parts.html:2: "),
        ({"templates/parts.html": "{% extends 'bse.html' %}"}, "bse.html"),
    ],
)
def test_a_theme_that_cannot_be_used_is_told_with_its_line(
    files: dict[str, str] | None, said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    theme = tmp_path / "theme"
    for name, content in (files or {}).items():
        (theme / name).parent.mkdir(parents=True, exist_ok=True)
        (theme / name).write_text(content)
    programs = plain(tmp_path)
    assert main(["publish", str(programs), "--to", str(tmp_path / "site"), "--theme", str(theme)]) == 1
    told = capsys.readouterr().err
    assert said in told
    assert "Traceback" not in told
    assert not (tmp_path / "site").exists()


def verbs() -> dict[str, argparse.ArgumentParser]:
    subparsers = _parser()._subparsers
    assert subparsers is not None
    (action,) = subparsers._group_actions
    assert action.choices is not None
    return dict(action.choices)


@pytest.mark.parametrize("verb", sorted(verbs()))
def test_the_help_of_every_verb_has_examples_and_the_exit_status(verb: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Each option is described, each example is one the command understands, and the statuses are said."""
    parser = verbs()[verb]
    assert main([verb, "--help"]) == 0
    said = capsys.readouterr().out
    assert "0 fine, 1 the input has errors, 2 wrong use, 3 a fault of sitegen" in said
    for action in parser._actions:
        assert action.help, action.dest
    block = said.split("examples:\n")[1].split("\n\nexit status")[0].replace("\\\n", " ")
    examples = [re.split(r" {2,}", line.strip())[0] for line in block.splitlines()]
    assert examples
    for example in examples:
        command, *arguments = shlex.split(example)
        assert (command, arguments[0]) == ("sitegen", verb)
        parser.parse_args(arguments[1:])  # exits where it is not understood


@pytest.mark.parametrize(
    ("fault", "status", "told"),
    [
        (
            OSError(errno.EIO, "Input/output error", "/far/a.csv"),
            1,
            "/far/a.csv cannot be read or written: input/output",
        ),
        (OSError(errno.ENOENT, "No such file or directory", cli.__file__), 3, "a fault in sitegen"),
        (OSError(errno.EINVAL, "Invalid argument"), 3, "a fault in sitegen"),
    ],
    ids=["a disk", "a file of ours", "no file"],
)
def test_a_disk_that_fails_on_the_way_is_told_by_the_file(
    fault: OSError, status: int, told: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise fault

    monkeypatch.setattr("sitegen.workflow.examine", broken)
    assert main(["check", "programs"]) == status
    said = capsys.readouterr().err
    assert told in said
    assert ("Traceback" in said) == (status == 3)


def test_check_lists_what_is_due(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """As of the newest record, or of another day, in text and for other programs; none of it fails a check."""
    programs = plain(tmp_path)

    def said(*options: str) -> str:
        assert main(["check", str(programs), *options]) == 0
        return capsys.readouterr().out

    assert "alibration" not in said()  # no record is dated, and no day was given
    overdue = "  T1 (cell tester): overdue since 2027-01-12, by 19 days"
    assert said("--as-of", "2027-01-31").endswith(f"One calibration due within 60 days of 2027-01-31.\n{overdue}\n")
    assert "alibration" not in said("--as-of", "2026-11-12")  # 61 days before
    asked = said("--as-of", "2026-11-12", "--due-within", "1")
    assert asked.endswith("No calibration is due within 1 day of 2026-11-12.\n")
    due = json.loads(said("--as-of", "2026-11-13", "--format", "json"))["due"]
    assert (due["as_of"], due["within"]) == ("2026-11-13", 60)
    assert due["instruments"] == [
        {"due": "2027-01-12", "instrument": "T1", "title": "cell tester", "on": "2026-01-12", "days": 60}
    ]
    rule = programs / "pump" / "program.yaml"
    rule.write_text(rule.read_text("utf-8") + "\ninstruments: {due_within: 61 d}\n", "utf-8")
    assert "due on 2027-01-12, in 61 days" in said("--as-of", "2026-11-12")


def test_what_is_due_is_one_list_everywhere(examples: Published, capsys: pytest.CaptureFixture[str]) -> None:
    """Check, first page and pages of instruments count the same, by the same day, in the same order."""
    assert main(["check", str(examples.programs), "--due-within", "60"]) == 0
    said = capsys.readouterr().out
    count = "Four phases to come, one calibration due within 60 days of 2026-11-18."
    order = ["B3, 40 h (pump-rings-2026): 2026-12-01", "B3, teardown (pump-rings-2026): 2026-12-03",
             "B7, 40 h (pump-rings-2026): 2026-12-07", "B7, teardown (pump-rings-2026): 2026-12-14",
             "T1 (cell tester, 0.040 in): due on 2027-01-12, in 55 days"]  # fmt: skip
    assert "\n".join([count, *(f"  {each}" for each in order)]) in said

    def text(page: str) -> str:
        plain = re.sub("<[^>]+>", " ", (examples.site / page).read_text("utf-8").replace("\N{NO-BREAK SPACE}", " "))
        return " ".join(plain.split())

    home = text("index.html")
    assert count.replace("2026-11-18", "18 November 2026") in home
    shown = ["B3, 40 h", "B3, teardown", "B7, 40 h", "B7, teardown", "T1, calibration"]
    places = [home.index(each, home.index("Four phases to come")) for each in shown]
    assert places == sorted(places)
    assert "Due next, of four: 40 h of B3, on 1 December 2026" in text("programs/pump-rings-2026/index.html")
    for program in ("2025", "2026"):  # both name the tester; the older one by the same day
        told = text(f"programs/pump-rings-{program}/instruments.html")
        assert "Calibrations: T1 due on 12 January 2027, in 55 days." in told
        since = "Counted from 18 November 2026, the day of the newest record of all programs."
        assert (since in told) == (program == "2025")
    other = text("programs/pump-rings-hours/instruments.html")
    assert "T1 due" in other or "One calibration is, of instruments that no record here names." in other


def test_measures_are_listed_for_who_writes_criteria(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What the example programs name is among them, with a unit that a criterion may be written in."""
    assert main(["measures", "--format", "json"]) == 0
    listed = {each["id"]: each for each in json.loads(capsys.readouterr().out)["measures"]}
    named = {
        name for path in PROGRAMS.glob("*/program.yaml")
        for name in re.findall(r"\bmeasure: ([a-z_]+\.[a-z_]+)", path.read_text("utf-8"))
    }  # fmt: skip
    assert len(named) > 5
    assert named <= set(listed)
    assert main(["measures", "Leak", "crankcase", "--compared"]) == 0
    lines = capsys.readouterr().out.splitlines()
    rows = [line.split() for line in lines[: lines.index("")]]
    assert [row[0] for row in rows] == ["leakdown.crankcase", "leakdown.unexplained"]
    programs = plain(tmp_path)
    rule = programs / "pump" / "program.yaml"
    text = rule.read_text("utf-8")
    old = "at_most: 0.35 mm2"
    assert old in text
    rule.write_text(text.replace(old, f"at_most: 0.35 {rows[0][1]}"), "utf-8")  # the unit as listed
    assert main(["check", str(programs)]) == 0
    capsys.readouterr()
    assert main(["measures", "no-such-word"]) == 2
    assert 'No measure holds "no-such-word".' in capsys.readouterr().err


@pytest.mark.parametrize("options", [["--as-of", "2026-02-30"], ["--as-of", "soon"], ["--due-within", "-1"]])
def test_a_day_that_is_none_is_wrong_use(options: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", "programs", *options]) == 2
    assert "is not a" in capsys.readouterr().err
