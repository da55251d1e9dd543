"""What is known of a coating over all programs of a folder: every build's value, and where the next one may lie."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from statistics import fmean
from typing import Protocol

from sitegen.methods import prediction
from sitegen.program.model import Program, Subject
from sitegen.vocabulary import Comparison, Key, Measure, Refused, Value


class Analysed(Protocol):
    """What is known about one program."""

    @property
    def program(self) -> Program: ...
    @property
    def values(self) -> Mapping[tuple[str, Key], Value]: ...
    @property
    def comparisons(self) -> Sequence[Comparison]: ...
    @property
    def results_id(self) -> str: ...


@dataclass(frozen=True)
class Point:
    """One build of a coating in one measure: the mean over its cylinders that hold the coating.

    Of a positive measure that is compared as a ratio the geometric mean, as a comparison takes it.
    """

    program: str
    build: str
    value: float  # in the unit of the measure
    cylinders: int  # 0: a value of the whole build
    mixed: bool  # the engine held other coatings too
    flags: frozenset[str]
    results: str  # id of the results it was taken from


@dataclass(frozen=True)
class History:
    """All builds of a coating in one subject, and the 95 % prediction interval of the next build."""

    coating: str
    subject: Subject
    points: tuple[Point, ...]  # by program, then in the order of building
    mean: float | None = None
    low: float | None = None
    high: float | None = None
    reason: str = ""  # why there is no interval


def histories(analyses: Iterable[Analysed], measures: Mapping[str, Measure]) -> dict[str, tuple[History, ...]]:
    """By coating, the history of everything any program of the folder compares."""
    every = list(analyses)
    subjects: dict[Subject, None] = {}
    for role in ("primary", "criterion", "exploratory"):
        for analysis in every:
            for row in analysis.comparisons:
                if row.role == role:
                    subjects.setdefault(Subject(row.measure, row.phase, row.at))
    coatings = dict.fromkeys(coating for analysis in every for coating in analysis.program.coatings)
    found: dict[str, tuple[History, ...]] = {}
    for coating in coatings:
        made = [_history(coating, subject, every, measures[subject.measure]) for subject in subjects]
        found[coating] = tuple(each for each in made if each.points)
    return found


def _history(coating: str, subject: Subject, analyses: Sequence[Analysed], measure: Measure) -> History:
    held = [_values(coating, subject, analysis) for analysis in analyses]
    ratio = measure.compare == "ratio" and all(
        (value.value or 0.0) > 0 for own in held for values in own.values() for value in values
    )
    points = tuple(
        point
        for analysis, own in zip(analyses, held, strict=True)
        for point in _points(coating, analysis, own, ratio=ratio)
    )
    numbers = [math.log(point.value) if ratio else point.value for point in points]
    try:
        mean, low, high = prediction.next_value(numbers)
    except Refused as why:
        return History(coating, subject, points, reason=why.code)
    if ratio:
        mean, low, high = (math.exp(end) for end in (mean, low, high))
    return History(coating, subject, points, mean, low, high)


def _values(coating: str, subject: Subject, analysis: Analysed) -> dict[str, list[Value]]:
    """The values of a coating by build."""
    own: dict[str, list[Value]] = {}
    for (measure, key), value in analysis.values.items():
        same = (measure, key.phase, key.at, key.coating) == (subject.measure, subject.phase, subject.at, coating)
        if same and value.status == "ok" and value.value is not None:
            own.setdefault(key.engine, []).append(value)
    return own


def _points(coating: str, analysis: Analysed, own: Mapping[str, list[Value]], *, ratio: bool) -> list[Point]:
    program = analysis.program
    made = []
    for build in sorted(program.builds, key=lambda build: build.built):
        values = own.get(build.id, [])
        by_cylinder = [value for value in values if value.key.cylinder]
        used = by_cylinder or values
        whole = sum(place.coating == coating for place in build.places)
        if not used or (by_cylinder and len(by_cylinder) < whole):
            continue  # a mean over other cylinders than those of its neighbours is another quantity
        made.append(
            Point(
                program.id,
                build.id,
                _mean([value.value or 0.0 for value in used], ratio=ratio),
                len(by_cylinder),
                len(build.coatings) > 1,
                frozenset().union(*(value.flags for value in used)),
                analysis.results_id,
            )
        )
    return made


def _mean(values: Sequence[float], *, ratio: bool) -> float:
    return math.exp(fmean(map(math.log, values))) if ratio and len(values) > 1 else fmean(values)
