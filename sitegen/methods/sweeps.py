"""Full-load sweeps in a record of speed and torque: which rises of speed are pulls, and what the others are.

Speeds [rad/s], torques [N m], instants [s]. The rule, common practice with no source: a pull is a rise of speed through
the whole range that is told,

- without a fall of more than `REVERSAL` of the range, and without standing still: not more than `STANDS` of its time
  goes by at less than `SLOW` of its mean rate, so that a full-load curve held step by step is none;
- between `SHORTEST` and `LONGEST` seconds long;
- at full load: demand at `DEMANDED` and above where it was logged; in any case a mean pressure of at least
  `LEAST_BMEP`, no step of torque of more than `STEPS` between neighbours of the grid, torque at least `OF_ALL` of the
  most that the record shows at these speeds, and at least `OF_PULLS` of the middle of the pulls of the record;
- as long as planned, within `AS_PLANNED`, where the schedule has rising ramps without a torque; a ramp of which the
  schedule states the torque that was found is run at that load, and no pull.

It fails where all sweeps of a record run at the same part load and no demand was logged (they pass as pulls), where
variants differ by more than `OF_PULLS` allows (the weaker passes as part load), and where a governor takes over inside
the range (its fall of torque passes as a step of load; the bands then end too high).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
GRID = 51  # speeds a pull is told at
REVERSAL = 0.03  # share of the range by which speed may fall within a rise
STANDS, SLOW = 0.25, 0.25  # share of the time, at less than that share of the mean rate
SHORTEST, LONGEST = 2.0, 900.0  # s
DEMANDED = 0.9  # share of all
LEAST_BMEP = 300e3  # Pa
STEPS = 0.1  # share of the middle torque
OF_ALL, OF_PULLS = 0.8, 0.93
AS_PLANNED = 0.3
ENDS = 0.01  # share of the range by which a rise may miss either end; half of what a band may lack
_TOLD = 0.2  # share of the range below which a rise of speed is not worth a word
_FEWEST = 12  # instants
_NEAR = 2  # steps of the grid on either side that a point of it is taken from


class Planned(NamedTuple):
    """A rising ramp of a schedule."""

    low: float  # rad/s
    high: float
    seconds: float
    torque: float | None  # N m, the mean of its ends; None: not stated, full load


@dataclass(frozen=True)
class Rise:
    """One rise of speed on an even grid of speeds, and what it is."""

    begin: float  # s
    end: float
    speeds: Floats
    torques: Floats
    rates: Floats  # rad/s2, of the speed at each
    demand: float | None = None  # share, what it did not fall below for more than a tenth of the time
    word: str = ""  # "" a pull, else the code of what else it is


def rises(speed: Floats, fall: float) -> list[tuple[int, int]]:
    """First and last place of each rise of speed (n,) that no fall of more than `fall` interrupts.

    >>> rises(np.array([5.0, 1.0, 2.0, 1.9, 6.0, 2.0, 9.0]), 0.5)
    [(1, 4), (5, 6)]
    """
    found: list[tuple[int, int]] = []
    low = high = 0
    up = False
    for at, value in enumerate(speed.tolist()):
        if up:
            if value > speed[high]:
                high = at
            elif value < speed[high] - fall:
                found.append((low, high))
                low, up = at, False
        elif value < speed[low]:
            low = at
        elif value > speed[low] + fall:
            high, up = at, True
    return [*found, (low, high)] if up else found


def rise(
    t: Floats, speed: Floats, torque: Floats, low: float, high: float, demand: Floats | None = None
) -> Rise | None:
    """What the instants of one rise hold between two speeds; None where it is not worth a word.

    Standing at either end is no part of it. Torque and rate at a speed of the grid are of a straight line through
    the instants near it.
    """
    span = high - low
    least, most = max(low, float(speed.min())), min(high, float(speed.max()))
    if most - least < _TOLD * span:
        return None
    room = ENDS * span / 2
    begin = int(np.flatnonzero(speed <= least + room)[-1])
    after = np.flatnonzero(speed[begin:] >= most - room)
    end = begin + int(after[0]) + 1
    own = slice(max(begin - 1, 0), min(end + 1, len(speed)))
    at, n, load = t[own], speed[own], torque[own]
    there = np.isfinite(load)
    if there.sum() < _FEWEST or n.max() <= n.min():
        word = "pull-too-quick" if at[-1] - at[0] < SHORTEST else "pull-without-torque"
        return Rise(float(at[0]), float(at[-1]), np.array([least, most]), np.full(2, np.nan), np.full(2, np.nan), None,
                    word)  # fmt: skip
    grid = np.linspace(max(least, float(n.min())), min(most, float(n.max())), GRID)
    lines = [_line(n[there], load[there], speed_at, grid[1] - grid[0]) for speed_at in grid]
    instants = [_line(n, at, speed_at, grid[1] - grid[0]) for speed_at in grid]
    rates = np.array([1 / slope if slope > 0 else np.nan for _, slope in instants])
    asked = None if demand is None or not np.isfinite(demand[own]).any() else float(np.nanquantile(demand[own], 0.1))
    found = Rise(float(at[0]), float(at[-1]), grid, np.array([each for each, _ in lines]), rates, asked)
    return replace(found, word=_shape(found, at, n, low, high))


def _line(x: Floats, y: Floats, where: float, step: float) -> tuple[float, float]:
    """Level and slope at a place of a straight line through the points near it; wider where they are few."""
    reach = _NEAR * step
    near = np.abs(x - where) <= reach
    while near.sum() < 3 and not near.all():
        reach *= 1.5
        near = np.abs(x - where) <= reach
    slope, level = np.polyfit(x[near] - where, y[near], 1) if np.ptp(x[near]) > 0 else (0.0, y[near].mean())
    return float(level), float(slope)


def _shape(found: Rise, at: Floats, speed: Floats, low: float, high: float) -> str:
    """What speaks against a sweep in how the speed went."""
    seconds = at[-1] - at[0]
    if seconds < SHORTEST:
        return "pull-too-quick"
    if seconds > LONGEST or _standing(at, speed) > STANDS:
        return "pull-not-swept"
    if found.speeds[0] > low + ENDS * (high - low) or found.speeds[-1] < high - ENDS * (high - low):
        return "pull-broken-off"
    return ""


def _standing(at: Floats, speed: Floats) -> float:
    """Share of the time at less than `SLOW` of the mean rate, over windows of a second or a fiftieth of the whole."""
    seconds = at[-1] - at[0]
    window = max(1.0, 0.02 * seconds)
    later = np.interp(at + window, at, speed)[at <= at[-1] - window]
    rate = (later - speed[: len(later)]) / window
    return float(np.mean(rate < SLOW * (speed[-1] - speed[0]) / seconds)) if len(rate) else 0.0


def judged(
    found: Sequence[Rise], most: tuple[Floats, Floats], displaced_torque: float, planned: Sequence[Planned] = ()
) -> list[Rise]:
    """The rises of a record with their words: what was not at full load, or not as planned, is no pull.

    most: speeds, and the most torque the record shows at each, NaN where none; displaced_torque: torque [N m] of a
    mean pressure of 1 Pa. What is swept as a pull but broken off stays that only if it was at full load.
    """
    words = [_loaded(each, most, displaced_torque, planned) for each in found]
    made = [replace(each, word=word) for each, word in zip(found, words, strict=True)]
    means = [float(np.mean(each.torques)) for each in made if not each.word]
    middle = float(np.median(means)) if means else 0.0
    return [
        replace(each, word="pull-part-load") if not each.word and np.mean(each.torques) < OF_PULLS * middle else each
        for each in made
    ]


def _loaded(each: Rise, most: tuple[Floats, Floats], displaced_torque: float, planned: Sequence[Planned]) -> str:
    if each.word not in {"", "pull-broken-off"}:
        return each.word
    if (each.demand is not None and each.demand < DEMANDED) or np.median(each.torques) < LEAST_BMEP * displaced_torque:
        return "pull-part-load"
    ended = each.torques[: -GRID // 10] if each.word else each.torques  # whoever breaks off takes the load away
    if np.abs(np.diff(ended)).max() > STEPS * float(np.median(each.torques)):
        return "pull-load-stepped"
    known = np.isfinite(most[1])
    if known.any():
        share = np.median(each.torques / np.interp(each.speeds, most[0][known], most[1][known]))
        if share < OF_ALL:
            return "pull-part-load"
    return each.word or _planned(each, planned)


def _planned(each: Rise, planned: Sequence[Planned]) -> str:
    """Whether the schedule has such a ramp, and at which load."""
    rate = (each.speeds[-1] - each.speeds[0]) / (each.end - each.begin)
    fit = [one for one in planned if abs((one.high - one.low) / one.seconds / rate - 1) <= AS_PLANNED]
    torque = float(np.mean(each.torques))
    if any(one.torque is not None and abs(torque / one.torque - 1) <= STEPS for one in fit if one.torque):
        return "pull-part-load"
    full = any(one.torque is None for one in planned)
    return "pull-not-planned" if full and not any(one.torque is None for one in fit) else ""
