"""Steps from a joined log to what a run was: held or not, how hard, how warm, and whether its channels look right."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

import numpy as np

from sitegen.declarations import Step
from sitegen.logs.join import Log
from sitegen.methods import brake, schedule
from sitegen.program.model import Build, EngineType, Phase, Program
from sitegen.rounding import interval
from sitegen.streams.runlog.judged import IDLE, base, channel_word, column, running, strange
from sitegen.streams.runlog.measures import BMEP, HELD, MEANS, PISTON_SPEED, STOPPED
from sitegen.vocabulary import Book, Key, Readings, Refused, Result, Series, Value, Verdict, refused

CHANNEL = "channel"  # rule of the verdict on a logged channel
PLANNED = "run as planned"  # rule of the verdict on a phase
QUIET = frozenset({"flat", "stuck", "zero"})  # what a meter that is dead, or a wonderful ring, looks like
ANSWER = "meter-check"  # what the event log calls a check of a meter with flow applied
TIGHT = "crankcase-check"  # and one of the crankcase with the breather closed off


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
        words = dict(_health(log, build.engine_type, answers(readings, engine, phase.id)))
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


def _health(log: Log, kind: EngineType, answered: Mapping[str, bool]) -> Iterator[tuple[str, str]]:
    """A word for each channel: sound, or what is wrong with it. A meter that answered its check may well be quiet."""
    odd = strange(log, kind)
    for channel in (each for each in log.channels if each not in log.drawn):
        meter = log.meters.get(channel, "")
        if answered.get(meter) is False:
            yield channel, "no answer"
            continue
        word = channel_word(log, channel)
        word = "sound" if answered.get(meter) and QUIET & set(word.split(", ")) else word
        beside = odd[channel].word if channel in odd else ""
        yield channel, ", ".join(filter(None, (word if word != "sound" else "", beside))) or word


SCHEDULE = Step("run-schedule", (HELD, STOPPED), run_schedule, reads=("runlog",), revision=2)
LEVELS = Step(
    "run-levels",
    (BMEP, PISTON_SPEED, *(measure for measure, _, _ in MEANS.values())),
    run_levels,
    reads=("runlog", "events"),
    revision=5,
)
