"""Files of several folders changed together, on a disk that others can write to as well.

All bytes are on the disk, in folders of our own beside their targets, before the first file is put in its place. Each
is put there in one step, so that a reader sees the old file or the new one, and what fails on the way is undone. Every
name is looked up from the folder that holds it, opened before: no link is followed, whenever it is put there. Where
nothing lay, nothing that has come meanwhile is written over.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import secrets
import stat
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from sitegen.regular import NotRegularError, open_regular

LOCK = ".sitegen-lock"
STAGING = ".sitegen-staging-"
PATIENCE = 60.0  # s to wait for who writes into the same folder
_LOOK = 0.1  # s between two tries
_HANDLES = os.open in os.supports_dir_fd  # else names are looked up by path, each folder on the way held against links
_FOLDER = os.O_RDONLY | getattr(os, "O_DIRECTORY", 0) | getattr(os, "O_NOFOLLOW", 0)
_NEW = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_BINARY", 0)
_NO_LINKS = {errno.EPERM, errno.EOPNOTSUPP, errno.ENOSYS, errno.EMLINK}
NOTHING = "Nothing was written."
_UNDONE = "All lies as it did before."
_IN_PART = "Not all that was begun could be undone, so that some files may be new. Try again to have all of them new."


class CannotPublish(Exception):  # noqa: N818 - an answer for the user, not a fault
    """Why nothing, or not all, could be written, as plain sentences."""


# ---- a folder and what lies below it --------------------------------------------------------------------------------


class Tree:
    """A folder and what lies below it; paths have forward slashes and are taken from it.

    All methods raise OSError with the whole path: NotRegularError where a link, or no plain file, stands in the way.
    """

    def __init__(self, root: Path, make: bool = False) -> None:
        self.root = root
        self.made: list[Path] = []  # folders, the outermost first
        self._last: tuple[str, int] | None = None  # many files of one folder follow each other
        try:
            for each in reversed([root, *root.parents] if make else []):
                if not os.path.lexists(each):
                    with contextlib.suppress(FileExistsError):
                        each.mkdir()
                        self.made.append(each)
                elif not each.is_dir() and not each.is_symlink():
                    raise NotADirectoryError(errno.ENOTDIR, os.strerror(errno.ENOTDIR), str(each))
            if root.is_symlink():
                raise NotRegularError(f"it is a link to {root.readlink()}", root)
            self._handle = os.open(root, _FOLDER) if _HANDLES else None
        except OSError:
            with contextlib.suppress(OSError):
                self.unmake()
            raise

    def close(self) -> None:
        """Let go of the folder."""
        for each in ([self._last[1]] if self._last else []) + ([self._handle] if self._handle is not None else []):
            os.close(each)
        self._last = self._handle = None

    def unmake(self) -> None:
        """Take away the folders that were made, as far as nobody else put anything into them."""
        while self.made:
            try:
                self.made.pop().rmdir()
            except OSError as problem:
                if problem.errno not in {errno.ENOTEMPTY, errno.EEXIST, errno.ENOENT}:
                    raise

    def __enter__(self) -> Tree:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @contextlib.contextmanager
    def at(self, path: str, make: bool = False) -> Iterator[tuple[Path, int | None]]:
        """The name of a file for a call of the system, with the handle it is looked up from."""
        folder, _, name = path.rpartition("/")
        try:
            handle = self._open(folder, make) if folder else self._handle
            yield (Path(name) if handle is not None else self.root / path), handle
        except OSError as problem:
            if not str(problem.filename).startswith(str(self.root)):
                problem.filename = str(self.root / path)
            raise

    def _open(self, folder: str, make: bool) -> int | None:
        if self._last is not None and self._last[0] == folder:
            return self._last[1]
        handle = None if self._handle is None else os.dup(self._handle)
        here = self.root
        try:
            for part in folder.split("/"):
                here /= part
                name = part if handle is not None else str(here)
                if make:
                    with contextlib.suppress(FileExistsError):
                        os.mkdir(name, dir_fd=handle)
                        self.made.append(here)
                _be_folder(os.stat(name, dir_fd=handle, follow_symlinks=False).st_mode, here)
                if handle is not None:
                    handle, before = os.open(name, _FOLDER, dir_fd=handle), handle
                    os.close(before)
        except BaseException:
            if handle is not None:
                os.close(handle)
            raise
        if handle is not None:
            if self._last is not None:
                os.close(self._last[1])
            self._last = (folder, handle)
        return handle

    def names(self, folder: str = "") -> list[str]:
        """Names in a folder, sorted."""
        handle = self._open(folder, make=False) if folder else self._handle
        return sorted(os.listdir(handle if handle is not None else self.root / folder))  # noqa: PTH208 - a handle

    def status(self, path: str) -> os.stat_result:
        """Of a file itself, if it is a link of the link."""
        with self.at(path) as (name, handle):
            return os.stat(name, dir_fd=handle, follow_symlinks=False)

    def read(self, path: str) -> bytes:
        """All of a plain file."""
        with self.at(path) as (name, handle), open_regular(name, at=handle) as file:
            return file.read()

    def there(self, path: str) -> bool:
        """Whether anything lies under a path."""
        try:
            self.status(path)
        except FileNotFoundError:
            return False
        return True

    def sha256(self, path: str) -> str | None:
        """Hash of a plain file; None where nothing lies."""
        try:
            with self.at(path) as (name, handle), open_regular(name, at=handle) as file:
                return hashlib.file_digest(file, "sha256").hexdigest()
        except FileNotFoundError:
            return None

    def create(self, path: str, content: bytes, lasting: bool = True) -> None:
        """A new file, `lasting` on the disk itself. Raises FileExistsError where anything lies, a link too."""
        with self.at(path) as (name, handle):
            file = os.open(name, _NEW, 0o666, dir_fd=handle)  # others have to be able to read it
            try:
                view = memoryview(content)
                while view:
                    view = view[os.write(file, view) :]
                if lasting:
                    os.fsync(file)
            finally:
                os.close(file)

    def move(self, path: str, to: str) -> None:
        """Put a file in the place of another, in one step."""
        with self._both(path, to) as (name, own, there, folder):
            os.replace(name, there, src_dir_fd=own, dst_dir_fd=folder)

    def link(self, path: str, to: str) -> None:
        """A second name for a file. Raises FileExistsError where anything lies."""
        with self._both(path, to) as (name, own, there, folder):
            os.link(name, there, src_dir_fd=own, dst_dir_fd=folder, follow_symlinks=False)

    @contextlib.contextmanager
    def _both(self, path: str, to: str) -> Iterator[tuple[Path, int | None, Path, int | None]]:
        """Two names, each with the handle of its folder: that of the first is kept while the second is looked up."""
        with self.at(path) as (name, handle):
            own = None if handle is None else os.dup(handle)
        try:
            with self.at(to) as (there, folder):
                yield name, own, there, folder
        finally:
            if own is not None:
                os.close(own)

    def unlink(self, path: str) -> None:
        """Take a file away."""
        with self.at(path) as (name, handle):
            os.unlink(name, dir_fd=handle)

    def rmdir(self, path: str) -> None:
        """Take an empty folder away."""
        with self.at(path) as (name, handle):
            if self._last is not None and (self._last[0] + "/").startswith(path + "/"):
                os.close(self._last[1])
                self._last = None
            os.rmdir(name, dir_fd=handle)


def _be_folder(mode: int, place: Path) -> None:
    if stat.S_ISLNK(mode):
        raise NotRegularError("it is a link to somewhere else", place)
    if not stat.S_ISDIR(mode):
        raise NotADirectoryError(errno.ENOTDIR, os.strerror(errno.ENOTDIR), str(place))


# ---- one at a time --------------------------------------------------------------------------------------------------


@contextlib.contextmanager
def locked(tree: Tree, tell: Callable[[str], None], patience: float) -> Iterator[None]:
    """Hold a folder against a second writer. The system lets go when the process ends, however it ends.

    Raises CannotPublish where somebody else holds it for longer than `patience` [s].
    """
    until = time.monotonic() + patience
    while (file := _hold(tree)) is None:
        if time.monotonic() > until:
            waited = f" for {patience:.0f} s already" if patience else ""
            raise CannotPublish(
                f"Somebody else is publishing into {tree.root}{waited}. Try again when they are done. {NOTHING}"
            )
        tell(f"Waiting: somebody else is publishing into {tree.root}")
        time.sleep(_LOOK)
    try:
        yield
    finally:
        with contextlib.suppress(OSError):  # who waits for it looks whether it is still the one that lies there
            tree.unlink(LOCK)
        os.close(file)


def held(tree: Tree) -> bool:
    """Whether somebody writes into a folder just now; nothing is written to find out."""
    if os.name == "nt":
        return False
    import fcntl

    try:
        with tree.at(LOCK) as (name, handle), open_regular(name, at=handle) as file:
            fcntl.flock(file.fileno(), fcntl.LOCK_SH | fcntl.LOCK_NB)
    except BlockingIOError:
        return True
    except OSError:
        return False
    return False


def _hold(tree: Tree) -> int | None:
    """The handle of the lock; None where somebody else has it."""
    flags = os.O_RDWR | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)
    with tree.at(LOCK) as (name, handle):
        try:
            file = os.open(name, flags, 0o666, dir_fd=handle)
        except OSError as problem:
            if problem.errno in {errno.ELOOP, errno.ENXIO, errno.EISDIR}:
                raise NotRegularError("it is not a plain file", tree.root / LOCK) from problem
            raise
        if not stat.S_ISREG(os.fstat(file).st_mode):
            os.close(file)
            raise NotRegularError("it is not a plain file", tree.root / LOCK)
        with contextlib.suppress(FileNotFoundError):  # its holder took it away
            own = os.fstat(file)
            if _try_lock(file) and os.path.samestat(own, os.stat(name, dir_fd=handle, follow_symlinks=False)):
                return file
        os.close(file)
        return None


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


# ---- all or nothing -------------------------------------------------------------------------------------------------


class Change:
    """Files to be put and taken away, in the order in which it is asked for them; see `change`."""

    def __init__(self, tell: Callable[[str], None], patience: float) -> None:
        self._tell, self._patience = tell, patience
        self._stack = contextlib.ExitStack()
        self._staging: dict[Tree, str] = {}
        self._steps: list[tuple[Tree, str, str, bool]] = []  # folder, path, staged under, whether nothing lay there
        self._undo: list[tuple[Tree, str, str]] = []  # folder, path, where what lay there is now; "" nothing did
        self._taken: list[tuple[Tree, str]] = []
        self._trees: list[Tree] = []

    @property
    def begun(self) -> bool:
        """Whether a file has been put in its place."""
        return bool(self._undo)

    def open(self, folder: Path, make: bool = False) -> Tree:
        """A folder to be changed, made where it is not there."""
        tree = Tree(folder, make)
        self._trees.append(tree)
        self._stack.callback(tree.close)
        return tree

    def lock(self, tree: Tree) -> None:
        """Keep others out of a folder until the end, and tidy up what a killed writer left. Raises CannotPublish."""
        self._stack.enter_context(locked(tree, self._tell, self._patience))
        for name in tree.names():
            if is_staging(tree, name):
                with contextlib.suppress(OSError):
                    _clear(tree, name)

    def put(self, tree: Tree, path: str, content: bytes, new: bool) -> None:
        """Have these bytes stand under a path; `new`: nothing lies there now."""
        staged = f"{self._own(tree)}/{len(self._steps)}"
        tree.create(staged, content)
        self._steps.append((tree, path, staged, new))

    def take(self, tree: Tree, path: str) -> None:
        """Have a file that lies there taken away, and the folders that are empty without it."""
        self._own(tree)
        self._steps.append((tree, path, "", False))

    def _own(self, tree: Tree) -> str:
        """Our own folder beside what is changed."""
        if tree not in self._staging:
            name = f"{STAGING}{secrets.token_hex(8)}"
            with tree.at(name) as (own, handle):
                os.mkdir(own, 0o700, dir_fd=handle)
            self._staging[tree] = name
        return self._staging[tree]

    def carry_out(self) -> None:
        """Put everything in its place; all bytes are on the disk."""
        for number, (tree, path, staged, new) in enumerate(self._steps):
            before = "" if new else f"{self._staging[tree]}/{number}-before"
            with tree.at(path, make=True):  # its folder, not before what says that it is ours
                pass
            if not staged:
                tree.move(path, before)
                self._taken.append((tree, path))
            elif new:
                _put_new(tree, staged, path)
            else:
                _keep(tree, path, before)
                tree.move(staged, path)
            self._undo.append((tree, path, before))

    def close(self, done: bool) -> bool:
        """Tidy up, having undone what is not `done`; returns whether all lies as it should."""
        undone = [_tried(_undone, *each) for each in ([] if done else reversed(self._undo))]
        undone += [_tried(_clear, tree, name) for tree, name in self._staging.items()]
        for tree, path in self._taken if done else []:
            with contextlib.suppress(OSError):  # not empty
                while path := path.rpartition("/")[0]:
                    tree.rmdir(path)
        self._stack.close()
        undone += [_tried(tree.unmake) for tree in ([] if done else reversed(self._trees))]
        return all(undone)


def _tried(call: Callable[..., None], *given: object) -> bool:
    try:
        call(*given)
    except OSError:
        return False
    return True


def _undone(tree: Tree, path: str, before: str) -> None:
    if before:
        tree.move(before, path)
    else:
        tree.unlink(path)


@contextlib.contextmanager
def change(tell: Callable[[str], None], patience: float) -> Iterator[Change]:
    """Collect what is to be changed; at the end all of it is carried out, or nothing is.

    `tell` hears of waiting, for at most `patience` [s]. Raises CannotPublish, which says what lies there then.
    """
    made = Change(tell, patience)
    try:
        yield made
        made.carry_out()
    except BaseException as problem:
        begun = made.begun
        undone = made.close(done=False)
        if not isinstance(problem, OSError):
            raise
        end = _IN_PART if not undone else _UNDONE if begun else NOTHING
        raise CannotPublish(f"{reason(problem)} {end}") from problem
    made.close(done=True)


def is_staging(tree: Tree, name: str) -> bool:
    """Whether a name at the root is a folder of ours for files on their way, left by a writer that was killed."""
    if not name.startswith(STAGING):
        return False
    status = tree.status(name)
    own = not hasattr(os, "geteuid") or status.st_uid == os.geteuid()
    return stat.S_ISDIR(status.st_mode) and own


def _clear(tree: Tree, staging: str) -> None:
    for name in tree.names(staging):
        tree.unlink(f"{staging}/{name}")
    tree.rmdir(staging)


def _keep(tree: Tree, path: str, to: str) -> None:
    """What lies under a path stays under a second one too."""
    try:
        tree.link(path, to)
    except (OSError, NotImplementedError) as problem:
        if isinstance(problem, OSError) and problem.errno not in _NO_LINKS:
            raise
        tree.create(to, tree.read(path))


def _put_new(tree: Tree, staged: str, path: str) -> None:
    """Raises FileExistsError where anything lies."""
    try:
        tree.link(staged, path)
    except (OSError, NotImplementedError) as problem:
        if isinstance(problem, OSError) and problem.errno not in _NO_LINKS:
            raise
        if tree.there(path):  # as close as such a disk lets us come
            raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(tree.root / path)) from problem
        tree.move(staged, path)


def reason(problem: OSError) -> str:
    """What the disk says, in plain words."""
    place = problem.filename
    if isinstance(problem, NotRegularError):
        return f"{place}: {problem.strerror}. Remove it, or name another folder."
    if problem.errno in {errno.EACCES, errno.EPERM, errno.EROFS}:
        return f"{place} may not be written. Ask for the right to write there, or name another folder."
    if problem.errno in {errno.ENOSPC, errno.EDQUOT}:
        return f"{place} could not be written: the disk is full. Make room and try again."
    if problem.errno in {errno.ENOTDIR, errno.EISDIR}:
        kind = ("file", "folder") if problem.errno == errno.ENOTDIR else ("folder", "file")
        return f"{place} is a {kind[0]}, where a {kind[1]} is needed. Name another folder."
    if problem.errno == errno.EEXIST:
        return f"{place} came there while it was written. Move it away."
    if problem.errno in {errno.ENOENT, errno.ESTALE, errno.ENODEV, errno.EIO}:
        return f"{place} went away while it was written. Connect it again and try once more."
    if problem.errno == errno.ENAMETOOLONG:
        return f"The path {place} is too long for this disk. Name a folder with a shorter path."
    return f"{place} could not be written: {problem.strerror or problem}."
