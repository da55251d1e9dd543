"""From the document to the model: values in SI, and what follows from what is left out."""

from __future__ import annotations

import math
import re
import shutil
from pathlib import Path

import pytest

from sitegen.program.folder import load
from sitegen.program.model import Assembly, Departure, Ended, Place, Program, Subject, Window

TESTS = Path(__file__).parent.parent
STREAMS = ("buildsheet", "inspection", "leakdown")
MEASURES = {"leakdown.crankcase": "mm2", "leakdown.percent": "%", "seating.to_lose": "mm2"}


def program(folder: Path, **known: object) -> Program:
    made, problems = load(folder, **(known or {"measures": MEASURES, "streams": STREAMS}))  # type: ignore[arg-type]
    assert problems == []
    assert made is not None
    return made.programs[0]


@pytest.fixture(scope="module")
def full() -> Program:
    return program(TESTS / "accepted/every-key")


@pytest.fixture(scope="module")
def plain() -> Program:
    return program(TESTS / "accepted/plain")


def test_definitions_in_si(full: Program) -> None:
    engine = full.definitions.engine_types["pump-24-gas"]
    assert engine.bore == pytest.approx(0.0875)
    assert engine.rated_speed == pytest.approx(2000 * 2 * math.pi / 60)
    assert engine.firing_order == (1, 3, 4, 2)
    coating = full.definitions.coatings["nitrided"]
    assert (coating.order, coating.hardness_hv) == (0, 1100.0)
    assert coating.thickness == pytest.approx(70e-6)
    tester = full.definitions.testers["T1"]
    assert tester.orifice == pytest.approx(1.016e-3)  # 0.040 in of 25.4 mm
    assert tester.gauge_class == pytest.approx(1723.69, rel=1e-6)  # 0.25 psi of 6894.757 Pa, NIST SP 811
    assert (tester.scale, tester.percent_linear) == ("percent", True)
    assert full.definitions.tools["balance-1"].limit == pytest.approx(0.5e-6)
    assert full.definitions.tools["tension-1"].limit == pytest.approx(0.4)
    assert full.definitions.tools["feeler-1"].limit == pytest.approx(2e-5)
    assert full.definitions.oils["gas-40"].density == pytest.approx(885)


def test_what_is_compared(full: Program) -> None:
    assert (full.primary_measure, full.primary_phase, full.primary_at) == ("leakdown.crankcase", "pulls", "wet")
    assert full.also == (Subject("seating.to_lose", "pulls"), Subject("leakdown.percent", "pulls", "wet"))
    assert full.covariates == (Subject("leakdown.crankcase", "cold-build", "wet"),)
    assert full.worth_finding == pytest.approx(0.1)
    assert full.scatter_from == ("rings-2025",)
    assert [build.built for build in full.builds] == [2, 1]
    assert full.criteria[0].at == "wet"


def test_program_values(full: Program) -> None:
    assert full.seating.to_lose == 0.03
    assert full.seating.level == 0.35
    assert full.leakdown.supply == pytest.approx(551580.6, rel=1e-6)
    assert full.leakdown.supply_band == pytest.approx(13789.51, rel=1e-6)
    assert full.inspection is not None
    assert full.inspection.grades == {1.0: "evenly run in", 2.0: "light marks", 3.0: "torn"}
    assert (full.inspection.best, full.inspection.low, full.inspection.high) == (1.0, 1.0, 3.0)
    warm = full.leakdown.metal["warm"]
    assert (warm.low, warm.high) == pytest.approx((323.15, 343.15))  # 158 °F are 70 °C
    assert full.leakdown.metal["cold"] == Window(high=308.15)
    assert (full.leakdown.since_stop, full.leakdown.wait) == (Window(high=2700.0), Window(20.0, 120.0))
    assert (full.leakdown.locked, full.leakdown.turns) == (True, Window(low=2))
    assert full.leakdown.approached == ("running-direction", "turned-back-half-turn")
    assert (full.leakdown.oil, full.invented, full.version) == ("wet", True, "2026-3")
    assert (full.allocation_scheme, full.allocation_seed) == ("by block", 7)
    assert [each.kind for each in full.phases] == ["static-check", "pulls", "durability", "teardown"]
    first, second = full.phases[1].schedule
    assert (first.time, first.reference_point) == (180, True)
    assert first.torque == pytest.approx(108.4654, rel=1e-6)  # 80 lbf ft of 1.355818 N m, NIST SP 811
    assert second.speed == pytest.approx(40 * math.pi)
    assert second.speed_to == pytest.approx(2200 * math.pi / 30)
    assert (second.torque, second.torque_to) == (50.0, 150.0)
    assert first.torque_to == first.torque


def test_criteria(full: Program) -> None:
    level, sooner, percent, above = full.criteria
    assert (above.sense, above.limit) == ("above-reference", None)
    assert (level.sense, level.limit, level.scope, level.end_rule) == ("at-most", 0.35, "every-cylinder", True)
    assert (sooner.sense, sooner.limit, sooner.scope) == ("below-reference", None, "mean-of-builds")
    assert sooner.coatings == full.candidates
    assert (percent.sense, percent.limit, percent.scope) == ("at-least", 1.5, "every-build")


def test_builds(full: Program, plain: Program) -> None:
    first, second = full.builds
    assert (first.operator, first.cell, first.oil) == ("M. A.", "3", "gas-40")
    assert first.assemblies == (Assembly("a1", "cold-build", "pulls"), Assembly("a2", "teardown", "teardown", "opened"))
    assert first.departures == (Departure("teardown", "due", "rig in use", "2026-12-07"),)
    assert (first.ended, second.ended) == (None, Ended(12.5 * 3600, "no fuel", by_measure=False))
    assert full.planned_hours(second) == 25 * 3600
    assert first.places == tuple(Place(n, "nitrided", "N-204") for n in (1, 2, 3, 4))
    assert [each.coating for each in second.places] == ["graded-crn", "graded-crn", "nitrided", "nitrided"]
    assert plain.builds[1].assemblies == (Assembly("a1", "cold-build", "teardown"),)
    assert plain.allocation_scheme == "not recorded"
    assert plain.builds[1].title == "B2"


def test_all_and_named() -> None:
    places = program(TESTS / "accepted/all-and-named").builds[0].places
    assert [each.coating for each in places] == ["nitrided", "nitrided", "graded-crn", "nitrided"]
    assert [each.lot for each in places] == ["204", "204", "", "204"]


def test_text_stays_text() -> None:
    made = program(TESTS / "accepted/text-stays-text")
    build = made.builds[0]
    assert made.title == "no"
    assert (build.operator, build.cell, build.note, build.places[0].lot) == ("on", "12:30", "2026-01-12", "1e3")


def test_records(full: Program) -> None:
    long, sheet, buildsheet, inspection = full.records
    assert (long.stream, long.file, long.form, long.separator) == ("leakdown", "records/leakdown.csv", "long", "")
    assert (long.columns["supply"].at.header, long.columns["supply"].unit) == ("Supply", "psig")
    assert (long.where.file, long.columns["engine"].where.line > long.where.line) == ("pump/program.yaml", True)
    assert sheet.constants == {"engine": "B1", "tester": "T1", "supply": "80 psig", "repeat": "1", "locked": "true"}
    assert (sheet.sheet_field, sheet.sheet_unit) == ("pressure", "psig")
    assert sheet.sheet_phases == {"Cold": "cold-build", "4 pulls": "pulls"}
    assert (sheet.decimal, sheet.thousands, sheet.separator, sheet.skip_rows) == (",", ".", "tab", 2)
    assert (sheet.encoding, sheet.date_order, sheet.units_row) == ("windows-1252", "day first", True)
    assert (buildsheet.stream, inspection.stream) == ("buildsheet", "inspection")
    assert full.exclusions[0].reading == "leakdown:2"
    assert full.notes == "notes.md"


def spoilt(tmp_path: Path, *changes: tuple[str, str]) -> Program:
    folder = shutil.copytree(TESTS / "accepted/plain", tmp_path / "programs", dirs_exist_ok=True)
    text = (TESTS / "accepted/plain/pump/program.yaml").read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    (folder / "pump/program.yaml").write_text(text, encoding="utf-8")
    return program(folder)


def test_criteria_hash_tells_a_change_from_a_rewording(tmp_path: Path, plain: Program) -> None:
    assert len(plain.criteria_hash) == 64
    reworded = spoilt(
        tmp_path, ("title: Leak area after the pulls", "title: Area"), ("at_most: 0.35 mm2", "at_most: 0.0035 cm2")
    )
    assert reworded.criteria_hash == plain.criteria_hash
    assert program(TESTS / "accepted/plain", measures=None).criteria_hash == plain.criteria_hash
    for change in (
        ("at_most: 0.35 mm2", "at_most: 0.36 mm2"),
        ("at_most: 0.35", "at_least: 0.35"),
        ("scope: every cylinder", "scope: every build"),
        ("      phase: pulls\n      at_most", "      phase: cold-build\n      at_most"),
        ("      at_most: 0.35 mm2\n", "      at_most: 0.35 mm2\n      end_rule: true\n"),
    ):
        assert spoilt(tmp_path, change).criteria_hash != plain.criteria_hash


def test_limits_without_known_measures_stay_as_written() -> None:
    made = program(TESTS / "accepted/plain", measures=None, streams=None)
    assert made.criteria[0].limit == 0.35


def test_skipped_phases_may_lie_between_assemblies(tmp_path: Path) -> None:
    place = "    oil: gas-40\n"
    made = spoilt(
        tmp_path,
        (
            place,
            place + "    departures:\n      - {phase: pulls, skipped: no fuel}\n"
            "    assemblies:\n      - {through: cold-build}\n      - {from: teardown}\n",
        ),
    )
    assert [(each.first, each.last) for each in made.builds[0].assemblies] == [
        ("cold-build", "cold-build"),
        ("teardown", "teardown"),
    ]


def test_assembly_ends_before_the_next_begins(tmp_path: Path) -> None:
    place = "    oil: gas-40\n"
    made = spoilt(tmp_path, (place, place + "    assemblies:\n      - {note: first}\n      - {from: teardown}\n"))
    assert made.builds[0].assemblies[0] == Assembly("a1", "cold-build", "pulls", "first")


def test_limit_of_a_measure_with_a_unit_of_its_own(tmp_path: Path) -> None:
    """Thousands of turns are no unit of any table: the limit is a bare number of them."""
    folder = shutil.copytree(TESTS / "accepted/plain", tmp_path / "programs")
    file = folder / "pump/program.yaml"
    text = file.read_text(encoding="utf-8")
    for written, expected in (("0.35", 0.35), ("0.35 1000", 0.35), ("0.35 mm2", None)):
        file.write_text(text.replace("at_most: 0.35 mm2", f"at_most: {written}"), encoding="utf-8")
        made, problems = load(folder, measures={**MEASURES, "leakdown.crankcase": "1000"})
        if expected is None:
            assert [each.code for each in problems] == ["wrong-kind-of-unit"]
        else:
            assert made is not None
            assert made.programs[0].criteria[0].limit == expected


def test_on_may_stand_in_quotes(tmp_path: Path, full: Program) -> None:
    """For editors that read YAML 1.1: calibrations, decisions and objections keep their days."""
    shutil.copytree(TESTS / "accepted/every-key", tmp_path / "f")
    quoted = 0
    for path in (tmp_path / "f/definitions.yaml", tmp_path / "f/pump/program.yaml"):
        text, count = re.subn(r"(?<=[{ ])on: (?=2)", '"on": ', path.read_text(encoding="utf-8"))
        path.write_text(text, encoding="utf-8")
        quoted += count
    made = program(tmp_path / "f")
    assert quoted >= 3
    assert made.decisions[0].on == full.decisions[0].on != ""
    assert made.exclusions[0].on == full.exclusions[0].on != ""
    assert made.definitions.testers["T1"].calibrations == full.definitions.testers["T1"].calibrations != ()
