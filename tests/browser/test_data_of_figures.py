"""Behind every figure of the examples stand its data: rows, numbers with their units, and a file a program can read."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from browser.opened import opened
from browser.test_browser import save
from playwright.sync_api import Browser

B1 = "programs/pump-rings-2026/b1"
PURE = {"odd-cylinders"}  # scores: they have no unit
KINDS = {"slope", "history", "dots", "upright", "run", "curves"}


def figures(site: Path) -> Iterator[tuple[str, str, str]]:
    """Every figure: its page and name, its kind, its data as they stand in the page."""
    for path in sorted(site.rglob("*.html")):
        for name, inside in re.findall(
            r'<figure id="[^"]*" data-name="([^"]*)">(.*?)</figure>', path.read_text(), re.S
        ):
            kind, table = re.search(r'"kind":"(\w+)"', inside), re.search(r"<table.*?</table>", inside, re.S)
            assert kind, (path, name)
            assert table, (path, name)
            yield f"{path.relative_to(site)}: {name}", kind[1], table[0]


def test_every_figure_has_rows_of_numbers_with_their_units(published: Path) -> None:
    found = list(figures(published))
    for name, _, table in found:
        head, body = table.split("</thead>")
        assert body.count("<tr") > 0, name
        assert re.search(r'<t[dh][^>]* class="n">(<b>)?[+−]?\d', body), name
        units = "data-unit" in head or re.search(r"<th[^>]*>Unit</th>", head)
        assert units or name.partition(": ")[2] in PURE, (name, head)
    assert {kind for _, kind, _ in found} == KINDS
    assert len(found) > 80


@pytest.mark.parametrize(
    ("page", "figure", "columns"),
    [
        (f"{B1}/index.html", "leak-area-b1", ("Value [mm²]", "From [mm²]", "To [mm²]")),
        (f"{B1}/cylinder-1.html", "history-b1-cylinder-1", ("Distance [km]", "Leak area [mm²]", "Leak area, ± [mm²]")),
        (f"{B1}/cylinder-1.html", "ring-sections-b1-1", ("Along [mm]", "Value [µm]")),
        (f"{B1}/cylinder-1.html", "bore-trace-b1-1", ("Along [mm]", "Value [µm]")),
        ("coatings/graded-crn.html", "history-of-builds", ("Value",)),
        (f"{B1}/index.html", "runs", ("Mean", "Least", "Most")),
    ],
)
def test_a_saved_figure_is_read_as_numbers(
    browser: Browser, published: Path, page: str, figure: str, columns: tuple[str, ...]
) -> None:
    with opened(browser) as found:
        opened_page = found.go(published, page)
        opened_page.locator("main details").evaluate_all("all => all.forEach(each => { each.open = true; })")
        rows = list(csv.DictReader(io.StringIO(save(opened_page, "csv", figure)[1].decode("utf-8-sig"))))
        drawn = opened_page.evaluate(
            """name => Array.from(document.querySelectorAll(`figure[data-name="${name}"] script`)).map(each =>
              JSON.parse(each.textContent)).filter(each => each.kind === "curves")
              .reduce((sum, each) => sum + each.data.path.n, 0)""",
            figure,
        )
    assert len(rows) > 4
    if "Along [mm]" in columns:
        assert drawn == len(rows)  # every point that is drawn, not only those the page lists
    for column in columns:
        assert column in rows[0], list(rows[0])
        numbers = [float(row[column]) for row in rows if row[column]]
        assert numbers, column
