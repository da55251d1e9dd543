"""What oil and balance can show of a part, worked out again by hand from the numbers the program states."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from tables.house import Folder, program

from sitegen.program.model import Laboratory, Oil, OilRule, OilSource, Precision, Program, RecordSource, Tool
from sitegen.rounding import stored
from sitegen.streams.oil import STREAM
from sitegen.streams.oil.measures import EXPECTED, SHOWN, WEIGHED
from sitegen.streams.oil.reach import REACH
from sitegen.vocabulary import Book, Value

ROWS = (
    "sample,engine,phase,what,hours [h],mass [kg],laboratory,Fe [mg/kg],Cr [mg/kg]\n"
    ",B1,cold-build,fill,,4.0,,,\n"
    "s1,B1,run-in-15,sample,,0.1,icp-1,6.0,1.0\n"
)
LATER = "s2,B1,durability,sample,,0.1,icp-2,7.0,1.2\n"
FACES = OilSource(
    "faces", "ring faces", {"Fe": 0.1, "Cr": 0.77}, "nitrided", surface=13.2e-4, density=6100.0, expected=1.3e-6
)
BORES = OilSource("bores", "bores", {"Fe": 0.97}, surface=0.1, density=7200.0)
PISTONS = OilSource("pistons", "pistons", {"Al": 0.86})


def planned(folder: Path, records: tuple[RecordSource, ...], sources: tuple[OilSource, ...]) -> Program:
    """Four rings in 4 kg of oil; two laboratories that report chromium to ±0.05 mg/kg and ±0.1 mg/kg near nothing."""
    plain = program(folder, records)
    definitions = replace(
        plain.definitions,
        oils={"gas-40": Oil("gas-40", "gas engine oil", fresh={"Fe": 1e-6, "Cr": 2e-7})},
        laboratories={
            name: Laboratory(name, name, "icp", {"Cr": Precision(scatter, 0.0)})
            for name, scatter in (("icp-1", 0.05e-6), ("icp-2", 0.1e-6), ("icp-3", 0.2e-6))
        },
        tools={**plain.definitions.tools, "balance-2": Tool("balance-2", "coarse", "balance", 5e-6)},
    )
    kind = replace(plain.builds[0].engine_type, oil_charge=4.0)
    builds = tuple(replace(build, oil="gas-40", engine_type=kind) for build in plain.builds)
    return replace(plain, definitions=definitions, builds=builds, oil=OilRule(sources=sources))


def reached(path: Path, rows: str = ROWS, sources: tuple[OilSource, ...] = (FACES, BORES, PISTONS)) -> dict[str, Value]:
    """Values of the step as stored, by measure and place."""
    source = Folder(path).source(rows, name="oil.csv", stream="oil")
    plan = planned(path / "pump", (source,), sources)
    found = STREAM.read(plan, (source,))
    assert found.problems == ()
    given = [stored(each) for each in REACH.run(plan, "", {"oil": found}, Book({}, ()))]
    values = {f"{each.measure}@{each.key.at}": each for each in given if isinstance(each, Value)}
    assert len(values) == len(given)
    assert all(each.key == each.key._replace(engine="", cylinder=0, coating="", phase="") for each in values.values())
    return values


def test_least_wear_by_each_laboratory_of_the_record(tmp_path: Path) -> None:
    values = reached(tmp_path, ROWS + LATER)
    metal = 1.959964 * 4.0 * 2**0.5 * 0.05  # mg: 0.5544, of two samples of 4 kg
    of_one_um = 13.2e-4 * 1e-6 * 6100 * 0.77 * 1e6  # mg: 6.200
    assert values[f"{SHOWN.id}@faces:icp-1:Cr"].value == round(metal / of_one_um, 5) == 0.08941
    assert values[f"{SHOWN.id}@faces:icp-2:Cr"].value == round(2 * metal / of_one_um, 4) == 0.1788
    bores = values[f"{SHOWN.id}@bores:icp-1"]  # iron comes from the faces as well
    assert (bores.status, bores.value, bores.reason) == ("refused", None, "no-metal-of-its-own")
    assert not [name for name in values if "icp-3" in name or "pistons" in name]  # not in use; no surface is stated


def test_least_wear_on_the_best_balance_and_what_is_expected(tmp_path: Path) -> None:
    values = reached(tmp_path)
    # two weighings within 0.5 mg each: 1e-6 kg over a quarter of 13.2e-4 m² at 6100 kg/m³
    assert values[f"{WEIGHED.id}@faces"].value == pytest.approx(1e6 * 1e-6 / (3.3e-4 * 6100), abs=5e-5) == 0.4968
    assert values[f"{EXPECTED.id}@faces"].value == 1.3
    assert f"{WEIGHED.id}@bores" not in values  # no ring of a coating
    assert f"{EXPECTED.id}@bores" not in values


def test_nothing_is_said_where_no_laboratory_reported(tmp_path: Path) -> None:
    assert reached(tmp_path, "".join(ROWS.splitlines(keepends=True)[:2])) == {}
