"""Compression test: cranking pressures beside leak-down, cylinder by cylinder. It enters no state of a cylinder."""

from __future__ import annotations

from sitegen.declarations import Stream, table_entry
from sitegen.streams.compression.blank import blank
from sitegen.streams.compression.fields import FIELDS
from sitegen.streams.compression.measures import PRESSURE
from sitegen.streams.compression.read import read
from sitegen.streams.compression.sections import OF_CYLINDER, SECTIONS
from sitegen.streams.compression.smallest import by_repeats, smallest
from sitegen.streams.compression.steps import SCATTER, STEP

STREAM = Stream(
    name="compression",
    title="compression test",
    order=22,
    fields=FIELDS,
    read=read,
    entry=table_entry("Compression tests", "One table of compression tests"),
    steps=(SCATTER, STEP),
    sections=SECTIONS,
    of_cylinder=OF_CYLINDER,
    recorded=(PRESSURE.id,),
    of_coatings=False,
    smallest=smallest,
    by_repeats=by_repeats,
    blank=blank,
    cautions=(
        "Fuel or gas shut off and ignition disabled before the starter turns, so that nothing can fire, locked out "
        "while hands are at the plugs (in the United States: 29 CFR 1910.147).",
        "Cranking turns shaft, belts and fan: guards on, nobody in the plane of what turns, sleeves and hair clear. "
        "Air and oil leave by open plug holes: eye protection.",
        "A wet test comes last: a few measured mL, then turned over by hand with the plugs out, since too much oil "
        "locks the piston. The oil is a top-up in the oil log.",
        "Local codes, licensed practice, the site's rules and its competent person come first.",
    ),
)
