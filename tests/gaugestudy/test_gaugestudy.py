"""Gauge studies: what is set aside and why, what a study gives, what it does to leak areas, page and sheet."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from pages.fixture import FixtureAnalysis
from scipy.stats import t as student
from tables.house import PSI, Folder, column, program, told

from sitegen import registry
from sitegen.methods import gauge_study, leakdown
from sitegen.page.addresses import Addresses
from sitegen.page.blocks import Table, Text
from sitegen.page.view import Desk, View
from sitegen.pages import operators as of_pages
from sitegen.program.model import Folder as ProgramFolder
from sitegen.program.model import Program
from sitegen.reasons import CATALOGUE
from sitegen.streams.gaugestudy import STREAM
from sitegen.streams.gaugestudy.sections import gauge_studies
from sitegen.streams.gaugestudy.steps import run
from sitegen.streams.leakdown import area, operators, testers
from sitegen.streams.leakdown.measures import REPEAT, STUDY_REPEATS
from sitegen.vocabulary import Book, Comparison, Key, Readings, Value

HEAD = (
    "study,operator,tester,engine,phase,cylinder,reference,standard,repeat,anew,order,blind,supply [psig],"
    "pressure [psig],percent [%],date\n"
)
ROW = "G1,A,T1,B1,cold-build,1,,,1,yes,1,yes,80,70,,2026-03-02\n"
AREAS = {",R1,": 0.40, ",,L1": 0.20, ",,L2": 0.90, "1,,": 0.55}  # mm2; cylinder, reference, standard of a row
Effect = Callable[[int, int, int], float]  # of object, operator and repeat, on ln(area)


def effects(object_: int, operator: int, repeat: int) -> float:
    """Operators 3 % apart, repeats 1 % either side."""
    return 0.03 * (operator - 1) + 0.01 * (2 * repeat - 1) * (1 if (object_ + operator) % 2 else -1)


def study(
    operators_: Sequence[str] = "ABC", tester: str = "T1", effect: Effect = effects, blind: str = "yes",
    order: Callable[[int, int], int] = lambda operator, n: (5 * n + 3 * operator) % 8,
) -> str:  # fmt: skip
    """Rows of four objects read twice by each operator; figures follow from the areas by the flow through orifices."""
    bore = {"T1": 0.040 * 0.0254, "T2": 1e-3}[tester]
    rows = []
    for j, who in enumerate(operators_):
        for n, (k, (i, (cells, mm2))) in enumerate((k, each) for k in (0, 1) for each in enumerate(AREAS.items())):
            ratio = mm2 * 1e-6 * math.exp(effect(i, j, k)) / leakdown.orifice_area(bore)
            inside = float(leakdown.cylinder_for(ratio, 80 * PSI, leakdown.STANDARD_AMBIENT)) / PSI
            figures = f"{inside:.9f}," if tester == "T1" else f",{100 * (1 - inside / 80):.9f}"
            rows.append(
                f"G1,{who},{tester},B1,cold-build,{cells},{k + 1},yes,{1 + order(j, n)},{blind},80,{figures},\n"
            )
    return "".join(rows)


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    return Folder(tmp_path)


def read(folder: Folder, rows: str) -> Readings:
    source = folder.source(HEAD + rows, name="study.csv", stream="gaugestudy")
    return STREAM.read(program(folder.path, (source,)), (source,))


def values(folder: Folder, rows: str) -> dict[tuple[str, str], Value]:
    readings = {"gaugestudy": read(folder, rows)}
    found = run(program(folder.path), "", readings, Book({}, ()))
    return {(each.measure, each.key.at): each for each in found if isinstance(each, Value)}


# ---- what is read ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("row", "code", "name"),
    [
        ("G1,A,T1,B1,cold-build,1,R1,,2,yes,2,yes,80,70,,", "object-twice", "standard"),
        ("G1,A,T1,B1,cold-build,,,,2,yes,2,yes,80,70,,", "object-missing", "cylinder"),
        ("G1,A,T1,,,1,,,2,yes,2,yes,80,70,,", "object-missing", "engine"),
        ("G1,A,T1,B1,cold-build,1,,,2,yes,2,yes,80,,,", "no-figure", "pressure [psig]"),
        ("G1,A,T1,B1,cold-build,1,,,2,yes,2,yes,80,0,,", "zero-pressure", "pressure [psig]"),
        ("G1,A,T1,B1,cold-build,1,,,2,yes,2,yes,80,81,,", "above-supply", "pressure [psig]"),
        ("G1,A,T1,B1,cold-build,1,,,2,yes,2,yes,80,70,,2027-03-02", "past-calibration", "tester"),
        ("G1,A,T1,B1,cold-build,1,,,2,no,2,yes,80,70,,", "not-set-up-anew", "anew"),
        ("G1,A,T1,B1,cold-build,1,,,1,yes,2,yes,80,71,,", "repeat-unnumbered", "repeat"),
        ("G1,,T1,B1,cold-build,1,,,2,yes,2,yes,80,70,,", "required-empty", "operator"),
        (",A,T1,B1,cold-build,1,,,2,yes,2,yes,80,70,,", "required-empty", "study"),
        ("G1,A,T1,B1,cold-build,1,,,2,yes,2,perhaps,80,70,,", "unknown-word", "blind"),
        ("G1,A,T1,B1,cold-build,1,,,2,yes,2,yes,80,seventy,,", "not-a-number", "pressure [psig]"),
    ],
)
def test_a_row_that_cannot_be_is_set_aside_and_named(folder: Folder, row: str, code: str, name: str) -> None:
    found = read(folder, f"{ROW}{row}\n")
    assert column(found, "use") == ["", code]
    assert code in CATALOGUE
    assert any(said.startswith(f'pump/study.csv:3: warning: column "{name}":') for said in told(found))


def test_an_unbalanced_study_is_refused_with_what_is_missing(folder: Folder) -> None:
    rows = study().splitlines(keepends=True)
    del rows[13], rows[3]  # of B and of A
    found = read(folder, "".join(rows))
    assert set(column(found, "use")) == {""}
    (said,) = told(found)
    assert "of L1 one reading by B and of B1 cylinder 1 one reading by A are missing" in said
    value = values(folder, "".join(rows))["gauge.repeat", "G1/T1"]
    assert (value.value, value.reason) == (None, "gauge-unbalanced")


def test_operators_split_by_coating_are_refused(folder: Folder) -> None:
    plan = program(folder.path)
    first, second = plan.builds
    coated = tuple(replace(place, coating="graded") for place in second.places)
    plan = replace(plan, builds=(first, replace(second, places=coated)))
    rows = "".join(
        f"G1,{who},T1,{build},cold-build,{cylinder},,,{n},yes,{n},yes,80,70,,\n"
        for who, build in (("A", "B1"), ("B", "B6")) for cylinder in (1, 2) for n in (1, 2)
    )  # fmt: skip
    source = folder.source(HEAD + rows, name="study.csv", stream="gaugestudy")
    found = STREAM.read(plan, (source,))
    (said,) = told(found)
    assert "each operator read one coating only: operator and coating cannot be told apart" in said
    (first_value, *_) = run(plan, "", {"gaugestudy": found}, Book({}, ()))
    assert isinstance(first_value, Value)
    assert first_value.reason == "operators-split-by-coating"


def test_a_large_muddle_is_told_at_once(folder: Folder) -> None:
    """Every row another study's worth: no table of objects by operators is laid out."""
    rows = "".join(f"G1,by{n},T1,,,,,L{n},1,yes,1,yes,80,70,,\n" for n in range(4000))
    (said,) = told(read(folder, rows))
    assert "of L0 one reading by by1" in said
    assert f"{4000 * 4000 - 4000 - 8} more are missing" in said


# ---- what a study gives ---------------------------------------------------------------------------------------------


def test_a_study_gives_back_the_effects_it_was_made_with(folder: Folder) -> None:
    found = values(folder, study())
    # by hand from the effects: repeats ± 1 % are a variance of 2 · 0.01² each cell; cell means are free of them, so
    # that the interaction is nought; operators at −3, 0 and 3 % have a variance of 0.03²
    repeat, operator = found["gauge.repeat", "G1/T1"], found["gauge.operator", "G1/T1"]
    assert repeat.value == pytest.approx(100 * math.sqrt(2) * 0.01, rel=1e-6)
    assert repeat.df == 12
    assert operator.value == pytest.approx(3.0, rel=1e-6)
    assert found["gauge.interaction", "G1/T1"].value == pytest.approx(0, abs=1e-9)
    assert "variance-negative" in found["gauge.interaction", "G1/T1"].flags
    assert found["gauge.scatter", "G1/T1"].value == pytest.approx(math.hypot(3, math.sqrt(2)), rel=1e-6)
    logs = np.log(list(AREAS.values()))
    assert found["gauge.objects", "G1/T1"].value == pytest.approx(100 * np.std(logs, ddof=1), rel=1e-3)
    assert found["gauge.other_operator", "T1"].value == pytest.approx(3.0 * student.ppf(0.975, 2), rel=1e-5)
    assert found["gauge.repeat_cylinders", "G1/T1"].df == 3


@pytest.mark.parametrize("who", ["AB", "A"])
def test_of_fewer_than_three_operators_repeats_alone_are_told(folder: Folder, who: str) -> None:
    said = told(read(folder, study(who)))
    assert len(said) == 1
    assert "it tells the scatter of repeats, and not that of operators" in said[0]
    found = values(folder, study(who))
    assert found["gauge.repeat", "G1/T1"].value == pytest.approx(100 * math.sqrt(2) * 0.01, rel=1e-6)
    assert {each.reason for (name, _), each in found.items() if not name.startswith("gauge.repeat")} == {
        "few-operators"
    }


@pytest.mark.parametrize(
    ("rows", "flag"),
    [
        (study(order=lambda _, n: n), "order-not-random"),
        (study(order=lambda j, n: 2 * ((n + j) % 4) + n // 4), "order-not-random"),
        (study(blind="no"), "not-blind"),
        (study(blind=""), "blind-not-recorded"),
        (study().replace("yes,1,yes", "yes,,yes"), "order-not-recorded"),
        (study().replace(",yes,1,", ",,1,"), "anew-not-recorded"),
        (study(), ""),
    ],
)
def test_what_makes_a_study_look_better_than_it_is_is_said(folder: Folder, rows: str, flag: str) -> None:
    flags = values(folder, rows)["gauge.repeat", "G1/T1"].flags
    assert flags == ({flag} if flag else set())
    assert flags <= set(CATALOGUE)


def test_two_testers_in_one_study_are_set_against_each_other(folder: Folder) -> None:
    more = study(tester="T2", effect=lambda i, j, k: 0.05 + effects(i, j, k))
    found = values(folder, study() + more)["gauge.testers", "G1/T1:T2"]
    assert found.value == pytest.approx(100 * math.expm1(0.05), rel=1e-4)
    other = more.replace(",,L2,", ",,L3,")
    assert values(folder, study() + other)["gauge.testers", "G1/T1:T2"].reason == "testers-read-other-objects"


def test_the_later_study_of_a_tester_counts(folder: Folder) -> None:
    rows = study()
    later = rows.replace("G1,", "G2,").replace(",,\n", ",,2026-05-02\n")
    found = values(folder, rows + later)
    assert "study-superseded" in found["gauge.operator", "G1/T1"].flags
    assert "study-superseded" not in found["gauge.operator", "G2/T1"].flags


# ---- what it does to leak areas -------------------------------------------------------------------------------------

LEAK = "engine,cylinder,phase,tester,repeat,supply [psig],pressure [psig],crank,operator\n"


def leaks(*who: tuple[str, str]) -> str:
    """Two repeats of a cylinder at one check by each operator of a build."""
    return LEAK + "".join(
        f"{build},{number},run-in-15,T1,{n},80,{70 + 0.2 * n},tdc,{operator}\n"
        for number, (build, operator) in enumerate(who, start=1) for n in (1, 2)
    )  # fmt: skip


def told_of(readings: Readings, plan: Program, known: Sequence[Value]) -> dict[tuple[str, Key], Value]:
    book = Book({(each.measure, each.key): each for each in known}, operators.STEP.needs)
    found = operators.run(plan, "", {"leakdown": readings}, book)
    return {(each.measure, each.key): each for each in found if isinstance(each, Value)}


def test_operators_who_cannot_be_told_from_builds(folder: Folder) -> None:
    plan = program(folder.path)
    study_ = list(values(folder, study()).values())
    upper = next(each.high for each in study_ if each.measure == "gauge.operator")
    apart = folder.leak(leaks(("B1", "A"), ("B6", "B")))
    found = told_of(apart, plan, study_)
    assert found["leakdown.operators", Key(phase="run-in-15")].value == pytest.approx(2 * math.sqrt(2) * (upper or 0.0))
    assert found["leakdown.other_operator", Key(at="T1")].value is not None
    without = told_of(apart, plan, ())
    assert without["leakdown.operators", Key(phase="run-in-15")].reason == "no-gauge-study"
    assert ("leakdown.other_operator", Key(at="T1")) not in without
    linked = told_of(folder.leak(leaks(("B1", "A"), ("B6", "B"), ("B6", "A"))), plan, study_)
    assert not [name for name, _ in linked if name == "leakdown.operators"]
    one = told_of(folder.leak(leaks(("B1", "A"), ("B6", "A"))), plan, study_)
    assert one == {}


def test_groups_are_what_the_rank_of_the_indicators_lacks() -> None:
    rng = np.random.default_rng(3)
    for _ in range(200):
        builds, people = rng.integers(2, 7, 2)
        pairs = {(int(b), int(o)) for b, o in zip(rng.integers(0, builds, 8), rng.integers(0, people, 8), strict=True)}
        columns = [[p[0] == b for p in pairs] for b in {p[0] for p in pairs}]
        columns += [[p[1] == o for p in pairs] for o in {p[1] for p in pairs}]
        rank = np.linalg.matrix_rank(np.array(columns, dtype=float))
        assert gauge_study.groups(pairs) == len(columns) - rank


def test_repeats_of_cylinders_are_pooled_unless_they_differ(folder: Folder) -> None:
    plan = program(folder.path)
    readings = {"leakdown": folder.leak(leaks(("B1", "A"), ("B1", "A"), ("B6", "A")))}

    def scatter(*known: Value) -> Value:
        book = Book({(each.measure, each.key): each for each in known}, testers.TESTERS.needs)
        return next(v for v in testers.run(plan, "", readings, book) if isinstance(v, Value) and v.measure == REPEAT.id)

    alone = scatter()
    assert alone.value is not None
    same = Value(STUDY_REPEATS, Key(at="G1/T1"), 1.1 * alone.value, df=3)
    pooled = scatter(same)
    assert pooled.df == (alone.df or 0) + 3
    assert pooled.value == pytest.approx(alone.value * math.sqrt((3 + 3 * 1.21) / 6))
    other = scatter(replace(same, value=30 * alone.value))
    assert other.value == alone.value
    assert other.flags == {"study-repeats-differ"}


def test_another_operator_widens_an_area_and_no_study_leaves_it(folder: Folder) -> None:
    plan = program(folder.path)
    readings = {"leakdown": folder.leak(leaks(("B1", "A")))}

    def found(*known: Value) -> Value:
        book = Book({(each.measure, each.key): each for each in known}, area.AREAS.needs)
        every = area.run_areas(plan, "B1", readings, book)
        return next(v for v in every if isinstance(v, Value) and v.measure == "leakdown.area")

    bare, wide = found(), found(Value("leakdown.other_operator", Key(at="T1"), 6.0))
    assert (bare.value, bare.se) == (wide.value, wide.se)
    assert bare.value is not None
    assert wide.high is not None
    assert bare.high is not None
    expected = math.hypot(bare.high - bare.value, 0.06 * bare.value)
    assert wide.high - bare.value == pytest.approx(expected)


# ---- pages and sheets -----------------------------------------------------------------------------------------------


def view_of(folder: Folder, rows: str, *more: Value) -> View:
    plan = program(folder.path)
    readings = read(folder, rows)
    known = {(each.measure, each.key): each for each in (*values(folder, rows).values(), *more)}
    analysis = FixtureAnalysis(plan, {"gaugestudy": readings}, known, (), (), {})
    whole = ProgramFolder("/nowhere", plan.definitions, (plan,))
    return View(whole, registry.measures(), Addresses.of(whole), "programs/pump/index.html", Desk(analysis))


def sentences(folder: Folder, rows: str) -> str:
    blocks = gauge_studies(view_of(folder, rows))
    parts = [each.reading if isinstance(each, Table) else "".join(c.text for c in each.cells)
             for each in blocks if isinstance(each, Table | Text)]  # fmt: skip
    return " ".join(parts).replace("\N{NO-BREAK SPACE}", " ")


def test_what_the_page_says(folder: Folder) -> None:
    said = sentences(folder, study())
    assert "One reading by any operator scatters by 3.3 %" in said
    assert "No mark to pass is set" in said
    assert "Another operator may move a leak area by 12.9 %" in said  # t(2) 4.303 times 3 %
    assert "add leak standards" not in said
    assert "was not analysed: not every operator read every object" in sentences(folder, study()[:-60])
    assert "the scatter of operators is not told" in sentences(folder, study("AB"))


def test_cylinders_that_are_too_alike_ask_for_leak_standards(folder: Folder) -> None:
    rows = "".join(
        f"G1,{who},T1,B1,cold-build,{cylinder},,,{n},yes,{1 + (3 * cylinder + j + 5 * n) % 8},yes,80,"
        f"{70 + 0.5 * j + 0.3 * n * (-1) ** (cylinder + j)},,\n"
        for j, who in enumerate("ABC") for n in (1, 2) for cylinder in (1, 2, 3)
    )  # fmt: skip
    assert "add leak standards" in sentences(folder, rows)


@pytest.mark.parametrize(
    ("value", "flags", "short", "long"),
    [
        (8.28, frozenset(), "Operator and build cannot be told apart: up to ±8 % may be the operators’.",
         "Leak area to the crankcase: operator and build cannot be told apart; differences may hold ±8 % of the "
         "operators alone."),
        (None, frozenset(), "Operator and build cannot be told apart.",
         "Leak area to the crankcase: operator and build cannot be told apart; no gauge study tells how far operators "
         "differ."),
        (8.28, frozenset({"operators-by-coating"}),
         "Operator and coating cannot be told apart: up to ±8 % may be the operators’.",
         "Leak area to the crankcase: operator and coating cannot be told apart; differences may hold ±8 % of the "
         "operators alone."),
    ],
)  # fmt: skip
def test_what_is_said_of_a_comparison(
    folder: Folder, value: float | None, flags: frozenset[str], short: str, long: str
) -> None:
    row = Comparison("leakdown.crankcase", "durability", "", "graded", "nitrided", "primary", "ratio", verdict="less")
    bare = view_of(folder, study())
    assert of_pages.briefly(bare, [row]) == of_pages.note(bare, [row]) == of_pages.of_program(bare) == ""
    told_apart = Value("leakdown.operators", Key(phase="durability"), value, flags=flags)
    if value is None:
        told_apart = replace(told_apart, status="refused", reason="no-gauge-study")
    view = view_of(folder, study(), told_apart)
    assert of_pages.briefly(view, [row]).replace("\N{NO-BREAK SPACE}", " ") == short
    assert of_pages.note(view, [row]).replace("\N{NO-BREAK SPACE}", " ") == long
    other = replace(row, measure="seating.scale")  # a distance: a scale of the area cancels
    assert of_pages.briefly(view, [other]) == ""


def test_what_two_readings_show_is_known_for_the_plan(folder: Folder) -> None:
    plan = program(folder.path)
    assert STREAM.by_repeats is not None
    known = list(values(folder, study()).values())
    assert list(STREAM.by_repeats(plan, known)) == []  # nothing of leak areas is known
    leak = Value("leakdown.crankcase", plan.builds[0].key(1, "durability"), 0.3)
    (found,) = STREAM.by_repeats(plan, [*known, leak])
    # 0.35 mm² asked for; 1.96 √2 √(3² + 2) % of it, on the logarithm
    assert found.value == pytest.approx(0.35 * math.expm1(1.96 * math.sqrt(2) * math.sqrt(11) / 100), rel=1e-4)


def test_the_sheet_is_balanced_drawn_by_lot_and_drawn_again_alike(folder: Folder) -> None:
    plan = program(folder.path)
    assert STREAM.blank is not None
    first, again = (STREAM.blank(plan, plan.builds[0], plan.phases[0]) for _ in range(2))
    assert first.rows == again.rows
    places = [(row.get("cylinder") or row.get("reference") or row["standard"], row["operator"]) for row in first.rows]
    assert gauge_study.short_of(places) == 0
    assert len({row["label"] for row in first.rows}) == len(first.rows)
    orders: dict[str, list[str]] = {}
    for what, operator in places:
        orders.setdefault(operator, []).append(what)
    assert len(orders) == 3
    assert len({tuple(each) for each in orders.values()}) == 3
    reader, coupler = first.tables
    told_to_reader = {*reader.known, *reader.asked, *(name for row in reader.rows for name in row)}
    assert not {"cylinder", "reference", "standard", "repeat"} & told_to_reader
    assert {"cylinder", "label"} <= set(coupler.known)
    assert "seed “pump/B1/cold-build”" in first.steps[0]
