"""The example programs end to end, against the known truth of the simulator that made their tables."""

from __future__ import annotations

import math
from collections import Counter
from functools import cache
from statistics import fmean

import numpy as np
import pytest
from scipy import stats
from simulate.engine import Truth
from simulate.programs import example

from sitegen import registry
from sitegen.page.addresses import Addresses
from sitegen.page.view import Desk, View
from sitegen.pages import comparing
from sitegen.program.model import Folder
from sitegen.reasons import CATALOGUE
from sitegen.results.run import Analysis
from sitegen.vocabulary import Key, Value
from sitegen.workflow import Conclusion, plan_each


@cache
def the_truth() -> Truth:
    return example()[0]


def analysis(concluded: dict[str, Conclusion], program: str) -> Analysis:
    return concluded[program].analysis


@pytest.fixture(scope="module", params=["pump-rings-2025", "pump-rings-2026"])
def one(concluded: dict[str, Conclusion], request: pytest.FixtureRequest) -> Analysis:
    return analysis(concluded, request.param)


def state(found: Analysis, engine: str, cylinder: int) -> str:
    (word,) = {v.word for v in found.verdicts if v.rule == "seating" and v.key[:2] == (engine, cylinder)}
    return word


def value(found: Analysis, measure: str, engine: str, cylinder: int, phase: str, at: str = "") -> Value:
    build = found.program.build(engine)
    return found.values[measure, build.key(cylinder, phase, at)]


def test_every_code_has_its_wording(one: Analysis) -> None:
    codes = {v.reason for v in one.values.values()} | {v.reason for v in one.verdicts}
    codes |= {flag for v in one.values.values() for flag in v.flags}
    codes |= {use for each in one.readings.values() for use in each.frame["use"]}
    assert codes - {""} <= set(CATALOGUE)


def test_every_planned_record_has_its_row(one: Analysis) -> None:
    streams = {stream.name: stream for stream in registry.STREAMS}
    present = {(m, key.engine, key.cylinder, key.phase) for m, key in one.values}
    for build, phase, stream in one.program.planned():
        for measure in streams[stream].recorded:
            for cylinder in (0,) if streams[stream].whole else one.program.planned_cylinders(build, stream):
                assert (measure, build.id, cylinder, phase.id) in present


def test_a_phase_to_come_is_missing_with_its_reason(concluded: dict[str, Conclusion]) -> None:
    found = value(analysis(concluded, "pump-rings-2026"), "leakdown.crankcase", "B7", 1, "durability")
    assert (found.status, found.reason, found.value) == ("missing", "to-come", None)


def test_leak_areas_hold_the_truth_within_their_intervals(one: Analysis) -> None:
    """The interval holds gauges, repeats and the tester, but not what an occasion does to an engine.

    So the truth is the simulator's ring area times what the occasion made of it, and 95 in 100 intervals hold it; of
    some 120 values 90 % is two and a half standard deviations of luck below that.
    """
    held = total = 0
    for (measure, key), found in one.values.items():
        if (
            measure != "leakdown.crankcase"
            or key.at
            or found.value is None
            or found.flags & {"path-unknown", "other-tester"}
        ):
            continue
        truth = the_truth().engines[key.engine]
        check = next(c for c in the_truth().checks[key.engine] if c.phase == key.phase)
        occasion = truth.occasion(key.phase)
        area = truth.cylinder(key.cylinder).ring_area(check) * occasion.engine * occasion.tester
        assert found.low is not None
        assert found.high is not None
        held += found.low <= area <= found.high
        total += 1
    assert total >= 50
    assert held / total >= 0.9


def test_seating_distances_hold_the_truth(one: Analysis) -> None:
    found = [v for (m, _), v in one.values.items() if m == "seating.scale" and v.value is not None]
    assert len(found) >= 5
    held = 0
    for each in found:
        scales = [
            cylinder.scale
            for cylinder in the_truth().engines[each.key.engine].cylinders
            if cylinder.coating == each.key.coating
        ]
        typical = sorted(scales)[len(scales) // 2]  # the slow cylinder of B6 is no part of it
        assert each.low is not None
        assert each.high is not None
        held += each.low <= typical <= each.high
    assert held >= len(found) - 1


def test_states_agree_with_the_truth(one: Analysis) -> None:
    """No cylinder is called seated with more than the allowed leak still to lose or a level above the limit."""
    limit = one.program.seating
    called = Counter[str]()
    for verdict in one.verdicts:
        if verdict.rule != "seating" or not verdict.key.phase:
            continue
        cylinder = the_truth().engines[verdict.key.engine].cylinder(verdict.key.cylinder)
        check = next(c for c in the_truth().checks[verdict.key.engine] if c.phase == verdict.key.phase)
        called[verdict.word] += 1
        if verdict.word == "seated":
            assert cylinder.to_lose(check) <= limit.to_lose
            assert cylinder.ring_area(check) <= limit.level
        if verdict.word == "still seating":
            assert cylinder.to_lose(check) > 0
    assert called["seated"] >= 12


def test_the_cylinder_that_has_not_seated_is_told_apart(concluded: dict[str, Conclusion]) -> None:
    found = analysis(concluded, "pump-rings-2026")
    assert state(found, "B6", 2) == "still seating"
    assert {state(found, "B6", n) for n in (1, 3, 4)} == {"seated"}


def test_a_valve_leak_does_not_fool_the_ring_measure(concluded: dict[str, Conclusion]) -> None:
    found = analysis(concluded, "pump-rings-2026")
    level = found.program.seating.level
    whole = value(found, "leakdown.area", "B4", 3, "durability")
    ring = value(found, "leakdown.crankcase", "B4", 3, "durability")
    assert whole.low is not None
    assert ring.high is not None
    assert ring.high < level < whole.low
    assert state(found, "B4", 3) == "seated"


def test_a_check_on_another_tester_is_flagged_and_kept_out_of_the_curve(concluded: dict[str, Conclusion]) -> None:
    found = analysis(concluded, "pump-rings-2026")
    assert "other-tester" in value(found, "leakdown.crankcase", "B3", 1, "run-in-60").flags
    scale = found.values["seating.scale", Key("B3", 0, "nitrided", "", "a1")]
    assert (scale.status, scale.reason) == ("refused", "few-checks")


def test_where_checks_are_too_few_the_blow_by_tells_the_distance(concluded: dict[str, Conclusion]) -> None:
    """Three checks of B3 count; what its cylinders have still to lose is within the intervals all the same."""
    found = analysis(concluded, "pump-rings-2026")
    pulls = next(check for check in the_truth().checks["B3"] if check.phase == "pulls")
    for cylinder in the_truth().engines["B3"].cylinders:
        lose = value(found, "seating.to_lose", "B3", cylinder.cylinder, "pulls")
        assert lose.flags == {"scale-from-blow-by"}
        assert lose.low is not None
        assert lose.high is not None
        assert lose.low <= cylinder.to_lose(pulls) <= lose.high
        assert state(found, "B3", cylinder.cylinder) == "seated"


def test_refitted_rings_start_a_new_curve(concluded: dict[str, Conclusion]) -> None:
    found = analysis(concluded, "pump-rings-2026")
    key = Key("B5", 0, "graded-crn", "", "a1")
    assert found.values["seating.scale", key].status == "ok"
    assert found.values["seating.scale", key._replace(at="a2")].reason == "few-checks"
    earlier = {v.word for v in found.verdicts if v.rule == "seating, earlier assembly" and v.key.engine == "B5"}
    assert earlier == {"seated"}
    since = {(v.word, v.reason) for v in found.verdicts if v.rule == "seating" and v.key.engine == "B5"}
    assert since == {("cannot tell", "one-check")}


def test_two_checks_far_apart_tell_where_the_curve_does_not(concluded: dict[str, Conclusion]) -> None:
    """B2 cylinder 2 keeps off the common curve; 864 km after the pulls it has as good as nothing left to lose."""
    found = analysis(concluded, "pump-rings-2026")
    (told,) = [v for v in found.verdicts if v.rule == "seating" and v.key[:2] == ("B2", 2)]
    assert (told.word, told.route) == ("seated", "two-checks")
    most = value(found, "seating.to_lose_most", "B2", 2, "durability", "vs:pulls")
    check = next(each for each in the_truth().checks["B2"] if each.phase == "durability")
    assert most.high is not None
    assert the_truth().engines["B2"].cylinders[1].to_lose(check) <= most.high < 0.001


def test_what_was_left_out_keeps_the_value_it_would_have_given(concluded: dict[str, Conclusion]) -> None:
    found = analysis(concluded, "pump-rings-2026")
    without = value(found, "leakdown.crankcase", "B1", 2, "run-in-10")
    left_out = value(found, "leakdown.crankcase", "B1", 2, "run-in-10", "with:leakdown-b1:15")
    assert left_out.status == "excluded"
    assert left_out.reason == "excluded"
    assert left_out.n == without.n + 1
    assert left_out.value != without.value


def test_coatings_in_one_engine_have_their_own_distance(concluded: dict[str, Conclusion]) -> None:
    found = analysis(concluded, "pump-rings-2025")
    for engine in ("A1", "A2", "A3"):
        soft, hard = (found.values["seating.scale", Key(engine, 0, c, "", "a1")] for c in ("nitrided", "hard-crn"))
        assert soft.value is not None
        assert hard.value is not None
        assert soft.value < hard.value


def test_oil_wet_and_second_supply_readings_are_kept_apart(concluded: dict[str, Conclusion]) -> None:
    found = analysis(concluded, "pump-rings-2026")
    places = {key.at for (m, key) in found.values if m == "leakdown.area" and key[:2] == ("B6", 2)}
    assert places == {"", "supply:276-kpa", "wet"}


# ---- answers: read aloud, and held against the truth ----------------------------------------------------------------


def answer(concluded: dict[str, Conclusion], program: str) -> list[str]:
    """The opening paragraphs of a program page."""
    found = analysis(concluded, program)
    folder = Folder("", found.program.definitions, tuple(each.analysis.program for each in concluded.values()))
    page = f"programs/{program}/index.html"
    view = View(folder, registry.measures(), Addresses.of(folder), page, Desk(found))
    (plan,) = plan_each([found])
    texts = comparing.answer(view, plan)
    return ["".join(cell.text for cell in text.cells).replace("\N{NO-BREAK SPACE}", " ") for text in texts]


def test_the_answer_of_2026_reads_as_it_should(concluded: dict[str, Conclusion]) -> None:
    assert answer(concluded, "pump-rings-2026") == [
        "After four pulls, the leak area to the crankcase is 18 % less with graded chromium nitride rings than with "
        "nitrided rings (95 % interval 5 to 30 % less; three builds each). Whether it is less by 15 %, the difference "
        "worth finding, cannot be told.",
        "The question is answered by the seating distance, which is not the primary measure, since it needs checks "
        "on both sides of the seating, which not every engine is sure to give.",
        "The seating distance is 54 % less with graded chromium nitride rings than with nitrided rings (95 % "
        "interval 29 to 70 % less; three builds against two; without B2 cylinder 2, B6 cylinder 2 and B3, which has"
        " no value). That is at least 15 %, the difference worth finding.",
        "The seating distance is 28 % more with hard chromium nitride rings than with nitrided rings (95 % interval"
        " from 28 % less to 2.28 times as much; one build against two; without B2 cylinder 2 and B3, which has no "
        "value). Hard chromium nitride rings were built once, so build and coating cannot be told apart: the "
        "scatter is that of the other coatings' builds, and this is no test.",
        "Of the two other exploratory measures, the leak still to lose (0.026 mm² less, 95 % interval 0.004 to "
        "0.048 mm² less; three builds against two; without B2 cylinder 2, B6 cylinder 2 and B3, which has no value)"
        " differs for graded chromium nitride rings. Seating distance and leak still to lose, from one fit, "
        "count as one.",
        "After four pulls, the leak area to the crankcase is 16 % more with hard chromium nitride rings than with "
        "nitrided rings (95 % interval from 6 % less to 43 % more; one build against three). Hard chromium nitride "
        "rings were built once, so build and coating cannot be told apart: the scatter is that of the other coatings' "
        "builds, and this is no test.",
        "To find a difference of 15 % between hard chromium nitride rings and nitrided rings would take 3 to 13 "
        "builds of each.",
    ]


def test_the_answer_of_2025_reads_as_it_should(concluded: dict[str, Conclusion]) -> None:
    assert answer(concluded, "pump-rings-2025") == [
        "After four pulls, the leak area to the crankcase is 24.8 % more with hard chromium nitride rings than with "
        "nitrided rings in these engines (95 % interval 15.9 to 34.4 % more; three builds holding both). That is at "
        "least 15 %, the difference worth finding. This holds for these engines and this lot of rings; of engines to "
        "come it says nothing.",
        "Of the two exploratory measures, the seating distance (55 % more, 95 % interval 22 to 97 % more; three builds "
        "holding both) and the ring mass lost (top; 2.28 mg less, 95 % interval 1.82 to 2.73 mg less; three builds "
        "holding both) differ for hard chromium nitride rings in these engines.",
    ]


def true_ratio(found: Analysis, coating: str) -> float:
    """Ring areas of the simulator in the primary phase: geometric means over builds, whatever the testers read."""
    logs: dict[str, list[float]] = {}
    for build in found.program.builds:
        check = next(c for c in the_truth().checks[build.id] if c.phase == found.program.primary_phase)
        for each in the_truth().engines[build.id].cylinders:
            logs.setdefault(each.coating, []).append(math.log(each.ring_area(check)))
    return math.exp(fmean(logs[coating]) - fmean(logs[found.program.reference]))


def test_the_intervals_of_the_primary_comparisons_hold_the_truth(one: Analysis) -> None:
    rows = [row for row in one.comparisons if row.role == "primary"]
    assert rows
    for row in rows:
        assert row.low is not None
        assert row.high is not None
        assert row.low <= true_ratio(one, row.coating) <= row.high


def test_the_primary_comparison_of_2026_by_hand(concluded: dict[str, Conclusion]) -> None:
    """From the stored values: scipy's Dunnett test on build means of logarithms, then what testers and gauges share.

    Their errors are carried by the signs of the cylinders and widened to 97.5 % a candidate, the normal point 2.2414.
    """
    found = analysis(concluded, "pump-rings-2026")
    rows = {
        key: each
        for (measure, key), each in found.values.items()
        if (measure, key.phase, key.at) == ("leakdown.crankcase", "pulls", "") and each.value is not None
    }
    logs: dict[str, dict[str, list[float]]] = {}
    for key, each in rows.items():
        logs.setdefault(key.coating, {}).setdefault(key.engine, []).append(math.log(each.value or 0.0))
    groups = {coating: [fmean(own) for own in builds.values()] for coating, builds in logs.items()}
    own, other, reference = (groups[coating] for coating in ("graded-crn", "hard-crn", "nitrided"))
    ends = stats.dunnett(own, other, control=reference, rng=np.random.default_rng(7)).confidence_interval(0.95)
    scales: dict[str, float] = {}
    gauges: dict[str, float] = {}
    for key, each in rows.items():
        weight = {"graded-crn": 1 / 12, "nitrided": -1 / 12, "hard-crn": 0.0}[key.coating] / (each.value or 1.0)
        gauge = found.values["leakdown.gauge", key].value or 0.0
        scales[each.common] = scales.get(each.common, 0.0) + weight * (each.se_common or 0.0)
        gauges[each.common] = gauges.get(each.common, 0.0) + weight * gauge
    shared = 2.2414 * math.hypot(*scales.values(), *(part / 1.959964 for part in gauges.values()))
    assert shared > 0
    wide = np.atleast_1d(ends.high) - np.atleast_1d(ends.low)
    half = math.hypot(float(wide[0]) / 2, shared)
    middle = fmean(own) - fmean(reference)
    row = found.comparisons[0]
    assert row.estimate == pytest.approx(math.exp(middle), abs=5.1e-4)  # three decimals are stored
    assert row.low == pytest.approx(math.exp(middle - half), rel=5e-3)
    assert row.high == pytest.approx(math.exp(middle + half), rel=5e-3)


def test_what_an_occasion_can_move_beyond_the_tester(one: Analysis) -> None:
    """Scatter of engine means about their curves elsewhere less the tester's part, which areas hold; t by scipy.

    Of a tester whose orifice was read too seldom 1.96 times 2 % stand for its part, as for its own bore.
    """
    seen = 0
    for (measure, key), found in one.values.items():
        if measure != "leakdown.moved" or found.value is None:
            continue
        level = one.values["leakdown.crankcase", key]
        tester = one.values["leakdown.occasion", Key(at=level.common.removeprefix("tester:"))]
        engine = one.values["seating.elsewhere", one.program.build(key.engine).key()]
        own = 1.959964 * 0.02
        if tester.value is not None:
            own = min(
                stats.t.ppf(0.975, tester.df or 0.0) * tester.value / 100, 1.959964 * max(0.02, tester.value / 100)
            )
        whole = stats.t.ppf(0.975, engine.df or 0.0) * (engine.value or 0.0) / 100
        size = level.high if level.value is None else level.value
        assert found.value == pytest.approx(math.sqrt(whole**2 - own**2) * (size or 0.0), rel=2e-3)
        seen += 1
    assert seen > 60


def test_criteria_of_the_examples(concluded: dict[str, Conclusion]) -> None:
    words = {
        (program, verdict.rule.partition(":")[2], verdict.key.coating): (verdict.word, verdict.reason)
        for program, each in concluded.items()
        for verdict in each.analysis.verdicts
        if verdict.rule.startswith("criterion:") and not verdict.key.engine and program != "pump-rings-hours"
    }
    assert words == {
        ("pump-rings-2025", "level-at-40-h", "hard-crn"): ("holds", ""),
        ("pump-rings-2025", "run-in-enough", "hard-crn"): ("fails", ""),
        ("pump-rings-2026", "level-after-pulls", "graded-crn"): ("cannot tell yet", "limit-in-interval"),
        ("pump-rings-2026", "better-than-nitrided", "graded-crn"): ("holds", ""),
        ("pump-rings-2026", "better-than-nitrided", "hard-crn"): ("cannot tell yet", "one-build"),
        ("pump-rings-2026", "run-in-enough", "graded-crn"): ("cannot tell yet", "cylinders-missing"),
    }


def test_no_criterion_is_answered_against_the_truth(one: Analysis) -> None:
    """Every cylinder said to hold or to fail a limit of the leak area does so in the simulator."""
    judged = 0
    for criterion in one.program.criteria:
        if criterion.measure != "leakdown.crankcase" or criterion.limit is None:
            continue
        for verdict in one.verdicts:
            if verdict.rule != f"criterion:{criterion.id}" or not verdict.key.engine:
                continue
            cylinder = the_truth().engines[verdict.key.engine].cylinder(verdict.key.cylinder)
            check = next(c for c in the_truth().checks[verdict.key.engine] if c.phase == criterion.phase)
            if verdict.word != "cannot tell yet":
                assert (cylinder.ring_area(check) <= criterion.limit) == (verdict.word == "holds")
                judged += 1
    assert judged >= 6
