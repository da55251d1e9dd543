"""What a record of the rig asks for before anything was run: coatings in an order drawn by lot."""

from __future__ import annotations

import random

from sitegen.declarations import Blank, PaperTable
from sitegen.program.model import Build, Phase, Program

_USUAL = 3  # specimens of each coating where the program states none


def blank(program: Program, build: Build, phase: Phase) -> Blank:
    """The empty table of a series: a row a specimen. The same for every build: specimens are in none."""
    del build, phase
    coatings = [program.reference, *program.candidates]
    every = [each for each in coatings for _ in range(program.rig.specimens or _USUAL)]
    seed = f"{program.allocation_seed or program.id}/rig"
    drawn = random.Random(seed)  # noqa: S311 - an order to be repeated, no secret
    order = sorted(range(len(every)), key=[drawn.random() for _ in every].__getitem__)
    rows = [{"specimen": f"S{n}", "coating": every[at]} for n, at in enumerate(order, start=1)]
    shown = ("specimen", "coating")
    return Blank(
        rows=rows,
        once=("oil", "load", "stroke", "frequency", "temperature", "run_in", "honing"),
        tables=(
            PaperTable("Specimens, in their order", shown, ("date", "lot", "liner", "forces", "remark"), rows),
            PaperTable("Wear", shown, ("sliding", "scar_volume"), rows),
        ),
        units={
            "load": "N", "stroke": "mm", "frequency": "Hz", "temperature": "degC", "run_in": "min", "sliding": "min",
            "scar_volume": "mm3",
        },
        needed=("specimen", "coating", "oil", "load", "stroke", "frequency", "temperature"),
        steps=(
            f"The order of coatings is drawn by lot with the seed “{seed}”: a drift of the rig then hits all alike.",
            "A specimen is a ring segment and a piece of liner, neither run before. Two runs of one specimen are one.",
            "Write down load, stroke, frequency, temperature and oil of each: without one of them nothing is told.",
            "Record the force both ways with its sign. Read the cell without load before and after: one way alone, or "
            "a mean magnitude, is wrong by its zero.",
            "State the time constant of running-in before the run, and run on well past four of it.",
        ),
    )  # fmt: skip
