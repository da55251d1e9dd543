"""Logs in workbooks and in Parquet files: the same rows give the same log."""

from __future__ import annotations

import datetime as dt
import io
import math
import sys
import zipfile
from dataclasses import astuple
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from openpyxl import Workbook

from logs.house import Folder, codes, means, told
from sitegen.logs.reading import LogFile
from sitegen.program.model import Address, LogTime

CLOCK = LogTime("clock", (Address("Stamp"),))
RPM = math.pi / 30


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    return Folder(tmp_path)


def workbook(*rows: Any, sheets: tuple[str, ...] = ("Log",)) -> bytes:
    """A workbook whose first worksheet has these rows."""
    book = Workbook(write_only=True)
    for name in sheets:
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(row)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def parquet(path: Path, **columns: Any) -> bytes:
    pq.write_table(pa.table(columns), path / "made", row_group_size=3000)
    return (path / "made").read_bytes()


def same(one: LogFile, other: LogFile) -> None:
    assert (one.rows, one.used, one.seconds, one.step, one.gaps) == (
        other.rows, other.used, other.seconds, other.step, other.gaps
    )  # fmt: skip
    pd.testing.assert_frame_equal(one.bins, other.bins)
    assert one.revolutions == pytest.approx(other.revolutions)
    assert one.energy == pytest.approx(other.energy, nan_ok=True)
    assert list(one.facts) == list(other.facts)
    for mine, theirs in zip(one.facts.values(), other.facts.values(), strict=True):
        assert astuple(mine) == pytest.approx(astuple(theirs), rel=1e-9)


def test_three_forms_of_one_log(folder: Folder) -> None:
    """More rows than are taken at a time."""
    rng = np.random.default_rng(20260301)
    t, n, md = np.arange(20_000) / 10, rng.normal(1800, 20, 20_000).round(1), rng.normal(140, 2, 20_000).round(2)
    rows = [("Time", "n", "Md"), *zip(t.tolist(), n.tolist(), md.tolist(), strict=True)]
    text = "".join(",".join(map(str, row)) + "\n" for row in rows)
    plain = folder.read(text, "speed", "torque")
    same(folder.read(workbook(*rows), "speed", "torque", name="run.xlsx"), plain)
    data = parquet(folder.path, Time=t, n=n, Md=md)
    same(folder.read(data, "speed", "torque", name="run.parquet"), plain)


def test_workbook_with_stamps(folder: Folder) -> None:
    """Midnight is written as a date alone; seconds have tenths; a cell in error is missing."""
    begin = dt.datetime(2026, 2, 12, 23, 59, 59)  # noqa: DTZ001 # a stamp of a log is local
    stamps = [begin + dt.timedelta(seconds=i / 2) for i in range(6)]
    cells = [900, 910, 920, "#N/A", 940, 950]
    data = workbook(("cell north",), ("Stamp", "n"), *zip(stamps, cells, strict=True))
    found = folder.read(data, name="run.xlsx", skip_rows=1, time=CLOCK)
    assert (found.start, found.seconds) == ("2026-02-12T23:59:59", 2.5)
    assert means(found) == [float(f"{each * RPM:.6g}") for each in (905, 920, 945)]
    assert told(found) == [
        'pump/run.xlsx:6: warning: column "n": "#N/A": it is not a finite number. Expected a number. Next: correct '
        "the log, or leave them missing."
    ]


def test_workbook_with_date_and_time_of_day(folder: Folder) -> None:
    day, rows = dt.date(2026, 2, 12), [dt.time(8, 30, second) for second in range(3)]
    data = workbook(("Date", "Time", "n"), *((day, each, 900) for each in rows))
    found = folder.read(data, name="run.xlsx", time=LogTime("date-and-time", (Address("Date"), Address("Time"))))
    assert (found.start, found.seconds) == ("2026-02-12T08:30:00", 2.0)


def test_workbook_rows_and_sheets(folder: Folder) -> None:
    data = workbook(("Time", "n"), (0, 900), (1, 901), (), (2, 902), sheets=("A", "B"))
    assert codes(folder.read(data, name="run.xlsx")) == ["worksheet-unstated"]
    found = folder.read(data, name="run.xlsx", sheet="B")
    assert (found.rows, found.encoding, found.problems) == (3, 'worksheet "B"', ())
    beside = folder.read(workbook(("Time", "n"), (0, 900), (1, 901, "started")), name="run.xlsx")
    assert codes(beside) == ["more-fields-than-header"]


def test_workbook_header_elsewhere(folder: Folder) -> None:
    content = workbook(("cell north",), ("Time", "n"), (0, 900))
    found = folder.read(content, name="run.xlsx")
    assert (told(found), found.rows, found.notes) == ([], 1, ("headers in row 2",))
    found = folder.read(content, name="run.xlsx", skip_rows=0)
    assert told(found)[0].startswith("pump/run.xlsx:1: this is not the row of headers: that is row 2.")


@pytest.mark.parametrize(
    "data",
    [b"Time,n\n0,900\n", b"PK\x03\x04", workbook(("Time", "n"))[:-900]],
    ids=["text", "head", "cut"],  # the archive holds the time of day, which processes of one test run differ in
)
def test_broken_workbooks(folder: Folder, data: bytes) -> None:
    found = folder.read(data, name="run.xlsx")
    assert codes(found) in (["name-and-content"], ["workbook-broken"])


def test_a_fault_of_ours_is_no_broken_workbook(folder: Folder, monkeypatch: pytest.MonkeyPatch) -> None:
    def wrong(*_: object) -> None:
        raise ValueError("ours")

    monkeypatch.setattr("sitegen.logs.reading._Reader.take", wrong)
    with pytest.raises(ValueError, match="ours"):
        folder.read(workbook(("Time", "n"), (0, 900)), name="run.xlsx")


def test_parquet_with_stamps_texts_and_nulls(folder: Folder) -> None:
    begin = dt.datetime(2026, 2, 12, 8, 30)  # noqa: DTZ001
    columns: dict[str, Any] = {
        "Stamp": [begin + dt.timedelta(milliseconds=500 * i) for i in range(6)],
        "n": pa.array([900, 910, None, 930, 940, 950], pa.int32()),
        "Md": ["1.5", "2.5", "*.***", "", "5.5", "6.5"],
        "other": [[1]] * 6,
    }
    found = folder.read(parquet(folder.path, **columns), "speed", "torque", name="run.parquet", time=CLOCK)
    assert found.start == "2026-02-12T08:30:00"
    assert (found.facts["speed"].missing, found.facts["torque"].missing) == (1, 2)
    assert codes(found) == ["overflow"]
    assert means(found, "torque") == [2.0, None, 6.0]


def test_a_row_of_parquet_with_something_written_in_it_is_a_row(folder: Folder) -> None:
    """Texts that are no number, and infinity, are told and set aside; a row with nothing in it is none."""
    columns: dict[str, Any] = {
        "Time": ["nan", "1", "2", None, "  ", "5"],
        "n": ["twelve", "900", "910", None, "", "950"],
        "Md": pa.array([None, 1.0, float("inf"), None, None, 3.0]),
    }
    found = folder.read(parquet(folder.path, **columns), "speed", "torque", name="run.parquet")
    assert (found.rows, found.used, found.idle) == (4, 3, 2)
    assert codes(found) == ["not-a-number", "not-finite", "not-finite"]


def test_parquet_of_no_numbers(folder: Folder) -> None:
    found = folder.read(parquet(folder.path, Time=[0.0], n=[True]), name="run.parquet")
    assert told(found) == ['pump/run.parquet: column "n": the column holds bool, not numbers. Expected numbers.']


def test_broken_parquet(folder: Folder) -> None:
    data = parquet(folder.path, Time=[0.0], n=[900.0])
    assert codes(folder.read(data[:-20], name="run.parquet")) == ["parquet-broken"]
    assert codes(folder.read(b"Time,n\n0,1\n", name="run.parquet")) == ["name-and-content"]


def test_parquet_is_an_extra(folder: Folder, monkeypatch: pytest.MonkeyPatch) -> None:
    data = parquet(folder.path, Time=[0.0], n=[900.0])
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    assert codes(folder.read(data, name="run.parquet")) == ["parquet-not-installed"]


def test_a_pyarrow_that_fails_to_load_is_told(folder: Folder, monkeypatch: pytest.MonkeyPatch) -> None:
    """As one built for another numpy does. Logs as text, which it would only read faster, are read without it."""
    data = parquet(folder.path, Time=[0.0], n=[900.0])
    text = "Time,n\n0,900\n1,901\n2,902\n"
    well = folder.read(text)
    for name in [each for each in sys.modules if each.partition(".")[0] == "pyarrow"]:
        monkeypatch.delitem(sys.modules, name)
    (folder.path / "broken" / "pyarrow").mkdir(parents=True)
    (folder.path / "broken" / "pyarrow" / "__init__.py").write_text('raise ImportError("pyarrow requires NumPy 2.0")\n')
    monkeypatch.syspath_prepend(folder.path / "broken")
    assert told(folder.read(data, name="run.parquet")) == [
        "pump/run.parquet: reading Parquet needs the package pyarrow, which cannot be loaded: pyarrow requires NumPy "
        "2.0. Expected the optional extra `parquet`. Next: run: pip install --upgrade 'sitegen[parquet]'."
    ]
    found = folder.read(text)
    assert found.problems == ()
    pd.testing.assert_frame_equal(found.bins, well.bins)


def test_archive_that_unpacks_too_large(folder: Folder, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sitegen.reader.workbook.UNPACKED_LIMIT", 1000)
    data = workbook(("Time", "n"), (0, 900))
    assert zipfile.is_zipfile(io.BytesIO(data))
    assert codes(folder.read(data, name="run.xlsx")) == ["file-too-big"]
