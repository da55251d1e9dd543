"""What `look` asks of words it does not know, and which pattern it names."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
import yaml
from house import ROOT

from sitegen import registry, workflow
from sitegen.looking import entries
from sitegen.problems import line_of

TABLE = """\
Build,Check,Cylinder,Tester,Supply [psig],Pressure [psig],Crank,Locked
B1,Einbau,1,Gerät 1,80,72,OT,ja
B1,Abschluss,1,Gerät 2,80,74,oben,ja
B2,Abschluss,1,Gerät 1,80,71,tdc,vielleicht
"""


@pytest.fixture
def home(tmp_path: Path) -> Path:
    programs = Path(shutil.copytree(ROOT / "tests" / "accepted" / "own-words", tmp_path / "programs"))
    (programs / "pump" / "records" / "rest.csv").write_text(TABLE, encoding="utf-8")
    return programs / "pump"


def proposal(home: Path, file: str, kind: str) -> str:
    text, refused = entries.report(home / file, kind, registry.STREAMS)
    assert not refused
    begin = text.index("    - file:")
    return text[begin : text.index("\n\n", begin)]


def test_words_that_nobody_explained_are_asked_about(home: Path) -> None:
    """Of the words of the house and of the program nothing is asked."""
    text = proposal(home, "records/rest.csv", "leakdown")
    (entry,) = yaml.safe_load(text)
    assert entry["words"] == {
        "phase": {"Abschluss": "?"},
        "tester": {"Gerät 2": "?"},
        "crank": {"oben": "?"},
        "locked": {"vielleicht": "?"},
    }
    program = home / "program.yaml"
    begin = program.read_text(encoding="utf-8")
    program.write_text(begin.replace("  runlog:\n", f"{text}\n  runlog:\n"), encoding="utf-8")
    told = [line_of(each) for each in workflow.examine(home.parent).problems if each.level == "error"]
    assert len(told) == 4  # no proposal passes before it is answered
    assert all('is "?"' in each for each in told)
    answers = {"Abschluss": "pulls", "Gerät 2": "T1", "oben": "tdc", "vielleicht": '"no"'}
    for word, means in answers.items():
        text = text.replace(f'{word}: "?"', f"{word}: {means}").replace(f'"{word}": "?"', f'"{word}": {means}')
    program.write_text(begin.replace("  runlog:\n", f"{text}\n  runlog:\n"), encoding="utf-8")
    found = workflow.examine(home.parent)
    assert not found.blocked
    frame = found.evidence[0].readings["leakdown"].frame
    mine = frame[frame["file"] == "pump/records/rest.csv"]
    assert mine["phase"].tolist() == ["cold-build", "pulls", "pulls"]
    assert mine["tester"].tolist() == ["T1"] * 3
    assert mine["crank"].tolist() == ["tdc"] * 3
    assert mine["locked"].tolist() == ["yes", "yes", "no"]


@pytest.mark.parametrize(
    ("file", "kind", "pattern"),
    [
        ("logs/Motor 1 vier Züge 2.csv", "runlog", "logs/{engine} {phase} *.csv"),
        ("logs/b2 pulls.csv", "runlog", "logs/{engine} {phase}.csv"),
        ("records/B1/vier Züge.csv", "leakdown", "records/{engine}/{phase}.csv"),
        ("records/rest.csv", "leakdown", ""),
    ],
)
def test_the_pattern_of_files_named_alike(home: Path, file: str, kind: str, pattern: str) -> None:
    text = proposal(home, file, kind)
    assert ("# files:" in text) == bool(pattern)
    assert not pattern or f'# files: "{pattern}" in place of `file`' in text
