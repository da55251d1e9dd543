"""One exponential approach to a plateau by least squares: what the fits of many cylinders are held against.

It is checked itself with certified curves of NIST and with R's Loblolly example.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from sitegen.methods.roots import root
from sitegen.vocabulary import Refused

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Approach:
    """y = plateau + (start - plateau) exp(-x/scale), with standard errors for independent scatter."""

    plateau: float
    start: float
    scale: float
    plateau_se: float
    start_se: float  # 0 where the start was given
    log_scale_se: float  # of ln(scale); that of scale is scale times it
    residual_sd: float
    df: int
    rss: float


def exponential_approach(x: Sequence[float], y: Sequence[float], *, start: float | None = None) -> Approach:
    """Least squares of one exponential approach to a plateau, from a curve with enough points (a blow-by curve, say).

    Parameters: x rising or not, in one unit; y in another; `start` [unit of y]: level at x = 0 where it is known, which
    leaves two parameters. There are no starting values: all scales from a twentieth of the least gap to twenty times
    the range are tried, then the slope's root is found, so the fit cannot stall on the way.

    Notes: the standard errors hold for independent scatter; a logged curve's scatter is not.

    Refuses: `few-points` without residual degrees of freedom, `scale-at-bound` where the best curve is a straight line
    or a single step, `fit-not-converged` where the slope has no clean root.

    References: Golub and Pereyra (1973); checked with NIST StRD Misra1a and BoxBOD and R's Loblolly example.
    """
    axis, values = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    df = len(axis) - (3 if start is None else 2)
    steps = np.diff(np.unique(axis))
    if df < 1 or len(steps) < 2:
        raise Refused("few-points", found=len(axis))

    def solve(log_scale: float) -> tuple[float, float, Floats, Floats]:
        b = np.exp(-axis / math.exp(log_scale))
        if start is None:
            off = b - b.mean()
            slope = float(off @ values / (off @ off))
            level = float(values.mean()) - slope * float(b.mean())
        else:  # y - S b = P (1 - b)
            level = float((1 - b) @ (values - start * b) / ((1 - b) @ (1 - b)))
            slope = start - level
        return level, slope, b, values - level - slope * b

    def gradient(log_scale: float) -> float:
        _, slope, b, residual = solve(log_scale)
        return -slope * float(residual @ (b * axis)) / math.exp(log_scale)

    grid = np.linspace(math.log(float(steps.min()) / 20), math.log(20 * float(axis.max() - axis.min())), 400)
    rss = np.array([float(np.sum(solve(each)[3] ** 2)) for each in grid])
    index = int(np.argmin(rss))
    if index in {0, len(grid) - 1}:
        raise Refused("scale-at-bound")
    left, right = float(grid[index - 1]), float(grid[index + 1])
    if not gradient(left) < 0 < gradient(right):
        raise Refused("fit-not-converged")
    best = root(gradient, left, right, 1e-14)
    level, slope, b, residual = solve(best)
    least = float(residual @ residual)
    if not least <= rss[index] * (1 + 1e-12):
        raise Refused("fit-not-converged")
    scale = math.exp(best)
    columns = [1 - b, slope * b * axis / scale] if start is not None else [1 - b, slope * b * axis / scale, b]
    inverse = np.linalg.inv(np.column_stack(columns).T @ np.column_stack(columns))
    errors = np.sqrt(np.diag(inverse) * least / df)
    return Approach(
        plateau=level,
        start=level + slope,
        scale=scale,
        plateau_se=float(errors[0]),
        start_se=0.0 if start is not None else float(errors[2]),
        log_scale_se=float(errors[1]),
        residual_sd=math.sqrt(least / df),
        df=df,
        rss=least,
    )
