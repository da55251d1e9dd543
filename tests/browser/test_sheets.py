"""Field sheets as they come out of a printer, on both papers."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from browser.opened import accessible, opened
from house import PROGRAMS, once
from playwright.sync_api import Browser
from pypdf import PdfReader

from sitegen import cli

# ISO 216 A4 and ANSI Y14.1 A (letter), lying [mm]
PAPERS = {"A4": (297, 210), "Letter": (279.4, 215.9)}
PACKETS = (
    "b1/run-in-60.html",
    "b2/teardown.html",
    "b3/durability.html",
    "b5/pulls.html",
    "b6/cold-build.html",
    "b4/labels.html",
)


@pytest.fixture(scope="module")
def sheets(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Every sheet of the larger example."""

    def make(to: Path) -> None:
        assert cli.main(["sheets", str(PROGRAMS / "pump-rings-2026"), "--to", str(to)]) == 0

    return once(tmp_path_factory, "sheets-printed", make)


def printed(browser: Browser, page: Path, paper: str, to: Path) -> list[str]:
    """Texts of the printed pages, each with single blanks."""
    with opened(browser) as found:
        found.page.goto(page.as_uri())
        found.page.pdf(path=str(to), format=paper, landscape=True)
        assert found.said == []
        assert [url for url in found.requests if not url.startswith(("file:", "data:"))] == []
    width, height = PAPERS[paper]
    pages = PdfReader(to).pages
    for each in pages:
        assert float(each.mediabox.width) / 72 * 25.4 == pytest.approx(width, abs=0.6)
        assert float(each.mediabox.height) / 72 * 25.4 == pytest.approx(height, abs=0.6)
    return [" ".join(each.extract_text().split()) for each in pages]


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("packet", PACKETS)
def test_every_printed_page_says_whose_it_is_and_holds_work(
    browser: Browser, sheets: Path, tmp_path: Path, packet: str, paper: str
) -> None:
    pages = printed(browser, sheets / packet, paper, tmp_path / "sheets.pdf")
    build = packet.split("/")[0].upper()
    assert (1 if "labels" in packet else 3) <= len(pages) <= 7
    for number, text in enumerate(pages, start=1):
        assert re.search(rf"\b{build}\b", text), (number, text)
        assert "Pump rings 2026" in text
        assert f"{number} / {len(pages)}" in text
        assert len(text) > 140, (number, text)  # no page with a last line alone
        begins = text.split(" / ")[1][:60]
        if "Before the work" in text:
            assert "Local codes, licensed practice, the site's rules and its competent person come first." in text
        else:  # a table that runs over: its headings stand again at the top; a label names its sample
            assert re.search("Cylinder|sample|Pull", begins + text[:200]), (number, text)


@pytest.mark.parametrize("paper", PAPERS)
def test_a_check_in_the_run_in_takes_four_pages(browser: Browser, sheets: Path, tmp_path: Path, paper: str) -> None:
    """Schedule, event log, leak-down with its paths, oil: each with its cautions, none runs over."""
    pages = printed(browser, sheets / "b3/run-in-60.html", paper, tmp_path / "sheets.pdf")
    assert [text.split(" / 4 ")[1].split(" B3")[0] for text in pages] == [
        "Schedule", "Event log", "Leak-down", "Oil sample",
    ]  # fmt: skip


def test_the_cautions_are_on_the_page_where_the_work_begins(browser: Browser, sheets: Path, tmp_path: Path) -> None:
    pages = printed(browser, sheets / "b3/durability.html", "A4", tmp_path / "sheets.pdf")
    pages += printed(browser, sheets / "b3/labels.html", "A4", tmp_path / "labels.pdf")
    by_title = {next(t for t in ("Schedule", "Event log", "Leak-down", "Oil sample", "Labels") if t in text[:40]): text
                for text in pages if "Before the work" in text}  # fmt: skip
    assert "1910.147" in by_title["Leak-down"]
    assert "AC 43.13-1B" in by_title["Leak-down"]
    assert "Supply pressure" in by_title["Leak-down"]
    assert "1910.95" in by_title["Schedule"]
    assert "skin cancer" in by_title["Labels"]
    assert "skin cancer" in by_title["Oil sample"]
    assert "guards on" in by_title["Event log"]


@pytest.mark.parametrize("packet", PACKETS)
def test_nothing_is_cut_off_at_the_edge(browser: Browser, sheets: Path, packet: str) -> None:
    with opened(browser) as found:
        page = found.page
        page.emulate_media(media="print")
        page.set_viewport_size({"width": round((279.4 - 22) / 25.4 * 96), "height": 700})  # letter less its margins
        page.goto((sheets / packet).as_uri())
        over = page.evaluate(
            "() => [...document.querySelectorAll('body *')].filter(e => e.getClientRects().length && "
            "!e.classList.contains('sr') && e.getBoundingClientRect().right > innerWidth + 1)"
            ".map(e => e.outerHTML.slice(0, 80))"
        )
        assert over == []
        # room for a pen: no cell to write in is narrower than 11 mm or lower than 7 mm
        small = page.evaluate(
            "() => [...document.querySelectorAll('.grid tbody td')].filter(e => !e.textContent.trim()).map(e => "
            "e.getBoundingClientRect()).filter(r => r.width < 11 * 96 / 25.4 || r.height < 7 * 96 / 25.4).length"
        )
        assert small == 0


def test_black_on_white_whatever_the_browser_likes(browser: Browser, sheets: Path) -> None:
    with opened(browser, dark=True) as found:
        found.page.goto((sheets / "b3/durability.html").as_uri())
        colours = found.page.evaluate(
            "() => { const s = getComputedStyle(document.documentElement); return [s.color, s.backgroundColor]; }"
        )
        assert colours == ["rgb(0, 0, 0)", "rgb(255, 255, 255)"]


def test_axe_finds_nothing(browser: Browser, sheets: Path) -> None:
    with opened(browser, bypass_csp=True) as found:
        for path in ("index.html", *PACKETS):
            found.page.goto((sheets / path).as_uri())
            accessible(found.page, "light")


def test_the_list_leads_to_every_file(browser: Browser, sheets: Path) -> None:
    with opened(browser) as found:
        found.page.goto((sheets / "index.html").as_uri())
        links: list[str] = found.page.evaluate("() => [...document.links].map(a => a.getAttribute('href'))")
    listed = {link for link in links if not link.startswith("#")}
    there = {path.relative_to(sheets).as_posix() for path in sheets.rglob("*") if path.is_file()}
    assert listed == there - {"index.html"}
