"""Which cylinder of an engine is odd over the measures that show whether rings ran in; and how sure that is.

Leak, contact band and mass lost, each in its declared sense, at the phase of the primary comparison or else the last
one an engine has. Engines that have the same measures pool their scatter; the cut is for all cylinders of the program.
Grades stay out: steps of a scale are no normal values, and who grades may know the leak. Exhaust temperatures stay out:
mixture and ignition move them more than any leak past rings, so that they would only hide what the others show.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING

from sitegen.declarations import Step
from sitegen.program.model import Build, Program, Subject
from sitegen.rounding import interval
from sitegen.vocabulary import Book, Key, Measure, Readings, Refused, Result, Value, Verdict

if TYPE_CHECKING:
    from sitegen.methods.odd import Scores

RULE = "odd"
ODD, NOT_ODD, OPEN = "odd", "not odd", "cannot tell"
ROUTE = "number-at-most"
ERROR = 0.05  # that some cylinder of the program is called odd where none is
LEAST = 3  # cylinders of an engine with a score: with two, neither is the odd one
PLACES = {"": "", "ring": "top", "inspected place": "top-ring"}  # the top ring is the one that runs in

DEVIATION = Measure(
    id="odd.deviation",
    title="deviation of a cylinder from its engine",
    unit="1",
    better="",
    method="How far a cylinder lies from the mean of its engine, and of its coating where the engine holds several, in "
    "scatters of cylinders within engines. Positive in the sense in which a cylinder lies that has not run in: more "
    "leak, a narrower contact band, less mass lost.",
    formula="± (value − mean of the engine) / s; s pooled over the engines that have the same measures; logarithms of "
    "what is compared as a ratio",
    source="least squares on engine and coating, residual mean square",
    limits="An odd cylinder widens the scatter it is held against. What every engine does alike to one place, such as "
    "a colder end cylinder, is not taken out.",
    interval="",
)
CHANCE = Measure(
    id="odd.p",
    title="how often chance alone puts some cylinder as far off",
    unit="1",
    better="",
    method="The deviations of a cylinder in all its measures are added to one score, which is held against the scatter "
    "of the scores of all other cylinders. Told is how often some cylinder of the program would lie as far off if none "
    "were odd; from 5 % down it is called odd.",
    formula="cylinders · P(t > score's residual / scatter of the others'), t on engines · (cylinders − 1) − 1 degrees "
    "of freedom; Bonferroni over all cylinders, one-sided",
    source="deleted residual: R. D. Cook, S. Weisberg, Residuals and influence in regression, 1982, ch. 2; one score "
    "for several measures: own simulation, some cylinder wrongly odd in 4.6 to 5.5 % of programs of one to six engines",
    limits="A cylinder that asks for an explanation, not one to leave out. To be last of its engine in every measure "
    "is less: of four cylinders one is, by chance, in 25 % of engines with two measures, in 6 % with three. Simulated "
    "with normal scatter; where it has heavy tails (t on 4 to 8 degrees of freedom) some cylinder is wrongly odd in 5 "
    "to 15 % of programs, where engines scatter as 1 to 2, in 9 %. Three measures off by three scatters are found in "
    "38, 70 and 83 % of single engines of four, six and eight cylinders, in 85 % with six engines of four.",
    interval="",
)


class _Odd:
    """Runs on the measures it was made with. A class, not a closure, so that processes can be handed it."""

    def __init__(self, measures: Mapping[str, Measure]) -> None:
        self._measures = dict(measures)

    def __call__(self, program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
        del engine, readings
        return found(program, self._measures, book)


def found(program: Program, measures: Mapping[str, Measure], book: Book) -> Iterable[Result]:
    """Deviations, chance and word of every cylinder of the engines that have such measures."""
    chosen = {build.id: _subjects(program, build, measures, book) for build in program.builds}
    held = {build.id: _whole(build, chosen[build.id], book) for build in program.builds}
    scored = {name: own for name, own in held.items() if len(own) >= LEAST}
    every = sum(map(len, scored.values()))
    pooled = {of: _pooled(program, [measures[each.measure] for each in of], of, book)
              for of in dict.fromkeys(chosen[name] for name in scored)}  # fmt: skip
    for build in program.builds:
        if build.id not in scored:
            continue
        of = chosen[build.id]
        yield from _told(build, of, *pooled[of], every)
        for place in build.places:
            if place.cylinder not in scored[build.id]:
                yield _open(build.key(place.cylinder), "reading-missing")


def _subjects(program: Program, build: Build, measures: Mapping[str, Measure], book: Book) -> tuple[Subject, ...]:
    """What an engine is looked at in: a measure that is known of three in four of its cylinders, at one phase.

    Not of those known only to lie below a limit: held against their limits a single value would look odd, or none.
    Which phase depends on what was recorded, never on what it showed.
    """
    order = {phase.id: place for place, phase in enumerate(program.phases_of(build))}
    chosen = []
    for measure in measures.values():
        at = PLACES[measure.only_at]
        counts: dict[str, int] = {}
        for value in book.of(measure.id):
            if (
                value.key.engine == build.id
                and value.key.at == at
                and value.value is not None
                and _number(value) is not None
            ):
                counts[value.key.phase] = counts.get(value.key.phase, 0) + 1
        phases = [phase for phase, n in counts.items() if n >= max(LEAST, 0.75 * len(build.places)) and phase in order]
        if phases:
            phase = program.primary_phase
            chosen.append(Subject(measure.id, phase if phase in phases else max(phases, key=order.__getitem__), at))
    return tuple(chosen)


def _whole(build: Build, of: Sequence[Subject], book: Book) -> dict[int, list[float]]:
    """Numbers of the cylinders that have all of these."""
    rows: dict[int, list[float]] = {}
    for place in build.places if of else ():
        values = [book.get(each.measure, build.key(place.cylinder, each.phase, each.at)) for each in of]
        row = [number for value in values if value is not None and (number := _number(value)) is not None]
        if len(row) == len(of):
            rows[place.cylinder] = row
    return rows


def _number(value: Value) -> float | None:
    """What a value counts as: one known only to lie below a limit stands at it, where it looks the least odd."""
    if not value.key.cylinder or value.status not in {"ok", "below"}:
        return None
    number = value.high if value.value is None else value.value
    return number if number is not None and math.isfinite(number) else None


def _pooled(
    program: Program, measures: Sequence[Measure], of: Sequence[Subject], book: Book
) -> tuple[Sequence[tuple[Build, int]], Scores | Refused]:
    """Cylinders that are looked at in the same measures, and how far off each lies."""
    from sitegen.methods import odd

    pool = [(other, cylinder, row) for other in program.builds for cylinder, row in _whole(other, of, book).items()]
    columns = list(zip(*(row for _, _, row in pool), strict=True))
    logs = [measure.compare == "ratio" and min(column) > 0 for measure, column in zip(measures, columns, strict=True)]
    scaled = [[math.log(n) for n in column] if log else column for column, log in zip(columns, logs, strict=True)]
    cylinders = [(other, cylinder) for other, cylinder, _ in pool]
    try:
        return cylinders, odd.scores(
            list(zip(*scaled, strict=True)),
            [1.0 if measure.odd == "more" else -1.0 for measure in measures],
            [other.id for other, _, _ in pool],
            [other.coating_of(cylinder) for other, cylinder, _ in pool],
        )
    except Refused as why:
        return cylinders, why


def _told(
    build: Build, of: Sequence[Subject], pool: Sequence[tuple[Build, int]], scores: Scores | Refused, every: int
) -> Iterable[Result]:
    from sitegen.methods import odd

    own = [place for place, (other, _) in enumerate(pool) if other is build]
    if isinstance(scores, Refused):
        yield from (_open(build.key(pool[place][1]), scores.code) for place in own)
        return
    for place in own:
        key = build.key(pool[place][1])
        for each, deviation in zip(of, scores.deviations[place], strict=True):
            at = key._replace(phase=each.phase, at=each.measure)
            yield Value(DEVIATION.id, at, float(deviation), n=len(pool), of="cylinder")
        p, *_ = interval(odd.p_value(float(scores.t[place]), scores.df, every), None, None)
        yield Value(CHANCE.id, key, p, n=len(pool), of="cylinder")
        word = ODD if p is not None and p <= ERROR else NOT_ODD
        yield Verdict(
            RULE, key, word, limit=ERROR, found=p, route=ROUTE, deciding=CHANCE.id, error_rate=ERROR,
            adjusted_over=every,
        )  # fmt: skip


def _open(key: Key, reason: str) -> Verdict:
    return Verdict(RULE, key, OPEN, limit=ERROR, route=ROUTE, deciding=CHANCE.id, error_rate=ERROR, reason=reason)


def step(measures: Iterable[Measure]) -> Step:
    """The step, given every measure; those are looked at that say in which sense a cylinder is odd."""
    named = {measure.id: measure for measure in measures if measure.odd}
    return Step(
        name="odd cylinders",
        gives=(DEVIATION, CHANCE),
        run=_Odd(named),
        needs=tuple(sorted(named)),
        scope="program",
        revision=3,
        undecided={RULE: OPEN},
    )
