"""Whether what the records say of one wear adds up: ring by balance and by traces, by its gap, rings and bores by oil.

What crosses is values, by measure id. Every way misses something; what it may miss is stated in the program.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from sitegen import rounding
from sitegen.crossing.exposure import KM
from sitegen.declarations import Step
from sitegen.methods import closure
from sitegen.methods.closure import Amount
from sitegen.program.model import Build, OilSource, Program
from sitegen.vocabulary import Book, Key, Measure, Readings, Refused, Result, Value, Verdict, refused

MASS_LOSS, VOLUME, DEPTH = "wear.mass_loss", "ring.face_volume", "ring.face_wear"
FROM_GAP, THICKNESS = "wear.face_from_gap", "buildsheet.thickness"
FROM_SOURCE, IRON = "wear.from_source", "wear.iron_mass"
BORE_WEAR = ("bore.wear_valleys", "bore.wear_depth")
TOTAL = "total"
RINGS = ("top", "second", "oil")
MG = 1e6  # kg to mg

_SHARED = "Pairs of ways compared in one build share 5 % (Bonferroni)."
_RATES = (
    "In 14 kinds of 4 000 simulated engines of four rings that close, some pair was told not to close in at most 3.4 "
    "of 100."
)
FACE = Measure(
    id="closure.face",
    title="mass of the ring face worn, by traces",
    unit="mg",
    better="less",
    method="Worn volume of the face by the density of what it is made of: that of the coating's definition, else of "
    "the source of metal that stands for the face.",
    formula="V · density",
    source="of the ring face wear; the density as stated, its error not in the bounds",
    limits="The running face alone: not flanks, not ends, nothing broken out between the traces.",
    interval="bounds",
    only_at="ring",
)
REST = Measure(
    id="closure.rest",
    title="ring mass lost beyond what the face lost",
    unit="mg",
    better="less",
    method="Ring mass lost by the balance less that of the face by traces. It must not be clearly below zero and, "
    f"where the program states what flanks and ends may add, not clearly above that. {_SHARED}",
    formula="m(balance) − V · density; interval √(half-width² + half-width²), a side each",
    source="bounds of both in quadrature",
    limits=f"Flanks, ends, flakes, and what was cleaned off or left on. {_RATES}",
    interval="bounds",
    only_at="ring",
)
FLANKS = Measure(
    id="closure.flank_wear",
    title="wear of both flanks that would make up for it",
    unit="µm",
    better="less",
    method="What a ring lost beyond its face, spread over both flanks. Told where the rest is clearly above zero.",
    formula="rest / (2π · t · (bore − t) · 7.5 g/cm³), t the radial thickness",
    source="geometry (exact); density of iron and steel, 7.2 to 7.8 g/cm³, from memory and in the bounds",
    limits="As if both flanks had lost all of it, evenly; ends and flakes may have.",
    interval="bounds",
    only_at="ring",
)
GAP = Measure(
    id="closure.gap",
    title="face wear by the gap less that by traces",
    unit="µm",
    better="",
    method="Face wear from the gap opening less the depth of the core by traces: zero where both see the same. "
    f"{_SHARED}",
    formula="wear(gap) − depth(traces)",
    source="bounds of both in quadrature",
    limits="Feelers of ±0.02 mm are blind to several µm; then nothing is put to the test.",
    interval="bounds",
    only_at="ring",
)
WEIGHED = Measure(
    id="closure.weighed",
    title="mass lost by all rings a source stands for",
    unit="mg",
    better="less",
    method="Sum over the rings that a source of metal in the oil stands for, by the balance.",
    formula="Σ m(lost)",
    source="of the ring mass lost; limits of one balance go the same way, so half-widths add",
    limits="The whole rings: face, flanks and ends.",
    interval="bounds",
    only_at="source of metal",
    of_coating=True,
)
UNLISTED = Measure(
    id="closure.not_listed",
    title="mass lost by weighed rings on no list of sources",
    unit="mg",
    better="less",
    method="Sum over rings that were weighed before and after and clearly lost mass, and that no source of metal in "
    "the oil stands for. What they gave the oil is put down to the sources that are listed.",
    formula="Σ m(lost)",
    source="as for the listed rings",
    limits="Says nothing of parts nobody weighed.",
    interval="bounds",
    only_at="ring",
)
MORE = Measure(
    id="closure.oil_more",
    title="metal in the oil beyond the most that the rings gave",
    unit="mg",
    better="less",
    method="Metal put down to the ring faces less the most of what the rings lost that oil may hold: all of it where "
    f"the program states no share. Clearly above zero: the list of sources is incomplete. {_SHARED}",
    formula="m(oil) − most share · Σ m(lost)",
    source="bounds of both in quadrature",
    limits="A part that is not listed is found only where its metal is like that of the faces and much of it came: "
    "with as much again as the faces gave in 5 of 100 simulated engines with a balance of ±0.5 mg and cleaning that "
    "scatters by 0.3 mg, in 95 with ±0.1 and 0.1 mg. A complete list was called incomplete in at most 0.3 of 100.",
    interval="bounds",
    only_at="source of metal",
    of_coating=True,
)
SHORT = Measure(
    id="closure.oil_short",
    title="metal in the oil beyond the least that the rings gave",
    unit="mg",
    better="",
    method="Metal put down to the ring faces less the least that they can have given it: what the rings lost less all "
    "that flanks and ends may have added, by the least share that oil holds. Clearly below zero: metal was held back, "
    f"or the parts were taken too high. Told where the program states both. {_SHARED}",
    formula="m(oil) − least share · (Σ m(lost) − rings · m(flanks and ends))",
    source="bounds of both in quadrature",
    limits="Flakes, and what a filter or the sump holds, are not in the oil.",
    interval="bounds",
    only_at="source of metal",
    of_coating=True,
)
BORES = Measure(
    id="closure.bores",
    title="iron worn from the bores, by traces, at least",
    unit="mg",
    better="less",
    method="As if all bores of the engine had worn over the length of the stroke like the least worn of the traced "
    "places. A place traced in several cylinders counts with their mean.",
    formula="depth · cylinders · π · bore · stroke · density · share of iron",
    source="geometry (exact); density and iron as the program states them",
    limits="A few places stand for whole bores: it supposes that on the whole no bore wore less than the least worn "
    "place.",
    interval="bounds",
)
BORES_SHORT = Measure(
    id="closure.bores_short",
    title="iron in the oil beyond the least that the bores gave",
    unit="mg",
    better="",
    method="Iron made by the oil less the least share that oil holds of what the bores lost by traces. Clearly below "
    "zero: metal was held back, or the bores were taken too high. Told where the program states that share.",
    formula="m(iron) − least share · m(bores)",
    source="bounds of both in quadrature",
    limits="As for the iron worn from the bores. More iron than bores gave is no contradiction: other parts hold it.",
    interval="bounds",
)


@dataclass(frozen=True)
class _Pair:
    """Two ways of one wear, before they are judged."""

    measure: Measure
    key: Key
    first: Amount
    second: Amount


def run(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """Every pair of ways of one build, with its word."""
    del readings
    build = program.build(engine)
    lost = {v.key: v for v in book.of(MASS_LOSS) if v.key.engine == engine}
    worn = {v.key: v for v in book.of(VOLUME) if v.key.engine == engine and v.key in lost}
    faces: dict[Key, Amount] = {}
    for key, volume in worn.items():
        try:
            found = amount(volume).times(_density(program, build, key) / 1e3)  # mm3 at kg/m3 to mg
        except Refused as why:
            yield refused(FACE.id, key, why)
            continue
        faces[key] = found
        told = Value(FACE.id, key, found.value, found.low, found.high, n=volume.n, of="place")
        if volume.value is None:
            told = replace(told, value=None, low=None, status="below", reason=volume.reason)
        yield told
    opened = {v.key: v for v in book.of(FROM_GAP) if v.key.engine == engine}
    deep = {v.key: v for v in book.of(DEPTH) if v.key.engine == engine and v.key in opened}
    pairs: list[_Pair] = []
    for measure, one, other in (
        (REST, {key: lost[key] for key in faces}, faces),
        (GAP, opened, {key: v for key, v in deep.items() if v.status in {"ok", "below"}}),
    ):
        for key, second in other.items():
            try:
                with_ = second if isinstance(second, Amount) else amount(second)
                pairs.append(_Pair(measure, key, amount(one[key]), with_))
            except Refused as why:
                yield refused(measure.id, key, why)
    yield from _unlisted(program, build, lost)
    oil: list[tuple[OilSource, _Pair, int]] = []
    for source in _face_sources(program, build):
        key = build.key(at=source.id)
        try:
            oil.append(_oil_pair(build, source, lost, book))
        except Refused as why:
            yield refused(MORE.id, key, why)
    bores = _bores(program, build, book)
    if isinstance(bores, Value):
        yield bores
        bores = None
    count = max(1, len(pairs) + len(oil) + (bores is not None))
    for pair in pairs:
        yield from _ring(program, build, pair, count, book)
    for source, pair, rings in oil:
        yield from _oil(program, source, pair, rings, count)
    if bores is not None:
        yield from _bores_judged(program, bores, count)


def amount(value: Value) -> Amount:
    """A value with its interval; a bound reaches from zero. Raises Refused where there is no interval."""
    if value.status == "refused":
        raise Refused(value.reason)
    if value.high is None or (value.low is None and value.value is not None):
        raise Refused("no-interval")
    low = max(value.low, 0.0) if value.value is None and value.low is not None else value.low or 0.0
    middle = (low + value.high) / 2 if value.value is None else value.value
    return Amount(middle, low, value.high)


def _density(program: Program, build: Build, key: Key) -> float:
    """Density [kg/m3] of the running face of a ring."""
    coating = build.coating_of(key.cylinder)
    known = program.definitions.coatings.get(coating)
    if key.at == "top" and known is not None and known.density is not None:
        return known.density
    for source in program.oil.sources:
        if source.weighed_as == key.at and source.coating in {"", coating} and source.density:
            return source.density
    raise Refused("no-density-of-face")


def _word(rule: str, key: Key, found: Amount, limit: float | None, word: str, reason: str, measure: Measure) -> Verdict:
    return Verdict(
        f"closure.{rule}", key, word, limit=limit, found=found.value, low=found.low, high=found.high, route=rule,
        deciding=f"{measure.id}@{key.at}" if key.at else measure.id, reason=reason,
    )  # fmt: skip


def _cut(found: Amount) -> Amount:
    """As it is stored: words are decided on that."""
    value, low, high = rounding.interval(found.value, found.low, found.high)
    return Amount(value or 0.0, low or 0.0, high or 0.0)


def _value(measure: Measure, key: Key, found: Amount, n: int = 2) -> Value:
    return Value(measure.id, key, found.value, found.low, found.high, n=n)


def _ring(program: Program, build: Build, pair: _Pair, count: int, book: Book) -> Iterator[Result]:
    """One ring by two ways: balance against traces, or gap against traces."""
    rest = _cut(closure.less(pair.first, pair.second, count))
    rest_of_face = pair.measure is REST
    stated = program.closure.not_face
    most = (None if stated is None else MG * stated) if rest_of_face else 0.0
    larger = max(pair.first.value, pair.second.value)
    yield _value(pair.measure, pair.key, rest)
    word, why = closure.judge(rest, most, larger)
    yield _word("ring" if rest_of_face else "gap", pair.key, rest, most, word, why, pair.measure)
    thickness = next((t for phase in program.phases if (t := _thick(book, build, pair.key, phase.id))), None)
    if rest_of_face and rest.low > 0 and thickness is not None:
        each = MG * closure.flank_mass(build.engine_type.bore, 1e-3 * thickness, closure.BODY)  # mg a micrometre
        low, high = (end / each for end in (rest.low / (1 + closure.BODY_LIMIT), rest.high / (1 - closure.BODY_LIMIT)))
        yield Value(FLANKS.id, pair.key, rest.value / each, low, high, n=2)


def _thick(book: Book, build: Build, key: Key, phase: str) -> float | None:
    """Radial thickness [mm] of a ring."""
    value = book.get(THICKNESS, build.key(key.cylinder, phase, key.at))
    return None if value is None else value.value


# ---- against the oil ------------------------------------------------------------------------------------------------


def _face_sources(program: Program, build: Build) -> list[OilSource]:
    return [s for s in program.oil.sources if s.weighed_as and (not s.coating or s.coating in build.coatings)]


def listed(program: Program, ring: str, coating: str) -> bool:
    """Whether a source of metal stands for a ring of cylinders with this coating."""
    return any(s.weighed_as == ring and s.coating in {"", coating} for s in program.oil.sources)


def _unlisted(program: Program, build: Build, lost: Mapping[Key, Value]) -> Iterator[Value]:
    """Rings that clearly lost mass and that no source stands for."""
    if not program.oil.sources:
        return
    groups: dict[tuple[str, str], list[Amount]] = {}
    for key, value in lost.items():
        if value.value is not None and value.low is not None and not listed(program, key.at, key.coating):
            groups.setdefault((key.phase, key.at), []).append(amount(value))
    for (phase, ring), each in groups.items():
        found = closure.together(each)
        if found.low > 0:
            yield _value(UNLISTED, build.key(phase=phase, at=ring), found, len(each))


def _summed(build: Build, source: OilSource, lost: Mapping[Key, Value]) -> tuple[Key, Amount, int]:
    """Mass [mg] lost by all rings a source stands for."""
    places = [p.cylinder for p in build.places if source.coating in {"", p.coating}]
    own = {k.cylinder: v for k, v in lost.items() if k.at == source.weighed_as and k.cylinder in places}
    if not own:
        raise Refused("rings-not-weighed")
    if len(own) < len(places) or len({v.key.phase for v in own.values()}) > 1:
        raise Refused("cylinders-missing")
    phase = next(iter(own.values())).key.phase
    return build.key(phase=phase, at=source.id), closure.together(map(amount, own.values())), len(own)


def _oil_pair(build: Build, source: OilSource, lost: Mapping[Key, Value], book: Book) -> tuple[OilSource, _Pair, int]:
    """Metal put down to a kind of ring, and what those rings lost; raises Refused where they cannot be compared."""
    key, parts, rings = _summed(build, source, lost)
    found = [v for v in book.of(FROM_SOURCE) if v.key.engine == build.id]
    if not found:
        raise Refused("no-metal-by-part")
    own = [v for v in found if source.id in v.key.at.split("+") and v.status != "refused"]
    if not own and all(v.status == "refused" for v in found):
        raise Refused(found[0].reason)
    if not own:
        raise Refused("no-common-element")
    if "+" in own[0].key.at:
        raise Refused("parts-not-apart")
    _run_as_far(build, book, own[0].key.phase, key.phase)
    return source, _Pair(MORE, key, amount(own[0]), parts), rings


def _run_as_far(build: Build, book: Book, sampled: str, weighed: str) -> None:
    """Raises Refused where the rings ran on after the last sample of the oil."""
    ran = [book.get(KM.id, build.key(phase=phase)) for phase in (sampled, weighed)]
    ends = [None if each is None else each.value for each in ran]
    if ends[0] is None or ends[1] is None or abs(ends[0] - ends[1]) > 1e-6 * max(ends[1], 1.0):
        raise Refused("oil-ended-before")


def _oil(program: Program, source: OilSource, pair: _Pair, rings: int, count: int) -> Iterator[Result]:
    rule, oil, parts = program.closure, pair.first, pair.second
    yield _value(WEIGHED, pair.key, parts, rings)
    most = 1.0 if rule.oil_holds is None else rule.oil_holds[1]
    more = _cut(closure.less(oil, parts.times(most), count))
    yield _value(MORE, pair.key, more)
    short = None
    if rule.oil_holds is not None and rule.not_face is not None:
        away = rings * MG * rule.not_face if source.surface or source.coating else 0.0
        face = Amount(*(max(end - away, 0.0) for end in (parts.value, parts.low, parts.high)))
        short = _cut(closure.less(oil, face.times(rule.oil_holds[0]), count))
        yield _value(SHORT, pair.key, short)
    gap = _cut(closure.less(oil, parts, count))
    word, why = closure.judge_oil(more, short, gap, max(oil.value, parts.value))
    if short is None or why == "list-incomplete":
        yield _word("oil", pair.key, more, 0.0, word, why, MORE)
    else:
        yield _word("oil", pair.key, short, 0.0, word, why, SHORT)


def _bores(program: Program, build: Build, book: Book) -> _Pair | Value | None:
    """Iron made and iron worn from the bores; a refused value where they cannot be compared; None without traces."""
    rule = program.closure
    deep = [v for name in BORE_WEAR for v in book.of(name) if v.key.engine == build.id and v.status in {"ok", "below"}]
    last = max((program.phase(v.key.phase).order for v in deep), default=-1)
    deep = [v for v in deep if program.phase(v.key.phase).order == last]
    if not deep:
        return None
    phase = deep[0].key.phase
    key = build.key(phase=phase)
    try:
        if rule.bore_density is None or rule.bore_iron is None:
            raise Refused("no-density-of-bores")  # noqa: TRY301 - one of several ways to be refused
        places: dict[tuple[str, str], list[Amount]] = {}
        for value in deep:
            places.setdefault((value.measure, value.key.at), []).append(amount(value))
        depth = min((closure.mean(each) for each in places.values()), key=lambda found: found.value)
        kind = build.engine_type
        each = MG * len(build.places) * closure.bore_mass(kind.bore, kind.stroke, rule.bore_density)  # mg a micrometre
        iron = [v for v in book.of(IRON) if v.key.engine == build.id and v.key.at == TOTAL]
        if not iron:
            raise Refused("no-common-element")  # noqa: TRY301
        found = max(iron, key=lambda v: program.phase(v.key.phase).order)
        _run_as_far(build, book, found.key.phase, phase)
        return _Pair(BORES, key, amount(found), depth.times(each * rule.bore_iron))
    except Refused as why:
        return refused(BORES.id, key, why)


def _bores_judged(program: Program, pair: _Pair, count: int) -> Iterator[Result]:
    yield _value(BORES, pair.key, pair.second)
    held = program.closure.oil_holds
    if held is None:
        yield _word("bores", pair.key, pair.second, None, closure.OPEN, "share-not-stated", BORES)
        return
    short = _cut(closure.less(pair.first, pair.second.times(held[0]), count))
    yield _value(BORES_SHORT, pair.key, short)
    word, why = (closure.NOT, "held-back") if short.high < 0 else (closure.OPEN, "other-parts-hold-iron")
    yield _word("bores", pair.key, short, 0.0, word, why, BORES_SHORT)


def proposals(program: Program, weighed: Sequence[str]) -> str:
    """Entries of the list of sources for rings that are weighed and that no source stands for; "" none."""
    if not program.oil.sources:
        return ""
    coatings = tuple(dict.fromkeys(place.coating for build in program.builds for place in build.places))
    asked = [(ring, coating) for ring in RINGS if ring in weighed for coating in (coatings if ring == "top" else ("",))]
    lines = [_proposed(ring, coating) for ring, coating in asked if not listed(program, ring, coating)]
    if not lines:
        return ""
    lead = (
        f"{program.where.file}: rings are weighed that no source of metal in the oil stands for. What they lose is put "
        "down to the sources listed. To add under oil, sources, with what the rings are made of:"
    )
    return "\n".join([lead, *lines])


def _proposed(ring: str, coating: str) -> str:
    if coating:
        return f'  - {{id: ring-faces-{coating}, title: {coating} ring faces, coating: {coating}, elements: "?"}}'
    return f'  - {{id: {ring}-rings, title: {ring} rings, ring: {ring}, elements: "?"}}'


STEP = Step(
    name="closure",
    gives=(FACE, REST, FLANKS, GAP, WEIGHED, UNLISTED, MORE, SHORT, BORES, BORES_SHORT),
    run=run,
    needs=(MASS_LOSS, VOLUME, DEPTH, FROM_GAP, THICKNESS, FROM_SOURCE, IRON, *BORE_WEAR, KM.id),
    undecided={f"closure.{each}": closure.OPEN for each in ("ring", "gap", "oil", "bores")},
)
