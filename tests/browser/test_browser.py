"""What a reader gets who opens the site from a folder by double click, without a network."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path
from typing import Any
from urllib.parse import unquote, urlsplit

import pytest
from browser.opened import accessible, kinds_of, opened, pages_of, unfold
from playwright.sync_api import Browser, Page
from pypdf import PdfReader

# ---- offline, silent, whole ------------------------------------------------------------------------------------------


def test_whole_silent_and_offline(browser: Browser, site: Path) -> None:
    charts = 0
    with opened(browser) as found:
        for path in kinds_of(site):
            page = unfold(found.go(site, path))
            for chart in page.locator(".chart").all():
                assert chart.get_attribute("data-drawn") == "yes", path
                assert chart.locator("svg path, svg line").count() > 5, path
                charts += 1
        assert found.said == []
        outside = [url for url in found.requests if not url.startswith((site.as_uri(), "data:", "blob:"))]
        assert outside == []
    assert charts >= 4


def test_the_page_is_ready_before_its_last_chart(browser: Browser, components: Path) -> None:
    with opened(browser) as found:
        page = found.go(components, "programs/probe-2026/index.html")
        assert page.evaluate("() => typeof window.vega") == "undefined"  # the library keeps its names to itself
        assert int(page.evaluate("() => document.documentElement.dataset.firstChart")) > 0


class Links(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.ids: list[str] = []
        self.links: list[str] = []

    def handle_starttag(self, _tag: str, attrs: list[tuple[str, str | None]]) -> None:
        for name, value in attrs:
            if name == "id" and value:
                self.ids.append(value)
            if name in {"href", "src"} and value:
                self.links.append(value)


def test_all_links_and_anchors_lead_somewhere(site: Path) -> None:
    parsed: dict[Path, Links] = {}
    for path in pages_of(site):
        parser = Links()
        parser.feed((site / path).read_text(encoding="utf-8"))
        parsed[(site / path).resolve()] = parser
        assert len(parser.ids) == len(set(parser.ids)), path
    followed = 0
    for source, parser in parsed.items():
        for link in parser.links:
            if link == "data:,":
                continue
            parts = urlsplit(link)
            assert not parts.scheme, (source, link)
            assert not parts.netloc, (source, link)
            target = (source.parent / unquote(parts.path)).resolve() if parts.path else source
            assert target.is_file(), (source, link)
            if parts.fragment:
                assert parts.fragment in parsed[target].ids, (source, link)
            followed += 1
    assert followed > 100


# ---- accessible ------------------------------------------------------------------------------------------------------


def test_axe_finds_nothing_in_light_and_dark(browser: Browser, site: Path) -> None:
    """With every fold open, so that nothing on a page is hidden from it."""
    with opened(browser, bypass_csp=True) as found:
        for path in kinds_of(site):
            accessible(unfold(found.go(site, path)), "light", "dark")


def test_a_scheme_sets_nothing_but_colours(site: Path) -> None:
    """What makes it enough to look at colours alone in the second scheme."""
    asked = 0
    for path in sorted((site / "assets").iterdir()):
        told = path.suffix in {".css", ".js"} and not path.name.startswith("saving-")  # it carries the same style along
        text = path.read_text(encoding="utf-8") if told else ""
        own = re.findall(r"@media screen and \(prefers-color-scheme: dark\) \{\s*:root \{([^{}]*)\}\s*\}", text)
        assert text.count("prefers-color-scheme") == len(own), path
        for each in own:
            assert re.fullmatch(r"(\s*--[\w-]+:\s*#[0-9a-f]{6};?)+\s*", each), (path, each)
        asked += len(own)
    assert asked


def test_axe_would_find_it(browser: Browser, components: Path) -> None:
    """Text as pale as its ground in one scheme, and a picture that says nothing."""
    pale = "@media (prefers-color-scheme: dark) { main p { color: #222; background: #202020 } }"
    with opened(browser, bypass_csp=True) as found:
        page = found.go(components, "index.html")
        page.add_style_tag(content=pale)
        accessible(page, "light")
        with pytest.raises(AssertionError, match="color-contrast"):
            accessible(page, "dark")
        page.evaluate("() => document.querySelector('main').append(new Image())")
        with pytest.raises(AssertionError, match="image-alt: <img>"):
            accessible(page, "light")


def test_without_scripts_everything_can_be_read(browser: Browser, components: Path) -> None:
    with opened(browser, scripts=False) as found:
        page = found.page
        page.goto((components / "programs/probe-2026/b2/cylinder-2.html").as_uri())
        assert page.locator("noscript").first.is_visible()
        assert not page.locator(".tools").first.is_visible()
        assert not page.locator("#history-data").is_visible()
        page.locator("figure[data-name=history] summary").click()
        assert page.locator("#history-data").is_visible()


def test_arrow_keys_turn_pages_but_leave_scrolling_tables_alone(browser: Browser, components: Path) -> None:
    with opened(browser) as found:
        page = found.go(components, "programs/probe-2026/b2/cylinder-2.html")
        page.locator(".scroll").last.focus()
        page.keyboard.press("ArrowRight")
        page.locator("main").click(position={"x": 2, "y": 2})
        assert page.url.endswith("cylinder-2.html")
        page.evaluate("() => document.activeElement.blur()")
        with page.expect_navigation():
            page.keyboard.press("ArrowRight")
        assert page.url.endswith("cylinder-3.html")
        with page.expect_navigation():
            page.keyboard.press("ArrowLeft")
        assert page.url.endswith("cylinder-2.html")


# ---- fits ------------------------------------------------------------------------------------------------------------


# Boxes of what is written in a chart, relative to the chart, of texts that can be seen.
BOXES = """() => [...document.querySelectorAll('.chart')].map(chart => {
  const own = chart.getBoundingClientRect();
  return {id: chart.id, width: own.width, height: own.height, texts: [...chart.querySelectorAll('svg text')]
    .filter(text => text.textContent.trim() && text.getAttribute('opacity') !== '0')
    .map(text => { const box = text.getBoundingClientRect();
      return {text: text.textContent, left: box.left - own.left, right: box.right - own.left,
              top: box.top - own.top, bottom: box.bottom - own.top}; })};
})"""


def clipped(page: Page) -> list[str]:
    return [
        f"{chart['id']}: {text['text']}"
        for chart in page.evaluate(BOXES)
        for text in chart["texts"]
        if text["left"] < -1
        or text["right"] > chart["width"] + 1
        or text["top"] < -1
        or text["bottom"] > chart["height"] + 1
    ]


def run_together(page: Page) -> list[tuple[str, str]]:
    """Phase labels and distances that touch their neighbour in the same row beneath a chart."""
    touching = []
    for chart in page.evaluate(BOXES):
        rows: dict[int, list[dict[str, Any]]] = {}
        for text in chart["texts"]:
            if text["top"] > chart["height"] - 62:
                rows.setdefault(round(text["bottom"]), []).append(text)
        for row in rows.values():
            ordered = sorted(row, key=lambda text: text["left"])
            touching += [(a["text"], b["text"]) for a, b in pairwise(ordered) if a["right"] > b["left"] + 1]
    return touching


@pytest.mark.parametrize("width", [340, 390, 768, 1280])
def test_everything_fits(browser: Browser, site: Path, width: int) -> None:
    texts = 0
    with opened(browser, width=width) as found:
        for path in kinds_of(site):
            page = found.go(site, path)
            assert page.evaluate("() => document.documentElement.scrollWidth") <= width, path
            assert clipped(page) == [], path
            assert run_together(page) == [], path
            texts += sum(len(chart["texts"]) for chart in page.evaluate(BOXES))
    assert texts > 50


def test_charts_refit_when_the_window_changes(browser: Browser, components: Path) -> None:
    with opened(browser) as found:
        page = found.go(components, "programs/probe-2026/b2/cylinder-2.html")
        before = page.locator(".chart svg").first.bounding_box()
        page.set_viewport_size({"width": 390, "height": 900})
        page.wait_for_function("() => document.querySelector('.chart svg').getAttribute('width') < 400")
        after = page.locator(".chart svg").first.bounding_box()
        assert before is not None
        assert after is not None
        assert before["width"] > 500 > after["width"] > 300
        assert clipped(page) == []


def test_print_is_whole_and_refitted(browser: Browser, site: Path, tmp_path: Path) -> None:
    with opened(browser, dark=True) as found:
        for path in kinds_of(site)[3:]:
            page = found.go(site, path)
            heading = page.locator("h1").inner_text().split("\n")[0][:14]
            phases = page.evaluate("() => [...document.querySelectorAll('.chart svg text')].map(t => t.textContent)")
            page.pdf(path=tmp_path / "page.pdf", prefer_css_page_size=True)
            reader = PdfReader(tmp_path / "page.pdf")
            text = " ".join(sheet.extract_text() for sheet in reader.pages)
            assert heading.split()[0] in text, path
            assert "Before any field work" in text
            # A4 [pt], but a page that leads with a decision goes on the paper there is: here letter
            paper = [612, 792] if page.locator("main > .decision").count() else [595, 842]
            assert [float(side) for side in reader.pages[0].mediabox[2:]] == pytest.approx(paper, abs=2)
            if phases:
                assert any(label and label in text for label in phases if re.search(r"[a-z]{3}", label)), path


def test_print_is_light(browser: Browser, components: Path) -> None:
    with opened(browser, dark=True) as found:
        page = found.go(components, "programs/probe-2026/index.html")
        page.emulate_media(media="print")
        colours = page.evaluate(
            "() => [getComputedStyle(document.documentElement).getPropertyValue('--ink').trim(),"
            " getComputedStyle(document.documentElement).getPropertyValue('--coating-1').trim()]"
        )
        assert colours == ["#1c1e21", "#2a5db0"]


# ---- taken away ------------------------------------------------------------------------------------------------------


def save(page: Page, ending: str, name: str) -> tuple[str, bytes]:
    figure = page.locator(f'figure[data-name="{name}"]')
    figure.locator("details").evaluate_all("folds => folds.forEach(fold => { fold.open = true; })")
    with page.expect_download() as waiting:
        figure.locator(f'button[data-save="{ending}"]').click()
    path = waiting.value.path()
    return waiting.value.suggested_filename, Path(path).read_bytes()


def test_a_figure_is_saved_as_svg_and_png(browser: Browser, components: Path) -> None:
    with opened(browser) as found:
        page = found.go(components, "programs/probe-2026/index.html")
        name, svg = save(page, "svg", "area-by-phase")
        assert name == "probe-2026_area-by-phase.svg"
        drawing = svg.decode()
        assert "var(" not in drawing
        assert "hard nitride &lt;/script>" in drawing
        assert "#b8480f" in drawing
        page.set_content(drawing)  # it stands alone
        assert page.locator("svg svg").count() == 2
        page = found.go(components, "programs/probe-2026/b2/cylinder-2.html")
        name, png = save(page, "png", "history")
        assert name == "b2-cylinder-2_history.png"
        box = page.locator(".chart svg").first.bounding_box()
        assert png[:8] == b"\x89PNG\r\n\x1a\n"
        assert box is not None
        assert int.from_bytes(png[16:20], "big") == pytest.approx(2 * box["width"], abs=2)


def test_a_table_is_saved_as_csv_with_units_and_plain_numbers(browser: Browser, components: Path) -> None:
    with opened(browser) as found:
        page = found.go(components, "programs/probe-2026/b2/cylinder-2.html")
        name, csv = save(page, "csv", "history")
        assert name == "b2-cylinder-2_history-data.csv"
        lines = csv.decode("utf-8-sig").split("\r\n")
        assert lines[0] == "Phase,Area [mm²],data"
        assert re.fullmatch(r"0,-0\.\d{3},invented", lines[1])


def test_a_mark_tells_its_number_when_pointed_at(browser: Browser, components: Path) -> None:
    with opened(browser) as found:
        page = found.go(components, "programs/probe-2026/index.html")
        mark = page.locator('.chart path[fill="var(--coating-1)"]').first
        mark.hover()
        assert page.locator(".tip").inner_text() == "a tip"
        assert found.said == []
