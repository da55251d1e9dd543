"""Mean lines of profiles: what is longer than the cutoff, and so no roughness.

ISO 16610-21 (Gaussian), ISO 16610-31 (robust Gaussian regression), ISO 13565-1 (two steps). Heights and lengths [m],
even steps.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from sitegen.vocabulary import Refused

Floats = NDArray[np.float64]

ALPHA = math.sqrt(math.log(2) / math.pi)  # 0.469719: half of a sine of the cutoff passes
# Of the regression filter of second degree: (1 + t) e^-t = 1/2 with t = (pi * GAMMA)**2 / pi has the root t = 1.67835
GAMMA = math.sqrt(1.6783469900166605 / math.pi)
# Times the median of |r|, reach of Tukey's weights in ISO 16610-31 (from memory): three standard deviations, 3/0.6745
BIWEIGHT = 4.4478
MOST_ROUNDS = 30
SETTLED = 1e-3  # relative change of the median of |r| from which on nothing more is gained


def gaussian(z: Floats, step: float, cutoff: float) -> Floats:
    """Mean line of the Gaussian filter, ISO 16610-21 eq. (1) [m].

    At the ends the weights that are left are scaled up to one; half a cutoff at either end is to be dropped.

    Raises Refused "trace-short" where the profile is shorter than the cutoff.
    """
    if len(z) * step <= cutoff:
        raise Refused("trace-short")
    weights = _weights(step, cutoff, ALPHA)
    return _convolved(z, weights) / _convolved(np.ones_like(z), weights)


def two_step(z: Floats, step: float, cutoff: float) -> Floats:
    """Reference line of ISO 13565-1: a Gaussian mean line, and again, with all that lay below the first filled up [m].

    Grooves still pull it down, but less than a plain Gaussian; kept so that older values can be compared. Its ends are
    those of `gaussian`.

    Raises Refused "trace-short" where the profile is shorter than the cutoff.
    """
    return gaussian(np.maximum(z, gaussian(z, step, cutoff)), step, cutoff)


def robust_gaussian(z: Floats, step: float, cutoff: float) -> Floats:
    """Mean line of the robust Gaussian regression filter of second degree, ISO 16610-31 [m].

    A parabola is fitted about each point with Gaussian weights, and again with Tukey's biweights of what lies off it,
    until nothing changes: grooves then do not pull it down. The ends need not be dropped.

    Raises Refused "trace-short" where the profile is shorter than the cutoff.
    """
    if len(z) * step <= cutoff:
        raise Refused("trace-short")
    weights = _weights(step, cutoff, GAMMA)
    reach = len(weights) // 2
    u = np.arange(-reach, reach + 1) / reach  # scaled, so that the sums are of one size
    kernels = [(weights * u**power)[::-1] for power in range(5)]
    own = np.ones_like(z)
    mean = z - z.mean()
    last = math.inf
    height = z - z.mean()
    size = 1 << (len(z) + 2 * reach).bit_length()
    turned = [np.fft.rfft(kernel, size) for kernel in kernels]

    def summed(values: Floats, powers: int) -> list[Floats]:
        of = np.fft.rfft(values, size)
        return [np.fft.irfft(of * each, size)[reach : reach + len(z)] for each in turned[:powers]]

    for _ in range(MOST_ROUNDS):
        mean = _middle(summed(own, 5), summed(own * height, 3))
        off = height - mean
        scale = float(np.median(np.abs(off)))
        if scale <= 1e-15 or abs(scale - last) <= SETTLED * scale:
            break
        last = scale
        own = np.square(np.clip(1 - np.square(off / (BIWEIGHT * scale)), 0, None))
    return np.asarray(mean + float(z.mean()))


def _middle(s: list[Floats], t: list[Floats]) -> Floats:
    """Value at its own point of the parabola with moments s[0..4] and t[0..2], by Cramer's rule."""
    a, b, c, d, e = s
    whole = a * (c * e - d * d) - b * (b * e - c * d) + c * (b * d - c * c)
    part = t[0] * (c * e - d * d) - t[1] * (b * e - c * d) + t[2] * (b * d - c * c)
    safe = np.abs(whole) > 1e-12 * np.abs(a) ** 3
    return np.where(safe, part / np.where(safe, whole, 1.0), t[0] / np.maximum(a, 1e-300))


def _weights(step: float, cutoff: float, constant: float) -> Floats:
    """Weights of the Gaussian up to where they are nothing, normed to one [-]."""
    reach = math.ceil(cutoff * (1.0 if constant == ALPHA else 1.5) / step)
    x = step * np.arange(-reach, reach + 1)
    weights = np.exp(-math.pi * np.square(x / (constant * cutoff)))
    return np.asarray(weights / weights.sum())


def _convolved(values: Floats, weights: Floats) -> Floats:
    size = 1 << (len(values) + len(weights)).bit_length()
    full = np.fft.irfft(np.fft.rfft(values, size) * np.fft.rfft(weights, size), size)
    reach = len(weights) // 2
    return np.asarray(full[reach : reach + len(values)])
