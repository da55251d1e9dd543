"""What the data page says of the files: columns that are read for nothing are named."""

from __future__ import annotations

import html
import json
import re
import shutil
from pathlib import Path

import pytest
from house import Published, fewer

from sitegen import registry, workflow
from sitegen.page.blocks import Cell
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
    assert (told["a1-pulls.csv"], told["leakdown-a1.csv"]) == (Cell("Spare"), Cell("Spare"))
    assert told["a2-pulls.csv"] == Cell("none")


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
    assert _not_used({"columns": columns}) == Cell(told)


def test_of_many_columns_the_rest_is_counted() -> None:
    """And stands behind its count: nothing is left out."""
    told = _not_used({"columns": dict.fromkeys((f"c{n}" for n in range(55)), "")})
    count, rest = told.folded
    assert count == f"{55 - MOST_NAMED} more"
    assert f"{told.text}, {rest}" == ", ".join(f"c{n}" for n in range(55))


def test_a_file_that_was_not_read_says_nothing_of_its_columns() -> None:
    assert _not_used({}) == Cell("–")
    assert _notes({"notes": ["one", "two"]}) == "one; two"


def rows_of(page: str, table: str) -> list[list[str]]:
    body = page.split(f'id="{table}"')[1].split("</table>")[0].split("<tbody>")[1]
    rows = [re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row) for row in body.split("</tr>") if "<t" in row]
    return [
        [html.unescape(re.sub(r"<[^>]+>", " ", cell)).replace("\u202f", "").strip() for cell in row] for row in rows
    ]


@pytest.mark.parametrize("name", ["pump-rings-2025", "pump-rings-2026"])
def test_totals_by_stream_add_up_to_what_the_provenance_counts(examples: Published, name: str) -> None:
    """Files and rows as provenance.json has them, which the results step writes by itself."""
    page = (examples.site / "programs" / name / "data.html").read_text(encoding="utf-8")
    *streams, every = rows_of(page, "by-stream")
    numbers = [[int(cell) for cell in row[1:]] for row in streams]
    assert [int(cell) for cell in every[1:]] == [sum(column) for column in zip(*numbers, strict=True)]
    assert all(rows == sum(states) for _, rows, *states in numbers)
    written = json.loads((examples.programs / name / "results" / "provenance.json").read_text(encoding="utf-8"))
    files = [each for each in written["inputs"].values() if "rows" in each]
    tables = [each for name, each in written["inputs"].items() if "rows" in each and "/logs/" not in name]
    logs = len(files) - len(tables)
    rows, used, aside = (sum(each[state] for each in tables) for state in ("rows", "used", "set_aside"))
    assert rows_of(page, "by-stream")[-1] == every
    count, *states = (int(cell) for cell in every[1:])
    assert (count, *states[:2], sum(states[2:4])) == (len(files), rows + logs, used + logs, aside)
    samples = sum(each["rows"] for name, each in written["inputs"].items() if "/logs/" in name)
    assert f"{samples} of {samples} samples" in next(row[0] for row in streams if row[0].startswith("Run log"))
    # the same count stands at the top and over the rows that are named
    said = html.unescape(re.sub(r"<[^>]+>", "", page)).replace("\u202f", "")
    assert f"{states[1]} of {states[0]} readings are used." in said
    assert f", of {states[0]}." in said or states[0] == states[1]


def test_the_results_lie_beside_the_page(examples: Published) -> None:
    folder = examples.site / "programs" / "pump-rings-2026"
    page = (folder / "data.html").read_text(encoding="utf-8")
    for (name, _, count), file in zip(
        rows_of(page, "result-files")[:3], ("measures.csv", "comparisons.csv", "verdicts.csv"), strict=True
    ):
        assert name == file
        assert f'href="results/{file}"' in page
        own = (examples.programs / "pump-rings-2026" / "results" / file).read_bytes()
        assert (folder / "results" / file).read_bytes() == own
        assert int(count) == len(own.splitlines()) - 1


def test_days_are_written_as_on_every_page(examples: Published) -> None:
    page = (examples.site / "programs" / "pump-rings-2026" / "data.html").read_text(encoding="utf-8")
    assert "on 8 July 2026 no calibration of T2 was in force" in page
    assert not re.search(r">[^<]*\b20\d\d-\d\d-\d\d\b", page)
