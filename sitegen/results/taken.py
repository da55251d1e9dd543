"""Decisions that were taken, against what stands today: on which results, and what they rest on that moved since."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from functools import partial
from pathlib import Path

from sitegen.git import git
from sitegen.program.model import Decision, Program, Standing
from sitegen.results import alike
from sitegen.results.committed import UNREADABLE, contents, states, whole_history
from sitegen.results.files import FOLDER, FORMAT, TABLES, results_id
from sitegen.results.seen import moved, seen
from sitegen.results.upgrade import format_of, upgraded
from sitegen.shelves import NONE, Shelves, key_of
from sitegen.vocabulary import Problem

MOST_STATES = 200  # commits of the results that are looked at
RULES = ("criterion:", "decision")  # the answers a decision about a coating rests on


def standings(program: Program, fresh: Mapping[str, bytes], shelves: Shelves = NONE) -> tuple[Standing, ...]:
    """Each decision with what moved since: the answers about its coating, and the values these rest on."""
    if not program.decisions:
        return ()
    known = states_of(program, shelves)
    return tuple(_standing(program, each, known, fresh) for each in program.decisions)


def problems(program: Program, shelves: Shelves = NONE) -> list[Problem]:
    """A warning for each decision on results that git does not hold; none where no history is known."""
    if not program.decisions or not whole_history(program):
        return []
    known = dict(states_of(program, shelves))
    return [
        Problem(
            each.where.file, each.where.line, each.where.column, "decision-on-unknown",
            f'the decision of {each.on} about {each.coating} is on results "{each.results}", which git does not hold',
            "the short name of committed results, as it stands at the foot of their pages",
            next_step="commit the results a decision is taken on, then write down the decision", level="warning",
        )
        for each in program.decisions
        if not any(each.results.startswith(name) for name in known)
    ]  # fmt: skip


def _standing(
    program: Program, decision: Decision, known: Sequence[tuple[str, str]], fresh: Mapping[str, bytes]
) -> Standing:
    wanted = partial(_rests_on, program, decision.coating)
    for name, tree in known:
        if decision.results.startswith(name):
            try:
                files = upgraded(files_of(program, [tree])[0], FORMAT)
                as_of = json.loads(files.get("provenance.json", b"{}")).get("as_of") or ""
                return Standing(decision, moved(seen(files, wanted), seen(fresh, wanted)), as_of)
            except UNREADABLE:
                continue  # an earlier commit may hold the same results beside a provenance that can be read
    return Standing(decision, None)


def _rests_on(program: Program, coating: str, table: str, row: alike.Row) -> bool:
    """Whether a decision about a coating rests on a row: an answer about it, or a value that enters one."""
    if table == "verdicts.csv":
        return row["rule"].startswith(RULES) and row["coating"] == coating and not row["engine"]
    for each in program.criteria:
        held = {coating, program.reference} if each.sense.endswith("reference") else {coating}
        named = (row["measure"], row["phase"], row["at"]) == (each.measure, each.phase, each.at)
        if named and coating in each.coatings and row["engine"] and row["coating"] in held:
            return True
    return False


def states_of(program: Program, shelves: Shelves) -> tuple[tuple[str, str], ...]:
    """Short name and tree of each state of the results in git, the latest first, where its history is whole."""
    commits = states(program, FOLDER, MOST_STATES) if whole_history(program) else []
    told = "".join(f"{commit}:./{FOLDER}\n" for commit in commits).encode()
    listed = (git(Path(program.folder), "cat-file", "--batch-check", told=told) or b"") if commits else b""
    trees = [line.split(" ")[0] for line in listed.decode().splitlines() if line.split(" ")[1:2] == ["tree"]]
    named = _names(program, [*dict.fromkeys(trees)], shelves)
    return tuple((name, tree) for tree, name in named.items() if name)


def _names(program: Program, trees: Sequence[str], shelves: Shelves) -> dict[str, str]:
    """Short name of the results in each tree, as it was printed then; "" where they cannot be compared with today's."""
    keys = {tree: key_of("results in git", tree) if shelves.open else "" for tree in trees}
    for tree in [each for each in trees if each not in _NAMED]:
        if shelves.open and (kept := shelves.find(keys[tree], json.loads)) is not None:
            _NAMED[tree] = str(kept)
    unknown = [each for each in trees if each not in _NAMED]
    for start in range(0, len(unknown), _AT_ONCE):
        for tree, files in zip(own := unknown[start : start + _AT_ONCE], files_of(program, own), strict=True):
            good = set(TABLES) <= set(files) and 1 <= format_of(files) <= FORMAT
            _NAMED[tree] = results_id(files) if good else ""
            if shelves.open:
                shelves.put(keys[tree], _NAMED[tree], lambda name: json.dumps(name).encode())
    return {tree: _NAMED[tree] for tree in trees}


_NAMED: dict[str, str] = {}  # tree -> name: what a tree of git holds never changes
_AT_ONCE = 8  # trees, so that few are in memory


def files_of(program: Program, trees: Sequence[str]) -> list[dict[str, bytes]]:
    """The result files in each tree."""
    names = (*TABLES, "provenance.json")
    held = contents(program, [f"{tree}:{name}" for tree in trees for name in names])
    rows = (held[at : at + len(names)] for at in range(0, len(held), len(names)))
    return [{name: own for name, own in zip(names, row, strict=True) if own is not None} for row in rows]
