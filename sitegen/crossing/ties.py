"""Whether two measures that ought to agree do so, cylinder against cylinder within engines; the program names them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from sitegen.crossing.subjects import NOT_HERE
from sitegen.declarations import Step
from sitegen.program.model import Program, Subject, Tie
from sitegen.vocabulary import Book, Key, Measure, Readings, Refused, Result, Value, refused

LEAST_PAIRS = 2  # cylinders of an engine: with fewer there is no order in it

AGREEMENT = Measure(
    id="tie.agreement",
    title="agreement of two measures in rank within engines",
    unit="1",
    better="",
    method="Kendall's tau-b of the cylinders of each engine, all engines together: 1 where both measures put the "
    "cylinders of every engine in the same order, −1 in the opposite one. Whatever differs from engine to engine has "
    "no part in it.",
    formula="Σ (concordant − discordant) / √(Σ pairs untied in one · Σ untied in the other), pairs within engines",
    source="M. G. Kendall, Biometrika 30 (1938) 81; pairs within engines only",
    limits="It says that two measures order cylinders alike, not that one causes the other.",
    interval="",
)
CHANCE = Measure(
    id="tie.p",
    title="how often chance alone agrees as much",
    unit="1",
    better="",
    method="Share of the ways to exchange the cylinders within each engine that agree at least as much, in either "
    "sense.",
    formula="arrangements at least as far from 0 / all arrangements",
    source="stratified permutation test; every arrangement where they are few, else a seeded sample",
    limits="With few cylinders even perfect agreement cannot reach 5 %: the least share is told beside it.",
    interval="",
)
LEAST = Measure(
    id="tie.least_p",
    title="least share that chance alone could reach",
    unit="1",
    better="",
    method="The share above, were both measures to order the cylinders of every engine perfectly alike.",
    formula="2 / product over engines of (number of cylinders)!",
    source="counting; fewer arrangements where values tie",
    interval="",
)


@dataclass(frozen=True)
class Pair:
    """One cylinder with both values."""

    engine: str
    cylinder: int
    first: float
    second: float


def pairs(program: Program, tie: Tie, book: Book) -> list[Pair]:
    """Cylinders that have both values, in the order of builds; `book` gives the values of a measure by `of`."""

    def known(subject: Subject) -> dict[tuple[str, int], float]:
        return {
            (value.key.engine, value.key.cylinder): value.value
            for value in book.of(subject.measure)
            if (value.key.phase, value.key.at) == (subject.phase, subject.at)
            and value.key.cylinder
            and value.status == "ok"
            and value.value is not None
        }

    first, second = known(tie.first), known(tie.second)
    return [
        Pair(build.id, place.cylinder, first[build.id, place.cylinder], second[build.id, place.cylinder])
        for build in program.builds
        for place in build.places
        if (build.id, place.cylinder) in first and (build.id, place.cylinder) in second
    ]


def run(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """Agreement in rank of each pair the program ties."""
    del engine, readings
    if not program.ties:
        return
    from sitegen.methods import ties

    for tie in program.ties:
        key = Key(at=tie.id)
        if not (book.knows(tie.first.measure) and book.knows(tie.second.measure)):
            yield Value(AGREEMENT.id, key, status="missing", reason=NOT_HERE)
            continue
        held = pairs(program, tie, book)
        counts = {build.id: sum(pair.engine == build.id for pair in held) for build in program.builds}
        held = [pair for pair in held if counts[pair.engine] >= LEAST_PAIRS]
        if not held:
            yield refused(AGREEMENT.id, key, Refused("few-tied-cylinders"))
            continue
        try:
            found = ties.rank_agreement(
                [pair.first for pair in held], [pair.second for pair in held], [pair.engine for pair in held]
            )
        except Refused as why:
            yield refused(AGREEMENT.id, key, why)
            continue
        yield Value(AGREEMENT.id, key, found.tau, n=len(held), of="cylinder")
        yield Value(CHANCE.id, key, found.p, n=len(held), of="cylinder")
        yield Value(LEAST.id, key, found.least_p, n=len(held), of="cylinder")


def step(measures: Iterable[Measure]) -> Step:
    """The step, given every measure a program may tie."""
    return Step(
        name="ties",
        gives=(AGREEMENT, CHANCE, LEAST),
        run=run,
        needs=tuple(sorted(measure.id for measure in measures)),
        scope="program",
    )
