"""Files and folders that this user may not read or write: one clear message, exit status 1, and nothing half."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import openpyxl  # noqa: F401 - whose files nobody may not read, perhaps
import pytest
from house import plain

from sitegen import cache
from sitegen.cli import main
from sitegen.pages import bundle

pytestmark = pytest.mark.skipif(not hasattr(os, "geteuid"), reason="rights are asked for in another way here")

NOBODY = 65534


@contextmanager
def somebody() -> Iterator[None]:
    """As a user who may not do everything: the superuser becomes nobody for the while."""
    root = os.geteuid() == 0
    if root:
        os.setegid(NOBODY)
        os.seteuid(NOBODY)
    try:
        yield
    finally:
        if root:
            os.seteuid(0)
            os.setegid(0)


def owned(home: Path) -> None:
    if os.geteuid() == 0:
        for each in [home, *home.rglob("*")]:
            os.chown(each, NOBODY, NOBODY, follow_symlinks=False)


@pytest.fixture(scope="module")
def published(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A published program with notes, and a theme."""
    folder = tmp_path_factory.mktemp("rights")
    programs = plain(folder)
    path = programs / "pump" / "program.yaml"
    path.write_text(path.read_text(encoding="utf-8") + "\nnotes: notes.md\n", encoding="utf-8")
    (programs / "pump" / "notes.md").write_text("Nothing of note.\n", encoding="utf-8")
    (folder / "theme" / "templates").mkdir(parents=True)
    (folder / "theme" / "report.css").write_text("p {}\n", encoding="utf-8")
    base = Path(__file__).parents[1] / "theme" / "templates" / "base.html"
    shutil.copy(base, folder / "theme" / "templates")
    bundle.compiled()  # loads what nobody may not, perhaps; a publish too
    assert main(["publish", str(programs), "--to", str(folder / "site")]) == 0
    return folder


@pytest.fixture
def home(published: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A copy of it that is somebody's, outside the folders of pytest, which only its user may enter."""
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        shutil.copytree(published, folder, dirs_exist_ok=True)
        folder.chmod(0o755)
        monkeypatch.setenv("SITEGEN_CACHE", str(folder / "cache"))
        owned(folder)
        cache._said.clear()
        yield folder
        cache._said.clear()
        for each in [folder, *folder.rglob("*")]:
            if not each.is_symlink():
                each.chmod(0o755)


def lying(folder: Path) -> dict[str, bytes]:
    found = {path.relative_to(folder).as_posix(): path for path in sorted(folder.rglob("*")) if path.is_file()}
    return {name: path.read_bytes() for name, path in found.items() if not name.startswith("cache/")}


def publish(home: Path, *more: str) -> int:
    with somebody():
        return main(["publish", str(home / "programs"), "--to", str(home / "site"), *more])


def moved(home: Path) -> None:
    """A reading more, so that results and pages are to be written."""
    with (home / "programs" / "pump" / "records" / "leakdown.csv").open("a", encoding="utf-8") as file:
        file.write("B1,pulls,1,80,64\n")


INPUTS = {
    "a table": ("pump/records/leakdown.csv", "leakdown.csv: the file cannot be read: Permission denied"),
    "the program file": ("pump/program.yaml", "pump/program.yaml: the file cannot be read: permission denied"),
    "what all share": ("definitions.yaml", "definitions.yaml: the file cannot be read: permission denied"),
    "the notes": ("pump/notes.md", "pump/notes.md: the notes cannot be read: permission denied"),
    "the folder of tables": ("pump/records", '"records/leakdown.csv": permission denied'),
    "the folder of the program": ("pump", "pump/program.yaml: its folder cannot be read: permission denied"),
    "all": ("", "programs: the folder cannot be read: permission denied"),
}


@pytest.mark.parametrize("what", INPUTS)
def test_an_input_that_may_not_be_read(what: str, home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    name, told = INPUTS[what]
    path = home / "programs" / name
    before = lying(home / "site")
    path.chmod(0)
    capsys.readouterr()
    with somebody():
        assert main(["check", str(home / "programs")]) == 1
    assert capsys.readouterr().out.count(told) == 1
    assert publish(home) == 1
    said = capsys.readouterr()
    assert said.err.count(told) == 1
    assert "Traceback" not in said.err
    path.chmod(0o755)
    pages = {each for each in before if each.startswith("programs") and each.endswith(".html")}
    after = lying(home / "site")
    assert {each for each in pages if b"Permission" in after[each]} == set()
    if "Nothing was written." in said.err:
        assert after == before
    assert publish(home) == 0  # and all is as it was
    assert {name: content for name, content in lying(home / "site").items() if name in pages} == {
        name: content for name, content in before.items() if name in pages
    }


TARGETS = {  # what may not be written, or read, of the two folders; what is told
    "the site": ("site", 0o555, ".sitegen-lock may not be written. Ask for the right to write there"),
    "results": ("programs/pump/results", 0o555, "results/.sitegen-lock may not be written. Ask for the right"),
    "a page": ("site/index.html", 0, "site/index.html is in the way: it may not be read. Move it away"),
    "a table of results": ("programs/pump/results/measures.csv", 0, "measures.csv is in the way: it may not be read"),
    "the list of the site's files": (
        "site/.sitegen-manifest.json",
        0,
        "which says what in the folder is ours, may not",
    ),
}


@pytest.mark.parametrize("what", TARGETS)
def test_a_target_that_may_not_be_written(what: str, home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    name, mode, told = TARGETS[what]
    before = lying(home)
    moved(home)
    (home / name).chmod(mode)
    capsys.readouterr()
    assert publish(home, "--no-cache") == 1
    said = capsys.readouterr()
    assert told in said.err
    assert said.err.lower().count("nothing was written.") == 1
    assert "Traceback" not in said.err
    (home / name).chmod(0o755)
    after = lying(home)
    table = "programs/pump/records/leakdown.csv"
    assert {each: content for each, content in after.items() if each != table} == {
        each: content for each, content in before.items() if each != table
    }
    assert publish(home) == 0


def test_a_new_site_and_new_sheets_where_nothing_may_be_made(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    closed = home / "closed"
    closed.mkdir()
    closed.chmod(0o555)
    pump = home / "programs" / "pump"
    assert main(["sheets", str(pump), "--to", str(home / "sheets")]) == 0  # so that all that it loads is loaded
    owned(home)
    with somebody():
        assert main(["publish", str(home / "programs"), "--to", str(closed / "site")]) == 1
        assert main(["sheets", str(pump), "--to", str(closed / "sheets")]) == 1
        assert main(["start", "--schemas", str(home / "programs")]) == 0
        (home / "programs" / "schemas").chmod(0o555)
        for each in (home / "programs" / "schemas").iterdir():
            each.write_bytes(each.read_bytes() + b" ")
        assert main(["start", "--schemas", str(home / "programs")]) == 1
    said = capsys.readouterr().err
    assert said.count("may not be written. Ask for the right to write there") == 3
    assert said.count("Nothing was written.") == 3
    assert list(closed.iterdir()) == []


@pytest.mark.parametrize("mode", [0o555, 0])
def test_a_cache_that_may_not_be_written(home: Path, mode: int, capsys: pytest.CaptureFixture[str]) -> None:
    """It is done all the same, and said in one line."""
    kept = home / "cache"
    kept.mkdir()
    owned(kept)
    kept.chmod(mode)
    moved(home)
    capsys.readouterr()
    assert publish(home) == 0
    assert capsys.readouterr().err.count("Nothing is kept for the next run: ") == 1
    kept.chmod(0o755)
    assert list(kept.iterdir()) == []


@pytest.mark.parametrize("name", ["report.css", "templates/base.html"])
def test_a_file_of_a_theme_that_may_not_be_read_or_is_no_text(
    name: str, home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = lying(home / "site")
    path = home / "theme" / name
    path.chmod(0)
    capsys.readouterr()
    assert publish(home, "--theme", str(home / "theme")) == 1
    assert f"{path} cannot be read: Permission denied." in capsys.readouterr().err
    path.chmod(0o644)
    path.write_bytes(b"p\n\xff\n")
    assert publish(home, "--theme", str(home / "theme")) == 1
    assert f"{path}:2: this is not UTF-8." in capsys.readouterr().err
    assert lying(home / "site") == before


def test_somebody_elses_folder_beside_the_programs_leaves_the_others(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    closed = home / "programs" / "closed"
    closed.mkdir()
    closed.chmod(0)
    assert publish(home) == 1
    said = capsys.readouterr()
    assert "Published 1 of 2 programs" in said.out
    assert "closed/program.yaml: its folder cannot be read: permission denied." in said.err


@pytest.mark.parametrize("epoch", ["", "x", "-1", "99999999999999999999"])
def test_no_clock_is_asked(epoch: str, home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Times of files that lie ahead, and what other programs take for the time of a build, change no byte."""
    before = lying(home / "site")
    monkeypatch.setenv("SOURCE_DATE_EPOCH", epoch)
    for each in (home / "programs").rglob("*"):
        os.utime(each, (4e9, 4e9))  # 2096
    assert main(["publish", str(home / "programs"), "--to", str(home / "again"), "--no-cache"]) == 0
    assert lying(home / "again") == before
    assert "SOURCE_DATE_EPOCH" not in os.environ  # libraries are not asked either
