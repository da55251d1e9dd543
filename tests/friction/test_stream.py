"""Friction from files to results and pages: whole small programs, with data of another hand than the simulator's."""

from __future__ import annotations

import csv
import math
import random
import re
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest
from house import Published, plain
from methods.friction_coverage import RPM, Engine, run_down
from simulate import friction as simulated

from sitegen import cli
from sitegen.methods import friction
from sitegen.reader.blocked import Blocked
from sitegen.streams.friction.fields import Reading
from sitegen.streams.friction.rundown import read_run_down
from sitegen.vocabulary import Refused

HEAD = "engine,phase,method,date,run,variant,speed [rpm],torque [N m],oil_temperature [degC],plugs"
INERTIA = ", inertia: 0.6 kg m2, inertia_error: 0.006 kg m2"
RULE = f"\nfriction: {{speeds: [1200 rpm, 1500 rpm], oil_temperature: 90 degC{INERTIA}}}\n"
SWEPT = math.pi / 4 * 0.0875**2 * 0.100 * 4  # m3
Row = list[str]


def true_torque(rpm: float) -> float:
    """N m: a curve of its own."""
    return 11 + 5e-3 * rpm + 2.5e-9 * rpm**3


def fmep(torque: float) -> float:
    """kPa of a four-stroke: 4 pi T / V, written out."""
    return 4 * math.pi * torque / SWEPT / 1e3


def day(
    number: int, variant: str = "", *, build: str = "B1", share: float = 0.0, scatter: Callable[[], float] = float
) -> list[Row]:
    rows, of_day = [], scatter()
    for run in (1, 2, 3):
        of_run = of_day + scatter()
        for rpm in (1200, 1500):
            torque = true_torque(rpm) * math.exp(of_run + share)
            date = f"2026-05-{number:02}"
            rows.append([build, "pulls", "motored", date, str(run), variant, str(rpm), f"{torque:.4f}", "90.2", "in"])
    return rows


def noisy(seed: int, sd: float = 0.003) -> Callable[[], float]:
    """Scatter with heavier tails than a normal one."""
    chance = np.random.default_rng(seed)
    return lambda: float(chance.standard_t(5) * sd / math.sqrt(5 / 3))


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return plain(tmp_path)


def written(
    folder: Path, rows: Sequence[Row], rule: str = RULE, entry: str = "", head: str = HEAD, separator: str = ","
) -> Path:
    text = "\n".join([head, *(separator.join(row) for row in rows)])
    (folder / "pump" / "records" / "friction.csv").write_text(f"{text}\n", encoding="utf-8")
    program = folder / "pump" / "program.yaml"
    known = program.read_text(encoding="utf-8")
    text = f"{known.rstrip()}\n  friction:\n    - file: records/friction.csv\n{entry}{rule}"
    program.write_text(text, encoding="utf-8")
    return folder


def results(folder: Path, tmp_path: Path, name: str = "measures") -> list[Mapping[str, str]]:
    assert cli.main(["publish", str(folder), "--to", str(tmp_path / "site"), "--no-cache"]) == 0
    with (folder / "pump" / "results" / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return [*csv.DictReader(file)]


def of_builds(folder: Path, measure: str) -> None:
    """Four whole builds of two coatings in one cell, compared in a measure too."""
    program = folder / "pump" / "program.yaml"
    text = program.read_text(encoding="utf-8")
    begin, end = text.index("builds:\n"), text.index("records:\n")
    kind = "number: 1, cell: north, engine_type: pump-24-gas"
    builds = "builds:\n" + "".join(
        f"  - {{id: B{n}, block: K1{n}, {kind}, rings: {{all: {{coating: {coating}}}}}}}\n"
        for n, coating in enumerate(("nitrided", "graded-crn", "graded-crn", "nitrided"), start=1)
    )
    also = f"  also: [{{measure: {measure}, phase: pulls}}]\n  planned_builds: 4"
    text = (text[:begin] + builds + "\n" + text[end:]).replace("  planned_builds: 2", also)
    program.write_text(text, encoding="utf-8")


def found(folder: Path, tmp_path: Path, engine: str = "B1") -> Mapping[tuple[str, str], Mapping[str, str]]:
    own = [row for row in results(folder, tmp_path) if row["engine"] in {"", engine}]
    return {(row["measure"], row["at"]): row for row in own if row["measure"].startswith("friction.")}


def page(tmp_path: Path, name: str = "b1/index") -> str:
    text = (tmp_path / "site" / "programs" / "pump" / f"{name}.html").read_text(encoding="utf-8")
    return " ".join(re.sub(r"<[^>]+>", " ", text).replace("\u00a0", " ").split())


def told(folder: Path, capsys: pytest.CaptureFixture[str], status: int = 0) -> str:
    assert cli.main(["check", str(folder)]) == status
    return " ".join(capsys.readouterr().out.split())


# ---- driven ---------------------------------------------------------------------------------------------------------


def test_driven_friction_is_that_of_its_torque_and_its_days_are_the_unit(folder: Path, tmp_path: Path) -> None:
    rows = [row for n in (4, 5, 6) for row in day(n, scatter=noisy(n))]
    values = found(written(folder, rows), tmp_path)
    for at, rpms in (("1200-rpm", [1200]), ("1500-rpm", [1500]), ("", [1200, 1500])):
        row = values["friction.motored", at]
        true = math.exp(np.mean([math.log(fmep(true_torque(rpm))) for rpm in rpms]))
        assert float(row["low"]) < true < float(row["high"])
        assert (row["n"], row["of"]) == ("3", "day")
    text = page(tmp_path)
    assert text.index("four times in five") < text.index("Friction when driven is")
    assert "no gas load on its rings" in text


def test_other_units_signs_and_a_german_table_give_the_same(folder: Path, tmp_path: Path) -> None:
    """lb-ft below zero, °F, decimal commas; the columns as others head them."""
    rows = []
    for row in (row for n in (4, 5, 6) for row in day(n)):
        pound_feet = -float(row[7]) / 1.3558179483  # 1 lb-ft in N m (NIST SP 811, appendix B)
        degrees = 1.8 * float(row[8]) + 32
        date = ".".join(reversed(row[3].split("-")))
        figures = [each.replace(".", ",") for each in (f"{pound_feet:.4f}", f"{degrees:.1f}")]
        rows.append([row[0], row[4], date, row[6], *figures])
    entry = """      constants: {phase: pulls, method: motored}
      date_order: day first
      columns:
        engine: Motor
        run: Lauf
        date: Datum
        speed: {header: Drehzahl, unit: U/min}
        torque: {header: Schleppmoment, unit: lb-ft}
        oil_temperature: {header: Öltemperatur, unit: °F}
"""
    head = "Motor;Lauf;Datum;Drehzahl;Schleppmoment;Öltemperatur"
    values = found(written(folder, rows, entry=entry, head=head, separator=";"), tmp_path)
    assert float(values["friction.motored", "1500-rpm"]["value"]) == pytest.approx(fmep(true_torque(1500)), rel=5e-4)


def test_one_day_has_a_figure_and_no_interval(folder: Path, tmp_path: Path) -> None:
    values = found(written(folder, [*day(4), *day(4, build="B2"), *day(5, build="B2", share=0.01)]), tmp_path)
    row = values["friction.motored", ""]
    assert (row["status"], row["low"], row["high"]) == ("ok", "", "")
    assert "one-day" in row["flags"]
    assert "over one day; one day has no interval" in page(tmp_path)


def test_a_mixed_engine_says_nothing_of_a_coating(folder: Path, tmp_path: Path) -> None:
    rows = [row for n in (4, 5, 6) for build in ("B1", "B2") for row in day(n, build=build, scatter=noisy(n))]
    own = [row for row in results(written(folder, rows), tmp_path) if row["measure"] == "friction.motored"]
    assert {(row["engine"], row["coating"]) for row in own} == {("B1", "nitrided"), ("B2", "")}
    assert "where it holds several coatings, it says nothing about any" in page(tmp_path, "b2/index")
    assert "where it holds several coatings" not in page(tmp_path)


def test_coatings_are_compared_by_build_as_a_ratio(folder: Path, tmp_path: Path) -> None:
    """Two and two builds: the ratio of geometric means, t on 2 degrees of freedom, by hand."""
    of_builds(folder, "friction.motored")
    shares = {"B1": 0.0, "B2": -0.03, "B3": -0.034, "B4": 0.006}
    rows = [row for n in (4, 5, 6) for build, share in shares.items() for row in day(n, build=build, share=share)]
    own = [
        row for row in results(written(folder, rows), tmp_path, "comparisons") if row["measure"] == "friction.motored"
    ]
    assert len(own) == 1
    assert own[0]["scale"] == "ratio"
    middle = math.exp(-0.032 - 0.003)
    sd = math.sqrt((2 * 0.002**2 + 2 * 0.003**2) / 2)
    half = 4.302653 * sd  # t, 2 degrees of freedom (printed tables), of two and two
    assert float(own[0]["estimate"]) == pytest.approx(middle, rel=2e-3)
    assert float(own[0]["high"]) / float(own[0]["estimate"]) == pytest.approx(math.exp(half), rel=2e-3)


# ---- variants -------------------------------------------------------------------------------------------------------


def _in_turn(variants: str, step: float, seed: int) -> list[Row]:
    scatter = noisy(seed, 0.002)
    return [
        row
        for n, variant in enumerate(variants, start=4)
        for row in day(n, f"oil {variant}", share=step if variant == "B" else 0.0, scatter=scatter)
    ]


def test_a_change_is_told_with_the_smallest_that_could_have_been(folder: Path, tmp_path: Path) -> None:
    values = found(written(folder, _in_turn("ABBAABBA", -0.025, 3)), tmp_path)
    change = values["friction.change", "motored,oil B:over:oil A"]
    assert float(change["low"]) < 100 * math.expm1(-0.025) < float(change["high"]) < 0
    at_speed = values["friction.change", "motored,oil B:over:oil A,1500-rpm"]
    widths = [float(row["high"]) - float(row["low"]) for row in (change, at_speed)]
    assert widths[1] > 1.1 * widths[0]  # Bonferroni over two speeds
    text = page(tmp_path)
    assert text.index("in turn find a change of") < text.index("less with oil B than with oil A")


@pytest.mark.parametrize(
    ("variants", "said"),
    [("ABABAB", "is told from none"), ("AAABBB", "take turns by day"), ("ABAB", "fewer days than it takes")],
)
def test_no_change_is_told_where_none_is(folder: Path, tmp_path: Path, variants: str, said: str) -> None:
    results(written(folder, _in_turn(variants, 0.0, 12)), tmp_path)
    assert said in page(tmp_path)


SPOILT = (b"", b";", b"\n", b"nan", b"1e999", b"-", b"\0", b"7;8;9\n", b"\xff")

# ---- run downs ------------------------------------------------------------------------------------------------------

DOWN = "Tag;Lauf;Datei;Öl"
ENTRY = """      constants: {engine: B1, phase: pulls, method: coast-down}
      date_order: day first
      columns: {date: Tag, run: Lauf, run_down: Datei, oil_temperature: {header: Öl, unit: °C}}
"""


def coasting(
    folder: Path, days: Sequence[int] = (4, 5, 6), runs: int = 3, rate: float = 100.0, seed: int = 1,
    under: str = "auslauf",
    change: Callable[[np.ndarray, np.ndarray], tuple[np.ndarray, np.ndarray]] = lambda t, w: (t, w),
) -> list[Row]:  # fmt: skip
    """Files of run downs as a German logger writes them, and the rows that name them."""
    rng, rows = np.random.default_rng(seed), []
    (folder / "pump" / under).mkdir(exist_ok=True)
    for number in days:
        moved = math.exp(rng.normal(0, 0.003))
        for run in range(1, runs + 1):
            engine = Engine(inertia=0.6 / moved, rate=rate)
            time, speed = change(*run_down(rng, engine)[:2])
            name = f"{under}/{number}-{run}.txt"
            lines = ["Prüfstand Nord", "Lauf;Zeit [ms];Drehzahl [U/min];Öldruck [bar]"]
            pairs = zip(1e3 * time, speed / RPM, strict=True)
            lines += [f"{run};{t:.1f};{n:.2f};3,1".replace(".", ",") for t, n in pairs]
            (folder / "pump" / name).write_text("\r\n".join(lines), encoding="cp1252")
            rows.append([f"{number:02}.05.2026", str(run), name, "89,6"])
    return rows


def test_a_run_down_gives_inertia_times_deceleration(folder: Path, tmp_path: Path) -> None:
    """The interval of a pressure holds the inertia's 1 %, 1.96 times: it is its common part."""
    rows = coasting(folder)
    values = found(written(folder, rows, entry=ENTRY, head=DOWN, separator=";"), tmp_path)
    for rpm in (1200, 1500):
        row = values["friction.coast", f"{rpm}-rpm"]
        true = fmep(Engine().torque(rpm * RPM))
        assert float(row["value"]) == pytest.approx(true, rel=0.008)
        assert float(row["low"]) < true < float(row["high"])
        assert float(row["se_common"]) / float(row["value"]) == pytest.approx(0.01, rel=0.02)
        assert row["common"].startswith("inertia:")
    assert "Friction by run down is" in page(tmp_path)


def test_the_ratio_of_builds_knows_nothing_of_the_inertia(tmp_path: Path) -> None:
    """Four builds of one cell: 5 % of inertia widen each pressure by 10 % and leave the comparison to the digit."""
    compared, widths = [], []
    for name, said in (("with", ", inertia_error: 0.03 kg m2"), ("without", "")):
        (tmp_path / name).mkdir()
        own = plain(tmp_path / name)
        of_builds(own, "friction.coast")
        rows = []
        for at in range(1, 5):
            downs = coasting(own, days=(4, 5), runs=2, seed=at, under=f"b{at}")
            rows += [[f"B{at}", *row] for row in downs]
        entry = ENTRY.replace("engine: B1, ", "").replace("date: Tag", "engine: Motor, date: Tag")
        rule = RULE.replace(", inertia_error: 0.006 kg m2", said)
        written(own, rows, rule, entry, f"Motor;{DOWN}", ";")
        row = found(own, tmp_path)["friction.coast", ""]
        widths.append(float(row["high"]) / float(row["low"]))
        with (own / "pump" / "results" / "comparisons.csv").open(encoding="utf-8", newline="") as file:
            compared += [each for each in csv.DictReader(file) if each["measure"] == "friction.coast"]
    assert widths[0] > 1.2 > 1.05 > widths[1]
    assert [each["estimate"] for each in compared] == [compared[0]["estimate"]] * 2
    assert [(each["low"], each["high"]) for each in compared] == [(compared[0]["low"], compared[0]["high"])] * 2


def test_without_its_uncertainty_the_inertia_is_told_to_be_missing(folder: Path, tmp_path: Path) -> None:
    rows = coasting(folder)
    rule = RULE.replace(", inertia_error: 0.006 kg m2", "")
    values = found(written(folder, rows, rule, ENTRY, DOWN, ";"), tmp_path)
    assert "inertia-error-unknown" in values["friction.coast", ""]["flags"]
    assert "how well the inertia is known is not stated" in page(tmp_path).lower()


def test_without_inertia_nothing_is_told_of_a_run_down(folder: Path, tmp_path: Path) -> None:
    rows = coasting(folder, days=(4, 5))
    rule = RULE.replace(INERTIA, "")
    values = found(written(folder, rows, rule, ENTRY, DOWN, ";"), tmp_path)
    assert values["friction.coast", ""]["reason"] == "no-inertia"
    assert "No friction by run down is told: the inertia of what runs down is not stated" in page(tmp_path)


@pytest.mark.parametrize(
    ("change", "code"),
    [
        (lambda t, w: (t[::4], w[::4]), "sampled too slowly"),
        (lambda t, w: (t[w > 1500 * RPM], w[w > 1500 * RPM]), "does not pass the whole window"),
        (lambda t, w: (t, 2 * w.max() - w), "does not pass the whole window"),
        (lambda t, w: (t[::-1], w), "time does not go on here"),
        (lambda t, w: (t, w + 160 * RPM * np.exp(-(((w / RPM - 1350) / 60) ** 2))), "does not fall all along"),
    ],
)
def test_a_run_down_that_says_nothing_is_set_aside_with_its_reason(
    folder: Path, capsys: pytest.CaptureFixture[str], code: str,
    change: Callable[[np.ndarray, np.ndarray], tuple[np.ndarray, np.ndarray]],
) -> None:  # fmt: skip
    rows = coasting(folder, days=(4,), runs=1, change=change)
    said = told(written(folder, rows, entry=ENTRY, head=DOWN, separator=";"), capsys)
    assert code in said
    assert "set aside" in said


def test_one_speed_that_is_not_passed_leaves_the_other(folder: Path, tmp_path: Path) -> None:
    rows = coasting(folder, change=lambda t, w: (t[w > 1250 * RPM], w[w > 1250 * RPM]))
    values = found(written(folder, rows, entry=ENTRY, head=DOWN, separator=";"), tmp_path)
    assert values["friction.coast", "1500-rpm"]["status"] == "ok"
    assert values["friction.coast", "1200-rpm"]["reason"] == "speed-not-bracketed"
    assert values["friction.coast", ""]["reason"] == "speed-not-bracketed"


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("auslauf/none.txt", None, "is not there"),
        ("../definitions.yaml", None, "leaves the program's folder"),
        ("auslauf/4-1.txt", b"Zeit;Drehzahl\n" + b"1;2\n2;1,5\n3;1\n4;0,5\n", "nothing says the unit of time"),
        ("auslauf/4-1.txt", b"a [s],b [rpm],c [rpm]\n1,2,3\n2,1,2\n3,1,2\n4,1,2\n", "which of them are time and speed"),
        ("auslauf/4-1.txt", b"t [s],n [bar]\n1,2\n2,1.5\n3,1\n4,0.5\n", '"bar" is no unit of speed'),
        ("auslauf/4-1.txt", b"", "no rows of numbers"),
        ("auslauf/4-1.txt", b"\x89PNG\r\n\x1a\n\x00\x00", "4-1.txt"),
        ("auslauf/4-1.txt", b"no numbers here\n", "no rows of numbers"),
    ],
)
def test_a_file_that_cannot_be_read_is_told_with_its_name(
    folder: Path, capsys: pytest.CaptureFixture[str], name: str, content: bytes | None, said: str
) -> None:
    rows = coasting(folder, days=(4,), runs=1)
    if content is not None:
        (folder / "pump" / name).write_bytes(content)
    rows[0][2] = name
    assert said in told(written(folder, rows, entry=ENTRY, head=DOWN, separator=";"), capsys)


def test_the_same_file_twice_is_no_second_run(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rows = coasting(folder, days=(4,), runs=2)
    rows[1][2] = rows[0][2]
    said = told(written(folder, rows, entry=ENTRY, head=DOWN, separator=";"), capsys)
    assert 'is the same as "auslauf/4-1.txt"' in said


def test_a_file_spoiled_anywhere_is_read_or_told(folder: Path) -> None:
    """Bytes changed, cut, doubled: a number, or a reason; never another error."""
    rows = coasting(folder, days=(4,), runs=1)
    whole, path = (folder / "pump" / rows[0][2]).read_bytes(), folder / "spoiled.txt"
    chance, seen = random.Random(4), set()  # noqa: S311 - no secret
    row = cast("Reading", SimpleNamespace(time_column="", speed_column="", time_unit="", speed_unit=""))
    for _ in range(150):
        at, spoiled = chance.randrange(len(whole)), bytearray(whole)
        spoiled[at : at + chance.choice((0, 1, 50))] = chance.choice(SPOILT)
        path.write_bytes(bytes(spoiled))
        try:
            down = read_run_down(path, "spoiled.txt", row)
            assert math.isfinite(friction.deceleration(down.time, down.speed, 1500 * RPM, 200 * RPM))
            seen.add("read")
        except Blocked as why:
            seen.add(why.problems[0].code)
        except Refused as why:
            seen.add(why.code)
    assert {"read", "time-goes-back"} <= seen


# ---- what is left out -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda rows: [[*row[:8], "91.4", row[9]] for row in rows[:2]] + rows[2:], "the oil was at 91.4 °C"),
        (lambda rows: [[*rows[0][:9], "out"], *rows[1:]], "plugs were not out"),  # the first row says which
        (lambda rows: [[*rows[0][:6], "1320", *rows[0][7:]], *rows[1:]], "1320 rpm is none of the speeds"),
        (lambda rows: [[*rows[0][:7], f"-{rows[0][7]}", *rows[0][8:]], *rows[1:]], "its sign is not that"),
        (lambda rows: [[*rows[0][:7], "", *rows[0][8:]], *rows[1:]], "does not say what belongs to its method"),
        (lambda rows: [[*rows[0][:7], "60", *rows[0][8:]], *rows[1:]], "are usual in this build"),
        (lambda rows: rows + rows[:1], "was read already in line"),
        (lambda rows: [[*row[:5], "A" if row[4] == "1" else "B", *row[6:]] for row in rows], "two variants were run"),
        (lambda rows: [[row[0], "teardown", *row[2:]] for row in rows], "the engine is apart in this phase"),
        (lambda rows: [[*rows[0][:8], "", rows[0][9]], *rows[1:]], "oil_temperature"),
    ],
)  # fmt: skip
def test_a_row_that_cannot_stand_in_is_told_with_its_place(
    folder: Path, capsys: pytest.CaptureFixture[str], change: Callable[[list[Row]], list[Row]], said: str
) -> None:
    out = told(written(folder, change(day(4))), capsys)
    assert said in out
    assert "pump/records/friction.csv" in out


def test_torque_in_a_unit_of_energy_is_refused(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    written(folder, day(4), head=HEAD.replace("torque [N m]", "torque [kJ]"))
    assert '"kJ" is a unit of energy, not of torque' in told(folder, capsys, 1)


@pytest.mark.parametrize(
    ("rule", "reason"),
    [
        ("\nfriction: {oil_temperature: 90 degC}\n", "no-reference-speeds"),
        ("\nfriction: {speeds: [1200 rpm, 1500 rpm]}\n", "no-oil-temperature"),
        ("", "no-reference-speeds"),
    ],
)
def test_what_the_program_does_not_state_is_the_reason(folder: Path, tmp_path: Path, rule: str, reason: str) -> None:
    assert found(written(folder, day(4), rule), tmp_path)["friction.motored", ""]["reason"] == reason


@pytest.mark.parametrize(
    ("rule", "said"),
    [
        ("{speeds: [1500 rpm, 1200 rpm]}", "does not lie above the speed ahead of it"),
        ("{speeds: [900 rpm, 1000 rpm, 1100 rpm, 1200 rpm, 1300 rpm, 1400 rpm, 1500 rpm]}", "6"),
        ("{inertia: 0.6 N m}", "moment of inertia"),
        ("{plugs: open}", "in or out"),
    ],
)
def test_a_rule_that_cannot_be_is_told(folder: Path, capsys: pytest.CaptureFixture[str], rule: str, said: str) -> None:
    assert said in told(written(folder, day(4), f"\nfriction: {rule}\n"), capsys, 1)


# ---- beforehand, and the example ------------------------------------------------------------------------------------


def test_the_plan_says_the_smallest_difference_before_any_run(folder: Path, tmp_path: Path) -> None:
    """3 and 3 days ± 0.8 %; with 1 K of scatter of the oil ± 2.7 %."""
    rule = RULE.replace("}", ", run_scatter: 0.3 %, day_scatter: 0.3 %}")
    results(written(folder, [], rule), tmp_path)
    text = page(tmp_path, "plan")
    assert "difference of friction between two builds" in text.lower()
    assert "known to ± 0.79 %" in text


def test_a_sheet_asks_for_every_run_and_speed_and_is_read_back(folder: Path, tmp_path: Path) -> None:
    program = written(folder, []) / "pump" / "program.yaml"
    text = program.read_text(encoding="utf-8").replace(
        "    records: [leakdown]\n", "    records: [leakdown, friction]\n"
    )
    program.write_text(text, encoding="utf-8")
    assert (
        cli.main(["sheets", str(folder / "pump"), "--build", "B1", "--phase", "pulls", "--to", str(tmp_path / "s")])
        == 0
    )
    sheet = (tmp_path / "s" / "b1" / "pulls.html").read_text(encoding="utf-8")
    assert "locked out" in sheet
    assert "89.0 to 91.0 °C" in sheet
    table = next((tmp_path / "s" / "tables").glob("friction-b1-pulls.csv")).read_text(encoding="utf-8-sig")
    assert [line.count("1500") + line.count("1200") for line in table.splitlines()[1:]] == [1] * 6


def test_the_example_gives_back_its_known_truth(examples: Published) -> None:
    with (examples.programs / "pump-rings-2026" / "results" / "measures.csv").open(
        encoding="utf-8", newline=""
    ) as file:
        rows = {(row["engine"], row["at"]): row for row in csv.DictReader(file) if row["measure"] == "friction.motored"}
    for build in simulated.OF_BUILD:
        for rpm in simulated.SPEEDS:
            row = rows[build, f"{rpm}-rpm"]
            assert float(row["low"]) < simulated.truth(build, rpm) / 1e3 < float(row["high"]), row
