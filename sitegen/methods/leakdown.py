"""Leak-down: what a two-gauge differential test says about the area the air escapes through.

The tester is a master orifice between two gauges. Supply air passes the master, fills the cylinder and leaves through
the leak, so master and leak are two orifices in series and the pressure between them tells their ratio. Percent uses
gauge pressures, flow uses absolute ones. Everything is SI: Pa, K, m, m2, kg/s.

The area is that of an ideal nozzle passing the same flow; it removes the tester's orifice and the ambient pressure from
the reading. It does not make readings at different supply pressures or temperatures comparable: see `slit_or_hole`.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from sitegen.methods.intervals import NORMAL_95, student_95
from sitegen.vocabulary import Refused

Floats = NDArray[np.float64]

GAMMA = 1.4  # heat capacity ratio of air [-]
GAS_CONSTANT = 287.0  # of dry air [J/(kg K)]
CRITICAL_RATIO = (2 / (GAMMA + 1)) ** (GAMMA / (GAMMA - 1))  # 0.528282 [-]
STANDARD_AMBIENT = 101_325.0  # taken where none was recorded [Pa abs]
REFERENCE_PRESSURE = 100e3  # of printed flows [Pa abs]
REFERENCE_TEMPERATURE = 293.15  # of printed flows [K]

# Choked flux per p1/sqrt(T1): 0.0404184 sqrt(kg K/J)
_CHOKED = math.sqrt(GAMMA / GAS_CONSTANT) * (2 / (GAMMA + 1)) ** ((GAMMA + 1) / (2 * (GAMMA - 1)))
# Share of twice the limit of error that the difference of two independent rectangular errors stays within, 95 times in
# a hundred: the difference is triangular, P(|d| > q 2a) = (1 - q)^2.
_TRIANGULAR_95 = 1 - math.sqrt(0.05)
OCCASION = 0.02  # relative scatter between occasions where none was measured [-]; common practice, no source


def percent(supply: float | Floats, cylinder: float | Floats) -> Floats:
    """Leak-down reading [%] from two gauge pressures [Pa gauge, or any one unit].

    References: FAA AC 43.13-1B ch. 8 (80 psi over 60 psi is 25 %).
    """
    supply = np.asarray(supply, dtype=float)
    return np.asarray(100 * (supply - np.asarray(cylinder, dtype=float)) / supply)


def cylinder_from_percent(supply: float | Floats, reading: float | Floats) -> Floats:
    """Cylinder pressure [Pa gauge] from a percent scale that is linear in gauge pressure.

    Parameters: supply [Pa gauge], reading [%]. Only for a scale stated to be linear: many dials are not.
    """
    return np.asarray(np.asarray(supply, dtype=float) * (1 - np.asarray(reading, dtype=float) / 100))


def crank_torque(supply: float, bore: float, stroke: float, rod: float, angle: float) -> float:
    """Torque on the crankshaft of one piston under air [N m], without friction.

    Parameters: supply [Pa gauge], taken to stand on the piston in full; bore, stroke and connecting rod between its
    centres [m]; angle past dead centre at the top [rad].

    References: slider-crank by virtual work, p A dx/d(angle); in any text on machine dynamics.
    """
    crank, sine = stroke / 2, math.sin(angle)
    lever = crank * sine * (1 + crank * math.cos(angle) / math.sqrt(rod**2 - (crank * sine) ** 2))
    return supply * math.pi / 4 * bore**2 * lever


def mass_flux(upstream: float | Floats, downstream: float | Floats, temperature: float | Floats) -> Floats:
    """Mass flow per effective area of an ideal nozzle [kg/(s m2)], choked or subsonic.

    Parameters: upstream stagnation and downstream static pressure [Pa abs], upstream temperature [K]. No flow where
    downstream is not below upstream.

    References: Saint-Venant and Wantzel; in any text on gas dynamics.
    """
    given = (upstream, downstream, temperature)
    if all(isinstance(each, float) for each in given) and min(upstream, temperature) > 0:
        return np.asarray(_one_flux(*map(float, given)))
    p1 = np.asarray(upstream, dtype=float)
    r = np.clip(np.asarray(downstream, dtype=float) / p1, CRITICAL_RATIO, 1.0)  # below it the flow no longer grows
    root = np.sqrt(np.asarray(temperature, dtype=float))
    subsonic = np.sqrt(2 * GAMMA / (GAMMA - 1) * (r ** (2 / GAMMA) - r ** ((GAMMA + 1) / GAMMA)) / GAS_CONSTANT)
    return np.asarray(p1 / root * np.where(r <= CRITICAL_RATIO, _CHOKED, subsonic))


def _one_flux(upstream: float, downstream: float, temperature: float) -> float:
    """`mass_flux` of single numbers: an array of one number takes twenty times as long."""
    r = min(max(downstream / upstream, CRITICAL_RATIO), 1.0)
    if r <= CRITICAL_RATIO:
        return float(upstream / math.sqrt(temperature) * _CHOKED)
    subsonic = math.sqrt(2 * GAMMA / (GAMMA - 1) * (r ** (2 / GAMMA) - r ** ((GAMMA + 1) / GAMMA)) / GAS_CONSTANT)
    return upstream / math.sqrt(temperature) * subsonic


def area_ratio(
    supply: float | Floats,
    cylinder: float | Floats,
    ambient: float | Floats,
    supply_temperature: float | Floats = REFERENCE_TEMPERATURE,
    cylinder_temperature: float | Floats = REFERENCE_TEMPERATURE,
) -> Floats:
    """Effective leak area over master-orifice area [-] of the two in series.

    Parameters: supply, cylinder [Pa gauge], ambient [Pa abs], air temperatures upstream of master and leak [K]. Zero
    where the cylinder gauge is not below the supply gauge; infinite where it is not above ambient.
    """
    given = (supply, cylinder, ambient, supply_temperature, cylinder_temperature)
    if all(isinstance(each, float) for each in given) and min(supply, cylinder) + ambient > 0 < min(given[3:]):
        return np.asarray(_one_ratio(*map(float, given)))
    p0 = np.asarray(ambient, dtype=float)
    p1, p2 = np.asarray(supply, dtype=float) + p0, np.asarray(cylinder, dtype=float) + p0
    out = mass_flux(p2, p0, cylinder_temperature)
    into = mass_flux(p1, np.minimum(p2, p1), supply_temperature)
    with np.errstate(divide="ignore"):
        return np.asarray(np.where(out > 0, into / np.where(out > 0, out, 1.0), np.inf))


def _one_ratio(
    supply: float, cylinder: float, ambient: float, supply_temperature: float, cylinder_temperature: float
) -> float:
    """`area_ratio` of single numbers."""
    p1, p2 = supply + ambient, cylinder + ambient
    out = _one_flux(p2, ambient, cylinder_temperature)
    return _one_flux(p1, min(p2, p1), supply_temperature) / out if out > 0 else math.inf


def cylinder_for(
    ratio: float | Floats,
    supply: float | Floats,
    ambient: float | Floats,
    supply_temperature: float | Floats = REFERENCE_TEMPERATURE,
    cylinder_temperature: float | Floats = REFERENCE_TEMPERATURE,
) -> Floats:
    """Cylinder gauge pressure [Pa gauge] that a leak of this area ratio [-] would give: the inverse of `area_ratio`."""
    ratio, supply = np.asarray(ratio, dtype=float), np.asarray(supply, dtype=float)
    low, high = np.zeros(np.broadcast(ratio, supply).shape), supply + 0 * ratio
    for _ in range(80):  # area falls steadily as the cylinder pressure rises, so halving cannot fail
        middle = (low + high) / 2
        too_open = area_ratio(supply, middle, ambient, supply_temperature, cylinder_temperature) > ratio
        low, high = np.where(too_open, middle, low), np.where(too_open, high, middle)
    return np.asarray((low + high) / 2)


def volume_flow(mass_flow: float | Floats) -> Floats:
    """Dry-air volume flow [m3/s] at 100 kPa and 20 degC of a mass flow [kg/s]."""
    density = REFERENCE_PRESSURE / (GAS_CONSTANT * REFERENCE_TEMPERATURE)
    return np.asarray(np.asarray(mass_flow, dtype=float) / density)


def leak_flow(
    area: float | Floats,
    cylinder: float | Floats,
    ambient: float | Floats,
    temperature: float | Floats = REFERENCE_TEMPERATURE,
) -> Floats:
    """Dry-air volume flow [m3/s at 100 kPa, 20 degC] through a leak area [m2] at a cylinder reading [Pa gauge]."""
    p0 = np.asarray(ambient, dtype=float)
    flux = mass_flux(np.asarray(cylinder, dtype=float) + p0, p0, temperature)
    return volume_flow(np.asarray(np.asarray(area, dtype=float) * flux))


def orifice_area(diameter: float) -> float:
    """Area [m2] of a round hole of this diameter [m]."""
    return math.pi / 4 * diameter**2


# ---- one tester ---------------------------------------------------------------------------------------------------


def bore_error(diameter: float, limit: float) -> float:
    """Relative standard error [-] of an orifice's area from the limit of error of its diameter [m], rectangular.

    Shared by every reading that rests on that orifice: it does not average out, and a ratio of two readings is free
    of it.
    """
    return 2 * limit / diameter / math.sqrt(3)


@dataclass(frozen=True)
class Scatter:
    """Relative standard deviation [-] with its degrees of freedom [-]."""

    sd: float
    df: float


def drop_reach(gauge_limit: float) -> float:
    """What two gauges can be off by together, 95 times in a hundred [unit of the limit]: 1.553 limits of one."""
    return _TRIANGULAR_95 * 2 * gauge_limit


@dataclass(frozen=True)
class TesterFactor:
    """What the master's nominal area is to be multiplied with to pass the air it passes."""

    factor: float  # [-]
    log_se: float  # standard error of its logarithm from the occasions [-]
    between: Scatter  # of the factor from occasion to occasion, repeats of an occasion averaged
    gauge: tuple[float, float]  # the factor over `factor` had the drop been read too low, too high by `drop_reach` [-]
    seen: bool  # the drop at the orifice stands clear of the gauge class
    occasions: int
    readings: int

    def half(self, bore: float) -> tuple[float, float]:
        """Half-widths at 95 % of the logarithm, below and above, with the orifice's own standard error `bore` [-]."""
        rest = math.hypot(student_95(self.between.df) * self.log_se, NORMAL_95 * bore)
        low, high = (math.inf if not 0 < each < math.inf else abs(math.log(each)) for each in self.gauge)
        return math.hypot(low, rest), math.hypot(high, rest)

    def better_than(self, bore: float, nominal: float) -> bool:
        """Whether the orifice read tells the scale better than the tester's own bore.

        Parameters: standard errors of the areas of the orifice read and of the tester's own [-].

        Notes: chosen once a tester and before a cylinder is looked at, never reading by reading, which would take
        whichever happens to suit.
        """
        return self.seen and max(self.half(bore)) < NORMAL_95 * nominal


def tester_factor(
    supply: Sequence[float],
    cylinder: Sequence[float],
    ambient: Sequence[float],
    temperature: Sequence[float],
    occasions: Sequence[Hashable],
    *,
    area_shares: Sequence[float],
    gauge_limit: float,
) -> TesterFactor:
    """Factor of a tester from readings of reference orifices put in the cylinder's place.

    Parameters, one a reading: gauge pressures [Pa gauge], ambient [Pa abs], temperature of the air [K], occasion, area
    of the orifice read over the tester's nominal one [-]; limit of error of each gauge [Pa]. Geometric mean of the
    occasions' geometric means: repeats of one occasion share its error, so an occasion counts once however often it
    was read.

    Notes: a gauge errs the same way at the orifice as at a cylinder, so its error is no scatter here and is not less
    for more readings: `gauge` carries it, to be taken together with the same error at the cylinder (`leak_area`).
    Below three occasions the scatter between them is taken as `OCCASION`, known.

    Refuses: `reference-below-detection` where a cylinder gauge is not below the supply.
    """
    p1, p2, p0, warm = (np.asarray(each, dtype=float) for each in (supply, cylinder, ambient, temperature))
    reach = drop_reach(gauge_limit)

    def logs(off: float) -> NDArray[np.float64]:
        """Logarithm of the factor by occasion, had every drop been `off` larger than read."""
        ratios = area_ratio(p1, p1 - np.clip(p1 - p2 + off, 0.0, None), p0, warm, warm)
        groups: dict[Hashable, list[float]] = {}
        for ratio, share, occasion in zip(ratios.tolist(), area_shares, occasions, strict=True):
            log = math.inf if ratio <= 0 else -math.inf if math.isinf(ratio) else math.log(share / ratio)
            groups.setdefault(occasion, []).append(log)
        return np.array([math.fsum(each) / len(each) for each in groups.values()])

    found = logs(0.0)
    if not np.all(np.isfinite(found)):
        raise Refused("reference-below-detection")
    middle, count = float(np.mean(found)), len(found)
    sd, df = (float(np.std(found, ddof=1)), float(count - 1)) if count > 2 else (OCCASION, math.inf)
    ends = [float(np.mean(logs(off))) - middle for off in (reach, -reach)]
    return TesterFactor(
        factor=math.exp(middle),
        log_se=sd / math.sqrt(count),
        between=Scatter(sd, df),
        gauge=(math.exp(ends[0]), math.exp(ends[1])),
        seen=float(np.mean(p1 - p2)) > gauge_limit,
        occasions=count,
        readings=len(p1),
    )


PLAIN = (0.9, 1.1)  # a tester's scale needs no word; common practice, no source
POSSIBLE = (0.7, 1.4)  # outside it is a mistake, not a tester; common practice, no source


def judged(factor: TesterFactor, bore: float) -> Literal["", "look at the orifice", "tester or unit"]:
    """What a tester's scale says about its readings: an orifice passes about the air of its bore.

    Parameters: standard error of the area of the orifice read [-]. "tester or unit" where the whole interval, gauges
    included, lies outside `POSSIBLE`; "look at the orifice" where it lies outside `PLAIN`.
    """
    below, above = factor.half(bore)
    low, high = factor.factor * math.exp(-below), factor.factor * math.exp(above)
    if high < POSSIBLE[0] or low > POSSIBLE[1]:
        return "tester or unit"
    return "look at the orifice" if high < PLAIN[0] or low > PLAIN[1] else ""


# ---- readings to an area ------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Area:
    """Leak area of a cylinder at a check [m2], with the 95 % interval of its independent errors.

    Below detection `value` is None, `low` 0 and `high` the limit.
    """

    value: float | None
    low: float
    high: float
    se: float  # gauges and repeats together [m2]
    df: float  # of se; inf where only the gauges count
    n: int  # repeats
    gauge_low: float  # the area had the drop been read too large, and too small, by what the gauges can err [m2]; the
    gauge_high: float  # first is the larger one where a reference orifice turns the error round

    @property
    def below(self) -> bool:
        """True where the pressure drop lies within the gauge class."""
        return self.value is None


def _positive(areas: Sequence[float]) -> bool:
    return all(0 < area < math.inf for area in areas)


def pooled_repeats(groups: Sequence[Sequence[float]]) -> Scatter:
    """Repeat scatter, relative to the level, pooled over cylinders and checks.

    Parameters: areas of the repeats of each cylinder and check [any one unit]. Groups of one reading, and groups with a
    reading of zero or without bound (a gauge at zero) say nothing about it. From the logarithms, so it holds for
    scatter up to about 20 %.

    Refuses: `not-repeated` where no group has two readings.
    """
    useful = [np.log(group) for group in groups if len(group) > 1 and _positive(group)]
    df = sum(len(logs) - 1 for logs in useful)
    if df == 0:
        raise Refused("not-repeated")
    total = sum(float(np.sum((logs - np.mean(logs)) ** 2)) for logs in useful)
    return Scatter(math.sqrt(total / df), df)


def alike(first: Scatter, second: Scatter) -> bool:
    """Whether two scatters may be one: no F test at 5 %, two-sided, tells them apart."""
    from scipy.special import fdtr  # imports scipy

    if first.sd <= 0 or second.sd <= 0:
        return first.sd == second.sd
    share = float(fdtr(first.df, second.df, (first.sd / second.sd) ** 2))
    return 0.025 <= share <= 0.975


def together(first: Scatter, second: Scatter) -> Scatter:
    """Two scatters pooled by their degrees of freedom."""
    df = first.df + second.df
    return Scatter(math.sqrt((first.df * first.sd**2 + second.df * second.sd**2) / df), df)


def repeats_disagree(areas: Sequence[float], scatter: Scatter, looked_at: int) -> bool:
    """Whether a repeat lies further from the others of its check than repeats do.

    Parameters: areas of the repeats of one check [any one unit], pooled repeat scatter (relative), number of readings
    looked at in the program: the 5 % of a false alarm are shared among them (Bonferroni). Each reading is held against
    the mean of the others by Student's t on the logarithms; one reading alone never disagrees.

    Notes: with two repeats nothing tells which of them is wrong, so the check is doubted and no reading is dropped.
    """
    from scipy.special import stdtr

    if len(areas) < 2 or not _positive(areas) or scatter.sd <= 0:
        return False  # a reading of zero or without bound is refused as a value
    logs = np.log(areas)
    others = (np.sum(logs) - logs) / (len(logs) - 1)
    t = np.abs(logs - others) / (scatter.sd * math.sqrt(1 + 1 / (len(logs) - 1)))
    return bool(2 * stdtr(scatter.df, -float(np.max(t))) < 0.05 / looked_at)


def leak_area(
    supply: Sequence[float],
    cylinder: Sequence[float],
    *,
    master_area: float,
    gauge_limit: float,
    ambient: float,
    supply_temperature: float = REFERENCE_TEMPERATURE,
    cylinder_temperature: float = REFERENCE_TEMPERATURE,
    repeats: Scatter | None = None,
    reference: tuple[float, float] = (1.0, 1.0),
) -> Area:
    """Leak area of one cylinder at one check from its repeats, with the interval of the independent errors.

    Parameters: gauge pressures of the repeats [Pa gauge], master area times tester factor [m2], limit of error of each
    gauge [Pa], ambient [Pa abs], temperatures [K], repeat scatter pooled by `pooled_repeats`, `TesterFactor.gauge`
    where the master's area rests on a reference orifice.

    Notes: near supply the area goes with the root of the pressure drop, so the bounds of the drop are carried through
    the area function and no standard error is linearised. Each gauge errs evenly within its limit and on its own; the
    bounds of the drop are the 95 % points of the triangular difference, 1.553 limits. A gauge errs the same way at
    every repeat, so its part is not divided by the number of repeats; the repeat part is. Both half-widths combine in
    quadrature. The bore of the orifice is not in here: it is common to the tester (`bore_error`). An error of the
    gauges moves the reading of a reference orifice and that of the cylinder together, so both are taken at once.

    Refuses: `gauges-disagree` where the cylinder gauge exceeds the supply gauge by more than both limits,
    `cylinder-at-ambient` where a cylinder gauge shows no pressure.
    """
    p1, p2 = np.asarray(supply, dtype=float), np.asarray(cylinder, dtype=float)
    if len(p1) == 0 or len(p1) != len(p2):
        raise ValueError("one supply and one cylinder pressure a repeat")
    drop, level = float(np.mean(p1 - p2)), float(np.mean(p1))
    if drop < -2 * gauge_limit:
        raise Refused("gauges-disagree", drop=drop)
    if float(np.min(p2)) <= 0:
        raise Refused("cylinder-at-ambient")

    def at(drop: float, supply: float) -> float:
        held = min(max(drop, 0.0), supply)
        return master_area * _one_ratio(supply, supply - held, ambient, supply_temperature, cylinder_temperature)

    reach = drop_reach(gauge_limit)
    low, middle, high = (at(drop + off, level) for off in (-reach, 0.0, reach))
    if drop <= gauge_limit:
        # Scatter of the repeats is part of the upper limit too: it is carried as scatter of the drop itself.
        seen = float(np.std(p1 - p2, ddof=1)) / math.sqrt(len(p1)) if len(p1) > 1 else 0.0
        high = at(max(drop, 0.0) + math.hypot(reach, student_95(max(len(p1) - 1, 1)) * seen), level)
        return Area(None, 0.0, high, high / (2 * NORMAL_95), math.inf, len(p1), 0.0, high)
    value = float(np.mean([at(p - q, p) for p, q in zip(p1.tolist(), p2.tolist(), strict=True)]))
    # a drop truly larger than read would have been one at the reference orifice too, and its factor the smaller
    low, high = low * reference[1] if low else 0.0, high * reference[0]
    least, most = min(low, middle, high), max(low, middle, high)
    gauge_se = (most - least) / (2 * NORMAL_95)
    if repeats is None:
        se, df, half = gauge_se, math.inf, 0.0
    else:
        repeat_se = repeats.sd * value / math.sqrt(len(p1))
        se = math.hypot(gauge_se, repeat_se)
        df = repeats.df * (se / repeat_se) ** 4 if repeat_se > 0 else math.inf  # Satterthwaite, gauges known
        half = student_95(repeats.df) * repeat_se
    return Area(
        value=value,
        low=max(value - math.hypot(middle - least, half), 0.0),  # an area is not below nothing
        high=value + math.hypot(most - middle, half),
        se=se,
        df=df,
        n=len(p1),
        gauge_low=low,
        gauge_high=high,
    )


# ---- what the area means ------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Path:
    """Whether a leak behaves as a slit or as a hole when the supply pressure changes."""

    word: Literal["slit", "hole", "cannot tell"]
    ratio: float  # area at the higher over area at the lower supply pressure [-]
    low: float
    high: float
    slit_ratio: float  # what a laminar slit would give; a hole gives 1


def slit_flux_ratio(cylinder_high: float, cylinder_low: float, ambient: float) -> float:
    """Mass flow of a laminar slit at one cylinder pressure over that at another [-]. Pressures in [Pa gauge], [Pa abs].

    Isothermal plane Poiseuille flow of a gas: mass flow goes with p1^2 - p2^2.
    """
    return ((cylinder_high + ambient) ** 2 - ambient**2) / ((cylinder_low + ambient) ** 2 - ambient**2)


def slit_or_hole(low: Area, high: Area, cylinder_low: float, cylinder_high: float, ambient: float) -> Path:
    """Slit or hole, from the areas of one cylinder at two supply pressures of one occasion and one tester.

    Parameters: areas at the lower and the higher supply pressure [m2], mean cylinder readings there [Pa gauge], ambient
    [Pa abs]. A hole keeps its area; the area a slit of a few um seems to have grows nearly with pressure. The word is
    given only where the interval of the ratio holds one of the two and not the other; the tester's common errors
    cancel.

    Refuses: `below-detection` where one of the areas is.
    """
    if low.value is None or high.value is None:
        raise Refused("below-detection")
    log = math.log(high.value / low.value)
    down = math.hypot(_log(high.value, high.low), _log(low.high, low.value))
    up = math.hypot(_log(high.high, high.value), _log(low.value, low.low))
    lower, upper = math.exp(log - down), math.exp(log + up)
    holes = mass_flux(np.array([cylinder_low, cylinder_high]) + ambient, ambient, REFERENCE_TEMPERATURE)
    slit = slit_flux_ratio(cylinder_high, cylinder_low, ambient) * float(holes[0] / holes[1])
    return Path(kind_of_leak(lower, upper, slit), math.exp(log), lower, upper, slit)


def kind_of_leak(low: float, high: float, slit: float) -> Literal["slit", "hole", "cannot tell"]:
    """What the interval of the ratio of two areas [-] holds: one, as of a hole, or the ratio of a slit, not both."""
    is_hole, is_slit = low <= 1 <= high, low <= slit <= high
    if is_hole == is_slit:
        return "cannot tell"
    return "hole" if is_hole else "slit"


def _log(upper: float, lower: float) -> float:
    return math.log(upper / lower) if lower > 0 else math.inf


def crankcase_share_of_flow(crankcase_flow: float, total_flow: float, relative_error: float = 0.1) -> float:
    """Share [-] of the leak that the sealed crankcase's meter shows. Both flows [m3/s, same reference conditions].

    Parameters: relative_error [-]: limit of error of the two flows together. A share above one is one as long as that
    error explains it.

    Refuses: `crankcase-flow-exceeds-leak` where it does not; `below-detection` where there is no leak to share.
    """
    if total_flow <= 0:
        raise Refused("below-detection")
    share = crankcase_flow / total_flow
    if share > 1 + relative_error:
        raise Refused("crankcase-flow-exceeds-leak", share=share)
    return min(share, 1.0)
