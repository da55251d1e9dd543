"""Tables that can be sorted and searched, and an address that says how they stand."""

from __future__ import annotations

from pathlib import Path

from browser.opened import opened, unfold
from playwright.sync_api import Browser, Page

PAGE = "programs/pump-rings-2026/b6/cylinder-2.html"
TABLE = "#readings-b6-2"


def column(page: Page, number: int) -> list[str]:
    """Texts of one column, of the rows that are shown."""
    cells = page.locator(f"{TABLE} tbody tr:not([hidden]) > :nth-child({number})")
    return [text.replace("\u00a0", " ") for text in cells.all_text_contents()]


def press(page: Page, number: int) -> None:
    page.locator(f"{TABLE} thead th:nth-child({number}) button").press("Enter")


def test_three_presses_sort_up_down_and_as_written(browser: Browser, published: Path) -> None:
    with opened(browser) as found:
        page = unfold(found.go(published, PAGE))
        written = column(page, 9)
        head = page.locator(f"{TABLE} thead th:nth-child(4)")
        press(page, 4)
        leaks = [float(text) for text in column(page, 4)]
        assert leaks == sorted(leaks)
        assert head.get_attribute("aria-sort") == "ascending"
        press(page, 4)
        assert [float(text) for text in column(page, 4)] == sorted(leaks, reverse=True)
        assert head.get_attribute("aria-sort") == "descending"
        press(page, 4)
        assert column(page, 9) == written
        assert head.get_attribute("aria-sort") is None
        assert found.said == []


def test_words_find_rows_and_the_address_keeps_them(browser: Browser, published: Path) -> None:
    with opened(browser) as found:
        page = unfold(found.go(published, PAGE))
        every = len(column(page, 9))
        press(page, 4)
        page.locator(".find", has=page.locator("xpath=following-sibling::*[1]//table[@id='readings-b6-2']")).locator(
            "input"
        ).fill("oil added")
        assert column(page, 9) == ["leakdown-b6:57"]
        assert f"1 of {every} rows" in page.locator(".find span").all_text_contents()
        address = page.url
        assert "~readings-b6-2.3.up" in address
        page.goto("about:blank")
        page.goto(address)
        page.wait_for_selector("html[data-tables=ready]")
        assert column(page, 9) == ["leakdown-b6:57"]
        assert page.locator(f"{TABLE} thead th:nth-child(4)").get_attribute("aria-sort") == "ascending"
        assert page.evaluate("() => window.scrollY") > 0


def test_a_strange_address_changes_nothing(browser: Browser, published: Path) -> None:
    with opened(browser) as found:
        page = unfold(found.go(published, PAGE))
        written = column(page, 9)
        for strange in (
            "#~readings-b6-2.99.up",
            "#~nothing=x",
            "#~readings-b6-2=%E0%A4%A",
            "#~<img src=x onerror=alert(1)>",
        ):
            page.goto("about:blank")
            page.goto((published / PAGE).as_uri() + strange)
            page.wait_for_selector("html[data-tables=ready]")
            assert column(page, 9) == written, strange
        assert found.said == []


def test_without_scripts_a_table_stands_as_written(browser: Browser, published: Path) -> None:
    with opened(browser, scripts=False) as found:
        found.page.goto((published / PAGE).as_uri())
        assert len(column(found.page, 9)) == 14
        assert found.page.locator(".sort, .find").count() == 0


def test_a_heading_sorts_and_its_link_leads_to_the_method(browser: Browser, published: Path) -> None:
    with opened(browser) as found:
        page = unfold(found.go(published, PAGE))
        head = page.locator(f"{TABLE} thead th:nth-child(4)")
        assert head.locator("button a").count() == 0
        assert head.inner_text().split() == ["Leak", "%"]
        button = head.get_by_role("button", name="Sort by Leak")
        button.press("Enter")
        assert head.get_attribute("aria-sort") == "ascending"
        page.keyboard.press("Shift+Tab")
        assert page.evaluate("() => document.activeElement.textContent") == "Leak"
        with page.expect_navigation():
            page.keyboard.press("Enter")
        assert page.url.endswith("methods.html#leakdown-reading")
        entry = page.locator("#leakdown-reading")
        assert entry.is_visible()
        box = entry.bounding_box()
        assert box is not None
        assert 0 <= box["y"] < 900


def test_a_saved_table_keeps_its_headings(browser: Browser, published: Path) -> None:
    with opened(browser) as found:
        page = unfold(found.go(published, PAGE))
        with page.expect_download() as download:
            page.locator("[data-of='readings-b6-2']").click()
        text = Path(download.value.path()).read_text(encoding="utf-8-sig")
        assert text.splitlines()[0].startswith('"Phase, repeat",')
        assert "Supply [kPa gauge],Cylinder [kPa gauge],Leak [%]," in text.splitlines()[0]
        assert len(text.splitlines()) == 15


def test_from_home_to_a_reading_by_keyboard_alone(browser: Browser, published: Path) -> None:
    """Home, program, cylinder, reading: three links, each reached by the tab key and opened with return."""

    def to(page: Page, address: str) -> None:
        for _ in range(120):
            page.keyboard.press("Tab")
            if page.evaluate("() => document.activeElement.getAttribute('href')") == address:
                with page.expect_navigation():
                    page.keyboard.press("Enter")
                return
        raise AssertionError(f"{address} is not reached by keyboard")

    with opened(browser) as found:
        page = found.go(published, "index.html")
        to(page, "programs/pump-rings-2026/index.html")
        to(page, "b6/cylinder-2.html")
        assert page.url.endswith("b6/cylinder-2.html")
        assert "leakdown-b6:15" in column(page, 9)
