"""What is painted in the browser, against the general library's drawing of the same specification; choice and size."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
import vl_convert
from browser.opened import accessible, opened
from playwright.sync_api import Browser, Page

from sitegen.pages.bundle import specifications

PROGRAM = "programs/pump-rings-2026/index.html"
CYLINDER = "programs/pump-rings-2026/b6/cylinder-2.html"
PROBE = "programs/probe-2026/index.html"
PROBE_CYLINDER = "programs/probe-2026/b2/cylinder-2.html"
FIGURE = "#leak-area-by-phase"
COATING, PANELS = "coatings/graded-crn.html", "#history-of-builds"  # a figure of several panels

# ---- the same picture as the library's -------------------------------------------------------------------------------

# What the page gave to the painter, and what came of it; the painter is called once more with the same.
DRAWN = """(id) => {
  const calls = [], paint = window.sitegenPaint;
  window.sitegenPaint = (...given) => { calls.push(given); return paint(...given); };
  const el = document.getElementById(id);
  window.dispatchEvent(new Event('afterprint'));
  window.sitegenPaint = paint;
  const all = [...document.querySelectorAll('.chart')];
  const [kind, rows, signals, pad] = calls[all.indexOf(el)];
  return {kind, rows, signals, pad, svg: new XMLSerializer().serializeToString(el.querySelector('svg'))};
}"""
SVG = "{http://www.w3.org/2000/svg}"
Mark = tuple[Any, ...]


def marks_of(text: str) -> dict[str, list[Mark]]:
    """Texts, points, rules and lines of an SVG with places on the whole drawing [px] and what they look like."""
    found: dict[str, list[Mark]] = {"text": [], "point": [], "rule": [], "line": []}

    def number(each: ElementTree.Element, name: str) -> float:
        return float(each.get(name, "0"))

    def look(each: ElementTree.Element, *names: str) -> tuple[str, ...]:
        dashes = (each.get("stroke-dasharray") or "").replace(" ", ",")
        return (*(each.get(name) or "" for name in names), dashes)

    def walk(each: ElementTree.Element, x: float, y: float) -> None:
        if each.get("opacity") == "0" or each.get("display") == "none":
            return
        moved = re.match(r"translate\(([-\d.e]+)(?:,([-\d.e]+))?\)", each.get("transform", ""))
        if moved:
            x, y = x + float(moved[1]), y + float(moved[2] or 0)
        if each.tag == f"{SVG}text":
            words = " ".join(part.strip() for part in each.itertext() if part.strip())
            own_x, own_y = number(each, "x"), number(each, "y")
            if words:
                size = (each.get("font-size") or "").removesuffix("px")
                weight = (each.get("font-weight") or "").replace("bold", "600")
                found["text"].append((x + own_x, y + own_y, words, each.get("text-anchor"), size, weight,
                                      each.get("fill")))  # fmt: skip
        elif each.tag == f"{SVG}line":
            ends = [number(each, name) for name in ("x1", "y1", "x2", "y2")]
            low, high = sorted([(x + ends[0], y + ends[1]), (x + ends[2], y + ends[3])])
            if low != high:
                found["rule"].append((*low, *high, *look(each, "stroke")))
        elif each.tag == f"{SVG}path":
            d = each.get("d", "")
            if moved:
                fill = each.get("fill") or ""
                empty = fill in {"none", "transparent"}
                scaled = re.search(r"scale\(([\d.]+)\)", each.get("transform", ""))
                by = float(scaled[1]) if scaled else 1.0
                first = re.match(r"M([-\d.e]+),([-\d.e]+)", d)  # where the outline begins: size and shape
                assert first is not None
                found["point"].append((x, y, by * float(first[1]), by * float(first[2]), "" if empty else fill,
                                       each.get("stroke") or ""))  # fmt: skip
            elif each.get("stroke") and re.fullmatch(r"M[-\d.e,]+(L[-\d.e,]+)+", d):
                places = [float(part) for pair in re.split("[ML]", d)[1:] for part in pair.split(",")]
                placed = [value + (y if i % 2 else x) for i, value in enumerate(places)]
                found["line"].append((*placed, *look(each, "stroke", "stroke-width")))
        for child in each:
            walk(child, x, y)

    walk(ElementTree.fromstring(text), 0.0, 0.0)  # noqa: S314 - made by us a moment ago
    return found


def by_library(kind: str, rows: dict[str, Any], signals: dict[str, Any], pad: dict[str, float]) -> str:
    """The library's drawing of a kind's specification."""
    spec: Any = json.loads(json.dumps(specifications()[kind]))
    for data in spec["data"]:
        if "source" not in data:
            data["values"] = rows.get(data["name"], [])
    for signal in spec["signals"]:
        signal["value"] = signals.get(signal["name"], signal["value"])
    spec |= {"width": signals["width"], "height": signals["height"], "padding": pad}
    return vl_convert.vega_to_svg(spec)


def alike(ours: list[Mark], theirs: list[Mark], near: float) -> list[Mark]:
    """Marks of ours that have no mark of theirs at their place with the same looks; each of theirs serves once."""
    left = list(theirs)
    lonely = []
    for mark in ours:
        for other in left:
            pairs = list(zip(mark, other, strict=False))
            if len(mark) == len(other) and all(
                abs(a - b) <= near if isinstance(a, float) and isinstance(b, float) else a == b for a, b in pairs
            ):
                left.remove(other)
                break
        else:
            lonely.append(mark)
    return lonely


@pytest.mark.parametrize("width", [390, 1280])
@pytest.mark.parametrize(
    ("path", "chart"),
    [
        (PROBE, "area-by-phase-panel-1"),
        (PROBE, "area-by-phase-panel-2"),
        (PROBE, "dots-by-build-panel-1"),
        (PROBE_CYLINDER, "history-2-panel-1"),
    ],
)
def test_what_is_painted_is_what_the_library_draws(
    browser: Browser, components: Path, path: str, chart: str, width: int
) -> None:
    """Reference: Vega, by the `vl-convert` package, from the same specification and rows."""
    with opened(browser, width=width) as found:
        drawn = found.go(components, path).evaluate(DRAWN, chart)
    ours = marks_of(drawn["svg"])
    theirs = marks_of(by_library(drawn["kind"], drawn["rows"], drawn["signals"], drawn["pad"]))
    assert len(theirs["text"]) > 10
    assert len(theirs["point"]) >= 3
    for kind, marks in theirs.items():
        assert len(ours[kind]) == len(marks), kind
        assert alike(ours[kind], marks, 0.6) == [], kind


# ---- choice of series ------------------------------------------------------------------------------------------------


def colours(page: Page, chart: int, colour: str) -> int:
    """How many marks and lines of a colour a chart of the figure has."""
    drawn = page.locator(f"{FIGURE} .chart").nth(chart)
    return drawn.locator(f'path[stroke="{colour}"], line[stroke="{colour}"]').count()


def ticks(page: Page) -> list[str]:
    texts = page.locator(f"{FIGURE} .chart svg text").all_text_contents()
    return [text for text in texts if re.fullmatch(r"\d\.\d", text)]


def box_of(page: Page, name: str) -> Any:
    return page.locator(f'{FIGURE} input[value="{name}"]')


def open_fold(page: Page, figure: str = FIGURE) -> None:
    """Opens what lies under a figure: check boxes, data, buttons that save."""
    page.locator(f"{figure} details.under > summary").click()


def test_a_series_can_be_hidden_and_the_address_keeps_it(browser: Browser, published: Path) -> None:
    with opened(browser) as found:
        page = found.go(published, PROGRAM)
        axis, strong = ticks(page), colours(page, 0, "var(--coating-2)")
        assert len(axis) >= 5
        assert not box_of(page, "B6").is_visible()
        open_fold(page)
        assert page.locator(FIGURE).get_by_role("checkbox", name="B6").count() == 1
        assert "B6 cyl. 2" in page.locator(f"{FIGURE} .chart").nth(0).locator("text").all_text_contents()
        box_of(page, "B6").focus()
        page.keyboard.press("Space")  # reached and pressed by keyboard
        fewer = colours(page, 0, "var(--coating-2)")
        assert 0 < fewer < strong
        assert "B6 cyl. 2" not in page.locator(f"{FIGURE} .chart").nth(0).locator("text").all_text_contents()
        assert ticks(page) == axis
        address = page.url
        assert address.endswith("~leak-area-by-phase.without=B6")
        page.goto("about:blank")
        page.goto(address)
        page.wait_for_selector('html[data-charts="all"]', state="attached")
        assert not box_of(page, "B6").is_checked()
        assert colours(page, 0, "var(--coating-2)") == fewer
        open_fold(page)
        page.locator(f"{FIGURE} [data-all=yes]").click()
        assert colours(page, 0, "var(--coating-2)") == strong
        assert "without" not in page.url
        page.locator(f"{FIGURE} [data-all=no]").click()
        assert colours(page, 0, "var(--coating-2)") == 0
        assert ticks(page) == axis
        assert found.said == []


def test_tables_and_figures_share_the_address(browser: Browser, published: Path) -> None:
    with opened(browser) as found:
        page = found.go(published, CYLINDER)
        page.wait_for_selector("html[data-tables=ready]", state="attached")
        open_fold(page, "#history-b6-cylinder-2")
        page.locator('input[value="cylinder 3"]').uncheck()
        page.locator("summary", has_text="Every reading").click()
        page.locator("#readings-b6-2 thead th:nth-child(4) button.sort").click()
        address = page.url
        assert "without=cylinder%203" in address
        assert "~readings-b6-2.3.up" in address
        page.locator('input[value="cylinder 4"]').uncheck()
        assert "~readings-b6-2.3.up" in page.url
        page.goto("about:blank")
        page.goto(address)
        page.wait_for_selector("html[data-tables=ready]", state="attached")
        assert not page.locator('input[value="cylinder 3"]').is_checked()
        assert page.locator('input[value="cylinder 4"]').is_checked()
        assert page.locator("#readings-b6-2 thead th:nth-child(4)").get_attribute("aria-sort") == "ascending"


def test_a_strange_choice_changes_nothing(browser: Browser, published: Path) -> None:
    with opened(browser) as found:
        page = found.go(published, PROGRAM)
        every = page.locator(f"{FIGURE} .chart svg path").count()
        for strange in ("#~leak-area-by-phase.without=B99,%E0%A4%A", "#~nobody.without=B1", "#~a.without=<img src=x>"):
            page.goto("about:blank")
            page.goto((published / PROGRAM).as_uri() + strange)
            page.wait_for_selector('html[data-charts="all"]', state="attached")
            assert page.locator(f"{FIGURE} .chart svg path").count() == every, strange
        assert found.said == []


# ---- larger ----------------------------------------------------------------------------------------------------------


def test_a_panel_grows_to_the_whole_width_and_back(browser: Browser, published: Path) -> None:
    with opened(browser) as found:
        page = found.go(published, COATING)
        panel = page.locator(f"{PANELS} .panel", has_text="Seating distance")
        chart, button = panel.locator(".chart"), panel.locator("button.larger")
        before, words = chart.locator("svg").bounding_box(), set(chart.locator("text").all_text_contents())
        button.click()
        large = chart.locator("svg").bounding_box()
        assert before is not None
        assert large is not None
        assert large["width"] > 2 * before["width"]
        assert large["height"] > 1.2 * before["height"]
        assert str(button.get_attribute("aria-label")).startswith("Smaller: ")
        assert {"B6", "next build", "4"} <= set(chart.locator("text").all_text_contents()) & words
        assert page.evaluate("() => document.documentElement.scrollWidth") <= 1280
        page.keyboard.press("Escape")
        after = chart.locator("svg").bounding_box()
        assert after is not None
        assert (after["width"], after["height"]) == (before["width"], before["height"])
        assert str(button.get_attribute("aria-label")).startswith("Larger: ")
        assert page.evaluate("() => document.activeElement.className") == "larger"
        page.keyboard.press("Enter")
        assert chart.locator("svg").bounding_box() == large
        page.locator(f"{PANELS} .panel").last.locator("button.larger").click()  # one at a time
        assert str(button.get_attribute("aria-label")).startswith("Larger: ")
        assert page.locator(".panel.large").count() == 1
        assert found.said == []


def test_paper_shows_panels_side_by_side_and_nothing_to_press(browser: Browser, published: Path) -> None:
    with opened(browser) as found:
        page = found.go(published, COATING)
        page.locator(f"{PANELS} .larger").first.click()
        page.locator(f"{PANELS} details.under > summary").click()
        page.emulate_media(media="print")
        widths = [box["width"] for svg in page.locator(f"{PANELS} .chart svg").all() if (box := svg.bounding_box())]
        assert max(widths) < 400
        for what in (".larger", ".tools"):
            assert not page.locator(f"{PANELS} {what}").first.is_visible()
        page.emulate_media(media="screen")
        page.goto((published / PROGRAM).as_uri())
        open_fold(page)
        assert page.locator(f"{FIGURE} fieldset.choose").is_visible()
        page.emulate_media(media="print")
        assert not page.locator(f"{FIGURE} fieldset.choose").is_visible()


def test_choice_and_size_are_not_offered_without_scripts(browser: Browser, published: Path) -> None:
    with opened(browser, scripts=False) as found:
        page = found.page
        page.goto((published / PROGRAM).as_uri())
        assert page.locator(f"{FIGURE} input").count() == 7
        open_fold(page)
        for what in ("input", "fieldset", ".larger"):
            assert not page.locator(f"{FIGURE} {what}").first.is_visible()


@pytest.mark.parametrize("width", [390, 1280])
def test_axe_finds_nothing_while_series_are_hidden_and_a_panel_is_large(
    browser: Browser, published: Path, width: int
) -> None:
    with opened(browser, width=width, bypass_csp=True) as found:
        page = found.go(published, PROGRAM)
        open_fold(page)
        box_of(page, "B6").uncheck()
        page.locator(f"{FIGURE} .larger").first.click()
        assert page.evaluate("() => document.documentElement.scrollWidth") <= width
        accessible(page, "light", "dark")
