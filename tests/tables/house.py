"""A small program to read records for, and ways to write them."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import Any

from sitegen.problems import as_text, line_of
from sitegen.program.model import (
    Address,
    Assembly,
    Build,
    Calibration,
    ColumnUse,
    Definitions,
    Departure,
    EngineType,
    Exclusion,
    GradeScale,
    LeakdownRule,
    Meter,
    Phase,
    Place,
    Program,
    RecordSource,
    ReferenceOrifice,
    ScheduleStep,
    SeatingRule,
    Tester,
    Tool,
    Where,
)
from sitegen.streams.buildsheet.read import read as read_buildsheet
from sitegen.streams.events.read import read as read_events
from sitegen.streams.inspection.read import read as read_inspection
from sitegen.streams.leakdown.read import read as read_leakdown
from sitegen.vocabulary import Problem, Readings

PSI = 6894.757293168  # Pa; NIST SP 811, table B.8, rounded there to 6.894 757 E+03
ENTRY = Where("pump/program.yaml", 90, 7)
PLAIN = "engine,cylinder,phase,tester,supply [psig],pressure [psig],crank\n"


def _build(name: str, order: int, departures: tuple[Departure, ...] = ()) -> Build:
    kind = EngineType("pump-24-gas", "2.4-litre inline four", 4, 0.0875, 0.1, firing_order=(1, 3, 4, 2))
    places = tuple(Place(number, "nitrided") for number in range(1, 5))
    return Build(
        name, name, order, f"K{order}", 1, kind, places, (Assembly("a1", "cold-build", "teardown"),), departures
    )


def program(folder: Path, records: tuple[RecordSource, ...] = (), exclusions: tuple[Exclusion, ...] = ()) -> Program:
    """Two builds of four cylinders; B6 skips the durability run, and only B1 is refitted."""
    definitions = Definitions(
        coatings={},
        engine_types={},
        testers={
            "T1": Tester(
                "T1", "cell tester", 0.040 * 0.0254, 0.25 * PSI, calibrations=(Calibration("2026-01-12", "2027-01-12"),)
            ),
            "T2": Tester("T2", "workshop tester", 1e-3, 0.5 * PSI, scale="percent", percent_linear=True),
        },
        reference_orifices={"R1": ReferenceOrifice("R1", "0.70 mm", 0.7e-3)},
        tools={
            "balance-1": Tool("balance-1", "balance", "balance", 0.5e-6, (Calibration("2026-01-12", "2027-01-12"),)),
            "feeler-1": Tool("feeler-1", "feeler gauges", "feeler", 2e-5),
        },
        oils={},
        meters={"M1": Meter("M1", "rotary pistons", "positive-displacement", "actual")},
    )
    phases = (
        Phase("cold-build", "cold build", "static-check", 0, condition="cold"),
        Phase("run-in-15", "run-in, 15 min", "run", 1, schedule=(ScheduleStep(900.0, 94.2, 94.2),), condition="warm"),
        Phase("refit", "refitted", "static-check", 2, only=("B1",)),
        Phase("durability", "40 h", "durability", 3, condition="warm"),
        Phase("teardown", "teardown", "teardown", 4),
    )
    return Program(
        id="pump",
        title="Pump",
        question="?",
        folder=str(folder),
        where=Where("pump/program.yaml", 1, 1),
        definitions=definitions,
        reference="nitrided",
        candidates=(),
        primary_measure="leakdown.crankcase",
        primary_phase="durability",
        planned_builds=2,
        allocation_scheme="",
        allocation_seed=None,
        phases=phases,
        builds=(_build("B1", 1), _build("B6", 2, (Departure("durability", "skipped", "sacrificed"),))),
        seating=SeatingRule(0.03, 0.35),
        leakdown=LeakdownRule(80 * PSI, "dry", 2 * PSI),
        records=records,
        exclusions=exclusions,
        inspection=GradeScale({1.0: "evenly run in", 2.0: "light marks", 3.0: "torn"}, 1.0),
    )


class Folder:
    """A program's folder to put record files in."""

    def __init__(self, path: Path) -> None:
        self.path = path / "pump"
        self.path.mkdir(exist_ok=True)
        self.exclusions: tuple[Exclusion, ...] = ()

    def source(
        self, content: str | bytes, name: str = "leak.csv", stream: str = "leakdown", **how: Any
    ) -> RecordSource:
        """Write a file and describe it; `columns` maps fields to a header or an address, or to (that, unit)."""
        path = self.path / name
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        columns = {}
        for i, (field, use) in enumerate(how.pop("columns", {}).items()):
            at, unit = (use, "") if isinstance(use, str | Address) else use
            at = Address(at) if isinstance(at, str) else at
            columns[field] = ColumnUse(at, unit, replace(ENTRY, line=95 + i))
        return RecordSource(stream, name, ENTRY, columns=columns, **how)

    def read(self, *sources: RecordSource) -> Readings:
        """All of one stream."""
        reader = {
            "leakdown": read_leakdown, "buildsheet": read_buildsheet, "inspection": read_inspection,
            "events": read_events,
        }[sources[0].stream]  # fmt: skip
        found = reader(program(self.path, sources, self.exclusions), sources)
        _accounted(found)
        return found

    def leak(self, content: str | bytes, **how: Any) -> Readings:
        """One leak-down table."""
        return self.read(self.source(content, **how))

    def sheet(self, content: str | bytes, **how: Any) -> Readings:
        """One build sheet."""
        return self.read(self.source(content, name="sheet.csv", stream="buildsheet", **how))


def _accounted(found: Readings) -> None:
    """Nothing is lost: every reading is used or set aside, and what is set aside is told."""
    frame = found.frame
    for file, facts in found.files.items():
        mine = frame[frame["file"] == file]
        assert facts["rows"] == len(mine) == facts["used"] + facts["set_aside"]
        assert facts["used"] == (mine["use"] == "").sum()
    warnings = [each for each in found.problems if each.level == "warning"]
    told = {(each.file, each.line) for each in warnings}
    once = {(each.file, each.code) for each in warnings if re.search(r", in \d+ rows: ", each.what)}  # of several rows
    for file, row, use in zip(frame["file"], frame["row"], frame["use"], strict=True):
        assert use in {"", "excluded"} or (file, use) in once or {(file, row), (file, 0)} & told


def told(found: Readings | list[Problem]) -> list[str]:
    """Every problem on one line, as the command prints it."""
    problems = found.problems if isinstance(found, Readings) else found
    assert as_text(problems)
    return [line_of(each) for each in problems]


def column(found: Readings, name: str) -> list[Any]:
    """One column of the frame, missing as None."""
    return [None if value != value else value for value in found.frame[name].tolist()]
