"""What may happen to the folders we write to: planted links, full disks, refusals, writers at the same time."""

from __future__ import annotations

import errno
import os
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path

import pytest

from sitegen import writing
from sitegen.publish import JOURNAL, MANIFEST, CannotPublish, publish, put, unfinished
from sitegen.writing import LOCK, STAGING, Tree

OLD = {"index.html": b"old home", "p/b1/index.html": b"old page", "assets/a-1.css": b"old style"}
NEW = {"index.html": b"new home", "q/b2/index.html": b"new page", "assets/a-2.css": b"new style"}
OLD_TABLES, NEW_TABLES = ({"measures.csv": each, "verdicts.csv": each} for each in (b"old", b"new"))


def lying(folder: Path) -> dict[str, bytes | str]:
    """All that lies in a folder, ours included; of a link where it leads."""
    return {
        path.relative_to(folder).as_posix(): str(path.readlink()) if path.is_symlink() else path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_symlink() or path.is_file()
    }


def folders(folder: Path) -> set[str]:
    return {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_dir()}


# ---- links ----------------------------------------------------------------------------------------------------------

needs_links = pytest.mark.skipif(os.name == "nt", reason="links need a right there")


@needs_links
@pytest.mark.parametrize("to", ["victim", "missing"])
@pytest.mark.parametrize(
    "name",
    [LOCK, JOURNAL, MANIFEST, "index.html", "p", "p/b1", "assets/a-2.css", f"{STAGING}0", ".sitegen-new-index.html"],
)
def test_no_planted_link_is_followed(tmp_path: Path, name: str, to: str) -> None:
    """Into the site, and into the folder beside it: what the link leads to stays as it was, or not there."""
    (tmp_path / "victim").write_bytes(b"mine")
    for root in ("site", "results"):
        site, results = tmp_path / root / "site", tmp_path / root / "results"
        publish(OLD, site, {results: OLD_TABLES})
        planted = tmp_path / root / root / name
        if planted.is_dir():
            planted.rename(tmp_path / root / "away")
        planted.unlink(missing_ok=True)
        planted.parent.mkdir(parents=True, exist_ok=True)
        planted.symlink_to(tmp_path / to)
        try:
            publish(NEW, site, {results: NEW_TABLES})
        except CannotPublish as refused:
            assert str(refused).endswith(("othing was written.", "Nothing was written. "))  # noqa: PT017 - or it goes well
            assert (site / "p" / "b1").exists() == (name not in {"p", "p/b1"} or root == "results")
        for path in (site / "index.html", results / "measures.csv"):
            assert path.is_symlink() or not path.exists() or path.read_bytes()[:3] in {b"old", b"new"}
        assert (tmp_path / "victim").read_bytes() == b"mine"
        assert not (tmp_path / "missing").exists()


@needs_links
def test_a_fresh_folder_with_a_planted_link_is_refused(tmp_path: Path) -> None:
    site = tmp_path / "site"
    site.mkdir()
    (site / ".sitegen-new-index.html").symlink_to(tmp_path / "victim")
    with pytest.raises(CannotPublish, match="not empty"):
        publish(NEW, site)
    assert lying(tmp_path) == {"site/.sitegen-new-index.html": str(tmp_path / "victim")}


@needs_links
def test_a_folder_that_is_itself_a_link_is_refused_with_where_it_leads(tmp_path: Path) -> None:
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "site").symlink_to("elsewhere")
    (tmp_path / "results").symlink_to("elsewhere")
    for beside in ({}, {tmp_path / "results": NEW_TABLES}):
        to = tmp_path / ("fresh/site" if beside else "site")
        with pytest.raises(CannotPublish, match=r"it is a link to elsewhere.*Nothing was written"):
            publish(NEW, to, beside)
    with pytest.raises(CannotPublish, match="it is a link"):
        put(NEW, tmp_path / "site", lambda *_: True)
    assert not list((tmp_path / "elsewhere").iterdir())
    assert not (tmp_path / "fresh").exists()


@needs_links
def test_a_link_that_comes_while_it_is_written_is_not_followed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Folders and files swapped for links after all was looked at, just before the first file is put."""
    site, elsewhere = tmp_path / "site", tmp_path / "elsewhere"
    publish(OLD, site)
    elsewhere.mkdir()
    (elsewhere / "index.html").write_bytes(b"mine")
    real = writing.Change.carry_out

    def swapped(self: writing.Change) -> None:
        (site / "p").rename(tmp_path / "away")
        (site / "p").symlink_to(elsewhere)
        (site / "index.html").unlink()
        (site / "index.html").symlink_to(elsewhere / "index.html")
        real(self)

    monkeypatch.setattr(writing.Change, "carry_out", swapped)
    with pytest.raises(CannotPublish, match="link"):
        publish({**NEW, "p/b1/index.html": b"new page"}, site)
    assert lying(elsewhere) == {"index.html": b"mine"}


def test_what_comes_there_meanwhile_is_not_written_over(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real = writing.Change.carry_out

    def filled_in(self: writing.Change) -> None:
        (tmp_path / "table.csv").write_bytes(b"filled in")
        real(self)

    monkeypatch.setattr(writing.Change, "carry_out", filled_in)
    with pytest.raises(CannotPublish, match="came there while it was written"):
        put({"page.html": b"page", "table.csv": b"empty"}, tmp_path, lambda *_: False)
    assert lying(tmp_path) == {"table.csv": b"filled in"}


@pytest.mark.skipif(os.name == "nt", reason="this system has no such files")
@pytest.mark.parametrize("name", ["site/.sitegen-manifest.json", "site/index.html", "site/assets/a-1.css",
                                  "results/measures.csv", "site/.sitegen-lock"])  # fmt: skip
def test_a_pipe_is_told_and_nothing_waits_for_it(tmp_path: Path, name: str) -> None:
    publish(OLD, tmp_path / "site", {tmp_path / "results": OLD_TABLES})
    (tmp_path / name).unlink(missing_ok=True)
    os.mkfifo(tmp_path / name)
    changed = {**NEW, "assets/a-1.css": b"other"}
    with pytest.raises(CannotPublish, match=r"(pipe|not a plain file).*othing was written"):
        publish(changed, tmp_path / "site", {tmp_path / "results": NEW_TABLES})
    there = {path: what for path, what in lying(tmp_path).items() if what in {*NEW.values(), b"new", b"other"}}
    assert there == {}


# ---- what fails on the way ------------------------------------------------------------------------------------------

FILLING = ("open", "write", "fsync", "mkdir", "link")  # need room
CALLS = ("open", "write", "fsync", "mkdir", "replace", "link", "unlink", "rmdir")


def failing(patch: pytest.MonkeyPatch, at: int, number: int, only: tuple[str, ...], lasting: bool) -> list[str]:
    """Have the system refuse the call of this number, and all of them after it where it is `lasting`."""
    asked: list[str] = []

    def refuse(name: str, real: Callable[..., object]) -> Callable[..., object]:
        def call(*given: object, **named: object) -> object:
            making = name != "open" or (len(given) > 1 and isinstance(given[1], int) and given[1] & os.O_CREAT)
            if making:
                asked.append(name)
                if len(asked) == at or (lasting and len(asked) > at):
                    raise OSError(number, os.strerror(number))
            return real(*given, **named)

        return call

    for name in only:
        patch.setattr(os, name, refuse(name, getattr(os, name)))
    return asked


@pytest.mark.parametrize("fresh", [True, False])
@pytest.mark.parametrize(
    ("number", "only", "lasting"),
    [(errno.ENOSPC, FILLING, True), (errno.EIO, CALLS, False), (errno.EIO, CALLS, True)],
)
def test_every_call_may_fail(tmp_path: Path, fresh: bool, number: int, only: tuple[str, ...], lasting: bool) -> None:
    """All lies as before, or all is new, or it is said that not all could be undone; and the next publish heals."""
    ends = dict.fromkeys(("whole", "part", "done"), 0)
    for at in range(1, 200):
        home = tmp_path / str(at)
        site, results = home / "site", home / "results"
        home.mkdir()
        if not fresh:
            publish(OLD, site, {results: OLD_TABLES})
        before = lying(home), folders(home)
        said = ""
        with pytest.MonkeyPatch.context() as patch:
            asked = failing(patch, at, number, only, lasting)
            try:
                publish(NEW, site, {results: NEW_TABLES})
            except CannotPublish as problem:
                said = str(problem)
        after = lying(home), folders(home)
        if said.endswith(("Nothing was written.", "All lies as it did before.")):
            ends["whole"] += 1
            if lasting and number == errno.EIO:  # then even tidying up is refused
                files = {path: what for path, what in after[0].items() if ".sitegen-" not in path or path in before[0]}
                after = (files, {path for path in after[1] if STAGING not in path} & before[1])
            assert after == before, (at, said)
        elif said:
            ends["part"] += 1
            assert "Not all that was begun could be undone" in said
            assert lasting
            assert number == errno.EIO  # a full disk can always be undone
        else:
            ends["done"] += 1
        publish(NEW, site, {results: NEW_TABLES})
        publish(NEW, site, {results: NEW_TABLES})
        assert {path: what for path, what in lying(site).items() if path != MANIFEST} == NEW
        assert lying(results) == NEW_TABLES, at
        if len(asked) < at:
            break
    else:
        raise AssertionError("it never came to an end")
    assert ends["whole"] > (0 if lasting and number == errno.EIO else 20), ends
    assert (ends["part"] > 0) == (lasting and number == errno.EIO)


def full(folder: Path, size: int) -> bool:
    """Mount a small disk there; False where that is not allowed."""
    folder.mkdir()
    command = ["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", str(folder)]
    return os.name == "posix" and subprocess.run(command, capture_output=True, check=False).returncode == 0


def test_a_disk_that_is_really_full(tmp_path: Path) -> None:
    disk = tmp_path / "disk"
    if not full(disk, 400_000):
        pytest.skip("only root may mount a small disk")
    try:
        large = {f"page-{n}.html": os.urandom(9_000) for n in range(60)} | {"index.html": b"home"}
        with pytest.raises(CannotPublish, match=r"the disk is full.*Nothing was written"):
            publish(large, disk / "site", {disk / "results": NEW_TABLES})
        assert lying(disk) == {}
        assert folders(disk) == set()
        few = dict(list(large.items())[:10])
        publish(few, disk / "site", {disk / "results": OLD_TABLES})
        before = lying(disk)
        with pytest.raises(CannotPublish, match=r"the disk is full.*Nothing was written"):
            publish(large, disk / "site", {disk / "results": NEW_TABLES})
        assert lying(disk) == before
    finally:
        subprocess.run(["umount", str(disk)], check=True)


# ---- rights ---------------------------------------------------------------------------------------------------------

OTHER = 65534  # the user nobody
as_other = pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() != 0, reason="only root can be somebody else")


def by_other(said: str) -> str:
    """What Python says when somebody without rights runs it."""
    drop = f"import os; os.setgroups([]); os.setgid({OTHER}); os.setuid({OTHER})"
    code = f"import fcntl\nfrom pathlib import Path\nfrom sitegen.publish import publish, CannotPublish\n{drop}\n{said}"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    return done.stdout + done.stderr


@as_other
def test_without_the_right_to_write_nothing_changes_and_it_is_said(tmp_path: Path) -> None:
    for each in (*tmp_path.parents, tmp_path):
        if each.stat().st_uid == 0 and each.name.startswith(("pytest-", "popen-", "test_")):
            each.chmod(0o755)
    site, results, own = tmp_path / "site", tmp_path / "results", tmp_path / "own"
    publish(OLD, site, {results: OLD_TABLES})
    own.mkdir()
    os.chown(own, OTHER, OTHER)
    before = lying(tmp_path)

    def ask(to: Path, table: bytes) -> str:
        beside = f"{{Path({str(results)!r}): {dict.fromkeys(OLD_TABLES, table)!r}}}"
        tried = f"print(len(publish({NEW!r}, Path({str(to)!r}), {beside}).written))"
        return by_other(f"try: {tried}\nexcept CannotPublish as said: print(said)")

    for to in (site, own / "site"):
        said = ask(to, b"new")
        assert "may not be written" in said
        assert said.endswith("Nothing was written.\n")
    assert lying(tmp_path) == before
    # results that are as they should be need no right to write, so that a site can be made of what may only be read
    assert ask(own / "site", b"old") == "3\n"


@as_other
def test_a_page_that_may_not_be_read_is_told(tmp_path: Path) -> None:
    site = tmp_path / "site"
    for each in (*tmp_path.parents, tmp_path):
        if each.stat().st_uid == 0 and each.name.startswith(("pytest-", "popen-", "test_")):
            each.chmod(0o755)
    publish(OLD, site)
    for each in (site, *site.rglob("*")):
        os.chown(each, OTHER, OTHER)
    os.chown(site / "index.html", 0, 0)
    (site / "index.html").chmod(0)
    said = by_other(f"try: publish({NEW!r}, Path({str(site)!r}))\nexcept CannotPublish as said: print(said)")
    assert "index.html is in the way: it may not be read" in said
    assert "nothing was written" in said


# ---- several at once ------------------------------------------------------------------------------------------------


def test_many_publishers_of_one_site_and_its_results(tmp_path: Path) -> None:
    """Each waits for its turn: no false message, and at the end one state, whole."""
    states = [({**NEW, "index.html": b"home %d" % n}, dict.fromkeys(OLD_TABLES, b"%d" % n)) for n in range(8)]
    problems: list[Exception] = []

    def run(n: int) -> None:
        try:
            for _ in range(6):
                to = tmp_path / ("site" if n % 2 else "other")
                publish(states[n][0], to, {tmp_path / "a": states[n][1], tmp_path / "b": states[n][1]})
        except Exception as problem:
            problems.append(problem)

    threads = [threading.Thread(target=run, args=(n,)) for n in range(8)]
    for each in threads:
        each.start()
    for each in threads:
        each.join()
    assert problems == []
    for name in ("a", "b"):
        assert len(set(lying(tmp_path / name).values())) == 1
        assert set(lying(tmp_path / name)) == {"measures.csv", "verdicts.csv"}
    assert not [path for path in lying(tmp_path) if LOCK in path or STAGING in path or JOURNAL in path]


def test_which_is_ahead_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    site, results = tmp_path / "site", tmp_path / "results"
    publish(OLD, site, {results: OLD_TABLES})
    assert unfinished(results) == ""
    real = os.replace
    count = 0

    class Killed(BaseException):
        pass

    def killed(path: Path, target: Path, **handles: int | None) -> None:
        nonlocal count
        count += 1
        if count == 3:  # the tables are put, the site is not
            raise Killed
        real(path, target, **handles)

    monkeypatch.setattr(os, "replace", killed)
    monkeypatch.setattr(writing.Change, "close", lambda *_, **__: True)  # who is killed undoes nothing
    with pytest.raises(Killed):
        publish(NEW, site, {results: NEW_TABLES})
    monkeypatch.undo()
    assert unfinished(results) == "a publish was cut short: they are new, and the site in ../site is as it was"
    (results / "verdicts.csv").write_bytes(b"old")
    assert "they are new in part" in unfinished(results)
    (results / JOURNAL).write_text("[" * 100_000)
    assert "cannot be read any more" in unfinished(results)
    publish(NEW, site, {results: NEW_TABLES})
    assert unfinished(results) == ""
    assert lying(results) == NEW_TABLES


def test_the_results_of_a_program_are_no_place_for_a_site(tmp_path: Path) -> None:
    with pytest.raises(CannotPublish, match="holds results of a program"):
        publish(NEW, tmp_path / "results", {tmp_path / "results": NEW_TABLES})
    assert not (tmp_path / "results").exists()
    with Tree(tmp_path) as tree:
        assert tree.names() == []
