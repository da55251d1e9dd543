"""Whatever stands in a file: problems with positions, never an exception."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import yaml
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sitegen.problems import Collector, as_json, as_text, errors
from sitegen.program.folder import load
from sitegen.program.yamlfile import parse

SOURCE = Path(__file__).parent.parent / "accepted/every-key"
MEASURES = {"leakdown.crankcase": "mm2", "leakdown.percent": "%", "seating.to_lose": "mm2"}
FILES = ("definitions.yaml", "pump/program.yaml")
GOOD = {name: (SOURCE / name).read_bytes() for name in FILES}
OFTEN = settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return Path(shutil.copytree(SOURCE, tmp_path / "programs"))


def check(folder: Path, name: str, raw: bytes) -> None:
    (folder / name).write_bytes(raw)
    try:
        made, problems = load(folder, measures=MEASURES, streams=["buildsheet", "leakdown"])
    finally:
        (folder / name).write_bytes(GOOD[name])
    assert (made is None or bool(made.left)) == bool(errors(problems))
    lines = raw.count(b"\n") + raw.count(b"\r") + 2 + 3 * raw.count(b"\xc2\x85") + raw.count(b"\xe2\x80")
    for each in problems:
        assert each.code
        assert each.what
        assert 0 <= each.line <= lines or each.file != name
    assert as_text(problems).isprintable() or "\n" in as_text(problems)
    as_json(problems).encode("utf-8")


@given(st.sampled_from(FILES), st.binary(max_size=200))
@OFTEN
def test_any_bytes(folder: Path, name: str, raw: bytes) -> None:
    check(folder, name, raw)


@given(
    st.sampled_from(FILES),
    st.text(alphabet=st.sampled_from("ab:-[]{},&*!|>'\"%@`#?~ \n\t\\x1.e0\x85\u2028é"), max_size=120),
)
@OFTEN
def test_any_text_made_of_marks(folder: Path, name: str, text: str) -> None:
    check(folder, name, text.encode())


@given(st.sampled_from(FILES), st.data())
@OFTEN
def test_a_good_file_with_bytes_changed(folder: Path, name: str, data: st.DataObject) -> None:
    raw = GOOD[name]
    for _ in range(data.draw(st.integers(1, 3))):
        start = data.draw(st.integers(0, len(raw)))
        end = data.draw(st.integers(start, min(start + 40, len(raw))))
        raw = (
            raw[:start]
            + data.draw(st.binary(max_size=6) | st.sampled_from([b"\n", b": ", b"- ", b"{", b"]"]))
            + raw[end:]
        )
    check(folder, name, raw)


def places(value: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    yield path
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, each in inner:
        yield from places(each, (*path, key))


def values(name: str) -> Any:
    document = parse(GOOD[name], Collector(name))
    assert document is not None
    return document.data


PARTS = {name: values(name) for name in FILES}
PATHS = {name: [path for path in places(value) if path] for name, value in PARTS.items()}
ODD = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(10**20), 10**20)
    | st.floats()
    | st.text(max_size=12)
    | st.sampled_from(["80 psi", "1e999 mm", "-3 mm", "2026-02-30", "all", "B1", "pulls", "..", "/", "con", "T1", "0"]),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=6), inner, max_size=3),
    max_leaves=6,
)


@given(st.sampled_from(FILES), st.data())
@OFTEN
def test_a_good_file_with_values_changed(folder: Path, name: str, data: st.DataObject) -> None:
    value = values(name)
    for _ in range(data.draw(st.integers(1, 3))):
        *path, last = data.draw(st.sampled_from(PATHS[name]))
        here = value
        try:
            for step in path:
                here = here[step]
            if data.draw(st.booleans()):
                here[last] = data.draw(ODD)
            else:
                del here[last]
        except (KeyError, IndexError, TypeError):
            continue  # an earlier change took the place away
    check(folder, name, yaml.safe_dump(value, allow_unicode=True).encode("utf-8", "surrogatepass"))
