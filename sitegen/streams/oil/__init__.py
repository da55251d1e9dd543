"""Oil: metal made, oil consumed, where the metal came from, and whether the laboratory can tell."""

from __future__ import annotations

from sitegen.declarations import Stream, table_entry
from sitegen.streams.oil.blank import blank
from sitegen.streams.oil.fields import FIELDS
from sitegen.streams.oil.hours import STEP as OVER_HOURS
from sitegen.streams.oil.measures import CONCENTRATION
from sitegen.streams.oil.reach import REACH
from sitegen.streams.oil.read import read
from sitegen.streams.oil.sections import OF_BUILD, SECTIONS, unusual
from sitegen.streams.oil.smallest import smallest
from sitegen.streams.oil.steps import BALANCE, NEXT_BUILD, SAMPLES

STREAM = Stream(
    name="oil",
    title="oil sample",
    order=50,
    fields=FIELDS,
    read=read,
    entry=table_entry("Oil records", "One table of oil samples, or of what was filled, topped up and drained", "oil"),
    steps=(SAMPLES, BALANCE, NEXT_BUILD, REACH, OVER_HOURS),
    sections=SECTIONS,
    unusual=unusual,
    of_build=OF_BUILD,
    recorded=(CONCENTRATION["Fe"].id,),
    whole=True,
    cautions=(
        "Hot oil and hot surfaces burn: sleeves, a face shield, and a sample drawn through a tube, not by hand.",
        "Used oil irritates the skin and can cause skin cancer (Health and Safety Executive): gloves, no "
        "oily rags in pockets, hands washed before eating. Used oil is collected, never poured away.",
    ),
    smallest=smallest,
    blank=blank,
)
