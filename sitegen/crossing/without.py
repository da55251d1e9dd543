"""What the primary comparison rests on: its answer without each build, and without cylinders that a fit leaves out.

No second answer: all builds count. What is told is how far the estimate moves, and how far it usually does where no
build is out of line.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping

import numpy as np

from sitegen.crossing import comparing
from sitegen.crossing.comparing import Answer, Laid
from sitegen.crossing.history import OWN_SCALE
from sitegen.methods import contrasts
from sitegen.program.model import Program, Subject
from sitegen.vocabulary import Book, Comparison, Key, Measure, Refused, Value

IN_FIT = "own-scale"  # `at` of the answer without the cylinders that the curves of their builds leave out
DRAWS, SEED = 2000, 20261129

WITHOUT = Measure(
    id="comparison.without",
    title="primary comparison without one build",
    unit="1",
    better="",
    method="The primary comparison once more, with a build left out, or with the cylinders left out that seat on "
    "another scale than the others of their engine: candidate over reference, or their difference in the unit of the "
    "measure.",
    formula="as the comparison, by the design that is left",
    source="leaving out one at a time: R. D. Cook, S. Weisberg, Residuals and influence in regression, 1982, ch. 3",
    limits="No second answer: all builds count. Were the best of them taken for the result, coatings that are alike "
    "would be told apart in 18 to 20 % of simulated programs with three to six builds each, not in 5. Where coatings "
    "lie three scatters of builds apart, one build can be found without which the interval reaches across no "
    "difference in 42 % of programs with three builds each, in 14 % with four, in 1 % with six. Only a cause recorded "
    "without knowing the result leaves a build out.",
    of_primary=True,
)
LARGEST = Measure(
    id="comparison.largest_move",
    title="largest move of the primary comparison when a build is left out",
    unit="1",
    better="",
    method="How far the estimate moves when the build is left out that moves it most, in standard errors.",
    formula="max |estimate without a build − estimate| / standard error of the estimate; logarithms of ratios",
    source="definition",
    interval="",
)
USUAL = Measure(
    id="comparison.usual_move",
    title="usual largest move when a build is left out",
    unit="1",
    better="",
    method="What half of all programs exceed that are laid out alike and in which no build is out of line.",
    formula="median of the largest move over 2000 seeded draws of normal values in the places of this program",
    source="own simulation: 0.8 standard errors with three builds of each of two coatings, 0.7 with four, 0.6 with six",
    limits="All values of the comparison are taken to scatter alike and independently.",
    interval="",
)
GIVES = (WITHOUT, LARGEST, USUAL)


def answers(program: Program, measures: Mapping[str, Measure], book: Book) -> Iterable[Value]:
    """The primary comparison of each candidate that has an answer, with something left out."""
    subject = Subject(program.primary_measure, program.primary_phase, program.primary_at)
    measure = measures.get(subject.measure)
    if measure is None:
        return
    blank = comparing.blank_rows(program, measure, subject, "primary", 1)
    try:
        laid = comparing.laid_out(program, measure, subject, book)
    except Refused:
        return
    rows, found = comparing.answered(program, measure, laid, blank, 1)
    left = {build: laid.without([build]) for build in dict.fromkeys(spot.build for spot in laid.kept.spots)}
    again = {build: comparing.answered(program, measure, part, blank, 1) for build, part in left.items()}
    fitted = laid.without((), _out_of_fit(measures, book))
    for candidate, row in rows.items():
        if candidate not in found or row.estimate is None:
            continue
        pair = {candidate, program.reference}
        own = [build for build in again if pair & set(program.build(build).coatings)]
        for build in own:
            yield _told(again[build][0][candidate], Key(build, 0, candidate, subject.phase, subject.at))
        key = Key("", 0, candidate, subject.phase, subject.at)
        moved = {build: left[build] for build in own if candidate in again[build][1]}
        others = [again[build][0][candidate] for build in moved]
        yield from _moves(
            program, row, found[candidate], laid, others, moved, {b: again[b][1][candidate] for b in moved}, key
        )
        if pair & {spot.coating for spot in set(laid.kept.spots) - set(fitted.kept.spots)}:
            less, _ = comparing.answered(program, measure, fitted, blank, 1)
            yield _told(less[candidate], key._replace(at=IN_FIT))


def _out_of_fit(measures: Mapping[str, Measure], book: Book) -> set[tuple[str, int]]:
    """Build and cylinder of those that seat on a scale of their own."""
    return {
        (value.key.engine, value.key.cylinder)
        for measure in measures.values()
        if measure.fit
        for value in book.of(measure.id)
        if value.reason == OWN_SCALE
    }


def _told(row: Comparison, key: Key) -> Value:
    if row.verdict == "refused":
        return Value(WITHOUT.id, key, status="refused", reason=row.reason)
    return Value(WITHOUT.id, key, row.estimate, row.low, row.high, n=row.builds + row.builds_reference, of="build")


def _moves(
    program: Program, row: Comparison, answer: Answer, laid: Laid, others: Iterable[Comparison],
    left: Mapping[str, Laid], again: Mapping[str, Answer], key: Key,
) -> Iterable[Value]:  # fmt: skip
    """The largest move in standard errors, and what it usually is."""

    def scaled(one: Comparison) -> float | None:
        return None if one.estimate is None else math.log(one.estimate) if row.scale == "ratio" else one.estimate

    whole = scaled(row)
    moves = [abs(at - whole) for one in others if (at := scaled(one)) is not None and whole is not None]
    if not moves or not row.se:
        return
    yield Value(LARGEST.id, key, max(moves) / row.se, n=len(moves), of="build")
    if answer.made.procedure == comparing.LENT or any(each.made.procedure == comparing.LENT for each in again.values()):
        return
    values = np.random.default_rng(SEED).standard_normal((len(laid.kept.spots), DRAWS))
    place = {spot: at for at, spot in enumerate(laid.kept.spots)}
    full = contrasts.contrast(answer.made, laid.kept.spots, values, row.coating, program.reference, laid.extra)
    usual = np.zeros(DRAWS)
    for build, part in left.items():
        some = values[[place[spot] for spot in part.kept.spots]]
        one = contrasts.contrast(again[build].made, part.kept.spots, some, row.coating, program.reference, part.extra)
        usual = np.maximum(usual, np.abs(one.estimate - full.estimate))
    yield Value(USUAL.id, key, float(np.median(usual / full.se)), n=len(moves), of="build")
