"""Inspection records: used, set aside with the reason, or with their image taken out; and what is concluded."""

from __future__ import annotations

import io
import os
from dataclasses import replace
from pathlib import Path

import pytest
from PIL import Image
from tables.house import Folder, column, program, told

from sitegen.program.model import Program
from sitegen.reasons import CATALOGUE
from sitegen.streams.inspection import STREAM
from sitegen.streams.inspection.steps import pair_name, pair_of
from sitegen.vocabulary import Book, Key, Readings, Value, Verdict

HEAD = "engine,phase,cylinder,part,place,inspector,band_share [%],band_width [mm],grade,scuffing,image,remark\n"
FIRST = "B1,teardown,1,top-ring,back of the gap,M. A.,55,0.66,2,none,,\n"


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Folder:
    monkeypatch.setenv("SITEGEN_CACHE", str(tmp_path / "cache"))
    return Folder(tmp_path)


def read(folder: Folder, rows: str, head: str = HEAD) -> Readings:
    return folder.read(folder.source(head + rows, name="seen.csv", stream="inspection"))


def one_fault(folder: Folder, row: str, code: str) -> str:
    """The one complaint about a second row; the first is used, the second set aside with this code."""
    found = read(folder, FIRST + row)
    assert column(found, "use") == ["", code]
    assert code in CATALOGUE
    (said,) = told(found)
    assert said.startswith("pump/seen.csv:3: warning: ")
    return said


def picture(folder: Folder, name: str, form: str = "PNG") -> Path:
    path = folder.path / name
    path.parent.mkdir(parents=True, exist_ok=True)
    out = io.BytesIO()
    Image.new("L", (30, 20), 120).save(out, form)
    path.write_bytes(out.getvalue())
    return path


# ---- rows -----------------------------------------------------------------------------------------------------------


def test_a_row_in_si(folder: Folder) -> None:
    found = read(folder, FIRST)
    assert told(found) == ["No problems."] or not found.problems
    assert column(found, "band_share") == [55.0]
    assert column(found, "band_width") == [pytest.approx(0.66e-3)]
    assert (column(found, "grade"), column(found, "scuffing")) == ([2.0], ["none"])


@pytest.mark.parametrize(
    ("row", "code", "said"),
    [
        ("B1,teardown,1,bore,thrust,M. A.,40,,1,none,,\n", "band-not-of-ring", "has no ring face"),
        ("B1,teardown,1,bore,thrust,M. A.,,,4,none,,\n", "grade-not-on-scale", "4 is no grade of the program's scale"),
        ("B1,teardown,1,bore,thrust,M. A.,,,1.5,none,,\n", "grade-not-on-scale", "Expected 1, 2 or 3"),
        ("B1,teardown,1,bore,thrust,M. A.,,,,,,\n", "no-figure", "nothing was seen in this row"),
        ("B1,teardown,1,top-ring,back,M. A.,140,,1,none,,\n", "outside-limits", "140"),
        ("B1,teardown,1,bore,thrust,M. A.,,,1,a bit,,\n", "unknown-word", "none, light, marked"),
        ("B1,teardown,1,liner,thrust,M. A.,,,1,none,,\n", "unknown-word", "top-ring"),
        ("B1,teardown,1,bore,thrust,,,,1,none,,\n", "required-empty", "inspector"),
        (FIRST, "repeat-unnumbered", "the same inspector judged the same place"),
    ],
)
def test_rows_set_aside(folder: Folder, row: str, code: str, said: str) -> None:
    assert said in one_fault(folder, row, code)


def test_a_second_look_has_a_number_and_a_second_image_needs_none(folder: Folder) -> None:
    picture(folder, "a.png")
    picture(folder, "b.png")
    head = HEAD.replace("remark", "repeat")
    rows = FIRST[:-1] + "1\n" + FIRST[:-1] + "2\n"
    rows += "".join(f"B1,teardown,1,top-ring,back of the gap,M. A.,,,,,{name}.png,\n" for name in "ab")
    found = read(folder, rows, head)
    assert not found.problems
    assert set(column(found, "use")) == {""}


def test_grades_without_a_scale_are_told_once_and_the_rest_is_used(folder: Folder) -> None:
    source = folder.source(HEAD + FIRST + FIRST.replace("M. A.", "K. L."), name="seen.csv", stream="inspection")
    found = STREAM.read(replace(program(folder.path, (source,)), inspection=None), (source,))
    assert column(found, "use") == ["", ""]
    (said,) = told(found)
    assert "states no scale of grades" in said


# ---- images ---------------------------------------------------------------------------------------------------------


def image_row(name: str) -> str:
    quoted = '"' + name.replace('"', '""') + '"'
    return f"B1,teardown,1,top-ring,back of the gap,M. A.,55,0.66,2,none,{quoted},\n"


def taken_out(folder: Folder, name: str) -> str:
    """What is said of an image that cannot be shown; the row keeps its numbers."""
    found = read(folder, image_row(name))
    assert column(found, "use") == [""]
    assert column(found, "image") == [None]
    assert column(found, "band_share") == [55.0]
    (problem,) = found.problems
    assert (problem.file, problem.line, problem.column_name) == ("pump/seen.csv", 2, "image")
    assert problem.level == "warning"
    (said,) = told(found)
    assert str(folder.path.parent) not in said
    assert "the rest of the row is used" in said
    return said


@pytest.mark.parametrize("name", ["images/ring.png", "images/Rücken des Stoßes.png", "images/a b.png"])
def test_a_good_image_stays(folder: Folder, name: str) -> None:
    picture(folder, name)
    found = read(folder, image_row(name))
    assert not found.problems
    assert column(found, "image") == [name]


@pytest.mark.skipif(os.name == "nt", reason="such names cannot be there on Windows")
@pytest.mark.parametrize(
    "name", ['a<b>"c".png', "q?x=1#top.png", "100%2e.png", "aux.png", "a*|b.png", "x;.png", "'&.png"]
)
def test_names_with_reserved_characters_are_read_as_they_are(folder: Folder, name: str) -> None:
    picture(folder, name)
    found = read(folder, image_row(name))
    assert not found.problems
    assert column(found, "image") == [name]


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("images/none.png", "is not there"),
        ("../secret.png", "leaves the program's folder"),
        ("images/../../secret.png", "leaves the program's folder"),
        ("/etc/passwd", "is not written from the program's folder"),
        ("C:/secret.png", "is not written from the program's folder"),
        ("C:secret.png", "is not written from the program's folder"),
        ("images\\ring.png", "is not written from the program's folder"),
        ("a\u202egnp.exe", "is not written from the program's folder"),
        ("x" * 300 + ".png", "is not written from the program's folder"),
        ("images", "is not a plain file"),
        (".", "is not a plain file"),
        ("seen.csv", "is not an image"),
    ],
)
def test_images_that_are_not_the_program_s(folder: Folder, name: str, said: str) -> None:
    picture(folder, "images/ring.png")
    picture(folder, "../secret.png")
    assert said in taken_out(folder, name)


@pytest.mark.skipif(os.name == "nt", reason="links need a privilege on Windows")
def test_a_link_does_not_lead_out(folder: Folder) -> None:
    outside = picture(folder, "../secret.png")
    (folder.path / "ring.png").symlink_to(outside)
    assert "leaves the program's folder through a link" in taken_out(folder, "ring.png")
    (folder.path / "images").symlink_to(folder.path.parent, target_is_directory=True)
    assert "leaves the program's folder through a link" in taken_out(folder, "images/secret.png")
    (folder.path / "loop").symlink_to(folder.path / "loop")
    assert "the image" in taken_out(folder, "loop")
    picture(folder, "real.png")
    (folder.path / "inside.png").symlink_to(folder.path / "real.png")
    assert not read(folder, image_row("inside.png")).problems


@pytest.mark.skipif(os.name == "nt", reason="no such files on Windows")
def test_a_pipe_is_not_waited_for(folder: Folder) -> None:
    os.mkfifo(folder.path / "pipe.png")
    assert "is not a plain file" in taken_out(folder, "pipe.png")


def test_damaged_and_oversized_images_are_named(folder: Folder) -> None:
    whole = picture(folder, "ring.png").read_bytes()
    (folder.path / "cut.png").write_bytes(whole[:-25])
    assert "is cut short" in taken_out(folder, "cut.png") or "is damaged" in taken_out(folder, "cut.png")
    header = whole[:16] + (60_000).to_bytes(4, "big") * 2 + whole[24:29]
    import zlib

    bomb = header + zlib.crc32(header[12:29]).to_bytes(4, "big") + whole[33:]
    (folder.path / "bomb.png").write_bytes(bomb)
    assert "has too many pixels" in taken_out(folder, "bomb.png")


# ---- conclusions ----------------------------------------------------------------------------------------------------


def run(
    folder: Folder, rows: str, of: Program | None = None, head: str = HEAD
) -> dict[tuple[str, Key], Value | Verdict]:
    source = folder.source(head + rows, name="seen.csv", stream="inspection")
    plan = of or program(folder.path, (source,))
    readings = {"inspection": STREAM.read(plan, (source,))}
    results: dict[tuple[str, Key], Value | Verdict] = {}
    for step in STREAM.steps:
        for engine in [build.id for build in plan.builds] if step.scope == "engine" else [""]:
            own = {"inspection": Readings(readings["inspection"].frame)}
            if engine:
                frame = own["inspection"].frame
                own = {"inspection": Readings(frame[frame["engine"] == engine])}
            for each in step.run(plan, engine, own, Book({}, ())):
                assert isinstance(each, Value | Verdict)
                name = each.measure if isinstance(each, Value) else each.rule
                assert (name, each.key) not in results
                results[name, each.key] = each
    return results


def row(
    cylinder: int, place: str, inspector: str, share: str, grade: str, word: str = "none", part: str = "top-ring"
) -> str:
    return f"B1,teardown,{cylinder},{part},{place},{inspector},{share},,{grade},{word},,\n"


def test_bands_count_places_alike_and_grades_inspectors_alike(folder: Folder) -> None:
    # place 1: 40 and 44 by two, place 2: 60 by one. Over places (42 + 60) / 2 = 51, not the mean of rows, 48
    # grades: A gave 1 and 3, mean 2; B gave 3. Over inspectors 2.5, not the mean of rows, 2.33
    rows = row(1, "one", "A", "40", "1") + row(1, "one", "B", "44", "3") + row(1, "two", "A", "60", "3", "light")
    found = run(folder, rows)
    key = Key("B1", 1, "nitrided", "teardown", "top-ring")
    band, grade = found["inspection.band_share", key], found["inspection.grade", key]
    assert isinstance(band, Value)
    assert isinstance(grade, Value)
    assert (band.value, band.n, band.of, band.low) == (51.0, 2, "place", None)
    assert (grade.value, grade.n, grade.of) == (2.5, 2, "inspector")
    finding = found["inspection.scuffing", key]
    assert isinstance(finding, Verdict)
    assert finding.word == "light"  # the most anybody saw


def test_a_cylinder_looked_at_but_not_graded_says_so(folder: Folder) -> None:
    found = run(folder, row(1, "one", "A", "40", ""))
    value = found["inspection.grade", Key("B1", 1, "nitrided", "teardown")]
    assert isinstance(value, Value)
    assert (value.status, value.reason) == ("refused", "no-grade")


def test_agreement_takes_only_places_both_graded(folder: Folder) -> None:
    rows = ""
    for cylinder in (1, 2, 3, 4):
        rows += row(cylinder, "one", "A", "", "1") + row(cylinder, "one", "B", "", "1")
        rows += row(cylinder, "two", "A", "", "3") + row(cylinder, "two", "B", "", "3" if cylinder > 1 else "1")
        rows += row(cylinder, "three", "A", "", "2") + row(cylinder, "four", "C & D", "", "2")
    found = run(folder, rows)
    value = found["inspection.agreement", Key(at="pair:A & B")]
    assert isinstance(value, Value)
    # by hand: p_o = 7/8, p_e = (4 · 5 + 4 · 3) / 64 = 1/2, kappa = 3/4: the ends of the scale weigh as no agreement
    assert value.value == pytest.approx(0.75)
    assert value.n == 8
    assert [key for name, key in found if name == "inspection.agreement"] == [Key(at="pair:A & B")]


def test_agreement_is_refused_where_it_cannot_be_told(folder: Folder) -> None:
    rows = "".join(row(c, "one", who, "", "1") for c in (1, 2, 3) for who in "AB")
    value = run(folder, rows)["inspection.agreement", Key(at="pair:A & B")]
    assert isinstance(value, Value)
    assert (value.status, value.reason) == ("refused", "few-common-places")
    alone = run(folder, row(1, "one", "A", "", "1"))["inspection.agreement", Key()]
    assert isinstance(alone, Value)
    assert alone.reason == "few-common-places"


def test_pairs_never_share_a_name() -> None:
    names = ["A", "B", "A & B", "B & C", "C", "&", "&&", "A &", "& B"]
    made = {pair_name(one, other): (one, other) for one in names for other in names}
    assert len(made) == len(names) ** 2
    assert all(pair_of(name) == pair for name, pair in made.items())


def test_without_a_scale_grades_are_refused_and_bands_stand(folder: Folder) -> None:
    source = folder.source(HEAD + FIRST, name="seen.csv", stream="inspection")
    found = run(folder, FIRST, replace(program(folder.path, (source,)), inspection=None))
    value = found["inspection.grade", Key("B1", 1, "nitrided", "teardown")]
    assert isinstance(value, Value)
    assert value.reason == "no-grade-scale"
    assert ("inspection.band_share", Key("B1", 1, "nitrided", "teardown", "top-ring")) in found
