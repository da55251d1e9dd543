"""Steps of the traces: roughness of bores, wear of bores and ring faces, specific wear rate."""

from __future__ import annotations

import math
from collections.abc import Generator, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from statistics import fmean, stdev
from typing import Literal

import numpy as np

from sitegen.declarations import Step
from sitegen.methods.intervals import student_95
from sitegen.methods.repeats import Difference, difference
from sitegen.methods.ring_face import Bounded, mean_of
from sitegen.program.model import Build, Program
from sitegen.streams.surfaces import evaluate, measures
from sitegen.streams.surfaces.fields import BY_INSTRUMENT, RINGS, Reading
from sitegen.tables.rows import given, rows_in
from sitegen.traces.reading import Trace
from sitegen.vocabulary import Book, Key, Measure, Readings, Refused, Result, Series, Value, refused

LEAST_TRACES = 5  # a state, for wear from unrelated traces; common practice, no source
MOST_OFF = 0.15  # share a stated result may be off ours before it is told; a convention of ours, no source
DRAWN = 400  # points of a trace that are drawn, extremes kept
EXPOSURE = "exposure.km"
TENSION = "buildsheet.tension"
MASS_LOSS = "wear.mass_loss"


@dataclass(frozen=True)
class Traced:
    """One row of an index with its trace."""

    row: Reading
    trace: Trace


def place_of(row: Reading) -> str:
    """Where on the part a trace was taken, as keys say it."""
    if row.part == "bore":
        return f"{row.side}/{row.height}"
    return f"{RINGS[row.part]}/{angle_of(row):.0f}-deg"


def name_of(row: Reading) -> str:
    """The file of a trace, and which of several in it."""
    return f"{row.trace}, section {row.section:.0f}" if given(row.section) else row.trace


def angle_of(row: Reading) -> float:
    """Angle from the gap [deg]."""
    return math.degrees(row.angle)


def grouped(readings: Readings, part: str) -> dict[tuple[int, str], dict[str, list[Traced]]]:
    """Traces of bores, or of rings, by cylinder and place, then by phase, in the order of the record."""
    found: dict[tuple[int, str], dict[str, list[Traced]]] = {}
    for row in rows_in(readings, Reading):
        trace = readings.traces.get(row.reading)
        if row.use == "" and (row.part == "bore") == (part == "bore") and isinstance(trace, Trace):
            place = found.setdefault((int(row.cylinder), place_of(row)), {})
            place.setdefault(row.phase, []).append(Traced(row, trace))
    return found


# ---- bores ----------------------------------------------------------------------------------------------------------


def run_bores(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """Roughness of every place and state; wear and plateau of the states after the first."""
    del book
    build = program.build(engine)
    order = {phase.id: phase.order for phase in program.phases}
    for (cylinder, at), states in grouped(readings["surfaces"], "bore").items():
        phases = sorted(states, key=lambda phase: order[phase])
        rough: dict[str, list[evaluate.Evaluated]] = {}
        for phase in phases:
            key = build.key(cylinder, phase, at)
            rough[phase] = yield from _roughness(key, states[phase])
        for phase in phases[1:]:
            key = build.key(cylinder, phase, at)
            before, after = states[phases[0]], states[phase]
            yield from _step(key, before, after)
            if len({each.filter for each in (*rough[phases[0]], *rough[phase])}) > 1:
                for measure in (measures.WEAR_VALLEYS, measures.PLATEAU):
                    yield refused(measure.id, key, Refused("filters-differ"))
                continue
            if any(each.filter == BY_INSTRUMENT for each in rough[phase]):
                yield refused(measures.WEAR_VALLEYS.id, key, Refused("wear-filtered-out"))
            else:
                yield from _aligned(key, rough[phases[0]], rough[phase])
            yield from _plateau(key, rough[phases[0]], rough[phase])


def _roughness(key: Key, traced: Sequence[Traced]) -> Generator[Result, None, list[evaluate.Evaluated]]:
    evaluated: list[evaluate.Evaluated] = []
    care: list[tuple[str, str]] = []  # trace, what to look at
    why: Refused | None = None
    odd = False
    for each in traced:
        try:
            found = evaluate.bore(each.trace, each.row)
        except Refused as refusal:
            why = refusal
            care.append((name_of(each.row), refusal.code))
            continue
        evaluated.append(found)
        if not evaluate.is_plausible(each.trace, each.row.part):
            odd = True
            care.append((name_of(each.row), "heights-not-plausible"))
        care += [(name_of(each.row), code) for code in _looked_at(found)]
    flags = frozenset({"trace-left-out"} if why is not None and evaluated else ())
    if evaluated and any(each.spikes for each in evaluated):
        flags |= {"spikes-taken-out"}
    flags |= {"heights-not-plausible"} if odd else set()
    filters = {each.filter for each in evaluated}
    flags |= {"two-step-filter"} if filters == {"two-step"} else set()
    flags |= {"filtered-by-instrument"} if filters == {BY_INSTRUMENT} else set()
    if len(filters) > 1:
        why, evaluated = Refused("filters-differ"), []
    for measure in (*measures.ROUGHNESS, measures.RK_PLAIN):
        name = measure.id.removeprefix("bore.")
        known = [each.values[name] for each in evaluated if math.isfinite(each.values.get(name, math.nan))]
        if not known:
            if filters == {BY_INSTRUMENT} and measure is measures.RK_PLAIN:
                continue
            codes = [each.refused[name] for each in evaluated if name in each.refused]
            yield refused(measure.id, key, why or Refused(codes[0] if codes else "not-evaluated"))
            continue
        own = flags | ({"trace-left-out"} if len(known) < len(evaluated) else set())
        if measure.interval:
            yield _mean(measure, key, known, own)
        else:
            yield Value(measure.id, key, fmean(known), n=len(known), of="repeat", flags=own)
    yield from _stated(key, evaluated)
    if evaluated:
        yield from _drawn(key, traced, evaluated)
    if care:
        yield _care(key, care)
    return evaluated


def _looked_at(found: evaluate.Evaluated) -> list[str]:
    """What a reader should look at in one trace, as codes; of results stated, which and how far off."""
    off = [(name, ratio) for name, ratio in found.stated.items() if _is_off(ratio)]
    return [
        *(["spikes-taken-out"] if found.spikes else []),
        *dict.fromkeys(code for code in found.refused.values() if code == "beyond-total-height"),
        *(f"stated-does-not-fit:R{name[1:]}:{ratio:.3g}" for name, ratio in off),
    ]


def _is_off(ratio: float) -> bool:
    return ratio > 0 and abs(math.log(ratio)) > math.log1p(MOST_OFF)


def _care(key: Key, care: Sequence[tuple[str, str]]) -> Series:
    import pandas as pd

    return Series("surface.care", key, {}, pd.DataFrame(care, columns=["trace", "what"]))


def _mean(measure: Measure, key: Key, known: Sequence[float], flags: frozenset[str]) -> Value:
    """Mean of the repeats with its t interval; one trace has none."""
    mean = fmean(known)
    if len(known) < 2:
        return Value(measure.id, key, mean, n=1, of="repeat", flags=flags | {"one-trace"})
    se = stdev(known) / math.sqrt(len(known))
    half = student_95(len(known) - 1) * se
    return Value(
        measure.id, key, mean, mean - half, mean + half, se, float(len(known) - 1), n=len(known), of="repeat",
        flags=flags,
    )  # fmt: skip


def _stated(key: Key, evaluated: Sequence[evaluate.Evaluated]) -> Iterator[Value]:
    """The stated result of a place that is farthest from ours."""
    ratios = [ratio for each in evaluated for ratio in each.stated.values() if ratio > 0]
    if not ratios:
        return
    worst = max(ratios, key=lambda ratio: abs(math.log(ratio)))
    flags = frozenset({"stated-does-not-fit"} if _is_off(worst) else ())
    yield Value(measures.STATED.id, key, worst, n=len(ratios), of="repeat", flags=flags)


def _step(key: Key, before: Sequence[Traced], after: Sequence[Traced]) -> Iterator[Value]:
    """Wear from the step at a reversal, where the traces cross its edge."""
    if not any(given(each.row.unswept_to) for each in after):
        return
    measure = measures.WEAR_STEP
    if BY_INSTRUMENT in {evaluate.filter_of(each.row) for each in (*before, *after)}:
        yield refused(measure.id, key, Refused("wear-filtered-out"))
        return
    try:
        now, then = _steps(after), _steps(before)
    except Refused as why:
        yield refused(measure.id, key, why)
        return
    yield _difference(measure, key, then, now, least=2)


def _steps(traced: Sequence[Traced]) -> list[float]:
    """How far [um] each trace falls from the unswept band to the swept one."""
    return [
        evaluate.step(each.trace, float(each.row.unswept_to), float(each.row.swept_from))
        for each in traced
        if given(each.row.unswept_to) and given(each.row.swept_from)
    ]


def _difference(measure: Measure, key: Key, then: Sequence[float], now: Sequence[float], *, least: int) -> Value:
    """Mean now less mean then, by Welch; below its detection limit where the interval reaches zero."""
    if len(now) < least or len(then) < least:
        return refused(measure.id, key, Refused("few-traces" if least > 2 else "single-trace"))
    try:
        return _detected(measure, key, difference(then, now), len(now) + len(then))
    except Refused as why:
        return refused(measure.id, key, why)


def _detected(measure: Measure, key: Key, found: Difference, n: int) -> Value:
    value, half = found.value, student_95(found.df) * found.se
    if value - half <= 0:
        return Value(
            measure.id, key, None, high=max(value, 0.0) + half, se=found.se, df=found.df, n=n, of="repeat",
            status="below", reason="below-detection-of-traces",
        )  # fmt: skip
    return Value(measure.id, key, value, value - half, value + half, found.se, found.df, n=n, of="repeat")


def _aligned(key: Key, before: Sequence[evaluate.Evaluated], after: Sequence[evaluate.Evaluated]) -> Iterator[Value]:
    measure = measures.WEAR_VALLEYS
    if len(before) < LEAST_TRACES or len(after) < LEAST_TRACES:
        yield refused(measure.id, key, Refused("few-traces"))
        return
    try:
        yield _detected(measure, key, evaluate.valley_wear(before, after), len(before) + len(after))
    except Refused as why:
        yield refused(measure.id, key, why)


def _plateau(key: Key, before: Sequence[evaluate.Evaluated], after: Sequence[evaluate.Evaluated]) -> Iterator[Value]:
    """Share of the first peak height that is gone."""
    measure = measures.PLATEAU
    then, now = ([each.values["rpk"] for each in side if "rpk" in each.values] for side in (before, after))
    if not then or not now or min(*then, *now) <= 0:
        yield refused(measure.id, key, Refused("not-evaluated"))
        return
    gone = 100 * (1 - fmean(now) / fmean(then))
    if len(then) < 2 or len(now) < 2:
        yield Value(measure.id, key, gone, n=len(then) + len(now), of="repeat", flags=frozenset({"one-trace"}))
        return
    try:
        ratio = difference([math.log(each) for each in then], [math.log(each) for each in now])
    except Refused as why:
        yield refused(measure.id, key, why)
        return
    half = student_95(ratio.df) * ratio.se
    low, high = (100 * (1 - math.exp(ratio.value + turn * half)) for turn in (1, -1))
    yield Value(measure.id, key, 100 * (1 - math.exp(ratio.value)), low, high, n=len(then) + len(now), of="repeat")


def _drawn(key: Key, traced: Sequence[Traced], evaluated: Sequence[evaluate.Evaluated]) -> Iterator[Series]:
    """The first trace of a place, levelled, and the mean material-ratio curve of all of them."""
    import pandas as pd

    first = traced[0]
    x, z = evaluate.levelled(first.trace, first.row)
    at, height = thinned(1e3 * x, 1e6 * z)
    yield Series("surface.trace", key, {"x": "mm", "z": "µm"}, pd.DataFrame({"x": at, "z": height, "of": len(x)}))
    ratio, curve = evaluate.mean_curve(evaluated)
    yield Series("surface.curve", key, {"ratio": "%", "z": "µm"}, pd.DataFrame({"ratio": ratio, "z": curve}))


def thinned(x: np.ndarray, z: np.ndarray, most: int = DRAWN) -> tuple[np.ndarray, np.ndarray]:
    """At most so many points of a curve, with the least and the most of every stretch among them."""
    if len(x) <= most:
        return x, z
    kept: list[int] = [0]
    for part in np.array_split(np.arange(1, len(x) - 1), (most - 2) // 2):
        kept += sorted({int(part[np.argmin(z[part])]), int(part[np.argmax(z[part])])})
    places = [*kept, len(x) - 1]
    return x[places], z[places]


# ---- ring faces -----------------------------------------------------------------------------------------------------


def run_faces(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """Wear of ring faces at each angle, and around the ring."""
    del book
    build = program.build(engine)
    order = {phase.id: phase.order for phase in program.phases}
    around: dict[tuple[int, str, str], dict[float, evaluate.Face]] = {}
    asked: dict[tuple[int, str, str], Refused] = {}
    for (cylinder, at), states in grouped(readings["surfaces"], "ring").items():
        phases = sorted(states, key=lambda phase: order[phase])
        for phase in phases[1:]:
            key = build.key(cylinder, phase, at)
            ring = (cylinder, phase, at.partition("/")[0])
            before, after = ([each.trace for each in states[one]] for one in (phases[0], phase))
            row = states[phase][0].row
            try:
                face = evaluate.face(before, after, row)
            except Refused as why:
                asked[ring] = why
                for measure in (measures.FACE_DEPTH, measures.FACE_AREA, measures.BAND):
                    yield refused(measure.id, key, why)
                if "misfit" in why.facts:  # how badly they do not lie on each other
                    n = len(before) + len(after)
                    yield Value(measures.FACE_MISFIT.id, key, 1e6 * float(why.facts["misfit"]), n=n, of="reading")
                continue
            around.setdefault(ring, {})[angle_of(row)] = face
            flags = frozenset({"trace-left-out"} if face.left_out else ())
            yield _bounded(measures.FACE_DEPTH, key, face.depth, face.traces, flags=flags)
            yield _bounded(measures.FACE_AREA, key, face.area, face.traces, flags=flags)
            if face.width is None:
                yield refused(measures.BAND.id, key, Refused("edges-not-clear"))
            else:
                yield _bounded(measures.BAND, key, face.width, face.traces, flags=flags)
            yield Value(measures.FACE_MISFIT.id, key, face.misfit, n=face.traces, of="reading")
            yield _faces_drawn(key, face)
        if len(phases) < 2:
            asked.setdefault((cylinder, phases[0], at.partition("/")[0]), Refused("one-state-only"))
    for where, faces in around.items():
        yield from _around(build, build.key(*where), faces)


def _bounded(
    measure: Measure, key: Key, found: Bounded, n: int, of: Literal["reading", "place"] = "reading",
    flags: frozenset[str] = frozenset(),
) -> Value:  # fmt: skip
    if found.low <= 0:
        return Value(
            measure.id, key, None, high=found.high, se=found.se, df=found.df, n=n, of=of, status="below", flags=flags,
            reason="below-detection-of-traces",
        )  # fmt: skip
    return Value(measure.id, key, found.value, found.low, found.high, found.se, found.df, n=n, of=of, flags=flags)


def _around(build: Build, key: Key, faces: Mapping[float, evaluate.Face]) -> Iterator[Value]:
    """Means over the angles, and the volume around the ring."""
    for measure, name in ((measures.FACE_DEPTH, "depth"), (measures.FACE_AREA, "area"), (measures.BAND, "width")):
        each = [getattr(face, name) for face in faces.values()]
        # where wear is below what a trace shows, its core is where noise is largest and there is no band: these do
        # not average
        if name != "area" and any(one is None or one.low <= 0 for one in each):
            yield refused(measure.id, key, Refused("some-angles-not-clear"))
        else:
            yield _bounded(measure, key, mean_of(each), len(each), "place")
    try:
        volume = evaluate.volume(faces, build.engine_type.bore)
    except Refused as why:
        yield refused(measures.FACE_VOLUME.id, key, why)
        return
    if volume.low <= 0:
        yield Value(
            measures.FACE_VOLUME.id, key, None, high=volume.high, n=len(faces), of="place", status="below",
            reason="below-detection-of-traces",
        )  # fmt: skip
        return
    yield Value(measures.FACE_VOLUME.id, key, volume.value, volume.low, volume.high, n=len(faces), of="place")


def _faces_drawn(key: Key, face: evaluate.Face) -> Series:
    import pandas as pd

    frames = [
        pd.DataFrame(dict(zip(("x", "z"), thinned(1e3 * face.x, 1e6 * z, 160), strict=True)) | {"state": state})
        for state, z in (("before", face.before), ("after", face.after))
    ]
    frame = pd.concat(frames, ignore_index=True).assign(begin=1e3 * face.begin, end=1e3 * face.end)
    return Series("surface.face", key, {"x": "mm", "z": "µm"}, frame)


# ---- specific wear rate ---------------------------------------------------------------------------------------------


def run_rate(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """Specific wear rate of the top ring face, from its worn volume, else from its mass lost."""
    build = program.build(engine)
    recorded = readings["surfaces"]
    widths = {
        int(row.cylinder): trace.length
        for row in rows_in(recorded, Reading)
        if row.use == "" and row.part == "top-ring" and isinstance(trace := recorded.traces.get(row.reading), Trace)
    }
    volumes = {value.key: value for value in book.of(measures.FACE_VOLUME.id)}
    masses = {value.key: value for value in book.of(MASS_LOSS) if value.key.at == "top"}
    for key in dict.fromkeys((*volumes, *masses)):
        if key.cylinder not in widths:
            continue
        try:
            found = evaluate.rate(
                _worn(program, build, volumes.get(key), masses.get(key)),
                tension=_tension(program, build, book, key.cylinder),
                rule=program.wear,
                bore=build.engine_type.bore,
                width=widths[key.cylinder],
                distance=_distance(build, book, key.phase),
            )
        except Refused as why:
            yield refused(measures.RATE.id, key, why)
            continue
        yield Value(measures.RATE.id, key, found.rate.value, found.rate.low, found.rate.high, n=1, of="cylinder")
        yield Value(measures.RATE_GAS.id, key, 100 * found.gas_share, n=1, of="cylinder")


def _worn(program: Program, build: Build, volume: Value | None, mass: Value | None) -> Bounded:
    """Worn volume [mm3]."""
    if volume is not None and volume.value is not None and volume.low is not None and volume.high is not None:
        return Bounded(volume.value, volume.low, volume.high)
    if mass is None or mass.value is None or mass.low is None or mass.high is None:
        raise Refused("no-worn-volume")
    density = program.definitions.coatings[build.coating_of(mass.key.cylinder)].density
    if density is None:
        raise Refused("no-density")
    turn = 1e3 / density  # mg to mm3 at kg/m3
    return Bounded(turn * mass.value, turn * mass.low, turn * mass.high)


def _tension(program: Program, build: Build, book: Book, cylinder: int) -> float:
    for phase in program.phases:
        value = book.get(TENSION, build.key(cylinder, phase.id, "top"))
        if value is not None and value.value is not None:
            return value.value
    raise Refused("no-tension")


def _distance(build: Build, book: Book, phase: str) -> float:
    """Distance slid [m] up to a phase."""
    value = book.get(EXPOSURE, build.key(phase=phase))
    if value is None or not value.value:
        raise Refused("no-distance-slid")
    return 1e3 * value.value


BORES = Step(
    name="bore-surfaces",
    gives=(
        *measures.ROUGHNESS, measures.RK_PLAIN, measures.STATED, measures.WEAR_STEP, measures.WEAR_VALLEYS,
        measures.PLATEAU,
    ),
    run=run_bores,
    reads=("surfaces",),
    revision=3,
)  # fmt: skip
FACES = Step(
    name="ring-faces",
    gives=(
        measures.FACE_DEPTH,
        measures.FACE_AREA,
        measures.FACE_MISFIT,
        measures.FACE_VOLUME,
        measures.BAND,
    ),
    run=run_faces,
    reads=("surfaces",),
    revision=3,
)
RATES = Step(
    name="ring-wear-rate",
    gives=(measures.RATE, measures.RATE_GAS),
    run=run_rate,
    reads=("surfaces",),
    needs=(measures.FACE_VOLUME.id, MASS_LOSS, TENSION, EXPOSURE),
)
