"""What a thinner oil hints of fuel in it: the mixture rule of viscosities, by mass.

A hint and no more. Shear, water and another oil thin an oil as well; soot and oxidation thicken it and hide fuel.
"""

from __future__ import annotations

import math

from sitegen.vocabulary import Refused


def blending_number(viscosity: float) -> float:
    """Blending number [-] of a kinematic viscosity [mm2/s], above 0.2 mm2/s: 14.534 ln(ln(v + 0.8)) + 10.975.

    References: the rule named after Refutas, with the constants in common use (from memory, no standard).
    """
    return 14.534 * math.log(math.log(viscosity + 0.8)) + 10.975


def mixed(oil: float, fuel: float, share: float) -> float:
    """Kinematic viscosity [mm2/s] of an oil with a mass share [-] of fuel, from their viscosities [mm2/s].

    All at one temperature. Notes: a printed chart for 160 with 3 % of 3 mm2/s says 137; the rule disagrees with it.

    >>> round(mixed(160.0, 3.0, 0.03), 1)
    130.9
    """
    number = (1.0 - share) * blending_number(oil) + share * blending_number(fuel)
    return math.exp(math.exp((number - 10.975) / 14.534)) - 0.8


def hinted(fresh: float, sample: float, fuel: float) -> float:
    """Mass share [-] of fuel that alone would have thinned the fresh oil to the sample; below zero where it is thicker.

    Parameters: kinematic viscosities at one temperature [mm2/s]. Refuses: `fuel-not-thinner` where the fuel is as thick
    as the oil, so that it could not have thinned it.

    >>> round(hinted(160.0, 130.9, 3.0), 3)
    0.03
    """
    if fuel >= fresh:
        raise Refused("fuel-not-thinner")
    whole = blending_number(fresh) - blending_number(fuel)
    return (blending_number(fresh) - blending_number(sample)) / whole
