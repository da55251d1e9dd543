"""The run charts of an engine page: stacked on one time axis, looked at closer by keyboard, kept in the address."""

from __future__ import annotations

import math
import re
from pathlib import Path

import pytest
from browser.opened import opened
from house import fewer, once
from playwright.sync_api import Browser, Locator

from sitegen.cli import main

ENGINE = "programs/pump-rings-2026/b2/index.html"
FIGURE = "figure[data-name=runs]"
LINES = "svg path[fill=none]"


def extent(chart: Locator) -> tuple[float, float, int]:
    """First and last place [px] of the lines of a chart, and how many points they have."""
    paths = chart.locator(LINES).evaluate_all("all => all.map(each => each.getAttribute('d'))")
    across = [float(x) for d in paths for x in re.findall(r"([\d.]+),", d)]
    return min(across), max(across), len(across)


def numbers(chart: Locator) -> list[float]:
    """Numbers of the value axis."""
    texts = chart.locator("svg > g > g text[text-anchor=end]").all_text_contents()
    return [float(text.replace("\u202f", "").replace("\u2212", "-")) for text in texts]


def test_four_channels_stand_on_one_axis_and_the_others_are_drawn_when_opened(
    browser: Browser, published: Path
) -> None:
    with opened(browser) as found:
        page = found.go(published, ENGINE)
        charts = page.locator(FIGURE).locator(".chart")
        assert charts.count() == 4
        lefts = [extent(charts.nth(n))[:2] for n in range(4)]
        assert lefts == [pytest.approx(lefts[0], abs=1.5)] * 4  # px
        for name in ("run-in, 10 min", "run-in, 25 min", "run-in, 60 min", "four pulls"):
            assert charts.first.locator("svg text", has_text=name).count() == 1
            assert charts.nth(1).locator("svg text", has_text=name).count() == 0
        assert charts.first.locator("svg path[fill^='var(--faint']").count() == 8  # reference points, shaded
        assert any("stopped for" in text for text in page.locator(f"{FIGURE} .events li").all_text_contents())
        more = page.locator("figure[data-name=other-channels]")
        assert more.locator(".chart").count() == 10
        assert more.locator("svg").count() == 0
        page.locator("details:has(figure[data-name=other-channels]) > summary").first.click()
        more.locator(".chart[data-drawn=yes] svg").nth(9).wait_for(state="attached")
        first, here = more.locator("svg").first.bounding_box(), more.bounding_box()
        assert first is not None
        assert here is not None
        assert first["width"] == pytest.approx(here["width"], abs=1)
        assert found.said == []


def test_no_axis_goes_below_zero_for_what_cannot_be(browser: Browser, published: Path) -> None:
    with opened(browser) as found:
        for build in ("b1", "b2", "b6"):
            page = found.go(published, f"programs/pump-rings-2026/{build}/index.html")
            page.evaluate("() => document.querySelectorAll('details').forEach(each => { each.open = true; })")
            page.wait_for_function("() => [...document.querySelectorAll('.stack .chart')].every(e => e.dataset.drawn)")
            for chart in page.locator(".stack .chart").all():
                title = str(chart.get_attribute("data-title"))
                if "emperature" not in title and title != "Crankcase pressure":
                    assert min(numbers(chart)) >= 0, title


def test_a_channel_is_hidden_by_keyboard_and_stays_so_by_the_address(browser: Browser, published: Path) -> None:
    with opened(browser) as found:
        page = found.go(published, ENGINE)
        panels = page.locator(f"{FIGURE} .panel")
        page.locator(f"{FIGURE} details.under > summary").press("Enter")
        page.locator(f"{FIGURE} input[data-series]").nth(3).press("Space")
        assert not panels.nth(3).is_visible()
        assert panels.nth(2).locator("svg text", has_text="Time in each run, min").count() == 1
        assert "without=Oil" in page.url
        page.reload()
        page.wait_for_selector('html[data-charts="all"]', state="attached")
        assert not panels.nth(3).is_visible()
        assert panels.nth(2).is_visible()


def test_the_data_stand_in_a_table_of_channels(browser: Browser, published: Path) -> None:
    for scripts in (True, False):
        with opened(browser, scripts=scripts) as found:
            found.page.goto((published / ENGINE).as_uri())
            assert found.page.locator("table[data-name=channels-by-phase] tbody tr").count() == 4 * 14


def test_a_stretch_shows_more_on_an_axis_of_its_own_and_stays_in_the_address(browser: Browser, published: Path) -> None:
    with opened(browser) as found:
        page = found.go(published, ENGINE)
        figure = page.locator(FIGURE)
        blowby = figure.locator(".chart").nth(2)
        before, scale = extent(blowby), numbers(blowby)
        figure.get_by_role("button", name="run-in, 60 min").press("Enter")
        edges = figure.locator("input[data-edge]")
        assert edges.first.input_value() == "0"  # minutes of the run, as the text tells them
        edges.first.fill("12")
        edges.first.press("Tab")
        edges.last.fill("14")
        edges.last.press("Tab")
        after = extent(blowby)
        assert after[:2] == pytest.approx(before[:2], abs=3)  # px: the stretch takes the whole width of the panel
        assert after[2] >= 25  # points in two minutes: one every five seconds or closer
        assert max(numbers(blowby)) - min(numbers(blowby)) < max(scale) - min(scale)
        assert figure.locator(".chart").first.locator("svg text", has_text="run-in, 60 min").count() == 1
        assert ".minutes=37.83-39.83" in page.url
        page.reload()
        page.wait_for_selector('html[data-charts="all"]', state="attached")
        assert [each.input_value() for each in edges.all()] == ["12", "14"]
        assert figure.locator(".not-shown").text_content() == "Shown: run-in, 60 min, 12 to 14 min only."
        figure.get_by_role("button", name="all of it").press("Enter")
        assert "minutes" not in page.url
        assert numbers(blowby) == scale


def test_a_stretch_that_is_none_is_refused_in_words_and_changes_nothing(browser: Browser, published: Path) -> None:
    with opened(browser) as found:
        page = found.go(published, ENGINE)
        figure = page.locator(FIGURE)
        figure.get_by_role("button", name="run-in, 25 min").press("Enter")
        before, address = extent(figure.locator(".chart").first), page.url
        first, said = figure.locator("input[data-edge=from]"), figure.locator(".refused")
        for text in ("999", ""):
            first.fill(text)
            first.press("Tab")
            assert "lasts from 0 to" in str(said.text_content())
            assert first.get_attribute("aria-invalid") == "true"
            assert first.input_value() == text  # what was asked stays, to be mended
            assert page.url == address
            assert extent(figure.locator(".chart").first) == before
        first.fill("3")
        first.press("Tab")
        assert said.text_content() == ""
        assert page.url != address


def test_a_focused_channel_is_read_by_arrow_keys_and_a_tap(browser: Browser, published: Path) -> None:
    with opened(browser, has_touch=True) as found:
        page = found.go(published, ENGINE)
        chart = page.locator(f"{FIGURE} .chart").first
        chart.focus()
        page.keyboard.press("End")
        tip = page.locator(".tip")
        last = tip.text_content()
        assert re.fullmatch(r"four pulls, \d+\.\d min: [\d\u202f.]+ rpm.*", str(last))
        page.keyboard.press("ArrowLeft")
        assert tip.text_content() != last
        assert page.url.endswith("index.html")  # the page was not turned
        page.keyboard.press("Escape")
        assert not tip.is_visible()
        chart.tap()
        assert tip.is_visible()


def test_events_are_numbered_circles_with_a_list(browser: Browser, published: Path) -> None:
    with opened(browser) as found:
        page = found.go(published, "programs/pump-rings-2026/b6/index.html")
        first = page.locator(FIGURE).locator(".chart").first
        told = page.locator(f"{FIGURE} .events li").all_text_contents()
        assert any("meter check" in text for text in told)
        assert any("adjusted" in text for text in told)
        bold = first.locator("svg text[font-weight='600'][text-anchor=middle]").all_text_contents()
        assert bold == [str(n) for n in range(1, len(told) + 1)]
        assert (
            page.locator("table[data-name=events] tbody tr").count() == 3
        )  # and the check of the crankcase, before it ran


def test_circles_of_events_that_lie_close_stand_clear_of_each_other(
    browser: Browser, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Forty within a minute at the end of a run: in rows, none over another, none cut, each number once."""

    def make(to: Path) -> None:
        folder = fewer(to)
        rows = "".join(f"A1,run-in-60,{34 + n / 60:.3f},other\n" for n in range(40))
        (folder / "pump-rings-2025" / "records" / "crowded.csv").write_text(
            f"engine,phase,at [min],what\n{rows}", "utf-8"
        )
        program = folder / "pump-rings-2025" / "program.yaml"
        text = program.read_text("utf-8")
        assert text.count("\nrecords:\n") == 1
        entry = "\nrecords:\n  events:\n    - {file: records/crowded.csv}\n"
        assert "\n  events:\n" not in text
        program.write_text(text.replace("\nrecords:\n", entry), "utf-8")
        assert main(["publish", str(folder), "--to", str(to / "site")]) == 0

    site = once(tmp_path_factory, "crowded-events", make) / "site"
    for width in (390, 1280):
        with opened(browser, width=width) as found:
            page = found.go(site, "programs/pump-rings-2025/a1/index.html")
            first = page.locator("figure:has(.events li) .chart").first
            told = page.locator("figure:has(.events li)").first.locator(".events li").count()
            assert told >= 40
            numbers = first.locator("svg text[font-weight='600'][text-anchor=middle]")
            assert sorted(map(int, numbers.all_text_contents())) == list(range(1, told + 1))
            middles = [
                (box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
                for box in (each.bounding_box() for each in numbers.all())
                if box is not None
            ]
            nearest = min(math.dist(a, b) for n, a in enumerate(middles) for b in middles[:n])
            assert nearest >= 23  # circles of two figures are 22 px across
            drawn = first.bounding_box()
            assert drawn is not None
            assert all(drawn["x"] <= x <= drawn["x"] + drawn["width"] and y >= drawn["y"] + 9 for x, y in middles)
