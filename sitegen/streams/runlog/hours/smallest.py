"""Which slope of blow-by the long runs of a program can show, before one of them is run and from those run so far."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from statistics import median

from sitegen.declarations import Smallest
from sitegen.methods import long_run
from sitegen.page import words
from sitegen.program.model import Program
from sitegen.streams.runlog.hours.measures import CHANNELS
from sitegen.streams.runlog.hours.whole import LEAST as WHOLE
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
    found = _planned(program)
    if found is None:
        return
    what, hours, _ = found
    try:
        least = long_run.least_slope(hours, known)
    except Refused:
        asked = words.with_unit(words.number(30 * known.time, 0), "h")
        yield Smallest(_SLOPE.id, what, math.inf, f"{because}, which asks for {asked} at least")
        return
    yield _judged(what, hours, least, because)


def by_repeats(program: Program, values: Iterable[Value]) -> Iterator[Smallest]:
    """By the wander of the runs so far, the middle one of the builds."""
    planned = _planned(program)
    if planned is None:
        return
    what, hours, phase = planned
    measure = _LEAST.id if phase else WHOLE.id
    found = [
        each.value for each in values if each.measure == measure and each.key.phase == phase and each.value is not None
    ]
    if found:
        because = f"wander of blow-by in {words.counted(len(found), 'build')} so far"
        yield _judged(what, hours, median(found), because)


def _planned(program: Program) -> tuple[str, float, str] | None:
    """What is followed over the hours, the hours planned, and the phase where it is but one; None without any."""
    long = [
        phase
        for phase in program.phases
        if phase.schedule and (phase.kind == "durability" or planned_seconds(phase) >= LONG)
    ]
    if not long:
        return None
    hours = sum(map(planned_seconds, long)) / 3600
    if len(long) == 1:
        return f"slope of blow-by, {long[0].title}", hours, long[0].id
    told = words.with_unit(words.number(hours, 0), "h")
    return f"slope of blow-by over {told} of {words.counted(len(long), 'run')}", hours, ""


def _judged(what: str, hours: float, least: float, because: str) -> Smallest:
    """A run of less than four days shows none; what its wander alone would let it show is said beside it."""
    if hours >= long_run.DAYS * long_run.DAY:
        return Smallest(_SLOPE.id, what, least, because)
    amount = words.with_unit(words.number(least, words.decimals_alone(least, 2)), "%")
    return Smallest(
        _SLOPE.id, what, math.inf, f"{_DAYS}; by itself {because}, hides those below {amount} per 100 h"
    )  # fmt: skip
