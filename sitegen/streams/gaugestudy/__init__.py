"""Gauge studies: several operators read the same cylinders and leak standards, and what each adds to the scatter."""

from __future__ import annotations

from sitegen.declarations import Stream, table_entry
from sitegen.streams.gaugestudy.blank import blank
from sitegen.streams.gaugestudy.fields import FIELDS
from sitegen.streams.gaugestudy.read import read
from sitegen.streams.gaugestudy.sections import SECTIONS
from sitegen.streams.gaugestudy.smallest import by_study
from sitegen.streams.gaugestudy.steps import STEP

STREAM = Stream(
    name="gaugestudy",
    title="gauge study",
    order=21,
    fields=FIELDS,
    read=read,
    entry=table_entry("Gauge study", "One table of a gauge study"),
    steps=(STEP,),
    sections=SECTIONS,
    by_repeats=by_study,
    blank=blank,
    cautions=(
        "The cautions of the leak-down sheet hold for every reading: fuel or gas and ignition locked out, nobody at "
        "fan, belt or flywheel, no bar on a crankshaft under pressure, eye protection.",
    ),
)
