"""What is kept gives the same bytes as what is worked out anew, and nothing kept is served for something else."""

from __future__ import annotations

import json
import os
import re
import time
from pathlib import Path

import pytest
from house import fewer, plain
from results import edits

from sitegen import shelves, workflow
from sitegen.cache import keep
from sitegen.pages.press import Press, Task
from sitegen.results import keeping
from sitegen.shelves import NONE, Shelves, digest, key_of
from sitegen.vocabulary import Comparison, Key, Result, Value, Verdict


@pytest.mark.parametrize("seed", [1, 2])
def test_random_edits_of_a_small_program(tmp_path: Path, seed: int) -> None:
    programs = plain(tmp_path)
    for what in edits.edited(programs, seed, 12):
        assert edits.differences(programs, None, tmp_path / "shelf") == [], what


def test_edits_of_an_example(tmp_path: Path) -> None:
    """Cells, rows and objections: the second run for a reading that is left out sees rows of other builds."""
    programs = fewer(tmp_path)
    for what in edits.edited(programs, 3, 4, (edits.cell, edits.objection, edits.row_gone, edits.lines_above)):
        assert edits.differences(programs, None, tmp_path / "shelf") == [], what


def test_a_theme_of_ones_own_is_part_of_it(tmp_path: Path) -> None:
    programs, theme = plain(tmp_path), tmp_path / "theme"
    edits.told(programs, None, Shelves(tmp_path / "shelf"))
    (theme / "templates").mkdir(parents=True)
    own = (Path(__file__).parents[2] / "theme" / "templates" / "base.html").read_text()
    for text in (own.replace("</main>", "<p>ours</p></main>", 1), own):
        (theme / "templates" / "base.html").write_text(text)
        assert edits.differences(programs, theme, tmp_path / "shelf") == []


def test_what_is_kept_is_taken(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Else the other tests would say nothing: with everything kept no step runs and no page is printed."""
    programs, shelf = fewer(tmp_path), tmp_path / "shelf"
    first = edits.told(programs, None, Shelves(shelf))

    def never(*_: object) -> None:
        raise AssertionError("worked out anew")

    monkeypatch.setattr("sitegen.results.run._run_step", never)
    monkeypatch.setattr("sitegen.pages.press.Press._made", never)
    assert edits.told(programs, None, Shelves(shelf)) == first


def test_a_note_looks_up_no_value(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """It is put on its page, which is told as made anew; also where notes come and go."""
    programs, shelf = fewer(tmp_path), tmp_path / "shelf"
    edits.told(programs, None, Shelves(shelf))
    (notes,) = programs.glob("*/notes.md")

    def never(*_: object) -> None:
        raise AssertionError("looked up")

    for text in (
        "# Of the rings\n\nWorn 5 % *more*, see [a1](build:A1) and \ue000.\n",
        "one word",
        "",
        "# Of the rings",
    ):
        notes.write_text(text, encoding="utf-8")
        anew = edits.told(programs, None, NONE)
        with monkeypatch.context() as patched:
            if text.startswith("one"):  # elsewhere the page itself has a fold more or less
                patched.setattr("sitegen.results.keeping.unpack_results", never)
            assert edits.told(programs, None, Shelves(shelf)) == anew
    rendered = workflow.render(workflow.examine(programs, shelves=Shelves(shelf)), None)
    notes.write_text("two words", encoding="utf-8")
    assert not rendered.told.made
    rendered = workflow.render(workflow.examine(programs, shelves=Shelves(shelf)), None)
    assert rendered.told.made == ("programs/pump-rings-2025/index.html",)


@pytest.mark.parametrize("kind", ["leakdown", "oil-samples", "buildsheet"])
def test_pages_of_other_builds_stay(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: str) -> None:
    """Else a reading would cost as much as all: what stands on every page is filled in last.

    The mean leak of the reference stands on the pages of all builds.
    """
    programs, shelf = fewer(tmp_path), tmp_path / "shelf"
    edits.told(programs, None, Shelves(shelf))
    path = sorted(programs.glob(f"*/records/{kind}*.csv"))[0]
    lines = path.read_text(encoding="utf-8").split("\n")
    number = re.compile(r"(?<=,)\d+\.\d+(?=,)")
    at = max(n for n, line in enumerate(lines) if line.startswith("A1") and number.search(line))
    last = [*number.finditer(lines[at])][-1]
    lines[at] = f"{lines[at][: last.start()]}{float(last[0]) * 1.01:.6g}{lines[at][last.end() :]}"
    path.write_text("\n".join(lines), encoding="utf-8")
    made: list[str] = []
    really = Press._made

    def noted(press: Press, task: Task) -> object:
        made.append(task.path)
        return really(press, task)

    monkeypatch.setattr(Press, "_made", noted)
    edits.told(programs, None, Shelves(shelf))
    assert "programs/pump-rings-2025/data.html" in made
    others = [each for each in made if "/a2/" in each or "/a3/" in each]
    assert [each for each in others if kind != "leakdown" or not each.endswith("/index.html")] == []


@pytest.mark.parametrize("left", [b"", b"[" * 100_000, None])
def test_damaged_entries_are_made_anew(tmp_path: Path, left: bytes | None) -> None:
    programs, shelf = plain(tmp_path), tmp_path / "shelf"
    first = edits.told(programs, None, Shelves(shelf))
    every = [path for path in shelf.rglob("*") if path.is_file()]
    assert len(every) > 20
    for path in every:
        raw = path.read_bytes()
        path.write_bytes(raw[: len(raw) // 2] if left is None else left)
    assert edits.told(programs, None, Shelves(shelf)) == first


def test_entries_that_say_something_else_but_are_whole(tmp_path: Path) -> None:
    """JSON of another shape, with its hash: nothing is believed that cannot be read, and nothing is executed."""
    programs, shelf = plain(tmp_path), tmp_path / "shelf"
    first = edits.told(programs, None, Shelves(shelf))
    for path in [path for path in shelf.rglob("*") if path.is_file()]:
        keep(path, json.dumps([[1, 2], {"a": 3}]).encode())
    assert edits.told(programs, None, Shelves(shelf)) == first


def test_other_code_has_other_keys(monkeypatch: pytest.MonkeyPatch) -> None:
    before = key_of("step", "a"), key_of("page", "a")
    monkeypatch.setattr(shelves, "code", lambda pages=False: f"other {pages}")
    after = key_of("step", "a"), key_of("page", "a")
    assert len({*before, *after}) == 4


def test_the_longest_unused_go_first(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    kept = Shelves(tmp_path / "shelf")
    names = [digest(n) for n in range(4)]
    for name in names:
        kept.put(name, b"x" * 1000, bytes)
    size = sum(path.stat().st_size for path in (tmp_path / "shelf").rglob("*") if path.is_file())
    for age, name in enumerate(names):  # the first was asked for last
        os.utime(tmp_path / "shelf" / name[:2] / name, (1e9 - age, 1e9 - age))
    monkeypatch.setattr(shelves, "MOST_BYTES", size // 2)
    kept.tidy()
    assert [kept.find(name, bytes) is not None for name in names] == [True, True, False, False]


def test_memory_forgets_what_nobody_asks_for() -> None:
    kept = Shelves(memory=True)
    kept.put("used", 1, lambda _: b"")
    kept.put("left", 2, lambda _: b"")
    for _ in range(6):
        assert kept.find("used", int) == 1
        kept.tidy()
    assert kept.find("left", int) is None


def test_what_was_never_finished_is_taken_away_after_a_day(tmp_path: Path) -> None:
    kept = Shelves(tmp_path)
    kept.put("ab1", 1, lambda _: b"1")
    for name, age in (("old", 2 * 86400), ("fresh", 60)):
        (tmp_path / "ab" / f".new-{name}").write_bytes(b"1")
        os.utime(tmp_path / "ab" / f".new-{name}", (time.time() - age,) * 2)
    kept.tidy()
    assert sorted(each.name for each in (tmp_path / "ab").iterdir()) == [".new-fresh", "ab1"]


def test_results_come_back_as_they_were() -> None:
    key = Key("B1", 2, "nitrided", "pulls", "vs:cold")
    results: list[Result] = [
        Value("a.b", key, 0.1, float("-inf"), None, flags=frozenset({"x", "y"}), n=3, of="check"),
        Verdict("seating", key, "seated", limit=0.35, adjusted_over=2),
        Comparison("a.b", "pulls", "", "graded", "nitrided", "primary", "ratio", estimate=0.9, flags=frozenset()),
    ]
    kept, pack = keeping.pack_results(results)
    assert [*kept.given["a.b"]] == ["B1"]
    assert keeping.unpack_results(pack()) == kept
