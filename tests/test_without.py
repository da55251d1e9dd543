"""A stream is taken out by deleting its folder and its line in the registry.

What does not rest on it stays, byte by byte; what rests on it is as in a program that recorded none of it; what names
it is answered with a reason.
"""

from __future__ import annotations

import csv
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
import yaml
from house import PROGRAMS, ROOT, rows_of

from sitegen import registry, workflow
from sitegen.crossing import subjects
from sitegen.crossing.subjects import Entries
from sitegen.program import described
from sitegen.program.folder import load
from sitegen.program.model import Folder, Subject
from sitegen.vocabulary import Book, Problem, Refused

STREAMS = [stream.name for stream in registry.STREAMS]
PROGRAM = "pump-rings-2026"
BUILDS = ("B1", "B4")  # those with records of every stream
LOGGED = ("run-in-10", "pulls")  # logs kept
RINGS = {
    "B1": {1: "nitrided", 2: "graded-crn", 3: "graded-crn", 4: "nitrided"},
    "B4": {1: "graded-crn", 2: "nitrided", 3: "nitrided", 4: "graded-crn"},
}
TRACES = re.compile("b1/1-(new|run)-(ring-[0-9]+|tr[12])")  # traces kept: few, since they take time
# a measure of each stream, where the program has values of it
NAMED: Mapping[str, Mapping[str, str]] = {
    "buildsheet": {"measure": "buildsheet.gap", "phase": "cold-build", "at": "top"},
    "inspection": {"measure": "inspection.band_width", "phase": "teardown", "at": "top-ring"},
    "leakdown": {"measure": "leakdown.crankcase", "phase": "pulls"},
    "oil": {"measure": "oil.iron", "phase": "pulls"},
    "runlog": {"measure": "blowby.last", "phase": "run-in-10"},
    "surfaces": {"measure": "ring.face_wear", "phase": "teardown", "at": "top"},
}
LIMITS = {"buildsheet": "0.6 mm", "inspection": "0.4 mm", "leakdown": "0.35 mm2", "oil": "90 mg/kg",
          "runlog": "40 L/min", "surfaces": "3 um"}  # fmt: skip
TAKE_WHAT_IS_THERE = frozenset({"bench", "ties", "answers"})  # steps that see every measure a program may name
TIES = {"leak-and-band": {"inspection", "leakdown"}, "mass-and-band": {"buildsheet", "inspection"}}


def small(to: Path, without: str = "") -> Path:
    """Two builds of the example with every stream, both coatings in each; `without` the records of one stream."""
    shutil.copytree(
        PROGRAMS,
        to,
        ignore=shutil.ignore_patterns(
            "pump-rings-2025", "pump-rings-hours", "results", "logs", "images", ".git*", "3-*", "b[2-7]"
        ),
    )
    home = to / PROGRAM
    stated: dict[str, Any] = yaml.load((home / "program.yaml").read_bytes(), yaml.CSafeLoader)
    stated["builds"] = [each for each in stated["builds"] if each["id"] in BUILDS]
    for each in stated["builds"]:
        each["rings"] = {number: {"coating": coating} for number, coating in RINGS[each["id"]].items()}
    compare = stated["compare"]
    del compare["answered_by"], stated["decisions"]
    compare |= {"candidates": ["graded-crn"], "planned_builds": 2, "allocation": {"scheme": "mixed in engine"}}
    compare["also"] = [dict(each) for each in NAMED.values() if each != NAMED["leakdown"]]
    stated["criteria"]["list"] = [
        {"id": f"of-{name}", "title": f"Limit of {name}", **where, "at_most": LIMITS[name], "scope": "every cylinder"}
        for name, where in NAMED.items()
    ]
    stated["oil"]["sources"] = [each for each in stated["oil"]["sources"] if each.get("coating") != "hard-crn"]
    objection = {"reading": "leakdown-b1:15", "why": "gauge needle stuck"}
    stated["exclusions"] = [] if without == "leakdown" else [objection]
    stated["phases"] = [each for each in stated["phases"] if each["id"] != "refit"]
    files = {name: _kept(home, name, entries) for name, entries in stated["records"].items()}
    stated["records"] = {name: entries for name, entries in files.items() if name != without}
    text = yaml.dump(stated, Dumper=yaml.CSafeDumper, allow_unicode=True, sort_keys=False)
    (home / "program.yaml").write_text(text, encoding="utf-8")
    (home / "notes.md").write_text("Two builds.\n", encoding="utf-8")
    return to


def _kept(home: Path, stream: str, entries: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Record entries of the two builds, and their files; what other builds stand in beside them loses those rows."""
    kept = []
    for entry in entries:
        name, path = entry["file"], home / entry["file"]
        build = re.search(r"\bb(\d)\b", name)
        if stream == "runlog":
            if entry["engine"] in BUILDS and entry["phase"] in LOGGED:
                path.parent.mkdir(exist_ok=True)
                shutil.copy(PROGRAMS / PROGRAM / name, path)
                kept.append(entry)
        elif stream == "rig":  # of no build
            kept.append(entry)
        elif build is None:
            lines = path.read_text(encoding="utf-8").splitlines()
            own = [line for line in lines[1:] if any(re.search(rf"\b{each}\b", line) for each in BUILDS)]
            path.write_text("\n".join([lines[0], *own]) + "\n", encoding="utf-8")
            kept.append(entry)
        elif f"B{build[1]}" in BUILDS:
            if stream == "surfaces":
                lines = path.read_text(encoding="utf-8").splitlines()
                traced = list(filter(TRACES.search, lines))
                path.write_text("\n".join([lines[0], *traced]) + "\n", encoding="utf-8")
                if not traced:
                    continue
            kept.append(entry)
    return kept


# ---- what rests on what, by the declarations ----------------------------------------------------------------------


def resting(stream: str) -> set[str]:
    """Measures that rest on a stream by what their steps declare to read and to need, its own among them."""
    steps = [step for step in registry.steps() if step.name not in TAKE_WHAT_IS_THERE]
    own = {step.name for each in registry.STREAMS if each.name == stream for step in each.steps}
    found: set[str] = set()
    while True:
        more = {
            measure.id
            for step in steps
            if step.name in own or stream in step.reads or found & set(step.needs)
            for measure in step.gives
        }
        if more <= found:
            return found
        found |= more


def given(stream: str) -> set[str]:
    """Measures a stream gives."""
    return {m.id for each in registry.STREAMS if each.name == stream for step in each.steps for m in step.gives}


# ---- without it ---------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return small(tmp_path_factory.mktemp("built") / "programs")


@pytest.fixture
def programs(built: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(built, tmp_path / "programs"))


@pytest.fixture(scope="module")
def whole(built: Path) -> Mapping[str, bytes]:
    """Result files of the two builds with every stream here."""
    return results(built)


def results(programs: Path) -> Mapping[str, bytes]:
    examination = workflow.examine(programs)
    assert not examination.blocked, examination.problems
    (concluded,) = workflow.with_files(workflow.conclude(examination))
    return concluded.files


def house_without(stream: str, to: Path) -> Path:
    """A copy of the package with one stream taken out as DEVELOPERS.md says. Compiled modules keep their worth."""
    for name in ("sitegen", "schemas", "theme"):
        shutil.copytree(ROOT / name, to / name)
    shutil.rmtree(to / "sitegen" / "streams" / stream)
    path = to / "sitegen" / "registry.py"
    lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
    (imported,) = [line for line in lines if f"sitegen.streams.{stream} " in line]
    name = imported.split()[-1]
    lines = [re.sub(rf"\b{name},( |$)|, {name}\b", "", line) for line in lines if line != imported]
    assert not any(re.search(rf"\b{name}\b", line) for line in lines)
    path.write_text("".join(lines), encoding="utf-8")
    return to


RUN = """
import sys, sitegen
from sitegen.cli import main
programs, site, home = sys.argv[1:]
assert sitegen.__file__.startswith(home), sitegen.__file__
print(main(["check", programs]), main(["publish", programs, "--to", site]))
"""


def rows(files: Mapping[str, bytes], of: set[str], name: str = "measures.csv") -> list[str]:
    """Lines of a result table that are of some measures."""
    lines = files[name].decode().splitlines()
    place = next(csv.reader(lines[:1])).index("measure")
    return [line for line in lines[1:] if next(csv.reader([line]))[place] in of]


@pytest.mark.parametrize("stream", STREAMS)
def test_a_stream_can_be_taken_out(stream: str, programs: Path, tmp_path: Path, whole: Mapping[str, bytes]) -> None:
    home = house_without(stream, tmp_path / "house")
    for entry in (programs / PROGRAM / "records").glob(f"{stream}-*"):
        entry.write_bytes(b"\0 not to be read")
    done = subprocess.run(
        [sys.executable, "-c", RUN, str(programs), str(tmp_path / "site"), str(home)],
        env={**os.environ, "PYTHONPATH": str(home)},
        cwd=tmp_path, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines()[-1] == "0 0", done.stdout + done.stderr

    # one warning says what is passed over
    title = described.kinds()[stream].title
    (said,) = [line for line in done.stdout.splitlines() if f"{title} are not read by this version" in line]
    assert f"{PROGRAM}/program.yaml" in said
    assert f'"{stream}" in records' in said
    assert "warning" in said

    # values: what does not rest on it stays; the rest is as in a program that recorded none of it
    found = {path.name: path.read_bytes() for path in (programs / PROGRAM / "results").iterdir()}
    taking = (step for step in registry.steps() if step.name in TAKE_WHAT_IS_THERE)
    everything = set(registry.measures()) - {measure.id for step in taking for measure in step.gives}
    own, kept = given(stream), everything - resting(stream)
    assert rows(found, kept) == rows(whole, kept)
    assert rows(found, own) == []
    if others := everything - own - kept:
        never = results(small(tmp_path / "never", without=stream))
        assert rows(found, others) == rows(never, others)

    # what names it is answered with a reason
    answers = rows_of(programs / PROGRAM / "results" / "verdicts.csv")
    compared = rows_of(programs / PROGRAM / "results" / "comparisons.csv")
    if stream in NAMED:
        (answer,) = [row for row in answers if row["rule"] == f"criterion:of-{stream}"]
        assert (answer["word"], answer["reason"]) == ("cannot tell yet", "stream-not-here")
        (row,) = [row for row in compared if row["measure"] == NAMED[stream]["measure"]]
        assert (row["verdict"], row["reason"], row["estimate"]) == ("refused", "stream-not-here", "")
    others = {where["measure"] for name, where in NAMED.items() if name != stream} - resting(stream)
    assert rows(found, others, "comparisons.csv") == rows(whole, others, "comparisons.csv")
    tied = {row["at"]: row for row in rows_of(programs / PROGRAM / "results" / "measures.csv")
            if row["measure"] == "tie.agreement"}  # fmt: skip
    for tie, streams in TIES.items():
        missing = (tied[tie]["status"], tied[tie]["reason"]) == ("missing", "stream-not-here")
        assert missing == (stream in streams), tie

    # and the pages say so
    page = (tmp_path / "site" / "programs" / PROGRAM / "index.html").read_text(encoding="utf-8")
    assert ("not read by this version" in page) == (
        stream not in {"compression", "decay", "events", "friction", "gaugestudy", "layers", "rig"}
    )  # nobody plans these


# ---- what is written wrong stays an error -------------------------------------------------------------------------


def loaded(programs: Path, without: str) -> list[Problem]:
    """Problems of the program file where one stream is not listed."""
    here = [stream for stream in registry.STREAMS if stream.name != without]
    units = {m.id: m.unit for stream in here for step in stream.steps for m in step.gives}
    return load(programs, measures=units, streams=[stream.name for stream in here], comparable=list(units))[1]


@pytest.mark.parametrize("without", ["", "oil"])
@pytest.mark.parametrize(
    ("old", "new", "code", "near"),
    [
        ("measure: inspection.band_width", "measure: inspection.band_with", "unknown-measure", "inspection.band_width"),
        ("measure: blowby.last", "measure: blow_by.last", "unknown-measure", "blowby.last"),
        ("- buildsheet", "- buildsheets", "unknown-kind-of-record", "buildsheet"),
        ("  buildsheet:", "  build_sheet:", "unknown-key", "buildsheet"),
        ("  oil:\n", "  oils:\n", "unknown-key", "oil"),
    ],
)
def test_a_name_that_is_written_wrong_stays_an_error(
    without: str, old: str, new: str, code: str, near: str, programs: Path
) -> None:
    path = programs / PROGRAM / "program.yaml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    assert old in text
    found = [each for each in loaded(path.parent.parent, without) if each.level == "error"]
    assert [(each.code, each.nearest) for each in found] == [(code, near)]


def test_one_warning_names_all_that_is_passed_over(programs: Path) -> None:
    (program,) = folder_without(programs, "oil").programs
    (warning,) = program.passed_over
    assert (warning.level, warning.code) == ("warning", "stream-not-here")
    assert warning.what == (
        'oil records are not read by this version, so that what rests on them is missing: "oil" in records; "oil"; '
        "oil planned in run-in-10, run-in-25, run-in-60, pulls, durability; the measure oil.iron"
    )
    assert "oil" not in {source.stream for source in program.records}
    assert program.strange == {"oil.iron": "mg/kg"}
    limit = next(each.limit for each in program.criteria if each.id == "of-oil")
    assert limit == 90
    assert loaded(programs, "oil") == []
    assert loaded(programs, "") == []


def test_a_covariate_of_a_stream_that_is_not_here(programs: Path) -> None:
    """Comparisons that were to be adjusted for it have no answer: without it they would be other ones."""
    path = programs / PROGRAM / "program.yaml"
    covariates = "covariates:\n  - {measure: buildsheet.gap, phase: cold-build, at: top}\n"
    path.write_text(
        path.read_text().replace("  worth_finding", f"  {covariates.replace(chr(10), chr(10) + '  ')}worth_finding")
    )
    (program,) = folder_without(programs, "buildsheet").programs
    subject = Subject("leakdown.crankcase", "pulls")
    with pytest.raises(Refused, match="stream-not-here"):
        subjects.covariates(program, Entries(subject, (), (), (), (), ()), Book({}, ["leakdown.crankcase"]))


def folder_without(programs: Path, stream: str) -> Folder:
    here = [each for each in registry.STREAMS if each.name != stream]
    units = {m.id: m.unit for each in here for step in each.steps for m in step.gives}
    folder, problems = load(programs, measures=units, streams=[each.name for each in here], comparable=list(units))
    assert folder is not None, problems
    return folder
