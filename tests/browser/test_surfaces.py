"""Traces, curves and ring faces on a cylinder page, ties on the program page: drawn, and readable without scripts."""

from __future__ import annotations

from pathlib import Path

import pytest
from browser.opened import opened
from browser.test_charts import DRAWN, alike, by_library, marks_of
from playwright.sync_api import Browser

CYLINDER = "programs/pump-rings-2026/b1/cylinder-1.html"
PLACES = [(f"bore-traces-b1-1-{place}", 2) for place in ("thrust-top-reversal", "thrust-mid-stroke",
                                                         "antithrust-mid-stroke")]  # traces, curves  # fmt: skip
PROGRAM = "programs/pump-rings-2026/index.html"


def test_traces_curves_and_faces_are_drawn_beside_their_numbers(browser: Browser, published: Path) -> None:
    with opened(browser) as found:
        page = found.go(published, CYLINDER)
        for name, panels in (*PLACES, ("ring-section-b1-1-top-180-deg", 1), ("ring-face-b1-1", 4)):
            charts = page.locator(f"figure[data-name={name}] .chart")
            assert charts.count() == panels
            assert charts.evaluate_all("all => all.every(each => each.dataset.drawn === 'yes')")
            assert charts.first.locator("svg path[fill=none]").count() >= 2  # before and after
        step = page.locator("table[data-name=bore-wear-b1-1] tbody tr").first.locator("td, th")
        assert step.nth(1).inner_text().startswith("1.2")
        assert "the bore had worn by" in page.locator("section[aria-labelledby=surfaces] .reading").first.inner_text()


def test_picture_traces_and_numbers_of_a_place_stand_side_by_side_and_wrap(browser: Browser, published: Path) -> None:
    for width, beside in ((1280, True), (390, False)):
        with opened(browser, width=width) as found:
            page = found.go(published, CYLINDER)
            for place, what in (("bore-b1-1-thrust-top-reversal", "Bore, thrust side, top reversal"),
                                ("ring-b1-1-top-180-deg", "Top ring face, back of the gap")):  # fmt: skip
                sides = page.locator(f"#{place} .sides > div")
                assert sides.count() == 3
                assert what in sides.nth(0).inner_text()
                boxes = [sides.nth(n).bounding_box() for n in range(3)]
                tops = {round(box["y"]) for box in boxes if box}
                assert (len(tops) == 1) is beside
                assert all(box is not None and box["x"] + box["width"] <= width for box in boxes)


@pytest.mark.parametrize("width", [390, 1280])
def test_nothing_reaches_beyond_the_page(browser: Browser, published: Path, width: int) -> None:
    with opened(browser, width=width) as found:
        page = found.go(published, CYLINDER)
        assert page.evaluate("() => document.documentElement.scrollWidth") <= width


def test_one_odd_cylinder_tells_what_the_ties_do_not(browser: Browser, published: Path) -> None:
    """The simulator lets the rings of B6 cylinder 2 alone run in badly; inspectors grade them like the others."""
    with opened(browser) as found:
        page = found.go(published, PROGRAM)
        section = page.locator("section[aria-labelledby=odd]")
        chart = section.locator(".chart")
        assert chart.count() == 1
        assert chart.evaluate("each => each.dataset.drawn") == "yes"
        said = section.inner_text()
        assert "B6 cylinder 2 is odd in leak area to the crankcase, ring mass lost and contact band" in said
        assert "None of the other 27 cylinders is odd" in said
        assert "graded 1.0, “evenly run in”: grade and measures contradict each other" in said
        ties = page.locator("section[aria-labelledby=ties]")
        assert ties.locator("figure").count() == 0
        assert ties.locator("p a[href='#odd']").count() == 2
        assert ties.inner_text().count("chance alone does as much") == 2
        page = found.go(published, "programs/pump-rings-2026/b6/cylinder-2.html")
        assert "This cylinder is odd in leak area" in page.locator("section[aria-labelledby=odd]").inner_text()
        page = found.go(published, "programs/pump-rings-2026/b6/cylinder-1.html")
        assert "Not odd among those of its engine" in page.locator("section[aria-labelledby=odd]").inner_text()


def test_the_numbers_stand_without_scripts(browser: Browser, published: Path) -> None:
    with opened(browser, scripts=False) as found:
        found.page.goto((published / CYLINDER).as_uri())
        own = found.page.locator("table[data-name=bore-parameters-b1-1-thrust-top-reversal]")
        assert own.locator("tbody tr").count() == 18  # traces, sixteen parameters, stated over computed
        assert own.locator("thead th").all_inner_texts() == ["Parameter", "Cold build", "Teardown"]
        assert found.page.locator("table[data-name=ring-wear-b1-1] tbody tr").count() == 6


@pytest.mark.parametrize("width", [390, 1280])
@pytest.mark.parametrize(("path", "chart"), [(CYLINDER, "ring-face-b1-1-panel-1"), (PROGRAM, "odd-cylinders-panel-1")])
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
