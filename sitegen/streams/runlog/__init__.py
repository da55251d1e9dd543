"""Run logs: what was logged while the engine ran, held against its schedule, and blow-by at the reference points."""

from __future__ import annotations

from sitegen.declarations import Entry, Stream
from sitegen.streams.runlog.alarms.breather import STEP as BREATHER
from sitegen.streams.runlog.alarms.limits import STEP as LIMITS
from sitegen.streams.runlog.alarms.sections import OF_CYLINDER, failed
from sitegen.streams.runlog.alarms.starts import STEP as STARTS
from sitegen.streams.runlog.alarms.watch import STEP as WATCH
from sitegen.streams.runlog.blowby import STEP as BLOWBY
from sitegen.streams.runlog.hours.sections import SECTIONS as OVER_HOURS
from sitegen.streams.runlog.hours.smallest import by_repeats, smallest
from sitegen.streams.runlog.hours.steps import STEPS as HOURS
from sitegen.streams.runlog.hours.whole import STEPS as WHOLE
from sitegen.streams.runlog.measures import PISTON_SPEED
from sitegen.streams.runlog.read import again, read
from sitegen.streams.runlog.sections import OF_BUILD, SECTIONS, unusual
from sitegen.streams.runlog.shadow import read_with, shadow
from sitegen.streams.runlog.steps import LEVELS, SCHEDULE

STREAM = Stream(
    name="runlog",
    title="run log",
    order=15,
    fields=(),
    read=read,
    entry=Entry(
        "Run log",
        "One log file of one phase of one build, and how it is read. Several files may make up a phase.",
        ("run", "limits"),
    ),
    again=again,
    read_with=read_with,
    shadow=shadow,
    steps=(SCHEDULE, LEVELS, BLOWBY, *HOURS, *WHOLE, STARTS, LIMITS, WATCH, BREATHER),
    sections=(*SECTIONS, *OVER_HOURS),
    unusual=unusual,
    failed=failed,
    of_build=OF_BUILD,
    of_cylinder=OF_CYLINDER,
    recorded=(PISTON_SPEED.id,),
    whole=True,
    smallest=smallest,
    by_repeats=by_repeats,
    cautions=(
        "Guards are on and the over-speed trip is tested; nobody stands in the plane of rotating parts.",
        "Exhaust is extracted, carbon monoxide and fuel-gas alarms are on, blow-by is vented outdoors.",
        "Before the start: write down at which exhaust and coolant temperature, oil pressure and speed the run ends, "
        "by the engine maker's limits. At the first of them, at knock, or where torque falls or blow-by jumps "
        "unasked: load off, stop, then ask. A pull too: it is never finished for its numbers, and anybody may stop it.",
        "Hearing protection from 85 dBA (in the United States: 29 CFR 1910.95). Hot oil, coolant and surfaces.",
        "Local codes, licensed practice, the site's rules and its competent person come first.",
    ),
)
