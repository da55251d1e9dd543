"""Puts a mapping of paths and bytes onto a disk, safely. Knows nothing of what the bytes mean.

Readers may have the site open from a shared folder while it is published: each file is replaced in one step, what pages
load is written before the pages, and assets no page asks for any more stay for one publish longer. A manifest in the
folder says which files are ours; nothing else is ever changed or removed.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import json
import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath
from typing import Any

MANIFEST = ".sitegen-manifest.json"
LOCK = ".sitegen-lock"
_TEMPORARY = ".sitegen-new-"
_FORMAT = 1
_ASSETS = "assets/"  # files with a hash in their name


class CannotPublish(Exception):  # noqa: N818 - an answer for the user, not a fault
    """Why the site could not be written, as a plain sentence."""


@dataclass(frozen=True)
class Published:
    """What a publish did: paths from the root of the site."""

    written: tuple[str, ...]
    removed: tuple[str, ...]
    unchanged: int
    left: tuple[str, ...] = ()  # no longer part of the site, but changed by somebody else since: not removed


def publish(files: Mapping[str, bytes], to: Path) -> Published:
    """Make the folder `to` hold these files (path with forward slashes -> content).

    Raises CannotPublish where the folder holds files of others, where somebody else publishes into it just now, or
    where the disk does not let us; a site that was there before then still opens.
    """
    for path in files:
        _checked(path)
    with _plain_words(to):
        to.mkdir(parents=True, exist_ok=True)
        root = to.resolve()
        if not (root / MANIFEST).exists():
            _refuse_strangers(root)  # before the lock, which is a file too
        with _locked(root):
            return _publish(files, root)


def holds(to: Path, hashes: Mapping[str, str]) -> bool:
    """Whether the folder holds just these files (path -> sha256), all of them ours, with nothing left to tidy up."""
    try:
        manifest = _read_manifest(to)
        return (
            manifest == _Manifest(hashes, {})
            and not any(each.is_symlink() for each in (to / path for path in hashes))
            and all(_hash_of(to, path) == digest for path, digest in hashes.items())
        )
    except (CannotPublish, OSError):
        return False


def lying(to: Path) -> dict[str, bytes]:
    """The files of the site that lies there: those that are ours and were not changed since."""
    try:
        manifest = _read_manifest(to)
        known = {
            path: {manifest.files.get(path), manifest.writing.get(path)}
            for path in (*manifest.files, *manifest.writing)
        }
        return {path: (to / path).read_bytes() for path, own in known.items() if _hash_of(to, path) in own - {None}}
    except (CannotPublish, OSError):
        return {}


def put(files: Mapping[str, bytes], folder: Path) -> tuple[str, ...]:
    """Write these files into a folder that belongs to somebody else too: each in one step, only where it changed.

    Returns the names written. Raises CannotPublish where the disk does not let us.
    """
    with _plain_words(folder):
        folder.mkdir(parents=True, exist_ok=True)
        hashes = {name: hashlib.sha256(content).hexdigest() for name, content in files.items()}
        changed = tuple(name for name in sorted(files) if _hash_of(folder, name) != hashes[name])
        for name in changed:
            _replace(folder / name, files[name])
    return changed


def _publish(files: Mapping[str, bytes], root: Path) -> Published:
    stored = _read_manifest(root)
    hashes = {path: hashlib.sha256(content).hexdigest() for path, content in files.items()}
    paths = {*files, *stored.files, *stored.retiring, *stored.writing}
    on_disk = {path: _hash_of(root, path) for path in sorted(paths)}
    manifest = _settled(stored, on_disk)
    _refuse_foreign(root, files, manifest, on_disk, hashes)

    changed = [path for path in _order(files) if on_disk[path] != hashes[path]]
    stale = [path for path in manifest.files if path not in files]
    retiring = {path: manifest.files[path] for path in stale if path.startswith(_ASSETS)}
    leaving = {path: manifest.files[path] for path in stale if path not in retiring}
    leaving |= {path: digest for path, digest in manifest.retiring.items() if path not in files}

    after = _Manifest(hashes, retiring)
    if changed or leaving or stored != after:
        # What is about to be ours is on disk before the first file is: a publish cut short can be taken up again.
        writing = {path: hashes[path] for path in changed}
        _write_manifest(root, _Manifest(manifest.files, manifest.retiring, writing))
        for path in changed:
            _replace(root / path, files[path])
        removed, left = _remove(root, leaving, on_disk)
        _write_manifest(root, after)
    else:
        removed, left = [], []
    return Published(tuple(changed), tuple(removed), len(files) - len(changed), tuple(left))


def _order(files: Mapping[str, bytes]) -> list[str]:
    """What pages load comes before the pages; the deepest pages come before those that lead to them."""
    return sorted(files, key=lambda path: (not path.startswith(_ASSETS), -path.count("/"), path))


def _checked(path: str) -> None:
    pure = PurePosixPath(path)
    if pure.is_absolute() or not pure.parts or ".." in pure.parts or "\\" in path or path != pure.as_posix():
        raise ValueError(f"{path!r} is no path inside a site")
    if pure.parts[0] in {MANIFEST, LOCK}:
        raise ValueError(f"{path!r} is kept for the publisher")


# ---- whose files ----------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Manifest:
    files: Mapping[str, str]  # path -> sha256 as last written
    retiring: Mapping[str, str]  # assets kept one publish longer
    writing: Mapping[str, str] = field(default_factory=dict)  # sha256 of what a publish set out to write
    known: bool = True


def _read_manifest(root: Path) -> _Manifest:
    path = root / MANIFEST
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        return _Manifest({}, {}, known=False)
    try:
        stored: Any = json.loads(text)
        if stored["format"] != _FORMAT:
            raise CannotPublish(
                f"{root} was published by another version of sitegen (manifest format {stored['format']}, this one "
                f"writes {_FORMAT}). Publish into a new folder."
            )
        files, retiring, writing = dict(stored["files"]), dict(stored["retiring"]), dict(stored["writing"])
        for each in (*files, *retiring, *writing):
            _checked(each)
    except (ValueError, KeyError, TypeError) as cause:
        raise CannotPublish(f"{path} cannot be read as a manifest. Publish into a new folder.") from cause
    return _Manifest(files, retiring, writing)


def _settled(stored: _Manifest, on_disk: Mapping[str, str | None]) -> _Manifest:
    """The manifest as it is after a publish that may have been cut short: each file is the old one or the new one."""
    written = {path: digest for path, digest in stored.writing.items() if on_disk[path] == digest}
    return _Manifest({**stored.files, **written}, stored.retiring, known=stored.known)


def _write_manifest(root: Path, manifest: _Manifest) -> None:
    stored = {
        "format": _FORMAT,
        "files": dict(manifest.files),
        "retiring": dict(manifest.retiring),
        "writing": dict(manifest.writing),
    }
    _replace(root / MANIFEST, (json.dumps(stored, indent=0, sort_keys=True) + "\n").encode())


def _refuse_strangers(root: Path) -> None:
    others = sorted(each.name for each in root.iterdir() if each.name != LOCK and not each.name.startswith(_TEMPORARY))
    if others:
        raise CannotPublish(
            f"{root} is not empty and was not written by sitegen (it holds {others[0]}). Name an empty or a new folder."
        )


def _refuse_foreign(
    root: Path,
    files: Mapping[str, bytes],
    manifest: _Manifest,
    on_disk: Mapping[str, str | None],
    hashes: Mapping[str, str],
) -> None:
    if not manifest.known:
        _refuse_strangers(root)
    for path in sorted(files):
        for parent in PurePosixPath(path).parents:
            if (root / parent).is_symlink() and parent.parts:
                raise CannotPublish(f"{root / parent} is a link to somewhere else. Nothing was written.")
        target = root / path
        ours = path in manifest.files or path in manifest.retiring
        if target.is_symlink() or target.is_dir() or (on_disk[path] not in {None, hashes[path]} and not ours):
            raise CannotPublish(f"{target} is there and was not written by sitegen. Move it away; nothing was written.")


def _hash_of(root: Path, path: str) -> str | None:
    """sha256 of a file on disk; None where there is none."""
    target = root / path
    try:
        return hashlib.sha256(target.read_bytes()).hexdigest()
    except (FileNotFoundError, IsADirectoryError):
        return None
    except NotADirectoryError as cause:
        raise CannotPublish(f"A file stands where {target.parent} has to be a folder. Nothing was written.") from cause


# ---- writing and removing -------------------------------------------------------------------------------------------


def _replace(path: Path, content: bytes) -> None:
    """The new content in one step: a reader sees the old file or the new one, never half of one."""
    path.parent.mkdir(parents=True, exist_ok=True)
    temporary = path.with_name(f"{_TEMPORARY}{path.name}")
    try:
        with temporary.open("wb") as file:  # not tempfile: others have to be able to read it
            file.write(content)
        temporary.replace(path)
    except OSError:
        with contextlib.suppress(OSError):
            temporary.unlink()
        raise


def _remove(root: Path, leaving: Mapping[str, str], on_disk: Mapping[str, str | None]) -> tuple[list[str], list[str]]:
    removed, left = [], []
    for path, digest in sorted(leaving.items()):
        if on_disk[path] is None:
            continue
        if on_disk[path] != digest:
            left.append(path)
            continue
        (root / path).unlink(missing_ok=True)
        removed.append(path)
        for parent in PurePosixPath(path).parents:
            if not parent.parts:
                break
            try:
                (root / parent).rmdir()
            except OSError:  # not empty
                break
    return removed, left


# ---- one at a time --------------------------------------------------------------------------------------------------


@contextlib.contextmanager
def _locked(root: Path) -> Iterator[None]:
    """Hold the folder against a second publisher. The system lets go when the process ends, however it ends."""
    with (root / LOCK).open("a+b") as file:
        if not _try_lock(file.fileno()):
            raise CannotPublish(f"Somebody else is publishing into {root} just now. Try again when they are done.")
        try:
            yield
        finally:
            _unlock(file.fileno())


def _try_lock(handle: int) -> bool:
    try:
        if os.name == "nt":
            import msvcrt

            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined,unused-ignore]
        else:
            import fcntl

            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as problem:
        # Some shared folders know no locks: then the replacing in one step has to do.
        return problem.errno in {errno.ENOLCK, errno.ENOSYS, errno.EOPNOTSUPP}
    return True


def _unlock(handle: int) -> None:
    with contextlib.suppress(OSError):
        if os.name == "nt":
            import msvcrt

            msvcrt.locking(handle, msvcrt.LK_UNLCK, 1)  # type: ignore[attr-defined,unused-ignore]
        else:
            import fcntl

            fcntl.flock(handle, fcntl.LOCK_UN)


# ---- what the disk says, in plain words -----------------------------------------------------------------------------


@contextlib.contextmanager
def _plain_words(to: Path) -> Iterator[None]:
    try:
        yield
    except OSError as problem:
        place = problem.filename or to
        if problem.errno in {errno.EACCES, errno.EPERM, errno.EROFS}:
            text = f"{place} may not be written. Ask for the right to write there, or name another folder."
        elif problem.errno in {errno.ENOSPC, errno.EDQUOT}:
            text = f"The disk of {to} is full. Make room and publish again; the pages already there still open."
        elif problem.errno in {errno.ENOTDIR, errno.EEXIST}:
            text = f"{place} is a file, where a folder is needed. Name another folder."
        elif problem.errno in {errno.ENOENT, errno.ESTALE, errno.ENODEV, errno.EIO}:
            text = f"{to} went away while it was written. Connect it again and publish once more."
        elif problem.errno == errno.ENAMETOOLONG:
            text = f"The path {place} is too long for this disk. Name a folder with a shorter path."
        else:
            text = f"{place} could not be written: {problem.strerror or problem}."
        raise CannotPublish(text) from problem
