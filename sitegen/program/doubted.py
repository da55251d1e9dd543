"""What an instrument that was found off does to the results of a program."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from sitegen.program.calibrated import Doubt
from sitegen.vocabulary import Change, Key


@dataclass(frozen=True)
class Doubted:
    """One doubt, the readings it falls on and what moves with them. Other doubts are not in it."""

    doubt: Doubt
    readings: int = 0  # used, and in doubt
    days: tuple[str, str] = ("", "")  # of the first and the last of them
    undated: int = 0  # read with the instrument on no day that is known: taken as they are
    builds: Mapping[str, int] = field(default_factory=dict)  # build -> its readings in doubt that are used
    moved: frozenset[tuple[str, Key]] = field(default_factory=frozenset)  # measure and key of values that rest on them
    widened: int = 0  # of these: whose interval reaches further
    most: float = 0.0  # largest part by which one became wider [-]
    most_of: tuple[str, Key] | None = None  # measure and key of that one
    lost: int = 0  # whose interval is not known any more, since nothing can be worked out with the error in
    answers: int = 0  # comparisons, answers to criteria and words of the rule that move
    words: tuple[Change, ...] = ()  # verdicts and comparisons that said `before`, and are left open by it
