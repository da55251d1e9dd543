"""What an instrument that was found off does to the results of a program."""

from __future__ import annotations

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
    moved: frozenset[tuple[str, Key]] = field(default_factory=frozenset)  # measure and key of values that rest on them
    widened: int = 0  # of these: whose interval reaches further
    most: float = 0.0  # largest part by which an interval became wider [-]; inf where an end is not known any more
    most_of: tuple[str, Key] | None = None  # measure and key of that one
    compared: int = 0  # comparisons whose interval reaches further
    words: tuple[Change, ...] = ()  # verdicts and comparisons that said `before`, and are left open by it
