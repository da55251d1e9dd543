"""Decisions that were taken, against what stands today: on which results, and what they rest on that moved since."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from functools import partial

from sitegen.program.model import Decision, Program, Standing
from sitegen.results import alike
from sitegen.results.committed import UNREADABLE, contents, states, whole_history
from sitegen.results.files import FOLDER, FORMAT, TABLES, results_id
from sitegen.results.seen import moved, seen
from sitegen.results.upgrade import upgraded
from sitegen.vocabulary import Problem

MOST_STATES = 200  # commits of the results that are looked at
RULES = ("criterion:", "decision")  # the answers a decision about a coating rests on


def standings(program: Program, fresh: Mapping[str, bytes]) -> tuple[Standing, ...]:
    """Each decision with what moved since: the answers about its coating, and the values these rest on."""
    if not program.decisions:
        return ()
    states = _states(program)
    return tuple(_standing(program, each, states, fresh) for each in program.decisions)


def problems(program: Program) -> list[Problem]:
    """A warning for each decision on results that git does not hold; none where no history is known."""
    if not program.decisions or not whole_history(program):
        return []
    known = _states(program)
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
    program: Program, decision: Decision, states: Mapping[str, Mapping[str, bytes]], fresh: Mapping[str, bytes]
) -> Standing:
    name = next((name for name in states if decision.results.startswith(name)), None)
    if name is None:
        return Standing(decision, None)
    wanted = partial(_rests_on, program, decision.coating)
    try:
        as_of = json.loads(states[name].get("provenance.json", b"{}")).get("as_of") or ""
        return Standing(decision, moved(seen(states[name], wanted), seen(fresh, wanted)), as_of)
    except UNREADABLE:
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


def _states(program: Program) -> dict[str, Mapping[str, bytes]]:
    """States of the results by their short name: those in git, the latest first, where its history is whole."""
    commits = states(program, FOLDER, MOST_STATES) if whole_history(program) else []
    wanted: Sequence[str] = (*TABLES, "provenance.json")
    found: dict[str, Mapping[str, bytes]] = {}
    stored = contents(program, [f"{commit}:./{FOLDER}/{name}" for commit in commits for name in wanted])
    for at in range(len(commits)):
        own = dict(zip(wanted, stored[at * len(wanted) : (at + 1) * len(wanted)], strict=True))
        files = {name: content for name, content in own.items() if content is not None}
        if not set(TABLES) <= set(files):
            continue
        name = results_id(files)  # as it was printed then, before a later version writes it anew
        try:
            found.setdefault(name, upgraded(files, FORMAT))
        except UNREADABLE:
            continue
    return found
