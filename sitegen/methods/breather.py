"""Crankcase pressure against blow-by: whether the breather narrows, or the rings let more past.

The gas that passes the rings leaves through the breather, so the gauge pressure in the crankcase is what drives that
flow through it. A narrow passage asks for Δp = (ρ/2)·(Q/(C_d·A))², n = 2; a filter mat, whose gas creeps, for Δp in
proportion to Q, n = 1; breathers lie between. So p = k·Q^n: k is of the breather alone, and at equal flow the pressure
tells it. Both rising along one curve means more gas, from the rings; pressure rising at equal flow a narrower way out.

References: R. W. Miller, Flow Measurement Engineering Handbook (1996), ch. 9 (orifice: the square); H. Darcy, Les
fontaines publiques de la ville de Dijon (1856) (mat: in proportion). How far n may lie outside 1 to 2 by a pressure
gauge that is off is common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sitegen.vocabulary import Refused

Floats = NDArray[np.float64]
Places = NDArray[np.int64]

VARIES = 1.2  # greatest over least mean flow of the points of the schedule, below which n is not told
FEWEST = 10  # groups
EXPONENTS = (0.7, 2.5)  # n outside is not that of a breather


@dataclass(frozen=True)
class Curve:
    """The curve of a breather, and where each group of points lies on it."""

    exponent: float  # n [-]
    exponent_se: float  # of it [-]
    restriction: Floats  # ln of k by group, 0 on the mean of all [-]
    flow: Floats  # mean ln of the flow by group, 0 on the mean of all [-]
    groups: Places  # which they are, rising


def curve(flow: Floats, pressure: Floats, group: Places) -> Curve:
    """The exponent from points of different flow in one group, as an hour of the schedule, and the rest by group.

    Parameters: flow (n,) [m3/s] and pressure (n,) [Pa gauge], means at points of the schedule; group (n,) [-] in which
    nothing else changes.

    Notes: ln p = ln k_g + n·ln Q, least squares with a k for each group, so that what changes from group to group is in
    none of n.

    Refuses, in this order: `pressure-not-above-ambient` where half of the pressures are none; `flow-does-not-vary`
    where the flows within groups differ by less than a fifth; `few-windows` below ten groups that hold every point;
    `pressure-not-of-flow` where n is none of a breather.
    """
    good = (flow > 0) & (pressure > 0)
    if 2 * good.sum() < len(good) or not len(good):
        raise Refused("pressure-not-above-ambient")
    q, p, own = np.log(flow[good]), np.log(pressure[good]), group[good]
    names, place, count = np.unique(own, return_inverse=True, return_counts=True)
    middle_q, middle_p = (np.bincount(place, each) / count for each in (q, p))
    apart_q, apart_p = q - middle_q[place], p - middle_p[place]
    widest = max((float(np.ptp(apart_q[place == each])) for each in np.flatnonzero(count == count.max())), default=0.0)
    if widest < math.log(VARIES):
        raise Refused("flow-does-not-vary")
    whole = count == count.max()  # of groups that hold every point the middles may be compared
    if whole.sum() < FEWEST:
        raise Refused("few-windows", found=float(whole.sum()))
    total = float(apart_q @ apart_q)
    n = float(apart_q @ apart_p) / total
    if not EXPONENTS[0] <= n <= EXPONENTS[1]:
        raise Refused("pressure-not-of-flow", exponent=n)
    rest = apart_p - n * apart_q
    df = len(q) - len(names) - 1
    se = math.sqrt(float(rest @ rest) / df / total) if df > 0 else math.inf
    restriction, level = (middle_p - n * middle_q)[whole], middle_q[whole]
    return Curve(n, se, restriction - restriction.mean(), level - level.mean(), names[whole])
