"""What an index of traces asks for before anybody has traced."""

from __future__ import annotations

from sitegen.program.model import Build, Phase, Program
from sitegen.streams.surfaces.steps import LEAST_TRACES
from sitegen.vocabulary import Blank, PaperTable

_ANGLES = (20, 90, 180, 270, 340)  # degrees from the gap: near both ends, where a ring wears most, and between


def blank(program: Program, build: Build, phase: Phase) -> Blank:
    """The empty index of one build: traces of a place of the bore, and of the ring at several angles, a cylinder."""
    del phase
    rows = []
    for cylinder in program.planned_cylinders(build, "surfaces"):
        rows += [
            {"cylinder": str(cylinder), "part": "bore", "repeat": str(repeat)} for repeat in range(1, LEAST_TRACES + 1)
        ]
        rows += [{"cylinder": str(cylinder), "part": "top-ring", "angle": str(angle)} for angle in _ANGLES]
    return Blank(
        rows=rows,
        once=("date", "operator", "instrument", "tip", "cutoff", "cutoff_short", "flank"),
        tables=(
            PaperTable(
                "What is traced",
                ("cylinder", "part", "angle", "repeat"),
                ("side", "height", "trace", "unswept_to", "swept_from", "remark"),
                [*rows, {}, {}, {}, {}],
            ),
        ),
        units={
            "angle": "deg", "unswept_to": "mm", "swept_from": "mm", "tip": "um", "cutoff": "mm", "cutoff_short": "um",
            "flank": "mm", "evaluation": "mm", "step": "um",
        },
        steps=(
            f"At least {LEAST_TRACES} traces a place, side by side: one alone tells no wear. The same places before "
            "and after, with the same tip and cutoffs.",
            "At the top reversal begin in the band no ring ever ran over, cleaned of carbon: the step down from it is "
            "the wear.",
            "Across the ring face trace from edge to edge; the unworn flanks hold the two states together.",
        ),
    )  # fmt: skip
