"""Two states of a program compared: what moved, and which change of the files moved it.

Each change is put in by itself, one after another, and everything is worked out again: what moves then, moved because
of it. What differs between the results as they were written and the same files worked out today is the methods' doing.
"""

from __future__ import annotations

import json
import math
import tempfile
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from sitegen import releases, workflow
from sitegen.changing import states
from sitegen.changing.causes import Cause, causes
from sitegen.changing.states import CannotCompare, State
from sitegen.problems import as_text, errors
from sitegen.progress import Tell, untold
from sitegen.results import alike, moves
from sitegen.results.files import FORMAT, results_id
from sitegen.results.moves import Move, Where
from sitegen.results.upgrade import UnknownFormatError, upgraded
from sitegen.shelves import NONE, Shelves


@dataclass(frozen=True)
class Reason:
    """Changes that could only be put in together, mostly one, and how many rows each kind of row moved."""

    kinds: tuple[str, ...]
    what: tuple[str, ...]
    moved: int  # rows in all
    files: tuple[str, ...] = ()  # from the programs folder


@dataclass(frozen=True)
class Compared:
    """What differs between two states of a program's results."""

    program: str
    old: str  # short name of the commit
    new: str  # the same, or "now"
    results: tuple[str, str]  # their short names
    days: tuple[str, str]  # ISO date of the newest record
    moved: tuple[Move, ...]  # beyond their intervals, answers first
    because: Mapping[Where, tuple[int, ...]]  # places of the reasons a row moved for
    reasons: tuple[Reason, ...]
    within: int  # rows that moved within their intervals
    loose: int  # numbers that moved and have no interval
    added: Mapping[tuple[str, str, str], int] = field(default_factory=dict)  # table, build, phase -> rows
    gone: Mapping[tuple[str, str, str], int] = field(default_factory=dict)
    notes: tuple[str, ...] = ()


def compare(folder: Path, program: str, old: str, new: str, shelves: Shelves = NONE, tell: Tell = untold) -> Compared:
    """The program in a folder of programs at a revision, against another one or "now". Raises `CannotCompare`."""
    with tempfile.TemporaryDirectory(prefix="sitegen-") as made:
        home = Path(made)
        first = states.of_revision(folder, program, old, home / "old")
        last = (
            states.of_now(folder, program, home / "new")
            if new == states.NOW
            else states.of_revision(folder, program, new, home / "new")
        )
        return _Comparing(program, first, last, home / "work", shelves, tell).done()


class _Comparing:
    """One comparison under way."""

    def __init__(self, program: str, first: State, last: State, work: Path, shelves: Shelves, tell: Tell) -> None:
        self._program, self._first, self._last, self._work = program, first, last, work
        self._shelves, self._tell = shelves, tell
        self._reasons: list[Reason] = []
        self._because: dict[Where, list[int]] = {}
        self._notes: list[str] = []

    def done(self) -> Compared:
        before, old_inputs = self._worked(self._first.folder, self._first.name)
        after, new_inputs = self._worked(self._last.folder, self._last.name)
        start, end = self._stored(self._first) or before, self._stored(self._last) or after
        self._noted("methods", (_methods(start, before),), moves.between(start, before))
        self._step_by_step(before, after, causes(self._first.folder, self._last.folder, self._program,
                                                 {**old_inputs, **new_inputs}))  # fmt: skip
        self._noted("methods", (_methods(after, end),), moves.between(after, end))
        every = moves.between(start, end)
        told = [move for move in every.values() if moves.beyond(move)]
        told.sort(key=lambda move: -_rank(move))  # answers keep their order, values go by how far they moved
        added, gone = (_counted(move for move in every.values() if not getattr(move, side)) for side in ("old", "new"))
        return Compared(
            self._program, self._first.name, self._last.name, (results_id(start), results_id(end)),
            (_day(start), _day(end)), tuple(told),
            {move.where: tuple(self._because.get(move.where, ())) for move in told}, tuple(self._reasons),
            *_others(every.values(), told), added, gone, tuple(self._notes),
        )  # fmt: skip

    def _stored(self, state: State) -> Mapping[str, bytes] | None:
        """The results as committed, in today's format; None where there are none that can be read."""
        if not state.stored:
            if state.name != states.NOW:
                self._notes.append(f"{state.name} holds no results: they were worked out from its files.")
            return None
        try:
            files = upgraded(state.stored, FORMAT)
            if any(map(alike.merging, files.values())):
                raise ValueError("it holds marks of a merge")  # noqa: TRY301 - one of several ways to be unreadable
            if moves.whole(files):
                return files
        except UnknownFormatError as fault:
            self._notes.append(f"The results of {state.name} are of {fault}, which this version does not know: they "
                               "were worked out from its files.")  # fmt: skip
            return None
        except (ValueError, KeyError):
            pass
        self._notes.append(f"The results of {state.name} cannot be read: they were worked out from its files.")
        return None

    def _worked(self, folder: Path, name: str) -> tuple[Mapping[str, bytes], Mapping[str, str]]:
        found = self._try(folder, name)
        if isinstance(found, str):
            raise CannotCompare(f"{self._program} has errors at {name}, so that nothing follows from it:\n{found}")
        return found

    def _try(self, folder: Path, name: str) -> tuple[Mapping[str, bytes], Mapping[str, str]] | str:
        """Results and inputs of a state; what is wrong with it as text where nothing follows from it."""
        self._tell(f"Working out {self._program} with {name}")
        examination = workflow.examine(folder / self._program, shelves=self._shelves)
        faults = errors(examination.problems)
        if examination.folder is None or faults:
            return as_text(faults)
        own = next(each for each in workflow.conclude(examination) if each.program.id == self._program)
        return own.files, own.inputs

    def _step_by_step(self, before: Mapping[str, bytes], after: Mapping[str, bytes], found: Sequence[Cause]) -> None:
        """Put in one change after another; those that cannot stand alone together with the next."""
        states.copy(self._first.folder, self._work)
        now, waiting = before, list[Cause]()
        for cause in found:
            cause.put(self._work, self._last.folder)
            waiting.append(cause)
            made = self._try(self._work, cause.what)
            if isinstance(made, str):
                continue
            self._put_in(waiting, now, made[0])
            now, waiting = made[0], []
        if waiting or moves.between(now, after):
            self._put_in(waiting, now, after)

    def _put_in(self, found: Sequence[Cause], before: Mapping[str, bytes], after: Mapping[str, bytes]) -> None:
        kinds = tuple(dict.fromkeys(cause.kind for cause in found)) or ("files",)
        what = tuple(cause.what for cause in found) or ("what the files hold besides",)
        files = tuple(dict.fromkeys(cause.file for cause in found))
        self._note(Reason(kinds, what, 0, files), moves.between(before, after))

    def _noted(self, kind: str, what: tuple[str, ...], found: Mapping[Where, Move]) -> None:
        if found:
            self._note(Reason((kind,), what, 0), found)

    def _note(self, reason: Reason, found: Mapping[Where, Move]) -> None:
        for where in found:
            self._because.setdefault(where, []).append(len(self._reasons))
        self._reasons.append(Reason(reason.kinds, reason.what, len(found), reason.files))


def _rank(move: Move) -> float:
    if move.table != "measures.csv":
        return math.inf
    found = moves.shift(move)
    return math.inf if math.isnan(found) else found


def _others(every: Iterable[Move], told: Sequence[Move]) -> tuple[int, int]:
    """How many more rows that are on both sides moved within their intervals, and how many have none."""
    known = {move.where for move in told}
    rest = [move for move in every if move.old and move.new and move.where not in known]
    loose = sum(move.table != "verdicts.csv" and math.isnan(moves.shift(move)) for move in rest)
    return len(rest) - loose, loose


def _counted(found: Iterable[Move]) -> dict[tuple[str, str, str], int]:
    counts: dict[tuple[str, str, str], int] = {}
    for move in found:
        where = (move.table, move.key.engine, move.key.phase)
        counts[where] = counts.get(where, 0) + 1
    return counts


def _day(files: Mapping[str, bytes]) -> str:
    return str(_provenance(files).get("as_of") or "")


def _provenance(files: Mapping[str, bytes]) -> dict[str, object]:
    try:
        found = json.loads(files["provenance.json"])
    except (KeyError, ValueError):
        return {}
    return found if isinstance(found, dict) else {}


def _methods(before: Mapping[str, bytes], after: Mapping[str, bytes]) -> str:
    """What was changed in the methods between those that wrote two results of the same files."""
    old, new = _provenance(before), _provenance(after)
    revised = releases.revised(old, new) or releases.revised(new, old)
    if revised:
        more = f"; and {len(revised) - releases.MOST} more" if len(revised) > releases.MOST else ""
        return f"methods: {'; '.join(revised[: releases.MOST])}{more}"
    versions = (
        f" (version {old.get('version')} → {new.get('version')})" if old.get("version") != new.get("version") else ""
    )
    return f"methods: sitegen worked it out otherwise{versions}"
