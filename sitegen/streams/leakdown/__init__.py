"""Leak-down: the two-gauge differential test of each cylinder, and the seating it shows from check to check."""

from __future__ import annotations

from sitegen.declarations import Stream
from sitegen.streams.leakdown.area import AREAS, TESTERS
from sitegen.streams.leakdown.blank import blank
from sitegen.streams.leakdown.fields import FIELDS
from sitegen.streams.leakdown.measures import AREA, CRANKCASE, PERCENT
from sitegen.streams.leakdown.read import read
from sitegen.streams.leakdown.seating import CHANGES, ELSEWHERES, RESIDUALS, SEATING, UNEXPLAINED_BY_GAPS
from sitegen.streams.leakdown.sections import SECTIONS
from sitegen.streams.leakdown.shares import SHARES
from sitegen.streams.leakdown.smallest import smallest

STREAM = Stream(
    name="leakdown",
    title="leak-down",
    order=20,
    fields=FIELDS,
    read=read,
    steps=(TESTERS, AREAS, SHARES, CHANGES, RESIDUALS, ELSEWHERES, SEATING, UNEXPLAINED_BY_GAPS),
    sections=SECTIONS,
    recorded=(PERCENT.id, AREA.id, CRANKCASE.id),
    cautions=(
        "Isolate fuel or gas and ignition and lock them out before the plugs come out (in the United States: 29 CFR "
        "1910.147).",
        "The crankshaft can turn under the air. At 80 psig an 86 mm piston with a 103 mm stroke makes 19 N m at 5° "
        "and 38 N m at 10° past dead centre. Nothing is left on the crank, hands are clear, pressure is raised slowly "
        "(FAA AC 43.13-1B).",
        "The cooling system is closed and hot; so is a warm engine's exhaust. Wear eye protection: air leaves by any "
        "open path.",
        "Local codes, the site's rules and its competent person come first.",
    ),
    smallest=smallest,
    blank=blank,
)
