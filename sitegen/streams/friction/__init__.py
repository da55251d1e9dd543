"""Engine friction: whole engines driven or running down at one oil temperature, as mean effective pressure, by days."""

from __future__ import annotations

from sitegen.declarations import Stream, table_entry
from sitegen.streams.friction.blank import blank
from sitegen.streams.friction.fields import FIELDS
from sitegen.streams.friction.measures import DAY
from sitegen.streams.friction.read import again, read
from sitegen.streams.friction.sections import SECTIONS
from sitegen.streams.friction.smallest import smallest
from sitegen.streams.friction.steps import OF_DAYS, SCATTER, STEP

STREAM = Stream(
    name="friction",
    title="engine friction",
    order=46,
    fields=FIELDS,
    read=read,
    again=again,
    entry=table_entry("Engine friction", "One table of driven runs and run downs", "friction"),
    steps=(OF_DAYS, SCATTER, STEP),
    sections=SECTIONS,
    recorded=(DAY.id,),
    whole=True,
    smallest=smallest,
    blank=blank,
    cautions=(
        "A driven engine turns though it is off: fuel or gas and ignition isolated and locked out (29 CFR 1910.147), "
        "guards closed, nobody in the plane of what turns, the drive's trips tried first.",
        "Plugs out: oil and rags are thrown out of open holes; they are covered, and nobody looks in.",
        "Oil and coolant are hot. Oil pressure is watched: below its limit the drive stops.",
    ),
)
