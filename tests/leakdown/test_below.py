"""Leak areas known only to lie below a limit: how many a sentence rests on is said, and no one stands out of them."""

from __future__ import annotations

from pathlib import Path

import pytest
from leakdown import test_two_checks as two_checks
from leakdown.test_percent import text_of
from leakdown.test_two_checks import CURVE

from sitegen.streams.leakdown.history import stands_out
from sitegen.vocabulary import Key, Value


def test_a_value_stands_out_only_of_what_others_may_be() -> None:
    top = Value("leakdown.crankcase", Key("B1", 1), 0.5, 0.45, 0.55)
    other = Value("leakdown.crankcase", Key("B1", 2), 0.2, 0.15, 0.25)

    def limit(high: float) -> Value:
        return Value("leakdown.crankcase", Key("B1", 3), None, high=high, status="below")

    assert stands_out([top, other]) == top
    assert stands_out([top, other, limit(0.4)]) == top
    assert stands_out([top, limit(0.4)]) == top
    assert stands_out([top, other, limit(0.5)]) is None
    assert stands_out([limit(0.4), limit(0.5)]) is None


def test_pages_say_how_many_cylinders_have_a_leak_area(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Cylinder 2 of B4 reads 79.9 of 80 psi at the end, which is less than its gauges tell apart."""
    last = {**{phase: (psi, psi) for phase, psi in CURVE.items()}, "run-in-4": (78.0, 79.86)}
    home = two_checks.published(tmp_path, monkeypatch, last)
    build = text_of(home / "site/programs/pump/b4/index.html")
    assert "Cylinder 1 leaks 0.26" in build
    assert "; the other below 0.1" in build
    program = text_of(home / "site/programs/pump/index.html")
    assert "of eight, the other below " in program


def test_the_only_cylinder_with_a_leak_area_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Cylinder 1 lies on the edge of what is told: it stands out of nothing."""
    last = {**{phase: (psi, psi) for phase, psi in CURVE.items()}, "run-in-4": (79.2, 79.86)}
    home = two_checks.published(tmp_path, monkeypatch, last)
    build = text_of(home / "site/programs/pump/b4/index.html")
    assert "Of two cylinders only cylinder 1 gives a leak area: 0." in build
    assert ", one below 0." in build


def test_what_later_checks_leave_open_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    last = {**{phase: (psi, psi) for phase, psi in CURVE.items()}, "run-in-4": (79.86, 79.86)}
    home = two_checks.published(tmp_path, monkeypatch, last)
    build = text_of(home / "site/programs/pump/b4/index.html")
    assert "Later the leak is only known to lie below " in build
    assert " at run-in 4 h." in build
