"""Criteria answered: every cylinder, every build, the mean of builds; how wrong the word can be, and what would decide.

A criterion holds or fails where the 95 % interval lies on one side of its limit: 2.5 % of error on that side. "Every
cylinder holds" needs no correction, "some cylinder fails" is held against the number of cylinders looked at.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from sitegen.crossing import comparing, ended, subjects
from sitegen.crossing.subjects import Entries
from sitegen.methods import contrasts, outliers, power
from sitegen.methods import criteria as method
from sitegen.methods.criteria import Sense
from sitegen.methods.intervals import NORMAL_95, student, student_95
from sitegen.program.model import Criterion, Program, Subject
from sitegen.rounding import Interval, interval
from sitegen.vocabulary import Book, Comparison, Key, Measure, Refused, Result, Value, Verdict

ONE_SIDE = 0.025  # probability of a wrong word on each side
RULE = "criterion:"  # + id: the answer for a coating, and below it for each cylinder or build
WORST = "worst-seen:"  # + id: the cylinder nearest to breaking it, and those not clearly better
STANDS_OUT = "stands-out"  # reason of the worst seen: beyond what the scatter of the others explains (Grubbs)
CANNOT = "cannot tell yet"
TYPICAL = "typical-"  # before the route of a mean of builds that is the geometric one
NOTHING: Interval = (None, None, None)
INSIDE = frozenset({"differences", "paired"})  # procedures that take one difference an engine, or a block
NOT_LISTED = ""  # stands for builds that are planned and not in the program file yet: any coating may be theirs

BUILDS_NEEDED = Measure(
    id="criterion.builds_needed",
    title="builds it would take to decide a criterion",
    unit="builds",
    better="",
    method="Builds of each coating at which the criterion would be decided with a power of 80 %, if the difference to "
    "the limit stays what it is. A range, because the scatter between builds is known from few builds only.",
    formula="noncentral t at both ends of the two-sided 80 % interval of the scatter between builds",
    source="J. Cohen, Statistical power analysis (1988), ch. 2; chi-square limits of a standard deviation",
    limits="Says what it would take, not that it is worth it. An end without a number: more than sixty.",
    interval="bounds",
)
READINGS_NEEDED = Measure(
    id="criterion.readings_needed",
    title="readings it would take to decide a criterion on a cylinder",
    unit="readings",
    better="",
    method="Readings in one check at which the interval of this cylinder would clear the limit, if its value stays. "
    "What a tester's scale and its gauges do to all of its readings alike is left as it is.",
    formula="n · own² / (distance to the limit² − common²), own and common the half-widths of the interval",
    source="propagation of independent errors",
    limits="None where the common part alone reaches the limit: then only another tester or a calibration decides.",
    interval="",
)
GIVES = (BUILDS_NEEDED, READINGS_NEEDED)


@dataclass(frozen=True)
class Look:
    """What a program's rule says about looking: at how many looks a release may be said, and whether this is one."""

    share: int = 1  # looks that share the error of a word
    early: bool = False  # one that was stated before all planned builds are in


def look(program: Program, criterion: Criterion) -> Look:
    """How a criterion is looked at; a program without stated looks is looked at once, when all is in."""
    rule = program.decide
    if rule is None or criterion.id not in rule.release or not rule.looks:
        return Look()
    count = builds_in(program)
    return Look(len(rule.looks), count in rule.looks and count < max(program.planned_builds, len(program.builds)))


def builds_in(program: Program) -> int:
    """Builds for which no phase that a criterion of the rule looks at is still to come."""
    rule = program.decide
    asked = {each.phase for each in program.criteria if rule is None or each.id in rule.release}
    return sum(not any(build.is_due(phase) for phase in asked) for build in program.builds)


@dataclass(frozen=True)
class Means:
    """What a criterion about means of builds rests on, on the scale worked on: how likely builds are to tell it."""

    rule: str
    coating: str
    difference: float  # from the limit, or from the reference
    sd: float  # scatter between builds, or between differences inside engines
    df: float
    own: int  # builds of the coating; of engines that hold both, these
    other: int  # of the reference; 0: a limit, or engines that hold both
    error: float  # of the interval, both sides [-]


@dataclass(frozen=True)
class Units:
    """What a criterion about every cylinder or build rests on."""

    rule: str
    coating: str
    units: Sequence[_Unit]
    told: Sequence[Verdict]  # the word of each
    over: int


@dataclass(frozen=True)
class _Unit:
    """One cylinder or build under a criterion."""

    key: Key
    value: float | None
    low: float | None
    high: float | None
    df: float | None
    se: float | None = None
    se_common: float = 0.0  # with the gauges: what more readings do not lessen
    n: int = 1


def decided(
    program: Program, measures: Mapping[str, Measure], book: Book, rows: Sequence[Comparison]
) -> Iterable[Result | Means | Units]:
    """The verdicts of every criterion, for each coating it names, and what each rests on."""
    for criterion in program.criteria:
        at = look(program, criterion)
        for coating in criterion.coatings:
            for result in _answered(program, measures.get(criterion.measure), criterion, coating, book, rows, at):
                if at.share > 1 and isinstance(result, Verdict) and result.error_rate:
                    yield replace(result, error_rate=ONE_SIDE / at.share)
                else:
                    yield result


def _answered(
    program: Program,
    measure: Measure | None,
    criterion: Criterion,
    coating: str,
    book: Book,
    rows: Sequence[Comparison],
    at: Look,
) -> Iterable[Result | Means | Units]:
    if criterion.sense in {"below-reference", "above-reference"}:
        yield from _against_reference(program, criterion, coating, rows, at)
        return
    if measure is None:
        yield _summary(criterion, coating, CANNOT, comparing.NOT_HERE)
        return
    try:
        laid = subjects.entries(program, measure, _subject(criterion), book)
    except Refused as why:
        yield _summary(criterion, coating, CANNOT, why.code)
        return
    own = laid.kept([coating])
    if any("unverified" in value.flags for value in own.values):  # a reading that nothing vouches for has not passed
        yield _summary(criterion, coating, CANNOT, "unverified")
        return
    asked = _asked(program, criterion, coating)
    lacking = _lacking(program, criterion, asked, own)
    if at.early:  # what is to come was known to be so when the look was stated
        lacking = {build: due for build, due in lacking.items() if not due}
    elif not lacking and _unlisted(program):
        lacking = {NOT_LISTED: True}
    if criterion.scope == "mean-of-builds":
        yield from _mean(criterion, coating, laid, lacking, measure, at)
        return
    over = len(asked) if criterion.scope == "every-build" else sum(map(len, asked.values()))
    moved = [_moved(measure, value, book) for value in own.values]
    units = _cylinders(own, moved) if criterion.scope == "every-cylinder" else _builds(own, moved)
    units = [_over_looks(unit, at, ratio=measure.compare == "ratio") for unit in units]
    yield from _each(criterion, coating, units, lacking, measure, over)


def _over_looks(unit: _Unit, at: Look, *, ratio: bool) -> _Unit:
    """The unit with an interval that shares its error among the looks of the rule."""
    if at.share == 1 or unit.value is None:
        return unit
    log = ratio and all(each is None or each > 0 for each in (unit.value, unit.low, unit.high))
    value, low, high = (
        each if each is None or not log or math.isinf(each) else math.log(each)
        for each in (unit.value, unit.low, unit.high)
    )
    ends = [
        None if end is None or value is None else method.adjusted_end(value, end, unit.df, at.share)
        for end in (low, high)
    ]
    low, high = (None if end is None else comparing.ratio_of(end) if log else end for end in ends)
    return replace(unit, low=low, high=high)


def _subject(criterion: Criterion) -> Subject:
    return Subject(criterion.measure, criterion.phase, criterion.at)


def _sense(criterion: Criterion) -> Sense:
    return "at-least" if criterion.sense == "at-least" else "at-most"


def place(criterion: Criterion, unit: Verdict) -> str:
    """The cylinder or build an answer rests on, as `deciding` of a verdict."""
    return f"{criterion.measure}@{unit.key.engine}" + (f"/{unit.key.cylinder}" if unit.key.cylinder else "")


def _summary(
    criterion: Criterion,
    coating: str,
    word: str,
    reason: str = "",
    unit: Verdict | None = None,
    over: int = 1,
    found: Interval = NOTHING,
    limit: float | None = None,
    *,
    typical: bool = False,
) -> Verdict:
    """The answer for one coating, on its own interval or on that of the cylinder or build that decided."""
    told = "" if unit is None else place(criterion, unit)
    number, low, high = found if unit is None else (unit.found, unit.low, unit.high)
    return Verdict(
        f"{RULE}{criterion.id}",
        Key(coating=coating, phase=criterion.phase, at=criterion.at),
        word,
        limit=criterion.limit if limit is None else limit,
        found=number,
        low=low,
        high=high,
        route=TYPICAL * typical + criterion.sense.removesuffix("-reference"),
        deciding=told,
        error_rate=None if word == CANNOT else ONE_SIDE,
        adjusted_over=over,
        reason=reason,
    )


def _asked(program: Program, criterion: Criterion, coating: str) -> dict[str, list[int]]:
    """Cylinders a criterion is about, by build: those read and those still to be read."""
    return {
        build.id: [place.cylinder for place in build.places if place.coating == coating]
        for build in program.builds
        if coating in build.coatings
        and (not criterion.phase or criterion.phase in {phase.id for phase in program.phases_of(build)})
    }


def _lacking(
    program: Program, criterion: Criterion, asked: Mapping[str, Sequence[int]], own: Entries
) -> dict[str, bool]:
    """Builds without a value for every cylinder they should have; True: the phase is still to come."""
    present = {(spot.build, spot.position) for spot in own.spots}
    return {
        build: program.build(build).is_due(criterion.phase)
        for build, numbers in asked.items()
        if (build, 0) not in present and any((build, number) not in present for number in numbers)
    }


def _unlisted(program: Program) -> bool:
    """Whether builds are planned that the program file does not list yet."""
    return len(program.builds) < program.planned_builds


def _why_lacking(lacking: Mapping[str, bool]) -> str:
    if not lacking:
        return ""
    if NOT_LISTED in lacking:
        return "builds-to-come"
    return "to-come" if all(lacking.values()) else "cylinders-missing"


# ---- every cylinder, every build ------------------------------------------------------------------------------------


def _each(
    criterion: Criterion, coating: str, units: Sequence[_Unit], lacking: Mapping[str, bool], measure: Measure, over: int
) -> Iterable[Result | Units]:
    if not units:
        yield _summary(criterion, coating, CANNOT, _why_lacking(lacking) or "no-reading")
        return
    if all(unit.low is None and unit.high is None for unit in units):
        yield _summary(criterion, coating, CANNOT, "no-interval")
        return
    told = [_of_unit(criterion, unit, over, measure) for unit in units]
    yield Units(f"{RULE}{criterion.id}", coating, units, told, over)
    for unit, each in zip(units, told, strict=True):
        yield each
        if each.word == CANNOT and criterion.scope == "every-cylinder":
            yield from _readings_needed(criterion, unit, measure, over)
    word = method.every([each.word for each in told], len(lacking))
    found = decider(criterion, told, word)
    reason = ""
    if word == CANNOT:
        reason = _why_lacking(lacking) if found is None else found.reason
    yield _summary(criterion, coating, word, reason, found, over)
    yield from _worst(criterion, units)


def decider(criterion: Criterion, told: Sequence[Verdict], word: str) -> Verdict | None:
    """The cylinder or build that makes the word of all; None where the word is open and none of them is."""
    if word == method.HOLDS:
        return _nearest(criterion, told)
    own = worst_first(criterion, [each for each in told if each.word == word])
    own.sort(key=lambda each: each.reason == "no-interval")
    return own[0] if own else None


def worst_first(criterion: Criterion, told: Sequence[Verdict]) -> list[Verdict]:
    """Cylinders or builds by how far they lie on the side of failing; of those that lie alike the first stays first."""
    if _sense(criterion) == "at-most":  # what is known only to lie below a limit breaks none
        return sorted(told, key=lambda each: math.inf if each.found is None else -each.found)

    def least(each: Verdict) -> float:
        number = each.high if each.found is None else each.found
        return math.inf if number is None else number

    return sorted(told, key=least)


def _nearest(criterion: Criterion, told: Sequence[Verdict]) -> Verdict:
    """Of those that hold the one with the least room to the limit."""
    if _sense(criterion) == "at-most":
        return max(told, key=lambda each: math.inf if each.high is None else each.high)
    return min(told, key=lambda each: -math.inf if each.low is None else each.low)


def _of_unit(criterion: Criterion, unit: _Unit, over: int, measure: Measure) -> Verdict:
    """The answer for one cylinder or build, decided on its interval as stored."""
    sense = _sense(criterion)
    found, low, high = interval(unit.value, *_ends(criterion, unit, over, measure))
    word = method.word(low, high, criterion.limit or 0.0, sense)
    return Verdict(
        f"{RULE}{criterion.id}",
        unit.key,
        word,
        limit=criterion.limit,
        found=found,
        low=low,
        high=high,
        route=criterion.sense,
        deciding=f"{criterion.measure}@{criterion.phase}",
        error_rate=None if word == CANNOT else ONE_SIDE,
        adjusted_over=over,
        reason="" if word != CANNOT else "no-interval" if low is None and high is None else "limit-in-interval",
    )


def _ends(criterion: Criterion, unit: _Unit, over: int, measure: Measure) -> tuple[float | None, float | None]:
    """Ends of the interval that decides, the one on the side of failing widened for the number looked at."""
    sense = _sense(criterion)
    if unit.value is None:  # below a limit of detection: at most `high`
        return None, unit.high
    numbers = (unit.value, unit.low, unit.high)
    if measure.compare == "ratio" and sense == "at-least" and all(each is not None and each > 0 for each in numbers):
        # widened on the scale a ratio scatters on: on the plain one its upper end would fall short
        value, low, high = (math.log(each or 1.0) for each in numbers)
        least, most = method.deciding(value, low, high, sense, unit.df, over)
        return None if least is None else math.exp(least), None if most is None else comparing.ratio_of(most)
    return method.deciding(unit.value, unit.low, unit.high, sense, unit.df, over)


def _moved(measure: Measure, value: Value, book: Book) -> float:
    """Half-width of what the occasion did to a value: a limit is not meant for one day and one set-up."""
    found = book.get(measure.occasion, value.key) if measure.occasion else None
    return 0.0 if found is None or found.value is None else found.value


def _on_any_occasion(unit: _Unit, moved: float) -> _Unit:
    """With what the occasion does to it in its interval. More readings of the same check do not lessen that."""
    if not moved:
        return unit
    value = unit.high if unit.value is None else unit.value
    if value is None:
        return unit
    low, high = method.on_any_occasion(value, unit.low, unit.high, moved)
    return replace(unit, low=low, high=high, se_common=math.hypot(unit.se_common, moved / NORMAL_95))


def _cylinders(own: Entries, moved: Sequence[float]) -> list[_Unit]:
    return [
        _on_any_occasion(
            _Unit(
                value.key, value.value, value.low, value.high, value.df, value.se,
                math.hypot(value.se_common or 0.0, shared / NORMAL_95), max(value.n, 1),
            ),
            half,
        )
        for value, shared, half in zip(own.values, own.shared, moved, strict=True)
    ]  # fmt: skip


def _builds(own: Entries, moved: Sequence[float]) -> list[_Unit]:
    """Each build's mean over its cylinders, with the error of the readings: the build is judged, not builds to come.

    An occasion moves all cylinders of a build alike.
    """
    units = []
    for unit in _means(own):
        halves = [half for spot, half in zip(own.spots, moved, strict=True) if spot.build == unit.key.engine]
        units.append(_on_any_occasion(unit, math.fsum(halves) / len(halves)))
    return units


def _means(own: Entries) -> list[_Unit]:
    """The same on the occasion of its check."""
    units = []
    for build in dict.fromkeys(spot.build for spot in own.spots):
        part = _of_build(own, build)
        key = part.values[0].key._replace(cylinder=0)
        if part.censored:
            highs = [value.high for value in part.values if value.high is not None]
            high = math.fsum(highs) / len(highs) if len(highs) == len(part.values) else None
            units.append(_Unit(key, None, None, high, None))
            continue
        count = len(part.values)
        mean = math.fsum(value.value or 0.0 for value in part.values) / count
        ses = [value.se for value in part.values]
        if any(se is None for se in ses):
            units.append(_bounded(key, part, mean))
            continue
        se = math.hypot(*(each or 0.0 for each in ses)) / count
        df = _together([(each or 0.0) / count for each in ses], [value.df for value in part.values])
        common, shared = subjects.common_parts(part, np.full(count, 1 / count), [1.0] * count)
        half = math.hypot(student_95(df) * se, NORMAL_95 * common, shared)
        units.append(_Unit(key, mean, mean - half, mean + half, df, se, math.hypot(common, shared / NORMAL_95)))
    return units


def _bounded(key: Key, part: Entries, mean: float) -> _Unit:
    """A mean of values that carry bounds, or no interval, instead of a standard error: the mean of their ends."""
    lows, highs = [value.low for value in part.values], [value.high for value in part.values]
    if any(low is None for low in lows) or any(high is None for high in highs):
        return _Unit(key, mean, None, None, None)
    low = math.fsum(each or 0.0 for each in lows) / len(lows)
    high = math.fsum(each or 0.0 for each in highs) / len(highs)
    return _Unit(key, mean, low, high, None)


def _together(ses: Sequence[float], dfs: Sequence[float | None]) -> float:
    """Degrees of freedom of a sum of independent errors (Welch and Satterthwaite)."""
    total = math.fsum(se**2 for se in ses)
    parts = math.fsum(se**4 / df for se, df in zip(ses, dfs, strict=True) if df is not None and math.isfinite(df))
    return total**2 / parts if parts else math.inf


def _of_build(own: Entries, build: str) -> Entries:
    places = [place for place, spot in enumerate(own.spots) if spot.build == build]
    return Entries(
        own.subject, tuple(own.spots[i] for i in places), tuple(own.values[i] for i in places),
        tuple(own.shared[i] for i in places), (), (),
    )  # fmt: skip


def _readings_needed(criterion: Criterion, unit: _Unit, measure: Measure, over: int) -> Iterable[Value]:
    if unit.value is None or unit.se is None or measure.interval != "confidence":
        return
    end = unit.high if criterion.sense == "at-most" else unit.low
    beyond = (unit.value > (criterion.limit or 0.0)) == (criterion.sense == "at-most")
    limit = criterion.limit or 0.0
    if beyond:  # nearer to failing: the other end has to clear the limit, with room for the number looked at
        end = unit.low if criterion.sense == "at-most" else unit.high
        df = math.inf if unit.df is None else unit.df
        limit = unit.value + (limit - unit.value) * student_95(df) / student(df, 2 * ONE_SIDE / over)
    key = unit.key._replace(at=criterion.id)
    needed = None if end is None else method.repeats_needed(unit.value, end, limit, unit.n, unit.se_common, df=unit.df)
    if needed is None:
        yield Value(READINGS_NEEDED.id, key, status="refused", reason="common-error-reaches")
    else:
        yield Value(READINGS_NEEDED.id, key, float(needed), n=unit.n, of="reading")


def _worst(criterion: Criterion, units: Sequence[_Unit]) -> Iterable[Verdict]:
    known = [unit for unit in units if unit.value is not None and unit.se is not None]
    below = criterion.sense == "at-least" and any(unit.value is None for unit in units)  # the worst, but by how much?
    if len(known) < 2 or below:
        return
    sign = 1.0 if criterion.sense == "at-most" else -1.0
    place, near = method.worst(
        [sign * (unit.value or 0.0) for unit in known], [unit.se or 0.0 for unit in known], [unit.df for unit in known]
    )
    rule = f"{WORST}{criterion.id}"
    try:
        far = outliers.largest([sign * (unit.value or 0.0) for unit in known]).stands_out
    except Refused:
        far = False
    reason = STANDS_OUT if far else ""
    yield Verdict(
        rule, known[place].key, "worst seen", deciding=criterion.measure, adjusted_over=len(known), reason=reason
    )
    for other in near:
        yield Verdict(
            rule, known[other].key, "not clearly better", deciding=criterion.measure, adjusted_over=len(known) - 1
        )


# ---- the mean of builds ---------------------------------------------------------------------------------------------


def _mean(
    criterion: Criterion, coating: str, laid: Entries, lacking: Mapping[str, bool], measure: Measure, at: Look
) -> Iterable[Result | Means]:
    """The mean over builds against a limit, with the scatter between builds.

    What is compared as a ratio scatters on the logarithms: there it is the typical build, the geometric mean. With
    lognormal builds the word "holds" is then wrong in 2.5 %, where that of the arithmetic mean is in up to 11 %. Builds
    with one long tail even on the logarithms: 4 to 11 % on either scale; nothing mends that but to look at the builds.
    """
    limit = criterion.limit or 0.0
    coatings = dict.fromkeys(spot.coating for spot in laid.spots)
    laid = laid.kept(each for each in coatings if each == coating or not laid.kept([each]).censored)
    if laid.kept([coating]).censored:
        yield _summary(criterion, coating, CANNOT, "below-detection-in-mean")
        return
    typical = measure.compare == "ratio" and limit > 0 and bool((laid.numbers() > 0).all())
    try:
        found = _level(laid, coating, at, typical=typical)
        plain = _level(laid, coating, at, typical=False) if typical else found
    except Refused as why:
        yield _summary(criterion, coating, CANNOT, why.code, typical=typical)
        return
    low, high = found.low, found.high
    if typical:
        low, high = method.typical_ends(low, high, plain.low, plain.high, _sense(criterion))
    stored = interval(found.value, low, high)
    word = method.word(*stored[1:], limit, _sense(criterion))
    reason = "limit-in-interval" if word == CANNOT else ""
    if word != CANNOT and lacking:  # builds to come belong to the mean that was asked for
        word, reason = CANNOT, _why_lacking(lacking)
    yield _summary(criterion, coating, word, reason, found=stored, typical=typical)
    count = len({spot.build for spot in laid.spots if spot.coating == coating})
    sd = found.se * math.sqrt(count)
    where = math.log(limit) if typical else limit
    error = 2 * ONE_SIDE / at.share
    yield Means(f"{RULE}{criterion.id}", coating, found.estimate - where, sd, found.df, count, 0, error)
    if reason == "limit-in-interval":
        yield _needed(criterion, coating, method.builds_needed(found.estimate, sd, found.df, where), count)


@dataclass(frozen=True)
class _Level:
    """A mean of builds: in the measure's unit, and on the scale worked on."""

    value: float
    low: float
    high: float
    estimate: float
    se: float
    df: float


def _level(laid: Entries, coating: str, at: Look, *, typical: bool) -> _Level:
    """The mean of a coating's builds with the interval that decides; `typical`: geometric, by the logarithms.

    Raises Refused where builds do not tell how far they scatter.
    """
    numbers, turn = comparing.scaled(laid, ratio=typical)
    found = contrasts.level(laid.spots, numbers, coating)
    common, shared = subjects.common_parts(laid, found.weights, turn)
    mean, se, df = float(found.estimate), float(found.se), float(found.df)
    if se <= comparing.ROUNDING * float(np.abs(numbers).max()):
        raise Refused("no-scatter-at-all")
    half = math.hypot(student(df, 2 * ONE_SIDE / at.share) * se, NORMAL_95 * common, shared)
    ends = (mean, mean - half, mean + half)
    value, low, high = (comparing.ratio_of(end) for end in ends) if typical else ends
    return _Level(value, low, high, mean, se, df)


def _needed(criterion: Criterion, coating: str, found: tuple[int, int | None], have: int) -> Value:
    least, most = found
    key = Key(coating=coating, phase=criterion.phase, at=criterion.id)
    high = math.inf if most is None else float(most)
    return Value(BUILDS_NEEDED.id, key, None, low=float(least), high=high, n=have, of="build")


def _against_reference(
    program: Program, criterion: Criterion, coating: str, rows: Sequence[Comparison], at: Look
) -> Iterable[Result | Means]:
    row = comparing.of(rows, _subject(criterion), coating)
    if row is None:
        return
    if row.verdict == "refused" or row.low is None or row.high is None:
        yield _summary(criterion, coating, CANNOT, row.reason or ended.RANKED_ONLY)
        return
    none = 1.0 if row.scale == "ratio" else 0.0
    wide = _over_looks(_Unit(Key(), row.estimate, row.low, row.high, row.df), at, ratio=row.scale == "ratio")
    found = interval(wide.value, wide.low, wide.high)
    below, above = comparing.beyond(found, row.scale)
    wanted, other = (below, above) if criterion.sense == "below-reference" else (above, below)
    word = "holds" if wanted else "fails" if other else CANNOT
    reason = "no-difference-in-interval" if word == CANNOT else ""
    if row.procedure in {"borrowed", "lent"}:
        word, reason = CANNOT, "one-build"
    elif word != CANNOT and "provisional" in row.flags and not at.early:
        word, reason = CANNOT, "builds-to-come" if _unlisted(program) else "to-come"
    yield _summary(criterion, coating, word, reason, over=row.adjusted_over, found=found, limit=none)
    if not (row.se and row.df and row.estimate is not None):
        return
    difference = math.log(row.estimate) if row.scale == "ratio" else row.estimate
    inside = row.procedure in INSIDE
    sd = row.se / math.sqrt(1 / row.builds if inside else 1 / row.builds + 1 / row.builds_reference)
    error = 2 * ONE_SIDE / at.share
    beside = 0 if inside else row.builds_reference
    each = error / len(program.candidates)  # of one of so many: a little more than the cut of the comparison asks
    yield Means(f"{RULE}{criterion.id}", coating, difference, sd, row.df, row.builds, beside, each)
    if reason == "no-difference-in-interval" and difference:
        family = len(program.candidates)  # by the test of the comparison, which holds for all of them
        needed = power.builds_range(sd, row.df, abs(difference), error=error, family=family)
        yield _needed(criterion, coating, needed, row.builds)
