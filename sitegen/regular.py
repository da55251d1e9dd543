"""Regular files only, opened without following a link.

A named pipe never answers, a device never ends, and a link may lead to what somebody else must not have read for them.
Whoever opens a file that others may have put there opens it here.
"""

from __future__ import annotations

import errno
import hashlib
import io
import os
import stat
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from pathlib import Path

_FLAGS = (
    os.O_RDONLY
    | getattr(os, "O_NOFOLLOW", 0)
    | getattr(os, "O_NONBLOCK", 0)  # else the opening of a pipe waits for a writer
    | getattr(os, "O_NOCTTY", 0)
    | getattr(os, "O_BINARY", 0)
)


_noted: ContextVar[dict[Path, tuple[int, ...]] | None] = ContextVar("noted", default=None)


class NotRegularError(OSError):
    """A link, pipe, socket or device, where a plain file is needed; `strerror` says which."""

    def __init__(self, what: str, path: Path) -> None:
        super().__init__(errno.EINVAL, what, str(path))


def open_regular(path: Path, within: Path | None = None, *, at: int | None = None) -> io.BufferedReader:
    """Open a regular file to read its bytes.

    A link is refused; given `within`, links are followed as far as they end inside that folder. `at` is the handle of
    the folder that `path` is looked up from. Raises OSError: NotRegularError for what is neither a file nor a folder,
    IsADirectoryError for a folder.
    """
    if within is not None:
        real = Path(os.path.realpath(path))  # a loop of links stays a link, and is refused below
        if not real.is_relative_to(os.path.realpath(within)):
            raise NotRegularError("it is a link that leads out of the folder", path)
        path = real
    try:
        return _opened(path, at)
    except FileNotFoundError:
        raise
    except OSError:
        if at is None and (noted := _noted.get()) is not None:
            noted[path] = ()  # it may be read the next time, without another byte in it
        raise


def _opened(path: Path, at: int | None) -> io.BufferedReader:
    # before the opening: that of a device may already do something
    _regular(os.stat(path, dir_fd=at, follow_symlinks=False), path)
    try:
        handle = os.open(path, _FLAGS, dir_fd=at)
    except OSError as problem:
        if problem.errno in {errno.ELOOP, errno.ENXIO}:  # a link or a pipe that has just come there
            raise NotRegularError("it is not a plain file", path) from problem
        raise
    try:
        status = os.fstat(handle)
        _regular(status, path)
        if at is None and (noted := _noted.get()) is not None:  # what lies below a handle is no input
            noted.setdefault(path, state(status))
        return os.fdopen(handle, "rb")
    except BaseException:
        os.close(handle)
        raise


def _regular(status: os.stat_result, path: Path) -> None:
    mode = status.st_mode
    if stat.S_ISDIR(mode):
        raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), str(path))
    if stat.S_ISLNK(mode):
        raise NotRegularError("it is a link", path)
    if not stat.S_ISREG(mode):
        kind = "named pipe" if stat.S_ISFIFO(mode) else "socket" if stat.S_ISSOCK(mode) else "device"
        raise NotRegularError(f"it is a {kind}, not a plain file", path)


def read_regular(path: Path, within: Path | None = None) -> bytes:
    """All bytes of a regular file; see `open_regular`."""
    with open_regular(path, within) as file:
        return file.read()


def sha256_of(path: Path, within: Path | None = None) -> str:
    """Hash of a regular file, whatever its size; see `open_regular`."""
    with open_regular(path, within) as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def hash_or_none(path: Path, within: Path | None = None) -> str:
    """The same; "" where the file cannot be read."""
    try:
        return sha256_of(path, within)
    except OSError:
        return ""


def there(path: Path) -> bool:
    """Whether anything lies under a path, as far as this user may look: where he may not, nothing does."""
    return os.path.exists(path)  # noqa: PTH110 - the other one raises


# ---- what a task opened ---------------------------------------------------------------------------------------------


@contextmanager
def opened() -> Iterator[dict[Path, tuple[int, ...]]]:
    """Every file opened inside, and its state at its first opening: none of a file that could not be opened."""
    found: dict[Path, tuple[int, ...]] = {}
    token = _noted.set(found)
    try:
        yield found
    finally:
        _noted.reset(token)


def hashes_of(files: Iterable[Path], root: Path) -> dict[str, str]:
    """Hash of each file by its real path from a folder; "" where it cannot be read."""
    real = os.path.realpath(root)
    names = [Path(os.path.relpath(os.path.realpath(path), real)).as_posix() for path in files]
    return {name: hash_or_none(root / name) for name in names}


def unchanged(hashes: Mapping[str, str], root: Path) -> bool:
    """Whether every file still has the hash it had; see `hashes_of`."""
    return all(hash_or_none(root / name) == sha for name, sha in hashes.items())


def unmoved(path: Path, before: tuple[int, ...]) -> bool:
    """Whether a file is still what it was when it was opened, by its number, size and times."""
    try:
        return state(path.stat()) == before
    except OSError:
        return False


def state(status: os.stat_result) -> tuple[int, ...]:
    """What of a file changes with it, without looking into it."""
    return status.st_dev, status.st_ino, status.st_size, status.st_mtime_ns, status.st_ctime_ns
