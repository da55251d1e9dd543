"""`sitegen plan`: its text, its numbers against an independent computation, its exit status on wrong input."""

from __future__ import annotations

import json
import math
import shutil
from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from house import PROGRAMS, Analysed, fewer, plain, rows_of
from scipy import stats
from scipy.optimize import brentq

from sitegen import workflow
from sitegen.cli import main
from sitegen.crossing.allocation import whole_builds
from sitegen.results.run import Analysis
from sitegen.workflow import Examination

P2025, P2026 = (str(PROGRAMS / f"pump-rings-{year}") for year in (2025, 2026))
PSI = 6894.757293168  # Pa
BUILDS = {"nitrided": 3, "graded-crn": 3, "hard-crn": 1}
WORTH = 0.15


@pytest.fixture(autouse=True)
def read_once(monkeypatch: pytest.MonkeyPatch, analysed: Analysed) -> None:
    """The example programs as the run read and analysed them: what `plan` makes of them is tried here."""
    folder = analysed.examination.folder
    assert folder is not None
    examples: dict[Path, Examination] = {}
    for evidence in analysed.examination.evidence:
        alone = replace(folder, programs=(evidence.program,))
        examples[PROGRAMS / evidence.program.id] = Examination(alone, (evidence,), evidence.problems)
    analyses = {each.analysis.program.id: each.analysis for each in analysed.conclusions}
    really = workflow.examine, workflow.conclude

    def examine(path: Path, *more: Any, **also: Any) -> Examination:
        return examples[path] if path in examples else really[0](path, *more, **also)

    def conclude(examination: Examination) -> tuple[Analysis, ...]:
        if not any(examination is each for each in examples.values()):
            return really[1](examination)
        return tuple(analyses[each.program.id] for each in examination.evidence)

    monkeypatch.setattr(workflow, "examine", examine)
    monkeypatch.setattr(workflow, "conclude", conclude)


def said(capsys: pytest.CaptureFixture[str], *words: str, status: int = 0) -> str:
    assert main(["plan", *words]) == status
    told = capsys.readouterr()
    assert "Traceback" not in told.err + told.out
    return told.out if status == 0 else told.err


def numbers(capsys: pytest.CaptureFixture[str], *words: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(said(capsys, *words, "--format", "json"))
    return found


def test_a_plan_is_no_permit_to_run(capsys: pytest.CaptureFixture[str]) -> None:
    told = said(capsys, P2026)
    assert (
        told.rstrip().split("\n\n")[-1].startswith("Before the work\nA plan is no permit to run. Local codes, licensed")
    )
    for words in ("a competent person come first", "limits that end a run are settled before the first start"):
        assert words in told


# ---- every number of the 2026 example, worked out apart from the house ----------------------------------------------


def found_at(df: float, factor: float, error: float = 0.05) -> float:
    """Difference in standard deviations found with a power of 80 % by a two-sided t test: noncentral t."""
    cut = stats.t.ppf(1 - error / 2, df)
    return factor * float(brentq(lambda shift: stats.nct.sf(cut, df, shift) - 0.8, 0.5, 15, xtol=1e-12))


@cache
def of_two(b: tuple[float, float], df: float, error: float) -> float:
    """Two-sided error of one comparison at which the larger |t| of two with a reference passes in `error` of all.

    Sums over the reference's share and the scatter on grids; correlated as b·b (C. W. Dunnett 1955)."""
    z, s = np.linspace(-8, 8, 81), np.linspace(1e-4, 5, 1001)  # ten times as many z move no digit of the first twelve
    weights = stats.norm.pdf(z)[:, None] * stats.chi.pdf(s * math.sqrt(df), df)[None, :]
    weights /= weights.sum()

    def outside(cut: float) -> float:
        inside = np.ones_like(weights)
        for each in b:
            own, middle = math.sqrt(1 - each**2), each * z[:, None]
            inside *= stats.norm.cdf((middle + cut * s) / own) - stats.norm.cdf((middle - cut * s) / own)
        return float(1 - (weights * inside).sum())

    return float(2 * stats.t.sf(brentq(lambda cut: outside(cut) - error, 1.5, 30, xtol=1e-6), df))


def size_of_group(d: float, error: float) -> int | None:
    """Builds of each of three coatings that find d standard deviations of two; None beyond sixty.

    From four on by Welch's test, whose degrees of freedom come out at n/(n + 1) of 2n - 2, and Bonferroni's cut."""
    for n in range(2, 61):
        df = 3 * n - 3 if n < 4 else (2 * n - 2) * n / (n + 1)
        own = of_two((math.sqrt(1 / 2),) * 2, df, error) if n < 4 else error / 2
        if stats.nct.sf(stats.t.ppf(1 - own / 2, df), df, d * math.sqrt(n / 2)) >= 0.8:
            return n
    return None


def committed() -> dict[tuple[str, str], dict[str, str]]:
    rows = rows_of(PROGRAMS / "pump-rings-2026" / "results" / "comparisons.csv")
    return {(row["measure"], row["coating"]): row for row in rows}


def test_what_is_found_and_how_many_builds_it_takes(capsys: pytest.CaptureFixture[str]) -> None:
    """From the standard errors of the committed comparisons, by scipy's noncentral t and chi-square."""
    found = numbers(capsys, P2026)["finds"]
    rows = committed()
    assert [(each["measure"], each["candidate"]) for each in found] == [
        (measure, coating)
        for measure in ("leakdown.crankcase", "seating.scale", "seating.to_lose", "wear.mass_loss")
        for coating in ("graded-crn", "hard-crn")
    ]
    for each in found:
        row = rows[each["measure"], "graded-crn"]
        ratio = row["scale"] == "ratio"
        error = 0.05 / (1 if row["role"] == "primary" else 3)  # of both candidates; three exploratory measures
        df = float(row["df"])
        sd = float(row["se"]) / math.sqrt(1 / int(row["builds"]) + 1 / int(row["builds_reference"]))
        assert (each["as"], each["unit"], each["scatter_of"]) == (row["scale"], row["unit"], "build to build")
        assert (each["scatter"], each["df"]) == (pytest.approx(sd, rel=1e-9), df)
        assert each["builds_reference"] == BUILDS["nitrided"]
        assert each["builds"] == BUILDS[each["candidate"]]
        difference = math.log1p(WORTH) if ratio else WORTH * float(row["level_reference"])
        ends = [sd * math.sqrt(df / stats.chi2.ppf(share, df)) for share in (0.9, 0.1)]  # two-sided 80 %
        assert each["builds_needed"] == [size_of_group(difference / end, error) for end in ends]
        if each["candidate"] == "hard-crn":
            assert (each["finds"], each["finds_at_worst"]) == (None, None)
            continue
        free = sum(BUILDS.values()) - 3
        step = found_at(free, math.sqrt(2 / 3), of_two((math.sqrt(1 / 2), math.sqrt(1 / 4)), free, error))
        worst = sd * math.sqrt(df / stats.chi2.ppf(0.2, df))  # one-sided 80 %
        expected = [math.expm1(step * each_sd) if ratio else step * each_sd for each_sd in (sd, worst)]
        assert [each["finds"], each["finds_at_worst"]] == pytest.approx(expected, rel=2e-5)


def flow(before: float, after: float) -> float:
    """Mass flow through an ideal orifice up to a factor, gamma 1.4: A. H. Shapiro, Compressible fluid flow (1953).

    Pressures absolute [Pa]."""
    r = max(after / before, (2 / 2.4) ** 3.5)
    return before * math.sqrt(r ** (2 / 1.4) - r ** (2.4 / 1.4))


def leak(drop: float, orifice: float) -> float:
    """Leak area [mm²] behind a master orifice [mm] at 80 psig supply, standard air outside."""
    supply, outside = 80 * PSI + 101_325, 101_325.0
    cylinder = supply - drop
    return math.pi / 4 * orifice**2 * flow(supply, cylinder) / flow(cylinder, outside)


def test_what_the_instruments_can_show(capsys: pytest.CaptureFixture[str]) -> None:
    """Balance: two weighings within 0.5 mg. Feeler: two readings within 0.02 mm over 2·pi. Tension: two within 0.4 N in
    quadrature. Testers: two gauges that err evenly within their class differ by at most 1.553 classes in 95 of 100
    (triangular distribution). Traces of a ring face: two within 0.02 um; of a bore: t of 8 degrees of freedom, 2.306
    in any table, times 0.1 um."""
    found = {(each["stream"], each["what"], each["because"][:4]): each["least"] for each in
             numbers(capsys, P2026)["instruments"] if "by its repeats" not in each["what"] and
             each["stream"] in {"buildsheet", "leakdown", "surfaces"}}  # fmt: skip
    reach = 2 * (1 - math.sqrt(0.05))
    expected = {
        ("buildsheet", "mass a ring must lose", "anal"): 1.0,
        ("buildsheet", "face wear that opens the gap enough", "feel"): 40 / (2 * math.pi),
        ("buildsheet", "tension a ring must lose", "tape"): 0.4 * math.sqrt(2),
        ("surfaces", "wear of a ring face", "styl"): 0.04,
        ("surfaces", "wear of a bore by aligned curves", "styl"): 2.306 * 0.1,
    }
    for name, orifice, gauges in (("cell", 1.016, 0.25 * PSI), ("work", 1.0, 0.5 * PSI)):
        expected["leakdown", "leak that is told from none", name] = leak(reach * gauges, orifice)
        drop = float(brentq(lambda drop, o=orifice: leak(drop, o) - 0.35, 1.0, 40 * PSI))
        part = (leak(drop + reach * gauges, orifice) - leak(drop - reach * gauges, orifice)) / 2
        expected["leakdown", "what its gauges alone may err at a leak of 0.35 mm²", name] = part
    assert found == pytest.approx(expected, rel=2e-3)


def test_the_lots_are_those_of_the_seed(capsys: pytest.CaptureFixture[str]) -> None:
    found = numbers(capsys, P2026)
    wanted = [coating for coating, count in BUILDS.items() for _ in range(count)]
    assert found["drawn"] == [list(each) for each in whole_builds(wanted, [4] * 7, 20260159)]
    assert found["listed"] == found["drawn"]
    assert found["builds"] == ["B1", "B4", "B2", "B5", "B6", "B7", "B3"]
    assert (found["seed"], found["scheme"], found["follows"]) == (20260159, "whole builds", True)
    assert found["scatter_unknown"] == []


def test_the_mixed_example_is_planned_by_its_differences(capsys: pytest.CaptureFixture[str]) -> None:
    found = numbers(capsys, P2025)
    row = rows_of(PROGRAMS / "pump-rings-2025" / "results" / "comparisons.csv")[0]
    first = found["finds"][0]
    # by least squares of y ~ build + position + coating; of two cylinders against two a difference scatters like one
    columns = [
        [b == build for b in range(3)] + [p == place for p in range(4)] + [coating == "hard-crn"]
        for build, held in enumerate(found["listed"])
        for place, coating in enumerate(held)
    ]
    weights = np.linalg.pinv(np.array(columns, dtype=float))[-1]
    assert first["scatter"] == pytest.approx(float(row["se"]) / math.sqrt(weights @ weights))
    assert first["scatter_of"] == "difference inside a build"
    assert first["finds"] == pytest.approx(math.expm1(float(row["se"]) * found_at(12 - 7, 1.0)), rel=1e-6)
    assert found["follows"] is True


# ---- what is typed in -----------------------------------------------------------------------------------------------


def test_builds_seed_scheme_and_scatter_stand_in_for_the_file(capsys: pytest.CaptureFixture[str]) -> None:
    found = numbers(capsys, P2026, "--builds", "12", "--seed", "5", "--scheme", "whole builds in rounds",
                    "--scatter", "leakdown.crankcase=8%")  # fmt: skip
    assert (found["seed"], found["scheme"], found["follows"]) == (5, "whole builds in rounds", False)
    assert len(found["drawn"]) == 12
    first = found["finds"][0]
    assert (first["scatter"], first["df"]) == (0.08, None)
    assert (first["builds"], first["builds_reference"]) == (4, 4)
    assert first["finds"] == pytest.approx(math.expm1(0.08 * found_at(6 * 4 / 5, math.sqrt(1 / 2), 0.025)), rel=1e-5)
    assert first["builds_needed"] == [size_of_group(math.log1p(WORTH) / 0.08, 0.05)] * 2


def test_with_another_seed_it_is_not_said_that_the_file_follows(capsys: pytest.CaptureFixture[str]) -> None:
    text = said(capsys, P2026, "--seed", "5")
    assert "is not the one that seed 5 draws" in text
    assert "the one that seed 20260159 draws" in said(capsys, P2026)


@pytest.mark.parametrize("share", ["8%", "0.08", "8 %"])
def test_a_share_may_be_written_either_way(share: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert numbers(capsys, P2026, "--scatter", f"leakdown.area={share}")["finds"][-1]["scatter"] == 0.08


def test_the_text_says_what_the_numbers_say(capsys: pytest.CaptureFixture[str]) -> None:
    text = said(capsys, P2026)
    assert text.splitlines()[:2] == [
        "Pump rings 2026 (invented data)",
        "Seven builds planned for nitrided rings, graded chromium nitride rings and hard chromium nitride rings; "
        "allotted as whole builds.",
    ]
    for heading in ("Who gets which coating", "What the comparison can find", "What the instruments can show"):
        assert heading in text
    first = numbers(capsys, P2026)["finds"][0]
    percent, worst = (f"{100 * first[name]:.0f}\N{NO-BREAK SPACE}%" for name in ("finds", "finds_at_worst"))
    assert f"find a difference of {percent} ({worst} at the upper limit of the scatter)" in text
    assert "With one build against three no difference of hard chromium nitride and nitrided rings can" in text
    assert all(len(line) == len(line.rstrip()) for line in text.splitlines())


def test_the_same_twice(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    copy = str(fewer(tmp_path) / "pump-rings-2025")  # read and analysed anew each time
    assert said(capsys, copy, "--format", "json") == said(capsys, copy, "--format", "json")


def test_nothing_is_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    programs = fewer(tmp_path)
    before = {path: path.read_bytes() for path in sorted(tmp_path.rglob("*")) if path.is_file()}
    said(capsys, str(programs / "pump-rings-2025"), "--builds", "6")
    assert {path: path.read_bytes() for path in sorted(tmp_path.rglob("*")) if path.is_file()} == before


@pytest.mark.parametrize(("builds", "program"), [(1, P2026), (1, P2025), (2, P2025), (40, P2026)])
def test_any_number_of_builds_can_be_asked_for(builds: int, program: str, capsys: pytest.CaptureFixture[str]) -> None:
    found = numbers(capsys, program, "--builds", str(builds))
    assert len(found["drawn"]) == builds
    text = said(capsys, program, "--builds", str(builds))
    assert text.splitlines()[1].startswith({1: "One build ", 2: "Two builds ", 40: "40 builds "}[builds])
    assert "is not known yet" not in text  # the scatter is known, from the results


def test_a_program_without_results_yet_says_what_it_lacks(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    programs = fewer(tmp_path)
    path = programs / "pump-rings-2025" / "program.yaml"
    text = path.read_text(encoding="utf-8")
    records, notes = text.index("\nrecords:"), text.index("\nnotes:")
    path.write_text(text[:records] + text[notes:], encoding="utf-8")
    told = said(capsys, str(programs / "pump-rings-2025"))
    assert "How far builds scatter is not known yet" in told
    found = numbers(capsys, str(programs / "pump-rings-2025"))
    assert found["finds"] == []
    assert "leakdown.crankcase" in found["scatter_unknown"]


# ---- wrong input ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--scatter", "leakdown.cranckase=8%"], "leakdown.cranckase"),
        (["--scatter", "exposure.distance=8"], "exposure.distance"),
        (["--scatter", "leakdown.crankcase"], "leakdown.crankcase"),
        (["--scatter", "leakdown.crankcase=much"], "much"),
        (["--scatter", "leakdown.crankcase=-8%"], "-8%"),
        (["--scatter", "leakdown.crankcase=0"], "=0"),
        (["--scatter", "leakdown.crankcase=nan"], "nan"),
        (["--scatter", "leakdown.crankcase=inf"], "inf"),
        (["--scatter", "=8%"], "=8%"),
        (["--scatter", "leakdown.crankcase=8"], "8% or 0.08"),
        (["--scatter", "wear.mass_loss=8%"], "a number in mg"),
        (["--builds", "0"], "'0'"),
        (["--builds", "-3"], "-3"),
        (["--builds", "2.5"], "2.5"),
        (["--seed", "-1"], "-1"),
        (["--seed", "4294967296"], "4294967295"),
        (["--scheme", "as they come"], "as they come"),
        (["--format", "xml"], "xml"),
    ],
)
def test_wrong_use_is_told_and_exits_with_2(
    words: Sequence[str], told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert told in said(capsys, P2025, *words, status=2)


def test_a_folder_of_several_programs_is_wrong_use(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    programs = plain(tmp_path)
    shutil.copytree(programs / "pump", programs / "rings")
    assert "Give the folder of one: pump, rings." in said(capsys, str(programs), status=2)


def test_no_folder_is_an_error_in_the_input(capsys: pytest.CaptureFixture[str]) -> None:
    assert "nowhere" in said(capsys, "nowhere", status=1)


@pytest.mark.parametrize(
    ("name", "old", "new", "told"),
    [
        ("program.yaml", "reference: nitrided", "reference: nitrded", "nitrded"),
        ("program.yaml", "question:", "qestion:", "qestion"),
        ("records/leakdown-a1.csv", "run-in-10", "run-in-11", "leakdown-a1.csv:"),
    ],
)
def test_a_broken_program_is_listed_and_exits_with_1(
    name: str, old: str, new: str, told: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = fewer(tmp_path) / "pump-rings-2025"
    text = (folder / name).read_text(encoding="utf-8")
    assert old in text
    (folder / name).write_text(text.replace(old, new, 1), encoding="utf-8")
    assert told in said(capsys, str(folder), status=1)
