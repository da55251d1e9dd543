"""Numbers in a wrong unit, made by hand with our own nozzle formula: asked about, never converted, never silent."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from methods.coverage import PSI, gauges
from tables.house import Folder, program

from sitegen.streams.leakdown import STREAM
from sitegen.streams.leakdown.measures import AREA, REFERENCE
from sitegen.vocabulary import Book, Key, Readings, Value

KPA = 1000.0


def table(
    supply: str,
    pressure: str,
    *,
    supplied: float = 80 * PSI,
    per: tuple[float, float] = (PSI, PSI),
    references: int = 3,
) -> str:
    """A leak-down table of build B1: four cylinders and the 0.70 mm orifice, numbers as a gauge shows them."""
    lines = [f"engine,cylinder,reference,phase,repeat,tester,supply [{supply}],pressure [{pressure}],crank,date"]
    for cylinder, area in enumerate((0.31, 0.35, 0.42, 0.29), 1):
        stands = float(gauges(np.array([area / 0.8107]), np.array([supplied]))[0])
        lines.append(f"B1,{cylinder},,durability,1,T1,{supplied / per[0]:.1f},{stands / per[1]:.1f},tdc,2026-03-01")
    stands = float(gauges(np.array([(0.70 / 1.016) ** 2]), np.array([supplied]))[0])
    lines += [
        f"B1,,R1,durability,1,T1,{supplied / per[0]:.1f},{stands / per[1]:.1f},,2026-03-0{day + 1}"
        for day in range(references)
    ]
    return "\n".join(lines) + "\n"


def found(folder: Path, text: str) -> tuple[Readings, list[str], dict[tuple[str, int], Value]]:
    """Readings, what is told of them by code, and the tester scale and areas."""
    readings = Folder(folder).leak(text)
    told = [problem.code for problem in readings.problems]
    rows: dict[tuple[str, Key], Value] = {}
    book = Book(rows, {need for step in STREAM.steps for need in step.needs})
    steps = {step.name: step for step in STREAM.steps}
    values: dict[tuple[str, int], Value] = {}
    for name, engine in (("leak-testers", ""), ("leak-areas", "B1")):
        for each in steps[name].run(program(folder), engine, {"leakdown": readings}, book):
            if isinstance(each, Value):
                values[each.measure, each.key.cylinder] = each
                rows[each.measure, each.key] = each
    return readings, told, values


def test_right_units_are_asked_nothing(tmp_path: Path) -> None:
    readings, told, values = found(tmp_path, table("psig", "psig"))
    assert told == []
    assert set(readings.frame["use"]) == {""}
    scale = values[REFERENCE.id, 0].value
    assert scale is not None
    assert 0.97 < scale < 1.03
    area = values[AREA.id, 1]
    assert area.low is not None
    assert area.high is not None
    assert area.low < 0.31 < area.high


def test_psi_in_the_cylinder_column_alone_gives_no_area(tmp_path: Path) -> None:
    readings, told, values = found(tmp_path, table("psig", "kPa gauge"))
    assert told == ["unit-doubtful", "tester-or-unit"]
    text = next(str(problem) for problem in readings.problems if problem.code == "tester-or-unit")
    assert "0.13 times the air of its bore" in text
    assert "the numbers were psi, not kPa" in text
    assert values[REFERENCE.id, 0].reason == "tester-or-unit"
    assert {values[AREA.id, cylinder].reason for cylinder in (1, 2, 3, 4)} == {"tester-or-unit"}


def test_without_an_orifice_it_is_asked_about(tmp_path: Path) -> None:
    _, told, _ = found(tmp_path, table("psig", "kPa gauge", references=0))
    assert told == ["unit-doubtful"]


@pytest.mark.parametrize(
    ("header", "per"),
    [("kPa gauge", PSI), ("psig", KPA), ("psig", 1e5)],
    ids=["psi as kPa", "kPa as psi", "bar as psi"],
)
def test_both_columns_in_another_unit_are_no_second_condition(tmp_path: Path, header: str, per: float) -> None:
    readings, told, values = found(tmp_path, table(header, header, per=(per, per)))
    assert set(told) <= {"unit-doubtful", "outside-limits"}
    assert "" not in set(readings.frame["use"])
    assert not [key for key in values if key[0] == AREA.id]


def test_a_second_supply_that_is_meant_is_taken(tmp_path: Path) -> None:
    """65.3 psi is what 80 psi absolute would be: asked about, unless the program says that it is read on purpose."""
    text = table("psig", "psig", supplied=65.3 * PSI)
    assert set(found(tmp_path, text)[1]) == {"unit-doubtful"}
    source = Folder(tmp_path).source(text)
    asked = program(tmp_path / "pump", (source,))
    meant = replace(asked, leakdown=replace(asked.leakdown, other_supplies=(65.3 * PSI,)))
    readings = STREAM.read(meant, [source])
    assert not readings.problems
    assert set(readings.frame["use"]) == {""}
