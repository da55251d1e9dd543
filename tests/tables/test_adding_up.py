"""Nothing is lost: used, set aside and not yet taken are all the rows of a table, whatever is damaged in it."""

from __future__ import annotations

from pathlib import Path
from random import Random

import pytest

from tables.house import Folder

HEAD = ["engine", "cylinder", "phase", "tester", "supply [psig]", "pressure [psig]", "crank"]
BAD = ["", "*.**", "NaN", "x7", "-", "31.02.2026", "9" * 600]


def damaged(random: Random) -> tuple[str, int]:
    """A table with damage, written one of many ways; its rows."""
    mark, point = random.choice([(";", ","), (";", "."), ("\t", ","), (",", ".")])
    lines = [mark.join(HEAD)]
    rows = 0
    for _ in range(random.choice([1, 4, 60, 900])):
        gauge = f"7{random.randrange(10)}{point}5"
        cells = ["B1", str(random.randrange(1, 5)), "cold-build", "T1", f"80{point}0", gauge, "tdc"]
        match random.randrange(20):
            case 0:
                cells[random.choice([4, 5, 6])] = random.choice(BAD)
            case 1:
                lines.append("")
            case 2:
                lines.append(mark * 6)
            case 3:
                lines.append(lines[0])
            case 4:
                cells = cells[:6]
            case 5:
                cells.append("")
            case 6:
                cells[5] = ""
        rows += 1
        lines.append(mark.join(cells))
    above = random.choice([[], ["Leak-down, cell north"], ["Leak-down", "", "sheet 3"]])
    return "\n".join([*above, *lines]) + "\n", rows


@pytest.mark.parametrize("seed", range(40))
def test_rows_of_a_damaged_table_add_up(seed: int, tmp_path: Path) -> None:
    text, rows = damaged(Random(seed))  # noqa: S311 - damage, not secrets
    found = Folder(tmp_path).leak(text)  # which holds that rows are those used and those set aside, each told
    assert [each.line for each in found.problems if each.level == "error"] == []
    facts = found.files["pump/leak.csv"]
    assert facts["used"] + facts["set_aside"] + facts["not_taken"] == rows
    assert len(set(found.frame["row"])) == len(found.frame)
