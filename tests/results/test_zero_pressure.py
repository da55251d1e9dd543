"""An objection to a reading of a gauge at zero: left out and told, with no number made of it and no warning."""

from __future__ import annotations

from pathlib import Path

from house import copied

from sitegen import workflow


def test_an_objection_to_a_reading_at_zero(tmp_path: Path) -> None:
    programs = copied(tmp_path)
    record = programs / "pump-rings-2025" / "records" / "leakdown-a1.csv"
    lines = record.read_text(encoding="utf-8").splitlines()
    cells = lines[2].split(",")
    assert cells[:4] == ["A1", "cold-build", "1", "1"]
    cells[7] = "0"
    record.write_text("\n".join([*lines[:2], ",".join(cells), *lines[3:]]) + "\n", encoding="utf-8")
    program = programs / "pump-rings-2025" / "program.yaml"
    objection = '\n\nexclusions:\n  - {reading: "leakdown-a1:3", why: a valve stood open, by: K. L., on: 2025-03-10}\n'
    program.write_text(program.read_text(encoding="utf-8").rstrip() + objection, encoding="utf-8")

    (found,) = workflow.conclude(workflow.examine(program.parent))

    frame = found.readings["leakdown"].frame
    assert frame.loc[frame["reading"] == "leakdown-a1:3", "use"].tolist() == ["excluded"]
    with_it = {measure for (measure, key), _ in found.values.items() if key.at == "with:leakdown-a1:3"}
    assert with_it == {"leakdown.percent"}  # all of the supply is lost: a per cent, but no area
