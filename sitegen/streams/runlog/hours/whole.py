"""Blow-by over all hours of a build: phases between which it was stopped for a check put one behind the other.

What comes out is one figure a build, whichever hour it ended at: a slope to its own end, and its level at the last hour
all builds reached. Rings that were taken out begin anew, so only the hours since then count.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import fmean

import numpy as np

from sitegen.declarations import Step
from sitegen.methods import long_run
from sitegen.methods.ended import level_at
from sitegen.methods.intervals import student_95
from sitegen.methods.long_run import Levels
from sitegen.methods.power import shift
from sitegen.program.model import Build, Phase, Program
from sitegen.streams.runlog.blowby import METERS
from sitegen.streams.runlog.hours import steps as by_phase
from sitegen.streams.runlog.hours.measures import CHANNELS
from sitegen.streams.runlog.hours.windows import Hours, long_runs
from sitegen.streams.runlog.steps import answers
from sitegen.vocabulary import Book, Key, Measure, Readings, Refused, Result, Series, Value, refused

_BLOWBY = CHANNELS["blowby"]
_ALL = "The long runs of a build since its rings were last fitted, put one behind the other; the time of day of their "
_ALL += "logs joins them. A change of oil between them gives each side a level of its own. "
HOURS = Measure(
    id="hours.run",
    title="hours run in the long phases",
    unit="h",
    better="",
    method="Running time of all phases of kind durability up to now.",
    formula="sum over the phases",
    source="definition",
    interval="",
)
MEMORY = Measure(
    id="hours.whole_memory",
    title="slow time constant of blow-by over all hours",
    unit="h",
    better="",
    method=_ALL + "As for a single run.",
    formula="restricted likelihood of a wander beside noise on sixty blocks",
    source="Patterson and Thompson, Biometrika 58 (1971) 545",
    interval="",
)
BENCH = Measure(
    id="hours.whole_bench",
    title="slow time constant taken over all hours",
    unit="h",
    better="",
    method="As the program states it, else the mean of those of the other builds.",
    formula="mean over the other builds",
    source="as for a single run",
    interval="",
)
LAST = Measure(
    id="hours.last_common",
    title="last hour that all builds reached",
    unit="h",
    better="",
    method="Least of the hours run of the builds whose long runs were logged; those ended by what is compared apart.",
    formula="least",
    source="definition",
    interval="",
)
SLOPE = replace(
    _BLOWBY.slope,
    id="hours.whole_slope",
    title="slope of blow-by to the end of a build",
    method=_ALL + _BLOWBY.slope.method,
    source="B. Schmeiser, Operations Research 30 (1982) 556; from three sides on with two degrees of freedom fewer: "
    "coverage of two to four runs simulated, 95 to 98 %",
    to_the_end=True,
)
LEAST = replace(
    _BLOWBY.least,
    id="hours.whole_least",
    title="least slope of blow-by over all hours",
    method=_ALL + _BLOWBY.least.method,
)
LEVEL = Measure(
    id="hours.level",
    title="blow-by at the last hour all builds reached",
    unit=_BLOWBY.unit,
    better="less",
    method="Mean of the last five windows at or before that hour, so that builds are compared at one hour, whichever "
    "they ended at.",
    formula="mean",
    source="simulated: coatings that are alike differ in 5.3 of 100 comparisons by t; by what was read last in 7.5",
    limits="The hour moves with the build that ended first.",
    interval="",
    compare="ratio",
    to_the_end=True,
    of_program=True,
)
LEVELS = "hours.whole_levels"  # series


@dataclass(frozen=True)
class Whole:
    """All hours of a build."""

    run: float  # h, of all its long phases
    levels: Levels  # of blow-by, since its rings were last fitted
    drawn: Sequence[tuple[float, float]]  # hour and level of every window


def whole(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Whole:
    """The levels of blow-by over all hours. Refuses as the levels of each phase do, and "no-log" without any."""
    build = program.build(engine)
    rows: list[Levels] = []
    drawn: list[tuple[float, float]] = []
    run, side, day, fitted = 0.0, 0, None, None
    for _, phase, found in by_phase.found_hours(program, engine, readings, book):
        if isinstance(found, Refused):
            raise found
        own = by_phase.believed(program, found, METERS[0], answers(readings, engine, phase.id))
        assembly = build.assembly_of(phase, program)
        if assembly is not fitted:
            rows, fitted, day = [], assembly, None
        side += bool(rows) and _filled(readings, engine, phase)
        start = _day(found)
        day = start if day is None else day
        away = start - day if rows or math.isnan(start) else 0.0
        rows.append(Levels(own.hour + run, own.clock + away, own.level, own.side + side))
        side = int(rows[-1].side.max())
        drawn += zip(rows[-1].hour.tolist(), own.level.tolist(), strict=True)
        run += found.run
    if not rows:
        raise Refused("no-log")
    parts = ([getattr(each, name) for each in rows] for name in ("hour", "clock", "level", "side"))
    return Whole(run, Levels(*(np.concatenate(part) for part in parts)), drawn)


def _filled(readings: Mapping[str, Readings], engine: str, phase: Phase) -> bool:
    """Whether the sump was filled anew before a phase, at no hour of its own."""
    oil = readings["oil"].frame
    own = oil[(oil["engine"] == engine) & (oil["phase"] == phase.id) & (oil["use"] == "") & (oil["what"] == "fill")]
    return bool(own["hours"].isna().any())


def _day(found: Hours) -> float:
    """When a log begins [h]; not a number where it bears no time of day."""
    if not found.log.start:
        return math.nan
    return datetime.datetime.fromisoformat(found.log.start).replace(tzinfo=datetime.UTC).timestamp() / 3600


def run_memory(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """How far a build ran, and how slowly its blow-by wanders over all hours."""
    build = program.build(engine)
    if not any(True for _ in long_runs(program, build)):
        return
    try:
        found = whole(program, engine, readings, book)
    except Refused as why:
        if why.code != "no-log":
            yield refused(MEMORY.id, build.key(), why)
        return
    yield Value(HOURS.id, build.key(), found.run, flags=_disagrees(build, found.run))
    try:
        yield Value(MEMORY.id, build.key(), long_run.memory(found.levels).time, n=len(found.levels.level))
    except Refused as why:
        yield refused(MEMORY.id, build.key(), why)


SIDES, TAKEN_OFF = 3, 2  # sides from which on degrees of freedom are taken off, and how many
DISAGREE = 0.02  # share of the hours by which stated and logged ones may differ; common practice, no source


def _disagrees(build: Build, run: float) -> frozenset[str]:
    stated = build.ended.at / 3600 if build.ended is not None else run
    return frozenset({"hours-disagree"}) if abs(stated - run) > max(DISAGREE * run, 0.2) else frozenset()


def run_bench(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """The time constant each build's slope rests on, never its own; and the last hour all builds reached."""
    del engine, readings
    ended = {build.id for build in program.builds if build.ended is not None and build.ended.by_measure}
    ran = [value.value for value in book.of(HOURS.id) if value.key.engine not in ended and value.value]
    if ran:
        yield Value(LAST.id, Key(), min(ran), n=len(ran), of="build")
    stated = None if program.run is None or program.run.wander is None else program.run.wander.time / 3600
    every = list(book.of(MEMORY.id))
    for own in every:
        others = [each.value for each in every if each.value is not None and each.key.engine != own.key.engine]
        if stated is not None:
            yield Value(BENCH.id, own.key, stated, flags=frozenset({by_phase.STATED}))
        elif others:
            yield Value(BENCH.id, own.key, fmean(others), n=len(others), of="build")
        else:
            yield refused(BENCH.id, own.key, Refused("bench-not-known"))


def run_whole(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """Slope to the end of a build, the least it can show, and its level at the last hour all reached."""
    import pandas as pd

    key = program.build(engine).key()
    bench = book.get(BENCH.id, key)
    if bench is None:
        return
    try:
        found = whole(program, engine, readings, book)
    except Refused as why:
        yield from (refused(each.id, key, why) for each in (SLOPE, LEVEL))
        return
    yield Series(LEVELS, key, {"hour": "h"}, pd.DataFrame(found.drawn, columns=["hour", "level"]))
    yield from _slope(key, found, bench)
    last = book.get(LAST.id, Key())
    if last is not None and last.value is not None:
        try:
            hours, levels = found.levels.hour.tolist(), found.levels.level.tolist()
            yield Value(LEVEL.id, key, level_at(hours, levels, last.value))
        except Refused as why:
            yield refused(LEVEL.id, key, why)


def free(line: long_run.Slope, sides: int) -> int:
    """Degrees of freedom of a slope over several runs: with four sides those of the line hold 93 to 94 % (simulated).

    From three sides on two are taken off, which then holds 95 to 98 %: tests/methods/test_joined_runs.py.
    """
    return max(line.df - TAKEN_OFF, 1) if sides >= SIDES else line.df


def _slope(key: Key, found: Whole, bench: Value) -> Iterator[Value]:
    mean = float(found.levels.level.mean())
    if mean <= 0:
        yield refused(SLOPE.id, key, Refused("not-positive"))
        return
    sides = len(np.unique(found.levels.side))
    try:
        line = long_run.slope(found.levels, bench.value)
    except Refused as why:
        yield refused(SLOPE.id, key, why)
        yield _least(key, found, sides, mean)
        return
    df = free(line, sides)
    value, se = 100 * line.value / mean, 100 * line.se / mean
    half = student_95(df) * se
    yield Value(SLOPE.id, key, value, value - half, value + half, se, float(df), n=line.blocks, flags=bench.flags)
    yield Value(LEAST.id, key, shift(df) * se, n=line.blocks)


def _least(key: Key, found: Whole, sides: int, mean: float) -> Value:
    """Where no slope is told: by the wander the run had itself."""
    try:
        own = long_run.memory(found.levels)
        hours = float(found.levels.hour[-1] - found.levels.hour[0])
        least = long_run.least_slope(hours, long_run.Memory(0.0, own.least), sides)
    except Refused as why:
        return refused(LEAST.id, key, why)
    return Value(LEAST.id, key, 100 * least / mean, n=len(found.levels.level))


STEPS = (
    Step(
        "hours-whole-memory",
        (HOURS, MEMORY),
        run_memory,
        reads=by_phase.READS,
        sees=by_phase.SEES,
        needs=(by_phase.HOURS,),
        revision=2,
    ),
    Step("hours-whole-bench", (BENCH, LAST), run_bench, needs=(HOURS.id, MEMORY.id), scope="program"),
    Step(
        "hours-whole",
        (SLOPE, LEAST, LEVEL),
        run_whole,
        reads=by_phase.READS,
        sees=by_phase.SEES,
        needs=(by_phase.HOURS, BENCH.id, LAST.id),
        revision=4,
    ),
)
