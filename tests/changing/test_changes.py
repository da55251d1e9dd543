"""What moved between two states of the results, and why: a history in which each cause occurs once, named rightly."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from house import git, plain

from sitegen.changing.causes import causes
from sitegen.cli import main
from sitegen.results import moves

HEADER = "Build,Check,Cyl,Repeat,Supply,Gauge"


def commit(programs: Path, tag: str) -> None:
    git(programs.parent, "add", "-A")
    git(programs.parent, "commit", "-q", "-m", tag)
    git(programs.parent, "tag", tag)


def enter(programs: Path, **gauges: float) -> None:
    """Three readings a cylinder [psi], the last of them as given: B2_2=60 is cylinder 2 of B2."""
    rows = [
        f"{build},pulls,{n},{repeat + 1},80,{gauges.get(f'{build}_{n}', own) if repeat == 2 else own + 0.2 * repeat}"
        for build in ("B1", "B2")
        for n, own in enumerate((76, 75, 74, 73), 1)
        for repeat in range(3)
    ]
    table = programs / "pump" / "records" / "leakdown.csv"
    table.write_text("\n".join([HEADER, *rows]) + "\n", encoding="utf-8")


def edited(path: Path, old: str, new: str) -> None:
    text = path.read_text(encoding="utf-8")
    assert text.count(old) == 1
    path.write_text(text.replace(old, new), encoding="utf-8")


@pytest.fixture
def programs(tmp_path: Path) -> Path:
    made = plain(tmp_path)
    text = (made / "pump" / "program.yaml").read_text(encoding="utf-8")
    constants = "constants: {tester: T1, crank: tdc, approached: running-direction, locked: 'yes'}"
    (made / "pump" / "program.yaml").write_text(
        text.replace("constants: {tester: T1}", constants).replace(
            "cylinder: Cyl", "cylinder: Cyl\n        repeat: Repeat"
        ),
        encoding="utf-8",
    )
    git(tmp_path, "init", "-q", "-b", "main")
    (tmp_path / ".gitignore").write_text("site/\n", encoding="utf-8")
    enter(made)
    published(made)
    commit(made, "first")
    return made


def published(programs: Path) -> None:
    assert main(["publish", str(programs), "--to", str(programs.parent / "site")]) == 0


@pytest.fixture
def told(programs: Path, capsys: pytest.CaptureFixture[str]) -> Callable[..., dict[str, Any]]:
    def tell(revisions: str = "first..") -> dict[str, Any]:
        capsys.readouterr()
        assert main(["changes", str(programs), revisions, "--format", "json"]) == 0
        (found,) = json.loads(capsys.readouterr().out)["programs"]
        return dict(found)

    return tell


def why(found: dict[str, Any], what: str, engine: str, cylinder: int) -> list[str]:
    """Kinds of change that moved the row of a measure or rule of one cylinder."""
    (move,) = [
        each for each in found["moved"] if (each["what"], each["engine"], each["cylinder"]) == (what, engine, cylinder)
    ]
    return [kind for n in move["because"] for kind in found["changes"][n]["kinds"]]


def test_nothing_moved(told: Callable[..., dict[str, Any]]) -> None:
    found = told()
    assert (found["moved"], found["changes"], found["within"], found["new"], found["gone"]) == ([], [], 0, [], [])


def test_each_cause_is_named_at_what_it_moved(programs: Path, told: Callable[..., dict[str, Any]]) -> None:
    """A row of B2 cylinder 2, an objection to one of B1 cylinder 1, the limit, and the orifice of the tester."""
    enter(programs, B2_2=60, B1_1=72)
    published(programs)
    commit(programs, "before")
    enter(programs, B2_2=75.4, B1_1=72)
    program = programs / "pump" / "program.yaml"
    edited(program, "at_most: 0.35 mm2", "at_most: 0.20 mm2")
    with program.open("a", encoding="utf-8") as file:
        file.write('\nexclusions:\n  - {reading: "leakdown:4", why: the hose leaked, by: K. L., on: 2026-06-01}\n')
    edited(programs / "definitions.yaml", "on: 2026-01-12, due: 2027-01-12", "on: 2026-01-12, due: 2027-06-12")
    found = told("before..")
    kinds = {each["kinds"][0]: each for each in found["changes"]}
    assert set(kinds) == {"records", "objection", "program file", "calibration"}
    assert kinds["records"]["what"] == ["records/leakdown.csv: 1 row changed (line 19)"]
    assert kinds["objection"]["what"] == ["program.yaml: 1 reading objected to (leakdown:4)"]
    assert "criteria.list level.at_most 0.35 mm2 → 0.20 mm2" in kinds["program file"]["what"][0]
    assert kinds["calibration"]["what"] == [
        "definitions.yaml: T1 of testers, calibrations 2026-01-12.due 2027-01-12 → 2027-06-12"
    ]
    assert kinds["calibration"]["moved"] == 0  # nothing rests on when a tester is due
    assert why(found, "leakdown.crankcase", "B2", 2) == ["records"]
    assert "objection" in why(found, "leakdown.crankcase", "B1", 1)
    edited(programs / "definitions.yaml", "orifice: 0.040 in", "orifice: 0.060 in")
    found = told("before..")
    assert [each["what"] for each in found["changes"] if each["kinds"] == ["definitions"]] == [
        ["definitions.yaml: T1 of testers, orifice 0.040 in → 0.060 in"]
    ]
    assert why(found, "leakdown.crankcase", "B2", 3) == ["definitions"]
    limits = [move for move in found["moved"] if move["what"] == "criterion:level" and not move["engine"]]
    assert all(move["before"]["limit"] == "0.35" and move["after"]["limit"] == "0.2" for move in limits)


def test_a_method_is_the_reason_where_the_same_files_give_other_results(
    programs: Path, told: Callable[..., dict[str, Any]]
) -> None:
    """Results as an earlier revision of a step wrote them: the files are the same, the numbers are not."""
    results = programs / "pump" / "results"
    rows = (results / "measures.csv").read_text(encoding="utf-8").splitlines()
    at = next(n for n, row in enumerate(rows) if row.startswith("B1,1,nitrided,pulls,,leakdown.crankcase,"))
    cells = rows[at].split(",")
    cells[6:7], cells[8:10] = ["0.9"], ["0.89", "0.91"]
    rows[at] = ",".join(cells)
    (results / "measures.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    provenance = json.loads((results / "provenance.json").read_text(encoding="utf-8"))
    provenance["methods"]["leak-areas"] = 1
    (results / "provenance.json").write_text(json.dumps(provenance), encoding="utf-8")
    commit(programs, "earlier")
    found = told("earlier..first")
    assert why(found, "leakdown.crankcase", "B1", 1) == ["methods"]
    (change,) = found["changes"]
    assert change["what"][0].startswith("methods: leak areas hold the error of the tester's gauges")


def test_only_digits_are_nothing(programs: Path, told: Callable[..., dict[str, Any]]) -> None:
    """A reading 0.1 psi higher moves values within their intervals: none is told, all are counted."""
    enter(programs, B2_2=75.1)
    found = told()
    assert found["moved"] == []
    assert found["within"] + found["without_interval"] > 0
    assert [each["kinds"] for each in found["changes"]] == [["records"]]


def test_new_rows_are_counted_by_build_and_phase(programs: Path, told: Callable[..., dict[str, Any]]) -> None:
    table = programs / "pump" / "records" / "leakdown.csv"
    with table.open("a", encoding="utf-8") as file:
        file.write("B1,cold-build,1,1,80,70\nB1,cold-build,1,2,80,70.2\n")
    found = told()
    assert any(each["engine"] == "B1" and each["phase"] == "cold-build" and each["rows"] > 0 for each in found["new"])
    assert found["changes"][0]["what"] == ["records/leakdown.csv: 2 rows added (lines 26, 27)"]


def test_as_text_and_as_a_page(programs: Path, capsys: pytest.CaptureFixture[str]) -> None:
    enter(programs, B2_2=60)
    page = programs.parent / "moved.html"
    assert main(["changes", str(programs / "pump"), "first..", "--to", str(page)]) == 0
    said = capsys.readouterr().out
    assert "because of records/leakdown.csv: 1 row changed (line 19)" in said
    assert "as it lies here now" in said
    html = page.read_text(encoding="utf-8")
    assert "records/leakdown.csv: 1 row changed (line 19)" in html
    assert "<script" not in html
    assert "http" not in html.replace("http-equiv", "")


@pytest.mark.parametrize(
    ("revisions", "status", "said"),
    [
        ("nosuch..", 1, "nosuch: git knows no such revision"),
        ("--output=x..", 1, "git knows no such revision"),
        ("first..nosuch", 1, "nosuch: git knows no such revision"),
        ("..", 2, "Expected two revisions with two points between them"),
        ("first...", 2, "Expected two revisions"),
    ],
)
def test_revisions_that_are_none(
    programs: Path, capsys: pytest.CaptureFixture[str], revisions: str, status: int, said: str
) -> None:
    capsys.readouterr()
    assert main(["changes", str(programs), "--", revisions]) == status
    assert said in capsys.readouterr().err


def test_outside_a_repository(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: Any) -> None:
    monkeypatch.setenv("GIT_CEILING_DIRECTORIES", str(tmp_path))
    home = plain(tmp_path)
    assert main(["changes", str(home)]) == 1
    assert "HEAD: git knows no such revision" in capsys.readouterr().err


def test_results_of_an_older_format_and_of_none(programs: Path, told: Callable[..., dict[str, Any]]) -> None:
    results = programs / "pump" / "results"
    kept = {path.name: path.read_bytes() for path in results.iterdir()}
    shutil.rmtree(results)
    commit(programs, "none")
    assert "holds no results: they were worked out from its files" in told("none..first")["notes"][0]
    results.mkdir()
    for name, content in kept.items():
        (results / name).write_bytes(content)
    edited(results / "provenance.json", '"format": 3', '"format": 99')
    commit(programs, "newer")
    found = told("newer..first")
    assert "are of format 99, which this version does not know" in found["notes"][0]
    assert found["moved"] == []


def test_a_state_with_errors_is_told_with_its_errors(programs: Path, capsys: pytest.CaptureFixture[str]) -> None:
    edited(programs / "pump" / "program.yaml", "phase: pulls\n      at_most", "phase: nosuch\n      at_most")
    commit(programs, "broken")
    edited(programs / "pump" / "program.yaml", "phase: nosuch\n      at_most", "phase: pulls\n      at_most")
    capsys.readouterr()
    assert main(["changes", str(programs), "broken.."]) == 1
    said = capsys.readouterr().err
    assert "pump has errors at" in said
    assert "nosuch" in said


def test_changes_that_cannot_stand_alone_are_put_in_together(
    programs: Path, told: Callable[..., dict[str, Any]]
) -> None:
    """A phase that is renamed: its records and the program file are one change."""
    for path in (programs / "pump" / "program.yaml", programs / "pump" / "records" / "leakdown.csv"):
        path.write_text(path.read_text(encoding="utf-8").replace("pulls", "sweeps"), encoding="utf-8")
    text = (programs / "pump" / "program.yaml").read_text(encoding="utf-8")
    (programs / "pump" / "program.yaml").write_text(text.replace("kind: sweeps", "kind: pulls"), encoding="utf-8")
    found = told()
    assert max(len(each["what"]) for each in found["changes"]) > 1
    assert found["gone"]
    assert found["new"]


def test_rows_are_told_by_their_lines(tmp_path: Path) -> None:
    (tmp_path / "old" / "p").mkdir(parents=True)
    (tmp_path / "new" / "p").mkdir(parents=True)
    (tmp_path / "old" / "p" / "a.csv").write_text("h\n1\n2\n3\n4\n", encoding="utf-8")
    (tmp_path / "new" / "p" / "a.csv").write_text("h\n1\n2b\n3\n4\n5\n6\n", encoding="utf-8")
    (found,) = causes(tmp_path / "old", tmp_path / "new", "p", ["p/a.csv"])
    assert found.what == "a.csv: 1 row changed (line 3) and 2 rows added (lines 6, 7)"


def test_objections_and_accepted_reviews_are_named(tmp_path: Path) -> None:
    for name, entries in (("old", "{reading: a:1, why: so}"), ("new", "{reading: a:1, why: then}\n  - {review: m-s}")):
        (tmp_path / name / "p").mkdir(parents=True)
        (tmp_path / name / "p" / "program.yaml").write_text(f"exclusions:\n  - {entries}\n", encoding="utf-8")
    (found,) = causes(tmp_path / "old", tmp_path / "new", "p", ["p/program.yaml"])
    assert found.kind == "objection"
    assert found.what == "program.yaml: 1 reading taken in other words (a:1) and 1 review accepted (m-s)"


@pytest.mark.parametrize(
    ("old", "new", "moved"),
    [
        (("1", "0.9", "1.1"), ("1.05", "0.9", "1.2"), False),
        (("1", "0.9", "1.1"), ("1.2", "1.0", "1.4"), True),
        (("1", "", ""), ("2", "", ""), False),  # nothing says what a difference is worth: it is counted
        (("1", "0.9", "1.1"), ("", "", ""), False),
        (("1", "2", "3"), ("1.5", "2", "3"), False),  # ends that are no interval about the number
    ],
)
def test_beyond_its_interval(old: tuple[str, ...], new: tuple[str, ...], moved: bool) -> None:
    names = ("value", "low", "high")
    rest = {"measure": "leakdown.crankcase", "engine": "B1", "cylinder": "1", "coating": "", "phase": "p", "at": "",
            "status": "ok"}  # fmt: skip
    rows = [{**rest, **dict(zip(names, each, strict=True))} for each in (old, new)]
    assert moves.beyond(moves.Move(("measures.csv",), *rows)) is moved
