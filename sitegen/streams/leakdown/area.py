"""Steps from readings to leak areas: the area of each check, its share to the crankcase, slit or hole."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from statistics import fmean

from sitegen.declarations import Step
from sitegen.methods import leakdown as method
from sitegen.methods.intervals import NORMAL_95
from sitegen.program.model import Build, Program, Tester
from sitegen.rounding import interval
from sitegen.streams.leakdown.checks import Check, checks, share_to_crankcase
from sitegen.streams.leakdown.fields import Reading
from sitegen.streams.leakdown.measures import (
    AREA,
    BUILD,
    BY_OPERATOR,
    CRANKCASE,
    GAUGE,
    OCCASION,
    PERCENT,
    REFERENCE,
    REFERENCE_GAUGE,
    REPEAT,
    SUPPLY_RATIO,
)
from sitegen.streams.leakdown.testers import Scale, nominal, scale_of
from sitegen.tables.rows import rows_in
from sitegen.vocabulary import Book, Key, Readings, Refused, Result, Series, Value, Verdict, refused

MM2 = 1e6  # mm² in a m²

LEAST_SHARE = 0.05  # smallest share of a leak that is told apart by ear or hand [-]; from memory
KIND_OF_LEAK = "kind of leak"  # rule of the verdict slit / hole / cannot tell


# ---- the checks -----------------------------------------------------------------------------------------------------


def run_areas(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """Percent, leak area and its crankcase share of every check of one build, and the mean of the build."""
    import pandas as pd

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
        ends = (MM2 * share * area.gauge_low, MM2 * share * area.gauge_high)
        yield Value(GAUGE.id, key, (ends[1] - ends[0]) / 2, min(ends), max(ends), n=area.n, of="reading")
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


def _area(program: Program, check: Check, book: Book) -> tuple[method.Area, Scale, frozenset[str]]:
    """Area, the tester's scale and flags."""
    tester = program.definitions.testers[check.tester]
    if any(math.isnan(air.cylinder) for air in check.airs):
        raise Refused("percent-scale-unknown")
    scale = scale_of(program, check.tester, book)
    flags = set(scale.flags)
    repeats = book.get(REPEAT.id, Key())
    scatter = None
    if repeats is not None and repeats.status == "ok" and repeats.value is not None and repeats.df is not None:
        scatter = method.Scatter(repeats.value / 100, repeats.df)
        if method.repeats_disagree([air.ratio() for air in check.airs], scatter, repeats.n):
            flags.add("repeats-disagree")
    else:
        flags.add("no-repeats")
    room = _of_room(program, check)
    another = book.get(BY_OPERATOR.id, Key(at=check.tester))
    by_operator = 0.0 if another is None or another.value is None else another.value / 100
    scale = replace(scale, common=math.hypot(scale.common, room), operator=by_operator)
    area = _worked_out(check, tester, scale, scatter)
    if scale.gauge != (1.0, 1.0) and area.value is not None:
        bore = nominal(tester, scale.occasion)
        bore = replace(bore, common=math.hypot(bore.common, room), operator=by_operator)
        if _relative(_worked_out(check, tester, bore, scatter), bore) < _relative(area, scale):
            flags.add("wider-than-nominal")
    return area, scale, frozenset(flags)


def _of_room(program: Program, check: Check) -> float:
    """Half-width of what barometer and thermometer do to an area [-]: their limits, one after the other.

    Nothing where a limit is not stated, or the quantity was not recorded: it is flagged then as assumed.
    """
    pressure, temperature = (program.definitions.limit_of(kind) or 0.0 for kind in ("barometer", "thermometer"))
    air = check.airs[0]
    as_read = air.ratio()
    moved = [
        replace(air, ambient=air.ambient + (0.0 if "ambient-assumed" in check.assumed else pressure)),
        replace(air, supply_temperature=air.supply_temperature + temperature),
        replace(air, cylinder_temperature=air.cylinder_temperature + temperature),
    ]
    if not as_read or not math.isfinite(as_read):
        return 0.0
    return math.hypot(*(each.ratio() / as_read - 1 for each in moved))


def _worked_out(check: Check, tester: Tester, scale: Scale, scatter: method.Scatter | None) -> method.Area:
    airs = check.airs
    return method.leak_area(
        [air.supply for air in airs],
        [air.cylinder for air in airs],
        master_area=method.orifice_area(tester.orifice) * scale.factor,
        gauge_limit=tester.gauge_class,
        ambient=fmean([air.ambient for air in airs]),
        supply_temperature=fmean([air.supply_temperature for air in airs]),
        cylinder_temperature=fmean([air.cylinder_temperature for air in airs]),
        repeats=scatter,
        reference=scale.gauge,
    )


def _relative(area: method.Area, scale: Scale) -> float:
    """Half-width of the whole interval [-]."""
    return math.hypot((area.high - area.low) / 2 / (area.value or math.inf), scale.shared)


def _value(measure: str, key: Key, area: method.Area, scale: Scale, check: Check, flags: frozenset[str]) -> Value:
    tester = f"tester:{check.tester}"
    if area.value is None:
        high = area.high * (1 + scale.shared)
        return Value(
            measure, key, None, high=MM2 * high, common=tester, n=area.n, of="reading", status="below",
            flags=flags, reason="below-detection",
        )  # fmt: skip
    shared = scale.shared * area.value
    return Value(
        measure,
        key,
        MM2 * area.value,
        low=MM2 * max(area.value - math.hypot(area.value - area.low, shared), 0.0),
        high=MM2 * (area.value + math.hypot(area.high - area.value, shared)),
        se=MM2 * area.se,
        df=None if math.isinf(area.df) else area.df,
        se_common=MM2 * shared / NORMAL_95,
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


AREAS = Step(
    name="leak-areas",
    gives=(PERCENT, AREA, CRANKCASE, GAUGE, BUILD, SUPPLY_RATIO),
    run=run_areas,
    reads=("leakdown",),
    needs=(REFERENCE.id, REFERENCE_GAUGE.id, OCCASION.id, REPEAT.id, BY_OPERATOR.id),
    revision=3,
    undecided={KIND_OF_LEAK: "cannot tell"},
)
