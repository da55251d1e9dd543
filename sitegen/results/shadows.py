"""Results beside which stands what they would be if an instrument had been off by all that was found, already then.

A value stays what was read and its interval reaches as far as that of the other: to one side, as the error points. The
instrument may have gone wrong on any day in between, by any part of it; both ends hold what lies between. Several
doubts are tried one by one, and never together.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TypeVar

from sitegen.declarations import Step, Stream
from sitegen.program.calibrated import Doubt, in_doubt
from sitegen.program.doubted import Doubted
from sitegen.program.model import Program
from sitegen.reasons import DIFFERS, IN_DOUBT
from sitegen.shelves import digest
from sitegen.tables.rows import given
from sitegen.tables.shadows import read_with, shifted
from sitegen.vocabulary import COMPARED, Change, Comparison, Key, Problem, Readings, Value, Verdict

COUNTED = ("ok", "excluded")  # of values with a number
EVERY = ""  # stands for all builds, as in hashes of what was recorded: of rings cut for their lot
Rows = Mapping[tuple[str, Key], Value]


@dataclass(frozen=True)
class Shadow:
    """All readings of a program with the error of one doubt in those that are in doubt."""

    doubt: Doubt
    readings: Mapping[str, Readings]  # by stream
    builds: Mapping[str, frozenset[str]]  # streams with readings in doubt -> their builds
    used: int  # readings in doubt that count
    days: tuple[str, str]  # first and last of these
    by_build: Mapping[str, int]
    undated: int

    def digests(self, recorded: Mapping[str, Mapping[str, str]]) -> dict[str, Mapping[str, str]]:
        """Hashes of what each build recorded, with the doubt in those it falls on."""
        mark = digest(self.doubt)
        return {
            name: {
                build: f"{sha} as {mark}" if build in self.builds.get(name, ()) or self._all(name, build) else sha
                for build, sha in own.items()
            }
            for name, own in recorded.items()
        }

    def _all(self, stream: str, build: str) -> bool:
        return build == EVERY and stream in self.builds


def shadows(program: Program, streams: Iterable[Stream], readings: Mapping[str, Readings]) -> list[Shadow]:
    """One of each doubt that falls on a reading; none in a program whose instruments were found good."""
    every = [doubt for own in in_doubt(program.definitions).values() for doubt in own]
    read = _Read(program, streams, readings) if every else None
    made = [_shadow(read, doubt) for doubt in every if read is not None]
    return [each for each in made if each.builds or each.undated]


class _Read:
    """What was read with which instrument, and when."""

    def __init__(self, program: Program, streams: Iterable[Stream], readings: Mapping[str, Readings]) -> None:
        self.program, self.streams, self.readings = program, [*streams], readings

    def rows(self, stream: Stream, instrument: str) -> Sequence[tuple[int, str]]:
        """Rows of a stream with their days."""
        own = self.readings[stream.name]
        if stream.read_with is not None:
            return stream.read_with(self.program, own, instrument)
        return read_with(stream.fields, own, instrument)

    def undated(self, stream: Stream, doubt: Doubt) -> list[int]:
        """Rows that count, bear no day, and may be in doubt by the days of all other records of their build."""
        own = self.readings[stream.name]
        rows = [n for n, day in self.rows(stream, doubt.instrument) if not day]
        counts, engines = (own.cells(name) if rows else () for name in ("use", "engine"))
        return [n for n in rows if counts[n] == "" and self._perhaps(engines[n], doubt)]

    def _perhaps(self, build: object, doubt: Doubt) -> bool:
        first, last = self._span.get(build, ("", "~"))
        return doubt.after < last and (not doubt.until or first <= doubt.until)

    @cached_property
    def _span(self) -> Mapping[object, tuple[str, str]]:
        """First and last day of the records of each build."""
        found: dict[object, tuple[str, str]] = {}
        for own in self.readings.values():
            for build, day in zip(own.cells("engine"), own.cells("date"), strict=False):
                if isinstance(build, str) and given(day):
                    first, last = found.get(build, (str(day), str(day)))
                    found[build] = min(first, str(day)), max(last, str(day))
        return found


def _shadow(read: _Read, doubt: Doubt) -> Shadow:
    other, builds = dict(read.readings), dict[str, frozenset[str]]()
    undated, days, whose = 0, list[str](), list[str]()
    for stream in read.streams:
        own = read.readings[stream.name]
        undated += len(read.undated(stream, doubt))
        rows = [(n, day) for n, day in read.rows(stream, doubt.instrument) if day and doubt.holds(day)]
        if not rows:
            continue
        counts, engines = own.cells("use"), own.cells("engine")
        days += [day for n, day in rows if counts[n] == ""]
        whose += [engines[n] for n, _ in rows if counts[n] == "" and isinstance(engines[n], str)]
        builds[stream.name] = frozenset(engines[n] if isinstance(engines[n], str) else EVERY for n, _ in rows)
        places = [n for n, _ in rows]
        if stream.shadow is not None:
            other[stream.name] = stream.shadow(read.program, own, doubt, places)
        else:
            other[stream.name] = shifted(stream.fields, own, doubt, places)
    ends = min(days, default=""), max(days, default="")
    return Shadow(doubt, other, builds, len(days), ends, dict(sorted(Counter(whose).items())), undated)


def undated(program: Program, streams: Iterable[Stream], readings: Mapping[str, Readings]) -> list[Problem]:
    """A warning for each stream with readings on no known day that may be in doubt with their instrument."""
    read, known = _Read(program, streams, readings), in_doubt(program.definitions)
    found = [
        (instrument, stream, sorted({n for doubt in own for n in read.undated(stream, doubt)}))
        for instrument, own in known.items()
        for stream in read.streams
    ]
    return [_undated(instrument, stream, readings[stream.name], rows) for instrument, stream, rows in found if rows]


def _undated(instrument: str, stream: Stream, own: Readings, rows: Sequence[int]) -> Problem:
    files, lines = own.cells("file"), own.cells("row")
    first, count = rows[0], len({files[n] for n in rows})
    what = "log" if stream.read_with else "reading"
    many = f"{len(rows)} {what}s with {instrument} bear" if len(rows) > 1 else f"one {what} with {instrument} bears"
    what = f"{many} no date" + (f" (in {count} files, of which this is the first)" if count > 1 else "")
    return Problem(
        files[first], int(lines[first]), 0, "in-doubt-undated",
        f"{what}, and the instrument was off for a time: taken as read, with nothing added to the interval",
        "the day of each", next_step="enter the day", column_name="" if stream.read_with else "date", level="warning",
    )  # fmt: skip


# ---- two results of one kind ----------------------------------------------------------------------------------------


def value_between(own: Value, other: Value | None) -> Value:
    """A value whose interval reaches as far as that of its shadow; None where that could not be worked out.

    Where the value has no interval it gets none: what else it may be off by is not known.
    """
    if other is not None and _numbers(own) == _numbers(other) and own.status == other.status:
        return own
    flagged = replace(own, flags=own.flags | {IN_DOUBT})
    if own.status == "below":
        high = None if other is None else other.high
        return replace(flagged, high=_most(own.high, high))
    if own.status not in COUNTED or (own.low is None and own.high is None):
        return flagged
    if other is None or other.status not in {*COUNTED, "below"} or (other.low is None and other.high is None):
        return replace(flagged, low=None, high=None)  # how far it reaches is not known any more
    low = min(0.0, own.low or 0.0) if other.status == "below" else other.low
    return replace(flagged, low=_least(own.low, low), high=_most(own.high, other.high))


def _numbers(value: Value) -> tuple[float | None, float | None, float | None]:
    return value.value, value.low, value.high


def _least(own: float | None, other: float | None) -> float | None:
    return None if own is None or other is None else min(own, other)


def _most(own: float | None, other: float | None) -> float | None:
    return None if own is None or other is None else max(own, other)


def comparison_between(own: Comparison, other: Comparison | None) -> Comparison:
    """A comparison whose interval reaches as far as that of its shadow, with the word that both have."""
    if own.verdict == "refused" or own == other:
        return own
    if other is None or other.verdict == "refused":
        return replace(own, verdict="cannot tell", reason=own.reason or DIFFERS, flags=own.flags | {IN_DOUBT})
    if (own.estimate, own.low, own.high, own.verdict) == (other.estimate, other.low, other.high, other.verdict):
        return own
    return replace(
        own, low=_least(own.low, other.low), high=_most(own.high, other.high),
        p=_most(own.p, other.p), p_randomised=_most(own.p_randomised, other.p_randomised),
        verdict=own.verdict if own.verdict == other.verdict else "cannot tell", flags=own.flags | {IN_DOUBT},
    )  # fmt: skip


def verdict_between(own: Verdict, other: Verdict | None, undecided: Mapping[str, str]) -> Verdict:
    """A word that its shadow says too; else the one that leaves the rule open.

    A rule without such a word keeps its own, which follows from the number beside it, with the reason.
    """
    if own == other:
        return own
    open_ = _undecided(own.rule, undecided)
    if other is not None and own.word == other.word:
        return _wider(own, other)
    if own.word == open_:
        return _wider(own, other)
    if not open_:
        return replace(own, reason=own.reason or DIFFERS)
    found = None if own.route.startswith("number-") else own.found  # a number says one thing, and not the other
    return replace(_wider(own, other), word=open_, found=found, reason=DIFFERS, error_rate=None)


def _wider(own: Verdict, other: Verdict | None) -> Verdict:
    """With an interval that holds both; none where the other is not known, its own where that is of another thing."""
    if other is None:
        return replace(own, low=None, high=None)
    if own.deciding != other.deciding and own.limit != other.limit:
        return own
    return replace(own, low=_least(own.low, other.low), high=_most(own.high, other.high))


def _undecided(rule: str, undecided: Mapping[str, str]) -> str:
    """The word that leaves a rule open, by its name or its beginning; "" none."""
    while rule and rule not in undecided:
        rule = rule[: max(rule.rfind(":"), rule.rfind(","), 0)]
    return undecided.get(rule, "")


# ---- all results of one shadow --------------------------------------------------------------------------------------

Result = TypeVar("Result", Value, Verdict, Comparison)


def _place(row: Comparison) -> tuple[str, ...]:
    return row.measure, row.phase, row.at, row.coating


def values_between(own: Rows, other: Rows) -> dict[tuple[str, Key], Value]:
    """Each value with that of its shadow."""
    return {where: value_between(value, other.get(where)) for where, value in own.items()}


def comparisons_between(own: Sequence[Comparison], other: Sequence[Comparison]) -> list[Comparison]:
    """Each comparison with that of its shadow."""
    theirs = {_place(each): each for each in other}
    return [comparison_between(each, theirs.get(_place(each))) for each in own]


def verdicts_between(
    program: Program, own: Sequence[Verdict], other: Sequence[Verdict], steps: Sequence[Step]
) -> list[Verdict]:
    """Each word with that of its shadow, and what follows from words."""
    undecided = {rule: word for step in steps for rule, word in step.undecided.items()}
    theirs = {(each.rule, each.key): each for each in other}
    made = [verdict_between(each, theirs.get((each.rule, each.key)), undecided) for each in own]
    if made == list(own):
        return made
    again = {
        (each.rule, each.key): each for step in steps if step.follow for each in step.follow(program, own, other, made)
    }
    return [again.get((each.rule, each.key), each) for each in made]


def told(
    shadow: Shadow,
    values: tuple[Rows, Rows],
    comparisons: tuple[Sequence[Comparison], Sequence[Comparison]],
    verdicts: tuple[Sequence[Verdict], Sequence[Verdict]],
) -> Doubted:
    """What one doubt does: values, comparisons and verdicts as they are without it and with it alone."""
    moved = {where for where, value in values[0].items() if values[1][where] is not value}
    wider = {where: _wider_by(values[0][where], values[1][where]) for where in moved}
    finite = {where: by for where, by in wider.items() if where[1].engine and 0 < by < math.inf}
    most_of = max(sorted(finite), key=lambda where: finite[where], default=None)
    compared = [(before, after) for before, after in zip(*comparisons, strict=True) if before != after]
    decided = [(before, after) for before, after in zip(*verdicts, strict=True) if before != after]
    said = [
        Change(COMPARED + before.measure, Key("", 0, before.coating, before.phase, before.at), before.verdict,
               after.verdict, verdict=True)
        for before, after in compared if before.verdict != after.verdict
    ] + [
        Change(before.rule, before.key, before.word, after.word, verdict=True)
        for before, after in decided if before.word != after.word
    ]  # fmt: skip
    return Doubted(
        shadow.doubt, shadow.used, shadow.days, shadow.undated, shadow.by_build, frozenset(moved),
        sum(by > 0 for by in wider.values()), 0.0 if most_of is None else finite[most_of], most_of,
        sum(values[1][where].high is None and values[0][where].high is not None for where in moved),
        len(compared) + sum(not before.key.engine for before, _ in decided), tuple(said),
    )  # fmt: skip


def _wider_by(before: Value, after: Value) -> float:
    """By what part an interval became wider, of a bound by what part it grew [-]; inf where that is no number."""
    if before.high is None or (before.low is None) != (before.value is None):
        return 0.0
    if after.high is None:
        return math.inf
    if before.low is None or after.low is None:
        return after.high / before.high - 1 if before.high > 0 else 0.0
    was, now = before.high - before.low, after.high - after.low
    return now / was - 1 if math.isfinite(now) and was > 0 else math.inf if now > was else 0.0
