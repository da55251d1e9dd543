"""Layers: their thickness on rings of a lot, by ball crater or section, before the others run."""

from __future__ import annotations

from sitegen.declarations import Stream, table_entry
from sitegen.streams.layers.blank import blank
from sitegen.streams.layers.fields import FIELDS
from sitegen.streams.layers.read import read
from sitegen.streams.layers.sections import SECTIONS
from sitegen.streams.layers.steps import STEP

STREAM = Stream(
    name="layers",
    title="layer thickness",
    order=12,
    fields=FIELDS,
    read=read,
    entry=table_entry("Layer record", "One record of layers"),
    steps=(STEP,),
    sections=SECTIONS,
    blank=blank,
    cautions=(
        "Grinding and polishing throw slurry and splinters: eye protection, no loose sleeves; what mounts and etches a "
        "section burns and harms skin and lungs: ventilation, gloves. Ring edges and splinters are sharp.",
    ),
)
