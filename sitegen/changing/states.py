"""A programs folder as it was at a revision, or as it lies there, laid out where it may be changed."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from sitegen.git import git
from sitegen.program.folder import DEFINITIONS, PROGRAM
from sitegen.regular import open_regular
from sitegen.results.files import FOLDER

NOW = "now"
MOST_AT_ONCE = 1 << 26  # bytes of files asked of git in one go
_PLAIN = (b"100644 ", b"100755 ")  # modes of plain files; a link or another repository is none
MOST_BYTES = 1 << 32  # bytes of all files of a state that are laid out


class CannotCompare(Exception):  # noqa: N818 - it is what is told
    """Why two states cannot be compared, as a sentence."""


@dataclass(frozen=True)
class State:
    """Files of a programs folder, laid out in a folder of their own."""

    name: str  # short name of the commit, or "now"
    folder: Path
    stored: Mapping[str, bytes]  # results of the program as they are kept there, by name; empty where there are none


def of_revision(folder: Path, program: str, revision: str, to: Path) -> State:
    """The state at a revision of git; `folder` holds the programs. Raises `CannotCompare`."""
    commit = _commit(folder, revision)
    listed = _listed(folder, commit)
    if f"{program}/{PROGRAM}" not in listed:
        raise CannotCompare(f"{revision}: there is no {program}/{PROGRAM} in it.")
    wanted = {name: size for name, size in listed.items() if _belongs(PurePosixPath(name).parts, program)}
    if sum(wanted.values()) > MOST_BYTES:
        raise CannotCompare(f"{revision}: its files are larger than {MOST_BYTES >> 30} GiB in all.")
    stored = {}
    for name, content in _contents(folder, commit, wanted):
        within = PurePosixPath(name)
        if within.parts[:2] == (program, FOLDER):
            stored[within.name] = content
            continue
        path = to / within
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    return State(commit[:7], to, stored)


def of_now(folder: Path, program: str, to: Path) -> State:
    """The state that lies in the folder: its files, not its results, which are worked out from them."""
    for path in _files(folder):
        within = path.relative_to(folder)
        if within.parts[:2] == (program, FOLDER) or not _belongs(within.parts, program):
            continue
        (to / within).parent.mkdir(parents=True, exist_ok=True)
        lay(path, to / within, folder)
    return State(NOW, to, {})


def lay(path: Path, to: Path, within: Path) -> None:
    """One file in another folder too: by a second name where that can be, so that nothing is written into either."""
    with open_regular(path, within) as opened:
        try:
            os.link(os.path.realpath(path), to, follow_symlinks=False)
        except OSError:
            with to.open("xb") as copy:
                shutil.copyfileobj(opened, copy)


def copy(folder: Path, to: Path) -> None:
    """All files of a state in another folder, too."""
    for path in sorted(each for each in folder.rglob("*") if each.is_file()):
        (to / path.relative_to(folder)).parent.mkdir(parents=True, exist_ok=True)
        lay(path, to / path.relative_to(folder), folder)


def _files(folder: Path) -> Iterator[Path]:
    """Files of the programs in a folder, and of what they share; no link that leads out of it, no site."""
    if (folder / DEFINITIONS).is_file():
        yield folder / DEFINITIONS
    for home in sorted(each.parent for each in folder.glob(f"*/{PROGRAM}")):
        for root, folders, names in os.walk(home):
            folders[:] = sorted(each for each in folders if not each.startswith("."))
            for name in sorted(names):
                path = Path(root) / name
                if path.is_file() and path.resolve().is_relative_to(folder.resolve()):
                    yield path


def _belongs(parts: Sequence[str], program: str) -> bool:
    """Whether the results of a program may rest on a file: its own, what programs share, results that others lend."""
    if any(each.startswith(".") for each in parts):
        return False
    return parts == (DEFINITIONS,) or parts[0] == program or parts[1:2] == (FOLDER,)


def _commit(folder: Path, revision: str) -> str:
    found = None
    if not revision.startswith("-") and "\n" not in revision and "\0" not in revision:
        found = git(folder, "rev-parse", "--verify", "--quiet", "--end-of-options", f"{revision}^{{commit}}")
    if not found:
        raise CannotCompare(f"{revision}: git knows no such revision of {folder}.")
    return found.decode().strip()


def _listed(folder: Path, commit: str) -> dict[str, int]:
    """Plain files of a commit below the folder, with their sizes [bytes]."""
    listed = git(folder, "ls-tree", "-r", "-l", "-z", commit, ".")
    found = {}
    for each in (listed or b"").split(b"\0"):
        facts, _, name = each.partition(b"\t")
        if facts.startswith(_PLAIN):
            size = facts.split()[-1]
            found[name.decode("utf-8", "surrogateescape")] = int(size)
    return found


def _contents(folder: Path, commit: str, sizes: Mapping[str, int]) -> Iterator[tuple[str, bytes]]:
    """Name and content of each file, as many at a time as fit."""
    waiting: list[str] = []
    held = 0
    for name in [*sizes, ""]:
        if waiting and (not name or held + sizes[name] > MOST_AT_ONCE):
            asked = "".join(f"{commit}:./{each}\n" for each in waiting).encode("utf-8", "surrogateescape")
            told = git(folder, "cat-file", "--batch", told=asked)
            if told is None:
                raise CannotCompare(f"git did not give the files of {commit[:7]}.")
            at = 0
            for each in waiting:
                at = told.index(b"\n", at) + 1
                yield each, told[at : at + sizes[each]]
                at += sizes[each] + 1
            waiting, held = [], 0
        if name:
            waiting.append(name)
            held += sizes[name]
