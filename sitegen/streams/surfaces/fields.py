"""What an index of traces may say: a row is one trace of a bore or of a ring face, with the file that holds it.

What is the same for every trace of a table (tip, cutoffs, instrument) is written once, as a constant of the record.
Limits catch slips of unit and of pen; they are wide and judge no surface.
"""

from __future__ import annotations

from math import pi

from sitegen.tables.rows import Recorded, Written
from sitegen.vocabulary import Field

RINGS = {"top-ring": "top", "second-ring": "second"}  # part -> ring, as build sheets name it
PARTS = ("bore", *RINGS)
SIDES = ("thrust", "antithrust", "front", "rear")
HEIGHTS = ("top-reversal", "mid-stroke", "bottom-reversal")
BY_INSTRUMENT = "by-instrument"
FILTERS = ("robust-gaussian", "two-step", BY_INSTRUMENT)  # ISO 16610-31; ISO 13565-1, for comparison with older values
LINES = ("least-squares", "secant")  # of the Rk family
STATED = ("ra", "rz", "rk", "rpk", "rvk")  # results of the instrument that are held against ours


def _length(name: str, title: str, low: float, high: float, told: str = "", by: str = "") -> Field:
    return Field(name, title, "number", "m", "length", low=low, high=high, help=told, by=by)


FIELDS: tuple[Field, ...] = (
    Field("reading", "Reading", "id", help="An id of its own; left out, the name of the file and the line make it."),
    Field(
        "trace",
        "Trace",
        "text",
        required=True,
        help="The trace file, written from the program's folder.",
        example="traces/b1-2-thrust.csv",
        by="instrument",
    ),
    Field("engine", "Build", "id", refers="engine", required=True, help="Id of the build."),
    Field("cylinder", "Cylinder", "integer", refers="cylinder", required=True),
    Field("phase", "Phase", "id", refers="phase", required=True, help="State of the part: before the test, teardown."),
    Field("part", "Part", "word", words=PARTS, required=True, beforehand=True),
    Field("side", "Side", "word", words=SIDES, help="Of the bore.", beforehand=True),
    Field(
        "height",
        "Height",
        "word",
        words=HEIGHTS,
        help="Of the bore: at a reversal of the top ring, or between.",
        beforehand=True,
    ),
    Field(
        "angle", "Angle from the gap", "number", "rad", "angle", low=0, high=2 * pi, help="Of a ring.", beforehand=True
    ),
    Field("repeat", "Repeat", "integer", low=1, high=99, help="Traces side by side at one place.", beforehand=True),
    _length("unswept_to", "End of the unswept band", 0, 1, "Along the trace: up to here no ring ever ran."),
    _length("swept_from", "Beginning of the swept band", 0, 1, "Along the trace: from here on the ring ran."),
    _length("flank", "Width of a flank", 1e-5, 1e-2, "Of a ring face: unworn at either edge."),
    _length("cutoff", "Cutoff", 1e-5, 1e-2, "Long-wave cutoff λc of the roughness."),
    _length("cutoff_short", "Short cutoff", 1e-7, 1e-4, "λs, where the instrument applied it."),
    Field(
        "filter",
        "Filter",
        "word",
        words=FILTERS,
        help="Of the roughness: left out, the robust Gaussian (ISO 16610-31); two-step (ISO 13565-1) for old values; "
        "by-instrument where the trace holds heights the instrument has already filtered.",
    ),
    _length("evaluation", "Evaluation length", 1e-5, 1e-1, "Roughness is evaluated over it; left out, five cutoffs."),
    _length("tip", "Tip radius", 1e-7, 1e-4, "Of the stylus."),
    Field(
        "instrument", "Instrument", "id", refers="tool", help="A tool of kind profilometer.", example="profilometer-1"
    ),
    Field(
        "sheet",
        "Worksheet",
        "text",
        help="Of a trace in a workbook, where more than one holds rows of numbers.",
        example="Trace 1",
    ),
    Field("section", "Section", "integer", low=1, high=9999, help="Which trace of a file that holds several, from 1."),
    Field(
        "x",
        "Header of x",
        "text",
        help="Where the trace's own headers do not tell; of XML, the name of an element.",
        example="X",
    ),
    Field("z", "Header of z", "text", help="The same of the heights.", example="Z"),
    Field(
        "valid",
        "Header of the validity flag",
        "text",
        help="Points whose flag is not above zero are not used.",
        example="Valid",
    ),
    Field("x_unit", "Unit of x", "text", help="Where the trace does not say it.", example="mm"),
    Field("z_unit", "Unit of z", "text", example="um"),
    _length("step", "Step", 1e-9, 1e-3, "Between points of a trace that holds heights only."),
    *(
        _length(f"stated_{name}", f"Stated R{name[1:]}", 0, 1e-3, "Result of the instrument.", "instrument")
        for name in STATED
    ),
    Field(
        "stated_line",
        "Line of the stated Rk family",
        "word",
        words=LINES,
        help="How it draws the line of the Rk family in the window of least slope: least-squares (ISO 13565-2; left "
        "out, taken as this) or secant.",
    ),
    Field("date", "Date", "date"),
    Field("operator", "Operator", "text", beforehand=True),
    Field("remark", "Remark", "text"),
)


class Reading(Recorded):
    """One reading, with the fields above as attributes."""

    __slots__ = ()
    trace: str
    cylinder: float
    part: str
    side: Written
    height: Written
    angle: float
    repeat: float
    unswept_to: float
    swept_from: float
    flank: float
    cutoff: float
    cutoff_short: float
    filter: Written
    evaluation: float
    tip: float
    instrument: Written
    sheet: Written
    section: float
    x: Written
    z: Written
    valid: Written
    x_unit: Written
    z_unit: Written
    step: float
    stated_ra: float
    stated_rz: float
    stated_rk: float
    stated_rpk: float
    stated_rvk: float
    stated_line: Written
    date: Written
    operator: Written
    remark: Written
