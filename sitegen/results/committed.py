"""What git holds of a program's results, and what a fresh run says otherwise.

Only the last commit is asked, through the `git` command; without git, or outside a repository, nothing is known.
"""

from __future__ import annotations

import csv
import io
import shutil
import subprocess
from collections.abc import Mapping, Sequence
from pathlib import Path

from sitegen.program.model import Program
from sitegen.results import alike
from sitegen.results.files import FOLDER, FORMAT, TABLES
from sitegen.results.upgrade import UnknownFormatError, upgraded
from sitegen.vocabulary import COMPARED, Change, Key

MOST_BYTES = 8_000_000  # of a file as git holds it
_PATIENCE = 10  # s, for a git that hangs on a dead share


def changes(program: Program, fresh: Mapping[str, bytes]) -> tuple[Change, ...] | None:
    """Rows whose value, word or status differs from the last commit; None where there is nothing to compare with."""
    stored = _at_head(program)
    if stored is None:
        return None
    found: list[Change] = []
    for table in stored:
        if stored[table] == fresh[table]:
            continue
        before, after = ({alike.key_of(table, row): row for row in alike.rows(each[table])} for each in (stored, fresh))
        for where in sorted(before.keys() | after.keys()):
            old, new = before.get(where, {}), after.get(where, {})
            shown = _SHOWN[table]
            if not old or not new or shown & set(alike.differing(table, old, new)):
                found.append(_change(table, old, new))
    return tuple(found)


_SHOWN = {  # a difference in one of these is a change
    "measures.csv": {"value", "status"},
    "comparisons.csv": {"estimate", "verdict"},
    "verdicts.csv": {"word"},
}


def _change(table: str, old: alike.Row, new: alike.Row) -> Change:
    row = new or old
    key = Key(row.get("engine", ""), int(row.get("cylinder") or 0), row["coating"], row["phase"], row["at"])
    before, after = (_text(table, each) if each else "" for each in (old, new))
    if table == "comparisons.csv":
        return Change(f"{COMPARED}{row['measure']}", key, before, after, verdict=True)
    verdict = table == "verdicts.csv"
    return Change(row["rule"] if verdict else row["measure"], key, before, after, verdict)


def _text(table: str, row: alike.Row) -> str:
    if table == "comparisons.csv":
        return ", ".join(filter(None, (row["verdict"], row["estimate"])))
    if table == "verdicts.csv":
        return row["word"]
    return row["value"] or row["status"].replace("ok", "")


MOST_LOOKS = 200  # commits of the comparisons that are asked for


def looks(program: Program, fresh: Mapping[str, bytes]) -> int | None:
    """How often the primary comparison was looked at, this time included: states of its builds among the commits.

    None where that is not known: outside a repository, or in one whose history was cut off when it was cloned.
    """
    if not whole_history(program):
        return None
    seen = [_primary_builds(fresh["comparisons.csv"])]
    listed = git(program, "log", f"--max-count={MOST_LOOKS}", "--format=%H", "--", f"./{FOLDER}/comparisons.csv")
    commits = (listed or b"").decode().split()
    held = contents(program, [f"{commit}:./{FOLDER}/comparisons.csv" for commit in commits])
    seen += [_primary_builds(stored) for stored in held if stored is not None]
    return len({each for each in seen if each})


def _primary_builds(content: bytes) -> tuple[str, ...]:
    """Builds of each coating in the primary comparison; nothing where none of it could be answered."""
    rows = csv.DictReader(io.StringIO(content.decode("utf-8", errors="replace")))
    primary = [row for row in rows if row.get("role") == "primary" and row.get("estimate")]
    return tuple(f"{row['coating']}:{row['builds']}:{row['builds_reference']}" for row in primary)


def _at_head(program: Program) -> Mapping[str, bytes] | None:
    """The results of the last commit in today's format; None where it holds none, or of a format unknown here."""
    names = (*TABLES, "provenance.json")
    held = contents(program, [f"HEAD:./{FOLDER}/{name}" for name in names])
    found = {name: content for name, content in zip(names, held, strict=True) if content is not None}
    try:
        files = upgraded(found, FORMAT)
    except (UnknownFormatError, KeyError, UnicodeDecodeError):
        return None
    there = {table: files[table] for table in TABLES if table in found}  # an earlier format may have had fewer
    return there if {"measures.csv", "verdicts.csv"} <= set(there) else None


def contents(program: Program, names: Sequence[str]) -> list[bytes | None]:
    """What git holds under each name; None for what it does not hold, or what is too large."""
    asked = "".join(f"{name}\n" for name in names).encode("utf-8", "surrogateescape")
    told = git(program, "cat-file", "--batch", told=asked) if names else b""
    found: list[bytes | None] = []
    at = 0
    for _ in names:
        head, _, _ = (told or b"")[at:].partition(b"\n")
        at += len(head) + 1
        size = head.rpartition(b" ")[2]
        if not size.isdigit():
            found.append(None)
            continue
        end = at + int(size)
        found.append((told or b"")[at:end] if int(size) <= MOST_BYTES else None)
        at = end + 1
    return found


def whole_history(program: Program) -> bool:
    """Whether git knows all commits: not outside a repository, nor where the history was cut off by a clone."""
    return (git(program, "rev-parse", "--is-shallow-repository") or b"").strip() == b"false"


def git(program: Program, *arguments: str, told: bytes | None = None) -> bytes | None:
    """What git says in the program's folder; None without git, outside a repository, or where it knows no such.

    `told` is what it is given to read.
    """
    command = shutil.which("git")
    if command is None:
        return None
    try:
        done = subprocess.run(  # noqa: S603 - no shell, and nothing of the user's in the command but the folder
            [command, "-C", str(Path(program.folder)), *arguments],
            capture_output=True,
            timeout=_PATIENCE,
            check=False,
            input=told or b"",
        )
    except (OSError, subprocess.TimeoutExpired):
        return None
    return done.stdout if done.returncode == 0 else None
