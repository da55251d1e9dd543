"""The page of a build in a browser: its first screen, its links into folds, twelve cylinders, a build without data."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import pytest
from browser.opened import opened
from playwright.sync_api import Browser, Page

from sitegen.cli import main

B6 = "programs/pump-rings-2026/b6/index.html"
SCREEN = 720  # px
MOST = 3500  # px of the page of B6 beside its runs and their charts
TWELVE = {"--question": "Does it seat sooner?", "--engine-type": "vee twelve", "--cylinders": "12", "--bore": "90 mm",
          "--stroke": "100 mm", "--reference": "nitrided", "--candidates": "graded", "--builds": "2",
          "--testers": "T1, 0.040 in, 0.25 psi", "--units": "us"}  # fmt: skip


def box(page: Page, selector: str) -> dict[str, float]:
    found = page.locator(selector).first.bounding_box()
    assert found is not None, selector
    return {"top": found["y"], "left": found["x"], "right": found["x"] + found["width"],
            "bottom": found["y"] + found["height"]}  # fmt: skip


def test_plan_and_leak_chart_stand_side_by_side_on_the_first_screen(browser: Browser, published: Path) -> None:
    with opened(browser) as found:
        page = found.go(published, B6)
        heading = page.locator("h1").inner_text()
        assert heading == "Build B6: three cylinders seated, cylinder 2 still seating"
        sentence, plan, chart = (box(page, each) for each in (".first .reading", ".first .block-plan", ".first .chart"))
        assert sentence["bottom"] < plan["top"] < plan["bottom"] < SCREEN
        assert plan["right"] < chart["left"]
        assert box(page, "h1")["bottom"] < chart["top"] < chart["bottom"] < SCREEN
        assert box(page, "h2#unusual")["bottom"] < SCREEN
        runs = box(page, "section[aria-labelledby=runs]")
        height = page.evaluate("() => document.documentElement.scrollHeight")
        assert height - (runs["bottom"] - runs["top"]) < MOST
        assert len(page.content().encode()) < 1_000_000
    assert (published / B6).stat().st_size < 300_000


def test_each_line_leads_to_what_shows_it_folds_included(browser: Browser, published: Path) -> None:
    with opened(browser) as found:
        page = found.go(published, B6)
        inside = page.locator('.unusual a[href^="#"]')
        assert inside.count() >= 4
        assert page.locator(".unusual a").count() == page.locator(".unusual li").count()
        for n in range(inside.count()):
            target = (inside.nth(n).get_attribute("href") or "")[1:]
            inside.nth(n).click()
            page.wait_for_function("id => document.getElementById(id).getBoundingClientRect().height > 0", arg=target)
            page.reload()
            page.wait_for_selector('html[data-charts="all"]', state="attached")


def cut(page: Page) -> list[str]:
    """Tables wider than their place, outside of folds."""
    found: list[str] = page.evaluate(
        "() => [...document.querySelectorAll('.scroll')].filter(s => s.checkVisibility() && "
        "s.scrollWidth > s.clientWidth + 1).map(s => s.querySelector('table').id)"
    )
    return found


@pytest.mark.parametrize("width", [1280, 1024, 768, 390])
def test_nothing_that_is_open_is_cut(browser: Browser, published: Path, width: int) -> None:
    with opened(browser, width=width) as found:
        page = found.go(published, B6)
        assert cut(page) == []
        assert page.evaluate("() => document.documentElement.scrollWidth") <= width
        rows = box(page, ".half .axis tbody .draw svg"), box(page, ".half .axis tfoot .draw svg")
        assert rows[0]["left"] == pytest.approx(rows[1]["left"], abs=1)  # marks stand over the ticks they belong to
        assert rows[0]["right"] == pytest.approx(rows[1]["right"], abs=1)


@pytest.fixture(scope="module")
def twelve(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two builds of twelve cylinders: of the first three checks are in, of the second nothing."""
    home = tmp_path_factory.mktemp("twelve")
    (home / ".git").mkdir()
    assert main(["start", str(home / "programs/rings"), *(part for pair in TWELVE.items() for part in pair)]) == 0
    rows = ["engine,cylinder,phase,repeat,tester,supply [psig],pressure [psig],crank,oil,to_crankcase [%],date"]
    for day, (phase, level) in enumerate({"cold-build": 62, "run-in-10": 66, "run-in-25": 71}.items(), 19):
        rows += [
            f"B1,{n},{phase},1,T1,80,{level + n / 10 - 9 * (n == 7)},tdc,dry,90,2026-01-{day}" for n in range(1, 13)
        ]
    (home / "programs/rings/records/leakdown.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    assert main(["publish", str(home / "programs"), "--to", str(home / "site")]) == 0
    return home / "site"


@pytest.mark.parametrize("width", [1280, 390])
def test_twelve_cylinders_are_told_apart(browser: Browser, twelve: Path, width: int) -> None:
    with opened(browser, width=width) as found:
        page = found.go(twelve, "programs/rings/b1/index.html")
        boxes = page.evaluate(
            "() => [...document.querySelectorAll('.first .chart svg text')].filter(t => /^[0-9]+$/.test(t.textContent) "
            "&& t.getAttribute('font-weight') === '600').map(t => [t.textContent, t.getBoundingClientRect().x, "
            "t.getBoundingClientRect().y])"
        )
        last = max(x for _, x, _ in boxes)
        ends = sorted((y, name) for name, x, y in boxes if x > last - 12)
        assert {name for _, name in ends} == {str(n) for n in range(1, 13)}
        assert min(after - before for (before, _), (after, _) in pairwise(ends)) > 9
        scale = page.evaluate(
            "() => { const s = document.querySelector('.block-plan'); return s.getBoundingClientRect().width / "
            "s.viewBox.baseVal.width; }"
        )
        assert scale > 0.85  # the smallest letters of a plan are 11 px at full size
        assert cut(page) == []


def test_a_build_without_data_says_what_is_missing(browser: Browser, twelve: Path) -> None:
    with opened(browser) as found:
        page = found.go(twelve, "programs/rings/b2/index.html")
        assert page.locator("h1").inner_text() == "Build B2: it cannot be told whether its cylinders are seated"
        lines = page.locator(".unusual li").all_inner_texts()
        assert any("Leak-down" in line and "Missing: cold build" in line for line in lines)
        assert page.locator(".first .chart").count() == page.locator(".half").count() == 0
        assert box(page, ".block-plan")["bottom"] < SCREEN


# Letters of the numbers over the marks of the leak chart, and the marks, by their boxes [px]: those that lie on
# another, and numbers that are not there. A box of a text is higher than its letters.
NUMBERS = """() => {
  const chart = document.querySelector('.first .chart'), svg = chart.querySelector('svg');
  const of = each => each.getBoundingClientRect(), found = [];
  const letters = box => ({left: box.left, right: box.right, top: box.top + 3, bottom: box.bottom - 3});
  const numbers = [...svg.querySelectorAll('text')].filter(each => /^[1-9]$/.test(each.textContent));
  const marks = [...svg.querySelectorAll('path')].filter(each => each.tip);
  if (numbers.length !== marks.length) { found.push(`${numbers.length} numbers, ${marks.length} marks`); }
  const all = numbers.map(each => [each.textContent, letters(of(each))])
    .concat(marks.map(each => ['a mark', of(each)]));
  all.forEach(([one, a], i) => all.slice(i + 1).forEach(([other, b]) => {
    const wide = Math.min(a.right, b.right) - Math.max(a.left, b.left);
    const deep = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
    if (wide > 0.5 && deep > 0.5) { found.push(`${one} on ${other}`); }
  }));
  return found;
}"""


@pytest.mark.parametrize("width", [390, 1280])
@pytest.mark.parametrize("build", ["b1", "b2", "b4", "b6", "b7"])
def test_no_cylinder_of_the_leak_chart_lies_on_another(
    browser: Browser, published: Path, build: str, width: int
) -> None:
    with opened(browser, width=width) as found:
        page = found.go(published, f"programs/pump-rings-2026/{build}/index.html")
        assert page.evaluate(NUMBERS) == []
        page.emulate_media(media="print")
        assert page.evaluate(NUMBERS) == []
        page.evaluate("() => [...document.querySelectorAll('.first .chart path')].find(each => each.tip).remove()")
        assert page.evaluate(NUMBERS) != []


TIMES = """() => [...document.querySelectorAll('section[aria-labelledby=runs] .stack')].map(stack => {
  const texts = [...stack.lastElementChild.querySelectorAll('.chart text')];
  const low = Math.max(...texts.filter(each => each.textContent === '0').map(each => each.getBoundingClientRect().top));
  return texts.filter(each => Math.abs(each.getBoundingClientRect().top - low) < 3)
    .map(each => [each.textContent, each.getBoundingClientRect().left, each.getBoundingClientRect().right]);
})"""


@pytest.mark.parametrize(("width", "least"), [(390, 2), (1280, 3)])
def test_times_of_the_runs_can_be_read(browser: Browser, published: Path, width: int, least: int) -> None:
    """Numbers of one axis stand apart, and each run has its nought and a number more."""
    with opened(browser, width=width) as found:
        page = found.go(published, "programs/pump-rings-2026/b1/index.html")
        for times in page.evaluate(TIMES):
            told = [text for text, _, _ in times]
            assert all(before[2] + 5 < after[1] for before, after in pairwise(times)), told
            starts = [n for n, text in enumerate(told) if text == "0"]
            counts = [after - before for before, after in pairwise([*starts, len(told)])]
            assert min(counts) >= least, told
