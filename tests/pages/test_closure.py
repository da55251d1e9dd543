"""Does the wear add up, as pages say it: each pair with its word; rings on no list beside the sums they fall to."""

from __future__ import annotations

import html
import re
from pathlib import Path

import pytest
from house import Published, rows_of

PROGRAM = "pump-rings-2026"


def said(page: Path, begin: str = "", end: str = "</section>") -> str:
    text = page.read_text(encoding="utf-8")
    text = text[text.index(begin) :] if begin else text
    text = text.partition(end)[0] if begin else text
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", text)).split())


@pytest.fixture(scope="module")
def home(examples: Published) -> Path:
    return examples.site / "programs" / PROGRAM


def test_an_engine_shows_every_pair_with_its_word(home: Path, examples: Published) -> None:
    text = said(home / "b1" / "index.html", 'id="wear-closure"')
    for row in rows_of(examples.programs / PROGRAM / "results" / "verdicts.csv"):
        if row["engine"] == "B1" and row["rule"].startswith("closure."):
            what = {
                "closure.ring": f"Cylinder {row['cylinder']}, top ring",
                "closure.gap": f"Cylinder {row['cylinder']}, face",
                "closure.oil": "Nitrided ring faces",
                "closure.bores": "Iron of the bores",
            }
            told = text[text.index(what[row["rule"]]) :]
            assert row["word"] in told[:300], row
    assert "Balance: the whole ring" in text


def test_a_program_says_how_many_pairs_close(home: Path, examples: Published) -> None:
    words = [
        row["word"]
        for row in rows_of(examples.programs / PROGRAM / "results" / "verdicts.csv")
        if row["rule"].startswith("closure.")
    ]
    text = said(home / "index.html", 'id="wear-closure"')
    assert "do not close" in words
    assert "do not close" in text
    assert "B1 cylinder 1" in text
    assert text.count("Top rings by the balance") == 1


def test_a_build_says_how_far_ways_lie_apart_and_else_what_was_lost(home: Path, examples: Published) -> None:
    """The size stands in the line of the fold and at the top, with the digits that show which side of the limit."""
    rows = rows_of(examples.programs / PROGRAM / "results" / "verdicts.csv")
    (ring,) = [
        row for row in rows if (row["rule"], row["engine"], row["word"]) == ("closure.ring", "B1", "do not close")
    ]
    size = r"([\d.]+) mg \(([\d.]+) to ([\d.]+)\) apart in cylinder 1"
    found = re.search(
        rf"Does the wear add up\? Balance and traces do not close: {size}", said(home / "b1" / "index.html")
    )
    assert found is not None
    for told, name in zip(found.groups(), ("found", "low", "high"), strict=True):
        assert float(told) == pytest.approx(float(ring[name]), abs=0.06)
    assert float(found[2]) > float(ring["limit"])
    assert f"balance and traces, {found[1]} mg apart" in said(home / "b1" / "index.html")
    assert re.search(
        r"Weighing gives [\d.]+ ± [\d.]+ mg for graded ring faces\. The pair", said(home / "b6" / "index.html")
    )


@pytest.mark.parametrize("page", ["index.html", "b1/index.html"])
def test_weighed_rings_on_no_list_are_named_beside_the_sums(home: Path, page: str) -> None:
    text = said(home / page)
    beside = text[text.index("Weighed and not on it:") :][:400]
    assert "oil rings" in beside
    assert "second rings" in beside
    assert "bores and crankshaft" in beside
    assert "camshaft and followers" in beside
