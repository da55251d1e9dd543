"""Blow-by flow: from what a meter shows to volume flow at stated reference conditions.

Volume says little without the pressure and temperature it is meant at. How a meter's reading becomes one at reference
conditions depends on its principle and on whether its scale shows volume as it passes ("actual") or as it would be at
conditions of the scale ("standard"). SI: m3/s, Pa absolute, K, kg/m3. Numbers or arrays of samples alike.

The gas is taken as ideal: at a crankcase's pressure air departs from it by less than 0.1 %.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from sitegen.vocabulary import Refused

Floats = NDArray[np.float64]
Some = float | Floats

Principle = Literal["positive-displacement", "thermal-mass", "float", "orifice"]
Scale = Literal["actual", "standard"]

AIR_NORMAL_DENSITY = 1.293  # of dry air at 0 degC and 101.325 kPa [kg/m3]: any handbook


def to_reference(
    flow: Some, pressure: Some, temperature: Some, reference_pressure: float, reference_temperature: float
) -> Floats:
    """Volume flow at reference conditions [unit of flow] of an actual flow at a pressure [Pa abs] and temperature [K].

    Q_ref = Q (p/p_ref) (T_ref/T): all a positive-displacement meter needs.
    """
    factor = np.asarray(pressure, dtype=float) / reference_pressure
    return np.asarray(flow * factor * reference_temperature / np.asarray(temperature, dtype=float))


def between_references(
    flow: Some, from_pressure: float, from_temperature: float, to_pressure: float, to_temperature: float
) -> Floats:
    """Volume flow [unit of flow] stated at one set of reference conditions [Pa abs, K], at another.

    What a thermal mass meter needs instead of the gas's own pressure and temperature: 0, 20 and 25 degC are 7 to 9 %
    apart.
    """
    return to_reference(flow, from_pressure, from_temperature, to_pressure, to_temperature)


def float_correction(
    scale: Scale,
    density_design: Some,
    density: Some,
    pressure_design: Some,
    pressure: Some,
    temperature_design: Some,
    temperature: Some,
) -> Floats:
    """Factor k [-] on the reading of a float or orifice meter whose gas is not the one its scale was made for.

    Parameters: densities at 0 degC and 101.325 kPa [kg/m3], pressures [Pa abs] and temperatures [K] at the meter, each
    for the scale's design and as it was. On a standard scale
    k = sqrt(density_design/density) sqrt(p/p_design) sqrt(T_design/T); on a scale in actual volume the roots of
    pressure and temperature invert: such a meter's velocity goes with the root of 1/density, and density itself turns
    actual volume into standard.

    References: any text on variable-area meters. An example from memory, no source: an air scale (1.293) for 0.2 MPa
    gauge and 20 degC, used on carbon dioxide (1.977) at 0.4 MPa gauge and 50 degC, needs 0.994.
    """
    gas = np.sqrt(np.asarray(density_design, dtype=float) / density)
    state = np.sqrt(np.asarray(pressure, dtype=float) / pressure_design * temperature_design / temperature)
    return np.asarray(gas * state if scale == "standard" else gas / state)


@dataclass(frozen=True)
class Design:
    """What the scale of a meter was made for; None where it is not stated."""

    reference_pressure: float | None = None  # Pa abs, of a standard scale
    reference_temperature: float | None = None  # K
    pressure: float | None = None  # at the meter, of a float or orifice scale [Pa abs]
    temperature: float | None = None  # K
    density: float | None = None  # of its gas at 0 degC and 101.325 kPa [kg/m3]


def corrected(
    principle: Principle,
    scale: Scale,
    flow: Some,
    design: Design,
    *,
    reference_pressure: float,
    reference_temperature: float,
    pressure: Some | None = None,
    temperature: Some | None = None,
    density: Some = AIR_NORMAL_DENSITY,
) -> Floats:
    """Volume flow at the reference conditions wanted [unit of flow] of what a meter of some principle shows.

    Parameters: `pressure` [Pa abs] and `temperature` [K] of the gas at the meter, None where not recorded; `density` of
    the gas at 0 degC and 101.325 kPa [kg/m3], which matters to float and orifice meters only. Samples where something
    needed is NaN come out NaN.

    Notes: blow-by is mostly charge, so air's density is taken where none is given; water vapour makes it lighter: 10 %
    of it by volume 4 %, 2 % of flow on a float meter. A thermal mass meter's gas calibration is not corrected here.

    Refuses: `flow-pressure-missing`, `flow-temperature-missing` where the gas's own are needed and none was recorded;
    `scale-reference-missing` for a standard scale without its reference conditions; `scale-design-missing` for a float
    or orifice scale without pressure, temperature or density it was made for; `thermal-on-actual` for a thermal mass
    meter said to show actual volume, which it cannot know.
    """
    rooted = principle in {"float", "orifice"}
    if principle == "thermal-mass" and scale == "actual":
        raise Refused("thermal-on-actual")
    shown: Some = flow
    if rooted:
        made_for = _stated("scale-design-missing", design.density, design.pressure, design.temperature)
        at = _recorded("flow-pressure-missing", pressure), _recorded("flow-temperature-missing", temperature)
        shown = flow * float_correction(scale, made_for[0], density, made_for[1], at[0], made_for[2], at[1])
    if scale == "actual":
        at = _recorded("flow-pressure-missing", pressure), _recorded("flow-temperature-missing", temperature)
        return to_reference(shown, *at, reference_pressure, reference_temperature)
    own = _stated("scale-reference-missing", design.reference_pressure, design.reference_temperature)
    return between_references(shown, own[0], own[1], reference_pressure, reference_temperature)


def _stated(code: str, *numbers: float | None) -> list[float]:
    known = [each for each in numbers if each is not None]
    if len(known) < len(numbers):
        raise Refused(code)
    return known


def _recorded(code: str, samples: Some | None) -> Some:
    if samples is None or not np.any(np.isfinite(samples)):
        raise Refused(code)
    return samples


def swept_flow(displacement: float, speed: Some, strokes: int = 4) -> Floats:
    """Volume the pistons take in [m3/s]: displacement [m3] once in `strokes`/2 turns, speed [rad/s]."""
    return np.asarray(displacement * np.asarray(speed, dtype=float) / (2 * math.pi) / (strokes / 2))


def per_displacement(flow: Some, displacement: float, speed: Some, strokes: int = 4) -> Floats:
    """Blow-by volume, at its reference conditions, over the volume swept in the same time [-]; NaN at standstill.

    Parameters: flow [m3/s], displacement [m3], speed [rad/s].
    """
    swept = swept_flow(displacement, speed, strokes)
    return np.asarray(flow / np.where(swept > 0, swept, np.nan))
