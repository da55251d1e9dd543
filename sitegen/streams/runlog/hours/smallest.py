"""Which slope of blow-by the long runs of a program can show, before one of them is run and from those run so far."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from statistics import median

from sitegen.declarations import Smallest
from sitegen.methods import long_run
from sitegen.page import words
from sitegen.program.model import Phase, Program
from sitegen.streams.runlog.hours.measures import CHANNELS
from sitegen.streams.runlog.hours.windows import LONG, planned_seconds
from sitegen.vocabulary import Refused, Value

_SLOPE, _LEAST = CHANNELS["blowby"].slope, CHANNELS["blowby"].least
_DAYS = "less than four days round the clock cannot tell a slope from a daily cycle"


def smallest(program: Program) -> Iterator[Smallest]:
    """By the wander the program states; a run too short for any slope is said to be."""
    wander = None if program.run is None else program.run.wander
    if wander is None or wander.blowby is None:
        return
    known = long_run.stated_memory(wander.time / 3600, 100 * wander.blowby, 100 * wander.hourly)
    share, time = (words.stated(each) for each in (100 * wander.blowby, known.time))
    because = f"a wander of {words.with_unit(share, '%')} over {words.with_unit(time, 'h')}, as stated"
    for phase in _long(program):
        hours = planned_seconds(phase) / 3600
        try:
            least = long_run.least_slope(hours, known)
        except Refused:
            asked = words.with_unit(words.number(30 * known.time, 0), "h")
            yield _of(phase, math.inf, f"{because}, which asks for {asked} at least")
            continue
        yield _judged(phase, hours, least, because)


def by_repeats(program: Program, values: Iterable[Value]) -> Iterator[Smallest]:
    """By the wander of the runs so far, the middle one of the builds."""
    every = list(values)
    for phase in _long(program):
        found = [
            each.value
            for each in every
            if each.measure == _LEAST.id and each.key.phase == phase.id and each.value is not None
        ]
        if found:
            because = f"wander of blow-by in {words.counted(len(found), 'run')} so far"
            yield _judged(phase, planned_seconds(phase) / 3600, median(found), because)


def _long(program: Program) -> Iterator[Phase]:
    for phase in program.phases:
        if phase.schedule and (phase.kind == "durability" or planned_seconds(phase) >= LONG):
            yield phase


def _judged(phase: Phase, hours: float, least: float, because: str) -> Smallest:
    """A run of less than four days shows none; what its wander alone would let it show is said beside it."""
    if hours >= long_run.DAYS * long_run.DAY:
        return _of(phase, least, because)
    amount = words.with_unit(words.number(least, words.decimals_alone(least, 2)), "%")
    return _of(phase, math.inf, f"{_DAYS}; by itself {because}, hides those below {amount} per 100 h")


def _of(phase: Phase, least: float, because: str) -> Smallest:
    return Smallest(_SLOPE.id, f"slope of blow-by, {phase.title}", least, because)
