"""How often two checks far apart call a cylinder seated that is not, on simulated engines with known truth.

    PYTHONPATH=tests python -m methods.two_checks --draws 20000

prints the table. The truth is a falling leak with 1.01 of the allowed amount still to lose at the later check; the
earlier check lies just as many longest distances before it as the rule asks for, which is where it is easiest to be
wrong: further apart the fall in between shows. The level limit is far off, so that nothing but the leak still to lose
decides. Everything the data are made with is here; only the judging is the package's.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sitegen.methods import seating
from sitegen.methods.leakdown import Scatter
from sitegen.vocabulary import Refused

Floats = NDArray[np.float64]
SEED = 20310611
PLATEAU = 0.28  # mm²


def exponential(past: Floats, scale: Floats) -> Floats:
    """Leak to lose at `past` before the later check, over that at it."""
    return np.asarray(np.exp(past / scale))


def tail(power: float, left: float) -> Callable[[Floats, Floats], Floats]:
    """A leak of 0.30 mm² to lose that falls as (1 + x/h)^-power, to 37 % at `scale`; at the later check `left` mm²."""

    def shape(past: Floats, scale: Floats) -> Floats:
        h = scale / (math.e ** (1 / power) - 1)
        later = h * ((0.30 / left) ** (1 / power) - 1)
        before = np.maximum(later - past, 0.0)
        return np.asarray(((1 + later / h) / (1 + before / h)) ** power)

    return shape


@dataclass(frozen=True)
class Case:
    """One kind of engine. Lengths are in its typical seating distance; scatters are relative [-]."""

    name: str
    allowed: float = 0.02  # mm²
    occasion: float = 0.01  # sd of what a check does to all its readings
    own: float = 0.02  # sd of a reading beside that
    df: int = 12  # that the scatter between occasions is known on
    told_by: str = "earlier"  # "earlier" curve of the engine, or curves of that many other "builds"
    builds: int = 4
    between: float = 0.15  # sd of ln scale between builds
    fit: float = 0.10  # relative error of a scale that a curve gave
    drift: float = 0.0  # uniform limits of ln(scale now / scale of the curve before)
    slow: float = 1.0  # this cylinder over its engine
    shape: Callable[[Floats, Floats], Floats] = exponential
    left: float = 1.01  # leak still to lose over the allowed amount
    apart: float = seating.FAR  # longest distances between the checks


def run(case: Case, draws: int) -> float:
    """Share of cylinders called seated."""
    rng = np.random.default_rng([SEED, sum(map(ord, case.name))])
    if case.told_by == "builds":
        truth = np.exp(case.between * rng.normal(size=draws))
        others = np.exp(case.between * rng.normal(size=(draws, case.builds)))
        others *= np.exp(case.fit * rng.normal(size=others.shape))
        longest = np.array([seating.longest_of_builds(row) for row in others.tolist()])
    else:
        truth = np.exp(rng.uniform(-case.drift, case.drift, draws))
        told = np.exp(case.fit * rng.normal(size=draws))
        ends = [(x, x * math.exp(-1.96 * case.fit), x * math.exp(1.96 * case.fit)) for x in told.tolist()]
        longest = np.array([seating.longest(seating.Estimate(*each)) for each in ends])
    past = case.apart * longest
    later = np.full(draws, case.left * case.allowed)
    earlier = later * case.shape(past, truth * case.slow)
    days = 1 + case.occasion * rng.normal(size=(2, draws))
    reads = 1 + case.own * rng.normal(size=(2, draws))
    first, last = (PLATEAU + earlier) * days[0] * reads[0], (PLATEAU + later) * days[1] * reads[1]
    known = case.occasion * np.sqrt(rng.chisquare(case.df, draws) / case.df)
    half = 1.959964 * case.own
    seated = 0
    for a, b, sd in zip(first.tolist(), last.tolist(), known.tolist(), strict=True):
        before, after = (seating.Estimate(x, x * (1 - half), x * (1 + half)) for x in (a, b))
        change = seating.change(before, after, Scatter(sd, case.df))
        # the rule's own minimum apart: what closer checks would come to is asked too
        apart = seating.two_checks(change, max(case.apart, seating.FAR))
        if case.apart < seating.FAR:
            most = max(-change.low, 0.0) / math.expm1(case.apart)
            apart = replace(apart, to_lose=seating.Estimate(None, -math.inf, most))
        seated += seating.state(after, 9.0, Refused("few-checks"), case.allowed, None, apart).word == "seated"
    return seated / draws


HARD = Case("hard", allowed=0.01, occasion=0.02)
WRONG = (
    *(
        Case(f"allowed {allowed} mm², occasions {100 * occasion:g} %", allowed=allowed, occasion=occasion)
        for allowed in (0.01, 0.02, 0.04)
        for occasion in (0.005, 0.02)
    ),
    replace(HARD, name="scatter known on 5 df", df=5),
    replace(HARD, name="rings refitted, scale ±30 %", drift=0.3),
    replace(HARD, name="all 1.3 times slower", slow=1.3),
    *(replace(HARD, name=f"told by {n} other builds", told_by="builds", builds=n) for n in (3, 4, 5)),
    replace(HARD, name="by 3 other builds, scatter 0.3", told_by="builds", builds=3, between=0.3),
    *(replace(HARD, name=f"one cylinder {slow:g} times slower", slow=slow) for slow in (2.0, 3.0, 4.0)),
    *(
        replace(HARD, name=f"seen to keep off, {slow:g} times slower", slow=slow, apart=seating.SLOWEST * seating.FAR)
        for slow in (8.0, 16.0)
    ),
    *(replace(HARD, name=f"falls as distance to the −{p:g}", shape=tail(p, 0.0101)) for p in (2.0, 4.0)),
)
OUTSIDE = tuple(  # of what the rule supposes: named in its limits
    Case(f"falls as 1/distance, allowed {a} mm²", allowed=a, occasion=0.02, shape=tail(1.0, 1.01 * a))
    for a in (0.01, 0.02, 0.03, 0.04)
)
RIGHT = (
    Case("nothing left", left=0.0, occasion=0.02),
    Case("nothing left, 100 apart", left=0.0, occasion=0.02, apart=100.0),
    Case("a hundredth of the allowed amount left", left=0.01),
    Case("a tenth of it left", left=0.1),
)


def main() -> None:
    """Print the table, with what closer checks would come to."""
    parser = argparse.ArgumentParser(description="How often two checks say “seated”.")
    parser.add_argument("--draws", type=int, default=20_000)
    asked = parser.parse_args()
    print(f"{'':50s}  as is    k 3    k 4")
    for title, cases in (("wrongly seated, %", WRONG), ("the same, outside", OUTSIDE), ("rightly seated, %", RIGHT)):
        print(title)
        for case in cases:
            closer = case.apart / seating.FAR
            shares = [run(replace(case, apart=k * closer), asked.draws) for k in (seating.FAR, 3.0, 4.0)]
            print(f"    {case.name:45s} " + "".join(f"{100 * share:7.2f}" for share in shares), flush=True)


if __name__ == "__main__":
    main()
