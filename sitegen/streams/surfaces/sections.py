"""What the traces say on the pages of a build and of a coating; of a cylinder, see `cylinder`. Computes nothing."""

from __future__ import annotations

from collections.abc import Sequence

from sitegen.declarations import OfCylinder, Section
from sitegen.page import words
from sitegen.page.blocks import Block, Cell, ChartRow, Column, Figure, Panel, Row, Table
from sitegen.page.view import View
from sitegen.program.model import Phase
from sitegen.streams.surfaces import measures
from sitegen.streams.surfaces.cylinder import (
    FROM_GAP,
    MASS_LOSS,
    RING,
    WEAR,
    band_by_trace,
    conditions,
    cylinder_bore,
    cylinder_ring,
    cylinder_ring_wear,
    cylinder_traces,
    places_of,
    ring_columns,
    short,
    span,
    traced,
)
from sitegen.streams.surfaces.places import place_title
from sitegen.vocabulary import Measure, Value, numbers

_SHOWN = (measures.RK, measures.RPK, measures.RVK, measures.MR2, measures.RA, measures.RZ)


# ---- a build --------------------------------------------------------------------------------------------------------


def engine_surfaces(view: View) -> Sequence[Block]:
    """All cylinders and places of a build by parameter, at the last state; sorted in the browser."""
    phases = traced(view)
    if not phases:
        return ()
    last = phases[-1]
    shown = (*WEAR, *_SHOWN)
    whole = [each for each in RING if each is not measures.FACE_MISFIT]  # which is of an angle
    rows, rings = [], []
    for place in view.the_build.places:
        one = view.of_cylinder(view.the_build, place.cylinder)
        link = view.href_cylinder(view.the_build, place.cylinder, "bore" if places_of(one, bore=True) else "ring")
        name = Cell(f"cylinder {place.cylinder}", href=link, coating=place.coating)
        for at in places_of(one, bore=True):
            values = [one.value(each.id, last.id, at) for each in shown]
            rows.append(Row((name, Cell(place_title(at)), *(_short_cell(view, value) for value in values))))
        values = [one.value(each, last.id, "top") for each in (MASS_LOSS, *(other.id for other in whole), FROM_GAP)]
        if any(value is not None for value in values[1:-1]):
            rings.append(Row((name, *(_short_cell(view, value) for value in values))))
    blocks: list[Block] = []
    if rows:
        columns = (
            Column("Cylinder"), Column("Place in the bore"),
            *(Column(_heading(each), each.unit if each.unit != "1" else "", numeric=True, measure=each.id)
              for each in shown),
        )  # fmt: skip
        note = f"At {last.title}. {conditions(view, 'bore')}"
        table = f"surfaces-{view.the_build.id}"
        blocks.append(Table(table, columns, rows, _engine_reading(view, last), note=note, wide=True))
    if rings:
        columns = ring_columns("Cylinder", whole)
        note = f"At {last.title}, means over the angles; intervals from the roughness of the faces as they were made."
        blocks.append(Table(f"ring-faces-{view.the_build.id}", columns, rings, note=note, wide=True))
    return blocks


def _heading(measure: Measure) -> str:
    return {
        measures.WEAR_STEP.id: "Wear, from the step",
        measures.WEAR_VALLEYS.id: "Wear, valleys aligned",
        measures.PLATEAU.id: "Plateau formed",
    }.get(measure.id, short(measure))


def _short_cell(view: View, value: Value | None) -> Cell:
    if value is None or value.status == "refused":
        return Cell(words.DASH, note=view.why(value.reason) if value is not None else "")
    return Cell(view.text(value))


def _engine_reading(view: View, last: Phase) -> str:
    known = [
        value
        for value in view.values(measures.WEAR_STEP.id, engine=view.the_build, phase=last.id)
        if value.value is not None
    ]
    places = view.the_build.places
    traced = [one.cylinder for one in places if places_of(view.of_cylinder(view.the_build, one.cylinder), bore=True)]
    noun, verb = ("Cylinder", "was") if len(traced) == 1 else ("Cylinders", "were")
    of = f"{noun} {words.numbers_listed(traced)} of {len(places)} {verb} traced"
    if not known:
        return f"{of}."
    worn = words.with_unit(span(numbers(known), 2), "µm")
    return f"{of}; at {last.title} bores had worn by {worn} at the top reversal."


# ---- a coating ------------------------------------------------------------------------------------------------------


def coating_surfaces(view: View) -> Sequence[Block]:
    """Dots by build: plateau, bore wear and ring face wear of the cylinders with this coating."""
    coating = view.the_coating.id
    panels = []
    rows: list[Row] = []
    for measure in (measures.PLATEAU, measures.WEAR_STEP, measures.FACE_DEPTH, measures.BAND):
        lines: list[ChartRow] = []
        dots: list[ChartRow] = []
        for build in view.builds:
            values = [
                value
                for value in view.values(measure.id, engine=build, coating=coating)
                if value.value is not None and (measure.id.startswith("bore.") or value.key.at == "top")
            ]
            if not values:
                continue
            y = len(lines)
            lines.append({"y": y, "label": build.id})
            for value in values:
                where = f"{build.id} cylinder {value.key.cylinder}, {place_title(value.key.at)}"
                tip = f"{where}: {view.text(value, unit=True)}"
                dots.append({"y": y, "value": value.value, "coating": coating, "tip": tip})
                rows.append(
                    Row(
                        (
                            Cell(build.id, href=view.href_engine(build, "surfaces")),
                            Cell(str(value.key.cylinder)),
                            Cell(words.sentence(place_title(value.key.at))),
                            Cell(words.sentence(measure.title)),
                            Cell(view.text(value)),
                            Cell(measure.unit),
                        )
                    )
                )
        if dots:
            title = words.sentence(measure.title)
            panels.append(
                Panel(title, {"lines": lines, "dots": dots}, coating=coating,
                      label=f"{title} by build", axis=", ".join(filter(None, (title, measure.unit))))
            )  # fmt: skip
    if not panels:
        return ()
    columns = (
        Column("Build"), Column("Cylinder", numeric=True), Column("Place"), Column("Measure"),
        Column("Value", numeric=True), Column("Unit"),
    )  # fmt: skip
    table = Table(f"{view.program.id}-surfaces", columns, rows)
    builds = words.counted(len({row.cells[0].text for row in rows}), "build")
    told = {row.cells[0].text for row in rows}
    absent = [build.id for build in view.builds if build.id not in told]
    without = f" {words.listed(absent)} {words.plural(len(absent), 'was', 'were')} not traced." if absent else ""
    reading = f"Traced in {builds}: a dot a cylinder and place.{without}"
    caption = (
        "Places of a bore wear differently: compare like with like. Builds that ran other distances do not compare."
    )
    name = f"{view.program.id}-surfaces-by-build"
    return (Figure(name, "dots", panels, reading, caption, table, one_scale=False),)


SECTIONS = (
    Section("surfaces", "Surfaces", 49, "engine", engine_surfaces, place="rest"),
    Section("ring", "Ring sections", 30, "cylinder", cylinder_ring),
    Section("bore", "Bore", 35, "cylinder", cylinder_bore),
    Section("ring-wear", "Ring wear", 36, "cylinder", cylinder_ring_wear, place="rest"),
    Section("traces", "Traces and curves", 37, "cylinder", cylinder_traces, place="rest"),
    Section("surfaces", "Surfaces", 25, "coating", coating_surfaces, place="rest"),
)
OF_CYLINDER = (OfCylinder("Band, by trace", 60, band_by_trace),)
