"""How often the intervals of a gauge study hold a known truth, by simulated studies.

    PYTHONPATH=tests python -m methods.gauge_coverage --draws 10000

prints the table. Everything the data are made with is here: normal scatters of objects, operators, their interaction
and repeats. `reading` is a later reading by an operator drawn anew: its error is operator, interaction, an occasion of
a scatter known on 12 degrees of freedom and the mean of two repeats; its interval takes them as a leak area does.
"""

from __future__ import annotations

import argparse
import math
from collections import Counter
from dataclasses import dataclass, field

import numpy as np

from sitegen.methods import gauge_study
from sitegen.methods.intervals import student_95

SEED = 20261130
OCCASION, KNOWN = 2.0, 12  # sd of an occasion, and on how many degrees of freedom it is known


@dataclass(frozen=True)
class Case:
    """A design and the truth behind it; scatters in any one unit."""

    objects: int
    operators: int
    repeats: int
    operator: float
    interaction: float
    repeat: float = 1.0
    part: float = 5.0

    @property
    def name(self) -> str:
        return (
            f"{self.objects}x{self.operators}x{self.repeats}, operator {self.operator:g}, interaction "
            f"{self.interaction:g}, objects {self.part:g}"
        )

    @property
    def gauge(self) -> float:
        return math.hypot(self.operator, self.interaction, self.repeat)


DESIGNS = ((10, 3, 3), (6, 3, 2), (6, 3, 3), (6, 4, 2), (10, 3, 2))
CASES = [
    Case(*design, operator, interaction)
    for design in DESIGNS
    for operator, interaction in ((0.0, 0.0), (0.5, 0.0), (1.0, 0.5), (3.0, 0.5), (0.5, 1.5))
]
ALIKE = [Case(*design, 0.5, 0.3, part=part) for design in DESIGNS for part in (0.5, 1.0, 2.0)]
TESTERS = [Case(p, o, r, *scatters) for p, o, r in ((6, 3, 2), (10, 3, 3), (4, 2, 2))
           for scatters in ((0.0, 0.0), (1.0, 0.3), (0.3, 1.5))]  # fmt: skip


@dataclass
class Tally:
    """Intervals that held, by what they are of."""

    draws: int
    held: Counter[str] = field(default_factory=Counter)

    def share(self, what: str) -> float:
        return self.held[what] / self.draws


def _drawn(rng: np.random.Generator, case: Case) -> np.ndarray:
    p, o, r = case.objects, case.operators, case.repeats
    y = case.part * rng.normal(size=(p, 1, 1)) + case.operator * rng.normal(size=(1, o, 1))
    return np.asarray(y + case.interaction * rng.normal(size=(p, o, 1)) + case.repeat * rng.normal(size=(p, o, r)))


def run(case: Case, draws: int) -> Tally:
    """Coverage of every interval of a study."""
    rng = np.random.default_rng([SEED, sum(map(ord, case.name))])
    tally = Tally(draws)
    truth = {"repeat": case.repeat, "operator": case.operator, "gauge": case.gauge, "parts": case.part}
    truth |= {"categories": gauge_study.CATEGORIES * case.part / case.gauge,
              "share": case.gauge / math.hypot(case.gauge, case.part)}  # fmt: skip
    for _ in range(draws):
        found = gauge_study.analysis(_drawn(rng, case))
        told = {"repeat": found.of_repeats, "operator": found.of_operators, "gauge": found.of_gauge,
                "parts": found.of_parts, "categories": found.categories, "share": found.share}  # fmt: skip
        for what, each in told.items():
            tally.held[what] += each.low <= truth[what] <= each.high
        sd, df = found.of_other_operator
        occasion = OCCASION * math.sqrt(rng.chisquare(KNOWN) / KNOWN)
        half = math.hypot(student_95(df) * sd, student_95(KNOWN) * occasion,
                          student_95(found.error.df) * found.of_repeats.sd / math.sqrt(2))  # fmt: skip
        scatter = math.hypot(case.operator, case.interaction, OCCASION, case.repeat / math.sqrt(2))
        tally.held["reading"] += abs(scatter * rng.normal()) <= half
    return tally


def of_testers(case: Case, draws: int) -> Tally:
    """Coverage of the difference of two testers that differ by 2, each operator and object a little differently."""
    rng = np.random.default_rng([SEED, 1, sum(map(ord, case.name))])
    tally = Tally(draws)
    p, o = case.objects, case.operators
    for _ in range(draws):
        own = Case(p, o, case.repeats, 0.0, 0.0, case.repeat)
        first = _drawn(rng, own)
        off = 2.0 + case.operator * rng.normal(size=(1, o, 1)) + case.interaction * rng.normal(size=(p, 1, 1))
        second = first.mean(axis=2, keepdims=True) * 0 + off + case.repeat * rng.normal(size=first.shape)
        base = case.part * rng.normal(size=(p, 1, 1))
        found = gauge_study.testers(base + case.repeat * rng.normal(size=first.shape), base + second)
        tally.held["testers"] += found.low <= 2.0 <= found.high
    return tally


QUANTITIES = ("repeat", "operator", "gauge", "parts", "categories", "share", "reading")


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--draws", type=int, default=10_000)
    draws = parser.parse_args().draws
    print(f"{'of 100 intervals, hold':58}" + "".join(f"{what:>11}" for what in QUANTITIES))
    for case in (*CASES, *ALIKE):
        tally = run(case, draws)
        print(f"{case.name:58}" + "".join(f"{100 * tally.share(what):11.1f}" for what in QUANTITIES), flush=True)
    for case in TESTERS:
        print(f"testers, {case.name:49}{100 * of_testers(case, draws).share('testers'):11.1f}", flush=True)


if __name__ == "__main__":
    main()
