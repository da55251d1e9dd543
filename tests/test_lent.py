"""One build of each coating: the interval rests on the scatter that another program lends, and there is no test."""

from __future__ import annotations

import math
import shutil
from pathlib import Path
from statistics import fmean

import pytest
import yaml

from sitegen import findings, workflow
from sitegen.methods.intervals import student_95

EXAMPLES = Path(__file__).parents[1] / "programs"
LENDER = "pump-rings-2026"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """The example of 2026 with one more program: a nitrided and a graded build of it, to which it lends its scatter.

    Both have their leak-down tables only: the values compared rest on nothing else.
    """
    home = tmp_path / "programs"
    others = shutil.ignore_patterns("pump-rings-2025", "pump-rings-hours", "logs", "traces")
    shutil.copytree(EXAMPLES, home, ignore=others)
    own = home / "one-of-each"
    shutil.copytree(home / LENDER / "records", own / "records")
    path = home / LENDER / "program.yaml"
    text = path.read_text()
    records, exclusions = text.index("\n  buildsheet:\n", text.index("\nrecords:\n")), text.index("\nexclusions:\n")
    path.write_text(text[:records] + text[exclusions:])
    document = yaml.safe_load(path.read_text())
    document["title"] = "One of each"
    document["builds"] = [build for build in document["builds"] if build["id"] in {"B1", "B4"}]
    document["phases"] = [phase for phase in document["phases"] if "only" not in phase]
    document["records"]["leakdown"] = [each for each in document["records"]["leakdown"] if each["file"][-5] in "14"]
    document["compare"] |= {"candidates": ["graded-crn"], "scatter_from": [LENDER], "planned_builds": 2}
    for key in ("criteria", "decide", "decisions", "exclusions", "notes", "oil"):
        document.pop(key)
    for key in ("also", "answered_by", "worth_finding", "allocation"):
        document["compare"].pop(key)
    (own / "program.yaml").write_text(yaml.safe_dump(document, sort_keys=False))
    return home


def _primary(home: Path) -> dict[str, object]:
    rows = findings(home).comparisons
    own = rows[(rows["program"] == "one-of-each") & (rows["role"] == "primary")]
    return dict(own.iloc[0])


def test_lent_scatter(folder: Path) -> None:
    """Estimate, degrees of freedom and interval by hand from the build means of both programs."""
    found = _primary(folder)
    measures = findings(EXAMPLES / LENDER, committed=True).measures
    rows = measures.query("measure == 'leakdown.crankcase' and phase == 'pulls' and at == '' and program == @LENDER")
    means = {
        (coating, engine): fmean(map(math.log, part["value"]))
        for (coating, engine), part in rows.groupby(["coating", "engine"])
    }
    nitrided, graded = ([m for (c, _), m in means.items() if c == coating] for coating in ("nitrided", "graded-crn"))
    squares = sum((m - fmean(own)) ** 2 for own in (nitrided, graded) for m in own)
    se = math.sqrt(squares / 4 * 2)
    middle = means["graded-crn", "B4"] - means["nitrided", "B1"]
    assert found["procedure"] == "lent"
    assert found["df"] == 4
    assert found["se"] == pytest.approx(se, rel=2e-3)
    assert found["estimate"] == pytest.approx(math.exp(middle), rel=2e-3)
    # the gauges of the one tester widen it a little
    assert 0 < math.log(float(str(found["high"]))) - (middle + student_95(4) * se) < 0.1 * student_95(4) * se
    assert found["verdict"] == "cannot tell"
    assert math.isnan(float(str(found["p"])))


def test_without_a_lender_there_is_no_answer(folder: Path) -> None:
    path = folder / "one-of-each/program.yaml"
    document = yaml.safe_load(path.read_text())
    document["compare"].pop("scatter_from")
    path.write_text(yaml.safe_dump(document, sort_keys=False))
    found = _primary(folder)
    assert (found["verdict"], found["reason"]) == ("refused", "build-and-coating")


def test_published_alone_it_takes_the_committed_results(folder: Path) -> None:
    """The same row from its own folder; once the lender's results are gone, a sentence and no result."""
    both = _primary(folder)
    alone = findings(folder / "one-of-each").comparisons
    assert alone.iloc[0]["estimate"] == both["estimate"]
    assert alone.iloc[0]["low"] == pytest.approx(both["low"])
    shutil.rmtree(folder / LENDER / "results")
    problems = workflow.examine(folder / "one-of-each").problems
    assert [problem.code for problem in problems if problem.level == "error"] == ["scatter-not-there"]


def test_lending_in_a_circle_leaves_out_those_on_it_alone(folder: Path) -> None:
    """Three of them; who borrows from one of the three takes its committed results."""
    lender = folder / LENDER / "program.yaml"
    text = lender.read_text()
    lender.write_text(text.replace("  worth_finding:", "  scatter_from: [second]\n  worth_finding:"))
    shutil.copytree(folder / "one-of-each", folder / "second")
    shutil.copytree(folder / "one-of-each", folder / "beside")
    second = folder / "second/program.yaml"
    second.write_text(second.read_text().replace(f"- {LENDER}\n", "- one-of-each\n"))
    examination = workflow.examine(folder)
    assert examination.folder is not None
    assert [each.id for each in examination.folder.programs] == ["beside"]
    told = {each.id: each.errors for each in examination.folder.left}
    assert {name: [each.code for each in own] for name, own in told.items()} == {
        name: ["scatter-in-a-circle"] for name in ("one-of-each", LENDER, "second")
    }
    assert lender.read_text().split("\n")[told[LENDER][0].line - 1] == "  scatter_from: [second]"
    assert [each.program.id for each in workflow.conclude(examination)] == ["beside"]
