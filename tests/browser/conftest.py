"""A browser, and two sites to open in it from the disk: one with every component, and the published examples."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from house import Published, once
from pages import fixture
from playwright.sync_api import Browser, sync_playwright

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

    def make(to: Path) -> None:
        folder = fixture.folder()
        publish(build_site(folder, fixture.analyses(folder), (fixture.STREAM,), fixture.MEASURES), to / "site")

    return once(tmp_path_factory, "components", make) / "site"


@pytest.fixture(scope="session")
def published(examples: Published) -> Path:
    """The site of the example programs."""
    return examples.site


@pytest.fixture(scope="session", params=["components", "published"])
def site(request: pytest.FixtureRequest) -> Path:
    """Each site in turn."""
    chosen: Path = request.getfixturevalue(request.param)
    return chosen
