"""What a record of layers may say: a row is one layer at one place of one ring, a ring cut for its lot or one built in.

Limits catch slips of unit and of pen; they are wide and judge no layer.
"""

from __future__ import annotations

from math import pi

from sitegen.tables.rows import Recorded, Written
from sitegen.vocabulary import Field

CRATER, SECTION = "crater", "section"


def _length(name: str, title: str, low: float, high: float, told: str, by: str = "") -> Field:
    return Field(name, title, "number", "m", "length", low=low, high=high, help=told, by=by)


FIELDS: tuple[Field, ...] = (
    Field("reading", "Reading", "id", help="An id of its own; left out, the name of the file and the line make it."),
    Field("engine", "Build", "id", refers="engine", help="Of a ring that is built in: id of its build."),
    Field("cylinder", "Cylinder", "integer", refers="cylinder", help="Of a ring that is built in."),
    Field("phase", "Phase", "id", refers="phase", help="The check it was measured at, before the ring ran."),
    Field("lot", "Lot", "text", beforehand=True, help="Of a ring cut for its lot: the lot, as builds name it.",
          example="L-0417"),
    Field("ring", "Ring", "text", beforehand=True, help="Which ring of the lot: layers differ from ring to ring.",
          example="3"),
    Field("layer", "Layer", "text", required=True, beforehand=True, help="Name of the layer in the definitions.",
          example="running-in"),
    Field("method", "Method", "word", words=(CRATER, SECTION), required=True, beforehand=True,
          help="crater: ground with a ball. section: cut, polished and measured under the microscope."),
    Field("angle", "Angle from the gap", "number", "rad", "angle", low=0, high=2 * pi, beforehand=True),
    Field("repeat", "Repeat", "integer", low=1, high=99, beforehand=True, help="Of readings of one place."),
    _length("ball", "Ball diameter", 1e-3, 0.1, "Of a crater: diameter of the ball."),
    _length("face_radius", "Radius of the face", 1e-3, 1.0,
            "Of a crater on a convex face: its radius along the diameters read, half the bore around the ring; left "
            "out, it is flat."),
    _length("outer", "Outer diameter", 1e-5, 1e-2, "Of a crater: where the layer begins.", "instrument"),
    _length("inner", "Inner diameter", 1e-6, 1e-2, "Of a crater: where the layer ends.", "instrument"),
    _length("thickness", "Thickness", 5e-8, 5e-4, "Of a section: thickness of the layer.", "instrument"),
    Field("instrument", "Instrument", "id", refers="tool", help="The microscope the lengths were read with.",
          example="microscope-1"),
    Field("date", "Date", "date"),
    Field("operator", "Operator", "text", beforehand=True),
    Field("remark", "Remark", "text"),
)  # fmt: skip


class Reading(Recorded):
    """One reading, with the fields above as attributes."""

    __slots__ = ()
    engine: Written  # type: ignore[assignment] # a ring cut for its lot is in none
    phase: Written  # type: ignore[assignment]
    cylinder: float
    lot: Written
    ring: Written
    layer: str
    method: str
    angle: float
    repeat: float
    ball: float
    face_radius: float
    outer: float
    inner: float
    thickness: float
    instrument: Written
    date: Written
    operator: Written
    remark: Written
