"""A log of a bench of somebody else's, from the record entry to the page: what it says is kept, what is odd is said."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from sitegen import workflow
from sitegen.problems import as_text

PROGRAMS = Path(__file__).parents[2] / "programs"
PROGRAM = "pump-rings-2025"
LOG = "logs/a1-run-in-10.csv"
HEADS = ["Drehzahl [1/min]", "Drehmoment [Nm]", "Blow-by [l/min]", "KGH [kPa]", "p_Öl [kPa]", "Temp. [°C]",
         "Temp. [°C]", "Lambda"]  # fmt: skip
STEPS = [1, 1, 1, 1, 1, 10, 10, 10]  # every how many seconds a channel was logged
ENTRY = """\
    - file: logs/a1-run-in-10.csv
      engine: A1
      phase: run-in-10
      time: {left: true, unit: ms}
      channels:
        speed: {header: Drehzahl, unit: rpm}
        torque: {number: 4, unit: N m}
        blowby: {left_of: {number: 7}, header: Blow-by, unit: L/min actual, meter: M1}
        crankcase_pressure: {header: KGH, unit: kPa gauge}
        oil_pressure: {letter: J, unit: kPa gauge}
        oil_temperature: {header: "Temp.", which: 1, unit: degC}
        coolant_temperature: {header: "Temp.", number: 14, unit: degC}
      constants: {blowby_temperature: 31 degC, ambient_pressure: 1.003 bar absolute}
      drawn:
        mixture: {title: Air ratio, header: Lambda, unit: "1"}
"""
Row = dict[str, float]


def rows() -> list[Row]:
    """What the log of the example says, by its own headers, with an air ratio."""
    head, *lines = (PROGRAMS / PROGRAM / LOG).read_text(encoding="utf-8").splitlines()
    names = head.split(",")
    made = [dict(zip(names, map(float, line.split(",")), strict=True)) for line in lines]
    return [{**row, "Lambda": 1.0 + 0.01 * (i % 3)} for i, row in enumerate(made)]


def bench(made: list[Row]) -> str:
    """The same as a bench writes it: a time in ms left of each channel, all under one name, the slow ones padded."""
    names = ["Speed", "Brake torque", "Blow-by", "Crankcase", "Oil pressure", "Oil", "Coolant", "Lambda"]
    columns = [
        [(f"{1000 * row['Time']:.0f}", f"{row[name]:g}") for row in made[::step]]
        for name, step in zip(names, STEPS, strict=True)
    ]
    out = [";".join(f"<Zeit> [ms];{head}" for head in HEADS) + ";" + ";".join(f"Reserve {i}" for i in range(55))]
    for at in range(len(made)):
        cells = [";".join(column[at]) if at < len(column) else ";" for column in columns]
        out.append(";".join([*cells, *["0"] * 55]))
    return "\n".join(out) + "\n"


@pytest.fixture
def home(tmp_path: Path) -> Path:
    shutil.copytree(PROGRAMS / PROGRAM, tmp_path / PROGRAM)
    shutil.copy(PROGRAMS / "definitions.yaml", tmp_path)
    program = tmp_path / PROGRAM / "program.yaml"
    text = program.read_text(encoding="utf-8")
    begin = text.index(f"    - file: {LOG}")
    end = text.index("    - file:", begin + 10)
    program.write_text(text[:begin] + ENTRY + text[end:], encoding="utf-8")
    return tmp_path


def written(home: Path, change: Callable[[Row], Row] = lambda row: row) -> workflow.Examination:
    (home / PROGRAM / LOG).write_text(bench([change(row) for row in rows()]), encoding="utf-8")
    return workflow.examine(home)


def text_of(page: bytes) -> str:
    bare = re.sub(r"<(script|style).*?</\1>|<[^>]+>", " ", page.decode("utf-8"), flags=re.S)
    return " ".join(bare.split())


def test_a_bench_log_is_read_and_its_own_channels_are_drawn_only(home: Path) -> None:
    found = written(home)
    assert [each for each in found.problems if LOG in each.file] == [], as_text(found.problems)
    (analysis,) = workflow.conclude(found)
    means = {
        value.key.at or value.measure: value.value
        for value in analysis.values.values()
        if value.key.engine == "A1" and value.key.phase == "run-in-10" and value.measure.startswith("run.")
    }
    ran = [row for row in rows() if row["Speed"] > 95]
    assert means["run.oil_pressure"] == pytest.approx(sum(row["Oil pressure"] for row in ran) / len(ran), rel=2e-3)
    assert means["run.oil_temperature"] == pytest.approx(sum(row["Oil"] for row in ran) / len(ran), rel=5e-3)
    assert not [value for value in analysis.values.values() if "mixture" in str(value)]
    assert not [verdict for verdict in analysis.verdicts if verdict.key.at in {"mixture", "ambient_pressure"}]
    levels = [
        value for value in analysis.values.values() if value.measure == "blowby.level" and "run-in-10" in value.key
    ]
    assert any("gas-stated" in value.flags for value in levels)
    pages = workflow.render(found, None).site
    engine = text_of(pages[f"programs/{PROGRAM}/a1/index.html"])
    assert re.search(r"Air ratio 1\.01 1\.00 1\.02 drawn only", engine)
    assert "Ambient pressure 100 – – kPa absolute stated, not logged" in engine
    assert "is one stated value, not a logged one" in engine
    data = text_of(pages[f"programs/{PROGRAM}/data.html"])
    assert "Reserve 0, Reserve 1," in data
    assert "43 more Reserve 12, Reserve 13," in data  # of 55, the first twelve before the fold


ODD: dict[str, tuple[Callable[[Row], Row], str, str, str]] = {
    "a copy": (lambda row: {**row, "Coolant": row["Oil"]}, "channel-copy", "coolant temperature (copy)",
               "the coolant temperature moves with the oil temperature in every one of"),
    "a sensor that is not there": (lambda row: {**row, "Oil": -40.0 + row["Lambda"]}, "channel-never-warm",
                                   "oil temperature (never-warm)", "the oil temperature stays between -39.0 and"),
    "a constant pressure": (lambda row: {**row, "Oil pressure": 310.0}, "channel-flat", "oil pressure (flat)",
                            "the oil pressure keeps one value while the speed goes from"),
    "a thousandfold": (lambda row: {**row, "Brake torque": 1000 * row["Brake torque"]}, "channel-far-off",
                       "torque (far-off)", "a thousandth of it would be usual"),
}  # fmt: skip


@pytest.mark.parametrize("case", ODD)
def test_what_no_engine_gives_is_told_by_check_and_on_both_pages(case: str, home: Path) -> None:
    change, code, on_run, said = ODD[case]
    found = written(home, change)
    told = [each for each in found.problems if each.code == code]
    assert told, as_text(found.problems)
    assert {each.level for each in told} == {"warning"}
    assert any(said in each.what for each in told)
    pages = workflow.render(found, None).site
    assert on_run in text_of(pages[f"programs/{PROGRAM}/a1/index.html"])
    assert said in text_of(pages[f"programs/{PROGRAM}/data.html"])
