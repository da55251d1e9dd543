"""From runs to friction of days, and from days to that of a build, changes between variants and what days can show."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from statistics import fmean
from typing import NamedTuple

from sitegen.declarations import Step
from sitegen.methods import friction as method
from sitegen.methods import pulls as in_turn
from sitegen.methods.friction import Day
from sitegen.methods.intervals import NORMAL_95
from sitegen.methods.pulls import Spread
from sitegen.program.model import Build, Program
from sitegen.streams.friction.fields import MOTORED, RPM, Reading
from sitegen.streams.friction.measures import BETWEEN, CHANGE, DAY, DAYS, MEASURES, REPEAT, SMALLEST
from sitegen.streams.friction.rundown import RunDown
from sitegen.tables.rows import given, rows_in
from sitegen.vocabulary import Book, Key, Readings, Refused, Result, Series, Value, refused

KPA = 1e3  # Pa
_ALIKE = 1e-9  # scatter [-] that is rounding
ALL = "all"  # in the place of a day, of the mean over all speeds; a build has that without a place


class Place(NamedTuple):
    """What a value of a day is of: `at` of its key."""

    method: str
    date: str
    speed: str  # "1500-rpm", or `ALL`
    variant: str = ""

    @property
    def at(self) -> str:
        return ",".join(self if self.variant else self[:-1])

    @classmethod
    def of(cls, at: str) -> Place:
        """The place that a key names.

        >>> Place.of("motored,2026-02-13,all,oil A, warm").variant
        'oil A, warm'
        """
        return cls(*at.split(",", 3))


@dataclass
class _Ran:
    """Runs of one day by one method."""

    variant: str
    pressures: dict[int, dict[str, list[float]]] = field(default_factory=dict)  # run -> speed -> Pa
    left: dict[str, Refused] = field(default_factory=dict)  # speed -> why a run says nothing there
    common: float = 0.0  # half-width [-] of what is alike in all its runs ...
    of: str = ""  # ... and of what
    flags: set[str] = field(default_factory=set)


def speed_of(speed: float) -> str:
    """Place of a speed [rad/s].

    >>> speed_of(1500 * RPM)
    '1500-rpm'
    """
    return f"{speed / RPM:.0f}-rpm"


# ---- days -----------------------------------------------------------------------------------------------------------


def run_days(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """Friction of each day of a build, at each speed and over all."""
    del book
    build = program.build(engine)
    own = readings["friction"]
    rows = [row for row in rows_in(own, Reading) if row.use == ""]
    for phase in program.phases:
        here = [row for row in rows if row.phase == phase.id]
        drawn = []
        for (way, date), ran in _ran(program, build, here, own.traces).items():
            key = build.key(phase=phase.id)
            yield from _day(program, key, Place(way, date, ALL, ran.variant), ran)
            drawn += [
                (way, date, run, ran.variant, float(speed.removesuffix("-rpm")), fmean(each) / KPA)
                for run, speeds in sorted(ran.pressures.items())
                for speed, each in speeds.items()
            ]
        if drawn:
            import pandas as pd

            names = ["method", "day", "run", "variant", "speed", "fmep"]
            frame = pd.DataFrame(sorted(drawn), columns=names)
            middle = frame.groupby(["method", "speed"])["fmep"].transform("mean")
            frame["off"] = 100 * (frame["fmep"] / middle - 1)
            units = {"speed": "rpm", "fmep": "kPa", "off": "%"}
            yield Series("friction.runs", build.key(phase=phase.id), units, frame)


def _ran(
    program: Program, build: Build, rows: Sequence[Reading], traces: Mapping[str, object]
) -> dict[tuple[str, str], _Ran]:
    """Runs by method and day."""
    days: dict[tuple[str, str], _Ran] = {}
    for row in rows:
        ran = days.setdefault((row.method, row.date), _Ran(str(row.variant) if given(row.variant) else ""))
        (_driven if row.method == MOTORED else _run_down)(program, build, row, ran, traces)
    for (way, _), ran in days.items():
        if way == MOTORED and ran.common and ran.pressures:  # so far of one torque, Pa
            ran.common /= fmean(each for run in ran.pressures.values() for speed in run.values() for each in speed)
    return dict(sorted(days.items()))


def _pressure(build: Build, torque: float) -> float:
    return method.mean_effective_pressure(torque, build.engine_type.swept_volume, build.engine_type.strokes)


def _driven(program: Program, build: Build, row: Reading, ran: _Ran, traces: Mapping[str, object]) -> None:
    del traces
    speeds = program.friction.speeds
    tool = program.definitions.tools.get(str(row.instrument))
    if tool is None:
        ran.flags.add("torque-error-unknown")
    else:
        ran.common, ran.of = max(ran.common, _pressure(build, tool.limit)), f"tool:{tool.id}"
    if speeds and row.torque:
        nearest = min(speeds, key=lambda each: abs(each - row.speed))
        own = ran.pressures.setdefault(int(row.run), {})
        own.setdefault(speed_of(nearest), []).append(_pressure(build, abs(row.torque)))


def _run_down(program: Program, build: Build, row: Reading, ran: _Ran, traces: Mapping[str, object]) -> None:
    rule = program.friction
    inertia = row.inertia if given(row.inertia) else rule.inertia
    error = row.inertia_error if given(row.inertia_error) else rule.inertia_error
    trace = traces.get(row.reading)
    if inertia and error is not None:
        half = method.common_of_inertia(inertia, error)
        ran.common, ran.of = max(ran.common, half), f"inertia:{build.cell or build.id}"
    elif inertia:
        ran.flags.add("inertia-error-unknown")
    for speed in rule.speeds:
        try:
            torque = _torque(trace, inertia, speed, rule.window)
        except Refused as why:
            ran.left.setdefault(speed_of(speed), why)
            continue
        own = ran.pressures.setdefault(int(row.run), {})
        own.setdefault(speed_of(speed), []).append(_pressure(build, torque))


def _torque(trace: object, inertia: float | None, speed: float, window: float) -> float:
    """Torque [N m] that slows the engine at a speed."""
    if not inertia:
        raise Refused("no-inertia")
    if not isinstance(trace, RunDown):
        raise Refused("no-reading")
    return inertia * method.deceleration(trace.time, trace.speed, speed, window)


def _day(program: Program, key: Key, place: Place, ran: _Ran) -> Iterator[Value]:
    """One day at each speed, and over all where it has every one."""
    speeds = [speed_of(each) for each in program.friction.speeds]
    if not speeds or program.friction.oil_temperature is None:
        unstated = Refused("no-oil-temperature" if speeds else "no-reference-speeds")
        yield refused(DAY.id, key._replace(at=place.at), unstated)
        return
    none = Refused("speed-not-run")
    for speed in speeds:
        own = [math.log(fmean(run[speed])) for run in ran.pressures.values() if speed in run]
        at = place._replace(speed=speed).at
        yield _of_runs(key._replace(at=at), own, ran.left.get(speed, none), ran, left=speed in ran.left)
    whole = [
        fmean(math.log(fmean(run[speed])) for speed in speeds)
        for run in ran.pressures.values()
        if all(speed in run for speed in speeds)
    ]
    left = len(whole) < len(ran.pressures) or bool(ran.left)
    yield _of_runs(key._replace(at=place.at), whole, next(iter(ran.left.values()), none), ran, left=left)


def _of_runs(key: Key, logs: Sequence[float], why: Refused, ran: _Ran, *, left: bool) -> Value:
    if not logs:
        return refused(DAY.id, key, why)
    n, middle = len(logs), fmean(logs)
    value = math.exp(middle) / KPA
    sd = math.sqrt(math.fsum((each - middle) ** 2 for each in logs) / (n - 1)) if n > 1 else math.nan
    se = None if n < 2 else 0.0 if sd < _ALIKE else value * sd / math.sqrt(n)
    return Value(
        DAY.id, key, value, se=se, se_common=value * ran.common / NORMAL_95 if ran.common else None, common=ran.of,
        n=n, of="repeat", flags=frozenset(ran.flags | ({"runs-left-out"} if left else set())),
    )  # fmt: skip


# ---- builds ---------------------------------------------------------------------------------------------------------


def run(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """Friction of a build over its days, and changes between variants that take turns."""
    del readings
    days: dict[tuple[str, str, str], list[tuple[Place, Value]]] = {}
    for value in book.of(DAY.id):
        if value.key.engine == engine and value.status in {"ok", "refused"}:
            place = Place.of(value.key.at)
            days.setdefault((value.key.phase, place.method, place.speed), []).append((place, value))
    build = program.build(engine)
    for (phase, way, speed), own in days.items():
        key = build.key(phase=phase)
        at = "" if speed == ALL else speed
        variants = sorted({place.variant for place, _ in own})
        for variant in variants:
            named = at if len(variants) == 1 else ",".join(filter(None, (variant or "-", at)))
            of_variant = [value for place, value in own if place.variant == variant]
            yield _level(MEASURES[way].id, key._replace(at=named), of_variant, _scatter(book, way, speed))
        if len(variants) > 1:
            yield from _change(program, key, own, variants, book)


def _log(value: Value) -> float:
    return math.log((value.value or math.nan) * KPA)


def _level(measure: str, key: Key, values: Sequence[Value], scatter: Spread | None) -> Value:
    known = [value for value in values if value.status == "ok"]
    if not known:
        return refused(measure, key, Refused(values[0].reason))
    common = max(NORMAL_95 * (value.se_common or 0.0) / (value.value or math.inf) for value in known)
    level = method.of_days([Day("", _log(value)) for value in known], scatter, common)
    flags = frozenset().union(*(value.flags for value in known))
    if len(known) < len(values):
        flags |= {"runs-left-out"}
    return Value(
        measure, key, level.value / KPA, None if level.low is None else level.low / KPA,
        None if level.high is None else level.high / KPA, se=None if level.se is None else level.se / KPA,
        df=None if level.se is None or scatter is None else scatter.df,
        se_common=common * level.value / KPA / NORMAL_95 if common else None,
        common="+".join(sorted({value.common for value in known if value.common})) if common else "",
        n=len(known), of="day", flags=flags | ({"one-day"} if len(known) == 1 else set()),
    )  # fmt: skip


def _scatter(book: Book, way: str, speed: str) -> Spread | None:
    """Scatter of days over the program."""
    found = book.get(DAYS.id, Key(at=f"{way},{speed}"))
    return None if found is None or found.value is None or found.df is None else Spread(found.value / 100, found.df)


def _change(
    program: Program, key: Key, own: Sequence[tuple[Place, Value]], variants: Sequence[str], book: Book
) -> Iterator[Value]:
    """What the days of two variants can show, and what they show."""
    first, other = variants[:2]
    way, _, speed, _ = own[0][0]
    days = [Day(place.variant, _log(value)) for place, value in sorted(own) if value.status == "ok"]
    at = ",".join(filter(None, (way, f"{other or '-'}:over:{first or '-'}", "" if speed == ALL else speed)))
    try:
        found = in_turn.gain(days, other, 1 if speed == ALL else len(program.friction.speeds))
        yield Value(
            CHANGE.id, key._replace(at=at), 100 * found.value, 100 * found.low, 100 * found.high, df=found.df,
            n=len(days), of="day",
        )  # fmt: skip
    except Refused as why:
        yield refused(CHANGE.id, key._replace(at=at), why)
    if speed != ALL:
        return
    scatter = _scatter(book, way, speed)
    try:
        least = in_turn.smallest_gain([day.variant for day in days], math.nan if scatter is None else scatter.sd)
    except Refused as why:
        yield refused(SMALLEST.id, key._replace(at=at), why)
        return
    if scatter is not None:  # it is known where variants had days enough
        yield Value(SMALLEST.id, key._replace(at=at), 100 * math.expm1(least), n=len(days), of="day")


# ---- scatter --------------------------------------------------------------------------------------------------------


def run_scatter(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """Scatter of runs and of days, pooled over builds, phases and variants, and what planned days can show by it."""
    del engine, readings
    groups: dict[tuple[str, str], list[tuple[Place, Value]]] = {}
    for value in book.of(DAY.id):
        if value.status == "ok":
            place = Place.of(value.key.at)
            groups.setdefault((place.method, place.speed), []).append((place, value))
    for (way, speed), own in sorted(groups.items()):
        key = Key(at=f"{way},{speed}")
        if speed == ALL:
            yield _of_runs_pooled(key, [value for _, value in own])
        days = [Day(f"{value.key.engine}/{value.key.phase}/{place.variant}", _log(value)) for place, value in own]
        try:
            found = in_turn.of_days(days)
        except Refused as why:
            yield refused(DAYS.id, key, why)
            continue
        if found.sd < _ALIKE:
            yield refused(DAYS.id, key, Refused("repeats-all-alike"))
            continue
        yield Value(DAYS.id, key, 100 * found.sd, df=found.df, n=len(days), of="day")
        if speed == ALL and program.friction.days > 1:
            least = math.expm1(method.smallest(program.friction.days, found.sd))
            yield Value(BETWEEN.id, Key(at=way), 100 * least, df=found.df, n=program.friction.days, of="day")


def _of_runs_pooled(key: Key, values: Sequence[Value]) -> Value:
    repeated = [value for value in values if value.se is not None]
    df = sum(value.n - 1 for value in repeated)
    if not df:
        return refused(REPEAT.id, key, Refused("one-run-a-day"))
    parts = [(value.n - 1) * value.n * ((value.se or 0.0) / (value.value or math.inf)) ** 2 for value in repeated]
    sd = math.sqrt(math.fsum(parts) / df)
    if not sd:
        return refused(REPEAT.id, key, Refused("repeats-all-alike"))
    return Value(REPEAT.id, key, 100 * sd, df=df, n=len(repeated), of="day")


OF_DAYS = Step(name="friction-days", gives=(DAY,), run=run_days, reads=("friction",))
SCATTER = Step(
    name="friction-scatter", gives=(REPEAT, DAYS, BETWEEN), run=run_scatter, needs=(DAY.id,), scope="program"
)
STEP = Step(
    name="friction", gives=(*MEASURES.values(), CHANGE, SMALLEST), run=run, needs=(DAY.id, DAYS.id),
)  # fmt: skip
