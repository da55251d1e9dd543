"""Trace files as instruments write them: every form to the same metres, what cannot be trusted told with its line.

The three trace files under files/ were made for this, headers and points, with quirks met in real ones: Latin-1 with
line ends CR CR LF under titles, facts with a comma in them, stated results as a table, two separators after each point,
places rounded unevenly; UTF-16 with points numbered; a row of units with a flag for each point.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitegen.reader.blocked import Blocked
from sitegen.traces.points import Asked
from sitegen.traces.reading import read_trace, trace_of

FILES = Path(__file__).parent / "files"
ROWS = [(0.0, 1.5), (2.0, -0.25), (4.5, 0.75), (6.0, 2.0)]  # um: uneven steps


def body(separator: str = ";", end: str = "\n", decimal: str = ".") -> str:
    return end.join(f"{x}{separator}{z}".replace(".", decimal) for x, z in ROWS) + end


def told(data: str | bytes, **how: object) -> tuple[str, int, str]:
    with pytest.raises(Blocked) as blocked:
        trace_of(data.encode() if isinstance(data, str) else data, "t.txt", Asked(**how))  # type: ignore[arg-type]
    (problem,) = blocked.value.problems
    assert problem.file == "t.txt"
    assert problem.expected
    return problem.code, problem.line, problem.what


def test_stylus_file_with_latin1_micro_sign_and_doubled_line_ends() -> None:
    found = read_trace(FILES / "profile_latin1_crcrlf.csv", "p", Asked())
    assert found.encoding == "iso-8859-1"
    assert found.z[:3] == pytest.approx([-0.00752e-6, -0.00559e-6, -0.00556e-6])  # as printed in the file
    assert found.x[1] == pytest.approx(0.2e-6)
    assert found.facts["probe tip"] == "Radius: 2.5 µm"
    assert found.stated["ra"] == pytest.approx(0.00412e-6)
    assert found.stated["rq"] == pytest.approx(0.00468e-6)


def test_utf16_with_a_column_of_numbers_of_points_before_x_and_y() -> None:
    found = read_trace(FILES / "profile_utf16.csv", "p", Asked())
    assert found.encoding == "utf-16"
    assert found.x[0] == pytest.approx(-80e-6)
    assert found.x[1] == pytest.approx(-79.91666666666667e-6)
    assert found.z[:2] == pytest.approx([-1.25e-6, -1.241585290151921e-6])


def test_units_row_and_validity_flag() -> None:
    found = read_trace(FILES / "profile_validity_flag.txt", "p", Asked())
    assert (found.x[0], found.z[0]) == pytest.approx((7.25e-3, 98.4e-3))
    assert found.invalid == 0
    marked = (FILES / "profile_validity_flag.txt").read_bytes().replace(b"98.400008;1", b"98.400008;0", 1)
    off = trace_of(marked, "p", Asked())
    assert off.invalid == 1
    assert np.isnan(off.z).sum() == 1


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r", "\r\r\n"])
@pytest.mark.parametrize(
    ("separator", "decimal"), [(";", "."), ("\t", "."), (",", "."), ("  ", "."), (";", ","), ("\t", ",")]
)
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "iso-8859-1"])
def test_the_same_trace_in_every_form(separator: str, decimal: str, end: str, encoding: str) -> None:
    mark = separator.strip(" ") or "\t"
    head = f"Probe: 2 µm{end}{end}x [µm]{mark}z [µm]{end}"
    found = trace_of((head + body(separator, end, decimal)).encode(encoding), "p", Asked())
    assert found.x == pytest.approx(1e-6 * np.array([x for x, _ in ROWS]))
    assert found.z == pytest.approx(1e-6 * np.array([z for _, z in ROWS]))
    assert found.facts["probe"] == "2 µm"


@pytest.mark.parametrize(("unit", "metres"), [("nm", 1e-9), ("um", 1e-6), ("µm", 1e-6), ("mm", 1e-3), ("in", 0.0254)])
def test_units_from_the_record(unit: str, metres: float) -> None:
    found = trace_of(body().encode(), "p", Asked(x_unit=unit, z_unit=unit))
    assert found.z == pytest.approx(metres * np.array([z for _, z in ROWS]))


def test_heights_only_with_count_and_spacing_above() -> None:
    found = trace_of(b"points: 4\nspacing: 2 um\nz [nm]\n10\n-20\n30\n5\n", "p", Asked())
    assert found.x == pytest.approx([0, 2e-6, 4e-6, 6e-6])
    assert found.z == pytest.approx([10e-9, -20e-9, 30e-9, 5e-9])


def test_overflow_marks_are_points_that_are_not_valid() -> None:
    found = trace_of(b"x [um];z [um]\n0;1\n1;2\n2;***.***\n3;4\n4;5\n5;4\n6;1\n", "p", Asked())
    assert found.invalid == 1
    assert len(found.x) == 7
    (doubt,) = found.doubts
    assert (doubt.file, doubt.line, doubt.column_name, doubt.code) == ("p", 4, "z [um]", "trace-rows-not-used")


@pytest.mark.parametrize("cell", ["NaN", "", "***", "lost", "what?", "#N/A"])
@pytest.mark.parametrize("head", ["x [um];z [um]\n", "Probe;2 um\nx;z\num;um\n", ""])
@pytest.mark.parametrize("spoilt", [[0], [1], [100], [250], [100, 101, 102], [100, 250, 799], [0, 1, 2]])
def test_no_row_is_lost_around_a_spoilt_cell(cell: str, head: str, spoilt: list[int]) -> None:
    if (spoilt[0] == 0 and not (head and cell != "what?")) or (spoilt == [1] and not head and cell == "what?"):
        return  # without a row of headers, or with a strange word, the first rows may be a line above the points
    rows = [f"{0.5 * at:.1f};{cell if at in spoilt else at % 7}" for at in range(800)]
    found = trace_of((head + "\n".join(rows)).encode(), "p", Asked(x_unit="um", z_unit="um"))
    assert len(found.x) == 800
    assert found.invalid == len(spoilt)
    assert np.flatnonzero(np.isnan(found.z)).tolist() == spoilt
    (doubt,) = found.doubts
    assert doubt.line == head.count("\n") + spoilt[0] + 1
    assert f"{len(spoilt)} of its 800 rows" in doubt.what
    assert "column 2" in doubt.what


@pytest.mark.parametrize("cell", ["NaN", "", "***", "lost", "what?", "#N/A"])
@pytest.mark.parametrize("head", ["points: 800\nz [nm]\n", "z [nm]\n", "a title\nheight\n"])
@pytest.mark.parametrize("spoilt", [[0], [1], [100], [250, 799], [0, 100, 101, 102]])
def test_no_height_is_lost_where_they_stand_alone(cell: str, head: str, spoilt: list[int]) -> None:
    """The first height without a number is one, if headers or a count show it; the last if it is not blank."""
    rows = [cell if at in spoilt else str(at % 7) for at in range(800)]
    data = (head + "\n".join(rows)).encode()
    if not cell and (0 in spoilt or 799 in spoilt):
        if "points" in head:
            assert told(data, z_unit="nm", step=1e-6)[0] == "trace-cut-short"
        return
    found = trace_of(data, "p", Asked(z_unit="nm", step=1e-6))
    assert (len(found.x), found.invalid) == (800, len(spoilt))
    assert np.flatnonzero(np.isnan(found.z)).tolist() == spoilt
    assert [each.line for each in found.doubts] == [head.count("\n") + spoilt[0] + 1]


@pytest.mark.parametrize("place", ["NaN", ""])
def test_a_row_without_a_place_is_counted_and_the_others_stay(place: str) -> None:
    rows = [f"{place if at == 100 else 0.5 * at};{at % 7}" for at in range(800)]
    found = trace_of(("x [um];z [um]\n" + "\n".join(rows)).encode(), "p", Asked())
    assert (len(found.x), found.invalid) == (799, 1)
    assert (found.doubts[0].line, found.doubts[0].column_name) == (102, "x [um]")


def test_two_runs_in_one_trace_are_refused_and_small_steps_back_are_told() -> None:
    once = [f"{at};{at % 7}" for at in range(100)]
    head = "x [um];z [um]\n"
    code, line, what = told(head + "\n".join([*once, *once]))
    assert (code, line) == ("trace-goes-back", 102)
    assert (
        what == "x goes back here, by 0.099 mm in all, so that the file holds 2 traces, which begin in lines 2 and 102"
    )
    assert told(head + "\n".join([*once, *once[::-1]]))[:2] == ("trace-goes-back", 103)  # there and back again
    falling = trace_of((head + "\n".join(once[::-1])).encode(), "p", Asked())
    assert not falling.doubts
    shaken = trace_of((head + "\n".join([*once[:50], once[51], once[50], once[50], *once[52:]])).encode(), "p", Asked())
    assert [(each.code, each.line) for each in shaken.doubts] == [("trace-steps-back", 53), ("trace-places-repeat", 54)]


def test_what_cannot_be_trusted_is_told_with_its_line() -> None:
    assert told("nothing\nhere\n")[0] == "trace-no-points"
    assert told(body())[:2] == ("trace-unit-missing", 0)
    assert told("x;z\n" + body())[:2] == ("trace-unit-missing", 1)
    code, line, what = told("x [um];z [K]\n" + body())
    assert (code, line) == ("trace-unit-missing", 1)
    assert '"K" is no unit of length' in what
    assert told("points: 9\nx [um];z [um]\n" + body())[0] == "trace-cut-short"
    assert "announces 9 points and holds 4" in told("points: 9\nx [um];z [um]\n" + body())[2]
    assert told("x [um];z [um]\n" + body(), z_unit="nm")[0] == "trace-unit-contradicted"
    assert told("x [um];z [um]\n" + body(), z="height")[0] == "trace-column-missing"
    assert told("z [um]\n1\n2\n3\n4\n")[0] == "trace-step-missing"
    assert told("a [um];b [um];c [um];d [um]\n1;2;3;4\n2;3;4;5\n3;4;5;6\n")[0] == "trace-columns-unclear"
    assert told("x [um];z [um]\n1;2\n1;3\n1;4\n")[0] == "trace-no-length"
    assert told("x [um];z [um]\n1;2\n2;3\n3;4\n" + "lost;lost\n" * 5)[0] == "trace-not-numbers"


def test_rows_of_many_shapes_are_one_block() -> None:
    """Signs, exponents and lengths differ from row to row; the block begins where the width of rows changes."""
    rows = ["-12.5;3e-2", "0;1", "+7.;.5", "20;-1E+1", "21;***", "22;3"]
    found = trace_of("\n".join(["sample 4", "1;2;3", "x [um];z [um]", *rows]).encode(), "p", Asked())
    assert found.x == pytest.approx(1e-6 * np.array([-12.5, 0, 7, 20, 21, 22]))
    assert found.z[:4] == pytest.approx(1e-6 * np.array([0.03, 1, 0.5, -10]))
    assert found.invalid == 1


@given(st.binary(max_size=600))
def test_any_bytes_are_a_trace_or_are_told(data: bytes) -> None:
    try:
        found = trace_of(data, "p", Asked(x_unit="um", z_unit="um"))
    except Blocked as blocked:
        found = None
        problems = blocked.problems
    if found is None:
        assert problems
    else:
        assert np.isfinite(found.x).all()
