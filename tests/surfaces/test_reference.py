"""Real trace files through the whole of it, held against the results that others state for them.

Origin and licence of each file: files/README.md.
"""

from __future__ import annotations

import html
import re
import shutil
from pathlib import Path

import numpy as np
import pytest
from surfaces.test_forms import workbook

from sitegen import workflow
from sitegen.methods import profile, roughness
from sitegen.traces.points import Asked
from sitegen.traces.reading import read_trace
from sitegen.vocabulary import Key, Value

ACCEPTED = Path(__file__).parents[1] / "accepted" / "surfaces"
FILES = Path(__file__).parent / "files"
HEAD = "engine,trace,phase,cylinder,part,side,height,repeat,evaluation [mm],filter,sheet,section,stated_line\n"
# of the reference sine, in its own file: PA, PQ, PSK, PKU, Pt and PZ, unfiltered
STATED = {"ra": 0.63663, "rq": 0.70711, "rsk": 0.0, "rku": 1.49998, "rt": 2.0, "rz": 2.0}


def laid(folder: Path, rows: str, **traces: bytes) -> Path:
    """A programs folder with these traces."""
    programs = Path(shutil.copytree(ACCEPTED, folder / "programs"))
    (programs / "pump" / "records" / "traces.csv").write_text(HEAD + rows, encoding="utf-8")
    for name, data in traces.items():
        (programs / "pump" / "traces" / name.replace("__", ".")).write_bytes(data)
    return programs


def concluded(folder: Path, rows: str, **traces: bytes) -> dict[str, Value]:
    """Results of a program folder with these traces, of the bore of B1 cylinder 1 in the first phase."""
    examination = workflow.examine(laid(folder, rows, **traces))
    assert [each for each in examination.problems if "traces" in each.file] == []
    (conclusion,) = workflow.conclude(examination)
    key = Key("B1", 1, "nitrided", "cold-build", "thrust/mid-stroke")
    return {measure: value for (measure, at), value in conclusion.values.items() if at == key}


def row(name: str, *more: str) -> str:
    return ",".join(["B1", f"traces/{name}", "cold-build", "1", "bore", "thrust", "mid-stroke", "1", *more]) + "\n"


def test_reference_sine_has_its_stated_parameters_in_the_results(tmp_path: Path) -> None:
    """As unfiltered: evaluated over the 4 mm of its 8000 points, each of which stands for 0.5 um."""
    sine = (FILES / "profile_sine_nist.xml").read_bytes()
    found = concluded(tmp_path, row("sine.xml", "4", "by-instrument", "", "", ""), sine__xml=sine)
    for name, stated in STATED.items():
        value = found[f"bore.{name}"].value
        assert value == pytest.approx(stated, abs=2e-4), name  # results hold four digits
        assert "filtered-by-instrument" in found[f"bore.{name}"].flags


def test_the_same_sine_in_a_worksheet_and_below_another_trace_gives_the_same(tmp_path: Path) -> None:
    sine = read_trace(FILES / "profile_sine_nist.xml", "sine.xml", Asked())
    points = [[round(1e6 * x, 1), round(1e6 * z, 4)] for x, z in zip(sine.x.tolist(), sine.z.tolist(), strict=True)]
    book = workbook({"flat": [["x [um]", "z [um]"], *([x, 0.01 * z] for x, z in points)],
                     "sine": [["x [um]", "z [um]"], *points]})  # fmt: skip
    lines = "".join(f"{x};{z}\n" for x, z in points)
    text = f"Trace 1\nx [um];z [um]\n{lines.replace('0.', '0.0')}Trace 2\nx [um];z [um]\n{lines}".encode()
    (tmp_path / "book").mkdir()
    (tmp_path / "text").mkdir()
    in_book = concluded(tmp_path / "book", row("b.xlsx", "4", "by-instrument", "sine", "", ""), b__xlsx=book)
    in_text = concluded(tmp_path / "text", row("t.txt", "4", "by-instrument", "", "2", ""), t__txt=text)
    for name, stated in STATED.items():
        assert in_book[f"bore.{name}"].value == pytest.approx(stated, abs=2e-4), name
        assert in_text[f"bore.{name}"].value == pytest.approx(stated, abs=2e-4), name


def test_results_an_instrument_states_are_those_of_its_levelled_points() -> None:
    """It states Ra, Rq and skewness from 468 to 733 um, unfiltered; a line is taken off, as its cursors do."""
    found = read_trace(FILES / "stylus_468_to_733_um.csv", "stylus.csv", Asked())
    assert (len(found.x), found.invalid, found.doubts) == (1697, 0, ())
    assert (found.x[0], found.x[-1]) == (pytest.approx(468e-6, abs=0.1e-6), pytest.approx(733e-6, abs=0.1e-6))
    ours = roughness.heights(found.z - profile.line(found.x, found.z))
    assert 1e6 * ours.ra == pytest.approx(0.00525, abs=0.000005)
    assert 1e6 * ours.rq == pytest.approx(0.01143, abs=0.00001)
    assert ours.rsk == pytest.approx(6.96, abs=0.01)
    assert found.stated == {"ra": pytest.approx(0.00525e-6), "rq": pytest.approx(0.01143e-6)}
    assert np.isfinite(found.z).all()


@pytest.mark.parametrize(
    ("filtered", "said"),
    [
        ("by-instrument", "Filter: by the instrument, before the trace was saved, with its own cutoffs λc 0.8 mm, λs "
         "2.5 µm; not filtered again."),
        ("two-step", "Filter: two steps, ISO 13565-1; λc 0.8 mm, λs 2.5 µm."),
    ],
)  # fmt: skip
def test_the_page_says_who_filtered_and_whose_the_cutoffs_are(tmp_path: Path, filtered: str, said: str) -> None:
    sine = (FILES / "profile_sine_nist.xml").read_bytes()
    programs = laid(tmp_path, row("sine.xml", "4", filtered, "", "", "secant"), sine__xml=sine)
    site = workflow.render(workflow.examine(programs), None).site
    (page,) = (data.decode() for name, data in site.items() if re.search(r"b1.*1.*\.html$", name) and b"Bore" in data)
    text = html.unescape(re.sub(r"<[^>]+>", "", page)).replace("\xa0", " ").replace("\u202f", " ")
    assert said in " ".join(text.split())
    assert "Stated results of the Rk family are held against the secant, as the instrument draws it." in text
