"""Steps from readings to leak areas: the tester's own scale, the area of each check, its share to the crankcase."""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import fmean

import pandas as pd

from sitegen.declarations import Step
from sitegen.methods import leakdown as method
from sitegen.methods.intervals import NORMAL_95, student_95
from sitegen.program.model import Build, Program
from sitegen.rounding import interval
from sitegen.streams.leakdown.checks import Check, air_of, checks, reference_rows, share_to_crankcase
from sitegen.streams.leakdown.fields import Reading
from sitegen.streams.leakdown.measures import (
    AREA,
    BUILD,
    CRANKCASE,
    GAUGE,
    OCCASION,
    PERCENT,
    REFERENCE,
    REPEAT,
    SUPPLY_RATIO,
)
from sitegen.tables.rows import rows_in
from sitegen.vocabulary import Book, Key, Readings, Refused, Result, Series, Value, Verdict, refused

MM2 = 1e6  # mm² in a m²

LEAST_SHARE = 0.05  # smallest share of a leak that is told apart by ear or hand [-]; from memory
KIND_OF_LEAK = "kind of leak"  # rule of the verdict slit / hole / cannot tell


# ---- the testers ----------------------------------------------------------------------------------------------------


def run_testers(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """Scale and scatter of each tester over the whole program, from its reference-orifice readings and from repeats."""
    del engine, book
    frame = readings["leakdown"].frame
    every = rows_in(readings["leakdown"], Reading)
    rows = reference_rows(every)
    for tester_id in sorted(set(frame["tester"].dropna())):
        tester = program.definitions.testers[tester_id]
        key = Key(at=tester_id)
        nominal = method.orifice_area(tester.orifice)
        ratios: list[float] = []
        occasions: list[Hashable] = []
        orifices = set()
        for row in (row for row in rows if row.tester == tester_id):
            orifice = program.definitions.reference_orifices[str(row.reference)]
            orifices.add(orifice)
            # in units of the orifice read, so that readings of several orifices stand together
            ratios.append(air_of(row, tester).ratio() * nominal / method.orifice_area(orifice.diameter))
            occasions.append((row.engine, row.phase))
        if not ratios:
            yield refused(REFERENCE.id, key, Refused("no-reference-reading"))
            yield refused(OCCASION.id, key, Refused("no-reference-reading"))
            continue
        try:
            factor = method.tester_factor(ratios, occasions, master_area=1.0, reference_area=1.0)
        except Refused as why:
            yield refused(REFERENCE.id, key, why)
            yield refused(OCCASION.id, key, why)
            continue
        common = max(method.bore_error(orifice.diameter, orifice.tolerance) for orifice in orifices)
        half = student_95(factor.between.df) * factor.log_se
        yield Value(
            REFERENCE.id,
            key,
            factor.factor,
            low=factor.factor * math.exp(-half),
            high=factor.factor * math.exp(half),
            se=factor.factor * factor.log_se,
            df=factor.between.df,
            se_common=factor.factor * common,
            common="orifice:" + "+".join(sorted(orifice.id for orifice in orifices)),
            n=len(factor.by_occasion),
            of="check",
        )
        yield Value(
            OCCASION.id, key, 100 * factor.between.sd, df=factor.between.df, n=len(factor.by_occasion), of="check"
        )
    yield _repeat_scatter(list(checks(program, every)))


def _repeat_scatter(found: Sequence[Check]) -> Value:
    groups = [[air.ratio() for air in check.airs if not math.isnan(air.cylinder)] for check in found]
    try:
        scatter = method.pooled_repeats([group for group in groups if len(group) > 1])
    except Refused as why:
        return refused(REPEAT.id, Key(), why)
    return Value(REPEAT.id, Key(), 100 * scatter.sd, df=scatter.df, n=sum(map(len, groups)), of="repeat")


# ---- the checks -----------------------------------------------------------------------------------------------------


def run_areas(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """Percent, leak area and its crankcase share of every check of one build, and the mean of the build."""
    build = program.build(engine)
    found = list(checks(program, rows_in(readings["leakdown"], Reading)))
    areas: dict[tuple[int, str, str], method.Area] = {}
    rings: list[Value] = []
    single: dict[int, list[tuple[str, str, float]]] = {}  # each reading as an area to the crankcase, for drawing
    for check in found:
        key = build.key(check.cylinder, check.phase, check.at)
        flags = check.assumed | ({"other-tester"} if check.other_tester else frozenset())
        percents = check.percents
        yield Value(PERCENT.id, key, sum(percents) / len(percents), n=len(percents), of="reading", flags=flags)
        try:
            area, scale, more = _area(program, check, book)
        except Refused as why:
            yield refused(AREA.id, key, why)
            yield refused(CRANKCASE.id, key, why)
            continue
        areas[check.cylinder, check.phase, check.at] = area
        whole = _value(AREA.id, key, area, scale, check, flags | more)
        yield whole
        ring = _to_crankcase(check, area, whole)
        rings.append(ring)
        yield ring
        if ring.value is None or not whole.value:
            continue
        share = ring.value / whole.value
        low, high = MM2 * share * area.gauge_low, MM2 * share * area.gauge_high
        yield Value(GAUGE.id, key, (high - low) / 2, low=low, high=high, n=area.n, of="reading")
        if check.at == "":
            to_area = (
                MM2 * share * scale.factor * method.orifice_area(program.definitions.testers[check.tester].orifice)
            )
            single.setdefault(check.cylinder, []).extend(
                (check.phase, reading, to_area * air.ratio())
                for reading, air in zip(check.readings, check.airs, strict=True)
            )
    for cylinder, rows in single.items():
        frame = pd.DataFrame(rows, columns=["phase", "reading", "area"])
        yield Series("leakdown.readings", build.key(cylinder), {"area": "mm²"}, frame)
    yield from _build_means(build, rings)
    yield from _kinds(build, found, areas)


@dataclass(frozen=True)
class _Scale:
    """What a tester's nominal orifice is to be multiplied with, and what all its readings share. Relative [-]."""

    factor: float
    common: float  # standard error
    half: float  # half-width of 95 %


def _area(program: Program, check: Check, book: Book) -> tuple[method.Area, _Scale, frozenset[str]]:
    """Area, the tester's scale and flags."""
    tester = program.definitions.testers[check.tester]
    if any(math.isnan(air.cylinder) for air in check.airs):
        raise Refused("percent-scale-unknown")
    flags = set()
    scale = book.get(REFERENCE.id, Key(at=check.tester))
    if (
        scale is not None
        and scale.status == "ok"
        and scale.value
        and scale.se is not None
        and scale.se_common is not None
    ):
        own, bore = scale.se / scale.value, scale.se_common / scale.value
        half = math.hypot(student_95(math.inf if scale.df is None else scale.df) * own, NORMAL_95 * bore)
        on_scale = _Scale(scale.value, math.hypot(own, bore), half)
    else:
        bore = method.bore_error(tester.orifice, tester.orifice_tolerance)
        on_scale = _Scale(1.0, bore, NORMAL_95 * bore)
        seldom = scale is not None and scale.reason == "few-reference-occasions"
        flags.add("few-reference-readings" if seldom else "no-reference-orifice")
    repeats = book.get(REPEAT.id, Key())
    scatter = None
    if repeats is not None and repeats.status == "ok" and repeats.value is not None and repeats.df is not None:
        scatter = method.Scatter(repeats.value / 100, repeats.df)
        if method.repeats_disagree([air.ratio() for air in check.airs], scatter, repeats.n):
            flags.add("repeats-disagree")
    else:
        flags.add("no-repeats")
    airs = check.airs
    area = method.leak_area(
        [air.supply for air in airs],
        [air.cylinder for air in airs],
        master_area=method.orifice_area(tester.orifice) * on_scale.factor,
        gauge_limit=tester.gauge_class,
        ambient=fmean([air.ambient for air in airs]),
        supply_temperature=fmean([air.supply_temperature for air in airs]),
        cylinder_temperature=fmean([air.cylinder_temperature for air in airs]),
        repeats=scatter,
    )
    return area, on_scale, frozenset(flags)


def _value(measure: str, key: Key, area: method.Area, scale: _Scale, check: Check, flags: frozenset[str]) -> Value:
    tester = f"tester:{check.tester}"
    if area.value is None:
        high = area.high * (1 + scale.half)
        return Value(
            measure, key, None, high=MM2 * high, common=tester, n=area.n, of="reading", status="below",
            flags=flags, reason="below-detection",
        )  # fmt: skip
    shared = scale.half * area.value
    return Value(
        measure,
        key,
        MM2 * area.value,
        low=MM2 * max(area.value - math.hypot(area.value - area.low, shared), 0.0),
        high=MM2 * (area.value + math.hypot(area.high - area.value, shared)),
        se=MM2 * area.se,
        df=None if math.isinf(area.df) else area.df,
        se_common=MM2 * scale.common * area.value,
        common=tester,
        n=area.n,
        of="reading",
        flags=flags,
    )


def _to_crankcase(check: Check, area: method.Area, whole: Value) -> Value:
    if area.value is None:  # less than the limit by all paths together, so less by this one
        return replace(whole, measure=CRANKCASE.id)
    try:
        found = share_to_crankcase(check, area.value)
    except Refused as why:
        if why.code != "path-unknown":
            return refused(CRANKCASE.id, whole.key, why)
        return replace(whole, measure=CRANKCASE.id, flags=whole.flags | {"path-unknown"})

    flags = whole.flags | ({"path-unknown"} if found.bound else frozenset())
    if found.share <= 0:  # nothing was found to go there: less than the half of a tenth that shares are written in
        high = None if whole.high is None else LEAST_SHARE * whole.high
        return replace(
            whole, measure=CRANKCASE.id, value=None, low=None, high=high, se=None, df=None, se_common=None,
            status="below", flags=flags, reason="no-share",
        )  # fmt: skip

    def part(number: float | None) -> float | None:
        return None if number is None else found.share * number

    return replace(
        whole,
        measure=CRANKCASE.id,
        flags=flags,
        value=part(whole.value),
        low=part(whole.low),
        high=part(whole.high),
        se=part(whole.se),
        se_common=part(whole.se_common),
    )


def _build_means(build: Build, rings: Sequence[Value]) -> Iterable[Value]:
    """Mean over the cylinders of one coating, where all of them have a value."""
    phases = dict.fromkeys(ring.key.phase for ring in rings)
    for coating in build.coatings:
        places = [place.cylinder for place in build.places if place.coating == coating]
        for phase in phases:
            own = [r for r in rings if r.key.phase == phase and r.key.at == "" and r.key.coating == coating]
            key = Key(build.id, 0, coating, phase)
            values = [ring.value for ring in own if ring.value is not None]
            if len(values) < len(places):
                yield Value(BUILD.id, key, status="refused", reason="cylinders-missing", n=len(values), of="cylinder")
                continue
            flags = frozenset().union(*(ring.flags for ring in own))
            yield Value(BUILD.id, key, fmean(values), n=len(values), of="cylinder", flags=flags)


def _kinds(
    build: Build, found: Sequence[Check], areas: Mapping[tuple[int, str, str], method.Area]
) -> Iterable[Value | Verdict]:
    """Slit or hole, where a second supply pressure was taken at the same check."""
    by_place = {(check.cylinder, check.phase, check.at): check for check in found}
    for (cylinder, phase, at), check in by_place.items():
        base = by_place.get((cylinder, phase, ""))
        if not at.startswith("supply:") or "," in at or base is None or base.tester != check.tester:
            continue
        key = build.key(cylinder, phase, at)
        pair = sorted((base, check), key=lambda each: fmean([air.supply for air in each.airs]))
        known = [areas.get((each.cylinder, each.phase, each.at)) for each in pair]
        if known[0] is None or known[1] is None:
            continue  # the refusal stands at the area itself
        pressures = [fmean([air.cylinder for air in each.airs]) for each in pair]
        try:
            kind = method.slit_or_hole(
                known[0], known[1], pressures[0], pressures[1], fmean([air.ambient for air in base.airs])
            )
        except Refused as why:
            yield refused(SUPPLY_RATIO.id, key, why)
            continue
        yield Value(SUPPLY_RATIO.id, key, kind.ratio, low=kind.low, high=kind.high, n=2, of="check")
        ratio, low, high = interval(kind.ratio, kind.low, kind.high)
        slit, _, _ = interval(kind.slit_ratio, None, None)
        yield Verdict(
            KIND_OF_LEAK,
            key,
            method.kind_of_leak(low or 0.0, math.inf if high is None else high, slit or 0.0),
            limit=slit,
            found=ratio,
            low=low,
            high=high,
            route="slit-or-hole",
            deciding=f"{SUPPLY_RATIO.id}@{at}",
        )


TESTERS = Step(
    name="leak-testers",
    gives=(REFERENCE, OCCASION, REPEAT),
    run=run_testers,
    reads=("leakdown",),
    scope="program",
    revision=2,
)
AREAS = Step(
    name="leak-areas",
    gives=(PERCENT, AREA, CRANKCASE, GAUGE, BUILD, SUPPLY_RATIO),
    run=run_areas,
    reads=("leakdown",),
    needs=(REFERENCE.id, REPEAT.id),
    revision=2,
)
