"""Custody of an oil sample: from the sump to the laboratory, and how long what is left of it is kept."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date

from sitegen.program.model import OilRule
from sitegen.streams.oil.fields import CUSTODY, Reading
from sitegen.tables.rows import given

ORDER = ("date", "sent", "received", "analysed", "retained_until")  # days that follow each other; `date`: drawn
WAS = {"date": "drawn", "sent": "sent", "received": "received", "analysed": "analysed", "retained_until": "kept until"}
OUT_OF_ORDER, LATE = "custody-order", "analysed-late"  # flags


@dataclass(frozen=True)
class Custody:
    """What is on record of one sample; "" where nothing is. Days are ISO dates."""

    by: str = ""
    date: str = ""
    sealed: str = ""  # "yes" or "no"
    sent: str = ""
    received: str = ""
    analysed: str = ""
    retained_until: str = ""
    kept: str = ""

    @property
    def recorded(self) -> bool:
        """True where more is on record than who drew it and when."""
        return any(getattr(self, name) for name in CUSTODY)

    @property
    def days(self) -> int | None:
        """Days from the drawing to the analysis; None where either is not on record."""
        if not self.date or not self.analysed:
            return None
        return (date.fromisoformat(self.analysed) - date.fromisoformat(self.date)).days

    def disorder(self) -> Iterator[tuple[str, str]]:
        """Fields whose day lies before that of a field it has to follow, with the latest such field.

        >>> list(Custody(date="2026-02-10", received="2026-02-09", analysed="2026-02-12").disorder())
        [('received', 'date')]
        """
        for number, name in enumerate(ORDER):
            before = [each for each in ORDER[:number] if getattr(self, each)]
            later = [each for each in before if getattr(self, name) and getattr(self, name) < getattr(self, each)]
            if later:
                yield name, max(later, key=lambda each: (getattr(self, each), ORDER.index(each)))

    def flags(self, rule: OilRule) -> frozenset[str]:
        """With what care its report is to be taken: days that contradict each other, analysed later than planned."""
        found = {OUT_OF_ORDER} if any(True for _ in self.disorder()) else set[str]()
        if rule.analysed_within is not None and self.days is not None and self.days > rule.analysed_within / 86400:
            found.add(LATE)
        return frozenset(found)


def custody_of(rows: Iterable[Reading]) -> Custody:
    """What the rows of one sample say of it: the engine's row and the laboratory's each what the other does not."""
    own = list(rows)
    said = {
        name: next((str(getattr(row, name)) for row in own if given(getattr(row, name))), "")
        for name in Custody.__dataclass_fields__
    }
    return Custody(**said)
