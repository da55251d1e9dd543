"""Samples and what was done to the oil of one build, in the order of its running, from its readings."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from sitegen.methods import elements, oil_precision
from sitegen.methods.oil_ledger import OUT, Content, Fill, Fuel, Move, fills
from sitegen.program.model import Build, Laboratory, Oil, OilRule, Program
from sitegen.streams.oil.custody import custody_of
from sitegen.streams.oil.fields import CHROMATOGRAPHY, CONDITION, DRAIN, FILL, FILTER, SAMPLE, TOP_UP, Reading
from sitegen.tables.rows import given, rows_in
from sitegen.vocabulary import Readings, Refused

MG_KG = 1e6  # mass fraction [-] to mg/kg
BEFORE_DRAIN = 0.5  # h: a sample drawn no earlier tells the fuel in what is drained (common practice, no source)
RANK = {SAMPLE: 0, FILTER: 1, DRAIN: 2, FILL: 3, TOP_UP: 4}  # of what is done at one instant


@dataclass(frozen=True)
class Sample:
    """One sample of one build."""

    id: str
    phase: str
    hours: float  # running time since the cold build [h]
    at: str  # place in its phase: "" the last of it, else sample-1 ...
    laboratory: Laboratory | None
    batch: str
    reported: Mapping[str, tuple[float | None, str]]  # element -> mg/kg (of "<" the limit), mark
    condition: Mapping[str, float]
    flags: frozenset[str]
    mass: float  # kg, 0 where not known
    date: str = ""  # ISO
    fuel: tuple[float | None, str] | None = None  # share [-] (of "<" the limit), mark; None: nothing is said of it
    fuel_method: str = ""

    @property
    def weighed_fuel(self) -> Fuel | None:
        """Its fuel as the balance takes it: what chromatography found, with its error; None: it does not tell."""
        if self.fuel is None or self.fuel_method != CHROMATOGRAPHY:
            return None
        share, mark = self.fuel
        if share is None or mark not in {"", "<"}:
            return None
        own = self.laboratory.fuel_precision if self.laboratory is not None else None
        se = 0.0 if own is None else float((own.at_zero**2 + (own.share * share) ** 2) ** 0.5)
        half = share / 2 if mark else 0.0
        return Fuel(self.id, share - half, se, half, known=own is not None)


@dataclass(frozen=True)
class Oiling:
    """All there is on the oil of one build."""

    samples: tuple[Sample, ...]
    moves: tuple[Move, ...]
    phases: Mapping[int, str] = field(default_factory=dict)  # place among the moves -> phase
    retained: Mapping[str, Sequence[tuple[float, float]]] = field(
        default_factory=dict
    )  # element -> hours, mg in filter


_Place = tuple[float, int, int, int]  # in time: hours, phase, kind, line


def oiling(program: Program, build: Build, readings: Readings, ended: Mapping[str, float]) -> Oiling:
    """Samples and moves of a build in order. `ended`: phase -> running time at its end [h]."""
    rows = [row for row in rows_in(readings, Reading) if row.use == "" and row.phase in ended]
    order = {phase.id: phase.order for phase in program.phases}
    starts = _starts(program, build, ended)
    filled = [
        (row.hours / 3600 if given(row.hours) else starts[row.phase], order[row.phase])
        for row in rows
        if row.what == FILL
    ]
    by_sample: dict[str, list[tuple[_Place, Reading]]] = {}
    events: list[tuple[_Place, Reading]] = []
    for number, row in enumerate(rows):
        hours = _hours(row, starts, ended, filled, order)
        key = (hours, order[row.phase], RANK[row.what], number)
        if row.what == SAMPLE:
            by_sample.setdefault(str(row.sample), []).append((key, row))
        else:
            events.append((key, row))
    made: list[tuple[_Place, Sample]] = []
    for name, own in by_sample.items():
        key = next((key for key, row in own if given(row.hours) or given(row.on_fill)), own[0][0])
        made.append((key, _sample(program, name, [row for _, row in own], key[0])))
    made.sort(key=lambda each: each[0])
    samples = [sample for _, sample in made]
    named = tuple(_placed(sample, [other for other in samples if other.phase == sample.phase]) for sample in samples)
    keyed: list[tuple[_Place, Move, str]] = [
        (key, Move("sample", sample.mass, sample.hours, sample.id, sample.weighed_fuel), sample.phase)
        for key, sample in made
    ]
    density = program.definitions.oils[build.oil].density if build.oil in program.definitions.oils else None
    retained: dict[str, list[tuple[float, float]]] = {}
    for key, row in events:
        if row.what == FILTER and given(row.metal):
            retained.setdefault(str(row.element), []).append((key[0], float(row.metal) * 1e6))
        kind = {FILL: "fill", TOP_UP: "top-up", DRAIN: "drain", FILTER: "sample"}[row.what]
        keyed.append((key, Move(kind, mass_of(row, density), key[0]), row.phase))  # type: ignore[arg-type]
    keyed.sort(key=lambda each: each[0])
    keyed = list(_with_fuel(keyed))
    phases = {n: phase for n, (_, _, phase) in enumerate(keyed)}
    return Oiling(named, tuple(move for _, move, _ in keyed), phases, retained)


def _with_fuel(keyed: Iterable[tuple[_Place, Move, str]]) -> Iterator[tuple[_Place, Move, str]]:
    """What is drained holds the fuel of the sample drawn last, what leaves with a filter that of the sample before."""
    last: Move | None = None
    for key, move, phase in keyed:
        if move.kind == "fill":
            last = None
        elif move.sample:
            last = move
        near = last is not None and (move.kind == "sample" or move.hours - last.hours <= BEFORE_DRAIN)
        if last is not None and near and move.kind in OUT and not move.sample:
            yield key, replace(move, fuel=last.fuel), phase
        else:
            yield key, move, phase


def _starts(program: Program, build: Build, ended: Mapping[str, float]) -> dict[str, float]:
    starts, before = {}, 0.0
    for phase in program.phases_of(build):
        starts[phase.id] = before
        before = ended.get(phase.id, before)
    return starts


def _hours(
    row: Reading,
    starts: Mapping[str, float],
    ended: Mapping[str, float],
    filled: Sequence[tuple[float, int]],
    order: Mapping[str, int],
) -> float:
    """Running time of a row [h]: as entered, counted from its fill, or by its phase."""
    if given(row.hours):
        return float(row.hours) / 3600
    if given(row.on_fill):
        before = [hours for hours, place in filled if place <= order[row.phase]]
        return (max(before) if before else 0.0) + float(row.on_fill) / 3600
    return starts[row.phase] if row.what == FILL else ended[row.phase]


def mass_of(row: Reading, density: float | None) -> float:
    """Oil of a row [kg]; 0 where nothing is said."""
    if given(row.mass):
        return float(row.mass)
    if not given(row.volume):
        return 0.0
    return float(row.volume) * float(row.density if given(row.density) else density or 0.0)


def _sample(program: Program, name: str, rows: Sequence[Reading], hours: float) -> Sample:
    reported: dict[str, tuple[float | None, str]] = {}
    condition: dict[str, float] = {}
    for row in rows:
        cells = [(row.element, row.concentration, row.concentration_mark)] if isinstance(row.element, str) else []
        cells += [(symbol, getattr(row, symbol), getattr(row, f"{symbol}_mark")) for symbol in elements.ALL]
        for symbol, value, mark in cells:
            if given(value) or (isinstance(mark, str) and mark):
                known = float(value) * MG_KG if given(value) else None
                reported[symbol] = (known, mark if isinstance(mark, str) else "")
        for what in CONDITION:
            if given(getattr(row, what)):
                condition[what] = float(getattr(row, what))
    fuels = [(row.fuel, row.fuel_mark) for row in rows if given(row.fuel) or row.fuel_mark in {"<", "ND", "-"}]
    fuel = None
    if fuels:
        value, mark = fuels[0]
        fuel = (float(value) / 100 if given(value) else None, mark if isinstance(mark, str) else "")
        condition = {name: each for name, each in condition.items() if name != "fuel" or not fuel[1]}
    first = rows[0]
    density = None
    laboratories = program.definitions.laboratories
    laboratory = next((laboratories[str(row.laboratory)] for row in rows if row.laboratory in laboratories), None)
    return Sample(
        id=name,
        phase=first.phase,
        hours=hours,
        at="",
        laboratory=laboratory,
        batch=next((str(row.batch) for row in rows if given(row.batch)), ""),
        reported=reported,
        condition=condition,
        flags=frozenset(flag for row in rows for flag in drawn(program.oil, row)) | custody_of(rows).flags(program.oil),
        mass=max(mass_of(row, density) for row in rows),
        date=next((str(row.date) for row in rows if given(row.date)), ""),
        fuel=fuel,
        fuel_method=next((str(row.fuel_method) for row in rows if given(row.fuel_method)), ""),
    )


def drawn(rule: OilRule, row: Reading) -> Iterable[str]:
    """How a sample departs from the protocol, as flags."""
    if rule.minutes is not None and given(row.since_shutdown):
        if row.since_shutdown > rule.minutes[1]:
            yield "drawn-late"
        if row.since_shutdown < rule.minutes[0]:
            yield "drawn-early"
    if rule.draw_point and given(row.draw_point) and row.draw_point != rule.draw_point:
        yield "drawn-elsewhere"


def _placed(sample: Sample, of_phase: Sequence[Sample]) -> Sample:
    number = of_phase.index(sample)
    at = "" if number + 1 == len(of_phase) else f"sample-{number + 1}"
    return Sample(**{**sample.__dict__, "at": at})


def content(sample: Sample, symbol: str) -> tuple[Content, frozenset[str]]:
    """One element of a sample with its errors [mg/kg], and with what care it is to be taken.

    Refuses: `element-not-given` where the report says nothing of it, `not-measured` where it says so, and
    `no-detection-limit` where it was not detected and the laboratory's limit is not stated.
    """
    if symbol not in sample.reported:
        raise Refused("element-not-given")
    value, mark = sample.reported[symbol]
    laboratory = sample.laboratory
    if mark == "-":
        raise Refused("not-measured")
    if mark == "ND" or value is None:
        limit = laboratory.detection.get(symbol) if laboratory is not None else None
        if limit is None:
            raise Refused("no-detection-limit")
        return Content(None, 0.0, limit * MG_KG, *_of_bound(sample, symbol, limit * MG_KG)), frozenset()
    if mark == "<":
        return Content(None, 0.0, value, *_of_bound(sample, symbol, value)), frozenset()
    own = laboratory.precision.get(symbol) if laboratory is not None else None
    try:
        found = oil_precision.scatter(
            symbol,
            value,
            method=laboratory.method if laboratory is not None else "icp",
            laboratory=None if own is None else (own.at_zero * MG_KG, own.share),
            step=0.0 if laboratory is None else laboratory.reported_to * MG_KG,
            in_batch=bool(sample.batch),
        )
    except Refused:
        return Content(value, value, value, known=False), frozenset({"no-stated-precision"})
    flags = frozenset({"reproducibility-stands-in"}) if found.because == "standard" else frozenset()
    batch = f"lab:{laboratory.id if laboratory is not None else ''}:{sample.batch}" if sample.batch else ""
    return Content(value, value, value, found.own, found.shared, batch), flags


def fresh_error(oil: Oil, symbol: str, laboratory: Laboratory | None) -> float | None:
    """Standard uncertainty of what fresh oil holds [mg/kg]: as stated, else of one report; None: neither is stated."""
    if symbol in oil.fresh_error:
        return oil.fresh_error[symbol] * MG_KG
    own = laboratory.precision.get(symbol) if laboratory is not None else None
    try:
        found = oil_precision.scatter(
            symbol,
            oil.fresh[symbol] * MG_KG,
            method=laboratory.method if laboratory is not None else "icp",
            laboratory=None if own is None else (own.at_zero * MG_KG, own.share),
            step=0.0 if laboratory is None else laboratory.reported_to * MG_KG,
        )
    except Refused:
        return None
    return found.own


def _of_bound(sample: Sample, symbol: str, limit: float) -> tuple[float]:
    """Scatter of a report at the limit: what was reported as less may hold a little more."""
    laboratory = sample.laboratory
    own = laboratory.precision.get(symbol) if laboratory is not None else None
    return (0.0 if own is None else float((own.at_zero**2 + (own.share * limit / MG_KG) ** 2) ** 0.5 * MG_KG),)


def contents(samples: Sequence[Sample], symbol: str) -> dict[str, Content]:
    """One element of every sample that says something of it."""
    made = {}
    for sample in samples:
        try:
            made[sample.id] = content(sample, symbol)[0]
        except Refused:
            continue
    return made


def fills_of(program: Program, found: Oiling) -> list[Fill]:
    """Fills of the build; see `oil_ledger.fills`."""
    return fills(found.moves, program.oil.left_after_drain, program.oil.mass_error)
