"""The difference of two coatings, and the level of one, by the procedure their design allows.

Every estimate is a weighted sum of the spots' values, and the weights are given with it, so that errors which readings
share can be carried through. One least-squares routine serves all procedures but Welch's: it is factored once and
applied to any number of draws.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from sitegen.methods.design import (
    EACH_OWN,
    SINGULAR,
    Design,
    Floats,
    Linear,
    Spot,
    Unit,
    fixed_effects,
    indicators,
    once,
    one_difference,
    pooling,
    units,
)
from sitegen.vocabulary import Refused


@dataclass(frozen=True, eq=False)
class Contrast:
    """An estimate with the standard error of its independent part."""

    estimate: Any  # float, or (draws,), in the unit of y
    se: Any  # float, or (draws,), in the unit of y
    df: Any  # float; (draws,) for Welch over draws [-]
    weights: Floats  # (spots,): the estimate is weights @ y [-]
    procedure: str = ""  # what was done: covariates turn "welch" into "pooled"


def contrast(
    design: Design,
    spots: Sequence[Spot],
    y: npt.ArrayLike,
    candidate: str,
    reference: str,
    covariates: npt.ArrayLike | None = None,
) -> Contrast:
    """Candidate less reference, in the unit of y.

    y (spots,) or (spots, draws); covariates (spots, covariates), fixed before the test, in any units. Covariates enter
    as added columns: means of units for whole builds, differences for differences (their estimate holds at equal
    covariates), spot by spot for "fixed".

    pooled, borrowed: means of units, residual mean square within all coatings (one-way analysis of variance);
    welch: B. L. Welch, Biometrika 34 (1947) 28; differences, paired: Student's t on one difference a build or block,
    of builds with position taken out where it would lean on the mean (`design.one_difference`);
    fixed: y ~ build + position + coating, residual mean square (H. Scheffé, The analysis of variance, 1959, ch. 4-6).

    Raises Refused with the design's reason, "covariate-and-coating" where a covariate runs along with the coating,
    "covariates-take-all" where nothing is left to scatter, "no-repeat" where nothing was to begin with.
    """
    if design.reason:
        raise Refused(design.reason)
    values = _checked(spots, y)
    extra = None if covariates is None else np.asarray(covariates, dtype=float).reshape(len(spots), -1)
    procedure = design.procedure
    if procedure == "welch" and extra is not None:
        procedure = "pooled"
    if procedure == "welch":
        own, other = (
            _means(
                [unit for unit in units(spots) if unit.coating == coating and set(unit.builds) <= {*design.builds}],
                len(spots),
            )
            for coating in (candidate, reference)
        )
        return _welch(own, other, values)
    if procedure in {"pooled", "borrowed"}:
        sample = pooling(units(spots), (candidate, reference), design.builds)
        coatings = once(unit.coating for unit in sample)
        matrix = indicators([unit.coating for unit in sample], coatings)
        wanted = _apart(coatings, candidate, reference)
        means = _means(sample, len(spots))
    elif procedure in {"differences", "paired"}:
        means = _differences(design, spots, candidate, reference)
        positions = [] if procedure == "paired" else sorted({spot.position for spot in spots})
        shares = means @ indicators([spot.position for spot in spots], positions)
        columns = None if extra is None else _columns(means, extra, centred=False)
        matrix, wanted = one_difference(shares, columns)
        if columns is not None and not Linear(matrix).estimable(wanted):
            alone = np.hstack([np.ones((len(means), 1)), columns])
            if Linear(alone).estimable(np.eye(alone.shape[1])[0]):  # it is positions and covariates together
                raise Refused("covariates-take-all")
        return _fitted(matrix, wanted, means, values, procedure, adjusted=extra is not None)
    elif procedure == "fixed":
        places = [place for place, spot in enumerate(spots) if spot.build in design.builds]
        matrix, wanted = fixed_effects([spots[place] for place in places], candidate, reference)
        means = np.eye(len(spots))[places]
    else:
        raise ValueError(f"no procedure {design.procedure!r}")
    if extra is not None:
        columns = _columns(means, extra, centred=True)
        matrix, wanted = np.hstack([matrix, columns]), np.append(wanted, np.zeros(columns.shape[1]))
    return _fitted(matrix, wanted, means, values, procedure, adjusted=extra is not None)


def level(spots: Sequence[Spot], y: npt.ArrayLike, coating: str) -> Contrast:
    """Mean of one coating over its units (builds, or blocks where blocks carry several), in the unit of y.

    The scatter is pooled over the coatings; the coating's own where every coating has four units or more. Raises
    Refused "coating-without-value", or "one-build" where no coating is replicated.
    """
    values = _checked(spots, y)
    found = units(spots)
    number = Counter(unit.coating for unit in found)
    if not number[coating]:
        raise Refused("coating-without-value")
    sample = pooling(found, (coating,), {spot.build for spot in spots})
    if min(number.values()) >= EACH_OWN:
        sample = [unit for unit in sample if unit.coating == coating]
    coatings = once(unit.coating for unit in sample)
    if len(sample) == len(coatings):
        raise Refused("one-build")
    matrix = indicators([unit.coating for unit in sample], coatings)
    wanted = indicators([coating], coatings)[0]
    return _fitted(matrix, wanted, _means(sample, len(spots)), values, "pooled", adjusted=False)


def _checked(spots: Sequence[Spot], y: npt.ArrayLike) -> Floats:
    values = np.asarray(y, dtype=float)
    if values.ndim not in {1, 2} or len(values) != len(spots):
        raise ValueError(f"{len(spots)} spots need as many values, not an array of shape {values.shape}")
    return values


# ---- what is averaged ------------------------------------------------------------------------------------------------


def _means(sample: Sequence[Unit], spots: int) -> Floats:
    """Rows that average the spots of each unit: over cylinders, then over builds; (units, spots)."""
    rows = np.zeros((len(sample), spots))
    for row, unit in zip(rows, sample, strict=True):
        for places in unit.spots:
            row[list(places)] = 1 / (len(places) * len(unit.builds))
    return rows


def _differences(design: Design, spots: Sequence[Spot], candidate: str, reference: str) -> Floats:
    """Rows that take candidate less reference, in each build or each block; (differences, spots)."""
    by_build = design.procedure == "differences"
    kept = [unit for unit in units(spots) if set(unit.builds) & set(design.builds)]
    rows: dict[str, Floats] = {}
    for sign, coating in ((1.0, candidate), (-1.0, reference)):
        for unit in kept:
            if unit.coating != coating:
                continue
            for build, places in zip(unit.builds, unit.spots, strict=True):
                if build not in design.builds:
                    continue
                row = rows.setdefault(build if by_build else unit.block, np.zeros(len(spots)))
                row[list(places)] = sign / (len(places) * (1 if by_build else len(unit.builds)))
    return np.array(list(rows.values()))


def _apart(coatings: Sequence[str], candidate: str, reference: str) -> Floats:
    wanted = np.zeros(len(coatings))
    wanted[coatings.index(candidate)], wanted[coatings.index(reference)] = 1.0, -1.0
    return wanted


def _columns(means: Floats, extra: Floats, *, centred: bool) -> Floats:
    """Covariates of the rows. What does not vary beyond rounding is nought, not a column of rounding errors."""
    columns = means @ extra
    if centred:  # only where the model holds a constant: a difference is asked for at equal covariates
        columns = columns - columns.mean(axis=0)
    size = np.abs(extra).max(axis=0, initial=0.0)
    return np.where(np.abs(columns).max(axis=0, initial=0.0) > SINGULAR * size, columns, 0.0)


# ---- the estimate ----------------------------------------------------------------------------------------------------


def _fitted(
    matrix: Floats, wanted: Floats, means: Floats, values: Floats, procedure: str, *, adjusted: bool
) -> Contrast:
    """Least squares on the rows `means @ values`, which scatter alike."""
    model = Linear(matrix)
    if not model.estimable(wanted):
        raise Refused("covariate-and-coating" if adjusted else "position-and-coating")
    if model.df < 1:
        raise Refused("covariates-take-all" if adjusted else "no-repeat")
    weights = model.weights(wanted)
    se = np.sqrt(model.variance(means @ values) * (weights @ weights))
    return _told(weights @ means, values, se, float(model.df), procedure)


def _welch(own: Floats, other: Floats, values: Floats) -> Contrast:
    """Means of units with the scatter of each coating for itself."""
    parts = []
    for rows in (own, other):
        sample = rows @ values
        parts.append(((sample - sample.mean(axis=0)) ** 2).sum(axis=0) / ((len(rows) - 1) * len(rows)))
    total = parts[0] + parts[1]
    below = parts[0] ** 2 / (len(own) - 1) + parts[1] ** 2 / (len(other) - 1)
    least = min(len(own), len(other)) - 1.0  # Welch's df lies between this and the sum of both
    df = np.where(below > 0, total**2 / np.where(below > 0, below, 1.0), least)
    return _told(own.mean(axis=0) - other.mean(axis=0), values, np.sqrt(total), df, "welch")


def _told(weights: Floats, values: Floats, se: Floats, df: Any, procedure: str) -> Contrast:
    if values.ndim == 1:
        return Contrast(float(weights @ values), float(se), float(df), weights, procedure)
    return Contrast(weights @ values, se, df, weights, procedure)
