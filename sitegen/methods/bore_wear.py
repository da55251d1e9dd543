"""Wear of a bore from traces along it: the step below the unswept band, and curves aligned on the valleys. [m]"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sitegen.methods.material_ratio import Curve
from sitegen.vocabulary import Refused

Floats = NDArray[np.float64]

PLATEAUS = (0.0, 85.0)  # %, the part of the curve that wear lowers
VALLEYS = (92.0, 97.0)  # %, the part that it leaves: floors of grooves. Both by simulation, for least bias and scatter
LEAST_BAND = 0.3e-3  # m, of either band: shorter ones fix no level; a convention of ours
_REACH = 3.0  # robust standard deviations up to which a point belongs to the plateau
_ROUNDS = 20


def axial_step(x: Floats, z: Floats, unswept_to: float, swept_from: float) -> float:
    """How far the swept band lies below the unswept one [m], on an unfiltered trace from the unswept end.

    Two levels with one slope, fitted again without what lies far off, so that grooves pull neither level down.

    Raises Refused "band-short" where a band is shorter than `LEAST_BAND`.
    """
    one, other = x <= unswept_to, x >= swept_from
    for band in (one, other):
        if int(band.sum()) < 16 or float(np.ptp(x[band])) < LEAST_BAND:
            raise Refused("band-short")
    kept = one | other
    a = np.column_stack([one[kept], other[kept], x[kept] - x[kept].mean()]).astype(float)
    a[:, 2] *= 1e3  # of the same size as the others
    heights = z[kept] * 1e6
    weights = np.ones(len(heights))
    found = np.zeros(3)
    for _ in range(_ROUNDS):
        root = np.sqrt(weights)
        new, *_ = np.linalg.lstsq(a * root[:, None], heights * root, rcond=None)
        off = heights - a @ new
        scale = 1.4826 * float(np.median(np.abs(off)))
        done = bool(np.allclose(new, found, atol=1e-6))
        found = new
        if done or scale <= 0:
            break
        weights = np.square(np.clip(1 - np.square(off / (_REACH * scale)), 0, None))
    return 1e-6 * float(found[0] - found[1])


def above_valleys(curve: Curve) -> float:
    """Mean height of the plateaus above the floors of the grooves [m]; wear takes from it what it takes off."""
    return _mean(curve, *PLATEAUS) - _mean(curve, *VALLEYS)


def _mean(curve: Curve, begin: float, end: float) -> float:
    ratio = np.linspace(begin, end, 201)
    return float(np.mean(np.interp(ratio, curve.ratio, curve.height)))
