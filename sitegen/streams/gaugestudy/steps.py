"""From the readings of gauge studies to what repeats, operators and objects scatter by."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np

from sitegen.declarations import Step
from sitegen.methods import gauge_study as method
from sitegen.methods.intervals import student_95
from sitegen.methods.leakdown import pooled_repeats
from sitegen.program.model import Program
from sitegen.streams.gaugestudy.fields import Reading
from sitegen.streams.gaugestudy.measures import (
    BETWEEN,
    CATEGORIES,
    CYLINDERS,
    GAUGE,
    INTERACTION,
    OPERATOR,
    OTHER,
    PARTS,
    REPEAT,
    SHARE,
    TOLERANCE,
)
from sitegen.streams.gaugestudy.studies import (
    Study,
    Thing,
    area_of,
    blind_told,
    order_told,
    split_by_coating,
    studies,
    thing,
)
from sitegen.tables.rows import given, rows_in
from sitegen.vocabulary import Book, Key, Measure, Readings, Refused, Result, Value, refused

OF_OPERATORS = (OPERATOR, INTERACTION, GAUGE, PARTS, SHARE, CATEGORIES)
SUPERSEDED, NEGATIVE = "study-superseded", "variance-negative"  # flags


def run(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """Every study of the program with each of its testers, and what the newest of a tester says of other operators."""
    del engine, book
    found = studies(rows_in(readings["gaugestudy"], Reading))
    logs: dict[str, method.Floats] = {}
    newest: dict[str, tuple[str, str]] = {}
    told: list[tuple[Study, method.Analysis | None, list[Value]]] = []
    for study in found:
        try:
            y = _logs(program, study)
            analysed = method.analysis(y)
        except Refused as why:
            told.append((study, None, [refused(each.id, Key(at=study.at), why) for each in (REPEAT, *OF_OPERATORS)]))
            continue
        logs[study.at] = y
        if analysed.tells_operators:
            newest[study.tester] = max(newest.get(study.tester, ("", "")), (study.day, study.name))
        told.append((study, analysed, list(_values(program, study, analysed))))
    for study, result, values in told:
        counts = newest.get(study.tester, ("", study.name))[1] == study.name
        yield from values if counts else (replace(each, flags=each.flags | {SUPERSEDED}) for each in values)
        if counts and result is not None and result.tells_operators:
            sd, df = result.of_other_operator
            yield Value(OTHER.id, Key(at=study.tester), 100 * student_95(df) * sd, n=result.operators)
    yield from _between(found, logs)


def _logs(program: Program, study: Study) -> method.Floats:
    """ln(area) by object, operator and repeat.

    Refuses: `operators-split-by-coating`, `gauge-unbalanced`, and as `area_of`.
    """
    if split_by_coating(program, study):
        raise Refused("operators-split-by-coating")
    rows = [(thing(row), row.operator, math.log(area_of(program, row))) for row in study.rows]
    return method.balanced(rows)[2]


def _values(program: Program, study: Study, found: method.Analysis) -> Iterator[Value]:
    told = {order_told(study), blind_told(study)}
    told |= set() if all(given(row.anew) for row in study.rows) else {"anew-not-recorded"}
    flags = frozenset(told - {""})
    key, count = Key(at=study.at), len(study.rows)

    def value(
        measure: Measure, each: method.Component, scale: float = 100.0, df: float | None = None, n: int = count
    ) -> Value:
        own = flags | ({NEGATIVE} if each.negative else set())
        ends = (scale * each.low, scale * each.high)
        return Value(measure.id, key, scale * each.sd, *ends, df=df, n=n, of="reading", flags=own)

    yield value(REPEAT, found.of_repeats, df=found.error.df)
    cells: dict[tuple[Thing, str], list[float]] = {}
    for row in study.rows:
        cells.setdefault((thing(row), row.operator), []).append(area_of(program, row))
    groups = [own for (what, _), own in cells.items() if what.kind == "cylinder"]
    if groups:
        scatter = pooled_repeats(groups)
        yield value(CYLINDERS, method.of_one(scatter.sd, int(scatter.df)), df=scatter.df, n=sum(map(len, groups)))
    if not found.tells_operators:
        yield from (refused(each.id, key, Refused("few-operators")) for each in OF_OPERATORS)
        return
    scaled = ((OPERATOR, found.of_operators, 100.0), (INTERACTION, found.of_interaction, 100.0),
              (GAUGE, found.of_gauge, 100.0), (PARTS, found.of_parts, 100.0), (SHARE, found.share, 100.0),
              (CATEGORIES, found.categories, 1.0))  # fmt: skip
    yield from (value(*each) for each in scaled)
    if program.leakdown.allowed is not None:
        low, high = program.leakdown.allowed
        yield value(TOLERANCE, found.of_gauge, 600 / math.log(high / low))


def _between(found: Sequence[Study], logs: Mapping[str, method.Floats]) -> Iterator[Value]:
    """Every pair of testers that the same operators read the same objects with in one study."""
    named: dict[str, list[Study]] = {}
    for study in found:
        if study.at in logs:
            named.setdefault(study.name, []).append(study)
    for own in named.values():
        for first, second in combinations(own, 2):
            key = Key(at=f"{first.name}/{first.tester}:{second.tester}")
            same = set(first.things) == set(second.things) and set(first.operators) == set(second.operators)
            if not same:
                yield refused(BETWEEN.id, key, Refused("testers-read-other-objects"))
                continue
            rows, columns = ({each: at for at, each in enumerate(of)} for of in (second.things, second.operators))
            objects = [rows[each] for each in first.things]
            operators = [columns[each] for each in first.operators]
            try:
                off = method.testers(logs[first.at], logs[second.at][np.ix_(objects, operators)])
            except Refused as why:
                yield refused(BETWEEN.id, key, why)
                continue
            middle, low, high = (100 * math.expm1(each) for each in (off.value, off.low, off.high))
            yield Value(BETWEEN.id, key, middle, low, high, n=off.df + 1)


STEP = Step(
    name="gauge-study",
    gives=(REPEAT, CYLINDERS, *OF_OPERATORS, TOLERANCE, BETWEEN, OTHER),
    run=run,
    reads=("gaugestudy",),
    scope="program",
)
