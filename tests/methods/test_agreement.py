"""Weighted kappa against published worked examples."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from sitegen.methods.agreement import weighted_kappa
from sitegen.vocabulary import Refused


def pairs(table: Sequence[Sequence[int]]) -> list[tuple[float, float]]:
    """The pairs of grades a square table of counts stands for."""
    return [(float(i), float(j)) for i, row in enumerate(table) for j, count in enumerate(row) for _ in range(count)]


# 85 mammograms read by two radiologists in four ordered classes (Boyd et al. 1982; D. G. Altman, Practical Statistics
# for Medical Research, 1991). Weighted kappa 0.57, 95 % interval 0.44 to 0.70: Penn State, STAT 509, lesson 18.
RADIOLOGISTS = ((21, 12, 0, 0), (4, 17, 1, 0), (3, 9, 15, 2), (0, 0, 0, 1))
# Printout of a statistics package for linear weights, kept in the tests of the statsmodels library (inter_rater):
# 0.4701, standard error 0.1457, interval 0.1845 to 0.7558.
PRINTOUT = ((0, 4, 1), (0, 8, 0), (0, 1, 5))


def test_radiologists() -> None:
    found = weighted_kappa(pairs(RADIOLOGISTS), 0, 3)
    assert found.low is not None
    assert found.high is not None
    assert (round(found.kappa, 2), round(found.low, 2), round(found.high, 2)) == (0.57, 0.44, 0.70)
    assert (found.n, found.equal) == (85, 54)  # by hand: 21 + 17 + 15 + 1


def test_printout_with_its_standard_error() -> None:
    found = weighted_kappa(pairs(PRINTOUT), 0, 2)
    assert [found.kappa, found.se, found.low, found.high] == pytest.approx([0.4701, 0.1457, 0.1845, 0.7558], abs=5e-5)


def test_agreement_by_hand() -> None:
    # two grades at the ends, 10 places: p_o = 0.8, p_e = 0.5, so kappa = 0.6 (the unweighted kappa of a 2 x 2 table)
    found = weighted_kappa([(1, 1)] * 4 + [(5, 5)] * 4 + [(1, 5), (5, 1)], 1, 5)
    assert found.kappa == pytest.approx(0.6)
    # a scale that goes on beyond the grades given makes the same difference count for less on both sides
    assert weighted_kappa([(1, 1)] * 4 + [(2, 2)] * 4 + [(1, 2), (2, 1)], 1, 5).kappa == pytest.approx(0.6)


def test_which_inspector_comes_first_does_not_matter() -> None:
    turned = weighted_kappa([(b, a) for a, b in pairs(RADIOLOGISTS)], 0, 3)
    assert turned.kappa == pytest.approx(weighted_kappa(pairs(RADIOLOGISTS), 0, 3).kappa, rel=1e-12)


def test_all_alike_has_no_interval_and_all_apart_is_below_chance() -> None:
    alike = weighted_kappa([(1, 1), (2, 2)] * 4, 1, 3)
    assert (alike.kappa, alike.low, alike.high, alike.equal) == (1.0, None, None, 8)
    apart = weighted_kappa([(1, 3), (3, 1)] * 4, 1, 3)
    assert apart.kappa == pytest.approx(-1.0)
    assert apart.low is not None
    assert apart.low >= -1.0


@pytest.mark.parametrize(
    ("given", "code"),
    [([(1, 2)] * 7, "few-common-places"), ([(2, 2)] * 20, "one-grade-only"), ([], "few-common-places")],
)
def test_what_cannot_be_told(given: list[tuple[float, float]], code: str) -> None:
    with pytest.raises(Refused) as told:
        weighted_kappa(given, 1, 5)
    assert told.value.code == code
