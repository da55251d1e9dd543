"""Profiles: filters, heights, material ratio, wear of bore and ring face, wear rate, ties, against outside numbers.

Sources beside the checks. Those marked exact follow from the definition and need no code of ours.
"""

from __future__ import annotations

import math
from dataclasses import astuple

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

from sitegen.methods import (
    bore_wear,
    material_ratio,
    profile,
    profile_filters,
    ring_face,
    roughness,
    ties,
    wear_rate,
)
from sitegen.methods.material_ratio import Curve
from sitegen.vocabulary import Refused

Floats = NDArray[np.float64]

STEP = 1e-6
X = np.arange(0, 8e-3, STEP)
MIDDLE = slice(2000, 6000)


def places(count: int, step: float) -> Floats:
    return np.asarray(step * np.arange(count), dtype=np.float64)


def sine(wavelength: float, amplitude: float = 1e-6) -> np.ndarray:
    return amplitude * np.sin(2 * np.pi * X / wavelength)


# ---- filters --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("wavelength", [0.2e-3, 0.4e-3, 0.8e-3, 1.6e-3])
def test_gaussian_passes_what_the_standard_says(wavelength: float) -> None:
    # ISO 16610-21: a sine of wavelength l keeps 1 - 2^-((lc/l)^2) as roughness (exact); 0.4 mm at 0.8 mm: 0.9375
    z = sine(wavelength)
    rough = (z - profile_filters.gaussian(z, STEP, 0.8e-3))[MIDDLE]
    assert rough.max() / 1e-6 == pytest.approx(1 - 2 ** -((0.8e-3 / wavelength) ** 2), abs=2e-4)


def test_regression_filter_passes_half_at_its_cutoff() -> None:
    # ISO 16610-31: with nothing weighted down, half of a sine of the cutoff passes: (1 + t) e^-t = 1/2
    t = math.pi * profile_filters.GAMMA**2
    assert (1 + t) * math.exp(-t) == pytest.approx(0.5, abs=1e-12)
    assert pytest.approx(0.7309, abs=5e-5) == profile_filters.GAMMA  # as the standard prints it; from memory


def test_robust_mean_line_is_not_pulled_into_grooves() -> None:
    # plateaus at zero, a fifth of the length in grooves 3 um deep: the mean line of the plateaus is zero (exact)
    random = np.random.default_rng(3)
    z = 0.05e-6 * random.standard_normal(len(X))
    for at in range(150, len(X) - 150, 100):
        z[at : at + 20] -= 3e-6
    robust = profile_filters.robust_gaussian(z, STEP, 0.8e-3)[MIDDLE]
    plain = profile_filters.gaussian(z, STEP, 0.8e-3)[MIDDLE]
    assert abs(robust).max() < 0.03e-6
    assert plain.mean() == pytest.approx(-0.6e-6, abs=0.03e-6)


def test_two_steps_leave_of_the_grooves_their_share_squared() -> None:
    # exact: plateaus at zero, grooves 3 um deep over a fifth of the length and short against the cutoff. The first line
    # lies at 1/5 of 3 um; with the grooves filled up to it the second lies at 1/5 of that, 0.12 um below the plateaus
    z = np.where(np.arange(len(X)) % 100 < 20, -3e-6, 0.0)
    first = profile_filters.gaussian(z, STEP, 0.8e-3)[MIDDLE]
    second = profile_filters.two_step(z, STEP, 0.8e-3)[MIDDLE]
    assert first == pytest.approx(-0.6e-6, abs=1e-9)
    assert second == pytest.approx(-0.12e-6, abs=1e-9)


def test_two_steps_change_nothing_where_nothing_lies_below() -> None:
    # a straight line is its own mean line, so nothing is filled up (exact)
    z = 1e-3 * X
    assert profile_filters.two_step(z, STEP, 0.8e-3)[MIDDLE] == pytest.approx(z[MIDDLE], abs=1e-12)


def test_robust_filter_is_the_weighted_parabola_of_numpy_at_every_point() -> None:
    # ISO 16610-31 as it is written (4.4478 from memory: 3/0.6745, three standard deviations of a normal profile): at
    # each point polyfit of degree two, weights the Gaussian times the biweights of what lies off the final line;
    # numpy's own least squares, no convolution
    z = np.random.default_rng(4).standard_normal(3000) * 0.2e-6
    z[::40] -= 2e-6
    line = profile_filters.robust_gaussian(z, STEP, 0.8e-3)
    off = z - line
    own = np.square(np.clip(1 - np.square(off / (4.4478 * np.median(np.abs(off)))), 0, None))
    for at in (0, 37, 900, 1500, 2999):
        u = (np.arange(3000) - at) * STEP
        weights = own * np.exp(-np.pi * np.square(u / (0.7309 * 0.8e-3)))
        fitted = np.polyfit(u * 1e3, z, 2, w=np.sqrt(weights))[-1]
        assert line[at] == pytest.approx(fitted, abs=2e-9)


def test_robust_filter_follows_a_parabola_to_the_ends() -> None:
    # exact: a regression of second degree reproduces a parabola wherever it is, ends included
    z = 1e-6 * (X / 4e-3 - 1) ** 2
    assert profile_filters.robust_gaussian(z, STEP, 0.8e-3) == pytest.approx(z, abs=1e-11)


def test_a_profile_shorter_than_the_cutoff_is_refused() -> None:
    with pytest.raises(Refused, match="trace-short"):
        profile_filters.robust_gaussian(np.zeros(100), STEP, 0.8e-3)


# ---- heights --------------------------------------------------------------------------------------------------------


def test_heights_of_sine_triangle_and_square() -> None:
    # textbook integrals: sine Ra 2A/pi, Rq A/sqrt 2, Rku 1.5; triangle Ra A/2, Rku 1.8; square Ra = Rq = A
    phase = (np.arange(100_000) + 0.5) / 1000
    wave = roughness.heights(np.sin(2 * np.pi * phase))
    assert (wave.ra, wave.rq, wave.rku) == pytest.approx((2 / math.pi, 1 / math.sqrt(2), 1.5), rel=1e-4)
    assert wave.rsk == pytest.approx(0, abs=1e-9)
    assert (wave.rz, wave.rt) == pytest.approx((2, 2), rel=1e-4)
    triangle = roughness.heights(2 * np.abs(2 * (phase % 1) - 1) - 1)
    assert (triangle.ra, triangle.rku) == pytest.approx((0.5, 1.8), rel=1e-4)
    square = roughness.heights(np.sign(np.sin(2 * np.pi * phase)))
    assert (square.ra, square.rq) == pytest.approx((1, 1), rel=1e-6)


def test_skewness_and_kurtosis_are_those_of_scipy() -> None:
    z = np.random.default_rng(5).gamma(2.0, size=5000)
    found = roughness.heights(z)
    assert found.rsk == pytest.approx(stats.skew(z))
    assert found.rku == pytest.approx(stats.kurtosis(z, fisher=False))


# ---- material ratio -------------------------------------------------------------------------------------------------


def test_core_of_a_curve_of_straight_pieces() -> None:
    # by hand: the 40 % window lies on the middle piece, whose line meets 0 % at 0.7 and 100 % at -1.3
    known = Curve(np.array([0.0, 10.0, 80.0, 100.0]), np.array([1.7, 0.5, -0.9, -4.9]))
    found = material_ratio.core(known)
    assert (found.rk, found.rpk, found.rvk) == pytest.approx((2.0, 1.0, 3.6))
    assert (found.mr1, found.mr2) == pytest.approx((25 / 3, 82.0))


def test_core_of_normal_heights() -> None:
    # least squares in the middle 40 % of the normal distribution: Rk 2.574 sigma, Rpk = Rvk 0.945, Mr1 9.905 %
    normal = stats.norm.isf((np.arange(200_000) + 0.5) / 200_000)
    found = material_ratio.core(material_ratio.curve(normal))
    assert (found.rk, found.rpk, found.rvk) == pytest.approx((2.574, 0.945, 0.945), abs=2e-3)
    assert (found.mr1, 100 - found.mr2) == pytest.approx((9.905, 9.905), abs=0.02)


def test_core_by_the_secant_of_normal_heights() -> None:
    # the secant of the middle 40 % falls from the quantile of 0.3 to that of 0.7 (exact): 2.5 times as much over 100 %
    normal = stats.norm.isf((np.arange(200_000) + 0.5) / 200_000)
    found = material_ratio.core(material_ratio.curve(normal), secant=True)
    assert found.rk == pytest.approx(2.5 * 2 * stats.norm.ppf(0.7), abs=1e-4)  # 2.622 sigma
    assert found.mr1 == pytest.approx(100 * stats.norm.sf(found.rk / 2), abs=0.01)


def test_both_lines_of_a_curve_of_straight_pieces_are_one() -> None:
    known = Curve(np.array([0.0, 10.0, 80.0, 100.0]), np.array([1.7, 0.5, -0.9, -4.9]))
    assert astuple(material_ratio.core(known, secant=True)) == pytest.approx(astuple(material_ratio.core(known)))


def test_oil_volume() -> None:
    # V0 = Rvk (100 - Mr2) / 2000: 3.6 um and 82 % hold 0.0324 mm3 a cm2 (by hand)
    assert material_ratio.Core(0, 0, 3.6e-6, 0, 82.0).oil_volume == pytest.approx(0.0324)


def two_processes(random: np.random.Generator, count: int, sigma: float, rougher: float, place: float) -> Floats:
    """The lower of two random surfaces at every point; the plateaus' mean is zero, `place` that of the valleys'."""
    return np.asarray(
        np.minimum(sigma * random.standard_normal(count), place + rougher * random.standard_normal(count))
    )


@pytest.mark.parametrize(("sigma", "rougher", "share"), [(0.25, 1.5, 0.8), (0.05, 1.5, 0.8), (0.05, 1.0, 0.9)])
def test_probability_parameters_of_a_surface_made_of_two(sigma: float, rougher: float, share: float) -> None:
    # sigma of both processes and where their lines meet are known from how the surface was made, whatever is fitted:
    # heights 0 - sigma s and place - rougher s are equal at s = place / (rougher - sigma)
    place = float(stats.norm.ppf(share)) * rougher
    z = two_processes(np.random.default_rng(8), 200_000, sigma, rougher, place)
    found = material_ratio.probability(z)
    assert (found.rpq, found.rvq) == pytest.approx((sigma, rougher), rel=0.02)
    assert found.rmq == pytest.approx(100 * stats.norm.cdf(place / (rougher - sigma)), abs=0.6)


def test_probability_parameters_of_short_profiles_are_right_on_average() -> None:
    random = np.random.default_rng(9)
    found = [material_ratio.probability(two_processes(random, 500, 0.05, 1.5, 1.26)) for _ in range(60)]
    assert np.median([each.rpq for each in found]) == pytest.approx(0.05, rel=0.04)
    assert np.median([each.rvq for each in found]) == pytest.approx(1.5, rel=0.08)


@pytest.mark.parametrize(("sigma", "rougher", "share"), [(0.25, 1.5, 0.8), (0.05, 1.5, 0.8), (0.05, 1.0, 0.9)])
def test_probability_parameters_hang_on_no_last_digit(sigma: float, rougher: float, share: float) -> None:
    """Processors differ in last digits: what is found is the least itself, not where a search for it stopped."""
    random = np.random.default_rng(10)
    for count in (500, 2000, 20_000):
        z = two_processes(random, count, sigma, rougher, float(stats.norm.ppf(share)) * rougher)
        found = astuple(material_ratio.probability(z))
        for _ in range(4):
            nudged = z * (1 + 1e-15 * random.standard_normal(count))
            assert astuple(material_ratio.probability(nudged)) == pytest.approx(found, rel=1e-10, abs=0)


def test_two_straight_lines_are_found_nearly() -> None:
    # no two processes make a bend without a curve: of two lines by rank the slopes come out within a tenth
    s = stats.norm.ppf((np.arange(200_000) + 0.5) / 200_000)
    meet = stats.norm.ppf(0.85)
    found = material_ratio.probability(np.where(s < meet, -0.1 * s, -0.1 * meet - 1.5 * (s - meet)))
    assert (found.rpq, found.rvq) == pytest.approx((0.1, 1.5), rel=0.1)
    assert found.rmq == pytest.approx(85.0, abs=1.5)


def test_a_surface_without_valleys_has_no_second_line() -> None:
    s = stats.norm.ppf((np.arange(5000) + 0.5) / 5000)
    with pytest.raises(Refused, match="no-two-lines"):
        material_ratio.probability(np.where(s < 0, -2 * s, -s))


# ---- profiles -------------------------------------------------------------------------------------------------------


def test_uneven_steps_and_points_not_valid_are_bridged() -> None:
    x = np.cumsum(np.random.default_rng(1).uniform(0.5e-6, 1.5e-6, 2000))
    z = 0.2 * x
    z[100:110] = np.nan
    found = profile.even(x, z)
    assert np.diff(found.x) == pytest.approx(found.step)
    assert found.z == pytest.approx(0.2 * found.x, abs=1e-12)
    assert (found.filled, found.spikes) == (10, 0)


def test_dust_is_taken_out_and_grooves_stay() -> None:
    z = 0.05e-6 * np.random.default_rng(2).standard_normal(4000)
    z[1000:1008] -= 4e-6
    z[2000:2003] += 30e-6
    found = profile.even(places(4000, STEP), z)
    assert found.spikes == 3
    assert found.z[1000:1008].max() < -3.5e-6
    assert found.z[1998:2005].max() < 0.3e-6


def test_a_piece_missing_is_refused() -> None:
    z = np.zeros(1000)
    z[300:400] = np.nan
    with pytest.raises(Refused, match="trace-gap"):
        profile.even(places(1000, STEP), z)


# ---- bore wear ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("depth", [0.0, 0.3e-6, 2e-6])
def test_a_step_is_found_on_a_tilted_trace_with_grooves(depth: float) -> None:
    random = np.random.default_rng(7)
    x = places(2900, 2e-6)
    z = 0.05e-6 * random.standard_normal(len(x)) + 1e-3 * x - np.where(x > 1.6e-3, depth, 0)
    for at in range(50, len(x), 60):
        z[at : at + 8] -= 3e-6  # in both bands alike
    assert bore_wear.axial_step(x, z, 1.4e-3, 1.8e-3) == pytest.approx(depth, abs=0.02e-6)


def test_a_band_too_short_is_refused() -> None:
    x = places(2900, 2e-6)
    with pytest.raises(Refused, match="band-short"):
        bore_wear.axial_step(x, np.zeros(2900), 0.1e-3, 0.5e-3)


def test_cutting_the_plateaus_lowers_them_above_the_valleys_by_as_much() -> None:
    # exact: plateaus lowered by 0.4 um, floors of grooves kept
    before = np.where(np.arange(1000) % 10 == 0, -5.0, 0.0) * 1e-6
    after = np.minimum(before, -0.4e-6)
    heights = [bore_wear.above_valleys(material_ratio.curve(each)) for each in (before, after)]
    assert heights[0] - heights[1] == pytest.approx(0.4e-6, abs=1e-9)


# ---- ring face ------------------------------------------------------------------------------------------------------


def chord(radius: float, depth: float) -> float:
    """Width and area of a worn crown from the geometry of a circle (exact for a parabola): w = 2 sqrt(2 R d)."""
    return 2 * math.sqrt(2 * radius * depth)


@pytest.mark.parametrize("depth", [0.3e-6, 1.2e-6])
def test_a_cut_crown_is_found_through_tilt_and_shift(depth: float) -> None:
    random = np.random.default_rng(11)
    x = places(600, 2e-6)
    barrel = -((x - 0.6e-3) ** 2) / (2 * 40e-3)
    worn = np.minimum(barrel, -depth)
    noise = [0.01e-6 * random.standard_normal(len(x)) for _ in range(2)]
    found = ring_face.section(x, barrel + noise[0] + 3e-3 * x, x, worn + noise[1] - 1e-3 * x + 8e-6, 0.15e-3)
    width = chord(40e-3, depth)
    # half of the depth is left at 0.707 of the half chord, the core goes half as far: 1 - 0.354^2 / 3 of it on the mean
    core = 23 / 24 * depth
    assert found.depth.value == pytest.approx(core, abs=0.01e-6)
    assert found.depth.low < core < found.depth.high
    assert found.area.value == pytest.approx(2 / 3 * width * depth, rel=0.05)  # of a parabola above its chord
    assert found.width is not None
    assert found.width.value == pytest.approx(width, abs=0.02e-3)
    assert found.width.low <= width <= found.width.high


def test_flanks_that_do_not_fit_say_how_badly() -> None:
    x = places(600, 2e-6)
    with pytest.raises(Refused, match="not-aligned") as refusal:
        ring_face.section(x, np.zeros(600), x, 1e-6 * np.sin(x / 2e-5), 0.15e-3)
    assert float(refusal.value.facts["misfit"]) > 0.25e-6


def test_the_same_area_all_round_is_a_ring_of_it() -> None:
    # pi D A (exact)
    areas = {angle: ring_face.Bounded(0.5e-9, 0.4e-9, 0.6e-9) for angle in (20.0, 90.0, 180.0, 270.0, 340.0)}
    found = ring_face.around(areas, 87.5e-3)
    assert found.value == pytest.approx(math.pi * 87.5e-3 * 0.5e-9)
    # errors of a fifth in quadrature over arcs of 55, 80, 90, 80 and 55 degrees: by hand 0.2 * sqrt(26950) / 360
    assert found.low == pytest.approx((1 - 0.2 * math.sqrt(26950) / 360) * found.value)
    assert found.high == pytest.approx((1 + 0.2 * math.sqrt(26950) / 360) * found.value)
    with pytest.raises(Refused, match="few-angles"):
        ring_face.around(dict(list(areas.items())[:4]), 87.5e-3)


# ---- wear rate ------------------------------------------------------------------------------------------------------


def test_arithmetic_of_the_wear_rate() -> None:
    # by hand, after J. F. Archard, Contact and rubbing of flat surfaces, Journal of Applied Physics 24 (1953) 981:
    # V = K F s / H with K 1e-5, H 500 MPa, 100 N, 1 m/s gives 7.2 mm3 in an hour, k = K / H = 2e-5 mm3/(N m)
    assert wear_rate.specific(7.2, 100, 3600) == pytest.approx(2e-5)


def test_load_of_a_ring() -> None:
    # hoop force of a thin ring, any text on rings: 15 N tangential press with 94 N all round
    assert wear_rate.load(15, 0, 0, 87.5e-3, 1.2e-3).whole == pytest.approx(94.25, abs=0.01)
    # 6 MPa behind a ring of 87.5 mm by 1.2 mm: 1.98 kN (pressure times area)
    assert wear_rate.load(0.0, 6e6, 0.0, 87.5e-3, 1.2e-3).gas == pytest.approx(1979, abs=1)
    assert wear_rate.load(15, 360e3, 0.3, 87.5e-3, 1.2e-3).gas_share == pytest.approx(83.1 / (83.1 + 94.25), abs=1e-3)


# ---- ties -----------------------------------------------------------------------------------------------------------

# Hollander and Wolfe, Nonparametric statistical methods: colour and quality of tuna
LIGHTNESS = [44.4, 45.9, 41.9, 53.3, 44.7, 44.1, 50.7, 45.2, 60.1]
SCORE = [2.6, 3.1, 2.5, 5.0, 3.6, 4.0, 5.2, 2.8, 3.8]


def test_kendall_of_the_tuna() -> None:
    found = ties.rank_agreement(LIGHTNESS, SCORE, ["one"] * 9)
    assert (found.tau, found.p) == pytest.approx((0.4444, 0.1194), abs=5e-5)  # as published


def test_four_cylinders_cannot_reach_five_per_cent() -> None:
    # 2 of 24 orders (exact)
    found = ties.rank_agreement([1, 2, 3, 4], [5, 6, 7, 8], ["B1"] * 4)
    assert (found.tau, found.p, found.least_p) == pytest.approx((1.0, 1 / 12, 1 / 12))
    two = ties.rank_agreement([1, 2, 3, 4] * 2, [5, 6, 7, 8] * 2, ["B1"] * 4 + ["B2"] * 4)
    assert two.p == pytest.approx(2 / 576)


@pytest.mark.parametrize("seed", range(4))
def test_tau_with_ties_is_that_of_scipy(seed: int) -> None:
    random = np.random.default_rng(seed)
    a, b = random.integers(0, 4, 7), random.integers(0, 4, 7)
    assert ties.rank_agreement(list(a), list(b), ["one"] * 7).tau == pytest.approx(stats.kendalltau(a, b).statistic)


def test_what_differs_between_engines_is_no_agreement() -> None:
    # levels of engines agree perfectly, cylinders within them not at all: pooled tau is large, within engines zero
    first, second, engines = [], [], []
    for engine in range(4):
        first += [10 * engine + each for each in (1, 2, 3, 4)]
        second += [10 * engine + each for each in (2, 4, 1, 3)]
        engines += [f"B{engine}"] * 4
    assert stats.kendalltau(first, second).statistic > 0.7
    found = ties.rank_agreement(first, second, engines)
    assert found.tau == pytest.approx(0.0)
    assert found.p == 1.0


def test_alarms_of_the_stratified_test_stay_at_their_level() -> None:
    random = np.random.default_rng(12)
    engines = [f"B{number // 4}" for number in range(12)]
    shift = np.repeat([0.0, 5.0, 10.0], 4)  # engines far apart: pooled, most of these would be alarms
    hits = sum(
        ties.rank_agreement(
            list(shift + random.standard_normal(12)), list(shift + random.standard_normal(12)), engines
        ).p
        <= 0.05
        for _ in range(400)
    )
    assert hits / 400 < 0.08


def test_values_all_alike_are_refused() -> None:
    with pytest.raises(Refused, match="all-alike"):
        ties.rank_agreement([1, 1, 1], [1, 2, 3], ["B1"] * 3)
