"""Bench against engine: whether coatings stand in one order on the rig and in engines; the program names what is asked.

Few coatings cannot show that: the least p they could reach is told with what was found. Where the rig ran under other
conditions than the engine in what is known to turn an order round, nothing is compared.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from statistics import fmean

from sitegen.crossing.subjects import NOT_HERE
from sitegen.declarations import Step
from sitegen.program.model import Against, Program
from sitegen.vocabulary import Book, Key, Measure, Readings, Refused, Result, Value, refused

LEAST_COATINGS = 3  # of two there is no order to speak of
_DRY, _OIL = "dry", 4  # of the conditions that a place on the rig lists: load, frequency, temperature, stroke, oil
_LIMITS = (
    "An order alone: neither sizes nor intervals enter. ASTM G181 claims no correlation of a bench to an engine. A "
    "large p is no disagreement."
)

AGREEMENT = Measure(
    "bench.agreement", "agreement of bench and engine in rank over coatings", "1", "",
    "Kendall's tau of the coatings by their means: 1 where bench and engine put them in the same order, −1 in the "
    "opposite one.",
    "(concordant − discordant pairs) / √(pairs untied in one · untied in the other)",
    "M. G. Kendall, Biometrika 30 (1938) 81", _LIMITS, interval="", of_coating=True,
)  # fmt: skip
CHANCE = Measure(
    "bench.p", "how often chance alone puts coatings as alike or as opposite", "1", "",
    "Share of all orders that agree as far or farther, in either sense.",
    "orders at least as far from 0 / all orders",
    "exact permutation; three coatings reach 0.333 at best, four 0.083, five 0.017, six 0.003", _LIMITS, interval="",
    of_coating=True,
)  # fmt: skip
LEAST = Measure(
    "bench.least_p", "least share that chance alone could reach over coatings", "1", "",
    "The share above, were bench and engine to put the coatings in one order throughout.",
    "2 / (number of coatings)!", "counting; more where values tie", interval="", of_coating=True,
)  # fmt: skip


def _relative(name: str, title: str, of: str) -> Measure:
    return Measure(
        f"bench.{name}", title, "1", "", f"Mean of the {of} with a coating over that of the reference.",
        "mean, coating / mean, reference", "definition", _LIMITS, interval="", of_coating=True,
    )  # fmt: skip


RIG = _relative("rig", "measure of the rig, over the reference’s", "specimens")
ENGINE = _relative("engine", "measure of the engine, over the reference’s", "builds")


def run(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """Every pair the program names."""
    del engine, readings
    for pair in program.rig.against:
        key = Key(at=pair.id)
        if not (book.knows(pair.rig.measure) and book.knows(pair.engine.measure)):
            yield Value(AGREEMENT.id, key, status="missing", reason=NOT_HERE)
            continue
        try:
            yield from _pair(program, pair, book)
        except Refused as why:
            yield refused(AGREEMENT.id, key, why)


def _pair(program: Program, pair: Against, book: Book) -> Iterator[Value]:
    from sitegen.methods.ties import rank_agreement

    bench = _on_rig(pair, book)
    engines, builds = _in_engines(program, pair, book)
    _conditions(program, pair, builds)
    both = [name for name in (program.reference, *program.candidates) if name in bench and name in engines]
    on_rig, in_engine = bench.get(program.reference, (0.0, 0))[0], engines.get(program.reference, 0.0)
    for name in both:
        own = Key(coating=name, at=pair.id)
        if on_rig > 0:
            value, n = bench[name]
            yield Value(RIG.id, own, value / on_rig, n=n, of="specimen")
        if in_engine > 0:
            yield Value(ENGINE.id, own, engines[name] / in_engine, n=len(builds[name]), of="build")
    if len(both) < LEAST_COATINGS:
        raise Refused("few-coatings-to-rank")
    ranked = rank_agreement([bench[name][0] for name in both], [engines[name] for name in both], [""] * len(both))
    for measure, value in ((AGREEMENT, ranked.tau), (CHANCE, ranked.p), (LEAST, ranked.least_p)):
        yield Value(measure.id, Key(at=pair.id), value, n=len(both), of="coating")


def _on_rig(pair: Against, book: Book) -> dict[str, tuple[float, int]]:
    """By coating: the level on the rig and its specimens."""
    return {
        value.key.coating: (value.value, value.n)
        for value in book.of(pair.rig.measure)
        if value.key.coating and value.key.at == pair.rig.at and value.status == "ok" and value.value is not None
    }


def _in_engines(program: Program, pair: Against, book: Book) -> tuple[dict[str, float], dict[str, list[str]]]:
    """By coating: the mean of its builds, each the mean of its cylinders, and those builds."""
    cells: dict[str, dict[str, list[float]]] = {}
    for value in book.of(pair.engine.measure):
        where = value.key.phase, value.key.at
        here = where == (pair.engine.phase, pair.engine.at) and value.key.engine and value.key.coating
        if here and value.status == "ok" and value.value is not None:
            cells.setdefault(value.key.coating, {}).setdefault(value.key.engine, []).append(value.value)
    order = [build.id for build in program.builds]
    means = {name: fmean(fmean(own[each]) for each in order if each in own) for name, own in cells.items()}
    return means, {name: [each for each in order if each in own] for name, own in cells.items()}


def _conditions(program: Program, pair: Against, builds: Mapping[str, list[str]]) -> None:
    """Refuses `bench-ran-dry` and `bench-other-oil`: an order of dry or other contacts is none of fired engines."""
    parts = pair.rig.at.split("/")
    oil = parts[_OIL] if len(parts) > _OIL else ""
    if oil == _DRY:
        raise Refused("bench-ran-dry")
    own = {program.build(each).oil for names in builds.values() for each in names} - {""}
    if oil and own and own != {oil}:
        raise Refused("bench-other-oil")


def step(measures: Iterable[Measure]) -> Step:
    """The step, given every measure a program may name."""
    return Step(
        name="bench",
        gives=(AGREEMENT, CHANCE, LEAST, RIG, ENGINE),
        run=run,
        needs=tuple(sorted(measure.id for measure in measures)),
        scope="program",
    )
