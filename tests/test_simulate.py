"""The simulator says what it should, and the committed example tables are its own.

Numbers it is held against come from outside it: the flow equations of a general-purpose library, an orifice maker's
published onset of choking, and arithmetic that needs no flow equation.
"""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import yaml
from fluids.compressible import is_critical_flow, isentropic_T_rise_compression
from simulate import engine as sim
from simulate import flow, inspection, programs, sheets

PROGRAMS = Path(__file__).parent.parent / "programs"
SUPPLY = flow.STANDARD_ATMOSPHERE + 80 * flow.PSI
MASTER = flow.circle(0.040 * flow.INCH)


def gauge(pressure: float) -> float:
    """An absolute pressure [Pa] as psi gauge."""
    return (pressure - flow.STANDARD_ATMOSPHERE) / flow.PSI


def reading(area: float) -> float:
    """What a 0.040 in tester at 80 psig reads [psig] on a leak of this area [m2]."""
    return gauge(flow.cylinder_pressure(MASTER, lambda _: area, SUPPLY, flow.STANDARD_ATMOSPHERE))


# ---- flow -----------------------------------------------------------------------------------------------------------


def test_leak_as_large_as_the_master_reads_61_77_psig() -> None:
    # by hand from the choked constant 0.0404184 (gamma 1.4, R 287) and the subsonic equation, apart from this code
    assert reading(MASTER) == pytest.approx(61.77, abs=0.005)
    assert 100 * (80 - reading(MASTER)) / 80 == pytest.approx(22.8, abs=0.05)


def test_ten_percent_is_0_507_mm2_and_36_11_litres_a_minute() -> None:
    area = 0.50697e-6
    assert reading(area) == pytest.approx(72.0, abs=0.001)
    mass = flow.mass_flow(area, flow.STANDARD_ATMOSPHERE + 72 * flow.PSI, flow.STANDARD_ATMOSPHERE, 293.15)
    assert mass / (100_000 / (flow.R_AIR * 293.15)) * 60_000 == pytest.approx(36.11, abs=0.01)


def test_choked_flow_is_the_handbook_constant() -> None:
    # m = A p0 sqrt(gamma/(R T) (2/(gamma+1))^((gamma+1)/(gamma-1))) = 0.0404184 A p0/sqrt(T), any gas dynamics text
    assert flow.mass_flow(1.0, 10e5, 1e5, 300.0) == pytest.approx(0.0404184 * 10e5 / math.sqrt(300.0), rel=1e-6)


@pytest.mark.parametrize(("upstream", "choked"), [(13.10, False), (13.18, True)])
def test_onset_of_choking_to_the_room(upstream: float, choked: bool) -> None:
    # "Choked flow of gases", tutorial on page 38 of a catalogue of precision orifices (O'Keefe Controls Co., the name
    # from memory; undated): 13.14 psig to 14.7 psia; and C. Bell, `fluids` (PyPI), is_critical_flow
    inside = flow.STANDARD_ATMOSPHERE + upstream * flow.PSI
    assert is_critical_flow(inside, flow.STANDARD_ATMOSPHERE, flow.GAMMA) is choked
    half_back = flow.mass_flow(1e-6, inside, flow.STANDARD_ATMOSPHERE * 0.9, 293.15)
    more = half_back > flow.mass_flow(1e-6, inside, flow.STANDARD_ATMOSPHERE, 293.15) * (1 + 1e-12)
    assert more is not choked  # a choked flow does not feel what lies downstream


@pytest.mark.parametrize("downstream", [1.2e5, 1.6e5, 1.98e5])
def test_subsonic_flow_agrees_with_the_energy_equation(downstream: float) -> None:
    # `fluids` gives the temperature behind an isentropic expansion; what the air lost in heat it has in speed
    before, specific_heat = 293.15, flow.GAMMA * flow.R_AIR / (flow.GAMMA - 1)
    behind = isentropic_T_rise_compression(before, 2e5, downstream, flow.GAMMA)
    speed = math.sqrt(2 * specific_heat * (before - behind))
    expected = 1e-6 * downstream / (flow.R_AIR * behind) * speed
    assert flow.mass_flow(1e-6, 2e5, downstream, before) == pytest.approx(expected, rel=1e-9)


def test_both_choked_divide_pressures_by_areas() -> None:
    # exact: with both openings choked the same mass flow makes p_cylinder / p_supply the ratio of the areas
    inside = flow.cylinder_pressure(MASTER, lambda _: 3 * MASTER, 20e5, 1e5)
    assert inside / 20e5 == pytest.approx(1 / 3, rel=1e-9)


def test_a_slit_leaks_less_at_a_lower_supply_and_a_hole_more() -> None:
    def percents(leak: flow.Leak) -> list[float]:
        out = []
        for supply in (40.0, 80.0, 100.0):
            up = flow.STANDARD_ATMOSPHERE + supply * flow.PSI
            inside = flow.cylinder_pressure(MASTER, leak.area, up, flow.STANDARD_ATMOSPHERE)
            out.append(100 - 100 * gauge(inside) / supply)
        return out

    # the hole by hand as above: 11.6, 10.0, 9.7 %
    assert percents(flow.Leak(0.50697e-6)) == pytest.approx([11.6, 10.0, 9.7], abs=0.06)
    slit = percents(flow.leak_at_80_psig(0.0, 0.50697e-6))
    assert slit[1] == pytest.approx(10.0, abs=0.001)
    assert slit[0] < 0.7 * slit[1] < slit[1] < slit[2]


def test_two_equal_openings_behind_each_other_pass_less_than_one() -> None:
    # incompressible: 1/sqrt(2) of one; at a vanishing pressure drop air does the same
    assert flow.in_series(1e-6, 1e-6, 1.001e5, 1e5) == pytest.approx(1e-6 / math.sqrt(2), rel=1e-3)
    assert 0.5e-6 < flow.in_series(1e-6, 1e-6, SUPPLY, flow.STANDARD_ATMOSPHERE) < 1e-6


# ---- an engine ------------------------------------------------------------------------------------------------------


def test_without_scatter_a_cylinder_of_known_area_gives_the_known_reading() -> None:
    as_master = replace(sim.NITRIDED, start=MASTER / sim.MM2, plateau=MASTER / sim.MM2, growth=0.0)
    truth, rows = sim.engine(1, behaviour=as_master, scatter=sim.NONE)
    warm = [row for row in rows if row.cylinder and row.phase != "cold-build"]
    assert len(warm) == 4 * 5 * 2
    assert all(row.pressure == pytest.approx(61.767, abs=0.001) for row in warm)
    assert all(row.area == pytest.approx(MASTER / sim.MM2) for row in warm)
    assert {c.plateau for c in truth.cylinders} == {MASTER / sim.MM2}


def test_crankcase_flow_of_a_ten_percent_reading() -> None:
    # 36.11 L/min of air at 20 degC and 100 kPa, by hand as above, all of it past the rings: less at 101.325 kPa
    ten = replace(sim.NITRIDED, start=0.50697, plateau=0.50697, growth=0.0)
    _, rows = sim.engine(1, behaviour=ten, scatter=sim.NONE)
    flows = [row.crankcase_flow for row in rows if row.cylinder and row.phase == "pulls"]
    assert flows == pytest.approx([36.11 / 1.01325] * 8, abs=0.01)


def test_the_curve_loses_63_percent_in_one_scale_and_reads_low_before_firing() -> None:
    truth, _ = sim.engine(5, scatter=sim.NONE)
    cylinder = truth.cylinder(1)
    after = cylinder.ring_area(sim.Check("x", km=cylinder.scale))
    assert (cylinder.start - after) / (cylinder.start - cylinder.plateau) == pytest.approx(0.632, abs=0.0005)
    assert cylinder.ring_area(sim.Check("x", 0.0, fired=False)) == pytest.approx(0.75 * cylinder.start)


def test_the_same_seed_gives_the_same_engine_and_another_seed_another() -> None:
    assert sim.engine(7) == sim.engine(7)
    assert sim.engine(7) != sim.engine(8)


def test_an_occasion_moves_all_cylinders_and_the_tester_part_the_reference_too() -> None:
    only = replace(sim.NONE, occasion_tester=0.02)
    _, rows = sim.engine(3, scatter=only)
    _, calm = sim.engine(3, scatter=sim.NONE)
    for phase in ("run-in-10", "pulls"):
        moved = {round(row.area / before.area, 9) for row, before in zip(rows, calm, strict=True) if row.phase == phase}
        assert len(moved) == 1
        assert moved != {1.0}
    _, rows = sim.engine(3, scatter=replace(sim.NONE, occasion_engine=0.02))
    assert all(row.area == before.area for row, before in zip(rows, calm, strict=True) if row.reference)
    assert any(row.area != before.area for row, before in zip(rows, calm, strict=True) if not row.reference)


def test_scatter_has_the_stated_size() -> None:
    # 600 draws: the standard deviation of a normal sample is known to 1/sqrt(2 n) = 3 %, three of them allowed
    chance = sim.Chance("size")
    drawn = [math.log(chance.spread(0.02)) for _ in range(600)]
    assert math.sqrt(sum(each**2 for each in drawn) / 600) == pytest.approx(0.02, rel=0.09)


def test_gauges_round_and_percent_scales_show_percent() -> None:
    shown, pressure, percent = sim.read(programs.T1_2026, flow.Leak(0.4e-6), 80.0)
    assert pressure is not None
    assert percent is None
    assert [shown, pressure] == pytest.approx([round(shown, 1), round(pressure, 1)], abs=1e-9)
    _, pressure, percent = sim.read(programs.T2, flow.Leak(0.4e-6), 80.0)
    assert pressure is None
    assert percent is not None
    assert percent * 2 == round(percent * 2)


# ---- build sheets ---------------------------------------------------------------------------------------------------


def test_wear_opens_the_gap_and_takes_mass() -> None:
    ring = sheets.rings_of(1, "X", 1)[0]
    after = sheets.worn(ring, face_wear=1.0, density=6.1, bore_wear=0.0)
    # 1 um off a 1.2 mm chromium nitride ring of 87.5 mm is 2 mg (volume pi D h w); 2 pi um of gap and 3.7 % more
    assert 1000 * (ring.mass - after.mass) == pytest.approx(2.0, abs=0.05)
    assert after.gap - ring.gap == pytest.approx(0.00628 * 1.037, abs=1e-5)


def test_gap_floor_of_usual_rings() -> None:
    # 0.40 and 0.45 mm gaps, lands 0.35 mm: near 0.12 mm2 as sharp orifices in series, by hand 1/sqrt(1/a2 + 1/b2)
    found = [sheets.gap_floor({r.ring: r for r in sheets.rings_of(seed, "X", 1)}) for seed in range(40)]
    assert 0.10 < min(found) < max(found) < 0.19


# ---- the example programs -------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def made() -> tuple[sim.Truth, dict[str, bytes]]:
    return programs.example()


def test_committed_tables_are_the_simulator_s(made: tuple[sim.Truth, dict[str, bytes]]) -> None:
    _, files = made
    committed = (path for kind in ("records", "rig") for path in PROGRAMS.glob(f"pump-rings-20*/{kind}/*"))
    assert {path.relative_to(PROGRAMS).as_posix() for path in committed} == set(files)
    different = [name for name, data in files.items() if (PROGRAMS / name).read_bytes() != data]
    assert different == [], "run `python -m simulate` from the tests folder"


def test_committed_traces_are_the_simulator_s() -> None:
    files = programs.traces()
    found = {path.relative_to(PROGRAMS).as_posix() for path in PROGRAMS.glob("pump-rings-20*/traces/*/*")}
    assert found == set(files)
    different = [name for name, data in files.items() if (PROGRAMS / name).read_bytes() != data]
    assert different == [], "run `python -m simulate` from the tests folder"
    assert sum(map(len, files.values())) < 2.5e6  # bytes in the repository


def test_committed_pictures_are_the_simulator_s() -> None:
    """By their pixels: another version of the imaging library may write other bytes, and round otherwise."""
    import io

    import numpy as np
    from PIL import Image

    made = programs.pictures()
    folders = PROGRAMS.glob("pump-rings-20*/images/*")
    assert {path.relative_to(PROGRAMS).as_posix() for path in folders} == set(made)
    assert sum(map(len, made.values())) < 3_000_000
    for name, data in made.items():
        with Image.open(io.BytesIO(data)) as drawn, Image.open(PROGRAMS / name) as committed:
            assert (drawn.size, drawn.mode) == (committed.size, committed.mode), name
            full = 4095.0 if drawn.mode.startswith("I") else 255.0
            apart = np.asarray(drawn).astype(float) - np.asarray(committed).astype(float)
            assert np.abs(apart).mean() / full < 0.005, name


def test_the_contact_band_is_the_chord_of_the_barrel() -> None:
    # by Pythagoras: half the chord at a depth d below the crown of a circle R is sqrt(2 R d - d^2)
    assert inspection.band_of(1.3) == pytest.approx(2 * math.sqrt(2 * 40 * 0.0013 - 0.0013**2), rel=1e-4)
    assert inspection.band_of(0.3) < 0.5 * inspection.band_of(1.3)
    assert inspection.band_of(9.0) == 1.2  # no wider than the face


def document(path: Path) -> Any:
    """Everything as text: YAML 1.1 would make a truth value of the key `on`."""
    return yaml.load(path.read_text("utf-8"), yaml.BaseLoader)  # noqa: S506 - the base loader makes text only


@pytest.mark.parametrize("program", ["pump-rings-2025", "pump-rings-2026"])
def test_program_files_and_simulator_agree(program: str, made: tuple[sim.Truth, dict[str, bytes]]) -> None:
    truth, files = made
    said = document(PROGRAMS / program / "program.yaml")
    tables = {stream: sources for stream, sources in said["records"].items() if stream != "runlog"}
    named = {f"{program}/{source['file']}" for sources in tables.values() for source in sources}
    assert named == {name for name in files if name.startswith(f"{program}/records/")}
    minutes = {"s": 1 / 60, "min": 1.0, "h": 60.0}
    for phase in said["phases"]:
        turns = 0.0
        for step in phase.get("schedule", ()):
            number, unit = step["time"].split()
            speed = step["speed"]
            ends = [speed["from"], speed["to"]] if isinstance(speed, dict) else [speed]
            turns += float(number) * minutes[unit] * sum(float(each.split()[0]) for each in ends) / len(ends)
        assert turns * int(phase.get("repeat", 1)) == pytest.approx(programs.RUNNING.get(phase["id"], 0.0))
    for build in said["builds"]:
        rings = build["rings"]
        for cylinder in truth.engines[build["id"]].cylinders:
            assert rings.get("all", rings.get(str(cylinder.cylinder)))["coating"] == cylinder.coating
        later = {each["phase"] for each in build.get("departures", ())}
        planned = {
            each["id"]
            for each in said["phases"]
            if "leakdown" in each["records"]
            and each["id"] not in later
            and build["id"] in each.get("only", [build["id"]])
        }
        assert planned == {check.phase for check in truth.checks[build["id"]]}


def test_the_excluded_reading_is_the_stuck_needle(made: tuple[sim.Truth, dict[str, bytes]]) -> None:
    truth, files = made
    excluded = [each["reading"] for each in document(PROGRAMS / "pump-rings-2026" / "program.yaml")["exclusions"]]
    assert excluded == [odd.reading for odd in truth.oddities if odd.kind == "excluded"]
    stem, line = excluded[0].split(":")
    cells = files[f"pump-rings-2026/records/{stem}.csv"].decode().splitlines()[int(line) - 1].split(",")
    assert cells[1:4] == ["run-in-10", "2", "1"]
    assert float(cells[7]) == 79.6


def test_ids_of_what_is_odd_point_at_it(made: tuple[sim.Truth, dict[str, bytes]]) -> None:
    truth, files = made
    lines = files["pump-rings-2026/records/leakdown-b6.csv"].decode().splitlines()
    named = [odd for odd in truth.oddities if odd.engine == "B6" and odd.reading]
    where = {odd.kind: lines[int(odd.reading.split(":")[1]) - 1] for odd in named}
    assert ",T2," in where["past calibration"]
    assert ",wet," in where["wet"]
    assert ",40.0," in where["second supply"]
    again = files["pump-rings-2026/records/leakdown-b2.csv"].decode().splitlines()
    line = next(int(odd.reading.split(":")[1]) for odd in truth.oddities if odd.kind == "repeat disagrees")
    low, before, after = (float(again[at - 1].split(";")[7].replace(",", ".")) for at in (line, line - 1, line + 1))
    assert before - low > 3 < after - low


def test_no_reading_falls_after_a_due_date_but_the_one(made: tuple[sim.Truth, dict[str, bytes]]) -> None:
    truth, _ = made
    testers = document(PROGRAMS / "definitions.yaml")["testers"]
    late = []
    for plan in (*programs.PLANS_2025, *programs.PLANS_2026):
        rows = programs.readings_of(truth.seed, plan, truth.engines[plan.name], sim.Scatter())
        late += [
            (row.engine, row.cylinder, row.phase, row.repeat, row.tester)
            for row in rows
            if not any(each["on"] <= row.date <= each["due"] for each in testers[row.tester]["calibrations"])
        ]
    assert late == [("B6", 4, "pulls", 4, "T2")]


def test_truth_stays_where_the_story_needs_it(made: tuple[sim.Truth, dict[str, bytes]]) -> None:
    truth, _ = made
    slow = truth.engines["B6"].cylinder(2)
    for engine in truth.engines.values():
        pulls = next(check for check in truth.checks[engine.engine] if check.phase == "pulls")
        for cylinder in engine.cylinders:
            assert 0.7 < cylinder.start < 1.15
            assert 0.10 < cylinder.floor < 0.18 < cylinder.plateau < 0.40
            if cylinder.coating == "graded-crn" and cylinder is not slow:
                assert cylinder.ring_area(pulls) < 0.30
                assert cylinder.to_lose(pulls) < 0.001
    pulls = truth.checks["B6"][-1]
    assert slow.ring_area(pulls) > 0.38
    assert slow.to_lose(pulls) > 0.10
    # a total reading would call the seated cylinder bad
    leaky = truth.engines["B4"].cylinder(3)
    pulls = next(check for check in truth.checks["B4"] if check.phase == "pulls")
    assert leaky.ring_area(pulls) < 0.30 < 0.35 < leaky.ring_area(pulls) + leaky.exhaust_area("pulls")


def test_forms_are_different_and_clean(made: tuple[sim.Truth, dict[str, bytes]]) -> None:
    _, files = made
    folder = "pump-rings-2026/records"
    assert b"\r\n" in files[f"{folder}/leakdown-b4.csv"]
    assert "Metal °C".encode("latin-1") in files[f"{folder}/leakdown-b4.csv"]
    with pytest.raises(UnicodeDecodeError):
        files[f"{folder}/leakdown-b4.csv"].decode()
    assert files[f"{folder}/leakdown-b3.csv"].decode().splitlines()[1].split(",")[6] == "psig"
    assert "\t" in files[f"{folder}/leakdown-b5.tsv"].decode()
    for name, data in files.items():
        lines = data.decode("latin-1").splitlines()
        mark = "\t" if name.endswith(".tsv") else ";" if ";" in lines[0] else ","
        if '"' not in "".join(lines) and "/records/" in name:
            assert {line.count(mark) for line in lines} == {lines[0].count(mark)}, name


def test_large_folder_has_so_many_builds(tmp_path: Path) -> None:
    truth = programs.write_large(tmp_path, builds=3, cylinders=6)
    assert [len(engine.cylinders) for engine in truth.engines.values()] == [6, 6, 6]
    said = document(tmp_path / "large" / "program.yaml")
    for sources in said["records"].values():
        assert len(sources) == 3
        assert all((tmp_path / "large" / source["file"]).is_file() for source in sources)
    lines = (tmp_path / "large/records/leakdown-l001.csv").read_text("utf-8").splitlines()
    # a header; six checks of six cylinders twice and the orifice twice; a third repeat after the pulls
    assert len(lines) == 1 + 6 * (6 * 2 + 2) + 6
