"""No text of a chart lies over another or is cut, at any width; every mark stands out from the paper.

By hand, for more widths: `python -m browser.test_boxes SITE [PAGE ...]`, from `tests`, prints what it finds at 390,
768, 1024 and 1920 px, light and dark, on these pages of any site, else on some thirty of those with charts.
"""

from __future__ import annotations

import re
import shutil
import sys
from collections.abc import Sequence
from pathlib import Path

import pytest
from browser.opened import opened, unfold
from playwright.sync_api import Browser, Page, sync_playwright

PAGES = (
    "programs/pump-rings-2026/index.html",
    "programs/pump-rings-2026/b1/index.html",
    "programs/pump-rings-2026/b2/index.html",
    "programs/pump-rings-2026/b6/index.html",
    "programs/pump-rings-2026/b6/cylinder-2.html",
    "programs/pump-rings-2026/b1/cylinder-1.html",
    "programs/pump-rings-2025/index.html",
    "coatings/graded-crn.html",
)
# Texts by their boxes [px]: pairs that share more than a pixel across and four down (a box is higher than its letters),
# and texts beyond their drawing.
BOXES = """() => [...document.querySelectorAll('.chart svg')].filter(svg => svg.clientWidth).flatMap(svg => {
  const of = svg.parentElement.id, frame = svg.getBoundingClientRect();
  const all = [...svg.querySelectorAll('text')].map(each => [each.textContent, each.getBoundingClientRect()]);
  const found = [];
  all.forEach(([text, a], i) => {
    if (a.left < frame.left - 1 || a.right > frame.right + 1) { found.push(`${of}: ${text} is cut`); }
    all.slice(i + 1).forEach(([other, b]) => {
      const wide = Math.min(a.right, b.right) - Math.max(a.left, b.left);
      const deep = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
      if (wide > 1 && deep > 4) { found.push(`${of}: ${text} over ${other}`); }
    });
  });
  return found;
})"""
TWICE = """() => {
  const shown = [...document.querySelectorAll('.chart svg')].filter(svg => svg.clientWidth);
  const texts = shown.flatMap(svg => [...svg.querySelectorAll('text')]);
  const text = texts.find(each => each.getBoundingClientRect().width > 8);
  text.parentElement.appendChild(text.cloneNode(true));
}"""
COLOURS = """() => {
  const used = new Set(), all = {}, style = getComputedStyle(document.documentElement);
  document.querySelectorAll('.chart svg *').forEach(each => ['stroke', 'fill'].forEach(kind => {
    const found = /^var\\((--[a-z0-9-]+)\\)$/.exec(each.getAttribute(kind) || '');
    if (found) { used.add(found[1]); }
    if (each.getAttribute('opacity')) { used.add('opacity ' + each.getAttribute('opacity')); }
  }));
  ['--paper', ...used].forEach(name => { all[name] = style.getPropertyValue(name).trim(); });
  return all;
}"""
MOST_PAGES = 30  # looked at by hand where none are named
GROUNDS = {"--paper", "--rule", "--faint"}  # paper, grid, and shades that an edge bounds: no marks


def luminance(colour: str) -> float:
    """Relative luminance [-]: WCAG 2.2, definition "relative luminance"."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Contrast ratio [-]: WCAG 2.2, definition "contrast ratio"."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_contrast_by_worked_values() -> None:
    """Black on white is 21 by the definition; #767676 on white 4.54, a value widely printed (from memory)."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)


def boxes(page: Page) -> list[str]:
    found: list[str] = unfold(page).evaluate(BOXES)
    return found


def faint(page: Page) -> list[str]:
    """Colours of marks below 3 : 1 against the paper: WCAG 2.2, 1.4.11."""
    colours: dict[str, str] = page.evaluate(COLOURS)
    paper = colours["--paper"]
    return [
        f"{name} {colour}"
        for name, colour in colours.items()
        if name not in GROUNDS and not (re.fullmatch("#[0-9a-f]{6}", colour) and contrast(colour, paper) >= 3)
    ]


@pytest.mark.parametrize("width", [340, 1280])
@pytest.mark.parametrize("path", PAGES)
def test_no_text_of_a_chart_lies_over_another(browser: Browser, published: Path, path: str, width: int) -> None:
    with opened(browser, width=width) as found:
        page = found.go(published, path)
        assert boxes(page) == []
        assert page.locator(".chart svg text").count() > 10
        page.emulate_media(media="print")
        assert boxes(page) == []
        page.evaluate(TWICE)
        assert boxes(page) != []  # and it would be seen


@pytest.mark.parametrize("dark", [False, True])
@pytest.mark.parametrize("path", PAGES[:6])
def test_every_mark_stands_out_from_the_paper(browser: Browser, published: Path, path: str, dark: bool) -> None:
    with opened(browser, dark=dark) as found:
        page = found.go(published, path)
        boxes(page)
        assert faint(page) == []


def test_text_grows_on_a_presentation_width(browser: Browser, published: Path) -> None:
    """At 1920 px no text of a chart is smaller than 14 px, at 1280 px none smaller than 13."""
    for width, least in ((1280, 13.0), (1920, 14.0)):
        with opened(browser, width=width) as found:
            page = found.go(published, PAGES[3])
            boxes(page)
            sizes: list[float] = page.evaluate(
                """() => [...document.querySelectorAll('.chart svg')].filter(svg => svg.clientWidth).flatMap(svg =>
                     [...svg.querySelectorAll('text')].map(each =>
                       parseFloat(getComputedStyle(each).fontSize) * svg.getBoundingClientRect().width
                         / svg.viewBox.baseVal.width))"""
            )
            assert min(sizes) >= least - 0.01


def main(site: Path, paths: Sequence[str]) -> None:
    """Print what is found at further widths, light and dark, on the pages named, else on some with charts."""
    every = [path for path in sorted(site.rglob("*.html")) if 'class="chart"' in path.read_text(encoding="utf-8")]
    some = paths or [path.relative_to(site).as_posix() for path in every[:: 1 + len(every) // MOST_PAGES]]
    told = 0
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
        for width in (390, 768, 1024, 1920):
            for dark in (False, True):
                for path in some:
                    with opened(browser, width=width, dark=dark) as found:
                        page = found.go(site, path)
                        lines = [*boxes(page), *faint(page), *map(str, found.said)]
                        told += len(lines)
                        for line in lines:
                            print(width, "dark" if dark else "light", path, line)
        browser.close()
    print(f"{told} findings on {len(some)} of {len(every)} pages with charts")


if __name__ == "__main__":
    main(Path(sys.argv[1]).resolve(), sys.argv[2:])
