"""Which calibrations are due: as the check lists them, and as pages say it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass

from sitegen.page import words
from sitegen.program.calibrated import Due

DAY = 86400.0  # s


@dataclass(frozen=True)
class DueList:
    """Calibrations due within so many days of a day."""

    as_of: str  # ISO date
    within: int  # days
    found: Sequence[Due]

    @property
    def as_data(self) -> Mapping[str, object]:
        """For other programs."""
        return {"as_of": self.as_of, "within": self.within, "instruments": [asdict(each) for each in self.found]}

    def as_text(self) -> str:
        """A line an instrument, overdue ones first."""
        span = f"due within {self.within} {words.plural(self.within, 'day')} of {self.as_of}"
        if not self.found:
            return f"No calibration is {span}."
        told = [f"  {each.instrument} ({each.title}): {when(each, str)}" for each in self.found]
        return "\n".join([f"Calibrations {span}:", *told])


def when(one: Due, day: Callable[[str], str] = words.day) -> str:
    """When an instrument is due, or since when it is overdue.

    >>> when(Due("2026-12-07", "T2", "tester", "2025-12-07", 19)), when(Due("2026-12-07", "T2", "", "2025-12-07", -1))
    ('due on 7 December 2026, in 19 days', 'overdue since 7 December 2026, by one day')
    """
    if one.days < 0:
        return f"overdue since {day(one.due)}, by {words.counted(-one.days, 'day')}"
    left = "that very day" if one.days == 0 else f"in {words.counted(one.days, 'day')}"
    return f"due on {day(one.due)}, {left}"
