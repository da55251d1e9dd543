"""Bench rig: friction and wear of ring and liner specimens under stated conditions, the specimen as unit."""

from __future__ import annotations

from sitegen.declarations import Stream, table_entry
from sitegen.streams.rig.blank import blank
from sitegen.streams.rig.fields import FIELDS
from sitegen.streams.rig.read import read
from sitegen.streams.rig.sections import SECTIONS
from sitegen.streams.rig.smallest import by_specimens, smallest
from sitegen.streams.rig.steps import STEP

STREAM = Stream(
    name="rig",
    title="bench rig",
    order=70,
    fields=FIELDS,
    read=read,
    entry=table_entry("Bench rig", "One table of specimens run on a reciprocating rig", "rig"),
    steps=(STEP,),
    sections=SECTIONS,
    smallest=smallest,
    by_repeats=by_specimens,
    blank=blank,
    cautions=(
        "Guards closed before the drive starts; nobody reaches between specimen holder and liner while it can move. "
        "Load off and drive locked out before a specimen is changed.",
        "The contact and the oil are hot enough to burn; solvent for cleaning is kept from the heater, the room aired.",
    ),
)
