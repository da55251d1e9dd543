"""What two places say of one cylinder is one thing: its mark, its interval, its word."""

from __future__ import annotations

import re

import pytest
from house import Published

from sitegen.methods.seating import Change, Estimate, state
from sitegen.page.glossary import WORDS
from sitegen.pages.builds import _BOX
from sitegen.pages.marks import tone_of
from sitegen.reasons import ANSWER
from sitegen.vocabulary import Refused

HIGH, MUCH = Estimate(0.5, 0.45, 0.55), Estimate(0.1, 0.06, 0.16)
CELL = re.compile(r'<a class="cell (\w+) [^"]*" href="(b\d+/cylinder-\d+).html">[^<]*<small>([^<]*)</small>')
DISC = re.compile(r'<a [^>]*href="(cylinder-\d+).html"[^>]*>\s*<(circle|rect) class="hit([^"]*)"')


def test_a_cylinder_has_one_mark_on_all_pages(examples: Published) -> None:
    folder = examples.site / "programs" / "pump-rings-2026"
    cells = {at: (box, word) for box, at, word in CELL.findall((folder / "index.html").read_text(encoding="utf-8"))}
    assert len(cells) == 28
    assert {box for box, _ in cells.values()} == {"solid", "dashed", "boxed"}
    seen = {}
    for build in {at.partition("/")[0] for at in cells}:
        for cylinder, shape, look in DISC.findall((folder / build / "index.html").read_text(encoding="utf-8")):
            if "thinly" in look:  # of the small plans by phase, which tell no state
                continue
            mark = "boxed" if shape == "rect" else "dashed" if "yet" in look.split() else "solid"
            seen[f"{build}/{cylinder}"] = mark
    assert seen == {at: box for at, (box, _) in cells.items()}
    assert cells["b6/cylinder-2"] == ("boxed", "still seating")


@pytest.mark.parametrize(
    ("word", "box"),
    [("seated", "solid"), ("cannot tell", "dashed"), ("still seating", "boxed"), ("not seated", "boxed"),
     ("above the limit", "boxed")],
)  # fmt: skip
def test_the_mark_of_each_state(word: str, box: str) -> None:
    assert _BOX[tone_of(word)] == box


@pytest.mark.parametrize(
    ("to_lose", "last"), [(MUCH, None), (Refused("own-scale"), Change(-0.10, -0.14, -0.06, "fell"))]
)
def test_still_seating_is_explained_by_the_rules_that_say_it(to_lose: Estimate | Refused, last: Change | None) -> None:
    found = state(HIGH, 0.35, to_lose, 0.03, last)
    assert found.word == "still seating"
    assert ANSWER[found.reason] in WORDS["still seating"]


def test_two_intervals_of_one_cylinder_are_told_beside_each_other(examples: Published) -> None:
    folder = examples.site / "programs" / "pump-rings-2026"
    told = {}
    for page in folder.glob("b*/cylinder-*.html"):
        text = re.sub(r"<[^>]+>", "", page.read_text(encoding="utf-8"))
        if "with room for that" in text:
            told[f"{page.parent.name}/{page.stem}"] = text
    assert list(told) == ["b6/cylinder-2"]  # of all others state and criterion agree
    text = told["b6/cylinder-2"]
    state_of, criterion = (
        text.index("0.36 to 0.42, lies above the limit"),
        text.index("its interval here is 0.34 to 0.42"),
    )
    assert state_of < criterion < text.index("Rule of the state")
    assert "0.39 (0.34 to 0.42)" in re.sub(r"<[^>]+>", "", (folder / "index.html").read_text(encoding="utf-8"))
