"""Where metal in the oil came from: masses of several elements explained by parts of known composition.

Weighted non-negative least squares. Parts that hold the same elements in the same proportion cannot be told apart and
are one group; other sets of parts that explain the masses as well are listed beside the best.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from sitegen.vocabulary import Refused

ALIKE = 0.995  # cosine between two columns, weighted, beyond which they are one
MOST_SOURCES = 12
CHI2_95 = 3.841458820694124  # 95 % point of chi-square on 1 degree of freedom


@dataclass(frozen=True)
class Share:
    """Mass that one group of parts gave [mg]."""

    sources: tuple[str, ...]  # ids; more than one: they cannot be told apart
    mass: float
    low: float  # least and most over every set of parts that fits as well
    high: float


@dataclass(frozen=True)
class Attribution:
    """The best explanation, and what else fits as well."""

    shares: tuple[Share, ...]
    misfit: float  # weighted sum of squares [-]
    df: int  # elements less parts that gave something
    swaps: tuple[tuple[str, str], ...]  # group in the best set, group that may stand in for it
    left_over: Mapping[str, float]  # element -> mass not explained [mg]


def attribute(masses: Mapping[str, tuple[float, float]], sources: Mapping[str, Mapping[str, float]]) -> Attribution:
    """Explain masses by sources.

    Parameters: masses: element -> (mass [mg], standard error [mg]); sources: id -> element -> share of its mass [-].

    Refuses: `few-elements` where fewer than two elements are known; `no-sources`; `too-many-sources`.
    """
    from scipy.optimize import nnls

    elements = [symbol for symbol, (_, se) in masses.items() if se > 0]
    if not sources:
        raise Refused("no-sources")
    if len(elements) < 2:
        raise Refused("few-elements")
    b = np.array([masses[symbol][0] for symbol in elements])
    weight = 1 / np.array([masses[symbol][1] for symbol in elements])
    names = [name for name in sources if any(sources[name].get(symbol, 0.0) > 0 for symbol in elements)]
    if len(names) > MOST_SOURCES:
        raise Refused("too-many-sources")
    columns = {name: np.array([sources[name].get(symbol, 0.0) for symbol in elements]) for name in names}
    groups = _grouped(names, {name: column * weight for name, column in columns.items()})
    if not groups:
        raise Refused("no-sources")
    matrix = np.stack([np.mean([columns[name] for name in group], axis=0) for group in groups], axis=1)
    scaled = matrix * weight[:, None]
    best, norm = nnls(scaled, b * weight)
    least = norm**2
    fits: list[tuple[frozenset[int], np.ndarray[tuple[int], np.dtype[np.float64]]]] = []
    used = frozenset(np.flatnonzero(best > 1e-9).tolist())
    for size in range(1, min(len(groups), len(elements)) + 1):
        for chosen in combinations(range(len(groups)), size):
            part, rest = nnls(scaled[:, list(chosen)], b * weight)
            if rest**2 <= least + CHI2_95 and (part > 1e-9).all():
                full = np.zeros(len(groups))
                full[list(chosen)] = part
                fits.append((frozenset(chosen), full))
    fits = fits or [(used, best)]
    every = np.stack([full for _, full in fits] + [best])
    half = _halves(scaled, groups)
    shares = tuple(
        Share(
            tuple(group),
            float(best[place]),
            float(max(every[:, place].min() - half[place], 0.0)),
            float(every[:, place].max() + half[place]),
        )
        for place, group in enumerate(groups)
    )
    swaps = sorted(
        {
            (groups[out][0], groups[into][0])
            for chosen, _ in fits
            if len(used - chosen) == 1 and len(chosen - used) == 1
            for out in used - chosen
            for into in chosen - used
        }
    )
    remaining = b - matrix @ best
    return Attribution(
        shares,
        float(least),
        len(elements) - len(used),
        tuple(swaps),
        {symbol: float(part) for symbol, part in zip(elements, remaining, strict=True)},
    )


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


def _halves(scaled: np.ndarray[tuple[int, int], np.dtype[np.float64]], groups: Sequence[object]) -> list[float]:
    """Half-width of each mass from the errors of the elements alone, were all the other parts known [mg]."""
    return [1.959963984540054 / float(np.linalg.norm(scaled[:, place])) for place in range(len(groups))]
