"""Builds that ended early in comparisons: censored and compared as such, never dropped.

Where what is compared ended a build, it is worse than every build that ran on, by no known amount: then whole builds
are compared by ranks. A build that ended for a cause apart stays where it has a figure at the same hour: a slope to its
own end, or the level at the last hour all builds reached. Without a stated cause it is not compared.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

from sitegen.crossing.subjects import Entries
from sitegen.methods import ended
from sitegen.program.model import Build, Program, Subject
from sitegen.vocabulary import Comparison, Measure

ERROR = 0.05
NO_CAUSE, BY_MEASURE, ELSEWHERE, GONE = (
    "ended-without-cause",
    "ended-by-measure",
    "ended-in-phase",
    "ended-before-phase",
)
RANKS = "ranks"
RANKED_ONLY = "ranked-only"
CANNOT_SPEAK, NOT_WHOLE = "ranks-cannot-speak", "ranks-need-whole-builds"


def touched(program: Program, measure: Measure, subject: Subject, build: Build) -> str:
    """What an early end of a build makes of its place in a comparison, as a code; "" nothing."""
    if build.ended is None:
        return ""
    if not measure.to_the_end:
        begun = 0.0
        for phase in program.phases:
            own = phase.seconds if phase.kind == "durability" and (not phase.only or build.id in phase.only) else 0.0
            if phase.id == subject.phase:
                break
            begun += own
        if phase.id != subject.phase or phase.kind != "durability" or build.ended.at >= begun + own:
            return ""
    if not build.ended.known:
        return NO_CAUSE
    if build.ended.by_measure:
        return BY_MEASURE
    if measure.to_the_end:
        return ""
    return ELSEWHERE if build.ended.at > begun else GONE


def compared(program: Program, measure: Measure, laid: Entries) -> Entries:
    """The entries without builds whose early end has no stated cause."""
    out = {build.id for build in program.builds if touched(program, measure, laid.subject, build) == NO_CAUSE}
    return laid.kept_at([at for at, spot in enumerate(laid.spots) if spot.build not in out]) if out else laid


def judged(program: Program, measure: Measure, laid: Entries, row: Comparison) -> Comparison:
    """A row told of builds of its two coatings that ended early; by ranks where what is compared ended one of them."""
    pair = {row.coating, row.reference}
    told = {build.id: touched(program, measure, laid.subject, build) for build in program.builds
            if pair & set(build.coatings)}  # fmt: skip
    flags = frozenset(filter(None, told.values()))
    row = replace(row, flags=row.flags | flags)
    worst = [name for name, what in told.items() if what == BY_MEASURE]
    if not worst or not measure.better:
        return row
    if any(pair <= set(build.coatings) for build in program.builds):
        return replace(_empty(row), verdict="refused", reason=NOT_WHOLE)
    own, other = (list(_figures(program, measure, laid, coating, worst)) for coating in (row.coating, row.reference))
    row = replace(_empty(row), builds=len(own), builds_reference=len(other))
    if not own or not other:
        return replace(row, verdict="refused", reason="coating-without-value")
    if min(len(own), len(other)) < 2:
        return replace(row, verdict="refused", reason="build-and-coating")
    found = ended.ranked(own, other)
    p, least = (min(1.0, each * row.adjusted_over) for each in (found.p, found.least))
    verdict = "cannot tell" if p > ERROR else "better" if found.larger != (measure.better == "less") else "worse"
    reason = CANNOT_SPEAK if least > ERROR else ""
    return replace(row, procedure=RANKS, scope="engines-to-come", p=p, least_p=least, verdict=verdict, reason=reason)  # type: ignore[arg-type]


def _empty(row: Comparison) -> Comparison:
    """The row without what follows from amounts."""
    return replace(
        row, procedure="", scope="", estimate=None, low=None, high=None, df=None, se=None, p=None, p_randomised=None,
        least_p=None, icc=None, icc_low=None, icc_high=None, effective=None, effective_low=None, effective_high=None,
    )  # fmt: skip


def _figures(program: Program, measure: Measure, laid: Entries, coating: str, worst: list[str]) -> Iterator[float]:
    """One figure a build of a coating, the mean of its cylinders; of one that the measure ended the worst there is."""
    numbers = laid.numbers()
    for build in program.builds:
        if coating not in build.coatings:
            continue
        own = [numbers[at] for at, spot in enumerate(laid.spots) if (spot.build, spot.coating) == (build.id, coating)]
        if build.id in worst:
            yield math.inf if measure.better == "less" else -math.inf
        elif own:
            yield float(sum(own) / len(own))
