"""What a record of engine friction may say: a row is one speed of a driven run, or one run down with its file.

A run down has a file of its own and a row in the table: that is what a logger exports and a log book holds, and the
speeds of eighteen runs at 1 kHz would burst any table. Limits catch slips of unit and of pen.
"""

from __future__ import annotations

from math import pi

from sitegen.tables.rows import Recorded, Written
from sitegen.vocabulary import Field

MOTORED, COAST = "motored", "coast-down"
RPM = pi / 30  # rad/s

FIELDS: tuple[Field, ...] = (
    Field("reading", "Reading", "id", help="An id of its own; left out, the name of the file and the line make it."),
    Field("engine", "Build", "id", refers="engine", required=True, help="Id of the build."),
    Field("phase", "Phase", "id", refers="phase", required=True, help="The phase it was driven in."),
    Field("method", "Method", "word", words=(MOTORED, COAST), required=True, beforehand=True,
          help="motored: driven, torque read at speeds held; coast-down: left to itself, speed read over time."),
    Field("date", "Date", "date", required=True, help="Day of the run: the runs of one day are one replicate."),
    Field("run", "Run", "integer", low=1, high=999, required=True, beforehand=True,
          help="Number of the run that day, in their order."),
    Field("variant", "Variant", "text", beforehand=True, example="oil A",
          help="What was changed between days and is to be compared within one build, such as the oil."),
    Field("speed", "Speed", "number", "rad/s", "speed", low=1, high=3000, beforehand=True, help="Held; motored only."),
    Field("torque", "Torque", "number", "N m", "torque", low=-1e4, high=1e4, by="instrument",
          help="That drives the engine; motored only. Where a bench writes it below zero, all of a file is."),
    Field("run_down", "File of the run down", "text", example="coast/b1-1.csv",
          help="File with the speed over time inside the program's folder; coast-down only. Text, 50 samples a second "
          "or more."),
    Field("time_column", "Time column", "text", example="Time", help="Header in that file; left out, found."),
    Field("speed_column", "Speed column", "text", example="n", help="Header in that file; left out, found."),
    Field("time_unit", "Unit of time", "text", example="s", help="Where the file says none."),
    Field("speed_unit", "Unit of speed", "text", example="rpm", help="Where the file says none."),
    Field("inertia", "Inertia", "number", "kg m2", "moment of inertia", low=0, high=1e4,
          help="Of all that turns in the run down; left out, as the program states."),
    Field("inertia_error", "Uncertainty of the inertia", "number", "kg m2", "moment of inertia", low=0, high=1e4,
          help="Standard uncertainty; left out, as the program states."),
    Field("oil_temperature", "Oil temperature", "number", "K", "temperature", low=250, high=480, required=True,
          help="In the gallery, at the run."),
    Field("coolant_temperature", "Coolant temperature", "number", "K", "temperature", low=250, high=420),
    Field("oil", "Oil", "text", beforehand=True, example="gas-40",
          help="Id of the oil in the engine; left out, that of the build."),
    Field("plugs", "Plugs", "word", words=("in", "out"), beforehand=True, help="Whether the cylinders compress."),
    Field("throttle", "Throttle", "word", words=("open", "closed"), beforehand=True),
    Field("instrument", "Torque cell", "id", refers="tool", help="Id of the torque cell.", example="torque-1"),
    Field("operator", "Operator", "text", beforehand=True),
    Field("remark", "Remark", "text"),
)  # fmt: skip


class Reading(Recorded):
    """One reading, with the fields above as attributes."""

    __slots__ = ()
    method: str
    date: str
    run: float
    variant: Written
    speed: float
    torque: float
    run_down: Written
    time_column: Written
    speed_column: Written
    time_unit: Written
    speed_unit: Written
    inertia: float
    inertia_error: float
    oil_temperature: float
    coolant_temperature: float
    oil: Written
    plugs: Written
    throttle: Written
    instrument: Written
    operator: Written
    remark: Written
