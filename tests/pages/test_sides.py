"""A number and its limit are printed so that a reader sees on which side it lies: as many digits as that takes."""

from __future__ import annotations

import re

from house import Published
from hypothesis import given
from hypothesis import strategies as st

from sitegen.page import words

FELL = re.compile(r"(?:fell|rose) by ([^ ]+) \(([^ ]+) to ([^ )]+)\)|The last change, ([^ ]+) \(([^ ]+) to ([^ )]+)\)")
NUMBERS = st.decimals(-1000, 1000, places=4).map(float)


def printed(text: str) -> list[float]:
    plain = text.replace("−", "-").replace("\u202f", "").replace("\xa0", "")
    return [float(each) for each in re.findall(r"-?\d+(?:\.\d+)?", plain)]


def side(number: float, limit: float) -> tuple[bool, bool]:
    return number < limit, number > limit


@given(limit=NUMBERS, low=NUMBERS, width=st.floats(1e-4, 100), share=st.floats(0, 1))
def test_both_ends_stand_on_their_side(limit: float, low: float, width: float, share: float) -> None:
    high = round(low + width, 4)
    found, low_told, high_told = printed(words.judged(low + share * (high - low), low, high, limit))
    assert side(low_told, limit) == side(low, limit)
    assert side(high_told, limit) == side(high, limit)
    assert low_told <= found <= high_told


@given(limit=NUMBERS, gap=st.sampled_from([1e-4, -1e-4, 3e-3, 0.5, 0.0]))
def test_a_number_alone_stands_on_its_side(limit: float, gap: float) -> None:
    number = round(limit + gap, 4)
    (told,) = printed(words.judged(number, None, None, limit))
    assert side(told, limit) == side(number, limit)
    (most,) = printed(words.judged(None, None, number, limit))
    assert side(most, limit) == side(number, limit)


def test_a_change_beyond_scatter_is_printed_beyond_nought(examples: Published) -> None:
    told = [found for page in (examples.site / "programs").rglob("cylinder-*.html")
            for found in FELL.findall(page.read_text(encoding="utf-8").replace("\xa0", " "))]  # fmt: skip
    assert len(told) > 2
    for each in told:
        number, low, high = printed(" ".join(filter(None, each)))
        assert low < number < high
        assert side(low, 0.0) == side(high, 0.0) != (False, False)


def test_per_cent_never_stands_at_the_head_of_a_line(examples: Published) -> None:
    for page in examples.site.rglob("*.html"):
        text = re.sub(r"<(script|style)\b.*?</\1>", "", page.read_text(encoding="utf-8"), flags=re.S)
        assert re.findall(r">[^<]*\d ?%[^<]*<", text) == [], page
