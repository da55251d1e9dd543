"""Steps of the oil stream: what the samples say, and what follows from the balance of oil and metal."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from sitegen.declarations import Step
from sitegen.methods import oil_attribution, oil_precision, prediction, viscosity
from sitegen.methods.oil_attribution import Share
from sitegen.methods.oil_ledger import Balance, Fill, Z, balance
from sitegen.program.model import Build, Oil, Program
from sitegen.rounding import interval
from sitegen.streams.oil.lost import CST, consumption, fuel, fuel_in, fuel_shown, fuel_unknown, hinted
from sitegen.streams.oil.measures import (
    APPARENT,
    CONCENTRATION,
    CONSUMPTION,
    DEPTH,
    FROM,
    FUEL_HINT,
    INDEX,
    MASS,
    NEXT,
    PER_HOUR,
    PER_KM,
    READ,
    RUN_IN,
    SPECIFIC,
    THICKER,
)
from sitegen.streams.oil.samples import MG_KG, Oiling, Sample, content, contents, fills_of, fresh_error, oiling
from sitegen.vocabulary import Book, Key, Readings, Refused, Result, Series, Value, Verdict, refused

OIL = "oil"
HOURS, KM, ENERGY = "exposure.hours", "exposure.km", "exposure.energy"
TIMES = "oil-times"  # series: when each sample was drawn
LEDGER = "oil-ledger"  # series: the terms of the balance in all
TOTAL = "total"
CONDITION = "oil-condition"  # rule of the verdicts on the condition of the oil
FEWEST = 3  # builds: two that agree by luck would promise what they cannot hold
AT_LEAST = ("base_number",)  # condition that is used up, not piled up


def run_samples(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """Concentrations, viscosity and condition of every sample."""
    build = program.build(engine)
    found = oiling(program, build, readings[OIL], _by_phase(book, HOURS, engine))
    oil = program.definitions.oils.get(build.oil)
    for sample in found.samples:
        key = build.key(phase=sample.phase, at=sample.at)
        for symbol in sample.reported:
            yield _concentration(sample, symbol, key)
        yield from _viscosity(oil, sample, key)
        yield from fuel(sample, key)
        yield from hinted(build, oil, sample, key)
        for name, measure in READ.items():
            if name in sample.condition and name != "fuel":
                yield Value(measure.id, key, sample.condition[name], n=1, of="sample")
        yield from _judged(oil, sample, key)
    if found.samples:
        yield _times(build, found.samples)


def _times(build: Build, samples: Sequence[Sample]) -> Series:
    """Running time of each sample in the order they were drawn, with the phase and the place its values stand at."""
    import pandas as pd

    drawn = sorted(samples, key=lambda sample: sample.date) if all(each.date for each in samples) else samples
    columns = {"hours": [each.hours for each in drawn], "phase": [each.phase for each in drawn]}
    return Series(TIMES, build.key(), {"hours": "h"}, pd.DataFrame(columns | {"at": [each.at for each in drawn]}))


def _by_phase(book: Book, measure: str, engine: str) -> dict[str, float]:
    return {v.key.phase: v.value for v in book.of(measure) if v.key.engine == engine and v.value is not None}


def _concentration(sample: Sample, symbol: str, key: Key) -> Value:
    measure = CONCENTRATION[symbol].id
    try:
        each, flags = content(sample, symbol)
    except Refused as why:
        if why.code == "not-measured":
            return Value(measure, key, status="missing", reason=why.code)
        return refused(measure, key, why)
    flags |= sample.flags
    if each.value is None:
        return Value(measure, key, high=each.high, n=1, of="sample", status="below", flags=flags)
    if not each.known:
        return Value(measure, key, each.value, n=1, of="sample", flags=flags)
    half = Z * (each.se**2 + each.se_common**2) ** 0.5
    return Value(
        measure,
        key,
        each.value,
        low=each.value - half,
        high=each.value + half,
        se=each.se,
        se_common=each.se_common or None,
        common=each.common if each.se_common else "",
        n=1,
        of="sample",
        flags=flags,
    )


def _viscosity(oil: Oil | None, sample: Sample, key: Key) -> Iterator[Value]:
    cold, hot = sample.condition.get("viscosity_40"), sample.condition.get("viscosity_100")
    if cold is not None and hot is not None:
        try:
            yield Value(INDEX.id, key, viscosity.viscosity_index(cold * CST, hot * CST), n=1, of="sample")
        except Refused as why:
            yield refused(INDEX.id, key, why)
    if hot is not None and oil is not None and oil.viscosity_100:
        yield Value(THICKER.id, key, 100 * (hot / oil.viscosity_100 - 1), n=1, of="sample")


def _judged(oil: Oil | None, sample: Sample, key: Key) -> Iterator[Verdict]:
    """Whether each limit of the oil that the sample says something of is kept."""
    if oil is None:
        return
    for name, limit in oil.limits.items():
        if name == "viscosity_change":
            hot = sample.condition.get("viscosity_100")
            if hot is None or not oil.viscosity_100:
                continue
            value, most, measure = 100 * abs(hot / oil.viscosity_100 - 1), 100 * limit, THICKER.id
        elif name in sample.condition:
            value, measure = sample.condition[name], READ[name].id
            most = 100 * limit if READ[name].unit == "%" else limit
        else:
            continue
        found, _, _ = interval(value, None, None)
        kept = found is not None and (found >= most if name in AT_LEAST else found <= most)
        at = key._replace(at=f"{name}:{key.at}" if key.at else name)
        reason = "within-condition" if kept else "beyond-condition"
        route = "number-at-least" if name in AT_LEAST else "number-at-most"
        yield Verdict(
            CONDITION, at, "holds" if kept else "fails", limit=most, found=found, route=route, deciding=measure,
            reason=reason,
        )  # fmt: skip


# ---- the balance ------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Axis:
    """Distance by running time."""

    hours: Sequence[float]
    km: Sequence[float]

    def at(self, hours: float) -> float:
        before = (0.0, 0.0)
        for hour, km in zip(self.hours, self.km, strict=True):
            if hours <= hour:
                width = hour - before[0]
                return before[1] + ((km - before[1]) * (hours - before[0]) / width if width > 0 else km - before[1])
            before = (hour, km)
        return before[1]


def run_balance(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """Metal made, where it came from, and the oil consumed."""
    build = program.build(engine)
    ended = _by_phase(book, HOURS, engine)
    found = oiling(program, build, readings[OIL], ended)
    if not found.moves:
        return
    known = [symbol for symbol in MASS if any(symbol in sample.reported for sample in found.samples)]
    shown = fuel_shown(build, program.definitions.oils.get(build.oil), found)
    try:
        fills = fills_of(program, found)
    except Refused as told:
        why = Refused("fuel-not-known") if told.code == "drained-too-much" and shown else told
        last = found.phases[len(found.moves) - 1]
        yield refused(CONSUMPTION.id, build.key(phase=last), why)
        for symbol in known:
            yield refused(MASS[symbol].id, build.key(phase=found.samples[-1].phase, at=TOTAL), why)
        return
    yield from consumption(build, found, fills, _by_phase(book, ENERGY, engine), ended, shown)
    yield from fuel_in(build, found, fills)
    phases = [phase.id for phase in program.phases_of(build) if phase.id in ended]
    by_km = _by_phase(book, KM, engine)
    axis = _Axis([ended[phase] for phase in phases], [by_km.get(phase, 0.0) for phase in phases])
    totals: dict[str, tuple[Sample, Balance]] = {}
    for symbol in known:
        yield from _metal(program, build, found, fills, symbol, axis, totals, shown)
    yield from _sources(program, build, totals)


def _metal(
    program: Program,
    build: Build,
    found: Oiling,
    fills: Sequence[Fill],
    symbol: str,
    axis: _Axis,
    totals: dict[str, tuple[Sample, Balance]],
    shown: frozenset[str],
) -> Iterator[Result]:
    """Metal made between samples and in all, by the hour and the kilometre, and what the run-in made of it."""
    import pandas as pd

    oil = program.definitions.oils.get(build.oil)
    holding = contents(found.samples, symbol)
    samples = [sample for sample in found.samples if sample.id in holding]
    if not samples:
        return
    if oil is None or symbol not in oil.fresh:
        yield refused(MASS[symbol].id, build.key(phase=samples[-1].phase, at=TOTAL), Refused("no-fresh-oil"))
        return
    fresh, error = oil.fresh[symbol] * MG_KG, program.oil.mass_error
    care = frozenset() if all(sample.mass > 0 for sample in found.samples) else frozenset({"sample-mass-unknown"})
    fresh_se = fresh_error(oil, symbol, next((s.laboratory for s in samples if s.laboratory is not None), None))
    care |= frozenset() if fresh_se is not None else frozenset({"fresh-error-unknown"})
    care |= {"fuel-unknown"} if any(fuel_unknown(fill, shown) for fill in fills) else frozenset()
    care |= frozenset() if all(fill.sure for fill in fills) else frozenset({"fuel-error-unknown"})

    def between(first: str, last: str) -> Balance:
        held = found.retained.get(symbol, ())
        return balance(fills, holding, fresh, first, last, error, fresh_se=fresh_se or 0.0, retained=held)

    before: Sample | None = None
    run_in: Balance | None = None
    for sample in samples:
        since = between(before.id if before else "", sample.id)
        both = sample.flags | (before.flags if before else frozenset()) | care
        key = build.key(phase=sample.phase, at=_place(program, build, sample, before))
        value = _value(MASS[symbol].id, key, since, 1.0, both)
        yield value
        if since.hours > 0:
            yield _value(PER_HOUR.id, key._replace(at=_with(symbol, key.at)), since, since.hours, both)
        km = axis.at(sample.hours) - (axis.at(before.hours) if before else 0.0)
        if km > 0:
            yield _value(PER_KM.id, key._replace(at=_with(symbol, key.at)), since, km, both)
        total = between("", sample.id)
        if not sample.at:
            yield _value(MASS[symbol].id, build.key(phase=sample.phase, at=TOTAL), total, 1.0, sample.flags | care)
        totals[symbol] = (sample, total)
        if program.phase(sample.phase).kind != "durability":
            run_in = total
        before = sample
    last, total = totals[symbol]
    if run_in is not None and run_in is not total:
        yield _run_in(program, build, between, samples, symbol, run_in)
    frame = pd.DataFrame(
        {
            "what": [term.what for term in total.terms],
            "oil": [term.oil for term in total.terms],
            "metal": [term.metal for term in total.terms],
        }
    )
    cases = pd.DataFrame({"what": list(total.cases), "oil": 0.0, "metal": list(total.cases.values())})
    units = {"oil": "kg", "metal": "mg"}
    yield Series(LEDGER, build.key(phase=last.phase, at=symbol), units, frame)
    yield Series(f"{LEDGER}-cases", build.key(phase=last.phase, at=symbol), units, cases)


def _with(symbol: str, at: str) -> str:
    return f"{symbol}:{at}" if at else symbol


def _place(program: Program, build: Build, sample: Sample, before: Sample | None) -> str:
    """Where a stretch stands: "" from the planned sample before, else since when."""
    planned = [phase.id for phase in program.phases_of(build) if OIL in phase.records]
    phase = before.phase if before else ""
    if sample.phase not in planned or phase == sample.phase:
        return sample.at
    number = planned.index(sample.phase)
    wanted = planned[number - 1] if number else ""
    if phase == wanted:
        return sample.at
    return f"since:{phase or 'fill'}"


def _value(measure: str, key: Key, found: Balance, by: float, flags: frozenset[str]) -> Value:
    """A balance as a value: the case of droplets at the mean within the bounds of all three."""
    if found.bounded:
        flags |= {"bound-in-it"}
    if not found.lost_known:
        flags |= {"loss-not-known"}
    if found.low is None or found.high is None:
        flags |= {"no-stated-precision"}
        return Value(measure, key, found.cases["mean"] / by, n=found.samples, of="sample", flags=flags)
    low, high = found.low / by, found.high / by
    if found.bounded:
        if low <= 0:
            return Value(measure, key, high=high, n=found.samples, of="sample", status="below", flags=flags)
        return Value(measure, key, low=low, high=high, n=found.samples, of="sample", flags=flags)
    return Value(
        measure,
        key,
        found.cases["mean"] / by,
        low=low,
        high=high,
        se=found.se / by,
        se_common=found.se_common / by or None,
        common=found.common if found.se_common else "",
        n=found.samples,
        of="sample",
        flags=flags,
    )


def _run_in(
    program: Program,
    build: Build,
    between: Callable[[str, str], Balance],
    samples: Sequence[Sample],
    symbol: str,
    run_in: Balance,
) -> Value:
    """Share of the run-in: bounds from the least of one part with the most of the other."""
    first = [sample for sample in samples if program.phase(sample.phase).kind != "durability"][-1]
    rest = between(first.id, samples[-1].id)
    key = build.key(phase=samples[-1].phase, at=symbol)
    whole = run_in.cases["mean"] + rest.cases["mean"]
    if whole <= 0:
        return refused(RUN_IN.id, key, Refused("not-positive"))
    if run_in.low is None or run_in.high is None or rest.low is None or rest.high is None:
        return Value(RUN_IN.id, key, 100 * run_in.cases["mean"] / whole, flags=frozenset({"no-stated-precision"}))
    least, most = max(run_in.low, 0.0), max(run_in.high, 0.0)
    low = 100 * least / (least + rest.high) if least + rest.high > 0 else 0.0
    high = 100 * most / (most + max(rest.low, 0.0)) if most + max(rest.low, 0.0) > 0 else 100.0
    share = 100 * run_in.cases["mean"] / whole
    if run_in.bounded or rest.bounded or not low <= share <= high:
        return Value(RUN_IN.id, key, low=low, high=high, n=len(samples), of="sample")
    return Value(RUN_IN.id, key, share, low, high, n=len(samples), of="sample")


def _sources(program: Program, build: Build, totals: Mapping[str, tuple[Sample, Balance]]) -> Iterator[Result]:
    """Parts that explain the metal made up to the last sample."""
    import pandas as pd

    sources = {
        source.id: source.elements
        for source in program.oil.sources
        if not source.coating or source.coating in build.coatings
    }
    masses = {
        symbol: (total.cases["mean"], (total.high - total.low) / 2 / Z)
        for symbol, (_, total) in totals.items()
        if total.low is not None and total.high is not None and not total.bounded
    }
    bounds = {
        symbol: _bounds(total)
        for symbol, (_, total) in totals.items()
        if total.low is not None and total.high is not None and total.bounded
    }
    if not totals or not program.oil.sources:
        return
    phase = max((sample for sample, _ in totals.values()), key=lambda sample: sample.hours).phase
    for name, held in sources.items():
        if not set(held) & (set(masses) | set(bounds)):
            yield refused(FROM.id, build.key(phase=phase, at=name), Refused("no-common-element"))
    try:
        found = oil_attribution.attribute(masses, sources, bounds)
    except Refused as why:
        yield refused(FROM.id, build.key(phase=phase), why)
        return
    known = {source.id: source for source in program.oil.sources}
    flags = frozenset({"bound-in-it"}) if bounds else frozenset()
    for share in found.shares:
        key, n = build.key(phase=phase, at="+".join(share.sources)), len(masses) + len(bounds)
        yield _share(FROM.id, key, share, 1.0, n, flags)
        source = known[share.sources[0]]
        if len(share.sources) == 1 and source.surface and source.density:
            at = "" if len(build.coatings) == 1 and source.coating else source.id
            micrometre = oil_precision.metal_of_wear(1e-6, source.surface, source.density)
            yield _share(DEPTH.id, key._replace(at=at), share, micrometre, n, flags)
    swaps = pd.DataFrame({"out": [a for a, _ in found.swaps], "into": [b for _, b in found.swaps]})
    yield Series("oil-swaps", build.key(phase=phase), {}, swaps)


def _share(measure: str, key: Key, share: Share, by: float, n: int, flags: frozenset[str]) -> Value:
    """What one group of parts gave, as a value; none is a bound."""
    if share.mass <= 0 and share.low <= 0:
        return Value(measure, key, high=share.high / by, n=n, status="below", flags=flags)
    return Value(measure, key, share.mass / by, share.low / by, share.high / by, n=n, flags=flags)


def _bounds(found: Balance) -> tuple[float, float, float]:
    """Least and most metal that the reports of less than a limit leave open, and the error of either [mg]."""
    assert found.low is not None  # noqa: S101 - the caller asked
    assert found.high is not None  # noqa: S101
    se = (found.se**2 + found.se_common**2) ** 0.5
    return found.low + Z * se, max(found.high - Z * se, found.low + Z * se), se


def run_next(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """What the next build may make of each metal, by coating and phase."""
    del program, engine, readings
    groups: dict[Key, list[float]] = {}
    for symbol, measure in MASS.items():
        for value in book.of(measure.id):
            if value.key.at == TOTAL and value.key.coating and value.status == "ok" and value.value is not None:
                key = Key("", 0, value.key.coating, value.key.phase, symbol)
                groups.setdefault(key, []).append(value.value)
    for key, numbers in groups.items():
        try:
            if len(numbers) < FEWEST:
                raise Refused("few-builds-for-next")  # noqa: TRY301 - one of two ways to be refused
            mean, low, high = prediction.next_value(numbers)
        except Refused as why:
            yield refused(NEXT.id, key, why)
            continue
        yield Value(NEXT.id, key, mean, low, high, n=len(numbers), of="build")


SAMPLES = Step(
    name="oil-samples",
    gives=(*CONCENTRATION.values(), INDEX, THICKER, FUEL_HINT, *READ.values()),
    run=run_samples,
    reads=(OIL,),
    needs=(HOURS,),
    revision=3,
)
BALANCE = Step(
    name="oil-balance",
    gives=(*MASS.values(), PER_HOUR, PER_KM, RUN_IN, FROM, DEPTH, CONSUMPTION, SPECIFIC, APPARENT),
    run=run_balance,
    reads=(OIL,),
    needs=(HOURS, KM, ENERGY),
    revision=4,
)
NEXT_BUILD = Step(
    name="oil-next-build",
    gives=(NEXT,),
    run=run_next,
    needs=tuple(measure.id for measure in MASS.values()),
    scope="program",
)
