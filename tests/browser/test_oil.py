"""Oil on the pages: a ledger that adds up, metal over the phases, samples that were not drawn as planned."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest
from browser.opened import opened
from playwright.sync_api import Browser, Page

PROGRAM = "programs/pump-rings-2026/"
BUILDS = ("b1", "b2", "b4", "b5", "b7")


def unfolded(page: Page) -> Page:
    """The page with all its folds open: what lies in a closed one has no text to a reader."""
    page.evaluate("() => document.querySelectorAll('details').forEach(each => { each.open = true; })")
    return page


def figures(page: Page, name: str) -> list[list[str]]:
    """The cells of a table, row by row, with a plain minus and without thin spaces."""
    rows = unfolded(page).locator(f"table[data-name={name}] tbody tr")
    cells: list[list[str]] = rows.evaluate_all(
        "rows => rows.map(row => [...row.cells].map(cell => cell.innerText.split('\\n')[0]))"
    )
    return [[cell.replace("\u2212", "-").replace("\u202f", "").strip() for cell in row] for row in cells]


@pytest.mark.parametrize("build", BUILDS)
def test_the_ledger_adds_up_to_the_last_digit_shown(browser: Browser, published: Path, build: str) -> None:
    """Exact, in decimal arithmetic on the digits a reader sees: metals to what was made, oil in to oil out."""
    with opened(browser) as found:
        rows = figures(found.go(published, f"{PROGRAM}{build}/index.html"), f"oil-ledger-{build}")
    end = next(at for at, row in enumerate(rows) if row[0].startswith("Metal made"))
    terms, made = rows[:end], rows[end]
    assert len(terms) >= 4
    for column in range(2, len(made)):
        parts = [Decimal(row[column]) for row in terms if row[column] != "–"]
        assert sum(parts) == Decimal(made[column]), (build, column)
        places = {part.as_tuple().exponent for part in parts if part}
        assert len(places) == 1, "all rows of a column show the same digits"
    oil = {row[0]: Decimal(row[1]) for row in terms if row[1] != "–"}
    into = [mass for what, mass in oil.items() if what.startswith("Fresh oil")]
    assert sum(into) == sum(oil.values()) - sum(into)


def test_metal_is_drawn_over_the_phases_with_what_was_done_to_the_oil(browser: Browser, published: Path) -> None:
    with opened(browser) as found:
        page = found.go(published, f"{PROGRAM}b2/index.html")
        charts = page.locator("figure[data-name=metal-made-b2] .chart")
        assert charts.count() == 1
        assert charts.evaluate_all("all => all.every(each => each.dataset.drawn === 'yes')")
        said = " ".join(charts.first.inner_text().split())
        for label in ("oilfilled", "newoil,+0.35 kg", "iron", "aluminium"):  # of two lines the break is no space
            assert label in said
        oil = page.locator("section[aria-labelledby=oil]")
        assert "of iron" in oil.locator(".reading").first.inner_text()
        assert "Molybdenum cannot be read as wear" not in oil.inner_text()
        assert (
            "Molybdenum cannot be read as wear" in unfolded(page).locator("section[aria-labelledby=oil]").inner_text()
        )


def test_late_and_missing_samples_are_marked(browser: Browser, published: Path) -> None:
    with opened(browser) as found:
        page = unfolded(found.go(published, f"{PROGRAM}b2/index.html"))
        late = page.locator("table[data-name=oil-samples-b2] tbody tr", has_text="drawn late")
        assert late.count() == 1
        assert "run-in, 25 min" in late.inner_text()
        page = unfolded(found.go(published, f"{PROGRAM}b4/index.html"))
        assert page.locator("table[data-name=oil-samples-b4] tbody tr", has_text="drawn elsewhere").count() == 1
        page = unfolded(found.go(published, f"{PROGRAM}b5/index.html"))
        missing = page.locator("table[data-name=oil-samples-b5] tbody tr", has_text="missing")
        assert missing.count() == 1
        assert "run-in, 25 min" in missing.inner_text()


def test_metal_of_mixed_engines_is_refused_to_a_coating(browser: Browser, published: Path) -> None:
    with opened(browser) as found:
        page = found.go(published, "coatings/nitrided.html")
        said = page.locator("main").text_content() or ""  # behind the fold of each program
        assert "say nothing about a coating" in said
        assert page.locator("table[data-name=pump-rings-2026-oil-next-build] tbody tr").count() >= 2
        assert page.locator("table[data-name=pump-rings-2025-oil-next-build]").count() == 0


@pytest.mark.parametrize("width", [390, 1280])
def test_nothing_reaches_beyond_the_page(browser: Browser, published: Path, width: int) -> None:
    with opened(browser, width=width, dark=width == 390) as found:
        for path in (f"{PROGRAM}b2/index.html", f"{PROGRAM}index.html", "coatings/nitrided.html"):
            page = found.go(published, path)
            assert page.evaluate("() => document.documentElement.scrollWidth") <= width, path
        assert found.said == []


def test_pages_of_engines_stay_light(published: Path) -> None:
    for build in BUILDS:
        assert (published / f"{PROGRAM}{build}/index.html").stat().st_size <= 300_000, build
