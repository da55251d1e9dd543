"""Words that follow from other words, once more where a doubt of an instrument left some of those open."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

from sitegen.crossing import deciding, next_step, ruling
from sitegen.methods import criteria as method
from sitegen.program.model import Criterion, Program
from sitegen.reasons import DIFFERS
from sitegen.vocabulary import Verdict


def followed(
    program: Program, own: Sequence[Verdict], other: Sequence[Verdict], told: Sequence[Verdict]
) -> Iterable[Verdict]:
    """Answers of criteria about every cylinder or build, the word of the rule and the next step, where they changed."""
    del own, other
    named = {(each.rule, each.key): each for each in told}
    for criterion in program.criteria:
        for each in _answers(criterion, told):
            named[each.rule, each.key] = each
    for each in ruling.ruled(program, list(named.values())):
        step = named.get((next_step.RULE, each.key))
        if step is not None and step.word in {next_step.NOT_NEEDED, next_step.CAUSE} and each.reason == DIFFERS:
            named[step.rule, step.key] = replace(step, word=next_step.NONE, deciding=each.deciding, reason=DIFFERS)
        named[each.rule, each.key] = each
    return [each for before, each in zip(told, named.values(), strict=True) if each != before]


def _answers(criterion: Criterion, told: Sequence[Verdict]) -> Iterator[Verdict]:
    """The answer for each coating, from those of its cylinders or builds, with the numbers of the one that decides."""
    rule = f"{deciding.RULE}{criterion.id}"
    own = [each for each in told if each.rule == rule]
    for answer in (each for each in own if not each.key.engine):
        units = [each for each in own if each.key.engine and each.key.coating == answer.key.coating]
        if not units or (answer.word == deciding.CANNOT and answer.reason != DIFFERS):
            continue
        word = method.every([each.word for each in units], 0)
        if answer.word != word:
            word = deciding.CANNOT
        found = deciding.decider(criterion, units, word)
        if found is not None:
            reason = DIFFERS if word == deciding.CANNOT else answer.reason
            yield replace(
                answer, word=word, reason=reason, deciding=deciding.place(criterion, found), found=found.found,
                low=found.low, high=found.high, error_rate=None if word == deciding.CANNOT else answer.error_rate,
            )  # fmt: skip
