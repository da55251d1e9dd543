"""Bins of logs that nobody looks at lie in a file, and come back bit for bit."""

from __future__ import annotations

import pickle
import tempfile
from collections.abc import Iterator
from typing import NoReturn

import numpy as np
import pandas as pd
import pytest

from sitegen.logs import held
from sitegen.logs.held import Held

ROWS = 20_000


@pytest.fixture(autouse=True)
def small(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Little memory: two of the tables below and not three."""
    held._recent.clear()
    monkeypatch.setattr(held, "LEAST", 1000)
    monkeypatch.setattr(held, "MOST", 2 * 3 * 8 * ROWS)
    yield
    held._recent.clear()


def table(seed: int) -> pd.DataFrame:
    """Bins of a channel of which each bin is a sample, and of one of which it is not; with all that a float can be."""
    own = np.random.default_rng(seed).normal(size=ROWS)
    own[:6] = np.nan, np.inf, -np.inf, -0.0, 5e-324, -np.nan
    return pd.DataFrame(
        {"t": np.arange(float(ROWS)), "x": own, "x.low": own, "x.high": own, "y": own[::-1] * 1e300}, copy=False
    )


def bits(frame: pd.DataFrame) -> dict[str, bytes]:
    return {str(name): frame[name].to_numpy().tobytes() for name in frame}


def in_memory(tables: list[Held]) -> list[bool]:
    """Which of these have been looked at so lately that their bins are not put aside."""
    recent = [each() for each in held._recent.values()]
    return [any(each is one for one in recent) for each in tables]


def test_bins_come_back_bit_for_bit_however_often_they_are_put_aside() -> None:
    expected = [bits(table(seed)) for seed in range(5)]
    tables = [Held(table(seed)) for seed in range(5)]
    for _ in range(3):
        for n in (0, 3, 1, 4, 2):
            frame = tables[n].frame
            assert bits(frame) == expected[n]
            assert frame.index.equals(pd.RangeIndex(ROWS))
    assert all(each.written for each in tables)
    assert sum(in_memory(tables)) <= 2


def test_columns_that_are_one_stay_one_on_the_disk() -> None:
    tables = [Held(table(seed)) for seed in range(4)]
    assert {each.size for each in tables} == {3 * 8 * ROWS}  # t, x and y: not five columns
    for each in tables:
        each.frame  # noqa: B018 - looked at
    assert tables[0].written
    assert np.shares_memory(tables[0].frame["x"].to_numpy(), tables[0].frame["x.high"].to_numpy())


def test_a_table_somebody_still_has_stays_what_it_is() -> None:
    tables = [Held(table(seed)) for seed in range(4)]
    mine, expected = tables[0].frame, bits(table(0))
    for _ in range(2):
        for each in tables:
            each.frame  # noqa: B018 - looked at
    view = tables[1].frame["y"]
    del tables
    assert bits(mine) == expected
    assert view.to_numpy().tobytes() == bits(table(1))["y"]


def test_what_is_small_or_odd_is_never_written(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(held, "LEAST", 10**9)
    small = [Held(table(seed)) for seed in range(4)]
    monkeypatch.setattr(held, "LEAST", 1000)
    odd = [Held(table(seed).set_axis(range(1, ROWS + 1))) for seed in range(4)]
    odd += [Held(table(seed).assign(word="x")) for seed in range(4)]
    for each in (*small, *odd):
        each.frame  # noqa: B018 - looked at
    assert not any(each.written for each in (*small, *odd))
    assert odd[0].frame.index[0] == 1


def test_without_room_on_the_disk_all_stays_in_memory(monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object, **__: object) -> NoReturn:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(tempfile, "TemporaryFile", full)
    tables = [Held(table(seed)) for seed in range(5)]
    for n in (*range(5), *range(5)):
        assert bits(tables[n].frame) == bits(table(n))
    assert not any(each.written for each in tables)


def test_tables_that_are_gone_are_not_written(monkeypatch: pytest.MonkeyPatch) -> None:
    written: list[int] = []

    def noted(own: Held) -> list[memoryview]:
        written.append(own.size)
        return []

    monkeypatch.setattr(Held, "bytes", noted)
    for seed in range(6):
        Held(table(seed)).frame  # noqa: B018 - looked at
    assert written == []


def test_bins_travel_to_another_process_and_are_put_aside_there() -> None:
    """Written or not; arrays that several columns share are one there too."""
    own = [Held(table(seed)) for seed in range(4)]
    before = [bits(table(seed)) for seed in range(4)]
    for each in own:
        _ = each.frame
    assert any(each.written for each in own)
    there = pickle.loads(pickle.dumps(own, protocol=5))  # noqa: S301 - our own
    assert [bits(each.frame) for each in there] == before
    assert any(each.written for each in there)
    assert [each.size for each in there] == [each.size for each in own]
    small_one = Held(table(1).head(3))
    assert bits(pickle.loads(pickle.dumps(small_one)).frame) == bits(table(1).head(3))  # noqa: S301 - our own
