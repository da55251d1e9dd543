"""The rig: what is read and set aside, what is concluded, what pages say, and the truth of the example."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from pages.fixture import FixtureAnalysis
from simulate import programs as simulated
from simulate import rig as simulated_rig
from tables.house import Folder, column, told
from tables.house import program as plain_program

from sitegen import registry
from sitegen.crossing import bench
from sitegen.methods.rig import smallest_ratio
from sitegen.page.addresses import Addresses
from sitegen.page.blocks import Table, Text
from sitegen.page.view import Desk, View
from sitegen.program.model import Against, Coating, Definitions, Oil, Program, RigRule, Subject
from sitegen.program.model import Folder as ProgramFolder
from sitegen.reasons import CATALOGUE
from sitegen.streams.rig import STREAM
from sitegen.streams.rig import forces as of_forces
from sitegen.streams.rig.forces import read_forces
from sitegen.streams.rig.sections import of_program
from sitegen.streams.rig.smallest import smallest
from sitegen.streams.rig.steps import run
from sitegen.vocabulary import Book, Key, Readings, Series, Value

HEAD = (
    "specimen,coating,forces,oil,load [N],stroke [mm],frequency [Hz],temperature [degC],run_in [s],sliding [min],"
    "scar_volume [mm3],area [mm2]\n"
)
AT = "60-N/8-Hz/100-C/6-mm/m-30"


def program(folder: Path, coatings: Sequence[str] = ("nitrided", "hard", "soft")) -> Program:
    plan = plain_program(folder)
    oils = {"m-30": Oil("m-30", "mineral", density=880.0, viscosity_40=1e-4, viscosity_100=1.1e-5)}
    own = {name: Coating(name, name, n) for n, name in enumerate(coatings)}
    definitions: Definitions = replace(plan.definitions, coatings=own, oils=oils)
    return replace(plan, definitions=definitions, candidates=tuple(coatings[1:]))


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    return Folder(tmp_path)


def read(folder: Folder, rows: str, head: str = HEAD) -> Readings:
    source = folder.source(head + rows, name="rig.csv", stream="rig")
    return STREAM.read(program(folder.path), (source,))


def values(folder: Folder, rows: str, head: str = HEAD) -> dict[tuple[str, str, str], Value]:
    found = run(program(folder.path), "", {"rig": read(folder, rows, head)}, Book({}, ()))
    return {(each.measure, each.key.coating, each.key.at): each for each in found if isinstance(each, Value)}


def strokes(
    mu: float, load: float = 60, seed: int = 1, rows: int = 400, above: str = "", zero: float = 1.5, drop: float = 0.0
) -> str:
    """Uniform noise, another drop and another zero than the simulator of the example has."""
    chance = np.random.default_rng(seed)
    lines = [above + "time [s],class,forward [N],back [N]"]
    for n in range(rows):
        own = mu * (1 + drop * math.exp(-n * 5 / 120)) + chance.uniform(-0.003, 0.003)
        lines.append(f"{5 * n},mid,{own * load + zero:.4f},{-own * load + zero:.4f}")
    return "\n".join(lines) + "\n"


def row(
    name: str, coating: str = "nitrided", forces: str = "", wear: str = ",,", conditions: str = "60,6,8,100"
) -> str:
    return f"{name},{coating},{forces or name.lower() + '.csv'},m-30,{conditions},60,{wear}\n"


def put(folder: Folder, name: str, content: str | bytes) -> None:
    (folder.path / name).write_bytes(content.encode() if isinstance(content, str) else content)


# ---- what is read ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("row_", "code", "name"),
    [
        ("S2,nitrided,s1.csv,,60,6,8,100,60,,,", "rig-condition-missing", "oil"),
        ("S2,nitrided,s1.csv,m-30,0,6,8,100,60,,,", "rig-no-load", "load [N]"),
        ("S2,nitrided,s1.csv,m-30,,6,8,100,60,,,", "rig-condition-missing", "load [N]"),
        ("S2,nitrided,s1.csv,m-30,60,,8,100,60,,,", "rig-condition-missing", "stroke [mm]"),
        ("S2,nitrided,s1.csv,m-30,60,6,,100,60,,,", "rig-condition-missing", "frequency [Hz]"),
        ("S2,nitrided,s1.csv,m-30,60,6,8,,60,,,", "rig-condition-missing", "temperature [degC]"),
        ("S2,nitrided,none.csv,m-30,60,6,8,100,60,,,", "rig-forces-missing", "forces"),
        ("S2,nitrided,../x.csv,m-30,60,6,8,100,60,,,", "rig-forces-missing", "forces"),
        ("S2,nitrided,,m-30,60,6,8,100,60,30,,", "rig-nothing", "forces"),
        (",nitrided,s1.csv,m-30,60,6,8,100,60,,,", "required-empty", "specimen"),
        ("S2,nitrided,s1.csv,m-30,60 kg,6,8,100,60,,,", "not-a-number", "load [N]"),
        ("S2,nitrided,other.csv,m-30,60,6,8,100,60,,,", "rig-other-specimen", "forces"),
        ("S2,nitrided,stated.csv,m-30,60,6,8,100,60,,,", "rig-conditions-differ", "load [N]"),
    ],
)
def test_a_row_that_cannot_be_is_set_aside_and_named(folder: Folder, row_: str, code: str, name: str) -> None:
    put(folder, "s1.csv", strokes(0.1))
    put(folder, "other.csv", strokes(0.1, above="Specimen: S7\n"))
    put(folder, "stated.csv", strokes(0.1, above="Load: 90 N\n"))
    found = read(folder, f"{row_}\n")
    assert column(found, "use") == [code]
    assert code in CATALOGUE
    assert any(said.startswith(f'pump/rig.csv:2: warning: column "{name}":') for said in told(found))


def test_a_coating_and_an_oil_have_to_be_there(folder: Folder) -> None:
    found = read(folder, "S1,nitrde,s1.csv,m-31,60,6,8,100,60,,,\n")
    assert {each.code for each in found.problems} == {"coating-unknown", "oil-unknown"}
    assert any("Nearest: nitrided." in said for said in told(found))


@pytest.mark.parametrize(
    ("content", "code"),
    [
        ("time,class,forward [N],back [N]\n1,mid,6,-6\n2,mid,6,-6\n", "unit-missing"),
        ("time [s],class,forward [N m],back [N]\n1,mid,6,-6\n2,mid,6,-6\n", "rig-unit"),
        ("Load: 60 mm\ntime [s],class,forward [N],back [N]\n1,mid,6,-6\n2,mid,6,-6\n", "rig-condition"),
        ("Load: 60\ntime [s],class,forward [N],back [N]\n1,mid,6,-6\n2,mid,6,-6\n", "rig-condition"),
        ("Load: 60000 kN\ntime [s],class,forward [N],back [N]\n1,mid,6,-6\n2,mid,6,-6\n", "rig-condition"),
        ("a,b\n1,2\n3,4\n", "rig-no-table"),
        ("time [s],forward [N],back [N]\n1,1e400,-6\n2,6,-6\n", "rig-rows-bad"),
        ("nothing\n", "rig-no-table"),
        ("time [s],class,forward [N],back [N]\n1,mid,6,-6\n2,midd,6,-6\n3,x,6,-6\n", "rig-rows-bad"),
    ],
)
def test_a_file_of_forces_that_cannot_be_trusted_is_told_with_its_line(folder: Folder, content: str, code: str) -> None:
    put(folder, "s1.csv", content)
    found = read(folder, row("S1"))
    assert column(found, "use") == ["rig-forces-not-usable"]
    assert [(each.file, each.code, each.level) for each in found.problems] == [("pump/s1.csv", code, "warning")]
    assert found.problems[0].next_step


def test_preambles_load_steps_german_words_and_a_bad_row(folder: Folder) -> None:
    lines = ["Probe;S1", "Frequenz;8 Hz", "Hub;6,0 mm", "Temperatur;100 °C", ""]
    for load in (60, 120):
        lines += [f"Normalkraft;{load},5 N", "Zeit;Hublage;Reibkraft hin;Reibkraft her", "min;-;N;N"]
        for n in range(50):
            force = f"{0.1 * (load + 0.5):.3f}".replace(".", ",")
            lines.append(f"{n / 4:.2f}".replace(".", ",") + f";{'Mitte' if n % 2 else 'Umkehr'};{force};-{force}")
        lines += ["", "17,00;Mitte;*,***;-6,0", ""]
    put(folder, "s1.csv", "\r\n".join(lines).encode("cp1252"))
    forces = read_forces(folder.path / "s1.csv", "pump/s1.csv")
    assert [(each.said["load"], each.stroke_class, len(each.rows)) for each in forces.sections] == [
        (60.5, "reversal", 25), (60.5, "mid", 25), (120.5, "reversal", 25), (120.5, "mid", 25),
    ]  # fmt: skip
    assert forces.sections[1].rows[0]["time"] == pytest.approx(15.0)  # a quarter of a minute
    assert forces.sections[1].rows[0]["forward"] == pytest.approx(6.05)
    assert (forces.rows, forces.bad) == (102, 2)
    found = read(folder, row("S1", conditions=",,,"))
    assert set(column(found, "use")) == {""}
    assert sum(isinstance(each, float) and each == 120.5 for each in column(found, "load")) == 50


def test_one_signed_force_with_its_way_is_paired(folder: Folder) -> None:
    lines = ["cycles,direction,class,friction force [N]"]
    for n in range(60):
        lines += [f"{n},+,mid,{6.6 + 2:.2f}", f"{n},-,mid,{-6.6 + 2:.2f}"]
    put(folder, "s1.csv", "\n".join([*lines, "61,-,mid,-4.6"]))
    (section,) = read_forces(folder.path / "s1.csv", "pump/s1.csv").sections
    assert len(section.rows) == 60
    assert section.rows[3] == pytest.approx({"count": 6.0, "forward": 8.6, "back": -4.6})
    found = values(folder, row("S1"))
    assert found["rig.mu", "nitrided", f"S1/{AT}/mid"].reason in {"channel-flat", "record-short"}


def test_columns_parted_by_blanks(folder: Folder) -> None:
    lines = [
        "Load: 60 N",
        "",
        "  t [s]   hin [N]  her [N]",
        *(f"  {n}   6.0{n % 10}   -6.00" for n in range(1, 90)),
    ]
    put(folder, "s1.txt", "\n".join(lines))
    (section,) = read_forces(folder.path / "s1.txt", "pump/s1.txt").sections
    assert (len(section.rows), section.stroke_class) == (89, "")
    assert section.rows[4] == pytest.approx({"time": 5.0, "forward": 6.05, "back": -6.0})


def test_a_long_file_stays_short_in_memory(folder: Folder, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(of_forces, "MOST_ROWS", 50)
    put(folder, "s1.csv", strokes(0.1, rows=3000))
    (section,) = read_forces(folder.path / "s1.csv", "pump/s1.csv").sections
    assert 50 <= len(section.rows) < 100
    assert section.together == 32
    assert section.rows[0]["time"] == pytest.approx(5 * 31 / 2)
    mean = math.fsum(each["forward"] - each["back"] for each in section.rows) / len(section.rows)
    assert mean / 120 == pytest.approx(0.1, abs=1e-3)


def test_rows_of_one_table_may_hold_the_forces_themselves(folder: Folder) -> None:
    chance = np.random.default_rng(4)
    head = HEAD.rstrip("\n") + ",time [s],stroke_class,forward [lbf],back [lbf]\n"
    rows = ""
    for n in range(200):
        force = (0.09 + chance.normal(0, 0.002)) * 60 / 4.4482216152605
        rows += f"S1,nitrided,,m-30,60,6,8,100,60,,,,{5 * n},mid,{force + 0.2:.5f},{-force + 0.2:.5f}\n"
    value = values(folder, rows, head)["rig.mu", "nitrided", f"S1/{AT}/mid"]
    assert value.low is not None
    assert value.high is not None
    assert value.low < 0.09 < value.high


# ---- what is concluded ----------------------------------------------------------------------------------------------


def test_the_offset_leaves_no_trace_and_running_in_is_found(folder: Folder) -> None:
    put(folder, "s1.csv", strokes(0.11, zero=3.0, drop=0.4))
    found = values(folder, row("S1").replace(",60,,,", ",120,,,"))
    value = found["rig.mu", "nitrided", f"S1/{AT}/mid"]
    assert value.value == pytest.approx(0.11, abs=0.0006)
    fold = found["rig.run_in", "nitrided", f"S1/{AT}/mid"]
    assert (fold.low or 0) < 120 < (fold.high or 0)


@pytest.mark.parametrize(
    ("columns", "cells", "reason"),
    [
        ("forward [N]", "6.0", "rig-one-way"),
        ("magnitude [N]", "6.0", "offset-not-known"),
    ],
)
def test_what_hides_a_zero_gives_a_raw_mean_with_the_reason(
    folder: Folder, columns: str, cells: str, reason: str
) -> None:
    lines = [f"time [s],class,{columns}", *(f"{n},mid,{cells}" for n in range(300))]
    put(folder, "s1.csv", "\n".join(lines))
    found = values(folder, row("S1"))
    assert found["rig.mu", "nitrided", f"S1/{AT}/mid"].reason == reason
    assert found["rig.mu_raw", "nitrided", f"S1/{AT}/mid"].value == pytest.approx(0.1)
    assert not any(measure == "rig.mu_level" for measure, *_ in found)


def test_a_zero_read_without_load_opens_mean_magnitudes(folder: Folder) -> None:
    chance = np.random.default_rng(1)
    lines = ["time [s],class,magnitude [N]", *(f"{n},mid,{6 + chance.normal(0, 0.1):.4f}" for n in range(600))]
    for zero, expected in ((1.0, None), (6.5, "offset-above-friction")):
        put(folder, "s1.csv", "\n".join([f"Zero: {zero} N", *lines]))
        value = values(folder, row("S1"))["rig.mu", "nitrided", f"S1/{AT}/mid"]
        assert (value.reason or None) == expected


def test_without_a_declared_running_in_nothing_is_steady(folder: Folder) -> None:
    put(folder, "s1.csv", strokes(0.11))
    found = values(folder, row("S1").replace(",60,,,", ",,,,"))
    assert found["rig.mu", "nitrided", f"S1/{AT}/mid"].reason == "run-in-not-declared"


def test_classes_and_conditions_never_mix(folder: Folder) -> None:
    put(folder, "s1.csv", strokes(0.10))
    put(folder, "s2.csv", strokes(0.12, seed=2).replace(",mid,", ",reversal,"))
    put(folder, "s3.csv", strokes(0.14, load=90, seed=3))
    found = values(folder, row("S1") + row("S2", "hard") + row("S3", "hard", conditions="90,6,8,100"))
    assert not any(measure == "rig.mu_ratio" for measure, *_ in found)


def series(folder: Folder, per_coating: int, ratio: float, spread: float = 0.02) -> str:
    rows, n = "", 0
    for coating, factor in (("nitrided", 1.0), ("hard", ratio)):
        for own in np.linspace(-spread, spread, per_coating):
            n += 1
            put(folder, f"s{n}.csv", strokes(0.1 * factor * math.exp(own), seed=n))
            rows += row(f"S{n}", coating, wear=f"30,{0.002 * factor * math.exp(5 * own):.5g},4")
    return rows


def test_specimens_are_the_unit_and_the_smallest_ratio_is_theirs(folder: Folder) -> None:
    found = values(folder, series(folder, 3, 0.8))
    ratio = found["rig.mu_ratio", "hard", f"{AT}/mid"]
    assert ratio.low is not None
    assert ratio.high is not None
    assert (ratio.n, ratio.df) == (3, 4.0)
    assert ratio.low < 0.8 < ratio.high < 1
    least = found["rig.mu_smallest", "hard", f"{AT}/mid"].value
    assert least == pytest.approx(smallest_ratio(0.02, 3, 3), rel=0.02)
    wear = found["rig.wear", "nitrided", f"S2/{AT}"].value
    assert wear == pytest.approx(0.002e-9 / (60 * 2 * 0.006 * 8 * 1800) * 1e18, rel=1e-3)


def test_one_specimen_of_a_coating_has_no_interval_and_says_so(folder: Folder) -> None:
    ratio = values(folder, series(folder, 1, 0.8, 0.0))["rig.mu_ratio", "hard", f"{AT}/mid"]
    assert ratio.low is None
    assert "one-specimen" in ratio.flags


def test_wear_that_cannot_be_told_says_why(folder: Folder) -> None:
    rows = ",".join
    head = HEAD.rstrip("\n") + ",mass_loss [mg],density [g/cm3]\n"
    cases = {"rig-no-sliding": ",0.002,,,", "rig-no-density": "30,,,0.4,", "rig-wear-none": "30,0,,,"}
    for reason, cells in cases.items():
        found = values(folder, rows(["S1", "nitrided", "", "m-30", "60", "6", "8", "100", "60"]) + f",{cells}\n", head)
        assert found["rig.wear", "nitrided", f"S1/{AT}"].reason == reason
    found = values(folder, "S1,nitrided,,m-30,60,6,8,100,60,30,,,0.4,8\n", head)
    assert found["rig.wear", "nitrided", f"S1/{AT}"].value == pytest.approx(
        0.05e-9 / (60 * 2 * 0.006 * 8 * 1800) * 1e18
    )


def test_planned_specimens_tell_the_smallest_ratio_beforehand(folder: Folder) -> None:
    plan = replace(program(folder.path), rig=RigRule(3, 0.1))
    (least,) = smallest(plan)
    assert least.value == pytest.approx(1.36, abs=0.005)
    assert list(smallest(program(folder.path))) == []


# ---- bench and engine -----------------------------------------------------------------------------------------------

PAIR = Against(
    "p", "Friction and mass", Subject("rig.mu_level", "", f"{AT}/mid"), Subject("wear.mass_loss", "teardown")
)


def against(folder: Folder, engines: Sequence[float], at: str = f"{AT}/mid") -> tuple[Program, list[Value]]:
    """Coatings c0, c1 ... in rising order on the rig; `engines` are their means in engines."""
    names = [f"c{n}" for n in range(len(engines))]
    plan = program(folder.path, names)
    pair = replace(PAIR, rig=replace(PAIR.rig, at=at))
    plan = replace(plan, reference="c0", rig=RigRule(against=(pair,)))
    rows: list[Value] = []
    for n, (name, mean) in enumerate(zip(names, engines, strict=True)):
        rows.append(Value("rig.mu_level", Key(coating=name, at=at), 0.1 + 0.01 * n, n=3))
        rows += [Value("wear.mass_loss", Key("B1", 1, name, "teardown"), mean + off) for off in (-0.1, 0.1)][:1]
    measures = registry.measures()
    step = bench.step([measures["rig.mu_level"], measures["wear.mass_loss"]])
    book = Book({(each.measure, each.key): each for each in rows}, step.needs)
    return plan, [each for each in step.run(plan, "", {}, book) if isinstance(each, Value)]


def said(plan: Program, found: Sequence[Value], readings: Readings) -> str:
    known = {(each.measure, each.key): each for each in found}
    analysis = FixtureAnalysis(plan, {"rig": readings}, known, (), (), {})
    whole = ProgramFolder("/nowhere", plan.definitions, (plan,))
    view = View(whole, registry.measures(), Addresses.of(whole), "programs/pump/index.html", Desk(analysis))
    text = " ".join(
        each.reading if isinstance(each, Table) else "".join(cell.text for cell in each.cells)
        for each in of_program(view) if isinstance(each, Table | Text)
    )  # fmt: skip
    return text.replace("\N{NO-BREAK SPACE}", " ")


@pytest.mark.parametrize(
    ("engines", "words"),
    [
        ((1, 2, 3), "Three coatings cannot show that bench and engine agree: even the same order throughout has a p of "
                    "0.333"),
        ((1, 2, 3, 4), "has a p of 0.083. On the rig and in engines they stand in the same order (p 0.083)"),
        ((1, 2, 3, 4, 5), "in the same order (p 0.017), which shows that both order them alike"),
        ((2, 1, 3, 4, 5), "does not show agreement, and is no disagreement. Were the true correlation 0.9, so many "
                          "coatings would show it in 24 of 100 cases"),
        ((2, 1, 3, 4, 5, 6), "(p 0.017), which shows that both order them alike"),
        ((6, 5, 4, 3, 2, 1), "the rig orders them against the engine"),
        ((1, 2), "not compared: fewer than three coatings have both values"),
    ],
)  # fmt: skip
def test_what_an_order_of_coatings_says(folder: Folder, engines: Sequence[float], words: str) -> None:
    put(folder, "s1.csv", strokes(0.1))
    readings = read(folder, row("S1"))
    plan, found = against(folder, [float(each) for each in engines])
    text = said(plan, found, readings)
    assert words in text
    assert "claims no correlation" in text


def test_a_dry_rig_is_not_compared_with_a_fired_engine(folder: Folder) -> None:
    _, found = against(folder, [1.0, 2.0, 3.0], "60-N/8-Hz/100-C/6-mm/dry/mid")
    assert [(each.status, each.reason) for each in found] == [("refused", "bench-ran-dry")]


# ---- the example ----------------------------------------------------------------------------------------------------


def test_the_truth_of_the_example_is_recovered(tmp_path: Path) -> None:
    """Every specimen of the simulator, and the ratios of its coatings."""
    plan = program(tmp_path, ("nitrided", "hard-crn", "graded-crn"))
    oils = {"gas-40": replace(next(iter(plan.definitions.oils.values())), id="gas-40")}
    plan = replace(plan, folder=str(tmp_path / "pump"), definitions=replace(plan.definitions, oils=oils))
    folder = Folder(tmp_path)
    for name, content in simulated_rig.records(simulated.SEED).items():
        (folder.path / name).parent.mkdir(exist_ok=True)
        (folder.path / name).write_bytes(content)
    table = (folder.path / "records" / "rig.csv").read_bytes()
    source = folder.source(table, name="records/rig.csv", stream="rig")
    readings = STREAM.read(plan, (source,))
    assert readings.problems == ()
    results = list(run(plan, "", {"rig": readings}, Book({}, ())))
    found = {(each.measure, each.key.at): each for each in results if isinstance(each, Value)}
    place = "80-N/10-Hz/110-C/8-mm/gas-40"
    inside = every = 0
    for name, truth in simulated_rig.truths(simulated.SEED).items():
        for where, mu in (("mid", truth.mid), ("reversal", truth.reversal)):
            value = found["rig.mu", f"{name}/{place}/{where}"]
            assert value.value == pytest.approx(mu, rel=0.01)
            assert value.low is not None
            assert value.high is not None
            inside += value.low <= mu <= value.high
            every += 1
        assert found["rig.wear", f"{name}/{place}"].value == pytest.approx(truth.wear, rel=0.005)
    assert inside >= every - 3  # 18 intervals of 95 %
    assert found["rig.mu", f"S10/{place}/mid"].reason == "offset-not-known"
    folds = [each.value for (measure, _), each in found.items() if measure == "rig.run_in" and each.value]
    assert np.median(folds) == pytest.approx(simulated_rig.FOLD, rel=0.05)
    assert any(isinstance(each, Series) for each in results)
