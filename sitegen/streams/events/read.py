"""Event records to readings."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from sitegen.problems import listed
from sitegen.program.model import Program, RecordSource
from sitegen.streams.events.fields import BEHAVIOUR, CHECK, FIELDS, OF_METERS, SEEN, TIGHT
from sitegen.tables.checks import ABSENT, in_force
from sitegen.tables.reading import Sheet, read_stream
from sitegen.vocabulary import Readings


def read(program: Program, sources: Sequence[RecordSource]) -> Readings:
    """Readings of all event logs; see `tables.reading.read_stream`."""
    return read_stream(program, sources, FIELDS, (_there, _whole_checks, _whole_readings, _crankcase, _others, _runs))


def _there(program: Program, sheet: Sheet) -> None:
    in_force(sheet, "meter", program.definitions.meters, (ABSENT,))


def _whole_checks(program: Program, sheet: Sheet) -> None:
    """A meter check says which meter, and whether it moved."""
    del program
    frame = sheet.frame
    check = frame["what"] == CHECK
    for name in ("meter", "moved"):
        what = f'a {CHECK} does not say "{name}"'
        sheet.set_aside(check & frame[name].isna(), "event-not-whole", name, what, "which meter, and whether it moved")


def _whole_readings(program: Program, sheet: Sheet) -> None:
    """A reading by eye says which meter, and what was seen at it."""
    del program
    frame = sheet.frame
    seen = frame["what"] == SEEN
    expected = f"the meter, and its flow or how it stood: {listed(BEHAVIOUR)}"
    sheet.set_aside(seen & frame["meter"].isna(), "event-not-whole", "meter", f"a {SEEN} names no meter", expected)
    nothing = seen & frame[["flow", "behaviour"]].isna().all(axis=1)
    sheet.set_aside(nothing, "event-not-whole", "flow", f"a {SEEN} says nothing of what was seen", expected)


def _crankcase(program: Program, sheet: Sheet) -> None:
    """A crankcase check says what was found, and nothing else does."""
    del program
    frame = sheet.frame
    check = frame["what"] == TIGHT
    what = f"a {TIGHT} does not say what was found"
    sheet.set_aside(check & frame["tight"].isna(), "event-not-whole", "tight", what, "yes or no")
    what = '"tight" is entered for an event of another kind'
    sheet.set_aside(~check & frame["tight"].notna(), "event-of-no-meter", "tight", what, f"an empty cell, or {TIGHT}")


def _others(program: Program, sheet: Sheet) -> None:
    """What belongs to meters is not entered for anything else."""
    del program
    frame = sheet.frame
    other = ~frame["what"].isin([CHECK, SEEN])
    for name in OF_METERS:
        sheet.set_aside(
            other & frame[name].notna(),
            "event-of-no-meter",
            name,
            f'"{name}" is entered for an event of another kind',
            f"an empty cell, or {CHECK} or {SEEN}",
        )


def _runs(program: Program, sheet: Sheet) -> None:
    """A time since the start needs a phase in which the engine runs."""
    frame = sheet.frame
    ran = {phase.id for phase in program.phases if phase.schedule}
    logged = {(log.engine, log.phase) for log in program.logs}
    places = zip(frame["engine"], frame["phase"], strict=True)
    still = np.array([phase not in ran and (engine, phase) not in logged for engine, phase in places], dtype=bool)
    sheet.set_aside(
        frame["at"].notna() & still,
        "event-not-in-run",
        "at",
        "a time since the start of the run is entered for a phase in which nothing runs",
        "a phase with a schedule or a log",
    )
