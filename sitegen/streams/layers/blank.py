"""What a record of layers asks for before anything was cut."""

from __future__ import annotations

from sitegen.declarations import Blank, PaperTable
from sitegen.program.model import Build, Phase, Program
from sitegen.streams.layers.fields import CRATER

RINGS, PLACES = 3, (90, 270)  # a lot, and degrees from the gap; common practice, no source
_STEPS = (
    "Cut rings of the lot that will not run: two or more, three are better, at two places each. A ring that was cut "
    "or ground through does not run.",
    "Crater: read each diameter along the axis of the ring, or around it with half the bore as radius of the face: "
    "the outer one where the layer begins, the inner one where it ends; a crater that does not reach its end tells "
    "nothing of it.",
    "Section: perpendicular to the face; one that leans by 10° shows 1.5 % too much.",
)


def blank(program: Program, build: Build, phase: Phase) -> Blank:
    """The empty record of the lots in one build: a row for each layer at each place of each ring cut."""
    del phase
    lots = dict.fromkeys((place.lot, place.coating) for place in build.places if place.lot)
    rows = [
        {"lot": lot, "ring": str(ring), "layer": layer.name, "method": CRATER, "angle": str(angle)}
        for lot, coating in lots
        for ring in range(1, RINGS + 1)
        for angle in PLACES
        for layer in program.definitions.coatings[coating].layers
    ]
    known, asked = ("lot", "ring", "layer", "angle"), ("outer", "inner", "thickness", "remark")
    return Blank(
        rows=rows,
        once=("method", "ball", "face_radius", "instrument", "date", "operator"),
        tables=(PaperTable("Layers of rings cut", known, asked, [*rows, {}]),),
        units={**dict.fromkeys(("ball", "face_radius", "outer", "inner"), "mm"), "thickness": "um", "angle": "deg"},
        needed=("lot", "ring", "layer", "method", "ball", "outer", "inner"),
        steps=_STEPS,
    )
