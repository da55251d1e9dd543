"""Which cylinder is odd among those of its engine, over several measures taken together.

Each measure is held against the mean of its engine, and of its coating where an engine holds several, in the scatter
that all engines pool. The deviations, each in the sense that was declared before the data, are added to one score. The
score is judged by the deleted t: its residual over the scatter of all other residuals. R. D. Cook and S. Weisberg,
Residuals and influence in regression, 1982, ch. 2. That the deviations were made with a scatter of the same data leaves
the error rate where it is (`tests/methods/test_odd.py`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from sitegen.methods.design import Floats, indicators
from sitegen.vocabulary import Refused

NOUGHT = 1e-12  # of the size of the values: scatter below it is rounding


@dataclass(frozen=True, eq=False)
class Scores:
    """How far each cylinder lies off, in the sense declared."""

    deviations: Floats  # (cylinders, measures), in pooled scatters within engines [-]
    t: Floats  # (cylinders,) deleted t of the sum of the deviations; infinite where nothing else scatters [-]
    df: float  # of `t` [-]


def scores(values: npt.ArrayLike, senses: Sequence[float], engines: Sequence[str], coatings: Sequence[str]) -> Scores:
    """Score of each cylinder; values (cylinders, measures), in any units, on scales on which they scatter alike.

    `senses` is +1 where an odd cylinder has more, -1 where it has less. Engine and coating are taken out by least
    squares; a measure that is the same all over each engine adds nothing. Raises Refused "few-values" where fewer than
    two degrees of freedom are left, "no-scatter-at-all" where no measure scatters.
    """
    y = np.asarray(values, dtype=float)
    design = np.hstack([indicators(names, list(dict.fromkeys(names))) for names in (engines, coatings)])
    u, sizes, _ = np.linalg.svd(design, full_matrices=False)
    basis = u[:, sizes > 1e-9 * sizes[0]]
    df = len(y) - basis.shape[1]
    if df < 2:
        raise Refused("few-values")
    free = 1 - (basis**2).sum(axis=1)  # share of a cylinder's own error that its residual keeps
    rest = y - basis @ (basis.T @ y)
    spread = np.sqrt((rest**2).sum(axis=0) / df)
    scatters = spread > NOUGHT * np.abs(y).max(axis=0)
    if not scatters.any():
        raise Refused("no-scatter-at-all")
    deviations = np.where(scatters, rest / np.where(scatters, spread, 1.0), 0.0) * np.asarray(senses, dtype=float)
    deviations[np.abs(deviations) < 1e-9] = 0.0  # at the mean, whatever a processor leaves of the difference
    score = deviations.sum(axis=1)
    known = free > NOUGHT  # a coating that one cylinder of all holds says nothing of it
    square = np.where(known, score**2 / np.where(known, free, 1.0), 0.0)
    others = (score**2).sum() - square  # of the scatter, with this cylinder gone; df - 1 degrees of freedom
    with np.errstate(divide="ignore"):
        size = np.sqrt(square * (df - 1) / np.maximum(others, 0.0))
    return Scores(deviations, np.where(square > 0, np.sign(score) * size, 0.0), df - 1.0)


def p_value(t: float, df: float, cylinders: int) -> float:
    """Probability [-] that some one of so many cylinders lies as far off in that sense (Bonferroni, one-sided).

    >>> [round(p_value(t, 4 * engines - 1 - engines, 4 * engines), 3) for engines, t in ((1, 6.205), (2, 3.810))]
    [0.05, 0.05]
    """
    from scipy.special import stdtr

    return 0.0 if math.isinf(t) and t > 0 else min(1.0, cylinders * float(stdtr(df, -t)))
