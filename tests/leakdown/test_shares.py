"""Shares of single readings and of the paths, worked out again by hand."""

from __future__ import annotations

from pathlib import Path

import pytest
from leakdown import test_two_checks as two_checks
from leakdown.test_percent import text_of
from leakdown.test_two_checks import CURVE
from tables.house import Folder, program

from sitegen.rounding import stored
from sitegen.streams.leakdown.measures import PATH, READ
from sitegen.streams.leakdown.shares import SHARES, beside_rings
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


def test_what_leaks_beside_the_rings_is_known_to_half_a_tenth() -> None:
    """Common practice, no source: told by ear or hand. 0.10 of 0.5 mm² known to 4 % is 0.024 to 0.078 mm²."""
    whole = Value("leakdown.area", Key("B1", 1), 0.5, 0.48, 0.52)
    assert beside_rings(whole, 0.9, [0.9, 0.9]) == pytest.approx((0.05 * 0.48, 0.15 * 0.52))
    assert beside_rings(whole, 0.9, [0.8, 1.0]) == pytest.approx((0.0, 0.2 * 0.52))  # as far as its readings disagree
    assert beside_rings(whole, 0.0, []) == pytest.approx((0.95 * 0.48, 0.52))


GROWS, WENT = "It grows: a valve", "It went away with running"


@pytest.mark.parametrize(
    ("shares", "says"),
    [
        ((90, 90, 90, 90), ()),  # falls with the total; its areas are stored rounded, so that shares differ in a digit
        ((80, 90, 90, 80), ()),  # the same share again of a leak that fell
        ((90, 90, 90, 60), (GROWS,)),
        ((60, 70, 80, 100), (WENT,)),
    ],
)
def test_a_valve_is_suspected_only_where_the_leak_beside_the_rings_moved(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, shares: tuple[int, ...], says: tuple[str, ...]
) -> None:
    checks = dict(zip(CURVE, shares, strict=True))
    home = two_checks.published(tmp_path, monkeypatch, {phase: (psi, psi) for phase, psi in CURVE.items()}, checks)
    page = text_of(home / "site/programs/pump/b4/cylinder-1.html")
    assert [each for each in (GROWS, WENT) if each in page] == list(says)
    assert ("Not all of this leak is the rings" in page) == (min(shares) < 90)
