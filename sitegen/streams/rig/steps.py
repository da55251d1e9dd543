"""From strokes to friction, running-in and wear of specimens, and from specimens to coatings."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from sitegen.declarations import Step
from sitegen.methods import rig as method
from sitegen.methods.viscosity import at_temperature
from sitegen.program.model import Program
from sitegen.streams.rig.fields import Reading
from sitegen.streams.rig.measures import (
    BAND,
    MU,
    MU_LEVEL,
    MU_RATIO,
    MU_SMALLEST,
    RAW,
    RUN_IN,
    WEAR,
    WEAR_LEVEL,
    WEAR_RATIO,
    WEAR_SMALLEST,
)
from sitegen.streams.rig.runs import Run, coefficients, condition_of, raw, runs, specific_wear
from sitegen.tables.rows import given, rows_in
from sitegen.vocabulary import Book, Key, Measure, Readings, Refused, Result, Series, Value, refused

LINERS, AGED, STILL = "rig-liners-differ", "rig-oil-hours-differ", "rig-still-moves"  # flags
RAN_DRY = "rig-ran-dry"
_MM2S = 1e6
_UM3 = 1e18
_AGED = 1.5  # times the hours of the oil by which two coatings may differ and count as alike; a convention of ours


@dataclass(frozen=True)
class Specimen:
    """One number of one specimen under conditions, with its row."""

    coating: str
    place: str  # of its coating
    value: float
    row: Reading


def run(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """Specimens first, then coatings, then the map."""
    del engine, book
    rows = rows_in(readings["rig"], Reading)
    friction: list[Specimen] = []
    every = runs(rows)
    for each in every:
        told, own = _specimen(each)
        yield from told
        friction += own
    yield from _of_coatings(program, friction, MU_LEVEL, MU_RATIO, MU_SMALLEST)
    wear: list[Specimen] = []
    for row in rows:
        if row.use == "" and (given(row.scar_volume) or given(row.mass_loss)):
            value, own = _worn(row)
            yield value
            wear += own
    yield from _of_coatings(program, wear, WEAR_LEVEL, WEAR_RATIO, WEAR_SMALLEST)
    yield from _map(program, friction)
    yield from _curves(every)


# ---- specimens ------------------------------------------------------------------------------------------------------


def _specimen(run: Run) -> tuple[list[Result], list[Specimen]]:
    key = Key(coating=run.coating, at=run.at)
    dry = frozenset({RAN_DRY}) if run.first.dry == "yes" else frozenset[str]()
    try:
        times, values = coefficients(run)
    except Refused as why:
        told = Value(RAW.id, key, raw(run), n=len(run.rows), of="reading", flags=dry)
        return [refused(MU.id, key, why), refused(RUN_IN.id, key, why), told], []
    found: list[Result] = []
    known: method.RunIn | None = None
    try:
        known = method.run_in(*method.evenly(times, values))
        found.append(Value(RUN_IN.id, key, known.fold, known.low, known.high, n=len(run.rows), of="reading", flags=dry))
    except Refused as why:
        found.append(refused(RUN_IN.id, key, why))
    try:
        still = _still(run, times, values, known)
    except Refused as why:
        return [*found, refused(MU.id, key, why)], []
    flags = dry | ({STILL} if still.moves else set())
    ends = still.value, still.low, still.high
    value = Value(MU.id, key, *ends, se=still.se, df=4.0, n=still.n, of="reading", flags=flags)
    return [*found, value], [Specimen(run.coating, run.of_coatings, still.value, run.first)]


def _still(run: Run, times: method.Floats, values: method.Floats, known: method.RunIn | None) -> method.Still:
    if not given(run.first.run_in):
        raise Refused("run-in-not-declared")
    still = method.steady_value(*method.evenly(times, values), run.first.run_in, known)
    if still.value <= 0:
        raise Refused("friction-not-positive")
    return still


def _worn(row: Reading) -> tuple[Value, list[Specimen]]:
    """Wear of a specimen, with a load step by step the conditions of none."""
    whole = all(given(getattr(row, name)) for name in ("load", "stroke", "frequency", "temperature"))
    place = condition_of([row]) if whole else "steps"
    key = Key(coating=row.coating, at=f"{row.specimen}/{place}")
    try:
        value = _UM3 * specific_wear(row)
    except Refused as why:
        return refused(WEAR.id, key, why), []
    flags = frozenset({RAN_DRY}) if row.dry == "yes" else frozenset[str]()
    return Value(WEAR.id, key, value, n=1, of="specimen", flags=flags), [Specimen(row.coating, place, value, row)]


# ---- coatings -------------------------------------------------------------------------------------------------------


def _of_coatings(
    program: Program, specimens: Sequence[Specimen], level: Measure, ratio: Measure, smallest: Measure
) -> Iterator[Value]:
    """At each place: levels, then what the specimens can show, then what they show."""
    places: dict[str, dict[str, list[Specimen]]] = {}
    for each in specimens:
        places.setdefault(each.place, {}).setdefault(each.coating, []).append(each)
    for place, coatings in places.items():
        groups = {name: _once(own) for name, own in coatings.items()}
        scatter = method.scatter(list(groups.values()))
        for name, values in groups.items():
            mean = method.level(values)
            yield Value(level.id, Key(coating=name, at=place), mean.value, mean.low, mean.high, df=mean.df,
                        n=len(values), of="specimen", flags=_dry(coatings[name]))  # fmt: skip
        reference = groups.get(program.reference)
        for name, values in groups.items():
            if name == program.reference or reference is None:
                continue
            key = Key(coating=name, at=place)
            n = min(len(values), len(reference))
            if scatter is not None:
                try:
                    least = method.smallest_ratio(scatter[0], len(values), len(reference))
                    yield Value(smallest.id, key, least, n=n, of="specimen")
                except Refused as why:
                    yield refused(smallest.id, key, why)
            mean = method.ratio(values, reference)
            flags = _unlike(coatings[name], coatings[program.reference])
            flags |= set() if mean.low is not None else {"one-specimen"}
            yield Value(ratio.id, key, mean.value, mean.low, mean.high, df=mean.df, n=n, of="specimen",
                        flags=frozenset(flags))  # fmt: skip


def _once(specimens: Sequence[Specimen]) -> list[float]:
    """A value a specimen: of one with several runs alike the geometric mean."""
    own: dict[str, list[float]] = {}
    for each in specimens:
        own.setdefault(each.row.specimen, []).append(math.log(each.value))
    return [math.exp(math.fsum(logs) / len(logs)) for logs in own.values()]


def _dry(specimens: Sequence[Specimen]) -> frozenset[str]:
    return frozenset({RAN_DRY}) if any(each.row.dry == "yes" for each in specimens) else frozenset()


def _unlike(own: Sequence[Specimen], other: Sequence[Specimen]) -> set[str]:
    """What else differs between two coatings than the coating."""
    found = set(_dry(own))
    liners, others = ({each.row.liner for each in of if given(each.row.liner)} for of in (own, other))
    honed, honings = ({each.row.honing for each in of if given(each.row.honing)} for of in (own, other))
    if (liners and others and not liners & others) or (honed and honings and not honed & honings):
        found.add(LINERS)
    hours = [[each.row.oil_hours for each in of if given(each.row.oil_hours)] for of in (own, other)]
    if all(hours):
        means = sorted(math.fsum(each) / len(each) for each in hours)
        if means[1] > _AGED * means[0] and means[1] - means[0] > 3600:
            found.add(AGED)
    return found


# ---- map ------------------------------------------------------------------------------------------------------------


def _map(program: Program, specimens: Sequence[Specimen]) -> Iterator[Value]:
    """Friction by band of ηU/p, where the area and the viscosities are known and conditions differ."""
    numbers: list[tuple[float, Specimen]] = []
    for each in specimens:
        number = _lubrication(program, each.row)
        if number is not None:
            numbers.append((number, each))
    if len({each.place.rpartition("/")[0] for _, each in numbers}) < 2:
        return
    for low, high in method.bands([number for number, _ in numbers]):
        held: dict[tuple[str, str], list[Specimen]] = {}
        for number, each in numbers:
            if low * (1 - 1e-9) <= number < high * (1 - 1e-9):
                held.setdefault((each.coating, each.place.rpartition("/")[2]), []).append(each)
        for (coating, where), own in held.items():
            values = _once(own)
            mean = method.level(values)
            key = Key(coating=coating, at=f"{low:.2g}-to-{high:.2g}-m/{where}")
            yield Value(BAND.id, key, mean.value, mean.low, mean.high, df=mean.df, n=len(values), of="specimen")


def _lubrication(program: Program, row: Reading) -> float | None:
    """ηU/p [m]; None where something of it is not known."""
    oil = program.definitions.oils.get(str(row.oil)) if row.dry != "yes" else None
    if oil is None or oil.viscosity_40 is None or oil.viscosity_100 is None or oil.density is None:
        return None
    if not given(row.area):
        return None
    try:
        kinematic = at_temperature(_MM2S * oil.viscosity_40, _MM2S * oil.viscosity_100, row.temperature) / _MM2S
    except Refused:
        return None
    return method.lubrication(kinematic * oil.density, 2 * row.stroke * row.frequency, row.load / row.area)


# ---- curves ---------------------------------------------------------------------------------------------------------


def _curves(every: Sequence[Run]) -> Iterator[Series]:
    """Coefficient over time of every run, for drawing."""
    import pandas as pd

    rows = []
    for each in every:
        try:
            times, values = coefficients(each)
        except Refused:
            continue
        step = max(1, len(times) // _POINTS)
        for start in range(0, len(times) - step + 1, step):
            part = slice(start, start + step)
            rows.append((each.coating, each.specimen, each.of_coatings, float(times[part].mean()) / 60,
                         float(values[part].mean())))  # fmt: skip
    if rows:
        names = ["coating", "specimen", "place", "time", "mu"]
        yield Series("rig.curves", Key(), {"time": "min", "mu": "1"}, pd.DataFrame(rows, columns=names))


_POINTS = 60  # of one run drawn at most

STEP = Step(
    name="rig",
    gives=(MU, RUN_IN, RAW, MU_LEVEL, MU_RATIO, MU_SMALLEST, BAND, WEAR, WEAR_LEVEL, WEAR_RATIO, WEAR_SMALLEST),
    run=run,
    reads=("rig",),
    scope="program",
)
