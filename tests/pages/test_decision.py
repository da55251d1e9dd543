"""What the page says of the rule and of decisions, read as a reader would."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import product
from typing import Any

import pytest
from crossing.factory import AREA, MEASURES, PHASE, C, D, R, program
from pages.fixture import FixtureAnalysis

from sitegen.crossing import next_step, ruling
from sitegen.page.addresses import Addresses
from sitegen.page.blocks import Table
from sitegen.page.view import Desk, View
from sitegen.pages import decision, stated
from sitegen.program.model import (
    Criterion,
    Decision,
    DecisionRule,
    Departure,
    Folder,
    Moved,
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


def step(word: str, criterion: str = "", reason: str = "", coating: str = C) -> Verdict:
    return Verdict(next_step.RULE, Key(coating=coating), word, deciding=criterion, reason=reason)


def takes(coating: str = C, **numbers: float) -> list[Value]:
    return [Value(f"next.{name}", Key(coating=coating), number) for name, number in numbers.items()]


LEAKS: dict[str, Any] = {"limit": 0.35, "found": 0.391, "low": 0.372, "high": 0.410, "deciding": f"{AREA.id}@B2/2"}
SOUND: dict[str, Any] = {"limit": 0.35, "found": 0.250, "low": 0.231, "high": 0.269, "deciding": f"{AREA.id}@B2/1"}
ROW = Comparison(AREA.id, PHASE, "", C, R, "criterion", "ratio", "pooled", estimate=0.8, low=0.7, high=0.95,
                 builds=3, builds_reference=3, verdict="better")  # fmt: skip


def page(
    *answers: Verdict, decide: DecisionRule | None = None, values: Sequence[Value] = (), taken: Sequence[Standing] = (),
    of: Program | None = None, days: Sequence[str] = (), steps: Sequence[Verdict] = (),
) -> View:  # fmt: skip
    """A program whose answers are given, and the word of its rule worked out from them."""
    made = of or program(HELD, candidates=(C, D))
    made = replace(made, criteria=(EACH, LESS), decide=decide or rule())
    analysis = FixtureAnalysis(
        made, {}, {(each.measure, each.key): each for each in values},
        [*answers, *ruling.ruled(made, answers), *steps], (), {},
        comparisons=(ROW,), taken=taken, days=days,
    )  # fmt: skip
    folder = Folder("/nowhere", made.definitions, (made,))
    known = {**MEASURES, **{measure.id: measure for measure in next_step.GIVES}}
    return View(folder, known, Addresses.of(folder), f"programs/{made.id}/index.html", Desk(analysis))


def told(view: View) -> tuple[str, Mapping[str, list[str]], str, str]:
    """The status, the cells of each candidate after its word, the rule, and what is said of looks."""
    (table,) = decision.blocks(view)
    assert isinstance(table, Table)
    rows = {row.cells[0].text: [row.cells[0].note, *(plain(cell.text) for cell in row.cells[1:])] for row in table.rows}
    return decision.status(view), rows, plain(decision.rule(view)), plain(decision.looks(view))


def plain(text: str) -> str:
    return text.replace("\N{NO-BREAK SPACE}", " ")


def cells(*answers: Verdict, coating: str = "soft nitride", **more: Any) -> list[str]:
    return list(told(page(*answers, **more))[1][coating])


GOOD = (answer(EACH, "holds", **SOUND), answer(LESS, "holds", limit=0.31, found=0.25))


def test_released_says_on_what_and_that_nothing_is_open() -> None:
    lead, rows, stated, looks = told(page(*GOOD, steps=[step("none needed")]))
    assert lead == "Released, open"
    assert rows["soft nitride"] == [
        "released",
        "Criterion 1: holds; B2 cylinder 1, 0.10 mm² below the limit",
        "Nothing else",
        "None: the rule has decided",
    ]
    assert rows["hard nitride"][:2] == ["open", "None of its criteria was answered"]
    assert stated == (
        "The rule, stated 12 January 2026: released when every criterion holds, stopped when criterion 1 fails, "
        "run on while another fails or what is planned may decide, else open."
    )
    assert looks == "A release may be said once, when all planned builds are in. Nothing that is missing has passed."


def test_stopped_names_the_cylinder_and_how_far_it_lies_beyond() -> None:
    found = cells(answer(EACH, "fails", **LEAKS), GOOD[1], steps=[step("none needed")])
    assert found == [
        "stopped",
        "Criterion 1: fails; B2 cylinder 2, 0.041 mm² above the limit",
        "Nothing else",
        "None: the rule has decided",
    ]


def test_what_fails_without_stopping_is_not_undone_by_builds() -> None:
    cause = step("find the cause", "criterion:each", "criterion-fails")
    found = cells(answer(EACH, "fails", **LEAKS), GOOD[1], decide=rule(stop=()), steps=[cause])
    assert (found[0], found[3]) == (
        "run on", "No further build undoes it: criterion 1 fails. Find the cause. Decide by hand",
    )  # fmt: skip


def test_a_criterion_against_the_reference_tells_the_difference() -> None:
    unsure = answer(LESS, "cannot tell yet", reason="limit-in-interval", limit=0.31, found=0.25)
    needed = takes(builds=2, builds_reference=1, hours=0, checks=0, chance=83.2)
    found = cells(GOOD[0], unsure, values=needed, steps=[step("build", "criterion:less")])
    assert found == [
        "open",
        "Criterion 2: cannot tell; 20 % less",
        "Nothing else",
        "Two builds more with soft nitride and one with plain nitride: 83 % chance to settle it, by simulation",
    ]


@pytest.mark.parametrize(
    ("found", "said"),
    [
        (step("none within twelve builds", "criterion:each", "none-within-twelve"),
         "Decide by hand: no step within twelve builds settles it"),
        (step("none within twelve builds", "criterion:each", "cannot-be-read-again"),
         "Decide by hand: criterion 1 rests on B2 cylinder 2, which cannot be read again as it was"),
        (step("none within twelve builds", "criterion:each", "no-interval"),
         "Decide by hand: no step settles criterion 1, because the measure has no interval, so that nothing tells how "
         "sure its values are"),
    ],
)  # fmt: skip
def test_no_number_of_builds_is_promised_where_none_would_do(found: Verdict, said: str) -> None:
    unsure = answer(EACH, "cannot tell yet", reason="limit-in-interval", **{**LEAKS, "low": 0.34})
    assert cells(unsure, GOOD[1], steps=[found])[3] == said


def test_a_cylinder_that_has_no_value_is_named_as_lacking() -> None:
    unsure = answer(EACH, "cannot tell yet", reason="cylinders-missing")
    none = step("none within twelve builds", "criterion:each", "cannot-be-read-again")
    assert cells(unsure, GOOD[1], steps=[none])[3].startswith(
        "Decide by hand: criterion 1 lacks a value for B2 cylinder 1 and B2 cylinder 2, which cannot be read again"
    )


def test_one_build_asks_for_a_second() -> None:
    lone = step("build", "criterion:less", "one-build", D)
    unsure = answer(LESS, "cannot tell yet", D, reason="one-build")
    found = cells(unsure, coating="hard nitride", steps=[lone], values=takes(D, builds=1))
    assert (found[0], found[3]) == (
        "open",
        "One build more with hard nitride: a coating has values from one build only; its chance cannot be worked out",
    )


def test_an_open_cylinder_is_settled_by_checks() -> None:
    unsure = answer(EACH, "cannot tell yet", reason="limit-in-interval", **{**LEAKS, "low": 0.34})
    found = cells(unsure, GOOD[1], steps=[step("check", "criterion:each")], values=takes(checks=2, chance=88.0))
    assert (found[0], found[3]) == ("open", "Two checks more: 88 % chance to settle it, by simulation")


@pytest.mark.parametrize(("due", "day"), [("2026-12-07", " on 7 December 2026"), ("", "")])
def test_what_is_due_is_named_with_its_day(due: str, day: str) -> None:
    of = program(HELD, candidates=(C, D))
    waits = replace(of.builds[1], departures=(Departure(PHASE, "due", due=due),))
    of = replace(of, builds=(of.builds[0], waits, *of.builds[2:]))
    found = cells(answer(EACH, "cannot tell yet", reason="to-come"), answer(LESS, "cannot tell yet", reason="to-come"),
                  of=of, steps=[step("run what is due")], values=takes(hours=40.0, chance=91.0))  # fmt: skip
    assert found[0] == "run on"
    assert found[2].endswith(f". Due: four pulls of B2{day}")
    assert found[3] == (
        f"What is due, 40 h of running (four pulls of B2{day}): 91 % chance to settle it, by simulation"
    )


def test_home_tells_what_drives_each_word_and_what_is_due_first() -> None:
    of = program(HELD, candidates=(C, D))
    waits = [replace(build, departures=(Departure(PHASE, "due", due=day),)) if day else build
             for build, day in zip(of.builds, ("2026-12-07", "2026-12-01", "", ""), strict=True)]  # fmt: skip
    view = page(answer(EACH, "fails", **LEAKS), GOOD[1], of=replace(of, builds=tuple(waits)))
    assert plain(decision.but(view)) == (
        "But criterion 1 fails: B2 cylinder 2 is at 0.391 (0.372 to 0.410) mm² where at most 0.35 mm² is asked."
    )
    unsure = answer(EACH, "cannot tell yet", reason="limit-in-interval", **{**LEAKS, "low": 0.34})
    assert plain(decision.but(page(unsure, GOOD[1]))).startswith("But criterion 1 cannot be told: B2 cyl")
    both = answer(LESS, "cannot tell yet", reason="limit-in-interval", limit=0.31, found=0.25)
    assert plain(decision.but(page(unsure, both))) == (
        "But criteria 1 and 2 cannot be told; in criterion 1, B2 cylinder 2 is at 0.39 (0.34 to 0.41) mm² where at "
        "most 0.35 mm² is asked."
    )
    alone = replace(both, deciding=unsure.deciding)
    assert "cannot be told, both because of B2 cylinder 2, at 0.39 (" in plain(decision.but(page(unsure, alone)))
    third = replace(both, word="fails")
    assert plain(decision.but(page(unsure, third))).startswith("But criterion 2 fails")
    assert decision.but(page(*GOOD)) == ""
    assert decision.next_due(view) == "Due next, of two: four pulls of B2, on 1 December 2026"
    late = replace(waits[1], departures=(Departure(PHASE, "due", due="2026-05-13"),))
    view = page(*GOOD, of=replace(of, builds=(waits[0], late, *waits[2:])))
    assert decision.next_due(view) == "Was due, of two: four pulls of B2, on 13 May 2026"
    assert decision.next_due(page(*GOOD)) == ""


@pytest.mark.parametrize("words", [*product(("holds", "fails", "cannot tell yet"), repeat=2)])
def test_the_verdict_names_as_many_criteria_as_the_table_below_it(words: tuple[str, str]) -> None:
    view = page(answer(EACH, words[0], **LEAKS), answer(LESS, words[1], limit=0.31, found=0.25), decide=rule(stop=()))
    table = stated.criteria_table(view)
    assert table is not None
    open_ = {"1", "2"} - {row.cells[0].text[0] for row in table.rows if row.cells[-1].text == "holds"}
    fails = {row.cells[0].text[0] for row in table.rows if row.cells[-1].text == "fails"}
    named = re.match(r"But criteri(?:on|a) ([\d and]+?) (?:fails?|cannot be told)", decision.but(view))
    assert (set(named[1].split(" and ")) if named else set()) == (fails or open_)


def test_missing_unverified_and_untold_never_count_as_passed() -> None:
    for reason in ("unverified", "cylinders-missing", "limit-in-interval", "stream-not-here", "one-build"):
        assert cells(answer(EACH, "cannot tell yet", reason=reason), GOOD[1])[0] == "open"
    for reason in ("to-come", "builds-to-come"):
        assert cells(answer(EACH, "cannot tell yet", reason=reason), GOOD[1])[0] == "run on"


def test_looks_and_a_rule_that_asks_for_some_criteria() -> None:
    _, rows, stated, looks = told(page(*GOOD, decide=rule(["each"], [], [2, 4])))
    assert stated.endswith(
        "released when criterion 1 holds, run on while one fails or what is planned may decide, else open."
    )
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
    assert decision.blocks(own) == []
    assert decision.rule(own) == "No rule of decision was stated, so the criteria stand for themselves."
    assert (decision.status(own), decision.but(own)) == ("", "")


def standing(moved: tuple[Moved, ...] | None, on: str = "2026-06-01", word: RuleWord = "run on") -> Standing:
    return Standing(Decision(Where("probe/program.yaml"), on, "K. L.", C, word, "too early", "41c07de9"), moved)


def test_decisions_taken_with_what_moved_since() -> None:
    moved = Moved("criterion:each", "holds, 0.31 (0.29 to 0.33)", "fails, 0.391 (0.372 to 0.410)", by="+0.08")
    value = Moved(AREA.id, "0.31 (0.29 to 0.33)", "missing", Key("B2", 2, C, PHASE))
    gone = Moved("criterion:old", "holds", "")
    word = Moved("decision", "released", "stopped")
    view = page(
        *GOOD, taken=[standing(()), standing((moved, gone, word, value), "2026-07-02"), standing(None, "2026-05-03")]
    )
    (table,) = decision.taken(view)
    assert isinstance(table, Table)
    assert [[plain(cell.text) for cell in row.cells] for row in table.rows] == [
        ["2 July 2026", "K. L.", "soft nitride", "run on", "too early", "41c07de",
         "Leak area: holds, 0.31 (0.29 to 0.33) mm², now fails, 0.391 (0.372 to 0.410) mm² (+0.08 mm²); criterion:old: "
         "holds, now nothing; the rule's word: released, now stopped; probe area of B2 cylinder 2: 0.31 (0.29 to 0.33) "
         "mm², now missing"],
        ["1 June 2026", "K. L.", "soft nitride", "run on", "too early", "41c07de",
         "Nothing it rests on differs"],
        ["3 May 2026", "K. L.", "soft nitride", "run on", "too early", "41c07de",
         "Not known: git holds no such results"],
    ]  # fmt: skip


def test_a_decision_by_hand_stands_beside_the_word_of_the_rule_with_why_they_may_differ() -> None:
    unsure = answer(EACH, "cannot tell yet", reason="limit-in-interval", **{**LEAKS, "low": 0.34})
    none = step("none within twelve builds", "criterion:each", "cannot-be-read-again")
    view = page(unsure, GOOD[1], steps=[none], taken=[standing(()), standing((), "2026-05-03", "released")])
    (table,) = decision.taken(view)
    assert isinstance(table, Table)
    assert table.reading == ""  # the rule left it to a person
    said = "Decided by hand: run on, for which nothing is planned: criterion 1 rests on B2 cylinder 2, which cannot be"
    assert told(view)[1]["soft nitride"][3].startswith(said)
    (other,) = decision.taken(page(*GOOD, taken=[standing(())]))
    assert isinstance(other, Table)
    assert other.reading == (
        "By hand “run on”, by the rule “released”: the rule only counts criteria, a person may weigh more."
    )
    (same,) = decision.taken(page(*GOOD, taken=[standing((), word="released")]))
    assert isinstance(same, Table)
    assert same.reading == ""


def test_a_decision_says_of_which_day_its_results_are() -> None:
    (table,) = decision.taken(page(*GOOD, taken=[replace(standing(()), as_of="2026-05-30")]))
    assert isinstance(table, Table)
    assert (table.rows[0].cells[5].text, table.rows[0].cells[5].note) == ("41c07de", "records until 30 May 2026")


def test_what_lacks_a_value_is_named_as_open() -> None:
    lacks = answer(EACH, "cannot tell yet", reason="cylinders-missing")
    found = cells(lacks, answer(LESS, "fails", limit=0.31, found=0.33))
    assert found[1].startswith("Criterion 2: fails")
    assert found[2] == "Criterion 1: no value for B2 cylinder 1 and B2 cylinder 2"
