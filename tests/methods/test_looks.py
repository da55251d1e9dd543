"""The table of false alarms by looks against a simulation of what it claims."""

from __future__ import annotations

import numpy as np
import pytest

from sitegen.methods.looks import FALSE_ALARMS, false_alarm


@pytest.fixture(scope="module")
def passed() -> np.ndarray:
    """For each draw whether |z| of the sum so far passed 1.96 at each of ten equally spaced looks, (draws, looks)."""
    steps = np.random.default_rng(1969).standard_normal((200_000, len(FALSE_ALARMS)))
    z = steps.cumsum(axis=1) / np.sqrt(np.arange(1, steps.shape[1] + 1))
    return np.abs(z) > 1.959963984540054


@pytest.mark.parametrize("looks", range(1, len(FALSE_ALARMS) + 1))
def test_simulated(passed: np.ndarray, looks: int) -> None:
    """Each entry within three standard errors of the simulation and the rounding of the table."""
    found = passed[:, :looks].any(axis=1).mean()
    assert abs(found - false_alarm(looks)) < 3 * np.sqrt(0.2 * 0.8 / len(passed)) + 0.0006


def test_three_looks() -> None:
    """P. Armitage, C. K. McPherson and B. C. Rowe, Repeated significance tests on accumulating data (1969): 0.107.

    Journal of the Royal Statistical Society A 132, 235, table 2, from memory.
    """
    assert round(100 * false_alarm(3)) == 11
