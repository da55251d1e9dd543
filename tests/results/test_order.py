"""The dependency rule: order follows from the declarations, and a step sees only what it declared."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterable, Mapping
from pathlib import Path

import pandas as pd
import pytest

from sitegen import registry, workflow
from sitegen.declarations import Step, in_order
from sitegen.results.run import analyse
from sitegen.tables.rows import rows_in, rows_of
from sitegen.vocabulary import Book, Key, Measure, Readings, ReadingsBook, Result, Value


def measure(name: str) -> Measure:
    return Measure(name, name, "1", "", "", "", "")


def idle(program: object, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    del program, engine, readings, book
    return ()


def step(name: str, gives: str, *needs: str) -> Step:
    return Step(name=name, gives=(measure(gives),), run=idle, needs=needs)


def test_a_step_comes_after_what_it_needs() -> None:
    ordered = in_order([step("c", "m.c", "m.b"), step("a", "m.a"), step("b", "m.b", "m.a")])
    assert [each.name for each in ordered] == ["a", "b", "c"]


def test_two_steps_may_not_give_the_same_measure() -> None:
    with pytest.raises(ValueError, match=r"m\.a is given by a and by b"):
        in_order([step("a", "m.a"), step("b", "m.a")])


def test_a_need_nobody_gives_is_named() -> None:
    with pytest.raises(ValueError, match=r"step a needs m\.nowhere, which no step gives"):
        in_order([step("a", "m.a", "m.nowhere")])


def test_an_undeclared_measure_cannot_be_read() -> None:
    key = Key("B1", 1)
    book = Book({("m.a", key): Value("m.a", key, 1.0), ("m.b", key): Value("m.b", key, 2.0)}, needs=("m.a",))
    assert [value.value for value in book.of("m.a")] == [1.0]
    with pytest.raises(LookupError, match=r"m\.b is read but not declared"):
        book.get("m.b", key)
    with pytest.raises(LookupError, match=r"m\.b is read but not declared"):
        book.of("m.b")


def test_an_undeclared_stream_cannot_be_read() -> None:
    readings = ReadingsBook({"one": Readings(pd.DataFrame()), "two": Readings(pd.DataFrame())}, reads=("one",))
    assert list(readings) == ["one"]
    with pytest.raises(LookupError, match="stream two is read but not declared"):
        readings["two"]


class Placed:
    """What rows are told by here."""

    reading: str
    engine: str


@pytest.mark.parametrize("name", ["every-key", "surfaces", "oil", "table-forms", "run-logs"])
def test_rows_parted_with_the_readings_are_those_of_the_build(name: str) -> None:
    """Rows are made once a program: a step of a build is given its own, cell by cell those of its frame."""
    evidence = workflow.examine(Path(__file__).parents[1] / "accepted" / name).evidence[0]
    streams = [stream.name for stream in registry.STREAMS]
    seen: dict[str, dict[str, Readings]] = {}

    def look(program: object, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
        del program, book
        seen[engine] = dict(readings)
        return ()

    analyse(evidence, [], [Step("look", (measure("m.a"),), look, reads=tuple(streams))])
    assert set(seen) == {build.id for build in evidence.program.builds}
    assert len(seen) > 1
    compared = 0
    for stream in streams:
        whole = evidence.readings[stream].frame
        for engine, readings in seen.items():
            own = readings[stream]
            assert own.rows is not None
            rows = rows_in(own, Placed)
            assert {row.engine for row in rows} <= {engine}
            assert len(rows) == (whole["engine"] == engine).sum()
            assert list(map(repr, rows)) == list(map(repr, rows_of(own.frame, Placed)))  # every column, not those named
            compared += len(rows)
    assert compared


def test_the_order_is_the_same_under_any_hash_seed() -> None:
    code = "from sitegen import declarations as d, registry; print([s.name for s in d.in_order(registry.steps())])"
    printed = {
        subprocess.run(
            [sys.executable, "-c", code],
            env={**os.environ, "PYTHONHASHSEED": seed},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for seed in ("0", "1", "4242")
    }
    assert len(printed) == 1


def test_every_measure_of_the_registry_is_explained() -> None:
    for each in registry.measures().values():
        assert each.title, each.id
        assert each.method.endswith("."), each.id
        assert each.formula, each.id
        assert each.source, each.id
