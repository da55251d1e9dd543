"""A publish of what is unchanged is over at once, of anything else it is not; the cache is never believed blindly."""

from __future__ import annotations

import json
import shutil
import subprocess
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from house import ROOT, Published, fewer, spoiled

from sitegen import unchanged, workflow
from sitegen.cache import cache_folder, keep, kept
from sitegen.cli import main
from sitegen.unchanged import Outcome, answered, question, remember

PROGRAM = "pump-rings-2025"
TABLE = "records/leakdown-a2.csv"


@dataclass(frozen=True)
class Work:
    """A published folder."""

    programs: Path
    site: Path
    theme: Path
    code: Path

    def publish(self) -> int:
        return main(["publish", str(self.programs), "--to", str(self.site), "--theme", str(self.theme)])

    def asked(self) -> unchanged.Question:
        asked = question(self.programs, self.site, self.theme)
        assert asked is not None
        return asked

    def outcome(self) -> Outcome | None:
        return answered(self.asked())


@pytest.fixture(scope="module")
def work(tmp_path_factory: pytest.TempPathFactory, examples: Published) -> Iterator[Work]:
    """An example published once, a reading set aside, with a copy of our source files to change, in a repository."""
    del examples  # they filled the cache of the run
    folder = tmp_path_factory.mktemp("unchanged")
    work = Work(fewer(folder), folder / "site", folder / "theme", folder / "code")
    spoiled(work.programs)
    shutil.copytree(ROOT / "sitegen", work.code, ignore=shutil.ignore_patterns("__pycache__"))
    (work.theme / "templates").mkdir(parents=True)
    git(work, "init", "-q")
    git(work, "add", ".")
    git(work, "commit", "-qm", "as they are")
    with pytest.MonkeyPatch.context() as patch:
        others = shutil.ignore_patterns("publishes", ".new-*")
        shutil.copytree(cache_folder(), folder / "cache", ignore=others, dirs_exist_ok=True)
        patch.setenv("SITEGEN_CACHE", str(folder / "cache"))  # its own notes, and what is slow to make
        patch.setattr(unchanged, "__file__", str(work.code / "unchanged.py"))
        assert work.publish() == 0
        yield work


def git(work: Work, *words: str) -> None:
    who = ("-c", "user.name=M. A.", "-c", "user.email=m@example.org", "-c", "commit.gpgsign=false")
    subprocess.run(["git", "-C", str(work.programs), *who, *words], check=True, capture_output=True)


def everything(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


def test_unchanged_is_told_without_reading_anything(
    work: Work, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    note = work.asked().note
    first = note.read_bytes()
    before = everything(work.site)
    note.unlink()
    assert work.publish() == 0  # the whole way, with no note to go by
    long_way = capsys.readouterr()
    assert "Published 1 program" in long_way.out
    assert f"{PROGRAM}/{TABLE}:3: warning" in long_way.err
    assert note.read_bytes() == first
    monkeypatch.setattr(workflow, "examine", lambda _: pytest.fail("a record was read"))
    assert work.publish() == 0
    at_once = capsys.readouterr()
    assert at_once.err == long_way.err
    why, told = at_once.out.split("\n", 1)
    assert why == "No page made anew: nothing has changed since the last publish into this folder."
    assert told == long_way.out.split("\n", 1)[1]
    assert everything(work.site) == before


def changed(path: Path, change: Callable[[bytes], bytes] = lambda content: content + b"\n") -> Callable[[], None]:
    """Change a file; the way back is returned."""
    before = path.read_bytes() if path.exists() else None
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(change(before or b""))

    def undo() -> None:
        path.unlink()
        if before is not None:
            path.write_bytes(before)

    return undo


DEPENDED_ON: dict[str, Callable[[Work], Callable[[], None]]] = {
    "a record": lambda work: changed(work.programs / PROGRAM / TABLE),
    "the notes": lambda work: changed(work.programs / PROGRAM / "notes.md"),
    "the program file": lambda work: changed(work.programs / PROGRAM / "program.yaml"),
    "the definitions": lambda work: changed(work.programs / "definitions.yaml"),
    "a new file": lambda work: changed(work.programs / "another" / "program.yaml"),
    "a helper in our own code": lambda work: changed(work.code / "methods" / "intervals.py"),
    "a template of the theme": lambda work: changed(work.theme / "templates" / "parts.html"),
}
LEFT_BEHIND: dict[str, Callable[[Work], Callable[[], None]]] = {
    "a page": lambda work: changed(work.site / "index.html"),
    "the manifest": lambda work: changed(work.site / ".sitegen-manifest.json", lambda _: b"{}"),
    "the results": lambda work: changed(work.programs / PROGRAM / "results/measures.csv"),
}


@pytest.mark.parametrize("what", [*DEPENDED_ON, *LEFT_BEHIND])
def test_anything_that_changed_is_noticed(work: Work, what: str) -> None:
    assert work.outcome() is not None
    undo = {**DEPENDED_ON, **LEFT_BEHIND}[what](work)
    try:
        assert work.outcome() is None
    finally:
        undo()
    shutil.rmtree(work.programs / "another", ignore_errors=True)
    assert work.outcome() is not None


def test_a_file_that_is_gone_is_noticed(work: Work) -> None:
    page, aside = work.site / "methods.html", work.site.parent / "aside.html"
    page.rename(aside)
    assert work.outcome() is None
    aside.rename(page)
    assert work.outcome() is not None


def test_other_results_in_the_last_commit_are_noticed(work: Work) -> None:
    undo = changed(work.programs / PROGRAM / "results/measures.csv")
    git(work, "commit", "-qam", "results")
    undo()
    assert work.outcome() is None
    git(work, "reset", "-q", "HEAD~1")
    assert work.outcome() is not None


def test_libraries_and_python_are_part_of_it(work: Work, monkeypatch: pytest.MonkeyPatch) -> None:
    assert any(name.startswith("numpy-") for name in unchanged._libraries())
    before = work.asked().depends_on
    monkeypatch.setattr("sys.version", "3.99")
    assert work.asked().depends_on != before


def test_a_folder_that_is_a_link_is_never_taken_for_known(work: Work) -> None:
    link = work.programs / "elsewhere"
    link.symlink_to(work.code, target_is_directory=True)
    assert question(work.programs, work.site, work.theme) is None
    link.unlink()


FOREIGN: dict[str, Callable[[Path], object]] = {
    "half a note": lambda note: note.write_bytes(note.read_bytes()[:-9]),
    "other bytes": lambda note: note.write_bytes(b"\x80\x04never read as a program"),
    "nothing": lambda note: note.write_bytes(b""),
    "no object": lambda note: keep(note, b"[1, 2]"),
    "another shape": lambda note: keep(note, json.dumps({"depends_on": 1, "outcome": {"report": "x"}}).encode()),
    "hashes that are none": lambda note: keep(note, json.dumps({**stored(note), "outcome": [1]}).encode()),
    "too little of a site": lambda note: keep(note, json.dumps(emptied(stored(note))).encode()),
}


def stored(note: Path) -> dict[str, dict[str, object]]:
    found: dict[str, dict[str, object]] = json.loads(kept(note) or b"")
    return found


def emptied(note: dict[str, dict[str, object]]) -> dict[str, dict[str, object]]:
    return {**note, "outcome": {**note["outcome"], "site": {}}}


@pytest.mark.parametrize("damage", FOREIGN)
def test_a_damaged_or_foreign_note_is_ignored(work: Work, damage: str) -> None:
    asked = work.asked()
    before = answered(asked)
    assert before is not None
    FOREIGN[damage](asked.note)
    assert answered(asked) is None
    remember(asked, before)
    assert answered(asked) == before


def test_strict_takes_the_whole_way_where_readings_were_set_aside(
    work: Work, capsys: pytest.CaptureFixture[str]
) -> None:
    assert work.outcome() is not None
    assert main(["publish", str(work.programs), "--to", str(work.site), "--theme", str(work.theme), "--strict"]) == 1
    assert "Nothing was written" in capsys.readouterr().err


def test_only_so_many_notes_are_kept(work: Work) -> None:
    asked, outcome = work.asked(), work.outcome()
    assert outcome is not None
    for number in range(130):
        keep(asked.note.with_name(f"{number:032}.json"), b"{}")
    remember(asked, outcome)
    assert len(list(asked.note.parent.glob("*.json"))) == 100
    assert work.outcome() == outcome
