"""The page of a build: the states in its heading, and what is out of the ordinary of all streams, linked."""

from __future__ import annotations

import re

import pytest
from house import Published
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
         ("cylinder 2 above the limit", "cylinders 1, 3 and 4 cannot be told")),
        (["not seated", "seated", "still seating"],
         ("one cylinder seated", "cylinder 3 still seating, cylinder 1 not seated, cylinder 4 cannot be told")),
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
    left_out = [
        name for name, page in pages.items() if any("left out" in line or "set aside" in line for line in unusual(page))
    ]
    assert len(left_out) == 1


@pytest.mark.parametrize(
    ("build", "expected"),
    [
        ("b1", ["Wear: The wear does not add up", "Leak-down: One reading of cylinder 2 left out on objection"]),
        ("b2", ["Cylinder 2 seats over a distance of its own", "Inspection: Scuffing in cylinder 1 (light, bore)",
                "Event log: Stop at 17.0 min of run-in, 60 min: gas", "Oil sample: Oil sample drawn late"]),
        ("b3", ["Run log: Coolant temperature: stuck"]),
        ("b4", ["Event log: Low oil at 1 432 min of 40 h", "Oil sample: Oil sample drawn elsewhere: four pulls"]),
        ("b5", ["Run log: Not run as planned: four pulls", "Oil sample: Missing: run-in, 25 min"]),
        ("b6", ["Cylinders: Cylinder 2 is odd in leak area", "yet graded 1.0, “evenly run in”",
                "no calibration of its instrument was in force that day", "Schedule: 40 h not run: taken apart"]),
        ("b7", ["Event log: Meter check failed at 4.0 min of four pulls", "Run log: Blow-by, as the meter reads"]),
    ],
)  # fmt: skip
def test_what_the_records_of_each_build_hold_is_found(examples: Published, build: str, expected: list[str]) -> None:
    """As the records say it: an event log, a lapsed calibration, a bottle that was never drawn."""
    told = unusual((examples.site / f"programs/pump-rings-2026/{build}/index.html").read_text(encoding="utf-8"))
    text = "\n".join(told).replace("\N{NARROW NO-BREAK SPACE}", " ").replace("\N{NO-BREAK SPACE}", " ")
    assert [each for each in expected if each not in text] == []
    assert len(told) == len(set(told)) <= 8
    assert len(text.split()) <= 120  # an instrument found off is a line of nearly twenty words


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
