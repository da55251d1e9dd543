"""What leaves a page says what a reader hid, as of when it is, and that its data are invented."""

from __future__ import annotations

import io
import re
from pathlib import Path

from browser.opened import opened
from browser.test_browser import save
from playwright.sync_api import Browser
from pypdf import PdfReader

HOME = "programs/pump-rings-2026/index.html"
HIDDEN = "#~leak-area-by-phase.without=B6,B2"
SAID = "Not shown: B2, B6."


def printed(pdf: bytes) -> str:
    return " ".join(" ".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages).split())


def test_a_hidden_build_is_said_in_the_figure_in_print_and_in_what_is_saved(browser: Browser, published: Path) -> None:
    with opened(browser) as found:
        page = found.go(published, HOME)
        figure = page.locator("#leak-area-by-phase")
        line = figure.locator(".not-shown")
        assert not line.is_visible()
        assert SAID not in save(page, "svg", "leak-area-by-phase")[1].decode()
        whole = int.from_bytes(save(page, "png", "leak-area-by-phase")[1][20:24], "big")
        page.goto("about:blank")
        page.goto((published / HOME).as_uri() + HIDDEN)
        page.wait_for_selector('html[data-charts="all"]', state="attached")
        assert line.inner_text() == SAID
        assert SAID in " ".join(save(page, "svg", "leak-area-by-phase")[1].decode().split())
        assert int.from_bytes(save(page, "png", "leak-area-by-phase")[1][20:24], "big") == whole + 2 * 18
        assert SAID in printed(page.pdf(format="A4"))
        assert figure.locator("button[data-all=yes]").is_visible()  # saving opened the fold
        figure.locator("button[data-all=yes]").click()
        assert line.inner_text() == ""
        assert found.said == []


def test_part_of_a_run_is_said(browser: Browser, published: Path) -> None:
    with opened(browser) as found:
        page = found.go(published, "programs/pump-rings-2026/b1/index.html")
        field = page.locator("fieldset.stretch").first
        field.get_by_role("button", name="run-in, 25 min").click()
        field.locator("input[data-edge=to]").fill("8")
        field.locator("input[data-edge=to]").press("Tab")
        line = page.locator("figure", has=field).first.locator(".not-shown")
        assert line.inner_text() == "Shown: run-in, 25 min, 0 to 8 min only."


def test_a_filtered_table_prints_how_many_of_its_rows_are_shown_and_saves_all(
    browser: Browser, published: Path
) -> None:
    with opened(browser) as found:
        page = found.page
        page.goto((published / "programs/pump-rings-2026/data.html").as_uri() + "#~record-files-runlog=b1")
        page.wait_for_selector("html[data-tables=ready]")
        every = page.locator("#record-files-runlog tbody tr").count()
        shown = page.locator("#record-files-runlog tbody tr:not([hidden])").count()
        assert 0 < shown < every
        text = printed(page.pdf(format="A4"))
        assert f"{shown} of {every} rows" in text
        assert text.count("Rows with") == 1  # a table with all its rows does not print an empty field
        with page.expect_download() as waiting:
            page.locator('button[data-of="record-files-runlog"]').click()
        csv = Path(waiting.value.path()).read_bytes()
        rows = csv.decode("utf-8-sig").strip().split("\r\n")
        assert len(rows) == every + 1
        assert rows[0].endswith(",data")
        assert all(row.endswith(",invented") for row in rows[1:])


def test_pictures_that_leave_say_what_they_are_of_and_as_of_when(browser: Browser, published: Path) -> None:
    with opened(browser) as found:
        page = found.go(published, HOME)
        source = page.locator(".foot [data-source]").get_attribute("data-source") or ""
        assert source.startswith("Invented data. Pump rings 2026: records until ")
        drawing = save(page, "svg", "leak-area-by-phase")[1].decode()
        assert "Invented data. Pump rings 2026: records until" in drawing
        assert "Open: not yet to rely on." in " ".join(re.sub(r"<[^>]*>", " ", drawing).split())
        assert "is worked out" not in drawing  # a link leads nowhere in a picture
        assert source.rpartition("results ")[2].partition(",")[0] in drawing
