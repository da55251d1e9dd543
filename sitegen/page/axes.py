"""Axes of tables and charts: ends and ticks of round numbers that hold what is drawn on them."""

from __future__ import annotations

import math
from collections.abc import Sequence

from sitegen.page.blocks import Axis
from sitegen.page.words import number

LABEL = 0.09  # of an axis: nearer than this two of its labels would touch
ROOM = 0.12  # of an axis: as much is free on both sides of a named limit, so that its name is not cut


def tick_step(top: float, most: float = 6.5) -> float:
    """Step of a value axis that ends at or above `top`: four to eight steps of 1, 2, 2.5 or 5 times a power of ten; of
    a low panel fewer.

    >>> tick_step(0.95), tick_step(27.0), tick_step(0.31)
    (0.2, 5.0, 0.05)
    """
    power = 10.0 ** math.floor(math.log10(top))
    step = next(s for s in (0.1, 0.2, 0.25, 0.5, 1.0, 2.0, 2.5, 5.0) if top / (s * power) <= most)
    return float(f"{step * power:.10g}")


def decimals(step: float) -> int:
    """Decimals [-] in which steps of this length differ."""
    return len(f"{step:.10f}".rstrip("0").partition(".")[2])


def about(values: Sequence[float], column: int, limit: float, name: str = "limit") -> Axis:
    """An axis that holds these values and a limit, with the limit named among its ticks.

    >>> axis = about([0.295, 0.344], 1, 0.35)
    >>> axis.low, axis.high, [label for _, label in axis.ticks]
    (0.28, 0.36, ['0.30', '0.32', 'limit 0.35'])
    """
    least, most = min([*values, limit]), max([*values, limit])
    step = tick_step(max(most - least, 1e-9 * max(1.0, abs(most))), 4.5)
    first, last = math.floor(least / step - 1e-9), math.ceil(most / step + 1e-9)
    while limit - first * step < ROOM * (last - first) * step:
        first -= 1
    while last * step - limit < ROOM * (last - first) * step:
        last += 1
    low, high = (float(f"{n * step:.10g}") for n in (first, last))
    told = f"{name} {number(limit, max(decimals(step), 2))}"
    inside = [(n * step, number(n * step, decimals(step))) for n in range(first + 1, last)]  # those at the ends are cut
    ticks = [(at, text) for at, text in inside
             if abs(at - limit) > LABEL * (len(text) + len(told)) / 8 * (high - low)]  # fmt: skip
    return Axis(column, low, high, [*ticks, (limit, told)], limit)
