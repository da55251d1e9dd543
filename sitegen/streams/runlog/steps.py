"""Steps from a joined log to what a run was: held or not, how hard, how warm, and whether its channels look right."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from sitegen.declarations import Step
from sitegen.logs.axis import GAP
from sitegen.logs.join import Log
from sitegen.methods import brake, health, schedule
from sitegen.program.model import Build, Phase, Program
from sitegen.rounding import interval
from sitegen.streams.runlog.measures import BMEP, HELD, MEANS, PISTON_SPEED, STOPPED
from sitegen.vocabulary import Book, Key, Readings, Refused, Result, Series, Value, Verdict, refused

CHANNEL = "channel"  # rule of the verdict on a logged channel
PLANNED = "run as planned"  # rule of the verdict on a phase
MOVES = frozenset({"blowby", "blowby_2", "torque"})  # channels that have to move while the engine runs
STEADY = frozenset({"speed", "ambient_pressure", "blowby_pressure"})  # may well hold one value through a run
TOLD = frozenset({"flat", "stuck", "zero", "below-range", "drifting-zero"})
QUIET = frozenset({"flat", "stuck", "zero"})  # what a meter that is dead, or a wonderful ring, looks like
FOLLOWS = frozenset({"oil_pressure"})  # channels that cannot keep one value while the speed changes
CHANGED, UNMOVED = 0.2, 0.002  # shares of the speed's and of such a channel's middle value; common practice, no source
NOT_RUN = "engine did not run"  # of every channel of a log in which the speed never rises
LONG_ENOUGH = 300.0  # s of running below which a slow channel is not judged; common practice, no source
MOSTLY = 0.5  # share of the running time for which a channel may stand still; common practice, no source
ANSWER = "meter-check"  # what the event log calls a check of a meter with flow applied
TIGHT = "crankcase-check"  # and one of the crankcase with the breather closed off
IDLE = 10.0  # rad/s below which the engine does not run: some 95 rpm, under any idle; common practice, no source


def runs(program: Program, engine: str, readings: Mapping[str, Readings]) -> Iterator[tuple[Build, Phase, Log]]:
    """Each phase of a build that has a log."""
    build = program.build(engine)
    for phase in program.phases_of(build):
        log = readings["runlog"].logs.get((engine, phase.id))
        if isinstance(log, Log):
            yield build, phase, log


def parts(phase: Phase) -> list[schedule.Part]:
    """The planned parts of a phase in the order they are run."""
    once = [
        schedule.Part(s.time, s.speed, s.speed_to, s.torque, s.reference_point, s.windows, s.torque_to)
        for s in phase.schedule
    ]
    return once * phase.repeat


def column(log: Log, channel: str) -> np.ndarray | None:
    """Means of a channel by bin; None where it was not logged."""
    return log.bins[channel].to_numpy() if channel in log.bins else None


def running(log: Log) -> np.ndarray:
    """Bins in which the engine ran; all of them where no speed was logged."""
    speed = column(log, "speed")
    return np.ones(len(log.bins), dtype=bool) if speed is None else np.nan_to_num(speed, nan=0.0) > IDLE


def answers(readings: Mapping[str, Readings], engine: str, phase: str) -> Mapping[str, bool]:
    """By meter, whether it answered every check of this phase with flow applied and the engine running."""
    frame = readings["events"].frame
    own = frame[
        (frame["engine"] == engine) & (frame["phase"] == phase) & (frame["what"] == ANSWER) & (frame["use"] == "")
    ]
    return {str(meter): bool((moved == "yes").all()) for meter, moved in own.groupby("meter", sort=True)["moved"]}


def crankcase(readings: Mapping[str, Readings], engine: str, order: Mapping[str, int], phase: str) -> bool | None:
    """What the last crankcase check up to a phase found: tight or not; None where there was none."""
    frame = readings["events"].frame
    own = frame[(frame["engine"] == engine) & (frame["what"] == TIGHT) & (frame["use"] == "")]
    upto = [(order[where], str(tight)) for where, tight in zip(own["phase"], own["tight"], strict=True)]
    found = [each for each in upto if each[0] <= order[phase]]
    return max(found)[1] == "yes" if found else None


# ---- against the schedule -------------------------------------------------------------------------------------------


def run_schedule(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """How each logged phase kept to its schedule, step by step, with its stops and excursions for the page."""
    import pandas as pd

    del book
    for build, phase, log in runs(program, engine, readings):
        key = build.key(phase=phase.id)
        speed = column(log, "speed")
        rule = program.run
        if rule is None or not phase.schedule:
            continue
        if speed is None:
            yield refused(HELD.id, key, Refused("no-speed"))
            continue
        try:
            found = _held(log, phase, program)
        except Refused as why:
            yield refused(HELD.id, key, why)
            continue
        yield Value(HELD.id, key, 100 * found.share)
        for place, share in enumerate(found.by_part, start=1):
            yield Value(HELD.id, key._replace(at=f"step-{place}"), 100 * share)
        yield Value(STOPPED.id, key, sum(end - begin for begin, end in found.stops) / 60, n=len(found.stops))
        shares = {phase.id: found.share} | {f"step-{n}": share for n, share in enumerate(found.by_part, start=1)}
        worst = min(shares, key=lambda each: shares[each])
        least, _, _ = interval(100 * shares[worst], None, None)
        word = "held" if least is not None and least >= 100 * rule.held else "not held"
        yield Verdict(
            PLANNED, key, word, limit=100 * rule.held, found=least, route="number-at-least",
            deciding=f"{HELD.id}@{worst}",
        )  # fmt: skip
        frame = pd.DataFrame(
            [("stop", begin, end, "", 0.0) for begin, end in found.stops]
            + [("hole", begin, end, "", 0.0) for begin, end in found.holes]
            + [("excursion", s.begin, s.end, s.channel, s.most) for s in found.strays],
            columns=["kind", "begin", "end", "channel", "most"],
        )
        yield Series("run.events", key, {"begin": "s", "end": "s"}, frame)


def _held(log: Log, phase: Phase, program: Program) -> schedule.Held:
    rule = program.run
    if rule is None:
        raise Refused("no-bands")
    bands = schedule.Bands(rule.speed_band, rule.torque_band)
    t = log.bins["t"].to_numpy()
    asked = {channel for step in phase.schedule for channel in step.windows}
    others = {channel: values for channel in sorted(asked) if (values := column(log, channel)) is not None}
    return schedule.held(t, log.width, column(log, "speed"), column(log, "torque"), parts(phase), bands, IDLE, others)


# ---- levels and health ----------------------------------------------------------------------------------------------


def run_levels(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """Means over the running time of each channel, and a word on every channel that does not look right."""
    del book
    for build, phase, log in runs(program, engine, readings):
        ran = running(log)
        words = dict(_health(log, answers(readings, engine, phase.id)))
        for channel, word in words.items():
            yield Verdict(CHANNEL, build.key(phase=phase.id, at=channel), word)
        key = build.key(phase=phase.id)
        yield from _brake(build, key, log, ran)
        for channel in log.channels:
            name, cylinder = base(channel)
            if name not in MEANS:
                continue
            measure, factor, offset = MEANS[name]
            own = log.bins[channel].to_numpy()[ran]
            own = own[np.isfinite(own)]
            at = build.key(cylinder, phase.id)
            if len(own) == 0:
                yield refused(measure.id, at, Refused("no-samples"))
                continue
            wrong = words.get(channel, "sound")
            flags = frozenset() if wrong == "sound" else frozenset(f"channel-{each}" for each in wrong.split(", "))
            yield Value(measure.id, at, float(own.mean()) * factor + offset, flags=flags)


def base(channel: str) -> tuple[str, int]:
    """Channel without its cylinder, and the cylinder (0: of the engine).

    >>> base("exhaust_temperature_3"), base("blowby_2"), base("speed")
    (('exhaust_temperature', 3), ('blowby_2', 0), ('speed', 0))
    """
    head, _, tail = channel.rpartition("_")
    if head in {"exhaust_temperature", "peak_pressure"} and tail.isdecimal():
        return head, int(tail)
    return channel, 0


def _brake(build: Build, key: Key, log: Log, ran: np.ndarray) -> Iterable[Value]:
    speed, torque = column(log, "speed"), column(log, "torque")
    if speed is None or not ran.any():
        return
    mean = float(np.nanmean(speed[ran]))
    yield Value(PISTON_SPEED.id, key, float(brake.mean_piston_speed(mean, build.engine_type.stroke)))
    if torque is None or not np.isfinite(torque[ran]).any():
        return
    kind = build.engine_type
    displaced = brake.displacement(kind.bore, kind.stroke, kind.cylinders)
    pressure = brake.brake_mean_pressure(float(np.nanmean(torque[ran])), displaced, kind.strokes)
    yield Value(BMEP.id, key, float(pressure) / 1e5)


@dataclass(frozen=True)
class Samples:
    """What was read of a channel: no line between samples, one value that is no number in every gap of the record."""

    value: np.ndarray  # mean of the samples of a bin, in SI
    spread: np.ndarray  # greatest less least of them
    at: np.ndarray  # s of the log
    moving: np.ndarray  # whether the engine turned
    step: float  # s, usual, from one to the next


def samples(log: Log, channel: str, values: np.ndarray | None = None) -> Samples:
    """The samples of a channel, by bin; `values` by bin stand in for its means."""
    there = np.flatnonzero(log.sampled(channel))
    at = log.bins["t"].to_numpy()[there]
    apart = np.diff(at)
    step = float(np.median(apart)) if len(apart) else log.width
    holes = np.flatnonzero(apart > GAP * step) + 1
    low, high = (log.bins[f"{channel}{end}"].to_numpy(dtype=float)[there] for end in (".low", ".high"))
    value = (log.bins[channel].to_numpy(dtype=float) if values is None else values)[there]
    return Samples(
        np.insert(value, holes, np.nan), np.insert(high - low, holes, 0.0), np.insert(at, holes, at[holes - 1] + step),
        np.insert(running(log)[there], holes, False), step,
    )  # fmt: skip


def channel_word(log: Log, channel: str) -> str:
    """What is wrong with a channel while the engine runs; "sound" where nothing is.

    A channel that has to move is held to all it can show. A temperature or a pressure may well stand still for minutes
    on the steps of its converter: of these only one that never moves, or stands for most of the run, is told; and of
    one that follows the speed, that it does not. All by the samples: a log of a row a minute has sixty an hour.
    """
    own = samples(log, channel)
    if "speed" in log.bins and not running(log).any():
        return NOT_RUN
    if channel in MOVES:
        known = own.value[np.isfinite(own.value)]
        steps = np.abs(np.diff(known))
        resolution = float(steps[steps > 0].min()) if (steps > 0).any() else None
        found = health.health(own.value, own.step, resolution, moving=own.moving, at=own.at, spread=own.spread).words
        return ", ".join(word for word in found if word in TOLD) or "sound"
    moving = own.moving & np.isfinite(own.value)
    value, spread = own.value[moving], own.spread[moving]
    if len(value) * own.step < LONG_ENOUGH or len(value) < health.STUCK_STEPS or channel in STEADY:
        return "sound"
    if channel in FOLLOWS and _unmoved(log, channel):
        return "flat"
    still = np.r_[False, (np.diff(value) == 0) & (spread[1:] <= 0) & (spread[:-1] <= 0)]
    edges = np.flatnonzero(np.diff(still.astype(int), prepend=0, append=0))
    longest = int(np.max(edges[1::2] - edges[::2])) + 1 if len(edges) else 1
    return "stuck" if longest > max(MOSTLY * len(value), health.STUCK_STEPS) else "sound"


def _unmoved(log: Log, channel: str) -> bool:
    """Whether a channel keeps its value while the speed changes, the ends of both left out."""
    ran = running(log) & log.sampled(channel)
    speed, value = column(log, "speed"), column(log, channel)
    if speed is None or value is None or not ran.any():
        return False
    slow, usual, fast = np.nanquantile(speed[ran], (0.05, 0.5, 0.95))
    low, middle, high = np.nanquantile(value[ran], (0.05, 0.5, 0.95))
    return bool(fast - slow > CHANGED * usual and high - low <= UNMOVED * abs(middle))


def _health(log: Log, answered: Mapping[str, bool]) -> Iterator[tuple[str, str]]:
    """A word for each channel: sound, or what is wrong with it. A meter that answered its check may well be quiet."""
    for channel in log.channels:
        meter = log.meters.get(channel, "")
        if answered.get(meter) is False:
            yield channel, "no answer"
            continue
        word = channel_word(log, channel)
        yield channel, "sound" if answered.get(meter) and QUIET & set(word.split(", ")) else word


SCHEDULE = Step("run-schedule", (HELD, STOPPED), run_schedule, reads=("runlog",), revision=2)
LEVELS = Step(
    "run-levels",
    (BMEP, PISTON_SPEED, *(measure for measure, _, _ in MEANS.values())),
    run_levels,
    reads=("runlog", "events"),
    revision=2,
)
