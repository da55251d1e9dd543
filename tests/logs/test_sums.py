"""Integrals, bins and facts against what is known of a signal, and against other ways to count."""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy import integrate

from logs.house import Folder
from sitegen.logs import bins as binning
from sitegen.logs.reading import LogFile
from sitegen.program.model import Address, LogTime

RPM = math.pi / 30
ANY = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    return Folder(tmp_path)


def written(columns: Mapping[str, Any]) -> str:
    """A log, every number in full."""
    return pd.DataFrame(columns).to_csv(index=False, lineterminator="\n")


def test_a_run_whose_work_is_known(folder: Folder) -> None:
    """Up from rest, steady, and down: by hand 0.5·60·30 + 600·30 + 0.5·30·30 revolutions at 1800 rpm.

    At 100 N m throughout the work is torque times angle: 2·pi·100 J a revolution.
    """
    t = np.arange(0, 690.05, 0.1)
    n = np.interp(t, [0, 60, 660, 690], [0, 1800, 1800, 0])
    found = folder.read(written({"Time": t, "n": n, "Md": np.full(len(t), 100.0)}), "speed", "torque")
    assert found.revolutions == pytest.approx(900 + 18_000 + 450, rel=1e-3)
    assert found.energy == pytest.approx(2 * math.pi * 100 * (900 + 18_000 + 450), rel=1e-3)
    assert found.running_seconds == pytest.approx(690 - 90 * 95.5 / 1800, abs=0.2)


def test_power_that_swings_with_speed(folder: Folder) -> None:
    """Mean of (a + b·sin)(c + d·sin) is a·c + b·d/2, not the product of the means."""
    t = np.arange(0, 1000.001, 0.05)
    swing = np.sin(2 * math.pi * t / 2)
    text = written({"Time": t, "n": 1500 + 300 * swing, "Md": 100 + 50 * swing})
    found = folder.read(text, "speed", "torque")
    assert found.energy == pytest.approx((1500 * 100 + 300 * 50 / 2) * RPM * 1000, rel=1e-3)


def test_noise_of_a_pick_up_at_rest_turns_nothing(folder: Folder) -> None:
    found = folder.read(written({"Time": range(600), "n": [20, -5, 60] * 200}))
    assert (found.revolutions, found.running_seconds) == (0.0, 0.0)


@given(data=st.data())
@ANY
def test_sums_against_scipy(folder: Folder, data: st.DataObject) -> None:
    """Uneven steps, speed and torque missing here and there: the samples that are there, joined by lines."""
    count = data.draw(st.integers(3, 60))
    t = np.cumsum(data.draw(st.lists(st.sampled_from([0.5, 1.0, 1.5]), min_size=count, max_size=count)))
    n = np.array(data.draw(st.lists(st.integers(200, 3000), min_size=count, max_size=count)), dtype=float)
    torque = np.array(data.draw(st.lists(st.integers(-50, 300), min_size=count, max_size=count)), dtype=float)
    for values in (n, torque):
        values[data.draw(st.lists(st.integers(1, count - 2), max_size=count // 8))] = np.nan
    found = folder.read(written({"Time": t, "n": n, "Md": torque}), "speed", "torque")
    if found.gaps or _holes(t, n) or _holes(t, torque):
        return
    there = ~np.isnan(n)
    assert found.revolutions == pytest.approx(integrate.trapezoid(n[there] / 60, t[there]), rel=1e-9)
    grid = np.unique(np.concatenate([t[there], t[~np.isnan(torque)]]))
    both = np.interp(grid, t[there], n[there]) * RPM
    both *= np.interp(grid, t[~np.isnan(torque)], torque[~np.isnan(torque)])
    assert found.energy == pytest.approx(integrate.trapezoid(both, grid), rel=1e-9, abs=1e-6)


def test_work_of_channels_at_two_rates_over_many_pieces(folder: Folder, monkeypatch: pytest.MonkeyPatch) -> None:
    """The slow column runs ahead of the fast one in the file; work is done once for every instant, gaps left out."""
    monkeypatch.setattr("sitegen.reader.pieces.STEP", 150)
    fast = np.concatenate([np.arange(0, 30, 0.1), np.arange(100, 130, 0.1)])
    slow = np.concatenate([np.arange(0, 30, 1.0), np.arange(100, 130, 1.0)])
    padded = pd.Series(slow).reindex(range(len(fast)))
    text = written({"t1": fast, "n": 1200 + 10 * fast, "t2": padded, "Md": 100 - padded / 2})
    times = [LogTime("elapsed", (Address(name),), "s") for name in ("t1", "t2")]
    found = folder.read(text, ("speed", "n", "rpm", times[0]), ("torque", "Md", "N m", times[1]), time=None)
    assert found.gaps[0] == pytest.approx((29.9, 100.0))

    def work(begin: float, end: float) -> float:
        """Integral of (1200 + 10 t)(100 - t / 2), by hand."""
        return sum(sign * (120_000 * t + 400 * t**2 / 2 - 5 * t**3 / 3) for sign, t in ((1, end), (-1, begin)))

    assert found.energy == pytest.approx((work(0, 29) + work(100, 129)) * RPM, rel=1e-6)


def _holes(t: np.ndarray, x: np.ndarray) -> bool:
    steps = np.diff(t[~np.isnan(x)])
    return bool((steps > 4 * np.median(steps)).any())


@given(data=st.data())
@ANY
def test_bins_and_facts_against_pandas(folder: Folder, data: st.DataObject, monkeypatch: pytest.MonkeyPatch) -> None:
    """In pieces of any size the same comes out as over the whole table at once."""
    count = data.draw(st.integers(2, 120))
    ticks = data.draw(st.lists(st.integers(0, 9), min_size=count, max_size=count))
    t = np.cumsum(ticks) / 4
    x = np.array(data.draw(st.lists(st.integers(20, 24), min_size=count, max_size=count)), dtype=float)
    x[data.draw(st.lists(st.integers(0, count - 1), max_size=10))] = np.nan
    monkeypatch.setattr("sitegen.reader.pieces.STEP", data.draw(st.integers(20, 400)))
    monkeypatch.setattr(binning, "MOST", data.draw(st.sampled_from([8, 40, 10_000])))
    found = folder.read(written({"Time": t, "T oil": x}), "oil_temperature")
    since = t - t[0]
    if np.isnan(x).all():
        assert found.facts["oil_temperature"].n == 0
        return
    width = 1.0
    while since[-1] / width >= binning.MOST:
        width *= 2
    assert found.width == width
    groups = pd.Series(x + 273.15).groupby((since // width).astype(int))
    whole = groups.agg(["mean", "min", "max"]).reindex(range(len(found.bins)))
    held = whole["mean"].notna().to_numpy()
    for name, own in (("", "mean"), (".low", "min"), (".high", "max")):
        np.testing.assert_allclose(
            found.bins[f"oil_temperature{name}"].to_numpy()[held], whole[own].to_numpy()[held], rtol=1e-12
        )
    _same_facts(found, since, x)


def _same_facts(found: LogFile, t: np.ndarray, x: np.ndarray) -> None:
    facts = found.facts["oil_temperature"]
    there = x[~np.isnan(x)]
    assert (facts.n, facts.missing) == (len(there), len(x) - len(there))
    assert facts.distinct == len(set(there))
    assert facts.low == pytest.approx(there.min() + 273.15)
    assert facts.mean == pytest.approx(there.mean() + 273.15)
    assert facts.at_high == pytest.approx((there == there.max()).mean())
    assert facts.at_low == pytest.approx((there == there.min()).mean())
    pairs = there[1:] == there[:-1]
    assert facts.share_constant == pytest.approx(pairs.mean() if len(pairs) else 0.0)
    if not found.gaps:
        own, longest, since = t[~np.isnan(x)], 0.0, 0
        for at in range(1, len(there)):
            since = since if there[at] == there[at - 1] else at
            longest = max(longest, own[at] - own[since])
        assert facts.longest_constant == pytest.approx(longest)


def test_longest_constant_over_pieces(folder: Folder, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sitegen.reader.pieces.STEP", 64)
    x = [90.0, 91.0, *[92.0] * 400, 93.0, *[92.0] * 30]
    found = folder.read(written({"Time": range(len(x)), "T oil": x}), "oil_temperature")
    assert found.facts["oil_temperature"].longest_constant == 399.0


@pytest.mark.parametrize("step", range(64, 84))
def test_nothing_stands_still_across_a_gap(folder: Folder, monkeypatch: pytest.MonkeyPatch, step: int) -> None:
    """Wherever pieces begin."""
    monkeypatch.setattr("sitegen.reader.pieces.STEP", step)
    t = [100 * burst + i for burst in range(10) for i in range(10)]
    found = folder.read(written({"Time": t, "T oil": [90] * 100}), "oil_temperature")
    assert len(found.gaps) == 9
    assert found.facts["oil_temperature"].longest_constant == 9.0


def test_bins_of_a_log_longer_than_there_are_bins(folder: Folder) -> None:
    t = np.arange(450_000)
    found = folder.read(written({"Time": t, "n": 1000 + t % 7}))
    assert (found.width, len(found.bins)) == (4.0, 112_500)
    assert found.bins["t"].iloc[-1] == 449_996
    first = (1000 + np.arange(4)) * RPM
    row = found.bins.iloc[0]
    assert (row["speed"], row["speed.low"], row["speed.high"]) == pytest.approx((first.mean(), first[0], first[3]))
    assert np.nanmax(found.bins["speed.high"]) == pytest.approx(1006 * RPM)


def test_slow_channel_is_joined_by_lines(folder: Folder) -> None:
    """One sample in five seconds: the bins between lie on a line, not across a hole of a minute."""
    t = [*range(0, 50, 5), *range(110, 160, 5)]
    found = folder.read(written({"Time": t, "T oil": [20 + each / 5 for each in t]}), "oil_temperature")
    values = found.bins["oil_temperature"].to_numpy() - 273.15
    assert values[7] == pytest.approx(20 + 7.5 / 5)  # at the middle of its bin
    assert np.isnan(values[46:110]).all()
    assert found.facts["oil_temperature"].n == 20


def test_the_same_with_and_without_pyarrow(folder: Folder, monkeypatch: pytest.MonkeyPatch) -> None:
    rng = np.random.default_rng(20260214)
    table = {"Time": np.arange(5000) / 10, "n": rng.normal(1800, 20, 5000).round(2), "Md": rng.normal(140, 2, 5000)}
    text = written(table)
    with_arrow = folder.read(text, "speed", "torque")
    monkeypatch.setattr("sitegen.logs.reading._has_arrow", lambda: False)
    without = folder.read(text, "speed", "torque")
    pd.testing.assert_frame_equal(with_arrow.bins, without.bins, rtol=1e-14)
    assert with_arrow.energy == pytest.approx(without.energy, rel=1e-13)
    assert with_arrow.revolutions == pytest.approx(without.revolutions, rel=1e-13)
    for name, facts in with_arrow.facts.items():
        assert facts.share_constant == without.facts[name].share_constant
        assert facts.n == without.facts[name].n


@given(st.binary(max_size=300))
@ANY
def test_any_bytes_give_an_answer(folder: Folder, junk: bytes) -> None:
    folder.read(b"Time,n\n0,900\n1,1000\n" + junk, "speed")
    folder.read(junk, "speed")


_CELLS = ["0", "1", "2.5", "", "x", '"', "*.*", "1,5", " 3 ", "-4", "1e999", "nan"]
_LINE = st.lists(st.sampled_from(_CELLS), max_size=4)


@given(st.lists(_LINE, max_size=12), st.sampled_from([",", ";", "\t"]), st.booleans())
@ANY
def test_any_rows_give_an_answer(folder: Folder, lines: list[list[str]], mark: str, arrow: bool) -> None:
    """Whatever rows hold, what comes out adds up, and the quick reader says nothing the careful one does not."""
    text = mark.join(["Time", "n", "Md"]) + "\n" + "".join(mark.join(line) + "\n" for line in lines)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("sitegen.logs.reading._has_arrow", lambda: arrow)
        quick = folder.read(text, "speed", "torque")
        patch.setattr("sitegen.logs.cells.Parser._at_once", lambda *_: None)
        patch.setattr("sitegen.logs.cells.Parser._by_arrow", lambda *_: None)
        patch.setattr("sitegen.logs.cells.Parser._by_column", lambda *_: None)
        careful = folder.read(text, "speed", "torque")
    assert quick.problems == careful.problems
    assert (quick.rows, quick.used, str(quick.facts)) == (careful.rows, careful.used, str(careful.facts))
