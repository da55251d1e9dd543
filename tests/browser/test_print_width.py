"""On paper nothing may be cut at the right: no table, figure or list of any page is wider than its text."""

from __future__ import annotations

from pathlib import Path

from playwright.sync_api import Browser

PAPER = 680  # px: A4 of 210 mm less twice 15 mm, at 96 px an inch, by the size of a page in the style sheet
TOO_WIDE = """paper => [...document.querySelectorAll("main table, main figure, main svg, main dl, main pre, main img")]
  .filter(each => each.getBoundingClientRect().right > paper + 0.5)
  .map(each => `${each.tagName} ${each.dataset.name || each.className || ""}`)"""


def test_no_table_or_figure_of_any_page_is_wider_than_paper(browser: Browser, published: Path) -> None:
    found = {}
    page = browser.new_page(viewport={"width": PAPER, "height": 900})
    try:
        page.emulate_media(media="print")
        pages = sorted(published.rglob("*.html"))
        for path in pages:
            page.goto(path.as_uri())
            if wide := page.evaluate(TOO_WIDE, PAPER):
                found[path.relative_to(published).as_posix()] = wide
    finally:
        page.close()
    assert len(pages) > 50
    assert found == {}
