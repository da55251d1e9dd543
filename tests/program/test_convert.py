"""The types of the model and the schemas say the same; what is taken by them is what stands in the file."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import MISSING, dataclass, field, fields, is_dataclass
from functools import cache
from typing import Annotated, Any, Literal, get_args, get_origin, get_type_hints

import pytest

from sitegen import units
from sitegen.problems import Collector
from sitegen.program import convert, model, schema
from sitegen.program.build import WINDOWS
from sitegen.program.channels import STATED
from sitegen.program.definitions import CONDITIONS
from sitegen.program.model import DAY, ELEMENTS, Quantity, Under, Where, Window
from sitegen.program.node import Node
from sitegen.program.yamlfile import parse

Rule = Any
PLACES: Mapping[type, tuple[str, ...]] = {  # class of the model -> where the schema describes it
    model.Coating: ("definitions", "coatings", "<>"),
    model.Ended: ("program", "builds", "-", "ended"),
    model.Layer: ("definitions", "coatings", "<>", "layers", "<>"),
    model.EngineType: ("definitions", "engine_types", "<>"),
    model.Tester: ("definitions", "testers", "<>"),
    model.Calibration: ("definitions", "testers", "<>", "calibrations", "-"),
    model.ReferenceOrifice: ("definitions", "reference_orifices", "<>"),
    model.Tool: ("definitions", "tools", "<>"),
    model.Oil: ("definitions", "oils", "<>"),
    model.Meter: ("definitions", "meters", "<>"),
    model.Laboratory: ("definitions", "laboratories", "<>"),
    model.Precision: ("definitions", "laboratories", "<>", "precision", "<>"),
    model.FuelPrecision: ("definitions", "laboratories", "<>", "fuel_precision"),
    model.Phase: ("program", "phases", "-"),
    model.ScheduleStep: ("program", "phases", "-", "schedule", "-"),
    model.Build: ("program", "builds", "-"),
    model.Criterion: ("program", "criteria", "list", "-"),
    model.Decision: ("program", "decisions", "-"),
    model.Exclusion: ("program", "exclusions", "-"),
    model.LeakdownRule: ("program", "leakdown"),
    model.RunRule: ("program", "run"),
    model.VisitBands: ("program", "run", "reference_points"),
    model.WindowRule: ("program", "run", "windows"),
    model.WanderRule: ("program", "run", "wander"),
    model.ColdStart: ("program", "run", "cold_start"),
    model.PowerRule: ("program", "power"),
    model.FrictionRule: ("program", "friction"),
    model.SpeedBand: ("program", "power", "bands", "-"),
    model.RigRule: ("program", "rig"),
    model.Against: ("program", "rig", "against", "-"),
    model.WearRule: ("program", "wear"),
    model.ClosureRule: ("program", "closure"),
    model.InstrumentRule: ("program", "instruments"),
    model.OilRule: ("program", "oil"),
    model.OilSource: ("program", "oil", "sources", "-"),
    model.Tie: ("program", "ties", "-"),
    model.RecordSource: ("program", "records", "leakdown", "-"),
    model.LogSource: ("program", "records", "runlog", "-"),
}
LIMITED = (
    "crankcase_pressure", "oil_pressure", "oil_temperature", "coolant_temperature", "intake_temperature",
    "exhaust_temperature",
)  # fmt: skip
ENDS = ("low", "high")
# Quantities that are read by hand: in another unit than SI, in one of two forms, or by what a table of the code says.
STEP = "program.phases.-.schedule.-"
BY_HAND = {
    *(f"definitions.oils.<>.limits.{what}" for what, kind in CONDITIONS.items() if kind),
    *("program.seating.to_lose", "program.seating.level", "program.compare.worth_finding"),
    *(f"{STEP}.{what}{end}" for what in ("speed", "torque") for end in ("", ".from", ".to")),
    *(f"{STEP}.{channel}.{end}" for channel in WINDOWS for end in ("from", "to")),
    *(f"program.{where}limits.{channel}.{end}" for where in ("", "phases.-.") for channel in LIMITED for end in ENDS),
    *(f"program.records.runlog.-.constants.{channel}" for channel in STATED),  # by the channel each stands for
}


resolved = cache(schema.resolved)


def at(path: tuple[str, ...]) -> Rule:
    rule = resolved(path[0])
    for step in path[1:]:
        rule = {"<>": rule.get("additionalProperties"), "-": rule.get("items")}.get(step) or rule["properties"][step]
    return rule


def quantities(rule: Rule, path: str) -> Iterator[tuple[str, str]]:
    """Every place below with a dimension."""
    if isinstance(rule.get("dimension"), str):
        yield path, rule["dimension"]
    for name, inner in rule.get("properties", {}).items():
        yield from quantities(inner, f"{path}.{name}")
    if isinstance(rule.get("additionalProperties"), dict):
        yield from quantities(rule["additionalProperties"], f"{path}.<>")
    if isinstance(rule.get("items"), dict):
        yield from quantities(rule["items"], f"{path}.-")


def declared() -> Iterator[tuple[str, Any, tuple[Any, ...], Any]]:
    """Place, type, notes and field of everything that a class in PLACES says of itself."""
    for cls, place in PLACES.items():
        hints = get_type_hints(cls, include_extras=True)
        for each in fields(cls):
            kind, notes = convert._bare(hints[each.name])
            under = next((note.path for note in notes if isinstance(note, Under)), (each.name,))
            yield ".".join((*place, *under)), kind, notes, each


def said() -> Iterator[tuple[str, str]]:
    """Place and dimension of each quantity of the model; both ends of a range, each of the names of a mapping."""
    for place, kind, notes, _ in declared():
        mapping, listed = get_origin(kind) is Mapping, get_origin(kind) is tuple and get_args(kind)[-1] is Ellipsis
        if mapping or listed:
            kind, notes = convert._bare(get_args(kind)[1 if mapping else 0])
        for note in notes:
            if not isinstance(note, Quantity):
                continue
            inner = [""]
            if mapping:
                inner = [f".{name}" for name in at(tuple(place.split("."))).get("properties", {})] or [".<>"]
            elif listed:
                inner = [".-"]
            ends = ("",) if kind is float else (".from", ".to")
            yield from ((place + name + end, note.dimension) for name in inner for end in ends)


def test_dimensions_of_the_model_are_those_of_the_schema() -> None:
    """Of every quantity of both files: each is said by a type of the model, or stands in BY_HAND."""
    found = dict(said())
    wanted = {path: kind for name in ("definitions", "program") for path, kind in quantities(at((name,)), name)}
    assert found == {path: kind for path, kind in wanted.items() if path not in BY_HAND}
    assert set(wanted) >= BY_HAND
    assert set(found.values()) <= set(units.DIMENSIONS)
    assert len(found) > 60


def test_words_and_defaults_of_the_model_are_those_of_the_schema() -> None:
    words = defaults = 0
    for place, kind, _, each in declared():
        try:
            rule = at(tuple(place.split(".")))
        except KeyError:  # an id, an order: what stands around it
            continue
        if get_origin(kind) is Literal and "enum" in rule:
            spelled = {convert._spelled(str(word)) for word in rule["enum"]}
            assert spelled == {convert._spelled(str(word)) for word in get_args(kind) if word != ""}, place
            words += 1
        if "default" in rule:
            assert each.default is not MISSING, place
            assert convert._spelled(str(each.default)) == convert._spelled(str(rule["default"])), place
            defaults += 1
    assert words >= 8
    assert defaults >= 5


@dataclass(frozen=True)
class _Inner:
    where: Where
    on: Annotated[str, DAY]
    sort: Literal["plain", "by-hand"] = "plain"


@dataclass(frozen=True)
class _Outer:
    name: str
    wide: Annotated[float, Quantity("length")]
    share: Annotated[float, Quantity("ratio", share=True)] | None = None
    far: Annotated[float | None, Quantity("length", zero=True), Under(("deep", "far"))] = None
    long: Annotated[Window | None, Quantity("time", zero=True)] = None
    pair: Annotated[tuple[float, float] | None, Quantity("time")] = None
    count: int = 7
    sure: bool | None = None
    holds: Annotated[Mapping[str, Annotated[float, Quantity("mass fraction")]], ELEMENTS] = field(default_factory=dict)
    inner: tuple[_Inner, ...] = ()
    names: tuple[str, ...] = ()


def taken(text: str) -> tuple[_Outer, list[str]]:
    problems = Collector("p")
    document = parse(text.encode(), problems)
    assert document is not None
    made = convert.instance(_Outer, Node.root(document, problems))
    return made, [f"{each.line}:{each.column} {each.code}" for each in problems.found]


def test_every_kind_of_value_is_taken() -> None:
    made, problems = taken(
        "name: a\nwide: 2 mm\nshare: 50 %\ndeep: {far: 0 mm}\nlong: {from: 0 s}\npair: {from: 1 s, to: 2 s}\n"
        "count: 0\nsure: false\nholds: {Fe: 2 mg/kg}\ninner: [{on: 2026-01-31, sort: by hand}]\nnames: [b, 3]\n"
    )
    inner = _Inner(Where("p", 10, 9), "2026-01-31", "by-hand")
    assert made == _Outer("a", 2e-3, 0.5, 0.0, Window(0.0), (1.0, 2.0), 0, False, {"Fe": 2e-6}, (inner,), ("b", "3"))
    assert problems == []


def test_what_is_missing_stands_for_its_default() -> None:
    assert taken("other: 1\n") == (_Outer("", 0.0), [])
    made, _ = taken("inner: [{}]\n")
    assert made.inner == (_Inner(Where("p", 1, 9), "", "plain"),)


def test_every_fault_is_told_with_its_place_and_the_rest_is_taken() -> None:
    made, problems = taken(
        "name: [a]\nwide: 2 kg\nshare: 150 %\ndeep: {far: -1 mm}\nlong: {from: 2 s, to: 1 s}\ncount: many\n"
        "sure: perhaps\nholds: {Fe: 2 mm, Xx: 1 mg/kg, Cr: 1 ppm}\ninner: [{on: 2026-02-30, sort: odd}]\nnames: b\n"
    )
    assert problems == [
        "2:7 wrong-kind-of-unit", "3:8 out-of-range", "4:13 out-of-range", "5:7 range-reversed",
        "8:19 unknown-element", "8:13 wrong-kind-of-unit", "9:14 not-a-date",
    ]  # fmt: skip
    assert made.holds == {"Cr": 1e-6}
    assert (made.name, made.wide, made.far, made.count, made.sure, made.names) == ("", 0.0, None, 7, None, ())
    assert made.inner[0].sort == "plain"


def test_what_no_type_says_how_to_read_must_be_given() -> None:
    problems = Collector("p")
    document = parse(b"title: balance\nkind: balance\nlimit: 0.5 mg\n", problems)
    assert document is not None
    with pytest.raises(TypeError, match='"limit" must be given'):
        convert.instance(model.Tool, Node.root(document, problems), id="b")
    assert convert.instance(model.Tool, Node.root(document, problems), id="b", limit=5e-7).limit == 5e-7


def test_every_class_here_is_one_of_the_model() -> None:
    assert all(is_dataclass(cls) for cls in PLACES)
