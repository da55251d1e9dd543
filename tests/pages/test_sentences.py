"""What pages say changes by intent only: the committed file of all sentences, and rules that hold for each of them."""

from __future__ import annotations

import difflib
import re
from pathlib import Path

import pytest
from house import Published
from pages import sentences

SAID = sentences.FILE.read_text(encoding="utf-8").splitlines()


def test_every_sentence_is_the_one_in_the_file(examples: Published, tmp_path: Path) -> None:
    now = sentences.text(examples.site, tmp_path).splitlines()
    diff = list(difflib.unified_diff(SAID, now, "sentences.txt", "the pages now", lineterm="", n=0))
    assert not diff, "\n".join(["PYTHONPATH=tests python -m pages.sentences writes it anew", *diff])


def test_a_page_is_read_without_its_tables_and_drawings() -> None:
    page = (
        "<main><h2>Wear of rings</h2><p>One <a href='#x'>ring</a> lost<br>most.</p><script>var a = 'not this';</script>"
        "<table><thead><tr><th>Ring face</th></tr></thead><tbody><tr><td>not this cell<small>but its note</small></td>"
        "</tr></tbody></table><svg><text>nor this text</text></svg></main>"
    )
    assert sentences.of_page(page) == ["Wear of rings", "One ring lost, most.", "Ring face", "but its note"]


# One name for one thing: what is written on the right stands for what is written on the left, on every page.
ONE_NAME = {
    r"settles over|another scale|at a rate of its own": "seating distance; over a distance of its own",
    r"gap floor|(?<![Ee]nd )[Gg]aps alone|[Ll]eak of the gaps": "end gaps alone",
    r"readings? (of cylinder \S+ )?not used": "set aside; left out on objection",
    r"[Gg]iven out|lots drawn": "allotted",
    r"meter reading": "reading by eye",
    r"covariate|\bYAML\b|\bNaN\b|\bNone\b (?!of)|\bnull\b": "no word of files",
}


@pytest.mark.parametrize("other", ONE_NAME)
def test_one_name_for_one_thing(other: str) -> None:
    assert not [line for line in SAID if re.search(other, line)], f"say: {ONE_NAME[other]}"


# By rule of the house: narrow no-break spaces between thousands, a minus sign, a no-break space before per cent.
NUMBERS = {
    "thousands run together": r"(?<![\d.#:/-])(?!(?:19|20)\d\d\b)[1-9]\d{3,}(?![\d-])(?! km\b| h\b)",
    "thousands parted by a comma": r"\d,\d{3}\b",
    "a hyphen for a minus": r"(?:^|[ (±])-\d",
    "a per cent without its space": r"\d ?%",
}


@pytest.mark.parametrize("fault", NUMBERS)
def test_numbers_are_written_one_way(fault: str) -> None:
    text = [line for line in SAID if not re.search(r"2300 rpm|ISO \d+|seed \d+", line)]  # an author's words; names
    assert not [line for line in text if re.search(NUMBERS[fault], line)]


# In every text of every page, cells and keys of drawings too.
EVERYWHERE = {
    "a per cent without its space": r">[^<]*\d ?%[^<]*<",
    "a rate by distance in other words": r"(?:mg|µm)(?: per | / |/)(?!1000 km\b|100 h\b)1\S?000",
}


@pytest.mark.parametrize("fault", EVERYWHERE)
def test_what_is_no_sentence_follows_them_too(examples: Published, fault: str) -> None:
    read = 0
    for page in examples.site.rglob("*.html"):
        text = re.sub(r"(?s)<(script|style)\b.*?</\1>", "", page.read_text(encoding="utf-8"))
        found = re.search(EVERYWHERE[fault], text)
        assert found is None, (page.name, found[0][:200])
        read += len(re.findall("\N{NO-BREAK SPACE}%|g/1000 km", text))
    assert read > 100


# What a count of one or none is easily said wrong: the noun, the verb, a range of one number.
SLIPS = (
    r"\bone (?:\w+ )?(?:cylinders|builds|readings|checks|values|files|rows|rings|runs|pairs|samples|measures)\b",
    r"\b(?:two|three|four|eleven|\d\d) (?:cylinder|build|reading|check|value|file|row|pair|measure)\b(?! of)",
    r"\b(?:one|a) of [^.;:]* (?:are|have) (?!no\b)",
    r"\bthe (?:cylinder|build|reading|record file) (?:are|have|give)\b",
    r"\b([\d.]+) to \1(?![\d.])", r"(?<![A-ZÖ])\. [a-z]", r" ,|\.\.|  |: \.|\(\)",
)  # fmt: skip


@pytest.mark.parametrize("slip", SLIPS)
def test_no_slip_of_number_or_stop(slip: str) -> None:
    assert not [line for line in SAID[1:] if not line.startswith("## ") and re.search(slip, line)]
