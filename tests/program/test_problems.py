"""The two reports."""

from __future__ import annotations

import json

from sitegen.problems import SHOWN_PER_FILE, as_json, as_text, listed, nearest, shown
from sitegen.vocabulary import Problem

MANY = [
    Problem("b/program.yaml", 2, 3, "unknown-key", "the key is not known", "title or question", "title", "rename it"),
    Problem(
        "a.csv", 7, code="set-aside", what="the pressure is above the supply", column_name="Gauge", level="warning"
    ),
    Problem("a/program.yaml", 10, 1, "x", "last"),
    Problem("a/program.yaml", 9, 4, "x", "first"),
    Problem("a/program.yaml", 9, 4, "x", "first"),
]


def test_text() -> None:
    assert as_text(MANY) == (
        "a/program.yaml:9:4: first.\n"
        "a/program.yaml:10:1: last.\n"
        "b/program.yaml:2:3: the key is not known. Expected title or question. Nearest: title. Next: rename it.\n"
        'a.csv:7: warning: column "Gauge": the pressure is above the supply.\n'
        "3 errors, 1 warning."
    )
    assert as_text([]) == "No problems."


def test_json() -> None:
    report = json.loads(as_json(MANY))
    assert report["format"] == 1
    assert report["counts"] == {"errors": 3, "warnings": 1}
    assert [each["file"] for each in report["problems"]] == [
        "a.csv",
        "a/program.yaml",
        "a/program.yaml",
        "b/program.yaml",
    ]
    assert report["problems"][3]["nearest"] == "title"
    assert set(report["problems"][0]) == set(Problem.__dataclass_fields__)


def test_what_is_said_alike_of_many_rows_is_said_once() -> None:
    many = [Problem("r.csv", n, 1, "x", "no id", level="warning") for n in (9, 3, 5, 7)]
    few = [Problem("r.csv", n, 1, "y", "no date", level="warning") for n in (4, 8)]
    assert as_text([*many, *few]).splitlines() == [
        "r.csv:3:1: warning: no id. The same in 3 further lines: 5, 7, 9.",
        "r.csv:4:1: warning: no date.",
        "r.csv:8:1: warning: no date.",
        "0 errors, 6 warnings.",
    ]


def test_very_many_are_counted_not_lost() -> None:
    found = [Problem("p.yaml", n + 1, 1, "x", f"wrong {n}") for n in range(SHOWN_PER_FILE + 23)]
    lines = as_text(found).splitlines()
    assert lines[-2:] == ["p.yaml: and 23 further errors.", f"{SHOWN_PER_FILE + 23} errors, 0 warnings."]
    assert len(json.loads(as_json(found))["problems"]) == SHOWN_PER_FILE + 23


def test_nothing_of_a_file_steers_the_terminal() -> None:
    nasty = "a\x1b[2Jb\nc\u202ed\ud800"
    said = as_text([Problem(nasty, 1, 1, "x", f"the key {nasty}")])
    assert said.isascii()
    assert len(said.splitlines()) == 2
    as_json([Problem(nasty, 1, 1, "x", nasty)]).encode("utf-8")


def test_nearest() -> None:
    assert nearest("Titel", ["title", "question"]) == "title"
    assert nearest("b1", ["B1", "B2"]) == "B1"
    assert nearest("zzz", ["title"]) == ""
    assert nearest("", ["title"]) == ""
    assert nearest("x" * 100_000, ["x" * 99_999]) == ""


def test_listed_and_shown() -> None:
    assert listed([]) == "nothing"
    assert listed(["a", "b"]) == "a or b"
    assert listed(map(str, range(20))).endswith("(and 8 more)")
    assert len(shown("x" * 1000)) == 80
