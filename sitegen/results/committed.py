"""What git holds of a program's results, and what a fresh run says otherwise.

Only the last commit is asked, through the `git` command; without git, or outside a repository, nothing is known.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping, Sequence
from pathlib import Path

from sitegen.git import git
from sitegen.program.model import Program
from sitegen.results import alike, files
from sitegen.results.files import FOLDER, FORMAT, TABLES
from sitegen.results.upgrade import upgraded
from sitegen.vocabulary import COMPARED, Change, Key

MOST_BYTES = 8_000_000  # of a file as git holds it


def changes(program: Program, fresh: Mapping[str, bytes]) -> tuple[Change, ...] | None:
    """Rows whose value, word or status differs from the last commit; None where there is nothing to compare with."""
    stored = _at_head(program)
    try:
        return None if stored is None else _changes(stored, fresh)
    except UNREADABLE:
        return None


def written(program: Program, fresh: Mapping[str, bytes]) -> str:
    """That another version wrote the results of the last commit, with what it changed, as a clause; "" this one did."""
    (held,) = contents(program, [f"HEAD:./{FOLDER}/provenance.json"])
    return files.written({"provenance.json": held or b""}, fresh)[1]


UNREADABLE = (KeyError, ValueError, csv.Error)  # what reading tables raises that somebody damaged and committed


def _changes(stored: Mapping[str, bytes], fresh: Mapping[str, bytes]) -> tuple[Change, ...]:
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
    commits = states(program, f"{FOLDER}/comparisons.csv", MOST_LOOKS)
    held = contents(program, [f"{commit}:./{FOLDER}/comparisons.csv" for commit in commits])
    seen += [_primary_builds(stored) for stored in held if stored is not None]
    return len({each for each in seen if each})


def _primary_builds(content: bytes) -> tuple[str, ...]:
    """Builds of each coating in the primary comparison; nothing where none of it could be answered."""
    try:
        primary = [row for row in alike.rows(content) if row.get("role") == "primary" and row.get("estimate")]
        return tuple(f"{row['coating']}:{row['builds']}:{row['builds_reference']}" for row in primary)
    except UNREADABLE:
        return ()


def _at_head(program: Program) -> Mapping[str, bytes] | None:
    """The results of the last commit in today's format; None where it holds none, or of a format unknown here."""
    wanted = (*TABLES, "provenance.json")
    held = contents(program, [f"HEAD:./{FOLDER}/{name}" for name in wanted])
    found = {name: content for name, content in zip(wanted, held, strict=True) if content is not None}
    try:
        today = upgraded(found, FORMAT)
    except UNREADABLE:
        return None
    there = {table: today[table] for table in TABLES if table in found}  # an earlier format may have had fewer
    if any(map(alike.merging, there.values())):
        return None
    return there if {"measures.csv", "verdicts.csv"} <= set(there) else None


def contents(program: Program, names: Sequence[str]) -> list[bytes | None]:
    """What git holds under each name; None for what it does not hold, or what is too large."""
    asked = "".join(f"{name}\n" for name in names).encode("utf-8", "surrogateescape")
    told = git(Path(program.folder), "cat-file", "--batch", told=asked) if names else b""
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


def states(program: Program, name: str, most: int) -> list[str]:
    """Commits that changed a file or folder of the program's folder, the latest first; the latest `most` of them."""
    listed = git(Path(program.folder), "rev-list", f"--max-count={most}", "HEAD", "--", f"./{name}")
    return (listed or b"").decode().split()


def whole_history(program: Program) -> bool:
    """Whether git knows all commits: not outside a repository, nor where the history was cut off by a clone."""
    return (git(Path(program.folder), "rev-parse", "--is-shallow-repository") or b"").strip() == b"false"
