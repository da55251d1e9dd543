"""The page of review of many builds: light, its readings in scripts beside it, and nothing of a review lost by that."""

from __future__ import annotations

import csv
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from browser.opened import Opened, accessible, opened
from browser.test_extremes import MOST
from browser.test_review import saved
from house import once
from playwright.sync_api import Browser, Page
from simulate.programs import write_large

from sitegen.cli import main

BUILDS, MORE, CYLINDERS, EVERY = 3, 5, 4, 400
PAGE = "programs/large/review.html"


def published(builds: int, factory: pytest.TempPathFactory) -> Path:
    """A small program with the bounds of a large one: a script for each build, and a table with few rows shown."""

    def make(to: Path) -> None:
        write_large(to / "programs", builds, CYLINDERS)
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr("sitegen.pages.review.READINGS", 50)
            patch.setattr("sitegen.pages.setting.MOST_CELLS", 20)
            patch.setattr("sitegen.pages.setting.SHOWN_ROWS", 4)
            assert main(["publish", str(to / "programs"), "--to", str(to / "site"), "--no-cache"]) == 0

    return once(factory, f"review-of-{builds}-builds", make)


@pytest.fixture(scope="session")
def large(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return published(BUILDS, tmp_path_factory)


@pytest.fixture
def tab(browser: Browser) -> Iterator[Opened]:
    with opened(browser, accept_downloads=True) as found:
        yield found
        assert found.said == []
        assert [url for url in found.requests if not url.startswith(("file:", "blob:"))] == []


def at(page: Page, site: Path, place: str) -> Page:
    page.goto(f"{(site / PAGE).as_uri()}#place.{place}")
    page.wait_for_selector("#marking[data-ready=yes]")
    return page


def subject(page: Page) -> str:
    return page.locator(".subject h3").inner_text()


def asked(found: Opened) -> list[str]:
    """Scripts of readings that were loaded."""
    return sorted({url.rpartition("/")[2] for url in found.requests if "/review-readings" in url})


def object_to(page: Page, reading: str, why: str) -> None:
    row = page.locator("li.mark").filter(has=page.get_by_text(reading, exact=True))
    row.locator("select").first.select_option("objects")
    row.locator("input").fill(why)


def test_the_page_stays_light_at_any_number_of_builds(large: Path, tmp_path_factory: pytest.TempPathFactory) -> None:
    """By what a build more adds: each has its line in the page, and nothing else of it is there."""
    small, larger = (
        (folder / "site" / PAGE).stat().st_size for folder in (large, published(MORE, tmp_path_factory))
    )  # fmt: skip
    a_build = (larger - small) / (MORE - BUILDS)
    assert a_build > 0
    assert small + a_build * (EVERY - BUILDS) < MOST


def test_every_reading_of_a_cylinder_can_be_marked_and_no_other_script_is_loaded(large: Path, tab: Opened) -> None:
    page = at(tab.page, large / "site", "l003.2")
    assert subject(page).startswith("L003 cylinder 2")
    rows = 0
    for name in ("leakdown-l003.csv", "buildsheet-l003.csv"):
        with (large / "programs" / "large" / "records" / name).open(encoding="utf-8") as file:
            rows += sum(row["cylinder"] == "2" for row in csv.DictReader(file))
    assert page.locator("li.mark").count() == rows > 10
    assert asked(tab) == ["review-readings-3.js"]


def test_a_saved_file_names_marks_of_every_script_and_is_placed_again(
    large: Path, tab: Opened, browser: Browser, tmp_path: Path
) -> None:
    page = at(tab.page, large / "site", "l001.1")
    page.get_by_label("Your name").fill("M. S.")
    object_to(page, "leakdown-l001:3", "it jumped")
    page.evaluate("() => { location.hash = '#place.l003.2'; }")
    page.wait_for_selector("text=leakdown-l003:5")
    page.get_by_label("L003 cylinder 2", exact=True).select_option("agrees")
    object_to(page, "leakdown-l003:5", "the gauge stuck")
    own = saved(page, tmp_path)
    text = own.read_text(encoding="utf-8")
    assert '{"reading":"leakdown-l001:3","says":"objects","why":"it jumped"}' in text
    assert '{"reading":"leakdown-l003:5","says":"objects","why":"the gauge stuck"}' in text
    assert '{"build":"L003","cylinder":2,"says":"agrees"}' in text
    page.evaluate("() => localStorage.clear()")
    with opened(browser, accept_downloads=True) as another:
        again = at(another.page, large / "site", "l002.4")
        again.locator("#review-file").set_input_files(str(own))
        again.wait_for_function("() => document.querySelectorAll('.queue .marked').length === 2")
        marked = again.locator(".queue .marked").all_inner_texts()
        assert [each.rpartition(": ")[2] for each in marked] == ["1 marked", "2 marked"]
        assert [each[:15] for each in marked] == ["L001 cylinder 1", "L003 cylinder 2"]
        assert saved(again, tmp_path / "second").read_bytes() == own.read_bytes()
        assert another.said == []


def test_what_the_browser_kept_is_counted_before_its_readings_are_loaded(large: Path, tab: Opened) -> None:
    page = at(tab.page, large / "site", "l001.1")
    object_to(page, "leakdown-l001:3", "it jumped")
    page.close(run_before_unload=False)
    tab.requests.clear()
    tab.page = page.context.new_page()
    tab.page.on("request", lambda request: tab.requests.append(request.url))
    again = at(tab.page, large / "site", "l002.1")
    assert "were taken up again: 1" in again.locator("#marking").inner_text()
    assert again.locator(".queue .marked").all_inner_texts()[0].startswith("L001 cylinder 1")
    assert asked(tab) == ["review-readings-2.js"]
    again.evaluate("() => { location.hash = '#place.l001.1'; }")
    row = again.locator("li.mark").filter(has=again.get_by_text("leakdown-l001:3", exact=True))
    assert row.locator("input").input_value() == "it jumped"


def test_builds_and_cylinders_are_found_by_words_and_keys(large: Path, tab: Opened) -> None:
    page = at(tab.page, large / "site", "l001")
    page.get_by_role("searchbox", name="Find").fill("l003 cylinder")
    assert page.locator("#marking .find").inner_text().endswith("4 of 15")
    page.keyboard.press("Enter")
    assert subject(page).startswith("L003 cylinder 1")
    assert page.url.endswith("#place.l003.1")
    page.get_by_role("button", name="Next").click()
    assert subject(page).startswith("L003 cylinder 2")
    page.locator(".queue [aria-current=true]").focus()
    for key in ("ArrowDown", "End", "ArrowUp", "Enter"):  # the last of those found, and the one before it
        page.keyboard.press(key)
    assert subject(page).startswith("L003 cylinder 3")
    page.locator(".queue [aria-current=true]").focus()
    page.keyboard.press("Tab")  # out of the list, however long it is
    assert page.evaluate("() => document.activeElement.closest('.subject') !== null")
    page.get_by_role("button", name="Before").click()
    page.get_by_role("button", name="Before").click()
    page.get_by_role("button", name="Before").click()
    assert subject(page).startswith("L003 cylinder 1")  # no further than the words go


def test_what_a_table_keeps_in_the_address_stays_there(large: Path, tab: Opened) -> None:
    page = tab.page
    page.goto(f"{(large / 'site' / PAGE).as_uri()}#place.l002.2~review-queue.0.down")
    page.wait_for_selector("#marking[data-ready=yes]")
    page.wait_for_selector("html[data-tables=ready]")
    assert subject(page).startswith("L002 cylinder 2")
    page.get_by_role("button", name="Next").click()
    assert page.url.endswith("#place.l002.3~review-queue.0.down")
    page.wait_for_function("() => document.querySelectorAll('#review-queue tbody tr').length === 12")
    assert page.locator("#review-queue tbody th").first.inner_text() == "L003 cylinder 4"


def test_a_script_that_is_not_there_is_told_and_the_rest_is_marked(
    large: Path, browser: Browser, tmp_path: Path
) -> None:
    site = Path(shutil.copytree(large / "site", tmp_path / "site"))
    (site / "programs" / "large" / "rows" / "review-readings-2.js").unlink()
    with opened(browser, accept_downloads=True) as found:
        page = at(found.page, site, "l002.2")
        assert "rows/review-readings-2.js is not there" in page.locator(".subject").inner_text()
        page.get_by_label("Your name").fill("M. S.")
        page.get_by_label("L002 cylinder 2", exact=True).select_option("objects")
        assert '{"build":"L002","cylinder":2,"says":"objects"}' in saved(page, tmp_path).read_text(encoding="utf-8")
        page.evaluate("() => { location.hash = '#place.l003.2'; }")
        page.wait_for_selector("text=leakdown-l003:5")
        assert all("review-readings-2.js" in each or "ERR_FILE_NOT_FOUND" in each for each in found.said)


def test_without_scripts_every_cylinder_is_led_to(large: Path, browser: Browser) -> None:
    with opened(browser, scripts=False) as found:
        page = found.page
        page.goto(f"{(large / 'site' / PAGE).as_uri()}#place.l003.4")
        assert "Marking needs scripts" in page.locator("#marking").inner_text()
        assert page.locator("#marking li").last.inner_text() == "L003 cylinder 1 2 3 4"
        page.locator("[id='place.l003.4']").click()
        assert "L003" in page.locator("h1").inner_text()
        assert found.page.url.endswith("/l003/cylinder-4.html")


def test_axe_finds_nothing_and_paper_shows_no_controls(large: Path, browser: Browser) -> None:
    with opened(browser, bypass_csp=True) as found:
        page = at(found.page, large / "site", "l002.1")
        accessible(page, "light", "dark")
        page.emulate_media(media="print")
        assert not page.locator("#marking").is_visible()
        assert page.locator("#review-queue tbody tr").count() == 4
        assert "The first 4 of 12 rows" in page.locator("main").inner_text()
