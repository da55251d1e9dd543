"""What a build sheet may say: numbers of a ring, of a bore, or both, before and after the test.

Limits catch slips of unit and of pen, and a zero written for "not measured"; they are wide and judge no part.
"""

from __future__ import annotations

from math import pi

from sitegen.tables.rows import Recorded, Written
from sitegen.vocabulary import Field

BUOYANCY = ("ignored", "corrected")


def _length(name: str, title: str, low: float, high: float, told: str = "", by: str = "") -> Field:
    return Field(name, title, "number", "m", "length", low=low, high=high, help=told, by=by)


FIELDS: tuple[Field, ...] = (
    Field("reading", "Reading", "id", help="An id of its own; left out, the name of the file and the line make it."),
    Field("engine", "Build", "id", refers="engine", required=True, help="Id of the build."),
    Field("cylinder", "Cylinder", "integer", refers="cylinder", required=True),
    Field("phase", "Phase", "id", refers="phase", required=True, help="Before the test or at teardown, for instance."),
    Field(
        "ring",
        "Ring",
        "word",
        words=("top", "second", "oil"),
        help="Needed beside every number of a ring.",
        beforehand=True,
    ),
    Field("repeat", "Repeat", "integer", low=1, high=99, beforehand=True),
    _length("gap_gauge", "End gap in the ring gauge", 1e-5, 5e-3, "Closed in a gauge of the nominal bore.", "tool_gap"),
    _length("gap_bore", "End gap in the bore", 1e-5, 5e-3, "In its own cylinder, where the ring works.", "tool_gap"),
    Field(
        "gap_angle", "Gap angle", "number", "rad", "angle", low=-2 * pi, high=2 * pi, help="From the crankshaft's axis."
    ),
    Field("joint", "Joint", "word", words=("straight", "lapped", "angled"), help="Shape of the ring's ends."),
    _length("chamfer", "End chamfer", 0, 1e-3, "Of each end at the running face."),
    Field("mass", "Mass", "number", "kg", "mass", low=1e-4, high=1.0, help="Cleaned and dry.", by="tool_mass"),
    Field(
        "cleaning",
        "Cleaning before weighing",
        "text",
        help="What with, how long, how dried: the same both times.",
        example="heptane, ultrasonic, 10 min, dried at 60 degC",
    ),
    Field(
        "buoyancy", "Buoyancy of air", "word", words=BUOYANCY, help="Whether the masses written are corrected for it."
    ),
    Field("tension", "Tension", "number", "N", "force", low=0.1, high=500, help="Tangential.", by="tool_tension"),
    _length("radial_thickness", "Radial thickness", 1e-4, 2e-2),
    _length(
        "land_diameter", "Diameter of the land below", 1e-2, 1.0, "Of the land below that ring: its clearance leaks."
    ),
    _length("groove_width", "Groove width", 1e-4, 2e-2, "Axial."),
    _length("bore", "Bore", 1e-2, 1.0, by="tool_bore"),
    _length("bore_height", "Height in the bore", 0, 2.0, "Below the deck."),
    Field(
        "bore_angle",
        "Angle in the bore",
        "number",
        "rad",
        "angle",
        low=-2 * pi,
        high=2 * pi,
        help="From the crankshaft's axis.",
    ),
    Field("honing", "Honing", "text", example="plateau, two steps"),
    Field("tool_gap", "Tool of the gaps", "id", refers="tool", example="feeler-1"),
    Field("tool_mass", "Tool of the mass", "id", refers="tool", example="balance-1"),
    Field("tool_bore", "Tool of the bore", "id", refers="tool", example="bore-gauge-1"),
    Field("tool_tension", "Tool of the tension", "id", refers="tool", example="tension-1"),
    Field("date", "Date", "date", help="Day of the reading; decides whether the tools' calibration was in force."),
    Field("operator", "Operator", "text", beforehand=True),
    Field("remark", "Remark", "text"),
)


class Reading(Recorded):
    """One reading, with the fields above as attributes."""

    __slots__ = ()
    cylinder: float
    ring: Written
    repeat: float
    gap_gauge: float
    gap_bore: float
    gap_angle: float
    joint: Written
    chamfer: float
    mass: float
    cleaning: Written
    buoyancy: Written
    tension: float
    radial_thickness: float
    land_diameter: float
    groove_width: float
    bore: float
    bore_height: float
    bore_angle: float
    honing: Written
    tool_gap: Written
    tool_mass: Written
    tool_bore: Written
    tool_tension: Written
    date: Written
    operator: Written
    remark: Written
