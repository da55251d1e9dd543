"""Channels of a long run watched for the same minute: blow-by and one more that turn for the worse together."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sitegen.declarations import Step
from sitegen.logs.join import Log
from sitegen.methods import coincidence, schedule
from sitegen.program.model import Build, Phase, Program
from sitegen.streams.runlog.alarms.measures import SIZE, WATCHED
from sitegen.streams.runlog.alarms.starts import judged
from sitegen.streams.runlog.judged import IDLE, base, channel_word, column, running
from sitegen.streams.runlog.steps import QUIET, answers, parts, runs
from sitegen.vocabulary import Book, Readings, Refused, Result, Value, Verdict, refused

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

RULE = "channels that turn together"  # of the verdict on a phase, and on the minute of an alarm
ALIKE = "moved-alike"  # flag of the hours watched
ALARM, LOOK, QUIET_RUN, NOT = "possible scuffing", "look here", "nothing", "not watched"
SPREAD = "spread"  # of the exhaust temperatures: the hottest cylinder over the one in the middle
HARMFUL = {coincidence.FIRST: 1, SPREAD: 1, "oil_pressure": -1, "torque": -1}
CYLINDERS = 3  # fewest whose middle one means something
MINUTE = 60.0  # s
HOUR = 3600.0  # s, of a cycle where a long step is run once
ASLEEP = 30  # min of one value in which a channel is not live; common practice, no source
STOP = 10  # min of standstill from which a run begins anew; common practice, no source
EQUAL = 0.01  # share of full demand within which it is the same; common practice, no source


@dataclass(frozen=True)
class Minutes:
    """A run by the minute."""

    channels: Mapping[str, Floats]  # means; not numbers where a channel is not live
    dead: Mapping[str, str]  # channel -> what is wrong with it
    minute: NDArray[np.int64]  # of the schedule
    cycle: NDArray[np.int64]
    held: Flags
    hottest: NDArray[np.int64]  # cylinder by minute; 0: none
    rest: Flags  # the engine stood still


def run(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """What each run of six hours and more was watched for, and what came up."""
    del book
    for build, phase, log in runs(program, engine, readings):
        key = build.key(phase=phase.id)
        if not log.running_seconds >= coincidence.SHORT.armed * HOUR:  # also where no speed was logged
            continue
        try:
            own = _minutes(program, phase, log, answers(readings, engine, phase.id))
            live = _live(own)
        except Refused as why:
            yield refused(WATCHED.id, key, why)
            yield Verdict(RULE, key, NOT, reason=why.code)
            continue
        yield from _told(build, phase, own, _watch(own, live))


def _watch(own: Minutes, live: Sequence[str]) -> coincidence.Watch:
    """The watch begins anew after a stop: what was done to oil, engine or bench moves a level and is no turn."""
    each = []
    for begin, end in _stretches(own.rest):
        part = slice(begin, end)
        found = coincidence.watch(
            {name: own.channels[name][part] for name in live}, HARMFUL, own.minute[part], own.cycle[part],
            own.held[part],
        )  # fmt: skip
        events = tuple(replace(event, minute=begin + event.minute) for event in found.events)
        each.append(replace(found, events=events))
    return coincidence.Watch(
        sum(one.hours for one in each),
        sum(one.short for one in each),
        tuple(e for one in each for e in one.events),
        {},
        frozenset(name for one in each for name in one.alike),
    )


def _stretches(rest: Flags) -> Iterator[tuple[int, int]]:
    """Minutes between stops: first and last, the last exclusive."""
    edges = np.flatnonzero(np.diff(np.r_[False, rest, False].astype(np.int8))).reshape(-1, 2)
    begin = 0
    for stop, start in edges.tolist():
        if start - stop >= STOP:
            yield begin, stop
            begin = start
    yield begin, len(rest)


def _live(own: Minutes) -> list[str]:
    """Channels that watch. Refuses `few-live-channels`."""
    live = [name for name, values in own.channels.items() if np.isfinite(values[own.held]).any()]
    if coincidence.FIRST not in live or len(live) < coincidence.FEWEST_LIVE:
        raise Refused("few-live-channels")
    return live


def _told(build: Build, phase: Phase, own: Minutes, found: coincidence.Watch) -> Iterator[Result]:
    key = build.key(phase=phase.id)
    flags = frozenset(f"channel-{word}" for words in own.dead.values() for word in words.split(", "))
    flags |= {ALIKE} if found.alike else frozenset()
    if not found.hours:
        yield refused(WATCHED.id, key, Refused("never-armed"))
        yield Verdict(RULE, key, NOT, reason="never-armed")
        return
    yield Value(WATCHED.id, key, found.hours, flags=flags)
    for event in found.events:
        at = f"minute-{event.minute}"
        cylinder = int(own.hottest[event.minute]) if SPREAD in event.sizes else 0
        for name, size in event.sizes.items():
            place = build.key(cylinder if name == SPREAD else 0, phase.id, f"{at}:{name}")
            yield Value(SIZE.id, place, size)
        if event.alarm:
            yield Verdict(RULE, build.key(cylinder, phase.id, at), ALARM)
    alarms = any(event.alarm for event in found.events)
    yield Verdict(RULE, key, ALARM if alarms else LOOK if found.events else QUIET_RUN)


# ---- by the minute --------------------------------------------------------------------------------------------------


def _minutes(program: Program, phase: Phase, log: Log, answered: Mapping[str, bool]) -> Minutes:
    """A run by the minute. Refuses `no-bands`, `no-schedule` and `no-cycle`."""
    rule = program.run
    if rule is None:
        raise Refused("no-bands")
    planned = parts(phase)
    place, cycle, kept = _schedule(log, phase)
    bands = schedule.Bands(rule.speed_band, rule.torque_band)
    t = log.bins["t"].to_numpy()
    followed = schedule.held(t, log.width, column(log, "speed"), column(log, "torque"), planned, bands, IDLE)
    good = judged(log, rule.cold_start) & kept
    for stray in followed.strays:
        good[(t >= stray.begin - log.width) & (t < stray.end)] = False
    number = np.floor((t + 1e-6) / MINUTE).astype(np.int64)
    first = np.searchsorted(number, np.arange(number[-1] + 1))
    count = np.bincount(number)
    held = np.bincount(number, good) >= np.maximum(count, 1)
    first = np.minimum(first, len(t) - 1)
    channels, dead, hottest = _channels(log, number, answered)
    minutes = np.where(held, place[first], -1)
    made = {name: _awake(values) for name, values in channels.items()}
    if "torque" in made:
        made["torque"] = _at_equal_demand(made["torque"], _mean(log, "demand", number), minutes, cycle[first], held)
    rest = np.bincount(number, running(log)) == 0
    return Minutes(made, dead, minutes, cycle[first], held, hottest, rest)


def _schedule(log: Log, phase: Phase) -> tuple[NDArray[np.int64], NDArray[np.int64], Flags]:
    """Minute of the schedule, how often it has been run, and whether it comes again, by bin.

    A schedule run over and over is its own cycle; of one run once, its longest step at one speed and torque, by hours.
    """
    if not phase.schedule:
        raise Refused("no-schedule")
    elapsed = (np.cumsum(running(log)) - running(log)) * log.width
    whole = sum(step.time for step in phase.schedule)
    if phase.repeat > 1:
        kept = elapsed < whole * phase.repeat
        return (elapsed % whole // MINUTE).astype(np.int64), (elapsed // whole).astype(np.int64), kept
    begins = np.cumsum([0.0, *(step.time for step in phase.schedule)])
    steady = [
        (step.time, -number) for number, step in enumerate(phase.schedule)
        if step.speed == step.speed_to and step.torque_end == step.torque
    ]  # fmt: skip
    longest, number = max(steady, default=(0.0, 0))
    if longest < coincidence.SHORT.armed * HOUR:
        raise Refused("no-cycle")
    since = elapsed - begins[-number]
    kept = (since >= 0) & (since < longest)
    since = np.maximum(since, 0.0)
    return (since % HOUR // MINUTE).astype(np.int64), (since // HOUR).astype(np.int64), kept


def _mean(log: Log, channel: str, number: NDArray[np.int64]) -> Floats | None:
    """Means by minute of the samples of a channel; None where it was not logged."""
    values = column(log, channel)
    if values is None or channel in log.stated:
        return None
    there = log.sampled(channel)
    count = np.bincount(number, there)
    total = np.bincount(number, np.where(there, values, 0.0))
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(np.where(count > 0, total / count, np.nan))


def _channels(
    log: Log, number: NDArray[np.int64], answered: Mapping[str, bool]
) -> tuple[dict[str, Floats], dict[str, str], NDArray[np.int64]]:
    """Minute means of what is watched, what is wrong with the rest, and the hottest cylinder of each minute."""
    found: dict[str, Floats] = {}
    dead: dict[str, str] = {}
    exhaust: dict[int, Floats] = {}
    for channel in log.channels:
        name, cylinder = base(channel)
        if name not in {*HARMFUL, "exhaust_temperature"} or (name == "torque" and "demand" not in log.facts):
            continue
        word = _lasting(channel_word(log, channel))
        if answered.get(log.meters.get(channel, "")) is False:
            word = "no answer"
        values = _mean(log, channel, number)
        if word or values is None:
            dead[channel] = word
        elif cylinder:
            exhaust[cylinder] = values
        else:
            found[channel] = values
    hottest = np.zeros(int(number[-1]) + 1, dtype=np.int64)
    if len(exhaust) >= CYLINDERS:
        table = np.array([_awake(each) for each in exhaust.values()])
        known = np.isfinite(table).all(axis=0)
        found[SPREAD] = np.where(known, table.max(axis=0) - np.median(table, axis=0), np.nan)
        hottest[known] = np.array(list(exhaust))[table[:, known].argmax(axis=0)]
    return found, dead, hottest


def _lasting(word: str) -> str:
    """What is wrong with a channel throughout; a standstill of some minutes only is left out minute by minute."""
    return ", ".join(each for each in word.split(", ") if each in (QUIET - {"stuck"}) | {"below-range"})


def _awake(values: Floats) -> Floats:
    """Without stretches in which a channel keeps one value too long to be live."""
    still = np.concatenate([[False], np.diff(values) == 0])
    made = values.copy()
    for begin, end in schedule.stretches(still):
        if end - begin + 2 > ASLEEP:
            made[begin - 1 : end + 1] = np.nan
    return made


def _at_equal_demand(
    torque: Floats, demand: Floats | None, minute: NDArray[np.int64], cycle: NDArray[np.int64], held: Flags
) -> Floats:
    """Torque where the demand is what it was at the same minute of the cycles before."""
    if demand is None:
        return np.full(len(torque), math.nan)
    kept = np.where(held, demand, np.nan)
    usual = [coincidence.usual(kept, minute, cycle, form.cycles) for form in (coincidence.LONG, coincidence.SHORT)]
    before = np.where(np.isfinite(usual[0]), usual[0], usual[1])
    with np.errstate(invalid="ignore"):
        # where nothing is known of before the torque itself still makes the median of later cycles
        return np.where(np.isnan(before) | (np.abs(demand - before) <= EQUAL), torque, np.nan)


STEP = Step("watch", (WATCHED, SIZE), run, reads=("runlog", "events"), revision=3)
