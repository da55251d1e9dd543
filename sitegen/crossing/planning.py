"""Before the first start: who gets which coating, what the program can show, how many builds it takes."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from sitegen.crossing import allocation
from sitegen.methods import power
from sitegen.program.model import Program
from sitegen.vocabulary import Comparison, Measure, Smallest, Stream

POWER = 0.8
MOST = 60  # builds of a coating beyond which no number is given
WHOLE = ("pooled", "welch", "borrowed")  # procedures whose scatter is that between builds


@dataclass(frozen=True)
class Scatter:
    """Standard deviation between builds of one coating, on the scale a measure is compared on."""

    measure: str
    sd: float  # relative (natural log) for ratios, else in the unit of the measure
    df: float | None  # None: typed in, taken as known
    source: str  # "typed in", or the comparison it comes from


@dataclass(frozen=True)
class Reach:
    """What builds of each coating find of a measure."""

    measure: Measure
    scatter: Scatter
    sd_high: float  # upper 80 % limit of the scatter
    builds: int  # planned of each coating
    detectable: float | None  # difference found with power 0.8 at the scatter as known; share or amount; None: no df
    detectable_high: float | None  # at the upper limit of the scatter
    worth: float | None  # share of the reference's level asked for
    needed: tuple[int, int | None] | None  # builds of each coating that find it, as a range


@dataclass(frozen=True)
class Planning:
    """Everything `plan` says of one program."""

    program: Program
    scheme: str
    seed: int | None
    drawn: allocation.Lots | None  # by the scheme and the seed; None: no scheme that can be drawn, or no seed
    actual: allocation.Lots  # as listed in the program file
    follows: bool
    smallest: tuple[tuple[str, Smallest], ...]  # stream, what its instruments can show
    reaches: tuple[Reach, ...]
    units: Mapping[str, str]  # of the measures of `smallest`
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
) -> Planning:
    """The plan of a program, from its file, its results so far and what is typed in.

    `typed` gives the scatter between builds by measure (relative for measures compared as ratios, else in their unit),
    `builds` the number of builds in all, `seed` and `scheme` stand in for those of the program file.
    """
    total = builds or program.planned_builds
    asked = scheme or program.allocation_scheme
    number = program.allocation_seed if seed is None else seed
    known = {each.measure: each for each in _own(comparisons)}
    known |= {name: Scatter(name, sd, None, "typed in") for name, sd in (typed or {}).items()}
    each = max(2, total // len(program.coatings))
    wanted = list(dict.fromkeys([program.primary_measure, *_judged(program, comparisons), *known]))
    levels = {row.measure: row.level_reference for row in comparisons if row.level_reference}
    reaches = [
        _reach(measures[name], known[name], each, len(program.coatings), program.worth_finding, levels.get(name))
        for name in wanted
        if name in known
    ]
    smallest = [
        (stream.name, found) for stream in streams if stream.smallest is not None for found in stream.smallest(program)
    ]
    return Planning(
        program=program,
        scheme=asked,
        seed=number,
        drawn=None if number is None else _drawn(program, asked, total, number),
        actual=allocation.actual(program),
        follows=allocation.follows(program),
        smallest=tuple(smallest),
        reaches=tuple(reaches),
        units={found.measure: measures[found.measure].unit for _, found in smallest},
        without=tuple(name for name in wanted if name not in known),
    )


def _judged(program: Program, comparisons: Iterable[Comparison]) -> list[str]:
    named = [row.measure for row in comparisons]
    return [*named, *(subject.measure for subject in program.also)]


def _own(comparisons: Iterable[Comparison]) -> list[Scatter]:
    """Scatter between builds from the program's own whole builds: the independent part of a difference, taken apart."""
    found = []
    for row in comparisons:
        if row.procedure not in WHOLE or not row.se or row.df is None or not (row.builds and row.builds_reference):
            continue
        spread = 1 / row.builds + 1 / row.builds_reference
        found.append(Scatter(row.measure, row.se / math.sqrt(spread), row.df, "own builds"))
    return found[::-1]  # the first of a measure wins where they are laid out by measure


def _drawn(program: Program, scheme: str, total: int, seed: int) -> allocation.Lots | None:
    cylinders = [len(build) for build in allocation.actual(program)]
    usual = cylinders[0] if cylinders else next(iter(program.definitions.engine_types.values())).cylinders
    cylinders = [*cylinders, *[usual] * (total - len(cylinders))][:total]
    coatings = program.coatings
    whole = [coating for build in allocation.actual(program) for coating in dict.fromkeys(build)]
    if scheme != "whole builds" or len(whole) != total:  # as even as can be, the reference first
        whole = [coatings[place % len(coatings)] for place in range(total)]
    return allocation.drawn(scheme, whole if scheme == "whole builds" else coatings, cylinders, seed)


def _reach(
    measure: Measure, scatter: Scatter, each: int, coatings: int, worth: float | None, level: float | None
) -> Reach:
    df = each * coatings - coatings
    found = high = None
    sd_high = scatter.sd
    if scatter.df is not None:
        sd_high = power.scatter_limits(scatter.sd, scatter.df)[1]
    if df > 0:
        step = power.detectable(each, each, df, POWER)
        found, high = (_printed(measure, step * sd) for sd in (scatter.sd, sd_high))
    needed = None
    difference = _difference(measure, worth, level)
    if difference is not None:
        if scatter.df is None:
            one, _ = power.builds_range(scatter.sd, math.inf, difference, POWER, MOST)
            needed = (one, one if one <= MOST else None)
        else:
            needed = power.builds_range(scatter.sd, scatter.df, difference, POWER, MOST)
    return Reach(measure, scatter, sd_high, each, found, high, worth, needed)


def _difference(measure: Measure, worth: float | None, level: float | None) -> float | None:
    """The difference worth finding on the scale worked on; None where none is stated or no level is known."""
    if worth is None:
        return None
    if measure.compare == "ratio":
        return math.log1p(worth)
    return None if level is None else worth * abs(level)


def _printed(measure: Measure, difference: float) -> float:
    """A difference on the scale worked on as a share, or as an amount."""
    return math.expm1(difference) if measure.compare == "ratio" else difference
