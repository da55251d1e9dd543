"""Oil lost and metal made over the hours of long runs, by fill: one rate a build, and whether it changes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from sitegen.declarations import Step
from sitegen.methods import oil_hours
from sitegen.methods.intervals import NORMAL_95
from sitegen.methods.oil_ledger import Fill, balance
from sitegen.program.model import Build, Program
from sitegen.streams.oil.lost import fuel_shown, fuel_unknown, placed
from sitegen.streams.oil.samples import MG_KG, Oiling, contents, fills_of, fresh_error, oiling
from sitegen.vocabulary import Book, Measure, Readings, Refused, Result, Series, Value, refused

OIL, HOURS = "oil", "exposure.hours"
FILLS = "oil-fills"  # series: oil lost by fill; and metal made, with the element as its name
FOLLOWED = ("Fe", "Cr")
THESE = "these-hours-only"
FEWEST = 2  # fills, below which nobody asks for a change
_FILLS = "Fills of the sump that ended in phases of kind durability; what ran in before is left out. "
RATE = Measure(
    id="oil.hours_rate",
    title="oil consumption over the hours",
    unit="g/h",
    better="less",
    method=_FILLS + "All oil lost by all hours. From four about equal fills on the interval is that of their scatter; "
    "of fewer it holds how well these hours are weighed, and nothing of hours to come.",
    formula="Σ lost / Σ hours; t on the rates of four or more equal fills",
    source="a mean of unequal rates has twice the scatter (simulated); coverage 95 to 100 % simulated",
    interval="confidence",
    compare="difference",
    to_the_end=True,
)
TREND = Measure(
    id="oil.hours_trend",
    title="change of the oil consumption with the hours",
    unit="g/h per 100 h",
    better="less",
    method=_FILLS + "A line through the consumption of five fills or more.",
    formula="slope of the line, Student's t on its scatter, never less than the weighings give",
    source="N. R. Draper and H. Smith, Applied Regression Analysis (1998), 1.4",
    limits="With a scatter of 10 % of their own and weighings of 5 %, five fills show 12 % from fill to fill.",
    compare="difference",
    to_the_end=True,
)
MADE = Measure(
    id="oil.hours_metal",
    title="metal made per hour of a fill",
    unit="mg/h",
    better="less",
    method=_FILLS + "Metal made from the last sample of the fill before to the last of this one, by the hours between.",
    formula="W / hours",
    source="of the metal made and the running time",
    interval="bounds",
    only_at="element",
)
CHANGE = Measure(
    id="oil.hours_metal_trend",
    title="change of the metal made with the hours",
    unit="mg/h per 100 h",
    better="less",
    method=_FILLS + "The first fill runs in; a line through three later ones or more.",
    formula="slope of the line, Student's t on its scatter, never less than the laboratory gives",
    source=TREND.source,
    limits="Three fills leave one degree of freedom: little is shown.",
    compare="difference",
    only_at="element",
    to_the_end=True,
)


def run(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """Rates and changes of one build that ran long phases."""
    import pandas as pd

    build = program.build(engine)
    ended = {v.key.phase: v.value for v in book.of(HOURS) if v.key.engine == engine and v.value is not None}
    found = oiling(program, build, readings[OIL], ended)
    long = {phase.id for phase in program.phases_of(build) if phase.kind == "durability"}
    try:
        fills = fills_of(program, found)
    except Refused as why:
        yield refused(RATE.id, build.key(), why)
        return
    own = [(fill, phase, at) for fill, phase, at in placed(found, fills) if phase in long]
    known = [fill for fill, _, _ in own if fill.lost is not None and fill.hours > 0]
    if not long or not known:
        return
    shown = fuel_shown(build, program.definitions.oils.get(build.oil), found)
    care = {"fuel-unknown"} if any(fuel_unknown(fill, shown) for fill in known) else set[str]()
    yield from _lost(build, known, frozenset(care))
    rows = [_row(fill) for fill in known]
    for symbol in FOLLOWED:
        made = list(_made(program, build, found, fills, own, symbol))
        rows += [(symbol, begin, end, value.value or 0.0, value.low, value.high) for value, begin, end in made]
        yield from (value for value, _, _ in made)
        yield from _change(build, symbol, made)
    frame = pd.DataFrame(rows, columns=["what", "begin", "end", "rate", "low", "high"])
    yield Series(FILLS, build.key(), {"begin": "h", "end": "h"}, frame)


def _row(fill: Fill) -> tuple[str, float, float, float, float | None, float | None]:
    """Oil lost on a fill, for the page."""
    rate, half = (1e3 * each / fill.hours for each in (fill.lost or 0.0, NORMAL_95 * fill.lost_se + fill.half))
    ends = (rate - half, rate + half) if fill.sure else (None, None)
    return "lost", fill.moves[0].hours, fill.moves[-1].hours, rate, *ends


def _lost(build: Build, known: Sequence[Fill], care: frozenset[str]) -> Iterator[Value]:
    """Rate and trend; bounds of fuel count as errors, and fuel whose error is not stated leaves no interval."""
    lost = [1e3 * (fill.lost or 0.0) for fill in known]
    se = [1e3 * (fill.lost_se + fill.half) for fill in known]
    hours = [fill.hours for fill in known]
    found = oil_hours.rate(lost, se, hours)
    flags = care | (frozenset({THESE}) if found.these_only else frozenset())
    if not all(fill.sure for fill in known):
        yield Value(RATE.id, build.key(), found.value, n=found.n, flags=flags | {"fuel-error-unknown"})
        yield refused(TREND.id, build.key(), Refused("fuel-error-unknown"))
        return
    yield Value(RATE.id, build.key(), found.value, found.low, found.high, n=found.n, flags=flags)
    if len(known) < FEWEST:
        return
    middle = [(fill.moves[0].hours + fill.moves[-1].hours) / 2 for fill in known]
    rates, errors = ([a / b for a, b in zip(each, hours, strict=True)] for each in (lost, se))
    try:
        line = oil_hours.trend(rates, middle, errors, oil_hours.TREND)
    except Refused as why:
        yield refused(TREND.id, build.key(), why)
        return
    yield Value(TREND.id, build.key(), 100 * line.value, 100 * line.low, 100 * line.high, df=line.df, n=line.n)


def _made(
    program: Program, build: Build, found: Oiling, fills: Sequence[Fill], own: Sequence[tuple[Fill, str, str]],
    symbol: str,
) -> Iterator[tuple[Value, float, float]]:  # fmt: skip
    """Metal made per hour of each fill of the long phases, with the running hours it is of."""
    oil, holding = program.definitions.oils.get(build.oil), contents(found.samples, symbol)
    if oil is None or symbol not in oil.fresh:
        return
    laboratory = next((sample.laboratory for sample in found.samples if sample.laboratory is not None), None)
    error = fresh_error(oil, symbol, laboratory) or 0.0
    held = found.retained.get(symbol, ())
    hours = {sample.id: sample.hours for sample in found.samples}
    for fill, phase, at in own:
        last = _last(fill, holding)
        before = next((name for each in reversed(fills[: fills.index(fill)]) if (name := _last(each, holding))), "")
        if not last:
            continue
        made = balance(fills, holding, oil.fresh[symbol] * MG_KG, before, last, program.oil.mass_error,
                       fresh_se=error, retained=held)  # fmt: skip
        if made.hours <= 0 or made.bounded or made.low is None or made.high is None:
            continue
        key = build.key(phase=phase, at=f"{symbol}:{at}" if at else symbol)
        middle, low, high = (each / made.hours for each in (made.cases["mean"], made.low, made.high))
        value = Value(MADE.id, key, middle, low, high, se=made.se / made.hours, n=made.samples, of="sample")
        yield value, hours.get(before, 0.0), hours[last]


def _last(fill: Fill, holding: Mapping[str, object]) -> str:
    """Id of the last sample of a fill that holds an element; "" none."""
    return next((move.sample for move in reversed(fill.moves) if move.kind == "sample" and move.sample in holding), "")


def _change(build: Build, symbol: str, made: Sequence[tuple[Value, float, float]]) -> Iterator[Value]:
    later = made[1:]
    if not later:
        return
    key = build.key(at=symbol)
    try:
        line = oil_hours.trend(
            [value.value or 0.0 for value, _, _ in later], [(begin + end) / 2 for _, begin, end in later],
            [value.se or 0.0 for value, _, _ in later], oil_hours.METAL,
        )  # fmt: skip
    except Refused as why:
        yield refused(CHANGE.id, key, why)
        return
    yield Value(CHANGE.id, key, 100 * line.value, 100 * line.low, 100 * line.high, df=line.df, n=line.n)


STEP = Step("oil-hours", (RATE, TREND, MADE, CHANGE), run, reads=(OIL,), needs=(HOURS,))
