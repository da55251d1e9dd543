"""The layout of charts: what is drawn where, and what is refused."""

from __future__ import annotations

import copy
import json
import math
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from sitegen.page.blocks import ChartRow, Figure, Panel, Track
from sitegen.pages import bundle, charts
from sitegen.pages.bundle import chart_script
from sitegen.pages.compiled import DrawingError, drawing, expression

PHASES: list[ChartRow] = [
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


def test_of_more_labels_than_fit_the_highest_and_lowest_stay() -> None:
    rows = [mean(2, 0.3 + 0.001 * i, f"B{i:02}", label=f"B{i:02}") for i in range(40)]
    drawn = one(figure(means=rows))
    assert [label["s"] for label in drawn["data"]["ends"]] == ["B00", "B39"]
    assert all(0 <= label["v"] <= drawn["signals"]["top"] for label in drawn["data"]["ends"])
    fewer = one(figure(means=rows[:13]))
    assert len(fewer["data"]["ends"]) == 13


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


def test_the_script_is_the_same_with_and_without_a_cache(tmp_path: Path) -> None:
    made = chart_script(tmp_path / "cache")
    (tmp_path / "file").write_text("no folder")
    assert made == chart_script(tmp_path / "cache") == chart_script(tmp_path / "file" / "cache")
    assert made.startswith(b"window.sitegenDrawings=")
    assert b"window.sitegenPaint" in made
    assert len(made) < 60_000  # bytes: parsed before the first chart of every page


def test_half_a_kept_file_is_not_taken_for_a_whole_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bundle, "_drawings", lambda: b"drawings // 1\n")
    assert chart_script(tmp_path).startswith(b"drawings // 1\n")
    monkeypatch.setattr(bundle, "_drawings", lambda: b"drawings // new\n")
    assert chart_script(tmp_path).startswith(b"drawings // 1\n")  # kept
    for file in tmp_path.iterdir():
        file.write_bytes(file.read_bytes()[:-1])
    assert chart_script(tmp_path).startswith(b"drawings // new\n")


# ---- series, places of labels, weight ----


def test_series_carry_their_number_and_leave_the_axis_alone() -> None:
    rows = [mean(0, 0.9, "B1", series="B1"), mean(1, 0.5, "B1", series="B1", label="B1", text="0.5")]
    other = [mean(0, 0.3, "B2", series="B2", coating="hard"), mean(1, 0.2, "B2", series="B2", coating="hard")]
    thin = [{"line": "B2 cylinder 1", "x": x, "value": 0.3, "series": "B2"} for x in (0, 1)]
    fig = figure(means=[*rows, *other], thin=thin, limits=[{"value": 0.35, "label": "limit"}])
    assert charts.series(fig) == [("B1", "soft"), ("B2", "hard")]
    data = one(fig)["data"]
    assert [point["q"] for point in data["points"]] == [0, 0, 1, 1]
    assert {(line["r"], line["q"]) for line in data["lines"]} == {("m", 0), ("m", 1), ("t", 1)}
    assert data["ends"][0]["q"] == data["texts"][0]["q"] == 0
    assert all("q" not in row for row in data["limits"])


def test_a_single_series_is_nothing_to_choose_from() -> None:
    fig = figure(means=[mean(0, 0.9, series="B1"), mean(1, 0.5, series="B1")])
    assert charts.series(fig) == []
    assert {point["q"] for point in one(fig)["data"]["points"]} == {-1}


@pytest.mark.parametrize("last", [0.02, 0.10, 0.30, 0.34, 0.345, 0.36, 0.40, 0.80])
@pytest.mark.parametrize("neighbour", [0.05, 0.33, 0.36, 0.41])
def test_the_number_at_the_last_point_is_clear_of_the_labels_at_the_edge(last: float, neighbour: float) -> None:
    thin = [{"line": "cyl", "x": x, "value": neighbour, "label": "cyl. 1, 3" if x == 2 else ""} for x in range(3)]
    means = [mean(0, 0.9), mean(1, 0.5), mean(2, last, text=f"{last}")]
    limits, band = [{"value": 0.35, "label": "limit 0.35"}], [{"low": 0.01, "high": 0.06, "label": "end gaps alone"}]
    drawn = one(figure("history", means=means, thin=thin, limits=limits, band=band))
    scale = drawn["height"] / (drawn["signals"]["top"] - drawn["signals"]["bottom"])
    number = last * scale + 11  # px above the axis: it stands 11 px above its point (kinds.py, `texts`)
    heights = sorted(label["v"] * scale for label in drawn["data"]["edge"])
    assert len(heights) == 3
    assert min(abs(height - number) for height in heights) >= 12.9
    assert min(b - a for a, b in pairwise(heights)) >= 12.9
    assert heights[0] >= -0.1


def test_packing_loses_nothing() -> None:
    means = [mean(x, 0.9 - 0.1 * x, f"B{b}", low=0.1 if b else None, high=0.99, series=f"B{b}")
             for b in range(9) for x in range(3)]  # fmt: skip
    payload = one(figure(means=means, limits=[{"value": 0.35, "label": "limit"}]))
    packed = charts.packed(payload)
    assert {name: unpacked(each) for name, each in packed["data"].items()} == {
        name: rows for name, rows in payload["data"].items() if rows
    }
    assert len(json.dumps(packed)) < 0.5 * len(json.dumps(payload))


def test_times_evenly_apart_travel_as_their_ends() -> None:
    """What is read back lies within a hundredth of a second, and gaps between runs stay."""
    times = [begin + (i + 0.5) * pace for begin, pace in ((0.0, 0.0731), (31.7, 0.0729)) for i in range(400)]
    steps, runs = [20, *([1, -1] * 400)[:799]], [0] * 400 + [1] * 400
    path = Track([round(each, 4) for each in times], steps, [0] * 800, [0] * 800, runs, [0] * 800, 1, 20.0, 21.0)
    labels: list[ChartRow] = [{"at": 0.0, "to": 31.7, "label": "a"}, {"at": 31.7, "to": 62.0, "label": "b"}]
    payload = one(Figure("f", "run", [Panel("p", {"runs": labels}, {"from": 0.0, "to": 62.0}, path=path)]))
    packed = charts.packed(payload)["data"]["path"]
    column = packed["of"]["at"]["a"]
    read = [
        first + (last - first) * i / max(1, n - 1)
        for first, last, n in zip(column[::3], column[1::3], column[2::3], strict=True)
        for i in range(n)
    ]
    assert read == pytest.approx(times, abs=2e-4)
    assert len(column) <= 9
    assert packed["n"] == 800
    assert packed["of"]["v"] == steps
    assert packed["of"]["lo"] == 0
    assert packed["of"]["g"] == {"r": [0, 400, 1, 400]}
    assert payload["signals"]["top"] == 21


def test_upright_marks_stand_on_an_axis_that_holds_its_data() -> None:
    groups = [{"x": n, "label": f"B{n}", "under": "soft" if n < 2 else "hard"} for n in range(3)]
    points = [
        {"x": x, "value": 0.3 + 0.01 * i, "low": 0.28, "high": 0.36, "label": "cyl. 2" if x == i == 1 else ""}
        for x in range(3)
        for i in range(4)
    ]
    rows: dict[str, Any] = {"groups": groups, "points": points, "limits": [{"value": 0.35, "label": "limit 0.35"}]}
    drawn = one(Figure("f", "upright", [Panel("p", rows, axis="Leak area, mm²")]))
    signals = drawn["signals"]
    assert 0.2 < signals["bottom"] <= 0.28
    assert 0.36 <= signals["top"] < 0.4
    places = [point["x"] for point in drawn["data"]["points"]]
    assert min(b - a for a, b in pairwise(places)) > 0.1  # side by side, groups apart
    assert places[3] - places[0] < places[4] - places[0] - 0.3
    assert [(each["x"], each["s"]) for each in drawn["data"]["unders"]] == [(0.5, "soft"), (2.0, "hard")]
    assert drawn["data"]["ends"] == [{"x": pytest.approx(0.9), "v": 0.36, "s": "cyl. 2"}]
    assert drawn["data"]["axis"] == [{"s": "Leak area, mm²"}]
    asked = one(Figure("f", "upright", [Panel("p", rows, {"least": 0.0, "most": 0.8})]))["signals"]
    assert (asked["bottom"], asked["top"]) == (0.0, 0.8)


def test_panels_of_a_figure_begin_at_one_place() -> None:
    panels = [Panel("a", {"phases": PHASES, "means": [mean(0, most)]}) for most in (0.2, 2400.0)]
    left = {each["pad"]["left"] for each in charts.payloads(Figure("f", "slope", panels, one_scale=False), {})}
    assert len(left) == 1


def unpacked(packed: dict[str, Any]) -> list[dict[str, Any]]:
    """As the page's script reads it."""
    columns = {}
    for field, column in packed["of"].items():
        if isinstance(column, dict):
            pairs = zip(column["r"][::2], column["r"][1::2], strict=True)
            columns[field] = [value for value, times in pairs for _ in range(times)]
        else:
            columns[field] = column if isinstance(column, list) else [column] * packed["n"]
    return [{field: column[i] for field, column in columns.items()} for i in range(packed["n"])]


# ---- from Vega to our drawings ----


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("datum.v + nobody", "unknown signal 'nobody'"),
        ("random()", "unknown function 'random'"),
        ("window", "unknown signal 'window'"),
        ("{a: 1}", "object"),
    ],
)
def test_an_expression_beyond_the_painter_is_refused(text: str, says: str) -> None:
    with pytest.raises(DrawingError, match=says):
        expression(text, ["n"])


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda spec: spec["marks"][0].update(type="arc"), "mark 'arc'"),
        (lambda spec: spec["marks"][0]["encode"]["update"].update(blend={"value": "multiply"}), "blend of the rect"),
        (lambda spec: spec["scales"][0].update(type="log"), "not plainly linear"),
        (lambda spec: spec["axes"][0].update(titlePadding=3), "titlePadding"),
        (lambda spec: spec["data"].append({"name": "d", "source": "band", "transform": [{"type": "bin", "expr": "1"}]}),
         "transform 'bin'"),
        (lambda spec: spec["marks"][0]["encode"]["update"].update(x=[{"test": "n > 1", "value": 0}, {"value": 1}]),
         "a condition"),
    ],
)  # fmt: skip
def test_a_drawing_beyond_the_painter_is_refused(change: Callable[[Any], None], says: str) -> None:
    spec: Any = copy.deepcopy(bundle.specifications()["slope"])
    assert drawing(spec)
    change(spec)
    with pytest.raises(DrawingError, match=says):
        drawing(spec)


def test_a_thin_line_stands_with_the_marks_of_its_series() -> None:
    means = [mean(x, 0.3 + place / 10, name, series=name) for place, name in enumerate(("B1", "B2")) for x in (0, 1)]
    thin = [{"line": "B2 cylinder 2", "x": x, "value": 0.5, "series": "B2", "label": ""} for x in (0, 1)]
    payload = one(figure(means=means, thin=thin))
    marks = [each["x"] for each in payload["data"]["points"] if each["v"] == 0.4]
    drawn = [each["x"] for each in payload["data"]["lines"] if each["r"] == "t"]
    assert drawn == marks
    assert drawn != [0, 1]
    alone = one(figure(means=means, thin=[{**each, "series": "B3"} for each in thin]))
    assert [each["x"] for each in alone["data"]["lines"] if each["r"] == "t"] == [0, 1]


def test_a_label_moved_off_the_end_of_its_line_is_led_to() -> None:
    crowd = [mean(1, 0.30 + place / 1000, f"B{place}", label=f"B{place}") for place in range(4)]
    far = mean(1, 0.9, "B9", label="B9")
    ends = {each["s"]: each for each in one(figure(means=[*crowd, far]))["data"]["ends"]}
    assert [ends[f"B{place}"]["of"] for place in range(4)] == [0.30, 0.301, 0.302, 0.303]
    assert [ends[name]["far"] for name in ("B0", "B3", "B9")] == [1, 1, 0]
    assert ends["B0"]["f"] < ends["B3"]["f"] < ends["B0"]["x"]  # each from the mark of its own line
