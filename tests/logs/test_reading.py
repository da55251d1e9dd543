"""Log files as instruments write them, made by hand: read to the same samples, or refused with place and reason."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sitegen.logs.join import join
from sitegen.logs.reading import LogFile, read_log
from sitegen.program.model import Address, LogChannel, LogSource, LogTime, Where

RPM = np.pi / 30
ELAPSED = LogTime("elapsed", (Address("Time"),), "s")
CLOCK = LogTime("clock", (Address("Stamp"),), date_order="day first")
SPEED, TORQUE = LogChannel("speed", Address("n"), "rpm"), LogChannel("torque", Address("Md"), "N m")


def source(time: LogTime | None = ELAPSED, **more: Any) -> LogSource:
    return LogSource("log.csv", Where("program.yaml"), "B1", "run-in", (SPEED, TORQUE), time, **more)


def read(folder: Path, text: str | bytes, of: LogSource | None = None, name: str = "log.csv") -> LogFile:
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_log(of or source(), path, f"p/{name}")


def speeds(found: LogFile) -> list[tuple[float, float]]:
    """Seconds and rpm of the bins that hold a sample."""
    assert found.usable, found.problems
    held = found.bins[found.bins["speed"].notna()]
    return [(float(t), round(float(x / RPM), 3)) for t, x in zip(held["t"], held["speed"], strict=True)]


THREE = [(0.0, 900.0), (1.0, 910.0), (2.0, 920.0)]


@pytest.mark.parametrize(
    ("text", "of"),
    [
        ("Time,n,Md\n0,900,20\n1,910,21\n2,920,22\n", source()),
        ("Time;n;Md\n0;900;20,5\n1;910;21,5\n2;920;22,5\n", source(decimal=",")),
        ("Time\tn\tMd\r\n0\t900\t20\r\n1\t910\t21\r\n2\t920\t22\r\n", source()),
        ("Time,n,Md\r0,900,20\r1,910,21\r2,920,22\r", source()),
        ("Time,n,Md\n0,900,20\n1,910,21\n2,920,22\n".encode("utf-16"), source()),
        (b"\xef\xbb\xbfTime,n,Md\n0,900,20\n1,910,21\n2,920,22\n", source()),
        ("Cell north\nrun of May\nTime,n,Md\n0,900,20\n1,910,21\n2,920,22\n", source(skip_rows=2)),
        ("Time,n,Md\ns,rpm,N m\n0,900,20\n1,910,21\n2,920,22\n", source(units_row=True)),
        ("Time,n,Md\n0,900,20\n1,910,21\nTime,n,Md\n2,920,22\n", source()),  # headers again in mid-file
        ("Time,n,Md\n0,900,20,\n1,910,21,\n2,920,22\n", source()),  # a trailing separator in some rows
        (
            "Stamp,n,Md\n01.05.2026 23:59:59,900,20\n02.05.2026 00:00:00,910,21\n02.05.2026 00:00:01,920,22\n",
            source(CLOCK),
        ),
        ("Stamp,n,Md\n23:59:59,900,20\n00:00:00,910,21\n00:00:01,920,22\n", source(replace(CLOCK, date_order=""))),
        (
            "Date,Clock,n,Md\n01.05.2026,23:59:59,900,20\n02.05.2026,00:00:00,910,21\n02.05.2026,00:00:01,920,22\n",
            source(LogTime("date-and-time", (Address("Date"), Address("Clock")), date_order="day first")),
        ),
        ("Time,n,Md\n0,900,20\n0.016666666667,910,21\n0.033333333333,920,22\n", source(replace(ELAPSED, unit="min"))),
        ("Time,n,Md\n100,900,20\n101,910,21\n0,920,22\n", source()),  # starts again at nought
    ],
)
def test_read_alike(tmp_path: Path, text: str | bytes, of: LogSource) -> None:
    assert speeds(read(tmp_path, text, of)) == THREE


def test_two_header_rows_are_joined(tmp_path: Path) -> None:
    of = replace(
        source(replace(ELAPSED, at=(Address("Time total"),)), header_rows=2),
        channels=(replace(SPEED, at=Address("n engine")), replace(TORQUE, at=Address("Md brake"))),
    )
    assert speeds(read(tmp_path, "Time,n,Md\ntotal,engine,brake\n0,900,20\n1,910,21\n2,920,22\n", of)) == THREE


def test_tenths_of_a_second(tmp_path: Path) -> None:
    text = "Stamp,n,Md\n01.05.2026 10:00:00.0,900,20\n01.05.2026 10:00:00.1,910,21\n01.05.2026 10:00:00.2,920,22\n"
    found = read(tmp_path, text, source(CLOCK))
    assert (found.step, found.seconds, found.facts["speed"].n) == (0.1, 0.2, 3)


def test_each_channel_at_its_own_rate(tmp_path: Path) -> None:
    """A row is not one instant: short columns are padded with empty fields."""
    of = replace(
        source(None),
        channels=(
            replace(SPEED, time=LogTime("elapsed", (Address("t n"),))),
            replace(TORQUE, time=LogTime("elapsed", (Address("t Md"),))),
        ),
    )
    found = read(tmp_path, "t n,n,t Md,Md\n0,900,0,20\n1,910,2,22\n2,920,,\n", of)
    assert speeds(found) == THREE
    assert (found.facts["torque"].n, found.facts["torque"].missing) == (2, 0)
    assert found.bins["torque"].tolist() == [20.0, 21.5, 22.0]  # between its samples a line, at the middle of the bin


@pytest.mark.parametrize(
    ("text", "of", "code", "line", "column", "level"),
    [
        ("Time,n,Md\n0,900,20,1\n1,910,21,1\n", source(), "more-fields-than-header", 2, "", "error"),
        ("Time,n,Md\n0,900,20\n1,910,21\n0.5,920,22\n", source(), "time-backwards", 4, "Time", "error"),
        ("Time,rpm,Md\n0,900,20\n", source(), "column-missing", 0, "", "error"),
        ("Time,n,Md\n0x,900,20\n1x,910,21\n", source(), "column-not-numbers", 2, "Time", "error"),
        ("Time;n;Md\n0;900;1.234.5\n1;910;1.234.6\n", source(), "dot-twice", 2, "Md", "error"),
        ("Time,n,Md\n0,900,20\n1,9x0,21\n2,920,22\n", source(), "not-a-number", 3, "n", "warning"),
        ("Time,n,Md\n0,900,20\n1,99000,21\n2,920,22\n", source(), "outside-limits", 3, "n", "warning"),
        ("Time,n,Md\n0,900,20\n1,910,21\n2,92", source(), "file-cut", 4, "", "warning"),
        ("Time,n,n\n0,900,20\n", replace(source(), channels=(SPEED,)), "column-ambiguous", 0, "", "error"),
        ("\n\n", source(), "log-empty", 0, "", "error"),
    ],
)
def test_told(tmp_path: Path, text: str, of: LogSource, code: str, line: int, column: str, level: str) -> None:
    found = read(tmp_path, text, of)
    assert [(each.code, each.line, each.column_name, each.level) for each in found.problems] == [
        (code, line, column, level)
    ]
    assert found.usable == (level == "warning")


def test_overflow_marks_are_missing_samples(tmp_path: Path) -> None:
    found = read(tmp_path, "Time,n,Md\n0,900,20\n1,*.*******,21\n2,920,22\n3,920,22\n4,920,22\n5,920,22\n")
    assert (found.facts["speed"].n, found.facts["speed"].missing) == (5, 1)
    assert [(each.code, each.level, each.line) for each in found.problems] == [("overflow", "warning", 3)]


def test_a_missing_file_is_a_problem_and_no_traceback(tmp_path: Path) -> None:
    found = read_log(source(), tmp_path / "nowhere.csv", "p/nowhere.csv")
    assert not found.usable


def test_files_of_a_phase_follow_each_other(tmp_path: Path) -> None:
    one = read(tmp_path, "Time,n,Md\n" + "".join(f"{t},900,20\n" for t in range(61)), name="a.csv")
    two = read(tmp_path, "Time,n,Md\n" + "".join(f"{t},900,20\n" for t in range(60)), name="b.csv")
    log, problems = join([one, two])
    assert problems == []
    assert log is not None
    assert log.seconds == 120
    assert log.revolutions == pytest.approx(900 * 2, rel=1e-9)  # two minutes at 900 a minute
    assert log.energy == pytest.approx(20 * 900 * RPM * 120, rel=1e-9)
    assert log.running_seconds == 120


def test_overlapping_files_are_told(tmp_path: Path) -> None:
    rows = "".join(f"01.05.2026 10:00:{t:02d},900,20\n" for t in range(30))
    late = "".join(f"01.05.2026 10:00:{t:02d},900,20\n" for t in range(20, 50))
    one = read(tmp_path, "Stamp,n,Md\n" + rows, source(CLOCK), "a.csv")
    two = read(tmp_path, "Stamp,n,Md\n" + late, source(CLOCK), "b.csv")
    log, problems = join([one, two])
    assert log is None
    assert [(each.code, each.file) for each in problems] == [("logs-overlap", "p/b.csv")]


def test_nothing_is_integrated_across_a_gap(tmp_path: Path) -> None:
    rows = [*range(61), *range(661, 722)]
    found = read(tmp_path, "Time,n,Md\n" + "".join(f"{t},900,20\n" for t in rows))
    log, _ = join([found])
    assert log is not None
    assert log.revolutions == pytest.approx(900 * 2, rel=1e-9)


def test_extremes_stay_in_their_bins(tmp_path: Path) -> None:
    rows = "".join(f"{t / 10},{3000 if t == 15 else 900},20\n" for t in range(40))
    log, _ = join([read(tmp_path, "Time,n,Md\n" + rows)])
    assert log is not None
    assert log.bins["speed.high"].max() / RPM == pytest.approx(3000)
    assert log.bins["speed"].iloc[1] / RPM == pytest.approx((9 * 900 + 3000) / 10)
