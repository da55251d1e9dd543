"""Pulls from a file to results and pages: a whole small program, data made here, by hand where a number is wanted."""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Callable, Mapping
from pathlib import Path

import numpy as np
import pytest
from house import plain

from sitegen import cli
from sitegen.methods.reference_air import saturation

HEAD = (
    "engine,phase,date,pull,variant,speed [rpm],torque [N m],"
    "barometer [kPa absolute],inlet [degC],humidity [%],inlet_at"
)
SPEEDS = range(1200, 2201, 100)
ISO_1585 = """
power:
  standard: ISO 1585
  bands: [{from: 1200 rpm, to: 1700 rpm}, {from: 1700 rpm, to: 2200 rpm}]
"""
Air = tuple[float, float, float]  # kPa, degC, %


def true_torque(rpm: float) -> float:
    """N m at reference air: a hump, its own."""
    return 150 - 1.2e-5 * (rpm - 1600) ** 2


def factor(air: Air) -> float:
    """ISO 1585, spark ignition, written out."""
    dry = air[0] - air[2] / 100 * saturation(air[1] + 273.15) / 1000
    return float((99 / dry) ** 1.2 * ((air[1] + 273.15) / 298) ** 0.6)


def day(
    number: int,
    variant: str = "",
    *,
    gain: float = 0.0,
    air: Air = (98.2, 27.0, 55.0),
    scatter: Callable[[], float] = lambda: 0.0,
) -> list[list[str]]:
    rows = []
    of_day = scatter()
    for pull in range(1, 5):
        of_pull = of_day + scatter() - (0.02 if pull == 1 else 0)  # the first is cold
        for rpm in SPEEDS:
            read = true_torque(rpm) * math.exp(of_pull + gain) / factor(air)
            date = f"2026-05-{number:02}"
            rows.append(["B1", "pulls", date, str(pull), variant, str(rpm), f"{read:.3f}", *map(str, air), "filter"])
    return rows


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return plain(tmp_path)


def written(folder: Path, rows: list[list[str]], rule: str = ISO_1585, entry: str = "", head: str = HEAD) -> Path:
    text = "\n".join([head, *(",".join(row) for row in rows)])
    (folder / "pump" / "records" / "pulls.csv").write_text(f"{text}\n", encoding="utf-8")
    program = folder / "pump" / "program.yaml"
    known = program.read_text(encoding="utf-8").replace("    records: [leakdown]", "    records: [leakdown, pulls]")
    program.write_text(f"{known.rstrip()}\n  pulls:\n    - file: records/pulls.csv\n{entry}{rule}", encoding="utf-8")
    return folder


def results(folder: Path, tmp_path: Path) -> Mapping[tuple[str, str], Mapping[str, str]]:
    assert cli.main(["publish", str(folder), "--to", str(tmp_path / "site"), "--no-cache"]) == 0
    with (folder / "pump" / "results" / "measures.csv").open(encoding="utf-8", newline="") as file:
        return {
            (row["measure"], row["at"]): row
            for row in csv.DictReader(file)
            if row["measure"].startswith("power.") and row["engine"] in {"", "B1"}
        }


def page(tmp_path: Path) -> str:
    text = (tmp_path / "site" / "programs" / "pump" / "b1" / "index.html").read_text(encoding="utf-8")
    return " ".join(re.sub(r"<[^>]+>", " ", text).replace("\u00a0", " ").split())


def test_torque_is_brought_to_the_reference_air_and_its_days_are_the_unit(folder: Path, tmp_path: Path) -> None:
    """Three days of other air: the same torque comes back, by band, as the integral of the curve has it."""
    airs: list[Air] = [(98.2, 27.0, 55.0), (100.4, 19.0, 35.0), (99.1, 23.0, 80.0)]
    rows = [row for n, air in enumerate(airs, start=4) for row in day(n, air=air)]
    found = results(written(folder, rows), tmp_path)
    for at, (low, high) in {"1200-1700-rpm": (1200, 1700), "1700-2200-rpm": (1700, 2200), "": (1200, 2200)}.items():
        grid = np.linspace(low, high, 5001)
        wanted = float(np.mean([true_torque(rpm) for rpm in grid]))
        assert float(found["power.torque", at]["value"]) == pytest.approx(
            wanted, rel=2e-4
        )  # the rows are 100 rpm apart
        assert found["power.torque", at]["n"] == "3"
    assert abs(float(found["power.observed", ""]["value"]) / float(found["power.torque", ""]["value"]) - 1) > 0.005
    assert "by ISO 1585, three days" in page(tmp_path)
    assert "Inlet temperature taken at: filter." in page(tmp_path)


def test_a_gain_is_told_with_the_smallest_that_could_have_been(folder: Path, tmp_path: Path) -> None:
    chance = np.random.default_rng(3)
    rows = [
        row
        for n, variant in enumerate("ABBAABBA", start=4)
        for row in day(n, f"oil {variant}", gain=0.02 if variant == "B" else 0.0,
                       scatter=lambda: float(chance.normal(0, 0.002)))
    ]  # fmt: skip
    found = results(written(folder, rows), tmp_path)
    gain = found["power.gain", "oil B:over:oil A"]
    assert float(gain["low"]) < 2.02 < float(gain["high"])
    assert float(gain["low"]) > 0
    assert 0.2 < float(found["power.smallest_gain", "oil B:over:oil A"]["value"]) < 1.2
    text = page(tmp_path)
    assert text.index("four times in five") < text.index("more with oil B than with oil A")


def test_no_gain_is_told_from_none_where_there_is_none(folder: Path, tmp_path: Path) -> None:
    chance = np.random.default_rng(8)
    rows = [
        row
        for n, variant in enumerate("ABABAB", start=4)
        for row in day(n, variant, scatter=lambda: float(chance.normal(0, 0.002)))
    ]
    found = results(written(folder, rows), tmp_path)
    assert float(found["power.gain", "B:over:A"]["low"]) < 0 < float(found["power.gain", "B:over:A"]["high"])
    assert "No gain of B over A is told from none" in page(tmp_path)


@pytest.mark.parametrize(
    ("rows", "reason", "told"),
    [
        ([row for n, v in enumerate("AAABBB", start=4) for row in day(n, v)], "not-alternated", "take turns by day"),
        (
            [row for n, v in enumerate("ABAB", start=4) for row in day(n, v)],
            "few-pull-days",
            "fewer days than it takes",
        ),
    ],
)
def test_days_that_tell_no_gain_are_refused(
    folder: Path, tmp_path: Path, rows: list[list[str]], reason: str, told: str
) -> None:
    found = results(written(folder, rows), tmp_path)
    assert found["power.gain", "B:over:A"]["reason"] == reason
    assert told in page(tmp_path)


def _without(name: str) -> tuple[list[list[str]], str]:
    at = HEAD.split(",").index(name)
    rows = [[cell for n, cell in enumerate(row) if n != at] for row in day(4)]
    return rows, ",".join(cell for n, cell in enumerate(HEAD.split(",")) if n != at)


@pytest.mark.parametrize(
    ("name", "reason", "told"),
    [
        ("barometer [kPa absolute]", "no-barometer", "no barometer was read"),
        ("humidity [%]", "air-not-recorded", "inlet temperature or humidity was not recorded"),
    ],
)
def test_what_stands_in_the_way_of_a_correction_leaves_the_torque_as_observed(
    folder: Path, tmp_path: Path, name: str, reason: str, told: str
) -> None:
    rows, head = _without(name)
    found = results(written(folder, rows, head=head), tmp_path)
    assert (found["power.torque", ""]["status"], found["power.torque", ""]["reason"]) == ("refused", reason)
    assert found["power.observed", ""]["status"] == "ok"
    assert f"As observed only: {told}" in page(tmp_path)


@pytest.mark.parametrize(
    ("constants", "reason"),
    [
        ("barometer_at: sea-level", "barometer-of-the-sea"),
        ("ramp: 300 rpm/s", "sweep-without-inertia"),
    ],
)
def test_a_barometer_of_the_sea_and_a_sweep_without_inertia(
    folder: Path, tmp_path: Path, constants: str, reason: str
) -> None:
    found = results(written(folder, day(4), entry=f"      constants: {{{constants}}}\n"), tmp_path)
    assert found["power.torque", ""]["reason"] == reason


def test_a_sweep_gets_what_speeds_its_masses_up(folder: Path, tmp_path: Path) -> None:
    """0.5 kg m² at 300 rpm/s: 15.708 N m more than read, before the air is corrected."""
    entry = "      constants: {ramp: 300 rpm/s, inertia: 0.5 kg m2, compensated: false}\n"
    swept = results(written(folder, day(4), entry=entry), tmp_path)
    held = float(np.mean([np.interp(rpm, list(SPEEDS), [true_torque(s) for s in SPEEDS]) for rpm in
                          np.linspace(1200, 2200, 5001)]))  # fmt: skip
    air: Air = (98.2, 27.0, 55.0)
    assert float(swept["power.observed", ""]["value"]) == pytest.approx(held / factor(air) + 15.708, rel=2e-4)
    assert float(swept["power.torque", ""]["value"]) == pytest.approx(held + 15.708 * factor(air), rel=2e-4)


@pytest.mark.parametrize(
    ("change", "code", "column"),
    [
        (lambda rows: [[*row[:1], "cold-build", *row[2:]] for row in rows], "not-in-run", "phase"),
        (lambda rows: rows + rows[:1], "repeat-unnumbered", "speed [rpm]"),
        (lambda rows: [[*row[:4], "A" if row[3] == "1" else "B", *row[5:]] for row in rows], "two-variants-a-day",
         "variant"),
        (lambda rows: [[*row[:6], "-3", *row[7:]] for row in rows], "outside-limits", "torque [N m]"),
        (lambda rows: [[*rows[20][:6], "300", *rows[20][7:]], *rows], "torque-off-its-pull", "torque [N m]"),
    ],
)  # fmt: skip
def test_a_row_that_cannot_be_is_told_with_its_place(
    folder: Path, capsys: pytest.CaptureFixture[str], change: Callable[[list[list[str]]], list[list[str]]], code: str,
    column: str,
) -> None:  # fmt: skip
    written(folder, change(day(4)))
    cli.main(["check", str(folder), "--format", "json"])
    out = capsys.readouterr().out
    assert f'"{code}"' in out
    assert f'"{column}"' in out
    assert "pump/records/pulls.csv" in out


def test_another_standard_and_a_unit_of_energy_are_refused(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    written(folder, day(4), entry="      constants: {corrected_to: sae-j1349}\n")
    cli.main(["check", str(folder)])
    assert "two standards never stand in one chart" in " ".join(capsys.readouterr().out.split())
    table = folder / "pump" / "records" / "pulls.csv"
    text = table.read_text(encoding="utf-8")
    for unit in ("J", "kJ", "kWh"):
        table.write_text(text.replace("torque [N m]", f"torque [{unit}]"), encoding="utf-8")
        assert cli.main(["check", str(folder)]) == 1
        assert f'"{unit}" is a unit of energy, not of torque' in " ".join(capsys.readouterr().out.split())


def test_foot_pounds_are_a_torque_whichever_way_they_are_written(folder: Path, tmp_path: Path) -> None:
    """ft·lbf is a unit of energy too, and the same number; under the header of torque it is read as one."""
    found = results(written(folder, day(4), head=HEAD.replace("N m", "ft·lbf")), tmp_path)
    of_metre = float(found["power.observed", ""]["value"])
    assert of_metre == pytest.approx(1.3558179 * true_torque(1700) / factor((98.2, 27.0, 55.0)), rel=0.02)


@pytest.mark.parametrize(
    ("air", "entry", "told"),
    [
        ((96.0, 41.0, 55.0), "", "As observed only: the air lies outside what the standard corrects"),
        ((98.2, 27.0, 55.0), "barometer_at: sea-level", "As observed only: the barometer is reduced to the level of"),
        ((98.2, 27.0, 55.0), "ramp: 300 rpm/s", "neither their inertia nor a compensation is stated"),
        ((98.2, 27.0, 55.0), "corrected_to: sae-j1349", "the bench has corrected it to another standard"),
    ],
)
def test_what_cannot_be_corrected_is_said_on_the_pages(
    folder: Path, tmp_path: Path, air: Air, entry: str, told: str
) -> None:  # fmt: skip
    constants = f"      constants: {{{entry}}}\n" if entry else ""
    found = results(written(folder, day(4, air=air), entry=constants), tmp_path)
    assert found["power.torque", ""]["status"] in {"refused", "missing"}
    data = (tmp_path / "site" / "programs" / "pump" / "data.html").read_text(encoding="utf-8")
    assert told in page(tmp_path) or told in " ".join(re.sub(r"<[^>]+>", " ", data).split())


def test_a_governed_engine_is_compared_as_observed(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:  # fmt: skip
    """No air changes its torque: none is asked for; a standard beside it contradicts that."""
    rows, head = _without("barometer [kPa absolute]")
    rule = ISO_1585.replace("standard: ISO 1585", "governed: true")
    found = results(written(folder, rows, rule, head=head), tmp_path)
    assert found["power.torque", ""]["value"] == found["power.observed", ""]["value"] != ""
    assert "as observed, in an engine that no air changes" in page(tmp_path)
    program = folder / "pump" / "program.yaml"
    text = program.read_text(encoding="utf-8").replace("governed: true", "governed: true\n  standard: ISO 1585")
    program.write_text(text, encoding="utf-8")
    assert cli.main(["check", str(folder)]) == 1
    assert "corrects a torque that `governed` says no air changes" in " ".join(capsys.readouterr().out.split())


@pytest.mark.parametrize(
    ("rule", "told"),
    [
        ("\npower: {standard: SAE J1350}\n", "SAE J1349"),
        (
            "\npower: {bands: [{from: 1200 rpm, to: 1700 rpm}, {from: 1600 rpm, to: 2200 rpm}]}\n",
            "band ahead of it ends",
        ),
        ("\npower: {bands: [{from: 1700 rpm, to: 1200 rpm}]}\n", "ends before its beginning"),
        ("\npower: {inertia: 1.2 N m}\n", "moment of inertia"),
        ("\npower: {pulls: 1}\n", "pulls"),
    ],
)
def test_a_rule_that_cannot_be_is_told(folder: Path, capsys: pytest.CaptureFixture[str], rule: str, told: str) -> None:
    written(folder, day(4), rule=rule)
    assert cli.main(["check", str(folder)]) == 1
    assert told in " ".join(capsys.readouterr().out.split())


def test_the_plan_says_the_smallest_gain_before_any_pull(folder: Path, tmp_path: Path) -> None:
    rule = ISO_1585 + "  sequence: [A, B, B, A, A, B, B, A]\n  pull_scatter: 0.4 %\n  day_scatter: 0.3 %\n"
    assert results(written(folder, day(4), rule=rule), tmp_path)
    text = (tmp_path / "site" / "programs" / "pump" / "plan.html").read_text(encoding="utf-8")
    told = " ".join(re.sub(r"<[^>]+>", " ", text).replace("\u00a0", " ").split())
    assert "gain of one variant over another" in told.lower()
    assert "eight days in turn" in told.lower() or "8 days in turn" in told


def test_bands_that_no_pull_runs_through_are_named_with_how_far_the_pulls_reach(folder: Path, tmp_path: Path) -> None:
    """Nor does one that some pulls end in pass for whole; neither is put down to air that was not recorded."""
    bands = ISO_1585.replace("to: 2200 rpm}]", "to: 2200 rpm}, {from: 2200 rpm, to: 2600 rpm}]")
    rows = [row for n in (4, 5, 6) for row in day(n) if (row[2], row[3]) != ("2026-05-05", "2") or int(row[5]) < 2000]
    found = results(written(folder, rows, bands), tmp_path)
    assert found["power.torque", "2200-2600-rpm"]["reason"] == "band-not-covered"
    text = page(tmp_path)
    assert (min(SPEEDS), max(SPEEDS)) == (1200, 2200)
    assert "No pull runs through 2 200–2 600 rpm: they reach from 1 200 to 2 200 rpm." in text
    assert "Of twelve pulls some do not run through a band and are not in its mean: 1 700–2 200 rpm: one." in text
    assert "So there is no torque over all bands." in text
    assert "As observed only" not in text
    assert "air or inertia was not recorded" not in text


def test_bands_that_every_pull_runs_through_are_not_explained(folder: Path, tmp_path: Path) -> None:
    results(written(folder, [row for n in (4, 5, 6) for row in day(n)]), tmp_path)
    assert "through" not in page(tmp_path).partition("Power pulls")[2].partition("Inlet temperature")[0]
