"""Whether a level changes over the hours of a long run: a slope per 100 h, and the least one a run can show.

What is handed in are levels by window: the same point of the schedule, once an hour or once a cycle. Windows of one
bench remember each other, so they are no units. Units are few equal blocks of the run, each many times as long as the
memory, or the days of a bench that stands still at night. The memory has to come from elsewhere: from longer runs or
from those of other builds. The run itself looks shorter of memory than it is, just where that matters.

References: B. Schmeiser, Operations Research 30 (1982) 556 (few large batches); N. R. Draper and H. Smith, Applied
Regression Analysis (1998), 2.1 (weighted line and its error). Simulated coverage: tests/methods/long_run_coverage.py.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from sitegen.methods import wander
from sitegen.methods.intervals import NORMAL_95, student_95
from sitegen.vocabulary import Refused

Floats = NDArray[np.float64]
Places = NDArray[np.int64]

BLOCKS = {1: 5, 2: 4}  # of each side of no change of meter or fill, and of one
BLOCKS_OF_MORE = 3
SHORTEST = 6.0  # time constants of the wander in a block, so thirty in the five of a run
WINDOWS = 10  # fewest
FULL = 0.5  # share of a block's windows that have to be there
DAY = 24.0  # h
DAYS = 4  # whole ones, from which on a daily cycle is told from a slope
DAYS_OF_SHIFTS = 5
NIGHT = 4.0  # h at a standstill that part two days of a bench that runs by day; common practice, no source
PER = 100.0  # h, of a slope
LEAST = 420.0  # 100 h times 4.2: a line through five blocks finds so many of its standard errors four times in five
_ARM = 6  # windows on either side of a jump
_JUMP = 7.0  # robust standard deviations of such differences that no wander reaches; simulated, see the tests
_MAD = 1.4826
AHEAD = 2.0  # times the hours run, beyond which no level is told beforehand


@dataclass(frozen=True)
class Levels:
    """Levels by window, in the order they were run."""

    hour: Floats  # running hours at its middle, from the beginning of the run
    clock: Floats  # hours by the clock from that beginning; not numbers where pauses are not known
    level: Floats  # of the channel, in its unit
    side: Places  # stretch with one meter and one fill, from 0

    def kept(self, which: NDArray[np.bool_]) -> Levels:
        """Those of some windows."""
        return Levels(self.hour[which], self.clock[which], self.level[which], self.side[which])


@dataclass(frozen=True)
class Slope:
    """A line through blocks."""

    value: float  # per 100 h [unit of the level]
    low: float  # 95 % interval
    high: float
    se: float
    df: int
    blocks: int
    mean: float  # level over the run [unit]
    at_end: float  # level of the line at the end of the run, by its last meter and fill [unit]
    end_se: float  # standard error of a line's value there, at `hour`
    hour: float  # running hours of that end
    scatter: float  # standard deviation of a window about the line [unit]
    by_day: bool  # blocks are days
    block: tuple[tuple[float, float, int], ...]  # hour, level and side of each, a daily cycle taken off
    ahead: tuple[
        float, float, float
    ]  # variance of the line at 0, twice the covariance with its slope, that of the slope


# ---- the memory of a run -------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Memory:
    """How slowly the levels of a run wander."""

    time: float  # slow time constant [h]; 0 where none shows
    least: float  # least slope that a run of 100 h shows with such wander [unit per 100 h]


def memory(levels: Levels) -> Memory:
    """How slowly the levels of a run wander, and which slope that would hide; not meant for the same run.

    A daily cycle is taken off where the run tells it. Refuses `few-windows` below 30 windows, and `channel-flat` where
    nothing moves.
    """
    if len(levels.level) < wander.FEWEST:
        raise Refused("few-windows", found=len(levels.level))
    level = _without_jumps(_without_day(levels), levels.side)
    step = float(np.median(np.diff(levels.hour)))
    place = np.rint((levels.hour - levels.hour[0]) / step).astype(int)
    even = np.full(place[-1] + 1, np.nan)
    even[place] = level
    if not np.ptp(level) > 0:
        raise Refused("channel-flat")
    try:
        found = wander.look(even, step)
    except ValueError as why:
        raise Refused("few-windows", found=len(level)) from why
    return Memory(found.time, LEAST / PER**1.5 * found.change_se * math.sqrt(len(even) * step))


def stated_memory(time: float, wandering: float, hourly: float) -> Memory:
    """The same from what is stated: time constant [h], sd of the wander, sd of an hour's mean beside it [unit]."""
    return Memory(time, LEAST * math.sqrt((24 * wandering**2 * time + 12 * hourly**2) / PER**3))


def least_slope(hours: float, known: Memory, sides: int = 1) -> float:
    """Slope per 100 h that a run of so many hours shows four times in five [unit per 100 h].

    420·√((24·s²·τ + 12·w²)/T³): the variance of a line through a wander of standard deviation s and time constant τ
    with scatter w from hour to hour beside it, times what Student's t on three degrees of freedom needs for a power of
    80 %. Each change of meter or fill costs: 1.6 times as much for one, 2.4 for more (simulated).

    Refuses `run-short` below thirty time constants.

    >>> round(least_slope(40.0, stated_memory(1.0, 1.0, 0.5)), 1)
    8.6
    """
    if hours < 5 * SHORTEST * known.time or hours <= 0:
        raise Refused("run-short", hours=hours, needed=5 * SHORTEST * known.time)
    wider = 1.0 if sides < 2 else 1.6 if sides == 2 else 2.4
    return wider * known.least * math.sqrt(PER / hours) ** 3


# ---- the line ------------------------------------------------------------------------------------------------------


def slope(levels: Levels, time: float | None) -> Slope:
    """Slope of a level per 100 h, with a 95 % interval that allows for wander, a daily cycle and changes of meter.

    Parameters: levels by window; time, the slow time constant of the bench [h] from elsewhere, None where it is not
    known.

    Notes: five equal blocks and t on three degrees of freedom; four on either side of a change of meter or fill, three
    where there are more of them, each side with a level of its own. The error is widened by what neighbouring blocks
    share of a wander as slow as `time`. Where the bench ran by day only, each day is a block. A daily cycle is taken
    off as sine and cosine.

    Refuses, in this order: `few-windows`; `level-jumps`; `pauses-not-known`; `few-days` of a bench that runs by day,
    below five; `daily-cycle` of one that runs round the clock, below four days; `bench-not-known`; `run-short`
    where a block is shorter than six time constants; `windows-missing` where half of a block is.
    """
    if len(levels.level) < WINDOWS:
        raise Refused("few-windows", found=len(levels.level))
    if jump(levels) is not None:
        raise Refused("level-jumps")
    if not np.isfinite(levels.clock).all():
        raise Refused("pauses-not-known")
    days = shifts(levels)
    sides = len(np.unique(levels.side))
    if days is not None and days[-1] + 1 < max(DAYS_OF_SHIFTS, sides + 3):
        raise Refused("few-days", found=int(days[-1]) + 1)
    if days is None and _clocked(levels) < DAYS * DAY:
        raise Refused("daily-cycle", hours=_clocked(levels))
    if time is None:
        raise Refused("bench-not-known")
    parts = _by_day(levels, days) if days is not None else _blocks(levels)
    return _line(levels, parts, time, by_day=days is not None)


def at_hours(line: Slope, hours: float) -> tuple[float, float, float]:
    """Level of a window at so many running hours, and the ends of its 95 % prediction interval [unit of the level].

    Supposes that the line goes on: the interval holds how well it is known and how windows scatter about it, not that
    wear may change its pace. Refuses `too-far-ahead` beyond twice the hours run.
    """
    if hours > AHEAD * line.hour:
        raise Refused("too-far-ahead", hours=hours, run=line.hour)
    level = line.at_end + line.value / PER * (hours - line.hour)
    fixed, both, rising = line.ahead
    known = student_95(line.df) * math.sqrt(max(fixed + both * hours + rising * hours**2, 0.0))
    half = math.hypot(known, NORMAL_95 * line.scatter)
    return level, level - half, level + half


@dataclass(frozen=True)
class _Part:
    """A block."""

    which: NDArray[np.bool_]  # windows in it
    begin: float  # h by the clock of its first and last window
    end: float
    side: int


def _clocked(levels: Levels) -> float:
    """Hours by the clock from the first window to the last, both whole."""
    return float(levels.clock[-1] - levels.clock[0] + np.median(np.diff(levels.hour)))


def shifts(levels: Levels) -> Places | None:
    """Which day each window lies in, where the bench stood still at night; None where it ran round the clock.

    It ran by day where its longest stretch without a night holds less than a day.
    """
    paused = np.diff(levels.clock) - np.diff(levels.hour) >= NIGHT
    days = np.r_[0, np.cumsum(paused)].astype(np.int64)
    longest = max(float(np.ptp(levels.clock[days == day])) for day in np.unique(days))
    return days if days[-1] and longest < DAY else None


def jump(levels: Levels) -> float | None:
    """Running hours at which the level jumps, without a change of meter or fill on record; None where it does not.

    Means of six windows before and after a place, held against how such differences usually scatter. A jump seven
    times as large is no wander: seen where there is none in 0.1 to 2 % of simulated runs.
    """
    worst, found = _JUMP, None
    for side in np.unique(levels.side):
        own = np.flatnonzero(levels.side == side)
        if len(own) < 4 * _ARM:
            continue
        so_far = np.r_[0.0, np.cumsum(levels.level[own])]
        before = (so_far[_ARM:-_ARM] - so_far[: -2 * _ARM]) / _ARM
        after = (so_far[2 * _ARM :] - so_far[_ARM:-_ARM]) / _ARM
        steps = after - before
        usual = float(np.median(steps))
        spread = _MAD * float(np.median(np.abs(steps - usual)))
        off = np.abs(steps - usual)
        place = int(np.argmax(off))
        if spread > 0 and off[place] > worst * spread:
            worst = off[place] / spread
            found = float(levels.hour[own[place + _ARM - 1 : place + _ARM + 1]].mean())
    return found


def _design(levels: Levels) -> Floats:
    """Columns of the levels of all sides and of the hour."""
    sides = [(levels.side == side).astype(float) for side in np.unique(levels.side)]
    return np.column_stack([*sides, levels.hour])


def _daily(levels: Levels) -> tuple[Floats, Floats]:
    """Sine and cosine of a day by window, and what levels are multiplied with to find their share; none where fewer
    than four days tell them. Fitted beside side levels and slope.
    """
    if not np.isfinite(levels.clock).all() or _clocked(levels) < DAYS * DAY:
        return np.zeros((len(levels.level), 0)), np.zeros((0, len(levels.level)))
    turn = 2 * math.pi * levels.clock / DAY
    daily = np.column_stack([np.sin(turn), np.cos(turn)])
    return daily, np.linalg.pinv(np.column_stack([_design(levels), daily]))[-2:]


def _without_day(levels: Levels) -> Floats:
    """Levels less their daily cycle."""
    daily, found = _daily(levels)
    return np.asarray(levels.level - daily @ (found @ levels.level))


def _without_jumps(level: Floats, side: Places) -> Floats:
    """Levels with all sides brought to one mean."""
    means = {int(each): float(level[side == each].mean()) for each in np.unique(side)}
    return np.asarray(level - np.array([means[int(each)] for each in side]))


def _blocks(levels: Levels) -> list[_Part]:
    """Equal blocks of running hours of each side."""
    sides = np.unique(levels.side)
    count = BLOCKS.get(len(sides), BLOCKS_OF_MORE)
    step = float(np.median(np.diff(levels.hour)))
    parts = []
    for side in sides:
        own = levels.side == side
        first, last = float(levels.hour[own].min()) - step / 2, float(levels.hour[own].max()) + step / 2
        edges = np.linspace(first, last, count + 1)
        for begin, end in pairwise(edges.tolist()):
            which = own & (levels.hour >= begin) & (levels.hour < end)
            if which.sum() * step < FULL * (end - begin):
                raise Refused("windows-missing")
            parts.append(_Part(which, *_ends(levels, which, step), int(side)))
    return parts


def _by_day(levels: Levels, days: Places) -> list[_Part]:
    """A block for each day, two where meter or fill changed in it."""
    step = float(np.median(np.diff(levels.hour)))
    parts = []
    for day in np.unique(days):
        for side in np.unique(levels.side[days == day]):
            which = (days == day) & (levels.side == side)
            parts.append(_Part(which, *_ends(levels, which, step), int(side)))
    return parts


def _ends(levels: Levels, which: NDArray[np.bool_], step: float) -> tuple[float, float]:
    return float(levels.clock[which].min()) - step / 2, float(levels.clock[which].max()) + step / 2


def _line(levels: Levels, parts: Sequence[_Part], time: float, *, by_day: bool) -> Slope:
    sides = np.array([part.side for part in parts])
    means = np.stack([part.which / part.which.sum() for part in parts])
    hour = means @ levels.hour
    level = levels.level
    if not by_day:
        daily, share = _daily(levels)
        level = level - daily @ (share @ level)
        means = means - (means @ daily) @ share  # so that `shared` knows what was taken off with the cycle
    mean = means @ levels.level
    length = np.array([part.end - part.begin for part in parts])
    apart = DAY if by_day else float(length.min())
    if apart < SHORTEST * time:
        raise Refused("run-short", hours=apart, needed=SHORTEST * time)
    design = np.column_stack([*((sides == side).astype(float) for side in np.unique(sides)), hour])
    weight = np.ones(len(parts)) if by_day else length / length.mean()
    df = len(parts) - design.shape[1]
    if df < 1:
        raise Refused("few-windows", found=len(parts))
    root = np.sqrt(weight)
    inverse = np.linalg.inv(design.T @ (design * weight[:, None]))
    pick = inverse @ (design * weight[:, None]).T
    found = pick @ mean
    left = (mean - design @ found) * root
    s2 = float(left @ left) / df
    shared = means @ _wandering(levels.clock, time) @ means.T
    rest = (np.eye(len(parts)) - design @ pick) * root[:, None]
    expected = float(np.trace(rest @ shared @ rest.T)) / df  # of s2, in the same unit as `shared`
    true = pick @ shared @ pick.T / expected  # covariance of the coefficients over what s2 shows
    plain = inverse
    errors = s2 * np.where(np.eye(len(true), dtype=bool), np.maximum(true, plain), true)
    se = math.sqrt(float(errors[-1, -1]))
    last = int(np.flatnonzero(np.unique(sides) == parts[-1].side)[0])
    fixed, both, rising = float(errors[last, last]), 2 * float(errors[last, -1]), float(errors[-1, -1])
    end = float(levels.hour[-1]) + float(np.median(np.diff(levels.hour))) / 2
    about = level - np.array([found[int(np.flatnonzero(np.unique(sides) == each)[0])] for each in levels.side])
    about = about - found[-1] * levels.hour
    half = student_95(df) * se
    value = float(found[-1])
    return Slope(
        PER * value, PER * (value - half), PER * (value + half), PER * se, df, len(parts),
        mean=float(np.average(mean, weights=length)),
        at_end=float(found[last] + value * end),
        end_se=math.sqrt(max(fixed + both * end + rising * end**2, 0.0)),
        hour=end,
        scatter=math.sqrt(float(about @ about) / max(len(about) - design.shape[1], 1)),
        by_day=by_day,
        block=tuple(zip(hour.tolist(), mean.tolist(), sides.tolist(), strict=True)),
        ahead=(fixed, both, rising),
    )  # fmt: skip


def _wandering(clock: Floats, time: float) -> Floats:
    """Covariance of levels at instants [h] under a wander of unit variance and so slow [h]; independent of none."""
    if time <= 0:
        return np.eye(len(clock))
    return np.asarray(np.exp(-np.minimum(np.abs(clock[:, None] - clock[None, :]) / time, 700.0)))
