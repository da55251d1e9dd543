"""A run held against its schedule: how long it kept to what was planned, where it stopped, where it strayed."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from sitegen.vocabulary import Refused

Floats = NDArray[np.float64]

SETTLING = 15.0  # s at the beginning of a step in which the engine is on its way; common practice, no source
STOP = 10.0  # s at a standstill that count as a stop, or s without a sample as a hole of the record
STRAY = 5.0  # s out of band that count as an excursion; shorter ones are the controller's


@dataclass(frozen=True)
class Part:
    """One planned part of a run."""

    time: float  # s
    speed: float  # rad/s at its beginning
    speed_to: float  # rad/s at its end
    torque: float | None = None  # N m
    reference: bool = False
    windows: Mapping[str, tuple[float, float]] = field(default_factory=dict)  # channel -> least and most, in its unit
    torque_to: float | None = None  # N m at its end; None: as at its beginning


@dataclass(frozen=True)
class Bands:
    """How far from plan still counts as held."""

    speed: float  # rad/s
    torque: float  # N m


@dataclass(frozen=True)
class Stray:
    """A stretch out of band."""

    begin: float  # s of the record
    end: float  # s of the record
    part: int  # place in the schedule, from 0
    channel: str  # "speed", "torque" or one that has a window
    most: float  # largest deviation, with its sign, in the unit of the channel


@dataclass(frozen=True)
class Held:
    """How a run kept to its schedule."""

    share: float  # of the planned time within the bands, ways in left out on both sides [-]
    by_part: tuple[float, ...]  # the same for each part [-]
    run: float  # s run in all
    planned: float  # s
    stops: tuple[tuple[float, float], ...]  # begin and end [s of the record]
    holes: tuple[tuple[float, float], ...]  # stretches between running without a sample of the speed, alike
    strays: tuple[Stray, ...]
    windows: tuple[tuple[int, float, float], ...]  # part, begin and end [s of the record] of each part as run


def held(
    t: np.ndarray,
    width: float,
    speed: np.ndarray | None,
    torque: np.ndarray | None,
    parts: Sequence[Part],
    bands: Bands,
    idle: float,
    others: Mapping[str, np.ndarray] | None = None,
    step: float = 0.0,
) -> Held:
    """Hold a record against its plan.

    t (n,) beginning of each bin [s], width of a bin [s], speed (n,) [rad/s], torque (n,) [N m] or None, `others` (n,)
    the channels that parts may have windows for, NaN where there is no sample; `idle` the speed below which the engine
    does not run [rad/s]. The plan is followed in running time, so that a stop moves what comes after it and does not
    put it out of band. Of a hole in the record nothing says whether the engine ran: it is taken to have run, or to have
    stood, in all of them, whichever fits the plan better; but a row before a hole stands for its usual `step` [s], else
    each stop of a slow log moves the plan by one. The first `SETTLING` seconds of a part, and those after a
    start, count neither way. A bin without a sample, or that was never run, is time not held. A window is asked where
    its channel was logged.

    Raises Refused "no-schedule" and "no-speed".
    """
    if not parts:
        raise Refused("no-schedule")
    at, revs = np.asarray(t, dtype=float), np.asarray(speed, dtype=float)
    if not np.isfinite(revs).any():
        raise Refused("no-speed")
    running = np.nan_to_num(revs, nan=0.0) > idle
    unseen = _unseen(revs, running)
    seen = np.maximum.accumulate(np.where(np.isfinite(revs), np.arange(len(revs)), 0))
    last_row = unseen & running[seen] & (at - at[seen] < step - 1e-9)
    channels = {} if torque is None else {"torque": np.asarray(torque, dtype=float)}
    channels |= {name: np.asarray(values, dtype=float) for name, values in (others or {}).items()}
    best: Held | None = None
    for ran_unseen in (False, True) if unseen.any() else (False,):
        found = _followed(at, width, revs, channels, parts, bands, running, unseen, last_row | (unseen & ran_unseen))
        if best is None or found.share > best.share:
            best = found
    assert best is not None  # noqa: S101 - the loop runs once at least
    return best


def _followed(
    at: Floats,
    width: float,
    revs: Floats,
    channels: Mapping[str, Floats],
    parts: Sequence[Part],
    bands: Bands,
    running: NDArray[np.bool_],
    unseen: NDArray[np.bool_],
    ran_unseen: NDArray[np.bool_],
) -> Held:
    """The record against its plan, the engine taken to have run where `ran_unseen`, to have stood in other holes."""
    going = running | ran_unseen
    elapsed = (np.cumsum(going) - going) * width  # running time at the beginning of each bin
    ends = np.cumsum([part.time for part in parts])
    begins = ends - [part.time for part in parts]
    part = np.minimum(np.searchsorted(ends, np.asarray(elapsed) + 1e-9, side="right"), len(parts) - 1)
    planned = running & (elapsed < ends[-1] - 1e-9)
    starts = going & ~np.concatenate([[False], going[:-1]])
    since = elapsed - np.maximum.accumulate(np.where(starts, elapsed, 0.0))  # running time since the last start
    settled = planned & (elapsed - begins[part] >= SETTLING)
    counted = settled & (since >= SETTLING - 1e-9)
    span = np.array([each.time for each in parts])[part]
    along = np.clip((elapsed + width / 2 - begins[part]) / span, 0, 1)

    def by_bin(ends: Sequence[tuple[float, float]]) -> tuple[Floats, Floats]:
        first, last = np.array(ends).T
        return first[part], last[part]

    first, last = by_bin([(each.speed, each.speed_to) for each in parts])
    off = {"speed": revs - (first + (last - first) * along)}
    limits = {"speed": bands.speed}
    for name, values in channels.items():
        low, high = by_bin([_window(each, name) for each in parts])
        limits[name] = bands.torque if name == "torque" else 0.0
        beyond = values - (low + (high - low) * along if name == "torque" else np.clip(values, low, high))
        off[name] = np.where(np.isnan(low), 0.0, beyond)
    within = np.all([np.abs(own) <= limits[name] for name, own in off.items()], axis=0)
    good = counted & within
    excused = width * np.bincount(part[settled & ~counted], minlength=len(parts))
    asked = np.maximum(np.array([each.time for each in parts]) - SETTLING - excused, width)
    by_part = [float(min(1.0, width * good[part == place].sum() / asked[place])) for place in range(len(parts))]
    share = float(np.dot(by_part, asked) / asked.sum())
    stops = _between(at, width, running, ~running & ~unseen)
    strays = [
        stray
        for channel, deviation in off.items()
        for stray in _strays(at, width, deviation, counted, part, channel, limits[channel])
        if not any(abs(begin - stray.end) <= SETTLING for begin, _ in stops)  # running down to a stop is part of it
    ]
    windows = [
        (place, float(at[own[0]]), float(at[own[-1]] + width))
        for place in range(len(parts))
        if len(own := np.flatnonzero(planned & (part == place)))
    ]
    return Held(
        share, tuple(by_part), float(width * running.sum()), float(ends[-1]), stops,
        _between(at, width, running, unseen), tuple(sorted(strays, key=lambda stray: (stray.begin, stray.channel))),
        tuple(windows),
    )  # fmt: skip


def _window(part: Part, channel: str) -> tuple[float, float]:
    """What a part asks of a channel, least and most, of torque first and last; not numbers where it asks nothing."""
    if channel == "torque":
        first = math.nan if part.torque is None else part.torque
        return first, first if part.torque_to is None else part.torque_to
    return part.windows.get(channel, (math.nan, math.nan))


def _unseen(revs: Floats, running: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Bins of holes in the record: no sample of the speed, and the engine running before or after.

    Between two samples at a standstill it is taken to have stood.
    """
    there = np.flatnonzero(np.isfinite(revs))
    place = np.arange(len(revs))
    after = np.searchsorted(there, place)
    before, behind = there[np.maximum(after - 1, 0)], there[np.minimum(after, len(there) - 1)]
    inside = np.isnan(revs) & (after > 0) & (after < len(there))
    return np.asarray(inside & (running[before] | running[behind]))


def stretches(mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First and last place of each stretch of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(int)))
    return [(int(begin), int(end) - 1) for begin, end in zip(edges[::2], edges[1::2], strict=True)]


def _between(
    at: Floats, width: float, running: NDArray[np.bool_], there: NDArray[np.bool_]
) -> tuple[tuple[float, float], ...]:
    """Stretches of bins of `STOP` seconds and more between the first and the last running."""
    ran = np.flatnonzero(running)
    if len(ran) == 0:
        return ()
    inside = slice(ran[0], ran[-1] + 1)
    spans = [(float(at[inside][begin]), float(at[inside][end] + width)) for begin, end in stretches(there[inside])]
    return tuple(span for span in spans if span[1] - span[0] >= STOP)


def _strays(
    at: Floats,
    width: float,
    off: Floats,
    counted: NDArray[np.bool_],
    part: NDArray[np.int_],
    channel: str,
    limit: float,
) -> list[Stray]:
    found = []
    for begin, end in stretches(counted & (np.abs(off) > limit)):
        if at[end] + width - at[begin] >= STRAY:
            own = off[begin : end + 1]
            most = float(own[np.nanargmax(np.abs(own))])
            found.append(Stray(float(at[begin]), float(at[end] + width), int(part[begin]), channel, most))
    return found
