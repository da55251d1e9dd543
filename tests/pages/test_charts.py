"""The layout of charts: what is drawn where, and what is refused."""

from __future__ import annotations

import math
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from sitegen.pages import bundle, charts
from sitegen.pages.bundle import chart_scripts
from sitegen.vocabulary import Figure, Panel

PHASES = [
    {"x": i, "label": label, "under": f"{i} km"} for i, label in enumerate(("cold build", "run-in, 15 min", "pulls"))
]
ORDERS = {"soft": 1, "hard": 2}


def figure(kind: str = "slope", **data: Any) -> Figure:
    return Figure("f", kind, [Panel("p", {"phases": PHASES, **data}, coating="soft")])


def mean(x: int, value: float, line: str = "B1", **more: Any) -> dict[str, Any]:
    return {"line": line, "x": x, "value": value, **more}


def one(fig: Figure) -> dict[str, Any]:
    return charts.payloads(fig, ORDERS)[0]


def test_axis_starts_at_zero_and_ends_past_every_mark() -> None:
    for most in (0.0123, 0.31, 0.99, 1.0, 7.2, 138.0, 2610.0):
        signals = one(figure(means=[mean(0, most), mean(1, most / 3)]))["signals"]
        assert signals["bottom"] == 0
        assert most < signals["top"] <= 1.45 * most
        assert 4 <= len(signals["ticks"]) <= 9
        assert signals["ticks"][-1] == pytest.approx(signals["top"])


def test_panels_share_the_axis() -> None:
    panels = [
        Panel("a", {"phases": PHASES, "means": [mean(0, 0.2)]}),
        Panel("b", {"phases": PHASES, "means": [mean(0, 0.9)]}),
    ]
    first, second = charts.payloads(Figure("f", "slope", panels), {})
    assert first["signals"]["top"] == second["signals"]["top"] >= 0.9


def test_a_measure_below_zero_is_shown_below_zero() -> None:
    signals = one(figure(means=[mean(0, 0.2), mean(1, -0.1)]))["signals"]
    assert signals["bottom"] <= -0.1


def test_a_wide_interval_does_not_stretch_the_axis_and_is_marked_as_cut() -> None:
    drawn = one(figure(means=[mean(0, 0.5, low=-3.0, high=9.0), mean(1, 0.4, low=0.2, high=math.inf)]))
    assert drawn["signals"]["top"] < 1
    assert all(
        point["up"] == 1 and point["hi"] == drawn["signals"]["top"] and point["lo"] >= 0
        for point in drawn["data"]["points"]
    )


def test_lines_break_between_assemblies_and_are_dashed_from_a_cold_check() -> None:
    rows = [mean(0, 0.8, cold=True, part="a1"), mean(1, 0.5, part="a1"), mean(2, 0.4, part="a2")]
    lines = one(figure(means=rows))["data"]["lines"]
    pieces = {row["g"]: [r["x"] for r in lines if r["g"] == row["g"]] for row in lines}
    assert list(pieces.values()) == [[0.0, 1.0]]  # the single check of a2 is a point without a line
    assert {row["d"] for row in lines} == {1}


def test_labels_do_not_cover_each_other() -> None:
    rows = [mean(2, 0.3 + 0.004 * i, f"B{i}", label=f"B{i}") for i in range(5)]
    drawn = one(figure(means=rows))
    scale = drawn["height"] / drawn["signals"]["top"]
    heights = sorted(label["v"] * scale for label in drawn["data"]["ends"])
    assert min(b - a for a, b in pairwise(heights)) >= 12.9
    order = [label["s"] for label in sorted(drawn["data"]["ends"], key=lambda label: label["v"])]
    assert order == [f"B{i}" for i in range(5)]


def test_an_interval_that_is_not_known_is_not_drawn() -> None:
    point = one(figure(means=[mean(0, 0.3)]))["data"]["points"][0]
    assert point["lo"] is None
    assert point["hi"] is None


@pytest.mark.parametrize(
    ("fig", "says"),
    [
        (figure("pie"), "no chart kind 'pie'"),
        (figure(means=[{"line": "B1", "x": 0}]), "lacks 'value'"),
        (figure(means=[mean(0, 0.3, colour="red")]), "no field 'colour'"),
        (figure(means=[mean(0, math.nan)]), "which nothing can draw"),
        (figure(slices=[]), "no rows 'slices'"),
    ],
)
def test_rows_no_chart_can_draw_are_a_fault(fig: Figure, says: str) -> None:
    with pytest.raises(charts.ChartError, match=says):
        charts.payloads(fig, ORDERS)


def test_scripts_are_the_same_with_and_without_a_cache(tmp_path: Path) -> None:
    made = chart_scripts(tmp_path / "cache")
    (tmp_path / "file").write_text("no folder")
    assert made == chart_scripts(tmp_path / "cache") == chart_scripts(tmp_path / "file" / "cache")
    assert made[0].startswith(b"window.sitegenCharts=")
    assert made[1].startswith(b"(function(){")


def test_half_a_kept_file_is_not_taken_for_a_whole_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bundle, "_drawings", lambda: b"drawings // 1")
    monkeypatch.setattr(bundle, "_library", lambda: b"library // 2")
    made = chart_scripts(tmp_path)
    for file in tmp_path.iterdir():
        file.write_bytes(file.read_bytes()[:-1])
    monkeypatch.setattr(bundle, "_drawings", lambda: b"drawings // new")
    assert made == (b"drawings // 1", b"library // 2")
    assert chart_scripts(tmp_path) == (b"drawings // new", b"library // 2")
