"""Whether several ways to measure one wear add up: a balance, traces, the opening of a gap, metal in the oil.

Each way gives an amount with a 95 % interval, and misses something the others see. Two ways do not close where no
truth that both leave open explains them; pairs that are looked at together share 5 %.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from sitegen.methods.intervals import NORMAL_95, normal_two_sided

AGREE, OPEN, NOT = "agree", "cannot tell", "do not close"
BODY = 7500.0  # kg/m3, of a ring's body: between grey cast iron, 7200, and steel, 7800 (handbook values, from memory)
BODY_LIMIT = 0.04  # share by which that may be off
# Parts that give metal in most engines besides what lists name first, with what they may be called: common practice,
# no source.
USUAL = {
    "camshaft and followers": ("cam", "follower", "tappet", "lifter"),
    "valve guides and stems": ("valve", "guide"),
    "piston pins": ("pin",),
    "rails of the oil rings": ("rail", "oil ring"),
}


@dataclass(frozen=True)
class Amount:
    """A number with the ends of its 95 % interval, in any unit."""

    value: float
    low: float
    high: float

    def times(self, factor: float) -> Amount:
        """The same by a positive factor that is exact."""
        return Amount(factor * self.value, factor * self.low, factor * self.high)


def less(first: Amount, second: Amount, pairs: int = 1) -> Amount:
    """First less second, the errors of both unrelated: each side of the interval in quadrature.

    With `pairs` compared at once the interval is that of an error of 5 %/pairs (Bonferroni), by normal points. Limits
    of error need no such widening; they get it all the same.

    >>> found = less(Amount(3.0, 0.0, 7.0), Amount(1.0, 0.0, 5.0))
    >>> found.value, round(found.low, 2), round(found.high, 2)
    (2.0, -3.0, 6.12)
    """
    wider = normal_two_sided(0.05 / pairs) / NORMAL_95
    value = first.value - second.value
    down = math.hypot(first.value - first.low, second.high - second.value)
    up = math.hypot(first.high - first.value, second.value - second.low)
    return Amount(value, value - wider * down, value + wider * up)


def together(parts: Iterable[Amount]) -> Amount:
    """A sum whose errors go the same way, as those of one balance between two days may: half-widths add."""
    every = list(parts)
    return Amount(*(math.fsum(getattr(each, end) for each in every) for end in ("value", "low", "high")))


def mean(parts: Sequence[Amount]) -> Amount:
    """The mean of amounts whose errors are unrelated: each side in quadrature."""
    value = math.fsum(each.value for each in parts) / len(parts)
    down = math.hypot(*(each.value - each.low for each in parts)) / len(parts)
    up = math.hypot(*(each.high - each.value for each in parts)) / len(parts)
    return Amount(value, value - down, value + up)


def judge(rest: Amount, most: float | None, larger: float) -> tuple[str, str]:
    """Whether what one way finds more than another lies within [0, most], and why; `most` None: that end is open.

    Parameters: rest: first way less second; larger: the larger of the two amounts. Returns word and code of the
    reason. `agree` asks for a difference known to less than the amount itself, or nothing was put to the test.
    """
    if rest.high < 0:
        return NOT, "less-by-the-whole"
    if most is not None and rest.low > most:
        return NOT, "more-than-stated"
    if rest.high - rest.low >= 2 * larger:
        return OPEN, "too-coarse"
    if most is None and rest.low > 0:
        return OPEN, "rest-not-stated"
    return AGREE, "within-what-is-stated"


def judge_oil(more: Amount, short: Amount | None, gap: Amount, larger: float) -> tuple[str, str]:
    """Whether the metal in the oil lies between the least and the most that the parts can have given it.

    Parameters: more: oil less the most; short: oil less the least, None where that is not stated; gap: oil less parts.
    """
    if more.low > 0:
        return NOT, "list-incomplete"
    if short is not None and short.high < 0:
        return NOT, "held-back"
    if gap.high - gap.low >= 2 * larger:
        return OPEN, "too-coarse"
    if short is None and gap.high < 0:
        return OPEN, "share-not-stated"
    return AGREE, "within-what-is-stated"


def flank_mass(diameter: float, thickness: float, density: float, depth: float = 1e-6) -> float:
    """Mass [kg] that both flanks of a ring lose over a depth, all round; its gap is left out (under 1 %).

    Parameters: diameter, outer, closed, and radial thickness [m]; density [kg/m3]; depth [m], of each flank. Exact.

    >>> round(1e6 * flank_mass(0.086, 0.0031, 7000.0), 1)  # mg
    11.3
    """
    return 2 * math.pi * thickness * (diameter - thickness) * density * depth


def bore_mass(bore: float, stroke: float, density: float, depth: float = 1e-6) -> float:
    """Mass [kg] that one bore loses over a depth along the stroke. Parameters in m and kg/m3. Exact.

    >>> round(1e6 * bore_mass(0.0875, 0.100, 7200.0)), round(4e6 * bore_mass(0.0875, 0.100, 7200.0))  # mg: one, four
    (198, 792)
    """
    return math.pi * bore * stroke * density * depth


def unnamed(names: Sequence[str]) -> list[str]:
    """Parts usual in an engine that none of these names calls.

    >>> unnamed(["bores and crankshaft", "cam and tappets", "valve guides"])
    ['piston pins', 'rails of the oil rings']
    """
    said = " ".join(names).lower().replace("-", " ")
    return [part for part, called in USUAL.items() if not any(word in said for word in called)]
