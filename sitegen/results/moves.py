"""What differs between two states of the results, answers first: what moved beyond its interval, and what did not."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sitegen.results import alike
from sitegen.results.files import TABLES
from sitegen.vocabulary import Key

Where = tuple[str, ...]  # table and what names a row in it
_NUMBER = {"measures.csv": "value", "comparisons.csv": "estimate", "verdicts.csv": "found"}
_WORD = {"measures.csv": "status", "comparisons.csv": "verdict", "verdicts.csv": "word"}
ORDER = ("verdicts.csv", "comparisons.csv", "measures.csv")
# kinds of answer in the order they are told; a rule is of the first that its name begins with
FIRST = ("decision", "criterion:", "seating", "")


@dataclass(frozen=True)
class Move:
    """One row that is not as it was."""

    where: Where
    old: alike.Row  # empty: it is new
    new: alike.Row  # empty: it is gone

    @property
    def table(self) -> str:
        return self.where[0]

    @property
    def what(self) -> str:
        """The rule of a verdict, else the measure."""
        row = self.new or self.old
        return row["rule" if self.table == "verdicts.csv" else "measure"]

    @property
    def key(self) -> Key:
        row = self.new or self.old
        return Key(row.get("engine", ""), int(row.get("cylinder") or 0), row["coating"], row["phase"], row["at"])

    @property
    def words(self) -> tuple[str, str]:
        """Its word before and after; of a value "" where it has one."""
        name = _WORD[self.table]
        before, after = (row.get(name, "").replace("ok", "") for row in (self.old, self.new))
        return before, after

    def told(self, row: alike.Row) -> str:
        """ "fails, 0.391 (0.355 to 0.415)", as stored; "" where there was none."""
        if not row:
            return ""
        word = row[_WORD[self.table]].replace("ok", "")
        value, low, high = (row.get(name, "") for name in (_NUMBER[self.table], "low", "high"))
        number = f"{value} ({low} to {high})" if value and low and high else value
        limit = row.get("limit", "")
        return ", ".join(filter(None, (word, number, f"limit {limit}" if limit else "")))


def between(old: Mapping[str, bytes], new: Mapping[str, bytes]) -> dict[Where, Move]:
    """Every row whose word or number differs by more than a last digit, answers first."""
    found = {}
    for table in ORDER:
        if old.get(table) == new.get(table):
            continue
        before, after = ({alike.key_of(table, row): row for row in _rows(each, table)} for each in (old, new))
        for where in sorted(before.keys() | after.keys(), key=lambda key: (_rank(table, key), key)):
            was, now = before.get(where, {}), after.get(where, {})
            shown = {_NUMBER[table], _WORD[table], "limit"}
            if not was or not now or shown & set(alike.differing(table, was, now)):
                found[table, *where] = Move((table, *where), was, now)
    return found


def _rows(files: Mapping[str, bytes], table: str) -> Sequence[alike.Row]:
    return alike.rows(files[table]) if table in files else ()


def _rank(table: str, key: tuple[str, ...]) -> int:
    if table != "verdicts.csv":
        return 0
    return next(n for n, begin in enumerate(FIRST) if key[0].startswith(begin))


def beyond(move: Move) -> bool:
    """Whether a row says something else than before: another word, or a number outside the interval it had.

    Of an answer about the program as a whole another limit counts, too. A number without an interval counts for nothing
    here, new rows and those that are gone neither: they are told by how many they are.
    """
    if not move.old or not move.new:
        return False
    if move.words[0] != move.words[1]:
        return True
    if move.table == "verdicts.csv":  # its number is that of a measure, which is told there
        return not move.key.engine and move.old.get("limit", "") != move.new.get("limit", "")
    return shift(move) > 1


def shift(move: Move) -> float:
    """How far a number moved, in halves of the interval it had or has, whichever is narrower; nan without any."""
    before, after = (_numbers(move.table, row) for row in (move.old, move.new))
    halves = [each[1] for each in (before, after) if each is not None and not math.isnan(each[1])]
    if before is None or after is None or not halves:
        return math.nan
    half = min(halves)
    moved = abs(after[0] - before[0])
    return moved / half if half > 0 else math.inf if moved else 0.0


def _numbers(table: str, row: alike.Row) -> tuple[float, float] | None:
    """A number and how far its interval reaches on the nearer side; nan where it has none about it."""
    try:
        value = float(row[_NUMBER[table]])
    except (KeyError, ValueError):
        return None
    try:
        half = min(value - float(row["low"]), float(row["high"]) - value)
    except ValueError:
        return value, math.nan
    return value, half if 0 <= half < math.inf else math.nan


def whole(files: Mapping[str, bytes]) -> bool:
    """Whether these are results that can be compared: every table is there."""
    return set(TABLES) <= set(files)
