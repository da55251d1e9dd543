"""Blow-by at the reference points of a run: level, unsteadiness, the distance over which it settles, two meters."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from sitegen.declarations import Step
from sitegen.logs.join import Log
from sitegen.methods import brake, flow, schedule, settling, steady, twometers
from sitegen.program.model import Build, Phase, Program
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
from sitegen.streams.runlog.steps import IDLE, QUIET, answers, channel_word, column, crankcase, parts, running, runs
from sitegen.vocabulary import Book, Key, Readings, Refused, Result, Series, Value, refused

KM = "exposure.km"
METERS = ("blowby", "blowby_2")
AVERAGING = 120.0  # s, of the block means two meters are compared in; common practice, no source
BAND = 0.05  # of the end level within which blow-by counts as settled; common practice, no source
LITRES = 60e3  # L/min in a m3/s


@dataclass(frozen=True)
class Point:
    """One reference point as run."""

    number: int  # in its phase, from 1
    begin: float  # s of the record, of its later half
    end: float  # s
    km: float  # slid since the cold build at its middle; not a number where that is not known
    level: float  # L/min at reference conditions
    speed: float  # rad/s


def run(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """Blow-by of one build, phase by phase."""
    curve: list[Point] = []
    care: frozenset[str] = frozenset()
    before = 0.0
    build = program.build(engine)
    first = build.assemblies[0]
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
            corrected = _corrected(program, log, METERS[0])
        except Refused as why:
            if METERS[0] in log.bins:
                yield refused(LAST.id, own, why)
            continue
        quiet = QUIET & set(channel_word(log, METERS[0]).split(", "))
        flags = frozenset({"unverified"}) if quiet and not answered else frozenset()
        if crankcase(readings, engine, {each.id: each.order for each in program.phases}, phase.id) is False:
            flags |= {"crankcase-leaks"}
        points = list(_points(build, phase, log, corrected, begun))
        yield from _levels(own, build, points, log, corrected, flags)
        yield from _two(program, own, log, corrected)
        frame = pd.DataFrame([(point.begin, point.end) for point in points], columns=["begin", "end"])
        yield Series("blowby.points", own, {"begin": "s", "end": "s"}, frame)
        assembly = build.assembly_of(phase, program)
        if assembly is first and phase.kind == "run":
            curve += points
            care |= flags
    if curve:
        yield _scale(build.key(at=first.id), curve, care)


def _begun(program: Program, build: Build, phase: Phase, book: Book) -> float:
    """Distance slid before a phase [km]."""
    earlier = [each for each in program.phases_of(build) if each.order < phase.order]
    found = [value.value for each in earlier if (value := book.get(KM, build.key(phase=each.id))) is not None]
    return max((value for value in found if value is not None), default=0.0)


def _corrected(program: Program, log: Log, channel: str) -> np.ndarray:
    """Flow of a meter at the reference conditions [L/min] by bin."""
    raw = column(log, channel)
    if raw is None:
        raise Refused("no-channel")
    meter = program.definitions.meters.get(log.meters.get(channel, ""))
    if meter is None:
        raise Refused("no-meter")
    pressure = _first(log, "blowby_pressure", "ambient_pressure")
    temperature = _first(log, "blowby_temperature")
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


def _points(build: Build, phase: Phase, log: Log, corrected: np.ndarray, begun: float) -> Iterator[Point]:
    """The reference points of a phase, each by its later half as run."""
    planned = parts(phase)
    speed = column(log, "speed")
    if speed is None or not any(part.reference for part in planned):
        return
    t = log.bins["t"].to_numpy()
    wide = schedule.Bands(math.inf, math.inf)
    windows = schedule.held(t, log.width, speed, None, planned, wide, IDLE).windows
    per_second = 2 * build.engine_type.stroke * np.nan_to_num(speed, nan=0.0) / (2 * math.pi) * log.width / 1000
    slid = begun + np.cumsum(per_second)
    number = 0
    for place, begin, end in windows:
        if not planned[place].reference:
            continue
        number += 1
        inside = (t >= (begin + end) / 2) & (t < end) & np.isfinite(corrected)
        if inside.any():
            yield Point(
                number, (begin + end) / 2, end, float(slid[inside].mean()), float(corrected[inside].mean()),
                float(np.nanmean(speed[inside])),
            )  # fmt: skip


def _levels(
    key: Key, build: Build, points: list[Point], log: Log, corrected: np.ndarray, flags: frozenset[str]
) -> Iterator[Value]:
    for point in points:
        yield Value(LEVEL.id, key._replace(at=f"ref-{point.number}"), point.level, flags=flags)
    if not points:
        return
    last = points[-1]
    yield Value(LAST.id, key, last.level, flags=flags)
    t = log.bins["t"].to_numpy()
    inside = (t >= last.begin) & (t < last.end) & np.isfinite(corrected)
    yield Value(
        UNSTEADY.id, key, float(steady.unsteadiness(corrected[inside], max(3, round(15 / log.width)))), flags=flags
    )
    kind = build.engine_type
    displacement = brake.displacement(kind.bore, kind.stroke, kind.cylinders)
    per = flow.per_displacement(last.level / LITRES, displacement, last.speed, kind.strokes)
    yield Value(PER_LITRE.id, key, 1000 * float(per), flags=flags)


def _two(program: Program, key: Key, log: Log, first: np.ndarray) -> Iterator[Value]:
    """The second meter in series against the first, while the engine runs."""
    if METERS[1] not in log.bins:
        return
    try:
        second = _corrected(program, log, METERS[1])
        ran = running(log)
        found = twometers.agreement(np.where(ran, second, np.nan), np.where(ran, first, np.nan), log.width, AVERAGING)
    except Refused as why:
        yield refused(BIAS.id, key, why)
        return
    bias = found.bias
    yield Value(BIAS.id, key, bias.value, low=bias.low, high=bias.high, n=found.n, of="reading")
    yield Value(APART.id, key, (found.upper.value - found.lower.value) / 2, n=found.n, of="reading")


def _scale(key: Key, curve: list[Point], flags: frozenset[str]) -> Value:
    """The distance over which blow-by settles, from the reference points of the run-in."""
    known = [point for point in curve if math.isfinite(point.km)]
    try:
        found = settling.settle_time(
            np.array([point.km for point in known]), np.array([point.level for point in known]), BAND
        )
    except Refused as why:
        return refused(SCALE.id, key, why)
    low, high = found.scale_low, found.scale_high
    return Value(SCALE.id, key, found.scale, low, high, n=len(known), of="reading", flags=flags)


STEP = Step(
    "blow-by",
    (LEVEL, LAST, UNSTEADY, PER_LITRE, SCALE, BIAS, APART),
    run,
    reads=("runlog", "events"),
    needs=(KM,),
)
