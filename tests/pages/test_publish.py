"""Publishing: only what changed, in one step each, never anything of somebody else's."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest

from sitegen import publish as publishing
from sitegen import writing
from sitegen.publish import MANIFEST, CannotPublish, publish
from sitegen.writing import LOCK, Tree, held, locked

FILES = {"index.html": b"home", "assets/a-1.css": b"style", "p/b1/index.html": b"b1"}


def tree_of(root: Path) -> dict[str, bytes]:
    own = {MANIFEST, LOCK}
    return {
        p.relative_to(root).as_posix(): p.read_bytes() for p in root.rglob("*") if p.is_file() and p.name not in own
    }


def test_first_publish_and_unchanged_publish(tmp_path: Path) -> None:
    to = tmp_path / "new" / "site"
    assert set(publish(FILES, to).written) == set(FILES)
    assert tree_of(to) == FILES
    stamps = {p: p.stat().st_mtime_ns for p in to.rglob("*.html")}
    again = publish(FILES, to)
    assert again.written == ()
    assert again.unchanged == len(FILES)
    assert {p: p.stat().st_mtime_ns for p in to.rglob("*.html")} == stamps


def test_only_changed_files_are_replaced_and_assets_first(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    publish(FILES, tmp_path)
    order: list[str] = []
    real = writing.Change.put

    def watched(self: writing.Change, tree: writing.Tree, path: str, content: bytes, new: bool) -> None:
        order.append(path.rpartition("/")[2])
        real(self, tree, path, content, new)

    monkeypatch.setattr(writing.Change, "put", watched)
    publish({**FILES, "index.html": b"home 2", "assets/a-2.css": b"style 2", "p/b1/index.html": b"b1 new"}, tmp_path)
    assert [name for name in order if name != MANIFEST] == ["a-2.css", "index.html", "index.html"]
    assert order[0] == MANIFEST


def test_own_files_that_left_the_site_go_and_assets_stay_one_publish_longer(tmp_path: Path) -> None:
    publish(FILES, tmp_path)
    fewer = {"index.html": b"home", "assets/a-2.css": b"new"}
    done = publish(fewer, tmp_path)
    assert done.removed == ("p/b1/index.html",)
    assert not (tmp_path / "p").exists()
    assert (tmp_path / "assets/a-1.css").exists()
    assert publish(fewer, tmp_path).removed == ("assets/a-1.css",)
    assert tree_of(tmp_path) == fewer


def test_files_of_others_are_never_touched(tmp_path: Path) -> None:
    publish(FILES, tmp_path)
    (tmp_path / "notes.txt").write_text("mine")
    (tmp_path / "p/b1/mine.html").write_text("mine")
    publish({"index.html": b"home"}, tmp_path)
    assert (tmp_path / "notes.txt").read_text() == "mine"
    assert (tmp_path / "p/b1/mine.html").read_text() == "mine"
    with pytest.raises(CannotPublish, match="was not written by sitegen"):
        publish({**FILES, "notes.txt": b"ours"}, tmp_path)
    assert (tmp_path / "notes.txt").read_text() == "mine"
    assert set(tree_of(tmp_path)) == {"index.html", "notes.txt", "p/b1/mine.html", "assets/a-1.css"}


def test_a_page_somebody_changed_is_not_removed(tmp_path: Path) -> None:
    publish(FILES, tmp_path)
    (tmp_path / "p/b1/index.html").write_text("my remarks")
    done = publish({"index.html": b"home"}, tmp_path)
    assert done.left == ("p/b1/index.html",)
    assert (tmp_path / "p/b1/index.html").read_text() == "my remarks"


def test_a_folder_with_other_files_is_refused(tmp_path: Path) -> None:
    (tmp_path / "thesis.docx").write_text("mine")
    with pytest.raises(CannotPublish, match=r"not empty.*thesis\.docx"):
        publish(FILES, tmp_path)
    assert set(tree_of(tmp_path)) == {"thesis.docx"}


def test_a_link_out_of_the_folder_is_refused(tmp_path: Path) -> None:
    to, elsewhere = tmp_path / "site", tmp_path / "elsewhere"
    publish({"index.html": b"home"}, to)
    elsewhere.mkdir()
    (to / "p").symlink_to(elsewhere)
    with pytest.raises(CannotPublish, match="link to somewhere else"):
        publish(FILES, to)
    assert not list(elsewhere.iterdir())


def test_a_file_in_the_way_of_a_folder(tmp_path: Path) -> None:
    publish({"index.html": b"home"}, tmp_path)
    (tmp_path / "p").write_text("a file")
    with pytest.raises(CannotPublish):
        publish(FILES, tmp_path)
    (tmp_path / "file").write_text("")
    with pytest.raises(CannotPublish, match="is a file, where a folder is needed"):
        publish(FILES, tmp_path / "file")


def test_a_second_publisher_waits_and_says_so(tmp_path: Path) -> None:
    said: list[str] = []
    publish(FILES, tmp_path)
    with Tree(tmp_path) as tree, locked(tree, said.append, 0.0):
        with pytest.raises(CannotPublish, match=r"Somebody else is publishing.*for 1 s.*Nothing was written"):
            publish({"index.html": b"other"}, tmp_path, tell=said.append, patience=1.0)
        assert set(said) == {f"Waiting: somebody else is publishing into {tmp_path}"}
        assert held(tree)
    with Tree(tmp_path) as tree:
        assert not held(tree)
    assert tree_of(tmp_path) == FILES
    assert publish(FILES, tmp_path).written == ()


@pytest.mark.parametrize(
    ("number", "says"),
    [
        (errno.ENOSPC, "is full"),
        (errno.EROFS, "may not be written"),
        (errno.EACCES, "may not be written"),
        (errno.ENOENT, "went away"),
        (errno.EMFILE, "could not be written"),
    ],
)
def test_what_the_disk_says_is_said_plainly(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int, says: str
) -> None:
    publish(FILES, tmp_path)
    real = os.replace

    def failing(path: Path, target: Path, **handles: int | None) -> None:
        if Path(target).name == "index.html" and Path(path).name.isdigit():
            raise OSError(number, os.strerror(number), str(target))
        real(path, target, **handles)

    monkeypatch.setattr(os, "replace", failing)
    with pytest.raises(CannotPublish, match=rf"{says}.*All lies as it did before"):
        publish({**FILES, "index.html": b"home 2", "q/new.html": b"new"}, tmp_path)
    monkeypatch.undo()
    assert tree_of(tmp_path) == FILES
    assert sorted(each.name for each in tmp_path.iterdir()) == [MANIFEST, "assets", "index.html", "p"]
    changed = {**FILES, "index.html": b"home 3"}
    publish(changed, tmp_path)  # a publish cut short can be taken up again
    assert tree_of(tmp_path) == changed


def test_others_may_read_what_is_published(tmp_path: Path) -> None:
    before = os.umask(0o022)
    try:
        publish(FILES, tmp_path)
    finally:
        os.umask(before)
    assert (tmp_path / "index.html").stat().st_mode & 0o777 == 0o644


def test_another_format_of_the_manifest(tmp_path: Path) -> None:
    publish(FILES, tmp_path)
    (tmp_path / MANIFEST).write_text('{"format": 99, "files": {}, "retiring": {}}')
    with pytest.raises(CannotPublish, match="another version"):
        publish(FILES, tmp_path)


@pytest.mark.parametrize(
    "content",
    ["{", "[" * 100_000, "", '{"format": 1, "files": {"a\\u0000b": "%s"}, "retiring": {}, "writing": {}}' % ("0" * 64),
     '{"format": 1, "files": {"../x": "%s"}, "retiring": {}, "writing": {}}' % ("0" * 64), "\xff", "[1]",
     '{"format": 1, "files": {"a": 7}, "retiring": {}, "writing": {}}'],
)  # fmt: skip
def test_a_damaged_manifest_is_told_and_made_anew(tmp_path: Path, content: str) -> None:
    publish(FILES, tmp_path)
    (tmp_path / "notes.txt").write_text("mine")
    (tmp_path / MANIFEST).write_bytes(content.encode("latin-1"))
    assert not publishing.holds(tmp_path, {})
    new = {**FILES, "index.html": b"home 2"}
    done = publish(new, tmp_path)
    assert "damaged" in done.told
    assert tree_of(tmp_path) == {**new, "notes.txt": b"mine"}
    assert publish(new, tmp_path).told == ""
    with pytest.raises(CannotPublish, match="was not written by sitegen"):
        publish({**new, "notes.txt": b"ours"}, tmp_path)


@pytest.mark.parametrize(
    "path", ["../out.html", "/abs.html", "a\\b.html", "a//b.html", ".sitegen-lock", "a\0b", ".sitegen-staging-1"]
)
def test_paths_out_of_the_site_are_a_fault(tmp_path: Path, path: str) -> None:
    with pytest.raises(ValueError, match=r"no path inside|kept for"):
        publish({path: b""}, tmp_path)
