"""What is left of the layers of a ring face: thickness before the run by the records of layers, less wear by traces."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from sitegen.declarations import Step
from sitegen.methods import layers
from sitegen.methods.layers import Span
from sitegen.program.model import Coating, Layer, Program
from sitegen.rounding import interval
from sitegen.streams.surfaces import measures
from sitegen.vocabulary import Book, Key, Measure, Readings, Refused, Result, Value, Verdict, refused

THICKNESS = "layer.thickness"  # of the records of layers, or of a tolerance
RULE = "ring.layer"
WORDS = ("left", "through", "cannot tell")
OF_LAYER = (measures.LAYER_LEFT, measures.LAYER_THINNEST, measures.LAYER_THROUGH)


@dataclass(frozen=True)
class _Thick:
    """A thickness [um] and whose error it is."""

    span: Span
    error: float | None  # standard error that the rings of one source share
    common: str
    flags: frozenset[str]


def run_left(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """What is left of the running-in layer and of the coating of each top ring that was traced."""
    del readings
    build = program.build(engine)
    rings: dict[Key, dict[str, Span]] = {}
    for value in book.of(measures.FACE_DEPTH.id):
        ring, _, angle = value.key.at.partition("/")
        if ring == "top" and angle and (worn := _worn(value)) is not None:
            rings.setdefault(build.key(value.key.cylinder, value.key.phase, "top"), {})[value.key.at] = worn
    for key, angles in rings.items():
        coating = program.definitions.coatings[key.coating]
        if coating.layers or coating.thickness is not None:
            mean = book.get(measures.FACE_DEPTH.id, key)
            yield from _of_ring(coating, key, angles, None if mean is None else _worn(mean), book)


def _worn(value: Value) -> Span | None:
    """Wear [um]; below what traces show it is anything down to none."""
    if value.status == "below" and value.high is not None:
        return Span(value.high / 2, 0.0, value.high)
    if value.value is None or value.low is None or value.high is None:
        return None
    return Span(value.value, max(value.low, 0.0), value.high)


def _of_ring(coating: Coating, key: Key, worn: Mapping[str, Span], mean: Span | None, book: Book) -> Iterator[Result]:
    running = next((layer for layer in coating.layers if layer.running_in), None)
    deepest = max(worn.values(), key=lambda each: each.value)
    known = [_thickness(layer, key, book) for layer in coating.layers]
    why = next((each.code for each in known if isinstance(each, Refused)), "" if known else "thickness-nominal")
    told = [each for each in known if isinstance(each, _Thick)]
    most = layers.together([each.span for each in told]).high if not why else 1e6 * (coating.nominal or float("inf"))
    if deepest.low > most:
        for measure in (*(OF_LAYER if running else ()), measures.COATING_LEFT):
            yield refused(measure.id, key, Refused("worn-past-layers"))
        return
    if running is not None:
        yield from _of_layer(known[0], key, worn, mean)
    if why:
        yield refused(measures.COATING_LEFT.id, key, Refused(why))
    else:
        whole = _Thick(
            layers.together([each.span for each in told]), sum(each.error or 0.0 for each in told), told[0].common,
            frozenset(flag for each in told for flag in each.flags),
        )  # fmt: skip
        yield _value(measures.COATING_LEFT, key, whole, deepest, len(worn))
    if isinstance(known[0], Refused) if running else why:
        nominal = running.thickness if running else coating.nominal
        if nominal is not None:
            yield Value(measures.NOMINAL_LEFT.id, key, 1e6 * nominal - deepest.value, n=len(worn), of="place")


def _of_layer(thick: _Thick | Refused, key: Key, worn: Mapping[str, Span], mean: Span | None) -> Iterator[Result]:
    """What is left of the running-in layer at each angle, on the mean and where least; how much of it is through."""
    if isinstance(thick, Refused):
        for measure in OF_LAYER:
            yield refused(measure.id, key, thick)
        return
    if mean is None:  # some angles show no wear: their ends together hold the mean
        ends = zip(*((each.value, each.low, each.high) for each in worn.values()), strict=True)
        mean = Span(*(sum(each) / len(worn) for each in ends))
    for at, one in worn.items():
        yield _value(measures.LAYER_LEFT, key._replace(at=at), thick, one, 1)
    yield _value(measures.LAYER_LEFT, key, thick, mean, len(worn))
    deepest = max(worn.values(), key=lambda each: each.value)
    least = _value(measures.LAYER_THINNEST, key, thick, deepest, len(worn))
    yield least
    share = layers.through([layers.left(thick.span, one) for one in worn.values()])
    yield Value(
        measures.LAYER_THROUGH.id, key, share.value, share.low, share.high, n=len(worn), of="place", flags=thick.flags
    )
    found, low, high = interval(least.value, least.low, least.high)
    sure = low is not None and low > 0, high is not None and high < 0
    word = WORDS[0] if sure[0] else WORDS[1] if sure[1] else WORDS[2]
    deciding = f"{measures.LAYER_THINNEST.id}@top"
    yield Verdict(RULE, key, word, 0.0, found, low, high, "above", deciding)


def _thickness(layer: Layer, key: Key, book: Book) -> _Thick | Refused:
    """Thickness of a layer; Refused where it has no interval."""
    found = book.get(THICKNESS, key._replace(phase="", at=f"top/{layer.name}"))
    if found is None or found.value is None or found.low is None or found.high is None:
        return Refused(found.reason if found is not None and found.reason else "thickness-nominal")
    return _Thick(Span(found.value, found.low, found.high), found.se_common, found.common, found.flags)


def _value(measure: Measure, key: Key, thick: _Thick, worn: Span, n: int) -> Value:
    left = layers.left(thick.span, worn)
    return Value(
        measure.id, key, left.value, left.low, left.high, se_common=thick.error, common=thick.common, n=n, of="place",
        flags=thick.flags,
    )  # fmt: skip


LEFT = Step(
    name="ring-layers",
    gives=(*OF_LAYER, measures.COATING_LEFT, measures.NOMINAL_LEFT),
    run=run_left,
    needs=(measures.FACE_DEPTH.id, THICKNESS),
    undecided={RULE: WORDS[2]},
)
