"""Starts of the engine, which of them were cold, and the minutes after them in which nothing is judged."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sitegen.declarations import Step
from sitegen.logs.join import Log
from sitegen.methods.schedule import SETTLING, STOP
from sitegen.program.model import ColdStart, Program
from sitegen.streams.runlog.alarms.measures import COLD, STARTS
from sitegen.streams.runlog.judged import column, on_a_line_to_standing, running
from sitegen.streams.runlog.steps import runs
from sitegen.vocabulary import Book, Readings, Refused, Result, Value, refused

WARMTH = ("oil_temperature", "coolant_temperature")  # by the first that was logged


@dataclass(frozen=True)
class Start:
    """One start."""

    at: int  # bin
    cold: bool | None  # None: no temperature tells


def starts(log: Log, rule: ColdStart | None) -> list[Start]:
    """The starts of a log with a speed, in order; whether one was cold is told only by a rule."""
    speed = column(log, "speed")
    if speed is None:
        return []
    ran = running(log)
    stood = np.isfinite(speed) & ~ran
    number = np.concatenate([[0], np.cumsum(stood)])  # bins at a standstill so far
    begins = np.flatnonzero(ran & ~np.concatenate([[True], ran[:-1]]))
    enough = max(1, round(STOP / log.width))
    warmth = next((found for each in WARMTH if (found := column(log, each)) is not None), None)
    made = []
    for begin in begins.tolist():
        first = max(0, begin - enough)
        if number[begin] - number[first] < min(enough, begin):
            continue
        made.append(Start(begin, _cold(warmth, begin, rule)))
    return made


def _cold(warmth: NDArray[np.float64] | None, begin: int, rule: ColdStart | None) -> bool | None:
    if rule is None or warmth is None:
        return None
    known = np.flatnonzero(np.isfinite(warmth[: begin + 1]))
    return bool(warmth[known[-1]] < rule.below) if len(known) else None


def judged(log: Log, rule: ColdStart | None) -> NDArray[np.bool_]:
    """Bins of running that are judged: not the first seconds after a start, nor what is set apart after a cold one, nor
    the line that a slow log draws from its last row of running to the first of standing.
    """
    good = running(log) & ~on_a_line_to_standing(log)
    ran = running(log)
    begins = np.flatnonzero(ran & ~np.concatenate([[False], ran[:-1]]))
    cold = {each.at for each in starts(log, rule) if each.cold}
    for begin in begins.tolist():
        apart = max(SETTLING, rule.apart if rule is not None and begin in cold else 0.0)
        good[begin : begin + round(apart / log.width)] = False
    return good


def run(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """Starts and cold starts of each logged phase, where the program says what a cold start is."""
    del book
    rule = program.run.cold_start if program.run is not None else None
    if rule is None:
        return
    for build, phase, log in runs(program, engine, readings):
        key = build.key(phase=phase.id)
        if column(log, "speed") is None:
            yield refused(STARTS.id, key, Refused("no-speed"))
            continue
        found = starts(log, rule)
        yield Value(STARTS.id, key, float(len(found)))
        if any(each.cold is None for each in found):
            yield refused(COLD.id, key, Refused("start-without-temperature"))
        else:
            yield Value(COLD.id, key, float(sum(bool(each.cold) for each in found)))


STEP = Step("run-starts", (STARTS, COLD), run, reads=("runlog",))
