"""Each file of `cases`: what `look` proposes and must not, what is read by the entry a person writes, what is told."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from foreign.__main__ import main as table
from foreign.cases import CASES
from foreign.trying import Case, Found, agrees, asks, lay, read, tried


def in_common(mine: Found, case: Case, readings: object) -> list[tuple[str, object, object]]:
    """What two entries read of the same: field or channel, and its numbers by either."""
    other = Found(0, "", "", (), (), False, readings)
    if case.kind == "runlog":
        names = [each for each in _channels(mine) if each in _channels(other)]
        return [(each, mine.number(f"{each}.mean"), other.number(f"{each}.mean")) for each in names]
    names = [each for each in mine.readings.frame if each in other.readings.frame and each not in {"reading", "use"}]
    return [(each, mine.number(each), other.number(each)) for each in names]


def _channels(found: Found) -> list[str]:
    return [name for log in found.readings.logs.values() for name in log.facts]


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_what_is_proposed_and_what_is_read(case: Case, tmp_path: Path) -> None:
    found = tried(case, tmp_path / "programs")
    if case.look:
        assert found.status == case.status, found.said
        for pattern in case.says:
            assert re.search(pattern, found.said, re.MULTILINE), f"{pattern} is not in\n{found.said}"
        for pattern in case.never:
            assert not re.search(pattern, found.said, re.MULTILINE), f"{pattern} is in\n{found.said}"
    if case.entry:
        assert (found.told, found.blocked) == (tuple(sorted(case.told)), case.refused), found.lines
        if case.read or not case.refused:
            tally = found.tally()
            assert tally["used"] == case.read
            assert sum(tally.values()) == case.rows, tally
            for path, value in case.numbers.items():
                assert agrees(value, found.number(path)), (path, found.number(path))
    if not found.proposed:
        return
    lay(tmp_path / "pasted", case, found.proposed)
    blocked, problems, readings = read(tmp_path / "pasted", case.kind)
    assert blocked or not asks(found.proposed), found.proposed
    if not blocked and case.entry and not case.refused:
        same = in_common(found, case, readings)
        assert len(same) > 1, problems
        for name, mine, other in same:
            assert agrees(mine, other), (name, mine, other)


def test_the_table_has_a_line_for_each(capsys: pytest.CaptureFixture[str]) -> None:
    assert table(["--kind", "buildsheet"]) == 0
    said = capsys.readouterr().out.splitlines()
    names = [case.name for case in CASES if case.kind == "buildsheet"]
    assert [line.split("|")[1].strip() for line in said[2:]] == names
    assert "8 of 8 rows" in said[2]
