"""Lists of traces to take: what they ask for, and what the reader makes of them before, while and after.

Five traces a place, places at the reversal of the top ring and between: methods of wear from unrelated traces need
five a state; which places is common practice, no source.
"""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from simulate import surfaces
from tables.house import Folder, program

from sitegen import registry
from sitegen.program.model import Program, Tool
from sitegen.sheets.build import Sheets, make
from sitegen.streams.surfaces import STREAM
from sitegen.streams.surfaces.steps import LEAST_TRACES
from sitegen.vocabulary import Readings

NAME = "surfaces-b1-teardown"


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    return Folder(tmp_path)


def planned(folder: Folder) -> Program:
    plan = program(folder.path)
    phases = tuple(replace(each, records=("surfaces",)) if each.id == "teardown" else each for each in plan.phases)
    tools = {**plan.definitions.tools, "profile-1": Tool("profile-1", "stylus", "profilometer", 2e-8)}
    return replace(plan, phases=phases, definitions=replace(plan.definitions, tools=tools))


def sheets(folder: Folder) -> Sheets:
    return make(planned(folder), registry.STREAMS, ["B1"], ["teardown"])


def lines(made: Sheets) -> list[dict[str, str]]:
    text = made.tables[f"tables/{NAME}.csv"].decode("utf-8-sig")
    return list(csv.DictReader(io.StringIO(text, newline="")))


def read(folder: Folder, rows: list[dict[str, str]]) -> Readings:
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, list(rows[0]))
    writer.writeheader()
    writer.writerows(rows)
    source = folder.source(out.getvalue(), name="traces.csv", stream="surfaces")
    return STREAM.read(planned(folder), (source,))


def trace(wear: float) -> bytes:
    heights = surfaces.bore(np.random.RandomState(7), 4.8, wear, reversal=False)
    return ("x [um];z [um]\n" + "".join(f"{2 * n};{each:.3f}\n" for n, each in enumerate(heights))).encode()


def test_every_place_of_every_cylinder_is_listed(folder: Folder) -> None:
    rows = lines(sheets(folder))
    bores = [row for row in rows if row["part"] == "bore"]
    places = {(row["cylinder"], row["side"], row["height"]) for row in bores}
    assert {cylinder for cylinder, _, _ in places} == {
        str(each.cylinder) for each in program(folder.path).builds[0].places
    }
    for place in places:
        mine = [row for row in bores if (row["cylinder"], row["side"], row["height"]) == place]
        assert [row["repeat"] for row in mine] == [str(n + 1) for n in range(LEAST_TRACES)]
    angles = {row["angle [deg]"] for row in rows if row["part"] == "top-ring" and row["cylinder"] == "1"}
    assert len(angles) >= 5  # the integral over angle needs five
    assert len({row["trace"] for row in rows}) == len(rows)
    assert {(row["engine"], row["phase"]) for row in rows} == {("B1", "teardown")}
    assert all(row["trace"] == row["trace"].lower() and " " not in row["trace"] for row in rows)


def test_nothing_taken_yet(folder: Folder) -> None:
    rows = lines(sheets(folder))
    found = read(folder, rows)
    (facts,) = found.files.values()
    assert (facts["rows"], facts["used"], facts["set_aside"], facts["not_taken"]) == (0, 0, 0, len(rows))
    assert found.problems == ()


def test_a_trace_saved_under_its_name_is_read(folder: Folder) -> None:
    rows = lines(sheets(folder))
    first = next(row for row in rows if row["height"] == "mid-stroke")
    path = folder.path / first["trace"]
    path.parent.mkdir(parents=True)
    path.write_bytes(trace(0.0))
    found = read(folder, rows)
    assert found.frame["trace"].tolist() == [first["trace"]]
    assert found.frame["use"].tolist() == [""]
    assert list(found.traces) == found.frame["reading"].tolist()
    (facts,) = found.files.values()
    assert facts["not_taken"] == len(rows) - 1


def test_a_name_of_ones_own_that_is_not_there_is_told(folder: Folder) -> None:
    rows = lines(sheets(folder))
    rows[0]["trace"] = "traces/b1/teardown-1-bore-thrust-top-reversal-one.txt"
    found = read(folder, rows)
    assert found.frame["use"].tolist() == ["trace-missing"]
    assert [each.line for each in found.problems] == [2]


def test_a_trace_under_another_ending_is_told(folder: Folder) -> None:
    rows = lines(sheets(folder))
    path = (folder.path / rows[0]["trace"]).with_suffix(".asc")
    path.parent.mkdir(parents=True)
    path.write_bytes(trace(0.0))
    found = read(folder, rows)
    assert [each.nearest for each in found.problems] == [rows[0]["trace"].replace(".txt", ".asc")]
    rows[0]["trace"] = rows[0]["trace"].replace(".txt", ".asc")
    assert {each.code for each in read(folder, rows).problems} == {"cutoff-missing"}  # the list asks for it


def test_the_list_on_paper_has_a_line_a_place(folder: Folder) -> None:
    page = sheets(folder).pages["b1/teardown.html"].decode()
    sheet = page.split('id="surfaces"')[1].split("</section>")[0]
    for words in ("Solvents", "wedge it", "thrust", "top reversal", "mid stroke", "1 to 5", "340", "teardown-1-bore",
                  "top-reversal-N.txt", "B1 · teardown"):  # fmt: skip
        assert words in sheet, words


def test_known_angles_follow_the_unit_of_the_column(folder: Folder) -> None:
    """20° is 0.349066 rad (exact: pi/9)."""
    head = "trace,engine,phase,cylinder,part,side,height,angle [rad],repeat\n"
    source = folder.source(head + "traces/a.txt,B1,cold-build,1,top-ring,,,0.5,1\n", name="own.csv", stream="surfaces")
    plan = replace(planned(folder), records=(source,))
    text = make(plan, registry.STREAMS, ["B1"], ["teardown"]).tables[f"tables/{NAME}.csv"].decode("utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    assert next(row["angle [rad]"] for row in rows if row["part"] == "top-ring") == "0.349066"
