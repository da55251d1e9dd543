"""Thickness by crater against geometry worked another way; intervals of lots against lots drawn at random."""

from __future__ import annotations

import math

import numpy as np
import pytest

from sitegen.methods import layers
from sitegen.methods.layers import Span
from sitegen.vocabulary import Refused

NOMINAL = 0.944  # 95 % less what the draws cannot tell apart


def test_a_crater_on_a_flat_face_by_hand() -> None:
    # EN 1071-2 and ISO 26423 (from memory): t = x y / b, x = (D − d)/2, y = (D + d)/2:
    # a ball of 25.4 mm, diameters of 0.70 and 0.40 mm: 0.15 · 0.55 / 25.4 = 3.2480 um
    assert 1e6 * layers.crater(0.70e-3, 0.40e-3, 25.4e-3) == pytest.approx(3.2480, rel=1e-3)
    # M. G. Gee et al., Wear 259 (2005) 27, and ISO 26424: a crater b across has the volume π b⁴ / (64 R)
    across, radius = 0.9e-3, 12.7e-3
    depth = layers.crater(across, 1e-9, 2 * radius)
    assert math.pi * depth**2 * (3 * radius - depth) / 3 == pytest.approx(math.pi * across**4 / (64 * radius), rel=1e-3)


@pytest.mark.parametrize(("thick", "deep"), [(6e-6, 8e-6), (6e-6, 22e-6), (15e-6, 23e-6)])
def test_a_crater_around_a_ring_by_circles_that_cut_each_other(thick: float, deep: float) -> None:
    ring, ball = 43.75e-3, 5e-3
    apart = ring - deep + ball  # centre of the ball from that of the ring

    def across(radius: float) -> float:  # of the points the ball has in common with a circle about the ring's centre
        along = (apart**2 + radius**2 - ball**2) / (2 * apart)
        return 2 * math.sqrt(radius**2 - along**2)

    found = layers.crater(across(ring), across(ring - thick), 2 * ball, ring)
    assert found == pytest.approx(thick, rel=2e-3)
    flat = layers.crater(across(ring), across(ring - thick), 2 * ball)
    assert flat < 0.92 * thick  # what a face taken for flat would lose


def test_the_error_of_a_crater_is_that_of_its_diameters_moved() -> None:
    where = 0.93e-3, 0.79e-3, 10e-3
    limit = 2e-6
    for radius in (math.inf, 43.75e-3):
        moved = [
            layers.crater(where[0] + one, where[1] + other, where[2], radius) for one, other in ((limit, 0), (0, limit))
        ]
        by_hand = math.hypot(*(each - layers.crater(*where, radius) for each in moved))
        assert layers.crater_error(*where, limit, radius) == pytest.approx(by_hand, rel=0.01)


def test_two_rings_are_the_least() -> None:
    with pytest.raises(Refused, match="one-ring-cut"):
        layers.of_lot([[6.0, 6.1]])
    with pytest.raises(Refused, match="one-place"):
        layers.of_ring([6.0])
    # two rings a place each, by hand: mean 6.1, sd 0.141, t(1) 12.706: 12.706 · 0.1414 · sqrt(1.5)
    found = layers.of_lot([[6.0], [6.2]])
    assert found.value == pytest.approx(6.1)
    assert found.half == pytest.approx(2.2007, rel=1e-3)


@pytest.mark.parametrize(
    ("rings", "places", "within"),
    [(2, 1, 0.0), (2, 2, 0.5), (3, 2, 0.5), (5, 2, 1.0), (5, 2, 3.0), (8, 1, 1.0), (5, 3, 0.2), (3, 4, 2.0)],
)
def test_the_interval_holds_a_place_of_a_ring_that_was_not_cut_and_what_wear_leaves(
    rings: int, places: int, within: float
) -> None:
    random, draws = np.random.default_rng(1000 * rings + 10 * places + int(within)), 3000
    held = left = sure = 0
    for _ in range(draws):
        lot = 6.0 + 0.3 * random.standard_normal(rings + 1)[:, None]
        lot = lot + 0.3 * within * random.standard_normal((rings + 1, max(places, 5)))
        bias = random.uniform(-0.1, 0.1)  # of the microscope, the same at every reading
        found = layers.of_lot([(each[:places] + bias).tolist() for each in lot[:-1]], 0.1)
        thick = Span(found.value, found.value - found.half, found.value + found.half)
        ring = lot[-1, :5]
        held += thick.low <= ring[0] <= thick.high
        # wear deeper at the gap, read with an error of its own, at five angles
        wear = np.array([6.3, 6.0, 5.9, 6.0, 6.3])
        read = wear + 0.05 * random.standard_normal(5)
        at = int(np.argmax(read))
        reach = 1.96 * 0.05
        least = layers.left(thick, Span(read[at], read[at] - reach, read[at] + reach))
        left += least.low <= ring[at] - wear[at] <= least.high
        sure += least.high < 0 < ring[at] - wear[at] or least.low > 0 > ring[at] - wear[at]
    assert held / draws >= NOMINAL - 2 * math.sqrt(0.05 / draws)
    assert left / draws >= NOMINAL - 2 * math.sqrt(0.05 / draws)
    assert sure / draws <= 0.05


def test_shares_that_are_through() -> None:
    places = [Span(1, 0.5, 1.5), Span(0.2, -0.3, 0.7), Span(-0.1, -0.6, 0.4), Span(-1, -1.5, -0.5)]
    assert layers.through(places) == Span(50, 25, 75)
    assert layers.together([Span(6, 5, 7), Span(15, 14, 17)]) == Span(21, 19, 24)
    found = layers.left(Span(6, 5, 7), Span(2, 1, 4))
    assert found.low == pytest.approx(4 - math.sqrt(5))
    assert found.high == pytest.approx(4 + math.sqrt(2))
    assert found.value == 4
