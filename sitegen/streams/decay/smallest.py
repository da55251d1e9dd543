"""What a pressure decay can show: beside what its gas leaves open, and by the repeats so far."""

from __future__ import annotations

import math
from collections.abc import Iterable

from sitegen.declarations import Smallest
from sitegen.program.model import Program
from sitegen.streams.decay.measures import AREA, REPEAT, TO_LEAST
from sitegen.vocabulary import Value

_OPEN = 1.34  # isothermal over adiabatic area, 80 psig to a half [-]


def smallest(program: Program) -> Iterable[Smallest]:
    """How far the ends of an area lie apart at the level asked for; only where decays are planned."""
    level = program.seating.level
    if level and any("decay" in phase.records for phase in program.phases):
        because = (
            "what the walls give to the gas is not known: an isothermal area is up to 1.34 times the adiabatic one"
        )
        yield Smallest(AREA.id, f"width of the interval of a leak of {level:g} mm²", level * (1 - 1 / _OPEN), because)


def by_repeats(program: Program, values: Iterable[Value]) -> Iterable[Smallest]:
    """The ratio of two cylinders that two single decays tell from one, by the repeats so far."""
    del program
    for value in values:
        if value.measure == REPEAT.id and value.value:
            because = f"decays of one cylinder scatter by {value.value:.2g} % between repeats"
            yield Smallest(TO_LEAST.id, "excess of one cylinder over another, one decay each",
                           math.expm1(2 * math.sqrt(2) * value.value / 100), because, "difference")  # fmt: skip
