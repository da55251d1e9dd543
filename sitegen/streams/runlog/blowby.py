"""Blow-by at the reference points of a run: level, unsteadiness, the distance over which it settles, two meters."""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from sitegen.declarations import Step
from sitegen.logs.join import Log
from sitegen.methods import brake, flow, schedule, settling, steady, twometers, wander
from sitegen.methods.intervals import NORMAL_95
from sitegen.program.model import Build, Phase, Program, VisitBands
from sitegen.streams.runlog.judged import IDLE, channel_word, column, running, samples
from sitegen.streams.runlog.measures import (
    APART,
    BIAS,
    LAST,
    LEVEL,
    PER_LITRE,
    REFERENCE_PRESSURE,
    REFERENCE_TEMPERATURE,
    SCALE,
    UNSTEADY,
)
from sitegen.streams.runlog.steps import QUIET, answers, crankcase, parts, runs
from sitegen.vocabulary import Book, Key, Readings, Refused, Result, Series, Value, refused

KM = "exposure.km"
METERS = ("blowby", "blowby_2")
AVERAGING = 120.0  # s, of the block means two meters are compared in; common practice, no source
BAND = 0.05  # of the end level within which blow-by counts as settled; common practice, no source
LITRES = 60e3  # L/min in a m3/s
SMOOTHED = 15.0  # s over which speed, torque and oil temperature are averaged before a band is asked; practice
FEWEST = 10  # samples that show how unsteady a flow is
FEWEST_CHANGES = 5  # among them, below which the recorder held what it last read
OIL_EFFECT = 0.003  # share of blow-by a kelvin of oil temperature may make, either way; practice, no source
WARMED = 60.0  # s after a change of speed or load, or a start, until a steady record begins; practice, no source
MOST_SHARED = 0.1  # correlation of neighbouring visits with which intervals hold: simulated, see the tests
MEDIAN_OF = 3  # visits
CONDITIONS = ("speed", "torque", "oil_temperature")  # what has to come back at a reference point


@dataclass(frozen=True)
class Visit:
    """One reference point as run: its later half."""

    number: int  # in its phase, from 1
    begin: float  # s of the record
    end: float  # s
    asked: tuple[float, float | None]  # speed [rad/s] and torque [N m] planned
    found: Mapping[str, float]  # means of the `CONDITIONS` that were logged, in SI


@dataclass(frozen=True)
class Point:
    """One visit and what was read there."""

    visit: Visit
    off: tuple[str, ...]  # conditions that were not those of the reference point
    km: float  # slid since the cold build at its middle; not a number where that is not known
    level: float  # L/min at reference conditions; not a number where nothing was read
    used: np.ndarray  # places of the bins the level is of

    @property
    def counts(self) -> bool:
        return not self.off and math.isfinite(self.level)


@dataclass(frozen=True)
class Run:
    """One phase with its visits."""

    phase: Phase
    log: Log
    corrected: np.ndarray  # L/min at reference conditions, by bin
    begun: float  # km slid before
    quiet: str  # code: why the meter is not believed; "" where it is
    flags: frozenset[str]
    room: float  # what barometer and thermometer may move the levels by [-]; not a number where that is not known
    windows: tuple[tuple[int, float, float], ...]
    visits: tuple[Visit, ...]


GAS = frozenset({"ambient_pressure", "blowby_pressure", "blowby_temperature"})  # what a reading is corrected by


def run(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """Blow-by of one build, phase by phase."""
    before = 0.0
    build = program.build(engine)
    found: list[Run] = []
    for _, phase, log in runs(program, engine, readings):
        own = build.key(phase=phase.id)
        ended = book.get(KM, own)
        begun = before if ended is None or ended.value is None else _begun(program, build, phase, book)
        before = begun
        answered = answers(readings, engine, phase.id).get(log.meters.get(METERS[0], ""))
        if answered is False:
            yield refused(LAST.id, own, Refused("meter-check-failed"))
            continue
        try:
            flowing = corrected(program, log, METERS[0])
        except Refused as why:
            if METERS[0] in log.bins:
                yield refused(LAST.id, own, why)
            continue
        quiet = "" if answered else quiet_of(log)
        flags = frozenset({"unverified"}) if quiet else frozenset()
        if crankcase(readings, engine, {each.id: each.order for each in program.phases}, phase.id) is False:
            flags |= {"crankcase-leaks"}
        if "oil_temperature" not in log.bins:
            flags |= {"oil-not-logged"}
        if GAS & set(log.stated):
            flags |= {"gas-stated"}
        windows, room = windows_as_run(program, phase, log), of_room(program, log)
        visits = tuple(_visits(phase, log, windows))
        found.append(Run(phase, log, flowing, begun, quiet, flags, room, windows, visits))
        yield from _two(program, own, log, flowing)
    middles = _middles([visit for each in found for visit in each.visits])
    bands = VisitBands() if program.run is None else program.run.visits
    curve: list[tuple[Run, Point]] = []
    for each in found:
        own = build.key(phase=each.phase.id)
        slid = _slid(build, each) if each.visits else np.empty(0)
        points = [_point(each, slid, visit, middles[visit.asked], bands) for visit in each.visits]
        yield from _levels(own, build, points, each)
        yield _drawn(own, points, middles)
        if build.assembly_of(each.phase, program) is build.assemblies[0] and each.phase.kind == "run":
            curve += [(each, point) for point in points]
    if curve:
        yield _scale(
            build, curve, [each for each in found if build.assembly_of(each.phase, program) is build.assemblies[0]]
        )


def quiet_of(log: Log) -> str:
    """Code of what a meter looks like that is dead, or a ring that lets nothing past; "" of any other."""
    said = QUIET & set(channel_word(log, METERS[0]).split(", "))
    if said == {"stuck"}:
        return "meter-stood-still"
    return "meter-never-moved" if said else ""


def _begun(program: Program, build: Build, phase: Phase, book: Book) -> float:
    """Distance slid before a phase [km]."""
    earlier = [each for each in program.phases_of(build) if each.order < phase.order]
    found = [value.value for each in earlier if (value := book.get(KM, build.key(phase=each.id))) is not None]
    return max((value for value in found if value is not None), default=0.0)


def of_room(program: Program, log: Log) -> float:
    """Share of the flow that barometer and thermometer move it by at their limits of error; NaN: not all stated."""
    as_read = corrected(program, log, METERS[0])
    flowing = np.nan_to_num(as_read) > 0
    moved = 0.0
    for kind in ("barometer", "thermometer"):
        limit = program.definitions.limit_of(kind)
        off = (limit or 1.0, 0.0) if kind == "barometer" else (0.0, limit or 1.0)
        shares = np.abs(corrected(program, log, METERS[0], off)[flowing] / as_read[flowing] - 1)
        share = float(np.nanmax(shares, initial=0.0))
        moved = math.hypot(moved, share if limit or not share else math.nan)
    return moved


def corrected(program: Program, log: Log, channel: str, off: tuple[float, float] = (0.0, 0.0)) -> np.ndarray:
    """Flow of a meter at the reference conditions [L/min] by bin, with pressure and temperature `off` by [Pa, K]."""
    raw = column(log, channel)
    if raw is None:
        raise Refused("no-channel")
    meters = [each.meters.get(channel, "") for each in log.files if channel in each.facts or channel in each.meters]
    pressure = _first(log, "blowby_pressure", "ambient_pressure")
    temperature = _first(log, "blowby_temperature")
    pressure = None if pressure is None else pressure + off[0]
    temperature = None if temperature is None else temperature + off[1]
    if len(set(meters)) < 2:
        return _by_meter(program, log.meters.get(channel, ""), raw, pressure, temperature)
    found = np.full(len(raw), np.nan)
    t = log.bins["t"].to_numpy()
    for file, begin in zip(log.files, log.offsets, strict=True):
        own = (t >= begin - log.width) & (t <= begin + file.seconds)
        gas = (None if each is None else each[own] for each in (pressure, temperature))
        if channel in file.facts:
            found[own] = _by_meter(program, file.meters.get(channel, ""), raw[own], *gas)
    return found


def _by_meter(
    program: Program, meter_id: str, raw: np.ndarray, pressure: np.ndarray | None, temperature: np.ndarray | None
) -> np.ndarray:
    meter = program.definitions.meters.get(meter_id)
    if meter is None:
        raise Refused("no-meter")
    made_for = flow.Design(
        meter.reference_pressure,
        meter.reference_temperature,
        meter.design_pressure,
        meter.design_temperature,
        meter.design_density,
    )
    found = flow.corrected(
        meter.principle, meter.scale, raw, made_for, pressure=pressure, temperature=temperature,
        reference_pressure=REFERENCE_PRESSURE, reference_temperature=REFERENCE_TEMPERATURE,
    )  # fmt: skip
    return np.asarray(found, dtype=float) * LITRES


def _first(log: Log, *channels: str) -> np.ndarray | None:
    """The first of several channels that was logged."""
    return next((found for channel in channels if (found := column(log, channel)) is not None), None)


def windows_as_run(program: Program, phase: Phase, log: Log) -> tuple[tuple[int, float, float], ...]:
    """The planned parts of a phase as they were run."""
    speed = column(log, "speed")
    planned = parts(phase)
    if speed is None or not planned or not np.isfinite(speed).any():
        return ()
    rule = program.run
    bands = schedule.Bands(math.inf, math.inf) if rule is None else schedule.Bands(rule.speed_band, rule.torque_band)
    t = log.bins["t"].to_numpy()
    return schedule.held(t, log.width, speed, column(log, "torque"), planned, bands, IDLE).windows


def _visits(phase: Phase, log: Log, windows: Sequence[tuple[int, float, float]]) -> Iterator[Visit]:
    """The reference points of a phase, each by its later half as run."""
    planned = parts(phase)
    t = log.bins["t"].to_numpy()
    number = 0
    for place, begin, end in windows:
        part = planned[place]
        if not part.reference:
            continue
        number += 1
        middle = (begin + end) / 2
        later = (t >= middle) & (t < end)
        found = {}
        for channel in CONDITIONS:
            values = column(log, channel)
            if values is not None and np.isfinite(values[later]).any():
                found[channel] = float(np.nanmean(values[later]))
        yield Visit(number, middle, end, (part.speed, part.torque), found)


def _middles(visits: Sequence[Visit]) -> Mapping[tuple[float, float | None], Mapping[str, float]]:
    """By reference point, the speed, torque and oil temperature that came back: medians over its visits.

    Of fewer than three visits a median would not tell which of them was off: speed and torque are those planned.
    """
    groups: dict[tuple[float, float | None], list[Visit]] = {}
    for visit in visits:
        groups.setdefault(visit.asked, []).append(visit)
    middles = {}
    for asked, own in groups.items():
        found = {
            channel: float(np.median(known))
            for channel in CONDITIONS
            if (known := [visit.found[channel] for visit in own if channel in visit.found])
        }
        if len(own) < MEDIAN_OF:
            found |= {"speed": asked[0]} | ({} if asked[1] is None else {"torque": asked[1]})
        middles[asked] = found
    return middles


def _point(ran: Run, slid: np.ndarray, visit: Visit, middle: Mapping[str, float], bands: VisitBands) -> Point:
    """What was read at a visit while its conditions were those of the reference point; `slid` [km] by bin."""
    log = ran.log
    begin, end = np.searchsorted(log.bins["t"].to_numpy(), (visit.begin, visit.end))
    limits = {
        "speed": bands.speed * middle.get("speed", math.nan),
        "torque": bands.torque * abs(middle.get("torque", math.nan)),
        "oil_temperature": bands.oil,
    }
    inside = log.sampled(METERS[0])[begin:end] & np.isfinite(ran.corrected[begin:end])
    read = int(inside.sum())
    near = {
        channel: np.abs(smoothed(values[begin:end], log.width) - middle[channel]) <= limits[channel]
        for channel in visit.found
        if (values := column(log, channel)) is not None
    }
    used = np.all([inside, *near.values()], axis=0)
    off: tuple[str, ...] = ()
    if 2 * used.sum() < max(read, 1) and read:
        off = tuple(channel for channel in near if abs(visit.found[channel] - middle[channel]) > limits[channel])
        off = off or tuple(channel for channel, good in near.items() if 2 * (good & inside).sum() < read) or tuple(near)
        used = inside
    own = begin + np.flatnonzero(used)
    if not read:
        return Point(visit, off, math.nan, math.nan, own)
    return Point(visit, off, float(slid[own].mean()), float(ran.corrected[own].mean()), own)


def _slid(build: Build, ran: Run) -> np.ndarray:
    """Distance slid since the cold build [km], by bin."""
    speed = np.nan_to_num(ran.log.bins["speed"].to_numpy(), nan=0.0)
    each = 2 * build.engine_type.stroke * speed / (2 * math.pi) * ran.log.width / 1000
    return np.asarray(ran.begun + np.cumsum(each))


def smoothed(values: np.ndarray, width: float) -> np.ndarray:
    """Running means, what is missing left out."""
    kernel = np.ones(max(round(SMOOTHED / width) | 1, 1))
    middle = slice(len(kernel) // 2, len(kernel) // 2 + len(values))
    there = np.isfinite(values)
    count = np.convolve(there, kernel)[middle]
    total = np.convolve(np.where(there, values, 0.0), kernel)[middle]
    return np.asarray(np.where(count > 0, total / np.maximum(count, 1), np.nan))


def _levels(key: Key, build: Build, points: Sequence[Point], ran: Run) -> Iterator[Value]:
    """The levels of a phase; a visit whose conditions were others is no level, and there is no other last one."""
    for point in points:
        at = key._replace(at=f"ref-{point.visit.number}")
        yield _level(LEVEL.id, at, point, ran) if point.counts else refused(LEVEL.id, at, _why(point))
    if not points:
        return
    last = points[-1]
    if ran.quiet or not last.counts:
        yield refused(LAST.id, key, Refused(ran.quiet) if ran.quiet else _why(last))
        return
    yield _level(LAST.id, key, last, ran)
    yield _unsteady(key, last, ran)
    kind = build.engine_type
    displacement = brake.displacement(kind.bore, kind.stroke, kind.cylinders)
    per = flow.per_displacement(last.level / LITRES, displacement, last.visit.found["speed"], kind.strokes)
    yield Value(PER_LITRE.id, key, 1000 * float(per), flags=ran.flags)


def _level(measure: str, key: Key, point: Point, ran: Run) -> Value:
    """A level, with what barometer and thermometer do to all of them."""
    common = point.level * ran.room / NORMAL_95 if ran.room > 0 else None
    return Value(
        measure, key, point.level, se_common=common, common="" if common is None else "room", flags=ran.flags
    )  # fmt: skip


def _why(point: Point) -> Refused:
    return Refused("reference-point-off" if point.off else "reference-point-not-read")


def _unsteady(key: Key, point: Point, ran: Run) -> Value:
    """Spread of the samples themselves: a value held between them has none."""
    own = samples(ran.log, METERS[0])
    values = ran.corrected[point.used]
    steps = np.abs(np.diff(values))
    if len(values) < FEWEST or int((steps > 0).sum()) < FEWEST_CHANGES:
        return refused(UNSTEADY.id, key, Refused("few-samples-at-point"))
    found = steady.unsteadiness(values, max(3, round(15 / own.step)))
    if found > 0:
        return Value(UNSTEADY.id, key, found, flags=ran.flags)
    return Value(UNSTEADY.id, key, None, high=float(steps[steps > 0].max()), status="below", reason="below-detection")


def _drawn(
    key: Key, points: Sequence[Point], middles: Mapping[tuple[float, float | None], Mapping[str, float]]
) -> Series:
    """The visits of a phase for the page: what came back, what should have, and whether it counts."""
    import pandas as pd

    rows = []
    for point in points:
        visit, middle = point.visit, middles[point.visit.asked]
        conditions = [each.get(channel, math.nan) for channel in CONDITIONS for each in (visit.found, middle)]
        rows.append((visit.number, visit.begin, visit.end, ", ".join(point.off), *conditions))
    names = [f"{channel}{end}" for channel in CONDITIONS for end in ("", "_middle")]
    units = {"speed": "rad/s", "torque": "N m", "oil_temperature": "K"}
    frame = pd.DataFrame(rows, columns=["number", "begin", "end", "off", *names])
    return Series(
        "blowby.points", key,
        {"begin": "s", "end": "s"} | {name: units[name.removesuffix("_middle")] for name in names}, frame,
    )  # fmt: skip


def _two(program: Program, key: Key, log: Log, first: np.ndarray) -> Iterator[Value]:
    """The second meter in series against the first, while the engine runs."""
    if METERS[1] not in log.bins:
        return
    try:
        second = corrected(program, log, METERS[1])
        ran = running(log)
        found = twometers.agreement(np.where(ran, second, np.nan), np.where(ran, first, np.nan), log.width, AVERAGING)
    except Refused as why:
        yield refused(BIAS.id, key, why)
        return
    bias = found.bias
    yield Value(BIAS.id, key, bias.value, low=bias.low, high=bias.high, n=found.n, of="reading")
    yield Value(APART.id, key, (found.upper.value - found.lower.value) / 2, n=found.n, of="reading")


def _scale(build: Build, curve: Sequence[tuple[Run, Point]], ran: Sequence[Run]) -> Value:
    """The distance over which blow-by settles, from the visits of the run-in that count."""
    key = build.key(at=build.assemblies[0].id)
    believed = [(each, point) for each, point in curve if not each.quiet]
    if not believed:
        return refused(SCALE.id, key, Refused(curve[0][0].quiet))
    known = [(each, point) for each, point in believed if point.counts and math.isfinite(point.km)]
    try:
        found, low, high = settled(
            np.array([point.km for _, point in known]),
            np.array([point.level for _, point in known]),
            np.array([point.visit.found.get("oil_temperature", math.nan) for _, point in known]),
            [point.visit.asked for _, point in known],
        )
        _independent(known, ran)
    except Refused as why:
        return refused(SCALE.id, key, why)
    flags = frozenset().union(*(each.flags for each, _ in known))
    return Value(SCALE.id, key, found.scale, low, high, n=len(known), of="reading", flags=flags)


def settled(
    km: np.ndarray, level: np.ndarray, oil: np.ndarray, asked: Sequence[Hashable]
) -> tuple[settling.Settling, float, float]:
    """The fit, and an interval that holds those of every way the flow may scatter and oil temperature may act on it.

    Of visits to reference points `asked`: distance [km], level [L/min], oil temperature [K], not a number where it was
    not logged. The ends are in km. Refuses as `settling.settle_time`, and `oil-temperature-may-explain`.
    """
    found = settling.settle_time(km, level, BAND, asked, relative=True)
    alike = settling.settle_time(km, level, BAND, asked)
    low, high = min(found.scale_low, alike.scale_low), max(found.scale_high, alike.scale_high)
    if not np.isfinite(oil).all():
        return found, low, high
    warmer = oil - np.median(oil)
    for effect in (-OIL_EFFECT, OIL_EFFECT):
        try:
            other = settling.settle_time(km, level * (1 - effect * warmer), BAND, asked, relative=True)
        except Refused as why:
            raise Refused("oil-temperature-may-explain") from why
        low, high = min(low, other.scale_low), max(high, other.scale_high)
    return found, low, high


def _independent(known: Sequence[tuple[Run, Point]], ran: Sequence[Run]) -> None:
    """Refuses visits that share a slow wander of blow-by, by steady records of the engine and its meter."""
    apart = [
        later.visit.begin - earlier.visit.begin
        for (one, earlier), (other, later) in pairwise(known)
        if one.phase.id == other.phase.id
    ]
    if not apart:
        return
    averaged = float(np.median([point.visit.end - point.visit.begin for _, point in known]))
    meters = {each.log.meters.get(METERS[0]) for each, _ in known}
    step = max(_step(each) for each, _ in known)
    same = [each for each in ran if each.log.meters.get(METERS[0]) in meters and not each.quiet and _step(each) <= step]
    judged(wander.shared([record for each in same for record in _steady(each, step)], step, averaged, min(apart)))


def _step(ran: Run) -> float:
    """Whole bins from one sample of the meter to the next [s]."""
    return math.ceil(samples(ran.log, METERS[0]).step / ran.log.width - 1e-9) * ran.log.width


def judged(shared: float | None) -> None:
    """Refuses visits whose means may be correlated by more than `MOST_SHARED`, or nothing tells by how much."""
    if shared is None:
        raise Refused("wander-not-known")
    if shared > MOST_SHARED:
        raise Refused("slow-wander")


def _steady(ran: Run, step: float) -> Iterator[np.ndarray]:
    """Stretches at one speed and load over their mean, a value every `step` [s], not a number where none was read."""
    own = samples(ran.log, METERS[0], ran.corrected)
    planned = parts(ran.phase)
    for place, begin, end in ran.windows:
        part = planned[place]
        if part.speed != part.speed_to or part.torque_to not in {None, part.torque}:
            continue
        good = own.moving & np.isfinite(own.value) & (own.at >= begin) & (own.at < end)
        edges = np.flatnonzero(np.diff(good.astype(int), prepend=0, append=0))
        for first, last in zip(edges[::2], edges[1::2], strict=True):
            kept = slice(first + int(np.searchsorted(own.at[first:last], own.at[first] + WARMED)), last)
            if kept.start == last or own.value[kept].mean() <= 0:
                continue
            cell = np.floor((own.at[kept] - own.at[kept.start]) / step + 1e-9).astype(int)
            count = np.bincount(cell)
            total = np.bincount(cell, own.value[kept] / own.value[kept].mean())
            yield np.where(count > 0, total / np.maximum(count, 1), np.nan)


STEP = Step(
    "blow-by",
    (LEVEL, LAST, UNSTEADY, PER_LITRE, SCALE, BIAS, APART),
    run,
    reads=("runlog", "events"),
    needs=(KM,),
    revision=4,
)
