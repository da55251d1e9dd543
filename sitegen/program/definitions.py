"""definitions.yaml: from the document to the frozen definitions."""

from __future__ import annotations

from sitegen.problems import counted
from sitegen.program.model import (
    Calibration,
    Coating,
    Definitions,
    EngineType,
    Oil,
    ReferenceOrifice,
    Tester,
    Tool,
)
from sitegen.program.node import Ids, Node

HOME = "definitions.yaml"
SECTIONS = ("coatings", "engine_types", "testers", "reference_orifices", "tools", "oils")
MOST_CYLINDERS = 24
TOOL_READS = {
    "balance": "mass",
    "feeler": "length",
    "ring-gauge": "length",
    "bore-gauge": "length",
    "micrometer": "length",
    "tension-gauge": "force",
}


def build(root: Node) -> Definitions:
    """The definitions of a document. Where something is wrong a problem is added and a stand-in taken."""
    ids = Ids("in definitions.yaml")
    for section in SECTIONS:
        for name, entry in root.entries(section):
            ids.add(name, entry.key_at, root.problems)
    return Definitions(
        coatings={name: _coating(name, n, entry) for n, (name, entry) in enumerate(root.entries("coatings"))},
        engine_types={name: _engine_type(name, entry) for name, entry in root.entries("engine_types")},
        testers={name: _tester(name, entry) for name, entry in root.entries("testers")},
        reference_orifices={name: _orifice(name, entry) for name, entry in root.entries("reference_orifices")},
        tools={name: _tool(name, entry) for name, entry in root.entries("tools")},
        oils={name: _oil(name, entry) for name, entry in root.entries("oils")},
    )


def _coating(name: str, order: int, entry: Node) -> Coating:
    return Coating(
        id=name,
        title=entry.text("title"),
        order=order,
        process=entry.text("process"),
        layers=entry.texts("layers"),
        hardness_hv=entry.quantity("hardness", "hardness"),
        thickness=entry.quantity("thickness", "length"),
        tracers=entry.texts("tracers"),
    )


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
        percent_linear=entry.flag("percent_linear"),
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
    return Tool(
        id=name,
        title=entry.text("title"),
        kind=kind,  # type: ignore[arg-type] # the schema allows no other word
        limit=(entry.quantity("limit", TOOL_READS[kind]) or 0.0) if kind in TOOL_READS else 0.0,
        calibrations=_calibrations(entry),
    )


def _oil(name: str, entry: Node) -> Oil:
    return Oil(name, entry.text("title"), entry.text("grade"), entry.quantity("density", "density"))
