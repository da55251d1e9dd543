"""Decisions that were taken on committed results, and which of the answers they rest on moved since."""

from __future__ import annotations

import html
import re
from pathlib import Path

import pytest
from house import git, plain

from sitegen import workflow
from sitegen.cli import main
from sitegen.program.model import Moved, Standing

HEADER = "Build,Check,Cyl,Supply,Gauge"
NARROW, WIDE = 77, 60  # psi behind the orifice: a leak well inside the limit, and one well beyond


def commit(folder: Path) -> None:
    git(folder, "add", "-A")
    git(folder, "commit", "-q", "-m", "state")


def enter(programs: Path, second: int = NARROW, third: int = NARROW) -> None:
    """A reading a cylinder; those of two cylinders of B2 as given: cylinder 2 graded, cylinder 3 nitrided."""
    gauge = {2: second, 3: third}
    rows = [
        f"{build},pulls,{n},80,{gauge.get(n, NARROW) if build == 'B2' else NARROW}"
        for build in ("B1", "B2")
        for n in range(1, 5)
    ]
    table = programs / "pump" / "records" / "leakdown.csv"
    table.write_text("\n".join([HEADER, *rows]) + "\n", encoding="utf-8")


def publish(programs: Path) -> str:
    """Text of the program's page, blanks evened out."""
    assert main(["publish", str(programs), "--to", str(programs.parent / "site")]) == 0
    page = (programs.parent / "site" / "programs" / "pump" / "index.html").read_text("utf-8")
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page)).replace("\N{NO-BREAK SPACE}", " ").split())


def decide(programs: Path, results: str, on: str = "2026-06-01", word: str = "released") -> None:
    with (programs / "pump" / "program.yaml").open("a", encoding="utf-8") as file:
        file.write(
            f"\ndecisions:\n  - {{on: {on}, by: K. L., coating: graded-crn, word: {word}, why: it holds, "
            f'results: "{results}"}}\n'
        )


def standings(programs: Path) -> list[Standing]:
    (found,) = workflow.with_files(workflow.conclude(workflow.examine(programs)))
    return list(found.analysis.taken)


def moved(programs: Path) -> tuple[Moved, ...] | None:
    (found,) = standings(programs)
    return found.moved


@pytest.fixture
def programs(tmp_path: Path) -> Path:
    """A program with a rule whose results are committed, outside of any other repository."""
    made = plain(tmp_path)
    path = made / "pump" / "program.yaml"
    text = path.read_text(encoding="utf-8")
    assert text.count("constants: {tester: T1}") == text.count("\nseating:") == 1
    text = text.replace("constants: {tester: T1}", "constants: {tester: T1, crank: tdc}")
    text = text.replace("\nseating:", "\ndecide: {stated: 2026-01-12}\n\nseating:")
    path.write_text(text, encoding="utf-8")
    enter(made)
    git(tmp_path, "init", "-q", "-b", "main")
    (tmp_path / ".gitignore").write_text("site/\n", encoding="utf-8")
    publish(made)
    commit(tmp_path)
    return made


@pytest.fixture
def results(programs: Path) -> str:
    """The name of the committed results, as the foot of a page prints it."""
    (found,) = workflow.with_files(workflow.conclude(workflow.examine(programs)))
    page = (programs.parent / "site" / "programs" / "pump" / "index.html").read_text("utf-8")
    assert found.analysis.results_id in page.partition("<footer")[2]
    return found.analysis.results_id


def test_nothing_it_rests_on_has_moved(programs: Path, results: str, tmp_path: Path) -> None:
    decide(programs, results)
    assert moved(programs) == ()
    page = publish(programs)
    assert "1 June 2026 K. L. graded chromium nitride released it holds" in page
    assert "Nothing it rests on differs" in page
    commit(tmp_path)  # the decision itself, and the results that name the file it stands in
    assert moved(programs) == ()
    assert main(["check", str(programs)]) == 0


def test_an_answer_that_moved_is_named_with_before_and_after(
    programs: Path, results: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    decide(programs, results)
    enter(programs, second=WIDE)
    rule, word, *values = moved(programs) or ()
    assert rule.what == "criterion:level"
    assert re.fullmatch(r"holds, 0\.\d+ \(0\.\d+ to 0\.\d+\)", rule.before)
    assert re.fullmatch(r"fails, 0\.\d+ \(0\.\d+ to 0\.\d+\)", rule.after)
    assert (word.what, word.before, word.after) == ("decision", "released", "run on")
    (value,) = values  # the one that entered and moved, by how much
    assert (value.what, value.key[:2]) == ("leakdown.crankcase", ("B2", 2))
    old, new = (float(text.partition(" ")[0]) for text in (value.before, value.after))
    assert float(value.by) == pytest.approx(new - old, abs=1e-9)
    assert float(value.by) > 0.3
    page = publish(programs)
    before, after = f"{rule.before} mm²", f"{rule.after} mm²"
    assert f"Leak area after the pulls: {before}, now {after} ({rule.by} mm²); the rule's word: released, now" in page
    assert f"of B2 cylinder 2: {value.before} mm², now {value.after} mm² ({value.by} mm²)" in page
    commit(tmp_path)  # it stays named once the later results are committed too
    assert set(moved(programs) or ()) == {rule, word, value}
    enter(programs)  # and it is gone where the reading was mended
    assert moved(programs) == ()
    assert capsys.readouterr().err.count("Traceback") == 0


def test_a_value_that_moved_makes_it_stale_though_every_answer_stands(programs: Path, results: str) -> None:
    """A cylinder that is not the nearest to the limit reads otherwise; the answer names another, and stays."""
    decide(programs, results)
    enter(programs, second=NARROW + 1)
    assert [(each.what, each.key[:2]) for each in moved(programs) or ()] == [("leakdown.crankcase", ("B2", 2))]
    assert "Nothing it rests on differs" not in publish(programs)


def test_a_limit_that_was_set_anew_is_named(programs: Path, results: str) -> None:
    decide(programs, results)
    path = programs / "pump" / "program.yaml"
    text = path.read_text(encoding="utf-8")
    assert "at_most: 0.35 mm2" in text
    path.write_text(text.replace("at_most: 0.35 mm2", "at_most: 0.36 mm2"), encoding="utf-8")
    (found,) = moved(programs) or ()
    assert found.before.endswith("), limit 0.35")
    assert found.after.endswith("), limit 0.36")


def test_what_the_decision_does_not_rest_on_moves_nothing(programs: Path, results: str) -> None:
    """A nitrided cylinder: the results have another name then, the answers about graded rings are the same."""
    decide(programs, results)
    enter(programs, third=WIDE)
    (found,) = workflow.with_files(workflow.conclude(workflow.examine(programs)))
    assert found.analysis.results_id != results
    assert [each.moved for each in found.analysis.taken] == [()]


def test_each_decision_is_held_against_its_own_results(programs: Path, results: str, tmp_path: Path) -> None:
    enter(programs, second=WIDE)
    publish(programs)
    commit(tmp_path)
    (found,) = workflow.with_files(workflow.conclude(workflow.examine(programs)))
    later = found.analysis.results_id
    decide(programs, results)
    with (programs / "pump" / "program.yaml").open("a", encoding="utf-8") as file:
        entry = f'{{on: 2026-07-01, by: M., coating: graded-crn, word: run on, why: it leaks, results: "{later}"}}'
        file.write(f"  - {entry}\n")
    first, second = standings(programs)
    assert [each.what for each in first.moved or ()] == ["criterion:level", "decision", "leakdown.crankcase"]
    assert second.moved == ()
    page = publish(programs)
    assert page.index("1 July 2026") < page.index("1 June 2026")  # the latest first


def test_results_that_git_does_not_hold_are_warned_of(programs: Path, capsys: pytest.CaptureFixture[str]) -> None:
    decide(programs, "0123456789")
    capsys.readouterr()
    assert main(["check", str(programs)]) == 0
    told = capsys.readouterr().out
    line = next(
        n for n, text in enumerate((programs / "pump" / "program.yaml").read_text("utf-8").splitlines(), start=1)
        if "0123456789" in text
    )  # fmt: skip
    assert f"pump/program.yaml:{line}:" in told
    assert 'is on results "0123456789", which git does not hold' in told
    assert "commit the results a decision is taken on" in told
    assert moved(programs) is None
    assert "Not known: git holds no such results" in publish(programs)


def test_where_no_history_is_known_nothing_is_warned_of(
    programs: Path, results: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    decide(programs, results)
    commit(tmp_path)
    git(tmp_path, "clone", "-q", "--depth", "1", tmp_path.as_uri(), str(tmp_path / "cut"))
    monkeypatch.setattr("shutil.which", lambda _: None)
    for each in (programs, tmp_path / "cut" / "programs"):
        assert moved(each) is None
        capsys.readouterr()
        assert main(["check", str(each)]) == 0
        assert "git does not hold" not in capsys.readouterr().out
    monkeypatch.undo()
    assert moved(tmp_path / "cut" / "programs") is None
