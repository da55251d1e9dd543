"""What a record of the rig may say: a row is one specimen with the file of its forces, or the forces of some strokes.

The conditions that ASTM G181 asks for may stand in the row, or above the forces in their file. Limits catch slips of
unit and of pen.
"""

from __future__ import annotations

from sitegen.tables.rows import Recorded, Written
from sitegen.vocabulary import Field

MID, REVERSAL = "mid", "reversal"
FORWARD, BACK = "forward", "back"
CONDITIONS = ("load", "stroke", "frequency", "temperature")  # ASTM G181; oil beside them


def _force(name: str, title: str, told: str, low: float = -1e5) -> Field:
    return Field(name, title, "number", "N", "force", low=low, high=1e5, help=told)


FIELDS: tuple[Field, ...] = (
    Field("reading", "Reading", "id", help="An id of its own; left out, the name of the file and the line make it."),
    Field("specimen", "Specimen", "text", required=True, beforehand=True, example="S1",
          help="Name of the specimen: a ring segment on a piece of liner, neither used before."),
    Field("coating", "Coating", "id", refers="coating", required=True, example="graded-crn",
          help="Id of the coating of its ring."),
    Field("forces", "Forces", "text", example="rig/s1.csv",
          help="The file of its forces, written from the program's folder; left out, the row holds forces itself."),
    Field("lot", "Ring lot", "text", beforehand=True, example="N-187"),
    Field("liner", "Liner lot", "text", beforehand=True, example="L-12"),
    Field("honing", "Honing", "text", beforehand=True, example="plateau"),
    Field("oil", "Oil", "id", refers="oil", example="gas-40", help="Id of the oil that wets the specimen."),
    Field("oil_hours", "Oil hours", "number", "s", "time", low=0, high=1e8, beforehand=True,
          help="Running hours of the oil before; fresh oil has none."),
    Field("dry", "Dry", "yes-no", beforehand=True, help="Whether it ran without oil."),
    Field("load", "Load", "number", "N", "force", low=0, high=1e5, beforehand=True),
    Field("stroke", "Stroke", "number", "m", "length", low=1e-4, high=1, beforehand=True, help="From end to end."),
    Field("frequency", "Frequency", "number", "Hz", "frequency", low=0.001, high=1000, beforehand=True,
          help="Full cycles, there and back, in a second."),
    Field("temperature", "Temperature", "number", "K", "temperature", low=220, high=800, beforehand=True,
          help="Of the contact."),
    Field("area", "Contact area", "number", "m2", "area", low=1e-9, high=1e-2, beforehand=True,
          help="That the load presses on; without it there is no map."),
    Field("run_in", "Declared running-in", "number", "s", "time", low=1, high=1e6, beforehand=True,
          help="Time constant expected before the run: what lies past four of it is taken as steady."),
    _force("zero", "Zero", "Reading of the force cell without load, where forces are given without their sign."),
    Field("time", "Time", "number", "s", "time", low=0, high=1e8, help="Of these strokes, since the start."),
    Field("count", "Count", "integer", low=0, high=10**10,
          help="Strokes since the start, each way one, where no time is given."),
    Field("stroke_class", "Stroke class", "word", words=(MID, REVERSAL), help="Where along the stroke."),
    _force("forward", "Force forward", "With its sign."),
    _force("back", "Force back", "With its sign: against that forward."),
    _force("force", "Force", "With its sign, of the one way that `way` names."),
    Field("way", "Way", "word", words=(FORWARD, BACK)),
    _force("magnitude", "Mean magnitude", "Of both ways, without sign, where the rig gives no more.", 0),
    Field("sliding", "Sliding time", "number", "s", "time", low=1, high=1e8, help="Of the whole run, for its wear."),
    Field("scar_volume", "Wear volume", "number", "m3", "volume", low=0, high=1e-5,
          help="Of the wear scar, as ASTM G206 measures it."),
    Field("mass_loss", "Mass loss", "number", "kg", "mass", low=0, high=0.1,
          help="Where the volume was not measured; with the density of what wore."),
    Field("density", "Density", "number", "kg/m3", "density", low=500, high=25e3),
    Field("date", "Date", "date"),
    Field("operator", "Operator", "text", beforehand=True),
    Field("remark", "Remark", "text"),
)  # fmt: skip


class Reading(Recorded):
    """One row, with the fields above as attributes; engine and phase are empty: a specimen is in none."""

    __slots__ = ()
    engine: Written  # type: ignore[assignment]
    phase: Written  # type: ignore[assignment]
    specimen: str
    coating: str
    forces: Written
    lot: Written
    liner: Written
    honing: Written
    oil: Written
    oil_hours: float
    dry: Written
    load: float
    stroke: float
    frequency: float
    temperature: float
    area: float
    run_in: float
    zero: float
    time: float
    count: float
    stroke_class: Written
    forward: float
    back: float
    force: float
    way: Written
    magnitude: float
    sliding: float
    scar_volume: float
    mass_loss: float
    density: float
    date: Written
    operator: Written
    remark: Written
