"""What became markup, script or formula in published files that was only a text."""

from __future__ import annotations

import csv
import json
import re
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path

from fuzz.texts import TAG

_RUN = re.compile(r"\s*(?:javascript|vbscript|data:text/html)", re.IGNORECASE)


class _Page(HTMLParser):
    """A page with what is not ours in it."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self.data = ""
        self._json = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        said = dict(attrs)
        if tag == "script":
            self._json = said.get("type") == "application/json"
            self.data = ""
        foreign = [name for name in said if name.startswith("on") or TAG in name or name == "srcdoc"]
        run = [value for name, value in attrs if name in {"href", "src", "action"} and _RUN.match(value or "")]
        ours = tag != "script" or self._json or "src" in said
        if tag == TAG or foreign or run or not ours:
            self.found.append(str(self.get_starttag_text())[:200])

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)

    def handle_data(self, data: str) -> None:
        self.data += data if self._json else ""

    def handle_endtag(self, tag: str) -> None:
        if tag == "script" and self._json:
            json.loads(self.data)
            self._json = False

    def handle_comment(self, data: str) -> None:
        if TAG in data:
            self.found.append(f"<!--{data[:200]}-->")


def of_page(content: str) -> list[str]:
    """Elements and attributes of a page that a text has become."""
    page = _Page()
    page.feed(content)
    page.close()
    return page.found


def of_site(site: Path) -> list[str]:
    """The same of every page of a site, and formulas in its tables."""
    found = [
        f"{path.name}: {each}"
        for path in sorted(site.rglob("*.html"))
        for each in of_page(path.read_text("utf-8", "replace"))
    ]
    return found + [f"{path.name}: {cell}" for path in sorted(site.rglob("*.csv")) for cell in formulas(path)]


def formulas(path: Path) -> Iterator[str]:
    """Cells of a CSV file that an office program would run: they begin with one of = @ tab return, or a sign before
    what is no number (OWASP, CSV injection)."""
    with path.open(encoding="utf-8-sig", errors="replace", newline="") as file:
        for cell in (cell for row in csv.reader(file) for cell in row):
            if len(cell) > 1 and (cell[0] in "=@\t\r" or (cell[0] in "+-" and not _number(cell))):
                yield cell[:100]


def _number(cell: str) -> bool:
    try:
        return float(cell) is not None
    except ValueError:
        return False
