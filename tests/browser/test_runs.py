"""The run charts of an engine page: drawn, chosen from by keyboard, kept in the address, and readable as a table."""

from __future__ import annotations

from pathlib import Path

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
        assert page.locator("#planned-and-run").is_visible()


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
