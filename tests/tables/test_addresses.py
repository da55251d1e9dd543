"""Columns of a table that are named by their place; headers that are repeated over columns nobody asks for."""

from __future__ import annotations

from pathlib import Path

import pytest

from sitegen.program.model import Address
from tables import forms
from tables.house import Folder, told

HEADER = ["Motor", "Zyl.", "Lauf", "Wert", "Wert", "Wert"]
ROWS: list[list[object]] = [["B1", 1, "cold-build", 80, 76.5, 3], ["B1", 2, "cold-build", 80, 77.5, 4]]
FIXED = {"tester": "T1", "crank": "tdc"}
COLUMNS: dict[str, object] = {"engine": "Motor", "cylinder": "Zyl.", "phase": "Lauf"}


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    return Folder(tmp_path)


def workbook() -> bytes:
    return forms.workbook([HEADER, *ROWS])


def text(header: list[str] = HEADER) -> str:
    return forms.text([header, *ROWS]).decode()


@pytest.mark.parametrize("form", ["csv", "xlsx"])
@pytest.mark.parametrize(
    ("supply", "pressure"),
    [
        (Address("Wert", which=1), Address("Wert", which=2)),
        (Address(number=4), Address("Wert", number=5)),
        (Address(left_of=Address(number=5)), Address(left_of=Address("Wert", which=3))),
    ],
)
def test_repeated_headers_by_their_place(form: str, supply: Address, pressure: Address, folder: Folder) -> None:
    content: str | bytes = text() if form == "csv" else workbook()
    columns = {**COLUMNS, "supply": (supply, "psig"), "pressure": (pressure, "psig")}
    found = folder.read(folder.source(content, f"leak.{form}", columns=columns, constants=FIXED))
    assert told(found) == []
    assert (found.frame["pressure"] / 6894.757293168).tolist() == pytest.approx([76.5, 77.5])
    assert found.files[f"pump/leak.{form}"]["columns"]["Wert, column 6 (F)"] == ""


def test_a_repeated_header_by_its_name_alone_names_the_ways(folder: Folder) -> None:
    columns = {**COLUMNS, "supply": (Address(number=4), "psig"), "pressure": "Wert"}
    found = folder.read(folder.source(text(), columns=columns, constants=FIXED))
    assert told(found) == [
        'pump/program.yaml:99:7: "Wert" stands over 3 columns, 4 (D), 5 (E) and 6 (F), of pump/leak.csv. Expected one '
        'column. Next: say which, for the last of them: {header: "Wert", which: 3}, {number: 6} or {letter: F}.'
    ]  # fmt: skip


def test_a_header_that_is_not_the_one_stated_is_told(folder: Folder) -> None:
    columns = {**COLUMNS, "supply": (Address(number=4), "psig"), "pressure": (Address("Lauf", number=5), "psig")}
    found = folder.read(folder.source(text(), columns=columns, constants=FIXED))
    assert told(found) == [
        'pump/program.yaml:99:7: column 5 (E) of pump/leak.csv is headed "Wert", not "Lauf". Expected the header of '
        "that column, or none. Nearest: column 3 (C)."
    ]  # fmt: skip


def test_columns_without_any_header_of_the_entry_are_read_by_number(folder: Folder) -> None:
    """Nothing in the row of headers is known by name, and no other row is taken for it."""
    columns = {name: Address(number=at) for at, name in enumerate(("engine", "cylinder", "phase"), start=1)}
    more = {"supply": (Address(number=4), "psig"), "pressure": (Address(number=5), "psig")}
    found = folder.read(folder.source(text(["a", "a", "a", "", "", ""]), columns={**columns, **more}, constants=FIXED))
    assert told(found) == []
    assert len(found.frame) == 2


UNITS = {
    "of another kind": ("Wert [mm]", "mm"),
    "of another size": ("Wert [kPa]", "kPa"),
    "of something no field is given in": ("Wert [°dH]", "°dH"),
    "at its end, without brackets": ("Wert kPa", "kPa"),
}


@pytest.mark.parametrize("case", UNITS)
def test_a_unit_in_the_header_that_contradicts_is_told(case: str, folder: Folder) -> None:
    header, unit = UNITS[case]
    columns = {**COLUMNS, "supply": (Address(number=4), "psig"), "pressure": (Address(number=5), "psig")}
    content = text([*HEADER[:4], header, "x"])
    assert told(folder.read(folder.source(content, columns=columns, constants=FIXED))) == [
        f'pump/program.yaml:99:7: pressure is in "psig" here, but in "{unit}" in the header of pump/leak.csv. '
        "Expected the same unit in both."
    ]  # fmt: skip


@pytest.mark.parametrize("remark", ["(sump)", "(g)", "(3)", "min", "in", "[psi]", "psi gauge"])
def test_a_remark_or_the_same_unit_is_none(remark: str, folder: Folder) -> None:
    columns = {**COLUMNS, "supply": (Address(number=4), "psig"), "pressure": (Address(number=5), "psig")}
    content = text([*HEADER[:4], f"Wert {remark}", "x"])
    assert told(folder.read(folder.source(content, columns=columns, constants=FIXED))) == []
