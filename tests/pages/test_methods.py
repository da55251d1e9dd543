"""The methods page: short, every measure to be found by its anchor, reasons in words."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from pages import fixture
from pages.test_site import make, text

from sitegen import reasons, registry
from sitegen.page.addresses import slug
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
    return re.findall(r'<article class="method.*?</article>', page, re.S)


def test_measures_that_differ_in_their_name_only_share_an_entry(page: str) -> None:
    (shared,) = [entry for entry in entries(page) if 'id="probe-mass"' in entry]
    assert 'id="probe-width"' in shared
    assert 'id="probe-other"' not in shared
    said = text(shared.encode())
    assert "Two measures worked out alike" in said
    assert "Each as weighed. Two weighings." in said
    assert "Ring mass probe.mass in g" in said
    assert "Ring width probe.width in mm; less is better" in said


def test_every_measure_of_the_house_has_one_place() -> None:
    folder = fixture.folder()
    measures = {**fixture.MEASURES, **registry.measures()}
    streams = [replace(each, sections=(), recorded=()) for each in registry.STREAMS]  # nothing of theirs was read
    site = build_site(folder, fixture.analyses(folder), (fixture.STREAM, *streams), measures)
    page = site["methods.html"].decode()
    ids = re.findall(r'\sid="([^"]+)"', page)
    assert [ids.count(slug(measure)) for measure in measures] == [1] * len(measures)
    (sheet,) = [entry for entry in entries(page) if 'id="buildsheet-gap"' in entry]
    for name in ("gap-gauge", "mass", "tension", "thickness", "bore"):
        assert f'id="buildsheet-{name}"' in sheet
    # six of the build sheet alike, six channels, seven of oil, five of the next step
    assert len(entries(page)) == len(measures) - 5 - 5 - 6 - 4
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
    folded = r'<details><summary>([^<]*)</summary>\s*<div class="scroll".*?<tbody>(.*?)</tbody>'
    tables = re.findall(folded, page, re.S)
    assert [summary.split(":")[0] for summary, _ in tables] == [
        "A reading is set aside", "There is no answer", "A value is to be taken with care",
    ]  # fmt: skip
    lines = [row for row in tables[0][1].split("</tr>") if "<th" in row]
    rows = [re.findall(r"<(?:th|td)[^>]*>(.*?)</(?:th|td)>", row) for row in lines]
    met = {code: times for _, times, code in rows if times}
    assert met == {"excluded": "1"}  # the objection of the fixture
    assert rows[0][0] == "an objection to it was accepted"
    assert {row[2] for row in rows} == set(reasons.READING)
    assert all("-" not in row[0].split()[0] for row in rows)


def test_long_parts_are_folded_and_contents_are_short(page: str) -> None:
    contents = re.search(r'<nav class="contents".*?</nav>', page, re.S)
    assert contents is not None
    unfolded = re.sub(r"<details>.*?</details>", "", contents[0], flags=re.S)
    assert re.findall(r'href="#([a-z-]+)"', unfolded) == [
        "intervals", "probe", "across-streams", "comparing", "reasons", "cautions",
    ]  # fmt: skip
    for entry in entries(page):
        assert "<details><summary>Source, limits, where used</summary>" in entry
    assert make()  # every link of the page leads somewhere
