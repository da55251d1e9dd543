"""A whole set of sheets, filled in with invented numbers and pasted, gives every measure that was planned.

What a laboratory finds and what a log or a profilometer writes is no work on paper: reports, logs and traces are put
beside the sheets, the rest of each program is what was filled in.
"""

from __future__ import annotations

import csv
import io
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml
from house import PROGRAMS
from sheets.test_filled import written_in

from sitegen import registry, units, workflow
from sitegen.cli import main
from sitegen.program.model import Program
from sitegen.reader.records import SEPARATORS

STREAMS = {each.name: each for each in registry.STREAMS}
SHOWN = {"ok", "below"}
# What is written by field, in SI; texts as they are written.
LEAK = {"supply": 551580.0, "pressure": 500000.0, "metal_temperature": 333.15, "since_shutdown": 1200.0,
        "ambient": 1.0e5, "air_temperature": 294.15, "to_crankcase": 0.95, "percent": 0.09, "crank": "tdc",
        "oil": "dry",
        "operator": "J. Ö.", "approached": "running-direction", "locked": "yes"}  # fmt: skip
RING = {"gap_gauge": 4.1e-4, "gap_bore": 4.2e-4, "gap_angle": 0.5, "joint": "straight", "mass": 7.7e-3, "tension": 16.0,
        "radial_thickness": 3.1e-3}  # fmt: skip
BORE = {"bore": 0.0875, "bore_angle": 1.5707963}
HEIGHTS = (0.012, 0.05, 0.09)  # one each of the rows of a bore
SEEN = {"place": "back of the gap", "inspector": "M. A.", "band_share": 0.5, "band_width": 6e-4, "grade": 1.0,
        "scuffing": "none", "spalling": "none", "sticking": "none", "deposits": "none"}  # fmt: skip
DRAWN = {"since_shutdown": 180.0, "draw_point": "dipstick", "mass": 0.1}
PULL = {"torque": 160.0, "barometer": 100.4e3, "inlet": 297.15, "humidity": 0.45, "inlet_at": "filter"}
TRACED = {"instrument": "profilometer 1", "tip": 2e-6, "cutoff": 8e-4, "unswept_to": 1.4e-3, "swept_from": 1.8e-3,
          "flank": 2e-4}  # fmt: skip


def oil_rows(phase: str) -> Iterator[dict[str, Any]]:
    """What is done to the oil: filled before the first start, changed after the pulls, drained last."""
    if phase == "cold-build":
        yield {"what": "fill", "mass": 5.2}
    if phase == "pulls":
        yield {"what": "drain", "mass": 4.1}
    if phase == "durability":
        yield {"what": "fill", "mass": 4.8}
        yield {"what": "top-up", "mass": 0.3, "hours": 72000.0}
        yield {"what": "drain", "mass": 4.3}


def said(stream: str, row: dict[str, str], phase: str, number: int) -> dict[str, Any]:
    """What is written into one prepared row, the `number`-th of its table, by field."""
    if stream == "leakdown":
        cold = {"metal_temperature": 294.15} if phase in {"cold-build", "refit"} else {}
        leak = (
            LEAK | cold
            if row.get("cylinder")
            else {name: LEAK[name] for name in ("supply", "ambient", "air_temperature")}
        )
        warm = {"condition": "cold"} if phase in {"cold-build", "refit"} else {"condition": "warm"}
        return {
            **leak,
            **(warm if row.get("cylinder") else {}),
            "pressure": 500000.0 if row.get("cylinder") else 519000.0,
        }
    if stream == "buildsheet":
        worn = {"mass": 7.697e-3} if phase == "teardown" else {}
        return {**RING, **worn} if row.get("ring") else {**BORE, "bore_height": HEIGHTS[number % len(HEIGHTS)]}
    if stream == "inspection":
        ring = row.get("part", "").endswith("-ring")
        return (
            {name: value for name, value in SEEN.items() if ring or not name.startswith("band")}
            if row.get("part")
            else {}
        )
    if stream == "oil":
        return DRAWN if row.get("what") == "sample" else {}
    if stream == "surfaces":
        band = row.get("height") == "top-reversal"
        ring = row.get("part") == "top-ring"
        skip = ({"flank"} if not ring else set()) | ({"unswept_to", "swept_from"} if not band else set())
        return {name: value for name, value in TRACED.items() if name not in skip}
    if stream == "pulls":
        return PULL if row.get("pull") else {}
    return {}  # nothing out of the ordinary happened


def as_written(value: Any, what: Any, unit: str, decimal: str) -> str:
    if isinstance(value, str):
        return value
    if what.dimension and unit:
        value = units.from_si(value, unit, what.dimension)
    return f"{value:.7g}".replace(".", decimal)


def fill(path: Path, entry: dict[str, Any], stream: str, phase: str, more: list[dict[str, Any]]) -> None:
    """Writes into a table what its columns have room for; `more` goes into its free rows, one each."""
    encoding = {"utf-8": "utf-8-sig"}.get(entry.get("encoding", "utf-8"), entry.get("encoding", ""))
    separator = SEPARATORS.get(entry.get("separator", ","), entry.get("separator", ","))
    rows = list(csv.reader(io.StringIO(path.read_bytes().decode(encoding), newline=""), delimiter=separator))
    heads = 2 if entry.get("units_row") else 1
    meaning = written_in(entry, rows[0], rows[1] if heads == 2 else [])
    fields = {each.name: each for each in STREAMS[stream].fields}
    day = {"day first": "01.12.2026", "month first": "12/01/2026"}.get(entry.get("date_order", ""), "2026-12-01")
    waiting = list(more)
    for number, row in enumerate(rows[heads:]):
        known = {meaning[header][0]: cell for header, cell in zip(rows[0], row, strict=True) if cell}
        known |= {name: value for name, value in entry.get("constants", {}).items() if name not in known}
        mine = said(stream, known, phase, number)
        if not mine and waiting and set(known) <= {"engine", "phase", "laboratory"}:
            mine = waiting.pop(0)
        for at, header in enumerate(rows[0]):
            name, unit = meaning[header]
            if name in mine and not row[at]:
                row[at] = as_written(mine[name], fields[name], unit, entry.get("decimal", "."))
            elif name == "date" and mine:
                row[at] = day
    assert not waiting, f"no room for {waiting} in {path.name}"
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=separator, lineterminator="\r\n").writerows(rows)
    path.write_bytes(out.getvalue().encode(encoding))


def report(program: Program) -> str:
    """A laboratory's report of every sample planned."""
    lines = ["sample,engine,phase,laboratory,what,Fe [mg/kg],Cr [mg/kg]"]
    for build in program.builds:
        for number, phase in enumerate(each for each in program.phases_of(build) if "oil" in each.records):
            lines.append(f"{build.id}-{phase.id},{build.id},{phase.id},lab-1,sample,{3 + 4 * number},{0.5 + number}")
    return "\n".join(lines) + "\n"


def traces(folder: Path, rows: list[dict[str, str]]) -> None:
    """A trace file for every name the lists of traces give: a crowned face, or a rough flat one."""
    rng = np.random.default_rng(5)
    for row in rows:
        x = np.arange(0.0, 1.6 if row["part"] == "top-ring" else 6.4, 0.002)
        z = rng.normal(0, 0.15, len(x)) - (20 * (x - 0.8) ** 2 if row["part"] == "top-ring" else 0)
        path = folder / row["trace"]
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("x [mm];z [um]\n" + "".join(f"{a:.3f};{b:.4f}\n" for a, b in zip(x, z, strict=True)))


@pytest.mark.parametrize("name", ["pump-rings-2025", "pump-rings-2026"])
def test_filled_sheets_give_what_was_planned(name: str, tmp_path: Path) -> None:
    assert main(["sheets", str(PROGRAMS / name), "--to", str(tmp_path / "sheets")]) == 0
    found, _ = workflow.programs(PROGRAMS)
    assert found is not None
    program = next(each for each in found.programs if each.id == name)
    folder = tmp_path / "programs" / name
    shutil.copytree(tmp_path / "sheets" / "tables", folder / "records")
    shutil.copytree(PROGRAMS / name / "logs", folder / "logs")
    shutil.copy(PROGRAMS / "definitions.yaml", folder.parent)
    text = (PROGRAMS / name / "program.yaml").read_text(encoding="utf-8")
    document = yaml.safe_load(text[text.index("\nrecords:\n") :])
    records = yaml.safe_load((folder / "records/entries-csv.yaml").read_text(encoding="utf-8"))["records"]
    listed: list[dict[str, str]] = []
    for stream, entries in records.items():
        for entry in entries:
            path = folder / entry["file"]
            _, phase = path.stem.removeprefix(f"{stream}-").split("-", 1)
            more = list(oil_rows(phase)) if stream == "oil" else []
            fill(path, entry, stream, phase, more)
            if stream == "surfaces":
                listed += list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8-sig"))))
    traces(folder, [row for row in listed if row.get("trace")])
    (folder / "records/laboratory.csv").write_text(report(program), encoding="utf-8")
    records["oil"].append({"file": "records/laboratory.csv"})
    records["runlog"] = document["records"]["runlog"]
    head = text[: text.index("\nrecords:\n")] + "\n" + yaml.safe_dump({"records": records}, allow_unicode=True)
    (folder / "program.yaml").write_text(head, encoding="utf-8")

    examination = workflow.examine(folder.parent)
    assert not examination.blocked, [each.what for each in examination.problems]
    told = [f"{each.file}:{each.line} {each.code} {each.what}" for each in examination.problems]
    assert [line for line in told if "/records/" in line] == []
    (analysis,) = workflow.conclude(examination)
    shown = {
        (v.measure, v.key.engine, v.key.cylinder, v.key.phase) for v in analysis.values.values() if v.status in SHOWN
    }
    planned = [
        (measure, build.id, cylinder, phase.id)
        for build, phase, stream in program.planned()
        if stream != "runlog" and not (stream == "oil" and build.is_due(phase.id))  # not run yet: no hours of its oil
        for measure in STREAMS[stream].recorded
        for cylinder in ((0,) if STREAMS[stream].whole else program.planned_cylinders(build, stream))
    ]
    assert len(planned) > 100
    assert [each for each in planned if each not in shown] == []
    for build in program.builds:
        assert {"oil.consumption", "wear.iron_mass", "wear.mass_loss"} <= {
            m for m, engine, *_ in shown if engine == build.id
        }
