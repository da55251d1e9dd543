"""Opening pages of a site from the disk, with everything they say to the console or the network."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from importlib import resources
from pathlib import Path
from typing import Any, Literal

from playwright.sync_api import Browser, Page


@dataclass
class Opened:
    page: Page
    said: list[str] = field(default_factory=list)
    requests: list[str] = field(default_factory=list)

    def go(self, site: Path, path: str) -> Page:
        """Open a page and wait until every chart is drawn."""
        self.page.goto((site / path).as_uri())
        self.page.wait_for_selector('html[data-charts="all"]', state="attached")
        return self.page


@contextmanager
def opened(
    browser: Browser, *, width: int = 1280, dark: bool = False, scripts: bool = True, **more: Any
) -> Iterator[Opened]:
    context = browser.new_context(
        viewport={"width": width, "height": 900},
        color_scheme="dark" if dark else "light",
        offline=True,
        java_script_enabled=scripts,
        **more,
    )
    context.set_default_timeout(120_000)  # ms; what takes a tenth of a second here takes longer on a busy machine
    page = context.new_page()
    found = Opened(page)
    page.on("console", lambda message: found.said.append(f"{page.url}: {message.text}"))
    page.on("pageerror", lambda error: found.said.append(f"{page.url}: {error}"))
    page.on("request", lambda request: found.requests.append(request.url))
    try:
        yield found
    finally:
        context.close()


def unfold(page: Page) -> Page:
    """Every fold of the page open, and the charts in them drawn: charts in a closed fold wait for it to open."""
    page.evaluate("() => document.querySelectorAll('details').forEach(each => { each.open = true; })")
    page.wait_for_function(
        "() => [...document.querySelectorAll('.chart')].every(each => !each.clientWidth || each.dataset.drawn)"
    )
    return page


# What axe finds of a page but for what a chart draws, which is one picture to a reader's machine; its colours are
# checked by their numbers. Told are the faults and how many rules passed: a whole result is megabytes.
_AXE = """only => axe.run({exclude: ['.chart svg']}, {resultTypes: ['violations'], ...only}).then(found => ({
  faults: found.violations.map(each => `${each.id}: ${each.nodes[0].html.slice(0, 200)}`),
  passed: found.passes.length}))"""


_COLOURS = {"runOnly": {"type": "rule", "values": ["color-contrast", "link-in-text-block"]}}


def accessible(page: Page, *schemes: Literal["light", "dark"]) -> None:
    """No rule of axe is broken in the first colour scheme, and none that looks at colours in the others.

    Schemes differ in colours alone: see `test_a_scheme_sets_nothing_but_colours`.
    """
    page.evaluate(resources.files("axe_core_python").joinpath("axe.min.js").read_text(encoding="utf-8"))
    for scheme in schemes:
        page.emulate_media(color_scheme=scheme)
        found: dict[str, Any] = page.evaluate(_AXE, {} if scheme == schemes[0] else _COLOURS)
        assert found["faults"] == [], (page.url, scheme, *found["faults"])
        assert found["passed"] > (15 if scheme == schemes[0] else 0)


def pages_of(site: Path) -> list[str]:
    return sorted(path.relative_to(site).as_posix() for path in site.rglob("*.html"))


def kinds_of(site: Path) -> Sequence[str]:
    """One page of every kind, of the last program: it has the most to show."""
    every = pages_of(site)
    program = [
        page for page in every if page.startswith("programs/") and page.count("/") == 2 and page.endswith("index.html")
    ][-1]
    base = program.removesuffix("index.html")
    engine = next(
        page for page in every if page.startswith(base) and page.count("/") == 3 and page.endswith("index.html")
    )
    coating = [page for page in every if page.startswith("coatings/")][-1]
    cylinder = engine.replace("index.html", "cylinder-2.html")
    return ("index.html", "methods.html", coating, program, f"{base}data.html", engine, cylinder)
