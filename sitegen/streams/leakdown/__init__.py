"""Leak-down: the two-gauge differential test of each cylinder, and the seating it shows from check to check."""

from __future__ import annotations

from sitegen.declarations import Stream, table_entry
from sitegen.streams.leakdown.area import AREAS
from sitegen.streams.leakdown.blank import blank
from sitegen.streams.leakdown.fields import FIELDS
from sitegen.streams.leakdown.measures import AREA, CRANKCASE, PERCENT
from sitegen.streams.leakdown.operators import STEP as OPERATORS
from sitegen.streams.leakdown.read import read
from sitegen.streams.leakdown.seating import CHANGES, ELSEWHERES, RESIDUALS, SEATING, UNEXPLAINED_BY_GAPS
from sitegen.streams.leakdown.sections import OF_BUILD, OF_CYLINDER, SECTIONS
from sitegen.streams.leakdown.sections.engine import unusual
from sitegen.streams.leakdown.shadow import shadow
from sitegen.streams.leakdown.shares import SHARES
from sitegen.streams.leakdown.smallest import smallest
from sitegen.streams.leakdown.states import LONGEST, STATES
from sitegen.streams.leakdown.testers import TESTERS

STREAM = Stream(
    name="leakdown",
    title="leak-down",
    order=20,
    fields=FIELDS,
    read=read,
    entry=table_entry("Table of leak-down tests", "One table of leak-down tests", "leakdown", "seating"),
    steps=(
        TESTERS,
        OPERATORS,
        AREAS,
        SHARES,
        CHANGES,
        RESIDUALS,
        ELSEWHERES,
        SEATING,
        LONGEST,
        STATES,
        UNEXPLAINED_BY_GAPS,
    ),
    sections=SECTIONS,
    of_build=OF_BUILD,
    of_cylinder=OF_CYLINDER,
    unusual=unusual,
    recorded=(PERCENT.id, AREA.id, CRANKCASE.id),
    cautions=(
        "Isolate fuel or gas and ignition and lock them out before the plugs come out (in the United States: 29 CFR "
        "1910.147).",
        "The crankshaft can turn under the air, more strongly the larger bore, stroke and supply are. Under "
        "pressure no bar, wrench or hand is on it and nobody is at fan, belt or flywheel; pressure is raised slowly "
        "(FAA AC 43.13-1B). Lock it only with what the engine's maker provides for that, fitted before the pressure "
        "and taken out before anything is turned or started; a bar held by hand or wedged is no lock.",
        "A wet test comes last: oil spoils later dry readings. A few mL, measured: too much locks the piston on oil "
        "and breaks it at the start. Turn the engine over by hand, twice, plugs out, before the starter does; it may "
        "smoke. The mass is a top-up in the oil log.",
        "The cooling system is closed and hot; so is a warm engine's exhaust. Wear eye protection: air leaves by any "
        "open path.",
        "Local codes, licensed practice, the site's rules and its competent person come first.",
    ),
    smallest=smallest,
    blank=blank,
    shadow=shadow,
)
