"""What is counted in several places, by the same word in each."""

from __future__ import annotations

from collections.abc import Iterable

from sitegen.page import words
from sitegen.vocabulary import Readings

MANY = 24  # builds: of more, pages show dots without lines and names, and list those nearest by
OBJECTED = "excluded"  # use of a reading that is left out since an objection to it was accepted


def not_used(readings: Iterable[Readings]) -> str:
    """Readings that are not used: "two readings set aside, one left out on objection"; "" where all are."""
    uses = [use for each in readings for use in each.cells("use") if use]
    objected = uses.count(OBJECTED)
    aside = len(uses) - objected
    parts = [f"{words.counted(aside, 'reading')} set aside"] if aside else []
    if objected:
        noun = "" if aside else f" {words.plural(objected, 'reading')}"
        parts.append(f"{words.count(objected)}{noun} left out on objection")
    return ", ".join(parts)
