"""What is known of a coating over all programs of a folder: every build's value, and where the next one may lie."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from statistics import fmean
from typing import Any, Protocol, TypeVar

from sitegen.crossing import subjects
from sitegen.methods import prediction
from sitegen.program.model import Program, Subject
from sitegen.shelves import NONE, Shelves, key_of
from sitegen.vocabulary import Comparison, Key, Measure, Refused, Value

OWN_SCALE = "own-scale"  # reason of a cylinder that is not in the common fit of its build


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
    @property
    def stand(self) -> str: ...


@dataclass(frozen=True)
class Point:
    """One build of a coating in one measure: the mean over its cylinders that hold the coating."""

    program: str
    build: str
    value: float  # in the unit of the measure
    cylinders: int  # 0: a value of the whole build
    mixed: bool  # the engine held other coatings too
    flags: frozenset[str]
    results: str  # id of the results it was taken from
    without: tuple[
        int, ...
    ] = ()  # cylinders that the fit of this build leaves out: they seat on a distance of their own
    km: float | None = None  # sliding distance of its rings by then, for a measure that grows with it


@dataclass(frozen=True)
class History:
    """All builds of a coating in one subject, and the 95 % prediction interval of the next build."""

    coating: str
    subject: Subject
    points: tuple[Point, ...]  # by program, then in the order of building; builds that ran about as far
    mean: float | None = None
    low: float | None = None
    high: float | None = None
    reason: str = ""  # why there is no interval
    apart: tuple[Point, ...] = ()  # builds that ran another distance: shown, and not judged by
    lacking: tuple[tuple[str, str], ...] = ()  # program and build: a cylinder has no value there


def histories(
    analyses: Iterable[Analysed], measures: Mapping[str, Measure], shelves: Shelves = NONE
) -> dict[str, tuple[History, ...]]:
    """By coating, the history of everything any program of the folder compares.

    What one program tells of it lies on the shelves: else a record of one would have all of them worked out.
    """
    every = list(analyses)
    compared = [_kept(shelves, each, ("compared",), partial(_compared, each)) for each in every]
    wanted: dict[Subject, None] = {}
    for of in ("primary", "criterion", "exploratory"):
        for role, measure, *place in (row for own in compared for row in own):
            if role == of and not (measure in measures and measures[measure].of_program):
                wanted.setdefault(Subject(measure, *place))
    coatings = [*dict.fromkeys(coating for analysis in every for coating in analysis.program.coatings)]
    sought = [(coating, subject, measures[subject.measure]) for coating in coatings for subject in wanted]
    told = [_kept(shelves, each, ("history", sought), partial(_of_program, each, sought)) for each in every]
    found: dict[str, list[History]] = {coating: [] for coating in coatings}
    for number, (coating, subject, of_subject) in enumerate(sought):
        by_program = {each.program.id: own[number] for each, own in zip(every, told, strict=True)}
        made = _history(coating, subject, by_program, of_subject)
        found[coating] += [made] if made.points else []
    return {coating: tuple(own) for coating, own in found.items()}


Compared = list[list[str]]  # role, measure, phase and place
OfProgram = list[tuple[list[Point], list[str]]]  # builds with a value, and those that lack one
Told = TypeVar("Told", Compared, OfProgram)


def _kept(shelves: Shelves, analysis: Analysed, about: tuple[object, ...], make: Callable[[], Told]) -> Told:
    if not analysis.stand or not shelves.open:
        return make()
    return shelves.kept(key_of("step", about, analysis.stand, analysis.results_id), make, _packed, _unpacked)


def _packed(told: Compared | OfProgram) -> bytes:
    return json.dumps(told, default=lambda point: {**vars(point), "flags": sorted(point.flags)}).encode()


def _unpacked(content: bytes) -> Any:
    return json.loads(content, object_hook=_point)


def _point(told: dict[str, Any]) -> Point:
    return Point(**{**told, "flags": frozenset(told["flags"]), "without": tuple(told["without"])})


def _compared(analysis: Analysed) -> Compared:
    rows = dict.fromkeys((row.role, row.measure, row.phase, row.at) for row in analysis.comparisons)
    return [[*row] for row in rows]


def _of_program(analysis: Analysed, sought: Sequence[tuple[str, Subject, Measure]]) -> OfProgram:
    laid = _laid(analysis)
    return [_points(coating, subject, analysis, laid, measure) for coating, subject, measure in sought]


def _history(
    coating: str, subject: Subject, by_program: Mapping[str, tuple[Sequence[Point], Sequence[str]]], measure: Measure
) -> History:
    every = [point for points, _ in by_program.values() for point in points]
    lacking = tuple((program, build) for program, (_, without) in by_program.items() for build in without)
    ran = {at: point.km for at, point in enumerate(every) if point.km}
    kept = subjects.alike(ran)
    apart = tuple(point for at, point in enumerate(every) if at in ran and at not in kept)
    points = tuple(point for point in every if point not in apart)
    return replace(_judged(coating, subject, points, measure), apart=apart, lacking=lacking)


def _judged(coating: str, subject: Subject, points: tuple[Point, ...], measure: Measure) -> History:
    ratio = measure.compare == "ratio" and all(point.value > 0 for point in points)
    numbers = [math.log(point.value) if ratio else point.value for point in points]
    try:
        mean, low, high = prediction.next_value(numbers)
    except Refused as why:
        return History(coating, subject, points, reason=why.code)
    if ratio:
        mean, low, high = (math.exp(end) for end in (mean, low, high))
    return History(coating, subject, points, mean, low, high)


Laid = Mapping[tuple[str, str, str, str], Sequence[Value]]  # by measure, phase, place and coating


def _laid(analysis: Analysed) -> Laid:
    """Values there are, laid out once; those that stand for a cylinder on a distance of its own under that reason."""
    found: dict[tuple[str, str, str, str], list[Value]] = {}
    for (measure, key), value in analysis.values.items():
        if value.reason == OWN_SCALE:
            found.setdefault((OWN_SCALE, "", key.at, key.coating), []).append(value)
        if value.status == "ok" and value.value is not None:
            found.setdefault((measure, key.phase, key.at, key.coating), []).append(value)
    return found


def _points(
    coating: str, subject: Subject, analysis: Analysed, laid: Laid, measure_: Measure
) -> tuple[list[Point], list[str]]:
    """The builds with a value for each of their cylinders, and those that lack one of them."""
    program = analysis.program
    own: dict[str, list[Value]] = {}
    odd: dict[str, set[int]] = {}
    for value in laid.get((OWN_SCALE, "", subject.at, coating), ()) if measure_.fit else ():
        odd.setdefault(value.key.engine, set()).add(value.key.cylinder)
    for value in laid.get((subject.measure, subject.phase, subject.at, coating), ()):
        own.setdefault(value.key.engine, []).append(value)
    made, lacking = [], []
    for build in sorted(program.builds, key=lambda build: build.built):
        values = own.get(build.id, [])
        by_cylinder = [value for value in values if value.key.cylinder]
        used = by_cylinder or values
        whole = sum(place.coating == coating for place in build.places)
        if not used or (by_cylinder and len(by_cylinder) < whole):
            # a mean over other cylinders than those of its neighbours is another quantity
            lacking += [build.id] if used else []
            continue
        ran = analysis.values.get((subjects.EXPOSURE, build.key(phase=subject.phase)))
        made.append(
            Point(
                program.id,
                build.id,
                _mean([value.value or 0.0 for value in used], measure_),
                len(by_cylinder),
                len(build.coatings) > 1,
                frozenset().union(*(value.flags for value in used)),
                analysis.results_id,
                () if by_cylinder else tuple(sorted(odd.get(build.id, ()))),
                ran.value if measure_.grows and subject.phase and ran is not None else None,
            )
        )
    return made, lacking


def _mean(values: Sequence[float], measure: Measure) -> float:
    """The mean over cylinders as comparisons take it: the geometric one of what is compared as a ratio."""
    if measure.compare == "ratio" and len(values) > 1 and min(values) > 0:
        return math.exp(fmean(map(math.log, values)))
    return fmean(values)
