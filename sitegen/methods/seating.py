"""Seating: how the leak areas of an engine's cylinders fall with exposure, and how much leak is still to lose.

Model of one engine: A_c(x) = P_c + (S_c - P_c) exp(-x / x_s), start S and plateau P of each cylinder, one scale x_s.
`x` is the exposure (sliding distance, hours, revolutions ...) and areas are in any one unit; results come in the same
units.

Errors have two levels: the scatter of each reading, and the occasion (set-up, day, temperature) that moves all
cylinders of a check together. The engine-mean curve carries both and alone decides about x_s; differences between
cylinders carry only the first. Where scatter grows with level, as it does for leak areas, all scatters here are
relative [-].
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from sitegen.methods.intervals import student, student_95
from sitegen.methods.leakdown import Scatter
from sitegen.methods.roots import root
from sitegen.vocabulary import Refused

Floats = NDArray[np.float64]

MIN_CHECKS = 4
MIN_CYLINDERS = 2
MIN_RESIDUAL_DF = 3
_GRID = 160  # scales tried between the bounds, evenly in the logarithm
_ALIKE = 1e-12  # share by which levels differ that are one and the same number
_TINY = 1e-18  # variance below which there is none
_HULL = 161  # scales looked at inside the region of x_s


@dataclass(frozen=True)
class Estimate:
    """A number with its 95 % interval, in the unit of what it estimates.

    An unbounded end is infinite. Without a value it is a limit only: below detection.
    """

    value: float | None
    low: float
    high: float


def widened(found: Estimate, share: float) -> Estimate:
    """An estimate with another error beside: a relative half-width [-] of 95 %, combined in quadrature at each end.

    Without a value the limits themselves move by the share; an unbounded end stays so.
    """
    if share == 0:
        return found
    if found.value is None:
        return Estimate(None, found.low - share * abs(found.low), found.high + share * abs(found.high))
    part = share * abs(found.value)
    return Estimate(
        found.value,
        found.value - math.hypot(found.value - found.low, part),
        found.value + math.hypot(found.high - found.value, part),
    )


@dataclass(frozen=True)
class GaugeShares:
    """What the gauges alone can do to the curve of one cylinder: relative half-widths of 95 % [-], for `widened`."""

    start: float
    plateau: float
    scale: float
    to_lose: tuple[float, ...]  # by check of the fit


def gauge_shares(
    fit: Seating, i: int, x: Sequence[float], areas: Sequence[float], shares: Sequence[float], orifice: float = 0.0
) -> GaugeShares:
    """Gauge part of the estimates of the fit's cylinder `i`, from its areas and what the gauges can move each by [-].

    Parameters: shares are signed as `orifice` is taken from them: what the same error does to the reading of the
    reference orifice that the tester's scale rests on [-], alike for every area.

    Notes: a gauge errs alike at every check, so no scatter shows it. The area goes with the root of the pressure drop:
    an error of the drop moves an area A by a share that grows as 1/A^2, and a difference of two areas by at most the
    share at the lower one. The late part of the curve is stretched by another share than the early part; about half of
    the difference of the two shares goes to the distance, and from there into what rests on it, leak to lose at x by
    x/x_s times it. Simulated in tests/methods/gauges_in_seating.py.
    """
    plateau, start = fit.curve[i]
    first, last = fit.checks[0], fit.checks[-1]

    def at(level: float, check: int) -> float:
        return min((shares[check] + orifice) * (areas[check] / level) ** 2, 1.0) if level > 0 else 1.0

    low, high = at(plateau, last), at(start, first)
    bend = abs(low - high) / 2
    drop = abs(start - plateau) / start if start > 0 else 1.0
    return GaugeShares(
        start=math.hypot(high - orifice, drop * x[first] / fit.best_scale * bend),
        plateau=abs(low - orifice),
        scale=bend,
        to_lose=tuple(math.hypot(low - orifice, min(x[check] / fit.best_scale * bend, 1.0)) for check in fit.checks),
    )


# ---- without a model ----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Change:
    """What a cylinder's leak area did between two checks: later minus earlier, so a fall is negative."""

    value: float | None  # None where one of the two levels is below detection
    low: float
    high: float
    word: Literal["fell", "grew", "no change beyond scatter"]


def change(before: Estimate, after: Estimate, occasion: Scatter | None) -> Change:
    """Difference of one cylinder's level between two checks read with one tester, with its 95 % interval.

    Parameters: levels with the intervals of their **independent** errors, relative scatter between occasions [-]. What
    is common to the tester cannot turn the sign: it scales the difference by the same share as the levels.

    Notes: half-widths of the parts combine in quadrature, each end by itself, so intervals need not be symmetrical.

    Refuses: `occasion-scatter-unknown` without the scatter between occasions: a change is one only beyond it.
    """
    if occasion is None:
        raise Refused("occasion-scatter-unknown")
    value: float | None = None
    if before.value is None or after.value is None:
        # A level below detection enters as bounds, never as half its limit.
        first, last = before.value or 0.0, after.value or 0.0
        shared = student_95(occasion.df) * occasion.sd * math.hypot(first, last)
        low, high = after.low - before.high - shared, after.high - before.low + shared
    else:
        value = after.value - before.value
        shared = student_95(occasion.df) * occasion.sd * math.hypot(before.value, after.value)
        low = value - math.hypot(after.value - after.low, before.high - before.value, shared)
        high = value + math.hypot(after.high - after.value, before.value - before.low, shared)
    return Change(value, low, high, "fell" if high < 0 else "grew" if low > 0 else "no change beyond scatter")


# ---- the shared curve ---------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class LeftOut:
    """A cylinder that is not in the shared fit."""

    row: int
    code: Literal["reading-missing", "own-scale"]
    p: float | None = None  # of the common-scale test, before the division by the number of cylinders


@dataclass(frozen=True)
class Seating:
    """The shared fit of one engine's cylinders. Sequences over cylinders follow `rows`, over checks `checks`."""

    rows: tuple[int, ...]  # of the areas given, in the fit
    checks: tuple[int, ...]  # columns of the areas given, in the fit
    left_out: tuple[LeftOut, ...]
    scale: Estimate | None  # x_s; None where its region is open
    scale_low: float  # ends of the region of x_s; 0 or inf where open: the other end is then a limit
    scale_high: float
    start: tuple[Estimate, ...]  # S by cylinder, at no exposure; empty where open above or at the bound
    plateau: tuple[Estimate, ...]  # P by cylinder; empty where open above
    to_lose: tuple[tuple[Estimate, ...], ...]  # leak still to lose, [cylinder][check]; a growing leak is negative
    open_end: Literal["", "below", "above"]  # where no end of x_s was found
    mean_scatter: Scatter  # of the engine mean about its curve, as used for the intervals
    own_scatter: Scatter  # of a cylinder beside the engine mean
    common_scale_tested: bool  # two cylinders cannot be tested against each other
    misfit_tested: bool  # the mean curve's residual was compared with a scatter from elsewhere
    curve: tuple[tuple[float, float], ...]  # (P, S) by cylinder at the best x_s, for drawing only
    best_scale: float  # for drawing only


@dataclass(frozen=True)
class _Solved:
    """Least squares on [1, b] for each scale tried: arrays [scale] or [scale, curve]."""

    basis: Floats  # [scale, check], exp(-(x - x_1)/x_s)
    level: Floats  # P
    drop: Floats  # coefficient of b: leak to lose at the first check
    rss: Floats
    centre: Floats  # weighted mean of b [scale]
    spread: Floats  # weighted sum of squares of b [scale]
    residual: Floats  # [scale, curve, check]


def _solve(x: Floats, weights: Floats, curves: Floats, scales: Floats) -> _Solved:
    basis = np.exp(-(x - x[0]) / scales[:, None])
    total = float(np.sum(weights))
    centre = basis @ weights / total
    off = basis - centre[:, None]
    spread = off**2 @ weights
    mean = curves @ weights / total
    drop = (off * weights) @ curves.T / spread[:, None]
    level = mean - drop * centre[:, None]
    residual = curves[None] - level[:, :, None] - drop[:, :, None] * basis[:, None, :]
    return _Solved(basis, level, drop, residual**2 @ weights, centre, spread, residual)


@dataclass(frozen=True)
class _Profile:
    """Residual sum of squares of one curve over its scale, and where it is least."""

    best: float
    rss: float
    at_bound: Literal["", "below", "above"]
    of: Callable[[float], float]
    grid: Floats
    grid_rss: Floats


def _log_scales(x: Floats) -> Floats:
    """Logarithms of the scales to try.

    Below a twentieth of the first gap, exp(-gap/x_s) is nothing and the curve is "first reading apart, rest level";
    above twenty times the range it is a straight line: beyond these bounds the fit no longer changes.
    """
    return np.linspace(math.log((x[1] - x[0]) / 20), math.log(20 * (x[-1] - x[0])), _GRID)


def _profile(x: Floats, weights: Floats, curve: Floats) -> _Profile:
    """Least squares over the scale: a grid finds the valley, then the root of the exact slope finds its floor.

    Refuses: `no-change-beyond-scatter` where all levels are one and the same number, which any scale draws alike.
    """
    if float(np.ptp(curve)) <= _ALIKE * float(np.max(np.abs(curve))):
        raise Refused("no-change-beyond-scatter")
    grid = _log_scales(x)
    curves = curve[None]
    rss = _solve(x, weights, curves, np.exp(grid)).rss[:, 0]

    since, total = x - x[0], float(np.sum(weights))
    level = float(curve @ weights) / total

    def one(log_scale: float) -> tuple[float, Floats, Floats]:
        basis = np.exp(-since / math.exp(log_scale))
        off = basis - float(basis @ weights) / total
        drop = float((off * weights) @ curve) / float((off * off) @ weights)
        return drop, basis, curve - level - drop * off

    def value(log_scale: float) -> float:
        residual = one(log_scale)[2]
        return float((residual * residual) @ weights)

    def slope(log_scale: float) -> float:
        # d RSS/d ln x_s = -2 sum w r D db/d ln x_s, exact because P and D are the least-squares ones (Golub, Pereyra)
        drop, basis, residual = one(log_scale)
        return -2 * drop * float((residual * basis * since) @ weights) / math.exp(log_scale)

    index = int(np.argmin(rss))
    at_bound: Literal["", "below", "above"] = "below" if index == 0 else "above" if index == _GRID - 1 else ""
    best = float(grid[index])
    if not at_bound:
        left, right = float(grid[index - 1]), float(grid[index + 1])
        if slope(left) < 0 < slope(right):
            best = root(slope, left, right, 1e-13)
        else:
            raise Refused("fit-not-converged")
    return _Profile(math.exp(best), value(best), at_bound, value, grid, rss)


def _region(profile: _Profile, cut: float) -> tuple[float, float, bool, bool]:
    """Ends of the scales whose residual sum of squares stays within `cut`, and whether each end is open."""
    inside = np.flatnonzero(profile.grid_rss <= cut)
    first, last = (int(inside[0]), int(inside[-1])) if len(inside) else (-1, -1)
    best = math.log(profile.best)
    # The outermost crossings: a region in two pieces counts as one, which is wider.
    left_in = best if first < 0 or profile.grid[first] > best else float(profile.grid[first])
    right_in = best if last < 0 or profile.grid[last] < best else float(profile.grid[last])
    open_low, open_high = first == 0, last == _GRID - 1

    def beyond(log_scale: float) -> float:
        return profile.of(log_scale) - cut

    def end(inner: float, outer: float) -> float:
        return root(beyond, inner, outer, 1e-12) if beyond(outer) > 0 > beyond(inner) else inner

    low, high = left_in, right_in
    if not open_low:
        low = end(left_in, float(profile.grid[int(np.searchsorted(profile.grid, left_in)) - 1]))
    if not open_high:
        high = end(right_in, float(profile.grid[int(np.searchsorted(profile.grid, right_in, side="right"))]))
    return math.exp(low), math.exp(high), open_low, open_high


@dataclass(frozen=True)
class _Engine:
    """An engine's areas made ready: cylinders brought to a common level, weights by check."""

    x: Floats
    weights: Floats  # [check]
    ratio: Floats  # [cylinder] level of the cylinder over that of the engine
    curves: Floats  # [cylinder, check], areas over ratio


def _prepare(x: Floats, areas: Floats, relative: bool) -> _Engine:
    if not relative:
        return _Engine(x, np.ones(len(x)), np.ones(len(areas)), areas)
    if float(np.min(areas)) <= 0:
        raise Refused("level-not-positive")
    logs = np.log(areas)
    ratio = np.exp(logs.mean(axis=1) - logs.mean())
    curves = areas / ratio[:, None]
    mean = curves.mean(axis=0)
    weights = mean**-2
    # Weights from the smooth curve where it is sound, so that a low reading does not weigh itself up.
    tried = _solve(x, weights, mean[None], np.exp(_log_scales(x)))
    smooth = mean - tried.residual[int(np.argmin(tried.rss[:, 0])), 0]
    if float(np.min(smooth / mean)) > 0.5:
        weights = smooth**-2
    return _Engine(x, weights, ratio, curves)


def _own_scatter(engine: _Engine, scale: float) -> Scatter:
    """Scatter of cylinders beside their mean, at one scale: free of what an occasion does to all of them."""
    contrasts = engine.curves - engine.curves.mean(axis=0)
    df = (len(contrasts) - 1) * (len(engine.x) - 2)
    rss = float(np.sum(_solve(engine.x, engine.weights, contrasts, np.array([scale])).rss))
    return Scatter(math.sqrt(rss / df) if df else math.nan, df)


def _own_scale_p(engine: _Engine, elsewhere: Scatter | None, own_elsewhere: Scatter | None) -> Floats:
    """p values of "this cylinder has the scale of the others", one a cylinder (at least three).

    The cylinder minus the mean of the others is, under a common scale, an exponential of that scale; its residual
    about one is tested against the scatter of the others beside each other. The common scale is a nuisance: the
    statistic is taken where residual plus misfit of the others' mean curve is least, so a scale that is itself badly
    known accuses nobody. (Testing only in the direction of a slightly other scale found a cylinder four times slower in
    92 % of simulated engines with five checks, this in all; at four checks the two find 39 and 34 %.)
    """
    from scipy.special import fdtrc

    count, checks = engine.curves.shape
    x, w = engine.x, engine.weights
    scales = np.exp(_log_scales(x))
    means = (np.sum(engine.curves, axis=0) - engine.curves) / (count - 1)  # of the others
    mean_rss = _solve(x, w, means, scales).rss
    apart = _solve(x, w, engine.curves - means, scales).rss
    ps = []
    for row in range(count):
        rss = mean_rss[:, row]
        least = int(np.argmin(rss))
        others = np.delete(engine.curves, row, axis=0)
        rest = _own_scatter(_Engine(x, w, np.ones(len(others)), others), float(scales[least]))
        if own_elsewhere is not None:
            rest = pooled([rest, own_elsewhere]) or rest
        variance = float(rss[least]) / (checks - 3)
        if elsewhere is not None:
            variance = ((checks - 3) * variance + elsewhere.df * elsewhere.sd**2) / (checks - 3 + elsewhere.df)
        own = max(rest.sd**2, _TINY)  # readings copied from cylinder to cylinder have none
        misfit = (rss - rss[least]) / max(variance, own / len(others))
        residual = apart[:, row] / (own * (1 + 1 / len(others)))
        ps.append(float(fdtrc(checks - 2, rest.df, float(np.min(residual + misfit)) / (checks - 2))))
    return np.array(ps)


def _complete(areas: Floats) -> tuple[list[int], list[int]]:
    """Rows and columns to keep so that no cell is missing: drops checks or cylinders, whichever keeps more cells."""
    missing = ~np.isfinite(areas)
    by_check = [k for k in range(areas.shape[1]) if not missing[:, k].any()]
    by_row = [c for c in range(areas.shape[0]) if not missing[c].any()]
    everything = list(range(areas.shape[0])), list(range(areas.shape[1]))
    if len(by_row) >= MIN_CYLINDERS and len(by_row) * areas.shape[1] >= len(by_check) * areas.shape[0]:
        return by_row, everything[1]
    return everything[0], by_check


def _sized(
    x: Sequence[float], areas: Sequence[Sequence[float]], fewest: int = MIN_CHECKS, least_df: int = MIN_RESIDUAL_DF
) -> tuple[Floats, Floats, list[int], list[int]]:
    table = np.asarray(areas, dtype=float)
    axis = np.asarray(x, dtype=float)
    if table.ndim != 2 or table.shape[1] != len(axis):
        raise ValueError("areas has a row a cylinder and a column a check")
    if np.any(np.diff(axis) <= 0):
        raise ValueError("exposure rises from check to check")
    if len(table) < MIN_CYLINDERS:
        raise Refused("few-cylinders", found=len(table), needed=MIN_CYLINDERS)
    rows, checks = _complete(table)
    if len(checks) < fewest:
        raise Refused("few-checks", found=len(checks), needed=fewest)
    if len(rows) * (len(checks) - 2) - 1 < least_df:
        raise Refused("few-residual-df")
    return axis[checks], table[np.ix_(rows, checks)], rows, checks


def _shared(
    x: Floats,
    table: Floats,
    rows: list[int],
    relative: bool,
    elsewhere: Scatter | None = None,
    own_elsewhere: Scatter | None = None,
) -> tuple[_Engine, list[int], list[LeftOut], bool]:
    """Cylinders that share one scale; those that do not are named, the worst first, and the rest is tested again."""
    left: list[LeftOut] = []
    count = len(rows)
    engine = _prepare(x, table, relative)
    while len(rows) > MIN_CYLINDERS:
        ps = _own_scale_p(engine, elsewhere, own_elsewhere)
        worst = int(np.argmin(ps))
        if ps[worst] >= 0.05 / len(rows):
            break
        if 2 * (len(left) + 1) >= count:
            raise Refused("no-common-scale")
        left.append(LeftOut(rows[worst], "own-scale", float(ps[worst])))
        rows = rows[:worst] + rows[worst + 1 :]
        table = np.delete(table, worst, axis=0)
        engine = _prepare(x, table, relative)
    return engine, rows, left, count > MIN_CYLINDERS


def mean_residual(x: Sequence[float], areas: Sequence[Sequence[float]], *, relative: bool = True) -> Scatter:
    """Scatter of an engine's mean readings about the best curve, for pooling over engines.

    Parameters as for `fit`. Refuses as `fit` does for sizes, missing readings and cylinders of their own scale.
    """
    axis, table, rows, _ = _sized(x, areas)
    engine, _, _, _ = _shared(axis, table, rows, relative)
    profile = _profile(axis, engine.weights, engine.curves.mean(axis=0))
    df = len(axis) - 3
    return Scatter(math.sqrt(profile.rss / df), df)


def own_residual(x: Sequence[float], areas: Sequence[Sequence[float]], *, relative: bool = True) -> Scatter:
    """Scatter of an engine's cylinders beside their mean, for pooling over engines. As `mean_residual` in all else."""
    axis, table, rows, _ = _sized(x, areas)
    engine, _, _, _ = _shared(axis, table, rows, relative)
    return _own_scatter(engine, _profile(axis, engine.weights, engine.curves.mean(axis=0)).best)


def pooled(scatters: Sequence[Scatter]) -> Scatter | None:
    """Root mean square of scatters weighted by their degrees of freedom; None of none."""
    df = sum(each.df for each in scatters)
    return Scatter(math.sqrt(sum(each.df * each.sd**2 for each in scatters) / df), df) if df else None


def fit(
    x: Sequence[float],
    areas: Sequence[Sequence[float]],
    *,
    relative: bool = True,
    elsewhere: Scatter | None = None,
    own_elsewhere: Scatter | None = None,
) -> Seating:
    """Shared fit of the cylinders of one engine by variable projection, with all gates.

    Parameters: exposure of each **fired** check of one assembly of the rings, rising; areas [cylinder][check], NaN
    where there is none; `relative`: scatter grows with level (weights 1/level^2), else it is the same at all levels;
    `elsewhere`: scatter of an engine mean about its curve from **other** engines of the program (`mean_residual` of
    each, `pooled`); `own_elsewhere`: likewise that of cylinders beside their mean (`own_residual`), without which four
    checks hardly show that a cylinder has a scale of its own. The cold build is never passed: it lies on another curve.

    Notes. x_s has the scales whose residual sum of squares of the engine-mean curve stays below least + s^2 F(1, nu).
    S, P and leak still to lose are profiled over that region: at each scale inside it, what is left of the F budget
    goes to the mean curve's coefficient, and the contrast of the cylinder to the mean adds its own F in quadrature.
    With `elsewhere` the variance s^2 is pooled with it and nu grows by its degrees of freedom; an engine whose own
    residual is larger at 1 % is refused instead (at 5 % the refusals themselves cost half a point of coverage).

    Beyond the plain rule "an open region gives nothing": giving numbers only where a region happens to close selects
    lucky draws (x_s 2 km, checks from 3.9 km: closed in 8 draws of 100, and covered by 77 % of those), so what is
    still bounded is given as well. Open below (x_s may be arbitrarily short): no x_s, but its upper limit; the leak
    still to lose and P stay bounded, S has no upper limit. Open above (no end to the seating in sight): no x_s and no
    P, but the lower limits of x_s and of the leak still to lose. The scatter of the mean is never taken smaller than
    the cylinders' own makes it. Simulated coverage is in tests/methods/coverage.py.

    Refuses: `few-cylinders`, `few-checks`, `few-residual-df`, `level-not-positive`; `no-common-scale` where half of the
    cylinders or more have a scale of their own; `curve-does-not-fit` where the mean curve's residual exceeds what
    `elsewhere` explains; `no-change-beyond-scatter`; `scale-at-bound` where the best curve is a straight line;
    `scale-open` where both ends are; `fit-not-converged`.

    References: Golub and Pereyra (1973), variable projection; Bates and Watts (1988), Nonlinear Regression Analysis,
    6.1 (profile t and F(1, nu)).
    """
    from scipy.special import fdtrc, fdtri

    axis, table, rows, checks = _sized(x, areas)
    left = [LeftOut(row, "reading-missing") for row in range(len(areas)) if row not in rows]
    engine, rows, own, tested = _shared(axis, table, rows, relative, elsewhere, own_elsewhere)
    left += own
    count, freedom = len(rows), len(axis) - 3
    weights, mean = engine.weights, engine.curves.mean(axis=0)
    profile = _profile(axis, weights, mean)
    scatter = Scatter(math.sqrt(profile.rss / freedom), freedom)
    if elsewhere is not None:
        if fdtrc(freedom, elsewhere.df, scatter.sd**2 / max(elsewhere.sd**2, _TINY)) < 0.01:
            raise Refused("curve-does-not-fit", residual=scatter.sd, elsewhere=elsewhere.sd)
        scatter = pooled([scatter, elsewhere]) or scatter
    # A mean of cylinders cannot scatter less than their own scatter makes it: on one or two degrees of freedom a
    # residual that happens to be tiny would else close regions that are open.
    own_scatter = _own_scatter(engine, profile.best)
    if own_elsewhere is not None:
        own_scatter = pooled([own_scatter, own_elsewhere]) or own_scatter
    scatter = Scatter(max(scatter.sd, own_scatter.sd / math.sqrt(count), math.sqrt(_TINY)), scatter.df)
    variance = scatter.sd**2
    flat = float(np.sum(weights * (mean - np.sum(weights * mean) / np.sum(weights)) ** 2))
    if flat - profile.rss <= 2 * variance * float(fdtri(2, scatter.df, 0.95)):
        raise Refused("no-change-beyond-scatter")
    if profile.at_bound == "above":
        raise Refused("scale-at-bound")
    budget = variance * float(fdtri(1, scatter.df, 0.95))
    low, high, open_low, open_high = _region(profile, profile.rss + budget)
    if open_low and open_high:
        raise Refused("scale-open")

    middle = (math.log(low) + math.log(high)) / 2
    reach = (math.log(high) - math.log(low)) / 2
    # close at the ends, where the budget falls off; the best one last
    inside = np.exp(middle - reach * np.cos(np.linspace(0, np.pi, _HULL)))
    scales = np.append(inside, profile.best)
    mean_rss = _solve(axis, weights, mean[None], scales).rss[:, 0]
    spent = np.clip((mean_rss - profile.rss) / budget, 0.0, 1.0)
    hulls = _hulls(engine, scales, spent, budget, own_scatter)
    open_end: Literal["", "below", "above"] = (
        "below" if open_low or profile.at_bound == "below" else "above" if open_high else ""
    )
    lose, start, plateau = [], [], []
    for each, falls in zip(hulls.cylinders, hulls.falls, strict=True):
        lost = each.to_lose
        if open_end == "above":  # a falling leak may fall for ever, a growing one grow for ever
            lost = tuple(_open(one, upwards=falls) for one in lost)
        else:
            plateau.append(each.plateau)
            if not profile.at_bound:
                start.append(_open(each.start, upwards=falls) if open_end else each.start)
        lose.append(lost)
    return Seating(
        rows=tuple(rows),
        checks=tuple(checks),
        left_out=tuple(left),
        scale=None if open_end else Estimate(profile.best, low, high),
        scale_low=0.0 if open_low else low,
        scale_high=math.inf if open_high else high,
        start=tuple(start),
        plateau=tuple(plateau),
        to_lose=tuple(lose),
        open_end=open_end,
        mean_scatter=scatter,
        own_scatter=own_scatter,
        common_scale_tested=tested,
        misfit_tested=elsewhere is not None,
        curve=hulls.curve,
        best_scale=profile.best,
    )


def fit_on_scale(
    x: Sequence[float],
    areas: Sequence[Sequence[float]],
    scale: Estimate,
    *,
    elsewhere: Scatter | None = None,
    own_elsewhere: Scatter | None = None,
) -> Seating:
    """Plateau, start and leak still to lose of an engine whose scale is known from elsewhere: its blow-by, say.

    Parameters as for `fit`, with scatters relative to the level; `scale`: with its 95 % interval, above zero and
    bounded, independent of these readings. Three checks do, two where both scatters are known from elsewhere.

    Notes. At each scale of the interval P and S are linear; the interval of `scale` spends the F budget as the square
    of how far (in its logarithm) it has gone to its end, so that the two errors combine in quadrature. Whether a
    cylinder shares the scale cannot be tested with so few checks. Simulated coverage: tests/methods/coverage.py.

    Refuses: `few-cylinders`, `few-checks`, `level-not-positive`; `scale-open` where the interval is not bounded;
    `curve-does-not-fit` as `fit` does.
    """
    from scipy.special import fdtrc, fdtri

    if scale.value is None or not 0 < scale.low <= scale.value <= scale.high < math.inf:
        raise Refused("scale-open")
    borrowed = elsewhere is not None and own_elsewhere is not None
    axis, table, rows, checks = _sized(x, areas, fewest=2 if borrowed else 3, least_df=-1)
    engine = _prepare(axis, table, relative=True)
    freedom, count = len(axis) - 2, len(rows)
    mean = engine.curves.mean(axis=0)
    rss = float(_solve(axis, engine.weights, mean[None], np.array([scale.value])).rss[0, 0])
    known = [] if elsewhere is None else [elsewhere]
    if freedom:
        about = Scatter(math.sqrt(rss / freedom), freedom)
        ratio = about.sd**2 / max(elsewhere.sd**2, _TINY) if elsewhere is not None else 0.0
        if elsewhere is not None and fdtrc(freedom, elsewhere.df, ratio) < 0.01:
            raise Refused("curve-does-not-fit", residual=about.sd, elsewhere=elsewhere.sd)
        known.append(about)
    scatter = pooled(known)
    beside = [] if own_elsewhere is None else [own_elsewhere]
    if freedom:
        beside.append(_own_scatter(engine, scale.value))
    own_scatter = pooled(beside)
    if scatter is None or own_scatter is None:
        raise Refused("few-checks", found=len(checks), needed=3)
    scatter = Scatter(max(scatter.sd, own_scatter.sd / math.sqrt(count), math.sqrt(_TINY)), scatter.df)
    way = np.append(np.linspace(-1.0, 1.0, _HULL), 0.0)  # to the ends of the interval; the best one last
    down, up = math.log(scale.value / scale.low), math.log(scale.high / scale.value)
    scales = scale.value * np.exp(np.where(way < 0, way * down, way * up))
    budget = scatter.sd**2 * float(fdtri(1, scatter.df, 0.95))
    hulls = _hulls(engine, scales, way**2, budget, own_scatter)
    return Seating(
        rows=tuple(rows),
        checks=tuple(checks),
        left_out=tuple(LeftOut(row, "reading-missing") for row in range(len(areas)) if row not in rows),
        scale=scale,
        scale_low=scale.low,
        scale_high=scale.high,
        start=tuple(own.start for own in hulls.cylinders),
        plateau=tuple(own.plateau for own in hulls.cylinders),
        to_lose=tuple(own.to_lose for own in hulls.cylinders),
        open_end="",
        mean_scatter=scatter,
        own_scatter=own_scatter,
        common_scale_tested=False,
        misfit_tested=bool(freedom) and elsewhere is not None,
        curve=hulls.curve,
        best_scale=scale.value,
    )


@dataclass(frozen=True)
class _OfCylinder:
    start: Estimate
    plateau: Estimate
    to_lose: tuple[Estimate, ...]


@dataclass(frozen=True)
class _Hulls:
    """What is concluded of each cylinder over the scales that are possible."""

    cylinders: tuple[_OfCylinder, ...]
    falls: tuple[bool, ...]
    curve: tuple[tuple[float, float], ...]  # (P, S) at the best scale


def _hulls(engine: _Engine, scales: Floats, spent: Floats, budget: float, own_scatter: Scatter) -> _Hulls:
    """Union of the intervals over the scales, the last of which is the best one.

    `spent` is how much of the F budget each scale has used; what is left goes to the mean curve's coefficients, and the
    contrast of the cylinder to the mean adds its own F in quadrature. Areas are those of the cylinder itself.
    """
    from scipy.special import fdtri

    count, total = len(engine.curves), float(np.sum(engine.weights))
    solved = _solve(engine.x, engine.weights, engine.curves, scales)
    contrast = own_scatter.sd**2 * float(fdtri(1, own_scatter.df, 0.95)) * (1 - 1 / count)
    width = np.sqrt((1 - spent) * (budget + contrast))
    with np.errstate(over="ignore"):
        back = np.minimum(np.exp(engine.x[0] / scales), 1e12)  # b at no exposure

    def hull(values: Floats, unit_variance: Floats, row: int) -> Estimate:
        half = width * np.sqrt(unit_variance) * engine.ratio[row]
        scaled = values * engine.ratio[row]
        return Estimate(float(scaled[-1]), float(np.min(scaled - half)), float(np.max(scaled + half)))

    made = []
    for row in range(count):
        drop, level = solved.drop[:, row], solved.level[:, row]
        made.append(
            _OfCylinder(
                start=hull(level + drop * back, 1 / total + (back - solved.centre) ** 2 / solved.spread, row),
                plateau=hull(level, 1 / total + solved.centre**2 / solved.spread, row),
                to_lose=tuple(hull(drop * b, b**2 / solved.spread, row) for b in solved.basis.T),
            )
        )
    return _Hulls(
        tuple(made),
        tuple(bool(solved.drop[-2, row] >= 0) for row in range(count)),
        tuple(
            (float(p * r), float((p + d * back[-1]) * r))
            for p, d, r in zip(solved.level[-1], solved.drop[-1], engine.ratio, strict=True)
        ),
    )


def _open(found: Estimate, *, upwards: bool) -> Estimate:
    return replace(found, high=math.inf) if upwards else replace(found, low=-math.inf)


# ---- two checks far apart -------------------------------------------------------------------------------------------

FAR = 6.0  # seating distances between two checks; see `two_checks`
SLOWER = 1.3  # by how much the same rings may seat slower than before (common practice, no source)
SLOWEST = 4.0  # by how much a cylinder that was seen to keep off the common scale
MIN_BUILDS = 3  # that tell how long one more may take
_MOST = 700.0  # distances; exp of more is no number


def longest(scale: Estimate) -> float:
    """The longest scale to reckon with where another curve of the same engine gave `scale`, in its unit.

    Its upper limit, and no less than 1.3 times its value: rings fitted anew seat on another bore.
    """
    return max(scale.high, SLOWER * (scale.high if scale.value is None else scale.value))


def longest_of_builds(scales: Sequence[float]) -> float:
    """The longest scale to reckon with in one more build, from those of other builds (above zero), in their unit.

    exp(mean + t(0.95, n - 1) s sqrt(1 + 1/n)) of their logarithms, one-sided, and no less than 1.3 times their
    geometric mean: three builds that agree by chance promise too much.

    Refuses: `few-builds-for-scale` below three builds.

    References: G. J. Hahn and W. Q. Meeker, Statistical intervals (1991), section 4.8.
    """
    if len(scales) < MIN_BUILDS:
        raise Refused("few-builds-for-scale", found=len(scales), needed=MIN_BUILDS)
    logs = np.log(np.asarray(scales, dtype=float))
    n = len(logs)
    half = student(n - 1, 0.1) * float(logs.std(ddof=1)) * math.sqrt(1 + 1 / n)
    return math.exp(float(logs.mean()) + max(half, math.log(SLOWER)))


@dataclass(frozen=True)
class Apart:
    """What two checks tell of a cylinder whose curve is not known."""

    distances: float  # between them, in the longest scale to reckon with [-]; FAR are needed
    change: Change
    to_lose: Estimate  # at the later check: no value, an upper limit only
    reason: str = ""  # code, where they tell nothing


def two_checks(change: Change, distances: float) -> Apart:
    """Upper limit of the leak still to lose at the later of two checks, `distances` longest scales [-] apart.

    An approach on a scale no longer than that has at the later check at most U/(exp(k) - 1) to lose, U the upper limit
    of the fall between the two, k their distance: what falls there is exp(k) - 1 times what is left (exact).

    Notes: a fall beyond scatter, or a growth, is no approach that is over, so neither gives an answer. Nor do checks
    closer than `FAR`: a cylinder four times slower than the others, which few checks do not show, would pass for seated
    in 73 of 100 engines with checks 3 apart, in 44 at 4 and in 2 at 6; a leak that falls as one over the square of the
    distance in 48, 5 and 0. All else tried stays below 2.5, but for one that falls as one over the distance and has a
    thirtieth left: it passes at any. Where nothing is left "seated" is said in 96 of 100; with a hundredth of the
    allowed amount, checks just 6 apart show its fall, and it is not. (tests/methods/two_checks.py, 10 000 draws each.)
    """
    upper = max(-change.low, 0.0)
    most = upper / math.expm1(min(distances, _MOST)) if distances > 0 else math.inf
    reason = (
        "checks-close" if distances < FAR
        else "fell-between" if change.high < 0
        else "grew-between" if change.low > 0
        else ""
    )  # fmt: skip
    return Apart(distances, change, Estimate(None, -math.inf, most), reason)


# ---- the state ------------------------------------------------------------------------------------------------------

Met = Literal["yes", "no", "cannot tell"]


Route = Literal["curve", "two-checks", "last-change", "level"]
Word = Literal["seated", "still seating", "not seated", "above the limit", "cannot tell"]


_LOSE: Final = "leak still to lose"
_LEVEL: Final = "leak area"
_FALL: Final = "last change"


@dataclass(frozen=True)
class Criterion:
    """One line of "why this state"."""

    what: Literal["leak still to lose", "leak area", "last change"]
    limit: float
    found: Estimate | None  # None where it was refused
    met: Met
    reason: str = ""  # code, where it was refused


@dataclass(frozen=True)
class State:
    """A cylinder's state after a check, with what led to it."""

    word: Word
    reason: str  # code
    criteria: tuple[Criterion, ...]
    by: Literal["leak still to lose", "leak area", "last change"]  # the criterion that decides, or would
    route: Route


def at_most(found: Estimate, limit: float) -> Met:
    """Whether a number is at most a limit, given its 95 % interval."""
    return "yes" if found.high <= limit else "no" if found.low > limit else "cannot tell"


def state(
    level: Estimate,
    level_limit: float,
    to_lose: Estimate | Refused,
    to_lose_limit: float,
    last_change: Change | None = None,
    apart: Apart | Refused | None = None,
) -> State:
    """State of a cylinder by the program's rule. All in one unit of area.

    Parameters: level at the check and its limit; leak still to lose there (or why the fit refuses it) and the amount
    allowed; change since the check before; what two checks far apart tell, or why they tell nothing.

    Notes, in this order:

    - *seated*: the upper limits of both the leak still to lose and the level are within their limits;
    - *still seating*: the lower limit of the leak still to lose exceeds the amount allowed; where the fit has no
      answer, the level is above its limit and fell beyond scatter since the check before: it is not done, and it moves;
    - a leak that grows along its curve is never *seated* for that: what it has to lose is less than nothing;
    - *not seated*: the level is above its limit and no longer falls: the upper limit of the leak still to lose is
      within the amount allowed or, where the fit has no answer, the level grew beyond scatter;
    - *above the limit*: the level is above its limit, so that it is not seated, and nothing tells whether it falls;
    - else *cannot tell*. That the last change was within scatter decides nothing: close checks and noise would too.

    Where the fit has no answer, or one that reaches across the amount allowed, the upper limit that two checks give
    stands in for its own.
    """
    level_met = at_most(level, level_limit)
    met: Met = "cannot tell"
    code = "to-lose-undecided"
    route: Route = "curve"
    found: Estimate | None = None
    if isinstance(to_lose, Estimate):
        found, met = to_lose, at_most(to_lose, to_lose_limit)
    else:
        code = to_lose.code
    grows = found is not None and found.high < 0
    fitted = found is not None
    if met == "cannot tell" and isinstance(apart, Apart) and not apart.reason:
        by_two = at_most(apart.to_lose, to_lose_limit)
        if by_two == "yes" or found is None:
            found, met, code, route = apart.to_lose, by_two, "to-lose-undecided", "two-checks"
    elif apart is not None and not fitted:
        code = apart.reason if isinstance(apart, Apart) else apart.code
        route = "two-checks"
    rows = [
        Criterion(_LOSE, to_lose_limit, found, met, code if found is None else ""),
        Criterion(_LEVEL, level_limit, level, level_met),
    ]
    fall = None
    if last_change is not None and not fitted:
        fallen = None if last_change.value is None else -last_change.value
        fall = Estimate(fallen, -last_change.high, -last_change.low)
        rows.append(Criterion(_FALL, 0.0, fall, at_most(fall, 0.0)))
    criteria = tuple(rows)
    if fall is not None and level_met == "no":
        if fall.low > 0:
            return State("still seating", "last-fall", criteria, _FALL, "last-change")
        if fall.high < 0:
            return State("not seated", "leak-grew", criteria, _FALL, "last-change")
    if grows:
        word: Word = "not seated" if level_met == "no" else "cannot tell"
        return State(word, "leak-grows", criteria, _LOSE, route)
    if met == "yes" and level_met == "yes":
        return State("seated", "both-limits-hold", criteria, _LOSE, route)
    if met == "no":
        return State("still seating", "leak-still-to-lose", criteria, _LOSE, route)
    if met == "yes" and level_met == "no":
        return State("not seated", "no-longer-falls", criteria, _LEVEL, route)
    if met == "yes":
        return State("cannot tell", "level-undecided", criteria, _LEVEL, route)
    if level_met == "no":
        return State("above the limit", code, criteria, _LEVEL, "level")
    return State("cannot tell", code, criteria, _LOSE, route)
