"""The program's own rule carried out: each candidate released, stopped, run on, or open.

A release needs every criterion asked for to hold. What is missing, not verified or cannot be told has not passed.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from sitegen.crossing import deciding
from sitegen.program.model import Criterion, DecisionRule, Program, RuleWord
from sitegen.vocabulary import Key, Verdict

RULE = "decision"
RELEASED: RuleWord = "released"
RUN_ON: RuleWord = "run on"
STOPPED: RuleWord = "stopped"
OPEN: RuleWord = "open"
WAITING = frozenset({"to-come", "builds-to-come"})  # reasons that records still to come may take away
FAILS_ONE, NO_LOOK = "criterion-fails", "look-not-reached"


def ruled(program: Program, verdicts: Iterable[Verdict]) -> Iterable[Verdict]:
    """The word of the rule for each candidate, from the answers of its criteria; none without a rule."""
    if program.decide is None:
        return
    answers = {
        (each.rule, each.key.coating): each
        for each in verdicts
        if each.rule.startswith(deciding.RULE) and not each.key.engine
    }
    for candidate in program.candidates:
        own = [
            (criterion, answer)
            for criterion in program.criteria
            if criterion.id in program.decide.release and candidate in criterion.coatings
            if (answer := answers.get((f"{deciding.RULE}{criterion.id}", candidate))) is not None
        ]
        yield _ruled(program, program.decide, candidate, own)


def _ruled(program: Program, rule: DecisionRule, candidate: str, own: Sequence[tuple[Criterion, Verdict]]) -> Verdict:
    told = Verdict(RULE, Key(coating=candidate), OPEN, reason="no-criterion-answered")
    stopping = [each for each in own if each[0].id in rule.stop and each[1].word == "fails"]
    if stopping:
        return _by(told, STOPPED, stopping[0][0])
    failing = [criterion for criterion, answer in own if answer.word == "fails"]
    if failing:
        return _by(told, RUN_ON, failing[0], FAILS_ONE)
    unsure = [(criterion, answer) for criterion, answer in own if answer.word != "holds"]
    waiting = [each for each in unsure if each[1].reason in WAITING]
    if waiting:
        return _by(told, RUN_ON, waiting[0][0], waiting[0][1].reason)
    if unsure and more_planned(program, candidate):
        return _by(told, RUN_ON, unsure[0][0], "builds-to-come")
    if unsure:
        return _by(told, OPEN, unsure[0][0], unsure[0][1].reason)
    if not own:
        return told
    if not _looked_at(program, rule):
        return replace(told, word=RUN_ON, reason=NO_LOOK)
    return _by(told, RELEASED, own[0][0])


def _by(told: Verdict, word: RuleWord, criterion: Criterion, reason: str = "") -> Verdict:
    return replace(told, word=word, deciding=f"{deciding.RULE}{criterion.id}", reason=reason)


def more_planned(program: Program, candidate: str) -> bool:
    """Whether builds are still to be listed, or one with the candidate or the reference still waits for a phase."""
    if len(program.builds) < program.planned_builds:
        return True
    asked = {each.phase for each in program.criteria}
    pair = {candidate, program.reference}
    return any(build.is_due(phase) for build in program.builds if pair & set(build.coatings) for phase in asked)


def _looked_at(program: Program, rule: DecisionRule) -> bool:
    """Whether the rule may release now: at a look it states, else once all planned builds are in."""
    count = deciding.builds_in(program)
    return count in rule.looks if rule.looks else count >= max(program.planned_builds, len(program.builds))
