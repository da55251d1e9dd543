"""How files are written is found: as the entries of the examples state it, and by hand for what leaves two readings."""

from __future__ import annotations

import random
import time
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sitegen import workflow
from sitegen.program.model import LogSource, RecordSource
from sitegen.reader.decode import read_text
from sitegen.reader.find import HEAD, SPREAD, find, find_cells, kind_of, pairs
from sitegen.reader.headers import plain
from sitegen.reader.layout import Layout, Marks, Stated
from sitegen.reader.numbers import dates
from sitegen.reader.records import cut
from sitegen.reader.stamps import instants

ROOT = Path(__file__).parents[2]
HOMES = [ROOT / "programs", *sorted((ROOT / "tests" / "accepted").iterdir())]
SEPARATORS = {";": "semicolon", ",": "comma", "\t": "tab"}


@cache
def entries() -> list[tuple[str, RecordSource | LogSource, list[str]]]:
    return list(_entries())


def _entries() -> Iterator[tuple[str, RecordSource | LogSource, list[str]]]:
    """Every text table and log that is read today, with its entry and its lines."""
    for home in HOMES:
        folder, _ = workflow.programs(home)
        for program in folder.programs if folder is not None else ():
            sources: list[RecordSource | LogSource] = [*program.records, *program.logs]
            for source in sources:
                path = Path(program.folder) / source.file
                if path.suffix in {".csv", ".txt", ".tsv"} and path.stat().st_size > 80:
                    yield f"{home.name}/{program.id}/{source.file}", source, lines_of(path, source.encoding)


def lines_of(path: Path, encoding: str = "") -> list[str]:
    return read_text(path, path.name, encoding).text.split("\n")


TRACES = sorted(path for path in (ROOT / "programs").glob("*/traces/**/*") if path.is_file())[::5]


def wanted(source: RecordSource | LogSource) -> list[str]:
    """Headers an entry names, as far as one row of headers says them."""
    if isinstance(source, LogSource):
        return [plain(channel.at.header).rpartition(" ")[2] for channel in source.channels]
    return [plain(use.at.header) for use in source.columns.values()]


def test_found_as_the_entries_say() -> None:
    """Nothing is told of the files but their lines; no fact of them is open."""
    assert len(entries()) > 80
    for file, source, lines in entries():
        found = find(lines)
        assert "open" not in {found.separator.by, found.marks.by}, file
        if source.separator:
            assert found.separator.value == SEPARATORS.get(source.separator, source.separator), file
        if source.decimal:
            assert found.marks.value.decimal == source.decimal, file
        if source.units_row:
            assert found.units_row.value == found.heads.value[-1] + 1, file
        if source.skip_rows:
            assert found.heads.value[0] > source.skip_rows, file
        head = [plain(cell) for cell in cut(lines[found.heads.value[-1] - 1], found.separator.value)]
        for name in wanted(source):
            assert any(cell.endswith(name) or name.endswith(cell) or cell.startswith(name) for cell in head if cell)


def test_a_year_of_two_digits_never_tells_the_order_of_a_date() -> None:
    """By 31.12.26 the year may be 2026 or 2031. A date with all of its year tells, and an entry decides."""
    lines = ["Build;Date", "B1;31.12.26", "B2;30.12.26"]
    assert (find(lines).date_order.by, find(lines).date_order.value) == ("open", "")
    assert find(lines, Stated(date_order="day first")).date_order.value == "day first"
    assert find([*lines, "B3;29.12.2026"]).date_order.value == "day first"
    cells = np.array(["31.12.26", "1-2-07", "31.02.26", "2026-05-14"], dtype=object)
    assert dates(cells, "day first").values.tolist() == ["2026-12-31", "2007-02-01", "", "2026-05-14"]
    assert dates(cells[:3]).unannounced
    assert dates(cells).faults.tolist() == ["not-a-date"] * 3 + [""]  # slips beside a date with its whole year
    stamps = np.array(["17.03.26 08:30:00"], dtype=object)
    whole = np.array(["17.03.2026 08:30:00"], dtype=object)
    assert instants(stamps, "day first").seconds.tolist() == instants(whole, "day first").seconds.tolist()
    assert instants(stamps).faults.tolist() == ["date-order-unstated"]


PARTED = {
    "blanks in two cells of each line": (
        "Motor;Zyl.;Prüfpunkt;Teil;Seite;Höhe [mm];Datei;Gerät\n"
        "GM-01;1;Befund;Laufbuchse;Druckseite;25,0;traces/a.txt;Taster 7\n"
        "GM-03;2;Befund;Laufbuchse;Druckseite;25,0;traces/b.xlsx;Taster 7\n", "semicolon", 8),
    "lines above and a remark left empty": (
        "Taster im Messraum\n\nMotor;Gerät;Höhe [mm];Rest\nGM-01;Taster 7;25;\nGM-03;Taster 7;30;x\n", "semicolon", 4),
    "one figure with a comma": ("Motor;a;b;Wert\nGM-01;u;v;1,5\nGM-02;u;v;2,5\n", "semicolon", 4),
    "tabs": ("Motor\tHöhe [mm]\tGerät\nGM-01\tx\tTaster 7\nGM-02\ty\tTaster 7\n", "tab", 3),
    "commas around texts with a semicolon": ("Build,Remark,p\nB1,a;b,7\nB2,c;d,8\n", "comma", 3),
    "blanks around dates with points": ("Day n Md\n1.5.2026 900 20\n2.5.2026 910 21\n", "blanks", 3),
}  # fmt: skip


@pytest.mark.parametrize("case", PARTED)
def test_what_stands_as_often_in_every_line_parts_it(case: str) -> None:
    content, word, width = PARTED[case]
    found = find(content.rstrip("\n").split("\n"))
    assert (found.separator.value, found.separator.by, len(found.columns)) == (word, "file", width)


def test_points_of_a_trace_begin_where_its_count_says() -> None:
    """Each file announces its points; as many rows follow the one found first, all figures."""
    for path in TRACES:
        lines = lines_of(path)
        found = find(lines)
        rows = [line for line in lines[found.begin.value - 1 :] if line.strip()]
        kinds = {kind_of(cell) for row in rows[::50] for cell in cut(row, found.separator.value)}
        assert kinds <= {"number", "empty"}, path
        above = pairs(lines[: found.begin.value - 1])
        counts = [int(value) for key, value in above.items() if key in {"points", "count", "number of points"}]
        assert all(count == len(rows) for count in counts), path
        assert (found.separator.by, found.marks.by) == ("file", "file"), path


def facts(found: Layout) -> tuple[object, ...]:
    told = (found.separator, found.marks, found.heads, found.units_row, found.begin)
    return tuple(fact.value for fact in told), "open" in {fact.by for fact in told}


@pytest.mark.parametrize("bad", ["NaN", "***", "", "x7", "short"])
def test_bad_cells_move_nothing(bad: str) -> None:
    """Four cells of each table and log spoilt, one of them in its first row."""
    random_ = random.Random(7)  # noqa: S311 - damage, not secrets
    for name, _, lines in entries():
        found = find(lines[:9000])
        rows = [at for at, line in enumerate(lines[:9000]) if at >= found.begin.value - 1 and line.strip()]
        if len(rows) <= 12:  # a third of them cut short is another matter: see the table of compression tests
            continue
        sign = {"tab": "\t", "semicolon": ";", "comma": ",", "bar": "|", "blanks": " "}[found.separator.value]
        spoilt = list(lines[:9000])
        for at in (rows[0], *random_.sample(rows[1:], 3)):
            cells = spoilt[at].split() if sign == " " else spoilt[at].split(sign)
            if bad == "short":
                cells.pop()
            else:
                cells[random_.randrange(len(cells))] = bad
            spoilt[at] = sign.join(cells)
        assert facts(find(spoilt)) == facts(found), name


def marks(*cells: str, separator: str = ";", stated: Stated | None = None) -> Layout:
    lines = [f"name{separator}figure", *(f"a{separator}{cell}" for cell in cells)]
    return find(lines, stated or Stated())


MARKS = {
    "point": (("0.5", "12.25"), (".", "")),
    "comma": (("0,5", "12,25"), (",", "")),
    "comma between thousands": (("1,234.5", "0.5"), (".", ",")),
    "point between thousands": (("1.234,5", "0,5"), (",", ".")),
    "blank between thousands": (("1 234,5", "0,5"), (",", " ")),
    "apostrophe between thousands": (("1'234.5", "0.5"), (".", "'")),
    "twice between thousands": (("1.234.567", "12"), (",", ".")),
    "zero before the comma is no thousand": (("0,250", "0,500"), (",", "")),
    "four figures before the comma are no thousand": (("1234,500", "0,500"), (",", "")),
    "exponents": (("1e3", "2.5E-4"), (".", "")),
    "bounds": (("<1", "13,8", "7,2"), (",", "")),
    "one slip": (("71.5", "72.0", "72,5", "71.25"), (".", "")),
    "whole numbers": (("12", "1500"), (".", "")),
}


@pytest.mark.parametrize("case", MARKS)
def test_marks(case: str) -> None:
    cells, expected = MARKS[case]
    found = marks(*cells)
    assert (found.marks.value, found.marks.by) == (Marks(*expected), "file")
    assert [column.either for column in found.columns] == [None, None]


OPEN = {
    "comma": (("1,234", "5,678"), (",", ""), (".", ",")),
    "point": (("1.234", "5.678"), (".", ""), (",", ".")),
    "one comma does not say what the points are": (("1.234", "5.678", "0,5"), (".", ""), (",", ".")),
}


@pytest.mark.parametrize("case", OPEN)
def test_a_mark_that_may_be_either_is_open(case: str) -> None:
    cells, value, rival = OPEN[case]
    found = marks(*cells)
    assert (found.marks.by, found.marks.value, found.marks.rivals) == ("open", Marks(*value), (Marks(*rival),))
    assert found.columns[1].either is not None
    assert found.columns[1].either.text == cells[0]
    assert marks(*cells, stated=Stated(decimal=value[0])).marks.by == "entry"


def test_a_comma_between_fields_goes_with_a_decimal_point() -> None:
    assert marks("1.234", "5.678", separator=",").marks.by == "file"
    assert marks('"1,234"', '"5,678"', separator=",").marks.by == "open"


DATES = {
    "day first": (("14.05.2026", "03.06.2026"), "day first", "file"),
    "month first": (("05/14/2026", "06/03/2026"), "month first", "file"),
    "either": (("04.05.2026", "03.06.2026"), "", "open"),
    "both": (("14.05.2026", "05.14.2026"), "", "open"),
    "year first": (("2025.02.03", "2025.02.14"), "", "file"),
}


@pytest.mark.parametrize("case", DATES)
def test_order_of_day_and_month(case: str) -> None:
    cells, order, by = DATES[case]
    found = marks(*cells)
    assert (found.date_order.value, found.date_order.by, found.columns[1].kind) == (order, by, "date")


HEADS = {
    "title": ("Leak-down, pump engines\n\nCyl,Supply [psig]\n1,80\n2,79\n", (3,), 0, 4),
    "keys above": ("Operator,M. A.\nPoints,2\nCyl,Supply [psig]\n1,80\n2,79\n", (3,), 0, 4),
    "units": ("Time,n\n[s],[rpm]\n0,900\n1,910\n", (1,), 2, 3),
    "units without brackets": ("Time,n\ns,rpm\n0,900\n1,910\n", (1,), 2, 3),
    "groups": ("Gas,Gas,Oil,Oil\nin,out,in,out\n1,2,3,4\n5,6,7,8\n", (1, 2), 0, 3),
    "no headers": ("1,2\n3,4\n", (), 0, 1),
    "nothing below": ("engine,cylinder,pressure [bar]\n", (1,), 0, 2),
    "texts only": ("engine,what,remark\nB1,stopped,hose off\nB2,stopped,\n", (1,), 0, 2),
    "a word that is a unit, too": ("engine,ring\nB1,second\nB2,top\n", (1,), 0, 2),
    "rows without figures first": ("Cyl,Mass\n1,\n2,\n3,14.2\n4,14.3\n5,14.1\n", (1,), 0, 2),
}


@pytest.mark.parametrize("case", HEADS)
def test_where_headers_stand(case: str) -> None:
    text, heads, units, begin = HEADS[case]
    found = find(text.rstrip("\n").split("\n"))
    assert (found.heads.value, found.units_row.value, found.begin.value) == (heads, units, begin)


def test_what_the_entry_names_decides_where_rows_do_not() -> None:
    lines = ["Build,Remark", "engine,what", "B1,stopped", "B2,none"]
    stated = Stated(known=lambda cells: sum(cell in {"engine", "what"} for cell in cells))
    assert (find(lines).heads.value, find(lines, stated).heads.value) == ((1,), (2,))


def test_units_of_columns() -> None:
    found = find(["Supply [psig];Oil °C;n", "80;21;900", "80;22;901"])
    assert [(each.name, each.unit) for each in found.columns] == [("Supply", "psig"), ("Oil", "°C"), ("n", "")]


def test_a_workbook_and_a_column_file() -> None:
    rows = [["Leak-down"], ["Cyl", "Supply [psig]"], ["1", "80"], ["2", "79.5"]]
    found = find_cells(rows, [1, 3, 4, 5])
    assert (found.heads.value, found.begin.value, found.headers) == ((3,), 4, ("Cyl", "Supply [psig]"))
    assert find_cells([["1", "2"], ["3", "4"]], [0, 1]).heads.value == (0,)


def test_found_things_are_said() -> None:
    text = "Leak-down\n\nCyl;Supply [psig];Date\n1;80,5;14.05.2026\n2;79,5;15.05.2026"
    assert find(text.split("\n")).found == (
        "a decimal comma, in 4 of 4 figures looked at",
        'dates with the day first, as "14.05.2026" in line 4 shows',
        "headers in line 3",
    )


@given(st.lists(st.text('12,.;\t "x-<[]', max_size=30), max_size=60))
@settings(max_examples=200, deadline=None, derandomize=True)
def test_nothing_is_raised(lines: list[str]) -> None:
    found = find(lines)
    assert 0 <= found.marks.agree <= found.marks.of
    find_cells([cut(line, "comma") for line in lines], list(range(1, len(lines) + 1)))


def test_long_cells_and_many_rows_cost_no_more() -> None:
    """A cell of a million digits is a text; of a file as long as you like some 800 rows are looked at."""
    assert kind_of("9" * 10**6 + "x") == "text"
    lines = ["a;b", *["1;" + "9" * 10_000 + "x"] * 20]
    many = ["t;n", *(f"{at};{900 + at % 7}" for at in range(400_000))]
    begin = time.process_time()
    find(lines)
    assert find(many).separator.of <= HEAD + SPREAD + 30
    assert time.process_time() - begin < 2
