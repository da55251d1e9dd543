"""The one list of streams, and of the steps that cross them."""

from __future__ import annotations

from collections.abc import Mapping

from sitegen.crossing import answers, exposure, ties
from sitegen.declarations import Step, Stream
from sitegen.streams.buildsheet import STREAM as BUILDSHEET
from sitegen.streams.events import STREAM as EVENTS
from sitegen.streams.inspection import STREAM as INSPECTION
from sitegen.streams.leakdown import STREAM as LEAKDOWN
from sitegen.streams.oil import STREAM as OIL
from sitegen.streams.runlog import STREAM as RUNLOG
from sitegen.streams.surfaces import STREAM as SURFACES
from sitegen.vocabulary import Measure

_ALL = (BUILDSHEET, EVENTS, INSPECTION, LEAKDOWN, OIL, RUNLOG, SURFACES)
STREAMS: tuple[Stream, ...] = tuple(sorted(_ALL, key=lambda stream: stream.order))
CROSSING: tuple[Step, ...] = (exposure.STEP,)


def steps() -> tuple[Step, ...]:
    """Every step of the house, in no particular order."""
    yielding = (*CROSSING, *(step for stream in STREAMS for step in stream.steps))
    given = [measure for step in yielding for measure in step.gives]
    return (*yielding, ties.step(given), answers.step(given))


def methods() -> Mapping[str, int]:
    """Revision of each step by its name."""
    return {step.name: step.revision for step in steps()}


def measures() -> Mapping[str, Measure]:
    """Every measure by its id."""
    return {measure.id: measure for step in steps() for measure in step.gives}


def comparable() -> frozenset[str]:
    """Ids of the measures two coatings can be set against each other in."""
    return frozenset(measure.id for measure in measures().values() if measure.compare)
