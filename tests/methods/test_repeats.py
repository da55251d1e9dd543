"""Two sets of repeats against each other, held against scipy and published data."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from sitegen.methods.repeats import difference
from sitegen.vocabulary import Refused

# Hours of sleep gained on two drugs: Student, Biometrika 6 (1908) 20; data set `sleep` of R, taken as two groups
FIRST = [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0]
SECOND = [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4]


def test_the_sleep_data() -> None:
    """R's own example of t.test: t = -1.8608, df = 17.776, interval of first less second -3.3655 to 0.2055."""
    found = difference(FIRST, SECOND)
    assert found.value / found.se == pytest.approx(1.8608, abs=5e-5)
    assert found.df == pytest.approx(17.776, abs=5e-4)
    half = stats.t.ppf(0.975, found.df) * found.se
    assert [found.value - half, found.value + half] == pytest.approx([-0.2055, 3.3655], abs=5e-5)


@pytest.mark.parametrize(("before", "after"), [([1.0, 2.0, 4.0], [3.0, 9.0]), ([5.0, 9.3], [1.0, 2.0, 2.5, 3.0])])
def test_as_scipy_has_it(before: list[float], after: list[float]) -> None:
    found, theirs = difference(before, after), stats.ttest_ind(after, before, equal_var=False)
    assert found.value / found.se == pytest.approx(theirs.statistic)
    assert found.df == pytest.approx(theirs.df)


@pytest.mark.parametrize(("few", "many", "ratio"), [(2, 5, 0.5), (2, 3, 1.0), (3, 5, 0.7), (5, 5, 1.0)])
def test_intervals_hold_where_sets_differ_in_number(few: int, many: int, ratio: float) -> None:
    # normal repeats without any difference, the larger set scattering by `ratio` of the smaller: a 95 % interval holds
    # zero in 95 %; with Welch's own degrees of freedom two against five hold it in 90 %
    random = np.random.default_rng(29)
    draws = 3000
    held = 0
    for _ in range(draws):
        found = difference(list(random.standard_normal(few)), list(ratio * random.standard_normal(many)))
        held += abs(found.value) <= stats.t.ppf(0.975, found.df) * found.se
    assert held / draws > 0.944 - 3 * (0.95 * 0.05 / draws) ** 0.5


def test_repeats_that_are_all_alike_tell_nothing() -> None:
    with pytest.raises(Refused, match="repeats-all-alike"):
        difference([2.0, 2.0], [3.0, 3.0, 3.0])
