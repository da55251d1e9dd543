"""The page of a build: the states in its heading, and what is out of the ordinary of all streams, linked."""

from __future__ import annotations

import re

import pytest
from pages import fixture

from sitegen.page.addresses import Addresses
from sitegen.page.blocks import Axis
from sitegen.page.view import STATE, Desk, View
from sitegen.pages import plans
from sitegen.pages.site import build_site
from sitegen.program.model import Program
from sitegen.vocabulary import Verdict

OWN = "programs/probe-2026"


def program() -> Program:
    return fixture.folder().programs[1]


def view(*words: str) -> View:
    """The first build of the fixture, its cylinders in these states."""
    of = fixture.folder()
    build = program().builds[0]
    verdicts = [Verdict(STATE, build.key(n), word) for n, word in enumerate(words, 1)]
    analysis = fixture.FixtureAnalysis(of.programs[1], {}, {}, verdicts, (), {})
    page = f"{OWN}/b1/index.html"
    return View(of, fixture.MEASURES, Addresses.of(of), page, Desk(analysis), build)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["seated"] * 4, ("all four cylinders seated", "")),
        (["seated", "still seating", "seated", "seated"], ("three cylinders seated", "cylinder 2 still seating")),
        (["cannot tell", "above the limit", "cannot tell", "cannot tell"],
         ("cylinder 2 above the limit", "of cylinders 1, 3 and 4 it cannot be told")),
        (["not seated", "seated", "still seating"],
         ("one cylinder seated", "cylinder 3 still seating, cylinder 1 not seated, of cylinder 4 it cannot be told")),
        (["not seated"] * 4, ("cylinders 1 to 4 not seated", "")),
        (["cannot tell"] * 4, ("it cannot be told whether its cylinders are seated", "")),
        ([], ("it cannot be told whether its cylinders are seated", "")),
    ],
)  # fmt: skip
def test_the_heading_says_how_the_cylinders_stand(words: list[str], told: tuple[str, str]) -> None:
    seen = view(*words)
    assert plans.heading(seen, seen.the_build) == told


@pytest.fixture(scope="module")
def pages() -> dict[str, str]:
    of = fixture.folder()
    files = build_site(of, fixture.analyses(of), (fixture.STREAM,), fixture.MEASURES)
    return {name: text.decode() for name, text in files.items() if name.endswith(".html")}


def unusual(page: str) -> list[str]:
    (listed,) = re.findall(r'<ol class="unusual">(.*?)</ol>', page, re.S) or [""]
    lines = re.findall(r"<li><span>(.*?)</span>(.*?)</li>", listed, re.S)
    return [f"{label}: {re.sub('<[^>]+>', '', line)}" for label, line in lines]


def test_what_is_out_of_the_ordinary_is_told_of_every_stream(pages: dict[str, str]) -> None:
    assert "Schedule: Four pulls not run: no time" in unusual(pages[f"{OWN}/v1/index.html"])
    told = unusual(pages[f"{OWN}/b2/index.html"])
    assert not [line for line in told if "not run" in line]  # what is still to come is no departure
    left_out = [name for name, page in pages.items() if any("not used" in line for line in unusual(page))]
    assert len(left_out) == 1


def test_where_nothing_is_it_is_said(pages: dict[str, str]) -> None:
    quiet = [
        name for name in pages if name.count("/") == 3 and name.endswith("index.html") and not unusual(pages[name])
    ]
    for name in quiet:
        assert "Nothing out of the ordinary." in pages[name]
    said = [name for name, page in pages.items() if "Nothing out of the ordinary." in page]
    assert said == quiet
    assert quiet


@pytest.mark.parametrize("ends", [[0.31, 0.65], [-0.6, 3.6], [0.0], [12.0, 1.0], [-3.0, -0.2], [0.004, 0.0041]])
def test_an_axis_holds_its_values_with_nought(ends: list[float]) -> None:
    axis = Axis.over(1, ends)
    assert all(0 <= axis.place(end) <= 1 for end in [0.0, *ends])
    assert 2 <= len(axis.ticks) <= 9
    assert len({label for _, label in axis.ticks}) == len(axis.ticks)
