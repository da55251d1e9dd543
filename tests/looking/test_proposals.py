"""Proposed entries, pasted: the tables and logs of the examples without their mapping are found to be what they are.

What a file cannot say ("?") is answered from the program file of the examples; everything else is the proposal's.
"""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
import yaml
from house import PROGRAMS, Analysed, copied

from sitegen import registry, workflow
from sitegen.cli import main
from sitegen.logs.reading import read_log
from sitegen.looking import entries, propose, seen
from sitegen.program.model import Program


class Plain(yaml.SafeLoader):
    """YAML as program files are read: `on`, `no` and dates are texts."""


Plain.yaml_implicit_resolvers = {
    first: [(tag, form) for tag, form in each if not tag.endswith((":bool", ":timestamp"))]
    for first, each in yaml.SafeLoader.yaml_implicit_resolvers.items()
}
Plain.add_implicit_resolver("tag:yaml.org,2002:bool", re.compile("true|false"), list("tf"))


def loaded(path: Path) -> Any:
    return yaml.load(path.read_text(encoding="utf-8"), Plain)  # noqa: S506 - a SafeLoader


STREAMS = {each.name: each for each in registry.STREAMS}
LONG = ("durability",)  # logs of hours: the same columns again


def proposed(program: Program, stream: str, file: str) -> dict[str, Any]:
    found = seen.look(Path(program.folder) / file, f"{program.id}/{file}")
    assert found.refused == ()
    fields = STREAMS[stream].fields
    made = propose.table(found, stream, fields, program, file) if fields else propose.log(found, program, file)
    (entry,) = yaml.safe_load(made.text())
    assert ("?" in yaml.safe_dump(entry)) == bool(made.open), file
    return dict(entry)


def answered(mine: Any, truth: Any) -> Any:
    """The proposal with each "?" replaced by what stands at its place in the program file, or taken out."""
    if isinstance(mine, dict) and isinstance(truth, dict):
        return {key: answered(value, truth.get(key)) for key, value in mine.items() if value != "?" or key in truth}
    if mine == "?":
        assert truth is not None
        return truth
    return mine


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The examples, every entry of their records replaced by the one proposed."""
    home = copied(tmp_path_factory.mktemp("proposed"))
    folder, problems = workflow.programs(home)
    assert folder is not None, problems
    for program in folder.programs:
        path = home / program.id / "program.yaml"
        document = loaded(path)
        for stream, listed in document["records"].items():
            for n, truth in enumerate(listed):
                if "file" not in truth or (stream == "runlog" and any(word in truth["file"] for word in LONG)):
                    continue
                mine = answered(proposed(program, stream, truth["file"]), truth)
                # what holds for the whole file but stands in no column of it, only its people know
                known = truth.get("constants", {})
                if known:
                    mine["constants"] = {**mine.get("constants", {}), **known}
                listed[n] = mine
        path.write_text(yaml.safe_dump(document, sort_keys=False, allow_unicode=True), encoding="utf-8")
    return home


def test_the_readings_are_the_same(home: Path, analysed: Analysed) -> None:
    """Every table of every stream: the same numbers, ids, words and dates, row by row."""
    ours, theirs = analysed.examination, workflow.examine(home)
    assert [each.what for each in theirs.problems] == [each.what for each in ours.problems]
    compared = 0
    for before, after in zip(ours.evidence, theirs.evidence, strict=True):
        for stream in registry.STREAMS:
            if stream.fields:
                mine, other = (each.readings[stream.name].frame for each in (before, after))
                key = ["file", "row", *[name for name in ("phase",) if name in mine]]
                pd.testing.assert_frame_equal(
                    mine.sort_values(key, ignore_index=True), other.sort_values(key, ignore_index=True)
                )
                compared += len(mine)
    assert compared > 1000


def test_the_logs_are_the_same(home: Path) -> None:
    """Every channel of every log: the same column, unit, meter and time; one log a build is read, to the same samples.

    The proposals say nothing of how the files are written: separators, decimal marks, rows of headers and of units,
    order of days are found as `look` found them.
    """
    ours, _ = workflow.programs(PROGRAMS)
    theirs, problems = workflow.programs(home)
    assert (problems, ours is None, theirs is None) == ([], False, False)
    assert ours is not None
    assert theirs is not None
    compared = 0
    read: set[str] = set()
    for before, after in zip(ours.programs, theirs.programs, strict=True):
        for mine, other in zip(before.logs, after.logs, strict=True):
            own = {c.name: (c.at, c.unit, c.meter, c.time) for c in mine.channels}
            assert {c.name: (c.at, c.unit, c.meter, c.time) for c in other.channels} == own, mine.file
            assert (other.engine, other.phase) == (mine.engine, mine.phase)
            stamped = mine.time if mine.time is None else replace(mine.time, date_order="")
            assert mine.time is None or other.time in {mine.time, stamped}
            said = (other.separator, other.decimal, other.skip_rows, other.header_rows, other.units_row)
            assert said == ("", "", None, None, None) or other is mine or "durability" in mine.file, mine.file
            compared += len(own)
            if mine.engine not in read and "durability" not in mine.file:
                read.add(mine.engine)
                found = [read_log(each, Path(before.folder) / mine.file) for each in (mine, other)]
                assert found[0].usable
                told = [(each.rows, each.start, each.facts) for each in found]
                assert told[0] == told[1]
                pd.testing.assert_frame_equal(found[0].bins, found[1].bins[found[0].bins.columns], check_exact=True)
    assert compared > 500
    assert len(read) > 6


def test_check_proposes_for_entries_without_columns(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A table with headers of its own and a log without channels: both are told and proposed, the others are not."""
    home = copied(tmp_path)
    path = home / "pump-rings-2026/program.yaml"
    document = loaded(path)
    table, log = document["records"]["leakdown"][1], document["records"]["runlog"][0]
    del table["columns"], log["channels"]
    path.write_text(yaml.safe_dump(document, sort_keys=False, allow_unicode=True), encoding="utf-8")
    assert main(["check", str(home)]) == 1
    said = capsys.readouterr().out
    assert said.count(": what is in it") == 2
    assert "pump-rings-2026/records/leakdown-b2.csv: what is in it" in said
    assert "numbers   a decimal comma, judged on all" in said
    assert 'supply: {header: Supply, unit: "?"}' in said
    assert "Proposed entry of runlog, in place of the one in line" in said
    assert 'speed: {header: "n", unit: "?"}' in said
    assert main(["check", "--format", "json", str(home)]) == 1
    assert "what is in it" not in capsys.readouterr().out


def test_what_is_open_is_refused_until_it_is_answered(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Pasted as it stands, each "?" is an error with its line; none is read as anything."""
    home = copied(tmp_path)
    folder, _ = workflow.programs(home)
    assert folder is not None
    program = next(each for each in folder.programs if each.id == "pump-rings-2026")
    entry = proposed(program, "leakdown", "records/leakdown-b1.csv")
    path = home / "pump-rings-2026/program.yaml"
    document = loaded(path)
    document["records"]["leakdown"][0] = entry
    path.write_text(yaml.safe_dump(document, sort_keys=False, allow_unicode=True), encoding="utf-8")
    assert main(["check", str(home)]) == 1
    said = capsys.readouterr().out
    units = yaml.safe_dump(entry).count("unit: '?'")
    headers = [name for name, column in entry["columns"].items() if column == "?"]
    assert said.count('"?" is not a known unit') == units > 3
    assert {"metal_temperature", "air_temperature", "to_crankcase", "to_exhaust", "to_intake"} <= set(headers)
    for column in entry["columns"].values():
        if isinstance(column, dict):
            column["unit"] = {"Since stop": "min", "Barometer": "kPa absolute"}.get(column["header"], "psig")
    path.write_text(yaml.safe_dump(document, sort_keys=False, allow_unicode=True), encoding="utf-8")
    assert main(["check", str(home)]) == 1
    said = capsys.readouterr().out
    assert f"{len(headers)} errors" in said  # what all of them have alike is told once, with their lines


def test_one_file_is_asked_for_by_itself(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Inside a program its ids count; elsewhere they stay open. Without a kind nothing is proposed."""
    inside = PROGRAMS / "pump-rings-2026/records/leakdown-b2.csv"
    assert main(["look", str(inside), "--as", "leakdown"]) == 0
    said = capsys.readouterr().out
    assert "- file: records/leakdown-b2.csv" in said
    assert "# by its name, and its cells are ids of builds" in said
    other = tmp_path / "gauges.csv"
    other.write_bytes(inside.read_bytes())
    assert main(["look", str(other), "--as", "leakdown"]) == 0
    assert "engine: Build" in capsys.readouterr().out
    assert main(["look", str(other)]) == 0
    assert "Say which kind of record it is (--as)" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "status", "said"),
    [
        (["nowhere.csv"], 1, "there is no such file"),
        (["gauges.csv", "--as", "leakdwn"], 2, "Nearest: leakdown."),
        (["empty.csv"], 1, "the file is empty"),
        (["photo.csv"], 1, "the control character U+0000 is no part of a text table"),
    ],
)
def test_wrong_use_and_files_that_cannot_be_read(
    arguments: list[str], status: int, said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    monkeypatch.chdir(tmp_path)
    Path("gauges.csv").write_text("a,b\n1,2\n")
    Path("empty.csv").write_bytes(b"")
    Path("photo.csv").write_bytes(b"a\0b")
    assert main(["look", *arguments]) == status
    told = capsys.readouterr().err
    assert said in told
    assert "Traceback" not in told


def test_entries_of_a_program_file_that_is_broken_elsewhere(tmp_path: Path) -> None:
    home = copied(tmp_path) / "pump-rings-2026"
    path = home / "program.yaml"
    path.write_text(path.read_text(encoding="utf-8").replace("supply: 80 psig", "supply: 80", 1), encoding="utf-8")
    assert entries.program_of(home) is not None  # a stand-in for the pressure; its builds and phases are there
    assert len(entries.entries(home)) > 30
    path.write_text("a: [", encoding="utf-8")
    assert (entries.program_of(home), entries.entries(home)) == (None, [])
