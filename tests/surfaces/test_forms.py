"""Traces in forms of their own: XML as the profiles of the roughness standards come in, workbooks, several in a file.

files/profile_sine_nist.xml: a generated sine of 8000 points 0.5 um apart, with its unfiltered parameters beside it,
from the surface metrology algorithm testing system of the National Institute of Standards and Technology (work of the
United States government, not under copyright).
"""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl import Workbook
from surfaces.test_stream import AT, HEAD, bore, read, uses, values
from surfaces.test_traces import told
from tables.house import Folder

from sitegen.reader.blocked import Blocked
from sitegen.traces.points import Asked
from sitegen.traces.reading import Trace, read_trace, trace_of
from sitegen.vocabulary import Problem

SINE = Path(__file__).parent / "files" / "profile_sine_nist.xml"
XML = (
    "<?xml version='1.0'?>\n<!DOCTYPE DATA SYSTEM 'http://localhost:9/data.dtd'>\n<DATA>\n<UNITS>um</UNITS>\n"
    "<NUMPOINTS>{count}</NUMPOINTS>\n<SPACING>0.5</SPACING>\n<VALUES>{values}</VALUES>{more}</DATA>\n"
)
HEIGHTS = [0.5, -1.25, 2.0, 3.5, 0.25]


def xml(values: str = "", count: int = len(HEIGHTS), more: str = "") -> str:
    return XML.format(values=values or "\n".join(map(str, HEIGHTS)), count=count, more=more)


def trace(data: str, **how: Any) -> Trace:
    return trace_of(data.encode(), "t.xml", Asked(**how))


# ---- XML ------------------------------------------------------------------------------------------------------------


def test_reference_sine_is_read_to_its_announced_points() -> None:
    found = read_trace(SINE, "sine.xml", Asked())
    assert len(found.x) == len(found.z) == 8000  # <NUMPOINTS>8000
    assert (found.invalid, found.doubts) == (0, ())
    assert found.x[[0, 1, -1]] == pytest.approx([0, 0.5e-6, 3999.5e-6])  # <SPACING>0.5, <UNITS>um
    # a sine of 1 um over <PSm>400.00563, written to four decimals
    assert np.abs(found.z - 1e-6 * np.sin(2 * np.pi * found.x / 400.00563e-6)).max() < 1e-10


def test_a_small_profile_with_its_unit_spacing_and_count() -> None:
    spaced = xml().replace("<", "<q:").replace("<q:/", "</q:").replace("<q:?", "<?").replace("<q:!", "<!")
    spaced = spaced.replace("<q:DATA>", "<q:DATA xmlns:q='urn:q'>").replace("DOCTYPE DATA", "DOCTYPE q:DATA")
    for data in (xml(), xml(" ".join(map(str, HEIGHTS))), "\ufeff" + xml(), spaced):
        found = trace(data)
        assert found.z == pytest.approx(1e-6 * np.array(HEIGHTS))
        assert found.x == pytest.approx(0.5e-6 * np.arange(5))
        assert found.part == ("", 1, "VALUES")
    beside = '<D><Z unit="nm" dx="2 um" n="3">\n1\n2\n5\n</Z></D>'
    assert trace(beside).z == pytest.approx([1e-9, 2e-9, 5e-9])
    assert trace(beside).x == pytest.approx([0, 2e-6, 4e-6])


def test_what_is_announced_and_differs_is_told() -> None:
    code, line, what = told(xml(count=6))
    assert (code, line, what) == ("trace-cut-short", 0, "the file announces 6 points and holds 5")
    assert told(xml(), z_unit="nm")[0] == "trace-unit-contradicted"
    assert told(xml(), step=1e-6)[0] == "trace-step-contradicted"
    assert trace(xml(), step=0.5e-6).step == pytest.approx(0.5e-6)
    assert told(xml().replace("<UNITS>um</UNITS>", ""))[0] == "trace-unit-missing"
    # the unit of a cutoff farther out is not that of the heights
    assert told("<A><UNITS>mm</UNITS><B><Z>1 2 4</Z></B></A>", step=1e-6)[0] == "trace-unit-missing"


def test_two_elements_of_numbers_are_an_error_that_asks_which() -> None:
    more = "\n<ROUGHNESS><UNITS>nm</UNITS><SPACING>0.5 um</SPACING>"
    more += "<ROUGHNESS_VALUES>1 2 4 8</ROUGHNESS_VALUES></ROUGHNESS>"
    code, line, what = told(xml(more=more))
    assert (code, line) == ("trace-columns-unclear", 7)
    assert "VALUES in line 7; ROUGHNESS_VALUES in line 12" in what
    assert trace(xml(more=more), z="VALUES").z == pytest.approx(1e-6 * np.array(HEIGHTS))
    assert trace(xml(more=more), z="ROUGHNESS_VALUES").z == pytest.approx([1e-9, 2e-9, 4e-9, 8e-9])
    assert told(xml(more=more), z="WAVINESS_VALUES")[::2] == (
        "trace-column-missing", 'no element "WAVINESS_VALUES" holds numbers'
    )  # fmt: skip
    two = "<D><P><UNITS>um</UNITS><Z>1 2 4</Z></P>\n<P><UNITS>um</UNITS><Z>5 6 9</Z></P></D>"
    assert told(two, step=1e-6)[0] == "trace-sections"
    assert trace(two, step=1e-6, section=2).z == pytest.approx([5e-6, 6e-6, 9e-6])
    along = "<D><UNITS>um</UNITS><X>0 1 3</X><Z>1 2 4</Z></D>"
    assert told(along)[0] == "trace-columns-unclear"
    assert trace(along, x="X", z="Z").x == pytest.approx([0, 1e-6, 3e-6])


def test_results_beside_their_unit_are_those_the_instrument_states() -> None:
    found = trace(xml(more="<RESULTS><RA>0.41</RA><RZ/><RSK>-1.2</RSK><UNITS>um</UNITS></RESULTS><RK>3</RK>"))
    assert found.stated == {"ra": pytest.approx(0.41e-6), "rk": pytest.approx(3e-6)}  # UNITS of the file: um


def test_words_among_the_numbers_are_counted_and_the_others_stay() -> None:
    found = trace(xml("\n".join(["1", "2", "lost", *(str(n % 7) for n in range(20))]), count=23))
    assert (len(found.x), found.invalid) == (23, 1)
    assert np.flatnonzero(np.isnan(found.z)).tolist() == [2]
    assert [(each.line, each.code) for each in found.doubts] == [(9, "trace-rows-not-used")]
    assert told(xml("1 2 lost lost 5"))[0] == "trace-not-numbers"


@pytest.mark.parametrize(
    ("data", "what"),
    [
        ("<!DOCTYPE D [<!ENTITY a '1 2 3'>]><D><Z>&a;</Z></D>", "entity"),
        ("<!DOCTYPE D [<!ENTITY a SYSTEM 'file:///etc/hostname'>]><D><Z>1 2 3 &a;</Z></D>", "entity"),
        ("<!DOCTYPE D [<!ENTITY % a SYSTEM 'file:///etc/hostname'> %a;]><D><Z>1 2 3</Z></D>", "entity"),
        ("<!DOCTYPE D SYSTEM 'd.dtd'><D><Z>1 2 3 &a;</Z></D>", "entity"),
        ("<D>" * 70 + "<Z>1 2 3</Z>" + "</D>" * 70, "64 elements inside each other"),
        ("<D>" + "<a/>" * 100_001 + "</D>", "100000 in all"),
        ("<D>" + "<Z>1 2 3</Z>" * 1001 + "</D>", "more than 1000 of its elements hold numbers"),
        ("<D><Z>1 2 3</Z>", "broken"),
        ("<D><Z>1 2 3</Z></E>", "broken"),
        ("<D/>", "none of its elements holds numbers"),
    ],
)
def test_entities_depth_and_broken_xml_are_refused(data: str, what: str) -> None:
    code, line, said = told(data, z_unit="um", step=1e-6)
    assert code in {"trace-xml", "trace-no-points"}
    assert line == 1
    assert what in said


def test_too_many_numbers_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sitegen.traces.markup.POINTS", 4)
    assert told(xml())[0] == "file-too-big"
    monkeypatch.setattr("sitegen.traces.markup.CHARACTERS", 100)
    assert told(xml())[2].endswith("characters")


@given(st.text(alphabet="<>/&;![]'\"= \nDZ12.?-e%", max_size=80))
def test_any_xml_is_a_trace_or_is_told(text: str) -> None:
    try:
        found = trace("<D>" + text, z_unit="um", step=1e-6)
    except Blocked:
        return
    assert np.isfinite(found.x).all()


# ---- workbooks ------------------------------------------------------------------------------------------------------


def workbook(sheets: Mapping[str, Sequence[Sequence[object]]]) -> bytes:
    book = Workbook()
    book.remove(book.active)  # type: ignore[arg-type]
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(row)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


ROWS: list[list[float]] = [[0.5 * n, float(n % 7)] for n in range(40)]


def in_book(tmp_path: Path, sheets: Mapping[str, Sequence[Sequence[object]]], **how: Any) -> Trace | Problem:
    path = tmp_path / "t.xlsx"
    path.write_bytes(workbook(sheets))
    try:
        return read_trace(path, "pump/t.xlsx", Asked(**how))
    except Blocked as blocked:
        return blocked.problems[0]


def test_the_only_worksheet_with_rows_of_numbers_is_read_by_its_headers(tmp_path: Path) -> None:
    above: list[list[object]] = [["Probe", "2 um"], [], ["Ra", 0.41, "um"], ["No.", "z [um]", "x [um]"]]
    rows = [[n, z, x] for n, (x, z) in enumerate(ROWS)]
    found = in_book(tmp_path, {"Notes": [["by hand"]], "Trace 1": [*above, *rows], "Empty": []})
    assert isinstance(found, Trace)
    assert found.part == ("Trace 1", 1, "z [um]")
    assert found.x == pytest.approx(1e-6 * np.array([x for x, _ in ROWS]))
    assert found.z == pytest.approx(1e-6 * np.array([z for _, z in ROWS]))
    assert found.facts["probe"] == "2 um"
    assert found.stated == {"ra": pytest.approx(0.41e-6)}


@pytest.mark.parametrize("spoilt", [0, 1, 17, 39])
@pytest.mark.parametrize("cell", ["", "#DIV/0!", "***", "lost", "=1/0", None])
def test_no_row_of_a_worksheet_is_lost_around_a_bad_cell(tmp_path: Path, spoilt: int, cell: str | None) -> None:
    rows = [[x, cell if n == spoilt else z] for n, (x, z) in enumerate(ROWS)]
    found = in_book(tmp_path, {"a": [["x [um]", "z [um]"], *rows]})
    assert isinstance(found, Trace)
    assert (len(found.x), found.invalid) == (40, 1)
    assert np.flatnonzero(np.isnan(found.z)).tolist() == [spoilt]
    assert [(each.line, each.column_name) for each in found.doubts] == [(spoilt + 2, "z [um]")]


def test_of_several_worksheets_one_is_named(tmp_path: Path) -> None:
    head: list[object] = ["x [um]", "z [um]"]
    sheets: dict[str, list[Sequence[object]]] = {
        "one": [head, *ROWS], "two": [head, *([x, z + 1] for x, z in ROWS)], "notes": [["x"]],
    }  # fmt: skip
    asked = in_book(tmp_path, sheets)
    assert isinstance(asked, Problem)
    assert (asked.code, asked.expected) == ("worksheet-unstated", "the name of one: one or two")
    two = in_book(tmp_path, sheets, sheet="two")
    assert isinstance(two, Trace)
    assert (two.z[0], two.part[0]) == (pytest.approx(1e-6), "two")
    for name, code in (("too", "worksheet-unknown"), ("notes", "trace-no-points")):
        gone = in_book(tmp_path, sheets, sheet=name)
        assert isinstance(gone, Problem)
        assert gone.code == code
    none = in_book(tmp_path, {"notes": [["x"]]})
    assert isinstance(none, Problem)
    assert none.code == "trace-no-points"


def test_a_broken_workbook_is_told(tmp_path: Path) -> None:
    path = tmp_path / "t.xlsx"
    for data in (b"", b"x;z\n", workbook({"a": ROWS})[:-300]):
        path.write_bytes(data)
        with pytest.raises(Blocked) as told:
            read_trace(path, "pump/t.xlsx", Asked())
        assert told.value.problems[0].code == "workbook-broken"


# ---- several traces in a file ---------------------------------------------------------------------------------------

ONE = "".join(f"{0.5 * n};{n % 7}\n" for n in range(20))
TWO = "".join(f"{0.5 * n};{n % 5}\n" for n in range(20))
NEXT = "".join(f"{0.5 * n};{n % 5}\n" for n in range(20, 40))
CALLED = "x [um];z [um]\n"


def test_repeated_preambles_part_a_file_and_one_trace_is_asked_for() -> None:
    data = f"Sample: A\nRa;0.4 um\n{CALLED}{ONE}\nSample: B\n{CALLED}{TWO}"
    code, line, what = told(data)
    assert (code, line, what) == ("trace-sections", 27, "the file holds 2 traces, which begin in lines 4 and 27")
    first, second = trace(data, section=1), trace(data, section=2)
    assert first.z == pytest.approx(1e-6 * (np.arange(20) % 7))
    assert second.z == pytest.approx(1e-6 * (np.arange(20) % 5))
    assert (first.facts["sample"], second.facts["sample"]) == ("A", "B")
    assert first.stated == {"ra": pytest.approx(0.4e-6)}
    assert not second.stated  # a result is of the trace it stands above
    assert (first.part[1], second.part[1]) == (1, 2)
    assert not first.doubts
    assert not second.doubts
    assert told(data, section=3)[::2] == (
        "trace-section-unknown", "section 3 is asked for, and the file holds 2 traces"
    )  # fmt: skip
    assert told(CALLED + ONE, section=2)[2] == "section 2 is asked for, and the file holds one trace"


def test_of_three_traces_each_beginning_is_named_and_each_count_is_held() -> None:
    data = "".join(f"points: {count}\n{CALLED}{ONE}" for count in (20, 19, 20))
    assert told(data)[2] == "the file holds 3 traces, which begin in lines 3, 25 and 47"
    assert len(trace(data, section=3).x) == 20
    assert told(data, section=2)[0] == "trace-cut-short"


def test_headers_that_stand_again_while_x_runs_on_part_nothing() -> None:
    found = trace(CALLED + ONE + CALLED + NEXT)
    assert found.x == pytest.approx(0.5e-6 * np.arange(40))
    assert found.invalid == 0
    assert told(CALLED + ONE + CALLED + TWO)[0] == "trace-sections"


def test_rows_parted_by_their_first_headers_are_two_traces() -> None:
    assert told(ONE + CALLED + NEXT)[2] == "the file holds 2 traces, which begin in lines 1 and 22"
    assert trace(ONE + CALLED + NEXT, section=2).x[0] == pytest.approx(10e-6)


def test_heights_alone_are_parted_by_titles_like_the_first() -> None:
    heights = "1\n2\n5\n3\n2\n4\n"
    data = f"Trace 1\nspacing: 2 um\nz [um]\n{heights}Trace 2\n{heights}"
    assert told(data)[:2] == ("trace-sections", 11)
    assert trace(data, section=2).z == pytest.approx(1e-6 * np.array([1, 2, 5, 3, 2, 4]))
    assert trace(data, section=2).step == pytest.approx(2e-6)
    spoilt = trace(f"Trace 1\nspacing: 2 um\nz [um]\n{heights}what?\n{heights}")  # no title: a cell of a row spoilt
    assert (len(spoilt.x), spoilt.invalid) == (13, 1)


@pytest.mark.parametrize(("second", "begins"), [(ONE, 22), ("\n".join(ONE.split("\n")[18::-1]) + "\n", 22)])
def test_runs_of_x_are_asked_for_by_number(second: str, begins: int) -> None:
    data = CALLED + ONE + second + "".join(f"{0.25 + 0.5 * n};{n % 7}\n" for n in range(20))
    code, line, what = told(data)
    assert (code, line) == ("trace-goes-back", begins)
    assert "3 traces" in what
    found = trace(data, section=2)
    assert abs(found.x[-1] - found.x[0]) == pytest.approx(found.length)
    assert len(found.x) == second.count("\n")


@settings(deadline=None)
@given(st.lists(st.tuples(st.integers(3, 40), st.booleans(), st.booleans()), min_size=2, max_size=5))
def test_every_row_of_a_file_is_in_one_of_its_traces(parts: list[tuple[int, bool, bool]]) -> None:
    """Whatever the lengths, the ways and the lines between: numbered in order, each comes back whole."""
    data, sizes = CALLED, []
    for number, (count, falls, headed) in enumerate(parts):
        places = np.linspace(0.0, 50.0, count)[:: -1 if falls else 1]
        again = number and (headed or falls or parts[number - 1][1])  # there and back shares its turning point
        data += (f"run: {number}\n{CALLED}" if again else "") + "".join(
            f"{x:.3f};{(number + n) % 5}\n" for n, x in enumerate(places)
        )
        sizes.append(count)
    assert [len(trace(data, section=n).x) for n in range(1, len(parts) + 1)] == sizes
    assert told(data, section=len(parts) + 1)[0] == "trace-section-unknown"


# ---- what cannot be a trace -----------------------------------------------------------------------------------------


def test_heights_that_stand_still_are_told() -> None:
    flat = "".join(f"{0.5 * n};3.5\n" for n in range(20))
    code, line, what = told(CALLED + flat)
    assert (code, line, what) == ("trace-constant", 2, "all its 20 points have the same height")
    (doubt,) = trace(CALLED + flat + NEXT).doubts
    assert (doubt.code, doubt.line) == ("trace-stands-still", 2)
    assert doubt.what == "20 of its 40 points in a row have the same height, up to line 21: they are used"


# ---- through the whole stream ---------------------------------------------------------------------------------------


def test_sections_and_worksheets_of_one_file_are_traces_of_their_own(folder: Folder) -> None:
    z = [[2.0 * n, 0.4 * float(np.sin(n / 9)) + 0.1 * (n % 3)] for n in range(2400)]
    lines = "".join(f"{x};{h:.4f}\n" for x, h in z)
    book = workbook({"a": [["x [um]", "z [um]"], *z], "b": [["x [um]", "z [um]"], *([x, 1.1 * h] for x, h in z)]})
    head = HEAD.replace("\n", ",section,sheet\n")
    rows = "".join(
        bore(name, "cold-build", n).replace("\n", f",{more}\n")
        for n, (name, more) in enumerate(
            (("t", "1,"), ("t", "2,"), ("t", "1,"), ("t", ","), ("b.xlsx", ",a"), ("b.xlsx", ",b"), ("b.xlsx", ",c")), 1
        )
    )
    found = read(folder, rows, {"t": (CALLED + lines + CALLED + lines).encode(), "b.xlsx": book}, head)
    assert uses(found) == ["", "", "same-file", "trace-not-usable", "", "", "trace-not-usable"]
    codes = {(each.file, each.code) for each in found.problems}
    assert codes == {
        ("pump/traces.csv", "same-file"),
        ("pump/traces/t", "trace-sections"),
        ("pump/traces/b.xlsx", "worksheet-unknown"),
    }
    assert values(folder, found)["bore.rk", "cold-build", AT].n == 4


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    return Folder(tmp_path)
