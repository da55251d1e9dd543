"""Who read: what another operator may do to a leak area, and whether operators can be told from builds and coatings."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

from sitegen.declarations import Step
from sitegen.methods.gauge_study import groups
from sitegen.program.model import Program
from sitegen.streams.leakdown.fields import Reading
from sitegen.streams.leakdown.measures import APART, BY_OPERATOR, OPERATOR_SCATTER, OTHER_OPERATOR
from sitegen.tables.rows import given, rows_in
from sitegen.vocabulary import Book, Key, Readings, Refused, Result, Value, refused

SPLIT = "operators-by-coating"  # flag: no operator read two coatings


def operator_of(program: Program, row: Reading) -> str:
    """Who took a reading: as its record says, else who the build names; "" where neither does."""
    if given(row.operator):
        return str(row.operator)
    return next((build.operator for build in program.builds if build.id == row.engine), "")


def run(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """What operators do, by tester; and each phase (all of them: "") at which they cannot be told from builds."""
    del engine
    rows = [row for row in rows_in(readings["leakdown"], Reading) if row.use == "" and given(row.cylinder)]
    rows = [row for row in rows if operator_of(program, row)]
    for tester in sorted({row.tester for row in rows}):
        several = len({operator_of(program, row) for row in rows if row.tester == tester}) > 1
        found = book.get(OTHER_OPERATOR, Key(at=tester))
        if several and found is not None and found.value is not None:
            yield Value(BY_OPERATOR.id, Key(at=tester), found.value, n=found.n)
    here = {build.id for build in program.builds}  # a step may look at some of them alone
    rows = [row for row in rows if row.engine in here]
    for phase in ("", *(each.id for each in program.phases)):
        own = [row for row in rows if phase in {"", row.phase}]
        yield from _apart(program, phase, own, book)


def _apart(program: Program, phase: str, rows: Sequence[Reading], book: Book) -> Iterator[Value]:
    """Nothing where one operator read, or readings of all builds hang together through their operators."""
    pairs = {(row.engine, operator_of(program, row)) for row in rows}
    builds, operators = ({pair[at] for pair in pairs} for at in (0, 1))
    if len(builds) < 2 or len(operators) < 2 or groups(pairs) < 2:
        return
    coatings: dict[str, set[str]] = {}
    for row in rows:
        coating = program.build(row.engine).coating_of(int(row.cylinder))
        coatings.setdefault(operator_of(program, row), set()).add(coating)
    every = set().union(*coatings.values())
    flags = frozenset({SPLIT} if len(every) > 1 and all(len(each) == 1 for each in coatings.values()) else ())
    most = _most(book, {row.tester for row in rows})
    if most is None:
        yield replace(refused(APART.id, Key(phase=phase), Refused("no-gauge-study")), flags=flags, n=len(operators))
        return
    yield Value(APART.id, Key(phase=phase), 2 * math.sqrt(2) * most, n=len(operators), flags=flags)


def _most(book: Book, testers: set[str]) -> float | None:
    """The largest upper limit [%] of the scatter of operators by the studies that count for these testers."""
    found = [
        value.high
        for value in book.of(OPERATOR_SCATTER)
        if value.high is not None and "study-superseded" not in value.flags
        and value.key.at.rpartition("/")[2] in testers
    ]  # fmt: skip
    return max(found, default=None)


STEP = Step(
    name="leak-operators",
    gives=(BY_OPERATOR, APART),
    run=run,
    reads=("leakdown",),
    needs=(OTHER_OPERATOR, OPERATOR_SCATTER),
    scope="program",
)
