"""Wear of a ring's running face: traces across it before and after, aligned on the unworn flanks. Lengths [m].

What lies between two traces is a straight line (how the ring lay), wear, and the roughness of both, which is drawn out
over many points: neighbours err together. How high it is and how far it goes together is read from the trace before,
whose whole face is as it was made. Depth, area and width are linear in the points, or nearly, so that their errors
follow, with those of the line from the flanks; Student's t stands on as many independent points as the face holds.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sitegen.methods.intervals import student_95
from sitegen.vocabulary import Refused

Floats = NDArray[np.float64]
Trace = tuple[Floats, Floats]  # x in order, z

WORST = 0.25e-6  # m, standard deviation on the flanks above which traces are not aligned; a convention of ours
GRID = 2e-6  # m, finer points are averaged: they tell nothing more
LOCAL = 100e-6  # m, over which wear is averaged to find its core; a convention of ours
EDGES = 30e-6  # m, over which wear is averaged to find where it roughly ends
OWN = 0.7  # share of the degrees of freedom that is left, since how points err together is itself estimated; simulated
SPREAD = 5.0  # missed of the square by each part of a form, times the length that errs together over the face; likewise
FORM = 1e-3  # share of faces of a simple form that are taken for one of more degrees; a convention of ours
SHOWN = 2.25  # half-widths the depth has to reach, since its place is where the difference is largest; likewise
BAND = 1.3  # what the error of the width of the band is multiplied by; simulated
INNER = 0.9  # of the depth: the slope at either side of the band is taken from here outwards; a convention of ours
CLEAR = 15.0  # standard errors the depth has to reach before the edges of the band can be told; likewise
LEAST_FREE = 3.0  # degrees of freedom below which there is no interval worth the name
LEAST_ANGLES = 5  # common practice, no source


@dataclass(frozen=True)
class Bounded:
    """A number with its limits; with standard error and degrees of freedom [-] where they come from one."""

    value: float
    low: float
    high: float
    se: float = 0.0
    df: float = math.inf


@dataclass(frozen=True)
class Face:
    """One section across the face."""

    x: Floats  # m, across the face
    before: Floats  # m, levelled on the flanks
    after: Floats
    depth: Bounded  # m, mean of the core; low at zero where it is no more than the roughness can feign
    area: Bounded  # m2
    width: Bounded | None  # m, of the contact band; None where the wear is too shallow for its edges to be told
    begin: float  # m, of the band
    end: float
    misfit: float  # m, standard deviation of the difference on the flanks


@dataclass(frozen=True)
class _Section:
    """What is between two traces, and how its points err."""

    x: Floats
    step: float
    worn: Floats
    flank: NDArray[np.bool_]
    levels: Floats  # parameters of the line from the points of the flanks
    line: Floats  # the line's columns at every point
    together: Floats  # correlation by distance in points
    sigma: float  # m, of one point of one trace as made
    rougher: Floats  # standard deviation after, over that before, at every point
    shares: tuple[float, float]  # of a variance that are left in the mean of the traces before, and of those after
    df: float
    misfit: float
    most: int  # where the mean over LOCAL shows most wear, and the stretch about it in which it shows half as much
    stretch: tuple[int, int]

    def bounded(self, value: float, weights: Floats) -> Bounded:
        """Interval of a value that is linear in the worn heights with these weights."""
        se = self.error(weights)
        half = student_95(self.df) * se
        return Bounded(value, value - half, value + half, se, self.df)

    def error(self, weights: Floats) -> float:
        """Standard error of a weighted sum of worn heights, the line from the flanks included."""
        own = weights.copy()
        own[self.flank] -= self.levels.T @ (self.line.T @ weights)
        then, now = self.shares
        both = then * _quadratic(own, self.together) + now * _quadratic(own * self.rougher, self.together)
        return self.sigma * math.sqrt(max(both, 0.0))


def section(x1: Floats, z1: Floats, x2: Floats, z2: Floats, flank: float) -> Face:
    """Wear between two traces over the same face; see `sections`."""
    return sections([(x1, z1)], [(x2, z2)], flank)


def sections(before: Sequence[Trace], after: Sequence[Trace], flank: float) -> Face:
    """Wear between traces (x, z) of one place, their mean before and after.

    `flank` is the width of the unworn edge at either side [m]. Traces of one state have to lie apart by more than their
    roughness goes together, so that they err apart.

    Raises Refused "flanks-missing" where a flank holds fewer than 16 points, "face-short" where the roughness
    goes together over too much of the face, "not-aligned" with the misfit [m] where the flanks of the traces do not lie
    on each other.
    """
    every = [*before, *after]
    step = float(np.median(np.diff(before[0][0])))
    begin, end = max(float(x[0]) for x, _ in every), min(float(x[-1]) for x, _ in every)
    x = np.arange(begin, end + step / 2, step)
    ends = [int((x <= begin + flank).sum()), int((x >= end - flank).sum())]
    if min(ends) < 16 or sum(ends) >= len(x):
        raise Refused("flanks-missing")
    one, other = (np.array([np.interp(x, *each) for each in side]) for side in (before, after))
    known = _compared(*_averaged(x, one, other, step), flank)
    depth = _depth(known)
    width, edges = _band(known, depth, known.most)
    weights = np.where(known.flank, 0.0, known.step)
    mean = one.mean(axis=0)
    fitted = _line(x, mean, (x <= begin + flank) | (x >= end - flank))
    worn = np.interp(x, known.x, known.worn) if known.step > step else known.worn
    return Face(
        x - begin,
        mean - fitted,
        mean - fitted - worn,
        depth,
        known.bounded(float(weights @ known.worn), weights),
        width,
        edges[0] - begin,
        edges[1] - begin,
        known.misfit,
    )


def roughly(before: Trace, after: Trace, flank: float) -> float:
    """About the most wear [m] between two traces laid over each other on their flanks, in a fraction of the time."""
    begin, end = max(before[0][0], after[0][0]), min(before[0][-1], after[0][-1])
    x = np.linspace(begin, end, 200)
    apart = np.interp(x, *before) - np.interp(x, *after)
    on = (x - begin <= flank) | (end - x <= flank)
    many = max(round(LOCAL / (end - begin) * len(x)), 1)
    level = np.polyval(np.polyfit(x[on] - begin, apart[on], 1), x - begin)
    return float(np.convolve(apart - level, np.ones(many) / many, mode="same").max())


def _averaged(x: Floats, before: Floats, after: Floats, step: float) -> tuple[Floats, Floats, Floats, float]:
    many = max(int(GRID / step + 1e-9), 1)
    count = len(x) // many
    one, two, three = (
        each[..., : count * many].reshape(*each.shape[:-1], count, many).mean(axis=-1) for each in (x, before, after)
    )
    return one, two, three, step * many


def _compared(x: Floats, before: Floats, after: Floats, step: float, flank: float) -> _Section:
    """Of traces as rows."""
    on = (x - x[0] <= flank) | (x[-1] - x <= flank)
    line = np.column_stack([np.ones(len(x)), (x - x.mean()) * 1e3])
    levels = np.linalg.pinv(line[on])
    # any trace after against the mean before: one that lies badly is not averaged away
    apart = before.mean(axis=0) - after
    apart -= (line @ (levels @ apart[:, on].T)).T
    misfit = math.sqrt(float(np.max(np.sum(np.square(apart[:, on]), axis=1))) / (int(on.sum()) - 2))
    if misfit > WORST:
        raise Refused("not-aligned", misfit=misfit)
    worn = apart.mean(axis=0)
    each = [_as_made(x, z, step) for z in before]
    df = sum(made.df for made in each)
    if min(made.df for made in each) < LEAST_FREE:
        raise Refused("face-short")
    together = np.mean([made.together for made in each], axis=0)
    length = float(np.mean([made.length for made in each]))
    # what a form fitted to the same points takes of roughness drawn out far is added again
    squares = [made.square * (1 + SPREAD * made.parts * made.length / (len(x) * step)) for made in each]
    most, (low, high) = _stretch(worn, on, step)
    rougher = np.ones(len(x))
    rougher[low : high + 1] = _rougher(before, after[:, low : high + 1], max(round(length / step / 2), 1))
    return _Section(
        x, step, worn, on, levels, line, together, math.sqrt(float(np.mean(squares))), rougher,
        (1 / len(before), 1 / len(after)), df, misfit, most, (low, high),
    )  # fmt: skip


def _stretch(worn: Floats, flank: NDArray[np.bool_], step: float) -> tuple[int, tuple[int, int]]:
    many = max(int(LOCAL / step) | 1, 3)
    smooth = np.convolve(worn, np.ones(many) / many, mode="same")
    smooth[flank] = -np.inf
    low = high = most = int(np.argmax(smooth))
    while smooth[low] > smooth[most] / 2 and low > 0:
        low -= 1
    while smooth[high] > smooth[most] / 2 and high < len(smooth) - 1:
        high += 1
    return most, (low, high)


def _rougher(before: Floats, worn: Floats, over: int) -> float:
    """How much rougher a worn stretch is than the face was, at least 1: second differences know nothing of the form."""
    if worn.shape[1] < 4 * over:
        return 1.0
    was, now = (
        float(np.mean(np.square(z[:, 2 * over :] - 2 * z[:, over:-over] + z[:, : -2 * over]))) for z in (before, worn)
    )
    return math.sqrt(max(now / was, 1.0)) if was > 0 else 1.0


@dataclass(frozen=True)
class _Made:
    """Roughness of a face as it was made, about a form of so many `parts`."""

    parts: int
    rest: float  # m2, sum of squares
    square: float  # m2, of one point
    together: Floats  # correlation by distance in points, to where it first vanishes
    length: float  # m, over which points err as one
    df: float  # of the square


def _as_made(x: Floats, z: Floats, step: float) -> _Made:
    """Roughness about a parabola, or about a form of two, four or six degrees more where the points ask for one."""
    found = _about(x, z, step, 3)
    for parts in (5, 7, 9):
        finer = _about(x, z, step, parts)
        if finer.df < LEAST_FREE or finer.square == 0:
            break
        gain = (found.rest - finer.rest) / (2 * finer.square * finer.length / step)  # as F, of points that err apart
        if gain < _f_point(finer.df):
            break
        found = finer
    return found


def _f_point(df: float) -> float:
    from scipy.special import fdtri  # 0.3 s to import, so only where it is needed

    return float(fdtri(2, df, 1 - FORM))


def _about(x: Floats, z: Floats, step: float, parts: int) -> _Made:
    u = (x - x.mean()) / float(np.ptp(x)) * 2
    form = np.polynomial.legendre.legvander(u, parts - 1)
    rough = z - form @ (np.linalg.pinv(form) @ z)
    size = 1 << (2 * len(rough)).bit_length()
    turned = np.fft.rfft(rough, size)
    sums = np.fft.irfft(turned * np.conj(turned), size)[: len(rough)] / np.arange(len(rough), 0, -1)
    mean = float(sums[0])
    correlation = sums / mean if mean > 0 else np.eye(1, len(rough)).ravel()
    gone = np.flatnonzero(correlation <= 0)
    if len(gone):
        correlation[gone[0] :] = 0.0
    length = step * (1 + 2 * float(correlation[1:].sum()))
    count = len(x) * step / length  # of independent points
    left = max(count - parts, 1e-9)
    return _Made(parts, mean * len(x), mean * count / left, correlation, length, OWN * left)


def _quadratic(weights: Floats, together: Floats) -> float:
    """Sum of weights[i] weights[j] together[|i - j|]."""
    size = 1 << (2 * len(weights)).bit_length()
    turned = np.fft.rfft(weights, size)
    sums = np.fft.irfft(turned * np.conj(turned), size)[: len(weights)]
    return float(sums[0] * together[0] + 2 * (sums[1:] @ together[1:]))


def _depth(known: _Section) -> Bounded:
    """Mean over the core, the middle half of the stretch.

    The stretch lies where the difference is largest, also where that is roughness only: so wear is shown from `SHOWN`
    half-widths on.
    """
    low, high = (float(known.x[at]) for at in known.stretch)
    core = np.abs(known.x - (low + high) / 2) <= max((high - low) / 4, known.step)
    weights = core / int(core.sum())
    found = known.bounded(float(weights @ known.worn), weights)
    half = found.high - found.value
    if found.value > SHOWN * half:
        return found
    return Bounded(found.value, min(found.low, 0.0), max(found.value, 0.0) + half, found.se, found.df)


def _band(known: _Section, depth: Bounded, deepest: int) -> tuple[Bounded | None, tuple[float, float]]:
    """Width of the worn stretch: at either side a parabola through its slope, to where that meets zero."""
    x, many = known.x, len(known.x)
    none = float(x[deepest]), float(x[deepest])
    if depth.value < CLEAR * depth.se:
        return None, none
    over = max(int(EDGES / known.step) | 1, 3)
    smooth = np.convolve(np.pad(known.worn, over // 2, mode="edge"), np.ones(over) / over, mode="valid")
    mean = np.zeros(many)
    mean[many // 2 - over // 2 : many // 2 + over // 2 + 1] = 1 / over
    noise = known.sigma * math.sqrt(max(sum(known.shares) * _quadratic(mean, known.together), 0.0))
    level = min(max(0.1 * depth.value, 2 * noise), depth.value / 2)
    edges, weights = [], []
    for turn in (-1, 1):
        at = deepest
        while 0 < at < many - 1 and smooth[at] > level:
            at += turn
        near = at  # the slope only: a flat within says nothing of where it ends
        while near != deepest and smooth[near] < INNER * depth.value:
            near -= turn
        part = np.arange(min(at, near), max(at, near) + 1)
        reach = abs(float(x[at] - x[near]))
        if len(part) < 6:
            return None, none
        u = (x[part] - x[near]) / reach
        turned = np.linalg.pinv(np.column_stack([np.ones_like(u), u, u**2]))
        a, b, c = turned @ known.worn[part]
        roots = np.asarray(np.roots([c, b, a]), dtype=np.complex128)
        outwards = [float(each) for each in roots.real[roots.imag == 0] if each * turn > 0.5]
        if not outwards:
            return None, none
        root = min(outwards, key=abs)
        slope = (b + 2 * c * root) / reach
        own = np.zeros(many)
        own[part] = -(np.array([1.0, root, root**2]) @ turned) / slope  # an error of the height moves the edge so far
        edges.append(float(x[near]) + root * reach)
        weights.append(own)
    # on flats with ramps, slopes of few points that happen to reach zero: by simulation
    return known.bounded(edges[1] - edges[0], BAND * (weights[1] - weights[0])), (edges[0], edges[1])


def _line(x: Floats, z: Floats, on: NDArray[np.bool_]) -> Floats:
    line = np.column_stack([np.ones(len(x)), (x - x.mean()) * 1e3])
    fitted, *_ = np.linalg.lstsq(line[on], z[on], rcond=None)
    return np.asarray(line @ fitted)


def mean_of(each: list[Bounded]) -> Bounded:
    """Mean of sections that err apart, with Welch's degrees of freedom."""
    parts = [(one.se / len(each)) ** 2 for one in each]
    value, se = float(np.mean([one.value for one in each])), math.sqrt(sum(parts))
    free = sum(part**2 / one.df for part, one in zip(parts, each, strict=True))
    df = sum(parts) ** 2 / free if free > 0 else math.inf
    half = student_95(df) * se
    return Bounded(value, value - half, value + half, se, df)


def around(areas: Mapping[float, Bounded], bore: float) -> Bounded:
    """Worn volume [m3] from worn areas [m2] by angle from the gap [deg], by the trapezium rule around the ring.

    Limits: between neighbouring angles the area is taken to lie between theirs, across the gap up to as much above them
    again as they lie above the least; with the errors of the areas in quadrature.

    Raises Refused "few-angles" below five: wear peaks at the ends of the gap.
    """
    if len(areas) < LEAST_ANGLES:
        raise Refused("few-angles")
    angles = sorted(areas)
    found = [areas[angle] for angle in angles]
    spans = np.diff(np.radians([*angles, angles[0] + 360]))
    here = np.array([each.value for each in found])
    after = np.roll(here, -1)
    value = float(spans @ (here + after) / 2)
    below, above = np.minimum(here, after), np.maximum(here, after)
    above[-1] += above[-1] - here.min()
    shares = (spans + np.roll(spans, 1)) / 2
    errors = np.array([max(each.high - each.value, each.value - each.low) for each in found])
    noise = float(np.sqrt(np.sum(np.square(shares * errors))))
    low, high = (math.hypot(value - float(spans @ end), noise) for end in (below, above))
    turn = bore / 2
    return Bounded(turn * value, turn * (value - low), turn * (value + high))
