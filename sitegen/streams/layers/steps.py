"""Thickness of each layer of each top ring, from what was measured of it or of its lot, else from its tolerance."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from statistics import fmean

from sitegen.declarations import Step
from sitegen.methods import layers
from sitegen.methods.intervals import NORMAL_95
from sitegen.program.model import Layer, Place, Program
from sitegen.streams.layers.fields import CRATER, Reading
from sitegen.streams.layers.measures import THICKNESS
from sitegen.streams.layers.read import thickness
from sitegen.tables.rows import given, rows_in
from sitegen.vocabulary import Book, Key, Readings, Refused, Result, Value, refused

Rings = Mapping[tuple[str, str], list[Reading]]  # rows by ring: ("B4", "1") built in, or lot and number


def run(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """Every layer of every ring of the program; a ring that was measured stands for its lot too."""
    del engine, book
    rows = [row for row in rows_in(readings["layers"], Reading) if row.use == ""]
    for build in program.builds:
        for place in build.places:
            own = [row for row in rows if row.engine == build.id and int(row.cylinder) == place.cylinder]
            lot = [row for row in rows if place.lot and _lot(program, row) == place.lot]
            for layer in program.definitions.coatings[place.coating].layers:
                key = build.key(place.cylinder, "", f"top/{layer.name}")
                yield from _of(program, key, layer, place, _of_layer(own, layer), _of_layer(lot, layer))


def _lot(program: Program, row: Reading) -> str:
    if not given(row.engine):
        return str(row.lot)
    return next((p.lot for p in program.build(str(row.engine)).places if p.cylinder == int(row.cylinder)), "")


def _of_layer(rows: Sequence[Reading], layer: Layer) -> list[Reading]:
    return [row for row in rows if row.layer == layer.name]


def _places(rows: Iterable[Reading]) -> list[list[float]]:
    """Thickness [um] by ring and place, repeats of a place as their mean."""
    rings: dict[tuple[object, object], dict[object, list[float]]] = {}
    for number, row in enumerate(rows):
        ring = (row.engine, int(row.cylinder)) if given(row.engine) else (str(row.lot), str(row.ring))
        where = row.angle if given(row.angle) else f"row {number}"
        if not given(row.angle) and given(row.repeat):  # one place, read again
            where = row.method
        rings.setdefault(ring, {}).setdefault(where, []).append(1e6 * thickness(row))
    return [[fmean(each) for each in places.values()] for places in rings.values()]


def _of(
    program: Program, key: Key, layer: Layer, place: Place, own: Sequence[Reading], lot: Sequence[Reading]
) -> Iterator[Value]:
    """The first of ring, lot and tolerance that tells an interval."""
    flags: set[str] = set()
    of_own, rings = _places(own), _places(lot or own)
    if of_own and len(of_own[0]) > 1:
        found = layers.of_ring(of_own[0], _gauge(program, own, flags))
        whose = f"ring:{key.engine}/{key.cylinder}"
        yield _measured(key, found, len(of_own[0]), frozenset({"own-ring", *flags}), whose)
        return
    if len(rings) > 1:
        found = layers.of_lot(rings, _gauge(program, lot, flags))
        yield _measured(key, found, len(rings), frozenset(flags), f"lot:{place.lot}")
        return
    if layer.thickness is None or layer.tolerance is None:
        yield refused(THICKNESS.id, key, Refused("thickness-nominal" if layer.thickness else "no-thickness"))
        return
    nominal, tolerance = 1e6 * layer.thickness, 1e6 * layer.tolerance
    room = tolerance + _gauge(program, lot or own, set())
    if any(abs(each - nominal) > room for ring in rings for each in ring):
        yield refused(THICKNESS.id, key, Refused("thickness-outside-tolerance"))
        return
    flags = {"thickness-not-confirmed", *(("one-ring-cut",) if rings else ())}
    yield Value(
        THICKNESS.id, key, nominal, nominal - tolerance, nominal + tolerance, se_common=tolerance / NORMAL_95,
        common=f"nominal:{place.coating}", flags=frozenset(flags),
    )  # fmt: skip


def _measured(key: Key, found: layers.Thickness, n: int, flags: frozenset[str], common: str) -> Value:
    """All of its error is taken as shared by the rings of the lot, so that more of them do not lessen it."""
    return Value(
        THICKNESS.id, key, found.value, max(found.value - found.half, 0.0), found.value + found.half, n=n,
        se_common=found.half / NORMAL_95, common=common, of="place", flags=flags,
    )  # fmt: skip


def _gauge(program: Program, rows: Sequence[Reading], flags: set[str]) -> float:
    """Most a thickness [um] may be off by the limit of error of its microscope."""
    most = 0.0
    for row in rows:
        tool = program.definitions.tools.get(str(row.instrument)) if given(row.instrument) else None
        if tool is None:
            flags.add("gauge-error-unknown")
            continue
        limit = tool.limit
        if row.method == CRATER:
            radius = row.face_radius if given(row.face_radius) else float("inf")
            limit = layers.crater_error(row.outer, row.inner, row.ball, limit, radius)
        most = max(most, 1e6 * limit)
    return most


STEP = Step(name="layer-thickness", gives=(THICKNESS,), run=run, reads=("layers",), scope="program")
