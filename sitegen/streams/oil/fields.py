"""What an oil record may say: a row is a sample (or one element of a sample), or something done to the oil.

Limits catch slips of unit and of pen; they are wide and judge no oil.
"""

from __future__ import annotations

from sitegen.methods import elements
from sitegen.tables.rows import Recorded, Written
from sitegen.vocabulary import Field

SAMPLE, FILL, TOP_UP, DRAIN, FILTER = "sample", "fill", "top-up", "drain", "filter"
DRAW_POINTS = ("dipstick", "drain-plug", "sampling-valve", "sump")
CONDITION = ("viscosity_40", "viscosity_100", "acid_number", "base_number", "oxidation", "nitration", "fuel", "soot",
             "water")  # fmt: skip


def _number(name: str, title: str, most: float, told: str = "") -> Field:
    return Field(name, title, "number", low=0, high=most, help=told)


CUSTODY = ("sealed", "sent", "received", "analysed", "retained_until", "kept")  # of a sample, once it is drawn
CHROMATOGRAPHY = "chromatography"  # the one method whose fuel enters the balance of oil
FUEL_METHODS = (CHROMATOGRAPHY, "viscosity", "flash-point", "other")


def _share(name: str, title: str) -> Field:
    return Field(name, title, "number", "%", "ratio", low=0, high=100)


FIELDS: tuple[Field, ...] = (
    Field("reading", "Reading", "id", help="An id of its own; left out, the name of the file and the line make it."),
    Field("engine", "Build", "id", refers="engine", required=True, help="Id of the build."),
    Field("phase", "Phase", "id", refers="phase", required=True, help="The phase it was drawn or done in."),
    Field(
        "what",
        "What",
        "word",
        words=(SAMPLE, FILL, TOP_UP, DRAIN, FILTER),
        required=True,
        help="A sample, or what was done: filled, topped up, drained, filter changed.",
        beforehand=True,
    ),
    Field(
        "sample",
        "Sample",
        "id",
        help="Id of the sample; rows of one sample share it. Left out, build, date and hours make it.",
        beforehand=True,
    ),
    Field(
        "hours",
        "Hours",
        "number",
        "s",
        "time",
        low=0,
        high=3.6e8,
        help="Running time since the cold build. Left out: a fill at the beginning of its phase, all else at its end; "
        "a top-up needs it.",
    ),
    Field(
        "on_fill", "Hours on the fill", "number", "s", "time", low=0, high=3.6e8, help="Running time since the fill."
    ),
    Field("since_shutdown", "Since shutdown", "number", "s", "time", low=0, high=1e6, help="Of a sample."),
    Field("draw_point", "Draw point", "word", words=DRAW_POINTS, help="Where a sample was drawn.", beforehand=True),
    Field("laboratory", "Laboratory", "id", refers="laboratory", help="Id of the laboratory."),
    Field(
        "batch",
        "Batch",
        "text",
        help="Samples analysed together, on one day, share it.",
        beforehand=True,
        example="2026-07",
    ),
    Field(
        "mass", "Mass", "number", "kg", "mass", low=0, high=2e3, help="Of the oil filled, topped up, drained, drawn."
    ),
    Field("volume", "Volume", "number", "m3", "volume", low=0, high=2.0, help="In place of the mass."),
    Field(
        "density", "Density", "number", "kg/m3", "density", low=600, high=1200, help="With which a volume is weighed."
    ),
    Field(
        "element",
        "Element",
        "word",
        words=tuple(elements.ALL),
        help="Of a table with a row for each element.",
        beforehand=True,
    ),
    Field(
        "concentration",
        "Concentration",
        "bounded",
        "1",
        "mass fraction",
        high=0.05,
        help="Of that element.",
    ),
    Field(
        "metal",
        "Metal in the filter",
        "number",
        "kg",
        "mass",
        low=0,
        high=1.0,
        help="Of that element, found in a filter taken out.",
    ),
    *(
        Field(symbol, symbol, "bounded", "1", "mass fraction", high=0.05, help=f"Mass fraction of {name}.")
        for symbol, name in elements.ALL.items()
    ),
    Field("viscosity_40", "Viscosity at 40 °C", "number", "m2/s", "kinematic viscosity", low=1e-6, high=5e-3),
    Field("viscosity_100", "Viscosity at 100 °C", "number", "m2/s", "kinematic viscosity", low=1e-6, high=5e-4),
    _number("acid_number", "Acid number", 50, "In mg KOH/g."),
    _number("base_number", "Base number", 100, "In mg KOH/g."),
    _number("oxidation", "Oxidation", 500, "In A/cm."),
    _number("nitration", "Nitration", 500, "In A/cm."),
    Field("fuel", "Fuel", "bounded", "%", "ratio", low=0, high=100, help="Mass of fuel in the oil, of it all."),
    Field(
        "fuel_method",
        "Fuel found by",
        "word",
        words=FUEL_METHODS,
        help="Only what chromatography found is taken off the oil lost; all else hints.",
        beforehand=True,
    ),
    _share("soot", "Soot"),
    _share("water", "Water"),
    Field(
        "particles",
        "Particles",
        "text",
        help="Code of the particle count as the laboratory gives it.",
        example="18/16/13",
    ),
    Field("date", "Date", "date"),
    Field("by", "By", "text", beforehand=True),
    Field("sealed", "Sealed", "yes-no", help="Whether the bottle was sealed when it was drawn."),
    Field("sent", "Sent", "date", help="Day the sample left for the laboratory."),
    Field("received", "Received", "date", help="Day the laboratory had it."),
    Field("analysed", "Analysed", "date", help="Day it was analysed."),
    Field("retained_until", "Retained until", "date", help="Until when the second bottle is kept.", ahead=True),
    Field("kept", "Kept at", "text", help="Where the second bottle is kept.", example="shelf 2"),
    Field("remark", "Remark", "text"),
)


class Reading(Recorded):
    """One reading, with the fields above as attributes; those of elements are read by symbol: `Fe`, `Fe_mark` ..."""

    __slots__ = ()
    what: str
    sample: Written
    hours: float
    on_fill: float
    since_shutdown: float
    draw_point: Written
    laboratory: Written
    batch: Written
    mass: float
    volume: float
    density: float
    element: Written
    concentration: float
    concentration_mark: str
    metal: float
    viscosity_40: float
    viscosity_100: float
    acid_number: float
    base_number: float
    oxidation: float
    nitration: float
    fuel: float
    fuel_mark: str
    fuel_method: Written
    soot: float
    water: float
    particles: Written
    date: Written
    by: Written
    sealed: Written
    sent: Written
    received: Written
    analysed: Written
    retained_until: Written
    kept: Written
    remark: Written
