"""How far a laboratory's oil reports scatter: the precision statements of ASTM D5185 (ICP) and a laboratory's own.

Repeatability r and reproducibility R at a concentration X [mg/kg], within the range they were found in; a standard
deviation is r/2.77 or R/2.77 (ISO 5725: 1.96 times the root of two). Copper and lead as published in the standard's
abstract of results; the other elements are from memory, and the program file overrides them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from sitegen.vocabulary import Refused

FACTOR = 2.77  # of a limit to a standard deviation, ISO 5725-6


@dataclass(frozen=True)
class Statement:
    """r = a X^b and R = c X^d [mg/kg], for X from low to high [mg/kg]."""

    low: float
    high: float
    a: float
    b: float
    c: float
    d: float
    from_memory: bool = True


D5185: Mapping[str, Statement] = MappingProxyType(
    {
        "Cu": Statement(2, 160, 0.12, 0.91, 0.24, 1.0, from_memory=False),
        "Pb": Statement(10, 160, 1.6, 0.32, 3.0, 0.36, from_memory=False),
        "Fe": Statement(2, 140, 0.13, 0.80, 0.52, 0.80),
        "Cr": Statement(1, 40, 0.17, 0.75, 0.81, 0.61),
        "Al": Statement(6, 40, 0.71, 0.41, 3.8, 0.26),
        "Sn": Statement(10, 40, 2.4, 0.17, 2.1, 0.62),
        "Mo": Statement(5, 200, 0.29, 0.70, 0.64, 0.71),
        "Ni": Statement(5, 40, 0.52, 0.49, 1.5, 0.50),
        "Si": Statement(8, 50, 1.3, 0.26, 2.9, 0.39),
    }
)


def _stated(element: str, x: float) -> Statement:
    found = D5185.get(element)
    if found is None or not found.low <= x <= found.high:
        raise Refused("no-stated-precision")
    return found


def repeatability(element: str, x: float) -> float:
    """r at x [mg/kg]: same day, same operator. Raises Refused "no-stated-precision" outside the range.

    >>> round(repeatability("Cu", 10), 1), round(repeatability("Pb", 10), 1)
    (1.0, 3.3)
    """
    found = _stated(element, x)
    return float(found.a * x**found.b)


def reproducibility(element: str, x: float) -> float:
    """R at x [mg/kg]: between laboratories. Raises Refused "no-stated-precision" outside the range.

    >>> round(reproducibility("Cu", 10), 1), round(reproducibility("Pb", 10), 1)
    (2.4, 6.9)
    """
    found = _stated(element, x)
    return float(found.c * x**found.d)


@dataclass(frozen=True)
class Scatter:
    """Standard deviations of one report [mg/kg]: of its own, and what its batch shares."""

    own: float
    shared: float
    because: str  # "laboratory", "standard": whose statement it rests on


def scatter(
    element: str,
    x: float,
    *,
    method: str = "icp",
    laboratory: tuple[float, float] | None = None,
    step: float = 0.0,
    in_batch: bool = False,
) -> Scatter:
    """Scatter of one report of x [mg/kg].

    Parameters: laboratory: its own intermediate precision as (at zero [mg/kg], share [-]), which takes precedence;
    step: what reports are rounded to [mg/kg], a uniform term; in_batch: other samples were analysed with it that day.

    Returns: in one batch the repeatability of the standard, where it is stated and less, is its own, and the rest of
    the intermediate precision is the batch's; else all is its own. Without a statement of the laboratory the
    reproducibility stands in, which is too wide for one laboratory.

    Refuses: `no-stated-precision` where neither is stated: other methods than ICP, outside the range of the standard.
    """
    x = max(x, 0.0)
    rounding = step / math.sqrt(12)
    short = wide = math.inf
    try:
        found = _stated(element if method == "icp" else "", x)
        short, wide = found.a * x**found.b / FACTOR, found.c * x**found.d / FACTOR
    except Refused:
        if laboratory is None:
            raise
    total = wide if laboratory is None else math.hypot(laboratory[0], laboratory[1] * x)
    own = min(short, total) if in_batch else total
    because = "standard" if laboratory is None else "laboratory"
    return Scatter(math.hypot(own, rounding), math.sqrt(max(total**2 - own**2, 0.0)), because)


def smallest_metal(oil: float, first: Scatter, second: Scatter) -> float:
    """Least metal [mg] that a rise between two samples of `oil` [kg] shows: 1.96 times the error of the difference.

    What both share by their batch is not in the difference.

    >>> round(smallest_metal(4.0, Scatter(0.1, 1.0, ""), Scatter(0.1, 1.0, "")), 2)
    1.11
    """
    return 1.959963984540054 * oil * math.hypot(first.own, second.own)


def metal_of_wear(depth: float, surface: float, density: float, share: float = 1.0) -> float:
    """Metal [mg] of an element in a worn layer: depth [m], surface [m2], density [kg/m3], share of the element [-].

    Notes: 1 um off the faces of four rings 1.2 mm high at 86 mm bore, 6 100 kg/m3 with 77 % chromium, is about 6 mg.
    """
    return 1e6 * depth * surface * density * share
