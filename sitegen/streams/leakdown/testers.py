"""What each tester is worth over a program: its scale from reference orifices, its scatter, and what others share."""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from sitegen.declarations import Step
from sitegen.methods import leakdown as method
from sitegen.methods.intervals import NORMAL_95, student_95
from sitegen.program.model import Program, Tester
from sitegen.streams.leakdown.checks import Air, Check, air_of, checks, reference_rows
from sitegen.streams.leakdown.fields import Reading
from sitegen.streams.leakdown.measures import OCCASION, REFERENCE, REFERENCE_GAUGE, REPEAT, STUDY_REPEATS
from sitegen.tables.rows import rows_in
from sitegen.vocabulary import Book, Key, Readings, Refused, Result, Value, refused

ONLY_A_CHECK = "reference-only-a-check"  # flag: the tester's own bore tells its scale better
FEW = "few-reference-readings"
ASSUMED = "occasion-assumed"
MOST_ASSUMED = NORMAL_95 * method.OCCASION  # relative half-width of an occasion that nothing was measured of


def run(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """Scale and scatter of each tester over the whole program, from its reference-orifice readings and from repeats."""
    del engine
    every = rows_in(readings["leakdown"], Reading)
    read = reference_rows(every)
    for tester in sorted(set(readings["leakdown"].frame["tester"].dropna())):
        yield from _tester(program, tester, [row for row in read if row.tester == tester])
    yield _repeat_scatter(list(checks(program, every)), book)


def _tester(program: Program, tester_id: str, rows: Sequence[Reading]) -> Iterable[Value]:
    key = Key(at=tester_id)
    try:
        factor, bore, orifices = factor_of(program, tester_id, rows, airs_of(program, tester_id, rows))
    except Refused as why:
        for measure in (REFERENCE, REFERENCE_GAUGE, OCCASION):
            yield refused(measure.id, key, why)
        return
    tester = program.definitions.testers[tester_id]
    word = method.judged(factor, bore)
    flags = set()
    if word == "look at the orifice":
        flags.add("look-at-orifice")
    if factor.occasions < 3:
        flags.add(FEW)
    if not factor.better_than(bore, method.bore_error(tester.orifice, tester.orifice_tolerance)):
        flags.add(ONLY_A_CHECK)
    half = student_95(factor.between.df) * factor.log_se
    if word == "tester or unit":
        yield refused(REFERENCE.id, key, Refused("tester-or-unit"))
    else:
        yield Value(
            REFERENCE.id,
            key,
            factor.factor,
            low=factor.factor * math.exp(-half),
            high=factor.factor * math.exp(half),
            se=factor.factor * factor.log_se,
            df=None if math.isinf(factor.between.df) else factor.between.df,
            se_common=factor.factor * bore,
            common="orifice:" + "+".join(orifices),
            n=factor.occasions,
            of="check",
            flags=frozenset(flags),
        )
    low, high = (factor.factor * each for each in factor.gauge)
    if math.isfinite(high):
        yield Value(REFERENCE_GAUGE.id, key, (high - low) / 2, low, high, n=factor.readings, of="reading")
    else:
        yield refused(REFERENCE_GAUGE.id, key, Refused("reference-below-detection"))
    if factor.occasions < 3:
        yield refused(OCCASION.id, key, Refused("few-reference-occasions"))
    else:
        yield Value(OCCASION.id, key, 100 * factor.between.sd, df=factor.between.df, n=factor.occasions, of="check")


def airs_of(program: Program, tester_id: str, rows: Iterable[Reading]) -> list[Air]:
    """Pressures and temperatures of readings of one tester."""
    return [air_of(row, program.definitions.testers[tester_id]) for row in rows]


def factor_of(
    program: Program, tester_id: str, rows: Sequence[Reading], airs: Sequence[Air]
) -> tuple[method.TesterFactor, float, tuple[str, ...]]:
    """Factor of a tester from its readings of reference orifices, the orifices' error of area [-] and their ids.

    Refuses: `no-reference-reading`, and as `methods.leakdown.tester_factor`.
    """
    if not rows:
        raise Refused("no-reference-reading")
    tester = program.definitions.testers[tester_id]
    orifices = [program.definitions.reference_orifices[str(row.reference)] for row in rows]
    if any(math.isnan(air.cylinder) for air in airs):
        raise Refused("percent-scale-unknown")
    occasions: list[Hashable] = [(row.engine, row.phase) for row in rows]
    nominal = method.orifice_area(tester.orifice)
    found = method.tester_factor(
        [air.supply for air in airs],
        [air.cylinder for air in airs],
        [air.ambient for air in airs],
        [air.supply_temperature for air in airs],
        occasions,
        # in units of the orifice read, so that readings of several orifices stand together
        area_shares=[method.orifice_area(orifice.diameter) / nominal for orifice in orifices],
        gauge_limit=tester.gauge_class,
    )
    bore = max(method.bore_error(orifice.diameter, orifice.tolerance) for orifice in orifices)
    return found, bore, tuple(sorted({orifice.id for orifice in orifices}))


def _repeat_scatter(found: Sequence[Check], book: Book) -> Value:
    """Of the program's own checks, together with the cylinders of the gauge studies that count."""
    groups = [[air.ratio() for air in check.airs if not math.isnan(air.cylinder)] for check in found]
    studied = [method.Scatter(each.value / 100, each.df) for each in book.of(STUDY_REPEATS)
               if each.value and each.df and "study-superseded" not in each.flags]  # fmt: skip
    try:
        own = method.pooled_repeats([group for group in groups if len(group) > 1])
    except Refused as why:
        if not studied:
            return refused(REPEAT.id, Key(), why)
        own, studied = studied[0], studied[1:]
    scatter, flags = own, frozenset[str]()
    for each in studied:
        if method.alike(own, each):
            scatter = method.together(scatter, each)
        else:
            flags = frozenset({"study-repeats-differ"})
    return Value(
        REPEAT.id, Key(), 100 * scatter.sd, df=scatter.df, n=sum(map(len, groups)), of="repeat", flags=flags
    )  # fmt: skip


@dataclass(frozen=True)
class Scale:
    """What a tester's nominal orifice is to be multiplied with, and what its readings share. All relative [-]."""

    factor: float
    gauge: tuple[float, float]  # see `methods.leakdown.TesterFactor.gauge`; ones where the nominal bore is used
    common: float  # half-width at 95 % of what all readings of the tester share, gauges apart
    occasion: float  # half-width at 95 % of what the readings of one occasion share
    operator: float = 0.0  # half-width at 95 % of what another operator would have read
    flags: frozenset[str] = frozenset()

    @property
    def shared(self) -> float:
        """Half-width at 95 % of what the readings of one tester, occasion and operator share [-]."""
        return math.hypot(self.common, self.occasion, self.operator)

    @property
    def gauge_share(self) -> float:
        """What the gauges move the scale by, relative half-width [-]."""
        return abs(self.gauge[1] - self.gauge[0]) / 2


def tester_of(value: Value) -> str:
    """Id of the tester that a leak area was read with."""
    return value.common.removeprefix("tester:")


def nominal(tester: Tester, occasion: float) -> Scale:
    """The scale of a tester by its own bore, with the half-width of an occasion [-]."""
    bore = method.bore_error(tester.orifice, tester.orifice_tolerance)
    return Scale(1.0, (1.0, 1.0), NORMAL_95 * bore, occasion)


def scale_of(program: Program, tester_id: str, book: Book) -> Scale:
    """The scale of a tester: by its reference orifice where that tells it better than its own bore, else nominal.

    Refuses: `tester-or-unit` where the reference orifice shows that its readings are not what they are taken for.
    """
    tester = program.definitions.testers[tester_id]
    found, gauge, scatter = (
        book.get(measure.id, Key(at=tester_id)) for measure in (REFERENCE, REFERENCE_GAUGE, OCCASION)
    )
    if found is not None and found.reason == "tester-or-unit":
        raise Refused("tester-or-unit")
    known = scatter is not None and scatter.value is not None
    occasion = MOST_ASSUMED
    if scatter is not None and scatter.value is not None:
        occasion = student_95(math.inf if scatter.df is None else scatter.df) * scatter.value / 100
    flags = {"look-at-orifice"} & (found.flags if found is not None else frozenset())
    flags |= set() if known else {ASSUMED}
    if found is None or not found.value or found.se is None or ONLY_A_CHECK in found.flags:
        if found is None or not found.value:
            flags.add("no-reference-orifice")
        if known and scatter is not None and scatter.value is not None:  # few occasions make no wider one than practice
            occasion = min(occasion, NORMAL_95 * max(method.OCCASION, scatter.value / 100))
        return replace(nominal(tester, occasion), flags=frozenset(flags))
    own = student_95(math.inf if found.df is None else found.df) * found.se / found.value
    common = math.hypot(own, NORMAL_95 * (found.se_common or 0.0) / found.value)
    ends = (1.0, 1.0)
    if gauge is not None and gauge.low is not None and gauge.high is not None:
        ends = (gauge.low / found.value, gauge.high / found.value)
    return Scale(found.value, ends, common, occasion, flags=frozenset(flags | ({FEW} & found.flags)))


TESTERS = Step(
    name="leak-testers",
    gives=(REFERENCE, REFERENCE_GAUGE, OCCASION, REPEAT),
    run=run,
    reads=("leakdown",),
    needs=(STUDY_REPEATS,),
    scope="program",
    revision=2,
)
