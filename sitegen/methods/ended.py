"""Builds that ended before their planned hours: compared by one figure each, none dropped.

Where nothing ended by what is compared, the figure is a slope to the build's own end, or its level at the last hour all
builds reached, and builds are compared as ever. Where it ended a build, that build is worse than every one that ran on,
by no known amount: then ranks are compared. What builds read last, each at another hour, is no figure to compare: wear
goes on with the hours, and the longer run looks worse.

References: M. Hollander, D. A. Wolfe and E. Chicken, Nonparametric Statistical Methods (2014), 4.1 (exact rank sum,
ties). Simulated false alarms: tests/methods/test_ended.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean

import numpy as np

from sitegen.vocabulary import Refused

WINDOWS = 5  # windows up to an hour whose mean is the level there


@dataclass(frozen=True)
class Ranked:
    """An exact two-sided test by ranks."""

    p: float  # [-]
    least: float  # p that so many builds with so many ties could reach at all [-]
    larger: bool  # the first group ranks above the second


def ranked(first: Sequence[float], second: Sequence[float]) -> Ranked:
    """Rank sum of two groups over all ways to deal the same ranks; ties, infinite ends too, share their mean rank.

    A build that ended by what is compared stands as infinity in the worse direction. Refuses `coating-without-value`
    where a group is empty.

    >>> ranked([1.0, 2.0, 3.0], [4.0, 5.0, float("inf")]).p, ranked([1.0], [2.0]).least
    (0.1, 1.0)
    """
    if not first or not second:
        raise Refused("coating-without-value")
    every = np.array([*first, *second], dtype=float)
    _, place, count = np.unique(every, return_inverse=True, return_counts=True)
    doubled = (2 * np.cumsum(count) - count + 1)[place]  # twice the mean rank: whole
    ways = _ways(doubled.tolist(), len(first))
    total = len(first) * (len(every) + 1)  # twice the expected rank sum
    off = {found: abs(found - total) for found in ways}
    mine = int(doubled[: len(first)].sum())
    number = sum(ways.values())
    most = max(off.values())
    return Ranked(
        sum(ways[found] for found, by in off.items() if by >= off[mine]) / number,
        sum(ways[found] for found, by in off.items() if by >= most) / number,
        mine > total,
    )


def _ways(ranks: Sequence[int], size: int) -> dict[int, int]:
    """In how many ways so many of the ranks come to each sum."""
    ways: list[dict[int, int]] = [{0: 1}, *({} for _ in range(size))]
    for rank in ranks:
        for taken in range(size, 0, -1):
            for found, number in ways[taken - 1].items():
                ways[taken][found + rank] = ways[taken].get(found + rank, 0) + number
    return ways[size]


def level_at(hours: Sequence[float], levels: Sequence[float], last: float) -> float:
    """Mean of the last five levels at or before an hour; `hours` rising [h], `levels` in any unit.

    Refuses `few-windows` where there are fewer.
    """
    own = [level for hour, level in zip(hours, levels, strict=True) if hour <= last]
    if len(own) < WINDOWS:
        raise Refused("few-windows", found=len(own))
    return fmean(own[-WINDOWS:])
