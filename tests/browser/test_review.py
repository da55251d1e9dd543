"""A review from opening the page to the returned file and what it does, in a browser, from a folder."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from house import Published
from playwright.sync_api import Browser, BrowserContext, Dialog, Page

from sitegen.cli import main

READING = "leakdown-b6:46"


@pytest.fixture
def context(browser: Browser) -> BrowserContext:
    return browser.new_context(accept_downloads=True)


def opened(context: BrowserContext, site: Path, place: str = "place.b6.2") -> Page:
    page = context.new_page()
    page.goto((site / "programs" / "pump-rings-2026" / "review.html").as_uri() + f"#{place}")
    page.wait_for_selector("#marking[data-ready=yes]")
    return page


def mark(page: Page) -> None:
    """What a reviewer does with a keyboard: the cylinder agreed with, one reading objected to in words."""
    page.get_by_label("Your name").fill("M. S.")
    page.get_by_label("B6 cylinder 2", exact=True).first.focus()
    page.keyboard.press("a")  # agrees
    row = page.locator("li.mark", has_text=READING)
    row.locator("select").first.select_option("objects")
    row.locator("input").fill('it jumped: "75.6" <b>')


def saved(page: Page, to: Path) -> Path:
    with page.expect_download() as caught:
        page.get_by_role("button", name="Save as one file").click()
    path = to / caught.value.suggested_filename
    caught.value.save_as(path)
    return path


def test_from_a_mark_to_the_published_effect(
    context: BrowserContext, examples: Published, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    page = opened(context, examples.site)
    faults: list[str] = []
    page.on("pageerror", lambda fault: faults.append(str(fault)))
    mark(page)
    assert "2 marks, not saved as a file" in page.locator(".who").inner_text()
    file = saved(page, tmp_path)
    assert file.name.endswith("-m-s.yaml")
    assert faults == []
    programs = Path(shutil.copytree(examples.programs, tmp_path / "programs"))
    (programs / "pump-rings-2026" / "reviews").mkdir()
    shutil.copy(file, programs / "pump-rings-2026" / "reviews")
    capsys.readouterr()
    assert main(["check", str(programs)]) == 0
    assert f"reviews/{file.name}" not in capsys.readouterr().out
    assert main(["publish", str(programs), "--to", str(tmp_path / "site")]) == 0
    again = opened(context, tmp_path / "site")
    text = again.locator("main").inner_text().replace("\u00a0", " ")
    assert "M. S.: agrees" in text
    assert 'it jumped: "75.6" <b>' in text
    assert "not accepted: used" in text
    assert "if it were left out" in text
    assert "B6 cylinder 2" in text


def test_nothing_is_lost_when_the_browser_closes(context: BrowserContext, examples: Published) -> None:
    page = opened(context, examples.site)
    mark(page)
    asked: list[str] = []

    def dismissed(dialog: Dialog) -> None:
        asked.append(dialog.type)
        dialog.dismiss()

    page.on("dialog", dismissed)
    page.close(run_before_unload=True)
    page.wait_for_timeout(300)
    assert asked == ["beforeunload"]  # it asks before what is not saved goes away
    page.close()
    again = opened(context, examples.site)
    assert "were taken up again: 2" in again.locator("#marking").inner_text()
    assert again.get_by_label("B6 cylinder 2", exact=True).first.input_value() == "agrees"


def test_a_saved_file_is_taken_up_where_the_browser_keeps_nothing(
    context: BrowserContext, examples: Published, tmp_path: Path
) -> None:
    context.add_init_script("Object.defineProperty(window, 'localStorage', {get() { throw new Error('refused'); }});")
    page = opened(context, examples.site)
    mark(page)
    assert "This browser keeps nothing: save before you close the page" in page.locator(".who").inner_text()
    file = saved(page, tmp_path)
    page.close()
    again = opened(context, examples.site, "place.b1.1")
    assert again.locator(".queue .marked").count() == 0
    again.locator("#review-file").set_input_files(str(file))
    again.wait_for_selector(".queue .marked")
    assert "Went on with 2 marks" in again.locator("#marking").inner_text()
    assert saved(again, tmp_path / "second").read_bytes() == file.read_bytes()
    other = tmp_path / "other.yaml"
    other.write_text('program: "another"\n', encoding="utf-8")
    again.locator("#review-file").set_input_files(str(other))
    again.wait_for_selector("text=nothing was taken from it")


def test_without_a_name_nothing_is_signed(context: BrowserContext, examples: Published) -> None:
    page = opened(context, examples.site)
    page.get_by_role("button", name="Save as one file").click()
    assert "a review is signed" in page.locator("#marking").inner_text()


def test_cylinder_and_engine_pages_lead_to_their_place(context: BrowserContext, examples: Published) -> None:
    page = context.new_page()
    page.goto((examples.site / "programs" / "pump-rings-2026" / "b6" / "cylinder-2.html").as_uri())
    page.get_by_role("link", name="Review", exact=True).click()
    page.wait_for_selector("#marking[data-ready=yes]")
    assert page.locator(".subject h3").inner_text().startswith("B6 cylinder 2")
    page.get_by_role("button", name="Next").click()
    assert page.locator(".subject h3").inner_text().startswith("B6 cylinder 3")
