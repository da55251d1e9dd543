"""Answers in a browser: the table of coatings compared, its drawn intervals, the plan, the history of a coating."""

from __future__ import annotations

import re
from pathlib import Path
from unicodedata import normalize

import pytest
from browser.opened import accessible, kinds_of, opened, unfold
from house import PROGRAMS, rows_of
from playwright.sync_api import Browser, FloatRect, Page
from pypdf import PdfReader

BASE = "programs/pump-rings-2026/"
PROGRAM, PLAN, COATING = f"{BASE}index.html", f"{BASE}plan.html", "coatings/graded-crn.html"
TABLE = "table[data-name=coatings-compared]"
EVERY = "table:is([data-name=coatings-compared], [data-name=compared-without-a-test])"  # the second in a fold
A4_WIDTH = 718  # px of the text on a sheet of A4 with the margins of a browser

# Cells of a table whose content lies over that of the next cell, or outside its own.
OVERLAPPING = """table => [...table.querySelectorAll('tbody tr')].flatMap(row => {
  const boxes = [...row.cells].map(cell => {
    const range = document.createRange();
    range.selectNodeContents(cell);
    return {text: cell.textContent.slice(0, 30), own: cell.getBoundingClientRect(),
            inner: range.getBoundingClientRect()};
  }).filter(box => box.inner.width);
  return boxes.filter(box => box.inner.right > box.own.right + 1 || box.inner.left < box.own.left - 1)
    .map(box => box.text);
})"""


def compared() -> list[dict[str, str]]:
    return rows_of(PROGRAMS / "pump-rings-2026" / "results" / "comparisons.csv")


# ---- the table of coatings compared ----------------------------------------------------------------------------------


def test_every_drawn_interval_has_a_name_a_reader_hears(browser: Browser, published: Path) -> None:
    """One for each comparison with an interval, saying the difference and its interval."""
    with opened(browser) as found:
        page = unfold(found.go(published, PROGRAM))
        names = [each.get_attribute("aria-label") or "" for each in page.locator(f"{EVERY} tbody svg.interval").all()]
        assert len(names) == sum(bool(row["low"]) for row in compared())
        for name in names:
            assert re.fullmatch(r"[^,]+ (less|more|times as much), [^,]+ (less|more|times as much)", name), name
            assert page.locator(EVERY).get_by_role("img", name=name).count() >= 1
        assert found.said == []


def test_intervals_are_drawn_where_the_numbers_are(browser: Browser, published: Path) -> None:
    """Left of the upright line is less; an interval crosses it just where the comparison cannot tell."""
    drawn = """row => [...row.querySelectorAll('svg.interval')].map(svg => {
      const span = svg.querySelector('.span').getBoundingClientRect(), box = svg.getBoundingClientRect();
      const line = parseFloat(getComputedStyle(svg.closest('table')).getPropertyValue('--line'));
      const mark = svg.querySelector(':is(.cf, .hollow):not(.head)').getBoundingClientRect();
      return {middle: box.left + line * box.width, left: span.left, right: span.right,
              mark: mark.left + mark.width / 2, open: !!svg.querySelector('.hollow'),
              box: svg.getBoundingClientRect()};
    })"""
    rows = [row for row in compared() if row["low"]]
    order = list(dict.fromkeys(row["coating"] for row in rows))  # a candidate after the other, then what is no test

    def place(row: dict[str, str]) -> tuple[bool, bool, int]:
        aside = row["procedure"] == "borrowed" and row["role"] == "exploratory"
        return aside, row["role"] != "primary", order.index(row["coating"])

    rows.sort(key=place)
    with opened(browser) as found:
        page = unfold(found.go(published, PROGRAM))
        seen = [each for line in page.locator(f"{EVERY} tbody tr").all() for each in line.evaluate(drawn)]
    assert len(seen) == len(rows)
    for row, strip in zip(rows, seen, strict=True):
        none = 1.0 if row["scale"] == "ratio" else 0.0
        low, high, estimate = (float(row[name]) for name in ("low", "high", "estimate"))
        assert (low < none) == (strip["left"] < strip["middle"])
        assert (high > none) == (strip["right"] > strip["middle"])
        assert (estimate < none) == (strip["mark"] < strip["middle"])
        assert strip["left"] < strip["mark"] < strip["right"]
        assert strip["box"]["left"] - 1 <= strip["left"]
        assert strip["right"] <= strip["box"]["right"] + 1
        assert strip["open"] == (row["procedure"] == "borrowed" or "provisional" in row["flags"])


def test_the_table_is_readable_on_a_telephone(browser: Browser, published: Path) -> None:
    """Row under row, each cell led by its column; nothing scrolls sideways, is tiny or lies over another."""
    with opened(browser, width=390) as found:
        page = found.go(published, PROGRAM)
        assert page.evaluate("() => document.documentElement.scrollWidth") <= 390
        table = page.locator(TABLE)
        assert table.evaluate(OVERLAPPING) == []
        sizes = table.evaluate("t => [...t.querySelectorAll('th, td, small')].map(e => "
                               "parseFloat(getComputedStyle(e).fontSize))")  # fmt: skip
        assert min(sizes) >= 11
        assert all(box["width"] >= 60 for box in _boxes(page, f"{TABLE} svg.interval"))
        region = page.locator(".scroll", has=table)
        assert region.get_attribute("tabindex") == "0"
        assert region.get_attribute("aria-label") == "Table: coatings compared"
        assert region.evaluate("each => each.scrollWidth - each.clientWidth") <= 1
        for cell in table.locator("tbody td:visible").all():
            box = cell.bounding_box()
            assert box is not None
            assert box["x"] >= 0
            assert box["x"] + box["width"] <= 391
            column = cell.get_attribute("data-column")
            assert column
            lead = cell.evaluate("each => getComputedStyle(each, '::before').content")
            drawn = "draw" in (cell.get_attribute("class") or "")
            assert lead == ("none" if drawn else f'"{column}: "')


def _boxes(page: Page, selector: str) -> list[FloatRect]:
    return [box for each in page.locator(selector).all() if (box := each.bounding_box()) is not None]


@pytest.mark.parametrize("path", [PROGRAM, PLAN])
def test_tables_are_whole_on_paper(browser: Browser, published: Path, path: str) -> None:
    with opened(browser, width=A4_WIDTH, dark=True) as found:
        page = found.go(published, path)
        page.emulate_media(media="print")
        tables = page.locator("main table").all() if path == PLAN else [page.locator(TABLE)]
        assert tables
        for table in tables:
            right = table.evaluate("t => t.getBoundingClientRect().right")
            assert right <= A4_WIDTH + 1, table.get_attribute("data-name")
            assert table.evaluate(OVERLAPPING) == []


def test_the_answer_is_on_paper(browser: Browser, published: Path, tmp_path: Path) -> None:
    with opened(browser) as found:
        page = found.go(published, PROGRAM)
        page.pdf(path=tmp_path / "program.pdf", prefer_css_page_size=True)
        page = found.go(published, PLAN)
        page.pdf(path=tmp_path / "plan.pdf", prefer_css_page_size=True)
    program, plan = (
        re.sub(r"\s+", " ", normalize("NFKC", " ".join(s.extract_text() for s in PdfReader(tmp_path / name).pages)))
        for name in ("program.pdf", "plan.pdf")
    )
    for said in ("18 % less", "5 to 30 %", "no test", "cannot tell", "The interval reaches across the limit"):
        assert said in program, said
    for said in ("The allocation in the program file is the one that seed 20260159 draws", "Who gets which coating",
                 "What the comparison can find", "What the instruments can show"):  # fmt: skip
        assert said in plan, said


# ---- reached and read by everybody -----------------------------------------------------------------------------------


def press_until(page: Page, selector: str, most: int = 60) -> None:
    """Tab until an element that matches has the focus."""
    for _ in range(most):
        page.keyboard.press("Tab")
        if page.evaluate("s => !!document.activeElement && document.activeElement.matches(s)", selector):
            return
    raise AssertionError(f"{selector} is not reached by {most} steps")


def test_the_plan_is_reached_by_keyboard_from_home(browser: Browser, published: Path) -> None:
    with opened(browser) as found:
        page = found.go(published, "index.html")
        press_until(page, f'a[href="{PROGRAM}"]')
        with page.expect_navigation():
            page.keyboard.press("Enter")
        page.wait_for_selector('html[data-charts="all"]', state="attached")
        press_until(page, 'a[href="plan.html"]')
        outline = page.evaluate("() => getComputedStyle(document.activeElement).outlineStyle")
        assert outline != "none"  # where the focus is can be seen
        with page.expect_navigation():
            page.keyboard.press("Enter")
        assert page.url.endswith("/programs/pump-rings-2026/plan.html")
        assert page.locator("h1").inner_text().startswith("Plan of Pump rings 2026")
        assert page.locator("[aria-current]").first.inner_text() == "Plan"
        press_until(page, ".scroll")  # and its tables can be scrolled without a mouse
        assert found.said == []
        assert [url for url in found.requests if not url.startswith("file:")] == []


@pytest.mark.parametrize("path", [PLAN, COATING, "programs/pump-rings-2025/index.html",
                                  "programs/pump-rings-2025/plan.html", "programs/pump-rings-2026/decision.html",
                                  "programs/pump-rings-2026/review.html",
                                  "programs/pump-rings-2026/b1/cylinder-1.html"])  # fmt: skip
def test_axe_finds_nothing(browser: Browser, published: Path, path: str) -> None:
    """Of one page of every other kind, PROGRAM and the home page among them, test_browser says the same."""
    assert path not in kinds_of(published)
    with opened(browser, bypass_csp=True) as found:
        accessible(unfold(found.go(published, path)), "light", "dark")


def test_an_interval_can_be_told_from_its_ground_in_light_and_dark(browser: Browser, published: Path) -> None:
    """WCAG 2.2, 1.4.11: graphics 3:1 against what is beside them."""
    colours = """() => [...document.querySelectorAll('svg.interval')].flatMap(svg =>
      [...svg.querySelectorAll('path')].map(path => {
        const style = getComputedStyle(path);
        return [path.getAttribute('class'), style.stroke === 'none' ? style.fill : style.stroke,
                getComputedStyle(document.documentElement).backgroundColor];
      }))"""
    with opened(browser) as found:
        page = found.go(published, PROGRAM)
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)
            seen = page.evaluate(colours)
            assert len(seen) >= 18
            for name, colour, ground in seen:
                if name != "none":  # the line of no difference stays behind
                    assert contrast(colour, ground) >= 3.0, (scheme, name, colour, ground)


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two CSS colours (WCAG 2.2, definition of relative luminance)."""

    def luminance(colour: str) -> float:
        channels = [int(part) / 255 for part in re.findall(r"\d+", colour)[:3]]
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("path", [PROGRAM, PLAN, COATING])
def test_pages_fit_a_telephone(browser: Browser, published: Path, path: str) -> None:
    with opened(browser, width=390) as found:
        page = found.go(published, path)
        assert page.evaluate("() => document.documentElement.scrollWidth") <= 390


def test_the_answers_are_there_without_scripts(browser: Browser, published: Path) -> None:
    with opened(browser, scripts=False) as found:
        page = found.page
        page.goto((published / PROGRAM).as_uri())
        assert page.get_by_text("18\N{NO-BREAK SPACE}% less").first.is_visible()
        assert page.locator(f"{TABLE} svg.interval").first.is_visible()
        page.goto((published / PLAN).as_uri())
        assert page.locator("table[data-name=who-gets-which-coating] tbody tr").count() == 7


def test_a_coating_page_leads_with_its_comparison_its_criteria_and_the_limits(
    browser: Browser, published: Path
) -> None:
    with opened(browser) as found:
        page = found.go(published, COATING)
        titles = page.locator("main h2").all_inner_texts()
        assert [title.removesuffix(" #") for title in titles] == [
            "Against the reference", "Criteria", "Where the next build may lie", "Pump rings 2026", "Pump rings, 100 h",
        ]  # fmt: skip
        compared = page.locator("section[aria-labelledby=compared] tbody tr")
        assert compared.count() == 5  # of this coating alone: the program page has two candidates
        assert "Leak area to the crankcase" in compared.first.inner_text()
        assert page.locator("section[aria-labelledby=criteria] tbody tr").count() == 7  # three and four
        leak = page.locator("figure[data-name=history-of-builds] .panel").first
        assert leak.locator("svg text", has_text="limit 0.35 a cylinder").count() == 1
        caption = page.locator("figure[data-name=history-of-builds] figcaption").inner_text()
        assert "“a cylinder”: it is asked of each, not of these means." in caption
        last = page.locator("figure[data-name=history-of-builds] .panel", has_text="Leak still to lose")
        assert "limit 0.03 a cylinder lies off the axis" in last.inner_text()  # it would press the builds together
        assert last.locator("svg text", has_text="limit").count() == 0
        folds = page.locator("main .folds > details > summary").all_inner_texts()
        titles = ["Leak area and seating", "Ring mass lost", "Surfaces", "Inspection", "Oil"]
        assert [each.partition(":")[0].strip() for each in folds] == [
            *titles, "Bench rig", *(each for each in titles if each != "Surfaces"),
        ]  # fmt: skip
        assert all(":" in each for each in folds)
        assert "B5 and B6 were not traced" in " ".join(folds)


def test_the_history_of_a_coating_tells_where_each_build_comes_from(browser: Browser, published: Path) -> None:
    """Program, build, and the state of the results each point was taken from: the one in the footer of its page."""
    with opened(browser) as found:
        page = found.go(published, "coatings/nitrided.html")
        figure = page.locator("figure[data-name=history-of-builds]")
        assert "the next build of these programs may lie at" in figure.locator("xpath=..").inner_text()
        assert figure.locator(".chart").first.locator("svg text", has_text="next build").count() == 1
        figure.locator("details > summary").last.press("Enter")
        rows = page.locator("table[data-name=points-of-the-history] tbody tr")
        cells = [row.locator("td").all_inner_texts() for row in rows.all()]
        assert rows.first.is_visible()
        assert {cell[1] for cell in cells} == {"A1", "A2", "A3", "B1", "B2", "B3", "C3"}
        for title, engine in (("Pump rings 2025", "pump-rings-2025/a1"), ("Pump rings 2026", "pump-rings-2026/b1")):
            (results,) = {cell[5] for cell in cells if cell[0] == title}
            foot = found.go(published, f"programs/{engine}/index.html").locator("footer").inner_text()
            assert f"results {results}" in foot


# ---- what a page is allowed ------------------------------------------------------------------------------------------

MOST_PX = {"programs/pump-rings-2026/index.html": 3500, "programs/pump-rings-2026/plan.html": 2000}
MOST_WORDS = {"programs/pump-rings-2026/index.html": 1450, "programs/pump-rings-2026/plan.html": 800}


@pytest.mark.parametrize("path", MOST_PX)
def test_a_page_that_leads_stays_short(browser: Browser, published: Path, path: str) -> None:
    with opened(browser) as found:
        page = found.go(published, path)
        assert page.evaluate("() => document.documentElement.scrollHeight") <= MOST_PX[path]
        words = page.evaluate(r"() => document.body.innerText.split(/\s+/).filter(Boolean).length")
        assert 300 < words <= MOST_WORDS[path]


def test_the_first_screen_says_the_verdict_the_odd_cylinder_and_what_is_due(browser: Browser, published: Path) -> None:
    with opened(browser) as found:
        page = found.go(published, PROGRAM)
        for text in ("Open", "54", "B6 cylinder 2", "Due next"):
            box = page.get_by_text(text).first.bounding_box()
            assert box is not None
            assert box["y"] + box["height"] < 720, text


@pytest.mark.parametrize("path", [PROGRAM, PLAN, "programs/pump-rings-2025/index.html"])
def test_every_fold_says_its_result(browser: Browser, published: Path, path: str) -> None:
    with opened(browser) as found:
        lines = found.go(published, path).locator(".folds > details > summary").all_inner_texts()
        assert len(lines) >= (1 if path == PLAN else 8)
        for line in lines:
            title, _, result = re.sub(r"\?", "?:", line, count=1).partition(":")
            assert result.strip(), title


def test_a_state_told_before_a_refit_stands_with_its_build(browser: Browser, published: Path) -> None:
    with opened(browser) as found:
        rows = found.go(published, PROGRAM).locator("table[data-name=builds] tbody tr")
        (refitted,) = [text for text in rows.all_inner_texts() if "before the refit" in text]
        assert refitted.startswith("B5")
        assert "all seated before the refit" in refitted


# Labels under the drawn intervals of a table: pairs that touch, as large as on the screen or on paper.
TICKS = """() => [...document.querySelectorAll('tfoot svg.interval')].filter(svg => svg.clientWidth).flatMap(svg => {
  const all = [...svg.querySelectorAll('text')].filter(each => each.textContent).map(each => [each.textContent,
    each.getBoundingClientRect()]).sort((a, b) => a[1].left - b[1].left);
  return all.slice(1).filter(([, box], n) => box.left < all[n][1].right + 1).map(([text]) => text);
})"""


@pytest.mark.parametrize("width", [390, 718, 1280])
@pytest.mark.parametrize("path", [PROGRAM, "index.html", f"{BASE}decision.html"])
def test_no_label_under_drawn_intervals_touches_another(
    browser: Browser, published: Path, path: str, width: int
) -> None:
    with opened(browser, width=width) as found:
        page = found.go(published, path)
        page.emulate_media(media="print" if width == 718 else "screen")
        assert page.locator("tfoot svg.interval text").count() > 3
        assert page.evaluate(TICKS) == []


def test_the_name_beside_a_mark_is_not_struck_through(browser: Browser, published: Path) -> None:
    """It lies on paper of its own, so that the upright line of the table ends at it."""
    with opened(browser) as found:
        page = found.go(published, PROGRAM)
        name = page.locator("table[data-name=criteria] tbody svg.interval text").first
        stroke, order, paper = name.evaluate(
            "text => [getComputedStyle(text).stroke, getComputedStyle(text).paintOrder,"
            " getComputedStyle(document.documentElement).backgroundColor]"
        )
        assert (stroke, order.split()[0]) == (paper, "stroke")
