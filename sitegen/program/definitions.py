"""definitions.yaml: from the document to the frozen definitions."""

from __future__ import annotations

from sitegen import units
from sitegen.problems import counted, shown
from sitegen.program import calibrations, words
from sitegen.program.convert import instance
from sitegen.program.model import (
    Coating,
    Definitions,
    EngineType,
    Laboratory,
    Layer,
    Meter,
    Oil,
    ReferenceOrifice,
    Tester,
    Tool,
)
from sitegen.program.node import Ids, Node, id_fault

HOME = "definitions.yaml"
SECTIONS = ("coatings", "engine_types", "testers", "reference_orifices", "tools", "oils", "meters", "laboratories")
MOST_CYLINDERS = 24
CYLINDERS = tuple(str(number) for number in range(1, MOST_CYLINDERS + 1))
TOOL_READS = {
    "balance": "mass",
    "feeler": "length",
    "ring-gauge": "length",
    "bore-gauge": "length",
    "micrometer": "length",
    "tension-gauge": "force",
    "profilometer": "length",
    "barometer": "pressure difference",
    "thermometer": "temperature difference",
    "microscope": "length",
    "torque-cell": "torque",
    "thermocouple": "temperature difference",
    "roughness-standard": "length",
    "pressure-gauge": "pressure difference",
}
TOOL_SHOWS = {  # kind -> what it shows, where that is not what its limit is
    "barometer": "absolute pressure", "pressure-gauge": "gauge pressure",
    "thermometer": "temperature", "thermocouple": "temperature",
}  # fmt: skip
PRESSURE, PERCENT = "gauge pressure", "ratio"

# What may limit the use of an oil, and the kind of quantity; "": a bare number in the unit of its test.
CONDITIONS = {
    "viscosity_change": "ratio",
    "acid_number": "",
    "base_number": "",
    "oxidation": "",
    "nitration": "",
    "fuel": "ratio",
    "soot": "ratio",
    "water": "ratio",
}


# Kinds of id that words of files may mean, and the section that holds them.
_KINDS = {
    "tester": "testers",
    "reference orifice": "reference_orifices",
    "tool": "tools",
    "meter": "meters",
    "laboratory": "laboratories",
}


def build(root: Node) -> Definitions:
    """The definitions of a document. Where something is wrong a problem is added and a stand-in taken."""
    ids = Ids("in definitions.yaml")
    for section in SECTIONS:
        for name, entry in root.entries(section):
            ids.add(name, entry.key_at, root.problems)
    ours = {kind: [name for name, _ in root.entries(section)] for kind, section in _KINDS.items()}
    coatings = enumerate(root.entries("coatings"))
    return Definitions(
        coatings={
            name: instance(Coating, entry, id=name, order=n, layers=_layers(entry)) for n, (name, entry) in coatings
        },
        engine_types={name: _engine_type(name, entry) for name, entry in root.entries("engine_types")},
        testers={name: _tester(name, entry) for name, entry in root.entries("testers")},
        reference_orifices={name: _orifice(name, entry) for name, entry in root.entries("reference_orifices")},
        tools={name: _tool(name, entry) for name, entry in root.entries("tools")},
        oils={name: instance(Oil, entry, id=name, limits=_limits(entry)) for name, entry in root.entries("oils")},
        meters={name: _meter(name, entry) for name, entry in root.entries("meters")},
        laboratories={name: instance(Laboratory, entry, id=name) for name, entry in root.entries("laboratories")},
        words=words.of(root, {"cylinder": CYLINDERS, **ours}),
    )


def _layers(entry: Node) -> tuple[Layer, ...]:
    """Layers of a coating, outermost first: the first alone may be the running-in layer, and all make the whole."""
    layers: list[Layer] = []
    for name, one in entry.entries("layers"):
        layer = instance(Layer, one, name=name)
        if fault := id_fault(name):
            one.add("not-an-id", f'the layer "{shown(name)}" {fault}', next_step="choose another name")
        if layer.running_in and layers:
            told = f'"{shown(name)}"{entry.get("layers").within} is a running-in layer below another layer'
            one.get("running_in").add("running-in-not-outermost", told, expected="the outermost layer, listed first")
        if layer.tolerance is not None and (layer.thickness is None or layer.tolerance >= layer.thickness):
            place = one.get("tolerance")
            told = f"{place.subject} is not below the thickness" if layer.thickness else f"{place.subject} is of none"
            place.add("tolerance-too-wide", told, expected="a nominal thickness, and a tolerance below it")
        layers.append(layer)
    whole, each = entry.quantity("thickness", "length"), [layer.thickness for layer in layers]
    if whole is not None and each:
        total = sum(one or 0.0 for one in each)
        if total > whole * 1.0001 or (None not in each and total < whole * 0.9999):
            place = entry.get("thickness")
            told = f"{place.subject} is {1e6 * whole:g} um, but its layers add up to {1e6 * total:g} um"
            place.add("layers-do-not-add-up", told, expected="the sum of the layers", next_step="correct one of them")
    return tuple(layers)


def _engine_type(name: str, entry: Node) -> EngineType:
    engine = instance(EngineType, entry, id=name)
    firing, written = engine.firing_order, len(entry.items("firing_order"))
    everyone = list(range(1, engine.cylinders + 1))
    if written and 0 < engine.cylinders <= MOST_CYLINDERS and (sorted(firing) != everyone or len(firing) != written):
        order = entry.get("firing_order")
        order.add(
            "firing-order",
            f"{order.subject} does not name each of {counted(engine.cylinders, 'cylinder')} once",
            expected=f"the numbers 1 to {engine.cylinders}, each once",
        )
    return engine


def _tester(name: str, entry: Node) -> Tester:
    """A tester. Its gauges are checked in gauge pressure; that of the cylinder on a percent scale in per cent."""
    limit = entry.quantity("gauge_class", "pressure difference")
    percent = entry.text("scale") == "percent"
    kinds = dict.fromkeys(("", "supply", "cylinder"), PRESSURE) | (
        {"": PERCENT, "cylinder": PERCENT} if percent else {}
    )

    def most(node: Node, kind: str) -> calibrations.Most | None:
        if kind == PRESSURE and (percent or node.value is None):
            return None if limit is None else (limit, 0.0)
        found = node.own_quantity(PERCENT if percent else "pressure difference")
        return None if found is None else (found, 0.0)

    dated = calibrations.of(entry, calibrations.Reads(kinds, calibrations.signed, most, "cylinder" if percent else ""))
    return instance(Tester, entry, id=name, calibrations=dated)


def _orifice(name: str, entry: Node) -> ReferenceOrifice:
    calibrations.there(entry)
    return instance(ReferenceOrifice, entry, id=name)


def _tool(name: str, entry: Node) -> Tool:
    reads = TOOL_READS.get(entry.text("kind"))
    limit, step = (entry.quantity(key, reads) if reads else None for key in ("limit", "readability"))
    if limit is not None and step is not None and step > 2 * limit:
        place = entry.get("readability")
        told = f"{place.subject} is more than twice the limit of error: rounding alone errs more"
        place.add("readability-coarse", told, expected="a step of at most twice the limit")
    reads = reads or "length"
    checked = calibrations.of(entry, calibrations.plain(TOOL_SHOWS.get(entry.text("kind"), reads), reads, limit or 0.0))
    own = {"limit": limit or 0.0, "readability": step or 0.0, "calibrations": checked}
    return instance(Tool, entry, id=name, **own)


def _limits(entry: Node) -> dict[str, float]:
    limits: dict[str, float] = {}
    for what, kind in CONDITIONS.items():
        inner = entry.get("limits").get(what)
        found = inner.own_quantity(kind) if kind else inner.value
        if isinstance(found, int | float):
            limits[what] = float(found)
    return limits


def _meter(name: str, entry: Node) -> Meter:
    scale = entry.text("scale")
    reference, within = entry.get("reference"), entry.get("range")
    if scale == "standard" and not entry.has("reference"):
        entry.add(
            "reference-conditions-unstated",
            f'"scale"{entry.within} is standard, but the conditions it counts at are not given',
            expected="reference: {pressure: 101.325 kPa absolute, temperature: 0 degC}, or what the meter states",
        )
    if scale == "actual" and entry.has("reference"):
        reference.add(
            "key-does-not-apply",
            f'"reference" does not apply{entry.within}: actual volume is counted as it passes',
            next_step="remove it",
        )
    low, high = _flow(within.get("low"), scale), _flow(within.get("high"), scale)
    if low is not None and high is not None and low >= high:
        within.add("range-reversed", f"{within.subject} ends below its beginning", expected="low below high")

    def most(node: Node, _: str) -> calibrations.Most | None:
        if not isinstance(node.value, str):
            return None
        if "%" in node.value:
            share = node.own_quantity(PERCENT)
            return None if share is None else (0.0, share)
        flow = _flow(node, scale)
        return None if flow is None else (flow, 0.0)

    reads = calibrations.Reads({"": "flow"}, lambda node, _: _flow(node, scale), most)
    return instance(Meter, entry, id=name, low=low, high=high, calibrations=calibrations.of(entry, reads))


def _flow(node: Node, scale: str) -> float | None:
    """A flow on the meter's own scale [m3/s]: its unit need not repeat which volume that is, but may not deny it."""
    if not isinstance(node.value, str) or not node.value:
        return None
    expected = "a flow on the scale of the meter, such as 20 L/min"
    try:
        number, written = units.split(node.value)
        meant = units.unit(written)
    except units.UnitError as error:
        node.add(error.code, f"{node.subject}: {error.what}", expected=expected, near=error.nearest)
        return None
    if meant.vector != units.unit("m3/s").vector:
        node.add(
            "wrong-kind-of-unit",
            f'{node.subject}: "{shown(written)}" is a unit of {units.kind_of(meant) or "something else"}, not of flow',
            expected=expected,
        )
        return None
    if meant.reference or meant.nature not in {"", scale}:
        node.add(
            "scale-contradicted",
            f'{node.subject} is "{shown(node.value)}", but the scale of the meter is in {scale} volume',
            expected=expected,
        )
        return None
    if number < 0:
        node.add("out-of-range", f'{node.subject} is "{shown(node.value)}"', expected="zero or more")
        return None
    return number * meant.scale
