"""The one list of streams, and of the steps that cross them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from sitegen.crossing import answerable, answers, bench, closure, exposure, odd, ties, wear_rates
from sitegen.declarations import Step, Stream
from sitegen.program import described
from sitegen.program.model import Program
from sitegen.streams.buildsheet import STREAM as BUILDSHEET
from sitegen.streams.compression import STREAM as COMPRESSION
from sitegen.streams.decay import STREAM as DECAY
from sitegen.streams.events import STREAM as EVENTS
from sitegen.streams.friction import STREAM as FRICTION
from sitegen.streams.gaugestudy import STREAM as GAUGESTUDY
from sitegen.streams.inspection import STREAM as INSPECTION
from sitegen.streams.layers import STREAM as LAYERS
from sitegen.streams.leakdown import STREAM as LEAKDOWN
from sitegen.streams.oil import STREAM as OIL
from sitegen.streams.pulls import STREAM as PULLS
from sitegen.streams.rig import STREAM as RIG
from sitegen.streams.runlog import STREAM as RUNLOG
from sitegen.streams.surfaces import STREAM as SURFACES
from sitegen.vocabulary import Measure, Problem, Readings, Result

_ALL = (
    BUILDSHEET, COMPRESSION, DECAY, EVENTS, FRICTION, GAUGESTUDY, INSPECTION, LAYERS, LEAKDOWN, OIL, PULLS, RIG, RUNLOG,
    SURFACES,
)  # fmt: skip
STREAMS: tuple[Stream, ...] = tuple(sorted(_ALL, key=lambda stream: stream.order))
CROSSING: tuple[Step, ...] = (exposure.STEP, closure.STEP, wear_rates.STEP)


def _yielding() -> tuple[Step, ...]:
    return (*CROSSING, *(step for stream in STREAMS for step in stream.steps))


def steps() -> tuple[Step, ...]:
    """Every step of the house, in no particular order."""
    yielding = _yielding()
    given = [measure for step in yielding for measure in step.gives]
    crossing = (each.step(given) for each in (bench, odd, ties, answers))
    return (*yielding, *crossing, *_in_place_of(yielding, given))


def methods() -> Mapping[str, int]:
    """Revision of each step by its name."""
    return {step.name: step.revision for step in steps()}


def _in_place_of(yielding: Iterable[Step], given: Iterable[Measure]) -> tuple[Step, ...]:
    """A step that yields nothing, where others need measures of streams that are not listed here.

    They then see what they see of a program that recorded none of it. A need that no stream of the format has either
    stays unknown, and `in_order` raises.
    """
    lacking = {need for step in yielding for need in step.needs} - {measure.id for measure in given}
    names = [stream.name for stream in STREAMS]
    found = [_not_here(need) for need in sorted(lacking) if described.of_absent(need, names)]
    return (Step("streams not here", tuple(found), _nothing),) if found else ()


def _nothing(program: object, engine: str, readings: object, book: object) -> Iterable[Result]:
    del program, engine, readings, book
    return ()


def _not_here(measure: str, unit: str = "1") -> Measure:
    """What stands for a measure that is named, and whose stream is not listed here."""
    method = "Not worked out: this version does not read the records it rests on."
    return Measure(measure, f"measure {measure}", unit, "", method, "", "", interval="")


def measures(programs: Iterable[Program] = ()) -> Mapping[str, Measure]:
    """Every measure by its id; with what stands for those these programs name and no stream listed here gives."""
    crossing = bench.step(()), odd.step(()), ties.step(()), answers.step(())
    known = {measure.id: measure for step in (*_yielding(), *crossing) for measure in step.gives}
    strange = {name: unit for program in programs for name, unit in program.strange.items()}
    return {**known, **{name: _not_here(name, unit) for name, unit in strange.items() if name not in known}}


def of_coatings() -> list[Measure]:
    """Measures about coatings, or whose being there tells which coating a ring has: not for blinded reviewers."""
    return [*answers.step(()).gives, *(measure for measure in measures().values() if measure.of_coating)]


def unanswerable(program: Program, readings: Mapping[str, Readings]) -> list[Problem]:
    """An error for each criterion of a program that no record could ever answer."""
    steps = [step for stream in STREAMS for step in stream.steps]
    return answerable.problems(program, measures(), steps, [stream.name for stream in STREAMS], readings)


def comparable() -> frozenset[str]:
    """Ids of the measures two coatings can be set against each other in."""
    return frozenset(measure.id for measure in measures().values() if measure.compare)
