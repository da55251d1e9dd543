"""What crosses the streams to say whether wear adds up: values by hand in, words and reasons out."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import pytest
from house import PROGRAMS, ROOT

from sitegen import workflow
from sitegen.crossing import closure
from sitegen.program.model import ClosureRule, OilSource, Program
from sitegen.vocabulary import Book, Key, Value, Verdict

DAY, RUN = "teardown", "durability"


@pytest.fixture(scope="module")
def program() -> Program:
    folder, _ = workflow.programs(PROGRAMS)
    assert folder is not None
    return next(each for each in folder.programs if each.id == "pump-rings-2026")


def ring(measure: str, cylinder: int, value: float, half: float, at: str = "top", phase: str = DAY) -> Value:
    return Value(measure, Key("B4", cylinder, "graded-crn", phase, at), value, value - half, value + half)


def whole(measure: str, value: float, half: float, phase: str = RUN, at: str = "") -> Value:
    return Value(measure, Key("B4", 0, "graded-crn", phase, at), value, value - half, value + half)


RAN = (whole("exposure.km", 886.0, 0.0), whole("exposure.km", 886.0, 0.0, DAY))
LOST = tuple(ring("wear.mass_loss", cylinder, 3.0, 1.0) for cylinder in (1, 2, 3, 4))
OIL = whole("wear.from_source", 10.0, 2.0, at="ring-faces-graded")


def concluded(program: Program, values: Iterable[Value]) -> tuple[dict[tuple[str, Key], Value], list[Verdict]]:
    book = Book({(value.measure, value.key): value for value in values}, closure.STEP.needs)
    found = list(closure.run(program, "B4", {}, book))
    told = {(each.measure, each.key): each for each in found if isinstance(each, Value)}
    return told, [each for each in found if isinstance(each, Verdict)]


def only(found: dict[tuple[str, Key], Value], measure: str) -> Value:
    (value,) = [value for (name, _), value in found.items() if name == measure]
    return value


def test_a_ring_by_balance_and_traces(program: Program) -> None:
    """0.3 mm³ at 6.1 mg/mm³ are 1.83 mg of 3: 1.17 mg more, and half-widths √(1² + 0.061²)."""
    stated = replace(program, closure=ClosureRule(not_face=0.1e-6))
    values = [
        LOST[0],
        ring("ring.face_volume", 1, 0.3, 0.01),
        ring("buildsheet.thickness", 1, 3.1, 0.0, phase="cold-build"),
    ]
    found, verdicts = concluded(stated, values)
    assert only(found, "closure.face").value == pytest.approx(1.83)
    rest = only(found, "closure.rest")
    # three digits of the half-width
    assert (rest.value, rest.low, rest.high) == pytest.approx((1.17, 0.16814, 2.17186), abs=5e-3)
    assert [(each.rule, each.word, each.reason) for each in verdicts] == [
        ("closure.ring", "do not close", "more-than-stated")
    ]
    # both flanks of 87.5 × 3.1 mm at 7.5 mg/mm³ lose 12.33 mg a µm
    flanks = only(found, "closure.flank_wear")
    assert flanks.value == pytest.approx(1.17 / 12.33, rel=1e-3)
    _, open_ = concluded(replace(program, closure=ClosureRule()), values)
    assert [(each.word, each.reason) for each in open_] == [("cannot tell", "rest-not-stated")]


def test_a_ring_that_lost_less_than_its_face(program: Program) -> None:
    values = [ring("wear.mass_loss", 1, 0.5, 0.4), ring("ring.face_volume", 1, 0.3, 0.01)]
    _, verdicts = concluded(replace(program, closure=ClosureRule()), values)
    assert [(each.word, each.reason) for each in verdicts] == [("do not close", "less-by-the-whole")]


def test_a_face_whose_density_nobody_states(program: Program) -> None:
    sources = tuple(replace(each, density=None) for each in program.oil.sources)
    bare = replace(program, oil=replace(program.oil, sources=sources))
    found, verdicts = concluded(bare, [LOST[0], ring("ring.face_volume", 1, 0.3, 0.01)])
    assert only(found, "closure.face").reason == "no-density-of-face"
    assert not verdicts


def test_wear_below_what_traces_show_is_a_bound(program: Program) -> None:
    below = Value("ring.face_volume", LOST[0].key, high=0.02, status="below", reason="below-detection-of-traces")
    found, _ = concluded(program, [LOST[0], below])
    assert only(found, "closure.face").status == "below"
    assert only(found, "closure.face").high == pytest.approx(0.122)
    assert only(found, "closure.rest").value == pytest.approx(3 - 0.061, abs=5e-3)


@pytest.mark.parametrize(
    ("oil", "word", "why"),
    [
        ((10.0, 2.0), "agree", "within-what-is-stated"),
        ((30.0, 2.0), "do not close", "list-incomplete"),
        ((1.0, 0.5), "do not close", "held-back"),
    ],
)
def test_rings_against_the_oil(program: Program, oil: tuple[float, float], word: str, why: str) -> None:
    """Four rings lost 12 ± 4 mg, of it up to 0.5 mg each not of the face; oil holds 60 to 100 %: 6 to 12 mg."""
    found, verdicts = concluded(program, [*LOST, *RAN, whole("wear.from_source", *oil, at="ring-faces-graded")])
    assert (only(found, "closure.weighed").value, only(found, "closure.weighed").high) == (12.0, 16.0)
    assert only(found, "closure.oil_short").value == pytest.approx(oil[0] - 6.0)
    assert [(each.rule, each.word, each.reason) for each in verdicts] == [("closure.oil", word, why)]


@pytest.mark.parametrize(
    ("values", "why"),
    [
        ([*LOST, *RAN, whole("wear.from_source", 10.0, 2.0, at="bearings")], "no-common-element"),
        ([*LOST, *RAN, whole("wear.from_source", 10.0, 2.0, at="bore-crank+ring-faces-graded")], "parts-not-apart"),
        ([*LOST[:3], *RAN, OIL], "cylinders-missing"),
        ([*LOST, RAN[0], replace(RAN[1], value=900.0), OIL], "oil-ended-before"),
        ([*LOST, *RAN], "no-metal-by-part"),
        ([*RAN, OIL], "rings-not-weighed"),
        ([*(replace(each, low=None, high=None) for each in LOST), *RAN, OIL], "no-interval"),
    ],
)
def test_what_cannot_be_compared_says_why(program: Program, values: list[Value], why: str) -> None:
    found, verdicts = concluded(program, values)
    assert only(found, "closure.oil_more").reason == why
    assert not verdicts


def test_weighed_rings_that_no_source_stands_for(program: Program) -> None:
    second = [ring("wear.mass_loss", cylinder, 2.2, 1.0, "second") for cylinder in (1, 2, 3, 4)]
    oil = [ring("wear.mass_loss", cylinder, 0.2, 1.0, "oil") for cylinder in (1, 2, 3, 4)]  # no clear loss
    found, _ = concluded(program, [*LOST, *second, *oil])
    named = only(found, "closure.not_listed")
    assert named.key.at == "second"
    assert (named.value, named.low) == pytest.approx((8.8, 4.8))
    listed = OilSource("second-rings", "second rings", {"Fe": 0.95}, ring="second")
    whole_ = replace(program, oil=replace(program.oil, sources=(*program.oil.sources, listed)))
    found, _ = concluded(whole_, [*LOST, *second])
    assert not [name for name, _ in found if name == "closure.not_listed"]


@pytest.mark.parametrize(("bores", "word"), [(None, None), ((7200.0, 0.93), "do not close")])
def test_bores_against_iron(program: Program, bores: tuple[float, float] | None, word: str | None) -> None:
    """The least worn place, 0.4 ± 0.05 µm on the mean of two cylinders, is 295 mg of iron in four bores; 40 found."""
    rule = replace(program.closure, bore_density=bores[0], bore_iron=bores[1]) if bores else ClosureRule()
    values = [
        ring("bore.wear_valleys", 1, 0.3, 0.0707, "thrust/mid-stroke"),
        ring("bore.wear_valleys", 3, 0.5, 0.0707, "thrust/mid-stroke"),
        ring("bore.wear_depth", 1, 1.2, 0.1, "thrust/top-reversal"),
        whole("wear.iron_mass", 40.0, 5.0, at="total"),
        *RAN,
    ]
    found, verdicts = concluded(replace(program, closure=rule), values)
    value = only(found, "closure.bores")
    if bores is None:
        assert value.reason == "no-density-of-bores"
        return
    assert value.value == pytest.approx(0.4 * 4 * 197.92 * 0.93, rel=1e-3)
    assert value.low == pytest.approx(0.35 * 4 * 197.92 * 0.93, rel=1e-3)
    assert [each.word for each in verdicts] == [word]


def test_what_the_program_file_states() -> None:
    folder, problems = workflow.programs(ROOT / "tests" / "accepted" / "oil")
    assert folder is not None, problems
    (plan,) = folder.programs
    assert [source.weighed_as for source in plan.oil.sources] == ["", "top", "oil"]
    rule = plan.closure
    assert rule.oil_holds == (0.6, 1.0)
    assert (rule.not_face, rule.bore_density, rule.bore_iron) == pytest.approx((0.5e-6, 7200.0, 0.93))


def test_proposals_for_the_list(program: Program) -> None:
    told = closure.proposals(program, ["oil", "second", "top"])
    assert '{id: oil-rings, title: oil rings, ring: oil, elements: "?"}' in told
    assert "ring: second" in told
    assert "ring-faces" not in told  # coatings are on it
    assert closure.proposals(program, ["top"]) == ""
    assert closure.proposals(replace(program, oil=replace(program.oil, sources=())), ["top"]) == ""
