"""From pulls to torque by band, its days, gains of variants that alternate, and what the days can show."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from sitegen.declarations import Step
from sitegen.methods import pulls as method
from sitegen.methods import reference_air
from sitegen.methods.pulls import Day
from sitegen.program.model import PowerRule, Program
from sitegen.streams.pulls.fields import AS_READ, RPM, SEA_LEVEL, Reading, word_of
from sitegen.streams.pulls.measures import DAYS, DRIFT, GAIN, OBSERVED, REPEAT, SMALLEST, TORQUE
from sitegen.tables.rows import given, rows_in
from sitegen.vocabulary import Book, Key, Readings, Refused, Result, Series, Value, refused

Band = tuple[float, float]  # rad/s


class Pulled(NamedTuple):
    """One pull of a phase."""

    day: str
    number: int
    variant: str
    rows: Sequence[Reading]


@dataclass(frozen=True)
class Held:
    """Days of one phase of a build, in one band of speed, as observed or corrected."""

    days: Sequence[Day]
    dates: Sequence[str]
    left: Refused | None = None  # why a pull is not in it, where one is not


def pulls_of(rows: Iterable[Reading]) -> list[Pulled]:
    """Pulls by day and number."""
    found: dict[tuple[str, int], list[Reading]] = {}
    for row in rows:
        if row.use == "" and given(row.speed):  # one that names a log has its pulls in rows of their own
            found.setdefault((row.date, int(row.pull)), []).append(row)
    return [
        Pulled(day, number, str(own[0].variant) if given(own[0].variant) else "", own)
        for (day, number), own in sorted(found.items())
    ]


def bands_of(rule: PowerRule, pulled: Sequence[Pulled]) -> tuple[Band, list[Band]]:
    """The range that is told as one number, and its bands; without any stated, the speeds that all pulls share."""
    if rule.bands:
        bands = [(band.low, band.high) for band in rule.bands]
        return (bands[0][0], bands[-1][1]), bands
    speeds = [[row.speed for row in pull.rows] for pull in pulled]
    return (max(map(min, speeds)), min(map(max, speeds))), []


def place_of(band: Band) -> str:
    """Place of a band in a key.

    >>> place_of((1200 * RPM, 1400 * RPM))
    '1200-1400-rpm'
    """
    return f"{band[0] / RPM:.0f}-{band[1] / RPM:.0f}-rpm"


def corrected(rule: PowerRule, row: Reading) -> float:
    """Torque [N m] at the reference air. Refuses what stands in the way of it."""
    if rule.standard and row.corrected_to == word_of(rule.standard):
        return row.torque
    torque = observed(rule, row)
    if rule.governed:
        return torque
    if not rule.standard:
        raise Refused("no-standard")
    if not given(row.barometer):
        raise Refused("no-barometer")
    if row.barometer_at == SEA_LEVEL:
        raise Refused("barometer-of-the-sea")
    if not given(row.inlet) or not given(row.humidity):
        raise Refused("air-not-recorded")
    of = reference_air.Rule(rule.standard, rule.ignition, rule.charging, rule.efficiency, rule.fuel, rule.coolant)
    at = row.humidity_at if given(row.humidity_at) else None
    return torque * reference_air.factor(of, reference_air.Air(row.inlet, row.barometer, row.humidity / 100, at))


def observed(rule: PowerRule, row: Reading) -> float:
    """Torque [N m] of the engine as observed. Refuses a sweep without its inertia, and what was corrected already."""
    if given(row.corrected_to) and row.corrected_to != AS_READ:
        raise Refused("corrected-already")
    inertia = row.inertia if given(row.inertia) else rule.inertia
    compensated = row.compensated == "yes" if given(row.compensated) else rule.compensated
    return method.engine_torque(row.torque, inertia, row.ramp if given(row.ramp) else 0.0, compensated)


def _held(rule: PowerRule, pulled: Sequence[Pulled], band: Band, *, air: bool) -> Held:
    """Days with their pulls; a pull that cannot stand in is left out, and a day that keeps none."""
    days: dict[str, tuple[str, list[float | None]]] = {}
    left: Refused | None = None
    for pull in pulled:
        number: float | None = None
        try:
            torques = [corrected(rule, row) if air else observed(rule, row) for row in pull.rows]
            number = method.over_band([row.speed for row in pull.rows], torques, *band)
        except Refused as why:
            left = left or why
        days.setdefault(pull.day, (pull.variant, []))[1].append(number)
    found, dates = [], []
    for date, (variant, numbers) in sorted(days.items()):
        kept = [number for number in numbers[1:] if number is not None]
        if kept:
            found.append(Day(variant, (numbers[0] or kept[0], *kept)))
            dates.append(date)
    return Held(found, dates, left)


def run(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """Torque, gains and drift of each phase in which a build was pulled."""
    build = program.build(engine)
    rows = rows_in(readings["pulls"], Reading)
    for phase in program.phases:
        pulled = pulls_of(row for row in rows if row.phase == phase.id)
        if not pulled:
            continue
        key = build.key(phase=phase.id)
        whole, bands = bands_of(program.power, pulled)
        yield from _levels(program, key, pulled, whole, bands, book)
        held = _held(program.power, pulled, whole, air=True)
        yield from _drift(key, held)
        yield from _gains(program, key, pulled, held, bands, book)
        yield from _curve(key, program.power, pulled)


def _levels(
    program: Program, key: Key, pulled: Sequence[Pulled], whole: Band, bands: Sequence[Band], book: Book
) -> Iterator[Value]:
    """Of each variant: a level over variants would be that of none."""
    variants = list(dict.fromkeys(pull.variant for pull in pulled))
    scatter = _scatter(book)
    for at, band in (("", whole), *((place_of(band), band) for band in bands)):
        for measure, air in ((OBSERVED, False), (TORQUE, True)):
            held = _held(program.power, pulled, band, air=air)
            own = key._replace(at=at)
            for variant in variants:
                place = own if len(variants) == 1 else own._replace(at=",".join(filter(None, (variant or "-", at))))
                own_days = [day for day in held.days if day.variant == variant]
                yield _level(measure.id, place, own_days, held, scatter if air else None)


def _scatter(book: Book) -> method.Spread | None:
    """Scatter of days over the program."""
    found = book.get(DAYS.id, Key())
    if found is None or found.value is None or found.df is None:
        return None
    return method.Spread(found.value / 100, found.df)


def _level(measure: str, key: Key, days: Sequence[Day], held: Held, scatter: method.Spread | None) -> Value:
    if not days:
        return refused(measure, key, held.left or Refused("few-pulls"))
    value, low, high = method.level(days, scatter)
    flags = {"pulls-not-corrected"} if held.left is not None else set()
    if len(days) == 1:
        flags.add("one-day")
    se = None if scatter is None else value * scatter.sd / math.sqrt(len(days))
    df = None if scatter is None else scatter.df
    return Value(measure, key, value, low, high, se=se, df=df, n=len(days), of="day", flags=frozenset(flags))


def _drift(key: Key, held: Held) -> Iterator[Value]:
    try:
        found = method.drift([day for day in held.days if len(day.kept) > 1])
    except Refused as why:
        yield refused(DRIFT.id, key, why)
        return
    yield Value(DRIFT.id, key, 100 * found.value, 100 * found.low, 100 * found.high, n=len(held.days), of="day")


def _gains(
    program: Program, key: Key, pulled: Sequence[Pulled], held: Held, bands: Sequence[Band], book: Book
) -> Iterator[Value]:
    """Where variants were pulled in turn: what they can show first, then what they show."""
    variants = list(dict.fromkeys(pull.variant for pull in pulled))
    if len(variants) < 2:
        return
    first, other = sorted(variants)[:2]
    at = f"{other or '-'}:over:{first or '-'}"
    order = [day.variant for day in held.days]
    yield _smallest(key._replace(at=at), order, book)
    by_band = ((f",{place_of(band)}", _held(program.power, pulled, band, air=True)) for band in bands)
    for place, days in (("", held), *by_band):
        own = key._replace(at=at + place)
        try:
            found = method.gain(days.days, other, len(bands) if place else 1)
        except Refused as why:
            yield refused(GAIN.id, own, days.left if days.left is not None and not days.days else why)
            continue
        yield Value(
            GAIN.id, own, 100 * found.value, 100 * found.low, 100 * found.high, df=found.df, n=len(days.days), of="day",
        )  # fmt: skip


def _smallest(key: Key, order: Sequence[str], book: Book) -> Value:
    scatter = _scatter(book)
    if scatter is None:
        return refused(SMALLEST.id, key, Refused("few-pull-days"))
    try:
        smallest = method.smallest_gain(order, scatter.sd)
    except Refused as why:
        return refused(SMALLEST.id, key, why)
    return Value(SMALLEST.id, key, 100 * math.expm1(smallest), n=len(order), of="day")


def _curve(key: Key, rule: PowerRule, pulled: Sequence[Pulled]) -> Iterator[Series]:
    """Every row of a pull, for drawing."""
    import pandas as pd

    rows = []
    numbers: dict[str, int] = {}
    for pull in pulled:
        numbers[pull.day] = numbers.get(pull.day, 0) + 1
        for row in sorted(pull.rows, key=lambda each: each.speed):
            try:
                torque, air = corrected(rule, row), True
            except Refused:
                torque, air = row.torque, False
            rows.append((pull.day, pull.number, pull.variant, numbers[pull.day] == 1, air, row.speed / RPM, torque))
    names = ["day", "pull", "variant", "first", "corrected", "speed", "torque"]
    yield Series("power.pulls", key, {"speed": "rpm", "torque": "N·m"}, pd.DataFrame(rows, columns=names))


def run_scatter(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """Scatter of pulls and of days, pooled over the builds, phases and variants of the program."""
    del engine, book
    rows = rows_in(readings["pulls"], Reading)
    groups: dict[tuple[str, str], list[Reading]] = {}
    for row in rows:
        groups.setdefault((row.engine, row.phase), []).append(row)
    days: list[Day] = []
    for place, own in sorted(groups.items()):
        pulled = pulls_of(own)
        if pulled:
            whole, _ = bands_of(program.power, pulled)
            held = _held(program.power, pulled, whole, air=True)
            named = "/".join(place)
            days += [Day(f"{named}/{day.variant}", day.torques) for day in held.days]
    if not days:
        return
    for measure, spread in ((REPEAT, method.repeatability), (DAYS, method.of_days)):
        try:
            found = spread(days)
        except Refused as why:
            yield refused(measure.id, Key(), why)
            continue
        yield Value(measure.id, Key(), 100 * found.sd, df=found.df, n=len(days), of="day")


STEP = Step(name="pulls", gives=(TORQUE, OBSERVED, GAIN, SMALLEST, DRIFT), run=run, reads=("pulls",), needs=(DAYS.id,))
SCATTER = Step(name="pulls-scatter", gives=(REPEAT, DAYS), run=run_scatter, reads=("pulls",), scope="program")
