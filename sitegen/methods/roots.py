"""The root of one function of one number."""

from __future__ import annotations

from collections.abc import Callable


def root(function: Callable[[float], float], low: float, high: float, tolerance: float = 0.0) -> float:
    """Where a continuous function changes its sign between `low` and `high` [any one unit].

    Parameters: `tolerance`: half-width of the bracket [same unit] at which to stop; besides, it stops where floating
    point numbers end. Raises ValueError where both ends have the same sign.

    Notes: inverse quadratic interpolation where the last three points bend little enough for it, else halving: never
    slower than three times halving, mostly six to ten calls. Ours, because the one of the usual library takes a quarter
    of a second to import.

    References: Chandrupatla, Advances in Engineering Software 28 (1997) 145-149; Scherer, Computational Physics (2010).
    """
    b, a = low, high
    fb, fa = function(b), function(a)
    if fa == 0.0 or fb == 0.0:
        return a if fa == 0.0 else b
    if (fa > 0) == (fb > 0):
        raise ValueError("the function has the same sign at both ends")
    t = 0.5
    for _ in range(200):
        x = a + t * (b - a)
        fx = function(x)
        if (fx > 0) == (fa > 0):
            c, fc = a, fa
        else:
            c, fc = b, fb
            b, fb = a, fa
        a, fa = x, fx
        best, f_best = (a, fa) if abs(fa) < abs(fb) else (b, fb)
        closest = (2.0**-52 * abs(best) + tolerance / 2) / abs(b - a)  # of a step, as a share of the bracket
        if f_best == 0.0 or closest > 0.5:
            return best
        t = 0.5
        if fc not in {fa, fb}:
            xi, phi = (a - b) / (c - b), (fa - fb) / (fc - fb)
            if phi**2 < xi and (1 - phi) ** 2 < 1 - xi:  # bends little: interpolate
                t = fa / (fb - fa) * fc / (fb - fc) + (c - a) / (b - a) * fa / (fc - fa) * fb / (fc - fb)
        t = min(1 - closest, max(closest, t))
    return best
