"""What an inspection may say: a row is what one inspector saw at one place of one part.

Limits catch slips of unit and of pen; they are wide and judge no part.
"""

from __future__ import annotations

from sitegen.tables.rows import Recorded, Written
from sitegen.vocabulary import Field

RINGS = ("top-ring", "second-ring")  # parts with a face that can carry a contact band
PARTS = (*RINGS, "bore", "piston")
FINDINGS = ("scuffing", "spalling", "sticking", "deposits")
WORDS = ("none", "light", "marked")  # from nothing to much
NUMBERS = ("band_share", "band_width", "grade")

_SEEN = {
    "scuffing": "Torn or smeared metal where the faces ran on each other.",
    "spalling": "Coating broken away.",
    "sticking": "Ring held in its groove.",
    "deposits": "Carbon or lacquer.",
}

FIELDS: tuple[Field, ...] = (
    Field("reading", "Reading", "id", help="An id of its own; left out, the name of the file and the line make it."),
    Field("engine", "Build", "id", refers="engine", required=True, help="Id of the build."),
    Field("cylinder", "Cylinder", "integer", refers="cylinder", required=True),
    Field("phase", "Phase", "id", refers="phase", required=True, help="Teardown, as a rule."),
    Field("part", "Part", "word", words=PARTS, required=True, beforehand=True),
    Field(
        "place",
        "Place",
        "text",
        help="Where on the part, such as back of the gap, or thrust side, top reversal.",
        example="thrust side, top reversal",
    ),
    Field(
        "inspector",
        "Inspector",
        "text",
        required=True,
        help="Who looked: agreement is told between two of them.",
        beforehand=True,
    ),
    Field(
        "repeat",
        "Repeat",
        "integer",
        low=1,
        high=99,
        help="Number of the look, where one inspector looks again.",
        beforehand=True,
    ),
    Field(
        "band_share",
        "Contact band, share of the face width",
        "number",
        "%",
        "ratio",
        low=0,
        high=100,
        help="How much of the axial width of a ring's face carries contact marks at this place.",
    ),
    Field(
        "band_width",
        "Contact band, width",
        "number",
        "m",
        "length",
        low=0,
        high=2e-2,
        help="Axial width of the contact marks on a ring's face at this place.",
    ),
    Field("grade", "Grade", "number", low=0, high=100, help="On the program's own scale: inspection, grades."),
    *(Field(each, each.capitalize(), "word", words=WORDS, help=_SEEN[each], family="finding") for each in FINDINGS),
    Field(
        "image",
        "Image",
        "text",
        help="A PNG, JPEG or TIFF file, written from the program's folder.",
        example="images/b1-2-ring.jpg",
    ),
    Field(
        "image_width",
        "Width of the image",
        "number",
        "m",
        "length",
        low=1e-6,
        high=2.0,
        help="What the whole width of the picture is in reality: the scale bar is drawn from it.",
    ),
    Field(
        "caption",
        "Caption",
        "text",
        help="Stands below the image and is read aloud in its place.",
        example="Contact band beside the gap, x 20",
    ),
    Field("date", "Date", "date"),
    Field("remark", "Remark", "text"),
)


class Reading(Recorded):
    """One reading, with the fields above as attributes."""

    __slots__ = ()
    cylinder: float
    part: str
    place: Written
    inspector: str
    repeat: float
    band_share: float
    band_width: float
    grade: float
    scuffing: Written
    spalling: Written
    sticking: Written
    deposits: Written
    image: Written
    image_width: float
    caption: Written
    date: Written
    remark: Written
