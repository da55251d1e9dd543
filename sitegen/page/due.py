"""What is due, phases of builds and calibrations: one list, in one order, for the check and for pages."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass

from sitegen.page import words
from sitegen.program import calibrated
from sitegen.program.calibrated import Due
from sitegen.program.model import Build, Folder, InstrumentRule, Phase, Program

DAY = 86400.0  # s
MOST = 12  # phases to come that the text lists; the rest are counted


@dataclass(frozen=True)
class Waiting:
    """A phase that a build has still to run."""

    due: str  # ISO date; "" where none is set
    program: Program
    build: Build
    phase: Phase

    @property
    def what(self) -> str:
        """ "B3, teardown"."""
        return f"{self.build.id}, {self.phase.title}"


def waiting(programs: Sequence[Program]) -> list[Waiting]:
    """Phases to come, by their day, those without one last; of one day as the program files have them."""
    found = [
        Waiting(each.due, program, build, program.phase(each.phase))
        for program in programs
        for build in program.builds
        for each in build.departures
        if each.kind == "due"
    ]
    return sorted(found, key=lambda each: (not each.due, each.due))


@dataclass(frozen=True)
class DueList:
    """Phases to come, and calibrations due within so many days of a day."""

    as_of: str  # ISO date; "" where no record is dated, and then of calibrations nothing is known
    within: int  # days
    found: Sequence[Due]
    phases: Sequence[Waiting]

    @property
    def as_data(self) -> Mapping[str, object]:
        """For other programs."""
        phases = [{"due": each.due, "program": each.program.id, "build": each.build.id, "phase": each.phase.id}
                  for each in self.phases]  # fmt: skip
        found = [asdict(each) for each in self.found]
        return {"as_of": self.as_of, "within": self.within, "instruments": found, "phases": phases}

    def counted(self, day: Callable[[str], str] = words.day) -> str:
        """How many there are: "Four phases to come, one calibration due within 60 days of 18 November 2026."."""
        span = f"due within {words.counted(self.within, 'day')} of {day(self.as_of)}" if self.as_of else ""
        told = [f"{words.counted(len(self.phases), 'phase')} to come"] if self.phases else []
        told += [f"{words.counted(len(self.found), 'calibration')} {span}"] if self.found else []
        return f"{words.sentence(', '.join(told))}." if told else ""

    def as_text(self, *, asked: bool) -> str:
        """How many, then a line each, phases before calibrations; `asked`: a span was named, so that none is said."""
        told = [self.counted(str)] if self.phases or self.found else []
        shown = self.phases[:MOST] if len(self.phases) > MOST + 1 else self.phases
        told += [f"  {each.what} ({each.program.id}): {each.due or 'no day set'}" for each in shown]
        more = len(self.phases) - len(shown)
        told += [f"  and {words.count(more)} more"] if more else []
        told += [f"  {each.instrument} ({each.title}): {when(each, str)}" for each in self.found]
        if asked and not self.found:
            days = f"{self.within} {words.plural(self.within, 'day')}"
            told.append(f"No calibration is due within {days} of {self.as_of}." if self.as_of else
                        "No record is dated, so no calibration is told as due; --as-of names a day.")  # fmt: skip
        return "\n".join(told)


def due(folder: Folder, days: Sequence[str], within: int | None = None, as_of: str = "") -> DueList:
    """What is due over all programs; `days` are those of their newest records, of which the newest counts.

    Of several spans that programs state the longest counts.
    """
    rules = [each.instruments for each in folder.programs] or [InstrumentRule()]
    ahead = int(max(each.due_within for each in rules) // DAY) if within is None else within
    day = as_of or max(days, default="")
    found = calibrated.due(folder.definitions, day, ahead) if day else []
    return DueList(day, ahead, found, waiting(folder.programs))


def overdue(one: Due) -> str:
    """By how much an instrument is overdue; "" where it is not."""
    return f"overdue by {words.counted(-one.days, 'day')}" if one.days < 0 else ""


def when(one: Due, day: Callable[[str], str] = words.day) -> str:
    """When an instrument is due, or since when it is overdue.

    >>> when(Due("2026-12-07", "T2", "tester", "2025-12-07", 19)), when(Due("2026-12-07", "T2", "", "2025-12-07", -1))
    ('due on 7 December 2026, in 19 days', 'overdue since 7 December 2026, by one day')
    """
    if late := overdue(one):
        return f"overdue since {day(one.due)}, {late.removeprefix('overdue ')}"
    left = "that very day" if one.days == 0 else f"in {words.counted(one.days, 'day')}"
    return f"due on {day(one.due)}, {left}"
