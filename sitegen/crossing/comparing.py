"""Coatings set against the reference: which procedure the allocation allows, and what it says.

The procedure follows from the design before a number is looked at (`methods.design`). Errors that all readings of a
tester share are carried through the signs of the estimate: alike on both sides they cancel, else they widen it.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import fmean
from typing import Literal

import numpy as np

from sitegen.crossing import allocation, ended, subjects
from sitegen.crossing.subjects import Entries, Role
from sitegen.methods import contrasts, design, dunnett, intraclass, randomisation
from sitegen.methods.intervals import NORMAL_95, normal_two_sided
from sitegen.program.model import Program, Subject
from sitegen.rounding import Interval, interval
from sitegen.vocabulary import Book, Comparison, Measure, Refused, Value

ERROR = 0.05  # family error of a comparison
MOST_CENSORED = 8  # values below detection whose bounds are tried in every combination
LARGEST = math.log(1e300)  # logarithm from which on a ratio counts as unbounded
ROUNDING = 1e-12  # relative size below which a scatter is nothing but rounding
NOT_HERE = subjects.NOT_HERE
LENT = "lent"  # scatter between the builds of other programs
UNTESTED = ("borrowed", LENT)  # an interval, but no test
TOGETHER = ("pooled", "borrowed")  # procedures whose contrasts share one scatter and one mean of the reference


def compared(program: Program, measures: Mapping[str, Measure], book: Book) -> list[Comparison]:
    """Every comparison the program states, or that is offered where it states none; the primary first."""
    found = subjects.chosen(program, measures, book)
    exploratory = sum(role == "exploratory" for _, role in found)
    rows: list[Comparison] = []
    for subject, role in found:
        over = exploratory if role == "exploratory" else 1
        rows += _subject(program, measures.get(subject.measure), subject, role, over, book)
    return rows


@dataclass(frozen=True)
class Answer:
    """One candidate's contrast on the scale worked on."""

    made: design.Design
    contrast: contrasts.Contrast
    common: float  # standard error shared by the readings of an instrument
    shared: float  # half-width of what one instrument does to all its readings


def _subject(
    program: Program, measure: Measure | None, subject: Subject, role: Role, over: int, book: Book
) -> list[Comparison]:
    """The rows of one subject, a candidate each; `measure` None: its stream is not here."""
    blank = blank_rows(program, measure, subject, role, over)
    if measure is None:
        return [replace(row, verdict="refused", reason=NOT_HERE) for row in blank.values()]
    try:
        laid = laid_out(program, measure, subject, book)
    except Refused as why:
        return [replace(row, verdict="refused", reason=why.code) for row in blank.values()]
    rows, _ = answered(program, measure, laid, blank, over)
    return [ended.judged(program, measure, laid.kept, rows[candidate]) for candidate in program.candidates]


def blank_rows(
    program: Program, measure: Measure | None, subject: Subject, role: Role, over: int
) -> dict[str, Comparison]:
    """A row a candidate, with nothing answered yet."""
    ratio = measure is not None and measure.compare == "ratio"
    return {
        candidate: Comparison(
            subject.measure, subject.phase, subject.at, candidate, program.reference, role,
            "ratio" if ratio else "difference", adjusted_over=over * len(program.candidates),
        )
        for candidate in program.candidates
    }  # fmt: skip


@dataclass(frozen=True)
class Laid:
    """What enters the comparisons of one subject."""

    kept: Entries
    whole: Entries  # with the builds that ran another distance
    shorter: tuple[str, ...]  # these builds
    extra: np.ndarray | None  # covariates, (spots kept, covariates)

    def without(self, builds: Iterable[str], cylinders: Iterable[tuple[str, int]] = ()) -> Laid:
        """The same without some builds, or cylinders of some."""
        names, odd = set(builds), set(cylinders)
        places = [
            place
            for place, spot in enumerate(self.kept.spots)
            if spot.build not in names and (spot.build, spot.position) not in odd
        ]
        left = self.kept.kept_at(places)
        return Laid(left, left, (), None if self.extra is None else self.extra[places])


def laid_out(program: Program, measure: Measure, subject: Subject, book: Book) -> Laid:
    """Raises Refused where nothing can be compared."""
    whole = ended.compared(program, measure, subjects.entries(program, measure, subject, book))
    kept, shorter = subjects.of_like_distance(program, measure, whole, book)
    return Laid(kept, whole, shorter, subjects.covariates(program, kept, book))


def answered(
    program: Program, measure: Measure, given: Laid, blank: Mapping[str, Comparison], over: int
) -> tuple[dict[str, Comparison], dict[str, Answer]]:
    """The rows by candidate, and the contrasts behind those that have an answer."""
    laid, whole, shorter, extra = given.kept, given.whole, given.shorter, given.extra
    ratio = measure.compare == "ratio"
    rows: dict[str, Comparison] = {}
    answers: dict[str, Answer] = {}
    for candidate, row in blank.items():
        made = design.recognise(laid.spots, candidate, program.reference)
        if made.reason == "build-and-coating" and program.lent:
            made = replace(made, procedure=LENT, reason="")
        told = _counted(replace(row, design=made.name), program, laid, made)
        pair = {candidate, program.reference}
        if any(spot.coating in pair for spot in whole.spots if spot.build in shorter):
            told = replace(told, flags=told.flags | {"other-distance-left-out"})
        lost = {spot.coating for spot in whole.spots} - {spot.coating for spot in laid.spots}
        reason = ("distances-differ" if lost & pair else made.reason) or _unfit(laid, ratio=ratio)
        if reason:
            rows[candidate] = replace(told, verdict="refused", reason=reason)
            continue
        try:
            if made.procedure == LENT:
                answers[candidate] = _lent(program, laid, made, candidate, ratio=ratio)
            else:
                answers[candidate] = _answer(laid, extra, made, candidate, program.reference, ratio=ratio)
            _scattered(laid, answers[candidate], ratio=ratio)
        except Refused as why:
            answers.pop(candidate, None)
            rows[candidate] = replace(told, verdict="refused", reason=why.code)
            continue
        rows[candidate] = told
    for candidate, answer in answers.items():
        rows[candidate] = _concluded(program, measure, laid, extra, rows[candidate], answers, answer, over)
    return rows, answers


def _unfit(laid: Entries, *, ratio: bool) -> str:
    if laid.censored and (ratio or len(laid.censored) > MOST_CENSORED):
        return "below-detection-in-mean"
    if ratio and (laid.numbers() <= 0).any():
        return "not-positive"
    return ""


def _counted(row: Comparison, program: Program, laid: Entries, made: design.Design) -> Comparison:
    """The row with its builds and cylinders, and with what is still missing as flags."""
    # a mixed design rests on the builds that hold both; elsewhere on all builds of the two coatings
    used = [spot for spot in laid.spots if not made.builds or spot.build in made.builds]
    own = [spot for spot in used if spot.coating == row.coating]
    other = [spot for spot in used if spot.coating == row.reference]
    flags = set(laid.flags) | set(made.notes)
    pair = {row.coating, row.reference}
    holding = {build.id for build in program.builds if pair & set(build.coatings)}
    if holding & set(laid.awaited):
        flags.add("provisional")
    flags |= _lacking(program, laid, pair)
    planned = len(program.builds) < program.planned_builds
    if planned:
        flags.add("provisional")
    theirs = {spot.build for spot in own}
    lots = {
        place.lot
        for build in program.builds
        for place in build.places
        if place.coating == row.coating and place.lot and build.id in theirs
    }
    if len(lots) == 1:
        flags.add("one-lot")
    return replace(
        row,
        level=_level(laid, own, ratio=row.scale == "ratio"),
        level_reference=_level(laid, other, ratio=row.scale == "ratio"),
        builds=len({spot.build for spot in own}),
        builds_reference=len({spot.build for spot in other}),
        cylinders=sum(bool(spot.position) for spot in own),
        cylinders_reference=sum(bool(spot.position) for spot in other),
        flags=frozenset(flags),
    )


def _lacking(program: Program, laid: Entries, pair: set[str]) -> set[str]:
    """Flags of builds whose phase was run and that lack a cylinder, or every value, of a coating compared."""
    present = Counter((spot.build, spot.coating) for spot in laid.spots)
    whole = any(not spot.position for spot in laid.spots)
    flags = set()
    for build in program.builds:
        if build.id not in laid.lacking:
            continue
        for coating in pair & set(build.coatings):
            found = present[build.id, coating]
            wanted = 1 if whole else sum(place.coating == coating for place in build.places)
            if not found:
                flags.add("build-without-value")
            elif found < wanted:
                flags.add("mean-of-fewer")
    return flags


def _level(laid: Entries, spots: Sequence[design.Spot], *, ratio: bool) -> float | None:
    """Mean over builds of the means of their cylinders; None where a value is below detection, or there is none."""
    values = dict(zip(laid.spots, laid.values, strict=True))
    builds: dict[str, list[float]] = {}
    for spot in spots:
        number = values[spot].value
        if number is None or (ratio and number <= 0):
            return None
        builds.setdefault(spot.build, []).append(math.log(number) if ratio else number)
    if not builds:
        return None
    mean = fmean(fmean(own) for own in builds.values())
    return math.exp(mean) if ratio else mean


# ---- the estimate ---------------------------------------------------------------------------------------------------


def scaled(laid: Entries, *, ratio: bool) -> tuple[np.ndarray, list[float]]:
    """Values on the scale worked on, and what turns an error of a value into one on that scale."""
    numbers = laid.numbers()
    if ratio:
        return np.log(numbers), [1 / number for number in numbers]
    return numbers, [1.0] * len(numbers)


def _answer(
    laid: Entries, extra: np.ndarray | None, made: design.Design, candidate: str, reference: str, *, ratio: bool
) -> Answer:
    y, turn = scaled(laid, ratio=ratio)
    contrast = contrasts.contrast(made, laid.spots, y, candidate, reference, covariates=extra)
    common, shared = subjects.common_parts(laid, contrast.weights, turn)
    return Answer(made, contrast, common, shared)


def _lent(program: Program, laid: Entries, made: design.Design, candidate: str, *, ratio: bool) -> Answer:
    """One build each, held against the scatter between the whole builds of other programs.

    Raises Refused "build-and-coating" where they lend none.
    """
    y, turn = scaled(laid, ratio=ratio)
    squares, df = 0.0, 0
    for _, values in program.lent:
        own, free = _within_coatings(values, laid.subject, ratio=ratio)
        squares, df = squares + own, df + free
    if not df or laid.censored:
        raise Refused("build-and-coating")
    weights = np.zeros(len(laid.spots))
    units = 0.0
    for sign, coating in ((1.0, candidate), (-1.0, program.reference)):
        builds: dict[str, list[int]] = {}
        for place, spot in enumerate(laid.spots):
            if spot.coating == coating:
                builds.setdefault(spot.build, []).append(place)
        units += 1 / len(builds)
        for places in builds.values():
            weights[places] = sign / (len(places) * len(builds))
    contrast = contrasts.Contrast(float(weights @ y), math.sqrt(squares / df * units), float(df), weights, LENT)
    common, shared = subjects.common_parts(laid, weights, turn)
    return Answer(made, contrast, common, shared)


def _within_coatings(values: Sequence[Value], subject: Subject, *, ratio: bool) -> tuple[float, int]:
    """Sum of squares between the whole builds of each coating, and its degrees of freedom."""
    found: dict[str, list[float]] = {}
    held: dict[str, set[str]] = {}
    for value in values:
        key = value.key
        if key.engine and key.cylinder and key.coating:  # what is said of a whole build may name a candidate
            held.setdefault(key.engine, set()).add(key.coating)
        same = (value.measure, key.phase, key.at) == (subject.measure, subject.phase, subject.at)
        if same and key.coating and value.value is not None and (value.value > 0 or not ratio):
            found.setdefault(key.engine, []).append(math.log(value.value) if ratio else value.value)
    means: dict[str, list[float]] = {}
    for engine, own in found.items():
        if len(held[engine]) == 1:
            means.setdefault(next(iter(held[engine])), []).append(fmean(own))
    squares = math.fsum((each - fmean(own)) ** 2 for own in means.values() for each in own)
    return squares, sum(len(own) - 1 for own in means.values())


def _scattered(laid: Entries, answer: Answer, *, ratio: bool) -> None:
    """Raises Refused where coarse readings came out so alike that nothing but rounding is left of their scatter."""
    y, _ = scaled(laid, ratio=ratio)
    if not laid.censored and float(answer.contrast.se) <= ROUNDING * float(np.abs(y).max()):
        raise Refused("no-scatter-at-all")


def _correlations(laid: Entries, reference: str, answers: Mapping[str, Answer]) -> list[float]:
    """b of each candidate, by product of which the contrasts with one reference correlate."""

    def units(coating: str) -> int:
        by_block = any(answer.made.name == "by block" for answer in answers.values())
        return len({spot.block if by_block else spot.build for spot in laid.spots if spot.coating == coating})

    base = units(reference)
    return [math.sqrt(n / (n + base)) for n in map(units, answers)]


@dataclass(frozen=True)
class _Cuts:
    """What widens a standard error to an interval."""

    own: float  # of the independent part
    common: float  # of a part known as a normal standard error

    def half(self, se: float, common: float, shared: float) -> float:
        """Half-width; parts in quadrature. `shared` is a half-width at 95 % already."""
        return math.hypot(self.own * se, self.common * common, self.common / NORMAL_95 * shared)


def _cuts(
    program: Program, laid: Entries, extra: object, answers: Mapping[str, Answer], answer: Answer, over: int
) -> tuple[_Cuts, Callable[[float], float]]:
    """The cut of this family, and the adjusted p value as a function of t."""
    df, error = float(answer.contrast.df), ERROR / over
    family = len(program.candidates)
    same = all(each.made.procedure in TOGETHER for each in answers.values()) and extra is None
    if family > 1 and same and len(answers) == family:
        b = _correlations(laid, program.reference, answers)
        cut = dunnett.critical(b, df, error)

        def p_value(t: float) -> float:
            return min(1.0, over * dunnett.p_value(t, b, df))
    else:
        cut = dunnett.critical([0.0], df, error / family)

        def p_value(t: float) -> float:
            return min(1.0, over * family * dunnett.p_value(t, [0.0], df))

    return _Cuts(cut, normal_two_sided(error / family)), p_value


def _concluded(
    program: Program, measure: Measure, laid: Entries, extra: np.ndarray | None, row: Comparison,
    answers: Mapping[str, Answer], answer: Answer, over: int,
) -> Comparison:  # fmt: skip
    """The row with its estimate, interval, p values and verdict."""
    ratio = row.scale == "ratio"
    bounded = bool(_bounded(laid, row, answer.made))
    if bounded and answer.contrast.procedure == "welch":
        least = float(min(_units(laid, coating) for coating in (row.coating, row.reference)) - 1)
        answer = replace(answer, contrast=replace(answer.contrast, df=least))
    cuts, p_value = _cuts(program, laid, extra, answers, answer, over)
    estimate, se = float(answer.contrast.estimate), float(answer.contrast.se)
    half = cuts.half(se, answer.common, answer.shared)
    low, high = estimate - half, estimate + half
    censored = laid.kept([row.coating, row.reference]).censored
    if bounded:
        low, high = _hull(laid, extra, answer.made, row, cuts)
    untested = answer.made.procedure in UNTESTED
    tested = not untested and not bounded
    stated = None if censored else math.exp(estimate) if ratio else estimate
    ends = interval(stated, *((ratio_of(low), ratio_of(high)) if ratio else (low, high)))
    verdict, reason = _verdict(measure, *beyond(ends, row.scale)), ""
    if untested:
        verdict, reason = "cannot tell", "one-build"
    elif answer.made.procedure == "paired" and 0 in answer.made.first:
        verdict, reason, tested = "cannot tell", "order-and-coating", False
    p = p_value(abs(estimate) * cuts.own / half) if tested and half > 0 else None
    out = replace(
        row,
        procedure=answer.made.procedure if untested else answer.contrast.procedure,
        scope=answer.made.scope,
        estimate=stated,
        low=ratio_of(low) if ratio else low,
        high=ratio_of(high) if ratio else high,
        df=float(answer.contrast.df),
        se=se,
        p=p,
        verdict=verdict,
        reason=reason,
    )
    return _randomised(program, laid, _clustered(laid, out))


def ratio_of(log: float) -> float:
    """The ratio of a logarithm; unbounded where no number is large enough."""
    return math.exp(log) if log < LARGEST else math.inf


def _bounded(laid: Entries, row: Comparison, made: design.Design) -> list[int]:
    """Places of values below detection that enter the means or the scatter of a comparison."""
    coatings = {row.coating, row.reference, *made.scatter_coatings}
    builds = {*made.builds, *made.scatter}
    return [place for place in laid.censored if laid.spots[place].coating in coatings
            and laid.spots[place].build in builds]  # fmt: skip


def _units(laid: Entries, coating: str) -> int:
    return sum(unit.coating == coating for unit in design.units(laid.spots))


def beyond(found: Interval, scale: str) -> tuple[bool, bool]:
    """Whether a difference as it is stored lies below nothing, and above it."""
    none = 1.0 if scale == "ratio" else 0.0
    _, low, high = found
    return high is not None and high < none, low is not None and low > none


def _verdict(measure: Measure, below: bool, above: bool) -> Literal["cannot tell", "less", "more", "better", "worse"]:
    if not below and not above:
        return "cannot tell"
    if not measure.better:
        return "less" if below else "more"
    return "better" if below == (measure.better == "less") else "worse"


def _hull(
    laid: Entries, extra: np.ndarray | None, made: design.Design, row: Comparison, cuts: _Cuts
) -> tuple[float, float]:
    """The interval over every combination of bounds of the values below detection.

    Exact: the lower end is concave and the upper end convex in each value, so both have their extremes at corners.
    Only Welch's degrees of freedom move with the values: there the cut is that of the fewest they can be.
    """
    ends: list[tuple[float, float]] = []
    places = laid.censored
    for corner in range(2 ** len(places)):
        values = list(laid.values)
        for bit, place in enumerate(places):
            limit = values[place].high or 0.0
            end = limit if corner >> bit & 1 else min(values[place].low or 0.0, limit)
            values[place] = replace(values[place], value=end, status="ok")
        answer = _answer(replace(laid, values=tuple(values)), extra, made, row.coating, row.reference, ratio=False)
        half = cuts.half(float(answer.contrast.se), answer.common, answer.shared)
        ends.append((float(answer.contrast.estimate) - half, float(answer.contrast.estimate) + half))
    return min(low for low, _ in ends), max(high for _, high in ends)


# ---- beside it ------------------------------------------------------------------------------------------------------


def _clustered(laid: Entries, row: Comparison) -> Comparison:
    """How alike the cylinders of one build are, and how many independent tests they are worth; whole builds only."""
    if row.procedure not in {"pooled", "welch", "borrowed"} or laid.censored:
        return row
    if any(spot.position == 0 for spot in laid.spots):
        return row
    y, _ = scaled(laid, ratio=row.scale == "ratio")
    try:
        found = intraclass.intraclass(y, [s.build for s in laid.spots], [s.coating for s in laid.spots])
    except Refused:
        return row
    pair = row.cylinders + row.cylinders_reference  # the scatter is that of all coatings, the tests are of these two

    def worth(icc: float) -> float:
        return intraclass.effective(pair, found.size, icc)

    return replace(
        row,
        icc=found.icc, icc_low=found.low, icc_high=found.high,
        effective=worth(found.icc), effective_low=worth(found.high), effective_high=worth(found.low),
    )  # fmt: skip


def _randomised(program: Program, laid: Entries, row: Comparison) -> Comparison:
    """The randomisation test at the level of assignment, where the recorded scheme and seed give this allocation."""
    if row.design == "by block" or row.procedure == "paired" or laid.censored:
        return row  # not assigned build by build
    pair = laid.kept([row.coating, row.reference])
    y, _ = scaled(pair, ratio=row.scale == "ratio")
    try:
        if row.procedure in {"differences", "fixed"}:
            own = _holding_both(pair)
            labels, builds = [pair.spots[i].coating for i in own], [pair.spots[i].build for i in own]
            found = randomisation.within_builds([y[i] for i in own], labels, builds, row.coating, row.reference)
        else:
            means, labels, rounds = _by_build(program, pair, y.tolist())
            if program.allocation_scheme == "whole builds in rounds":
                found = randomisation.in_rounds(means, labels, rounds, row.coating, row.reference)
            else:
                found = randomisation.whole_builds(means, labels, row.coating, row.reference)
    except Refused:
        return row
    speaks = found.least_p <= ERROR and row.p is not None and allocation.follows(program)
    return replace(row, least_p=found.least_p, p_randomised=found.p if speaks else None)


def _holding_both(pair: Entries) -> list[int]:
    held: dict[str, set[str]] = {}
    for spot in pair.spots:
        held.setdefault(spot.build, set()).add(spot.coating)
    return [place for place, spot in enumerate(pair.spots) if len(held[spot.build]) > 1]


def _by_build(program: Program, pair: Entries, y: Sequence[float]) -> tuple[list[float], list[str], list[int]]:
    """Build means, their coatings, and the round each build was run in."""
    groups: dict[str, list[float]] = {}
    coating: dict[str, str] = {}
    for spot, number in zip(pair.spots, y, strict=True):
        groups.setdefault(spot.build, []).append(float(number))
        coating[spot.build] = spot.coating
    size = len(program.coatings)
    rounds = [(program.build(build).built - 1) // size for build in groups]
    return [math.fsum(own) / len(own) for own in groups.values()], [coating[build] for build in groups], rounds


def of(rows: Iterable[Comparison], subject: Subject, coating: str) -> Comparison | None:
    """The comparison of one subject and coating among those made."""
    wanted = (subject.measure, subject.phase, subject.at, coating)
    return next((row for row in rows if (row.measure, row.phase, row.at, row.coating) == wanted), None)
