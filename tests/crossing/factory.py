"""A program and its values for any allocation of coatings, so that what is compared can be worked out by hand."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from statistics import fmean
from typing import Any

from sitegen.crossing import comparing, deciding
from sitegen.program.model import (
    Assembly,
    Build,
    Coating,
    Criterion,
    Definitions,
    Departure,
    EngineType,
    LeakdownRule,
    Phase,
    Place,
    Program,
    SeatingRule,
    Subject,
    Where,
)
from sitegen.vocabulary import Book, Comparison, Key, Measure, Result, Value, Verdict

R, C, D = "plain", "soft", "hard"  # reference, and the two candidates
PHASE = "pulls"


def _measure(name: str, unit: str, better: str, compare: str, **more: Any) -> Measure:
    return Measure(f"probe.{name}", f"probe {name}", unit, better, "m", "f", "s", compare=compare, **more)  # type: ignore[arg-type]


AREA = _measure("area", "mm²", "less", "ratio", offered=True, shared="probe.gauge")
GAUGE = _measure("gauge", "mm²", "", "")
LOSS = _measure("loss", "mg", "less", "difference", offered=True)
GAIN = _measure("gain", "kW", "more", "ratio")
WIDTH = _measure("width", "mm", "", "difference")
FLOW = _measure("flow", "L/min", "less", "ratio")
GAP = _measure("gap", "mm", "", "difference")
GRADE = _measure("grade", "1", "less", "", interval="")
MEASURES: dict[str, Measure] = {m.id: m for m in (AREA, GAUGE, LOSS, GAIN, WIDTH, FLOW, GAP, GRADE)}
GIVEN = {measure.id: measure for measure in deciding.GIVES}

Numbers = Mapping[str, Sequence[float | None]]  # build -> by cylinder
Rows = dict[tuple[str, Key], Value]


def program(allocation: Mapping[str, Sequence[str]], **more: Any) -> Program:
    """A program with one build an entry, coatings by cylinder, in the order of building.

    `blocks` and `lots` by build, `due` builds whose last phase is still to run; the rest as fields of Program.
    """
    blocks: Mapping[str, str] = more.pop("blocks", {})
    lots: Mapping[str, str] = more.pop("lots", {})
    due: Sequence[str] = more.pop("due", ())
    candidates: tuple[str, ...] = more.pop("candidates", (C,))
    phases = (Phase("cold", "cold build", "static-check", 0), Phase(PHASE, "four pulls", "pulls", 1))
    builds = []
    for place, (name, coatings) in enumerate(allocation.items(), start=1):
        engine = EngineType(f"e{len(coatings)}", "test engine", len(coatings), 0.0875, 0.1)
        builds.append(
            Build(
                name, name, place - 1, blocks.get(name, f"K{name}"), place, engine,
                tuple(Place(n, coating, lots.get(name, f"lot {name}")) for n, coating in enumerate(coatings, start=1)),
                (Assembly("a1", "cold", PHASE),),
                (Departure(PHASE, "due"),) if name in due else (), built=place,
            )
        )  # fmt: skip
    types = {build.engine_type.id: build.engine_type for build in builds}
    coatings_ = {name: Coating(name, f"{name} nitride", place) for place, name in enumerate((R, C, D, "fourth"))}
    given: dict[str, Any] = {
        "id": "probe", "title": "Probe", "question": "Does it?", "folder": "/nowhere/probe",
        "where": Where("probe/program.yaml"), "definitions": Definitions(coatings_, types, {}, {}, {}, {}),
        "reference": R, "candidates": candidates, "primary_measure": AREA.id, "primary_phase": PHASE,
        "planned_builds": len(builds), "allocation_scheme": "not recorded", "allocation_seed": None,
        "phases": phases, "builds": tuple(builds), "seating": SeatingRule(0.03, 0.35),
        "leakdown": LeakdownRule(552e3),
    }  # fmt: skip
    return Program(**{**given, **more})


def rows(of: Program, measure: Measure, numbers: Numbers, phase: str = PHASE, at: str = "", **more: Any) -> Rows:
    """Values of one measure by build and cylinder; None: no value. `more`: fields of every Value."""
    made: Rows = {}
    for name, values in numbers.items():
        build = of.build(name)
        for place, number in zip(build.places, values, strict=True):
            if number is not None:
                key = build.key(place.cylinder, phase, at)
                made[measure.id, key] = Value(measure.id, key, number, **more)
    return made


def whole(of: Program, measure: Measure, numbers: Mapping[str, float], **more: Any) -> Rows:
    """Values of a measure of whole engines."""
    keys = {name: of.build(name).key(0, PHASE) for name in numbers}
    return {(measure.id, keys[name]): Value(measure.id, keys[name], number, **more) for name, number in numbers.items()}


def below(of: Program, measure: Measure, build: str, cylinder: int, limit: float, low: float | None = None) -> Rows:
    """A value known only to lie below a limit."""
    key = of.build(build).key(cylinder, PHASE)
    return {(measure.id, key): Value(measure.id, key, None, low, limit, status="below")}


@dataclass(frozen=True)
class Case:
    """A program with its values, and what is made of them."""

    program: Program
    rows: Mapping[tuple[str, Key], Value] = field(default_factory=dict)

    @property
    def book(self) -> Book:
        return Book(self.rows, MEASURES)

    def every(self) -> list[Comparison]:
        return comparing.compared(self.program, MEASURES, self.book)

    def of(self, coating: str = C, measure: Measure | None = None, at: str = "") -> Comparison:
        """The comparison of one coating in a measure; in the primary one when none is named."""
        wanted = self.program.primary_measure if measure is None else measure.id
        (found,) = (row for row in self.every() if (row.measure, row.coating, row.at) == (wanted, coating, at))
        return found

    def decided(self) -> list[Result]:
        return [each for each in self._all() if not isinstance(each, deciding.Means | deciding.Units)]

    def facts(self) -> list[deciding.Means | deciding.Units]:
        """What the criteria rest on."""
        return [each for each in self._all() if isinstance(each, deciding.Means | deciding.Units)]

    def _all(self) -> list[Result | deciding.Means | deciding.Units]:
        return list(deciding.decided(self.program, MEASURES, self.book, self.every()))

    def answer(self, criterion: str = "c", coating: str = C) -> Verdict:
        """The answer of one criterion for a coating."""
        (found,) = (
            each
            for each in self.decided()
            if isinstance(each, Verdict)
            and each.rule == f"criterion:{criterion}"
            and not each.key.engine
            and each.key.coating == coating
        )
        return found

    def units(self, criterion: str = "c") -> dict[tuple[str, int], Verdict]:
        """The word of each cylinder or build under one criterion."""
        return {
            each.key[:2]: each
            for each in self.decided()
            if isinstance(each, Verdict) and each.rule == f"criterion:{criterion}" and each.key.engine
        }

    def given(self, measure: str) -> list[Value]:
        return [each for each in self.decided() if isinstance(each, Value) and each.measure == measure]

    def with_(self, **more: Any) -> Case:
        return Case(replace(self.program, **more), self.rows)


def case(allocation: Mapping[str, Sequence[str]], numbers: Numbers, measure: Measure = AREA, **more: Any) -> Case:
    """A program whose primary measure has these values."""
    named = ("se", "df", "se_common", "common", "flags", "low", "high", "n")
    fields = {each: more.pop(each) for each in named if each in more}
    of = program(allocation, primary_measure=measure.id, **more)
    return Case(of, rows(of, measure, numbers, **fields))


def judged(allocation: Mapping[str, Sequence[str]], values: Iterable[Value], criterion: Criterion, **more: Any) -> Case:
    """A program with one criterion, over values that carry their own intervals."""
    of = program(allocation, criteria=(criterion,), **more)
    return Case(of, {(value.measure, value.key): value for value in values})


def build_means(numbers: Numbers, *, ratio: bool, only: Mapping[str, Sequence[int]] | None = None) -> dict[str, float]:
    """Mean of each build over its cylinders (of logarithms for a ratio), worked out apart from the house."""
    found = {}
    for name, values in numbers.items():
        own = [v for n, v in enumerate(values, start=1) if v is not None and (only is None or n in only[name])]
        found[name] = fmean(math.log(v) if ratio else v for v in own)
    return found


def subject(measure: Measure, at: str = "", phase: str = PHASE) -> Subject:
    return Subject(measure.id, phase, at)


def level_values(
    of: Program,
    coating: str,
    cells: Mapping[tuple[str, int], tuple[float, float]],
    measure: Measure = AREA,
    df: float | None = None,
    n: int = 4,
    **more: Any,
) -> list[Value]:
    """Values with their own 95 % intervals: (build, cylinder) -> (value, standard error)."""
    from scipy.stats import norm, t

    cut = norm.ppf(0.975) if df is None else t.ppf(0.975, df)
    return [
        Value(
            measure.id, Key(build, cylinder, coating, PHASE), value, value - cut * se, value + cut * se, se, df, n=n,
            **more,
        )
        for (build, cylinder), (value, se) in cells.items()
        if of.build(build).coating_of(cylinder) == coating
    ]  # fmt: skip
