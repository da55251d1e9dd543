"""What looking at the data before all of it is in does to the chance of a false alarm."""

from __future__ import annotations

# Probability that one of so many looks, equally spaced, finds a difference at 5 % where there is none: P. Armitage,
# C. K. McPherson and B. C. Rowe, Journal of the Royal Statistical Society A 132 (1969) 235, table 2 (from memory; a
# simulation in the tests gives them back). Scatter known; with few degrees of freedom it is a little less.
FALSE_ALARMS = (0.05, 0.083, 0.107, 0.126, 0.142, 0.155, 0.166, 0.176, 0.185, 0.193)


def false_alarm(looks: int) -> float:
    """Chance [-] of a false alarm somewhere in so many looks at 5 %; past ten looks that of ten.

    >>> false_alarm(1), false_alarm(3), false_alarm(40)
    (0.05, 0.107, 0.193)
    """
    return FALSE_ALARMS[min(max(looks, 1), len(FALSE_ALARMS)) - 1]
