"""What git holds of a program's results, and what a fresh run says otherwise.

Only the last commit is asked, through the `git` command; without git, or outside a repository, nothing is known.
"""

from __future__ import annotations

import csv
import io
import shutil
import subprocess
from collections.abc import Mapping
from pathlib import Path

from sitegen.program.model import Program
from sitegen.results.files import COMPARISON_COLUMNS, FOLDER, MEASURE_COLUMNS, VERDICT_COLUMNS
from sitegen.vocabulary import COMPARED, Change, Key

_PATIENCE = 10  # s, for a git that hangs on a dead share


def changes(program: Program, fresh: Mapping[str, bytes]) -> tuple[Change, ...] | None:
    """Rows whose value, word or status differs from the last commit; None where there is nothing to compare with."""
    found: list[Change] = []
    for name, columns, verdict in (
        ("measures.csv", MEASURE_COLUMNS, False),
        ("comparisons.csv", COMPARISON_COLUMNS, True),
        ("verdicts.csv", VERDICT_COLUMNS, True),
    ):
        stored = _at_head(program, name)
        if stored is None and name == "comparisons.csv":
            continue  # committed in a format that had none
        if stored is None:
            return None
        before, after = _rows(stored, columns, verdict), _rows(fresh[name], columns, verdict)
        for where in sorted(before.keys() | after.keys()):
            old, new = before.get(where, ""), after.get(where, "")
            if old != new:
                what, key = where
                found.append(Change(what, key, old, new, verdict))
    return tuple(found)


MOST_LOOKS = 200  # commits of the comparisons that are asked for


def looks(program: Program, fresh: Mapping[str, bytes]) -> int:
    """How often the primary comparison was looked at, this time included: states of its builds among the commits."""
    seen = [_primary_builds(fresh["comparisons.csv"])]
    listed = _git(program, "log", f"--max-count={MOST_LOOKS}", "--format=%H", "--", f"./{FOLDER}/comparisons.csv")
    for commit in (listed or b"").decode().split():
        stored = _git(program, "show", f"{commit}:./{FOLDER}/comparisons.csv")
        if stored is not None:
            seen.append(_primary_builds(stored))
    return len({each for each in seen if each})


def _primary_builds(content: bytes) -> tuple[str, ...]:
    """Builds of each coating in the primary comparison; nothing where none of it could be answered."""
    rows = csv.DictReader(io.StringIO(content.decode("utf-8", errors="replace")))
    primary = [row for row in rows if row.get("role") == "primary" and row.get("estimate")]
    return tuple(f"{row['coating']}:{row['builds']}:{row['builds_reference']}" for row in primary)


def _rows(content: bytes, columns: tuple[str, ...], verdict: bool) -> dict[tuple[str, Key], str]:
    rows = {}
    for row in csv.DictReader(io.StringIO(content.decode("utf-8", errors="replace"))):
        if not set(columns) <= set(row):
            continue  # another format: not comparable row by row
        number = int(row.get("cylinder") or 0)
        key = Key(row.get("engine") or "", number, row["coating"], row["phase"], row["at"])
        if "estimate" in row:
            rows[f"{COMPARED}{row['measure']}", key] = ", ".join(filter(None, (row["verdict"], row["estimate"])))
        elif verdict:
            rows[row["rule"], key] = row["word"]
        else:
            rows[row["measure"], key] = row["value"] or row["status"].replace("ok", "")
    return rows


def _at_head(program: Program, name: str) -> bytes | None:
    return _git(program, "show", f"HEAD:./{FOLDER}/{name}")


def _git(program: Program, *arguments: str) -> bytes | None:
    """What git says in the program's folder; None without git, outside a repository, or where it knows no such."""
    git = shutil.which("git")
    if git is None:
        return None
    try:
        done = subprocess.run(  # noqa: S603 - no shell, and nothing of the user's in the command but the folder
            [git, "-C", str(Path(program.folder)), *arguments],
            capture_output=True,
            timeout=_PATIENCE,
            check=False,
            stdin=subprocess.DEVNULL,
        )
    except (OSError, subprocess.TimeoutExpired):
        return None
    return done.stdout if done.returncode == 0 else None
