"""What a build sheet asks for before anything is measured."""

from __future__ import annotations

from sitegen.declarations import Blank, PaperTable
from sitegen.program.model import Build, Phase, Program

RINGS = ("top", "second", "oil")
HEIGHTS = 3  # rows of the bore prepared for each cylinder: three heights is common practice, no source
_LENGTHS = (
    "gap_gauge", "gap_bore", "chamfer", "radial_thickness", "land_diameter", "groove_width", "bore", "bore_height",
)  # fmt: skip
_UNITS = {**dict.fromkeys(_LENGTHS, "mm"), "gap_angle": "deg", "bore_angle": "deg", "mass": "g", "tension": "N"}
_STEPS = (
    "Weigh cleaned and dry, both times alike, on a balance adjusted that day; weigh again and give each a repeat.",
    "Read each gap with the ring square in the bore, the gap where it will work.",
    "Measure the bore at the heights the rings turn at, along the crankshaft and across it; write height and angle.",
)


def blank(program: Program, build: Build, phase: Phase) -> Blank:
    """The empty build sheet of one build: a row a ring, then rows of each bore."""
    del program, phase
    cylinders = [str(place.cylinder) for place in build.places]
    rings = [{"cylinder": each, "ring": ring} for each in cylinders for ring in RINGS]
    bores = [{"cylinder": each} for each in cylinders for _ in range(HEIGHTS)]
    of_ring = (
        "gap_gauge", "gap_bore", "gap_angle", "joint", "chamfer", "mass", "tension", "radial_thickness",
        "land_diameter", "groove_width", "remark",
    )  # fmt: skip
    return Blank(
        rows=[*rings, *bores],
        once=("date", "operator", "cleaning", "buoyancy", "tool_gap", "tool_mass", "tool_tension", "tool_bore"),
        tables=(
            PaperTable("Rings", ("cylinder", "ring"), of_ring, rings),
            PaperTable("Bores", ("cylinder",), ("bore_height", "bore_angle", "bore", "honing", "remark"), bores),
        ),
        units=_UNITS,
        steps=_STEPS,
        needed=("cylinder", "ring", "mass", "gap_bore"),
    )
