"""Criteria that no record could ever answer: a place the measure does not have, a phase without its records."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from sitegen.declarations import Step
from sitegen.problems import listed, nearest
from sitegen.program.model import Criterion, Program
from sitegen.vocabulary import Measure, Problem, Readings

RINGS = ("top", "second", "oil")


def problems(
    program: Program,
    measures: Mapping[str, Measure],
    steps: Sequence[Step],
    streams: Sequence[str],
    readings: Mapping[str, Readings],
) -> list[Problem]:
    """One for each criterion that can never be answered; `steps` are those of the streams, `streams` are here."""
    found = []
    for criterion in program.criteria:
        measure = measures.get(criterion.measure)
        if measure is None or criterion.measure in program.strange:
            continue
        fault = next(_faults(program, criterion, measure, steps, streams, readings), None)
        if fault is not None:
            where = criterion.where
            found.append(Problem(where.file, where.line, where.column, *fault))
    return found


def _faults(
    program: Program,
    criterion: Criterion,
    measure: Measure,
    steps: Sequence[Step],
    streams: Sequence[str],
    readings: Mapping[str, Readings],
) -> Iterator[tuple[str, str, str, str]]:
    """Code, what, expected, nearest."""
    name = f'criterion "{criterion.id}"'
    curve = measure.only_at == "assembly"
    if curve and criterion.phase:
        yield (
            "criterion-phase",
            f"{name} asks for {measure.id} at {criterion.phase}, but it belongs to a whole seating curve",
            "no phase, and the assembly in at, such as a1",
            "",
        )
    if measure.to_the_end and criterion.phase:
        yield (
            "criterion-phase",
            f"{name} asks for {measure.id} at {criterion.phase}, but it belongs to all hours of a build",
            "no phase",
            "",
        )
    if not curve and not measure.to_the_end and measure.compare and not criterion.phase:
        yield "criterion-phase", f"{name} does not say at which phase {measure.id} is judged", "a phase", ""
    there = places(program, measure)
    if measure.only_at and not criterion.at:
        expected = (
            f"at: {listed(there)}" if there else f"at, with the {measure.only_at} as results/measures.csv names it"
        )
        yield "criterion-at", f"{name} does not say where: {measure.id} has no value for a whole phase", expected, ""
    if criterion.at and there and criterion.at.partition("/")[0] not in there:
        yield (
            "criterion-at",
            f'{name} asks for {measure.id} at "{criterion.at}", where there is none',
            listed(there),
            nearest(criterion.at, there),
        )
    needed = streams_of(measure.id, steps) & set(streams)
    if needed and criterion.phase:
        holding = [phase.id for phase in program.phases if holds(program, phase.id, needed, readings)]
        if criterion.phase not in holding:
            yield (
                "criterion-phase",
                f"{name} asks for {measure.id} at {criterion.phase}, whose records do not hold it",
                listed(holding) if holding else f"a phase whose records name {listed(sorted(needed))}",
                "",
            )


def places(program: Program, measure: Measure) -> Sequence[str]:
    """Places a measure can have at all; none: not known beforehand, or it belongs to whole phases."""
    if measure.only_at == "ring":
        return RINGS
    if measure.only_at == "assembly":
        return list(dict.fromkeys(each.id for build in program.builds for each in build.assemblies))
    if measure.only_at == "source of metal":
        return [source.id for source in program.oil.sources]
    return ()


def streams_of(measure: str, steps: Iterable[Step]) -> set[str]:
    """The streams one of which a value of a measure takes its phase from: read by its step, or by those before it."""
    by_measure = {each.id: step for step in steps for each in step.gives}
    waiting, seen, found = [measure], {measure}, set[str]()
    while waiting:
        step = by_measure.get(waiting.pop())
        if step is None:
            continue
        found |= set(step.reads)
        further = () if step.reads else step.needs
        waiting += [each for each in further if each not in seen]
        seen |= set(further)
    return found


def holds(program: Program, phase: str, needed: set[str], readings: Mapping[str, Readings]) -> bool:
    """Whether one of these streams is planned in a phase, or has a reading there."""
    if needed & set(program.phase(phase).records):
        return True
    return any(phase in readings[name].cells("phase") for name in needed if name in readings)
