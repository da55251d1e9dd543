"""The methods page in a browser: found by a word, opened by a link, short on paper."""

from __future__ import annotations

import io
from pathlib import Path

from browser.opened import opened
from playwright.sync_api import Browser
from pypdf import PdfReader

PAGE = "methods.html"


def test_finding_opens_what_holds_the_words_and_stands_in_the_address(browser: Browser, published: Path) -> None:
    with opened(browser) as found:
        page = found.go(published, PAGE)
        page.wait_for_selector("html[data-tables=ready]")
        every = page.locator(".entry").count()
        assert page.locator(".entry[open]").count() == 0
        page.locator(".find input").first.fill("kendall")
        shown = page.locator(".entry:not([hidden])")
        assert 0 < shown.count() < 12
        assert all("kendall" in each.lower() for each in shown.all_inner_texts())
        assert page.locator(".entry[open]").count() == shown.count()
        assert page.locator(".find [role=status]").first.inner_text() == f"{shown.count()} of {every} entries"
        assert page.url.endswith("#~entries=kendall")
        address = page.url
        page.locator(".find input").first.fill("")
        assert page.locator(".entry[open], .entry[hidden]").count() == 0
        page.goto("about:blank")
        page.goto(address)
        page.wait_for_selector("html[data-tables=ready]")
        assert 0 < page.locator(".entry[open]").count() < 12
        assert page.locator(".find input").first.input_value() == "kendall"
        assert found.said == []


def test_words_of_the_glossary_are_found_too(browser: Browser, published: Path) -> None:
    with opened(browser) as found:
        page = found.go(published, PAGE)
        page.wait_for_selector("html[data-tables=ready]")
        page.locator(".find input").first.fill("since somebody gave")
        shown = page.locator(".entry:not([hidden])")
        assert shown.all_inner_texts()[0].startswith("left out on objection")
        assert shown.count() == 1
        assert page.locator("#glossary").is_visible()
        assert not page.locator("#intervals").is_visible()


def test_a_link_opens_the_entry_it_leads_to(browser: Browser, published: Path) -> None:
    with opened(browser) as found:
        page = found.page
        page.goto((published / PAGE).as_uri() + "#buildsheet-mass")  # one of several in an entry
        target = page.locator("#buildsheet-mass")
        target.wait_for(state="visible")
        assert page.locator(".entry[open]").count() == 1
        box = target.bounding_box()
        assert box is not None
        assert 0 <= box["y"] < 900
        page.evaluate("() => { location.hash = '#leakdown-area'; }")
        page.wait_for_function("() => document.getElementById('leakdown-area').open")


def test_without_scripts_every_entry_opens(browser: Browser, published: Path) -> None:
    with opened(browser, scripts=False) as found:
        page = found.page
        page.goto((published / PAGE).as_uri())
        assert page.locator(".find").count() == 0
        entry = page.locator("#leakdown-area")
        assert not entry.locator(".formula").is_visible()
        entry.locator("summary").click()
        assert entry.locator(".formula").is_visible()


def test_paper_holds_the_open_entries_only(browser: Browser, published: Path) -> None:
    with opened(browser) as found:
        page = found.go(published, PAGE)
        closed = PdfReader(io.BytesIO(page.pdf(format="A4")))
        assert len(closed.pages) <= 8
        said = " ".join(each.extract_text() for each in closed.pages)
        formula = page.locator("#leakdown-area .formula").text_content() or ""
        assert formula
        assert " ".join(formula.split()) not in " ".join(said.split())
        page.locator("#leakdown-area summary").click()
        opened_ = " ".join(each.extract_text() for each in PdfReader(io.BytesIO(page.pdf(format="A4"))).pages)
        assert len(opened_) > len(said) + len(formula)
