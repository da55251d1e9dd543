"""Where metal in the oil came from: masses of several elements explained by parts of known composition.

Weighted non-negative least squares. Parts that hold the same elements in the same proportion cannot be told apart and
are one group; other sets of parts that explain the masses as well are listed beside the best.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sitegen.methods.roots import root
from sitegen.vocabulary import Refused

Vector = NDArray[Any]
Matrix = NDArray[np.float64]

ALIKE = 0.995  # cosine between two columns, weighted, beyond which they are one
MOST_SOURCES = 12
CHI2_95 = 3.841458820694124  # 95 % point of chi-square on 1 degree of freedom


@dataclass(frozen=True)
class Share:
    """Mass that one group of parts gave [mg]."""

    sources: tuple[str, ...]  # ids; more than one: they cannot be told apart
    mass: float
    low: float  # least and most with which every part together still fits as well
    high: float


@dataclass(frozen=True)
class Attribution:
    """The best explanation, and what else fits as well."""

    shares: tuple[Share, ...]
    misfit: float  # weighted sum of squares [-]
    df: int  # elements less parts that gave something
    swaps: tuple[tuple[str, str], ...]  # group in the best set, group that may stand in for it
    left_over: Mapping[str, float]  # element -> mass not explained [mg]


def attribute(
    masses: Mapping[str, tuple[float, float]],
    sources: Mapping[str, Mapping[str, float]],
    bounds: Mapping[str, tuple[float, float, float]] = MappingProxyType({}),
) -> Attribution:
    """Explain masses by sources.

    Parameters: masses: element -> (mass [mg], standard error [mg]); sources: id -> element -> share of its mass [-];
    bounds: element -> (least, most, standard error of either [mg]), of elements reported as less than a limit: no
    misfit within, beyond it that from the nearer end. A slack that is not negative does that inside least squares.

    Returns: as well fits what lies within 3.84 of the least weighted sum of squares, the 95 % point of chi-square on 1
    degree of freedom: the profile interval of one mass, all the others free (Venzon and Moolgavkar, Applied Statistics
    37, 1988, 87-94; from memory). It is taken over single parts, also those of a group: what they hold apart counts.

    Refuses: `few-elements` where fewer than two elements are known; `no-sources`; `too-many-sources`.
    """
    from scipy.optimize import nnls

    elements = [symbol for symbol, (_, se) in masses.items() if se > 0]
    if not sources:
        raise Refused("no-sources")
    if len(elements) < 2:
        raise Refused("few-elements")
    ends = _ends(bounds)
    rows = [*elements, *(symbol for symbol, _, _, _ in ends)]
    b = np.array([*(masses[symbol][0] for symbol in elements), *(end for _, end, _, _ in ends)])
    weight = 1 / np.array([*(masses[symbol][1] for symbol in elements), *(se for _, _, se, _ in ends)])
    slack = np.zeros((len(rows), len(ends)))
    for at, (_, _, _, sign) in enumerate(ends):
        slack[len(elements) + at, at] = sign
    names = [name for name in sources if any(sources[name].get(symbol, 0.0) > 0 for symbol in rows)]
    if len(names) > MOST_SOURCES:
        raise Refused("too-many-sources")
    columns = {name: np.array([sources[name].get(symbol, 0.0) for symbol in rows]) for name in names}
    groups = _grouped(names, {name: column * weight for name, column in columns.items()})
    if not groups:
        raise Refused("no-sources")
    matrix = np.stack([np.mean([columns[name] for name in group], axis=0) for group in groups], axis=1)
    scaled = matrix * weight[:, None]
    loose = slack * weight[:, None]
    apart = np.hstack([np.stack([columns[name] for group in groups for name in group], axis=1), slack])
    single, norm = nnls(apart * weight[:, None], b * weight)
    sizes = np.cumsum([0, *(len(group) for group in groups)])
    of = [np.arange(begin, end) for begin, end in pairwise(sizes.tolist())]
    spans = [_span(apart * weight[:, None], b * weight, members, single, norm**2 + CHI2_95) for members in of]
    best, grouped = nnls(np.hstack([scaled, loose]), b * weight)
    best = best[: len(groups)]
    least = grouped**2
    fits: list[frozenset[int]] = []
    used = frozenset(np.flatnonzero(best > 1e-9).tolist())
    for size in range(1, min(len(groups), len(elements)) + 1):
        for chosen in combinations(range(len(groups)), size):
            part, rest = nnls(np.hstack([scaled[:, list(chosen)], loose]), b * weight)
            if rest**2 <= least + CHI2_95 and (part[:size] > 1e-9).all():
                fits.append(frozenset(chosen))
    shares = tuple(
        Share(tuple(group), float(single[members].sum()), *span)
        for group, members, span in zip(groups, of, spans, strict=True)
    )
    swaps = sorted(
        {
            (groups[out][0], groups[into][0])
            for chosen in fits
            if len(used - chosen) == 1 and len(chosen - used) == 1
            for out in used - chosen
            for into in chosen - used
        }
    )
    remaining = b - apart @ single
    return Attribution(
        shares,
        float(norm**2),
        len(elements) - int(np.count_nonzero(single[: sizes[-1]] > 1e-9)),
        tuple(swaps),
        {symbol: float(part) for symbol, part in zip(elements, remaining[: len(elements)], strict=True)},
    )


def _ends(bounds: Mapping[str, tuple[float, float, float]]) -> list[tuple[str, float, float, float]]:
    """Ends that an explained mass may not pass: element, end [mg], its error [mg], sign of the slack inside it."""
    made = []
    for symbol, (low, high, se) in bounds.items():
        error = max(se, 1e-3 * (high - low), 1e-9)  # a sharp end is a steep one
        made.append((symbol, max(high, 0.0), error, 1.0))
        if low > 0:
            made.append((symbol, low, error, -1.0))
    return made


def _grouped(
    names: Sequence[str], columns: Mapping[str, np.ndarray[tuple[int], np.dtype[np.float64]]]
) -> list[list[str]]:
    groups: list[list[str]] = []
    for name in names:
        for group in groups:
            first = columns[group[0]]
            cosine = first @ columns[name] / (np.linalg.norm(first) * np.linalg.norm(columns[name]))
            if cosine > ALIKE:
                group.append(name)
                break
        else:
            groups.append([name])
    return groups


def _span(scaled: Matrix, b: Vector, members: Vector, best: Vector, limit: float) -> tuple[float, float]:
    """Least and most mass of some columns together [mg] with which the sum of squares stays within the limit."""
    from scipy.optimize import nnls

    heavy = 1e4 * float(np.linalg.norm(scaled, axis=0).max())  # holds the sum to about one part in 1e8
    row = np.zeros(scaled.shape[1])
    row[members] = heavy
    rows = np.vstack([scaled, row])
    at = float(best[members].sum())

    def beyond(mass: float) -> float:
        return float(nnls(rows, np.append(b, heavy * mass))[1]) ** 2 - limit

    low = 0.0 if beyond(0.0) <= 0 else root(beyond, 0.0, at, 1e-9 * at)
    step = 1.0 / float(np.linalg.norm(scaled[:, members], axis=0).min())
    high = at + step
    while beyond(high) <= 0:
        step *= 2
        high += step
    return low, root(beyond, at, high, 1e-9 * high)
