"""Simulated engines: how often the printed intervals of metal made, oil consumed and where it came from hold the truth.

    PYTHONPATH=tests python -m methods.oil_coverage --draws 10000

prints the tables; the normal test run uses few draws with the tolerance that this number justifies (test_oil_ledger.py,
test_oil_attribution.py).

Truth is made without the code under test, in closed form between two moves. Oil falls evenly, M = M0 - q t, while metal
is made at the rate w. Where the oil evaporates the metal stays: m = m0 + w t. Where it leaves as droplets,
dm/dt = w - q m/M, so m = M (m0/M0 + (w/q) ln(M0/M)). With no oil lost the three cases of the balance are one, and
nothing but the errors of laboratory and scales stands between the interval and the truth. With fuel in it, M is the
oil alone, what is drawn and reported is the mixture, and its share of fuel follows a course of its own.
"""

from __future__ import annotations

import argparse
import math
from dataclasses import dataclass, replace

import numpy as np

from sitegen.methods import oil_attribution
from sitegen.methods.oil_ledger import Balance, Content, Fill, Fuel, Move, balance, fills

NOMINAL = 0.944  # 95 % less what 10 000 draws cannot tell apart
FRESH = 1.0  # mg/kg
LEFT = 0.10  # share of the charge that a drain leaves, as the program states it


@dataclass(frozen=True)
class Case:
    """One kind of engine and laboratory."""

    name: str
    lost: float = 0.0  # kg/h
    droplets: bool = False
    own: float = 0.4  # standard deviation of one report [mg/kg]
    shared: float = 0.0  # of a batch [mg/kg]
    scale: float = 0.01  # standard uncertainty of a mass, as a share of it
    change: bool = False  # of oil, at half time
    limit: float = 0.0  # below which reports say no more than that [mg/kg]
    fuel: tuple[float, ...] = ()  # share in the oil at each of SAMPLES
    fuel_own: float = 0.0  # standard deviation of one report of it
    fuel_shared: float = 0.0  # and of what all reports of it share


CASES = (
    Case("laboratory only", scale=0.0),
    Case("one batch", own=0.2, shared=1.5, scale=0.0),
    Case("masses only", own=0.0, scale=0.02),
    Case("laboratory and masses", own=0.3, scale=0.02),
    Case("evaporated", lost=0.02),
    Case("droplets", lost=0.02, droplets=True),
    Case("change of oil", change=True),
    Case("change of oil, good laboratory", own=0.05, change=True),
    Case("change of oil, evaporated, good laboratory", lost=0.02, own=0.05, change=True),
    Case("change of oil, droplets", lost=0.02, droplets=True, change=True),
    Case("below a limit", limit=6.0),
    Case("fuel", lost=0.02, fuel=(0.01, 0.02, 0.03, 0.04), fuel_own=0.002, scale=0.003),
    Case("fuel, nothing lost", fuel=(0.01, 0.02, 0.03, 0.04), fuel_own=0.004, own=0.05, scale=0.003),
    Case("fuel, reports alike", lost=0.02, fuel=(0.02, 0.04, 0.06, 0.08), fuel_shared=0.004, scale=0.0),
    Case(
        "fuel boiling off, droplets",
        lost=0.02,
        droplets=True,
        fuel=(0.03, 0.06, 0.03, 0.01),
        fuel_own=0.003,
        scale=0.003,
    ),
    Case(
        "fuel, droplets, change of oil",
        lost=0.02,
        droplets=True,
        fuel=(0.02, 0.04, 0.06, 0.03),
        fuel_own=0.003,
        scale=0.003,
        change=True,
    ),
)
WEAR = ((0.0, 10.0, 4.0), (10.0, 40.0, 1.0))  # from [h], to [h], mg/h: running in, then steady
SAMPLES = (2.0, 10.0, 25.0, 40.0)


@dataclass(frozen=True)
class History:
    """What was entered of one engine, and what was true."""

    fills: list[Fill]
    contents: dict[str, Content]
    made: dict[str, float]  # sample -> metal made up to it [mg]
    lost: list[float]  # oil alone, by fill [kg]


def _run(case: Case, oil: float, metal: float, hours: float, wear: float) -> tuple[float, float]:
    """Oil [kg] and metal in it [mg] after some running; in closed form, see above."""
    after = oil - case.lost * hours
    if case.droplets and case.lost:
        return after, after * (metal / oil + wear / case.lost * math.log(oil / after))
    return after, metal + wear * hours


def history(rng: np.random.Generator, case: Case) -> History:
    """One engine: a charge of 4 kg, samples of 0.1 kg, a top-up, and where asked a change of oil."""
    scale = case.scale
    left = LEFT * (1 + rng.uniform(-0.5, 0.5))  # of this engine; from drain to drain it varies by a tenth
    bias = rng.normal(0.0, case.shared) if case.shared else 0.0
    alike = rng.normal(0.0, case.fuel_shared) if case.fuel_shared else 0.0
    oil, metal, now, made, share = 4.0, 4.0 * FRESH, 0.0, 0.0, 0.0
    fuel: Fuel | None = None
    moves, contents, made_at, lost = [_move("fill", 4.0, 0.0, scale, rng)], {}, {}, [0.0]

    def on(until: float) -> None:
        nonlocal oil, metal, now, made
        for begin, end, rate in WEAR:
            hours = min(until, end) - max(now, begin)
            if hours > 0:
                before = oil
                oil, metal = _run(case, oil, metal, hours, rate)
                lost[-1] += before - oil
                made += rate * hours
        now = until

    def drain() -> None:
        nonlocal oil, metal
        stays = left * 4.0 * (1 + 0.1 * rng.standard_normal())
        whole = oil / (1 - share)  # with its fuel
        moves.append(replace(_move("drain", whole - stays, now, scale, rng), fuel=fuel))
        oil, metal = stays * (1 - share), metal * stays / whole

    for number, at in enumerate(SAMPLES):
        on(at)
        name = f"s{at:g}"
        if case.fuel:
            share = case.fuel[number]
            read = share + alike + case.fuel_own * rng.standard_normal()
            fuel = Fuel(name, read, math.hypot(case.fuel_own, case.fuel_shared))
        held = metal / oil * (1 - share)
        read = held + bias + case.own * rng.standard_normal()
        common = "batch" if case.shared else ""
        if read < case.limit:
            contents[name] = Content(None, 0.0, case.limit, case.own, case.shared, common)
        else:
            contents[name] = Content(read, read, read, case.own, case.shared, common)
        made_at[name] = made
        moves.append(replace(_move("sample", 0.1, now, scale, rng, name), fuel=fuel))
        oil, metal = oil - 0.1 * (1 - share), metal - 0.1 * held
        if at == 10.0:
            moves.append(_move("top-up", 0.3, now, scale, rng))
            oil, metal = oil + 0.3, metal + 0.3 * FRESH
        if at == 25.0 and case.change:
            drain()
            moves.append(_move("fill", 4.0, now, scale, rng))
            oil, metal = oil + 4.0, metal + 4.0 * FRESH
            lost.append(0.0)
    drain()
    return History(fills(moves, LEFT, scale), contents, made_at, lost)


def _move(kind: str, mass: float, hours: float, scale: float, rng: np.random.Generator, sample: str = "") -> Move:
    return Move(kind, mass * (1 + scale * rng.standard_normal()), hours, sample)  # type: ignore[arg-type]


@dataclass(frozen=True)
class Held:
    """Shares of intervals that hold the truth [-]."""

    total: float  # metal made since the first fill
    between: float  # metal made between the first sample and the last
    lost: float  # oil of the last fill
    apparent: float  # the same, fuel taken for oil


def _within(found: Balance, truth: float) -> bool:
    return found.low is not None and found.high is not None and found.low <= truth <= found.high


def ledger(case: Case, draws: int, seed: int = 61) -> Held:
    rng = np.random.default_rng([seed, CASES.index(case)])
    held = np.zeros((draws, 4))
    for draw in range(draws):
        known = history(rng, case)
        first, last = f"s{SAMPLES[0]:g}", f"s{SAMPLES[-1]:g}"
        total = balance(known.fills, known.contents, FRESH, "", last, case.scale)
        part = balance(known.fills, known.contents, FRESH, first, last, case.scale)
        fill = known.fills[-1]
        held[draw] = (
            _within(total, known.made[last]),
            _within(part, known.made[last] - known.made[first]),
            *(
                abs((each or math.nan) - known.lost[-1]) <= 1.959963984540054 * fill.lost_se
                for each in (fill.lost, fill.apparent)
            ),
        )
    return Held(*(float(share) for share in held.mean(axis=0)))


# ---- where it came from -----------------------------------------------------------------------------------------

SOURCES = {
    "ring": {"Cr": 0.78, "N": 0.22},
    "liner": {"Fe": 0.94, "Si": 0.02, "Mn": 0.007},
    "shaft": {"Fe": 0.97, "Cr": 0.011, "Mn": 0.008},
    "piston": {"Al": 0.84, "Si": 0.12, "Cu": 0.01},
    "bearing": {"Pb": 0.20, "Cu": 0.70, "Sn": 0.05},
}
MADE = ({"ring": 8.0, "liner": 60.0, "piston": 20.0, "bearing": 5.0},
        {"ring": 0.0, "liner": 30.0, "shaft": 30.0, "piston": 0.0, "bearing": 12.0})  # fmt: skip
ERROR = {"Cr": 0.6, "Fe": 3.0, "Al": 1.5, "Si": 1.2, "Cu": 0.5, "Pb": 0.6}  # mg


def sources(made: dict[str, float], draws: int, seed: int = 62) -> dict[str, float]:
    """Share of intervals that hold the true mass of each group of parts [-]."""
    rng = np.random.default_rng([seed, MADE.index(made)])
    truth = {symbol: sum(mass * SOURCES[name].get(symbol, 0.0) for name, mass in made.items()) for symbol in ERROR}
    held: dict[str, list[bool]] = {}
    for _ in range(draws):
        masses = {symbol: (truth[symbol] + se * rng.standard_normal(), se) for symbol, se in ERROR.items()}
        for share in oil_attribution.attribute(masses, SOURCES).shares:
            true = sum(made.get(name, 0.0) for name in share.sources)
            held.setdefault("+".join(share.sources), []).append(share.low - 1e-9 <= true <= share.high + 1e-9)
    return {name: float(np.mean(each)) for name, each in held.items()}


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--draws", type=int, default=10000)
    draws = parser.parse_args().draws
    print(f"{'case':44} {'in all':>8} {'between':>8} {'oil lost':>8} {'with fuel as oil':>16}")
    for case in CASES:
        held = ledger(case, draws)
        print(f"{case.name:44} {held.total:8.4f} {held.between:8.4f} {held.lost:8.4f} {held.apparent:16.4f}")
    for made in MADE:
        print({name: round(share, 4) for name, share in sources(made, max(draws // 10, 100)).items()})


if __name__ == "__main__":
    main()
