"""Inspection: what inspectors saw on rings, bores and pistons, with their grades and pictures."""

from __future__ import annotations

from sitegen.declarations import Stream, table_entry
from sitegen.streams.inspection.blank import blank
from sitegen.streams.inspection.fields import FIELDS
from sitegen.streams.inspection.measures import GRADE
from sitegen.streams.inspection.read import read
from sitegen.streams.inspection.sections import OF_CYLINDER, SECTIONS, unusual
from sitegen.streams.inspection.steps import AGREED, SEEN

STREAM = Stream(
    name="inspection",
    title="inspection",
    order=50,
    fields=FIELDS,
    read=read,
    entry=table_entry("Table of inspections", "One table of inspections", "inspection"),
    steps=(SEEN, AGREED),
    sections=SECTIONS,
    of_cylinder=OF_CYLINDER,
    unusual=unusual,
    recorded=(GRADE.id,),
    cautions=(
        "Solvents for cleaning parts burn and harm skin and lungs: ventilation, gloves, eye protection, no flame, and "
        "what the safety data sheet says.",
        "Parts from a used engine carry used oil, which irritates the skin and can cause skin cancer: gloves.",
        "Deposits and abraded metal are harmful dust: wipe wet, do not blow off with air.",
    ),
    blank=blank,
)
