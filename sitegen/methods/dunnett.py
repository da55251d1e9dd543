"""Several candidates against one reference: cuts and p values that hold for all of them together.

C. W. Dunnett, Journal of the American Statistical Association 50 (1955) 1096 and Biometrics 20 (1964) 482. Contrasts
with one reference correlate as products b_i·b_j, so that the joint distribution of their t values is an integral over
two numbers: what the reference shares, and the scatter they are divided by. Fixed nodes, so that the same input always
gives the same digits; p is right to 1e-6 for b up to 0.95 (nine builds of a candidate to one of the reference).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache

import numpy as np

from sitegen.methods.intervals import student
from sitegen.methods.roots import root

NODES = 96  # of each quadrature
_NEWTON = 4  # steps; three do for any count from 1 up
_LARGE = 1e7  # degrees of freedom from which the scatter counts as known: moves p by less than 1e-7


def critical(b: Sequence[float], df: float, error: float = 0.05) -> float:
    """Two-sided cut [-] that the largest |t| of the family exceeds with probability `error`.

    b: for each candidate the square root of its share of the correlation, sqrt(n_i/(n_i + n_0)) in a one-way layout
    [-]; df of the shared scatter [-]. One candidate gives Student's t.
    """
    if len(b) == 1:
        return student(df, error)
    least, most = student(df, error), student(df, error / len(b))  # no family needs more than Bonferroni
    tuple_b = tuple(b)
    return root(lambda cut: _outside(cut, tuple_b, df) - error, least * 0.999, most * 1.001, 1e-10)


def alone(b: Sequence[float], df: float, error: float = 0.05) -> float:
    """Two-sided error [-] at which Student's t of one comparison has the cut of the family."""
    return p_value(critical(b, df, error), b[:1], df)


def p_value(t: float, b: Sequence[float], df: float) -> float:
    """Probability [-] that the largest |t| of the family reaches this one's."""
    from scipy.special import stdtr

    if len(b) == 1:
        return float(2 * stdtr(df, -abs(t))) if math.isfinite(df) else math.erfc(abs(t) / math.sqrt(2))
    return _outside(abs(t), tuple(b), df)


def _outside(cut: float, b: tuple[float, ...], df: float) -> float:
    from scipy.special import ndtr

    z, z_weights = _normal_nodes()
    s, s_weights = scatter_nodes(df)
    inside = np.ones((len(z), len(s)))
    for each in b:
        own = math.sqrt(1 - each**2)
        middle, reach = each * z[:, None] / own, cut * s[None, :] / own
        inside *= ndtr(middle + reach) - ndtr(middle - reach)
    return max(0.0, float(1 - z_weights @ inside @ s_weights))


@lru_cache(maxsize=1)
def _normal_nodes() -> tuple[np.ndarray, np.ndarray]:
    """Gauss-Hermite nodes and weights of the standard normal distribution."""
    nodes, weights = np.polynomial.hermite.hermgauss(NODES)
    return nodes * math.sqrt(2), weights / math.sqrt(math.pi)


@lru_cache(maxsize=4)
def legendre_nodes(count: int) -> tuple[np.ndarray, np.ndarray]:
    """Gauss-Legendre nodes, ascending, and weights on [-1, 1] [-].

    Newton's method on P_n from the guess of F. G. Tricomi, Annali di Matematica 31 (1950) 93; see N. Hale and
    A. Townsend, SIAM Journal on Scientific Computing 35 (2013) A652. The three-term recurrence runs in t = 1 - x and in
    differences d_k = P_k - P_(k-1), so that nothing cancels next to 1; numpy's own takes the eigenvalues of a dense
    matrix, 0.5 s for 300 nodes.
    """
    t = np.array([1 - _tricomi(count, k) for k in range(1, count // 2 + 1)] + [1.0] * (count % 2))
    for _ in range(_NEWTON):
        value, slope = _legendre(count, t)
        t = t + value / slope
        t[count // 2 :] = 1.0  # the middle one of an odd number
    slope = _legendre(count, t)[1]
    x, weights = 1 - t, 2 / (t * (2 - t) * slope**2)
    return np.concatenate([-x, x[::-1][count % 2 :]]), np.concatenate([weights, weights[::-1][count % 2 :]])


def _tricomi(n: int, k: int) -> float:
    """The k-th largest zero of P_n, to a few parts in n^4."""
    angle = math.pi * (4 * k - 1) / (4 * n + 2)
    return (1 - (n - 1) / (8 * n**3) - (39 - 28 / math.sin(angle) ** 2) / (384 * n**4)) * math.cos(angle)


def _legendre(n: int, t: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """P_n and its slope dP_n/dx at x = 1 - t, 0 < t <= 1."""
    value, step = 1 - t, -t
    for k in range(1, n):
        step = (k * step - (2 * k + 1) * t * value) / (k + 1)
        value = value + step
    return value, n * (t * value - step) / (t * (2 - t))


@lru_cache(maxsize=256)
def scatter_nodes(df: float, count: int = NODES) -> tuple[np.ndarray, np.ndarray]:
    """Nodes and weights [-] of s = sqrt(chi-square/df), what a standard deviation on df reads where the true one is 1.

    Its density on Gauss-Legendre nodes between far quantiles; one node at 1 where df is infinite or next to it.
    """
    if df > _LARGE:
        return np.ones(1), np.ones(1)
    from scipy.special import chdtri, gammaln

    low, high = (math.sqrt(float(chdtri(df, share)) / df) for share in (1 - 1e-13, 1e-13))
    nodes, weights = legendre_nodes(count)
    s = (high + low) / 2 + (high - low) / 2 * nodes
    log = math.log(2) + df / 2 * math.log(df / 2) - gammaln(df / 2) + (df - 1) * np.log(s) - df * s**2 / 2
    weighted = weights * (high - low) / 2 * np.exp(log)
    return s, weighted / weighted.sum()
