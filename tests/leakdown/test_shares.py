"""Shares of single readings and of the paths, worked out again by hand."""

from __future__ import annotations

from pathlib import Path

import pytest
from tables.house import Folder, program

from sitegen.rounding import stored
from sitegen.streams.leakdown.measures import PATH, READ
from sitegen.streams.leakdown.shares import SHARES
from sitegen.vocabulary import Book, Key, Readings, Value

HEAD = (
    "reading,engine,cylinder,reference,phase,repeat,tester,supply [psig],pressure [psig],percent [%],crank,oil,"
    "to_crankcase [%],to_exhaust [%]\n"
)
ROWS = """\
dry-1,B1,1,,cold-build,1,T1,80,60,,tdc,,90,10
dry-2,B1,1,,cold-build,2,T1,80,61,,tdc,,81,
wet-1,B1,1,,cold-build,1,T1,80,70.6,,tdc,wet,,0
left,B1,1,,cold-build,3,T1,80,40,,,,10,90
dial,B1,2,,cold-build,1,T2,80,,12.5,tdc,,,
gauge,B1,,R1,cold-build,1,T1,80,60,,,,,
other,B6,1,,cold-build,1,T1,80,50,,tdc,,50,50
"""


@pytest.fixture
def values(tmp_path: Path) -> dict[tuple[str, str], Value]:
    found = Folder(tmp_path).leak(HEAD + ROWS)
    assert found.frame.set_index("reading").loc["left", "use"] == "crank-missing"
    frame = found.frame[found.frame["engine"] == "B1"].reset_index(drop=True)
    given = SHARES.run(program(tmp_path), "B1", {"leakdown": Readings(frame)}, Book({}, ()))
    stored_ones = [stored(each) for each in given]
    assert {each.key.coating for each in stored_ones if isinstance(each, Value)} == {"nitrided"}
    return {(each.measure, each.key.at): each for each in stored_ones if isinstance(each, Value)}


def test_leak_of_every_reading(values: dict[tuple[str, str], Value]) -> None:
    leaks = {at: value.value for (measure, at), value in values.items() if measure == READ.id}
    assert leaks == {
        "reading:dry-1": 25.0,  # 80 psi over 60 psi: FAA AC 43.13-1B, chapter 8
        "reading:dry-2": 23.75,  # 19 of 80
        "reading:wet-1": 11.75,  # 9.4 of 80
        "reading:left": 50.0,  # set aside, and shown all the same
        "reading:dial": 12.5,  # as read
    }
    assert values[READ.id, "reading:dial"].key == Key("B1", 2, "nitrided", "cold-build", "reading:dial")


def test_share_of_each_path_is_the_mean_of_the_readings_of_one_condition(values: dict[tuple[str, str], Value]) -> None:
    paths = {at: (value.value, value.n) for (measure, at), value in values.items() if measure == PATH.id}
    # (90 + 81) / 2 of the dry readings; what was read with oil stands by itself; none of those left out
    assert paths == {"crankcase": (85.5, 2), "exhaust": (10.0, 1), "exhaust,wet": (0.0, 1)}
