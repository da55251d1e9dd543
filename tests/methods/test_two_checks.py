"""Two checks far apart: how often "seated" is said wrongly, on few draws; methods/two_checks.py makes them."""

from __future__ import annotations

from dataclasses import replace

import pytest
from methods import two_checks

DRAWS = 400


@pytest.mark.parametrize("case", two_checks.WRONG, ids=lambda case: case.name)
def test_seldom_seated_with_too_much_left(case: two_checks.Case) -> None:
    """At most 2.5 %: 400 draws of 2.5 % give more than 21 in fewer than one case of 1000."""
    assert two_checks.run(case, DRAWS) <= 21 / DRAWS


@pytest.mark.parametrize("case", [c for c in two_checks.RIGHT if c.left == 0], ids=lambda case: case.name)
def test_seated_where_nothing_is_left(case: two_checks.Case) -> None:
    assert two_checks.run(case, DRAWS) >= 0.9


def test_closer_checks_would_not_do() -> None:
    """Why six distances are asked for: at three, a cylinder that seats four times slower passes for seated."""
    slow = next(case for case in two_checks.WRONG if case.slow == 4)
    assert two_checks.run(replace(slow, apart=3.0), DRAWS) > 0.5
