"""What a compression test can show: beside what equal cylinders do, and by the repeats so far."""

from __future__ import annotations

import math
from collections.abc import Iterable

from sitegen.declarations import Smallest
from sitegen.methods import compression as method
from sitegen.program.model import Program
from sitegen.streams.compression.measures import LOWEST, REPEAT, WET
from sitegen.vocabulary import Value

_ONE_IN_TWENTY = 0.05


def smallest(program: Program) -> Iterable[Smallest]:
    """The ratio below which one engine in twenty of equal cylinders falls; only where such tests are planned."""
    if not any("compression" in phase.records for phase in program.phases):
        return
    for cylinders in sorted({len(build.places) for build in program.builds if len(build.places) > 1}):
        low, high = 0.5, 1.0
        while high - low > 1e-4:
            middle = (low + high) / 2
            below = method.equal_cylinders_below(middle, cylinders) < _ONE_IN_TWENTY
            low, high = (middle, high) if below else (low, middle)
        because = f"{cylinders} equal cylinders that scatter by {100 * method.EQUAL:.0f} % read lower in 5 % of engines"
        yield Smallest(LOWEST.id, "lowest over highest pressure that chance does not explain", low, because)


def by_repeats(program: Program, values: Iterable[Value]) -> Iterable[Smallest]:
    """The change with oil that two single readings show, by the repeats so far."""
    del program
    for value in values:
        if value.measure == REPEAT.id and value.value:
            because = f"readings of one cylinder scatter by {value.value:.2g} % between repeats"
            yield Smallest(WET.id, "change with oil between two readings", 2 * math.sqrt(2) * value.value, because,
                           "difference")  # fmt: skip
