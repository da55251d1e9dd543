"""What is compared, and the values that enter: one a cylinder, or one a build where a measure belongs to the whole."""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, TypeVar

import numpy as np

from sitegen.methods.design import Spot
from sitegen.program.model import Build, Program, Subject
from sitegen.vocabulary import Book, Measure, Refused, Value

Named = TypeVar("Named")
Role = Literal["primary", "criterion", "exploratory"]
EXPOSURE = "exposure.km"
NOT_HERE = "stream-not-here"  # reason: the measure is of a stream that this version does not have
ALIKE = 1.25  # longest over shortest distance run up to which wear is compared; a convention of ours, no source
APART = ":"  # in `at`: another condition of the same thing ("supply:276-kpa", "vs:cold-build"), not a place of it


@dataclass(frozen=True)
class Entries:
    """The values of one subject, laid out for the procedures."""

    subject: Subject
    spots: tuple[Spot, ...]
    values: tuple[Value, ...]  # by spot; status ok or below
    shared: tuple[float, ...]  # half-width of what one instrument does to all its readings, in the measure's unit
    awaited: tuple[str, ...]  # builds whose phase is still to come
    lacking: tuple[str, ...]  # builds of which a cylinder has no value, though its phase was run

    @property
    def flags(self) -> frozenset[str]:
        return frozenset().union(*(value.flags for value in self.values)) if self.values else frozenset()

    @property
    def censored(self) -> tuple[int, ...]:
        """Places of values known only to lie below a limit."""
        return tuple(place for place, value in enumerate(self.values) if value.status == "below")

    def numbers(self) -> np.ndarray:
        """The values; those below a limit stand at that limit. (spots,)"""
        return np.array([value.high if value.value is None else value.value for value in self.values], dtype=float)

    def kept(self, coatings: Iterable[str]) -> Entries:
        """Only the spots of some coatings."""
        wanted = set(coatings)
        return self.kept_at([place for place, spot in enumerate(self.spots) if spot.coating in wanted])

    def kept_at(self, places: Sequence[int]) -> Entries:
        """Only the spots at some places of the list."""
        return Entries(
            self.subject,
            tuple(self.spots[place] for place in places),
            tuple(self.values[place] for place in places),
            tuple(self.shared[place] for place in places),
            self.awaited,
            self.lacking,
        )


def chosen(program: Program, measures: Mapping[str, Measure], book: Book) -> list[tuple[Subject, Role]]:
    """What is compared, by what the program states; the primary first, each once."""
    found: dict[Subject, Role] = {
        Subject(program.primary_measure, program.primary_phase, program.primary_at): "primary"
    }
    for criterion in program.criteria:
        if criterion.sense in {"below-reference", "above-reference"}:
            found.setdefault(Subject(criterion.measure, criterion.phase, criterion.at), "criterion")
    also = program.also or tuple(
        subject for measure in measures.values() if measure.offered for subject in _offered(program, measure, book)
    )
    for subject in also:
        found.setdefault(subject, "exploratory")
    return list(found.items())


def _offered(program: Program, measure: Measure, book: Book) -> list[Subject]:
    """A measure in the primary phase, else in the last it was taken in, at every place two coatings have it.

    Which phase and place depends on what was recorded, never on what it showed.
    """
    places: dict[tuple[str, str], set[str]] = {}
    for value in book.of(measure.id):
        if value.key.coating and APART not in value.key.at:
            places.setdefault((value.key.phase, value.key.at), set()).add(value.key.coating)
    common = {place for place, coatings in places.items() if len(coatings) > 1}
    if not common:
        return []
    order = {phase.id: phase.order for phase in program.phases}
    phases = {phase for phase, _ in common}
    phase = (
        program.primary_phase if program.primary_phase in phases else max(phases, key=lambda each: order.get(each, -1))
    )
    return [Subject(measure.id, phase, at) for of, at in sorted(common) if of == phase]


def entries(program: Program, measure: Measure, subject: Subject, book: Book) -> Entries:
    """The values of a subject by spot, in the order of building.

    Raises Refused "whole-engine-in-mixed" where the measure belongs to whole engines and one of them holds two
    coatings.
    """
    place = (subject.phase, subject.at)
    rows = [value for value in book.of(subject.measure) if (value.key.phase, value.key.at) == place]
    by_cylinder = any(value.key.cylinder for value in rows)
    known = {(value.key.engine, value.key.cylinder, value.key.coating): value for value in rows}
    spots: list[Spot] = []
    values: list[Value] = []
    awaited, lacking = [], []
    for build in sorted(program.builds, key=lambda build: build.built):
        if subject.phase and subject.phase not in {phase.id for phase in program.phases_of(build)}:
            continue
        if not by_cylinder and len(build.coatings) > 1 and (build.id, 0, "") in known:
            raise Refused("whole-engine-in-mixed")
        complete = True
        for number, coating in _places(build, by_cylinder=by_cylinder):
            value = known.get((build.id, number, coating))
            if value is None or value.status not in {"ok", "below"} or (value.value is None and value.high is None):
                complete = False
                continue
            spots.append(Spot(build.id, build.block, build.built, number, coating))
            values.append(value)
        if build.is_due(subject.phase):
            awaited.append(build.id)
        elif not complete:
            lacking.append(build.id)
    shared = [_shared(measure, value, book) for value in values]
    return Entries(subject, tuple(spots), tuple(values), tuple(shared), tuple(awaited), tuple(lacking))


def of_like_distance(program: Program, measure: Measure, laid: Entries, book: Book) -> tuple[Entries, tuple[str, ...]]:
    """The entries of builds that ran about as far, where the measure grows with the distance; and the builds left out.

    Kept are the most builds whose distances lie within a factor `ALIKE` of each other, the farther ones where two such
    groups are as large. It depends on how far they ran, never on what was measured. Builds whose distance is not known
    stay.
    """
    if not measure.grows or not laid.subject.phase:
        return laid, ()
    ran: dict[str, float] = {}
    for build in dict.fromkeys(spot.build for spot in laid.spots):
        value = book.get(EXPOSURE, program.build(build).key(phase=laid.subject.phase))
        if value is not None and value.value:
            ran[build] = value.value
    kept = set(alike(ran))
    out = tuple(build for build in ran if build not in kept)
    return laid.kept_at([at for at, spot in enumerate(laid.spots) if spot.build not in out]), out


def alike(ran: Mapping[Named, float]) -> list[Named]:
    """Of distances by name, the most names whose distances lie within a factor `ALIKE`; the farther of equal groups."""
    along = sorted(ran.values())
    sizes = {least: bisect_right(along, ALIKE * least) - bisect_left(along, least) for least in ran.values()}
    most = max(sizes.values(), default=0)
    groups = [[name for name, km in ran.items() if least <= km <= ALIKE * least]
              for least, size in sizes.items() if size == most]  # fmt: skip
    return max(groups, key=lambda group: sum(ran[name] for name in group), default=[])


def _places(build: Build, *, by_cylinder: bool) -> list[tuple[int, str]]:
    if by_cylinder:
        return [(place.cylinder, place.coating) for place in build.places]
    return [(0, coating) for coating in build.coatings]


def _shared(measure: Measure, value: Value, book: Book) -> float:
    if not measure.shared:
        return 0.0
    found = book.get(measure.shared, value.key)
    return found.value if found is not None and found.value is not None else 0.0


def covariates(program: Program, laid: Entries, book: Book) -> np.ndarray | None:
    """Covariates of each spot, (spots, covariates); None where the program names none.

    A measure of whole engines stands for each of their cylinders. Raises Refused "covariate-missing", or
    "stream-not-here" where no stream gives it.
    """
    if not program.covariates:
        return None
    columns = []
    for each in program.covariates:
        if not book.knows(each.measure):
            raise Refused(NOT_HERE)
        known = {
            (value.key.engine, value.key.cylinder): value.value
            for value in book.of(each.measure)
            if (value.key.phase, value.key.at) == (each.phase, each.at) and value.value is not None
        }
        column = []
        for spot in laid.spots:
            number = known.get((spot.build, spot.position), known.get((spot.build, 0)))
            if number is None and not spot.position:  # of a build: the mean over its cylinders
                own = [value for (build, _), value in known.items() if build == spot.build]
                number = math.fsum(own) / len(own) if own else None
            if number is None:
                raise Refused("covariate-missing")
            column.append(number)
        columns.append(column)
    return np.array(columns).T


def common_parts(laid: Entries, weights: np.ndarray, scale: Sequence[float]) -> tuple[float, float]:
    """Standard error from what testers, lots or laboratories share, and half-width of what one instrument shares.

    `weights` carry the spots into an estimate, `scale` turns an error of a value into one on the scale worked on
    (1/value for logarithms). What both sides share cancels by the signs of the weights.
    """
    squares: dict[str, float] = {}
    halves: dict[str, float] = {}
    for weight, value, shared, turn in zip(weights, laid.values, laid.shared, scale, strict=True):
        squares[value.common] = squares.get(value.common, 0.0) + weight * turn * (value.se_common or 0.0)
        halves[value.common] = halves.get(value.common, 0.0) + weight * turn * shared
    return math.hypot(*squares.values()), math.hypot(*halves.values())
