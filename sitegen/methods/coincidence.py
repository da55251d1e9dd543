"""Whether several channels of a long run turn for the worse at the same time: the coincidence alarm.

Each channel is held against itself: against the same minute of its schedule in the cycles before, and against the hour
before. One channel that moves is a reason to look; blow-by together with another is the alarm. What is found is a
suspicion, told afterwards: the cell's own trips protect the engine, and an inspection decides.

Source: the rule and its rates were settled by simulation (`tests/methods/coincidence_rates.py`); the 1.4826 makes the
median absolute deviation the standard deviation of a normal spread (exact).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Whole = NDArray[np.int64]

FIRST = "blowby"  # the channel without which there is no alarm
FLAG = 4.0  # size beyond which a channel is flagged
TOGETHER = 0.5  # correlation of sizes above which one cause, such as the room, moves blow-by and the others alike
WITHIN = 10  # min between two flags that coincide
NEW = 3  # min whose mean is looked at
APART = 6  # min from the end of the hour it is held against to now
LASTS = 30  # min after a turn for the better, of most of which it has to last to become usual
EVENT = 60  # min without a flag after which the next is another event
FEWEST_LIVE = 2  # channels, one of them blow-by
STATED = 0.15  # alarms in 100 h watched where nothing happens, at most
_SIGMA = 1.4826
_ENOUGH = 0.5  # share of a stretch that has to be there


@dataclass(frozen=True)
class Form:
    """How far back a channel is held against itself."""

    cycles: int  # before this one, whose median at the same minute of the schedule is taken off
    before: int  # min, of the stretch that the last minutes are held against
    scatter: int  # min, over which the usual size of a difference is found
    armed: float  # h of running from which it watches
    alarm: float  # size that each of two channels goes beyond in the alarm where one cause moves all alike


LONG = Form(5, 60, 600, 17.0, 4.5)
SHORT = Form(2, 30, 180, 6.0, 5.0)


@dataclass(frozen=True)
class Event:
    """Channels flagged close together. Minutes are places in the record."""

    minute: int  # of the alarm, or of the first flag where there is none
    alarm: bool  # blow-by and one more beyond the size of the alarm within `WITHIN` minutes
    sizes: Mapping[str, float]  # channel -> most of its sizes in the event, in the harmful direction


@dataclass(frozen=True)
class Watch:
    """What was watched, and what came up."""

    hours: float  # in which blow-by and one more were armed
    short: float  # of them by the short form alone
    events: tuple[Event, ...]
    sizes: Mapping[str, Floats]  # channel -> size by minute, not a number where it was not armed
    alike: frozenset[str] = frozenset()  # channels that one cause moves with blow-by: their alarm takes more


def watch(
    channels: Mapping[str, Floats], harmful: Mapping[str, int], minute: Whole, cycle: Whole, held: Flags
) -> Watch:
    """Watch the minute means of a run.

    Parameters: channels (n,) [any unit], NaN where absent, among them `FIRST`; harmful [-] 1 where a rise is for the
    worse, -1 a fall; minute (n,) [-] of the schedule, cycle (n,) [-] which time it is run, rising; held (n,) [-] the
    engine kept to its schedule. One row a minute of the record, without holes.

    Notes: e is the value less the median at the same minute of the schedule over the five cycles before; d the mean
    of e over the last 3 min less that over the hour that ended 6 min ago; size z = d/s, s = 1.4826 times the median
    absolute deviation of d over the 10 h before. Flagged: z above 4 in the harmful direction. Alarm: blow-by and
    one more flagged within 10 min; where sizes of blow-by and the others correlate by more than 0.5, as of one
    cause, both above 4.5 (in the short form 5): else such a cause would alarm three times as often. Watched on held
    minutes from hour 17 of running; from hour 6 by the short form: two cycles, 30 min, 3 h. A stretch of which half
    is missing gives nothing. A channel that turned for the better, and stayed so, is not watched while its usual
    level follows, some cycles later: that looks like a turn for the worse.
    """
    hours = np.cumsum(held) / 60
    sizes: dict[str, Floats] = {}
    least: dict[str, Floats] = {}
    by_short = np.zeros(len(held), dtype=bool)
    for name, values in channels.items():
        kept = np.where(held, np.asarray(values, dtype=float) * harmful[name], np.nan)
        whole = size(kept, minute, cycle, LONG, hours >= LONG.armed)
        early = size(kept, minute, cycle, SHORT, (hours >= SHORT.armed) & ~np.isfinite(whole))
        sizes[name] = _own_usual(np.where(np.isfinite(whole), whole, early), cycle, np.isfinite(whole))
        least[name] = np.where(np.isfinite(whole), LONG.alarm, SHORT.alarm)
        if name == FIRST:
            by_short = ~np.isfinite(whole)
    others = [np.isfinite(each) for name, each in sizes.items() if name != FIRST]
    armed = np.isfinite(sizes[FIRST]) & np.any(others, axis=0) if others else np.zeros(len(held), dtype=bool)
    alike = _alike(sizes)
    events = tuple(_events(sizes, least, alike))
    return Watch(float(armed.sum()) / 60, float((armed & by_short).sum()) / 60, events, sizes, alike)


def size(x: Floats, minute: Whole, cycle: Whole, form: Form, asked: Flags) -> Floats:
    """Size z (n,) [-] of what the last minutes of x (n,) [any unit] differ by from the stretch before, where asked."""
    e = x - usual(x, minute, cycle, form.cycles)
    d = _mean(e, NEW, 0) - _mean(e, form.before, APART)
    return d / _scatter(d, form.scatter, asked)


def _own_usual(z: Floats, cycle: Whole, long: Flags) -> Floats:
    """Sizes without those in which an earlier turn for the better, that lasted, becomes what is usual.

    `long` (n,) tells which are of the long form: its median follows once three of five cycles hold the turn, that of
    the short form with the next.
    """
    with np.errstate(invalid="ignore"):
        lower = np.concatenate([np.zeros(1), np.cumsum(z < -FLAG / 2)])
        turned = np.flatnonzero(z < -FLAG)
    made = z.copy()
    for at in turned[lower[np.minimum(turned + LASTS, len(z))] - lower[turned] >= 2 * LASTS / 3].tolist():
        for own, first in ((long, LONG.cycles // 2 + 1), (~long, 1)):
            form = LONG if first > 1 else SHORT
            begin = int(np.searchsorted(cycle, cycle[at] + first))
            end = int(np.searchsorted(cycle, cycle[at] + 4)) + form.before + APART
            made[begin:end][own[begin:end]] = np.nan
    return made


def usual(x: Floats, minute: Whole, cycle: Whole, cycles: int) -> Floats:
    """Median (n,) [unit of x] at the same minute of the schedule over so many cycles before; NaN where more lack than
    one in five.
    """
    _, place = np.unique(minute, return_inverse=True)
    rows = np.asarray(cycle) - int(np.min(cycle))
    table = np.full((int(rows.max()) + 1 + cycles, int(place.max()) + 1), np.nan)
    known = np.isfinite(x)
    table[rows[known] + cycles, place[known]] = x[known]
    before = np.lib.stride_tricks.sliding_window_view(table[:-1], cycles, axis=0)[rows, place]
    found = np.asarray(np.median(before, axis=-1))
    lacking = np.isnan(before).sum(axis=-1)
    few = (lacking > 0) & (lacking <= cycles // 5)
    if few.any():
        found[few] = np.nanmedian(before[few], axis=-1)
    return found


def _mean(x: Floats, count: int, ago: int) -> Floats:
    """Mean over so many minutes that ended `ago` minutes before the end of this one; NaN where too few are there."""
    there = np.isfinite(x)
    total = np.concatenate([np.zeros(1), np.cumsum(np.where(there, x, 0.0))])
    number = np.concatenate([np.zeros(1), np.cumsum(there)])
    end = np.arange(1, len(x) + 1) - ago
    begin = np.maximum(end - count, 0)
    end = np.maximum(end, 0)
    n = number[end] - number[begin]
    least = count if ago == 0 else _ENOUGH * count  # of the last minutes every one
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(np.where(n >= least, (total[end] - total[begin]) / n, np.nan))


def _scatter(d: Floats, count: int, asked: Flags) -> Floats:
    """Usual size of d over so many minutes up to now; NaN where half of them lack, it is nothing, or not asked."""
    found = np.full(len(d), np.nan)
    padded = np.concatenate([np.full(count - 1, np.nan), d])
    windows = np.lib.stride_tricks.sliding_window_view(padded, count)
    number = np.concatenate([np.zeros(1), np.cumsum(np.isfinite(d))])
    ends = np.arange(1, len(d) + 1)
    enough = number[ends] - number[np.maximum(ends - count, 0)] >= _ENOUGH * count
    full = number[ends] - number[np.maximum(ends - count, 0)] == count
    for which, median in ((enough & full, np.median), (enough & ~full, np.nanmedian)):
        places = np.flatnonzero(which & asked & np.isfinite(d))
        for part in np.array_split(places, max(1, len(places) * count // 2_000_000)):
            if len(part):
                own = windows[part]
                found[part] = _SIGMA * median(np.abs(own - median(own, axis=1)[:, None]), axis=1)
    return np.where(found > 0, found, np.nan)


def _alike(sizes: Mapping[str, Floats]) -> frozenset[str]:
    """Channels that move with blow-by as of one cause, by the correlation of what is not flagged."""
    found = set()
    for name, other in sizes.items():
        with np.errstate(invalid="ignore"):
            both = (np.abs(sizes[FIRST]) < FLAG) & (np.abs(other) < FLAG)
        if name != FIRST and both.sum() > EVENT:
            pair = np.corrcoef(sizes[FIRST][both], other[both])
            found |= {name} if pair[0, 1] > TOGETHER else set()
    return frozenset(found)


def _events(sizes: Mapping[str, Floats], least: Mapping[str, Floats], alike: frozenset[str]) -> Sequence[Event]:
    with np.errstate(invalid="ignore"):
        flags = {name: each > FLAG for name, each in sizes.items()}
        more = {name: each > least[name] for name, each in sizes.items()}
    every = np.flatnonzero(np.any(list(flags.values()), axis=0))
    if not len(every):
        return ()
    parts = np.split(every, np.flatnonzero(np.diff(every) > EVENT) + 1)
    made = []
    for part in parts:
        begin, end = int(part[0]), int(part[-1]) + 1
        own = slice(begin, end)
        pairs = [(more if name in alike else flags, name) for name in sizes if name != FIRST]
        alarm = _coincide([(by[FIRST][own], by[name][own]) for by, name in pairs])
        found = {name: float(np.nanmax(sizes[name][own])) for name, each in flags.items() if each[own].any()}
        made.append(Event(begin if alarm is None else begin + alarm, alarm is not None, found))
    return made


def _coincide(pairs: Sequence[tuple[Flags, Flags]]) -> int | None:
    """The first minute at which blow-by and one more have been flagged within `WITHIN` minutes; None: never."""
    found: list[int] = []
    for each in pairs:
        first, other = (np.flatnonzero(flags) for flags in each)
        apart = np.abs(first[:, None] - other[None, :]) <= WITHIN
        if apart.any():
            found.append(int(np.maximum(first[:, None], other[None, :])[apart].min()))
    return min(found, default=None)
