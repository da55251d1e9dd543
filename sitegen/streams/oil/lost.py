"""Oil an engine lost, and the fuel in it: as reported, as the viscosity hints, and taken off where it is known."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import accumulate

from sitegen.methods import fuel_dilution
from sitegen.methods.oil_ledger import Fill, Z
from sitegen.program.model import Build, Oil
from sitegen.streams.oil.fields import CHROMATOGRAPHY
from sitegen.streams.oil.measures import APPARENT, CONSUMPTION, FUEL_HINT, READ, SPECIFIC
from sitegen.streams.oil.samples import Oiling, Sample
from sitegen.vocabulary import Key, Refused, Series, Value, refused

HINT = 1.0  # % of fuel from which a viscosity is taken for a hint (common practice, no source)
FUEL_IN = "oil-fuel"  # series: fuel in each sample, and in the engine when it was drawn
CST = 1e6  # m2/s to mm2/s


def fuel(sample: Sample, key: Key) -> Iterator[Value]:
    """Fuel as reported, with the laboratory's error where chromatography found it."""
    if sample.fuel is None:
        return
    measure, (share, mark) = READ["fuel"].id, sample.fuel
    flags = frozenset() if sample.fuel_method == CHROMATOGRAPHY else frozenset({"fuel-hint"})
    if mark == "-":
        yield Value(measure, key, status="missing", reason="not-measured")
    elif mark == "ND" or share is None:
        yield refused(measure, key, Refused("no-detection-limit"))
    elif mark == "<":
        yield Value(measure, key, high=100 * share, n=1, of="sample", status="below", flags=flags)
    elif sample.weighed_fuel is None or not sample.weighed_fuel.known:
        yield Value(measure, key, 100 * share, n=1, of="sample", flags=flags)
    else:
        value, se = 100 * share, 100 * sample.weighed_fuel.se
        yield Value(measure, key, value, value - Z * se, value + Z * se, se, n=1, of="sample", flags=flags)


def _hint(build: Build, oil: Oil | None, sample: Sample) -> float | None:
    """Fuel that the viscosity at 40 degC hints of [%]; None: nothing to go by, or the oil is no thinner than fresh."""
    fuel, cold = build.engine_type.fuel_viscosity, sample.condition.get("viscosity_40")
    if fuel is None or cold is None or oil is None or not oil.viscosity_40 or cold >= oil.viscosity_40:
        return None
    return 100 * fuel_dilution.hinted(oil.viscosity_40 * CST, cold * CST, fuel * CST)


def hinted(build: Build, oil: Oil | None, sample: Sample, key: Key) -> Iterator[Value]:
    """Fuel that the viscosity of a sample hints of."""
    try:
        hint = _hint(build, oil, sample)
    except Refused as why:
        yield refused(FUEL_HINT.id, key, why)
    else:
        if hint is not None:
            yield Value(FUEL_HINT.id, key, hint, n=1, of="sample", flags=frozenset({"fuel-hint"}))


def fuel_shown(build: Build, oil: Oil | None, found: Oiling) -> frozenset[str]:
    """Samples that show fuel, by whatever method, or hint of it by their viscosity."""
    shown = set()
    for sample in found.samples:
        try:
            hint = _hint(build, oil, sample) or 0.0
        except Refused:
            hint = 0.0
        if hint >= HINT or (sample.fuel is not None and sample.fuel[1] == "" and (sample.fuel[0] or 0.0) > 0):
            shown.add(sample.id)
    return frozenset(shown)


def consumption(
    build: Build,
    found: Oiling,
    fills: Sequence[Fill],
    energy: Mapping[str, float],
    ended: Mapping[str, float],
    shown: frozenset[str],
) -> Iterator[Value]:
    """Oil lost on each fill, by the hour and by the energy; `shown`: samples that show fuel."""
    order = list(ended)
    for fill, end, at in placed(found, fills):
        key = build.key(phase=end, at=at)
        if fill.lost is None or fill.hours <= 0:
            yield refused(CONSUMPTION.id, key, Refused("not-drained"))
            continue
        for measure, by in ((CONSUMPTION, fill.hours), (SPECIFIC, _energy(energy, order, ended, fill, end))):
            if by is None or by <= 0:
                continue
            yield _lost(measure.id, key, fill, by, shown)
        if fill.fuelled and fill.apparent is not None:
            yield Value(APPARENT.id, key, 1e3 * fill.apparent / fill.hours, n=len(fill.moves))


def placed(found: Oiling, fills: Sequence[Fill]) -> Iterator[tuple[Fill, str, str]]:
    """Each fill with the phase it ended in and its place there: "" the last of it, else fill-1 ..."""
    ends = list(accumulate(len(fill.moves) for fill in fills))
    phases = [found.phases[end - 1] for end in ends]
    for number, (fill, phase) in enumerate(zip(fills, phases, strict=True)):
        last = phase not in phases[number + 1 :]
        yield fill, phase, "" if last else f"fill-{phases[:number].count(phase) + 1}"


def _lost(measure: str, key: Key, fill: Fill, by: float, shown: frozenset[str]) -> Value:
    """Oil lost over a fill; without a value where reports of fuel of less than a limit leave bounds alone."""
    assert fill.lost is not None  # noqa: S101 - the caller asked
    value, se, half = 1e3 * fill.lost / by, 1e3 * fill.lost_se / by, 1e3 * fill.half / by
    flags = frozenset() if _weighed(fill) else frozenset({"sample-mass-unknown"})
    flags |= {"fuel-unknown"} if fuel_unknown(fill, shown) else frozenset()
    n = len(fill.moves)
    if not fill.sure:
        return Value(measure, key, value, n=n, flags=flags | {"fuel-error-unknown"})
    if half > 0:
        return Value(measure, key, low=value - half - Z * se, high=value + half + Z * se, n=n,
                     flags=flags | {"bound-in-it"})  # fmt: skip
    if se == 0:
        return Value(measure, key, value, n=n, flags=flags)
    return Value(measure, key, value, value - Z * se, value + Z * se, se, n=n, flags=flags)


def fuel_unknown(fill: Fill, shown: frozenset[str]) -> bool:
    """True where fuel shows in a sample of the fill, and was not taken off."""
    return fill.lost is not None and not fill.fuelled and any(move.sample in shown for move in fill.moves)


def fuel_in(build: Build, found: Oiling, fills: Sequence[Fill]) -> Iterator[Series]:
    """Fuel that chromatography found in each sample, its error, and how much was in the engine before and after it."""
    import pandas as pd

    by_id = {sample.id: sample for sample in found.samples}
    rows = [
        (number, by_id[move.sample].phase, by_id[move.sample].at, move.hours, 100 * move.fuel.share,
         100 * move.fuel.se if move.fuel.known else float("nan"),
         *((mass * move.fuel.share if fill.fuelled else float("nan")) for mass in (inside, inside - move.mass)))
        for number, fill in enumerate(fills)
        for move, inside in zip(fill.moves, fill.at, strict=True)
        if move.sample and move.fuel is not None and not move.fuel.half
    ]  # fmt: skip
    if rows:
        units = {"hours": "h", "share": "%", "error": "%", "mass": "kg", "after": "kg"}
        yield Series(FUEL_IN, build.key(), units, pd.DataFrame(rows, columns=["fill", "phase", "at", *units]))


def _weighed(fill: Fill) -> bool:
    return all(move.mass > 0 for move in fill.moves)


def _energy(
    energy: Mapping[str, float],
    order: Sequence[str],
    ended: Mapping[str, float],
    fill: Fill,
    end: str,
) -> float | None:
    """Brake energy delivered on a fill [kWh]; None where it did not live from the end of a phase to that of another."""
    starts = [0.0, *(ended[phase] for phase in order)]
    opened, closed = fill.moves[0].hours, fill.moves[-1].hours
    if end not in energy or abs(ended[end] - closed) > 1e-6 or not any(abs(opened - each) < 1e-6 for each in starts):
        return None
    before = [phase for phase in order if ended[phase] <= opened + 1e-6]
    if before and before[-1] not in energy:
        return None
    return energy[end] - (energy[before[-1]] if before and opened > 0 else 0.0)
