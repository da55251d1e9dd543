"""What a record of pulls may say: a row is one speed of one pull. Limits catch slips of unit and of pen."""

from __future__ import annotations

from math import pi

from sitegen.methods.reference_air import STANDARDS
from sitegen.tables.rows import Recorded, Written
from sitegen.vocabulary import Field

AS_READ = "as-read"
STATION, SEA_LEVEL = "station", "sea-level"


def word_of(standard: str) -> str:
    """A standard as records write it.

    >>> word_of("ISO 3046-1")
    'iso-3046-1'
    """
    return standard.lower().replace(" ", "-")


def _degrees(name: str, title: str, low: float, high: float, told: str = "") -> Field:
    return Field(name, title, "number", "K", "temperature", low=low, high=high, help=told)


FIELDS: tuple[Field, ...] = (
    Field("reading", "Reading", "id", help="An id of its own; left out, the name of the file and the line make it."),
    Field("engine", "Build", "id", refers="engine", required=True, help="Id of the build."),
    Field("phase", "Phase", "id", refers="phase", required=True, help="The phase it was pulled in."),
    Field("date", "Date", "date", required=True, help="Day of the pull: the pulls of one day are one replicate."),
    Field("log", "Log", "text", example="logs/B1_pulls.csv",
          help="Run log that holds the pulls of the day, a file named under `runlog`: they are found in it, and the "
          "row states what it does not, such as the variant, inertia or the air."),
    Field("pull", "Pull", "integer", low=1, high=999, beforehand=True,
          help="Number of the pull that day, in the order they were run; the first warms up and is in no mean. With a "
          "log: the one of it that the row speaks of; left out, all that no other row speaks of."),
    Field("variant", "Variant", "text", beforehand=True, example="oil A",
          help="What was changed between days and is to be compared within one build, such as the oil."),
    Field("speed", "Speed", "number", "rad/s", "speed", low=1, high=3000, beforehand=True,
          help="Left out, with torque, where a log is named."),
    Field("torque", "Torque", "number", "N m", "torque", low=0, high=1e5, help="At full load.", by="instrument"),
    Field("corrected_to", "Corrected to", "word", words=(AS_READ, *map(word_of, STANDARDS)), beforehand=True,
          help="Where the bench has corrected already: to which standard. Left out: as read."),
    Field("ramp", "Ramp", "number", "rad/s2", "angular acceleration", low=0, high=2000,
          help="Rate of a sweep; left out or zero: held at each speed."),
    Field("inertia", "Inertia", "number", "kg m2", "moment of inertia", low=0, high=1e4,
          help="Of all that turns with engine and brake; left out: as the program states."),
    Field("compensated", "Compensated", "yes-no", help="Whether the bench adds what speeds the masses up."),
    Field("barometer", "Barometer", "number", "Pa", "absolute pressure", low=50e3, high=115e3,
          help="At the cell, not reduced to the level of the sea."),
    Field("barometer_at", "Barometer at", "word", words=(STATION, SEA_LEVEL),
          help="sea-level: as a weather service reports it; nothing is corrected by it. Left out: station."),
    _degrees("inlet", "Inlet temperature", 220, 380, "Of the air the engine breathes."),
    Field("inlet_at", "Inlet at", "text", beforehand=True, example="air filter", help="Where that was measured."),
    Field("humidity", "Humidity", "number", "%", "ratio", low=0, high=100, help="Relative."),
    _degrees("humidity_at", "Humidity at", 220, 380, "Temperature of the air where humidity was read, if not inlet."),
    _degrees("oil", "Oil", 250, 480), _degrees("coolant", "Coolant", 250, 420),
    Field("fuel_lot", "Fuel lot", "text", beforehand=True, example="0417"),
    Field("instrument", "Torque cell", "id", refers="tool", help="Id of the torque cell.", example="torque-1"),
    Field("operator", "Operator", "text", beforehand=True),
    Field("remark", "Remark", "text"),
)  # fmt: skip
RPM = pi / 30  # rad/s


class Reading(Recorded):
    """One reading, with the fields above as attributes."""

    __slots__ = ()
    date: str
    log: Written
    pull: float
    variant: Written
    speed: float
    torque: float
    corrected_to: Written
    ramp: float
    inertia: float
    compensated: Written
    barometer: float
    barometer_at: Written
    inlet: float
    inlet_at: Written
    humidity: float
    humidity_at: float
    oil: float
    coolant: float
    fuel_lot: Written
    instrument: Written
    operator: Written
    remark: Written
