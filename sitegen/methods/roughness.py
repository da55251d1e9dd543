"""Height parameters of a roughness profile, ISO 21920-2. Heights [m]."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Heights:
    """ISO 21920-2; R of heights [m], skewness and kurtosis [-]."""

    ra: float
    rq: float
    rz: float  # mean over section lengths
    rt: float  # over the evaluation length
    rsk: float
    rku: float


def heights(z: Floats, sections: int = 5) -> Heights:
    """Parameters of heights about their mean line; Rz as mean over so many sections of equal length.

    >>> round(heights(np.array([1.0, -1.0] * 50)).ra, 3)  # a square wave: Ra = Rq = A
    1.0
    """
    z = z - z.mean()
    rq = float(np.sqrt(np.mean(z**2)))
    parts = np.array_split(z, sections)
    return Heights(
        ra=float(np.mean(np.abs(z))),
        rq=rq,
        rz=float(np.mean([part.max() - part.min() for part in parts])),
        rt=float(z.max() - z.min()),
        rsk=float(np.mean(z**3)) / rq**3 if rq else 0.0,
        rku=float(np.mean(z**4)) / rq**4 if rq else 0.0,
    )
