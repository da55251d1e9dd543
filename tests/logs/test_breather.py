"""Crankcase pressure against blow-by of a run of 130 h: the breather told from the rings, from the log to the words."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from logs.long_run import STEP, Columns, concluded, laid, values, words

RULE = "crankcase pressure against blow-by"
CYCLES = 130


def cycled(text: str) -> str:
    """The durability run in cycles of 50 min at one point and 10 min at another, its wander stated."""
    old = "      - {time: 40 h, speed: 1800 rpm, torque: 140 N m}\n"
    assert text.count(old) == 1
    new = (
        "      - {time: 50 min, speed: 1800 rpm, torque: 140 N m}\n"
        "      - {time: 10 min, speed: 1300 rpm, torque: 60 N m, reference_point: true}\n"
    )
    text = text.replace(f"    schedule:\n{old}", f"    repeat: {CYCLES}\n    schedule:\n{new}")
    return text.replace("  held: 90 %\n", "  held: 90 %\n  wander: {time_constant: 1 h}\n", 1)


@pytest.mark.parametrize(
    ("narrower", "more", "word"),
    [(0.3, 0.0, "breather narrows"), (0.0, 0.3, "more past the rings"), (0.0, 0.0, "no change shown")],
)
def test_the_breather_is_told_from_the_rings(tmp_path: Path, narrower: float, more: float, word: str) -> None:
    """Pressure as the square of blow-by, by the law of an orifice; one of them drifts by so much in 100 h."""

    def change(columns: Columns) -> None:
        hours = columns["Time"] / 3600
        low = hours % 1 >= 50 / 60
        columns["Speed"] *= np.where(low, 1300 / 1800, 1.0)
        columns["Brake torque"] *= np.where(low, 60 / 140, 1.0)
        columns["Blow-by"] *= np.where(low, 0.5, 1.0) * (1 + more * hours / 100)
        columns["Crankcase"] *= 10 * (columns["Blow-by"] / 24) ** 2 * (1 + narrower * hours / 100)

    found = concluded(laid(tmp_path, change, CYCLES, edit=cycled), "breather")
    assert words(found, RULE) == {"": word}
    assert values(found, "breather.power")[""] == pytest.approx(2.0, abs=0.02)
    slope = values(found, "breather.slope")[""]
    assert isinstance(slope, float)
    assert slope == pytest.approx(100 * np.log1p(narrower * CYCLES / 100) / CYCLES * 100, abs=4)
    assert STEP == 10


def test_one_point_of_the_schedule_tells_nothing(tmp_path: Path) -> None:
    found = concluded(laid(tmp_path), "breather")
    verdict = next(v for v in found.verdicts if v.rule == RULE and v.key.engine == "A1")
    assert (verdict.word, verdict.reason) == ("cannot tell", "flow-does-not-vary")
