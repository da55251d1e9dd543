"""The decision sheet: one page on both papers, nothing the results do not hold; any page saved as one file."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Literal

import pytest
from browser.opened import accessible, opened
from crossing import factory
from house import PROGRAMS, once
from pages.fixture import FixtureAnalysis
from playwright.sync_api import Browser, Page
from pypdf import PdfReader

from sitegen import cli
from sitegen.crossing import next_step, ruling
from sitegen.pages.site import build_site
from sitegen.program.model import Coating, Criterion, DecisionRule, Folder, Program, Where
from sitegen.publish import publish
from sitegen.vocabulary import Comparison, Key, Verdict

EXAMPLES = ("pump-rings-2025", "pump-rings-2026")
PAPERS = {"A4": (210, 297), "Letter": (215.9, 279.4)}  # ISO 216, ANSI Y14.1 [mm]
MANY = 12


@pytest.fixture(scope="module")
def sent(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The examples published with their sheets as files."""

    def make(to: Path) -> None:
        assert cli.main(["publish", str(PROGRAMS), "--to", str(to), "--sheet"]) == 0

    return once(tmp_path_factory, "sheets-sent", make)


def crowded(rule: bool) -> Program:
    """Twelve candidates and twelve criteria with long names."""
    ids = [f"c{n}" for n in range(MANY)]
    held = {"B1": (factory.R, factory.R), **{f"C{n}": (each, each) for n, each in enumerate(ids)}}
    base = factory.program(held, candidates=tuple(ids))
    coatings = {each: Coating(each, f"chromium nitride of the kind {each}", n) for n, each in enumerate(ids, start=4)}
    definitions = replace(base.definitions, coatings={**base.definitions.coatings, **coatings})
    criteria = tuple(
        Criterion(f"k{n}", f"Leak area after four pulls and the whole of the run-in, limit number {n}", factory.AREA.id,
                  factory.PHASE, "at-most", "every-cylinder", (each,), 0.35)
        for n, each in enumerate(ids)
    )  # fmt: skip
    decide = DecisionRule(Where("probe/program.yaml"), "2026-01-12", tuple(each.id for each in criteria), ())
    return replace(base, definitions=definitions, criteria=criteria, decide=decide if rule else None, invented=True)


def site_of(program: Program, sheets: bool = True) -> dict[str, bytes]:
    answers = [
        Verdict(f"criterion:{each.id}", Key(coating=each.coatings[0], phase=each.phase), "cannot tell yet", limit=0.35,
                found=0.36, low=0.30, high=0.42, deciding=f"{factory.AREA.id}@C1/2", reason="limit-in-interval")
        for each in program.criteria
    ]  # fmt: skip
    rows = [
        Comparison(factory.AREA.id, factory.PHASE, "", each, program.reference, "primary", "ratio", "pooled",
                   estimate=0.8, low=0.7, high=0.95, level_reference=0.31, builds=3, builds_reference=3,
                   verdict="better")
        for each in program.candidates
    ]  # fmt: skip
    analysis = FixtureAnalysis(program, {}, {}, [*answers, *ruling.ruled(program, answers)], (), {}, comparisons=rows)
    measures = {**factory.MEASURES, **{each.id: each for each in next_step.GIVES}}
    folder = Folder("/nowhere", program.definitions, (program,))
    return build_site(folder, [analysis], (), measures, sheets=sheets)


def printed(page: Page, paper: str) -> list[str]:
    pages = PdfReader(io.BytesIO(page.pdf(format=paper))).pages
    for each in pages:
        size = tuple(float(side) / 72 * 25.4 for side in (each.mediabox.width, each.mediabox.height))
        assert size == pytest.approx(PAPERS[paper], abs=0.6)
    return [" ".join(each.extract_text().split()) for each in pages]


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("program", EXAMPLES)
def test_one_page_on_both_papers(browser: Browser, sent: Path, program: str, paper: str) -> None:
    with opened(browser) as found:
        for path in (f"sheets/{program}.html", f"programs/{program}/decision.html"):
            found.page.goto((sent / path).as_uri())
            (text,) = printed(found.page, paper)
            for word in ("Criteria", "Coatings compared", "Decision, by hand", "Signature", "Invented data",
                         "Records until", "Results ", "Before any field work"):  # fmt: skip
                assert word in text, word
        assert found.said == []


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("program", EXAMPLES)
def test_a_program_prints_on_two_pages_and_the_first_stands_alone(
    browser: Browser, published: Path, program: str, paper: str
) -> None:
    with opened(browser) as found:
        page = found.go(published, f"programs/{program}/index.html")
        first, second = printed(page, paper)
        for word in (page.locator("h1").inner_text(), "Records until", "Criteria", "Coatings compared"):
            assert word in first
        assert second.removeprefix("2 / 2 ").startswith("Leak area by phase")
        for word in ("Builds and cylinders", "The rest, each with its result", "Before any field work"):
            assert word in second


ZERO_LINES = """() => [...document.querySelectorAll(".axis[style]")].flatMap(table => {
    const cell = table.querySelector("tbody .draw");
    if (!cell || !cell.offsetParent) return [];
    const drawn = cell.querySelector("svg").getScreenCTM(), box = cell.getBoundingClientRect();
    const at = getComputedStyle(cell).backgroundPositionX;
    const line = at.endsWith("%") ? parseFloat(at) / 100 * (box.width - 1) : parseFloat(at);
    const share = parseFloat(getComputedStyle(table).getPropertyValue("--line"));
    return [Math.abs(box.left + line - drawn.e - share * 320 * drawn.a)];
})"""  # how far the upright line of each table stands from its place on the axis [px]


@pytest.mark.parametrize("media", ["print", "screen"])
@pytest.mark.parametrize("name", ["index.html", "decision.html"])
def test_the_upright_line_stands_where_its_axis_says(
    browser: Browser, published: Path, name: str, media: Literal["print", "screen"]
) -> None:
    with opened(browser) as found:
        page = found.go(published, f"programs/{EXAMPLES[1]}/{name}")
        page.emulate_media(media=media)
        page.set_viewport_size({"width": 1280, "height": 900})
        off = page.evaluate(ZERO_LINES)
    assert len(off) >= 2
    assert max(off) < 1


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("rule", [True, False])
def test_what_does_not_fit_is_left_off_by_rows_and_said(
    browser: Browser, tmp_path: Path, rule: bool, paper: str
) -> None:
    publish(site_of(crowded(rule)), tmp_path / "site")
    with opened(browser) as found:
        found.page.goto(next((tmp_path / "site" / "sheets").glob("*.html")).as_uri())
        (text,) = printed(found.page, paper)
        tables = found.page.locator("table[data-name]:not([data-name=signatures])")
        counts = tables.evaluate_all("all => all.map(each => each.tBodies[0].rows.length)")
    assert len(counts) == (3 if rule else 2)
    assert ("No rule of decision was stated." in text) is not rule
    said = [int(n) for n in re.findall(rf"the first (\d+) of {MANY}; all on the program page", text)]
    assert said == counts
    assert all(1 <= count < MANY for count in counts)


def test_the_file_to_be_sent_leads_nowhere_and_needs_nothing(browser: Browser, sent: Path) -> None:
    for path in (sent / "sheets").glob("*.html"):
        text = path.read_text(encoding="utf-8")
        assert "<script" not in text
        assert re.findall(r'(?:href|src)="(?!#key-|data:,)', text) == []
        with opened(browser, scripts=False) as found:
            found.page.goto(path.as_uri())
            assert found.page.locator("svg.interval").count() > 3
            assert [url for url in found.requests if not url.startswith(path.as_uri())] == []
    with opened(browser, bypass_csp=True) as found:
        found.page.goto((sent / "programs/pump-rings-2026/decision.html").as_uri())
        accessible(found.page, "light", "dark")


def test_without_the_option_no_file_is_made_and_the_same_input_makes_the_same_bytes() -> None:
    with_files, without = site_of(crowded(True)), site_of(crowded(True), sheets=False)
    assert set(with_files) - set(without) == {"sheets/probe.html"}
    assert all(with_files[path] == content for path, content in without.items())


# ---- nothing the results do not hold --------------------------------------------------------------------------------

NUMBER = re.compile(r"\d+(?:\u202f\d{3})*(?:\.\d+)?")


def results(program: str, name: str) -> list[dict[str, str]]:
    with (PROGRAMS / program / "results" / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def held(text: str, known: Iterable[float]) -> bool:
    """Whether each number in a text is one that is known, to the digits it is printed with.

    Stored numbers are rounded themselves: a quarter of a last digit more is let pass.
    """
    every = [abs(each) for each in known]
    for found in NUMBER.findall(text):
        digits = len(found.partition(".")[2])
        if not any(abs(float(found.replace("\u202f", "")) - each) <= 0.75 * 10**-digits for each in every):
            return False
    return True


def numbers(row: Mapping[str, str], *names: str) -> list[float]:
    return [float(row[name]) for name in names if row[name]]


def compared(row: Mapping[str, str]) -> list[float]:
    """What a comparison may be told as: the numbers, and of a ratio per cent less or more and times as much."""
    told = numbers(row, "estimate", "low", "high")
    return [*told, *(100 * (each - 1) for each in told)] if row["scale"] == "ratio" else told


def rows_of(page: Page, table: str) -> list[list[str]]:
    found: list[list[str]] = page.locator(f'table[data-name="{table}"] tbody tr').evaluate_all(
        "rows => rows.map(row => [...row.cells].map(cell => cell.textContent.replace(/\\s+/g, ' ').trim()))"
    )
    return found


@pytest.mark.parametrize("program", EXAMPLES)
def test_criteria_and_comparisons_say_what_the_results_hold(browser: Browser, sent: Path, program: str) -> None:
    verdicts, comparisons = results(program, "verdicts"), results(program, "comparisons")
    criteria = [each for each in verdicts if each["rule"].startswith("criterion:")]
    with opened(browser) as found:
        found.page.goto((sent / f"sheets/{program}.html").as_uri())
        answered, set_against = rows_of(found.page, "criteria"), rows_of(found.page, "coatings-compared")
        words = [row[0] for row in rows_of(found.page, "by-the-rule")]
    assert answered
    assert set_against
    for title, _, number, limit, answer in answered:
        own = [each for each in criteria if not each["engine"] and answer.startswith(each["word"].removesuffix(" yet"))]
        own = [each for each in own if held(limit, numbers(each, "limit"))]
        ratios = [row for row in comparisons if any(each["coating"] == row["coating"] for each in own)]
        known = [numbers(each, "found", "low", "high") for each in own] + [compared(row) for row in ratios]
        assert any(held(number, each) for each in known), (title, number, limit, answer)
    for title, _, number, level, builds in set_against:
        fits = [
            row for row in comparisons
            if held(number.replace("cannot tell", ""), compared(row)) and held(level, numbers(row, "level_reference"))
            and held(builds, numbers(row, "builds", "builds_reference"))
            and (row["verdict"] == "cannot tell" or "cannot tell" not in number)
        ]  # fmt: skip
        assert len(fits) == 1, (title, number, [row["measure"] for row in fits])
    ruled = [each["word"] for each in verdicts if each["rule"] == "decision"]
    assert [next(word for word in ruled if row.endswith(word)) for row in words] == ruled[: len(words)]


# what in a sentence names something: dates, builds and cylinders, criteria, phases, the name of results
NAMES = re.compile(
    r"\d+ [A-Z][a-z]+ \d{4}|\b[A-Z]\d+\b|cylinders? \d+|criteri(?:on|a) \d+(?: and \d+)?|95\s% interval|"
    r"run-in, \d+ min|\b40 h|"
    r"\b(?=[0-9a-f]*\d)[0-9a-f]{7}\b",
    re.IGNORECASE,
)
SAID = ".verdict p, .said, h2 .note, [data-name=by-the-rule] td, [data-name=criteria] td small, .meta span"


def known_numbers(program: str) -> list[float]:
    """What a sentence of the sheet may say: comparisons, answers with how far they lie from their limit, next steps."""
    told = [number for row in results(program, "comparisons") for number in compared(row)]
    for row in results(program, "verdicts"):
        if row["rule"].startswith("criterion:") or row["rule"] == "seating":
            told += numbers(row, "found", "low", "high", "limit")
            told += [float(row["found"]) - float(row["limit"])] if row["found"] and row["limit"] else []
    told += [
        float(row["value"])
        for row in results(program, "measures")
        if row["value"] and (row["measure"].startswith("next.") or row["measure"].endswith(".operators"))
    ]
    return told


def sentences_of(page: Page) -> list[str]:
    found: list[str] = page.locator(SAID).evaluate_all(
        "all => all.map(each => each.textContent.replace(/[ \\n\u00a0]+/g, ' ').trim())"
    )
    return [NAMES.sub("", each) for each in found if each]


@pytest.mark.parametrize("program", EXAMPLES)
def test_its_sentences_say_no_number_the_results_do_not_hold(browser: Browser, sent: Path, program: str) -> None:
    known = known_numbers(program)
    with opened(browser) as found:
        found.page.goto((sent / f"sheets/{program}.html").as_uri())
        said = sentences_of(found.page)
    # rows of this sheet, and readings with an instrument that was found off: counts, not results
    shown = re.compile(r"the first \d+ of \d+; all on the program page|\d+ readings with [\w-]+ are in doubt")
    assert [each for each in said if not held(shown.sub("", each), known)] == []
    assert sum(len(NUMBER.findall(each)) for each in said) > 5
    slips = [
        re.sub(r"\d(?=\D*$)", lambda digit: str((int(digit[0]) + 4) % 10), each) for each in said if NUMBER.search(each)
    ]
    assert not all(held(each, known) for each in slips)  # and another number would be seen


@pytest.mark.parametrize("program", EXAMPLES)
def test_its_counts_of_answers_are_those_of_the_results(browser: Browser, sent: Path, program: str) -> None:
    answers = [each["word"] for each in results(program, "verdicts")
               if each["rule"].startswith("criterion:") and not each["engine"]]  # fmt: skip
    with opened(browser) as found:
        found.page.goto((sent / f"sheets/{program}.html").as_uri())
        told = [row[-1] for row in rows_of(found.page, "criteria")]
    assert len(told) == len(answers)
    for word in set(answers):
        assert sum(each.startswith(word.removesuffix(" yet")) for each in told) == answers.count(word)


@pytest.mark.parametrize("program", EXAMPLES)
def test_on_a_telephone_no_table_asks_for_scrolling_sideways(browser: Browser, sent: Path, program: str) -> None:
    with opened(browser, width=390) as found:
        for path in (f"sheets/{program}.html", f"programs/{program}/decision.html"):
            found.page.goto((sent / path).as_uri())
            assert found.page.evaluate("() => document.documentElement.scrollWidth <= innerWidth")
            wide = found.page.locator("article.sheet *").evaluate_all(
                "all => all.filter(each => each.getBoundingClientRect().right > innerWidth + 1).length"
            )
            assert wide == 0


def test_a_number_the_results_do_not_hold_is_found() -> None:
    row = next(each for each in results("pump-rings-2026", "comparisons") if each["coating"] == "graded-crn")
    assert held("18 % less 5 to 30 % less", compared(row))
    assert not held("28 % less 5 to 30 % less", compared(row))
    assert not held("0.40 (0.34 to 0.42) mm", (0.3909, 0.3449, 0.4219))


# ---- a page as one file ---------------------------------------------------------------------------------------------

VISIBLE = "() => document.querySelector('main').innerText.replace(/\\s+/g, ' ').trim()"

NAMED = "() => [...document.querySelectorAll('.chart')].map(each => each.getAttribute('aria-label'))"
# What does nothing in a page without scripts, and folds that hold nothing.
DEAD = """() => [
  ...document.querySelectorAll('button, input, select, fieldset, .tools, .to-method:not([href]), .lk, .foot a'),
  ...[...document.querySelectorAll('details')].filter(each => each.children.length < 2
    || / save$/.test(each.querySelector('summary').textContent)),
].map(each => each.outerHTML.slice(0, 120))"""


def saved(page: Page) -> tuple[str, str]:
    """File name and text of the page as saved, by the keyboard."""
    button = page.get_by_role("button", name="Save this page as one file")
    button.focus()
    with page.expect_download() as waiting:
        page.keyboard.press("Enter")
    return waiting.value.suggested_filename, Path(waiting.value.path()).read_text(encoding="utf-8")


def without_tools(page: Page) -> str:
    page.evaluate(
        """() => {
          const gone = '.tools, .choose, .to-here, .find input, .picture, figcaption .to-method, .note .to-method';
          document.querySelectorAll(gone).forEach(each => each.remove());
          document.querySelectorAll('figure summary').forEach(each => { each.textContent = 'Data'; });
        }"""
    )
    text: str = page.evaluate(VISIBLE)
    return text


@pytest.mark.parametrize(
    ("path", "name"),
    [
        ("programs/pump-rings-2026/index.html", "pump-rings-2026.html"),
        ("programs/pump-rings-2026/b6/index.html", "b6.html"),
        ("programs/pump-rings-2026/b6/cylinder-2.html", "b6-cylinder-2.html"),
        ("programs/pump-rings-2026/decision.html", "pump-rings-2026-decision.html"),
        ("index.html", "site.html"),
    ],
)
def test_a_page_is_saved_as_one_file_that_opens_alone(
    browser: Browser, published: Path, tmp_path: Path, path: str, name: str
) -> None:
    with opened(browser) as found:
        page = found.go(published, path)
        called, text = saved(page)
        charts, pictures = page.evaluate(NAMED), page.evaluate("() => [...document.images].map(each => each.alt)")
        shown = without_tools(page)
        assert found.said == []
    assert called == (name if path != "index.html" else f"{published.name}.html")
    assert "<script" not in text
    assert set(re.findall(r'\s(?:src|href)="([^#"][^"]*)"', text)) <= {"data:,"}
    alone = tmp_path / "alone.html"
    alone.write_text(text, encoding="utf-8")
    with opened(browser, scripts=False) as found:
        found.page.goto(alone.as_uri())
        assert found.page.locator(".chart svg").count() == len(charts)
        assert found.page.evaluate(NAMED) == charts  # what a drawing is of is still said
        assert all(charts)
        told = found.page.locator("img, span.note").evaluate_all("all => all.map(each => each.alt || each.textContent)")
        assert set(pictures) <= set(told)
        assert found.page.evaluate(DEAD) == []
        found.page.evaluate("() => document.querySelectorAll('.picture').forEach(each => each.remove())")
        assert found.page.evaluate(VISIBLE) == shown
        assert found.page.evaluate("() => getComputedStyle(document.querySelector('h1')).fontWeight") == "600"
        assert found.page.evaluate("() => document.documentElement.scrollWidth <= innerWidth")
        assert [url for url in found.requests if url != alone.as_uri()] == []
        assert found.said == []
