"""Channels against the limits a program states for them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping

import numpy as np
from numpy.typing import NDArray

from sitegen.declarations import Step
from sitegen.logs.join import Log
from sitegen.methods.schedule import stretches
from sitegen.program.limits import in_phase
from sitegen.program.model import Build, ColdStart, Phase, Program, Window
from sitegen.streams.runlog.alarms.measures import BEYOND, FIRST, LONGEST, SINCE, WINDOWS_BEYOND
from sitegen.streams.runlog.alarms.starts import judged
from sitegen.streams.runlog.hours.windows import Hours, hours_of, long_runs
from sitegen.streams.runlog.judged import base, channel_word, column, running
from sitegen.streams.runlog.steps import runs
from sitegen.vocabulary import Book, Key, Readings, Refused, Result, Series, Value, Verdict, refused

BY_WINDOW = "limit.by-window"  # series: channel, cylinder, hours run at the ends of a window, and its word
HOLDS, FAILS, OPEN = "holds", "fails", "cannot tell"
LAST = 2  # windows at the end, all beyond, from which on it is said since when
RULE = "channel within its limits"  # of the verdict on a channel of a phase
HELD_BY = 0.99  # share of the running time that has to be recorded for "holds"; common practice, no source


def run(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """Each limited channel of each logged phase: how long beyond, when first, and a word on it."""
    del book
    rule = program.run.cold_start if program.run is not None else None
    long = {phase.id for phase in long_runs(program, program.build(engine))}
    for build, phase, log in runs(program, engine, readings):
        asked = in_phase(program, phase)
        if asked and "speed" not in log.bins:
            for name in asked:
                yield refused(BEYOND.id, build.key(phase=phase.id, at=name), Refused("no-speed"))
        elif asked:
            yield from _phase(build, phase, log, asked, rule)
            if phase.id in long:
                yield from _by_window(program, build, phase, log, asked, judged(log, rule))


def _by_window(
    program: Program, build: Build, phase: Phase, log: Log, asked: Mapping[str, Window], good: NDArray[np.bool_]
) -> Iterator[Result]:
    """Each limited channel by the windows of a long run."""
    import pandas as pd

    own = [each for each in log.channels if base(each)[0] in asked and each not in log.drawn]
    try:
        hours = hours_of(program, phase, log, ())
    except Refused as why:
        for channel in own:
            name, cylinder = base(channel)
            yield refused(WINDOWS_BEYOND.id, build.key(cylinder, phase.id, name), why)
        return
    rows: list[tuple[str, float, float, str]] = []
    for channel in own:
        name, cylinder = base(channel)
        key = build.key(cylinder, phase.id, name)
        found, outside = _words(log, hours, channel, asked[name], good)
        answered = sum(word != OPEN for _, _, word in found)
        if not answered:
            yield refused(WINDOWS_BEYOND.id, key, Refused("no-samples"))
            continue
        yield Value(WINDOWS_BEYOND.id, key, float(sum(word == FAILS for _, _, word in found)), n=answered)
        rows += [(channel, *each) for each in found]
        rows.append((channel, math.nan, math.nan, outside))
        last = next((n for n, each in enumerate(reversed(found)) if each[2] != FAILS), len(found))
        if last >= LAST:
            yield Value(SINCE.id, key, found[len(found) - last][0])
    if rows:
        frame = pd.DataFrame(rows, columns=["channel", "begin", "end", "word"])
        yield Series(BY_WINDOW, build.key(phase=phase.id), {"begin": "h", "end": "h"}, frame)


def _words(
    log: Log, hours: Hours, channel: str, limits: Window, good: NDArray[np.bool_]
) -> tuple[list[tuple[float, float, str]], str]:
    """Hours run at the ends of each window, with its word; the word of what was run outside of all, "" for nothing."""
    t, mean = log.bins["t"].to_numpy(), column(log, channel)
    known = good & np.isfinite(mean if mean is not None else np.full(len(t), np.nan))
    beyond, ran = _touched(log, channel, limits, known), running(log)
    sound = channel_word(log, channel) == "sound"

    def word(places: NDArray[np.int64]) -> str:
        asked = places[(ran & good)[places]]
        if beyond[places].any():
            return FAILS
        return HOLDS if sound and len(asked) and known[asked].mean() >= HELD_BY else OPEN

    found, left = [], np.ones(len(t), dtype=bool)
    for each in hours.windows:
        low, high = np.searchsorted(t, (each.begin, each.end))
        left[low:high] = False
        begin, end = hours.hour_at(np.array([each.begin, each.end])).tolist()
        found.append((begin, end, word(np.arange(low, high))))
    rest = np.flatnonzero(left & ran & good)
    return found, word(rest) if len(rest) else ""


def _touched(log: Log, channel: str, limits: Window, known: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Bins of which a sample lies beyond."""
    low = -np.inf if limits.low is None else limits.low
    high = np.inf if limits.high is None else limits.high
    mean, least, most = (log.bins[f"{channel}{end}"].to_numpy(dtype=float) for end in ("", ".low", ".high"))
    with np.errstate(invalid="ignore"):
        return np.asarray(known & ((mean < low) | (mean > high) | (least < low) | (most > high)))


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
    touched = _touched(log, channel, limits, known)
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


STEP = Step("run-limits", (BEYOND, LONGEST, FIRST, WINDOWS_BEYOND, SINCE), run, reads=("runlog",), revision=3)
