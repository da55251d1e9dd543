"""Crankcase pressure against blow-by over the hours of a run: the breather told from the rings."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping

import numpy as np

from sitegen.declarations import Step
from sitegen.logs.join import Log
from sitegen.methods import breather, long_run, schedule
from sitegen.methods.intervals import NORMAL_95, student_95
from sitegen.program.model import Phase, Program
from sitegen.streams.runlog.alarms.measures import NARROWS, POWER
from sitegen.streams.runlog.blowby import METERS
from sitegen.streams.runlog.hours.measures import BENCH
from sitegen.streams.runlog.hours.steps import READS, SEES, found_hours, stated_wander
from sitegen.streams.runlog.hours.windows import Hours
from sitegen.streams.runlog.judged import IDLE, channel_word, column
from sitegen.streams.runlog.steps import parts
from sitegen.vocabulary import Book, Key, Readings, Refused, Result, Value, Verdict, refused

RULE = "crankcase pressure against blow-by"
NARROWER, WIDER, RINGS, NONE = "breather narrows", "breather opens", "more past the rings", "no change shown"
PAIR = (METERS[0], "crankcase_pressure")


def run(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """Of each long run of a build in which both were logged."""
    for build, phase, hours in found_hours(program, engine, readings, book):
        if isinstance(hours, Refused) or not set(PAIR) <= set(hours.log.channels):
            continue
        key = build.key(phase=phase.id)
        times = [book.get(BENCH.id, key._replace(at=channel)) for channel in PAIR]
        known = [each.value for each in times if each is not None and each.value is not None]
        time = stated_wander(program)
        if time is None and len(known) == len(PAIR):
            time = max(known)
        yield from _told(key, phase, hours, time)


def _told(key: Key, phase: Phase, hours: Hours, time: float | None) -> Iterator[Result]:
    try:
        group, side, points = _points(phase, hours)
        found = breather.curve(*points)
    except Refused as why:
        yield refused(NARROWS.id, key, why)
        yield Verdict(RULE, key, "cannot tell", reason=why.code)
        return
    half = NORMAL_95 * found.exponent_se
    yield Value(POWER.id, key, found.exponent, found.exponent - half, found.exponent + half, se=found.exponent_se)
    place = np.searchsorted(group[:, 0], found.groups)
    hour, clock = group[place, 1], group[place, 2]
    try:
        lines = [
            long_run.slope(long_run.Levels(hour, clock, 100 * level, side[place]), time)
            for level in (found.restriction, found.flow)
        ]
    except Refused as why:
        told = Refused("bench-not-known") if why.code == "wander-not-known" else why
        yield refused(NARROWS.id, key, told)
        yield Verdict(RULE, key, "cannot tell", reason=told.code)
        return
    own, flow = lines
    by_power = student_95(own.df) * found.exponent_se * flow.value  # an error of n leaves a share of what the flow did
    half = math.hypot((own.high - own.low) / 2, by_power)
    low, high = own.value - half, own.value + half
    yield Value(NARROWS.id, key, own.value, low, high, n=own.blocks)
    word = NARROWER if low > 0 else WIDER if high < 0 else RINGS if flow.low > 0 else NONE
    yield Verdict(RULE, key, word)


def _points(phase: Phase, hours: Hours) -> tuple[np.ndarray, np.ndarray, tuple[np.ndarray, np.ndarray, np.ndarray]]:
    """By cycle its number, running hour and hour by the clock; its side of changes; and flow, pressure, cycle of each
    point. Refuses `channel-not-sound`, `flow-does-not-vary` where a cycle has one point only, `few-windows`.
    """
    log = hours.log
    if any(channel_word(log, channel) != "sound" for channel in PAIR):
        raise Refused("channel-not-sound")
    count = len(phase.schedule)
    if count < 2:
        raise Refused("flow-does-not-vary")
    t = log.bins["t"].to_numpy()
    bands = schedule.Bands(math.inf, math.inf)
    held = schedule.held(t, log.width, column(log, "speed"), column(log, "torque"), parts(phase), bands, IDLE)
    rows = []
    for place, begin, end in held.windows:
        part = phase.schedule[place % count]
        later = slice(*np.searchsorted(t, ((begin + end) / 2, end)))
        steady = part.speed == part.speed_to and part.torque_end == part.torque
        if steady and 2 * (end - begin) >= part.time:
            flow, pressure = (_mean(log, channel, later) for channel in PAIR)
            rows.append((place // count, (begin + end) / 2, flow, pressure))
    if not rows:
        raise Refused("few-windows")
    cycle, middle, flows, pressures = (np.array(each) for each in zip(*rows, strict=True))
    known = np.isfinite(flows) & np.isfinite(pressures)
    names = np.unique(cycle)
    at = np.array([middle[cycle == name].mean() for name in names])
    changes = sorted({each.at for each in hours.changes})
    clock = at / 3600 if hours.clocked else np.full(len(at), math.nan)
    side = np.searchsorted(changes, at).astype(np.int64)
    group = np.column_stack([names, hours.hour_at(at), clock])
    return group, side, (flows[known], pressures[known], cycle[known].astype(np.int64))


def _mean(log: Log, channel: str, own: slice) -> float:
    values = log.bins[channel].to_numpy()[own][log.sampled(channel)[own]]
    return float(values.mean()) if len(values) else math.nan


STEP = Step("breather", (NARROWS, POWER), run, reads=READS, sees=SEES, needs=("exposure.hours", BENCH.id), revision=2)
