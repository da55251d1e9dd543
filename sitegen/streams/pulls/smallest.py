"""What the planned days of pulls can show, from the scatter the program file expects."""

from __future__ import annotations

import math
from collections.abc import Iterable

from sitegen.declarations import Smallest
from sitegen.methods import pulls
from sitegen.program.model import Program
from sitegen.streams.pulls.measures import GAIN
from sitegen.vocabulary import Refused


def smallest(program: Program) -> Iterable[Smallest]:
    """The gain of one variant over the other that the planned sequence of days finds four times in five."""
    rule = program.power
    if rule.pull_scatter is None or rule.day_scatter is None or not rule.sequence or rule.pulls < 2:
        return
    day = pulls.of_a_day(rule.day_scatter, rule.pull_scatter, rule.pulls - 1)
    try:
        gain = pulls.smallest_gain(rule.sequence, day)
    except Refused:
        return
    because = (
        f"{len(rule.sequence)} days in turn, {rule.pulls - 1} kept pulls each, expected to scatter by "
        f"{100 * rule.pull_scatter:.2g} % and their days by {100 * rule.day_scatter:.2g} %"
    )
    yield Smallest(GAIN.id, "gain of one variant over another", 100 * math.expm1(gain), because, of="difference")
