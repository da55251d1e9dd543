"""Nothing is lost: rows read and rows with nothing to read are all the rows of a log, whatever is damaged in it."""

from __future__ import annotations

from pathlib import Path
from random import Random

import pytest

from logs.house import Folder, codes, means

BAD = ["", "*.**", "NaN", "x7", "-", "1.2.3", "9" * 600]


def damaged(random: Random) -> tuple[str, int, int, int]:
    """A log with damage; rows that say something of its two channels, rows that do not, headers standing again."""
    lines, read, idle, again = ["Time;n;Md;Note"], 0, 0, 0
    for second in range(random.choice([30, 300, 2000])):
        cells = [str(second), str(900 + second % 7), f"{20 + second % 5},5", random.choice(["", "ok"])]
        match random.randrange(40):
            case 0:
                cells[random.randrange(1, 3)] = random.choice(BAD)
            case 1:
                cells = ["", "", "", "pause"]
            case 2:
                cells = [""] * 4
            case 3:
                lines.append("")
                continue
            case 4:
                cells = cells[:3]
            case 5 if second > 5:
                lines.append(lines[0])
                again += 1
                continue
            case 6 if second > 5:
                cells[1] = cells[2] = ""
        read += any(cells[:3])
        idle += not any(cells[:3]) and any(cells)
        lines.append(";".join(cells))
    return "\n".join(lines) + "\n", read, idle, again


@pytest.mark.parametrize("seed", range(25))
def test_rows_of_a_damaged_log_add_up(seed: int, tmp_path: Path) -> None:
    text, read, idle, again = damaged(Random(seed))  # noqa: S311 - damage, not secrets
    found = Folder(tmp_path).read(text, "speed", "torque")
    assert found.usable, found.problems
    assert (found.rows, found.idle) == (read, idle)
    filled = sum(bool(line.strip("; ")) for line in text.splitlines())
    assert found.rows + found.idle + again + 1 == filled
    assert any("nothing in the columns that are read" in note for note in found.notes) == (idle > 0)
    assert ("header-repeated" in codes(found)) == (again > 0)
    for facts in found.facts.values():
        assert facts.n + facts.missing == found.used


def test_a_row_that_says_nothing_of_what_is_read_is_told(tmp_path: Path) -> None:
    found = Folder(tmp_path).read("Time,n,Note\n0,900,\n,,pause\n1,910,\n")
    assert (found.rows, found.idle, len(means(found))) == (2, 1, 2)
    assert found.notes == ("1 row with nothing in the columns that are read, first in line 3",)
