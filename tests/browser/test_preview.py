"""The preview in a real browser: a page follows its files, and says what is wrong with them."""

from __future__ import annotations

import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest
from house import plain
from playwright.sync_api import Browser, Page, expect

from sitegen.preview.server import LOOPBACK

COMMAND = Path(sys.executable).parent / "sitegen"
PATIENCE = 120_000  # ms: a busy machine is slow, and only a fault takes so long


@dataclass
class Previewed:
    folder: Path
    process: subprocess.Popen[str]
    port: int

    @property
    def address(self) -> str:
        return f"http://{LOOPBACK}:{self.port}/"

    def file(self, name: str) -> Path:
        return self.folder / name

    def change(self, name: str, old: str, new: str) -> None:
        text = self.file(name).read_text(encoding="utf-8")
        assert old in text
        self.file(name).write_text(text.replace(old, new, 1), encoding="utf-8")


def _heed_ctrl_c() -> None:
    """A run in the background of a shell ignores it, and its children with it."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


@contextmanager
def running(tmp_path: Path, *command: str) -> Iterator[Previewed]:
    folder = plain(tmp_path)
    process = subprocess.Popen(
        [*command, "preview", str(folder), "--port", "0"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        preexec_fn=_heed_ctrl_c,
    )
    assert process.stdout is not None
    line = process.stdout.readline()
    port = int(line.split(f"http://{LOOPBACK}:")[1].split("/")[0])
    yield Previewed(folder, process, port)
    if process.poll() is None:
        process.kill()
    process.communicate()


@pytest.fixture
def previewed(tmp_path: Path) -> Iterator[Previewed]:
    with running(tmp_path, str(COMMAND)) as found:
        yield found


# A question for news is left open for an hour: what waits for one to end waits too long to be missed.
PATIENT = (
    "import sys; from sitegen.preview import server; server._PATIENCE = 3600.0; "
    "from sitegen.cli import main; sys.exit(main())"
)


@pytest.fixture
def patient(tmp_path: Path) -> Iterator[Previewed]:
    with running(tmp_path, sys.executable, "-c", PATIENT) as found:
        yield found


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    context.set_default_timeout(PATIENCE)
    yield context.new_page()
    context.close()


CYLINDER = "programs/pump/b1/cylinder-1.html"


def everything(folder: Path) -> dict[str, bytes]:
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_a_page_follows_its_files(previewed: Previewed, page: Page) -> None:
    said: list[str] = []
    asked: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.on("request", lambda request: asked.append(request.url))
    before = everything(previewed.folder)
    page.goto(previewed.address)
    expect(page.locator("h1")).not_to_have_text("No page is made yet", timeout=PATIENCE)  # it loads itself anew
    page.goto(previewed.address + CYLINDER)
    # The published arithmetic of the two-gauge test: 80 to 72 psig is 10 %, 80 to 60 psig is 25 % (FAA AC 43.13-1B)
    previewed.change("pump/records/leakdown.csv", ",72.5", ",72")
    expect(page.locator("main")).to_contain_text("10.0", timeout=PATIENCE)
    previewed.change("pump/records/leakdown.csv", ",72", ",60")
    expect(page.locator("main")).to_contain_text("25.0", timeout=PATIENCE)
    expect(page.locator("main")).not_to_contain_text("10.0")
    expect(page.locator("#preview-panel")).to_have_count(0)
    assert said == []
    assert [url for url in asked if not url.startswith((previewed.address, "data:", "blob:"))] == []
    # nothing was written: neither results nor a site
    assert set(everything(previewed.folder)) == set(before)
    page.close()


def test_a_mistake_stands_over_the_page_until_it_is_mended(previewed: Previewed, page: Page) -> None:
    page.goto(previewed.address)
    expect(page.locator("h1")).not_to_have_text("No page is made yet", timeout=PATIENCE)
    page.goto(previewed.address + CYLINDER)
    heading = page.locator("h1").inner_text()
    line = previewed.file("pump/program.yaml").read_text(encoding="utf-8").split("\n").index("  supply: 80 psig") + 1
    previewed.change("pump/program.yaml", "supply: 80 psig", "supply: 80 <b>mm</b>")
    panel = page.get_by_role("alert")
    expect(panel).to_contain_text(f"pump/program.yaml:{line}:", timeout=PATIENCE)
    expect(panel).to_contain_text("1 error in the files; ")
    expect(panel).to_contain_text("<b>mm</b>")  # as text: nobody's file is markup here
    assert page.locator("h1").inner_text() == heading  # the last good page is still below
    page.goto(previewed.address + "programs/pump/index.html")
    expect(panel).to_contain_text(f"pump/program.yaml:{line}:")
    page.get_by_role("button", name="Hide").click()
    expect(panel).to_be_hidden()
    previewed.change("pump/program.yaml", "supply: 80 <b>mm</b>", "supply: 80 mm")
    expect(panel).to_be_visible(timeout=PATIENCE)  # another mistake is told again
    previewed.change("pump/program.yaml", "supply: 80 mm", "supply: 80 psig")
    expect(panel).to_have_count(0, timeout=PATIENCE)


def test_a_folder_that_is_broken_from_the_start(previewed: Previewed, page: Page) -> None:
    title = previewed.file("pump/program.yaml").read_text(encoding="utf-8").split("title: ")[1].split("\n")[0]
    previewed.change("pump/program.yaml", "title:", "titel:")
    page.goto(previewed.address + CYLINDER)
    expect(page.get_by_role("alert")).to_contain_text('"title"', timeout=PATIENCE)
    previewed.change("pump/program.yaml", "titel:", "title:")
    expect(page.locator("header")).to_contain_text(title, timeout=PATIENCE)


def test_ctrl_c_stops_it_and_the_page_says_so(previewed: Previewed, page: Page) -> None:
    page.goto(previewed.address)
    expect(page.locator("h1")).not_to_have_text("No page is made yet", timeout=PATIENCE)
    previewed.process.send_signal(signal.SIGINT)
    out, err = previewed.process.communicate(timeout=PATIENCE / 1000)
    assert previewed.process.returncode == 0
    assert out.endswith("Preview stopped.\n")
    assert "Traceback" not in err
    assert "\r" not in out + err  # quiet in a pipe
    expect(page.get_by_role("alert")).to_contain_text("does not answer", timeout=PATIENCE)


def test_two_windows_and_hidden_ones(patient: Previewed, browser: Browser) -> None:
    """A browser opens six connections to a server: pages that wait for news must not use them up."""
    context = browser.new_context()
    context.set_default_timeout(PATIENCE)
    pages = [context.new_page() for _ in range(5)]
    for each in pages:
        each.goto(patient.address)
    expect(pages[-1].locator("h1")).not_to_have_text("No page is made yet", timeout=PATIENCE)
    pages[-1].goto(patient.address + CYLINDER, timeout=PATIENCE)
    context.close()
