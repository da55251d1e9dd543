"""Compression tests from a file to results and pages: small programs with numbers made here, and the 2026 example."""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Callable, Mapping
from pathlib import Path

import numpy as np
import pytest
from house import Analysed, plain
from simulate import compression as simulated
from simulate import programs

from sitegen import cli, registry
from sitegen.vocabulary import Key

HEAD = "engine,cylinder,phase,repeat,pressure [psig],strokes,cranking_speed [rpm],throttle,oil,oil_added [mL]"
Rows = list[list[str]]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return plain(tmp_path)


def rows(pressures: Mapping[int, tuple[float, ...]], rpm: str = "210", oil: str = "", phase: str = "pulls") -> Rows:
    said = ["wet", oil] if oil else ["dry", ""]
    return [
        ["B1", str(cylinder), phase, str(n), f"{pressure:g}", "7", rpm, "open", *said]
        for cylinder, own in pressures.items()
        for n, pressure in enumerate(own, start=1)
    ]


EQUAL = {1: (180.0, 182.0), 2: (176.0, 174.0), 3: (178.0, 179.0), 4: (160.0, 162.0)}


def written(folder: Path, table: Rows, head: str = HEAD, entry: str = "") -> Path:
    (folder / "pump" / "records" / "compression.csv").write_text(
        "\n".join([head, *(",".join(row) for row in table)]) + "\n", encoding="utf-8"
    )
    program = folder / "pump" / "program.yaml"
    text = program.read_text(encoding="utf-8").rstrip()
    program.write_text(f"{text}\n  compression:\n    - file: records/compression.csv\n{entry}", encoding="utf-8")
    return folder


def results(folder: Path, tmp_path: Path) -> Mapping[tuple[str, str, str, str], Mapping[str, str]]:
    assert cli.main(["publish", str(folder), "--to", str(tmp_path / "site"), "--no-cache"]) == 0
    with (folder / "pump" / "results" / "measures.csv").open(encoding="utf-8", newline="") as file:
        return {(row["measure"], row["cylinder"], row["phase"], row["at"]): row for row in csv.DictReader(file)}


def page(tmp_path: Path) -> str:
    text = (tmp_path / "site" / "programs" / "pump" / "b1" / "index.html").read_text(encoding="utf-8")
    return " ".join(re.sub(r"<[^>]+>", " ", text).replace("\u00a0", " ").split())


def test_cylinders_are_set_beside_the_best_and_equal_ones_beside_them(folder: Path, tmp_path: Path) -> None:
    found = results(written(folder, rows(EQUAL)), tmp_path)
    middle = math.sqrt(160 * 162) / math.sqrt(180 * 182)
    assert float(found["compression.to_best", "4", "pulls", ""]["value"]) == pytest.approx(middle, rel=1e-4)
    assert float(found["compression.lowest", "", "pulls", ""]["value"]) == pytest.approx(middle, rel=1e-4)
    assert float(found["compression.pressure", "1", "pulls", ""]["value"]) == pytest.approx(1248.0, abs=1)  # 181 psi
    assert float(found["compression.equal", "", "pulls", "below:0.90"]["value"]) == pytest.approx(6.25, abs=0.02)
    text = page(tmp_path)
    assert (
        "lowest over highest cranking pressure 0.89; 3 % of engines with four equal cylinders read as far apart" in text
    )
    assert "below 0.90 fall 6 % of engines with four of them, with nothing wrong" in text
    assert "tells no seating" in text


@pytest.mark.parametrize(
    ("table", "code", "told"),
    [
        (rows(EQUAL, rpm=""), "cranking-not-recorded", "the cranking speed was not recorded"),
        (rows({1: EQUAL[1]}, "190") + rows({2: EQUAL[2]}, "210"), "cranking-differs", "more than 5 % apart"),
        ([[*row[:7], "closed" if row[1] == "1" else "open", *row[8:]] for row in rows(EQUAL)], "throttle-differs",
         "the throttle was open for some and closed for others"),
    ],
)  # fmt: skip
def test_what_was_not_cranked_alike_is_not_set_beside(
    folder: Path, tmp_path: Path, table: Rows, code: str, told: str
) -> None:
    found = results(written(folder, table), tmp_path)
    for key in (("compression.to_best", "1", "pulls", ""), ("compression.lowest", "", "pulls", "")):
        assert (found[key]["status"], found[key]["reason"]) == ("refused", code)
    assert found["compression.pressure", "1", "pulls", ""]["status"] == "ok"
    assert told in page(tmp_path)


def test_oil_counts_beyond_the_scatter_of_repeats_and_takes_room(folder: Path, tmp_path: Path) -> None:
    wet = rows({1: (181.5,), 4: (190.0,)}, oil="5")
    found = results(written(folder, rows(EQUAL) + wet), tmp_path)
    change = found["compression.wet", "4", "pulls", ""]
    assert float(change["value"]) == pytest.approx(100 * math.log(190 / math.sqrt(160 * 162)), rel=1e-3)
    assert float(change["low"]) > 0
    none = found["compression.wet", "1", "pulls", ""]
    assert float(none["low"]) < 0 < float(none["high"])
    s = float(found["compression.repeat", "", "", ""]["value"])
    assert float(none["high"]) - float(none["value"]) > 2 * s * math.sqrt(1 / 2 + 1)  # four degrees of freedom: t 2.8
    text = page(tmp_path)
    assert "With oil cylinder 4 changed beyond the scatter of repeats. The 5 mL of oil take room" in text


def test_one_reading_each_has_no_interval(folder: Path, tmp_path: Path) -> None:
    table = rows({n: own[:1] for n, own in EQUAL.items()}) + rows({4: (190.0,)}, oil="5")
    found = results(written(folder, table), tmp_path)
    assert found["compression.repeat", "", "", ""]["reason"] == "not-repeated"
    change = found["compression.wet", "4", "pulls", ""]
    assert (change["low"], change["status"]) == ("", "ok")
    assert "not told from scatter" in page(tmp_path)


def test_phases_are_set_beside_each_other_in_the_same_air(folder: Path, tmp_path: Path) -> None:
    """2 % less outside and 2 % less in the gauge is no change."""
    before = [[*row, "100"] for row in rows(EQUAL, phase="cold-build")]
    lower = {n: tuple(0.98 * each for each in own) for n, own in EQUAL.items()}
    after = [[*row, "98"] for row in rows(lower)]
    found = results(written(folder, before + after, head=f"{HEAD},ambient [kPa absolute]"), tmp_path)
    change = found["compression.change", "1", "pulls", "vs:cold-build"]
    assert float(change["value"]) == pytest.approx(0.0, abs=0.01)
    assert float(change["low"]) < 0 < float(change["high"])


@pytest.mark.parametrize(
    ("change", "code", "column"),
    [
        (lambda table: [*table, ["B1", "1", "pulls", "3", "200", "7", "210", "open", "wet", ""]], "oil-amount-missing",
         "oil_added [mL]"),
        (lambda table: [*table, ["B1", "1", "pulls", "3", "200", "7", "210", "open", "dry", "5"]], "dry-with-oil",
         "oil"),
        (lambda table: [*table, table[0]], "repeat-unnumbered", "repeat"),
        (lambda table: [*table, ["B1", "1", "pulls", "3", "-5", "7", "210", "open", "dry", ""]], "outside-limits",
         "pressure [psig]"),
        (lambda table: [*table, ["B1", "9", "pulls", "3", "180", "7", "210", "open", "dry", ""]], "", "cylinder"),
    ],
)  # fmt: skip
def test_a_row_that_cannot_be_is_told_with_its_place(
    folder: Path, capsys: pytest.CaptureFixture[str], change: Callable[[Rows], Rows], code: str, column: str
) -> None:
    written(folder, change(rows(EQUAL)))
    cli.main(["check", str(folder), "--format", "json"])
    out = capsys.readouterr().out
    assert f'"{code}' in out
    assert f'"{column}"' in out
    assert "pump/records/compression.csv" in out


def test_a_gauge_is_a_pressure_gauge(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    written(folder, rows(EQUAL), entry="      constants: {instrument: balance-1}\n")
    cli.main(["check", str(folder)])
    assert "a tool of kind pressure-gauge" in " ".join(capsys.readouterr().out.split())


def test_strokes_in_words_are_told(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    head, table = HEAD.replace(",strokes", ""), [[*row[:5], *row[6:]] for row in rows(EQUAL)]
    written(folder, table, head, "      constants: {strokes: seven}\n")
    assert cli.main(["check", str(folder)]) == 1
    assert 'the constant strokes: "seven" is no whole number' in " ".join(capsys.readouterr().out.split())


def test_it_can_answer_nothing_and_changes_no_state(folder: Path, tmp_path: Path) -> None:
    """No coating is compared in it, no primary may name it, and states are what they were without it."""
    assert not [each for each in registry.comparable() if each.startswith("compression.")]
    needs = {need for step in registry.steps() if "leakdown" in step.reads for need in step.needs}
    assert any(need.startswith("leakdown.") for need in needs)
    assert not [need for need in needs if need.startswith("compression.")]
    before = _states(folder, tmp_path / "without")
    assert _states(written(folder, rows(EQUAL)), tmp_path / "with") == before
    text = (folder / "pump" / "program.yaml").read_text(encoding="utf-8")
    text = text.replace("primary: {measure: leakdown.crankcase", "primary: {measure: compression.pressure")
    (folder / "pump" / "program.yaml").write_text(text, encoding="utf-8")
    assert cli.main(["check", str(folder)]) == 1


def _states(folder: Path, to: Path) -> list[str]:
    assert cli.main(["publish", str(folder), "--to", str(to), "--no-cache"]) == 0
    return (folder / "pump" / "results" / "verdicts.csv").read_text(encoding="utf-8").splitlines()


def test_the_example_recovers_its_truth(analysed: Analysed) -> None:
    """Pressures lie about those of the simulated cylinders, at 210 rpm; B4 cold was cranked nobody knows how fast."""
    (found,) = [each.analysis for each in analysed.conclusions if each.analysis.program.id == "pump-rings-2026"]
    values = found.values
    off = []
    for tested in programs.compression_tests():
        for cylinder in tested.cylinders:
            key = Key(tested.build, cylinder.cylinder, cylinder.coating, tested.check.phase)
            value = values["compression.pressure", key]
            assert value.value is not None
            off.append(math.log(value.value / simulated.truth(programs.SEED, tested, cylinder.cylinder)))
            beside = values["compression.to_best", key]
            assert (beside.reason == "cranking-not-recorded") == (not tested.speeds)
    assert np.mean(off) == pytest.approx(0.0, abs=0.006)
    assert np.std(off) < 0.015  # two repeats at 0.8 %, steps of 10 kPa, 3 rpm
