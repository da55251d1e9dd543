"""Traces, curves and ring faces on a cylinder page, ties on the program page: drawn, and readable without scripts."""

from __future__ import annotations

from pathlib import Path

import pytest
from browser.opened import opened
from browser.test_charts import DRAWN, alike, by_library, marks_of
from playwright.sync_api import Browser

CYLINDER = "programs/pump-rings-2026/b1/cylinder-1.html"
PROGRAM = "programs/pump-rings-2026/index.html"
ENGINE = "programs/pump-rings-2026/b6/index.html"


def test_sections_and_traces_are_drawn_and_the_bore_stands_once(browser: Browser, published: Path) -> None:
    with opened(browser) as found:
        page = found.go(published, CYLINDER)
        page.locator("details > summary", has_text="Traces and curves").click()
        for name, panels in (("ring-sections-b1-1", 5), ("bore-trace-b1-1", 1), ("bore-traces-b1-1", 5)):
            charts = page.locator(f"figure[data-name={name}] .chart")
            assert charts.count() == panels
            assert charts.evaluate_all("all => all.every(each => each.dataset.drawn === 'yes')")
            assert charts.first.locator("svg path[fill=none]").count() >= 2  # before and after
        bore = page.locator("table[data-name=bore-b1-1]")
        assert bore.locator("tr.groups th[scope=colgroup]").all_inner_texts() == [
            "Thrust side, top reversal", "Thrust side, mid stroke", "Antithrust side, mid stroke",
        ]  # fmt: skip
        rows = bore.locator("tbody tr")
        assert [each.split(",")[0] for each in rows.locator("th").all_inner_texts()] == [
            "Wear",
            "Rk",
            "Rpk",
            "Rvk",
            "Ra",
        ]
        assert rows.first.locator("td").nth(1).inner_text().startswith("1.2")
        assert "the bore had worn by" in page.locator("section[aria-labelledby=bore] .reading").first.inner_text()


def test_ring_sections_stand_in_one_row_on_one_axis_and_wrap(browser: Browser, published: Path) -> None:
    for width, in_row in ((1280, 5), (390, 2)):
        with opened(browser, width=width) as found:
            page = found.go(published, CYLINDER)
            panels = page.locator("figure[data-name=ring-sections-b1-1] .panel")
            boxes = [box for each in panels.all() if (box := each.bounding_box()) is not None]
            assert sum(abs(box["y"] - boxes[0]["y"]) < 1 for box in boxes) == in_row
            assert all(box["x"] + box["width"] <= width for box in boxes)
            numbers = [each.locator("svg text").all_inner_texts() for each in panels.all()]
            assert all(each == numbers[0] for each in numbers)
            assert panels.locator("h3").first.inner_text().startswith("20°, 1.4")


def test_the_state_shows_the_interval_that_decides_beside_its_limit(browser: Browser, published: Path) -> None:
    """verdicts.csv says what decided, measures.csv what the readings alone give."""
    with opened(browser) as found:
        page = found.go(published, CYLINDER)
        assert page.locator("h1").inner_text() == "B1 cylinder 1: seated"
        section = page.locator("section[aria-labelledby=state]")
        assert "The interval that decides its state, 0.291 to 0.346, lies within the limit" in section.inner_text()
        spans = section.locator("svg.interval .span")
        assert spans.count() == 2  # by its readings, and the one that decides
        drawn = section.locator("svg.interval .other").first.get_attribute("d")
        assert (drawn or "").count("M") == 3  # the marks of its neighbours
        readings, decides = (spans.nth(n).bounding_box() for n in range(2))
        assert readings is not None
        assert decides is not None
        assert decides["width"] > readings["width"]
        limit = section.locator("tfoot text", has_text="limit 0.35").bounding_box()
        assert limit is not None
        assert decides["x"] + decides["width"] < limit["x"] + limit["width"] / 2  # below the limit
        page = found.go(published, "programs/pump-rings-2026/b6/cylinder-2.html")
        assert "0.36 to 0.42, lies above the limit" in page.locator("section[aria-labelledby=state]").inner_text()


@pytest.mark.parametrize("width", [390, 1280])
def test_nothing_reaches_beyond_the_page(browser: Browser, published: Path, width: int) -> None:
    with opened(browser, width=width) as found:
        page = found.go(published, CYLINDER)
        assert page.evaluate("() => document.documentElement.scrollWidth") <= width


def test_one_odd_cylinder_tells_what_the_ties_do_not(browser: Browser, published: Path) -> None:
    """The simulator lets the rings of B6 cylinder 2 alone run in badly; inspectors grade them like the others."""
    with opened(browser) as found:
        page = found.go(published, PROGRAM)
        section = page.locator("details:has(> #odd)")
        section.locator("> summary").click()
        chart = section.locator(".chart")
        assert chart.count() == 1
        assert chart.evaluate("each => each.dataset.drawn") == "yes"
        said = section.inner_text()
        assert "B6 cylinder 2 is odd in leak area to the crankcase, ring mass lost and contact band" in said
        assert "None of the other 27 cylinders is odd" in said
        assert "graded 1.0, “evenly run in”: grade and measures contradict each other" in said
        ties = page.locator("details:has(> #ties)")
        assert ties.locator("figure").count() == 0
        assert ties.locator("p a[href='#odd']").count() == 2
        assert (ties.text_content() or "").count("chance alone does as much") == 2
        page = found.go(published, "programs/pump-rings-2026/b6/cylinder-2.html")
        assert "This cylinder is odd in leak area" in page.locator("section[aria-labelledby=odd]").inner_text()
        page = found.go(published, "programs/pump-rings-2026/b6/cylinder-1.html")
        assert "Not odd among those of its engine" in page.locator("details:has(> #odd) > summary").inner_text()


def test_the_numbers_stand_without_scripts(browser: Browser, published: Path) -> None:
    with opened(browser, scripts=False) as found:
        found.page.goto((published / CYLINDER).as_uri())
        assert found.page.locator("table[data-name=bore-b1-1] tbody tr").count() == 5
        own = found.page.locator("table[data-name=bore-parameters-b1-1]")
        assert (
            own.locator("tbody tr").count() == 17
        )  # traces, wear two ways, plateau, twelve parameters, stated over ours
        heads = own.locator("thead tr").last.locator("th").all_text_contents()
        assert heads == ["Parameter", *["Cold build", "Teardown"] * 3]
        assert found.page.locator("table[data-name=ring-wear-b1-1] tbody tr").count() == 6


@pytest.mark.parametrize("width", [390, 1280])
@pytest.mark.parametrize(
    ("path", "chart"), [(CYLINDER, "ring-sections-b1-1-panel-1"), (ENGINE, "odd-cylinders-panel-1")]
)
def test_curves_are_painted_as_the_library_draws_them(
    browser: Browser, published: Path, path: str, chart: str, width: int
) -> None:
    """Reference: Vega, by the `vl-convert` package, from the same specification and rows."""
    with opened(browser, width=width) as found:
        drawn = found.go(published, path).evaluate(DRAWN, chart)
    ours = marks_of(drawn["svg"])
    theirs = marks_of(by_library(drawn["kind"], drawn["rows"], drawn["signals"], drawn["pad"]))
    assert len(theirs["text"]) > 5
    for kind, marks in theirs.items():
        assert len(ours[kind]) == len(marks), kind
        assert alike(ours[kind], marks, 0.6) == [], kind
