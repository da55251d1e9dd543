"""How long blow-by takes to settle, from visits to one reference point of the schedule or step by step.

On raw flow over a stepped schedule "settle time" measures the schedule. So either the engine comes back to the same
speed, load and oil temperature every so often and only those visits are used, or every step has a level of its own and
shares with the others only how far above it the flow still stands (flow normalised to the step).

Model: flow = level (1 + d exp(-t/scale)); `t` in any one unit, flow in another.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sitegen.vocabulary import Refused

Floats = NDArray[np.float64]

FEWEST = 6  # visits in all
MIN_RESIDUAL_DF = 3
_SCALES = 200
_DROPS = 601
_COARSE = (120, 201)  # scales and drops of the search for the best
_ZOOMS = 5  # near enough for Newton to end it
_NEWTON = 40  # steps at most
_CLOSE = 1e-13  # of ln(scale) and ln(1 + d): the last step
_NEAR = 0.5  # farther than this from the grid's best is another valley
_LEAST, _LARGEST = -8.0, 4.0  # of ln(flow at the first visit/level): all but nothing, and fifty times
_TINY = 1e-13  # of the sum of squares: below it a residual is rounding


@dataclass(frozen=True)
class Interval:
    """A number with its 95 % interval."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class Settling:
    """Time from t = 0 until the flow stays within `band` of its end level, with 95 % intervals."""

    time: float  # [unit of t]; 0 where it was within from the start
    low: float  # 0 where open
    high: float
    scale: float  # of the exponential [unit of t]
    scale_low: float  # 0 where the visits do not tell how fast it was
    scale_high: float
    levels: tuple[Interval, ...]  # end level by step, in order of appearance; one for a reference point
    start: float  # flow over its end level at t = 0 [-]
    band: float  # [-]
    residual_sd: float  # [unit of flow]
    df: int


@dataclass(frozen=True)
class Visits:
    """Means of a channel over visits to one operating point."""

    time: Floats  # middle of the samples used [unit of t]
    mean: Floats
    n: NDArray[np.int64]  # samples used


def visits(t: Floats, x: Floats, there: NDArray[np.bool_], settle: float = 0.0, fewest: int = 10) -> Visits:
    """Mean of a channel over each stretch of samples at the reference point.

    Parameters: t rising; x, NaN where absent; there: whether speed, load and oil temperature are those of the
    reference point; settle [unit of t]: left out at the start of each visit, three time constants of meter and engine
    or so; fewest samples a visit needs. Too short ones are left out.
    """
    time, values = np.asarray(t, dtype=float), np.asarray(x, dtype=float)
    inside = np.asarray(there, dtype=bool)
    starts = np.flatnonzero(inside & ~np.r_[False, inside[:-1]])
    ends = np.flatnonzero(inside & ~np.r_[inside[1:], False]) + 1
    found = []
    for start, end in zip(starts, ends, strict=True):
        used = slice(start + int(np.searchsorted(time[start:end], time[start] + settle)), end)
        good = np.isfinite(values[used])
        if int(good.sum()) >= fewest:
            found.append((float(time[used][good].mean()), float(values[used][good].mean()), int(good.sum())))
    columns = list(zip(*found, strict=True)) if found else [(), (), ()]
    return Visits(np.array(columns[0], float), np.array(columns[1], float), np.array(columns[2], np.int64))


@dataclass(frozen=True)
class _Sums:
    """What the residual sum of squares needs, for every scale tried: arrays [scale, step] or [step]."""

    total: float  # sum of y^2
    n: Floats
    y: Floats
    e: Floats
    ee: Floats
    ye: Floats

    def rss(self, drop: Floats) -> Floats:
        """Residual sum of squares [scale, drop], every step's level the best one."""
        d = drop[None, :]
        rest = np.full((len(self.e), len(drop)), self.total)
        for step in range(len(self.n)):
            cross = self.y[step] + d * self.ye[:, [step]]
            rest -= cross**2 / (self.n[step] + d * (2 * self.e[:, [step]] + d * self.ee[:, [step]]))
        return rest


def _sums(since: Floats, y: Floats, member: Floats, scales: Floats) -> _Sums:
    """Of points with their steps: a row of `member` holds the point's weight in the column of its step."""
    decay = np.exp(-since[None, :] / scales[:, None])
    return _Sums(
        total=float((y**2) @ member.sum(axis=1)),
        n=member.sum(axis=0),
        y=y @ member,
        e=decay @ member,
        ee=decay**2 @ member,
        ye=(decay * y) @ member,
    )


def settle_time(
    t: Floats, flow: Floats, band: float, step: Sequence[Hashable] | None = None, *, relative: bool = False
) -> Settling:
    """Time until the flow stays within a band of its end level, from visits to a reference point.

    Parameters: t [one unit], from the start of the run; flow [one unit], means over visits far enough apart to scatter
    independently, above zero; band [-], share of the end level; step: which step of the schedule each point belongs
    to, where there is no reference point: each step has its own level and only the approach is shared; relative:
    visits scatter in proportion to the flow rather than all alike.

    Notes: intervals are the ends of what keeps the residual sum of squares below least + s^2 F(1, nu), for the scale,
    the time and each level by itself (profile t). Simulated coverage: tests/methods/steady_coverage.py. A flow that
    rises to its level is fitted alike.

    Refuses: `few-visits` below six points or three residual degrees of freedom; `level-not-positive`;
    `no-change-beyond-scatter` where one level a step explains the points (F test, 5 %); `settling-open-above` where no
    end is in sight; `settling-open-below` where the best curve is settled before the second visit, else an open lower
    end is a scale and time from zero.

    References: D. M. Bates and D. G. Watts, Nonlinear Regression Analysis (1988), 6.1.
    """
    from scipy.special import fdtri

    time, y = np.asarray(t, dtype=float), np.asarray(flow, dtype=float)
    names = list(step) if step is not None else [0] * len(time)
    good = np.isfinite(time) & np.isfinite(y)
    names = [name for name, kept in zip(names, good, strict=True) if kept]
    time, y = time[good], y[good]
    order = list(dict.fromkeys(names))
    member = np.array([[name == each for each in order] for name in names], dtype=float).reshape(len(y), len(order))
    freedom = len(y) - len(order) - 2
    gaps = np.unique(time)
    if len(gaps) < FEWEST or freedom < MIN_RESIDUAL_DF:
        raise Refused("few-visits", found=len(y))
    if float(y.min()) <= 0:
        raise Refused("level-not-positive")
    if relative:
        member *= np.square(float(np.mean(y)) / y)[:, None]
    first, since = float(gaps[0]), time - gaps[0]
    bounds = math.log((gaps[1] - gaps[0]) / 20), math.log(20 * (gaps[-1] - gaps[0]))

    least, log_scale, log_drop = _best(since, y, member, bounds)
    total = float((y**2) @ member.sum(axis=1))
    least = max(least, _TINY * total)
    s2 = least / freedom
    flat = float(total - ((y @ member) ** 2 / member.sum(axis=0)).sum())
    if flat - least <= 2 * s2 * float(fdtri(2, freedom, 0.95)):
        raise Refused("no-change-beyond-scatter")
    margin = 0.02 * (bounds[1] - bounds[0])
    if log_scale > bounds[1] - margin:
        raise Refused("settling-open-above")
    cut = least + s2 * float(fdtri(1, freedom, 0.95))
    region = _region(since, y, member, bounds, cut, (log_scale, log_drop))
    if region.open_above:
        raise Refused("settling-open-above", low=region.scale[0])
    if log_scale < bounds[0] + margin:
        raise Refused("settling-open-below", high=region.scale[1])

    scale, drop = math.exp(log_scale), math.expm1(log_drop)
    best = _sums(since, y, member, np.array([scale]))
    levels = (best.y + drop * best.ye[0]) / (best.n + 2 * drop * best.e[0] + drop**2 * best.ee[0])
    low, high = _times(region, first, band)
    return Settling(
        time=max(first + scale * math.log(abs(drop) / band), 0.0),
        low=0.0 if region.open_below else low,
        high=high,
        scale=scale,
        scale_low=0.0 if region.open_below else region.scale[0],
        scale_high=region.scale[1],
        levels=tuple(Interval(float(v), float(a), float(b)) for v, a, b in zip(levels, *region.levels, strict=True)),
        start=1 + drop * math.exp(min(first / scale, 700.0)),
        band=band,
        residual_sd=math.sqrt(s2),
        df=freedom,
    )


def _best(since: Floats, y: Floats, member: Floats, bounds: tuple[float, float]) -> tuple[float, float, float]:
    """Least residual sum of squares, ln(scale) and ln(1 + d) there: grids over both, ever finer, then Newton."""
    left, right, low, high = *bounds, _LEAST, _LARGEST
    for _ in range(_ZOOMS):
        scales, drops = np.linspace(left, right, _COARSE[0]), np.linspace(low, high, _COARSE[1])
        rss = _sums(since, y, member, np.exp(scales)).rss(np.expm1(drops))
        row, column = divmod(int(np.argmin(rss)), _COARSE[1])
        log_scale, log_drop = float(scales[row]), float(drops[column])
        wide, tall = (right - left) * 4 / _COARSE[0], (high - low) * 6 / _COARSE[1]
        left, right = max(log_scale - wide, bounds[0]), min(log_scale + wide, bounds[1])
        low, high = log_drop - tall, log_drop + tall
    return _polished(since, y, member, bounds, (log_scale, log_drop))


def _polished(
    since: Floats, y: Floats, member: Floats, bounds: tuple[float, float], start: tuple[float, float]
) -> tuple[float, float, float]:
    """The root of the exact slope of the sum of squares next to a point of the grid; where it lies outside, the point.

    A sum of squares is flat at its least: its values tell the place to the root of the rounding only, and which of two
    such places is found would hang on the processor.
    """
    at = np.array(start)
    best = _slope(since, y, member, at)
    for _ in range(_NEWTON):
        _, slope, curvature = best
        if np.linalg.det(curvature) <= 0 or curvature[0, 0] <= 0:
            break  # no valley here: the best lies on the edge of what is searched
        step = np.linalg.solve(curvature, slope)
        ahead = at - step
        if not bounds[0] < ahead[0] < bounds[1] or np.abs(ahead - start).max() > _NEAR:
            return (_slope(since, y, member, np.array(start))[0], *start)
        at, best = ahead, _slope(since, y, member, ahead)
        if np.abs(step).max() < _CLOSE:
            break
    return best[0], float(at[0]), float(at[1])


def _slope(since: Floats, y: Floats, member: Floats, at: Floats) -> tuple[float, Floats, Floats]:
    """Half the residual sum of squares at ln(scale), ln(1 + d), its slope and its curvature, levels the best ones.

    The curvature with the levels left free is that of all parameters less what the levels take up (Schur complement).
    Returns the sum of squares itself, the slope [2] and the curvature [2, 2].
    """
    scale, drop = math.exp(at[0]), math.expm1(at[1])
    late = since / scale
    decay = np.exp(-late)
    shape = 1 + drop * decay
    square = (shape**2) @ member
    level = ((shape * y) @ member) / square
    weight = member.sum(axis=1)
    each = (member > 0) @ level
    residual = (y - each * shape) * np.sqrt(weight)
    by_scale, by_drop = drop * decay * late, (1 + drop) * decay  # of the shape
    second = np.array(
        [[drop * decay * late * (late - 1), by_drop * late], [by_drop * late, by_drop]]
    )  # of the shape: scale twice, both, drop twice
    first = np.stack([each * by_scale, each * by_drop])
    slope = -(first * np.sqrt(weight)) @ residual
    curvature = (first * weight) @ first.T - second @ (residual * np.sqrt(weight) * each)
    # of a level and a parameter: product of slopes, less the residual along what is left of the parameter's slope
    mixed = (first * shape - (y - each * shape) * np.stack([by_scale, by_drop])) @ member
    return float(residual @ residual), slope, curvature - (mixed / square) @ mixed.T


@dataclass(frozen=True)
class _Region:
    """What stays below the cut: for scales inside it, the least and largest drop at the first visit."""

    scale: tuple[float, float]
    scales: Floats
    least: Floats  # d
    most: Floats
    levels: tuple[Floats, Floats]  # lower and upper ends by step
    open_below: bool
    open_above: bool


def _region(
    since: Floats, y: Floats, member: Floats, bounds: tuple[float, float], cut: float, best: tuple[float, float]
) -> _Region:
    low, high = _LEAST, _LARGEST
    left, right = bounds
    open_below = open_above = False
    for look in range(3):  # all of it, then closer twice
        scales, drops = np.linspace(left, right, _SCALES), np.linspace(low, high, _DROPS)
        scales[int(np.argmin(abs(scales - best[0])))] = best[0]  # the best is inside, however small the region
        drops[int(np.argmin(abs(drops - best[1])))] = best[1]
        sums = _sums(since, y, member, np.exp(scales))
        beyond = sums.rss(np.expm1(drops)) - cut
        inside = beyond <= 0
        rows, columns = np.flatnonzero(inside.any(axis=1)), np.flatnonzero(inside.any(axis=0))
        if look == 0:
            open_below, open_above = bool(inside[0].any()), bool(inside[-1].any())
            open_above = open_above or bool(inside[:, -1].any())  # an end level of next to nothing: no end in sight
        if look < 2:
            left, right = float(scales[max(rows[0] - 1, 0)]), float(scales[min(rows[-1] + 1, _SCALES - 1)])
            low, high = float(drops[max(columns[0] - 1, 0)]), float(drops[min(columns[-1] + 1, _DROPS - 1)])
    profile = beyond.min(axis=1)
    ends = [
        math.exp(_crossing(scales, profile, int(rows[0]), -1)),
        math.exp(_crossing(scales, profile, int(rows[-1]), 1)),
    ]
    least, most = np.empty(len(rows)), np.empty(len(rows))
    for at, row in enumerate(rows):
        within = np.flatnonzero(inside[row])
        least[at] = math.expm1(_crossing(drops, beyond[row], int(within[0]), -1))
        most[at] = math.expm1(_crossing(drops, beyond[row], int(within[-1]), 1))
    return _Region(
        scale=(ends[0], ends[1]),
        scales=np.exp(scales[rows]),
        least=least,
        most=most,
        levels=_level_ends(sums, np.expm1(drops), beyond),
        open_below=open_below,
        open_above=open_above,
    )


def _level_ends(sums: _Sums, drops: Floats, beyond: Floats) -> tuple[Floats, Floats]:
    """Ends of each step's level: at every scale and drop inside, what is left of the cut goes to the level."""
    room = np.sqrt(np.maximum(-beyond, 0.0))
    lows, highs = [], []
    for group in range(len(sums.n)):
        square = sums.n[group] + 2 * drops[None, :] * sums.e[:, [group]] + drops[None, :] ** 2 * sums.ee[:, [group]]
        level = (sums.y[group] + drops[None, :] * sums.ye[:, [group]]) / square
        half = room / np.sqrt(square)
        lows.append(float(np.min(np.where(beyond <= 0, level - half, np.inf))))
        highs.append(float(np.max(np.where(beyond <= 0, level + half, -np.inf))))
    return np.array(lows), np.array(highs)


def _crossing(axis: Floats, beyond: Floats, inner: int, way: int) -> float:
    """Where a row passes zero between the outermost point inside and its neighbour; the point itself at the end."""
    outer = inner + way
    if not 0 <= outer < len(axis) or beyond[outer] <= 0:
        return float(axis[inner])
    share = beyond[inner] / (beyond[inner] - beyond[outer])
    return float(axis[inner] + share * (axis[outer] - axis[inner]))


def _times(region: _Region, first: float, band: float) -> tuple[float, float]:
    """Shortest and longest time until the flow is within the band, over the region."""
    ends = np.stack([region.least, region.most])
    far, near = np.abs(ends).max(axis=0), np.where(ends[0] * ends[1] <= 0, 0.0, np.abs(ends).min(axis=0))
    with np.errstate(divide="ignore"):
        longest = first + region.scales * np.log(far / band)
        shortest = first + region.scales * np.log(near / band)
    return max(float(shortest.min()), 0.0), max(float(longest.max()), 0.0)
