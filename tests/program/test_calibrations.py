"""Calibrations of instruments: how they are written, and which readings they put in doubt."""

from __future__ import annotations

import pytest

from sitegen.problems import Collector
from sitegen.program import calibrated, definitions, model
from sitegen.program.model import Calibration, CheckPoint, Definitions, Meter, Tool
from sitegen.program.node import Node
from sitegen.program.yamlfile import parse

PSI = 6894.757293168361  # Pa, 0.45359237 kg x 9.80665 m/s2 over one square inch: exact by definition
LPM = 1e-3 / 60


def read(text: str) -> tuple[Definitions, list[str]]:
    problems = Collector("definitions.yaml")
    document = parse(text.encode(), problems)
    assert document is not None
    made = definitions.build(Node.root(document, problems))
    return made, [f"{each.line}:{each.column} {each.code}: {each.what}" for each in problems.found]


DATED = "on: 2026-01-12, due: 2027-01-12"
TOOLS = f"""
tools:
  balance-1:
    title: balance
    kind: balance
    limit: 0.5 mg
    from: 2025-01-10
    until: 2026-12-31
    calibrations:
      - on: 2026-01-12
        due: 2027-01-12
        by: metrology room
        certificate: 17
        tolerance: 0.3 mg
        checks:
          - {{at: 20 mg, found: 20.1 mg}}
          - {{at: 0 mg, found: -0.2 mg, left: 0 mg}}
  cell-1:
    title: torque cell
    kind: torque-cell
    limit: 0.4 N m
    calibrations: [{{{DATED}, checks: [{{at: 100 N m, left: 100.1 N m}}]}}]
  wire-1:
    title: thermocouple
    kind: thermocouple
    limit: 1.5 K
    calibrations: [{{{DATED}, checks: [{{at: 0 degC, found: -0.5 degC}}]}}]
  air-1:
    title: barometer
    kind: barometer
    limit: 2 hPa
    calibrations: [{{{DATED}, checks: [{{at: 1000 hPa absolute, found: 1001 hPa absolute}}]}}]
  rough-1:
    title: roughness standard
    kind: roughness-standard
    limit: 0.02 um
    calibrations: [{{{DATED}, checks: [{{at: 0.80 um, found: 0.81 um}}]}}]
"""


def test_points_are_read_in_what_the_tool_shows() -> None:
    made, problems = read(TOOLS)
    assert problems == []
    balance = made.tools["balance-1"]
    assert (balance.since, balance.until) == ("2025-01-10", "2026-12-31")
    (one,) = balance.calibrations
    assert (one.by, one.certificate) == ("metrology room", "17")
    assert one.checks[0].said == "20 mg"
    assert one.checks[0].at == pytest.approx(2e-5)
    assert one.checks[0].found == pytest.approx(2.01e-5)
    assert one.checks[0].tolerance == pytest.approx(3e-7)
    assert one.checks[1].found == pytest.approx(-2e-7)

    def only(tool: str) -> CheckPoint:
        return made.tools[tool].calibrations[0].checks[0]

    assert only("cell-1") == CheckPoint(100.0, None, 100.1, "", 0.4, "100 N m")
    # a barometer and a thermometer show what has a zero of its own; they err by a difference
    wire, air = only("wire-1"), only("air-1")
    assert (wire.at, wire.tolerance, air.at, air.tolerance) == (273.15, 1.5, 1e5, 200.0)
    assert wire.found == pytest.approx(272.65)
    assert air.found == pytest.approx(100100.0)
    assert only("rough-1").tolerance == pytest.approx(2e-8)


def test_points_of_testers_and_meters() -> None:
    made, problems = read(
        """
testers:
  T1:
    title: t
    orifice: 1 mm
    gauge_class: 0.25 psi
    calibrations:
      - on: 2026-01-12
        due: 2027-01-12
        checks: [{at: 80 psig, found: 79.9 psig, gauge: supply}]
  T2:
    title: t
    orifice: 1 mm
    gauge_class: 0.5 psi
    scale: percent
    calibrations:
      - on: 2026-01-12
        due: 2027-01-12
        tolerance: 1 %
        checks: [{at: 80 psig, found: 80 psig, gauge: supply}, {at: 20 %, found: 18 %}]
meters:
  M1:
    title: m
    principle: positive-displacement
    scale: actual
    calibrations:
      - on: 2026-01-12
        due: 2027-01-12
        tolerance: 1.5 %
        checks: [{at: 40 L/min, found: 41 L/min}]
  M2:
    title: m
    principle: positive-displacement
    scale: actual
    calibrations:
      - on: 2026-01-12
        due: 2027-01-12
        tolerance: 2 L/min
        checks: [{at: 40 L/min, found: 41 L/min}]
"""
    )
    assert problems == []
    supply, percent = made.testers["T2"].calibrations[0].checks
    assert made.testers["T1"].calibrations[0].checks[0].tolerance == pytest.approx(0.25 * PSI)
    assert supply.tolerance == pytest.approx(0.5 * PSI)
    assert (percent.at, percent.found, percent.tolerance) == (0.2, 0.18, 0.01)
    first, second = (made.meters[name].calibrations[0].checks[0] for name in ("M1", "M2"))
    assert first.tolerance == pytest.approx(0.6 * LPM)
    assert second.tolerance == pytest.approx(2 * LPM)
    doubts = calibrated.in_doubt(made)
    assert list(doubts) == ["T2", "M1"]
    # per cent are of the cylinder's gauge, whose error says nothing of the supply's
    assert [(each.gauge, each.left) for each in doubts["T2"]] == [("cylinder", False), ("cylinder", True)]
    ((at, off),) = doubts["T2"][0].errors
    assert at == 0.2
    assert off == pytest.approx(-0.02)


def point(at: float, found: float | None = None, left: float | None = None, gauge: str = "") -> CheckPoint:
    return CheckPoint(at, found, left, gauge, 1.0)  # type: ignore[arg-type]


def on(day: str, *checks: CheckPoint) -> Calibration:
    return Calibration(day, "2099-01-01", checks=checks)


def tool(*calibrations: Calibration) -> Tool:
    return Tool("G", "gauge", "micrometer", 1.0, calibrations)


def test_readings_since_the_last_good_check_are_in_doubt() -> None:
    one = tool(
        on("2026-03-01", point(10, 12, 10), point(0, 0.5, 0.0)),  # found bad, left good
        on("2026-01-01", point(10, 10.5)),  # found good and left alone; written out of order
        on("2026-02-01"),  # nobody wrote down what it showed
    )
    (doubt,) = calibrated.doubts(one)
    assert (doubt.after, doubt.until, doubt.gauge, doubt.left) == ("2026-01-01", "2026-03-01", "", False)
    assert doubt.errors == ((0, 0.5), (10, 2))
    assert [doubt.error(at) for at in (-5, 0, 5, 10, 50)] == [0.5, 0.5, 1.25, 2, 2]
    days = ("2026-01-01", "2026-01-02", "2026-03-01", "2026-03-02")
    assert [doubt.holds(day) for day in days] == [False, True, True, False]
    assert calibrated.unknowns(one) == (calibrated.Unknown("2026-01-01", "2026-02-01", "G"),)


def test_without_a_good_check_before_it_is_in_doubt_since_it_was_first_there() -> None:
    (doubt,) = calibrated.doubts(tool(on("2026-01-01"), on("2026-03-01", point(10, 8, 10))))
    assert (doubt.after, doubt.until) == ("", "2026-03-01")
    assert doubt.holds("1999-01-01")


def test_what_was_left_beyond_tolerance_is_in_doubt_until_it_is_checked_again() -> None:
    one = tool(on("2026-01-01", point(10, 12)), on("2026-02-01"), on("2026-03-01", point(10, 10, 10)))
    before, after = calibrated.doubts(one)
    assert (before.after, before.until, before.left) == ("", "2026-01-01", False)
    assert (after.after, after.until, after.left) == ("2026-01-01", "2026-03-01", True)
    (*_, still) = calibrated.doubts(tool(on("2026-01-01", point(10, 10, 13))))
    assert (still.after, still.until, still.errors) == ("2026-01-01", "", ((10, 3),))
    assert still.holds("2098-01-01")


def test_a_point_on_its_tolerance_is_within_it_and_the_larger_of_two_errors_counts() -> None:
    assert calibrated.doubts(tool(on("2026-01-01", point(10, 11), point(-10, -11)))) == ()
    (doubt, _) = calibrated.doubts(tool(on("2026-01-01", point(10, 11.5), point(10, 8.0))))
    assert doubt.errors == ((10, -2),)


def test_each_gauge_of_a_tester_by_itself() -> None:
    both = model.Tester("T", "t", 1e-3, 1.0, calibrations=(on("2026-01-01", point(10, 12, 10)),))
    (doubt,) = calibrated.doubts(both)
    assert doubt.gauge == ""
    apart = (on("2026-01-01", point(10, 10, gauge="supply")), on("2026-02-01", point(10, 12, 10)))
    found = calibrated.doubts(model.Tester("T", "t", 1e-3, 1.0, calibrations=apart))
    assert [(each.gauge, each.after) for each in found] == [("cylinder", ""), ("supply", "2026-01-01")]


def test_nothing_on_record_puts_nothing_in_doubt() -> None:
    assert calibrated.doubts(tool()) == calibrated.doubts(tool(on("2026-01-01"))) == ()
    assert calibrated.unknowns(tool()) == ()
    assert calibrated.doubts(Meter("M", "m", "float", "actual", calibrations=(on("2026-01-01"),))) == ()


def test_a_thermocouple_counts_among_the_thermometers() -> None:
    made, _ = read(TOOLS)
    assert made.limit_of("thermometer") == 1.5
    assert made.limit_of("torque-cell") == 0.4


# ---- what is due ----------------------------------------------------------------------------------------------------

NAMED = """
meters:
  M1: {title: meter, principle: float, scale: actual, calibrations: [{on: 2026-01-19, due: 2027-01-19}]}
  M2: {title: no calibration, principle: float, scale: actual}
tools:
  G1: {title: overdue, kind: feeler, limit: 1 um, calibrations: [{on: 2025-01-10, due: 2026-01-10}]}
  G2: {title: done again, kind: feeler, limit: 1 um, calibrations: [{on: 2026-03-01, due: 2028-03-01}, {on: 2025-01-10, due: 2026-01-10}]}
  G3: {title: withdrawn, kind: feeler, limit: 1 um, until: 2026-02-01, calibrations: [{on: 2025-01-10, due: 2026-01-10}]}
"""  # noqa: E501 # an instrument a line


def test_overdue_ones_first_then_the_next_due() -> None:
    made, problems = read(NAMED)
    assert problems == []

    def due(day: str, within: int) -> list[tuple[str, int]]:
        return [(each.instrument, each.days) for each in calibrated.due(made, day, within)]

    # 10 days of November, 31 of December, 19 of January; 10 January to 20 November is day 10 to day 324 of the year
    assert due("2026-11-20", 60) == [("G1", -314), ("M1", 60)]
    assert due("2026-11-19", 60) == [("G1", -313)]
    assert due("2026-01-10", 0) == [("G1", 0), ("G3", 0)]
    assert due("2026-02-01", 0) == [("G1", -22)]  # G3 has gone
    assert due("2027-01-20", 0) == [("G1", -375), ("M1", -1)]
