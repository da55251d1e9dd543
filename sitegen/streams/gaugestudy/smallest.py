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


def by_study(program: Program, values: Iterable[Value]) -> Iterable[Smallest]:
    """The difference between two readings that no scatter of the gauge explains, of the newest study of each tester."""
    for value in values:
        if value.measure != GAUGE.id or not value.value or SUPERSEDED in value.flags:
            continue
        study, _, tester = value.key.at.rpartition("/")
        title = program.definitions.testers[tester].title
        least = 100 * math.expm1(NORMAL_95 * math.sqrt(2) * value.value / 100)
        worth = program.worth_finding
        asked = 100 * worth if worth is not None and program.primary_measure.startswith("leakdown.") else None
        yield Smallest(
            GAUGE.id,
            "difference between two readings of a cylinder, each by any operator",
            least,
            f"{title}: one reading scatters by {number(value.value, 1)} % in the study {study}",
            "difference",
            None if asked is None else (asked, asked),
        )
