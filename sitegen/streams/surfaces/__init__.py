"""Surfaces: traces of bores and ring faces before and after, and what they say of plateau, wear and contact."""

from __future__ import annotations

from sitegen.declarations import Stream, table_entry
from sitegen.streams.surfaces.blank import blank
from sitegen.streams.surfaces.fields import FIELDS
from sitegen.streams.surfaces.left import LEFT
from sitegen.streams.surfaces.measures import RK
from sitegen.streams.surfaces.read import again, read, shadow
from sitegen.streams.surfaces.sections import OF_CYLINDER, SECTIONS
from sitegen.streams.surfaces.smallest import by_repeats, smallest
from sitegen.streams.surfaces.steps import BORES, FACES, RATES

STREAM = Stream(
    name="surfaces",
    title="traces of surfaces",
    order=45,
    fields=FIELDS,
    read=read,
    entry=table_entry("Index of traces", "One index of traces", "wear"),
    again=again,
    steps=(BORES, FACES, LEFT, RATES),
    sections=SECTIONS,
    of_cylinder=OF_CYLINDER,
    recorded=(RK.id,),
    smallest=smallest,
    by_repeats=by_repeats,
    blank=blank,
    shadow=shadow,
    cautions=(
        "Solvents for cleaning bores and rings burn and harm skin and lungs: ventilation, gloves, eye protection, no "
        "flame.",
        "Edges of bores and rings are sharp: gloves. A block on its side rolls: wedge it, and lift it with tackle.",
    ),
)
