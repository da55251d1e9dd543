"""What the data page says of the files: columns that are read for nothing are named."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from house import fewer

from sitegen import registry, workflow
from sitegen.pages.data import MOST_NAMED, _not_used, _notes
from sitegen.results.run import gather


def test_columns_of_logs_and_tables_that_no_entry_names(tmp_path: Path) -> None:
    """A column more in a log and in a table of leak-down readings, named by nobody."""
    folder = fewer(tmp_path) / "pump-rings-2025"
    for file in ("logs/a1-pulls.csv", "records/leakdown-a1.csv"):
        path = folder / file
        head, *rows = path.read_text(encoding="utf-8").splitlines()
        path.write_text("\n".join([f"{head},Spare", *(f"{row},7" for row in rows), ""]), encoding="utf-8")
    shutil.rmtree(folder / "images", ignore_errors=True)
    made, _ = workflow.programs(folder)
    assert made is not None
    streams = [each for each in registry.STREAMS if each.name in {"runlog", "leakdown"}]
    found = gather(made.programs[0], streams).readings
    told = {file.rpartition("/")[2]: _not_used(facts) for each in found.values() for file, facts in each.files.items()}
    assert (told["a1-pulls.csv"], told["leakdown-a1.csv"]) == ("Spare", "Spare")
    assert told["a2-pulls.csv"] == "none"


@pytest.mark.parametrize(
    ("columns", "told"),
    [
        ({"a": "speed", "b": ""}, "b"),
        ({"a": "speed"}, "none"),
        ({}, "–"),
        (
            {f"c{n}": "" for n in range(MOST_NAMED + 1)},
            ", ".join(f"c{n}" for n in range(MOST_NAMED)) + f" and c{MOST_NAMED}",
        ),
    ],
)
def test_columns_not_used(columns: dict[str, str], told: str) -> None:
    assert _not_used({"columns": columns}) == told


def test_of_many_columns_the_rest_is_counted() -> None:
    told = _not_used({"columns": dict.fromkeys((f"c{n}" for n in range(55)), "")})
    assert told.endswith(f"c{MOST_NAMED - 1} and {55 - MOST_NAMED} more")


def test_a_file_that_was_not_read_says_nothing_of_its_columns() -> None:
    assert _not_used({}) == "–"
    assert _notes({"notes": ["one", "two"]}) == "one; two"
