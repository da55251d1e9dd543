"""What is slow to make and safe to lose: kept in the user's cache folder, under names that say what it depends on."""

from __future__ import annotations

import contextlib
import hashlib
import os
import secrets
import stat
import sys
import time
from pathlib import Path

from sitegen.writing import Tree


def cache_folder() -> Path:
    """Where this user's caches lie: SITEGEN_CACHE, else the system's usual place."""
    own = os.environ.get("SITEGEN_CACHE")
    if own:
        return Path(own)
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local") / "sitegen"
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Caches" / "sitegen"
    return Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "sitegen"


_FRESH = ".new-"  # how a file begins that is on its way
_LONG = 86400.0  # s after which nobody writes it any more

# A kept file ends with the hash of what stands before it, so that half a file is never taken for a whole one. The hash
# is no secret: what is kept is believed because nobody else can write there, and where others can, nothing is kept.


def kept(path: Path, alone: set[Path] | None = None) -> bytes | None:
    """What was kept under a path; None where there is nothing whole, or others could have put it there.

    `alone` remembers folders that are ours alone, so that each is looked at once: nobody else can change that.
    """
    if not ours(path.parent, alone=alone):
        return None
    try:
        with Tree(path.parent) as folder:
            content, _, digest = folder.read(path.name).rpartition(b"\n//")
    except OSError:
        return None
    return content if hashlib.sha256(content).hexdigest().encode() == digest else None


def keep(path: Path, content: bytes, most: int | None = None, alone: set[Path] | None = None) -> None:
    """Keep some bytes, where the disk lets us and nobody else can write; of the files beside, the `most` latest.

    Whoever remembers which folders are `alone` tidies up there too.
    """
    if not ours(path.parent, make=True, alone=alone):
        return
    fresh, whole = f"{_FRESH}{secrets.token_hex(8)}", content + b"\n//" + hashlib.sha256(content).hexdigest().encode()
    try:
        with Tree(path.parent) as folder:
            try:
                folder.create(fresh, whole, lasting=False)
                folder.move(fresh, path.name)
            except OSError:
                with contextlib.suppress(OSError):
                    folder.unlink(fresh)
                raise
            if alone is None:
                _tidy(folder, most)
    except FileNotFoundError:  # somebody takes it all away, or others of ours tidy up at the same time
        if alone is not None:
            alone.clear()
    except OSError as problem:
        _say(f"{path.parent}: {(problem.strerror or str(problem)).lower()}")


def forgotten(name: str, age: float) -> bool:
    """Whether a file, last written at this time [s], was on its way when whoever wrote it died."""
    return name.startswith(_FRESH) and age < time.time() - _LONG


def _tidy(folder: Tree, most: int | None) -> None:
    """Take away what nobody writes any more and, of whole files, all but the latest."""
    ages = {name: folder.status(name).st_mtime for name in folder.names() if most or name.startswith(_FRESH)}
    left = [name for name, age in ages.items() if forgotten(name, age)]
    beside = sorted((name for name in ages if not name.startswith(_FRESH)), key=ages.__getitem__)
    for name in (*left, *beside[:-most]) if most else left:
        folder.unlink(name)


def ours(folder: Path, make: bool = False, alone: set[Path] | None = None) -> bool:
    """Whether a folder of the cache, and those around it up to the whole cache, are ours alone; said once if not."""
    if alone is not None and folder in alone:
        return True
    top = cache_folder()
    chain = [folder, *folder.parents]
    around = chain[: chain.index(top) + 1] if top in chain else [folder]
    found = all(_private(each, make) for each in reversed(around))
    if found and alone is not None:
        alone.add(folder)
    return found


def _private(folder: Path, make: bool) -> bool:
    try:
        if make:
            with contextlib.suppress(FileExistsError):
                folder.mkdir(parents=True, mode=0o700)
        status = folder.lstat()
    except FileNotFoundError:
        return False
    except OSError as problem:
        _say(f"{folder}: {(problem.strerror or str(problem)).lower()}")
        return False
    if stat.S_ISLNK(status.st_mode):
        why = f"{folder} is a link"
    elif not stat.S_ISDIR(status.st_mode):
        why = f"{folder} is no folder"
    elif hasattr(os, "geteuid") and status.st_uid != os.geteuid():
        why = f"{folder} belongs to somebody else"
    elif os.name != "nt" and status.st_mode & 0o022:
        why = f"others may write to {folder} (chmod go-w {folder} takes that right away)"
    else:
        return True
    _say(why)
    return False


_said: list[str] = []


def _say(why: str) -> None:
    """Once: that one place cannot be written is enough to know, and the others would say the same."""
    if not _said:
        print(f"Nothing is kept for the next run: {why}.", file=sys.stderr)
        _said.append(why)
