"""Steps of the build sheet: what was measured, what the end gaps alone leak, what the rings lost."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import fmean

from sitegen.declarations import Step
from sitegen.methods import ringgap, weighing
from sitegen.methods.leakdown import STANDARD_AMBIENT
from sitegen.program.model import Build, Program
from sitegen.streams.buildsheet.fields import Reading
from sitegen.streams.buildsheet.measures import (
    BORE,
    CLEARANCE,
    FACE_WEAR,
    FLOOR,
    GAP,
    GAP_GAUGE,
    MASS,
    MASS_LOSS,
    SCATTER,
    TENSION,
    TENSION_LOSS,
    THICKNESS,
)
from sitegen.tables.rows import given, rows_in
from sitegen.vocabulary import Book, Key, Measure, Readings, Refused, Result, Value, refused

COMPRESSION_RINGS = ("top", "second")


@dataclass(frozen=True)
class _Measured:
    """A column of the sheet that becomes a measure."""

    measure: Measure
    field: str
    tool: str  # field that names the tool; "" none is asked for
    scale: float  # from SI to the unit of the measure
    by_ring: bool = True


_MEASURED = (
    _Measured(GAP, "gap_bore", "tool_gap", 1e3),
    _Measured(GAP_GAUGE, "gap_gauge", "tool_gap", 1e3),
    _Measured(MASS, "mass", "tool_mass", 1e3),
    _Measured(TENSION, "tension", "tool_tension", 1.0),
    _Measured(THICKNESS, "radial_thickness", "", 1e3),
    _Measured(BORE, "bore", "tool_bore", 1e3, by_ring=False),
)


def run_scatter(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """How much weighings of one ring in one state differ, over all rings of the program."""
    del engine, book
    groups: dict[tuple[str, float, str, str], list[float]] = {}
    tools: list[str | None] = []
    for row in _used(readings):
        if given(row.mass) and given(row.ring):
            groups.setdefault((row.engine, row.cylinder, row.phase, str(row.ring)), []).append(1e6 * row.mass)
            tools.append(str(row.tool_mass) if given(row.tool_mass) else None)
    found = weighing.pooled(groups.values(), 1e6 * _readability(program, tools))
    if found is not None:
        n = sum(len(group) for group in groups.values() if len(group) > 1)
        yield Value(SCATTER.id, _WHOLE, found.deviation, df=float(found.df), n=n, of="reading")


_WHOLE = Key("", 0, "", "")


def _scatter(book: Book) -> weighing.Scatter | None:
    """Scatter of one weighing [kg]; None where no ring was weighed again."""
    value = book.get(SCATTER.id, _WHOLE)
    if value is None or value.value is None or value.df is None:
        return None
    return weighing.Scatter(1e-6 * value.value, int(value.df))


def run_measured(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """Means of the repeats of every number of the sheet, by cylinder, phase and ring."""
    build = program.build(engine)
    rows = _used(readings)
    scatter = _scatter(book)
    for what in _MEASURED:
        for key, numbers, tools in _by_place(build, rows, what.field, what.tool, by_ring=what.by_ring):
            limit = _limit(program, tools) if what.tool else None
            if what.measure is MASS and limit is not None:
                limit = weighing.limit_of_mean(numbers, limit, scatter)
            yield _value(what, key, numbers, limit)
    bores = {
        (key.cylinder, key.phase): numbers for key, numbers, _ in _by_place(build, rows, "bore", "", by_ring=False)
    }
    for key, lands, _ in _by_place(build, rows, "land_diameter", "", by_ring=True):
        if (key.cylinder, key.phase) not in bores:
            yield refused(CLEARANCE.id, key, Refused("no-bore"))
            continue
        clearance = 1e3 * (fmean(bores[key.cylinder, key.phase]) - fmean(lands)) / 2
        # the sheet has no place for the tool of the land, so half of the error is not known, and none is given
        yield Value(CLEARANCE.id, key, clearance, n=len(lands), of="reading", flags=_NO_TOOL)


def run_floor(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """What the gaps of the compression rings alone would leak at the program's supply pressure."""
    build = program.build(engine)
    rows = _used(readings)
    chamfers = {key: fmean(numbers) for key, numbers, _ in _by_place(build, rows, "chamfer", "", by_ring=True)}
    for cylinder, phase in dict.fromkeys((int(row.cylinder), str(row.phase)) for row in rows):
        key = build.key(cylinder, phase)
        try:
            rings = [_ring(book, chamfers, build.key(cylinder, phase, ring)) for ring in COMPRESSION_RINGS]
            # A sound cylinder holds about 95 % of the supply; the floor hardly depends on it.
            found = ringgap.floor(
                rings,
                cylinder=0.95 * program.leakdown.supply,
                ambient=STANDARD_AMBIENT,
                discharge_limit=_DISCHARGE_LIMIT,
            )
        except Refused as why:
            yield refused(FLOOR.id, key, why)
            continue
        yield Value(
            FLOOR.id,
            key,
            1e6 * found.value,
            low=1e6 * found.low,
            high=1e6 * found.high,
            n=len(rings),
            of="reading",
            flags=_NO_TOOL if any(ring.end_gap_limit == 0 for ring in rings) else frozenset(),
        )


_NO_TOOL = frozenset({"no-tool"})
_AIR_BEARS = weighing.buoyancy(weighing.LIGHTEST, weights=math.inf)  # share of a ring's mass, at most
_LAND_LIMIT = 10e-6  # m, of the radial clearance: a land is round and central to about that; from memory
# From the coefficient of a gap up to that of the tester's own orifice: leak areas are on the scale of the latter.
_DISCHARGE_LIMIT = 0.14  # 1 - 0.86; from memory, as that coefficient is


def _ring(book: Book, chamfers: Mapping[Key, float], key: Key) -> ringgap.RingGap:
    gap, clearance = book.get(GAP.id, key), book.get(CLEARANCE.id, key)
    if gap is None or gap.value is None:
        raise Refused("no-gap")
    if clearance is None or clearance.value is None:
        raise Refused("no-land")
    if clearance.value <= 0:
        raise Refused("land-wider-than-bore")
    return ringgap.RingGap(
        end_gap=gap.value / 1e3,
        clearance=clearance.value / 1e3,
        chamfer=chamfers.get(key, 0.0),
        end_gap_limit=(_half(gap) or 0.0) / 1e3,
        clearance_limit=_LAND_LIMIT,
    )


def run_wear(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """What each ring lost between its first and its last sheet."""
    build = program.build(engine)
    told = _buoyancy(readings)
    for measure, loss in ((MASS, MASS_LOSS), (GAP_GAUGE, FACE_WEAR)):
        for key, first, last in _before_after(program, build, book, measure):
            if loss is MASS_LOSS:
                ways = {way for each in (first, last) for way in told.get(each.key._replace(coating=""), ())}
                found = _mass_loss(key, first, last, corrected_once=len(ways) > 1)
                alone = found.low is not None and _scatter(book) is None
                yield replace(found, flags=found.flags | {"balance-alone"}) if alone else found
            else:
                yield _face_wear(build, book, key, first, last)


def _before_after(program: Program, build: Build, book: Book, measure: Measure) -> Iterator[tuple[Key, Value, Value]]:
    """First and last value of each ring that was measured in two phases or more, with the key of what it lost."""
    order = {phase.id: phase.order for phase in program.phases}
    places: dict[tuple[int, str], list[Value]] = {}
    for value in book.of(measure.id):
        if value.value is not None:
            places.setdefault((value.key.cylinder, value.key.at), []).append(value)
    for (cylinder, ring), values in places.items():
        ordered = sorted(values, key=lambda value: order[value.key.phase])
        first, last = ordered[0], ordered[-1]
        if first.key.phase != last.key.phase:
            yield build.key(cylinder, last.key.phase, ring), first, last


def run_tension(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """What each ring lost of its tension, within what the gauges can see."""
    del readings
    build = program.build(engine)
    for key, first, last in _before_after(program, build, book, TENSION):
        before, halves = first.value or 0.0, [_half(first), _half(last)]
        known = [half for half in halves if half is not None]
        together = [math.hypot(*known)] if len(known) == len(halves) else [None]
        yield _difference(TENSION_LOSS, key, 100 * (1 - (last.value or 0.0) / before), together, 100 / before)


def _mass_loss(key: Key, first: Value, last: Value, *, corrected_once: bool) -> Value:
    """Mass lost; where only one of the weighings was corrected for buoyancy, the other may err by all of it."""
    lost = 1e3 * ((first.value or 0.0) - (last.value or 0.0))
    halves = [_half(first), _half(last)]
    if not corrected_once:
        return _difference(MASS_LOSS, key, lost, halves, 1e3)
    found = _difference(MASS_LOSS, key, lost, [*halves, _AIR_BEARS * (first.value or 0.0)], 1e3)
    return replace(found, flags=found.flags | {"buoyancy-differs"})


def _face_wear(build: Build, book: Book, key: Key, first: Value, last: Value) -> Value:
    thickness = book.get(THICKNESS.id, key._replace(phase=first.key.phase))
    if thickness is None or thickness.value is None:
        return refused(FACE_WEAR.id, key, Refused("no-radial-thickness"))
    to_wear = 1e3 * ringgap.face_wear(1.0, build.engine_type.bore, thickness.value / 1e3)  # µm a mm of opening
    wear = to_wear * ((last.value or 0.0) - (first.value or 0.0))
    return _difference(FACE_WEAR, key, wear, (_half(first), _half(last)), to_wear)


def _buoyancy(readings: Mapping[str, Readings]) -> dict[Key, frozenset[str]]:
    """What is written of buoyancy beside the masses of a ring, by the key of its mass without the coating."""
    found: dict[Key, frozenset[str]] = {}
    for row in _used(readings):
        if row.mass == row.mass and isinstance(row.ring, str) and isinstance(row.buoyancy, str):
            key = Key(row.engine, int(row.cylinder), "", row.phase, row.ring)
            found[key] = found.get(key, frozenset()) | {row.buoyancy}
    return found


# ---- shared ---------------------------------------------------------------------------------------------------------


def _used(readings: Mapping[str, Readings]) -> list[Reading]:
    """Rows of cylinders not set aside, with the fields as attributes."""
    return [row for row in rows_in(readings["buildsheet"], Reading) if row.use == "" and row.cylinder == row.cylinder]


def _by_place(
    build: Build, rows: Sequence[Reading], field: str, tool: str, *, by_ring: bool
) -> Iterator[tuple[Key, list[float], list[str | None]]]:
    """Numbers of one field with their tools, by cylinder, phase and (by_ring) ring, in the order of the record."""
    groups: dict[Key, tuple[list[float], list[str | None]]] = {}
    for row in rows:
        number, ring = getattr(row, field), row.ring
        if not given(number) or (by_ring and not given(ring)):
            continue
        key = build.key(int(row.cylinder), str(row.phase), str(ring) if by_ring else "")
        numbers, tools = groups.setdefault(key, ([], []))
        numbers.append(float(number))
        named = getattr(row, tool) if tool else None
        tools.append(str(named) if given(named) else None)
    return ((key, numbers, tools) for key, (numbers, tools) in groups.items())


def _value(what: _Measured, key: Key, numbers: Sequence[float], limit: float | None) -> Value:
    mean = what.scale * fmean(numbers)
    if limit is None:
        flags = _NO_TOOL if what.tool else frozenset()
        return Value(what.measure.id, key, mean, n=len(numbers), of="reading", flags=flags)
    half = what.scale * limit
    return Value(what.measure.id, key, mean, low=mean - half, high=mean + half, n=len(numbers), of="reading")


def _limit(program: Program, tools: Sequence[str | None]) -> float | None:
    """Largest limit of error among the tools used, in SI; None where one is not named."""
    named = [tool for tool in tools if tool is not None]
    if len(named) < len(tools):
        return None
    return max(program.definitions.tools[tool].limit for tool in named)


def _readability(program: Program, tools: Sequence[str | None]) -> float:
    """Coarsest step of the tools used, in SI; 0 where none is stated."""
    return max((program.definitions.tools[tool].readability for tool in tools if tool is not None), default=0.0)


def _half(value: Value) -> float | None:
    """Limit of error of a number as measured; None where its tool was not recorded."""
    if value.low is None or value.high is None:
        return None
    return (value.high - value.low) / 2


def _difference(measure: Measure, key: Key, lost: float, halves: Sequence[float | None], scale: float) -> Value:
    """A difference of two numbers with its bounds: limits of error add; without one of them there are none."""
    known = [half for half in halves if half is not None]
    if len(known) < len(halves):
        return Value(measure.id, key, lost, n=2, of="reading", flags=_NO_TOOL)
    half = scale * sum(known)
    return Value(measure.id, key, lost, low=lost - half, high=lost + half, n=2, of="reading")


TENSIONS = Step(name="ring-tension", gives=(TENSION_LOSS,), run=run_tension, reads=("buildsheet",), needs=(TENSION.id,))
WEIGHINGS = Step(name="weighings", gives=(SCATTER,), run=run_scatter, reads=("buildsheet",), scope="program")
MEASURED = Step(
    name="build-sheet",
    gives=(*(what.measure for what in _MEASURED), CLEARANCE),
    run=run_measured,
    reads=("buildsheet",),
    needs=(SCATTER.id,),
    revision=3,
)
GAP_FLOOR = Step(name="gap-floor", gives=(FLOOR,), run=run_floor, reads=("buildsheet",), needs=(GAP.id, CLEARANCE.id))
WEAR = Step(
    name="ring-wear",
    gives=(MASS_LOSS, FACE_WEAR),
    run=run_wear,
    reads=("buildsheet",),
    needs=(MASS.id, GAP_GAUGE.id, THICKNESS.id, SCATTER.id),
    revision=2,
)
