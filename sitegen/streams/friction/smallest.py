"""What the planned days can show of friction, from the scatter the program file expects."""

from __future__ import annotations

import math
from collections.abc import Iterable

from sitegen.declarations import Smallest
from sitegen.methods import friction as method
from sitegen.program.model import Program
from sitegen.streams.friction.measures import BETWEEN


def smallest(program: Program) -> Iterable[Smallest]:
    """The difference that the planned days of each of two builds find four times in five."""
    rule = program.friction
    if rule.run_scatter is None or rule.day_scatter is None or rule.days < 2:
        return
    day = method.of_a_day(rule.day_scatter, rule.run_scatter, rule.runs, rule.oil_scatter)
    least, half = (100 * math.expm1(each(rule.days, day)) for each in (method.smallest, method.half_width))
    because = (
        f"{rule.days} days of each, {rule.runs} runs a day, expected to scatter by {100 * rule.run_scatter:.2g} %, "
        f"their days by {100 * rule.day_scatter:.2g} % and the oil by {rule.oil_scatter:.2g} K: the ratio of both is "
        f"known to ± {half:.2g} %; how far builds of one coating scatter comes on top"
    )
    yield Smallest(BETWEEN.id, "difference of friction between two builds", least, because, of="difference")
