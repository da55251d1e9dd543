"""A program with errors stays as it was, the others are published; what was made anew is said, and what for."""

from __future__ import annotations

import json
import shutil
from dataclasses import dataclass
from pathlib import Path

import pytest
from house import plain

from sitegen import workflow
from sitegen.cli import main
from sitegen.page.addresses import Addresses
from sitegen.pages import left as pages
from sitegen.pages.linkcheck import check
from sitegen.preview import loop
from sitegen.preview.server import Board
from sitegen.program.model import Left
from sitegen.vocabulary import Problem

NOTICE = "second has one error. Until it is mended its pages stay as they were."


@dataclass
class Work:
    """Three programs alike, and a site."""

    programs: Path
    site: Path

    def publish(self, *options: str) -> int:
        return main(["publish", str(self.programs), "--to", str(self.site), *options])

    def spoil(self, program: str = "second") -> None:
        self.change(program, "title:", "titel: a\ntitle:")

    def mend(self, program: str = "second") -> None:
        self.change(program, "titel: a\n", "")

    def change(self, program: str, old: str, new: str) -> None:
        path = self.programs / program / "program.yaml"
        text = path.read_text(encoding="utf-8")
        assert old in text
        path.write_text(text.replace(old, new, 1), encoding="utf-8")


@pytest.fixture
def work(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Work:
    monkeypatch.setenv("SITEGEN_CACHE", str(tmp_path / "cache"))
    programs = plain(tmp_path)
    for name in ("first", "second", "third"):
        shutil.copytree(programs / "pump", programs / name)
    shutil.rmtree(programs / "pump")
    return Work(programs, tmp_path / "site")


def lying(folder: Path) -> dict[str, bytes]:
    found = {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    return {name: content for name, content in found.items() if not name.startswith(".")}


def of(files: dict[str, bytes], program: str) -> dict[str, bytes]:
    return {name: content for name, content in files.items() if name.startswith(f"programs/{program}/")}


def test_one_is_broken_and_mended(work: Work, capsys: pytest.CaptureFixture[str]) -> None:
    assert work.publish() == 0
    assert "pages, all of them new." in capsys.readouterr().out
    good, results = lying(work.site), lying(work.programs / "second" / "results")

    work.spoil()
    work.change("third", "Pump rings", "Pump rings again")
    assert work.publish() == 1
    said = capsys.readouterr()
    assert 'second/program.yaml:2:1: the key "titel" is not known' in said.err
    own = sum(name.endswith(".html") for name in of(good, "second"))
    assert f"second has 1 error, and its {own} pages stay as they were; " in said.out
    assert said.out.count("Published 2 of 3 programs on ") == 1
    assert " because second/program.yaml and third/program.yaml changed." in said.out
    left = lying(work.site)
    check(left)
    assert lying(work.programs / "second" / "results") == results
    assert of(left, "second").keys() == of(good, "second").keys()
    for name, content in of(left, "second").items():
        assert (content.decode().count(NOTICE) == 1) == name.endswith(".html"), name
    assert b"Pump rings again" in left["programs/third/index.html"]
    for name in ("index.html", "coatings/nitrided.html"):
        assert b'">second</a> has one error and is left out here. Its pages stay as they were' in left[name]

    assert work.publish() == 1  # from the note
    assert "No page made anew: nothing has changed since the last publish" in capsys.readouterr().out
    assert work.publish("--no-cache") == 1
    assert lying(work.site) == left

    work.mend()
    work.change("third", "Pump rings again", "Pump rings")
    assert work.publish() == 0
    assert {name: content for name, content in lying(work.site).items() if name in good} == good


def test_the_notice_says_which_day_the_pages_speak_of_and_stands_once() -> None:
    addresses = Addresses({"p": "programs/p/index.html"}, {}, {}, {}, {}, {}, {}, {}, {})
    page = b'<body><main id="main"><h1>P</h1></main><footer><p data-as-of="2026-08-14">x</p></footer></body>'
    files = {"programs/p/index.html": page, "programs/p/results/measures.csv": b"a"}
    one = Left("p", (Problem("p/program.yaml"),))
    found = pages.stood(one, addresses, files)
    assert (found.day, found.pages) == ("2026-08-14", 1)
    first = pages.noticed(one, found, files)
    told = "p has one error. Until it is mended its pages stay as they were, with records until 14 August 2026."
    assert f'<main id="main"><!--as it was--><p class="caution">{told}</p><!--/as it was--><h1>' in str(first)
    assert pages.noticed(one, found, first) == first
    more = pages.noticed(Left("p", (Problem("p/a.csv"), Problem("p/b.csv"))), found, first)
    assert b"p has two errors. Until they are mended" in more["programs/p/index.html"]
    assert more["programs/p/results/measures.csv"] == b"a"


def test_who_borrows_scatter_from_it_takes_its_committed_results(
    work: Work, capsys: pytest.CaptureFixture[str]
) -> None:
    work.change("third", "compare:\n", "compare:\n  scatter_from: [first]\n")
    assert work.publish() == 0
    before = lying(work.programs / "third" / "results")
    work.spoil("first")
    capsys.readouterr()
    assert work.publish() == 1
    assert "Published 2 of 3 programs" in capsys.readouterr().out
    assert lying(work.programs / "third" / "results") == before
    shutil.rmtree(work.programs / "first" / "results")
    assert work.publish() == 1  # the note is not believed without what it borrowed
    said = capsys.readouterr()
    assert '"first" has no results yet' in said.err
    assert "Published 1 of 3 programs" in said.out


def test_the_others_are_as_if_it_were_not_there(work: Work, tmp_path: Path) -> None:
    work.spoil()
    assert work.publish() == 1
    there = lying(work.site)
    shutil.rmtree(work.programs / "second")
    assert main(["publish", str(work.programs), "--to", str(tmp_path / "without")]) == 0
    without = lying(tmp_path / "without")
    for program in ("first", "third"):
        assert of(there, program) == of(without, program) != {}
    assert there["methods.html"] == without["methods.html"]


def test_two_are_broken_at_different_times(work: Work) -> None:
    work.publish()
    work.spoil()
    work.publish()
    before = of(lying(work.site), "second")
    work.spoil("first")
    assert work.publish() == 1
    site = lying(work.site)
    check(site)
    assert of(site, "second") == before
    assert b"first has one error." in site["programs/first/index.html"]
    work.spoil("third")  # none is left: all stay
    assert work.publish() == 1
    assert b"third has one error." in lying(work.site)["programs/third/index.html"]
    assert of(lying(work.site), "second") == before


def test_into_a_fresh_folder_its_page_lists_the_errors(work: Work, capsys: pytest.CaptureFixture[str]) -> None:
    work.spoil()
    assert work.publish() == 1
    assert "second has 1 error, which its page lists" in capsys.readouterr().out
    site = lying(work.site)
    check(site)
    assert list(of(site, "second")) == ["programs/second/index.html"]
    page = site["programs/second/index.html"].decode()
    for told in ("second/program.yaml:2:1", "titel", "is not known", "One error. Until it is mended"):
        assert told in page
    assert b"is left out here. Its page lists it." in site["index.html"]
    assert not (work.programs / "second" / "results").exists()
    work.mend()
    assert work.publish() == 0
    assert "programs/second/data.html" in lying(work.site)


def test_a_table_that_cannot_be_trusted_and_what_others_wrote(work: Work) -> None:
    work.publish()
    table = work.programs / "second" / "records" / "leakdown.csv"
    table.write_text("Build,Check,Cyl,Supply,Gauge\nB1,cold-bild,1,80,72.5\n", encoding="utf-8")
    changed = work.site / "programs" / "second" / "data.html"
    changed.write_text("somebody's own", encoding="utf-8")
    assert work.publish() == 1
    site = lying(work.site)
    assert b"second has" not in site["programs/second/index.html"]  # no longer whole: its page lists the errors
    assert b"second/records/leakdown.csv" in site["programs/second/index.html"]
    assert site["programs/second/data.html"] == b"somebody's own"


@pytest.mark.parametrize("where", ["definitions", "every program", "strict"])
def test_nothing_is_written(where: str, work: Work, capsys: pytest.CaptureFixture[str]) -> None:
    if where == "definitions":
        (work.programs / "definitions.yaml").write_text("coatings: [", encoding="utf-8")
    for each in ("first", "second", "third") if where == "every program" else ("second",):
        work.spoil(each)
    assert work.publish("--format", "json", *(["--strict"] if where == "strict" else [])) == 1
    said = capsys.readouterr()
    assert said.err.endswith("Nothing was written.\n")
    assert json.loads(said.out) == {"format": 1, "published": False}
    assert not work.site.exists()


def test_told_as_json(work: Work, capsys: pytest.CaptureFixture[str]) -> None:
    work.publish()
    for each in "abcde":
        (work.programs / "third" / f"{each}.txt").write_text(each, encoding="utf-8")
    work.spoil()
    capsys.readouterr()
    assert work.publish("--format", "json") == 1
    told = json.loads(capsys.readouterr().out)
    names = [f"third/{each}.txt" for each in "abcde"]
    assert told["because"] == ["second/program.yaml", *names]
    assert told["published"] is True
    assert told["new"] is False
    assert "index.html" in told["made"]
    assert not [name for name in told["made"] if name.startswith("programs/second")]
    assert told["pages"] == sum(name.endswith(".html") for name in lying(work.site))
    (left,) = told["left"]
    assert (left["program"], left["pages_as_they_were"] > 0, left["problems"][0]["line"]) == ("second", True, 2)
    (work.programs / "third" / "f.txt").write_text("f", encoding="utf-8")
    work.mend()
    work.change("third", "Pump rings", "Pump rings again")
    shutil.rmtree(work.programs / "third" / "records")
    assert work.publish() == 1
    said = capsys.readouterr().out
    assert "because second/program.yaml, third/f.txt, third/program.yaml and 1 more changed." in said


def test_the_preview_goes_on_with_the_others(work: Work, capsys: pytest.CaptureFixture[str]) -> None:
    board = Board()
    loop._make(work.programs, None, board)
    assert board.shown.heading == ""
    work.spoil()
    work.change("third", "Pump rings", "Pump rings again")
    for _ in range(2):
        loop._make(work.programs, None, board)
        assert board.shown.heading == "1 error in the files; second is as it last was"
        assert "second/program.yaml:2:1" in board.shown.problems
        assert board.shown.site["programs/second/index.html"].decode().count(NOTICE) == 1
        assert b"Pump rings again" in board.shown.site["programs/third/index.html"]
    work.mend()
    loop._make(work.programs, None, board)
    assert (board.shown.heading, board.shown.problems) == ("", "")
    assert NOTICE.encode() not in board.shown.site["programs/second/index.html"]
    capsys.readouterr()


def test_an_unchanged_check_reads_nothing(
    work: Work, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    work.publish()
    work.spoil()
    capsys.readouterr()

    def checked(*options: str) -> tuple[int, str]:
        return main(["check", str(work.programs), *options]), capsys.readouterr().out

    first = checked()
    as_json = checked("--format", "json")
    examine = workflow.examine
    monkeypatch.setattr(workflow, "examine", lambda *_, **__: pytest.fail("it was read"))
    assert checked() == first == (1, first[1])
    assert checked("--format", "json") == as_json
    monkeypatch.setattr(workflow, "examine", examine)
    work.mend()
    assert checked()[0] == 0
    (work.programs / "third" / "results" / "measures.csv").unlink()
    assert "stale" in checked()[1]
    assert checked("--strict") == (1, checked()[1])
    monkeypatch.setattr("sitegen.cli._today", lambda: "1999-12-31")
    monkeypatch.setattr(workflow, "examine", lambda *_, **__: pytest.fail("it was read"))
    with pytest.raises(pytest.fail.Exception):  # what is dated after today hangs on the day
        checked()
