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
import shutil
import subprocess
import sys
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path

from sitegen import places, publish
from sitegen.cache import cache_folder, keep, kept

_FORMAT = 1
_RESULTS = "results"  # folder of what a publish writes beside each program file
_NOTES = 100  # kept; the oldest go
_PATIENCE = 10  # s, for a git that hangs on a dead share


@dataclass(frozen=True)
class Outcome:
    """What a publish said and left behind."""

    report: str  # the closing line
    problems: str  # as printed; "" where nothing was set aside
    site: Mapping[str, str]  # path from the root of the site -> sha256
    results: Mapping[str, str]  # path from the programs folder -> sha256


@dataclass(frozen=True)
class Question:
    """One publish that is asked for, and all that its outcome depends on."""

    note: Path  # where its outcome is kept
    home: Path  # the programs folder
    site: Path
    depends_on: str  # sha256


def question(folder: Path, site: Path, theme: Path | None, sheet: bool = False) -> Question | None:
    """To be asked before any input is read. None where it cannot be said what the outcome depends on."""
    digest = hashlib.sha256(f"{_FORMAT} {sys.version} {platform.platform()} {sheet}\n".encode())
    try:
        given = folder.resolve()
        home = given.parent if (given / "program.yaml").is_file() else given
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
        lies_there = outcome is not None and publish.holds(asked.site, outcome.site) and _hold(asked.home, outcome)
    except (ValueError, KeyError, TypeError, AttributeError, OSError):
        return None
    return outcome if lies_there else None


def remember(asked: Question, outcome: Outcome) -> None:
    """Keep the outcome of a publish for the next time."""
    keep(asked.note, json.dumps({"depends_on": asked.depends_on, "outcome": asdict(outcome)}).encode())
    with contextlib.suppress(OSError):  # others may tidy up at the same time
        notes = sorted(asked.note.parent.glob("*.json"), key=lambda note: note.stat().st_mtime)
        for note in notes[:-_NOTES]:
            note.unlink(missing_ok=True)


def _hold(home: Path, outcome: Outcome) -> bool:
    return all(_sha256(home / name) == digest for name, digest in outcome.results.items())


def _tree(root: Path, skipped: Path | None) -> Iterable[tuple[str, str]]:
    """Every file below a folder with its hash, in order of the paths; results are no inputs, nor is the site.

    Raises OSError where a folder is a link to another place, or a file cannot be read.
    """
    for folder, names, files in os.walk(root, onerror=_raised):
        here = Path(folder)
        if any((here / name).is_symlink() for name in names):
            raise OSError("a link to a folder")
        names[:] = sorted(
            name
            for name in names
            if name not in {".git", "__pycache__"}
            and here / name != skipped
            and not (name == _RESULTS and skipped is not None and here.parent == root)
        )
        for name in sorted(files):
            yield (here / name).relative_to(root).as_posix(), _sha256(here / name)
        yield here.relative_to(root).as_posix(), ""  # an empty folder may be told of too


def _raised(error: OSError) -> None:
    raise error


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _libraries() -> list[str]:
    """Names and versions of everything installed beside us."""
    return sorted(found.name for each in sys.path for found in Path(each or ".").glob("*.dist-info"))


def _told_by_git(home: Path) -> bytes:
    """What pages take from git: results of the last commit, commits of results and of program files."""
    at_head = b"\n".join(line for line in _git(home, "ls-tree", "-r", "HEAD", ".").splitlines() if b"/results/" in line)
    told = (":(glob)**/results/*.csv", ":(glob)**/program.yaml")
    history = _git(home, "log", "--format=%H", "--", *told)
    return b"\n".join((at_head, history, _git(home, "rev-parse", "--is-shallow-repository")))


def _git(home: Path, *arguments: str) -> bytes:
    git = shutil.which("git")
    if git is None:
        return b""
    try:
        return subprocess.run(  # noqa: S603 - no shell, and nothing of the user's in the command but the folder
            [git, "-C", str(home), *arguments],
            capture_output=True,
            timeout=_PATIENCE,
            check=False,
            stdin=subprocess.DEVNULL,
        ).stdout
    except (OSError, subprocess.TimeoutExpired):
        return b""
