"""Wear of a ring's running face: traces across it before and after, aligned on the unworn flanks. Lengths [m]."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sitegen.vocabulary import Refused

Floats = NDArray[np.float64]

WORST = 0.25e-6  # m, standard deviation on the flanks above which traces are not aligned; a convention of ours
SMOOTHED = 20e-6  # m, over which the difference is averaged before its edges are read
DEPTH_OVER = 60e-6  # m, over which it is averaged before its depth is: the deepest of many short stretches is too deep
TOGETHER = 5.0  # points that err together, since roughness is drawn out over them; a convention of ours
COVER = 2.0  # standard errors of the alignment taken as its limit of error
LEAST_ANGLES = 5


@dataclass(frozen=True)
class Bounded:
    """A number with limits of error."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class Face:
    """One section across the face."""

    x: Floats  # m, across the face
    before: Floats  # m, levelled on the flanks
    after: Floats
    depth: Bounded  # m
    area: Bounded  # m2
    width: Bounded  # m, of the contact band
    begin: float  # m, of the band
    end: float
    misfit: float  # m, standard deviation of the difference on the flanks


def section(x1: Floats, z1: Floats, x2: Floats, z2: Floats, flank: float) -> Face:
    """Wear between two traces over the same face; `flank` is the width of the unworn edge at either side [m].

    Raises Refused "flanks-missing" where a flank holds fewer than 16 points, "not-aligned" with the misfit [m] where
    they do not lie on each other.
    """
    step = float(np.median(np.diff(x1)))
    begin, end = max(x1[0], x2[0]), min(x1[-1], x2[-1])
    x = np.arange(begin, end + step / 2, step)
    before, after = np.interp(x, x1, z1), np.interp(x, x2, z2)
    on_flank = (x <= begin + flank) | (x >= end - flank)
    if min(int((x <= begin + flank).sum()), int((x >= end - flank).sum())) < 16 or on_flank.all():
        raise Refused("flanks-missing")
    u = (x - x.mean()) * 1e3
    a = np.column_stack([np.ones(int(on_flank.sum())), u[on_flank]])
    off = before - after
    fitted, *_ = np.linalg.lstsq(a, off[on_flank], rcond=None)
    worn = off - (fitted[0] + fitted[1] * u)
    misfit = float(np.std(worn[on_flank], ddof=2))
    if misfit > WORST:
        raise Refused("not-aligned", misfit=misfit)
    inverse = np.linalg.inv(a.T @ a)
    every = np.column_stack([np.ones(len(u)), u])
    limit = COVER * misfit * np.sqrt(TOGETHER * np.einsum("ij,jk,ik->i", every, inverse, every))
    smooth, noise = _smoothed(worn, SMOOTHED / step, misfit)
    broad, rest = _smoothed(worn, DEPTH_OVER / step, misfit)
    deepest = int(np.argmax(broad))
    depth, spread = float(broad[deepest]), float(limit[deepest]) + rest
    area = float(np.sum(worn[~on_flank]) * step)
    area_limit = float(np.sum(limit[~on_flank]) * step)
    low, high = (_band(x, smooth, deepest, level) for level in (noise + spread, noise))
    edges = _band(x, smooth, deepest, 1.5 * noise)
    # levelled on the flanks of the trace before
    base, *_ = np.linalg.lstsq(a, before[on_flank], rcond=None)
    plane = base[0] + base[1] * u
    return Face(
        x - begin,
        before - plane,
        before - plane - worn,
        Bounded(depth, depth - spread, depth + spread),
        Bounded(area, area - area_limit, area + area_limit),
        Bounded(edges[1] - edges[0], low[1] - low[0], max(high[1] - high[0], edges[1] - edges[0])),
        edges[0] - begin,
        edges[1] - begin,
        misfit,
    )


def _smoothed(worn: Floats, over: float, misfit: float) -> tuple[Floats, float]:
    """Means over so many points, and the limit of error of one of them from the scatter [m]."""
    count = max(1, round(over) | 1)
    smooth = np.convolve(np.pad(worn, count // 2, mode="edge"), np.ones(count) / count, mode="valid")
    return np.asarray(smooth), COVER * misfit * math.sqrt(min(TOGETHER / count, 1.0))


def _band(x: Floats, worn: Floats, deepest: int, level: float) -> tuple[float, float]:
    """The stretch about the deepest point that is worn by more than a level; none: no width."""
    if worn[deepest] <= level:
        return float(x[deepest]), float(x[deepest])
    below = np.flatnonzero(worn <= level)
    left, right = below[below < deepest], below[below > deepest]
    return float(x[left[-1]] if len(left) else x[0]), float(x[right[0]] if len(right) else x[-1])


def around(areas: Mapping[float, Bounded], bore: float) -> Bounded:
    """Worn volume [m3] from worn areas [m2] by angle from the gap [deg], by the trapezium rule around the ring.

    Raises Refused "few-angles" below five: wear peaks at the ends of the gap.
    """
    if len(areas) < LEAST_ANGLES:
        raise Refused("few-angles")
    angles = sorted(areas)
    turns = np.radians([*angles, angles[0] + 360])

    def summed(name: str) -> float:
        each = np.array([getattr(areas[angle], name) for angle in [*angles, angles[0]]])
        return float(bore / 2 * np.sum(np.diff(turns) * (each[:-1] + each[1:]) / 2))

    return Bounded(summed("value"), summed("low"), summed("high"))
