"""Intervals from profiles hold what they say, on few simulated records; the full tables: surface_coverage.py.

A run tries a case of each claim, `--tables` all of them.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from house import one_of
from methods.surface_coverage import (
    ALARMS,
    NOMINAL,
    WITHOUT,
    Floats,
    Ring,
    Section,
    pool,
    ring_of,
    roughness_of,
    section_of,
    wear_of,
)

WEAR = 0.3


@pytest.fixture(scope="module")
def pools() -> dict[tuple[float, bool], dict[str, Floats]]:
    return {(wear, reversal): pool(120, wear, reversal) for wear in (0.0, WEAR) for reversal in (False, True)}


def room(draws: int, of: float = NOMINAL) -> float:
    return 3 * math.sqrt(of * (1 - of) / draws)


@pytest.mark.parametrize("worn", one_of((0.0, WEAR), bool))
def test_means_of_roughness_hold(pools: dict[tuple[float, bool], dict[str, Floats]], worn: float) -> None:
    # a pool of 120 traces is its own population; its shape wanders by some 1 % of coverage
    tally = roughness_of(pools[worn, False], 5, 4000)
    for name in set(tally.held) - {*WITHOUT, "valleys"}:
        assert tally.share(name) > NOMINAL - room(4000) - 0.012, name


@pytest.mark.parametrize("repeats", one_of([(5, 5), (3, 3), (5, 2)], lambda repeats: repeats == (5, 5)))
def test_wear_of_the_bore_holds_and_is_not_seen_where_there_is_none(
    pools: dict[tuple[float, bool], dict[str, Floats]], repeats: tuple[int, int]
) -> None:
    for reversal, names in ((False, ("valleys", "plateau")), (True, ("step",))):
        none = wear_of(pools[0.0, reversal], pools[0.0, reversal], 0.0, repeats, 2000)
        some = wear_of(pools[0.0, reversal], pools[WEAR, reversal], WEAR, repeats, 2000)
        for name in names:
            assert none.share(name) > NOMINAL - room(2000) - 0.01, name
            assert none.alarms(name) < ALARMS + room(2000, 0.025), name
            # a pool's mean is itself known to a tenth of the scatter of one trace only: twice that may be missing
            assert some.share(name) > NOMINAL - room(2000) - 0.03, name


def test_five_traces_tell_bore_wear_better_than_one(pools: dict[tuple[float, bool], dict[str, Floats]]) -> None:
    one, other = (pools[wear, False]["valleys"] for wear in (0.0, WEAR))
    assert 0.15 < math.sqrt(one.var() + other.var()) < 0.30  # um: a single pair of traces cannot show 0.3 um
    assert float(one.mean() - other.mean()) == pytest.approx(WEAR, abs=0.06)


@pytest.mark.parametrize(
    "case",
    one_of(
        [Section(1.0), Section(1.0, drawn_out=15.0), Section(0.4, step=0.5), Section(1.0, shift=0.02)],
        lambda case: case.step == 0.5,
    ),
)
def test_ring_faces_hold(case: Section) -> None:
    tally = section_of(case, 250)
    assert tally.refused == 0
    for name in ("depth", "area", "width"):
        assert tally.share(name) > NOMINAL - tally.tolerance(name, NOMINAL), name


@pytest.mark.parametrize(
    "case",
    one_of([Section(0.0), Section(0.0, drawn_out=0.0), Section(0.0, rough=0.1)], lambda case: case.rough == 0.1),
)
def test_ring_faces_without_wear_show_none(case: Section) -> None:
    tally = section_of(case, 400)
    for name in ("depth", "area"):
        assert tally.alarms(name) < ALARMS + room(400, 0.025), name
    assert "width" not in tally.held


def test_a_band_too_shallow_has_no_edges() -> None:
    # 0.1 um under roughness of 0.03 um: in most records nothing tells where the band ends
    assert len(section_of(Section(0.1), 50).held.get("width", ())) < 10


@pytest.mark.parametrize(
    "case", one_of([Ring(1.0, 0.5, 25.0), Ring(1.0, 2.0, 25.0)], lambda case: case == Ring(1.0, 2.0, 25.0))
)
def test_volume_holds_though_wear_peaks_at_the_gap(case: Ring) -> None:
    tally = ring_of(case, 25)
    assert tally.share("volume") > 0.9


def test_a_flank_much_shorter_than_its_roughness_is_refused() -> None:
    tally = section_of(Section(1.0, drawn_out=40.0, flank=0.06), 20)
    assert tally.refused > 15


def test_simulated_width_and_area_are_those_of_the_circle() -> None:
    # the harness itself: worn = min(barrel, -depth) integrated on a fine grid, against w = 2 sqrt(2 R d), A = 2/3 w d
    case = Section(1.0)
    x = np.linspace(0, case.wide, 200_001)
    barrel = -np.square(x - case.wide / 2) / (2 * case.barrel) * 1000
    worn = barrel - np.minimum(barrel, -case.depth)
    assert float(np.trapezoid(worn, x)) == pytest.approx(case.area, rel=1e-4)
    assert float(np.ptp(x[worn > 0])) == pytest.approx(case.width, rel=1e-4)
