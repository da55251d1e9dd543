"""Words of one's own in tables: what they mean, which count, and how those that are not known are told."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sitegen.program.words import compared
from tables.house import Folder, column, told

HEADER = "engine,cylinder,phase,tester,supply [psig],pressure [psig],crank,locked,operator,repeat\n"
OURS = [
    ("B1", "1", "cold-build", "T1", "80", "72", "tdc", "yes", "M. A.", "1"),
    ("B6", "3", "run-in-15", "T2", "80", "70", "bdc", "no", "M. A.", "2"),
    ("B1", "2", "refit", "T1", "80", "71", "tdc", "yes", "", "1"),
]


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    return Folder(tmp_path)


def table(rows: Sequence[tuple[str, ...]]) -> str:
    return HEADER + "".join(",".join(row) + "\n" for row in rows)


def words(**of: dict[str, str]) -> dict[str, dict[str, str]]:
    return {field: {compared(word): means for word, means in own.items()} for field, own in of.items()}


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=40, deadline=None)
@given(st.data())
def test_words_read_as_what_they_mean(folder: Folder, data: st.DataObject) -> None:
    """The same table in words nobody knows, and what they mean: the same readings."""
    plain = folder.leak(table(OURS)).frame
    fields = {"engine": 0, "cylinder": 1, "phase": 2, "tester": 3, "crank": 6, "locked": 7, "operator": 8}
    letters = st.text("abcxyzäöüÄß §%.", min_size=1, max_size=6).map(lambda text: f"w{text}w")
    rows = [list(row) for row in OURS]
    said: dict[str, dict[str, str]] = {}
    for field, at in fields.items():
        for row in rows:
            if row[at]:
                known = {means: word for word, means in said.get(field, {}).items()}
                word = known.get(row[at]) or f"{data.draw(letters)}{len(known)}"
                said.setdefault(field, {})[word] = row[at]
                row[at] = data.draw(st.sampled_from([word, word.upper() if "ß" not in word else word, f"  {word} "]))
    found = folder.leak(table([tuple(row) for row in rows]), words=(words(**said),)).frame
    pd.testing.assert_frame_equal(found, plain)


def test_the_nearer_counts_and_the_field_before_what_it_shares(folder: Folder) -> None:
    row = [("B1", "1", "x", "T1", "80", "72", "y", "z", "", "1")]
    house = words(phase={"x": "refit"}, crank={"y": "tdc"}, yes_no={"z": "yes"}, locked={"z": "no"})
    own = words(phase={"x": "cold-build"})
    found = folder.leak(table(row), words=(house, own))
    assert column(found, "phase") == ["cold-build"]
    assert column(found, "crank") == ["tdc"]
    assert column(found, "locked") == ["no"]
    nearer = folder.leak(table(row), words=(house, own, words(yes_no={"z": "yes"})))
    assert column(nearer, "locked") == ["yes"]


def test_marks_in_place_of_numbers(folder: Folder) -> None:
    marks = words(mark={"n.n.": "not-detected", "k.A.": "not-measured"})
    header = "engine,phase,what,sample,laboratory,hours [h],Fe [mg/kg],Cr [mg/kg]\n"
    rows = "B1,run-in-15,sample,s1,,K.A.,k.a.,n.n.\nB1,run-in-15,sample,s2,,1,2.5,<1\n"
    source = folder.source(header + rows, "oil.csv", "oil", words=(marks,))
    from sitegen.streams.oil.fields import FIELDS
    from sitegen.tables.reading import read_stream
    from tables.house import program

    frame = read_stream(program(folder.path, (source,)), [source], FIELDS).frame
    assert frame["use"].tolist() == ["", ""]
    assert frame["Fe_mark"].tolist() == ["-", ""]
    assert frame["Cr_mark"].tolist() == ["ND", "<"]
    assert frame["hours"].isna().tolist() == [True, False]


def test_words_that_are_not_known_are_told_once_a_word(folder: Folder) -> None:
    rows = [
        ("B1", str(1 + n % 4), "cold-build", "T1", "80", "72", "oben" if n % 2 else "OT", "ja", "", str(n + 1))
        for n in range(18)
    ]
    found = folder.leak(table(rows))
    assert set(column(found, "use")) == {"unknown-word"}
    said = [each for each in told(found) if "none of its words" in each]
    assert said == [
        f'pump/leak.csv:{line}: warning: column "{header}": "{word}" is none of its words, in {rows}. '
        f"Expected {allowed}.{near} Next: correct the record, or leave it set aside, or say in the record entry what "
        f'it stands for: `words: {{{header}: {{{word}: "?"}}}}`.'
        for line, header, word, rows, allowed, near in (
            (2, "crank", "OT", "9 rows: 2, 4, 6 and 6 more", "tdc, before-tdc, after-tdc, bdc", ""),
            (2, "locked", "ja", "18 rows: 2, 3, 4 and 15 more", "yes or no", ""),
            (3, "crank", "oben", "9 rows: 3, 5, 7 and 6 more", "tdc, before-tdc, after-tdc, bdc", ""),
        )
    ]


def test_ids_and_cylinders_that_are_not_known(folder: Folder) -> None:
    rows = [("B1", "Zyl 1", "Einbau", "T1", "80", "72", "tdc", "", "", str(n)) for n in range(1, 6)]
    assert told(folder.leak(table(rows))) == [
        'pump/leak.csv:2: column "phase": there is no phase "Einbau", in 5 rows: 2, 3, 4 and 2 more. Expected '
        "cold-build, run-in-15, refit, durability or teardown. Next: correct the record, or the program, or say in the "
        'record entry what it stands for: `words: {phase: {Einbau: "?"}}`.'
    ]
    known = words(phase={"Einbau": "cold-build"})
    found = folder.leak(table(rows), words=(known,))
    assert told(found) == [
        'pump/leak.csv:2: warning: column "cylinder": "Zyl 1" is not a number, in 5 rows: 2, 3, 4 and 2 more. Expected '
        "a whole number. Next: correct the record, or leave it set aside, or say in the record entry what it stands "
        'for: `words: {cylinder: {Zyl 1: "?"}}`.'
    ]
    both = {**known, **words(cylinder={"Zyl 1": "1"})}
    assert column(folder.leak(table(rows), words=(both,)), "cylinder") == [1.0] * 5


def test_a_word_of_the_house_that_means_nothing_here(folder: Folder) -> None:
    """Definitions may name phases that a program does not have: what the file says is told beside it."""
    house = words(phase={"Einbau": "cold-biuld"})
    rows = [("B1", "1", "Einbau", "T1", "80", "72", "tdc", "", "", "1")]
    assert told(folder.leak(table(rows), words=(house,))) == [
        'pump/leak.csv:2: column "phase": there is no phase "cold-biuld", for which "Einbau" stands. Expected '
        "cold-build, run-in-15, refit, durability or teardown. Nearest: cold-build. Next: correct the record, or the "
        "program."
    ]
