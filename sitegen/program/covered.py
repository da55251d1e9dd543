"""Names of record tables for people who are not to know the coatings: a file may be named after one.

Reviewers name readings by them, so the way back needs nothing but the program. The name hangs on how the coatings are
defined, too, which those people do not have: else they could try names until one fits.
"""

from __future__ import annotations

from pathlib import PurePosixPath

from sitegen.program.model import Program
from sitegen.shelves import digest

_DIGITS = 8


def covered(program: Program, name: str) -> str:
    """The name that stands for the stem of a file of the program, or for the whole of its path."""
    coatings = program.definitions.coatings
    return f"table-{digest(('covered', coatings, name))[:_DIGITS]}"


def uncovered(program: Program, reading: str) -> str:
    """The id of a reading as the program has it, of one that a blinded reviewer may have named."""
    begin, mark, rest = reading.partition(":")
    stems = {PurePosixPath(each.file).stem for each in program.records}
    if begin in stems:
        return reading
    found = next((each for each in sorted(stems) if covered(program, each) == begin), "")
    return f"{found}{mark}{rest}" if found else reading
