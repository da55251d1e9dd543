"""A log of 300 h on the page of a build: each hour can be looked at closer, extremes kept, and the page is light."""

from __future__ import annotations

from pathlib import Path

import pytest
from browser.opened import opened, unfold
from browser.test_runs import extent, numbers
from logs.long_run import HEADERS, STEP, Columns, laid
from playwright.sync_api import Browser

from sitegen import cli

PAGE = "programs/pump-rings-2025/a1/index.html"
SPIKE = 217.4  # h
MOST = 300_000  # bytes


def dip(columns: Columns) -> None:
    """One sample of 10 s."""
    columns["Oil pressure"][round(SPIKE * 3600 / STEP)] = 87.0


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    base = tmp_path_factory.mktemp("closer")
    headers = {name: HEADERS[name] for name in ("speed", "torque", "blowby", "oil_pressure")}
    folder = laid(base, dip, 300.0, headers=headers)
    assert cli.main(["publish", str(folder), "--to", str(base / "site"), "--no-cache"]) == 0
    return base / "site"


def test_any_hour_of_a_long_log_is_drawn_by_the_minute_with_its_extremes(browser: Browser, site: Path) -> None:
    assert (site / PAGE).stat().st_size <= MOST
    with opened(browser) as found:
        page = found.go(site, PAGE)
        unfold(page)
        assert not [each for each in found.requests if "/rows/" in each]  # nothing before it is asked for
        figure = page.locator("figure:has(.chart[data-title='Oil pressure'][data-finer])").first
        chart = figure.locator(".chart[data-title='Oil pressure']")
        figure.get_by_role("button", name="40 h").click()
        chart.locator("svg").wait_for()
        for hour in (3, 217, 298):
            edges = figure.locator("input[data-edge]")
            edges.last.fill(str(60 * hour + 60))
            edges.first.fill(str(60 * hour))
            edges.first.press("Tab")
            page.wait_for_function(
                "e => [...e.querySelectorAll('svg path[fill=none]')].some(p => p.getAttribute('d').split(',')[50])",
                arg=chart.element_handle(),
            )
            assert 55 <= extent(chart)[2] <= 70
            assert (min(numbers(chart)) <= 90) == (hour == 217)  # of one sample of 10 s
        asked = {each for each in found.requests if "/rows/" in each}
        assert asked
        assert all(each.startswith("file://") for each in found.requests)
        assert found.said == []
        assert figure.locator(".refused").text_content() == ""


def test_without_the_finer_rows_what_is_on_the_page_stays_and_it_is_said(
    browser: Browser, site: Path, tmp_path: Path
) -> None:
    """A page that was sent alone, without the folder beside it."""
    page_file = tmp_path / "index.html"
    text = (site / PAGE).read_text(encoding="utf-8").replace("../../../assets", (site / "assets").as_uri())
    page_file.write_text(text, encoding="utf-8")
    with opened(browser) as found:
        page = found.page
        page.goto(page_file.as_uri())
        page.wait_for_selector('html[data-charts="all"]', state="attached")
        unfold(page)
        figure = page.locator("figure:has(.chart[data-title='Oil pressure'][data-finer])").first
        figure.locator("input[data-edge]").first.wait_for()
        figure.get_by_role("button", name="40 h").click()
        page.wait_for_function("e => e.querySelector('.refused').textContent.startsWith('Not shown finer')",
                               arg=figure.element_handle())  # fmt: skip
        assert figure.locator(".chart[data-title='Oil pressure'] svg").count() == 1
