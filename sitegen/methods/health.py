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
ZERO_FOR = 10.0  # s
CLIP_RUNS = 3  # separate stretches at the very same extreme
CLIP_SAMPLES = 10  # in all of them
RANGE_SHARE = 0.01  # of the samples: fewer below the range are not named
STANDSTILL = 10.0  # s a stop must last to show the zero
JUMP = 15.0  # robust standard deviations of the steps from sample to sample
JUMP_BACK = 3  # samples within which a jump goes back
JUMPS = 3  # so many, and the channel jumps
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
) -> Health:
    """Judge one channel.

    Parameters: x [any unit] evenly spaced dt [s] apart, NaN where absent; resolution, low, high [unit of x]: smallest
    step the meter shows, ends of its range; moving: where the engine turns, for a channel that must move with it and
    reads nothing at standstill (a blow-by meter, torque); None for any other channel (an oil temperature may stand
    still for long, and has no zero).

    Notes. *flat*: all samples within one resolution step. *zero*: nothing but zero, within a resolution step, for 10 s
    and more while the engine turns. *stuck*: the very same value for 30 s and more, and longer than its other steps
    make likely; a channel that need not move is judged by that alone. *clipped*: the same largest or smallest value in
    three separate stretches and ten samples at least, or 1 % of the samples at or beyond an end of the range.
    *below-range*: 1 % of the samples or more under `low`, while the engine turns. *drifting-zero*: the level at
    standstill moves between stops by more than 2 % of the running level, its scatter and the resolution. *jumps*: three
    or more excursions of one or two samples, there and back, that steps of the channel elsewhere do not explain.
    """
    values = np.asarray(x, dtype=float)
    good = np.isfinite(values)
    if not good.any():
        return Health((), ())
    step = resolution or 0.0
    turning = good if moving is None else good & np.asarray(moving, dtype=bool)
    known = values[good]
    spans: list[Span] = []
    if float(np.ptp(known)) <= step * (1 + 1e-9):
        whole = np.flatnonzero(good)
        none_at_all = moving is not None and turning.any() and float(np.abs(known).max()) <= step
        return _health([Span(whole[0] * dt, (whole[-1] + 1) * dt, "zero" if none_at_all else "flat")])
    zero = np.abs(values) <= step
    if moving is not None:
        spans += _spans(_runs(zero & turning), dt, "zero", ZERO_FOR)
    cut = _clipped(values, turning, step, low, high, dt)
    ends = np.zeros(len(values), dtype=bool)
    for span in cut:
        ends[round(span.start / dt) : round(span.end / dt)] = True
    spans += cut
    spans += _stuck(values, turning & ~ends, zero & (moving is not None), dt, slow=moving is None)
    if low is not None:
        below = (values < low) & turning
        if moving is not None:
            below &= ~zero
        if below.sum() >= RANGE_SHARE * max(turning.sum(), 1):
            spans += _spans(_runs(below), dt, "below-range", 0.0)
    if moving is not None:
        spans += _drift(values, good & ~turning, turning, step, dt)
    spans += _jumps(values, good, dt)
    return _health(spans)


def _health(spans: Iterable[Span]) -> Health:
    ordered = sorted(spans)
    return Health(tuple(word for word in WORDS if any(span.word == word for span in ordered)), tuple(ordered))


def _runs(there: Flags) -> NDArray[np.int64]:
    """Start and end (exclusive) of each stretch of true, a row each."""
    edges = np.flatnonzero(np.diff(np.r_[False, there, False].astype(np.int8)))
    return edges.reshape(-1, 2)


def _spans(runs: NDArray[np.int64], dt: float, word: Word, shortest: float) -> list[Span]:
    return [Span(int(a) * dt, int(b) * dt, word) for a, b in runs if (b - a) * dt >= shortest]


def _stuck(values: Floats, turning: Flags, zero: Flags, dt: float, *, slow: bool) -> list[Span]:
    """Runs of one value, too long for a channel that repeats itself as often as this one does elsewhere.

    A slow channel with a coarse step repeats itself for minutes: of one that need not move a run must also be ten times
    as long as those that hold a quarter of its samples.
    """
    same = np.r_[False, (values[1:] == values[:-1]) & turning[1:] & turning[:-1]] & ~zero
    runs = _runs(same)
    lengths = runs[:, 1] - runs[:, 0]
    long = lengths * dt >= STUCK_FOR
    if not long.any():
        return []
    steps = int(turning.sum()) - int(lengths[long].sum())
    often = (int(lengths[~long].sum()) + 1) / max(steps, 1)  # of other steps that change nothing
    needed = math.log(_UNLIKELY / len(values)) / math.log(often) if often < 1 else math.inf
    if slow:
        ordered = np.sort(lengths)
        needed = max(needed, 10.0 * float(ordered[np.searchsorted(np.cumsum(ordered), ordered.sum() / 4)]))
    return [Span(int(a - 1) * dt, int(b) * dt, "stuck") for (a, b), n in zip(runs, lengths, strict=True)
            if n * dt >= STUCK_FOR and n >= needed]  # fmt: skip


def _clipped(
    values: Floats, turning: Flags, step: float, low: float | None, high: float | None, dt: float
) -> list[Span]:
    found: list[Span] = []
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
                found += _spans(_runs(there), dt, "clipped", 0.0)
                continue
        there = turning & (values == extreme)
        runs = _runs(there)
        runs = runs[runs[:, 1] - runs[:, 0] > 1]  # one sample at the extreme is any record's largest
        total = int((runs[:, 1] - runs[:, 0]).sum())
        near = turning & (np.abs(values - extreme) <= max(0.02 * float(np.ptp(known)), 1.5 * step)) & ~there
        # a channel that only comes close has more samples just short of its extreme than on it
        if len(runs) >= CLIP_RUNS and total >= CLIP_SAMPLES and there.sum() > 2 * near.sum():
            found += _spans(runs, dt, "clipped", 0.0)
    return found


def _drift(values: Floats, still: Flags, turning: Flags, step: float, dt: float) -> list[Span]:
    """Levels at standstill that differ from stop to stop."""
    stops = [(int(a), int(b)) for a, b in _runs(still) if (b - a) * dt >= STANDSTILL]
    if len(stops) < 2 or not turning.any():
        return []
    settled = [values[(a + b) // 2 : b] for a, b in stops]  # the second half: the engine has run out
    levels = np.array([float(np.median(each)) for each in settled])
    scatter = max(1.4826 * float(np.median(np.abs(each - np.median(each)))) for each in settled)
    running = float(np.median(np.abs(values[turning])))
    if float(np.ptp(levels)) <= max(0.02 * running, 3 * scatter, 2 * step):
        return []
    return [Span(a * dt, b * dt, "drifting-zero") for a, b in stops]


def _jumps(values: Floats, good: Flags, dt: float) -> list[Span]:
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
            found.append(Span(float(where[at + 1]) * dt, float(where[last]) * dt, "jumps"))
    return found if len(found) >= JUMPS else []
