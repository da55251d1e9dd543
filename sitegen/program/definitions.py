"""definitions.yaml: from the document to the frozen definitions."""

from __future__ import annotations

from sitegen import units
from sitegen.methods import elements
from sitegen.problems import counted, listed, nearest, shown
from sitegen.program import words
from sitegen.program.model import (
    Calibration,
    Coating,
    Definitions,
    EngineType,
    Laboratory,
    Layer,
    Meter,
    Oil,
    Precision,
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
}

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
    return Definitions(
        coatings={name: _coating(name, n, entry) for n, (name, entry) in enumerate(root.entries("coatings"))},
        engine_types={name: _engine_type(name, entry) for name, entry in root.entries("engine_types")},
        testers={name: _tester(name, entry) for name, entry in root.entries("testers")},
        reference_orifices={name: _orifice(name, entry) for name, entry in root.entries("reference_orifices")},
        tools={name: _tool(name, entry) for name, entry in root.entries("tools")},
        oils={name: _oil(name, entry) for name, entry in root.entries("oils")},
        meters={name: _meter(name, entry) for name, entry in root.entries("meters")},
        laboratories={name: _laboratory(name, entry) for name, entry in root.entries("laboratories")},
        words=words.of(root, {"cylinder": CYLINDERS, **ours}),
    )


def _coating(name: str, order: int, entry: Node) -> Coating:
    return Coating(
        id=name,
        title=entry.text("title"),
        order=order,
        process=entry.text("process"),
        layers=_layers(entry),
        hardness_hv=entry.quantity("hardness", "hardness"),
        thickness=entry.quantity("thickness", "length"),
        tracers=entry.texts("tracers"),
        density=entry.quantity("density", "density"),
    )


def _layers(entry: Node) -> tuple[Layer, ...]:
    """Layers of a coating, outermost first: the first alone may be the running-in layer, and all make the whole."""
    made: list[Layer] = []
    for name, one in entry.entries("layers"):
        layer = Layer(
            name, one.text("process"), one.quantity("thickness", "length"),
            one.quantity("tolerance", "length"), one.flag("running_in"),
        )  # fmt: skip
        if fault := id_fault(name):
            one.add("not-an-id", f'the layer "{shown(name)}" {fault}', next_step="choose another name")
        if layer.running_in and made:
            told = f'"{shown(name)}"{entry.get("layers").within} is a running-in layer below another layer'
            one.get("running_in").add("running-in-not-outermost", told, expected="the outermost layer, listed first")
        if layer.tolerance is not None and (layer.thickness is None or layer.tolerance >= layer.thickness):
            place = one.get("tolerance")
            told = f"{place.subject} is not below the thickness" if layer.thickness else f"{place.subject} is of none"
            place.add("tolerance-too-wide", told, expected="a nominal thickness, and a tolerance below it")
        made.append(layer)
    whole, each = entry.quantity("thickness", "length"), [layer.thickness for layer in made]
    if whole is not None and each:
        total = sum(one or 0.0 for one in each)
        if total > whole * 1.0001 or (None not in each and total < whole * 0.9999):
            place = entry.get("thickness")
            told = f"{place.subject} is {1e6 * whole:g} um, but its layers add up to {1e6 * total:g} um"
            place.add("layers-do-not-add-up", told, expected="the sum of the layers", next_step="correct one of them")
    return tuple(made)


def _engine_type(name: str, entry: Node) -> EngineType:
    cylinders = entry.whole("cylinders") or 0
    firing = tuple(each.value for each in entry.items("firing_order"))
    if firing and 0 < cylinders <= MOST_CYLINDERS:
        numbers = [each for each in firing if isinstance(each, int)]
        if sorted(numbers) != list(range(1, cylinders + 1)) or len(numbers) != len(firing):
            order = entry.get("firing_order")
            order.add(
                "firing-order",
                f"{order.subject} does not name each of {counted(cylinders, 'cylinder')} once",
                expected=f"the numbers 1 to {cylinders}, each once",
            )
    return EngineType(
        id=name,
        title=entry.text("title"),
        cylinders=cylinders,
        bore=entry.quantity("bore", "length") or 0.0,
        stroke=entry.quantity("stroke", "length") or 0.0,
        layout=entry.text("layout") or "inline",  # type: ignore[arg-type] # the schema allows no other word
        strokes=2 if entry.whole("strokes") == 2 else 4,
        firing_order=firing,
        flywheel=entry.text("flywheel") or "at the last cylinder",  # type: ignore[arg-type]
        rod=entry.quantity("rod", "length"),
        fuel=entry.text("fuel"),
        rated_speed=entry.quantity("rated_speed", "speed"),
        oil_charge=entry.quantity("oil_charge", "mass"),
    )


def _calibrations(entry: Node) -> tuple[Calibration, ...]:
    made = []
    for each in entry.items("calibrations"):
        on, due = each.date("on"), each.date("due")
        if on and due and due <= on:
            each.get("due").add(
                "dates-reversed", f"the calibration of {on} is due on {due}", expected=f"a day after {on}"
            )
        made.append(Calibration(on, due, each.text("note")))
    return tuple(made)


def _tester(name: str, entry: Node) -> Tester:
    return Tester(
        id=name,
        title=entry.text("title"),
        orifice=entry.quantity("orifice", "length") or 0.0,
        gauge_class=entry.quantity("gauge_class", "pressure difference") or 0.0,
        orifice_tolerance=entry.quantity("orifice_tolerance", "length", zero=True) or 0.0,
        scale="percent" if entry.text("scale") == "percent" else "pressure",
        percent_linear=entry.flag("percent_linear") if entry.has("percent_linear") else None,
        calibrations=_calibrations(entry),
    )


def _orifice(name: str, entry: Node) -> ReferenceOrifice:
    return ReferenceOrifice(
        id=name,
        title=entry.text("title"),
        diameter=entry.quantity("diameter", "length") or 0.0,
        tolerance=entry.quantity("tolerance", "length", zero=True) or 0.0,
    )


def _tool(name: str, entry: Node) -> Tool:
    kind = entry.text("kind")
    limit, step = (entry.quantity(key, TOOL_READS[kind]) if kind in TOOL_READS else None
                   for key in ("limit", "readability"))  # fmt: skip
    if limit is not None and step is not None and step > 2 * limit:
        place = entry.get("readability")
        told = f"{place.subject} is more than twice the limit of error: rounding alone errs more"
        place.add("readability-coarse", told, expected="a step of at most twice the limit")
    return Tool(
        id=name,
        title=entry.text("title"),
        kind=kind,  # type: ignore[arg-type] # the schema allows no other word
        limit=limit or 0.0,
        calibrations=_calibrations(entry),
        readability=step or 0.0,
    )


def _oil(name: str, entry: Node) -> Oil:
    limits: dict[str, float] = {}
    for what, kind in CONDITIONS.items():
        inner = entry.get("limits").get(what)
        found = inner.own_quantity(kind) if kind else inner.value
        if isinstance(found, int | float):
            limits[what] = float(found)
    return Oil(
        name,
        entry.text("title"),
        entry.text("grade"),
        entry.quantity("density", "density"),
        fresh=by_element(entry, "fresh", "mass fraction", zero=True),
        fresh_error=by_element(entry, "fresh_error", "mass fraction", zero=True),
        viscosity_40=entry.quantity("viscosity_40", "kinematic viscosity"),
        viscosity_100=entry.quantity("viscosity_100", "kinematic viscosity"),
        limits=limits,
    )


def by_element(entry: Node, key: str, dimension: str, *, zero: bool = False) -> dict[str, float]:
    """Quantities by element; a symbol we do not know becomes a problem."""
    made = {}
    for symbol, inner in _elements(entry, key):
        found = inner.own_quantity(dimension, zero=zero)
        if found is not None:
            made[symbol] = found
    return made


def _elements(entry: Node, key: str) -> list[tuple[str, Node]]:
    known = []
    for symbol, inner in entry.entries(key):
        if symbol in elements.ALL:
            known.append((symbol, inner))
            continue
        inner.problems.add(
            inner.key_at,
            "unknown-element",
            f'"{shown(symbol)}"{entry.get(key).within} is no element an oil report is read for',
            expected=listed(elements.ALL),
            nearest=nearest(symbol, elements.ALL),
        )
    return known


def _laboratory(name: str, entry: Node) -> Laboratory:
    return Laboratory(
        id=name,
        title=entry.text("title"),
        method="rotating-disc" if entry.text("method") == "rotating disc" else "icp",
        precision={
            symbol: Precision(
                inner.quantity("at_zero", "mass fraction", zero=True) or 0.0,
                inner.quantity("share", "ratio", zero=True) or 0.0,
            )
            for symbol, inner in _elements(entry, "precision")
        },
        detection=by_element(entry, "detection", "mass fraction"),
        reported_to=entry.quantity("reported_to", "mass fraction") or 0.0,
    )


def _meter(name: str, entry: Node) -> Meter:
    scale = entry.text("scale")
    reference, design, within = entry.get("reference"), entry.get("design"), entry.get("range")
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
    return Meter(
        id=name,
        title=entry.text("title"),
        principle=entry.text("principle"),  # type: ignore[arg-type] # the schema allows no other word
        scale="standard" if scale == "standard" else "actual",
        reference_pressure=reference.quantity("pressure", "absolute pressure"),
        reference_temperature=reference.quantity("temperature", "temperature"),
        design_pressure=design.quantity("pressure", "absolute pressure"),
        design_temperature=design.quantity("temperature", "temperature"),
        design_density=design.quantity("density", "density"),
        time_constant=entry.quantity("time_constant", "time", zero=True),
        low=low,
        high=high,
        calibrations=_calibrations(entry),
    )


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
