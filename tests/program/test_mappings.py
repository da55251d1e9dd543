"""What entries take from mappings: values as if written in them, places where they stand."""

from __future__ import annotations

from typing import Any

from sitegen.problems import Collector, Elsewhere
from sitegen.program.mappings import expanded
from sitegen.program.yamlfile import Document, parse

DEFINITIONS = """\
mappings:
  house: {decimal: ",", constants: {tester: T1, oil: dry}}
  both: {separator: tab}
"""
PROGRAM = """\
mappings:
  bench:
    mapping: house
    separator: semicolon
    constants: {oil: wet, crank: tdc}
    columns: {cylinder: Zyl, oil: {header: Ringe}}
  both: {separator: bar}
records:
  leakdown:
    - file: a.csv
      mapping: bench
      constants: {crank: bdc, repeat: 1}
      decimal: "."
    - {file: b.csv, mapping: both}
    - {file: c.csv}
"""


def documents() -> tuple[Document, Collector]:
    problems = Collector("pump/program.yaml")
    shared = parse(DEFINITIONS.encode(), Collector("definitions.yaml"))
    own = parse(PROGRAM.encode(), problems)
    assert own is not None
    return expanded(own, problems, shared), problems


def test_values_and_which_of_them_count() -> None:
    document, problems = documents()
    assert problems.found == []
    first, second, third = document.data["records"]["leakdown"]
    assert first == {
        "file": "a.csv",
        "mapping": "bench",
        "separator": "semicolon",
        "decimal": ".",
        "constants": {"tester": "T1", "oil": "wet", "crank": "bdc", "repeat": 1},
        "columns": {"cylinder": "Zyl", "oil": {"header": "Ringe"}},
    }
    assert second == {"file": "b.csv", "mapping": "both", "separator": "bar"}  # the program's own, not the house's
    assert third == {"file": "c.csv"}


def place(document: Document, *path: Any) -> tuple[str, int, int]:
    at = document.at(("records", "leakdown", 0, *path))
    return (at.file if isinstance(at, Elsewhere) else document.file), *at


def test_each_place_is_where_it_is_written() -> None:
    document, _ = documents()
    own, house = "pump/program.yaml", "definitions.yaml"
    assert place(document, "file") == (own, 10, 13)
    assert place(document, "separator") == (own, 4, 16)
    assert place(document, "decimal") == (own, 13, 16)
    assert place(document, "constants", "tester") == (house, 2, 45)
    assert place(document, "constants", "oil") == (own, 5, 22)
    assert place(document, "constants", "crank") == (own, 12, 26)
    assert place(document, "constants", "repeat") == (own, 12, 39)
    assert place(document, "columns", "oil", "header") == (own, 6, 44)
    assert document.text(("records", "leakdown", 0, "constants", "tester")) == "T1"


def test_without_mappings_nothing_changes() -> None:
    problems = Collector("p")
    own = parse(b"records: {leakdown: [{file: a.csv}]}", problems)
    assert own is not None
    assert expanded(own, problems) is own
