"""What the records of layers say on the page of a build."""

from __future__ import annotations

from collections.abc import Sequence

from sitegen.declarations import Section
from sitegen.page import words
from sitegen.page.blocks import Block, Cell, Column, Row, Table
from sitegen.page.view import View
from sitegen.streams.layers.measures import THICKNESS
from sitegen.vocabulary import Value


def engine_layers(view: View) -> Sequence[Block]:
    """Each layer of the rings of a build, the outermost first: rings that share what is known of it in one row."""
    shared: dict[tuple[str, str, str, str, str], list[int]] = {}
    for place in view.the_build.places:
        for layer in view.folder.definitions.coatings[place.coating].layers:
            one = view.of_cylinder(view.the_build, place.cylinder)
            value = one.value(THICKNESS.id, "", f"top/{layer.name}")
            nominal = "" if layer.thickness is None else f"{1e6 * layer.thickness:.4g}"
            if layer.tolerance is not None:
                nominal += f"\u00a0± {1e6 * layer.tolerance:.3g}"
            if value is not None and (value.value is not None or nominal):
                known = (place.coating, layer.title, nominal,
                         view.text(value), _told(view, value))  # fmt: skip
                shared.setdefault(known, []).append(place.cylinder)
    if not shared:
        return ()
    rows = [
        Row((view.coating_cell(coating), Cell(layer), Cell(words.numbers_listed(cylinders)),
             Cell(nominal or words.DASH), Cell(text, note=told)))
        for (coating, layer, nominal, text, told), cylinders in shared.items()
    ]  # fmt: skip
    columns = (
        Column("Coating"), Column("Layer, from outside"), Column("Cylinders"), Column("Nominal", "µm", numeric=True),
        Column("Before the run", "µm", numeric=True, measure=THICKNESS.id),
    )  # fmt: skip
    reading = _outermost(*next(iter(shared))[1:4])
    return (Table(f"layers-{view.the_build.id}", columns, rows, reading, wide=True),)


def _outermost(layer: str, nominal: str, found: str) -> str:
    """The first layer with its thickness, as measured or else as ordered."""
    if found[:1].isdigit():
        return f"{words.sentence(layer)} layer: {words.with_unit(found, 'µm')} before the run."
    return f"{words.sentence(layer)} layer: {f'nominally {nominal} µm' if nominal else 'thickness not known'}."


def _told(view: View, value: Value) -> str:
    """Where a thickness comes from."""
    if value.status == "refused":
        return view.why(value.reason)
    told = [view.why(flag) for flag in sorted(value.flags - {"own-ring"})]
    if "own-ring" in value.flags:
        told.insert(0, f"this ring, {words.counted(value.n, 'place')}")
    elif value.n:
        told.insert(0, f"{words.counted(value.n, 'ring')} of the lot")
    return words.sentence("; ".join(told))


SECTIONS = (Section("layers", "Layers", 42, "engine", engine_layers, place="rest"),)
