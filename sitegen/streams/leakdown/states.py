"""Steps to the state of each cylinder: by the seating curve, else by two checks far apart."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from sitegen.declarations import Step
from sitegen.methods import seating as method
from sitegen.methods.leakdown import Scatter
from sitegen.program.model import Assembly, Build, Phase, Program
from sitegen.reasons import DIFFERS
from sitegen.rounding import interval
from sitegen.streams.leakdown.measures import (
    CHANGE,
    CRANKCASE,
    ELSEWHERE,
    KM,
    PLATEAU,
    SCALE,
    SCALE_MOST,
    TO_LOSE,
    TO_LOSE_MOST,
)
from sitegen.streams.leakdown.seating import (
    BLOWBY,
    FROM_BLOWBY,
    TESTER,
    above_nothing,
    beyond,
    change_between,
    of_blowby,
    scatter_of,
)
from sitegen.streams.leakdown.testers import scale_of, tester_of
from sitegen.vocabulary import Book, Key, Readings, Refused, Result, Value, Verdict, refused

STATE_RULE = "seating"  # rules of the verdicts: the state of a cylinder, and what it rests on
LEVEL_RULE = "seating.level"
TO_LOSE_RULE = "seating.to_lose"
FALL_RULE = "seating.fall"
APART_RULE = "seating.apart"  # two checks: how far apart they are, and whether the leak changed in between
BETWEEN_RULE = "seating.between"
EARLIER = ", earlier assembly"  # added to a rule judged on rings that were later disturbed
FROM_BEFORE, FROM_BUILDS = "scale-of-before", "scale-of-builds"  # flags: where the longest distance is from


# ---- the longest seating distance -----------------------------------------------------------------------------------


def run_longest(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Value]:
    """The longest seating distance to reckon with, for each coating in each assembly of a build."""
    del engine, readings
    for build in program.builds:
        for n, assembly in enumerate(build.assemblies):
            for coating in build.coatings:
                key = Key(build.id, 0, coating, "", assembly.id)
                try:
                    most, flags = _longest(program, build, build.assemblies[: n + 1], coating, book)
                except Refused as why:
                    yield refused(SCALE_MOST.id, key, why)
                    continue
                yield Value(SCALE_MOST.id, key, high=most, of="check", status="below", flags=flags)


def _longest(
    program: Program, build: Build, assemblies: Sequence[Assembly], coating: str, book: Book
) -> tuple[float, frozenset[str]]:
    """From the curve of the rings as they are now, else their blow-by, else their curve before, else other builds."""
    *before, now = assemblies

    def curve(of: Build, assembly: Assembly) -> Value | None:
        found = book.get(SCALE.id, Key(of.id, 0, coating, "", assembly.id))
        return found if found is not None and found.high is not None and math.isfinite(found.high) else None

    def longest(found: Value) -> float:
        return method.longest(method.Estimate(found.value, found.low or 0.0, found.high or math.inf))

    if (own := curve(build, now)) is not None:
        return longest(own), own.flags
    if (blowby := of_blowby(build, book, now)) is not None:
        return blowby.high, frozenset({FROM_BLOWBY})
    for assembly in reversed(before):
        if (own := curve(build, assembly)) is not None:
            return longest(own), own.flags | {FROM_BEFORE}
    others = [
        found.value
        for other in program.builds
        if other is not build and coating in other.coatings
        and (found := curve(other, other.assemblies[0])) is not None and found.value
    ]  # fmt: skip
    return method.longest_of_builds(others), frozenset({FROM_BUILDS})


# ---- two checks -----------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Check:
    """A fired check of one cylinder in one assembly."""

    phase: Phase
    level: Value


@dataclass(frozen=True)
class _Pair:
    """Two checks, and what they tell."""

    earlier: Phase
    found: method.Apart
    flags: frozenset[str]


def _pair(build: Build, book: Book, assembly: Assembly, checks: Sequence[_Check], slow: bool) -> _Pair | None:
    """The last check and the one before it that is far enough away, else the first; chosen by distance alone.

    `slow`: the cylinder was seen to keep off the common scale. None without a longest distance, refused without a
    check like the last one: same tester, paths known alike, same temperature.
    """
    last = checks[-1]
    cylinder = last.level.key.cylinder
    reach = book.get(SCALE_MOST.id, Key(build.id, 0, build.coating_of(cylinder), "", assembly.id))
    if reach is None or reach.high is None:
        return None
    like = [each for each in checks[:-1] if _alike(each, last)]
    if not like:
        raise Refused("one-check")
    like = [] if _disagrees(last) else [each for each in like if not _disagrees(each)]
    if not like:
        raise Refused("check-disagrees")
    ran = [book.get(KM, build.key(phase=each.phase.id)) for each in (*like, last)]
    km = [math.nan if value is None or value.value is None else value.value for value in ran]
    most = reach.high * (method.SLOWEST if slow else 1.0)
    if any(math.isnan(each) for each in km):
        raise Refused("no-distance")
    distances = [interval((km[-1] - x) / most, None, None)[0] or 0.0 for x in km[:-1]]
    far = [n for n, each in enumerate(distances) if each >= method.FAR]
    chosen = far[-1] if far else 0
    earlier = like[chosen]
    change = change_between(book, build, earlier.level, last.level)
    value, low, high = interval(change.value, change.low, change.high)
    if low is None or high is None:
        raise Refused("one-check")
    found = method.two_checks(replace(change, value=value, low=low, high=high), distances[chosen])
    bound = interval(None, None, above_nothing(max(found.to_lose.high, 1e-9)))[2]
    flags = reach.flags | frozenset().union(*(v.flags for v in ran if v is not None))
    stored = replace(found, to_lose=replace(found.to_lose, high=math.inf if bound is None else bound))
    return _Pair(earlier.phase, stored, flags)


def _alike(check: _Check, last: _Check) -> bool:
    one, other = check.level, last.level
    return (
        one.common == other.common
        and ("path-unknown" in one.flags) == ("path-unknown" in other.flags)
        and check.phase.condition == last.phase.condition
    )


def _disagrees(check: _Check) -> bool:
    """Whether the repeats of a check differ by more than repeats do, so that nothing is told from it."""
    return "repeats-disagree" in check.level.flags


# ---- the state ------------------------------------------------------------------------------------------------------

_MET = {"yes": "met", "no": "not met", "cannot tell": "cannot tell"}
_RULES = {"leak area": LEVEL_RULE, "leak still to lose": TO_LOSE_RULE, "last change": FALL_RULE}
_OFF_SCALE = frozenset({"own-scale", "no-common-scale"})
_NO_ROUTE = frozenset({"curve-does-not-fit", "no-distance"})  # what spoils the curve spoils two of its checks


def run_states(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """The state of each cylinder at the last fired check of each assembly, and what it rests on."""
    del readings
    build = program.build(engine)
    for place in build.places:
        for assembly in build.assemblies:
            yield from _state(program, build, book, assembly, place.cylinder)


def _state(program: Program, build: Build, book: Book, assembly: Assembly, cylinder: int) -> Iterable[Result]:
    """The state of a cylinder at the last fired check of an assembly, and the criteria it rests on.

    The last assembly gives the state of the cylinder; what its rings were before they were disturbed stands beside it.
    """
    before = "" if assembly is build.assemblies[-1] else EARLIER
    checks = [
        _Check(phase, level)
        for phase in program.phases_of(build)
        if phase.fires and build.assembly_of(phase, program) is assembly
        and (level := book.get(CRANKCASE.id, build.key(cylinder, phase.id))) is not None
        and level.status in {"ok", "below"}
    ]  # fmt: skip
    if not checks:
        yield Verdict(STATE_RULE + before, build.key(cylinder, at=assembly.id), "cannot tell", reason="no-fired-check")
        return
    phase, level = checks[-1].phase, checks[-1].level
    key = build.key(cylinder, phase.id)
    changes = [
        v for v in book.of(CHANGE.id) if v.key.cylinder == cylinder and v.key.phase == phase.id and v.status == "ok"
    ]
    to_lose = _still(program, build, book, assembly, cylinder)
    limit = program.seating.to_lose
    pair: _Pair | None = None
    apart: method.Apart | Refused | None = None
    if _open(to_lose, limit):
        try:
            pair = _pair(build, book, assembly, checks, _off_scale(book, cylinder, to_lose))
        except Refused as why:
            apart = why
    if pair is not None and pair.found.reason and not isinstance(to_lose, Refused):
        pair = None  # the curve says why it is open, and close checks add nothing
    if pair is not None:
        apart = pair.found
        yield from _two_checks(assembly, key, pair, before)
    within = scale_of(program, tester_of(level), book).occasion
    found = method.state(
        _as_stored(_total(level, within, scatter_of(book.get(ELSEWHERE.id, build.key())))),
        program.seating.level,
        to_lose,
        limit,
        _as_change(changes[0]) if changes else None,
        apart,
    )
    deciding = {LEVEL_RULE: f"{CRANKCASE.id}@", TO_LOSE_RULE: f"{TO_LOSE.id}@"}
    if changes:
        deciding[FALL_RULE] = f"{CHANGE.id}@{changes[0].key.at}"
    if pair is not None and any(each.found is pair.found.to_lose for each in found.criteria):
        deciding[TO_LOSE_RULE] = f"{TO_LOSE_MOST.id}@vs:{pair.earlier.id}"
    told = {}
    for criterion in found.criteria:
        rule = _RULES[criterion.what]
        numbers = criterion.found
        told[criterion.what] = Verdict(
            rule + before,
            key,
            _MET[criterion.met],
            limit=criterion.limit,
            found=None if numbers is None else numbers.value,
            low=None if numbers is None or math.isinf(numbers.low) else numbers.low,
            high=None if numbers is None else numbers.high,
            route="at-most",
            deciding=deciding[rule],
            reason=criterion.reason,
        )
        yield told[criterion.what]
    word, reason = found.word, found.reason
    if word == "seated" and "path-unknown" in level.flags:
        reason = "seated-path-unknown"  # with valves and gasket in it the ring's share can only be smaller
    if word in {"not seated", "above the limit"} and "path-unknown" in level.flags:
        word, reason = "cannot tell", "path-unknown"  # the leak above the limit may be a valve's
    yield replace(told[found.by], rule=STATE_RULE + before, word=word, route=found.route, reason=reason)


def _two_checks(assembly: Assembly, key: Key, pair: _Pair, before: str) -> Iterable[Result]:
    """What two checks tell, and the two things asked of them."""
    found, change = pair.found, pair.found.change
    at = key._replace(at=f"vs:{pair.earlier.id}")
    if found.reason:
        yield refused(TO_LOSE_MOST.id, at, Refused(found.reason))
    else:
        high = found.to_lose.high
        yield Value(TO_LOSE_MOST.id, at, high=high, n=2, of="check", status="below", flags=pair.flags)
    yield Verdict(
        APART_RULE + before, key, "met" if found.distances >= method.FAR else "not met",
        limit=method.FAR, found=found.distances, route="number-at-least", deciding=f"{SCALE_MOST.id}@{assembly.id}",
    )  # fmt: skip
    yield Verdict(
        BETWEEN_RULE + before, key, "met" if change.low <= 0 <= change.high else "not met",
        limit=0.0, found=change.value, low=change.low, high=change.high, route="holds", deciding=f"{CRANKCASE.id}@",
    )  # fmt: skip


def _still(program: Program, build: Build, book: Book, assembly: Assembly, cylinder: int) -> method.Estimate | Refused:
    """Leak still to lose by the curve: a later check than the last of the fit has no more to lose than that one."""
    order = {each.id: each.order for each in program.phases_of(build) if build.assembly_of(each, program) is assembly}
    own = [v for v in book.of(TO_LOSE.id) if v.key.cylinder == cylinder and v.key.phase in order]
    return _estimate(max(own, key=lambda value: order[value.key.phase], default=None))


def _open(to_lose: method.Estimate | Refused, limit: float) -> bool:
    """Whether the curve leaves it open if there is too much to lose."""
    if isinstance(to_lose, Refused):
        return to_lose.code not in _NO_ROUTE
    return method.at_most(to_lose, limit) == "cannot tell"


def _off_scale(book: Book, cylinder: int, to_lose: method.Estimate | Refused) -> bool:
    """Whether the cylinder was seen to keep off the scale of the others, with its rings as they are or before."""
    if isinstance(to_lose, Refused) and to_lose.code in _OFF_SCALE:
        return True
    return any(v.key.cylinder == cylinder and v.reason == "own-scale" for v in book.of(PLATEAU.id))


def _total(value: Value, within: float, engine: Scatter | None) -> method.Estimate:
    """A level with its whole interval: what an occasion does to the engine beyond what it does to the tester as well.

    The interval of the level holds the tester's part already, half-width `within` [-].
    """
    low = 0.0 if value.low is None else value.low
    high = math.inf if value.high is None else value.high
    found = method.Estimate(value.value, low, high)
    return method.widened(found, beyond(within, engine))


def _estimate(value: Value | None) -> method.Estimate | Refused:
    if value is None:
        return Refused("check-not-in-fit")
    if value.status != "ok" or value.low is None or value.high is None:
        return Refused(value.reason)
    return _as_stored(method.Estimate(value.value, value.low, value.high))


def _as_stored(found: method.Estimate) -> method.Estimate:
    """The numbers a reader finds in the results: those decide."""
    value, low, high = interval(found.value, found.low, found.high)
    return method.Estimate(value, low or 0.0, math.inf if high is None else high)


def _as_change(value: Value) -> method.Change | None:
    if value.low is None or value.high is None:
        return None
    word: Literal["fell", "grew", "no change beyond scatter"]
    word = "fell" if value.high < 0 else "grew" if value.low > 0 else "no change beyond scatter"
    return method.Change(value.value, value.low, value.high, word)


# ---- in doubt -------------------------------------------------------------------------------------------------------


def followed(
    program: Program, own: Sequence[Verdict], other: Sequence[Verdict], made: Sequence[Verdict]
) -> Iterable[Verdict]:
    """States by what is left of their criteria where an instrument was off; words as read, with the error, of both."""
    del program
    named = {(each.rule, each.key): each for each in made}
    before, beside = ({(each.rule, each.key): each.word for each in run} for run in (own, other))
    for each in made:
        rule, comma, earlier = each.rule.partition(",")
        where = each.rule, each.key
        if rule != STATE_RULE or named[where].reason == "no-fired-check":
            continue
        parts = {part: named.get((part + comma + earlier, each.key)) for part in (LEVEL_RULE, TO_LOSE_RULE, FALL_RULE)}
        level, lose, fall = parts.values()
        if level is None or lose is None or _follows(each, level, lose, fall):
            continue
        if {before[where], beside.get(where)} & {"above the limit", "not seated"} and level.word == _MET["no"]:
            yield replace(level, rule=each.rule, word="above the limit", route="level", reason=DIFFERS)
        else:
            yield replace(each, word=_MET["cannot tell"], reason=DIFFERS)


def _follows(state: Verdict, level: Verdict, lose: Verdict, fall: Verdict | None) -> bool:
    """Whether a state still follows from its criteria."""
    words = level.word, lose.word
    grew = (fall is not None and fall.word == "met") or (lose.high is not None and lose.high < 0)
    fell = fall is not None and fall.low is not None and fall.low > 0
    return {
        "seated": words == ("met", "met"),
        "not seated": words == ("not met", "met") or grew,
        "still seating": lose.word == "not met" or fell,
        "above the limit": words == ("not met", "cannot tell"),
    }.get(state.word, state.reason != DIFFERS)


LONGEST = Step(name="seating-longest", gives=(SCALE_MOST,), run=run_longest, needs=(SCALE.id, BLOWBY), scope="program")
STATES = Step(
    name="seating-states",
    gives=(TO_LOSE_MOST,),
    run=run_states,
    needs=(CRANKCASE.id, KM, *TESTER, ELSEWHERE.id, CHANGE.id, TO_LOSE.id, PLATEAU.id, SCALE_MOST.id),
    revision=2,
    follow=followed,
    undecided=dict.fromkeys((STATE_RULE, LEVEL_RULE, TO_LOSE_RULE, FALL_RULE), _MET["cannot tell"]),
)
