"""The next step for each candidate: the cheapest that is likely to end what its rule leaves open.

Fewest builds first, then engine hours, then checks; likely is a chance of at least 0.8, simulated.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from sitegen.crossing import deciding, ruling
from sitegen.crossing.deciding import CANNOT, Means, Units
from sitegen.methods import outlook
from sitegen.methods.criteria import Sense
from sitegen.methods.intervals import student_95
from sitegen.program.model import Build, Criterion, Phase, Program
from sitegen.vocabulary import Key, Measure, Refused, Result, Value, Verdict

RULE = "next-step"
NOT_NEEDED, CAUSE, NONE = "none needed", "find the cause", "none within twelve builds"
BUILD, RUN, CHECK = "build", "run what is due", "check"
GONE, ONE_BUILD = "cannot-be-read-again", "one-build"
ROUNDING = 1e-9
LEAST = 2  # builds below which no mean is told
LONE = frozenset({ONE_BUILD, "no-repeat", "build-and-coating"})  # reasons that a second build takes away

BUILDS = Measure(
    id="next.builds",
    title="further builds of the next step",
    unit="builds",
    better="",
    method="The next step is the cheapest that ends what the program's rule leaves open with a chance of at least 0.8: "
    "fewest builds first, of the candidate or of the reference, then hours of phases that are due, by their schedule, "
    "then checks of builds whose cylinders are open.",
    formula="4 000 draws of today's builds and readings, then of those to come, each judged as today's are; over "
    "several open criteria 1 less the sum of their chances to stay open",
    source="predictive probability under normal builds and a flat prior (exact but for the draws); for several "
    "criteria Bonferroni",
    limits="Looks twelve builds ahead. Takes builds as normal, cylinders as independent, a further check to err anew.",
    interval="",
)


REFERENCE = replace(BUILDS, id="next.builds_reference", title="further builds of the reference in the next step")
HOURS = replace(BUILDS, id="next.hours", title="engine hours of the next step", unit="h")
CHECKS = replace(BUILDS, id="next.checks", title="checks of the next step", unit="checks")
CHANCE = replace(BUILDS, id="next.chance", title="chance that the next step ends what is open", unit="%")
GIVES = (BUILDS, REFERENCE, HOURS, CHECKS, CHANCE)


@dataclass(frozen=True)
class _Offer:
    """What might be done."""

    own: int = 0
    other: int = 0
    run: bool = False  # what is due
    checks: int = 0  # of each build with open cylinders


@dataclass(frozen=True)
class _Case:
    """One candidate with what its rule leaves open."""

    program: Program
    coating: str
    open: Sequence[tuple[Criterion, Verdict]]
    facts: Mapping[str, Means | Units]  # by the rule of their criterion
    known: dict[tuple[str, _Offer], float] = field(default_factory=dict)

    @property
    def due(self) -> list[tuple[Build, Phase]]:
        """Phases still to run, up to the last that a criterion of the rule looks at."""
        asked = [self.program.phase(each.phase).order for each in self.program.criteria if each.phase]
        return [
            (build, phase)
            for build in self.program.builds
            for phase in self.program.phases_of(build)
            if build.is_due(phase.id) and phase.order <= max(asked, default=-1)
        ]

    def stays(self, offer: _Offer) -> float:
        """Most the chance can be that something stays open."""
        return sum(1 - self.chance(criterion, answer, offer) for criterion, answer in self.open)

    def chance(self, criterion: Criterion, answer: Verdict, offer: _Offer) -> float:
        """Chance that one criterion is told then. Raises Refused where nothing can tell it, or its chance."""
        facts = self.facts.get(answer.rule)
        if facts is None:
            raise Refused(answer.reason or "no-reading")
        due = [build for build, phase in self.due if phase.id == criterion.phase] if offer.run else []
        where = (answer.rule, offer)
        if where not in self.known:
            if isinstance(facts, Means):
                self.known[where] = _of_means(self, facts, offer, due)
            else:
                self.known[where] = _of_units(self, criterion, facts, offer, due)
        return self.known[where]

    def lacking(self, criterion: Criterion, facts: Units) -> list[Build]:
        """Builds that ran the phase and lack the value of a cylinder with the coating."""
        have = {unit.key[:2] for unit in facts.units}
        return [
            build
            for build in self.program.builds
            if criterion.phase in {phase.id for phase in self.program.phases_of(build)}
            and not build.is_due(criterion.phase)
            and any(not {(build.id, n), (build.id, 0)} & have for n in self.cylinders(build))
        ]

    def cylinders(self, build: Build) -> list[int]:
        """Those of a build that hold the coating."""
        return [place.cylinder for place in build.places if place.coating == self.coating]


def _of_means(case: _Case, facts: Means, offer: _Offer, due: Sequence[Build]) -> float:
    own = offer.own + sum(case.coating in build.coatings for build in due)
    other = offer.other + sum(case.program.reference in build.coatings for build in due)
    if facts.own + own < LEAST or not (facts.sd > 0 and facts.df > 0):
        return 0.0
    return outlook.between_means(
        facts.difference, facts.sd, facts.df, facts.own, facts.other, own, other if facts.other else 0, facts.error
    )


def _of_units(case: _Case, criterion: Criterion, facts: Units, offer: _Offer, due: Sequence[Build]) -> float:
    """Raises Refused where an open cylinder can neither be read again nor get a value."""
    lacking = case.lacking(criterion, facts)
    open_ = {each.key.engine for each in facts.told if each.word == CANNOT} | {each.id for each in lacking}
    if any(_gone(case.program, engine, criterion) for engine in open_):
        raise Refused(GONE)
    if lacking and not offer.checks:
        return 0.0
    known = []
    for unit, told in zip(facts.units, facts.told, strict=True):
        if unit.value is not None and unit.low is not None and unit.high is not None:
            df = math.inf if unit.df is None else unit.df
            known.append(outlook.Unit(unit.value, (unit.high - unit.low) / 2 / student_95(df), df, told.word == CANNOT))
        elif told.word == CANNOT:
            raise Refused("no-interval")
    single = criterion.scope == "every-build"
    further = offer.own * (1 if single else max(len(case.cylinders(build)) for build in case.program.builds))
    have = Counter(unit.key.engine for unit in facts.units)
    come = [build for build in (*lacking, *due) if case.cylinders(build)]
    new = further + sum((1 if single else len(case.cylinders(build))) - have[build.id] for build in come)
    sense: Sense = "at-least" if criterion.sense == "at-least" else "at-most"
    return outlook.of_units(known, criterion.limit or 0.0, sense, facts.over + further, offer.checks, new)


def _gone(program: Program, engine: str, criterion: Criterion) -> bool:
    """Whether a build has since been run on or taken apart, so that nothing can be read again as it was then."""
    if not criterion.phase:
        return True
    build, order = program.build(engine), program.phase(criterion.phase).order
    later = [each for each in program.phases_of(build) if each.order > order and not build.is_due(each.id)]
    return any(each.fires or each.kind == "teardown" for each in later)


# ---- the cheapest ---------------------------------------------------------------------------------------------------


def steps(program: Program, verdicts: Sequence[Verdict], facts: Sequence[Means | Units]) -> Iterable[Result]:
    """The next step of each candidate by the words of the rule, with what it takes and its chance."""
    answers = {(each.rule, each.key.coating): each for each in verdicts if not each.key.engine}
    for word in (each for each in verdicts if each.rule == ruling.RULE):
        coating = word.key.coating
        told = Verdict(RULE, Key(coating=coating), NOT_NEEDED)
        if word.word in {ruling.RELEASED, ruling.STOPPED}:
            yield told
            continue
        own = [
            (criterion, answer)
            for criterion in program.criteria
            if program.decide is not None and criterion.id in program.decide.release
            if (answer := answers.get((f"{deciding.RULE}{criterion.id}", coating))) is not None
        ]
        failing = [answer for _, answer in own if answer.word == "fails"]
        if failing:
            yield _told(told, CAUSE, failing[0].rule, ruling.FAILS_ONE)
            continue
        open_ = [each for each in own if each[1].word == CANNOT]
        own_facts = {each.rule: each for each in facts if each.coating == coating}
        yield from _cheapest(_Case(program, coating, open_, own_facts), told)


def _told(told: Verdict, word: str, deciding_: str = "", reason: str = "") -> Verdict:
    return Verdict(RULE, told.key, word, deciding=deciding_, reason=reason)


def _cheapest(case: _Case, told: Verdict) -> Iterable[Result]:
    """The first offer, the cheapest first, with which nothing is likely to stay open."""
    first = next((each for cost in _by_cost(case) for each in cost), None)
    if not case.open:  # all hold, and the rule waits for a count of builds
        yield from _given(case, told, first, None, "", ruling.NO_LOOK)
        return
    rule = case.open[0][1].rule
    for criterion, answer in case.open:  # what no step can end is told first
        try:
            case.chance(criterion, answer, _Offer())
        except Refused as why:
            if why.code in LONE | ruling.WAITING:
                yield from _given(case, told, first if why.code not in LONE else _Offer(1), None, answer.rule, why.code)
            else:
                yield _told(told, NONE, answer.rule, why.code)
            return
    try:
        for cost in _by_cost(case):
            best = min(cost, key=case.stays)
            if case.stays(best) <= 1 - outlook.ENOUGH + ROUNDING:
                yield from _given(case, told, best, 1 - case.stays(best), rule, "")
                return
    except Refused as why:  # too few values to draw the next from: what is due is run all the same
        run = first if first is not None and first.run else None
        yield from _given(case, told, run, None, rule, why.code)
        return
    yield _told(told, NONE, rule, "none-within-twelve")


def _by_cost(case: _Case) -> Iterator[list[_Offer]]:
    """Offers in the order of what they cost, those of one cost together, where the rule may answer then."""
    checked = any(isinstance(case.facts.get(answer.rule), Units) for _, answer in case.open)
    both = any(isinstance(each, Means) and each.other for each in case.facts.values())
    for total in range(outlook.MOST + 1):
        for run in (False, True) if case.due else (False,):
            for checks in range(outlook.MOST + 1 if checked else 1):
                found = [_Offer(n, total - n, run, checks) for n in outlook.shares(total, both=both)]
                kept = [each for each in found if each != _Offer() and _looked_at(case, each)]
                if kept:
                    yield kept


def _looked_at(case: _Case, offer: _Offer) -> bool:
    """Whether the rule may answer with these builds in: at a look it states, else once all planned builds are in."""
    program, rule = case.program, case.program.decide
    count = deciding.builds_in(program) + offer.own + offer.other
    count += len({build.id for build, _ in case.due}) if offer.run else 0
    if rule is not None and rule.looks:
        return count in rule.looks
    return count >= max(program.planned_builds, len(program.builds))


def _given(
    case: _Case, told: Verdict, offer: _Offer | None, chance: float | None, rule: str, reason: str
) -> Iterable[Result]:
    if offer is None:
        yield _told(told, NONE, rule, reason)
        return
    word = BUILD if offer.own + offer.other else RUN if offer.run else CHECK
    yield _told(told, word, rule, reason)
    key = told.key
    seconds = [p.repeat * math.fsum(step.time for step in p.schedule) for _, p in case.due] if offer.run else []
    numbers = {
        BUILDS: float(offer.own),
        REFERENCE: float(offer.other),
        HOURS: math.fsum(seconds) / 3600,
        CHECKS: float(offer.checks * len(_checked(case))),
        CHANCE: None if chance is None else 100 * chance,
    }
    for measure, number in numbers.items():
        if number is not None:
            yield Value(measure.id, key, number)


def _checked(case: _Case) -> set[str]:
    """Builds that a check would read again, or for the first time."""
    found: set[str] = set()
    for criterion, answer in case.open:
        facts = case.facts.get(answer.rule)
        if isinstance(facts, Units):
            found |= {each.key.engine for each in facts.told if each.word == CANNOT}
            found |= {build.id for build in case.lacking(criterion, facts)}
    return found
