"""Readings taken with an instrument before it was there, or after it was withdrawn."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from sitegen.program.model import Program, RecordSource
from sitegen.streams.events.read import read as read_events
from sitegen.streams.leakdown.read import read as read_leakdown
from tables import house
from tables.house import Folder, column, told

LEFT = "Next: correct the record, or leave it set aside."


def known(path: Path, sources: tuple[RecordSource, ...]) -> Program:
    """T1, R1 and M1 with the days they were there."""
    made = house.program(path, sources)
    own = made.definitions
    return replace(
        made,
        definitions=replace(
            own,
            testers={**own.testers, "T1": replace(own.testers["T1"], since="2026-02-01", until="2026-06-30")},
            reference_orifices={"R1": replace(own.reference_orifices["R1"], since="2026-03-01")},
            meters={"M1": replace(own.meters["M1"], until="2026-03-31")},
        ),
    )


def test_a_tester_and_an_orifice_out_of_their_days(tmp_path: Path) -> None:
    header = "engine,cylinder,phase,tester,reference,supply [psig],pressure [psig],crank,date\n"
    rows = (
        "B1,1,cold-build,T1,,80,72,tdc,2026-02-01\n"  # the first day
        "B1,2,cold-build,T1,,80,72,tdc,2026-01-31\n"
        "B1,3,cold-build,T1,,80,72,tdc,2026-07-01\n"
        "B1,4,cold-build,T1,,80,72,tdc,\n"  # no day: not judged
        "B6,1,cold-build,T2,,80,72,tdc,2030-01-01\n"  # nothing stated
        "B6,,cold-build,T1,R1,80,75,,2026-02-28\n"
        "B6,,cold-build,T1,R1,80,75,,2026-06-30\n"  # the last day
    )
    source = Folder(tmp_path).source(header + rows)
    found = read_leakdown(known(tmp_path / "pump", (source,)), (source,))
    aside = "instrument-not-there"
    assert column(found, "use") == ["", aside, aside, "", "", aside, ""]
    assert told(found) == [
        f'pump/leak.csv:3: warning: column "tester": on 2026-01-31 T1 was not there: first there on 2026-02-01. '
        f"Expected a day it was there, or another instrument. {LEFT}",
        f'pump/leak.csv:4: warning: column "tester": on 2026-07-01 T1 was not there: withdrawn after 2026-06-30. '
        f"Expected a day it was there, or another instrument. {LEFT}",
        f'pump/leak.csv:7: warning: column "reference": on 2026-02-28 R1 was not there: first there on 2026-03-01. '
        f"Expected a day it was there, or another instrument. {LEFT}",
    ]


def test_a_meter_read_after_it_was_withdrawn(tmp_path: Path) -> None:
    header = "engine,phase,what,meter,moved,date\n"
    rows = "B1,run-in-15,meter-check,M1,yes,2026-03-31\nB1,run-in-15,meter-check,M1,yes,2026-04-01\n"
    source = Folder(tmp_path).source(header + rows, name="events.csv", stream="events")
    found = read_events(known(tmp_path / "pump", (source,)), (source,))
    assert column(found, "use") == ["", "instrument-not-there"]
