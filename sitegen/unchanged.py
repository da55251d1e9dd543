"""Whether a publish or a check would say the same again: then it is over before the heavy libraries are loaded.

After each publish a small note is kept in the user's cache folder, one for each pair of programs folder and site: a
hash of all the outcome depends on (every file of the programs folder and of the theme, what git holds of the results,
our own source files, Python and every installed library), and the hash of every file the publish left behind. The next
publish is over where the first hash is still the same and all those files are still there, byte by byte; else the
hashes of the files tell which were changed. A check looks at the results too, and at the day. Pages are never taken
from these notes: one that is lost or damaged costs time and nothing else.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import sys
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from sitegen import places, publish
from sitegen.cache import cache_folder, keep, kept
from sitegen.git import git
from sitegen.regular import NotRegularError, sha256_of, state, there

_FORMAT = 2
_RESULTS = "results"  # folder of what a publish writes beside each program file
_NOTES = 100  # kept; the oldest go
OURSELVES, GIT, OPTIONS = "sitegen or a library", "what git holds", "the options"
MOST_NAMED = 3  # files, before the rest are counted


@dataclass(frozen=True)
class Outcome:
    """What a publish said and left behind."""

    report: str  # the closing line
    problems: str  # as printed; "" where nothing was set aside
    site: Mapping[str, str]  # path from the root of the site -> sha256
    results: Mapping[str, str]  # path from the programs folder -> sha256
    once: str = ""  # said of this publish alone: what was damaged and is made anew, lines
    left: Sequence[Mapping[str, Any]] = ()  # programs with errors, left as they were
    pages: int = 0
    new: bool = False  # no site lay there before
    made: Sequence[str] = ()  # pages that were printed


@dataclass(frozen=True)
class Question:
    """What is asked for, and all that its outcome depends on."""

    note: Path  # where its outcome is kept
    home: Path  # the programs folder
    site: Path
    inputs: Mapping[str, str]  # file, or what else it depends on -> sha256

    @property
    def depends_on(self) -> str:
        """sha256 of all of it."""
        return hashlib.sha256(json.dumps(self.inputs, sort_keys=True).encode()).hexdigest()


Stamps = Mapping[str, tuple[int, ...]]


def stamps(folder: Path, site: Path) -> Stamps:
    """Size, times and number of every file of a programs folder, by its path from there; opens none of them.

    Of folders nothing but that they are there: a publish makes results in them.
    """
    home, found = _home(folder), {}
    with contextlib.suppress(OSError):
        for name, file in _below(home, site.resolve()):
            found[name] = () if file is None else state(file.stat(follow_symlinks=False))
    return found


def moved(before: Stamps, now: Stamps) -> list[str]:
    """Files that came, went or changed."""
    return sorted(name for name in {**before, **now} if before.get(name) != now.get(name))


def _home(folder: Path) -> Path:
    given = folder.resolve()
    return given.parent if there(given / "program.yaml") else given


def question(folder: Path, site: Path, theme: Path | None, sheet: bool = False, blind: bool = False) -> Question | None:
    """To be asked before any input is read. None where it cannot be said what the outcome depends on."""
    try:
        given, home = folder.resolve(), _home(folder)
        inputs = dict(_tree(home, site.resolve()))
        if theme is not None:
            inputs |= {f"{theme}/{name}": content for name, content in _tree(theme, None)}
        inputs |= {OURSELVES: _ourselves(places.theme()), GIT: _hash(_told_by_git(home)), OPTIONS: f"{sheet} {blind}"}
        if blind:  # which writes no results, and takes its numbers from those that lie there
            for each in sorted(home.glob(f"*/{_RESULTS}")):
                inputs |= {f"{each.parent.name}/{_RESULTS}/{name}": content for name, content in _tree(each, None)}
    except OSError:
        return None
    return Question(_note("publishes", given, site.resolve(), site, theme), home, site, inputs)


def question_of_check(folder: Path, told_as: str, today: str) -> Question | None:
    """The same of a check, whose answer is a text and two exit statuses."""
    try:
        given, home = folder.resolve(), _home(folder)
        inputs = {**dict(_tree(home, None)), OURSELVES: _ourselves(), GIT: _hash(_told_by_git(home)), "today": today}
    except OSError:
        return None
    return Question(_note("checks", given, folder, told_as), home, home, inputs)


def _note(kind: str, *asked: object) -> Path:
    return cache_folder() / kind / f"{_hash(json.dumps([str(each) for each in asked]).encode())[:32]}.json"


def _ourselves(*also: Path) -> str:
    """Hash of our own sources, schemas and theme, of Python and of every installed library."""
    told = [f"{_FORMAT} {sys.version} {' '.join(os.uname()) if hasattr(os, 'uname') else sys.platform}"]
    for root in (Path(__file__).parent, places.schemas(), *also):
        told += [f"{name} {content}" for name, content in _tree(root, None)]
    return _hash("\n".join([*told, *_libraries()]).encode("utf-8", "surrogateescape"))


def _hash(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def checked(asked: Question) -> tuple[str, int, int] | None:
    """The text of the same check before, its exit status and that with --strict."""
    try:
        stored = json.loads(kept(asked.note) or b"")
        text, status, strict = stored["answer"] if stored["depends_on"] == asked.depends_on else (None, 0, 0)
        return (str(text), int(status), int(strict)) if text is not None else None
    except (ValueError, KeyError, TypeError):
        return None


def remember_check(asked: Question, answer: tuple[str, int, int]) -> None:
    """Keep what a check said for the next time."""
    _keep(asked.note, {"depends_on": asked.depends_on, "answer": answer})


def because(asked: Question) -> list[str] | None:
    """What has changed since the last publish into this folder; None where that is not known."""
    try:
        before = json.loads(kept(asked.note) or b"")["inputs"]
        every = {**before, **asked.inputs}  # folders, which have no hash, are not named
        return sorted(each for each in every if (before.get(each) or "") != (asked.inputs.get(each) or ""))
    except (ValueError, KeyError, TypeError):
        return None


def why(outcome: Outcome, changed: Sequence[str] | None, kept_back: bool) -> str:
    """How many pages were made anew, and what for; `kept_back`: with what was kept from before."""
    made, of = len(outcome.made), f"{outcome.pages} pages"
    if outcome.new:
        return f"{of}, all of them new."
    changed = changed and ["".join(c if c.isprintable() else "?" for c in name) for name in changed]
    count = f"{made} of {of} made anew" if made else f"No page had to be made anew: all {of} were kept from before"
    if changed is None:
        return f"{count}; what has changed since the last publish into this folder is not known."
    if not changed:
        return f"{count}, though nothing has changed since the last publish into this folder."
    names = f"{', '.join(changed[:MOST_NAMED])} and {len(changed) - MOST_NAMED} more"
    names = names if len(changed) > MOST_NAMED else " and ".join(filter(None, (", ".join(changed[:-1]), changed[-1])))
    if made and kept_back:
        return f"{count}, because {names} changed."
    return f"{count}; since the last publish into this folder {names} changed."


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
    told = asdict(replace(outcome, made=(), new=False, once=""))
    _keep(asked.note, {"depends_on": asked.depends_on, "inputs": asked.inputs, "outcome": told})


def _keep(note: Path, content: Mapping[str, object]) -> None:
    keep(note, json.dumps(content).encode(), most=_NOTES)


def _tree(root: Path, skipped: Path | None) -> Iterable[tuple[str, str]]:
    """Every file below a folder with its hash, in order of the paths; results are no inputs, nor is the site.

    Raises OSError where a folder is a link to another place, a file cannot be read, or is no plain file of this folder.
    """
    for name, file in _below(root, skipped):
        # an empty folder may be told of too
        yield name, "" if file is None else sha256_of(Path(file.path), root if file.is_symlink() else None)


def _below(root: Path, skipped: Path | None, inside: str = "") -> Iterable[tuple[str, os.DirEntry[str] | None]]:
    """Files below a folder by their paths from there, then the folder itself, which is no file, then what lies in its
    folders. Raises OSError where a folder is a link.
    """
    own = f"{root}/{inside}"
    with os.scandir(own) as entries:
        ordered = sorted(entries, key=lambda each: each.name)
    folders = []
    for each in ordered:
        if not each.is_dir():
            yield inside + each.name, each
            continue
        if each.is_symlink():
            raise NotRegularError("a folder is a link", Path(own))
        results = each.name == _RESULTS and skipped is not None and inside.count("/") == 1
        if each.name not in {".git", "__pycache__"} and not results and Path(each.path) != skipped:
            folders.append(f"{inside}{each.name}/")
    yield inside[:-1] or ".", None
    for folder in folders:
        yield from _below(root, skipped, folder)


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
