"""Programs at the edges of what may be written give pages that are light and that fit a telephone and a screen."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from browser.opened import opened, unfold
from browser.test_boxes import boxes
from extremes import SHAPES
from house import once
from playwright.sync_api import Browser

from sitegen.cli import main

MOST = 300_000  # bytes of the HTML of one page
# What reaches beyond the window without a way to get there, and what is cut inside its box.
BEYOND = """() => {
  const wide = document.documentElement.clientWidth, found = [];
  const across = document.documentElement.scrollWidth;
  if (across > wide) { found.push(`the page is ${across} px wide`); }
  document.querySelectorAll('body *').forEach(each => {
    const style = getComputedStyle(each), box = each.getBoundingClientRect();
    const apart = '.scroll, .crowded .plan, .notes table, .chart, .sr, h2.quiet, .skip, .symbols';
    if (!box.width || each.closest(apart)) { return; }
    const name = `${each.tagName} ${each.getAttribute('class') || ''} ${each.textContent.trim().slice(0, 40)}`;
    if (box.right > wide + 1) { found.push(`beyond: ${name}`); }
    const cut = style.overflowX !== 'visible' && each.scrollWidth > each.clientWidth + 1;
    if (cut && !each.closest('svg')) { found.push(`cut: ${name}`); }
  });
  return found;
}"""


@pytest.fixture(scope="session", params=SHAPES)
def extreme(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The site of each extreme program in turn."""

    def make(to: Path) -> None:
        SHAPES[request.param](to / "programs")
        assert main(["publish", str(to / "programs"), "--to", str(to / "site"), "--workers", "1"]) == 0

    return once(tmp_path_factory, f"extreme-{request.param}", make) / "site"


def pages(site: Path) -> Iterator[str]:
    """A page of each kind: its heaviest."""
    kinds: dict[tuple[str, int], list[Path]] = {}
    for path in site.rglob("*.html"):
        steps = path.relative_to(site).parts
        kinds.setdefault((path.name.partition("-")[0] if len(steps) > 2 else steps[0], len(steps)), []).append(path)
    for own in kinds.values():
        yield max(own, key=lambda path: path.stat().st_size).relative_to(site).as_posix()


def test_no_page_is_heavy(extreme: Path) -> None:
    heavy = {path.name: size for path in extreme.rglob("*.html") if (size := path.stat().st_size) > MOST}
    assert heavy == {}


def test_every_kind_of_page_fits_its_window(browser: Browser, extreme: Path) -> None:
    found = []
    for width in (390, 1280):
        with opened(browser, width=width) as each:
            for path in pages(extreme):
                page = unfold(each.go(extreme, path))
                found += [f"{width} px, {path}: {told}" for told in [*page.evaluate(BEYOND), *boxes(page)]]
            assert each.said == []
    assert found == []
