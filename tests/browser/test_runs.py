"""The run charts of an engine page: drawn, chosen from by keyboard, kept in the address, and readable as a table."""

from __future__ import annotations

from pathlib import Path

import pytest
from browser.opened import opened
from playwright.sync_api import Browser

ENGINE = "programs/pump-rings-2026/b2/index.html"


FIGURE = "figure[data-name=runs]"


def test_every_channel_is_drawn_with_phases_reference_points_and_the_stop(browser: Browser, published: Path) -> None:
    with opened(browser) as found:
        page = found.go(published, ENGINE)
        figure = page.locator(FIGURE)
        charts = figure.locator(".chart")
        assert charts.count() == 14
        assert charts.evaluate_all("all => all.every(each => each.dataset.drawn === 'yes')")
        first = charts.first
        assert first.locator("svg text", has_text="stop").count() == 1
        assert first.locator("svg path[fill^='var(--faint']").count() == 8  # reference points, shaded
        assert page.locator("summary", has_text="Planned and run").is_visible()


def test_a_channel_is_hidden_by_keyboard_and_stays_so_by_the_address(browser: Browser, published: Path) -> None:
    with opened(browser) as found:
        page = found.go(published, ENGINE)
        figure = page.locator(FIGURE)
        figure.locator("details.choose > summary").press("Enter")
        box = figure.locator("input[data-series]").nth(1)
        lines = figure.locator(".chart").nth(1).locator("svg path[fill=none]")
        before = lines.count()
        box.press("Space")
        assert lines.count() < before
        assert "without=Torque" in page.url
        page.reload()
        page.wait_for_selector('html[data-charts="all"]', state="attached")
        figure = page.locator(FIGURE)
        assert not figure.locator("input[data-series]").nth(1).is_checked()


def test_the_data_stand_in_a_table_of_channels(browser: Browser, published: Path) -> None:
    with opened(browser) as found:
        page = found.go(published, ENGINE)
        rows = page.locator("table[data-name=channels-by-phase] tbody tr")
        assert rows.count() == 4 * 14
    with opened(browser, scripts=False) as found:
        found.page.goto((published / ENGINE).as_uri())
        assert found.page.locator("table[data-name=channels-by-phase] tbody tr").count() == 4 * 14


def test_a_stretch_of_time_is_looked_at_by_keyboard_and_stays_in_the_address(browser: Browser, published: Path) -> None:
    with opened(browser) as found:
        page = found.go(published, ENGINE)
        figure = page.locator(FIGURE)
        whole = figure.locator(".chart").first.locator("svg path[fill=none]")
        extent = """all => {
            const across = all.flatMap(p => p.getAttribute("d").match(/[\\d.]+,/g).map(parseFloat));
            return [Math.min(...across), Math.max(...across), across.length];
        }"""
        before = whole.evaluate_all(extent)
        figure.get_by_role("button", name="run-in, 60 min").press("Enter")
        after = whole.evaluate_all(extent)
        assert after[:2] == pytest.approx(before[:2], abs=3)  # px: the stretch takes the whole width of the panel
        assert 0 < after[2] < before[2]
        assert figure.locator(".chart").first.locator("svg text", has_text="stop").count() == 1
        assert ".minutes=25.83-65.25" in page.url
        first = figure.locator("input[data-edge=from]")
        first.fill("40")
        first.press("Tab")
        assert ".minutes=40-65.25" in page.url
        assert figure.locator(".chart").first.locator("svg path[fill^='var(--faint']").count() == 2
        page.reload()
        page.wait_for_selector('html[data-charts="all"]', state="attached")
        assert page.locator(FIGURE).locator("input[data-edge=from]").input_value() == "40"
        page.locator(FIGURE).get_by_role("button", name="all of it").press("Enter")
        assert "minutes" not in page.url


def test_a_stretch_that_is_none_shows_the_whole(browser: Browser, published: Path) -> None:
    with opened(browser) as found:
        page = found.go(published, ENGINE)
        figure = page.locator(FIGURE)
        for text in ("999", ""):
            first = figure.locator("input[data-edge=from]")
            first.fill(text)
            first.press("Tab")
            assert "minutes" not in page.url
            assert first.input_value() == "0"


def test_events_stand_on_the_same_axis(browser: Browser, published: Path) -> None:
    with opened(browser) as found:
        page = found.go(published, "programs/pump-rings-2026/b6/index.html")
        first = page.locator(FIGURE).locator(".chart").first
        assert first.locator("svg text", has_text="meter check").count() == 1
        assert first.locator("svg text", has_text="adjusted").count() == 1
        assert (
            page.locator("table[data-name=events] tbody tr").count() == 3
        )  # and the check of the crankcase, before it ran
