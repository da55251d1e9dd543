"""Pages for blinded reviewers as a browser draws them: one ink, one point, nothing said to the console."""

from __future__ import annotations

from pathlib import Path

from browser.opened import opened, unfold
from house import Published
from playwright.sync_api import Browser

from sitegen.pages.styles import COLOURS

PAGES = (
    "index.html",
    "programs/pump-rings-2025/index.html",
    "programs/pump-rings-2026/index.html",
    "programs/pump-rings-2025/a1/index.html",
    "programs/pump-rings-2026/b4/index.html",
    "programs/pump-rings-2025/a1/cylinder-2.html",
    "programs/pump-rings-2026/b6/cylinder-2.html",
)
INKS = """() => [...document.querySelectorAll("main *")].flatMap((each) => {
  const drawn = getComputedStyle(each);
  return [drawn.fill, drawn.stroke, drawn.color, drawn.borderBottomColor];
})"""
KEYS = "() => [...document.querySelectorAll('main use')].map((each) => each.getAttribute('href'))"


def looks(browser: Browser, site: Path, dark: bool) -> tuple[set[int], set[str], list[str]]:
    """Inks of coatings that anything on the pages is drawn in, keys of coatings, and what the console was told."""
    inks: set[str] = set()
    keys: set[str] = set()
    with opened(browser, dark=dark) as found:
        for page in PAGES:
            unfold(found.go(site, page))
            inks |= set(found.page.evaluate(INKS))
            keys |= set(found.page.evaluate(KEYS))
    known = {_rgb(colours[dark]): n for n, colours in enumerate(COLOURS)}
    return {known[ink] for ink in inks if ink in known}, keys, found.said


def _rgb(colour: str) -> str:
    """As a browser gives it back.

    >>> _rgb("#4d4f55")
    'rgb(77, 79, 85)'
    """
    return f"rgb({', '.join(str(int(colour[n : n + 2], 16)) for n in (1, 3, 5))})"


def test_one_ink_and_one_point_for_all(browser: Browser, blind: Published, examples: Published) -> None:
    for dark in (False, True):
        inks, keys, said = looks(browser, blind.site, dark)
        assert inks == {1}
        assert len(keys) == 1
        assert said == []
    inks, keys, _ = looks(browser, examples.site, dark=False)
    assert len(inks) >= 3
    assert len(keys) >= 3
