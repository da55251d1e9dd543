"""Steps along the checks of a build: changes, and the seating fit of each assembly."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from sitegen.declarations import Step
from sitegen.methods import seating as method
from sitegen.methods.intervals import student_95
from sitegen.methods.leakdown import Scatter
from sitegen.program.model import Assembly, Build, Phase, Program
from sitegen.streams.leakdown.measures import (
    CHANGE,
    CRANKCASE,
    ELSEWHERE,
    FLOOR,
    GAUGE,
    KM,
    MOVED,
    OCCASION,
    OWN_ELSEWHERE,
    OWN_RESIDUAL,
    PLATEAU,
    REFERENCE,
    REFERENCE_GAUGE,
    RESIDUAL,
    SCALE,
    START,
    TO_LOSE,
    UNEXPLAINED,
)
from sitegen.streams.leakdown.testers import scale_of, tester_of
from sitegen.vocabulary import Book, Key, Readings, Refused, Result, Value, refused

BLOWBY = "blowby.scale"  # measure of the run logs
FROM_BLOWBY = "scale-from-blow-by"
WITHOUT_SCALE = frozenset({"few-checks", "few-residual-df", "scale-open", "scale-at-bound"})


# ---- changes --------------------------------------------------------------------------------------------------------


def run_changes(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """Change of each cylinder since the check before that has a value, within an assembly and a temperature state.

    Only checks after the rings first ran: assembly oil seals the cold build, which lies on another curve. And what one
    occasion can move each level.
    """
    del readings
    build = program.build(engine)
    engine_scatter = scatter_of(book.get(ELSEWHERE.id, build.key()))
    for value in book.of(CRANKCASE.id):
        level = value.high if value.value is None else value.value
        if engine_scatter is None or value.status not in {"ok", "below"} or not level:
            continue
        half = beyond(scale_of(program, tester_of(value), book).occasion, engine_scatter) * level
        if half:
            yield Value(MOVED.id, value.key, half, n=value.n, of=value.of)
    for place in build.places:
        for earlier, later in _pairs(program, build, book, place.cylinder):
            key = later.key._replace(at=f"vs:{earlier.key.phase}")
            try:
                found = change_between(book, build, earlier, later)
            except Refused as why:
                yield refused(CHANGE.id, key, why)
                continue
            if found.value is None:  # one of the two levels is below detection: the bounds are all there is
                yield Value(CHANGE.id, key, None, found.low, found.high, n=2, of="check", reason="below-detection")
            else:
                yield Value(CHANGE.id, key, found.value, low=found.low, high=found.high, n=2, of="check")


def change_between(book: Book, build: Build, earlier: Value, later: Value) -> method.Change:
    """What one cylinder's level did between two checks, beyond the scatter between occasions.

    Refuses: `other-tester`, `path-unknown` where the two levels are not of one kind; as `method.change`.
    """
    if earlier.common != later.common:
        raise Refused("other-tester")
    if ("path-unknown" in earlier.flags) != ("path-unknown" in later.flags):
        raise Refused("path-unknown")
    return method.change(_own(earlier), _own(later), _occasion(book, build, later))


def _pairs(program: Program, build: Build, book: Book, cylinder: int) -> Iterable[tuple[Value, Value]]:
    """Consecutive values of one cylinder in one assembly and temperature state, after the assembly first ran."""
    before: dict[tuple[str, str], Value] = {}
    fired: set[str] = set()
    for phase in program.phases_of(build):
        assembly = build.assembly_of(phase, program)
        if assembly is None:
            continue
        if phase.fires:
            fired.add(assembly.id)
        value = book.get(CRANKCASE.id, build.key(cylinder, phase.id))
        if assembly.id not in fired or value is None or value.status not in {"ok", "below"}:
            continue
        state = (assembly.id, phase.condition)
        if state in before:
            yield before[state], value
        before[state] = value


def _own(value: Value) -> method.Estimate:
    """A level with the interval of its independent errors alone; a limit where it is below detection."""
    if value.value is None:
        return method.Estimate(None, 0.0, math.inf if value.high is None else value.high)
    half = student_95(math.inf if value.df is None else value.df) * (value.se or 0.0)
    return method.Estimate(value.value, max(value.value - half, 0.0), value.value + half)


def _occasion(book: Book, build: Build, value: Value) -> Scatter | None:
    """Scatter from one occasion to the next: the tester's own, or that of engine means about their curves if larger.

    The reference orifice shows what an occasion does to the tester, not what it does to the engine.
    """
    tester = scatter_of(book.get(OCCASION.id, Key(at=tester_of(value))))
    engine = scatter_of(book.get(ELSEWHERE.id, build.key()))
    known = [each for each in (tester, engine) if each is not None]
    return max(known, key=lambda each: each.sd) if known else None


def beyond(within: float, engine: Scatter | None) -> float:
    """Half-width of what an occasion does to an engine beyond what it does to its tester, `within`. Relative [-]."""
    wanted = 0.0 if engine is None else student_95(engine.df) * engine.sd
    return math.sqrt(max(wanted**2 - within**2, 0.0))


# ---- the curve of an assembly ---------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Curve:
    """Fired checks of the cylinders of one coating in one assembly: what shares a seating scale.

    Exposure counts since the rings were fitted; leak areas are [cylinder][check], NaN where there is none.
    """

    assembly: Assembly
    coating: str
    phases: tuple[Phase, ...]
    km: tuple[float, ...]
    cylinders: tuple[int, ...]
    areas: tuple[tuple[float, ...], ...]
    gauges: tuple[tuple[float, ...], ...]  # what the gauges alone can move each area, relative half-width
    orifice: float  # the part of it that the reading of a reference orifice has, relative half-width
    common: float  # half-width at 95 % that all readings of the tester share, relative
    flags: frozenset[str]
    gap: str  # code, where a distance is missing or does not rise


def _curves(program: Program, build: Build, book: Book) -> list[_Curve]:
    curves = []
    for assembly in build.assemblies:
        fired = fit_phases(program, build, assembly)
        begin = _fitted_at(program, build, book, assembly)
        curves += [_curve(program, build, book, assembly, coating, fired, begin) for coating in build.coatings]
    return curves


def fit_phases(program: Program, build: Build, assembly: Assembly) -> list[Phase]:
    """Phases whose checks the seating curve of an assembly may hold: fired, made, none after the last of the fit."""
    through = fit_through(program)
    own = [p for p in program.phases_of(build) if build.assembly_of(p, program) is assembly and not build.is_due(p.id)]
    fired = [p for p in own if p.fires and "leakdown" in p.records and p.order <= through]
    # one curve holds one temperature state: that of its first check
    return [phase for phase in fired if phase.condition == fired[0].condition]


def fit_through(program: Program) -> float:
    """Order of the last phase of the fit: as stated, else the last before any durability run."""
    if program.seating.fit_through:
        return program.phase(program.seating.fit_through).order
    durable = [phase.order for phase in program.phases if phase.kind == "durability"]
    return min(durable) - 1 if durable else math.inf


def _curve(
    program: Program,
    build: Build,
    book: Book,
    assembly: Assembly,
    coating: str,
    fired: Sequence[Phase],
    begin: float,
) -> _Curve:
    cylinders = tuple(place.cylinder for place in build.places if place.coating == coating)
    kept: list[Phase] = []
    km: list[float] = []
    columns: list[list[float]] = []
    gauges: list[list[float]] = []
    flags: set[str] = set()
    common = orifice = 0.0
    gap = ""
    known = {cylinder: _path_known(build, book, cylinder, fired) for cylinder in cylinders}
    for phase in fired:
        distance = book.get(KM, build.key(phase=phase.id))
        values = [book.get(CRANKCASE.id, build.key(cylinder, phase.id)) for cylinder in cylinders]
        column = [_area(value, known[c]) for c, value in zip(cylinders, values, strict=True)]
        if all(math.isnan(area) for area in column):
            continue
        if distance is None or distance.value is None or distance.value - begin <= (km[-1] if km else 0.0):
            gap = "no-distance"
            continue
        kept.append(phase)
        km.append(distance.value - begin)
        columns.append(column)
        gauges.append(
            [_gauge_share(book, build.key(c, phase.id), area) for c, area in zip(cylinders, column, strict=True)]
        )
        for tester in {tester_of(v) for v in values if v is not None and v.value is not None}:
            scale = scale_of(program, tester, book)
            common, orifice = max(common, scale.common), max(orifice, scale.gauge_share)
        flags |= distance.flags.union(*(v.flags for v in values if v is not None and v.value is not None))
    return _Curve(
        assembly,
        coating,
        tuple(kept),
        tuple(km),
        cylinders,
        tuple(tuple(column[i] for column in columns) for i in range(len(cylinders))),
        tuple(tuple(column[i] for column in gauges) for i in range(len(cylinders))),
        orifice,
        common,
        frozenset(
            flags
            & {"from-schedule", "not-as-planned", "path-unknown", "no-reference-orifice", "few-reference-readings"}
        ),
        gap,
    )


def _gauge_share(book: Book, key: Key, area: float) -> float:
    gauge = book.get(GAUGE.id, key)
    return 0.0 if gauge is None or gauge.value is None or math.isnan(area) or area <= 0 else gauge.value / area


def _whole(build: Build, curve: _Curve) -> Key:
    return Key(build.id, 0, curve.coating, "", curve.assembly.id)


def _fitted_at(program: Program, build: Build, book: Book, assembly: Assembly) -> float:
    """Distance run when the rings of an assembly were fitted [km]: what the phases before it made."""
    first = program.phase(assembly.first).order
    before = [book.get(KM, build.key(phase=p.id)) for p in program.phases_of(build) if p.order < first]
    return max((value.value for value in before if value is not None and value.value is not None), default=0.0)


def _path_known(build: Build, book: Book, cylinder: int, phases: Sequence[Phase]) -> bool:
    values = [book.get(CRANKCASE.id, build.key(cylinder, phase.id)) for phase in phases]
    return any(value is not None and value.value is not None and "path-unknown" not in value.flags for value in values)


def _area(value: Value | None, path_known: bool) -> float:
    """Area for the fit; NaN where it is not to be relied on, or holds paths that the rest of its line does not."""
    if value is None or value.value is None or value.flags & {"other-tester", "repeats-disagree"}:
        return math.nan
    return math.nan if path_known and "path-unknown" in value.flags else value.value


def run_residuals(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """Scatter about the seating curves of one build: of the engine mean, and of cylinders beside it."""
    del readings
    build = program.build(engine)
    for curve in _curves(program, build, book):
        key = _whole(build, curve)
        for measure, residual in ((RESIDUAL, method.mean_residual), (OWN_RESIDUAL, method.own_residual)):
            if curve.gap:
                yield refused(measure.id, key, Refused(curve.gap))
                continue
            try:
                scatter = residual(curve.km, curve.areas)
            except Refused as why:
                yield refused(measure.id, key, why)
                continue
            yield Value(measure.id, key, 100 * scatter.sd, df=scatter.df, n=len(curve.km), of="check")


def run_elsewhere(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """For each build, these scatters pooled over the other builds of the program."""
    del engine, readings
    for measure, pooled in ((RESIDUAL, ELSEWHERE), (OWN_RESIDUAL, OWN_ELSEWHERE)):
        found = [value for value in book.of(measure.id) if value.value is not None and value.df is not None]
        for build in program.builds:
            others = [Scatter((v.value or 0.0) / 100, v.df or 0.0) for v in found if v.key.engine != build.id]
            scatter = method.pooled(others)
            if scatter is not None:
                yield Value(pooled.id, build.key(), 100 * scatter.sd, df=scatter.df, n=len(others), of="build")


def run_seating(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """The shared seating curve of each assembly with all its gates."""
    del readings
    build = program.build(engine)
    elsewhere, own_elsewhere = (scatter_of(book.get(m.id, build.key())) for m in (ELSEWHERE, OWN_ELSEWHERE))
    for curve in _curves(program, build, book):
        yield from _fitted(build, curve, elsewhere, own_elsewhere, of_blowby(build, book, curve.assembly))


def scatter_of(value: Value | None) -> Scatter | None:
    """A stored scatter [%] as a share of the level, with its degrees of freedom."""
    if value is None or value.value is None or value.df is None:
        return None
    return Scatter(value.value / 100, value.df)


def of_blowby(build: Build, book: Book, assembly: Assembly) -> method.Estimate | None:
    """The seating distance of the engine's blow-by, where it speaks for the rings of an assembly; else None.

    It belongs to the whole engine: where that holds two coatings it speaks for neither.
    """
    found = book.get(BLOWBY, build.key(at=assembly.id))
    if found is None or found.value is None or not found.low or found.high is None or "unverified" in found.flags:
        return None
    alone = len(build.coatings) == 1 and math.isfinite(found.high)
    return method.Estimate(found.value, found.low, found.high) if alone else None


def _fit(curve: _Curve, elsewhere: Scatter | None, own_elsewhere: Scatter | None) -> method.Seating:
    if curve.gap:
        raise Refused(curve.gap)
    return method.fit(curve.km, curve.areas, elsewhere=elsewhere, own_elsewhere=own_elsewhere)


def _fitted(
    build: Build,
    curve: _Curve,
    elsewhere: Scatter | None,
    own_elsewhere: Scatter | None,
    blowby: method.Estimate | None,
) -> Iterable[Value]:
    """The curve of these checks; where they are too few to tell its scale, on that of the blow-by."""
    whole = _whole(build, curve)
    flags = curve.flags
    try:
        fit = _fit(curve, elsewhere, own_elsewhere)
    except Refused as why:
        none = refused(SCALE.id, whole, why)
        yield replace(none, n=int(why.facts["found"]), of="check") if why.code == "few-checks" else none
        try:
            if blowby is None or why.code not in WITHOUT_SCALE:
                raise
            fit = method.fit_on_scale(curve.km, curve.areas, blowby, elsewhere=elsewhere, own_elsewhere=own_elsewhere)
            flags |= {FROM_BLOWBY}
        except Refused as still:
            if curve.phases:
                for cylinder in curve.cylinders:
                    yield refused(TO_LOSE.id, build.key(cylinder, curve.phases[-1].id), still)
            return
    count = len(fit.checks)
    gauges = [
        method.gauge_shares(fit, i, curve.km, curve.areas[row], curve.gauges[row], curve.orifice)
        for i, row in enumerate(fit.rows)
    ]
    if FROM_BLOWBY not in flags:
        yield _scale(whole, curve, fit, max((each.scale for each in gauges), default=0.0))
    for i, row in enumerate(fit.rows):
        cylinder = curve.cylinders[row]
        place = build.key(cylinder, at=curve.assembly.id)
        own = gauges[i]
        for measure, estimates, share in ((START, fit.start, own.start), (PLATEAU, fit.plateau, own.plateau)):
            if estimates:
                found = method.widened(estimates[i], math.hypot(share, curve.common))
                yield Value(measure.id, place, found.value, found.low, found.high, n=count, of="check", flags=flags)
        for column, fitted, share in zip(fit.checks, fit.to_lose[i], own.to_lose, strict=True):
            key = build.key(cylinder, curve.phases[column].id)
            found = method.widened(fitted, math.hypot(share, curve.common))
            value, low, high = (above_nothing(number) for number in (found.value, found.low, found.high))
            yield Value(TO_LOSE.id, key, value, low, high, n=count, of="check", flags=flags)
    for left in fit.left_out:
        cylinder = curve.cylinders[left.row]
        yield refused(PLATEAU.id, build.key(cylinder, at=curve.assembly.id), Refused(left.code))
        yield refused(TO_LOSE.id, build.key(cylinder, curve.phases[-1].id), Refused(left.code))


def _scale(key: Key, curve: _Curve, fit: method.Seating, gauges: float) -> Value:
    """The seating distance; where the leak had settled before the first check only its upper limit is known."""
    count = len(fit.checks)
    if fit.scale is not None:
        scale = method.widened(fit.scale, gauges)
        return Value(SCALE.id, key, scale.value, scale.low, scale.high, n=count, of="check", flags=curve.flags)
    if fit.open_end == "below":
        return Value(
            SCALE.id, key, high=fit.scale_high, n=count, of="check", status="below", flags=curve.flags,
            reason="scale-open-below",
        )  # fmt: skip
    return refused(SCALE.id, key, Refused("scale-open-above"))


NOTHING = 1e-6  # mm²: a hole of 1 µm; below it the tail of an exponential says nothing about a ring


def above_nothing(number: float | None) -> float | None:
    """Leak still to lose without the digits of a curve's far tail: what is less than NOTHING counts as that."""
    if number is None or number == 0 or abs(number) >= NOTHING:
        return number
    return math.copysign(NOTHING, number)


# ---- against the gaps -----------------------------------------------------------------------------------------------


def run_unexplained(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """Leak to the crankcase less what the end gaps alone would leak, at every check of an assembly."""
    del readings
    build = program.build(engine)
    sheets = sorted((v for v in book.of(FLOOR)), key=lambda value: program.phase(value.key.phase).order)
    for value in book.of(CRANKCASE.id):
        if value.key.at or value.status != "ok" or value.value is None:
            continue
        # the latest sheet taken up to this check: a refit may have changed the gaps
        order = program.phase(value.key.phase).order
        floors = [each for each in sheets if each.key.cylinder == value.key.cylinder]
        floors = [each for each in floors if program.phase(each.key.phase).order <= order]
        if not floors:
            continue
        floor = floors[-1]
        key = build.key(value.key.cylinder, value.key.phase)
        if floor.value is None or floor.low is None or floor.high is None:
            yield refused(UNEXPLAINED.id, key, Refused(floor.reason or "no-gap"))
            continue
        low = value.value if value.low is None else value.low
        high = value.value if value.high is None else value.high
        yield Value(
            UNEXPLAINED.id,
            key,
            value.value - floor.value,
            low=value.value - floor.value - math.hypot(value.value - low, floor.high - floor.value),
            high=value.value - floor.value + math.hypot(high - value.value, floor.value - floor.low),
            n=value.n,
            of="reading",
            flags=value.flags,
        )


TESTER = (REFERENCE.id, REFERENCE_GAUGE.id, OCCASION.id)  # what `scale_of` asks for
CHANGES = Step(
    name="leak-changes", gives=(CHANGE, MOVED), run=run_changes, needs=(CRANKCASE.id, *TESTER, ELSEWHERE.id), revision=2
)
RESIDUALS = Step(
    name="seating-residuals",
    gives=(RESIDUAL, OWN_RESIDUAL),
    run=run_residuals,
    needs=(CRANKCASE.id, KM, GAUGE.id, *TESTER),
    revision=2,
)
ELSEWHERES = Step(
    name="seating-elsewhere",
    gives=(ELSEWHERE, OWN_ELSEWHERE),
    run=run_elsewhere,
    needs=(RESIDUAL.id, OWN_RESIDUAL.id),
    scope="program",
)
SEATING = Step(
    name="seating",
    gives=(SCALE, START, PLATEAU, TO_LOSE),
    run=run_seating,
    needs=(CRANKCASE.id, KM, GAUGE.id, *TESTER, ELSEWHERE.id, OWN_ELSEWHERE.id, BLOWBY),
    revision=2,
)
UNEXPLAINED_BY_GAPS = Step(
    name="leak-unexplained", gives=(UNEXPLAINED,), run=run_unexplained, needs=(CRANKCASE.id, FLOOR)
)
