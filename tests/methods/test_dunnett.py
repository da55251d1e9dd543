"""Many-to-one comparisons against published tables, a reference library and simulated programs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from decimal import Decimal, localcontext

import numpy as np
import pytest
from scipy import stats

from sitegen.methods.dunnett import critical, legendre_nodes, p_value

HALF = math.sqrt(0.5)  # as many builds of every candidate as of the reference


@pytest.mark.parametrize(
    ("candidates", "df", "error", "cut"),
    [
        # C. W. Dunnett, JASA 50 (1955) 1096, tables 2a and 2b, two candidates (exact there; the columns for more are
        # upper bounds, which the tables of 1964 replaced)
        (2, 30, 0.05, 2.32),
        (2, 60, 0.01, 2.90),
        # C. W. Dunnett, Biometrics 20 (1964) 482, table II; the one of 4 candidates on 20 df as cited in the manual
        # of the R package PMCMRplus, the others from memory
        (2, 5, 0.05, 3.03),
        (2, 6, 0.05, 2.86),
        (2, 8, 0.05, 2.67),
        (2, 10, 0.05, 2.57),
        (2, 12, 0.05, 2.50),
        (2, 20, 0.05, 2.38),
        (3, 5, 0.05, 3.29),
        (3, 10, 0.05, 2.76),
        (3, 20, 0.05, 2.54),
        (4, 10, 0.05, 2.89),
        (4, 20, 0.05, 2.65),
        # K. S. Kwong and W. Liu, Statistics and Probability Letters 49 (2000), table 2
        (9, 30, 0.05, 2.856),
        (17, 20, 0.05, 3.162),
    ],
)
def test_published_cuts(candidates: int, df: float, error: float, cut: float) -> None:
    digits = 0.001 if round(cut, 2) != cut else 0.0051
    assert critical([HALF] * candidates, df, error) == pytest.approx(cut, abs=digits)
    assert p_value(critical([HALF] * candidates, df, error), [HALF] * candidates, df) == pytest.approx(error, abs=1e-8)


def test_other_correlations() -> None:
    """Kwong and Liu (2000), table 2: correlation 0.3, 13 candidates on 20 df; 0.1, 12 on 20."""
    assert critical([math.sqrt(0.3)] * 13, 20) == pytest.approx(3.168, abs=0.001)
    assert critical([math.sqrt(0.1)] * 12, 20) == pytest.approx(3.184, abs=0.001)


def test_one_candidate_is_student() -> None:
    """Student's t, 10 df: 2.228 at 5 %, 3.169 at 1 % (any table)."""
    assert critical([0.3], 10) == pytest.approx(2.228, abs=0.0005)
    assert critical([0.9], 10, 0.01) == pytest.approx(3.169, abs=0.0005)
    assert p_value(-2.2281, [0.5], 10) == pytest.approx(0.05, abs=1e-5)
    assert p_value(1.96, [0.5], math.inf) == pytest.approx(0.05, abs=1e-4)


def test_uncorrelated_and_known_scatter_is_sidak() -> None:
    """Independent z values: exactly 1 - 0.95^(1/k) each (Z. Sidak, JASA 62 (1967) 626)."""
    for k in (2, 3, 8):
        each = 1 - 0.95 ** (1 / k)
        assert critical([0.0] * k, math.inf) == pytest.approx(stats.norm.isf(each / 2), abs=1e-8)


@pytest.mark.parametrize(
    ("b", "df"),
    [((HALF, HALF), 1), ((HALF, HALF), 4), ((0.3, 0.95), 2), ((0.9, 0.8, 0.6), 3), ((0.9, 0.9), 1000)],
)
def test_multivariate_t(b: Sequence[float], df: int) -> None:
    """The same probability by scipy's own integration over the correlated t values (quasi-random: to 2e-4)."""
    shape = np.outer(b, b)
    np.fill_diagonal(shape, 1.0)
    law = stats.multivariate_t(shape=shape, df=df, seed=1)
    for cut in (1.0, 2.5, 5.0):
        limit = np.full(len(b), cut)
        inside = law.cdf(limit, lower_limit=-limit, maxpts=200_000)
        assert p_value(cut, b, df) == pytest.approx(1 - inside, abs=2e-4)


def test_blood_counts() -> None:
    """Dunnett's worked example of 1955 (two drugs, 6 + 4 + 5 animals) against scipy's own test."""
    control = [7.40, 8.50, 7.20, 8.24, 9.84, 8.32]
    drugs = ([9.76, 8.80, 7.68, 9.36], [12.80, 9.68, 12.16, 9.20, 10.55])
    found = stats.dunnett(*drugs, control=control)  # quasi-random: another last digit every time
    b = [math.sqrt(len(drug) / (len(drug) + len(control))) for drug in drugs]
    df = len(control) + sum(map(len, drugs)) - 3
    for t, p in zip(found.statistic, found.pvalue, strict=True):
        assert p_value(float(t), b, df) == pytest.approx(float(p), abs=1e-3)
    assert [round(p_value(float(t), b, df), 3) for t in found.statistic] == [0.620, 0.006]  # scipy's manual
    # smaller groups beside a larger reference correlate less than equal ones, for which the table has 2.50
    assert 2.50 < critical(b, df) < stats.t.isf(0.0125, df)


def test_mice_in_a_maze() -> None:
    """J. Wang, STAT 664, Western Michigan University, "Dunnett method, mice example": its simultaneous 95 % intervals.

    The page (stat.wmich.edu/wang/664/egs/MTBmice.html, undated) shows the session output of a general linear model.

    Six mice without training, six each under two conditions; 15 degrees of freedom, root mean square 8.60039.
    """
    groups = ([58, 32, 59, 64, 55, 49], [73, 70, 68, 71, 60, 62], [53, 74, 72, 62, 58, 61])
    scatter = math.sqrt(sum(np.var(each, ddof=1) for each in groups) / 3)
    assert scatter == pytest.approx(8.60039, abs=5e-6)
    half = critical([HALF, HALF], 15) * scatter * math.sqrt(2 / 6)
    for group, low, high in zip(groups[1:], (2.388, -1.612), (26.61, 22.61), strict=True):
        apart = float(np.mean(group) - np.mean(groups[0]))
        assert apart - half == pytest.approx(low, abs=6e-4)
        assert apart + half == pytest.approx(high, abs=6e-3)


def test_p_of_anything_is_a_probability() -> None:
    """One less the probability inside is a rounding error below nought for large t."""
    for df in (2, 20, math.inf):
        for t in (0.0, 40.0, 1e4, 1e6):
            assert 0.0 <= p_value(t, (HALF, HALF), df) <= 1.0


def test_p_is_two_sided() -> None:
    for b, df in (((HALF, HALF), 4.0), ((0.3, 0.8, 0.6), math.inf), ((HALF,), 4.0)):
        assert p_value(-2.1, b, df) == p_value(2.1, b, df)
        single = p_value(2.1, b[:1], df)
        assert single <= p_value(2.1, b, df) <= len(b) * single  # between one test and Bonferroni


def test_nearly_known_scatter_joins_the_known() -> None:
    """No step where the degrees of freedom are taken as infinite."""
    b = (HALF, 0.6)
    below, above, known = (critical(b, df) for df in (0.99e7, 1.01e7, math.inf))
    assert below == pytest.approx(above, abs=1e-6)
    assert above == pytest.approx(known, abs=1e-9)
    assert p_value(40.0, b, 50) >= 0.0


@pytest.mark.parametrize("builds", [(3, 3, 3), (2, 3, 4), (2, 2, 2)])
def test_simulated_programs(builds: tuple[int, int, int]) -> None:
    """20 000 programs without a difference, four cylinders a build, correlation 0.3: 4.4 to 5.6 % false alarms.

    The first coating is the reference. Beside it each candidate by itself: 8 to 10 %.
    """
    draws, (ref, *others) = 20_000, builds
    rng = np.random.default_rng([1964, *builds])
    total = sum(builds)
    cylinders = np.sqrt(0.3) * rng.standard_normal((draws, total, 1)) + np.sqrt(0.7) * rng.standard_normal(
        (draws, total, 4)
    )
    means = np.split(cylinders.mean(axis=2), np.cumsum(builds)[:-1], axis=1)
    df = total - len(builds)
    mean_square = sum(part.var(axis=1, ddof=0) * part.shape[1] for part in means) / df
    t = np.array(
        [
            np.abs(part.mean(axis=1) - means[0].mean(axis=1)) / np.sqrt(mean_square * (1 / n + 1 / ref))
            for part, n in zip(means[1:], others, strict=True)
        ]
    )
    cut = critical([math.sqrt(n / (n + ref)) for n in others], df)
    assert 0.044 < (t > cut).any(axis=0).mean() < 0.056
    assert 0.075 < (t > critical([0.0], df)).any(axis=0).mean() < 0.1


@pytest.mark.parametrize(
    ("count", "node", "weight"),
    [
        # M. Abramowitz and I. A. Stegun, Handbook of Mathematical Functions (1964), table 25.4, to 15 decimals
        (2, 0.577350269189626, 1.0),
        (3, 0.0, 0.888888888888889),
        (3, 0.774596669241483, 0.555555555555556),
        (5, 0.0, 0.568888888888889),
        (5, 0.538469310105683, 0.478628670499366),
        (5, 0.906179845938664, 0.236926885056189),
        (10, 0.148874338981631, 0.295524224714753),
        (10, 0.973906528517172, 0.066671344308688),
        (20, 0.076526521133497, 0.152753387130726),
        (20, 0.993128599185095, 0.017614007139152),
        (96, 0.016276744849603, 0.032550614492363),
        (96, 0.999689503883231, 0.000796792065552),
    ],
)
def test_tabulated_legendre_nodes(count: int, node: float, weight: float) -> None:
    nodes, weights = legendre_nodes(count)
    at = int(np.argmin(np.abs(nodes - node)))
    assert (nodes[at], nodes[count - 1 - at]) == (pytest.approx(node, abs=6e-16), pytest.approx(-node, abs=6e-16))
    assert (weights[at], weights[count - 1 - at]) == (pytest.approx(weight, abs=6e-16),) * 2


@pytest.mark.parametrize("count", [*range(1, 12), 33, 64, 96, 300])
def test_legendre_nodes_are_exact_for_polynomials(count: int) -> None:
    """The mean of x^m over [-1, 1] for every even power a rule of so many nodes must have right; not for the next."""
    nodes, weights = legendre_nodes(count)
    assert np.all(np.diff(nodes) > 0)
    assert np.array_equal(nodes, -nodes[::-1])
    for power in range(0, 2 * count, 2):
        assert weights @ nodes**power == pytest.approx(2 / (power + 1), abs=2e-15)
    if count < 12:
        assert abs(weights @ nodes ** (2 * count) - 2 / (2 * count + 1)) > 1e-8


@pytest.mark.parametrize("count", [2, 7, 64, 300])
def test_legendre_nodes_in_fifty_digits(count: int) -> None:
    """Bonnet's recurrence in decimal arithmetic; and numpy's rule, whose weights next to 1 are the less exact."""
    nodes, weights = legendre_nodes(count)
    with localcontext() as digits:
        digits.prec = 50
        for node, weight in zip(nodes[count // 2 :], weights[count // 2 :], strict=True):
            x = Decimal(float(node))
            for _ in range(3):
                before, value = Decimal(1), x
                for k in range(1, count):
                    before, value = value, ((2 * k + 1) * x * value - k * before) / (k + 1)
                slope = count * (before - x * value) / (1 - x * x)
                x -= value / slope
            assert abs(Decimal(float(node)) - x) < Decimal("1.2e-16")
            assert abs(Decimal(float(weight)) * (1 - x * x) * slope**2 / 2 - 1) < Decimal("2e-14")
    other_nodes, other_weights = np.polynomial.legendre.leggauss(count)
    assert np.abs(nodes - other_nodes).max() < 1e-15
    assert np.abs(weights - other_weights).max() < (5e-15 if count < 100 else 1e-14)
