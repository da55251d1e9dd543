"""Channels against the limits a program states for them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

import numpy as np
from numpy.typing import NDArray

from sitegen.declarations import Step
from sitegen.logs.join import Log
from sitegen.methods.schedule import stretches
from sitegen.program.limits import in_phase
from sitegen.program.model import Build, ColdStart, Phase, Program, Window
from sitegen.streams.runlog.alarms.measures import BEYOND, FIRST, LONGEST
from sitegen.streams.runlog.alarms.starts import judged
from sitegen.streams.runlog.judged import base, channel_word, column, running
from sitegen.streams.runlog.steps import runs
from sitegen.vocabulary import Book, Key, Readings, Refused, Result, Value, Verdict, refused

RULE = "channel within its limits"  # of the verdict on a channel of a phase
HELD_BY = 0.99  # share of the running time that has to be recorded for "holds"; common practice, no source


def run(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """Each limited channel of each logged phase: how long beyond, when first, and a word on it."""
    del book
    rule = program.run.cold_start if program.run is not None else None
    for build, phase, log in runs(program, engine, readings):
        asked = in_phase(program, phase)
        if asked and "speed" not in log.bins:
            for name in asked:
                yield refused(BEYOND.id, build.key(phase=phase.id, at=name), Refused("no-speed"))
        elif asked:
            yield from _phase(build, phase, log, asked, rule)


def _phase(
    build: Build, phase: Phase, log: Log, asked: Mapping[str, Window], rule: ColdStart | None
) -> Iterator[Result]:
    good = judged(log, rule)
    for name, limits in asked.items():
        own = [each for each in log.channels if base(each)[0] == name and each not in log.drawn]
        if not own:
            key = build.key(phase=phase.id, at=name)
            yield refused(BEYOND.id, key, Refused("no-channel"))
            yield Verdict(RULE, key, "cannot tell", reason="no-channel")
        for channel in own:
            yield from _channel(build, phase, log, channel, limits, good)


def _channel(
    build: Build, phase: Phase, log: Log, channel: str, limits: Window, good: NDArray[np.bool_]
) -> Iterator[Result]:
    name, cylinder = base(channel)
    key = build.key(cylinder, phase.id, name)
    mean = column(log, channel)
    if mean is None or not (good & np.isfinite(mean)).any():
        yield refused(BEYOND.id, key, Refused("no-samples"))
        yield Verdict(RULE, key, "cannot tell", reason="no-samples")
        return
    known = good & np.isfinite(mean)
    low = -np.inf if limits.low is None else limits.low
    high = np.inf if limits.high is None else limits.high
    with np.errstate(invalid="ignore"):
        out = known & ((mean < low) | (mean > high))
        ends = [log.bins[f"{channel}{end}"].to_numpy(dtype=float) for end in (".low", ".high")]
        touched = known & (out | (ends[0] < low) | (ends[1] > high))
    yield Value(BEYOND.id, key, 100 * float(out.sum()) / float(known.sum()))
    yield Value(LONGEST.id, key, log.width * max((end - begin + 1 for begin, end in stretches(out)), default=0))
    if touched.any():
        yield Value(FIRST.id, key, float(log.bins["t"].to_numpy()[int(touched.argmax())]) / 60)
    yield _word(log, channel, known, good, bool(touched.any()), key)


def _word(log: Log, channel: str, known: NDArray[np.bool_], good: NDArray[np.bool_], beyond: bool, key: Key) -> Verdict:
    """By what was recorded: a sample beyond breaks a limit; it is kept only where nearly all was recorded and sound."""
    recorded = float(known.sum()) / float(running(log).sum() - (running(log) & ~good).sum())
    if beyond:
        return Verdict(RULE, key, "fails")
    if channel_word(log, channel) != "sound":
        return Verdict(RULE, key, "cannot tell", reason="channel-not-sound")
    return (
        Verdict(RULE, key, "holds") if recorded >= HELD_BY else Verdict(RULE, key, "cannot tell", reason="not-recorded")
    )


STEP = Step("run-limits", (BEYOND, LONGEST, FIRST), run, reads=("runlog",))
