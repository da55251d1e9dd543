"""Compression: published tables and rules, chance among equal cylinders by simulation, intervals by coverage."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import studentized_range
from simulate import compression as simulated

from sitegen.methods import among
from sitegen.methods import compression as method
from sitegen.vocabulary import Refused


def test_a_makers_table() -> None:
    """A maker's table: 1035 kPa highest, lowest at least 70 %, printed as 725 kPa."""
    assert 5 * round(method.least_allowed(1035, 0.70) / 5) == 725


@pytest.mark.parametrize(("feet", "factor"), [(1000, 0.97), (2000, 0.94), (3000, 0.92)])
def test_the_rule_of_thumb_for_elevation(feet: float, factor: float) -> None:
    """About 3 % a 1000 ft (common practice, no source), by the standard atmosphere (ISO 2533: 288.15 K, 6.5 K/km)."""
    ambient = 101_325.0 * (1 - 0.0065 * 0.3048 * feet / 288.15) ** 5.25588
    read = 1200e3 / method.in_standard_air(1200e3, ambient, 101_325.0)
    assert 1200e3 * read == pytest.approx(1200e3 * factor, rel=0.03)
    assert method.in_standard_air(1200e3 * ambient / 101_325.0, ambient, 101_325.0) == pytest.approx(1200e3)


@pytest.mark.parametrize(("cylinders", "below", "middle"), [(4, 0.06, 0.94), (6, 0.13, 0.93)])
def test_equal_cylinders_read_apart(cylinders: int, below: float, middle: float) -> None:
    """Of 200 000 simulated engines with equal cylinders at 3 %, and by the range distribution of scipy."""
    draws = np.exp(np.random.default_rng(11).normal(0, 0.03, (200_000, cylinders)))
    ratio = draws.min(axis=1) / draws.max(axis=1)
    found = method.equal_cylinders_below(0.90, cylinders)
    assert found == pytest.approx(float(np.mean(ratio < 0.90)), abs=0.003)
    assert found == pytest.approx(float(studentized_range.sf(-math.log(0.9) / 0.03, cylinders, np.inf)), abs=1e-5)
    assert round(found, 2) == below
    assert round(float(np.median(ratio)), 2) == middle
    assert method.equal_cylinders_below(0.98, cylinders) > 0.9


def crank(rpm: float = 22.0, **said: object) -> method.Cranked:
    return method.Cranked(rpm, **said)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("groups", "code"),
    [
        ([[crank()], [crank(math.nan)]], "cranking-not-recorded"),
        ([[crank(20.0)], [crank(21.1)]], "cranking-differs"),
        ([[crank(throttle="open")], [crank(throttle="closed")]], "throttle-differs"),
        ([[crank(strokes=4)], [crank(strokes=7)]], "strokes-differ"),
        ([[crank(oil=300.0)], [crank(oil=320.0)]], "warmth-differs"),
    ],
)
def test_what_was_not_cranked_alike_is_not_set_beside(groups: list[list[method.Cranked]], code: str) -> None:
    with pytest.raises(Refused) as told:
        method.alike(groups)
    assert told.value.code == code


def test_what_was_cranked_alike_is() -> None:
    method.alike([[crank(20.0, strokes=6), crank(21.9, strokes=6)], [crank(21.5, strokes=8, throttle="open")]])


@pytest.mark.parametrize("area", [0.2e-6, 0.5e-6, 1e-6])
def test_the_limits_of_cranking_follow_from_a_simulated_cylinder(area: float) -> None:
    """What is let through moves the pressure by less than equal cylinders scatter; what is kept out, by more."""
    usual = simulated.Cranking()
    pressure = simulated.held(area, usual)
    slow = simulated.held(area, simulated.slower(usual, 1 / method.SPEED_APART))
    assert 0.006 < math.log(pressure / slow) < 0.017 < method.EQUAL
    six, seven, three = (simulated.held(area, simulated.Cranking(strokes=n)) for n in (method.FILLED, 7, 3))
    assert abs(math.log(seven / six)) < 0.01 < abs(math.log(six / three))
    throttled = simulated.held(area, simulated.Cranking(filled=0.6))
    assert throttled < 0.7 * pressure
    oiled = simulated.held(area, simulated.Cranking(oil=5e-6))
    assert math.log(oiled / pressure) == pytest.approx(0.10, abs=0.01)  # 5 mL in 63 mL, and nothing sealed


# ---- ratios to the best and the lowest -----------------------------------------------------------------------------


def coverage(draws: int, cylinders: int, repeats: int, apart: float, seed: int = 5) -> dict[str, float]:
    """How often the interval of each ratio holds; scatter of one, equal cylinders or `apart` (sd of the truth)."""
    chance = np.random.default_rng(seed)
    kept, spread, change, n = 0, 0, 0, 0
    for _ in range(draws):
        truth = chance.normal(0, apart, cylinders)
        read = truth[:, None] + chance.normal(0, 1.0, (cylinders, repeats)) * 0.01
        logs = [float(each) for each in read.mean(axis=1)]
        scatter = among.pooled([list(each) for each in read])
        for found, true in zip(
            among.over_lowest(logs, [repeats] * cylinders, scatter), truth - truth.min(), strict=True
        ):
            kept += (found.low or 0.0) <= math.exp(true) <= (found.high or math.inf)
            n += 1
        whole = among.highest_over_lowest(logs, [repeats] * cylinders, scatter)
        spread += (whole.low or 0.0) <= math.exp(truth.max() - truth.min()) <= (whole.high or math.inf)
        change += abs(logs[0] - logs[1] - (truth[0] - truth[1])) <= among.half(scatter, (repeats, repeats))
    return {"to best": kept / n, "lowest": spread / draws, "change": change / draws}


@pytest.mark.parametrize(("cylinders", "repeats", "apart"), [(4, 2, 0.0), (4, 2, 0.03), (6, 3, 0.01)])
def test_intervals_hold(cylinders: int, repeats: int, apart: float) -> None:
    found = coverage(2000, cylinders, repeats, apart)
    assert min(found.values()) > 0.94, found
    assert found["change"] < 0.98, found


def test_a_change_counts_beyond_twice_root_two_scatters() -> None:
    """Two single readings: 2·√2·s where the scatter is well known."""
    assert among.half(among.Scatter(0.01, math.inf), (1, 1)) == pytest.approx(2 * math.sqrt(2) * 0.01)
    with pytest.raises(Refused):
        among.pooled([[1.0], [2.0]])


def main() -> None:
    """`python -m methods.test_compression`, from `tests`: the coverage of ratios, at length."""
    for cylinders, repeats, apart in ((4, 2, 0.0), (4, 2, 0.01), (4, 2, 0.03), (6, 2, 0.01), (8, 3, 0.03), (2, 2, 0.0)):
        found = coverage(10_000, cylinders, repeats, apart)
        print(cylinders, repeats, apart, {name: f"{100 * share:.1f} %" for name, share in found.items()})


if __name__ == "__main__":
    main()
