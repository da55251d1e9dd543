"""Sheets of a phase in which the engine runs: its schedule, what happened, labels of oil samples."""

from __future__ import annotations

import math
from collections.abc import Sequence

from sitegen.page.words import number
from sitegen.program.model import Build, Phase, Program, ScheduleStep
from sitegen.sheets.contexts import Blankspace, Cell, Grid, Heading, Label, Row, Sheet
from sitegen.sheets.paper import cautions

_RPM = 30 / math.pi  # rpm per rad/s
_LONGEST = 4 * 3600.0  # s: longer steps get a line at least this often (common practice, no source)


def schedule(program: Program, phase: Phase, facts: Sequence[str], told: Sequence[str], running: str) -> Sheet:
    """The planned running of a phase, a line a step with a box to tick. `told` are the cautions of running engines."""
    rows: list[Row] = []
    clock = 0.0
    several = phase.repeat > 1
    for turn in range(phase.repeat):
        for at, step in enumerate(phase.schedule):
            parts = max(1, math.ceil(step.time / _LONGEST))
            for part in range(parts):
                end = clock + step.time / parts
                rows.append(
                    _line(step, len(rows) + 1, turn + 1 if several else 0, clock, end, parted=not at and not part)
                )
                clock = end
    total = _duration(sum(step.time for step in phase.schedule) * phase.repeat)
    points = sum(step.reference_point for step in phase.schedule) * phase.repeat
    band = program.run
    steps = ["Tick a line when it has been run; write what was done instead where it was not."]
    if points:
        steps.append(
            "At a reference point, which is printed bold: hold speed and torque, let the oil temperature settle, then "
            "read blow-by."
        )
    if band:
        steps.append(
            f"As planned means within {number(band.speed_band * _RPM, 0)} rpm and {number(band.torque_band, 0)} N·m "
            f"for {number(100 * band.held, 0)} % of the time of each step."
        )
    headings = [
        Heading("", width="narrow"),
        Heading("No.", width="narrow"),
        *([Heading("Run", width="narrow")] if several else []),
        Heading("From", "h:min:s"),
        Heading("To", "h:min:s"),
        Heading("Speed", "rpm"),
        Heading("Torque", "N·m"),
        Heading("Power", "kW"),
        Heading("Started", "clock"),
        Heading("Oil", "°C"),
        Heading("Oil pressure"),
        Heading("Coolant", "°C"),
        Heading("Blow-by"),
        Heading("What was done instead, remark", width="wide"),
    ]
    return Sheet(
        anchor="schedule",
        title="Schedule",
        facts=[*facts, f"{total} in all", *([f"{points} reference points"] if points else [])],
        cautions=cautions(told),
        steps=steps,
        asked=[
            *(
                Blankspace(what)
                for what in ("Date", "Run by", "Log file", "Oil level before", "Breather open, seen by")
            ),
            Blankspace("Run ends above: exhaust", "°C"),
            Blankspace("coolant", "°C"),
            Blankspace("speed", "rpm"),
            Blankspace("or below: oil pressure"),
        ],
        grids=[Grid("", running, headings, rows)],
    )


def _line(step: ScheduleStep, count: int, turn: int, start: float, end: float, *, parted: bool) -> Row:
    mark = step.reference_point
    cells = [
        Cell(ticks=("",)),
        Cell(str(count)),
        *([Cell(str(turn))] if turn else []),
        Cell(_clock(start)),
        Cell(_clock(end)),
        Cell(_span(step.speed * _RPM, step.speed_to * _RPM), strong=mark),
        Cell("" if step.torque is None else _span(step.torque, step.torque_end or 0.0), strong=mark),
        Cell("" if step.torque is None else _power(step, step.torque, step.torque_end or 0.0), strong=mark),
        *(Cell() for _ in range(5)),
        Cell("reference point" if mark else "", strong=True),
    ]
    return Row(cells, marked=mark, parted=parted)


def _span(low: float, high: float) -> str:
    return number(low, 0) if abs(high - low) < 0.5 else f"{number(low, 0)} to {number(high, 0)}"


def _power(step: ScheduleStep, torque: float, torque_to: float) -> str:
    """Power of a step [kW] from one torque to another [N m]: torque by angular speed."""
    low, high = torque * step.speed / 1000, torque_to * step.speed_to / 1000
    return number(low, 1) if abs(high - low) < 0.05 else f"{number(low, 1)} to {number(high, 1)}"


def _clock(seconds: float) -> str:
    """Time since the phase began.

    >>> _clock(315), _clock(36000)
    ('0:05:15', '10:00:00')
    """
    whole = round(seconds)
    return f"{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d}"


def _duration(seconds: float) -> str:
    """A length of time as it is said.

    >>> _duration(600), _duration(144000), _duration(5400), _duration(75)
    ('10 min', '40 h', '1 h 30 min', '1 min 15 s')
    """
    whole = round(seconds)
    hours, minutes, rest = whole // 3600, whole // 60 % 60, whole % 60
    parts = [(hours, "h"), (minutes, "min"), (rest, "s")]
    return " ".join(f"{count} {unit}" for count, unit in parts if count) or "0 s"


def labels(
    program: Program,
    build: Build,
    samples: Sequence[tuple[str, Phase]],
    facts: Sequence[str],
    told: Sequence[str],
    steps: Sequence[str],
) -> Sheet:
    """Labels for the bottles of a build's oil samples, all phases: two a sample, one to be sent and one to be kept."""
    oil = program.definitions.oils.get(build.oil)
    asked = [
        Blankspace("Drawn on, at"),
        Blankspace("Time on this oil", "h"),
        Blankspace("After shutdown", "min"),
        Blankspace("Place"),
        Blankspace("Weight", "g"),
        Blankspace("By"),
    ]
    custody = {"sample": ("Sealed", "Sent on"), "retain": ("Keep until", "Kept at")}
    made = []
    for sample, phase in samples:
        lines = [f"{program.title}, {build.id} ({build.block})", phase.title, *([oil.title] if oil else [])]
        for what, more in custody.items():
            made.append(Label(sample, what, lines, [*asked, *map(Blankspace, more)]))
    return Sheet(
        "labels", "Labels of oil samples", facts, cautions(told), steps, labels=made, of=f"{build.id}, all phases"
    )
