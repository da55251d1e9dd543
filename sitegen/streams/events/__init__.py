"""Event log: what happened during a run, meter checks and readings by eye, as the people there wrote it down."""

from __future__ import annotations

from sitegen.declarations import Stream, table_entry
from sitegen.streams.events.blank import blank
from sitegen.streams.events.fields import FIELDS
from sitegen.streams.events.read import read
from sitegen.streams.events.sections import SECTIONS, unusual
from sitegen.streams.events.times import against

STREAM = Stream(
    name="events",
    title="event log",
    order=16,
    fields=FIELDS,
    read=read,
    against=against,
    entry=table_entry("Event log", "One event log"),
    steps=(),
    sections=SECTIONS,
    unusual=unusual,
    whole=True,
    blank=blank,
    cautions=(
        "Nobody enters the cell to read a meter while the engine runs unless the site's rules allow it; hearing "
        "protection, guards on, exhaust extracted, blow-by vented outdoors.",
        "The breather of a running engine is never closed off: pressure blows seals out, and oil mist burns. No air "
        "into the breather line of a running gas engine either: gas is in its crankcase.",
        "Stop the engine first and ask afterwards: knocking, a lost oil pressure or a hot engine is not watched.",
    ),
)
