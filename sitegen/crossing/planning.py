"""Before the first start: who gets which coating, what the program can show, how many builds it takes."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache, partial
from statistics import median

from sitegen.crossing import allocation
from sitegen.crossing.subjects import APART as CONDITION
from sitegen.declarations import Smallest, Stream
from sitegen.methods import contrasts, design, power
from sitegen.program.model import Program, Subject
from sitegen.vocabulary import Comparison, Measure, Refused, Value

POWER = 0.8
ERROR = 0.05  # of all comparisons of one kind together
LARGEST = math.log(1e300)  # logarithm from which on a ratio counts as unbounded
MOST = 60  # builds of a coating beyond which no number is given
STEPS = (2, 3, 4, 5, 6, 8, 10, 12, 16, 20)  # builds of each coating that a curve is told at
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
    these_engines: bool = False  # what is found speaks of the engines built, not of those to come
    phase: str = ""
    at: str = ""
    middle: int | None = None  # builds it takes at the scatter found; with `needed`, None: more than can be told


@dataclass(frozen=True)
class Point:
    """What so many builds would find; see `Reach`."""

    builds: int
    found: float | None
    found_at_worst: float | None
    these_engines: bool = False


@dataclass(frozen=True)
class Curve:
    """What more or fewer builds would find of one subject: builds of each coating, or holding both, and two amounts."""

    measure: Measure
    at: str
    within: bool
    points: tuple[Point, ...]


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
    levels: Mapping[str, float]  # of the reference, in the unit of the measure, where it is known; the least of several
    without: tuple[str, ...]  # measures compared for which no scatter is known
    curves: tuple[Curve, ...] = ()
    seen: Mapping[str, tuple[float, int]] = field(default_factory=dict)  # of the reference: median so far, of so many
    of_engines: frozenset[str] = frozenset()  # measures of whole engines, compared where engines hold several coatings


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
    known = dict(_own(program, rows, within=within))
    primary = Subject(program.primary_measure, program.primary_phase, program.primary_at)
    wanted = list(dict.fromkeys([primary, *map(_subject, rows), *program.also]))
    for name, sd in (typed or {}).items():
        named = [each for each in wanted if each.measure == name] or [Subject(name, "", "")]
        wanted += [each for each in named if each not in wanted]
        known |= {each: Scatter(name, sd, None, within) for each in named}
    lots = None if number is None else _drawn(program, asked, total, number)
    as_listed = len(program.builds) == total and asked == program.allocation_scheme
    held = allocation.actual(program) if as_listed else _held(program, asked, total, number)
    levels = {_subject(row): row.level_reference for row in rows if row.level_reference}
    of = partial(_held, program, asked, seed=number)
    reaches, curves = [], []
    for subject in (each for each in wanted if each in known):
        measure, error = measures[subject.measure], _error(program, measures, rows, subject)
        for candidate in program.candidates:
            found = _reach(program, measure, candidate, known[subject], held, levels.get(subject), error, of)
            reaches += [replace(found, phase=subject.phase, at=subject.at)] if found is not None else []
        curves.append(Curve(measure, subject.at, within, tuple(_steps(program, measure, known[subject], error, of))))
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
        levels=_least(levels),
        without=tuple(dict.fromkeys(each.measure for each in wanted if each not in known)),
        curves=tuple(curves),
        seen=_seen(program, {each.measure for _, each in smallest}, so_far),
        of_engines=frozenset(row.measure for row in rows if row.reason == "whole-engine-in-mixed"),
    )


def _subject(row: Comparison) -> Subject:
    return Subject(row.measure, row.phase, row.at)


def _least(levels: Mapping[Subject, float]) -> dict[str, float]:
    """Of several rings or phases of a measure the one with the least level: what shows it shows the others."""
    return {each.measure: level for each, level in sorted(levels.items(), key=lambda pair: -abs(pair[1]))}


def _seen(program: Program, names: Iterable[str], values: Sequence[Value]) -> dict[str, tuple[float, int]]:
    """Median [unit of the measure] of what was found so far on the reference, signs apart, and of how many."""
    whole = {build.id for build in program.builds if build.coatings == (program.reference,)}
    found = {}
    for name in names:
        own = [
            abs(each.value)
            for each in values
            if each.measure == name and each.value is not None and CONDITION not in each.key.at
            if each.key.coating == program.reference or (not each.key.coating and each.key.engine in whole)
        ]
        if own:
            found[name] = (median(own), len(own))
    return found


def _own(program: Program, rows: Sequence[Comparison], *, within: bool) -> list[tuple[Subject, Scatter]]:
    """Scatter from the program's own comparisons: the independent error of a difference, taken apart again."""
    found = []
    for row in rows:
        if not row.se or row.df is None or not (row.builds and row.builds_reference):
            continue
        if within and row.procedure in WITHIN:
            made = _inside(allocation.actual(program), row.coating, row.reference)
            same = made is not None and (made.builds, made.df) == (row.builds, row.df)
            spread = made.spread if made is not None and same else math.sqrt(1 / row.builds)
            found.append((_subject(row), Scatter(row.measure, row.se / spread, row.df, within=True)))
        if not within and row.procedure in APART:
            spread = math.sqrt(1 / row.builds + 1 / row.builds_reference)
            found.append((_subject(row), Scatter(row.measure, row.se / spread, row.df, within=False)))
    return found[::-1]  # of several rows of a subject the first stands


@dataclass(frozen=True)
class _Inside:
    """What a comparison inside engines will rest on."""

    builds: int  # that hold both
    df: float
    spread: float  # standard error over the standard deviation of the difference inside one build [-]
    to_come: bool  # whether it speaks of engines to come


@lru_cache(maxsize=256)  # asked for by every measure and curve
def _inside(held: allocation.Lots, candidate: str, reference: str) -> _Inside | None:
    """The comparison of two coatings inside these engines, by the very design it will be made by; None: none can be.

    Where positions are taken out it has a degree of freedom less and is wider than one over the root of the builds.
    """
    spots = [
        design.Spot(str(build), str(build), build, place, coating)
        for build, row in enumerate(held)
        for place, coating in enumerate(row, start=1)
    ]
    made = design.recognise(spots, candidate, reference)
    if made.reason or made.procedure not in WITHIN:
        return None
    try:
        found = contrasts.contrast(made, spots, [0.0] * len(spots), candidate, reference)
    except Refused:
        return None
    both = [row for row in held if {candidate, reference} <= set(row)]
    if made.procedure == "differences":  # each build's difference scatters alike
        own = [
            sum(w for w, s in zip(found.weights, spots, strict=True) if (s.build, s.coating) == (build, candidate))
            for build in made.builds
        ]
        spread = math.hypot(*own)
    else:  # each cylinder does
        of_one = math.fsum(1 / row.count(candidate) + 1 / row.count(reference) for row in both) / len(both)
        spread = math.hypot(*found.weights) / math.sqrt(of_one)
    return _Inside(len(both), float(found.df), spread, made.scope == "engines-to-come")


def _inside_test(made: _Inside, error: float) -> power.Test | None:
    return power.Test.student(made.df, error) if made.df > 0 else None


def _held(program: Program, scheme: str, total: int, seed: int | None) -> allocation.Lots:
    """The coatings of so many builds: by the lots, or shared out as evenly as can be where none are drawn.

    Inside engines the coatings then move on by a cylinder from build to build.
    """
    lots = None if seed is None else _drawn(program, scheme, total, seed)
    if lots is not None:
        return lots
    own = program.coatings
    if scheme != "mixed in engine":
        return tuple((own[place % len(own)],) for place in range(total))
    return tuple(
        tuple(own[(place + build) % len(own)] for place in range(count))
        for build, count in enumerate(_cylinders(program, total))
    )


def _cylinders(program: Program, total: int) -> list[int]:
    """Cylinders of so many builds: as listed, then as in the first."""
    listed = [len(build) for build in allocation.actual(program)]
    usual = listed[0] if listed else next(iter(program.definitions.engine_types.values())).cylinders
    return [*listed, *[usual] * (total - len(listed))][:total]


def _drawn(program: Program, scheme: str, total: int, seed: int) -> allocation.Lots | None:
    cylinders = _cylinders(program, total)
    coatings = program.coatings
    whole = [coating for build in allocation.actual(program) for coating in dict.fromkeys(build)]
    if scheme != "whole builds" or len(whole) != total:  # as even as can be, the reference first
        whole = [coatings[place % len(coatings)] for place in range(total)]
    return allocation.drawn(scheme, whole if scheme == "whole builds" else coatings, cylinders, seed)


def _follows(program: Program, lots: allocation.Lots | None) -> bool:
    listed = allocation.actual(program)
    so_far = lots is not None and bool(listed) and lots[: len(listed)] == listed
    return so_far or allocation.follows(program)


def _error(program: Program, measures: Mapping[str, Measure], rows: Sequence[Comparison], subject: Subject) -> float:
    """Error left to the candidates of one subject together: of an exploratory one it is shared among all of these.

    Before the first comparison those that will be made count: named in the program, else every measure offered.
    """
    roles = {_subject(row): row.role for row in rows}
    primary = Subject(program.primary_measure, program.primary_phase, program.primary_at)
    if subject == primary or roles.get(subject, "exploratory") != "exploratory":
        return ERROR
    looked_at = {each for each, role in roles.items() if role == "exploratory"} or set(program.also)
    offered = {Subject(each.id, "", "") for each in measures.values() if each.offered and each.id != primary.measure}
    return ERROR / len((looked_at or offered) | {subject})


def _steps(
    program: Program, measure: Measure, scatter: Scatter, error: float, of: Callable[[int], allocation.Lots]
) -> Iterable[Point]:
    """What 2, 3, ... builds of each coating find, or holding both, at the scatter found and at its upper limit."""
    family = len(program.candidates)
    for n in STEPS:
        if scatter.within:
            made = _inside(of(n), program.candidates[0], program.reference)
            test, factor = (None, 1.0) if made is None else (_inside_test(made, error / family), made.spread)
            here = made is not None and not made.to_come
        else:
            test, factor, here = power.whole_builds([n] * family, n, 0, error), math.sqrt(2 / n), False
        yield Point(n, *_found(measure, scatter, test, factor), here)


def _found(
    measure: Measure, scatter: Scatter, test: power.Test | None, factor: float
) -> tuple[float | None, float | None]:
    """Difference found, and at the upper limit of the scatter; None without a test."""
    if test is None:
        return None, None
    at_worst = scatter.sd if scatter.df is None else power.scatter_limits(scatter.sd, scatter.df)[1]
    step = test.shift(POWER) * factor
    return _printed(measure, step * scatter.sd), _printed(measure, step * at_worst)


def _reach(
    program: Program, measure: Measure, candidate: str, scatter: Scatter, held: allocation.Lots, level: float | None,
    error: float, of: Callable[[int], allocation.Lots],
) -> Reach | None:  # fmt: skip
    """`of` gives the coatings of any number of builds; `error` is that of all candidates together."""
    own = [set(build) for build in held]
    here, family = False, len(program.candidates)
    if scatter.within:
        n = other = sum({candidate, program.reference} <= build for build in own)
        made = _inside(held, candidate, program.reference)
        test, factor = None, 1.0 if n else math.inf
        if made is not None:
            test, factor = _inside_test(made, error / family), made.spread
        here = made is not None and not made.to_come
    else:
        counts = [sum(each in build for build in own) for each in program.candidates]
        place = program.candidates.index(candidate)
        n, other = counts[place], sum(program.reference in build for build in own)
        test = power.whole_builds(counts, other, place, error)
        factor = math.sqrt(1 / n + 1 / other) if n and other else math.inf
    if math.isinf(factor):
        return None
    found = worst = None
    if scatter.within or min(n, other) > 1:
        found, worst = _found(measure, scatter, test, factor)
    difference = _difference(measure, program.worth_finding, level)
    needed = middle = None
    if difference is not None and scatter.within:
        needed, middle = _needed_inside(
            scatter, difference, error / family, lambda n: _inside(of(n), candidate, program.reference)
        )
    elif difference is not None:
        df = math.inf if scatter.df is None else scatter.df
        needed = power.builds_range(scatter.sd, df, difference, POWER, MOST, error, family)
        middle, _ = power.builds_range(scatter.sd, math.inf, difference, POWER, MOST, error, family)
        middle = middle if middle <= MOST else None
    return Reach(measure, candidate, scatter, n, other, found, worst, needed, here, middle=middle)


def _needed_inside(
    scatter: Scatter, difference: float, error: float, inside: Callable[[int], _Inside | None]
) -> tuple[tuple[int, int | None], int | None]:
    """Builds holding both that find a difference for engines to come, at both ends of the scatter and at itself."""
    ends = (scatter.sd, scatter.sd) if scatter.df is None else power.scatter_limits(scatter.sd, scatter.df, power.END)

    def first(sd: float) -> int:
        for n in range(design.FEW_MIXED, MOST + 1):
            found = inside(n)
            if found is None or not found.to_come:
                continue
            if sd <= 0 or power.found(difference / (sd * found.spread), found.df, error) >= POWER:
                return n
        return MOST + 1

    least, most, middle = map(first, (*ends, scatter.sd))
    return (least, None if most > MOST else most), None if middle > MOST else middle


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
