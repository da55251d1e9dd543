"""Which visits to a reference point count: an example whose last visit was run in other conditions."""

from __future__ import annotations

import csv
from collections.abc import Callable
from pathlib import Path

import pytest
from events.test_events import needed
from house import fewer

from sitegen import registry, workflow
from sitegen.results.run import Analysis, analyse, gather
from sitegen.vocabulary import Value

PROGRAM = "pump-rings-2025"
LOG = "a1-run-in-60.csv"
LAST = range(2035, 2110)  # s of the log, all of its last visit

Row = dict[str, str]


def changed(tmp_path: Path, change: Callable[[Row], Row], tools: str = "") -> Analysis:
    """What blow-by says where the rows of the last visit of one log are changed, with more `tools` defined."""
    folder = fewer(tmp_path)
    definitions = folder / "definitions.yaml"
    definitions.write_text(definitions.read_text(encoding="utf-8").replace("tools:\n", f"tools:\n{tools}"))
    log = folder / PROGRAM / "logs" / LOG
    with log.open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    made = [change(row) if int(float(row["Time"])) in LAST else row for row in rows]
    with log.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(made)
    read, _ = workflow.programs(folder / PROGRAM)
    assert read is not None
    steps = needed(registry.steps(), next(each for each in registry.steps() if each.name == "blow-by"))
    reads = {name for step in steps for name in step.reads}
    streams = [each for each in registry.STREAMS if each.name in reads]
    return analyse(gather(read.programs[0], streams), streams, steps)


def of(found: Analysis, measure: str) -> dict[str, Value]:
    return {
        f"{v.key.phase} {v.key.at}".strip(): v
        for (name, _), v in found.values.items()
        if name == measure and v.key.engine == "A1"
    }


def off(found: Analysis) -> dict[float, str]:
    """By number of the visit, what was not held in the 60 minutes."""
    frame = next(
        each.frame
        for each in found.series
        if each.id == "blowby.points" and (each.key.engine, each.key.phase) == ("A1", "run-in-60")
    )
    return dict(zip(frame["number"], frame["off"], strict=True))


@pytest.mark.parametrize(
    ("headers", "named"),
    [
        ({"Speed": "1800", "Brake torque": "140.0", "Oil": "50.0"}, "speed, torque, oil_temperature"),
        ({"Speed": "1320"}, "speed"),
        ({"Brake torque": "62.0"}, "torque"),
        ({"Oil": "75.0"}, "oil_temperature"),
        ({}, ""),
    ],
)
def test_a_visit_in_other_conditions_is_named_and_does_not_count(tmp_path: Path, headers: Row, named: str) -> None:
    """The last visit: 1800 rpm, 140 N m and 50 °C, or each a little off, with half as much flow again."""
    grown = 1.5 if named else 1.0
    found = changed(tmp_path, lambda row: {**row, **headers, "Blow-by": f"{grown * float(row['Blow-by']):.1f}"})
    assert off(found) == {1: "", 2: "", 3: "", 4: named}
    level, last = of(found, "blowby.level")["run-in-60 ref-4"], of(found, "blowby.last")["run-in-60"]
    if named:
        assert (level.status, level.reason) == ("refused", "reference-point-off")
        assert (last.status, last.reason) == ("refused", "reference-point-off")
    else:
        assert level.value == last.value
        assert last.value == pytest.approx(15.78, abs=0.01)
    scale = of(found, "blowby.scale")["a1"]
    assert scale.n == (7 if named else 8) or scale.status == "refused"


def test_a_meter_that_repeats_one_number_at_a_visit_is_not_called_steady(tmp_path: Path) -> None:
    found = changed(tmp_path, lambda row: {**row, "Blow-by": "17.0"})
    assert "run-in-60" not in of(found, "blowby.unsteadiness")
    assert of(found, "blowby.last")["run-in-60"].reason == "meter-stood-still"


BAROMETERS = """\
  room-1: {title: barometer, kind: barometer, limit: 0.2 kPa}
  room-2: {title: old barometer, kind: barometer, limit: 1 kPa}
"""
THERMOMETER = "  warm-1: {title: thermocouple, kind: thermometer, limit: 3 K}\n"


def test_levels_carry_the_error_of_the_worst_barometer_and_thermometer(tmp_path: Path) -> None:
    """Displacement counts volume: its flow goes with p/T, so 1 kPa of 100 and 3 K of 318 are 1.37 % (by hand).

    The meter of the example stands at 99 to 102 kPa and 313 to 323 K, so 1.34 to 1.40 %.
    """
    found = changed(tmp_path, lambda row: row, BAROMETERS + THERMOMETER)
    for level in (*of(found, "blowby.level").values(), *of(found, "blowby.last").values()):
        assert level.value is not None
        assert level.common == "room"
        assert 100 * 1.96 * (level.se_common or 0.0) / level.value == pytest.approx(1.37, abs=0.06)


def test_without_a_thermometer_the_error_is_not_known(tmp_path: Path) -> None:
    levels = of(changed(tmp_path, lambda row: row, BAROMETERS), "blowby.level").values()
    assert {(level.se_common, level.common) for level in levels} == {(None, "")}
