"""Which traces a list of traces to take asks for, before and after the test."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from sitegen.declarations import Blank, PaperTable
from sitegen.program.model import Build, Phase, Program
from sitegen.streams.surfaces.naming import proposed

REPEATS = 5  # at a place of a bore: fewer tell no wear from unrelated traces, see `steps.LEAST_TRACES`
# Where the top ring turns its load is highest and its band begins; between, what the ring does on the way (common
# practice, no source).
PLACES = (("thrust", "top-reversal"), ("thrust", "mid-stroke"), ("antithrust", "mid-stroke"))
ANGLES = ("20", "90", "180", "270", "340")  # deg from the gap: wear peaks at the ends, so two are near it
_STEPS = (
    "Before and after are traced alike: same places, same direction, same tip, same length. Clean and dry.",
    "Five traces at each place of a bore, side by side, a millimetre or so apart.",
    "At the reversal a trace begins in the band above that no ring ever ran on; write where along the trace that band "
    "ends and where the swept one begins.",
    "A trace of a ring runs over the whole face, from flank to flank; write how wide the unworn flanks are.",
    "Save each trace under the name given here (N is the number of the repeat), in the ending of your instrument, in "
    "the program's folder; a trace that is not there yet counts as not yet taken.",
)


def blank(program: Program, build: Build, phase: Phase) -> Blank:
    """The list of the traces of one build in one state: places of each bore, angles of each top ring."""
    bores, rings, bores_on_paper, rings_on_paper = [], [], [], []
    for cylinder in program.planned_cylinders(build, "surfaces"):
        for side, height in PLACES:
            where = {"cylinder": str(cylinder), "part": "bore", "side": side, "height": height}
            name = [proposed(build.id, phase.id, cylinder, "bore", f"{side} {height}", str(n + 1))
                    for n in range(REPEATS)]  # fmt: skip
            bores += [{**where, "repeat": str(n + 1), "trace": each} for n, each in enumerate(name)]
            no_band = {} if height == "top-reversal" else {"unswept_to": "–", "swept_from": "–"}
            bores_on_paper.append({**where, "repeat": f"1 to {REPEATS}", "trace": _any(name[0]), **no_band})
        for angle in ANGLES:
            where = {"cylinder": str(cylinder), "part": "top-ring", "angle": angle}
            row = {**where, "repeat": "1", "trace": proposed(build.id, phase.id, cylinder, "top-ring", angle, "1")}
            rings.append(row)
            rings_on_paper.append(row)
    return Blank(
        rows=[*bores, *rings],
        once=("date", "operator", "instrument", "tip", "cutoff", "cutoff_short"),
        tables=(
            _paper("Bores", ("cylinder", "side", "height", "repeat"), ("unswept_to", "swept_from"), bores_on_paper),
            _paper("Top rings", ("cylinder", "angle", "repeat"), ("flank",), rings_on_paper),
        ),
        units={
            **dict.fromkeys(("unswept_to", "swept_from", "flank", "cutoff", "evaluation"), "mm"),
            **dict.fromkeys(("cutoff_short", "tip", "step"), "um"),
            **dict.fromkeys(("stated_ra", "stated_rz", "stated_rk", "stated_rpk", "stated_rvk"), "um"),
            "angle": "deg",
        },
        steps=_STEPS,
        needed=("trace", "cylinder", "part", "side", "height", "angle", "repeat"),
    )


def _paper(title: str, known: tuple[str, ...], asked: tuple[str, ...], rows: Sequence[Mapping[str, str]]) -> PaperTable:
    return PaperTable(title, (*known, "trace"), (*asked, "remark"), rows)


def _any(name: str) -> str:
    """Name of the traces of a place, whichever the repeat."""
    stem, _, ending = name.rpartition("-1.")
    return f"{stem}-N.{ending}"
