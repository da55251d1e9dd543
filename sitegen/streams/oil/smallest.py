"""What the oil of a program can show at all, before the first start: the least wear of each part."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from sitegen.declarations import Smallest
from sitegen.methods import elements, oil_precision
from sitegen.methods.oil_precision import Scatter
from sitegen.program.model import Laboratory, OilSource, Program
from sitegen.streams.oil.measures import MASS
from sitegen.streams.oil.samples import MG_KG
from sitegen.vocabulary import Refused


def scatter_at(laboratory: Laboratory, symbol: str, x: float) -> Scatter:
    """Scatter of one report of x [mg/kg] beside others of its batch; see `oil_precision.scatter`."""
    own = laboratory.precision.get(symbol)
    return oil_precision.scatter(
        symbol,
        x,
        method=laboratory.method,
        laboratory=None if own is None else (own.at_zero * MG_KG, own.share),
        step=laboratory.reported_to * MG_KG,
    )


def least_metal(program: Program, laboratory: Laboratory, symbol: str) -> float | None:
    """Least metal [mg] that the oil of the program's largest charge shows, near what fresh oil holds; None: unknown."""
    oils = [program.definitions.oils[b.oil] for b in program.builds if b.oil in program.definitions.oils]
    charges = [b.engine_type.oil_charge for b in program.builds if b.engine_type.oil_charge]
    fresh = [oil.fresh[symbol] * MG_KG for oil in oils if symbol in oil.fresh]
    if not charges or not fresh:
        return None
    try:
        scatter = scatter_at(laboratory, symbol, max(fresh))
    except Refused:
        return None
    return oil_precision.smallest_metal(max(charges), scatter, scatter)


def beside(program: Program, source: OilSource) -> list[OilSource]:
    """The other parts of engines that hold this one."""
    coatings = [
        set(build.coatings) for build in program.builds if not source.coating or source.coating in build.coatings
    ]
    together = set().union(*coatings)
    return [
        other
        for other in program.oil.sources
        if other is not source and (not other.coating or other.coating in together)
    ]


def least_depth(program: Program, laboratory: Laboratory, source: OilSource) -> tuple[float, str] | None:
    """Least wear of a part [m] that the oil can show, and by which element; None where nothing tells.

    Only elements that no other part of the engine gives.
    """
    if not source.surface or not source.density:
        return None
    found = []
    for symbol, share in source.elements.items():
        if any(symbol in other.elements for other in beside(program, source)):
            continue
        metal = least_metal(program, laboratory, symbol)
        if metal is not None and share > 0:
            found.append((metal / oil_precision.metal_of_wear(1.0, source.surface, source.density, share), symbol))
    return min(found) if found else None


def smallest(program: Program) -> Iterable[Smallest]:
    """The least wear of each part that two samples tell from none, by each laboratory."""
    if not program.oil.sources:
        return
    for laboratory in program.definitions.laboratories.values():
        for source in program.oil.sources:
            yield from _of(program, laboratory, source)


def _of(program: Program, laboratory: Laboratory, source: OilSource) -> Iterator[Smallest]:
    found = least_depth(program, laboratory, source)
    if found is None:
        return
    depth, symbol = found
    metal = least_metal(program, laboratory, symbol)
    if symbol not in MASS or metal is None:
        return
    what = f"{elements.name(symbol)} that tells wear of {source.title}, {depth * 1e6:.2g} µm of it"
    because = f"{laboratory.title}: scatter of its reports from day to day, of two samples"
    expected = source.expected and metal * source.expected / depth
    yield Smallest(MASS[symbol].id, what, metal, because, expected=(expected, expected) if expected else None)
