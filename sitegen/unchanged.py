"""Whether a publish would change nothing: then it is over before the heavy libraries are loaded.

After each publish a small note is kept in the user's cache folder, one for each pair of programs folder and site: a
hash of all the outcome depends on (every file of the programs folder and of the theme, what git holds of the results,
our own source files, Python and every installed library), and the hash of every file the publish left behind. The next
publish is over where the first hash is still the same and all those files are still there, byte by byte. Contents are
never taken from the cache: a note that is lost, damaged or somebody else's costs time and nothing else.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import platform
import sys
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, replace
from pathlib import Path

from sitegen import places, publish
from sitegen.cache import cache_folder, keep, kept
from sitegen.git import git
from sitegen.regular import NotRegularError, sha256_of

_FORMAT = 1
_RESULTS = "results"  # folder of what a publish writes beside each program file
_NOTES = 100  # kept; the oldest go


@dataclass(frozen=True)
class Outcome:
    """What a publish said and left behind."""

    report: str  # the closing line
    problems: str  # as printed; "" where nothing was set aside
    site: Mapping[str, str]  # path from the root of the site -> sha256
    results: Mapping[str, str]  # path from the programs folder -> sha256
    once: str = ""  # said of this publish alone: what was damaged and is made anew, lines


@dataclass(frozen=True)
class Question:
    """One publish that is asked for, and all that its outcome depends on."""

    note: Path  # where its outcome is kept
    home: Path  # the programs folder
    site: Path
    depends_on: str  # sha256


Stamps = Mapping[str, tuple[int, ...]]


def stamps(folder: Path, site: Path) -> Stamps:
    """Size, times and number of every file of a programs folder, by its path from there; opens none of them."""
    home, found = _home(folder), {}
    with contextlib.suppress(OSError):
        for path in _below(home, site.resolve()):
            status = path.lstat()
            found[path.relative_to(home).as_posix()] = (
                status.st_size, status.st_mtime_ns, status.st_ctime_ns, status.st_ino,
            )  # fmt: skip
    return found


def moved(before: Stamps, now: Stamps) -> list[str]:
    """Files that came, went or changed."""
    return sorted(name for name in {**before, **now} if before.get(name) != now.get(name))


def _home(folder: Path) -> Path:
    given = folder.resolve()
    return given.parent if (given / "program.yaml").is_file() else given


def question(folder: Path, site: Path, theme: Path | None, sheet: bool = False) -> Question | None:
    """To be asked before any input is read. None where it cannot be said what the outcome depends on."""
    digest = hashlib.sha256(f"{_FORMAT} {sys.version} {platform.platform()} {sheet}\n".encode())
    try:
        given, home = folder.resolve(), _home(folder)
        for root, skipped in (
            (Path(__file__).parent, None),
            (places.schemas(), None),
            (places.theme(), None),
            (theme, None),
            (home, site.resolve()),
        ):
            if root is not None:
                for name, content in _tree(root, skipped):
                    digest.update(f"{name} {content}\n".encode("utf-8", "surrogateescape"))
            digest.update(b"\n")
    except OSError:
        return None
    digest.update("\n".join(_libraries()).encode())
    digest.update(_told_by_git(home))
    pair = json.dumps([str(given), str(site.resolve()), str(site), str(theme)])
    note = cache_folder() / "publishes" / f"{hashlib.sha256(pair.encode()).hexdigest()[:32]}.json"
    return Question(note, home, site, digest.hexdigest())


def answered(asked: Question) -> Outcome | None:
    """The outcome of the same publish before, where it still lies there whole."""
    content = kept(asked.note)
    try:
        stored = json.loads(content or b"")
        outcome = Outcome(**stored["outcome"]) if stored["depends_on"] == asked.depends_on else None
        own = {str(asked.home / name): digest for name, digest in outcome.results.items()} if outcome else {}
        lies_there = outcome is not None and publish.holds(asked.site, outcome.site, own)
    except (ValueError, KeyError, TypeError, AttributeError, OSError, RecursionError):
        return None
    return outcome if lies_there else None


def remember(asked: Question, outcome: Outcome) -> None:
    """Keep the outcome of a publish for the next time."""
    note = {"depends_on": asked.depends_on, "outcome": asdict(replace(outcome, once=""))}
    keep(asked.note, json.dumps(note).encode(), most=_NOTES)


def _tree(root: Path, skipped: Path | None) -> Iterable[tuple[str, str]]:
    """Every file below a folder with its hash, in order of the paths; results are no inputs, nor is the site.

    Raises OSError where a folder is a link to another place, a file cannot be read, or is no plain file of this folder.
    """
    for path in _below(root, skipped):
        within = root if path.is_symlink() else None
        # an empty folder may be told of too
        yield path.relative_to(root).as_posix(), "" if path.is_dir() else sha256_of(path, within)


def _below(root: Path, skipped: Path | None) -> Iterable[Path]:
    """Files below a folder, each followed by its folder. Raises OSError where a folder is a link."""
    for folder, names, files in os.walk(root, onerror=_raised):
        here = Path(folder)
        if any((here / name).is_symlink() for name in names):
            raise NotRegularError("a folder is a link", here)
        names[:] = sorted(
            name
            for name in names
            if name not in {".git", "__pycache__"}
            and here / name != skipped
            and not (name == _RESULTS and skipped is not None and here.parent == root)
        )
        yield from (here / name for name in sorted(files))
        yield here


def _raised(error: OSError) -> None:
    raise error


def _libraries() -> list[str]:
    """Names and versions of everything installed beside us."""
    return sorted(found.name for each in sys.path for found in Path(each or ".").glob("*.dist-info"))


def _told_by_git(home: Path) -> bytes:
    """What pages take from git: results of the last commit, commits of results and of program files."""
    listed = git(home, "ls-tree", "-r", "HEAD", ".") or b""
    at_head = b"\n".join(line for line in listed.splitlines() if b"/results/" in line)
    told = (":(glob)**/results/*.csv", ":(glob)**/program.yaml")
    history = git(home, "rev-list", "HEAD", "--", *told) or b""
    return b"\n".join((at_head, history, git(home, "rev-parse", "--is-shallow-repository") or b""))
