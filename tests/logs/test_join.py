"""Several files of one phase become one log."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from logs.house import Folder
from sitegen.logs.join import Log, join
from sitegen.logs.reading import LogFile
from sitegen.program.model import Address, LogTime

CLOCK = LogTime("clock", (Address("Stamp"),))
RPM = math.pi / 30


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    return Folder(tmp_path)


def elapsed(folder: Folder, name: str, times: range, speed: float, extra: str = "") -> LogFile:
    return folder.read("Time,n\n" + "".join(f"{t},{speed}\n" for t in times) + extra, name=name)


def stamped(folder: Folder, name: str, minute: int, speed: float) -> LogFile:
    text = "".join(f"2026-02-12 08:{minute:02d}:{second:02d},{speed}\n" for second in range(60))
    return folder.read("Stamp,n\n" + text, name=name, time=CLOCK)


def one(*files: LogFile) -> Log:
    log, problems = join(files)
    assert problems == []
    assert log is not None
    return log


def test_one_file(folder: Folder) -> None:
    file = elapsed(folder, "a.csv", range(61), 600)
    log = one(file)
    assert log.bins.equals(file.bins)
    assert np.shares_memory(log.bins["speed.low"], log.bins["speed"])  # a sample a bin: no extremes of their own
    assert (log.seconds, log.channels, log.rows, log.used) == (60.0, ("speed",), 61, 61)
    assert (log.revolutions, log.running_seconds) == pytest.approx((600, 60))


def test_stamps_say_the_order(folder: Folder) -> None:
    later, first = stamped(folder, "a.csv", 40, 1200), stamped(folder, "b.csv", 30, 600)
    log = one(later, first)
    assert [each.file for each in log.files] == ["pump/b.csv", "pump/a.csv"]
    assert log.offsets == (0.0, 600.0)
    assert log.gaps == ((59.0, 600.0),)
    assert log.seconds == 659.0
    speed = log.bins["speed"].to_numpy() / RPM
    assert speed[[0, 59, 600, 659]] == pytest.approx([600, 600, 1200, 1200])
    assert np.isnan(speed[60:600]).all()
    assert log.start == "2026-02-12T08:30:00"
    assert log.revolutions == pytest.approx(59 * 10 + 59 * 20)
    assert log.facts["speed"].mean == pytest.approx(900 * RPM)
    assert log.facts["speed"].at_low == pytest.approx(0.5)


def test_elapsed_from_zero_in_each(folder: Folder) -> None:
    log = one(elapsed(folder, "a.csv", range(10), 600), elapsed(folder, "b.csv", range(20), 1200))
    assert log.offsets == (0.0, 10.0)
    assert log.bins["speed"].notna().all()
    assert log.seconds == 29.0
    assert log.gaps == ()
    assert log.revolutions == pytest.approx(9 * 10 + 15 + 19 * 20)  # the second between the two counts
    assert log.running_seconds == 29.0


def test_elapsed_that_goes_on(folder: Folder) -> None:
    log = one(elapsed(folder, "a.csv", range(100), 600), elapsed(folder, "b.csv", range(160, 200), 1200))
    assert log.offsets == (0.0, 160.0)
    assert log.gaps == ((99.0, 160.0),)


@pytest.mark.parametrize("minute", [30, 29])
def test_overlapping_stamps(folder: Folder, minute: int) -> None:
    text = "".join(f"2026-02-12 08:{minute:02d}:{second:02d},900\n" for second in range(5, 60))
    text += "2026-02-12 08:30:10,900\n" if minute == 29 else ""
    log, problems = join([stamped(folder, "a.csv", 30, 600), folder.read("Stamp,n\n" + text, name="b.csv", time=CLOCK)])
    assert log is None
    assert [each.code for each in problems] == ["logs-overlap"]
    assert problems[0].file == ("pump/b.csv" if minute == 30 else "pump/a.csv")


def test_overlapping_elapsed(folder: Folder) -> None:
    log, problems = join([elapsed(folder, "a.csv", range(100), 600), elapsed(folder, "b.csv", range(50, 150), 1200)])
    assert log is None
    assert problems[0].what == "it begins 49 s before pump/a.csv ends"


def test_a_copy_counts_once_and_is_told(folder: Folder) -> None:
    noisy = [folder.read("Time,n\n" + "".join(f"{t},{600 + t * 7 % 20}\n" for t in range(100)), name=name)
             for name in ("a.csv", "b.csv")]  # fmt: skip
    log, problems = join(noisy)
    assert log is None
    assert [(each.code, each.file) for each in problems] == [("same-file", "pump/b.csv")]
    steady = [elapsed(folder, name, range(100), 600) for name in ("a.csv", "b.csv")]
    assert one(*steady).rows == 200  # a speed that stood still may have done so twice


def test_stamps_beside_elapsed_time(folder: Folder) -> None:
    log, problems = join([stamped(folder, "a.csv", 30, 600), elapsed(folder, "b.csv", range(100), 600)])
    assert log is None
    assert [each.code for each in problems] == ["logs-without-order"]


def test_files_that_cannot_be_used_are_left_out(folder: Folder) -> None:
    bad = elapsed(folder, "b.csv", range(20), 900, "9,900\n")
    assert not bad.usable
    assert join([bad]) == (None, [])
    assert one(bad, elapsed(folder, "a.csv", range(10), 600)).rows == 10


def test_bins_of_two_widths(folder: Folder, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sitegen.logs.bins.MOST", 64)
    short, long = elapsed(folder, "a.csv", range(33), 600), elapsed(folder, "b.csv", range(100), 1200)
    assert (short.width, long.width) == (1.0, 2.0)
    log = one(short, long)
    assert log.width == 4.0
    assert len(log.bins) <= 64
    speed = log.bins["speed"].to_numpy() / RPM
    assert speed[:8] == pytest.approx([600] * 8)
    assert speed[9:] == pytest.approx([1200] * (len(speed) - 9))
    assert (log.bins["t"].to_numpy() == np.arange(len(log.bins)) * 4.0).all()


def test_channels_of_one_file_only(folder: Folder) -> None:
    both = folder.read("Time,n,Md\n0,600,5\n1,600,5\n", "speed", "torque", name="a.csv")
    log = one(both, elapsed(folder, "b.csv", range(5), 600))
    assert math.isnan(log.energy)
    assert log.bins["torque"].notna().sum() == 2
    assert log.facts["torque"].n == 2
