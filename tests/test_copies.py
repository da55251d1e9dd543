"""Work shared by copies of one process: in order, once, whole whoever dies; the same bytes as by one."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from house import fewer

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="elsewhere one process does all")


def tried(case: str, *of: Path) -> Any:
    made = subprocess.run(
        [sys.executable, Path(__file__).with_name("copying.py"), case, *of],
        check=True, capture_output=True, text=True, timeout=120,
    )  # fmt: skip
    return json.loads(made.stdout)


def test_work_is_shared_and_comes_back_in_order() -> None:
    squares, who, left = tried("in_order")
    assert squares == [number**2 for number in range(200)]
    assert who == 3
    assert not left


def test_one_that_dies_costs_nothing_but_time() -> None:
    assert tried("dies") == [list(range(60)), False]


def test_what_goes_wrong_is_told_by_whoever_asked() -> None:
    assert tried("raises") == [list(range(20)), "five", False]


def test_what_cannot_travel_is_made_where_it_is_asked_for() -> None:
    assert tried("cannot_travel") == [list(range(140)), True]


def test_a_process_with_threads_is_not_copied() -> None:
    assert tried("with_a_thread") == [1, [True]]


def test_without_room_for_what_others_make_all_is_made_here() -> None:
    assert tried("nowhere") == [True, True, False]


def test_stopped_by_the_keyboard_none_is_left() -> None:
    assert tried("stopped") == ["stopped", False]


def test_a_publish_by_three_gives_the_bytes_of_one(tmp_path: Path) -> None:
    """Every piece of work is done once, unless a copy is killed: then once more by whoever asked."""
    found = tried("publishes", fewer(tmp_path))
    assert found["cache"] == [True, 0, True]
    assert found["no cache"] == [True, 0, True]
    same, again, _ = found["killed"]
    assert same
    assert again > 0
