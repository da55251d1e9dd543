"""Columns of a log that are named by their place: repeated headers, numbers, letters, neighbours, times to the left."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from openpyxl import Workbook

from logs.house import Folder, codes, means, told
from sitegen.program.model import Address, LogTime

LEFT = LogTime("elapsed", (), "ms")
HEADER = ["Time", "T", "T", "T", "n"]
ROWS = [[i, 20 + i, 80, 90, 900 + i] for i in range(12)]


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    return Folder(tmp_path)


def text(header: list[str] = HEADER, rows: list[list[int]] = ROWS) -> str:
    return "\n".join([";".join(header), *(";".join(map(str, row)) for row in rows)]) + "\n"


def workbook() -> bytes:
    book = Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.append(HEADER)
    for row in ROWS:
        sheet.append(row)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def parquet() -> bytes:
    stream = io.BytesIO()
    columns = [pa.array([float(row[at]) for row in ROWS]) for at in range(len(HEADER))]
    pq.write_table(pa.table(columns, names=HEADER), stream)
    return stream.getvalue()


THIRD = {
    "which": Address("T", which=3),
    "number": Address(number=4),
    "number and header": Address("T", number=4),
    "left of a header": Address(left_of=Address("n")),
    "left of a number": Address("T", left_of=Address(number=5)),
}


@pytest.mark.parametrize("way", THIRD)
@pytest.mark.parametrize("form", ["csv", "xlsx", "parquet"])
def test_every_way_to_one_column(way: str, form: str, folder: Folder) -> None:
    content: str | bytes = text() if form == "csv" else workbook() if form == "xlsx" else parquet()
    wanted = ("oil_temperature", THIRD[way], "degC")
    found = folder.read(content, "speed", wanted, name=f"run.{form}")
    assert told(found) == []
    assert found.facts["oil_temperature"].mean == pytest.approx(90 + 273.15)
    assert found.unused == ("T, column 2 (B)", "T, column 3 (C)")


WRONG = {
    "by its name alone": (Address("T"), "column-ambiguous",
        '"T" stands over 3 columns, 2 (B), 3 (C) and 4 (D), of pump/run.csv. Expected one column. Next: say which, for '
        'the last of them: {header: "T", which: 3}, {number: 4}, {letter: D} or {left_of: "n"}.'),
    "one too many": (Address("T", which=4), "column-missing",
        '"T" stands over 3 columns, 2 (B), 3 (C) and 4 (D), of pump/run.csv; there is no number 4. Expected 1 to 3.'),
    "past the last": (Address(number=6), "column-missing",
        "pump/run.csv has 5 columns, and no column 6 (F). Expected 1 to 5."),
    "another header there": (Address("T", number=5), "column-contradicted",
        'column 5 (E) of pump/run.csv is headed "n", not "T". Expected the header of that column, or none. Nearest: '
        "column 2 (B), column 3 (C) or column 4 (D)."),
    "left of the first": (Address(left_of=Address("Time")), "column-missing",
        'nothing stands left of "Time", the first column of pump/run.csv. Expected a column with another to its left.'),
    "left of nothing": (Address(left_of=Address("Tmie")), "column-missing",
        'pump/run.csv has no column "Tmie". Expected a header of line 1. Nearest: Time.'),
    "one that is taken": (Address(number=5), "column-twice",
        'the column "n" of pump/run.csv is speed and oil_temperature. Expected one use a column.'),
}  # fmt: skip


@pytest.mark.parametrize("case", WRONG)
def test_refused(case: str, folder: Folder) -> None:
    address, code, said = WRONG[case]
    found = folder.read(text(), "speed", ("oil_temperature", address, "degC"))
    assert codes(found) == [code]
    assert said in told(found)[0]


def test_columns_without_headers_have_numbers(folder: Folder) -> None:
    found = folder.read("Time;;\n0;5;900\n1;6;910\n", ("speed", Address(number=3), "rpm"))
    assert told(found) == []
    assert found.facts["speed"].n == 2


# ---- a time to the left of each channel -----------------------------------------------------------------------------


def bench(rates: dict[str, float], seconds: int, name: str = "<t> [ms]") -> tuple[str, dict[str, pd.Series]]:
    """Channels at rates [s] of their own, each with its time [ms] to the left, the shorter padded with empty fields."""
    draw = np.random.default_rng(5)
    made = {
        each: pd.Series(np.round(50 + draw.normal(size=int(seconds / step)), 2), np.arange(0, seconds, step))
        for each, step in rates.items()
    }
    lines = [";".join(f"{name};{each}" for each in made)]
    for row in range(max(map(len, made.values()))):
        cells = [
            (f"{1000 * own.index[row]:.0f}", f"{own.iloc[row]:.2f}") if row < len(own) else ("", "")
            for own in made.values()
        ]
        lines.append(";".join(";".join(pair) for pair in cells))
    return "\n".join(lines) + "\n", made


def test_each_channel_at_its_own_rate(folder: Folder) -> None:
    """Means by second and sums against pandas, channel by channel."""
    content, made = bench({"n": 0.05, "Md": 0.1, "T": 1.0, "p": 20.0}, 120)
    found = folder.read(
        content, ("speed", "n", "rad/s"), ("torque", "Md", "N m"), ("oil_temperature", "T", "degC"),
        ("oil_pressure", "p", "Pa gauge"), time=LEFT,
    )  # fmt: skip
    assert (told(found), found.unused) == ([], ())
    assert (found.rows, found.used, found.step) == (2400, 2400, 0.05)  # the speed speaks for the file
    for name, channel in {"n": "speed", "Md": "torque"}.items():
        expected = made[name].groupby(np.rint(1000 * made[name].index.to_numpy()).astype(int) // 1000).mean()
        assert found.bins[channel].to_numpy() == pytest.approx(expected.to_numpy(), rel=1e-12)
    assert found.facts["oil_pressure"].n == 6
    assert found.facts["oil_pressure"].missing == 0
    assert found.seconds == pytest.approx(119.95)


BESIDE = {
    "its first column": ("n;Zeit\n900;0\n901;1\n", 'left of "n" in pump/run.csv stands nothing'),
    "in another unit": ("Temp. [°C];n\n20;900\n21;901\n", 'stands "Temp. [°C]" with 20, 21 in "°C"'),
    "no word of time": ("Temp.;n\n20;900\n21;901\n", 'stands "Temp." with 20, 21, and nothing says that it is a time'),
    "it falls": ("Zeit;n\n3;900\n2;901\n", 'stands "Zeit" with 3, 2, which does not rise'),
    "it stands still": ("Zeit;n\n3;900\n3;901\n", 'stands "Zeit" with 3, 3, which does not rise'),
    "words": ("Zeit;n\na;900\nb;901\n", 'stands "Zeit" with a, b: these are no numbers'),
}


@pytest.mark.parametrize("case", BESIDE)
def test_what_stands_left_and_is_no_time(case: str, folder: Folder) -> None:
    content, said = BESIDE[case]
    found = folder.read(content, time=LEFT)
    assert codes(found) == ["time-not-left"]
    assert said in told(found)[0]


def test_another_channel_to_the_left_is_no_time(folder: Folder) -> None:
    found = folder.read("t;n;Md\n0;1;1\n1;2;2\n", "speed", "torque", time=LEFT)
    assert codes(found) == ["time-not-left"]
    assert 'left of "Md" in pump/run.csv stands "n", which is speed' in told(found)[0]


def test_one_name_left_of_every_channel_is_that_of_a_time(folder: Folder) -> None:
    """No word and no unit says so, but nothing else stands there, and it rises."""
    found = folder.read("X;n;X;Md\n0;900;0;20\n1000;901;1000;21\n", "speed", "torque", time=LEFT)
    assert (told(found), found.seconds) == ([], 1.0)


def test_a_contradicted_unit_of_time_is_told(folder: Folder) -> None:
    content, _ = bench({"n": 1.0, "Md": 1.0}, 5, name="Zeit [s]")
    found = folder.read(content, "speed", "torque", time=LEFT)
    assert set(codes(found)) == {"unit-contradicted"}
    assert 'time is in "ms" here, but in "s" in the header of pump/run.csv' in told(found)[0]


def test_times_left_of_channels_that_nothing_reads_are_told(folder: Folder) -> None:
    """By the first time of the file the torque would lie 40 s early, and nothing else would show it."""
    first = LogTime("elapsed", (Address("Zeit [s]", which=1),), "s")
    content = "Zeit [s];n;Zeit [s];Md\n" + "".join(f"{i};900;{40 + i};20\n" for i in range(5))
    found = folder.read(content, "speed", "torque", time=first)
    assert (codes(found), found.usable) == (["time-passed-over"], True)
    (line,) = told(found)
    assert line.startswith("pump/program.yaml:90:7: warning:")
    assert '"Zeit [s], column 3 (C)" left of torque' in line
    assert "write `time: {left: true, unit: s}` in the record entry" in line
    left = LogTime("elapsed", (), "s")
    assert told(folder.read(content, "speed", "torque", time=left)) == []


def test_a_time_left_of_one_channel_is_proposed_for_it_alone(folder: Folder) -> None:
    content = "Time;n;Md;Zeit [min];T oil\n" + "".join(f"{i};900;20;{i};80\n" for i in range(5))
    (line,) = told(folder.read(content, "speed", "torque", "oil_temperature"))
    assert "write `time: {column: {number: 4}, unit: min}` in oil_temperature" in line


PASSED = {
    "the same time in minutes beside it": "Time;Elapsed [min];n\n0;0;900\n60;1;901\n",
    "hours of the engine": "Time;x;Hours run [h];n\n0;1;7;900\n60;1;8;901\n",
    "it does not rise": "Time;x;Zeit [s];n\n0;1;7;900\n60;1;6;901\n",
    "a temperature": "Time;x;t [°C];n\n0;1;7;900\n60;1;8;901\n",
}


@pytest.mark.parametrize("case", PASSED)
def test_what_stands_left_of_a_channel_and_is_not_its_time(case: str, folder: Folder) -> None:
    assert told(folder.read(PASSED[case])) == []


# ---- sections -------------------------------------------------------------------------------------------------------

PREAMBLE = "Bench;A7\nOperator;x\nSeen;08:00\n\n"


def section(begin: int, header: str = "Time;n;Md") -> str:
    return header + "\n" + "".join(f"{begin + i};{900 + i};20\n" for i in range(10))


def test_another_preamble_is_told_and_is_no_row(folder: Folder) -> None:
    found = folder.read(PREAMBLE + section(0) + PREAMBLE + section(10), "speed", "torque", skip_rows=4)
    assert (codes(found), found.rows, found.used) == (["section-begins"], 20, 20)
    assert found.problems[0].line == 16  # 4 of the first preamble, 1 of headers, 10 rows, and then it begins
    assert "(3 lines in all)" in found.problems[0].what
    assert means(found)[10:12] == [pytest.approx(94.2478, rel=1e-4), pytest.approx(94.3525, rel=1e-4)]


def test_a_section_that_starts_again_is_told_beside_it(folder: Folder) -> None:
    found = folder.read(PREAMBLE + section(0) + PREAMBLE + section(0), "speed", "torque", skip_rows=4)
    assert (set(codes(found)), found.rows) == ({"section-begins", "time-restarts"}, 20)


def test_headers_in_another_order_are_never_read_over(folder: Folder) -> None:
    found = folder.read(section(0) + PREAMBLE + section(10, "Time;Md;n"), "speed", "torque")
    assert codes(found) == ["headers-moved"]
    assert "with Time, Md, n where the first, in line 1, has Time, n, Md" in found.problems[0].what
    assert found.problems[0].line == 16
