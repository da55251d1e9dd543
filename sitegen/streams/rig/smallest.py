"""What the specimens can show: planned, from the scatter the program file expects; so far, from theirs."""

from __future__ import annotations

from collections.abc import Iterable

from sitegen.declarations import Smallest
from sitegen.methods import rig as method
from sitegen.page.words import counted
from sitegen.program.model import Program
from sitegen.streams.rig.measures import MU_RATIO, MU_SMALLEST, WEAR_RATIO, WEAR_SMALLEST
from sitegen.vocabulary import Refused, Value


def smallest(program: Program) -> Iterable[Smallest]:
    """The ratio of two coatings that the planned specimens find four times in five."""
    rule = program.rig
    if rule.scatter is None or rule.specimens is None:
        return
    try:
        least = method.smallest_ratio(rule.scatter, rule.specimens, rule.specimens)
    except Refused:
        return
    because = (
        f"{counted(rule.specimens, 'specimen')} of each coating, expected to scatter by {100 * rule.scatter:.2g} %"
    )
    yield Smallest(MU_RATIO.id, "ratio of friction of two coatings on the rig", least, because, of="difference")


def by_specimens(program: Program, values: Iterable[Value]) -> Iterable[Smallest]:
    """The same from the specimens that were run; of each measure the greatest of all places and coatings."""
    del program
    every = list(values)
    for measure, ratio, what in ((MU_SMALLEST, MU_RATIO, "friction"), (WEAR_SMALLEST, WEAR_RATIO, "wear")):
        own = [value for value in every if value.measure == measure.id and value.value is not None]
        if not own:
            continue
        worst = max(own, key=lambda value: value.value or 0.0)
        because = f"{counted(worst.n, 'specimen')} of a coating, by their scatter ({worst.key.at})"
        yield Smallest(ratio.id, f"ratio of {what} of two coatings on the rig",
                       worst.value or 0.0, because, of="difference")  # fmt: skip
