"""comparisons.csv, what `check --recompute` notices in it, and how changes of answers are named."""

from __future__ import annotations

import csv
import io
import json
import math
import re
from dataclasses import replace
from pathlib import Path
from statistics import fmean
from types import SimpleNamespace
from typing import Any

import pytest
from house import ROOT, Analysed, fewer, git, rows_of

from crossing.factory import LOSS, MEASURES, PHASE, C, R, case, rows, subject
from sitegen import registry, workflow
from sitegen.cli import main
from sitegen.crossing import comparing
from sitegen.program.model import Subject
from sitegen.results import alike, files
from sitegen.rounding import settled
from sitegen.vocabulary import Book

EXAMPLES = ("pump-rings-2025", "pump-rings-2026")
COLUMNS = [
    "measure",
    "phase",
    "at",
    "coating",
    "reference",
    "role",
    "scope",
    "design",
    "procedure",
    "scale",
    "estimate",
    "unit",
    "low",
    "high",
    "df",
    "se",
    "adjusted_over",
    "p",
    "p_randomised",
    "least_p",
    "level",
    "level_reference",
    "builds",
    "builds_reference",
    "cylinders",
    "cylinders_reference",
    "icc",
    "icc_low",
    "icc_high",
    "effective_tests",
    "effective_low",
    "effective_high",
    "verdict",
    "flags",
    "reason",
]


def committed(program: str) -> list[dict[str, str]]:
    return rows_of(ROOT / "programs" / program / "results" / "comparisons.csv")


@pytest.mark.parametrize("program", EXAMPLES)
def test_the_columns_are_those_others_may_rely_on(program: str) -> None:
    assert list(committed(program)[0]) == COLUMNS


def test_rows_stand_as_the_program_states_them_the_primary_first() -> None:
    """Measure by measure, the candidates in their order."""
    assert [
        (row["measure"], row["phase"], row["at"], row["coating"], row["role"]) for row in committed(EXAMPLES[1])
    ] == [
        (*each, coating, "primary" if not n else "exploratory")
        for n, each in enumerate(
            [
                ("leakdown.crankcase", "pulls", ""),
                ("seating.scale", "", "a1"),
                ("seating.to_lose", "run-in-60", ""),
                ("wear.mass_loss", "teardown", "top"),
            ]
        )
        for coating in ("graded-crn", "hard-crn")
    ]


@pytest.mark.parametrize("program", EXAMPLES)
def test_rows_are_unique_and_numbers_plain(program: str) -> None:
    found = committed(program)
    keys = [tuple(row[column] for column in COLUMNS[:4]) for row in found]
    assert len(set(keys)) == len(keys)
    for row in found:
        for column in ("estimate", "low", "high"):
            assert re.fullmatch(r"(-?\d+(\.\d+)?|-?inf)?", row[column]), (column, row[column])
        for column in COLUMNS[14:32]:
            assert row[column] == "" or float(row[column]) == float(row[column])
        assert int(row["adjusted_over"]) >= 1
        assert row["flags"].split() == sorted(row["flags"].split())


def made(numbers: dict[str, tuple[float, float]], **more: Any) -> bytes:
    """comparisons.csv of a program made by hand."""
    held = {"B1": (R, R), "B2": (C, C), "B3": (R, R), "B4": (C, C)}
    found = case(held, numbers, also=(subject(LOSS),), **more)
    losses = rows(found.program, LOSS, {b: (v[0], v[1]) for b, v in numbers.items()})
    every = replace(found, rows={**found.rows, **losses}).every()
    analysis = SimpleNamespace(comparisons=[settled(row) for row in every])
    return files._csv(files.COMPARISON_COLUMNS, files.comparison_rows(analysis, MEASURES))  # type: ignore[arg-type]


NUMBERS = {"B1": (0.33, 0.31), "B2": (0.25, 0.27), "B3": (0.30, 0.29), "B4": (0.28, 0.30)}


def test_a_row_says_what_was_found() -> None:
    """A ratio has no unit, a difference that of its measure; the level always that of its measure."""
    ratio, difference = csv.DictReader(io.StringIO(made(NUMBERS).decode()))
    assert (ratio["scale"], ratio["unit"], ratio["role"]) == ("ratio", "1", "primary")
    assert (difference["scale"], difference["unit"], difference["role"]) == ("difference", "mg", "exploratory")
    assert float(ratio["level"]) / float(ratio["level_reference"]) == pytest.approx(float(ratio["estimate"]), rel=1e-3)
    assert float(difference["level"]) - float(difference["level_reference"]) == pytest.approx(
        float(difference["estimate"]), abs=1e-3
    )
    assert (ratio["p_randomised"], ratio["least_p"]) == ("", "0.333")


def test_the_bytes_do_not_depend_on_the_last_digits_of_a_value() -> None:
    """Optimiser noise of a billionth moves no stored digit."""
    noisy = {b: (v[0] * (1 + 3e-10), v[1] * (1 - 2e-10)) for b, v in NUMBERS.items()}
    assert made(noisy) == made(NUMBERS)


# ---- recompute ------------------------------------------------------------------------------------------------------


def changed(programs: Path, program: str, place: int, column: str, value: str) -> str:
    """One cell of a committed comparisons.csv changed by hand; the value it had."""
    path = programs / program / "results" / "comparisons.csv"
    found = rows_of(path)
    old = found[place][column]
    found[place][column] = value
    text = io.StringIO()
    writer = csv.DictWriter(text, COLUMNS, lineterminator="\n")
    writer.writeheader()
    writer.writerows(found)
    path.write_text(text.getvalue(), encoding="utf-8")
    return old


def recomputed(programs: Path, capsys: pytest.CaptureFixture[str]) -> tuple[int, str]:
    capsys.readouterr()
    status = main(["check", "--recompute", str(programs / EXAMPLES[0])])
    return status, capsys.readouterr().out


def differing(out: str) -> list[str]:
    return re.findall(r"comparisons\.csv, ([^:]*: \w+) is", out)


@pytest.mark.parametrize(
    ("column", "value"),
    [("estimate", "1.348"), ("low", "0.9"), ("verdict", "better"), ("df", "6"), ("builds", "4"), ("cylinders", "7"),
     ("adjusted_over", "2"), ("p", "0.0004"), ("least_p", "0.02"), ("p_randomised", ""), ("flags", ""),
     ("scope", "engines-to-come"), ("se", "0.0371"), ("level", "0.4703")],
)  # fmt: skip
def test_recompute_notices_what_was_changed_by_hand(
    column: str, value: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], once: dict[str, bytes]
) -> None:
    """Compared through the function behind it, so that the analysis runs once for all of these."""
    programs = fewer(tmp_path)
    folder, _ = workflow.programs(programs / EXAMPLES[0])
    assert folder is not None
    (program,) = folder.programs
    assert alike.differences(files.lying(program), once) == []
    old = changed(programs, EXAMPLES[0], 0, column, value)
    assert old != value
    assert alike.differences(files.lying(program), once) == [
        f"comparisons.csv, leakdown.crankcase pulls hard-crn: {column} is {value!r}, a fresh run gives {old!r}"
    ]
    del capsys


@pytest.fixture(scope="module")
def once(analysed: Analysed) -> dict[str, bytes]:
    (found,) = (each for each in analysed.conclusions if each.analysis.program.id == EXAMPLES[0])
    return dict(found.files)


def test_recompute_accepts_another_last_digit(tmp_path: Path, once: dict[str, bytes]) -> None:
    programs = fewer(tmp_path)
    folder, _ = workflow.programs(programs / EXAMPLES[0])
    assert folder is not None
    estimate = committed(EXAMPLES[0])[0]["estimate"]
    nearly = f"{float(estimate) + 10.0 ** -len(estimate.partition('.')[2]):.{len(estimate.partition('.')[2])}f}"
    changed(programs, EXAMPLES[0], 0, "estimate", nearly)
    assert alike.differences(files.lying(folder.programs[0]), once) == []


def test_the_command_fails_on_a_changed_estimate(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    programs = fewer(tmp_path)
    assert recomputed(programs, capsys)[0] == 0
    changed(programs, EXAMPLES[0], 0, "estimate", "0.9")
    status, out = recomputed(programs, capsys)
    assert status == 1
    assert differing(out) == ["leakdown.crankcase pulls hard-crn: estimate"]
    assert "comparisons.csv was changed by hand" in out


# ---- changes --------------------------------------------------------------------------------------------------------


def test_changes_name_comparisons_and_criteria_by_their_titles(tmp_path: Path) -> None:
    """A limit drawn tighter after the data: the answer turns, and the page says which, with what it was."""
    programs = fewer(tmp_path)
    git(tmp_path, "init", "-q")
    git(tmp_path, "add", "-A")
    git(tmp_path, "commit", "-q", "-m", "results")
    path = programs / EXAMPLES[0] / "program.yaml"
    text = path.read_text(encoding="utf-8")
    assert "at_most: 0.45 mm2" in text
    text = text.replace("at_most: 0.45 mm2", "at_most: 0.25 mm2")
    text = text.replace("primary: {measure: leakdown.crankcase, phase: pulls}",
                        "primary: {measure: leakdown.crankcase, phase: durability}")  # fmt: skip
    path.write_text(text, encoding="utf-8")
    assert main(["publish", str(programs), "--to", str(tmp_path / "site")]) == 0
    page = (tmp_path / "site" / "programs" / EXAMPLES[0] / "index.html").read_text(encoding="utf-8")
    section = page[page.index('id="changes"') :]
    table = section[: section.index("</table>")]
    cells = [
        re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", each)).strip()
        for each in re.findall(r"<t[dh].*?</t[dh]>", table, re.S)
    ]
    text = " | ".join(cells)
    assert "Leak area after 40 h, every hard cylinder criterion | hard chromium nitride, 40 h | holds | fails" in text
    assert re.search(
        r"Leak area to the crankcase comparison \| hard chromium nitride, 40 h \| – \| worse, 1\.\d+", text
    )
    assert re.search(r"comparison \| hard chromium nitride, four pulls \| worse, 1\.\d+ \| –", text)
    assert "level-at-40-h" not in text
    assert "leakdown.crankcase" not in text


def test_results_committed_before_there_were_comparisons_are_no_fault(tmp_path: Path) -> None:
    programs = fewer(tmp_path)
    results = programs / EXAMPLES[0] / "results"
    (results / "comparisons.csv").unlink()
    facts = json.loads((results / "provenance.json").read_text(encoding="utf-8"))
    (results / "provenance.json").write_text(json.dumps({**facts, "format": 1}), encoding="utf-8")
    git(tmp_path, "init", "-q")
    git(tmp_path, "add", "-A")
    git(tmp_path, "commit", "-q", "-m", "results")
    (found,) = workflow.with_files(workflow.conclude(workflow.examine(programs / EXAMPLES[0])))
    assert found.analysis.changes == ()
    assert PHASE == "pulls"


@pytest.mark.parametrize(
    ("measure", "phase", "at", "scale"),
    [
        ("inspection.band_width", "teardown", "top-ring", "ratio"),
        ("wear.metal_per_km", "pulls", "Fe", "difference"),  # of one build no more than nothing: no ratio would do
    ],
)
def test_bands_and_metal_rates_are_compared_like_any_other_measure(
    measure: str, phase: str, at: str, scale: str, concluded: dict[str, workflow.Conclusion]
) -> None:
    """Held against means over builds, of logarithms for a ratio, worked out here."""
    analysis = concluded["pump-rings-2026"].analysis
    measures = registry.measures()
    program = replace(analysis.program, also=(Subject(measure, phase, at),))
    found = comparing.compared(program, measures, Book(analysis.values, measures))
    row = next(each for each in found if each.role == "exploratory" and each.coating == "graded-crn")
    ratio = scale == "ratio"
    means: dict[str, list[float]] = {"graded-crn": [], "nitrided": []}
    for build in program.builds:
        own = [
            math.log(value.value) if ratio else value.value
            for value in analysis.values.values()
            if (value.measure, *value.key[3:], value.key.engine) == (measure, phase, at, build.id)
            and value.value is not None
        ]
        if own and build.coatings[0] in means:
            means[build.coatings[0]].append(fmean(own))
    assert (row.scale, row.builds, row.builds_reference) == (scale, *map(len, means.values()))
    apart = fmean(means["graded-crn"]) - fmean(means["nitrided"])
    assert row.estimate == pytest.approx(math.exp(apart) if ratio else apart, rel=1e-2)
    assert row.low is not None
    assert row.high is not None
    assert row.low < (1.0 if ratio else 0.0) < row.high or row.verdict in {"less", "more", "better", "worse"}
