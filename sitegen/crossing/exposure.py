"""How far the rings have run: the axis of every seating curve.

Taken from the log of the run where there is one, else from the planned schedule and flagged so.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping

from sitegen.declarations import Step
from sitegen.logs.join import Log
from sitegen.methods.exposure import revolutions, sliding_distance
from sitegen.program.model import Phase, Program
from sitegen.vocabulary import Book, Key, Measure, Readings, Result, Value

RUNLOG = "runlog"  # stream of the logs
RUN_HELD = "run.held"
FROM_SCHEDULE = "from-schedule"
NOT_AS_PLANNED = "not-as-planned"

KM = Measure(
    id="exposure.km",
    title="sliding distance",
    unit="km",
    better="",
    method="Distance the rings have slid in the bore since the cold build, up to the end of the phase.",
    formula="2 · stroke · revolutions",
    source="exact",
    limits="Revolutions are summed from the logged speed; where a phase has no log, from its planned schedule, and the "
    "flag says so.",
    interval="",
)
HOURS = Measure(
    id="exposure.hours",
    title="running time",
    unit="h",
    better="",
    method="Time run since the cold build, up to the end of the phase.",
    formula="time with the engine running; else the sum over the steps of the schedule",
    source="exact",
    limits=KM.limits,
    interval="",
)
REVOLUTIONS = Measure(
    id="exposure.revolutions",
    title="revolutions",
    unit="thousand",
    better="",
    method="Crankshaft revolutions since the cold build, up to the end of the phase, in thousands.",
    formula="integral of the speed over time; else the sum over the steps of mean speed · time",
    source="exact",
    limits=KM.limits,
    interval="",
)
ENERGY = Measure(
    id="exposure.energy",
    title="brake energy",
    unit="kWh",
    better="",
    method="Energy delivered at the brake since the cold build, up to the end of the phase.",
    formula="integral of torque · speed over time; else the sum over the steps of the schedule",
    source="exact",
    limits=f"{KM.limits} No value after a phase whose torque is neither logged nor planned.",
    interval="",
)


def phase_revolutions(phase: Phase) -> float:
    """Planned revolutions of one phase [-]. A step from one speed to another counts at their mean."""
    return phase.repeat * sum(revolutions((s.speed + s.speed_to) / 2, s.time) for s in phase.schedule)


def phase_energy(phase: Phase) -> float:
    """Planned brake energy of one phase [J]; not a number where the torque of a step is not planned.

    Torque and speed both go evenly from one to another, their product as the square of time: Simpson's rule is exact.
    """
    total = 0.0
    for step in phase.schedule:
        ends = (step.torque, step.torque_end)
        first, last = (math.nan if each is None else each for each in ends)
        middle = (first + last) / 2 * (step.speed + step.speed_to) / 2
        total += (first * step.speed + 4 * middle + last * step.speed_to) / 6 * step.time
    return phase.repeat * total


def _least_held(phase: Phase, key: Key, book: Book) -> float:
    """Least share of planned time held, of the whole phase and of each step [%]; infinite without a log."""
    steps = range(1, phase.repeat * len(phase.schedule) + 1)
    found = [book.get(RUN_HELD, key), *(book.get(RUN_HELD, key._replace(at=f"step-{n}")) for n in steps)]
    return min((each.value for each in found if each is not None and each.value is not None), default=math.inf)


def run(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """Cumulative exposure of one build at the end of each of its phases."""
    build = program.build(engine)
    stroke = build.engine_type.stroke
    logs = readings[RUNLOG].logs
    turned = seconds = energy = 0.0
    flags: frozenset[str] = frozenset()
    for phase in program.phases_of(build):
        if build.is_due(phase.id):
            break  # nothing after a phase that is still to come has been run
        log = logs.get((engine, phase.id))
        if isinstance(log, Log) and math.isfinite(log.revolutions):
            turned, seconds, energy = turned + log.revolutions, seconds + log.running_seconds, energy + log.energy
        else:
            turned += phase_revolutions(phase)
            seconds += phase.repeat * sum(step.time for step in phase.schedule)
            energy += phase_energy(phase)
            if phase.schedule:
                flags |= {FROM_SCHEDULE}
        key = build.key(phase=phase.id)
        if program.run is not None and _least_held(phase, key, book) < 100 * program.run.held:
            flags |= {NOT_AS_PLANNED}
        yield Value(KM.id, key, sliding_distance(turned, stroke) / 1000, flags=flags)
        yield Value(HOURS.id, key, seconds / 3600, flags=flags)
        yield Value(REVOLUTIONS.id, key, turned / 1000, flags=flags)
        if math.isfinite(energy):
            yield Value(ENERGY.id, key, energy / 3.6e6, flags=flags)


STEP = Step(name="exposure", gives=(KM, HOURS, REVOLUTIONS, ENERGY), run=run, reads=(RUNLOG,), needs=(RUN_HELD,))
