"""Whether a logged channel can be believed: flat, stuck, clipped, zero, below its range, drifting zero, jumps.

What is found is named and left where it is: nothing is repaired, and nothing is averaged silently. The thresholds are
common practice, no source; each is set so that a healthy channel with normal scatter is named in fewer than one log in
a thousand.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

Word = Literal["flat", "stuck", "clipped", "zero", "below-range", "drifting-zero", "jumps"]
WORDS: tuple[Word, ...] = ("flat", "stuck", "clipped", "zero", "below-range", "drifting-zero", "jumps")

STUCK_FOR = 30.0  # s: a shorter standstill is not named
STUCK_STEPS = 10  # from sample to sample without a change: of a slow log these take longer than the 30 s
ZERO_FOR = 10.0  # s
CLIP_RUNS = 3  # separate stretches at the very same extreme
CLIP_SAMPLES = 10  # in all of them
RANGE_SHARE = 0.01  # of the samples: fewer below the range are not named
STANDSTILL = 10.0  # s a stop must last to show the zero
JUMP = 15.0  # robust standard deviations of the steps from sample to sample
JUMP_BACK = 3  # samples within which a jump goes back
JUMPS = 3  # so many, and the channel jumps
LEAST_PAIRS = 20  # steps at one value, from which how often it repeats itself is told
LONGER = 4  # times the next longest at the same value: a display of few digits stands for long where the middle lies
LEAST_TURNS = 10  # of a slow channel: fewer, and it may just have come to rest
_UNLIKELY = 1e-6  # chance of a run of equal values somewhere in the log, below which it is not chance


class Span(NamedTuple):
    """A stretch of the log, from and to [s] since its first sample, and what is wrong there."""

    start: float
    end: float
    word: Word


@dataclass(frozen=True)
class Health:
    """What is wrong with a channel: words in the order of `WORDS`, and the stretches they concern, by time."""

    words: tuple[Word, ...]
    spans: tuple[Span, ...]


def health(
    x: Floats,
    dt: float,
    resolution: float | None = None,
    low: float | None = None,
    high: float | None = None,
    moving: Flags | None = None,
    at: Floats | None = None,
    spread: Floats | None = None,
) -> Health:
    """Judge one channel.

    Parameters: x [any unit] samples dt [s] apart as a rule, NaN where absent and once in every gap; resolution, low,
    high [unit of x]: smallest step the meter shows, ends of its range; moving: where the engine turns, for a channel
    that must move with it and reads nothing at standstill (a blow-by meter, torque); None for any other channel (an oil
    temperature may stand still for long, and has no zero); at [s] instants of the samples, None: dt apart throughout;
    spread [unit of x] greatest less least where x are means of several samples, None: none are.

    Notes. *flat*: all samples within one resolution step. *zero*: nothing but zero, within a resolution step, for 10 s
    and more while the engine turns. *stuck*: the very same value for 30 s and ten steps from sample to sample or more,
    and longer than its other steps make likely, so that a log of a row a minute shows it after ten minutes; a channel
    that need not move is judged by that alone. *clipped*: the same largest or smallest value in
    three separate stretches and ten samples at least, or 1 % of the samples at or beyond an end of the range.
    *below-range*: 1 % of the samples or more under `low`, while the engine turns. *drifting-zero*: the level at
    standstill moves between stops by more than 2 % of the running level, its scatter and the resolution. *jumps*: three
    or more excursions of one or two samples, there and back, that steps of the channel elsewhere do not explain.
    """
    values = np.asarray(x, dtype=float)
    good = np.isfinite(values)
    if not good.any():
        return Health((), ())
    clock = _Clock(np.asarray(np.arange(len(values)) * dt if at is None else at, dtype=np.float64), dt)
    within = np.zeros(len(values)) if spread is None else np.nan_to_num(np.asarray(spread, dtype=float))
    step = resolution or 0.0
    turning = good if moving is None else good & np.asarray(moving, dtype=bool)
    known = values[good]
    spans: list[Span] = []
    if float(np.ptp(known) + within[good].max()) <= step * (1 + 1e-9):
        whole = np.flatnonzero(good)
        none_at_all = moving is not None and turning.any() and float(np.abs(known).max()) <= step
        return _health([clock.span(int(whole[0]), int(whole[-1]) + 1, "zero" if none_at_all else "flat")])
    zero = np.abs(values) + within <= step
    if moving is not None:
        spans += _spans(_runs(zero & turning), clock, "zero", ZERO_FOR)
    cut = _clipped(values, turning, step, low, high)
    ends = np.zeros(len(values), dtype=bool)
    for begin, end in cut:
        ends[begin:end] = True
    spans += _spans(np.array(cut, dtype=np.int64).reshape(-1, 2), clock, "clipped", 0.0)
    still = turning & ~ends & (within <= 0)
    spans += _stuck(values, still, turning & ~ends, zero & (moving is not None), clock, slow=moving is None)
    if low is not None:
        below = (values < low) & turning
        if moving is not None:
            below &= ~zero
        if below.sum() >= RANGE_SHARE * max(turning.sum(), 1):
            spans += _spans(_runs(below), clock, "below-range", 0.0)
    if moving is not None:
        spans += _drift(values, good & ~turning, turning, step, clock)
    spans += _jumps(values, good, clock)
    return _health(spans)


@dataclass(frozen=True)
class _Clock:
    """Instants of samples [s], and the usual step between them [s], for which the last of a stretch stands."""

    at: Floats
    step: float

    def span(self, begin: int, end: int, word: Word) -> Span:
        return Span(float(self.at[begin]), float(self.at[end - 1]) + self.step, word)

    def last(self, begin: int, end: int) -> float:
        """How long a stretch of samples lasts [s]; its end is exclusive."""
        return float(self.at[end - 1] - self.at[begin]) + self.step


def _health(spans: Iterable[Span]) -> Health:
    ordered = sorted(spans)
    return Health(tuple(word for word in WORDS if any(span.word == word for span in ordered)), tuple(ordered))


def _runs(there: Flags) -> NDArray[np.int64]:
    """Start and end (exclusive) of each stretch of true, a row each."""
    edges = np.flatnonzero(np.diff(np.r_[False, there, False].astype(np.int8)))
    return edges.reshape(-1, 2)


def _spans(runs: NDArray[np.int64], clock: _Clock, word: Word, shortest: float) -> list[Span]:
    return [clock.span(int(a), int(b), word) for a, b in runs if clock.last(int(a), int(b)) >= shortest]


def _stuck(values: Floats, still: Flags, turning: Flags, zero: Flags, clock: _Clock, *, slow: bool) -> list[Span]:
    """Runs of one value, too long for a channel that repeats itself as often as this one does elsewhere.

    How often it repeats itself is told from all its steps, and from those at the same value elsewhere, since a display
    of few digits repeats what lies in the middle of its step; runs counted no longer than what makes them suspect: a
    meter stuck for most of a log does not pass for one that hardly ever moves. A slow channel with a coarse step
    repeats itself for minutes: one that need not move is judged only where it turns round at times, and a run of it
    must also be ten times as long as those that hold a quarter of its samples.
    """
    pairs = turning[1:] & turning[:-1] & ~zero[1:]
    same = np.r_[False, (values[1:] == values[:-1]) & still[1:] & still[:-1] & pairs]
    runs = _runs(same)
    lengths = runs[:, 1] - runs[:, 0]
    least = max(STUCK_STEPS, math.ceil(STUCK_FOR / clock.step))
    if not (lengths >= STUCK_STEPS).any():
        return []
    if slow and _turns(values[turning]) < LEAST_TURNS:
        return []
    capped = np.minimum(lengths, least)
    changed = pairs & ~same[1:]
    often = _share(int(capped.sum()), int(changed.sum()), 1)
    longest = 0.0
    if slow:
        ordered = np.sort(lengths)
        longest = 10.0 * float(ordered[np.searchsorted(np.cumsum(ordered), ordered.sum() / 4)])
    held = values[runs[:, 0]]
    spans = []
    for (a, b), n in zip(runs, lengths, strict=True):
        if n < max(STUCK_STEPS, longest) or clock.at[b - 1] - clock.at[a - 1] < STUCK_FOR:
            continue
        value = values[int(a)]
        elsewhere = int(capped[held == value].sum()) - int(min(n, least))
        here = _share(elsewhere, int((changed & (values[:-1] == value)).sum()), LEAST_PAIRS)
        share = max(often, here)
        others = np.sort(lengths[held == value])[:-1]
        if len(others) and n < LONGER * others[-1] and others[-1] >= STUCK_STEPS:
            continue
        if n >= (math.log(_UNLIKELY / len(values)) / math.log(share) if share > 0 else 0.0):
            spans.append(clock.span(int(a) - 1, int(b), "stuck"))
    return spans


def _share(repeats: int, changes: int, least: int) -> float:
    """Share of the steps that repeat a value; 0 where there are fewer than `least`, or nothing but repeats."""
    return repeats / (repeats + changes) if changes and repeats + changes >= least else 0.0


def _turns(values: Floats) -> int:
    """How often a channel turns round: one that only creeps up to where it stays never shows a scatter."""
    steps = np.sign(np.diff(values[np.isfinite(values)]))
    steps = steps[steps != 0]
    return int(np.count_nonzero(steps[1:] != steps[:-1]))


def _clipped(
    values: Floats, turning: Flags, step: float, low: float | None, high: float | None
) -> list[tuple[int, int]]:
    """Stretches at the end of a range: begin and end (exclusive)."""
    found: list[tuple[int, int]] = []
    known = values[turning]
    if not len(known):
        return found
    for extreme, end in ((float(known.max()), high), (float(known.min()), low)):
        if extreme == 0.0 or abs(extreme) <= step:
            continue  # nothing is not the end of a range
        at_end = end is not None and (extreme >= end if end is high else extreme <= end)
        if end is not None and at_end and end is high:
            there = turning & (values >= end)
            if there.sum() >= RANGE_SHARE * len(known):
                found += [(int(a), int(b)) for a, b in _runs(there)]
                continue
        there = turning & (values == extreme)
        runs = _runs(there)
        runs = runs[runs[:, 1] - runs[:, 0] > 1]  # one sample at the extreme is any record's largest
        total = int((runs[:, 1] - runs[:, 0]).sum())
        near = turning & (np.abs(values - extreme) <= max(0.02 * float(np.ptp(known)), 1.5 * step)) & ~there
        # a channel that only comes close has more samples just short of its extreme than on it
        if len(runs) >= CLIP_RUNS and total >= CLIP_SAMPLES and there.sum() > 2 * near.sum():
            found += [(int(a), int(b)) for a, b in runs]
    return found


def _drift(values: Floats, still: Flags, turning: Flags, step: float, clock: _Clock) -> list[Span]:
    """Levels at standstill that differ from stop to stop."""
    stops = [(int(a), int(b)) for a, b in _runs(still) if clock.last(int(a), int(b)) >= STANDSTILL]
    if len(stops) < 2 or not turning.any():
        return []
    settled = [values[(a + b) // 2 : b] for a, b in stops]  # the second half: the engine has run out
    levels = np.array([float(np.median(each)) for each in settled])
    scatter = max(1.4826 * float(np.median(np.abs(each - np.median(each)))) for each in settled)
    running = float(np.median(np.abs(values[turning])))
    if float(np.ptp(levels)) <= max(0.02 * running, 3 * scatter, 2 * step):
        return []
    return [clock.span(a, b, "drifting-zero") for a, b in stops]


def _jumps(values: Floats, good: Flags, clock: _Clock) -> list[Span]:
    """Excursions of one or two samples out of line with what stands around them."""
    where = np.flatnonzero(good)
    known = values[where]
    if len(known) < 2 * JUMP_BACK + 10:
        return []
    steps = np.diff(known)
    changing = np.abs(steps[steps != 0])
    if not len(changing):
        return []
    size = max(1.4826 * float(np.median(np.abs(steps))), 1.4826 * float(np.median(changing)) / 2)
    limit = JUMP * size
    left = np.flatnonzero(np.abs(steps) > limit)
    found: list[Span] = []
    last = -1
    for at in left:  # few: what leaves the line of its neighbours at all
        if at < last:
            continue
        away = known[at + 1 : at + 1 + JUMP_BACK] - known[at]
        back = np.flatnonzero(np.abs(away) < abs(steps[at]) / 3)
        if len(back):
            last = int(at + 1 + back[0])
            found.append(Span(float(clock.at[where[at + 1]]), float(clock.at[where[last]]), "jumps"))
    return found if len(found) >= JUMPS else []
