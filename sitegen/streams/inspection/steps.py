"""Steps of the inspection: bands, grades and findings of each part, and how far inspectors agree."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping, Sequence
from itertools import combinations
from operator import attrgetter
from statistics import fmean
from typing import TypeVar

from sitegen.declarations import Step
from sitegen.methods.agreement import weighted_kappa
from sitegen.program.model import Build, GradeScale, Program
from sitegen.streams.inspection.fields import FINDINGS, WORDS, Reading
from sitegen.streams.inspection.measures import AGREEMENT, BAND_SHARE, BAND_WIDTH, GRADE
from sitegen.tables.rows import given, rows_in
from sitegen.vocabulary import Book, Key, Measure, Readings, Refused, Result, Value, Verdict, refused

RULE = "inspection."  # and the finding: rule of the verdict none, light or marked
_BANDS: tuple[tuple[Measure, Callable[[Reading], float], float], ...] = (
    (BAND_SHARE, lambda row: row.band_share, 1.0),
    (BAND_WIDTH, lambda row: row.band_width, 1e3),
)  # measure, field, from SI to its unit
E = TypeVar("E")
_PAIR = "pair:"  # so that no inspector's name stands first in a cell of the result tables
_JOINER = " & "  # between two inspectors


def pair_name(one: str, other: str) -> str:
    """Two inspectors as one name; an & inside a name is doubled, so that no two pairs share one.

    >>> pair_name("A & B", "C"), pair_name("A", "B & C")
    ('pair:A && B & C', 'pair:A & B && C')
    """
    return _PAIR + _JOINER.join(name.replace("&", "&&") for name in (one, other))


def pair_of(name: str) -> tuple[str, str]:
    """The two inspectors of a pair.

    >>> pair_of(pair_name("A & B", "C"))
    ('A & B', 'C')
    """
    one, _, other = name.removeprefix(_PAIR).partition(_JOINER)
    return one.replace("&&", "&"), other.replace("&&", "&")


# ---- what was seen on each part -------------------------------------------------------------------------------------


def run_seen(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """Contact band, grade and findings of every part of one build, by cylinder and phase."""
    del book
    build = program.build(engine)
    rows = _used(readings)
    yield from _bands(build, rows)
    yield from _grades(build, rows, program.inspection)
    yield from _findings(build, rows)


def _bands(build: Build, rows: Sequence[Reading]) -> Iterator[Value]:
    for measure, width, scale in _BANDS:
        for key, seen in _by_part(build, rows, width):
            places = _grouped((place, (inspector, number)) for place, inspector, number in seen)
            means = [fmean([fmean(own) for own in _grouped(looks).values()]) for looks in places.values()]
            yield Value(measure.id, key, scale * fmean(means), n=len(means), of="place")


def _grades(build: Build, rows: Sequence[Reading], scale: GradeScale | None) -> Iterator[Value]:
    looked = dict.fromkeys((int(row.cylinder), str(row.phase)) for row in rows)
    graded = list(_by_part(build, rows, lambda row: row.grade))
    for cylinder, phase in looked:
        if scale is None or not any((key.cylinder, key.phase) == (cylinder, phase) for key, _ in graded):
            why = "no-grade" if scale is not None else "no-grade-scale"
            yield refused(GRADE.id, build.key(cylinder, phase), Refused(why))
    if scale is None:
        return
    for key, seen in graded:
        inspectors = _grouped((inspector, (place, number)) for place, inspector, number in seen)
        means = [fmean([fmean(own) for own in _grouped(looks).values()]) for looks in inspectors.values()]
        yield Value(GRADE.id, key, fmean(means), n=len(means), of="inspector")


def _findings(build: Build, rows: Sequence[Reading]) -> Iterator[Verdict]:
    """The most that any inspector saw anywhere on the part: a finding overlooked by one is still there."""
    for finding in FINDINGS:
        for key, seen in _by_part(build, rows, attrgetter(finding)):
            yield Verdict(f"{RULE}{finding}", key, max((word for *_, word in seen), key=WORDS.index))


# ---- how far inspectors agree ---------------------------------------------------------------------------------------


def run_agreement(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """Weighted kappa of every two inspectors who graded places in common, over the whole program."""
    del engine, book
    scale = program.inspection
    first: dict[str, dict[Hashable, float]] = {}  # inspector -> place -> grade at the first look
    for row in sorted(_used(readings), key=lambda row: 0 if not given(row.repeat) else row.repeat):
        if given(row.grade):
            place = (row.engine, int(row.cylinder), row.phase, row.part, "" if not given(row.place) else row.place)
            first.setdefault(str(row.inspector), {}).setdefault(place, float(row.grade))
    if not first:
        return
    if scale is None:
        yield refused(AGREEMENT.id, Key(), Refused("no-grade-scale"))
        return
    told = False
    for one, other in combinations(sorted(first), 2):
        common = [place for place in first[one] if place in first[other]]
        if not common:
            continue
        told = True
        key = Key(at=pair_name(one, other))
        try:
            found = weighted_kappa([(first[one][p], first[other][p]) for p in common], scale.low, scale.high)
        except Refused as why:
            yield refused(AGREEMENT.id, key, why)
            continue
        yield Value(AGREEMENT.id, key, found.kappa, found.low, found.high, found.se, n=found.n, of="place")
    if not told:
        yield refused(AGREEMENT.id, Key(), Refused("few-common-places"))


# ---- shared ---------------------------------------------------------------------------------------------------------


def _used(readings: Mapping[str, Readings]) -> list[Reading]:
    """Rows not set aside, with the fields as attributes."""
    return [row for row in rows_in(readings["inspection"], Reading) if row.use == ""]


def _by_part(
    build: Build, rows: Sequence[Reading], entry_of: Callable[[Reading], E]
) -> Iterator[tuple[Key, list[tuple[str, str, E]]]]:
    """What was entered in one field: place, inspector and entry, by cylinder, phase and part."""
    found: dict[Key, list[tuple[str, str, E]]] = {}
    for row in rows:
        entry = entry_of(row)
        if entry == entry:  # a missing one equals nothing, itself included
            key = build.key(int(row.cylinder), str(row.phase), str(row.part))
            place = "" if not given(row.place) else str(row.place)
            found.setdefault(key, []).append((place, str(row.inspector), entry))
    return iter(found.items())


def _grouped(pairs: Iterable[tuple[str, E]]) -> dict[str, list[E]]:
    groups: dict[str, list[E]] = {}
    for name, item in pairs:
        groups.setdefault(name, []).append(item)
    return groups


SEEN = Step(name="inspection", gives=(BAND_SHARE, BAND_WIDTH, GRADE), run=run_seen, reads=("inspection",))
AGREED = Step(
    name="inspection-agreement", gives=(AGREEMENT,), run=run_agreement, reads=("inspection",), scope="program"
)
