"""Power pulls: full-load torque over speed, at the reference air of one standard, days as units."""

from __future__ import annotations

from sitegen.declarations import Stream, table_entry
from sitegen.streams.pulls.blank import blank
from sitegen.streams.pulls.fields import FIELDS
from sitegen.streams.pulls.measures import TORQUE
from sitegen.streams.pulls.read import read
from sitegen.streams.pulls.sections import SECTIONS
from sitegen.streams.pulls.smallest import smallest
from sitegen.streams.pulls.steps import SCATTER, STEP

STREAM = Stream(
    name="pulls",
    title="power pull",
    order=45,
    fields=FIELDS,
    read=read,
    entry=table_entry("Pulls", "One table of full-load pulls, a row a speed", "power"),
    steps=(STEP, SCATTER),
    sections=SECTIONS,
    recorded=(TORQUE.id,),
    whole=True,
    smallest=smallest,
    blank=blank,
    cautions=(
        "Full load on a brake: guards closed, nobody in the plane of what turns, over-speed and over-temperature trips "
        "tried before the first pull; whoever hears knock or sees a limit stops it.",
        "Exhaust gas kills: extraction running, CO and fuel-gas alarm live. Hearing protection (29 CFR 1910.95: from "
        "85 dBA).",
    ),
)
