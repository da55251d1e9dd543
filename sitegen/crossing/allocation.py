"""Drawing lots: which coating goes to which build and cylinder, from a recorded seed.

Python's own generator (Mersenne Twister) and a shuffle written out here, so that a seed gives the same lots in every
version. An allocation that does not follow from its seed was not drawn by it, and no randomisation test is made on it.
"""

from __future__ import annotations

from collections.abc import Sequence
from random import Random
from typing import TypeVar

from sitegen.program.model import Program

SCHEMES = ("whole builds", "whole builds in rounds", "mixed in engine")  # those that can be drawn

Item = TypeVar("Item")
Lots = tuple[tuple[str, ...], ...]  # coating by cylinder of each build, in the order of building


def shuffled(items: Sequence[Item], chance: Random) -> list[Item]:
    """A fair shuffle (Fisher and Yates) that draws one whole number an item."""
    mixed = list(items)
    for last in range(len(mixed) - 1, 0, -1):
        other = _below(chance, last + 1)
        mixed[last], mixed[other] = mixed[other], mixed[last]
    return mixed


def _below(chance: Random, count: int) -> int:
    """A whole number from 0 to count - 1, all alike likely."""
    bits = count.bit_length()
    while (number := chance.getrandbits(bits)) >= count:
        pass
    return number


def whole_builds(coatings: Sequence[str], cylinders: Sequence[int], seed: int) -> Lots:
    """Coatings of builds (one entry a build) in drawn order."""
    drawn = shuffled(sorted(coatings), Random(seed))  # noqa: S311 - lots, not secrets
    return tuple((coating,) * count for coating, count in zip(drawn, cylinders, strict=True))


def in_rounds(coatings: Sequence[str], cylinders: Sequence[int], seed: int) -> Lots:
    """Every coating once in each round of builds, in drawn order; a last, short round holds what is drawn first.

    `coatings` are the different ones. What drifts from round to round then touches all coatings alike.
    """
    chance = Random(seed)  # noqa: S311
    drawn: list[str] = []
    while len(drawn) < len(cylinders):
        drawn += shuffled(sorted(coatings), chance)
    return tuple((coating,) * count for coating, count in zip(drawn, cylinders, strict=False))


def mixed(coatings: Sequence[str], cylinders: Sequence[int], seed: int) -> Lots:
    """Every coating in each build, on cylinders as even in number as can be, drawn build by build.

    Where the cylinders do not divide, the coatings that get one more take turns.
    """
    chance = Random(seed)  # noqa: S311
    order = shuffled(sorted(coatings), chance)
    lots = []
    turn = 0
    for count in cylinders:
        each, left = divmod(count, len(order))
        more = [order[(turn + step) % len(order)] for step in range(left)]
        turn += left
        lots.append(tuple(shuffled(sorted([*(coating for coating in order for _ in range(each)), *more]), chance)))
    return tuple(lots)


def drawn(scheme: str, wanted: Sequence[str], cylinders: Sequence[int], seed: int) -> Lots | None:
    """The lots of a scheme; None where the scheme is none that can be drawn.

    `wanted` holds a coating for each build in the scheme "whole builds", else the different coatings.
    """
    if scheme == "whole builds":
        return whole_builds(wanted, cylinders, seed)
    different = sorted(set(wanted))
    if scheme == "whole builds in rounds":
        return in_rounds(different, cylinders, seed)
    return mixed(different, cylinders, seed) if scheme == "mixed in engine" else None


def actual(program: Program) -> Lots:
    """Coatings by cylinder of each build, in the order of building."""
    builds = sorted(program.builds, key=lambda build: build.built)
    return tuple(tuple(place.coating for place in build.places) for build in builds)


def follows(program: Program) -> bool:
    """True where the recorded scheme and seed give the allocation as it is."""
    if program.allocation_seed is None or not program.builds:
        return False
    found = actual(program)
    cylinders = [len(build) for build in found]
    if program.allocation_scheme == "whole builds":
        wanted = [build[0] for build in found]
    else:
        wanted = [coating for build in found for coating in build]
    return drawn(program.allocation_scheme, wanted, cylinders, program.allocation_seed) == found
