"""Thickness of a layer by ball crater or section, of rings that were cut for rings that were not; what wear left of it.

A ball of diameter b grinds a spherical crater. Where its edge (diameter D) lies on top of a layer and a ring below
(diameter d) where the layer ends, the layer is as thick as the ball's cap is deeper at d than at D. A convex face bends
away from the ball by its own cap, which adds. Rings of a lot differ and so do places around a ring, so what a lot says
of a place of another of its rings is a prediction: both scatters are in its interval, with the gauge's limit of error.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean, variance

from sitegen.methods.intervals import student_95
from sitegen.vocabulary import Refused


@dataclass(frozen=True)
class Thickness:
    """A thickness with its interval, in one unit; `half` what is added on either side of the value."""

    value: float
    half: float


def crater(outer: float, inner: float, ball: float, face_radius: float = math.inf) -> float:
    """Thickness of a layer [m] from the crater's diameters at its top and at its end [m] and the ball's diameter [m].

    `face_radius` is the radius [m] of a convex face along the diameters read, such as half the bore around a ring.
    Exact on a flat face; on a curved one to (diameter over twice the radius) squared. With the usual approximation
    (D² − d²) / (4 b) it agrees to 1e-3 where D is less than b/8.

    References: geometry of spherical caps, the principle of EN 1071-2 and ISO 26423 (ball crater), from memory.

    >>> round(1e6 * crater(0.8e-3, 0.5e-3, 20e-3), 3)  # by hand 4.875, and half a thousandth for the caps
    4.878
    """
    return _cap(outer, ball / 2) - _cap(inner, ball / 2) + _cap(outer, face_radius) - _cap(inner, face_radius)


def _cap(across: float, radius: float) -> float:
    """Height [m] of the cap of a sphere of this radius [m] that is so far across [m]."""
    half = across / 2
    # without the difference of two nearly equal numbers
    return 0.0 if math.isinf(radius) else half * half / (radius + math.sqrt(radius * radius - half * half))


def crater_error(outer: float, inner: float, ball: float, limit: float, face_radius: float = math.inf) -> float:
    """Limit of error of that thickness [m] where each diameter is read to ± `limit` [m], independently."""
    bend = 2 / ball + (0.0 if math.isinf(face_radius) else 1 / face_radius)
    return bend / 4 * math.hypot(outer, inner) * limit


def of_lot(rings: Sequence[Sequence[float]], gauge: float = 0.0) -> Thickness:
    """What rings of a lot, thicknesses by place of each, say of any place of another ring of the lot.

    Of k ring means with variance m², and f degrees of freedom of places with variance w² about their rings, p a ring
    (harmonic mean), the half-widths t(k − 1) m sqrt(1 + 1/k), t(f) w sqrt(1 − 1/p) and `gauge`, the limit of error all
    share, are put in quadrature; one t on Satterthwaite's degrees of freedom holds in as few as 89.5 % of lots of two
    rings (simulated). Rings and places are taken as normal.

    Raises Refused "one-ring-cut" below two rings.
    """
    if len(rings) < 2:
        raise Refused("one-ring-cut")
    means = [fmean(places) for places in rings]
    between = variance(means) * (1 + 1 / len(rings))
    free = sum(len(places) - 1 for places in rings)
    within = sum((each - mean) ** 2 for places, mean in zip(rings, means, strict=True) for each in places)
    within = within / free * (1 - fmean(1 / len(places) for places in rings)) if free else 0.0
    halves = student_95(len(rings) - 1) * math.sqrt(between), student_95(max(free, 1)) * math.sqrt(within)
    return Thickness(fmean(means), math.hypot(*halves, gauge))


def of_ring(places: Sequence[float], gauge: float = 0.0) -> Thickness:
    """What places of one ring say of any other place of it.

    Raises Refused "one-place" below two.
    """
    if len(places) < 2:
        raise Refused("one-place")
    half = student_95(len(places) - 1) * math.sqrt(variance(places) * (1 + 1 / len(places)))
    return Thickness(fmean(places), math.hypot(half, gauge))


@dataclass(frozen=True)
class Span:
    """A number between limits."""

    value: float
    low: float
    high: float


def together(layers: Sequence[Span]) -> Span:
    """Layers on each other. Half-widths are added: layers of one run in the coating chamber err alike."""
    return Span(*(sum(ends) for ends in zip(*((each.value, each.low, each.high) for each in layers), strict=True)))


def left(thickness: Span, wear: Span) -> Span:
    """Thickness less wear, half-widths in quadrature; below zero: so far into what lies beneath."""
    value = thickness.value - wear.value
    below = math.hypot(thickness.value - thickness.low, wear.high - wear.value)
    above = math.hypot(thickness.high - thickness.value, wear.value - wear.low)
    return Span(value, value - below, value + above)


def through(places: Sequence[Span]) -> Span:
    """Share [%] of places where nothing is left of a layer, by what is left: by the values, surely, and at most."""
    counts = (
        sum(each.value <= 0 for each in places), sum(each.high < 0 for each in places),
        sum(each.low <= 0 for each in places),
    )  # fmt: skip
    return Span(*(100 * count / len(places) for count in counts))
