"""Records of layers: what is read, what is set aside and why, what a ring of a lot carries, and the sentence."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest
from pages.fixture import FixtureAnalysis
from simulate import layers as truth
from simulate import programs
from tables.house import Folder, column, program, told

from sitegen import registry
from sitegen.page.addresses import Addresses
from sitegen.page.view import Desk, View
from sitegen.program.model import Coating, Layer, Program, Tool
from sitegen.program.model import Folder as ProgramFolder
from sitegen.reasons import CATALOGUE
from sitegen.streams.layers import STREAM
from sitegen.streams.layers.steps import run
from sitegen.streams.surfaces.cylinder import layer_reading
from sitegen.streams.surfaces.left import LEFT, run_left
from sitegen.vocabulary import Book, Key, Readings, Value, Verdict
from sitegen.workflow import Conclusion

SOFT = Layer("soft", "", 6e-6, 1e-6, running_in=True)
GRADED = Coating("graded", "graded", 0, layers=(SOFT, Layer("hard", "", 15e-6, 2e-6)))
HEAD = "engine,cylinder,lot,ring,layer,method,angle [deg],repeat,ball [mm],outer [mm],inner [mm],thickness [um],instrument\n"  # noqa: E501
CRATER = ",,G-1,1,soft,crater,90,,20,0.8,0.4,,micro\n"  # (0.64 - 0.16)/(4 · 20) mm: 6 um
FACE_WEAR = "ring.face_wear"


def section(ring: int, thick: float, angle: int = 90, layer: str = "soft") -> str:
    return f",,G-1,{ring},{layer},section,{angle},,,,,{thick},micro\n"


def built(angle: int, thick: float) -> str:
    return f"B1,1,,,soft,section,{angle},,,,,{thick},micro\n"


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    return Folder(tmp_path)


def of(folder: Folder, coating: Coating = GRADED) -> Program:
    """The small program with rings of one lot."""
    plan = program(folder.path)
    builds = tuple(
        replace(build, places=tuple(replace(place, coating="graded", lot="G-1") for place in build.places))
        for build in plan.builds
    )
    tools = {**plan.definitions.tools, "micro": Tool("micro", "microscope", "microscope", 1e-7)}
    return replace(
        plan, builds=builds, definitions=replace(plan.definitions, coatings={"graded": coating}, tools=tools)
    )


def read(folder: Folder, rows: str, coating: Coating = GRADED) -> Readings:
    source = folder.source(HEAD + rows, name="layers.csv", stream="layers")
    return STREAM.read(replace(of(folder, coating), records=(source,)), (source,))


def thickness(folder: Folder, rows: str, coating: Coating = GRADED) -> dict[str, Value]:
    """Of the rings of cylinder 1 of B1, by layer."""
    found = run(of(folder, coating), "", {"layers": read(folder, rows, coating)}, Book({}, ()))
    return {each.key.at: each for each in found if isinstance(each, Value) and each.key[:2] == ("B1", 1)}


# ---- what is read ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("row", "code", "name"),
    [
        (",,,1,soft,crater,90,,20,0.8,0.4,,micro", "ring-unclear", "lot"),
        ("B1,1,G-1,1,soft,crater,90,,20,0.8,0.4,,micro", "ring-unclear", "lot"),
        ("B1,,,,soft,crater,90,,20,0.8,0.4,,micro", "ring-unclear", "cylinder"),
        (",,G-1,,soft,crater,90,,20,0.8,0.4,,micro", "ring-unclear", "ring"),
        (",,G-1,2,soft,crater,90,,,0.8,0.4,,micro", "crater-not-whole", "ball [mm]"),
        (",,G-1,2,soft,crater,90,,20,0.8,,,micro", "crater-not-whole", "inner [mm]"),
        (",,G-1,2,soft,crater,90,,20,0.4,0.8,,micro", "crater-reversed", "inner [mm]"),
        (",,G-1,2,soft,crater,90,,1.5,0.8,0.4,,micro", "crater-too-wide", "outer [mm]"),
        (",,G-1,2,soft,section,90,,20,,,,micro", "no-figure", "thickness [um]"),
        (",,G-1,2,soft,section,90,,,,,0,micro", "outside-limits", "thickness [um]"),
        (",,G-1,2,soft,section,90,,,,,6,feeler-1", "wrong-tool", "instrument"),
        (",,G-1,1,soft,crater,90,,20,0.81,0.4,,micro", "repeat-unnumbered", "repeat"),
    ],
)
def test_a_row_that_cannot_be_is_set_aside_and_named(folder: Folder, row: str, code: str, name: str) -> None:
    found = read(folder, f"{CRATER}{row}\n")
    assert column(found, "use") == ["", code]
    assert code in CATALOGUE
    (said,) = told(found)
    assert said.startswith(f'pump/layers.csv:3: warning: column "{name}":')


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [("G-1", "G-2", 'rings of the lot "G-2" have no place in a build of this program. Expected G-1'),
     ("soft", "sofd", 'graded has no layer "sofd". Expected soft or hard. Nearest: soft')],
)  # fmt: skip
def test_an_unknown_lot_or_layer_is_an_error_with_the_nearest_name(
    folder: Folder, old: str, new: str, said: str
) -> None:
    (line,) = told(read(folder, CRATER.replace(old, new)))
    assert said in line
    assert "pump/layers.csv:2" in line
    assert "warning" not in line


def test_a_thickness_far_from_nominal_is_told_and_stays(folder: Folder) -> None:
    found = read(folder, CRATER.replace("0.8,0.4", "1.6,0.8"))  # 24 um: diameters twice as large
    assert column(found, "use") == [""]
    (said,) = told(found)
    assert "soft comes out 24 µm thick, nominal are 6 µm" in said


# ---- what a ring is told to carry -----------------------------------------------------------------------------------


def test_a_ring_of_its_own_then_its_lot_then_the_tolerance(folder: Folder) -> None:
    lot = section(1, 5.8) + section(2, 6.0) + section(3, 6.2)
    # mean 6.0, sd 0.2, t(2) 4.303: 4.303 · 0.2 · sqrt(4/3) = 0.994, with 0.1 of the microscope 0.999
    of_lot = thickness(folder, lot)["top/soft"]
    assert (of_lot.n, of_lot.common) == (3, "lot:G-1")
    assert of_lot.value == pytest.approx(6.0)
    assert of_lot.high == pytest.approx(6.999, abs=0.001)
    own = thickness(folder, lot + built(90, 6.3) + built(270, 6.5))["top/soft"]
    assert own.value == pytest.approx(6.4)
    assert own.flags == {"own-ring"}
    tolerance = thickness(folder, lot)["top/hard"]
    assert (tolerance.low, tolerance.high) == (13, 17)
    assert tolerance.flags == {"thickness-not-confirmed"}
    # repeats of a place are one place, and a second place of a ring no second ring
    again = section(1, 5.8).replace(",90,,", ",90,1,") + section(1, 6.0).replace(",90,,", ",90,2,")
    assert thickness(folder, again + section(1, 6.0, 270))["top/soft"].flags == {
        "thickness-not-confirmed",
        "one-ring-cut",
    }


def test_without_a_tolerance_there_is_no_interval_and_one_ring_outside_it_holds_neither(folder: Folder) -> None:
    bare = replace(GRADED, layers=(replace(SOFT, tolerance=None), Layer("hard")))
    found = thickness(folder, section(1, 6.1), bare)
    assert {at: (each.value, each.reason) for at, each in found.items()} == {
        "top/soft": (None, "thickness-nominal"), "top/hard": (None, "no-thickness"),
    }  # fmt: skip
    assert thickness(folder, section(1, 7.5))["top/soft"].reason == "thickness-outside-tolerance"


# ---- what is left, and the sentence ---------------------------------------------------------------------------------

ANGLES = (20, 90, 180)


def left(
    folder: Folder, rows: str, wear: Sequence[float], coating: Coating = GRADED
) -> tuple[View, dict[str, Value], str]:
    """View of the cylinder, values at "top" and the word, with wear ± 0.1 um at each angle."""
    plan = of(folder, coating)
    build = plan.build("B1")
    readings = read(folder, rows, coating)
    known = {(each.measure, each.key): each for each in run(plan, "", {"layers": readings}, Book({}, ()))
             if isinstance(each, Value)}  # fmt: skip
    mean = sum(wear) / len(wear)
    for at, each in [*((f"top/{a}-deg", w) for a, w in zip(ANGLES, wear, strict=True)), ("top", mean)]:
        key = build.key(1, "teardown", at)
        known[FACE_WEAR, key] = Value(FACE_WEAR, key, each, each - 0.1, each + 0.1, n=3)
    found = list(run_left(plan, "B1", {}, Book(known, LEFT.needs)))
    words = [each.word for each in found if isinstance(each, Verdict)]
    values = {(each.measure, each.key): each for each in found if isinstance(each, Value)}
    analysis = FixtureAnalysis(plan, {}, {**known, **values}, (), (), {})
    whole = ProgramFolder("/nowhere", plan.definitions, (plan,))
    view = View(whole, registry.measures(), Addresses.of(whole), "programs/pump/index.html", Desk(analysis))
    at_top = {name: each for (name, key), each in values.items() if key.at == "top"}
    return view.of_cylinder(build, 1), at_top, words[0] if words else ""


def sentence(view: View) -> str:
    return layer_reading(view, view.program.phase("teardown")).replace("\N{NO-BREAK SPACE}", " ")


TWO = section(1, 5.98) + section(2, 6.02)


@pytest.mark.parametrize(
    ("rows", "bare", "said"),
    [
        ("", False, "4.5 ± 1.0 µm is left on the mean of three angles and 4.0 ± 1.0 µm is left where it wore most: it "
         "is left at every angle traced. No measurement confirms the thickness: it is nominal with its tolerance."),
        (section(1, 6.1), False, "nominal with its tolerance; one ring of the lot was cut, which tells no scatter."),
        (TWO, False, "4.5 ± 0.5 µm is left on the mean of three angles and 4.0 ± 0.5 µm is left where it wore most: it "
         "is left at every angle traced. The thickness is that of two rings cut of its lot"),
        ("", True, "What is left of the running-in layer of the top ring is not told: the thickness is nominal, or of "
         "one ring, and no tolerance is stated, so it has no interval. The nominal thickness less the most worn is "
         "about 4 µm"),
    ],
)  # fmt: skip
def test_the_sentence_at_no_one_and_two_rings(folder: Folder, rows: str, said: str, *, bare: bool) -> None:
    coating = replace(GRADED, layers=(replace(SOFT, tolerance=None), *GRADED.layers[1:])) if bare else GRADED
    view, found, word = left(folder, rows, (2.0, 1.5, 1.0), coating)
    assert said in sentence(view)
    assert word == ("" if bare else "left")
    assert (found["ring.layer_left"].value is None) == bare


def test_where_it_is_through_is_said_at_least_and_at_most(folder: Folder) -> None:
    view, found, word = left(folder, TWO, (7.0, 6.2, 3.0))  # thickness 6.0 ± 0.33
    share = found["ring.layer_through"]
    assert [share.value, share.low, share.high] == [pytest.approx(each) for each in (200 / 3, 100 / 3, 200 / 3)]
    assert word == "through"
    told = sentence(view)
    assert "nothing is left, the face lying 1.0 ± 0.5 µm below its end, where it wore most" in told
    assert ("it is through at 20° from the gap, and whether it is through at 90° from the gap cannot be told (at least "
            "one, at most two angles of 3 traced)") in told  # fmt: skip
    assert left(folder, TWO, (6.1, 5.0, 3.0))[2] == "cannot tell"


def test_wear_past_all_layers_is_a_contradiction_and_nothing_is_guessed(folder: Folder) -> None:
    view, found, word = left(folder, TWO, (30.0, 5.0, 3.0))
    assert word == ""
    assert {each.reason for each in found.values()} == {"worn-past-layers"}
    assert "the wear is more than all layers of the coating together" in sentence(view)


def test_the_example_comes_back(concluded: dict[str, Conclusion]) -> None:
    """Rings that ran carry what their lot does, a ring's scatter off; craters and traces tell what is left of it."""
    analysis = concluded["pump-rings-2026"].analysis
    for cylinder in (1, 2):
        worn = programs.surface_truth()["B4", cylinder].depth
        for angle, depth in worn.items():
            carried = truth.carried(programs.SEED, "G-017", truth.ring_of("B4", cylinder), angle)["running-in"]
            found = analysis.values[
                "ring.layer_left", Key("B4", cylinder, "graded-crn", "teardown", f"top/{angle}-deg")
            ]
            assert found.low is not None
            assert found.high is not None
            assert found.low < carried - depth < found.high
            assert 0.5 < found.high - found.low < 3.0
    lots = {"B4": "G-017", "B6": "G-018", "B7": "H-031"}
    for build, lot in lots.items():
        for layer, mean in truth.MEANS[lot].items():
            coating = analysis.program.build(build).coating_of(1)
            value = analysis.values["layer.thickness", Key(build, 1, coating, "", f"top/{layer}")]
            assert value.value == pytest.approx(mean, rel=0.08)
    assert [v.word for v in analysis.verdicts if v.rule == "ring.layer"] == ["left", "left"]
