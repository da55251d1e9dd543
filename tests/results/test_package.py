"""The description of the results for other programs, read by a general library that knows nothing of us.

Outside check: `frictionless`, the reference library of the Data Package standard, validates the package (types of all
cells, unique keys, hashes, sizes) and reads its rows.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from frictionless import Package, validate
from frictionless.resources import TableResource
from house import Published, rows_of

from sitegen.results import files, package


@pytest.fixture
def described(examples: Published) -> list[Path]:
    found = sorted(examples.site.rglob(package.NAME))
    assert len(found) == 3
    return found


def test_a_general_library_reads_it(described: list[Path]) -> None:
    for path in described:
        report = validate(str(path))
        assert report.valid, [error.message for task in report.tasks for error in task.errors]
        resource = Package(str(path)).get_resource("measures")
        assert isinstance(resource, TableResource)
        read = resource.read_rows()
        ours = rows_of(path.parent / "measures.csv")
        assert len(read) == len(ours) > 1000
        assert [row["measure"] for row in read] == [row["measure"] for row in ours]
        assert [row["value"] is None for row in read] == [row["value"] == "" for row in ours]


def test_a_changed_table_is_seen(described: list[Path], tmp_path: Path) -> None:
    for name in (package.NAME, *files.TABLES):
        (tmp_path / name).write_bytes((described[0].parent / name).read_bytes())
    table = tmp_path / "verdicts.csv"
    table.write_bytes(table.read_bytes().replace(b"holds", b"fails", 1))
    assert not validate(str(tmp_path / package.NAME)).valid


def test_every_measure_that_stands_in_a_table_is_described(described: list[Path]) -> None:
    for path in described:
        told = json.loads(path.read_text(encoding="utf-8"))["measures"]
        rows = rows_of(path.parent / "measures.csv")
        assert {row["measure"] for row in rows} <= set(told)
        units: dict[str, set[str]] = {}
        for row in rows:
            units.setdefault(row["measure"], set()).add(row["unit"])
        odd = {name: found for name, found in units.items() if found != {told[name]["unit"]}}
        assert all(name.startswith("comparison.") for name in odd)  # in the unit of what is compared
        assert all(each["title"] and each["method"] for each in told.values())


def test_every_column_is_described_once() -> None:
    columns = {*files.MEASURE_COLUMNS, *files.VERDICT_COLUMNS, *files.COMPARISON_COLUMNS}
    assert set(package.COLUMNS) == columns
