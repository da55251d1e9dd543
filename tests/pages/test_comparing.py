"""What comparisons, criteria and plans say: sentences from rows made by hand, read as a reader would."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import pytest
from crossing.factory import AREA, GAIN, LOSS, MEASURES, PHASE, WIDTH, C, Case, D, R, case, program
from pages.fixture import FixtureAnalysis

from sitegen.crossing import planning, without
from sitegen.crossing.history import OWN_SCALE, histories
from sitegen.declarations import OfBuild
from sitegen.page import words
from sitegen.page.addresses import Addresses
from sitegen.page.blocks import Cell, Figure, Strip, Table, Text
from sitegen.page.view import Desk, View
from sitegen.pages import builds, comparing, criteria, differences, history, home, stated
from sitegen.pages.setting import Setter
from sitegen.program.model import Build, Criterion, Folder, Program, Subject
from sitegen.vocabulary import Comparison, Key, Measure, Value, Verdict

HELD = {"B1": (R,) * 4, "B2": (C,) * 4, "B3": (R,) * 4, "B4": (C,) * 4}
NBSP = "\N{NO-BREAK SPACE}"


def plain(text: str) -> str:
    return text.replace(NBSP, " ")


def view_of(
    of: Program, rows: Sequence[Comparison] = (), verdicts: Sequence[Verdict] = (), values: Sequence[Value] = (),
    looks: int = 1, measures: Mapping[str, Measure] = MEASURES,
) -> View:  # fmt: skip
    analysis = FixtureAnalysis(
        of, {}, {(value.measure, value.key): value for value in values}, verdicts, (), {}, comparisons=rows, looks=looks
    )
    folder = Folder("/nowhere", of.definitions, (of,))
    return View(folder, measures, Addresses.of(folder), f"programs/{of.id}/index.html", Desk(analysis))


def row(estimate: float | None, low: float | None, high: float | None, **more: Any) -> Comparison:
    """A comparison of three builds each in the probe area, the word as its interval says."""
    given: dict[str, Any] = {
        "measure": AREA.id, "phase": PHASE, "at": "", "coating": C, "reference": R, "role": "primary", "scale": "ratio",
        "design": "whole builds", "procedure": "pooled", "scope": "engines-to-come", "builds": 3, "builds_reference": 3,
        **more,
    }  # fmt: skip
    none = 1.0 if given["scale"] == "ratio" else 0.0
    if low is not None and high is not None and "verdict" not in more:
        given["verdict"] = "cannot tell" if low <= none <= high else "better" if high < none else "worse"
    return Comparison(**given, estimate=estimate, low=low, high=high)


def told(found: Comparison, of: Program | None = None) -> str:
    return plain(differences.sentence(view_of(of or program(HELD)), found))


# ---- one comparison -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("numbers", "text"),
    [
        ((0.81, 0.71, 0.93), "19 % less {} than {} (95 % interval 7 to 29 % less"),
        ((1.25, 1.16, 1.34), "25.0 % more {} than {} (95 % interval 16.0 to 34.0 % more"),
        ((1.55, 1.22, 1.98), "55 % more {} than {} (95 % interval 22 to 98 % more"),
        ((2.5, 2.1, 3.0), "2.50 times as much {} as {} (95 % interval 2.10 to 3.00 times as much"),
        ((1.8, 1.4, 2.31), "80 % more {} than {} (95 % interval 40 % more to 2.31 times as much"),
        ((0.25, 0.11, 0.52), "75 % less {} than {} (95 % interval 48 to 89 % less"),
    ],
)
def test_less_more_and_times(numbers: tuple[float, float, float], text: str) -> None:
    said = text.format("with soft nitride rings", "with plain nitride rings")
    assert told(row(*numbers)) == f"After four pulls, the probe area is {said}; three builds each)."


def test_a_difference_is_told_in_its_unit() -> None:
    one = row(-2.275, -2.73, -1.82, scale="difference", measure=LOSS.id, phase="cold")
    assert told(one) == (
        "At cold build, the probe loss is 2.28 mg less with soft nitride rings than with plain nitride rings "
        "(95 % interval 1.82 to 2.73 mg less; three builds each)."
    )
    other = row(0.0267, 0.0037, 0.0497, scale="difference", measure=WIDTH.id, verdict="more")
    assert "is 0.027 mm more with" in told(other)
    assert "interval 0.004 to 0.050 mm more;" in told(other)


def test_an_interval_across_no_difference_names_both_directions() -> None:
    assert told(row(0.88, 0.70, 1.10)) == (
        "After four pulls, it cannot be told whether the probe area differs between soft nitride rings and plain "
        "nitride rings: 12 % less with soft nitride rings (95 % interval from 30 % less to 10 % more; three builds "
        "each)."
    )
    assert "from 0.30 mg less to 0.10 mg more" in told(row(-0.1, -0.3, 0.1, scale="difference", measure=LOSS.id))


@pytest.mark.parametrize(
    ("numbers", "text"),
    [
        ((1.0, 0.0, math.inf), "from 100 % less to any amount more"),
        ((0.5, 0.0, 0.9), "10 to 100 % less"),
        ((3.0, 1.5, math.inf), "at least 50 % more"),
    ],
)
def test_an_end_without_end_is_said_and_not_printed_as_a_number(numbers: tuple[float, float, float], text: str) -> None:
    assert text in plain(differences.interval(view_of(program(HELD)), row(*numbers)))


def test_a_difference_without_ends() -> None:
    wide = row(-1.0, -math.inf, math.inf, scale="difference", measure=LOSS.id)
    assert plain(differences.interval(view_of(program(HELD)), wide)) == "from any amount less to any amount more"


def test_these_engines_are_said_twice() -> None:
    found = told(row(1.25, 1.16, 1.34, procedure="fixed", design="mixed in engine", scope="these-engines"))
    assert found == (
        "After four pulls, the probe area is 25.0 % more with soft nitride rings than with plain nitride rings in "
        "these engines (95 % interval 16.0 to 34.0 % more; three builds holding both). This holds for these engines "
        "and this lot of rings; of engines to come it says nothing."
    )


@pytest.mark.parametrize(
    ("builds", "text"),
    [((3, 3), "three builds each"), ((1, 3), "one build against three"), ((2, 1), "two builds against one"),
     ((1, 1), "one build each"), ((13, 12), "13 builds against twelve")],
)  # fmt: skip
def test_what_it_rests_on_in_the_right_number(builds: tuple[int, int], text: str) -> None:
    assert differences.rests_on(row(0.8, 0.7, 0.9, builds=builds[0], builds_reference=builds[1])) == text


def test_a_borrowed_scatter_is_no_test() -> None:
    found = told(row(1.16, 0.96, 1.40, procedure="borrowed", scope="", builds=1, verdict="cannot tell"))
    assert "16 % more with soft nitride rings than with plain nitride rings" in found
    assert "Soft nitride rings were built once, so build and coating cannot be told apart" in found
    assert "this is no test." in found
    other = told(row(1.16, 0.96, 1.40, procedure="borrowed", builds_reference=1, verdict="cannot tell"))
    assert "Plain nitride rings were built once" in other


@pytest.mark.parametrize(
    "reason", ["build-and-coating", "whole-engine-in-mixed", "no-scatter-at-all", "order-and-coating"]
)
def test_a_refusal_gives_its_reason_as_one_sentence(reason: str) -> None:
    found = told(row(None, None, None, verdict="refused", reason=reason, procedure="", scope=""))
    assert found.startswith(
        "The probe area with soft nitride rings after four pulls is not set against plain nitride rings"
    )
    assert ", because " in found
    assert found.endswith(".")
    assert found.count(".") == 1


def test_values_below_detection_leave_the_bounds() -> None:
    found = row(None, -2.7, -1.8, scale="difference", measure=LOSS.id, verdict="better")
    assert "is 1.80 to 2.70 mg less with soft nitride rings" in told(found)


def test_a_measure_of_a_whole_curve_has_no_phase() -> None:
    assert told(row(0.46, 0.30, 0.70, phase="", at="a1")).startswith("The probe area is 54 % less with")
    assert told(row(0.46, 0.30, 0.70, phase="", at="a2")).startswith("The probe area (assembly 2) is 54 % less")


@pytest.mark.parametrize(
    ("numbers", "text"),
    [
        ((0.75, 0.66, 0.85), "That is at least 15 %, the difference worth finding."),
        ((1.3, 1.15, 1.47), "That is at least 15 %, the difference worth finding."),
        ((0.98, 0.90, 1.07), "Either way it is less than 15 %, the difference worth finding."),
        ((0.82, 0.70, 0.95), "Whether it is less by 15 %, the difference worth finding, cannot be told."),
        ((1.2, 1.05, 1.4), "Whether it is more by 15 %, the difference worth finding, cannot be told."),
        ((1.05, 0.90, 1.23), "It is not less by 15 %, the difference worth finding; whether it is more by that"),
        ((0.93, 0.80, 1.08), "It is not more by 15 %, the difference worth finding; whether it is less by that"),
        ((1.0, 0.7, 1.43), "Neither less nor more by 15 %, the difference worth finding, is excluded."),
    ],
)
def test_what_the_interval_shows_of_the_difference_worth_finding(
    numbers: tuple[float, float, float], text: str
) -> None:
    of = program(HELD, worth_finding=0.15)
    assert f"). {text}" in told(row(*numbers), of)
    assert "worth finding" not in told(row(*numbers))  # none was stated
    assert "worth finding" not in told(row(*numbers, procedure="borrowed", builds=1, verdict="cannot tell"), of)


def test_a_difference_worth_finding_is_a_share_of_the_reference() -> None:
    of = program(HELD, worth_finding=0.2)
    one = row(-2.0, -3.0, -1.0, scale="difference", measure=LOSS.id, level_reference=4.0)
    assert told(one, of).endswith(
        "That is at least 20 % of the level with plain nitride rings, the difference worth finding."
    )
    assert "worth finding" not in told(replace(one, level_reference=None), of)


# ---- how much it rests on one build ---------------------------------------------------------------------------------


def left_out(build: str, estimate: float, low: float, high: float, at: str = "") -> Value:
    return Value(without.WITHOUT.id, Key(build, 0, C, PHASE, at), estimate, low, high)


def resting(found: Comparison, values: Sequence[Value]) -> str:
    blocks = comparing.resting(view_of(program(HELD), [found], values=values, measures={**MEASURES, SCALE.id: SCALE}))
    assert all(isinstance(block, Text) for block in blocks)
    return plain(" ".join(cell.text for block in blocks if isinstance(block, Text) for cell in block.cells))


SCALE = replace(AREA, id="probe.scale", fit="curve")


def test_the_least_and_the_largest_answer_without_a_build() -> None:
    whole = row(0.81, 0.71, 0.93)
    values = [left_out("B1", 0.80, 0.69, 0.92), left_out("B2", 0.87, 0.74, 1.02), left_out("B3", 0.76, 0.66, 0.88)]
    key = Key("", 0, C, PHASE)
    values += [Value(without.LARGEST.id, key, 1.31), Value(without.USUAL.id, key, 0.834)]
    assert resting(whole, values) == (
        "The answer rests on one build: without B2 the primary difference could not be told. "
        "Leaving out one build at a time, the probe area with soft nitride rings would be from 24 % less without B3 to "
        "13 % less without B2. The largest move is 1.3 standard errors, and half of such programs move by 0.8 or more. "
        "Only a cause recorded without knowing the result leaves a build out of the primary comparison."
    )
    two = resting(whole, [*values[:2], left_out("B3", 0.9, 0.79, 1.03)])
    assert "Without B2 or B3 the primary difference could not be told." in two
    open_ = row(0.9, 0.78, 1.04)
    assert "could not be told" not in resting(open_, values)  # nothing was told that could be lost


def test_what_is_left_out_with_cylinders_or_cannot_be() -> None:
    whole = row(0.81, 0.71, 0.93)
    apart = [
        Value(SCALE.id, Key(build, cylinder, coating, "", "a1"), status="refused", reason=OWN_SCALE)
        for build, cylinder, coating in (("B2", 2, C), ("B3", 1, R))
    ]
    gone = Value(without.WITHOUT.id, Key("B2", 0, C, PHASE), status="refused", reason="coating-without-value")
    fitted = left_out("", 0.78, 0.68, 0.89, at=without.IN_FIT)
    said = resting(whole, [left_out("B1", 0.80, 0.69, 0.92), gone, *apart, fitted])
    assert "would be 20 % less without B1. Without B2 nothing can be compared." in said
    assert (
        "Without B2 cylinder 2 and B3 cylinder 1, which seat over distances of their own, it would be 22 % less (95 % "
        "interval 11 to 32 % less)." in said
    )
    one = resting(whole, [left_out("B1", 0.80, 0.69, 0.92), apart[0], fitted])
    assert "Without B2 cylinder 2, which seats over a distance of its own, it would be" in one
    assert resting(whole, []) == ""


# ---- the answer -----------------------------------------------------------------------------------------------------


def answer(view: View, plan: planning.Planning | None = None) -> list[str]:
    blocks = comparing.answer(view, plan)
    assert all(isinstance(block, Text) for block in blocks)
    return [plain("".join(cell.text for cell in block.cells)) for block in blocks]


def test_nothing_compared_says_nothing() -> None:
    assert answer(view_of(program(HELD))) == []
    assert comparing.lead(view_of(program(HELD))) == ""
    assert comparing.table(view_of(program(HELD))) == []
    assert comparing.worked_out(view_of(program(HELD))) == []


def test_what_says_something_comes_first_and_what_was_built_once_last() -> None:
    once = row(0.5, 0.4, 0.6, coating=D, procedure="borrowed", builds=1, verdict="cannot tell")
    sure = row(0.8, 0.7, 0.9)
    view = view_of(program(HELD, candidates=(D, C)), [once, sure])
    assert comparing.primary(view) == [sure, once]
    assert answer(view)[0].startswith("After four pulls, the probe area is 20 % less with soft nitride")


def test_before_all_builds_are_in_it_begins_with_so_far() -> None:
    of = program(HELD, due=("B4",), planned_builds=6)
    early = row(0.8, 0.7, 0.9, flags=frozenset({"provisional"}))
    said = answer(view_of(of, [early]))
    assert said[0].startswith("So far: after four pulls, the probe area is 20 % less")
    assert said[-1] == (
        "B4 has still to run. Four of six planned builds are in. Looking again before all builds are in raises the "
        "chance of a false alarm."
    )
    third = answer(view_of(of, [early], looks=3))[-1]
    assert "This is look 3 at the data before all builds are in" in third
    assert "from 5 to 11 %" in third


def test_the_exploratory_measures_are_counted_in_the_right_number() -> None:
    first = row(0.8, 0.7, 0.9)
    one = row(0.5, 0.4, 0.6, role="exploratory", phase="", at="a1")
    other = row(-2.0, -3.0, -1.0, role="exploratory", measure=LOSS.id, at="top", scale="difference")
    of = program(HELD)
    assert answer(view_of(of, [first, one]))[1] == (
        "Of the one exploratory measure, the probe area (50 % less, 95 % interval 40 to 60 % less; three builds each) "
        "differs for soft nitride rings."
    )
    assert answer(view_of(of, [first, one, other]))[1] == (
        "Of the two exploratory measures, the probe area (50 % less, 95 % interval 40 to 60 % less; three builds each) "
        "and the probe loss (top; 2.0 mg less, 95 % interval 1.0 to 3.0 mg less; three builds each) differ for soft "
        "nitride rings."
    )
    nothing = replace(one, verdict="cannot tell")
    assert len(answer(view_of(of, [first, nothing]))) == 1


def test_what_answers_the_question_is_told_after_the_primary_measure_with_why_it_is_not() -> None:
    of = replace(program(HELD), answered_by=Subject(LOSS.id, PHASE, "top"), not_primary="it was read too rarely.")
    asked = row(-2.0, -3.0, -1.0, role="exploratory", measure=LOSS.id, at="top", scale="difference")
    other = row(0.5, 0.4, 0.6, role="exploratory", phase="", at="a1")
    lead, why, found, beside = answer(view_of(of, [row(0.8, 0.7, 0.9), asked, other]))
    assert lead.startswith("After four pulls, the probe area is 20 % less")
    assert why == (
        "The question is answered by the probe loss, which is not the primary measure, since it was read too rarely."
    )
    assert found.startswith("After four pulls, the probe loss")
    assert beside.startswith("Of the one other exploratory measure, the probe area (50 % less")
    fitted = {**MEASURES, **{each.id: replace(each, fit="probe") for each in (AREA, LOSS)}}
    view = replace(view_of(of, [row(0.8, 0.7, 0.9), asked, other]), measures=fitted)
    assert answer(view)[-1].endswith("Probe loss and probe area, from one fit, count as one.")


def test_what_it_would_take_is_said_where_it_cannot_be_told() -> None:
    open_ = row(0.9, 0.7, 1.1, se=0.08, df=4)
    of = program(HELD, worth_finding=0.15)
    plan = planning.plan(of, (), MEASURES, [open_])
    (reach,) = plan.reaches
    assert reach.needed is not None
    least, most = reach.needed
    (last,) = answer(view_of(of, [open_]), plan)[1:]
    assert last == (
        f"To find a difference of 15 % between soft nitride rings and plain nitride rings would take "
        f"{least} to {most} builds of each."
    )
    sure = row(0.8, 0.7, 0.9, se=0.05, df=4)
    assert len(answer(view_of(of, [sure]), plan)) == 1
    assert len(answer(view_of(replace(of, worth_finding=None), [open_]), plan)) == 1


@pytest.mark.parametrize(
    ("ends", "text"),
    [((3, 9), "three to nine builds"), ((4, 4), "four builds"), ((10, None), "from 10 to more than 60 builds"),
     ((10, math.inf), "from 10 to more than 60 builds"), ((61, None), "more than 60 builds"),
     ((2, 30), "2 to 30 builds")],
)  # fmt: skip
def test_a_range_of_builds(ends: tuple[int, float | None], text: str) -> None:
    assert comparing.builds_range(*ends) == text


# ---- the table ------------------------------------------------------------------------------------------------------


def the_table(view: View) -> Table:
    (found,) = comparing.table(view)
    assert isinstance(found, Table)
    return found


def strips(found: Table) -> list[Strip]:
    return [cell.strip for line in found.rows for cell in line.cells if cell.strip is not None]


def test_strips_share_one_axis_and_have_a_name() -> None:
    view = view_of(program(HELD), [row(0.8, 0.5, 0.9), row(1.1, 0.9, 1.4, role="exploratory", at="top")])
    table = the_table(view)
    first, second = strips(table)
    assert table.axis is not None
    assert (table.axis.low, table.axis.high, table.axis.line) == pytest.approx((-0.5, 0.5, 0.0))  # ticks of 25 %
    assert (first.low, first.mark, first.high) == pytest.approx((0.0, 0.3, 0.4))
    assert (second.low, second.mark, second.high) == pytest.approx((0.4, 0.6, 0.9))
    assert plain(first.label) == "20 % less, 10 to 50 % less"
    assert not first.hollow


def test_an_end_beyond_the_axis_is_cut_with_an_arrow_head() -> None:
    both = view_of(program(HELD, candidates=(C, D)), [row(1.0, 0.0, math.inf), row(0.8, 0.7, 0.9, coating=D)])
    first, _ = strips(the_table(both))
    assert (first.low, first.high) == (0.0, math.inf)
    placed = Setter({}).strip(first)
    assert (placed.before, placed.beyond) == (False, True)
    assert (placed.low, placed.high) == (10, 310)


def test_open_marks_are_those_not_to_be_relied_on() -> None:
    marks = [
        strips(the_table(view_of(program(HELD), [found])))[0].hollow
        for found in (
            row(0.8, 0.7, 0.9),
            row(0.8, 0.7, 0.9, flags=frozenset({"provisional"})),
            row(0.8, 0.7, 0.9, procedure="borrowed", verdict="cannot tell"),
            row(0.8, 0.7, 0.9, procedure="lent", verdict="cannot tell"),
        )
    ]
    assert marks == [False, True, True, True]


def the_note(view: View) -> str:
    note = comparing.worked_out(view)[-1]
    assert isinstance(note, Text)
    return note.cells[0].text


def test_the_note_says_where_the_differences_were_taken() -> None:
    between = the_note(view_of(program(HELD), [row(0.8, 0.7, 0.9)]))
    assert "taken between builds" in between
    assert "inside" not in between
    inside = the_note(view_of(program(HELD), [row(0.8, 0.7, 0.9, procedure="fixed", scope="these-engines")]))
    assert "taken inside the engines that hold both coatings" in inside
    assert "between builds" not in inside


def test_a_refused_comparison_stands_in_the_table_with_its_reason() -> None:
    view = view_of(program(HELD), [row(None, None, None, verdict="refused", reason="build-and-coating", procedure="")])
    found = the_table(view)
    cell = found.rows[0].cells[2]
    assert (cell.text, "cannot be told apart" in cell.note) == ("not compared", True)
    assert strips(found) == []
    assert found.reading == ""


def test_the_reading_counts_the_measures_that_differ() -> None:
    rows = [row(0.8, 0.7, 0.9), *(row(0.9, 0.7, 1.1, role="exploratory", at=f"p{n}") for n in range(3))]
    reading = the_table(view_of(program(HELD), rows)).reading
    assert reading == "Soft nitride differs from plain nitride in one of four measures."
    none = the_table(view_of(program(HELD), rows[1:])).reading
    assert none == "Soft nitride differs from plain nitride in no measure."


def test_measures_of_one_fit_are_one_finding() -> None:
    fitted = {**MEASURES, **{each.id: replace(each, fit="probe") for each in (AREA, LOSS)}}
    rows = [row(0.8, 0.7, 0.9), row(0.8, 0.7, 0.9, measure=LOSS.id)]
    view = replace(view_of(program(HELD), rows), measures=fitted)
    count, _, told = the_table(view).reading.partition(". ")
    assert told == f"{words.sentence(AREA.title)} and {LOSS.title}, from one fit, count as one."
    assert count == "Soft nitride differs from plain nitride in the measure"
    more = [*rows, row(1.0, 0.7, 1.2, measure=GAIN.id)]
    of_two = the_table(replace(view_of(program(HELD), more), measures=fitted)).reading
    assert of_two.startswith("Soft nitride differs from plain nitride in one of two measures.")
    alone = replace(view_of(program(HELD), [rows[0], row(1.0, 0.7, 1.2, measure=LOSS.id)]), measures=fitted)
    assert "one fit" not in the_table(alone).reading


def test_home_draws_the_primary_comparison_of_each_program_on_one_axis() -> None:
    """A difference in a unit is drawn as a share of the reference."""
    of = program(HELD)
    first = [row(0.8, 0.7, 0.9), row(0.9, 0.85, 0.95, role="exploratory")]
    second = [row(1.1, 0.9, 1.3)]
    third = [row(-2.0, -3.0, -1.0, measure=LOSS.id, scale="difference", level_reference=10.0)]
    views = [view_of(of, rows) for rows in (first, second, third)]
    axis = comparing.share_axis([-0.3, 0.3], 2)
    drawn = [home._strip(view, axis).strip for view in views]
    assert [each.mark if each else None for each in drawn] == pytest.approx(
        [axis.place(-0.2), axis.place(0.1), axis.place(-0.2)]
    )
    assert home._strip(view_of(of), axis).strip is None
    assert "20 % less" in plain(home._so_far(views[:1], C))
    assert home._so_far(views[:1], R) == "Reference"


def test_a_sentence_names_the_builds_and_cylinders_it_leaves_out() -> None:
    made = case(HELD, {"B1": (0.3,) * 4, "B2": (0.2, 0.2, None, 0.2), "B3": (0.32,) * 4, "B4": (0.24,) * 4})
    values = list(made.rows.values())
    whole = told_with(values, frozenset())
    assert "without" not in whole
    fewer = told_with(values, frozenset({"mean-of-fewer"}))
    assert fewer.endswith("three builds each; without B2 cylinder 3).")
    ran = [
        Value("exposure.km", build.key(phase=PHASE), 22.0 if build.id == "B4" else 886.0)
        for build in made.program.builds
    ]
    far = told_with([*values, *ran], frozenset({"other-distance-left-out", "mean-of-fewer"}))
    assert far.endswith("three builds each; without B2 cylinder 3 and B4, which ran 22 km).")


def test_a_fit_of_a_build_names_the_cylinders_it_leaves_out() -> None:
    fitted = {**MEASURES, **{each.id: replace(each, fit="probe") for each in (AREA, LOSS)}}
    of = program(HELD)
    values = [Value(AREA.id, build.key(at="a1"), 2.0) for build in of.builds]
    odd = of.build("B2").key(2, at="a1")
    values += [Value(LOSS.id, odd, status="refused", reason="own-scale")]
    view = replace(view_of(of, (), values=values), measures=fitted)
    assert differences.without(view, row(0.8, 0.7, 0.9, phase="", at="a1")) == "without B2 cylinder 2"


def told_with(values: Sequence[Value], flags: frozenset[str]) -> str:
    found = row(0.8, 0.7, 0.9, flags=flags)
    return plain(differences.sentence(view_of(program(HELD), [found], values=values), found))


# ---- how it was worked out ------------------------------------------------------------------------------------------


def detail(view: View, line: int = 0) -> list[Cell]:
    found, _ = comparing.worked_out(view)
    assert isinstance(found, Table)
    return list(found.rows[line].cells)


def test_how_it_was_worked_out() -> None:
    found = row(
        0.8, 0.7, 0.9, df=4, p=0.0127, adjusted_over=2, least_p=0.1, icc=-0.02, icc_low=-0.2, icc_high=0.63,
        effective=24.0, effective_low=8.3, effective_high=24.0, cylinders=12, cylinders_reference=12,
        flags=frozenset({"one-lot"}),
    )  # fmt: skip
    cells = detail(view_of(program(HELD), [found]))
    texts = [plain(f"{cell.text} | {cell.note}") for cell in cells]
    assert texts[2] == "Whole builds | means of builds, scatter pooled over the coatings (t); engines to come"
    assert texts[3] == (
        "0.013 | 4 degrees of freedom; widened for two comparisons; "
        "rests on six build means scattering normally: randomisation cannot go below 0.10"
    )
    assert texts[4] == "8 to 24 of 24 cylinders | 0 % to 63 % of the scatter is between builds"
    assert texts[5].startswith("All rings of the coating came from one lot")


def test_p_is_never_printed_as_nothing() -> None:
    for p, text in ((1e-9, "below 0.001"), (0.0005, "below 0.001"), (0.012, "0.012"), (0.5, "0.50"), (None, "–")):
        assert detail(view_of(program(HELD), [row(0.8, 0.7, 0.9, p=p)]))[3].text == text


def test_one_degree_of_freedom_and_a_fraction() -> None:
    assert "one degree of freedom" in detail(view_of(program(HELD), [row(0.8, 0.7, 0.9, df=1)]))[3].note
    assert "4.7 degrees of freedom" in detail(view_of(program(HELD), [row(0.8, 0.7, 0.9, df=4.71)]))[3].note


def test_the_allocation_in_a_sentence() -> None:
    def sentence(of: Program) -> str:
        found, _ = comparing.worked_out(view_of(of, [row(0.8, 0.7, 0.9)]))
        assert isinstance(found, Table)
        return found.reading

    drawn = program(HELD, allocation_scheme="whole builds", allocation_seed=3)
    assert sentence(drawn) == (
        "Two builds with plain nitride rings and two builds with soft nitride rings. Allotted by lot as whole builds."
    )
    mixed = program({"B1": (R, C), "B2": (R, R)})
    assert sentence(mixed) == (
        "B1 holds more than one coating; one build with plain nitride rings. How the coatings were allotted is not "
        "recorded."
    )


# ---- criteria -------------------------------------------------------------------------------------------------------


def asked(sense: str = "at-most", scope: str = "every-cylinder", limit: float | None = 0.35, **more: Any) -> Criterion:
    return Criterion("c", "Area after the pulls", AREA.id, PHASE, sense, scope, (C,), limit, **more)  # type: ignore[arg-type]


def line(of: Program, verdicts: Sequence[Verdict], values: Sequence[Value] = (), **more: Any) -> tuple[Any, Any]:
    """The one criterion: its limit and scope, and what is told of its answer."""
    view = view_of(of, (), verdicts, values, **more)
    table, (full, *_) = stated.criteria_table(view), criteria.in_full(view, lambda _: (), "")
    assert table is not None
    assert isinstance(full, Table)
    told = full.rows[0].cells[2].text.removesuffix(".").split(". ")
    found = SimpleNamespace(limit=table.rows[0].cells[3].text, note=full.rows[0].cells[0].note)
    return found, SimpleNamespace(told=told, word=table.rows[0].cells[4].text)


def verdict(word: str, engine: str = "", cylinder: int = 0, rule: str = "criterion:c", **more: Any) -> Verdict:
    return Verdict(rule, Key(engine, cylinder, C, PHASE), word, **more)


@pytest.mark.parametrize(
    ("criterion", "limit", "note"),
    [
        (asked(), "at most 0.35 mm²", "every cylinder with soft nitride, after four pulls"),
        (asked("at-least", "mean-of-builds", 12.0), "at least 12 mm²", "mean of the builds with soft nitride"),
        (
            asked("below-reference", "mean-of-builds", None),
            "below plain nitride",
            "typical build with soft nitride (geometric mean)",
        ),
        (
            replace(asked("above-reference", "mean-of-builds", None), measure=LOSS.id),
            "above plain",
            "mean of the builds",
        ),
        (asked(scope="every-build", end_rule=True), "at most 0.35 mm²", "a failure ends the program for the coating"),
    ],
)
def test_a_limit_reads_as_it_was_stated(criterion: Criterion, limit: str, note: str) -> None:
    found, _ = line(program(HELD, criteria=(criterion,)), [])
    assert plain(found.limit).startswith(limit)
    assert note in found.note


def test_a_mean_that_was_judged_on_the_logarithms_says_so_and_shows_what_was_found() -> None:
    of = program(HELD, criteria=(asked("at-most", "mean-of-builds"),))
    told = verdict("holds", found=0.3012, low=0.27, high=0.3321, limit=0.35, route="typical-at-most")
    found, answer = line(of, [told])
    assert found.note.startswith("typical build with soft nitride (geometric mean)")
    assert [plain(each) for each in answer.told] == ["Found: 0.30 (0.27 to 0.33) mm²"]


def test_planned_builds_that_are_not_listed_are_counted() -> None:
    of = program(HELD, criteria=(asked(),), planned_builds=len(HELD) + 2)
    told = [verdict("cannot tell yet", reason="builds-to-come"), verdict("holds", "B2", 1), verdict("holds", "B2", 2)]
    _, found = line(of, told)
    assert found.told == ["Holds for both cylinders", "Four of six planned builds so far"]


def test_a_criterion_says_where_it_judges_one_occasion() -> None:
    of = program(HELD, criteria=(replace(asked(), measure="leakdown.crankcase"),))
    told = [verdict("holds"), verdict("holds", "B2", 1)]
    said = "Judged on one occasion, because it is not known how far occasions scatter"
    known = {"leakdown.crankcase": replace(AREA, id="leakdown.crankcase", occasion="leakdown.moved")}
    moved = Value("leakdown.moved", Key("B2", 1, C, PHASE), 0.01)
    assert said in line(of, told, measures=known)[1].told
    assert said not in line(of, told, (moved,), measures=known)[1].told


def test_a_failing_criterion_names_who_decided_it_and_what_follows() -> None:
    of = program(HELD, criteria=(asked(end_rule=True),))
    _, found = line(of, [verdict("fails"), verdict("fails", "B2", 3), verdict("holds", "B2", 1)])
    assert found.told == ["The program ends for this coating", "Decided by B2 cylinder 3"]
    _, without = line(program(HELD, criteria=(asked(),)), [verdict("fails"), verdict("fails", "B2", 3)])
    assert without.told == ["Decided by B2 cylinder 3"]


def test_an_open_criterion_names_the_open_ones_and_what_would_decide() -> None:
    of = program(HELD, criteria=(asked(),))
    needed = Value("criterion.readings_needed", Key("B2", 3, C, PHASE, "c"), 17.0)
    open_ = [verdict("cannot tell yet", reason="limit-in-interval"), verdict("cannot tell yet", "B2", 3)]
    _, found = line(of, open_, [needed])
    assert found.told == ["Undecided: B2 cylinder 3", "About 17 readings of a check would decide it"]
    _, none = line(of, open_, [replace(needed, value=None, status="refused", reason="common-error-reaches")])
    assert none.told[1].startswith("More readings cannot decide it, because what the tester does")


def test_many_open_cylinders_are_counted() -> None:
    held = {f"B{n}": (C,) * 4 for n in range(2)}
    open_ = [verdict("cannot tell yet", build, n) for build in held for n in range(1, 5)]
    _, found = line(
        program(held, criteria=(asked(),)), [verdict("cannot tell yet", reason="limit-in-interval"), *open_]
    )
    assert found.told == ["Undecided: B0 cylinder 1, B0 cylinder 2, B0 cylinder 3, B0 cylinder 4 and four more"]


def test_what_is_missing_is_named_with_its_reason() -> None:
    of = program(HELD, criteria=(asked(),), due=("B4",))
    told_ = [verdict("cannot tell yet", reason="cylinders-missing"), *(verdict("holds", "B2", n) for n in (1, 2, 3))]
    _, found = line(of, told_)
    assert found.told == [
        "Holds for the other three cylinders",
        "No value for B2 cylinder 4, and none to come, because no usable reading was taken",
        "No value for B4 cylinder 1, B4 cylinder 2, B4 cylinder 3 and B4 cylinder 4 yet, the phase is still to come",
    ]


def test_the_worst_seen_with_its_neighbours() -> None:
    of = program(HELD, criteria=(asked(),))
    judged = Verdict("criterion:c", Key("B2", 3, C, PHASE), "holds", 0.45, 0.3931, 0.3722, 0.4141, "at-most")
    worst = verdict("worst seen", "B2", 3, "worst-seen:c")
    near = [verdict("not clearly better", "B2", 1, "worst-seen:c")]
    _, found = line(of, [verdict("holds"), judged, worst, *near], [])
    assert [plain(each) for each in found.told] == [
        "Worst seen: B2 cylinder 3 at 0.393 (0.372 to 0.414) mm²; B2 cylinder 1 is not clearly better"
    ]
    many = [verdict("not clearly better", "B4", n, "worst-seen:c") for n in range(1, 5)]
    _, crowd = line(of, [verdict("holds"), judged, worst, *near, *many], [])
    assert crowd.told[0].endswith("; five others are not clearly better")


def test_the_builds_a_criterion_would_take() -> None:
    of = program(HELD, criteria=(asked(scope="mean-of-builds"),))
    value = Value("criterion.builds_needed", Key(coating=C, phase=PHASE, at="c"), None, 4.0, math.inf)
    _, found = line(of, [verdict("cannot tell yet", reason="limit-in-interval")], [value])
    assert found.told[-1] == "Would take from 4 to more than 60 builds of each coating"


@pytest.mark.parametrize(
    ("answers", "text", "fails"),
    [
        (["holds"], "One holds", ""),
        (["holds", "holds"], "Two hold", ""),
        (["fails"], "One fails", "“t1” fails."),
        (["fails", "fails", "holds"], "Two fail, one holds", "“t1” and “t2” fail."),
        (["cannot tell yet"], "One cannot be told", ""),
        (["fails", "holds", "cannot tell yet"], "One fails, one holds, one cannot be told", "“t1” fails."),
        ([], "", ""),
    ],
)
def test_criteria_in_a_line(answers: list[str], text: str, fails: str) -> None:
    given = [replace(asked(), id=f"c{n}", title=f"t{n}") for n in range(1, len(answers) + 1)]
    verdicts = [
        Verdict(f"criterion:c{n}", Key(coating=C, phase=PHASE), word) for n, word in enumerate(answers, start=1)
    ]
    view = view_of(program(HELD, criteria=tuple(given)), (), verdicts)
    assert (criteria.tally(view), criteria.failing(view)) == (text, fails)


def test_a_criterion_about_two_coatings_has_two_answers() -> None:
    given = replace(asked(), coatings=(R, C))
    verdicts = [Verdict("criterion:c", Key(coating=each, phase=PHASE), w) for each, w in ((R, "holds"), (C, "fails"))]
    view = view_of(program(HELD, criteria=(given,)), (), verdicts)
    assert criteria.tally(view) == "One fails, one holds"
    assert criteria.standing(view) == "Plain nitride: criterion 1 holds; soft nitride: criterion 1 fails."


# ---- histories ------------------------------------------------------------------------------------------------------


def of_history(made: Case) -> tuple[View, list[Any]]:
    view = view_of(made.program, made.every(), (), list(made.rows.values()))
    assert view.desk is not None
    return view, list(histories([view.analysis], MEASURES)[C])


def test_a_history_tells_where_the_next_build_may_lie() -> None:
    made = case(HELD, {"B1": (0.3,) * 4, "B2": (0.2,) * 4, "B3": (0.32,) * 4, "B4": (0.24,) * 4})
    view, found = of_history(made)
    (figure,) = history.blocks(view, C, found)
    assert isinstance(figure, Figure)
    assert plain(figure.reading) == (
        "Probe area: the next build of this program may lie at 0.0 to 1.6 mm², judged by two builds of one program. "
        "A build of a new program lies outside more often."
    )
    (panel,) = figure.panels
    assert [entry["label"] for entry in panel.data["lines"]] == ["B2", "B4", "next build"]
    assert [entry["open"] for entry in panel.data["means"]] == [False, False, True]
    # by hand: 0.2 and 0.24 in logarithms, t on 1 degree of freedom 12.706, sqrt(1 + 1/2); cut at the half-width / 1000
    drawn = [float(panel.data["means"][-1][end] or 0) for end in ("value", "low", "high")]
    assert drawn == pytest.approx([0.2191, 0.0295, 1.6291], abs=2e-4)
    assert drawn == [round(each, 4) for each in drawn]
    assert figure.table is not None
    assert [cell.text for cell in figure.table.rows[0].cells][1:5] == ["Probe", "B2", "0.200", "mm²"]


def test_one_build_gives_no_range_and_mixed_engines_are_marked() -> None:
    view, found = of_history(case({"B1": (R, R), "B2": (C, C)}, {"B1": (0.3, 0.3), "B2": (0.2, 0.2)}))
    (figure,) = history.blocks(view, C, found)
    assert isinstance(figure, Figure)
    assert figure.reading == "One build alone gives no range for the next."
    view, found = of_history(case({"B1": (R, C), "B2": (C, R)}, {"B1": (0.3, 0.2), "B2": (0.21, 0.31)}))
    (figure,) = history.blocks(view, C, found)
    assert isinstance(figure, Figure)
    assert [entry["open"] for entry in figure.panels[0].data["means"]] == [True, True, True]
    assert figure.table is not None
    assert "the engine held other coatings too" in figure.table.rows[0].cells[-1].text.lower()
    assert history.blocks(view, C, []) == []


def test_the_measures_of_these_tests_are_what_their_names_say() -> None:
    assert (AREA.compare, LOSS.compare, GAIN.better, WIDTH.better) == ("ratio", "difference", "more", "")
    assert isinstance(program(HELD).builds[0], Build)


def test_a_column_of_builds_in_which_none_has_a_value_is_left_out() -> None:
    view = view_of(program(HELD))
    empty = OfBuild("Empty", "mg", 1, lambda _: Cell(words.DASH))
    full = OfBuild("Full", "mg", 2, lambda own: Cell("3" if own.the_build.id == "B2" else words.DASH))
    streams: Any = [SimpleNamespace(of_build=(full, empty))]
    (table,) = builds.blocks(view, streams)
    assert isinstance(table, Table)
    titles = [column.title for column in table.columns]
    assert "Full" in titles
    assert "Empty" not in titles
    found = {line.cells[0].text: line.cells[titles.index("Full")].text for line in table.rows}
    assert {build: text for build, text in found.items() if text != words.DASH} == {"B2": "3"}


def test_behind_its_estimate_an_interval_does_not_say_its_direction_again() -> None:
    view = view_of(program(HELD))
    assert plain(differences.ends(view, row(0.81, 0.71, 0.93))) == "7 to 29 %"
    assert plain(differences.ends(view, row(0.88, 0.70, 1.10))) == "from 30 % less to 10 % more"
    assert plain(differences.ends(view, row(2.5, 2.1, 3.0))) == "2.10 to 3.00 times as much"
    assert plain(differences.ends(view, row(3.0, 1.5, math.inf))) == "at least 50 % more"


def test_what_is_no_test_stands_apart_but_for_the_primary_measure() -> None:
    lent = {"procedure": "borrowed", "builds": 1}
    rows = [row(1.16, 0.96, 1.40, **lent), row(1.28, 0.7, 2.3, role="exploratory", measure=LOSS.id, **lent)]
    view = view_of(program(HELD), rows)
    assert [each.cells[0].text for each in the_table(view).rows] == [words.sentence(AREA.title)]
    (apart,) = comparing.untested(view)
    assert isinstance(apart, Table)
    assert [each.cells[0].text for each in apart.rows] == [words.sentence(LOSS.title)]
    assert apart.reading.endswith("this is no test.")
    (whole,) = comparing.table(view, [C])  # the page of a coating shows all of them
    assert isinstance(whole, Table)
    assert len(whole.rows) == 2
    assert comparing.untested(view_of(program(HELD), [row(0.8, 0.7, 0.9)])) == []


def test_home_draws_every_candidate_and_says_on_how_many_builds_it_rests() -> None:
    rows = [row(0.8, 0.7, 0.9), row(1.1, 0.9, 1.3, coating=D, procedure="borrowed", builds=1)]
    cell = home._strip(view_of(program(HELD, candidates=(C, D)), rows), comparing.share_axis([-0.3, 0.3], 2))
    drawn = [each.note for each in (cell.strip, *cell.strips) if each is not None]
    assert drawn == ["soft nitride, three builds each", "hard nitride, one build against three, no test"]


@pytest.mark.parametrize(
    ("numbers", "said"),
    [
        ((0.8, 0.7, 0.9), "Probe area: whether it is less by 15 % cannot be told."),
        ((0.5, 0.4, 0.6), "Probe area: it differs by at least 15 %."),
        ((1.01, 0.95, 1.05), "Probe area: either way it is less than 15 %."),
    ],
)
def test_the_folded_findings_say_what_is_shown_of_the_difference_worth_finding(
    numbers: tuple[float, float, float], said: str
) -> None:
    assert plain(comparing.in_doubt(view_of(program(HELD, worth_finding=0.15), [row(*numbers)]))) == said
    assert comparing.in_doubt(view_of(program(HELD), [row(*numbers)])) == ""


def test_answers_add_up_to_criteria_aloud() -> None:
    both = replace(asked(), id="b", coatings=(C, D))
    of = program(HELD, candidates=(C, D), criteria=(asked(), both))
    verdicts = [verdict("holds"), verdict("holds", rule="criterion:b"),
                Verdict("criterion:b", Key(coating=D, phase=PHASE), "cannot tell yet")]  # fmt: skip
    table = stated.criteria_table(view_of(of, (), verdicts))
    assert table is not None
    assert table.reading == ("Soft nitride: criteria 1 and 2 hold; hard nitride: criterion 2 cannot be told.")
    assert [(each.cells[0].text[:2], each.cells[0].note) for each in table.rows] == [
        ("1 ", ""), ("2 ", "soft nitride"), ("2 ", "hard nitride"),
    ]  # fmt: skip


def test_a_cylinder_without_a_value_that_still_falls_is_told_where_its_criterion_is() -> None:
    held = {"B2": (C, C)}
    open_ = [verdict("cannot tell yet", reason="cylinders-missing"), verdict("holds", "B2", 1)]
    fell = Verdict("seating", Key("B2", 2, C, PHASE), "still seating", found=0.0428, low=0.0003, high=0.0853,
                   deciding=f"{AREA.id}@vs:cold", reason="last-fall")  # fmt: skip
    _, found = line(program(held, criteria=(asked(),)), [*open_, fell])
    assert plain(found.told[0]) == (
        "One holds; B2 cylinder 2 has no value and none to come: it last fell by 0.0428 (0.0003 to 0.0853) mm²"
    )
    _, still = line(program(held, criteria=(asked(),)), [*open_, replace(fell, word="seated", reason="")])
    assert still.told[0].startswith("Holds for the other one")
