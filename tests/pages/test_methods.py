"""The methods page: short, every measure to be found by its anchor, reasons in words."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from house import Published
from pages import fixture
from pages.test_site import make, text

from sitegen import reasons, registry, releases
from sitegen.page import words
from sitegen.page.addresses import slug
from sitegen.page.glossary import WORDS
from sitegen.pages.site import build_site
from sitegen.vocabulary import Measure

MASS = Measure(
    "probe.mass", "ring mass", "g", "", "Ring mass as weighed. Two weighings.", "m", "reading", interval="bounds"
)
WIDTH = replace(MASS, id="probe.width", title="ring width", unit="mm", better="less", method="Ring width as weighed. "
                "Two weighings.")  # fmt: skip
OTHER = replace(MASS, id="probe.other", title="ring height", method="Ring height as weighed. Three weighings.")


@pytest.fixture(scope="module")
def page() -> str:
    folder = fixture.folder()
    measures = {**fixture.MEASURES, **{each.id: each for each in (MASS, WIDTH, OTHER)}}
    return build_site(folder, fixture.analyses(folder), (fixture.STREAM,), measures)["methods.html"].decode()


def entries(page: str) -> list[str]:
    return re.findall(r'<details class="entry" id=.*?</details>', page, re.S)


def test_measures_that_differ_in_their_name_only_share_an_entry(page: str) -> None:
    (shared,) = [entry for entry in entries(page) if 'id="probe-mass"' in entry]
    assert 'id="probe-width"' in shared
    assert 'id="probe-other"' not in shared
    said = text(shared.encode())
    assert "Ring mass and ring width: Each as weighed." in said  # its name and what it is, in a line
    assert "Each as weighed. Two weighings." in said
    assert "Ring mass probe.mass in g" in said
    assert "Ring width probe.width in mm; less is better" in said


def test_every_measure_of_the_house_has_one_place() -> None:
    folder = fixture.folder()
    measures = {**fixture.MEASURES, **registry.measures()}
    streams = [
        replace(each, sections=(), recorded=(), of_build=(), unusual=None) for each in registry.STREAMS
    ]  # nothing of theirs was read
    site = build_site(folder, fixture.analyses(folder), (fixture.STREAM, *streams), measures)
    page = site["methods.html"].decode()
    ids = re.findall(r'\sid="([^"]+)"', page)
    assert [ids.count(slug(measure)) for measure in measures] == [1] * len(measures)
    (sheet,) = [entry for entry in entries(page) if 'id="buildsheet-gap"' in entry]
    for name in ("gap-gauge", "mass", "tension", "thickness", "bore"):
        assert f'id="buildsheet-{name}"' in sheet
    # six of the build sheet alike, six channels, six of oil, 22 elements in it, ten metals made, five of a next step,
    # means, ratios and smallest ratios of the rig for friction and for wear; over the hours six least slopes, and but
    # for blow-by five slopes and five levels
    assert len(entries(page)) == len(measures) - 5 - 5 - 5 - 21 - 9 - 4 - 3 - 5 - 4 - 4
    for measure in measures.values():
        assert measure.formula in text(page.encode())


def test_an_entry_says_where_its_measure_is_shown_and_how_often(page: str) -> None:
    (area,) = [entry for entry in entries(page) if 'id="probe-area"' in entry]
    said = text(area.encode())
    assert "On cylinder pages under History and Every reading" in said
    (values,) = re.findall(r'<a href="programs/probe-2026/index.html">Probe rings 2026: (\d+) values</a>', area)
    folder = fixture.folder()
    assert int(values) == len(fixture.analyses(folder)[1].values)
    (ratio,) = [entry for entry in entries(page) if 'id="probe-ratio"' in entry]
    assert "none in these programs" in text(ratio.encode())


def test_reasons_are_words_and_those_met_come_first(page: str) -> None:
    folded = (
        r'<details class="entry"><summary><b>([^<]*)</b>[^<]*</summary>\s*<div class="block">.*?<tbody>(.*?)</tbody>'
    )
    tables = {title: body for title, body in re.findall(folded, page, re.S) if title != "Procedures by design"}
    assert list(tables) == [
        "A reading is set aside", "There is no answer", "A value is to be taken with care", "Results",
    ]  # fmt: skip
    lines = [row for row in tables["A reading is set aside"].split("</tr>") if "<th" in row]
    rows = [re.findall(r"<(?:th|td)[^>]*>(.*?)</(?:th|td)>", row) for row in lines]
    met = {code: times for _, times, code in rows if times}
    assert met == {"excluded": "1"}  # the objection of the fixture
    assert rows[0][0] == "an objection to it was accepted"
    assert {row[2] for row in rows} == set(reasons.READING)
    assert all("-" not in row[0].split()[0] for row in rows)


def test_the_last_part_says_what_this_version_changed(page: str) -> None:
    said = text(page[page.index('id="version"') :].encode())
    newest = releases.releases()[0]
    assert said.startswith(f'id="version">This version, {newest.version}')
    for each in newest.results:
        assert words.sentence(each.says) in said
        assert ", ".join(f"{step} {to}" for step, to in each.steps.items()) in said
    for told in (*newest.formats, *newest.pages):
        assert told in said


def test_contents_lead_to_every_group_and_entries_are_folded(page: str) -> None:
    contents = re.search(r'<nav class="contents".*?</nav>', page, re.S)
    assert contents is not None
    assert re.findall(r'href="#([a-z-]+)"', contents[0]) == [
        "glossary", "intervals", "probe", "across-streams", "comparing", "reasons", "cautions", "version",
    ]  # fmt: skip
    assert len(entries(page)) == 4
    assert "<details open" not in page
    for entry in entries(page):
        summary, inside = entry.split("</summary>")
        assert "Source" not in summary
        assert "<dt>Source</dt>" in inside
    assert make()  # every link of the page leads somewhere


def test_words_explained_are_words_used(examples: Published) -> None:
    """Each word of the glossary stands on a page other than its own, letter for letter."""
    pages = {path: text(path.read_bytes()) for path in examples.site.rglob("*.html")}
    own = pages.pop(examples.site / "methods.html")
    said = " ".join(pages.values())
    assert 12 <= len(WORDS) <= 30
    assert [word for word in WORDS if not re.search(rf"\b{word}s?\b", said, re.IGNORECASE)] == []
    assert [word for word, meaning in WORDS.items() if " ".join(f"{word} {meaning}".split()) not in own] == []


def test_every_entry_that_opens_holds_more_than_its_line(examples: Published) -> None:
    page = (examples.site / "methods.html").read_text(encoding="utf-8")
    folds = re.findall(r"<details\b[^>]*>.*?</summary>(.*?)</details>", page, re.S)
    assert len(folds) > 100
    assert [each for each in folds if not re.sub(r"<[^>]*>|\s", "", each)] == []
    plain = re.findall(r'<p class="entry plain"><b>([^<]*)</b>: [^<]+</p>', page)
    assert "Few builds" in plain
