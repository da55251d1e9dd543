"""Grubbs' test against the published table and worked examples."""

from __future__ import annotations

import numpy as np
import pytest

from sitegen import reasons
from sitegen.methods.outliers import critical, largest, smallest
from sitegen.vocabulary import Refused

# F. E. Grubbs, Technometrics 11 (1969) 1, table I (as in ASTM E178, table 1): one-sided, n -> 5 %, 2.5 %, 1 %.
TABLE = {
    8: (2.03, 2.13, 2.22),
    9: (2.11, 2.21, 2.32),
    10: (2.18, 2.29, 2.41),
    11: (2.23, 2.36, 2.48),
    12: (2.29, 2.41, 2.55),
    15: (2.41, 2.55, 2.71),
    18: (2.50, 2.65, 2.82),
    20: (2.56, 2.71, 2.88),
}


@pytest.mark.parametrize("n", TABLE)
def test_published_table(n: int) -> None:
    found = [critical(n, error) for error in (0.05, 0.025, 0.01)]
    assert found == pytest.approx(TABLE[n], abs=0.0061)  # the table's last digit is not always rounded


def test_three_values_have_the_largest_statistic_there_is() -> None:
    """Table I, n = 3: 1.15 at every level, since no value can lie further out than (n - 1)/sqrt(n) = 1.1547."""
    assert [critical(3, error) for error in (0.05, 0.01)] == pytest.approx([1.153, 1.155], abs=0.001)
    assert largest([0.0, 0.0, 1.0]).statistic == pytest.approx(2 / 3**0.5)
    assert largest([0.0, 0.0, 1.0]).p == pytest.approx(0.0, abs=1e-5)


def test_breaking_strength_of_copper_wire() -> None:
    """ASTM E178, example 1 (from memory): T = 2.39 for 596 lb, beyond the 5 % cut and within the 1 % cut."""
    strength = [568, 570, 570, 570, 572, 572, 572, 578, 584, 596]
    found = largest(strength)
    assert (found.place, round(found.statistic, 2), found.stands_out) == (9, 2.39, True)
    assert not largest(strength, 0.01).stands_out
    assert 0.01 < found.p < 0.05
    assert not smallest(strength).stands_out


def test_uranium_isotope() -> None:
    """NIST/SEMATECH e-Handbook of statistical methods, 1.3.5.17.1 (from memory): G = 2.468765, cut 2.032, n = 8."""
    found = largest([199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57])
    assert found.statistic == pytest.approx(2.468765, abs=5e-7)
    assert found.critical == pytest.approx(2.032, abs=5e-4)
    assert found.stands_out


def test_the_smallest_is_the_largest_of_the_mirror() -> None:
    values = [3.0, 2.5, 2.8, 0.1, 2.9]
    low, high = smallest(values), largest([-value for value in values])
    assert (low.place, low.statistic, low.p) == (high.place, high.statistic, high.p)
    assert low.place == 3


@pytest.mark.parametrize("n", [4, 8, 20])
def test_false_alarms(n: int) -> None:
    """20 000 sets of n alike: 5 %, within three standard errors of 0.46 points."""
    draws = np.random.default_rng([1969, n]).standard_normal((20_000, n))
    statistic = (draws.max(axis=1) - draws.mean(axis=1)) / draws.std(axis=1, ddof=1)
    assert (statistic > critical(n)).mean() == pytest.approx(0.05, abs=0.0046)
    some = [largest(row.tolist()) for row in draws[:200]]
    assert [each.statistic for each in some] == pytest.approx(statistic[:200])
    assert [each.stands_out for each in some] == [each.p < 0.05 for each in some]


def test_values_all_alike_have_none_that_stands_out() -> None:
    found = largest([2.0, 2.0, 2.0, 2.0])
    assert (found.statistic, found.p, found.stands_out) == (0.0, 1.0, False)


@pytest.mark.parametrize("values", [[], [1.0], [1.0, 2.0]])
def test_fewer_than_three_are_refused(values: list[float]) -> None:
    with pytest.raises(Refused) as told:
        largest(values)
    assert told.value.code == "few-values"
    assert "few-values" in reasons.ANSWER
