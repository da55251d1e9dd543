"""What logs of this trade look like, written by hand: each is read right, or refused with the reason."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from logs.house import SECONDS, Folder, codes, means, told
from sitegen.program.model import Address, LogTime

RPM = math.pi / 30  # rad/s in 1 rpm: 2 pi rad in 60 s
CLOCK = LogTime("clock", (Address("Stamp"),))
DAY_FIRST = LogTime("clock", (Address("Stamp"),), date_order="day first")


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    return Folder(tmp_path)


def rows(*values: object, start: float = 0, step: float = 1) -> str:
    return "".join(f"{start + i * step:g},{value}\n" for i, value in enumerate(values))


def rpm(*values: float | None) -> list[float | None]:
    return [None if value is None else float(f"{value * RPM:.6g}") for value in values]


# ---- time -----------------------------------------------------------------------------------------------------------


def test_elapsed(folder: Folder) -> None:
    found = folder.read("Time,n\n" + rows(900, 1000, 1100))
    assert means(found) == rpm(900, 1000, 1100)
    assert (found.rows, found.used, found.seconds, found.step, found.start) == (3, 3, 2.0, 1.0, "")
    assert found.problems == ()


@pytest.mark.parametrize(("unit", "step"), [("ms", 100), ("min", 0.1 / 60), ("h", 0.1 / 3600), ("s", 0.1)])
def test_tenths_of_seconds_in_any_unit(folder: Folder, unit: str, step: float) -> None:
    lines = "".join(f"{i * step:.10g},{600 + i}\n" for i in range(40))
    found = folder.read("Time,n\n" + lines, time=LogTime("elapsed", (Address("Time"),), unit))
    assert found.step == pytest.approx(0.1)
    assert means(found) == rpm(604.5, 614.5, 624.5, 634.5)  # ten samples a second, none slipped into the next
    low, high = (found.bins[f"speed.{end}"].to_numpy() / RPM for end in ("low", "high"))
    np.testing.assert_allclose(low, [600, 610, 620, 630])
    np.testing.assert_allclose(high, [609, 619, 629, 639])


@pytest.mark.parametrize(
    ("stamps", "time", "start"),
    [
        (("2026-02-12 08:30:00", "2026-02-12 08:30:01", "2026-02-12 08:30:02"), CLOCK, "2026-02-12T08:30:00"),
        (("2026-02-12T08:30:00Z", "2026-02-12T08:30:01Z", "2026-02-12T08:30:02Z"), CLOCK, "2026-02-12T08:30:00"),
        (("12.2.2026 8:30:00", "12.2.2026 8:30:01", "12.2.2026 8:30:02"), DAY_FIRST, "2026-02-12T08:30:00"),
        (("12.02.2026 08:30:00.5", "12.02.2026 08:30:01.5", "12.02.2026 08:30:02.5"), DAY_FIRST,
         "2026-02-12T08:30:00.5"),
        (("31.12.2026 23:59:59", "01.01.2027 00:00:00", "01.01.2027 00:00:01"), DAY_FIRST, "2026-12-31T23:59:59"),
        (("2/12/2026 11:59:59 PM", "2/13/2026 12:00:00 AM", "2/13/2026 12:00:01 AM"),
         LogTime("clock", (Address("Stamp"),), date_order="month first"), "2026-02-12T23:59:59"),
        (("23:59:59", "00:00:00", "00:00:01"), CLOCK, ""),  # a time of day alone, over midnight
        (("00:59:59", "01:00:00", "01:00:01"), CLOCK, ""),
        (("40:00:05", "40:00:06", "40:00:07"), CLOCK, ""),  # hours run
        (("2028-02-28 23:59:59", "2028-02-29 00:00:00", "2028-02-29 00:00:01"), CLOCK, "2028-02-28T23:59:59"),
        (("2026-03-29T01:59:59+01:00", "2026-03-29T03:00:00+02:00", "2026-03-29T03:00:01+02:00"), CLOCK,
         "2026-03-29T01:59:59"),  # summer time begins
    ],
)  # fmt: skip
def test_stamps(folder: Folder, stamps: tuple[str, ...], time: LogTime, start: str) -> None:
    lines = "".join(f"{stamp},{900 + 100 * i}\n" for i, stamp in enumerate(stamps))
    found = folder.read("Stamp,n\n" + lines, time=time)
    assert told(found) == []
    assert means(found) == rpm(900, 1000, 1100)
    assert (found.start, found.seconds) == (start, 2.0)


def test_stamps_of_several_lengths(folder: Folder) -> None:
    text = "Stamp,n\n2026-02-12 9:59:59,900\n2026-02-12 9:59:59.5,1000\n2026-02-12 10:00:00,1100\n"
    assert means(folder.read(text, time=CLOCK)) == rpm(950, 1100)


@pytest.mark.parametrize("time", ["8:30:00", "2026-01-01T08:30:00"])
def test_date_and_time_in_two_columns(folder: Folder, time: str) -> None:
    """Workbooks put a date before each time, and a midnight after each date, when they are exported."""
    text = f"Date,Time,n\n12.02.2026 00:00:00,{time},900\n12.02.2026 00:00:00,8:30:01,1000\n"
    found = folder.read(text, time=LogTime("date-and-time", (Address("Date"), Address("Time")), date_order="day first"))
    assert (found.start, means(found)) == ("2026-02-12T08:30:00", rpm(900, 1000))


def test_order_of_dates_nobody_stated(folder: Folder) -> None:
    found = folder.read("Stamp,n\n01.02.2026 08:30:00,900\n01.02.2026 08:30:01,900\n", time=CLOCK)
    assert not found.usable
    assert told(found) == [
        'pump/run.csv:2: column "Stamp": "01.02.2026 08:30:00" has its day and month in an order nobody stated; 2 '
        "stamps are like it. Expected stamps such as 2026-05-14 08:30:00, or with the day first as 14.05.2026 "
        "08:30:00.5. Next: write `date_order: day first` or `date_order: month first` beside the time in the record "
        "entry."
    ]


def test_a_bad_stamp_costs_its_row(folder: Folder) -> None:
    lines = [f"2026-02-12 08:30:{i:02d},900\n" for i in range(8)]
    lines[3] = "2026-02-30 08:30:03,900\n"
    lines[5] = ",900\n"
    found = folder.read("Stamp,n\n" + "".join(lines), time=CLOCK)
    assert (found.rows, found.used) == (8, 6)
    assert told(found) == [
        'pump/run.csv:5: warning: column "Stamp": "2026-02-30 08:30:03" is no day of the calendar or no time of day; '
        "its row is not used. Expected a stamp like the others. Next: correct the log, or leave them missing.",
        'pump/run.csv:5: warning: column "Stamp": the row holds samples but no time, so it is not used (this row and '
        "1 more). Expected a time in every row. Next: correct the log, or leave them missing.",
    ]


def test_restart_at_zero(folder: Folder) -> None:
    found = folder.read("Time,n\n" + rows(900, 900, 900) + rows(1200, 1200))
    assert found.restarts == 1
    assert means(found) == rpm(900, 900, 900, 1200, 1200)
    assert found.revolutions == pytest.approx(2 * 15 + 20)  # the step over the pause counts for nothing
    assert told(found) == [
        'pump/run.csv:5: warning: column "Time": the elapsed time starts again at zero; it goes on from here, and the '
        "pause is not known. Expected a file of its own for each run. Next: correct the log, or leave them missing."
    ]


@pytest.mark.parametrize(
    ("text", "time", "said"),
    [
        ("Time,n\n0,1\n1,1\n2,1\n60,1\n61,1\n40,1\n", SECONDS, "from 61 s to 40 s"),
        ("Stamp,n\n2026-10-25 02:59:59,1\n2026-10-25 01:30:00,1\n", CLOCK,
         "from 2026-10-25T02:59:59 to 2026-10-25T01:30:00"),
        ("Stamp,n\n08:30:10,1\n08:30:11,1\n08:30:09,1\n", CLOCK, "from 08:30:11 to 08:30:09"),
    ],
)  # fmt: skip
def test_time_runs_backwards(folder: Folder, text: str, time: LogTime, said: str) -> None:
    found = folder.read(text, time=time)
    assert not found.usable
    assert codes(found) == ["time-backwards"]
    assert found.problems[0].line == text.count("\n")
    assert f"the time runs backwards, {said}" in found.problems[0].what


def test_a_clock_set_back_by_an_hour(folder: Folder) -> None:
    """The end of summer time in the middle of a log, and an hour too much: what is no change of the clock stays one."""
    found = folder.read("Stamp,n\n2026-10-25 02:59:58,1\n2026-10-25 02:59:59,1\n2026-10-25 02:00:00,1\n", time=CLOCK)
    assert (found.usable, found.seconds, found.gaps) == (True, 2.0, ())
    assert told(found) == [
        'pump/run.csv:4: warning: column "Stamp": the time goes back by an hour: the clock was set back there, and the '
        "record goes on. Expected a clock that is not set during a run. Next: see whether it is so, or leave out what "
        "was logged before."
    ]


def test_gap_is_not_integrated(folder: Folder) -> None:
    """26 minutes with the header written again: turning before and after counts, the pause does not."""
    text = "Time,n\n" + rows(600, 600, 600) + "Time,n\n" + rows(600, 600, 600, start=1562)
    found = folder.read(text)
    assert found.gaps == ((2.0, 1562.0),)
    assert (found.rows, found.used, found.seconds) == (6, 6, 1564.0)
    assert found.revolutions == pytest.approx(2 * 2 * 10)
    assert found.running_seconds == 4.0
    assert told(found) == [
        "pump/run.csv:5: warning: the headers stand here again, and are skipped. Expected headers once. Next: correct "
        "the log, or leave them missing."
    ]
    assert found.facts["speed"].longest_constant == 2.0
    assert len(found.bins) == 1565
    assert found.bins["speed"].notna().sum() == 6


def test_two_rates_in_one_file_are_no_gaps(folder: Folder) -> None:
    fast = rows(*[1200] * 300, step=0.1)
    slow = rows(*[1200] * 100, start=31, step=2)
    found = folder.read("Time,n\n" + fast + slow)
    assert found.step == 0.1
    assert found.gaps == ()
    assert found.revolutions == pytest.approx((31 + 99 * 2) * 20)


def test_long_pauses_one_after_the_other_are_gaps(folder: Folder) -> None:
    """A logger switched on for single rows: steps of minutes among steps of minutes, in a log of seconds."""
    single = [200, 400, 600, 800, 1000]
    found = folder.read("Time,n\n" + rows(*[1200] * 60) + "".join(f"{t},1200\n" for t in single))
    assert found.gaps == tuple(zip([59.0, *single[:-1]], single, strict=True))
    assert found.revolutions == pytest.approx(59 * 20)


def test_repeated_stamps(folder: Folder) -> None:
    """Ten rows a second with stamps of whole seconds."""
    text = "Time,n\n" + "".join(f"{i // 10},{600}\n" for i in range(50))
    found = folder.read(text)
    assert (found.repeated, found.step, found.seconds) == (45, 1.0, 4.0)
    assert found.revolutions == pytest.approx(40)
    assert told(found) == [
        'pump/run.csv:3: warning: column "Time": the time is that of the line before, and both count (this line and 44 '
        "more). Expected a time of its own in each. Next: correct the log, or leave them missing."
    ]


def test_columns_with_times_of_their_own(folder: Folder) -> None:
    """Speed at 10, temperature at 1 a second: the short columns are padded with empty fields."""
    text = "t1;n;t2;T1\n"
    for i in range(100):
        text += f"{i / 10};{600};" + (f"{i};{500 + i}\n" if i < 10 else ";\n")
    fast, slow = LogTime("elapsed", (Address("t1"),), "s"), LogTime("elapsed", (Address("t2"),), "s")
    found = folder.read(
        text, ("speed", "n", "rpm", fast), ("exhaust_temperature_1", "T1", "degC", slow), time=None, separator=";"
    )
    assert told(found) == []
    assert found.facts["speed"].n == 100
    assert (found.facts["exhaust_temperature_1"].n, found.facts["exhaust_temperature_1"].missing) == (10, 0)
    assert means(found, "exhaust_temperature_1") == [773.15 + i for i in range(10)]
    assert found.revolutions == pytest.approx(9.9 * 10)
    assert found.used == 100


def test_work_of_channels_at_two_rates(folder: Folder) -> None:
    """Torque rises evenly while the speed stands: the work is mean torque times the angle turned."""
    text = "t1,n,t2,Md\n"
    for i in range(101):
        text += f"{i / 10},{600}," + (f"{i * 2},{20 * i}\n" if i <= 5 else ",\n")
    fast, slow = LogTime("elapsed", (Address("t1"),), "s"), LogTime("elapsed", (Address("t2"),), "s")
    found = folder.read(text, ("speed", "n", "rpm", fast), ("torque", "Md", "N m", slow), time=None)
    assert found.energy == pytest.approx(50 * 600 * RPM * 10)


def test_elapsed_and_stamps_lie_nowhere_together(folder: Folder) -> None:
    text = "Time,n,Stamp,Md\n0,900,2026-02-12 08:00:00,5\n"
    found = folder.read(text, "speed", ("torque", "Md", "N m", CLOCK))
    assert codes(found) == ["times-of-two-kinds"]


# ---- headers --------------------------------------------------------------------------------------------------------


def test_preamble(folder: Folder) -> None:
    text = "cell north\noperator;M. A.\n\nTime;n\n0;900\n1;1000\n"
    assert means(folder.read(text, skip_rows=2)) == rpm(900, 1000)
    found = folder.read(text)
    assert (told(found), means(found), found.notes) == ([], rpm(900, 1000), ("headers in line 4",))
    assert told(folder.read(text, skip_rows=0)) == [
        "pump/run.csv:1: this is not the row of headers: that is line 4. Expected the headers after the rows to skip. "
        "Next: write `skip_rows: 3` in the record entry, or take it out."
    ]


def test_two_rows_of_headers_and_units(folder: Folder) -> None:
    text = ",Engine,,Gas,\nTime,n,Md,T1,T oil\n[s],[rpm],[N m],(degC),()\n0,900,10,500,80\n1,1000,20,510,81\n"
    found = folder.read(
        text, ("speed", "Engine n", "rpm"), ("torque", "Engine Md", "N m"), ("exhaust_temperature_1", "Gas T1", "degC"),
        header_rows=2, units_row=True,
    )  # fmt: skip
    assert told(found) == []
    assert means(found) == rpm(900, 1000)
    assert means(found, "exhaust_temperature_1") == [773.15, 783.15]


def test_three_rows_of_headers(folder: Folder) -> None:
    text = "a,b\nc,d\ne,f\n0,900\n1,1000\n"
    found = folder.read(
        text, ("speed", "b d f", "rpm"), time=LogTime("elapsed", (Address("a c e"),), "s"), header_rows=3
    )
    assert means(found) == rpm(900, 1000)


def test_units_nobody_announced(folder: Folder) -> None:
    found = folder.read("Time,n\ns,rpm\n0,900\n")
    assert (told(found), means(found), found.notes) == ([], rpm(900), ("a row of units in line 2",))
    assert told(folder.read("Time,n\ns,rpm\n0,900\n", units_row=False)) == [
        "pump/run.csv:2: this row looks like a row of units. Expected rows of samples below the headers, as the entry "
        "says. Next: take `units_row` out of the record entry."
    ]
    found = folder.read("Time,n\nbegin,idle\n0,900\n")
    assert told(found) == [
        'pump/run.csv:2: this row holds no number: "begin, idle". Expected rows of samples below the headers. Next: if '
        "it is a row of units, write `units_row: true` in the record entry."
    ]


def test_units_announced_but_not_there(folder: Folder) -> None:
    assert codes(folder.read("Time,n\n0,900\n", units_row=True)) == ["units-row-missing"]


@pytest.mark.parametrize(
    ("text", "units_row"),
    [("Time,T oil [degF]\n0,80\n", False), ("Time,T oil\ns,degF\n0,80\n", True)],
)
def test_unit_of_the_file_against_that_of_the_entry(folder: Folder, text: str, units_row: bool) -> None:
    found = folder.read(text, "oil_temperature", units_row=units_row)
    assert codes(found) == ["unit-contradicted"]
    assert 'oil_temperature is in "degC" here, but in "degF"' in found.problems[0].what


def test_unknown_header(folder: Folder) -> None:
    found = folder.read("Time,Speed,Md\n0,900,5\n", ("speed", "Sped", "rpm"))
    assert told(found) == [
        'pump/program.yaml:90:7: run.csv has no column "Sped". Expected a header of line 1. Nearest: Speed. Next: '
        "correct the record entry.".replace("run.csv has", "pump/run.csv has")
    ]


def test_the_same_header_twice(folder: Folder) -> None:
    assert codes(folder.read("Time,n,n\n0,900,5\n")) == ["column-ambiguous"]


def test_header_repeated_with_its_units(folder: Folder) -> None:
    text = "Time,n\ns,rpm\n0,900\n1,1000\nTime,n\ns,rpm\n2,1100\n"
    found = folder.read(text, units_row=True)
    assert (means(found), found.rows) == (rpm(900, 1000, 1100), 3)
    assert codes(found) == ["header-repeated"]


# ---- rows -----------------------------------------------------------------------------------------------------------


def test_trailing_separator_in_some_rows(folder: Folder) -> None:
    found = folder.read("Time,n,Md\n0,900,1\n1,1000,2,\n2,1100,3\n", "speed", "torque")
    assert (told(found), means(found), means(found, "torque")) == ([], rpm(900, 1000, 1100), [1, 2, 3])


def test_empty_last_column(folder: Folder) -> None:
    found = folder.read("Time,n,\n0,900,\n1,1000,\n")
    assert (told(found), means(found)) == ([], rpm(900, 1000))
    found = folder.read("Time,n,\n0,900\n1,1000,\n")  # only some rows end with it
    assert (told(found), means(found)) == ([], rpm(900, 1000))


def test_a_field_more_in_every_row(folder: Folder) -> None:
    """Readers that take the first column for a name of the row would shift every other one."""
    found = folder.read("Time,n\n0,900,1\n1,1000,2\n")
    assert told(found) == [
        "pump/run.csv:2: every row has 3 fields, the header in line 1 has 2: which column each header belongs to "
        "cannot be told, and to take the first for the first might shift them all. Expected a header over every "
        "column. Next: write the missing header, or take the column without one out."
    ]


@pytest.mark.parametrize("row", [3, 70, 9000])
def test_a_field_more_in_one_row(folder: Folder, row: int) -> None:
    lines = [f"{i},900" for i in range(10_000)]
    lines[row] += ",5"
    found = folder.read("Time,n\n" + "\n".join(lines) + "\n")
    assert (codes(found), found.problems[0].line) == (["more-fields-than-header"], row + 2)


def test_long_and_short_rows_do_not_make_up_for_each_other(folder: Folder) -> None:
    found = folder.read("Time,n,Md,Q\n0,900,1,2\n1,900,1,2,3\n2,900,1\n")
    assert (codes(found), found.problems[0].line) == (["more-fields-than-header"], 3)


def test_short_rows_are_counted(folder: Folder) -> None:
    lines = [f"{i},900,5\n" for i in range(10)]
    lines[4], lines[7] = "4,900\n", "7\n"
    found = folder.read("Time,n,Md\n" + "".join(lines), "speed", "torque")
    assert (found.rows, found.facts["torque"].missing, found.facts["speed"].missing) == (10, 2, 1)
    assert told(found) == [
        "pump/run.csv:6: warning: the row has fewer fields than the header; what it lacks is missing (this row and 1 "
        "more). Expected 3 fields. Next: correct the log, or leave them missing."
    ]


def test_most_rows_short(folder: Folder) -> None:
    assert codes(folder.read("Time,n,Md\n0,900\n1,900\n2,900,5\n"))[0] == "rows-too-short"


def test_cut_in_the_middle_of_a_row(folder: Folder) -> None:
    found = folder.read("Time,n,Md\n0,900,5\n1,1000,6\n2,11", "speed", "torque")
    assert (means(found), found.rows, found.used) == (rpm(900, 1000), 3, 2)
    assert codes(found) == ["file-cut"]
    assert "the file ends in the middle of this line" in told(found)[0]


def test_no_line_end_at_the_end(folder: Folder) -> None:
    assert means(folder.read("Time,n\n0,900\n1,1000")) == rpm(900, 1000)


def test_blank_lines(folder: Folder) -> None:
    found = folder.read("Time,n\n0,900\n\n1,1000\n,\n2,1100\n\n\n")
    assert (means(found), found.rows) == (rpm(900, 1000, 1100), 3)


# ---- numbers --------------------------------------------------------------------------------------------------------


def test_decimal_comma(folder: Folder) -> None:
    found = folder.read("Time;n\n0,0;900,5\n1,0;1000,5\n", decimal=",")
    assert means(found) == rpm(900.5, 1000.5)


def test_decimal_comma_in_quotes(folder: Folder) -> None:
    found = folder.read('Time,n\n"0,0","900,5"\n"1,0","1000,5"\n', decimal=",")
    assert (told(found), means(found)) == ([], rpm(900.5, 1000.5))


def test_decimal_comma_nobody_announced(folder: Folder) -> None:
    found = folder.read("Time;n\n0;900,5\n1;1000,5\n")
    assert (told(found), means(found)) == ([], rpm(900.5, 1000.5))
    assert found.notes == ("a decimal comma, in 4 of 4 figures looked at",)


def test_a_single_cell_with_the_other_mark_is_missing(folder: Folder) -> None:
    """In a channel of whole numbers too, where no other cell of it shows the mark: the rest of the file tells."""
    found = folder.read("Time;n;Md\n0,5;900,5;100\n1,5;1000,5;101.5\n2,5;1000,5;102\n", "speed", "torque")
    (message,) = told(found)
    assert message.startswith('pump/run.csv:3: warning: column "Md": ')
    assert "101.5" in message
    assert found.usable
    two = folder.read("Time;n;Md\n0,5;900,5;100\n1,5;1000,5;101.5\n2,5;1000,5;102.5\n", "speed", "torque")
    assert not two.usable


def test_points_that_may_part_thousands(folder: Folder) -> None:
    """Open, and only where a channel rests on it."""
    text = "Time;n;Md\n0;900;1.234\n1;1000;1.235\n"
    assert means(folder.read(text)) == rpm(900, 1000)
    assert told(folder.read(text, "speed", "torque")) == [
        'pump/run.csv:2: column "Md": "1.234" may have a decimal point or a thousands mark. Expected figures that read '
        'one way. Next: write `decimal: "."` in the record entry; if it parts thousands, export the log without.'
    ]
    assert means(folder.read(text, "speed", "torque", decimal="."), "torque") == [1.234, 1.235]


def test_order_of_dates_is_found(folder: Folder) -> None:
    time = LogTime("clock", (Address("Stamp"),))
    found = folder.read("Stamp,n\n14.05.2026 10:00:00,900\n14.05.2026 10:00:01,1000\n", time=time)
    assert (told(found), means(found), found.start[:10]) == ([], rpm(900, 1000), "2026-05-14")
    found = folder.read("Stamp,n\n04.05.2026 10:00:00,900\n04.05.2026 10:00:01,1000\n", time=time)
    assert not found.usable


def test_dot_that_parts_thousands_and_decimals(folder: Folder) -> None:
    """As one logger wrote milliseconds: below a thousand the numbers look harmless, and they are most of the head."""
    stamps = [f"{i * 100}.000" for i in range(10)] + [f"{i // 10}.{i % 10}00.000" for i in range(10, 30_000)]
    text = "Time;n\n" + "".join(f"{stamp};900.5\n" for stamp in stamps)
    found = folder.read(text, time=LogTime("elapsed", (Address("Time"),), "ms"))
    assert (codes(found), found.problems[0].line) == (["dot-twice"], 12)
    assert "may be either mark" in found.problems[0].what


def test_dot_that_parts_thousands_far_down(folder: Folder) -> None:
    """Most of the column looks harmless; it is judged as a whole."""
    text = "Time,n\n" + "".join(f"{i},{900.5}\n" for i in range(500_000)) + "500000,1.000.500\n"
    found = folder.read(text)
    assert (codes(found), found.problems[0].line) == (["dot-twice"], 500_002)


def test_overflow_and_other_bad_cells(folder: Folder) -> None:
    cells = ["900", "*.*******", "1000", "n/a", "#####", "1.#INF", "1100", "nan", "1200", "inf", *["1300"] * 9]
    found = folder.read("Time,n\n" + rows(*cells))
    assert means(found) == rpm(900, None, 1000, None, None, None, 1100, None, 1200, None, *[1300] * 9)
    assert (found.facts["speed"].n, found.facts["speed"].missing) == (13, 6)
    assert told(found) == [
        'pump/run.csv:3: warning: column "n": "*.*******": an instrument entered an overflow mark (this cell and 1 '
        "more). Expected a number. Next: correct the log, or leave them missing.",
        'pump/run.csv:5: warning: column "n": "n/a": it is not a number. Expected a number. Next: correct the log, or '
        "leave them missing.",
        'pump/run.csv:7: warning: column "n": "1.#INF": it is not a finite number (this cell and 2 more). Expected a '
        "number. Next: correct the log, or leave them missing.",
    ]


@pytest.mark.parametrize("empty", ["", "1"])
def test_a_text_that_says_it_is_no_number_is_told(folder: Folder, empty: str) -> None:
    """Readers of tables take it for an empty cell."""
    found = folder.read("Time,n,Md\n" + rows("900,1", "900,nan", f"900,{empty}", "900,3"), "speed", "torque")
    assert codes(found) == ["not-finite"]
    assert (found.problems[0].line, found.problems[0].column_name) == (3, "Md")


@pytest.mark.parametrize("cell", ["true", "12:30:05", "closed"])
def test_column_of_no_numbers(folder: Folder, cell: str) -> None:
    found = folder.read("Time,n\n" + rows(cell, cell, 900))
    assert (codes(found)[0], found.usable) == ("column-not-numbers", False)
    assert ("clock" in found.problems[0].next_step) == (":" in cell)


def test_what_is_not_possible_is_missing(folder: Folder) -> None:
    found = folder.read("Time,T1\n" + rows(500, 9999, 510, -300, 520, 520, 520, 520), "exhaust_temperature_1")
    assert means(found, "exhaust_temperature_1") == [773.15, None, 783.15, None, 793.15, 793.15, 793.15, 793.15]
    assert found.facts["exhaust_temperature_1"].high == pytest.approx(793.15)
    assert told(found) == [
        'pump/run.csv:3: warning: column "T1": 9999 is not possible for exhaust temperature (this cell and 1 more). '
        "Expected -60 to 1300. Next: correct the log, or leave them missing."
    ]


def test_speed_without_torque(folder: Folder) -> None:
    found = folder.read("Time,n\n" + rows(*[600] * 61))
    assert found.revolutions == pytest.approx(600)
    assert math.isnan(found.energy)


def test_torque_without_speed(folder: Folder) -> None:
    found = folder.read("Time,Md\n" + rows(5, 6), "torque")
    assert math.isnan(found.revolutions)
    assert math.isnan(found.running_seconds)
    assert math.isnan(found.energy)


# ---- characters and line ends ---------------------------------------------------------------------------------------

TEXT = "Time;T Öl;n\n0;80;900\n1;81;1000\n2;82;1100\n"


@pytest.mark.parametrize("ends", ["\n", "\r\n", "\r", "\r\r\n"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "iso-8859-1", "windows-1252"])
def test_encodings_and_line_ends(folder: Folder, encoding: str, ends: str) -> None:
    data = TEXT.replace("\n", ends).encode(encoding)
    found = folder.read(data, "speed", ("oil_temperature", "T Öl", "degC"))
    assert (told(found), means(found)) == ([], rpm(900, 1000, 1100))
    assert found.rows == 3


@pytest.mark.parametrize("ends", ["\n", "\r\n", "\r", "\r\r\n"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
def test_line_ends_over_many_pieces(folder: Folder, encoding: str, ends: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Pieces end anywhere: within a line, and between the signs of a line end."""
    monkeypatch.setattr("sitegen.reader.pieces.STEP", 101)
    text = "Time;n\n" + "".join(f"{i};{900 + i}\n" for i in range(300))
    text = text.replace("299;1199\n", "299;x\n")
    found = folder.read(text.replace("\n", ends).encode(encoding))
    assert (found.rows, found.facts["speed"].n, found.problems[0].line) == (300, 299, 301)
    assert means(found)[:299] == rpm(*(900 + i for i in range(299)))


def test_zero_bytes(folder: Folder) -> None:
    found = folder.read(b"Time,n\n" + b"".join(b"%d,900\n" % i for i in range(100_000)) + b"\0" * 512)
    assert (codes(found), found.problems[0].line) == (["not-text"], 100_002)


def test_end_of_file_mark(folder: Folder) -> None:
    assert means(folder.read("Time,n\n0,900\n1,1000\n\x1a")) == rpm(900, 1000)


@pytest.mark.parametrize(
    ("content", "code"),
    [(b"", "log-empty"), (b"\n\n", "log-empty"), (b"Time,n\n", "log-empty"), (b"PK\x03\x04....", "not-text"),
     (b"Time,n\n,900\n,900\n", "log-empty")],
)  # fmt: skip
def test_nothing_to_read(folder: Folder, content: bytes, code: str) -> None:
    found = folder.read(content)
    assert code in codes(found)
    assert not found.usable


def test_missing_file(folder: Folder) -> None:
    from sitegen.logs.reading import read_log

    source = folder.source("Time,n\n0,1\n", name="run-1.csv")
    found = read_log(source, folder.path / "run-2.csv")
    assert (codes(found), found.problems[0].nearest) == (["file-missing"], "run-1.csv")


def test_lines_are_counted_over_blank_ones(folder: Folder, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sitegen.reader.pieces.STEP", 64)
    lines = [f"{i},900" if i % 7 else "" for i in range(200)]
    lines[150] = "150,x"
    found = folder.read("Time,n\n" + "\n".join(lines) + "\n")
    assert [each.line for each in found.problems] == [152]
    assert found.rows == sum(line != "" for line in lines)


@pytest.mark.parametrize("separator", ["comma", "semicolon", "tab", "bar", "blanks"])
def test_separators(folder: Folder, separator: str) -> None:
    mark = {"comma": ",", "semicolon": ";", "tab": "\t", "bar": "|", "blanks": "   "}[separator]
    text = f"Time{mark}n\n0{mark}900\n1{mark}1000\n"
    for stated in ("", separator):
        assert means(folder.read(text, separator=stated)) == rpm(900, 1000)


def test_other_columns_are_left_alone(folder: Folder) -> None:
    text = 'Time,Remark,n,Valid\n0,"started, slowly",900,yes\n1,,1000,no\n2,"said ""go""",1100,yes\n'
    assert means(folder.read(text)) == rpm(900, 1000, 1100)


def test_an_engine_that_was_not_running(folder: Folder) -> None:
    """A recorder left on beside a standing engine: no turn and no work, however long, and its sensors are no faults."""
    found = folder.read(
        "Time,n,Md,T oil\n" + "".join(f"{i},0,-0.3,21\n" for i in range(600)), "speed", "torque", "oil_temperature"
    )
    assert found.problems == ()
    assert (found.running_seconds, found.revolutions) == (0.0, 0.0)
    assert (found.rows, found.used) == (600, 600)


def test_an_empty_channel_and_one_never_wired(folder: Folder) -> None:
    """Nothing in a column is no sample; a column of zeros is read, and said to be one and the same all along."""
    text = "Time,n,Q,T oil\n" + "".join(f"{i},{900 + i % 3},0,\n" for i in range(600))
    found = folder.read(text, "speed", "blowby", "oil_temperature")
    assert found.usable
    assert (found.facts["oil_temperature"].n, found.facts["oil_temperature"].missing) == (0, 600)
    assert found.facts["blowby"].n == 600
    assert found.bins["blowby"].nunique() == 1
