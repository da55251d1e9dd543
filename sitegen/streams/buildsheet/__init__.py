"""Build sheet: what was measured on the parts before assembly and after teardown."""

from __future__ import annotations

from sitegen.declarations import Stream, table_entry
from sitegen.streams.buildsheet.blank import blank
from sitegen.streams.buildsheet.fields import FIELDS
from sitegen.streams.buildsheet.measures import MASS
from sitegen.streams.buildsheet.read import read
from sitegen.streams.buildsheet.sections import OF_BUILD, OF_CYLINDER, SECTIONS, unusual
from sitegen.streams.buildsheet.smallest import smallest
from sitegen.streams.buildsheet.steps import GAP_FLOOR, MEASURED, TENSIONS, WEAR, WEIGHINGS

STREAM = Stream(
    name="buildsheet",
    title="build sheet",
    order=10,
    fields=FIELDS,
    read=read,
    entry=table_entry("Table of build sheets", "One table of build sheets"),
    steps=(WEIGHINGS, MEASURED, GAP_FLOOR, WEAR, TENSIONS),
    sections=SECTIONS,
    unusual=unusual,
    of_build=OF_BUILD,
    of_cylinder=OF_CYLINDER,
    recorded=(MASS.id,),
    cautions=(
        "Ring edges are sharp and stretch: wear gloves and eye protection, and use a ring tool. Lift crankshaft and "
        "block with tackle rated for them.",
        "Parts from a used engine carry used oil, which irritates the skin and can cause skin cancer: gloves.",
    ),
    smallest=smallest,
    blank=blank,
)
