"""An instrument that was found off: from its record to the answer, and what the widened intervals are worth."""

from __future__ import annotations

import json
import math
import shutil
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from house import Analysed, git, plain, rows_of
from results import edits
from second import generator

from sitegen import registry, workflow
from sitegen.cli import main
from sitegen.declarations import Step
from sitegen.logs.join import Log
from sitegen.program.calibrated import Doubt
from sitegen.reasons import DIFFERS, IN_DOUBT
from sitegen.results import shadows
from sitegen.results.run import Analysis, bare, by_engine
from sitegen.vocabulary import Book, Comparison, Key, ReadingsBook, Value, Verdict

PSI = 6894.757293168361  # Pa (NIST SP 811, appendix B.8)
ROOM = 101_325.0  # Pa: the air where nobody recorded it
OFF = 0.6  # psi that the gauge showed too much
GOOD = "{at: 70 psig, found: 70.1 psig}"
BAD = "{at: 70 psig, found: 70.6 psig, left: 70.0 psig, gauge: cylinder}"
SUPPLY = "{at: 80 psig, found: 80.5 psig, left: 80.0 psig, gauge: supply}"
HEADER = "Build,Check,Cyl,Supply,Gauge,Crank,Day"
# psi by cylinder of B1 and B2, after the pulls: all leaks below 0.35 mm², that of the fifth the nearest to it
GAUGES = (77.2, 76.9, 77.5, 77.1, 76.9, 77.3, 77.0, 77.2)


def rows(gauges: Sequence[float] = GAUGES, day: str = "2026-05-04") -> list[str]:
    """Readings of two builds with four cylinders each."""
    return [f"B{1 + n // 4},pulls,{1 + n % 4},80,{gauge},tdc,{day}" for n, gauge in enumerate(gauges)]


def program(folder: Path, lines: Sequence[str], checks: str = BAD, **more: str) -> Path:
    """The plain program with these readings, and a tester that was good in January and is as `checks` in December."""
    programs = plain(folder)
    (programs / "pump" / "records" / "leakdown.csv").write_text("\n".join([HEADER, *lines, ""]), "utf-8")
    columns = ("        pressure: {header: Gauge, unit: psig}\n", "        crank: Crank\n        date: Day\n")
    change(programs / "pump" / "program.yaml", columns[0], "".join(columns))
    later = f"\n      - {{on: 2026-12-01, due: 2027-12-01, checks: [{checks}]}}" if checks else ""
    before = "{on: 2026-01-12, due: 2027-01-12}"
    change(programs / "definitions.yaml", before, before.replace("}", f", checks: [{GOOD}]}}") + later)
    for file, text in more.items():
        (programs / "pump" / "records" / f"{file}.csv").write_text(text, "utf-8")
    return programs


def change(path: Path, old: str, new: str) -> None:
    text = path.read_text("utf-8")
    assert text.count(old) == 1
    path.write_text(text.replace(old, new), "utf-8")


def analysis(programs: Path) -> Analysis:
    examination = workflow.examine(programs)
    assert not examination.blocked, examination.problems
    return workflow.conclude(examination)[0]


def area(found: Analysis, cylinder: int, build: str = "B1") -> Value:
    key = found.program.build(build).key(cylinder, "pulls")
    return found.values["leakdown.area", key]


# ---- from the record to the answer ----------------------------------------------------------------------------------


def test_from_the_record_to_the_answer(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The word of a criterion is left open by what the tester was found with, in the tables and on the page."""
    told = {}
    for name, checks in (("good", GOOD), ("bad", BAD)):
        programs = program(tmp_path / name, rows(), checks)
        assert main(["publish", str(programs), "--to", str(tmp_path / f"{name}-site"), "--no-cache"]) == 0
        results = programs / "pump" / "results"
        told[name] = (
            {row["coating"]: row for row in rows_of(results / "verdicts.csv")
             if row["rule"] == "criterion:level" and not row["engine"]},
            {(row["engine"], row["cylinder"]): row for row in rows_of(results / "measures.csv")
             if row["measure"] == "leakdown.crankcase" and row["cylinder"]},
            (tmp_path / f"{name}-site" / "programs" / "pump" / "index.html").read_text("utf-8"),
            rows_of(results / "comparisons.csv"),
        )  # fmt: skip
    good, bad = told["good"], told["bad"]
    (one,), (other,) = good[0].values(), bad[0].values()
    assert (one["word"], one["reason"]) == ("holds", "")
    assert (other["word"], other["reason"]) == ("cannot tell yet", DIFFERS)
    assert float(other["high"]) > 0.35 > float(one["high"])
    assert other["deciding"].startswith("leakdown.crankcase@B2/1")
    for place, row in bad[1].items():
        before = good[1][place]
        assert row["value"] == before["value"]
        assert float(row["low"]) == pytest.approx(float(before["low"]), rel=1e-3)
        assert float(row["high"]) > 1.08 * float(before["high"])
        assert IN_DOUBT in row["flags"].split()
    assert "in doubt" not in good[2]
    assert "Eight readings with T1 are in doubt, which leaves one answer to a criterion open." in bad[2]
    assert "in-doubt" not in "".join(",".join(row.values()) for row in good[3])
    capsys.readouterr()


def test_changes_name_the_calibration(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Between two states of the results the word moved because of what a calibration found."""
    programs = program(tmp_path, rows(), GOOD)
    git(tmp_path, "init", "-q", "-b", "main")
    later = f"due: 2027-12-01, checks: [{GOOD}]"
    for tag, checks in (("good", GOOD), ("bad", BAD)):
        change(programs / "definitions.yaml", later, later.replace(GOOD, checks))
        assert main(["publish", str(programs), "--to", str(tmp_path / "site"), "--no-cache"]) == 0
        git(tmp_path, "add", "programs")
        git(tmp_path, "commit", "-q", "-m", tag)
        git(tmp_path, "tag", tag)
    capsys.readouterr()
    assert main(["changes", str(programs), "good..bad", "--format", "json"]) == 0
    (told,) = json.loads(capsys.readouterr().out)["programs"]
    (moved,) = [each for each in told["moved"] if each["what"] == "criterion:level" and not each["engine"]]
    assert (moved["before"]["word"], moved["after"]["word"]) == ("holds", "cannot tell yet")
    (because,) = moved["because"]
    assert told["changes"][because]["kinds"] == ["calibration"]


def test_a_leak_area_by_hand(tmp_path: Path) -> None:
    """Value and one end as read, the other end as if 76.6 had been read for 77.2: two orifices in series.

    By the formula of methods, part 1, section 1, worked out here on its own; absolute pressures, air of 20 °C.
    """

    def flow(upstream: float, downstream: float) -> float:  # kg/(s m²)
        ratio = downstream / upstream
        if ratio <= 0.528282:
            return upstream * 0.0404184 / math.sqrt(293.15)
        bracket = ratio ** (2 / 1.4) - ratio ** (2.4 / 1.4)
        return upstream / math.sqrt(287.0 * 293.15) * math.sqrt(2 * 1.4 / 0.4 * bracket)

    def by_hand(gauge: float) -> float:  # mm²
        supply, cylinder = 80 * PSI + ROOM, gauge * PSI + ROOM
        return math.pi / 4 * 1.016**2 * flow(supply, cylinder) / flow(cylinder, ROOM)

    bad = area(analysis(program(tmp_path / "bad", rows())), 1)
    good = area(analysis(program(tmp_path / "good", rows(), GOOD)), 1)
    lower = area(analysis(program(tmp_path / "lower", rows([gauge - OFF for gauge in GAUGES]), GOOD)), 1)
    assert bad.value == pytest.approx(by_hand(77.2), rel=2e-3)
    assert lower.value == pytest.approx(by_hand(77.2 - OFF), rel=2e-3)
    assert (bad.value, bad.low) == (good.value, good.low)
    assert bad.high == lower.high
    assert lower.high is not None
    assert good.high is not None
    assert lower.high - good.high == pytest.approx(by_hand(77.2 - OFF) - by_hand(77.2), rel=0.35)  # wider with the leak


def test_a_mass_by_hand(tmp_path: Path) -> None:
    """A balance of 0.5 mg that showed 2 mg too much at 20 g: a ring read as 12.3456 g is of 12.3431 to 12.3461 g."""
    sheet = "engine,phase,cylinder,ring,mass [g],tool_mass,date\nB1,cold-build,1,top,12.3456,balance-1,2026-04-01\n"
    programs = program(tmp_path, rows(), GOOD, buildsheet=sheet)
    change(programs / "pump" / "program.yaml", "\nrecords:\n", "\nrecords:\n  buildsheet:\n    - file: "
           "records/buildsheet.csv\n")  # fmt: skip
    limit = "limit: 0.5 mg"
    later = "{on: 2026-06-01, due: 2027-06-01, checks: [{at: 20 g, found: 20.002 g, left: 20.0001 g}]}"
    change(
        programs / "definitions.yaml", limit, f"{limit}, calibrations: [{{on: 2026-01-02, due: 2027-01-02}}, {later}]"
    )
    found = analysis(programs)
    mass = found.values["buildsheet.mass", Key("B1", 1, "nitrided", "cold-build", "top")]
    assert (mass.value, mass.low, mass.high) == pytest.approx((12.3456, 12.3431, 12.3461), abs=1e-6)
    assert IN_DOUBT in mass.flags
    (told,) = found.doubted
    assert (told.readings, told.widened, told.words) == (1, 1, ())
    assert told.most == pytest.approx(2.0)  # 3 mg wide instead of one


# ---- which readings -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("day", "doubtful"), [("2026-01-12", False), ("2026-01-13", True), ("2026-12-01", True),
                                               ("2026-12-02", False), ("", False)])  # fmt: skip
def test_readings_after_the_last_good_check_until_the_bad_one(tmp_path: Path, day: str, *, doubtful: bool) -> None:
    examination = workflow.examine(program(tmp_path, rows(day=day)))
    found = workflow.conclude(examination)[0]
    assert (IN_DOUBT in area(found, 1).flags) is doubtful
    own = [each for each in examination.problems if each.code == "in-doubt-undated"]
    assert bool(own) is (day == "")
    if own:
        assert (own[0].file, own[0].line, own[0].level) == ("pump/records/leakdown.csv", 2, "warning")
        assert own[0].what.startswith("8 readings with T1 bear no date")


@pytest.mark.parametrize(("other", "told"), [("2026-12-14", False), ("2026-11-30", True)])
def test_an_undated_reading_of_a_build_that_ran_on_other_days(tmp_path: Path, other: str, *, told: bool) -> None:
    lines = [*rows(day="")[:4], f"B1,cold-build,1,80,72.5,tdc,{other}"]
    found = [each.code for each in workflow.examine(program(tmp_path, lines)).problems]
    assert ("in-doubt-undated" in found) is told


def test_a_reading_stays_in_the_condition_it_was_taken_in(tmp_path: Path) -> None:
    """The supply gauge stood at 80 psi as asked: that it was 77.5 takes no reading out of the program's condition."""
    bad = BAD.replace("cylinder", "supply").replace("70.6", "72.5")
    found = area(analysis(program(tmp_path, rows(), bad)), 1)
    good = area(analysis(program(tmp_path / "good", rows(), GOOD)), 1)
    assert found.value == good.value
    assert found.high == good.high
    assert found.low is not None
    assert good.low is not None
    assert found.low < 0.6 * good.low  # with less supply the same cylinder gauge means a smaller leak


@pytest.mark.parametrize("found", ["160.0", "65.0", "152.0", "1.0"])
def test_an_error_beyond_all_sense(tmp_path: Path, found: str) -> None:
    """Readings that could not be with the error in them: how far the value reaches is not known, and nothing breaks."""
    one = area(analysis(program(tmp_path, rows(), BAD.replace("70.6", found))), 1)
    assert one.value == pytest.approx(0.297, abs=0.01)
    assert (one.low, one.high) == (None, None)
    assert IN_DOUBT in one.flags


def test_a_reading_that_is_left_out_is_shown_with_the_doubt_too(tmp_path: Path) -> None:
    programs = program(tmp_path, rows())
    with (programs / "pump" / "program.yaml").open("a", encoding="utf-8") as file:
        file.write('\nexclusions:\n  - {reading: "leakdown:2", why: valve open, by: A. B., on: 2026-06-01}\n')
    found = [value for value in analysis(programs).values.values() if value.status == "excluded" and value.high]
    assert found
    assert all(IN_DOUBT in value.flags for value in found)


def test_another_program_of_the_folder(tmp_path: Path) -> None:
    """Calibrations are shared; what was read with the tester on other days is not in doubt."""
    programs = program(tmp_path, rows())
    shutil.copytree(programs / "pump", programs / "pump-2")
    table = programs / "pump-2" / "records" / "leakdown.csv"
    table.write_text(table.read_text("utf-8").replace("2026-05-04", "2026-12-14"), "utf-8")
    first, second = workflow.conclude(workflow.examine(programs))
    assert [each.readings for each in first.doubted] == [8]
    assert second.doubted == ()
    good = analysis(program(tmp_path / "good", rows(), GOOD))
    assert {**second.values} == {**good.values}


def test_several_doubts_are_tried_one_by_one(tmp_path: Path) -> None:
    """Both gauges: the interval reaches as far as either takes it, and no further."""
    found = area(analysis(program(tmp_path / "both", rows(), f"{BAD}, {SUPPLY}")), 2)
    cylinder = area(analysis(program(tmp_path / "one", rows(), BAD)), 2)
    supply = area(analysis(program(tmp_path / "other", rows(), SUPPLY)), 2)
    assert (found.low, found.high) == (supply.low, cylinder.high)


# ---- the instruments of logs and traces -----------------------------------------------------------------------------


def of(analysed: Analysed, program_: str, doubt: Doubt, monkeypatch: pytest.MonkeyPatch) -> shadows.Shadow:
    """An example program with a doubt of one instrument."""
    evidence = next(each for each in analysed.examination.evidence if each.program.id == program_)
    monkeypatch.setattr(shadows, "in_doubt", lambda _: {doubt.instrument: (doubt,)})
    (found,) = shadows.shadows(evidence.program, registry.STREAMS, evidence.readings)
    return found


def given(analysed: Analysed, shadow: shadows.Shadow, step: str, measure: str) -> list[tuple[float, float]]:
    """Values a step gives of one build, as read and with the doubt."""
    own = next(each for each in registry.steps() if each.name == step)
    real = next(a.analysis for a in analysed.conclusions if a.analysis.program.id == "pump-rings-2026")
    build = min(shadow.builds[own.reads[0]])
    told = []
    for every in (real.readings, shadow.readings):
        parted = by_engine(real.program, bare(every))[build]
        book = Book(real.values, own.needs)
        made = own.run(real.program, build, ReadingsBook(parted, own.reads), book)
        told.append([each.value for each in made if isinstance(each, Value) and each.measure == measure and each.value])
    return list(zip(*told, strict=True))


def test_flows_of_a_log(analysed: Analysed, monkeypatch: pytest.MonkeyPatch) -> None:
    """A meter that showed 2 L/min too much: blow-by is less by that, on the way to reference conditions."""
    doubt = Doubt("2026-01-19", "2026-12-01", "M1", ((20 / 60e3, 2 / 60e3),))
    found = of(analysed, "pump-rings-2026", doubt, monkeypatch)
    assert found.builds.keys() == {"runlog", "events"} or found.builds.keys() == {"runlog"}
    key = next(key for key in found.readings["runlog"].logs if key[0] == min(found.builds["runlog"]))
    real = next(a.analysis for a in analysed.conclusions if a.analysis.program.id == "pump-rings-2026")
    before, after = (each["runlog"].logs[key] for each in (real.readings, found.readings))
    assert isinstance(before, Log)
    assert isinstance(after, Log)
    for name in ("blowby", "blowby.low", "blowby.high"):
        less = before.bins[name].to_numpy() - after.bins[name].to_numpy()
        assert np.allclose(less[np.isfinite(less)], 2 / 60e3)
    assert np.array_equal(before.bins["speed"].to_numpy(), after.bins["speed"].to_numpy(), equal_nan=True)
    pairs = given(analysed, found, "blow-by", "blowby.level")
    assert len(pairs) > 3
    for read, shadow in pairs:
        assert 1.5 < read - shadow < 2.5


def test_heights_of_traces(analysed: Analysed, monkeypatch: pytest.MonkeyPatch) -> None:
    """An instrument that showed a groove of 2 µm as 2.1 µm: every height is 1.05 times too large, so every Rk is."""
    doubt = Doubt("", "2026-12-01", "profile-1", ((2e-6, 0.1e-6),))
    found = of(analysed, "pump-rings-2026", doubt, monkeypatch)
    assert found.builds.keys() == {"surfaces"}
    pairs = given(analysed, found, "bore-surfaces", "bore.rk")
    assert len(pairs) > 3
    for read, shadow in pairs:
        assert read / shadow == pytest.approx(1.05, rel=1e-6)


# ---- kept, and shared -----------------------------------------------------------------------------------------------


def test_with_and_without_shelves(tmp_path: Path) -> None:
    """As found off, off by more, good, and gone: no kept result is served for another."""
    programs = program(tmp_path, rows())
    definitions = programs / "definitions.yaml"
    first = definitions.read_text("utf-8")
    for checks in (BAD, BAD.replace("70.6", "70.9"), GOOD, BAD, BAD.replace("70.6", "69.4")):
        definitions.write_text(first.replace(BAD, checks), "utf-8")
        assert edits.differences(programs, None, tmp_path / "shelf") == []
    for what in edits.edited(programs, 5, 6, (edits.cell, edits.objection, edits.row_gone, edits.lines_above)):
        assert edits.differences(programs, None, tmp_path / "shelf") == [], what


def test_nothing_is_run_twice_without_a_doubt(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sitegen.results.run._Beside", None)
    assert analysis(program(tmp_path, rows(), GOOD)).doubted == ()


def test_steps_that_see_nothing_of_it_are_not_run_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from sitegen.results import run

    ran: list[tuple[str, str]] = []
    really = run._run_step

    def noted(program_: object, engine: str, step: Step, *more: object) -> object:
        ran.append((step.name, engine))
        return really(program_, engine, step, *more)  # type: ignore[arg-type]

    monkeypatch.setattr(run, "_run_step", noted)
    lines = [row if row.startswith("B1") else row.replace("2026-05-04", "2026-12-14") for row in rows()]
    analysis(program(tmp_path, lines))
    twice = {each for each in ran if ran.count(each) > 1}
    assert ("leak-areas", "B1") in twice
    assert ("answers", "") in twice
    assert not {each for each in twice if each[1] == "B2" and each[0] == "build-sheet"}
    assert ("build-sheet", "B1") not in twice


# ---- what is made of two results ------------------------------------------------------------------------------------

KEY = Key("B1", 1, "a", "pulls")


def value(number: float | None, low: float | None, high: float | None, status: str = "ok") -> Value:
    return Value("m", KEY, number, low, high, status=status)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("own", "other", "ends"),
    [
        ((1.0, 0.9, 1.1), (1.2, 1.1, 1.3), (0.9, 1.3)),
        ((1.0, 0.9, 1.1), (0.9, 0.8, 1.0), (0.8, 1.1)),
        ((1.0, 0.9, 1.1), (1.01, 0.95, 1.05), (0.9, 1.1)),  # rests on it, and reaches no further
        ((1.0, None, None), (1.2, None, None), (None, None)),  # what else it may be off by is not known
        ((1.0, 0.9, 1.1), None, (None, None)),  # cannot be worked out: how far it reaches is not known any more
        ((1.0, 0.9, 1.1), (None, None, 0.4, "below"), (0.0, 1.1)),
        ((None, None, 0.4, "below"), (1.0, 0.9, 1.1), (None, 1.1)),
        ((None, None, None, "refused"), (1.0, 0.9, 1.1), (None, None)),
    ],
)
def test_a_value_and_its_shadow(
    own: tuple[float | None, ...], other: tuple[float | None, ...] | None, ends: tuple[float | None, float | None]
) -> None:
    before = value(*own)  # type: ignore[arg-type]
    found = shadows.value_between(before, None if other is None else value(*other))  # type: ignore[arg-type]
    assert (found.value, found.low, found.high) == (before.value, *ends)
    assert IN_DOUBT in found.flags
    assert shadows.value_between(before, replace(before, se=9.0)) is before


def test_words_of_two_runs() -> None:
    rules = {"criterion": "cannot tell yet", "odd": "cannot tell"}
    own = Verdict("criterion:a", KEY, "holds", 0.35, 0.3, 0.28, 0.32, route="at-most", error_rate=0.025)

    def between(other: Verdict | None, of: Verdict = own) -> Verdict:
        return shadows.verdict_between(of, other, rules)

    same = between(replace(own, found=0.31, low=0.29, high=0.34))
    assert (same.word, same.found, same.low, same.high) == ("holds", 0.3, 0.28, 0.34)
    other = between(replace(own, word="cannot tell yet", found=0.34, low=0.31, high=0.37))
    assert (other.word, other.reason, other.low, other.high, other.error_rate) == (
        "cannot tell yet", DIFFERS, 0.28, 0.37, None,
    )  # fmt: skip
    assert between(None).word == "cannot tell yet"
    open_ = replace(own, word="cannot tell yet", reason="limit-in-interval")
    assert between(own, open_).reason == "limit-in-interval"
    number = Verdict("odd", KEY, "odd", 0.05, 0.03, route="number-at-most")
    assert between(replace(number, word="not odd", found=0.2), number) == replace(
        number, word="cannot tell", found=None, reason=DIFFERS
    )
    planned = Verdict("run as planned", KEY, "held", 80, 90, route="number-at-least")
    assert between(replace(planned, word="not held"), planned) == replace(planned, reason=DIFFERS)


def test_comparisons_of_two_runs() -> None:
    own = Comparison("m", "pulls", "", "b", "a", "primary", "ratio", estimate=0.8, low=0.7, high=0.9, p=0.01,
                     verdict="better")  # fmt: skip
    found = shadows.comparison_between(
        own, replace(own, estimate=0.95, low=0.85, high=1.05, p=0.4, verdict="cannot tell")
    )
    assert (found.estimate, found.low, found.high, found.p, found.verdict) == (0.8, 0.7, 1.05, 0.4, "cannot tell")
    assert shadows.comparison_between(own, replace(own, se=1.0)) is own
    refused = shadows.comparison_between(own, replace(own, verdict="refused", estimate=None, low=None, high=None))
    assert (refused.verdict, refused.reason) == ("cannot tell", DIFFERS)


# ---- what the widened interval is worth -----------------------------------------------------------------------------


def test_coverage(tmp_path: Path) -> None:
    """Gauges that were off by any part of what was found hold the truth within the widened interval, not without it.

    The air through tester and leak is that of `second.generator`, which shares nothing with the package.
    """
    rng = np.random.default_rng(20261130)
    held = {"with": 0, "without": 0}
    count = 0
    for run in range(8):
        leaks = rng.uniform(0.25, 0.7, 8)  # mm²
        off = rng.uniform(0, 1, 8) * 1.0 * PSI  # of up to 1 psi that was found at the end
        bore = 1.016 + rng.uniform(-0.0127, 0.0127)  # mm, of the tester's orifice
        supply = 80 * PSI + generator.ROOM
        true = generator.between(np.full(8, math.pi / 4 * bore**2), leaks, np.full(8, supply), np.full(8, 294.15))
        shown = (true - generator.ROOM + off + rng.uniform(-0.25, 0.25, 8) * PSI) / PSI
        lines = rows([round(each, 3) for each in shown.tolist()])
        for name, checks in (("with", BAD.replace("70.6", "71.0")), ("without", GOOD)):
            programs = program(tmp_path / f"{run}-{name}", lines, checks)
            change(programs / "definitions.yaml", "gauge_class: 0.25 psi", "gauge_class: 0.25 psi\n    "
                   "orifice_tolerance: 0.0005 in")  # fmt: skip
            found = analysis(programs)
            for n, leak in enumerate(leaks):
                one = area(found, 1 + n % 4, f"B{1 + n // 4}")
                assert one.high is not None
                held[name] += bool((one.low or 0.0) <= leak <= one.high)
        count += len(leaks)
    assert held["with"] >= 0.95 * count, (held, count)
    assert held["without"] < 0.85 * count, (held, count)
