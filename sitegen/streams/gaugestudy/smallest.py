"""What two readings of one cylinder by any two operators can show, by the studies so far."""

from __future__ import annotations

import math
from collections.abc import Iterable

from sitegen.declarations import Smallest
from sitegen.methods.intervals import NORMAL_95
from sitegen.page.words import number
from sitegen.program.model import Program
from sitegen.streams.gaugestudy.measures import GAUGE
from sitegen.streams.gaugestudy.steps import SUPERSEDED
from sitegen.vocabulary import Value

AREA = "leakdown.crankcase"  # of another stream: no stream imports another


def by_study(program: Program, values: Iterable[Value]) -> Iterable[Smallest]:
    """The difference [mm²] that no scatter of the gauge explains, at the level asked for; by each tester's study."""
    every, level = list(values), program.seating.level
    if not level or not any(value.measure == AREA for value in every):
        return
    for value in every:
        if value.measure != GAUGE.id or not value.value or SUPERSEDED in value.flags:
            continue
        study, _, tester = value.key.at.rpartition("/")
        because = f"one reading scatters by {number(value.value, 1)} % in the study {study}"
        yield Smallest(
            AREA,
            f"difference between two readings of a leak of {level:g} mm², each by any operator",
            level * math.expm1(NORMAL_95 * math.sqrt(2) * value.value / 100),
            f"{program.definitions.testers[tester].title}: {because}",
            "difference",
        )
