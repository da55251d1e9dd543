"""Puts a mapping of paths and bytes onto a disk, safely. Knows nothing of what the bytes mean.

Readers may have the site open from a shared folder while it is published: each file is replaced in one step, what pages
load is written before the pages, and assets no page asks for any more stay for one publish longer. A manifest in the
folder says which files are ours; nothing else is ever changed or removed.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath
from typing import Any

from sitegen.regular import NotRegularError
from sitegen.writing import LOCK, NOTHING, PATIENCE, STAGING, Change, Tree, change, held, is_staging
from sitegen.writing import CannotPublish as CannotPublish

MANIFEST = ".sitegen-manifest.json"
JOURNAL = ".sitegen-unfinished.json"
_FORMAT = 1
_ASSETS = "assets/"  # files with a hash in their name
_DAMAGED = "the list of its files was damaged and is made anew: pages that left it since may still lie there"
_NO_FILE = "no file: "  # what is said, in place of a hash, of what can have none

Tell = Callable[[str], None]


def _untold(text: str) -> None:
    """Nobody waits at a terminal."""


@dataclass(frozen=True)
class Published:
    """What a publish did: paths from the root of the site."""

    written: tuple[str, ...]
    removed: tuple[str, ...]
    unchanged: int
    left: tuple[str, ...] = ()  # no longer part of the site, but changed by somebody else since: not removed
    told: str = ""  # what the user has to know of the folder, as a clause


def publish(
    files: Mapping[str, bytes],
    to: Path,
    beside: Mapping[Path, Mapping[str, bytes]] | None = None,
    tell: Tell = _untold,
    patience: float = PATIENCE,
) -> Published:
    """Make the folder `to` hold these files (path with forward slashes -> content).

    `beside` are files of other folders that belong to it (folder -> name -> content) and are put first; either all of
    it is put or nothing. `tell` hears of waiting for another publisher, for at most `patience` [s].

    Raises CannotPublish where the folder holds files of others, where somebody else publishes into it just now, or
    where the disk does not let us; it says what lies there then.
    """
    for path in files:
        _checked(path)
    with change(tell, patience) as work:
        site = work.open(to, make=True)
        if not _read_manifest(site).known:
            _refuse_strangers(site)  # before the lock, which is a file too
        work.lock(site)
        others = _opened(work, site, beside or {})
        return _publish(work, site, files, others)


def _untidy(tree: Tree) -> bool:
    """Whether a publish is under way, or one that was killed left anything."""
    return any(name in {LOCK, JOURNAL} or name.startswith(STAGING) for name in tree.names())


def holds(to: Path, hashes: Mapping[str, str], beside: Mapping[str, str] | None = None) -> bool:
    """Whether the folder holds just these files (path -> sha256), all of them ours, with nothing left to tidy up.

    `beside` are paths of files put into other folders with their hashes.
    """
    try:
        with Tree(to) as site:
            return (
                _read_manifest(site) == _Manifest(hashes, {})
                and not _untidy(site)
                and all(site.sha256(path) == digest for path, digest in hashes.items())
                and all(_holds_beside(Path(path), digest) for path, digest in (beside or {}).items())
            )
    except (CannotPublish, OSError):
        return False


def lying(to: Path) -> dict[str, bytes]:
    """The files of the site that lies there: those that are ours and were not changed since."""
    try:
        with Tree(to) as site:
            stored = _read_manifest(site)
            on_disk = {path: _lies(site, path) for path in {**stored.files, **stored.writing}}
            ours = _settled(stored, on_disk).files
            return {path: site.read(path) for path, digest in ours.items() if on_disk[path] == digest}
    except (CannotPublish, OSError):
        return {}


def _holds_beside(path: Path, digest: str) -> bool:
    with Tree(path.parent) as tree:
        return tree.sha256(path.name) == digest and not _untidy(tree)


def put(
    files: Mapping[str, bytes], folder: Path, ours: Callable[[str, bytes], bool], patience: float = PATIENCE
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Write these files into a folder that belongs to somebody else too: all of them or nothing.

    `ours` is asked, with its content, whether a file that lies there with other content may be written over. Returns
    the paths written, and those left alone. Raises CannotPublish where the disk does not let us.
    """
    for path in files:
        _checked(path)
    written, left = [], []
    with change(_untold, patience) as work:
        tree = work.open(folder, make=True)
        work.lock(tree)
        for path, content in sorted(files.items()):
            digest = _lies(tree, path)
            if digest == hashlib.sha256(content).hexdigest():
                continue
            if digest is not None:
                _refuse_no_file(tree, path, digest)
            if digest is None or ours(path, tree.read(path)):
                work.put(tree, path, content, new=digest is None)
                written.append(path)
            else:
                left.append(path)
    return tuple(written), tuple(left)


def unfinished(folder: Path) -> str:
    """What a publish that was cut short left of the files `beside` in this folder and of their site, as a clause.

    "" where none was cut short.
    """
    try:
        tree = Tree(folder)
    except OSError:
        return ""  # not there, or told elsewhere
    with tree:
        if JOURNAL not in tree.names():
            return ""
        if held(tree):
            return "a publish is writing them just now"
        try:
            stored: Any = json.loads(tree.read(JOURNAL))
            before, after = dict(stored["before"]), dict(stored["after"])
            lies = {str(name): _lies(tree, _checked(name)) for name in after}
            own = "new" if lies == after else "as they were" if lies == before else "new in part"
            site = _state_of_site(folder / str(stored["site"]), str(stored["manifest"]))
        except (OSError, ValueError, KeyError, TypeError, RecursionError, AttributeError):
            return "a publish was cut short, and what it set out to do cannot be read any more"
    return f"a publish was cut short: they are {own}, and the site in {stored['site']} is {site}"


def _state_of_site(to: Path, manifest: str) -> str:
    try:
        with Tree(to) as site:
            if site.sha256(MANIFEST) == manifest:
                return "new"
            return "new in part" if _read_manifest(site).writing else "as it was"
    except (OSError, CannotPublish):
        return "not there"


def _opened(work: Change, site: Tree, beside: Mapping[Path, Mapping[str, bytes]]) -> dict[Tree, Mapping[str, bytes]]:
    """The other folders in which anything has to change, held; where nothing does, not even the right to is needed."""
    others = {}
    for folder, files in sorted(beside.items()):
        tree = work.open(folder, make=True)
        if os.path.samestat(tree.root.stat(), site.root.stat()):
            raise CannotPublish(f"{site.root} holds results of a program. Name another folder. {NOTHING}")
        if _untidy(tree) or any(_lies(tree, name) != _hash(content) for name, content in files.items()):
            work.lock(tree)
            others[tree] = files
    return others


def _publish(
    work: Change, site: Tree, files: Mapping[str, bytes], others: Mapping[Tree, Mapping[str, bytes]]
) -> Published:
    stored = _read_manifest(site)
    hashes = {path: _hash(content) for path, content in files.items()}
    paths = {*files, *stored.files, *stored.retiring, *stored.writing}
    on_disk = {path: _lies(site, path, needed=path in files) for path in sorted(paths)}
    manifest = _settled(stored, on_disk)
    _refuse_foreign(site, files, manifest, on_disk, hashes)

    changed = [path for path in _order(files) if on_disk[path] != hashes[path]]
    stale = [path for path in manifest.files if path not in files]
    retiring = {path: manifest.files[path] for path in stale if path.startswith(_ASSETS)}
    leaving = {path: manifest.files[path] for path in stale if path not in retiring}
    leaving |= {path: digest for path, digest in manifest.retiring.items() if path not in files}
    removed = [path for path in sorted(leaving) if on_disk[path] == leaving[path]]
    left = [path for path in sorted(leaving) if on_disk[path] not in {None, leaving[path]}]

    after = _Manifest(hashes, retiring)
    for tree, own in others.items():
        _put_beside(work, tree, own, site.root, _hash(_written(after)))
    if changed or leaving or stored != after:
        # What is about to be ours is on disk before the first file is: a publish cut short can be taken up again.
        writing = {path: hashes[path] for path in changed}
        first = _Manifest(manifest.files, manifest.retiring, writing)
        work.put(site, MANIFEST, _written(first), new=not site.there(MANIFEST))
        for path in changed:
            work.put(site, path, files[path], new=on_disk[path] is None)
        for path in removed:
            work.take(site, path)
        work.put(site, MANIFEST, _written(after), new=False)
    for tree in others:
        work.take(tree, JOURNAL)
    told = _DAMAGED if stored.damaged else ""
    return Published(tuple(changed), tuple(removed), len(files) - len(changed), tuple(left), told)


def _put_beside(work: Change, tree: Tree, files: Mapping[str, bytes], site: Path, manifest: str) -> None:
    """Files that belong to a site, with a note of what is under way, so that either can be told to be ahead."""
    before = {name: _lies(tree, name) for name in sorted(files)}
    after = {name: _hash(files[name]) for name in before}
    where = os.path.relpath(site.resolve(), tree.root.resolve()).replace(os.sep, "/")
    note = {"site": where, "manifest": manifest, "before": before, "after": after}
    work.put(tree, JOURNAL, (json.dumps(note, indent=1) + "\n").encode(), new=not tree.there(JOURNAL))
    for name, digest in before.items():
        if digest is not None:
            _refuse_no_file(tree, name, digest)
        if digest != after[name]:
            work.put(tree, name, files[name], new=digest is None)


def _hash(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def _order(files: Mapping[str, bytes]) -> list[str]:
    """What pages load comes before the pages; the deepest pages come before those that lead to them."""
    return sorted(files, key=lambda path: (not path.startswith(_ASSETS), -path.count("/"), path))


def _checked(path: str) -> str:
    pure = PurePosixPath(path)
    if pure.is_absolute() or not pure.parts or ".." in pure.parts or path != pure.as_posix():
        raise ValueError(f"{path!r} is no path inside a site")
    if "\\" in path or not path.isprintable():
        raise ValueError(f"{path!r} is no path inside a site")
    if pure.parts[0] in {MANIFEST, LOCK, JOURNAL} or pure.parts[0].startswith(STAGING):
        raise ValueError(f"{path!r} is kept for the publisher")
    return path


# ---- whose files ----------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Manifest:
    files: Mapping[str, str]  # path -> sha256 as last written
    retiring: Mapping[str, str]  # assets kept one publish longer
    writing: Mapping[str, str] = field(default_factory=dict)  # sha256 of what a publish set out to write
    known: bool = True
    damaged: bool = False  # it lies there, and does not say any more which files are ours


def _read_manifest(site: Tree) -> _Manifest:
    try:
        content = site.read(MANIFEST)
    except FileNotFoundError:
        return _Manifest({}, {}, known=False)
    except PermissionError as problem:
        where = site.root / MANIFEST
        raise CannotPublish(f"{where}, which says what in the folder is ours, may not be read. {NOTHING}") from problem
    try:
        stored: Any = json.loads(content)
        if stored["format"] != _FORMAT:
            raise CannotPublish(
                f"{site.root} was published by another version of sitegen (manifest format {stored['format']}, this "
                f"one writes {_FORMAT}). Publish into a new folder. {NOTHING}"
            )
        files, retiring, writing = dict(stored["files"]), dict(stored["retiring"]), dict(stored["writing"])
        for path, digest in (*files.items(), *retiring.items(), *writing.items()):
            if len(_checked(path)) > 1000 or len(digest) != 64:
                return _Manifest({}, {}, damaged=True)
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return _Manifest({}, {}, damaged=True)
    return _Manifest(files, retiring, writing)


def _settled(stored: _Manifest, on_disk: Mapping[str, str | None]) -> _Manifest:
    """The manifest as it is after a publish that may have been cut short: each file is the old one or the new one."""
    written = {path: digest for path, digest in stored.writing.items() if on_disk[path] == digest}
    return _Manifest({**stored.files, **written}, stored.retiring, known=stored.known, damaged=stored.damaged)


def _written(manifest: _Manifest) -> bytes:
    stored = {
        "format": _FORMAT,
        "files": dict(manifest.files),
        "retiring": dict(manifest.retiring),
        "writing": dict(manifest.writing),
    }
    return (json.dumps(stored, indent=0, sort_keys=True) + "\n").encode()


def _refuse_strangers(site: Tree) -> None:
    others = [each for each in site.names() if each != LOCK and not is_staging(site, each)]
    if others:
        raise CannotPublish(
            f"{site.root} is not empty and was not written by sitegen (it holds {others[0]}). Name an empty or a new "
            f"folder. {NOTHING}"
        )


def _refuse_foreign(
    site: Tree,
    files: Mapping[str, bytes],
    manifest: _Manifest,
    on_disk: Mapping[str, str | None],
    hashes: Mapping[str, str],
) -> None:
    if not manifest.known:
        _refuse_strangers(site)
    for path in sorted(files):
        digest = on_disk[path]
        if digest is None or digest == hashes[path]:
            continue
        _refuse_no_file(site, path, digest)
        # where the manifest is damaged the folder is still that of a site, and these are its paths
        if not (path in manifest.files or path in manifest.retiring or manifest.damaged):
            raise CannotPublish(
                f"{site.root / path} is there and was not written by sitegen. Move it away; nothing was written."
            )


def _refuse_no_file(tree: Tree, path: str, digest: str) -> None:
    if digest.startswith(_NO_FILE):
        what = digest.removeprefix(_NO_FILE)
        raise CannotPublish(f"{tree.root / path} is in the way: {what}. Move it away; nothing was written.")


def _lies(tree: Tree, path: str, needed: bool = False) -> str | None:
    """sha256 of a file on disk; None where there is none, and what else is there instead.

    Raises CannotPublish where it is `needed` and what should be its folder is none.
    """
    try:
        return tree.sha256(path)
    except NotADirectoryError as problem:
        if not needed:
            return None
        raise CannotPublish(
            f"A file stands where {problem.filename} has to be a folder. Move it away; nothing was written."
        ) from problem
    except NotRegularError as problem:
        if needed and problem.filename != str(tree.root / path):  # a folder on the way
            raise CannotPublish(f"{problem.filename} is a link to somewhere else. {NOTHING}") from problem
        return f"{_NO_FILE}{problem.strerror}"
    except IsADirectoryError:
        return f"{_NO_FILE}it is a folder"
    except PermissionError:
        return f"{_NO_FILE}it may not be read"
