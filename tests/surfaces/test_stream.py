"""Indexes of traces: what is used, what is set aside and told, and what is concluded from simulated surfaces.

The surfaces come from tests/simulate, which knows nothing of the analysis: known wear has to come back.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from simulate import surfaces
from simulate.programs import surface_truth
from tables.house import Folder, program

from sitegen.program.model import Tool, WearRule
from sitegen.results.run import Analysis
from sitegen.streams.surfaces import STREAM
from sitegen.streams.surfaces.steps import run_bores, run_faces
from sitegen.vocabulary import Book, Key, Readings, Value
from sitegen.workflow import Conclusion

HEAD = "trace,engine,phase,cylinder,part,side,height,angle [deg],repeat,cutoff [mm],unswept_to [mm],swept_from [mm],flank [mm],instrument\n"  # noqa: E501
BORE = "bore,thrust,mid-stroke"


def bore(name: str, phase: str, repeat: int, cutoff: str = "0.8", place: str = BORE, tool: str = "") -> str:
    return f"traces/{name},B1,{phase},1,{place},,{repeat},{cutoff},,,,{tool}\n"


def ring(name: str, phase: str, angle: int, flank: str = "0.15") -> str:
    return f"traces/{name},B1,{phase},1,top-ring,,,{angle},1,,,,{flank},\n"


def text(z: Iterable[float], step: float = 2.0) -> bytes:
    """Heights [um] as a file of x and z."""
    return ("x [um];z [um]\n" + "".join(f"{step * n:.1f};{each:.3f}\n" for n, each in enumerate(z))).encode()


def drawn(seed: int, wear: float, length: float = 4.8) -> bytes:
    return text(surfaces.bore(np.random.RandomState(seed), length, wear, reversal=False))


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    return Folder(tmp_path)


def read(folder: Folder, rows: str, traces: dict[str, bytes], head: str = HEAD) -> Readings:
    for name, data in traces.items():
        path = folder.path / "traces" / name
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(data)
    source = folder.source(head + rows, name="traces.csv", stream="surfaces")
    plan = program(folder.path, (source,))
    tools = {**plan.definitions.tools, "profile-1": Tool("profile-1", "stylus", "profilometer", 2e-8)}
    return STREAM.read(replace(plan, definitions=replace(plan.definitions, tools=tools)), (source,))


def values(folder: Folder, found: Readings, run: Any = run_bores) -> dict[tuple[str, str, str], Value]:
    results = run(program(folder.path), "B1", {"surfaces": found}, Book({}, ()))
    return {(each.measure, each.key.phase, each.key.at): each for each in results if isinstance(each, Value)}


def uses(found: Readings) -> list[str]:
    return [str(each) for each in found.frame["use"]]


AT = "thrust/mid-stroke"


# ---- bad input ------------------------------------------------------------------------------------------------------


def test_a_trace_that_cannot_be_read_is_told_and_the_others_go_on(folder: Folder) -> None:
    rows = "".join(bore(name, "cold-build", n) for n, name in enumerate(("a", "gone", "b", "no", "c"), 1))
    found = read(folder, rows, {"a": drawn(1, 0), "b": drawn(2, 0), "no": b"nothing\n", "c": drawn(1, 0)})
    assert uses(found) == ["", "trace-missing", "", "trace-not-usable", "same-file"]
    told = {(each.file, each.line, each.code) for each in found.problems}
    assert ("pump/traces.csv", 3, "trace-missing") in told
    assert ("pump/traces/no", 1, "trace-no-points") in told
    assert ("pump/traces.csv", 6, "same-file") in told
    assert all(each.level == "warning" for each in found.problems)
    assert len(found.traces) == 2
    assert set(found.inputs) == {"pump/traces/a", "pump/traces/b", "pump/traces/c"}
    assert values(folder, found)["bore.rk", "cold-build", AT].n == 2


def test_paths_out_of_the_folder_places_and_tools_are_told(folder: Folder) -> None:
    rows = bore("../../x", "cold-build", 1) + bore("a", "cold-build", 2, place="bore,,")
    rows += bore("b", "cold-build", 3, tool="feeler-1") + bore("c", "cold-build", 4) + bore("d", "cold-build", 4)
    found = read(folder, rows, {name: drawn(n, 0) for n, name in enumerate("abcd")})
    assert uses(found) == ["trace-outside-folder", "place-missing", "wrong-tool", "", "repeat-unnumbered"]
    assert {each.column_name for each in found.problems} >= {"trace", "side", "instrument"}


def test_without_a_cutoff_or_too_short_there_is_no_roughness(folder: Folder) -> None:
    rows = bore("a", "cold-build", 1, cutoff="") + bore("b", "teardown", 1)
    found = values(folder, read(folder, rows, {"a": drawn(1, 0), "b": drawn(2, 0, length=3.0)}))
    assert found["bore.rk", "cold-build", AT].reason == "cutoff-missing"
    assert found["bore.rk", "teardown", AT].reason == "trace-short"
    assert all(each.value is None for key, each in found.items() if key[0] == "bore.rk")


def test_dust_is_said_and_does_not_reach_the_numbers(folder: Folder) -> None:
    z = surfaces.bore(np.random.RandomState(4), 4.8, 0.0, reversal=False)
    spoilt = z.copy()
    spoilt[1200:1203] += 60
    rows = bore("a", "cold-build", 1) + bore("b", "teardown", 1)
    found = values(folder, read(folder, rows, {"a": text(z), "b": text(spoilt)}))
    clean, dusty = (found["bore.rt", phase, AT] for phase in ("cold-build", "teardown"))
    assert "spikes-taken-out" in dusty.flags - clean.flags
    assert dusty.value == pytest.approx(clean.value, rel=0.01)


def test_the_filter_is_chosen_said_and_never_mixed(folder: Folder) -> None:
    made = {f"{state}{n}": drawn(10 * k + n, wear) for k, (state, wear) in enumerate((("n", 0.0), ("r", 0.4)))
            for n in range(1, 6)}  # fmt: skip
    head = HEAD.replace("instrument", "instrument,filter")

    def found(new: str, run: str) -> dict[tuple[str, str, str], Value]:
        rows = "".join(bore(f"{s}{n}", phase, n).replace("\n", f",{name}\n")
                       for s, phase, name in (("n", "cold-build", new), ("r", "teardown", run))
                       for n in range(1, 6))  # fmt: skip
        return values(folder, read(folder, rows, made, head))

    robust, steps, mixed = found("", ""), found("two-step", "two-step"), found("", "two-step")
    key = "bore.rk", "cold-build", AT
    assert "two-step-filter" in steps[key].flags
    assert not robust[key].flags
    # the grooves pull the two-step line down, less than the plain one: Rk lies between the other two
    sizes = [each.value or 0.0 for each in (robust[key], steps[key], robust["bore.rk_plain", "cold-build", AT])]
    assert sizes == sorted(set(sizes))
    assert robust["bore.wear_valleys", "teardown", AT].status in ("ok", "below")
    for measure in ("bore.wear_valleys", "bore.plateau"):
        assert mixed[measure, "teardown", AT].reason == "filters-differ"


def test_a_stated_result_that_does_not_fit_is_flagged(folder: Folder) -> None:
    z = surfaces.bore(np.random.RandomState(4), 4.8, 0.0, reversal=False)
    own = surfaces.ra(z)
    made = {name: f"Ra: {turn * own:.3f} um\n".encode() + text(z + n) for n, (name, turn) in enumerate(
        (("a", 1.0), ("b", 2.0)))}  # fmt: skip
    found = values(folder, read(folder, bore("a", "cold-build", 1) + bore("b", "teardown", 1), made))
    fits, off = (found["bore.stated_ratio", phase, AT] for phase in ("cold-build", "teardown"))
    assert "stated-does-not-fit" in off.flags - fits.flags
    assert off.value == pytest.approx(2.0, rel=0.15)


def test_single_traces_tell_no_wear(folder: Folder) -> None:
    rows = bore("a", "cold-build", 1) + bore("b", "teardown", 1)
    found = values(folder, read(folder, rows, {"a": drawn(1, 0), "b": drawn(2, 0.4)}))
    wear = found["bore.wear_valleys", "teardown", AT]
    assert (wear.status, wear.reason) == ("refused", "few-traces")
    assert found["bore.rk", "teardown", AT].low is None


@pytest.mark.parametrize(("wear", "reason"), [(0.8, ""), (2.2, "grooves-worn-away")])
def test_wear_that_took_the_grooves_is_no_number(folder: Folder, wear: float, reason: str) -> None:
    # 2.2 um off grooves 1.6 to 4 um deep: plateaus reach into where their floors were, and 1.7 um would be found
    rows = "".join(bore(f"{phase}{n}", phase, n) for phase in ("cold-build", "teardown") for n in range(1, 6))
    made = {f"{phase}{n}": drawn(40 * k + n, k * wear) for k, phase in enumerate(("cold-build", "teardown"))
            for n in range(1, 6)}  # fmt: skip
    found = values(folder, read(folder, rows, made))["bore.wear_valleys", "teardown", AT]
    assert found.reason == reason
    assert (found.value is None) == bool(reason)


def test_wear_below_what_traces_can_show_is_a_limit_not_a_number(folder: Folder) -> None:
    rows = "".join(bore(f"{phase}{n}", phase, n) for phase in ("cold-build", "teardown") for n in range(1, 6))
    made = {f"{phase}{n}": drawn(20 * k + n, 0.0) for k, phase in enumerate(("cold-build", "teardown"))
            for n in range(1, 6)}  # fmt: skip
    wear = values(folder, read(folder, rows, made))["bore.wear_valleys", "teardown", AT]
    assert wear.status == "below"
    assert wear.value is None
    assert wear.high is not None
    assert 0 < wear.high < 1.0


def test_faces_that_do_not_lie_on_each_other_are_refused_and_the_others_go_on(folder: Folder) -> None:
    random = np.random.RandomState(5)
    faces = {f"{state}{angle}": text(surfaces.face(random, depth)[1]) for state, depth in (("n", 0.0), ("r", 1.0))
             for angle in (20, 180)}  # fmt: skip
    x, _ = surfaces.face(random, 0.0)
    faces["r180"] = text(3 * np.sin(np.arange(len(x)) / 9))
    rows = "".join(
        ring(f"{s}{a}", phase, a) for s, phase in (("n", "cold-build"), ("r", "teardown")) for a in (20, 180)
    )
    found = values(folder, read(folder, rows, faces), run_faces)
    assert found["ring.face_wear", "teardown", "top/180-deg"].reason == "not-aligned"
    good = found["ring.face_wear", "teardown", "top/20-deg"]
    assert good.value == pytest.approx(1.0, abs=0.1)
    assert found["ring.face_volume", "teardown", "top"].reason == "few-angles"


# ---- the examples ---------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def example(concluded: dict[str, Conclusion]) -> Analysis:
    return concluded["pump-rings-2026"].analysis


def of(found: Analysis, measure: str, where: tuple[str, int], at: str) -> Value:
    return found.values[measure, found.program.build(where[0]).key(where[1], "teardown", at)]


@pytest.mark.parametrize("where", [("B1", 1), ("B1", 3), ("B4", 1), ("B4", 2)])
def test_known_wear_comes_back(example: Analysis, where: tuple[str, int]) -> None:
    truth = surface_truth()[where]
    step = of(example, "bore.wear_depth", where, "thrust/top-reversal")
    assert step.value == pytest.approx(truth.step, abs=0.2)
    assert step.low is not None
    assert step.high is not None
    assert step.low < truth.step < step.high
    for (side, height), wear in truth.wear.items():
        found = of(example, "bore.wear_valleys", where, f"{side}/{height}")
        assert found.high is not None
        assert (found.low or 0.0) - 0.1 < wear < found.high + 0.1
    for angle, depth in truth.depth.items():
        face = of(example, "ring.face_wear", where, f"top/{angle}-deg")
        # of a crown cut off, the middle quarter of 0.707 of the chord: 23/24 of the depth on the mean
        assert face.value == pytest.approx(23 / 24 * depth, abs=0.05)
        assert face.low is not None
        assert face.high is not None
        assert face.high - face.low < 0.12
        band = of(example, "ring.contact_width", where, f"top/{angle}-deg")
        # w = 2 sqrt(2 R d) of a barrel of 40 mm, cut by as much as it wore
        assert band.value == pytest.approx(2 * np.sqrt(2 * 40 * depth / 1000), abs=0.05)


def test_what_is_spoilt_in_the_examples_is_flagged_and_nothing_else(example: Analysis) -> None:
    def flagged(flag: str) -> set[tuple[str, int, str, str]]:
        return {(*key[:2], key.phase, key.at) for _, key in example.values if flag in example.values[_, key].flags}

    build, cylinder, phase, place, _ = surfaces.SPOILT
    assert flagged("spikes-taken-out") == {(build, cylinder, phase, "/".join(place))}
    build, cylinder, phase, place, _ = surfaces.MISSTATED
    assert (build, cylinder, phase, "/".join(place)) in flagged("stated-does-not-fit")


def test_specific_wear_rate_is_of_the_size_of_real_rings(example: Analysis) -> None:
    # coated rings lie near 1e-9 mm3/(N m): from memory, no source, so only the order of magnitude is held
    assert example.program.wear == WearRule(360e3, 0.3)
    for where in surface_truth():
        rate = of(example, "ring.wear_rate", where, "top")
        assert rate.value is not None
        assert 0.1 < rate.value < 10


def test_builds_that_ran_other_distances_are_not_compared_in_wear(example: Analysis) -> None:
    (row,) = [each for each in example.comparisons if (each.measure, each.coating) == ("wear.mass_loss", "graded-crn")]
    assert "other-distance-left-out" in row.flags
    assert (row.builds, row.builds_reference) == (2, 2)  # B6 was taken apart after the pulls
    assert example.values["exposure.km", Key("B6", 0, "graded-crn", "teardown")].value == pytest.approx(22, abs=3)
