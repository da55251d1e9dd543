"""Before the first start: who gets which coating, what the program can show, how many builds it takes."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from sitegen.crossing import allocation
from sitegen.declarations import Smallest, Stream
from sitegen.methods import criteria, power
from sitegen.program.model import Program
from sitegen.vocabulary import Comparison, Measure, Value

POWER = 0.8
ERROR = 0.05  # of all comparisons of one kind together
LARGEST = math.log(1e300)  # logarithm from which on a ratio counts as unbounded
MOST = 60  # builds of a coating beyond which no number is given
APART = ("pooled", "welch", "borrowed")  # procedures whose scatter is that between builds
WITHIN = ("fixed", "differences")  # procedures whose scatter is that of a difference inside a build


@dataclass(frozen=True)
class Scatter:
    """Standard deviation from build to build, on the scale a measure is compared on."""

    measure: str
    sd: float  # relative (natural log) for ratios, else in the unit of the measure
    df: float | None  # None: typed in, taken as known
    within: bool  # of the difference of two coatings inside a build, not of a coating from build to build


@dataclass(frozen=True)
class Reach:
    """What the planned builds of two coatings find of a measure."""

    measure: Measure
    candidate: str
    scatter: Scatter
    builds: int  # with the candidate; inside engines: that hold both
    builds_reference: int
    found: float | None  # difference found with power 0.8: a share for ratios, else an amount; None: nothing scatters
    found_at_worst: float | None  # the same at the upper 80 % limit of the scatter
    needed: tuple[int, int | None] | None  # builds of each coating (or holding both) that find the one worth finding


@dataclass(frozen=True)
class Planning:
    """Everything `plan` says of one program."""

    program: Program
    builds: int  # in all
    scheme: str
    seed: int | None
    drawn: allocation.Lots | None  # by the scheme and the seed; None: no scheme that can be drawn, or no seed
    actual: allocation.Lots  # as listed in the program file
    follows: bool  # the seed and the scheme give what is listed, or what of it has been built so far
    smallest: tuple[tuple[str, Smallest], ...]  # stream, what its instruments can show
    reaches: tuple[Reach, ...]
    units: Mapping[str, str]  # of the measures of `smallest`
    levels: Mapping[str, float]  # of the reference, in the unit of the measure, where it is known
    without: tuple[str, ...]  # measures compared for which no scatter is known


def plan(
    program: Program,
    streams: Sequence[Stream],
    measures: Mapping[str, Measure],
    comparisons: Iterable[Comparison] = (),
    typed: Mapping[str, float] | None = None,
    builds: int | None = None,
    seed: int | None = None,
    scheme: str = "",
    values: Iterable[Value] = (),
) -> Planning:
    """The plan of a program, from its file, its results so far and what is typed in.

    `typed` gives the scatter between builds by measure (relative for measures compared as ratios, else in their unit),
    `builds` the number of builds in all, `seed` and `scheme` stand in for those of the program file. From `values`
    streams tell what their own repeats have shown.
    """
    total = builds or program.planned_builds
    asked = scheme or program.allocation_scheme
    number = program.allocation_seed if seed is None else seed
    rows = list(comparisons)
    within = asked == "mixed in engine"
    known = {each.measure: each for each in _own(rows, within=within)}
    known |= {name: Scatter(name, sd, None, within) for name, sd in (typed or {}).items()}
    lots = None if number is None else _drawn(program, asked, total, number)
    as_listed = len(program.builds) == total and asked == program.allocation_scheme
    held = allocation.actual(program) if as_listed else lots or _even(program, total, within=within)
    wanted = list(dict.fromkeys([program.primary_measure, *(row.measure for row in rows), *_also(program), *known]))
    levels = {row.measure: row.level_reference for row in rows if row.level_reference}
    reaches = [
        found
        for name in wanted
        if name in known
        for candidate in program.candidates
        if (
            found := _reach(
                program, measures[name], candidate, known[name], held, levels.get(name), _error(program, rows, name)
            )
        )
        is not None
    ]
    so_far = tuple(values)
    smallest = [
        (stream.name, found)
        for stream in streams
        for found in (
            *(stream.smallest(program) if stream.smallest is not None else ()),
            *(stream.by_repeats(program, so_far) if stream.by_repeats is not None else ()),
        )
    ]
    return Planning(
        program=program,
        builds=total,
        scheme=asked,
        seed=number,
        drawn=lots,
        actual=allocation.actual(program),
        follows=_follows(replace(program, allocation_scheme=asked, allocation_seed=number), lots),
        smallest=tuple(smallest),
        reaches=tuple(reaches),
        units={found.measure: measures[found.measure].unit for _, found in smallest},
        levels=levels,
        without=tuple(name for name in wanted if name not in known),
    )


def _also(program: Program) -> list[str]:
    return [subject.measure for subject in program.also]


def _own(rows: Sequence[Comparison], *, within: bool) -> list[Scatter]:
    """Scatter from the program's own comparisons: the independent error of a difference, taken apart again."""
    found = []
    for row in rows:
        if not row.se or row.df is None or not (row.builds and row.builds_reference):
            continue
        if within and row.procedure in WITHIN:
            found.append(Scatter(row.measure, row.se * math.sqrt(row.builds), row.df, within=True))
        if not within and row.procedure in APART:
            spread = math.sqrt(1 / row.builds + 1 / row.builds_reference)
            found.append(Scatter(row.measure, row.se / spread, row.df, within=False))
    return found[::-1]  # of several rows of a measure the first stands


def _even(program: Program, total: int, *, within: bool) -> allocation.Lots:
    """Coatings shared out as evenly as can be, where no lots are drawn."""
    if within:
        return (program.coatings,) * total
    return tuple((program.coatings[place % len(program.coatings)],) for place in range(total))


def _drawn(program: Program, scheme: str, total: int, seed: int) -> allocation.Lots | None:
    cylinders = [len(build) for build in allocation.actual(program)]
    usual = cylinders[0] if cylinders else next(iter(program.definitions.engine_types.values())).cylinders
    cylinders = [*cylinders, *[usual] * (total - len(cylinders))][:total]
    coatings = program.coatings
    whole = [coating for build in allocation.actual(program) for coating in dict.fromkeys(build)]
    if scheme != "whole builds" or len(whole) != total:  # as even as can be, the reference first
        whole = [coatings[place % len(coatings)] for place in range(total)]
    return allocation.drawn(scheme, whole if scheme == "whole builds" else coatings, cylinders, seed)


def _follows(program: Program, lots: allocation.Lots | None) -> bool:
    listed = allocation.actual(program)
    so_far = lots is not None and bool(listed) and lots[: len(listed)] == listed
    return so_far or allocation.follows(program)


def _error(program: Program, rows: Sequence[Comparison], name: str) -> float:
    """Error left to one comparison: shared among the candidates, and of an exploratory measure among all of these.

    Bonferroni: the cut for several candidates against one reference (Dunnett) is a little lower.
    """
    looked_at = {(row.measure, row.phase, row.at) for row in rows if row.role == "exploratory"}
    exploratory = len(looked_at) or len(program.also) or 1
    return ERROR / len(program.candidates) / (1 if name == program.primary_measure else exploratory)


def _reach(
    program: Program, measure: Measure, candidate: str, scatter: Scatter, held: allocation.Lots, level: float | None,
    error: float,
) -> Reach | None:  # fmt: skip
    own = [set(build) for build in held]
    pair = {candidate, program.reference}
    if scatter.within:
        n = other = sum(pair <= build for build in own)
        df, factor = float(n - 1), math.sqrt(1 / n) if n else math.inf
    else:
        n, other = sum(candidate in build for build in own), sum(program.reference in build for build in own)
        df = float(len(own) - len(set().union(*own, set())))
        factor = math.sqrt(1 / n + 1 / other) if n and other else math.inf
    if math.isinf(factor):
        return None
    at_worst = scatter.sd if scatter.df is None else power.scatter_limits(scatter.sd, scatter.df)[1]
    found = worst = None
    if df > 0 and (scatter.within or min(n, other) > 1):
        step = power.shift(df, POWER, error) * factor
        found, worst = (_printed(measure, step * sd) for sd in (scatter.sd, at_worst))
    difference = _difference(measure, program.worth_finding, level)
    needed = None if difference is None else _needed(scatter, difference, error)
    return Reach(measure, candidate, scatter, n, other, found, worst, needed)


def _needed(scatter: Scatter, difference: float, error: float) -> tuple[int, int | None]:
    df = math.inf if scatter.df is None else scatter.df
    if scatter.within:
        return criteria.builds_needed(difference, scatter.sd, df, 0.0, MOST, error)
    return power.builds_range(scatter.sd, df, difference, POWER, MOST, error)


def _difference(measure: Measure, worth: float | None, level: float | None) -> float | None:
    """The difference worth finding on the scale worked on; None where none is stated or no level is known."""
    if worth is None:
        return None
    if measure.compare == "ratio":
        return math.log1p(worth)
    return None if level is None else worth * abs(level)


def _printed(measure: Measure, difference: float) -> float:
    """A difference on the scale worked on as a share, or as an amount."""
    if measure.compare != "ratio":
        return difference
    return math.expm1(difference) if difference < LARGEST else math.inf
