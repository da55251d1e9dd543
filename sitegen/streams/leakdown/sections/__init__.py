"""What leak-down and seating say on each kind of page."""

from __future__ import annotations

from sitegen.declarations import OfBuild, OfCylinder, Section
from sitegen.streams.leakdown.measures import SCALE
from sitegen.streams.leakdown.sections.coating import coating_builds
from sitegen.streams.leakdown.sections.cylinder import (
    cylinder_history,
    cylinder_neighbours,
    cylinder_paths,
    cylinder_readings,
    cylinder_state,
    gaps_alone,
    past_the_rings,
)
from sitegen.streams.leakdown.sections.engine import (
    engine_checks,
    engine_curves,
    engine_plan,
    engine_seating,
    engine_tester,
)
from sitegen.streams.leakdown.sections.program import by_coating, seating_of_build, seating_table

SECTIONS = (
    Section("leak", "Leak area by phase", 10, "program", by_coating),
    Section("seating", "How soon they seat", 30, "program", seating_table, place="rest"),
    Section("plan", "Where it stands", 0, "engine", engine_plan),
    Section("leak", "Leak area by phase", 10, "engine", engine_curves, place="side"),
    Section("checks", "Leak area, all checks", 10, "engine", engine_checks, place="rest"),
    Section("seating", "Seating", 20, "engine", engine_seating, place="rest"),
    Section("testers", "Testers", 60, "engine", engine_tester, place="rest"),
    Section("state", "State", 0, "cylinder", cylinder_state),
    Section("history", "History", 1, "cylinder", cylinder_history),
    Section("neighbours", "Among its neighbours", 10, "cylinder", cylinder_neighbours, place="rest"),
    Section("paths", "Where the air went", 20, "cylinder", cylinder_paths, place="rest"),
    Section("readings", "Every reading", 30, "cylinder", cylinder_readings, place="rest"),
    Section("leak", "Leak area and seating", 10, "coating", coating_builds, place="rest"),
)
OF_BUILD = (OfBuild("Seats over", "km", 10, seating_of_build, SCALE.id),)
OF_CYLINDER = (
    OfCylinder("End gaps alone", 20, gaps_alone),
    OfCylinder("Past the rings", 30, past_the_rings),
)
