"""Simulated engines: how often the printed intervals hold the truth, and how often there is no interval.

    python tests/methods/coverage.py --draws 10000

runs every case with that many engines (some twenty minutes on two idle cores) and prints the table. The normal test run
uses few draws with the tolerance that this number justifies (test_coverage.py).

The truth is built without the code under test: the leak falls by Euler steps of a ten-millionth of the scale, the leak
still to lose is level minus plateau, gauge readings come from the isentropic relations in Mach-number form.
"""

from __future__ import annotations

import argparse
import math
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from sitegen.methods import leakdown, seating
from sitegen.methods.intervals import NORMAL_95, student_95
from sitegen.methods.leakdown import Scatter
from sitegen.vocabulary import Refused

Floats = NDArray[np.float64]
NOMINAL = 0.944  # what the printed intervals must reach: 95 % less what 10 000 draws cannot tell apart

RUN_IN = (3.9, 9.6, 18.0, 21.0)  # sliding distance at the checks [km]
ALL = (*RUN_IN, 880.0)
THREE, TWO = (3.9, 9.6, 21.0), (3.9, 21.0)
LAST = 3  # column of the check the state is asked at


@dataclass
class Tally:
    """Counts of one case."""

    engines: int = 0
    refused: Counter[str] = field(default_factory=Counter)
    open_ends: Counter[str] = field(default_factory=Counter)
    left_out: Counter[str] = field(default_factory=Counter)
    held: dict[str, list[float]] = field(default_factory=dict)  # share of the engine's cylinders whose interval holds
    upper: list[float] = field(default_factory=list)  # upper limit of the leak still to lose at the last run-in check

    def add(self, what: str, holds: list[bool]) -> None:
        if holds:
            self.held.setdefault(what, []).append(sum(holds) / len(holds))

    def share(self, what: str) -> float:
        """Share of intervals that hold, where one was printed."""
        return float(np.mean(self.held[what])) if self.held.get(what) else math.nan

    def printed(self, what: str) -> float:
        return len(self.held.get(what, [])) / self.engines

    def wrong(self, what: str) -> float:
        """Wrong intervals as a share of all engines, printed or not."""
        return sum(1 - share for share in self.held.get(what, [])) / self.engines

    @property
    def tolerance(self) -> float:
        """Three standard errors of a share of 94.4 % over the engines; cylinders of an engine count as one."""
        return 3 * math.sqrt(NOMINAL * (1 - NOMINAL) / self.engines)


@dataclass(frozen=True)
class Case:
    """One kind of engine, and what is asked of it."""

    name: str
    x: tuple[float, ...] = ALL
    scale: float = 4.0
    start: float = 0.9
    plateau: float = 0.25
    occasion: float = 0.02  # relative, all cylinders of a check together
    own: float = 0.03  # relative, each reading
    flat: float = 0.0  # absolute instead: scatter of each reading, 0.6 of it for the occasion
    cylinders: int = 4
    builds: int = 1  # of the program: above one, each is fitted with the scatter of the others
    pool_own: bool = False  # with the cylinders' own scatter of the others as well
    slow: float = 1.0  # cylinder 1 has this many times the scale
    first: float = 1.0  # the first fired reading is this much of what it should be
    cold: float = 0.0  # a cold-build reading at 0 km, this much of S, is passed as well: against the rule
    given: float = 0.0  # the scale is known from blow-by, with this standard error of its logarithm on 8 df
    others: tuple[float, ...] = ()  # checks of the other builds, where they differ
    claim: str = "coverage"  # or "refusal", or "shown" where nothing is claimed


CASES = (
    Case("right model, no occasion effect", occasion=0.0),
    Case("occasion effect 2 %"),
    Case("the same, program of 6 builds", builds=6),
    Case("run-in checks only, one build", x=RUN_IN),
    Case("run-in checks only, 6 builds", x=RUN_IN, builds=6),
    Case("run-in checks only, 6 builds, scale 8 km", x=RUN_IN, builds=6, scale=8.0),
    Case("scale 2 km, 6 builds", builds=6, scale=2.0),
    Case("scatter the same at all levels", flat=0.01),
    Case("scatter grows with level, 1.5 to 0.15 mm2", start=1.5, plateau=0.15, own=0.05, occasion=0.03),
    Case("two cylinders, 6 builds", cylinders=2, builds=6),
    Case("one cylinder four times slower", slow=4.0),
    Case("one cylinder four times slower, 6 builds", slow=4.0, builds=6),
    Case("run-in checks only, one slow, 6 builds", x=RUN_IN, slow=4.0, builds=6, claim="shown"),
    Case(
        "run-in checks only, one slow, 6 builds, own pooled", x=RUN_IN, slow=4.0, builds=6, pool_own=True, claim="shown"
    ),
    Case("run-in checks only, 6 builds, own pooled", x=RUN_IN, builds=6, pool_own=True),
    Case("one cylinder four times slower, 6 builds, own pooled", slow=4.0, builds=6, pool_own=True),
    Case("scale from blow-by, three checks, one build", x=THREE, given=0.08),
    Case("scale from blow-by, three checks, 6 builds", x=THREE, given=0.08, builds=6, others=RUN_IN, pool_own=True),
    Case(
        "scale from blow-by 8 km, three checks, 6 builds",
        x=THREE,
        given=0.09,
        scale=8.0,
        builds=6,
        others=RUN_IN,
        pool_own=True,
    ),
    Case("scale from blow-by, two checks, 6 builds", x=TWO, given=0.08, builds=6, others=RUN_IN, pool_own=True),
    Case("no drop at all", start=0.25, claim="refusal"),
    Case("no drop at all, 6 builds", start=0.25, builds=6, claim="refusal"),
    Case("first fired reading 10 % low, 6 builds", first=0.9, builds=6, claim="shown"),
    Case("cold build 25 % low passed against the rule, 6 builds", cold=0.75, builds=6, claim="shown"),
)


@dataclass(frozen=True)
class Engine:
    x: tuple[float, ...]
    level: Floats
    plateau: Floats
    start: Floats
    areas: Floats


def draw(case: Case, rng: np.random.Generator) -> Engine:
    """One engine: its truth and its readings."""
    start = case.start * np.exp(rng.normal(0, 0.1, case.cylinders))
    plateau = case.plateau * np.exp(rng.normal(0, 0.1, case.cylinders))
    if case.claim == "refusal":
        start = plateau
    scale = np.full(case.cylinders, case.scale)
    scale[0] *= case.slow
    x = np.array(case.x)
    left = (1 - 1e-7) ** (x / scale[:, None] * 1e7)  # dA/dx = -(A - P)/x_s in Euler steps
    level = plateau[:, None] + (start - plateau)[:, None] * left
    if case.flat:
        noise = 0.6 * case.flat * rng.normal(size=len(x)) + case.flat * rng.normal(size=level.shape)
        areas = level + noise
    else:
        shared = 1 + case.occasion * rng.normal(size=len(x))
        areas = level * shared * (1 + case.own * rng.normal(size=level.shape))
    areas[:, 0] *= case.first
    if case.cold:
        cold = case.cold * start * (1 + case.own * rng.normal(size=case.cylinders))
        return Engine((0.0, *case.x), np.column_stack([start, level]), plateau, start, np.column_stack([cold, areas]))
    return Engine(case.x, level, plateau, start, areas)


def run(case: Case, draws: int, seed: int = 20260105) -> Tally:
    """Tally of `draws` engines of one case."""
    rng = np.random.default_rng([seed, CASES.index(case) if case in CASES else 999])
    tally = Tally()
    while tally.engines < draws:
        engines = [draw(replace(case, slow=1.0) if case.builds > 1 else case, rng) for _ in range(case.builds)]
        known = [draw(replace(case, x=case.others), rng) for _ in engines] if case.others else engines
        scatters = [_residuals(case, engine) for engine in known] if case.builds > 1 else [None]
        if case.slow != 1:  # one build of the program has the slow cylinder: each in turn
            engines = [draw(case, rng) for _ in engines]
        for index, engine in enumerate(engines):
            others = [s for i, s in enumerate(scatters) if i != index and s is not None]
            means, own = seating.pooled([s[0] for s in others]), seating.pooled([s[1] for s in others])
            given = _given(case, rng) if case.given else None
            _judge(case, engine, means, own if case.pool_own else None, tally, given)
    return tally


def _residuals(case: Case, engine: Engine) -> tuple[Scatter, Scatter] | None:
    asked = engine.x, engine.areas.tolist()
    try:
        mean = seating.mean_residual(*asked, relative=not case.flat)
        return mean, seating.own_residual(*asked, relative=not case.flat) if case.pool_own else mean
    except Refused:
        return None


def _given(case: Case, rng: np.random.Generator) -> seating.Estimate:
    """A scale with its interval, as another record of the same engine gives it."""
    centre = case.scale * math.exp(case.given * rng.normal())
    half = student_95(8) * case.given * math.sqrt(rng.chisquare(8) / 8)
    return seating.Estimate(centre, centre * math.exp(-half), centre * math.exp(half))


def _judge(
    case: Case,
    engine: Engine,
    elsewhere: Scatter | None,
    own: Scatter | None,
    tally: Tally,
    given: seating.Estimate | None = None,
) -> None:
    tally.engines += 1
    asked = engine.x, engine.areas.tolist()
    try:
        if given is not None:
            found = seating.fit_on_scale(*asked, given, elsewhere=elsewhere, own_elsewhere=own)
        else:
            found = seating.fit(*asked, relative=not case.flat, elsewhere=elsewhere, own_elsewhere=own)
    except Refused as why:
        tally.refused[why.code] += 1
        return
    tally.open_ends[found.open_end or "closed"] += 1
    for left in found.left_out:
        tally.left_out["slow" if left.row == 0 and case.slow != 1 else "like the others"] += 1
    tally.add("scale or its limit", [found.scale_low <= case.scale <= found.scale_high])
    if found.scale is not None:
        tally.add("scale", [found.scale.low <= case.scale <= found.scale.high])

    def holds(estimate: seating.Estimate, truth: float) -> bool:
        # a millionth of a mm2 is nothing: at 880 km the truth is 1e-95
        return estimate.low - 1e-6 <= truth <= estimate.high + 1e-6

    rows = list(enumerate(found.rows))
    if found.plateau:
        tally.add("plateau", [holds(found.plateau[i], engine.plateau[row]) for i, row in rows])
    if found.start:
        tally.add("start", [holds(found.start[i], engine.start[row]) for i, row in rows])
    lost = engine.level - engine.plateau[:, None]
    last = min(LAST, len(case.x) - 1) + len(engine.x) - len(case.x)
    for what, check in (("to lose, first check", 0), ("to lose, 21 km", last)):
        tally.add(what, [holds(found.to_lose[i][check], lost[row, check]) for i, row in rows])
    tally.upper.append(float(np.median([found.to_lose[i][last].high for i, _ in rows])))


# ---- leak areas from gauges -----------------------------------------------------------------------------------------

PSI = 6894.757293168  # Pa
AMBIENT = 98.5e3  # Pa


def nozzle(p1: Floats, p2: float | Floats) -> Floats:
    """Flux of an ideal nozzle in Mach-number form, arbitrary units (NASA Glenn, "Mass Flow Choking"; from memory)."""
    mach = np.sqrt(np.clip(5 * ((p1 / p2) ** (2 / 7) - 1), 0, 1))
    return np.asarray(p1 * mach * (1 + 0.2 * mach**2) ** -3)


def gauges(ratio: Floats, supply: Floats) -> Floats:
    """Cylinder gauge pressure [Pa] of leaks of this area ratio behind the master, by halving."""
    low, high = np.zeros_like(supply), supply.copy()
    for _ in range(60):
        middle = (low + high) / 2
        more_in = nozzle(supply + AMBIENT, middle + AMBIENT) > ratio * nozzle(middle + AMBIENT, AMBIENT)
        low, high = np.where(more_in, middle, low), np.where(more_in, high, middle)
    return (low + high) / 2


def leak_areas(draws: int, seed: int = 20260105) -> Tally:
    """Areas of 0.03 to 0.8 mm2 read twice on gauges of class 0.5 psi, repeat scatter 3 % known from 40 repeats."""
    rng = np.random.default_rng([seed, 1])
    master, limit = leakdown.orifice_area(1.016e-3), 0.5 * PSI
    truth = np.exp(rng.uniform(np.log(0.03e-6), np.log(0.8e-6), draws))
    supply = 80 * PSI + rng.normal(0, 0.5 * PSI, (2, draws))
    cylinder = gauges(truth * (1 + 0.03 * rng.normal(size=(2, draws))) / master, supply)
    off = rng.uniform(-limit, limit, (2, draws))  # each gauge errs the same way at both repeats
    repeats = 0.03 * np.sqrt(rng.chisquare(40, draws) / 40)
    tally = Tally(engines=draws)
    for i in range(draws):
        try:
            area = leakdown.leak_area(
                supply[:, i] + off[0, i],
                cylinder[:, i] + off[1, i],
                master_area=master,
                gauge_limit=limit,
                ambient=AMBIENT,
                repeats=Scatter(float(repeats[i]), 40),
            )
        except Refused as why:
            tally.refused[why.code] += 1
            continue
        tally.add("below detection" if area.below else "leak area", [bool(area.low <= truth[i] <= area.high)])
    return tally


@dataclass(frozen=True)
class Orifice:
    """A tester, the reference orifice read on it and the leak it is used on."""

    area: float  # true leak [mm2]
    bore: float = 0.70  # nominal bore of the reference orifice [mm]
    tolerance: float = 0.005  # its limit of error [mm]
    nominal: float = 0.05  # limit of error of the tester's own bore, relative area [-]
    occasions: int = 10
    scatter: float = 0.01  # between occasions, relative [-]
    limit: float = 0.25  # of each gauge [psi]
    along: float = 0.0  # share of the gauge error that turns from + to - over the upper half of its scale [-]


def with_reference(case: Orifice, draws: int, seed: int = 20260105) -> Tally:
    """Areas read on a tester whose scale rests on a reference orifice, or on its bore where that is the better one.

    Gauges err by the same amount at the orifice and at the cylinder, or change along their scale (`along`); every
    pressure is rounded to 0.1 psi; repeats scatter by 1 %.
    """
    rng = np.random.default_rng([seed, 4])
    bore, limit, leak, count = 1.016e-3, case.limit * PSI, case.area * 1e-6, case.occasions
    master = leakdown.orifice_area(bore) * (1 + rng.uniform(-case.nominal, case.nominal, draws))
    true_bore = (case.bore + rng.uniform(-case.tolerance, case.tolerance, draws)) * 1e-3
    days = case.scatter * rng.normal(size=(draws, count + 1))
    area = np.column_stack([np.tile(math.pi / 4 * true_bore[:, None] ** 2, count), np.full((draws, 2), leak)])
    area *= (1 + np.column_stack([days, days[:, -1]])) * (1 + 0.01 * rng.normal(size=(draws, count + 2)))
    supply = 80 * PSI + rng.normal(0, 0.3 * PSI, area.shape)
    cylinder = gauges(area / master[:, None], supply)

    def shown(true: Floats) -> Floats:
        """As read: an error that is the same everywhere, and one that is full at 80 psi and reversed at 40."""
        turned = rng.uniform(-1, 1, (draws, 1)) * case.along * limit * (1 - (80 * PSI - true) / (20 * PSI))
        error = rng.uniform(-limit, limit, (draws, 1)) * (1 - case.along) + turned
        return np.asarray(np.round((true + error) / PSI, 1) * PSI)

    supply, cylinder = shown(supply), shown(cylinder)
    own, nominal = leakdown.bore_error(case.bore, case.tolerance), case.nominal / math.sqrt(3)
    tally = Tally(engines=draws)
    for p, q in zip(supply.tolist(), cylinder.tolist(), strict=True):
        factor = leakdown.tester_factor(
            p[:count],
            q[:count],
            [AMBIENT] * count,
            [293.15] * count,
            range(count),
            area_shares=[(case.bore * 1e-3 / bore) ** 2] * count,
            gauge_limit=limit,
        )
        used = factor.better_than(own, nominal)
        day = student_95(factor.between.df) * factor.between.sd
        if used:
            common = math.hypot(student_95(factor.between.df) * factor.log_se, NORMAL_95 * own)
        else:
            common, day = NORMAL_95 * nominal, min(day, NORMAL_95 * max(leakdown.OCCASION, factor.between.sd))
        try:
            found = leakdown.leak_area(
                p[count:],
                q[count:],
                master_area=leakdown.orifice_area(bore) * (factor.factor if used else 1.0),
                gauge_limit=limit,
                ambient=AMBIENT,
                repeats=Scatter(0.01, 40),
                reference=factor.gauge if used else (1.0, 1.0),
            )
        except Refused as why:
            tally.refused[why.code] += 1
            continue
        if found.value is None:
            tally.refused["below"] += 1
            continue
        shared = math.hypot(common, day) * found.value
        low = max(found.value - math.hypot(found.value - found.low, shared), 0.0)
        high = found.value + math.hypot(found.high - found.value, shared)
        tally.add("used" if used else "only a check", [low <= leak <= high])
        tally.add("area", [low <= leak <= high])
    return tally


def changes(draws: int, seed: int = 20260105) -> Tally:
    """Falls from 0.50 to 0.30 mm2, and none: own scatter 3 %, between occasions 2 %, known from six of them."""
    rng = np.random.default_rng([seed, 2])
    tally = Tally(engines=draws)
    half = 1.959963984540054 * 0.03
    for _ in range(draws):
        known = Scatter(float(np.std(rng.normal(0, 0.02, 6), ddof=1)), 5)
        for what, levels in (("fall", (0.50, 0.30)), ("no fall", (0.30, 0.30))):
            read = [a * (1 + 0.02 * rng.normal()) * (1 + 0.03 * rng.normal()) for a in levels]
            ends = [seating.Estimate(a, a * (1 - half), a * (1 + half)) for a in read]
            found = seating.change(ends[0], ends[1], known)
            tally.add(what, [found.low <= levels[1] - levels[0] <= found.high])
    return tally


def slits_and_holes(draws: int, seed: int = 20260105) -> Tally:
    """A slit and a hole of 8 % at 80 psi, read at 80 and at 40 psi on gauges of class 0.25 psi: wrong words."""
    rng = np.random.default_rng([seed, 3])
    limit, supply = 0.25 * PSI, np.array([40 * PSI, 80 * PSI])
    hole = gauges(np.full(2, 0.548), supply)
    at_80 = 0.92 * supply[1]
    master = float(nozzle(supply[1:] + AMBIENT, at_80 + AMBIENT)[0])
    conductance = master / ((at_80 + AMBIENT) ** 2 - AMBIENT**2)
    low, high = 0.0, float(supply[0])
    for _ in range(60):
        middle = (low + high) / 2
        into = float(nozzle(supply[:1] + AMBIENT, middle + AMBIENT)[0])
        low, high = (middle, high) if into > conductance * ((middle + AMBIENT) ** 2 - AMBIENT**2) else (low, middle)
    slit = np.array([low, at_80])
    tally = Tally(engines=draws)
    for _ in range(draws):
        for name, truth in (("hole", hole), ("slit", slit)):
            read_supply = supply + rng.uniform(-limit, limit, 2)
            read = truth + rng.uniform(-limit, limit, 2)
            areas = [
                leakdown.leak_area([p], [q], master_area=8e-7, gauge_limit=limit, ambient=AMBIENT)
                for p, q in zip(read_supply, read, strict=True)
            ]
            if areas[0].below:
                tally.refused["below-detection"] += 1
                continue
            word = leakdown.slit_or_hole(areas[0], areas[1], read[0], read[1], AMBIENT).word
            tally.add(f"{name}: word not wrong", [word in {name, "cannot tell"}])
            tally.add(f"{name}: word right", [word == name])
    return tally


OTHERS: dict[str, Callable[[int], Tally]] = {
    "leak area from gauges": leak_areas,
    "scale from an orifice of 0.7 mm": lambda draws: with_reference(Orifice(0.9, nominal=0.15), draws),
    "scale from an orifice of 1.0 mm": lambda draws: with_reference(Orifice(0.4, bore=1.0, occasions=3), draws),
    "change between two checks": changes,
    "slit or hole": slits_and_holes,
}


def _lines(name: str, tally: Tally) -> list[str]:
    lines = [f"{name}  ({tally.engines} draws)"]
    lines += [
        f"    {what:24s} printed {100 * tally.printed(what):5.1f} %, holds {100 * tally.share(what):5.1f} %"
        for what in sorted(tally.held)
    ]
    if tally.upper:
        lines.append(f"    median upper limit of the leak still to lose at 21 km: {np.median(tally.upper):.4f} mm2")
    for title, counts in (
        ("refused", tally.refused),
        ("region", tally.open_ends),
        ("cylinders left out", tally.left_out),
    ):
        if counts:
            told = ", ".join(f"{code} {100 * n / tally.engines:.1f} %" for code, n in sorted(counts.items()))
            lines.append(f"    {title}: {told}")
    return lines


def main() -> None:
    """Print the table of all cases."""
    parser = argparse.ArgumentParser(description="Simulated coverage of the seating and leak-down intervals.")
    parser.add_argument("--draws", type=int, default=10_000)
    parser.add_argument("--processes", type=int, default=2)
    asked = parser.parse_args()
    with ProcessPoolExecutor(asked.processes) as pool:
        waiting = [(case.name, pool.submit(run, case, asked.draws)) for case in CASES]
        waiting += [(name, pool.submit(function, asked.draws)) for name, function in OTHERS.items()]
        for name, future in waiting:
            print("\n".join(_lines(name, future.result())), flush=True)


if __name__ == "__main__":
    main()
