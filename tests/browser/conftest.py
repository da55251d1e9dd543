"""A browser, and two sites to open in it from the disk: one with every component, and the published examples."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from pages import fixture
from playwright.sync_api import Browser, sync_playwright

from sitegen import cli
from sitegen.pages.site import build_site
from sitegen.publish import publish

# Keep the browser from calling out: what is left must be the pages' own doing.
FLAGS = [
    "--no-sandbox",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
PROGRAMS = Path(__file__).parents[2] / "programs"


def _chromium() -> str | None:
    named = os.environ.get("SITEGEN_CHROMIUM")
    return named or shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    path = _chromium()
    if path is None:
        if os.environ.get("CI"):
            pytest.fail("no Chromium on PATH or in SITEGEN_CHROMIUM, and CI needs the browser tests")
        pytest.skip("no Chromium on PATH or in SITEGEN_CHROMIUM")
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=path, args=FLAGS)
        yield opened
        opened.close()


@pytest.fixture(scope="session")
def components(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The site of the fixture program."""
    to = tmp_path_factory.mktemp("components") / "site"
    folder = fixture.folder()
    publish(build_site(folder, fixture.analyses(folder), (fixture.STREAM,), fixture.MEASURES), to)
    return to


@pytest.fixture(scope="session")
def published(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The site of the example programs, published from a copy so that their committed results stay as they are."""
    work = tmp_path_factory.mktemp("examples")
    shutil.copytree(PROGRAMS, work / "programs")
    assert cli.main(["publish", str(work / "programs"), "--to", str(work / "site")]) == 0
    return work / "site"


@pytest.fixture(scope="session", params=["components", "published"])
def site(request: pytest.FixtureRequest) -> Path:
    """Each site in turn."""
    chosen: Path = request.getfixturevalue(request.param)
    return chosen
