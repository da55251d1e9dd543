"""What is wrong with traces is named with file, row and column, or beside the number; the others go on."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from simulate import surfaces
from surfaces.test_stream import AT, HEAD, bore, drawn, read, ring, text, uses, values
from tables.house import Folder, program

from sitegen.methods import material_ratio
from sitegen.program.model import Coating, Layer
from sitegen.streams.surfaces.steps import run_faces
from sitegen.vocabulary import Refused


@pytest.fixture
def folder(tmp_path: object) -> Folder:
    return Folder(tmp_path)  # type: ignore[arg-type]


def told(found: object) -> set[tuple[str, int, str, str]]:
    return {(p.file, p.line, p.column_name, p.code) for p in found.problems}  # type: ignore[attr-defined]


def five(phase: str, wear: float, seed: int) -> tuple[str, dict[str, bytes]]:
    names = [f"{phase}{n}" for n in range(1, 6)]
    rows = "".join(bore(name, phase, n) for n, name in enumerate(names, start=1))
    return rows, {name: drawn(seed + n, wear) for n, name in enumerate(names)}


def test_a_short_trace_is_told_by_file_row_and_column_and_the_other_four_count(folder: Folder) -> None:
    rows, made = five("cold-build", 0.0, 1)
    made["cold-build3"] = drawn(3, 0.0, length=3.0)  # five cutoffs of 0.8 mm are 4 mm
    found = read(folder, rows, made)
    assert uses(found) == [""] * 5
    assert told(found) == {("pump/traces.csv", 4, "trace", "trace-short")}
    (problem,) = found.problems
    assert "3 mm" in problem.what
    assert "4 mm" in problem.what
    rk = values(folder, found)["bore.rk", "cold-build", AT]
    assert (rk.n, rk.status) == (4, "ok")
    assert "trace-left-out" in rk.flags


def test_a_missing_cutoff_is_told_by_column_and_the_other_four_count(folder: Folder) -> None:
    rows, made = five("cold-build", 0.0, 1)
    rows = rows.replace(bore("cold-build2", "cold-build", 2), bore("cold-build2", "cold-build", 2, cutoff=""))
    found = read(folder, rows, made)
    assert told(found) == {("pump/traces.csv", 3, "cutoff [mm]", "cutoff-missing")}
    assert values(folder, found)["bore.rk", "cold-build", AT].n == 4


def test_a_missing_width_of_the_flanks_is_told_by_column(folder: Folder) -> None:
    random = np.random.RandomState(5)
    made = {name: text(surfaces.face(random, 0.0)[1]) for name in ("a", "b")}
    found = read(folder, ring("a", "cold-build", 20, flank="") + ring("b", "cold-build", 90), made)
    assert told(found) == {("pump/traces.csv", 2, "flank [mm]", "flank-missing")}


def test_how_badly_faces_do_not_lie_on_each_other_is_a_number(folder: Folder) -> None:
    """A wave of amplitude 3 um on one of two flat faces: its standard deviation is 3/sqrt(2) um, 2.1 um."""
    count = 600
    wave = 3 * np.sin(2 * np.pi * np.arange(count) / 25)  # three periods on each flank of 75 points
    noise = np.random.RandomState(1).normal(0, 0.01, count)
    rows = ring("a", "cold-build", 20) + ring("b", "teardown", 20) + ring("c", "cold-build", 90)
    rows += ring("d", "teardown", 90)
    made = {"a": text(noise), "b": text(wave), "c": text(noise + 1), "d": text(noise[::-1] + 2)}
    found = values(folder, read(folder, rows, made), run_faces)
    assert found["ring.face_wear", "teardown", "top/20-deg"].reason == "not-aligned"
    assert found["ring.flank_misfit", "teardown", "top/20-deg"].value == pytest.approx(3 / np.sqrt(2), rel=0.05)
    flat = found["ring.flank_misfit", "teardown", "top/90-deg"]
    assert flat.value == pytest.approx(0.01 * np.sqrt(2), rel=0.3)
    assert found["ring.face_wear", "teardown", "top/90-deg"].status in {"ok", "below"}


def test_dust_on_one_trace_of_five_is_named_and_the_mean_keeps_all_five(folder: Folder) -> None:
    rows, made = five("cold-build", 0.0, 1)
    z = surfaces.bore(np.random.RandomState(3), 4.8, 0.0, reversal=False)
    z[900:903] += 60
    made["cold-build3"] = text(z)
    ra = values(folder, read(folder, rows, made))["bore.ra", "cold-build", AT]
    assert ra.n == 5
    assert "spikes-taken-out" in ra.flags


def test_fewer_than_five_traces_give_roughness_and_no_wear(folder: Folder) -> None:
    rows = "".join(bore(f"{p}{n}", p, n) for p in ("cold-build", "teardown") for n in range(1, 5))
    made = {f"{p}{n}": drawn(10 * k + n, 0.5 * k) for k, p in enumerate(("cold-build", "teardown"))
            for n in range(1, 5)}  # fmt: skip
    found = values(folder, read(folder, rows, made))
    assert found["bore.wear_valleys", "teardown", AT].reason == "few-traces"
    assert found["bore.rk", "teardown", AT].n == 4
    assert found["bore.rk", "teardown", AT].low is not None


# ---- values that cannot be, units, filters ----


def test_a_scatter_of_the_valleys_beyond_all_heights_is_no_value() -> None:
    """One groove in 2000 points of normal plateaus: of its valleys the curve holds next to nothing."""
    random = np.random.default_rng(7)
    worst = 0
    for _ in range(20):
        z = 0.3e-6 * random.standard_normal(2000)
        z[500:540] -= 0.8e-6 * random.uniform(0.5, 3.0)
        try:
            found = material_ratio.probability(z)
        except Refused as why:
            worst += why.code == "beyond-total-height"
            continue
        assert found.rvq <= float(np.ptp(z))
    assert worst > 0


def test_a_result_that_cannot_be_is_refused_with_its_reason(folder: Folder, monkeypatch: pytest.MonkeyPatch) -> None:
    def beyond(_: object) -> material_ratio.Probability:
        raise Refused("beyond-total-height")

    found = read(folder, bore("a", "cold-build", 1), {"a": drawn(1, 0.0)})
    monkeypatch.setattr(material_ratio, "probability", beyond)
    told = values(folder, found)
    for name in ("rpq", "rvq", "rmq"):
        value = told[f"bore.{name}", "cold-build", AT]
        assert (value.status, value.reason, value.value) == ("refused", "beyond-total-height", None)
    assert told["bore.rk", "cold-build", AT].status == "ok"


def test_no_parameter_above_all_heights_is_told(folder: Folder) -> None:
    """Thirds at three heights 1 um apart: each window of 40 % falls by 1 um, the line by 2.5 um and more over all."""
    steps = np.random.default_rng(2).permutation(np.tile([0.0, 1.0, 2.0], 667))
    head = HEAD.replace("\n", ",filter\n")
    rows = bore("a", "cold-build", 1).replace("\n", ",by-instrument\n")
    told = values(folder, read(folder, rows, {"a": text(steps)}, head))
    assert told["bore.rt", "cold-build", AT].value == pytest.approx(2.0)
    for name in ("rk", "rpk", "rvk", "mr1", "mr2", "v0"):
        value = told[f"bore.{name}", "cold-build", AT]
        assert (value.status, value.reason) == ("refused", "beyond-total-height")
    assert told["bore.ra", "cold-build", AT].value == pytest.approx(2 / 3, abs=1e-2)


def test_a_stated_core_is_held_against_the_line_its_instrument_draws(folder: Folder) -> None:
    """Normal heights: least squares give Rk 2.574 sigma, the secant 2.622 sigma (exact), 1.9 % more."""
    z = 0.4 * np.random.default_rng(4).standard_normal(2001)
    head = HEAD.replace("\n", ",filter,stated_rk [um],stated_line\n")
    by_both = material_ratio.core(material_ratio.curve(z)), material_ratio.core(material_ratio.curve(z), secant=True)
    assert by_both[1].rk / by_both[0].rk == pytest.approx(1.019, abs=0.02)
    for line, own in (("", by_both[0]), ("least-squares", by_both[0]), ("secant", by_both[1])):
        row = bore("a", "cold-build", 1).replace("\n", f",by-instrument,{own.rk:.6f},{line}\n")
        told = values(folder, read(folder, row, {"a": text(z)}, head))
        assert told["bore.stated_ratio", "cold-build", AT].value == pytest.approx(1.0, abs=2e-3)


@pytest.mark.parametrize(
    ("scale", "said"),
    [
        (1.0, ""),
        (1000.0, "; a thousandth of that would be plausible"),
        (0.001, "; a thousand times that"),
        (1e5, " line"),
    ],
)
def test_heights_of_another_unit_are_told(folder: Folder, scale: float, said: str) -> None:
    z = scale * surfaces.bore(np.random.RandomState(3), 4.8, 0.0, reversal=False)
    data = ("x [um];z [um]\n" + "".join(f"{2.0 * n:.1f};{each:.7f}\n" for n, each in enumerate(z))).encode()
    found = read(folder, bore("a", "cold-build", 1), {"a": data})
    assert uses(found) == [""]
    assert [(p.file, p.line, p.column_name, p.code) for p in found.problems] == bool(said) * [
        ("pump/traces.csv", 2, "trace", "heights-not-plausible")
    ]
    assert all(said in each.what for each in found.problems)
    assert ("heights-not-plausible" in values(folder, found)["bore.rk", "cold-build", AT].flags) == bool(said)


def test_two_runs_in_a_trace_and_rows_without_a_height_are_told_with_the_line_of_the_trace(folder: Folder) -> None:
    once = drawn(1, 0.0).decode().splitlines()
    rows = bore("a", "cold-build", 1) + bore("b", "cold-build", 2)
    spoilt = [*once[:101], once[101].partition(";")[0] + ";NaN", *once[102:]]
    found = read(folder, rows, {"a": "\n".join([*once, *once[1:]]).encode(), "b": "\n".join(spoilt).encode()})
    assert uses(found) == ["trace-not-usable", ""]
    assert told(found) == {
        ("pump/traces/a", len(once) + 1, "", "trace-goes-back"),
        ("pump/traces/b", 102, "z [um]", "trace-rows-not-used"),
    }
    trace = next(iter(found.traces.values()))
    assert len(trace.x) == len(once) - 1  # type: ignore[attr-defined]
    assert trace.invalid == 1  # type: ignore[attr-defined]


@pytest.mark.parametrize(("missing", "status"), [(0, "ok"), (1, "ok"), (300, "refused")])
def test_an_evaluation_length_may_be_missed_by_a_step(folder: Folder, missing: int, status: str) -> None:
    whole = drawn(1, 0.0, length=4.0).decode().splitlines()  # 2000 points of 2 um: from 0 to 3.998 mm
    data = "\n".join(whole[: len(whole) - missing]).encode()
    found = read(folder, bore("a", "cold-build", 1), {"a": data})
    assert len(found.problems) == (status == "refused")
    assert values(folder, found)["bore.rk", "cold-build", AT].status == status


def test_what_the_instrument_filtered_is_not_filtered_again(folder: Folder) -> None:
    """A sine as long as the cutoff: of it any of these filters takes half, by definition."""
    x = 2.0 * np.arange(4000)
    data = text(np.sin(2 * np.pi * x / 800))
    head = HEAD.replace("\n", ",filter\n")

    def row(name: str, phase: str, how: str) -> str:
        return bore(name, phase, 1).replace("\n", f",{how}\n")

    rows = row("a", "cold-build", "by-instrument") + row("b", "teardown", "")
    found = values(folder, read(folder, rows, {"a": data, "b": data.replace(b"0.000", b"0.001", 1)}, head))
    own, again = (found["bore.rt", phase, AT] for phase in ("cold-build", "teardown"))
    assert own.value == pytest.approx(2.0, abs=1e-3)
    assert "filtered-by-instrument" in own.flags
    assert again.value == pytest.approx(1.0, rel=0.07)
    assert "filtered-by-instrument" not in again.flags
    assert ("bore.rk_plain", "cold-build", AT) not in found
    assert found["bore.wear_valleys", "teardown", AT].reason == "filters-differ"


def test_wear_is_not_told_from_what_the_instrument_filtered(folder: Folder) -> None:
    head = HEAD.replace("\n", ",filter\n")
    random = np.random.RandomState(5)
    faces = {name: text(surfaces.face(random, depth)[1]) for name, depth in (("n", 0.0), ("r", 1.0))}
    rows = "".join(ring(name, phase, 20).replace("\n", ",by-instrument\n")
                   for name, phase in (("n", "cold-build"), ("r", "teardown")))  # fmt: skip
    found = values(folder, read(folder, rows, faces, head), run_faces)
    assert found["ring.face_wear", "teardown", "top/20-deg"].reason == "wear-filtered-out"
    step = "bore,thrust,top-reversal"
    rows = "".join(bore(name, phase, 1, place=step).replace(",,,,\n", ",1.4,1.8,,,by-instrument\n")
                   for name, phase in (("a", "cold-build"), ("b", "teardown")))  # fmt: skip
    made = {name: text(surfaces.bore(np.random.RandomState(n), 5.8, n, reversal=True)) for n, name in enumerate("ab")}
    found = values(folder, read(folder, rows, made, head))
    assert found["bore.wear_depth", "teardown", "thrust/top-reversal"].reason == "wear-filtered-out"


def test_several_traces_of_a_face_count_and_one_that_cannot_be_used_is_left_out(folder: Folder) -> None:
    random = np.random.RandomState(5)
    made: dict[str, bytes] = {}
    rows = ""
    for phase, depth in (("cold-build", 0.0), ("teardown", 1.0)):
        for repeat in (1, 2, 3):
            name = f"{phase}{repeat}"
            made[name] = text(surfaces.face(random, depth)[1])
            rows += ring(name, phase, 20).replace(",20,1,", f",20,{repeat},")
    whole = made["teardown2"].split(b"\n")
    spoilt = {**made, "teardown2": b"\n".join(whole[:200] + whole[400:])}  # 0.4 of 1.2 mm are missing in one piece
    for data, n, flags in ((made, 6, set()), (spoilt, 5, {"trace-left-out"})):
        found = values(folder, read(folder, rows, data), run_faces)["ring.face_wear", "teardown", "top/20-deg"]
        assert (found.n, set(found.flags)) == (n, flags)
        assert found.value == pytest.approx(23 / 24, abs=0.05)


def test_wear_past_all_layers_is_told_by_file_and_row_and_the_trace_stays(
    folder: Folder, monkeypatch: pytest.MonkeyPatch
) -> None:
    random = np.random.RandomState(5)
    depths = {"a": 0.0, "b": 1.5, "c": 0.0, "d": 0.6}
    made = {name: text(surfaces.face(random, depth)[1]) for name, depth in depths.items()}
    rows = "".join(ring(name, phase, angle) for name, phase, angle in (
        ("a", "cold-build", 20), ("b", "teardown", 20), ("c", "cold-build", 180), ("d", "teardown", 180)))  # fmt: skip
    thin = Coating("nitrided", "nitrided", 0, layers=(Layer("soft", "", 0.8e-6, 0.2e-6, running_in=True),))
    plan = program(folder.path)
    with_layer = replace(plan, definitions=replace(plan.definitions, coatings={"nitrided": thin}))
    monkeypatch.setattr("surfaces.test_stream.program", lambda *_: with_layer)
    found = read(folder, rows, made)
    assert uses(found) == [""] * 4
    assert told(found) == {("pump/traces.csv", 3, "trace", "worn-past-layers")}
    (problem,) = found.problems
    assert "more than all layers of nitrided together (1 µm)" in problem.what
