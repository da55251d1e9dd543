"""From cranking pressures to what may be set beside each other. Nothing here is handed to the steps of seating."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from statistics import fmean

from sitegen.declarations import Step
from sitegen.methods import among
from sitegen.methods import compression as method
from sitegen.program.model import Build, Program
from sitegen.streams.compression.fields import Reading, state
from sitegen.streams.compression.measures import CHANGE, EQUAL, LOWEST, PRESSURE, REPEAT, TO_BEST, WET
from sitegen.tables.rows import given, rows_in
from sitegen.vocabulary import Book, Key, Measure, Readings, Refused, Result, Value, refused

Place = tuple[int, str, str]  # cylinder, phase, state
BELOW = f"below:{method.WORN:.2f}"
_NOT_SAID = {"throttle": "throttle-not-recorded", "strokes": "strokes-not-recorded"}


def run_scatter(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """Scatter of repeats, pooled over all cylinders, phases and states of the program."""
    del program, engine, book
    groups: dict[tuple[str, Place], list[float]] = {}
    for row in _used(readings):
        groups.setdefault((row.engine, _place(row)), []).append(math.log(row.pressure))
    if not groups:
        return
    try:
        found = among.pooled(list(groups.values()))
    except Refused as why:
        yield refused(REPEAT.id, Key(), why)
        return
    yield Value(REPEAT.id, Key(), 100 * found.sd, df=found.df, n=sum(map(len, groups.values())), of="reading")


def run(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """Pressures of every cylinder, the best and lowest of each phase, what oil did, what changed since the first."""
    build = program.build(engine)
    groups: dict[Place, list[Reading]] = {}
    for row in _used(readings):
        groups.setdefault(_place(row), []).append(row)
    scatter = _scatter(book)
    order = {phase.id: phase.order for phase in program.phases}
    for (cylinder, phase, at), rows in groups.items():
        log, reach = _mean(rows), _half(scatter, [rows])
        ends = _ends(log, reach, lambda each: math.exp(each) / 1e3)
        flags = frozenset({code for name, code in _NOT_SAID.items() if not all(given(getattr(r, name)) for r in rows)})
        flags |= frozenset() if reach is not None else {"no-repeats"}
        key = build.key(cylinder, phase, at)
        yield Value(PRESSURE.id, key, math.exp(log) / 1e3, *ends, n=len(rows), of="repeat", flags=flags)
    for phase in sorted({place[1] for place in groups}, key=lambda each: order.get(each, 0)):
        dry = {place[0]: rows for place, rows in sorted(groups.items()) if place[1:] == (phase, "")}
        yield from _beside(build, phase, dry, scatter)
    for (cylinder, phase, at), rows in groups.items():
        if at and (cylinder, phase, "") in groups:
            yield _change(WET, build.key(cylinder, phase), groups[cylinder, phase, ""], rows, scatter)
    for cylinder in sorted({place[0] for place in groups}):
        phases = sorted(
            {p for number, p, at in groups if (number, at) == (cylinder, "")}, key=lambda p: order.get(p, 0)
        )
        for phase in phases[1:]:
            key = build.key(cylinder, phase, f"vs:{phases[0]}")
            if len({program.phase(each).condition for each in (phases[0], phase)} - {""}) > 1:
                yield refused(CHANGE.id, key, Refused("warmth-differs"))
                continue
            yield _change(CHANGE, key, groups[cylinder, phases[0], ""], groups[cylinder, phase, ""], scatter, air=True)


def _beside(
    build: Build, phase: str, dry: Mapping[int, Sequence[Reading]], scatter: among.Scatter | None
) -> Iterator[Value]:
    """Cylinders of one engine at one check, dry."""
    whole = Key(build.id, 0, "", phase)
    if len(dry) < 2:
        return
    keys = [build.key(cylinder, phase) for cylinder in dry]
    try:
        method.alike([_cranked(row) for row in rows] for rows in dry.values())
    except Refused as why:
        yield from (refused(TO_BEST.id, key, why) for key in keys)
        yield refused(LOWEST.id, whole, why)
        return
    logs, counts = [_mean(rows) for rows in dry.values()], [len(rows) for rows in dry.values()]
    flags = frozenset() if scatter is not None else frozenset({"no-repeats"})
    over = among.over_lowest([-log for log in logs], counts, scatter)  # the best is the lowest of the negative logs
    for key, ratio, n in zip(keys, over, counts, strict=True):
        found = ratio.inverse()
        yield Value(TO_BEST.id, key, found.value, found.low, found.high, n=n, of="repeat", flags=flags)
    spread = among.highest_over_lowest(logs, counts, scatter).inverse()
    yield Value(LOWEST.id, whole, spread.value, spread.low, spread.high, n=len(dry), of="cylinder", flags=flags)
    for at, ratio_ in (("", spread.value), (BELOW, method.WORN)):
        share = 100 * method.equal_cylinders_below(ratio_, len(dry))
        yield Value(EQUAL.id, whole._replace(at=at), share, n=len(dry), of="cylinder")


def _change(
    measure: Measure,
    key: Key,
    before: Sequence[Reading],
    after: Sequence[Reading],
    scatter: among.Scatter | None,
    *,
    air: bool = False,
) -> Value:
    """100 ln of the ratio of two means, where both were cranked alike; `air`: brought to the same ambient pressure."""
    try:
        method.alike([_cranked(row) for row in rows] for rows in (before, after))
    except Refused as why:
        return refused(measure.id, key, why)
    flags = set() if scatter is not None else {"no-repeats"}
    log = _mean(after) - _mean(before)
    if air:
        rooms = [[row.ambient for row in rows if given(row.ambient)] for rows in (before, after)]
        if all(rooms):
            log -= math.log(fmean(rooms[1]) / fmean(rooms[0]))
        else:
            flags.add("ambient-assumed")
    ends = _ends(log, _half(scatter, [before, after]), lambda each: 100 * each)
    n = len(before) + len(after)
    return Value(measure.id, key, 100 * log, *ends, n=n, of="repeat", flags=frozenset(flags))


def _ends(log: float, reach: float | None, shown: Callable[[float], float]) -> tuple[float | None, float | None]:
    return (None, None) if reach is None else (shown(log - reach), shown(log + reach))


def _half(scatter: among.Scatter | None, groups: Sequence[Sequence[Reading]]) -> float | None:
    return None if scatter is None else among.half(scatter, [len(rows) for rows in groups])


def _mean(rows: Sequence[Reading]) -> float:
    return method.mean_log([row.pressure for row in rows])


def _scatter(book: Book) -> among.Scatter | None:
    value = book.get(REPEAT.id, Key())
    if value is None or value.value is None or value.df is None:
        return None
    return among.Scatter(value.value / 100, value.df)


def _used(readings: Mapping[str, Readings]) -> list[Reading]:
    return [row for row in rows_in(readings["compression"], Reading) if row.use == ""]


def _place(row: Reading) -> Place:
    return int(row.cylinder), row.phase, state(row)


def _cranked(row: Reading) -> method.Cranked:
    throttle = str(row.throttle) if given(row.throttle) else ""
    return method.Cranked(row.cranking_speed, throttle, row.strokes, row.oil_temperature)


SCATTER = Step(name="compression-repeats", gives=(REPEAT,), run=run_scatter, reads=("compression",), scope="program")
STEP = Step(
    name="compression",
    gives=(PRESSURE, TO_BEST, LOWEST, EQUAL, WET, CHANGE),
    run=run,
    reads=("compression",),
    needs=(REPEAT.id,),
)
