"""The pages of a small program: what they say, and that the same input gives the same bytes."""

from __future__ import annotations

import hashlib
import html
import os
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from pages import fixture

from sitegen.declarations import Section
from sitegen.page.blocks import Cell, Text
from sitegen.pages import linkcheck
from sitegen.pages.site import build_site

B2 = "programs/probe-2026/b2/"


def make(**more: object) -> dict[str, bytes]:
    folder = fixture.folder()
    return build_site(folder, fixture.analyses(folder), (fixture.STREAM,), fixture.MEASURES, **more)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def site() -> dict[str, bytes]:
    return make()


def text(page: bytes) -> str:
    """What a reader sees of a page, in one line."""
    body = re.sub(rb"<(script|style|title)[^>]*>.*?</\1>", b" ", page, flags=re.S)
    bare = re.sub(r"<[^>]+>", "", re.sub(r"</(p|td|th|h1|h2|h3|li|dd|dt|tr|caption|a|span)>", " ", body.decode()))
    return re.sub(r"\s+", " ", html.unescape(bare))


def test_every_page_is_there_under_a_plain_name(site: dict[str, bytes]) -> None:
    cylinders = [f"programs/probe-2026/v1/cylinder-{n}.html" for n in range(1, 13)]
    pages = ["index.html", "methods.html", "coatings/soft.html", "programs/probe-2026/index.html",
             "programs/empty/index.html",
             "programs/probe-2026/data.html", f"{B2}index.html", f"{B2}cylinder-4.html", *cylinders]  # fmt: skip
    assert set(pages) <= set(site)
    for path in site:
        assert all(re.fullmatch(r"[a-z0-9-]+(\.[a-z0-9]+)?", step) for step in path.split("/")), path


def test_text_is_escaped_everywhere(site: dict[str, bytes]) -> None:
    for path, content in site.items():
        if path.endswith(".html"):
            assert b"<b>&#34;5" not in content
            assert b'</script><b>"' not in content, path
    assert fixture.NASTY in text(site[f"{B2}index.html"])


def test_no_path_of_this_machine_is_printed(site: dict[str, bytes]) -> None:
    assert not any(b"/nowhere" in content for content in site.values())


def test_program_page_opens_with_question_answer_and_criteria(site: dict[str, bytes]) -> None:
    whole = site["programs/probe-2026/index.html"]
    page = text(whole[whole.index(b"<main") :])
    order = ["Does soft nitride seat sooner?", "12 of 15 planned records in", "No rule of decision was stated",
             "Criteria", "Stated 12 January 2026.", "at most 0.35 mm²", "not decided here",
             "Area by phase", "Builds and cylinders", "Planned and present"]  # fmt: skip
    places = [page.index(each) for each in order]
    assert places == sorted(places)


def test_planned_and_present(site: dict[str, bytes]) -> None:
    page = text(site["programs/probe-2026/index.html"])
    tail = page[page.index("Planned and present") :]
    for word in ("3 of 4 cylinders", "to come, 7 December", "missing", "skipped"):
        assert word in tail, word
    assert "one is to come, one is missing and one is only partly in" in tail


def test_cylinder_page_names_its_state_and_its_neighbours(site: dict[str, bytes]) -> None:
    page = site[f"{B2}cylinder-2.html"]
    assert "B2 cylinder 2: still seating" in text(page)
    assert b'<link rel="prev" href="cylinder-1.html">' in page
    assert b'<link rel="next" href="cylinder-3.html">' in page
    first, last = site["programs/probe-2026/b1/cylinder-1.html"], site["programs/probe-2026/v1/cylinder-12.html"]
    assert b'rel="prev"' not in first
    assert b'rel="next"' not in last
    assert b'<link rel="next" href="../b2/cylinder-1.html">' in site["programs/probe-2026/b1/cylinder-4.html"]


def test_data_page_says_what_was_left_out_and_why(site: dict[str, bytes]) -> None:
    page = text(site["programs/probe-2026/data.html"])
    for said in ("What was left out, and why", "needle stuck", "objection accepted (K., 14 May 2026)", "area is 99",
                 "expected 0 to 5 mm²",
                 "semicolon between fields", "Remark",
                 "One reading set aside, one left out on objection, of"):  # fmt: skip
        assert said in page, said
    assert page.index("What was left out, and why") < page.index("Rows used")


def test_methods_page_has_an_entry_for_each_measure(site: dict[str, bytes]) -> None:
    page = site["methods.html"]
    for measure in fixture.MEASURES.values():
        assert f'id="{measure.id.replace(".", "-")}"'.encode() in page
        assert measure.formula in text(page)
    assert "Lock out the fuel." in text(page)


def test_headings_and_captions_lead_to_how_their_measure_is_worked_out(site: dict[str, bytes]) -> None:
    page = site[f"{B2}cylinder-2.html"].decode()
    heads = re.findall(r"<th scope=\"col\"[^>]*>.*?</th>", page)
    of_area = [head for head in heads if ">Area<" in head]
    assert len(of_area) == 2
    for head in of_area:
        assert 'href="../../../methods.html#probe-area" title="How it is worked out">Area</a>' in head
    assert all("methods.html" not in head for head in heads if head not in of_area)  # nor what nobody knows
    caption = re.search(r"<figcaption>.*?</figcaption>", page)
    assert caption is not None
    assert '<a class="to-method" href="../../../methods.html#probe-area">How probe area is worked out</a>' in caption[0]


def test_coating_page_has_builds_as_rows_and_facts(site: dict[str, bytes]) -> None:
    page = text(site["coatings/soft.html"])
    for said in ("Probe rings 2026", "B1", "B2", "S-1 and S-2", "60 µm", "900 HV", "Cr and Mo", "1 and 4"):
        assert said in page, said
    assert "Not built yet." in text(site["coatings/plain.html"])


def test_every_footer_says_where_it_comes_from(site: dict[str, bytes]) -> None:
    for path, content in site.items():
        if path.endswith(".html"):
            assert "Before any field work: local codes, licensed practice and a competent person come first." in text(
                content
            )
        if path.startswith("programs/probe-2026/") and path.endswith(".html"):
            foot = "Program probe-2026, records until 14 May 2026, results 7c41e0, the record file used."
            assert f"Invented data. {foot}" in text(content), path
    assert "Invented data." not in text(site["programs/empty/index.html"])


def test_what_is_about_several_programs_says_which_is_invented(site: dict[str, bytes]) -> None:
    foot = text(site["index.html"]).rpartition("Partly invented data.")[2]
    assert "Empty: records until 14 May 2026, results 7c41e0;" in foot
    assert "Probe rings 2026: records until 14 May 2026, results 7c41e0, invented." in foot
    assert b'data-invented="partly invented"' in site["index.html"]
    assert b'data-invented="invented"' in site["coatings/soft.html"]
    assert b"data-invented" not in site["programs/empty/index.html"]


def test_weight_of_a_page(site: dict[str, bytes]) -> None:
    for path, content in site.items():
        if path.endswith(".html"):
            assert len(content) <= 300_000, path


def test_a_dead_link_fails_the_build() -> None:
    def lost(href: str) -> Section:
        return Section("lost", "Lost", 50, "program", lambda _view: (Text((Cell("x", href=href),)),))

    folder = fixture.folder()
    for href, says in (
        ("nowhere.html", "no file"),
        ("#nothing", "no anchor"),
        ("https://example.org/", "out of the site"),
    ):
        stream = replace(fixture.STREAM, sections=(*fixture.STREAM.sections, lost(href)))
        with pytest.raises(linkcheck.DeadLinkError, match=says):
            build_site(folder, fixture.analyses(folder), (stream,), fixture.MEASURES)


def test_a_doubled_id_fails_the_build() -> None:
    with pytest.raises(linkcheck.DeadLinkError, match="more than once"):
        linkcheck.check({"a.html": b'<p id="x"></p><p id="x"></p>'})


def test_a_theme_folder_replaces_file_by_file(tmp_path: Path, site: dict[str, bytes]) -> None:
    (tmp_path / "templates").mkdir()
    (tmp_path / "templates" / "coating.html").write_text(
        '{% extends "base.html" %}{% block contents %}{% endblock %}{% block main %}<h1>Ours</h1>{% endblock %}'
    )
    (tmp_path / "report.css").write_text(":root { --paper: #fff }\n")
    themed = make(theme_dir=tmp_path)
    assert "Ours" in text(themed["coatings/soft.html"])
    assert any(path.startswith("assets/report-") and b"--paper: #fff }" in content for path, content in themed.items())
    assert text(themed["methods.html"]) == text(site["methods.html"])


def test_same_bytes_under_any_hash_seed_folder_and_time_zone(tmp_path: Path, site: dict[str, bytes]) -> None:
    def digest(files: dict[str, bytes]) -> str:
        return hashlib.sha256(b"".join(k.encode() + b"\0" + v for k, v in sorted(files.items()))).hexdigest()

    tests = Path(__file__).parent.parent
    code = (
        f"import sys; sys.path[:0] = [{str(tests)!r}, {str(tests.parent)!r}]\n"
        "import hashlib\nfrom pages import fixture\nfrom sitegen.pages.site import build_site\n"
        "f = fixture.folder('/elsewhere')\n"
        "s = build_site(f, fixture.analyses(f), (fixture.STREAM,), fixture.MEASURES)\n"
        "print(hashlib.sha256(b''.join(k.encode() + b'\\0' + v for k, v in sorted(s.items()))).hexdigest())\n"
    )
    environment = {**os.environ, "PYTHONHASHSEED": "7", "TZ": "Asia/Tokyo", "LC_ALL": "C"}
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=tmp_path, env=environment, capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == digest(site)
