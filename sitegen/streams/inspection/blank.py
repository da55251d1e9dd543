"""What an inspection asks for before anybody has looked."""

from __future__ import annotations

from sitegen.declarations import Blank, PaperTable
from sitegen.program.model import Build, Phase, Program
from sitegen.streams.inspection.fields import PARTS, RINGS

_STEPS = (
    "Each inspector fills in a sheet of their own, without having seen another's.",
    "Say at which place of the part: back of the gap, 60° from the gap, thrust side at the top reversal. Further "
    "places go into further rows.",
)


def blank(program: Program, build: Build, phase: Phase) -> Blank:
    """The empty inspection of one build: a row for each part of each cylinder."""
    del phase
    rows = [{"cylinder": str(place.cylinder), "part": part} for place in build.places for part in PARTS]
    none = dict.fromkeys(("band_share", "band_width"), "–")  # only a ring has a face with a band
    on_paper = [row if row["part"] in RINGS else {**row, **none} for row in rows]
    scale = program.inspection
    grades = "; ".join(f"{grade:g} {told}" for grade, told in scale.grades.items()) if scale else ""
    asked = ("place", "band_share", "band_width", *(("grade",) if scale else ()))
    return Blank(
        rows=rows,
        once=("date", "inspector"),
        tables=(
            PaperTable(
                "What is seen",
                ("cylinder", "part"),
                (*asked, "scuffing", "spalling", "sticking", "deposits", "image", "remark"),
                [*on_paper, {}, {}],
            ),
        ),
        units={"band_share": "%", "band_width": "mm", "image_width": "mm"},
        needed=("cylinder", "part", "band_share", *(("grade",) if scale else ())),
        steps=(*_STEPS, *((f"Grades: {grades}.",) if grades else ())),
    )
