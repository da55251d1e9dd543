"""Every word of the committed results follows from the numbers beside it: nothing is decided on digits nobody sees."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping

import pytest
from house import PROGRAMS, rows_of

PROGRAM_IDS = ("pump-rings-2025", "pump-rings-2026")
YES, NO, OPEN = range(3)
WORDS = {  # by the way the word follows from the numbers: held, not held, open
    "criterion": ("holds", "fails", "cannot tell yet"),
    "seating.level": ("met", "not met", "cannot tell"),
    "seating.to_lose": ("met", "not met", "cannot tell"),
    "seating.fall": ("met", "not met", "cannot tell"),
    "seating.apart": ("met", "not met", ""),
    "seating.between": ("met", "not met", ""),
    "run as planned": ("held", "not held", ""),
    "oil-condition": ("holds", "fails", ""),
    "ring.layer": ("left", "through", "cannot tell"),
    "odd": ("odd", "not odd", "cannot tell"),
}
CLOSURE = ("closure.ring", "closure.gap", "closure.oil", "closure.bores")
UNTOLD = (  # words of what was seen, or of several numbers
    "inspection.", "channel", "worst-seen", "decision", "next-step", "crankcase pressure against",
)  # fmt: skip
NOT_YET = {
    "to-come",
    "cylinders-missing",
    "one-build",
    "unverified",
    "builds-to-come",
    "no-scatter-at-all",
    "no-reading",
    "no-interval",
}


def number(row: Mapping[str, str], name: str) -> float | None:
    return float(row[name]) if row[name] else None


def answer(row: Mapping[str, str]) -> int:
    """Whether what was asked is held, is not, or stays open, by limit, interval and route alone."""
    limit, found, low, high = (number(row, name) for name in ("limit", "found", "low", "high"))
    route = row["route"].removeprefix("typical-")  # the interval of a geometric mean of builds
    assert limit is not None
    if route.startswith("number-"):
        assert found is not None
        return YES if (found >= limit if route == "number-at-least" else found <= limit) else NO
    if route in {"at-least", "above"}:
        limit, low, high = -limit, None if high is None else -high, None if low is None else -low
    if route == "holds":  # of an interval: the limit lies in it
        assert low is not None
        assert high is not None
        return YES if low <= limit <= high else NO
    strict = route in {"below", "above"}  # no difference is neither
    if high is not None and (high < limit if strict else high <= limit):
        return YES
    return NO if low is not None and low > limit else OPEN


@pytest.mark.parametrize("program", PROGRAM_IDS)
def test_words_of_limits(program: str) -> None:
    seen: dict[str, int] = defaultdict(int)
    for row in rows_of(PROGRAMS / program / "results" / "verdicts.csv"):
        rule = row["rule"].removesuffix(", earlier assembly").partition(":")[0]
        if rule not in WORDS:
            continue
        if row["word"] == WORDS[rule][OPEN] and (row["reason"] in NOT_YET or not row["found"]):
            continue
        assert WORDS[rule][answer(row)] == row["word"], row
        seen[rule] += 1
    assert all(seen[rule] > 3 for rule in ("criterion", "seating.level", "seating.to_lose", "run as planned"))


@pytest.mark.parametrize("program", PROGRAM_IDS)
def test_every_rule_says_how_its_word_follows(program: str) -> None:
    for row in rows_of(PROGRAMS / program / "results" / "verdicts.csv"):
        rule = row["rule"].removesuffix(", earlier assembly").partition(":")[0]
        known = rule in WORDS or rule in CLOSURE or rule in {"seating", "kind of leak"} or rule.startswith(UNTOLD)
        assert known, rule
        assert bool(row["route"]) == (not rule.startswith(UNTOLD) and row["reason"] != "no-fired-check"), row


@pytest.mark.parametrize("program", PROGRAM_IDS)
def test_wear_closes_by_the_numbers_beside_the_word(program: str) -> None:
    rows = [row for row in rows_of(PROGRAMS / program / "results" / "verdicts.csv") if row["rule"] in CLOSURE]
    for row in rows:
        limit, low, high = (number(row, name) for name in ("limit", "low", "high"))
        assert low is not None
        assert high is not None
        measure = row["deciding"].partition("@")[0]
        below = high < 0 and measure != "closure.oil_more"
        above = limit is not None and low > limit and measure not in {"closure.oil_short", "closure.bores_short"}
        assert (row["word"] == "do not close") == (below or above), row
        if row["word"] == "agree" and row["rule"] in {"closure.ring", "closure.gap"}:
            assert low <= (limit or 0.0), row
            assert high >= 0, row
    assert len(rows) >= 2


@pytest.mark.parametrize("program", PROGRAM_IDS)
def test_states_follow_from_their_criteria(program: str) -> None:
    rows = rows_of(PROGRAMS / program / "results" / "verdicts.csv")
    told: dict[tuple[str, ...], dict[str, Mapping[str, str]]] = defaultdict(dict)
    for row in rows:
        rule, _, earlier = row["rule"].partition(",")
        if rule.startswith("seating"):
            told[row["engine"], row["cylinder"], row["phase"], earlier][rule] = row
    states = 0
    for parts in told.values():
        state = parts["seating"]
        if state["reason"] == "no-fired-check":
            continue
        level, lose = parts["seating.level"], parts["seating.to_lose"]
        words = (level["word"], lose["word"])
        assert (state["route"] == "level") == (state["word"] == "above the limit")
        if apart := parts.get("seating.apart"):
            _follows_from_two_checks(lose, apart, parts["seating.between"])
        path = "path-unknown" in state["reason"]
        if state["word"] == "seated":
            assert words == ("met", "met")
        if state["word"] == "not seated":
            grew = parts.get("seating.fall", {}).get("word") == "met" or float(lose["high"] or 0) < 0
            assert words == ("not met", "met") or grew
        if state["word"] == "still seating":
            assert lose["word"] == "not met" or float(parts["seating.fall"]["low"]) > 0
        if state["word"] == "above the limit":
            assert words == ("not met", "cannot tell")
        if state["word"] == "cannot tell" and not path and lose["found"] and float(lose["high"]) >= 0:
            assert words in {("met", "cannot tell"), ("cannot tell", "cannot tell"), ("cannot tell", "met")}
        states += 1
    assert states >= 10


def _follows_from_two_checks(lose: Mapping[str, str], apart: Mapping[str, str], between: Mapping[str, str]) -> None:
    """The upper limit of the leak still to lose is that of the two checks, and counts only where both are as asked."""
    told = lose["deciding"].startswith("seating.to_lose_most")
    assert told == (apart["word"] == between["word"] == "met")
    if told:
        most = -float(between["low"]) / math.expm1(min(float(apart["found"]), 700))
        assert float(lose["high"]) == pytest.approx(max(most, 1e-6), rel=0.01)  # three digits are stored


@pytest.mark.parametrize("program", PROGRAM_IDS)
def test_an_answer_is_that_of_its_units(program: str) -> None:
    rows = [
        row for row in rows_of(PROGRAMS / program / "results" / "verdicts.csv") if row["rule"].startswith("criterion")
    ]
    for summary in (row for row in rows if not row["engine"]):
        units = [
            row["word"]
            for row in rows
            if row["engine"] and (row["rule"], row["coating"]) == (summary["rule"], summary["coating"])
        ]
        if not units:
            continue
        if "fails" in units:
            assert summary["word"] == "fails"
        elif summary["reason"] not in NOT_YET:
            assert summary["word"] == ("holds" if set(units) == {"holds"} else "cannot tell yet")


@pytest.mark.parametrize("program", PROGRAM_IDS)
def test_verdicts_of_comparisons_follow_from_their_interval(program: str) -> None:
    rows = rows_of(PROGRAMS / program / "results" / "comparisons.csv")
    assert rows
    for row in rows:
        if row["verdict"] == "refused" or row["reason"]:
            continue
        none = 1.0 if row["scale"] == "ratio" else 0.0
        below, above = float(row["high"]) < none, float(row["low"]) > none
        assert (row["verdict"] == "cannot tell") == (not below and not above), row
        if below or above:
            assert row["verdict"] in ({"better", "worse", "less"} if below else {"better", "worse", "more"})
