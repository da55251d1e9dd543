"""Gauge studies: the handbook's example, limits that are exact in a limiting case, and simulated coverage.

`PYTHONPATH=tests python -m methods.gauge_coverage --draws 10000` prints the whole table.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from house import one_of
from methods import gauge_coverage
from methods.gauge_coverage import ALIKE, CASES, TESTERS, Case
from numpy.typing import NDArray
from scipy.stats import chi2

from sitegen.methods import gauge_study
from sitegen.vocabulary import Refused

# Measurement systems analysis, reference manual of the automotive industry action group, 3rd and 4th edition, chapter
# on variable measurement systems: ten parts, three appraisers, three trials. The 90 readings are from memory; that they
# are right is shown by the published results below, which they give to all their digits but one.
HANDBOOK = np.array([
    [[0.29, 0.41, 0.64], [-0.56, -0.68, -0.58], [1.34, 1.17, 1.27], [0.47, 0.50, 0.64], [-0.80, -0.92, -0.84],
     [0.02, -0.11, -0.21], [0.59, 0.75, 0.66], [-0.31, -0.20, -0.17], [2.26, 1.99, 2.01], [-1.36, -1.25, -1.31]],
    [[0.08, 0.25, 0.07], [-0.47, -1.22, -0.68], [1.19, 0.94, 1.34], [0.01, 1.03, 0.20], [-0.56, -1.20, -1.28],
     [-0.20, 0.22, 0.06], [0.47, 0.55, 0.83], [-0.63, 0.08, -0.34], [1.80, 2.12, 2.19], [-1.68, -1.62, -1.50]],
    [[0.04, -0.11, -0.15], [-1.38, -1.13, -0.96], [0.88, 1.09, 0.67], [0.14, 0.20, 0.11], [-1.46, -1.07, -1.45],
     [-0.29, -0.67, -0.49], [0.02, 0.01, 0.21], [-0.46, -0.56, -0.49], [1.77, 1.45, 1.87], [-1.49, -1.77, -2.16]],
]).transpose(1, 0, 2)  # fmt: skip


def test_mean_squares_of_the_handbook() -> None:
    found = gauge_study.analysis(HANDBOOK)
    squares = (found.part, found.operator, found.interaction, found.error)
    assert [round(each.value, 5) for each in squares] == [9.81799, 1.58363, 0.01994, 0.04598]  # its table of analysis
    assert [each.df for each in squares] == [9, 2, 18, 60]
    assert round(found.f_interaction, 3) == 0.434
    assert found.of_interaction.negative
    assert found.of_interaction.sd == 0.0


def pooled(y: NDArray[np.float64]) -> gauge_study.Analysis:
    """The same with the interaction put to the repeats, as the handbook does where it is not significant.

    We keep it: the check holds our mean squares and components against the published results.
    """
    found = gauge_study.analysis(y)
    both = (found.interaction, found.error)
    error = gauge_study.MeanSquare(sum(s.value * s.df for s in both) / sum(s.df for s in both), sum(s.df for s in both))
    return gauge_study.Analysis(found.objects, found.operators, found.repeats, found.part, found.operator, error, error)


def test_components_of_the_handbook() -> None:
    # 0.199933, 0.226838, 0.302373, 1.042327; gauge 27.9 % of the total; 1.41 times parts over gauge
    found = pooled(HANDBOOK)
    assert found.of_repeats.sd == pytest.approx(0.199933, abs=5e-7)
    assert found.of_operators.sd == pytest.approx(0.226838, abs=5e-7)
    # the root of the squares of the two above is 0.302372: the last digit in print is rounded off rounded ones
    assert found.of_gauge.sd == pytest.approx(0.302373, abs=2e-6)
    assert found.of_parts.sd == pytest.approx(1.042327, abs=5e-7)
    assert 100 * found.share.sd == pytest.approx(27.9, abs=0.05)
    assert found.categories.sd == pytest.approx(4.861, abs=1e-3)


def test_ranges_of_the_handbook() -> None:
    """Repeats and operators by ranges, which take no square: within 2 % of the analysis of variance.

    0.20188 and 0.22963 (from memory, worked out again; with means rounded as the book rounds them).
    """
    repeat = np.ptp(HANDBOOK, axis=2).mean() * 0.5908  # K1 of three trials
    means = HANDBOOK.mean(axis=(0, 2))
    operators = math.sqrt((np.ptp(means) * 0.5231) ** 2 - repeat**2 / 30)  # K2 of three appraisers
    assert repeat == pytest.approx(0.20188, abs=5e-5)
    assert operators == pytest.approx(0.22963, abs=5e-4)
    found = pooled(HANDBOOK)
    assert found.of_repeats.sd == pytest.approx(repeat, rel=0.02)
    assert found.of_operators.sd == pytest.approx(operators, rel=0.02)


def test_limits_are_exact_where_one_part_is_known() -> None:
    """With endless degrees of freedom of one mean square the modified limits are those of the other alone."""
    known, many = 0.3, 10**7
    found = gauge_study._difference(
        1.0, gauge_study.MeanSquare(2.0, 3), gauge_study.MeanSquare(known, many)
    )  # fmt: skip
    for share, end in ((0.975, found.low), (0.025, found.high)):
        assert end**2 == pytest.approx(2.0 * 3 / chi2.ppf(share, 3) - known, rel=2e-3)
    alone = gauge_study.of_one(2.0, 7)
    assert [alone.low, alone.high] == pytest.approx([2 * math.sqrt(7 / chi2.ppf(p, 7)) for p in (0.975, 0.025)])


def test_what_cannot_be_analysed_is_refused() -> None:
    y = np.arange(24.0).reshape(4, 3, 2) ** 1.5
    for part, code in ((y[:1], "gauge-one-object"), (y[:, :, :1], "not-repeated"), (y * 0, "no-scatter")):
        with pytest.raises(Refused, match=code):
            gauge_study.analysis(part)
    rows = [(i, j, float(y[i, j, k])) for i in range(4) for j in range(3) for k in range(2)]
    objects, operators, again = gauge_study.balanced(rows[::-1])
    assert (objects, operators) == ([3, 2, 1, 0], [2, 1, 0])
    assert np.array_equal(again[::-1, ::-1, ::-1], y)
    with pytest.raises(Refused, match="gauge-unbalanced"):
        gauge_study.balanced(rows[:-1])
    places = [row[:2] for row in rows[:-3]]
    assert gauge_study.lacking(places, 9) == [(3, 1, 1), (3, 2, 2)]
    assert gauge_study.lacking(places, 1) == [(3, 1, 1)]
    assert gauge_study.short_of(places) == 3
    assert not gauge_study.analysis(y[:, :2]).tells_operators
    with pytest.raises(Refused, match="one-operator"):
        gauge_study.testers(y[:, :1], y[:, :1])


TRIED = Case(6, 3, 2, 1.0, 0.5).name
DRAWS = 400  # 94.4 % is then known to three standard errors of 3.4 points


@pytest.mark.parametrize(
    "case",
    one_of([*CASES, *ALIKE], lambda case: case.name == TRIED, lambda c: c.name),
)
def test_intervals_hold(case: gauge_coverage.Case) -> None:
    tally = gauge_coverage.run(case, DRAWS)
    room = 3 * math.sqrt(0.944 * 0.056 / DRAWS)
    for what in gauge_coverage.QUANTITIES:
        assert tally.share(what) >= 0.944 - room, what


@pytest.mark.parametrize(
    "case", one_of(TESTERS, lambda case: (case.objects, case.operator) == (6, 1.0), lambda case: case.name)
)
def test_the_difference_of_testers_holds(case: gauge_coverage.Case) -> None:
    share = gauge_coverage.of_testers(case, DRAWS).share("testers")
    assert share >= 0.944 - 3 * math.sqrt(0.944 * 0.056 / DRAWS)


def test_the_simulation_sees_an_interval_that_is_too_narrow() -> None:
    """Operators' scatter taken as known, which it is on two degrees of freedom only, misses in many studies."""
    case = next(each for each in CASES if each.operator == 3.0)
    rng, held = np.random.default_rng(1), 0
    for _ in range(DRAWS):
        found = gauge_study.analysis(gauge_coverage._drawn(rng, case)).of_operators
        held += 0.7 * found.sd <= case.operator <= 1.4 * found.sd
    assert held / DRAWS < 0.8
