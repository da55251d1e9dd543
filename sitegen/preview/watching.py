"""Whether any file changed that the site is made from, told by names, sizes and times."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

from sitegen.program.folder import DEFINITIONS, PROGRAM
from sitegen.regular import there

Stamp = tuple[tuple[str, int, int], ...]


def stamp(folder: Path, theme: Path | None) -> Stamp:
    """Name, time [ns] and size [byte] of every file that counts; two stamps differ when one of them changed."""
    return tuple(sorted(_found(folder, theme)))


def _found(folder: Path, theme: Path | None) -> Iterator[tuple[str, int, int]]:
    try:
        alone = there(folder / PROGRAM)
        home = folder.resolve().parent if alone else folder
        yield from _file(home / DEFINITIONS)
        for each in sorted(home.iterdir()):
            if each.name.startswith(".") or not each.is_dir():
                continue
            yield (str(each), 0, 0)
            if (alone and each != folder.resolve()) or not there(each / PROGRAM):
                yield from _file(each / "results" / "measures.csv")  # may lend its scatter
            else:
                yield from _below(each)
    except OSError:  # a folder that goes away or may not be read: that it cannot be seen is what is seen
        yield (str(folder), -1, -1)
    if theme is not None:
        yield from _below(theme)


def _below(folder: Path) -> Iterator[tuple[str, int, int]]:
    for parent, folders, files in os.walk(folder):
        folders[:] = sorted(each for each in folders if not each.startswith("."))
        for name in files:
            if not name.startswith("."):
                yield from _file(Path(parent) / name)


def _file(path: Path) -> Iterator[tuple[str, int, int]]:
    try:
        found = path.stat()
    except OSError:
        return
    yield (str(path), found.st_mtime_ns, found.st_size)
