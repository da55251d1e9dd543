"""Wear by distance and time: scaled by hand, bounds and flags kept, nothing without a distance."""

from __future__ import annotations

import pytest
from house import PROGRAMS

from sitegen import workflow
from sitegen.crossing import wear_rates
from sitegen.program.model import Program
from sitegen.vocabulary import Book, Key, Value

RING = Key("B4", 2, "graded-crn", "teardown", "top")
WHOLE = Key("B4", 0, "graded-crn", "teardown")
LOST = Value("wear.mass_loss", RING, 3.0, 2.0, 4.0, n=2, of="reading", flags=frozenset({"balance-alone"}))
KM = Value("exposure.km", WHOLE, 800.0, flags=frozenset({"from-schedule"}))
HOURS = Value("exposure.hours", WHOLE, 40.0)


@pytest.fixture(scope="module")
def program() -> Program:
    folder, _ = workflow.programs(PROGRAMS)
    assert folder is not None
    return next(each for each in folder.programs if each.id == "pump-rings-2026")


def rates(program: Program, *values: Value) -> dict[str, Value]:
    book = Book({(value.measure, value.key): value for value in values}, wear_rates.STEP.needs)
    return {each.measure: each for each in wear_rates.run(program, "B4", {}, book) if isinstance(each, Value)}


def test_mass_by_distance_and_time(program: Program) -> None:
    found = rates(program, LOST, KM, HOURS)
    km, hours = found["wear.mass_per_km"], found["wear.mass_per_hour"]
    assert (km.value, km.low, km.high) == pytest.approx((3.75, 2.5, 5.0))  # 3 mg in 800 km
    assert (hours.value, hours.low, hours.high) == pytest.approx((7.5, 5.0, 10.0))  # 3 mg in 40 h
    assert km.flags == {"balance-alone", "from-schedule"}
    assert km.key == RING


def test_a_bound_stays_a_bound_and_angles_are_no_ring(program: Program) -> None:
    below = Value("ring.face_wear", RING, high=0.4, status="below", reason="below-detection-of-traces")
    angle = Value("ring.face_wear", RING._replace(at="top/20-deg"), 0.9, 0.8, 1.0)
    found = rates(program, below, angle, KM, HOURS)
    assert set(found) == {"wear.face_per_km", "wear.face_per_hour"}
    assert (found["wear.face_per_km"].status, found["wear.face_per_km"].value) == ("below", None)
    assert found["wear.face_per_km"].high == pytest.approx(0.5)


def test_no_rate_without_a_distance(program: Program) -> None:
    assert {each.reason for each in rates(program, LOST).values()} == {"no-distance-slid"}
