"""Pressure decay: a cylinder at rest is charged and closed; how fast it empties, beside its leak-down."""

from __future__ import annotations

from sitegen.declarations import Stream, table_entry
from sitegen.streams.decay.blank import blank
from sitegen.streams.decay.fields import FIELDS
from sitegen.streams.decay.measures import AREA
from sitegen.streams.decay.read import read
from sitegen.streams.decay.sections import OF_CYLINDER, SECTIONS
from sitegen.streams.decay.smallest import by_repeats, smallest
from sitegen.streams.decay.steps import SCATTER, STEP

STREAM = Stream(
    name="decay",
    title="pressure decay",
    order=23,
    fields=FIELDS,
    read=read,
    entry=table_entry("Pressure decays", "One table of pressure decays, a row a sample"),
    steps=(SCATTER, STEP),
    sections=SECTIONS,
    of_cylinder=OF_CYLINDER,
    recorded=(AREA.id,),
    smallest=smallest,
    by_repeats=by_repeats,
    blank=blank,
    cautions=(
        "Isolate fuel or gas and ignition and lock them out before the plugs come out (in the United States: 29 CFR "
        "1910.147).",
        "A cylinder under pressure can turn the crankshaft: lock it with what the engine's maker provides, fitted "
        "before the pressure and out before anything is turned. No bar, wrench or hand is on it, and nobody in the "
        "plane of fan, belt or flywheel. A closed cylinder holds its pressure after the supply is off: vent it, and "
        "see the gauge at zero, before a fitting is opened.",
        "Hose, fittings and sensor rated above the supply; pressure raised slowly; eye protection.",
        "Local codes, licensed practice, the site's rules and its competent person come first.",
    ),
)
