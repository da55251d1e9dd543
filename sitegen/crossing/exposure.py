"""How far the rings have run: the axis of every seating curve.

Taken from the planned schedule and flagged so. A log of the run, once there is one, gives the same measures.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from sitegen.methods.exposure import revolutions, sliding_distance
from sitegen.program.model import Phase, Program
from sitegen.vocabulary import Book, Measure, Readings, Result, Step, Value

FROM_SCHEDULE = frozenset({"from-schedule"})

KM = Measure(
    id="exposure.km",
    title="sliding distance",
    unit="km",
    better="",
    method="Distance the rings have slid in the bore since the cold build, up to the end of the phase.",
    formula="2 · stroke · revolutions",
    source="exact",
    limits="Taken from the planned schedule where no log of the run is given; the flag says so.",
    interval="",
)
HOURS = Measure(
    id="exposure.hours",
    title="running time",
    unit="h",
    better="",
    method="Time run since the cold build, up to the end of the phase.",
    formula="sum over the steps of the schedule",
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
    formula="sum over the steps of mean speed · time",
    source="exact",
    limits=KM.limits,
    interval="",
)


def phase_revolutions(phase: Phase) -> float:
    """Planned revolutions of one phase [-]. A step from one speed to another counts at their mean."""
    return phase.repeat * sum(revolutions((s.speed + s.speed_to) / 2, s.time) for s in phase.schedule)


def run(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """Cumulative exposure of one build at the end of each of its phases."""
    del readings, book
    build = program.build(engine)
    stroke = build.engine_type.stroke
    turned = seconds = 0.0
    for phase in program.phases_of(build):
        if build.is_due(phase.id):
            break  # nothing after a phase that is still to come has been run
        turned += phase_revolutions(phase)
        seconds += phase.repeat * sum(step.time for step in phase.schedule)
        key = build.key(phase=phase.id)
        yield Value(KM.id, key, sliding_distance(turned, stroke) / 1000, flags=FROM_SCHEDULE)
        yield Value(HOURS.id, key, seconds / 3600, flags=FROM_SCHEDULE)
        yield Value(REVOLUTIONS.id, key, turned / 1000, flags=FROM_SCHEDULE)


STEP = Step(name="exposure", gives=(KM, HOURS, REVOLUTIONS), run=run)
