"""What the page says of the rule and of decisions, read as a reader would."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import pytest
from crossing.factory import AREA, GIVEN, MEASURES, PHASE, C, D, R, program
from pages.fixture import FixtureAnalysis

from sitegen.crossing import deciding, ruling
from sitegen.page.addresses import Addresses
from sitegen.page.blocks import Table, Text
from sitegen.page.view import Desk, View
from sitegen.pages import decision
from sitegen.program.model import (
    Criterion,
    Decision,
    DecisionRule,
    Departure,
    Folder,
    MovedAnswer,
    Program,
    RuleWord,
    Standing,
    Where,
)
from sitegen.vocabulary import Comparison, Key, Value, Verdict

HELD = {"B1": (R, R), "B2": (C, C), "B3": (R, R), "B4": (D, D)}
EACH = Criterion("each", "Leak area", AREA.id, PHASE, "at-most", "every-cylinder", (C,), 0.35, end_rule=True)
LESS = Criterion("less", "Less than plain", AREA.id, PHASE, "below-reference", "mean-of-builds", (C, D))
ALL_HERE = ("each", "less")


def rule(release: Sequence[str] = ALL_HERE, stop: Sequence[str] = ("each",), looks: Sequence[int] = ()) -> DecisionRule:
    return DecisionRule(Where("probe/program.yaml"), "2026-01-12", tuple(release), tuple(stop), tuple(looks))


def answer(criterion: Criterion, word: str, coating: str = C, **more: Any) -> Verdict:
    return Verdict(f"criterion:{criterion.id}", Key(coating=coating, phase=PHASE), word, **more)


LEAKS: dict[str, Any] = {"limit": 0.35, "found": 0.391, "low": 0.372, "high": 0.410, "deciding": f"{AREA.id}@B2/2"}
SOUND: dict[str, Any] = {"limit": 0.35, "found": 0.250, "low": 0.231, "high": 0.269, "deciding": f"{AREA.id}@B2/1"}
ROW = Comparison(AREA.id, PHASE, "", C, R, "criterion", "ratio", "pooled", estimate=0.8, low=0.7, high=0.95,
                 builds=3, builds_reference=3, verdict="better")  # fmt: skip


def page(
    *answers: Verdict, decide: DecisionRule | None = None, values: Sequence[Value] = (), taken: Sequence[Standing] = (),
    of: Program | None = None, days: Sequence[str] = (),
) -> View:  # fmt: skip
    """A program whose answers are given, and the word of its rule worked out from them."""
    made = of or program(HELD, candidates=(C, D))
    made = replace(made, criteria=(EACH, LESS), decide=decide or rule())
    analysis = FixtureAnalysis(
        made, {}, {(each.measure, each.key): each for each in values}, [*answers, *ruling.ruled(made, answers)], (), {},
        comparisons=(ROW,), taken=taken, days=days,
    )  # fmt: skip
    folder = Folder("/nowhere", made.definitions, (made,))
    known = {**MEASURES, **GIVEN}
    return View(folder, known, Addresses.of(folder), f"programs/{made.id}/index.html", Desk(analysis))


def told(view: View) -> tuple[str, Mapping[str, list[str]], str, str]:
    """The lead, the cells of each candidate, the rule, and what is said of looks."""
    first, table, *_ = decision.blocks(view)
    assert isinstance(first, Text)
    assert isinstance(table, Table)
    rows = {row.cells[0].text: [plain(cell.text) for cell in row.cells[1:]] for row in table.rows}
    return "".join(cell.text for cell in first.cells), rows, plain(table.reading), plain(table.note)


def plain(text: str) -> str:
    return text.replace("\N{NO-BREAK SPACE}", " ")


def cells(*answers: Verdict, coating: str = "soft nitride", **more: Any) -> list[str]:
    return list(told(page(*answers, **more))[1][coating])


GOOD = (answer(EACH, "holds", **SOUND), answer(LESS, "holds", limit=0.31, found=0.25))


def test_released_says_on_what_and_that_nothing_is_open() -> None:
    lead, rows, stated, looks = told(page(*GOOD))
    assert lead == "Released: soft nitride. Open: hard nitride."
    assert rows["soft nitride"] == [
        "released",
        "Leak area: holds; B2 cylinder 1 at 0.250 (0.231 to 0.269) mm², 0.10 mm² below the limit of 0.35 mm²",
        "Nothing",
        "None: the rule has decided",
    ]
    assert rows["hard nitride"][:2] == ["open", "None of its criteria was answered"]
    assert stated == (
        "The rule, stated 12 January 2026: released when every criterion holds, stopped when “Leak area” fails, "
        "otherwise run on."
    )
    assert looks == "A release may be said once, when all planned builds are in. Nothing that is missing has passed."


def test_stopped_names_the_cylinder_and_how_far_it_lies_beyond() -> None:
    found = cells(answer(EACH, "fails", **LEAKS), GOOD[1])
    assert found == [
        "stopped",
        "Leak area: fails; B2 cylinder 2 at 0.391 (0.372 to 0.410) mm², 0.041 mm² above the limit of 0.35 mm²",
        "Nothing",
        "None: the rule has decided",
    ]


def test_what_fails_without_stopping_is_not_undone_by_builds() -> None:
    found = cells(answer(EACH, "fails", **LEAKS), GOOD[1], decide=rule(stop=()))
    assert (found[0], found[3]) == (
        "run on", "No further build undoes it: Leak area fails. Find the cause, and decide by hand",
    )  # fmt: skip


def test_a_criterion_against_the_reference_tells_the_difference() -> None:
    unsure = answer(LESS, "cannot tell yet", reason="limit-in-interval", limit=0.31, found=0.25)
    next_ = [
        Value(deciding.NEXT_BUILDS.id, Key(coating=C, phase=PHASE, at="less"), 2.0),
        Value(deciding.NEXT_REFERENCE.id, Key(coating=C, phase=PHASE, at="less"), 1.0),
    ]
    found = cells(GOOD[0], unsure, values=next_)
    assert found == [
        "open",
        "Less than plain: cannot tell yet; 20 % less (5 to 30 % less)",
        "Less than plain: the interval reaches across the limit",
        "Two builds more with soft nitride and one build more with plain nitride: a chance of at least four in five to "
        "settle it",
    ]


def test_no_number_of_builds_is_promised_where_none_would_do() -> None:
    unsure = answer(LESS, "cannot tell yet", reason="limit-in-interval", limit=0.31, found=0.25)
    key = Key(coating=C, phase=PHASE, at="less")
    none = Value(deciding.NEXT_BUILDS.id, key, status="refused", reason="none-within-twelve")
    found = cells(GOOD[0], unsure, values=[none])
    assert found[3] == "No number of further builds up to twelve is likely to decide it"


def test_one_build_asks_for_a_second() -> None:
    found = cells(answer(LESS, "cannot tell yet", D, reason="one-build"), coating="hard nitride")
    assert (found[0], found[3]) == (
        "open", "A second build with hard nitride: one build cannot be told from its coating",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("needed", "said"),
    [
        (17.0, "B2 cylinder 2: about 17 readings in one check"),
        (None, "B2 cylinder 2: a check on another day or with another tester, since more readings of the same check do "
               "not help"),
    ],
)  # fmt: skip
def test_an_open_cylinder_is_settled_by_readings_or_not(needed: float | None, said: str) -> None:
    unsure = answer(EACH, "cannot tell yet", reason="limit-in-interval", **{**LEAKS, "low": 0.34})
    key = Key("B2", 2, C, PHASE, "each")
    found = cells(unsure, GOOD[1], values=[Value(deciding.READINGS_NEEDED.id, key, needed, status="ok")])
    assert (found[0], found[3]) == ("open", said)


def test_a_cylinder_that_will_have_no_value_leaves_it_open() -> None:
    found = cells(answer(EACH, "cannot tell yet", reason="cylinders-missing"), GOOD[1])
    assert (found[0], found[3]) == ("open", "Leak area lacks a cylinder that will have no value: decide by hand")


@pytest.mark.parametrize(("due", "day"), [("2026-12-07", " on 7 December 2026"), ("", "")])
def test_what_is_due_is_named_with_its_day(due: str, day: str) -> None:
    of = program(HELD, candidates=(C, D))
    waits = replace(of.builds[1], departures=(Departure(PHASE, "due", due=due),))
    of = replace(of, builds=(of.builds[0], waits, *of.builds[2:]))
    found = cells(answer(EACH, "cannot tell yet", reason="to-come"), answer(LESS, "cannot tell yet", reason="to-come"),
                  of=of)  # fmt: skip
    assert found[0] == "run on"
    assert found[2].endswith(f". Due: four pulls of B2{day}")
    assert found[3] == f"What is due: four pulls of B2{day}"


def test_home_tells_what_drives_each_word_and_what_is_due_first() -> None:
    of = program(HELD, candidates=(C, D))
    waits = [replace(build, departures=(Departure(PHASE, "due", due=day),)) if day else build
             for build, day in zip(of.builds, ("2026-12-07", "2026-12-01", "", ""), strict=True)]  # fmt: skip
    view = page(answer(EACH, "fails", **LEAKS), GOOD[1], of=replace(of, builds=tuple(waits)))
    assert plain(decision.why(view)) == (
        "Soft nitride: Leak area: fails; B2 cylinder 2 at 0.391 (0.372 to 0.410) mm², 0.041 mm² above the limit of "
        "0.35 mm². Hard nitride: None of its criteria was answered."
    )
    assert decision.next_due(view) == "Due next: four pulls of B2, on 1 December 2026"
    late = replace(waits[1], departures=(Departure(PHASE, "due", due="2026-05-13"),))
    view = page(*GOOD, of=replace(of, builds=(waits[0], late, *waits[2:])))
    assert decision.next_due(view) == "Was due: four pulls of B2, on 13 May 2026"
    assert decision.next_due(page(*GOOD)) == ""


def test_missing_unverified_and_untold_never_count_as_passed() -> None:
    for reason in ("unverified", "cylinders-missing", "limit-in-interval", "stream-not-here", "one-build"):
        assert cells(answer(EACH, "cannot tell yet", reason=reason), GOOD[1])[0] == "open"
    for reason in ("to-come", "builds-to-come"):
        assert cells(answer(EACH, "cannot tell yet", reason=reason), GOOD[1])[0] == "run on"


def test_looks_and_a_rule_that_asks_for_some_criteria() -> None:
    _, rows, stated, looks = told(page(*GOOD, decide=rule(["each"], [], [2, 4])))
    assert stated.endswith("released when “Leak area” holds, otherwise run on.")
    assert looks == (
        "A release may be said at 2 and 4 builds; the two looks share the error of the words, so that all together a "
        "wrong release is said in at most 2.5 % of programs."
    )
    assert rows["soft nitride"][0] == "released"
    assert told(page(*GOOD, decide=rule(looks=[3])))[1]["soft nitride"][:2] == [
        "run on", "The number of builds at which a release may be said is not reached",
    ]  # fmt: skip


def test_a_rule_stated_after_records_came_in_says_so() -> None:
    stated = told(page(*GOOD, days=("2026-01-02", "2026-02-02")))[2]
    assert stated.startswith(
        "The rule, stated 12 January 2026, after 1 of 2 dated records had come in (until 2 January"
    )


def test_without_a_rule_criteria_stand_for_themselves() -> None:
    view = page(*GOOD)
    bare = replace(view.program, decide=None)
    folder = Folder("/nowhere", bare.definitions, (bare,))
    own = View(
        folder,
        MEASURES,
        Addresses.of(folder),
        "programs/probe/index.html",
        Desk(FixtureAnalysis(bare, {}, {}, (), (), {})),
    )
    (text,) = decision.blocks(own)
    assert isinstance(text, Text)
    assert text.cells[0].text == "No rule of decision was stated, so the criteria stand for themselves."
    assert decision.lead(own) == ""


def standing(moved: tuple[MovedAnswer, ...] | None, on: str = "2026-06-01", word: RuleWord = "run on") -> Standing:
    return Standing(Decision(Where("probe/program.yaml"), on, "K. L.", C, word, "too early", "41c07de9"), moved)


def test_decisions_taken_with_what_moved_since() -> None:
    moved = MovedAnswer("criterion:each", "holds, 0.31 (0.29 to 0.33)", "fails, 0.391 (0.372 to 0.410)")
    gone = MovedAnswer("criterion:old", "holds", "")
    word = MovedAnswer("decision", "released", "stopped")
    view = page(*GOOD, taken=[standing(()), standing((moved, gone, word), "2026-07-02"), standing(None, "2026-05-03")])
    table = decision.blocks(view)[-1]
    assert isinstance(table, Table)
    assert [[plain(cell.text) for cell in row.cells] for row in table.rows] == [
        ["2 July 2026", "K. L.", "soft nitride", "run on", "too early", "41c07de",
         "Leak area: holds, 0.31 (0.29 to 0.33) mm², now fails, 0.391 (0.372 to 0.410) mm²; criterion:old: holds, now "
         "no answer; the rule's word: released, now stopped"],
        ["1 June 2026", "K. L.", "soft nitride", "run on", "too early", "41c07de", "Nothing it rests on has moved"],
        ["3 May 2026", "K. L.", "soft nitride", "run on", "too early", "41c07de",
         "Not known: git holds no such results"],
    ]  # fmt: skip
