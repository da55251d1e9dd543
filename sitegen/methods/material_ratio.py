"""The material-ratio curve: Rk family, ISO 13565-2; probability parameters, ISO 13565-3. Heights [m], ratios [%]."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sitegen.vocabulary import Refused

Floats = NDArray[np.float64]

WINDOW = 40.0  # %, of the curve
_REACH = 2.5  # standard deviations of the probability scale that are used on either side
_BENT = 0.05  # of them, beyond which a point is taken to lie off the curve
_LEAST = 1e-12  # share that is told from none and from all
_BESIDE = 1e-2  # of the four numbers of a fit, whose unit is the scatter of the plateaus: no step may be longer
_SETTLED = 1e-10


@dataclass(frozen=True)
class Curve:
    """Material ratio [%] from 0 to 100 and the height [m] down to which so much is material."""

    ratio: Floats
    height: Floats


@dataclass(frozen=True)
class Core:
    """ISO 13565-2. Heights [m], ratios [%]."""

    rk: float
    rpk: float
    rvk: float
    mr1: float
    mr2: float

    @property
    def oil_volume(self) -> float:
        """V0 = Rvk (100 - Mr2) / 2000 with Rvk in um [mm3/cm2]."""
        return 1e6 * self.rvk * (100 - self.mr2) / 2000


@dataclass(frozen=True)
class Probability:
    """ISO 13565-3. Heights [m], ratio [%]."""

    rpq: float
    rvq: float
    rmq: float


def curve(heights: Floats) -> Curve:
    """The curve of heights: each point stands for the same length, and for the middle of it."""
    height = np.sort(heights)[::-1]
    ratio = 100 * (np.arange(len(height)) + 0.5) / len(height)
    return Curve(np.concatenate([[0.0], ratio, [100.0]]), np.concatenate([height[:1], height, height[-1:]]))


def core(known: Curve, *, secant: bool = False) -> Core:
    """Rk family: the 40 % window of least slope, the least-squares line in it, and the areas beyond its ends.

    `secant`: the line is the secant that found the window, as some instruments draw it. The standard's is the one of
    least squares (ISO 13565-2 clause 4.2, from memory).

    Raises Refused "curve-too-short" below 10 points.
    """
    if len(known.ratio) < 10 and not (known.ratio[0] == 0 and known.ratio[-1] == 100):
        raise Refused("curve-too-short")
    ends = np.unique(np.concatenate([known.ratio, known.ratio - WINDOW]))
    ends = ends[(ends >= 0) & (ends <= 100 - WINDOW)]
    drop = np.interp(ends, known.ratio, known.height) - np.interp(ends + WINDOW, known.ratio, known.height)
    least = float(ends[int(np.argmin(drop))])  # the secant finds the window, ISO 13565-2 clause 4.2
    slope, top = (_secant if secant else _line)(known, least, least + WINDOW)
    upper, lower = top, top + 100 * slope  # where the line meets 0 % and 100 %
    mr1, mr2 = _ratio_at(known, upper), _ratio_at(known, lower)
    peaks, valleys = _area(known, 0.0, mr1, upper), -_area(known, mr2, 100.0, lower)
    return Core(
        rk=upper - lower,
        rpk=2 * peaks / mr1 if mr1 > 0 else 0.0,  # a triangle of the same area over the same ratio
        rvk=2 * valleys / (100 - mr2) if mr2 < 100 else 0.0,
        mr1=mr1,
        mr2=mr2,
    )


def _line(known: Curve, begin: float, end: float) -> tuple[float, float]:
    """Slope [m/%] and height at 0 % [m] of the least-squares line in a window, the curve taken as straight pieces."""
    inside = (known.ratio > begin) & (known.ratio < end)
    r = np.concatenate([[begin], known.ratio[inside], [end]])
    h = np.concatenate(
        [
            [np.interp(begin, known.ratio, known.height)],
            known.height[inside],
            [np.interp(end, known.ratio, known.height)],
        ]
    )
    # exact integrals over the pieces, so that unevenly spaced points weigh by their length
    d = np.diff(r)
    middle = (begin + end) / 2
    u, v = r[:-1] - middle, r[1:] - middle
    mean = float(np.sum(d * (h[:-1] + h[1:]) / 2) / (end - begin))
    first = float(np.sum(d * (2 * u * h[:-1] + u * h[1:] + v * h[:-1] + 2 * v * h[1:]) / 6))
    slope = first / ((end - begin) ** 3 / 12)
    return slope, mean - slope * middle


def _secant(known: Curve, begin: float, end: float) -> tuple[float, float]:
    """Slope [m/%] and height at 0 % [m] of the straight line through the curve at both ends of a window."""
    first, last = np.interp([begin, end], known.ratio, known.height).tolist()
    slope = (last - first) / (end - begin)
    return slope, first - slope * begin


def _ratio_at(known: Curve, height: float) -> float:
    """Ratio [%] down to a height."""
    return float(np.interp(-height, -known.height, known.ratio))


def _area(known: Curve, begin: float, end: float, level: float) -> float:
    """Area between the curve and a level over a stretch of the ratio [m %]."""
    if end <= begin:
        return 0.0
    inside = (known.ratio > begin) & (known.ratio < end)
    r = np.concatenate([[begin], known.ratio[inside], [end]])
    h = np.interp(r, known.ratio, known.height) - level
    return float(np.sum(np.diff(r) * (h[:-1] + h[1:]) / 2))


def probability(heights: Floats) -> Probability:
    """Rpq, Rvq, Rmq of a surface of two processes: plateaus cut into a rougher surface, both of normal heights.

    Of such a surface a share Phi((p - z) / Rpq) Phi((v - z) / Rvq) is material down to z. On the scale of normal
    probability its curve ends in the two lines of ISO 13565-3, heights p - Rpq s and v - Rvq s; they meet at Rmq.

    The standard looks for the stretches in which either line alone is seen, by a conic and second derivatives, and
    takes regressions in them. On profiles of one evaluation length (simulated, both sigmas known) that leaves no
    answer in 1 to 13 %, scatters up to half more in Rvq and finds Rpq 5 to 12 % too large, a pair of lines 10 to 20 %,
    since the bend is part of what they fit. So the whole curve is fitted here, in the least squares of distances along
    the scale, those beyond `_BENT` counting by their size only.

    Raises Refused "no-two-lines" where the valley line is not the steeper one, "beyond-total-height" where its scatter
    is more than all heights lie apart: the profile then holds too little of the valleys to tell it.
    """
    from scipy.optimize import least_squares  # 0.3 s to import, so only where it is needed
    from scipy.special import ndtr, ndtri

    s = np.linspace(-_REACH, _REACH, 201)
    known = curve(heights)
    h = np.interp(100 * ndtr(s), known.ratio, known.height)
    begin = _two_lines(s, h)
    unit = begin[0]
    y = h / unit

    def distances(at: Floats) -> tuple[Floats, Floats]:
        """Of the points from the curve along the scale, (points,), and how they go with its four numbers."""
        z = [(place - y) / math.exp(log) for place, log in (at[:2], at[2:])]
        plateau, valley = (ndtr(each) for each in z)
        share = plateau * valley
        reached = ndtri(np.clip(share, _LEAST, 1 - _LEAST))
        inside = (share > _LEAST) & (share < 1 - _LEAST)
        # d reached = d share / density there: both densities as one exponential
        first, second = (np.where(inside, np.exp((reached**2 - each**2) / 2), 0.0) for each in z)
        first, second = valley * first, plateau * second
        each = (first / math.exp(at[1]), -z[0] * first, second / math.exp(at[3]), -z[1] * second)
        return reached - s, np.stack(each, axis=1)

    def off(at: Floats) -> Floats:
        return distances(at)[0]

    def slopes(at: Floats) -> Floats:
        return distances(at)[1]

    found = least_squares(
        off,
        [begin[2] / unit, 0.0, begin[3] / unit, math.log(begin[1] / unit)],
        slopes,
        loss="soft_l1", f_scale=_BENT, xtol=1e-12, ftol=1e-12, gtol=1e-12, max_nfev=200,
    )  # fmt: skip
    best = _settled(distances, found.x)
    p, rpq, v, rvq = best[0], math.exp(best[1]), best[2], math.exp(best[3])
    if rvq <= rpq:
        raise Refused("no-two-lines")
    if rvq * unit > float(np.ptp(heights)):
        raise Refused("beyond-total-height")
    return Probability(rpq * unit, rvq * unit, 100 * float(ndtr((v - p) / (rvq - rpq))))


def _settled(distances: Callable[[Floats], tuple[Floats, Floats]], at: Floats) -> Floats:
    """The least squares next to `at`, to rounding: a search stops where the sum, flat at its least, falls no more.

    What is sought is where the slope of the sum is nought, which is not flat; by Gauss and Newton, with the loss's own
    bend. Returns `at` where that does not settle beside it.
    """
    now, last = at, math.inf
    for _ in range(100):
        off, slopes = distances(now)
        bent = 1 + (off / _BENT) ** 2
        slope = (slopes * (off / np.sqrt(bent))[:, None]).sum(axis=0)
        bend = (slopes[:, :, None] * slopes[:, None, :] / bent[:, None, None] ** 1.5).sum(axis=0)
        try:
            step = np.linalg.solve(bend, slope)
        except np.linalg.LinAlgError:  # one of the four numbers moves nothing
            break
        size = float(np.max(np.abs(step)))
        if size > _BESIDE or not size < last:
            break
        now, last = now - step, size
    return now if last < _SETTLED else at


def _two_lines(s: Floats, h: Floats) -> tuple[float, float, float, float]:
    """Slopes and heights at zero of two lines, parted where their sum of squares is least; slopes counted downwards."""

    # running sums give the line and its residual for every parting in one go
    def residuals(a: Floats, b: Floats) -> tuple[Floats, Floats, Floats]:
        n = np.arange(1, len(a) + 1)
        sx, sy, sxx, sxy, syy = (np.cumsum(each) for each in (a, b, a * a, a * b, b * b))
        vx = sxx - sx**2 / n
        slope = np.divide(sxy - sx * sy / n, vx, out=np.zeros_like(vx), where=vx > 1e-12)
        return slope, (sy - slope * sx) / n, (syy - sy**2 / n) - slope * (sxy - sx * sy / n)

    slope1, base1, rest1 = residuals(s, h)
    slope2, base2, rest2 = (each[::-1] for each in residuals(s[::-1], h[::-1]))
    least = 12
    parted = np.arange(least, len(s) - least)
    at = int(parted[int(np.argmin(rest1[parted - 1] + rest2[parted]))])
    upper, lower = -float(slope1[at - 1]), -float(slope2[at])
    if not 0 < upper < lower:
        raise Refused("no-two-lines")
    return upper, lower, float(base1[at - 1]), float(base2[at])
