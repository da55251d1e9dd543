"""A run held against its schedule: how long it kept to what was planned, where it stopped, where it strayed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sitegen.vocabulary import Refused

Floats = NDArray[np.float64]

SETTLING = 15.0  # s at the beginning of a step in which the engine is on its way; common practice, no source
STOP = 10.0  # s without running that count as a stop; shorter ones are gaps of a record
STRAY = 5.0  # s out of band that count as an excursion; shorter ones are the controller's


@dataclass(frozen=True)
class Part:
    """One planned part of a run."""

    time: float  # s
    speed: float  # rad/s at its beginning
    speed_to: float  # rad/s at its end
    torque: float | None = None  # N m
    reference: bool = False


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
    channel: str  # "speed" or "torque"
    most: float  # largest deviation, with its sign, in the unit of the channel


@dataclass(frozen=True)
class Held:
    """How a run kept to its schedule."""

    share: float  # of the planned time within the bands, ways in left out on both sides [-]
    by_part: tuple[float, ...]  # the same for each part [-]
    run: float  # s run in all
    planned: float  # s
    stops: tuple[tuple[float, float], ...]  # begin and end [s of the record]
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
) -> Held:
    """Hold a record against its plan.

    t (n,) beginning of each bin [s], width of a bin [s], speed (n,) [rad/s], torque (n,) [N m] or None, NaN where there
    is no sample; `idle` the speed below which the engine does not run [rad/s]. The plan is followed in running time, so
    that a stop moves what comes after it and does not put it out of band. The first `SETTLING` seconds of a part, and
    those after a start, count neither way. A bin without a sample, or that was never run, is time not held.

    Raises Refused "no-schedule" and "no-speed".
    """
    if not parts:
        raise Refused("no-schedule")
    at, revs = np.asarray(t, dtype=float), np.asarray(speed, dtype=float)
    if not np.isfinite(revs).any():
        raise Refused("no-speed")
    running = np.nan_to_num(revs, nan=0.0) > idle
    elapsed = (np.cumsum(running) - running) * width  # running time at the beginning of each bin
    ends = np.cumsum([part.time for part in parts])
    begins = ends - [part.time for part in parts]
    part = np.clip(np.searchsorted(ends, elapsed + 1e-9, side="right"), 0, len(parts) - 1)
    planned = running & (elapsed < ends[-1] - 1e-9)
    starts = running & ~np.concatenate([[False], running[:-1]])
    since = elapsed - np.maximum.accumulate(np.where(starts, elapsed, 0.0))  # running time since the last start
    settled = planned & (elapsed - begins[part] >= SETTLING)
    counted = settled & (since >= SETTLING - 1e-9)
    span = np.array([each.time for each in parts])[part]
    first, last = (np.array([getattr(each, name) for each in parts])[part] for name in ("speed", "speed_to"))
    along = (elapsed + width / 2 - begins[part]) / span
    off = {"speed": revs - (first + (last - first) * np.clip(along, 0, 1))}
    within = np.abs(off["speed"]) <= bands.speed
    limits = {"speed": bands.speed}
    if torque is not None:
        wanted = np.array([np.nan if each.torque is None else each.torque for each in parts])[part]
        off["torque"] = np.asarray(torque, dtype=float) - wanted
        within &= np.isnan(wanted) | (np.abs(off["torque"]) <= bands.torque)
        limits["torque"] = bands.torque
    good = counted & within
    excused = width * np.bincount(part[settled & ~counted], minlength=len(parts))
    asked = np.maximum(np.array([each.time for each in parts]) - SETTLING - excused, width)
    by_part = [float(min(1.0, width * good[part == place].sum() / asked[place])) for place in range(len(parts))]
    share = float(np.dot(by_part, asked) / asked.sum())
    stops = _stops(at, width, running)
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
        tuple(sorted(strays, key=lambda stray: (stray.begin, stray.channel))), tuple(windows),
    )  # fmt: skip


def _stretches(mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First and last place of each stretch of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(int)))
    return [(int(begin), int(end) - 1) for begin, end in zip(edges[::2], edges[1::2], strict=True)]


def _stops(at: Floats, width: float, running: NDArray[np.bool_]) -> tuple[tuple[float, float], ...]:
    """Stretches between the first and the last running in which the engine stood."""
    ran = np.flatnonzero(running)
    if len(ran) == 0:
        return ()
    inside = slice(ran[0], ran[-1] + 1)
    found = _stretches(~running[inside])
    spans = [(float(at[inside][begin]), float(at[inside][end] + width)) for begin, end in found]
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
    for begin, end in _stretches(counted & (np.abs(off) > limit)):
        if at[end] + width - at[begin] >= STRAY:
            own = off[begin : end + 1]
            most = float(own[np.nanargmax(np.abs(own))])
            found.append(Stray(float(at[begin]), float(at[end] + width), int(part[begin]), channel, most))
    return found
