"""A trace made ready: even steps, points that are not valid filled in, dust taken out, a line taken off."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sitegen.vocabulary import Refused

Floats = NDArray[np.float64]

MOST_GAP = 0.05  # share of a trace that may be missing in one piece; a convention of ours, no source
SPIKE = 12.0  # robust standard deviations above its surroundings from which a point is dust; a convention of ours
LEAST_SPIKE = 2e-6  # m above its surroundings, below which no point is dust; a convention of ours
AROUND = 51  # points its surroundings are judged by


@dataclass(frozen=True)
class Even:
    """Heights at even steps. Lengths and heights [m]."""

    x: Floats
    z: Floats
    step: float
    filled: int  # points that were not valid
    spikes: int  # points taken out as dust

    @property
    def length(self) -> float:
        """Distance from the first to the last point [m]."""
        return float(self.x[-1] - self.x[0])


def even(x: Floats, z: Floats) -> Even:
    """The trace at its median step [m], in order of x; nan and dust are bridged by straight lines.

    Raises Refused "trace-gap" where more than `MOST_GAP` is missing in one piece, "trace-too-few-points" below 16.
    """
    order = np.argsort(x, kind="stable")
    x, z = x[order], z[order]
    first = np.concatenate([[True], np.diff(x) > 0])  # of points at one place the first counts
    x, z = x[first], z[first]
    known = np.isfinite(z)
    if int(known.sum()) < 16:
        raise Refused("trace-too-few-points")
    dust = np.zeros(len(z), dtype=bool)
    dust[known] = _dust(z[known])
    kept = known & ~dust
    gap = float(np.diff(x[kept]).max())
    length = float(x[-1] - x[0])
    if gap > MOST_GAP * length:
        raise Refused("trace-gap", gap=gap)
    step = float(np.median(np.diff(x)))
    count = int(np.floor(length / step * (1 + 1e-12))) + 1
    places = x[0] + step * np.arange(count)
    return Even(places, np.interp(places, x[kept], z[kept]), step, int((~known).sum()), int(dust.sum()))


def _dust(z: Floats) -> NDArray[np.bool_]:
    """Points far above their surroundings. Only upwards: a narrow groove is a groove."""
    if len(z) < AROUND:
        return np.zeros(len(z), dtype=bool)
    windows = np.lib.stride_tricks.sliding_window_view(np.pad(z, AROUND // 2, mode="edge"), AROUND)
    middle = np.partition(windows, AROUND // 2, axis=1)[:, AROUND // 2]  # their medians: odd, and nothing missing
    above = z - middle
    scale = 1.4826 * float(np.median(np.abs(above)))
    return np.asarray(above > max(SPIKE * scale, LEAST_SPIKE))


def line(x: Floats, z: Floats) -> Floats:
    """Least-squares line through the points, at the points [m]."""
    centred = x - x.mean()
    slope = float(centred @ (z - z.mean()) / (centred @ centred)) if len(x) > 1 else 0.0
    return np.asarray(z.mean() + slope * centred)
