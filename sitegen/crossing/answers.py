"""The step that answers: coatings compared, criteria decided, the rule carried out. Made for the measures there are."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from sitegen.crossing import comparing, deciding, followed, next_step, ruling, without
from sitegen.declarations import Step
from sitegen.program.model import Program
from sitegen.vocabulary import Book, Measure, Readings, Result, Verdict


class _Answers:
    """Runs on the measures it was made with. A class, not a closure, so that processes can be handed it."""

    def __init__(self, measures: Mapping[str, Measure]) -> None:
        self._measures = dict(measures)

    def __call__(self, program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
        del engine, readings
        rows = comparing.compared(program, self._measures, book)
        yield from rows
        yield from without.answers(program, self._measures, book)
        decided = list(deciding.decided(program, self._measures, book, rows))
        yield from (each for each in decided if not isinstance(each, deciding.Means | deciding.Units))
        told = [each for each in decided if isinstance(each, Verdict)]
        told += ruling.ruled(program, told)
        yield from (each for each in told if each.rule == ruling.RULE)
        facts = [each for each in decided if isinstance(each, deciding.Means | deciding.Units)]
        yield from next_step.steps(program, told, facts)


def step(measures: Iterable[Measure]) -> Step:
    """The step, given every measure that can be compared or judged."""
    named = {measure.id: measure for measure in measures}
    return Step(
        name="answers",
        gives=(*deciding.GIVES, *next_step.GIVES, *without.GIVES),
        run=_Answers(named),
        needs=tuple(sorted(named)),
        scope="program",
        revision=6,
        undecided={deciding.RULE.rstrip(":"): deciding.CANNOT},
        follow=followed.followed,
    )
