"""Whether what was noted during a run lies within it by its log, and on the day its row says."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping

from sitegen.program.model import Program
from sitegen.tables.rows import given
from sitegen.vocabulary import Problem, Readings

LATE = 300.0  # s after the last sample: the logger may be stopped before the last note; common practice, no source
CLOCK = 3600.0  # s by which a logger's clock may differ from a person's: a change to summer time; the same
ROWS = ("engine", "phase", "at", "date", "what", "file", "row", "use")


def against(program: Program, readings: Mapping[str, Readings]) -> Iterator[Problem]:
    """Events with a time after the end of their phase's log, or with a day that log and time contradict."""
    del program
    logs = _logs(readings.get("runlog"))
    own = readings["events"]
    for engine, phase, at, date, what, file, row, use in zip(*map(own.cells, ROWS), strict=True):
        clock, span = logs.get((str(engine), str(phase)), ("", 0.0))
        if use != "" or not given(at) or not span:
            continue
        headers = {field: header for header, field in own.files.get(str(file), {}).get("columns", {}).items()}
        where = str(file), int(row), 0
        if at > span + LATE:
            code, said = "event-outside-of-run", f"the {what} is at {_time(at)}, and the log of {phase} ends at"
            step = "correct the time or the phase, or see whether a log is missing"
            yield Problem(*where, code, f"{said} {_time(span)}", "a time within the run", column_name=_at(headers),
                          next_step=step, level="warning")  # fmt: skip
        elif given(date) and clock and (days := _days(clock, at)) and str(date)[:10] not in days:
            said = (
                f"the {what} is dated {str(date)[:10]}; by the log, which begins on {clock[:16].replace('T', ' at ')}"
            )
            step = "correct the date, the time or the phase"
            yield Problem(*where, "event-day-differs", f"{said}, {_time(at)} of its run are on {days[0]}",
                          f"{days[0]}, or another time", column_name=str(headers.get("date", "date")), next_step=step,
                          level="warning")  # fmt: skip


def _at(headers: Mapping[str, object]) -> str:
    return str(headers.get("at", "at"))


def _logs(readings: Readings | None) -> Mapping[tuple[str, str], tuple[str, float]]:
    """By build and phase the stamp its log begins with, and how long it lasts [s]."""
    if readings is None:
        return {}
    columns = map(readings.cells, ("engine", "phase", "clock", "span"))
    return {(str(engine), str(phase)): (str(clock) if given(clock) else "", float(span))
            for engine, phase, clock, span in zip(*columns, strict=False) if given(span)}  # fmt: skip


def _days(clock: str, at: float) -> list[str]:
    """The day of an instant of a log, and those it may be by another clock; nothing where the log has no date."""
    try:
        instant = datetime.datetime.fromisoformat(clock) + datetime.timedelta(seconds=at)
    except ValueError:
        return []
    ways = (0.0, -CLOCK, CLOCK)
    return list(dict.fromkeys((instant + datetime.timedelta(seconds=each)).date().isoformat() for each in ways))


def _time(seconds: float) -> str:
    """A time in a unit it reads well in."""
    return f"{seconds / 60:.1f} min" if seconds < 7200 else f"{seconds / 3600:.2f} h"
