"""From the log of a long run to the slopes of its channels.

Three steps, since the memory of a bench has to come from other runs: each build tells how slowly its channels wander,
the program gives each what the others told, and then a build's slopes are drawn.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from statistics import fmean

import numpy as np

from sitegen.declarations import Step
from sitegen.methods import long_run
from sitegen.methods.long_run import Levels
from sitegen.methods.power import shift
from sitegen.program.model import Build, Phase, Program
from sitegen.streams.runlog.blowby import METERS, quiet_of
from sitegen.streams.runlog.hours.measures import BENCH, CHANNELS, LOST, MEMORY, WINDOWS, Channel
from sitegen.streams.runlog.hours.windows import (
    Hours,
    changes_on_record,
    channels_of,
    hours_of,
    in_seconds,
    levels,
    long_runs,
    stops_on_record,
)
from sitegen.streams.runlog.judged import base, channel_word
from sitegen.streams.runlog.steps import QUIET, answers, runs
from sitegen.vocabulary import Book, Key, Readings, Refused, Result, Series, Value, refused

HOURS = "exposure.hours"
READS = ("runlog", "events", "oil")
SEES = {
    "oil": ("engine", "phase", "use", "what", "hours")
}  # when it was filled: what a sample holds moves nothing here
STATED = "wander-stated"
EXTRAPOLATED = "extrapolated"
BY_DAY = "by-day"
REACHED = 0.99  # share of the planned hours from which on they count as run
LEVELS, MARKS, LINES = "hours.levels", "hours.changes", "hours.lines"  # series


def found_hours(
    program: Program, engine: str, readings: Mapping[str, Readings], book: Book
) -> Iterator[tuple[Build, Phase, Hours | Refused]]:
    """Each long run of a build that has a log."""
    wanted = {phase.id for phase in long_runs(program, program.build(engine))}
    for build, phase, log in runs(program, engine, readings):
        if phase.id not in wanted:
            continue
        told = list(changes_on_record(readings, engine, phase.id, _begun(program, build, phase, book)))
        try:
            stood = stops_on_record(readings, engine, phase.id)
            yield build, phase, hours_of(program, phase, log, in_seconds(log, told), stood)
        except Refused as why:
            yield build, phase, why


def _begun(program: Program, build: Build, phase: Phase, book: Book) -> float:
    """Hours run before a phase."""
    earlier = [each for each in program.phases_of(build) if each.order < phase.order]
    found = [value.value for each in earlier if (value := book.get(HOURS, build.key(phase=each.id))) is not None]
    return max((value for value in found if value is not None), default=0.0)


def _at(build: Build, phase: Phase, channel: str) -> Key:
    """A channel of one cylinder belongs to it."""
    return build.key(base(channel)[1], phase.id)


# ---- the windows, and how slowly each channel wanders ---------------------------------------------------------------


def run_windows(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """Windows that count and that are lost, the levels for the page, and the memory of each channel."""
    import pandas as pd

    for build, phase, hours in found_hours(program, engine, readings, book):
        key = build.key(phase=phase.id)
        if isinstance(hours, Refused):
            yield refused(WINDOWS.id, key, hours)
            continue
        yield Value(WINDOWS.id, key, float(len(hours.counted)), n=hours.planned)
        yield Value(LOST.id, key, float(sum(hours.lost.values())), n=hours.planned)
        drawn: list[tuple[str, float, float, int]] = []
        for channel in channels_of(hours.log):
            at = key._replace(at=channel)
            try:
                found = levels(program, hours, channel)
                drawn += [(channel, *row) for row in zip(found.hour, found.level, found.side.tolist(), strict=True)]
                yield Value(MEMORY.id, at, long_run.memory(found).time, n=len(found.level))
            except Refused as why:
                yield refused(MEMORY.id, at, why)
        frame = pd.DataFrame(drawn, columns=["channel", "hour", "level", "side"])
        yield Series(LEVELS, key, {"hour": "h"}, frame)
        told = [(each.hour, each.what, 1) for each in hours.changes]
        told += [(math.nan, what, count) for what, count in sorted(hours.lost.items())]
        yield Series(MARKS, key, {"hour": "h"}, pd.DataFrame(told, columns=["hour", "what", "many"]))


def run_bench(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """The slow time constant each build's slopes rest on: that of the other builds, never its own."""
    del engine, readings
    if stated_wander(program) is not None:
        return
    every = list(book.of(MEMORY.id))
    for own in every:
        others = [
            each.value
            for each in every
            if each.value is not None
            and each.key.engine != own.key.engine
            and (each.key.phase, each.key.at) == (own.key.phase, own.key.at)
        ]
        if others:
            yield Value(BENCH.id, own.key, fmean(others), n=len(others), of="build")
        else:
            yield refused(BENCH.id, own.key, Refused("bench-not-known"))


def stated_wander(program: Program) -> float | None:
    """Slow time constant [h] the program states; it stands for what logs would tell."""
    return None if program.run is None or program.run.wander is None else program.run.wander.time / 3600


# ---- the slopes -----------------------------------------------------------------------------------------------------


def run_slopes(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """Slope per 100 h of each channel, the least the run can show, and the level at the planned hours."""
    import pandas as pd

    for build, phase, hours in found_hours(program, engine, readings, book):
        if isinstance(hours, Refused):
            continue
        answered = answers(readings, engine, phase.id)
        drawn: list[tuple[str, int, float, float]] = []
        for channel in channels_of(hours.log):
            kind, key = CHANNELS[base(channel)[0]], _at(build, phase, channel)
            bench = book.get(BENCH.id, build.key(phase=phase.id, at=channel))
            time = stated_wander(program) if bench is None else bench.value
            try:
                found = believed(program, hours, channel, answered)
            except Refused as why:
                for measure in (kind.slope, kind.least, kind.ahead):
                    yield refused(measure.id, key, why)
                continue
            try:
                line = long_run.slope(found, time)
                share = _share(kind, found)
            except Refused as why:
                yield _least(program, kind, key, hours, found)
                yield refused(kind.slope.id, key, why)
                yield refused(kind.ahead.id, key, why)
                continue
            drawn += _ends(channel, found, line)
            yield from _told(kind, key, hours, line, share, frozenset() if bench is not None else frozenset({STATED}))
        if drawn:
            frame = pd.DataFrame(drawn, columns=["channel", "side", "hour", "level"])
            yield Series(LINES, build.key(phase=phase.id), {"hour": "h"}, frame)


def _ends(channel: str, found: Levels, line: long_run.Slope) -> Iterator[tuple[str, int, float, float]]:
    """Both ends of the line on each side of a change."""
    for side in dict.fromkeys(side for _, _, side in line.block):
        start = fmean(level - line.value / long_run.PER * hour for hour, level, own in line.block if own == side)
        hours = found.hour[found.side == side]
        for hour in (float(hours.min()), float(hours.max())):
            yield channel, side, hour, start + line.value / long_run.PER * hour


def believed(program: Program, hours: Hours, channel: str, answered: Mapping[str, bool]) -> Levels:
    """Levels of a channel that can be believed."""
    if channel not in hours.log.channels:
        raise Refused("no-channel")
    if channel in METERS:
        answer = answered.get(hours.log.meters.get(channel, ""))
        if answer is False:
            raise Refused("meter-check-failed")
        if answer is None and (why := quiet_of(hours.log)):
            raise Refused(why)
    elif QUIET & set(channel_word(hours.log, channel).split(", ")):
        raise Refused("channel-flat")
    if not hours.known:
        raise Refused("hours-not-known")
    found = levels(program, hours, channel)
    if not np.ptp(found.level) > 0:
        raise Refused("channel-flat")
    return found


def _share(kind: Channel, found: Levels) -> float:
    """What turns a slope in the unit of the level into that of its measure."""
    mean = float(found.level.mean())
    if not kind.relative:
        return 1.0
    if mean <= 0:
        raise Refused("not-positive")
    return 100 / mean


def _least(program: Program, kind: Channel, key: Key, hours: Hours, found: Levels) -> Value:
    """By the wander the run had itself; of blow-by no less than by the wander the program states."""
    stated = None if program.run is None else program.run.wander
    try:
        share = _share(kind, found)
        known = long_run.memory(found).least * share
        if kind.name == METERS[0] and stated is not None and stated.blowby is not None:
            wandering, hourly = 100 * stated.blowby, 100 * stated.hourly
            known = max(known, long_run.stated_memory(stated.time / 3600, wandering, hourly).least)
        least = long_run.least_slope(hours.run, long_run.Memory(0.0, known), len(np.unique(found.side)))
    except Refused as why:
        return refused(kind.least.id, key, why)
    return Value(kind.least.id, key, least, n=len(found.level))


def _told(
    kind: Channel, key: Key, hours: Hours, line: long_run.Slope, share: float, taken: frozenset[str]
) -> Iterator[Value]:
    """The slope, the least such a run shows by what it scattered, and the level at the planned hours."""
    flags = taken | frozenset({BY_DAY} if line.by_day else ())
    value, low, high, se = (each * share for each in (line.value, line.low, line.high, line.se))
    yield Value(kind.slope.id, key, value, low, high, se, float(line.df), n=line.blocks, flags=flags)
    yield Value(kind.least.id, key, shift(line.df) * se, n=line.blocks)
    try:
        level, low, high = long_run.at_hours(line, hours.to_run)
    except Refused as why:
        yield refused(kind.ahead.id, key, why)
        return
    flags |= frozenset() if hours.run >= REACHED * hours.to_run else {EXTRAPOLATED}
    yield Value(kind.ahead.id, key, level, low, high, flags=flags)


STEPS = (
    Step("hours-windows", (WINDOWS, LOST, MEMORY), run_windows, reads=READS, sees=SEES, needs=(HOURS,), revision=2),
    Step("hours-bench", (BENCH,), run_bench, needs=(MEMORY.id,), scope="program"),
    Step(
        "hours-slopes",
        tuple(measure for each in CHANNELS.values() for measure in (each.slope, each.least, each.ahead)),
        run_slopes,
        reads=READS,
        sees=SEES,
        needs=(HOURS, BENCH.id),
        revision=4,
    ),
)
