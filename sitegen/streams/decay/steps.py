"""From samples of closed cylinders to leak areas by two kinds of gas, beside those of leak-down."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from statistics import fmean

import numpy as np

from sitegen.declarations import Step
from sitegen.methods import among
from sitegen.methods import decay as method
from sitegen.methods.leakdown import REFERENCE_TEMPERATURE, STANDARD_AMBIENT
from sitegen.program.model import Build, Program
from sitegen.streams.decay.fields import Reading
from sitegen.streams.decay.measures import AREA, BY_GAS, CONSTANT, OVER, RATE, REPEAT, TO_LEAST
from sitegen.tables.rows import given, rows_in
from sitegen.vocabulary import Book, Key, Measure, Readings, Refused, Result, Series, Value, refused

LEAKDOWN = "leakdown.area"  # of another stream: no stream imports another
GASES = {"isothermal": method.ISOTHERMAL, "adiabatic": method.ADIABATIC}
MM2 = 1e6  # mm2 in a m2; a rate of 1/m is 1000 mm2/L
PER_LITRE = 1e3
LEAST_DISCHARGE = 0.86  # of the orifice that leak-down areas are on the scale of [-]; from memory
_BENT = (0.8, 1.25)  # slopes of both halves beyond what the exponent can do (1.07): the area changes with pressure


@dataclass(frozen=True)
class Decay:
    """One decay of one cylinder, in the order of its samples."""

    rows: Sequence[Reading]

    def mean(self, name: str) -> float | None:
        """Of one number that its samples say; None where none does."""
        said = [float(getattr(row, name)) for row in self.rows if given(getattr(row, name))]
        return fmean(said) if said else None

    @property
    def ambient(self) -> float:
        """Pa absolute."""
        return self.mean("ambient") or STANDARD_AMBIENT

    @property
    def temperature(self) -> float:
        """Of the gas [K]: that of the metal, else of the air."""
        return self.mean("metal_temperature") or self.mean("air_temperature") or REFERENCE_TEMPERATURE

    @property
    def volume(self) -> float | None:
        """Cylinder and hose [m3]; None where the cylinder's is not known.

        Refuses: `hose-volume-missing`.
        """
        cylinder, hose = self.mean("volume"), self.mean("hose_volume")
        if not cylinder:
            return None
        if hose is None:
            raise Refused("hose-volume-missing")
        return cylinder + hose

    def curve(self, off: float = 0.0) -> method.Curve:
        """What is used of it, had the sensor shown `off` [Pa] more."""
        times, gauge = (np.array([getattr(row, name) for row in self.rows]) for name in ("time", "pressure"))
        return method.curve(times, gauge + off, self.ambient)

    @property
    def assumed(self) -> frozenset[str]:
        """Flags: what had to be assumed."""
        found = {"ambient-assumed"} if self.mean("ambient") is None else set()
        if self.mean("metal_temperature") is None:
            found.add("temperature-assumed")
        return frozenset(found)


Place = tuple[int, str, str]  # cylinder, phase, state


def decays(rows: Iterable[Reading]) -> dict[tuple[str, Place], list[Decay]]:
    """Decays by build and place; repeats in order, samples by time."""
    found: dict[tuple[str, Place], dict[float, list[Reading]]] = {}
    for row in rows:
        if row.use == "":
            repeat = row.repeat if given(row.repeat) else 0.0
            found.setdefault((row.engine, _place(row)), {}).setdefault(repeat, []).append(row)
    return {
        place: [Decay(sorted(own, key=lambda row: row.time)) for _, own in sorted(repeats.items())]
        for place, repeats in found.items()
    }


def _place(row: Reading) -> Place:
    apart = [str(row.crank)] if given(row.crank) and row.crank != "tdc" else []
    apart += ["wet"] if row.oil == "wet" else []
    return int(row.cylinder), row.phase, ",".join(apart)


def run_scatter(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """Scatter of repeats of ln(A/V), pooled over the program."""
    del program, engine, book
    groups = []
    for own in decays(rows_in(readings["decay"], Reading)).values():
        logs = []
        for each in own:
            try:
                logs.append(math.log(_rate(each, method.ISOTHERMAL)))
            except Refused:
                continue  # the refusal stands at its cylinder
        groups.append(logs)
    if not any(groups):
        return
    try:
        found = among.pooled(groups)
    except Refused as why:
        yield refused(REPEAT.id, Key(), why)
        return
    yield Value(REPEAT.id, Key(), 100 * found.sd, df=found.df, n=sum(map(len, groups)), of="repeat")


def _rate(each: Decay, exponent: float, off: float = 0.0) -> float:
    return method.rate(each.curve(off), each.temperature, exponent).value


def run(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """Every decay of one build, cylinders beside each other, and beside their leak-down."""
    build = program.build(engine)
    scatter = _scatter(book)
    told: dict[Place, _Found] = {}
    for (of, place), own in decays(rows_in(readings["decay"], Reading)).items():
        if of != engine:
            continue
        cylinder, phase, at = place
        key = build.key(cylinder, phase, at)
        try:
            found = _found(program, own, scatter)
        except Refused as why:
            yield from (refused(each.id, key, why) for each in (AREA, RATE))
            continue
        told[place] = found
        yield from found.values(key)
        if at == "":
            yield from _beside_leakdown(book, key, found)
    for phase, at in sorted({place[1:] for place in told}):
        yield from _among(build, phase, at, told, scatter)
    yield from _drawn(build, readings)


@dataclass(frozen=True)
class _Found:
    """What the decays of one cylinder at one check say."""

    rates: Mapping[str, float]  # A/V by kind of gas [1/m], mean of the repeats
    volume: float | None  # m3
    why_no_area: str  # "" there is one, or the volume is not known
    constant: float  # s
    half: float  # relative, of a rate, at 95 %
    of_volume: float  # relative, of the volume
    n: int
    flags: frozenset[str]

    def ends(self, volume: float = 1.0, more: float = 0.0) -> tuple[float, float, float]:
        """Middle, least and most of the rate, or of the area, with their errors."""
        least, most = (volume * self.rates[name] for name in ("adiabatic", "isothermal"))
        reach = math.hypot(self.half, more)
        return (least + most) / 2, least * math.exp(-reach), most * method.LATE * math.exp(reach)

    def area(self) -> tuple[float, float, float] | None:
        """The same of the area [m2]; None without a volume."""
        return None if self.volume is None else self.ends(self.volume, self.of_volume)

    def values(self, key: Key) -> Iterator[Value]:
        """Time constant, rate and area, each area by kind of gas too."""

        def value(measure: Measure, scale: float, ends: tuple[float, float, float]) -> Value:
            middle, low, high = (scale * end for end in ends)
            return Value(measure.id, key, middle, low, high, n=self.n, of="repeat", flags=self.flags)

        yield Value(CONSTANT.id, key, self.constant, n=self.n, of="repeat", flags=self.flags)
        yield value(RATE, PER_LITRE, self.ends())
        area = self.area()
        if area is None:
            yield refused(AREA.id, key, Refused(self.why_no_area or "volume-not-known"))
            return
        yield value(AREA, MM2, area)
        for name, rate in self.rates.items():
            at = ",".join(filter(None, (name, key.at)))
            yield Value(BY_GAS.id, key._replace(at=at), MM2 * rate * (self.volume or 0.0), n=self.n, of="repeat")


def _found(program: Program, own: Sequence[Decay], scatter: among.Scatter | None) -> _Found:
    """Mean over the repeats. Refuses what stands in the way of the first one that cannot be used, where none can."""
    logs: dict[str, list[float]] = {name: [] for name in GASES}
    constants, errors, bent, why = [], [], False, Refused("decay-short")
    for each in own:
        try:
            curve = each.curve()
            for name, exponent in GASES.items():
                rate = method.rate(curve, each.temperature, exponent)
                logs[name].append(math.log(rate.value))
                if name == "isothermal":
                    bent = bent or not _BENT[0] < rate.bend < _BENT[1]
                    errors.append(math.hypot(_of_sensor(program, each, rate.value), 2 * rate.se / rate.value))
            constants.append(curve.time_constant)
        except Refused as refusal:
            why = refusal
    if not constants:
        raise why
    flags = frozenset().union(*(each.assumed for each in own))
    flags |= {"decay-left-out"} if len(constants) < len(own) else frozenset()
    flags |= {"decay-bends"} if bent else frozenset()
    flags |= {"no-repeats"} if scatter is None else frozenset()
    half = 0.0 if scatter is None else among.half(scatter, [len(constants)])
    warm = (program.definitions.limit_of("thermometer") or 0.0) / 2 / own[0].temperature
    volume, why_no_area, of_volume = None, "", 0.0
    try:
        volume = own[0].volume
        limit = own[0].mean("volume_limit")
        of_volume = limit / volume if limit and volume else 0.0
        flags |= {"volume-limit-not-stated"} if volume and not limit else frozenset()
    except Refused as refusal:
        why_no_area = refusal.code
    return _Found(
        {name: math.exp(fmean(each)) for name, each in logs.items()},
        volume,
        why_no_area,
        fmean(constants),
        math.hypot(half, max(errors), warm),
        of_volume,
        len(constants),
        flags,
    )


def _of_sensor(program: Program, each: Decay, rate: float) -> float:
    """What the sensor's limit of error does to a rate [-]; nothing where its id was not recorded."""
    named = next((str(row.instrument) for row in each.rows if given(row.instrument)), "")
    tool = program.definitions.tools.get(named)
    if tool is None:
        return 0.0
    return abs(math.log(_rate(each, method.ISOTHERMAL, tool.limit) / rate))


def _beside_leakdown(book: Book, key: Key, found: _Found) -> Iterator[Value]:
    """Over the leak-down area of the same cylinder and phase, by the ends of both."""
    other, area = book.get(LEAKDOWN, key), found.area()
    if area is None or other is None or other.value is None or not other.low or other.high is None:
        return
    middle, low, high = (MM2 * end for end in area)
    most = high / other.low / LEAST_DISCHARGE
    yield Value(OVER.id, key, middle / other.value, low / other.high, most, n=2, of="check")


def _among(
    build: Build, phase: str, at: str, told: Mapping[Place, _Found], scatter: among.Scatter | None
) -> Iterator[Value]:
    """Each cylinder over the tightest; areas where all volumes are known, else rates."""
    own = {place[0]: found for place, found in sorted(told.items()) if place[1:] == (phase, at)}
    if len(own) < 2:
        return
    whole = all(found.volume is not None for found in own.values())
    logs = [math.log(each.rates["isothermal"] * ((each.volume or 1.0) if whole else 1.0)) for each in own.values()]
    ratios = among.over_lowest(logs, [each.n for each in own.values()], scatter)
    flags = frozenset() if whole else frozenset({"volumes-taken-as-equal"})
    for cylinder, found, ratio in zip(own, own.values(), ratios, strict=True):
        key = build.key(cylinder, phase, at)
        yield Value(TO_LEAST.id, key, ratio.value, ratio.low, ratio.high, n=found.n, of="repeat", flags=flags)


def _drawn(build: Build, readings: Mapping[str, Readings]) -> Iterator[Series]:
    """Every decay as read, by phase."""
    import pandas as pd

    rows: dict[str, list[tuple[int, int, float, float]]] = {}
    for (of, (cylinder, phase, at)), own in decays(rows_in(readings["decay"], Reading)).items():
        if of == build.id and at == "":
            for number, each in enumerate(own, start=1):
                rows.setdefault(phase, []).extend((cylinder, number, r.time, r.pressure / 1e3) for r in each.rows)
    for phase, points in rows.items():
        frame = pd.DataFrame(points, columns=["cylinder", "repeat", "time", "pressure"])
        yield Series("decay.curves", build.key(phase=phase), {"time": "s", "pressure": "kPa"}, frame)


def _scatter(book: Book) -> among.Scatter | None:
    value = book.get(REPEAT.id, Key())
    if value is None or value.value is None or value.df is None:
        return None
    return among.Scatter(value.value / 100, value.df)


SCATTER = Step(name="decay-repeats", gives=(REPEAT,), run=run_scatter, reads=("decay",), scope="program")
STEP = Step(
    name="decay",
    gives=(AREA, BY_GAS, RATE, CONSTANT, TO_LEAST, OVER),
    run=run,
    reads=("decay",),
    needs=(REPEAT.id, LEAKDOWN),
)
