"""Results of work, each kept under a key of all it follows from, so that what has not changed is not worked out again.

A key is a hash of what a task was given: contents of files, the part of the program it may see, what other tasks gave,
and the code itself. Nothing is ever looked up by name or date, so that an old result cannot pass for a new one, and
whoever works with shelves and whoever works without gives the same bytes.

What is kept is JSON, never code. It lies in memory (while a preview runs) and in the user's cache folder, a file an
entry; all of it can be deleted at any time.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import platform
import sys
from collections.abc import Callable, Iterable, Mapping
from dataclasses import fields, is_dataclass
from functools import cache
from operator import attrgetter
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar, cast

from sitegen import places
from sitegen.cache import cache_folder, forgotten, keep, kept, ours
from sitegen.vocabulary import Comparison, Key, Value, Verdict

if TYPE_CHECKING:
    import pandas as pd

T = TypeVar("T")
MOST_BYTES = 1_000_000_000  # on the disk; the longest unused go first
_RUNS = 3  # that an entry in memory outlives its last use
# folders and files of ours that no reading and no step rests on
_LATER = ("pages", "sheets", "preview", "starting", "looking", "releases.py", "releases.yaml")


class Shelves:
    """Where results of work are kept; without a folder and a memory nothing is."""

    def __init__(self, folder: Path | None = None, memory: bool = False) -> None:
        self.folder = folder
        self._memory: dict[str, tuple[int, object]] | None = {} if memory else None
        self._run = 0
        self._alone: set[Path] = set()  # folders that are ours alone

    def __reduce__(self) -> tuple[type[Shelves], tuple[Path | None]]:
        return Shelves, (self.folder,)  # in another process: what lies on the disk

    @property
    def open(self) -> bool:
        """Whether anything is kept at all: else nobody need reckon a key."""
        return self.folder is not None or self._memory is not None

    def find(self, key: str, unpack: Callable[[bytes], T]) -> T | None:
        """What was kept under a key; None where nothing whole is."""
        if self._memory is not None and key in self._memory:
            found = self._memory[key][1]
            self._memory[key] = self._run, found
            return cast("T", found)
        content = kept(path, self._alone) if (path := self._path(key)) is not None else None
        if content is None or path is None:
            return None
        try:
            made = unpack(content)
        except (ValueError, KeyError, TypeError, IndexError, AttributeError, RecursionError):
            return None  # damaged, or planted: made anew
        with contextlib.suppress(OSError):
            os.utime(path)
        self._remember(key, made)
        return made

    def put(self, key: str, value: T, pack: Callable[[T], bytes]) -> None:
        """Keep what follows from the content of a key."""
        self._remember(key, value)
        if (path := self._path(key)) is not None:
            with contextlib.suppress(TypeError):  # what cannot be written is made anew each time
                keep(path, pack(value), alone=self._alone)

    def kept(self, key: str, make: Callable[[], T], pack: Callable[[T], bytes], unpack: Callable[[bytes], T]) -> T:
        """What was kept under a key, else what `make` gives, which is kept then."""
        found = self.find(key, unpack)
        if found is None:
            found = make()
            self.put(key, found, pack)
        return found

    def tidy(self) -> None:
        """At the end of a run: forget what was not asked for in a while."""
        self._run += 1
        if self._memory is not None:
            for key in [key for key, (run, _) in self._memory.items() if run < self._run - _RUNS]:
                del self._memory[key]
        if self.folder is not None and ours(self.folder):
            with contextlib.suppress(OSError):  # others may tidy up at the same time
                _shorten(self.folder)

    def _remember(self, key: str, value: object) -> None:
        if self._memory is not None:
            self._memory[key] = self._run, value

    def _path(self, key: str) -> Path | None:
        return None if self.folder is None else self.folder / key[:2] / key


NONE = Shelves()


def of_user() -> Shelves:
    """Those in the user's cache folder."""
    return Shelves(cache_folder() / "work")


def _shorten(folder: Path) -> None:
    found = []
    with os.scandir(folder) as parts:
        for part in parts:
            if part.is_dir(follow_symlinks=False):
                found += _of(part.path)
    over = sum(size for _, size, _ in found) - MOST_BYTES
    for age, size, path in sorted(found):
        if over > 0 or forgotten(Path(path).name, age):
            Path(path).unlink(missing_ok=True)
            over -= size


def _of(part: str) -> list[tuple[float, int, str]]:
    """When each entry was put there, its size and where; without those that somebody else has just taken away."""
    found = []
    with os.scandir(part) as entries:
        for entry in entries:
            with contextlib.suppress(FileNotFoundError):
                state = entry.stat(follow_symlinks=False)
                found.append((state.st_mtime, state.st_size, entry.path))
    return found


# ---- keys -----------------------------------------------------------------------------------------------------------


def key_of(kind: str, *of: object) -> str:
    """Key of a result: the hash of its kind, of our code and of all that was handed to the task."""
    return digest((kind, code(pages=kind == "page"), *of))


def digest(of: object) -> str:
    """Hash of a value: numbers, texts, containers, our records, arrays and tables. Raises TypeError for anything else.

    >>> digest({"a": (1, 2.5)}) == digest({"a": [1, 2.5]}), digest(1) == digest("1")
    (True, False)
    """
    told = json.dumps(of, default=_told, separators=(",", ":"))
    return hashlib.sha256(told.encode()).hexdigest()


def _told(of: object) -> Any:
    if type(of) in _RESULTS:  # most of what is told of: field by field takes five times as long
        return [type(of).__name__, *_RESULTS[type(of)](of)]
    if is_dataclass(of) and not isinstance(of, type):
        return [type(of).__name__, *(_keyed(getattr(of, name)) for name in _names(type(of)))]
    if isinstance(of, Mapping):
        return _keyed(of)
    if isinstance(of, frozenset | set):
        return ["set", *sorted(of)]
    if hasattr(of, "dtypes") and hasattr(of, "columns"):
        return ["table", *((str(name), _column(column)) for name, column in of.items())]  # type: ignore[attr-defined]
    if hasattr(of, "tobytes") and hasattr(of, "dtype"):
        return ["array", str(of.dtype), list(of.shape), hashlib.sha256(of.tobytes()).hexdigest()]  # type: ignore[attr-defined]
    raise TypeError(f"{type(of).__name__} cannot be a part of a key")


# they hold no mappings
_RESULTS: dict[type, Callable[[object], tuple[object, ...]]] = {
    kind: attrgetter(*(each.name for each in fields(kind))) for kind in (Value, Verdict, Comparison)
}
_PLAIN = frozenset({str, int, float, bool, type(None), tuple, list, frozenset, Key})


def _keyed(of: object) -> object:
    """A mapping as its pairs, since the keys of ours are not always texts."""
    if type(of) in _PLAIN:  # nearly all; asking whether something is a mapping takes longest
        return of
    return ["map", *([key, value] for key, value in of.items())] if isinstance(of, Mapping) else of


@cache
def _names(kind: type) -> tuple[str, ...]:
    return tuple(each.name for each in fields(kind))


def _column(column: pd.Series) -> object:
    if column.dtype.kind in "fib" and type(column.dtype).__module__.startswith("numpy"):
        return [str(column.dtype), hashlib.sha256(column.to_numpy().tobytes()).hexdigest()]
    return [str(column.dtype), column.tolist()]


@cache
def code(pages: bool = False) -> str:
    """Hash of our own sources and schemas, of Python and of every installed library: no change of one serves old work.

    Readings and steps rest on less of it than `pages`.
    """
    told = hashlib.sha256(f"{sys.version} {platform.platform()} {platform.machine()}\n".encode())
    own = Path(__file__).parent
    for root in (own, places.schemas(), *((places.theme(),) if pages else ())):
        for path in sorted(each for each in root.rglob("*") if each.is_file() and "__pycache__" not in each.parts):
            name = path.relative_to(root)
            if pages or root != own or name.parts[0] not in _LATER:
                told.update(f"{name.as_posix()} {hashlib.sha256(path.read_bytes()).hexdigest()}\n".encode())
    told.update("\n".join(libraries()).encode())
    return told.hexdigest()


def libraries() -> Iterable[str]:
    """Names and versions of everything installed beside us."""
    return sorted({found.name for each in sys.path for found in Path(each or ".").glob("*.dist-info")})
